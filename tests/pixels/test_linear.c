/*
 * Tests of the linear-light half of image.h.
 * Light of 8-bit codes: IEC 61966-2-1:1999 evaluated to ten digits with the
 * formula in an independent program (Python); 0.5 -> 0.2140411405 and the
 * inverse values likewise.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/image.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const struct {
    int code;
    double light;
} srgb[] = {{0, 0},
            {1, 0.0003035270},
            {5, 0.0015176349},
            {10, 0.0030352698},
            {11, 0.0033465358},
            {20, 0.0069954102},
            {50, 0.0318960331},
            {64, 0.0512694584},
            {100, 0.1274376804},
            {118, 0.1811642442},
            {127, 0.2122307574},
            {128, 0.2158605001},
            {188, 0.5028864580},
            {192, 0.5271151257},
            {200, 0.5775804404},
            {237, 0.8468732315},
            {250, 0.9559733532},
            {254, 0.9911020971},
            {255, 1}};
static const double luminance[3] = {0.2126, 0.7152, 0.0722};

Test(linear, codes_give_the_light_of_the_standard)
{
    for (size_t i = 0; i < COUNT(srgb); i++)
        cr_assert_float_eq(rg_srgb_to_linear(srgb[i].code / 255.0), srgb[i].light, 6e-11, "%d",
                           srgb[i].code);
    cr_assert_float_eq(rg_srgb_to_linear(0.5), 0.2140411405, 6e-11);
}

Test(linear, light_gives_the_codes_of_the_standard)
{
    static const double pair[][2] = {{0.18, 0.4613561295},
                                     {0.5, 0.7353569831},
                                     {0.01, 0.0998528227},
                                     {0.001, 0.01292},
                                     {0.0031308, 0.04044994}};
    for (size_t i = 0; i < COUNT(pair); i++)
        cr_assert_float_eq(rg_linear_to_srgb(pair[i][0]), pair[i][1], 5e-9);
}

Test(linear, all_codes_round_trip_and_rise)
{
    double before = -1;
    for (int c = 0; c < 256; c++) {
        double light = rg_srgb_to_linear(c / 255.0);
        cr_assert(light > before);
        cr_assert_eq(lround(255 * rg_linear_to_srgb(light)), c);
        before = light;
    }
}

Test(linear, branches_meet_at_the_join)
{
    cr_assert_float_eq(rg_srgb_to_linear(0.04045), pow((0.04045 + 0.055) / 1.055, 2.4), 1e-6);
}

/* A grey ramp of 256 columns, 16 rows of which from row 5 on are held. */
static rg_image ramp(int channels, int depth)
{
    rg_image image;
    cr_assert_eq(rg_image_new(&image, 256, 16, channels, depth, NULL), RG_OK);
    uint8_t *p8 = image.data;
    uint16_t *p16 = image.data;
    for (int i = 0; i < 256 * 16 * channels; i++)
        if (depth == 8)
            p8[i] = (uint8_t)(i / channels % 256);
        else
            p16[i] = (uint16_t)(257 * (i / channels % 256));
    return image;
}

static rg_linear tables(int channels, int depth)
{
    rg_linear linear;
    cr_assert_eq(rg_linear_new(&linear, channels, depth, luminance, NULL), RG_OK);
    return linear;
}

Test(linear, planes_of_grey_ramps_hold_the_light_of_the_standard)
{
    for (int channels = 1; channels <= 3; channels += 2)
        for (int depth = 8; depth <= 16; depth += 8) {
            rg_image image = ramp(channels, depth);
            rg_linear linear = tables(channels, depth);
            rg_plane weighted, apart;
            cr_assert_eq(rg_plane_new(&weighted, &image, &linear, 0, 0, 256, 16, true, NULL),
                         RG_OK);
            cr_assert_eq(rg_plane_new(&apart, &image, &linear, 0, 0, 256, 16, false, NULL), RG_OK);
            cr_assert_eq(weighted.channels, 1);
            cr_assert_eq(apart.channels, channels);
            for (size_t i = 0; i < COUNT(srgb); i++) {
                double x = srgb[i].code, want = srgb[i].light;
                cr_assert_float_eq(rg_plane_at(&weighted, 0, x, 3), want, 1.2e-7);
                for (int c = 0; c < channels; c++)
                    cr_assert_float_eq(rg_plane_at(&apart, c, x, 3), want, 1.2e-7);
            }
            rg_plane_free(&weighted);
            rg_plane_free(&apart);
            rg_linear_free(&linear);
            rg_image_free(&image);
        }
}

Test(linear, weights_go_to_their_own_channels)
{
    rg_image image;
    rg_image_new(&image, 16, 16, 3, 8, NULL);
    uint8_t *p = image.data;
    p[0] = 255; /* pixel 0 red, 1 green, 2 blue */
    p[4] = 255;
    p[8] = 255;
    rg_linear linear = tables(3, 8);
    rg_plane plane;
    rg_plane_new(&plane, &image, &linear, 0, 0, 16, 16, true, NULL);
    for (int c = 0; c < 3; c++)
        cr_assert_float_eq(plane.data[c], luminance[c], 1e-7);
    rg_plane_free(&plane);
    rg_plane_new(&plane, &image, &linear, 1, 0, 16, 16, false, NULL);
    cr_assert(plane.data[0] == 0 && plane.data[1] == 1 && plane.data[2] == 0);
    rg_plane_free(&plane);
    rg_linear_free(&linear);
    rg_image_free(&image);
}

Test(linear, rectangle_is_cut_to_the_rows_and_columns_held)
{
    rg_image image = ramp(1, 8);
    image.first_row = 5; /* 16 rows of a higher picture */
    image.full_height = 100;
    rg_linear linear = tables(1, 8);
    rg_plane plane;
    cr_assert_eq(rg_plane_new(&plane, &image, &linear, -10, -1000, 30, 1010, true, NULL), RG_OK);
    cr_assert(plane.x0 == 0 && plane.y0 == 5 && plane.width == 20 && plane.height == 5);
    rg_plane_free(&plane);
    cr_assert_eq(rg_plane_new(&plane, &image, &linear, 250, 19, 2147483647, 2147483647, true, NULL),
                 RG_OK);
    cr_assert(plane.x0 == 250 && plane.y0 == 19 && plane.width == 6 && plane.height == 2);
    cr_assert_float_eq(plane.data[0], 0.9559733532, 1e-7);
    rg_plane_free(&plane);
    static const int outside[][4] = {{0, 0, 256, 5}, {0, 21, 256, 9}, {256, 5, 4, 4},
                                     {-9, 5, 9, 4},  {0, 5, 0, 4},    {0, 5, 4, -4}};
    for (size_t i = 0; i < COUNT(outside); i++) {
        const int *r = outside[i];
        cr_assert_eq(rg_plane_new(&plane, &image, &linear, r[0], r[1], r[2], r[3], true, NULL),
                     RG_BAD_DATA);
        cr_assert_null(plane.data);
    }
    rg_linear_free(&linear);
    rg_image_free(&image);
}

Test(linear, bilinear_light_is_between_its_neighbours)
{
    rg_image image = ramp(1, 8);
    rg_linear linear = tables(1, 8);
    rg_plane plane;
    rg_plane_new(&plane, &image, &linear, 100, 2, 100, 8, true, NULL);
    /* half way between codes 127 and 128, in light, not in codes */
    cr_assert_float_eq(rg_plane_at(&plane, 0, 127.5, 4.25), (0.2122307574 + 0.2158605001) / 2,
                       1e-7);
    cr_assert(isnan(rg_plane_at(&plane, 0, 99.9, 4)));
    cr_assert(isnan(rg_plane_at(&plane, 0, 150, 9.1)));
    cr_assert(isnan(rg_plane_at(&plane, 0, (double)NAN, 4)));
    cr_assert_not(isnan(rg_plane_at(&plane, 0, 199, 9)));
    rg_plane_free(&plane);
    rg_linear_free(&linear);
    rg_image_free(&image);
}

Test(linear, wrong_weights_and_formats_are_refused)
{
    static const double bad[][3] = {
        {0.5, 0.5, 0.5}, {-0.1, 0.6, 0.5}, {0, 0, 0}, {(double)NAN, 0, 1}, {0.3, 0.3, 0.3999}};
    rg_linear linear;
    for (size_t i = 0; i < COUNT(bad); i++)
        cr_assert_eq(rg_linear_new(&linear, 3, 8, bad[i], NULL), RG_BAD_DATA);
    cr_assert_eq(rg_linear_new(&linear, 2, 8, luminance, NULL), RG_BAD_DATA);
    cr_assert_eq(rg_linear_new(&linear, 3, 12, luminance, NULL), RG_BAD_DATA);
    rg_image image = ramp(3, 8);
    rg_plane plane;
    linear = tables(1, 8);
    cr_assert_eq(rg_plane_new(&plane, &image, &linear, 0, 0, 9, 9, true, NULL), RG_BAD_DATA);
    rg_linear_free(&linear);
    rg_linear_free(&linear);
    rg_image_free(&image);
}

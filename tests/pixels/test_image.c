/*
 * Tests of image.h: limits, orientation, luma.
 * Orientation: CIPA DC-008 (Exif), tag 274, names the side of the upright
 * picture at which stored row 0 and stored column 0 lie; the table below is
 * that list.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/image.h"

Test(image, sides_beyond_the_limits_are_refused_before_allocation)
{
    static const int bad[][2] = {{15, 100},    {100, 15}, {16385, 16}, {16, 16385},
                                 {8001, 8000}, {0, 0},    {-5, 100},   {16384, 16384}};
    for (int i = 0; i < 8; i++) {
        rg_image image = {.data = &image};
        cr_assert_eq(rg_image_new(&image, bad[i][0], bad[i][1], 3, 8, NULL), RG_BAD_DATA);
        cr_assert_null(image.data);
        cr_assert_eq(image.width, 0);
    }
    rg_image image;
    rg_error err = {0};
    rg_image_new(&image, 20000, 100, 3, 8, &err);
    cr_assert(strstr(err.text, "20000") && strstr(err.text, "16384"), "%s", err.text);
    cr_assert_eq(rg_image_new(&image, 100, 100, 2, 8, NULL), RG_BAD_DATA);
    cr_assert_eq(rg_image_new(&image, 100, 100, 3, 12, NULL), RG_BAD_DATA);
}

Test(image, new_picture_is_black_and_whole)
{
    rg_image image;
    cr_assert_eq(rg_image_new(&image, 17, 16, 3, 16, NULL), RG_OK);
    cr_assert(image.height == 16 && image.full_height == 16 && image.first_row == 0);
    for (int i = 0; i < 17 * 16 * 3; i++)
        cr_assert_eq(((uint16_t *)image.data)[i], 0);
    rg_image_free(&image);
    rg_image_free(&image);
    rg_image_free(NULL);
    cr_assert_null(image.data);
}

enum side { TOP, BOTTOM, LEFT, RIGHT };
static const enum side row_0[9] = {0, TOP, TOP, BOTTOM, BOTTOM, LEFT, RIGHT, RIGHT, LEFT};
static const enum side column_0[9] = {0, LEFT, RIGHT, RIGHT, LEFT, TOP, TOP, BOTTOM, BOTTOM};

/* A picture of one byte per sample whose value names its stored place. */
static rg_image numbered(int width, int height, int channels, int depth)
{
    rg_image image;
    cr_assert_eq(rg_image_new(&image, width, height, channels, depth, NULL), RG_OK);
    for (int i = 0; i < width * height * channels; i++)
        if (depth == 8)
            ((uint8_t *)image.data)[i] = (uint8_t)(i * 37 % 251);
        else
            ((uint16_t *)image.data)[i] = (uint16_t)(i * 37);
    return image;
}

/* Upright place of stored (x, y), by the definition of the tag. */
static void upright_place(int orientation, int width, int height, int x, int y, int *ux, int *uy)
{
    switch (row_0[orientation]) {
    case TOP:
        *uy = y;
        break;
    case BOTTOM:
        *uy = height - 1 - y;
        break;
    case LEFT:
        *ux = y;
        break;
    case RIGHT:
        *ux = height - 1 - y;
        break;
    }
    switch (column_0[orientation]) {
    case TOP:
        *uy = x;
        break;
    case BOTTOM:
        *uy = width - 1 - x;
        break;
    case LEFT:
        *ux = x;
        break;
    case RIGHT:
        *ux = width - 1 - x;
        break;
    }
}

static void assert_turned(int orientation, int channels, int depth)
{
    enum { W = 19, H = 16 };
    rg_image stored = numbered(W, H, channels, depth), turned = numbered(W, H, channels, depth);
    turned.warnings = 3;
    cr_assert_eq(rg_image_orient(&turned, orientation, NULL), RG_OK);
    cr_assert_eq(turned.width, orientation < 5 ? W : H);
    cr_assert_eq(turned.full_height, orientation < 5 ? H : W);
    cr_assert(turned.orientation == orientation && turned.warnings == 3);
    size_t pixel = (size_t)(channels * depth / 8);
    for (int y = 0; y < H; y++)
        for (int x = 0; x < W; x++) {
            int ux = 0, uy = 0;
            upright_place(orientation, W, H, x, y, &ux, &uy);
            cr_assert_arr_eq((uint8_t *)turned.data + (size_t)(uy * turned.width + ux) * pixel,
                             (uint8_t *)stored.data + (size_t)(y * W + x) * pixel, pixel,
                             "orientation %d, stored %d %d", orientation, x, y);
        }
    rg_image_free(&stored);
    rg_image_free(&turned);
}

Test(image, all_orientations_put_every_pixel_where_exif_says)
{
    for (int orientation = 1; orientation <= 8; orientation++)
        for (int channels = 1; channels <= 3; channels += 2)
            for (int depth = 8; depth <= 16; depth += 8)
                assert_turned(orientation, channels, depth);
}

Test(image, orientation_outside_exif_and_partial_pictures_are_refused)
{
    rg_image image = numbered(20, 20, 1, 8);
    cr_assert_eq(rg_image_orient(&image, 0, NULL), RG_BAD_DATA);
    cr_assert_eq(rg_image_orient(&image, 9, NULL), RG_BAD_DATA);
    image.full_height = 40;
    cr_assert_eq(rg_image_orient(&image, 6, NULL), RG_INTERNAL);
    rg_image_free(&image);
}

/* ITU-R BT.601: 0.299, 0.587, 0.114; pure channels give 76.245, 149.685, 29.07. */
Test(image, luma_is_that_of_bt601)
{
    static const uint8_t colours[][4] = {{255, 0, 0, 76},  {0, 255, 0, 150},     {0, 0, 255, 29},
                                         {10, 20, 30, 18}, {255, 255, 255, 255}, {0, 0, 0, 0}};
    rg_image c8 = numbered(16, 16, 3, 8), c16 = numbered(16, 16, 3, 16);
    for (int i = 0; i < 6; i++)
        for (int c = 0; c < 3; c++) {
            ((uint8_t *)c8.data)[3 * i + c] = colours[i][c];
            ((uint16_t *)c16.data)[3 * i + c] = (uint16_t)(257 * colours[i][c]);
        }
    uint8_t luma[256];
    rg_image_luma(&c8, luma);
    for (int i = 0; i < 6; i++)
        cr_assert_eq(luma[i], colours[i][3]);
    rg_image_luma(&c16, luma);
    for (int i = 0; i < 6; i++)
        cr_assert_eq(luma[i], colours[i][3]);
    rg_image_free(&c8);
    rg_image_free(&c16);
}

Test(image, luma_of_grey_is_the_grey)
{
    rg_image g8 = numbered(16, 16, 1, 8), g16 = numbered(16, 16, 1, 16);
    for (int i = 0; i < 256; i++)
        ((uint16_t *)g16.data)[i] = (uint16_t)(257 * i);
    uint8_t luma[256];
    rg_image_luma(&g8, luma);
    cr_assert_arr_eq(luma, g8.data, 256);
    rg_image_luma(&g16, luma);
    for (int i = 0; i < 256; i++)
        cr_assert_eq(luma[i], i);
    rg_image_free(&g8);
    rg_image_free(&g16);
}

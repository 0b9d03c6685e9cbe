/*
 * The renderer's camera and slit against closed forms: flux of a slit, point spread, photon transfer,
 * falloff, veil, PNG.
 */
#include <criterion/criterion.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/decode.h"
#include "rimglow/synth.h"

/* ------------------------------------------------------------------ slit */

#define RADIANCE 3.0
enum { ROWS = 96, COLUMNS = 64, MIDDLE = 6 };
static const rg_lens strip_lens = {.width = COLUMNS,
                                   .height = ROWS,
                                   .fx = 3000,
                                   .fy = 3000,
                                   .cx = 0.5 * (COLUMNS - 1),
                                   .cy = 0.5 * (ROWS - 1)};

/* Light over the slit's height in the middle columns, lamp on; off is the background. */
static double column_sum(const rg_synth_scene *s, const rg_pose *camera, double sigma)
{
    rg_synth_view v;
    rg_error err = {0};
    double sum = 0;
    cr_assert_eq(rg_synth_render(s, &strip_lens, camera, sigma, 0, &v, &err), RG_OK, "%s",
                 err.text);
    for (int y = 0; y < ROWS; y++)
        for (int x = (COLUMNS - MIDDLE) / 2; x < (COLUMNS + MIDDLE) / 2; x++)
            sum += (double)v.light[((size_t)ROWS + (size_t)y) * COLUMNS + (size_t)x] / MIDDLE;
    rg_synth_view_free(&v);
    return sum;
}

/* A level opening of this width about a bearing, seen from there and from a height of eye_mm over the rim; light times mm
 * of the picture's height at the rim. The far wall is as bright as the pad: what is left is geometry. */
static double flux(double width, double bearing, double eye_mm, double sigma, double reflectance)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.key = false;
    s.wall = 1;
    s.land_reflectance = reflectance;
    s.land_shoulder = 0;
    s.pad.level_mm = -0.02;
    s.pad.creases = 1;
    s.pad.crease[0] = (rg_synth_crease){bearing, 80, width + 0.02};
    s.lamp[0] = s.lamp[1] = s.lamp[2] = RADIANCE;
    rg_pose camera = rg_synth_camera(bearing, rg_degrees(asin(eye_mm / 110)), 110, 0, 0);
    double on = column_sum(&s, &camera, sigma);
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 0;
    rg_vec3 rim = {10 * cos(rg_radians(bearing)), -10 * sin(rg_radians(bearing)), 0};
    double depth = rg_pose_apply(&camera, rim).z;
    return (on - column_sum(&s, &camera, sigma)) * depth / strip_lens.fy;
}

/* Radiometry: the flux of a slit through a lens that loses nothing is its radiance times its width (F = L w), whatever
 * the blur spreads it over. The eye is level with the slit's middle, the land a mirror, so that nothing stands in
 * the way. */
Test(synth_physics, slit_flux_is_width_times_radiance_within_one_percent)
{
    static const double width[] = {0.01, 0.02, 0.05, 0.12, 0.3}, sigma[] = {0.4, 0.8, 2};
    static const double bearing[] = {37, 90, 200, 311};
    for (int i = 0; i < 5; i++)
        for (int k = 0; k < 3; k++) {
            double w = width[i], b = bearing[(i + k) % 4];
            double f = flux(w, b, 0.5 * w, sigma[k], 1) / (RADIANCE * w);
            cr_expect_float_eq(f, 1, 0.01, "w %g sigma %g b %g: %g", w, sigma[k], b, f);
        }
}

/* From above a letter box of depth D = 2.5 mm stands open by w cos e - D sin e: the projection of its height less
 * that of its floor. The camera is 100 mm away, so the overhang's 1.5 mm hide at the elevation of the ray to the
 * pad's lower edge, and the land's 1 mm at that of the ray to its inner edge. */
Test(synth_physics, from_above_the_slit_closes_by_its_depth)
{
    static const double width[] = {0.05, 0.1, 0.3}, camera[] = {0.3, 0.6, 0.9},
                        sigma[] = {0.5, 1.2};
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            double w = width[i], eye = 110 * sin(rg_radians(camera[k]));
            double away = 110 * cos(rg_radians(camera[k]));
            double high = atan((eye - w) / (away - 11.5)), low = atan(eye / (away - 9));
            double open = fmax(w * cos(low) - 1.5 * sin(high) - sin(low), 0);
            double f = flux(w, 90 + 70 * k, eye, sigma[i % 2], 0);
            cr_expect_float_eq(f, RADIANCE * open, 0.01 * RADIANCE * w, "w %g e %g: %g for %g", w,
                               camera[k], f, RADIANCE * open);
        }
}

/* ----------------------------------------------------------- point spread */

/* The outer left border of tag 1, seen square on: differences of neighbouring pixels are the line spread
 * (ISO 12233) convolved with the pixel (variance 1/12) and with the difference (1/12). */
static double spread_of_an_edge(double sigma)
{
    static const rg_lens lens = {
        .width = 420, .height = 60, .fx = 3300, .fy = 3300, .cx = 209.5, .cy = 29.5};
    rg_synth_scene s;
    rg_synth_view v;
    rg_vec2 corner[4];
    double sum = 0, mean = 0, square = 0;
    rg_synth_scene_default(&s);
    s.key = false;
    double level = rg_degrees(asin(s.tag_height_mm / 110)); /* the eye as high as the tag */
    rg_pose camera = rg_synth_camera(60, level, 110, s.tag_height_mm, 0);
    cr_assert(rg_synth_tag(&s, &lens, &camera, 1, corner));
    cr_assert_eq(rg_synth_render(&s, &lens, &camera, sigma, 0, &v, NULL), RG_OK);
    double edge = 0.5 * (corner[0].x + corner[3].x);
    int at = (int)lround(edge);
    for (int x = at - 11; x < at + 11; x++) {
        const float *row = v.light + (size_t)29 * 420;
        double d = (double)(row[x] - row[x + 1]);
        sum += d;
        mean += (x + 0.5) * d;
        square += (x + 0.5) * (x + 0.5) * d;
    }
    rg_synth_view_free(&v);
    mean /= sum;
    /* An upright edge is met in sixteen places of a pixel. */
    cr_expect_float_eq(mean, edge, 1.0 / 32, "the edge lies at %g, not at %g", mean, edge);
    return square / sum - mean * mean;
}

Test(synth_physics, the_edge_spread_is_the_blur_asked_for_and_the_pixel)
{
    static const double sigma[] = {0.4, 0.65, 1, 2};
    for (int i = 0; i < 4; i++) {
        double variance = spread_of_an_edge(sigma[i]) - 1.0 / 6;
        cr_expect_float_eq(sqrt(fmax(variance, 0)) / sigma[i], 1, 0.02, "sigma %g: %g", sigma[i],
                           sqrt(fmax(variance, 0)));
    }
}

/* ------------------------------------------------------------------ noise */

static rg_synth_view even_view(int width, int height, float light)
{
    rg_synth_view v = {.width = width, .height = height};
    size_t n = 3 * (size_t)width * (size_t)height;
    v.light = malloc(n * sizeof *v.light);
    cr_assert_not_null(v.light);
    for (size_t i = 0; i < n; i++)
        v.light[i] = light;
    return v;
}

/* Variance of linear light, of half the difference of two pictures as EMVA 1288 has it, less that of the
 * rounding to a code: a step of the sRGB curve at this light, over 12. */
static double variance_at(const rg_synth_sensor *sensor, float light, double *mean)
{
    enum { SIDE = 256 };
    rg_synth_view v = even_view(SIDE, SIDE, light);
    rg_image a, b;
    double sum = 0, square = 0;
    size_t n = (size_t)3 * SIDE * SIDE;
    cr_assert_eq(rg_synth_expose(sensor, &v, 1, 100 + (uint64_t)(1e4f * light), &a, NULL), RG_OK);
    cr_assert_eq(rg_synth_expose(sensor, &v, 1, 900 + (uint64_t)(1e4f * light), &b, NULL), RG_OK);
    for (size_t i = 0; i < n; i++) {
        double x = rg_srgb_to_linear(((uint8_t *)a.data)[i] / 255.0);
        double y = rg_srgb_to_linear(((uint8_t *)b.data)[i] / 255.0);
        sum += 0.5 * (x + y);
        square += 0.5 * (x - y) * (x - y);
    }
    *mean = sum / (double)n;
    rg_image_free(&a);
    rg_image_free(&b);
    rg_synth_view_free(&v);
    double code = rg_linear_to_srgb(*mean);
    double step = rg_srgb_to_linear(code + 0.5 / 255) - rg_srgb_to_linear(code - 0.5 / 255);
    return square / (double)n - step * step / 12;
}

/* Photon transfer (J. R. Janesick, "Photon Transfer", SPIE 2007; EMVA 1288): variance over mean is a
 * straight line, its slope one over the full well, its intercept the read noise over the full well, squared.
 * Bounds: four standard errors of the weighted fit. */
Test(synth_physics, the_photon_transfer_line_gives_back_full_well_and_read_noise)
{
    static const double well[] = {3000, 10000}, read[] = {40, 60};
    for (int k = 0; k < 2; k++) {
        double mean[12], variance[12], weight[12], c0, c1, cov00, cov01, cov11, chisq;
        rg_synth_sensor *sensor;
        cr_assert_eq(rg_synth_sensor_new(&sensor, well[k], read[k], NULL), RG_OK);
        for (int i = 0; i < 12; i++) {
            variance[i] = variance_at(sensor, 0.08f + 0.055f * (float)i, &mean[i]);
            weight[i] = 3 * 256 * 256 / (2 * variance[i] * variance[i]);
        }
        rg_synth_sensor_free(sensor);
        gsl_fit_wlinear(mean, 1, weight, 1, variance, 1, 12, &c0, &c1, &cov00, &cov01, &cov11,
                        &chisq);
        double full = 1 / c1, dark = sqrt(fmax(c0, 0)) * full, stated = pow(read[k] / well[k], 2);
        cr_expect_float_eq(c1, 1 / well[k], 4 * sqrt(cov11), "full well %g for %g", full, well[k]);
        cr_expect_float_eq(c0, stated, 4 * sqrt(cov00), "read noise %g for %g", dark, read[k]);
        cr_expect_float_eq(full / well[k], 1, 0.03);
        cr_expect_float_eq(dark / read[k], 1, 0.05);
        cr_expect_lt(chisq, 30, "chi squared %g of 10: no straight line", chisq);
    }
}

/* ------------------------------------------------------------------- lens */

/* cos^4 of 30 degrees is 9/16, of 45 degrees 1/4. Optical centre in the first pixel; mechanical: 1 - loss r^2. */
Test(synth_physics, light_falls_off_by_the_cosine_law_and_the_stop)
{
    static const rg_lens lens = {.width = 1001, .height = 20, .fx = 1000, .fy = 1000};
    rg_synth_view v = even_view(1001, 20, 0.5f);
    cr_assert_eq(rg_synth_vignette(&v, &lens, 4, 0, NULL), RG_OK);
    cr_expect_float_eq(v.light[0], 0.5, 1e-6);
    cr_expect_float_eq(v.light[577], 0.5 * 9 / 16, 3e-4);
    cr_expect_float_eq(v.light[1000], 0.5 * 0.25, 1e-6);
    cr_expect_float_eq(v.light[2 * 1001 * 20 + 1000], 0.5 * 0.25, 1e-6, "every channel");
    rg_synth_view_free(&v);
    v = even_view(1001, 20, 0.5f);
    cr_assert_eq(rg_synth_vignette(&v, &lens, 0, 0.4, NULL), RG_OK);
    cr_expect_float_eq(v.light[500], 0.5 * (1 - 0.4 * 0.25), 5e-4);
    cr_expect_float_eq(v.light[19 * 1001 + 1000], 0.5 * 0.6, 5e-4);
    rg_error err = {0};
    cr_expect_eq(rg_synth_vignette(&v, &lens, 4, 1, &err), RG_BAD_DATA);
    cr_expect_eq(rg_synth_vignette(&v, &strip_lens, 4, 0, &err), RG_BAD_DATA);
    rg_synth_view_free(&v);
}

/* A tenth of all light, spread evenly: white and black halves of 1 and 0 become 0.95 and 0.05. */
Test(synth_physics, the_veil_is_the_share_asked_for)
{
    rg_synth_view v = even_view(100, 20, 1);
    for (int k = 0; k < 3; k++)
        for (int i = 0; i < 1000; i++)
            v.light[2000 * k + i] = 0;
    rg_synth_veil(&v, 0.1);
    cr_expect_float_eq(v.light[10], 0.05, 1e-6);
    cr_expect_float_eq(v.light[5999], 0.95, 1e-6);
    rg_synth_view_free(&v);
}

Test(synth_physics, a_png_keeps_every_code)
{
    rg_synth_view v = even_view(67, 41, 0.2f);
    rg_synth_sensor *sensor;
    rg_image image, back;
    uint8_t *bytes;
    size_t size;
    cr_assert_eq(rg_synth_sensor_new(&sensor, 1000, 20, NULL), RG_OK);
    cr_assert_eq(rg_synth_expose(sensor, &v, 1, 5, &image, NULL), RG_OK);
    cr_assert_eq(rg_synth_png(&image, &bytes, &size, NULL), RG_OK);
    cr_assert_eq(rg_decode(bytes, size, &back, NULL), RG_OK);
    cr_assert(back.width == 67 && back.full_height == 41 && back.channels == 3);
    for (int i = 0; i < 67 * 41 * 3; i++)
        cr_assert_eq(((uint8_t *)image.data)[i], ((uint8_t *)back.data)[i], "sample %d", i);
    free(bytes);
    rg_image_free(&image);
    rg_image_free(&back);
    rg_synth_view_free(&v);
    rg_synth_sensor_free(sensor);
}

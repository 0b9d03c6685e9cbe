/*
 * Tests of strip.h on pictures of a cylinder whose brightness is a known
 * function of bearing and height, ray-cast in support/scene.c. Angles are
 * checked against plane geometry written here and against rim.h.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/strip.h"
#include "support/scene.h"

static const rg_lens plain = {
    .width = 1280, .height = 720, .fx = 3300, .fy = 3300, .cx = 639.5, .cy = 359.5};
static const rg_lens bent = {.width = 1280,
                             .height = 720,
                             .fx = 3300,
                             .fy = 3310,
                             .cx = 630,
                             .cy = 365,
                             .k1 = -0.12,
                             .k2 = 0.08,
                             .p1 = 0.0006,
                             .p2 = -0.0004,
                             .k3 = -0.02};
static const rg_rim rim = {18, 20, 23, 5};
static const rg_strip_options usual = {0.25, -0.8, 1.2, 0.015, 64};

/* Slow enough in both directions for bilinear sampling to follow. */
static double waves(double bearing_deg, double z, int channel, const void *data)
{
    (void)channel, (void)data;
    return 0.4 + 0.2 * sin(2 * RG_PI * z / 1.1) + 0.1 * cos(bearing_deg * 5 * RG_PI / 180);
}

static rg_strip unwrap(const rg_lens *lens, const rg_pose *pose, const rg_strip_options *options,
                       test_pattern *pattern, const void *data)
{
    int box[4];
    rg_error err = {0};
    rg_strip strip;
    cr_assert_eq(rg_strip_extent(lens, pose, &rim, options, box, &err), RG_OK, "%s", err.text);
    rg_plane plane = test_render(lens, pose, 10, box, 1, pattern, data);
    cr_assert_eq(rg_strip_new(&strip, &plane, lens, pose, &rim, options, &err), RG_OK, "%s",
                 err.text);
    rg_plane_free(&plane);
    return strip;
}

static void compare_with_pattern(const rg_lens *lens, double bearing, double elevation,
                                 double distance)
{
    rg_pose pose = test_camera(bearing, elevation, distance);
    rg_strip s = unwrap(lens, &pose, &usual, waves, NULL);
    double worst = 0;
    for (int c = 0; c < s.columns; c++) {
        cr_assert(s.column[c].inside, "bearing %g", s.column[c].bearing_deg);
        for (int r = 0; r < s.rows; r++) {
            double z = rg_strip_height(&s, r), seen = s.light[c * s.rows + r];
            worst = fmax(worst, fabs(seen - waves(s.column[c].bearing_deg, z, 0, NULL)));
        }
    }
    /* Curvature (2 pi / 33 px)^2 * 0.2 times 1/8 px^2 is the interpolation's own error. */
    cr_expect_lt(worst, 0.0015, "bearing %g elevation %g: %g", bearing, elevation, worst);
    rg_strip_free(&s);
}

Test(strip, rows_and_columns_carry_the_light_of_their_height_and_bearing)
{
    compare_with_pattern(&plain, 200, 0.7, 108);
    compare_with_pattern(&plain, 75, -0.8, 108);
    compare_with_pattern(&plain, 2, 3, 108); /* over the seam */
}

Test(strip, lens_distortion_is_followed)
{
    compare_with_pattern(&bent, 140, 0.3, 108);
}

Test(strip, a_camera_from_above_sees_heights_shrink_unevenly)
{
    compare_with_pattern(&plain, 250, 30, 75);
}

Test(strip, columns_ascend_on_the_half_step_grid_within_the_obliquity_limit)
{
    rg_pose pose = test_camera(5, 0, 108);
    rg_strip s = unwrap(&plain, &pose, &usual, waves, NULL);
    double most = 0;
    for (int c = 0; c < s.columns; c++) {
        const rg_strip_column *col = &s.column[c];
        double grid = col->bearing_deg / 0.25 - 0.5;
        cr_assert_float_eq(grid, round(grid), 1e-6);
        cr_assert(col->bearing_deg >= 0 && col->bearing_deg < 360);
        if (c)
            cr_assert_float_eq(rg_angle_between(col->bearing_deg, s.column[c - 1].bearing_deg),
                               0.25, 1e-9);
        most = fmax(most, fabs(col->obliquity_rad));
    }
    cr_assert_leq(most, 64 * RG_PI / 180 + 1e-9);
    cr_assert_gt(most, 63.5 * RG_PI / 180, "the strip stops short: %g", most * 180 / RG_PI);
    cr_assert_eq(s.rows, 134);
    cr_assert_float_eq(rg_strip_height(&s, 0), -0.8, 1e-12);
    rg_strip_free(&s);
}

Test(strip, slope_obliquity_and_scale_are_those_of_rim_and_plane_geometry)
{
    rg_pose pose = test_camera(130, 1.4, 95);
    rg_strip s = unwrap(&bent, &pose, &usual, waves, NULL);
    double flat = 95 * cos(1.4 * RG_PI / 180), high = 95 * sin(1.4 * RG_PI / 180);
    for (int c = 0; c < s.columns; c += 7) {
        const rg_strip_column *col = &s.column[c];
        rg_rim_view view = rg_rim_look(&bent, &pose, 10, 0, col->bearing_deg);
        cr_assert_float_eq(col->slope, tan(view.elevation_deg * RG_PI / 180), 1e-9);
        cr_assert_float_eq(col->obliquity_rad, view.obliquity_deg * RG_PI / 180, 1e-9);
        cr_assert_float_eq(col->px_per_mm / view.px_per_mm, 1, 1e-3);
        double d = (130 - col->bearing_deg) * RG_PI / 180;
        double out = flat * cos(d) - 10, side = flat * sin(d);
        cr_assert_float_eq(col->obliquity_rad, atan2(side, out), 1e-9);
        cr_assert_float_eq(col->slope, high / hypot(out, side), 1e-9);
    }
    rg_strip_free(&s);
}

/* ---------------------------------------------- variance of the sampling */
Test(strip, bilinear_sampling_of_a_point_spreads_it_by_a_sixth)
{
    float row[2 * 9] = {0};
    row[2 * 4] = row[2 * 4 + 1] = 1; /* a line in row 4 of a 2 x 9 picture */
    rg_plane plane = {0, 0, 2, 9, 1, row};
    double moment = 0, sum = 0;
    enum { STEPS = 1000 };
    for (int i = 0; i < 8 * STEPS; i++) {
        double y = (i + 0.5) / STEPS, w = rg_plane_at(&plane, 0, 0.5, y);
        sum += w;
        moment += w * (y - 4) * (y - 4);
    }
    cr_assert_float_eq(moment / sum, RG_BILINEAR_VARIANCE_PX2, 1e-5, "%g", moment / sum);
}

static double gauss_line(double bearing_deg, double z, int channel, const void *data)
{
    double s = *(const double *)data;
    (void)bearing_deg, (void)channel;
    return exp(-0.5 * (z - 0.2) * (z - 0.2) / (s * s));
}

Test(strip, a_line_in_the_strip_is_wider_by_a_sixth_of_a_pixel_squared)
{
    double sigma = 0.05; /* mm; about 1.6 px */
    rg_pose pose = test_camera(40, 0.9, 103);
    rg_strip s = unwrap(&plain, &pose, &usual, gauss_line, &sigma);
    double added = 0;
    for (int c = 0; c < s.columns; c++) {
        double sum = 0, mean = 0, square = 0;
        for (int r = 0; r < s.rows; r++) {
            double w = s.light[c * s.rows + r], z = rg_strip_height(&s, r);
            sum += w, mean += w * z, square += w * z * z;
        }
        mean /= sum;
        cr_assert_float_eq(mean, 0.2, 0.002, "bearing %g: %g", s.column[c].bearing_deg, mean);
        double k = s.column[c].px_per_mm, var = square / sum - mean * mean;
        added += (var - sigma * sigma) * k * k / s.columns;
    }
    cr_assert_float_eq(added, RG_BILINEAR_VARIANCE_PX2, 0.02, "%g px^2", added);
    rg_strip_free(&s);
}

/* --------------------------------------------------------- picture edge */
Test(strip, columns_beyond_the_picture_are_marked_and_hold_no_light)
{
    rg_lens lens = plain;
    lens.width = 700; /* the rim's right part lies outside */
    rg_pose pose = test_camera(90, 0, 108);
    rg_strip s = unwrap(&lens, &pose, &usual, waves, NULL);
    int inside = 0, outside = 0;
    for (int c = 0; c < s.columns; c++) {
        rg_rim_view view = rg_rim_look(&lens, &pose, 10, 0, s.column[c].bearing_deg);
        bool in = view.pixel.x >= 0 && view.pixel.x <= 699;
        cr_assert_eq(s.column[c].inside, in, "x %g", view.pixel.x);
        cr_assert_eq(isnan(s.light[c * s.rows]) == 0, in);
        inside += in, outside += !in;
    }
    cr_assert_gt(inside, 100);
    cr_assert_gt(outside, 100);
    rg_strip_free(&s);
}

Test(strip, a_strip_cut_at_its_top_is_not_inside)
{
    rg_lens lens = plain;
    lens.cy = 20; /* the upper heights lie above the picture */
    rg_pose pose = test_camera(90, 0, 108);
    rg_strip s = unwrap(&lens, &pose, &usual, waves, NULL);
    const float *middle = s.light + s.columns / 2 * s.rows;
    cr_assert_not(s.column[s.columns / 2].inside);
    cr_assert_not(isnan(middle[0]));
    cr_assert(isnan(middle[s.rows - 1]));
    rg_strip_free(&s);
}

Test(strip, extent_holds_the_whole_strip_with_a_margin)
{
    rg_pose pose = test_camera(300, -1, 100);
    int box[4];
    cr_assert_eq(rg_strip_extent(&bent, &pose, &rim, &usual, box, NULL), RG_OK);
    for (double b = 300 - 50; b <= 300 + 50; b += 2)
        for (double z = -0.8; z <= 1.2; z += 0.5) {
            rg_vec2 p = rg_rim_look(&bent, &pose, 10, z, b).pixel;
            cr_assert(p.x > box[0] + 1 && p.x < box[0] + box[2] - 2);
            cr_assert(p.y > box[1] + 1 && p.y < box[1] + box[3] - 2);
        }
    cr_assert_lt(box[2] * box[3], 1280 * 720 / 4);
}

/* -------------------------------------------------------------- refusals */
static void refused(rg_strip_options o, const char *word)
{
    rg_pose pose = test_camera(90, 0, 108);
    float dot[4] = {0};
    rg_plane plane = {0, 0, 2, 2, 1, dot};
    rg_strip s;
    rg_error err = {0};
    cr_assert_eq(rg_strip_new(&s, &plane, &plain, &pose, &rim, &o, &err), RG_BAD_DATA, "%s", word);
    cr_assert_not_null(strstr(err.text, word), "'%s' does not name %s", err.text, word);
    cr_assert_null(s.light);
}

Test(strip, impossible_options_are_refused_by_name)
{
    static const double step[] = {0, 0.01, 3, -1, NAN};
    static const double dz[] = {0, -0.1, 0.5, NAN};
    static const double obliquity[] = {0, 5, 85, NAN};
    static const double high[] = {-0.8, -1, 20, NAN, -0.7};
    for (int k = 0; k < 5; k++) {
        rg_strip_options o = usual;
        o.step_deg = step[k];
        refused(o, "step");
        o = usual;
        o.high_mm = high[k];
        refused(o, "heights");
    }
    for (int k = 0; k < 4; k++) {
        rg_strip_options o = usual;
        o.dz_mm = dz[k];
        refused(o, "row spacing");
        o = usual;
        o.max_obliquity_deg = obliquity[k];
        refused(o, "obliquity");
    }
}

static void too_many(double step, double dz, double high, const char *const names[3])
{
    rg_strip_options o = usual;
    rg_error err = {0};
    o.step_deg = step;
    o.dz_mm = dz;
    o.high_mm = high;
    cr_assert_eq(rg_strip_check(&o, &err), RG_BAD_DATA, "%g by %g", step, dz);
    for (int i = 0; i < 3; i++)
        cr_assert_not_null(strstr(err.text, names[i]), "'%s' lacks %s", err.text, names[i]);
    cr_assert_not_null(strstr(err.text, "4000000"), "'%s' lacks the limit", err.text);
}

Test(strip, more_samples_than_memory_is_meant_for_are_refused_with_their_number)
{
    /* 360 / 0.05 columns by (1.2 + 0.8) / 0.002 rows, and so on. */
    too_many(0.05, 0.002, 1.2, (const char *const[]){"0.05 degrees", "0.002 mm", "7200000"});
    too_many(0.1, 0.00125, 10, (const char *const[]){"0.1 degrees", "0.00125 mm", "31104000"});
}

Test(strip, as_many_samples_as_are_allowed_are_accepted)
{
    /* 7200 columns by 2.0 / 0.0036 rows are 4 000 000. */
    rg_strip_options o = usual;
    rg_error err = {0};
    o.step_deg = 0.05;
    o.dz_mm = 0.003601;
    cr_assert_eq(rg_strip_check(&o, &err), RG_OK, "%s", err.text);
    o.dz_mm = 0.003599;
    cr_assert_eq(rg_strip_check(&o, &err), RG_BAD_DATA);
    o = usual;
    cr_assert_eq(rg_strip_check(&o, &err), RG_OK, "%s", err.text);
}

Test(strip, a_camera_within_the_rim_is_refused)
{
    static const double distance[] = {8, 9.5, 10};
    float dot[4] = {0};
    rg_plane plane = {0, 0, 2, 2, 1, dot};
    for (int k = 0; k < 3; k++) {
        rg_pose pose = test_camera(90, 0, distance[k]);
        rg_strip s;
        rg_error err = {0};
        cr_assert_eq(rg_strip_new(&s, &plane, &plain, &pose, &rim, &usual, &err), RG_BAD_DATA);
        cr_assert_not_null(strstr(err.text, "step back"));
    }
}

Test(strip, a_rim_outside_the_picture_is_refused)
{
    rg_pose pose = test_camera(90, 0, 108);
    int box[4];
    rg_error err = {0};
    pose.t.x += 60;
    cr_assert_eq(rg_strip_extent(&plain, &pose, &rim, &usual, box, &err), RG_BAD_DATA);
    cr_assert_not_null(strstr(err.text, "outside the picture"));
}

Test(strip, freeing_twice_or_nothing_is_safe)
{
    rg_strip s = {0};
    rg_strip_free(NULL);
    rg_strip_free(&s);
    rg_strip_free(&s);
}

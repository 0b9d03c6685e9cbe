/*
 * Tests of draw_study.h: every picture in every format, values where they belong,
 * nothing cut at the border, nothing in a result that makes drawing fail. Plot geometry
 * (left 110, top 140, 880 x 610 px) is measured here from the axes' own lines.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "edge/drawing.h"
#include "rimglow/draw_study.h"

static rg_error err;

TestSuite(draw_study, .fini = test_release_fonts);

static rg_code gauge(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_gauge(args, format, out, e);
}

static rg_code pod(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_pod(args, format, out, e);
}

static rg_code signal_of(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_signal(args, format, out, e);
}

static rg_image picture(test_draw *routine, const void *args)
{
    return test_picture(routine, args, RG_STUDY_WIDTH, RG_STUDY_HEIGHT);
}

static void all_formats(test_draw *routine, const void *args)
{
    test_all_formats(routine, args, RG_STUDY_WIDTH, RG_STUDY_HEIGHT);
}

/* ---------------------------------------------------------------- gauge */

enum { MANY = 40 };
static double value[MANY * 10 * 3], reference[MANY];
static const char *part[MANY], *person[MANY];

static rg_gauge_study_result gauge_result(int parts, int persons, double scatter)
{
    static const double wave[] = {0.3, -1.1, 0.7, 1.2, -0.6, -0.4, 0.9};
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r;
    for (int i = 0; i < parts * persons * 3; i++)
        value[i] = 0.02 * (i / (persons * 3)) + scatter * wave[(3 * i) % 7];
    for (int i = 0; i < MANY; i++) {
        part[i] = i % 2 ? "pad with a rather long name that does not fit" : "G \xFF";
        person[i] = i % 3 ? "a person with a long name as well" : "x";
        reference[i] = i % 2 ? NAN : 0.02 * i;
    }
    cr_assert_eq(rg_study_gauge(value, reference, parts, persons, 3, false, &s, &r, &err), RG_OK);
    return r;
}

Test(draw_study, gauge_of_any_size_fits_its_page)
{
    static const int size[][2] = {{2, 1}, {5, 3}, {24, 6}, {40, 10}};
    static const double scatter[] = {0, 0.002, 0.5};
    rg_study_settings s = rg_study_defaults();
    for (int i = 0; i < 4; i++)
        for (int k = 0; k < 3; k++) {
            rg_gauge_study_result r = gauge_result(size[i][0], size[i][1], scatter[k]);
            rg_draw_gauge_args args = {&r, &s, part, person, k ? "table" : NULL, "widest gap"};
            all_formats(gauge, &args);
            rg_gauge_study_free(&r);
        }
}

/* Above the plot, right, stands how many parts are drawn when it is not all. */
Test(draw_study, parts_that_are_left_out_are_told)
{
    rg_study_settings s = rg_study_defaults();
    for (int more = 0; more < 2; more++) {
        rg_gauge_study_result r = gauge_result(RG_STUDY_PARTS_DRAWN + more, 2, 0.002);
        rg_draw_gauge_args args = {&r, &s, part, person, "t", "widest gap"};
        rg_image m = picture(gauge, &args);
        cr_expect_eq(test_ink(&m, 1180, 118, 1362, 142) > 50, more == 1);
        rg_image_free(&m);
        rg_gauge_study_free(&r);
    }
}

/* The bars end where the percentage says: plot from x 180, 400 px for 118 %. */
Test(draw_study, bars_are_as_long_as_their_percentage)
{
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r = gauge_result(4, 2, 0.03);
    rg_draw_gauge_args args = {&r, &s, part, person, "t", "widest gap"};
    rg_image m = picture(gauge, &args);
    static const rg_gauge_source row[] = {RG_GAUGE_RR, RG_GAUGE_REPEATABILITY};
    for (int i = 0; i < 2; i++) {
        int y = 150 + 14 + 84 * i + 4, x = 182;
        while (x < 579 && test_tone(&m, x, y) < 100)
            x++;
        double percent = (x - 180) / 400.0 * 118;
        cr_expect(fabs(percent - r.gauge.source[row[i]].study) < 1.5, "%g, expected %g", percent,
                  r.gauge.source[row[i]].study);
    }
    rg_image_free(&m);
    rg_gauge_study_free(&r);
}

/* --------------------------------------------------------------- detect */

static rg_trial trial[200];

/* Sizes 0.01 to 0.60: found above 0.3 but for some near it; signals as well. */
static int trials(bool overlap)
{
    for (int i = 0; i < 60; i++) {
        double size = 0.01 * (i + 1);
        bool swap = overlap && fabs(size - 0.3) < 0.05 && i % 3 == 0, hit = (size > 0.3) != swap;
        trial[i] =
            (rg_trial){.sweep = 0,
                       .size_mm = size,
                       .seen = true,
                       .has_hit = true,
                       .hit = hit,
                       .has_signal = true,
                       .signal = hit ? size + 0.02 * (i % 3 - 1) : 0.15,
                       .censor = hit ? i > 55 ? RG_CENSOR_ABOVE : RG_CENSOR_NONE : RG_CENSOR_BELOW};
    }
    return 60;
}

static rg_detection_result detection(int n, int axis, double decision)
{
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r;
    s.axis = axis;
    s.signal_axes = axis == RG_AXIS_LOG ? RG_SIGNAL_LOG_LOG : RG_SIGNAL_LINEAR;
    cr_assert_eq(rg_study_detect(trial, n, decision, NAN, &s, &r, &err), RG_OK, "%s", err.text);
    return r;
}

Test(draw_study, detection_in_every_state_is_drawn)
{
    for (int axis = 0; axis < 2; axis++)
        for (int kind = 0; kind < 5; kind++) {
            int n = trials(kind == 0);
            for (int i = 0; i < n; i++)
                trial[i].hit = kind == 2 ? true : kind == 3 ? false : trial[i].hit;
            rg_detection_result r = detection(kind == 4 ? 0 : n, axis, 0.2);
            rg_draw_detect_args args = {&r, kind ? "a table" : NULL};
            all_formats(pod, &args);
            all_formats(signal_of, &args);
            rg_detection_result_free(&r);
        }
}

/* With y from -0.05 to 1.05 over 610 px from 140 down, POD 0.2 lies at y = 611: the leftmost ink
 * there is the curve, at its size of 20 %. Upright marks stand at a90 and a90/95. */
Test(draw_study, curve_and_marks_stand_where_they_should)
{
    rg_detection_result r = detection(trials(true), RG_AXIS_LINEAR, NAN);
    rg_draw_detect_args args = {&r, "t"};
    rg_image m = picture(pod, &args);
    cr_assert(r.pod.state == RG_POD_FITTED && isfinite(r.pod.a90_95));
    double per_mm = 880 / (0.6 + 0.04 * (0.6 - 0.01)); /* widened by 4 % of the range of sizes */
    int x = 114, a90 = (int)lround(110 + per_mm * r.pod.a90);
    int bound = (int)lround(110 + per_mm * r.pod.a90_95);
    while (x < 980 && test_tone(&m, x, 611) >= 100)
        x++;
    cr_expect(abs(x - (int)lround(110 + per_mm * r.curve[19].size)) <= 3, "%d, expected %g", x,
              110 + per_mm * r.curve[19].size);
    cr_expect_gt(test_ink(&m, a90 - 2, 300, a90 + 3, 360), 30, "the mark of a90");
    cr_expect_gt(test_ink(&m, bound - 2, 300, bound + 3, 360), 20, "the mark of a90/95");
    cr_expect_eq(test_ink(&m, bound + 4, 300, 980, 360), 0, "nothing beyond");
    rg_image_free(&m);
    rg_detection_result_free(&r);
}

Test(draw_study, hits_stand_above_misses_below)
{
    rg_detection_result r = detection(trials(false), RG_AXIS_LINEAR, NAN);
    rg_draw_detect_args args = {&r, "t"};
    cr_assert_eq(r.pod.state, RG_POD_SEPARATED);
    rg_image m = picture(pod, &args);
    int middle = 110 + (int)(880 * 0.305 / 0.6236);
    cr_expect_eq(test_ink(&m, 112, 154, middle, 165), 0, "nothing found left of 0.305");
    cr_expect_gt(test_ink(&m, middle, 154, 988, 165), 100);
    cr_expect_gt(test_ink(&m, 112, 725, middle, 736), 100);
    cr_expect_eq(test_ink(&m, middle + 2, 725, 988, 736), 0, "nothing missed right of it");
    rg_image_free(&m);
    rg_detection_result_free(&r);
}

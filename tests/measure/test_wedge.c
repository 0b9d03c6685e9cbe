/*
 * Tests of wedge.h on the sample wedge, whose gap is known twice: by the
 * feeler's thickness and by the renderer that made the frames (samples/README.md;
 * numbers copied from samples/truth/wedge.json).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/wedge.h"
#include "support/setup.h"

#define WEDGE "samples/wedge"

enum { FRAMES_MAX = 31 };

static const rg_wedge_blade blade = {0.1, 0.001, 180, 3};

static const rg_wedge_options options = {.prior = {0.3, 0.1, 0.2, 0.15, 0.15},
                                         .margin_deg = 20,
                                         .min_residual_mm = 0.001,
                                         .min_relative = 0.02,
                                         .max_rms_mm = 0.004};

typedef struct swept {
    rg_setup setup;
    rg_frame frame[FRAMES_MAX];
    int count;
    rg_sweep_result result;
} swept;

static swept s;
static rg_wedge_result r;

/* The wedge, every elevation of which is in steps, with or without a witness. */
static void sweep(const char *steps, bool witness)
{
    rg_tag_finder *finder = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_tag_finder_new(&finder, &s.setup.options.tags, &err), RG_OK);
    if (witness)
        s.frame[s.count++] = test_take(&s.setup, finder, WEDGE "/witness.jpg", RG_FRAME_WITNESS);
    for (int v = 0; v < 30; v++) {
        char path[80];
        snprintf(path, sizeof path, WEDGE "/view_%02d.jpg", v);
        if (strchr(steps, '0' + v % 5))
            s.frame[s.count++] = test_take(&s.setup, finder, path, RG_FRAME_CLOSED);
    }
    rg_tag_finder_free(finder);
    cr_assert_eq(rg_sweep_measure(&s.setup, s.frame, s.count, &s.result, &err), RG_OK, "%s",
                 err.text);
}

static void end(void)
{
    for (int i = 0; i < s.count; i++)
        rg_frame_free(&s.frame[i]);
}

static rg_code calibrate(const rg_wedge_blade *b, const rg_wedge_options *o, rg_error *err)
{
    return rg_wedge_calibrate(&s.setup, s.frame, s.count, &s.result, b, o, &r, err);
}

Test(wedge, the_gap_is_the_plane_through_contact_and_feeler)
{
    /* samples/truth/wedge.json, w_mm */
    static const double known[][2] = {{0, 0},      {20, 0.003015}, {30, 0.006699},
                                      {60, 0.025}, {90, 0.05},     {120, 0.075},
                                      {180, 0.1},  {240, 0.075},   {330, 0.006699}};
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        cr_expect_float_eq(rg_wedge_gap(&blade, known[i][0]), known[i][1], 1e-6, "%g", known[i][0]);
    rg_wedge_blade turned = {0.08, 0, 10, 3};
    cr_expect_float_eq(rg_wedge_gap(&turned, 10), 0.08, 1e-12);
    cr_expect_float_eq(rg_wedge_gap(&turned, 190), 0, 1e-12);
    cr_expect_float_eq(rg_wedge_gap(&turned, 280), 0.04, 1e-12);
}

/* A station with values that are all wrong: the wedge must put them right. */
Test(wedge, wrong_values_are_put_right_by_the_wedge, .timeout = 300)
{
    rg_error err = {0};
    test_setup(&s.setup);
    rg_measure_options *o = &s.setup.options;
    o->witness.slot_gain = 0.6;
    o->psf_factor = 1;
    o->land_reflectance = 0.5;
    o->pad_glow = 0.3;
    o->overhang_factor = 1;
    sweep("01234", true);
    cr_assert_eq(calibrate(&blade, &options, &err), RG_OK, "%s", err.text);
    cr_expect_gt(r.rms_before_mm, 0.006);
    cr_expect_lt(r.rms_mm, 0.0035, "%g", r.rms_mm);
    cr_expect_float_eq(r.slope, 1, 3 * r.u_slope, "%g +- %g", r.slope, r.u_slope);
    cr_expect_float_eq(r.value[RG_WEDGE_GAIN], 0.94, 0.12, "%g", r.value[RG_WEDGE_GAIN]);
    cr_expect_null(rg_wedge_fault(&r, &options));
    cr_expect(r.monotone);
    /* From 0.007 mm on, as far as the feeler's own shadow. */
    cr_expect_lt(r.node[0].width_mm, 0.007);
    cr_expect_gt(r.node[r.nodes - 1].width_mm, 0.085);
    for (int i = 1; i < r.nodes; i++)
        cr_expect(r.node[i].flux_mm > r.node[i - 1].flux_mm, "node %d", i);
    /* The light alone reads too wide; calibrated it does not. */
    for (int i = 2; i < r.nodes; i++) {
        cr_expect_gt(r.node[i].flux_mm, r.node[i].width_mm + 0.01);
        cr_expect_float_eq(r.node[i].reading_mm, r.node[i].width_mm,
                           fmax(0.006, 0.08 * r.node[i].width_mm));
    }
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        cr_expect(r.u[k] > 0 && r.u[k] < 1, "%s: u %g", rg_wedge_value_key((rg_wedge_value)k),
                  r.u[k]);
    cr_expect_float_eq(r.full_scale, 1, 0.02);
    end();
}

Test(wedge, what_the_wedge_cannot_say_stays_as_it_was, .timeout = 300)
{
    rg_error err = {0};
    rg_wedge_options firm = options;
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        firm.prior[k] = 1e-4;
    test_setup(&s.setup);
    sweep("024", true);
    cr_assert_eq(calibrate(&blade, &firm, &err), RG_OK, "%s", err.text);
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        cr_expect_float_eq(r.value[k], r.before[k], 0.002, "%s",
                           rg_wedge_value_key((rg_wedge_value)k));
    cr_expect_float_eq(r.rms_mm, r.rms_before_mm, 0.0002);
    end();
}

Test(wedge, detection_is_best_level_with_the_rim_and_worse_in_room_light, .timeout = 300)
{
    rg_error err = {0};
    test_setup(&s.setup);
    sweep("024", true);
    cr_assert_eq(calibrate(&blade, &options, &err), RG_OK, "%s", err.text);
    int level = RG_WEDGE_ELEVATIONS / 2;
    cr_expect_eq(r.elevation_deg[level], 0);
    for (int a = 0; a < RG_WEDGE_AMBIENTS; a++) {
        for (int e = 0; e < RG_WEDGE_ELEVATIONS; e++) {
            cr_expect(r.detection_mm[a][e] >= r.detection_mm[a][level]);
            /* Geometry alone: from above the overhang and the land hide w = D tan e. */
            double slope = tan(r.elevation_deg[e] * RG_PI / 180);
            if (slope > 0)
                cr_expect(r.detection_mm[a][e] > 2.4 * slope && r.detection_mm[a][e] < 3.2 * slope,
                          "%g mm at %g degrees", r.detection_mm[a][e], r.elevation_deg[e]);
        }
        if (a > 0)
            cr_expect_gt(r.detection_mm[a][level], r.detection_mm[a - 1][level]);
    }
    end();
}

static void refused(rg_code code, const rg_error *err, const char *why)
{
    cr_expect_eq(code, RG_BAD_DATA);
    cr_expect_not_null(strstr(err->text, why), "\"%s\" is not in \"%s\"", why, err->text);
}

Test(wedge, a_wedge_that_proves_nothing_is_refused, .timeout = 300)
{
    rg_error err = {0};
    test_setup(&s.setup);
    sweep("02", false);
    refused(calibrate(&blade, &options, &err), &err, "witness");
    s.result.evidence.light_proven = true;
    rg_wedge_blade thin = {0.01, 0.001, 180, 3}, none = {0, 0.001, 180, 3};
    refused(calibrate(&thin, &options, &err), &err, "thicker feeler");
    refused(calibrate(&none, &options, &err), &err, "micrometer");
    rg_wedge_options flat = options;
    flat.prior[RG_WEDGE_GLOW] = 0;
    refused(calibrate(&blade, &flat, &err), &err, "pad_glow");
    s.result.evidence.rim_found = false;
    refused(calibrate(&blade, &options, &err), &err, "rim was not found");
    end();
}

Test(wedge, a_calibration_that_does_not_follow_the_wedge_is_not_good, .timeout = 300)
{
    rg_error err = {0};
    test_setup(&s.setup);
    sweep("01234", true);
    /* The strip lies elsewhere than stated. */
    rg_wedge_blade wrong = {0.1, 0.001, 60, 3};
    if (calibrate(&wrong, &options, &err) == RG_OK)
        cr_expect_not_null(rg_wedge_fault(&r, &options));
    cr_assert_eq(calibrate(&blade, &options, &err), RG_OK);
    cr_assert_null(rg_wedge_fault(&r, &options), "%s (rms %g)", rg_wedge_fault(&r, &options),
                   r.rms_mm);
    rg_wedge_result bent = r;
    bent.monotone = false;
    cr_expect_not_null(rg_wedge_fault(&bent, &options));
    bent = r;
    bent.full_scale = 0.3;
    cr_expect_not_null(rg_wedge_fault(&bent, &options));
    bent = r;
    bent.rms_mm = NAN;
    cr_expect_not_null(rg_wedge_fault(&bent, &options));
    end();
}

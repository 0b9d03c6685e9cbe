/*
 * Tests of observe.h on columns of stated flux. The slot is too dim to clip, so
 * that flux = radiance times width exactly (photometry), at any exposure.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/observe.h"

enum { COLUMNS = 40 };
#define STEP_DEG  0.25
#define PX_PER_MM 30.0

typedef struct made {
    rg_frame frame[2];
    rg_strip_column column[2][COLUMNS];
    rg_column_light light[2][COLUMNS];
} made;

static made m;
static const rg_rim_plane plane = {.found = true};
static const rg_observe_options reading = {.radiance = {0.2, 0.2, 0.2},
                                           .psf_sigma_px = 0.8,
                                           .code_weights = {0.299, 0.587, 0.114},
                                           .u_slope = 0.0005,
                                           .u_height_mm = 0.017};

/* Frame i at this exposure sees a slot of this width from bearing 100 on. */
static void make(int i, double exposure, double width)
{
    m.frame[i] = (rg_frame){.role = RG_FRAME_CLOSED, .used = true, .exposure = exposure};
    m.frame[i].strip = (rg_strip){.columns = COLUMNS, .column = m.column[i], .step_deg = STEP_DEG};
    m.frame[i].light = (rg_rimlight){.columns = COLUMNS, .column = m.light[i]};
    for (int c = 0; c < COLUMNS; c++) {
        m.column[i][c] = (rg_strip_column){.bearing_deg = 99.5 + STEP_DEG * (c + 0.5),
                                           .slope = 0.01,
                                           .px_per_mm = PX_PER_MM,
                                           .inside = true};
        m.light[i][c] = (rg_column_light){
            .state = RG_COLUMN_LIT, .flux_mm = 0.2 * exposure * width, .u_flux_mm = 1e-4};
    }
}

static rg_observations observe(int count)
{
    rg_observations o;
    rg_error err = {0};
    cr_assert_eq(rg_observe(&reading, &plane, 10, m.frame, count, &o, &err), RG_OK, "%s", err.text);
    return o;
}

Test(observe, flux_becomes_height_whatever_the_exposure)
{
    make(0, 1, 0.03);
    make(1, 2.5, 0.03);
    rg_observations o = observe(2);
    for (int b = 100; b < 110; b++) {
        cr_assert_eq(o.count[b], 2);
        for (int i = 0; i < 2; i++) {
            cr_expect_eq(o.obs[b][i].frame, i);
            cr_expect_float_eq(o.obs[b][i].height_mm, 0.03, 0.0003, "bin %d frame %d: %g", b, i,
                               o.obs[b][i].height_mm);
            cr_expect_float_eq(o.obs[b][i].flux_mm, 0.2 * m.frame[i].exposure * 0.03, 1e-9);
            /* Unclipped: d height / d ln L = -height. */
            cr_expect_float_eq(o.obs[b][i].per_ln_radiance, -0.03, 0.002);
        }
    }
    cr_expect_eq(o.count[99] + o.count[110], 0);
    rg_observations_free(&o);
}

Test(observe, a_frame_that_is_not_used_or_not_closed_says_nothing)
{
    make(0, 1, 0.03);
    make(1, 1, 0.03);
    m.frame[0].used = false;
    m.frame[1].role = RG_FRAME_DARK;
    rg_observations o = observe(2);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_eq(o.count[b], 0);
    rg_observations_free(&o);
}

Test(observe, a_bin_that_is_half_hidden_is_hidden)
{
    make(0, 1, 0.03);
    for (int c = 0; c < COLUMNS; c += 2)
        m.light[0][c].state = RG_COLUMN_HIDDEN;
    m.light[0][38].state = RG_COLUMN_LIT; /* the last bin: three of four */
    rg_observations o = observe(1);
    cr_expect_eq(o.count[100], 0);
    cr_expect_eq(o.count[109], 1);
    rg_observations_free(&o);
}

/* A band of 0.03 mm about a middle 0.1 mm above the rim line stands from 0.085 to 0.115; the frame's shift
 * belongs to the rim line alone. */
Test(observe, light_has_an_upper_and_a_lower_edge_where_it_is_one_band)
{
    make(0, 1, 0.03);
    for (int c = 0; c < COLUMNS; c++)
        m.light[0][c].middle_mm = 0.1;
    m.light[0][1].middle_mm = NAN;          /* bin 100 */
    m.light[0][5].state = RG_COLUMN_DARK;   /* 101 */
    m.light[0][9].state = RG_COLUMN_HIDDEN; /* 102 */
    m.frame[0].shift_mm = 0.02;
    rg_observations o = observe(1);
    for (int b = 100; b < 103; b++)
        cr_expect(isnan(o.obs[b][0].low_mm) && isnan(o.obs[b][0].high_mm), "%d", b);
    for (int b = 103; b < 110; b++) {
        cr_expect_float_eq(o.obs[b][0].low_mm, 0.105, 0.0003, "%g", o.obs[b][0].low_mm);
        cr_expect_float_eq(o.obs[b][0].high_mm, 0.135, 0.0003);
        cr_expect_eq(o.obs[b][0].u_edge_mm, reading.u_height_mm);
    }
    rg_observations_free(&o);
}

/* From 100 mm before a rim that lies 0.3 mm lower, the camera stands 0.3/100 steeper above it. */
Test(observe, a_ray_is_steeper_to_a_rim_that_lies_lower)
{
    const rg_rim_plane low = {.found = true, .c = -0.3};
    rg_observations o;
    make(0, 1, 0.03);
    m.frame[0].distance_mm = 110;
    cr_assert_eq(rg_observe(&reading, &low, 10, m.frame, 1, &o, NULL), RG_OK);
    cr_expect_float_eq(o.obs[105][0].slope_gain, 0.003, 1e-9);
    cr_expect_float_eq(o.obs[105][0].slope_rim, 0.01, 1e-9);
    rg_observations_free(&o);
    m.frame[0].distance_mm = 0;
    cr_assert_eq(rg_observe(&reading, &low, 10, m.frame, 1, &o, NULL), RG_OK);
    cr_expect_eq(o.obs[105][0].slope_gain, 0, "no place, no gain");
    rg_observations_free(&o);
}

Test(observe, impossible_light_is_refused_and_nothing_is_owned)
{
    rg_observe_options bad = reading;
    rg_observations o;
    rg_error err = {0};
    make(0, 1, 0.03);
    bad.radiance[1] = NAN;
    cr_expect_eq(rg_observe(&bad, &plane, 10, m.frame, 1, &o, &err), RG_BAD_DATA);
    cr_expect_null(o.store);
    bad = reading;
    bad.psf_sigma_px = 1000;
    cr_expect_eq(rg_observe(&bad, &plane, 10, m.frame, 1, &o, &err), RG_BAD_DATA);
    rg_observations_free(&o);
    rg_observations_free(NULL);
}

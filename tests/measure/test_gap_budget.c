/*
 * The budget of a gap: its parts are those of the rocking fit, their squares add
 * up to the seal map's u, and each sensitivity is the derivative of the width,
 * checked by solving the same observations again with the input moved.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/gap_budget.h"
#include "support/setup.h"

static rg_setup setup;
static rg_gap_budget_options options;
static rg_sweep_result result;

enum { VIEWS = 5 };

static const rg_slot_geometry slot = {.inner_mm = 9,
                                      .outer_mm = 10,
                                      .pad_mm = 11.5,
                                      .land_reflectance = 0.8,
                                      .pad_glow = 0.15,
                                      .bulge_mm = 0.01,
                                      .shoulder_mm = 0.35};

/* Five elevations of a gap of 0.12 mm with a little scatter; times: relative
 * error of the radiance and of the blur that the heights were inverted with. */
static void observe(rg_observation obs[VIEWS], double ln_radiance, double ln_sigma)
{
    static const double scatter[VIEWS] = {0.002, -0.001, 0.001, -0.002, 0.001};
    for (int i = 0; i < VIEWS; i++) {
        double slope = tan(0.4 * (i - 2) * RG_PI / 180);
        double h = rg_slot_open(&slot, 0.12, slope, slope, 0.1);
        obs[i] =
            (rg_observation){.frame = i,
                             .height_mm = h + scatter[i] - 0.5 * h * ln_radiance - 0.08 * ln_sigma,
                             .u_mm = 0.0015,
                             .per_ln_radiance = -0.5 * h,
                             .per_ln_sigma = -0.08,
                             .slope_pad = slope,
                             .slope_rim = slope,
                             .obliquity_rad = 0.1,
                             .u_slope = 0.0005,
                             .lit = true};
    }
}

static double solve(double ln_radiance, double ln_sigma, rg_rocking_fit *fit)
{
    rg_observation obs[VIEWS];
    observe(obs, ln_radiance, ln_sigma);
    rg_rocking_solve(&slot, obs, VIEWS, &setup.options.rocking, fit);
    return fit->width_mm;
}

static void make_result(int bearing)
{
    test_setup(&setup);
    test_gap_budget_options(&options);
    result = (rg_sweep_result){.u_ln_radiance = setup.options.rocking.u_ln_radiance,
                               .psf_sigma_px = 0.7,
                               .geometry = slot};
    for (int c = 0; c < 3; c++)
        result.radiance[c] = 2.5;
    result.evidence.light_proven = true;
    for (int b = 0; b < RG_BINS; b++)
        result.map.bin[b] =
            (rg_bin){.bearing_deg = b, .width_mm = NAN, .u_mm = NAN, .state = RG_BIN_UNSEEN};
    rg_bin *bin = &result.map.bin[bearing];
    solve(0, 0, &bin->fit);
    bin->width_mm = bin->fit.width_mm;
    bin->u_mm = bin->fit.u_mm;
    bin->state = RG_BIN_GAP;
}

static rg_gap_budget make(int bearing)
{
    rg_gap_budget b;
    rg_error err = {0};
    cr_assert_eq(rg_gap_budget_make(&setup, &result, bearing, &options, &b, &err), RG_OK, "%s",
                 err.text);
    return b;
}

static const rg_contribution *find(const rg_gap_budget *b, const char *name)
{
    for (int i = 0; i < b->budget.count; i++)
        if (strcmp(b->budget.part[i].name, name) == 0)
            return &b->budget.part[i];
    cr_assert_fail("no contribution %s", name);
    return NULL;
}

Test(gap_budget, the_parts_add_up_to_the_seal_map_s_u)
{
    make_result(40);
    rg_gap_budget b = make(40);
    cr_expect_float_eq(b.budget.u, result.map.bin[40].u_mm, 1e-12);
    cr_expect_eq(b.budget.count, 8);
    double sum = 0;
    for (int i = 0; i < b.budget.count; i++) {
        const rg_contribution *p = &b.budget.part[i];
        cr_expect(p->u_result > 0, "%s", p->name);
        cr_expect(p->name[0] && p->source[0] && p->unit[0]);
        sum += p->u_result * p->u_result;
    }
    cr_expect_float_eq(sqrt(sum), result.map.bin[40].u_mm, 1e-12);
    cr_expect_float_eq(b.width_mm, result.map.bin[40].width_mm, 0);
}

Test(gap_budget, sensitivities_are_the_width_s_derivatives)
{
    make_result(40);
    rg_rocking_fit fit;
    rg_gap_budget b = make(40);
    double h = 0.01;
    double by_radiance = (solve(h, 0, &fit) - solve(-h, 0, &fit)) / (2 * h);
    double by_blur = (solve(0, h, &fit) - solve(0, -h, &fit)) / (2 * h);
    cr_expect_float_eq(find(&b, "radiance of the slot, ln")->sensitivity, fabs(by_radiance),
                       0.03 * fabs(by_radiance), "%g, not %g",
                       find(&b, "radiance of the slot, ln")->sensitivity, by_radiance);
    cr_expect_float_eq(find(&b, "blur of the camera (px), ln")->sensitivity, fabs(by_blur),
                       0.03 * fabs(by_blur));
    /* A width is proportional to the scale. */
    cr_expect_float_eq(find(&b, "scale")->sensitivity, b.width_mm, 1e-12);
    /* Of inputs that are lengths of gap already. */
    cr_expect_float_eq(find(&b, "noise")->sensitivity, 1, 1e-12);
    cr_expect_float_eq(find(&b, "bulge of the pad")->u, 0.5 * slot.bulge_mm, 1e-12);
}

/* Columns every 0.25 degrees: 4 in a bearing, 3 degrees of freedom a frame. Type B
 * by JCGM 100 G.4.2. */
Test(gap_budget, degrees_of_freedom_come_from_counts_and_statements)
{
    make_result(40);
    rg_gap_budget b = make(40);
    int used = result.map.bin[40].fit.used;
    cr_assert(used >= 2);
    cr_expect_eq(find(&b, "noise")->dof, 3.0 * used);
    cr_expect_eq(find(&b, "noise")->type, RG_TYPE_A);
    cr_expect_eq(find(&b, "frames against the fit")->dof, used - 1.0);
    cr_expect_eq(find(&b, "frames against the fit")->type, RG_TYPE_A);
    cr_expect_float_eq(find(&b, "radiance of the slot, ln")->dof, 8, 1e-9);
    cr_expect_eq(find(&b, "radiance of the slot, ln")->type, RG_TYPE_B);
    cr_expect_float_eq(find(&b, "bulge of the pad")->dof, 2, 1e-9);
    cr_expect(b.budget.dof > 1 && b.budget.dof < 100);
    cr_expect_float_eq(b.budget.level, 0.95, 1e-12);
}

Test(gap_budget, the_parts_of_the_model_are_kept_apart)
{
    make_result(40);
    const rg_rocking_fit *f = &result.map.bin[40].fit;
    cr_expect_float_eq(hypot(hypot(f->u_slot_mm, f->u_scatter_mm), f->u_bulge_mm), f->u_model_mm,
                       1e-12);
    cr_expect(f->u_slot_mm > 0 && f->u_scatter_mm > 0);
}

/* A dark bearing: u is a third of what could hide. */
Test(gap_budget, a_look_through_the_hole_is_a_part_of_its_own)
{
    make_result(40);
    rg_bin *bin = &result.map.bin[40];
    bin->fit.u_through_mm = 0.1;
    bin->fit.u_model_mm = hypot(bin->fit.u_model_mm, 0.1);
    bin->u_mm = bin->fit.u_mm = hypot(bin->fit.u_mm, 0.1);
    rg_gap_budget b = make(40);
    cr_expect_float_eq(find(&b, "look through the hole")->u_result, 0.1, 1e-12);
    cr_expect_float_eq(b.budget.u, bin->u_mm, 1e-12);
    cr_expect_eq(b.budget.count, 9);
}

Test(gap_budget, a_dark_bearing_owes_its_u_to_the_detection_limit)
{
    make_result(40);
    result.map.bin[7] = (rg_bin){.bearing_deg = 7,
                                 .width_mm = 0,
                                 .u_mm = 0.01 / 3.29,
                                 .detection_limit_mm = 0.01,
                                 .frames = 5,
                                 .state = RG_BIN_SEALED};
    rg_gap_budget b = make(7);
    cr_expect_float_eq(find(&b, "hidden below the detection limit")->u, 0.01 / 3.29, 1e-12);
    cr_expect_float_eq(b.budget.u, 0.01 / 3.29, 1e-12);
}

/* Should the fit one day hold more than the parts named here. */
Test(gap_budget, what_is_not_named_is_not_lost)
{
    make_result(40);
    result.map.bin[40].u_mm = hypot(result.map.bin[40].u_mm, 0.004);
    rg_gap_budget b = make(40);
    cr_expect_float_eq(find(&b, "further parts of the fit")->u, 0.004, 1e-9);
    cr_expect_float_eq(b.budget.u, result.map.bin[40].u_mm, 1e-12);
}

Test(gap_budget, unseen_and_impossible_bearings_are_refused)
{
    make_result(40);
    static const int bad[] = {41, -1, 360, 1000000};
    for (int i = 0; i < 4; i++) {
        rg_gap_budget b;
        rg_error err = {0};
        cr_expect_eq(rg_gap_budget_make(&setup, &result, bad[i], &options, &b, &err), RG_BAD_DATA);
        cr_expect(strstr(err.text, "bearing"), "%s", err.text);
    }
}

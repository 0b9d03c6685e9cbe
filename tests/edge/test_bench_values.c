/*
 * The values that the tests of the measurement use (support/setup.c) must be
 * those of the demo bench and instrument that the samples are shown with.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config.h"
#include "support/load.h"
#include "support/setup.h"

static rg_bench_limits check;
static rg_gap_budget_options budget;

static void load(rg_setup *setup)
{
    test_bytes bench = test_load("calib/bench.ini"), alto = test_load("calib/alto-loan.ini");
    rg_station station;
    rg_instrument instrument;
    rg_error err = {0};
    cr_assert_eq(
        rg_station_parse("bench.ini", (const char *)bench.data, bench.size, &station, &err), RG_OK,
        "%s", err.text);
    cr_assert_eq(
        rg_instrument_parse("alto-loan.ini", (const char *)alto.data, alto.size, &instrument, &err),
        RG_OK, "%s", err.text);
    const rg_pad *pad = rg_instrument_pad(&instrument, "G");
    cr_assert_not_null(pad);
    rg_config_setup(&station, pad, setup);
    check = station.check;
    budget = station.budget;
    rg_instrument_free(&instrument);
    free(bench.data);
    free(alto.data);
}

/* Structs of nothing but doubles are compared number by number. */
static void same(const char *what, const void *file, const void *test, size_t size)
{
    const double *a = file, *b = test;
    for (size_t i = 0; i < size / sizeof(double); i++)
        cr_expect_eq(a[i], b[i], "%s, number %zu: file %g, tests %g", what, i, a[i], b[i]);
}

#define SAME(part) same(#part, &file.part, &test.part, sizeof file.part)

static rg_setup file, test;

Test(bench_values, numbers_of_the_measurement_are_the_demo_bench_s)
{
    load(&file);
    test_setup(&test);
    SAME(options.code_weights);
    SAME(options.overexposed_light);
    SAME(options.dark_light);
    SAME(options.blur_ratio);
    SAME(options.psf_sigma_px);
    SAME(options.psf_factor);
    SAME(options.land_reflectance);
    SAME(options.overhang_mm);
    SAME(options.overhang_factor);
    SAME(options.shoulder_mm);
    SAME(options.pad_glow);
    SAME(options.unproven_radiance);
    SAME(options.unproven_u_ln);
    SAME(options.strip);
    SAME(options.rimline);
    SAME(options.rimlight);
    SAME(options.witness);
    SAME(options.rocking);
    SAME(options.sealmap);
    SAME(options.opening);
    cr_expect_eq(file.options.mark_every, test.options.mark_every);
}

Test(bench_values, lens_rim_crown_and_tag_search_are_the_demo_s)
{
    load(&file);
    test_setup(&test);
    SAME(lens.fx);
    SAME(lens.fy);
    SAME(lens.cx);
    SAME(lens.cy);
    SAME(lens.k1);
    SAME(rim);
    SAME(crown.apothem_mm);
    SAME(crown.tag_size_mm);
    SAME(crown.centre_height_mm);
    SAME(options.crown.max_reprojection_px);
    SAME(options.crown.min_tag_side_px);
    SAME(options.tags.decimate);
    SAME(options.tags.min_margin);
    cr_expect_eq(file.lens.width, test.lens.width);
    cr_expect_eq(file.lens.height, test.lens.height);
    cr_expect_eq(file.crown.number, test.crown.number);
    cr_expect_eq(file.options.crown.min_edges, test.options.crown.min_edges);
    cr_expect_eq(file.options.tags.max_hamming, test.options.tags.max_hamming);
    cr_expect_eq(file.options.tags.refine, test.options.tags.refine);
}

Test(bench_values, limits_of_check_and_budget_are_the_demo_bench_s)
{
    rg_bench_limits limits;
    load(&file);
    test_bench_limits(&limits);
    rg_gap_budget_options options;
    test_gap_budget_options(&options);
    same("check", &check, &limits, sizeof check);
    same("budget", &budget, &options, sizeof budget);
}

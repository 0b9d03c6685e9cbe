/*
 * Tests of shape.h: maps made from formulas whose shape is known, against least squares and transforms
 * by GSL; drawn errors against the stated uncertainties. Measured maps with known gaps:
 * tests/edge/test_shape_maps.c.
 */
#include "rimglow/shape.h"

#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fft_real.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_multifit.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <string.h>

#include "rimglow/vec.h"
#include "support/shape.h"

static rg_error err;

static void near(const char *what, double value, double expected, double tolerance)
{
    cr_expect(fabs(value - expected) <= tolerance, "%s %.9g, expected %.9g", what, value, expected);
}

static double wave(double b, double size, int n, double at)
{
    return size * cos(n * rg_radians(b - at));
}

static rg_shape fitted(const rg_seal_map *map, const rg_shape_options *options)
{
    rg_shape s;
    cr_assert_eq(rg_shape_fit(map, options, &s, &err), RG_OK, "%s", err.text);
    return s;
}

/* mean, tilt and saddle, clipped at contact. */
typedef struct given {
    double mean, tilt, tilt_at, saddle, saddle_at;
} given;

static double given_at(const given *g, double b)
{
    return g->mean + wave(b, g->tilt, 1, g->tilt_at) + wave(b, g->saddle, 2, g->saddle_at);
}

static rg_seal_map map_of(given g, double u, double limit)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = test_bin(b, given_at(&g, b), u, limit);
    return map;
}

/* ------------------------------------------------------------ harmonics */

/* 0.05 + 0.03 cos(t - 40) + ...: a fast Fourier transform (NumPy) gives amplitudes .05 .03
 * .012 .004 and phases 40, 75, 10; and GSL gives its transform of the very widths. */
Test(shape, open_rim_gives_the_harmonics_of_a_transform)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    double w[RG_BINS], third[2] = {0};
    gsl_fft_real_wavetable *table = gsl_fft_real_wavetable_alloc(RG_BINS);
    gsl_fft_real_workspace *work = gsl_fft_real_workspace_alloc(RG_BINS);
    for (int b = 0; b < RG_BINS; b++) {
        w[b] = 0.05 + wave(b, 0.03, 1, 40) + wave(b, 0.012, 2, 75) + wave(b, 0.004, 3, 10);
        map.bin[b] = test_bin(b, w[b], 0.002, 0.008);
    }
    rg_shape s = fitted(&map, &test_formula_options);
    cr_assert_eq(s.state, RG_SHAPE_FITTED);
    near("mean", s.mean_mm, 0.05, 1e-12);
    near("tilt", s.tilt.size_mm, 0.03, 1e-12);
    near("towards", s.tilt.bearing_deg, 40, 1e-9);
    near("saddle", s.saddle.size_mm, 0.012, 1e-12);
    near("high axis", s.saddle.bearing_deg, 75, 1e-9);
    for (int b = 0; b < RG_BINS; b++) {
        third[0] += s.residual_mm[b] * cos(rg_radians(3 * b)) / 180;
        third[1] += s.residual_mm[b] * sin(rg_radians(3 * b)) / 180;
    }
    near("third", hypot(third[0], third[1]), 0.004, 1e-12);
    near("third's phase", rg_degrees(atan2(third[1], third[0])) / 3, 10, 1e-9);
    gsl_fft_real_transform(w, 1, RG_BINS, table,
                           work); /* half-complex: c0, re 1, im 1, re 2, ... */
    for (int j = 0; j < RG_SHAPE_TERMS; j++)
        near("term", s.b[j], (j == 0 ? 1 : j % 2 ? 2 : -2) * w[j] / RG_BINS, 1e-12);
    gsl_fft_real_wavetable_free(table);
    gsl_fft_real_workspace_free(work);
}

/* -------------------------------------------------------------- clipping */

/* y = max(0, .02 + .05 cos(t - 60)) on 36 samples: least squares gives .027220 and .037372, so the
 * censored fit must not. Every tenth bearing is seen. */
Test(shape, clipped_tilt_is_found_again)
{
    rg_seal_map map = map_of((given){.mean = 0.02, .tilt = 0.05, .tilt_at = 60}, 1e-5, 0);
    double naive[3] = {0};
    for (int b = 0; b < RG_BINS; b++) {
        if (b % 10) {
            map.bin[b] = test_unseen_bin(b);
            continue;
        }
        naive[0] += map.bin[b].width_mm / 36;
        naive[1] += map.bin[b].width_mm * cos(rg_radians(b)) / 18;
        naive[2] += map.bin[b].width_mm * sin(rg_radians(b)) / 18;
    }
    rg_shape s = fitted(&map, &test_formula_options);
    near("naive mean", naive[0], 0.027220, 5e-7);
    near("naive tilt", hypot(naive[1], naive[2]), 0.037372, 5e-7);
    cr_expect_eq(s.open, 23);
    cr_expect_eq(s.dark, 13);
    cr_expect_eq(s.unseen, 324);
    near("mean", s.mean_mm, 0.02, 2e-6);
    near("tilt", s.tilt.size_mm, 0.05, 2e-6);
    near("towards", s.tilt.bearing_deg, 60, 2e-3);
    near("contact", s.contact_deg, 240, 2e-2);
    near("lowest", s.lowest_mm, -0.03, 3e-6);
}

/* Two openings, two contacts. */
Test(shape, clipped_saddle_is_found_again)
{
    given g = {.mean = 0.01, .tilt = 0.015, .tilt_at = 100, .saddle = 0.04, .saddle_at = 150};
    rg_seal_map map = map_of(g, 1e-5, 0.001);
    rg_shape s = fitted(&map, &test_formula_options);
    near("mean", s.mean_mm, 0.01, 1e-5);
    near("tilt", s.tilt.size_mm, 0.015, 1e-5);
    near("towards", s.tilt.bearing_deg, 100, 0.05);
    near("saddle", s.saddle.size_mm, 0.04, 1e-5);
    near("high axis", s.saddle.bearing_deg, 150, 0.05);
    int lowest = 0;
    for (int b = 0; b < RG_BINS; b++)
        lowest = given_at(&g, b) < given_at(&g, lowest) ? b : lowest;
    near("contact", s.contact_deg, lowest, 0.55);
    near("gap at 37.5", rg_shape_at(&s, 37.5, NULL), given_at(&g, 37.5), 1e-5);
}

/* ----------------------------------------------------------- uncertainty */

static double rho(int i, int j)
{
    int apart = abs(i - j);
    double d = apart < 180 ? apart : 360 - apart;
    return test_formula_options.common_share +
           (1 - test_formula_options.common_share) * exp(-d / test_formula_options.correlation_deg);
}

/* Unweighted least squares on an open rim has the covariance (X'X)^-1 X'VX (X'X)^-1: by GSL. */
Test(shape, covariance_is_that_of_least_squares_with_correlated_errors)
{
    enum { T = RG_SHAPE_TERMS };
    rg_seal_map map = map_of((given){.mean = 0.1, .tilt = 0.01, .tilt_at = 20}, 0.004, 0.008);
    gsl_matrix *x = gsl_matrix_alloc(RG_BINS, T), *cov = gsl_matrix_alloc(T, T);
    gsl_vector *y = gsl_vector_alloc(RG_BINS), *c = gsl_vector_alloc(T);
    gsl_multifit_linear_workspace *w = gsl_multifit_linear_alloc(RG_BINS, T);
    double chisq, v[T][T] = {{0}}, full[T][T] = {{0}};
    for (size_t i = 0; i < RG_BINS; i++) {
        double r = rg_radians((double)i), row[T] = {1, cos(r), sin(r), cos(2 * r), sin(2 * r)};
        for (size_t j = 0; j < T; j++)
            gsl_matrix_set(x, i, j, row[j]);
        gsl_vector_set(y, i, map.bin[i].width_mm);
    }
    gsl_multifit_linear(x, y, c, cov, &chisq, w);
    gsl_matrix_scale(cov, 1 / (chisq / (RG_BINS - T))); /* (X'X)^-1 */
    for (size_t a = 0; a < T * T; a++)
        for (size_t i = 0; i < (size_t)RG_BINS * RG_BINS; i++)
            v[a / T][a % T] += 0.004 * 0.004 * rho((int)(i / RG_BINS), (int)(i % RG_BINS)) *
                               gsl_matrix_get(x, i / RG_BINS, a / T) *
                               gsl_matrix_get(x, i % RG_BINS, a % T);
    for (size_t a = 0; a < T * T; a++)
        for (size_t k = 0; k < T * T; k++)
            full[a / T][a % T] += gsl_matrix_get(cov, a / T, k / T) * v[k / T][k % T] *
                                  gsl_matrix_get(cov, k % T, a % T);
    rg_shape s = fitted(&map, &test_formula_options);
    for (int a = 0; a < T * T; a++)
        near("covariance", s.cov[a / T][a % T], full[a / T][a % T], 1e-6 * full[0][0]);
    near("u mean", s.u_mean_mm, sqrt(full[0][0]), 1e-9);
    cr_expect_gt(s.u_mean_mm, 19 * 0.004 / sqrt(360) / 2, "as if errors did not hang together");
    gsl_multifit_linear_free(w);
    gsl_matrix_free(x);
    gsl_matrix_free(cov);
    gsl_vector_free(y);
    gsl_vector_free(c);
}

/* Errors drawn with the stated correlation (Cholesky's factor) on a rim that stands open over a
 * half: the tilt vector lies within its 95 % ellipse, the bearings within 2 u, as often as it says. */
Test(shape, stated_uncertainties_hold_for_drawn_errors)
{
    enum { DRAWS = 400 };
    given g = {.mean = 0.0, .tilt = 0.08, .tilt_at = 130};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_matrix *l = gsl_matrix_alloc(RG_BINS, RG_BINS);
    gsl_vector *z = gsl_vector_alloc(RG_BINS), *mu = gsl_vector_calloc(RG_BINS);
    int within = 0, bearing = 0, contact = 0, mean = 0;
    for (size_t i = 0; i < (size_t)RG_BINS * RG_BINS; i++)
        gsl_matrix_set(l, i / RG_BINS, i % RG_BINS, rho((int)(i / RG_BINS), (int)(i % RG_BINS)));
    gsl_linalg_cholesky_decomp1(l);
    gsl_rng_set(rng, 6);
    for (int draw = 0; draw < DRAWS; draw++) {
        rg_seal_map map = {.rim_outer_diameter_mm = 20};
        gsl_ran_multivariate_gaussian(rng, mu, l, z);
        for (int b = 0; b < RG_BINS; b++) {
            double seen = given_at(&g, b) + 0.003 * gsl_vector_get(z, (size_t)b);
            map.bin[b] = test_bin(b, seen > 1.645 * 0.003 ? seen : 0, 0.003, 3.29 * 0.003);
        }
        rg_shape s = fitted(&map, &test_formula_options);
        double t1 = g.tilt * cos(rg_radians(130)), t2 = g.tilt * sin(rg_radians(130));
        double d1 = s.b[1] - t1, d2 = s.b[2] - t2, h = s.cov[1][2];
        double det = s.cov[1][1] * s.cov[2][2] - h * h;
        double chi2 = (s.cov[2][2] * d1 * d1 - 2 * h * d1 * d2 + s.cov[1][1] * d2 * d2) / det;
        within += chi2 <= gsl_cdf_chisq_Pinv(0.95, 2);
        mean += fabs(s.mean_mm) <= 2 * s.u_mean_mm;
        bearing += fabs(rg_angle_between(s.tilt.bearing_deg, 130)) <= 2 * s.tilt.u_bearing_deg;
        contact += fabs(rg_angle_between(s.contact_deg, 310)) <= 2 * s.u_contact_deg;
    }
    cr_expect(within >= 0.90 * DRAWS && within <= 0.99 * DRAWS, "tilt %d", within);
    cr_expect(mean >= 0.90 * DRAWS && mean <= 0.99 * DRAWS, "mean %d", mean);
    cr_expect(bearing >= 0.90 * DRAWS && bearing <= 0.99 * DRAWS, "bearing %d", bearing);
    cr_expect(contact >= 0.90 * DRAWS && contact <= 0.99 * DRAWS, "contact %d", contact);
    gsl_rng_free(rng);
    gsl_matrix_free(l);
    gsl_vector_free(z);
    gsl_vector_free(mu);
}

/* A gap that half of the bearings miss: widths are the quantiles of N(0.005, 0.003) in mixed order, dark
 * below Currie's critical level. The mean is still that of all. */
Test(shape, gap_near_the_critical_level_keeps_its_mean)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++) {
        int rank = b * 77 % RG_BINS;
        double seen = 0.005 + 0.003 * gsl_cdf_ugaussian_Pinv((rank + 0.5) / RG_BINS);
        map.bin[b] = test_bin(b, seen > 0.003 * 1.645 ? seen : 0, 0.003, 0.003 * 3.29);
    }
    rg_shape s = fitted(&map, &test_formula_options);
    cr_expect(s.dark > 160 && s.dark < 190);
    near("mean", s.mean_mm, 0.005, 0.0001);
}

/* --------------------------------------------- what the data do not fix */

Test(shape, dark_rim_has_no_shape_but_a_bound)
{
    rg_seal_map map = map_of((given){.mean = -1}, 0.003, 0.008);
    map.bin[77].detection_limit_mm = 0.011;
    rg_shape s = fitted(&map, &test_formula_options);
    cr_expect_eq(s.state, RG_SHAPE_DARK);
    cr_expect_eq(s.dark, 360);
    near("limit", s.limit_mm, 0.011, 0);
    near("limit's bearing", s.limit_deg, 77, 0);
    cr_expect(isnan(s.mean_mm) && isnan(s.tilt.size_mm) && isnan(s.saddle.size_mm));
    cr_expect(isnan(s.contact_deg) && isnan(s.signed_mm[5]) && isnan(rg_shape_at(&s, 5, NULL)));
    cr_expect_eq(s.tilt.state, RG_TERM_NOT_FIXED);
}

Test(shape, unseen_rim_has_nothing)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = test_unseen_bin(b);
    rg_shape s = fitted(&map, &test_formula_options);
    cr_expect_eq(s.state, RG_SHAPE_UNSEEN);
    cr_expect_eq(s.unseen, 360);
    cr_expect(isnan(s.limit_mm) && isnan(s.rms_mm));
}

/* 90 degrees seen, all open and level: the mean is known, a tilt could hide in it with the saddle. */
Test(shape, terms_that_a_quarter_does_not_fix_are_left_out)
{
    rg_seal_map map = map_of((given){.mean = 0.06}, 0.006, 0.008);
    for (int b = 90; b < RG_BINS; b++)
        map.bin[b] = test_unseen_bin(b);
    rg_shape s = fitted(&map, &test_formula_options);
    cr_assert_eq(s.state, RG_SHAPE_FITTED);
    near("mean", s.mean_mm, 0.06, 1e-9);
    cr_expect_eq(s.tilt.state, RG_TERM_NOT_FIXED);
    cr_expect_eq(s.saddle.state, RG_TERM_NOT_FIXED);
    cr_expect(isnan(s.tilt.size_mm) && s.b[1] == 0 && s.cov[1][1] == 0);
    map = map_of((given){.mean = 0.06}, 0.006, 0.008);
    s = fitted(&map, &test_formula_options);
    cr_expect_eq(s.tilt.state, RG_TERM_FITTED, "seen all round, a tilt of 0 is a result");
    cr_expect_lt(s.tilt.size_mm, 1e-9);
    cr_expect_gt(s.tilt.p, 0.99);
}

/* A plane explains an opening of 10 degrees only with the pad 15 mm deep in the rim. */
Test(shape, short_opening_is_local_and_no_plane)
{
    rg_seal_map map = map_of((given){.mean = -1}, 0.003, 0.008);
    for (int b = 70; b < 80; b++)
        map.bin[b] = test_bin(b, 0.06 * cos(rg_radians(18 * (b - 74.5))), 0.004, 0.008);
    rg_shape s = fitted(&map, &test_formula_options);
    cr_expect_eq(s.state, RG_SHAPE_LOCAL);
    cr_assert_eq(s.locals, 1);
    near("start", s.local[0].start_deg, 69.5, 1.1);
    near("end", s.local[0].end_deg, 79.5, 1.1);
    near("most", s.local[0].most_mm, 0.06, 0.001);
    cr_expect(isnan(s.mean_mm));
    rg_shape_options wide = test_formula_options;
    wide.least_open_deg = 5;
    s = fitted(&map, &wide);
    cr_expect_eq(s.state, RG_SHAPE_LOCAL, "also where ten bearings would be enough");
}

/* The bump must not pull the plane: tilt as if it were not there. */
Test(shape, local_opening_upon_a_tilt_does_not_move_it)
{
    rg_seal_map map = map_of((given){.mean = -0.02, .tilt = 0.1, .tilt_at = 200}, 0.003, 0.008);
    for (int b = 215; b < 227; b++)
        map.bin[b].width_mm += 0.05 * sin(rg_radians(180 * (b - 214.5) / 12));
    for (int b = 40; b < 48; b++)
        map.bin[b] = test_bin(b, 0.04, 0.003, 0.008);
    rg_shape s = fitted(&map, &test_formula_options);
    cr_assert_eq(s.state, RG_SHAPE_FITTED);
    cr_assert_eq(s.locals, 2);
    near("tilt", s.tilt.size_mm, 0.1, 0.001);
    near("towards", s.tilt.bearing_deg, 200, 0.5);
    near("first local", s.local[0].most_bearing_deg, 220.5, 1);
    near("first", s.local[0].most_mm, 0.05, 0.002);
    near("second", s.local[1].most_bearing_deg, 43.5, 4);
    cr_expect_lt(s.rms_mm, 0.001);
}

/* A crumb in the widest place, not marked as blocked: dark where the plane stands open. */
Test(shape, dark_place_between_two_openings_is_local_and_closed)
{
    rg_seal_map map = map_of((given){.mean = 0.03, .tilt = 0.05, .tilt_at = 200}, 0.003, 0.008);
    for (int b = 196; b < 205; b++)
        map.bin[b] = test_bin(b, 0, 0, 0.008);
    rg_shape s = fitted(&map, &test_formula_options);
    cr_assert_eq(s.locals, 1);
    cr_expect(s.local[0].closed);
    near("start", s.local[0].start_deg, 195.5, 0);
    near("end", s.local[0].end_deg, 204.5, 0);
    near("most", s.local[0].most_mm, -0.08, 0.001);
    near("tilt", s.tilt.size_mm, 0.05, 0.001);
    /* change.h states it for 360 */
    near("factor", rg_shape_factor(&s, &test_formula_options), 3.83, 0.005);
}

Test(shape, blocked_bearings_take_no_part)
{
    rg_seal_map map = map_of((given){.mean = 0.0, .tilt = 0.1, .tilt_at = 200}, 0.003, 0.008);
    for (int b = 195; b < 206; b++) {
        map.bin[b] = test_bin(b, 0, 0, 0.008);
        map.bin[b].blocked = true;
    }
    rg_shape s = fitted(&map, &test_formula_options);
    cr_expect_eq(s.blocked, 11);
    near("tilt", s.tilt.size_mm, 0.1, 0.001);
    near("towards", s.tilt.bearing_deg, 200, 0.1);
    cr_expect(isnan(s.residual_mm[200]));
}

Test(shape, impossible_options_are_refused_by_name)
{
    rg_seal_map map = map_of((given){.mean = 0.06}, 0.006, 0.008);
    rg_shape s;
    rg_shape_options o = test_formula_options;
    o.common_share = 1.5;
    cr_expect_eq(rg_shape_fit(&map, &o, &s, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "common_share"), "%s", err.text);
    o = test_formula_options;
    o.u_floor_mm = NAN;
    cr_expect_eq(rg_shape_fit(&map, &o, &s, &err), RG_BAD_DATA);
}

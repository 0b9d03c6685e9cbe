/*
 * Tests of repeat.h: components against the GUM and NIST, intervals against their defining properties and
 * drawn coverage; populations of tight, loose and soft keys.
 */
#include "rimglow/repeat.h"

#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "rimglow/vec.h"
#include "support/keys.h"
#include "support/scene.h"

static rg_error err;
static rg_repeat r;

/* ------------------------------------------------------------- components */

/* JCGM 100:2008, H.5: sa^2 and sb^2 of ten days of five voltages (uV), s_B = 43 uV, F = 2.25 as
 * printed from rounded values. */
Test(repeat, gum_h5_between_days)
{
    rg_between s;
    cr_assert_eq(
        rg_repeat_component(127.656 * 127.656, 9, 84.8870 * 84.8870, 40, 5, 0.95, &s, &err), RG_OK);
    cr_expect_float_eq(s.component.sd, 42.6386, 1e-3);
    cr_expect_eq(lround(s.component.sd), 43);
    cr_expect_float_eq(s.f, 2.2615, 1e-4);
    cr_expect(!s.component.negative && s.low < 42 && s.high > 43);
    /* F does not reach the 97.5 % point 2.45 of 9 and 40 (H.5.2.4 prints F(0.95) = 2.124), so at 95 % two-sided
     * the lower limit is 0, at 90 % it is not. */
    cr_expect_eq(s.low, 0);
    rg_repeat_component(127.656 * 127.656, 9, 84.8870 * 84.8870, 40, 5, 0.90, &s, &err);
    cr_expect(s.low > 0 && s.p < 0.05 && s.p > 0.025);
}

/* NIST StRD SiRstv, certified mean squares: (MSb - MSw) / 5. */
Test(repeat, nist_sirstv_component)
{
    rg_between s;
    cr_assert_eq(
        rg_repeat_component(5.11462616e-2 / 4, 4, 2.16636560e-1 / 20, 20, 5, 0.95, &s, &err),
        RG_OK);
    cr_expect_float_eq(s.component.variance, 3.9094748e-4, 1e-10);
    cr_expect_float_eq(s.f, 1.18046237440255, 1e-8);
}

Test(repeat, a_negative_estimate_counts_as_nothing_and_is_told)
{
    rg_between s;
    cr_assert_eq(rg_repeat_component(2, 9, 5, INFINITY, 1, 0.95, &s, &err), RG_OK);
    cr_expect(s.component.negative && s.component.variance == 0 && s.component.raw == -3);
    cr_expect(s.low == 0 && s.high >= 0 && s.p > 0.9);
}

/* With a stated noise the interval is the exact one of chi-square, from its tables: 9 degrees of
 * freedom 2.700389 and 19.022768. */
Test(repeat, with_known_noise_the_interval_is_exact)
{
    rg_between s;
    cr_assert_eq(rg_repeat_component(10, 9, 2, INFINITY, 1, 0.95, &s, &err), RG_OK);
    cr_expect_float_eq(s.low, sqrt(90 / 19.022768 - 2), 1e-6);
    cr_expect_float_eq(s.high, sqrt(90 / 2.700389 - 2), 1e-6);
}

/* The defining properties of the modified large sample interval: its lower limit leaves 0 where F passes its
 * upper quantile, its upper limit where F passes the lower one. */
Test(repeat, limits_leave_zero_where_f_is_significant)
{
    static const double df[][2] = {{4, 20}, {9, 40}, {14, 7}, {9, INFINITY}};
    for (int i = 0; i < 4; i++) {
        rg_between s;
        double n1 = df[i][0], n2 = df[i][1];
        double upper =
            isinf(n2) ? gsl_cdf_chisq_Qinv(0.025, n1) / n1 : gsl_cdf_fdist_Qinv(0.025, n1, n2);
        double lower =
            isinf(n2) ? gsl_cdf_chisq_Pinv(0.025, n1) / n1 : gsl_cdf_fdist_Pinv(0.025, n1, n2);
        rg_repeat_component(upper * 1.0001, n1, 1, n2, 1, 0.95, &s, &err);
        cr_expect(s.low > 0, "%d", i);
        rg_repeat_component(upper * 0.9999, n1, 1, n2, 1, 0.95, &s, &err);
        cr_expect(s.low <= 0 && fabs(s.p - 0.025) < 1e-4, "%d", i);
        rg_repeat_component(lower * 1.0001, n1, 1, n2, 1, 0.95, &s, &err);
        cr_expect(s.high > 0, "%d", i);
        rg_repeat_component(lower * 0.9999, n1, 1, n2, 1, 0.95, &s, &err);
        cr_expect(s.high <= 0, "%d", i);
    }
}

static double chi_square(test_random *random, int df)
{
    double sum = 0;
    for (int i = 0; i < df; i++)
        sum += pow(test_normal(random), 2);
    return sum;
}

/* Drawn: 95 % intervals of a component hold it in 94 to 97 of 100 (Burdick and Graybill call the method
 * conservative by little). */
Test(repeat, intervals_hold_the_component)
{
    enum { DRAWS = 4000 };
    static const double truth[] = {0.25, 1, 4, 25};
    test_random random = {1992};
    for (int i = 0; i < 4; i++) {
        int inside = 0;
        for (int d = 0; d < DRAWS; d++) {
            rg_between s;
            double a = (1 + 3 * truth[i]) * chi_square(&random, 9) / 9,
                   b = chi_square(&random, 20) / 20;
            rg_repeat_component(a, 9, b, 20, 3, 0.95, &s, &err);
            inside += s.low * s.low <= truth[i] && s.high * s.high >= truth[i];
        }
        double share = (double)inside / DRAWS;
        cr_expect(share > 0.94 && share < 0.975, "component %g: %.4f", truth[i], share);
    }
}

Test(repeat, mean_squares_that_cannot_be_are_refused)
{
    rg_between s;
    cr_expect_eq(rg_repeat_component(-1, 9, 1, 20, 1, 0.95, &s, &err), RG_BAD_DATA);
    cr_expect_eq(rg_repeat_component(1, 9, 0, 20, 1, 0.95, &s, &err), RG_BAD_DATA);
    cr_expect_eq(rg_repeat_component(1, 0, 1, 20, 1, 0.95, &s, &err), RG_BAD_DATA);
    cr_expect_eq(rg_repeat_component(1, 9, 1, 20, 0, 0.95, &s, &err), RG_BAD_DATA);
    cr_expect_eq(rg_repeat_component(1, 9, 1, 20, 1, 1, &s, &err), RG_BAD_DATA);
}

/* -------------------------------------------------------------- populations */

enum { N = 12 };
static rg_seating closing[N];

/* Truth of a key: play along the rod and across it, sinking from first to last. */
typedef struct key {
    double along_rod, across_rod, sinks;
} key;

/* N closings as measured, with correlated errors that differ from sweep to sweep. */
static void close_key(const key *k, test_random *random)
{
    for (int i = 0; i < N; i++) {
        double u = 0.002 + 0.002 * test_uniform(random), e[3];
        rg_seating *s = &closing[i];
        for (int j = 0; j < 3; j++)
            e[j] = test_normal(random);
        *s = (rg_seating){.press = RG_PRESS_LIGHT,
                          .verdict = RG_VERDICT_LEAKING,
                          .state = RG_SEATING_OPEN,
                          .tilt_known = true};
        s->mean_mm = 0.04 - k->sinks * i / (N - 1) + u * e[0];
        s->tilt_mm[0] =
            0.03 + k->across_rod * test_normal(random) + u * (0.5 * e[0] + sqrt(0.75) * e[1]);
        s->tilt_mm[1] = 0.01 + k->along_rod * test_normal(random) + u * e[2];
        s->covariance[0][0] = s->covariance[1][1] = s->covariance[2][2] = u * u;
        s->covariance[0][1] = s->covariance[1][0] = 0.5 * u * u;
        s->widest_mm = s->mean_mm + hypot(s->tilt_mm[0], s->tilt_mm[1]);
        s->u_widest_mm = 1.6 * u;
    }
}

static void find(void)
{
    cr_assert_eq(rg_repeat_find(closing, N, &test_repeat_options, &r, &err), RG_OK, "%s", err.text);
}

static bool says(const char *word)
{
    for (int i = 0; i < r.advice.lines; i++)
        if (strstr(r.advice.line[i], word))
            return true;
    return false;
}

/* States of a population. */
typedef struct counts {
    int of[5], axis, inside;
} counts;

static counts population(const key *k, int keys, double axis, unsigned seed)
{
    test_random random = {seed};
    counts c = {0};
    double size = hypot(k->along_rod, k->across_rod);
    for (int n = 0; n < keys; n++) {
        close_key(k, &random);
        find();
        c.of[r.state]++;
        double off = fabs(rg_angle_between(2 * r.axis_deg, 2 * axis)) / 2;
        c.axis += r.axis_told && off <= 3 * r.u_axis_deg;
        c.inside += r.tilt.low <= size && r.tilt.high >= size;
    }
    return c;
}

/* At most one tight key in a hundred is called loose (significance 0.01), and hardly any soft. */
Test(repeat, tight_keys_are_seldom_suspected)
{
    enum { KEYS = 3000 };
    const key tight = {0};
    counts c = population(&tight, KEYS, 0, 7);
    cr_expect((double)c.of[RG_REPEAT_LOOSE_KEY] / KEYS <= 0.012, "%d", c.of[RG_REPEAT_LOOSE_KEY]);
    cr_expect((double)c.of[RG_REPEAT_SOFT_PAD] / KEYS <= 0.002, "%d", c.of[RG_REPEAT_SOFT_PAD]);
    cr_expect((double)c.of[RG_REPEAT_STEADY] / KEYS > 0.97, "%d", c.of[RG_REPEAT_STEADY]);
    cr_expect_eq(c.of[RG_REPEAT_NOT_MEASURED], 0);
}

/* Play of 0.03 mm at the rim's edge along the rod, measured with 0.002 to 0.004 mm: found, its axis told, and
 * called loose, not soft. */
Test(repeat, a_rocking_key_is_found_and_its_axis_told)
{
    enum { KEYS = 1000 };
    const key loose = {.along_rod = 0.03};
    counts c = population(&loose, KEYS, 90, 8);
    cr_expect((double)c.of[RG_REPEAT_LOOSE_KEY] / KEYS >= 0.99, "%d", c.of[RG_REPEAT_LOOSE_KEY]);
    cr_expect_eq(c.of[RG_REPEAT_SOFT_PAD], 0);
    cr_expect((double)c.axis / KEYS > 0.97, "%d", c.axis);
    cr_expect(says("Loose key") && says("along the hinge rod"));
    test_random random = {3};
    close_key(&(key){.across_rod = 0.03}, &random);
    find();
    cr_expect(r.state == RG_REPEAT_LOOSE_KEY && says("across the hinge rod"));
}

/* Play alike in both directions has no axis; Mauchly's p says so as often as it should. */
Test(repeat, an_axis_is_seldom_read_into_a_round_scatter)
{
    enum { KEYS = 3000 };
    test_random random = {1940};
    int told = 0, below = 0;
    for (int n = 0; n < KEYS; n++) {
        close_key(&(key){.along_rod = 0.02, .across_rod = 0.02}, &random);
        find();
        told += r.axis_told;
        below += r.axis_p < 0.1;
    }
    cr_expect((double)told / KEYS < 0.015, "%d", told);
    double share = (double)below / KEYS;
    cr_expect(fabs(share - 0.1) < 4 * sqrt(0.1 * 0.9 / KEYS), "%.4f", share);
}

/* Coverage of the stated 95 % interval of the scatter: Satterthwaite's degrees of freedom are an
 * approximation, so a little is allowed on both sides. */
Test(repeat, the_scatter_s_interval_holds_the_truth)
{
    enum { KEYS = 2000 };
    static const key play[] = {{0.01, 0, 0}, {0.03, 0, 0}, {0.02, 0.02, 0}, {0.03, 0.01, 0}};
    for (int i = 0; i < 4; i++) {
        counts c = population(&play[i], KEYS, 0, 20 + (unsigned)i);
        double share = (double)c.inside / KEYS;
        cr_expect(share > 0.92 && share < 0.98, "play %d: %.4f", i, share);
    }
}

/* A pad that sinks by 0.05 mm while its tilt stays is soft, not loose. */
Test(repeat, a_sinking_pad_is_soft_and_not_loose)
{
    enum { KEYS = 1000 };
    const key soft = {.sinks = 0.05};
    counts c = population(&soft, KEYS, 0, 9);
    cr_expect((double)c.of[RG_REPEAT_SOFT_PAD] / KEYS >= 0.97, "%d", c.of[RG_REPEAT_SOFT_PAD]);
    cr_expect((double)c.of[RG_REPEAT_LOOSE_KEY] / KEYS <= 0.015, "%d", c.of[RG_REPEAT_LOOSE_KEY]);
    test_random random = {3};
    close_key(&soft, &random);
    find();
    cr_expect(says("Soft pad: it sinks by 0.0") && fabs(r.drift_mm + 0.05) < r.U_drift_mm * 1.5);
    const key both = {.along_rod = 0.03, .sinks = 0.05};
    close_key(&both, &random);
    find();
    cr_expect(r.state == RG_REPEAT_LOOSE_KEY && says("Its plane sinks"));
}

/* A pad that rises is not soft. */
Test(repeat, a_rising_pad_is_not_soft)
{
    test_random random = {4};
    close_key(&(key){.sinks = -0.05}, &random);
    find();
    cr_expect(r.state != RG_REPEAT_SOFT_PAD && r.drift_mm > 0 && says("Its plane rises"));
}

/* ------------------------------------------------------------------ by hand */

/* Tilts (0, +-3) um x 10 with u = 0.01 mm: S = diag(0, 900 n/(n - 1)), v = 100 (um^2). */
Test(repeat, scatter_by_hand)
{
    for (int i = 0; i < N; i++) {
        closing[i] = (rg_seating){.press = RG_PRESS_LIGHT,
                                  .state = RG_SEATING_OPEN,
                                  .tilt_known = true,
                                  .mean_mm = 0.05,
                                  .tilt_mm = {0, i % 2 ? 0.03 : -0.03},
                                  .widest_mm = 0.08,
                                  .u_widest_mm = 0.01};
        for (int k = 0; k < 3; k++)
            closing[i].covariance[k][k] = 1e-4;
    }
    find();
    double s = 9e-4 * N / (N - 1);
    cr_expect_float_eq(r.tilt.between, s, 1e-12);
    cr_expect_float_eq(r.tilt.df_between, N - 1, 1e-9, "one axis: as many as closings less one");
    cr_expect_float_eq(r.tilt.within, 2e-4, 1e-12);
    cr_expect_float_eq(r.tilt.component.variance, s - 2e-4, 1e-12);
    cr_expect_float_eq(r.axis_deg, 90, 1e-9);
    cr_expect_float_eq(r.u_axis_deg, 0, 1e-9);
    cr_expect_float_eq(r.along_mm, sqrt(s - 1e-4), 1e-12);
    cr_expect_eq(r.across_mm, 0);
    cr_expect_float_eq(r.test.q, N * 9, 1e-9);
    cr_expect(r.mean.component.negative && r.widest.component.negative);
    cr_expect(isnan(r.drift_p) || r.drift_p > 0.9);
}

/* Turning the pad turns the axis and changes nothing else. */
Test(repeat, the_scatter_does_not_depend_on_the_bearing)
{
    test_random random = {5};
    close_key(&(key){.along_rod = 0.03, .across_rod = 0.004}, &random);
    for (int i = 0; i < N; i++) {
        closing[i].covariance[0][1] = closing[i].covariance[1][0] = 0;
        closing[i].covariance[1][2] = closing[i].covariance[2][1] = 0;
    }
    find();
    rg_repeat before = r;
    double c = cos(rg_radians(50)), s = sin(rg_radians(50));
    for (int i = 0; i < N; i++) {
        double x = closing[i].tilt_mm[0], y = closing[i].tilt_mm[1];
        closing[i].tilt_mm[0] = c * x - s * y;
        closing[i].tilt_mm[1] = s * x + c * y;
    }
    find();
    cr_expect_float_eq(r.tilt.component.sd, before.tilt.component.sd, 1e-12);
    cr_expect_float_eq(r.test.q, before.test.q, 1e-6);
    cr_expect_float_eq(rg_angle_between(2 * r.axis_deg, 2 * before.axis_deg + 100), 0, 1e-6);
}

/* --------------------------------------------------- what cannot be told */

Test(repeat, sealed_closings_show_no_tilt_and_are_not_called_steady)
{
    for (int i = 0; i < N; i++)
        closing[i] = (rg_seating){.press = RG_PRESS_LIGHT,
                                  .state = RG_SEATING_CONTACT,
                                  .verdict = RG_VERDICT_SEALED,
                                  .limit_mm = 0.006,
                                  .u_widest_mm = 0.003};
    find();
    cr_expect(r.state == RG_REPEAT_NOT_MEASURED && r.sealed == N && r.tilts == 0);
    cr_expect(says("Sealed at 12 of 12") && says("not measured") && !says("Steady"));
}

Test(repeat, few_closings_are_never_called_steady)
{
    test_random random = {6};
    close_key(&(key){0}, &random);
    cr_assert_eq(rg_repeat_find(closing, 4, &test_repeat_options, &r, &err), RG_OK);
    cr_expect(r.state == RG_REPEAT_NOT_TOLD && says("at least 10 times"));
    cr_expect_eq(rg_repeat_find(closing, 1, &test_repeat_options, &r, &err), RG_BAD_DATA);
}

Test(repeat, another_finger_is_told)
{
    test_random random = {6};
    close_key(&(key){0}, &random);
    find();
    cr_expect(r.same_finger && !says("not one stated force"));
    closing[3].press = RG_PRESS_FIRM;
    find();
    cr_expect(!r.same_finger && says("not one stated force"));
}

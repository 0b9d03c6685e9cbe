/*
 * Tests of batch.h. Outside values:
 *   - exact binomial limits: R 4.2.2 qbeta, and Clopper and Pearson's closed forms at the ends;
 *   - lines: JCGM 100:2008 H.3, and NIST StRD Norris;
 *   - slope with a level for each pad: GSL's own multiple regression with one dummy column each.
 */
#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multifit.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/batch.h"

enum { DAY = 86400, MONTH = 30 * DAY };

static rg_error err;

static rg_batch sum_of(const rg_batch_sweep *sweeps, int count)
{
    rg_batch batch;
    cr_assert_eq(rg_batch_sum(sweeps, count, 0.95, &batch, &err), RG_OK, "%s", err.text);
    return batch;
}

static void near(double value, double expected, double tolerance)
{
    cr_expect(fabs(value - expected) <= tolerance, "%.9g, expected %.9g", value, expected);
}

/* ----------------------------------------------------------------- shares */

/* R 4.2.2, qbeta. */
Test(batch, shares_have_the_exact_binomial_interval)
{
    rg_share s = rg_share_of(95, 100, 0.95);
    near(s.share, 0.95, 0);
    near(s.low, 0.887165, 5e-7);
    near(s.high, 0.983568, 5e-7);
    s = rg_share_of(0, 22, 0.95);
    near(s.low, 0, 0);
    near(s.high, 0.154373, 5e-7);
    /* One-sided 95 % of 10/10 is 0.741134: two-sided at 90 %. */
    s = rg_share_of(10, 10, 0.90);
    near(s.low, 0.741134, 5e-7);
    near(s.high, 1, 0);
    s = rg_share_of(29, 29, 0.90);
    near(s.low, 0.901855, 5e-7);
}

Test(batch, share_of_nothing_is_no_number)
{
    rg_share s = rg_share_of(0, 0, 0.95);
    cr_expect(isnan(s.share) && isnan(s.low) && isnan(s.high));
    cr_expect(s.of == 0 && s.count == 0);
}

/* ------------------------------------------------------------------- door */

Test(batch, empty_batch_is_no_error)
{
    rg_batch b = sum_of(NULL, 0);
    cr_expect(b.sweeps == 0 && b.pads == 0 && b.models == 0 && b.stations == 0);
    cr_expect(b.serials == 0 && b.inspections == 0);
    rg_batch_free(&b);
    rg_batch_free(&b);
}

Test(batch, confidence_out_of_range_is_refused)
{
    static const double bad[] = {0, 0.49, 0.99999, 1, 2, -1, NAN, INFINITY};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        rg_batch b;
        cr_expect_eq(rg_batch_sum(NULL, 0, bad[i], &b, &err), RG_BAD_DATA, "%g", bad[i]);
        cr_expect(strstr(err.text, "confidence") != NULL);
        cr_expect(!b.pad && !b.model && !b.station && !b.ln_radiance);
    }
}

/* ----------------------------------------------------------------- counts */

#define SWEEP(s, m, p, at, bg, t, v)                                                               \
    {                                                                                              \
        .serial = s, .model = m, .pad = p, .position = at, .bag = bg, .station = "bench",          \
        .time = t, .verdict = RG_VERDICT_##v, .radiance = NAN, .psf_sigma_px = NAN                 \
    }

/* Two altos and one tenor of the loan bench; counted by hand. */
static const rg_batch_sweep loan[] = {
    /* PE-A-0147: first inspection leaks at G, second one is clean. Given out of order. */
    SWEEP("PE-A-0147", "alto", "G", 3, "0002", 2000, SEALED),
    SWEEP("PE-A-0147", "alto", "A", 2, "0002", 2000, SEALED),
    SWEEP("PE-A-0147", "alto", "G", 3, "0001", 1000, LEAKING),
    SWEEP("PE-A-0147", "alto", "A", 2, "0001", 1000, SEALED),
    /* PE-A-0148: passes at once; its A leaks later. */
    SWEEP("PE-A-0148", "alto", "A", 2, "0001", 1500, SEALED),
    SWEEP("PE-A-0148", "alto", "G", 3, "0001", 1500, SEALED),
    SWEEP("PE-A-0148", "alto", "A", 2, "0002", 2500, LEAKING),
    SWEEP("PE-A-0148", "alto", "B", 1, "0002", 2500, UNDECIDED),
    SWEEP("PE-A-0148", "alto", "G", 3, "0002", 2500, LEAKING),
    /* PE-T-0012: leaked and was swept again within one inspection. */
    SWEEP("PE-T-0012", "tenor", "A", -1, "0001", 1700, LEAKING),
    SWEEP("PE-T-0012", "tenor", "A", -1, "0001", 1700, SEALED),
};
enum { LOAN = sizeof loan / sizeof *loan };

Test(batch, serials_inspections_and_models_are_counted)
{
    rg_batch b = sum_of(loan, LOAN);
    cr_expect_eq(b.sweeps, LOAN);
    cr_expect_eq(b.serials, 3);
    cr_expect_eq(b.inspections, 5, "bags of the same name belong to different serials: %d",
                 b.inspections);
    cr_assert_eq(b.models, 2);
    cr_expect_str_eq(b.model[0].model, "alto");
    cr_expect_eq(b.model[0].serials, 2);
    cr_expect_str_eq(b.model[1].model, "tenor");
    cr_expect_eq(b.model[1].serials, 1);
    rg_batch_free(&b);
}

Test(batch, first_bags_of_all_serials_are_as_many_inspections)
{
    static const rg_batch_sweep s[] = {
        SWEEP("1", "m", "a", 0, "0001", 5, SEALED), SWEEP("2", "m", "a", 0, "0001", 5, SEALED),
        SWEEP("2", "m", "b", 1, "0001", 5, SEALED), SWEEP("3", "m", "a", 0, "0001", 5, SEALED)};
    rg_batch b = sum_of(s, 4);
    cr_expect_eq(b.inspections, 3);
    rg_batch_free(&b);
}

Test(batch, first_inspections_and_first_sweeps_count_once)
{
    rg_batch b = sum_of(loan, LOAN);
    rg_share *s = &b.model[0].instruments;
    cr_expect(s->count == 1 && s->of == 2, "%d of %d", s->count, s->of);
    /* 0147: G leaked first, A sealed; 0148: A, G sealed, B undecided. */
    s = &b.model[0].pads;
    cr_expect(s->count == 3 && s->of == 5, "%d of %d", s->count, s->of);
    s = &b.model[1].instruments;
    cr_expect(s->count == 0 && s->of == 1, "a second try is not the first: %d", s->count);
    s = &b.model[1].pads;
    cr_expect(s->count == 0 && s->of == 1, "of one time the first in the input counts: %d",
              s->count);
    rg_batch_free(&b);
}

Test(batch, pads_come_worst_first_with_their_cumulative_share)
{
    static const struct {
        const char *model, *pad;
        int position, sweeps, leaking, undecided;
        double cumulative;
    } row[] = {{"alto", "G", 3, 4, 2, 0, 2 / 3.0},
               {"alto", "A", 2, 4, 1, 0, 1},
               {"alto", "B", 1, 1, 0, 1, 1},
               {"tenor", "A", -1, 2, 1, 0, 1}};
    rg_batch b = sum_of(loan, LOAN);
    cr_assert_eq(b.pads, 4);
    for (int i = 0; i < 4; i++) {
        const rg_batch_pad *p = &b.pad[i];
        cr_expect_str_eq(p->model, row[i].model);
        cr_expect_str_eq(p->pad, row[i].pad);
        cr_expect(p->position == row[i].position && p->sweeps == row[i].sweeps &&
                      p->leaking == row[i].leaking && p->undecided == row[i].undecided,
                  "%s: %d %d %d %d", p->pad, p->position, p->sweeps, p->leaking, p->undecided);
        cr_expect(p->failing.count == p->leaking && p->failing.of == p->sweeps);
        near(p->cumulative, row[i].cumulative, 1e-15);
    }
    rg_batch_free(&b);
}

Test(batch, ties_follow_the_body_then_the_name)
{
    static const rg_batch_sweep s[] = {
        SWEEP("1", "m", "x", -1, "b", 0, SEALED), SWEEP("1", "m", "b", 7, "b", 0, SEALED),
        SWEEP("1", "m", "c", 2, "b", 0, SEALED),  SWEEP("1", "m", "w", -1, "b", 0, SEALED),
        SWEEP("1", "m", "a", 7, "b", 0, SEALED),  SWEEP("1", "m", "c", 9, "b", 0, SEALED)};
    static const char *const order[] = {"c", "a", "b", "w", "x"};
    rg_batch b = sum_of(s, 6);
    cr_assert_eq(b.pads, 5);
    for (int i = 0; i < 5; i++) {
        cr_expect_str_eq(b.pad[i].pad, order[i]);
        cr_expect(isnan(b.pad[i].cumulative), "nothing failed");
    }
    rg_batch_free(&b);
}

Test(batch, missing_names_are_one_empty_name)
{
    rg_batch_sweep s[3] = {{.position = -1}, {.position = -1, .model = ""}, {.position = -1}};
    rg_batch b = sum_of(s, 3);
    cr_expect(b.serials == 1 && b.models == 1 && b.pads == 1 && b.stations == 1);
    cr_expect_str_eq(b.station[0].station, "");
    rg_batch_free(&b);
}

/* The order of the input decides nothing where the times differ. */
Test(batch, order_of_the_input_does_not_matter)
{
    rg_batch_sweep s[LOAN];
    for (int turn = 1; turn < 9; turn++) {
        /* 0..8 have different times within each pad; the tenor's two keep their order. */
        for (int i = 0; i < LOAN; i++)
            s[i] = loan[i < 9 ? (i * (turn % 3 ? turn : 1) + turn) % 9 : i];
        rg_batch a = sum_of(loan, LOAN), b = sum_of(s, LOAN);
        if (turn % 3) { /* a permutation */
            cr_expect_eq(a.inspections, b.inspections);
            cr_expect_eq(memcmp(&a.model[0].pads, &b.model[0].pads, sizeof a.model[0].pads), 0);
            for (int i = 0; i < a.pads; i++)
                cr_expect(strcmp(a.pad[i].pad, b.pad[i].pad) == 0 &&
                          a.pad[i].leaking == b.pad[i].leaking);
        }
        rg_batch_free(&a);
        rg_batch_free(&b);
    }
}

/* ----------------------------------------------------------------- trends */

/* One station's blur by time in months; checks slope and its standard uncertainty, which the
 * interval holds times Student's t. */
static rg_batch line_of(const double *months, const double *value, int n)
{
    static rg_batch_sweep s[40];
    for (int i = 0; i < n; i++)
        s[i] = (rg_batch_sweep){.position = -1,
                                .station = "bench",
                                .time = llround(months[i] * MONTH),
                                .radiance = NAN,
                                .psf_sigma_px = value[i]};
    return sum_of(s, n);
}

static double u_of(const rg_trend *t, double t_quantile)
{
    return (t->high - t->low) / 2 / t_quantile;
}

/* JCGM 100:2008, H.3: correction b of a thermometer by its reading. Published y2 = 0.00218, s(y2) =
 * 0.00067, predicted b(30) = -0.1494; more digits from the same data by R: 0.002183, 0.000668. */
Test(batch, slope_of_the_gum_thermometer)
{
    static const double reading[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                                     24.513, 25.002, 25.503, 26.010, 26.511};
    static const double b[] = {-.171, -.169, -.166, -.159, -.164, -.165,
                               -.156, -.157, -.159, -.161, -.160};
    rg_batch batch = line_of(reading, b, 11);
    const rg_trend *t = &batch.station[0].psf;
    cr_expect_eq(t->points, 11);
    near(t->per_month, 0.002183, 5e-7);
    near(u_of(t, 2.262157), 0.000668, 5e-7); /* R: qt(0.975, 9) */
    near(t->at_begin + t->per_month * (30 - 21.521), -0.1494, 5e-5);
    near(t->at_end - t->at_begin, t->per_month * (26.511 - 21.521), 1e-12);
    cr_expect(batch.station[0].psf_drifts);
    rg_batch_free(&batch);
}

/* NIST StRD, linear regression, Norris: certified slope 1.00211681802045, its standard deviation
 * 0.429796848199937E-03, intercept -0.262323073774029. Data and values recalled from memory; the
 * data reproduce the certified numbers in rational arithmetic, residual deviation 0.884796396144373
 * included. */
Test(batch, slope_of_norris_is_the_certified_one)
{
    static const double y[] = {0.1,   338.8, 118.1, 888.0, 9.2,   228.1, 668.5, 998.5, 449.1,
                               778.9, 559.2, 0.3,   0.1,   778.1, 668.8, 339.3, 448.9, 10.8,
                               557.7, 228.3, 998.0, 888.8, 119.6, 0.3,   0.6,   557.6, 339.3,
                               888.0, 998.5, 778.9, 10.2,  117.6, 228.9, 668.4, 449.2, 0.2};
    static const double x[] = {0.2,   337.4, 118.2, 884.6, 10.1,  226.5, 666.3, 996.3, 448.6,
                               777.0, 558.2, 0.4,   0.6,   775.5, 666.9, 338.0, 447.5, 11.6,
                               556.0, 228.1, 995.8, 887.6, 120.2, 0.3,   0.3,   556.8, 339.1,
                               887.2, 999.0, 779.0, 11.1,  118.3, 229.2, 669.1, 448.9, 0.5};
    double months[36];
    memcpy(months, x, sizeof x);
    /* Two points share x = 0.3, a midnight; a second between them makes them two days. */
    months[23] -= 1.0 / MONTH;
    rg_batch batch = line_of(months, y, 36);
    const rg_trend *t = &batch.station[0].psf;
    near(t->per_month, 1.00211681802045, 1e-10);
    near(u_of(t, gsl_cdf_tdist_Pinv(0.975, 34)), 0.429796848199937e-3, 1e-11);
    near(t->at_begin - 0.2 * t->per_month, -0.262323073774029, 1e-7);
    rg_batch_free(&batch);
}

/* The same sweeps, each taken twice within the hour: no new knowledge, the same interval. */
Test(batch, repeats_of_a_day_make_no_slope_surer)
{
    static const double x[] = {0, 1, 2, 3, 4, 5, 6}, y[] = {1.1, 1.0, 1.3, 1.2, 1.15, 1.4, 1.3};
    double twice_x[21], twice_y[21];
    rg_batch once = line_of(x, y, 7);
    for (int i = 0; i < 21; i++) {
        twice_x[i] = x[i / 3];
        twice_y[i] = y[i / 3];
    }
    rg_batch often = line_of(twice_x, twice_y, 21);
    const rg_trend *a = &once.station[0].psf, *b = &often.station[0].psf;
    near(b->per_month, a->per_month, 1e-12);
    near(b->low, a->low, 1e-12);
    near(b->high, a->high, 1e-12);
    cr_expect_eq(b->points, 21);
    rg_batch_free(&once);
    rg_batch_free(&often);
}

/* Each day has a focus of its own and 24 sweeps: 20 days of it must be called a drift in about 5 %. */
Test(batch, focus_of_the_day_is_no_drift)
{
    enum { DAYS = 20, A_DAY = 24, TRIALS = 400 };
    static rg_batch_sweep s[DAYS * A_DAY];
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    int drifts = 0, lamp_drifts = 0;
    for (int k = 0; k < TRIALS; k++) {
        for (int d = 0; d < DAYS; d++) {
            double focus = gsl_ran_gaussian(rng, 0.05), lamp = gsl_ran_gaussian(rng, 0.1);
            for (int i = 0; i < A_DAY; i++)
                s[d * A_DAY + i] =
                    (rg_batch_sweep){.pad = i % 2 ? "a" : "b",
                                     .time = (int64_t)d * 3 * DAY + i * 600,
                                     .radiance = exp(i % 2 + lamp + gsl_ran_gaussian(rng, 0.05)),
                                     .psf_sigma_px = 0.8 + focus + gsl_ran_gaussian(rng, 0.02)};
        }
        rg_batch b = sum_of(s, DAYS * A_DAY);
        drifts += b.station[0].psf_drifts;
        lamp_drifts += b.station[0].radiance_drifts;
        rg_batch_free(&b);
    }
    /* 20 expected, standard deviation 4.4. */
    cr_expect(drifts >= 7 && drifts <= 35, "%d of %d", drifts, TRIALS);
    cr_expect(lamp_drifts >= 7 && lamp_drifts <= 35, "%d of %d", lamp_drifts, TRIALS);
    gsl_rng_free(rng);
}

Test(batch, too_little_makes_no_trend)
{
    static const double one_time[] = {4, 4, 4, 4}, times[] = {1, 2, 3, 4};
    static const double value[] = {1.2, 1.3, 1.4, 1.2};
    static const double gaps[] = {1.2, NAN, NAN, INFINITY};
    static const struct {
        const double *times, *values;
        int n, points;
    } row[] = {{times, value, 2, 2}, {one_time, value, 4, 4}, {times, gaps, 4, 1}};
    for (int i = 0; i < 3; i++) {
        rg_batch b = line_of(row[i].times, row[i].values, row[i].n);
        const rg_trend *t = &b.station[0].psf;
        cr_expect_eq(t->points, row[i].points);
        cr_expect(isnan(t->per_month) && isnan(t->low) && isnan(t->high) && isnan(t->at_begin) &&
                  isnan(t->at_end));
        cr_expect(!b.station[0].psf_drifts && !b.station[0].radiance_drifts);
        rg_batch_free(&b);
    }
}

/* 0.1 has no exact binary form: what rounding leaves of its mean must not drift. */
Test(batch, what_never_changes_does_not_drift)
{
    static const char *const pad[] = {"a", "b", "c", "d", "e", "f", "g"};
    rg_batch_sweep s[97];
    for (int i = 0; i < 97; i++)
        s[i] = (rg_batch_sweep){.pad = pad[i * i % 7],
                                .time = 777 * DAY + i * 43210,
                                .radiance = 0.1 * (1 + i * i % 7),
                                .psf_sigma_px = 0.1};
    rg_batch b = sum_of(s, 97);
    const rg_batch_station *t = &b.station[0];
    cr_expect(t->psf.per_month == 0 && t->ln_radiance.per_month == 0);
    cr_expect(!t->psf_drifts && !t->radiance_drifts);
    near(t->psf.at_end, 0.1, 1e-15);
    rg_batch_free(&b);
}

/* Sweeps of two stations, three models' pads each; GSL's gsl_multifit_linear with a dummy column for
 * each pad is the other way to the same estimate. */
enum { PADS = 3, EACH = 40 };
static const char *const pad_name[] = {"A", "B", "C"};

static void lamp_sweeps(rg_batch_sweep s[EACH], double per_month, double scatter,
                        unsigned long seed)
{
    static const double level[] = {0.4, 1.1, 2.3};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(rng, seed);
    for (int i = 0; i < EACH; i++) {
        /* Pad after pad, so that their levels look like a drift. */
        int pad = i * PADS / EACH;
        double months = 0.1 * i;
        double noise = scatter * (gsl_rng_uniform(rng) - 0.5);
        s[i] = (rg_batch_sweep){.model = "alto",
                                .pad = pad_name[pad],
                                .station = "bench",
                                .time = llround(months * MONTH),
                                .radiance = exp(level[pad] + per_month * months + noise),
                                .psf_sigma_px = NAN};
    }
    gsl_rng_free(rng);
}

static void dummy_regression(const rg_batch_sweep s[EACH], double *slope, double *u)
{
    double chisq;
    gsl_matrix *x = gsl_matrix_calloc(EACH, PADS + 1), *cov = gsl_matrix_alloc(PADS + 1, PADS + 1);
    gsl_vector *y = gsl_vector_alloc(EACH), *c = gsl_vector_alloc(PADS + 1);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(EACH, PADS + 1);
    for (size_t i = 0; i < EACH; i++) {
        gsl_matrix_set(x, i, (size_t)(s[i].pad[0] - 'A'), 1);
        gsl_matrix_set(x, i, PADS, (double)s[i].time / MONTH);
        gsl_vector_set(y, i, log(s[i].radiance));
    }
    cr_assert_eq(gsl_multifit_linear(x, y, c, cov, &chisq, work), 0);
    *slope = gsl_vector_get(c, PADS);
    *u = sqrt(gsl_matrix_get(cov, PADS, PADS));
    gsl_multifit_linear_free(work);
    gsl_matrix_free(x);
    gsl_matrix_free(cov);
    gsl_vector_free(y);
    gsl_vector_free(c);
}

Test(batch, radiance_slope_is_that_of_a_regression_with_a_level_for_each_pad)
{
    rg_batch_sweep s[EACH];
    double slope, u;
    lamp_sweeps(s, -0.07, 0.2, 5);
    dummy_regression(s, &slope, &u);
    rg_batch b = sum_of(s, EACH);
    const rg_trend *t = &b.station[0].ln_radiance;
    cr_expect_eq(t->points, EACH);
    near(t->per_month, slope, 1e-12);
    near(u_of(t, gsl_cdf_tdist_Pinv(0.975, EACH - PADS - 1)), u, 1e-12);
    cr_expect(b.station[0].radiance_drifts && t->high < 0);
    rg_batch_free(&b);
}

/* Pads of different levels, swept one after the other with a steady lamp, are no drift; a lamp that
 * fades by 2 % a month is found through the same levels. The points lie about the line. */
Test(batch, levels_of_pads_are_not_taken_for_drift)
{
    rg_batch_sweep s[EACH];
    for (int fading = 0; fading < 2; fading++) {
        lamp_sweeps(s, fading ? log(0.98) : 0, 0.01, 7);
        rg_batch b = sum_of(s, EACH);
        const rg_batch_station *t = &b.station[0];
        cr_expect_eq(t->radiance_drifts, fading == 1, "%g (%g to %g)", t->ln_radiance.per_month,
                     t->ln_radiance.low, t->ln_radiance.high);
        for (int i = 0; i < EACH; i++) {
            double line =
                t->ln_radiance.at_begin + t->ln_radiance.per_month * (double)s[i].time / MONTH;
            cr_expect(fabs(b.ln_radiance[i] - line) < 0.012, "%d: %g, line %g", i, b.ln_radiance[i],
                      line);
        }
        rg_batch_free(&b);
    }
}

Test(batch, a_pad_swept_once_or_without_light_is_no_point)
{
    rg_batch_sweep s[] = {
        {.pad = "A", .time = 0, .radiance = 2},         {.pad = "A", .time = DAY, .radiance = 4},
        {.pad = "B", .time = DAY, .radiance = 3},       {.pad = "A", .time = DAY, .radiance = 0},
        {.pad = "A", .time = DAY, .radiance = NAN},     {.pad = "A", .time = DAY, .radiance = -1},
        {.pad = "A", .time = DAY, .radiance = INFINITY}};
    rg_batch b = sum_of(s, 7);
    near(b.ln_radiance[0], -log(2) / 2, 1e-15);
    near(b.ln_radiance[1], log(2) / 2, 1e-15);
    for (int i = 2; i < 7; i++)
        cr_expect(isnan(b.ln_radiance[i]), "%d: %g", i, b.ln_radiance[i]);
    cr_expect_eq(b.station[0].ln_radiance.points, 2);
    cr_expect(isnan(b.station[0].ln_radiance.per_month));
    rg_batch_free(&b);
}

/* A brighter lamp at another station moves nothing here. */
Test(batch, stations_are_kept_apart)
{
    rg_batch_sweep s[2 * EACH], one[EACH];
    lamp_sweeps(one, -0.03, 0.05, 11);
    for (int i = 0; i < EACH; i++) {
        s[2 * i] = one[i];
        s[2 * i + 1] = one[EACH - 1 - i];
        s[2 * i + 1].station = "annex";
        s[2 * i + 1].radiance *= i < 20 ? 50 : 1;
    }
    rg_batch both = sum_of(s, 2 * EACH), alone = sum_of(one, EACH);
    cr_assert_eq(both.stations, 2);
    cr_expect_str_eq(both.station[0].station, "annex");
    cr_expect_str_eq(both.station[1].station, "bench");
    cr_expect_eq(both.station[1].sweeps, EACH);
    cr_expect_eq(
        memcmp(&both.station[1].ln_radiance, &alone.station[0].ln_radiance, sizeof(rg_trend)), 0);
    cr_expect(both.station[1].begin == one[0].time && both.station[1].end == one[EACH - 1].time);
    rg_batch_free(&both);
    rg_batch_free(&alone);
}

/* ------------------------------------------------------------------- size */

/* Ten years of a busy bench in one go: nothing may take a time that grows with the square. */
Test(batch, many_sweeps, .timeout = 20)
{
    enum { MANY = 250000 };
    rg_batch_sweep *s = calloc(MANY, sizeof *s);
    char(*serial)[16] = calloc(MANY / 24 + 1, sizeof *serial), (*bag)[16] = calloc(64, 16);
    char(*pad)[8] = calloc(24, sizeof *pad);
    cr_assert(s && serial && bag && pad);
    for (int i = 0; i < MANY; i++) {
        int visit = i / 24, instrument = visit % 3000;
        snprintf(serial[visit], sizeof *serial, "PE-A-%04d", instrument);
        snprintf(bag[visit / 3000], sizeof *bag, "%04d", visit / 3000);
        snprintf(pad[i % 24], sizeof *pad, "%02d", i % 24);
        s[i] = (rg_batch_sweep){.serial = serial[visit],
                                .model = instrument % 2 ? "alto" : "tenor",
                                .pad = pad[i % 24],
                                .station = "bench",
                                .bag = bag[visit / 3000],
                                .position = i % 24,
                                .time = (int64_t)visit * 3600,
                                .verdict = i % 24 == 5 ? RG_VERDICT_LEAKING : RG_VERDICT_SEALED,
                                .radiance = 1 + i % 24,
                                .psf_sigma_px = 0.8};
    }
    rg_batch b = sum_of(s, MANY);
    cr_expect_eq(b.serials, 3000);
    cr_expect_eq(b.inspections, (MANY + 23) / 24);
    cr_expect_eq(b.pads, 48);
    cr_expect_str_eq(b.pad[0].pad, "05");
    cr_expect_eq(b.model[0].instruments.count, 0);
    rg_batch_free(&b);
    free(s);
    free(serial);
    free(bag);
    free(pad);
}

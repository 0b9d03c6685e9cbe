/*
 * Tests of kappa.h. Printed results of other programs:
 *   - SAS/STAT 13.1 User's Guide, The FREQ Procedure, "Agreement Study": skin condition, two dermatologists:
 *     kappa 0.3449, 95 % limits 0.2030 and 0.4868;
 *   - a printout of SAS PROC FREQ (simple and weighted kappa, ASE, 95 % limits) and results of R's irr (kappa2,
 *     "anxiety"), both kept in statsmodels/stats/tests/test_inter_rater.py;
 *   - R's prop.test(correct = FALSE) and a documented score interval for Wilson's limits.
 * The standard error besides against the delta method by numerical derivatives (GSL) and drawn tables.
 */
#include "rimglow/kappa.h"

#include <criterion/criterion.h>
#include <gsl/gsl_deriv.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <string.h>

static rg_error err;

static const rg_kappa_table skin = {4,
                                    {{10, 4, 1, 0}, {5, 10, 12, 2}, {2, 4, 12, 5}, {0, 2, 6, 13}}};
static const rg_kappa_table small = {3, {{0, 4, 1}, {0, 8, 0}, {0, 1, 5}}};

static rg_kappa of(const rg_kappa_table *t, rg_kappa_weights weights)
{
    rg_kappa k;
    cr_assert_eq(rg_kappa_of(t, weights, 0.95, &k, &err), RG_OK, "%s", err.text);
    return k;
}

/* --------------------------------------------------------- printed results */

Test(kappa, sas_guide_skin_condition)
{
    rg_kappa k = of(&skin, RG_KAPPA_EQUAL);
    cr_expect_eq(k.cases, 88);
    cr_expect_float_eq(k.kappa, 0.3449, 5e-5);
    cr_expect_float_eq(k.low, 0.2030, 5e-5);
    cr_expect_float_eq(k.high, 0.4868, 5e-5);
}

Test(kappa, sas_printout_of_simple_kappa)
{
    rg_kappa k = of(&small, RG_KAPPA_EQUAL);
    cr_expect_float_eq(k.kappa, 0.4842, 5e-5);
    cr_expect_float_eq(k.se, 0.1380, 5e-5);
    cr_expect_float_eq(k.low, 0.2137, 5e-5);
    cr_expect_float_eq(k.high, 0.7547, 5e-5);
}

/* SAS's default weights are the linear ones (Cicchetti and Allison). */
Test(kappa, sas_printout_of_weighted_kappa)
{
    rg_kappa k = of(&small, RG_KAPPA_LINEAR);
    cr_expect_float_eq(k.kappa, 0.4701, 5e-5);
    cr_expect_float_eq(k.se, 0.1457, 5e-5);
    cr_expect_float_eq(k.low, 0.1845, 5e-5);
    cr_expect_float_eq(k.high, 0.7558, 5e-5);
}

/* irr: kappa2(anxiety[, 2:3]) with no weights, "equal" (linear) and "squared"; the class that neither rater
 * used (5) is left out there, so that 6 stands beside 4. */
Test(kappa, r_irr_anxiety)
{
    static const int score[60] = {3, 3, 3, 4, 5, 5, 2, 3, 5, 2, 2, 6, 1, 5, 2, 2, 1, 2, 4, 3,
                                  3, 6, 4, 6, 2, 4, 2, 4, 3, 3, 2, 3, 3, 3, 2, 2, 1, 3, 3, 4,
                                  2, 1, 4, 4, 3, 2, 1, 6, 1, 1, 1, 2, 3, 3, 1, 1, 3, 3, 2, 2};
    static const int class_of[7] = {-1, 0, 1, 2, 3, -1, 4};
    rg_kappa_table t = {5, {{0}}};
    for (int i = 0; i < 20; i++)
        t.n[class_of[score[20 + i]]][class_of[score[40 + i]]]++;
    cr_expect_float_eq(of(&t, RG_KAPPA_EQUAL).kappa, -0.006289308, 5e-8);
    cr_expect_float_eq(of(&t, RG_KAPPA_LINEAR).kappa, 0.1459075, 5e-8);
    cr_expect_float_eq(of(&t, RG_KAPPA_QUADRATIC).kappa, 0.2520325, 5e-8);
}

/* ------------------------------------------------- standard error otherwise */

/* Kappa straight from its definition, of shares that need not be counts. */
typedef struct probe {
    double p[RG_KAPPA_CLASSES][RG_KAPPA_CLASSES];
    int k, i, j;
    rg_kappa_weights weights;
} probe;

static double weighed(rg_kappa_weights weights, int k, int i, int j)
{
    double d = (double)abs(i - j) / (k - 1);
    return weights == RG_KAPPA_EQUAL ? i == j : weights == RG_KAPPA_LINEAR ? 1 - d : 1 - d * d;
}

static double plain_kappa(double x, void *context)
{
    probe q = *(const probe *)context;
    double agreed = 0, chance = 0, total = 0;
    q.p[q.i][q.j] = x;
    for (int i = 0; i < q.k; i++)
        for (int j = 0; j < q.k; j++) {
            total += q.p[i][j];
            agreed += weighed(q.weights, q.k, i, j) * q.p[i][j];
        }
    for (int i = 0; i < q.k; i++)
        for (int j = 0; j < q.k; j++)
            for (int a = 0; a < q.k; a++)
                for (int b = 0; b < q.k; b++)
                    chance += weighed(q.weights, q.k, i, j) * q.p[i][a] * q.p[b][j];
    agreed /= total;
    chance /= total * total;
    return (agreed - chance) / (1 - chance);
}

/* Delta method for a multinomial: se^2 = (sum p g^2 - (sum p g)^2) / N, g by central differences. */
static double delta_se(const rg_kappa_table *t, rg_kappa_weights weights, double n)
{
    probe q = {.k = t->classes, .weights = weights};
    double square = 0, mean = 0;
    for (int i = 0; i < q.k; i++)
        for (int j = 0; j < q.k; j++)
            q.p[i][j] = t->n[i][j] / n;
    for (q.i = 0; q.i < q.k; q.i++)
        for (q.j = 0; q.j < q.k; q.j++) {
            gsl_function f = {plain_kappa, &q};
            double g, error;
            gsl_deriv_central(&f, q.p[q.i][q.j], 1e-4, &g, &error);
            square += q.p[q.i][q.j] * g * g;
            mean += q.p[q.i][q.j] * g;
        }
    return sqrt((square - mean * mean) / n);
}

Test(kappa, standard_error_is_that_of_the_delta_method)
{
    for (rg_kappa_weights w = RG_KAPPA_EQUAL; w <= RG_KAPPA_QUADRATIC; w++) {
        cr_expect_float_eq(of(&skin, w).se, delta_se(&skin, w, 88), 1e-7, "%d", w);
        cr_expect_float_eq(of(&small, w).se, delta_se(&small, w, 19), 1e-7, "%d", w);
    }
}

static rg_kappa_table drawn_table(gsl_rng *random, const rg_kappa_table *like, unsigned n)
{
    enum { CELLS = 16 };
    double p[CELLS];
    unsigned count[CELLS];
    rg_kappa_table t = {like->classes, {{0}}};
    size_t cells = (size_t)(like->classes * like->classes);
    for (size_t c = 0; c < cells; c++)
        p[c] = like->n[c / (size_t)like->classes][c % (size_t)like->classes];
    gsl_ran_multinomial(random, cells, n, p, count);
    for (size_t c = 0; c < cells; c++)
        t.n[c / (size_t)like->classes][c % (size_t)like->classes] = (int)count[c];
    return t;
}

/* Tables drawn from known shares: the interval holds the true kappa as often as it says, and kappa scatters
 * by its standard error. 4000 tables of 400 cases: the share of 95 % has a standard deviation of 0.35 %. */
Test(kappa, intervals_hold_the_truth_as_often_as_they_say)
{
    enum { TABLES = 4000 };
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(random, 19690);
    for (rg_kappa_weights w = RG_KAPPA_EQUAL; w <= RG_KAPPA_QUADRATIC; w++) {
        double truth = of(&skin, w).kappa, square = 0, stated = 0;
        int held = 0;
        for (int i = 0; i < TABLES; i++) {
            rg_kappa_table t = drawn_table(random, &skin, 400);
            rg_kappa k = of(&t, w);
            held += k.low <= truth && truth <= k.high;
            square += (k.kappa - truth) * (k.kappa - truth);
            stated += k.se * k.se;
        }
        cr_expect_float_eq((double)held / TABLES, 0.95, 0.012, "%d: %d", w, held);
        cr_expect_float_eq(sqrt(square / stated), 1, 0.04, "%d: %g", w, sqrt(square / stated));
    }
    gsl_rng_free(random);
}

/* --------------------------------------------------------------- properties */

Test(kappa, weights_do_not_matter_for_two_classes)
{
    rg_kappa_table t = {2, {{20, 5}, {10, 15}}};
    /* po = 0.7, pe = 0.5, by hand */
    for (rg_kappa_weights w = RG_KAPPA_EQUAL; w <= RG_KAPPA_QUADRATIC; w++) {
        rg_kappa k = of(&t, w);
        cr_expect_float_eq(k.kappa, 0.4, 1e-12);
        cr_expect_float_eq(k.observed, 0.7, 1e-12,
                           "kappa alone is the same for any scale of weights");
        cr_expect_float_eq(k.chance, 0.5, 1e-12);
    }
    cr_expect_float_eq(of(&t, RG_KAPPA_EQUAL).se, of(&t, RG_KAPPA_QUADRATIC).se, 1e-12);
}

/* Of two classes with even margins kappa = 2 po - 1 and se = 2 sqrt(po (1 - po) / n), by hand; with 12 of 14
 * alike 0.7143 + 1.96 * 0.1870 is beyond 1. */
Test(kappa, an_interval_ends_where_kappa_does)
{
    rg_kappa_table alike = {2, {{6, 1}, {1, 6}}}, apart = {2, {{1, 6}, {6, 1}}};
    rg_kappa k = of(&alike, RG_KAPPA_EQUAL), q = of(&apart, RG_KAPPA_EQUAL);
    double se = 2 * sqrt(12.0 / 14 * 2 / 14 / 14);
    cr_expect_float_eq(k.se, se, 1e-12);
    cr_expect_float_eq(k.low, 10.0 / 14 - 1.959964 * se, 1e-6);
    cr_expect_eq(k.high, 1);
    cr_expect_float_eq(q.high, 1.959964 * se - 10.0 / 14, 1e-6);
    cr_expect_eq(q.low, -1);
}

Test(kappa, full_agreement_is_one_and_known)
{
    rg_kappa_table t = {3, {{4, 0, 0}, {0, 7, 0}, {0, 0, 2}}};
    rg_kappa k = of(&t, RG_KAPPA_LINEAR);
    cr_expect(k.state == RG_KAPPA_FOUND && k.kappa == 1 && k.high == 1);
    cr_expect_float_eq(k.se, 0, 1e-7);
}

Test(kappa, judges_may_be_swapped)
{
    rg_kappa_table t = {4, {{0}}};
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 4; j++)
            t.n[i][j] = skin.n[j][i];
    for (rg_kappa_weights w = RG_KAPPA_EQUAL; w <= RG_KAPPA_QUADRATIC; w++) {
        cr_expect_float_eq(of(&t, w).kappa, of(&skin, w).kappa, 1e-12);
        cr_expect_float_eq(of(&t, w).se, of(&skin, w).se, 1e-12);
    }
}

/* ----------------------------------------------------------- undefined cases */

Test(kappa, no_cases_are_told)
{
    rg_kappa_table t = {3, {{0}}};
    rg_kappa k = of(&t, RG_KAPPA_EQUAL);
    cr_expect(k.state == RG_KAPPA_NO_CASES && isnan(k.kappa) && isnan(k.low) && isnan(k.observed));
    cr_expect_str_eq(rg_kappa_state_name(k.state), "no cases");
}

Test(kappa, one_class_only_is_told)
{
    rg_kappa_table t = {3, {{0}}};
    t.n[1][1] = 12;
    rg_kappa k = of(&t, RG_KAPPA_QUADRATIC);
    cr_expect(k.state == RG_KAPPA_ONE_CLASS && isnan(k.kappa) && isnan(k.se) && isnan(k.high));
    cr_expect(k.cases == 12 && k.observed == 1);
    cr_expect_str_eq(rg_kappa_state_name(k.state), "one class only");
    /* Two different classes, one for each judge: chance agreement is 0, and so is kappa. */
    t.n[1][1] = 0;
    t.n[0][2] = 12;
    k = of(&t, RG_KAPPA_EQUAL);
    cr_expect(k.state == RG_KAPPA_FOUND && k.kappa == 0);
}

Test(kappa, what_is_no_table_is_refused)
{
    rg_kappa k;
    rg_kappa_table t = skin;
    t.classes = 1;
    cr_expect_eq(rg_kappa_of(&t, RG_KAPPA_EQUAL, 0.95, &k, &err), RG_BAD_DATA);
    t.classes = RG_KAPPA_CLASSES + 1;
    cr_expect_eq(rg_kappa_of(&t, RG_KAPPA_EQUAL, 0.95, &k, &err), RG_BAD_DATA);
    t = skin;
    t.n[2][1] = -4;
    cr_expect_eq(rg_kappa_of(&t, RG_KAPPA_EQUAL, 0.95, &k, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "-4") && strstr(err.text, "row 3, column 2"), "%s", err.text);
    t = skin;
    t.n[0][0] = t.n[1][1] = RG_KAPPA_CASES_MAX;
    cr_expect_eq(rg_kappa_of(&t, RG_KAPPA_EQUAL, 0.95, &k, &err), RG_BAD_DATA);
    cr_expect_eq(rg_kappa_of(&skin, RG_KAPPA_EQUAL, NAN, &k, &err), RG_BAD_DATA);
    cr_expect_eq(rg_kappa_of(&skin, RG_KAPPA_EQUAL, 1, &k, &err), RG_BAD_DATA);
    cr_expect_eq(rg_kappa_of(&skin, RG_KAPPA_EQUAL, 0.49, &k, &err), RG_BAD_DATA);
    cr_expect_eq(rg_kappa_of(&skin, RG_KAPPA_EQUAL, 0.5, &k, &err), RG_OK);
}

/* ------------------------------------------------------------------- shares */

Test(wilson, printed_limits)
{
    static const struct {
        int right, n;
        double confidence, low, high, within;
    } known[] = {
        /* ci_p_wilson of R's package stests, documented examples */
        {15, 50, 0.95, 0.1910355, 0.4375035, 5e-8},
        {0, 50, 0.95, 0, 0.0713476, 5e-8},
        {50, 50, 0.95, 0.9286524, 1, 5e-8},
        /* prop.test(6, 52, correct = FALSE), R bug report PR#2794 */
        {6, 52, 0.95, 0.05396969, 0.22971664, 5e-9},
        /* R's prop.test(319, 1100, correct = FALSE, conf.level = 0.99), stats.stackexchange.com 183225 */
        {319, 1100, 0.99, 0.2561, 0.3264, 5e-5},
        /* R. G. Newcombe, Stat. Med. 17 (1998) 857, method 3; from memory */
        {81, 263, 0.95, 0.2553, 0.3662, 5e-5},
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        double low, high;
        rg_wilson(known[i].right, known[i].n, known[i].confidence, &low, &high);
        cr_expect_float_eq(low, known[i].low, known[i].within, "%zu: %.8f", i, low);
        cr_expect_float_eq(high, known[i].high, known[i].within, "%zu: %.8f", i, high);
    }
}

/* To the last bit: rounding must not leave a share of 1 out of its own limits. */
Test(wilson, none_and_all_reach_the_ends)
{
    for (int n = 1; n <= 400; n++) {
        double low, high;
        rg_wilson(0, n, 0.95, &low, &high);
        cr_expect(low == 0 && high > 0 && high < 1, "none of %d", n);
        rg_wilson(n, n, 0.95, &low, &high);
        cr_expect(high == 1 && low > 0 && low < 1, "all of %d", n);
    }
}

Test(wilson, nothing_of_nothing_has_no_limits)
{
    double low, high;
    rg_wilson(0, 0, 0.95, &low, &high);
    cr_expect(isnan(low) && isnan(high));
    rg_wilson(3, 2, 0.95, &low, &high);
    cr_expect(isnan(low) && isnan(high));
}

/*
 * Tests of detection.h against MIL-HDBK-1823A (2009) Appendix G, R 4.2.2 (glm,
 * survreg of survival 3.5-3, qbeta) and textbook data. tests/data/pod/README
 * names the files.
 */
#include <criterion/criterion.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/detection.h"
#include "support/load.h"

enum { MOST = 1000 };

typedef struct table {
    int n;
    double cell[MOST][6];
} table;

/* Numbers of a CSV file; a cell that is no number is 0. */
static table read_table(const char *path)
{
    static table t;
    test_bytes file = test_load(path);
    char *rest = NULL;
    t = (table){0};
    strtok_r((char *)file.data, "\r\n", &rest);
    for (char *line; (line = strtok_r(NULL, "\r\n", &rest)) && t.n < MOST; t.n++) {
        char *cell = line;
        for (int c = 0; c < 6 && cell; c++) {
            t.cell[t.n][c] = strtod(cell, NULL);
            cell = strchr(cell, ',');
            cell = cell ? cell + 1 : NULL;
        }
    }
    free(file.data);
    return t;
}

static double size[MOST];
static bool hit[MOST];

static int hits_from(const char *path, int size_column, int hit_column)
{
    table t = read_table(path);
    for (int i = 0; i < t.n; i++) {
        size[i] = t.cell[i][size_column];
        hit[i] = t.cell[i][hit_column] > 0.5;
    }
    return t.n;
}

static int hits_from_groups(const double *x, const int *found, const int *missed, int groups)
{
    int n = 0;
    for (int g = 0; g < groups; g++)
        for (int k = 0; k < found[g] + missed[g]; k++, n++) {
            size[n] = x[g];
            hit[n] = k < found[g];
        }
    return n;
}

static rg_pod fit(int n, rg_pod_link link, rg_pod_axis axis)
{
    rg_error err = {0};
    rg_pod pod;
    cr_assert_eq(rg_pod_hit_miss(size, hit, n, link, axis, &pod, &err), RG_OK, "%s", err.text);
    return pod;
}

static void near(const char *what, double value, double expected, double relative)
{
    cr_expect(fabs(value - expected) <= relative * fabs(expected), "%s: %.10g, expected %.10g",
              what, value, expected);
}

/* ------------------------------------------------------------- hit/miss
 * R's glm stops when the deviance moves by less than 1e-8 of itself and takes its
 * covariance from the step before: last digits of its coefficients and the fourth
 * digit of its variances are not the maximum's. Hence the tolerances, and this: */

Test(detection, the_fit_is_the_maximum)
{
    int n = hits_from("tests/data/pod/example3.csv", 1, 3);
    rg_pod p = fit(n, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    double score = 0, slope = 0, v00 = 0, v01 = 0, v11 = 0;
    for (int i = 0; i < n; i++) {
        double prob = 1 / (1 + exp(-p.b[0] - p.b[1] * size[i])), w = prob * (1 - prob);
        score += hit[i] - prob;
        slope += (hit[i] - prob) * size[i];
        v00 += w;
        v01 += w * size[i];
        v11 += w * size[i] * size[i];
    }
    cr_expect_lt(fabs(score), 1e-10);
    cr_expect_lt(fabs(slope), 1e-10);
    double det = v00 * v11 - v01 * v01;
    near("var b0", p.cov_b[0][0], v11 / det, 1e-9);
    near("cov", p.cov_b[0][1], -v01 / det, 1e-9);
    near("var b1", p.cov_b[1][1], v00 / det, 1e-9);
}

/* Published (figure G-42): b0 -4.5974, b1 39.765, a50 .1156, a90 .1709, a90/95
 * .1974, sigma .025147; the further digits are R's. */
Test(detection, handbook_example_3_logit_linear)
{
    rg_pod p = fit(hits_from("tests/data/pod/example3.csv", 1, 3), RG_LINK_LOGIT, RG_AXIS_LINEAR);
    cr_assert_eq(p.state, RG_POD_FITTED);
    cr_expect_eq(p.n, 134);
    cr_expect_eq(p.found, 92);
    near("b0", p.b[0], -4.597366566, 1e-8);
    near("b1", p.b[1], 39.76542868, 1e-8);
    near("var b0", p.cov_b[0][0], 0.7700968005, 2e-4);
    near("cov", p.cov_b[0][1], -5.762165165, 2e-4);
    near("var b1", p.cov_b[1][1], 48.341389436, 3e-4);
    near("deviance", -2 * p.log_likelihood, 77.49381064, 1e-8);
    near("a50", p.a50, 0.1156121465, 1e-8);
    near("a90", p.a90, 0.1708667898, 1e-8);
    near("mu", p.mu, 0.1156121465, 1e-8);
    near("sigma", p.sigma, 0.02514747189, 1e-8);
    near("a90/95", p.a90_95, 0.1973540503, 1e-6);
    near("a90/95 as printed", p.a90_95, 0.1974, 5e-4);
    /* Not Wald's, which R gives as .1959901472. */
    cr_expect_gt(p.a90_95, 0.1965);
}

Test(detection, handbook_example_3_on_other_axes_and_links)
{
    static const struct {
        rg_pod_link link;
        rg_pod_axis axis;
        double b0, b1, deviance, a50, a90, bound;
    } row[] = {
        {RG_LINK_LOGIT, RG_AXIS_LOG, 10.4123855, 4.688037858, 80.45931365, 0.108494689,
         0.1733631777, 0.2105862819},
        {RG_LINK_PROBIT, RG_AXIS_LINEAR, -2.623996566, 22.61103145, 77.15634838, 0.116049397,
         0.1727275529, 0.1972880759},
        {RG_LINK_PROBIT, RG_AXIS_LOG, 5.78338557, 2.58776145, 80.75862293, 0.1070029327,
         0.1755794825, 0.2107744848},
    };
    int n = hits_from("tests/data/pod/example3.csv", 1, 3);
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_pod p = fit(n, row[i].link, row[i].axis);
        near("b0", p.b[0], row[i].b0, 1e-5);
        near("b1", p.b[1], row[i].b1, 1e-5);
        near("deviance", -2 * p.log_likelihood, row[i].deviance, 1e-8);
        near("a50", p.a50, row[i].a50, 1e-5);
        near("a90", p.a90, row[i].a90, 1e-5);
        near("a90/95", p.a90_95, row[i].bound, 1e-6);
    }
}

/* R's likelihood-ratio bound at chi2(0.90, 1) = 2.7055 and chi2(0.95, 2) = 5.9915,
 * the latter given here as the confidence that has the same chi2(1). */
Test(detection, bounds_of_other_confidences)
{
    int n = hits_from("tests/data/pod/example3.csv", 1, 3);
    rg_pod p = fit(n, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    double low, high, high50;
    cr_assert_eq(rg_pod_hit_miss_bounds(size, hit, n, &p, 0.9, 0.90, &low, &high, NULL), RG_OK);
    near("90 %", high, 0.1924952912, 1e-6);
    cr_expect(low < p.a90 && low > 0);
    cr_assert_eq(rg_pod_hit_miss_bounds(size, hit, n, &p, 0.9, 0.98562441, &low, &high, NULL),
                 RG_OK);
    near("chi2 5.9915", high, 0.2054683056, 1e-5);
    cr_assert_eq(rg_pod_hit_miss_bounds(size, hit, n, &p, 0.5, 0.95, &low, &high50, NULL), RG_OK);
    cr_expect(low < p.a50 && p.a50 < high50 && high50 < high);
}

/* Independent of the search: no curve (b0, b1) on a fine grid within the likelihood
 * bound has an a90 beyond the bounds, and some come near. */
Test(detection, bounds_are_the_extremes_of_the_likelihood_region)
{
    int n = hits_from("tests/data/pod/example3.csv", 1, 3);
    rg_pod p = fit(n, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    double low, high, least = INFINITY, most = -INFINITY;
    cr_assert_eq(rg_pod_hit_miss_bounds(size, hit, n, &p, 0.9, 0.95, &low, &high, NULL), RG_OK);
    for (int i = -150; i <= 150; i++)
        for (int k = -150; k <= 150; k++) {
            double b1 = p.b[1] + 0.16 * k, b0 = p.b[0] + 0.02 * i, l = 0;
            for (int j = 0; j < n; j++) {
                double e = exp(-b0 - b1 * size[j]);
                l += hit[j] ? -log1p(e) : -log1p(1 / e);
            }
            if (b1 > 0 && 2 * (p.log_likelihood - l) <= 3.841459) {
                least = fmin(least, (log(9) - b0) / b1);
                most = fmax(most, (log(9) - b0) / b1);
            }
        }
    cr_expect(least >= low - 1e-9 && least < low + 0.0015, "%g %g", least, low);
    cr_expect(most <= high + 1e-9 && most > high - 0.0015, "%g %g", most, high);
}

/* Published: a50 14 mils, a90 60 mils, a90/95 132 mils. */
Test(detection, handbook_example_6_disparate_disks)
{
    rg_pod p = fit(hits_from("tests/data/pod/example6.csv", 1, 2), RG_LINK_LOGIT, RG_AXIS_LOG);
    cr_expect_eq(p.n, 88);
    near("a50", p.a50, 13.94534328, 1e-6);
    near("a90", p.a90, 60.29675512, 1e-6);
    near("a90/95", p.a90_95, 132.1610963, 1e-5);
    near("as printed", p.a90_95, 132, 0.002);
    near("mu", p.mu, 2.635145638, 1e-7);
    near("sigma", p.sigma, 0.6663554866, 1e-7);
}

/* Published a90 .1315 and a90/95 .1553; the stored file is "altered", so only R's
 * digits for the file itself are sharp. */
Test(detection, handbook_example_4_cloglog)
{
    rg_pod p = fit(hits_from("tests/data/pod/example4.csv", 1, 2), RG_LINK_CLOGLOG, RG_AXIS_LINEAR);
    cr_expect_eq(p.n, 100);
    cr_expect_eq(p.found, 61);
    near("b0", p.b[0], -2.383822729, 1e-5);
    near("b1", p.b[1], 24.44123942, 1e-5);
    near("var b0", p.cov_b[0][0], 0.2342741146, 2e-4);
    near("mu", p.mu, 0.0975328087, 1e-6);
    near("sigma", p.sigma, 0.04091445539, 1e-5);
    near("a50", p.a50, 0.08253713217, 1e-6);
    near("a90", p.a90, 0.131656792, 1e-5);
    near("a90/95", p.a90_95, 0.1555132053, 1e-6);
    near("a90 as printed", p.a90, 0.1315, 5e-3);
    near("a90/95 as printed", p.a90_95, 0.1553, 5e-3);
}

/* Turbine wheels (Nelson 1982; data as in the SAS documentation of RELIABILITY):
 * hours, cracked, not cracked. R 4.2.2. */
Test(detection, turbine_wheels_in_groups)
{
    static const double hours[] = {4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46};
    static const int cracked[] = {0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21};
    static const int sound[] = {39, 49, 31, 66, 25, 30, 33, 7, 12, 19, 15};
    int n = hits_from_groups(hours, cracked, sound, 11);
    rg_pod probit = fit(n, RG_LINK_PROBIT, RG_AXIS_LOG), logit = fit(n, RG_LINK_LOGIT, RG_AXIS_LOG);
    near("mu", probit.mu, 3.69990758, 1e-7);
    near("sigma", probit.sigma, 0.719885477, 1e-6);
    near("a50", probit.a50, 40.4435663, 1e-7);
    near("se b1", sqrt(probit.cov_b[1][1]), 0.175385698, 1e-5);
    near("mu", logit.mu, 3.67970638, 1e-7);
    near("sigma", logit.sigma, 0.393541152, 1e-7);
    /* Weibull: F = 1 - exp(-(t / eta)^beta) is cloglog on a log axis. */
    rg_pod weibull = fit(n, RG_LINK_CLOGLOG, RG_AXIS_LOG);
    near("eta", exp(weibull.mu), 46.7772309, 1e-6);
    near("beta", 1 / weibull.sigma, 2.17577976, 1e-6);
}

/* Bliss (1935) by Dobson's book, data from memory; they give R's published
 * coefficients and the book's deviances. */
Test(detection, beetles_by_three_links)
{
    static const double dose[] = {1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839};
    static const int killed[] = {6, 13, 18, 28, 52, 53, 61, 60};
    static const int all[] = {59, 60, 62, 56, 63, 59, 62, 60};
    static const double expected[3][5] = {
        {-60.7174546, 34.2703257, 5.180701, 2.91213415, 11.2322311},
        {-34.9352661, 19.7279379, 2.64787905, 1.48721321, 10.1197581},
        {-39.5723092, 22.041169, 3.2402899, 1.79936483, 3.44643873}};
    int alive[8];
    double saturated = 0;
    for (int g = 0; g < 8; g++) {
        double p = (double)killed[g] / all[g];
        alive[g] = all[g] - killed[g];
        saturated += killed[g] * log(p) + (alive[g] ? alive[g] * log(1 - p) : 0);
    }
    int n = hits_from_groups(dose, killed, alive, 8);
    for (int link = 0; link < 3; link++) {
        rg_pod p = fit(n, (rg_pod_link)link, RG_AXIS_LINEAR);
        near("b0", p.b[0], expected[link][0], 1e-6);
        near("b1", p.b[1], expected[link][1], 1e-6);
        near("se b0", sqrt(p.cov_b[0][0]), expected[link][2], 1e-4);
        near("se b1", sqrt(p.cov_b[1][1]), expected[link][3], 1e-4);
        near("deviance", 2 * (saturated - p.log_likelihood), expected[link][4], 1e-6);
    }
}

Test(detection, sizes_far_from_zero_and_of_any_unit_fit_alike)
{
    int n = hits_from("tests/data/pod/example3.csv", 1, 3);
    rg_pod inch = fit(n, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    for (int i = 0; i < n; i++)
        size[i] = 1e6 + 25.4e-3 * size[i];
    rg_pod metre = fit(n, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    near("a90/95", metre.a90_95 - 1e6, 25.4e-3 * inch.a90_95, 1e-5);
    near("likelihood", metre.log_likelihood, inch.log_likelihood, 1e-7);
}

/* ------------------------------------------------- no curve, no number */

static void expect_no_curve(int n, rg_pod_state state)
{
    for (int link = 0; link < 3; link++) {
        rg_pod p = fit(n, (rg_pod_link)link, RG_AXIS_LINEAR);
        double low = 1, high = 1;
        cr_expect_eq(p.state, state, "state %d, expected %d", (int)p.state, (int)state);
        cr_expect(isnan(p.a50) && isnan(p.a90) && isnan(p.a90_95) && isnan(p.mu));
        cr_expect(isnan(rg_pod_at(&p, 1)) && isnan(rg_pod_size(&p, 0.9)));
        cr_expect_eq(rg_pod_hit_miss_bounds(size, hit, n, &p, 0.9, 0.95, &low, &high, NULL), RG_OK);
        cr_expect(isnan(low) && isnan(high));
        cr_expect_gt(strlen(rg_pod_state_text(p.state)), 10);
    }
}

static void small(int n, const double *s, const char *found)
{
    for (int i = 0; i < n; i++) {
        size[i] = s[i];
        hit[i] = found[i] == '1';
    }
}

Test(detection, data_that_fix_no_curve_give_no_number)
{
    static const double s[] = {1, 2, 3, 4, 5, 6};
    static const double ties[] = {1, 2, 3, 3, 4, 5};
    static const double same[] = {2, 2, 2, 2, 2, 2};
    expect_no_curve(0, RG_POD_EMPTY);
    small(6, s, "111111");
    expect_no_curve(6, RG_POD_ALL_FOUND);
    small(6, s, "000000");
    expect_no_curve(6, RG_POD_NONE_FOUND);
    small(6, s, "000111");
    expect_no_curve(6, RG_POD_SEPARATED);
    small(6, s, "111000");
    expect_no_curve(6, RG_POD_SEPARATED);
    small(6, ties, "000111"); /* hit and miss meet in one size: still no maximum */
    expect_no_curve(6, RG_POD_SEPARATED);
    small(6, same, "010101");
    expect_no_curve(6, RG_POD_ONE_SIZE);
    small(6, s, "101100");
    rg_pod p = fit(6, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    cr_expect_eq(p.state, RG_POD_FALLING);
    cr_expect(isnan(p.a90) && isnan(p.a90_95));
}

Test(detection, few_data_set_no_upper_bound)
{
    static const double s[] = {1, 2, 3, 4, 5, 6};
    small(6, s, "010101");
    rg_pod p = fit(6, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    cr_expect_eq(p.state, RG_POD_FITTED);
    cr_expect(isfinite(p.a90));
    cr_expect(isinf(p.a90_95) && p.a90_95 > 0, "%g", p.a90_95);
}

/* Nine in ten are found at every size: no size is known that is found with 90 % for certain,
 * but that half is found at the largest size is certain whatever the slope. */
Test(detection, a_weak_slope_still_bounds_what_is_far_from_the_share_found)
{
    double low, high;
    for (int i = 0; i < 60; i++) {
        size[i] = 1 + i;
        hit[i] = !(i == 2 || i == 9 || i == 20 || i == 28 || i == 37 || i == 52);
    }
    rg_pod p = fit(60, RG_LINK_LOGIT, RG_AXIS_LINEAR);
    cr_assert_eq(p.state, RG_POD_FITTED);
    cr_expect(isinf(p.a90_95));
    cr_assert_eq(rg_pod_hit_miss_bounds(size, hit, 60, &p, 0.5, 0.95, &low, &high, NULL), RG_OK);
    cr_expect(isfinite(high) && high < 60, "%g", high);
    cr_expect(isinf(low) && low < 0, "%g", low);
}

Test(detection, impossible_sizes_are_refused)
{
    rg_error err = {0};
    rg_pod p;
    static const double bad[] = {NAN, INFINITY, 0, -1};
    hits_from("tests/data/pod/example3.csv", 1, 3);
    for (int i = 0; i < 4; i++) {
        size[2] = bad[i];
        cr_expect_eq(rg_pod_hit_miss(size, hit, 9, RG_LINK_LOGIT, RG_AXIS_LOG, &p, &err),
                     RG_BAD_DATA);
        cr_expect_not_null(strstr(err.text, "target 3"), "%s", err.text);
    }
    static double many[RG_DETECTION_MAX + 1];
    static bool none[RG_DETECTION_MAX + 1];
    cr_expect_eq(
        rg_pod_hit_miss(many, none, RG_DETECTION_MAX + 1, RG_LINK_LOGIT, RG_AXIS_LINEAR, &p, &err),
        RG_BAD_DATA);
}

/* ------------------------------------------------------ signal/response */

enum { TESTS = 4, TARGETS = 92 };
static rg_response response[MOST];

/* Signals of the tests first..last, censored at 50 and 1300 as in the handbook. */
static int responses_from(int first, int last)
{
    table t = read_table("tests/data/pod/example2.csv");
    int n = 0;
    cr_assert_eq(t.n, TARGETS);
    for (int i = 0; i < t.n; i++)
        for (int c = first; c <= last; c++, n++) {
            double y = t.cell[i][2 + c];
            response[n].size = t.cell[i][1];
            response[n].signal = fmin(fmax(y, 50), 1300);
            response[n].censor = y <= 50     ? RG_CENSOR_BELOW
                                 : y >= 1300 ? RG_CENSOR_ABOVE
                                             : RG_CENSOR_NONE;
        }
    return n;
}

/* Published (figure G-24): b0 -1113.5, b1 594.47, tau 153.5812 with standard errors
 * 43.992 and 15.002; more digits, the covariance and the bound from R's survreg. */
Test(detection, handbook_example_2_censored_at_both_ends)
{
    rg_pod p;
    rg_error err = {0};
    int n = responses_from(0, 3);
    cr_assert_eq(rg_pod_signal(response, n, RG_AXIS_LOG, RG_AXIS_LINEAR, 200, &p, &err), RG_OK,
                 "%s", err.text);
    cr_assert_eq(p.state, RG_POD_FITTED);
    cr_expect_eq(p.n, 368);
    near("b0", p.b[0], -1113.54481, 1e-7);
    near("b1", p.b[1], 594.465328, 1e-7);
    near("se b0", sqrt(p.cov_b[0][0]), 43.9921138, 1e-6);
    near("se b1", sqrt(p.cov_b[1][1]), 15.0020361, 1e-6);
    near("tau", p.tau, 153.581151, 1e-7);
    near("log-likelihood", p.log_likelihood, -2193.83089, 1e-8);
    near("mu", p.mu, 2.20962392, 1e-7);
    near("sigma", p.sigma, 0.258351738, 1e-7);
    near("var mu", p.cov[0][0], 0.000473208278, 1e-5);
    near("cov", p.cov[0][1], -0.000100640233, 1e-5);
    near("var sigma", p.cov[1][1], 0.000137172609, 1e-5);
    near("a50", p.a50, 9.11228879, 1e-7);
    near("a90", p.a90, 12.6887401, 1e-7);
    near("a90/95", p.a90_95, 13.1344576, 1e-6);
    near("POD of a90", rg_pod_at(&p, p.a90), 0.9, 1e-9);
}

/* Published: mu 2.175, sigma .28542, a50 8.8, a90 12.69, a90/95 13.68, with
 * censoring limits that the handbook does not print: 0.3 %. R's digits for 50 and 1300. */
Test(detection, handbook_example_1_one_test)
{
    rg_pod p;
    int n = responses_from(1, 1);
    cr_assert_eq(rg_pod_signal(response, n, RG_AXIS_LOG, RG_AXIS_LINEAR, 200, &p, NULL), RG_OK);
    near("mu", p.mu, 2.17506645, 1e-7);
    near("sigma", p.sigma, 0.286274571, 1e-7);
    near("a90/95", p.a90_95, 13.7045333, 1e-6);
    near("mu as printed", p.mu, 2.175, 3e-3);
    near("sigma as printed", p.sigma, 0.28542, 5e-3);
    near("a90 as printed", p.a90, 12.69, 3e-3);
    near("a90/95 as printed", p.a90_95, 13.68, 3e-3);
}

/* R: without censoring the fit is least squares with n in place of n - 2. */
Test(detection, uncensored_signals_are_least_squares)
{
    rg_pod p;
    table t = read_table("tests/data/pod/example2.csv");
    for (int i = 0; i < t.n; i++)
        response[i] = (rg_response){t.cell[i][1], t.cell[i][3], RG_CENSOR_NONE};
    cr_assert_eq(rg_pod_signal(response, t.n, RG_AXIS_LOG, RG_AXIS_LINEAR, 200, &p, NULL), RG_OK);
    near("b0", p.b[0], -960.133811, 1e-8);
    near("b1", p.b[1], 535.524843, 1e-8);
    near("tau", p.tau, 148.280502, 1e-8);
    near("log-likelihood", p.log_likelihood, -590.460076, 1e-8);
    near("a90/95", p.a90_95, 13.3703423, 1e-7);
}

/* Tobin (1958), durable goods, age and liquidity; R 4.2.2 survreg, as its help page prints it. */
static const double durable_goods[20][3] = {
    {0, 57.7, 236},    {.7, 50.9, 283}, {0, 48.5, 207},   {0, 41.7, 220},   {0, 47.7, 238},
    {0, 59.8, 216},    {0, 44.3, 284},  {3.7, 45.1, 221}, {0, 51.7, 275},   {3, 50, 269},
    {10.4, 46.8, 207}, {0, 58, 249},    {0, 58.9, 246},   {0, 40, 277},     {1.5, 34.1, 231},
    {0, 39.9, 219},    {0, 33.4, 240},  {3.5, 48.1, 266}, {6.1, 46.6, 214}, {0, 53.1, 251}};
Test(detection, tobin_1958_durable_goods)
{
    double x[20][2], y[20];
    rg_censor c[20];
    rg_tobit f;
    for (int i = 0; i < 20; i++) {
        y[i] = durable_goods[i][0];
        x[i][0] = durable_goods[i][1];
        x[i][1] = durable_goods[i][2];
        c[i] = y[i] > 0 ? RG_CENSOR_NONE : RG_CENSOR_BELOW;
    }
    cr_assert_eq(rg_tobit_fit(&x[0][0], 2, y, c, 20, &f, NULL), RG_OK);
    cr_assert_eq(f.state, RG_TOBIT_FITTED);
    cr_expect_eq(f.exact, 7);
    cr_expect_eq(f.below, 13);
    near("intercept", f.b[0], 15.144866, 1e-6);
    near("age", f.b[1], -0.129059, 1e-5);
    near("quant", f.b[2], -0.045542, 2e-5);
    near("scale", f.sigma, 5.5725, 1e-5);
    near("log scale", log(f.sigma), 1.717851, 1e-6);
    near("se intercept", sqrt(f.cov[0][0]), 16.079453, 1e-6);
    near("se age", sqrt(f.cov[1][1]), 0.218584, 1e-5);
    near("se quant", sqrt(f.cov[2][2]), 0.058254, 1e-5);
    near("se log scale", sqrt(f.cov[3][3]), 0.310323, 1e-5);
    near("log-likelihood", f.log_likelihood, -28.9, 2e-3);
}

/* Clipped tilt y = max(0, .02 + .05 cos(t - 60)): without scatter a censored fit must
 * give back what was put in, where least squares gives .0272 and .0374. */
Test(detection, clipped_tilt_is_found_again)
{
    double x[36][2], y[36];
    rg_censor c[36];
    rg_tobit f;
    const double degree = 3.14159265358979323846 / 180;
    for (int i = 0; i < 36; i++) {
        double true_gap = 0.02 + 0.05 * cos((10 * i - 60) * degree);
        x[i][0] = cos(10 * i * degree);
        x[i][1] = sin(10 * i * degree);
        /* A little scatter, or no likelihood has a maximum. */
        y[i] = fmax(true_gap + (i % 2 ? 1e-6 : -1e-6), 0);
        c[i] = true_gap > 0 ? RG_CENSOR_NONE : RG_CENSOR_BELOW;
    }
    cr_assert_eq(rg_tobit_fit(&x[0][0], 2, y, c, 36, &f, NULL), RG_OK);
    cr_assert_eq(f.state, RG_TOBIT_FITTED);
    cr_expect_eq(f.below, 13);
    near("mean", f.b[0], 0.02, 1e-4);
    near("amplitude", hypot(f.b[1], f.b[2]), 0.05, 1e-4);
    near("phase", atan2(f.b[2], f.b[1]) / degree, 60, 1e-4);
}

/* Values with uncertainties of their own are weighted least squares (gsl_multifit_wlinear). */
Test(detection, values_with_known_uncertainties_are_weighted_least_squares)
{
    enum { N = 12 };
    double x[N], y[N], u[N], w[N], c0, c1, c00, c01, c11, chisq;
    rg_censor none[N] = {RG_CENSOR_NONE};
    rg_tobit f;
    for (int i = 0; i < N; i++) {
        x[i] = i;
        u[i] = 0.1 + 0.05 * (i % 4);
        w[i] = 1 / (u[i] * u[i]);
        y[i] = 3 - 0.2 * i + 0.1 * ((i * 7) % 5);
    }
    rg_tobit_data d = {.n = N, .covariates = 1, .x = x, .y = y, .censor = none, .u = u};
    d.known = true;
    gsl_fit_wlinear(x, 1, w, 1, y, 1, N, &c0, &c1, &c00, &c01, &c11, &chisq);
    cr_assert_eq(rg_tobit_fit_data(&d, &f, NULL), RG_OK);
    near("intercept", f.b[0], c0, 1e-10);
    near("slope", f.b[1], c1, 1e-10);
    near("var intercept", f.cov[0][0], c00, 1e-10);
    near("cov", f.cov[0][1], c01, 1e-10);
    near("var slope", f.cov[1][1], c11, 1e-10);
    cr_expect(f.sigma == 1 && f.cov[2][2] == 0);
    d.known = false; /* the same weights, their common scale fitted */
    cr_assert_eq(rg_tobit_fit_data(&d, &f, NULL), RG_OK);
    near("slope", f.b[1], c1, 1e-8);
    near("sigma", f.sigma, sqrt(chisq / N), 1e-8);
    u[3] = 0;
    cr_expect_eq(rg_tobit_fit_data(&d, &f, NULL), RG_BAD_DATA);
}

/* Where sigma is held at its maximum, the other parameters' maximum stays where it is. */
Test(detection, tobin_1958_with_the_published_scale_held)
{
    double x[20][2], y[20], u[20];
    rg_censor c[20];
    rg_tobit f;
    for (int i = 0; i < 20; i++) {
        y[i] = durable_goods[i][0];
        x[i][0] = durable_goods[i][1];
        x[i][1] = durable_goods[i][2];
        c[i] = y[i] > 0 ? RG_CENSOR_NONE : RG_CENSOR_BELOW;
        u[i] = exp(1.717851);
    }
    rg_tobit_data d = {.n = 20, .covariates = 2, .x = &x[0][0], .y = y, .censor = c, .u = u};
    d.known = true;
    cr_assert_eq(rg_tobit_fit_data(&d, &f, NULL), RG_OK);
    near("intercept", f.b[0], 15.144866, 1e-5);
    near("age", f.b[1], -0.129059, 1e-5);
    near("quant", f.b[2], -0.045542, 2e-5);
    near("log-likelihood", f.log_likelihood, -28.9, 2e-3);
}

Test(detection, signals_that_fix_no_curve_give_no_number)
{
    rg_pod p;
    for (int i = 0; i < 10; i++)
        response[i] = (rg_response){1 + i, 2.0 * i, RG_CENSOR_NONE};
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LINEAR, 3, &p, NULL), RG_OK);
    cr_expect_eq(p.state, RG_POD_NO_SCATTER);
    for (int i = 0; i < 8; i++)
        response[i].censor = RG_CENSOR_BELOW;
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LINEAR, 3, &p, NULL), RG_OK);
    cr_expect_eq(p.state, RG_POD_TOO_FEW);
    cr_expect(isnan(p.a90) && isnan(p.a90_95));
    for (int i = 0; i < 10; i++)
        response[i] = (rg_response){1 + i, 20 - 2.0 * i + (i % 2), RG_CENSOR_NONE};
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LINEAR, 3, &p, NULL), RG_OK);
    cr_expect_eq(p.state, RG_POD_FALLING);
    cr_expect(isnan(p.a90) && isnan(p.a90_95));
    for (int i = 0; i < 10; i++)
        response[i].size = 4;
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LINEAR, 3, &p, NULL), RG_OK);
    cr_expect_eq(p.state, RG_POD_ONE_SIZE);
    response[4].signal = NAN;
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LINEAR, 3, &p, NULL),
                 RG_BAD_DATA);
    response[4].signal = 0;
    cr_expect_eq(rg_pod_signal(response, 10, RG_AXIS_LINEAR, RG_AXIS_LOG, 3, &p, NULL),
                 RG_BAD_DATA);
}

Test(detection, dependent_covariates_are_refused)
{
    double x[12][2], y[12];
    rg_censor c[12] = {RG_CENSOR_NONE};
    rg_tobit f;
    rg_error err = {0};
    for (int i = 0; i < 12; i++) {
        x[i][0] = i;
        x[i][1] = 5;
        y[i] = i + (i % 3);
    }
    cr_expect_eq(rg_tobit_fit(&x[0][0], 2, y, c, 12, &f, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "covariates"), "%s", err.text);
}

/* ------------------------------------------------------------- binomial */

/* Clopper and Pearson, as qbeta of R 4.2.2 gives them; 29 of 29 is the well-known
 * demonstration of 90 % with 95 % confidence. */
Test(detection, exact_binomial_bounds)
{
    near("29/29", rg_binomial_lower(29, 29, 0.95), 0.901855, 1e-6);
    near("29/29", rg_binomial_lower(29, 29, 0.95), pow(0.05, 1.0 / 29), 1e-12);
    near("28/28", rg_binomial_lower(28, 28, 0.95), pow(0.05, 1.0 / 28), 1e-12);
    cr_expect_lt(rg_binomial_lower(28, 28, 0.95), 0.9);
    near("45/46", rg_binomial_lower(45, 46, 0.95), 0.900976, 1e-6);
    near("59/59", rg_binomial_lower(59, 59, 0.95), 0.950492, 1e-6);
    near("28/29", rg_binomial_lower(28, 29, 0.95), 0.846608, 1e-6);
    near("10/10", rg_binomial_lower(10, 10, 0.95), 0.741134, 1e-6);
    near("0/22", rg_binomial_upper(0, 22, 0.975), 0.154373, 5e-6);
    near("0/22 one-sided", rg_binomial_upper(0, 22, 0.95), 0.127305, 5e-6);
    near("95/100", rg_binomial_lower(95, 100, 0.975), 0.887165, 1e-6);
    near("95/100", rg_binomial_upper(95, 100, 0.975), 0.983568, 1e-6);
    cr_expect_eq(rg_binomial_lower(0, 5, 0.95), 0);
    cr_expect_eq(rg_binomial_upper(5, 5, 0.95), 1);
    cr_expect_eq(rg_binomial_lower(0, 0, 0.95), 0);
    cr_expect_eq(rg_binomial_upper(0, 0, 0.95), 1);
}

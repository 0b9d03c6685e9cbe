/*
 * Tests of gauge.h against NIST's certified values, the GUM, published gauge
 * studies and R 4.2.2 (aov). tests/data/nist/README and tests/data/gauge/README
 * name the files.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/gauge.h"
#include "support/load.h"

enum { MOST = 600 };

static void near(const char *what, double value, double expected, double relative)
{
    cr_expect(fabs(value - expected) <= relative * fabs(expected), "%s: %.15g, expected %.15g",
              what, value, expected);
}

/* ------------------------------------------------------ one-way analysis */

static double value[MOST];
static int group[MOST];

/* The data of a NIST file begin in line 61: group and value. */
static int read_nist(const char *path)
{
    test_bytes file = test_load(path);
    int n = 0, line = 1;
    for (char *p = (char *)file.data; p && *p && n < MOST; line++) {
        if (line > 60) {
            char *end;
            long g = strtol(p, &end, 10);
            if (end == p)
                break;
            group[n] = (int)g - 1;
            value[n++] = strtod(end, NULL);
        }
        p = strchr(p, '\n');
        p = p ? p + 1 : NULL;
    }
    free(file.data);
    return n;
}

/* Sums of squares of the very doubles that were read, in 64-bit mantissas. */
static void in_long_double(int n, int groups, double *between, double *within)
{
    long double mean[20] = {0}, all = 0, b = 0, w = 0;
    int count[20] = {0};
    for (int i = 0; i < n; i++) {
        mean[group[i]] += (long double)value[i] - (long double)value[0];
        all += (long double)value[i] - (long double)value[0];
        count[group[i]]++;
    }
    all /= n;
    for (int g = 0; g < groups; g++) {
        mean[g] /= count[g];
        b += count[g] * (mean[g] - all) * (mean[g] - all);
    }
    for (int i = 0; i < n; i++) {
        long double d = (long double)value[i] - (long double)value[0] - mean[group[i]];
        w += d * d;
    }
    *between = (double)b;
    *within = (double)w;
}

/* Certified by NIST to the digits given. */
Test(gauge, nist_sirstv_to_twelve_digits)
{
    rg_oneway r;
    int n = read_nist("tests/data/nist/SIRSTV.DAT");
    cr_assert_eq(n, 25);
    cr_assert_eq(rg_oneway_values(value, group, n, 5, &r, NULL), RG_OK);
    near("between SS", r.between.ss, 5.11462616000000e-02, 1e-12);
    near("within SS", r.within.ss, 2.16636560000000e-01, 1e-12);
    cr_expect(r.between.df == 4 && r.within.df == 20);
    near("F", r.between.f, 1.18046237440255, 1e-12);
    near("R squared", r.r_squared, 1.90999039051129e-01, 1e-12);
    near("residual sd", r.sd_within, 1.04076068334656e-01, 1e-12);
    near("component", r.between_groups.variance, 3.9094748e-4, 1e-7);
    near("p", r.between.p, 0.34942, 1e-4); /* from memory of R's aov */
}

/* Certified F 21, within 1.8, between 1.68; 1, 7 and 13 constant leading digits. A double
 * near 1e12 has steps of 1.2e-4, so the data themselves are only given to that:
 * what is left is compared with the sums of these doubles. */
Test(gauge, nist_smls_as_far_as_doubles_allow)
{
    static const struct {
        const char *path;
        double certified, own;
    } row[] = {{"tests/data/nist/SMLS01.DAT", 1e-12, 1e-13},
               {"tests/data/nist/SMLS04.DAT", 1e-8, 1e-12},
               {"tests/data/nist/SMLS07.DAT", 1e-3, 1e-11}};
    for (int i = 0; i < 3; i++) {
        rg_oneway r;
        double between, within;
        int n = read_nist(row[i].path);
        cr_assert_eq(n, 189);
        cr_assert_eq(rg_oneway_values(value, group, n, 9, &r, NULL), RG_OK);
        near("between SS", r.between.ss, 1.68, row[i].certified);
        near("within SS", r.within.ss, 1.80, row[i].certified);
        near("F", r.between.f, 21, row[i].certified);
        near("R squared", r.r_squared, 4.82758620689655e-01, row[i].certified);
        in_long_double(n, 9, &between, &within);
        near("between SS of the doubles", r.between.ss, between, row[i].own);
        near("within SS of the doubles", r.within.ss, within, row[i].own);
    }
}

/* JCGM 100:2008, H.5: ten days of five voltages near 10 V (data from memory; they give the
 * published 57, 85, 128, 43 and 18 uV). */
Test(gauge, gum_h5_ten_days)
{
    static const double mean[] = {172, 116, 13, 144, 106, 31, 60, 125, 163, 41};
    static const double sd[] = {60, 77, 111, 101, 67, 93, 80, 73, 88, 86};
    rg_oneway_group day[10];
    rg_oneway r;
    for (int i = 0; i < 10; i++)
        day[i] = (rg_oneway_group){10 + 1e-6 * mean[i], 1e-6 * sd[i], 5};
    cr_assert_eq(rg_oneway_groups(day, 10, &r, NULL), RG_OK);
    near("mean", r.mean, 10.0000971, 1e-10);
    near("within", 1e6 * r.sd_within, 84.8870, 1e-6);
    near("sa", 1e6 * sqrt(r.between.ms), 127.656, 1e-5);
    near("F", r.between.f, 2.2615, 3e-5);
    near("between", 1e6 * r.between_groups.sd, 42.6386, 1e-5);
    near("u", 1e6 * r.u_mean, 18.0533, 1e-5);
    cr_expect_eq(lround(1e6 * sqrt(r.between.ms / 5)), 57);
    cr_expect_eq(lround(1e6 * r.sd_within), 85);
    cr_expect_eq(lround(1e6 * sqrt(r.between.ms)), 128);
    cr_expect_eq(lround(1e6 * r.between_groups.sd), 43);
    cr_expect_eq(lround(1e6 * r.u_mean), 18);
    cr_expect(r.between.df == 9 && r.within.df == 40);
}

Test(gauge, values_and_groups_give_the_same)
{
    rg_oneway a, b;
    rg_oneway_group g[5];
    int n = read_nist("tests/data/nist/SIRSTV.DAT");
    for (int k = 0; k < 5; k++) {
        double sum = 0, squares = 0;
        for (int i = 0; i < 5; i++)
            sum += value[5 * k + i] / 5;
        for (int i = 0; i < 5; i++)
            squares += (value[5 * k + i] - sum) * (value[5 * k + i] - sum);
        g[k] = (rg_oneway_group){sum, sqrt(squares / 4), 5};
    }
    cr_assert_eq(rg_oneway_values(value, group, n, 5, &a, NULL), RG_OK);
    cr_assert_eq(rg_oneway_groups(g, 5, &b, NULL), RG_OK);
    near("F", b.between.f, a.between.f, 1e-10);
    near("mean", b.mean, a.mean, 1e-14);
    near("component", b.between_groups.variance, a.between_groups.variance, 1e-9);
}

/* ------------------------------------------------------- crossed studies */

/* Column `column` of a CSV that lists parts, persons and repeats in any order; keys are
 * the texts of the columns part and person. value[part][person][repeat]. */
static void read_study(const char *path, int column, int part_column, int person_column, int parts,
                       int persons, int repeats)
{
    test_bytes file = test_load(path);
    char *rest = NULL, names[2][20][40] = {{""}};
    int known[2] = {0}, seen[20][20] = {{0}};
    strtok_r((char *)file.data, "\r\n", &rest);
    for (char *line; (line = strtok_r(NULL, "\r\n", &rest));) {
        char *cell[6] = {line}, *p = line;
        for (int c = 1; c < 6 && p; c++) {
            p = strchr(p, ',');
            if (p)
                *p++ = 0;
            cell[c] = p;
        }
        int at[2];
        for (int k = 0; k < 2; k++) {
            const char *key = cell[k == 0 ? part_column : person_column];
            for (at[k] = 0; at[k] < known[k] && strcmp(names[k][at[k]], key) != 0;)
                at[k]++;
            cr_assert_lt(at[k], 20);
            if (at[k] == known[k])
                strcpy(names[k][known[k]++], key);
        }
        int repeat = seen[at[0]][at[1]]++;
        value[(at[0] * persons + at[1]) * repeats + repeat] = strtod(cell[column], NULL);
    }
    cr_assert(known[0] == parts && known[1] == persons && seen[0][0] == repeats);
    free(file.data);
}

static rg_gauge study(int parts, int persons, int repeats, double pool_above)
{
    rg_gauge g;
    rg_error err = {0};
    cr_assert_eq(rg_gauge_study(value, parts, persons, repeats, pool_above, 0.95, &g, &err), RG_OK,
                 "%s", err.text);
    return g;
}

/* R 4.2.2 aov; the design and most figures also in the documentation of SAS/QC. */
Test(gauge, gasket_study_with_interaction)
{
    read_study("tests/data/gauge/gasket.csv", 0, 2, 1, 10, 3, 2);
    rg_gauge g = study(10, 3, 2, 0.25);
    near("mean", g.mean, 0.8075, 1e-12);
    near("part SS", g.part.ss, 2.0587083333, 1e-10);
    near("person SS", g.person.ss, 0.048, 1e-10);
    near("interaction SS", g.interaction.ss, 0.1036666667, 1e-9);
    near("error SS", g.error.ss, 0.03875, 1e-10);
    cr_expect(g.part.df == 9 && g.person.df == 2 && g.interaction.df == 18 && g.error.df == 30);
    near("interaction F", g.interaction.f, 4.45878, 1e-5);
    near("interaction p", g.interaction.p, 0.00015631, 1e-4);
    /* Random model: against the interaction. */
    near("part F", g.part.f, 0.22874537037 / 0.00575925926, 1e-8);
    near("person F", g.person.f, 0.024 / 0.00575925926, 1e-8);
    cr_expect_not(g.pooled);
    near("repeatability", g.source[RG_GAUGE_REPEATABILITY].variance, 0.00129166667, 1e-8);
    near("person", g.source[RG_GAUGE_PERSON].variance, 0.00091203704, 1e-8);
    near("interaction", g.source[RG_GAUGE_INTERACTION].variance, 0.00223379630, 1e-8);
    near("reproducibility", g.source[RG_GAUGE_REPRODUCIBILITY].variance, 0.00314583333, 1e-8);
    near("part", g.source[RG_GAUGE_PART].variance, 0.03716435185, 1e-9);
    near("gauge", g.source[RG_GAUGE_RR].variance, 0.0044375, 1e-10);
    near("gauge sd", g.source[RG_GAUGE_RR].sd, 0.06661456, 1e-7);
    near("total", g.source[RG_GAUGE_TOTAL].variance, 0.04160185185, 1e-9);
    near("contribution", g.source[RG_GAUGE_RR].contribution, 10.66659, 1e-6);
    near("study", g.source[RG_GAUGE_RR].study, 32.65975, 1e-6);
    near("ratio", g.ratio, 4.09269231141, 1e-8);
    cr_expect_eq(g.categories, 4);
}

Test(gauge, gasket_study_without_interaction)
{
    read_study("tests/data/gauge/gasket.csv", 0, 2, 1, 10, 3, 2);
    rg_gauge g = study(10, 3, 2, 0); /* pools every interaction with p > 0 */
    cr_expect(g.pooled);
    near("repeatability", g.source[RG_GAUGE_REPEATABILITY].variance, 0.00296701389, 1e-8);
    near("person", g.source[RG_GAUGE_PERSON].variance, 0.00105164931, 1e-8);
    near("part", g.source[RG_GAUGE_PART].variance, 0.03762972608, 1e-9);
    near("gauge sd", g.source[RG_GAUGE_RR].sd, 0.06339293, 1e-7);
    near("study", g.source[RG_GAUGE_RR].study, 31.06288, 1e-6);
    near("part F", g.part.f, 77.09616, 1e-6);
    near("person F", g.person.f, 8.08894, 1e-6);
    near("person p", g.person.p, 0.00093873, 1e-5);
    near("ratio", g.ratio, 4.32752634963, 1e-8);
}

/* R 4.2.2 and the unit tests of the package SixSigma. */
Test(gauge, prototypes_are_pooled)
{
    read_study("tests/data/gauge/prototypes.csv", 3, 0, 1, 3, 3, 3);
    rg_gauge g = study(3, 3, 3, 0.25);
    near("part SS", g.part.ss, 1.2007185185, 1e-9);
    near("person SS", g.person.ss, 0.0529407407, 1e-9);
    near("interaction SS", g.interaction.ss, 0.0833925926, 1e-9);
    near("error SS", g.error.ss, 0.3854, 1e-9);
    near("interaction p", g.interaction.p, 0.44619, 1e-5);
    cr_expect(g.pooled);
    near("pooled", g.pooled_error.ms, 0.0213087542, 1e-9);
    near("person", g.source[RG_GAUGE_PERSON].variance, 0.0005735129, 1e-7);
    near("part", g.source[RG_GAUGE_PART].variance, 0.0643389450, 1e-9);
    near("gauge", g.source[RG_GAUGE_RR].variance, 0.0218822671, 1e-8);
    near("total", g.source[RG_GAUGE_TOTAL].variance, 0.0862212121, 1e-9);
    static const double percent[] = {24.71, 0.67, 0, 0.67, 25.38, 74.62, 100};
    for (int i = 0; i < RG_GAUGE_SOURCES; i++)
        cr_expect(fabs(g.source[i].contribution - percent[i]) < 0.006, "%s: %g",
                  rg_gauge_source_name((rg_gauge_source)i), g.source[i].contribution);
    near("gauge sd", g.source[RG_GAUGE_RR].sd, 0.14792656, 1e-7);
    near("part sd", g.source[RG_GAUGE_PART].sd, 0.25365123, 1e-7);
    near("total sd", g.source[RG_GAUGE_TOTAL].sd, 0.29363449, 1e-7);
    near("study", g.source[RG_GAUGE_RR].study, 50.38, 1e-4);
    cr_expect_eq(g.categories, 2);
}

/* The same with the interaction kept: its component is negative. */
Test(gauge, a_negative_component_is_set_to_zero_and_told)
{
    read_study("tests/data/gauge/prototypes.csv", 3, 0, 1, 3, 3, 3);
    rg_gauge g = study(3, 3, 3, 1);
    const rg_component *c = &g.source[RG_GAUGE_INTERACTION];
    cr_expect_not(g.pooled);
    near("raw", c->raw, -0.000187654320988, 1e-9);
    cr_expect(c->negative);
    cr_expect_eq(c->variance, 0);
    cr_expect_eq(c->sd, 0);
    near("repeatability", g.source[RG_GAUGE_REPEATABILITY].variance, 0.0214111111111, 1e-10);
    near("person", g.source[RG_GAUGE_PERSON].variance, 0.000624691358025, 1e-9);
    near("part", g.source[RG_GAUGE_PART].variance, 0.0643901234568, 1e-10);
    near("gauge sd", g.source[RG_GAUGE_RR].sd, 0.148444610778, 1e-10);
    near("study", g.source[RG_GAUGE_RR].study, 50.4943068396, 1e-10);
    for (int i = 0; i < RG_GAUGE_SOURCES; i++)
        cr_expect_eq(g.source[i].negative, i == RG_GAUGE_INTERACTION);
}

Test(gauge, leading_digits_cost_nothing)
{
    read_study("tests/data/gauge/gasket.csv", 0, 2, 1, 10, 3, 2);
    rg_gauge plain = study(10, 3, 2, 0.25);
    /* 0.05 in steps of 2^-20: exact at 2^30. */
    for (int i = 0; i < 60; i++)
        value[i] = 1073741824.0 + round(value[i] * 20) / 1048576;
    rg_gauge far = study(10, 3, 2, 0.25);
    double scale = 20 / 1048576.0;
    near("gauge", far.source[RG_GAUGE_RR].sd, scale * plain.source[RG_GAUGE_RR].sd, 1e-9);
    near("study", far.source[RG_GAUGE_RR].study, plain.source[RG_GAUGE_RR].study, 1e-9);
}

Test(gauge, one_person_is_a_study_of_repeatability)
{
    rg_oneway r;
    int n = read_nist("tests/data/nist/SIRSTV.DAT");
    cr_assert_eq(rg_oneway_values(value, group, n, 5, &r, NULL), RG_OK);
    rg_gauge g = study(5, 1, 5, 0.25);
    near("repeatability", g.source[RG_GAUGE_REPEATABILITY].variance, r.within.ms, 1e-10);
    near("part", g.source[RG_GAUGE_PART].variance, r.between_groups.variance, 1e-9);
    near("F", g.part.f, r.between.f, 1e-10);
    cr_expect_eq(g.source[RG_GAUGE_REPRODUCIBILITY].variance, 0);
    cr_expect_eq(g.person.df, 0);
    cr_expect(isnan(g.person.f));
}

/* chi2(.025, .975; 20) = 9.590777, 34.169607 (scipy). */
Test(gauge, repeatability_has_an_interval)
{
    read_nist("tests/data/nist/SIRSTV.DAT");
    rg_gauge g = study(5, 1, 5, 0.25);
    near("low", g.repeatability_low, sqrt(2.16636560e-01 / 34.169607), 1e-7);
    near("high", g.repeatability_high, sqrt(2.16636560e-01 / 9.590777), 1e-7);
}

Test(gauge, a_gauge_without_scatter_tells_everything_apart)
{
    for (int i = 0; i < 12; i++)
        value[i] = i / 4;
    rg_gauge g = study(3, 2, 2, 0.25);
    cr_expect_eq(g.source[RG_GAUGE_RR].variance, 0);
    cr_expect(isinf(g.ratio));
    cr_expect_eq(g.categories, 9999);
    cr_expect_eq(g.part.p, 0);
    for (int i = 0; i < 12; i++)
        value[i] = 7;
    g = study(3, 2, 2, 0.25);
    cr_expect_eq(g.source[RG_GAUGE_TOTAL].variance, 0);
    cr_expect_eq(g.source[RG_GAUGE_RR].study, 0);
    cr_expect_eq(g.categories, 0);
}

Test(gauge, impossible_designs_are_refused)
{
    rg_gauge g;
    rg_error err = {0};
    cr_expect_eq(rg_gauge_study(value, 1, 3, 3, 0.25, 0.95, &g, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "two parts"), "%s", err.text);
    cr_expect_eq(rg_gauge_study(value, 3, 1, 1, 0.25, 0.95, &g, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "repeats"), "%s", err.text);
    cr_expect_eq(rg_gauge_study(value, 20000, 20000, 20000, 0.25, 0.95, &g, &err), RG_BAD_DATA);
    value[5] = NAN;
    cr_expect_eq(rg_gauge_study(value, 3, 2, 2, 0.25, 0.95, &g, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "value 6"), "%s", err.text);
}

/* ------------------------------------------------------------- bearings */

Test(gauge, bearings_are_unwrapped_part_by_part)
{
    double b[] = {353, 357, 356, 354, 181, 179, 178, 182, 12, 8, 10, 10};
    rg_error err = {0};
    cr_assert_eq(rg_gauge_unwrap(b, 3, 4, &err), RG_OK, "%s", err.text);
    for (int p = 0; p < 3; p++) {
        double low = INFINITY, high = -INFINITY;
        for (int k = 0; k < 4; k++) {
            low = fmin(low, b[4 * p + k]);
            high = fmax(high, b[4 * p + k]);
        }
        cr_expect_lt(high - low, 5, "part %d", p);
    }
    /* Part 1 about 355 and part 3 about 10 are neighbours again. */
    cr_expect_lt(fabs((b[8] + b[9] + b[10] + b[11]) / 4 - (b[0] + b[1] + b[2] + b[3]) / 4 - 15),
                 1e-9);
    double round_the_rim[] = {0, 90, 180, 270, 5, 6, 7, 8};
    cr_expect_eq(rg_gauge_unwrap(round_the_rim, 2, 4, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "part 1"), "%s", err.text);
}

/* ----------------------------------------------------- bias and linearity */

/* t(0.975; 9) = 2.262157 (scipy). */
Test(gauge, bias_has_a_test_and_an_interval)
{
    double error[10];
    rg_bias b;
    for (int i = 0; i < 10; i++)
        error[i] = 0.003 + 0.001 * (i % 2 ? 1 : -1);
    cr_assert_eq(rg_gauge_bias(error, 10, 0.95, &b, NULL), RG_OK);
    double sd = 0.001 * sqrt(10.0 / 9), u = sd / sqrt(10);
    near("bias", b.bias, 0.003, 1e-12);
    near("sd", b.sd, sd, 1e-12);
    near("t", b.t, 0.003 / u, 1e-12);
    near("low", b.low, 0.003 - 2.262157 * u, 1e-6);
    near("high", b.high, 0.003 + 2.262157 * u, 1e-6);
    cr_expect_lt(b.p, 1e-4);
    /* At the quantile p is 0.05. */
    for (int i = 0; i < 10; i++)
        error[i] += 2.262157 * u - 0.003;
    cr_assert_eq(rg_gauge_bias(error, 10, 0.95, &b, NULL), RG_OK);
    near("p", b.p, 0.05, 1e-5);
    cr_expect_eq(rg_gauge_bias(error, 1, 0.95, &b, NULL), RG_BAD_DATA);
    double same[] = {0, 0, 0};
    cr_assert_eq(rg_gauge_bias(same, 3, 0.95, &b, NULL), RG_OK);
    cr_expect(b.t == 0 && b.p == 1 && b.low == 0 && b.high == 0);
}

/* JCGM 100:2008, H.3: corrections of a thermometer, t0 = 20 (data from memory; they give
 * the published y1 -0.1712 (.0029), y2 .00218 (.00067), r -.930, s .0035, b(30) -.1494 (.0041)). */
Test(gauge, gum_h3_line)
{
    static const double t[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                               24.513, 25.002, 25.503, 26.010, 26.511};
    static const double c[] = {.171, .169, .166, .159, .164, .165, .156, .157, .159, .161, .160};
    double x[11], y[11], u;
    rg_line l;
    for (int i = 0; i < 11; i++) {
        x[i] = t[i] - 20;
        y[i] = -c[i];
    }
    cr_assert_eq(rg_line_fit(x, y, 11, &l, NULL), RG_OK);
    near("y1", l.intercept, -0.17120, 1e-4);
    near("s(y1)", l.u_intercept, 0.00288, 2e-3);
    near("y2", l.slope, 0.002183, 3e-4);
    near("s(y2)", l.u_slope, 0.000668, 1e-3);
    near("r", l.covariance / (l.u_intercept * l.u_slope), -0.9304, 1e-4);
    near("s", l.sd, 0.00350, 2e-3);
    near("b(30)", rg_line_at(&l, 10, &u), -0.14938, 1e-4);
    near("u b(30)", u, 0.00414, 2e-3);
    cr_expect(l.p > 0.005 && l.p < 0.015); /* t = 3.27 with 9 degrees of freedom */
    cr_expect_eq(rg_line_fit(x, y, 2, &l, NULL), RG_BAD_DATA);
    double same[] = {1, 1, 1};
    cr_expect_eq(rg_line_fit(same, y, 3, &l, NULL), RG_BAD_DATA);
}

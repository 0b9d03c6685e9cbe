/*
 * Uncertainty budgets against worked examples of JCGM 100:2008 (GUM): H.1, the
 * end gauge (tests/data/gum), and H.3, the line fit, whose two coefficients are
 * correlated; coverage factors against Student's t quantiles computed outside
 * this project (scipy) and table G.2.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/budget.h"
#include "support/load.h"

static double number(const char *text)
{
    return strcmp(text, "inf") == 0 ? INFINITY : strtod(text, NULL);
}

/* inputs.csv of tests/data/gum; contribution[i]: |c| u as published there. */
static rg_budget end_gauge(double contribution[RG_BUDGET_MAX])
{
    rg_budget b = {0};
    test_bytes file = test_load("tests/data/gum/inputs.csv");
    char *line = strtok((char *)file.data, "\n");
    while ((line = strtok(NULL, "\n"))) {
        char name[48], u[32], dof[32], c[32], part[32];
        cr_assert_eq(sscanf(line, "%47[^,],%31[^,],%31[^,],%31[^,],%31s", name, u, dof, c, part),
                     5);
        rg_contribution p = {.u = number(u), .sensitivity = number(c), .dof = number(dof)};
        memcpy(p.name, name, sizeof name);
        contribution[b.count] = fabs(number(part));
        cr_assert_eq(rg_budget_add(&b, &p, NULL), RG_OK);
    }
    cr_assert_eq(b.count, 9);
    free(file.data);
    return b;
}

Test(budget, the_end_gauge_of_the_gum)
{
    double contribution[RG_BUDGET_MAX];
    rg_budget b = end_gauge(contribution);
    rg_error err = {0};
    cr_assert_eq(rg_budget_combine(&b, NULL, 0.99, &err), RG_OK, "%s", err.text);
    cr_expect_float_eq(b.u, 31.7051057, 1e-5, "%g", b.u);
    cr_expect_float_eq(b.dof, 16.6445932, 1e-4, "%g", b.dof);
    cr_expect_float_eq(b.coverage, 2.92078162, 1e-7, "%.9g", b.coverage);
    cr_expect_float_eq(b.expanded, 92.6036901, 1e-4, "%g", b.expanded);
    double shares = 0;
    for (int i = 0; i < 9; i++) {
        cr_expect_float_eq(b.part[i].u_result, contribution[i], 1e-6 * contribution[i] + 1e-12);
        cr_expect_float_eq(b.part[i].share, pow(contribution[i] / 31.7051057, 2), 1e-6);
        shares += b.part[i].share;
    }
    cr_expect_float_eq(shares, 1, 1e-12);
}

/* Thermometer: y1 and y2 of one line with 9 degrees of freedom, r = -0.930;
 * correction at t0 + 10 degrees. Published u(b(30)) = 0.0041 degrees, from
 * s(y1) = 0.0029, s(y2) = 0.00067. Here with the digits recomputed from the
 * data: 0.00288, 0.000668, -0.9304 -> 0.00414. */
static rg_budget line(void)
{
    rg_budget b = {0};
    rg_contribution y1 = {.name = "intercept", .u = 0.00288, .sensitivity = 1, .dof = 9};
    rg_contribution y2 = {.name = "slope", .u = 0.000668, .sensitivity = 10, .dof = 9};
    cr_assert_eq(rg_budget_add(&b, &y1, NULL), RG_OK);
    cr_assert_eq(rg_budget_add(&b, &y2, NULL), RG_OK);
    return b;
}

Test(budget, correlated_inputs_of_the_gum_s_line_fit)
{
    rg_budget b = line();
    static const double r[4] = {1, -0.9304, -0.9304, 1};
    cr_assert_eq(rg_budget_combine(&b, r, 0.95, NULL), RG_OK);
    cr_expect_float_eq(b.u, 0.00414, 2e-5, "%g", b.u);
    /* One fit, one set of degrees of freedom. */
    cr_expect_float_eq(b.dof, 9, 1e-9, "%g", b.dof);
    cr_expect_float_eq(b.coverage, 2.262157, 1e-6);
    cr_expect_float_eq(b.part[0].share + b.part[1].share, 1, 1e-12);
    cr_expect_float_eq(b.part[1].u_result, 0.00668, 1e-12);
    cr_assert_eq(rg_budget_combine(&b, NULL, 0.95, NULL), RG_OK);
    cr_expect_float_eq(b.u, hypot(0.00288, 0.00668), 1e-12);
}

/* r = 1 adds, r = -1 takes away (JCGM 100, 5.2.2 note 1). */
Test(budget, fully_correlated_inputs_add_linearly)
{
    rg_budget b = line();
    static const double same[4] = {1, 1, 1, 1}, opposed[4] = {1, -1, -1, 1};
    cr_assert_eq(rg_budget_combine(&b, same, 0.95, NULL), RG_OK);
    cr_expect_float_eq(b.u, 0.00288 + 0.00668, 1e-12);
    cr_assert_eq(rg_budget_combine(&b, opposed, 0.95, NULL), RG_OK);
    cr_expect_float_eq(b.u, 0.00668 - 0.00288, 1e-12);
    /* A third input apart from the pair: Welch-Satterthwaite over two groups. */
    rg_contribution other = {.name = "other", .u = 0.01, .sensitivity = 1, .dof = 4};
    cr_assert_eq(rg_budget_add(&b, &other, NULL), RG_OK);
    static const double three[9] = {1, 1, 0, 1, 1, 0, 0, 0, 1};
    cr_assert_eq(rg_budget_combine(&b, three, 0.95, NULL), RG_OK);
    double pair = 0.00956, u2 = pair * pair + 1e-4;
    cr_expect_float_eq(b.dof, u2 * u2 / (pow(pair, 4) / 9 + 1e-8 / 4), 1e-9);
}

/* Quantiles of Student's t at 0.975 by scipy; at infinity the normal's. */
Test(budget, coverage_factors_are_student_s)
{
    static const double table[][2] = {{1, 12.706205}, {4, 2.776445},  {9, 2.262157},
                                      {10, 2.228139}, {16, 2.119905}, {20, 2.085963},
                                      {30, 2.042272}, {60, 2.000298}, {INFINITY, 1.959964}};
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        cr_expect_float_eq(rg_coverage_factor(0.95, table[i][0]), table[i][1], 1e-6, "%g",
                           table[i][0]);
    cr_expect_float_eq(rg_coverage_factor(0.90, 9), 1.833113, 1e-6);
    /* G.4.1: cut to the next lower whole number. */
    cr_expect_float_eq(rg_coverage_factor(0.95, 16.99), 2.119905, 1e-6);
    cr_expect_float_eq(rg_coverage_factor(0.95, 16 - 1e-12), 2.119905, 1e-6);
    cr_expect_float_eq(rg_coverage_factor(0.95, 0.3), 12.706205, 1e-6);
    /* JCGM 100 table G.2: k = 2 at 95.45 % for many degrees of freedom. */
    cr_expect_float_eq(rg_coverage_factor(0.9545, INFINITY), 2.000, 1e-4);
}

/* G.4.2: an uncertainty known to a quarter has 8 degrees of freedom. */
Test(budget, type_b_degrees_of_freedom)
{
    cr_expect_float_eq(rg_type_b_dof(0.25), 8, 1e-12);
    cr_expect_float_eq(rg_type_b_dof(0.5), 2, 1e-12);
    cr_expect(isinf(rg_type_b_dof(0)));
}

Test(budget, exact_inputs_give_an_exact_result)
{
    rg_budget b = {0};
    rg_contribution p = {.name = "exact", .u = 0, .sensitivity = 1, .dof = 1};
    cr_assert_eq(rg_budget_add(&b, &p, NULL), RG_OK);
    cr_assert_eq(rg_budget_combine(&b, NULL, 0.95, NULL), RG_OK);
    cr_expect_eq(b.u, 0);
    cr_expect_eq(b.part[0].share, 0);
    cr_expect(isinf(b.dof) && isfinite(b.coverage));
}

static void expect_refused(const rg_contribution *p, const double *r, double level,
                           const char *word)
{
    rg_budget b = line();
    rg_error err = {0};
    if (p)
        b.part[1] = *p;
    cr_expect_eq(rg_budget_combine(&b, r, level, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, word), "%s", err.text);
}

Test(budget, impossible_numbers_are_refused_by_name)
{
    static const double crooked[4] = {1, 0.5, 0.4, 1}, large[4] = {1, 1.2, 1.2, 1};
    static const double diagonal[4] = {1, 0, 0, 0.5}, nothing[4] = {1, NAN, NAN, 1};
    rg_contribution bad = {.name = "slope", .u = -1, .sensitivity = 1, .dof = 9};
    expect_refused(&bad, NULL, 0.95, "slope");
    bad.u = NAN;
    expect_refused(&bad, NULL, 0.95, "slope");
    bad.u = INFINITY;
    expect_refused(&bad, NULL, 0.95, "slope");
    bad.u = 1, bad.sensitivity = NAN;
    expect_refused(&bad, NULL, 0.95, "slope");
    bad.sensitivity = 1, bad.dof = 0.5;
    expect_refused(&bad, NULL, 0.95, "degrees of freedom");
    bad.dof = NAN;
    expect_refused(&bad, NULL, 0.95, "degrees of freedom");
    expect_refused(NULL, crooked, 0.95, "symmetric");
    expect_refused(NULL, large, 0.95, "symmetric");
    expect_refused(NULL, diagonal, 0.95, "symmetric");
    expect_refused(NULL, nothing, 0.95, "symmetric");
    expect_refused(NULL, NULL, 1, "level");
    expect_refused(NULL, NULL, NAN, "level");
}

Test(budget, a_full_budget_takes_no_more)
{
    rg_budget b = {0};
    rg_contribution p = {.u = 1, .sensitivity = 1, .dof = 5};
    for (int i = 0; i < RG_BUDGET_MAX; i++)
        cr_assert_eq(rg_budget_add(&b, &p, NULL), RG_OK);
    cr_expect_eq(rg_budget_add(&b, &p, NULL), RG_INTERNAL);
    cr_assert_eq(rg_budget_combine(&b, NULL, 0.95, NULL), RG_OK);
    cr_expect_float_eq(b.u, sqrt(RG_BUDGET_MAX), 1e-12);
    cr_expect_float_eq(b.dof, 5.0 * RG_BUDGET_MAX, 1e-9);
}

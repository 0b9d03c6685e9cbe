/*
 * Tests of unit.h. Outside values: the inch is 25.4 mm exactly (NIST Special Publication 811, 2008,
 * appendix B.8, factors printed there as exact), g_n = 9.80665 m/s2 (3rd CGPM, 1901, declaration), so
 * 1 kgf = 9.80665 N exactly (SP 811, B.8), and the feeler sizes of common sets in thousandths of an inch.
 */
#include <criterion/criterion.h>
#include <float.h>
#include <math.h>

#include "rimglow/unit.h"

static void expect(double value, const char *from, const char *to, double wanted)
{
    double got = NAN;
    cr_expect(rg_unit_convert(value, from, to, &got), "%s to %s", from, to);
    cr_expect(fabs(got - wanted) <= 4 * DBL_EPSILON * fabs(wanted),
              "%.17g %s = %.17g %s, not %.17g", value, from, got, to, wanted);
}

Test(unit, conversions_are_those_of_the_definitions)
{
    expect(1, "inch", "mm", 25.4);
    expect(0.001, "in", "mm", 0.0254);
    expect(0.0015, "inch", "mm", 0.0381);
    expect(25.4, "mm", "inch", 1);
    expect(0.0254, "mm", "um", 25.4);
    expect(2.431, "kg", "g", 2431);
    expect(1, "kgf", "N", 9.80665);
    expect(1000, "gf", "N", 9.80665);
    expect(1, "gf", "mN", 9.80665);
    expect(9.80665, "N", "kgf", 1);
    expect(0.411879300, "N", "gf", 42); /* 42 * 0.00980665 by hand */
}

Test(unit, a_unit_is_itself_and_nothing_converts_across_kinds)
{
    double x = 7;
    expect(-3, "%", "%", -3);
    expect(12, "shore A", "shore A", 12);
    static const char *const pair[][2] = {{"g", "gf"},   {"g", "N"},   {"mm", "g"}, {"lb", "g"},
                                          {"g", "lb"},   {"MM", "mm"}, {"", "g"},   {"g", ""},
                                          {"mm ", "mm"}, {"oz", "gf"}, {"%", "g"}};
    for (size_t i = 0; i < sizeof pair / sizeof *pair; i++)
        cr_expect_not(rg_unit_convert(1, pair[i][0], pair[i][1], &x), "%s to %s", pair[i][0],
                      pair[i][1]);
    cr_expect_eq(x, 7);
    cr_expect(rg_unit_convert(1, "kg", "g", NULL));
}

Test(unit, an_uncertainty_that_is_not_stated_stays_so)
{
    double x = 0;
    cr_expect(rg_unit_convert(NAN, "inch", "mm", &x));
    cr_expect(isnan(x));
}

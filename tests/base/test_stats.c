/*
 * Tests of stats.h.
 * Quantiles, mean and deviations: numpy 1.24.2 on the same numbers.
 * Constant leading digits: NIST StRD, the one-way set "SmLs07" (Simon & Lesage 1989; certified
 * within-treatment variance 0.01). Circular means: R package circular on the roulette data of
 * Mardia and the tree data of Zar (the latter printed there as 99 degrees,
 * r = 0.82522).
 */
#include <criterion/criterion.h>
#include <math.h>

#include "rimglow/stats.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const double seven[] = {3.1, -2.0, 7.7, 0.25, 0.25, 11.0, -4.5};

Test(stats, quantiles_are_those_of_numpy)
{
    static const double q[] = {0, 0.05, 0.25, 0.5, 0.9, 1};
    static const double want[] = {-4.5, -3.75, -0.875, 0.25, 9.02, 11.0};
    for (size_t i = 0; i < COUNT(q); i++) {
        double work[7];
        for (int k = 0; k < 7; k++)
            work[k] = seven[k];
        cr_assert(fabs(rg_quantile_inplace(work, 7, q[i]) - want[i]) <= 1e-14);
    }
    double six[] = {3.1, -2.0, 7.7, 0.25, 0.25, 11.0};
    cr_assert(fabs(rg_quantile_inplace(six, 6, 0.75) - 6.55) <= 1e-14);
    cr_assert(fabs(rg_median_inplace(six, 6) - 1.675) <= 1e-14);
}

Test(stats, moments_are_those_of_numpy)
{
    cr_assert(fabs(rg_mean(seven, 7) - 2.257142857142857) <= 1e-14);
    cr_assert(fabs(rg_stdev(seven, 7) - 5.456069141441526) <= 1e-14);
    cr_assert(fabs(rg_rms(seven, 7) - 5.532695029162035) <= 1e-14);
    double work[] = {3.1, -2.0, 7.7, 0.25, 0.25, 11.0, -4.5};
    cr_assert(fabs(rg_mad_sigma_inplace(work, 7) - 4.22541) <= 1e-14);
}

Test(stats, thirteen_constant_digits_do_not_eat_the_variance)
{
    /* SmLs07, treatment 1: 1e12 + .4, then .3 and .5 ten times: variance .01 */
    double x[21] = {1000000000000.4};
    for (int i = 1; i < 21; i++)
        x[i] = i % 2 ? 1000000000000.3 : 1000000000000.5;
    /* the data themselves carry the rounding of 1e12 to 1.2e-4 */
    cr_assert(fabs(rg_stdev(x, 21) - 0.1) <= 1e-4);
    cr_assert(fabs(rg_mean(x, 21) - 1000000000000.4) <= 2e-4);
}

Test(stats, circular_mean_of_published_data)
{
    static const double roulette[] = {43, 45, 52, 61, 75, 88, 88, 279, 357};
    static const double trees[] = {45, 55, 81, 96, 110, 117, 132, 154};
    static const double turtles[] = {40, 303, 326, 285, 296, 314, 20, 308, 299, 296};
    double r;
    cr_assert(fabs(rg_circular_mean(roulette, 9, &r) - 51.0501771) <= 1e-7);
    cr_assert(fabs(r - 0.710990999) <= 1e-9);
    cr_assert(fabs(rg_circular_mean(trees, 8, &r) - 98.987752) <= 1e-6);
    cr_assert(fabs(r - 0.825217745) <= 1e-9);
    cr_assert(fabs(rg_circular_mean(turtles, 10, &r) - 317.23532) <= 1e-5);
    cr_assert(fabs(r - 0.81864963) <= 1e-8);
}

Test(stats, circular_mean_crosses_the_seam_and_knows_when_there_is_none)
{
    static const double seam[] = {350, 10}, opposite[] = {30, 210};
    double m = rg_circular_mean(seam, 2, NULL), r = 1;
    cr_assert(fmin(m, 360 - m) < 1e-9);
    cr_assert(m >= 0 && m < 360);
    cr_assert(isnan(rg_circular_mean(opposite, 2, &r)));
    cr_assert(r < 1e-9);
}

Test(stats, nothing_has_no_statistics)
{
    double one[] = {4}, r = 0;
    cr_assert(isnan(rg_mean(one, 0)) && isnan(rg_rms(one, 0)) && isnan(rg_stdev(one, 1)));
    cr_assert(isnan(rg_median_inplace(one, 0)) && isnan(rg_mad_sigma_inplace(one, 0)));
    cr_assert(isnan(rg_quantile_inplace(one, 1, 1.5)) && isnan(rg_quantile_inplace(one, 1, NAN)));
    cr_assert(isnan(rg_circular_mean(one, 0, &r)) && isnan(r));
    cr_assert(rg_median_inplace(one, 1) == 4);
}

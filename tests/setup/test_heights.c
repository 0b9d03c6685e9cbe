/*
 * Openings against bands and order. The guard band's cases are JCGM 106:2012, 8.3.2 and 8.3.3, by
 * hand; that openings grow down the body is common practice, no source. Changes are compared
 * with an exhaustive search over a grid, an algorithm that shares nothing with the one tested.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/heights.h"
#include "support/scene.h"

static const rg_heights_options plain = {.coverage_factor = 2, .least_growth_mm = 0};

static rg_height_key key_at(double opening, double target)
{
    return (rg_height_key){.name = "x",
                           .rests_open = true,
                           .measured = true,
                           .opening_mm = opening,
                           .u_mm = 0.04,
                           .target_mm = target,
                           .tolerance_mm = 0.3};
}

static rg_heights judge(const rg_height_key *key, int n)
{
    rg_heights h;
    rg_error err = {0};
    cr_assert_eq(rg_heights_judge(key, n, &plain, &h, &err), RG_OK, "%s", err.text);
    return h;
}

Test(heights, a_band_is_decided_only_beyond_the_expanded_uncertainty)
{
    /* Band 5.3 .. 5.9, U = 0.08. */
    const struct {
        double opening;
        rg_height_state state;
    } t[] = {{5.60, RG_HEIGHT_WITHIN}, {5.39, RG_HEIGHT_WITHIN}, {5.37, RG_HEIGHT_UNSURE},
             {5.23, RG_HEIGHT_UNSURE}, {5.21, RG_HEIGHT_LOW},    {5.81, RG_HEIGHT_WITHIN},
             {5.83, RG_HEIGHT_UNSURE}, {5.97, RG_HEIGHT_UNSURE}, {5.99, RG_HEIGHT_HIGH}};
    for (size_t i = 0; i < sizeof t / sizeof *t; i++) {
        rg_height_key k = key_at(t[i].opening, 5.6);
        rg_heights h = judge(&k, 1);
        cr_expect_eq(h.finding[0].state, t[i].state, "%g: %s", t[i].opening,
                     rg_height_state_name(h.finding[0].state));
    }
}

Test(heights, a_low_key_comes_to_the_guarded_band_and_no_further)
{
    rg_height_key k = key_at(5.1, 5.6);
    rg_heights h = judge(&k, 1);
    /* 5.3 + U. */
    cr_expect_float_eq(h.finding[0].after_mm, 5.38, 1e-9);
    cr_expect_float_eq(h.finding[0].change_mm, 0.28, 1e-9);
    cr_expect_eq(h.verdict, RG_HEIGHTS_BROKEN);
    k = key_at(5.1, 5.6);
    k.tolerance_mm = 0.05; /* narrower than U: the target itself */
    h = judge(&k, 1);
    cr_expect_float_eq(h.finding[0].after_mm, 5.6, 1e-9);
}

Test(heights, the_order_breaks_only_where_it_is_shown)
{
    /* U of a difference: 2 * 0.04 * sqrt(2) = 0.1131. */
    rg_height_key k[] = {key_at(5.6, 5.6), key_at(5.5, 5.6), key_at(5.8, 5.7), key_at(5.65, 5.7)};
    rg_heights h = judge(k, 4);
    cr_expect_eq(h.finding[0].order, RG_ORDER_NONE);
    cr_expect_eq(h.finding[1].order, RG_ORDER_UNSURE);
    cr_expect_eq(h.finding[2].order, RG_ORDER_KEPT);
    cr_expect_eq(h.finding[3].order, RG_ORDER_BROKEN);
    cr_expect_float_eq(h.finding[3].growth_expanded_mm, 0.113137, 1e-6);
    cr_expect_eq(h.broken, 1);
    cr_expect_eq(h.verdict, RG_HEIGHTS_BROKEN);
    /* One of the two moves by the whole difference; what was only unsure stays. */
    cr_expect_float_eq(h.change_sum_mm, 0.15, 1e-9);
    cr_expect_float_eq(h.finding[1].change_mm, 0, 1e-9);
    cr_expect_geq(h.finding[3].after_mm, h.finding[2].after_mm - 1e-9);
}

Test(heights, keys_that_rest_closed_and_unmeasured_ones_are_passed_over)
{
    rg_height_key k[] = {key_at(5.6, 5.6), key_at(3, 3), key_at(0, 5.6), key_at(5.9, 5.9)};
    k[1].rests_open = false;
    k[2].measured = false;
    rg_heights h = judge(k, 4);
    cr_expect_eq(h.finding[1].order, RG_ORDER_NONE);
    cr_expect_eq(h.finding[2].state, RG_HEIGHT_UNMEASURED);
    cr_expect(isnan(h.finding[2].after_mm));
    cr_expect_eq(h.finding[3].above, 0);
    cr_expect_eq(h.finding[3].order, RG_ORDER_KEPT);
    cr_expect_eq(h.verdict, RG_HEIGHTS_UNDECIDED, "an unmeasured key is never passed");
    h = judge(k, 1);
    cr_expect_eq(h.verdict, RG_HEIGHTS_KEPT);
}

Test(heights, a_key_without_a_band_is_held_to_the_order_alone)
{
    rg_height_key k[] = {key_at(5.6, 5.6), key_at(4.9, 5.7)};
    k[1].tolerance_mm = NAN;
    rg_heights h = judge(k, 2);
    cr_expect_eq(h.finding[1].state, RG_HEIGHT_NO_BAND);
    cr_expect_eq(h.finding[1].order, RG_ORDER_BROKEN);
    cr_expect_float_eq(h.change_sum_mm, 0.7, 1e-9);
}

Test(heights, targets_that_shrink_cannot_be_kept_with_the_order)
{
    rg_height_key k[] = {key_at(7, 7), key_at(5, 5)};
    rg_heights h = judge(k, 2);
    cr_expect(h.conflict);
    cr_expect_float_eq(h.change_sum_mm, 0, 1e-12);
    cr_expect_eq(h.verdict, RG_HEIGHTS_BROKEN);
}

/* All heights of a grid of 0.05 mm for four keys, keeping what the header promises. */
static double exhaustive(const rg_height_key *k, const rg_heights *h)
{
    enum { STEPS = 30 };
    double best = INFINITY, place[4][STEPS];
    int at[4];
    for (int i = 0; i < 4; i++)
        for (int s = 0; s < STEPS; s++)
            place[i][s] = 4.8 + 0.05 * s;
    for (long c = 0; c < (long)STEPS * STEPS * STEPS * STEPS; c++) {
        long rest = c;
        double sum = 0;
        bool good = true;
        for (int i = 0; i < 4; i++, rest /= STEPS) {
            at[i] = (int)(rest % STEPS);
            double v = place[i][at[i]], u = 2 * k[i].u_mm;
            bool out =
                h->finding[i].state == RG_HEIGHT_LOW || h->finding[i].state == RG_HEIGHT_HIGH;
            double low = k[i].target_mm - k[i].tolerance_mm + u;
            double high = k[i].target_mm + k[i].tolerance_mm - u;
            if (!out) {
                low = fmin(low, k[i].opening_mm);
                high = fmax(high, k[i].opening_mm);
            }
            good = good && v > low - 1e-6 && v < high + 1e-6;
            if (i > 0) {
                double has = k[i].opening_mm - k[i - 1].opening_mm;
                double least = h->finding[i].order == RG_ORDER_BROKEN ? 0 : fmin(0, has);
                good = good && v - place[i - 1][at[i - 1]] > least - 1e-6;
            }
            sum += fabs(v - k[i].opening_mm);
        }
        if (good)
            best = fmin(best, sum);
    }
    return best;
}

Test(heights, the_changes_are_the_smallest_there_are)
{
    test_random random = {7};
    int tried = 0;
    for (int n = 0; n < 12; n++) {
        rg_height_key k[4];
        for (int i = 0; i < 4; i++) {
            /* Everything on the grid: openings, targets, limits and U. */
            k[i] = key_at(4.8 + 0.05 * floor(30 * test_uniform(&random)), 5.4 + 0.05 * i);
            k[i].u_mm = 0.025;
        }
        rg_heights h = judge(k, 4);
        double best = exhaustive(k, &h);
        cr_expect_eq(h.conflict, !isfinite(best), "case %d", n);
        if (!h.conflict)
            cr_expect_float_eq(h.change_sum_mm, best, 1e-6, "case %d: %g, by search %g", n,
                               h.change_sum_mm, best);
        tried += !h.conflict && best > 0;
    }
    cr_expect_geq(tried, 8);
}

Test(heights, what_cannot_be_is_named)
{
    rg_height_key k = key_at(5, 5);
    rg_heights h;
    rg_error err = {0};
    k.u_mm = 0;
    k.name = "low C";
    cr_expect_eq(rg_heights_judge(&k, 1, &plain, &h, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "low C"), "%s", err.text);
    cr_expect_not_null(strstr(err.text, "uncertainty"), "%s", err.text);
    k = key_at(5, 0);
    cr_expect_eq(rg_heights_judge(&k, 1, &plain, &h, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "target"), "%s", err.text);
    k = key_at(NAN, 5);
    cr_expect_eq(rg_heights_judge(&k, 1, &plain, &h, &err), RG_BAD_DATA);
    k = key_at(5, 5);
    cr_expect_eq(rg_heights_judge(&k, 0, &plain, &h, &err), RG_BAD_DATA);
    cr_expect_eq(rg_heights_judge(&k, 65, &plain, &h, &err), RG_BAD_DATA);
    rg_heights_options bad = {.coverage_factor = 0, .least_growth_mm = 0};
    cr_expect_eq(rg_heights_judge(&k, 1, &bad, &h, &err), RG_BAD_DATA);
}

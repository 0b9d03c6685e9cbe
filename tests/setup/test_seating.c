/*
 * Tests of seating.h: maps made from formulas, through the shape's fit.
 */
#include "rimglow/seating.h"

#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "rimglow/vec.h"
#include "support/scene.h"
#include "support/shape.h"

/* max(0, mean + tilt cos(b - at)), dark below the limit. */
static rg_seal_map map_of(double mean, double tilt, double at, double u, double limit)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20, .verdict = RG_VERDICT_LEAKING};
    bool open = false;
    for (int b = 0; b < RG_BINS; b++) {
        double w = mean + tilt * cos(rg_radians(b - at));
        map.bin[b] = test_bin(b, w > limit ? w : 0, u, limit);
        open |= w > limit;
    }
    if (!open)
        map.verdict = RG_VERDICT_SEALED;
    return map;
}

static rg_seating seating_of(const rg_seal_map *map)
{
    rg_seating s;
    rg_error err;
    cr_assert_eq(rg_seating_measure(map, RG_PRESS_LIGHT, 0, &test_formula_options, &s, &err), RG_OK,
                 "%s", err.text);
    return s;
}

/* The clipped tilt of 0.02 and 0.05 mm towards 60 degrees, whose mean a plain fit takes for 0.027. */
Test(seating, a_clipped_tilt_gives_its_plane)
{
    rg_seal_map map = map_of(0.02, 0.05, 60, 0.001, 0.004);
    rg_seating s = seating_of(&map);
    cr_assert_eq(s.state, RG_SEATING_OPEN);
    cr_expect(s.tilt_known && isnan(s.grams));
    cr_expect_float_eq(s.mean_mm, 0.02, 5e-4);
    cr_expect_float_eq(s.tilt_mm[0], 0.05 * cos(rg_radians(60)), 5e-4);
    cr_expect_float_eq(s.tilt_mm[1], 0.05 * sin(rg_radians(60)), 1e-3);
    cr_expect(s.covariance[0][0] > 0 && s.covariance[1][1] > 0 && s.covariance[2][2] > 0);
    cr_expect_float_eq(rg_seating_u_mean(&s, 2), sqrt(s.covariance[0][0]), 1e-15);
    cr_expect_float_eq(s.widest_mm, 0.07, 1e-9);
    cr_expect_eq(s.widest_bearing_deg, 60);
    cr_expect_eq(s.u_widest_mm, 0.001);
    cr_expect_float_eq(s.limit_mm, 0.07 + 2 * 0.001, 1e-9);
}

Test(seating, a_dark_pad_is_in_contact_within_its_limit)
{
    rg_seal_map map = map_of(-0.03, 0.01, 60, 0.001, 0.006);
    rg_seating s = seating_of(&map);
    cr_assert_eq(s.state, RG_SEATING_CONTACT);
    cr_expect(s.mean_mm == 0 && !s.tilt_known);
    cr_expect_float_eq(s.limit_mm, 0.006, 1e-12);
    cr_expect_float_eq(rg_seating_u_mean(&s, 2), 0.003, 1e-12);
    cr_expect(s.widest_mm == 0 && isnan(s.widest_bearing_deg));
    cr_expect_float_eq(s.u_widest_mm, 0.003, 1e-12);
}

/* Dark bearings beside unseen ones are no contact: the plane may stand off where nobody looked. */
Test(seating, what_was_not_seen_is_never_contact)
{
    rg_seal_map map = map_of(-0.03, 0.01, 60, 0.001, 0.006);
    map.verdict = RG_VERDICT_UNDECIDED;
    for (int b = 100; b < 140; b++)
        map.bin[b] = (rg_bin){.bearing_deg = b,
                              .width_mm = NAN,
                              .u_mm = NAN,
                              .detection_limit_mm = INFINITY,
                              .state = RG_BIN_UNSEEN};
    rg_seating s = seating_of(&map);
    cr_expect_eq(s.state, RG_SEATING_UNSEEN);
    cr_expect(isnan(rg_seating_u_mean(&s, 2)));
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = map.bin[120];
    s = seating_of(&map);
    cr_expect(s.state == RG_SEATING_UNSEEN && isnan(s.widest_mm) && isnan(s.limit_mm));
}

/* A nick in a pad that is seated all round says nothing against contact. */
Test(seating, a_local_opening_leaves_the_plane_in_contact)
{
    rg_seal_map map = map_of(-0.03, 0, 0, 0.001, 0.006);
    map.verdict = RG_VERDICT_LEAKING;
    for (int b = 40; b < 50; b++) {
        map.bin[b].state = RG_BIN_GAP;
        map.bin[b].width_mm = 0.08;
        map.bin[b].u_mm = 0.001;
        map.bin[b].lit = 3;
    }
    rg_seating s = seating_of(&map);
    cr_expect_eq(s.state, RG_SEATING_CONTACT);
    cr_expect_float_eq(s.limit_mm, 0.006, 1e-12);
    cr_expect_float_eq(s.widest_mm, 0.08, 1e-12);
}

/* ------------------------------------------------------------------- tilts */

static rg_seating tilted(double x, double y, double xx, double xy, double yy)
{
    rg_seating s = {.state = RG_SEATING_OPEN, .tilt_known = true, .tilt_mm = {x, y}};
    s.covariance[0][0] = 1e-6;
    s.covariance[1][1] = xx;
    s.covariance[1][2] = s.covariance[2][1] = xy;
    s.covariance[2][2] = yy;
    return s;
}

/* By hand: two tilts, V = diag(1, 4) each: the mean is the middle, Q = d' (2 V)^-1 d with d = (3, 4):
 * 9 / 2 + 16 / 8 = 6.5; chi-square with 2 degrees of freedom has the tail exp(-q / 2). */
Test(seating, two_tilts_by_hand)
{
    rg_seating a = tilted(1, 1, 1, 0, 4), b = tilted(4, 5, 1, 0, 4), none = {0};
    const rg_seating *all[] = {&a, &none, &b};
    rg_tilt_spread r = rg_seating_tilts(all, 3);
    cr_assert(r.n == 2 && r.df == 2);
    cr_expect_float_eq(r.mean[0], 2.5, 1e-12);
    cr_expect_float_eq(r.mean[1], 3, 1e-12);
    cr_expect_float_eq(r.q, 6.5, 1e-12);
    cr_expect_float_eq(r.p, exp(-3.25), 1e-12);
    r = rg_seating_tilts(all, 2);
    cr_expect(r.n == 1 && isnan(r.q) && isnan(r.p));
}

/* Drawn from their own, different and correlated covariances, p is uniform: of 4000, 5 % below 0.05
 * within four binomial standard deviations. */
Test(seating, the_test_of_equal_tilts_keeps_its_level)
{
    enum { DRAWS = 4000, N = 6 };
    test_random random = {20261128};
    int below = 0;
    for (int d = 0; d < DRAWS; d++) {
        rg_seating s[N];
        const rg_seating *all[N];
        for (int i = 0; i < N; i++) {
            double sx = 0.002 + 0.003 * i, sy = 0.006 - 0.0008 * i, r = 0.15 * i;
            double x = test_normal(&random), y = r * x + sqrt(1 - r * r) * test_normal(&random);
            s[i] = tilted(0.02 + sx * x, -0.01 + sy * y, sx * sx, r * sx * sy, sy * sy);
            all[i] = &s[i];
        }
        below += rg_seating_tilts(all, N).p < 0.05;
    }
    double share = (double)below / DRAWS;
    cr_expect(fabs(share - 0.05) < 4 * sqrt(0.05 * 0.95 / DRAWS), "%.4f", share);
}

/* ----------------------------------------------------------------- fingers */

Test(seating, one_stated_finger)
{
    rg_seating a = {.press = RG_PRESS_GRAMS, .grams = 50}, b = a, c = {.press = RG_PRESS_LIGHT};
    const rg_seating *ab[] = {&a, &b}, *ac[] = {&a, &c}, *cc[] = {&c, &c};
    b.grams = 45.1;
    cr_expect(rg_seating_same_finger(ab, 2, 0.1));
    b.grams = 44.9;
    cr_expect(!rg_seating_same_finger(ab, 2, 0.1));
    cr_expect(!rg_seating_same_finger(ac, 2, 0.1));
    cr_expect(rg_seating_same_finger(cc, 2, 0.1));
    c.press = RG_PRESS_UNSTATED;
    cr_expect(!rg_seating_same_finger(cc, 2, 0.1), "unstated is not known to be the same");
}

Test(seating, more_sentences_than_fit_are_dropped)
{
    static rg_advice a;
    for (int i = 0; i < RG_ADVICE_MAX + 5; i++)
        rg_advise(&a, "line %d", i);
    cr_expect_eq(a.lines, RG_ADVICE_MAX);
    cr_expect_str_eq(a.line[RG_ADVICE_MAX - 1], "line 47");
}

/*
 * Tests of change.h: the formulas on profiles whose answer is known in closed form, and, drawn at
 * random with the stated u, how often an unchanged pad passes for changed. Measured maps with known gaps:
 * tests/edge/test_change_maps.c.
 */
#include <criterion/criterion.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/change.h"
#include "rimglow/vec.h"

static rg_error err;
static const rg_change_options plain = {.coverage_factor = 2, .turn_u_deg = 0, .min_arc_deg = 6};

typedef double shape(double bearing);

static void near(double value, double expected, double tolerance)
{
    cr_expect(fabs(value - expected) <= tolerance, "%.9g, expected %.9g", value, expected);
}

static void set_gap(rg_seal_map *map, int b, double width, double u)
{
    map->bin[b] = (rg_bin){.bearing_deg = b,
                           .width_mm = width,
                           .u_mm = u,
                           .detection_limit_mm = 0.008,
                           .frames = 5,
                           .lit = 3,
                           .state = RG_BIN_GAP};
}

static void set_dark(rg_seal_map *map, int b, double limit)
{
    map->bin[b] = (rg_bin){.bearing_deg = b,
                           .detection_limit_mm = limit,
                           .u_mm = limit / 3.29,
                           .frames = 5,
                           .state = RG_BIN_SEALED};
}

static void set_unseen(rg_seal_map *map, int b)
{
    map->bin[b] = (rg_bin){.bearing_deg = b,
                           .width_mm = NAN,
                           .u_mm = NAN,
                           .detection_limit_mm = 0.03,
                           .state = RG_BIN_UNSEEN};
}

/* Open where the shape is above 0, dark elsewhere. */
static rg_seal_map map_of(shape *width, double turn, double u)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++) {
        double w = width(b + turn);
        if (w > 0)
            set_gap(&map, b, w, u);
        else
            set_dark(&map, b, 0.008);
    }
    return map;
}

static rg_change change_of(const rg_seal_map *before, const rg_seal_map *after,
                           const rg_change_options *options)
{
    rg_change change;
    cr_assert_eq(rg_change_find(before, after, options, &change, &err), RG_OK, "%s", err.text);
    return change;
}

static double from_200(double bearing)
{
    return fabs(fmod(bearing + 720 - 200 + 180, 360) - 180);
}

static double none(double bearing)
{
    (void)bearing;
    return 0;
}

static double even(double bearing)
{
    (void)bearing;
    return 0.08;
}

/* 0.15 mm at 200 degrees, over 140 degrees. */
static double tilt(double bearing)
{
    return 0.15 * (1 - pow(from_200(bearing) / 70, 2));
}

/* A short gap with soft ends. */
static double crease(double bearing)
{
    return 0.1 * exp(-pow(from_200(bearing) / 5, 2) / 2) - 0.004;
}

/* The same with hard ends. */
static double step(double bearing)
{
    return from_200(bearing) < 20 ? 0.08 : 0;
}

static double all_round(double bearing)
{
    return 0.05 + 0.04 * cos(rg_radians(bearing));
}

/* Up and down by 0.001 mm a degree. */
static double roof(double bearing)
{
    return 0.2 - 0.001 * from_200(bearing);
}

static double parabola(double bearing)
{
    return 0.4 - 1e-5 * pow(from_200(bearing), 2);
}

/* -------------------------------------------------------------------- bins */

Test(change, uncertainties_of_both_visits_add_as_squares)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = map_of(even, 0, 0.004);
    b.bin[7].width_mm = 0.095;
    rg_change c = change_of(&a, &b, &plain);
    near(c.bin[7].change_mm, 0.015, 1e-15);
    near(c.bin[7].u_mm, 0.005, 1e-15);
    cr_expect_eq(c.bin[7].state, RG_CHANGE_GREW);
    cr_expect_eq(c.bin[8].state, RG_CHANGE_NONE);
    near(c.bin[8].change_mm, 0, 0);
}

/* JCGM 100, 5.1.2: a straight line turned by u gives |slope| u, each map for itself. */
Test(change, turn_counts_by_the_slope)
{
    rg_seal_map a = map_of(roof, 0, 0.003), b = map_of(even, 0, 0.004);
    static const double turn[] = {0.2, 1, 1.7, 4};
    for (int i = 0; i < 4; i++) {
        rg_change_options o = {2, turn[i], 6};
        rg_change c = change_of(&a, &b, &o);
        near(c.bin[100].u_mm, hypot(0.005, 0.001 * turn[i]), 1e-12);
        near(c.bin[300].u_mm, hypot(0.005, 0.001 * turn[i]), 1e-12);
        c = change_of(&b, &a, &o);
        near(c.bin[100].u_mm, hypot(0.005, 0.001 * turn[i]), 1e-12);
    }
}

/* w = w0 - a x^2, x normal about x0 with u: the mean square of w - w(x0) is 4 a^2 x0^2 u^2 + 3 a^2 u^4,
 * by the normal distribution's moments. */
Test(change, turn_counts_at_the_top_of_a_gap_too)
{
    rg_seal_map a = map_of(parabola, 0, 0.003), b = map_of(even, 0, 0.004);
    rg_change_options o = {2, sqrt(3), 6}; /* whole degrees are looked at: no interpolation */
    rg_change c = change_of(&a, &b, &o);
    static const int bearing[] = {200, 210, 150};
    for (int i = 0; i < 3; i++) {
        double x = bearing[i] - 200, t2 = 1e-10 * (4 * x * x * 3 + 3 * 9);
        near(c.bin[bearing[i]].u_mm, sqrt(25e-6 + t2), 1e-12);
    }
}

Test(change, turn_looks_to_the_side_that_was_seen)
{
    rg_seal_map a = map_of(roof, 0, 0.003), b = map_of(even, 0, 0.004);
    rg_change_options o = {2, 2, 6};
    for (int k = 104; k < 130; k++)
        set_unseen(&a, k);
    for (int k = 132; k < 140; k++)
        set_unseen(&a, k); /* 130 and 131 have unseen bearings on both sides */
    rg_change c = change_of(&a, &b, &o);
    cr_expect_eq(c.bin[120].state, RG_CHANGE_UNSEEN);
    near(c.bin[103].u_mm, hypot(0.005, 0.002), 0.0003);
    /* The worst of the map: nowhere steeper than the roof. */
    near(c.bin[130].u_mm, hypot(0.005, 0.002), 0.0003);
    cr_expect_gt(c.bin[130].u_mm, 0.0052);
    /* Flatter here than elsewhere: means of x^2 over 98..102 and 101..103, x from 200. */
    a = map_of(parabola, 0, 0.003);
    for (int k = 104; k < 140; k++)
        set_unseen(&a, k);
    o.turn_u_deg = sqrt(3);
    c = change_of(&a, &b, &o);
    near(c.bin[103].u_mm, hypot(0.005, 1e-5 * (10002 - 28814 / 3.0) / sqrt(3)), 1e-12);
}

/* Dark: 0 within the detection limit, of which k u makes U. */
Test(change, gap_in_the_dark_counts_beyond_the_detection_limit)
{
    rg_seal_map a = map_of(none, 0, 0), b = a;
    for (int k = 2; k <= 3; k++) {
        rg_change_options o = {k, 0, 1};
        double edge = sqrt(0.008 * 0.008 + k * k * 1e-6);
        set_gap(&b, 90, edge * 0.999, 0.001);
        set_gap(&b, 91, edge * 1.001, 0.001);
        rg_change c = change_of(&a, &b, &o);
        cr_expect_eq(c.bin[90].state, RG_CHANGE_NONE);
        cr_expect_eq(c.bin[91].state, RG_CHANGE_GREW);
        c = change_of(&b, &a, &o);
        cr_expect_eq(c.bin[90].state, RG_CHANGE_NONE);
        cr_expect_eq(c.bin[91].state, RG_CHANGE_SHRANK);
        cr_expect(c.bin[91].after_mm == 0 && c.bin[91].before_mm > 0);
        near(c.bin[200].u_mm, sqrt(2) * 0.008 / k, 1e-15);
    }
}

/* Sealed, but with light: measured, not dark. */
Test(change, faint_light_below_a_gap_is_measured)
{
    rg_seal_map a = map_of(none, 0, 0), b = a;
    b.bin[5].width_mm = 0.003;
    b.bin[5].u_mm = 0.002;
    b.bin[5].lit = 1;
    rg_change c = change_of(&a, &b, &plain);
    near(c.bin[5].after_mm, 0.003, 0);
    near(c.bin[5].u_mm, hypot(0.004, 0.002), 1e-15);
}

Test(change, what_was_not_seen_is_not_compared)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = a;
    set_unseen(&a, 10);
    set_unseen(&b, 11);
    set_dark(&b, 12, INFINITY);
    b.bin[13].blocked = true;
    b.bin[14].width_mm = NAN;
    a.bin[15].u_mm = INFINITY;
    b.bin[16].detection_limit_mm = INFINITY; /* of a gap it says nothing */
    rg_change c = change_of(&a, &b, &plain);
    for (int k = 10; k <= 15; k++)
        cr_expect(c.bin[k].state == RG_CHANGE_UNSEEN && isnan(c.bin[k].change_mm) &&
                      isnan(c.bin[k].u_mm),
                  "%d", k);
    cr_expect_eq(c.bin[16].state, RG_CHANGE_NONE);
    cr_expect_eq(c.comparable, 354);
    cr_expect_eq(c.overall, RG_CHANGE_NONE);
    cr_expect_str_eq(rg_change_state_name(c.bin[10].state), "not comparable");
}

Test(change, nothing_in_common_is_no_result)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = a;
    for (int k = 0; k < RG_BINS; k++)
        set_unseen(k % 2 ? &a : &b, k);
    rg_change c = change_of(&a, &b, &plain);
    cr_expect(c.comparable == 0 && c.arcs == 0 && c.overall == RG_CHANGE_UNSEEN);
    cr_expect(isnan(c.mean_change_mm) && isnan(c.u_mean_change_mm) && isnan(c.turn_deg));
}

/* -------------------------------------------------------------------- arcs */

static void widen(rg_seal_map *map, int first, int count, double by)
{
    for (int k = first; k < first + count; k++)
        map->bin[(k + RG_BINS) % RG_BINS].width_mm += by;
}

Test(change, arcs_run_over_the_seam)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = a;
    widen(&b, -4, 10, 0.03);
    widen(&b, 2, 1, 0.01);
    widen(&b, 100, 20, -0.05);
    rg_change c = change_of(&a, &b, &plain);
    cr_assert_eq(c.arcs, 2);
    /* by start: 99.5 before 355.5 */
    cr_expect_eq(c.arc[0].state, RG_CHANGE_SHRANK);
    near(c.arc[0].start_deg, 99.5, 0);
    near(c.arc[0].end_deg, 119.5, 0);
    near(c.arc[0].most_mm, -0.05, 1e-12);
    cr_expect_eq(c.arc[1].state, RG_CHANGE_GREW);
    near(c.arc[1].start_deg, 355.5, 0);
    near(c.arc[1].end_deg, 5.5, 0);
    near(c.arc[1].extent_deg, 10, 0);
    near(c.arc[1].most_mm, 0.04, 1e-12);
    near(c.arc[1].u_most_mm, 0.003 * sqrt(2), 1e-12);
    near(c.arc[1].most_bearing_deg, 2, 0);
    cr_expect_eq(c.overall, RG_CHANGE_GREW, "wider counts before narrower");
    cr_expect_eq(change_of(&b, &a, &plain).overall, RG_CHANGE_GREW, "in either order");
}

Test(change, short_arcs_do_not_count)
{
    rg_seal_map a = map_of(even, 0, 0.003);
    for (int n = 4; n <= 7; n++) {
        rg_seal_map b = a;
        widen(&b, 300, n, -0.05);
        rg_change c = change_of(&a, &b, &plain);
        cr_expect_eq(c.arcs, n >= 6, "%d degrees", n);
        cr_expect_eq(c.overall, n >= 6 ? RG_CHANGE_SHRANK : RG_CHANGE_NONE);
        cr_expect_eq(c.bin[300].state, RG_CHANGE_SHRANK, "the bearing itself is still told");
    }
}

Test(change, all_round_is_one_arc)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = a;
    widen(&b, 0, 360, 0.03);
    rg_change c = change_of(&a, &b, &plain);
    cr_assert_eq(c.arcs, 1);
    cr_expect(c.arc[0].start_deg == 0 && c.arc[0].end_deg == 360 && c.arc[0].extent_deg == 360);
}

/* Bonferroni at k = 2: 2 (1 - Phi(2)) / 360 each. NormalDist().inv_cdf of Python 3.11 gives
 * 3.833389436; for 202 bearings 3.688873885; for k = 3 and 360 4.478997719. */
Test(change, somewhere_an_arc_must_stand_out)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = a, few;
    double u = 0.003 * sqrt(2);
    rg_change c = change_of(&a, &b, &plain);
    near(c.arc_factor, 3.833389436, 1e-8);
    rg_change_options three = {3, 0, 6};
    near(change_of(&a, &b, &three).arc_factor, 4.478997719, 1e-8);
    few = a;
    for (int k = 202; k < 360; k++)
        set_unseen(&few, k);
    near(change_of(&few, &b, &plain).arc_factor, 3.688873885, 1e-8);
    widen(&b, 40, 30, 3 * u);
    c = change_of(&a, &b, &plain);
    cr_expect(c.arcs == 0 && c.bin[50].state == RG_CHANGE_GREW);
    widen(&b, 60, 1, 0.82 * u);
    cr_expect_eq(change_of(&a, &b, &plain).arcs, 0);
    widen(&b, 60, 1, 0.03 * u);
    c = change_of(&a, &b, &plain);
    cr_assert_eq(c.arcs, 1);
    near(c.arc[0].extent_deg, 30, 0);
}

Test(change, a_full_list_keeps_the_longest_arcs)
{
    rg_change_options o = {2, 0, 1};
    rg_seal_map a = map_of(even, 0, 0.001), b = a;
    for (int k = 0; k < 72; k++)
        widen(&b, 5 * k, k < 60 ? 1 : 3, k % 2 ? 0.05 : -0.05);
    rg_change c = change_of(&a, &b, &o);
    cr_assert_eq(c.arcs, RG_CHANGE_ARCS_MAX);
    int longer = 0;
    for (int i = 0; i < c.arcs; i++) {
        longer += c.arc[i].extent_deg == 3;
        cr_expect(i == 0 || c.arc[i].start_deg > c.arc[i - 1].start_deg);
    }
    cr_expect_eq(longer, 12);
}

/* Everything changes its sign with the order of the visits. */
Test(change, swapped_visits_are_the_opposite)
{
    rg_change_options o = {2, 1.5, 6};
    rg_seal_map a = map_of(tilt, 0, 0.003), b = map_of(crease, 3, 0.002);
    set_unseen(&a, 190);
    rg_change c = change_of(&a, &b, &o), d = change_of(&b, &a, &o);
    cr_assert_eq(c.arcs, d.arcs);
    cr_assert_gt(c.arcs, 0);
    for (int k = 0; k < RG_BINS; k++)
        cr_expect(isnan(c.bin[k].change_mm) ? isnan(d.bin[k].change_mm)
                                            : c.bin[k].change_mm == -d.bin[k].change_mm);
    for (int i = 0; i < c.arcs; i++)
        cr_expect(c.arc[i].state != d.arc[i].state && c.arc[i].most_mm == -d.arc[i].most_mm);
}

Test(change, mean_earns_nothing_by_the_number_of_bearings)
{
    rg_seal_map a = map_of(even, 0, 0.003), b = map_of(even, 0, 0.004);
    widen(&b, 0, 90, 0.02);
    rg_change c = change_of(&a, &b, &plain);
    near(c.mean_change_mm, 0.005, 1e-12);
    near(c.u_mean_change_mm, 0.005, 1e-12);
    for (int k = 180; k < 360; k++)
        set_unseen(&a, k);
    c = change_of(&a, &b, &plain);
    near(c.mean_change_mm, 0.01, 1e-12);
    near(c.u_mean_change_mm, 0.005, 1e-12);
}

/* -------------------------------------------------------------------- turn */

Test(change, turn_between_the_visits_is_found)
{
    static shape *const gap[] = {tilt, crease, step, all_round};
    static const double turn[] = {0, 7, -12, 2.4, -0.3, 29};
    for (int g = 0; g < 4; g++)
        for (int i = 0; i < 6; i++) {
            rg_seal_map a = map_of(gap[g], 0, 0.003), b = map_of(gap[g], turn[i], 0.003);
            /* b(x) = a(x + turn) */
            rg_change c = change_of(&a, &b, &plain);
            near(c.turn_deg, turn[i], gap[g] == step ? 0.6 : 0.25);
        }
}

Test(change, no_turn_without_gaps_alike)
{
    rg_seal_map dark = map_of(none, 0, 0), a = map_of(tilt, 0, 0.003), b = map_of(even, 0, 0.003);
    rg_seal_map far = map_of(crease, 120, 0.003), half = a, other = map_of(crease, 0, 0.003);
    for (int k = 10; k < 50; k++)
        set_gap(&other, k, 0.1, 0.003);
    cr_expect(isnan(change_of(&dark, &a, &plain).turn_deg));
    cr_expect(isnan(change_of(&a, &dark, &plain).turn_deg));
    cr_expect(isnan(change_of(&b, &b, &plain).turn_deg), "the same all round");
    cr_expect(isnan(change_of(&a, &far, &plain).turn_deg), "gaps at different places");
    cr_expect(isnan(change_of(&a, &other, &plain).turn_deg), "hardly alike at any turn");
    for (int k = 0; k < 185; k++)
        set_unseen(&half, k);
    cr_expect(isnan(change_of(&a, &half, &plain).turn_deg), "too little in common");
}

/* ------------------------------------------------------------------ chance */

/* Normal errors of standard deviation 1, alike over about `length` degrees. */
static void draw_errors(gsl_rng *rng, int length, double z[RG_BINS])
{
    double white[RG_BINS];
    for (int b = 0; b < RG_BINS; b++)
        white[b] = gsl_ran_ugaussian(rng);
    for (int b = 0; b < RG_BINS; b++) {
        z[b] = 0;
        for (int k = 0; k < length; k++)
            z[b] += white[(b + k) % RG_BINS] / sqrt(length);
    }
}

/* A visit: the crown is off by turn_u, each gap by u that neighbours share over `length`. */
static rg_seal_map draw_visit(gsl_rng *rng, shape *gap, double turn_u, double u, int length)
{
    double z[RG_BINS];
    rg_seal_map map = map_of(gap, turn_u * gsl_ran_ugaussian(rng), u);
    draw_errors(rng, length, z);
    for (int b = 0; b < RG_BINS; b++)
        if (map.bin[b].state == RG_BIN_GAP)
            map.bin[b].width_mm += u * z[b];
    return map;
}

static double share_changed(gsl_rng *rng, shape *gap, double turn_u, int length, int pairs)
{
    rg_change_options o = {2, turn_u, 6};
    int changed = 0;
    for (int i = 0; i < pairs; i++) {
        rg_seal_map a = draw_visit(rng, gap, turn_u, 0.003, length);
        rg_seal_map b = draw_visit(rng, gap, turn_u, 0.003, length);
        changed += change_of(&a, &b, &o).arcs > 0;
    }
    return (double)changed / pairs;
}

/* Bonferroni promises 4.55 % at most: 2 (1 - Phi(2)). Of 2000 pairs of each kind, with errors alike over
 * 1, 6, 12, 30 and 360 degrees, up to 2.6 % showed a change (gaps all round, 6 degrees). */
static void expect_few_changed(double turn_u)
{
    static shape *const gap[] = {even, tilt, crease, step, all_round};
    static const int length[] = {6, 30};
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    for (int g = 0; g < 5; g++)
        for (int l = 0; l < 2; l++) {
            double share = share_changed(rng, gap[g], turn_u, length[l], 200);
            cr_expect_leq(share, 0.0455, "gap %d, alike over %d degrees: %.2f %%", g, length[l],
                          100 * share);
        }
    gsl_rng_free(rng);
}

Test(change, an_unchanged_pad_is_rarely_called_changed, .timeout = 120)
{
    expect_few_changed(0);
}

Test(change, a_crown_set_anew_is_rarely_called_change, .timeout = 120)
{
    expect_few_changed(1.5);
}

/* 0.03 mm more over 20 degrees, u 0.003 mm each time. */
Test(change, real_growth_is_found, .timeout = 60)
{
    static shape *const gap[] = {even, none, tilt};
    static const int from[] = {190, 10, 190}; /* tilt: at its widest, where the turn counts least */
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    rg_change_options o = {2, 1.5, 6};
    for (int g = 0; g < 3; g++) {
        int found = 0;
        for (int i = 0; i < 300; i++) {
            rg_seal_map a = draw_visit(rng, gap[g], 0, 0.003, 12);
            rg_seal_map b = draw_visit(rng, gap[g], 0, 0.003, 12);
            for (int k = from[g]; k < from[g] + 20; k++)
                set_gap(&b, k, (b.bin[k].state == RG_BIN_GAP ? b.bin[k].width_mm : 0) + 0.03,
                        0.003);
            rg_change c = change_of(&a, &b, &o);
            for (int n = 0; n < c.arcs; n++)
                if (c.arc[n].state == RG_CHANGE_GREW && c.arc[n].most_bearing_deg >= from[g] &&
                    c.arc[n].most_bearing_deg < from[g] + 20) {
                    found++;
                    break;
                }
        }
        cr_expect_geq(found, 294, "gap %d: found %d of 300", g, found);
    }
    gsl_rng_free(rng);
}

/* -------------------------------------------------------------------- door */

Test(change, options_out_of_range_are_refused)
{
    static const struct {
        rg_change_options o;
        const char *word;
    } row[] = {{{0, 1, 6}, "coverage factor"},  {{NAN, 1, 6}, "coverage factor"},
               {{-2, 1, 6}, "coverage factor"}, {{7, 1, 6}, "coverage factor"},
               {{2, -0.1, 6}, "turn"},          {{2, NAN, 6}, "turn"},
               {{2, INFINITY, 6}, "turn"},      {{2, 1, 0}, "shortest arc"},
               {{2, 1, NAN}, "shortest arc"},   {{2, 1, 361}, "shortest arc"}};
    rg_seal_map a = map_of(even, 0, 0.003);
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_change c;
        cr_expect_eq(rg_change_find(&a, &a, &row[i].o, &c, &err), RG_BAD_DATA, "%zu", i);
        cr_expect(strstr(err.text, row[i].word) != NULL, "%s", err.text);
        cr_expect(c.arcs == 0 && c.overall == RG_CHANGE_UNSEEN);
    }
}

Test(change, maps_of_different_rims_are_refused)
{
    static const double diameter[] = {20, 20.39, 20.42, 19.6, 19.5, 0, -20, NAN, INFINITY};
    rg_seal_map a = map_of(even, 0, 0.003), b = a;
    rg_change c;
    for (int i = 0; i < 9; i++) {
        b.rim_outer_diameter_mm = diameter[i];
        bool alike = i == 0 || i == 1 || i == 3;
        cr_expect_eq(rg_change_find(&a, &b, &plain, &c, &err), alike ? RG_OK : RG_BAD_DATA, "%g",
                     diameter[i]);
        cr_expect(alike || strstr(err.text, "diameters") != NULL);
    }
}

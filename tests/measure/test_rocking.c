/*
 * Tests of rocking.h. Chords come from walking a ray through circles, open
 * heights from where a ray passes a slot of two parallel discs; the detection
 * limit is Currie's 3.29 sigma (Anal. Chem. 40 (1968) 586-593); uncertainty is
 * proved by sampling.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/rocking.h"
#include "support/scene.h"
#include "support/setup.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* The sample pad: land 1 mm, overhang 1.5 mm, so D = 2.5 mm. */
static const rg_slot_geometry pad = {.inner_mm = 9, .outer_mm = 10, .pad_mm = 11.5};
static const rg_slot_geometry shiny = {
    .inner_mm = 9, .outer_mm = 10, .pad_mm = 11.5, .land_reflectance = 0.8};

static double degrees(double d)
{
    return d * RG_PI / 180;
}

/* ---------------------------------------------------------------- chords */
/* Distance along (dx, dy) from (10, 0) to the circle of this radius, by
 * bisection between a point on one side of it and one on the other. */
static double walk(double dx, double dy, double radius, double far)
{
    double near = 0;
    bool start = hypot(10, 0) < radius;
    for (int i = 0; i < 200; i++) {
        double mid = (near + far) / 2;
        if ((hypot(10 + mid * dx, mid * dy) < radius) == start)
            near = mid;
        else
            far = mid;
    }
    return near;
}

Test(rocking, chords_are_those_of_a_ray_walked_through_the_circles)
{
    for (double o = -60; o <= 60; o += 7.5) {
        double land, over, dx = cos(degrees(o)), dy = sin(degrees(o));
        cr_assert(rg_slot_chords(&pad, degrees(o), &land, &over));
        /* Inwards the nearest point to the axis is at 10 cos o. */
        double expected = walk(-dx, -dy, 9, 10 * dx);
        cr_assert_float_eq(land, expected, 1e-9, "o %g: land %g, walked %g", o, land, expected);
        expected = walk(dx, dy, 11.5, 50);
        cr_assert_float_eq(over, expected, 1e-9, "o %g: overhang %g, walked %g", o, over, expected);
    }
}

Test(rocking, straight_chords_are_land_and_overhang_and_grow_with_obliquity)
{
    double land, over, last_land = 0;
    cr_assert(rg_slot_chords(&pad, 0, &land, &over));
    cr_assert_float_eq(land, 1, 1e-12);
    cr_assert_float_eq(over, 1.5, 1e-12);
    for (double o = 0; o < 64; o += 4) {
        cr_assert(rg_slot_chords(&pad, degrees(o), &land, &over));
        cr_assert_gt(land, last_land);
        last_land = land;
    }
}

Test(rocking, no_ray_passes_beside_the_hole)
{
    double land, over;
    /* asin(9 / 10) = 64.16 degrees */
    cr_assert(rg_slot_chords(&pad, degrees(64.1), &land, &over));
    cr_assert_not(rg_slot_chords(&pad, degrees(64.2), &land, &over));
    cr_assert_not(rg_slot_chords(&pad, degrees(-64.2), &land, &over));
    cr_assert_not(rg_slot_chords(&pad, degrees(120), &land, &over));
    cr_assert_not(rg_slot_chords(&pad, degrees(180), &land, &over));
    cr_assert_eq(rg_slot_open(&pad, 0.1, 0, 0, degrees(70)), 0);
}

/* ---------------------------------------------------------- open heights */
/* Elevation at which a gap of this width just goes dark from above. */
static double dark_from(const rg_slot_geometry *g, double width)
{
    double e = 0;
    while (e < 10 && rg_slot_open(g, width, tan(degrees(e)), tan(degrees(e)), 0) > 0)
        e += 0.001;
    return e;
}

Test(rocking, thin_gaps_go_dark_at_the_elevations_measured_on_frames)
{
    /* Measured on path-traced frames with D = 2.5 mm: 0.05 mm is dark beyond
     * about 1.1 degrees, 0.02 mm beyond about 0.5. */
    cr_assert_float_eq(dark_from(&pad, 0.05), 1.1, 0.06, "%g", dark_from(&pad, 0.05));
    cr_assert_float_eq(dark_from(&pad, 0.02), 0.5, 0.06, "%g", dark_from(&pad, 0.02));
}

Test(rocking, in_its_own_plane_a_slot_stands_fully_open)
{
    for (double o = -60; o <= 60; o += 20)
        cr_assert_float_eq(rg_slot_open(&pad, 0.07, 0, 0, degrees(o)), 0.07, 1e-12);
}

Test(rocking, flanks_fall_by_the_chords)
{
    /* From above, land and overhang both hide; from below, the land's chord
     * alone: the pad's edge lies outside the land's, out of the way. */
    cr_assert_float_eq(rg_slot_open(&pad, 0.1, 0.01, 0.01, 0), 0.1 - 0.01 * 2.5, 1e-12);
    cr_assert_float_eq(rg_slot_open(&pad, 0.1, -0.01, -0.01, 0), 0.1 - 0.01 * 1, 1e-12);
    double land, over, o = degrees(45);
    rg_slot_chords(&pad, o, &land, &over);
    cr_assert_float_eq(rg_slot_open(&pad, 0.1, 0.01, 0.01, o), 0.1 - 0.01 * (land + over), 1e-12);
    cr_assert_eq(rg_slot_open(&pad, 0.02, 0.05, 0.05, 0), 0);
}

/* Range of heights at which a straight ray of this slope passes: above the
 * land over [-1, 0], below the pad over [-1, 1.5] and below its bulge over
 * [0.35, 1.5], on a fine grid of places. */
static double clearance(double width, double slope, double bulge)
{
    double low = -1, high = 1;
    for (int i = 0; i <= 2500; i++) {
        double x = -1 + i / 1000.0, roof = x >= 0.35 - 1e-9 ? width - bulge : width;
        if (x <= 1e-9)
            low = fmax(low, -slope * x);
        high = fmin(high, roof - slope * x);
    }
    return fmax(high - low, 0);
}

Test(rocking, open_height_is_the_room_that_a_straight_ray_finds)
{
    for (double bulge = 0; bulge < 0.05; bulge += 0.02)
        for (double slope = -0.06; slope <= 0.02; slope += 0.0025) {
            rg_slot_geometry g = pad;
            g.bulge_mm = bulge;
            g.shoulder_mm = 0.35;
            double h = rg_slot_open(&g, 0.08, slope, slope, 0), c = clearance(0.08, slope, bulge);
            cr_assert_float_eq(h, c, 1e-9, "bulge %g slope %g: %g, room %g", bulge, slope, h, c);
        }
}

Test(rocking, a_polished_land_gives_back_its_share)
{
    cr_assert_float_eq(rg_slot_open(&shiny, 0.1, 0.01, 0.01, 0), 0.1 - 0.01 * (1.5 + 0.2), 1e-12);
    cr_assert_float_eq(rg_slot_open(&shiny, 0.1, -0.01, -0.01, 0), 0.1 - 0.01, 1e-12);
}

Test(rocking, a_glowing_pad_lets_a_look_from_below_reach_further_in)
{
    rg_slot_geometry g = pad;
    g.pad_glow = 0.15;
    cr_assert_float_eq(rg_slot_open(&g, 0.1, -0.01, -0.01, 0), 0.1 - 0.01 * 0.85, 1e-12);
    cr_assert_float_eq(rg_slot_open(&g, 0.1, 0.01, 0.01, 0), 0.1 - 0.01 * 2.5, 1e-12);
    /* but no limit may rest on it */
    rg_observation obs = {.u_mm = 0.001, .slope_pad = -0.006, .slope_rim = -0.006};
    rg_setup s;
    double shut[360] = {0};
    test_setup(&s);
    cr_assert_float_eq(rg_rocking_limit(&g, 30, &obs, 1, &s.options.rocking, shut), 0.00329 + 0.006,
                       1e-12);
}

Test(rocking, width_for_a_height_is_the_inverse_of_open_height)
{
    for (double s = -0.015; s <= 0.015; s += 0.003)
        for (double o = -60; o <= 60; o += 30) {
            double h = 0.013, w = rg_slot_width_for(&shiny, h, s, s + 0.004, degrees(o));
            cr_assert_float_eq(rg_slot_open(&shiny, w, s, s + 0.004, degrees(o)), h, 1e-12);
            double closed = rg_slot_width_for(&shiny, 0, s, s + 0.004, degrees(o));
            cr_assert_eq(rg_slot_open(&shiny, closed, s, s + 0.004, degrees(o)), 0);
            cr_assert_gt(rg_slot_open(&shiny, closed + 1e-6, s, s + 0.004, degrees(o)), 0);
        }
}

/* ------------------------------------------------------------------- fit */
static rg_rocking_options usual(void)
{
    rg_setup s;
    test_setup(&s);
    return s.options.rocking;
}

/* The header's slot, written again: straight ahead, land 1, overhang 1.5. */
static double open_height(double width, double slope, double reflectance)
{
    double hidden = slope > 0 ? slope * (1.5 + (1 - reflectance) * 1.0) : -slope * 1.0;
    return width > hidden ? width - hidden : 0;
}

enum { FRAMES = 9 };
static const double slopes[FRAMES] = {-0.014, -0.01, -0.006, -0.002, 0, 0.002, 0.006, 0.01, 0.014};

static void observe(double width, double u, test_random *random, rg_observation *obs)
{
    for (int i = 0; i < FRAMES; i++) {
        double h = open_height(width, slopes[i], 0.8);
        double noise = random ? u * test_normal(random) : 0;
        obs[i] = (rg_observation){.frame = i,
                                  .height_mm = h + noise,
                                  .u_mm = u,
                                  .slope_pad = slopes[i],
                                  .slope_rim = slopes[i],
                                  .lit = h > 0};
    }
}

static rg_rocking_fit solve(const rg_observation *obs, int n)
{
    rg_rocking_options o = usual();
    rg_rocking_fit fit;
    rg_rocking_solve(&shiny, obs, n, &o, &fit);
    return fit;
}

Test(rocking, exact_observations_give_the_exact_width)
{
    static const double width[] = {0.008, 0.02, 0.05, 0.1, 0.3};
    for (size_t k = 0; k < COUNT(width); k++) {
        rg_observation obs[FRAMES];
        observe(width[k], 0.0005, NULL, obs);
        rg_rocking_fit fit = solve(obs, FRAMES);
        cr_assert_float_eq(fit.width_mm, width[k], 1e-9, "%g gives %.12g", width[k], fit.width_mm);
        cr_assert_eq(fit.frames, FRAMES);
        cr_assert_gt(fit.used, 0);
    }
}

Test(rocking, every_frame_alone_gives_the_width_it_saw)
{
    rg_observation obs[FRAMES];
    observe(0.05, 0.0005, NULL, obs);
    for (int i = 0; i < FRAMES; i++)
        cr_assert_float_eq(solve(&obs[i], 1).width_mm, 0.05, 1e-9, "frame %d", i);
}

Test(rocking, frames_that_look_through_to_darkness_do_not_pull_the_width_down)
{
    rg_observation obs[FRAMES];
    observe(0.05, 0.0005, NULL, obs);
    for (int i = 0; i < FRAMES; i += 2)
        obs[i].height_mm = 0, obs[i].lit = false;
    rg_rocking_fit fit = solve(obs, FRAMES);
    cr_assert_float_eq(fit.width_mm, 0.05, 1e-6, "%g", fit.width_mm);
    cr_assert_eq(fit.lit, FRAMES / 2);
}

Test(rocking, one_frame_with_stray_light_does_not_make_a_gap_of_many_dark_ones)
{
    /* Eight frames that would show 0.06 mm saw nothing, one saw light of it:
     * missing light costs at most 8 each, surplus at most 25. */
    rg_observation obs[FRAMES];
    observe(0.06, 0.0005, NULL, obs);
    for (int i = 0; i < FRAMES; i++)
        if (i != 4)
            obs[i].height_mm = 0, obs[i].lit = false;
    rg_rocking_fit fit = solve(obs, FRAMES);
    cr_assert_float_eq(fit.width_mm, 0, 1e-9);
}

Test(rocking, flux_without_slot_light_proposes_no_width)
{
    rg_observation obs[FRAMES];
    observe(0.05, 0.0005, NULL, obs);
    for (int i = 0; i < FRAMES; i++)
        obs[i].lit = false;
    cr_assert_eq(solve(obs, FRAMES).width_mm, 0);
}

Test(rocking, only_dark_frames_give_no_width)
{
    rg_observation obs[FRAMES];
    observe(0, 0.001, NULL, obs);
    rg_rocking_fit fit = solve(obs, FRAMES);
    cr_assert_eq(fit.width_mm, 0);
    cr_assert_eq(fit.lit, 0);
    cr_assert_eq(fit.used, 0);
}

/* ---------------------------------------------------------------- limit */
/* The limit at bearing 30 when every other bearing may be open by so much. */
static double limit(const rg_observation *obs, int n, double open)
{
    rg_rocking_options o = usual();
    double far[360];
    for (int b = 0; b < 360; b++)
        far[b] = open;
    return rg_rocking_limit(&shiny, 30, obs, n, &o, far);
}

Test(rocking, detection_limit_is_currie_s_plus_what_the_elevation_hides)
{
    rg_observation obs[FRAMES];
    observe(0, 0.001, NULL, obs);
    /* From above the far wall is lit behind the gap, whatever stands open
     * there; full depth 2.5 mm, no credit for reflection. */
    cr_assert_float_eq(limit(obs + 6, 3, INFINITY), 0.00329 + 0.006 * 2.5, 1e-12);
    /* The best frame counts: a sharper look from further off can win. */
    obs[7].u_mm = 0.0001;
    cr_assert_float_eq(limit(obs + 7, 2, INFINITY), 0.000329 + 0.01 * 2.5, 1e-12);
    /* From below the land's chord alone hides. */
    cr_assert_float_eq(limit(obs, 3, 0), 0.00329 + 0.006 * 1, 1e-12);
}

Test(rocking, a_place_that_leaves_the_slope_open_costs_detection_on_its_worse_side)
{
    rg_observation obs[FRAMES];
    observe(0, 0.001, NULL, obs);
    double sure = limit(obs + 6, 1, 0);
    obs[6].u_place = 0.002;
    /* Two of it towards the camera, over the full depth. */
    cr_expect_float_eq(limit(obs + 6, 1, 0), sure + 2 * 0.002 * 2.5, 1e-12);
    /* From below the rays may be steeper still: the land's chord. */
    sure = limit(obs, 1, 0);
    obs[0].u_place = 0.002;
    cr_expect_float_eq(limit(obs, 1, 0), sure + 2 * 0.002 * 1, 1e-12);
    /* In the plane the worse side is above. */
    obs[4].u_place = 0.002;
    cr_expect_float_eq(limit(&obs[4], 1, 0), 0.00329 + 2 * 0.002 * 2.5, 1e-12);
}

Test(rocking, frames_that_disagree_by_what_the_place_leaves_open_still_agree)
{
    rg_observation obs[FRAMES];
    rg_rocking_options o = usual();
    rg_rocking_fit sure, open;
    observe(0.08, 0.0005, NULL, obs);
    for (int i = 0; i < FRAMES; i++) {
        obs[i].lit = true;
        obs[i].height_mm += i % 2 ? 0.004 : -0.004;
    }
    rg_rocking_solve(&pad, obs, FRAMES, &o, &sure);
    for (int i = 0; i < FRAMES; i++)
        obs[i].u_place = 0.003; /* 0.0075 mm over the depth */
    rg_rocking_solve(&pad, obs, FRAMES, &o, &open);
    cr_expect_lt(open.cost, 0.5 * sure.cost, "%g of %g", open.cost, sure.cost);
}

Test(rocking, the_error_of_one_jig_does_not_shrink_with_the_number_of_frames)
{
    rg_observation few[FRAMES], many[4 * FRAMES];
    rg_rocking_options o = usual();
    rg_rocking_fit a, b;
    observe(0.08, 0.001, NULL, few);
    for (int i = 0; i < FRAMES; i++)
        few[i].lit = true;
    for (int i = 0; i < FRAMES; i++)
        few[i].u_place = 0.003;
    for (int i = 0; i < 4 * FRAMES; i++)
        many[i] = few[i % FRAMES];
    rg_rocking_solve(&pad, few, FRAMES, &o, &a);
    rg_rocking_solve(&pad, many, 4 * FRAMES, &o, &b);
    cr_expect_float_eq(b.u_noise_mm, a.u_noise_mm / 2, 0.05 * a.u_noise_mm);
    cr_expect_gt(b.u_pose_mm, 0.95 * a.u_pose_mm);
    /* At most the slope's error over land and overhang, 2.5 mm. */
    cr_expect(a.u_pose_mm > 0.9 * 0.003 * 2.5 && a.u_pose_mm < 1.1 * 0.003 * 2.5, "%g",
              a.u_pose_mm);
}

Test(rocking, a_look_that_may_pass_right_through_proves_only_what_the_far_side_does)
{
    rg_observation obs[FRAMES];
    observe(0, 0.001, NULL, obs);
    /* In the rim plane light of the far wall is missed if the far side stands
     * open: the limit is worse by the far side's own. */
    cr_assert(isinf(limit(&obs[4], 1, INFINITY)));
    cr_assert_float_eq(limit(&obs[4], 1, 0), 0.00329, 1e-12);
    cr_assert_float_eq(limit(&obs[4], 1, 0.008), 0.00329 + 0.008, 1e-12);
    /* From below, over the hole's 20 mm, only a far gap above this shows sky. */
    double rise = (0.006 - 2 * 0.0005) * 20;
    obs[2].u_slope = 0.0005;
    cr_assert_float_eq(limit(&obs[2], 1, rise), 0.00329 + 0.006, 1e-9);
    cr_assert_float_eq(limit(&obs[2], 1, rise + 0.01), 0.00329 + 0.006 + 0.01, 1e-9);
    cr_assert(isinf(limit(&obs[2], 1, INFINITY)));
}

/* Bearing of the second point where a ray through the rim circle's point at
 * bearing b leaves it, by plane geometry: direction(b) = (cos b, -sin b). */
static double far_bearing(double b, double o)
{
    double rx = cos(b), ry = -sin(b), ax = -sin(b), ay = -cos(b);
    double dx = -(rx * cos(o) + ax * sin(o)), dy = -(ry * cos(o) + ay * sin(o));
    double t = -2 * 10 * (rx * dx + ry * dy);
    double bearing = atan2(-(10 * ry + t * dy), 10 * rx + t * dx) * 180 / RG_PI;
    return bearing < 0 ? bearing + 360 : bearing;
}

Test(rocking, the_far_side_is_where_the_ray_leaves_the_hole)
{
    rg_rocking_options o = usual();
    o.oblique_mm = 0;
    o.seen_arc_deg = 90; /* here only the place counts */
    for (double side = -50; side <= 50; side += 12.5) {
        rg_observation obs = {.u_mm = 0.001, .obliquity_rad = degrees(side)};
        double far[360] = {0}, exit = far_bearing(degrees(30), degrees(side));
        double shut = rg_rocking_limit(&shiny, 30, &obs, 1, &o, far);
        cr_assert_float_eq(shut, 0.00329, 1e-12);
        far[(int)lround(exit) % 360] = 0.05;
        double through = rg_rocking_limit(&shiny, 30, &obs, 1, &o, far);
        cr_assert_float_eq(through, 0.05329, 1e-12, "obliquity %g leaves at %g", side, exit);
        memset(far, 0, sizeof far);
        far[((int)lround(exit) + 8) % 360] = far[((int)lround(exit) + 352) % 360] = 0.05;
        cr_assert_float_eq(rg_rocking_limit(&shiny, 30, &obs, 1, &o, far), 0.00329, 1e-12);
    }
}

/* Land 1 mm and overhang 1.5 mm on a rim of 10 mm radius: a ray at obliquity o
 * moves sideways by (land + overhang chords) sin o on its way through. By plane
 * geometry, chords as in the header. */
Test(rocking, a_view_too_slanting_for_the_shortest_gap_proves_no_darkness)
{
    rg_rocking_options o = usual();
    double far[360] = {0};
    for (double side = 5; side <= 60; side += 5) {
        double s = 10 * sin(degrees(side)), c = 10 * cos(degrees(side));
        double depth = sqrt(11.5 * 11.5 - s * s) - sqrt(9 * 9 - s * s);
        double crossed = depth * sin(degrees(side)) / 10 / degrees(1);
        rg_observation obs = {.u_mm = 0.001, .obliquity_rad = degrees(-side)};
        cr_assert(c > 0);
        o.seen_arc_deg = crossed + 0.01;
        cr_assert(isfinite(rg_rocking_limit(&shiny, 30, &obs, 1, &o, far)), "%g", side);
        o.seen_arc_deg = crossed - 0.01;
        cr_assert(isinf(rg_rocking_limit(&shiny, 30, &obs, 1, &o, far)), "%g", side);
    }
}

Test(rocking, a_bearing_seen_askew_or_not_at_all_has_a_poorer_limit)
{
    rg_observation obs[FRAMES];
    observe(0, 0.001, NULL, obs);
    double straight = limit(&obs[4], 1, 0);
    obs[4].obliquity_rad = degrees(55);
    cr_assert_gt(limit(&obs[4], 1, 0), straight + 0.004);
    obs[4].obliquity_rad = degrees(70); /* beside the hole */
    cr_assert(isinf(limit(&obs[4], 1, 0)));
    cr_assert(isinf(limit(NULL, 0, 0)));
}

/* ---------------------------------------------------------- look through */
/* A gap alike all round between a dull land (9..10 mm) and a flat pad, by straight rays: one that comes in at height z
 * and descends by s a mm is lit where it passes the land's 1 mm and then meets the hole's wall (z below 0) or the
 * pad (above the gap) before the far land, 19 mm on. */
static bool ray_is_lit(double gap, double z, double s)
{
    double inside = z - s * 1, there = z - s * 19;
    return inside > 0 && inside < gap && (there < 0 || there > gap);
}

static rg_observation ray_view(double gap, double s)
{
    rg_observation o = {.slope_pad = s, .slope_rim = s, .u_mm = 0.0005, .u_edge_mm = 0.004};
    o.low_mm = o.high_mm = NAN;
    for (int i = 0; i < 100000; i++) {
        double z = gap * (i + 0.5) / 100000;
        if (!ray_is_lit(gap, z, s))
            continue;
        o.low_mm = o.lit ? o.low_mm : z;
        o.high_mm = z;
        o.height_mm += gap / 100000;
        o.lit = true;
    }
    return o;
}

Test(rocking, a_gap_that_is_looked_through_is_as_wide_as_the_edges_of_its_light_stand_apart)
{
    const rg_rocking_options o = usual();
    for (double gap = 0.1; gap < 0.45; gap += 0.05) {
        rg_observation obs[3] = {ray_view(gap, 0.005), ray_view(gap, 0), ray_view(gap, -0.004)};
        rg_rocking_fit fit = {0};
        cr_assert_not(obs[1].lit, "straight through");
        cr_assert(rg_rocking_edges(&pad, obs, 3, &o, &fit));
        cr_expect_float_eq(fit.width_mm, gap, 1e-4, "%g: %g", gap, fit.width_mm);
        cr_expect_eq(fit.used, 2);
        cr_expect_float_eq(fit.u_pose_mm, sqrt(2) * 0.004, 1e-9, "two frames' heights");
        cr_expect_gt(fit.u_mm, fit.u_pose_mm);
        /* A glimmer low in the gap, not half as high as the light itself, is no edge of the pad. */
        obs[1] = obs[2];
        obs[1].height_mm *= 0.45;
        obs[1].high_mm = obs[1].low_mm + obs[1].height_mm;
        cr_assert(rg_rocking_edges(&pad, obs, 3, &o, &fit));
        cr_expect_float_eq(fit.width_mm, gap, 1e-4, "%g: %g", gap, fit.width_mm);
        obs[1] = ray_view(gap, 0);
        cr_expect_not(rg_rocking_edges(&pad, obs, 2, &o, &fit), "the pad was not seen");
        cr_expect_not(rg_rocking_edges(&pad, &obs[1], 2, &o, &fit), "the rim was not seen");
        obs[0].u_slope = 0.0026;
        cr_expect_not(rg_rocking_edges(&pad, obs, 3, &o, &fit), "from above? not for sure");
        obs[0].u_slope = 0;
        obs[0].obliquity_rad = 1;
        cr_expect_not(rg_rocking_edges(&pad, obs, 3, &o, &fit), "too slanting");
    }
}

static double through(const rg_observation *obs, int count, double width, double open)
{
    const rg_rocking_options o = usual();
    double far[360];
    for (int b = 0; b < 360; b++)
        far[b] = open;
    return rg_rocking_through(&pad, 30, obs, count, &o, width, far);
}

Test(rocking, what_a_look_through_may_hide_is_bounded_by_the_view_that_hides_least)
{
    rg_observation above = ray_view(0.2, 0.006), steep = ray_view(0.2, 0.014);
    rg_observation below = ray_view(0.2, -0.006);
    double over = 0.006 * 2.5; /* what land and overhang hide from above */
    cr_assert_float_eq(above.height_mm, 0.006 * 18, 1e-3);
    cr_expect(isinf(through(&above, 1, above.height_mm + over, INFINITY)));
    cr_expect_float_eq(through(&above, 1, above.height_mm + over, 0.2), 0.2, 1e-9);
    /* Steep: 0.014 * 19 = 0.27 mm of descent, more than the light is high. */
    double w = steep.height_mm + 0.014 * 2.5;
    cr_expect_eq(through(&steep, 1, w, INFINITY), 0);
    /* From below a ray rises by 0.006 * 19 on its way to the far gap: so much of it is out of view. */
    w = below.height_mm + 0.006;
    cr_expect_float_eq(through(&below, 1, w, 0.2), 0.2 - 0.006 * 19, 1e-9);
    below.slope_gain = 0.002;
    cr_expect_float_eq(through(&below, 1, w, 0.2), 0.2 - 0.004 * 19, 1e-9);
    cr_expect_eq(through(&below, 1, w, 0.004 * 19), 0);
    /* Of two views that carry the width the better one; a width that no frame carries is not doubted. */
    rg_observation both[2] = {above, below};
    both[0].slope_pad = both[0].slope_rim = 0.004;
    both[0].height_mm = w - 0.004 * 2.5;
    cr_expect_float_eq(through(both, 1, w, 0.2), 0.2, 1e-9);
    cr_expect_float_eq(through(both, 2, w, 0.2), 0.2 - 0.004 * 19, 1e-9);
    cr_expect_eq(through(&below, 1, 0.5, INFINITY), 0);
}

Test(rocking, nothing_observed_is_nothing_known)
{
    rg_rocking_fit fit = solve(NULL, 0);
    cr_assert(isnan(fit.width_mm));
    cr_assert(isinf(fit.detection_limit_mm));
    cr_assert_eq(fit.frames, 0);
}

/* A rectangular error between nothing and the whole loss has the rms loss / sqrt 3
 * (JCGM 100, 4.3.7); a ray straight in has none. */
Test(rocking, a_slanting_ray_is_unsure_of_what_the_pad_hides)
{
    const rg_rocking_options o = {.missing_loss = 8, .surplus_loss = 25};
    for (int k = 0; k < 2; k++) {
        double side = k * degrees(40), land, over;
        rg_observation obs = {.height_mm = 0.04,
                              .u_mm = 0.001,
                              .slope_pad = -0.01,
                              .slope_rim = -0.01,
                              .obliquity_rad = side,
                              .lit = true};
        rg_rocking_fit fit;
        rg_slot_chords(&pad, side, &land, &over);
        rg_rocking_solve(&pad, &obs, 1, &o, &fit);
        cr_assert_float_eq(fit.width_mm, 0.04 + 0.01 * land, 1e-9);
        cr_assert_float_eq(fit.u_model_mm, sin(side) * 0.01 * land / sqrt(3), 1e-9, "%g",
                           fit.u_model_mm);
    }
}

Test(rocking, more_observations_than_room_are_cut_not_overrun)
{
    enum { MANY = 700 };
    static rg_observation obs[MANY];
    for (int i = 0; i < MANY; i++)
        obs[i] = (rg_observation){.height_mm = 0.04, .u_mm = 0.001, .lit = true};
    rg_rocking_fit fit = solve(obs, MANY);
    cr_assert_eq(fit.frames, 512);
    cr_assert_float_eq(fit.width_mm, 0.04, 1e-9);
}

/* ----------------------------------------------------------- uncertainty */
enum { SWEEPS = 600 };

typedef struct sampling {
    double mean, scatter, u_noise, inside;
} sampling;

static sampling sample_sweeps(double width, double u)
{
    test_random random = {2024};
    sampling s = {0};
    double square = 0;
    for (int k = 0; k < SWEEPS; k++) {
        rg_observation obs[FRAMES];
        observe(width, u, &random, obs);
        rg_rocking_fit fit = solve(obs, FRAMES);
        s.mean += fit.width_mm / SWEEPS;
        square += fit.width_mm * fit.width_mm / SWEEPS;
        s.u_noise += fit.u_noise_mm / SWEEPS;
        s.inside += (fabs(fit.width_mm - width) <= 2 * fit.u_mm) / (double)SWEEPS;
    }
    s.scatter = sqrt(square - s.mean * s.mean);
    return s;
}

Test(rocking, scatter_of_sampled_sweeps_is_the_claimed_noise)
{
    static const double width[] = {0.04, 0.1};
    for (size_t k = 0; k < COUNT(width); k++) {
        sampling s = sample_sweeps(width[k], 0.001);
        cr_expect_float_eq(s.scatter / s.u_noise, 1, 0.2, "width %g: scatter %g, claimed %g",
                           width[k], s.scatter, s.u_noise);
        cr_expect_float_eq(s.mean, width[k], 0.0003, "width %g: mean %g", width[k], s.mean);
    }
}

Test(rocking, expanded_uncertainty_covers_the_truth)
{
    static const double width[] = {0.012, 0.03, 0.06, 0.15};
    for (size_t k = 0; k < COUNT(width); k++) {
        sampling s = sample_sweeps(width[k], 0.001);
        cr_expect_geq(s.inside, 0.95, "width %g: %g inside", width[k], s.inside);
    }
}

/* All frames wrong in the same way, as by a lamp that is brighter than the
 * witness says. */
static rg_rocking_fit with_derivatives(double per_l, double per_s)
{
    rg_observation obs[FRAMES];
    observe(0.08, 0.0001, NULL, obs);
    for (int i = 0; i < FRAMES; i++)
        obs[i].per_ln_radiance = per_l, obs[i].per_ln_sigma = per_s;
    return solve(obs, FRAMES);
}

Test(rocking, lamp_and_blur_are_shared_by_all_frames_and_do_not_average_out)
{
    rg_rocking_options o = usual();
    rg_rocking_fit fit = with_derivatives(-0.02, -0.03);
    cr_assert_float_eq(fit.u_radiance_mm, 0.02 * o.u_ln_radiance, 1e-12);
    cr_assert_float_eq(fit.u_psf_mm, 0.03 * o.u_ln_sigma, 1e-12);
    cr_assert_float_eq(fit.u_scale_mm, 0.08 * o.u_scale, 1e-9);
    double sum = pow(fit.u_noise_mm, 2) + pow(fit.u_radiance_mm, 2) + pow(fit.u_psf_mm, 2) +
                 pow(fit.u_pose_mm, 2) + pow(fit.u_scale_mm, 2) + pow(fit.u_model_mm, 2);
    /* JCGM 100 5.1.2: the combined uncertainty is the root sum of squares. */
    cr_assert_float_eq(fit.u_mm, sqrt(sum), 1e-12);
    cr_assert_gt(fit.u_mm, with_derivatives(0, 0).u_mm);
}

Test(rocking, a_fit_of_one_frame_is_less_certain_than_of_nine)
{
    rg_observation obs[FRAMES];
    observe(0.1, 0.002, NULL, obs);
    cr_assert_gt(solve(&obs[4], 1).u_noise_mm, 1.5 * solve(obs, FRAMES).u_noise_mm);
}

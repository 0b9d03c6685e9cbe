/*
 * Tests of sealmap.h: gaps of simple shapes whose ends, area and means follow
 * from geometry, put into bins as two exact observations each, from slightly
 * above the rim plane, where the far wall of the hole is lit behind a gap.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/sealmap.h"
#include "rimglow/vec.h"
#include "support/setup.h"

static const rg_slot_geometry pad = {.inner_mm = 9, .outer_mm = 10, .pad_mm = 11.5};

static double around(double bearing, double centre)
{
    double d = fmod(fabs(bearing - centre), 360);
    return d > 180 ? 360 - d : d;
}

static double tent(double bearing, double centre, double half, double peak)
{
    return fmax(peak * (1 - around(bearing, centre) / half), 0);
}

enum { FRAMES = 2 };

typedef struct sweep {
    rg_observation obs[RG_BINS][FRAMES];
    int count[RG_BINS];
} sweep;

/* Land and overhang are 2.5 mm together: the slope hides 0.00375 mm. */
#define SLOPE  0.0015
#define HIDDEN (2.5 * SLOPE)

static void set_noise(sweep *s, int bin, double u)
{
    for (int f = 0; f < FRAMES; f++)
        s->obs[bin][f].u_mm = u;
}

/* Both frames saw every bearing and no light. */
static void closed(sweep *s, double u)
{
    memset(s, 0, sizeof *s);
    for (int b = 0; b < RG_BINS; b++) {
        for (int f = 0; f < FRAMES; f++)
            s->obs[b][f] = (rg_observation){.frame = f, .slope_pad = SLOPE, .slope_rim = SLOPE};
        set_noise(s, b, u);
        s->count[b] = FRAMES;
    }
}

static void open_bin(sweep *s, int bin, double width)
{
    for (int f = 0; f < FRAMES; f++) {
        rg_observation *o = &s->obs[(bin + 360) % 360][f];
        o->height_mm = fmax(width - HIDDEN, 0);
        o->lit = o->height_mm > 0;
    }
}

static rg_sealmap_options usual(void)
{
    rg_setup s;
    test_setup(&s);
    return s.options.sealmap;
}

static void merge_with(const sweep *s, const rg_sealmap_options *options, rg_seal_map *map)
{
    rg_setup setup;
    const rg_observation *rows[RG_BINS];
    test_setup(&setup);
    for (int b = 0; b < RG_BINS; b++)
        rows[b] = s->obs[b];
    rg_sealmap_merge(map, &pad, rows, s->count, &setup.options.rocking, options);
}

static void merge(const sweep *s, rg_seal_map *map)
{
    rg_sealmap_options o = usual();
    merge_with(s, &o, map);
}

static sweep s;
static rg_seal_map map;

/* ------------------------------------------------------------------ bins */
Test(sealmap, a_dark_rim_seen_from_its_plane_is_sealed_everywhere)
{
    closed(&s, 0.0005);
    merge(&s, &map);
    for (int b = 0; b < RG_BINS; b++) {
        cr_assert_eq(map.bin[b].state, RG_BIN_SEALED);
        cr_assert_eq(map.bin[b].width_mm, 0);
        cr_assert_eq(map.bin[b].bearing_deg, b);
        cr_assert_float_eq(map.bin[b].detection_limit_mm, 3.29 * 0.0005 + HIDDEN, 1e-12);
    }
    cr_assert_eq(map.arcs, 0);
    cr_assert_float_eq(map.rim_outer_diameter_mm, 20, 1e-12);
    cr_assert_eq(map.verdict, RG_VERDICT_UNDECIDED, "merging is not deciding");
}

Test(sealmap, a_dark_bearing_is_no_surer_than_its_limit)
{
    closed(&s, 0.0005);
    merge(&s, &map);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_geq(map.bin[b].u_mm, map.bin[b].detection_limit_mm / 3.29 - 1e-12);
}

Test(sealmap, a_bearing_that_no_frame_showed_is_unseen_and_has_no_width)
{
    closed(&s, 0.0005);
    s.count[77] = 0;
    merge(&s, &map);
    cr_assert_eq(map.bin[77].state, RG_BIN_UNSEEN);
    cr_assert(isnan(map.bin[77].width_mm) && isnan(map.bin[77].u_mm));
    cr_assert(isinf(map.bin[77].detection_limit_mm));
    cr_assert_eq(map.bin[76].state, RG_BIN_SEALED);
}

Test(sealmap, a_limit_above_half_the_tolerance_is_not_seen)
{
    /* 3.29 u + 0.00375 = 0.0125 mm at u = 0.00266 mm */
    closed(&s, 0.002659);
    set_noise(&s, 200, 0.002661);
    set_noise(&s, 201, 0.002661);
    merge(&s, &map);
    cr_assert_eq(map.bin[199].state, RG_BIN_SEALED);
    cr_assert_eq(map.bin[200].state, RG_BIN_UNSEEN);
    cr_assert_eq(map.bin[201].state, RG_BIN_UNSEEN);
}

Test(sealmap, a_single_bearing_is_seen_with_its_neighbours_if_a_frame_showed_it_dark)
{
    /* A leak of the shortest arc, 3 degrees, would cover a neighbour as well. */
    closed(&s, 0.0005);
    set_noise(&s, 200, 0.01);
    set_noise(&s, 100, 0.01);
    s.count[100] = 0;
    merge(&s, &map);
    cr_assert_eq(map.bin[200].state, RG_BIN_SEALED);
    cr_assert_eq(map.bin[100].state, RG_BIN_UNSEEN);
}

Test(sealmap, a_single_bearing_takes_the_poorer_limit_of_its_neighbours)
{
    /* A leak there covers one of them, and nobody knows which. */
    closed(&s, 0.0005);
    set_noise(&s, 199, 0.001);
    set_noise(&s, 200, 0.01);
    set_noise(&s, 201, 0.002);
    merge(&s, &map);
    cr_assert_float_eq(map.bin[200].detection_limit_mm, 3.29 * 0.002 + HIDDEN, 1e-12);
    cr_assert_eq(map.bin[200].state, RG_BIN_SEALED);
    cr_assert_float_eq(map.bin[199].detection_limit_mm, 3.29 * 0.001 + HIDDEN, 1e-12);
}

Test(sealmap, two_adjacent_bearings_are_not_seen_with_their_neighbours)
{
    closed(&s, 0.0005);
    set_noise(&s, 359, 0.01); /* over the seam as well */
    set_noise(&s, 0, 0.01);
    merge(&s, &map);
    cr_assert_eq(map.bin[359].state, RG_BIN_UNSEEN);
    cr_assert_eq(map.bin[0].state, RG_BIN_UNSEEN);
    cr_assert_eq(map.bin[358].state, RG_BIN_SEALED);
    cr_assert_eq(map.bin[1].state, RG_BIN_SEALED);
}

Test(sealmap, a_single_bearing_is_alone_where_a_leak_of_one_degree_counts)
{
    rg_sealmap_options o = usual();
    closed(&s, 0.0005);
    set_noise(&s, 200, 0.01);
    o.min_arc_deg = 1.9;
    merge_with(&s, &o, &map);
    cr_assert_eq(map.bin[200].state, RG_BIN_UNSEEN);
    o.min_arc_deg = 2;
    merge_with(&s, &o, &map);
    cr_assert_eq(map.bin[200].state, RG_BIN_SEALED);
}

Test(sealmap, a_lit_bearing_is_not_seen_with_dark_neighbours)
{
    /* Its light is too uncertain for a gap; that its neighbours are dark does
     * not make it a seal. */
    closed(&s, 0.0005);
    open_bin(&s, 200, 0.02);
    set_noise(&s, 200, 0.01);
    merge(&s, &map);
    cr_assert_eq(map.bin[200].state, RG_BIN_UNSEEN);
}

Test(sealmap, a_width_lost_in_its_noise_is_no_gap)
{
    closed(&s, 0.0005);
    open_bin(&s, 40, 0.008);
    open_bin(&s, 41, 0.008);
    set_noise(&s, 41, 0.004);
    merge(&s, &map);
    cr_assert_eq(map.bin[40].state, RG_BIN_GAP);
    cr_assert_eq(map.bin[41].state, RG_BIN_UNSEEN);
}

Test(sealmap, surplus_without_slot_light_is_no_gap)
{
    closed(&s, 0.0005);
    open_bin(&s, 40, 0.02);
    for (int f = 0; f < FRAMES; f++)
        s.obs[40][f].lit = false;
    merge(&s, &map);
    cr_assert_neq(map.bin[40].state, RG_BIN_GAP);
}

/* ------------------------------------------------------------------ arcs */
static void open_tent(double centre, double half, double peak)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, tent(b, centre, half, peak));
    merge(&s, &map);
}

static void tent_arc_is_right(double centre)
{
    open_tent(centre, 20, 0.1);
    cr_assert_eq(map.arcs, 1, "%d arcs", map.arcs);
    const rg_arc *a = &map.arc[0];
    double mm = RG_PI * 20 / 360;
    /* The tent passes the floor of 0.005 mm 19 degrees from its top. */
    cr_assert_float_eq(rg_angle_between(a->start_deg, centre - 19), 0, 0.02, "%g", a->start_deg);
    cr_assert_float_eq(rg_angle_between(a->end_deg, centre + 19), 0, 0.02, "%g", a->end_deg);
    cr_assert_float_eq(rg_angle_between(a->centre_deg, centre), 0, 0.02);
    cr_assert_float_eq(a->extent_deg, 38, 0.03);
    cr_assert_float_eq(a->extent_mm, 38 * mm, 0.01);
    cr_assert_float_eq(a->max_width_mm, 0.1, 1e-9);
    cr_assert_float_eq(a->max_bearing_deg, centre, 1e-9);
    /* Area of the tent above bearing, less its tips. */
    cr_assert_float_eq(a->open_area_mm2, (0.1 * 20 - 0.005) * mm, 0.002, "%g", a->open_area_mm2);
    cr_assert_float_eq(a->mean_width_mm, (0.1 * 20 - 0.005) / 39, 0.001);
    cr_assert_not(a->full_circle || a->start_unseen || a->end_unseen);
}

Test(sealmap, ends_centre_extent_and_area_of_a_tent)
{
    tent_arc_is_right(120);
}

Test(sealmap, an_arc_over_the_seam_is_one_arc)
{
    tent_arc_is_right(355);
    cr_assert_gt(map.arc[0].start_deg, map.arc[0].end_deg);
    tent_arc_is_right(0);
    tent_arc_is_right(10);
}

Test(sealmap, ends_between_bins_are_interpolated)
{
    open_tent(120.4, 20.3, 0.2);
    cr_assert_eq(map.arcs, 1);
    double half = 20.3 * (1 - 0.005 / 0.2);
    cr_assert_float_eq(map.arc[0].start_deg, 120.4 - half, 0.1);
    cr_assert_float_eq(map.arc[0].end_deg, 120.4 + half, 0.1);
}

Test(sealmap, a_rim_open_all_round_has_no_ends)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, b == 222 ? 0.042 : 0.04);
    merge(&s, &map);
    cr_assert_eq(map.arcs, 1);
    cr_assert(map.arc[0].full_circle);
    cr_assert_float_eq(map.arc[0].extent_deg, 360, 1e-12);
    cr_assert_float_eq(map.arc[0].open_area_mm2, 0.04 * RG_PI * 20, 0.002);
    cr_assert_float_eq(map.arc[0].max_bearing_deg, 222, 1e-12);
}

Test(sealmap, an_arc_that_runs_into_unseen_bearings_says_so)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, tent(b, 120, 20, 0.04));
    for (int b = 90; b < 115; b++)
        s.count[b] = 0;
    merge(&s, &map);
    cr_assert_eq(map.arcs, 1);
    cr_assert(map.arc[0].start_unseen);
    cr_assert_not(map.arc[0].end_unseen);
    cr_assert_float_eq(map.arc[0].start_deg, 114.5, 1e-9);
}

Test(sealmap, short_breaks_do_not_cut_an_arc)
{
    /* bridge_deg is 3; 0.04 mm is too thin to ask for a blocked slot. */
    for (int hole = 1; hole <= 6; hole++) {
        closed(&s, 0.0003);
        for (int b = 350; b < 390; b++)
            open_bin(&s, b % 360, b >= 358 && b < 358 + hole ? 0 : 0.04);
        merge(&s, &map);
        cr_assert_eq(map.arcs, hole <= 3 ? 1 : 2, "hole of %d: %d arcs", hole, map.arcs);
    }
}

Test(sealmap, arcs_shorter_than_the_smallest_are_not_listed)
{
    /* Each end lies where the width passes the floor: 0.875 bins further. */
    for (int length = 1; length <= 5; length++) {
        closed(&s, 0.0003);
        for (int b = 30; b < 30 + length; b++)
            open_bin(&s, b, 0.04);
        merge(&s, &map);
        double extent = length - 1 + 2 * 0.875;
        cr_assert_eq(map.arcs, extent >= 3, "%d bins", length);
        if (map.arcs)
            cr_assert_float_eq(map.arc[0].extent_deg, extent, 1e-6);
    }
}

Test(sealmap, two_gaps_are_two_arcs_each_with_its_own_greatest_width)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, fmax(tent(b, 60, 15, 0.04), tent(b, 240, 30, 0.12)));
    merge(&s, &map);
    cr_assert_eq(map.arcs, 2);
    cr_assert_float_eq(map.arc[0].max_width_mm, 0.04, 1e-9);
    cr_assert_float_eq(map.arc[1].max_width_mm, 0.12, 1e-9);
    cr_assert_float_eq(map.arc[1].max_bearing_deg, 240, 1e-9);
}

/* Flanks that rise by `rise` a degree from the floor at 100 and at 140, with so much
 * u; wobble is added to one bin near an end, as noise does. */
static const rg_arc *flanks(double rise, double u, double wobble)
{
    rg_sealmap_options o = usual();
    memset(&map, 0, sizeof map);
    map.rim_outer_diameter_mm = 20;
    for (int b = 0; b < RG_BINS; b++) {
        double w = o.arc_floor_mm + rise * fmin(b - 100, 140 - b);
        bool open = b >= 100 && b <= 140;
        map.bin[b] = (rg_bin){.bearing_deg = b,
                              .width_mm = open ? w : 0,
                              .u_mm = u,
                              .detection_limit_mm = 0.002,
                              .state = open ? RG_BIN_GAP : RG_BIN_SEALED};
    }
    map.bin[104].width_mm += wobble;
    rg_sealmap_arcs(&map, &o);
    cr_assert_eq(map.arcs, 1);
    return &map.arc[0];
}

/* An end moves by u / slope (JCGM 100, 5.1.2); the bin adds 1/sqrt(12). Of what
 * both ends share half is common: centre 1/4 (1 + 1 - 1), extent 1 + 1 + 1
 * (JCGM 100, 5.2.2). */
Test(sealmap, ends_of_an_arc_are_as_sure_as_its_flanks_are_steep)
{
    static const double rise[] = {0.002, 0.004, 0.01};
    for (int i = 0; i < 3; i++) {
        double moved = 0.002 / rise[i];
        const rg_arc *a = flanks(rise[i], 0.002, 0);
        cr_expect_float_eq(a->u_end_deg, hypot(moved, sqrt(1 / 12.0)), 1e-6, "%g", a->u_end_deg);
        cr_expect_float_eq(a->u_centre_deg, sqrt(moved * moved / 4 + 1 / 24.0), 1e-6);
        cr_expect_float_eq(a->u_extent_deg, sqrt(3 * moved * moved + 1 / 6.0), 1e-6);
    }
}

/* Noise is each end's own: the centre moves by it as two independent ends do. */
Test(sealmap, noise_moves_both_ends_of_an_arc_independently)
{
    rg_sealmap_options o = usual();
    flanks(0.004, 0.002, 0);
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b].fit.u_noise_mm = 0.002;
    rg_sealmap_arcs(&map, &o);
    cr_expect_float_eq(map.arc[0].u_centre_deg, sqrt((0.25 + 1 / 12.0) / 2), 1e-6);
    cr_expect_float_eq(map.arc[0].u_extent_deg, sqrt(2 * (0.25 + 1 / 12.0)), 1e-6);
}

Test(sealmap, one_noisy_bin_hardly_changes_how_sure_an_end_is)
{
    double quiet = flanks(0.003, 0.002, 0)->u_end_deg;
    cr_expect_float_eq(flanks(0.003, 0.002, -0.011)->u_end_deg, quiet, 0.1 * quiet);
    cr_expect_float_eq(flanks(0.003, 0.002, 0.011)->u_end_deg, quiet, 0.1 * quiet);
}

Test(sealmap, sixty_gaps_fit_and_more_do_not_overrun)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, b % 2 ? 0.01 : 0);
    rg_sealmap_options o = usual();
    o.bridge_deg = 0;
    o.smallest_arc_deg = 0;
    merge_with(&s, &o, &map);
    cr_assert_eq(map.arcs, RG_ARCS_MAX);
}

/* ----------------------------------------------------------- uncertainty */
static void hand_made(double u, double u_noise)
{
    memset(&map, 0, sizeof map);
    map.rim_outer_diameter_mm = 20;
    for (int b = 0; b < RG_BINS; b++) {
        rg_bin *bin = &map.bin[b];
        bin->bearing_deg = b;
        if (b < 100 || b >= 125)
            continue;
        bin->state = RG_BIN_GAP;
        bin->width_mm = 0.1;
        bin->u_mm = u;
        bin->fit.u_noise_mm = u_noise;
    }
    rg_sealmap_options o = usual();
    rg_sealmap_arcs(&map, &o);
    cr_assert_eq(map.arcs, 1);
}

Test(sealmap, noise_averages_over_an_arc_and_what_bins_share_does_not)
{
    /* JCGM 100 5.2.2, note 1: fully correlated inputs add linearly. */
    hand_made(0.01, 0.01);
    cr_assert_float_eq(map.arc[0].u_mean_mm, 0.01 / sqrt(25), 1e-9);
    hand_made(0.01, 0);
    cr_assert_float_eq(map.arc[0].u_mean_mm, 0.01, 1e-9);
    cr_assert_float_eq(map.arc[0].u_area_mm2, 0.01 * 25 * RG_PI * 20 / 360, 1e-9);
    hand_made(0.005, 0.003);
    cr_assert_float_eq(map.arc[0].u_mean_mm, hypot(0.004, 0.003 / sqrt(25)), 1e-9);
    cr_assert_float_eq(map.arc[0].u_max_mm, 0.005, 1e-12);
}

/* ----------------------------------------------------------------- bulge */
enum { VIEWS = 9 };

/* Open height of a slot under a pad that bulges by B from 0.35 mm outside the
 * land: from above the bulge at the pad's edge hides, from below at its start. */
static double open_under_bulge(double width, double slope, double bulge)
{
    double above = slope > 0 ? slope * 1.5 : slope * 0.35;
    double hidden = fmax(fmax(-slope * 1, bulge + above), 0) + fmax(slope, 0) * 1;
    return fmax(width - hidden, 0);
}

static double bulge_of(int lit_bearings, double bulge)
{
    static rg_observation obs[RG_BINS][VIEWS];
    const rg_observation *rows[RG_BINS];
    int count[RG_BINS];
    rg_slot_geometry g = pad;
    rg_setup setup;
    test_setup(&setup);
    g.shoulder_mm = 0.35;
    for (int b = 0; b < RG_BINS; b++) {
        double width = b < lit_bearings ? 0.1 + 0.002 * b : 0;
        for (int i = 0; i < VIEWS; i++) {
            double slope = 0.0075 * (i - 4), h = open_under_bulge(width, slope, bulge);
            obs[b][i] = (rg_observation){.height_mm = h,
                                         .u_mm = 0.0005,
                                         .slope_pad = slope,
                                         .slope_rim = slope,
                                         .lit = h > 0};
        }
        rows[b] = obs[b];
        count[b] = VIEWS;
    }
    return rg_sealmap_bulge(&g, rows, count, &setup.options.rocking);
}

Test(sealmap, a_bulge_is_found_from_the_rocking_curves)
{
    /* A bulge B shows from below, at slopes beyond B / (land + shoulder). */
    cr_assert_float_eq(bulge_of(30, 0.02), 0.02, 0.006, "%g", bulge_of(30, 0.02));
    cr_assert_float_eq(bulge_of(30, 0.03), 0.03, 0.006, "%g", bulge_of(30, 0.03));
}

Test(sealmap, a_flat_pad_and_too_few_lit_bearings_have_no_bulge)
{
    cr_assert_eq(bulge_of(30, 0), 0);
    cr_assert_eq(bulge_of(5, 0.05), 0);
    cr_assert_eq(bulge_of(0, 0.05), 0);
}

Test(sealmap, of_bulges_that_explain_the_curves_alike_the_smallest_counts)
{
    /* Views reach down to a slope of 0.03. Where B - 0.03 * 0.35 is more than
     * 0.03 * 1, from 0.0405 on, the bulge alone limits every view: larger ones
     * look the same under a wider gap. */
    static const double bulge[] = {0.06, 0.08, 0.1};
    for (int i = 0; i < 3; i++)
        cr_expect_float_eq(bulge_of(30, bulge[i]), 0.035, 0.0101, "%g: %g", bulge[i],
                           bulge_of(30, bulge[i]));
}

/* ------------------------------------------------------------------ tilt */
/* Room for a ray over land [-1, 0] and below a face over [-1, 1.5] that rises
 * outwards by its tilt, from the two straight lines' end points. */
static double open_under_tilt(double width, double slope, double tilt)
{
    double low = fmax(slope, 0);
    double high = fmin(width - (tilt - slope), width + (tilt - slope) * 1.5);
    return fmax(high - low, 0);
}

static void tilts_of(int lit_bearings, double true_tilt, double tilt[RG_BINS])
{
    static rg_observation obs[RG_BINS][VIEWS];
    const rg_observation *rows[RG_BINS];
    int count[RG_BINS];
    rg_setup setup;
    test_setup(&setup);
    for (int b = 0; b < RG_BINS; b++) {
        for (int i = 0; i < VIEWS; i++) {
            double slope = 0.0075 * (i - 4);
            double h = b < lit_bearings ? open_under_tilt(0.1, slope, true_tilt) : 0;
            obs[b][i] = (rg_observation){.height_mm = h,
                                         .u_mm = 0.0005,
                                         .slope_pad = slope,
                                         .slope_rim = slope,
                                         .lit = h > 0};
        }
        rows[b] = obs[b];
        count[b] = VIEWS;
    }
    rg_sealmap_tilts(&pad, rows, count, &setup.options.rocking, &setup.options.sealmap, tilt);
}

Test(sealmap, a_face_askew_to_its_crown_is_found_from_the_rocking_curves)
{
    static const double tilts[] = {-0.009, -0.004, 0, 0.004, 0.009};
    for (int i = 0; i < 5; i++) {
        double tilt[RG_BINS];
        tilts_of(60, tilts[i], tilt);
        cr_expect_float_eq(tilt[30], tilts[i], 0.0015, "%g: found %g", tilts[i], tilt[30]);
        cr_expect_eq(tilt[200], 0, "nothing is lit there");
    }
}

/* -------------------------------------------------------------- passages */
/* All bearings 0.05 mm open; one ray, 0.9 rad off the radius, shows more at 200.
 * It crosses 9..10 mm radius on a chord of 1.784 mm, so it passed the inner
 * edge asin(1.784 sin 0.9 / 9) = 8.9 degrees away. */
static void pass_at_200(double height)
{
    closed(&s, 0.0005);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, 0.05);
    s.obs[200][1].obliquity_rad = 0.9;
    s.obs[200][1].height_mm = height;
    merge(&s, &map);
}

Test(sealmap, a_slanting_ray_opens_all_bearings_that_it_passed)
{
    pass_at_200(0.12);
    for (int b = 192; b <= 199; b++)
        cr_expect_float_eq(map.bin[b].width_mm, 0.12, 1e-9, "%d: %g", b, map.bin[b].width_mm);
    for (int b = 201; b <= 208; b++)
        cr_expect_float_eq(map.bin[b].width_mm, 0.05, 0.002, "%d: %g", b, map.bin[b].width_mm);
    cr_expect_float_eq(map.bin[191].width_mm, 0.05, 0.002, "beyond the ray's chord");
}

/* The width is the ray's now: what the rocking fit said of scatter and bulge is
 * not part of its uncertainty any more. */
Test(sealmap, a_passed_bearing_s_parts_add_up_to_its_uncertainty)
{
    rg_setup setup;
    rg_sealmap_options o = usual();
    rg_slot_geometry bulging = pad;
    const rg_observation *rows[RG_BINS];
    test_setup(&setup);
    pass_at_200(0.12);
    bulging.bulge_mm = 0.01;
    for (int b = 0; b < RG_BINS; b++)
        rows[b] = s.obs[b];
    rg_sealmap_merge(&map, &bulging, rows, s.count, &setup.options.rocking, &o);
    const rg_rocking_fit *f = &map.bin[196].fit;
    cr_expect_float_eq(f->width_mm, 0.12, 1e-9);
    cr_expect_float_eq(hypot(hypot(f->u_slot_mm, f->u_scatter_mm), f->u_bulge_mm), f->u_model_mm,
                       1e-12);
}

Test(sealmap, a_slanting_ray_that_agrees_within_its_uncertainty_changes_nothing)
{
    pass_at_200(0.051);
    for (int b = 192; b <= 199; b++)
        cr_expect_eq(map.bin[b].width_mm, map.bin[100].width_mm, "%d: %g", b, map.bin[b].width_mm);
}

/* --------------------------------------------------------------- blocked */
static void interrupted(int first, int last)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        open_bin(&s, b, tent(b, 180, 60, 0.15));
    for (int b = first; b <= last; b++)
        open_bin(&s, b, 0);
    merge(&s, &map);
}

Test(sealmap, darkness_between_two_wide_openings_is_not_a_seal)
{
    interrupted(172, 180);
    for (int b = 172; b <= 180; b++) {
        cr_assert_eq(map.bin[b].state, RG_BIN_UNSEEN, "bearing %d", b);
        cr_assert(map.bin[b].blocked);
        cr_assert(isnan(map.bin[b].width_mm));
    }
    cr_assert_eq(map.bin[150].state, RG_BIN_GAP);
    cr_assert_eq(map.bin[210].state, RG_BIN_GAP);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert(!map.bin[b].blocked || around(b, 176) < 14, "bearing %d", b);
}

Test(sealmap, a_smooth_gap_is_nowhere_blocked)
{
    interrupted(0, 0);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_not(map.bin[b].blocked, "bearing %d", b);
    cr_assert_eq(map.bin[60].state, RG_BIN_SEALED);
}

Test(sealmap, a_seal_beside_one_opening_is_a_seal)
{
    closed(&s, 0.0003);
    for (int b = 100; b < 140; b++)
        open_bin(&s, b, 0.15); /* ends like a cliff on both sides */
    merge(&s, &map);
    cr_assert_eq(map.bin[90].state, RG_BIN_SEALED);
    cr_assert_eq(map.bin[150].state, RG_BIN_SEALED);
}

Test(sealmap, light_that_the_lamp_did_not_make_is_not_seen)
{
    bool ambient[RG_BINS] = {false};
    rg_sealmap_options o = usual();
    open_tent(120, 20, 0.04);
    cr_assert_eq(map.arcs, 1);
    for (int b = 100; b <= 140; b++)
        ambient[b] = true;
    rg_sealmap_ambient(&map, ambient);
    rg_sealmap_arcs(&map, &o);
    cr_assert_eq(map.arcs, 0);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_eq(map.bin[b].state, ambient[b] ? RG_BIN_UNSEEN : RG_BIN_SEALED);
}

Test(sealmap, a_short_light_that_one_frame_alone_shows_is_no_gap)
{
    closed(&s, 0.0003);
    for (int b = 50; b < 52; b++) {
        open_bin(&s, b, 0.04);
        s.obs[b][1].height_mm = 0;
        s.obs[b][1].lit = false;
    }
    merge(&s, &map);
    cr_assert_neq(map.bin[50].state, RG_BIN_GAP);
    cr_assert_neq(map.bin[50].state, RG_BIN_SEALED, "nor may it be called sealed");
    cr_assert_eq(map.arcs, 0);
}

/* Bins look along the rim plane only: whatever stands open here may stand open
 * there as well, and darkness proves nothing. */
Test(sealmap, looking_straight_through_the_hole_proves_nothing)
{
    closed(&s, 0.0003);
    for (int b = 0; b < RG_BINS; b++)
        for (int f = 0; f < FRAMES; f++)
            s.obs[b][f].slope_pad = s.obs[b][f].slope_rim = 0;
    merge(&s, &map);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_eq(map.bin[b].state, RG_BIN_UNSEEN);
}

Test(sealmap, a_bearing_proven_closed_proves_the_look_through_to_it)
{
    closed(&s, 0.0003);
    for (int b = 0; b < 90; b++) /* seen in the rim plane; the far side from above */
        for (int f = 0; f < FRAMES; f++)
            s.obs[b][f].slope_pad = s.obs[b][f].slope_rim = 0;
    merge(&s, &map);
    for (int b = 0; b < 90; b++)
        cr_assert_eq(map.bin[b].state, RG_BIN_SEALED, "bearing %d", b);
    double own = 3.29 * 0.0003, far = own + HIDDEN;
    cr_assert_float_eq(map.bin[45].detection_limit_mm, own + far, 1e-9);
}

/* ---------------------------------------------------------- look through */
/* All bearings lit 0.04 mm high at slopes of 0.002 either way: over 19 mm to the far land a ray descends 0.038 mm,
 * so what is wider than that may be looked through. */
static void looked_through(double widest, bool edges)
{
    rg_sealmap_options o = usual();
    o.widest_mm = widest;
    closed(&s, 0.0005);
    for (int b = 0; b < RG_BINS; b++)
        for (int f = 0; f < FRAMES; f++) {
            rg_observation *v = &s.obs[b][f];
            v->slope_pad = v->slope_rim = f ? -0.002 : 0.002;
            v->height_mm = 0.04;
            v->lit = true;
            v->low_mm = edges ? f ? 0.21 : 0.01 : NAN;
            v->high_mm = v->low_mm + v->height_mm;
            v->u_edge_mm = 0.01;
        }
    merge_with(&s, &o, &map);
}

Test(sealmap, a_width_that_light_alone_does_not_tell_reaches_to_the_widest_it_may_be)
{
    looked_through(0.6, false);
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map.bin[b];
        double low = bin->width_mm - 2 * bin->u_mm, high = bin->width_mm + 2 * bin->u_mm;
        cr_assert_eq(bin->state, RG_BIN_GAP);
        cr_expect_float_eq(high, 0.6, 1e-9, "%d: %g", b, high);
        cr_expect(low > 0.025 && low < 0.045, "%d: %g", b, low);
        cr_expect_float_eq(hypot(hypot(bin->fit.u_slot_mm, bin->fit.u_scatter_mm),
                                 hypot(bin->fit.u_bulge_mm, bin->fit.u_through_mm)),
                           bin->fit.u_model_mm, 1e-12);
        cr_expect_gt(bin->fit.u_through_mm, 0.9 * bin->u_mm);
    }
    looked_through(0, false); /* not stated: as the light says */
    cr_expect_float_eq(map.bin[7].width_mm, 0.044, 0.003, "%g", map.bin[7].width_mm);
    cr_expect_eq(map.bin[7].fit.u_through_mm, 0);
}

Test(sealmap, the_edges_of_light_tell_a_width_that_is_looked_through)
{
    looked_through(0.6, true);
    for (int b = 0; b < RG_BINS; b++) {
        /* From 0.01, less 0.002 behind a dull land, to 0.25, and 0.002 of the pad behind it. */
        cr_expect_float_eq(map.bin[b].width_mm, 0.244, 1e-9, "%d: %g", b, map.bin[b].width_mm);
        cr_expect(map.bin[b].u_mm > 0.014 && map.bin[b].u_mm < 0.02, "%g", map.bin[b].u_mm);
    }
}

/* From steeply above, 0.014 * 19 = 0.27 mm over the hole, the light is the whole gap: sure 0.04 mm are not little beside
 * 0.04 mm that may be 0.6. */
Test(sealmap, what_may_be_wide_does_not_make_what_is_narrow_beside_it_blocked)
{
    rg_sealmap_options o = usual();
    o.widest_mm = 0.6;
    looked_through(0.6, false);
    for (int b = 100; b < 105; b++)
        for (int f = 0; f < FRAMES; f++) {
            s.obs[b][f].slope_pad = 0;
            s.obs[b][f].slope_rim = 0.014;
            s.obs[b][f].height_mm = 0.03;
        }
    merge_with(&s, &o, &map);
    for (int b = 90; b < 115; b++) {
        cr_expect_not(map.bin[b].blocked, "%d", b);
        cr_expect_eq(map.bin[b].state, RG_BIN_GAP);
    }
    cr_expect_lt(map.bin[102].width_mm, 0.06);
    cr_expect_gt(map.bin[95].width_mm, 0.3);
}

/* One side alone: the far side is dark to a look from above, which would not miss its light. */
Test(sealmap, light_is_not_doubted_where_the_far_side_is_closed)
{
    rg_sealmap_options o = usual();
    static rg_seal_map other;
    closed(&s, 0.0005);
    for (int b = 100; b < 140; b++)
        open_bin(&s, b, 0.05);
    merge_with(&s, &o, &map);
    o.widest_mm = 0.6;
    merge_with(&s, &o, &other);
    for (int b = 100; b < 140; b++) {
        cr_expect_lt(other.bin[b].width_mm - map.bin[b].width_mm, 0.005, "%d: %g", b,
                     other.bin[b].width_mm);
        cr_expect_lt(other.bin[b].u_mm, map.bin[b].u_mm + 0.005);
    }
}

/* A hidden far side is taken to be open no wider than what is known beside it. */
Test(sealmap, light_is_doubted_before_a_hidden_far_side_only_as_far_as_its_neighbours_are_open)
{
    rg_sealmap_options o = usual();
    o.widest_mm = 0.6;
    closed(&s, 0.0005);
    for (int b = 100; b < 140; b++)
        open_bin(&s, b, 0.05);
    for (int b = 280; b < 320; b++)
        s.count[b] = 0;
    merge_with(&s, &o, &map);
    for (int b = 100; b < 140; b++)
        cr_expect_float_eq(map.bin[b].width_mm, 0.05, 0.008, "%d: %g", b, map.bin[b].width_mm);
    for (int b = 0; b < RG_BINS; b++)
        if (b < 100 || b >= 140)
            s.count[b] = 0; /* nothing is known all round */
    merge_with(&s, &o, &map);
    for (int b = 100; b < 140; b++)
        cr_expect_gt(map.bin[b].width_mm + 2 * map.bin[b].u_mm, 0.59, "%d", b);
}

Test(sealmap, names_are_those_of_the_file_format)
{
    cr_assert_str_eq(rg_bin_state_name(RG_BIN_SEALED), "sealed");
    cr_assert_str_eq(rg_bin_state_name(RG_BIN_GAP), "gap");
    cr_assert_str_eq(rg_bin_state_name(RG_BIN_UNSEEN), "unseen");
    cr_assert_str_eq(rg_verdict_name(RG_VERDICT_SEALED), "sealed");
    cr_assert_str_eq(rg_verdict_name(RG_VERDICT_LEAKING), "leaking");
    cr_assert_str_eq(rg_verdict_name(RG_VERDICT_UNDECIDED), "undecided");
    cr_assert_str_eq(rg_verdict_sign(RG_VERDICT_SEALED), "( O )");
    cr_assert_str_eq(rg_verdict_sign(RG_VERDICT_LEAKING), "( / )");
    cr_assert_str_eq(rg_verdict_sign(RG_VERDICT_UNDECIDED), "( ? )");
    rg_verdict verdict = RG_VERDICT_UNDECIDED;
    cr_assert(rg_verdict_parse("leaking", &verdict) && verdict == RG_VERDICT_LEAKING);
    cr_assert(!rg_verdict_parse("seal", &verdict) && verdict == RG_VERDICT_LEAKING);
}

/* 0.1 mm wide from 100 to 150, shut to 156, wide again to 161: the margin of 5 bearings takes in all of the shorter
 * opening. side -1: mirrored about 0. */
static void crumb_near_an_end(int side)
{
    closed(&s, 0.0003);
    for (int b = 100; b <= 161; b++)
        open_bin(&s, side * b, b <= 150 || b >= 157 ? 0.1 : 0);
    merge(&s, &map);
    cr_assert_eq(map.arcs, 1, "%d arcs", map.arcs);
    for (int b = 146; b <= 161; b++)
        cr_assert(map.bin[(side * b + 360) % 360].blocked, "bearing %d", b);
}

/* The arc ends somewhere from 145.5 to 161.5: evenly spread that is the middle with 16 / sqrt(12) (JCGM 100:2008,
 * 4.3.7). The open end is sure to its bin, 1/sqrt(12), and to what the width of 0.1 mm leaves. */
Test(sealmap, an_arc_that_ends_in_blocked_bearings_ends_anywhere_in_them)
{
    crumb_near_an_end(1);
    const rg_arc *a = &map.arc[0];
    cr_expect_float_eq(a->end_deg, 153.5, 1e-9, "%g", a->end_deg);
    cr_expect(a->end_unseen && !a->start_unseen);
    double open = sqrt(2 * a->u_end_deg * a->u_end_deg - (256 + 1) / 12.0);
    cr_expect(open >= sqrt(1 / 12.0) && isfinite(open), "%g", open);
    cr_expect_float_eq(a->u_extent_deg, sqrt(2) * a->u_end_deg, 1e-9);
    cr_expect_float_eq(a->u_centre_deg, a->u_end_deg / sqrt(2), 1e-9);
    cr_expect_float_eq(a->u_extent_mm, a->u_extent_deg * RG_PI * 20 / 360, 1e-9);
}

Test(sealmap, a_blocked_start_mirrors_a_blocked_end)
{
    crumb_near_an_end(1);
    rg_arc there = map.arc[0];
    crumb_near_an_end(-1);
    const rg_arc *a = &map.arc[0];
    cr_expect_float_eq(a->start_deg, 360 - there.end_deg, 1e-9, "%g", a->start_deg);
    cr_expect_float_eq(a->end_deg, 360 - there.start_deg, 1e-9, "%g", a->end_deg);
    cr_expect_float_eq(a->u_end_deg, there.u_end_deg, 1e-9);
    cr_expect(a->start_unseen && !a->end_unseen);
}

Test(sealmap, what_is_blocked_all_through_is_no_arc)
{
    /* Its widths are not known: an arc would state 0 mm. */
    closed(&s, 0.0003);
    for (int b = 200; b <= 207; b++)
        open_bin(&s, b, b <= 202 || b >= 205 ? 0.1 : 0);
    merge(&s, &map);
    for (int b = 198; b <= 209; b++)
        cr_assert(map.bin[b].blocked && map.bin[b].state == RG_BIN_UNSEEN, "bearing %d", b);
    cr_expect_eq(map.arcs, 0);
}

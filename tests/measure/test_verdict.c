/*
 * Tests of verdict.h on hand-made maps. Guard band: ISO 14253-1 and JCGM 106;
 * with U = 2u a bearing exactly at the tolerance passes with the probability
 * of a normal variable 2 sigma below its mean, 0.0227501 (computed outside
 * this project).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/verdict.h"
#include "support/scene.h"
#include "support/setup.h"

static const double tolerance = 0.025;

static rg_sealmap_options usual(void)
{
    rg_setup s;
    test_setup(&s);
    cr_assert_eq(s.options.sealmap.tolerance_mm, tolerance);
    return s.options.sealmap;
}

static void seal(rg_seal_map *map)
{
    memset(map, 0, sizeof *map);
    map->rim_outer_diameter_mm = 20;
    for (int b = 0; b < RG_BINS; b++)
        map->bin[b] = (rg_bin){.bearing_deg = b,
                               .u_mm = 0.002,
                               .detection_limit_mm = 0.006,
                               .frames = 4,
                               .state = RG_BIN_SEALED};
}

static const rg_evidence good = {
    .light_proven = true, .rim_found = true, .frames_used = 30, .frames_given = 30};

static void gap(rg_seal_map *map, int first, int length, double width, double u)
{
    for (int k = 0; k < length; k++) {
        rg_bin *bin = &map->bin[(first + k) % RG_BINS];
        bin->state = RG_BIN_GAP;
        bin->width_mm = width;
        bin->u_mm = u;
        bin->lit = 2;
    }
}

static void unsee(rg_seal_map *map, int first, int length)
{
    for (int k = 0; k < length; k++) {
        rg_bin *bin = &map->bin[(first + k) % RG_BINS];
        bin->state = RG_BIN_UNSEEN;
        bin->width_mm = bin->u_mm = NAN;
        bin->detection_limit_mm = INFINITY;
        bin->frames = 0;
    }
}

static rg_verdict decide(rg_seal_map *map, const rg_evidence *evidence)
{
    rg_sealmap_options o = usual();
    rg_verdict_decide(map, evidence, &o);
    return map->verdict;
}

static bool says(const rg_seal_map *map, const char *words)
{
    for (int i = 0; i < map->reasons; i++)
        if (strstr(map->reason[i], words))
            return true;
    return false;
}

static rg_seal_map map;

Test(verdict, all_seen_and_all_within_is_sealed_without_reasons)
{
    seal(&map);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_SEALED);
    cr_assert_eq(map.reasons, 0);
}

/* -------------------------------------------------------------- evidence */
Test(verdict, perfect_bearings_without_a_witness_are_never_sealed)
{
    rg_evidence e = good;
    e.light_proven = false;
    strcpy(e.light_reason, "the lamp was off");
    seal(&map);
    cr_assert_eq(decide(&map, &e), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "the lamp was off"));
    e.light_reason[0] = '\0';
    cr_assert_eq(decide(&map, &e), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "no witness frame"));
}

Test(verdict, a_rim_that_was_not_found_is_never_sealed)
{
    rg_evidence e = good;
    e.rim_found = false;
    seal(&map);
    cr_assert_eq(decide(&map, &e), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "rim's edge was not found"));
}

Test(verdict, no_usable_frame_is_never_sealed)
{
    rg_evidence e = good;
    e.frames_used = 0;
    seal(&map);
    cr_assert_eq(decide(&map, &e), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "none of 30 closed frames"));
}

Test(verdict, a_provable_leak_needs_no_witness)
{
    /* Its width's uncertainty already carries the unknown lamp. */
    rg_evidence e = good;
    e.light_proven = false;
    seal(&map);
    gap(&map, 100, 20, 0.1, 0.02);
    cr_assert_eq(decide(&map, &e), RG_VERDICT_LEAKING);
    cr_assert(says(&map, "witness"), "the missing witness must still be named");
}

/* ------------------------------------------------------------------ seen */
Test(verdict, one_unseen_bearing_is_enough_not_to_seal)
{
    for (int b = 0; b < RG_BINS; b += 45) {
        char words[40];
        seal(&map);
        unsee(&map, b, 1);
        cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
        snprintf(words, sizeof words, "bearing %d:", b);
        cr_assert(says(&map, words));
        cr_assert(says(&map, "sweep again"));
    }
}

Test(verdict, unseen_bearings_over_the_seam_are_named_as_one_run)
{
    seal(&map);
    unsee(&map, 350, 25);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "bearings 350..14"));
    cr_assert_eq(map.reasons, 1);
}

Test(verdict, nothing_seen_at_all_is_said_once)
{
    seal(&map);
    unsee(&map, 0, RG_BINS);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert_eq(map.reasons, 1);
    cr_assert(says(&map, "no bearing was seen"));
}

Test(verdict, a_limit_at_half_the_tolerance_counts_as_seen_and_above_does_not)
{
    seal(&map);
    map.bin[10].detection_limit_mm = 0.5 * tolerance;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_SEALED);
    map.bin[10].detection_limit_mm = 0.5 * tolerance + 1e-6;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "thin gaps could hide at bearing 10:"));
}

Test(verdict, a_blocked_slot_is_not_sealed_and_its_remedy_is_named)
{
    seal(&map);
    gap(&map, 100, 40, 0.024, 0.0001); /* within tolerance on either side */
    unsee(&map, 115, 8);
    for (int b = 115; b < 123; b++)
        map.bin[b].blocked = true;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "bearings 115..122"));
    cr_assert(says(&map, "crumb"));
}

Test(verdict, a_bearing_lit_with_the_lamp_off_is_never_sealed)
{
    seal(&map);
    unsee(&map, 40, 6);
    for (int b = 40; b < 46; b++)
        map.bin[b].ambient = true;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert_eq(map.reasons, 1);
    cr_assert(says(&map, "bearings 40..45"));
}

/* ------------------------------------------------------------ guard band */
Test(verdict, a_gap_is_within_only_if_its_expanded_uncertainty_is)
{
    double u = 0.004;
    seal(&map);
    gap(&map, 50, 10, tolerance - 2 * u - 1e-9, u);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_SEALED);
    gap(&map, 50, 10, tolerance - 2 * u + 1e-6, u);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert(says(&map, "too close to the tolerance"));
    cr_assert(says(&map, "bearings 50..59"));
}

Test(verdict, a_gap_leaks_only_if_it_exceeds_the_tolerance_by_its_expanded_uncertainty)
{
    double u = 0.004;
    seal(&map);
    gap(&map, 50, 10, tolerance + 2 * u - 1e-6, u);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    gap(&map, 50, 10, tolerance + 2 * u + 1e-9, u);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_LEAKING);
    cr_assert(says(&map, "open at bearings 50..59"));
}

Test(verdict, a_sealed_bearing_too_uncertain_is_not_within)
{
    seal(&map);
    map.bin[5].u_mm = 0.0126;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    map.bin[5].u_mm = NAN;
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
}

Test(verdict, a_bearing_at_the_tolerance_passes_as_often_as_the_guard_band_allows)
{
    enum { TRIALS = 8000 };
    test_random random = {99};
    double u = 0.003;
    int passed = 0;
    seal(&map);
    for (int i = 0; i < TRIALS; i++) {
        gap(&map, 200, 1, tolerance + u * test_normal(&random), u);
        passed += decide(&map, &good) == RG_VERDICT_SEALED;
    }
    /* Standard error of the share: sqrt(0.02275 * 0.97725 / 8000) = 0.0017. */
    cr_assert_float_eq(passed / (double)TRIALS, 0.0227501, 0.006, "%d of %d", passed, TRIALS);
}

/* ---------------------------------------------------------------- length */
Test(verdict, an_opening_shorter_than_the_shortest_leak_is_neither_leak_nor_seal)
{
    for (int length = 1; length <= 4; length++) {
        seal(&map);
        gap(&map, 359, length, 0.2, 0.005);
        rg_verdict expected = length < 3 ? RG_VERDICT_UNDECIDED : RG_VERDICT_LEAKING;
        cr_assert_eq(decide(&map, &good), expected, "%d degrees", length);
        cr_assert_eq(says(&map, "shorter than 3 degrees"), length < 3);
    }
}

Test(verdict, a_leak_over_the_seam_is_one_leak)
{
    seal(&map);
    gap(&map, 358, 4, 0.08, 0.005);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_LEAKING);
    cr_assert_eq(map.reasons, 1);
    cr_assert(says(&map, "bearings 358..1"));
    cr_assert(says(&map, "0.080 +- 0.010 mm"));
}

Test(verdict, a_rim_open_all_round_leaks)
{
    seal(&map);
    gap(&map, 0, RG_BINS, 0.3, 0.01);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_LEAKING);
    cr_assert(says(&map, "bearings 0..359"));
}

/* Told where looking through is the larger part of u; then U has been widened for it (sealmap.h). */
Test(verdict, bearings_that_may_have_been_looked_through_are_named)
{
    for (int more = 0; more <= 1; more++) {
        seal(&map);
        gap(&map, 20, 60, 0.3, 0.1);
        for (int b = 30; b < 40; b++)
            map.bin[b].fit.u_through_mm = more ? 0.071 : 0.070; /* 0.1 / sqrt 2 = 0.0707 */
        cr_expect_eq(decide(&map, &good), RG_VERDICT_LEAKING);
        cr_expect_eq(says(&map, "look through the hole at bearings 30..39"), more);
    }
    seal(&map);
    gap(&map, 20, 60, 0.2, 0.095);
    for (int b = 20; b < 80; b++)
        map.bin[b].fit.u_through_mm = 0.09;
    cr_expect_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_expect(says(&map, "look through the hole at bearings 20..79"));
}

Test(verdict, both_ends_of_an_opening_are_named_in_one_reason)
{
    static const int end[3] = {20, 79, 200};
    seal(&map);
    gap(&map, 20, 60, 0.3, 0.1);
    gap(&map, 200, 1, 0.3, 0.1);
    for (int i = 0; i < 3; i++)
        map.bin[end[i]].fit.u_through_mm = 0.09;
    decide(&map, &good);
    cr_expect(says(&map, "look through the hole at bearing 20 and bearing 79: light"));
    cr_expect(says(&map, "look through the hole at bearing 200: light"));
}

Test(verdict, more_reasons_than_room_are_cut_not_overrun)
{
    seal(&map);
    for (int b = 0; b < RG_BINS; b += 6) /* too far apart to be told as one */
        unsee(&map, b, 1);
    cr_assert_eq(decide(&map, &good), RG_VERDICT_UNDECIDED);
    cr_assert_eq(map.reasons, RG_REASONS_MAX);
}

Test(verdict, deciding_again_does_not_pile_up_reasons)
{
    seal(&map);
    unsee(&map, 10, 5);
    decide(&map, &good);
    decide(&map, &good);
    cr_assert_eq(map.reasons, 1);
}

/* -------------------------------------------------------------- property */
/* One random flaw that must keep the map from being sealed. */
static void spoil(rg_seal_map *m, rg_evidence *e, test_random *random)
{
    int b = (int)(360 * test_uniform(random)), length = 1 + (int)(5 * test_uniform(random));
    double x = test_uniform(random);
    switch ((int)(10 * test_uniform(random))) {
    case 0:
        unsee(m, b, length);
        break;
    case 1:
        m->bin[b].detection_limit_mm = 0.0125 + 0.01 * x + 1e-9;
        break;
    case 2:
        m->bin[b].detection_limit_mm = INFINITY;
        break;
    case 3:
        gap(m, b, length, 0.025 * x, 0.0125 * (1 - x) + 1e-9);
        break;
    case 4:
        gap(m, b, length, 0.025 + 0.2 * x + 1e-9, 0.01 * x);
        break;
    case 5:
        m->bin[b].u_mm = 0.0126 + x;
        break;
    case 6:
        e->light_proven = false;
        break;
    case 7:
        e->rim_found = false;
        break;
    case 8:
        unsee(m, b, length);
        m->bin[b].ambient = true;
        break;
    default:
        unsee(m, b, length);
        m->bin[b].blocked = true;
    }
}

/* Harmless variety: gaps well within the tolerance, better limits. */
static void vary(rg_seal_map *m, test_random *random)
{
    for (int k = 0; k < 20; k++) {
        int b = (int)(360 * test_uniform(random));
        double u = 0.004 * test_uniform(random);
        gap(m, b, 3, (tolerance - 2 * u) * 0.999 * test_uniform(random), u);
        m->bin[b].detection_limit_mm = 0.0125 * test_uniform(random);
    }
}

Test(verdict, no_random_map_with_a_flaw_is_ever_sealed)
{
    test_random random = {4711};
    int sealed = 0, leaking = 0;
    for (int i = 0; i < 2000; i++) {
        rg_evidence e = good;
        int flaws = (int)(4 * test_uniform(&random));
        seal(&map);
        vary(&map, &random);
        for (int k = 0; k < flaws; k++)
            spoil(&map, &e, &random);
        rg_verdict v = decide(&map, &e);
        cr_assert_eq(v == RG_VERDICT_SEALED, flaws == 0, "map %d with %d flaws: %s", i, flaws,
                     rg_verdict_name(v));
        cr_assert_eq(map.reasons > 0, flaws > 0);
        sealed += v == RG_VERDICT_SEALED;
        leaking += v == RG_VERDICT_LEAKING;
    }
    cr_assert_gt(sealed, 300);
    cr_assert_gt(leaking, 50);
}

/* ---------------------------------------------------------------- the lamp */
Test(verdict, darkness_without_a_proven_lamp_is_no_seal_at_any_bearing)
{
    rg_evidence e = good;
    seal(&map);
    gap(&map, 100, 20, 0.1, 0.02);
    e.light_proven = false;
    rg_sealmap_unproven(&map);
    for (int b = 0; b < RG_BINS; b++) {
        bool lit = b >= 100 && b < 120;
        cr_assert_eq(map.bin[b].state, lit ? RG_BIN_GAP : RG_BIN_UNSEEN, "%d", b);
        cr_assert_eq(map.bin[b].unproven, !lit, "%d", b);
        cr_assert_eq(isnan(map.bin[b].width_mm), !lit, "%d", b);
    }
    cr_assert_eq(decide(&map, &e), RG_VERDICT_LEAKING);
    cr_assert_not(says(&map, "thin gaps could hide"), "they were looked at well enough");
    map.bin[200].detection_limit_mm = tolerance;
    decide(&map, &e);
    cr_assert(says(&map, "thin gaps could hide at bearing 200"));
}

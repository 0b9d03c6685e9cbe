/*
 * Tests of diagnosis.h: maps made from formulas whose faults and corrections are known in closed form.
 * Synthetic pads from springs with noise: tests/tools/diagnose_population.c; measured maps:
 * tests/tools/accuracy.c.
 */
#include "rimglow/diagnosis.h"

#include <criterion/criterion.h>
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "rimglow/vec.h"
#include "support/diagnosis.h"
#include "support/shape.h"

static rg_error err;
static rg_seal_map map;
static rg_diagnosis d;
static rg_sentences s;

static void near(const char *what, double value, double expected, double tolerance)
{
    cr_expect(fabs(value - expected) <= tolerance, "%s %.9g, expected %.9g", what, value, expected);
}

static void set_bin(int b, double width)
{
    map.bin[b] = test_bin(b, width, 0.002, 0.008);
}

static void set_plane(double mean, double tilt, double at, double saddle, double saddle_at)
{
    map = (rg_seal_map){.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        set_bin(b, mean + tilt * cos(rg_radians(b - at)) +
                       saddle * cos(2 * rg_radians(b - saddle_at)));
}

static void notch(int from, int to, double depth)
{
    for (int b = from; b <= to; b++)
        set_bin(b, map.bin[b].width_mm +
                       depth * sin(rg_radians(180.0 * (b - from + 0.5) / (to - from + 1))));
}

static void diagnose(const rg_shape *other)
{
    rg_diagnosis_options o = test_diagnosis_options();
    cr_assert_eq(rg_diagnose(&map, 0.025, other, &o, &d, &err), RG_OK, "%s", err.text);
    rg_diagnosis_sentences(&d, &s);
}

static bool says(const char *word)
{
    for (int i = 0; i < s.count; i++)
        if (strstr(s.line[i].text, word))
            return true;
    return false;
}

static void expect_one(rg_fault_kind kind)
{
    cr_expect_eq(d.found, RG_DIAGNOSIS_ONE, "%s", rg_diagnosis_name(&d));
    cr_assert_eq(d.faults, 1);
    cr_expect_eq(d.fault[0].kind, kind, "%s", rg_fault_kind_name(d.fault[0].kind));
    cr_expect(d.fault[0].confidence > 0.99 || isnan(d.fault[0].confidence), "%g",
              d.fault[0].confidence);
}

/* ------------------------------------------------------------- one fault */

/* Amplitude 0.1 at 120: 0.20 mm across the rim, from there to 300. */
Test(diagnosis, tilt_is_lowered_by_its_whole_height)
{
    set_plane(-0.02, 0.1, 120, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_TILT);
    near("towards", d.fault[0].bearing_deg, 120, 0.2);
    near("amount", d.fault[0].amount_mm, 0.20, 1e-9);
    near("contact", d.shape.contact_deg, 300, 0.3);
    cr_expect_eq(d.fault[0].action, RG_ACTION_HALF_SHIM);
    near("now", d.now.widest_mm, 0.08, 1e-9);
    cr_expect_eq(d.now.outlook, RG_OUTLOOK_ABOVE);
    near("afterwards", d.fault[0].afterwards.widest_mm, 0, 0.002);
    cr_expect_eq(d.fault[0].afterwards.outlook, RG_OUTLOOK_WITHIN);
    cr_expect(says("half-moon shim of 0.20 mm") && says("at 120") && says("touches first at 300"));
    cr_expect(says("only a new sweep shows it"));
}

Test(diagnosis, large_tilt_is_bent_and_not_shimmed)
{
    set_plane(-0.05, 0.2, 90, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_TILT);
    near("amount", d.fault[0].amount_mm, 0.40, 1e-9);
    cr_expect_eq(d.fault[0].action, RG_ACTION_BEND);
}

/* Touching at the key arm, widest opposite: thick at the hinge; the other way round: thin. Common
 * practice, no source. */
Test(diagnosis, tilt_along_the_arm_is_the_hinges)
{
    set_plane(-0.02, 0.08, 183, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_HINGE_THICK);
    cr_expect(says("touches at the key arm first") && says("key arm"));
    set_plane(-0.02, 0.08, 356, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_HINGE_THIN);
    set_plane(-0.02, 0.08, 200, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_TILT);
}

/* The hinge's confidence is the probability of its sector by the normal distribution (GSL). */
Test(diagnosis, confidence_of_the_hinge_is_that_of_its_bearing)
{
    set_plane(-0.02, 0.08, 192, 0, 0);
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b].u_mm *= map.bin[b].state == RG_BIN_GAP ? 6 : 1;
    diagnose(NULL);
    cr_assert_eq(d.fault[0].kind, RG_FAULT_HINGE_THICK);
    double off = d.shape.tilt.bearing_deg - 180, u = d.shape.tilt.u_bearing_deg;
    double p = gsl_cdf_gaussian_P(15 - off, u) - gsl_cdf_gaussian_P(-15 - off, u);
    near("confidence", d.fault[0].confidence, p * (1 - d.shape.tilt.p), 1e-9);
    cr_expect_lt(d.fault[0].confidence, 0.99);
}

Test(diagnosis, saddle_is_levelled)
{
    set_plane(0, 0, 0, 0.04, 70);
    diagnose(NULL);
    expect_one(RG_FAULT_SADDLE);
    near("high axis", d.fault[0].bearing_deg, 70, 0.3);
    near("amount", d.fault[0].amount_mm, 0.08, 1e-9);
    cr_expect_eq(d.fault[0].action, RG_ACTION_LEVEL);
    cr_expect(says("at 70 and 250") && says("at 160 and 340"));
    cr_expect_eq(d.fault[0].afterwards.outlook, RG_OUTLOOK_WITHIN);
}

/* 0.061 mm all round: the key is let down by the next whole hundredth, and so no gap is left. */
Test(diagnosis, parallel_gap_is_a_key_that_does_not_come_down)
{
    set_plane(0.061, 0, 0, 0, 0);
    diagnose(NULL);
    expect_one(RG_FAULT_UNIFORM);
    near("amount", d.fault[0].amount_mm, 0.07, 1e-9);
    near("afterwards", d.fault[0].afterwards.widest_mm, 0, 1e-9);
    cr_expect(says("does not come down"));
}

Test(diagnosis, short_opening_is_crease_or_dent)
{
    set_plane(-1, 0, 0, 0, 0);
    notch(70, 79, 0.06);
    diagnose(NULL);
    expect_one(RG_FAULT_LOCAL);
    near("middle", d.fault[0].bearing_deg, 75, 1);
    cr_expect_eq(d.fault[0].action, RG_ACTION_RESEAT);
    cr_expect(says("this map cannot tell"));
    near("afterwards", d.fault[0].afterwards.widest_mm, 0, 1e-9);
    set_plane(-1, 0, 0, 0, 0);
    notch(70, 79, 0.15);
    diagnose(NULL);
    cr_expect_eq(d.fault[0].action, RG_ACTION_REPLACE);
}

/* A second pad on the same rim: the dent stays where it is, the crease goes with its pad. */
Test(diagnosis, second_pad_tells_crease_from_dent)
{
    static rg_shape with, sound, blind;
    set_plane(-1, 0, 0, 0, 0);
    diagnose(NULL);
    sound = d.shape;
    blind = d.shape;
    blind.residual_mm[75] = NAN;
    notch(71, 80, 0.05);
    diagnose(NULL);
    with = d.shape;
    set_plane(-1, 0, 0, 0, 0);
    notch(70, 79, 0.06);
    diagnose(&with);
    expect_one(RG_FAULT_DENT);
    cr_expect_eq(d.fault[0].action, RG_ACTION_LEVEL_RIM);
    diagnose(&sound);
    expect_one(RG_FAULT_CREASE);
    diagnose(&blind);
    expect_one(RG_FAULT_LOCAL);
}

/* A wedge: contact opposite, blocked in the widest place. The tilt is the crumb's and no fault. */
Test(diagnosis, blocked_slot_in_the_widest_place_is_dirt_alone)
{
    set_plane(0.05, 0.05, 250, 0, 0);
    for (int b = 246; b < 255; b++) {
        set_bin(b, 0);
        map.bin[b].blocked = true;
    }
    diagnose(NULL);
    expect_one(RG_FAULT_DIRT);
    near("middle", d.fault[0].bearing_deg, 250, 0.1);
    cr_expect_eq(d.fault[0].test, RG_TEST_LIGHT);
    cr_expect_eq(d.fault[0].action, RG_ACTION_CLEAN);
    cr_expect_eq(d.fault[0].afterwards.outlook, RG_OUTLOOK_WITHIN);
    for (int b = 246; b < 255; b++)
        map.bin[b].blocked = false; /* dark only */
    diagnose(NULL);
    expect_one(RG_FAULT_DIRT);
    cr_expect_eq(d.fault[0].test, RG_TEST_NORMAL);
}

Test(diagnosis, blocked_slot_far_from_the_widest_place_leaves_the_tilt)
{
    set_plane(0.05, 0.05, 250, 0, 0);
    for (int b = 196; b < 205; b++) {
        set_bin(b, 0);
        map.bin[b].blocked = true;
    }
    diagnose(NULL);
    cr_expect_eq(d.found, RG_DIAGNOSIS_MIXED);
    cr_expect_eq(d.faults, 2);
}

/* A soft pad tents over a crumb: two openings with the contact between them. */
Test(diagnosis, two_openings_about_a_contact_are_dirt)
{
    set_plane(-1, 0, 0, 0, 0);
    notch(90, 99, 0.06);
    notch(108, 117, 0.05);
    diagnose(NULL);
    expect_one(RG_FAULT_DIRT);
    near("middle", d.fault[0].bearing_deg, 103.5, 1);
    near("afterwards", d.fault[0].afterwards.widest_mm, 0, 1e-9);
    set_plane(-1, 0, 0, 0, 0);
    notch(90, 99, 0.06);
    notch(150, 159, 0.05);
    diagnose(NULL);
    cr_expect_eq(d.faults, 2);
    cr_expect_eq(d.found, RG_DIAGNOSIS_ONE, "two creases are one kind");
    cr_expect_eq(d.fault[0].kind, RG_FAULT_LOCAL);
}

/* ------------------------------------------------------------- several */

/* Tilt, then crease: after the first the crease's own gap is left, after both none. */
Test(diagnosis, faults_are_ordered_and_what_is_left_is_told)
{
    set_plane(-0.02, 0.12, 120, 0, 0);
    notch(300, 309, 0.05);
    diagnose(NULL);
    cr_expect_eq(d.found, RG_DIAGNOSIS_MIXED);
    cr_assert_eq(d.faults, 2);
    cr_expect_eq(d.fault[0].kind, RG_FAULT_TILT);
    cr_expect_eq(d.fault[1].kind, RG_FAULT_LOCAL);
    cr_expect_gt(d.fault[0].effect_mm, d.fault[1].effect_mm);
    cr_expect_gt(d.fault[0].afterwards.widest_mm, 0.05);
    cr_expect_eq(d.fault[0].afterwards.outlook, RG_OUTLOOK_ABOVE);
    cr_expect_eq(d.fault[1].afterwards.outlook, RG_OUTLOOK_WITHIN);
    for (int b = 0; b < RG_BINS; b++)
        cr_expect_lt(d.predicted_mm[b], 0.003);
    set_plane(-0.01, 0.04, 120, 0, 0);
    notch(300, 309, 0.1);
    diagnose(NULL);
    cr_assert_eq(d.faults, 2);
    cr_expect_eq(d.fault[0].kind, RG_FAULT_LOCAL, "the larger one first");
}

/* Open all round and tilted: lowest 0.03. The tilt goes, the key stays as high as its lowest place
 * was; then it comes down. */
Test(diagnosis, key_comes_down_no_further_than_what_holds_it)
{
    set_plane(0.10, 0.07, 120, 0, 0);
    diagnose(NULL);
    cr_assert_eq(d.faults, 2);
    cr_expect_eq(d.fault[0].kind, RG_FAULT_TILT);
    near("tilt corrected", d.fault[0].afterwards.widest_mm, 0.03, 1e-6);
    near("lowest", d.fault[1].size_mm, 0.03, 1e-6);
    near("let down", d.fault[1].amount_mm, 0.03, 0.0101);
    near("all", d.fault[1].afterwards.widest_mm, 0, 1e-6);
}

/* ----------------------------------------------------------------- none */

Test(diagnosis, sealed_and_unseen_pads_have_no_fault)
{
    set_plane(-1, 0, 0, 0, 0);
    diagnose(NULL);
    cr_expect_eq(d.found, RG_DIAGNOSIS_NONE);
    cr_expect(isnan(d.confidence) && d.faults == 0);
    cr_expect(says("No gap shows") && says("0.008"));
    for (int b = 0; b < 40; b++)
        map.bin[b] = (rg_bin){.width_mm = NAN, .u_mm = NAN, .state = RG_BIN_UNSEEN};
    diagnose(NULL);
    cr_expect(says("40 bearings were not seen"));
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = (rg_bin){.width_mm = NAN, .u_mm = NAN, .state = RG_BIN_UNSEEN};
    diagnose(NULL);
    cr_expect_eq(d.found, RG_DIAGNOSIS_UNSEEN);
    cr_expect_str_eq(rg_diagnosis_name(&d), "unseen");
}

/* Half a tolerance of tilt is no fault. */
Test(diagnosis, what_the_tolerance_allows_is_no_fault)
{
    set_plane(0.012, 0.011, 120, 0, 0);
    diagnose(NULL);
    cr_expect_lt(d.shape.tilt.p, 0.001);
    cr_expect_eq(d.found, RG_DIAGNOSIS_NONE);
    cr_expect(says("No fault shows"));
}

/* A long opening with steps is neither plane nor saddle; it is not called one of them in silence. */
Test(diagnosis, gap_that_nothing_explains_is_uneven)
{
    set_plane(0.06, 0, 0, 0, 0);
    for (int b = 0; b < RG_BINS; b++)
        set_bin(b, 0.06 + 0.04 * cos(rg_radians(3 * b)));
    diagnose(NULL);
    bool uneven = false;
    for (int i = 0; i < d.faults; i++)
        uneven |= d.fault[i].kind == RG_FAULT_UNEVEN || d.fault[i].kind == RG_FAULT_LOCAL;
    cr_expect(uneven, "%s", rg_diagnosis_name(&d));
}

Test(diagnosis, impossible_options_are_refused_by_name)
{
    rg_diagnosis_options o = test_diagnosis_options();
    o.round_mm = 0;
    cr_expect_eq(rg_diagnose(&map, 0.025, NULL, &o, &d, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "round_mm"), "%s", err.text);
    o = test_diagnosis_options();
    cr_expect_eq(rg_diagnose(&map, 0, NULL, &o, &d, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "tolerance_mm"), "%s", err.text);
}

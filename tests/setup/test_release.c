/*
 * Tests of release.h.
 *
 * Outside values:
 * - Conformity: the Zener example of JCGM 106:2012 (v = -5.47, u = 0.05, upper limit -5.40: p_c printed
 *   as 0.92) and two intervals, from the normal distribution function as tabulated; with the guard
 *   band w = 2 u an item at the acceptance limit is outside in 2.275 % of the cases, with 1.644854 u
 *   in 5 % (quantiles of the standard normal distribution, ISO 14253-1 takes the latter by default).
 * - The change: the root of the sum of squares, JCGM 100, 5.1.2, by hand.
 * - That a firm finger releases nothing is common practice, no source.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/release.h"
#include "rimglow/setup_sheet.h"

static rg_error err;

/* ---------------------------------------------------------------- limits */

Test(release, probability_is_that_of_the_worked_examples)
{
    /* JCGM 106, Zener: printed 0.92; Phi(1.40) = 0.919243 in tables of the normal distribution. */
    cr_expect_float_eq(rg_release_probability(-5.47, 0.05, NAN, -5.40), 0.919243, 5e-7);
    cr_expect_float_eq(rg_release_probability(0.95, 0.03, NAN, 1), 0.9522096, 5e-8);
    cr_expect_float_eq(rg_release_probability(0.045, 0.004, 0, 0.05), 0.8943502, 5e-8);
    cr_expect_float_eq(rg_release_probability(5.47, 0.05, 5.40, NAN), 0.919243, 5e-7);
}

/* At the acceptance limit A = T - w the error that is still accepted is what w was chosen for. */
Test(release, a_guard_band_of_two_u_accepts_a_bad_item_in_one_of_44)
{
    double u = 0.01, high = 1;
    cr_expect_float_eq(1 - rg_release_probability(high - 2 * u, u, NAN, high), 0.0227501, 5e-8);
    cr_expect_float_eq(1 - rg_release_probability(high - 1.644854 * u, u, NAN, high), 0.05, 5e-7);
    cr_expect_eq(rg_release_within(high - 2.001 * u, u, NAN, high, true, 2), RG_ITEM_PASSED);
    cr_expect_eq(rg_release_within(high - 1.999 * u, u, NAN, high, true, 2), RG_ITEM_UNDECIDED);
}

/* JCGM 106 Zener: with U = 2 u the diode is not shown to conform; by simple acceptance it is. */
Test(release, the_zener_diode_is_undecided_with_a_guard_band)
{
    cr_expect_eq(rg_release_within(-5.47, 0.05, NAN, -5.40, true, 2), RG_ITEM_UNDECIDED);
    cr_expect_eq(rg_release_within(-5.47, 0.05, NAN, -5.40, false, 2), RG_ITEM_PASSED);
}

Test(release, limits_have_four_sides)
{
    static const struct {
        double x, u, low, high;
        bool guard;
        rg_item_state state;
    } row[] = {
        {5, 0.5, 3, 7, true, RG_ITEM_PASSED},      {6.5, 0.5, 3, 7, true, RG_ITEM_UNDECIDED},
        {8.5, 0.5, 3, 7, true, RG_ITEM_OUT},       {7.5, 0.5, 3, 7, true, RG_ITEM_UNDECIDED},
        {3.5, 0.5, 3, 7, true, RG_ITEM_UNDECIDED}, {1.5, 0.5, 3, 7, true, RG_ITEM_OUT},
        {6.9, 0.5, 3, 7, false, RG_ITEM_PASSED},   {7.1, 0.5, 3, 7, false, RG_ITEM_OUT},
        {2.9, NAN, 3, 7, false, RG_ITEM_OUT},      {5, NAN, 3, 7, true, RG_ITEM_UNDECIDED},
        {99, NAN, 3, 7, true, RG_ITEM_UNDECIDED},  {99, NAN, NAN, NAN, true, RG_ITEM_PASSED},
        {5, 3, 4, 6, true, RG_ITEM_UNDECIDED},     {2.5, 0.5, 3, NAN, false, RG_ITEM_OUT},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        cr_expect_eq(
            rg_release_within(row[i].x, row[i].u, row[i].low, row[i].high, row[i].guard, 2),
            row[i].state, "row %zu", i);
}

/* ---------------------------------------------------------------- a bench */

static const char *const pads[] = {"C", "G"};

static rg_release_sweep swept(const char *pad, rg_verdict verdict, rg_touch touch)
{
    bool open = verdict == RG_VERDICT_LEAKING;
    return (rg_release_sweep){pad,
                              verdict,
                              touch,
                              touch == RG_TOUCH_GRAMS ? 40 : NAN,
                              1000,
                              open ? 0.1 : NAN,
                              open ? 0.01 : NAN,
                              open ? 90 : NAN};
}

static rg_release_value measured(const char *quantity, double value, const char *unit, double u)
{
    return (rg_release_value){quantity, unit, "gauge", "", value, u, 1000};
}

static rg_value_rule limited(const char *quantity, const char *unit, double low, double high)
{
    rg_value_rule rule = {.need = RG_NEED_YES,
                          .low = low,
                          .high = high,
                          .reference_value = NAN,
                          .change_low = NAN,
                          .change_high = NAN,
                          .guard = true};
    strcpy(rule.quantity, quantity);
    strcpy(rule.unit, unit);
    return rule;
}

typedef struct bench {
    rg_release_rules rules;
    rg_release_evidence e;
    rg_release_sweep sweep[4];
    rg_release_value value[8];
    rg_release_check check[4];
    rg_release_visit visit[3];
    rg_release_value then[3];
    rg_release_result r;
} bench;

/* Two pads, each sealed under a light finger, and the rule that they must be. */
static bench *new_bench(void)
{
    bench *b = calloc(1, sizeof *b);
    b->rules.coverage_factor = 2;
    b->rules.seals = 1;
    b->rules.seal[0] = (rg_seal_rule){"*", true, 50, 30};
    b->sweep[0] = swept("C", RG_VERDICT_SEALED, RG_TOUCH_LIGHT);
    b->sweep[1] = swept("G", RG_VERDICT_SEALED, RG_TOUCH_LIGHT);
    b->e = (rg_release_evidence){.day = 1000,
                                 .pad = pads,
                                 .pads = 2,
                                 .sweep = b->sweep,
                                 .sweeps = 2,
                                 .value = b->value,
                                 .check = b->check,
                                 .visit = b->visit};
    return b;
}

static void judge(bench *b)
{
    rg_release_result_free(&b->r);
    cr_assert_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_OK, "%s", err.text);
}

static const rg_release_item *item_of(const bench *b, const char *name)
{
    for (int i = 0; i < b->r.items; i++)
        if (strcmp(b->r.item[i].name, name) == 0)
            return &b->r.item[i];
    cr_assert_fail("no item %s", name);
    return NULL;
}

static void expect_item(bench *b, const char *name, rg_item_state state, rg_decision decision,
                        const char *word)
{
    judge(b);
    const rg_release_item *item = item_of(b, name);
    cr_expect_eq(item->state, state, "%s is %s, not %s: %s", name, rg_item_state_name(item->state),
                 rg_item_state_name(state), item->why);
    cr_expect_eq(b->r.decision, decision, "%s: decision %d, not %d", name, b->r.decision, decision);
    cr_expect(strstr(item->why, word) != NULL, "\"%s\" says \"%s\"", item->why, word);
}

static void done(bench *b)
{
    rg_release_result_free(&b->r);
    free(b);
}

/* ---------------------------------------------------------------- pads */

Test(release, sealed_pads_are_released)
{
    bench *b = new_bench();
    expect_item(b, "C", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect_eq(b->r.reasons, 0);
    cr_expect_eq(b->r.items, 2);
    done(b);
}

Test(release, a_pad_that_was_not_swept_is_not_measured_and_holds)
{
    bench *b = new_bench();
    b->e.sweeps = 1;
    expect_item(b, "G", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not swept");
    b->rules.seal[0].required = false;
    expect_item(b, "G", RG_ITEM_NOT_MEASURED, RG_DECISION_RELEASE, "not swept");
    done(b);
}

Test(release, a_firm_finger_alone_releases_nothing)
{
    static const struct {
        rg_touch touch;
        double grams;
        rg_item_state state;
    } row[] = {{RG_TOUCH_LIGHT, NAN, RG_ITEM_PASSED},
               {RG_TOUCH_FIRM, NAN, RG_ITEM_UNDECIDED},
               {RG_TOUCH_UNSTATED, NAN, RG_ITEM_UNDECIDED},
               {RG_TOUCH_GRAMS, 50, RG_ITEM_PASSED},
               {RG_TOUCH_GRAMS, 51, RG_ITEM_UNDECIDED}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        bench *b = new_bench();
        b->sweep[1].touch = row[i].touch;
        b->sweep[1].grams = row[i].grams;
        bool passed = row[i].state == RG_ITEM_PASSED;
        expect_item(b, "G", row[i].state, passed ? RG_DECISION_RELEASE : RG_DECISION_HOLD_OPEN,
                    passed ? "" : "cannot release");
        done(b);
    }
}

/* Which of two sweeps of the pad G decides. */
static void expect_pair(rg_release_sweep first, rg_release_sweep second, rg_item_state state)
{
    bench *b = new_bench();
    b->sweep[1] = first;
    b->sweep[2] = second;
    b->e.sweeps = 3;
    judge(b);
    cr_expect_eq(item_of(b, "G")->state, state, "%d %d, %d %d: %s", first.verdict, first.touch,
                 second.verdict, second.touch, rg_item_state_name(item_of(b, "G")->state));
    done(b);
}

Test(release, the_last_light_sweep_decides_unless_a_later_one_leaks)
{
    const rg_release_sweep sealed = swept("G", RG_VERDICT_SEALED, RG_TOUCH_LIGHT),
                           leaking = swept("G", RG_VERDICT_LEAKING, RG_TOUCH_LIGHT),
                           open = swept("G", RG_VERDICT_UNDECIDED, RG_TOUCH_LIGHT),
                           firm = swept("G", RG_VERDICT_SEALED, RG_TOUCH_FIRM),
                           firm_leaking = swept("G", RG_VERDICT_LEAKING, RG_TOUCH_FIRM),
                           firm_open = swept("G", RG_VERDICT_UNDECIDED, RG_TOUCH_FIRM);
    expect_pair(leaking, sealed, RG_ITEM_PASSED); /* corrected */
    expect_pair(sealed, leaking, RG_ITEM_OUT);
    expect_pair(sealed, open, RG_ITEM_UNDECIDED);
    expect_pair(sealed, firm, RG_ITEM_PASSED);
    expect_pair(firm, sealed, RG_ITEM_PASSED);
    expect_pair(leaking, firm, RG_ITEM_OUT);
    expect_pair(sealed, firm_leaking, RG_ITEM_OUT);
    expect_pair(sealed, firm_open, RG_ITEM_PASSED);
    expect_pair(firm_leaking, sealed, RG_ITEM_PASSED);
    expect_pair(firm_leaking, firm, RG_ITEM_OUT); /* a firm finger is no proof that it was mended */
}

Test(release, a_leaking_pad_holds_even_where_nothing_requires_it)
{
    bench *b = new_bench();
    b->sweep[1] = swept("G", RG_VERDICT_LEAKING, RG_TOUCH_FIRM);
    expect_item(b, "G", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "0.100 +- 0.020 mm at bearing 90");
    b->rules.seal[0].required = false;
    expect_item(b, "G", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "leaking");
    b->rules.seal[0].required = true;
    b->sweep[1].pad = "F"; /* which the instrument does not have */
    expect_item(b, "F", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "leaking");
    done(b);
}

Test(release, a_pad_of_its_own_has_its_own_rule)
{
    bench *b = new_bench();
    b->rules.seals = 2;
    b->rules.seal[1] = (rg_seal_rule){"G", false, 0, 0};
    b->e.sweeps = 1;
    expect_item(b, "G", RG_ITEM_NOT_MEASURED, RG_DECISION_RELEASE, "");
    b->rules.seal[0] = (rg_seal_rule){"G", true, 0, 0};
    b->rules.seals = 1;
    expect_item(b, "C", RG_ITEM_NO_RULE, RG_DECISION_HOLD_OPEN, "");
    done(b);
}

Test(release, what_is_too_old_shows_nothing_today)
{
    static const struct {
        int day;
        rg_item_state state;
        const char *word;
    } row[] = {{970, RG_ITEM_PASSED, ""},
               {969, RG_ITEM_UNDECIDED, "31 days old, the most is 30"},
               {1001, RG_ITEM_UNDECIDED, "1 days after"},
               {-1, RG_ITEM_UNDECIDED, "not stated"}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        bench *b = new_bench();
        b->sweep[1].day = row[i].day;
        expect_item(b, "G", row[i].state, i ? RG_DECISION_HOLD_OPEN : RG_DECISION_RELEASE,
                    row[i].word);
        b->rules.seal[0].max_age_days = 0;
        expect_item(b, "G", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
        b->sweep[1].verdict = RG_VERDICT_LEAKING; /* of today nothing is shown, not even a leak */
        b->rules.seal[0].max_age_days = 30;
        judge(b);
        cr_expect_eq(item_of(b, "G")->state, i ? RG_ITEM_UNDECIDED : RG_ITEM_OUT);
        done(b);
    }
}

/* ---------------------------------------------------------------- values */

static bench *with_value(rg_value_rule rule, rg_release_value value)
{
    bench *b = new_bench();
    b->rules.values = 1;
    b->rules.value[0] = rule;
    b->value[0] = value;
    b->e.values = 1;
    return b;
}

Test(release, a_value_within_its_limits_passes_and_one_outside_holds)
{
    const rg_value_rule rule = limited("mass", "g", 2400, 2500);
    static const struct {
        double value, u;
        rg_item_state state;
        rg_decision decision;
        const char *word;
    } row[] = {{2450, 2, RG_ITEM_PASSED, RG_DECISION_RELEASE, ""},
               {2497, 2, RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "too close"},
               {2510, 2, RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "2510 +- 4 g, limit 2400 to 2500"},
               {2450, NAN, RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "no uncertainty"}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        bench *b = with_value(rule, measured("mass", row[i].value, "g", row[i].u));
        expect_item(b, "mass", row[i].state, row[i].decision, row[i].word);
        done(b);
    }
}

Test(release, a_required_value_that_is_missing_is_not_measured)
{
    bench *b = with_value(limited("mass", "g", NAN, NAN), measured("mass", 1, "g", NAN));
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    b->e.values = 0;
    expect_item(b, "mass", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not measured");
    b->rules.value[0].need = RG_NEED_NO;
    judge(b);
    cr_expect_eq(b->r.items, 2);
    cr_expect_eq(b->r.decision, RG_DECISION_RELEASE);
    done(b);
}

Test(release, what_is_not_required_holds_only_when_it_is_out)
{
    rg_value_rule rule = limited("mass", "g", NAN, 2500);
    rule.need = RG_NEED_NO;
    bench *b = with_value(rule, measured("mass", 2499, "g", 2));
    expect_item(b, "mass", RG_ITEM_UNDECIDED, RG_DECISION_RELEASE, "too close");
    b->value[0].value = 2600;
    expect_item(b, "mass", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "at most 2500");
    done(b);
}

Test(release, a_value_without_a_rule_is_shown_and_decides_nothing)
{
    bench *b = with_value(limited("mass", "g", NAN, NAN), measured("mass", 1, "g", NAN));
    b->value[1] = measured("humidity", 55, "furlong", NAN);
    b->e.values = 2;
    expect_item(b, "humidity", RG_ITEM_NO_RULE, RG_DECISION_RELEASE, "");
    done(b);
}

Test(release, exact_units_convert_and_others_are_named)
{
    bench *b = with_value(limited("mass", "g", 2400, 2500), measured("mass", 2.45, "kg", 0.002));
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect_float_eq(item_of(b, "mass")->value, 2450, 1e-9);
    cr_expect_float_eq(item_of(b, "mass")->u, 2, 1e-12);
    cr_expect_str_eq(item_of(b, "mass")->unit, "g");
    b->value[0].unit = "lb";
    rg_release_result_free(&b->r);
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "mass") && strstr(err.text, "\"lb\"") && strstr(err.text, "\"g\""),
              "%s", err.text);
    cr_expect(b->r.item == NULL && b->r.items == 0);
    done(b);
}

Test(release, a_unit_may_have_further_names_where_the_rule_says_so)
{
    rg_value_rule rule = limited("spring force *", "gf", 20, 80);
    bench *b = with_value(rule, measured("spring force G", 42, "g", 2));
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    strcpy(b->rules.value[0].unit_also, "grams, g");
    expect_item(b, "spring force G", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    b->value[0].unit = "N";
    b->value[0].value = 0.4118793; /* 42 gf, by g_n = 9.80665 m/s2 */
    b->value[0].u = 0.02;
    judge(b);
    cr_expect_float_eq(item_of(b, "spring force G")->value, 42, 1e-9);
    done(b);
}

Test(release, the_same_value_twice_and_numbers_that_are_none_are_refused)
{
    bench *b = with_value(limited("mass", "g", NAN, NAN), measured("mass", 1, "g", NAN));
    b->value[1] = b->value[0];
    b->e.values = 2;
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "twice") != NULL);
    b->e.values = 1;
    b->value[0].value = NAN;
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    b->value[0].value = 1;
    b->value[0].u = -1;
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    done(b);
}

/* ---------------------------------------------------------------- names */

Test(release, a_star_stands_for_any_text_that_is_not_empty)
{
    cr_expect(rg_release_matches("spring force *", "spring force low E flat"));
    cr_expect(rg_release_matches("* dryness", "pad G dryness"));
    cr_expect(rg_release_matches("*", "G"));
    cr_expect(rg_release_matches("mass", "mass"));
    cr_expect_not(rg_release_matches("spring force *", "spring force "));
    cr_expect_not(rg_release_matches("aba*aba", "ababa"));
    cr_expect_not(rg_release_matches("mass", "masses"));
    cr_expect_not(rg_release_matches("*", ""));
}

Test(release, the_closest_rule_is_taken)
{
    static rg_release_rules r;
    r.values = 3;
    r.value[0] = limited("spring *", "gf", NAN, NAN);
    r.value[1] = limited("spring force *", "gf", NAN, NAN);
    r.value[2] = limited("spring force G", "gf", NAN, NAN);
    cr_expect_eq(rg_release_value_rule(&r, "spring force G"), &r.value[2]);
    cr_expect_eq(rg_release_value_rule(&r, "spring force C"), &r.value[1]);
    cr_expect_eq(rg_release_value_rule(&r, "spring length C"), &r.value[0]);
    cr_expect_null(rg_release_value_rule(&r, "mass"));
}

Test(release, each_pad_must_have_its_value_where_the_rule_says_so)
{
    rg_value_rule rule = limited("spring force *", "gf", 20, 80);
    bench *b = with_value(rule, measured("spring force G", 42, "gf", 2));
    expect_item(b, "spring force G", RG_ITEM_PASSED, RG_DECISION_RELEASE, ""); /* one is enough */
    b->rules.value[0].need = RG_NEED_EACH_PAD;
    expect_item(b, "spring force C", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not measured");
    b->rules.value[1] = limited("spring force C", "gf", NAN, NAN);
    b->rules.value[1].need = RG_NEED_NO; /* an exception */
    b->rules.values = 2;
    judge(b);
    cr_expect_eq(b->r.decision, RG_DECISION_RELEASE);
    b->e.values = 0;
    b->rules.values = 1;
    b->rules.value[0].need = RG_NEED_YES;
    expect_item(b, "spring force *", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not measured");
    done(b);
}

/* ---------------------------------------------------------------- references */

static bench *with_visits(rg_reference reference, double now)
{
    rg_value_rule rule = limited("mass", "g", NAN, NAN);
    rule.reference = reference;
    rule.change_low = -15;
    rule.change_high = 15;
    bench *b = with_value(rule, measured("mass", now, "g", 3));
    b->then[0] = measured("mass", 2400, "g", 4);
    b->then[1] = measured("mass", 2.45, "kg", 0.004);
    b->visit[0] = (rg_release_visit){1, 600, &b->then[0], 1};
    b->visit[1] = (rg_release_visit){2, 800, &b->then[1], 1};
    b->visit[2] = (rg_release_visit){3, 900, &b->then[2], 0}; /* without a mass */
    b->e.visits = 3;
    return b;
}

Test(release, a_value_is_held_against_the_first_or_the_last_visit_that_measured_it)
{
    bench *b = with_visits(RG_REFERENCE_FIRST, 2402);
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect_eq(item_of(b, "mass")->reference_visit, 1);
    cr_expect_float_eq(item_of(b, "mass")->change, 2, 1e-9);
    cr_expect_float_eq(item_of(b, "mass")->u_change, 5, 1e-9); /* 3, 4, 5 */
    b->rules.value[0].reference = RG_REFERENCE_LAST;
    expect_item(b, "mass", RG_ITEM_OUT, RG_DECISION_HOLD_OUT,
                "change since visit 2 -48 +- 10 g, limit -15 to 15");
    done(b);
    b = with_visits(RG_REFERENCE_LAST, 2460); /* +10 +- 10: up to +20 */
    expect_item(b, "mass", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "too close");
    b->rules.value[0].guard = false;
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    done(b);
}

Test(release, the_first_value_of_a_kind_has_nothing_to_be_held_against)
{
    bench *b = with_visits(RG_REFERENCE_FIRST, 9999);
    b->e.visits = 0;
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect(isnan(item_of(b, "mass")->change));
    done(b);
}

Test(release, a_reference_in_a_foreign_unit_or_without_u_shows_nothing)
{
    bench *b = with_visits(RG_REFERENCE_FIRST, 2402);
    b->then[0].unit = "lb";
    expect_item(b, "mass", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "in lb");
    b->then[0] = measured("mass", 2400, "g", NAN);
    expect_item(b, "mass", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "no uncertainty");
    done(b);
}

Test(release, a_number_may_be_the_reference)
{
    bench *b = with_visits(RG_REFERENCE_VALUE, 2402);
    b->rules.value[0].reference_value = 2395;
    expect_item(b, "mass", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect_float_eq(item_of(b, "mass")->u_change, 3, 1e-9);
    b->rules.value[0].reference_value = 2380;
    expect_item(b, "mass", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "change 22 +- 6 g");
    done(b);
}

/* ---------------------------------------------------------------- balance */

static bench *with_springs(const char *members)
{
    bench *b = new_bench();
    b->rules.balances = 1;
    b->rules.balance[0] = (rg_balance_rule){.name = "springs",
                                            .quantity = "spring force *",
                                            .required = true,
                                            .unit = "gf",
                                            .spread_high = 20,
                                            .guard = true};
    strcpy(b->rules.balance[0].members, members);
    b->value[0] = measured("spring force C", 40, "gf", 3);
    b->value[1] = measured("spring force G", 44, "gf", 1);
    b->value[2] = measured("spring force low B", 48, "gf", 4);
    b->e.values = 3;
    return b;
}

Test(release, the_balance_is_the_largest_less_the_smallest)
{
    bench *b = with_springs("*");
    expect_item(b, "springs", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    cr_expect_float_eq(item_of(b, "springs")->value, 8, 1e-9);
    cr_expect_float_eq(item_of(b, "springs")->u, 5, 1e-9); /* 3, 4, 5 */
    b->value[2].value = 60;
    expect_item(b, "springs", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "spread 20 +- 10 gf");
    b->value[2].value = 71;
    expect_item(b, "springs", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "limit at most 20");
    done(b);
}

Test(release, only_the_members_of_a_group_count)
{
    bench *b = with_springs("C, G");
    b->value[2].value = 300;
    expect_item(b, "springs", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    strcpy(b->rules.balance[0].members, "C, G, low B");
    expect_item(b, "springs", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "");
    done(b);
}

Test(release, a_group_with_missing_members_never_passes)
{
    bench *b = with_springs("C, G, low B, high F");
    expect_item(b, "springs", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "3 of 4");
    b->value[2].value = 300; /* others could only widen it */
    expect_item(b, "springs", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "");
    b->e.values = 1;
    expect_item(b, "springs", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "needs two");
    b->rules.balance[0].required = false;
    expect_item(b, "springs", RG_ITEM_NOT_MEASURED, RG_DECISION_RELEASE, "needs two");
    done(b);
}

Test(release, a_balance_names_a_wrong_unit_and_is_as_old_as_its_oldest)
{
    bench *b = with_springs("*");
    b->rules.balance[0].max_age_days = 30;
    b->value[1].day = 900;
    expect_item(b, "springs", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "100 days old");
    b->value[1].unit = "oz";
    rg_release_result_free(&b->r);
    cr_expect_eq(rg_release_judge(&b->rules, &b->e, &b->r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "spring force G") && strstr(err.text, "oz"), "%s", err.text);
    done(b);
}

/* ---------------------------------------------------------------- checks */

static bench *with_check(bool stated, bool is_done)
{
    bench *b = new_bench();
    b->rules.checks = 1;
    b->rules.check[0] = (rg_check_rule){"lubrication", true, 30};
    b->check[0] = (rg_release_check){"lubrication", "light oil", stated, is_done, 1000};
    b->e.checks = 1;
    return b;
}

Test(release, a_check_is_done_not_done_or_not_there)
{
    bench *b = with_check(true, true);
    expect_item(b, "lubrication", RG_ITEM_PASSED, RG_DECISION_RELEASE, "");
    b->check[0].day = 900;
    expect_item(b, "lubrication", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "100 days old");
    b->e.checks = 0;
    expect_item(b, "lubrication", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "no check");
    b->rules.check[0].required = false;
    expect_item(b, "lubrication", RG_ITEM_NOT_MEASURED, RG_DECISION_RELEASE, "no check");
    done(b);
    b = with_check(true, false);
    expect_item(b, "lubrication", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "not done");
    done(b);
}

Test(release, a_remark_alone_is_no_check)
{
    bench *b = with_check(false, false);
    expect_item(b, "lubrication", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "only a remark");
    cr_expect_str_eq(item_of(b, "lubrication")->remark, "light oil");
    b->check[0].name = "colour of the case";
    expect_item(b, "colour of the case", RG_ITEM_NO_RULE, RG_DECISION_HOLD_OPEN, "");
    done(b);
}

/* ---------------------------------------------------------------- further sections */

Test(release, a_section_of_another_module_plugs_in)
{
    static rg_release_item item[2];
    strcpy(item[0].name, "low C");
    strcpy(item[1].name, "low B");
    item[0].state = RG_ITEM_PASSED;
    item[1].state = RG_ITEM_OUT;
    strcpy(item[1].why, "8.1 mm, target 9.0");
    rg_release_section further = {"key heights", item, 2};
    bench *b = new_bench();
    b->e.further = &further;
    b->e.furthers = 1;
    expect_item(b, "low B", RG_ITEM_OUT, RG_DECISION_HOLD_OUT, "8.1 mm");
    cr_expect_str_eq(item_of(b, "low B")->section, "key heights");
    item[1].state = RG_ITEM_UNDECIDED;
    expect_item(b, "low B", RG_ITEM_UNDECIDED, RG_DECISION_RELEASE, "");
    b->rules.sections = 1;
    b->rules.section[0] = (rg_section_rule){"key heights", true};
    expect_item(b, "low B", RG_ITEM_UNDECIDED, RG_DECISION_HOLD_OPEN, "");
    further.items = 0; /* not measured */
    expect_item(b, "key heights", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not measured");
    b->e.furthers = 0;
    expect_item(b, "key heights", RG_ITEM_NOT_MEASURED, RG_DECISION_HOLD_OPEN, "not measured");
    done(b);
}

/* ---------------------------------------------------------------- order */

Test(release, reasons_stand_in_the_order_of_their_gravity)
{
    static const char *const four[] = {"C", "G", "E", "F"};
    static const char *const order[] = {"G", "C", "mass", "lubrication", "E", "F"};
    char text[RG_RELEASE_REASON];
    bench *b = with_check(true, false);
    b->rules.values = 1;
    b->rules.value[0] = limited("mass", "g", NAN, 2500);
    b->value[0] = measured("mass", 2600, "g", 2);
    b->e.values = 1;
    b->e.pad = four;
    b->e.pads = 4;
    b->sweep[0] = swept("C", RG_VERDICT_LEAKING, RG_TOUCH_LIGHT);
    b->sweep[1] = swept("G", RG_VERDICT_LEAKING, RG_TOUCH_LIGHT);
    b->sweep[1].widest_mm = 0.2;
    b->sweep[2] = swept("E", RG_VERDICT_UNDECIDED, RG_TOUCH_LIGHT);
    b->e.sweeps = 3;
    judge(b);
    cr_assert_eq(b->r.reasons, 6);
    for (int i = 0; i < 6; i++) {
        cr_expect_str_eq(b->r.item[b->r.reason[i]].name, order[i]);
        cr_expect_eq(strncmp(rg_release_reason(&b->r, i, text), order[i], strlen(order[i])), 0);
    }
    cr_expect_eq(b->r.decision, RG_DECISION_HOLD_OUT);
    done(b);
}

/* Whatever is there: required and not passed is never released, and not measured is never passed. */
Test(release, nothing_that_was_not_measured_is_ever_passed)
{
    for (unsigned bits = 0; bits < 1u << 6; bits++) {
        bench *b = with_check(bits & 1, bits & 2);
        b->e.checks = bits & 4 ? 1 : 0;
        b->e.sweeps = bits & 8 ? 2 : 1;
        b->rules.values = 1;
        b->rules.value[0] = limited("mass", "g", NAN, 2500);
        b->value[0] = measured("mass", 2400, "g", bits & 16 ? 2 : NAN);
        b->e.values = bits & 32 ? 1 : 0;
        judge(b);
        bool all =
            (bits & 1) && (bits & 2) && (bits & 4) && (bits & 8) && (bits & 16) && (bits & 32);
        cr_expect_eq(b->r.decision == RG_DECISION_RELEASE, all, "bits %u", bits);
        if (!(bits & 8))
            cr_expect_eq(item_of(b, "G")->state, RG_ITEM_NOT_MEASURED);
        if (!(bits & 32))
            cr_expect_eq(item_of(b, "mass")->state, RG_ITEM_NOT_MEASURED);
        if (!(bits & 4))
            cr_expect_eq(item_of(b, "lubrication")->state, RG_ITEM_NOT_MEASURED);
        done(b);
    }
}

/* ---------------------------------------------------------------- changes */

Test(release, a_change_of_a_value_is_shown_beyond_k_u_or_not_at_all)
{
    static const struct {
        double then, u_then, now, u_now;
        const char *unit;
        rg_service_state state;
    } row[] = {{42, 3, 52, 4, "gf", RG_SERVICE_SAME},
               {42, 3, 52.1, 4, "gf", RG_SERVICE_MORE},
               {52.1, 3, 42, 4, "gf", RG_SERVICE_LESS},
               {42, NAN, 99, 4, "gf", RG_SERVICE_UNKNOWN},
               {42, 3, 99, 4, "oz", RG_SERVICE_UNKNOWN}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_release_value then = measured("x", row[i].then, row[i].unit, row[i].u_then),
                         now = measured("x", row[i].now, "gf", row[i].u_now);
        rg_service_line line = {.sequence = 1};
        rg_service_value(&then, &now, 2, &line);
        cr_expect_eq(line.state, row[i].state, "row %zu", i);
        if (row[i].state != RG_SERVICE_UNKNOWN)
            cr_expect_float_eq(line.u_change, 5, 1e-9); /* 3, 4, 5 */
    }
}

Test(release, a_pad_s_change_is_that_of_its_largest_arc)
{
    rg_change *c = calloc(1, sizeof *c);
    rg_service_line line = {0};
    c->overall = RG_CHANGE_GREW;
    c->arcs = 3;
    c->arc[0] = (rg_change_arc){RG_CHANGE_SHRANK, 10, 30, 20, -0.3, 0.02, 20};
    c->arc[1] = (rg_change_arc){RG_CHANGE_GREW, 100, 130, 30, 0.05, 0.01, 110};
    c->arc[2] = (rg_change_arc){RG_CHANGE_GREW, 200, 230, 30, 0.08, 0.02, 215};
    rg_service_pad(c, 0.01, 0.09, &line);
    cr_expect(line.pad && line.state == RG_SERVICE_MORE && line.change == 0.08);
    cr_expect(line.u_change == 0.02 && line.bearing_deg == 215);
    c->arcs = 0;
    c->overall = RG_CHANGE_NONE;
    c->mean_change_mm = 0.001;
    c->u_mean_change_mm = 0.004;
    rg_service_pad(c, NAN, NAN, &line);
    cr_expect(line.state == RG_SERVICE_SAME && line.change == 0.001 && isnan(line.bearing_deg));
    cr_expect_str_eq(rg_service_state_name(RG_SERVICE_MORE, true), "wider");
    cr_expect_str_eq(rg_service_state_name(RG_SERVICE_MORE, false), "more");
    free(c);
}

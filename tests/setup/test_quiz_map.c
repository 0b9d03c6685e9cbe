/*
 * Tests of quiz.h: an archived seal map as the truth of a question. Maps are made by hand, so that bearing, width, extent and
 * edges of classes are known; which edges lie within U is worked out by hand beside each row. That either class counts
 * there: common practice, no source.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/quiz.h"
#include "support/quiz.h"

static rg_error err;
static rg_quiz_options o;
static rg_seal_map map;
static rg_quiz_truth t;
static const double k = 2;
static const rg_fault_kind tilt = RG_FAULT_TILT, saddle = RG_FAULT_SADDLE;

static void setup(void)
{
    o = test_quiz_options(); /* edges at 0.025 0.05 0.10 0.20 mm */
    map = (rg_seal_map){.verdict = RG_VERDICT_LEAKING};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = (rg_bin){.bearing_deg = b, .u_mm = 0.001, .state = RG_BIN_SEALED};
}

TestSuite(quiz_map, .init = setup);

/* A triangle of that width at its middle, 0 at `half` degrees beside it. */
static void open_at(int middle, int half, double width_mm, double u_mm)
{
    for (int d = -half + 1; d < half; d++) {
        rg_bin *bin = &map.bin[(middle + d + RG_BINS) % RG_BINS];
        bin->state = RG_BIN_GAP;
        bin->width_mm = width_mm * (1 - fabs((double)d) / half);
        bin->u_mm = u_mm;
    }
}

static bool truth(const rg_fault_kind *fault)
{
    return rg_quiz_truth_of_map(&o, &map, k, fault, &t);
}

static rg_quiz_score said(rg_quiz_where where, double bearing, int width_class, rg_quiz_cause cause)
{
    rg_quiz_score s;
    rg_quiz_answer a = {where, bearing, width_class, cause};
    cr_assert_eq(rg_quiz_answer_check(&o, &a, &err), RG_OK);
    rg_quiz_score_of(&t, &a, &s);
    return s;
}

/* ------------------------------------------------------------------ bearing */

Test(quiz_map, the_widest_bearing_over_the_seam_and_its_extent)
{
    open_at(350, 40, 0.08, 0.001);
    open_at(170, 10, 0.05, 0.001);
    cr_assert(truth(&tilt));
    cr_expect(t.where == RG_QUIZ_AT && t.bearings == 1 && t.bearing_deg[0] == 350);
    cr_expect_eq(t.extent_deg, 41); /* 20 degrees on each side are half as wide */
    cr_expect_eq(t.tolerance_deg, 0.5 * 41 / 2);
    cr_expect_eq(t.open_deg, 79 + 19);
    cr_expect(said(RG_QUIZ_AT, 0, 3, RG_QUIZ_TILTED).all);
    cr_expect_not(said(RG_QUIZ_AT, 1, 3, RG_QUIZ_TILTED).bearing);
    cr_expect_not(said(RG_QUIZ_AT, 170, 3, RG_QUIZ_TILTED).bearing);
}

/* What was not seen does not count as open: the extent ends there. */
Test(quiz_map, an_unseen_bearing_ends_the_extent)
{
    open_at(100, 40, 0.08, 0.001);
    map.bin[105].state = RG_BIN_UNSEEN;
    map.bin[105].width_mm = map.bin[105].u_mm = NAN;
    cr_assert(truth(&tilt));
    cr_expect_eq(t.extent_deg, 20 + 1 + 4);
}

Test(quiz_map, of_a_saddle_the_other_side_counts_where_it_is_open_half_as_wide)
{
    open_at(20, 30, 0.08, 0.001);
    open_at(205, 30, 0.045, 0.001);
    cr_assert(truth(&saddle));
    cr_expect(t.bearings == 2 && t.bearing_deg[0] == 20 && t.bearing_deg[1] == 205);
    cr_expect(said(RG_QUIZ_AT, 207, 3, RG_QUIZ_SADDLE).all);
    cr_assert(truth(&tilt));
    cr_expect_eq(t.bearings, 1);
    setup();
    open_at(20, 30, 0.08, 0.001);
    open_at(205, 30, 0.035, 0.001);
    cr_assert(truth(&saddle));
    cr_expect_eq(t.bearings, 1);
}

/* Half as wide counts, and up to 45 degrees beside the opposite bearing. */
Test(quiz_map, of_a_saddle_the_other_side_is_sought_about_the_opposite_bearing)
{
    static const struct {
        int bearing, bearings;
    } row[] = {{200, 2}, {155, 2}, {154, 1}, {245, 2}, {246, 1}};
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        setup();
        open_at(20, 30, 0.08, 0.001);
        open_at(row[i].bearing, 1, 0.04, 0.001);
        cr_assert(truth(&saddle));
        cr_expect_eq(t.bearings, row[i].bearings, "at %d", row[i].bearing);
    }
}

/* The extent of a triangle 4 degrees to each side is 5 degrees; a quarter of it would be 1.25. */
Test(quiz_map, a_short_leak_has_the_least_tolerance)
{
    open_at(90, 4, 0.08, 0.001);
    cr_assert(truth(&tilt));
    cr_expect_eq(t.extent_deg, 5);
    cr_expect_gt(o.bearing_least_deg, 1.25);
    cr_expect_eq(t.tolerance_deg, o.bearing_least_deg);
}

Test(quiz_map, a_uniform_gap_is_all_round)
{
    const rg_fault_kind uniform = RG_FAULT_UNIFORM;
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = (rg_bin){b, 0.08, 0.001, .state = RG_BIN_GAP};
    cr_assert(truth(&uniform));
    cr_expect(t.where == RG_QUIZ_ROUND && t.bearings == 0 && t.extent_deg == 360);
    cr_expect(said(RG_QUIZ_ROUND, 0, 3, RG_QUIZ_UNIFORM).all);
}

/* -------------------------------------------------------------------- width */

Test(quiz_map, within_U_of_an_edge_either_class_is_right)
{
    /* width, u, class, below, above; U = 2 u. */
    static const struct {
        double width, u;
        int own, below, above;
    } row[] = {
        {0.034, 0.002, 2, 0, 0},                           /* 0.030 .. 0.038 */
        {0.047, 0.002, 2, 0, 1},                           /* 0.043 .. 0.051 reaches 0.05 */
        {0.047, 0.001, 2, 0, 0},                           /* 0.045 .. 0.049 does not */
        {0.058, 0.0066, 3, 1, 0},                          /* 0.0448 .. 0.0712 */
        {0.050, 0.0, 2, 0, 1},                             /* on the edge itself */
        {0.060, 0.03, 3, 2, 1},                            /* 0 .. 0.12: 0.025, 0.05 and 0.10 */
        {0.021, 0.02, 1, 0, 2},                            /* -0.019 .. 0.061: 0.025 and 0.05 */
        {0.300, 0.02, 5, 0, 0},                            /* 0.26 .. */
        {0.230, 0.02, 5, 1, 0},   {0.048, 0.001, 2, 0, 1}, /* 0.046 .. 0.050 ends on the edge */
        {0.110, 0.005, 4, 1, 0},                           /* 0.100 .. 0.120 begins on it */
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        setup();
        open_at(90, 30, row[i].width, row[i].u);
        cr_assert(truth(&tilt));
        int above = row[i].above;
        cr_expect(t.width_class == row[i].own && t.also_below == row[i].below &&
                      t.also_above == above,
                  "row %zu: %d -%d +%d", i, t.width_class, t.also_below, t.also_above);
        cr_expect_float_eq(t.U_mm, 2 * row[i].u, 1e-12);
        for (int c = 0; c < o.classes; c++) {
            int low = row[i].own - row[i].below, high = row[i].own + above;
            rg_quiz_score s = said(RG_QUIZ_AT, 90, c, RG_QUIZ_TILTED);
            cr_expect_eq(s.width, c >= low && c <= high, "row %zu class %d", i, c);
            cr_expect_eq(s.class_distance, c < low ? c - low : c > high ? c - high : 0);
        }
    }
}

/* 0.046 mm with u = 0.0015 mm reaches 0.05 mm by three u, not by two. */
Test(quiz_map, U_is_by_the_coverage_factor_of_the_map)
{
    open_at(90, 30, 0.046, 0.0015);
    cr_assert(truth(&tilt));
    cr_expect_eq(t.also_above, 0);
    cr_assert(rg_quiz_truth_of_map(&o, &map, 3, &tilt, &t));
    cr_expect_eq(t.also_above, 1);
    cr_expect_float_eq(t.U_mm, 0.0045, 1e-12);
}

/* However wide U is: the verdict tells leaking from sealed. */
Test(quiz_map, a_leak_is_never_the_class_sealed)
{
    open_at(90, 30, 0.03, 0.05);
    cr_assert(truth(&tilt));
    cr_expect_eq(t.width_class - t.also_below, 1);
    cr_expect_not(said(RG_QUIZ_AT, 90, 0, RG_QUIZ_TILTED).width);
}

Test(quiz_map, sealed_by_its_verdict)
{
    map.verdict = RG_VERDICT_SEALED;
    cr_assert(truth(NULL));
    cr_expect(t.cause == RG_QUIZ_SEALED && t.where == RG_QUIZ_NOWHERE && t.width_class == 0 &&
              t.also_above == 0 && t.widest_mm == 0);
    cr_expect(said(RG_QUIZ_NOWHERE, 0, 0, RG_QUIZ_SEALED).all);
    cr_expect_not(said(RG_QUIZ_NOWHERE, 0, 1, RG_QUIZ_SEALED).width);
    /* A gap within the tolerance: sealed, and the class of what shows is no error either. */
    open_at(40, 10, 0.012, 0.002);
    cr_assert(truth(NULL));
    cr_expect(t.width_class == 0 && t.also_above == 1 && t.where == RG_QUIZ_NOWHERE);
    cr_expect(said(RG_QUIZ_NOWHERE, 0, 1, RG_QUIZ_SEALED).width);
    cr_expect_not(said(RG_QUIZ_NOWHERE, 0, 2, RG_QUIZ_SEALED).width);
    cr_expect_not(said(RG_QUIZ_AT, 40, 0, RG_QUIZ_SEALED).bearing);
    open_at(40, 10, 0.024, 0.002); /* up to 0.028: beyond 0.025 */
    cr_assert(truth(NULL));
    cr_expect(t.width_class == 0 && t.also_above == 2);
}

/* -------------------------------------------------------------------- cause */

Test(quiz_map, causes_are_the_words_of_the_diagnosis)
{
    for (int kind = RG_FAULT_TILT; kind <= RG_FAULT_UNEVEN; kind++) {
        rg_quiz_cause cause = RG_QUIZ_SEALED;
        bool asked = rg_quiz_cause_of((rg_fault_kind)kind, &cause);
        cr_expect_eq(asked, kind != RG_FAULT_DIRT && kind != RG_FAULT_UNEVEN, "%d", kind);
        if (kind == RG_FAULT_CREASE || kind == RG_FAULT_DENT)
            cr_expect_eq(cause, RG_QUIZ_LOCAL);
        else if (asked)
            cr_expect_str_eq(rg_quiz_cause_name(cause), rg_fault_kind_name((rg_fault_kind)kind));
    }
}

Test(quiz_map, what_has_no_one_answer_is_no_truth)
{
    const rg_fault_kind dirt = RG_FAULT_DIRT;
    cr_expect_not(truth(&tilt), "a leak without an open bearing");
    open_at(90, 30, 0.06, 0.001);
    cr_expect(truth(&tilt));
    cr_expect_not(truth(NULL), "a leak without a fault");
    cr_expect_not(truth(&dirt));
    map.verdict = RG_VERDICT_UNDECIDED;
    cr_expect_not(truth(&tilt));
    map.verdict = RG_VERDICT_SEALED;
    cr_expect_not(truth(&tilt), "a seal with a fault");
    cr_expect(truth(NULL));
}

/* ----------------------------------------------------------------- feedback */

static rg_quiz_words words;

static bool says(const char *text)
{
    for (int i = 0; i < words.count; i++)
        if (strstr(words.text[i], text))
            return true;
    return false;
}

static void feed_back(rg_quiz_answer a)
{
    rg_quiz_score s;
    rg_quiz_score_of(&t, &a, &s);
    rg_quiz_feedback_of_map(&o, &t, &a, &s, "Whose map this is.", &words);
}

Test(quiz_map, feedback_tells_U_the_edge_and_whose_map_it_is)
{
    open_at(90, 30, 0.047, 0.002);
    cr_assert(truth(&tilt));
    feed_back((rg_quiz_answer){RG_QUIZ_AT, 90, 3, RG_QUIZ_SADDLE});
    cr_expect_str_eq(words.text[0], "Whose map this is.");
    cr_expect(says("Width right: the map has 0.047 +- 0.004 mm, up to 0.05 mm."));
    cr_expect(says("from \"up to 0.05 mm\" to \"up to 0.1 mm\" either counts as right"));
    cr_expect(says("Cause wrong. This is \"tilted\"") && says("Bearing right"));
    feed_back((rg_quiz_answer){RG_QUIZ_AT, 90, 5, RG_QUIZ_TILTED});
    cr_expect(says("Width wrong") && says("the answer is 2 classes too wide"));
    map.verdict = RG_VERDICT_SEALED;
    cr_assert(truth(NULL));
    feed_back((rg_quiz_answer){RG_QUIZ_NOWHERE, 0, 0, RG_QUIZ_SEALED});
    cr_expect(says("no gap beyond the tolerance") && says("sealed by its verdict") &&
              !says("either counts"));
}

/* ------------------------------------------------------------------ results */

static rg_quiz_entry entry[8];

/* Four drawn cases, four archived ones; all right but the last, which is wrong in all. */
static void sit(void)
{
    open_at(90, 30, 0.047, 0.002);
    cr_assert(truth(&tilt));
    for (int i = 0; i < 8; i++) {
        rg_quiz_entry *e = &entry[i];
        *e = (rg_quiz_entry){.time = i, .sitting = i / 4, .truth = t};
        if (i < 4) {
            cr_assert_eq(rg_quiz_draw(&o, (uint64_t)i, 3, RG_QUIZ_CAUSES, -1, &e->drawn, &err),
                         RG_OK);
            rg_quiz_truth_of(&o, &e->drawn, &e->truth);
            e->tool = e->tool_judged = true;
        } else {
            strcpy(e->picture, "WA2E-YYOY");
        }
        e->answer =
            i < 7
                ? test_quiz_right(&e->truth)
                : test_quiz_wrong(&o, &(rg_quiz_truth){.width_class = 4, .cause = RG_QUIZ_TILTED});
        e->tool_says = e->answer;
        rg_quiz_score_of(&e->truth, &e->answer, &e->score);
    }
    entry[5].answer.width_class = 3; /* the other side of the edge: right */
    rg_quiz_score_of(&entry[5].truth, &entry[5].answer, &entry[5].score);
}

Test(quiz_map, an_archived_map_is_no_independent_truth)
{
    rg_quiz_agreement a;
    sit();
    cr_assert_eq(rg_quiz_agree_truth(&o, "A", entry, 8, &a, &err), RG_OK);
    cr_expect_eq(a.cases, 4);
    entry[6].tool = entry[6].tool_judged = true; /* a file written by hand */
    cr_assert_eq(rg_quiz_agree_tool(&o, "A", entry, 8, &a, &err), RG_OK);
    cr_expect_eq(a.cases, 4);
    cr_assert_eq(rg_quiz_agree_archive(&o, "A", entry, 8, &a, &err), RG_OK);
    cr_expect_str_eq(a.first, "archived map");
    cr_expect(a.cases == 4 && a.cause_table.n[RG_QUIZ_TILTED][RG_QUIZ_TILTED] == 3);
    cr_expect(a.width_table.n[2][2] == 3 && a.width_table.n[2][5] == 1);
}

Test(quiz_map, archived_cases_are_counted_for_themselves_and_move_no_level)
{
    rg_quiz_progress p;
    rg_quiz_result r;
    sit();
    cr_assert_eq(rg_quiz_progress_of(&o, "A", entry, 8, &p, &err), RG_OK);
    cr_expect(p.practice.of == 4 && p.archived.of == 4 && p.archived.right == 3);
    cr_expect(p.stairs.answered == 4 && p.point[4].archived && !p.point[3].archived);
    rg_quiz_progress_free(&p);
    cr_assert_eq(rg_quiz_result_of(&o, "A", entry + 4, 4, &r, &err), RG_OK, "%s", err.text);
    cr_expect(r.all.right == 3 && isnan(r.level));
    cr_expect_str_eq(r.truth.first, "archived map");
    for (int i = 0; i < 8; i++)
        entry[i].sitting = 0;
    cr_expect_eq(rg_quiz_result_of(&o, "A", entry, 8, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "not both"), "%s", err.text);
}

/*
 * Tests of quiz.h: scores, feedback, difficulty and results. Scores and shares worked by hand; the up-and-down rule by a
 * simulated observer against the convergence points of Levitt (1971), table I: 1 in a row 50 %, 2 in a row 70.7 %, 3 in a
 * row 79.4 % right.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/quiz.h"
#include "rimglow/random.h"
#include "support/quiz.h"

static rg_error err;
static rg_quiz_options o;
static rg_quiz_truth t;
static rg_quiz_score s;

static void setup(void)
{
    o = test_quiz_options();
    t = (rg_quiz_truth){.cause = RG_QUIZ_TILTED,
                        .width_class = 2,
                        .widest_mm = 0.034,
                        .where = RG_QUIZ_AT,
                        .bearings = 1,
                        .bearing_deg = {350},
                        .extent_deg = 80,
                        .tolerance_deg = 20,
                        .hides_deg = 1.3};
}

TestSuite(quiz_score, .init = setup);

static void answer_at(double bearing)
{
    rg_quiz_answer a = {RG_QUIZ_AT, bearing, 2, RG_QUIZ_TILTED};
    cr_assert_eq(rg_quiz_answer_check(&o, &a, &err), RG_OK);
    rg_quiz_score_of(&t, &a, &s);
}

/* ------------------------------------------------------------------- scores */

Test(quiz_score, bearings_count_the_short_way_round)
{
    answer_at(10);
    cr_expect(s.error_deg == 20 && s.bearing && s.all);
    answer_at(11);
    cr_expect(s.error_deg == 21 && !s.bearing && !s.all && s.width && s.cause);
    answer_at(330);
    cr_expect(s.error_deg == -20 && s.bearing);
    answer_at(360);
    cr_expect(s.error_deg == 10 && s.bearing);
    answer_at(170);
    cr_expect(fabs(s.error_deg) == 180 && !s.bearing);
}

Test(quiz_score, either_side_of_a_saddle_is_right)
{
    t.bearings = 2;
    t.bearing_deg[0] = 20;
    t.bearing_deg[1] = 200;
    answer_at(215);
    cr_expect(s.error_deg == 15 && s.bearing);
    answer_at(10);
    cr_expect(s.error_deg == -10 && s.bearing);
    answer_at(110);
    cr_expect(fabs(s.error_deg) == 90 && !s.bearing);
}

Test(quiz_score, nowhere_and_all_round_are_no_bearings)
{
    static const rg_quiz_where where[] = {RG_QUIZ_NOWHERE, RG_QUIZ_AT, RG_QUIZ_ROUND};
    for (int truth = 0; truth < 3; truth++)
        for (int said = 0; said < 3; said++) {
            rg_quiz_answer a = {where[said], 350, 2, RG_QUIZ_TILTED};
            t.where = where[truth];
            t.bearings = t.where == RG_QUIZ_AT;
            rg_quiz_score_of(&t, &a, &s);
            cr_expect_eq(s.bearing, truth == said, "%d %d", truth, said);
            cr_expect_eq(isnan(s.error_deg), !(truth == 1 && said == 1), "%d %d", truth, said);
        }
}

Test(quiz_score, distance_of_classes_is_answer_less_truth)
{
    rg_quiz_answer a = {RG_QUIZ_AT, 350, 4, RG_QUIZ_SADDLE};
    rg_quiz_score_of(&t, &a, &s);
    cr_expect(s.class_distance == 2 && !s.width && !s.cause && s.bearing && !s.all);
    a.width_class = 0;
    rg_quiz_score_of(&t, &a, &s);
    cr_expect_eq(s.class_distance, -2);
}

Test(quiz_score, what_is_no_answer_is_refused)
{
    static const rg_quiz_answer bad[] = {
        {RG_QUIZ_AT, -1, 0, RG_QUIZ_SEALED},      {RG_QUIZ_AT, 361, 0, RG_QUIZ_SEALED},
        {RG_QUIZ_AT, NAN, 0, RG_QUIZ_SEALED},     {RG_QUIZ_NOWHERE, 0, 6, RG_QUIZ_SEALED},
        {RG_QUIZ_NOWHERE, 0, -1, RG_QUIZ_SEALED}, {RG_QUIZ_NOWHERE, 0, 0, RG_QUIZ_CAUSES},
        {(rg_quiz_where)3, 0, 0, RG_QUIZ_SEALED}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        cr_expect_eq(rg_quiz_answer_check(&o, &bad[i], &err), RG_BAD_DATA, "%zu", i);
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

static void feed_back(rg_quiz_answer a, double elevation_deg)
{
    rg_quiz_case c = {.views = 1, .view = {{340, elevation_deg}}, .cause = t.cause};
    rg_quiz_score_of(&t, &a, &s);
    rg_quiz_feedback(&o, &c, &t, &a, &s, &words);
}

Test(quiz_score, feedback_says_what_was_wrong_and_why)
{
    feed_back((rg_quiz_answer){RG_QUIZ_AT, 20, 3, RG_QUIZ_SADDLE}, 0.2);
    cr_expect(says("Bearing wrong") && says("350 degrees") && says("30 degrees off") &&
              says("20 are allowed") && says("over 80 degrees"));
    cr_expect(says("Width wrong: 0.034 mm, up to 0.05 mm; the answer is 1 class too wide"));
    cr_expect(says("It is tilted: one long opening") && says("It is not saddle: two openings"));
    cr_expect_not(says("hides this gap"));
    feed_back((rg_quiz_answer){RG_QUIZ_AT, 345, 0, RG_QUIZ_TILTED}, 0.9);
    cr_expect(says("Bearing right") && says("2 classes too narrow") && says("Cause right"));
    cr_expect(says("0.9 degrees above the rim; from 1.3 degrees on the pad's overhang of 1.5 mm "
                   "hides this gap"));
}

Test(quiz_score, feedback_of_a_sealed_pad)
{
    t = (rg_quiz_truth){.cause = RG_QUIZ_SEALED};
    feed_back((rg_quiz_answer){RG_QUIZ_AT, 20, 1, RG_QUIZ_LOCAL}, 3);
    cr_expect(says("Bearing wrong: there is no gap anywhere") && says("0.000 mm, sealed") &&
              says("It is in contact: no light"));
    feed_back((rg_quiz_answer){RG_QUIZ_NOWHERE, 0, 0, RG_QUIZ_SEALED}, 3);
    cr_expect(says("Bearing right") && says("Width right") && says("Cause right"));
}

Test(quiz_score, no_sentence_is_cut)
{
    for (int cause = 0; cause < RG_QUIZ_CAUSES; cause++)
        for (int said = 0; said < RG_QUIZ_CAUSES; said++) {
            t.cause = (rg_quiz_cause)cause;
            t.bearings = 2;
            feed_back((rg_quiz_answer){RG_QUIZ_AT, 100, 5, (rg_quiz_cause)said}, 1.2);
            for (int i = 0; i < words.count; i++)
                cr_expect(strlen(words.text[i]) < RG_QUIZ_SENTENCE - 1 &&
                              words.text[i][strlen(words.text[i]) - 1] == '.',
                          "%s", words.text[i]);
        }
}

/* -------------------------------------------------------------------- stairs */

/* An observer who is right with the probability 1 / (1 + exp(level - 5)): what share right the level settles
 * at, over 200000 cases. */
static double settles_at(int in_row, double step)
{
    enum { CASES = 200000, BEFORE = 1000 };
    rg_random random = {1971};
    rg_quiz_stairs stairs;
    double sum = 0;
    o.right_in_row = in_row;
    o.step = o.first_step = step;
    rg_quiz_stairs_begin(&o, &stairs);
    for (int i = 0; i < CASES + BEFORE; i++) {
        double p = 1 / (1 + exp(stairs.level - 5));
        sum += i >= BEFORE ? stairs.level : 0;
        rg_quiz_stairs_take(&o, rg_random_share(&random) < p, &stairs);
    }
    return 1 / (1 + exp(sum / CASES - 5));
}

Test(quiz_score, levels_settle_where_levitt_says)
{
    cr_expect_float_eq(settles_at(1, 0.05), 0.5, 0.01, "%g", settles_at(1, 0.05));
    cr_expect_float_eq(settles_at(2, 0.05), 0.707, 0.01, "%g", settles_at(2, 0.05));
    cr_expect_float_eq(settles_at(3, 0.05), 0.794, 0.01, "%g", settles_at(3, 0.05));
    cr_expect_float_eq(settles_at(4, 0.05), 0.841, 0.01, "%g", settles_at(4, 0.05));
}

/* As it is set: half levels. */
Test(quiz_score, the_settings_settle_near_it)
{
    cr_expect_float_eq(settles_at(2, 0.5), 0.707, 0.04, "%g", settles_at(2, 0.5));
}

Test(quiz_score, stairs_by_hand)
{
    rg_quiz_stairs stairs;
    rg_quiz_stairs_begin(&o, &stairs);
    static const struct {
        bool right;
        double level;
        int reversals;
    } step[] = {
        {true, 2, 0},   {true, 3, 0},    {true, 3, 0},
        {true, 4, 0},                                     /* two in a row: harder by 1 */
        {true, 4, 0},   {false, 3, 1},   {true, 3, 1},    /* one wrong: easier, a turn */
        {true, 3.5, 2}, {false, 3, 3},   {false, 2.5, 3}, /* from the second turn by 0.5 */
        {false, 2, 3},  {false, 1.5, 3}, {false, 1, 3},
        {false, 1, 3}, /* no easier than 1 */
    };
    for (size_t i = 0; i < sizeof step / sizeof step[0]; i++) {
        rg_quiz_stairs_take(&o, step[i].right, &stairs);
        cr_expect(stairs.level == step[i].level && stairs.reversals == step[i].reversals,
                  "%zu: %g %d", i, stairs.level, stairs.reversals);
    }
    cr_expect_eq(stairs.answered, (int)(sizeof step / sizeof step[0]));
}

/* ------------------------------------------------------------------- results */

static rg_quiz_entry entry[200];

static void sit(int from, int cases, const char *exam, int64_t sitting)
{
    for (int i = 0; i < cases; i++) {
        rg_quiz_entry *e = &entry[from + i];
        *e = (rg_quiz_entry){.time = sitting + 30 * i, .sitting = sitting};
        if (exam[0]) {
            strcpy(e->exam, exam);
            e->exam_seed = 42;
            e->exam_cases = cases;
            e->number = i + 1;
            e->pass_share = 0.7;
            cr_assert_eq(rg_quiz_exam_case(&o, 42, i, &e->drawn, &err), RG_OK);
        } else {
            cr_assert_eq(rg_quiz_draw(&o, (uint64_t)i, 3, RG_QUIZ_CAUSES, -1, &e->drawn, &err),
                         RG_OK);
        }
        rg_quiz_truth_of(&o, &e->drawn, &e->truth);
    }
}

static void reply(rg_quiz_entry *e, bool right)
{
    e->answer = right ? test_quiz_right(&e->truth) : test_quiz_wrong(&o, &e->truth);
    rg_quiz_score_of(&e->truth, &e->answer, &e->score);
}

/* 15 of 50 right: Wilson's 0.1910 to 0.4375 (test_kappa.c). */
Test(quiz_score, a_result_in_shares)
{
    rg_quiz_result r;
    o.exam_cases = 50;
    sit(0, 50, "E", 1000);
    for (int i = 0; i < 50; i++)
        reply(&entry[i], i < 15);
    entry[49].answer.width_class = entry[49].truth.width_class; /* the width alone */
    rg_quiz_score_of(&entry[49].truth, &entry[49].answer, &entry[49].score);
    cr_assert_eq(rg_quiz_result_of(&o, "A. Bell", entry, 50, &r, &err), RG_OK, "%s", err.text);
    cr_expect(r.all.right == 15 && r.all.of == 50 && r.width.right == 16 && r.cause.right == 15);
    cr_expect_float_eq(r.all.low, 0.1910355, 1e-6);
    cr_expect_float_eq(r.all.high, 0.4375035, 1e-6);
    cr_expect(r.complete && !r.passed && r.began == 1000 && r.ended == 1000 + 30 * 49);
    int of = 0, right = 0;
    for (int i = 0; i < RG_QUIZ_CAUSES; i++) {
        of += r.by_cause[i].of;
        right += r.by_cause[i].right;
    }
    cr_expect(of == 50 && right == 15);
    cr_expect_eq(r.median_error_deg, 0);
    cr_expect(r.truth.cases == 50 && r.truth.cause.state == RG_KAPPA_FOUND && !r.has_tool);
    cr_expect_str_eq(r.truth.second, "A. Bell");
    cr_expect_str_eq(r.class_name[5], "above 0.2 mm");
}

Test(quiz_score, the_pass_mark_itself_passes)
{
    rg_quiz_result r;
    o.exam_cases = 10;
    sit(0, 10, "E", 0);
    for (int i = 0; i < 10; i++)
        reply(&entry[i], i < 7);
    rg_quiz_result_of(&o, "A", entry, 10, &r, &err);
    cr_expect(r.passed && r.all.share == 0.7);
    reply(&entry[0], false);
    rg_quiz_result_of(&o, "A", entry, 10, &r, &err);
    cr_expect(!r.passed && r.complete);
    /* Nine answers of ten, all right, are no examination. */
    for (int i = 0; i < 10; i++)
        reply(&entry[i], true);
    rg_quiz_result_of(&o, "A", entry, 9, &r, &err);
    cr_expect(!r.passed && !r.complete && r.cases == 10 && r.answered == 9);
    /* Practice passes nothing. */
    sit(0, 10, "", 0);
    for (int i = 0; i < 10; i++)
        reply(&entry[i], true);
    rg_quiz_result_of(&o, "A", entry, 10, &r, &err);
    cr_expect(!r.passed && !r.complete && r.all.share == 1);
}

Test(quiz_score, what_does_not_belong_together_is_refused)
{
    rg_quiz_result r;
    o.exam_cases = 10;
    sit(0, 10, "E", 0);
    for (int i = 0; i < 10; i++)
        reply(&entry[i], true);
    cr_expect_eq(rg_quiz_result_of(&o, "A", entry, 0, &r, &err), RG_BAD_DATA);
    entry[4].number = 4;
    cr_expect_eq(rg_quiz_result_of(&o, "A", entry, 10, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "case 4 of examination E stands twice"), "%s", err.text);
    entry[4].number = 5;
    entry[4].sitting = 7;
    cr_expect_eq(rg_quiz_result_of(&o, "A", entry, 10, &r, &err), RG_BAD_DATA);
    entry[4].sitting = 0;
    entry[4].truth.width_class = 7;
    cr_expect_eq(rg_quiz_result_of(&o, "A", entry, 10, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "6 classes"), "%s", err.text);
}

/* ----------------------------------------------------------------- agreement */

/* 20 cases that both call tilted, 5 tilted by the first alone, 10 by the second alone, 15 by neither: kappa 0.4
 * by hand (test_kappa.c). */
Test(quiz_score, agreement_of_two_trainees_by_hand)
{
    static rg_quiz_entry first[60], second[60];
    rg_quiz_agreement a;
    o.exam_cases = 50;
    sit(0, 50, "E", 0);
    for (int i = 0; i < 50; i++) {
        first[i] = second[49 - i] = entry[i]; /* in another order */
        first[i].answer = second[49 - i].answer = test_quiz_right(&entry[i].truth);
        first[i].answer.cause = i < 25 ? RG_QUIZ_TILTED : RG_QUIZ_SADDLE;
        second[49 - i].answer.cause =
            i < 20 || (i >= 25 && i < 35) ? RG_QUIZ_TILTED : RG_QUIZ_SADDLE;
    }
    /* A second sitting of the same examination does not count, nor does practice, nor another one. */
    for (int i = 50; i < 60; i++) {
        first[i] = first[i - 50];
        first[i].sitting = 99;
        first[i].answer.cause = RG_QUIZ_LOCAL;
        second[i] = second[0];
        strcpy(second[i].exam, i % 2 ? "" : "other");
    }
    cr_assert_eq(rg_quiz_agree(&o, "A", first, 60, "B", second, 60, &a, &err), RG_OK);
    cr_expect_eq(a.cases, 50);
    cr_expect_eq(a.cause_table.n[RG_QUIZ_TILTED][RG_QUIZ_SADDLE], 5);
    cr_expect_eq(a.cause_table.n[RG_QUIZ_SADDLE][RG_QUIZ_TILTED], 10);
    cr_expect_float_eq(a.cause.kappa, 0.4, 1e-12);
    cr_expect(a.width.kappa == 1 && a.width.weights == RG_KAPPA_LINEAR);
}

Test(quiz_score, no_common_case_is_told)
{
    rg_quiz_agreement a;
    sit(0, 10, "", 0);
    cr_assert_eq(rg_quiz_agree(&o, "A", entry, 10, "B", entry, 10, &a, &err), RG_OK);
    cr_expect(a.cases == 0 && a.cause.state == RG_KAPPA_NO_CASES && isnan(a.cause.kappa));
}

Test(quiz_score, the_tool_counts_where_it_could_tell)
{
    rg_quiz_agreement a;
    o.exam_cases = 28;
    sit(0, 28, "E", 0);
    for (int i = 0; i < 28; i++) {
        reply(&entry[i], true);
        entry[i].tool = i < 20;
        entry[i].tool_judged = i < 12;
        entry[i].tool_says = entry[i].answer;
    }
    cr_assert_eq(rg_quiz_agree_tool(&o, "A", entry, 28, &a, &err), RG_OK);
    cr_expect(a.cases == 12 && fabs(a.cause.kappa - 1) < 1e-12);
    cr_expect_str_eq(a.first, "tool");
}

/* ------------------------------------------------------------------ progress */

Test(quiz_score, progress_holds_practice_and_whole_examinations)
{
    rg_quiz_progress p;
    o.window = 4;
    o.exam_cases = 10;
    sit(0, 8, "", 100);
    for (int i = 0; i < 8; i++)
        reply(&entry[i], i != 5);
    sit(8, 10, "E", 200);
    sit(18, 10, "E", 300);
    for (int i = 8; i < 28; i++)
        reply(&entry[i], i < 18);
    strcpy(entry[7].picture, "an archived one");
    cr_assert_eq(rg_quiz_progress_of(&o, "A. Bell", entry, 25, &p, &err), RG_OK, "%s", err.text);
    cr_expect(p.points == 25 && p.exams == 1 && p.exam[0].passed && p.exam[0].began == 200);
    cr_expect(isnan(p.point[2].share) && p.point[3].share == 1 && p.point[5].share == 0.75);
    cr_expect(isnan(p.point[7].level) && isnan(p.point[7].share) && isnan(p.point[9].share));
    cr_expect(p.point[9].exam && !p.point[0].exam && p.point[24].number == 25);
    /* 7 drawn practice cases: 2 2 3 3 4 | wrong | 3: level 2, up at 2 and 4 right, down at the 6th. */
    cr_expect(p.practice.of == 7 && p.practice.right == 6 && p.stairs.answered == 7);
    cr_expect_eq(p.stairs.level, 3);
    rg_quiz_progress_free(&p);
    cr_assert_eq(rg_quiz_progress_of(&o, "A. Bell", entry, 28, &p, &err), RG_OK);
    cr_expect(p.exams == 2 && !p.exam[1].passed && p.exam[0].sitting == 1 &&
              p.exam[1].sitting == 2);
    rg_quiz_progress_free(&p);
    cr_assert_eq(rg_quiz_progress_of(&o, "nobody", NULL, 0, &p, &err), RG_OK);
    cr_expect(p.points == 0 && p.exams == 0 && p.stairs.level == 2);
    rg_quiz_progress_free(&p);
}

/*
 * Tests of draw_quiz.h: both pages in every format, what they say, read back from the PDF by poppler's pdftotext, and
 * marks where the numbers put them, measured in the PNG.
 *
 * Outside value: Wilson's limits of 20 of 30 at 95 % are 0.488 and 0.808 (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927)
 * 209-212, worked out by hand from the formula).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/draw_quiz.h"
#include "support/print.h"

static rg_error err;

TestSuite(draw_quiz, .fini = test_release_fonts, .timeout = 60);

enum { W = RG_QUIZ_PAGE_WIDTH, H = RG_QUIZ_PAGE_HEIGHT, POINTS = 40 };

static rg_code draw_result(const void *args, rg_picture_format format, rg_bytes *out, rg_error *why)
{
    return rg_draw_quiz_result(args, format, out, why);
}

static rg_code draw_progress(const void *args, rg_picture_format format, rg_bytes *out,
                             rg_error *why)
{
    return rg_draw_quiz_progress(args, format, out, why);
}

/* 30 cases, 20 right; 4 tilts of which 3 were right. */
static rg_quiz_result usual(void)
{
    rg_quiz_result r = {.seed = 42,
                        .level = 5,
                        .began = 1764320000,
                        .ended = 1764323600, /* 2025-11-28 09:53:20 UTC */
                        .cases = 30,
                        .answered = 30,
                        .confidence = 0.95,
                        .pass_share = 0.6,
                        .complete = true,
                        .passed = true,
                        .median_error_deg = 7,
                        .errors = 24};
    snprintf(r.trainee, sizeof r.trainee, "Mira Holt");
    snprintf(r.exam, sizeof r.exam, "E-1-30-42-3f9c21ab");
    r.all = rg_quiz_share_of(20, 30, 0.95);
    r.bearing = rg_quiz_share_of(25, 30, 0.95);
    r.width = rg_quiz_share_of(23, 30, 0.95);
    r.cause = rg_quiz_share_of(27, 30, 0.95);
    r.by_cause[RG_QUIZ_TILTED] = rg_quiz_share_of(3, 4, 0.95);
    r.truth.cause =
        (rg_kappa){.cases = 30, .confidence = 0.95, .kappa = 0.88, .low = 0.75, .high = 1};
    r.truth.width = (rg_kappa){.state = RG_KAPPA_ONE_CLASS};
    return r;
}

static char *words_of(test_draw *draw, const void *args)
{
    rg_bytes pdf = test_drawn(draw, args, RG_PICTURE_PDF);
    char *words = test_pdf_words(pdf.data, pdf.size);
    free(pdf.data);
    return words;
}

static void expect_word(const char *words, const char *word)
{
    cr_expect(strstr(words, word) != NULL, "\"%s\" is missing in: %s", word, words);
}

Test(draw_quiz, result_says_what_was_counted)
{
    static const char *const said[] = {
        "Mira Holt",
        "2025-11-28",
        "E-1-30-42-3f9c21ab, seed 42",
        "30, answered 30",
        "20 of 30, 67 % (49 to 81 %)",
        "60 % of the cases",
        "0.88 (0.75 to 1.00), 30 cases",
        "not told: one class only",
        "PASSED",
        "3 of 4",
        "rimglow x.y",
        "This is a training result. It certifies no instrument, no pad and no repair."};
    rg_quiz_result r = usual();
    const rg_draw_result_args args = {&r, "rimglow x.y"};
    test_all_formats(draw_result, &args, W, H);
    char *words = words_of(draw_result, &args);
    for (size_t i = 0; i < sizeof said / sizeof *said; i++)
        expect_word(words, said[i]);
    cr_expect_null(strstr(words, "NOT"));
    free(words);
}

/* Share of dark pixels inside the outcome's box, which is in the page's middle. */
static double box_ink(const rg_quiz_result *r)
{
    const rg_draw_result_args args = {r, "rimglow x.y"};
    rg_image m = test_picture(draw_result, &args, W, H);
    double share = test_ink(&m, W / 2 - 230, 285, W / 2 - 180, 360) / (50.0 * 75);
    rg_image_free(&m);
    return share;
}

Test(draw_quiz, only_a_pass_is_called_one)
{
    rg_quiz_result r = usual();
    const rg_draw_result_args args = {&r, NULL};
    cr_expect(box_ink(&r) > 0.9, "passed: white on black");
    r.passed = false;
    cr_expect(box_ink(&r) < 0.1, "not passed: a frame");
    char *words = words_of(draw_result, &args);
    expect_word(words, "NOT PASSED");
    free(words);
    /* Whatever stands in `passed`. */
    r.passed = true;
    r.complete = false;
    r.answered = 12;
    cr_expect(box_ink(&r) < 0.1);
    words = words_of(draw_result, &args);
    expect_word(words, "NOT COMPLETE");
    cr_expect_null(strstr(words, "PASSED"));
    free(words);
}

Test(draw_quiz, a_bar_is_as_long_as_its_share)
{
    rg_quiz_result r = usual();
    const rg_draw_result_args args = {&r, NULL};
    rg_image m = test_picture(draw_result, &args, W, H);
    /* The only filled bar of the page: the longest run of dark pixels outside frames and box. */
    int best = 0, length = 0;
    for (int y = 700; y < 1080; y++)
        for (int x = 80, run = 0; x < W - 80; x++) {
            run = test_tone(&m, x, y) < 100 && test_tone(&m, x, y + 4) < 100 ? run + 1 : 0;
            if (run > length) {
                length = run;
                best = y;
            }
        }
    rg_image_free(&m);
    cr_assert(best > 0);
    cr_expect_float_eq(length, 0.75 * 360, 4, "%d px for 3 of 4 on 360 px", length);
}

Test(draw_quiz, practice_has_no_certificate)
{
    rg_quiz_result r = usual();
    rg_bytes out = {0};
    r.exam[0] = 0;
    const rg_draw_result_args args = {&r, NULL};
    cr_expect_eq(rg_draw_quiz_result(&args, RG_PICTURE_PDF, &out, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "examination"), "%s", err.text);
    cr_expect_null(out.data);
}

Test(draw_quiz, hostile_texts_stay_on_the_page)
{
    rg_quiz_result r = usual();
    char long_name[400];
    memset(long_name, 'W', sizeof long_name - 1);
    long_name[sizeof long_name - 1] = 0;
    memset(r.trainee, 'W', sizeof r.trainee - 1);
    memset(r.exam, 'W', sizeof r.exam - 1);
    r.seed = UINT64_MAX;
    r.has_tool = true;
    r.tool.cause = r.truth.cause;
    for (int k = 0; k < RG_QUIZ_CAUSES; k++)
        r.by_cause[k] = rg_quiz_share_of(1000, 100000, 0.95);
    const rg_draw_result_args args = {&r, long_name};
    test_all_formats(draw_result, &args, W, H);
    snprintf(r.trainee, sizeof r.trainee, "<&\"\xff\x01\n>");
    test_all_formats(draw_result, &args, W, H);
}

/* ---------------------------------------------------------------- progress */

static rg_quiz_progress walk(rg_quiz_point point[POINTS])
{
    rg_quiz_progress q = {.levels = 10,
                          .confidence = 0.95,
                          .window = 20,
                          .points = POINTS,
                          .point = point,
                          .stairs = {.level = 4.5}};
    snprintf(q.trainee, sizeof q.trainee, "Mira Holt");
    for (int i = 0; i < POINTS; i++)
        point[i] = (rg_quiz_point){.time = 1764320000 + 86400 * (int64_t)i,
                                   .number = i + 1,
                                   .level = 1 + i % 10,
                                   .all = true,
                                   .share = i < 20 ? (double)NAN : 0.5,
                                   .low = i < 20 ? (double)NAN : 0.3,
                                   .high = i < 20 ? (double)NAN : 0.7};
    q.practice = rg_quiz_share_of(20, 30, 0.95);
    return q;
}

Test(draw_quiz, progress_says_how_it_stands)
{
    static const char *const said[] = {
        "Mira Holt",
        "Answers from 2025-11-28 to 2026-01-06: 40.",
        "20 of 30 cases all right, 67 % (49 to 81 % at 95 % confidence)",
        "level 4.5 of 10",
        "taken to their end: 1.",
        "needed to pass",
        "among the last 20 practice cases",
        "A training record."};
    rg_quiz_point point[POINTS];
    rg_quiz_result exam = usual();
    rg_quiz_progress q = walk(point);
    q.exams = 1;
    q.exam = &exam;
    const rg_draw_progress_args args = {&q, "rimglow x.y"};
    test_all_formats(draw_progress, &args, W, H);
    char *words = words_of(draw_progress, &args);
    for (size_t i = 0; i < sizeof said / sizeof *said; i++)
        expect_word(words, said[i]);
    free(words);
}

/* With fewer cases than the share is told of, the empty frame says so; the axis reaches down to the lowest kappa. */
Test(draw_quiz, an_empty_share_says_from_when_and_a_low_kappa_has_room)
{
    rg_quiz_point point[POINTS];
    rg_quiz_result exam = usual();
    rg_quiz_progress q = walk(point);
    const rg_draw_progress_args args = {&q, NULL};
    q.exams = 1;
    q.exam = &exam;
    char *words = words_of(draw_progress, &args);
    cr_expect_null(strstr(words, "practice cases on"));
    cr_expect_null(strstr(words, "-0.5"));
    free(words);
    for (int i = 0; i < q.points; i++)
        point[i].share = point[i].low = point[i].high = (double)NAN;
    exam.truth.cause.low = -0.55;
    words = words_of(draw_progress, &args);
    expect_word(words, "told from 20 practice cases on");
    expect_word(words, "-0.5");
    free(words);
}

/* Height of the ink's middle in a narrow upright window. */
static double middle_of(const rg_image *m, int x, int top, int bottom)
{
    double sum = 0, n = 0;
    for (int y = top; y < bottom; y++)
        for (int k = x - 2; k <= x + 2; k++)
            if (test_tone(m, k, y) < 100) {
                sum += y;
                n++;
            }
    return n > 0 ? sum / n : (double)NAN;
}

/* Axis of answers 0 to 41 over 780 px from 130; the levels' plot is 230 high from 652, up to 10.8. */
static int x_of(int number)
{
    return (int)lround(130 + 780 * number / (POINTS + 1.0));
}

Test(draw_quiz, a_case_stands_at_its_level)
{
    rg_quiz_point point[POINTS];
    rg_quiz_progress q = walk(point);
    const rg_draw_progress_args args = {&q, NULL};
    rg_image m = test_picture(draw_progress, &args, W, H);
    for (int i = 1; i < 10; i++) {
        double y = middle_of(&m, x_of(i + 1), 656, 878);
        cr_expect_float_eq(y, 652 + 230 * (1 - (1 + i) / 10.8), 1.5, "case %d at %.1f", i + 1, y);
    }
    rg_image_free(&m);
}

Test(draw_quiz, right_is_filled_and_wrong_is_not)
{
    rg_quiz_point point[POINTS];
    rg_quiz_progress q = walk(point);
    const rg_draw_progress_args args = {&q, NULL};
    rg_image m = test_picture(draw_progress, &args, W, H);
    int y = (int)lround(652 + 230 * (1 - 6 / 10.8));
    int filled = test_ink(&m, x_of(6) - 5, y - 5, x_of(6) + 6, y + 6);
    rg_image_free(&m);
    point[5].all = false;
    m = test_picture(draw_progress, &args, W, H);
    int ring = test_ink(&m, x_of(6) - 5, y - 5, x_of(6) + 6, y + 6);
    cr_expect(test_tone(&m, x_of(6), y) > 150, "its middle is empty");
    rg_image_free(&m);
    cr_expect(filled > 1.5 * ring && ring > 10, "%d against %d", filled, ring);
}

Test(draw_quiz, the_share_and_its_band_lie_where_they_are)
{
    rg_quiz_point point[POINTS];
    rg_quiz_progress q = walk(point);
    const rg_draw_progress_args args = {&q, NULL};
    rg_image m = test_picture(draw_progress, &args, W, H);
    /* 276 .. 506: a half is at 391; no curve before the first share. */
    cr_expect_float_eq(middle_of(&m, x_of(30), 380, 402), 391, 2);
    cr_expect_eq(test_ink(&m, x_of(12) - 3, 385, x_of(12) + 3, 397), 0);
    rg_image_free(&m);
}

Test(draw_quiz, nothing_and_very_much_can_be_drawn)
{
    enum { MANY = 3000, EXAMS = 60 };
    rg_quiz_progress none = {.levels = 10, .confidence = 0.95, .window = 20};
    rg_draw_progress_args args = {&none, NULL};
    test_all_formats(draw_progress, &args, W, H);
    char *words = words_of(draw_progress, &args);
    expect_word(words, "No answers yet.");
    expect_word(words, "no examination was taken to its end");
    free(words);
    rg_quiz_point *point = calloc(MANY, sizeof *point);
    rg_quiz_result *exam = calloc(EXAMS, sizeof *exam);
    for (int i = 0; i < MANY; i++)
        point[i] = (rg_quiz_point){.time = i,
                                   .number = i + 1,
                                   .level = 1 + i % 10,
                                   .exam = i % 3 == 0,
                                   .share = 0.5,
                                   .low = 0,
                                   .high = 1};
    for (int i = 0; i < EXAMS; i++) {
        exam[i] = usual();
        exam[i].truth.cause.kappa = exam[i].truth.cause.low = -1;
    }
    rg_quiz_progress q = {.levels = 10,
                          .confidence = 0.95,
                          .window = 20,
                          .points = MANY,
                          .point = point,
                          .exams = EXAMS,
                          .exam = exam};
    memset(q.trainee, 'W', sizeof q.trainee - 1);
    args = (rg_draw_progress_args){&q, "rimglow x.y"};
    test_all_formats(draw_progress, &args, W, H);
    words = words_of(draw_progress, &args);
    expect_word(words, "36 earlier ones are not drawn");
    free(words);
    free(point);
    free(exam);
}

/*
 * Tests of draw_lesson.h: every sheet on both papers and in every format, what it says, read back from the PDF by
 * poppler's pdftotext, marks where the numbers put them, and texts that are hostile.
 *
 * Outside values: elevations at which a slot of 2.5 mm closes, from path-traced frames (an independent renderer):
 * 0.05 mm is dark beyond about 1.1 degrees, 0.02 mm beyond 0.5.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/draw_lesson.h"
#include "rimglow/vec.h"
#include "support/print.h"

static rg_error err;

TestSuite(draw_lesson, .fini = test_release_fonts, .timeout = 120);

/* ---------------------------------------------------------------- lessons */

enum { PICTURE_W = 160, PICTURE_H = 24 };

typedef struct made {
    rg_seal_map map;
    rg_diagnosis diagnosis;
    uint8_t grey[PICTURE_W * PICTURE_H];
    rg_lesson_leak leak;
    rg_lesson_hold hold;
    rg_lesson_finger finger;
    rg_lesson_causes causes;
    rg_lesson_care care;
    rg_lesson_exercises exercises;
    rg_lesson_exercise exercise[RG_LESSON_EXERCISES];
} made;

static const char *const cause_name[] = {"in contact", "tilted", "saddle"};

static void fill_map(rg_seal_map *map)
{
    map->rim_outer_diameter_mm = 20;
    map->verdict = RG_VERDICT_LEAKING;
    map->reasons = 1;
    snprintf(map->reason[0], RG_REASON_SIZE, "open at bearings 170..190: up to 0.050 +- 0.004 mm");
    for (int b = 0; b < RG_BINS; b++) {
        bool gap = b >= 170 && b <= 190;
        map->bin[b] = (rg_bin){.bearing_deg = b,
                               .width_mm = gap ? 0.05 : 0,
                               .u_mm = 0.002,
                               .detection_limit_mm = 0.008,
                               .frames = 6,
                               .lit = gap ? 4 : 0,
                               .state = gap ? RG_BIN_GAP : RG_BIN_SEALED};
    }
}

/* Black with a white band of two rows in the middle. */
static rg_lesson_picture picture_of(made *m, double elevation)
{
    rg_lesson_picture p = {.width = PICTURE_W,
                           .height = PICTURE_H,
                           .grey = m->grey,
                           .px_per_mm = 10,
                           .bearing_deg = 178,
                           .elevation_deg = elevation};
    memset(m->grey, 0, sizeof m->grey);
    memset(m->grey + 11 * PICTURE_W, 255, 2 * PICTURE_W);
    for (int i = 0; i < RG_LESSON_TICKS; i++)
        p.tick_px[i] = i % 3 ? (double)NAN : PICTURE_W * (i + 0.5) / RG_LESSON_TICKS;
    return p;
}

static void fill_hold(made *m, const rg_lesson_head *head, const rg_lesson_result *result)
{
    m->hold = (rg_lesson_hold){.head = *head,
                               .views = 6,
                               .levels = 3,
                               .lowest_deg = -0.4,
                               .highest_deg = 0.4,
                               .raised_mm = 0.05,
                               .gap_deg = 180,
                               .hidden = *result,
                               .hidden_views = 4};
    for (int i = 0; i < RG_LESSON_RAISED; i++)
        m->hold.raised[i] = picture_of(m, i - 3);
    for (int i = 0; i < 2; i++)
        m->hold.streak[i] = picture_of(m, 0);
    m->hold.curve[0] = (rg_lesson_curve){.width_mm = 0.02};
    m->hold.curve[1] = (rg_lesson_curve){.width_mm = 0.05, .dots = 3};
    for (int k = 0; k < 3; k++)
        m->hold.curve[1].dot[k] = (rg_lesson_dot){3 * (k - 1), k == 1 ? 0.05 : 0.025, 0.001};
}

static void fill_exercises(made *m, const rg_lesson_head *head, const rg_lesson_result *result)
{
    m->exercises = (rg_lesson_exercises){.head = *head,
                                         .classes = 2,
                                         .class_name = {"sealed", "above 0.025 mm"},
                                         .causes = 3,
                                         .cause_name = cause_name,
                                         .exercises = RG_LESSON_EXERCISES,
                                         .exercise = m->exercise};
    for (int i = 0; i < RG_LESSON_EXERCISES; i++) {
        m->exercise[i] = (rg_lesson_exercise){.cause = i == 3 ? "saddle" : "tilted",
                                              .where = "at",
                                              .bearings = i == 3 ? 2 : 1,
                                              .bearing_deg = {100 + i, 280 + i},
                                              .tolerance_deg = 15,
                                              .width_class = 1,
                                              .result = *result};
        for (int v = 0; v < RG_LESSON_VIEWS; v++)
            m->exercise[i].view[v] = picture_of(m, 0.3);
    }
}

static made *usual(rg_paper paper)
{
    made *m = calloc(1, sizeof *m);
    const rg_lesson_head head = {.paper = paper,
                                 .instrument = "Port Ellery loan alto (demo)",
                                 .pad = "G",
                                 .software = "rimglow x.y",
                                 .seed = 7,
                                 .tolerance_mm = 0.025,
                                 .coverage_factor = 2,
                                 .land_mm = 1,
                                 .overhang_mm = 1.5,
                                 .distance_mm = 110,
                                 .px_per_mm = 30};
    const rg_lesson_result result = {&m->map, &m->diagnosis, 0.05, 180};
    fill_map(&m->map);
    m->diagnosis = (rg_diagnosis){.found = RG_DIAGNOSIS_UNSEEN};
    m->leak = (rg_lesson_leak){.head = head};
    for (int i = 0; i < RG_LESSON_GAPS; i++)
        m->leak.gap[i] = (rg_lesson_gap){
            0.01 + 0.04 * i, 180, picture_of(m, 0), picture_of(m, 1), 0.1, 0.001, 0.5, 0.07,
            result};
    fill_hold(m, &head, &result);
    m->finger = (rg_lesson_finger){head, picture_of(m, 0), picture_of(m, 0), result, result};
    m->causes = (rg_lesson_causes){.head = head};
    for (int k = 0; k < RG_LESSON_CAUSES; k++)
        m->causes.cause[k] = result;
    m->care = (rg_lesson_care){head};
    fill_exercises(m, &head, &result);
    return m;
}

/* ---------------------------------------------------------------- drawing */

static rg_code draw(const made *m, int lesson, rg_picture_format format, int page, int *pages,
                    rg_bytes *out)
{
    switch (lesson) {
    case 1:
        return rg_draw_lesson_leak(&m->leak, format, page, pages, out, &err);
    case 2:
        return rg_draw_lesson_hold(&m->hold, format, page, pages, out, &err);
    case 3:
        return rg_draw_lesson_finger(&m->finger, format, page, pages, out, &err);
    case 4:
        return rg_draw_lesson_causes(&m->causes, format, page, pages, out, &err);
    case 5:
        return rg_draw_lesson_care(&m->care, format, page, pages, out, &err);
    default:
        return rg_draw_lesson_exercises(&m->exercises, format, page, pages, out, &err);
    }
}

static rg_bytes drawn(const made *m, int lesson, rg_picture_format format, int page, int *pages)
{
    rg_bytes out = {0};
    cr_assert_eq(draw(m, lesson, format, page, pages, &out), RG_OK, "%s", err.text);
    cr_assert(out.data && out.size > 500);
    return out;
}

static rg_image page_of(const made *m, int lesson, int page)
{
    rg_image image = {0};
    rg_bytes png = drawn(m, lesson, RG_PICTURE_PNG, page, NULL);
    cr_assert_eq(rg_decode(png.data, png.size, &image, &err), RG_OK, "%s", err.text);
    free(png.data);
    return image;
}

static char *words_of(const made *m, int lesson)
{
    rg_bytes pdf = drawn(m, lesson, RG_PICTURE_PDF, 0, NULL);
    char *words = test_pdf_words(pdf.data, pdf.size);
    free(pdf.data);
    return words;
}

static void expect_words(const made *m, int lesson, const char *const *said, size_t count)
{
    char *words = words_of(m, lesson);
    for (size_t i = 0; i < count; i++)
        cr_expect(strstr(words, said[i]) != NULL, "lesson %d does not say \"%s\": %s", lesson,
                  said[i], words);
    free(words);
}
#define SAYS(made, lesson, said) expect_words(made, lesson, said, sizeof said / sizeof *said)

/* All pages as PNG with nothing cut and nothing in the margins, SVG the same each time, PDF sound. */
static void expect_sound(const made *m, int lesson, int width, int height)
{
    int pages = 0;
    rg_bytes a = drawn(m, lesson, RG_PICTURE_PDF, 0, &pages);
    cr_expect(test_pdf_is_sound(a.data, a.size));
    cr_expect_eq(test_pdf_pages(a.data, a.size), pages);
    free(a.data);
    for (int p = 0; p < pages; p++) {
        rg_image image = page_of(m, lesson, p);
        cr_assert(image.width == width && image.height == height, "%d x %d", image.width,
                  image.height);
        test_white_border(&image);
        cr_expect_eq(test_ink(&image, 0, 0, 40, height), 0, "ink in the left margin of lesson %d",
                     lesson);
        cr_expect_eq(test_ink(&image, width - 72, 0, width, height), 0,
                     "ink in the right margin of lesson %d, page %d", lesson, p + 1);
        rg_image_free(&image);
    }
    a = drawn(m, lesson, RG_PICTURE_SVG, pages - 1, NULL);
    rg_bytes b = drawn(m, lesson, RG_PICTURE_SVG, pages - 1, NULL);
    cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0, "drawing is deterministic");
    free(a.data);
    free(b.data);
    cr_expect_eq(draw(m, lesson, RG_PICTURE_PNG, pages, NULL, &a), RG_BAD_DATA);
}

/* ---------------------------------------------------------------- all sheets */

Test(draw_lesson, every_sheet_on_a4)
{
    made *m = usual(RG_PAPER_A4);
    for (int lesson = 1; lesson <= 6; lesson++)
        expect_sound(m, lesson, RG_LESSON_WIDTH, RG_LESSON_HEIGHT);
    free(m);
}

Test(draw_lesson, every_sheet_on_letter)
{
    made *m = usual(RG_PAPER_LETTER);
    for (int lesson = 1; lesson <= 6; lesson++)
        expect_sound(m, lesson, RG_LESSON_LETTER_WIDTH, RG_LESSON_LETTER_HEIGHT);
    free(m);
}

Test(draw_lesson, every_page_says_what_it_is)
{
    static const char *const said[] = {
        "Pictures are drawn by the program, no photographs (seed 7).",
        "Pad G of Port Ellery loan alto (demo).", "rimglow x.y", "For training only.",
        "The maker's instructions, local rules and an experienced technician come first."};
    made *m = usual(RG_PAPER_A4);
    for (int lesson = 1; lesson <= 6; lesson++)
        SAYS(m, lesson, said);
    free(m);
}

Test(draw_lesson, hostile_and_long_texts_stay_on_the_page)
{
    static char wide[600];
    made *m = usual(RG_PAPER_A4);
    memset(wide, 'W', sizeof wide - 1);
    rg_lesson_head *const head[] = {&m->leak.head,   &m->hold.head, &m->finger.head,
                                    &m->causes.head, &m->care.head, &m->exercises.head};
    for (int i = 0; i < 6; i++) {
        head[i]->instrument = wide;
        head[i]->pad = "<&\"\xff\x01\n>";
        head[i]->software = wide;
        head[i]->seed = -123456789012345;
    }
    m->map.reasons = RG_REASONS_MAX;
    for (int i = 0; i < RG_REASONS_MAX; i++)
        memset(m->map.reason[i], 'W', RG_REASON_SIZE - 1);
    m->exercises.class_name[0] = m->exercises.class_name[1] = wide;
    m->exercises.cause_name = (const char *const[]){wide, wide, wide};
    m->exercise[0].cause = m->exercise[0].where = wide;
    for (int lesson = 1; lesson <= 6; lesson++)
        expect_sound(m, lesson, RG_LESSON_WIDTH, RG_LESSON_HEIGHT);
    free(m);
}

Test(draw_lesson, what_is_missing_is_refused)
{
    rg_bytes out;
    made *m = usual(RG_PAPER_A4);
    m->leak.gap[2].result.map = NULL;
    m->hold.hidden.map = NULL;
    m->finger.firm.map = NULL;
    m->causes.cause[5].diagnosis = NULL;
    m->care.head.tolerance_mm = 0;
    m->exercise[5].width_class = 2;
    for (int lesson = 1; lesson <= 6; lesson++) {
        cr_expect_eq(draw(m, lesson, RG_PICTURE_PDF, 0, NULL, &out), RG_BAD_DATA);
        cr_expect_null(out.data);
        cr_expect(err.text[0]);
    }
    m->care.head.tolerance_mm = 0.025;
    m->care.head.distance_mm = (double)NAN;
    cr_expect_eq(draw(m, 5, RG_PICTURE_PDF, 0, NULL, &out), RG_BAD_DATA);
    free(m);
}

Test(draw_lesson, pictures_that_are_not_there_are_crossed_out)
{
    made *m = usual(RG_PAPER_A4);
    m->leak.gap[0].level = (rg_lesson_picture){0};
    m->hold.streak[0] = (rg_lesson_picture){0};
    m->finger.light_view = (rg_lesson_picture){0};
    m->exercise[0].view[1] = (rg_lesson_picture){0};
    for (int lesson = 1; lesson <= 6; lesson++)
        expect_sound(m, lesson, RG_LESSON_WIDTH, RG_LESSON_HEIGHT);
    free(m);
}

/* ---------------------------------------------------------------- what they say */

Test(draw_lesson, a_leak_is_told_by_measured_numbers)
{
    static const char *const said[] = {"0.1000 \u00b1 0.0020", /* k = 2 */
                                       "0.050 \u00b1 0.004",
                                       "in 4 of the 6 that look there",
                                       "( / ) leaking",
                                       "50 % of full",
                                       "0.07 mm",
                                       "One picture proves nothing about a thin gap.",
                                       "up to 0.050 \u00b1 0.004 mm"};
    made *m = usual(RG_PAPER_A4);
    SAYS(m, 1, said);
    free(m);
}

Test(draw_lesson, elevations_that_hide_a_gap)
{
    /* Gaps of 0.01 0.02 0.05 0.10 0.20 mm in a slot of 2.5 mm from above, 1 mm from below; heights at 110 mm. */
    static const char *const said[] = {"0.2\u00b0 0.5\u00b0 1.1\u00b0 2.3\u00b0 4.6\u00b0",
                                       "0.4 0.9 2.2 4.4 8.8",
                                       "0.6\u00b0 1.1\u00b0 2.9\u00b0 5.7\u00b0 11.3\u00b0",
                                       "1 + 1.5 = 2.5 mm on this",
                                       "Hidden is not sealed",
                                       "looked at from 4 sides only",
                                       "bearings were not seen (hatched). The program",
                                       "Put the lamp out. What still shines is no leak."};
    made *m = usual(RG_PAPER_A4);
    SAYS(m, 2, said);
    free(m);
}

Test(draw_lesson, common_practice_is_called_that)
{
    static const char *const finger[] = {
        "is common practice, no source", "A popping sound proves nothing",
        "A suction test proves little", "A hard squeeze proves nothing about a light finger",
        "Only \"sealed\" under a light finger counts."};
    static const char *const care[] = {"Everything on this sheet is common practice, no source.",
                                       "Bright light and eyes",
                                       "Never look into it",
                                       "A lamp that gets hot does not belong near pads and lacquer",
                                       "Flame, hot air and hot irons are for the experienced.",
                                       "a licensed or experienced technician",
                                       "The maker's instructions",
                                       "Local rules",
                                       "Why drying the pads matters",
                                       "once a year"};
    made *m = usual(RG_PAPER_A4);
    SAYS(m, 3, finger);
    SAYS(m, 5, care);
    free(m);
}

Test(draw_lesson, causes_stand_with_the_program_s_own_diagnosis)
{
    static const char *const said[] = {"Tilted",
                                       "Thick or thin at the hinge",
                                       "Saddle",
                                       "Uniform",
                                       "Crease or dent",
                                       "Dirt",
                                       "The program says of this map: unseen",
                                       "Nothing was seen: sweep again.",
                                       "common practice, no source"};
    made *m = usual(RG_PAPER_A4);
    SAYS(m, 4, said);
    free(m);
}

/* The answers begin on a page of their own, the last. */
Test(draw_lesson, answers_are_on_the_last_page_alone)
{
    static const char *const said[] = {"at 100\u00b0 (right within 15\u00b0)",
                                       "at 103\u00b0 and 283\u00b0 (right",
                                       "widest 0.050 mm: above 0.025 mm"};
    made *m = usual(RG_PAPER_A4);
    SAYS(m, 6, said);
    char *words = words_of(m, 6);
    char *answers = strstr(words, "Answers First");
    cr_assert_not_null(answers);
    cr_expect_null(strstr(answers, "Widest at"), "no exercise after the answers");
    *answers = 0;
    cr_expect_null(strstr(words, "(right"), "no answer before");
    free(words);
    free(m);
}

/* ---------------------------------------------------------------- marks */

/* Middles of the discs of the rocking plot: round, dark, 6 to 12 px across, by rows of the page. */
static int discs(const rg_image *m, int x0, int y0, int x1, int y1, double x[8], double y[8])
{
    int n = 0;
    for (int v = y0; v < y1; v++)
        for (int u = x0; u < x1; u++) {
            int dark = test_ink(m, u - 3, v - 3, u + 4, v + 4);
            bool known = false;
            for (int i = 0; i < n; i++)
                known = known || hypot(u - x[i], v - y[i]) < 12;
            if (dark < 45 || known || n == 8)
                continue;
            x[n] = u;
            y[n++] = v;
        }
    return n;
}

Test(draw_lesson, dots_of_the_rocking_curve_lie_where_they_were_measured)
{
    double x[8], y[8];
    made *m = usual(RG_PAPER_A4);
    rg_image image = page_of(m, 2, 0);
    int n = discs(&image, 140, 520, 540, 760, x, y);
    rg_image_free(&image);
    cr_assert_eq(n, 3, "%d discs", n);
    /* Top first: 0 degrees, 0.05 mm; then both sides at half of it. */
    cr_expect_float_eq(x[0], 0.5 * (x[1] + x[2]), 2);
    cr_expect_float_eq(y[1], y[2], 1.5);
    cr_expect(fabs(x[2] - x[1]) > 200, "6 of 6.3 degrees of the plot");
    /* The lower two move by the height that they are given. */
    double half = y[1] - y[0];
    m->hold.curve[1].dot[0].height_mm = m->hold.curve[1].dot[2].height_mm = 0;
    image = page_of(m, 2, 0);
    cr_expect(test_ink(&image, (int)fmin(x[1], x[2]) - 3, (int)lround(y[0] + 2 * half) - 3,
                       (int)fmin(x[1], x[2]) + 4, (int)lround(y[0] + 2 * half) + 4) > 40);
    rg_image_free(&image);
    free(m);
}

/* The picture's band of two rows in 24: white on black, in the middle of the picture's height. */
Test(draw_lesson, pictures_are_shown_as_they_are)
{
    made *m = usual(RG_PAPER_A4);
    rg_image image = page_of(m, 6, 0);
    /* Exercises' pictures begin 22 mm from the left margin of 16: look down a column in their middle. */
    int x = (int)lround((16 + 22 + 78) * RG_LESSON_WIDTH / 210.0), top = 0, bottom = 0;
    for (int y = 150; y < 700 && !bottom; y++) {
        bool dark = test_ink(&image, x - 40, y, x + 40, y + 1) == 80;
        if (dark && !top)
            top = y;
        if (top && y > top + 20 && test_tone(&image, x, y) > 225)
            bottom = y;
    }
    rg_image_free(&image);
    cr_assert(top > 0 && bottom > 0);
    double width = (210 - 32 - 22) * RG_LESSON_WIDTH / 210.0,
           height = width * PICTURE_H / PICTURE_W;
    cr_expect_float_eq(bottom - top, height * 11 / 24, 0.03 * height, "%d of %.0f", bottom - top,
                       height);
    free(m);
}

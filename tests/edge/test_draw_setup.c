/*
 * Tests of draw_setup.h and setup_report.h: sheets of 3 and 25 pads, of many values and of hostile
 * texts, in every format; what they say, read back from the PDF by poppler's pdftotext and from the
 * JSON by jansson; the decision's box, measured in the PNG.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/date.h"
#include "rimglow/draw_setup.h"
#include "rimglow/setup_report.h"
#include "support/print.h"

static rg_error err;

TestSuite(draw_setup, .fini = test_release_fonts, .timeout = 60);

/* ---------------------------------------------------------------- sheets */

enum { ITEMS_MAX = 400, LINES_MAX = 64 };

typedef struct made {
    rg_setup_sheet sheet;
    rg_release_result result;
    rg_release_item item[ITEMS_MAX];
    int reason[ITEMS_MAX];
    rg_service_line line[LINES_MAX];
} made;

static rg_release_item *add_item(made *m, rg_item_kind kind, rg_item_state state, const char *name)
{
    rg_release_item *item = &m->item[m->result.items++];
    *item = rg_release_item_blank(name);
    item->kind = kind;
    item->state = state;
    item->required = true;
    item->verdict = RG_VERDICT_SEALED;
    item->touch = RG_TOUCH_LIGHT;
    item->day = 20782;
    if (state == RG_ITEM_OUT || state == RG_ITEM_UNDECIDED || state == RG_ITEM_NOT_MEASURED) {
        m->reason[m->result.reasons++] = m->result.items - 1;
        snprintf(item->why, sizeof item->why, "why %.80s holds", name);
        if (state == RG_ITEM_OUT)
            m->result.decision = RG_DECISION_HOLD_OUT;
        else if (m->result.decision == RG_DECISION_RELEASE)
            m->result.decision = RG_DECISION_HOLD_OPEN;
    }
    return item;
}

static made *new_sheet(void)
{
    made *m = calloc(1, sizeof *m);
    m->sheet = (rg_setup_sheet){.serial = "PE-A-0147",
                                .model = "Port Ellery loan alto (demo)",
                                .bag = "PE-A-0147/0002-20261125T101500Z",
                                .technician = "A. Bell",
                                .occasion = "release",
                                .note = "",
                                .software = "rimglow x.y",
                                .rules = "release.ini",
                                .values = "as archived",
                                .rules_sha256 = "",
                                .time = "2026-11-25T10:15:00Z",
                                .sequence = 2,
                                .day = 20782,
                                .coverage_factor = 2,
                                .result = &m->result,
                                .line = m->line};
    m->result.item = m->item;
    m->result.reason = m->reason;
    return m;
}

static void add_pads(made *m, int pads)
{
    static const rg_item_state state[] = {RG_ITEM_PASSED, RG_ITEM_OUT, RG_ITEM_UNDECIDED,
                                          RG_ITEM_NOT_MEASURED, RG_ITEM_NO_RULE};
    for (int i = 0; i < pads; i++) {
        char name[32];
        snprintf(name, sizeof name, "pad%d", i);
        rg_release_item *item = add_item(m, RG_ITEM_SEAL, state[i % 5], name);
        if (i % 5 == 1) {
            item->value = 0.15;
            item->u = 0.0095;
            item->bearing_deg = 199;
        }
    }
}

static void add_values(made *m, int values)
{
    for (int i = 0; i < values; i++) {
        char name[64];
        snprintf(name, sizeof name, "spring force key%d", i);
        rg_release_item *item =
            add_item(m, RG_ITEM_VALUE, i % 7 == 3 ? RG_ITEM_OUT : RG_ITEM_PASSED, name);
        item->value = 42 + i;
        item->u = 2;
        item->low = 20;
        item->high = 80;
        strcpy(item->unit, "gf");
        strcpy(item->with, "spring gauge, 100 g");
    }
}

static void add_line(made *m, bool pad, const char *name, rg_service_state state)
{
    rg_service_line *l = &m->line[m->sheet.lines++];
    *l = (rg_service_line){.pad = pad,
                           .sequence = 1,
                           .day = 20418,
                           .then = 1,
                           .now = 2,
                           .change = 1,
                           .u_change = 0.25,
                           .bearing_deg = NAN,
                           .state = state};
    snprintf(l->name, sizeof l->name, "%s", name);
    strcpy(l->unit, "mm");
}

static made *usual(int pads)
{
    made *m = new_sheet();
    add_pads(m, pads);
    add_values(m, 3);
    add_item(m, RG_ITEM_BALANCE, RG_ITEM_PASSED, "spring forces");
    rg_release_item *oil = add_item(m, RG_ITEM_CHECK, RG_ITEM_PASSED, "lubrication");
    strcpy(oil->remark, "rods and pivots, light oil");
    rg_release_item *further = add_item(m, RG_ITEM_FURTHER, RG_ITEM_UNDECIDED, "low C opening");
    strcpy(further->section, "key heights");
    add_line(m, true, "pad1", RG_SERVICE_MORE);
    add_line(m, false, "mass", RG_SERVICE_SAME);
    return m;
}

/* ---------------------------------------------------------------- looking */

static rg_bytes drawn(const made *m, rg_picture_format format, int page, int *pages)
{
    rg_bytes bytes;
    cr_assert_eq(rg_draw_setup(&m->sheet, format, page, pages, &bytes, &err), RG_OK, "%s",
                 err.text);
    return bytes;
}

static char *words_of(const made *m)
{
    rg_bytes pdf = drawn(m, RG_PICTURE_PDF, 0, NULL);
    char *words = test_pdf_words(pdf.data, pdf.size);
    free(pdf.data);
    return words;
}

static rg_image page_of(const made *m, int page)
{
    rg_image image = {0};
    rg_bytes png = drawn(m, RG_PICTURE_PNG, page, NULL);
    cr_assert_eq(rg_decode(png.data, png.size, &image, &err), RG_OK, "%s", err.text);
    cr_assert(image.width == RG_SETUP_WIDTH && image.height == RG_SETUP_HEIGHT &&
              image.channels == 1);
    free(png.data);
    return image;
}

/* Every page of every format can be drawn, nothing is cut, and there are as many as the PDF has. */
static int whole(const made *m)
{
    int pages = 0;
    rg_bytes pdf = drawn(m, RG_PICTURE_PDF, 0, &pages), again = drawn(m, RG_PICTURE_PDF, 0, NULL);
    cr_expect(pdf.size == again.size && memcmp(pdf.data, again.data, pdf.size) == 0,
              "drawing is deterministic");
    cr_expect(test_pdf_is_sound(pdf.data, pdf.size));
    cr_expect_eq(test_pdf_pages(pdf.data, pdf.size), pages);
    free(pdf.data);
    free(again.data);
    for (int i = 0; i < pages; i++) {
        rg_image image = page_of(m, i);
        test_white_border(&image);
        cr_expect(test_ink(&image, 60, 0, RG_SETUP_WIDTH, 1290) > 200, "page %d is not empty", i);
        rg_image_free(&image);
    }
    rg_bytes svg = drawn(m, RG_PICTURE_SVG, pages - 1, NULL);
    test_print print = test_print_svg(svg.data, svg.size);
    cr_expect(print.width >= RG_SETUP_WIDTH);
    test_print_free(&print);
    free(svg.data);
    cr_expect_eq(rg_draw_setup(&m->sheet, RG_PICTURE_PNG, pages, NULL, &svg, &err), RG_BAD_DATA);
    cr_expect_null(svg.data);
    return pages;
}

static void expect_words(const made *m, const char *const *word, size_t n)
{
    char *words = words_of(m);
    for (size_t i = 0; i < n; i++)
        cr_expect(strstr(words, word[i]) != NULL, "\"%s\" is not in: %s", word[i], words);
    free(words);
}

#define SAYS(m, ...)                                                                               \
    expect_words(m, (const char *const[]){__VA_ARGS__},                                            \
                 sizeof(const char *const[]){__VA_ARGS__} / sizeof(const char *))

/* ---------------------------------------------------------------- cases */

Test(draw_setup, a_sheet_says_everything)
{
    made *m = usual(3);
    cr_expect_eq(whole(m), 1);
    SAYS(m, "PE-A-0147", "HOLD", "1 pad1: why pad1 holds", "2 pad2: why", "judged for 2026-11-25",
         "0.150 ± 0.019 mm at 199°", "light finger",
         "spring force key0 42 ± 4 gf 20 to 80 gf passed", "with spring gauge, 100 g",
         "Remark: rods and pivots, light oil", "Key heights", "low C opening undecided",
         "pad pad1 visit 1, 2025-11-26 +1.0 ± 0.5 mm wider",
         "mass visit 1, 2025-11-26 +1.0 ± 0.5 mm no change shown", "page 1 of 1");
    free(m);
}

Test(draw_setup, twenty_five_pads_stand_in_full)
{
    made *m = usual(25);
    cr_expect_eq(whole(m), 2);
    SAYS(m, "page 2 of 2", "15 pad23: why", "who decides, signature");
    char *words = words_of(m);
    for (int i = 0; i < 25; i++) {
        char name[16];
        snprintf(name, sizeof name, ") pad%d ", i);
        cr_expect(strstr(words, name) != NULL, "%s", name);
    }
    free(words);
    free(m);
}

Test(draw_setup, hundreds_of_values_go_on_over_pages_under_their_heading)
{
    made *m = new_sheet();
    add_pads(m, 2);
    add_values(m, 250);
    int pages = whole(m), headings = 0;
    cr_expect(pages >= 7 && pages <= 14, "%d pages", pages);
    char *words = words_of(m);
    for (const char *p = words; (p = strstr(p, "Values (limits)")) != NULL; p++)
        headings++;
    cr_expect(headings >= pages - 3, "%d headings on %d pages", headings, pages);
    SAYS(m, "spring force key249 291 ± 4 gf");
    free(words);
    free(m);
}

Test(draw_setup, any_text_can_stand_on_it)
{
    static const char *const text[] = {
        "",
        "\xFF\xFE\x80",
        "<script>alert(1)</script> & \"",
        "%s%n%d",
        "\x1b[2J\n\r\t",
        "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
        "\xE4\xBD\x8E\xE9\x9F\xB3\xE3\x82\xB7 \xD7\xA9\xD7\x9C\xD7\x95\xD7\x9D"};
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        made *m = usual(3);
        m->sheet.serial = m->sheet.model = m->sheet.technician = m->sheet.occasion = text[i];
        m->sheet.rules = m->sheet.values = m->sheet.software = m->sheet.time = text[i];
        for (int k = 0; k < m->result.items; k++) {
            rg_release_item *item = &m->item[k];
            snprintf(item->name, sizeof item->name, "%s", text[i]);
            snprintf(item->unit, sizeof item->unit, "%s", text[i]);
            snprintf(item->with, sizeof item->with, "%s", text[i]);
            snprintf(item->remark, sizeof item->remark, "%s", text[i]);
            snprintf(item->section, sizeof item->section, "%s", text[i]);
            snprintf(item->why, sizeof item->why, "%s%s%s", text[i], text[i], text[i]);
        }
        whole(m);
        SAYS(m, "HOLD", "who decides, signature");
        free(m);
    }
}

Test(draw_setup, numbers_that_do_not_exist_are_not_written)
{
    made *m = usual(3);
    for (int i = 0; i < m->result.items; i++)
        m->item[i].value = m->item[i].u = m->item[i].low = m->item[i].high = NAN;
    for (int i = 0; i < m->sheet.lines; i++)
        m->line[i].change = m->line[i].u_change = NAN;
    whole(m);
    char *words = words_of(m);
    cr_expect(!strstr(words, "nan") && !strstr(words, "inf "), "%s", words);
    free(words);
    free(m);
}

/* The box: black for what is out, white inside a line for release, and broken for what is open. */
static void look_at_box(made *m, const char *word, int *inside, int *edge)
{
    rg_image image = page_of(m, 0);
    const double mm = RG_SETUP_WIDTH / 210.0;
    int x0 = (int)(17 * mm), x1 = (int)(95 * mm), y0 = (int)(51 * mm), y1 = (int)(53 * mm);
    *inside = test_ink(&image, x0, y0, x1, y1) * 100 / ((x1 - x0) * (y1 - y0));
    y0 = (int)(49.9 * mm);
    *edge = test_ink(&image, x0, y0, x1, y0 + 1) * 100 / (x1 - x0);
    SAYS(m, word);
    rg_image_free(&image);
    free(m);
}

Test(draw_setup, the_decision_shows_without_colour)
{
    int inside, edge;
    made *m = new_sheet();
    add_item(m, RG_ITEM_SEAL, RG_ITEM_PASSED, "G");
    look_at_box(m, "RELEASE", &inside, &edge);
    cr_expect(inside == 0 && edge == 100, "release: %d %d", inside, edge);
    m = new_sheet();
    add_item(m, RG_ITEM_SEAL, RG_ITEM_OUT, "G");
    look_at_box(m, "HOLD", &inside, &edge);
    cr_expect(inside == 100 && edge == 100, "out: %d %d", inside, edge);
    m = new_sheet();
    add_item(m, RG_ITEM_SEAL, RG_ITEM_NOT_MEASURED, "G");
    look_at_box(m, "HOLD", &inside, &edge);
    cr_expect(inside == 0 && edge > 40 && edge < 80, "open: %d %d", inside, edge);
}

/* ---------------------------------------------------------------- JSON */

Test(draw_setup, the_json_is_that_of_the_header_and_comes_back)
{
    made *m = usual(6);
    char *text = NULL, *again = NULL;
    rg_setup_said said;
    cr_assert_eq(rg_setup_report(&m->sheet, &text, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_setup_report(&m->sheet, &again, &err), RG_OK, "%s", err.text);
    cr_expect_str_eq(text, again);
    json_t *o = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    const char *judged, *decision, *kind, *state, *verdict, *finger, *service;
    int sequence, shown_out;
    double u;
    cr_assert_eq(
        json_unpack(o, "{s:s, s:s, s:b, s:i, s:[{s:s, s:s, s:s, s:s, s:n}, {s:f}], s:[{s:s}]}",
                    "judged", &judged, "decision", &decision, "shown_out", &shown_out, "sequence",
                    &sequence, "items", "kind", &kind, "state", &state, "verdict", &verdict,
                    "finger", &finger, "value", "u", &u, "changes", "state", &service),
        0);
    cr_expect_str_eq(judged, "2026-11-25");
    cr_expect_str_eq(decision, "hold");
    cr_expect(shown_out && sequence == 2 && u == 0.0095);
    cr_expect_str_eq(kind, "pad");
    cr_expect_str_eq(state, "passed");
    cr_expect_str_eq(finger, "light");
    cr_expect_str_eq(service, "wider");
    cr_expect(
        json_is_null(json_object_get(json_array_get(json_object_get(o, "items"), 3), "verdict")));
    json_decref(o);
    cr_assert_eq(rg_setup_report_parse("s.json", text, strlen(text), &said, &err), RG_OK, "%s",
                 err.text);
    cr_expect(!said.release && said.day == 20782 && said.items == m->result.items &&
              said.reasons == m->result.reasons);
    cr_expect_str_eq(said.serial, "PE-A-0147");
    cr_expect_str_eq(said.software, "rimglow x.y");
    free(text);
    free(again);
    free(m);
}

Test(draw_setup, other_json_is_refused)
{
    static const char *const bad[][2] = {
        {"{}", "format"},
        {"[", "JSON"},
        {"{\"format\": \"rimglow seal map\", \"version\": 1}", "format"},
        {"{\"format\": \"rimglow set-up sheet\", \"version\": 2}", "version 1"},
        {"{\"format\": \"rimglow set-up sheet\", \"version\": 1, \"serial\": 1}", "serial"},
    };
    rg_setup_said said;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        cr_expect_eq(rg_setup_report_parse("s.json", bad[i][0], strlen(bad[i][0]), &said, &err),
                     RG_BAD_DATA);
        cr_expect(strstr(err.text, "s.json") && strstr(err.text, bad[i][1]), "%s", err.text);
    }
}

/* Every sentence stands on some page, under its subject, with one sign for "+-". */
Test(draw_setup, the_work_is_told_in_full)
{
    enum { SENTENCES = 90 };
    made *m = usual(3);
    rg_setup_work *work = calloc(SENTENCES, sizeof *work);
    for (int i = 0; i < SENTENCES; i++) {
        snprintf(work[i].subject, sizeof work[i].subject, "pad of number %d", i / 3);
        snprintf(work[i].sentence, sizeof work[i].sentence,
                 "sentence%d: lower it by 0.09 +- 0.01 mm.", i);
    }
    m->sheet.work = work;
    m->sheet.works = SENTENCES;
    cr_expect_geq(whole(m), 3);
    char *words = words_of(m);
    for (int i = 0; i < SENTENCES; i++) {
        char text[64];
        snprintf(text, sizeof text, "sentence%d: lower it by 0.09 ± 0.01 mm.", i);
        cr_expect(strstr(words, text), "%s", text);
        snprintf(text, sizeof text, "pad of number %d ", i / 3);
        const char *subject = strstr(words, text);
        cr_assert(subject, "%s", text);
        cr_expect_null(strstr(subject + 1, text), "%s twice", text);
    }
    SAYS(m, "The work, worst leak first", "pad of number 0 - sentence0", "who decides, signature");
    free(words);
    free(work);
    free(m);
}

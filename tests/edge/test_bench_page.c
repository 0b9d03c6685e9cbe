/*
 * The bench check and the budget as JSON and as pages.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/bench_report.h"
#include "rimglow/budget_report.h"
#include "rimglow/decode.h"
#include "rimglow/draw_bench.h"
#include "rimglow/draw_budget.h"

enum { FRAMES = 31 };

static rg_bench_check check;
static rg_bench_frame look[FRAMES];
static rg_frame frames[FRAMES];
static const char *files[FRAMES], *roles[FRAMES];

static void make_check(void)
{
    memset(&check, 0, sizeof check);
    check.state = RG_CHECK_POOR;
    check.mtf50 = 0.25;
    check.px_per_mm = 33;
    check.coverage_known = true;
    for (int k = 0; k < RG_MTF_POINTS; k++)
        check.mtf[k] = exp(-k / 90.0);
    for (int i = 0; i < RG_BENCH_TONES; i++)
        check.tones[i] = 1.0 / RG_BENCH_TONES;
    for (int b = 0; b < RG_BINS; b++)
        check.covered[b] = b < 100 || b > 120;
    for (int i = 0; i < RG_CHECK_TOPICS; i++) {
        rg_finding *f = &check.finding[i];
        *f = (rg_finding){.topic = (rg_check_topic)i,
                          .state = (rg_check_state)(i % 4),
                          .value = i % 4 == 2 ? NAN : 0.01 * i,
                          .u = NAN,
                          .limit = 0.05,
                          .sense = "at most",
                          .unit = "px"};
        memset(f->text, 'a' + i, 300);
    }
    for (int i = 0; i < FRAMES; i++) {
        look[i] = (rg_bench_frame){.crown = i > 0, .mtf50 = i ? 0.25 : NAN, .tag_ratio = NAN};
        look[i].flaws = i == 3 ? 1u << RG_CHECK_VIBRATION | 1u << RG_CHECK_EXPOSURE : 0;
        files[i] = "view.jpg";
        roles[i] = "closed";
    }
}

static json_t *parse(char *text)
{
    json_error_t why;
    json_t *o = json_loads(text, 0, &why);
    cr_assert_not_null(o, "%s", why.text);
    free(text);
    return o;
}

Test(bench_page, json_holds_findings_frames_and_curves)
{
    char *text;
    make_check();
    rg_bench_report r = {"PE-A-0147", "G",    "demo", "08-G", &check,
                         look,        frames, files,  roles,  FRAMES};
    cr_assert_eq(rg_bench_report_one(&r, &text, NULL), RG_OK);
    json_t *o = parse(text);
    cr_expect_str_eq(json_string_value(json_object_get(o, "state")), "poor");
    json_t *findings = json_object_get(o, "findings");
    cr_expect_eq(json_array_size(findings), (size_t)RG_CHECK_TOPICS);
    json_t *third = json_array_get(findings, 2);
    cr_expect_str_eq(json_string_value(json_object_get(third, "topic")), "print");
    cr_expect_str_eq(json_string_value(json_object_get(third, "state")), "not shown");
    cr_expect(json_is_null(json_object_get(third, "value")));
    cr_expect_float_eq(json_real_value(json_object_get(o, "mtf50_cycles_per_mm")), 0.25 * 33, 1e-9);
    cr_expect_eq(json_array_size(json_object_get(o, "uncovered_bearings")), 21);
    json_t *mtf = json_object_get(json_object_get(o, "mtf"), "values");
    cr_expect_float_eq(json_real_value(json_array_get(mtf, 90)), exp(-1), 1e-5);
    json_t *flaws = json_object_get(json_array_get(json_object_get(o, "frames"), 3), "flaws");
    cr_expect_eq(json_array_size(flaws), 2);
    cr_expect_str_eq(json_string_value(json_array_get(flaws, 0)), "exposure");
    cr_expect(
        json_is_null(json_object_get(json_array_get(json_object_get(o, "frames"), 0), "mtf50")));
    json_decref(o);
}

Test(bench_page, names_that_are_no_utf8_do_not_break_the_document)
{
    char *text;
    make_check();
    rg_bench_report r = {"\xff\xfe", NULL, "demo", "08-G", &check, look, frames, files, roles, 1};
    check.finding[0].text[0] = '\xff';
    cr_assert_eq(rg_bench_report_one(&r, &text, NULL), RG_OK);
    json_t *o = parse(text);
    cr_expect(json_is_null(json_object_get(o, "serial")));
    json_decref(o);
}

static rg_bytes draw(rg_picture_format format)
{
    rg_bytes bytes;
    rg_error err = {0};
    rg_draw_bench_args args = {&check, look, files, FRAMES, "PE-A-0147", "G", "demo", NULL, 0.12};
    cr_assert_eq(rg_draw_bench(&args, format, &bytes, &err), RG_OK, "%s", err.text);
    return bytes;
}

/* Share of black of a rectangle of the PNG, 0..1. */
static double ink(const rg_image *im, int x0, int y0, int width, int height)
{
    double sum = 0;
    const uint8_t *code = im->data;
    for (int y = y0; y < y0 + height; y++)
        for (int x = x0; x < x0 + width; x++)
            sum += 255 - code[(size_t)(y * im->width + x) * (size_t)im->channels];
    return sum / 255 / (width * height);
}

static rg_image decode(rg_bytes bytes)
{
    rg_image im;
    cr_assert_eq(rg_decode(bytes.data, bytes.size, &im, NULL), RG_OK);
    free(bytes.data);
    return im;
}

Test(bench_page, the_page_shows_state_flaws_and_open_bearings)
{
    make_check();
    rg_image poor = decode(draw(RG_PICTURE_PNG));
    cr_expect_eq(poor.width, RG_BENCH_WIDTH);
    cr_expect_eq(poor.full_height, RG_BENCH_HEIGHT);
    check.state = RG_CHECK_GOOD;
    for (int i = 0; i < FRAMES; i++)
        look[i].flaws = 0;
    for (int b = 0; b < RG_BINS; b++)
        check.covered[b] = true;
    rg_image good = decode(draw(RG_PICTURE_PNG));
    /* The mark of a poor bench is a black disc, of a good one a ring. */
    cr_expect_gt(ink(&poor, 46, 50, 48, 48), 0.7);
    cr_expect_lt(ink(&good, 46, 50, 48, 48), 0.3);
    /* The map of frames, and the bar of bearings below it. */
    cr_expect_gt(ink(&poor, 215, 1217, 20, 10), 0.95); /* fourth frame, exposure */
    cr_expect_gt(ink(&poor, 215, 1251, 20, 10), 0.95); /* and vibration */
    cr_expect_lt(ink(&poor, 215, 1234, 20, 10), 0.01); /* but not clipping */
    cr_expect_lt(ink(&good, 215, 1217, 20, 10), 0.01);
    cr_expect_gt(ink(&poor, 360, 1326, 44, 14), 0.1);
    cr_expect_lt(ink(&good, 360, 1326, 44, 14), 0.01);
    /* Nothing beyond the margins. */
    cr_expect_lt(ink(&poor, 0, 0, 20, RG_BENCH_HEIGHT), 1e-9);
    cr_expect_lt(ink(&poor, RG_BENCH_WIDTH - 12, 0, 12, RG_BENCH_HEIGHT), 1e-9);
    rg_image_free(&poor);
    rg_image_free(&good);
}

Test(bench_page, every_format_is_whole_and_the_same_twice)
{
    make_check();
    static const char *const head[] = {"\x89PNG", "<?xml", "%PDF-"};
    for (int f = 0; f < 3; f++) {
        rg_bytes a = draw((rg_picture_format)f), b = draw((rg_picture_format)f);
        cr_expect_eq(memcmp(a.data, head[f], strlen(head[f])), 0);
        cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0);
        free(a.data);
        free(b.data);
    }
    /* Nothing shown, no frames, names that are no text. */
    memset(&check, 0, sizeof check);
    check.mtf50 = NAN;
    rg_draw_bench_args args = {&check, look, NULL, 0, "\xff", NULL, NULL, NULL, 0.12};
    rg_bytes bytes;
    cr_assert_eq(rg_draw_bench(&args, RG_PICTURE_SVG, &bytes, NULL), RG_OK);
    free(bytes.data);
}

/* ----------------------------------------------------------------- budget */

static rg_gap_budget gap_budget(double share_of_a)
{
    rg_gap_budget g = {.bearing_deg = 201, .width_mm = 0.15, .coverage_factor = 2};
    rg_contribution a = {"noise",          "columns", "mm", RG_TYPE_A, RG_STUDENT, NAN,
                         sqrt(share_of_a), 1,         12,   0,         0};
    rg_contribution b = {"scale", "tag",    "1", RG_TYPE_B, RG_NORMAL, 1, sqrt(1 - share_of_a) / 2,
                         2,       INFINITY, 0,   0};
    cr_assert_eq(rg_budget_add(&g.budget, &a, NULL), RG_OK);
    cr_assert_eq(rg_budget_add(&g.budget, &b, NULL), RG_OK);
    cr_assert_eq(rg_budget_combine(&g.budget, NULL, 0.95, NULL), RG_OK);
    return g;
}

Test(budget_page, json_holds_every_contribution)
{
    rg_gap_budget g = gap_budget(0.36);
    rg_budget_report r = {"PE-A-0147", "G", "demo", "08-G", &g, 1};
    char *text;
    cr_assert_eq(rg_budget_report_text(&r, &text, NULL), RG_OK);
    json_t *o = parse(text), *b = json_array_get(json_object_get(o, "budgets"), 0);
    json_t *p = json_array_get(json_object_get(b, "contributions"), 1);
    cr_expect_float_eq(json_real_value(json_object_get(b, "u_mm")), 1, 1e-8);
    /* One contribution of 12 degrees of freedom with a share s: 12 / s^2. */
    cr_expect_float_eq(json_real_value(json_object_get(b, "dof")), 12 / (0.36 * 0.36), 1e-5);
    cr_expect_float_eq(json_real_value(json_object_get(p, "u_mm")), 0.8, 1e-8);
    cr_expect_float_eq(json_real_value(json_object_get(p, "share")), 0.64, 1e-8);
    cr_expect(json_is_null(json_object_get(p, "dof")));
    cr_expect_str_eq(json_string_value(json_object_get(p, "type")), "B");
    cr_expect_str_eq(json_string_value(json_object_get(p, "distribution")), "normal");
    json_decref(o);
}

Test(budget_page, bars_are_as_long_as_the_shares)
{
    double black[2];
    for (int i = 0; i < 2; i++) {
        rg_gap_budget g = gap_budget(i ? 0.9 : 0.3);
        rg_draw_budget_args args = {&g, "PE-A-0147", "G", "demo", NULL};
        rg_bytes bytes;
        cr_assert_eq(rg_draw_budget(&args, RG_PICTURE_PNG, &bytes, NULL), RG_OK);
        rg_image im = decode(bytes);
        cr_expect_eq(im.width, RG_BUDGET_WIDTH);
        black[i] = ink(&im, 826, 446, 116, 9); /* inside the first bar, which is solid */
        cr_expect_lt(ink(&im, RG_BUDGET_WIDTH - 20, 0, 20, RG_BUDGET_HEIGHT), 1e-9);
        rg_image_free(&im);
    }
    cr_expect_float_eq(black[1] / black[0], 3, 0.2, "%g and %g", black[0], black[1]);
}

Test(budget_page, every_format_is_whole_and_the_same_twice)
{
    static const char *const head[] = {"\x89PNG", "<?xml", "%PDF-"};
    rg_gap_budget g = gap_budget(0.5);
    while (g.budget.count < RG_BUDGET_MAX)
        cr_assert_eq(rg_budget_add(&g.budget, &g.budget.part[0], NULL), RG_OK);
    g.budget.dof = INFINITY;
    rg_draw_budget_args args = {&g, "\xff", NULL, NULL, "2026"};
    for (int f = 0; f < 3; f++) {
        rg_bytes a, b;
        cr_assert_eq(rg_draw_budget(&args, (rg_picture_format)f, &a, NULL), RG_OK);
        cr_assert_eq(rg_draw_budget(&args, (rg_picture_format)f, &b, NULL), RG_OK);
        cr_expect_eq(memcmp(a.data, head[f], strlen(head[f])), 0);
        cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0);
        free(a.data);
        free(b.data);
    }
}

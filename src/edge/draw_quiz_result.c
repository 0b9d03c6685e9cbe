/*
 * draw_quiz_result.c - the result of one examination on a page (draw_quiz.h).
 */
#include <math.h>
#include <stdio.h>

#include "draw_private.h"
#include "draw_quiz_private.h"
#include "rimglow/draw_quiz.h"

enum { FRAME = 44, LEFT = 104, VALUE = 430, RIGHT = RG_QUIZ_PAGE_WIDTH - 104 };

static void draw_frame(cairo_t *cr)
{
    rg_grey(cr, 0);
    for (int i = 0; i < 2; i++) {
        double at = FRAME + 9 * i;
        cairo_set_line_width(cr, i ? 1.2 : 4);
        cairo_rectangle(cr, at, at, RG_QUIZ_PAGE_WIDTH - 2 * at, RG_QUIZ_PAGE_HEIGHT - 2 * at);
        cairo_stroke(cr);
    }
}

static void draw_head(cairo_t *cr, const rg_draw_result_args *args)
{
    const double middle = RG_QUIZ_PAGE_WIDTH / 2.0, width = RIGHT - LEFT;
    rg_font(cr, 22, false);
    rg_text(cr, middle, 130, 0.5, width, "Result of a training examination");
    rg_font(cr, 48, true);
    rg_text(cr, middle, 208, 0.5, width, rg_draw_name(args->result->trainee, "(no name)"));
    rg_font(cr, 18, false);
    rg_text(cr, middle, 246, 0.5, width,
            "in reading partial leaks of pads from pictures: bearing, width and cause");
}

/* Word and shape: filled and white for passed, a frame otherwise, dashed when there is no result. */
static void draw_outcome(cairo_t *cr, const rg_quiz_result *r)
{
    const double width = 480, height = 84, x = (RG_QUIZ_PAGE_WIDTH - width) / 2, y = 280;
    const double dashes[] = {14, 9};
    bool passed = r->complete && r->passed;
    cairo_rectangle(cr, x, y, width, height);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 4);
    if (passed)
        cairo_fill_preserve(cr);
    if (!r->complete)
        cairo_set_dash(cr, dashes, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_grey(cr, passed ? 1 : 0);
    rg_font(cr, 44, true);
    rg_text(cr, x + width / 2, y + 58, 0.5, width - 20,
            passed        ? "PASSED"
            : r->complete ? "NOT PASSED"
                          : "NOT COMPLETE");
    rg_grey(cr, 0);
}

/* ---------------------------------------------------------------- rows */

static void row(cairo_t *cr, double *y, const char *name, const char *value)
{
    rg_font(cr, 19, false);
    rg_text(cr, LEFT, *y, 0, VALUE - LEFT - 10, name);
    rg_font(cr, 19, true);
    rg_text(cr, VALUE, *y, 0, RIGHT - VALUE, value);
    *y += 31;
}

static void share_row(cairo_t *cr, double *y, const char *name, const rg_quiz_share *s)
{
    char text[RG_DRAW_TEXT];
    if (s->of > 0)
        snprintf(text, sizeof text, "%d of %d, %.0f %% (%.0f to %.0f %%)", s->right, s->of,
                 100 * s->share, 100 * s->low, 100 * s->high);
    else
        snprintf(text, sizeof text, "no cases");
    row(cr, y, name, text);
}

static void kappa_row(cairo_t *cr, double *y, const char *name, const rg_kappa *k)
{
    char text[RG_DRAW_TEXT];
    if (k->state == RG_KAPPA_FOUND)
        snprintf(text, sizeof text, "%.2f (%.2f to %.2f), %lld cases", k->kappa, k->low, k->high,
                 k->cases);
    else
        snprintf(text, sizeof text, "not told: %s", rg_kappa_state_name(k->state));
    row(cr, y, name, text);
}

static void draw_facts(cairo_t *cr, const rg_quiz_result *r, double *y)
{
    char text[RG_DRAW_TEXT], day[RG_DATE_TEXT];
    rg_quiz_day(r->ended, day);
    row(cr, y, "date (UTC)", day);
    snprintf(text, sizeof text, "%s, seed %llu", r->exam, (unsigned long long)r->seed);
    row(cr, y, "examination", text);
    snprintf(text, sizeof text, "%d, answered %d", r->cases, r->answered);
    row(cr, y, "cases", text);
    snprintf(text, sizeof text, "%.3g", r->level);
    row(cr, y, "level", text);
    *y += 10;
    share_row(cr, y, "all three answers right", &r->all);
    snprintf(text, sizeof text, "%.0f %% of the cases", 100 * r->pass_share);
    row(cr, y, "needed to pass", text);
    share_row(cr, y, "bearing right", &r->bearing);
    share_row(cr, y, "width class right", &r->width);
    share_row(cr, y, "cause right", &r->cause);
    if (isfinite(r->median_error_deg)) {
        snprintf(text, sizeof text, "%.0f\u00b0, median of %d", r->median_error_deg, r->errors);
        row(cr, y, "bearings off by", text);
    }
    *y += 10;
    kappa_row(cr, y, "kappa with the truth, causes", &r->truth.cause);
    kappa_row(cr, y, "the same, width classes", &r->truth.width);
    if (r->has_tool)
        kappa_row(cr, y, "kappa with the program, causes", &r->tool.cause);
}

/* ---------------------------------------------------------------- bars */

static void draw_bar(cairo_t *cr, double y, const char *name, const rg_quiz_share *s)
{
    const double from = LEFT + 250, width = 360;
    char text[64];
    rg_font(cr, 17, false);
    rg_text(cr, LEFT, y, 0, 240, name);
    cairo_rectangle(cr, from, y - 14, width, 16);
    cairo_set_line_width(cr, 1.2);
    cairo_stroke(cr);
    if (s->of > 0) {
        cairo_rectangle(cr, from, y - 14, width * s->share, 16);
        cairo_fill(cr);
    }
    snprintf(text, sizeof text, "%d of %d", s->right, s->of);
    rg_text(cr, from + width + 14, y, 0, 0, text);
}

static void draw_causes(cairo_t *cr, const rg_quiz_result *r, double *y)
{
    *y += 12;
    rg_font(cr, 19, true);
    rg_text(cr, LEFT, *y, 0, 0, "All right, by the true cause");
    *y += 30;
    for (int k = 0; k < RG_QUIZ_CAUSES; k++) {
        if (r->by_cause[k].of == 0)
            continue;
        draw_bar(cr, *y, rg_quiz_cause_name((rg_quiz_cause)k), &r->by_cause[k]);
        *y += 25;
    }
}

/* ---------------------------------------------------------------- foot */

static void draw_foot(cairo_t *cr, const rg_draw_result_args *args)
{
    char text[RG_DRAW_TEXT];
    const double signed_at = 1210, width = RIGHT - LEFT;
    snprintf(
        text, sizeof text,
        "Limits in brackets are at %.0f %% confidence: shares by Wilson's score, kappa by Fleiss, "
        "Cohen and Everitt. The cases were drawn by the program; the same examination has the "
        "same cases for everybody.",
        100 * args->result->confidence);
    rg_font(cr, 16, false);
    rg_text_wrap(cr, LEFT, 1094, width, 21, 3, true, text);
    cairo_set_line_width(cr, 1.2);
    cairo_move_to(cr, LEFT, signed_at);
    cairo_line_to(cr, LEFT + 340, signed_at);
    cairo_move_to(cr, RIGHT - 340, signed_at);
    cairo_line_to(cr, RIGHT, signed_at);
    cairo_stroke(cr);
    rg_font(cr, 15, false);
    rg_text(cr, LEFT, signed_at + 20, 0, 0, "supervisor, signature");
    rg_text(cr, RIGHT - 340, signed_at + 20, 0, 0, "date, place");
    rg_font(cr, 19, true);
    rg_text(cr, RG_QUIZ_PAGE_WIDTH / 2.0, 1282, 0.5, width,
            "This is a training result. It certifies no instrument, no pad and no repair.");
    rg_font(cr, 16, false);
    rg_text(cr, RG_QUIZ_PAGE_WIDTH / 2.0, 1312, 0.5, width,
            rg_draw_name(args->software, "program not stated"));
}

rg_code rg_draw_quiz_result(const rg_draw_result_args *args, rg_picture_format format,
                            rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    double y = 416;
    *out = (rg_bytes){0};
    if (!args->result || !args->result->exam[0])
        return rg_fail(err, RG_BAD_DATA,
                       "practice has no certificate; take an examination to its end");
    rg_code code = rg_canvas_open(&canvas, format, RG_QUIZ_PAGE_WIDTH, RG_QUIZ_PAGE_HEIGHT, err);
    if (code != RG_OK)
        return code;
    draw_frame(canvas.cr);
    draw_head(canvas.cr, args);
    draw_outcome(canvas.cr, args->result);
    draw_facts(canvas.cr, args->result, &y);
    draw_causes(canvas.cr, args->result, &y);
    draw_foot(canvas.cr, args);
    return rg_canvas_close(&canvas, out, err);
}

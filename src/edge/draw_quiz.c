/*
 * draw_quiz.c - a trainee's progress (draw_quiz.h). The page is read from above: how sure, how hard, how it went in
 * examinations.
 */
#include "rimglow/draw_quiz.h"

#include <math.h>
#include <stdio.h>

#include "draw_plot.h"
#include "draw_quiz_private.h"
#include "rimglow/date.h"

enum { MARGIN = 64, PLOT_LEFT = 130, PLOT_WIDTH = 780 };

void rg_quiz_day(int64_t time, char text[RG_DATE_TEXT])
{
    int64_t day = time >= 0 ? time / 86400 : -1;
    rg_date_format(day <= 1000000 ? (int)day : -1, text);
}

/* ---------------------------------------------------------------- share */

/* The interval as a hatched band, broken where the share is not told. */
static void draw_band(const rg_plot *p, const rg_quiz_progress *q)
{
    for (int i = 0; i < q->points;) {
        int end = i;
        while (end < q->points && isfinite(q->point[end].low) && isfinite(q->point[end].high))
            end++;
        for (int k = i; k < end; k++)
            cairo_line_to(p->cr, rg_plot_x(p, q->point[k].number), rg_plot_y(p, q->point[k].low));
        for (int k = end - 1; k >= i; k--)
            cairo_line_to(p->cr, rg_plot_x(p, q->point[k].number), rg_plot_y(p, q->point[k].high));
        if (end > i) {
            cairo_close_path(p->cr);
            rg_grey(p->cr, 0.55);
            cairo_set_line_width(p->cr, 1);
            rg_fill_pattern(p->cr, RG_PATTERN_DIAGONAL, 7);
        }
        i = end > i ? end : i + 1;
    }
    rg_grey(p->cr, 0);
}

static void say_none(const rg_plot *p, const char *text)
{
    rg_font(p->cr, 18, false);
    rg_text(p->cr, p->left + p->width / 2, p->top + p->height / 2, 0.5, 0, text);
}

static bool is_told(const rg_quiz_progress *q)
{
    for (int i = 0; i < q->points; i++)
        if (isfinite(q->point[i].share))
            return true;
    return false;
}

static void draw_share(const rg_plot *p, const rg_quiz_progress *q)
{
    bool pen = false;
    char text[64];
    rg_plot_axes(p, "answer", "share");
    if (!is_told(q)) {
        snprintf(text, sizeof text, "told from %d practice cases on", q->window);
        say_none(p, text);
        return;
    }
    rg_plot_clip(p);
    draw_band(p, q);
    for (int i = 0; i < q->points; i++) {
        const rg_quiz_point *at = &q->point[i];
        if (!isfinite(at->share))
            continue;
        double x = rg_plot_x(p, at->number), y = rg_plot_y(p, at->share);
        if (pen)
            cairo_line_to(p->cr, x, y);
        else
            cairo_move_to(p->cr, x, y);
        pen = true;
    }
    rg_plot_stroke(p->cr, 2.6, 0);
    cairo_restore(p->cr);
}

/* ---------------------------------------------------------------- level */

static void draw_mark(const rg_plot *p, const rg_quiz_point *at, double size)
{
    double x = rg_plot_x(p, at->number), y = rg_plot_y(p, at->level);
    cairo_set_line_width(p->cr, 1.5);
    if (!at->exam) {
        rg_plot_dot(p, at->number, at->level, size, at->all);
        return;
    }
    cairo_rectangle(p->cr, x - size / 2, y - size / 2, size, size);
    if (at->all)
        cairo_fill(p->cr);
    else
        cairo_stroke(p->cr);
}

static void draw_levels(const rg_plot *p, const rg_quiz_progress *q)
{
    double size = q->points > 200 ? 5 : 9;
    rg_plot_axes(p, "answer", "level");
    rg_grey(p->cr, 0);
    for (int i = 0; i < q->points; i++)
        if (isfinite(q->point[i].level)) /* archived cases have none */
            draw_mark(p, &q->point[i], size);
}

/* ---------------------------------------------------------------- examinations */

static void whisker(cairo_t *cr, const rg_plot *p, double x, double low, double high)
{
    if (!isfinite(low) || !isfinite(high))
        return;
    cairo_set_line_width(cr, 1.8);
    cairo_move_to(cr, x, rg_plot_y(p, low));
    cairo_line_to(cr, x, rg_plot_y(p, high));
    for (int i = 0; i < 2; i++) {
        cairo_move_to(cr, x - 6, rg_plot_y(p, i ? low : high));
        cairo_line_to(cr, x + 6, rg_plot_y(p, i ? low : high));
    }
    cairo_stroke(cr);
}

static void draw_exam(const rg_plot *p, const rg_quiz_result *r, double middle)
{
    cairo_t *cr = p->cr;
    char day[RG_DATE_TEXT];
    const rg_kappa *k = &r->truth.cause;
    whisker(cr, p, middle - 8, r->all.low, r->all.high);
    if (isfinite(r->all.share)) {
        cairo_rectangle(cr, middle - 14, rg_plot_y(p, r->all.share) - 6, 12, 12);
        rg_grey(cr, r->passed ? 0 : 1);
        cairo_fill_preserve(cr);
        rg_grey(cr, 0);
        cairo_stroke(cr);
    }
    if (k->state == RG_KAPPA_FOUND) {
        double y = rg_plot_y(p, fmax(k->kappa, p->y0));
        whisker(cr, p, middle + 9, fmax(k->low, p->y0), fmax(k->high, p->y0));
        cairo_move_to(cr, middle + 9, y - 8);
        cairo_line_to(cr, middle + 17, y + 6);
        cairo_line_to(cr, middle + 1, y + 6);
        cairo_close_path(cr);
        rg_grey(cr, 1);
        cairo_fill_preserve(cr);
        rg_grey(cr, 0);
        cairo_stroke(cr);
    }
    rg_quiz_day(r->ended, day);
    cairo_save(cr);
    cairo_translate(cr, middle + 5, p->top + p->height + 10);
    cairo_rotate(cr, -0.9);
    rg_font(cr, 14, false);
    rg_text(cr, 0, 0, 1, 0, day);
    cairo_restore(cr);
}

static void draw_exams(const rg_plot *p, const rg_quiz_progress *q)
{
    int from = q->exams > RG_QUIZ_EXAMS_DRAWN ? q->exams - RG_QUIZ_EXAMS_DRAWN : 0;
    int shown = q->exams - from;
    char text[64];
    rg_plot_y_axis(p, "share, kappa");
    if (shown == 0) {
        say_none(p, "no examination was taken to its end");
        return;
    }
    rg_plot_level(p, q->exam[q->exams - 1].pass_share, 1.4, 6);
    rg_font(p->cr, 14, false);
    rg_text(p->cr, p->left + p->width - 6, rg_plot_y(p, q->exam[q->exams - 1].pass_share) - 5, 1, 0,
            "needed to pass");
    for (int i = 0; i < shown; i++)
        draw_exam(p, &q->exam[from + i], p->left + p->width * (i + 0.5) / shown);
    if (from > 0) {
        snprintf(text, sizeof text, "%d earlier ones are not drawn", from);
        rg_font(p->cr, 14, false);
        rg_text(p->cr, p->left + 6, p->top + 18, 0, 0, text);
    }
}

/* ---------------------------------------------------------------- page */

static void draw_head(cairo_t *cr, const rg_draw_progress_args *args)
{
    const rg_quiz_progress *q = args->progress;
    char text[RG_DRAW_TEXT], from[RG_DATE_TEXT], to[RG_DATE_TEXT];
    rg_font(cr, 17, false);
    rg_text(cr, MARGIN, 58, 0, 500, "Progress of a trainee");
    rg_text(cr, RG_QUIZ_PAGE_WIDTH - MARGIN, 58, 1, 300, args->software);
    rg_font(cr, 38, true);
    rg_text(cr, MARGIN, 104, 0, RG_QUIZ_PAGE_WIDTH - 2 * MARGIN,
            rg_draw_name(q->trainee, "(no name)"));
    rg_font(cr, 18, false);
    if (q->points == 0) {
        rg_text(cr, MARGIN, 138, 0, 0, "No answers yet.");
        return;
    }
    rg_quiz_day(q->point[0].time, from);
    rg_quiz_day(q->point[q->points - 1].time, to);
    snprintf(text, sizeof text, "Answers from %s to %s: %d. Examinations taken to their end: %d.",
             from, to, q->points, q->exams);
    rg_text(cr, MARGIN, 138, 0, RG_QUIZ_PAGE_WIDTH - 2 * MARGIN, text);
    if (q->practice.of > 0) {
        snprintf(text, sizeof text,
                 "Practice: %d of %d cases all right, %.0f %% (%.0f to %.0f %% at %.0f %% "
                 "confidence). It stands at level %.1f of %.0f.",
                 q->practice.right, q->practice.of, 100 * q->practice.share, 100 * q->practice.low,
                 100 * q->practice.high, 100 * q->confidence, q->stairs.level, q->levels);
        rg_text_wrap(cr, MARGIN, 164, RG_QUIZ_PAGE_WIDTH - 2 * MARGIN, 25, 2, true, text);
    }
    if (q->archived.of > 0) {
        snprintf(
            text, sizeof text,
            "Photographs of the archive: %d of %d all right by the tool's own maps; not plotted.",
            q->archived.right, q->archived.of);
        rg_text(cr, MARGIN, q->practice.of > 0 ? 209 : 164, 0, RG_QUIZ_PAGE_WIDTH - 2 * MARGIN,
                text);
    }
}

static void draw_foot(cairo_t *cr, const rg_quiz_progress *q)
{
    char text[RG_DRAW_TEXT];
    snprintf(text, sizeof text,
             "All right: bearing, width class and cause of a case. Top: the share among the last "
             "%d practice "
             "cases, hatched its interval by Wilson. Middle: disc right, ring not, squares in an "
             "examination. "
             "Below: square the share, filled when passed; triangle Cohen's kappa of causes with "
             "the truth.",
             q->window);
    rg_font(cr, 16, false);
    rg_text_wrap(cr, MARGIN, 1300, RG_QUIZ_PAGE_WIDTH - 2 * MARGIN, 21, 3, true, text);
    rg_text(cr, MARGIN, 1371, 0, 0,
            "A training record. The level rises and falls with the answers, so shares at different "
            "levels do not compare.");
}

static rg_plot plot_at(cairo_t *cr, double top, double height, double last)
{
    return (rg_plot){.cr = cr,
                     .left = PLOT_LEFT,
                     .top = top,
                     .width = PLOT_WIDTH,
                     .height = height,
                     .x0 = 0,
                     .x1 = last,
                     .y0 = 0,
                     .y1 = 1};
}

/* Room for the lowest kappa, which may be -1, in fifths. */
static double lowest(const rg_quiz_progress *q)
{
    int from = q->exams > RG_QUIZ_EXAMS_DRAWN ? q->exams - RG_QUIZ_EXAMS_DRAWN : 0;
    double low = -0.2;
    for (int i = from; i < q->exams; i++)
        if (q->exam[i].truth.cause.state == RG_KAPPA_FOUND)
            low = fmin(low, floor(q->exam[i].truth.cause.low * 5) / 5);
    return fmax(low, -1);
}

static void draw_page(cairo_t *cr, const rg_draw_progress_args *args)
{
    const rg_quiz_progress *q = args->progress;
    double last = q->points > 0 ? q->point[q->points - 1].number + 1.0 : 10;
    rg_plot share = plot_at(cr, 276, 230, last), level = plot_at(cr, 652, 230, last),
            exams = plot_at(cr, 1004, 190, 1);
    level.y1 = fmax(q->levels, 1) * 1.08;
    exams.y0 = lowest(q);
    exams.y1 = 1.05;
    draw_head(cr, args);
    rg_plot_title(&share, "Share of cases with all three answers right");
    draw_share(&share, q);
    rg_plot_title(&level, "Difficulty");
    draw_levels(&level, q);
    rg_plot_title(&exams, "Examinations");
    draw_exams(&exams, q);
    draw_foot(cr, q);
}

rg_code rg_draw_quiz_progress(const rg_draw_progress_args *args, rg_picture_format format,
                              rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    if (!args->progress || args->progress->points < 0 || args->progress->exams < 0)
        return rg_fail(err, RG_BAD_DATA, "progress: there is none to draw");
    rg_code code = rg_canvas_open(&canvas, format, RG_QUIZ_PAGE_WIDTH, RG_QUIZ_PAGE_HEIGHT, err);
    if (code != RG_OK)
        return code;
    draw_page(canvas.cr, args);
    return rg_canvas_close(&canvas, out, err);
}

/*
 * draw_bench.c - the page of a bench check. See draw_bench.h.
 */
#include "rimglow/draw_bench.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_private.h"

enum {
    MARGIN = 36,
    TEXT_X = 250,
    FIRST_Y = 150,
    LAST_Y = 845,
    PLOT_Y = 892,
    PLOT_HEIGHT = 190,
    MAP_Y = 1180
};

static const double FONT[] = {14, 13, 12, 10.5, 9};

/* ------------------------------------------------------------------ marks */

static void mark(cairo_t *cr, double x, double y, double r, rg_check_state state)
{
    static const double dash[] = {4, 2.5};
    cairo_save(cr);
    cairo_set_line_width(cr, 0.18 * r);
    cairo_arc(cr, x, y, r, 0, 2 * RG_PI);
    if (state == RG_CHECK_POOR)
        cairo_fill_preserve(cr);
    if (state == RG_CHECK_NOT_SHOWN || state == RG_CHECK_NOT_ASKED)
        cairo_set_dash(cr, dash, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    if (state == RG_CHECK_GOOD) {
        cairo_move_to(cr, x - 0.45 * r, y);
        cairo_line_to(cr, x - 0.1 * r, y + 0.4 * r);
        cairo_line_to(cr, x + 0.5 * r, y - 0.4 * r);
        cairo_stroke(cr);
    } else {
        rg_grey(cr, state == RG_CHECK_POOR ? 1 : 0);
        rg_font(cr, 1.5 * r, true);
        rg_text(cr, x, y + 0.54 * r, 0.5, 0,
                state == RG_CHECK_POOR        ? "!"
                : state == RG_CHECK_NOT_ASKED ? "-"
                                              : "?");
    }
    cairo_restore(cr);
}

static void draw_head(cairo_t *cr, const rg_draw_bench_args *a)
{
    static const char *const word[] = {[RG_CHECK_GOOD] = "The bench is good",
                                       [RG_CHECK_POOR] = "Something is poor",
                                       [RG_CHECK_NOT_SHOWN] = "Something is not shown"};
    char text[RG_DRAW_TEXT];
    mark(cr, MARGIN + 34, 74, 34, a->check->state);
    rg_font(cr, 36, true);
    rg_text(cr, MARGIN + 86, 76, 0, 560, word[a->check->state]);
    rg_font(cr, 17, false);
    snprintf(text, sizeof text, "bench check of %.100s, pad %.100s, station %.100s",
             rg_draw_name(a->serial, "(no serial)"), rg_draw_name(a->pad, "(no name)"),
             rg_draw_name(a->station, "(no name)"));
    rg_text(cr, MARGIN + 88, 106, 0, 680, text);
    rg_text(cr, RG_BENCH_WIDTH - MARGIN, 76, 1, 220, rg_draw_name(a->date, ""));
    cairo_set_line_width(cr, 2);
    cairo_move_to(cr, MARGIN, 126);
    cairo_line_to(cr, RG_BENCH_WIDTH - MARGIN, 126);
    cairo_stroke(cr);
}

/* --------------------------------------------------------------- findings */

static void value_text(const rg_finding *f, char text[RG_DRAW_TEXT])
{
    if (isnan(f->value))
        snprintf(text, RG_DRAW_TEXT, "%s %.3g %s", f->sense, f->limit, f->unit);
    else
        snprintf(text, RG_DRAW_TEXT, "%.3g, %s %.3g", f->value, f->sense, f->limit);
}

static double finding_height(cairo_t *cr, const rg_finding *f, double line)
{
    int lines = rg_text_wrap(cr, 0, 0, RG_BENCH_WIDTH - MARGIN - TEXT_X, 0, 12, false, f->text);
    return fmax(lines, 2) * line + 0.45 * line;
}

static double draw_finding(cairo_t *cr, const rg_finding *f, double y, double size)
{
    char text[RG_DRAW_TEXT];
    double line = 1.26 * size;
    mark(cr, MARGIN + 12, y + 0.2 * size, 0.8 * size, f->state);
    rg_font(cr, size * 1.1, true);
    rg_text(cr, MARGIN + 34, y, 0, 170, rg_check_topic_name(f->topic));
    rg_font(cr, size * 0.85, false);
    value_text(f, text);
    rg_text(cr, MARGIN + 34, y + line, 0, TEXT_X - MARGIN - 44, text);
    rg_font(cr, size, false);
    double height = finding_height(cr, f, line);
    rg_text_wrap(cr, TEXT_X, y, RG_BENCH_WIDTH - MARGIN - TEXT_X, line, 12, true, f->text);
    return y + height;
}

/* The largest type with which all findings find room. */
static void draw_findings(cairo_t *cr, const rg_bench_check *c)
{
    double size = 0, y = FIRST_Y + 8;
    for (size_t i = 0; i < sizeof FONT / sizeof *FONT; i++) {
        double sum = 0;
        size = FONT[i];
        rg_font(cr, size, false);
        for (int k = 0; k < RG_CHECK_TOPICS; k++)
            sum += finding_height(cr, &c->finding[k], 1.26 * size);
        if (sum < LAST_Y - FIRST_Y)
            break;
    }
    for (int k = 0; k < RG_CHECK_TOPICS; k++)
        y = draw_finding(cr, &c->finding[k], y, size);
}

/* ------------------------------------------------------------------ plots */

static void axes(cairo_t *cr, double x, double width, const char *title)
{
    rg_font(cr, 15, true);
    rg_text(cr, x, PLOT_Y - 14, 0, width, title);
    cairo_set_line_width(cr, 1.2);
    cairo_rectangle(cr, x, PLOT_Y, width, PLOT_HEIGHT);
    cairo_stroke(cr);
}

static void tick(cairo_t *cr, double x, double y, const char *text)
{
    cairo_move_to(cr, x, y);
    cairo_line_to(cr, x, y + 5);
    cairo_stroke(cr);
    rg_font(cr, 12, false);
    rg_text(cr, x, y + 19, 0.5, 0, text);
}

static void level(cairo_t *cr, double x, double width, double y, const char *text)
{
    rg_grey(cr, 0.7);
    cairo_move_to(cr, x, y);
    cairo_line_to(cr, x + width, y);
    cairo_stroke(cr);
    rg_grey(cr, 0);
    rg_font(cr, 12, false);
    rg_text(cr, x - 6, y + 4, 1, 0, text);
}

static void draw_curve(cairo_t *cr, const rg_draw_bench_args *a)
{
    static const double dash[] = {7, 4};
    const rg_bench_check *c = a->check;
    double x0 = MARGIN + 36, width = 400, top = 1.1, end = 0.5;
    char text[64];
    axes(cr, x0, width, "MTF, mean of the closed frames");
    for (int i = 0; i <= 2; i++) {
        snprintf(text, sizeof text, "%.1f", 0.5 * i);
        level(cr, x0, width, PLOT_Y + PLOT_HEIGHT * (1 - 0.5 * i / top), text);
    }
    for (int i = 0; i <= 5; i++) {
        snprintf(text, sizeof text, "%.1f", 0.1 * i);
        tick(cr, x0 + width * i / 5, PLOT_Y + PLOT_HEIGHT, text);
    }
    rg_text(cr, x0 + width / 2, PLOT_Y + PLOT_HEIGHT + 36, 0.5, 0, "cycles per px");
    double limit = x0 + width * fmin(a->mtf50_limit / end, 1);
    cairo_set_dash(cr, dash, 2, 0);
    cairo_move_to(cr, limit, PLOT_Y + PLOT_HEIGHT);
    cairo_line_to(cr, limit, PLOT_Y);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_text_halo(cr, limit + 5, PLOT_Y + PLOT_HEIGHT - 7, 0, "limit of MTF50");
    if (!isfinite(c->mtf50)) {
        rg_text_halo(cr, x0 + width / 2, PLOT_Y + PLOT_HEIGHT / 2, 0.5, "not shown");
        return;
    }
    cairo_set_line_width(cr, 2.4);
    for (int k = 0; k * RG_MTF_STEP <= end && k < RG_MTF_POINTS; k++) {
        double v = fmin(fmax(c->mtf[k], 0), top);
        cairo_line_to(cr, x0 + width * k * RG_MTF_STEP / end, PLOT_Y + PLOT_HEIGHT * (1 - v / top));
    }
    cairo_stroke(cr);
    cairo_arc(cr, x0 + width * c->mtf50 / end, PLOT_Y + PLOT_HEIGHT * (1 - 0.5 / top), 5, 0,
              2 * RG_PI);
    cairo_fill(cr);
    snprintf(text, sizeof text, "MTF50 %.3f", c->mtf50);
    rg_text_halo(cr, x0 + width * c->mtf50 / end + 12, PLOT_Y + PLOT_HEIGHT * (1 - 0.56 / top), 0,
                 text);
}

static void draw_tones(cairo_t *cr, const rg_bench_check *c)
{
    double x0 = 540, width = RG_BENCH_WIDTH - MARGIN - x0, most = 1e-9,
           bar = width / RG_BENCH_TONES;
    char text[64];
    axes(cr, x0, width, "tones, share of the pixels");
    for (int i = 0; i < RG_BENCH_TONES; i++)
        most = fmax(most, c->tones[i]);
    most *= 1.08;
    double step = most > 0.4 ? 0.2 : most > 0.2 ? 0.1 : 0.05;
    cairo_set_line_width(cr, 1.2);
    for (double v = 0; v < most; v += step) {
        snprintf(text, sizeof text, "%.0f %%", 100 * v);
        level(cr, x0, width, PLOT_Y + PLOT_HEIGHT * (1 - v / most), text);
    }
    for (int i = 0; i < RG_BENCH_TONES; i++) {
        double h = PLOT_HEIGHT * c->tones[i] / most;
        /* The last bar holds what is clipped or nearly so. */
        rg_grey(cr, i == RG_BENCH_TONES - 1 ? 0 : 0.55);
        cairo_rectangle(cr, x0 + i * bar + 2, PLOT_Y + PLOT_HEIGHT - h, bar - 4, h);
        cairo_fill_preserve(cr);
        rg_grey(cr, 0);
        cairo_stroke(cr);
    }
    for (int i = 0; i <= 4; i++) {
        snprintf(text, sizeof text, "%d", i < 4 ? 64 * i : 255);
        tick(cr, x0 + width * i / 4, PLOT_Y + PLOT_HEIGHT, text);
    }
    rg_text(cr, x0 + width / 2, PLOT_Y + PLOT_HEIGHT + 36, 0.5, 0,
            "code (the last bar is nearly clipped)");
}

/* -------------------------------------------------------------------- map */

/* Topics that a single frame can be poor in. */
static const rg_check_topic by_frame[] = {RG_CHECK_FRAMES,   RG_CHECK_SHARPNESS, RG_CHECK_EXPOSURE,
                                          RG_CHECK_CLIPPING, RG_CHECK_VIBRATION, RG_CHECK_ROCKING};
enum { ROWS = sizeof by_frame / sizeof *by_frame };

static void draw_map(cairo_t *cr, const rg_draw_bench_args *a)
{
    int n = a->count > RG_BENCH_FRAMES_MAX ? RG_BENCH_FRAMES_MAX : a->count;
    /* cppcheck-suppress knownConditionTrueFalse ; count is the caller's */
    double x0 = MARGIN + 96, width = RG_BENCH_WIDTH - MARGIN - x0, cell = width / (n > 20 ? n : 20);
    double row = 17;
    char text[96];
    rg_font(cr, 15, true);
    snprintf(text, sizeof text,
             /* cppcheck-suppress knownConditionTrueFalse ; count is the caller's */
             n < a->count ? "the first %d frames, in the sweep's order: black is poor"
                          : "frames, in the sweep's order: black is poor",
             n);
    rg_text(cr, MARGIN, MAP_Y - 12, 0, 0, text);
    cairo_set_line_width(cr, 0.8);
    for (int r = 0; r < ROWS; r++) {
        rg_font(cr, 13, false);
        rg_text(cr, x0 - 8, MAP_Y + r * row + 12.5, 1, 0, rg_check_topic_name(by_frame[r]));
        for (int i = 0; i < n; i++) {
            cairo_rectangle(cr, x0 + i * cell + 1, MAP_Y + r * row + 1, cell - 2, row - 3);
            if (a->look[i].flaws >> by_frame[r] & 1u)
                cairo_fill_preserve(cr);
            rg_grey(cr, 0.45);
            cairo_stroke(cr);
            rg_grey(cr, 0);
        }
    }
    rg_font(cr, 11, false);
    for (int i = 0; i<n; i += n> 40 ? 10 : 5) {
        snprintf(text, sizeof text, "%d", i + 1);
        rg_text(cr, x0 + (i + 0.5) * cell, MAP_Y + ROWS * row + 11, 0.5, 0, text);
    }
}

static void draw_coverage(cairo_t *cr, const rg_bench_check *c)
{
    double x0 = MARGIN + 96, width = RG_BENCH_WIDTH - MARGIN - x0, y = MAP_Y + 142, height = 22;
    char text[16];
    rg_font(cr, 13, false);
    rg_text(cr, x0 - 8, y + 15, 1, 0, "bearings");
    cairo_set_line_width(cr, 1.3);
    rg_grey(cr, 0.25);
    for (int b = 0; b < RG_BINS; b++)
        if (!c->covered[b])
            cairo_rectangle(cr, x0 + width * b / RG_BINS, y, width / RG_BINS + 0.2, height);
    rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 7);
    rg_grey(cr, 0);
    cairo_rectangle(cr, x0, y, width, height);
    cairo_stroke(cr);
    for (int b = 0; b <= 360; b += 60) {
        snprintf(text, sizeof text, "%d", b);
        tick(cr, x0 + width * b / 360, y + height, text);
    }
    rg_font(cr, 12, false);
    rg_text(cr, RG_BENCH_WIDTH - MARGIN, y - 7, 1, 0,
            c->coverage_known ? "hatched: a gap of half the tolerance could hide there"
                              : "hatched: not known");
}

rg_code rg_draw_bench(const rg_draw_bench_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    rg_code code = rg_canvas_open(&canvas, format, RG_BENCH_WIDTH, RG_BENCH_HEIGHT, err);
    if (code != RG_OK)
        return code;
    draw_head(canvas.cr, args);
    draw_findings(canvas.cr, args->check);
    draw_curve(canvas.cr, args);
    draw_tones(canvas.cr, args->check);
    draw_map(canvas.cr, args);
    draw_coverage(canvas.cr, args->check);
    return rg_canvas_close(&canvas, out, err);
}

/*
 * draw_archive_batch.c - many instruments on one page: which pads fail most (Pareto, by model), how
 * many passed at once, and whether the stations drift.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_archive_private.h"
#include "rimglow/memory.h"
#include "rimglow/vec.h"

enum { PARETO_ROWS = 32, MODELS_SHOWN = 3, STATIONS_SHOWN = 3, POINTS_SHOWN = 400 };

static const double rows_top = 168, row_height = 24;
static const double bar_left = 190, bar_width = 220, side_left = 760;

typedef struct page {
    cairo_t *cr;
    const rg_draw_batch_args *args;
    const rg_batch *batch;
} page;

/* ------------------------------------------------------------------ header */

static const rg_batch_pad *worst_pad(const rg_batch *batch)
{
    const rg_batch_pad *worst = NULL;
    for (int i = 0; i < batch->pads; i++)
        if (batch->pad[i].leaking > (worst ? worst->leaking : 0))
            worst = &batch->pad[i];
    return worst;
}

static int drifting(const rg_batch *batch)
{
    int n = 0;
    for (int i = 0; i < batch->stations; i++)
        n += batch->station[i].radiance_drifts || batch->station[i].psf_drifts;
    return n;
}

static void drift_text(const rg_batch *batch, char *text, size_t size)
{
    int n = drifting(batch);
    if (n == 0)
        snprintf(text, size, "no station is shown to drift");
    else if (n == 1 && batch->stations == 1)
        snprintf(text, size, "the station drifts");
    else
        snprintf(text, size, "%d of %d stations drift%s", n, batch->stations, n == 1 ? "s" : "");
}

static void draw_header(const page *p)
{
    char what[RG_DRAW_TEXT], result[RG_DRAW_TEXT], drift[64];
    const rg_batch *b = p->batch;
    const rg_batch_pad *worst = worst_pad(b);
    snprintf(what, sizeof what, "%s%.300s%d sweep%s, %d inspection%s, %d serial%s",
             rg_draw_name(p->args->title, ""), p->args->title && *p->args->title ? ": " : "",
             b->sweeps, b->sweeps == 1 ? "" : "s", b->inspections, b->inspections == 1 ? "" : "s",
             b->serials, b->serials == 1 ? "" : "s");
    drift_text(b, drift, sizeof drift);
    if (b->sweeps == 0)
        snprintf(result, sizeof result, "No sweep in this batch");
    else if (!worst)
        snprintf(result, sizeof result, "No pad leaked; %s", drift);
    else
        snprintf(result, sizeof result, "Leaks most: pad %.60s of %.60s, %d of %d sweeps; %s",
                 rg_draw_name(worst->pad, "(no name)"), rg_draw_name(worst->model, "(no model)"),
                 worst->leaking, worst->sweeps, drift);
    rg_archive_header(p->cr, what, result);
}

/* ------------------------------------------------------------------ Pareto */

static int most_leaking(const rg_batch *batch)
{
    const rg_batch_pad *worst = worst_pad(batch);
    return worst ? worst->leaking : 0;
}

static void draw_bar(const page *p, const rg_batch_pad *pad, double y, double most)
{
    char text[64];
    double length = bar_width * pad->leaking / most;
    rg_font(p->cr, 15, false);
    rg_grey(p->cr, 0);
    rg_text(p->cr, bar_left - 10, y + 5, 1, bar_left - 10 - RG_ARCHIVE_MARGIN,
            rg_draw_name(pad->pad, "(no name)"));
    cairo_rectangle(p->cr, bar_left, y - 7, length, 14);
    cairo_fill(p->cr);
    snprintf(text, sizeof text, "%d of %d", pad->leaking, pad->sweeps);
    rg_text(p->cr, bar_left + bar_width + 88, y + 5, 1, 96, text);
    if (isfinite(pad->failing.share))
        snprintf(text, sizeof text, "%.0f %% (%.0f\u2013%.0f)", 100 * pad->failing.share,
                 100 * pad->failing.low, 100 * pad->failing.high);
    rg_text(p->cr, bar_left + bar_width + 216, y + 5, 1, 122, text);
    if (isfinite(pad->cumulative))
        snprintf(text, sizeof text, "%.0f %%", 100 * pad->cumulative);
    else
        snprintf(text, sizeof text, "\u2013");
    rg_text(p->cr, bar_left + bar_width + 290, y + 5, 1, 50, text);
}

static void draw_columns(const page *p)
{
    rg_font(p->cr, 19, true);
    rg_text(p->cr, RG_ARCHIVE_MARGIN, 132, 0, 0, "Leaking pads, by model");
    rg_font(p->cr, 13, false);
    rg_text(p->cr, bar_left, 152, 0, 0, "leaking sweeps");
    rg_text(p->cr, bar_left + bar_width + 88, 152, 1, 0, "of swept");
    rg_text(p->cr, bar_left + bar_width + 216, 152, 1, 0, "share (interval)");
    rg_text(p->cr, bar_left + bar_width + 290, 152, 1, 0, "together");
}

static void name_model(const page *p, const char *model, double y)
{
    rg_font(p->cr, 16, true);
    rg_grey(p->cr, 0);
    rg_text(p->cr, RG_ARCHIVE_MARGIN, y + 6, 0, bar_left + bar_width - RG_ARCHIVE_MARGIN,
            rg_draw_name(model, "(no model)"));
    rg_archive_line(p->cr, RG_ARCHIVE_MARGIN, y + 12, bar_left + bar_width + 290, y + 12, 1, 0);
}

/* Pads of the model that leaked, from `from` on. */
static int count_leaking(const rg_batch *b, int from, int to)
{
    int n = 0;
    for (int i = from; i < to; i++)
        n += b->pad[i].leaking > 0;
    return n;
}

static int end_of_model(const rg_batch *b, int from)
{
    int to = from;
    while (to < b->pads && strcmp(b->pad[to].model, b->pad[from].model) == 0)
        to++;
    return to;
}

/* Rows of bars that each model may have, so that every model has some while rows last. */
static int fair_share(const rg_batch *b)
{
    for (int share = PARETO_ROWS; share > 1; share--) {
        int rows = 0;
        for (int from = 0, to; from < b->pads; from = to) {
            to = end_of_model(b, from);
            int n = count_leaking(b, from, to);
            rows += 1 + (n < share ? n : share) + (n != to - from || n > share);
        }
        if (rows <= PARETO_ROWS)
            return share;
    }
    return 1;
}

static void tell_rest(const page *p, double y, int left_out, int clean)
{
    char text[96];
    if (left_out > 0)
        snprintf(text, sizeof text, "+ %d more that leaked, %d that did not", left_out, clean);
    else
        snprintf(text, sizeof text, "%d pad%s did not leak", clean, clean == 1 ? "" : "s");
    rg_font(p->cr, 14, false);
    rg_text(p->cr, bar_left, y + 5, 0, 0, text);
}

/* One model's rows from row on; returns the next free row. */
static int draw_model(const page *p, int from, int to, int row, int share, double most)
{
    const rg_batch *b = p->batch;
    int leaking = count_leaking(b, from, to), shown = leaking < share ? leaking : share;
    name_model(p, b->pad[from].model, rows_top + row_height * row++);
    for (int i = 0; i < shown && row < PARETO_ROWS; i++)
        draw_bar(p, &b->pad[from + i], rows_top + row_height * row++, most);
    if (to - from > shown && row < PARETO_ROWS)
        tell_rest(p, rows_top + row_height * row++, leaking - shown, to - from - leaking);
    return row;
}

static void draw_pareto(const page *p)
{
    const rg_batch *b = p->batch;
    int share = fair_share(b), row = 0, from = 0, shown = 0;
    double most = fmax(most_leaking(b), 1);
    char text[64];
    draw_columns(p);
    for (int to; from < b->pads && row < PARETO_ROWS - 2; from = to) {
        to = end_of_model(b, from);
        row = draw_model(p, from, to, row, share, most);
        shown++;
    }
    if (shown < b->models) {
        snprintf(text, sizeof text, "+ %d more models", b->models - shown);
        rg_font(p->cr, 14, true);
        rg_text(p->cr, RG_ARCHIVE_MARGIN, rows_top + row_height * row + 5, 0, 0, text);
    }
}

/* -------------------------------------------------------------- first pass */

static void draw_share(const page *p, const rg_share *s, double y, const char *what)
{
    char text[64];
    const rg_plot q = {.cr = p->cr,
                       .left = side_left + 180,
                       .top = y,
                       .width = 190,
                       .height = 1,
                       .x1 = 1,
                       .y1 = 1};
    rg_font(p->cr, 14, false);
    rg_grey(p->cr, 0);
    rg_text(p->cr, q.left - 14, y + 5, 1, 176, what);
    if (!isfinite(s->share))
        return;
    double low = rg_plot_x(&q, s->low), high = rg_plot_x(&q, s->high);
    rg_archive_line(p->cr, low, y, high, y, 1.6, 0);
    rg_archive_line(p->cr, low, y - 5, low, y + 5, 1.6, 0);
    rg_archive_line(p->cr, high, y - 5, high, y + 5, 1.6, 0);
    cairo_new_path(p->cr);
    cairo_arc(p->cr, rg_plot_x(&q, s->share), y, 4.5, 0, 2 * RG_PI);
    cairo_fill(p->cr);
    snprintf(text, sizeof text, "%d of %d, %.0f %% (%.0f\u2013%.0f)", s->count, s->of,
             100 * s->share, 100 * s->low, 100 * s->high);
    rg_text(p->cr, q.left + q.width + 14, y + 5, 0, RG_ARCHIVE_WIDTH - 30 - q.left - q.width - 14,
            text);
}

static void share_axis(const page *p, double top, double bottom)
{
    static const char *const word[] = {"0", "50", "100 %"};
    for (int k = 0; k < 3; k++) {
        double x = side_left + 180 + 95 * k;
        rg_grey(p->cr, 0.8);
        rg_archive_line(p->cr, x, top, x, bottom, 1, 0);
        rg_grey(p->cr, 0);
        rg_font(p->cr, 13, false);
        rg_text(p->cr, x, top - 5, 0.5, 0, word[k]);
    }
}

static void draw_first_pass(const page *p)
{
    char text[96];
    const rg_batch *b = p->batch;
    int shown = b->models < MODELS_SHOWN ? b->models : MODELS_SHOWN;
    double y = 184;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 19, true);
    rg_text(p->cr, side_left, 132, 0, 0, "Sealed at the first inspection");
    share_axis(p, 166, 166 + 58 * shown);
    for (int i = 0; i < shown; i++, y += 58) {
        const rg_batch_model *m = &b->model[i];
        rg_font(p->cr, 14, true);
        rg_text(p->cr, side_left, y, 0, 170, rg_draw_name(m->model, "(no model)"));
        draw_share(p, &m->instruments, y + 14, "instruments");
        draw_share(p, &m->pads, y + 34, "pads");
    }
    rg_font(p->cr, 13, false);
    snprintf(text, sizeof text, "intervals: exact binomial, %.4g %%", 100 * b->confidence);
    rg_text(p->cr, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN, 132, 1, 0, text);
    if (b->models > shown) {
        snprintf(text, sizeof text, "+ %d more models", b->models - shown);
        rg_text(p->cr, side_left, y, 0, 0, text);
    }
}

/* ---------------------------------------------------------------- stations */

/* The points of one station's plot, thinned. */
typedef struct points {
    double *day, *value; /* [POINTS_SHOWN] */
    int count, of;
} points;

static double value_of(const page *p, int sweep, bool radiance)
{
    return radiance ? p->batch->ln_radiance[sweep] : p->args->sweeps[sweep].psf_sigma_px;
}

static bool belongs(const page *p, int sweep, const rg_batch_station *s)
{
    const char *name = p->args->sweeps[sweep].station;
    return strcmp(name ? name : "", s->station) == 0;
}

static void collect(const page *p, const rg_batch_station *s, bool radiance, points *out)
{
    out->count = out->of = 0;
    for (int i = 0; i < p->batch->sweeps; i++)
        out->of += belongs(p, i, s) && isfinite(value_of(p, i, radiance));
    for (int i = 0, seen = 0; i < p->batch->sweeps; i++) {
        double value = value_of(p, i, radiance);
        if (!isfinite(value) || !belongs(p, i, s))
            continue;
        /* Spread evenly over the input, whatever their number. */
        long place =
            (long)seen++ * POINTS_SHOWN / (out->of > POINTS_SHOWN ? out->of : POINTS_SHOWN);
        if (out->of > POINTS_SHOWN && place < out->count)
            continue;
        out->day[out->count] = rg_archive_day(p->args->sweeps[i].time);
        out->value[out->count++] = value;
    }
}

static void trend_text(const rg_trend *t, bool radiance, char *text, size_t size)
{
    double low = radiance ? 100 * expm1(t->low) : t->low;
    double high = radiance ? 100 * expm1(t->high) : t->high;
    double slope = radiance ? 100 * expm1(t->per_month) : t->per_month;
    if (isfinite(low))
        snprintf(text, size, "%+.2g %s a month (%+.2g to %+.2g)", slope, radiance ? "%" : "px", low,
                 high);
    else
        snprintf(text, size, "%d point%s: too few days for a trend", t->points,
                 t->points == 1 ? "" : "s");
}

static void fit_range(const points *s, const rg_trend *t, rg_plot *q)
{
    q->y0 = INFINITY;
    q->y1 = -INFINITY;
    for (int i = 0; i < s->count; i++) {
        q->y0 = fmin(q->y0, s->value[i]);
        q->y1 = fmax(q->y1, s->value[i]);
    }
    if (isfinite(t->at_begin) && isfinite(t->at_end)) {
        q->y0 = fmin(q->y0, fmin(t->at_begin, t->at_end));
        q->y1 = fmax(q->y1, fmax(t->at_begin, t->at_end));
    }
    if (!(q->y1 >= q->y0))
        q->y0 = q->y1 = 0;
    rg_plot_widen(&q->y0, &q->y1, 0.12, false);
}

static void draw_points(const page *p, const rg_batch_station *s, const points *pts, bool radiance,
                        double left, double top)
{
    char text[128];
    const rg_trend *t = radiance ? &s->ln_radiance : &s->psf;
    rg_plot q = {.cr = p->cr, .left = left, .top = top, .width = 216, .height = 92};
    double begin = rg_archive_day(s->begin), end = rg_archive_day(s->end);
    q.x0 = begin - fmax(0.04 * (end - begin), 1);
    q.x1 = end + fmax(0.04 * (end - begin), 1);
    fit_range(pts, t, &q);
    rg_plot_y_axis(&q, "");
    rg_plot_clip(&q);
    rg_grey(p->cr, 0.35);
    for (int i = 0; i < pts->count; i++)
        rg_plot_dot(&q, pts->day[i], pts->value[i], 3.4, true);
    rg_grey(p->cr, 0);
    if (isfinite(t->at_begin)) {
        cairo_move_to(p->cr, rg_plot_x(&q, begin), rg_plot_y(&q, t->at_begin));
        cairo_line_to(p->cr, rg_plot_x(&q, end), rg_plot_y(&q, t->at_end));
        cairo_set_line_width(p->cr, 2.4);
        rg_plot_stroke(p->cr, 2.4, 0);
    }
    cairo_restore(p->cr);
    bool drift = radiance ? s->radiance_drifts : s->psf_drifts;
    const char *word = drift ? ": drifts" : isfinite(t->low) ? ": no drift shown" : "";
    snprintf(text, sizeof text, "%s%s", radiance ? "lamp, ln of radiance" : "blur, px", word);
    rg_font(p->cr, 14, drift);
    rg_text(p->cr, left - 40, top - 31, 0, 290, text);
    trend_text(t, radiance, text, sizeof text);
    rg_font(p->cr, 12, false);
    rg_text(p->cr, left - 40, top - 14, 0, 290, text);
}

static void draw_station(const page *p, const rg_batch_station *s, points *pts, double top)
{
    char dates[32], text[160];
    rg_archive_dates(rg_archive_day(s->begin), rg_archive_day(s->end), dates);
    rg_font(p->cr, 15, true);
    snprintf(text, sizeof text, "%.60s: %d sweep%s", rg_draw_name(s->station, "(no station)"),
             s->sweeps, s->sweeps == 1 ? "" : "s");
    rg_text(p->cr, side_left, top, 0, 330, text);
    rg_font(p->cr, 13, false);
    rg_text(p->cr, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN, top, 1, 270, dates);
    for (int k = 0; k < 2; k++) {
        collect(p, s, k == 0, pts);
        draw_points(p, s, pts, k == 0, side_left + 52 + 316 * k, top + 52);
        if (pts->of > pts->count) {
            snprintf(text, sizeof text, "%d of %d points drawn", pts->count, pts->of);
            rg_font(p->cr, 12, false);
            rg_text(p->cr, side_left + 52 + 316 * k, top + 160, 0, 216, text);
        }
    }
}

static void draw_stations(const page *p, points *pts)
{
    char text[96];
    const rg_batch *b = p->batch;
    int shown = b->stations < STATIONS_SHOWN ? b->stations : STATIONS_SHOWN;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 19, true);
    rg_text(p->cr, side_left, 400, 0, 0, "Stations over time");
    for (int i = 0; i < shown; i++)
        draw_station(p, &b->station[i], pts, 428 + 182 * i);
    if (b->stations > shown) {
        snprintf(text, sizeof text, "+ %d more stations", b->stations - shown);
        rg_font(p->cr, 13, true);
        rg_text(p->cr, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN, 400, 1, 0, text);
    }
}

/* -------------------------------------------------------------------- page */

rg_code rg_draw_batch(const rg_draw_batch_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    points pts = {.day = rg_alloc(POINTS_SHOWN, sizeof(double)),
                  .value = rg_alloc(POINTS_SHOWN, sizeof(double))};
    rg_code code = pts.day && pts.value ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory to draw");
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_ARCHIVE_WIDTH, RG_ARCHIVE_HEIGHT, err);
    if (code == RG_OK) {
        const page p = {canvas.cr, args, args->batch};
        draw_header(&p);
        if (args->batch->sweeps > 0) {
            draw_pareto(&p);
            draw_first_pass(&p);
            draw_stations(&p, &pts);
        }
        code = rg_canvas_close(&canvas, out, err);
    }
    free(pts.day);
    free(pts.value);
    return code;
}

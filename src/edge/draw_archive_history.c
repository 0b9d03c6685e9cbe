/*
 * draw_archive_history.c - one pad over all its visits: widest gap and mean gap with U against the
 * date, the verdict's mark at each point, and how much of the rim was seen.
 */
#include <math.h>
#include <stdio.h>

#include "draw_archive_private.h"
#include "rimglow/vec.h"

enum { LABELS_MOST = 40 }; /* among more visits they would hide the points */

static const double plot_left = 116, plot_width = 1010, key_left = 1156;

typedef struct history {
    cairo_t *cr;
    const rg_draw_history_args *args;
    const rg_history_point *point; /* the newest of them */
    int count;
    double day0, day1;
} history;

/* ------------------------------------------------------------------- words */

static void gap_text(const history *h, const rg_history_point *p, char *text, size_t size)
{
    if (isfinite(p->widest_mm))
        snprintf(text, size, "widest gap %.3f \u00b1 %.3f mm", rg_archive_written(p->widest_mm),
                 rg_archive_u(h->args->coverage_factor, p->u_widest_mm));
    else
        snprintf(text, size, p->seen > 0 ? "no gap measured" : "nothing seen");
}

static void draw_header(const history *h)
{
    char what[RG_DRAW_TEXT], subject[RG_DRAW_TEXT], result[RG_DRAW_TEXT], now[80], then[80];
    rg_archive_subject(subject, h->args->serial, h->args->pad);
    snprintf(what, sizeof what, "%d visit%s: %.440s", h->args->count,
             h->args->count == 1 ? "" : "s", subject);
    if (h->count == 0) {
        rg_archive_header(h->cr, what, "No visit yet: nothing to show");
        return;
    }
    const rg_history_point *first = &h->point[0], *last = &h->point[h->count - 1];
    gap_text(h, last, now, sizeof now);
    gap_text(h, first, then, sizeof then);
    if (h->count == 1)
        snprintf(result, sizeof result, "One visit: %s, %s", rg_verdict_name(last->verdict), now);
    else
        snprintf(result, sizeof result, "Now %s, %s; at first %s, %s",
                 rg_verdict_name(last->verdict), now, rg_verdict_name(first->verdict), then);
    rg_archive_header(h->cr, what, result);
}

/* ------------------------------------------------------------------- plots */

static double x_of(const rg_plot *p, const rg_history_point *point)
{
    return rg_plot_x(p, rg_archive_day(point->time));
}

static rg_plot plot_at(const history *h, double top, double height, double most)
{
    return (rg_plot){.cr = h->cr,
                     .left = plot_left,
                     .top = top,
                     .width = plot_width,
                     .height = height,
                     .x0 = h->day0,
                     .x1 = h->day1,
                     .y0 = 0,
                     .y1 = most};
}

static void whisker(const rg_plot *p, double x, double value, double u)
{
    double low = fmin(rg_plot_y(p, value - u), p->top + p->height);
    double high = fmax(rg_plot_y(p, value + u), p->top);
    rg_archive_line(p->cr, x, low, x, high, 1.4, 0);
    rg_archive_line(p->cr, x - 4, high, x + 4, high, 1.4, 0);
    rg_archive_line(p->cr, x - 4, low, x + 4, low, 1.4, 0);
}

/* Joins neighbours that both have a value. */
static void join(const history *h, const rg_plot *p, bool widest)
{
    bool pen = false;
    for (int i = 0; i < h->count; i++) {
        double value = widest ? h->point[i].widest_mm : h->point[i].mean_mm;
        if (!isfinite(value)) {
            pen = false;
            continue;
        }
        double x = x_of(p, &h->point[i]), y = rg_plot_y(p, rg_archive_kept(value));
        if (pen)
            cairo_line_to(p->cr, x, y);
        else
            cairo_move_to(p->cr, x, y);
        pen = true;
    }
    rg_grey(p->cr, 0.45);
    rg_plot_stroke(p->cr, 1.2, 0);
    rg_grey(p->cr, 0);
}

static double top_of(const history *h, bool widest)
{
    double top = h->args->tolerance_mm * (widest ? 2 : 0.4);
    for (int i = 0; i < h->count; i++) {
        const rg_history_point *q = &h->point[i];
        double value = widest ? q->widest_mm : q->mean_mm;
        double u = rg_archive_u(h->args->coverage_factor, widest ? q->u_widest_mm : q->u_mean_mm);
        if (isfinite(value))
            top = fmax(top, rg_archive_kept(value) + u);
    }
    return 1.12 * top;
}

/* Marks shrink where many visits share the axis. */
static double mark_size(const history *h)
{
    return fmin(fmax(0.8 * plot_width / (h->count + 1), 7), 20);
}

static void draw_widest(const history *h, rg_archive_words *words)
{
    rg_plot p = plot_at(h, 150, 360, top_of(h, true));
    double size = mark_size(h);
    rg_archive_date_axis(&p, false);
    rg_plot_y_axis(&p, "widest gap, mm, with U");
    rg_plot_level(&p, h->args->tolerance_mm, 1.8, 7);
    join(h, &p, true);
    for (int i = 0; i < h->count; i++)
        if (isfinite(h->point[i].widest_mm))
            whisker(&p, x_of(&p, &h->point[i]), rg_archive_kept(h->point[i].widest_mm),
                    rg_archive_u(h->args->coverage_factor, h->point[i].u_widest_mm));
    for (int i = 0; i < h->count; i++) {
        const rg_history_point *q = &h->point[i];
        bool none = !isfinite(q->widest_mm);
        double x = x_of(&p, q), y = rg_plot_y(&p, none ? 0 : rg_archive_kept(q->widest_mm));
        rg_archive_mark(h->cr, q->verdict, x, y, size, size >= 14);
        rg_archive_take(words, x - size / 2, fmax(y - size / 2, words->top), x + size / 2,
                        fmin(y + size / 2, words->bottom));
        double u = none ? 0 : rg_archive_u(h->args->coverage_factor, q->u_widest_mm);
        double high = rg_plot_y(&p, rg_archive_kept(q->widest_mm) + u);
        double low = fmin(rg_plot_y(&p, rg_archive_kept(q->widest_mm) - u), words->bottom);
        if (u > 0)
            rg_archive_take(words, x - 4, high, x + 4, low);
    }
}

/* Beside a mark, on the side that has room. */
static void name_point(rg_archive_words *words, double x, double y, double away, double lift,
                       const char *label)
{
    static const double side[][2] = {{1, -1}, {-1, -1}, {1, 1}, {-1, 1}};
    for (int k = 0; k < 4; k++)
        if (rg_archive_word(words, x + side[k][0] * away, y + (side[k][1] < 0 ? -lift : lift + 10),
                            side[k][0] > 0 ? 0 : 1, 190, label))
            return;
}

/* The newest first: where room runs out, the oldest go without. */
static void name_points(const history *h, rg_archive_words *words)
{
    rg_plot p = plot_at(h, 150, 360, top_of(h, true));
    double half = mark_size(h) / 2;
    for (int i = h->count - 1; i >= 0; i--) {
        const rg_history_point *q = &h->point[i];
        bool none = !isfinite(q->widest_mm);
        double x = x_of(&p, q), y = rg_plot_y(&p, none ? 0 : rg_archive_kept(q->widest_mm));
        rg_font(h->cr, 14, true);
        if (none)
            rg_archive_word(words, x, y - half - 8, 0.5, 0, "none");
        rg_font(h->cr, 14, false);
        if (q->label && *q->label && h->count <= LABELS_MOST)
            name_point(words, x, y, half + 5, half + (none ? 26 : 6), q->label);
    }
}

static void draw_mean(const history *h)
{
    rg_plot p = plot_at(h, 566, 190, top_of(h, false));
    double size = fmin(mark_size(h) / 2, 9);
    rg_archive_date_axis(&p, false);
    rg_plot_y_axis(&p, "mean gap of the bearings seen, mm, with U");
    rg_plot_level(&p, h->args->tolerance_mm, 1.8, 7);
    join(h, &p, false);
    for (int i = 0; i < h->count; i++) {
        const rg_history_point *q = &h->point[i];
        if (!isfinite(q->mean_mm))
            continue;
        whisker(&p, x_of(&p, q), rg_archive_kept(q->mean_mm),
                rg_archive_u(h->args->coverage_factor, q->u_mean_mm));
        rg_plot_dot(&p, rg_archive_day(q->time), rg_archive_kept(q->mean_mm), size, true);
    }
}

static void draw_seen(const history *h)
{
    rg_plot p = plot_at(h, 812, 90, 100);
    double half = fmin(mark_size(h) / 2, 7);
    rg_archive_date_axis(&p, true);
    rg_plot_y_axis(&p, "rim seen, %");
    for (int i = 0; i < h->count; i++) {
        const rg_history_point *q = &h->point[i];
        double share = 100.0 * fmin(fmax(q->seen, 0), 360) / 360;
        double y = rg_plot_y(&p, share), x = x_of(&p, q);
        cairo_rectangle(h->cr, x - half, y, 2 * half, p.top + p.height - y);
        rg_grey(h->cr, 0.55);
        cairo_fill_preserve(h->cr);
        rg_grey(h->cr, 0);
        rg_plot_stroke(h->cr, 1, 0);
    }
    rg_font(h->cr, 14, false);
    rg_text(h->cr, p.left + p.width / 2, p.top + p.height + 46, 0.5, 0, "date (UTC)");
}

/* --------------------------------------------------------------------- key */

static void draw_key(const history *h)
{
    static const char *const word[] = {"sealed", "leaking", "undecided"};
    char text[96];
    cairo_t *cr = h->cr;
    for (int k = RG_VERDICT_SEALED; k <= RG_VERDICT_UNDECIDED; k++) {
        rg_archive_mark(cr, (rg_verdict)k, key_left + 20, 160 + 30 * k, 20, true);
        rg_font(cr, 15, false);
        rg_text(cr, key_left + 50, 165 + 30 * k, 0, 0, word[k]);
    }
    rg_archive_line(cr, key_left, 256, key_left + 40, 256, 1.8, 7);
    rg_font(cr, 15, false);
    snprintf(text, sizeof text, "tolerance %.4g mm", h->args->tolerance_mm);
    rg_text(cr, key_left + 50, 261, 0, 154, text);
    snprintf(text, sizeof text, "whiskers: U = %.3g u", h->args->coverage_factor);
    rg_text(cr, key_left, 292, 0, 204, text);
    double room = RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN - key_left;
    double y = 322;
    y += 20 * rg_text_wrap(cr, key_left, y, room, 20, 4, true,
                           "\"none\": no gap was measured; what was unseen could still leak");
    if (h->args->count > h->count) {
        snprintf(text, sizeof text, "%d older visits are not drawn", h->args->count - h->count);
        rg_font(cr, 15, true);
        rg_text_wrap(cr, key_left, y + 14, room, 20, 3, true, text);
    }
}

/* -------------------------------------------------------------------- page */

static history newest_of(const rg_draw_history_args *args, cairo_t *cr)
{
    int skip = args->count > RG_HISTORY_MAX ? args->count - RG_HISTORY_MAX : 0;
    history h = {.cr = cr, .args = args, .count = args->count > 0 ? args->count - skip : 0};
    h.point = args->point + (h.count ? skip : 0);
    h.day0 = INFINITY;
    h.day1 = -INFINITY;
    for (int i = 0; i < h.count; i++) {
        double day = rg_archive_day(h.point[i].time);
        h.day0 = fmin(h.day0, day);
        h.day1 = fmax(h.day1, day);
    }
    if (h.count == 0)
        h.day0 = h.day1 = 0;
    /* At least some days, and air at both ends. */
    double air = fmax(0.05 * (h.day1 - h.day0), h.day1 - h.day0 < 4 ? 2 : 0);
    h.day0 -= air;
    h.day1 += air;
    return h;
}

rg_code rg_draw_history(const rg_draw_history_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    rg_code code = rg_archive_check(args->tolerance_mm, args->coverage_factor, err);
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_ARCHIVE_WIDTH, RG_ARCHIVE_HEIGHT, err);
    if (code != RG_OK)
        return code;
    history h = newest_of(args, canvas.cr);
    rg_archive_words words = {.cr = canvas.cr,
                              .left = plot_left + 2,
                              .top = 152,
                              .right = plot_left + plot_width - 2,
                              .bottom = 508};
    draw_header(&h);
    if (h.count > 0) {
        draw_widest(&h, &words);
        name_points(&h, &words);
        draw_mean(&h);
        draw_seen(&h);
        draw_key(&h);
    }
    return rg_canvas_close(&canvas, out, err);
}

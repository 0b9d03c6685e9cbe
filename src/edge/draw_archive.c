/*
 * draw_archive.c - what the pictures over several visits share: header, dates, marks of verdicts,
 * and words that find a free place.
 */
#include "draw_archive_private.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/date.h"
#include "rimglow/vec.h"

void rg_archive_header(cairo_t *cr, const char *what, const char *result)
{
    char clean[RG_DRAW_TEXT];
    double room = RG_ARCHIVE_WIDTH - 2 * RG_ARCHIVE_MARGIN;
    rg_grey(cr, 0);
    rg_font(cr, 18, false);
    rg_text(cr, RG_ARCHIVE_MARGIN, 38, 0, room, what);
    rg_draw_clean(clean, result);
    double size = 28;
    for (rg_font(cr, size, true); size > 20 && rg_text_width(cr, clean) > room; size -= 2)
        rg_font(cr, size - 2, true);
    if (rg_text_width(cr, clean) <= room)
        rg_text(cr, RG_ARCHIVE_MARGIN, 80, 0, 0, clean);
    else
        rg_text_wrap(cr, RG_ARCHIVE_MARGIN, 66, room, 25, 2, true, clean);
    rg_archive_line(cr, RG_ARCHIVE_MARGIN, 104, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN, 104, 2, 0);
}

void rg_archive_subject(char text[RG_DRAW_TEXT], const char *serial, const char *pad)
{
    snprintf(text, RG_DRAW_TEXT, "pad %.200s of %.200s", rg_draw_name(pad, "(no name)"),
             rg_draw_name(serial, "(no serial)"));
}

void rg_archive_line(cairo_t *cr, double x0, double y0, double x1, double y1, double width,
                     double dash)
{
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
    rg_plot_stroke(cr, width, dash);
}

double rg_archive_kept(double mm)
{
    return isnan(mm) ? mm : fmin(fmax(mm, -rg_archive_most_mm), rg_archive_most_mm);
}

double rg_archive_written(double mm)
{
    return fabs(mm) < 0.0005 ? 0 : rg_archive_kept(mm);
}

double rg_archive_u(double coverage_factor, double u)
{
    double expanded = coverage_factor * u;
    return isfinite(expanded) && expanded > 0 ? fmin(expanded, rg_archive_most_mm) : 0;
}

/* ------------------------------------------------------------------ dates */

double rg_archive_day(int64_t time)
{
    static const double last = 2932896; /* 9999-12-31 */
    return fmin(fmax((double)time / 86400, 0), last);
}

void rg_archive_dates(double day0, double day1, char text[32])
{
    char first[RG_DATE_TEXT], last[RG_DATE_TEXT];
    rg_date_format((int)day0, first);
    rg_date_format((int)day1, last);
    if (strcmp(first, last) == 0)
        snprintf(text, 32, "%.14s", first);
    else
        snprintf(text, 32, "%.12s to %.12s", first, last);
}

/* Days from one date to the next. */
static double date_step(double span)
{
    static const double step[] = {1, 2, 7, 14, 30, 60, 90, 182, 365};
    for (size_t i = 0; i < sizeof step / sizeof *step; i++)
        if (span / step[i] <= 8)
            return step[i];
    return 365 * fmax(rg_plot_step(span / 365, 6), 1);
}

void rg_archive_date_axis(const rg_plot *p, bool words)
{
    char date[RG_DATE_TEXT];
    double step = date_step(p->x1 - p->x0), last = -INFINITY;
    rg_font(p->cr, 14, false);
    for (double day = ceil(p->x0); day <= p->x1; day += step) {
        double x = rg_plot_x(p, day);
        rg_grey(p->cr, 0.85);
        rg_archive_line(p->cr, x, p->top, x, p->top + p->height, 1, 0);
        rg_grey(p->cr, 0);
        rg_date_format((int)day, date);
        double half = rg_text_width(p->cr, date) / 2;
        if (!words || x - half < last + 12)
            continue;
        rg_text(p->cr, x, p->top + p->height + 21, 0.5, 0, date);
        last = x + half;
    }
}

/* ------------------------------------------------------------------ marks */

static void mark_path(cairo_t *cr, rg_verdict verdict, double x, double y, double half)
{
    cairo_new_path(cr);
    if (verdict == RG_VERDICT_SEALED) {
        cairo_arc(cr, x, y, half, 0, 2 * RG_PI);
    } else if (verdict == RG_VERDICT_LEAKING) {
        cairo_rectangle(cr, x - 0.9 * half, y - 0.9 * half, 1.8 * half, 1.8 * half);
    } else {
        cairo_move_to(cr, x, y - 1.25 * half);
        cairo_line_to(cr, x + 1.25 * half, y);
        cairo_line_to(cr, x, y + 1.25 * half);
        cairo_line_to(cr, x - 1.25 * half, y);
        cairo_close_path(cr);
    }
}

void rg_archive_mark(cairo_t *cr, rg_verdict verdict, double x, double y, double size, bool letter)
{
    static const char *const word[] = {"S", "L", "U"};
    bool black = verdict == RG_VERDICT_LEAKING;
    mark_path(cr, verdict, x, y, size / 2);
    rg_grey(cr, black ? 0 : 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    rg_plot_stroke(cr, fmin(1.8, size / 5), 0);
    if (letter) {
        rg_font(cr, 0.62 * size, true);
        rg_grey(cr, black ? 1 : 0);
        rg_text(cr, x, y + 0.22 * size, 0.5, 0, word[verdict]);
    }
    rg_grey(cr, 0);
}

/* ------------------------------------------------------------------ words */

bool rg_archive_take(rg_archive_words *w, double x0, double y0, double x1, double y1)
{
    if (x0 < w->left || y0 < w->top || x1 > w->right || y1 > w->bottom ||
        w->boxes == RG_ARCHIVE_BOXES)
        return false;
    for (int i = 0; i < w->boxes; i++) {
        const double *b = w->box[i];
        if (x0 < b[2] && b[0] < x1 && y0 < b[3] && b[1] < y1)
            return false;
    }
    memcpy(w->box[w->boxes++], (double[]){x0, y0, x1, y1}, sizeof w->box[0]);
    return true;
}

bool rg_archive_word(rg_archive_words *w, double x, double y, double anchor, double max_width,
                     const char *text)
{
    char clean[RG_DRAW_TEXT];
    cairo_font_extents_t font;
    rg_draw_shorten(w->cr, clean, text, max_width);
    cairo_font_extents(w->cr, &font);
    double width = rg_text_width(w->cr, clean), from = x - anchor * width;
    if (!rg_archive_take(w, from - 3, y - font.ascent, from + width + 3, y + font.descent))
        return false;
    rg_text_halo(w->cr, x, y, anchor, clean);
    return true;
}

rg_code rg_archive_check(double tolerance_mm, double coverage_factor, rg_error *err)
{
    if (!(tolerance_mm > 0 && tolerance_mm < rg_archive_most_mm))
        return rg_fail(err, RG_BAD_DATA,
                       "picture: tolerance %g mm; give a value above 0 and below %g mm",
                       tolerance_mm, rg_archive_most_mm);
    if (!(coverage_factor > 0 && coverage_factor < 100))
        return rg_fail(err, RG_BAD_DATA,
                       "picture: coverage factor %g; give a value between 0 and 100",
                       coverage_factor);
    return RG_OK;
}

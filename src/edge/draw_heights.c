/*
 * draw_heights.c - openings down the body, with their bands.
 */
#include "rimglow/draw_heights.h"

#include <math.h>
#include <stdio.h>

#include "draw_plot.h"

enum {
    LEFT = 56,
    RIGHT = 936,
    PLOT_LEFT = 116,
    PLOT_TOP = 194,
    PLOT_HEIGHT = 520,
    NAMES = 96,
    NOTES_LINE = 23
};

typedef struct page {
    cairo_t *cr;
    const rg_draw_heights_args *args;
    const rg_heights *h;
    rg_plot plot;
} page;

static double column(const page *p, int i)
{
    return rg_plot_x(&p->plot, i + 0.5);
}

static double half_column(const page *p)
{
    return fmin(0.36 * p->plot.width / p->h->keys, 22);
}

/* ------------------------------------------------------------ head */

static const char *verdict_text(rg_heights_verdict verdict)
{
    switch (verdict) {
    case RG_HEIGHTS_KEPT:
        return "all openings within their bands, none smaller than the one above";
    case RG_HEIGHTS_BROKEN:
        return "openings to change";
    case RG_HEIGHTS_UNDECIDED:
        break;
    }
    return "undecided: not all measured, or too near to a limit";
}

static void draw_head(const page *p)
{
    char text[RG_DRAW_TEXT];
    const rg_heights *h = p->h;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 30, true);
    rg_text(p->cr, LEFT, 62, 0, RIGHT - LEFT, "Openings down the body");
    rg_font(p->cr, 17, false);
    snprintf(text, sizeof text, "%s   %s   %s", rg_draw_name(p->args->serial, "(no serial)"),
             rg_draw_name(p->args->instrument, ""), rg_draw_name(p->args->date, ""));
    rg_text(p->cr, LEFT, 92, 0, RIGHT - LEFT, text);
    rg_font(p->cr, 20, true);
    rg_text(p->cr, LEFT, 126, 0, RIGHT - LEFT, verdict_text(h->verdict));
    rg_font(p->cr, 15, false);
    snprintf(
        text, sizeof text,
        "%d keys: %d too low, %d too high, %d smaller than the one above, %d undecided, %d not "
        "measured",
        h->keys, h->low, h->high, h->broken, h->unsure, h->unmeasured);
    rg_text(p->cr, LEFT, 150, 0, RIGHT - LEFT, text);
}

/* ------------------------------------------------------------ plot */

/* Low and high end of what a key shows. */
static void reach_of(const rg_height_key *k, const rg_height_finding *f, double *low, double *high)
{
    double room = isnan(k->tolerance_mm) ? 0 : k->tolerance_mm;
    *low = k->target_mm - room;
    *high = k->target_mm + room;
    if (k->measured) {
        *low = fmin(*low, fmin(k->opening_mm, f->after_mm) - f->expanded_mm);
        *high = fmax(*high, fmax(k->opening_mm, f->after_mm) + f->expanded_mm);
    }
}

static void set_plot(page *p)
{
    double low = INFINITY, high = -INFINITY;
    for (int i = 0; i < p->h->keys; i++) {
        double a, b;
        reach_of(&p->args->key[i], &p->h->finding[i], &a, &b);
        low = fmin(low, a);
        high = fmax(high, b);
    }
    rg_plot_widen(&low, &high, 0.08, false);
    p->plot = (rg_plot){.cr = p->cr,
                        .left = PLOT_LEFT,
                        .top = PLOT_TOP,
                        .width = RIGHT - PLOT_LEFT,
                        .height = PLOT_HEIGHT,
                        .x0 = 0,
                        .x1 = p->h->keys,
                        .y0 = low,
                        .y1 = high};
}

static void draw_band(const page *p, int i)
{
    const rg_height_key *k = &p->args->key[i];
    double x = column(p, i), half = half_column(p), y = rg_plot_y(&p->plot, k->target_mm);
    cairo_set_line_width(p->cr, 1);
    if (!isnan(k->tolerance_mm)) {
        double top = rg_plot_y(&p->plot, k->target_mm + k->tolerance_mm);
        double bottom = rg_plot_y(&p->plot, k->target_mm - k->tolerance_mm);
        cairo_rectangle(p->cr, x - half, top, 2 * half, bottom - top);
        if (k->measured) {
            rg_grey(p->cr, 0.86);
            cairo_fill(p->cr);
        } else {
            rg_grey(p->cr, 0.45);
            rg_fill_pattern(p->cr, RG_PATTERN_DIAGONAL, 7);
        }
        cairo_rectangle(p->cr, x - half, top, 2 * half, bottom - top);
        rg_grey(p->cr, 0.35);
        cairo_stroke(p->cr);
    }
    cairo_move_to(p->cr, x - half, y);
    cairo_line_to(p->cr, x + half, y);
    rg_grey(p->cr, 0.35);
    rg_plot_stroke(p->cr, 1.2, 3);
}

/* From the key above: thin where the order holds, dashed where it is undecided, heavy where
 * it is broken. */
static void draw_order(const page *p, int i)
{
    const rg_height_finding *f = &p->h->finding[i];
    if (f->order == RG_ORDER_NONE)
        return;
    cairo_move_to(p->cr, column(p, f->above),
                  rg_plot_y(&p->plot, p->args->key[f->above].opening_mm));
    cairo_line_to(p->cr, column(p, i), rg_plot_y(&p->plot, p->args->key[i].opening_mm));
    rg_grey(p->cr, f->order == RG_ORDER_BROKEN ? 0 : 0.4);
    rg_plot_stroke(p->cr, f->order == RG_ORDER_BROKEN ? 4 : 1.2,
                   f->order == RG_ORDER_UNSURE ? 6 : 0);
}

static void draw_bar(const page *p, double x, double low, double high)
{
    cairo_move_to(p->cr, x, low);
    cairo_line_to(p->cr, x, high);
    cairo_move_to(p->cr, x - 6, low);
    cairo_line_to(p->cr, x + 6, low);
    cairo_move_to(p->cr, x - 6, high);
    cairo_line_to(p->cr, x + 6, high);
    rg_grey(p->cr, 0);
    rg_plot_stroke(p->cr, 1.6, 0);
}

static void draw_triangle(cairo_t *cr, double x, double y, bool up)
{
    double s = up ? -9 : 9;
    cairo_new_path(cr);
    cairo_move_to(cr, x, y + s);
    cairo_line_to(cr, x - 9, y - 0.7 * s);
    cairo_line_to(cr, x + 9, y - 0.7 * s);
    cairo_close_path(cr);
    rg_grey(cr, 0);
    cairo_fill(cr);
}

static void draw_mark(const page *p, int i)
{
    const rg_height_key *k = &p->args->key[i];
    const rg_height_finding *f = &p->h->finding[i];
    double x = column(p, i), y = rg_plot_y(&p->plot, k->opening_mm);
    if (!k->measured)
        return;
    draw_bar(p, x, rg_plot_y(&p->plot, k->opening_mm - f->expanded_mm),
             rg_plot_y(&p->plot, k->opening_mm + f->expanded_mm));
    if (f->change_mm != 0)
        draw_triangle(p->cr, x, y, f->change_mm > 0);
    else
        rg_plot_dot(&p->plot, i + 0.5, k->opening_mm, 12,
                    f->state == RG_HEIGHT_WITHIN || f->state == RG_HEIGHT_NO_BAND);
}

/* Along the bottom, upwards, so that 64 of them fit. */
static void draw_name(const page *p, int i)
{
    char text[RG_DRAW_TEXT];
    cairo_save(p->cr);
    cairo_translate(p->cr, column(p, i) + 5, PLOT_TOP + PLOT_HEIGHT + 10);
    cairo_rotate(p->cr, -RG_PI / 2);
    rg_grey(p->cr, 0);
    rg_font(p->cr, fmin(15, 1.1 * p->plot.width / p->h->keys), !p->args->key[i].measured);
    snprintf(text, sizeof text, p->args->key[i].rests_open ? "%s" : "(%s)",
             rg_draw_name(p->args->key[i].name, "?"));
    rg_text(p->cr, 0, 0, 1, NAMES - 6, text);
    cairo_restore(p->cr);
}

static void draw_plot(page *p)
{
    set_plot(p);
    rg_plot_y_axis(&p->plot, "opening at the far edge, mm");
    cairo_save(p->cr);
    rg_plot_clip(&p->plot);
    for (int i = 0; i < p->h->keys; i++)
        draw_band(p, i);
    for (int i = 0; i < p->h->keys; i++)
        draw_order(p, i);
    for (int i = 0; i < p->h->keys; i++)
        draw_mark(p, i);
    cairo_restore(p->cr);
    for (int i = 0; i < p->h->keys; i++)
        draw_name(p, i);
}

/* ------------------------------------------------------------ words */

static double draw_legend(const page *p, double y)
{
    static const char *const line[] = {
        "Grey: the target (broken line) and its band; hatched: the key was not measured. Bars: the "
        "expanded uncertainty.",
        "Disc: leave it. Ring: undecided, within its uncertainty of a limit. Triangle: move it the "
        "way it points.",
        "Lines join the keys that rest open: heavy where an opening is shown to be smaller than "
        "the one above, dashed where that is undecided. In brackets: rests closed."};
    rg_font(p->cr, 14, false);
    rg_grey(p->cr, 0);
    for (size_t i = 0; i < sizeof line / sizeof *line; i++)
        y += 19 * rg_text_wrap(p->cr, LEFT, y, RIGHT - LEFT, 19, 2, true, line[i]);
    return y + 12;
}

static bool says_something(const rg_height_finding *f)
{
    return f->change_mm != 0 || f->order == RG_ORDER_BROKEN || f->state == RG_HEIGHT_LOW ||
           f->state == RG_HEIGHT_HIGH || f->state == RG_HEIGHT_UNMEASURED ||
           f->state == RG_HEIGHT_UNSURE;
}

static void sentence(const page *p, int i, char text[RG_DRAW_TEXT])
{
    const rg_height_key *k = &p->args->key[i];
    const rg_height_finding *f = &p->h->finding[i];
    const char *name = rg_draw_name(k->name, "?");
    int n = snprintf(text, RG_DRAW_TEXT, "%.80s: ", name);
    if (!k->measured) {
        snprintf(text + n, (size_t)(RG_DRAW_TEXT - n), "not measured");
        return;
    }
    n += snprintf(text + n, (size_t)(RG_DRAW_TEXT - n), "%.2f \u00b1 %.2f mm, target %.2f, %s",
                  k->opening_mm, f->expanded_mm, k->target_mm, rg_height_state_name(f->state));
    if (f->order == RG_ORDER_BROKEN)
        n += snprintf(text + n, (size_t)(RG_DRAW_TEXT - n), ", %.2f mm less than %.80s above it",
                      -f->growth_mm, rg_draw_name(p->args->key[f->above].name, "?"));
    if (f->change_mm != 0)
        snprintf(text + n, (size_t)(RG_DRAW_TEXT - n), "; %s it by %.2f mm to %.2f",
                 f->change_mm > 0 ? "open" : "close", fabs(f->change_mm), f->after_mm);
}

static void draw_words(const page *p, double y)
{
    char text[RG_DRAW_TEXT];
    int left = 0;
    rg_font(p->cr, 19, true);
    rg_text(p->cr, LEFT, y, 0, 0, "What to change");
    y += 30;
    rg_font(p->cr, 15, false);
    if (p->h->conflict)
        y += NOTES_LINE * rg_text_wrap(p->cr, LEFT, y, RIGHT - LEFT, NOTES_LINE, 2, true,
                                       "The targets and the order down the body cannot be kept "
                                       "together; the changes below mend the bands alone.");
    for (int i = 0; i < p->h->keys; i++) {
        if (!says_something(&p->h->finding[i]))
            continue;
        if (y > RG_HEIGHTS_HEIGHT - 96) {
            left++;
            continue;
        }
        sentence(p, i, text);
        rg_text(p->cr, LEFT, y, 0, RIGHT - LEFT, text);
        y += NOTES_LINE;
    }
    snprintf(text, sizeof text, "and %d more keys", left);
    if (left > 0)
        rg_text(p->cr, LEFT, y, 0, 0, text);
    rg_font(p->cr, 13, false);
    snprintf(text, sizeof text,
             "Expanded uncertainty k = %.3g. That openings grow a little from each hole to the "
             "next lower one is common practice.",
             p->args->coverage_factor);
    rg_text(p->cr, LEFT, RG_HEIGHTS_HEIGHT - 40, 0, RIGHT - LEFT, text);
}

rg_code rg_draw_heights(const rg_draw_heights_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    if (!args->heights || args->heights->keys < 1)
        return rg_fail(err, RG_BAD_DATA, "picture of the openings: there are no keys to draw");
    rg_code code = rg_canvas_open(&canvas, format, RG_HEIGHTS_WIDTH, RG_HEIGHTS_HEIGHT, err);
    if (code != RG_OK)
        return code;
    page p = {.cr = canvas.cr, .args = args, .h = args->heights};
    draw_head(&p);
    draw_plot(&p);
    draw_words(&p, draw_legend(&p, PLOT_TOP + PLOT_HEIGHT + NAMES + 26) + 16);
    return rg_canvas_close(&canvas, out, err);
}

/*
 * draw_axes.c - axes, curves and marks in data units.
 */
#include "draw_axes.h"

#include <math.h>
#include <stdio.h>

#include "rimglow/vec.h"

enum { NUMBER_SIZE = 15, TITLE_SIZE = 19, TICKS_MAX = 60 };

double rg_axes_x(const rg_axes *a, double x)
{
    return a->x + (x - a->x0) / (a->x1 - a->x0) * a->width;
}

double rg_axes_y(const rg_axes *a, double y)
{
    return a->y + a->height - (y - a->y0) / (a->y1 - a->y0) * a->height;
}

void rg_axes_clip(cairo_t *cr, const rg_axes *a)
{
    cairo_save(cr);
    cairo_rectangle(cr, a->x, a->y, a->width, a->height);
    cairo_clip(cr);
}

/* First tick at or after low, and how many there are. */
static int ticks(double low, double high, double step, double *first)
{
    double tiny = 1e-9 * (high - low);
    *first = ceil((low - tiny) / step) * step;
    int n = (int)floor((high + tiny - *first) / step) + 1;
    return n < TICKS_MAX ? n : TICKS_MAX;
}

static void number(char *text, size_t size, double value, int places)
{
    snprintf(text, size, "%.*f", places, fabs(value) < 1e-12 ? 0 : value);
}

static void draw_x(cairo_t *cr, const rg_axes *a)
{
    double first;
    int n = ticks(a->x0, a->x1, a->x_step, &first);
    for (int i = 0; i < n; i++) {
        char text[32];
        double value = first + i * a->x_step, x = rg_axes_x(a, value);
        rg_grey(cr, 0.82);
        cairo_move_to(cr, x, a->y);
        cairo_line_to(cr, x, a->y + a->height);
        cairo_stroke(cr);
        rg_grey(cr, 0);
        number(text, sizeof text, value, a->x_places);
        rg_text(cr, x, a->y + a->height + 20, 0.5, 0, text);
    }
}

static void draw_y(cairo_t *cr, const rg_axes *a)
{
    double first;
    int n = ticks(a->y0, a->y1, a->y_step, &first);
    for (int i = 0; i < n; i++) {
        char text[32];
        double value = first + i * a->y_step, y = rg_axes_y(a, value);
        rg_grey(cr, 0.82);
        cairo_move_to(cr, a->x, y);
        cairo_line_to(cr, a->x + a->width, y);
        cairo_stroke(cr);
        rg_grey(cr, 0);
        number(text, sizeof text, value, a->y_places);
        rg_text(cr, a->x - 8, y + 5, 1, 0, text);
    }
}

void rg_axes_draw(cairo_t *cr, const rg_axes *a)
{
    cairo_set_line_width(cr, 1);
    rg_font(cr, NUMBER_SIZE, false);
    draw_x(cr, a);
    draw_y(cr, a);
    cairo_rectangle(cr, a->x, a->y, a->width, a->height);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1.2);
    cairo_stroke(cr);
    rg_text(cr, a->x + a->width / 2, a->y + a->height + 42, 0.5, a->width, a->x_title);
    rg_text(cr, a->x, a->y - 10, 0, a->width / 2, a->y_title);
    rg_font(cr, TITLE_SIZE, true);
    rg_text(cr, a->x, a->y - 34, 0, a->width, a->title);
}

void rg_axes_curve(cairo_t *cr, const rg_axes *a, const double *x, const double *y, int n)
{
    bool pen = false;
    for (int i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i])) {
            pen = false;
            continue;
        }
        if (pen)
            cairo_line_to(cr, rg_axes_x(a, x[i]), rg_axes_y(a, y[i]));
        else
            cairo_move_to(cr, rg_axes_x(a, x[i]), rg_axes_y(a, y[i]));
        pen = true;
    }
    cairo_stroke(cr);
}

void rg_axes_mark(cairo_t *cr, const rg_axes *a, double x, double y, double size, rg_plot_mark mark)
{
    double px = rg_axes_x(a, x), py = rg_axes_y(a, y), r = size / 2;
    if (!isfinite(px) || !isfinite(py))
        return;
    if (mark == RG_PLOT_CROSS) {
        cairo_move_to(cr, px - r, py - r);
        cairo_line_to(cr, px + r, py + r);
        cairo_move_to(cr, px - r, py + r);
        cairo_line_to(cr, px + r, py - r);
        cairo_stroke(cr);
        return;
    }
    cairo_new_sub_path(cr);
    if (mark == RG_PLOT_SQUARE)
        cairo_rectangle(cr, px - r, py - r, size, size);
    else
        cairo_arc(cr, px, py, r, 0, 2 * RG_PI);
    if (mark == RG_PLOT_RING)
        cairo_stroke(cr);
    else
        cairo_fill(cr);
}

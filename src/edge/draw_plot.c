/*
 * draw_plot.c - axes with round numbers, curves and marks in data units.
 */
#include "draw_plot.h"

#include <math.h>
#include <stdio.h>

#include "rimglow/vec.h"

static double share_of(double v, double low, double high, bool log_axis)
{
    return log_axis ? log(v / low) / log(high / low) : (v - low) / (high - low);
}

double rg_plot_x(const rg_plot *p, double value)
{
    return p->left + p->width * share_of(value, p->x0, p->x1, p->log_x);
}

double rg_plot_y(const rg_plot *p, double value)
{
    return p->top + p->height * (1 - share_of(value, p->y0, p->y1, p->log_y));
}

void rg_plot_widen(double *low, double *high, double share, bool log_axis)
{
    if (log_axis) {
        double grow = *high > *low ? pow(*high / *low, share) : 2;
        *low /= grow;
        *high *= grow;
        return;
    }
    double grow = *high > *low ? (*high - *low) * share : fabs(*high) > 0 ? fabs(*high) / 2 : 1;
    *low -= grow;
    *high += grow;
}

double rg_plot_step(double span, int count)
{
    double raw = span / count, power = pow(10, floor(log10(raw))), m = raw / power;
    return power * (m <= 1 ? 1 : m <= 2 ? 2 : m <= 5 ? 5 : 10);
}

enum { TICKS = 40 };

static int level_ticks(double low, double high, double tick[TICKS])
{
    double step = rg_plot_step(high - low, 7);
    int n = 0;
    for (double k = ceil(low / step - 1e-9);
         k * step <= high * (1 + 1e-12) + 1e-9 * step && n < TICKS; k++)
        tick[n++] = k * step;
    return n;
}

/* 1, 2, 5 in each decade; over many decades powers of ten alone. */
static int log_ticks(double low, double high, double tick[TICKS])
{
    static const double in_decade[] = {1, 2, 5};
    double decades = log10(high / low);
    int n = 0, each = decades > 4 ? 1 : 3;
    double jump = fmax(ceil(decades / 12), 1);
    for (double d = floor(log10(low)); d <= log10(high) && n < TICKS; d += jump)
        for (int i = 0; i < each && n < TICKS; i++) {
            double v = in_decade[i] * pow(10, d);
            if (v >= low && v <= high)
                tick[n++] = v;
        }
    return n;
}

static int ticks_of(double low, double high, bool log_axis, double tick[TICKS])
{
    if (!(high > low) || !isfinite(low) || !isfinite(high))
        return 0;
    return log_axis ? log_ticks(low, high, tick) : level_ticks(low, high, tick);
}

static void grid_line(cairo_t *cr, double x0, double y0, double x1, double y1)
{
    rg_grey(cr, 0.85);
    cairo_set_line_width(cr, 1);
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
    cairo_stroke(cr);
    rg_grey(cr, 0);
}

static void draw_frame(const rg_plot *p)
{
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 1.4);
    cairo_rectangle(p->cr, p->left, p->top, p->width, p->height);
    cairo_stroke(p->cr);
}

void rg_plot_y_axis(const rg_plot *p, const char *label)
{
    char text[32];
    double tick[TICKS];
    int n = ticks_of(p->y0, p->y1, p->log_y, tick);
    rg_font(p->cr, 15, false);
    for (int i = 0; i < n; i++) {
        double y = rg_plot_y(p, tick[i]);
        grid_line(p->cr, p->left, y, p->left + p->width, y);
        snprintf(text, sizeof text, "%.6g", fabs(tick[i]) < 1e-12 ? 0 : tick[i]);
        rg_text(p->cr, p->left - 9, y + 5, 1, 0, text);
    }
    rg_text(p->cr, p->left - 60, p->top - 14, 0, 0, label);
    draw_frame(p);
}

void rg_plot_axes(const rg_plot *p, const char *x_label, const char *y_label)
{
    char text[32];
    double tick[TICKS], last = -INFINITY;
    int n = ticks_of(p->x0, p->x1, p->log_x, tick);
    rg_font(p->cr, 15, false);
    for (int i = 0; i < n; i++) {
        double x = rg_plot_x(p, tick[i]);
        grid_line(p->cr, x, p->top, x, p->top + p->height);
        snprintf(text, sizeof text, "%.6g", fabs(tick[i]) < 1e-12 ? 0 : tick[i]);
        double half = rg_text_width(p->cr, text) / 2;
        if (x - half < last + 8)
            continue;
        rg_text(p->cr, x, p->top + p->height + 22, 0.5, 0, text);
        last = x + half;
    }
    rg_text(p->cr, p->left + p->width / 2, p->top + p->height + 48, 0.5, 0, x_label);
    rg_plot_y_axis(p, y_label);
}

void rg_plot_clip(const rg_plot *p)
{
    cairo_save(p->cr);
    cairo_rectangle(p->cr, p->left, p->top, p->width, p->height);
    cairo_clip(p->cr);
}

void rg_plot_stroke(cairo_t *cr, double width, double dash)
{
    cairo_set_dash(cr, &dash, dash > 0 ? 1 : 0, 0);
    cairo_set_line_width(cr, width);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

void rg_plot_upright(const rg_plot *p, double x, double width, double dash)
{
    double at = rg_plot_x(p, x);
    if (!(at >= p->left && at <= p->left + p->width))
        return;
    cairo_move_to(p->cr, at, p->top);
    cairo_line_to(p->cr, at, p->top + p->height);
    rg_plot_stroke(p->cr, width, dash);
}

void rg_plot_level(const rg_plot *p, double y, double width, double dash)
{
    double at = rg_plot_y(p, y);
    if (!(at >= p->top && at <= p->top + p->height))
        return;
    cairo_move_to(p->cr, p->left, at);
    cairo_line_to(p->cr, p->left + p->width, at);
    rg_plot_stroke(p->cr, width, dash);
}

void rg_plot_title(const rg_plot *p, const char *title)
{
    rg_font(p->cr, 19, true);
    rg_text(p->cr, p->left, p->top - 40, 0, p->width, title);
}

void rg_plot_curve(const rg_plot *p, const double *x, const double *y, int n)
{
    bool pen = false;
    for (int i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i])) {
            pen = false;
            continue;
        }
        if (pen)
            cairo_line_to(p->cr, rg_plot_x(p, x[i]), rg_plot_y(p, y[i]));
        else
            cairo_move_to(p->cr, rg_plot_x(p, x[i]), rg_plot_y(p, y[i]));
        pen = true;
    }
    cairo_stroke(p->cr);
}

void rg_plot_dot(const rg_plot *p, double x, double y, double size, bool filled)
{
    double at_x = rg_plot_x(p, x), at_y = rg_plot_y(p, y);
    if (!isfinite(at_x) || !isfinite(at_y))
        return;
    cairo_new_sub_path(p->cr);
    cairo_arc(p->cr, at_x, at_y, size / 2, 0, 2 * RG_PI);
    if (filled)
        cairo_fill(p->cr);
    else
        cairo_stroke(p->cr);
}

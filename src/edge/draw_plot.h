/*
 * draw_plot.h - a plot with axes, for draw_*.c.
 */
#ifndef RIMGLOW_EDGE_DRAW_PLOT_H
#define RIMGLOW_EDGE_DRAW_PLOT_H

#include "draw_private.h"

typedef struct rg_plot {
    cairo_t *cr;
    double left, top, width, height; /* px, of the plotting area */
    double x0, x1, y0, y1;           /* values at its edges; y0 at the bottom */
    bool log_x, log_y;
} rg_plot;

double rg_plot_x(const rg_plot *p, double value);
double rg_plot_y(const rg_plot *p, double value);
/* 1, 2 or 5 times a power of ten, so that about `count` steps make the span. */
double rg_plot_step(double span, int count);
/* Frame, grid, ticks at round numbers, labels. */
void rg_plot_axes(const rg_plot *p, const char *x_label, const char *y_label);
/* Only the y axis, for a plot whose x are names. */
void rg_plot_y_axis(const rg_plot *p, const char *label);
void rg_plot_clip(const rg_plot *p); /* until cairo_restore */
/* Upright (x) and level (y) lines across the plot, dashed when dash > 0. */
void rg_plot_upright(const rg_plot *p, double x, double width, double dash);
void rg_plot_level(const rg_plot *p, double y, double width, double dash);
/* Widens low..high to both sides by this share (of the logarithm on a log axis). */
void rg_plot_widen(double *low, double *high, double share, bool log_axis);
/* Strokes the current path, dashed when dash > 0. */
void rg_plot_stroke(cairo_t *cr, double width, double dash);
/* A bold line above the plot. */
void rg_plot_title(const rg_plot *p, const char *title);
/* Strokes a curve through n points; a NAN breaks it. */
void rg_plot_curve(const rg_plot *p, const double *x, const double *y, int n);
/* A round mark of this diameter, px: a disc, or a ring. */
void rg_plot_dot(const rg_plot *p, double x, double y, double size, bool filled);

#endif

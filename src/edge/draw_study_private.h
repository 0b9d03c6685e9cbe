/*
 * draw_study_private.h - shared by draw_study*.c: a plot with axes.
 */
#ifndef RIMGLOW_EDGE_DRAW_STUDY_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_STUDY_PRIVATE_H

#include "draw_private.h"
#include "rimglow/draw_study.h"

enum { RG_STUDY_MARGIN = 40 };

typedef struct rg_plot {
    cairo_t *cr;
    double left, top, width, height; /* px, of the plotting area */
    double x0, x1, y0, y1;           /* values at its edges; y0 at the bottom */
    bool log_x, log_y;
} rg_plot;

double rg_plot_x(const rg_plot *p, double value);
double rg_plot_y(const rg_plot *p, double value);
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

/* Title, a line below it and the table's name at the right. */
void rg_study_header(cairo_t *cr, const char *title, const char *below, const char *table);

#endif

/*
 * draw_axes.h - a pair of axes for draw_*.c: frame, ticks with numbers, titles,
 * and curves in data units that are clipped to the frame.
 */
#ifndef RIMGLOW_EDGE_DRAW_AXES_H
#define RIMGLOW_EDGE_DRAW_AXES_H

#include "draw_private.h"

typedef struct rg_axes {
    double x, y, width, height; /* of the frame, px; y: its top */
    double x0, x1, y0, y1;      /* data units at left, right, bottom, top */
    double x_step, y_step;      /* from tick to tick, data units */
    int x_places, y_places;     /* decimals of the numbers */
    const char *title, *x_title, *y_title;
} rg_axes;

/* Frame, grid, numbers and titles; numbers stand outside the frame. */
void rg_axes_draw(cairo_t *cr, const rg_axes *axes);
double rg_axes_x(const rg_axes *axes, double x);
double rg_axes_y(const rg_axes *axes, double y);
/* Begins drawing inside the frame only; ends with cairo_restore. */
void rg_axes_clip(cairo_t *cr, const rg_axes *axes);
/* Strokes a curve through n points; a NAN breaks it. */
void rg_axes_curve(cairo_t *cr, const rg_axes *axes, const double *x, const double *y, int n);

typedef enum rg_plot_mark { RG_PLOT_DOT, RG_PLOT_RING, RG_PLOT_CROSS, RG_PLOT_SQUARE } rg_plot_mark;
void rg_axes_mark(cairo_t *cr, const rg_axes *axes, double x, double y, double size,
                  rg_plot_mark mark);

#endif

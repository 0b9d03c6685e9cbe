/*
 * draw_sheet_private.h - shared by draw_sheet*.c: what every page has. Lengths in mm.
 */
#ifndef RIMGLOW_EDGE_DRAW_SHEET_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_SHEET_PRIVATE_H

#include "draw_private.h"
#include "rimglow/draw_sheet.h"

/* Tones and line widths. */
#define RG_INK_SOFT   0.35
#define RG_CUT_WIDTH  0.2
#define RG_FOLD_WIDTH 0.15

/* Height of what rg_sheet_head draws, from the page's top margin down. */
#define RG_SHEET_HEAD 13.0

/* Title, how to print, page number (pages > 1), a line under them. */
void rg_sheet_head(cairo_t *cr, double width, const char *title, int page, int pages);

/* A ruler of 50 mm with its zero at (x, y): to the right, or upwards with
 * numerals on its right. It takes RG_RULER_ABOVE on the side of its ticks
 * and RG_RULER_BELOW on that of its numerals. */
#define RG_RULER_LENGTH 50.0
#define RG_RULER_ABOVE  6.0
#define RG_RULER_BELOW  4.0
void rg_sheet_ruler(cairo_t *cr, double x, double y, bool upwards);

/* Legend samples and the line styles that they explain: each sets the line of the current path's
 * next stroke. */
void rg_sheet_cut_line(cairo_t *cr);
void rg_sheet_fold_line(cairo_t *cr);

/* A tag with the top-left corner of its black border at (x, y). */
rg_code rg_sheet_tag(cairo_t *cr, int id, double x, double y, double size, rg_error *err);

/* Sets the font; smaller than size where the text would be wider than that. Returns its size. */
double rg_sheet_font(cairo_t *cr, double size, bool bold, double width, const char *text);

/* Text that wraps; returns the baseline of the line after it. */
double rg_sheet_words(cairo_t *cr, double x, double y, double width, double size, const char *text);

#endif

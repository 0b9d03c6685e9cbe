/*
 * draw_private.h - shared by draw*.c: a canvas that ends as bytes, text that
 * fits its place, and patterns.
 *
 * Lengths are px of the PNG; on the other surfaces they are scaled as a whole. On paper
 * (rg_canvas_open_paper) they are mm.
 */
#ifndef RIMGLOW_EDGE_DRAW_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_PRIVATE_H

#include <cairo.h>
#include <stdbool.h>

#include "rimglow/draw.h"

enum { RG_DRAW_TEXT = 512 }; /* bytes of one text, with the final 0 */

typedef struct rg_canvas {
    cairo_surface_t *surface;
    cairo_t *cr;
    rg_picture_format format;
    rg_bytes bytes; /* what the surface has written so far */
    size_t room;
    bool full; /* memory ran out while writing */
} rg_canvas;

/* A white canvas; must stay at its address until it is closed. */
rg_code rg_canvas_open(rg_canvas *canvas, rg_picture_format format, double width, double height,
                       rg_error *err);
/* The same for paper at true size, with mm as the unit: SVG and PDF only. */
rg_code rg_canvas_open_paper(rg_canvas *canvas, rg_picture_format format, double width_mm,
                             double height_mm, rg_error *err);
/* A new page of the same size; PDF only. */
void rg_canvas_next_page(rg_canvas *canvas);
/* Ends the drawing in either case; hands the bytes over when all went well. */
rg_code rg_canvas_close(rg_canvas *canvas, rg_bytes *out, rg_error *err);

/* Bytes of the well-formed UTF-8 character at p, 0 when there is none. */
size_t rg_draw_character(const char *text);
/* The same text as valid UTF-8 without control characters; cut to fit. */
void rg_draw_clean(char to[RG_DRAW_TEXT], const char *from);

/* An RGB24 image surface of greys as a grey PNG, owned by the caller; false
 * without memory. */
bool rg_grey_png(cairo_surface_t *surface, rg_bytes *out);
/* Lets an SVG that paints this surface embed that PNG. */
void rg_attach_png(cairo_surface_t *surface);

/* The same, and no wider than max_width (when > 0) in the current font: cut, with an ellipsis. */
void rg_draw_shorten(cairo_t *cr, char to[RG_DRAW_TEXT], const char *from, double max_width);

void rg_grey(cairo_t *cr, double tone); /* 0 black, 1 white */
void rg_font(cairo_t *cr, double size, bool bold);
double rg_text_width(cairo_t *cr, const char *text);

/* Text with its baseline at y. anchor: 0 begins at x, 0.5 is centred on it,
 * 1 ends there. Wider than max_width (when > 0): cut, with an ellipsis. */
void rg_text(cairo_t *cr, double x, double y, double anchor, double max_width, const char *text);
/* The same on a white halo, for places that are already drawn on. */
void rg_text_halo(cairo_t *cr, double x, double y, double anchor, const char *text);
/* Breaks the text into lines of at most max_width; draws at most max_lines of
 * them (the last one then ends in an ellipsis), with draw false none. Returns
 * the number of lines. */
int rg_text_wrap(cairo_t *cr, double x, double y, double max_width, double line_height,
                 int max_lines, bool draw, const char *text);

/* Bytes of the longest beginning of a clean text that fits, broken at a blank where there is one; at
 * least one character. */
size_t rg_text_line(cairo_t *cr, const char *text, double max_width);

typedef enum rg_pattern {
    RG_PATTERN_DIAGONAL, /* rejected, unseen */
    RG_PATTERN_CROSS,    /* hidden */
    RG_PATTERN_BARS      /* glare */
} rg_pattern;

/* Fills the current path with lines of the current source and line width, and
 * clears the path. The lines of neighbouring areas join. */
void rg_fill_pattern(cairo_t *cr, rg_pattern pattern, double spacing);

/* A line that shows on black and on white: strokes the path light on dark. */
void rg_stroke_cased(cairo_t *cr, double width);

/* The ring map's page without the ring: verdict, titles, legend, reasons. */
enum { RG_RING_MARGIN = 36 };
void rg_ring_page(cairo_t *cr, const rg_draw_ring_args *args, bool blocked);

/* RG_BAD_DATA when the tolerance or the coverage factor is not a positive number. */
rg_code rg_ring_check(const rg_draw_ring_args *args, rg_error *err);
/* The ring alone, with few and large words, in the square whose upper left corner is x, y; no arcs are
 * named. Returns the gap in mm at the outer circle. The arguments have passed the check. */
double rg_ring_small(cairo_t *cr, const rg_draw_ring_args *args, double x, double y, double size);
/* The verdict's sign in the current source, 50 to the left, 60 to the right, 44 up and down. */
void rg_verdict_mark(cairo_t *cr, rg_verdict verdict, double x, double y);

/* The name, or the other text when it is NULL or empty. */
const char *rg_draw_name(const char *name, const char *otherwise);

#endif

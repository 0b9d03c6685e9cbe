/*
 * draw_lesson_private.h - what the lesson sheets share: pages in mm on which blocks follow each other.
 */
#ifndef RIMGLOW_EDGE_DRAW_LESSON_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_LESSON_PRIVATE_H

#include "draw_private.h"
#include "rimglow/draw_lesson.h"

typedef struct rg_leaf {
    cairo_t *cr;
    rg_canvas *canvas;
    const rg_lesson_head *head;
    int number; /* of the lesson */
    const char *title;
    int wanted; /* page that is shown, from 0; -1: all */
    int page, pages;
    double left, right, bottom, width; /* mm; of the paper */
    double y;                          /* top of the next block */
} rg_leaf;

typedef void rg_leaf_body(rg_leaf *leaf, const void *lesson);

/* A whole sheet: counts its pages, then draws. */
rg_code rg_leaf_draw(const rg_lesson_head *head, int number, const char *title, rg_leaf_body *body,
                     const void *lesson, rg_picture_format format, int page, int *pages,
                     rg_bytes *out, rg_error *err);

/* Goes on to the next page unless so much room is left. */
void rg_leaf_room(rg_leaf *leaf, double height);
void rg_leaf_break(rg_leaf *leaf);
/* On the same page as so many mm of what follows. */
void rg_leaf_heading(rg_leaf *leaf, const char *text, double follow);
/* Texts of less than RG_DRAW_TEXT bytes, whole width. */
void rg_leaf_text(rg_leaf *leaf, const char *text);
void rg_leaf_points(rg_leaf *leaf, const char *const *text, int count);
/* The same between x and x + width from baseline y on; returns the y below. */
double rg_leaf_column(rg_leaf *leaf, double x, double y, double width, double size, bool bold,
                      const char *text);
/* The same in at most so many lines, the last then ending in "...". */
double rg_leaf_lines(rg_leaf *leaf, double x, double y, double width, double size, int lines,
                     const char *text);
/* A frame with a sign of warning, a bold line and points. */
void rg_leaf_caution(rg_leaf *leaf, const char *title, const char *const *text, int count);
/* A small italic-like grey line: where a statement comes from. */
void rg_leaf_source(rg_leaf *leaf, const char *text);

/* The picture in the rectangle of this width, mm; returns its height. An empty one is crossed out. */
double rg_leaf_picture(rg_leaf *leaf, double x, double y, double width,
                       const rg_lesson_picture *picture);
/* Bearings under a picture drawn at x, y; returns the height that they take. */
double rg_leaf_ticks(rg_leaf *leaf, double x, double y, double width,
                     const rg_lesson_picture *picture);
/* A ring map in a square. */
void rg_leaf_ring(rg_leaf *leaf, double x, double y, double size, const rg_lesson_result *result);

/* The first reason of the verdict, or "". */
const char *rg_leaf_reason(const rg_seal_map *map);

/* How steeply the slot may be looked into: D of w cos e - D |sin e|, mm. */
double rg_leaf_depth(const rg_lesson_head *head, bool above);
/* Elevation from which a gap is hidden: atan(w / D), degrees; 90 for a slot without depth. */
double rg_leaf_hides_deg(const rg_lesson_head *head, double width_mm, bool above);
/* "+-" as one sign, and a minus before a digit as one, in place. */
void rg_leaf_signs(char text[RG_DRAW_TEXT]);

#endif

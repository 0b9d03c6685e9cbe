/*
 * draw_heights.h - the openings of all keys in body order on a page to print: each with its
 * uncertainty before its target band, the order down the body, and what to change. One
 * routine for PNG, SVG and PDF, as in draw.h.
 *
 * A disc lies within its band, a ring is undecided, a triangle points to where the key
 * must go; hatched bands belong to keys that were not measured. The same stands in words
 * below the plot.
 */
#ifndef RIMGLOW_DRAW_HEIGHTS_H
#define RIMGLOW_DRAW_HEIGHTS_H

#include "rimglow/draw.h"
#include "rimglow/heights.h"

/* px; as a PDF it fills an A4 page, upright. */
enum { RG_HEIGHTS_WIDTH = 992, RG_HEIGHTS_HEIGHT = 1403 };

typedef struct rg_draw_heights_args {
    const rg_height_key *key;  /* [heights->keys]; as judged */
    const rg_heights *heights; /* of these keys */
    double coverage_factor;
    const char *serial, *instrument, *date; /* any may be NULL */
} rg_draw_heights_args;

/* RG_BAD_DATA without keys. */
rg_code rg_draw_heights(const rg_draw_heights_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err);

#endif

/*
 * draw_setup.h - the set-up sheet on A4 pages: whose instrument, release or hold and why, pads in
 * body order, values with limits, balance, checks, further sections, what changed since earlier visits, and
 * the work. Rules of draw.h hold; nothing is left out, long texts are wrapped or end in "...".
 */
#ifndef RIMGLOW_DRAW_SETUP_H
#define RIMGLOW_DRAW_SETUP_H

#include "rimglow/draw.h"
#include "rimglow/setup_sheet.h"

/* A page as PNG or SVG, px; as a PDF it is A4. */
enum { RG_SETUP_WIDTH = 992, RG_SETUP_HEIGHT = 1403 };

/* page: which one, from 0, of a PNG or an SVG; a PDF holds all and page does not count. *pages
 * (may be NULL) gets how many there are. RG_BAD_DATA for a page that there is not. */
rg_code rg_draw_setup(const rg_setup_sheet *sheet, rg_picture_format format, int page, int *pages,
                      rg_bytes *out, rg_error *err);

#endif

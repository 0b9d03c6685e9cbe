/*
 * draw_sheet.h - paper at true size: index crowns to cut out and fold, and the
 * calibration board.
 *
 * Pages are A4 (210 x 297 mm, ISO 216) or Letter (8.5 x 11 in, ANSI/ASME
 * Y14.1), as one PDF with all pages or as an SVG for each page, in points or
 * millimetres that both formats define, so that "print at 100 %" is enough.
 * Every page carries two rulers of 50 mm, along and across: a printer may
 * scale the two differently. Black, white and grey only.
 *
 * Crowns: cut lines solid, fold lines dashed, the glue tab hatched. Nothing but
 * white paper within a module of a tag, and no line beside a tag at its height:
 * the pose comes from the tag's borders. Tags are one filled path each, so no
 * renderer leaves seams between modules.
 *
 * Deterministic: the same arguments give the same bytes. Coordinates are kept
 * to 1/256 pt (0.0014 mm).
 */
#ifndef RIMGLOW_DRAW_SHEET_H
#define RIMGLOW_DRAW_SHEET_H

#include "rimglow/draw.h"
#include "rimglow/ring.h"

/* White round every page, mm: printers do not reach the paper's edge. */
#define RG_SHEET_MARGIN_MM 10.0

typedef struct rg_draw_crown {
    rg_ring ring;
    const char *title; /* instrument and pads, or NULL */
} rg_draw_crown;

typedef struct rg_draw_crowns_args {
    const rg_draw_crown *crown;
    int count;
    int copies; /* of each */
    rg_paper paper;
} rg_draw_crowns_args;

enum { RG_CROWNS_MAX = 97, RG_CROWN_COPIES_MAX = 24 };

/* How many pages that is. RG_BAD_DATA for a crown too large for the paper (the
 * strip is cut into up to six pieces before that). */
rg_code rg_draw_crowns_pages(const rg_draw_crowns_args *args, int *pages, rg_error *err);
/* PDF: all pages in one file, page is ignored. SVG: that page, from 0. */
rg_code rg_draw_crowns(const rg_draw_crowns_args *args, rg_picture_format format, int page,
                       rg_bytes *out, rg_error *err);

/* Tag first_id + row * columns + column, the top-left corner of its black
 * border at (column * pitch_mm, row * pitch_mm), x right, y down. */
typedef struct rg_draw_board_args {
    int columns, rows;
    double tag_mm, pitch_mm;
    int first_id;
    rg_paper paper; /* turned on its side when the board needs it */
} rg_draw_board_args;

/* One page. RG_BAD_DATA for a board too large for the paper (says by how much). */
rg_code rg_draw_board(const rg_draw_board_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

#endif

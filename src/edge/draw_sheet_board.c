/*
 * draw_sheet_board.c - the calibration board.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "draw_sheet_private.h"
#include "rimglow/draw_sheet.h"

static const double SIDE = 12; /* column of the upright ruler */
static const double FOOT = 24; /* the other ruler and the words beside it */
static const double ABOVE = 6; /* orientation mark */
static const double LEAST = 2; /* white between the board and words */

typedef struct page {
    double width, height;    /* of the paper as it lies */
    double board_w, board_h; /* black edge to black edge */
    double white;            /* a module */
    double x, y;             /* of the first tag's border */
} page;

static double room_across(const page *p)
{
    return p->width - 2 * RG_SHEET_MARGIN_MM - SIDE - 2 * p->white;
}

static double room_down(const page *p)
{
    return p->height - 2 * RG_SHEET_MARGIN_MM - RG_SHEET_HEAD - ABOVE - FOOT - 2 * LEAST -
           2 * p->white;
}

static bool fits(const page *p)
{
    return p->board_w <= room_across(p) && p->board_h <= room_down(p) &&
           RG_RULER_LENGTH <= room_down(p);
}

static void turn(page *p)
{
    double w = p->width;
    p->width = p->height;
    p->height = w;
}

static rg_code check_args(const rg_draw_board_args *a, rg_error *err)
{
    if (a->columns < 1 || a->columns > RG_TAG_IDS || a->rows < 1 || a->rows > RG_TAG_IDS ||
        !(a->tag_mm > 0) || !(a->pitch_mm > a->tag_mm))
        return rg_fail(err, RG_BAD_DATA,
                       "a board of %d x %d tags of %g mm at a pitch of %g mm cannot be drawn",
                       a->columns, a->rows, a->tag_mm, a->pitch_mm);
    return RG_OK;
}

static rg_code lay_out(const rg_draw_board_args *a, page *p, rg_error *err)
{
    *p = (page){.board_w = (a->columns - 1) * a->pitch_mm + a->tag_mm,
                .board_h = (a->rows - 1) * a->pitch_mm + a->tag_mm,
                .white = a->tag_mm / RG_TAG_BORDER_MODULES};
    rg_paper_size(a->paper, &p->width, &p->height);
    if (!fits(p))
        turn(p);
    if (!fits(p)) {
        double across = room_across(p), down = room_down(p);
        return rg_fail(err, RG_BAD_DATA,
                       "the board is %.1f x %.1f mm and %s has room for %.1f x %.1f mm; take fewer "
                       "tags or a smaller pitch",
                       p->board_w, p->board_h, rg_paper_name(a->paper), across, down);
    }
    p->x = RG_SHEET_MARGIN_MM + SIDE + p->white + 0.5 * (room_across(p) - p->board_w);
    p->y = RG_SHEET_MARGIN_MM + RG_SHEET_HEAD + ABOVE + LEAST + p->white +
           0.5 * (room_down(p) - p->board_h);
    return RG_OK;
}

/* A triangle over the first tag, and the word. */
static void draw_mark(cairo_t *cr, const rg_draw_board_args *a, const page *p)
{
    const double x = p->x + 0.5 * a->tag_mm, y = p->y - p->white - LEAST;
    char text[64];
    rg_grey(cr, 0);
    cairo_move_to(cr, x, y - 3.4);
    cairo_line_to(cr, x - 1.7, y);
    cairo_line_to(cr, x + 1.7, y);
    cairo_close_path(cr);
    cairo_fill(cr);
    snprintf(text, sizeof text, "top; tag %d is the first", a->first_id);
    rg_font(cr, 2.8, false);
    rg_text(cr, x + 3, y, 0, 0, text);
}

static void draw_words(cairo_t *cr, const rg_draw_board_args *a, const page *p)
{
    const double x = RG_SHEET_MARGIN_MM + RG_RULER_LENGTH + 14;
    const double width = p->width - RG_SHEET_MARGIN_MM - x;
    double y = p->height - RG_SHEET_MARGIN_MM - FOOT + 6;
    char text[400];
    snprintf(text, sizeof text,
             "%d x %d tags, %d to %d. Border %.2f mm, pitch %.2f mm; from the first black edge to "
             "the last %.2f mm across, %.2f mm down.",
             a->columns, a->rows, a->first_id, a->first_id + a->columns * a->rows - 1, a->tag_mm,
             a->pitch_mm, p->board_w, p->board_h);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.3);
    cairo_move_to(cr, RG_SHEET_MARGIN_MM, y - 6);
    cairo_line_to(cr, p->width - RG_SHEET_MARGIN_MM, y - 6);
    cairo_stroke(cr);
    y = rg_sheet_words(cr, x, y, width, 2.8, text) + 0.8;
    rg_sheet_words(cr, x, y, width, 2.8,
                   "Glue it without bubbles on something flat and stiff: glass, or a metal plate. "
                   "Both rulers: 50.0 mm between the long end marks. If not, print again without "
                   "scaling; if both read the same, multiply tag_mm and pitch_mm in the board's "
                   "file by ruler/50.");
}

rg_code rg_draw_board(const rg_draw_board_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    page p;
    rg_canvas canvas;
    *out = (rg_bytes){0};
    rg_code code = check_args(args, err);
    if (code == RG_OK)
        code = lay_out(args, &p, err);
    if (code == RG_OK)
        code = rg_canvas_open_paper(&canvas, format, p.width, p.height, err);
    if (code != RG_OK)
        return code;
    cairo_t *cr = canvas.cr;
    rg_sheet_head(cr, p.width, "Calibration board", 0, 1);
    for (int i = 0; i < args->columns * args->rows && code == RG_OK; i++)
        code = rg_sheet_tag(cr, args->first_id + i, p.x + i % args->columns * args->pitch_mm,
                            p.y + i / args->columns * args->pitch_mm, args->tag_mm, err);
    draw_mark(cr, args, &p);
    const double left = RG_SHEET_MARGIN_MM;
    rg_sheet_ruler(cr, left, p.height - RG_SHEET_MARGIN_MM - 7, false);
    rg_sheet_ruler(cr, left + RG_RULER_ABOVE, p.y + 0.5 * (p.board_h + RG_RULER_LENGTH), true);
    draw_words(cr, args, &p);
    rg_code closed = rg_canvas_close(&canvas, out, code == RG_OK ? err : NULL);
    if (code == RG_OK)
        return closed;
    free(out->data);
    *out = (rg_bytes){0};
    return code;
}

/*
 * draw_sheet_crown.c - index crowns as strips to cut out and fold.
 *
 * Pages are filled from the top with blocks, one for each strip (or piece of a
 * strip that is too long for the paper): two lines of words, the arm's arrow,
 * the strip, the word "fold" at each fold.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "draw_sheet_private.h"
#include "rimglow/draw_sheet.h"

static const double FOOT = 61;    /* steps and rulers at the page's end */
static const double WORDS = 9;    /* of a block */
static const double CALLOUT = 10; /* arrow and ids above the strip */
static const double BELOW = 6;    /* the word "fold" */
static const double GAP = 7;      /* between blocks */
static const double TICK = 3;     /* fold lines go on beyond the cut */
static const double CHAMFER = 1.5;
static const double CLEAR = 0.3; /* between a tag's height and a fold line beside it */

typedef struct sheets {
    const rg_draw_crowns_args *args;
    double width, height; /* of the paper */
    int pages;
    rg_canvas *canvas;
    int wanted; /* page to draw; -1: all */
} sheets;

typedef struct strip {
    const rg_draw_crown *crown;
    const rg_ring *ring;
    int piece, pieces, faces;        /* faces of this piece */
    double left, right, top, bottom; /* of its faces, on the page */
} strip;

/* ------------------------------------------------------------------- strip */

static void arrow_down(cairo_t *cr, double x, double y, double length, double width)
{
    const double head = 0.55 * length;
    cairo_move_to(cr, x, y);
    cairo_line_to(cr, x - width, y - head);
    cairo_line_to(cr, x - 0.35 * width, y - head);
    cairo_line_to(cr, x - 0.35 * width, y - length);
    cairo_line_to(cr, x + 0.35 * width, y - length);
    cairo_line_to(cr, x + 0.35 * width, y - head);
    cairo_line_to(cr, x + width, y - head);
    cairo_close_path(cr);
    cairo_fill(cr);
}

static void tab_path(cairo_t *cr, const strip *s)
{
    double end = s->right + s->ring->tab_mm;
    cairo_move_to(cr, s->right, s->top);
    cairo_line_to(cr, end, s->top + CHAMFER);
    cairo_line_to(cr, end, s->bottom - CHAMFER);
    cairo_line_to(cr, s->right, s->bottom);
}

static void draw_tab(cairo_t *cr, const strip *s)
{
    const double x = s->right + 0.5 * s->ring->tab_mm, y = 0.5 * (s->top + s->bottom);
    tab_path(cr, s);
    cairo_close_path(cr);
    rg_grey(cr, RG_INK_SOFT);
    cairo_set_line_width(cr, 0.12);
    rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 1.3);
    rg_grey(cr, 1);
    cairo_rectangle(cr, x - 1.4, y - 3.2, 2.8, 6.4);
    cairo_fill(cr);
    cairo_save(cr);
    cairo_translate(cr, x, y);
    cairo_rotate(cr, -RG_PI / 2);
    rg_grey(cr, 0);
    rg_font(cr, 2.2, false);
    rg_text(cr, 0, 0.75, 0.5, 0, "glue");
    cairo_restore(cr);
}

static void draw_cut(cairo_t *cr, const strip *s)
{
    rg_sheet_cut_line(cr);
    tab_path(cr, s);
    cairo_line_to(cr, s->left, s->bottom);
    cairo_line_to(cr, s->left, s->top);
    cairo_close_path(cr);
    cairo_stroke(cr);
    rg_font(cr, 2, false);
    rg_text(cr, s->left, s->bottom + 2.4, 0, 0, "cut");
}

/* Beside the tag no line is drawn: it would be taken for a border. */
static void draw_fold(cairo_t *cr, const strip *s, double x, double tag_top, double tag_bottom)
{
    rg_sheet_fold_line(cr);
    cairo_move_to(cr, x, s->top - TICK);
    cairo_line_to(cr, x, tag_top - CLEAR);
    cairo_move_to(cr, x, s->bottom + TICK);
    cairo_line_to(cr, x, tag_bottom + CLEAR);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_sheet_font(cr, 2, false, s->ring->face_mm - 1, "fold");
    rg_text(cr, x, s->bottom + TICK + 2, 0.5, 0, "fold");
}

/* Words that stay on the ring, all in one size: the arm's mark, bearings, the
 * crown's number. */
static void band_text(const strip *s, cairo_t *cr, int face, double width, char text[32])
{
    static const char *const form[] = {"crown %d", "no. %d", "%d"};
    if (face != 3) {
        snprintf(text, 32, "%d\u00b0", 60 * face);
        return;
    }
    for (int i = 0; i < 3; i++) {
        snprintf(text, 32, form[i], s->ring->crown.number);
        if (rg_text_width(cr, text) <= width)
            return;
    }
}

static void draw_band(cairo_t *cr, const strip *s, int face, double middle)
{
    const double width = s->ring->face_mm - 1.2, y = s->top + 0.5 * s->ring->band_mm + 0.7;
    const double size = rg_sheet_font(cr, 2, true, width, "m ARM"), cap = 0.73 * size;
    rg_grey(cr, 0);
    if (face != 0) {
        char text[32];
        band_text(s, cr, face, width, text);
        rg_text(cr, middle, y, 0.5, 0, text);
        return;
    }
    const double wide = rg_text_width(cr, "ARM"), left = middle - 0.5 * (wide + 1.6 * cap);
    rg_text(cr, left + 1.6 * cap, y, 0, 0, "ARM");
    cairo_move_to(cr, left, y);
    cairo_line_to(cr, left + 1.2 * cap, y);
    cairo_line_to(cr, left + 0.6 * cap, y - cap);
    cairo_close_path(cr);
    cairo_fill(cr);
}

static void draw_arm_callout(cairo_t *cr, const strip *s, double middle)
{
    const double tip = s->top - TICK - 1.4, length = 4.6;
    rg_grey(cr, 0);
    arrow_down(cr, middle, tip, length, 1.5);
    rg_font(cr, 2.7, true);
    rg_text(cr, middle + 2.6, tip - 1.6, 0, 0,
            s->ring->foot_mm > 0 ? "this face towards the key arm; notch its foot if need be"
                                 : "this face towards the key arm: bearing 0");
}

static rg_code draw_face(cairo_t *cr, const strip *s, int i, rg_error *err)
{
    const rg_crown *crown = &s->ring->crown;
    const int face = rg_ring_face_at(s->piece * s->faces + i);
    const int id = RG_RING_FACES * crown->number + face;
    const double middle = s->left + (i + 0.5) * s->ring->face_mm;
    const double size = crown->tag_size_mm;
    const double tag_top = s->bottom - s->ring->centre_mm - 0.5 * size;
    char text[32];
    draw_fold(cr, s, s->left + (i + 1) * s->ring->face_mm, tag_top, tag_top + size);
    rg_grey(cr, RG_INK_SOFT);
    snprintf(text, sizeof text, "id %d", id);
    rg_sheet_font(cr, 2, false, s->ring->face_mm - 1, text);
    rg_text(cr, middle, s->top - 1, 0.5, 0, text);
    if (face == 0)
        draw_arm_callout(cr, s, middle);
    draw_band(cr, s, face, middle);
    return rg_sheet_tag(cr, id, middle - 0.5 * size, tag_top, size, err);
}

static void draw_words(cairo_t *cr, const sheets *sh, const strip *s, double y)
{
    const rg_ring *r = s->ring;
    const rg_crown *k = &r->crown;
    const double right = sh->width - RG_SHEET_MARGIN_MM;
    char text[240];
    rg_grey(cr, 0);
    snprintf(text, sizeof text, "Crown %d", k->number);
    rg_font(cr, 4, true);
    rg_text(cr, s->left, y + 4, 0, 0, text);
    double used = s->left + rg_text_width(cr, text) + 3;
    if (s->pieces > 1)
        snprintf(text, sizeof text, "part %d of %d: glue each tab behind the next part's edge",
                 s->piece + 1, s->pieces);
    else
        snprintf(text, sizeof text, "stands on cups of %.1f mm and more", r->least_cup_mm);
    rg_font(cr, 3, false);
    rg_text(cr, used, y + 4, 0, 0, text);
    used += rg_text_width(cr, text) + 6;
    if (s->crown->title && right - used > 20)
        rg_text(cr, right, y + 4, 1, right - used, s->crown->title);
    snprintf(
        text, sizeof text,
        "folded %.2f mm across flats (apothem %.2f)   tag border %.2f mm   tag centres %.2f mm "
        "above the lower edge",
        2 * k->apothem_mm, k->apothem_mm, k->tag_size_mm, r->centre_mm);
    rg_grey(cr, RG_INK_SOFT);
    rg_font(cr, 2.6, false);
    rg_text(cr, s->left, y + 8, 0, right - s->left, text);
}

/* A block with its upper edge at y. */
static rg_code draw_strip(const sheets *sh, strip *s, double y, rg_error *err)
{
    cairo_t *cr = sh->canvas->cr;
    s->left = RG_SHEET_MARGIN_MM;
    s->right = s->left + s->faces * s->ring->face_mm;
    s->top = y + WORDS + CALLOUT;
    s->bottom = s->top + s->ring->height_mm;
    draw_words(cr, sh, s, y);
    draw_tab(cr, s);
    rg_code code = RG_OK;
    for (int i = 0; i < s->faces && code == RG_OK; i++)
        code = draw_face(cr, s, i, err);
    draw_cut(cr, s);
    return code;
}

/* -------------------------------------------------------------------- page */

static void draw_legend(cairo_t *cr, double x, double y)
{
    static const char *const name[] = {"cut", "fold backwards", "glue"};
    for (int i = 0; i < 3; i++) {
        double at = y + 4.5 * i;
        if (i == 2) {
            rg_grey(cr, RG_INK_SOFT);
            cairo_set_line_width(cr, 0.12);
            cairo_rectangle(cr, x, at - 2.4, 12, 2.8);
            rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 1.3);
        } else {
            (i == 0 ? rg_sheet_cut_line : rg_sheet_fold_line)(cr);
            cairo_move_to(cr, x, at - 1);
            cairo_line_to(cr, x + 12, at - 1);
            cairo_stroke(cr);
            cairo_set_dash(cr, NULL, 0, 0);
        }
        rg_grey(cr, 0);
        rg_font(cr, 2.8, false);
        rg_text(cr, x + 15, at, 0, 0, name[i]);
    }
}

static void draw_steps(cairo_t *cr, double x, double y, double width)
{
    static const char measure[] =
        "Measure both rulers with a calliper. If one is not 50.0 mm, print again without scaling. "
        "If both read the same, the sheet can be used: in the instrument file multiply apothem, "
        "tag "
        "and the tag centres' height above the lower edge by ruler/50. An error of scale is an "
        "error of every gap width.";
    static const char stand[] =
        "Stand the ring on the cup, words upright, centred, ARM towards the key arm. Nothing is "
        "glued to the cup.";
    static const char *const step[] = {
        measure,
        "Glue the sheet on thin, matt, white board and let it dry flat.",
        "Score the dashed lines with a blunt point, then cut along the solid lines.",
        "Fold backwards, print outside. Glue the hatched tab behind the other end.",
        "Check the width across flats with a calliper.",
        stand,
    };
    for (int i = 0; i < (int)(sizeof step / sizeof *step); i++) {
        char number[16];
        snprintf(number, sizeof number, "%d", i + 1);
        rg_font(cr, 2.9, true);
        rg_text(cr, x + 2, y, 0.5, 0, number);
        y = rg_sheet_words(cr, x + 6, y, width - 6, 2.9, step[i]) + 1.2;
    }
}

static void draw_page(const sheets *sh, int page)
{
    cairo_t *cr = sh->canvas->cr;
    const double right = sh->width - RG_SHEET_MARGIN_MM, base = sh->height - RG_SHEET_MARGIN_MM - 4;
    const double rulers = right - 66;
    rg_sheet_head(cr, sh->width, "Index crowns", page, sh->pages);
    double top = sh->height - RG_SHEET_MARGIN_MM - FOOT;
    cairo_set_line_width(cr, 0.3);
    cairo_move_to(cr, RG_SHEET_MARGIN_MM, top);
    cairo_line_to(cr, right, top);
    cairo_stroke(cr);
    draw_steps(cr, RG_SHEET_MARGIN_MM, top + 6, rulers - 8 - RG_SHEET_MARGIN_MM);
    draw_legend(cr, rulers, top + 6);
    rg_font(cr, 2.8, true);
    rg_text(cr, rulers, base - RG_RULER_ABOVE - 6, 0, 0, "Both rulers: 50.0 mm");
    rg_font(cr, 2.8, false);
    rg_text(cr, rulers, base - RG_RULER_ABOVE - 2.2, 0, 0, "between the long end marks");
    rg_sheet_ruler(cr, rulers, base, false);
    rg_sheet_ruler(cr, right - RG_RULER_BELOW, base, true);
}

/* ------------------------------------------------------------------ pages */

static double block_height(const rg_ring *ring)
{
    return WORDS + CALLOUT + ring->height_mm + BELOW;
}

static rg_code check_fits(const sheets *sh, const rg_ring *ring, int *pieces, rg_error *err)
{
    const double width = sh->width - 2 * RG_SHEET_MARGIN_MM;
    const double height = sh->height - 2 * RG_SHEET_MARGIN_MM - RG_SHEET_HEAD - FOOT;
    *pieces = rg_ring_pieces(ring, width);
    if (*pieces > 0 && block_height(ring) <= height)
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "crown %d: a face of %.1f mm and a ring %.1f mm high do not fit on %s; print a "
                   "smaller crown, it only has to stand on the cup",
                   ring->crown.number, ring->face_mm, ring->height_mm,
                   rg_paper_name(sh->args->paper));
}

static bool is_wanted(const sheets *sh, int page)
{
    return sh->canvas && (sh->wanted < 0 || sh->wanted == page);
}

/* Begins a page: the one that is already open, or a further one of a PDF. */
static void open_page(const sheets *sh, int page)
{
    if (!is_wanted(sh, page))
        return;
    if (sh->wanted < 0 && page > 0)
        rg_canvas_next_page(sh->canvas);
    draw_page(sh, page);
}

/* Goes through all blocks; draws the wanted ones when there is a canvas.
 * Returns the number of pages in *pages. */
static rg_code lay_out(const sheets *sh, int *pages, rg_error *err)
{
    const double top = RG_SHEET_MARGIN_MM + RG_SHEET_HEAD + 4;
    const double end = sh->height - RG_SHEET_MARGIN_MM - FOOT;
    double y = top;
    int page = 0;
    open_page(sh, page);
    for (int n = 0; n < sh->args->count * sh->args->copies; n++) {
        const rg_draw_crown *crown = &sh->args->crown[n / sh->args->copies];
        strip s = {.crown = crown, .ring = &crown->ring};
        rg_code code = check_fits(sh, s.ring, &s.pieces, err);
        for (s.piece = 0; code == RG_OK && s.piece < s.pieces; s.piece++) {
            s.faces = RG_RING_FACES / s.pieces;
            if (y > top && y + block_height(s.ring) > end) {
                y = top;
                open_page(sh, ++page);
            }
            if (is_wanted(sh, page))
                code = draw_strip(sh, &s, y, err);
            y += block_height(s.ring) + GAP;
        }
        if (code != RG_OK)
            return code;
    }
    *pages = page + 1;
    return RG_OK;
}

static rg_code check_args(const rg_draw_crowns_args *args, rg_error *err)
{
    if (args->count < 1 || args->count > RG_CROWNS_MAX || args->copies < 1 ||
        args->copies > RG_CROWN_COPIES_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "%d crowns, %d copies of each; print 1 to %d, 1 to %d copies", args->count,
                       args->copies, RG_CROWNS_MAX, RG_CROWN_COPIES_MAX);
    return RG_OK;
}

rg_code rg_draw_crowns_pages(const rg_draw_crowns_args *args, int *pages, rg_error *err)
{
    sheets sh = {.args = args};
    rg_code code = check_args(args, err);
    rg_paper_size(args->paper, &sh.width, &sh.height);
    *pages = 0;
    return code == RG_OK ? lay_out(&sh, pages, err) : code;
}

rg_code rg_draw_crowns(const rg_draw_crowns_args *args, rg_picture_format format, int page,
                       rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    sheets sh = {.args = args, .wanted = format == RG_PICTURE_PDF ? -1 : page};
    *out = (rg_bytes){0};
    rg_code code = rg_draw_crowns_pages(args, &sh.pages, err);
    if (code == RG_OK && (page < 0 || page >= sh.pages))
        code = rg_fail(err, RG_INTERNAL, "page %d of %d", page, sh.pages);
    rg_paper_size(args->paper, &sh.width, &sh.height);
    if (code == RG_OK)
        code = rg_canvas_open_paper(&canvas, format, sh.width, sh.height, err);
    if (code != RG_OK)
        return code;
    sh.canvas = &canvas;
    int pages;
    code = lay_out(&sh, &pages, err);
    rg_code closed = rg_canvas_close(&canvas, out, code == RG_OK ? err : NULL);
    if (code == RG_OK)
        return closed;
    free(out->data);
    *out = (rg_bytes){0};
    return code;
}

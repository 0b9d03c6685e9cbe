/*
 * draw_sheet.c - what every printed page has: head, rulers, tags, line styles.
 */
#include "rimglow/draw_sheet.h"

#include <math.h>
#include <stdio.h>

#include "draw_sheet_private.h"

void rg_sheet_head(cairo_t *cr, double width, const char *title, int page, int pages)
{
    const double left = RG_SHEET_MARGIN_MM, right = width - RG_SHEET_MARGIN_MM;
    double y = RG_SHEET_MARGIN_MM + 5;
    rg_grey(cr, 0);
    rg_font(cr, 6, true);
    rg_text(cr, left, y, 0, 0, title);
    rg_font(cr, 3, true);
    rg_text(cr, right, y - 2, 1, 0, "Print at 100 % (actual size): no scaling, no fitting");
    rg_font(cr, 3, false);
    rg_text(cr, right, y + 2, 1, 0, "Then measure both rulers before you use the sheet");
    if (pages > 1) {
        char text[40];
        snprintf(text, sizeof text, "page %d of %d", page + 1, pages);
        rg_font(cr, 3, false);
        rg_text(cr, left + 0.5 * (right - left), y, 0.5, 0, text);
    }
    cairo_set_line_width(cr, 0.3);
    cairo_move_to(cr, left, y + 4.5);
    cairo_line_to(cr, right, y + 4.5);
    cairo_stroke(cr);
}

/* -------------------------------------------------------------------- ruler */

static double tick_length(int mm)
{
    if (mm == 0 || mm == (int)RG_RULER_LENGTH)
        return RG_RULER_ABOVE;
    return mm % 10 == 0 ? 3.6 : mm % 5 == 0 ? 2.6 : 1.6;
}

void rg_sheet_ruler(cairo_t *cr, double x, double y, bool upwards)
{
    const int length = (int)RG_RULER_LENGTH;
    const double line = 0.12;
    cairo_save(cr);
    cairo_translate(cr, x, y);
    if (upwards)
        cairo_rotate(cr, -RG_PI / 2);
    rg_grey(cr, 0);
    /* Filled, not stroked: renderers and printers may move a stroke to whole pixels. */
    for (int mm = 0; mm <= length; mm++)
        cairo_rectangle(cr, mm - 0.5 * line, -tick_length(mm), line, tick_length(mm));
    cairo_fill(cr);
    cairo_rectangle(cr, -0.5 * line, -0.5 * line, length + line, line);
    cairo_fill(cr);
    rg_font(cr, 2.4, false);
    for (int mm = 0; mm <= length; mm += 10) {
        char text[16];
        snprintf(text, sizeof text, mm == length ? "%d mm" : "%d", mm);
        rg_text(cr, mm, 2.9, mm == length ? 0.72 : 0.5, 0, text);
    }
    cairo_restore(cr);
}

/* -------------------------------------------------------------- lines, text */

void rg_sheet_cut_line(cairo_t *cr)
{
    rg_grey(cr, 0);
    cairo_set_dash(cr, NULL, 0, 0);
    cairo_set_line_width(cr, RG_CUT_WIDTH);
}

void rg_sheet_fold_line(cairo_t *cr)
{
    static const double dash[] = {0.9, 0.6};
    rg_grey(cr, RG_INK_SOFT);
    cairo_set_dash(cr, dash, 2, 0);
    cairo_set_line_width(cr, RG_FOLD_WIDTH);
}

double rg_sheet_font(cairo_t *cr, double size, bool bold, double width, const char *text)
{
    rg_font(cr, size, bold);
    double wide = rg_text_width(cr, text), fitting = wide > width ? size * width / wide : size;
    rg_font(cr, fitting, bold);
    return fitting;
}

double rg_sheet_words(cairo_t *cr, double x, double y, double width, double size, const char *text)
{
    enum { LINES = 12 };
    const double step = 1.35 * size;
    rg_font(cr, size, false);
    return y + step * rg_text_wrap(cr, x, y, width, step, LINES, true, text);
}

/* --------------------------------------------------------------------- tags */

/* The outlines of a tag's black parts, as directed edges of modules with the
 * black on their right: exit[y][x] has a bit for each direction (0 right, 1
 * down, 2 left, 3 up) in which an edge leaves that corner. Rectangles that
 * touch would be simpler, but renderers leave hairlines between them. */
enum { CORNERS = RG_TAG_BORDER_MODULES + 1 };
typedef struct outline {
    uint8_t exit[CORNERS][CORNERS];
} outline;

static const int step_x[4] = {1, 0, -1, 0}, step_y[4] = {0, 1, 0, -1};

static outline edges_of(uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES])
{
    outline o = {{{0}}};
    for (int y = 0; y < RG_TAG_BORDER_MODULES; y++)
        for (int x = 0; x < RG_TAG_BORDER_MODULES; x++) {
            if (module[y + 1][x + 1])
                continue;
            o.exit[y][x] |= (uint8_t)(module[y][x + 1] << 0);
            o.exit[y][x + 1] |= (uint8_t)(module[y + 1][x + 2] << 1);
            o.exit[y + 1][x + 1] |= (uint8_t)(module[y + 2][x + 1] << 2);
            o.exit[y + 1][x] |= (uint8_t)(module[y + 1][x] << 3);
        }
    return o;
}

/* The direction in which the outline goes on, taken off it; -1 at its end. */
static int follow(outline *o, int x, int y, int direction)
{
    for (int turn = 1; turn >= -1; turn--) {
        int d = (direction + turn + 4) % 4;
        if (o->exit[y][x] >> d & 1) {
            o->exit[y][x] &= (uint8_t) ~(1 << d);
            return d;
        }
    }
    return -1;
}

/* The closed outline that leaves corner (x, y) to the right. */
static void trace(cairo_t *cr, outline *o, int x, int y, double edge)
{
    int direction = 0;
    o->exit[y][x] &= (uint8_t)~1;
    cairo_move_to(cr, x * edge, y * edge);
    while (direction >= 0) {
        x += step_x[direction];
        y += step_y[direction];
        int next = follow(o, x, y, direction);
        if (next != direction && next >= 0)
            cairo_line_to(cr, x * edge, y * edge);
        direction = next;
    }
    cairo_close_path(cr);
}

rg_code rg_sheet_tag(cairo_t *cr, int id, double x, double y, double size, rg_error *err)
{
    uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES];
    rg_code code = rg_tag_modules(id, module, err);
    if (code != RG_OK)
        return code;
    outline o = edges_of(module);
    cairo_save(cr);
    cairo_translate(cr, x, y);
    for (int r = 0; r < CORNERS; r++)
        for (int c = 0; c < CORNERS; c++)
            if (o.exit[r][c] & 1) /* every outline has an edge to the right */
                trace(cr, &o, c, r, size / RG_TAG_BORDER_MODULES);
    rg_grey(cr, 0);
    cairo_fill(cr);
    cairo_restore(cr);
    return RG_OK;
}

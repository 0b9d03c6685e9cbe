/*
 * draw.c - what all pictures share: the canvas, text and patterns.
 *
 * A canvas is a cairo surface whose output is collected in memory. Text goes
 * through cairo's toy interface, which takes UTF-8 only, so every text is
 * made valid first (The Unicode Standard, table 3-7). cairo numbers the
 * surfaces it names in an SVG by a counter of the whole process; those
 * numbers are counted anew in each file, so that equal drawings are equal
 * bytes. PDF pages carry no date for the same reason.
 */
#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "draw_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* 992 px make the 595.2 pt of an A4 page. */
static const double points_per_px = 0.6;

/* Paper is measured in points, which SVG and PDF both know: cairo keeps coordinates to 1/256 of
 * the surface's unit, and 1/256 pt is 0.0014 mm. */
static const double points_per_mm = 72.0 / 25.4;

/* A date that says nothing: cairo would write the clock's. */
static const char no_date[] = "1970-01-01T00:00:00Z";

const char *rg_picture_suffix(rg_picture_format format)
{
    static const char *const suffix[] = {"png", "svg", "pdf"};
    return suffix[format];
}

const char *rg_paper_name(rg_paper paper)
{
    return paper == RG_PAPER_LETTER ? "Letter" : "A4";
}

void rg_paper_size(rg_paper paper, double *width_mm, double *height_mm)
{
    *width_mm = paper == RG_PAPER_LETTER ? 8.5 * 25.4 : 210.0;
    *height_mm = paper == RG_PAPER_LETTER ? 11.0 * 25.4 : 297.0;
}

/* ---------------------------------------------------------------- canvas */

static cairo_status_t take_bytes(void *closure, const unsigned char *data, unsigned length)
{
    rg_canvas *c = closure;
    size_t need = c->bytes.size + length + 1;
    if (need > c->room) {
        size_t room = need + need / 2 + 4096;
        uint8_t *grown = rg_grow(c->bytes.data, room, 1);
        if (!grown) {
            c->full = true;
            return CAIRO_STATUS_WRITE_ERROR;
        }
        c->bytes.data = grown;
        c->room = room;
    }
    memcpy(c->bytes.data + c->bytes.size, data, length);
    c->bytes.size += length;
    c->bytes.data[c->bytes.size] = 0;
    return CAIRO_STATUS_SUCCESS;
}

static cairo_surface_t *svg_surface(rg_canvas *c, double width, double height,
                                    cairo_svg_unit_t unit)
{
    cairo_surface_t *s = cairo_svg_surface_create_for_stream(take_bytes, c, width, height);
    cairo_svg_surface_set_document_unit(s, unit);
    return s;
}

static cairo_surface_t *pdf_surface(rg_canvas *c, double width_pt, double height_pt)
{
    cairo_surface_t *s = cairo_pdf_surface_create_for_stream(take_bytes, c, width_pt, height_pt);
    cairo_pdf_surface_set_metadata(s, CAIRO_PDF_METADATA_CREATE_DATE, no_date);
    return s;
}

static cairo_surface_t *surface_of(rg_canvas *c, double width, double height)
{
    switch (c->format) {
    case RG_PICTURE_SVG:
        return svg_surface(c, width, height, CAIRO_SVG_UNIT_PX);
    case RG_PICTURE_PDF:
        return pdf_surface(c, width * points_per_px, height * points_per_px);
    case RG_PICTURE_PNG:
        break;
    }
    return cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)ceil(width), (int)ceil(height));
}

/* Unhinted metrics, or the three formats would break lines differently. */
static void plain_fonts(cairo_t *cr)
{
    cairo_font_options_t *o = cairo_font_options_create();
    cairo_font_options_set_hint_metrics(o, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_hint_style(o, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_antialias(o, CAIRO_ANTIALIAS_GRAY);
    cairo_set_font_options(cr, o);
    cairo_font_options_destroy(o);
}

static rg_code fail_status(cairo_status_t status, rg_error *err)
{
    return rg_fail(err, RG_INTERNAL, "the picture could not be drawn: %s",
                   cairo_status_to_string(status));
}

/* A white canvas on the surface that it was given; scale: of its unit to one of the drawing. */
static rg_code begin(rg_canvas *canvas, double scale, rg_error *err)
{
    canvas->cr = cairo_create(canvas->surface);
    cairo_status_t status = cairo_status(canvas->cr);
    if (status != CAIRO_STATUS_SUCCESS) {
        rg_bytes none;
        rg_canvas_close(canvas, &none, NULL);
        return fail_status(status, err);
    }
    cairo_scale(canvas->cr, scale, scale);
    plain_fonts(canvas->cr);
    rg_grey(canvas->cr, 1);
    cairo_paint(canvas->cr);
    rg_grey(canvas->cr, 0);
    return RG_OK;
}

rg_code rg_canvas_open(rg_canvas *canvas, rg_picture_format format, double width, double height,
                       rg_error *err)
{
    *canvas = (rg_canvas){.format = format};
    canvas->surface = surface_of(canvas, width, height);
    return begin(canvas, format == RG_PICTURE_PDF ? points_per_px : 1, err);
}

rg_code rg_canvas_open_paper(rg_canvas *canvas, rg_picture_format format, double width_mm,
                             double height_mm, rg_error *err)
{
    double width = width_mm * points_per_mm, height = height_mm * points_per_mm;
    *canvas = (rg_canvas){.format = format};
    if (format == RG_PICTURE_PNG)
        return rg_fail(err, RG_INTERNAL, "a sheet at true size is drawn as PDF or SVG, not as PNG");
    canvas->surface = format == RG_PICTURE_PDF
                          ? pdf_surface(canvas, width, height)
                          : svg_surface(canvas, width, height, CAIRO_SVG_UNIT_PT);
    return begin(canvas, points_per_mm, err);
}

void rg_canvas_next_page(rg_canvas *canvas)
{
    cairo_show_page(canvas->cr);
    rg_grey(canvas->cr, 1);
    cairo_paint(canvas->cr);
    rg_grey(canvas->cr, 0);
}

enum { SVG_IDS = 512 };

/* Number of an id among those met so far; ids beyond the table stay as they are. */
static unsigned long renumbered(unsigned long id, unsigned long *known, int *count)
{
    for (int i = 0; i < *count; i++)
        if (known[i] == id)
            return (unsigned long)i;
    if (*count == SVG_IDS)
        return id;
    known[*count] = id;
    return (unsigned long)(*count)++;
}

/* Length of the word in front of a counted id at p, 0 when there is none. */
static size_t id_word(const char *p)
{
    static const char *const word[] = {"\"surface", "#surface", "\"image",     "#image",
                                       "\"source",  "#source",  "\"recording", "#recording"};
    for (size_t i = 0; i < sizeof word / sizeof *word; i++) {
        size_t n = strlen(word[i]);
        if (strncmp(p, word[i], n) == 0 && isdigit((unsigned char)p[n]))
            return n;
    }
    return 0;
}

/* The new number has never more digits than the old one: done in place. */
static void renumber_svg(rg_bytes *bytes)
{
    unsigned long known[SVG_IDS];
    int count = 0;
    char *from = (char *)bytes->data, *to = from, *end = from + bytes->size;
    while (from < end) {
        size_t n = *from == '"' || *from == '#' ? id_word(from) : 0;
        if (n == 0) {
            *to++ = *from++;
            continue;
        }
        char *after;
        unsigned long id = strtoul(from + n, &after, 10);
        unsigned long fresh = renumbered(id, known, &count);
        memmove(to, from, n);
        to += n;
        char digits[24];
        int k = 0;
        do {
            digits[k++] = (char)('0' + fresh % 10);
            fresh /= 10;
        } while (fresh);
        while (k > 0)
            *to++ = digits[--k];
        from = after;
    }
    *to = 0;
    bytes->size = (size_t)(to - (char *)bytes->data);
}

rg_code rg_canvas_close(rg_canvas *canvas, rg_bytes *out, rg_error *err)
{
    cairo_status_t status = cairo_status(canvas->cr);
    cairo_destroy(canvas->cr);
    if (status == CAIRO_STATUS_SUCCESS && canvas->format == RG_PICTURE_PNG)
        canvas->full = !rg_grey_png(canvas->surface, &canvas->bytes);
    cairo_surface_finish(canvas->surface);
    if (status == CAIRO_STATUS_SUCCESS)
        status = cairo_surface_status(canvas->surface);
    cairo_surface_destroy(canvas->surface);
    canvas->cr = NULL;
    canvas->surface = NULL;
    *out = (rg_bytes){0};
    if (status != CAIRO_STATUS_SUCCESS || canvas->full || !canvas->bytes.data) {
        free(canvas->bytes.data);
        return canvas->full ? rg_fail(err, RG_INTERNAL, "no memory for a picture's file")
                            : fail_status(status, err);
    }
    if (canvas->format == RG_PICTURE_SVG)
        renumber_svg(&canvas->bytes);
    *out = canvas->bytes;
    return RG_OK;
}

/* ------------------------------------------------------------------ text */

/* XML 1.0 has no place for the code points that are no characters. */
size_t rg_draw_character(const char *text)
{
    const unsigned char *p = (const unsigned char *)text;
    size_t n = rg_utf8_length(text, 4);
    unsigned long value = n == 3   ? (p[0] & 0x0FUL) << 12 | (p[1] & 0x3FUL) << 6 | (p[2] & 0x3FUL)
                          : n == 4 ? (p[1] & 0x3FUL) << 12 | (p[2] & 0x3FUL) << 6 | (p[3] & 0x3FUL)
                                   : 0;
    bool none = (value >= 0xFDD0 && value <= 0xFDEF && n == 3) || (value & 0xFFFE) == 0xFFFE;
    return none ? 0 : n;
}

void rg_draw_clean(char to[RG_DRAW_TEXT], const char *from)
{
    const unsigned char *p = (const unsigned char *)(from ? from : "");
    size_t used = 0;
    while (*p) {
        size_t n = rg_draw_character((const char *)p);
        if (used + (n ? n : 1) >= RG_DRAW_TEXT)
            break;
        if (n > 1)
            memcpy(to + used, p, n);
        else
            to[used] = n == 0 ? '?' : (char)(*p < ' ' || *p == 127 ? ' ' : *p);
        used += n ? n : 1;
        p += n ? n : 1;
    }
    to[used] = 0;
}

const char *rg_draw_name(const char *name, const char *otherwise)
{
    return name && *name ? name : otherwise;
}

void rg_grey(cairo_t *cr, double tone)
{
    cairo_set_source_rgb(cr, tone, tone, tone);
}

void rg_font(cairo_t *cr, double size, bool bold)
{
    cairo_select_font_face(cr, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                           bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(cr, size);
}

double rg_text_width(cairo_t *cr, const char *text)
{
    cairo_text_extents_t e;
    cairo_text_extents(cr, text, &e);
    return e.x_advance;
}

/* Drops characters from the end until the text and an ellipsis fit. */
static void shorten(cairo_t *cr, char text[RG_DRAW_TEXT], double max_width)
{
    static const char dots[] = "...";
    size_t n = strlen(text);
    if (max_width <= 0 || rg_text_width(cr, text) <= max_width)
        return;
    if (n > RG_DRAW_TEXT - sizeof dots)
        n = RG_DRAW_TEXT - sizeof dots;
    do {
        do {
            n -= n > 0;
        } while (n > 0 && ((unsigned char)text[n] & 0xC0) == 0x80);
        memcpy(text + n, dots, sizeof dots);
    } while (n > 0 && rg_text_width(cr, text) > max_width);
}

void rg_draw_shorten(cairo_t *cr, char to[RG_DRAW_TEXT], const char *from, double max_width)
{
    rg_draw_clean(to, from);
    shorten(cr, to, max_width);
}

void rg_text(cairo_t *cr, double x, double y, double anchor, double max_width, const char *text)
{
    char clean[RG_DRAW_TEXT];
    rg_draw_shorten(cr, clean, text, max_width);
    double shift = anchor > 0 ? anchor * rg_text_width(cr, clean) : 0;
    cairo_move_to(cr, x - shift, y);
    cairo_show_text(cr, clean);
    cairo_new_path(cr);
}

void rg_text_halo(cairo_t *cr, double x, double y, double anchor, const char *text)
{
    char clean[RG_DRAW_TEXT];
    rg_draw_clean(clean, text);
    cairo_save(cr);
    rg_grey(cr, 1);
    cairo_move_to(cr, x - anchor * rg_text_width(cr, clean), y);
    cairo_text_path(cr, clean);
    cairo_set_line_width(cr, 6);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_stroke(cr);
    cairo_restore(cr);
    rg_text(cr, x, y, anchor, 0, clean);
}

size_t rg_text_line(cairo_t *cr, const char *text, double max_width)
{
    char part[RG_DRAW_TEXT];
    size_t fits = 0, blank = 0, n = 0;
    while (text[n]) {
        size_t step = rg_draw_character(text + n);
        n += step ? step : 1;
        memcpy(part, text, n);
        part[n] = 0;
        if (rg_text_width(cr, part) > max_width && fits > 0)
            return blank > 0 ? blank : fits;
        fits = n;
        if (text[n] == ' ')
            blank = n;
    }
    return n;
}

int rg_text_wrap(cairo_t *cr, double x, double y, double max_width, double line_height,
                 int max_lines, bool draw, const char *text)
{
    char clean[RG_DRAW_TEXT], line[RG_DRAW_TEXT];
    const char *rest = clean;
    int lines = 0;
    rg_draw_clean(clean, text);
    while (*rest && lines < max_lines) {
        size_t n = rg_text_line(cr, rest, max_width);
        bool last = lines == max_lines - 1;
        memcpy(line, rest, n);
        line[n] = 0;
        if (draw)
            rg_text(cr, x, y + lines * line_height, 0, max_width, last ? rest : line);
        for (rest += n; *rest == ' ';)
            rest++;
        lines++;
    }
    return lines;
}

/* -------------------------------------------------------------- patterns */

/* Lines at 45 degrees through the clip; sign +1 rises to the right. */
static void slanted(cairo_t *cr, const double box[4], double spacing, double sign)
{
    double height = box[3] - box[1];
    double low = sign > 0 ? box[0] + box[1] : box[0] - box[3];
    double high = sign > 0 ? box[2] + box[3] : box[2] - box[1];
    for (double c = floor(low / spacing) * spacing; c <= high; c += spacing) {
        double x = sign > 0 ? c - box[1] : c + box[1];
        cairo_move_to(cr, x, box[1]);
        cairo_line_to(cr, x - sign * height, box[3]);
    }
}

static void upright(cairo_t *cr, const double box[4], double spacing)
{
    for (double x = floor(box[0] / spacing) * spacing; x <= box[2]; x += spacing) {
        cairo_move_to(cr, x, box[1]);
        cairo_line_to(cr, x, box[3]);
    }
}

void rg_fill_pattern(cairo_t *cr, rg_pattern pattern, double spacing)
{
    double box[4];
    cairo_save(cr);
    cairo_clip(cr);
    cairo_clip_extents(cr, &box[0], &box[1], &box[2], &box[3]);
    if (box[2] > box[0] && box[3] > box[1]) {
        if (pattern == RG_PATTERN_BARS)
            upright(cr, box, spacing);
        else
            slanted(cr, box, spacing, 1);
        if (pattern == RG_PATTERN_CROSS)
            slanted(cr, box, spacing, -1);
        cairo_stroke(cr);
    }
    cairo_restore(cr);
    cairo_new_path(cr);
}

void rg_stroke_cased(cairo_t *cr, double width)
{
    cairo_set_line_width(cr, width + 2.4);
    rg_grey(cr, 0);
    cairo_stroke_preserve(cr);
    cairo_set_line_width(cr, width);
    rg_grey(cr, 1);
    cairo_stroke(cr);
}

/*
 * draw_lesson.c - what the lesson sheets share (draw_lesson_private.h). Lengths are mm of the page. As with
 * the set-up sheet, all pages are drawn each time, those that are not asked for under a clip that lets
 * nothing through.
 */
#include <cairo-pdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_lesson_private.h"
#include "rimglow/vec.h"

static const double margin = 16, head_y = 14, first_y = 30, foot = 18;
static const double text_size = 3.45, text_step = 4.75, small_size = 2.75;
static const double px_per_mm = RG_LESSON_WIDTH / 210.0;

enum { ALL_PAGES = -1 };

/* ---------------------------------------------------------------- pages */

static void rule(const rg_leaf *p, double y, double width)
{
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, width);
    cairo_move_to(p->cr, p->left, y);
    cairo_line_to(p->cr, p->right, y);
    cairo_stroke(p->cr);
}

static void page_head(const rg_leaf *p)
{
    char text[RG_DRAW_TEXT];
    rg_grey(p->cr, 0);
    rg_font(p->cr, 3, false);
    snprintf(text, sizeof text, "Lesson %d of 6%s", p->number, p->page > 0 ? ", continued" : "");
    rg_text(p->cr, p->left, head_y, 0, 80, text);
    rg_text(p->cr, p->right, head_y, 1, 70, p->head->software);
    rg_font(p->cr, 6.6, true);
    rg_text(p->cr, p->left, head_y + 8.2, 0, p->right - p->left, p->title);
    rule(p, head_y + 11, 0.4);
}

static void page_foot(const rg_leaf *p)
{
    char text[RG_DRAW_TEXT];
    double y = p->bottom + 3;
    rule(p, y, 0.2);
    rg_font(p->cr, small_size, false);
    snprintf(text, sizeof text,
             "Pictures are drawn by the program, no photographs (seed %lld). Pad %.60s of %.80s.",
             p->head->seed, rg_draw_name(p->head->pad, "?"),
             rg_draw_name(p->head->instrument, "an invented instrument"));
    rg_text(p->cr, p->left, y + 4, 0, p->right - p->left - 28, text);
    snprintf(text, sizeof text, "page %d of %d", p->page + 1, p->pages);
    rg_text(p->cr, p->right, y + 4, 1, 26, text);
    rg_text(
        p->cr, p->left, y + 7.8, 0, p->right - p->left,
        "For training only. The maker's instructions, local rules and an experienced technician "
        "come first.");
}

static void open_page(rg_leaf *p)
{
    cairo_save(p->cr);
    if (p->wanted != ALL_PAGES && p->wanted != p->page) {
        cairo_rectangle(p->cr, 0, 0, 0, 0);
        cairo_clip(p->cr);
    }
    page_head(p);
    p->y = first_y;
}

static void close_page(const rg_leaf *p)
{
    page_foot(p);
    cairo_restore(p->cr);
}

void rg_leaf_break(rg_leaf *p)
{
    close_page(p);
    if (p->wanted == ALL_PAGES)
        rg_canvas_next_page(p->canvas);
    p->page++;
    open_page(p);
}

void rg_leaf_room(rg_leaf *p, double height)
{
    if (p->y + height > p->bottom && p->y > first_y)
        rg_leaf_break(p);
}

/* ---------------------------------------------------------------- texts */

double rg_leaf_column(rg_leaf *p, double x, double y, double width, double size, bool bold,
                      const char *text)
{
    enum { LINES = 40 };
    double step = size * text_step / text_size;
    rg_grey(p->cr, 0);
    rg_font(p->cr, size, bold);
    return y + step * rg_text_wrap(p->cr, x, y, width, step, LINES, true, text);
}

double rg_leaf_lines(rg_leaf *p, double x, double y, double width, double size, int lines,
                     const char *text)
{
    double step = size * text_step / text_size;
    rg_grey(p->cr, 0);
    rg_font(p->cr, size, false);
    return y + step * rg_text_wrap(p->cr, x, y, width, step, lines, true, text);
}

static double height_of(const rg_leaf *p, double width, double size, const char *text)
{
    rg_font(p->cr, size, false);
    return size * text_step / text_size * rg_text_wrap(p->cr, 0, 0, width, 1, 40, false, text);
}

void rg_leaf_heading(rg_leaf *p, const char *text, double follow)
{
    rg_leaf_room(p, 9 + follow);
    p->y += 2.2;
    p->y = rg_leaf_column(p, p->left, p->y + 3.8, p->right - p->left, 4.2, true, text) - 2.6;
}

void rg_leaf_text(rg_leaf *p, const char *text)
{
    double width = p->right - p->left;
    rg_leaf_room(p, height_of(p, width, text_size, text));
    p->y = rg_leaf_column(p, p->left, p->y + 3.6, width, text_size, false, text) - 2.2;
}

void rg_leaf_points(rg_leaf *p, const char *const *text, int count)
{
    double width = p->right - p->left - 5;
    for (int i = 0; i < count; i++) {
        rg_leaf_room(p, height_of(p, width, text_size, text[i]));
        rg_grey(p->cr, 0);
        rg_font(p->cr, text_size, true);
        rg_text(p->cr, p->left + 1, p->y + 3.6, 0, 0, "\u2022");
        p->y = rg_leaf_column(p, p->left + 5, p->y + 3.6, width, text_size, false, text[i]) - 3.2;
    }
    p->y += 1;
}

void rg_leaf_source(rg_leaf *p, const char *text)
{
    double width = p->right - p->left;
    rg_leaf_room(p, height_of(p, width, small_size, text));
    p->y = rg_leaf_column(p, p->left, p->y + 3, width, small_size, false, text) - 1.8;
}

static void warning_sign(cairo_t *cr, double x, double y, double size)
{
    cairo_move_to(cr, x, y - 0.55 * size);
    cairo_line_to(cr, x + 0.6 * size, y + 0.5 * size);
    cairo_line_to(cr, x - 0.6 * size, y + 0.5 * size);
    cairo_close_path(cr);
    rg_grey(cr, 0);
    cairo_set_line_join(cr, CAIRO_LINE_JOIN_ROUND);
    cairo_set_line_width(cr, 0.09 * size);
    cairo_stroke(cr);
    rg_font(cr, 0.7 * size, true);
    rg_text(cr, x, y + 0.38 * size, 0.5, 0, "!");
}

void rg_leaf_caution(rg_leaf *p, const char *title, const char *const *text, int count)
{
    const double x = p->left + 19, width = p->right - x - 4;
    double height = 9.5;
    for (int i = 0; i < count; i++)
        height += height_of(p, width - 4, text_size, text[i]) + 0.6;
    rg_leaf_room(p, height + 3);
    p->y += 1.5;
    double y = p->y + 5.6;
    cairo_rectangle(p->cr, p->left, p->y, p->right - p->left, height);
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 0.7);
    cairo_stroke(p->cr);
    warning_sign(p->cr, p->left + 9.5, p->y + height / 2, fmin(11, height - 4));
    y = rg_leaf_column(p, x, y, width, 3.8, true, title);
    for (int i = 0; i < count; i++) {
        rg_text(p->cr, x, y, 0, 0, "\u2022");
        y = rg_leaf_column(p, x + 4, y, width - 4, text_size, false, text[i]) + 0.6;
    }
    p->y += height + 1.5;
}

/* ---------------------------------------------------------------- pictures */

static cairo_surface_t *surface_of(const rg_lesson_picture *m)
{
    cairo_surface_t *s = cairo_image_surface_create(CAIRO_FORMAT_RGB24, m->width, m->height);
    unsigned char *data = cairo_image_surface_get_data(s);
    size_t stride = (size_t)cairo_image_surface_get_stride(s);
    for (int y = 0; data && y < m->height; y++)
        for (int x = 0; x < m->width; x++) {
            uint32_t tone = 0x10101u * m->grey[(size_t)y * (size_t)m->width + (size_t)x];
            memcpy(data + (size_t)y * stride + 4 * (size_t)x, &tone, sizeof tone);
        }
    if (data)
        cairo_surface_mark_dirty(s);
    return s;
}

static void paint(rg_leaf *p, double x, double y, double scale, const rg_lesson_picture *m)
{
    cairo_surface_t *s = surface_of(m);
    if (cairo_surface_get_type(cairo_get_target(p->cr)) == CAIRO_SURFACE_TYPE_SVG)
        rg_attach_png(s);
    cairo_save(p->cr);
    cairo_translate(p->cr, x, y);
    cairo_scale(p->cr, scale, scale);
    cairo_set_source_surface(p->cr, s, 0, 0);
    cairo_rectangle(p->cr, 0, 0, m->width, m->height);
    cairo_fill(p->cr);
    cairo_restore(p->cr);
    cairo_surface_destroy(s);
}

double rg_leaf_picture(rg_leaf *p, double x, double y, double width, const rg_lesson_picture *m)
{
    bool there = m->grey && m->width > 0 && m->height > 0;
    double height = there ? width * m->height / m->width : width / 2;
    if (there)
        paint(p, x, y, width / m->width, m);
    cairo_rectangle(p->cr, x, y, width, height);
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 0.2);
    cairo_stroke(p->cr);
    if (!there) {
        cairo_move_to(p->cr, x, y);
        cairo_line_to(p->cr, x + width, y + height);
        cairo_move_to(p->cr, x, y + height);
        cairo_line_to(p->cr, x + width, y);
        cairo_stroke(p->cr);
    }
    return height;
}

double rg_leaf_ticks(rg_leaf *p, double x, double y, double width, const rg_lesson_picture *m)
{
    char text[16];
    double scale = width / m->width, last = -INFINITY, nearest = rint(m->bearing_deg / 10) * 10;
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 0.2);
    rg_font(p->cr, 2.4, false);
    for (int i = 0; i < RG_LESSON_TICKS; i++) {
        double at = x + (m->tick_px[i] + 0.5) * scale;
        int bearing =
            (int)lround(rg_wrap_degrees(nearest + 10.0 * (i - RG_LESSON_TICKS / 2))) % 360;
        if (!(at >= x && at <= x + width))
            continue;
        cairo_move_to(p->cr, at, y);
        cairo_line_to(p->cr, at, y + 1.2);
        cairo_stroke(p->cr);
        snprintf(text, sizeof text, "%d\u00b0", bearing);
        if (fabs(at - last) < 7.5 || at < x + 3 || at > x + width - 3)
            continue;
        rg_text(p->cr, at, y + 3.6, 0.5, 0, text);
        last = at;
    }
    return 4.4;
}

void rg_leaf_ring(rg_leaf *p, double x, double y, double size, const rg_lesson_result *result)
{
    const rg_draw_ring_args args = {.map = result->map,
                                    .tolerance_mm = p->head->tolerance_mm,
                                    .coverage_factor = p->head->coverage_factor};
    rg_ring_small(p->cr, &args, x, y, size);
    rg_grey(p->cr, 0);
}

/* ---------------------------------------------------------------- words */

const char *rg_leaf_reason(const rg_seal_map *map)
{
    return map->reasons > 0 ? map->reason[0] : "";
}

double rg_leaf_depth(const rg_lesson_head *head, bool above)
{
    return head->land_mm + (above ? head->overhang_mm : 0);
}

double rg_leaf_hides_deg(const rg_lesson_head *head, double width_mm, bool above)
{
    return rg_degrees(atan2(width_mm, rg_leaf_depth(head, above)));
}

void rg_leaf_signs(char text[RG_DRAW_TEXT])
{
    static const char minus[] = "\u2212";
    char kept[RG_DRAW_TEXT];
    size_t n = 0;
    memcpy(kept, text, RG_DRAW_TEXT);
    kept[RG_DRAW_TEXT - 1] = 0;
    for (const char *at = kept; *at && n + sizeof minus < RG_DRAW_TEXT;) {
        bool number = at[0] == '-' && at[1] >= '0' && at[1] <= '9' && (at == kept || at[-1] == ' ');
        const char *sign = at[0] == '+' && at[1] == '-' ? "\u00b1" : number ? minus : NULL;
        if (!sign) {
            text[n++] = *at++;
            continue;
        }
        memcpy(text + n, sign, strlen(sign));
        n += strlen(sign);
        at += number ? 1 : 2;
    }
    text[n] = 0;
}

/* ---------------------------------------------------------------- sheet */

static rg_code check(const rg_lesson_head *h, rg_error *err)
{
    const rg_draw_ring_args ring = {.tolerance_mm = h->tolerance_mm,
                                    .coverage_factor = h->coverage_factor};
    if (!(h->distance_mm > 0 && h->distance_mm < 1e6))
        return rg_fail(err, RG_BAD_DATA, "lesson: distance %g mm; give a value above 0",
                       h->distance_mm);
    if (!(h->land_mm >= 0 && h->overhang_mm >= 0 && h->land_mm + h->overhang_mm < 1e3))
        return rg_fail(err, RG_BAD_DATA,
                       "lesson: land %g mm and overhang %g mm; give values of 0 or more",
                       h->land_mm, h->overhang_mm);
    return rg_ring_check(&ring, err);
}

static rg_code draw(rg_leaf *p, rg_leaf_body *body, const void *lesson, rg_picture_format format,
                    rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    char clean[RG_DRAW_TEXT];
    double width, height;
    rg_paper_size(p->head->paper, &width, &height);
    rg_code code =
        rg_canvas_open(&canvas, format, rint(width * px_per_mm), rint(height * px_per_mm), err);
    if (code != RG_OK)
        return code;
    p->cr = canvas.cr;
    /* cppcheck-suppress autoVariables ; set anew by each drawing, used in none other */
    p->canvas = &canvas;
    p->page = 0;
    p->left = margin;
    p->right = width - margin;
    p->bottom = height - foot;
    if (format == RG_PICTURE_PDF) {
        rg_draw_clean(clean, p->title);
        cairo_pdf_surface_set_metadata(canvas.surface, CAIRO_PDF_METADATA_TITLE, clean);
        rg_draw_clean(clean, p->head->software);
        cairo_pdf_surface_set_metadata(canvas.surface, CAIRO_PDF_METADATA_CREATOR, clean);
    }
    cairo_scale(p->cr, px_per_mm, px_per_mm);
    open_page(p);
    body(p, lesson);
    close_page(p);
    p->pages = p->page + 1;
    return rg_canvas_close(&canvas, out, err);
}

rg_code rg_leaf_draw(const rg_lesson_head *head, int number, const char *title, rg_leaf_body *body,
                     const void *lesson, rg_picture_format format, int page, int *pages,
                     rg_bytes *out, rg_error *err)
{
    rg_leaf p = {.head = head, .number = number, .title = title, .wanted = ALL_PAGES};
    *out = (rg_bytes){0};
    rg_code code = check(head, err);
    if (code == RG_OK)
        code = draw(&p, body, lesson, RG_PICTURE_PDF, out, err);
    if (code != RG_OK)
        return code;
    free(out->data);
    *out = (rg_bytes){0};
    if (pages)
        *pages = p.pages;
    if (format == RG_PICTURE_PDF)
        return draw(&p, body, lesson, format, out, err);
    if (page < 0 || page >= p.pages)
        return rg_fail(err, RG_BAD_DATA, "lesson %d has %d pages, there is no page %d", number,
                       p.pages, page + 1);
    p.wanted = page;
    return draw(&p, body, lesson, format, out, err);
}

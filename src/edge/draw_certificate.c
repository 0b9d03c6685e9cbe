/*
 * draw_certificate.c - the certificate as PDF: A4 pages in mm, drawn twice. The first drawing only
 * counts, so that each foot can say of how many pages it is one, and page 1 where
 * the lists stand that it has no room for.
 */
#include <cairo-pdf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_certificate_pages.h"

/* ------------------------------------------------------------------ text */

const char *rg_cert_line(cairo_t *cr, const char *text, double room, bool last,
                         char line[RG_DRAW_TEXT])
{
    rg_draw_clean(line, text);
    size_t n = rg_text_line(cr, line, room), newline = strcspn(text, "\n");
    n = newline < n ? newline : n;
    if (!last)
        line[n] = 0;
    for (text += n; *text == ' ';)
        text++;
    return text + (*text == '\n');
}

int rg_cert_wrap(cairo_t *cr, double x, double y, double room, double step, int most, bool draw,
                 const char *text)
{
    char line[RG_DRAW_TEXT];
    int lines = 0;
    for (; *text && lines < most; lines++) {
        text = rg_cert_line(cr, text, room, lines == most - 1, line);
        if (draw)
            rg_text(cr, x, y + lines * step, 0, room, line);
    }
    return lines;
}

void rg_cert_heading_line(cairo_t *cr, double x, double y, const char *text)
{
    rg_grey(cr, 0);
    rg_font(cr, 3.6, true);
    rg_text(cr, x, y, 0, 0, text);
}

void rg_cert_verdict_box(cairo_t *cr, rg_verdict verdict, double x, double y, double width,
                         double height)
{
    static const double dash[] = {0.10, 0.06}; /* of the height */
    double dashes[] = {dash[0] * height, dash[1] * height};
    cairo_rectangle(cr, x, y, width, height);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 0.05 * height);
    if (verdict == RG_VERDICT_LEAKING)
        cairo_fill_preserve(cr);
    if (verdict == RG_VERDICT_UNDECIDED)
        cairo_set_dash(cr, dashes, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_grey(cr, verdict == RG_VERDICT_LEAKING ? 1 : 0);
    cairo_save(cr);
    cairo_translate(cr, x + 0.55 * height, y + height / 2);
    cairo_scale(cr, height / 128, height / 128);
    rg_verdict_mark(cr, verdict, 0, 0);
    cairo_restore(cr);
    rg_font(cr, 0.52 * height, true);
    rg_text(cr, x + 1.12 * height, y + 0.69 * height, 0, width - 1.2 * height,
            rg_cert_word(verdict));
    rg_grey(cr, 0);
}

/* ----------------------------------------------------------------- pages */

static void foot_line(const rg_cert_pages *p)
{
    cairo_set_line_width(p->cr, 0.2);
    rg_grey(p->cr, 0);
    cairo_move_to(p->cr, RG_CERT_LEFT, RG_CERT_BOTTOM + 2.5);
    cairo_line_to(p->cr, RG_CERT_RIGHT, RG_CERT_BOTTOM + 2.5);
    cairo_stroke(p->cr);
}

void rg_cert_foot(const rg_cert_pages *p)
{
    rg_cert_text text;
    char number[64], digest[160];
    foot_line(p);
    rg_cert_heading(p->c, text);
    rg_font(p->cr, 2.8, false);
    rg_text(p->cr, RG_CERT_LEFT, RG_CERT_BOTTOM + 6.5, 0, 100, text);
    rg_text(p->cr, RG_CERT_LEFT + 104, RG_CERT_BOTTOM + 6.5, 0, 46, rg_draw_name(p->c->time, ""));
    snprintf(number, sizeof number, "page %d of %d", p->page, p->pages);
    rg_text(p->cr, RG_CERT_RIGHT, RG_CERT_BOTTOM + 6.5, 1, 40, number);
    snprintf(digest, sizeof digest, "manifest sha256 %.100s", rg_draw_name(p->c->manifest, "none"));
    cairo_select_font_face(p->cr, "monospace", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(p->cr, 2.6);
    rg_text(p->cr, RG_CERT_LEFT, RG_CERT_BOTTOM + 10.5, 0, RG_CERT_ROOM, digest);
}

/* A page of a bag that failed its check must not pass for evidence on its own. */
static double page_banner(const rg_cert_pages *p)
{
    char text[128];
    if (p->c->check_passed)
        return 14;
    rg_grey(p->cr, 0);
    cairo_rectangle(p->cr, RG_CERT_LEFT, 12, RG_CERT_ROOM, 10);
    cairo_fill(p->cr);
    rg_grey(p->cr, 1);
    rg_font(p->cr, 5.6, true);
    snprintf(text, sizeof text, "%s: see page 1", rg_cert_failed_word);
    rg_text(p->cr, RG_CERT_WIDTH / 2, 19, 0.5, RG_CERT_ROOM - 6, text);
    rg_grey(p->cr, 0);
    return 26;
}

double rg_cert_next_page(rg_cert_pages *p)
{
    rg_cert_foot(p);
    rg_canvas_next_page(p->canvas);
    p->page++;
    return page_banner(p);
}

static void set_metadata(cairo_surface_t *surface, const rg_certificate *c)
{
    char clean[RG_DRAW_TEXT];
    rg_cert_text text;
    rg_cert_heading(c, text);
    size_t n = strlen(text);
    snprintf(text + n, sizeof text - n, ": %s",
             c->check_passed ? rg_verdict_name(c->verdict) : "evidence does not check");
    rg_draw_clean(clean, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, clean);
    rg_draw_clean(clean, c->technician);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_AUTHOR, clean);
    rg_draw_clean(clean, c->software);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, clean);
    snprintf(text, sizeof text, "How the pads sealed to light; bag %.200s",
             rg_draw_name(c->bag, "?"));
    rg_draw_clean(clean, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_SUBJECT, clean);
}

/* counted: the drawing before, whose numbers of pages this one writes. */
static rg_code draw(const rg_certificate *c, rg_cert_pages *counted, rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    rg_code code =
        rg_canvas_open_paper(&canvas, RG_PICTURE_PDF, RG_CERT_WIDTH, RG_CERT_HEIGHT, err);
    if (code != RG_OK)
        return code;
    rg_cert_pages p = {.cr = canvas.cr,
                       .canvas = &canvas,
                       .c = c,
                       .page = 1,
                       .pages = counted->page,
                       .record_page = counted->record_page};
    set_metadata(canvas.surface, c);
    rg_cert_first_page(&p);
    if (c->pads > 0)
        rg_cert_rows(&p);
    rg_cert_record(&p);
    rg_cert_foot(&p);
    counted->page = p.page;
    counted->record_page = p.record_page;
    return rg_canvas_close(&canvas, out, err);
}

rg_code rg_certificate_pdf(const rg_certificate *certificate, rg_bytes *out, rg_error *err)
{
    rg_cert_pages counted = {.page = 0};
    *out = (rg_bytes){0};
    rg_code code = rg_cert_check(certificate, err);
    if (code == RG_OK)
        code = draw(certificate, &counted, out, err);
    if (code != RG_OK)
        return code;
    free(out->data);
    return draw(certificate, &counted, out, err);
}

/*
 * draw_certificate_rows.c - pages 2 and after: a row for each pad, its ring map and its figures,
 * then the record in full.
 */
#include <stdio.h>
#include <string.h>

#include "draw_certificate_pages.h"

static const double row_height = 62, ring_size = 53;
static const double label_x = RG_CERT_LEFT + 57, value_x = RG_CERT_LEFT + 82;
static const double text_size = 2.8, line_step = 3.75;

typedef struct row {
    cairo_t *cr;
    const rg_certificate_pad *pad;
    double y, bottom; /* next baseline, last baseline */
} row;

static int lines_left(const row *r)
{
    double lines = (r->bottom - r->y) / line_step + 1.001;
    return lines > 0 ? (int)lines : 0;
}

static void field(row *r, const char *label, int most, const char *text)
{
    int left = lines_left(r);
    most = most < left ? most : left;
    if (most < 1)
        return;
    rg_font(r->cr, text_size, true);
    rg_text(r->cr, label_x, r->y, 0, value_x - label_x - 1, label);
    rg_font(r->cr, text_size, false);
    int lines =
        rg_cert_wrap(r->cr, value_x, r->y, RG_CERT_RIGHT - value_x, line_step, most, true, text);
    r->y += line_step * (lines > 0 ? lines : 1);
}

/* The widest first, as many as there is room for. */
static void arcs(row *r)
{
    const rg_seal_map *map = r->pad->map;
    const rg_arc *order[RG_ARCS_MAX];
    rg_cert_text text;
    char more[64];
    rg_cert_arcs(map, order);
    int room = lines_left(r) - (map->reasons > 0 ? 2 : 0), shown = map->arcs;
    if (shown * 2 > room)
        shown = room > 3 ? (room - 1) / 2 : 1;
    for (int i = 0; i < map->arcs && i < shown; i++) {
        rg_cert_arc(r->pad, order[i], text);
        field(r, i ? "" : "open arcs", 2, text);
    }
    if (map->arcs > shown) {
        snprintf(more, sizeof more, "+ %d more arcs in seal-map.json", map->arcs - shown);
        field(r, "", 1, more);
    }
}

static void reasons(row *r)
{
    const rg_seal_map *map = r->pad->map;
    char more[64];
    rg_cert_text signs;
    for (int i = 0; i < map->reasons; i++) {
        int left = lines_left(r), others = map->reasons - 1 - i;
        if (left < 2 && others > 0) {
            snprintf(more, sizeof more, "+ %d more reasons in seal-map.json", map->reasons - i);
            field(r, i ? "" : "why", 1, more);
            return;
        }
        int most = left - others < 1 ? 1 : left - others;
        field(r, i ? "" : "why", most, rg_cert_signs(map->reason[i], signs));
    }
}

static void figures(row *r)
{
    rg_cert_facts facts;
    rg_cert_text text;
    rg_cert_find(r->pad, &facts);
    rg_cert_widest(r->pad, &facts, text);
    field(r, "widest gap", 1, text);
    rg_cert_limit(&facts, text);
    field(r, "detection limit", 1, text);
    rg_cert_seen(r->pad, &facts, text);
    field(r, "seen", 1, text);
    rg_cert_unseen(&facts, 24, text);
    field(r, "unseen", 2, text);
    rg_cert_conditions(r->pad, text);
    field(r, "tolerance", 1, text);
    rg_cert_station(r->pad, text);
    field(r, "station", 2, text);
    arcs(r);
    reasons(r);
}

static void draw_row(const rg_cert_pages *p, int i, double top)
{
    char text[96];
    cairo_t *cr = p->cr;
    const rg_certificate_pad *pad = &p->c->pad[i];
    rg_draw_ring_args ring = rg_cert_ring(p->c, i);
    cairo_set_line_width(cr, 0.3);
    rg_grey(cr, 0);
    cairo_move_to(cr, RG_CERT_LEFT, top);
    cairo_line_to(cr, RG_CERT_RIGHT, top);
    cairo_stroke(cr);
    double end_mm = rg_ring_small(cr, &ring, RG_CERT_LEFT, top + 1, ring_size);
    rg_grey(cr, 0);
    rg_font(cr, 2.5, false);
    snprintf(text, sizeof text, "outer %.4g mm, dashed %.4g mm", end_mm, pad->tolerance_mm);
    rg_text(cr, RG_CERT_LEFT + ring_size / 2, top + ring_size + 4.5, 0.5, ring_size, text);
    rg_font(cr, 5, true);
    rg_text(cr, label_x, top + 7.5, 0, 74, rg_draw_name(pad->pad, "(no name)"));
    rg_cert_verdict_box(cr, pad->map->verdict, RG_CERT_RIGHT - 44, top + 1.8, 44, 7.6);
    row r = {cr, pad, top + 13.6, top + row_height - 1.5};
    figures(&r);
}

static double rows_head(const rg_cert_pages *p, double y)
{
    rg_cert_heading_line(p->cr, RG_CERT_LEFT, y + 1,
                         p->c->check_passed ? "Pads as measured"
                                            : "Pads as found in the archive, not confirmed");
    rg_font(p->cr, 2.6, false);
    int lines =
        rg_cert_wrap(p->cr, RG_CERT_LEFT, y + 5.5, RG_CERT_ROOM, 3.5, 4, true, rg_cert_legend);
    return y + 4.5 + 3.5 * lines;
}

void rg_cert_rows(rg_cert_pages *p)
{
    double y = 0;
    for (int i = 0; i < p->c->pads; i++) {
        if (i == 0 || y + row_height > RG_CERT_BOTTOM + 2)
            y = rows_head(p, rg_cert_next_page(p));
        draw_row(p, i, y);
        y += row_height;
    }
}

/* ---------------------------------------------------------------- record */

typedef struct record {
    rg_cert_pages *p;
    double y;
} record;

static void room_for(record *r, double height)
{
    if (r->y + height > RG_CERT_BOTTOM)
        r->y = rg_cert_next_page(r->p) + 2;
}

static void heading(record *r, const char *text)
{
    r->y += 2;
    room_for(r, 12);
    rg_cert_heading_line(r->p->cr, RG_CERT_LEFT, r->y, text);
    r->y += 5;
}

/* Label and text over as many lines, and pages, as it takes; not torn when it is short. */
static void item(record *r, const char *label, const char *text)
{
    const double x = RG_CERT_LEFT + 44, room = RG_CERT_RIGHT - x, step = 4.2;
    char line[RG_DRAW_TEXT];
    cairo_t *cr = r->p->cr;
    rg_font(cr, 3.1, false);
    room_for(r, (rg_cert_wrap(cr, x, 0, room, step, 8, false, text) - 1) * step);
    rg_font(cr, 3.1, true);
    rg_text(cr, RG_CERT_LEFT, r->y, 0, 42, label);
    do {
        room_for(r, 0);
        rg_font(cr, 3.1, false);
        text = rg_cert_line(cr, text, room, false, line);
        rg_text(cr, x, r->y, 0, room, line);
        r->y += step;
    } while (*text);
}

static void digest_item(record *r, const char *label, const char *digest)
{
    room_for(r, 0);
    rg_font(r->p->cr, 3.1, true);
    rg_text(r->p->cr, RG_CERT_LEFT, r->y, 0, 42, label);
    cairo_select_font_face(r->p->cr, "monospace", CAIRO_FONT_SLANT_NORMAL,
                           CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(r->p->cr, 3.1);
    rg_text(r->p->cr, RG_CERT_LEFT + 44, r->y, 0, RG_CERT_ROOM - 44, digest);
    r->y += 4.2;
}

static void evidence(record *r)
{
    const rg_certificate *c = r->p->c;
    heading(r, "Evidence");
    item(r, "bag", rg_draw_name(c->bag, "not stated"));
    item(r, "check", rg_draw_name(c->checked, "not checked"));
    item(r, "signature", rg_draw_name(c->signature, "unsigned"));
    digest_item(r, "manifest sha256", rg_draw_name(c->manifest, "none"));
    digest_item(r, "tag manifest sha256", rg_draw_name(c->tagmanifest, "none"));
    digest_item(r, "manifest before", rg_draw_name(c->previous, "none: the first of this serial"));
}

static void reasons_in_full(record *r)
{
    const rg_certificate *c = r->p->c;
    char number[32];
    rg_cert_text signs;
    if (c->reasons == 0)
        return;
    heading(r, c->check_passed ? "Reasons of the verdict"
                               : "Reasons as found in the archive, not confirmed");
    for (int i = 0; i < c->reasons; i++) {
        snprintf(number, sizeof number, "%d", i + 1);
        item(r, number, rg_cert_signs(rg_draw_name(c->reason[i], ""), signs));
    }
}

static void values_in_full(record *r)
{
    const rg_certificate *c = r->p->c;
    rg_cert_text text, with;
    if (c->values == 0)
        return;
    heading(r, "Set-up values (u: standard uncertainty)");
    for (int i = 0; i < c->values; i++) {
        const rg_certificate_value *v = &c->value[i];
        rg_cert_value(v, text);
        bool stated = v->with && *v->with;
        snprintf(with, sizeof with, "%.300s%s%.300s", text, stated ? ", with " : "",
                 stated ? v->with : "");
        item(r, rg_draw_name(v->quantity, "(no name)"), with);
    }
}

/* "A, B, C", in pieces that fit a text. */
static void not_swept_in_full(record *r)
{
    const rg_certificate *c = r->p->c;
    rg_cert_text text = "";
    char first[32];
    int from = 0;
    if (c->not_swept == 0)
        return;
    heading(r, "Pads of this model that were not measured");
    for (int i = 0; i < c->not_swept; i++) {
        size_t n = strlen(text);
        snprintf(text + n, sizeof text - n, "%.300s%s",
                 rg_draw_name(c->pad_not_swept[i], "(no name)"), i < c->not_swept - 1 ? ", " : "");
        if (i < c->not_swept - 1 && strlen(text) < sizeof text - 320)
            continue;
        snprintf(first, sizeof first, "%d to %d", from + 1, i + 1);
        item(r, first, text);
        text[0] = 0;
        from = i + 1;
    }
}

void rg_cert_record(rg_cert_pages *p)
{
    record r = {.p = p, .y = rg_cert_next_page(p) + 2};
    p->record_page = p->page;
    evidence(&r);
    if (p->c->note && *p->c->note) {
        heading(&r, "Note");
        item(&r, "note", p->c->note);
    }
    reasons_in_full(&r);
    not_swept_in_full(&r);
    values_in_full(&r);
}

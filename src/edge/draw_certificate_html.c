/*
 * draw_certificate_html.c - the certificate as one HTML file.
 *
 * The file asks for nothing from outside and runs nothing: a content security policy forbids both,
 * should a text ever get past the escaping. Every text goes through put_text, which leaves no
 * byte that could end an element or a quoted attribute (HTML 13.1.2), and stands in <bdi>,
 * so that right-to-left names do not turn the words around them. Ring maps are drawn by the
 * PDF's routine and embedded as data: URIs, where their ids cannot clash.
 */
#include <sodium.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_certificate_private.h"
#include "rimglow/memory.h"

enum { RING_PX = 352 };

typedef struct page {
    const rg_certificate *c;
    rg_bytes bytes;
    size_t room;
    bool full; /* memory ran out */
} page;

/* --------------------------------------------------------------- writing */

static void put_bytes(page *p, const char *from, size_t n)
{
    if (p->bytes.size + n + 1 > p->room) {
        size_t room = (p->bytes.size + n + 1) * 3 / 2 + 4096;
        uint8_t *grown = p->full ? NULL : rg_grow(p->bytes.data, room, 1);
        if (!grown) {
            p->full = true;
            return;
        }
        p->bytes.data = grown;
        p->room = room;
    }
    memcpy(p->bytes.data + p->bytes.size, from, n);
    p->bytes.size += n;
    p->bytes.data[p->bytes.size] = 0;
}

static void put(page *p, const char *markup)
{
    put_bytes(p, markup, strlen(markup));
}

static const char *entity(char c)
{
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    default:
        return NULL;
    }
}

/* A control character of C0 (but newline), DEL, or C1 as UTF-8. */
static bool is_control(const char *p, size_t n)
{
    unsigned char c = (unsigned char)p[0];
    return n == 1 ? (c < ' ' && c != '\n') || c == 127
                  : n == 2 && c == 0xC2 && (unsigned char)p[1] < 0xA0;
}

/* Any bytes as text: escaped, '?' for what is not UTF-8, blanks for control characters. */
static void put_text(page *p, const char *text)
{
    while (*text) {
        size_t n = rg_draw_character(text);
        const char *name = entity(*text);
        if (n == 0)
            put(p, "?");
        else if (name)
            put(p, name);
        else if (is_control(text, n))
            put(p, " ");
        else
            put_bytes(p, text, n);
        text += n ? n : 1;
    }
}

static void put_number(page *p, int value)
{
    char text[24];
    snprintf(text, sizeof text, "%d", value);
    put(p, text);
}

/* The element with a text inside. */
static void element(page *p, const char *open, const char *text, const char *close)
{
    put(p, open);
    put(p, "<bdi>");
    put_text(p, text);
    put(p, "</bdi>");
    put(p, close);
}

static void term(page *p, const char *label, const char *text)
{
    put(p, "<dt>");
    put(p, label);
    element(p, "</dt><dd>", text, "</dd>\n");
}

/* ------------------------------------------------------------------ head */

/* Text of #111 on white and the reverse has a contrast of 18.9:1 (WCAG 2.1, 1.4.6 asks for 7:1);
 * verdicts differ by frame, sign and word. A printer may leave backgrounds out, so white letters
 * are for the screen only. */
static const char style[] =
    "<style>\n"
    ":root{color-scheme:light}\n"
    "*{box-sizing:border-box}\n"
    "body{margin:0 auto;padding:1rem;max-width:60rem;background:#fff;color:#111;"
    "font:1rem/1.45 sans-serif;overflow-wrap:anywhere}\n"
    "h1{font-size:2rem;line-height:1.15;margin:.2rem 0 .8rem}\n"
    "h2{font-size:1.25rem;margin:1.8rem 0 .5rem}\n"
    "h3{font-size:1.15rem;margin:0 0 .5rem;display:flex;flex-wrap:wrap;gap:.4rem .9rem;"
    "align-items:center}\n"
    "p{margin:.5rem 0}\n"
    ".verdict{font-size:2.2rem;font-weight:bold;padding:.6rem 1rem;margin:.8rem 0;"
    "border:.35rem solid #111}\n"
    ".small{font-size:1rem;font-weight:bold;padding:.1rem .6rem;border:.15rem solid #111}\n"
    ".leaking{background:#111;color:#fff}\n"
    ".undecided{border-style:dashed}\n"
    ".failed{font-size:3.2rem;line-height:1.05;font-weight:bold;background:#111;color:#fff;"
    "padding:1rem;margin:.8rem 0}\n"
    "dl{display:grid;grid-template-columns:minmax(7rem,max-content) 1fr;gap:.15rem "
    "1rem;margin:.5rem 0}\n"
    "dt{grid-column:1;font-weight:bold}dd{grid-column:2;margin:0}\n"
    ".scroll{overflow-x:auto}\n"
    "table{border-collapse:collapse;width:100%}\n"
    "caption{text-align:left;font-weight:bold;padding:.3rem 0}\n"
    "th,td{text-align:left;vertical-align:top;padding:.25rem .7rem .25rem 0;"
    "border-bottom:1px solid #777;overflow-wrap:normal}\n"
    "tbody th{overflow-wrap:anywhere;min-width:5rem}\n"
    "article{border-top:2px solid #111;padding:1rem 0;display:grid;"
    "grid-template-columns:20rem 1fr;gap:0 1.5rem}\n"
    "article h3{grid-column:1/-1}\n"
    "figure{margin:0}figcaption{font-size:.9rem;text-align:center}\n"
    "img{display:block;width:100%;max-width:22rem;height:auto;margin:0 auto}\n"
    ".names{columns:12rem;padding-left:1.2rem}\n"
    ".note{white-space:pre-wrap}\n"
    "code{font-family:monospace;font-size:.95rem}\n"
    ".sign{display:grid;grid-template-columns:2fr 1fr;gap:2rem;margin:3.5rem 0 1rem}\n"
    ".sign p{border-top:1px solid #111;margin:0;padding-top:.2rem;font-size:.9rem}\n"
    "@media (max-width:44rem){article{grid-template-columns:1fr}"
    ".failed{font-size:2.2rem}.verdict{font-size:1.7rem}"
    "dl{grid-template-columns:1fr;gap:0}dd{grid-column:1;margin:0 0 .4rem}}\n"
    "@media print{@page{size:A4;margin:15mm}body{max-width:none;padding:0;font-size:10pt}"
    "article,tr,.verdict,.failed,.sign{break-inside:avoid}h2,h3{break-after:avoid}"
    ".leaking,.failed{background:#fff;color:#111;border:.35rem double #111}"
    ".scroll{overflow:visible}"
    "article{grid-template-columns:60mm 1fr}}\n"
    "</style>\n";

static void put_head(page *p)
{
    rg_cert_text title;
    rg_cert_heading(p->c, title);
    put(p, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
           "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src "
           "'unsafe-inline'; img-src data:\">\n"
           "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>");
    put_text(p, title);
    put(p, p->c->check_passed ? ": " : ": evidence does not check");
    put(p, p->c->check_passed ? rg_verdict_name(p->c->verdict) : "");
    put(p, "</title>\n");
    put(p, style);
    put(p, "</head>\n<body>\n");
}

static void put_whose(page *p)
{
    const rg_certificate *c = p->c;
    char number[40];
    snprintf(number, sizeof number, "%d of this serial", c->sequence);
    put(p, "<header>\n<p>How this instrument's pads seal to light: certificate</p>\n");
    element(p, "<h1>", rg_draw_name(c->serial, "(no serial)"), "</h1>\n");
    put(p, "<dl>\n");
    term(p, "Model", rg_draw_name(c->model, "not stated"));
    term(p, "Inspection", number);
    term(p, "Inspected", rg_draw_name(c->time, "not stated"));
    term(p, "Occasion", rg_draw_name(c->occasion, "not stated"));
    term(p, "Technician", rg_draw_name(c->technician, "not stated"));
    put(p, "</dl>\n</header>\n<main>\n");
}

/* --------------------------------------------------------------- verdict */

static void put_badge(page *p, rg_verdict verdict, const char *tag, const char *size)
{
    put(p, "<");
    put(p, tag);
    put(p, " class=\"");
    put(p, size);
    put(p, " ");
    put(p, rg_verdict_name(verdict));
    put(p, "\"><span aria-hidden=\"true\">");
    put(p, rg_cert_sign(verdict));
    put(p, "</span> ");
    put(p, rg_cert_word(verdict));
    put(p, "</");
    put(p, tag);
    put(p, ">\n");
}

static void put_reasons(page *p)
{
    rg_cert_text text;
    if (p->c->reasons == 0)
        return;
    put(p, "<ul>\n");
    for (int i = 0; i < p->c->reasons; i++)
        element(p, "<li>", rg_cert_signs(rg_draw_name(p->c->reason[i], ""), text), "</li>\n");
    put(p, "</ul>\n");
}

static void put_verdict(page *p)
{
    const rg_certificate *c = p->c;
    rg_cert_text text;
    put(p, "<section aria-labelledby=\"verdict\">\n<h2 id=\"verdict\">Verdict</h2>\n");
    if (c->check_passed) {
        put_badge(p, c->verdict, "p", "verdict");
        rg_cert_counts(c, text);
        element(p, "<p><strong>", text, "</strong></p>\n");
    } else {
        element(p, "<p class=\"failed\">", rg_cert_failed_word, "</p>\n");
    }
    element(p, "<p>", rg_draw_name(c->checked, "bag not checked"), "</p>\n");
    if (c->check_passed)
        put_reasons(p);
    put(p, "</section>\n");
}

static void put_meaning(page *p)
{
    rg_cert_text text;
    put(p, "<section aria-labelledby=\"words\">\n<h2 id=\"words\">In plain words</h2>\n");
    rg_cert_result(p->c, text);
    element(p, "<p>", text, "</p>\n");
    element(p, "<p>", rg_cert_method, "</p>\n");
    rg_cert_meaning(p->c, text);
    element(p, "<p>", text, "</p>\n");
    element(p, "<p><strong>Not proven:</strong> ", rg_cert_not_proven, "</p>\n</section>\n");
}

/* ---------------------------------------------------------------- tables */

static void pad_row(page *p, const rg_certificate_pad *pad)
{
    rg_cert_facts facts;
    rg_cert_text text;
    char tolerance[32];
    rg_cert_find(pad, &facts);
    element(p, "<tr><th scope=\"row\">", rg_draw_name(pad->pad, "(no name)"), "</th><td>");
    put(p, rg_cert_sign(pad->map->verdict));
    put(p, " ");
    put(p, rg_verdict_name(pad->map->verdict));
    rg_cert_widest_short(pad, &facts, text);
    element(p, "</td><td>", text, "</td>");
    snprintf(tolerance, sizeof tolerance, "%.4g", pad->tolerance_mm);
    element(p, "<td>", tolerance, "</td><td>");
    put_number(p, 100 * facts.seen / RG_BINS);
    put(p, " %</td></tr>\n");
}

/* A region that scrolls can be reached by the keyboard. */
static void open_table(page *p, const char *caption, const char *head)
{
    put(p, "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"");
    put(p, caption);
    put(p, "\">\n<table>\n<caption>");
    put(p, caption);
    put(p, "</caption>\n<thead><tr>");
    put(p, head);
    put(p, "</tr></thead>\n<tbody>\n");
}

static void close_table(page *p)
{
    put(p, "</tbody>\n</table>\n</div>\n");
}

static void put_pads(page *p)
{
    if (p->c->pads == 0)
        return;
    open_table(p,
               p->c->check_passed ? "Pads, in the order of the body"
                                  : "Pads, as found in the archive, not confirmed",
               "<th scope=\"col\">Pad</th><th scope=\"col\">Result</th>"
               "<th scope=\"col\">Widest gap, mm</th><th scope=\"col\">Tolerance, mm</th>"
               "<th scope=\"col\">Seen</th>");
    for (int i = 0; i < p->c->pads; i++)
        pad_row(p, &p->c->pad[i]);
    close_table(p);
}

static void put_not_swept(page *p)
{
    if (p->c->not_swept == 0)
        return;
    put(p, "<h2>Pads of this model that were not measured</h2>\n<ul class=\"names\">\n");
    for (int i = 0; i < p->c->not_swept; i++)
        element(p, "<li>", rg_draw_name(p->c->pad_not_swept[i], "(no name)"), "</li>\n");
    put(p, "</ul>\n");
}

static void put_values(page *p)
{
    rg_cert_text text;
    if (p->c->values == 0)
        return;
    open_table(p, "Set-up values; u: standard uncertainty",
               "<th scope=\"col\">Quantity</th><th scope=\"col\">Value</th>"
               "<th scope=\"col\">Measured with</th>");
    for (int i = 0; i < p->c->values; i++) {
        const rg_certificate_value *v = &p->c->value[i];
        element(p, "<tr><th scope=\"row\">", rg_draw_name(v->quantity, "(no name)"), "</th>");
        rg_cert_value(v, text);
        element(p, "<td>", text, "</td>");
        element(p, "<td>", rg_draw_name(v->with, "not stated"), "</td></tr>\n");
    }
    close_table(p);
}

static void put_note(page *p)
{
    if (!p->c->note || !*p->c->note)
        return;
    element(p, "<h2>Note</h2>\n<p class=\"note\">", p->c->note, "</p>\n");
}

/* ------------------------------------------------------------------ pads */

static rg_code ring_svg(const rg_certificate *c, int i, double *end_mm, rg_bytes *svg,
                        rg_error *err)
{
    rg_canvas canvas;
    rg_draw_ring_args ring = rg_cert_ring(c, i);
    rg_code code = rg_canvas_open(&canvas, RG_PICTURE_SVG, RING_PX, RING_PX, err);
    if (code != RG_OK)
        return code;
    *end_mm = rg_ring_small(canvas.cr, &ring, 0, 0, RING_PX);
    return rg_canvas_close(&canvas, svg, err);
}

static void put_base64(page *p, rg_bytes bytes)
{
    size_t size = sodium_base64_encoded_len(bytes.size, sodium_base64_VARIANT_ORIGINAL);
    char *text = rg_alloc(size, 1);
    if (!text) {
        p->full = true;
        return;
    }
    sodium_bin2base64(text, size, bytes.data, bytes.size, sodium_base64_VARIANT_ORIGINAL);
    put(p, text);
    free(text);
}

/* The picture, with what it says in its alternative text. */
static rg_code put_figure(page *p, int i, const char *widest, const char *unseen, rg_error *err)
{
    const rg_certificate_pad *pad = &p->c->pad[i];
    rg_bytes svg;
    double end_mm;
    char text[96];
    rg_code code = ring_svg(p->c, i, &end_mm, &svg, err);
    if (code != RG_OK)
        return code;
    put(p, "<figure><img width=\"352\" height=\"352\" alt=\"Ring map of pad ");
    put_text(p, rg_draw_name(pad->pad, "(no name)"));
    put(p, ": ");
    put(p, rg_verdict_name(pad->map->verdict));
    put(p, ". Widest gap: ");
    put_text(p, widest);
    put(p, ". Unseen bearings: ");
    put_text(p, unseen);
    put(p, ".\" src=\"data:image/svg+xml;base64,");
    put_base64(p, svg);
    snprintf(text, sizeof text, "outer circle %.4g mm, dashed circle %.4g mm", end_mm,
             pad->tolerance_mm);
    element(p, "\">\n<figcaption>", text, "</figcaption></figure>\n");
    free(svg.data);
    return RG_OK;
}

static void put_lists(page *p, const rg_certificate_pad *pad)
{
    rg_cert_text text;
    const rg_arc *order[RG_ARCS_MAX];
    int arcs = rg_cert_arcs(pad->map, order);
    for (int i = 0; i < arcs; i++) {
        rg_cert_arc(pad, order[i], text);
        put(p, i ? "" : "<dt>Open arcs</dt>");
        element(p, "<dd>", text, "</dd>\n");
    }
    for (int i = 0; i < pad->map->reasons; i++) {
        put(p, i ? "" : "<dt>Why</dt>");
        element(p, "<dd>", rg_cert_signs(pad->map->reason[i], text), "</dd>\n");
    }
}

static rg_code put_pad(page *p, int i, rg_error *err)
{
    const rg_certificate_pad *pad = &p->c->pad[i];
    rg_cert_facts facts;
    rg_cert_text widest, unseen, text;
    rg_cert_find(pad, &facts);
    rg_cert_widest(pad, &facts, widest);
    rg_cert_unseen(&facts, RG_CERT_RUNS, unseen);
    element(p, "<article>\n<h3>", rg_draw_name(pad->pad, "(no name)"), "\n");
    put_badge(p, pad->map->verdict, "span", "small");
    put(p, "</h3>\n");
    rg_code code = put_figure(p, i, widest, unseen, err);
    put(p, "<dl>\n");
    term(p, "Widest gap", widest);
    rg_cert_limit(&facts, text);
    term(p, "Detection limit", text);
    rg_cert_seen(pad, &facts, text);
    term(p, "Seen", text);
    term(p, "Unseen", unseen);
    rg_cert_conditions(pad, text);
    term(p, "Tolerance", text);
    rg_cert_station(pad, text);
    term(p, "Station", text);
    put_lists(p, pad);
    put(p, "</dl>\n</article>\n");
    return code;
}

static rg_code put_maps(page *p, rg_error *err)
{
    rg_code code = RG_OK;
    if (p->c->pads == 0)
        return RG_OK;
    put(p, p->c->check_passed ? "<h2>Pads as measured</h2>\n"
                              : "<h2>Pads as found in the archive, not confirmed</h2>\n");
    element(p, "<p>", rg_cert_legend, "</p>\n");
    for (int i = 0; code == RG_OK && i < p->c->pads; i++)
        code = put_pad(p, i, err);
    return code;
}

/* -------------------------------------------------------------- evidence */

static void digest(page *p, const char *label, const char *value)
{
    put(p, "<dt>");
    put(p, label);
    element(p, "</dt><dd><code>", value, "</code></dd>\n");
}

static void put_evidence(page *p)
{
    const rg_certificate *c = p->c;
    put(p, "<h2>Evidence</h2>\n<dl>\n");
    term(p, "Bag", rg_draw_name(c->bag, "not stated"));
    term(p, "Check", rg_draw_name(c->checked, "not checked"));
    term(p, "Signature", rg_draw_name(c->signature, "unsigned"));
    digest(p, "Manifest SHA-256", rg_draw_name(c->manifest, "none"));
    digest(p, "Tag manifest SHA-256", rg_draw_name(c->tagmanifest, "none"));
    digest(p, "Manifest before", rg_draw_name(c->previous, "none: the first of this serial"));
    term(p, "Software", rg_draw_name(c->software, "rimglow"));
    put(p, "</dl>\n");
    if (!c->check_passed && c->reasons > 0) {
        put(p, "<h2>Reasons as found in the archive, not confirmed</h2>\n");
        put_reasons(p);
    }
    if (c->check_passed)
        element(p, "<div class=\"sign\"><p>technician: ", rg_draw_name(c->technician, "(name)"),
                "</p><p>date of signing</p></div>\n");
    put(p, "</main>\n</body>\n</html>\n");
}

rg_code rg_certificate_html(const rg_certificate *certificate, rg_bytes *out, rg_error *err)
{
    page p = {.c = certificate};
    *out = (rg_bytes){0};
    rg_code code = rg_cert_check(certificate, err);
    if (code != RG_OK)
        return code;
    put_head(&p);
    put_whose(&p);
    put_verdict(&p);
    put_meaning(&p);
    put_pads(&p);
    put_not_swept(&p);
    put_values(&p);
    put_note(&p);
    code = put_maps(&p, err);
    put_evidence(&p);
    if (code == RG_OK && p.full)
        code = rg_fail(err, RG_INTERNAL, "no memory for the certificate");
    if (code == RG_OK)
        *out = p.bytes;
    else
        free(p.bytes.data);
    return code;
}

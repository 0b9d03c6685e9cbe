/*
 * draw_certificate_page.c - page 1, for the customer: whose instrument, the verdict, what that
 * means and what it does not, the pads in a table, and a line to sign.
 *
 * What stands above and below has its place; pads, pads not measured and set-up values share
 * what is left, in this order, and say so where they go on elsewhere.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_certificate_pages.h"

static const double text_size = 3.2, line_step = 4.3, row_step = 4.6;
static const double sign_top = 262; /* of the line to sign */

typedef struct first_page {
    rg_cert_pages *pages;
    cairo_t *cr;
    const rg_certificate *c;
    double y; /* the next baseline */
} first_page;

/* ------------------------------------------------------------------ head */

static void head_field(const first_page *f, double x, double y, double room, const char *label,
                       const char *value)
{
    rg_font(f->cr, 2.8, false);
    rg_text(f->cr, x, y, 0, 0, label);
    rg_font(f->cr, text_size, true);
    rg_text(f->cr, x + 24, y, 0, room - 26, rg_draw_name(value, "not stated"));
}

static void draw_head(first_page *f)
{
    const rg_certificate *c = f->c;
    const double second = RG_CERT_LEFT + RG_CERT_ROOM / 2;
    char number[32];
    rg_font(f->cr, 3.4, false);
    rg_text(f->cr, RG_CERT_LEFT, 15, 0, 120,
            "How this instrument's pads seal to light: certificate");
    rg_font(f->cr, 2.8, false);
    rg_text(f->cr, RG_CERT_RIGHT, 15, 1, 54, rg_draw_name(c->software, "rimglow"));
    rg_font(f->cr, 8, true);
    rg_text(f->cr, RG_CERT_LEFT, 24.5, 0, RG_CERT_ROOM, rg_draw_name(c->serial, "(no serial)"));
    snprintf(number, sizeof number, "%d of this serial", c->sequence);
    head_field(f, RG_CERT_LEFT, 31, RG_CERT_ROOM / 2, "model", c->model);
    head_field(f, RG_CERT_LEFT, 35.5, RG_CERT_ROOM / 2, "inspected", c->time);
    head_field(f, RG_CERT_LEFT, 40, RG_CERT_ROOM / 2, "technician", c->technician);
    head_field(f, second, 31, RG_CERT_ROOM / 2, "inspection", number);
    head_field(f, second, 35.5, RG_CERT_ROOM / 2, "occasion", c->occasion);
    head_field(f, second, 40, RG_CERT_ROOM / 2, "bag", c->bag);
    f->y = 44;
}

/* --------------------------------------------------------------- verdict */

/* As large as the page allows: larger than any verdict. */
static void draw_failed(first_page *f)
{
    rg_grey(f->cr, 0);
    cairo_rectangle(f->cr, RG_CERT_LEFT, f->y, RG_CERT_ROOM, 40);
    cairo_fill(f->cr);
    rg_grey(f->cr, 1);
    rg_font(f->cr, 16.5, true);
    rg_text(f->cr, RG_CERT_WIDTH / 2, f->y + 17.5, 0.5, RG_CERT_ROOM - 6, "EVIDENCE DOES");
    rg_text(f->cr, RG_CERT_WIDTH / 2, f->y + 34, 0.5, RG_CERT_ROOM - 6, "NOT CHECK");
    rg_grey(f->cr, 0);
    f->y += 46;
    rg_font(f->cr, 3.8, true);
    f->y += 5 * rg_cert_wrap(f->cr, RG_CERT_LEFT, f->y, RG_CERT_ROOM, 5, 4, true,
                             rg_draw_name(f->c->checked, "the reason was not stated"));
    f->y += 1;
}

static void draw_verdict(first_page *f)
{
    rg_cert_text text;
    rg_cert_verdict_box(f->cr, f->c->verdict, RG_CERT_LEFT, f->y, 106, 20);
    rg_cert_counts(f->c, text);
    rg_font(f->cr, 3.6, true);
    rg_cert_wrap(f->cr, RG_CERT_LEFT + 111, f->y + 5, RG_CERT_ROOM - 111, 4.9, 4, true, text);
    f->y += 25.5;
    rg_font(f->cr, 2.8, false);
    snprintf(text, sizeof text, "%.600s; signature: %.300s",
             rg_draw_name(f->c->checked, "bag not checked"),
             rg_draw_name(f->c->signature, "unsigned"));
    f->y += 4 * rg_cert_wrap(f->cr, RG_CERT_LEFT, f->y, RG_CERT_ROOM, 4, 2, true, text);
    f->y += 1;
}

/* ----------------------------------------------------------------- words */

static void on_page(const first_page *f, char text[64], int all, int shown, const char *what)
{
    snprintf(text, 64, shown ? "+ %d more %s: page %d" : "%d %s: page %d", all - shown, what,
             f->pages->record_page);
}

static void draw_reasons(first_page *f)
{
    enum { SHOWN = 3 };
    char text[64];
    rg_cert_text signs;
    for (int i = 0; i < f->c->reasons && i < SHOWN; i++) {
        rg_font(f->cr, text_size, false);
        cairo_rectangle(f->cr, RG_CERT_LEFT, f->y - 2, 1.5, 1.5);
        cairo_fill(f->cr);
        f->y +=
            line_step * rg_cert_wrap(f->cr, RG_CERT_LEFT + 4, f->y, RG_CERT_ROOM - 4, line_step, 2,
                                     true, rg_cert_signs(rg_draw_name(f->c->reason[i], ""), signs));
    }
    if (f->c->reasons > SHOWN) {
        on_page(f, text, f->c->reasons, SHOWN, "reasons");
        rg_text(f->cr, RG_CERT_LEFT + 4, f->y, 0, 0, text);
        f->y += line_step;
    }
}

static void draw_words(first_page *f, const char *heading, const char *text)
{
    rg_font(f->cr, text_size, true);
    rg_text(f->cr, RG_CERT_LEFT, f->y, 0, 26, heading);
    rg_font(f->cr, text_size, false);
    f->y += line_step * rg_cert_wrap(f->cr, RG_CERT_LEFT + 28, f->y, RG_CERT_ROOM - 28, line_step,
                                     6, true, text);
    f->y += 1.2;
}

static void draw_meaning(first_page *f)
{
    rg_cert_text text;
    f->y += 1;
    rg_cert_result(f->c, text);
    draw_words(f, "In plain words", text);
    draw_words(f, "Method", rg_cert_method);
    rg_cert_meaning(f->c, text);
    draw_words(f, "Sealed means", text);
    draw_words(f, "Not proven", rg_cert_not_proven);
}

/* ----------------------------------------------------------------- table */

typedef struct column {
    const char *head;
    double x, anchor, room; /* shares of the table's width */
} column;

static const column columns[] = {
    {"pad", 0, 0, 0.25},
    {"result", 0.265, 0, 0.30},
    {"widest gap, mm", 0.57, 0, 0.30},
    {"seen", 1, 1, 0.12},
};

static void table_head(const first_page *f, double x, double width)
{
    rg_font(f->cr, 2.7, true);
    for (int i = 0; i < 4; i++)
        rg_text(f->cr, x + columns[i].x * width, f->y, columns[i].anchor, columns[i].room * width,
                columns[i].head);
    cairo_set_line_width(f->cr, 0.3);
    cairo_move_to(f->cr, x, f->y + 1.3);
    cairo_line_to(f->cr, x + width, f->y + 1.3);
    cairo_stroke(f->cr);
}

static void table_row(const first_page *f, double x, double y, double width, int i)
{
    const rg_certificate_pad *pad = &f->c->pad[i];
    rg_cert_facts facts;
    rg_cert_text widest;
    char result[48], seen[16];
    rg_cert_find(pad, &facts);
    rg_cert_widest_short(pad, &facts, widest);
    snprintf(result, sizeof result, "%s %s", rg_cert_sign(pad->map->verdict),
             rg_verdict_name(pad->map->verdict));
    snprintf(seen, sizeof seen, "%d %%", (int)floor(100.0 * facts.seen / RG_BINS));
    const char *cell[] = {rg_draw_name(pad->pad, pad->sweep), result, widest, seen};
    for (int k = 0; k < 4; k++) {
        rg_font(f->cr, width < 100 ? 2.75 : 3.1, k == 1);
        rg_text(f->cr, x + columns[k].x * width, y, columns[k].anchor, columns[k].room * width,
                cell[k]);
    }
}

/* In two columns when one is not enough; what neither holds is counted. */
static void draw_pads(first_page *f, double bottom)
{
    int n = f->c->pads, rows = (int)floor((bottom - f->y - 6) / row_step);
    char text[64];
    if (n == 0)
        return;
    rows = rows < 2 ? 2 : rows;
    bool two = n > rows || n > 12;
    int each = two ? (n + 1) / 2 : n, shown = n;
    if (each > rows) {
        each = rows - 1; /* a line is needed to count the rest */
        shown = 2 * each;
    }
    double gap = 6, width = two ? (RG_CERT_ROOM - gap) / 2 : RG_CERT_ROOM * 0.75;
    f->y += 2.5;
    if (!f->c->check_passed) {
        rg_font(f->cr, text_size, true);
        rg_text(f->cr, RG_CERT_LEFT, f->y, 0, 0, "As found in the archive, not confirmed:");
        f->y += line_step + 1;
    }
    /* cppcheck-suppress compareBoolExpressionWithInt ; one table, or two */
    for (int k = 0; k <= two; k++)
        table_head(f, RG_CERT_LEFT + k * (width + gap), width);
    for (int i = 0; i < shown; i++)
        table_row(f, RG_CERT_LEFT + i / each * (width + gap),
                  f->y + (i % each + 1) * row_step + 0.6, width, i);
    f->y += (each + 1) * row_step + 0.6;
    if (shown < n) {
        snprintf(text, sizeof text, "+ %d more pads: pages 2 and after", n - shown);
        rg_font(f->cr, 3.1, true);
        rg_text(f->cr, RG_CERT_LEFT, f->y, 0, 0, text);
        f->y += row_step;
    }
}

/* ----------------------------------------------------------------- lists */

/* "A, B, C" while it fits the lines; the rest is counted. */
static void draw_not_swept(first_page *f, int most)
{
    rg_cert_text text = "", shown = "";
    const double room = RG_CERT_ROOM - 28;
    int n = f->c->not_swept;
    if (n == 0)
        return;
    rg_font(f->cr, text_size, false);
    for (int i = 0; i < n; i++) {
        char more[64] = "";
        size_t used = strlen(shown);
        on_page(f, more, n, i, "pads");
        snprintf(shown + used, sizeof shown - used, "%s%.100s", i ? ", " : "",
                 rg_draw_name(f->c->pad_not_swept[i], "(no name)"));
        bool fits = strlen(shown) + sizeof more < sizeof text &&
                    rg_cert_wrap(f->cr, 0, 0, room, 0, 100, false, shown) < most + (i == n - 1);
        if (!fits) {
            snprintf(text + used, sizeof text - used, "%s%s", i ? " " : "", more);
            break;
        }
        snprintf(text, sizeof text, "%s", shown);
    }
    draw_words(f, "Not measured", text);
}

static void draw_values(first_page *f, double bottom)
{
    int n = f->c->values, rows = (int)floor((bottom - f->y) / row_step);
    const double width = RG_CERT_ROOM / 2;
    char more[64];
    rg_cert_text text;
    if (n == 0)
        return;
    int each = (n + 1) / 2, shown = n;
    if (each + 1 > rows) {
        each = rows > 2 ? rows - 2 : 0;
        shown = 2 * each;
    }
    rg_font(f->cr, text_size, true);
    rg_text(f->cr, RG_CERT_LEFT, f->y, 0, 0, "Set-up values");
    if (shown < n) {
        on_page(f, more, n, shown, "values");
        rg_font(f->cr, text_size, false);
        rg_text(f->cr, RG_CERT_LEFT + 28, f->y, 0, 0, more);
    }
    for (int i = 0; i < shown; i++) {
        double x = RG_CERT_LEFT + i / each * width, y = f->y + (i % each + 1) * row_step;
        rg_cert_value(&f->c->value[i], text);
        rg_font(f->cr, 3, false);
        rg_text(f->cr, x, y, 0, 38, rg_draw_name(f->c->value[i].quantity, "(no name)"));
        rg_text(f->cr, x + 40, y, 0, width - 43, text);
    }
    f->y += (each + 1) * row_step;
}

/* As many lines as are left; in full on the record's page. */
static void draw_note(first_page *f, double bottom)
{
    int most = (int)floor((bottom - f->y - 1) / line_step);
    const double room = RG_CERT_ROOM - 28;
    if (!f->c->note || !*f->c->note || most < 1)
        return;
    f->y += 1;
    rg_font(f->cr, text_size, true);
    rg_text(f->cr, RG_CERT_LEFT, f->y, 0, 26, "Note");
    rg_font(f->cr, text_size, false);
    f->y += line_step *
            rg_cert_wrap(f->cr, RG_CERT_LEFT + 28, f->y, room, line_step, most, true, f->c->note);
}

static void draw_sign(const first_page *f)
{
    const double y = sign_top + 12;
    cairo_t *cr = f->cr;
    cairo_set_line_width(cr, 0.3);
    cairo_move_to(cr, RG_CERT_LEFT, y - 4);
    cairo_line_to(cr, RG_CERT_LEFT + 100, y - 4);
    cairo_move_to(cr, RG_CERT_LEFT + 112, y - 4);
    cairo_line_to(cr, RG_CERT_RIGHT, y - 4);
    cairo_stroke(cr);
    rg_font(cr, 2.8, false);
    rg_text(cr, RG_CERT_LEFT, y, 0, 24, "technician:");
    rg_text(cr, RG_CERT_LEFT + 17, y, 0, 80, rg_draw_name(f->c->technician, "(name)"));
    rg_text(cr, RG_CERT_LEFT + 112, y, 0, 0, "date of signing");
}

/* Lines that the list of pads not measured may take. */
static int lines_for_not_swept(const first_page *f)
{
    return f->c->not_swept == 0 ? 0 : f->c->not_swept <= 12 ? 2 : 4;
}

void rg_cert_first_page(rg_cert_pages *pages)
{
    first_page f = {.pages = pages, .cr = pages->cr, .c = pages->c};
    const double bottom = sign_top - 2;
    draw_head(&f);
    if (pages->c->check_passed)
        draw_verdict(&f);
    else
        draw_failed(&f);
    if (pages->c->check_passed)
        draw_reasons(&f);
    draw_meaning(&f);
    int lines = lines_for_not_swept(&f);
    double kept = lines * line_step + (pages->c->values > 0 ? 3 * row_step : 0);
    draw_pads(&f, bottom - kept);
    f.y += 1;
    draw_not_swept(&f, lines);
    draw_values(&f, bottom);
    draw_note(&f, bottom);
    if (pages->c->check_passed) /* nobody should sign for evidence that does not check */
        draw_sign(&f);
}

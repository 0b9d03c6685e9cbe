/*
 * draw_setup.c - the set-up sheet. Lengths are mm of the A4 page. The whole sheet is drawn each
 * time: a first time to count its pages, and for a picture of one page the others under a clip
 * that lets nothing through, so that all of them break where the PDF does.
 */
#include "rimglow/draw_setup.h"

#include <cairo-pdf.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_private.h"
#include "rimglow/date.h"
#include "rimglow/text.h"

static const double width_mm = 210, left = 16, right = 194, bottom = 276;
static const double row_step = 5.0, small_step = 3.7, small_size = 2.75, text_size = 3.1;

/* Left edges of a row's columns. */
static const double x_sign = 16, x_name = 29, x_value = 84, x_limit = 128, x_state = 162;

enum { ALL_PAGES = -1 };

typedef struct paper {
    cairo_t *cr;
    rg_canvas *canvas;
    const rg_setup_sheet *s;
    int wanted; /* page that is shown, from 0, or ALL_PAGES */
    int page, pages;
    double y;            /* the next baseline */
    const char *heading; /* of the table that is being drawn; NULL: none */
    char section[RG_RELEASE_NAME];
} paper;

/* ---------------------------------------------------------------- pages */

static void line(cairo_t *cr, double y, double width)
{
    rg_grey(cr, 0);
    cairo_set_line_width(cr, width);
    cairo_move_to(cr, left, y);
    cairo_line_to(cr, right, y);
    cairo_stroke(cr);
}

static void open_page(const paper *p)
{
    cairo_save(p->cr);
    if (p->wanted != ALL_PAGES && p->wanted != p->page) {
        cairo_rectangle(p->cr, 0, 0, 0, 0);
        cairo_clip(p->cr);
    }
    rg_grey(p->cr, 0);
}

static void close_page(const paper *p)
{
    char text[RG_DRAW_TEXT], day[RG_DATE_TEXT];
    rg_date_format(p->s->day, day);
    line(p->cr, bottom + 3, 0.2);
    rg_font(p->cr, 2.8, false);
    snprintf(text, sizeof text, "%.200s, visit %d: %s", rg_draw_name(p->s->serial, "(no serial)"),
             p->s->sequence, rg_decision_name(p->s->result->decision));
    rg_text(p->cr, left, bottom + 7, 0, 100, text);
    snprintf(text, sizeof text, "judged for %s", day);
    rg_text(p->cr, left + 104, bottom + 7, 0, 46, text);
    snprintf(text, sizeof text, "page %d of %d", p->page + 1, p->pages);
    rg_text(p->cr, right, bottom + 7, 1, 40, text);
    cairo_restore(p->cr);
}

static void table_head(paper *p)
{
    rg_font(p->cr, 3.6, true);
    rg_text(p->cr, left, p->y, 0, right - left, p->heading);
    line(p->cr, p->y + 1.6, 0.3);
    p->y += 6.5;
}

static void next_page(paper *p)
{
    close_page(p);
    if (p->wanted == ALL_PAGES)
        rg_canvas_next_page(p->canvas);
    p->page++;
    open_page(p);
    p->y = 18;
    if (p->heading)
        table_head(p);
}

/* Room for a block of that height, here or on a new page. */
static void room_for(paper *p, double height)
{
    if (p->y + height > bottom)
        next_page(p);
}

static void begin_table(paper *p, const char *heading)
{
    p->heading = NULL;
    p->y += 3;
    room_for(p, 16);
    p->heading = heading;
    table_head(p);
}

/* ---------------------------------------------------------------- texts */

/* Lines that the text takes, at most `most`; drawn where draw is set. */
static int wrap(paper *p, double x, double room, double step, int most, bool draw, const char *text)
{
    return rg_text_wrap(p->cr, x, p->y, room, step, most, draw, text);
}

/* The text with each "+-" as one sign. */
static void signs(char text[RG_DRAW_TEXT])
{
    static const char sign[] = "\u00b1"; /* two bytes, as what it replaces */
    for (char *at = text; (at = strstr(at, "+-")) != NULL; at += 2)
        memcpy(at, sign, 2);
}

/* A small indented text below a row. */
static void below(paper *p, const char *text)
{
    const double x = x_name, room = right - x;
    if (!text[0])
        return;
    rg_font(p->cr, small_size, false);
    room_for(p, small_step * (wrap(p, x, room, small_step, 4, false, text) - 1));
    rg_font(p->cr, small_size, false);
    p->y += small_step * wrap(p, x, room, small_step, 4, true, text);
}

/* Head of page 1. */
static void head_field(const paper *p, double x, double y, const char *label, const char *value)
{
    rg_font(p->cr, 2.8, false);
    rg_text(p->cr, x, y, 0, 0, label);
    rg_font(p->cr, text_size, true);
    rg_text(p->cr, x + 22, y, 0, (right - left) / 2 - 25, rg_draw_name(value, "not stated"));
}

static void draw_head(paper *p)
{
    const rg_setup_sheet *s = p->s;
    const double second = left + (right - left) / 2;
    char number[32], day[RG_DATE_TEXT];
    snprintf(number, sizeof number, "%d of this serial", s->sequence);
    rg_date_format(s->day, day);
    rg_font(p->cr, 3.4, false);
    rg_text(p->cr, left, 15, 0, 120, "Set-up sheet");
    rg_font(p->cr, 2.8, false);
    rg_text(p->cr, right, 15, 1, 54, s->software);
    rg_font(p->cr, 8, true);
    rg_text(p->cr, left, 24.5, 0, right - left, rg_draw_name(s->serial, "(no serial)"));
    head_field(p, left, 31, "model", s->model);
    head_field(p, left, 35.5, "visited", s->time);
    head_field(p, left, 40, "technician", s->technician);
    head_field(p, left, 44.5, "rules", s->rules);
    head_field(p, second, 31, "visit", number);
    head_field(p, second, 35.5, "occasion", s->occasion);
    head_field(p, second, 40, "judged for", day);
    head_field(p, second, 44.5, "values", s->values);
    p->y = 50;
}

/* ---------------------------------------------------------------- decision */

/* An arrow that goes on, two bars that stop, a question: in a square of side `size` about x, y. */
static void decision_mark(cairo_t *cr, rg_decision decision, double x, double y, double size)
{
    double h = size / 2;
    if (decision == RG_DECISION_HOLD_OPEN) {
        rg_font(cr, 1.15 * size, true);
        rg_text(cr, x, y + 0.42 * size, 0.5, 0, "?");
        return;
    }
    if (decision == RG_DECISION_HOLD_OUT) {
        cairo_rectangle(cr, x - h, y - h, 0.36 * size, size);
        cairo_rectangle(cr, x + h - 0.36 * size, y - h, 0.36 * size, size);
    } else {
        cairo_rectangle(cr, x - h, y - 0.14 * size, 0.6 * size, 0.28 * size);
        cairo_move_to(cr, x + 0.05 * size, y - h);
        cairo_line_to(cr, x + h, y);
        cairo_line_to(cr, x + 0.05 * size, y + h);
        cairo_close_path(cr);
    }
    cairo_fill(cr);
}

static void draw_box(const paper *p, double y, double width, double height)
{
    const double dashes[] = {2, 1.2};
    rg_decision decision = p->s->result->decision;
    cairo_t *cr = p->cr;
    cairo_rectangle(cr, left, y, width, height);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1);
    if (decision == RG_DECISION_HOLD_OUT)
        cairo_fill_preserve(cr);
    if (decision == RG_DECISION_HOLD_OPEN)
        cairo_set_dash(cr, dashes, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_grey(cr, decision == RG_DECISION_HOLD_OUT ? 1 : 0);
    decision_mark(cr, decision, left + 0.6 * height, y + height / 2, 0.5 * height);
    rg_font(cr, 0.52 * height, true);
    rg_text(cr, left + 1.15 * height, y + 0.69 * height, 0, width - 1.2 * height,
            decision == RG_DECISION_RELEASE ? "RELEASE" : "HOLD");
    rg_grey(cr, 0);
}

static int count(const rg_release_result *r, bool pads, rg_item_state state)
{
    int n = 0;
    for (int i = 0; i < r->items; i++)
        n += (r->item[i].kind == RG_ITEM_SEAL) == pads && r->item[i].state == state;
    return n;
}

static void draw_counts(const paper *p, double y)
{
    const rg_release_result *r = p->s->result;
    char text[RG_DRAW_TEXT];
    rg_font(p->cr, 3.3, false);
    for (int pads = 1; pads >= 0; pads--) {
        snprintf(
            text, sizeof text,
            "%s: %d passed, %d out of limits, %d undecided, %d not measured, %d without a rule",
            pads ? "Pads" : "Else", count(r, pads, RG_ITEM_PASSED), count(r, pads, RG_ITEM_OUT),
            count(r, pads, RG_ITEM_UNDECIDED), count(r, pads, RG_ITEM_NOT_MEASURED),
            count(r, pads, RG_ITEM_NO_RULE));
        y += 4.4 * rg_text_wrap(p->cr, left + 86, y, right - left - 86, 4.4, 2, true, text) + 1;
    }
}

static const char *decision_words(rg_decision decision)
{
    static const char *const words[] = {
        [RG_DECISION_RELEASE] =
            "Everything that the rules require was measured and is shown to be within its limits.",
        [RG_DECISION_HOLD_OUT] = "Hold, because something is shown to be out of its limits:",
        [RG_DECISION_HOLD_OPEN] =
            "Hold, because something that the rules require is not measured or not decided:"};
    return words[decision];
}

_Static_assert((int)RG_RELEASE_REASON <= (int)RG_DRAW_TEXT, "a reason is one text");

static void draw_reasons(paper *p)
{
    const rg_release_result *r = p->s->result;
    char text[RG_DRAW_TEXT], number[16];
    for (int i = 0; i < r->reasons; i++) {
        snprintf(number, sizeof number, "%d", i + 1);
        rg_release_reason(r, i, text);
        signs(text);
        rg_font(p->cr, text_size, false);
        room_for(p, 4.2 * (wrap(p, left + 9, right - left - 9, 4.2, 4, false, text) - 1));
        rg_font(p->cr, text_size, true);
        rg_text(p->cr, left + 6, p->y, 1, 0, number);
        rg_font(p->cr, text_size, false);
        p->y += 4.2 * wrap(p, left + 9, right - left - 9, 4.2, 4, true, text);
    }
}

static void draw_decision(paper *p)
{
    draw_box(p, p->y, 80, 18);
    draw_counts(p, p->y + 4);
    p->y += 25;
    rg_font(p->cr, 3.5, true);
    rg_text(p->cr, left, p->y, 0, right - left, decision_words(p->s->result->decision));
    p->y += 5.2;
    draw_reasons(p);
}

/* ---------------------------------------------------------------- items */

/* "42 ± 4 gf", "42 gf, no U stated". */
static void measured_text(double value, double U, bool sign, const char *unit,
                          char text[RG_DRAW_TEXT])
{
    char number[RG_TEXT_WITH_U];
    rg_text_with_u(value, U, sign, number);
    snprintf(text, RG_DRAW_TEXT, "%s %s", number, unit);
    signs(text);
}

static void number_text(const rg_setup_sheet *s, const rg_release_item *item,
                        char text[RG_DRAW_TEXT])
{
    bool pad = item->kind == RG_ITEM_SEAL;
    text[0] = 0;
    if (pad && item->state != RG_ITEM_NOT_MEASURED && isnan(item->value))
        snprintf(text, RG_DRAW_TEXT, "no gap measured");
    else if (pad && isfinite(item->value))
        snprintf(text, RG_DRAW_TEXT, "%.3f \u00b1 %.3f mm at %.0f\u00b0", item->value,
                 s->coverage_factor * item->u, item->bearing_deg);
    else if (isfinite(item->value) && isfinite(item->u))
        measured_text(item->value, s->coverage_factor * item->u, false, item->unit, text);
    else if (isfinite(item->value))
        snprintf(text, RG_DRAW_TEXT, "%.6g %s, no U", item->value, item->unit);
}

static void limit_text(double low, double high, const char *unit, char text[RG_DRAW_TEXT])
{
    text[0] = 0;
    if (isfinite(low) && isfinite(high))
        snprintf(text, RG_DRAW_TEXT, "%.6g to %.6g %s", low, high, unit);
    else if (isfinite(low))
        snprintf(text, RG_DRAW_TEXT, "at least %.6g %s", low, unit);
    else if (isfinite(high))
        snprintf(text, RG_DRAW_TEXT, "at most %.6g %s", high, unit);
}

static void finger_text(const rg_release_item *item, char text[RG_DRAW_TEXT])
{
    static const char *const words[] = {[RG_TOUCH_UNSTATED] = "finger not stated",
                                        [RG_TOUCH_LIGHT] = "light finger",
                                        [RG_TOUCH_FIRM] = "firm finger",
                                        [RG_TOUCH_GRAMS] = ""};
    snprintf(text, RG_DRAW_TEXT, "%s",
             item->state == RG_ITEM_NOT_MEASURED ? "" : words[item->touch]);
    if (item->touch == RG_TOUCH_GRAMS && isfinite(item->grams))
        snprintf(text, RG_DRAW_TEXT, "%.4g g", item->grams);
}

/* What stands below the row: instrument, change, and why, where the row does not say it all. */
static void details(const rg_setup_sheet *s, const rg_release_item *item, char text[RG_DRAW_TEXT])
{
    char limit[RG_DRAW_TEXT];
    size_t n = 0;
    bool said = item->state == RG_ITEM_PASSED || item->state == RG_ITEM_NO_RULE ||
                (item->kind == RG_ITEM_SEAL && item->state != RG_ITEM_UNDECIDED) ||
                ((item->kind == RG_ITEM_VALUE || item->kind == RG_ITEM_FURTHER) &&
                 item->state == RG_ITEM_NOT_MEASURED);
    text[0] = 0;
    if (item->with[0])
        n += (size_t)snprintf(text + n, RG_DRAW_TEXT - n, "with %.128s. ", item->with);
    if (isfinite(item->change) && isfinite(item->reference) && !strstr(item->why, "change")) {
        limit_text(item->change_low, item->change_high, item->unit, limit);
        char number[RG_TEXT_WITH_U];
        rg_text_with_u(item->change, s->coverage_factor * item->u_change, true, number);
        if (isfinite(item->u_change))
            n += (size_t)snprintf(text + n, RG_DRAW_TEXT - n, "Change %s", number);
        else
            n += (size_t)snprintf(text + n, RG_DRAW_TEXT - n, "Change %+.6g", item->change);
        n += (size_t)snprintf(text + n, RG_DRAW_TEXT - n, ", limit %.80s; against %.6g. ", limit,
                              item->reference);
    }
    snprintf(text + n, RG_DRAW_TEXT - n, "%s", said ? "" : item->why);
    signs(text);
}

static void state_cell(const paper *p, const rg_release_item *item)
{
    rg_font(p->cr, text_size, true);
    rg_text(p->cr, x_state, p->y, 0, right - x_state, rg_item_state_name(item->state));
}

static void draw_item(paper *p, const rg_release_item *item)
{
    char text[RG_DRAW_TEXT];
    room_for(p, item->why[0] || item->with[0] || item->remark[0] ? 2 * small_step : 0);
    rg_font(p->cr, text_size, true);
    rg_text(p->cr, x_sign, p->y, 0, 0, rg_item_state_sign(item->state));
    rg_font(p->cr, text_size, item->required);
    rg_text(p->cr, x_name, p->y, 0, x_value - x_name - 2, item->name);
    rg_font(p->cr, text_size, false);
    number_text(p->s, item, text);
    rg_text(p->cr, x_value, p->y, 0, x_limit - x_value - 2, text);
    if (item->kind == RG_ITEM_SEAL)
        finger_text(item, text);
    else
        limit_text(item->low, item->high, item->unit, text);
    rg_text(p->cr, x_limit, p->y, 0, x_state - x_limit - 2, text);
    state_cell(p, item);
    p->y += small_step + 0.4;
    details(p->s, item, text);
    below(p, text);
    if (item->remark[0]) {
        snprintf(text, sizeof text, "Remark: %s", item->remark);
        below(p, text);
    }
    p->y += row_step - small_step - 0.4;
}

static void draw_kind(paper *p, rg_item_kind kind, const char *heading)
{
    const rg_release_result *r = p->s->result;
    bool begun = false;
    for (int i = 0; i < r->items; i++) {
        if (r->item[i].kind != kind)
            continue;
        if (!begun)
            begin_table(p, heading);
        begun = true;
        draw_item(p, &r->item[i]);
    }
    p->heading = NULL;
}

static void begin_section(paper *p, const char *section)
{
    rg_copy_text(p->section, sizeof p->section, section);
    if (p->section[0] >= 'a' && p->section[0] <= 'z')
        p->section[0] = (char)(p->section[0] - 'a' + 'A');
    begin_table(p, p->section);
}

/* One table for each further section, in the order of their first items. */
static void draw_further(paper *p)
{
    const rg_release_result *r = p->s->result;
    for (int i = 0; i < r->items; i++) {
        const rg_release_item *item = &r->item[i];
        if (item->kind != RG_ITEM_FURTHER)
            continue;
        if (i == 0 || r->item[i - 1].kind != RG_ITEM_FURTHER ||
            strcmp(r->item[i - 1].section, item->section) != 0)
            begin_section(p, item->section);
        draw_item(p, item);
    }
    p->heading = NULL;
}

/* ---------------------------------------------------------------- changes */

static void draw_line(paper *p, const rg_service_line *l)
{
    char text[RG_DRAW_TEXT], day[RG_DATE_TEXT];
    rg_date_format(l->day, day);
    room_for(p, 0);
    rg_font(p->cr, text_size, false);
    snprintf(text, sizeof text, "%s%s", l->pad ? "pad " : "", l->name);
    rg_text(p->cr, left, p->y, 0, 62, text);
    snprintf(text, sizeof text, "visit %d, %s", l->sequence, day);
    rg_text(p->cr, left + 64, p->y, 0, 40, text);
    text[0] = 0;
    if (isfinite(l->change) && isfinite(l->u_change))
        measured_text(l->change, p->s->coverage_factor * l->u_change, true, l->unit, text);
    else if (isfinite(l->change))
        snprintf(text, sizeof text, "%+.6g %s, no U", l->change, l->unit);
    rg_text(p->cr, left + 104, p->y, 0, 44, text);
    rg_font(p->cr, text_size, l->state == RG_SERVICE_MORE || l->state == RG_SERVICE_LESS);
    rg_text(p->cr, left + 148, p->y, 0, right - left - 148,
            rg_service_state_name(l->state, l->pad));
    p->y += row_step;
}

static void draw_changes(paper *p)
{
    if (p->s->lines == 0)
        return;
    begin_table(p, "What changed since the last and the first visit (change \u00b1 U)");
    for (int i = 0; i < p->s->lines; i++)
        draw_line(p, &p->s->line[i]);
    p->heading = NULL;
}

/* ---------------------------------------------------------------- work */

/* A subject keeps at least its first sentence beside it. */
static void draw_sentence(paper *p, const rg_setup_work *now, const rg_setup_work *before)
{
    enum { LINES = 6 };
    const double x = left + 5, room = right - x;
    char text[RG_DRAW_TEXT];
    bool first = !before || strcmp(before->subject, now->subject) != 0;
    rg_font(p->cr, text_size, false);
    snprintf(text, sizeof text, "%.*s", (int)sizeof text - 1, now->sentence);
    signs(text);
    double height = row_step * wrap(p, x, room, row_step, LINES, false, text);
    if (first)
        p->y += 1.5;
    room_for(p, height + (first ? row_step : 0) - row_step);
    if (first) {
        rg_font(p->cr, text_size, true);
        rg_text(p->cr, left, p->y, 0, right - left, now->subject);
        p->y += row_step;
    }
    rg_font(p->cr, text_size, false);
    rg_text(p->cr, left + 1, p->y, 0, 0, "-");
    p->y += row_step * wrap(p, x, room, row_step, LINES, true, text);
}

static void draw_work(paper *p)
{
    const rg_setup_work *w = p->s->work;
    if (p->s->works == 0)
        return;
    begin_table(p,
                "The work, worst leak first (bearings from the key arm, clockwise from outside)");
    for (int i = 0; i < p->s->works; i++)
        draw_sentence(p, &w[i], i > 0 ? &w[i - 1] : NULL);
    p->heading = NULL;
}

/* ---------------------------------------------------------------- end */

static void draw_end(paper *p)
{
    char text[RG_DRAW_TEXT];
    p->y += 3;
    snprintf(text, sizeof text,
             "U = %.3g u. ( O ) passed: value and U within the limits. ( / ) out of limits. ( ? ) "
             "undecided: too close to a limit, too old, no uncertainty, or a pad that was sealed "
             "under a firm finger "
             "alone. (   ) not measured. ( - ) no rule. Bold names are required. Gaps: the widest, "
             "bearings from the key arm, clockwise as seen from outside. No change shown is no "
             "proof that nothing changed.",
             p->s->coverage_factor);
    rg_font(p->cr, small_size, false);
    room_for(p, small_step * wrap(p, left, right - left, small_step, 6, false, text) + 16);
    rg_font(p->cr, small_size, false);
    p->y += small_step * wrap(p, left, right - left, small_step, 6, true, text);
    p->y += 12;
    cairo_set_line_width(p->cr, 0.3);
    cairo_move_to(p->cr, left, p->y);
    cairo_line_to(p->cr, left + 80, p->y);
    cairo_move_to(p->cr, left + 98, p->y);
    cairo_line_to(p->cr, right, p->y);
    cairo_stroke(p->cr);
    rg_text(p->cr, left, p->y + 3.6, 0, 80, "who decides, signature");
    rg_text(p->cr, left + 98, p->y + 3.6, 0, 80, "date, place");
}

static void set_metadata(cairo_surface_t *surface, const rg_setup_sheet *s)
{
    char text[RG_DRAW_TEXT], clean[RG_DRAW_TEXT];
    snprintf(text, sizeof text, "Set-up sheet of %.200s: %s", s->serial,
             rg_decision_name(s->result->decision));
    rg_draw_clean(clean, text);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_TITLE, clean);
    rg_draw_clean(clean, s->technician);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_AUTHOR, clean);
    rg_draw_clean(clean, s->software);
    cairo_pdf_surface_set_metadata(surface, CAIRO_PDF_METADATA_CREATOR, clean);
}

/* pages: as counted before; returns in *pages how many this drawing had. */
static rg_code draw(const rg_setup_sheet *s, rg_picture_format format, int page, int *pages,
                    rg_bytes *out, rg_error *err)
{
    rg_canvas canvas;
    rg_code code = rg_canvas_open(&canvas, format, RG_SETUP_WIDTH, RG_SETUP_HEIGHT, err);
    if (code != RG_OK)
        return code;
    paper p = {.cr = canvas.cr,
               .canvas = &canvas,
               .s = s,
               .wanted = format == RG_PICTURE_PDF ? ALL_PAGES : page,
               .pages = *pages};
    if (format == RG_PICTURE_PDF)
        set_metadata(canvas.surface, s);
    cairo_scale(p.cr, RG_SETUP_WIDTH / width_mm, RG_SETUP_WIDTH / width_mm);
    open_page(&p);
    draw_head(&p);
    draw_decision(&p);
    draw_kind(&p, RG_ITEM_SEAL, "Pads, in body order (widest gap, finger)");
    draw_kind(&p, RG_ITEM_VALUE, "Values (limits)");
    draw_kind(&p, RG_ITEM_BALANCE, "Balance: largest less smallest (limit)");
    draw_kind(&p, RG_ITEM_CHECK, "Checks and remarks");
    draw_further(&p);
    draw_changes(&p);
    draw_work(&p);
    draw_end(&p);
    close_page(&p);
    *pages = p.page + 1;
    return rg_canvas_close(&canvas, out, err);
}

rg_code rg_draw_setup(const rg_setup_sheet *sheet, rg_picture_format format, int page, int *pages,
                      rg_bytes *out, rg_error *err)
{
    int counted = 0;
    *out = (rg_bytes){0};
    rg_code code = draw(sheet, format, page, &counted, out, err);
    if (code != RG_OK)
        return code;
    free(out->data);
    *out = (rg_bytes){0};
    if (pages)
        *pages = counted;
    if (format != RG_PICTURE_PDF && (page < 0 || page >= counted))
        return rg_fail(err, RG_BAD_DATA, "the set-up sheet has %d pages, there is no page %d",
                       counted, page + 1);
    return draw(sheet, format, page, &counted, out, err);
}

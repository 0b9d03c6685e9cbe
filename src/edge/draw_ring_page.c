/*
 * draw_ring_page.c - what stands about the ring on its page: the verdict,
 * whose pad it is, the legend and the reasons.
 *
 * The verdict can be told apart without reading: white on black with a broken
 * ring (leaking), a framed closed ring with a tick (sealed), a dashed frame
 * and ring with a question mark (undecided).
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_private.h"

enum { MARGIN = RG_RING_MARGIN };

typedef struct page {
    cairo_t *cr;
    const rg_draw_ring_args *args;
    bool blocked;
} page;

/* ---------------------------------------------------------------- verdict */

static void mark_sealed(cairo_t *cr)
{
    cairo_arc(cr, 0, 0, 38, 0, 2 * RG_PI);
    cairo_stroke(cr);
    cairo_move_to(cr, -17, 0);
    cairo_line_to(cr, -4, 15);
    cairo_line_to(cr, 18, -15);
    cairo_set_line_width(cr, 9);
    cairo_stroke(cr);
}

/* A ring broken open to the right, with three rays coming out. */
static void mark_leaking(cairo_t *cr)
{
    cairo_arc(cr, 0, 0, 38, rg_radians(35), rg_radians(325));
    cairo_stroke(cr);
    cairo_set_line_width(cr, 6);
    for (int i = -1; i <= 1; i++) {
        double a = rg_radians(20.0 * i);
        cairo_move_to(cr, 22 * cos(a), 22 * sin(a));
        cairo_line_to(cr, 60 * cos(a), 60 * sin(a));
        cairo_stroke(cr);
    }
}

static void mark_undecided(cairo_t *cr)
{
    static const double dash[] = {20, 9.85};
    cairo_set_dash(cr, dash, 2, 0);
    cairo_arc(cr, 0, 0, 38, 0, 2 * RG_PI);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_font(cr, 50, true);
    rg_text(cr, 0, 18, 0.5, 0, "?");
}

void rg_verdict_mark(cairo_t *cr, rg_verdict verdict, double x, double y)
{
    cairo_save(cr);
    cairo_translate(cr, x, y);
    cairo_set_line_width(cr, 12);
    if (verdict == RG_VERDICT_SEALED)
        mark_sealed(cr);
    else if (verdict == RG_VERDICT_LEAKING)
        mark_leaking(cr);
    else
        mark_undecided(cr);
    cairo_restore(cr);
}

/* White on black when it leaks, black on white with a frame else. */
static void draw_verdict(const page *p)
{
    static const char *const word[] = {"SEALED", "LEAKING", "UNDECIDED"};
    static const double dash[] = {16, 10};
    cairo_t *cr = p->cr;
    rg_verdict v = p->args->map->verdict;
    cairo_rectangle(cr, MARGIN, 36, 610, 128);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 6);
    if (v == RG_VERDICT_LEAKING)
        cairo_fill_preserve(cr);
    if (v == RG_VERDICT_UNDECIDED)
        cairo_set_dash(cr, dash, 2, 0);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_grey(cr, v == RG_VERDICT_LEAKING ? 1 : 0);
    rg_verdict_mark(cr, v, MARGIN + 70, 100);
    rg_font(cr, 68, true);
    rg_text(cr, MARGIN + 142, 125, 0, 456, word[v]);
    rg_grey(cr, 0);
}

/* On one line when it fits, else smaller on two. */
static void write_title(const page *p, double x, double y, double room, double size, bool bold,
                        const char *text)
{
    char clean[RG_DRAW_TEXT];
    rg_draw_clean(clean, text);
    rg_font(p->cr, size, bold);
    if (rg_text_width(p->cr, clean) <= room) {
        rg_text(p->cr, x, y, 0, 0, clean);
        return;
    }
    rg_font(p->cr, 0.62 * size, bold);
    rg_text_wrap(p->cr, x, y - 0.42 * size, room, 0.72 * size, 2, true, clean);
}

static void draw_titles(const page *p)
{
    const rg_draw_ring_args *a = p->args;
    double x = MARGIN + 610 + 26, room = RG_RING_WIDTH - MARGIN - x;
    rg_font(p->cr, 15, false);
    rg_text(p->cr, x, 46, 0, room, "ring map of pad");
    write_title(p, x, 86, room, 36, true, rg_draw_name(a->pad, "(no name)"));
    write_title(p, x, 126, room, 24, false, rg_draw_name(a->serial, "(no serial)"));
    rg_font(p->cr, 17, false);
    rg_text(p->cr, x, 164, 0, room, rg_draw_name(a->date, ""));
}

/* ----------------------------------------------------------------- legend */

static void sample_width(cairo_t *cr, double x, double y)
{
    static const double tone[] = {0, 0.42, 0.80};
    for (int i = 0; i < 3; i++) {
        rg_grey(cr, tone[i]);
        cairo_rectangle(cr, x + 16 * i, y - 16, 16, 18);
        cairo_fill(cr);
    }
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 2);
    cairo_move_to(cr, x + 32, y - 19);
    cairo_line_to(cr, x + 32, y + 5);
    cairo_stroke(cr);
}

static void sample_line(cairo_t *cr, double x, double y, double width, bool dashed)
{
    static const double dash[] = {14, 7};
    rg_grey(cr, dashed ? 0 : 0.25);
    cairo_set_line_width(cr, width);
    if (dashed)
        cairo_set_dash(cr, dash, 2, 0);
    cairo_move_to(cr, x, y - 6);
    cairo_line_to(cr, x + 48, y - 6);
    cairo_stroke(cr);
    cairo_set_dash(cr, NULL, 0, 0);
}

static void sample_hatch(cairo_t *cr, double x, double y, rg_pattern pattern)
{
    rg_grey(cr, 0.2);
    cairo_set_line_width(cr, 1.3);
    cairo_rectangle(cr, x, y - 17, 48, 21);
    rg_fill_pattern(cr, pattern, pattern == RG_PATTERN_CROSS ? 10 : 9);
    cairo_rectangle(cr, x, y - 17, 48, 21);
    cairo_stroke(cr);
}

static void legend_text(const page *p, double x, double y, const char *text)
{
    rg_font(p->cr, 15, false);
    rg_grey(p->cr, 0);
    rg_text(p->cr, x + 58, y, 0, 400, text);
}

static void draw_legend(const page *p)
{
    static const double top = 982;
    char text[128];
    double k = p->args->coverage_factor, second = MARGIN + 470;
    sample_width(p->cr, MARGIN, top);
    snprintf(text, sizeof text, "gap: sure, width (line), width + U; U = %.3g u", k);
    legend_text(p, MARGIN, top, text);
    sample_line(p->cr, second, top, 3.2, true);
    snprintf(text, sizeof text, "tolerance %.4g mm", p->args->tolerance_mm);
    legend_text(p, second, top, text);
    sample_hatch(p->cr, MARGIN, top + 30, RG_PATTERN_DIAGONAL);
    legend_text(p, MARGIN, top + 30, "unseen: could leak or seal");
    sample_line(p->cr, second, top + 30, 1, false);
    legend_text(p, second, top + 30, "detection limit: thinner gaps stay dark");
    if (p->blocked) {
        sample_hatch(p->cr, MARGIN, top + 60, RG_PATTERN_CROSS);
        legend_text(p, MARGIN, top + 60, "blocked: something stands in the gap");
    }
}

/* ---------------------------------------------------------------- reasons */

/* The reason with its "+-" as one sign. */
static const char *with_signs(const char *reason, char text[RG_DRAW_TEXT])
{
    size_t n = 0;
    for (; *reason && n + 3 < RG_DRAW_TEXT; reason++) {
        bool sign = reason[0] == '+' && reason[1] == '-';
        n += (size_t)snprintf(text + n, RG_DRAW_TEXT - n, "%s",
                              sign ? "\u00b1" : (char[]){*reason, 0});
        reason += sign;
    }
    text[n] = 0;
    return text;
}

static int lines_needed(const page *p, double room)
{
    int lines = 0;
    char signs[RG_DRAW_TEXT];
    for (int i = 0; i < p->args->map->reasons; i++)
        lines += rg_text_wrap(p->cr, 0, 0, room, 0, RG_DRAW_TEXT, false,
                              with_signs(p->args->map->reason[i], signs));
    return lines;
}

/* Writes as many reasons as fit and counts the rest. */
static void write_reasons(const page *p, double y, double line, int most)
{
    char text[64], signs[RG_DRAW_TEXT];
    double room = RG_RING_WIDTH - 2 * MARGIN - 24;
    int used = 0, n = p->args->map->reasons;
    for (int i = 0; i < n; i++) {
        const char *reason = with_signs(p->args->map->reason[i], signs);
        int need = rg_text_wrap(p->cr, 0, 0, room, 0, RG_DRAW_TEXT, false, reason);
        if (used + need > most - (i < n - 1)) {
            snprintf(text, sizeof text, "+ %d more reasons", n - i);
            rg_text(p->cr, MARGIN + 24, y + used * line, 0, room, text);
            return;
        }
        cairo_rectangle(p->cr, MARGIN + 4, y + used * line - line * 0.42, 9, 9);
        cairo_fill(p->cr);
        used += rg_text_wrap(p->cr, MARGIN + 24, y + used * line, room, line, need, true, reason);
    }
}

static void draw_reasons(const page *p)
{
    static const double size[] = {20, 17, 14}, top = 1092, bottom = RG_RING_HEIGHT - 26;
    double room = RG_RING_WIDTH - 2 * MARGIN - 24;
    cairo_set_line_width(p->cr, 2);
    rg_grey(p->cr, 0);
    cairo_move_to(p->cr, MARGIN, top - 30);
    cairo_line_to(p->cr, RG_RING_WIDTH - MARGIN, top - 30);
    cairo_stroke(p->cr);
    if (p->args->map->reasons == 0 && p->args->map->verdict == RG_VERDICT_SEALED) {
        rg_font(p->cr, size[0], false);
        rg_text_wrap(p->cr, MARGIN, top, room, 27, 2, true,
                     "Every bearing was seen, and width + U is within the tolerance at every one.");
        return;
    }
    for (int i = 0; i < 3; i++) {
        double line = size[i] * 1.36;
        int most = (int)floor((bottom - top) / line) + 1;
        rg_font(p->cr, size[i], false);
        if (i == 2 || lines_needed(p, room) <= most) {
            write_reasons(p, top, line, most);
            return;
        }
    }
}

void rg_ring_page(cairo_t *cr, const rg_draw_ring_args *args, bool blocked)
{
    const page p = {cr, args, blocked};
    draw_verdict(&p);
    draw_titles(&p);
    draw_legend(&p);
    draw_reasons(&p);
}

/*
 * draw_budget.c - the page of one uncertainty budget. See draw_budget.h.
 */
#include "rimglow/draw_budget.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_private.h"

enum { MARGIN = 48, TABLE_Y = 420, LEFT = MARGIN, RIGHT = RG_BUDGET_WIDTH - MARGIN };

/* Right edges of the columns of numbers; the bar begins after the last. */
enum { X_VALUE = 400, X_U = 490, X_C = 590, X_DOF = 650, X_UY = 745, X_SHARE = 812, X_BAR = 824 };

static void number(char text[32], double value)
{
    if (isnan(value))
        snprintf(text, 32, "-");
    else if (isinf(value))
        snprintf(text, 32, "\u221e");
    else
        snprintf(text, 32, "%.3g", value);
}

static void draw_head(cairo_t *cr, const rg_draw_budget_args *a)
{
    char text[RG_DRAW_TEXT];
    rg_font(cr, 34, true);
    rg_text(cr, LEFT, 84, 0, 640, "Uncertainty of a gap width");
    rg_font(cr, 17, false);
    rg_text(cr, RIGHT, 84, 1, 240, rg_draw_name(a->date, ""));
    snprintf(text, sizeof text, "%.100s, pad %.100s, bearing %d\u00b0, station %.100s",
             rg_draw_name(a->serial, "(no serial)"), rg_draw_name(a->pad, "(no name)"),
             a->budget->bearing_deg, rg_draw_name(a->station, "(no name)"));
    rg_text(cr, LEFT, 118, 0, RIGHT - LEFT, text);
    cairo_set_line_width(cr, 2);
    cairo_move_to(cr, LEFT, 136);
    cairo_line_to(cr, RIGHT, 136);
    cairo_stroke(cr);
}

/* Returns where the next paragraph begins. */
static double paragraph(cairo_t *cr, double y, const char *text)
{
    return y + 24 * rg_text_wrap(cr, LEFT, y, RIGHT - LEFT, 24, 4, true, text) + 8;
}

/* Whole degrees of freedom, as Student's t takes them. */
static void whole_dof(char text[32], double dof)
{
    if (isfinite(dof))
        snprintf(text, 32, "%.0f", fmax(floor(dof + 1e-9), 1));
    else
        snprintf(text, 32, "infinitely many");
}

static void draw_result(cairo_t *cr, const rg_gap_budget *g)
{
    const rg_budget *b = &g->budget;
    char text[RG_DRAW_TEXT], whole[32];
    whole_dof(whole, b->dof);
    rg_font(cr, 30, true);
    snprintf(text, sizeof text, "w = (%.4f \u00b1 %.4f) mm", g->width_mm, b->expanded);
    rg_text(cr, LEFT, 192, 0, 0, text);
    rg_font(cr, 17, false);
    snprintf(
        text, sizeof text,
        "Expanded uncertainty U = k u with k = %.3f for a level of confidence of %.4g %%, from "
        "Student's t with %s effective degrees of freedom.",
        b->coverage, 100 * b->level, whole);
    double y = paragraph(cr, 226, text);
    snprintf(
        text, sizeof text,
        "Combined standard uncertainty u = %.4f mm. The seal map and its verdict state U = %.3g u "
        "= %.4f mm.",
        b->u, g->coverage_factor, g->coverage_factor * b->u);
    y = paragraph(cr, y, text);
    paragraph(
        cr, y,
        "u\u00b2 is the sum of (c u(x))\u00b2 over the inputs x; c is how much the width changes "
        "for a change of x (JCGM 100, 5.1.2). A: by statistics; B: otherwise.");
}

static void draw_titles(cairo_t *cr)
{
    rg_font(cr, 15, true);
    rg_text(cr, LEFT, TABLE_Y, 0, 0, "input x");
    rg_text(cr, X_VALUE, TABLE_Y, 1, 0, "x");
    rg_text(cr, X_U, TABLE_Y, 1, 0, "u(x)");
    rg_text(cr, X_C, TABLE_Y, 1, 0, "c, mm per");
    rg_text(cr, X_DOF, TABLE_Y, 1, 0, "dof");
    rg_text(cr, X_UY, TABLE_Y, 1, 0, "|c| u, mm");
    rg_text(cr, X_SHARE, TABLE_Y, 1, 0, "share");
    cairo_set_line_width(cr, 1.4);
    cairo_move_to(cr, LEFT, TABLE_Y + 10);
    cairo_line_to(cr, RIGHT, TABLE_Y + 10);
    cairo_stroke(cr);
}

static void draw_bar(cairo_t *cr, const rg_contribution *p, double y)
{
    double width = (RIGHT - X_BAR) * fmin(fmax(p->share, 0), 1);
    cairo_set_line_width(cr, 1.2);
    cairo_rectangle(cr, X_BAR, y - 14, width, 17);
    if (p->type == RG_TYPE_A)
        cairo_fill_preserve(cr);
    else
        rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 6);
    cairo_rectangle(cr, X_BAR, y - 14, width, 17);
    cairo_stroke(cr);
}

static void draw_row(cairo_t *cr, const rg_contribution *p, double y)
{
    char text[32 + 16], part[32];
    rg_font(cr, 15, false);
    snprintf(text, sizeof text, "%s", p->type == RG_TYPE_A ? "A" : "B");
    rg_text(cr, LEFT, y, 0, 0, text);
    rg_text(cr, LEFT + 22, y, 0, 260, p->name);
    number(part, p->value);
    rg_text(cr, X_VALUE, y, 1, 0, part);
    number(part, p->u);
    rg_text(cr, X_U, y, 1, 0, part);
    number(part, p->sensitivity);
    snprintf(text, sizeof text, "%s / %s", part, p->unit);
    rg_text(cr, X_C, y, 1, 0, text);
    number(part, p->dof);
    rg_text(cr, X_DOF, y, 1, 0, part);
    snprintf(text, sizeof text, "%.5f", p->u_result);
    rg_text(cr, X_UY, y, 1, 0, text);
    snprintf(text, sizeof text, "%.1f %%", 100 * p->share);
    rg_text(cr, X_SHARE, y, 1, 0, text);
    draw_bar(cr, p, y);
    rg_font(cr, 12.5, false);
    rg_grey(cr, 0.25);
    rg_text(cr, LEFT + 22, y + 18, 0, X_DOF - LEFT, p->source);
    rg_grey(cr, 0);
}

static double draw_sum(cairo_t *cr, const rg_gap_budget *g, double y)
{
    char text[32];
    cairo_set_line_width(cr, 1.4);
    cairo_move_to(cr, LEFT, y - 22);
    cairo_line_to(cr, RIGHT, y - 22);
    cairo_stroke(cr);
    rg_font(cr, 15, true);
    rg_text(cr, LEFT + 22, y, 0, 0, "combined (root of the sum of squares)");
    if (isfinite(g->budget.dof))
        snprintf(text, sizeof text, "%.1f", g->budget.dof);
    else
        number(text, g->budget.dof);
    rg_text(cr, X_DOF, y, 1, 0, text);
    snprintf(text, sizeof text, "%.5f", g->budget.u);
    rg_text(cr, X_UY, y, 1, 0, text);
    rg_text(cr, X_SHARE, y, 1, 0, "100 %");
    return y + 54;
}

static void draw_notes(cairo_t *cr, double y)
{
    static const char *const note[] = {
        "Lengths are in mm of gap; \"ln\" is the natural logarithm (u(x) is then relative); \"1\" "
        "is a "
        "plain number (a slope, a ratio). A dash: the input has no estimate of its own.",
        "Degrees of freedom: type A from the number of columns and frames; type B 1/2 over the "
        "square "
        "of how unsure the uncertainty itself is (JCGM 100, G.4.2; [budget] of the station). "
        "Effective: Welch and Satterthwaite, cut to a whole number (G.4.1).",
        "The inputs are taken as independent of one another. The frames share lamp, blur and "
        "scale, so "
        "these do not average out.",
        "No budget holds what nobody thought of: a lens from another focus, a crown that sits "
        "askew, a "
        "rim that is not round. rimglow calibrate check looks for some of it."};
    rg_font(cr, 14, false);
    for (size_t i = 0; i < sizeof note / sizeof *note; i++)
        y += 20 * rg_text_wrap(cr, LEFT, y, RIGHT - LEFT, 20, 4, true, note[i]) + 8;
}

rg_code rg_draw_budget(const rg_draw_budget_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err)
{
    rg_canvas canvas;
    const rg_budget *b = &args->budget->budget;
    *out = (rg_bytes){0};
    rg_code code = rg_canvas_open(&canvas, format, RG_BUDGET_WIDTH, RG_BUDGET_HEIGHT, err);
    if (code != RG_OK)
        return code;
    double y = TABLE_Y + 36, row = b->count > 12 ? 30 : 46;
    draw_head(canvas.cr, args);
    draw_result(canvas.cr, args->budget);
    draw_titles(canvas.cr);
    for (int i = 0; i < b->count; i++, y += row)
        draw_row(canvas.cr, &b->part[i], y);
    y = draw_sum(canvas.cr, args->budget, y + 10);
    draw_notes(canvas.cr, y);
    return rg_canvas_close(&canvas, out, err);
}

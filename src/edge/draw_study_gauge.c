/*
 * draw_study_gauge.c - the picture of a gauge study.
 */
#include <math.h>
#include <stdio.h>

#include "draw_study_private.h"

enum { BAR = 26, ROW = 84, PERSONS_IN_LEGEND = 8 };

/* ------------------------------------------------------------ components */

static void bar(const rg_plot *p, double y, double percent, bool solid)
{
    double x = rg_plot_x(p, fmin(percent, p->x1));
    cairo_rectangle(p->cr, p->left, y, fmax(x - p->left, 1), BAR);
    if (solid) {
        rg_grey(p->cr, 0.25);
        cairo_fill_preserve(p->cr);
    } else {
        cairo_path_t *path = cairo_copy_path(p->cr);
        rg_grey(p->cr, 0);
        cairo_set_line_width(p->cr, 1.2);
        rg_fill_pattern(p->cr, RG_PATTERN_DIAGONAL, 7);
        cairo_append_path(p->cr, path);
        cairo_path_destroy(path);
    }
    rg_grey(p->cr, 0);
    cairo_set_line_width(p->cr, 1.2);
    cairo_stroke(p->cr);
}

static void bar_label(const rg_plot *p, double y, double percent, const char *more)
{
    char text[80];
    snprintf(text, sizeof text, "%.1f %%%s", percent, more);
    rg_font(p->cr, 15, false);
    rg_text_halo(p->cr, rg_plot_x(p, percent) + 8, y + 19, 0, text);
}

static void component_row(const rg_plot *p, int row, const char *name, const rg_component *c)
{
    double y = p->top + 14 + ROW * row;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 15, row == 0);
    rg_text(p->cr, p->left - 10, y + 32, 1, 130, name);
    bar(p, y, c->study, true);
    bar_label(p, y, c->study, c->negative ? " (estimate was negative)" : "");
    bar(p, y + BAR + 4, c->contribution, false);
    bar_label(p, y + BAR + 4, c->contribution, "");
}

/* The word stands before or after its line, so that two near limits keep apart. */
static void percent_limit(const rg_plot *p, double percent, const char *word, bool after)
{
    char text[48];
    rg_plot_upright(p, percent, 1.4, 6);
    snprintf(text, sizeof text, "%s %g", word, percent);
    rg_font(p->cr, 14, false);
    rg_text(p->cr, rg_plot_x(p, percent) + (after ? -2 : 2), p->top - 8, after ? 0 : 1, 0, text);
}

static void component_legend(const rg_plot *p, double y)
{
    rg_plot k = *p;
    k.left += 4;
    k.width = 40;
    k.x0 = 0;
    k.x1 = 1;
    bar(&k, y, 1, true);
    bar(&k, y + 34, 1, false);
    rg_font(p->cr, 15, false);
    rg_text(p->cr, k.left + 52, y + 19, 0, 0, "percent of study variation (standard deviation)");
    rg_text(p->cr, k.left + 52, y + 53, 0, 0, "percent of the variance");
}

static void draw_components(cairo_t *cr, const rg_draw_gauge_args *a)
{
    static const rg_gauge_source shown[] = {RG_GAUGE_RR, RG_GAUGE_REPEATABILITY, RG_GAUGE_PERSON,
                                            RG_GAUGE_INTERACTION, RG_GAUGE_PART};
    enum { ROWS = 5 };
    rg_plot p = {
        .cr = cr, .left = 180, .top = 150, .width = 400, .height = 14 + ROW * ROWS, .x1 = 118};
    char text[16];
    for (int k = 0; k <= 100; k += 20) {
        double x = rg_plot_x(&p, k);
        rg_grey(cr, 0.85);
        cairo_set_line_width(cr, 1);
        cairo_move_to(cr, x, p.top);
        cairo_line_to(cr, x, p.top + p.height);
        cairo_stroke(cr);
        rg_grey(cr, 0);
        snprintf(text, sizeof text, "%d", k);
        rg_font(cr, 15, false);
        rg_text(cr, x, p.top + p.height + 22, 0.5, 0, text);
    }
    percent_limit(&p, a->settings->accept_percent, "accept", false);
    percent_limit(&p, a->settings->refuse_percent, "refuse", true);
    for (int i = 0; i < ROWS; i++)
        component_row(&p, i, rg_gauge_source_name(shown[i]), &a->result->gauge.source[shown[i]]);
    cairo_set_line_width(cr, 1.4);
    cairo_rectangle(cr, p.left, p.top, p.width, p.height);
    cairo_stroke(cr);
    component_legend(&p, p.top + p.height + 44);
}

/* ---------------------------------------------------------------- values */

/* A mark for each person; beyond the sixth they repeat. */
static void mark(cairo_t *cr, int person, double x, double y)
{
    double s = 5;
    switch (person % 6) {
    case 0:
        cairo_arc(cr, x, y, s, 0, 6.2832);
        break;
    case 1:
        cairo_rectangle(cr, x - s, y - s, 2 * s, 2 * s);
        break;
    case 2:
    case 4: {
        double tip = person % 6 == 2 ? -1.3 * s : 1.3 * s;
        cairo_move_to(cr, x, y + tip);
        cairo_line_to(cr, x + 1.2 * s, y - tip * 0.7);
        cairo_line_to(cr, x - 1.2 * s, y - tip * 0.7);
        cairo_close_path(cr);
        break;
    }
    default:
        cairo_move_to(cr, x - s, y - s);
        cairo_line_to(cr, x + s, y + s);
        cairo_move_to(cr, x - s, y + s);
        cairo_line_to(cr, x + s, y - s);
    }
    cairo_set_line_width(cr, 1.4);
    if (person % 6 == 1 || person % 6 == 4)
        cairo_fill(cr);
    else
        cairo_stroke(cr);
}

static void value_range(const rg_draw_gauge_args *a, int parts, rg_plot *p)
{
    const rg_gauge *g = &a->result->gauge;
    p->y0 = INFINITY;
    p->y1 = -INFINITY;
    for (int i = 0; i < parts * g->persons * g->repeats; i++) {
        p->y0 = fmin(p->y0, a->result->value[i]);
        p->y1 = fmax(p->y1, a->result->value[i]);
    }
    for (int i = 0; i < parts; i++)
        if (isfinite(a->result->part[i].reference_mm)) {
            p->y0 = fmin(p->y0, a->result->part[i].reference_mm);
            p->y1 = fmax(p->y1, a->result->part[i].reference_mm);
        }
    rg_plot_widen(&p->y0, &p->y1, 0.06, false);
}

/* Values of one person on one part, and the tick of their mean. */
static void draw_cell(const rg_plot *p, const rg_draw_gauge_args *a, int part, int person, double x,
                      double reach)
{
    const rg_gauge *g = &a->result->gauge;
    const double *v = a->result->value + ((long)part * g->persons + person) * g->repeats;
    double mean = 0;
    for (int k = 0; k < g->repeats; k++) {
        mark(p->cr, person, x, rg_plot_y(p, v[k]));
        mean += v[k] / g->repeats;
    }
    cairo_move_to(p->cr, x - reach, rg_plot_y(p, mean));
    cairo_line_to(p->cr, x + reach, rg_plot_y(p, mean));
    cairo_set_line_width(p->cr, 1.4);
    cairo_stroke(p->cr);
}

static void draw_part(const rg_plot *p, const rg_draw_gauge_args *a, int part, double left,
                      double width)
{
    const rg_gauge *g = &a->result->gauge;
    double reference = a->result->part[part].reference_mm, step = width / (g->persons + 1);
    static const double dash = 5;
    for (int k = 0; k < g->persons; k++)
        draw_cell(p, a, part, k, left + step * (k + 1), fmin(step * 0.4, 14));
    if (isfinite(reference)) {
        cairo_move_to(p->cr, left + 2, rg_plot_y(p, reference));
        cairo_line_to(p->cr, left + width - 2, rg_plot_y(p, reference));
        cairo_set_dash(p->cr, &dash, 1, 0);
        cairo_set_line_width(p->cr, 1.6);
        cairo_stroke(p->cr);
        cairo_set_dash(p->cr, NULL, 0, 0);
    }
    rg_font(p->cr, 15, false);
    rg_text(p->cr, left + width / 2, p->top + p->height + 22, 0.5, width - 4, a->part[part]);
    rg_grey(p->cr, 0.7);
    cairo_set_line_width(p->cr, 0.8);
    cairo_move_to(p->cr, left + width, p->top);
    cairo_line_to(p->cr, left + width, p->top + p->height);
    cairo_stroke(p->cr);
    rg_grey(p->cr, 0);
}

static void person_legend(const rg_plot *p, const rg_draw_gauge_args *a, double y)
{
    int n = a->result->gauge.persons, drawn = n < PERSONS_IN_LEGEND ? n : PERSONS_IN_LEGEND;
    double width = p->width / 4;
    char text[48];
    rg_font(p->cr, 15, false);
    for (int k = 0; k < drawn; k++) {
        double x = p->left + width * (k % 4) + 8, at = y + 26 * (k / 4);
        mark(p->cr, k, x, at - 5);
        rg_text(p->cr, x + 14, at, 0, width - 34, a->person[k]);
    }
    y += 26 * ((drawn + 3) / 4);
    if (n > drawn) {
        snprintf(text, sizeof text, "and %d more persons", n - drawn);
        rg_text(p->cr, p->left, y, 0, 0, text);
        y += 26;
    }
    rg_text(p->cr, p->left, y, 0, p->width,
            a->result->has_bias ? "bar: mean of a person on a part; dashed: known width"
                                : "bar: mean of a person on a part");
}

static void draw_values(cairo_t *cr, const rg_draw_gauge_args *a)
{
    int all = a->result->gauge.parts,
        parts = all < RG_STUDY_PARTS_DRAWN ? all : RG_STUDY_PARTS_DRAWN;
    rg_plot p = {.cr = cr, .left = 700, .top = 150, .width = 660, .height = 14 + ROW * 5, .x1 = 1};
    char text[96];
    value_range(a, parts, &p);
    snprintf(text, sizeof text, "%s, %s", a->quantity, a->result->degrees ? "degrees" : "mm");
    rg_plot_y_axis(&p, text);
    double width = p.width / parts;
    for (int i = 0; i < parts; i++)
        draw_part(&p, a, i, p.left + width * i, width);
    if (all > parts) {
        snprintf(text, sizeof text, "the first %d of %d parts", parts, all);
        rg_text(cr, p.left + p.width, p.top - 14, 1, 0, text);
    }
    person_legend(&p, a, p.top + p.height + 60);
}

/* ---------------------------------------------------------------- figures */

static double figure(cairo_t *cr, double y, bool bold, const char *text)
{
    rg_font(cr, 16, bold);
    return y + 23 * rg_text_wrap(cr, RG_STUDY_MARGIN, y, RG_STUDY_WIDTH - 2 * RG_STUDY_MARGIN, 23,
                                 2, true, text);
}

static void draw_figures(cairo_t *cr, const rg_draw_gauge_args *a, double y)
{
    const rg_gauge_study_result *r = a->result;
    const rg_gauge *g = &r->gauge;
    const char *unit = r->degrees ? "degrees" : "mm";
    char text[RG_DRAW_TEXT];
    snprintf(text, sizeof text,
             "Gauge (R&R): %.3g %s standard deviation, %.1f %% of study variation: %s. Distinct "
             "categories: %d.",
             g->source[RG_GAUGE_RR].sd, unit, g->source[RG_GAUGE_RR].study,
             rg_study_verdict_name(r->verdict), g->categories);
    y = figure(cr, y, true, text);
    snprintf(text, sizeof text, "Repeatability %.3g %s (interval %.3g to %.3g). %s",
             g->source[RG_GAUGE_REPEATABILITY].sd, unit, g->repeatability_low,
             g->repeatability_high, g->pooled ? "Part x person was pooled into it." : "");
    y = figure(cr, y, false, text);
    if (r->has_bias) {
        snprintf(text, sizeof text, "Bias %+.3g mm (interval %+.3g to %+.3g, p = %.3g).",
                 r->bias.bias, r->bias.low, r->bias.high, r->bias.p);
        figure(cr, y, false, text);
    }
}

rg_code rg_draw_gauge(const rg_draw_gauge_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    rg_canvas canvas;
    char below[160];
    const rg_gauge *g = &args->result->gauge;
    *out = (rg_bytes){0};
    rg_code code = rg_canvas_open(&canvas, format, RG_STUDY_WIDTH, RG_STUDY_HEIGHT, err);
    if (code != RG_OK)
        return code;
    snprintf(below, sizeof below, "%d parts, %d person%s, %d repeat%s each: %s", g->parts,
             g->persons, g->persons == 1 ? "" : "s", g->repeats, g->repeats == 1 ? "" : "s",
             args->quantity);
    rg_study_header(canvas.cr, "Repeatability and reproducibility", below, args->table);
    draw_components(canvas.cr, args);
    draw_values(canvas.cr, args);
    draw_figures(canvas.cr, args, 766);
    return rg_canvas_close(&canvas, out, err);
}

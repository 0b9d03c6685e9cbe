/*
 * draw_archive_change.c - one pad at two visits.
 *
 * Left, the ring as one looks down on the cup, key arm at the top: the earlier outline dashed, the later one
 * solid. Below, unrolled on one scale of bearings: both widths with their U (grey: the
 * earlier, upright bars: the later), then the change with its U_d, black where an arc is wider,
 * crossed where it is narrower, hatched where it cannot be compared.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_archive_private.h"
#include "rimglow/light.h"
#include "rimglow/vec.h"

enum { ARCS_TOLD = 8, RUNS_MAX = RG_BINS / 2 + 1 };

static const double centre_x = 300, centre_y = 352, rim_radius = 92, edge_radius = 190;
static const double strip_left = 116, strip_width = 1240;

typedef struct view {
    cairo_t *cr;
    const rg_draw_change_args *args;
    const rg_change *change;
    double top_mm, step_mm;              /* of the widths' scale */
    const rg_change_arc *arc[ARCS_TOLD]; /* the largest changes first */
    int told;
} view;

/* ------------------------------------------------------------------ values */

typedef struct band {
    double width[RG_BINS], u[RG_BINS]; /* U; NAN where unseen */
} band;

/* A dark bearing's width may be anything up to its detection limit. */
static band band_of(const view *v, const rg_seal_map *map, bool after)
{
    band s;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        double w = after ? v->change->bin[b].after_mm : v->change->bin[b].before_mm;
        bool dark = bin->state == RG_BIN_SEALED && w == 0;
        double u = dark ? 1 : v->args->coverage_factor;
        s.width[b] = rg_archive_kept(w);
        s.u[b] = rg_archive_u(u, dark ? bin->detection_limit_mm : bin->u_mm);
    }
    return s;
}

static double change_u(const view *v, const rg_change_bin *bin)
{
    return rg_archive_u(v->args->coverage_factor, bin->u_mm);
}

static void choose_scale(view *v, const band *before, const band *after)
{
    double top = 2 * v->args->tolerance_mm;
    for (int b = 0; b < RG_BINS; b++) {
        top = fmax(top, before->width[b] + before->u[b]); /* fmax passes NAN by */
        top = fmax(top, after->width[b] + after->u[b]);
    }
    top *= 1.03;
    v->step_mm = rg_plot_step(top, 5);
    v->top_mm = v->step_mm * ceil(top / v->step_mm - 1e-9);
}

static int by_change(const void *a, const void *b)
{
    const rg_change_arc *x = *(const rg_change_arc *const *)a,
                        *y = *(const rg_change_arc *const *)b;
    double dx = fabs(x->most_mm), dy = fabs(y->most_mm);
    return dx > dy ? -1 : dx < dy ? 1 : x < y ? -1 : x > y;
}

static void choose_arcs(view *v)
{
    const rg_change_arc *order[RG_CHANGE_ARCS_MAX];
    int n = v->change->arcs;
    for (int i = 0; i < n; i++)
        order[i] = &v->change->arc[i];
    /* cppcheck-suppress uninitvar ; the first n are set */
    qsort(order, (size_t)n, sizeof *order, by_change);
    v->told = n < ARCS_TOLD ? n : ARCS_TOLD;
    memcpy(v->arc, order, (size_t)v->told * sizeof *order);
}

/* ------------------------------------------------------------------- words */

static void where_text(const rg_change_arc *arc, char *text, size_t size)
{
    if (arc->extent_deg >= 360)
        snprintf(text, size, "all round");
    else
        snprintf(text, size, "%.0f\u00b0 to %.0f\u00b0", arc->start_deg, arc->end_deg);
}

static void arc_text(const view *v, const rg_change_arc *arc, char *text, size_t size)
{
    char where[48];
    where_text(arc, where, sizeof where);
    snprintf(text, size, "%s by %.3f \u00b1 %.3f mm at %.0f\u00b0 (%s)",
             rg_change_state_name(arc->state), fabs(rg_archive_kept(arc->most_mm)),
             rg_archive_u(v->args->coverage_factor, arc->u_most_mm), arc->most_bearing_deg, where);
}

/* The largest arc of the other kind than the largest of all. */
static const rg_change_arc *opposite(const view *v)
{
    for (int i = 1; i < v->told; i++)
        if (v->arc[i]->state != v->arc[0]->state)
            return v->arc[i];
    return NULL;
}

static void result_text(const view *v, char text[RG_DRAW_TEXT])
{
    char one[160], two[160] = "", more[48] = "";
    if (v->told == 0) {
        snprintf(text, RG_DRAW_TEXT, "%s",
                 v->change->comparable ? "No change shown: nothing beyond the uncertainty"
                                       : "Nothing can be compared: no bearing was seen both times");
        return;
    }
    const rg_change_arc *second = opposite(v);
    int rest = v->change->arcs - (second ? 2 : 1);
    arc_text(v, v->arc[0], one, sizeof one);
    if (second)
        arc_text(v, second, two, sizeof two);
    if (rest > 0)
        snprintf(more, sizeof more, "; %d more arc%s", rest, rest == 1 ? "" : "s");
    snprintf(text, RG_DRAW_TEXT, "%c%s%s%s%s", v->arc[0]->state == RG_CHANGE_GREW ? 'W' : 'N',
             one + 1, second ? "; " : "", two, more);
}

static void draw_header(const view *v)
{
    char subject[RG_DRAW_TEXT], what[RG_DRAW_TEXT], result[RG_DRAW_TEXT];
    rg_archive_subject(subject, v->args->serial, v->args->pad);
    snprintf(what, sizeof what, "what changed between two visits: %.440s", subject);
    result_text(v, result);
    rg_archive_header(v->cr, what, result);
}

/* -------------------------------------------------------------------- ring */

static double radius_of(const view *v, double mm)
{
    double share = mm / v->top_mm;
    return rim_radius + (share > 0 ? fmin(share, 1) : 0) * (edge_radius - rim_radius);
}

static rg_vec2 polar(double radius, double bearing_deg)
{
    double b = rg_radians(bearing_deg);
    return (rg_vec2){centre_x + radius * sin(b), centre_y - radius * cos(b)};
}

static void circle(cairo_t *cr, double radius)
{
    cairo_new_sub_path(cr);
    cairo_arc(cr, centre_x, centre_y, radius, 0, 2 * RG_PI);
}

static void ring_grid(const view *v)
{
    rg_grey(v->cr, 0.78);
    for (double mm = v->step_mm; mm < v->top_mm * 1.0001; mm += v->step_mm) {
        circle(v->cr, radius_of(v, mm));
        rg_plot_stroke(v->cr, 0.8, 0);
    }
    for (int b = 0; b < 360; b += 30) {
        rg_vec2 a = polar(rim_radius, b), z = polar(edge_radius, b);
        rg_archive_line(v->cr, a.x, a.y, z.x, z.y, 0.8, 0);
    }
}

static void ring_unseen(const view *v)
{
    uint8_t mask[RG_BINS];
    rg_run run[RUNS_MAX];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = v->change->bin[b].state == RG_CHANGE_UNSEEN;
    int n = rg_circular_runs(mask, RG_BINS, run, RUNS_MAX);
    cairo_set_line_width(v->cr, 1.2);
    rg_grey(v->cr, 0.3);
    for (int i = 0; i < n; i++) {
        double from = rg_radians(run[i].start - 0.5 - 90), to = from + rg_radians(run[i].length);
        cairo_new_path(v->cr);
        cairo_arc(v->cr, centre_x, centre_y, edge_radius, from, to);
        if (run[i].length >= RG_BINS)
            cairo_new_sub_path(v->cr);
        cairo_arc_negative(v->cr, centre_x, centre_y, rim_radius, to, from);
        cairo_close_path(v->cr);
        rg_fill_pattern(v->cr, RG_PATTERN_DIAGONAL, 9);
    }
}

/* The outline of what was seen, broken where it was not. */
static void ring_outline(const view *v, const band *s)
{
    bool pen = false;
    cairo_new_path(v->cr);
    for (int b = 0; b <= RG_BINS; b++) {
        double w = s->width[b % RG_BINS];
        if (isnan(w)) {
            pen = false;
            continue;
        }
        rg_vec2 p = polar(radius_of(v, w), b);
        if (pen)
            cairo_line_to(v->cr, p.x, p.y);
        else
            cairo_move_to(v->cr, p.x, p.y);
        pen = true;
    }
}

/* Solid for the later visit, dashed on a white casing for the earlier one. */
static void stroke_visit(cairo_t *cr, bool after)
{
    if (after) {
        rg_grey(cr, 0);
        rg_plot_stroke(cr, 2.6, 0);
        return;
    }
    cairo_set_line_width(cr, 4.6);
    rg_grey(cr, 1);
    cairo_stroke_preserve(cr);
    rg_grey(cr, 0);
    rg_plot_stroke(cr, 2.2, 6);
}

static void ring_words(const view *v)
{
    char text[48];
    rg_font(v->cr, 14, false);
    for (int b = 30; b < 360; b += 30) {
        rg_vec2 p = polar(edge_radius + 24, b);
        snprintf(text, sizeof text, "%d\u00b0", b);
        rg_text(v->cr, p.x + 2, p.y + 5, 0.5, 0, text);
    }
    double foot = centre_y - edge_radius - 3;
    rg_grey(v->cr, 0.85);
    cairo_rectangle(v->cr, centre_x - 7, foot - 26, 14, 26);
    cairo_fill_preserve(v->cr);
    rg_grey(v->cr, 0);
    rg_plot_stroke(v->cr, 2, 0);
    rg_text(v->cr, centre_x + 16, foot - 10, 0, 0, "0\u00b0 key arm");
    snprintf(text, sizeof text, "outer ring %.3g mm", v->top_mm);
    rg_text(v->cr, centre_x, centre_y - 8, 0.5, 2 * rim_radius - 20, text);
    snprintf(text, sizeof text, "rings %.2g mm", v->step_mm);
    rg_text(v->cr, centre_x, centre_y + 12, 0.5, 2 * rim_radius - 20, text);
}

/* Moves a mark along its scale, away from those that stand already, a step to either side in turn. */
static double free_place(double at, double apart, double *taken, int n)
{
    for (int k = 0; k < 2 * ARCS_TOLD + 1; k++) {
        double place = at + (k % 2 ? 1 : -1) * apart * ((k + 1) / 2);
        bool clear = true;
        for (int i = 0; i < n; i++)
            clear &= fabs(place - taken[i]) >= apart - 1e-9;
        if (clear)
            return taken[n] = place;
    }
    return taken[n] = at;
}

static void draw_letter(cairo_t *cr, double x, double y, int place)
{
    char letter[2] = {(char)('A' + place), 0};
    cairo_new_path(cr);
    cairo_arc(cr, x, y, 10, 0, 2 * RG_PI);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    rg_plot_stroke(cr, 1.6, 0);
    rg_font(cr, 14, true);
    rg_text(cr, x, y + 5, 0.5, 0, letter);
}

static void draw_ring(const view *v, const band *before, const band *after)
{
    ring_grid(v);
    ring_unseen(v);
    ring_outline(v, after);
    stroke_visit(v->cr, true);
    ring_outline(v, before);
    stroke_visit(v->cr, false);
    rg_grey(v->cr, 0);
    circle(v->cr, radius_of(v, v->args->tolerance_mm));
    rg_plot_stroke(v->cr, 1.4, 2);
    circle(v->cr, rim_radius - 2);
    rg_plot_stroke(v->cr, 4, 0);
    circle(v->cr, edge_radius);
    rg_plot_stroke(v->cr, 1.2, 0);
    ring_words(v);
    double taken[ARCS_TOLD];
    for (int i = 0; i < v->told; i++) {
        /* Further out at the sides, where the bearings' numbers are wide. */
        double b = rg_radians(free_place(v->arc[i]->most_bearing_deg, 6, taken, i));
        draw_letter(v->cr, centre_x + (edge_radius + 62) * sin(b),
                    centre_y - (edge_radius + 44) * cos(b), i);
    }
}

/* ------------------------------------------------------------------ strips */

/* Outline of a band from first to last bearing of a run, there and back. */
static void band_path(const rg_plot *p, const double *low, const double *high, int first, int last)
{
    cairo_new_path(p->cr);
    for (int b = first; b <= last; b++)
        cairo_line_to(p->cr, rg_plot_x(p, b), rg_plot_y(p, high[b]));
    for (int b = last; b >= first; b--)
        cairo_line_to(p->cr, rg_plot_x(p, b), rg_plot_y(p, low[b]));
    cairo_close_path(p->cr);
}

typedef void fill(cairo_t *cr);

static void fill_light(cairo_t *cr)
{
    rg_grey(cr, 0.84);
    cairo_fill(cr);
}

static void fill_bars(cairo_t *cr)
{
    rg_grey(cr, 0.25);
    cairo_set_line_width(cr, 0.9);
    rg_fill_pattern(cr, RG_PATTERN_BARS, 5);
}

static void fill_black(cairo_t *cr)
{
    rg_grey(cr, 0);
    cairo_fill(cr);
}

static void fill_crossed(cairo_t *cr)
{
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 1.2);
    rg_fill_pattern(cr, RG_PATTERN_CROSS, 6);
}

/* Fills between two curves wherever both are numbers. */
static void fill_band(const rg_plot *p, const double *low, const double *high, fill *how)
{
    for (int b = 0, first = -1; b <= RG_BINS; b++) {
        bool here = b < RG_BINS && isfinite(low[b]) && isfinite(high[b]);
        if (here && first < 0)
            first = b;
        if (!here && first >= 0) {
            band_path(p, low, high, first, b - 1);
            how(p->cr);
            first = -1;
        }
    }
}

static void fill_u(const rg_plot *p, const double *middle, const double *u, fill *how)
{
    double low[RG_BINS], high[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        low[b] = middle[b] - u[b];
        high[b] = middle[b] + u[b];
    }
    fill_band(p, low, high, how);
}

static void strip_curve(const rg_plot *p, const double *value, bool after)
{
    bool pen = false;
    cairo_new_path(p->cr);
    for (int b = 0; b < RG_BINS; b++) {
        if (isnan(value[b])) {
            pen = false;
            continue;
        }
        if (pen)
            cairo_line_to(p->cr, rg_plot_x(p, b), rg_plot_y(p, value[b]));
        else
            cairo_move_to(p->cr, rg_plot_x(p, b), rg_plot_y(p, value[b]));
        pen = true;
    }
    stroke_visit(p->cr, after);
}

static void bearing_lines(const rg_plot *p, bool words)
{
    char text[16];
    rg_font(p->cr, 14, false);
    for (int b = 0; b <= 360; b += 30) {
        double x = rg_plot_x(p, b);
        rg_grey(p->cr, 0.85);
        rg_archive_line(p->cr, x, p->top, x, p->top + p->height, 1, 0);
        rg_grey(p->cr, 0);
        snprintf(text, sizeof text, "%d\u00b0", b);
        if (words)
            rg_text(p->cr, x, p->top + p->height + 20, 0.5, 0, text);
    }
}

static void draw_widths(const view *v, const band *before, const band *after)
{
    const rg_plot p = {.cr = v->cr,
                       .left = strip_left,
                       .top = 618,
                       .width = strip_width,
                       .height = 138,
                       .x0 = 0,
                       .x1 = 360,
                       .y0 = 0,
                       .y1 = v->top_mm};
    bearing_lines(&p, false);
    rg_plot_y_axis(&p, "gap width, mm");
    rg_plot_clip(&p);
    fill_u(&p, before->width, before->u, fill_light);
    fill_u(&p, after->width, after->u, fill_bars);
    strip_curve(&p, after->width, true);
    strip_curve(&p, before->width, false);
    rg_grey(v->cr, 0);
    rg_plot_level(&p, v->args->tolerance_mm, 1.4, 2);
    cairo_restore(v->cr);
}

static void hatch_unseen(const view *v, const rg_plot *p)
{
    rg_font(v->cr, 14, true);
    for (int b = 0, first = -1; b <= RG_BINS; b++) {
        bool here = b < RG_BINS && v->change->bin[b].state == RG_CHANGE_UNSEEN;
        if (here && first < 0)
            first = b;
        if (here || first < 0)
            continue;
        double x0 = rg_plot_x(p, first - 0.5), x1 = rg_plot_x(p, b - 0.5);
        rg_grey(v->cr, 0.35);
        cairo_set_line_width(v->cr, 1.1);
        cairo_rectangle(v->cr, x0, p->top, x1 - x0, p->height);
        rg_fill_pattern(v->cr, RG_PATTERN_DIAGONAL, 9);
        rg_grey(v->cr, 0);
        if (x1 - x0 > rg_text_width(v->cr, "not comparable") + 12)
            rg_text_halo(v->cr, (x0 + x1) / 2, p->top + p->height - 10, 0.5, "not comparable");
        first = -1;
    }
}

static bool within(const rg_change_arc *arc, int b)
{
    return fmod(b - arc->start_deg + 720, 360) <= arc->extent_deg;
}

/* From 0 to the change over one arc; NAN elsewhere. */
static void fill_arc(const view *v, const rg_plot *p, const rg_change_arc *arc)
{
    double zero[RG_BINS], value[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        zero[b] = within(arc, b) ? 0 : NAN;
        value[b] = rg_archive_kept(v->change->bin[b].change_mm);
    }
    fill_band(p, zero, value, arc->state == RG_CHANGE_GREW ? fill_black : fill_crossed);
}

/* 0 where not comparable. */
static double change_size(const view *v, int b)
{
    double d = fabs(rg_archive_kept(v->change->bin[b].change_mm));
    return isnan(d) ? 0 : d;
}

static rg_plot change_plot(const view *v)
{
    double most = v->args->tolerance_mm;
    for (int b = 0; b < RG_BINS; b++)
        most = fmax(most, change_size(v, b) + change_u(v, &v->change->bin[b]));
    return (rg_plot){.cr = v->cr,
                     .left = strip_left,
                     .top = 806,
                     .width = strip_width,
                     .height = 128,
                     .x0 = 0,
                     .x1 = 360,
                     .y0 = -1.08 * most,
                     .y1 = 1.08 * most};
}

static void draw_change(const view *v)
{
    double value[RG_BINS], u[RG_BINS];
    const rg_plot p = change_plot(v);
    for (int b = 0; b < RG_BINS; b++) {
        const rg_change_bin *bin = &v->change->bin[b];
        value[b] = rg_archive_kept(bin->change_mm);
        u[b] = change_u(v, bin);
    }
    bearing_lines(&p, true);
    rg_plot_y_axis(&p, "change, mm, with U");
    rg_plot_clip(&p);
    fill_u(&p, value, u, fill_light);
    for (int i = 0; i < v->change->arcs; i++)
        fill_arc(v, &p, &v->change->arc[i]);
    strip_curve(&p, value, true);
    rg_plot_level(&p, 0, 1.2, 0);
    hatch_unseen(v, &p);
    cairo_restore(v->cr);
    double taken[ARCS_TOLD];
    for (int i = 0; i < v->told; i++) {
        double x = free_place(rg_plot_x(&p, v->arc[i]->most_bearing_deg), 22, taken, i);
        draw_letter(v->cr, x, p.top - 14, i);
    }
    rg_font(v->cr, 14, false);
    rg_text(v->cr, p.left + p.width / 2, p.top + p.height + 44, 0.5, 0,
            "bearing from the key arm, clockwise seen from outside");
}

/* ------------------------------------------------------------------ beside */

static double told(const view *v, double y, bool bold, const char *text)
{
    rg_font(v->cr, 16, bold);
    rg_grey(v->cr, 0);
    int lines =
        rg_text_wrap(v->cr, 600, y, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN - 600, 21, 2, true, text);
    return y + 21 * lines + 3;
}

static void legend_box(cairo_t *cr, double x, double y, fill *how)
{
    cairo_rectangle(cr, x, y - 14, 46, 17);
    how(cr);
}

static void visit_key(const view *v, double y, bool after)
{
    char text[RG_DRAW_TEXT];
    cairo_t *cr = v->cr;
    legend_box(cr, 600, y, after ? fill_bars : fill_light);
    cairo_move_to(cr, 600, y - 6);
    cairo_line_to(cr, 646, y - 6);
    stroke_visit(cr, after);
    const rg_seal_map *map = after ? v->args->after : v->args->before;
    snprintf(text, sizeof text, "%s: %.300s (%s)", after ? "after" : "before",
             rg_draw_name(after ? v->args->after_label : v->args->before_label, "no date"),
             rg_verdict_name(map->verdict));
    rg_font(cr, 16, true);
    rg_text(cr, 660, y, 0, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN - 660, text);
}

static void fill_hatched(cairo_t *cr)
{
    rg_grey(cr, 0.35);
    cairo_set_line_width(cr, 1.1);
    rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 9);
}

static void draw_key(const view *v, double y)
{
    static const struct {
        double x;
        fill *how;
        const char *words;
    } row[] = {{600, fill_black, "wider"},
               {740, fill_crossed, "narrower"},
               {900, fill_hatched, "not comparable"}};
    char text[96];
    visit_key(v, y, false);
    visit_key(v, y + 28, true);
    for (int i = 0; i < 3; i++) {
        legend_box(v->cr, row[i].x, y + 56, row[i].how);
        rg_grey(v->cr, 0);
        rg_font(v->cr, 15, false);
        rg_text(v->cr, row[i].x + 56, y + 56, 0, 0, row[i].words);
    }
    rg_archive_line(v->cr, 1090, y + 50, 1136, y + 50, 1.4, 2);
    snprintf(text, sizeof text, "tolerance %.4g mm", v->args->tolerance_mm);
    rg_text(v->cr, 1146, y + 56, 0, 214, text);
    snprintf(text, sizeof text, "bands: U = %.3g u, detection limit where dark",
             v->args->coverage_factor);
    rg_text(v->cr, 600, y + 82, 0, 700, text);
}

static void draw_arcs(const view *v, double y)
{
    char text[200];
    for (int i = 0; i < v->told; i++) {
        arc_text(v, v->arc[i], text, sizeof text);
        draw_letter(v->cr, 611, y - 5, i);
        rg_font(v->cr, 16, i == 0);
        rg_text(v->cr, 632, y, 0, RG_ARCHIVE_WIDTH - RG_ARCHIVE_MARGIN - 632, text);
        y += 25;
    }
    if (v->change->arcs > v->told) {
        snprintf(text, sizeof text, "+ %d more arcs of smaller change", v->change->arcs - v->told);
        told(v, y, false, text);
    }
}

static void draw_side(const view *v)
{
    char text[200];
    const rg_change *c = v->change;
    draw_key(v, 140);
    double y = 256;
    if (c->comparable) {
        snprintf(text, sizeof text, "mean over %d comparable bearings: %+.3f \u00b1 %.3f mm",
                 c->comparable, rg_archive_written(c->mean_change_mm),
                 rg_archive_u(v->args->coverage_factor, c->u_mean_change_mm));
        y = told(v, y, false, text);
    }
    if (c->comparable < RG_BINS) {
        snprintf(text, sizeof text,
                 "%d of 360 bearings not comparable: unseen at one visit or both",
                 RG_BINS - c->comparable);
        y = told(v, y, false, text);
    }
    if (isfinite(c->turn_deg) && fabs(c->turn_deg) >= 0.5) {
        snprintf(text, sizeof text,
                 "the later map fits best when turned %s by %.1f\u00b0: was the crown set "
                 "differently?",
                 c->turn_deg > 0 ? "clockwise" : "counter-clockwise", fabs(c->turn_deg));
        y = told(v, y, false, text);
    }
    draw_arcs(v, y + 14);
}

/* -------------------------------------------------------------------- page */

rg_code rg_draw_change(const rg_draw_change_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    rg_code code = rg_archive_check(args->tolerance_mm, args->coverage_factor, err);
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_ARCHIVE_WIDTH, RG_ARCHIVE_HEIGHT, err);
    if (code != RG_OK)
        return code;
    view v = {.cr = canvas.cr, .args = args, .change = args->change};
    band before = band_of(&v, args->before, false), after = band_of(&v, args->after, true);
    choose_scale(&v, &before, &after);
    choose_arcs(&v);
    draw_header(&v);
    draw_ring(&v, &before, &after);
    draw_widths(&v, &before, &after);
    draw_change(&v);
    draw_side(&v);
    return rg_canvas_close(&canvas, out, err);
}

/*
 * draw_light.c - the calibration of the light on one page: the values found,
 * the response, the residuals, and the smallest gap that shows.
 */
#include <math.h>
#include <stdio.h>

#include "draw_plot.h"

enum { LEFT = 110, WIDE = 820, MARGIN = 36 };

typedef struct page {
    cairo_t *cr;
    const rg_draw_light_args *args;
    const rg_wedge_result *r;
} page;

/* ---------------------------------------------------------------- heading */

static void draw_heading(const page *p)
{
    char line[RG_DRAW_TEXT], name[RG_DRAW_TEXT];
    rg_grey(p->cr, 0);
    rg_font(p->cr, 34, true);
    rg_text(p->cr, MARGIN, 58, 0, 0, "Calibration of the light");
    rg_font(p->cr, 19, false);
    rg_draw_clean(name, rg_draw_name(p->args->station, "unnamed"));
    snprintf(line, sizeof line,
             "station %.120s, %.40s; feeler %.4f mm, u %.4f mm; %d bearings in "
             "%d frames",
             name, rg_draw_name(p->args->date, "no date"), p->args->blade.thickness_mm,
             p->args->blade.u_thickness_mm, p->r->bearings, p->r->frames);
    rg_text(p->cr, MARGIN, 92, 0, RG_RING_WIDTH - 2 * MARGIN, line);
}

static void draw_values(const page *p)
{
    char line[RG_DRAW_TEXT];
    double y = 130;
    rg_font(p->cr, 18, false);
    for (int k = 0; k < RG_WEDGE_VALUES; k++, y += 25) {
        snprintf(line, sizeof line, "%s", rg_wedge_value_key((rg_wedge_value)k));
        rg_text(p->cr, MARGIN, y, 0, 0, line);
        snprintf(line, sizeof line, "%.3f", p->r->value[k]);
        rg_text(p->cr, 320, y, 1, 0, line);
        snprintf(line, sizeof line, "u %.3f  (was %.3f)", p->r->u[k], p->r->before[k]);
        rg_text(p->cr, 340, y, 0, 0, line);
    }
    const struct {
        const char *what;
        double value;
        int places;
        const char *unit;
    } right[] = {{"depth of the slot", p->r->depth_mm, 2, "mm"},
                 {"blur at the rim", p->r->psf_sigma_px, 2, "px"},
                 {"full scale", p->r->full_scale, 3, "of 1"},
                 {"rms residual before", 1000 * p->r->rms_before_mm, 1, "um"},
                 {"rms residual after", 1000 * p->r->rms_mm, 1, "um"}};
    for (int k = 0; k < 5; k++) {
        y = 130 + 25 * k;
        rg_text(p->cr, 600, y, 0, 0, right[k].what);
        snprintf(line, sizeof line, "%.*f %s", right[k].places, right[k].value, right[k].unit);
        rg_text(p->cr, 800, y, 0, 0, line);
    }
}

/* ---------------------------------------------------------------- panels */

/* A sample of a curve or mark and its name, below the panel's right end. */
static void legend(const rg_plot *plot, double x, const char *text, bool curve, bool filled)
{
    cairo_t *cr = plot->cr;
    double y = plot->top - 14;
    rg_plot unit = {.cr = cr, .width = 1, .height = 1, .x1 = 1, .y0 = 1};
    rg_grey(cr, 0);
    if (curve) {
        cairo_move_to(cr, x, y - 5);
        cairo_line_to(cr, x + 34, y - 5);
        cairo_stroke(cr);
    } else
        rg_plot_dot(&unit, x + 17, y - 5, 7, filled);
    rg_font(cr, 15, false);
    rg_text(cr, x + 42, y, 0, 0, text);
}

/* Titles, axes, and from then on only inside the plot, until cairo_restore. */
static void begin_panel(const rg_plot *plot, const char *title, const char *x, const char *y)
{
    rg_plot_title(plot, title);
    rg_plot_axes(plot, x, y);
    rg_plot_clip(plot);
    rg_grey(plot->cr, 0);
}

static void draw_response(const page *p)
{
    cairo_t *cr = p->cr;
    double top = p->args->blade.thickness_mm, high = top;
    double ends[2] = {0, top}, x[RG_WEDGE_NODES], y[RG_WEDGE_NODES];
    for (int i = 0; i < p->r->nodes; i++) {
        x[i] = p->r->node[i].width_mm;
        y[i] = p->r->node[i].flux_mm;
        high = isfinite(y[i]) ? fmax(high, y[i]) : high;
    }
    const rg_plot a = {.cr = cr,
                       .left = LEFT,
                       .top = 330,
                       .width = WIDE,
                       .height = 286,
                       .x1 = top,
                       .y1 = 1.08 * high};
    begin_panel(&a, "Response", "gap of the wedge, mm", "reading, mm");
    cairo_set_line_width(cr, 1);
    rg_plot_curve(&a, ends, ends, 2);
    for (int b = 0; b < RG_BINS; b++)
        if (p->r->bin[b].used)
            rg_plot_dot(&a, p->r->bin[b].true_mm, p->r->bin[b].after_mm, 5, true);
    static const double dash[] = {9, 5};
    cairo_set_dash(cr, dash, 2, 0);
    cairo_set_line_width(cr, 2);
    rg_plot_curve(&a, x, y, p->r->nodes);
    cairo_set_dash(cr, NULL, 0, 0);
    for (int i = 0; i < p->r->nodes; i++)
        rg_plot_dot(&a, x[i], y[i], 9, false);
    cairo_restore(cr);
    cairo_set_line_width(cr, 1);
    legend(&a, 330, "calibrated width", false, true);
    legend(&a, 520, "light alone, clipped and blurred", false, false);
    legend(&a, 815, "equal", true, true);
}

static void draw_residuals(const page *p)
{
    enum { STEPS = 32 };
    cairo_t *cr = p->cr;
    double x[STEPS + 1], low[STEPS + 1], up[STEPS + 1], top = p->args->blade.thickness_mm;
    double high = fmax(4.2 * p->r->rms_mm, 1.15 * fabs(p->r->worst_mm));
    if (!(high > 0 && high < 1))
        high = 0.01;
    const rg_plot a = {.cr = cr,
                       .left = LEFT,
                       .top = 745,
                       .width = WIDE,
                       .height = 190,
                       .x1 = top,
                       .y0 = -high,
                       .y1 = high};
    begin_panel(&a, "What is left", "gap of the wedge, mm", "reading less gap, mm");
    for (int i = 0; i <= STEPS; i++) {
        x[i] = top * i / STEPS;
        up[i] = 2 * hypot(p->r->floor_mm, p->r->relative * x[i]);
        low[i] = -up[i];
    }
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &p->r->bin[b];
        if (bin->used)
            rg_plot_dot(&a, bin->true_mm, bin->after_mm - bin->true_mm, 5, true);
    }
    cairo_set_line_width(cr, 1.6);
    rg_plot_curve(&a, x, low, STEPS + 1);
    rg_plot_curve(&a, x, up, STEPS + 1);
    cairo_restore(cr);
    legend(&a, 330, "twice the model's uncertainty that follows from it", true, true);
}

static void draw_detection(const page *p)
{
    cairo_t *cr = p->cr;
    static const double dashes[RG_WEDGE_AMBIENTS][4] = {
        {1000, 0, 1000, 0}, {14, 5, 14, 5}, {7, 5, 7, 5}, {2, 4, 2, 4}, {12, 4, 2, 4}};
    const rg_plot a = {.cr = cr,
                       .left = LEFT,
                       .top = 1055,
                       .width = WIDE,
                       .height = 220,
                       .x0 = -1,
                       .x1 = 1,
                       .y1 = 0.05};
    begin_panel(&a, "Smallest gap that one frame shows, by noise and geometry alone",
                "elevation of the camera above the rim plane, degrees", "detection limit, mm");
    cairo_set_line_width(cr, 1.8);
    for (int k = 0; k < RG_WEDGE_AMBIENTS; k++) {
        cairo_set_dash(cr, dashes[k], 4, 0);
        rg_plot_curve(&a, p->r->elevation_deg, p->r->detection_mm[k], RG_WEDGE_ELEVATIONS);
    }
    cairo_restore(cr);
    cairo_set_dash(cr, NULL, 0, 0);
    rg_font(cr, 15, false);
    char line[RG_DRAW_TEXT];
    int middle = RG_WEDGE_ELEVATIONS / 2;
    snprintf(line, sizeof line,
             "level with the rim: %.4f mm in the light of the wedge, %.4f mm with %.2f of full "
             "scale more",
             p->r->detection_mm[0][middle], p->r->detection_mm[RG_WEDGE_AMBIENTS - 1][middle],
             p->r->ambient[RG_WEDGE_AMBIENTS - 1]);
    rg_text(cr, LEFT, 1055 + 220 + 78, 0, WIDE, line);
}

rg_code rg_draw_light(const rg_draw_light_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    if (!(args->blade.thickness_mm > 0))
        return rg_fail(err, RG_BAD_DATA, "the feeler's thickness %g mm is not above 0",
                       args->blade.thickness_mm);
    rg_code code = rg_canvas_open(&canvas, format, RG_RING_WIDTH, RG_RING_HEIGHT, err);
    if (code != RG_OK)
        return code;
    const page p = {canvas.cr, args, args->result};
    draw_heading(&p);
    draw_values(&p);
    draw_response(&p);
    draw_residuals(&p);
    draw_detection(&p);
    return rg_canvas_close(&canvas, out, err);
}

/*
 * draw_light.c - the calibration of the light on one page: the values found,
 * the response, the residuals, and the smallest gap that shows.
 */
#include <math.h>
#include <stdio.h>

#include "draw_axes.h"

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

static double step_for(double range, int most)
{
    double step = pow(10, floor(log10(range / most)));
    while (range / step > most)
        step *= range / (2 * step) <= most ? 2 : 5;
    return step;
}

/* A sample of a curve or mark and its name, below the panel's right end. */
static void legend(cairo_t *cr, const rg_axes *a, double x, const char *text, rg_plot_mark mark,
                   bool curve)
{
    double y = a->y - 12;
    rg_axes unit = {.x = 0, .y = 0, .width = 1, .height = 1, .x0 = 0, .x1 = 1, .y0 = 1, .y1 = 0};
    rg_grey(cr, 0);
    if (curve) {
        cairo_move_to(cr, x, y - 5);
        cairo_line_to(cr, x + 34, y - 5);
        cairo_stroke(cr);
    } else
        rg_axes_mark(cr, &unit, x + 17, y - 5, 7, mark);
    rg_font(cr, 15, false);
    rg_text(cr, x + 42, y, 0, 0, text);
}

static void draw_response(const page *p)
{
    cairo_t *cr = p->cr;
    double top = p->args->blade.thickness_mm, high = top;
    for (int i = 0; i < p->r->nodes; i++)
        high = fmax(high, p->r->node[i].flux_mm);
    rg_axes a = {.x = LEFT,
                 .y = 330,
                 .width = WIDE,
                 .height = 300,
                 .x1 = top,
                 .y1 = 1.08 * high,
                 .x_step = step_for(top, 10),
                 .y_step = step_for(high, 6),
                 .x_places = 2,
                 .y_places = 2,
                 .title = "Response",
                 .x_title = "gap of the wedge, mm",
                 .y_title = "reading, mm"};
    rg_axes_draw(cr, &a);
    rg_axes_clip(cr, &a);
    double ends[2] = {0, top}, x[RG_WEDGE_NODES], y[RG_WEDGE_NODES];
    cairo_set_line_width(cr, 1);
    rg_axes_curve(cr, &a, ends, ends, 2);
    for (int b = 0; b < RG_BINS; b++)
        if (p->r->bin[b].used)
            rg_axes_mark(cr, &a, p->r->bin[b].true_mm, p->r->bin[b].after_mm, 5, RG_PLOT_DOT);
    for (int i = 0; i < p->r->nodes; i++) {
        x[i] = p->r->node[i].width_mm;
        y[i] = p->r->node[i].flux_mm;
    }
    static const double dash[] = {9, 5};
    cairo_set_dash(cr, dash, 2, 0);
    cairo_set_line_width(cr, 2);
    rg_axes_curve(cr, &a, x, y, p->r->nodes);
    cairo_set_dash(cr, NULL, 0, 0);
    for (int i = 0; i < p->r->nodes; i++)
        rg_axes_mark(cr, &a, x[i], y[i], 9, RG_PLOT_RING);
    cairo_restore(cr);
    cairo_set_line_width(cr, 1);
    legend(cr, &a, 330, "calibrated width", RG_PLOT_DOT, false);
    legend(cr, &a, 520, "light alone, clipped and blurred", RG_PLOT_RING, false);
    legend(cr, &a, 815, "equal", RG_PLOT_DOT, true);
}

static void draw_residuals(const page *p)
{
    cairo_t *cr = p->cr;
    double top = p->args->blade.thickness_mm;
    double high = fmax(4.2 * p->r->rms_mm, 1.15 * fabs(p->r->worst_mm));
    rg_axes a = {.x = LEFT,
                 .y = 745,
                 .width = WIDE,
                 .height = 190,
                 .x1 = top,
                 .y0 = -high,
                 .y1 = high,
                 .x_step = step_for(top, 10),
                 .y_step = step_for(2 * high, 6),
                 .x_places = 2,
                 .y_places = 3,
                 .title = "What is left",
                 .x_title = "gap of the wedge, mm",
                 .y_title = "reading less gap, mm"};
    rg_axes_draw(cr, &a);
    rg_axes_clip(cr, &a);
    double x[33], low[33], up[33];
    for (int i = 0; i <= 32; i++) {
        x[i] = top * i / 32;
        up[i] = 2 * hypot(p->r->floor_mm, p->r->relative * x[i]);
        low[i] = -up[i];
    }
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &p->r->bin[b];
        if (bin->used)
            rg_axes_mark(cr, &a, bin->true_mm, bin->after_mm - bin->true_mm, 5, RG_PLOT_DOT);
    }
    cairo_set_line_width(cr, 1.6);
    rg_axes_curve(cr, &a, x, low, 33);
    rg_axes_curve(cr, &a, x, up, 33);
    cairo_restore(cr);
    legend(cr, &a, 330, "twice the model's uncertainty that follows from it", RG_PLOT_DOT, true);
}

static void draw_detection(const page *p)
{
    cairo_t *cr = p->cr;
    static const double dashes[RG_WEDGE_AMBIENTS][4] = {
        {1000, 0, 1000, 0}, {14, 5, 14, 5}, {7, 5, 7, 5}, {2, 4, 2, 4}, {12, 4, 2, 4}};
    double high = 0.05;
    rg_axes a = {.x = LEFT,
                 .y = 1055,
                 .width = WIDE,
                 .height = 220,
                 .x0 = -1,
                 .x1 = 1,
                 .y1 = high,
                 .x_step = 0.25,
                 .y_step = 0.01,
                 .x_places = 2,
                 .y_places = 2,
                 .title = "Smallest gap that one frame shows, by noise and geometry alone",
                 .x_title = "elevation of the camera above the rim plane, degrees",
                 .y_title = "detection limit, mm"};
    rg_axes_draw(cr, &a);
    rg_axes_clip(cr, &a);
    cairo_set_line_width(cr, 1.8);
    for (int k = 0; k < RG_WEDGE_AMBIENTS; k++) {
        cairo_set_dash(cr, dashes[k], 4, 0);
        rg_axes_curve(cr, &a, p->r->elevation_deg, p->r->detection_mm[k], RG_WEDGE_ELEVATIONS);
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
    rg_text(cr, LEFT, 1055 + 220 + 76, 0, WIDE, line);
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

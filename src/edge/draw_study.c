/*
 * draw_study.c - the two pictures of a detection study.
 */
#include "rimglow/draw_study.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "draw_study_private.h"

void rg_study_header(cairo_t *cr, const char *title, const char *below, const char *table)
{
    rg_grey(cr, 0);
    rg_font(cr, 28, true);
    rg_text(cr, RG_STUDY_MARGIN, 48, 0, 860, title);
    rg_font(cr, 16, false);
    rg_text(cr, RG_STUDY_MARGIN, 76, 0, 1300, below);
    rg_font(cr, 18, true);
    rg_text(cr, RG_STUDY_WIDTH - RG_STUDY_MARGIN, 46, 1, 440, rg_draw_name(table, ""));
}

/* ------------------------------------------------------------------ POD */

/* The study by which the picture is drawn. */
typedef struct pod_view {
    const rg_detection_result *r;
    const rg_pod *pod;
    const rg_pod_point *curve;
    bool hits;
} pod_view;

static pod_view view_of(const rg_detection_result *r)
{
    const rg_pod *pod = rg_detection_main(r);
    bool hits = pod == &r->pod;
    return (pod_view){r, pod, hits ? r->curve : r->signal_curve, hits};
}

/* Sizes from the smallest target to the largest one, or to a90/95. */
static void size_range(const pod_view *v, rg_plot *p)
{
    double low = INFINITY, high = 0;
    for (int i = 0; i < v->r->targets; i++) {
        low = fmin(low, v->r->size[i]);
        high = fmax(high, v->r->size[i]);
    }
    if (v->pod->state == RG_POD_FITTED) {
        low = fmin(low, v->pod->a50 > 0 ? v->pod->a50 : low);
        high = fmax(high, fmin(v->pod->a90, 3 * high));
        if (isfinite(v->pod->a90_95))
            high = fmax(high, fmin(v->pod->a90_95, 3 * high));
    }
    if (!(low <= high)) {
        low = 0.001;
        high = 1;
    }
    /* A lone tiny target would squeeze all others to one side. */
    p->log_x = v->pod->axis == RG_AXIS_LOG;
    p->x0 = p->log_x ? fmax(low, high / 1000) : 0;
    p->x1 = high;
    rg_plot_widen(&p->x0, &p->x1, 0.04, p->log_x);
    if (!p->log_x)
        p->x0 = 0;
}

/* NAN and infinite points end a stretch of the line. */
static void curve_line(const rg_plot *p, const rg_pod_point *point, size_t offset, double width,
                       double dash)
{
    bool open = false;
    for (int k = 0; k < RG_POD_POINTS; k++) {
        double size;
        memcpy(&size, (const char *)&point[k] + offset, sizeof size);
        if (!isfinite(size) || (p->log_x && !(size > 0))) {
            open = false;
            continue;
        }
        double x = fmin(fmax(rg_plot_x(p, size), p->left - 1e4), p->left + 1e5);
        double y = rg_plot_y(p, point[k].pod);
        if (open)
            cairo_line_to(p->cr, x, y);
        else
            cairo_move_to(p->cr, x, y);
        open = true;
    }
    rg_plot_stroke(p->cr, width, dash);
}

/* Ticks of the targets: found above the plot's 1, missed below its 0. */
static void target_ticks(const rg_plot *p, const rg_detection_result *r)
{
    cairo_set_line_width(p->cr, 1.2);
    for (int i = 0; i < r->targets; i++) {
        double x = fmax(rg_plot_x(p, r->size[i] > 0 ? r->size[i] : p->x0), p->left);
        double y = rg_plot_y(p, r->hit[i] ? 1 : 0), reach = r->hit[i] ? -14 : 14;
        cairo_move_to(p->cr, x, y + reach / 7);
        cairo_line_to(p->cr, x, y + reach);
    }
    cairo_stroke(p->cr);
}

static void name_size(const rg_plot *p, double size, double share, const char *name)
{
    char text[64];
    double x = rg_plot_x(p, size);
    if (!isfinite(size) || x < p->left || x > p->left + p->width)
        return;
    snprintf(text, sizeof text, "%s %.3g", name, size);
    rg_font(p->cr, 15, true);
    double width = rg_text_width(p->cr, text);
    bool left = x + 8 + width > p->left + p->width;
    rg_text_halo(p->cr, left ? x - 8 : x + 8, rg_plot_y(p, share), left ? 1 : 0, text);
}

static void pod_lines(const rg_plot *p, const pod_view *v)
{
    rg_plot_clip(p);
    rg_grey(p->cr, 0);
    rg_plot_level(p, 0.9, 0.8, 2);
    curve_line(p, v->curve, offsetof(rg_pod_point, high), 1.6, 7);
    curve_line(p, v->curve, offsetof(rg_pod_point, size), 2.6, 0);
    rg_plot_upright(p, v->pod->a50, 1.6, 3);
    rg_plot_upright(p, v->pod->a90, 1.6, 3);
    rg_plot_upright(p, v->pod->a90_95, 1.6, 7);
    name_size(p, v->pod->a50, 0.20, "a50");
    name_size(p, v->pod->a90, 0.13, "a90");
    name_size(p, v->pod->a90_95, 0.06, "a90/95");
    cairo_restore(p->cr);
}

/* Between the largest missed and the smallest found nothing is known. */
static void unknown_band(const rg_plot *p, const rg_detection_result *r)
{
    double low = fmax(rg_plot_x(p, r->largest_missed), p->left);
    double high = rg_plot_x(p, r->smallest_found);
    if (!(high > low + 2))
        return;
    cairo_rectangle(p->cr, low, rg_plot_y(p, 1), high - low, rg_plot_y(p, 0) - rg_plot_y(p, 1));
    rg_grey(p->cr, 0.45);
    cairo_set_line_width(p->cr, 1);
    rg_fill_pattern(p->cr, RG_PATTERN_DIAGONAL, 12);
    rg_grey(p->cr, 0);
    rg_font(p->cr, 15, true);
    rg_text_halo(p->cr, (low + high) / 2, rg_plot_y(p, 0.5), 0.5, "begins in here");
}

/* Lines of text at the right; returns the next baseline. */
static double note(cairo_t *cr, double y, bool bold, const char *text)
{
    rg_font(cr, 15, bold);
    int lines = rg_text_wrap(cr, 1040, y, 320, 21, 8, true, text);
    return y + 21 * lines + 5;
}

static void size_text(char *to, size_t size, const char *name, double value)
{
    if (isinf(value))
        snprintf(to, size, "%s: the data set no bound", name);
    else
        snprintf(to, size, "%s = %.4g", name, value);
}

static double fit_notes(cairo_t *cr, double y, const pod_view *v)
{
    char text[RG_DRAW_TEXT];
    if (v->pod->state != RG_POD_FITTED) {
        y = note(cr, y, true, "No curve");
        return note(cr, y, false, rg_pod_state_text(v->pod->state));
    }
    size_text(text, sizeof text, "a50", v->pod->a50);
    y = note(cr, y, false, text);
    size_text(text, sizeof text, "a90", v->pod->a90);
    y = note(cr, y, false, text);
    size_text(text, sizeof text, "a90/95", v->pod->a90_95);
    y = note(cr, y, true, text);
    snprintf(text, sizeof text, "%s over %s size; bound by %s", rg_pod_link_name(v->pod->link),
             v->pod->axis == RG_AXIS_LOG ? "log" : "linear",
             v->hits ? "likelihood ratio (MIL-HDBK-1823A)" : "the delta method (MIL-HDBK-1823A)");
    return note(cr, y, false, text);
}

static double count_notes(cairo_t *cr, double y, const rg_detection_result *r)
{
    char text[RG_DRAW_TEXT];
    snprintf(text, sizeof text, "%d targets, %d found: %.1f to %.1f %% (exact)", r->targets,
             r->found, 100 * r->found_low, 100 * r->found_high);
    y = note(cr, y + 12, false, text);
    if (isfinite(r->largest_missed) && r->above > 0) {
        snprintf(text, sizeof text,
                 "largest missed %.4g; above it %d of %d found, POD at least %.3f (limit chosen by "
                 "the data)",
                 r->largest_missed, r->above_found, r->above, r->above_low);
        y = note(cr, y, false, text);
    }
    if (r->closed > 0) {
        snprintf(text, sizeof text, "false calls: %d of %d closed places, at most %.1f %%",
                 r->false_calls, r->closed, 100 * r->false_high);
        y = note(cr, y, false, text);
    }
    if (r->unseen_open + r->unseen_closed > 0) {
        snprintf(text, sizeof text, "not seen and left out: %d places with a gap, %d without",
                 r->unseen_open, r->unseen_closed);
        y = note(cr, y, false, text);
    }
    return y;
}

static void pod_legend(cairo_t *cr, double y, bool fitted)
{
    static const double dash = 7;
    rg_font(cr, 15, false);
    if (fitted) {
        cairo_move_to(cr, 1040, y - 5);
        cairo_line_to(cr, 1084, y - 5);
        rg_plot_stroke(cr, 2.6, 0);
        rg_text(cr, 1094, y, 0, 0, "POD");
        cairo_move_to(cr, 1150, y - 5);
        cairo_line_to(cr, 1194, y - 5);
        rg_plot_stroke(cr, 1.6, dash);
        rg_text(cr, 1204, y, 0, 0, "95 % bound");
    }
    rg_text(cr, 1040, y + 26, 0, 330, "ticks: found above, missed below");
}

rg_code rg_draw_pod(const rg_draw_detect_args *args, rg_picture_format format, rg_bytes *out,
                    rg_error *err)
{
    rg_canvas canvas;
    pod_view v = view_of(args->result);
    *out = (rg_bytes){0};
    rg_code code = rg_canvas_open(&canvas, format, RG_STUDY_WIDTH, RG_STUDY_HEIGHT, err);
    if (code != RG_OK)
        return code;
    rg_plot p = {.cr = canvas.cr, .left = 110, .top = 140, .width = 880, .height = 610, .y1 = 1};
    size_range(&v, &p);
    /* Room for the ticks of the targets. */
    p.y0 = -0.05;
    p.y1 = 1.05;
    rg_study_header(canvas.cr, "Probability of detection",
                    v.hits ? "found or missed, by true size"
                           : "from signals that reach the decision",
                    args->table);
    rg_plot_axes(&p, "true gap, mm", "probability of detection");
    if (v.pod->state == RG_POD_FITTED)
        pod_lines(&p, &v);
    else if (v.pod->state == RG_POD_SEPARATED)
        unknown_band(&p, v.r);
    target_ticks(&p, v.r);
    double y = fit_notes(canvas.cr, 160, &v);
    y = count_notes(canvas.cr, y, v.r);
    pod_legend(canvas.cr, y + 24, v.pod->state == RG_POD_FITTED);
    return rg_canvas_close(&canvas, out, err);
}

/* --------------------------------------------------------------- signal */

static double to_axis(bool log_axis, double v)
{
    return log_axis ? log(v) : v;
}

static void signal_range(const rg_detection_result *r, bool log_x, bool log_y, rg_plot *p)
{
    double x0 = INFINITY, x1 = -INFINITY, y0 = INFINITY, y1 = -INFINITY;
    for (int i = 0; i < r->responses; i++) {
        x0 = fmin(x0, r->response[i].size);
        x1 = fmax(x1, r->response[i].size);
        y0 = fmin(y0, r->response[i].signal);
        y1 = fmax(y1, r->response[i].signal);
    }
    if (r->responses == 0) {
        x0 = y0 = log_x || log_y ? 0.1 : 0;
        x1 = y1 = 1;
    }
    y0 = fmin(y0, r->decision);
    y1 = fmax(y1, r->decision);
    p->log_x = log_x;
    p->log_y = log_y;
    p->x0 = log_x ? x0 : fmin(x0, 0);
    p->x1 = x1;
    p->y0 = log_y ? y0 : fmin(y0, 0);
    p->y1 = y1;
    rg_plot_widen(&p->x0, &p->x1, 0.04, log_x);
    rg_plot_widen(&p->y0, &p->y1, 0.06, log_y);
    if (!log_x)
        p->x0 = 0;
}

static void draw_response(const rg_plot *p, const rg_response *r)
{
    double x = rg_plot_x(p, r->size), y = rg_plot_y(p, r->signal);
    double tip = r->censor == RG_CENSOR_BELOW ? 9 : -9;
    if (r->censor == RG_CENSOR_NONE) {
        cairo_arc(p->cr, x, y, 3.2, 0, 6.2832);
        cairo_fill(p->cr);
        return;
    }
    cairo_move_to(p->cr, x - 5, y);
    cairo_line_to(p->cr, x + 5, y);
    cairo_line_to(p->cr, x, y + tip);
    cairo_close_path(p->cr);
    cairo_set_line_width(p->cr, 1.2);
    cairo_stroke(p->cr);
}

/* The line and the belt of 1.645 scatters to either side (90 % of the signals). */
static void signal_line(const rg_plot *p, const rg_pod *pod)
{
    enum { STEPS = 60 };
    if (pod->state != RG_POD_FITTED)
        return;
    for (int side = -1; side <= 1; side++) {
        for (int k = 0; k <= STEPS; k++) {
            double t = (double)k / STEPS;
            double size = p->log_x ? p->x0 * pow(p->x1 / p->x0, t) : p->x0 + t * (p->x1 - p->x0);
            double y = pod->b[0] + pod->b[1] * to_axis(p->log_x, size) + side * 1.645 * pod->tau;
            double at = rg_plot_y(p, p->log_y ? exp(y) : y);
            cairo_line_to(p->cr, rg_plot_x(p, size), fmin(fmax(at, -1e4), 1e4));
        }
        rg_plot_stroke(p->cr, side == 0 ? 2.4 : 1, side == 0 ? 0 : 4);
    }
}

static double signal_notes(cairo_t *cr, double y, const rg_detection_result *r)
{
    char text[RG_DRAW_TEXT];
    const rg_pod *pod = &r->signal_pod;
    pod_view v = {r, pod, r->signal_curve, false};
    snprintf(text, sizeof text, "%d signals, %d only known to lie below a limit, %d above",
             r->responses, r->below, r->over);
    y = note(cr, y, false, text);
    if (pod->state == RG_POD_FITTED) {
        snprintf(text, sizeof text, "signal = %.4g %c %.4g %s, scatter %.4g", pod->b[0],
                 pod->b[1] < 0 ? '-' : '+', fabs(pod->b[1]),
                 pod->axis == RG_AXIS_LOG ? "ln(size)" : "size", pod->tau);
        y = note(cr, y, false, text);
    }
    snprintf(text, sizeof text, "decision at %.4g: a target counts as found from there on",
             r->decision);
    y = note(cr, y, false, text);
    y = note(cr, y, false, "the scatter is taken as the same at every size: does it look so?");
    return fit_notes(cr, y + 12, &v);
}

static void signal_legend(cairo_t *cr, double y)
{
    static const struct {
        rg_censor censor;
        const char *words;
    } row[] = {{RG_CENSOR_NONE, "signal"},
               {RG_CENSOR_BELOW, "not found: below this limit"},
               {RG_CENSOR_ABOVE, "above this limit"}};
    rg_plot p = {.cr = cr, .left = 1050, .width = 1, .x1 = 1, .y1 = 1, .height = 1};
    rg_font(cr, 15, false);
    for (int i = 0; i < 3; i++) {
        p.top = y - 6 + 26 * i;
        rg_response r = {0, 1, row[i].censor};
        draw_response(&p, &r);
        rg_text(cr, 1070, y + 26 * i, 0, 0, row[i].words);
    }
    cairo_move_to(cr, 1036, y + 73);
    cairo_line_to(cr, 1062, y + 73);
    rg_plot_stroke(cr, 1.6, 7);
    rg_text(cr, 1070, y + 78, 0, 0, "decision");
    cairo_move_to(cr, 1036, y + 99);
    cairo_line_to(cr, 1062, y + 99);
    rg_plot_stroke(cr, 1, 4);
    rg_text(cr, 1070, y + 104, 0, 0, "90 % of the signals");
}

rg_code rg_draw_signal(const rg_draw_detect_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err)
{
    rg_canvas canvas;
    const rg_detection_result *r = args->result;
    bool log_x = r->signal_pod.axis == RG_AXIS_LOG;
    *out = (rg_bytes){0};
    rg_code code = rg_canvas_open(&canvas, format, RG_STUDY_WIDTH, RG_STUDY_HEIGHT, err);
    if (code != RG_OK)
        return code;
    rg_plot p = {.cr = canvas.cr, .left = 110, .top = 140, .width = 880, .height = 610};
    signal_range(r, log_x, r->signal_log, &p);
    rg_study_header(
        canvas.cr, "Signal against true size",
        "each target once; line by maximum likelihood with the limits taken into account",
        args->table);
    rg_plot_axes(&p, "true gap, mm", r->has_hits ? "measured width, mm" : "signal");
    rg_plot_clip(&p);
    rg_plot_level(&p, r->decision, 1.6, 7);
    signal_line(&p, &r->signal_pod);
    for (int i = 0; i < r->responses; i++)
        draw_response(&p, &r->response[i]);
    cairo_restore(canvas.cr);
    double y = signal_notes(canvas.cr, 160, r);
    signal_legend(canvas.cr, y + 24);
    return rg_canvas_close(&canvas, out, err);
}

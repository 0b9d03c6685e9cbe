/*
 * draw_repeat.c - closings of one key. Key arm at the top, bearings clockwise, as in the ring map: a point
 * lies towards the side that stands open, as far out as the tilt's amplitude.
 */
#include "rimglow/draw_repeat.h"

#include <math.h>
#include <stdio.h>

#include "draw_plot.h"
#include "rimglow/vec.h"

enum { NUMBERS_MOST = 30 }; /* more would hide the points */

static const double margin = 36, centre_x = 350, centre_y = 492, radius = 258;
static const double panel_left = 712, panel_width = 492;

typedef struct page {
    cairo_t *cr;
    const rg_draw_repeat_args *args;
    double most_mm; /* tilt at the outer circle */
    double step_mm; /* from circle to circle */
} page;

static bool has_tilt(const rg_seating *s)
{
    return s->state == RG_SEATING_OPEN && s->tilt_known;
}

static rg_vec2 place(const page *p, double along, double across)
{
    double scale = radius / p->most_mm;
    return (rg_vec2){centre_x + scale * across, centre_y - scale * along};
}

static void line(cairo_t *cr, double x0, double y0, double x1, double y1, double width, double dash)
{
    cairo_move_to(cr, x0, y0);
    cairo_line_to(cr, x1, y1);
    rg_plot_stroke(cr, width, dash);
}

/* ------------------------------------------------------------------- head */

static void draw_head(const page *p)
{
    char text[RG_DRAW_TEXT];
    const rg_repeat *r = p->args->repeat;
    rg_grey(p->cr, 0);
    rg_font(p->cr, 18, false);
    snprintf(text, sizeof text, "%d closings of one key: pad %.200s of %.200s", r->closings,
             rg_draw_name(p->args->pad, "(no name)"), rg_draw_name(p->args->serial, "(no serial)"));
    rg_text(p->cr, margin, 38, 0, RG_REPEAT_WIDTH - 2 * margin, text);
    rg_font(p->cr, 28, true);
    if (r->tilts >= 2)
        snprintf(text, sizeof text, "Repeatability: %s, tilt scatters by %.3f mm",
                 rg_repeat_state_name(r->state), r->tilt.component.sd);
    else
        snprintf(text, sizeof text, "Repeatability: %s", rg_repeat_state_name(r->state));
    rg_text(p->cr, margin, 80, 0, RG_REPEAT_WIDTH - 2 * margin, text);
    line(p->cr, margin, 104, RG_REPEAT_WIDTH - margin, 104, 2, 0);
}

/* ------------------------------------------------------------------- plane */

static page measure(const rg_draw_repeat_args *args, cairo_t *cr)
{
    page p = {.cr = cr, .args = args, .most_mm = 0.02};
    for (int i = 0; i < args->repeat->closings; i++) {
        const rg_seating *s = &args->closing[i];
        double u = sqrt(fmax(s->covariance[1][1] + s->covariance[2][2], 0));
        double reach = hypot(s->tilt_mm[0], s->tilt_mm[1]) + args->coverage_factor * u;
        if (has_tilt(s) && isfinite(reach))
            p.most_mm = fmax(p.most_mm, fmin(1.05 * reach, 100));
    }
    p.step_mm = rg_plot_step(p.most_mm, 4);
    p.most_mm = p.step_mm * ceil(p.most_mm / p.step_mm - 1e-9);
    return p;
}

static void draw_rod(const page *p)
{
    double foot = centre_y - radius - 34, rod = foot - 34;
    cairo_rectangle(p->cr, centre_x - 9, rod, 18, foot - rod);
    rg_grey(p->cr, 0.85);
    cairo_fill_preserve(p->cr);
    rg_grey(p->cr, 0);
    rg_plot_stroke(p->cr, 2, 0);
    cairo_rectangle(p->cr, centre_x - 190, rod - 14, 380, 14);
    rg_grey(p->cr, 1);
    cairo_fill_preserve(p->cr);
    rg_grey(p->cr, 0);
    rg_plot_stroke(p->cr, 2, 0);
    rg_font(p->cr, 15, true);
    rg_text(p->cr, centre_x + 200, rod, 0, 0, "hinge rod");
    rg_text(p->cr, centre_x + 18, foot - 8, 0, 0, "key arm, 0\u00b0");
}

static void draw_grid(const page *p)
{
    char text[32];
    int circles = (int)lround(p->most_mm / p->step_mm);
    for (int i = 1; i <= circles; i++) {
        cairo_new_sub_path(p->cr);
        cairo_arc(p->cr, centre_x, centre_y, radius * i / circles, 0, 2 * acos(-1));
        rg_grey(p->cr, i == circles ? 0 : 0.72);
        rg_plot_stroke(p->cr, i == circles ? 2 : 1, 0);
    }
    rg_grey(p->cr, 0.72);
    line(p->cr, centre_x - radius, centre_y, centre_x + radius, centre_y, 1, 0);
    line(p->cr, centre_x, centre_y - radius, centre_x, centre_y + radius, 1, 0);
    rg_grey(p->cr, 0);
    rg_font(p->cr, 14, false);
    for (int b = 90; b <= 270; b += 90) {
        double x = centre_x + (radius + 10) * sin(rg_radians(b));
        double y = centre_y - (radius + 22) * cos(rg_radians(b)) + 5;
        snprintf(text, sizeof text, "%d\u00b0", b);
        rg_text(p->cr, x, y, b == 90 ? 0 : b == 270 ? 1 : 0.5, 0, text);
    }
    rg_font(p->cr, 13, false);
    for (int i = 1; i <= circles; i++) {
        double part = radius * i / circles * sqrt(0.5);
        snprintf(text, sizeof text, "%.4g%s", p->step_mm * i, i == circles ? " mm" : "");
        rg_text_halo(p->cr, centre_x + part + 3, centre_y + part + 14, 0, text);
    }
}

/* k times the standard uncertainty in every direction. */
static void draw_ellipse(const page *p, const rg_seating *s)
{
    double a = s->covariance[1][1], b = s->covariance[1][2], d = s->covariance[2][2];
    double l11 = sqrt(fmax(a, 0)), l21 = l11 > 0 ? b / l11 : 0;
    double l22 = sqrt(fmax(d - l21 * l21, 0)), k = p->args->coverage_factor;
    for (int i = 0; i <= 72; i++) {
        double c = k * cos(rg_radians(5 * i)), e = k * sin(rg_radians(5 * i));
        rg_vec2 at = place(p, s->tilt_mm[0] + l11 * c, s->tilt_mm[1] + l21 * c + l22 * e);
        if (i == 0)
            cairo_move_to(p->cr, at.x, at.y);
        else
            cairo_line_to(p->cr, at.x, at.y);
    }
    cairo_close_path(p->cr);
    rg_grey(p->cr, 0.5);
    rg_plot_stroke(p->cr, 1, 0);
    rg_grey(p->cr, 0);
}

/* The axis of the scatter, one standard deviation to either side of the mean tilt. */
static void draw_axis(const page *p)
{
    const rg_repeat *r = p->args->repeat;
    double c = r->along_mm * cos(rg_radians(r->axis_deg));
    double s = r->along_mm * sin(rg_radians(r->axis_deg));
    if (!r->axis_told || !(r->along_mm > 0))
        return;
    rg_vec2 a = place(p, r->tilt_mean[0] - c, r->tilt_mean[1] - s);
    rg_vec2 z = place(p, r->tilt_mean[0] + c, r->tilt_mean[1] + s);
    rg_grey(p->cr, 0);
    line(p->cr, a.x, a.y, z.x, z.y, 4, 12);
}

/* Drawn before the points, so that no halo hides one. A number without a free place is left out. */
static void draw_numbers(const page *p)
{
    static const double side[4][2] = {{8, -6}, {-24, -6}, {8, 18}, {-24, 18}};
    rg_vec2 taken[NUMBERS_MOST], point[NUMBERS_MOST];
    char text[16];
    int n = p->args->repeat->closings, used = 0, points = 0;
    for (int i = 0; n <= NUMBERS_MOST && i < n; i++)
        if (has_tilt(&p->args->closing[i]))
            point[points++] =
                place(p, p->args->closing[i].tilt_mm[0], p->args->closing[i].tilt_mm[1]);
    rg_font(p->cr, 14, true);
    for (int i = 0, k = 0; n <= NUMBERS_MOST && i < n; i++) {
        bool drawn = !has_tilt(&p->args->closing[i]);
        for (int s = 0; !drawn && s < 4; s++) {
            /* cppcheck-suppress uninitvar ; one point for each closing with a tilt */
            rg_vec2 at = {point[k].x + side[s][0], point[k].y + side[s][1]};
            bool free = true;
            for (int t = 0; t < used; t++)
                free &= fabs(at.x - taken[t].x) > 22 || fabs(at.y - taken[t].y) > 16;
            for (int t = 0; t < points; t++)
                free &= point[t].x < at.x - 5 || point[t].x > at.x + 21 || point[t].y > at.y + 5 ||
                        point[t].y < at.y - 16;
            if (!free)
                continue;
            snprintf(text, sizeof text, "%d", i + 1);
            rg_text_halo(p->cr, at.x, at.y, 0, text);
            taken[used++] = at;
            drawn = true;
        }
        k += has_tilt(&p->args->closing[i]);
    }
}

static void draw_points(const page *p)
{
    const rg_repeat *r = p->args->repeat;
    for (int i = 0; i < r->closings; i++)
        if (has_tilt(&p->args->closing[i]))
            draw_ellipse(p, &p->args->closing[i]);
    draw_numbers(p);
    draw_axis(p);
    for (int i = 0; i < r->closings; i++) {
        const rg_seating *s = &p->args->closing[i];
        if (!has_tilt(s))
            continue;
        rg_vec2 at = place(p, s->tilt_mm[0], s->tilt_mm[1]);
        cairo_new_sub_path(p->cr);
        cairo_arc(p->cr, at.x, at.y, 4.5, 0, 2 * acos(-1));
        cairo_fill(p->cr);
    }
    if (r->tilts < 1) {
        rg_font(p->cr, 20, true);
        rg_text_halo(p->cr, centre_x, centre_y + 7, 0.5, "no tilt was measured");
        return;
    }
    rg_vec2 at = place(p, r->test.mean[0], r->test.mean[1]);
    line(p->cr, at.x - 11, at.y - 11, at.x + 11, at.y + 11, 2.4, 0);
    line(p->cr, at.x - 11, at.y + 11, at.x + 11, at.y - 11, 2.4, 0);
}

static void draw_key(const page *p)
{
    char text[RG_DRAW_TEXT];
    double y = RG_REPEAT_HEIGHT - 52, x = margin;
    rg_grey(p->cr, 0);
    cairo_new_sub_path(p->cr);
    cairo_arc(p->cr, x + 8, y - 5, 4.5, 0, 2 * acos(-1));
    cairo_fill(p->cr);
    rg_font(p->cr, 14, false);
    snprintf(
        text, sizeof text,
        "tilt at one closing, mm at the rim's edge, towards the open side; ellipse: U = %.3g u",
        p->args->coverage_factor);
    rg_text(p->cr, x + 24, y, 0, 640, text);
    line(p->cr, x + 1, y + 13, x + 15, y + 27, 2.4, 0);
    line(p->cr, x + 1, y + 27, x + 15, y + 13, 2.4, 0);
    rg_text(p->cr, x + 24, y + 25, 0, 0, "weighted mean");
    line(p->cr, x + 150, y + 20, x + 200, y + 20, 4, 12);
    rg_text(p->cr, x + 210, y + 25, 0, 420, "axis of the scatter, one standard deviation each way");
}

/* ------------------------------------------------------------------- panel */

static double draw_advice(const page *p, double y)
{
    char clean[RG_DRAW_TEXT];
    const rg_advice *a = &p->args->repeat->advice;
    rg_font(p->cr, 16, false);
    for (int i = 0; i < a->lines && y < 500; i++) {
        rg_draw_clean(clean, a->line[i]);
        y += 22 * rg_text_wrap(p->cr, panel_left, y, panel_width, 22, 6, true, clean) + 10;
    }
    return y;
}

static double height_of(const rg_seating *s)
{
    return s->state == RG_SEATING_OPEN ? s->mean_mm : NAN;
}

static void draw_heights(const page *p, double top)
{
    const rg_repeat *r = p->args->repeat;
    rg_plot plot = {.cr = p->cr, .left = panel_left + 66, .top = top, .width = panel_width - 76};
    double k = p->args->coverage_factor, low = INFINITY, high = -INFINITY;
    plot.height = RG_REPEAT_HEIGHT - 92 - top;
    for (int i = 0; i < r->closings; i++) {
        double h = height_of(&p->args->closing[i]),
               u = k * sqrt(p->args->closing[i].covariance[0][0]);
        if (!isfinite(h) || !isfinite(u))
            continue;
        low = fmin(low, h - u);
        high = fmax(high, h + u);
    }
    if (!(low < high))
        return;
    rg_plot_widen(&low, &high, 0.08, false);
    plot.x0 = 0;
    plot.x1 = r->closings + 1;
    plot.y0 = low;
    plot.y1 = high;
    rg_plot_axes(&plot, "closing", "height of the plane, mm, with U");
    for (int i = 0; i < r->closings; i++) {
        const rg_seating *s = &p->args->closing[i];
        double h = height_of(s), u = k * sqrt(s->covariance[0][0]), x = rg_plot_x(&plot, i + 1);
        if (!isfinite(h) || !isfinite(u))
            continue;
        line(p->cr, x, rg_plot_y(&plot, h - u), x, rg_plot_y(&plot, h + u), 1.4, 0);
        rg_plot_dot(&plot, i + 1, h, 8, true);
    }
}

/* -------------------------------------------------------------------- page */

rg_code rg_draw_repeat(const rg_draw_repeat_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err)
{
    rg_canvas canvas;
    *out = (rg_bytes){0};
    if (!(args->coverage_factor > 0) || !isfinite(args->coverage_factor))
        return rg_fail(err, RG_BAD_DATA, "closings: coverage factor %g; give a positive number",
                       args->coverage_factor);
    rg_code code = rg_canvas_open(&canvas, format, RG_REPEAT_WIDTH, RG_REPEAT_HEIGHT, err);
    if (code != RG_OK)
        return code;
    page p = measure(args, canvas.cr);
    draw_head(&p);
    draw_rod(&p);
    draw_grid(&p);
    draw_points(&p);
    draw_key(&p);
    double y = draw_advice(&p, 140);
    draw_heights(&p, fmax(y + 16, 470));
    return rg_canvas_close(&canvas, out, err);
}

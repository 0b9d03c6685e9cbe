/*
 * draw_lens.c - coverage and residuals of a lens calibration.
 *
 * The photographs' frame in thirds; ninths without enough photographs are
 * hatched; every mark is a dot, with a line that shows how far it lies from
 * its place, magnified by a round factor that is stated. Arcs about the
 * corners show how near a mark should come.
 */
#include "rimglow/draw_lens.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "draw_private.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"

static const double MARGIN = 36, TOP = 118, LINE = 21;
static const double FRAME_WIDTH = 920, FRAME_HEIGHT = 760;
static const double LONG_LINE = 26; /* px, of the residual that nineteen of twenty stay below */
static const double LONGEST = 60;   /* px, at which a line ends in any case */

/* The frame on the page, and how to get there from picture pixels. */
typedef struct sheet {
    cairo_t *cr;
    const rg_draw_lens_args *a;
    double x, y, width, height, scale;
    double factor; /* of the residuals */
} sheet;

static double across(const sheet *s, double u)
{
    return s->x + (u + 0.5) * s->scale;
}

static double down(const sheet *s, double v)
{
    return s->y + (v + 0.5) * s->scale;
}

static bool residual(const rg_draw_lens_args *a, int view, int corner, rg_vec2 *r)
{
    const rg_corner *c = &a->view[view].corner[corner];
    rg_vec2 place;
    if (!a->calibration->view[view].used ||
        !rg_calibration_project(&a->calibration->fit, &a->calibration->view[view].pose, c->board,
                                &place))
        return false;
    *r = (rg_vec2){c->pixel.x - place.x, c->pixel.y - place.y};
    return true;
}

/* 1, 2 or 5 times a power of ten, so that most lines are LONG_LINE at most. */
static rg_code choose_factor(sheet *s, rg_error *err)
{
    size_t n = 0, room = 0;
    for (int i = 0; i < s->a->calibration->views; i++)
        room += (size_t)s->a->view[i].corners;
    double *size = rg_alloc(room, sizeof *size);
    if (!size)
        return rg_fail(err, RG_INTERNAL, "no memory for a picture");
    for (int i = 0; i < s->a->calibration->views; i++)
        for (int k = 0; k < s->a->view[i].corners; k++) {
            rg_vec2 r;
            if (residual(s->a, i, k, &r))
                size[n++] = hypot(r.x, r.y) * s->scale;
        }
    double most = n ? rg_quantile_inplace(size, n, 0.95) : 1;
    double wanted = LONG_LINE / fmax(most, 1e-6), ten = pow(10, floor(log10(wanted)));
    s->factor = wanted >= 5 * ten ? 5 * ten : wanted >= 2 * ten ? 2 * ten : ten;
    free(size);
    return RG_OK;
}

static void draw_fields(const sheet *s)
{
    const rg_lens_review *r = s->a->review;
    for (int f = 0; f < RG_FIELDS; f++) {
        double x = s->x + f % 3 * s->width / 3, y = s->y + f / 3 * s->height / 3;
        if (r->field_views[f] < s->a->limits->field_views) {
            rg_grey(s->cr, 0.62);
            cairo_set_line_width(s->cr, 1.2);
            cairo_rectangle(s->cr, x, y, s->width / 3, s->height / 3);
            rg_fill_pattern(s->cr, RG_PATTERN_DIAGONAL, 11);
        }
    }
    rg_grey(s->cr, 0.5);
    cairo_set_line_width(s->cr, 0.8);
    for (int k = 1; k < 3; k++) {
        cairo_move_to(s->cr, s->x + k * s->width / 3, s->y);
        cairo_rel_line_to(s->cr, 0, s->height);
        cairo_move_to(s->cr, s->x, s->y + k * s->height / 3);
        cairo_rel_line_to(s->cr, s->width, 0);
    }
    cairo_stroke(s->cr);
    rg_grey(s->cr, 0);
}

/* How near a mark should come to each corner: dashed where none does. */
static void draw_corners(const sheet *s)
{
    static const double dash[] = {6, 5};
    const rg_lens_review *r = s->a->review;
    cairo_save(s->cr);
    cairo_rectangle(s->cr, s->x, s->y, s->width, s->height);
    cairo_clip(s->cr);
    for (int k = 0; k < 4; k++) {
        bool reached = r->corner_distance_px[k] <= r->corner_limit_px;
        cairo_set_dash(s->cr, dash, reached ? 0 : 2, 0);
        cairo_set_line_width(s->cr, reached ? 1 : 2);
        rg_grey(s->cr, reached ? 0.5 : 0);
        cairo_new_sub_path(s->cr);
        cairo_arc(s->cr, s->x + k % 2 * s->width, s->y + k / 2 * s->height,
                  r->corner_limit_px * s->scale, 0, 2 * RG_PI);
        cairo_stroke(s->cr);
    }
    cairo_restore(s->cr);
}

static void draw_view(const sheet *s, int view)
{
    const rg_view *v = &s->a->view[view];
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 r;
        double x = across(s, v->corner[i].pixel.x), y = down(s, v->corner[i].pixel.y);
        if (!residual(s->a, view, i, &r)) {
            cairo_move_to(s->cr, x - 2.5, y - 2.5);
            cairo_rel_line_to(s->cr, 5, 5);
            cairo_move_to(s->cr, x + 2.5, y - 2.5);
            cairo_rel_line_to(s->cr, -5, 5);
            continue;
        }
        double k = s->factor * s->scale, length = hypot(r.x, r.y) * k;
        k *= length > LONGEST ? LONGEST / length : 1;
        cairo_move_to(s->cr, x, y);
        cairo_line_to(s->cr, x + k * r.x, y + k * r.y);
        cairo_new_sub_path(s->cr);
        cairo_arc(s->cr, x, y, 1.1, 0, 2 * RG_PI);
    }
    cairo_set_line_width(s->cr, 0.9);
    cairo_stroke(s->cr);
}

static void draw_counts(const sheet *s)
{
    const rg_lens_review *r = s->a->review;
    char text[64];
    rg_font(s->cr, 14, true);
    for (int f = 0; f < RG_FIELDS; f++) {
        int column = f % 3, row = f / 3;
        /* Clear of the arcs at the corners, and of the middle, where most marks are. */
        double x = s->x + (column + 1 - 0.5 * column) * s->width / 3 + 8 * (column - 1);
        double y = s->y + (row == 2 ? s->height - 10 : row * s->height / 3 + 20);
        snprintf(text, sizeof text, "%d photograph%s", r->field_views[f],
                 r->field_views[f] == 1 ? "" : "s");
        rg_text_halo(s->cr, x, y, 1 - 0.5 * column, text);
    }
}

static void draw_frame(const sheet *s)
{
    draw_fields(s);
    draw_corners(s);
    cairo_save(s->cr);
    cairo_rectangle(s->cr, s->x, s->y, s->width, s->height);
    cairo_clip(s->cr);
    rg_grey(s->cr, 0);
    for (int i = 0; i < s->a->calibration->views; i++)
        draw_view(s, i);
    cairo_restore(s->cr);
    draw_counts(s);
    cairo_rectangle(s->cr, s->x, s->y, s->width, s->height);
    cairo_set_line_width(s->cr, 1.6);
    cairo_stroke(s->cr);
}

/* -------------------------------------------------------------------- words */

static void draw_head(const sheet *s)
{
    const rg_lens_fit *f = &s->a->calibration->fit;
    char text[240];
    double width = RG_LENS_PICTURE_WIDTH - 2 * MARGIN;
    rg_font(s->cr, 26, true);
    rg_text(s->cr, MARGIN, 52, 0, width - 220,
            s->a->review->good ? "Lens: good enough" : "Lens: more photographs needed");
    rg_font(s->cr, 14, false);
    rg_text(s->cr, MARGIN + width, 52, 1, 220, rg_draw_name(s->a->date, ""));
    snprintf(text, sizeof text,
             "%d good photographs of %d x %d px, %d marks; marks lie %.2f px (rms) from their "
             "places",
             s->a->review->views, f->lens.width, f->lens.height, f->points, f->rms_px);
    rg_text(s->cr, MARGIN, 80, 0, width, text);
    snprintf(text, sizeof text,
             "fx %.2f (standard deviation %.2f)   fy %.2f (%.2f)   cx %.2f (%.2f)   cy %.2f (%.2f) "
             "px",
             f->lens.fx, f->sd[RG_LENS_FX], f->lens.fy, f->sd[RG_LENS_FY], f->lens.cx,
             f->sd[RG_LENS_CX], f->lens.cy, f->sd[RG_LENS_CY]);
    rg_text(s->cr, MARGIN, 102, 0, width, text);
}

/* One line of the list, wrapped; returns where the next begins. With draw
 * false only the place is measured. */
static double add_line(cairo_t *cr, double y, bool draw, const char *text)
{
    int lines =
        rg_text_wrap(cr, MARGIN, y, RG_LENS_PICTURE_WIDTH - 2 * MARGIN, LINE, 4, draw, text);
    return y + lines * LINE;
}

static double draw_words(cairo_t *cr, const sheet *s, double y, bool draw)
{
    const rg_calibration *c = s->a->calibration;
    char text[400];
    rg_font(cr, 15, true);
    for (int i = 0; i < s->a->review->advices; i++) {
        snprintf(text, sizeof text, "- %s", s->a->review->advice[i]);
        y = add_line(cr, y, draw, text);
    }
    for (int i = 0; i < c->views; i++) {
        if (c->view[i].used)
            continue;
        snprintf(text, sizeof text, "- left out, its marks do not fit the others: %s",
                 s->a->view[i].name);
        y = add_line(cr, y, draw, text);
    }
    rg_font(cr, 14, false);
    y += 6;
    snprintf(
        text, sizeof text,
        "Dot: a mark in one of the photographs, all laid over each other. Line at a dot: how far "
        "the mark lies from its place, magnified %g times. Cross: mark of a photograph left "
        "out. Hatched: ninth of the picture that fewer than %d photographs show. Arc at a "
        "corner: how near a mark should come; dashed where none does.",
        s->factor, s->a->limits->field_views);
    return add_line(cr, y, draw, text);
}

/* Height of the words, measured on a canvas that is thrown away. */
static rg_code measure_words(const sheet *s, double *height, rg_error *err)
{
    rg_canvas canvas;
    rg_bytes unused;
    rg_code code = rg_canvas_open(&canvas, RG_PICTURE_PNG, 8, 8, err);
    if (code != RG_OK)
        return code;
    *height = draw_words(canvas.cr, s, 0, false);
    code = rg_canvas_close(&canvas, &unused, err);
    free(unused.data);
    return code;
}

rg_code rg_draw_lens(const rg_draw_lens_args *args, rg_picture_format format, rg_bytes *out,
                     rg_error *err)
{
    const rg_lens *lens = &args->calibration->fit.lens;
    *out = (rg_bytes){0};
    if (lens->width < 1 || lens->height < 1)
        return rg_fail(err, RG_BAD_DATA, "a lens of %d x %d px cannot be drawn; calibrate first",
                       lens->width, lens->height);
    sheet s = {.a = args, .y = TOP};
    s.scale = fmin(FRAME_WIDTH / lens->width, FRAME_HEIGHT / lens->height);
    s.width = s.scale * lens->width;
    s.height = s.scale * lens->height;
    s.x = 0.5 * (RG_LENS_PICTURE_WIDTH - s.width);
    rg_code code = choose_factor(&s, err);
    if (code != RG_OK)
        return code;
    double words = s.y + s.height + 34, height = 0;
    rg_canvas canvas;
    code = measure_words(&s, &height, err);
    if (code == RG_OK)
        code = rg_canvas_open(&canvas, format, RG_LENS_PICTURE_WIDTH, ceil(words + height), err);
    if (code != RG_OK)
        return code;
    s.cr = canvas.cr;
    draw_head(&s);
    draw_frame(&s);
    draw_words(canvas.cr, &s, words, true);
    return rg_canvas_close(&canvas, out, err);
}

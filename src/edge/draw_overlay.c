/*
 * draw_overlay.c - one camera frame with what was measured drawn on it.
 *
 * The whole frame comes first, for finding one's way; under it the rim alone,
 * enlarged, for looking at the light. The same marks go on both: the rim
 * frame's bearings and heights are projected by the frame's own pose and lens
 * (rim.h), so a mark that sits off the metal shows at once that the pose is
 * wrong. The photograph is turned grey (luma of the codes), scaled by
 * averaging over each output pixel's square, lightened for print and reduced
 * to few tones: camera noise would fill the file, and nobody reads it here.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw_private.h"
#include "rimglow/memory.h"

enum {
    CAPTION = 62,
    GAP = 30, /* between the frame and the rim alone, with its title */
    LEGEND = 84,
    NARROWEST = 720, /* px; a small picture leaves room for its texts */
    MARGIN = 14
};

static const double scale_mm = -0.30;    /* the bearing scale hangs this far below the rim */
static const double around_light = 0.07; /* mm: outlines leave the light bare */
static const double widest_look = 75;    /* degrees of obliquity that are still marked */

/* A rectangle of the photograph on the canvas: canvas = to + scale (px - from). */
typedef struct view {
    double from_x, from_y, from_width, from_height; /* photograph px, edges */
    double to_x, to_y, scale;
    bool close; /* the rim alone */
} view;

typedef struct overlay {
    cairo_t *cr;
    const rg_draw_overlay_args *args;
    const rg_frame *frame;
    uint8_t *luma; /* of the image's rows; owned */
    bool posed, stripped, lit;
} overlay;

/* ------------------------------------------------------------ photograph */

/* Mean luma over the square that one canvas pixel covers; white where the
 * image holds no pixel. */
static double mean_over(const overlay *o, double x0, double y0, double side)
{
    const rg_image *m = o->args->image;
    double sum = 0, weight = 0, x1 = x0 + side, y1 = y0 + side;
    int left = (int)fmax(floor(x0), 0), right = (int)fmin(ceil(x1), m->width);
    int top = (int)fmax(floor(y0), m->first_row);
    int bottom = (int)fmin(ceil(y1), m->first_row + m->height);
    for (int y = top; y < bottom; y++) {
        const uint8_t *row = o->luma + (size_t)(y - m->first_row) * (size_t)m->width;
        double high = fmin(y + 1, y1) - fmax(y, y0);
        for (int x = left; x < right; x++) {
            double w = high * (fmin(x + 1, x1) - fmax(x, x0));
            sum += w * row[x];
            weight += w;
        }
    }
    return weight > 0 ? sum / weight : 255;
}

/* Lightened, in `tones` equal steps, as grey pixels of cairo's RGB24. */
static void display_tones(uint32_t pixel[256])
{
    static const double lighten = 0.72, tones = 40;
    for (int code = 0; code < 256; code++) {
        double share = round(pow(code / 255.0, lighten) * (tones - 1)) / (tones - 1);
        pixel[code] = 0x10101U * (uint32_t)lround(255 * share);
    }
}

static void paint_photo(const overlay *o, const view *v)
{
    uint32_t tone[256];
    display_tones(tone);
    int width = (int)lround(v->from_width * v->scale);
    int height = (int)lround(v->from_height * v->scale);
    cairo_surface_t *grey = cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height);
    if (cairo_surface_status(grey) == CAIRO_STATUS_SUCCESS) {
        unsigned char *data = cairo_image_surface_get_data(grey);
        size_t stride = (size_t)cairo_image_surface_get_stride(grey);
        double side = fmax(1 / v->scale, 1);
        for (int y = 0; y < height; y++)
            for (int x = 0; x < width; x++) {
                double px = v->from_x + (x + 0.5) / v->scale - side / 2;
                double py = v->from_y + (y + 0.5) / v->scale - side / 2;
                long code = lround(mean_over(o, px, py, side));
                memcpy(data + (size_t)y * stride + 4 * (size_t)x, &tone[code], sizeof *tone);
            }
        cairo_surface_mark_dirty(grey);
    }
    if (cairo_surface_get_type(cairo_get_target(o->cr)) == CAIRO_SURFACE_TYPE_SVG)
        rg_attach_png(grey);
    cairo_set_source_surface(o->cr, grey, v->to_x, v->to_y);
    cairo_paint(o->cr);
    cairo_surface_destroy(grey);
}

/* ------------------------------------------------------------ projection */

/* Pixel centres are at integers; the view counts from the pixels' edges. */
static rg_vec2 on_canvas(const view *v, rg_vec2 pixel)
{
    return (rg_vec2){v->to_x + v->scale * (pixel.x + 0.5 - v->from_x),
                     v->to_y + v->scale * (pixel.y + 0.5 - v->from_y)};
}

static double rim_height(const overlay *o, double bearing)
{
    const rg_rim_plane *p = o->args->plane;
    return p && p->found ? rg_rim_plane_height(p, bearing) + o->frame->shift_mm : 0;
}

/* A point at a height above the pad's plane (above_rim: the rim's). */
static bool locate(const overlay *o, double bearing, double mm, bool above_rim, rg_vec2 *pixel)
{
    const rg_setup *s = o->args->setup;
    double z = mm + (above_rim ? rim_height(o, bearing) : 0);
    rg_rim_view look =
        rg_rim_look(&s->lens, &o->frame->pose.pose, s->rim.outer_diameter_mm / 2, z, bearing);
    *pixel = look.pixel;
    return look.in_front && fabs(look.obliquity_deg) <= widest_look && isfinite(look.pixel.x) &&
           isfinite(look.pixel.y) && fabs(look.pixel.x) < 1e5 && fabs(look.pixel.y) < 1e5;
}

static bool point(const overlay *o, const view *v, double bearing, double mm, bool above_rim,
                  rg_vec2 *p)
{
    rg_vec2 pixel;
    if (!locate(o, bearing, mm, above_rim, &pixel))
        return false;
    *p = on_canvas(v, pixel);
    return true;
}

/* A text whose middle lies at p stays whole inside the view. */
static bool has_room(const overlay *o, const view *v, rg_vec2 p, const char *text)
{
    double half = rg_text_width(o->cr, text) / 2 + 4;
    return p.x - half >= v->to_x && p.x + half <= v->to_x + v->from_width * v->scale &&
           p.y - 16 >= v->to_y && p.y + 6 <= v->to_y + v->from_height * v->scale;
}

/* ------------------------------------------------------------------ marks */

static rg_column_state state_of(const overlay *o, int column)
{
    if (o->lit)
        return o->frame->light.column[column].state;
    return o->frame->strip.column[column].inside ? RG_COLUMN_DARK : RG_COLUMN_OUTSIDE;
}

typedef enum rim_line { LINE_NONE, LINE_SEEN, LINE_HIDDEN, LINE_GLARE } rim_line;

static rim_line line_of(const overlay *o, int column)
{
    switch (state_of(o, column)) {
    case RG_COLUMN_DARK:
    case RG_COLUMN_LIT:
        return LINE_SEEN;
    case RG_COLUMN_HIDDEN:
        return LINE_HIDDEN;
    case RG_COLUMN_GLARE:
        return LINE_GLARE;
    case RG_COLUMN_OUTSIDE:
        break;
    }
    return LINE_NONE;
}

static void stroke_line(cairo_t *cr, rim_line kind)
{
    static const double hidden[] = {6, 6}, glare[] = {12, 5, 2, 5};
    cairo_save(cr);
    cairo_set_line_width(cr, 3.6);
    rg_grey(cr, 0);
    cairo_stroke_preserve(cr);
    if (kind == LINE_HIDDEN)
        cairo_set_dash(cr, hidden, 2, 0);
    if (kind == LINE_GLARE)
        cairo_set_dash(cr, glare, 4, 0);
    cairo_set_line_width(cr, 1.6);
    rg_grey(cr, 1);
    cairo_stroke(cr);
    cairo_restore(cr);
}

/* The line under the rim, in one style for each stretch of columns. */
static void draw_rim_line(const overlay *o, const view *v)
{
    rim_line kind = LINE_NONE;
    cairo_new_path(o->cr);
    for (int c = 0; c < o->frame->strip.columns; c++) {
        rg_vec2 p;
        rim_line here = line_of(o, c);
        if (!point(o, v, o->frame->strip.column[c].bearing_deg, scale_mm, true, &p))
            here = LINE_NONE;
        if (here != kind) {
            stroke_line(o->cr, kind);
            kind = here;
        }
        if (here != LINE_NONE)
            cairo_line_to(o->cr, p.x, p.y);
        else
            cairo_new_path(o->cr);
    }
    stroke_line(o->cr, kind);
}

/* A frame without a strip shows where its place puts the rim. */
static void draw_expected_rim(const overlay *o, const view *v)
{
    cairo_new_path(o->cr);
    for (int b = 0; b <= 2 * 360; b++) {
        rg_vec2 p;
        if (point(o, v, b % 360, 0, true, &p))
            cairo_line_to(o->cr, p.x, p.y);
        else
            stroke_line(o->cr, LINE_SEEN);
    }
    stroke_line(o->cr, LINE_SEEN);
}

static void write_bearing(const overlay *o, const view *v, int bearing)
{
    rg_vec2 p;
    char text[32];
    snprintf(text, sizeof text, "%d\u00b0%s", bearing, bearing == 0 ? " key arm" : "");
    rg_font(o->cr, v->close ? 15 : 14, true);
    rg_grey(o->cr, 0);
    if (!point(o, v, bearing, scale_mm - 0.5, true, &p))
        return;
    p.y += 17;
    if (has_room(o, v, p, text))
        rg_text_halo(o->cr, p.x, p.y, 0.5, text);
}

static void draw_ticks(const overlay *o, const view *v)
{
    for (int b = 0; b < 360; b += 10) {
        rg_vec2 a, z;
        if (!point(o, v, b, scale_mm, true, &a) ||
            !point(o, v, b, scale_mm - (b % 30 ? 0.22 : 0.5), true, &z))
            continue;
        cairo_new_path(o->cr);
        cairo_move_to(o->cr, a.x, a.y);
        cairo_line_to(o->cr, z.x, z.y);
        rg_stroke_cased(o->cr, 1.4);
    }
    for (int b = 0; b < 360; b += 30)
        write_bearing(o, v, b);
}

/* One side of the outline of columns [first, end). */
static void trace_light(const overlay *o, const view *v, int first, int end, bool top)
{
    for (int i = 0; i < end - first; i++) {
        int c = top ? first + i : end - 1 - i;
        const rg_column_light *l = &o->frame->light.column[c];
        double mm = top ? l->top_mm + around_light : l->bottom_mm - around_light;
        rg_vec2 p;
        if (isfinite(mm) && point(o, v, o->frame->strip.column[c].bearing_deg, mm, true, &p))
            cairo_line_to(o->cr, p.x, p.y);
    }
}

static void outline_light(const overlay *o, const view *v)
{
    int n = o->frame->strip.columns;
    for (int c = 0; c < n;) {
        int end = c;
        while (end < n && o->frame->light.column[end].state == RG_COLUMN_LIT)
            end++;
        if (end > c) {
            cairo_new_path(o->cr);
            trace_light(o, v, c, end, true);
            trace_light(o, v, c, end, false);
            cairo_close_path(o->cr);
            rg_stroke_cased(o->cr, 1.3);
        }
        c = end > c ? end : c + 1;
    }
}

/* Column c, rows [first, end) of the strip as a path on the photograph. */
static bool cell_path(const overlay *o, const view *v, int c, int first, int end)
{
    const rg_strip *s = &o->frame->strip;
    double b = s->column[c].bearing_deg, half = s->step_deg / 2;
    double low = s->low_mm + (first - 0.5) * s->dz_mm, high = s->low_mm + (end - 0.5) * s->dz_mm;
    rg_vec2 p[4];
    if (!point(o, v, b - half, low, false, &p[0]) || !point(o, v, b + half, low, false, &p[1]) ||
        !point(o, v, b + half, high, false, &p[2]) || !point(o, v, b - half, high, false, &p[3]))
        return false;
    cairo_move_to(o->cr, p[0].x, p[0].y);
    for (int i = 1; i < 4; i++)
        cairo_line_to(o->cr, p[i].x, p[i].y);
    cairo_close_path(o->cr);
    return true;
}

static void hatch_rejected(const overlay *o, const view *v)
{
    const rg_strip *s = &o->frame->strip;
    bool any = false;
    cairo_new_path(o->cr);
    for (int c = 0; c < s->columns; c++) {
        const uint8_t *mask = o->frame->light.mask + (size_t)c * (size_t)s->rows;
        for (int r = 0; r < s->rows;) {
            int end = r;
            while (end < s->rows && mask[end] == 2)
                end++;
            if (end > r)
                any = cell_path(o, v, c, r, end) || any;
            r = end > r ? end : r + 1;
        }
    }
    rg_grey(o->cr, 0);
    cairo_set_line_width(o->cr, 1.4);
    if (any)
        rg_fill_pattern(o->cr, RG_PATTERN_DIAGONAL, v->close ? 6 : 4.5);
}

/* ------------------------------------------------------------------ crown */

static bool face_path(const overlay *o, const view *v, int face, rg_vec2 *middle)
{
    const rg_setup *s = o->args->setup;
    const rg_pose *pose = &o->frame->pose.pose;
    rg_vec3 corner[4], out = rg_rim_direction(60.0 * face);
    rg_vec2 pixel[4];
    rg_crown_face(&s->crown, face, corner);
    rg_vec3 ray = rg_vec3_sub(rg_pose_camera_centre(pose), corner[0]);
    if (rg_vec3_dot(out, ray) <= 0.1 * rg_vec3_norm(ray))
        return false;
    *middle = (rg_vec2){0, 0};
    for (int i = 0; i < 4; i++) {
        if (!rg_lens_project(&s->lens, rg_pose_apply(pose, corner[i]), &pixel[i]) ||
            !(fabs(pixel[i].x) < 1e5 && fabs(pixel[i].y) < 1e5))
            return false;
        pixel[i] = on_canvas(v, pixel[i]);
        middle->x += pixel[i].x / 4;
        middle->y = i == 0 ? pixel[i].y : fmax(middle->y, pixel[i].y);
    }
    cairo_new_path(o->cr);
    for (int i = 0; i < 4; i++)
        cairo_line_to(o->cr, pixel[i].x, pixel[i].y);
    cairo_close_path(o->cr);
    return true;
}

static void draw_crown(const overlay *o, const view *v)
{
    char text[32];
    for (int face = 0; face < 6; face++) {
        rg_vec2 p;
        if (!face_path(o, v, face, &p))
            continue;
        rg_stroke_cased(o->cr, 1.2);
        snprintf(text, sizeof text, "tag %d", 6 * o->args->setup->crown.number + face);
        rg_font(o->cr, 14, true);
        rg_grey(o->cr, 0);
        p.y += 17;
        if (has_room(o, v, p, text))
            rg_text_halo(o->cr, p.x, p.y, 0.5, text);
    }
}

/* What a jig's or marks' place rests on: crosses, open where they were not used. */
static void draw_points(const overlay *o, const view *v)
{
    const rg_place *place = &o->frame->pose;
    for (int i = 0; i < place->points && i < RG_PLACE_POINTS; i++) {
        const rg_place_point *q = &place->point[i];
        if (!(fabs(q->pixel.x) < 1e5 && fabs(q->pixel.y) < 1e5))
            continue;
        rg_vec2 p = on_canvas(v, q->pixel);
        double arm = place->source == RG_PLACE_MARKS ? 9 : 5;
        cairo_new_path(o->cr);
        if (q->used) {
            cairo_move_to(o->cr, p.x - arm, p.y);
            cairo_line_to(o->cr, p.x + arm, p.y);
            cairo_move_to(o->cr, p.x, p.y - arm);
            cairo_line_to(o->cr, p.x, p.y + arm);
        } else {
            cairo_arc(o->cr, p.x, p.y, arm - 1, 0, 2 * RG_PI);
        }
        rg_stroke_cased(o->cr, 1.2);
    }
}

/* ------------------------------------------------------------------ open key */

/* A circle about the axis of a pose's body, at height 0; dashed: the pad's plane. */
static void draw_circle(const overlay *o, const view *v, const rg_pose *pose, double radius,
                        bool dashed)
{
    static const double dashes[] = {9, 6};
    cairo_new_path(o->cr);
    for (int b = 0; b <= 360; b += 3) {
        rg_vec3 d = rg_rim_direction(b);
        rg_vec2 p;
        if (!rg_lens_project(&o->args->setup->lens, rg_pose_apply(pose, rg_vec3_scale(d, radius)),
                             &p))
            return;
        p = on_canvas(v, p);
        cairo_line_to(o->cr, p.x, p.y);
    }
    if (dashed)
        cairo_set_dash(o->cr, dashes, 2, 0);
    rg_stroke_cased(o->cr, 1.4);
    cairo_set_dash(o->cr, NULL, 0, 0);
}

/* The way along the hole's axis from the land's outer edge to the pad's plane. */
static void draw_height(const overlay *o, const view *v, bool far)
{
    char text[64];
    const rg_opening_frame *f = &o->frame->open;
    const rg_lens *lens = &o->args->setup->lens;
    double r = o->args->setup->rim.outer_diameter_mm / 2;
    rg_vec3 low = {far ? -r : r, 0, 0}, high = low;
    rg_pose to_cup = rg_pose_inverse(&f->cup);
    to_cup = rg_pose_compose(&to_cup, &f->rim);
    high.z = -rg_pose_apply(&to_cup, low).z / to_cup.R.m[2][2];
    rg_vec2 a, b;
    if (!rg_lens_project(lens, rg_pose_apply(&f->rim, low), &a) ||
        !rg_lens_project(lens, rg_pose_apply(&f->rim, high), &b))
        return;
    a = on_canvas(v, a);
    b = on_canvas(v, b);
    cairo_new_path(o->cr);
    cairo_move_to(o->cr, a.x, a.y);
    cairo_line_to(o->cr, b.x, b.y);
    rg_stroke_cased(o->cr, 1.4);
    snprintf(text, sizeof text, "%s %.2f mm", far ? "far edge" : "hinge", high.z);
    rg_font(o->cr, 15, true);
    rg_grey(o->cr, 0);
    rg_text_halo(o->cr, (a.x + b.x) / 2 + (far ? -8 : 8), (a.y + b.y) / 2 + (far ? -7 : 17), 0.5,
                 text);
}

/* The rim, the pad's plane over it, and the way between them at the hinge and at the far edge. */
static void draw_open_key(const overlay *o, const view *v)
{
    const rg_opening_frame *f = &o->frame->open;
    const rg_rim *rim = &o->args->setup->rim;
    double r = rim->outer_diameter_mm / 2;
    draw_circle(o, v, &f->rim, r, false);
    draw_circle(o, v, &f->cup, rim->pad_diameter_mm / 2, true);
    for (int side = 0; side < 2; side++)
        draw_height(o, v, side == 1);
}

static void clip_to(cairo_t *cr, const view *v)
{
    cairo_rectangle(cr, v->to_x, v->to_y, v->from_width * v->scale, v->from_height * v->scale);
    cairo_clip(cr);
}

static void draw_view(const overlay *o, const view *v)
{
    cairo_save(o->cr);
    clip_to(o->cr, v);
    paint_photo(o, v);
    if (o->lit && o->frame->light.mask)
        hatch_rejected(o, v);
    if (o->lit)
        outline_light(o, v);
    if (o->frame->open.used)
        draw_open_key(o, v);
    else if (o->stripped)
        draw_rim_line(o, v);
    else if (o->posed && o->frame->role != RG_FRAME_OPEN)
        draw_expected_rim(o, v);
    if (o->stripped)
        draw_ticks(o, v);
    if (o->posed && !v->close && o->frame->pose.source == RG_PLACE_CROWN)
        draw_crown(o, v);
    if (!v->close)
        draw_points(o, v);
    cairo_restore(o->cr);
    cairo_rectangle(o->cr, v->to_x + 0.5, v->to_y + 0.5, v->from_width * v->scale - 1,
                    v->from_height * v->scale - 1);
    rg_grey(o->cr, 0);
    cairo_set_line_width(o->cr, 1);
    cairo_stroke(o->cr);
}

/* ------------------------------------------------------------------ texts */

static const char *standing(const rg_frame *f)
{
    if (f->open.used)
        return "used for height";
    if (!f->used)
        return "NOT USED";
    switch (f->role) {
    case RG_FRAME_WITNESS:
        return "used as witness";
    case RG_FRAME_DARK:
        return "used as dark frame";
    case RG_FRAME_OPEN:
        return "key at rest";
    case RG_FRAME_CLOSED:
        break;
    }
    return "used";
}

static const char *what_fits(const rg_place *place)
{
    bool outlines = place->source == RG_PLACE_JIG && place->points > RG_MARKS_MAX;
    bool all = true;
    for (int i = 0; i < place->points && i < RG_PLACE_POINTS; i++)
        all = all && place->point[i].used;
    if (place->source == RG_PLACE_CROWN)
        return "the crown's borders fit";
    if (!outlines)
        return "the marks (crosses) fit";
    return all ? "outlines (crosses) fit" : "outlines (crosses; rings were not used) fit";
}

static void draw_caption(const overlay *o, double width)
{
    char text[RG_DRAW_TEXT];
    const rg_frame *f = o->frame;
    rg_grey(o->cr, 0);
    rg_font(o->cr, 20, true);
    rg_text(o->cr, MARGIN, 26, 0, width - 2 * MARGIN - 210, rg_draw_name(o->args->file, "(frame)"));
    rg_text(o->cr, width - MARGIN, 26, 1, 200, standing(f));
    if (!o->posed)
        snprintf(text, sizeof text, "the camera's place is not known");
    else
        snprintf(text, sizeof text,
                 "camera at bearing %.1f\u00b0, elevation %+.2f\u00b0; %s to %.2f px rms",
                 f->bearing_deg, f->elevation_deg, what_fits(&f->pose), f->pose.rms_px);
    rg_font(o->cr, 16, false);
    rg_text(o->cr, MARGIN, 51, 0, width - 2 * MARGIN, text);
}

/* The reason in a white box over the middle of the photograph. */
static void draw_reason(const overlay *o, const view *v)
{
    double room = v->from_width * v->scale, height = v->from_height * v->scale;
    double width = fmin(room, 700) - 24, x = v->to_x + (room - width) / 2;
    cairo_t *cr = o->cr;
    rg_font(cr, 19, false);
    int most = (int)fmax((height - 90) / 26, 1);
    const char *why = o->frame->open.reason[0] ? o->frame->open.reason : o->frame->reason;
    int lines = rg_text_wrap(cr, 0, 0, width - 40, 26, most, false, why);
    double y = v->to_y + fmax((height - (66 + 26 * lines)) / 2, 4);
    cairo_rectangle(cr, x, y, width, 66 + 26 * lines);
    rg_grey(cr, 1);
    cairo_fill_preserve(cr);
    rg_grey(cr, 0);
    cairo_set_line_width(cr, 4);
    cairo_stroke(cr);
    rg_text_wrap(cr, x + 20, y + 72, width - 40, 26, most, true, why);
    rg_font(cr, 26, true);
    rg_text(cr, x + 20, y + 40, 0, width - 40, "NOT USED");
}

static double legend_line(const overlay *o, double x, double y, rim_line kind, const char *text)
{
    cairo_new_path(o->cr);
    cairo_move_to(o->cr, x, y - 5);
    cairo_line_to(o->cr, x + 46, y - 5);
    stroke_line(o->cr, kind);
    rg_grey(o->cr, 0);
    rg_font(o->cr, 14, false);
    rg_text(o->cr, x + 54, y, 0, 0, text);
    return x + 54 + rg_text_width(o->cr, text) + 26;
}

static double legend_light(const overlay *o, double x, double y, bool rejected, const char *text)
{
    cairo_t *cr = o->cr;
    cairo_rectangle(cr, x, y - 14, 46, 18);
    rg_grey(cr, rejected ? 0.9 : 0.3);
    cairo_fill_preserve(cr);
    if (rejected) {
        rg_grey(cr, 0);
        cairo_set_line_width(cr, 1.4);
        rg_fill_pattern(cr, RG_PATTERN_DIAGONAL, 5);
    } else {
        cairo_new_path(cr);
        cairo_rectangle(cr, x + 10, y - 8, 26, 5);
        rg_grey(cr, 1);
        cairo_fill(cr);
        cairo_rectangle(cr, x + 6, y - 11, 34, 11);
        rg_stroke_cased(cr, 1.3);
    }
    rg_grey(cr, 0);
    rg_font(cr, 14, false);
    rg_text(cr, x + 54, y, 0, 0, text);
    return x + 54 + rg_text_width(cr, text) + 26;
}

static void draw_legend(const overlay *o, double y)
{
    double x = MARGIN;
    if (o->frame->open.used) {
        rg_grey(o->cr, 0);
        rg_font(o->cr, 14, false);
        rg_text(o->cr, x, y + 26, 0, 0,
                "whole line: the rim; dashed: the pad's plane, at its own diameter; upright: the "
                "opening");
        return;
    }
    if (!o->stripped)
        return;
    x = legend_light(o, x, y + 26, false, "slot light, outlined");
    legend_light(o, x, y + 26, true, "light rejected: streak or reflection");
    x = legend_line(o, MARGIN, y + 56, LINE_SEEN, "rim seen");
    x = legend_line(o, x, y + 56, LINE_HIDDEN, "hidden");
    x = legend_line(o, x, y + 56, LINE_GLARE, "glare");
    rg_text(o->cr, x, y + 56, 0, 0, "(the line runs 0.3 mm below the rim)");
}

/* ------------------------------------------------------------------ sheet */

static view whole_frame(const rg_image *m, double canvas_width)
{
    double scale = fmin(1, (double)RG_OVERLAY_WIDTH / m->width);
    /* Whole canvas pixels, so that the photograph is never resampled again. */
    double width = fmax(floor(m->width * scale), 1),
           height = fmax(floor(m->full_height * scale), 1);
    return (view){.from_width = width / scale,
                  .from_height = height / scale,
                  .to_x = floor((canvas_width - width) / 2),
                  .to_y = CAPTION,
                  .scale = scale};
}

/* The rim's rectangle in the photograph; false when it is not in it. */
static bool rim_box(const overlay *o, double box[4])
{
    static const double low = -1.55, high = 0.75, beside = 24;
    const rg_image *m = o->args->image;
    box[0] = box[1] = INFINITY;
    box[2] = box[3] = -INFINITY;
    for (int c = 0; c < o->frame->strip.columns; c++)
        for (int top = 0; top < 2; top++) {
            rg_vec2 p;
            double b = o->frame->strip.column[c].bearing_deg;
            if (!locate(o, b, top ? high : low, true, &p) || p.x < 0 || p.x > m->width - 1)
                continue;
            box[0] = fmin(box[0], p.x);
            box[1] = fmin(box[1], p.y);
            box[2] = fmax(box[2], p.x);
            box[3] = fmax(box[3], p.y);
        }
    box[0] -= beside;
    box[2] += beside;
    box[1] = fmax(box[1], 0);
    box[3] = fmin(box[3], m->full_height);
    return box[2] - box[0] > 16 && box[3] - box[1] > 4;
}

static bool rim_alone(const overlay *o, const view *whole, view *v)
{
    double box[4], width = whole->from_width * whole->scale;
    if (!o->stripped || !rim_box(o, box))
        return false;
    double scale = width / (box[2] - box[0]);
    double height = fmin(ceil((box[3] - box[1]) * scale), 400);
    *v = (view){.from_x = box[0],
                .from_y = box[1],
                .from_width = width / scale,
                .from_height = height / scale,
                .to_x = whole->to_x,
                .to_y = whole->to_y + round(whole->from_height * whole->scale) + GAP,
                .scale = scale,
                .close = true};
    return true;
}

static void draw_sheet(const overlay *o, const view *whole, const view *rim, double width,
                       double bottom)
{
    char text[64];
    draw_caption(o, width);
    draw_view(o, whole);
    if (rim) {
        snprintf(text, sizeof text, "the rim, %.1f times as large", rim->scale / whole->scale);
        rg_font(o->cr, 15, true);
        rg_grey(o->cr, 0);
        rg_text(o->cr, MARGIN, rim->to_y - 9, 0, width - 2 * MARGIN, text);
        draw_view(o, rim);
    }
    if (!o->frame->used && !o->frame->open.used)
        draw_reason(o, whole);
    draw_legend(o, bottom);
}

static rg_code overlay_of(overlay *o, const rg_draw_overlay_args *args, rg_error *err)
{
    const rg_frame *f = args->frame;
    const rg_image *m = args->image;
    *o = (overlay){.args = args, .frame = f};
    o->posed = f->pose.state == RG_POSE_OK && rg_mat3_is_rotation(f->pose.pose.R, 1e-6) &&
               isfinite(f->pose.pose.t.x + f->pose.pose.t.y + f->pose.pose.t.z);
    o->stripped = o->posed && f->strip.columns > 0 && f->strip.column;
    o->lit = o->stripped && f->light.column && f->light.columns == f->strip.columns;
    o->luma = rg_alloc((size_t)m->width, (size_t)m->height);
    if (!o->luma)
        return rg_fail(err, RG_INTERNAL, "no memory for the overlay of %s",
                       rg_draw_name(args->file, "a frame"));
    rg_image_luma(m, o->luma);
    return RG_OK;
}

static rg_code check(const rg_draw_overlay_args *args, rg_error *err)
{
    const rg_image *m = args->image;
    const char *name = rg_draw_name(args->file, "a frame");
    if (!m->data || m->width < 1 || m->height < 1 || m->full_height < m->height)
        return rg_fail(err, RG_BAD_DATA, "overlay of %s: the picture holds no pixels", name);
    if ((m->channels != 1 && m->channels != 3) || (m->depth != 8 && m->depth != 16))
        return rg_fail(err, RG_BAD_DATA,
                       "overlay of %s: %d channels of %d bits; grey or RGB of 8 or 16 is needed",
                       name, m->channels, m->depth);
    return RG_OK;
}

static rg_code draw_overlay(overlay *o, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    const rg_image *m = o->args->image;
    rg_canvas canvas;
    double width = fmax(NARROWEST, fmin(m->width, RG_OVERLAY_WIDTH));
    view whole = whole_frame(m, width), rim;
    bool alone = rim_alone(o, &whole, &rim);
    const view *last = alone ? &rim : &whole;
    double bottom = last->to_y + round(last->from_height * last->scale);
    double height = bottom + (o->stripped ? LEGEND : MARGIN);
    rg_code code = rg_canvas_open(&canvas, format, width, height, err);
    if (code != RG_OK)
        return code;
    o->cr = canvas.cr;
    draw_sheet(o, &whole, alone ? &rim : NULL, width, bottom);
    return rg_canvas_close(&canvas, out, err);
}

rg_code rg_draw_overlay(const rg_draw_overlay_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err)
{
    overlay o;
    *out = (rg_bytes){0};
    rg_code code = check(args, err);
    if (code != RG_OK)
        return code;
    code = overlay_of(&o, args, err);
    if (code == RG_OK)
        code = draw_overlay(&o, format, out, err);
    free(o.luma);
    return code;
}

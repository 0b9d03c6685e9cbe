/*
 * strip.c - cylinder unwrapping.
 *
 * For every bearing within max_obliquity of the camera's own bearing, three
 * points of the vertical line at the land's outer radius (lowest, middle,
 * highest row) are projected exactly; a parabola through them gives the
 * pixel of every row (over 2 mm at 100 mm distance the remainder is below
 * 0.001 px). Light is sampled there, bilinearly.
 */
#include "rimglow/strip.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/memory.h"

/* Of one strip: a hundred such frames fit into memory. */
#define MAX_SAMPLES 4e6

typedef struct range {
    int first, count; /* column index on the grid (i + 1/2) step */
} range;

rg_code rg_strip_check(const rg_strip_options *options, rg_error *err)
{
    const rg_strip_options *o = options;
    if (!(o->step_deg >= 0.05 && o->step_deg <= 2))
        return rg_fail(err, RG_BAD_DATA, "strip: column step %g degrees is not within 0.05..2",
                       o->step_deg);
    if (!(o->dz_mm > 0.001 && o->dz_mm < 0.2))
        return rg_fail(err, RG_BAD_DATA, "strip: row spacing %g mm is not within 0.001..0.2",
                       o->dz_mm);
    if (!(o->low_mm >= -5 && o->high_mm <= 10 && o->high_mm - o->low_mm > 10 * o->dz_mm))
        return rg_fail(err, RG_BAD_DATA, "strip: heights %g..%g mm are not a range within -5..10",
                       o->low_mm, o->high_mm);
    double samples = 360 / o->step_deg * (o->high_mm - o->low_mm) / o->dz_mm;
    if (!(samples <= MAX_SAMPLES))
        return rg_fail(err, RG_BAD_DATA,
                       "strip: %g degrees by %g mm make up to %.0f samples a frame, at most %.0f; "
                       "widen the spacing",
                       o->step_deg, o->dz_mm, samples, MAX_SAMPLES);
    if (!(o->max_obliquity_deg >= 10 && o->max_obliquity_deg <= 80))
        return rg_fail(err, RG_BAD_DATA, "strip: largest obliquity %g degrees is not within 10..80",
                       o->max_obliquity_deg);
    return RG_OK;
}

static range columns_in_view(const rg_pose *pose, const rg_rim *rim, const rg_strip_options *o)
{
    double bearing, elevation, distance;
    rg_rim_camera(pose, &bearing, &elevation, &distance);
    /* Sine rule in the triangle axis, rim point, camera. */
    double obliquity = rg_radians(o->max_obliquity_deg), ro = rim->outer_diameter_mm / 2;
    double flat = distance * cos(rg_radians(elevation));
    double s = ro * sin(obliquity) / flat;
    if (!(flat > ro) || s > 1)
        return (range){0, 0};
    double half = rg_degrees(obliquity - asin(s));
    int first = (int)ceil((bearing - half) / o->step_deg - 0.5);
    int last = (int)floor((bearing + half) / o->step_deg - 0.5);
    return (range){first, last - first + 1};
}

typedef struct line {
    rg_vec2 a, b, c; /* pixel(row) = a + b r + c r^2, r in -1..1 */
    bool ok;
} line;

static line column_line(const rg_lens *lens, const rg_pose *pose, double radius, double bearing,
                        double low, double high)
{
    rg_vec3 d = rg_rim_direction(bearing);
    rg_vec2 p[3];
    for (int i = 0; i < 3; i++) {
        rg_vec3 x = {radius * d.x, radius * d.y, low + 0.5 * i * (high - low)};
        if (!rg_lens_project(lens, rg_pose_apply(pose, x), &p[i]))
            return (line){.ok = false};
    }
    return (line){.a = p[1],
                  .b = {(p[2].x - p[0].x) / 2, (p[2].y - p[0].y) / 2},
                  .c = {(p[2].x + p[0].x) / 2 - p[1].x, (p[2].y + p[0].y) / 2 - p[1].y},
                  .ok = true};
}

static rg_vec2 line_at(const line *l, double r)
{
    return (rg_vec2){l->a.x + r * (l->b.x + r * l->c.x), l->a.y + r * (l->b.y + r * l->c.y)};
}

rg_code rg_strip_extent(const rg_lens *lens, const rg_pose *pose, const rg_rim *rim,
                        const rg_strip_options *options, int box[4], rg_error *err)
{
    rg_code code = rg_strip_check(options, err);
    if (code != RG_OK)
        return code;
    range cols = columns_in_view(pose, rim, options);
    double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
    for (int i = 0; i < cols.count; i++) {
        double b = (cols.first + i + 0.5) * options->step_deg;
        line l = column_line(lens, pose, rim->outer_diameter_mm / 2, b, options->low_mm,
                             options->high_mm);
        for (int e = -1; l.ok && e <= 1; e += 2) {
            rg_vec2 p = line_at(&l, e);
            x0 = fmin(x0, p.x), x1 = fmax(x1, p.x);
            y0 = fmin(y0, p.y), y1 = fmax(y1, p.y);
        }
    }
    x0 = fmax(floor(x0) - 2, 0), y0 = fmax(floor(y0) - 2, 0);
    x1 = fmin(ceil(x1) + 2, lens->width - 1), y1 = fmin(ceil(y1) + 2, lens->height - 1);
    if (!(x1 - x0 >= 2 && y1 - y0 >= 2))
        return rg_fail(err, RG_BAD_DATA,
                       "the rim lies outside the picture; hold the camera so that pad and rim "
                       "are in view together with the crown");
    box[0] = (int)x0, box[1] = (int)y0;
    box[2] = (int)(x1 - x0) + 1, box[3] = (int)(y1 - y0) + 1;
    return RG_OK;
}

/* Half a pixel to spare: the line bends by less between its ends. */
static bool inside_plane(const rg_plane *p, rg_vec2 at)
{
    return at.x >= p->x0 + 0.5 && at.y >= p->y0 + 0.5 && at.x <= p->x0 + p->width - 1.5 &&
           at.y <= p->y0 + p->height - 1.5;
}

/* rg_plane_at without its bounds check, for one-channel planes. */
static float sample(const rg_plane *p, float x, float y)
{
    int ix = (int)x, iy = (int)y;
    float ax = x - (float)ix, ay = y - (float)iy;
    const float *q = p->data + (size_t)iy * (size_t)p->width + (size_t)ix;
    float top = q[0] + ax * (q[1] - q[0]);
    float low = q[p->width] + ax * (q[p->width + 1] - q[p->width]);
    return top + ay * (low - top);
}

static void fill_inside(const rg_strip *strip, float *to, const rg_plane *plane, const line *l)
{
    float ax = (float)(l->a.x - plane->x0), ay = (float)(l->a.y - plane->y0);
    float bx = (float)l->b.x, by = (float)l->b.y, cx = (float)l->c.x, cy = (float)l->c.y;
    float scale = 2.0f / (float)(strip->rows - 1);
    for (int r = 0; r < strip->rows; r++) {
        float t = (float)r * scale - 1;
        to[r] = sample(plane, ax + t * (bx + t * cx), ay + t * (by + t * cy));
    }
}

static void fill_column(rg_strip *strip, int c, const rg_plane *plane, const line *l)
{
    float *to = strip->light + (size_t)c * (size_t)strip->rows;
    bool inside = true;
    double scale = 2.0 / (strip->rows - 1);
    rg_vec2 low = line_at(l, -1), high = line_at(l, 1);
    if (plane->channels == 1 && inside_plane(plane, low) && inside_plane(plane, high) &&
        inside_plane(plane, l->a)) {
        fill_inside(strip, to, plane, l);
        strip->column[c].inside = true;
        return;
    }
    for (int r = 0; r < strip->rows; r++) {
        rg_vec2 p = line_at(l, r * scale - 1);
        to[r] = rg_plane_at(plane, 0, p.x, p.y);
        inside = inside && !isnan(to[r]);
    }
    strip->column[c].inside = inside;
}

static void describe_column(rg_strip_column *col, const rg_pose *pose, double radius, const line *l,
                            double half_height)
{
    rg_vec3 d = rg_rim_direction(col->bearing_deg), camera = rg_pose_camera_centre(pose);
    double dx = camera.x - radius * d.x, dy = camera.y - radius * d.y, flat = hypot(dx, dy);
    col->slope = camera.z / flat;
    double out = (dx * d.x + dy * d.y) / flat;
    /* Growing bearing turns direction (cos, -sin) towards (-sin, -cos). */
    double side = (dx * d.y - dy * d.x) / flat;
    col->obliquity_rad = atan2(side, out);
    col->px_per_mm = hypot(l->b.x, l->b.y) / half_height;
}

static rg_code allocate(rg_strip *strip, int columns, int rows, rg_error *err)
{
    strip->columns = columns;
    strip->rows = rows;
    strip->column = rg_alloc((size_t)columns, sizeof *strip->column);
    strip->light = rg_alloc((size_t)columns * (size_t)rows, sizeof *strip->light);
    if (strip->column && strip->light)
        return RG_OK;
    rg_strip_free(strip);
    return rg_fail(err, RG_INTERNAL, "no memory for a rim strip of %d x %d samples", columns, rows);
}

rg_code rg_strip_new(rg_strip *strip, const rg_plane *plane, const rg_lens *lens,
                     const rg_pose *pose, const rg_rim *rim, const rg_strip_options *options,
                     rg_error *err)
{
    *strip = (rg_strip){0};
    rg_code code = rg_strip_check(options, err);
    if (code != RG_OK)
        return code;
    range cols = columns_in_view(pose, rim, options);
    if (cols.count < 1)
        return rg_fail(err, RG_BAD_DATA,
                       "the camera stands inside the rim's own radius; step back from the cup");
    int rows = (int)((options->high_mm - options->low_mm) / options->dz_mm + 0.5) + 1;
    code = allocate(strip, cols.count, rows, err);
    if (code != RG_OK)
        return code;
    strip->low_mm = options->low_mm;
    strip->dz_mm = options->dz_mm;
    strip->step_deg = options->step_deg;
    double radius = rim->outer_diameter_mm / 2, high = options->low_mm + (rows - 1) * strip->dz_mm;
    for (int c = 0; c < cols.count; c++) {
        double b = (cols.first + c + 0.5) * options->step_deg;
        line l = column_line(lens, pose, radius, b, options->low_mm, high);
        strip->column[c].bearing_deg = rg_wrap_degrees(b);
        if (!l.ok)
            continue;
        describe_column(&strip->column[c], pose, radius, &l, (high - options->low_mm) / 2);
        fill_column(strip, c, plane, &l);
    }
    return RG_OK;
}

void rg_strip_free(rg_strip *strip)
{
    if (!strip)
        return;
    free(strip->column);
    free(strip->light);
    *strip = (rg_strip){0};
}

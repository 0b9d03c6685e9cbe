/*
 * rimtrace.c - the chimney's outline and the land's outer edge, coarse and fine.
 *
 * Coarse: as in silhouette.c, the picture is averaged to a quarter and its logarithm
 * differentiated; a stroke counts by its mean gradient across, which keeps its sign
 * along an edge and not along clutter. Fine: the profile across the edge, smoothed
 * by the derivative of a Gaussian (J. Canny, IEEE PAMI 8 (1986) 679-698), its peak
 * refined by the parabola through it and its neighbours.
 */
#include "rimglow/rimtrace.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/memory.h"
#include "rimglow/place.h"

enum { SHRINK = 4, COARSE = 12, SAMPLES = 512, ABREAST = 4 };

static const double WALL_LOW = -0.35, WALL_HIGH = -0.03; /* of the radius */
static const double FRONT_DEG = 65;  /* to either side of the camera's bearing */
static const double DARKEST = 0.003; /* added to the light: noise of black is no contrast */
static const double STEEPEST = 1;    /* of ln light per sample; streaks count no more */
static const double LEAST = 0.03;    /* mean gradient of a stroke that is not there */
static const double STEP_PX = 0.5;
static const double SMOOTH_PX = 1.5;
static const double ABREAST_PX = 1.5;    /* profiles side by side, averaged against noise */
static const double LEAST_STEP = 0.0012; /* linear light; about one 8-bit code in the dark */
static const double LEAST_CONTRAST = 0.08;
static const double FIRST_SHARE = 0.4; /* of the strongest edge that the first one must have */

/* ------------------------------------------------------------ model */

static rg_vec3 model_point(const rg_rim *rim, const rg_pose *pose, const rg_trace_model *m,
                           double wider, double higher, bool *seen)
{
    double r = rim->outer_diameter_mm / 2;
    rg_vec3 p = {0, 0, 0};
    *seen = true;
    if (m->stroke == RG_TRACE_FRONT) {
        rg_vec3 d = rg_rim_direction(rg_rim_bearing(rg_pose_camera_centre(pose)) + m->at);
        return rg_vec3_make(r * d.x, r * d.y, m->height + higher);
    }
    *seen =
        rg_place_outline(pose, r + wider, m->at + higher, m->stroke == RG_TRACE_LEFT ? -1 : 1, &p);
    return p;
}

static bool project(const rg_lens *lens, const rg_pose *pose, rg_vec3 p, rg_vec2 *pixel)
{
    return rg_lens_project(lens, rg_pose_apply(pose, p), pixel);
}

/* Along the edge: a step of height for a wall, of bearing in front. */
static bool along(const rg_lens *lens, const rg_rim *rim, const rg_pose *pose,
                  const rg_trace_model *m, rg_vec2 at, rg_vec2 *direction)
{
    rg_trace_model next = *m;
    bool seen;
    rg_vec2 b;
    next.at += m->stroke == RG_TRACE_FRONT ? 0.5 : 0.1;
    rg_vec3 p = model_point(rim, pose, &next, 0, 0, &seen);
    if (!seen || !project(lens, pose, p, &b))
        return false;
    double length = hypot(b.x - at.x, b.y - at.y);
    *direction = (rg_vec2){(b.x - at.x) / length, (b.y - at.y) / length};
    return length > 1e-6;
}

bool rg_trace_project(const rg_lens *lens, const rg_rim *rim, const rg_pose *pose,
                      const rg_trace_model *model, rg_vec2 *pixel, rg_vec2 *normal)
{
    bool seen, front = model->stroke == RG_TRACE_FRONT;
    rg_vec2 d, out;
    rg_vec3 p = model_point(rim, pose, model, 0, 0, &seen);
    if (!seen || !project(lens, pose, p, pixel) || !along(lens, rim, pose, model, *pixel, &d))
        return false;
    p = model_point(rim, pose, model, front ? 0 : 0.05, front ? 0.05 : 0, &seen);
    if (!seen || !project(lens, pose, p, &out))
        return false;
    *normal = (rg_vec2){d.y, -d.x};
    if ((out.x - pixel->x) * normal->x + (out.y - pixel->y) * normal->y < 0)
        *normal = (rg_vec2){-normal->x, -normal->y};
    return true;
}

static rg_trace_model model_of(const rg_rim *rim, rg_trace_stroke stroke, int i, int n)
{
    double r = rim->outer_diameter_mm / 2, part = (i + 0.5) / n;
    double wall = r * (WALL_LOW + part * (WALL_HIGH - WALL_LOW));
    return (rg_trace_model){.stroke = stroke,
                            .at = stroke == RG_TRACE_FRONT ? FRONT_DEG * (2 * part - 1) : wall};
}

/* ------------------------------------------------------------ coarse */

struct rg_trace_map {
    int x0, y0, width, height;
    float *gx, *gy; /* owned */
};

void rg_trace_map_free(rg_trace_map *map)
{
    if (!map)
        return;
    free(map->gx);
    free(map->gy);
    free(map);
}

static void shrink(const rg_plane *light, float *out, int w, int h)
{
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            double sum = 0;
            for (int k = 0; k < SHRINK * SHRINK; k++) {
                size_t at = (size_t)(SHRINK * y + k / SHRINK) * (size_t)light->width +
                            (size_t)(SHRINK * x + k % SHRINK);
                sum += (double)light->data[at * (size_t)light->channels];
            }
            out[(size_t)y * (size_t)w + (size_t)x] = (float)log(sum / (SHRINK * SHRINK) + DARKEST);
        }
}

static float clipped(float v)
{
    float most = (float)STEEPEST;
    return v > most ? most : v < -most ? -most : v;
}

/* Sobel's operator over its weights (R. Gonzalez and R. Woods, Digital Image
 * Processing): an edge is about three samples wide then. */
static void differentiate(const float *v, rg_trace_map *m)
{
    for (int y = 1; y + 1 < m->height; y++)
        for (int x = 1; x + 1 < m->width; x++) {
            size_t w = (size_t)m->width, at = (size_t)y * w + (size_t)x;
            const float *a = v + at - w - 1, *b = a + w, *c = b + w;
            m->gx[at] = clipped((a[2] - a[0] + 2 * (b[2] - b[0]) + c[2] - c[0]) / 4);
            m->gy[at] = clipped((c[0] - a[0] + 2 * (c[1] - a[1]) + c[2] - a[2]) / 4);
        }
}

rg_code rg_trace_map_new(rg_trace_map **map, const rg_plane *light, rg_error *err)
{
    int w = light->width / SHRINK, h = light->height / SHRINK;
    size_t all = (size_t)w * (size_t)h + 1;
    float *v = rg_alloc(all, sizeof *v);
    rg_trace_map *m = rg_alloc(1, sizeof *m);
    *map = NULL;
    if (m) {
        *m = (rg_trace_map){.x0 = light->x0, .y0 = light->y0, .width = w, .height = h};
        m->gx = rg_alloc(all, sizeof *m->gx);
        m->gy = rg_alloc(all, sizeof *m->gy);
    }
    bool ok = v && m && m->gx && m->gy;
    if (ok) {
        shrink(light, v, w, h);
        differentiate(v, m);
        *map = m;
    } else {
        rg_trace_map_free(m);
    }
    free(v);
    return ok ? RG_OK : rg_fail(err, RG_INTERNAL, "rim outline: out of memory for the search");
}

/* Mean gradient across one stroke; the number of its samples inside the picture. */
static int stroke_gradient(const rg_trace_map *map, const rg_lens *lens, const rg_rim *rim,
                           const rg_pose *pose, rg_trace_stroke stroke, double *mean)
{
    double sum = 0, half = 0.5 * (SHRINK - 1);
    int n = 0;
    for (int i = 0; i < COARSE; i++) {
        rg_vec2 at, across;
        rg_trace_model m = model_of(rim, stroke, i, COARSE);
        if (!rg_trace_project(lens, rim, pose, &m, &at, &across))
            continue;
        double x = (at.x - map->x0 - half) / SHRINK, y = (at.y - map->y0 - half) / SHRINK;
        if (!(x > 0 && y > 0 && x < map->width - 1 && y < map->height - 1))
            continue;
        size_t k = (size_t)lround(y) * (size_t)map->width + (size_t)lround(x);
        sum += (double)map->gx[k] * across.x + (double)map->gy[k] * across.y;
        n++;
    }
    *mean = n ? sum / n : 0;
    return n;
}

double rg_trace_score(const rg_trace_map *map, const rg_lens *lens, const rg_rim *rim,
                      const rg_pose *pose)
{
    double score = 0, mean;
    for (int s = 0; s < RG_TRACE_STROKES; s++) {
        if (2 * stroke_gradient(map, lens, rim, pose, (rg_trace_stroke)s, &mean) < COARSE)
            return -1;
        score += log1p(fabs(mean) / LEAST);
    }
    return score;
}

/* ------------------------------------------------------------ fine */

typedef struct profile {
    double v[SAMPLES], r[SAMPLES]; /* light; signed smoothed derivative, as a step's height */
    int n, half, margin;
} profile;

static double response(const profile *p, int i)
{
    double sum = 0;
    for (int k = 1; k <= p->margin; k++) {
        double x = k * STEP_PX / SMOOTH_PX;
        sum += x * exp(-0.5 * x * x) * (p->v[i + k] - p->v[i - k]);
    }
    return sum * STEP_PX / SMOOTH_PX;
}

static bool read_profile(const rg_plane *light, rg_vec2 at, rg_vec2 normal, double reach_px,
                         profile *p)
{
    p->margin = (int)ceil(3 * SMOOTH_PX / STEP_PX);
    p->half = (int)ceil(reach_px / STEP_PX) + p->margin + 1;
    if (p->half > SAMPLES / 2 - 1)
        p->half = SAMPLES / 2 - 1;
    p->n = 2 * p->half + 1;
    for (int i = 0; i < p->n; i++) {
        double s = (i - p->half) * STEP_PX;
        p->v[i] = 0;
        for (int k = -ABREAST; k <= ABREAST; k++) {
            double t = k * ABREAST_PX;
            p->v[i] += (double)rg_plane_at(light, 0, at.x + s * normal.x - t * normal.y,
                                           at.y + s * normal.y + t * normal.x);
        }
        p->v[i] /= 2 * ABREAST + 1;
        if (!isfinite(p->v[i]))
            return false;
    }
    for (int i = p->margin; i < p->n - p->margin; i++)
        p->r[i] = response(p, i);
    return true;
}

static bool is_peak(const profile *p, int i)
{
    double r = fabs(p->r[i]);
    return r >= fabs(p->r[i - 1]) && r > fabs(p->r[i + 1]);
}

/* A step must stand out from the light on its sides. */
static bool is_edge(const profile *p, int i)
{
    double r = fabs(p->r[i]);
    return r > LEAST_STEP && r > LEAST_CONTRAST * (p->v[i - p->margin] + p->v[i + p->margin]);
}

/* The first edge that is nearly as strong as any: in front from the chimney's side, which is
 * even upwards, at a wall from the background's. */
static int choose(const profile *p, bool front)
{
    int best = -1, from = p->margin + 1, to = p->n - p->margin - 2, most = -1;
    for (int i = from; i <= to; i++)
        if (is_peak(p, i) && is_edge(p, i) && (most < 0 || fabs(p->r[i]) > fabs(p->r[most])))
            most = i;
    for (int k = 0; most >= 0 && best < 0 && k <= to - from; k++) {
        int i = front ? from + k : to - k;
        if (is_peak(p, i) && is_edge(p, i) && fabs(p->r[i]) > FIRST_SHARE * fabs(p->r[most]))
            best = i;
    }
    return best;
}

static bool find_edge(const rg_plane *light, rg_vec2 at, rg_vec2 normal, double reach_px,
                      bool front, rg_trace_point *point)
{
    profile p;
    if (!read_profile(light, at, normal, reach_px, &p))
        return false;
    int i = choose(&p, front);
    if (i < 0)
        return false;
    /* cppcheck-suppress negativeIndex ; choose leaves a margin at both ends */
    double before = fabs(p.r[i - 1]), peak = fabs(p.r[i]), after = fabs(p.r[i + 1]);
    double bend = before - 2 * peak + after;
    double px = (i - p.half + (bend < 0 ? 0.5 * (before - after) / bend : 0)) * STEP_PX;
    point->pixel = (rg_vec2){at.x + px * normal.x, at.y + px * normal.y};
    point->step = p.r[i];
    return true;
}

int rg_trace_points(const rg_plane *light, const rg_lens *lens, const rg_rim *rim,
                    const rg_pose *pose, double reach_px, rg_trace_point point[RG_TRACE_POINTS])
{
    int n = 0;
    for (int s = 0; s < RG_TRACE_STROKES; s++) {
        bool front = s == RG_TRACE_FRONT;
        int count = front ? RG_TRACE_EDGE : RG_TRACE_WALL;
        for (int i = 0; i < count; i++) {
            rg_vec2 at, normal;
            point[n].model = model_of(rim, (rg_trace_stroke)s, i, count);
            if (rg_trace_project(lens, rim, pose, &point[n].model, &at, &normal) &&
                find_edge(light, at, normal, reach_px, front, &point[n]))
                n++;
        }
    }
    return n;
}

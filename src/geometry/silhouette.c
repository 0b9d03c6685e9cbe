/*
 * silhouette.c - where pad and chimney end against the background.
 *
 * Search: the picture is averaged to a quarter and its logarithm
 * differentiated, so that an edge counts by its contrast. A stencil of four
 * upright strokes (chimney and pad, left and right) and two level ones (the
 * pad's lower edge beside the chimney) is laid over it at every position,
 * scale and roll. Strokes score by the logarithm of their mean signed
 * gradient: an edge keeps its sign along a stroke and clutter does not, and
 * one stroke that a post hides cannot spoil the others.
 *
 * Points: sub-pixel steps (edges.h) across the strokes of the pose that is
 * known so far, either side being the brighter.
 */
#include "silhouette.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/memory.h"

enum { SHRINK = 4, STROKES = 7, FRONT = 6, SAMPLES = 10, SCALES = 11, ROLLS = 7 };

static const double SCALE_STEP = 0.01;
static const double ROLL_STEP_DEG = 1;
static const double DARKEST = 0.003; /* added to the light: noise of black is no contrast */
static const double STEEPEST = 1;    /* of ln light per sample; streaks count no more */
static const double LEAST = 0.03;    /* mean gradient of a stroke that is not there */
static const double SAME_PX = 6;     /* candidates nearer than this are one */

/* ------------------------------------------------------------ small picture */

typedef struct small {
    int width, height, margin; /* of the maps, with a margin of zeros all round */
    float *gx, *gy;            /* owned */
} small;

static void small_free(small *s)
{
    free(s->gx);
    free(s->gy);
}

static double code_light(const rg_edge_light *l, int x, int y)
{
    const rg_image *im = l->image;
    size_t at =
        ((size_t)(y - im->first_row) * (size_t)im->width + (size_t)x) * (size_t)im->channels;
    double sum = 0;
    for (int c = 0; c < im->channels; c++) {
        unsigned code = im->depth == 8 ? ((const uint8_t *)im->data)[at + (size_t)c]
                                       : ((const uint16_t *)im->data)[at + (size_t)c];
        sum += (double)l->linear->table[c][code];
    }
    return sum;
}

/* ln of the mean light of each SHRINK x SHRINK square. */
static void shrink(const rg_edge_light *light, float *out, int w, int h)
{
    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            double sum = 0;
            for (int k = 0; k < SHRINK * SHRINK; k++)
                sum += code_light(light, SHRINK * x + k % SHRINK,
                                  light->image->first_row + SHRINK * y + k / SHRINK);
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
static void differentiate(const float *v, int w, int h, small *s)
{
    for (int y = 1; y + 1 < h; y++)
        for (int x = 1; x + 1 < w; x++) {
            const float *a = v + (size_t)(y - 1) * (size_t)w + (size_t)x, *b = a + w, *c = b + w;
            size_t at = (size_t)(y + s->margin) * (size_t)s->width + (size_t)(x + s->margin);
            s->gx[at] = clipped((a[1] - a[-1] + 2 * (b[1] - b[-1]) + c[1] - c[-1]) / 4);
            s->gy[at] = clipped((c[-1] - a[-1] + 2 * (c[0] - a[0]) + c[1] - a[1]) / 4);
        }
}

static rg_code small_new(small *s, const rg_edge_light *light, int margin, rg_error *err)
{
    int w = light->image->width / SHRINK, h = light->image->height / SHRINK;
    *s = (small){.width = w + 2 * margin, .height = h + 2 * margin, .margin = margin};
    size_t all = (size_t)s->width * (size_t)s->height;
    float *v = rg_alloc((size_t)w * (size_t)h + 1, sizeof *v);
    s->gx = rg_alloc(all, sizeof *s->gx);
    s->gy = rg_alloc(all, sizeof *s->gy);
    if (v && s->gx && s->gy) {
        shrink(light, v, w, h);
        differentiate(v, w, h, s);
    }
    bool ok = v && s->gx && s->gy;
    free(v);
    if (!ok) {
        small_free(s);
        return rg_fail(err, RG_INTERNAL, "place: out of memory for the outline search");
    }
    return RG_OK;
}

/* ------------------------------------------------------------ stencil */

/* What the instrument's file promises about the outlines: the chimney right
 * under the rim, and the pad's wall right above it. */
static rg_outline_part chimney_of(const rg_rim *rim)
{
    double r = rim->outer_diameter_mm / 2;
    return (rg_outline_part){r, -0.35 * r, -0.03 * r};
}

static rg_outline_part pad_of(const rg_rim *rim)
{
    double r = rim->pad_diameter_mm / 2;
    return (rg_outline_part){r, 0.025 * r, 0.08 * r};
}

typedef struct stencil {
    rg_vec2 at[STROKES][SAMPLES]; /* picture px against the rim centre's */
    double reach;                 /* farthest, px */
} stencil;

/* The front of the rim, over 80 degrees. */
static rg_vec3 front_point(const rg_pose *pose, const rg_rim *rim, double part)
{
    double r = rim->outer_diameter_mm / 2;
    double b = rg_rim_bearing(rg_pose_camera_centre(pose)) + 80 * (part - 0.5);
    rg_vec3 d = rg_rim_direction(b);
    return rg_vec3_make(r * d.x, r * d.y, 0);
}

static rg_vec3 stroke_point(const rg_pose *pose, const rg_rim *rim, int stroke, double part)
{
    if (stroke == FRONT)
        return front_point(pose, rim, part);
    int side = stroke % 2 ? 1 : -1;
    rg_outline_part wall = stroke < 2 ? chimney_of(rim) : pad_of(rim);
    double radius = wall.radius_mm, z = wall.low_mm + part * (wall.high_mm - wall.low_mm);
    if (stroke >= 4) {
        double ro = rim->outer_diameter_mm / 2, rp = rim->pad_diameter_mm / 2;
        radius = ro + (0.2 + 0.5 * part) * (rp - ro);
        z = 0;
    }
    rg_vec3 p = {0, 0, z};
    rg_place_outline(pose, radius, z, side, &p);
    return p;
}

static bool make_stencil(const rg_lens *lens, const rg_rim *rim, const rg_place_view *view,
                         stencil *s)
{
    rg_pose pose = rg_place_pose(view);
    rg_vec2 centre, p;
    s->reach = 0;
    if (!rg_lens_project(lens, pose.t, &centre))
        return false;
    for (int k = 0; k < STROKES; k++)
        for (int i = 0; i < SAMPLES; i++) {
            rg_vec3 x = stroke_point(&pose, rim, k, (i + 0.5) / SAMPLES);
            if (!rg_lens_project(lens, rg_pose_apply(&pose, x), &p))
                return false;
            s->at[k][i] = (rg_vec2){p.x - centre.x, p.y - centre.y};
            s->reach = fmax(s->reach, fmax(fabs(p.x - centre.x), fabs(p.y - centre.y)));
        }
    return true;
}

typedef struct offsets {
    ptrdiff_t at[STROKES][SAMPLES];
} offsets;

static offsets offsets_of(const stencil *s, const small *map)
{
    offsets o;
    for (int k = 0; k < STROKES; k++)
        for (int i = 0; i < SAMPLES; i++)
            o.at[k][i] = (ptrdiff_t)lround(s->at[k][i].y / SHRINK) * map->width +
                         (ptrdiff_t)lround(s->at[k][i].x / SHRINK);
    return o;
}

static float score_at(const small *map, const offsets *o, ptrdiff_t centre)
{
    float product = 1, least = (float)LEAST;
    for (int k = 0; k < STROKES; k++) {
        const float *g = (k < 4 ? map->gx : map->gy) + centre; /* upright strokes first */
        float sum = 0;
        for (int i = 0; i < SAMPLES; i++)
            sum += g[o->at[k][i]];
        product *= 1 + fabsf(sum) / (SAMPLES * least);
    }
    return product;
}

typedef struct candidate {
    float score;
    rg_place_view view;
} candidate;

enum { POOL = SCALES * ROLLS, CLIMBED = 12, CLIMBS = 40 };

/* The rim's centre lies anywhere in the picture's middle three quarters. */
static void scan(const rg_lens *lens, const small *map, const offsets *o, candidate *best)
{
    int w = map->width - 2 * map->margin, h = map->height - 2 * map->margin, at_x = 0, at_y = 0;
    best->score = -1;
    for (int y = h / 8; y < h - h / 8; y += 2)
        for (int x = w / 8; x < w - w / 8; x += 2) {
            float score =
                score_at(map, o, (ptrdiff_t)(y + map->margin) * map->width + x + map->margin);
            if (score > best->score) {
                best->score = score;
                at_x = x;
                at_y = y;
            }
        }
    double half = 0.5 * (SHRINK - 1);
    if (!rg_lens_inverse(lens, (rg_vec2){SHRINK * at_x + half, SHRINK * at_y + half},
                         &best->view.aim))
        best->score = -1;
}

/* Score of a view anywhere, on no grid; -1 outside. */
static float score_of(const rg_lens *lens, const rg_rim *rim, const small *map,
                      const rg_place_view *view)
{
    stencil s;
    rg_vec2 c;
    rg_pose pose = rg_place_pose(view);
    if (!make_stencil(lens, rim, view, &s) || s.reach / SHRINK + 2 > map->margin ||
        !rg_lens_project(lens, pose.t, &c))
        return -1;
    double half = 0.5 * (SHRINK - 1);
    long x = lround((c.x - half) / SHRINK), y = lround((c.y - half) / SHRINK);
    if (x < 0 || y < 0 || x >= map->width - 2 * map->margin || y >= map->height - 2 * map->margin)
        return -1;
    offsets o = offsets_of(&s, map);
    return score_at(map, &o, (ptrdiff_t)(y + map->margin) * map->width + x + map->margin);
}

/* Uphill, one parameter after the other, with ever smaller steps. */
static void climb(const rg_lens *lens, const rg_rim *rim, const small *map, candidate *c)
{
    double step = SHRINK;
    for (int i = 0; i < CLIMBS && step > 1; i++) {
        candidate best = *c;
        for (int k = 0; k < 8; k++) {
            candidate t = *c;
            double by = k % 2 ? 1 : -1, scale = step / lens->fx;
            if (k < 2)
                t.view.aim.x += by * scale;
            else if (k < 4)
                t.view.aim.y += by * scale;
            else if (k < 6)
                t.view.roll_deg += by * 0.1 * step;
            else
                t.view.distance_mm *= 1 + by * 0.002 * step;
            t.score = score_of(lens, rim, map, &t.view);
            if (t.score > best.score)
                best = t;
        }
        if (best.score > c->score)
            *c = best;
        else
            step /= 2;
    }
}

static int better(const void *a, const void *b)
{
    const candidate *x = a, *y = b;
    return (x->score < y->score) - (x->score > y->score);
}

static int scan_all(const rg_lens *lens, const rg_rim *rim, const small *map,
                    const rg_place_view *start, candidate pool[POOL])
{
    int n = 0;
    for (int k = 0; k < POOL; k++) {
        stencil s;
        rg_place_view v = *start;
        v.distance_mm *= 1 + SCALE_STEP * (k / ROLLS - SCALES / 2);
        v.roll_deg += ROLL_STEP_DEG * (k % ROLLS - ROLLS / 2);
        pool[n].view = v;
        if (!make_stencil(lens, rim, &v, &s) || s.reach / SHRINK + 2 > map->margin)
            continue;
        offsets o = offsets_of(&s, map);
        scan(lens, map, &o, &pool[n]);
        n += pool[n].score > 0;
    }
    qsort(pool, (size_t)n, sizeof *pool, better);
    return n;
}

static bool is_new(const rg_lens *lens, const rg_place_view *v, const rg_place_view *known, int n)
{
    for (int i = 0; i < n; i++)
        if (hypot(v->aim.x - known[i].aim.x, v->aim.y - known[i].aim.y) * lens->fx < SAME_PX)
            return false;
    return true;
}

rg_code rg_outline_search(const rg_lens *lens, const rg_rim *rim, const rg_edge_light *light,
                          const rg_place_view *start, rg_place_view *views, int max, int *count,
                          rg_error *err)
{
    candidate pool[POOL];
    rg_place_view near = *start;
    stencil s;
    small map;
    *count = 0;
    near.distance_mm *= 1 - SCALE_STEP * (SCALES / 2);
    if (!make_stencil(lens, rim, &near, &s) || s.reach > 1.5 * light->image->width)
        return RG_OK;
    rg_code code = small_new(&map, light, (int)(1.3 * s.reach / SHRINK) + 8, err);
    if (code != RG_OK)
        return code;
    int n = scan_all(lens, rim, &map, start, pool);
    n = n < CLIMBED ? n : CLIMBED;
    for (int i = 0; i < n; i++)
        climb(lens, rim, &map, &pool[i]);
    small_free(&map);
    qsort(pool, (size_t)n, sizeof *pool, better);
    for (int i = 0; i < n && *count < max; i++)
        if (is_new(lens, &pool[i].view, views, *count))
            views[(*count)++] = pool[i].view;
    return RG_OK;
}

/* ------------------------------------------------------------ points */

enum { CHIMNEY_POINTS = 28, PAD_POINTS = 10, LEVEL_POINTS = 6 };

static const double CONTRAST = 0.08;      /* least of an outline's step */
static const double SHARP_CONTRAST = 0.2; /* least of one whose width counts */
static const double WIDE_RATIO = 1.5;     /* of the lower quartile of the widths */
static const double MISSING = 1e-9;

/* The step nearest to a pixel along a direction, either side the brighter. */
static bool find_step(const rg_edge_light *light, rg_vec2 at, rg_vec2 normal, double reach,
                      rg_edge *edge)
{
    double least = INFINITY;
    for (int side = -1; side <= 1; side += 2) {
        rg_edge e;
        rg_edge_query q = {.at = at,
                           .normal = {side * normal.x, side * normal.y},
                           .inside = reach + 4,
                           .outside = reach + 4,
                           .precise = true,
                           .contrast = CONTRAST};
        if (!rg_edge_find(light, &q, &e))
            continue;
        double off = fabs((e.pixel.x - at.x) * normal.x + (e.pixel.y - at.y) * normal.y);
        if (off < least && off <= reach) {
            least = off;
            *edge = e;
        }
    }
    return isfinite(least);
}

typedef struct hunt {
    const rg_lens *lens;
    const rg_edge_light *light;
    const rg_pose *pose;
    double reach;
    rg_sight *sight;
    double *sigma;
    bool *clear; /* contrast enough for its width to count */
    int n;
} hunt;

/* A step across the picture of point a, along `across` (px). */
static void take(hunt *h, rg_vec2 at, rg_vec2 across, rg_sight sight)
{
    rg_edge e = {.sigma = 0};
    double length = hypot(across.x, across.y);
    if (h->n == RG_PLACE_POINTS || !(length > MISSING))
        return;
    rg_vec2 normal = {across.x / length, across.y / length};
    if (!find_step(h->light, at, normal, h->reach, &e))
        return;
    sight.pixel = e.pixel;
    sight.u_px = 1;
    h->sigma[h->n] = e.sigma;
    h->clear[h->n] = fabs(e.white - e.black) > SHARP_CONTRAST * (e.white + e.black);
    h->sight[h->n++] = sight;
}

static void hunt_wall(hunt *h, rg_outline_part wall, int side, int points)
{
    for (int i = 0; i < points; i++) {
        double z = wall.low_mm + (i + 0.5) / points * (wall.high_mm - wall.low_mm);
        rg_vec3 p, q;
        rg_vec2 a, b;
        if (rg_place_outline(h->pose, wall.radius_mm, z, side, &p) &&
            rg_place_outline(h->pose, wall.radius_mm, z + 0.1, side, &q) &&
            rg_lens_project(h->lens, rg_pose_apply(h->pose, p), &a) &&
            rg_lens_project(h->lens, rg_pose_apply(h->pose, q), &b))
            take(h, a, (rg_vec2){a.y - b.y, b.x - a.x},
                 (rg_sight){.kind = side < 0 ? RG_SIGHT_LEFT : RG_SIGHT_RIGHT,
                            .radius_mm = wall.radius_mm});
    }
}

/* The pad's lower edge against the background, beside the chimney. */
static void hunt_level(hunt *h, const rg_rim *rim, int side)
{
    double ro = rim->outer_diameter_mm / 2, rp = rim->pad_diameter_mm / 2;
    for (int i = 0; i < LEVEL_POINTS; i++) {
        rg_vec3 p, q;
        rg_vec2 a, b;
        double r = ro + (0.2 + 0.5 * (i + 0.5) / LEVEL_POINTS) * (rp - ro);
        if (rg_place_outline(h->pose, r, 0, side, &p) &&
            rg_place_outline(h->pose, r, 0.1, side, &q) &&
            rg_lens_project(h->lens, rg_pose_apply(h->pose, p), &a) &&
            rg_lens_project(h->lens, rg_pose_apply(h->pose, q), &b))
            take(h, a, (rg_vec2){b.x - a.x, b.y - a.y},
                 (rg_sight){.kind = RG_SIGHT_LEVEL, .radius_mm = r});
    }
}

static int by_size(const void *a, const void *b)
{
    const double *x = a, *y = b;
    return (*x > *y) - (*x < *y);
}

/* Round metal shades off before its outline and mirrors what stands near:
 * such steps are wider than the outline itself. */
static int drop_wide(hunt *h)
{
    double work[RG_PLACE_POINTS];
    int n = 0;
    if (h->n == 0 || h->n > RG_PLACE_POINTS)
        return 0;
    for (int i = 0; i < h->n; i++)
        work[i] = h->sigma[i];
    qsort(work, (size_t)h->n, sizeof *work, by_size);
    double widest = WIDE_RATIO * work[h->n / 4];
    for (int i = 0; i < h->n; i++)
        if (h->sigma[i] <= widest) {
            h->sight[n] = h->sight[i];
            h->clear[n] = h->clear[i];
            h->sigma[n++] = h->sigma[i];
        }
    return n;
}

int rg_outline_points(const rg_lens *lens, const rg_rim *rim, const rg_edge_light *light,
                      const rg_pose *pose, double reach_px, rg_sight *sight, double *sigma_px)
{
    bool clear[RG_PLACE_POINTS];
    hunt h = {lens, light, pose, reach_px, sight, sigma_px, clear, 0};
    for (int side = -1; side <= 1; side += 2) {
        hunt_wall(&h, chimney_of(rim), side, CHIMNEY_POINTS);
        hunt_wall(&h, pad_of(rim), side, PAD_POINTS);
        hunt_level(&h, rim, side);
    }
    int n = drop_wide(&h);
    for (int i = 0; i < n; i++)
        if (!clear[i])
            sigma_px[i] = 0;
    return n;
}

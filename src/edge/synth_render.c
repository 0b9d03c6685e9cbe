/*
 * synth_render.c - rays to pixels: sampling and the exact blur. See synth.h.
 *
 * A pixel whose four corners see the same thing is one box of their mean
 * light (four pixels are asked at once first); these are blurred together, as
 * a picture. Any other pixel is cut
 * into boxes that are spread one by one into the pixels around it. The
 * spread of a box is the integral over it of pixel aperture times Gaussian.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "synth_private.h"

enum {
    REACH_MAX = 24,   /* px to which light is spread */
    EDGE_PARTS = 4,   /* boxes along either side of a pixel with an edge */
    COMB_COLUMNS = 2, /* boxes across a pixel at the rim line */
    COMB_TEETH = 24,  /* and down */
    COMB_COARSE = 8,  /* the same where the gap is wide */
    BISECTIONS = 7,
    KERNEL_STEPS = 64
};

#define WIDE_GAP_MM 0.3
#define JUMP        0.02 /* linear light, green, between teeth: an edge to be bisected */

/* Spread of `parts` boxes in a row across one pixel. */
typedef struct spread {
    int parts, reach;
    float share[COMB_TEETH][2 * REACH_MAX + 1];
} spread;

struct rg_synth_eye {
    rg_lens lens;
    rg_vec2 *way; /* owned; [(height + 1)][(width + 1)] normalised direction of pixel corners */
};

typedef struct canvas {
    const synth_world *w;
    const rg_lens *lens;
    rg_vec3 from; /* camera's centre, rim frame */
    rg_mat3 back; /* camera's axes in the rim frame */
    int width, height;
    int first, last;    /* columns that are written, to one before last: a band of the picture */
    const rg_vec2 *way; /* the eye's */
    float *flat;        /* [3][height][width] boxes of whole pixels */
    float *light;       /* [3][height][width] the result */
    spread whole, edge, columns, comb;
} canvas;

/* --------------------------------------------------------------- kernel */

static double within_pixel(double y, int j, double sigma)
{
    double k = 1 / (sigma * sqrt(2));
    return 0.5 * (erf((j + 0.5 - y) * k) - erf((j - 0.5 - y) * k));
}

static void make_spread(spread *p, int parts, double sigma)
{
    p->parts = parts;
    p->reach = (int)ceil(5 * sigma + 0.5);
    int steps = KERNEL_STEPS / parts;
    steps = steps < 4 ? 4 : steps;
    for (int i = 0; i < parts; i++)
        for (int j = -p->reach; j <= p->reach; j++) {
            double sum = 0;
            for (int k = 0; k < steps; k++)
                sum += within_pixel((i + (k + 0.5) / steps) / parts - 0.5, j, sigma);
            p->share[i][j + p->reach] = (float)(sum / steps);
        }
}

/* ----------------------------------------------------------------- rays */

/* The direction that a picture point looks in, by iterating the forward
 * projection from a start; false when it does not settle. */
static bool look_through(const rg_lens *lens, double u, double v, rg_vec2 *n)
{
    for (int i = 0; i < 40; i++) {
        rg_vec2 at = rg_lens_forward(lens, *n);
        double du = u - at.x, dv = v - at.y;
        n->x += du / lens->fx;
        n->y += dv / lens->fy;
        if (fabs(du) + fabs(dv) < 1e-5)
            return true;
    }
    return false;
}

static bool find_ways(rg_synth_eye *eye)
{
    const rg_lens *l = &eye->lens;
    for (int y = 0; y <= l->height; y++) {
        rg_vec2 n = {(-0.5 - l->cx) / l->fx, (y - 0.5 - l->cy) / l->fy};
        for (int x = 0; x <= l->width; x++) {
            n.x += x ? 1 / l->fx : 0;
            if (!look_through(l, x - 0.5, y - 0.5, &n))
                return false;
            eye->way[(size_t)y * (size_t)(l->width + 1) + (size_t)x] = n;
        }
    }
    return true;
}

static synth_ray ray_along(const canvas *c, rg_vec2 n)
{
    return synth_ray_make(c->from, rg_mat3_apply(c->back, rg_vec3_make(n.x, n.y, 1)));
}

/* Direction within a pixel, u and v from 0 to 1. */
static rg_vec2 way_in(const canvas *c, int x, int y, double u, double v)
{
    const rg_vec2 *top = c->way + (size_t)y * (size_t)(c->width + 1) + (size_t)x;
    const rg_vec2 *low = top + c->width + 1;
    return (rg_vec2){
        (1 - v) * ((1 - u) * top[0].x + u * top[1].x) + v * ((1 - u) * low[0].x + u * low[1].x),
        (1 - v) * ((1 - u) * top[0].y + u * top[1].y) + v * ((1 - u) * low[0].y + u * low[1].y)};
}

static synth_hit see(const canvas *c, int x, int y, double u, double v)
{
    synth_ray r = ray_along(c, way_in(c, x, y, u, v));
    return synth_trace(c->w, &r);
}

/* --------------------------------------------------------------- spread */

/* Adds boxes light[down][across][3] of pixel (x, y) to the result. */
static void spread_boxes(canvas *c, int x, int y, const spread *across, const spread *down,
                         const float *light)
{
    float row[COMB_TEETH][3][2 * REACH_MAX + 1] = {{{0}}};
    int rx = across->reach, ry = down->reach;
    for (int j = 0; j < down->parts; j++)
        for (int i = 0; i < across->parts; i++)
            for (int k = 0; k < 3; k++) {
                float v = light[(j * across->parts + i) * 3 + k] / (float)across->parts;
                for (int d = 0; d <= 2 * rx; d++)
                    row[j][k][d] += v * across->share[i][d];
            }
    for (int e = -ry; e <= ry; e++) {
        if (y + e < 0 || y + e >= c->height)
            continue;
        for (int k = 0; k < 3; k++) {
            float sum[2 * REACH_MAX + 1] = {0};
            for (int j = 0; j < down->parts; j++) {
                float share = down->share[j][e + ry] / (float)down->parts;
                for (int d = 0; d <= 2 * rx; d++)
                    sum[d] += share * row[j][k][d];
            }
            float *to =
                c->light + ((size_t)k * (size_t)c->height + (size_t)(y + e)) * (size_t)c->width;
            int first = x - rx < c->first ? rx + c->first - x : 0;
            int last = x + rx >= c->last ? rx + c->last - 1 - x : 2 * rx;
            for (int d = first; d <= last; d++)
                to[x - rx + d] += sum[d];
        }
    }
}

/* One ray in each box, no two of a pixel in the same sixteenth across or down:
 * an upright or level edge is met sixteen times in different places. */
static void edge_pixel(canvas *c, int x, int y)
{
    float light[EDGE_PARTS * EDGE_PARTS * 3];
    for (int j = 0; j < EDGE_PARTS; j++)
        for (int i = 0; i < EDGE_PARTS; i++) {
            double u = (i + (j + 0.5) / EDGE_PARTS) / EDGE_PARTS;
            double v = (j + (EDGE_PARTS - i - 0.5) / EDGE_PARTS) / EDGE_PARTS;
            synth_hit h = see(c, x, y, u, v);
            memcpy(light + (j * EDGE_PARTS + i) * 3, h.light, sizeof h.light);
        }
    spread_boxes(c, x, y, &c->edge, &c->edge, light);
}

/* Where between two teeth (v0, v1) the light jumps. */
static double bisect(const canvas *c, int x, int y, double u, double v0, double v1, float from)
{
    synth_hit end = see(c, x, y, u, v1);
    float half = 0.5f * (from + end.light[1]);
    bool rising = end.light[1] > from;
    for (int i = 0; i < BISECTIONS; i++) {
        double v = 0.5 * (v0 + v1);
        if ((see(c, x, y, u, v).light[1] > half) == rising)
            v1 = v;
        else
            v0 = v;
    }
    return 0.5 * (v0 + v1);
}

/* One column of a comb: teeth of light, with jumps put where they are. */
static void comb_column(canvas *c, int x, int y, double u, int teeth, float (*to)[3])
{
    synth_hit tooth[COMB_TEETH + 2];
    for (int j = -1; j <= teeth; j++)
        tooth[j + 1] = see(c, x, y, u, (j + 0.5) / teeth);
    for (int j = 0; j < teeth; j++)
        memcpy(to[j], tooth[j + 1].light, sizeof to[j]);
    for (int j = -1; j < teeth; j++) {
        const float *a = tooth[j + 1].light, *b = tooth[j + 2].light;
        if (fabsf(a[1] - b[1]) < JUMP)
            continue;
        double v0 = (j + 0.5) / teeth;
        double share = (bisect(c, x, y, u, v0, v0 + 1.0 / teeth, a[1]) - v0) * teeth - 0.5;
        /* share < 0: tooth j ends early; > 0: it reaches into tooth j + 1. */
        for (int k = 0; k < 3; k++) {
            float moved = (float)share * (a[k] - b[k]);
            if (share < 0 && j >= 0)
                to[j][k] += moved;
            if (share > 0 && j + 1 < teeth)
                to[j + 1][k] += moved;
        }
    }
}

static void comb_pixel(canvas *c, int x, int y)
{
    float column[COMB_COLUMNS][COMB_TEETH][3], light[COMB_TEETH * COMB_COLUMNS * 3];
    int teeth = c->comb.parts;
    for (int i = 0; i < COMB_COLUMNS; i++)
        comb_column(c, x, y, (i + 0.5) / COMB_COLUMNS, teeth, column[i]);
    for (int j = 0; j < teeth; j++)
        for (int i = 0; i < COMB_COLUMNS; i++)
            memcpy(light + (j * COMB_COLUMNS + i) * 3, column[i][j], sizeof column[i][j]);
    spread_boxes(c, x, y, &c->columns, &c->comb, light);
}

/* --------------------------------------------------------------- pixels */

/* Light may change this much within a pixel that is taken as one box. */
static bool alike(const synth_hit *a, const synth_hit *b)
{
    return a->what == b->what &&
           fabsf(a->light[1] - b->light[1]) < 0.004f + 0.1f * fminf(a->light[1], b->light[1]);
}

typedef struct corner {
    bool known, near_slot;
    synth_hit hit;
} corner;

/* Three rows of pixel corners, of which only those are looked at that matter. */
typedef struct corner_rows {
    int y; /* of the first */
    corner *row[3];
} corner_rows;

static const corner *corner_at(const canvas *c, corner_rows *rows, int x, int y)
{
    corner *k = &rows->row[y - rows->y][x];
    if (!k->known) {
        synth_ray r = ray_along(c, c->way[(size_t)y * (size_t)(c->width + 1) + (size_t)x]);
        *k = (corner){true, synth_near_slot(c->w, &r), synth_trace(c->w, &r)};
    }
    return k;
}

static void set_flat(canvas *c, int x, int y, const corner *const k[4], double u, double v)
{
    double share[4] = {(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v};
    if (x < c->first || x >= c->last)
        return;
    for (int i = 0; i < 3; i++) {
        double sum = 0;
        for (int j = 0; j < 4; j++)
            sum += share[j] * (double)k[j]->hit.light[i];
        c->flat[((size_t)i * (size_t)c->height + (size_t)y) * (size_t)c->width + (size_t)x] =
            (float)sum;
    }
}

/* Corners of the square of `side` px at (x, y); false when something ends in it. */
static bool even(const canvas *c, corner_rows *rows, int x, int y, int side, bool *slot,
                 const corner *k[4])
{
    bool same = true;
    *slot = false;
    for (int i = 0; i < 4; i++) {
        k[i] = corner_at(c, rows, x + i % 2 * side, y + i / 2 * side);
        *slot = *slot || k[i]->near_slot;
        same = same && alike(&k[0]->hit, &k[i]->hit);
    }
    return same && !*slot;
}

static void pixel(canvas *c, corner_rows *rows, int x, int y)
{
    const corner *k[4];
    bool slot;
    if (even(c, rows, x, y, 1, &slot, k))
        set_flat(c, x, y, k, 0.5, 0.5);
    else if (slot)
        comb_pixel(c, x, y);
    else
        edge_pixel(c, x, y);
}

/* Four pixels at once where their outer corners see the same thing. */
static void block(canvas *c, corner_rows *rows, int x, int y)
{
    const corner *k[4];
    bool slot;
    int across = x + 1 < c->width ? 2 : 1, down = y + 1 < c->height ? 2 : 1;
    bool one = across == 2 && down == 2 && even(c, rows, x, y, 2, &slot, k);
    for (int i = 0; i < across * down; i++) {
        int dx = i % across, dy = i / across;
        if (one)
            set_flat(c, x + dx, y + dy, k, 0.25 + 0.5 * dx, 0.25 + 0.5 * dy);
        else
            pixel(c, rows, x + dx, y + dy);
    }
}

/* Pixels beside the band whose light is spread into it are seen too, in the same order as in the
 * whole picture: so every sum is the same to the last bit, however many bands there are. */
static rg_code draw(canvas *c, rg_error *err)
{
    int reach = c->whole.reach + 1;
    int from = c->first < reach ? 0 : (c->first - reach) / 2 * 2;
    int to = c->last + reach > c->width ? c->width : c->last + reach;
    size_t corners = (size_t)c->width + 1;
    corner_rows rows = {0};
    bool ok = true;
    for (int i = 0; i < 3; i++)
        ok = (rows.row[i] = rg_alloc(corners, sizeof **rows.row)) && ok;
    for (int y = 0; ok && y < c->height; y += 2) {
        corner *kept = rows.row[0];
        rows.y = y;
        if (y > 0) { /* the last row is the first of these */
            rows.row[0] = rows.row[2];
            rows.row[2] = kept;
            memset(rows.row[1], 0, corners * sizeof **rows.row);
            memset(rows.row[2], 0, corners * sizeof **rows.row);
        }
        for (int x = from; x < to; x += 2)
            block(c, &rows, x, y);
    }
    for (int i = 0; i < 3; i++)
        free(rows.row[i]);
    return ok ? RG_OK
              : rg_fail(err, RG_INTERNAL, "no memory to render %d x %d px", c->width, c->height);
}

/* ----------------------------------------------------------------- blur */

static void blur_row(const spread *p, const float *from, float *work, float *to, int width)
{
    int reach = p->reach;
    for (int x = 0; x < reach; x++) {
        work[x] = from[0];
        work[reach + width + x] = from[width - 1];
    }
    memcpy(work + reach, from, (size_t)width * sizeof *work);
    memset(to, 0, (size_t)width * sizeof *to);
    for (int d = 0; d <= 2 * reach; d++) {
        float share = p->share[0][2 * reach - d];
        for (int x = 0; x < width; x++)
            to[x] += share * work[x + d];
    }
}

/* Adds the blurred whole pixels of one channel to the result; the picture's
 * edge repeats itself. */
static rg_code blur_flat(canvas *c, int channel, rg_error *err)
{
    const spread *p = &c->whole;
    size_t width = (size_t)c->width, plane = width * (size_t)c->height;
    float *rows = rg_alloc(plane, sizeof *rows);
    float *work = rg_alloc(width + 2 * (size_t)p->reach, sizeof *work);
    if (!rows || !work) {
        free(rows);
        free(work);
        return rg_fail(err, RG_INTERNAL, "no memory to blur %d x %d px", c->width, c->height);
    }
    const float *flat = c->flat + (size_t)channel * plane;
    float *light = c->light + (size_t)channel * plane;
    for (int y = 0; y < c->height; y++)
        blur_row(p, flat + (size_t)y * width, work, rows + (size_t)y * width, c->width);
    for (int y = 0; y < c->height; y++)
        for (int d = -p->reach; d <= p->reach; d++) {
            int from = y + d < 0 ? 0 : y + d >= c->height ? c->height - 1 : y + d;
            const float *row = rows + (size_t)from * width;
            float share = p->share[0][p->reach - d], *to = light + (size_t)y * width;
            for (int x = 0; x < c->width; x++)
                to[x] += share * row[x];
        }
    free(rows);
    free(work);
    return RG_OK;
}

/* ---------------------------------------------------------------- truth */

static void tell_truth(const synth_world *w, const rg_lens *lens, const rg_pose *camera,
                       rg_synth_view *view)
{
    view->rim = *camera;
    view->cup = rg_pose_compose(camera, &w->cup);
    for (int j = 0; j < RG_SYNTH_FACES; j++)
        view->tag_seen[j] = rg_synth_tag(&w->s, lens, camera, j, view->tag_corner[j]);
}

/* ------------------------------------------------------------------ all */

static rg_code check_lens(const rg_lens *lens, rg_error *err)
{
    if (lens->width < 16 || lens->height < 16 || lens->width > 8192 || lens->height > 8192)
        return rg_fail(err, RG_BAD_DATA, "rendering %d x %d px; 16 to 8192 px are possible",
                       lens->width, lens->height);
    if (!(lens->fx > 1 && lens->fy > 1))
        return rg_fail(err, RG_BAD_DATA, "rendering with a focal length of %g px; above 1 px",
                       lens->fx);
    return RG_OK;
}

static rg_code check_view(double sigma_px, double glare, rg_error *err)
{
    if (!(sigma_px >= 0.3 && sigma_px <= 4))
        return rg_fail(err, RG_BAD_DATA, "rendering with a blur of %g px; 0.3 to 4 px are possible",
                       sigma_px);
    if (!(glare >= 0 && glare <= 0.5))
        return rg_fail(err, RG_BAD_DATA, "rendering with glare %g; 0 to 0.5 is possible", glare);
    return RG_OK;
}

rg_code rg_synth_eye_new(rg_synth_eye **eye, const rg_lens *lens, rg_error *err)
{
    *eye = NULL;
    rg_code code = check_lens(lens, err);
    if (code != RG_OK)
        return code;
    rg_synth_eye *e = rg_alloc(1, sizeof *e);
    size_t corners = ((size_t)lens->width + 1) * ((size_t)lens->height + 1);
    if (e)
        *e = (rg_synth_eye){*lens, rg_alloc(corners, sizeof *e->way)};
    if (!e || !e->way)
        code =
            rg_fail(err, RG_INTERNAL, "no memory to render %d x %d px", lens->width, lens->height);
    else if (!find_ways(e))
        code = rg_fail(err, RG_BAD_DATA,
                       "the lens distortion folds over inside the picture; "
                       "render with a weaker one");
    if (code == RG_OK)
        *eye = e;
    else
        rg_synth_eye_free(e);
    return code;
}

void rg_synth_eye_free(rg_synth_eye *eye)
{
    if (!eye)
        return;
    free(eye->way);
    free(eye);
}

static rg_code make_canvas(canvas *c, const synth_world *w, const rg_synth_eye *eye,
                           const rg_pose *camera, double sigma_px, rg_error *err)
{
    const rg_lens *lens = &eye->lens;
    size_t width = (size_t)lens->width, height = (size_t)lens->height;
    *c = (canvas){.w = w,
                  .lens = lens,
                  .from = rg_pose_camera_centre(camera),
                  .back = rg_mat3_transpose(camera->R),
                  .width = lens->width,
                  .height = lens->height,
                  .way = eye->way,
                  .flat = rg_alloc(3 * width * height, sizeof *c->flat),
                  .light = rg_alloc(3 * width * height, sizeof *c->light)};
    if (!c->flat || !c->light)
        return rg_fail(err, RG_INTERNAL, "no memory to render %d x %d px", lens->width,
                       lens->height);
    make_spread(&c->whole, 1, sigma_px);
    make_spread(&c->edge, EDGE_PARTS, sigma_px);
    make_spread(&c->columns, COMB_COLUMNS, sigma_px);
    make_spread(&c->comb, w->widest > WIDE_GAP_MM ? COMB_COARSE : COMB_TEETH, sigma_px);
    return RG_OK;
}

struct rg_synth_drawing {
    synth_world world;
    rg_pose camera;
    canvas c;
    double glare;
    int bands;
};

rg_code rg_synth_begin(const rg_synth_scene *scene, const rg_synth_eye *eye, const rg_pose *camera,
                       double sigma_px, double glare, int bands, rg_synth_drawing **drawing,
                       rg_error *err)
{
    *drawing = NULL;
    rg_synth_drawing *d = rg_alloc(1, sizeof *d);
    if (!d)
        return rg_fail(err, RG_INTERNAL, "no memory for the rendered scene");
    d->camera = *camera;
    d->glare = glare;
    d->bands = bands;
    rg_code code = check_view(sigma_px, glare, err);
    if (code == RG_OK)
        code = synth_world_make(&d->world, scene, camera, err);
    if (code == RG_OK)
        code = make_canvas(&d->c, &d->world, eye, camera, sigma_px, err);
    if (code == RG_OK)
        *drawing = d;
    else
        rg_synth_abandon(d);
    return code;
}

rg_code rg_synth_band(rg_synth_drawing *d, int band, rg_error *err)
{
    canvas c = d->c;
    int pairs = (c.width + 1) / 2;
    c.first = band * pairs / d->bands * 2;
    c.last = (band + 1) * pairs / d->bands * 2;
    c.last = c.last > c.width ? c.width : c.last;
    return c.first < c.last ? draw(&c, err) : RG_OK;
}

rg_code rg_synth_end(rg_synth_drawing *d, rg_synth_view *view, rg_error *err)
{
    canvas *c = &d->c;
    rg_code code = RG_OK;
    *view = (rg_synth_view){0};
    for (int k = 0; code == RG_OK && k < 3; k++)
        code = blur_flat(c, k, err);
    if (code == RG_OK) {
        *view = (rg_synth_view){.width = c->width, .height = c->height, .light = c->light};
        rg_synth_veil(view, d->glare);
        tell_truth(&d->world, c->lens, &d->camera, view);
        c->light = NULL;
    }
    rg_synth_abandon(d);
    return code;
}

void rg_synth_abandon(rg_synth_drawing *d)
{
    if (!d)
        return;
    free(d->c.flat);
    free(d->c.light);
    free(d);
}

rg_code rg_synth_render(const rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera,
                        double sigma_px, double glare, rg_synth_view *view, rg_error *err)
{
    rg_synth_eye *eye;
    rg_synth_drawing *d = NULL;
    *view = (rg_synth_view){0};
    rg_code code = rg_synth_eye_new(&eye, lens, err);
    if (code == RG_OK)
        code = rg_synth_begin(scene, eye, camera, sigma_px, glare, 1, &d, err);
    if (code == RG_OK)
        code = rg_synth_band(d, 0, err);
    if (code == RG_OK)
        code = rg_synth_end(d, view, err);
    else
        rg_synth_abandon(d);
    rg_synth_eye_free(eye);
    return code;
}

void rg_synth_view_free(rg_synth_view *view)
{
    if (!view)
        return;
    free(view->light);
    *view = (rg_synth_view){0};
}

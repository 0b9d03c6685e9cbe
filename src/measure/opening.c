/*
 * opening.c - the rim's pose against an open cup, from all frames at once.
 */
#include "rimglow/opening.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"

enum {
    RIM = 5,
    POSE = 6,
    SHIFT = POSE,
    CAMERA = 7,
    SEEDS = 8,
    ROUNDS = 3,
    STEPS = 12,
    SEARCHED = 4
};

static const double REACH_PX[ROUNDS] = {14, 7, 4};
static const double ANGLE_STEP_DEG = 1.5, HEIGHT_STEP_MM = 0.25, SHIFT_MM = 2, SHIFT_STEP_MM = 0.25;
static const double LOWEST_MM = -0.5; /* of the pad over the land, at its lowest */
static const double BIWEIGHT = 4.685; /* 95 % efficient for normal data (Holland and Welsch 1977) */
static const double LEAST_SIGMA_PX = 0.2;
static const double WEIGH_AS = 4;     /* points of one stroke together */
static const double BENT_PX = 0.7;    /* scatter from which a stroke may be wrong */
static const double BEND_SHARE = 0.7; /* of it that remains without that stroke */
static const double CHI_7 = 24.32;    /* 99.9 % point of chi-squared, 7 degrees of freedom */
static const double LEVEL_DEG = 0.3;  /* within it the edge is seen neither from above nor below */
static const double U_TURN = 5e-4; /* rad: of a crown's turn besides its covariance, as slope_u */

rg_code rg_opening_check(const rg_opening_options *o, rg_error *err)
{
    const struct {
        const char *name;
        double value, low, high;
    } all[] = {{"search_mm", o->search_mm, 0.5, 100},
               {"search_deg", o->search_deg, 0, 60},
               {"min_frames", o->min_frames, 1, RG_OPENING_FRAMES},
               {"min_spread_deg", o->min_spread_deg, 0, 180},
               {"min_share", o->min_share, 0.05, 1},
               {"max_rms_px", o->max_rms_px, 0.05, 50},
               {"edge_drop_mm", o->edge_drop_mm, 0, 1},
               {"edge_u_mm", o->edge_u_mm, 0.001, 1},
               {"pad_u_mm", o->pad_u_mm, 0, 1},
               {"pad_tilt_u_deg", o->pad_tilt_u_deg, 0, 10},
               {"max_u_mm", o->max_u_mm, 0.001, 10}};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        if (!(all[i].value >= all[i].low && all[i].value <= all[i].high))
            return rg_fail(err, RG_BAD_DATA, "opening: %s = %g is not within %g to %g", all[i].name,
                           all[i].value, all[i].low, all[i].high);
    return RG_OK;
}

/* ------------------------------------------------------------ parameters */

/* v: x and y of the rim's axis in the cup frame, and the rim's centre there. X points where
 * the crown's does: nothing round shows the turn about the axis. */
static rg_pose rim_pose(const double v[RIM])
{
    double flat = v[0] * v[0] + v[1] * v[1];
    rg_vec3 z = {v[0], v[1], sqrt(fmax(1 - flat, 1e-6))};
    z = rg_vec3_scale(z, 1 / rg_vec3_norm(z));
    rg_vec3 x = rg_vec3_sub((rg_vec3){1, 0, 0}, rg_vec3_scale(z, z.x));
    x = rg_vec3_scale(x, 1 / rg_vec3_norm(x));
    rg_vec3 y = rg_vec3_cross(z, x);
    return (rg_pose){.R = {{{x.x, y.x, z.x}, {x.y, y.y, z.y}, {x.z, y.z, z.z}}},
                     .t = {v[2], v[3], v[4]}};
}

/* A pad swung up by an angle about a hinge across bearing 0, its middle at (shift, 0,
 * height) in the rim frame. */
static void swung(double angle_deg, double height, double shift, double v[RIM])
{
    double s = sin(rg_radians(angle_deg)), c = cos(rg_radians(angle_deg));
    v[0] = -s;
    v[1] = 0;
    v[2] = -(c * shift - s * height);
    v[3] = 0;
    v[4] = -(s * shift + c * height);
}

/* The pad's plane over the rim, c, a, s: the cup's plane Z = 0 in the rim frame. */
static void plane_of(const double v[RIM], double radius, double plane[3])
{
    rg_pose rim = rim_pose(v), cup = rg_pose_inverse(&rim);
    rg_vec3 n = {cup.R.m[0][2], cup.R.m[1][2], cup.R.m[2][2]};
    plane[0] = cup.t.z + (n.x * cup.t.x + n.y * cup.t.y) / n.z;
    plane[1] = -radius * n.x / n.z;
    plane[2] = radius * n.y / n.z;
}

/* ------------------------------------------------------------ frames */

typedef struct look {
    const rg_opening_view *view;
    rg_opening_frame *frame;
    rg_trace_map *map;            /* owned */
    rg_pose start;                /* of the cup, by the crown */
    double prior[CAMERA][CAMERA]; /* inverse of its covariance */
    double moved[CAMERA];         /* since then */
    int points;
    rg_trace_point point[RG_TRACE_POINTS];
    double residual[RG_TRACE_POINTS], weight[RG_TRACE_POINTS];
    int agree[RG_TRACE_STROKES], found[RG_TRACE_STROKES];
    bool off[RG_TRACE_STROKES]; /* strokes that follow something else */
    bool in;
} look;

typedef struct fit {
    const rg_lens *lens;
    const rg_rim *rim;
    const rg_opening_options *options;
    look *look; /* owned, [looks] */
    int looks;
    double v[RIM];
    double sigma_px;
    double covariance[RIM][RIM];
    rg_code code;
} fit;

static rg_pose camera_of(const look *l, const double moved[CAMERA], const double v[RIM])
{
    rg_pose cup = rg_place_move(&l->start, moved), rim = rim_pose(v);
    return rg_pose_compose(&cup, &rim);
}

static bool inverted(size_t n, double *m)
{
    gsl_matrix_view view = gsl_matrix_view_array(m, n, n);
    gsl_error_handler_t *old = gsl_set_error_handler_off();
    bool ok = gsl_linalg_cholesky_decomp1(&view.matrix) == GSL_SUCCESS &&
              gsl_linalg_cholesky_invert(&view.matrix) == GSL_SUCCESS;
    gsl_set_error_handler(old);
    return ok;
}

static bool set_prior(look *l, double edge_u_mm)
{
    double(*p)[CAMERA] = l->prior;
    for (int i = 0; i < POSE; i++)
        for (int j = 0; j < POSE; j++)
            p[i][j] = l->view->place->covariance[i][j];
    for (int i = 0; i < 3; i++) {
        p[i][i] += U_TURN * U_TURN;
        p[i + 3][i + 3] += 1e-6; /* a micrometre */
    }
    p[SHIFT][SHIFT] = edge_u_mm * edge_u_mm;
    return inverted(CAMERA, &p[0][0]);
}

/* Where the front edge is seen, on average: see opening.h. */
static double edge_height(const fit *f, const rg_pose *pose)
{
    double bearing, elevation, distance;
    double land = (f->rim->outer_diameter_mm - f->rim->inner_diameter_mm) / 2;
    rg_rim_camera(pose, &bearing, &elevation, &distance);
    double below = fmin(fmax(0.5 - elevation / (2 * LEVEL_DEG), 0), 1);
    return 0.5 * land * sin(rg_radians(fmax(elevation, 0))) - below * f->options->edge_drop_mm;
}

/* ------------------------------------------------------------ search */

static double score_of(const fit *f, const double v[RIM])
{
    int step = f->looks > SEARCHED ? f->looks / SEARCHED : 1;
    double sum = 0, none[CAMERA] = {0};
    int n = 0;
    for (int i = 0; i < f->looks; i += step) {
        rg_pose pose = camera_of(&f->look[i], none, v);
        double s = rg_trace_score(f->look[i].map, f->lens, f->rim, &pose);
        sum += fmax(s, 0);
        n++;
    }
    return sum / n;
}

typedef struct seed {
    double score, v[RIM];
} seed;

static void keep(seed *best, const seed *s)
{
    int at = SEEDS;
    while (at > 0 && s->score > best[at - 1].score)
        at--;
    for (int i = SEEDS - 1; i > at; i--)
        best[i] = best[i - 1];
    if (at < SEEDS)
        best[at] = *s;
}

static void scan(const fit *f, seed best[SEEDS])
{
    const rg_opening_options *o = f->options;
    double r = f->rim->outer_diameter_mm / 2;
    for (double angle = 0; angle <= o->search_deg; angle += ANGLE_STEP_DEG)
        for (double h = fmax(0.25, r * tan(rg_radians(angle)) + LOWEST_MM); h <= o->search_mm;
             h += HEIGHT_STEP_MM)
            for (double shift = -SHIFT_MM; shift <= SHIFT_MM; shift += SHIFT_STEP_MM) {
                seed s;
                swung(angle, h, shift, s.v);
                s.score = score_of(f, s.v);
                keep(best, &s);
            }
}

/* Uphill, one parameter after the other, with ever smaller steps. */
static void climb(const fit *f, seed *s)
{
    static const double scale[RIM] = {0.015, 0.015, 0.2, 0.2, 0.2};
    for (double step = 1; step > 0.2;) {
        seed best = *s;
        for (int k = 0; k < 2 * RIM; k++) {
            seed t = *s;
            t.v[k / 2] += (k % 2 ? 1 : -1) * step * scale[k / 2];
            t.score = score_of(f, t.v);
            if (t.score > best.score)
                best = t;
        }
        if (best.score > s->score)
            *s = best;
        else
            step /= 2;
    }
}

static bool search(fit *f)
{
    seed best[SEEDS] = {{.score = 0}};
    scan(f, best);
    for (int i = 0; i < SEEDS; i++)
        if (best[i].score > 0)
            climb(f, &best[i]);
    for (int i = 1; i < SEEDS; i++)
        if (best[i].score > best[0].score)
            best[0] = best[i];
    memcpy(f->v, best[0].v, sizeof f->v);
    return best[0].score > 0;
}

/* ------------------------------------------------------------ fit */

static bool residual(const fit *f, const look *l, int i, const double moved[CAMERA],
                     const double v[RIM], double *e)
{
    rg_vec2 at, normal;
    rg_pose pose = camera_of(l, moved, v);
    const rg_trace_point *p = &l->point[i];
    rg_trace_model model = p->model;
    model.height += moved[SHIFT];
    if (!rg_trace_project(f->lens, f->rim, &pose, &model, &at, &normal))
        return false;
    *e = (at.x - p->pixel.x) * normal.x + (at.y - p->pixel.y) * normal.y;
    return true;
}

static void trace(fit *f, double reach_px)
{
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        rg_pose pose = camera_of(l, l->moved, f->v);
        l->points = rg_trace_points(l->view->light, f->lens, f->rim, &pose, reach_px, l->point);
        memset(l->found, 0, sizeof l->found);
        for (int k = 0; k < l->points; k++) {
            rg_trace_model *m = &l->point[k].model;
            m->height = m->stroke == RG_TRACE_FRONT ? edge_height(f, &pose) : 0;
            l->found[m->stroke]++;
        }
    }
}

/* Residuals, their robust scatter, and the weights. */
static bool weigh(fit *f)
{
    double work[RG_OPENING_FRAMES * RG_TRACE_POINTS];
    size_t n = 0;
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        for (int k = 0; k < l->points; k++) {
            if (!residual(f, l, k, l->moved, f->v, &l->residual[k]))
                l->residual[k] = HUGE_VAL;
            else if (l->in && !l->off[l->point[k].model.stroke])
                work[n++] = fabs(l->residual[k]);
        }
    }
    if (n < 3 * RIM)
        return false;
    /* 1.4826: the median of |normal| residuals about 0 (Hampel 1974). */
    f->sigma_px = fmax(1.4826 * rg_median_inplace(work, n), LEAST_SIGMA_PX);
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        memset(l->agree, 0, sizeof l->agree);
        for (int k = 0; k < l->points; k++) {
            double u = l->residual[k] / (BIWEIGHT * f->sigma_px), w = 1 - u * u;
            rg_trace_stroke s = l->point[k].model.stroke;
            bool good = fabs(u) < 1 && !l->off[s];
            l->weight[k] = good ? w * w * fmin(1, WEIGH_AS / l->found[s]) : 0;
            l->agree[s] += good;
        }
    }
    return true;
}

typedef struct normal {
    double a[RIM][RIM], ga[RIM];
    double b[CAMERA][CAMERA], gb[CAMERA], c[RIM][CAMERA];
} normal;

/* Central differences by all parameters of a point. */
static bool gradient(const fit *f, const look *l, int k, double d[RIM + CAMERA])
{
    static const double h = 1e-5;
    for (int j = 0; j < RIM + CAMERA; j++) {
        double v[RIM], m[CAMERA], e[2];
        for (int side = 0; side < 2; side++) {
            memcpy(v, f->v, sizeof v);
            memcpy(m, l->moved, sizeof m);
            *(j < RIM ? &v[j] : &m[j - RIM]) += side ? h : -h;
            if (!residual(f, l, k, m, v, &e[side]))
                return false;
        }
        d[j] = (e[1] - e[0]) / (2 * h);
    }
    return true;
}

static void add_point(normal *n, const double d[RIM + CAMERA], double e, double w)
{
    const double *c = d + RIM;
    for (int i = 0; i < RIM; i++) {
        n->ga[i] += w * d[i] * e;
        for (int j = 0; j < RIM; j++)
            n->a[i][j] += w * d[i] * d[j];
        for (int j = 0; j < CAMERA; j++)
            n->c[i][j] += w * d[i] * c[j];
    }
    for (int i = 0; i < CAMERA; i++) {
        n->gb[i] += w * c[i] * e;
        for (int j = 0; j < CAMERA; j++)
            n->b[i][j] += w * c[i] * c[j];
    }
}

static normal normal_of(const fit *f, const look *l)
{
    normal n = {.ga = {0}};
    for (int k = 0; k < l->points; k++) {
        double d[RIM + CAMERA];
        if (l->weight[k] > 0 && gradient(f, l, k, d))
            add_point(&n, d, l->residual[k], l->weight[k] / (f->sigma_px * f->sigma_px));
    }
    for (int i = 0; i < CAMERA; i++)
        for (int j = 0; j < CAMERA; j++) {
            n.b[i][j] += l->prior[i][j];
            n.gb[i] += l->prior[i][j] * l->moved[j];
        }
    return n;
}

/* Takes one frame's own parameters out: what it says of the rim is added to s and g. n->b
 * becomes its inverse. */
static bool eliminate(normal *n, double s[RIM][RIM], double g[RIM])
{
    if (!inverted(CAMERA, &n->b[0][0]))
        return false;
    for (int p = 0; p < RIM; p++) {
        g[p] += n->ga[p];
        for (int r = 0; r < RIM; r++)
            s[p][r] += n->a[p][r];
        for (int q = 0; q < CAMERA; q++) {
            double cb = 0;
            for (int k = 0; k < CAMERA; k++)
                cb += n->c[p][k] * n->b[k][q];
            g[p] -= cb * n->gb[q];
            for (int r = 0; r < RIM; r++)
                s[p][r] -= cb * n->c[r][q];
        }
    }
    return true;
}

/* The frame's own step, once the rim's is known. */
static void follow(const normal *n, const double da[RIM], double moved[CAMERA])
{
    double rhs[CAMERA];
    for (int q = 0; q < CAMERA; q++) {
        rhs[q] = n->gb[q];
        for (int p = 0; p < RIM; p++)
            rhs[q] += n->c[p][q] * da[p];
    }
    for (int q = 0; q < CAMERA; q++)
        for (int k = 0; k < CAMERA; k++)
            moved[q] -= n->b[q][k] * rhs[k];
}

/* One step; *change is the rim's greatest, mm or rad. False when nothing holds the rim. */
static bool step(fit *f, double *change)
{
    normal all[RG_OPENING_FRAMES];
    double s[RIM][RIM] = {{0}}, g[RIM] = {0}, da[RIM] = {0};
    for (int i = 0; i < f->looks; i++) {
        if (!f->look[i].in)
            continue;
        all[i] = normal_of(f, &f->look[i]);
        if (!eliminate(&all[i], s, g))
            return false;
    }
    if (!inverted(RIM, &s[0][0]))
        return false;
    *change = 0;
    for (int p = 0; p < RIM; p++) {
        for (int r = 0; r < RIM; r++)
            da[p] -= s[p][r] * g[r];
        f->v[p] += da[p];
        *change = fmax(*change, fabs(da[p]));
    }
    memcpy(f->covariance, s, sizeof s);
    for (int i = 0; i < f->looks; i++)
        if (f->look[i].in)
            follow(&all[i], da, f->look[i].moved);
    return true;
}

static bool settle(fit *f)
{
    double change = 1;
    for (int i = 0; i < STEPS && change > 1e-6; i++)
        if (!weigh(f) || !step(f, &change))
            return false;
    return weigh(f);
}

/* What settling changes. */
typedef struct state {
    double v[RIM], moved[RG_OPENING_FRAMES][CAMERA];
} state;

static state state_of(const fit *f)
{
    state s;
    memcpy(s.v, f->v, sizeof s.v);
    for (int i = 0; i < f->looks; i++)
        memcpy(s.moved[i], f->look[i].moved, sizeof s.moved[i]);
    return s;
}

static void restore(fit *f, const state *s)
{
    memcpy(f->v, s->v, sizeof f->v);
    for (int i = 0; i < f->looks; i++)
        memcpy(f->look[i].moved, s->moved[i], sizeof s->moved[i]);
}

/* A whole stroke may follow a streak or a post; half of the others then bend to it and no
 * point stands out. So each is left out in turn. *better: that without it the
 * others agree far better. */
static bool try_without(fit *f, const state *now, double *best, bool **worst)
{
    double sigma = f->sigma_px;
    *best = sigma;
    for (int i = 0; i < f->looks; i++)
        for (int s = 0; s < RG_TRACE_STROKES; s++) {
            look *l = &f->look[i];
            if (!l->in || l->off[s] || l->found[s] == 0)
                continue;
            l->off[s] = true;
            if (settle(f) && f->sigma_px < *best) {
                *best = f->sigma_px;
                *worst = &l->off[s];
            }
            l->off[s] = false;
            restore(f, now);
        }
    return *best < BEND_SHARE * sigma;
}

static bool drop_strokes(fit *f)
{
    while (f->sigma_px > BENT_PX) {
        state now = state_of(f);
        double best;
        bool *worst = NULL;
        bool better = try_without(f, &now, &best, &worst);
        if (better)
            *worst = true;
        if (!settle(f))
            return false;
        if (!better)
            break;
    }
    return true;
}

static bool refine(fit *f, int first_round)
{
    for (int round = first_round; round < ROUNDS; round++) {
        trace(f, REACH_PX[round]);
        if (!settle(f) || !drop_strokes(f))
            return false;
    }
    return true;
}

/* ------------------------------------------------------------ frames that do not fit */

static double chi_of(const look *l)
{
    double sum = 0;
    for (int i = 0; i < CAMERA; i++)
        for (int j = 0; j < CAMERA; j++)
            sum += l->moved[i] * l->prior[i][j] * l->moved[j];
    return sum;
}

static double rms_of(const look *l)
{
    double sum = 0;
    int n = 0;
    for (int k = 0; k < l->points; k++)
        if (l->weight[k] > 0) {
            sum += l->residual[k] * l->residual[k];
            n++;
        }
    return n ? sqrt(sum / n) : HUGE_VAL;
}

/* How badly a frame fits, 1 at the limit; the text says why. */
static double judge(const fit *f, look *l, char reason[RG_OPENING_REASON])
{
    const rg_opening_options *o = f->options;
    int front = l->agree[RG_TRACE_FRONT];
    double edge = o->min_share * RG_TRACE_EDGE / fmax(front, 0.5);
    double rough = rms_of(l) / o->max_rms_px, moved = chi_of(l) / CHI_7;
    if (edge >= fmax(rough, moved))
        snprintf(reason, RG_OPENING_REASON,
                 "the rim's edge agrees at %d of %d places; take it from where nothing hides the "
                 "rim, level with it, with the lamp on or the background plain",
                 front, (int)RG_TRACE_EDGE);
    else if (rough >= moved)
        snprintf(reason, RG_OPENING_REASON,
                 "the rim's edge scatters by %.1f px, at most %.1f; hold camera and key still",
                 rms_of(l), o->max_rms_px);
    else
        snprintf(reason, RG_OPENING_REASON,
                 "rim and crown stand otherwise than in the other frames: the key moved or the "
                 "crown slipped; wedge the key and take it again");
    return fmax(edge, fmax(rough, moved));
}

/* Takes the worst frame out; false when all fit. */
static bool drop_worst(fit *f)
{
    char reason[RG_OPENING_REASON], worst_reason[RG_OPENING_REASON] = "";
    double worst = 1;
    look *out = NULL;
    for (int i = 0; i < f->looks; i++) {
        double bad = f->look[i].in ? judge(f, &f->look[i], reason) : 0;
        if (bad > worst) {
            worst = bad;
            out = &f->look[i];
            memcpy(worst_reason, reason, sizeof worst_reason);
        }
    }
    if (!out)
        return false;
    out->in = false;
    memset(out->moved, 0, sizeof out->moved);
    memcpy(out->frame->reason, worst_reason, sizeof worst_reason);
    return true;
}

static int count_in(const fit *f)
{
    int n = 0;
    for (int i = 0; i < f->looks; i++)
        n += f->look[i].in;
    return n;
}

static bool fit_all(fit *f)
{
    if (!refine(f, 0))
        return false;
    while (drop_worst(f))
        if (count_in(f) == 0 || !refine(f, 1))
            return false;
    return true;
}

/* ------------------------------------------------------------ result */

static double greatest_spread(const fit *f)
{
    double most = 0;
    for (int i = 0; i < f->looks; i++)
        for (int k = 0; k < i; k++)
            if (f->look[i].in && f->look[k].in)
                most = fmax(most, fabs(rg_angle_between(f->look[i].frame->bearing_deg,
                                                        f->look[k].frame->bearing_deg)));
    return most;
}

static void note_frames(fit *f, rg_opening *o)
{
    double sum = 0;
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        rg_opening_frame *out = l->frame;
        double distance;
        out->rim = camera_of(l, l->moved, f->v);
        out->cup = rg_place_move(&l->start, l->moved);
        rg_rim_camera(&out->rim, &out->bearing_deg, &out->elevation_deg, &distance);
        out->used = l->in;
        for (int k = 0; k < l->points; k++)
            out->points += l->weight[k] > 0;
        out->rms_px = rms_of(l);
        if (!l->in)
            continue;
        o->frames_used++;
        o->points += out->points;
        sum += out->points * out->rms_px * out->rms_px;
    }
    o->rms_px = o->points ? sqrt(sum / o->points) : NAN;
}

/* Covariance of the plane: the fit's by central differences (JCGM 102, 6.2), and what no
 * picture shows. */
static void combine(const fit *f, double u_scale, rg_opening *o)
{
    const rg_opening_options *q = f->options;
    double r = f->rim->outer_diameter_mm / 2, j[3][RIM];
    for (int p = 0; p < RIM; p++) {
        double low[RIM], high[RIM], a[3], b[3];
        memcpy(low, f->v, sizeof low);
        memcpy(high, f->v, sizeof high);
        low[p] -= 1e-5;
        high[p] += 1e-5;
        plane_of(low, r, a);
        plane_of(high, r, b);
        for (int i = 0; i < 3; i++)
            j[i][p] = (b[i] - a[i]) / 2e-5;
    }
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            o->covariance[i][k] = u_scale * u_scale * o->plane[i] * o->plane[k];
            for (int p = 0; p < RIM; p++)
                for (int s = 0; s < RIM; s++)
                    o->covariance[i][k] += j[i][p] * f->covariance[p][s] * j[k][s];
        }
    double lean = r * tan(rg_radians(q->pad_tilt_u_deg));
    o->covariance[0][0] += q->edge_u_mm * q->edge_u_mm + q->pad_u_mm * q->pad_u_mm;
    o->covariance[1][1] += lean * lean;
    o->covariance[2][2] += lean * lean;
}

double rg_opening_at(const rg_opening *o, double bearing_deg, double *u_mm)
{
    double b = rg_radians(bearing_deg), g[3] = {1, cos(b), sin(b)}, h = 0, variance = 0;
    for (int i = 0; i < 3; i++) {
        h += g[i] * o->plane[i];
        for (int k = 0; k < 3; k++)
            variance += g[i] * o->covariance[i][k] * g[k];
    }
    if (u_mm)
        *u_mm = o->measured ? sqrt(variance) : NAN;
    return o->measured ? h : NAN;
}

static void derive(rg_opening *o)
{
    double a = o->plane[1], s = o->plane[2], size = hypot(a, s);
    double ga = size > 0 ? a / size : 1, gs = size > 0 ? s / size : 0;
    o->far_mm = rg_opening_at(o, 180, &o->u_far_mm);
    o->hinge_mm = rg_opening_at(o, 0, &o->u_hinge_mm);
    o->mean_mm = o->plane[0];
    o->u_mean_mm = sqrt(o->covariance[0][0]);
    o->tilt_mm = 2 * size;
    o->u_tilt_mm = 2 * sqrt(ga * ga * o->covariance[1][1] + gs * gs * o->covariance[2][2] +
                            2 * ga * gs * o->covariance[1][2]);
    o->tilt_bearing_deg = size > 0 ? rg_wrap_degrees(rg_degrees(atan2(s, a))) : NAN;
}

static void refuse(rg_opening *o, const char *text)
{
    o->measured = false;
    snprintf(o->reason, sizeof o->reason, "%s", text);
}

/* Enough frames, from places apart, and a result that says something. */
static void conclude(const fit *f, double u_scale, rg_opening *o)
{
    const rg_opening_options *q = f->options;
    double worst, u;
    plane_of(f->v, f->rim->outer_diameter_mm / 2, o->plane);
    combine(f, u_scale, o);
    o->rim_in_cup = rim_pose(f->v);
    o->measured = true;
    derive(o);
    worst = fmax(o->u_far_mm, o->u_hinge_mm);
    for (int b = 0; b < 360; b += 10) {
        rg_opening_at(o, b, &u);
        worst = fmax(worst, u);
    }
    if (o->frames_used < q->min_frames)
        snprintf(o->reason, sizeof o->reason,
                 "%d of %d frames show the rim, at least %.0f are needed; take frames level with "
                 "the rim from bearings 90, 180 and 270",
                 o->frames_used, o->frames_given, q->min_frames);
    else if (greatest_spread(f) < q->min_spread_deg)
        snprintf(o->reason, sizeof o->reason,
                 "all frames look from bearings within %.0f degrees; take another a quarter turn "
                 "away, at least %.0f degrees",
                 greatest_spread(f), q->min_spread_deg);
    else if (!(worst <= q->max_u_mm))
        snprintf(o->reason, sizeof o->reason,
                 "the frames hold the rim's place to %.2f mm only (standard uncertainty), at most "
                 "%.2f; take frames level with the rim from bearings 90, 180 and 270",
                 worst, q->max_u_mm);
    o->measured = o->reason[0] == '\0';
}

/* ------------------------------------------------------------ whole */

static rg_code begin(fit *f, const rg_opening_view *view, int count, rg_opening_frame *frame,
                     rg_error *err)
{
    int used = count < RG_OPENING_FRAMES ? count : RG_OPENING_FRAMES;
    f->look = rg_alloc((size_t)used + 1, sizeof *f->look);
    if (!f->look)
        return rg_fail(err, RG_INTERNAL, "opening: no memory for %d frames", used);
    for (int i = 0; i < used; i++) {
        look *l = &f->look[f->looks];
        int at = (int)((long)i * count / used);
        *l = (look){.view = &view[at], .frame = &frame[at], .in = true};
        l->start = view[at].place->pose;
        frame[at].reason[0] = '\0';
        if (!set_prior(l, f->options->edge_u_mm)) {
            snprintf(frame[at].reason, RG_OPENING_REASON, "the crown does not hold the cup's pose");
            continue;
        }
        rg_code code = rg_trace_map_new(&l->map, view[at].light, err);
        if (code != RG_OK)
            return code;
        f->looks++;
    }
    return RG_OK;
}

static void finish(fit *f)
{
    for (int i = 0; f->look && i < f->looks; i++)
        rg_trace_map_free(f->look[i].map);
    free(f->look);
}

static void clear(rg_opening_frame *frame, int count, rg_opening *o)
{
    *o = (rg_opening){.far_mm = NAN,
                      .u_far_mm = NAN,
                      .hinge_mm = NAN,
                      .u_hinge_mm = NAN,
                      .mean_mm = NAN,
                      .u_mean_mm = NAN,
                      .tilt_mm = NAN,
                      .u_tilt_mm = NAN,
                      .tilt_bearing_deg = NAN,
                      .rms_px = NAN,
                      .frames_given = count};
    for (int i = 0; i < count; i++) {
        frame[i] = (rg_opening_frame){.bearing_deg = NAN, .elevation_deg = NAN, .rms_px = NAN};
        snprintf(frame[i].reason, RG_OPENING_REASON, "more than %d frames: this one was not needed",
                 (int)RG_OPENING_FRAMES);
    }
}

rg_code rg_opening_measure(const rg_lens *lens, const rg_rim *rim,
                           const rg_opening_options *options, double u_scale,
                           const rg_opening_view *view, int count, rg_opening_frame *frame,
                           rg_opening *opening, rg_error *err)
{
    fit f = {.lens = lens, .rim = rim, .options = options};
    clear(frame, count, opening);
    rg_code code = rg_opening_check(options, err);
    if (code == RG_OK)
        code = begin(&f, view, count, frame, err);
    if (code == RG_OK && f.looks == 0) {
        refuse(opening, "no frame of the open key shows the crown; take frames level with the rim "
                        "from bearings 90, 180 and 270, with the crown on the cup");
    } else if (code == RG_OK) {
        bool held = search(&f) && fit_all(&f);
        note_frames(&f, opening);
        if (held)
            conclude(&f, u_scale, opening);
        else
            refuse(opening,
                   "the rim was not found under the open pad; take frames level with the "
                   "rim from bearings 90, 180 and 270, lamp on, before a plain background");
    }
    finish(&f);
    return code;
}

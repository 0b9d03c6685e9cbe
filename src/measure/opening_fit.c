/*
 * opening_fit.c - one pose of the rim in the cup from the edge points of all frames (part of opening.h).
 */
#include <math.h>
#include <string.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

#include "opening_private.h"
#include "rimglow/stats.h"

enum { STEPS = 12 };

static const double BIWEIGHT = 4.685; /* 95 % efficient for normal data (Holland and Welsch 1977) */
static const double LEAST_SIGMA_PX = 0.2;
static const double WEIGH_AS = 4;    /* points of one stroke together */
static const double LEVEL_DEG = 0.3; /* within it the edge is seen neither from above nor below */
static const double U_TURN = 5e-4;   /* rad: of a crown's turn besides its covariance, as slope_u */

rg_pose rg_opening_rim_pose(const double v[RIM])
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

rg_pose rg_opening_camera(const look *l, const double moved[CAMERA], const double v[RIM])
{
    rg_pose cup = rg_place_move(&l->start, moved), rim = rg_opening_rim_pose(v);
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

bool rg_opening_set_prior(look *l, double edge_u_mm)
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

static bool residual(const fit *f, const look *l, int i, const double moved[CAMERA],
                     const double v[RIM], double *e)
{
    rg_vec2 at, normal;
    rg_pose pose = rg_opening_camera(l, moved, v);
    const rg_trace_point *p = &l->point[i];
    rg_trace_model model = p->model;
    model.height += moved[SHIFT];
    if (!rg_trace_project(f->lens, f->rim, &pose, &model, &at, &normal))
        return false;
    *e = (at.x - p->pixel.x) * normal.x + (at.y - p->pixel.y) * normal.y;
    return true;
}

void rg_opening_trace(fit *f, double reach_px)
{
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        rg_pose pose = rg_opening_camera(l, l->moved, f->v);
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

bool rg_opening_settle(fit *f)
{
    double change = 1;
    for (int i = 0; i < STEPS && change > 1e-6; i++)
        if (!weigh(f) || !step(f, &change))
            return false;
    return weigh(f);
}

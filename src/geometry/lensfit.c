/*
 * lensfit.c - the reprojection error of all corners minimised over the lens
 * and all poses, by GSL's large nonlinear least squares (gsl_multilarge_nlinear,
 * Levenberg-Marquardt): the normal equations are built block by block, because
 * a corner depends on the lens and on the pose of its own view only.
 *
 * Parameters: the free lens values, then six increments for each pose (left
 * rotation vector, shift), see posefit.c.
 */
#include "lensfit.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_multilarge_nlinear.h>

#include "posefit.h"
#include "rimglow/memory.h"

enum { MAX_ITERATIONS = 200, POSE = 6, BLOCK = RG_LENS_VALUES + POSE };

/* Depth below which a point counts as behind the camera, mm. */
static const double NEAR_MM = 1e-3;
/* Iteration ends when the sum of squares changes by less than this part. */
static const double STILL = 1e-15;

typedef struct problem {
    const rg_view *const *view;
    int views;
    const rg_lens_model *model;
    rg_lens_guess start;
    int column[RG_LENS_VALUES]; /* of the parameter vector, -1 when not fitted */
    int free;                   /* lens values fitted */
} problem;

/* ------------------------------------------------------------- projection */

/* Distorted direction, its Jacobian to (x, y), by the lens of focal length 1. */
static rg_vec2 bend(const rg_lens *lens, rg_vec2 n, double jacobian[4])
{
    rg_lens unit = *lens;
    unit.fx = unit.fy = 1.0;
    unit.cx = unit.cy = 0.0;
    return rg_lens_forward_jacobian(&unit, n, jacobian);
}

static void derive_lens(const rg_lens *l, double skew, rg_vec2 n, rg_vec2 bent,
                        double d[2][RG_LENS_VALUES])
{
    double r2 = n.x * n.x + n.y * n.y, xy = 2.0 * n.x * n.y;
    double px = r2 + 2.0 * n.x * n.x, py = r2 + 2.0 * n.y * n.y;
    /* (dx', dy') of the distorted direction for k1 k2 p1 p2 k3, in that order. */
    const double by[5][2] = {{n.x * r2, n.y * r2},
                             {n.x * r2 * r2, n.y * r2 * r2},
                             {xy, py},
                             {px, xy},
                             {n.x * r2 * r2 * r2, n.y * r2 * r2 * r2}};
    for (int i = 0; i < RG_LENS_VALUES; i++)
        d[0][i] = d[1][i] = 0.0;
    d[0][RG_LENS_FX] = bent.x;
    d[1][RG_LENS_FY] = bent.y;
    d[0][RG_LENS_CX] = d[1][RG_LENS_CY] = 1.0;
    d[0][RG_LENS_SKEW] = bent.y;
    for (int i = 0; i < 5; i++) {
        d[0][RG_LENS_K1 + i] = l->fx * by[i][0] + skew * by[i][1];
        d[1][RG_LENS_K1 + i] = l->fy * by[i][1];
    }
}

static void derive_pose(const rg_lens *l, double skew, rg_vec2 n, double z, const double j[4],
                        rg_vec3 turned, const double increment[POSE], double d[2][POSE])
{
    rg_mat3 left =
        rg_mat3_transpose(rg_left_jacobian(rg_vec3_make(increment[0], increment[1], increment[2])));
    for (int c = 0; c < 2; c++) {
        double a = c ? l->fy * j[2] : l->fx * j[0] + skew * j[2];
        double b = c ? l->fy * j[3] : l->fx * j[1] + skew * j[3];
        rg_vec3 slope = {a / z, b / z, -(a * n.x + b * n.y) / z};
        /* slope . (dq x turned) = dq . (turned x slope) */
        rg_vec3 g = rg_mat3_apply(left, rg_vec3_cross(turned, slope));
        double row[POSE] = {g.x, g.y, g.z, slope.x, slope.y, slope.z};
        for (int i = 0; i < POSE; i++)
            d[c][i] = row[i];
    }
}

rg_vec2 rg_corner_residual(const rg_lens *lens, double skew, const rg_pose *start,
                           const double increment[6], const rg_corner *corner,
                           double by_lens[2][RG_LENS_VALUES], double by_pose[2][6])
{
    rg_pose pose = rg_posefit_move(start, increment);
    rg_vec3 turned = rg_mat3_apply(pose.R, rg_vec3_make(corner->board.x, corner->board.y, 0.0));
    rg_vec3 c = rg_vec3_add(turned, pose.t);
    double z = c.z > NEAR_MM ? c.z : NEAR_MM, j[4];
    rg_vec2 n = {c.x / z, c.y / z}, bent = bend(lens, n, j);
    if (by_lens)
        derive_lens(lens, skew, n, bent, by_lens);
    if (by_pose)
        derive_pose(lens, skew, n, z, j, turned, increment, by_pose);
    return (rg_vec2){lens->fx * bent.x + skew * bent.y + lens->cx - corner->pixel.x,
                     lens->fy * bent.y + lens->cy - corner->pixel.y};
}

bool rg_calibration_project(const rg_lens_fit *fit, const rg_pose *pose, rg_vec2 board,
                            rg_vec2 *pixel)
{
    static const double still[POSE] = {0};
    rg_corner corner = {.board = board};
    rg_vec3 c = rg_pose_apply(pose, rg_vec3_make(board.x, board.y, 0.0));
    *pixel = rg_corner_residual(&fit->lens, fit->skew, pose, still, &corner, NULL, NULL);
    return c.z > NEAR_MM;
}

/* -------------------------------------------------------------- parameters */

static double *value_of(rg_lens_guess *g, int i)
{
    rg_lens *l = &g->lens;
    double *value[RG_LENS_VALUES] = {&l->fx, &l->fy, &l->cx, &l->cy, &g->skew,
                                     &l->k1, &l->k2, &l->p1, &l->p2, &l->k3};
    return value[i];
}

static void choose_columns(problem *p)
{
    const rg_lens_model *m = p->model;
    const bool fitted[RG_LENS_VALUES] = {
        true,           !m->fixed_aspect, true,          true,          m->skew,
        m->radial >= 1, m->radial >= 2,   m->tangential, m->tangential, m->radial >= 3};
    p->free = 0;
    for (int i = 0; i < RG_LENS_VALUES; i++)
        p->column[i] = fitted[i] ? p->free++ : -1;
}

/* The lens of a parameter vector; poses are not touched. */
static rg_lens_guess lens_at(const problem *p, const gsl_vector *x)
{
    rg_lens_guess g = p->start;
    for (int i = 0; i < RG_LENS_VALUES; i++)
        if (p->column[i] >= 0)
            *value_of(&g, i) = gsl_vector_get(x, (size_t)p->column[i]);
    if (p->model->fixed_aspect)
        g.lens.fy = p->model->aspect * g.lens.fx;
    return g;
}

static const double *increment_at(const problem *p, const gsl_vector *x, int view)
{
    return x->data + p->free + POSE * view;
}

/* ------------------------------------------------------------- functions of GSL */

static int residuals(const gsl_vector *x, void *data, gsl_vector *f)
{
    const problem *p = data;
    rg_lens_guess g = lens_at(p, x);
    size_t row = 0;
    for (int v = 0; v < p->views; v++)
        for (int i = 0; i < p->view[v]->corners; i++) {
            rg_vec2 r =
                rg_corner_residual(&g.lens, g.skew, &p->start.pose[v], increment_at(p, x, v),
                                   &p->view[v]->corner[i], NULL, NULL);
            gsl_vector_set(f, row++, r.x);
            gsl_vector_set(f, row++, r.y);
        }
    return GSL_SUCCESS;
}

/* The entries of one row of the Jacobian that are not always zero. */
typedef struct sparse_row {
    int count;
    size_t column[BLOCK];
    double value[BLOCK];
} sparse_row;

static void fill_row(const problem *p, int view, const double lens[RG_LENS_VALUES],
                     const double pose[POSE], bool lower, sparse_row *row)
{
    row->count = 0;
    for (int i = 0; i < RG_LENS_VALUES; i++)
        if (p->column[i] >= 0) {
            row->column[row->count] = (size_t)p->column[i];
            row->value[row->count++] = lens[i];
        }
    /* A fixed aspect lets fx move v as well; FX comes first. */
    if (p->model->fixed_aspect && lower)
        row->value[0] += p->model->aspect * lens[RG_LENS_FY];
    for (int i = 0; i < POSE; i++) {
        row->column[row->count] = (size_t)(p->free + POSE * view + i);
        row->value[row->count++] = pose[i];
    }
}

/* What GSL wants of the Jacobian: J u, or J' u with J' J (lower half). */
typedef struct product {
    bool transposed;
    const gsl_vector *u;
    gsl_vector *v;
    gsl_matrix *normal;
} product;

static void use_row(const product *to, const sparse_row *row, size_t index)
{
    double sum = 0.0, u = to->u && to->transposed ? gsl_vector_get(to->u, index) : 0.0;
    for (int i = 0; i < row->count; i++) {
        size_t c = row->column[i];
        if (to->v && to->transposed)
            *gsl_vector_ptr(to->v, c) += u * row->value[i];
        else if (to->v)
            sum += row->value[i] * gsl_vector_get(to->u, c);
        for (int k = 0; to->normal && k <= i; k++)
            *gsl_matrix_ptr(to->normal, c, row->column[k]) += row->value[i] * row->value[k];
    }
    if (to->v && !to->transposed)
        gsl_vector_set(to->v, index, sum);
}

static int derivatives(CBLAS_TRANSPOSE_t transposed, const gsl_vector *x, const gsl_vector *u,
                       void *data, gsl_vector *v, gsl_matrix *normal)
{
    const problem *p = data;
    rg_lens_guess g = lens_at(p, x);
    product to = {transposed == CblasTrans, u, v, normal};
    size_t index = 0;
    if (v)
        gsl_vector_set_zero(v);
    if (normal)
        gsl_matrix_set_zero(normal);
    for (int w = 0; w < p->views; w++)
        for (int i = 0; i < p->view[w]->corners; i++) {
            double lens[2][RG_LENS_VALUES], pose[2][POSE];
            rg_corner_residual(&g.lens, g.skew, &p->start.pose[w], increment_at(p, x, w),
                               &p->view[w]->corner[i], lens, pose);
            for (int c = 0; c < 2; c++) {
                sparse_row row;
                fill_row(p, w, lens[c], pose[c], c == 1, &row);
                use_row(&to, &row, index++);
            }
        }
    return GSL_SUCCESS;
}

/* -------------------------------------------------------------------- fit */

static double sum_of_squares(const gsl_vector *f)
{
    double sum = 0.0;
    for (size_t i = 0; i < f->size; i++)
        sum += gsl_vector_get(f, i) * gsl_vector_get(f, i);
    return sum;
}

static bool iterate(gsl_multilarge_nlinear_workspace *w)
{
    double last = sum_of_squares(gsl_multilarge_nlinear_residual(w));
    for (int i = 0, quiet = 0; i < MAX_ITERATIONS && quiet < 2; i++) {
        int status = gsl_multilarge_nlinear_iterate(w);
        if (status == GSL_ENOPROG)
            break;
        if (status != GSL_SUCCESS)
            return false;
        double now = sum_of_squares(gsl_multilarge_nlinear_residual(w));
        quiet = last - now <= STILL * last ? quiet + 1 : 0;
        last = now;
    }
    return isfinite(last);
}

/* Inverse of the normal equations, scaled to a unit diagonal first: the
 * parameters' sizes differ by many powers of ten. */
static bool invert(gsl_matrix *normal)
{
    size_t n = normal->size1;
    gsl_vector *scale = gsl_vector_alloc(n);
    bool good = scale && gsl_linalg_cholesky_decomp2(normal, scale) == GSL_SUCCESS &&
                gsl_linalg_cholesky_invert(normal) == GSL_SUCCESS;
    for (size_t i = 0; good && i < n; i++) {
        double *d = gsl_matrix_ptr(normal, i, i);
        *d *= gsl_vector_get(scale, i) * gsl_vector_get(scale, i);
        good = isfinite(*d) && *d > 0.0;
    }
    gsl_vector_free(scale);
    return good;
}

/* Standard deviations for a scatter of 1 px of every coordinate. */
static bool unit_deviations(problem *p, const gsl_vector *x, double sd[RG_LENS_VALUES])
{
    gsl_matrix *normal = gsl_matrix_alloc(x->size, x->size);
    bool good = normal != NULL;
    if (good) {
        derivatives(CblasTrans, x, NULL, p, NULL, normal);
        good = invert(normal);
    }
    for (int i = 0; i < RG_LENS_VALUES; i++) {
        size_t c = (size_t)(p->column[i] >= 0 ? p->column[i] : 0);
        sd[i] = good && p->column[i] >= 0 ? sqrt(gsl_matrix_get(normal, c, c)) : 0.0;
    }
    if (p->model->fixed_aspect)
        sd[RG_LENS_FY] = p->model->aspect * sd[RG_LENS_FX];
    gsl_matrix_free(normal);
    return good;
}

static void count_points(const problem *p, rg_lens_fit *fit)
{
    fit->views = p->views;
    fit->points = 0;
    for (int v = 0; v < p->views; v++)
        fit->points += p->view[v]->corners;
    fit->parameters = p->free + POSE * p->views;
}

/* Share of the focal length beyond which it counts as unknown: its standard
 * deviation if every corner were 1 px off. Good sets of views stay below 0.01. */
static const double FOCAL_UNKNOWN = 0.15;

static rg_code no_focal_length(rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA,
                   "calibration: the views do not tell the focal length; the board must be tilted "
                   "by 20 to 40 degrees in several views, each time another way, and may not lie "
                   "alike in all");
}

static rg_code conclude(problem *p, const gsl_vector *x, double sse, rg_lens_guess *guess,
                        rg_lens_fit *fit, rg_error *err)
{
    rg_lens_guess g = lens_at(p, x);
    double sd[RG_LENS_VALUES];
    if (!unit_deviations(p, x, sd) || !(g.lens.fx > 0.0 && g.lens.fy > 0.0) ||
        !(sd[RG_LENS_FX] < FOCAL_UNKNOWN * g.lens.fx))
        return no_focal_length(err);
    for (int v = 0; v < p->views; v++)
        guess->pose[v] = rg_posefit_move(&guess->pose[v], increment_at(p, x, v));
    fit->lens = guess->lens = g.lens;
    fit->skew = guess->skew = g.skew;
    fit->rms_px = sqrt(sse / fit->points);
    fit->sigma_px = sqrt(sse / (2 * fit->points - fit->parameters));
    for (int i = 0; i < RG_LENS_VALUES; i++)
        fit->sd[i] = fit->sigma_px * sd[i];
    return RG_OK;
}

static rg_code run(problem *p, rg_lens_guess *guess, rg_lens_fit *fit, rg_error *err)
{
    gsl_multilarge_nlinear_parameters par = gsl_multilarge_nlinear_default_parameters();
    par.trs = gsl_multilarge_nlinear_trs_lm;
    par.solver = gsl_multilarge_nlinear_solver_cholesky;
    size_t n = 2 * (size_t)fit->points, parameters = (size_t)fit->parameters;
    gsl_multilarge_nlinear_fdf fdf = {
        .f = residuals, .df = derivatives, .n = n, .p = parameters, .params = p};
    gsl_multilarge_nlinear_workspace *w =
        gsl_multilarge_nlinear_alloc(gsl_multilarge_nlinear_trust, &par, n, parameters);
    gsl_vector *x = gsl_vector_calloc(parameters);
    rg_code code = RG_OK;
    if (!w || !x) {
        code = rg_fail(err, RG_INTERNAL, "calibration: out of memory for %zu equations", n);
    } else {
        for (int i = 0; i < RG_LENS_VALUES; i++)
            if (p->column[i] >= 0)
                gsl_vector_set(x, (size_t)p->column[i], *value_of(&p->start, i));
        bool good = gsl_multilarge_nlinear_init(x, &fdf, w) == GSL_SUCCESS && iterate(w);
        code = good ? conclude(p, gsl_multilarge_nlinear_position(w),
                               sum_of_squares(gsl_multilarge_nlinear_residual(w)), guess, fit, err)
                    : rg_fail(err, RG_BAD_DATA,
                              "calibration: the fit does not converge; check that the corners are "
                              "numbered alike in every view and the board is flat");
    }
    if (w)
        gsl_multilarge_nlinear_free(w);
    gsl_vector_free(x);
    return code;
}

rg_code rg_lensfit(const rg_view *const *view, int views, const rg_lens_model *model,
                   rg_lens_guess *guess, rg_lens_fit *fit, rg_error *err)
{
    gsl_set_error_handler_off(); /* GSL would abort the process on a singular matrix */
    problem p = {.view = view, .views = views, .model = model, .start = *guess};
    choose_columns(&p);
    if (!model->skew)
        p.start.skew = 0.0;
    count_points(&p, fit);
    if (2 * fit->points <= fit->parameters)
        return rg_fail(err, RG_BAD_DATA,
                       "calibration: %d points in %d views for %d unknowns; show more of the "
                       "board in more views",
                       fit->points, views, fit->parameters);
    return run(&p, guess, fit, err);
}

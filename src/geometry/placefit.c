/*
 * placefit.c - a camera before a rim, from what its picture shows.
 *
 * Six parameters: elevation, roll, the aim (2), the logarithm of the distance
 * and the error of the cup edge's height. The bearing is no parameter: nothing
 * round shows it, so its variance is what was stated. Residuals are in standard
 * uncertainties; the covariance (J^T J)^-1 (JCGM 100, H.3; GSL's
 * gsl_multifit_nlinear_covar) is carried over to the pose by central
 * differences.
 */
#include "placefit.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit_nlinear.h>

#include "rimglow/memory.h"

enum { ELEVATION, ROLL, AIM_X, AIM_Y, LN_DISTANCE, CUP, PARAMETERS, MAX_ITERATIONS = 80 };

typedef struct problem {
    const rg_lens *lens;
    rg_sight *sight;
    rg_vec3 *ray; /* [n] camera frame */
    int n;
    const rg_place_prior *prior;
    double bearing_deg;
    gsl_vector *low, *high; /* residuals on either side, for derivatives() */
} problem;

static rg_place_view view_at(double bearing_deg, const double *x)
{
    return (rg_place_view){.bearing_deg = bearing_deg,
                           .elevation_deg = rg_degrees(x[ELEVATION]),
                           .roll_deg = rg_degrees(x[ROLL]),
                           .distance_mm = exp(x[LN_DISTANCE]),
                           .aim = {x[AIM_X], x[AIM_Y]}};
}

/* A ray in the rim frame: where it starts, and its flat and steep parts. */
typedef struct line {
    rg_vec3 c, u;
    double flat;   /* |u_xy| */
    double offset; /* signed distance from the axis, right +, seen in plan */
    double foot;   /* along the ray, to where it is nearest the axis */
} line;

static line line_of(const rg_pose *pose, rg_vec3 ray)
{
    line l = {.c = rg_pose_camera_centre(pose)};
    l.u = rg_mat3_apply(rg_mat3_transpose(pose->R), ray);
    l.flat = fmax(hypot(l.u.x, l.u.y), 1e-9);
    l.offset = (l.c.x * l.u.y - l.c.y * l.u.x) / l.flat;
    l.foot = -(l.c.x * l.u.x + l.c.y * l.u.y) / (l.flat * l.flat);
    return l;
}

/* Misfit of one sight, px. */
static double misfit_of(const problem *p, const rg_pose *pose, int i, double cup_mm)
{
    const rg_sight *s = &p->sight[i];
    line l = line_of(pose, p->ray[i]);
    double away = l.foot;
    if (s->kind == RG_SIGHT_EDGE)
        away -= sqrt(fmax(s->radius_mm * s->radius_mm - l.offset * l.offset, 0)) / l.flat;
    double px_per_mm = p->lens->fx / fmax(away, 1e-3);
    if (s->kind == RG_SIGHT_LEFT)
        return (-l.offset - s->radius_mm) * px_per_mm;
    if (s->kind == RG_SIGHT_RIGHT)
        return (l.offset - s->radius_mm) * px_per_mm;
    double height = s->height_mm + (s->on_cup ? cup_mm : 0);
    return (l.c.z + away * l.u.z - height) * px_per_mm;
}

static int residuals(const gsl_vector *x, void *data, gsl_vector *f)
{
    problem *p = data;
    rg_place_view view = view_at(p->bearing_deg, x->data);
    rg_pose pose = rg_place_pose(&view);
    const rg_place_prior *q = p->prior;
    size_t row = 0;
    for (int i = 0; i < p->n; i++) {
        rg_sight *s = &p->sight[i];
        s->misfit = misfit_of(p, &pose, i, x->data[CUP]);
        if (s->u_px > 0)
            gsl_vector_set(f, row++, s->misfit / s->u_px);
    }
    gsl_vector_set(f, row++, x->data[CUP] / q->u_cup_mm);
    if (q->u_elevation_rad > 0)
        gsl_vector_set(f, row++,
                       (x->data[ELEVATION] - rg_radians(q->elevation_deg)) / q->u_elevation_rad);
    return GSL_SUCCESS;
}

/* Central differences with steps of their own: GSL's are relative to the
 * parameter, and an elevation or roll of nearly 0 would get none. */
static int derivatives(const gsl_vector *x, void *data, gsl_matrix *jacobian)
{
    static const double step = 1e-6;
    const problem *p = data;
    gsl_vector *low = p->low, *high = p->high;
    double at[PARAMETERS];
    gsl_vector_view v = gsl_vector_view_array(at, PARAMETERS);
    for (size_t k = 0; k < PARAMETERS; k++) {
        for (size_t i = 0; i < PARAMETERS; i++)
            /* cppcheck-suppress unreadVariable ; v is a view of it */
            at[i] = gsl_vector_get(x, i);
        at[k] -= step;
        residuals(&v.vector, data, low);
        at[k] += 2 * step;
        residuals(&v.vector, data, high);
        for (size_t i = 0; i < jacobian->size1; i++)
            gsl_matrix_set(jacobian, i, k,
                           (gsl_vector_get(high, i) - gsl_vector_get(low, i)) / (2 * step));
    }
    return GSL_SUCCESS;
}

static rg_vec3 turn_between(const rg_pose *a, const rg_pose *b)
{
    return rg_rodrigues_inverse(rg_mat3_mul(a->R, rg_mat3_transpose(b->R)));
}

/* d(left rotation vector, translation) by bearing (column 0) and the other parameters. */
static void pose_slopes(double bearing_deg, const double *x, double slope[6][6])
{
    static const double step = 1e-5;
    for (int k = 0; k < 6; k++) {
        rg_pose end[2];
        for (int side = 0; side < 2; side++) {
            double y[PARAMETERS], by = side ? step : -step;
            for (int i = 0; i < PARAMETERS; i++)
                y[i] = x[i];
            if (k > 0)
                y[k - 1] += by;
            rg_place_view v = view_at(bearing_deg + (k ? 0 : rg_degrees(by)), y);
            end[side] = rg_place_pose(&v);
        }
        rg_vec3 turn = turn_between(&end[1], &end[0]), shift = rg_vec3_sub(end[1].t, end[0].t);
        double d[6] = {turn.x, turn.y, turn.z, shift.x, shift.y, shift.z};
        for (int i = 0; i < 6; i++)
            slope[i][k] = d[i] / (2 * step);
    }
}

static void to_pose_covariance(const problem *p, const double *x, const gsl_matrix *c,
                               double out[6][6])
{
    double slope[6][6], full[6][6] = {{0}};
    pose_slopes(p->bearing_deg, x, slope);
    full[0][0] = p->prior->u_bearing_rad * p->prior->u_bearing_rad;
    for (size_t i = 1; i < 6; i++)
        for (size_t k = 1; k < 6; k++)
            full[i][k] = gsl_matrix_get(c, i - 1, k - 1);
    for (int i = 0; i < 6; i++)
        for (int k = 0; k < 6; k++) {
            out[i][k] = 0;
            for (int a = 0; a < 6; a++)
                for (int b = 0; b < 6; b++)
                    out[i][k] += slope[i][a] * full[a][b] * slope[k][b];
        }
}

/* More than this of elevation or roll is no picture of a rim (radians). */
#define STEEPEST 0.8

static bool iterate(gsl_multifit_nlinear_workspace *w)
{
    for (int i = 0; i < MAX_ITERATIONS; i++) {
        int status = gsl_multifit_nlinear_iterate(w), info;
        if (status == GSL_ENOPROG)
            break;
        if (status != GSL_SUCCESS)
            return false;
        if (gsl_multifit_nlinear_test(1e-11, 0, 0, &info, w) == GSL_SUCCESS)
            break;
    }
    const double *x = gsl_multifit_nlinear_position(w)->data;
    for (int i = 0; i < PARAMETERS; i++)
        if (!isfinite(x[i]))
            return false;
    return fabs(x[ELEVATION]) < STEEPEST && fabs(x[ROLL]) < STEEPEST && fabs(x[LN_DISTANCE]) < 12;
}

static bool solve(problem *p, gsl_multifit_nlinear_workspace *w, gsl_multifit_nlinear_fdf *fdf,
                  rg_place_result *r)
{
    const rg_place_view *v = &r->view;
    double start[PARAMETERS] = {rg_radians(v->elevation_deg),
                                rg_radians(v->roll_deg),
                                v->aim.x,
                                v->aim.y,
                                log(v->distance_mm),
                                0};
    gsl_vector_view begin = gsl_vector_view_array(start, PARAMETERS);
    double covariance[PARAMETERS * PARAMETERS];
    gsl_matrix_view c = gsl_matrix_view_array(covariance, PARAMETERS, PARAMETERS);
    if (gsl_multifit_nlinear_init(&begin.vector, fdf, w) != GSL_SUCCESS || !iterate(w) ||
        gsl_multifit_nlinear_covar(gsl_multifit_nlinear_jac(w), 1e-9, &c.matrix) != GSL_SUCCESS)
        return false;
    const double *x = gsl_multifit_nlinear_position(w)->data;
    const gsl_vector *f = gsl_multifit_nlinear_residual(w);
    r->view = view_at(p->bearing_deg, x);
    r->chi2 = 0;
    for (size_t i = 0; i < f->size; i++)
        r->chi2 += gsl_vector_get(f, i) * gsl_vector_get(f, i);
    r->freedom = (int)f->size - PARAMETERS;
    to_pose_covariance(p, x, &c.matrix, r->covariance);
    /* A direction that nothing holds has been zeroed by the rank test. */
    for (size_t i = 0; i < PARAMETERS; i++)
        if (!(gsl_matrix_get(&c.matrix, i, i) > 0) || !isfinite(gsl_matrix_get(&c.matrix, i, i)))
            return false;
    rg_pose pose = rg_place_pose(&r->view);
    for (int i = 0; i < p->n; i++)
        p->sight[i].misfit = misfit_of(p, &pose, i, x[CUP]);
    return true;
}

static rg_code run(problem *p, size_t rows, rg_place_result *result, rg_error *err)
{
    gsl_multifit_nlinear_parameters par = gsl_multifit_nlinear_default_parameters();
    gsl_multifit_nlinear_fdf fdf = {
        .f = residuals, .df = derivatives, .n = rows, .p = PARAMETERS, .params = p};
    gsl_multifit_nlinear_workspace *w =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &par, rows, PARAMETERS);
    p->low = gsl_vector_alloc(rows);
    p->high = gsl_vector_alloc(rows);
    bool room = w && p->low && p->high;
    bool good = room && solve(p, w, &fdf, result);
    gsl_multifit_nlinear_free(w);
    gsl_vector_free(p->low);
    gsl_vector_free(p->high);
    if (!room)
        return rg_fail(err, RG_INTERNAL, "place: out of memory for the fit");
    return good ? RG_OK : rg_fail(err, RG_BAD_DATA, "the points do not hold a place of the camera");
}

rg_code rg_placefit(const rg_lens *lens, rg_sight *sight, int n, const rg_place_prior *prior,
                    rg_place_result *result, rg_error *err)
{
    gsl_set_error_handler_off(); /* it would abort on a singular matrix */
    problem p = {.lens = lens,
                 .sight = sight,
                 .n = n,
                 .prior = prior,
                 .bearing_deg = result->view.bearing_deg};
    size_t rows = 1 + (prior->u_elevation_rad > 0);
    bool seen = true;
    p.ray = rg_alloc((size_t)(n > 0 ? n : 1), sizeof *p.ray);
    if (!p.ray)
        return rg_fail(err, RG_INTERNAL, "place: out of memory for %d points", n);
    for (int i = 0; seen && i < n; i++) {
        seen = rg_lens_ray(lens, sight[i].pixel, &p.ray[i]);
        rows += sight[i].u_px > 0;
    }
    rg_code code;
    if (!seen)
        code = rg_fail(err, RG_BAD_DATA, "a point lies outside the field of the lens values");
    else if (rows < PARAMETERS)
        code = rg_fail(err, RG_BAD_DATA, "the points do not hold a place of the camera");
    else
        code = run(&p, rows, result, err);
    free(p.ray);
    return code;
}

/*
 * posefit.c - Levenberg-Marquardt on the six parameters of a pose, by GSL's
 * gsl_multifit_nlinear (K. Madsen, H. B. Nielsen, O. Tingleff, "Methods for
 * non-linear least squares problems", 2004).
 *
 * Parameters are increments on the starting pose (R0, t0): a left rotation
 * vector q and a shift s, X_cam = exp(q) R0 X + t0 + s. The derivative of
 * exp(q) v to q is -[exp(q) v]x J(q) with the left Jacobian of SO(3),
 *   J(q) = I + (1 - cos a)/a^2 [q]x + (a - sin a)/a^3 [q]x^2,  a = |q|.
 */
#include "posefit.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_errno.h>
#include <gsl/gsl_multifit_nlinear.h>

#include "rimglow/memory.h"

enum { MAX_ITERATIONS = 60 };

/* Depth below which a point counts as behind the camera, mm. */
static const double NEAR_MM = 1e-3;
static const double STILL_RAD = 1e-8;
static const double STILL_MM = 1e-6;

typedef struct problem {
    const rg_lens *lens;
    const rg_sighting *sighting;
    const int *used;
    rg_pose start;
} problem;

static rg_mat3 cross_matrix(rg_vec3 q)
{
    return (rg_mat3){{{0.0, -q.z, q.y}, {q.z, 0.0, -q.x}, {-q.y, q.x, 0.0}}};
}

rg_mat3 rg_left_jacobian(rg_vec3 q)
{
    double a = rg_vec3_norm(q);
    double f = a < 1e-4 ? 0.5 - a * a / 24.0 : (1.0 - cos(a)) / (a * a);
    double g = a < 1e-4 ? 1.0 / 6.0 - a * a / 120.0 : (a - sin(a)) / (a * a * a);
    rg_mat3 x = cross_matrix(q), xx = rg_mat3_mul(x, x), j = rg_mat3_identity();
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            j.m[i][k] += f * x.m[i][k] + g * xx.m[i][k];
    return j;
}

rg_pose rg_posefit_move(const rg_pose *start, const double p[6])
{
    rg_pose pose;
    pose.R = rg_mat3_mul(rg_rodrigues(rg_vec3_make(p[0], p[1], p[2])), start->R);
    pose.t = rg_vec3_add(start->t, rg_vec3_make(p[3], p[4], p[5]));
    return pose;
}

/* Residual of a camera-frame point and its derivative to that point. */
static double line_residual(const rg_lens *lens, const rg_sighting *s, rg_vec3 c, rg_vec3 *slope)
{
    double z = c.z > NEAR_MM ? c.z : NEAR_MM, j[4];
    rg_vec2 n = {c.x / z, c.y / z};
    rg_vec2 uv = rg_lens_forward_jacobian(lens, n, j);
    double a = s->normal.x * j[0] + s->normal.y * j[2];
    double b = s->normal.x * j[1] + s->normal.y * j[3];
    *slope = rg_vec3_make(a / z, b / z, -(a * n.x + b * n.y) / z);
    return s->normal.x * (uv.x - s->pixel.x) + s->normal.y * (uv.y - s->pixel.y);
}

double rg_posefit_residual(const rg_lens *lens, const rg_sighting *s, const rg_pose *pose)
{
    rg_vec3 c = rg_pose_apply(pose, s->body), slope;
    return c.z > NEAR_MM ? line_residual(lens, s, c, &slope) : HUGE_VAL;
}

bool rg_posefit_gradient(const rg_lens *lens, const rg_sighting *s, const rg_pose *pose,
                         double gradient[6])
{
    rg_vec3 turned = rg_mat3_apply(pose->R, s->body), slope;
    rg_vec3 c = rg_vec3_add(turned, pose->t);
    if (!(c.z > NEAR_MM))
        return false;
    line_residual(lens, s, c, &slope);
    /* slope . (q x turned) = q . (turned x slope) */
    rg_vec3 g = rg_vec3_cross(turned, slope);
    double row[6] = {g.x, g.y, g.z, slope.x, slope.y, slope.z};
    for (int i = 0; i < 6; i++)
        gradient[i] = row[i];
    return true;
}

static int residuals(const gsl_vector *x, void *data, gsl_vector *f)
{
    const problem *p = data;
    rg_pose pose = rg_posefit_move(&p->start, x->data);
    for (size_t i = 0; i < f->size; i++) {
        const rg_sighting *s = &p->sighting[p->used[i]];
        rg_vec3 slope;
        gsl_vector_set(f, i,
                       sqrt(s->weight) *
                           line_residual(p->lens, s, rg_pose_apply(&pose, s->body), &slope));
    }
    return GSL_SUCCESS;
}

static int derivatives(const gsl_vector *x, void *data, gsl_matrix *jacobian)
{
    const problem *p = data;
    rg_pose pose = rg_posefit_move(&p->start, x->data);
    rg_mat3 left =
        rg_mat3_transpose(rg_left_jacobian(rg_vec3_make(x->data[0], x->data[1], x->data[2])));
    for (size_t i = 0; i < jacobian->size1; i++) {
        const rg_sighting *s = &p->sighting[p->used[i]];
        rg_vec3 turned = rg_mat3_apply(pose.R, s->body), slope;
        line_residual(p->lens, s, rg_vec3_add(turned, pose.t), &slope);
        rg_vec3 g = rg_mat3_apply(left, rg_vec3_cross(turned, slope));
        double w = sqrt(s->weight);
        double row[6] = {g.x, g.y, g.z, slope.x, slope.y, slope.z};
        for (size_t k = 0; k < 6; k++)
            gsl_matrix_set(jacobian, i, k, w * row[k]);
    }
    return GSL_SUCCESS;
}

/* The increments start at zero, so GSL's relative test on the step never
 * fires; a step below STILL is far inside any use of a pose. */
static bool still(const gsl_vector *step)
{
    for (size_t i = 0; i < 6; i++)
        if (!(fabs(gsl_vector_get(step, i)) < (i < 3 ? STILL_RAD : STILL_MM)))
            return false;
    return true;
}

/* Iterates until the pose is still or no step helps any more. */
static bool iterate(gsl_multifit_nlinear_workspace *w)
{
    for (int i = 0; i < MAX_ITERATIONS; i++) {
        int status = gsl_multifit_nlinear_iterate(w);
        if (status == GSL_ENOPROG)
            break;
        if (status != GSL_SUCCESS)
            return false;
        if (still(w->dx))
            break;
    }
    const gsl_vector *x = gsl_multifit_nlinear_position(w);
    for (size_t i = 0; i < 6; i++)
        if (!isfinite(gsl_vector_get(x, i)))
            return false;
    return true;
}

static rg_code run(problem *p, size_t n, rg_pose *pose, rg_error *err)
{
    gsl_multifit_nlinear_parameters par = gsl_multifit_nlinear_default_parameters();
    par.solver = gsl_multifit_nlinear_solver_cholesky;
    gsl_multifit_nlinear_fdf fdf = {.f = residuals, .df = derivatives, .n = n, .p = 6, .params = p};
    gsl_multifit_nlinear_workspace *w =
        gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &par, n, 6);
    if (!w)
        return rg_fail(err, RG_INTERNAL, "pose: out of memory for the pose fit");
    double zero[6] = {0};
    gsl_vector_view start = gsl_vector_view_array(zero, 6);
    bool good = gsl_multifit_nlinear_init(&start.vector, &fdf, w) == GSL_SUCCESS && iterate(w);
    if (good)
        *pose = rg_posefit_move(&p->start, gsl_multifit_nlinear_position(w)->data);
    gsl_multifit_nlinear_free(w);
    if (!good)
        return rg_fail(err, RG_BAD_DATA,
                       "pose: the fit does not converge; the sightings do not "
                       "hold a pose");
    return RG_OK;
}

rg_code rg_posefit(const rg_lens *lens, const rg_sighting *sighting, int n, rg_pose *pose,
                   rg_error *err)
{
    /* GSL would abort the process on a singular matrix. */
    gsl_set_error_handler_off();
    int *used = rg_alloc((size_t)(n > 0 ? n : 0), sizeof *used);
    if (!used)
        return rg_fail(err, RG_INTERNAL, "pose: out of memory for %d sightings", n);
    size_t count = 0;
    for (int i = 0; i < n; i++)
        if (sighting[i].weight > 0.0)
            used[count++] = i;
    rg_code code;
    if (count < 6) {
        code = rg_fail(err, RG_BAD_DATA, "pose: %zu sightings; six or more hold a pose", count);
    } else {
        problem p = {.lens = lens, .sighting = sighting, .used = used, .start = *pose};
        code = run(&p, count, pose, err);
    }
    free(used);
    return code;
}

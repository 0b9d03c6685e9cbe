/*
 * pnp.c - pose from point pairs: rg_pose_from_points and its candidates.
 *
 * Pixels are undistorted to directions first. Start values: for points off
 * one plane (6 or more) the direct linear transform of the 3x4 projection;
 * always the homography from the points' best plane, and its mirror: seen
 * from far away, a plane and its reflection in the line of sight look alike
 * (D. Oberkampf, D. DeMenthon, L. Davis, "Iterative pose estimation using
 * coplanar feature points", CVIU 63 (1996) 495-511). Coordinates are
 * normalised as in R. Hartley, "In defense of the eight-point algorithm",
 * PAMI 19 (1997) 580-593; the nearest rotation is the polar factor. Every
 * start then goes to its own minimum of the reprojection error.
 */
#include "rimglow/crown.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_eigen.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

#include "posefit.h"
#include "rimglow/memory.h"

enum { POINTS_MAX = 100000, EIGEN_MAX = 12 };

/* The body points' own frame: origin at the mean, z along the least spread. */
typedef struct body_frame {
    rg_vec3 mean;
    rg_mat3 axes;     /* rows; proper rotation body -> frame */
    double spread[3]; /* rms along the axes, largest first */
} body_frame;

/* The workspace stands on the stack: nothing here can run out of memory. */
bool rg_eigen_symmetric(double *matrix, size_t n, double *values, double *vectors)
{
    double d[EIGEN_MAX], sd[EIGEN_MAX], gc[EIGEN_MAX], gs[EIGEN_MAX];
    gsl_eigen_symmv_workspace w = {.size = n, .d = d, .sd = sd, .gc = gc, .gs = gs};
    if (n > EIGEN_MAX)
        return false;
    gsl_matrix_view a = gsl_matrix_view_array(matrix, n, n);
    gsl_matrix_view v = gsl_matrix_view_array(vectors, n, n);
    gsl_vector_view e = gsl_vector_view_array(values, n);
    if (gsl_eigen_symmv(&a.matrix, &e.vector, &v.matrix, &w) != GSL_SUCCESS)
        return false;
    gsl_eigen_symmv_sort(&e.vector, &v.matrix, GSL_EIGEN_SORT_VAL_DESC);
    return true;
}

static bool find_frame(const rg_vec3 *body, int n, body_frame *f)
{
    f->mean = rg_vec3_make(0.0, 0.0, 0.0);
    for (int i = 0; i < n; i++)
        f->mean = rg_vec3_add(f->mean, rg_vec3_scale(body[i], 1.0 / n));
    double s[9] = {0}, values[3], vectors[9];
    for (int i = 0; i < n; i++) {
        rg_vec3 d = rg_vec3_sub(body[i], f->mean);
        double c[3] = {d.x, d.y, d.z};
        for (int r = 0; r < 3; r++)
            for (int k = 0; k < 3; k++)
                s[3 * r + k] += c[r] * c[k] / n;
    }
    if (!rg_eigen_symmetric(s, 3, values, vectors))
        return false;
    for (int r = 0; r < 3; r++) {
        f->spread[r] = sqrt(fmax(values[r], 0.0));
        for (int k = 0; k < 3; k++)
            f->axes.m[r][k] = vectors[3 * k + r];
    }
    if (rg_mat3_det(f->axes) < 0.0)
        for (int k = 0; k < 3; k++)
            f->axes.m[2][k] = -f->axes.m[2][k];
    return true;
}

/* By Jacobi's method: gsl_linalg_SV_decomp allocates and does not look at what it got. */
bool rg_nearest_rotation(const rg_mat3 *a, rg_mat3 *r)
{
    double u[9], v[9], s[3];
    for (int i = 0; i < 9; i++)
        u[i] = a->m[i / 3][i % 3];
    gsl_matrix_view um = gsl_matrix_view_array(u, 3, 3), vm = gsl_matrix_view_array(v, 3, 3);
    gsl_vector_view sv = gsl_vector_view_array(s, 3);
    if (gsl_linalg_SV_decomp_jacobi(&um.matrix, &vm.matrix, &sv.vector) != GSL_SUCCESS)
        return false;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            r->m[i][k] = 0.0;
            for (int m = 0; m < 3; m++)
                r->m[i][k] += u[3 * i + m] * v[3 * k + m];
        }
    return rg_mat3_is_rotation(*r, 1e-9);
}

bool rg_dlt(const double *points, const rg_vec2 *direction, int n, size_t dim, double *h)
{
    size_t m = 3 * dim;
    double normal[144] = {0}, values[12], vectors[144], row[12];
    for (int i = 0; i < 2 * n; i++) {
        const double *x = points + (size_t)(i / 2) * dim;
        double image = i % 2 ? direction[i / 2].y : direction[i / 2].x;
        for (size_t k = 0; k < dim; k++) {
            row[k] = i % 2 ? 0.0 : x[k];
            row[dim + k] = i % 2 ? x[k] : 0.0;
            row[2 * dim + k] = -image * x[k];
        }
        for (size_t r = 0; r < m; r++)
            for (size_t k = 0; k < m; k++)
                normal[m * r + k] += row[r] * row[k];
    }
    if (!rg_eigen_symmetric(normal, m, values, vectors))
        return false;
    for (size_t k = 0; k < m; k++)
        h[k] = vectors[m * k + (m - 1)];
    return true;
}

/* Makes `local` (a pose of the body's own frame) a pose of the body. */
static rg_pose from_local(const body_frame *f, rg_mat3 rotation, rg_vec3 origin)
{
    rg_pose pose;
    pose.R = rg_mat3_mul(rotation, f->axes);
    pose.t = rg_vec3_sub(origin, rg_mat3_apply(pose.R, f->mean));
    return pose;
}

void rg_normalise_points(rg_vec2 *d, int n, rg_vec2 *mean, double *scale)
{
    *mean = (rg_vec2){0.0, 0.0};
    for (int i = 0; i < n; i++) {
        mean->x += d[i].x / n;
        mean->y += d[i].y / n;
    }
    double sum = 0.0;
    for (int i = 0; i < n; i++)
        sum += (d[i].x - mean->x) * (d[i].x - mean->x) + (d[i].y - mean->y) * (d[i].y - mean->y);
    *scale = fmax(sqrt(sum / n), 1e-12);
    for (int i = 0; i < n; i++)
        d[i] = (rg_vec2){(d[i].x - mean->x) / *scale, (d[i].y - mean->y) / *scale};
}

/* h (3 x dim) of normalised points -> columns in true units: the frame's
 * axes times a common factor, and the origin times the same factor. */
static void restore(const double *h, size_t dim, rg_vec2 mean, double scale, double unit,
                    rg_vec3 *column)
{
    for (size_t k = 0; k < dim; k++) {
        double w = h[2 * dim + k], per = k + 1 < dim ? unit : 1.0;
        column[k] = rg_vec3_make((scale * h[k] + mean.x * w) / per,
                                 (scale * h[dim + k] + mean.y * w) / per, w / per);
    }
}

/* Pose of the points pressed flat onto their plane, and its mirror. */
static int plane_starts(const rg_vec3 *local, const rg_vec2 *direction, int n, const body_frame *f,
                        rg_vec2 mean, double scale, double *work, rg_pose out[2])
{
    double unit = f->spread[0], h[9];
    for (int i = 0; i < n; i++) {
        work[3 * i] = local[i].x / unit;
        work[3 * i + 1] = local[i].y / unit;
        work[3 * i + 2] = 1.0;
    }
    if (!rg_dlt(work, direction, n, 3, h))
        return 0;
    rg_vec3 c[3];
    restore(h, 3, mean, scale, unit, c);
    double size = 0.5 * (rg_vec3_norm(c[0]) + rg_vec3_norm(c[1]));
    if (!(size > 0.0))
        return 0;
    double factor = (c[2].z < 0.0 ? -1.0 : 1.0) / size;
    for (int k = 0; k < 3; k++)
        c[k] = rg_vec3_scale(c[k], factor);
    rg_vec3 normal = rg_vec3_cross(c[0], c[1]);
    rg_mat3 a = {
        {{c[0].x, c[1].x, normal.x}, {c[0].y, c[1].y, normal.y}, {c[0].z, c[1].z, normal.z}}};
    rg_mat3 r, mirror;
    if (!rg_nearest_rotation(&a, &r))
        return 0;
    out[0] = from_local(f, r, c[2]);
    /* M = I - 2 v v^T turns the first two axes over; the third follows to keep det +1. */
    rg_vec3 v = rg_vec3_scale(c[2], 1.0 / rg_vec3_norm(c[2]));
    for (int k = 0; k < 3; k++) {
        rg_vec3 axis = rg_vec3_make(r.m[0][k], r.m[1][k], r.m[2][k]);
        rg_vec3 m = rg_vec3_sub(axis, rg_vec3_scale(v, 2.0 * rg_vec3_dot(v, axis)));
        m = k == 2 ? rg_vec3_scale(m, -1.0) : m;
        mirror.m[0][k] = m.x;
        mirror.m[1][k] = m.y;
        mirror.m[2][k] = m.z;
    }
    out[1] = from_local(f, mirror, c[2]);
    return 2;
}

static int space_start(const rg_vec3 *local, const rg_vec2 *direction, int n, const body_frame *f,
                       rg_vec2 mean, double scale, double *work, rg_pose *out)
{
    double unit = f->spread[0], h[12];
    for (int i = 0; i < n; i++) {
        work[4 * i] = local[i].x / unit;
        work[4 * i + 1] = local[i].y / unit;
        work[4 * i + 2] = local[i].z / unit;
        work[4 * i + 3] = 1.0;
    }
    if (!rg_dlt(work, direction, n, 4, h))
        return 0;
    rg_vec3 c[4];
    restore(h, 4, mean, scale, unit, c);
    rg_mat3 a = {{{c[0].x, c[1].x, c[2].x}, {c[0].y, c[1].y, c[2].y}, {c[0].z, c[1].z, c[2].z}}};
    double det = rg_mat3_det(a);
    if (!(fabs(det) > 0.0))
        return 0;
    double factor = 1.0 / cbrt(det); /* carries the sign: det R = +1 */
    for (int i = 0; i < 9; i++)
        a.m[i / 3][i % 3] *= factor;
    rg_mat3 r;
    if (!rg_nearest_rotation(&a, &r))
        return 0;
    *out = from_local(f, r, rg_vec3_scale(c[3], factor));
    return out->t.z > 0.0 ? 1 : 0;
}

/* Least squares from one start; RG_BAD_DATA when it ends behind the camera. */
static rg_code settle(const rg_lens *lens, const rg_sighting *s, int n, rg_pose *pose, double *rms,
                      rg_error *err)
{
    rg_code code = rg_posefit(lens, s, n, pose, err);
    if (code != RG_OK)
        return code;
    double sum = 0.0;
    for (int i = 0; i < n; i++) {
        double r = rg_posefit_residual(lens, &s[i], pose);
        sum += r * r;
    }
    *rms = sqrt(sum / (n / 2));
    return isfinite(*rms) && rg_mat3_is_rotation(pose->R, 1e-9) ? RG_OK : RG_BAD_DATA;
}

static bool same_pose(const rg_pose *a, const rg_pose *b)
{
    rg_mat3 d = rg_mat3_mul(a->R, rg_mat3_transpose(b->R));
    return rg_vec3_norm(rg_rodrigues_inverse(d)) < 0.01;
}

static void keep(rg_pose_candidate *out, int *count, const rg_pose *pose, double rms)
{
    for (int i = 0; i < *count; i++) {
        if (same_pose(&out[i].pose, pose)) {
            if (rms < out[i].rms_px)
                out[i] = (rg_pose_candidate){*pose, rms};
            return;
        }
    }
    int at = *count;
    while (at > 0 && out[at - 1].rms_px > rms) {
        out[at] = out[at - 1];
        at--;
    }
    out[at] = (rg_pose_candidate){*pose, rms};
    ++*count;
}

typedef struct scratch {
    rg_sighting *sighting;
    rg_vec3 *local;
    rg_vec2 *direction;
    double *work;
} scratch;

static void scratch_free(scratch *s)
{
    free(s->sighting);
    free(s->local);
    free(s->direction);
    free(s->work);
}

static rg_code scratch_new(scratch *s, int n, rg_error *err)
{
    size_t count = (size_t)n;
    s->sighting = rg_alloc(2 * count, sizeof *s->sighting);
    s->local = rg_alloc(count, sizeof *s->local);
    s->direction = rg_alloc(count, sizeof *s->direction);
    s->work = rg_alloc(4 * count, sizeof *s->work);
    if (s->sighting && s->local && s->direction && s->work)
        return RG_OK;
    scratch_free(s);
    return rg_fail(err, RG_INTERNAL, "pose: out of memory for %d points", n);
}

static rg_code prepare(const rg_lens *lens, const rg_vec3 *body, const rg_vec2 *pixel, int n,
                       const body_frame *f, scratch *s, rg_error *err)
{
    for (int i = 0; i < n; i++) {
        s->local[i] = rg_mat3_apply(f->axes, rg_vec3_sub(body[i], f->mean));
        if (!rg_lens_inverse(lens, pixel[i], &s->direction[i]))
            return rg_fail(err, RG_BAD_DATA,
                           "pose: point %d at pixel (%.1f, %.1f) is outside the field the lens "
                           "model covers",
                           i + 1, pixel[i].x, pixel[i].y);
        s->sighting[2 * i] = (rg_sighting){body[i], pixel[i], {1.0, 0.0}, 1.0};
        s->sighting[2 * i + 1] = (rg_sighting){body[i], pixel[i], {0.0, 1.0}, 1.0};
    }
    return RG_OK;
}

rg_code rg_pose_candidates(const rg_lens *lens, const rg_vec3 *body, const rg_vec2 *pixel, int n,
                           rg_pose_candidate out[RG_POSE_CANDIDATES], int *count, rg_error *err)
{
    gsl_set_error_handler_off(); /* GSL would abort the process on a failed decomposition */
    *count = 0;
    body_frame f;
    if (n < 4 || n > POINTS_MAX)
        return rg_fail(err, RG_BAD_DATA, "pose: %d points; 4 to %d hold a pose", n, POINTS_MAX);
    if (!find_frame(body, n, &f))
        return rg_fail(err, RG_INTERNAL, "pose: the points' frame could not be computed");
    if (!(f.spread[1] > 1e-6 * f.spread[0]))
        return rg_fail(err, RG_BAD_DATA,
                       "pose: the %d points lie on one line; add a point beside it", n);
    scratch s;
    rg_code code = scratch_new(&s, n, err);
    if (code != RG_OK)
        return code;
    code = prepare(lens, body, pixel, n, &f, &s, err);
    if (code == RG_OK) {
        rg_pose start[3];
        rg_vec2 mean;
        double scale, rms;
        rg_normalise_points(s.direction, n, &mean, &scale);
        int starts = plane_starts(s.local, s.direction, n, &f, mean, scale, s.work, start);
        if (n >= 6 && f.spread[2] > 0.02 * f.spread[0])
            starts += space_start(s.local, s.direction, n, &f, mean, scale, s.work, start + starts);
        for (int i = 0; i < starts && code == RG_OK; i++) {
            code = settle(lens, s.sighting, 2 * n, &start[i], &rms, err);
            if (code == RG_OK)
                keep(out, count, &start[i], rms);
            code = code == RG_INTERNAL ? code : RG_OK; /* a start that leads nowhere */
        }
    }
    scratch_free(&s);
    if (code == RG_OK && *count == 0)
        return rg_fail(err, RG_BAD_DATA,
                       "pose: no pose before the camera fits the %d points; check their order", n);
    return code;
}

rg_code rg_pose_from_points(const rg_lens *lens, const rg_vec3 *body, const rg_vec2 *pixel, int n,
                            rg_pose *pose, double *rms_px, rg_error *err)
{
    rg_pose_candidate candidate[RG_POSE_CANDIDATES];
    int count;
    rg_code code = rg_pose_candidates(lens, body, pixel, n, candidate, &count, err);
    if (code != RG_OK)
        return code;
    *pose = candidate[0].pose;
    *rms_px = candidate[0].rms_px;
    return RG_OK;
}

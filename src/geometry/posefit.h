/*
 * posefit.h - private to geometry: Levenberg-Marquardt on a pose.
 *
 * A sighting says: body point `body`, projected, lies on the picture line
 * through `pixel` with unit normal `normal`. A point seen in both directions
 * is two sightings. Residual: normal . (projection - pixel), px.
 */
#ifndef RIMGLOW_GEOMETRY_POSEFIT_H
#define RIMGLOW_GEOMETRY_POSEFIT_H

#include <stddef.h>

#include "rimglow/lens.h"

enum { RG_POSE_CANDIDATES = 4 };

typedef struct rg_sighting {
    rg_vec3 body;
    rg_vec2 pixel, normal;
    double weight; /* of the squared residual; 0 leaves it out */
} rg_sighting;

/* Moves *pose to the least weighted sum of squares. At least 6 sightings
 * with weight are needed; RG_BAD_DATA when they do not hold the pose. */
rg_code rg_posefit(const rg_lens *lens, const rg_sighting *sighting, int n, rg_pose *pose,
                   rg_error *err);

/* Signed residual of one sighting, px; HUGE_VAL behind the camera. */
double rg_posefit_residual(const rg_lens *lens, const rg_sighting *s, const rg_pose *pose);

/* Derivatives of that residual to (left rotation vector, translation). */
bool rg_posefit_gradient(const rg_lens *lens, const rg_sighting *s, const rg_pose *pose,
                         double gradient[6]);

/* The pose after a left rotation vector p[0..2] (rad) and a shift p[3..5] (mm). */
rg_pose rg_posefit_move(const rg_pose *pose, const double p[6]);

/* Left Jacobian J of SO(3): exp(q + dq) = exp(J dq) exp(q) to first order. */
rg_mat3 rg_left_jacobian(rg_vec3 q);

/* All poses that fit the points locally (a plane has up to two), each at its
 * own least-squares minimum, best first. See rg_pose_from_points. */
typedef struct rg_pose_candidate {
    rg_pose pose;
    double rms_px;
} rg_pose_candidate;
rg_code rg_pose_candidates(const rg_lens *lens, const rg_vec3 *body, const rg_vec2 *pixel, int n,
                           rg_pose_candidate out[RG_POSE_CANDIDATES], int *count, rg_error *err);

/* Linear algebra of the closed-form starts (pnp.c). */

/* Unit eigenvectors (columns of vectors) and eigenvalues, descending, of a
 * symmetric n x n matrix, which is destroyed. */
bool rg_eigen_symmetric(double *matrix, size_t n, double *values, double *vectors);
/* The rotation nearest to a (Frobenius): its polar factor, U V^T of the SVD. */
bool rg_nearest_rotation(const rg_mat3 *a, rg_mat3 *r);
/* Points shifted and scaled to zero mean and unit rms; undone by x * scale + mean. */
void rg_normalise_points(rg_vec2 *d, int n, rg_vec2 *mean, double *scale);
/* Homogeneous solution h (3 x dim) of the direct linear transform: rows of
 * [X 0 -x X; 0 X -y X] h = 0 for points X of `dim` coordinates (the last 1). */
bool rg_dlt(const double *points, const rg_vec2 *image, int n, size_t dim, double *h);

#endif

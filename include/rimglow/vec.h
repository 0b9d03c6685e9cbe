/*
 * vec.h - 3-vectors, 3x3 matrices and rigid poses, as plain values.
 *
 * A pose maps a point of a body frame into the camera frame:
 * X_cam = R X_body + t (mm). R is a proper rotation: R R^T = I, det R = +1.
 *
 * What is called for every point of a picture stands here in full.
 */
#ifndef RIMGLOW_VEC_H
#define RIMGLOW_VEC_H

#include <stdbool.h>

#define RG_PI 3.14159265358979323846

typedef struct rg_vec2 {
    double x, y;
} rg_vec2;
typedef struct rg_vec3 {
    double x, y, z;
} rg_vec3;
typedef struct rg_mat3 {
    double m[3][3];
} rg_mat3;
typedef struct rg_pose {
    rg_mat3 R;
    rg_vec3 t;
} rg_pose;

double rg_radians(double degrees);
double rg_degrees(double radians);
/* An angle in degrees reduced to [0, 360). */
double rg_wrap_degrees(double degrees);
/* The signed difference a - b in degrees, reduced to [-180, 180). */
double rg_angle_between(double a_deg, double b_deg);

static inline rg_vec3 rg_vec3_make(double x, double y, double z)
{
    return (rg_vec3){x, y, z};
}

static inline rg_vec3 rg_vec3_add(rg_vec3 a, rg_vec3 b)
{
    return (rg_vec3){a.x + b.x, a.y + b.y, a.z + b.z};
}

static inline rg_vec3 rg_vec3_sub(rg_vec3 a, rg_vec3 b)
{
    return (rg_vec3){a.x - b.x, a.y - b.y, a.z - b.z};
}

static inline rg_vec3 rg_vec3_scale(rg_vec3 a, double k)
{
    return (rg_vec3){k * a.x, k * a.y, k * a.z};
}

static inline double rg_vec3_dot(rg_vec3 a, rg_vec3 b)
{
    return a.x * b.x + a.y * b.y + a.z * b.z;
}

static inline rg_vec3 rg_vec3_cross(rg_vec3 a, rg_vec3 b)
{
    return (rg_vec3){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

double rg_vec3_norm(rg_vec3 a);

rg_mat3 rg_mat3_identity(void);
rg_mat3 rg_mat3_mul(rg_mat3 a, rg_mat3 b);
rg_mat3 rg_mat3_transpose(rg_mat3 a);
static inline rg_vec3 rg_mat3_apply(rg_mat3 a, rg_vec3 v)
{
    return (rg_vec3){a.m[0][0] * v.x + a.m[0][1] * v.y + a.m[0][2] * v.z,
                     a.m[1][0] * v.x + a.m[1][1] * v.y + a.m[1][2] * v.z,
                     a.m[2][0] * v.x + a.m[2][1] * v.y + a.m[2][2] * v.z};
}

double rg_mat3_det(rg_mat3 a);
/* True when |R R^T - I| and |det R - 1| are both below tolerance. */
bool rg_mat3_is_rotation(rg_mat3 r, double tolerance);

/* Rotation vector (axis times angle, radians) to matrix: Rodrigues 1840. */
rg_mat3 rg_rodrigues(rg_vec3 rotation);
/* The inverse; the angle is in [0, pi]. */
rg_vec3 rg_rodrigues_inverse(rg_mat3 r);

/* X_cam for a point of the body frame. */
static inline rg_vec3 rg_pose_apply(const rg_pose *pose, rg_vec3 body)
{
    return rg_vec3_add(rg_mat3_apply(pose->R, body), pose->t);
}

/* a after b: X -> a(b(X)). */
rg_pose rg_pose_compose(const rg_pose *a, const rg_pose *b);
rg_pose rg_pose_inverse(const rg_pose *pose);
/* The camera's centre in the body frame: -R^T t. */
rg_vec3 rg_pose_camera_centre(const rg_pose *pose);

#endif

/*
 * vec.c - vectors, rotations and rigid poses of vec.h.
 *
 * Rotations by rotation vectors follow Rodrigues (1840):
 * R = I + a [v] + b [v]^2, a = sin(t)/t, b = (1 - cos t)/t^2, t = |v|, with
 * the power series of a and b near t = 0. The inverse goes through the unit
 * quaternion (Shepperd, J. Guidance and Control 1, 1978, 223): the largest
 * component is taken from the diagonal, so that nothing is divided by a
 * small number, near half a turn in particular.
 */
#include "rimglow/vec.h"

#include <math.h>

double rg_radians(double degrees)
{
    return degrees * (RG_PI / 180.0);
}

double rg_degrees(double radians)
{
    return radians * (180.0 / RG_PI);
}

double rg_wrap_degrees(double degrees)
{
    double r = fmod(degrees, 360.0);
    if (r < 0)
        r += 360.0;
    /* A tiny negative angle rounds up to 360 itself. */
    return r >= 360.0 ? 0.0 : r;
}

double rg_angle_between(double a_deg, double b_deg)
{
    double d = rg_wrap_degrees(a_deg - b_deg);
    return d >= 180.0 ? d - 360.0 : d;
}

double rg_vec3_norm(rg_vec3 a)
{
    return sqrt(rg_vec3_dot(a, a));
}

rg_mat3 rg_mat3_identity(void)
{
    return (rg_mat3){{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}};
}

rg_mat3 rg_mat3_mul(rg_mat3 a, rg_mat3 b)
{
    rg_mat3 c;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            c.m[i][j] = a.m[i][0] * b.m[0][j] + a.m[i][1] * b.m[1][j] + a.m[i][2] * b.m[2][j];
    return c;
}

rg_mat3 rg_mat3_transpose(rg_mat3 a)
{
    rg_mat3 t;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            t.m[i][j] = a.m[j][i];
    return t;
}

double rg_mat3_det(rg_mat3 a)
{
    return a.m[0][0] * (a.m[1][1] * a.m[2][2] - a.m[1][2] * a.m[2][1]) -
           a.m[0][1] * (a.m[1][0] * a.m[2][2] - a.m[1][2] * a.m[2][0]) +
           a.m[0][2] * (a.m[1][0] * a.m[2][1] - a.m[1][1] * a.m[2][0]);
}

bool rg_mat3_is_rotation(rg_mat3 r, double tolerance)
{
    rg_mat3 p = rg_mat3_mul(r, rg_mat3_transpose(r));
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            if (!(fabs(p.m[i][j] - (i == j)) < tolerance))
                return false;
    return fabs(rg_mat3_det(r) - 1) < tolerance;
}

rg_mat3 rg_rodrigues(rg_vec3 v)
{
    double t2 = rg_vec3_dot(v, v), t = sqrt(t2);
    bool small = t < 1e-4; /* the dropped terms are below 1e-18 */
    double a = small ? 1 - t2 / 6 : sin(t) / t;
    double half = sin(t / 2);
    double b = small ? 0.5 - t2 / 24 : 2 * half * half / t2;
    double c = 1 - b * t2; /* cos t */
    return (rg_mat3){{{c + b * v.x * v.x, b * v.x * v.y - a * v.z, b * v.x * v.z + a * v.y},
                      {b * v.x * v.y + a * v.z, c + b * v.y * v.y, b * v.y * v.z - a * v.x},
                      {b * v.x * v.z - a * v.y, b * v.y * v.z + a * v.x, c + b * v.z * v.z}}};
}

/* The unit quaternion q[0] + (q[1], q[2], q[3]) of a rotation, up to sign. */
static void quaternion_of(rg_mat3 r, double q[4])
{
    double trace = r.m[0][0] + r.m[1][1] + r.m[2][2];
    int k = 0;
    double best = trace;
    for (int i = 0; i < 3; i++)
        if (r.m[i][i] > best) {
            best = r.m[i][i];
            k = i + 1;
        }
    double skew[3] = {r.m[2][1] - r.m[1][2], r.m[0][2] - r.m[2][0], r.m[1][0] - r.m[0][1]};
    if (k == 0) {
        q[0] = 0.5 * sqrt(fmax(0, 1 + trace));
        for (int i = 0; i < 3; i++)
            q[i + 1] = skew[i] / (4 * q[0]);
        return;
    }
    int i = k - 1, j = (i + 1) % 3, l = (i + 2) % 3;
    q[k] = 0.5 * sqrt(fmax(0, 1 + 2 * r.m[i][i] - trace));
    q[0] = skew[i] / (4 * q[k]);
    q[j + 1] = (r.m[i][j] + r.m[j][i]) / (4 * q[k]);
    q[l + 1] = (r.m[i][l] + r.m[l][i]) / (4 * q[k]);
}

rg_vec3 rg_rodrigues_inverse(rg_mat3 r)
{
    double q[4];
    quaternion_of(r, q);
    double sign = q[0] < 0 ? -1 : 1; /* keeps the angle within half a turn */
    rg_vec3 axis = {sign * q[1], sign * q[2], sign * q[3]};
    double s = rg_vec3_norm(axis), c = sign * q[0];
    double k = s < 1e-9 ? 2 : 2 * atan2(s, c) / s;
    return rg_vec3_scale(axis, k);
}

rg_pose rg_pose_compose(const rg_pose *a, const rg_pose *b)
{
    return (rg_pose){rg_mat3_mul(a->R, b->R), rg_pose_apply(a, b->t)};
}

rg_vec3 rg_pose_camera_centre(const rg_pose *pose)
{
    return rg_vec3_scale(rg_mat3_apply(rg_mat3_transpose(pose->R), pose->t), -1);
}

rg_pose rg_pose_inverse(const rg_pose *pose)
{
    return (rg_pose){rg_mat3_transpose(pose->R), rg_pose_camera_centre(pose)};
}

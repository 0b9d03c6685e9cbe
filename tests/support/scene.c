/*
 * scene.c - pictures of a cylinder with known brightness, by ray casting.
 */
#include "support/scene.h"

#include <math.h>
#include <stdlib.h>

rg_pose test_camera(double bearing_deg, double elevation_deg, double distance_mm)
{
    double b = bearing_deg * RG_PI / 180, e = elevation_deg * RG_PI / 180;
    rg_vec3 back = {cos(e) * cos(b), -cos(e) * sin(b), sin(e)};
    rg_vec3 down = {sin(e) * cos(b), -sin(e) * sin(b), -cos(e)};
    rg_vec3 ahead = {-back.x, -back.y, -back.z};
    rg_vec3 right = {down.y * ahead.z - down.z * ahead.y, down.z * ahead.x - down.x * ahead.z,
                     down.x * ahead.y - down.y * ahead.x};
    return (rg_pose){
        .R = {{{right.x, right.y, right.z}, {down.x, down.y, down.z}, {ahead.x, ahead.y, ahead.z}}},
        .t = {0, 0, distance_mm}};
}

/* Body-frame direction of the ray through a pixel. */
static bool ray_of(const rg_lens *lens, const rg_pose *pose, int x, int y, double d[3])
{
    rg_vec2 n;
    if (!rg_lens_inverse(lens, (rg_vec2){x, y}, &n))
        return false;
    for (int k = 0; k < 3; k++)
        d[k] = pose->R.m[0][k] * n.x + pose->R.m[1][k] * n.y + pose->R.m[2][k];
    return true;
}

/* Near intersection of c + s d with x^2 + y^2 = r^2. */
static bool hit(const double c[3], const double d[3], double r, double *bearing_deg, double *z)
{
    double a = d[0] * d[0] + d[1] * d[1], b = c[0] * d[0] + c[1] * d[1];
    double disc = b * b - a * (c[0] * c[0] + c[1] * c[1] - r * r);
    if (disc < 0)
        return false;
    double s = (-b - sqrt(disc)) / a;
    double bearing = -atan2(c[1] + s * d[1], c[0] + s * d[0]) * 180 / RG_PI;
    *bearing_deg = bearing < 0 ? bearing + 360 : bearing;
    *z = c[2] + s * d[2];
    return s > 0;
}

rg_plane test_render(const rg_lens *lens, const rg_pose *pose, double radius_mm, const int box[4],
                     int channels, test_pattern *pattern, const void *data)
{
    rg_plane p = {box[0], box[1], box[2], box[3], channels, NULL};
    p.data = calloc((size_t)p.width * (size_t)p.height * (size_t)channels, sizeof *p.data);
    if (!p.data)
        abort();
    double c[3], d[3], bearing, z;
    for (int k = 0; k < 3; k++)
        c[k] = -(pose->R.m[0][k] * pose->t.x + pose->R.m[1][k] * pose->t.y +
                 pose->R.m[2][k] * pose->t.z);
    for (int y = 0; y < p.height; y++)
        for (int x = 0; x < p.width; x++) {
            if (!ray_of(lens, pose, p.x0 + x, p.y0 + y, d) || !hit(c, d, radius_mm, &bearing, &z))
                continue;
            for (int k = 0; k < channels; k++)
                p.data[(y * p.width + x) * channels + k] = (float)pattern(bearing, z, k, data);
        }
    return p;
}

double test_uniform(test_random *random)
{
    /* Marsaglia, "Xorshift RNGs", J. Stat. Software 8(14) (2003). */
    unsigned long long x = random->state ? random->state : 88172645463325252ull;
    x ^= x << 13;
    x ^= x >> 7;
    x ^= x << 17;
    random->state = x;
    return (double)(x >> 11) / 9007199254740992.0;
}

double test_normal(test_random *random)
{
    double u = 1 - test_uniform(random), v = test_uniform(random);
    return sqrt(-2 * log(u)) * cos(2 * RG_PI * v);
}

/*
 * outline.c - a cylinder's left and right tangents in the picture.
 *
 * The profile across a tangent is smoothed by the derivative of a Gaussian
 * (J. Canny, IEEE PAMI 8 (1986) 679-698); the largest response, refined by the
 * parabola through it and its neighbours, is the edge, unless another one is
 * nearly as strong.
 */
#include "rimglow/outline.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/stats.h"

enum { HEIGHTS = 32, SAMPLES = 512, FEWEST = 16 };

static const double STEP_PX = 0.5;
static const double SMOOTH_PX = 1.5;
static const double LEAST_RESPONSE = 0.004; /* linear light */
static const double AGREE_PX = 2.0;
static const double RIVAL_PX = 4.0;
static const double RIVAL_SHARE = 0.7;

/* Cup-frame point of the tangent; side -1: towards smaller angle. */
static rg_vec3 tangent(rg_vec3 camera, double radius, double z, int side)
{
    double d = hypot(camera.x, camera.y), a = atan2(camera.y, camera.x) + side * acos(radius / d);
    return rg_vec3_make(radius * cos(a), radius * sin(a), z);
}

typedef struct across {
    rg_vec2 at, normal; /* normal: unit, outwards */
    double px_per_mm;   /* of radius */
} across;

static bool project(const rg_lens *lens, const rg_pose *pose, rg_vec3 p, rg_vec2 *pixel)
{
    return rg_lens_project(lens, rg_pose_apply(pose, p), pixel);
}

static bool look_across(const rg_lens *lens, const rg_pose *pose, double radius, double z, int side,
                        across *a)
{
    static const double h = 0.05;
    rg_vec3 camera = rg_pose_camera_centre(pose);
    rg_vec2 above, wider;
    if (!project(lens, pose, tangent(camera, radius, z, side), &a->at) ||
        !project(lens, pose, tangent(camera, radius, z + h, side), &above) ||
        !project(lens, pose, tangent(camera, radius + h, z, side), &wider))
        return false;
    double tx = above.x - a->at.x, ty = above.y - a->at.y, length = hypot(tx, ty);
    if (!(length > 1e-9))
        return false;
    a->normal = (rg_vec2){ty / length, -tx / length};
    a->px_per_mm = ((wider.x - a->at.x) * a->normal.x + (wider.y - a->at.y) * a->normal.y) / h;
    if (a->px_per_mm < 0) {
        a->normal = (rg_vec2){-a->normal.x, -a->normal.y};
        a->px_per_mm = -a->px_per_mm;
    }
    return a->px_per_mm > 0.1;
}

/* Response of the smoothed derivative at sample i. */
static double response(const double *v, int n, int i)
{
    double sum = 0;
    int reach = (int)ceil(3 * SMOOTH_PX / STEP_PX);
    for (int k = 1; k <= reach; k++) {
        double x = k * STEP_PX / SMOOTH_PX, g = x * exp(-0.5 * x * x);
        int high = i + k < n ? i + k : n - 1, low = i - k > 0 ? i - k : 0;
        sum += g * (v[high] - v[low]);
    }
    /* A step of height s answers with s times the integral of the kernel. */
    return fabs(sum) * STEP_PX / SMOOTH_PX;
}

/* Another edge nearly as strong: a post beside the chimney, a streak at its limb. */
static bool has_rival(const double *r, int from, int to, int best)
{
    for (int i = from + 1; i + 1 < to; i++)
        if (abs(i - best) * STEP_PX > RIVAL_PX && r[i] > RIVAL_SHARE * r[best] &&
            r[i] >= r[i - 1] && r[i] >= r[i + 1])
            return true;
    return false;
}

/* Distance of the strongest edge from the expected place, px outwards. */
static bool strongest(const rg_plane *light, const across *a, double reach_px, double *px)
{
    double v[SAMPLES], r[SAMPLES];
    int half = (int)floor(reach_px / STEP_PX);
    half = half > SAMPLES / 2 - 1 ? SAMPLES / 2 - 1 : half;
    int n = 2 * half + 1, best = -1;
    for (int i = 0; i < n; i++) {
        double s = (i - half) * STEP_PX;
        v[i] = (double)rg_plane_at(light, 0, a->at.x + s * a->normal.x, a->at.y + s * a->normal.y);
        if (!isfinite(v[i]))
            return false;
    }
    int margin = (int)ceil(3 * SMOOTH_PX / STEP_PX);
    for (int i = 0; i < n; i++)
        r[i] = response(v, n, i);
    for (int i = margin; i < n - margin; i++)
        /* cppcheck-suppress negativeIndex ; not reached while best is below 0 */
        if (best < 0 || r[i] > r[best])
            best = i;
    if (best < 0 || r[best] < LEAST_RESPONSE || has_rival(r, margin, n - margin, best))
        return false;
    double bend = r[best - 1] - 2 * r[best] + r[best + 1];
    double part = bend < 0 ? 0.5 * (r[best - 1] - r[best + 1]) / bend : 0;
    *px = (best - half + part) * STEP_PX;
    return true;
}

/* Median place of one side, mm outwards; its standard uncertainty. */
static bool find_side(const rg_plane *light, const rg_lens *lens, const rg_pose *pose,
                      const rg_outline_query *q, int side, double *mm, double *u)
{
    double place[HEIGHTS], work[HEIGHTS], scale = 1;
    size_t n = 0, agree = 0;
    for (int i = 0; i < HEIGHTS; i++) {
        across a;
        double px, z = q->low_mm + (q->high_mm - q->low_mm) * i / (HEIGHTS - 1);
        if (!look_across(lens, pose, q->radius_mm, z, side, &a) ||
            !strongest(light, &a, q->reach_mm * a.px_per_mm, &px))
            continue;
        place[n++] = px / a.px_per_mm;
        scale = a.px_per_mm;
    }
    if (n < FEWEST)
        return false;
    for (size_t i = 0; i < n; i++)
        work[i] = place[i];
    *mm = rg_median_inplace(work, n);
    for (size_t i = 0; i < n; i++)
        agree += fabs(place[i] - *mm) * scale < AGREE_PX;
    for (size_t i = 0; i < n; i++)
        work[i] = place[i];
    /* A median's standard error is 1.25 times a mean's. */
    *u = 1.25 * rg_mad_sigma_inplace(work, n) / sqrt((double)n);
    return 4 * agree >= 3 * n;
}

rg_code rg_outline_measure(const rg_plane *light, const rg_lens *lens, const rg_pose *pose,
                           const rg_outline_query *query, rg_outline *outline, rg_error *err)
{
    *outline = (rg_outline){.left_mm = NAN, .right_mm = NAN, .ratio = NAN, .u_ratio = NAN};
    rg_vec3 camera = rg_pose_camera_centre(pose);
    double d = hypot(camera.x, camera.y), r = query->radius_mm, ul = 0, ur = 0;
    if (!(r > 0 && query->reach_mm > 0 && query->high_mm >= query->low_mm &&
          r + query->reach_mm + 0.1 < d))
        return rg_fail(err, RG_BAD_DATA,
                       "outline of radius %g mm +- %g mm from a camera %g mm away: no such outline",
                       r, query->reach_mm, d);
    outline->left = find_side(light, lens, pose, query, -1, &outline->left_mm, &ul);
    outline->right = find_side(light, lens, pose, query, +1, &outline->right_mm, &ur);
    if (!outline->left)
        outline->left_mm = NAN;
    if (!outline->right)
        outline->right_mm = NAN;
    if (outline->left && outline->right) {
        outline->ratio = 1 + (outline->left_mm + outline->right_mm) / (2 * r);
        outline->u_ratio = hypot(ul, ur) / (2 * r);
    }
    return RG_OK;
}

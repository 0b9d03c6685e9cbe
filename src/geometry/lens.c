/*
 * lens.c - pinhole projection with Brown-Conrady distortion, and its inverse.
 *
 * The formulae stand in lens.h (D. C. Brown, Photogrammetric Engineering 37
 * (1971) 855-866). The inverse has no closed form: Newton's iteration on the
 * 2x2 system, started at the undistorted direction, with the exact Jacobian.
 * Beyond the radius where the radial polynomial turns over, two directions
 * share one pixel; only the branch that contains the lens axis is a picture,
 * and it is known by d > 0 and a positive determinant of the Jacobian.
 */
#include "rimglow/lens.h"

#include <math.h>
#include <stddef.h>

enum { NEWTON_STEPS = 40, CHECK_SAMPLES = 16 };

typedef struct distorted {
    double x, y;       /* x', y' */
    double d;          /* radial factor */
    double xx, xy, yy; /* dx'/dx, dx'/dy = dy'/dx, dy'/dy */
} distorted;

static distorted distort(const rg_lens *l, double x, double y)
{
    double r2 = x * x + y * y;
    double d = 1.0 + r2 * (l->k1 + r2 * (l->k2 + r2 * l->k3));
    double slope = 2.0 * (l->k1 + r2 * (2.0 * l->k2 + r2 * 3.0 * l->k3)); /* dd/dx = slope x */
    distorted o;
    o.d = d;
    o.x = x * d + 2.0 * l->p1 * x * y + l->p2 * (r2 + 2.0 * x * x);
    o.y = y * d + l->p1 * (r2 + 2.0 * y * y) + 2.0 * l->p2 * x * y;
    o.xx = d + slope * x * x + 2.0 * l->p1 * y + 6.0 * l->p2 * x;
    o.xy = slope * x * y + 2.0 * l->p1 * x + 2.0 * l->p2 * y;
    o.yy = d + slope * y * y + 6.0 * l->p1 * y + 2.0 * l->p2 * x;
    return o;
}

rg_vec2 rg_lens_forward(const rg_lens *lens, rg_vec2 normalised)
{
    return rg_lens_forward_jacobian(lens, normalised, NULL);
}

rg_vec2 rg_lens_forward_jacobian(const rg_lens *lens, rg_vec2 normalised, double jacobian[4])
{
    distorted o = distort(lens, normalised.x, normalised.y);
    if (jacobian) {
        jacobian[0] = lens->fx * o.xx;
        jacobian[1] = lens->fx * o.xy;
        jacobian[2] = lens->fy * o.xy;
        jacobian[3] = lens->fy * o.yy;
    }
    return (rg_vec2){lens->fx * o.x + lens->cx, lens->fy * o.y + lens->cy};
}

/* Newton from *n towards the distorted direction (a, b). */
static bool undistort(const rg_lens *l, double a, double b, rg_vec2 *n)
{
    for (int i = 0; i < NEWTON_STEPS; i++) {
        distorted o = distort(l, n->x, n->y);
        double det = o.xx * o.yy - o.xy * o.xy;
        if (!(det > 1e-6 && o.d > 0.0))
            return false;
        double ex = a - o.x, ey = b - o.y;
        double sx = (o.yy * ex - o.xy * ey) / det, sy = (o.xx * ey - o.xy * ex) / det;
        n->x += sx;
        n->y += sy;
        if (hypot(sx, sy) < 1e-13 * (1.0 + hypot(n->x, n->y)))
            break;
    }
    distorted end = distort(l, n->x, n->y);
    double det = end.xx * end.yy - end.xy * end.xy;
    return det > 1e-6 && end.d > 0.0 && hypot(a - end.x, b - end.y) < 1e-10;
}

bool rg_lens_inverse(const rg_lens *lens, rg_vec2 pixel, rg_vec2 *normalised)
{
    double a = (pixel.x - lens->cx) / lens->fx, b = (pixel.y - lens->cy) / lens->fy;
    rg_vec2 n = {a, b};
    if (!isfinite(a) || !isfinite(b))
        return false;
    if (!undistort(lens, a, b, &n)) {
        /* A strong lens can throw the first step over the fold: walk out from the axis. */
        n = (rg_vec2){0.0, 0.0};
        for (int i = 1; i <= CHECK_SAMPLES; i++)
            if (!undistort(lens, a * i / CHECK_SAMPLES, b * i / CHECK_SAMPLES, &n))
                return false;
    }
    *normalised = n;
    return true;
}

bool rg_lens_project(const rg_lens *lens, rg_vec3 camera, rg_vec2 *pixel)
{
    if (!(camera.z > 0.0))
        return false;
    *pixel = rg_lens_forward(lens, (rg_vec2){camera.x / camera.z, camera.y / camera.z});
    return true;
}

bool rg_lens_ray(const rg_lens *lens, rg_vec2 pixel, rg_vec3 *direction)
{
    rg_vec2 n;
    if (!rg_lens_inverse(lens, pixel, &n))
        return false;
    double norm = sqrt(n.x * n.x + n.y * n.y + 1.0);
    *direction = rg_vec3_make(n.x / norm, n.y / norm, 1.0 / norm);
    return true;
}

/* True when every ray from the axis to the picture's border can be undone. */
static bool invertible(const rg_lens *l, double *bad_x, double *bad_y)
{
    double right = l->width - 0.5, low = l->height - 0.5;
    for (int side = 0; side < 4; side++) {
        for (int k = 0; k <= CHECK_SAMPLES; k++) {
            double s = (double)k / CHECK_SAMPLES;
            double u = side == 0 ? -0.5 : side == 1 ? right : -0.5 + s * l->width;
            double v = side == 2 ? -0.5 : side == 3 ? low : -0.5 + s * l->height;
            double a = (u - l->cx) / l->fx, b = (v - l->cy) / l->fy;
            rg_vec2 n = {0.0, 0.0};
            for (int i = 1; i <= CHECK_SAMPLES; i++) {
                if (!undistort(l, a * i / CHECK_SAMPLES, b * i / CHECK_SAMPLES, &n)) {
                    *bad_x = u;
                    *bad_y = v;
                    return false;
                }
            }
        }
    }
    return true;
}

static rg_code check_focal(const rg_lens *l, rg_error *err)
{
    if (!(l->fx > 10.0 && l->fx < 1e6))
        return rg_fail(err, RG_BAD_DATA,
                       "lens: fx is %g px; give the focal length in pixels, between 10 and 1000000",
                       l->fx);
    if (!(l->fy > 10.0 && l->fy < 1e6))
        return rg_fail(err, RG_BAD_DATA,
                       "lens: fy is %g px; give the focal length in pixels, between 10 and 1000000",
                       l->fy);
    if (fabs(l->fx - l->fy) > 0.2 * fmax(l->fx, l->fy))
        return rg_fail(
            err, RG_BAD_DATA,
            "lens: fx %g and fy %g differ by more than a fifth; calibrate the lens again", l->fx,
            l->fy);
    return RG_OK;
}

rg_code rg_lens_check(const rg_lens *lens, rg_error *err)
{
    if (lens->width < 1 || lens->height < 1)
        return rg_fail(err, RG_BAD_DATA,
                       "lens: picture size %d x %d; give the size the lens values belong to",
                       lens->width, lens->height);
    rg_code code = check_focal(lens, err);
    if (code != RG_OK)
        return code;
    if (!(lens->cx >= -0.5 && lens->cx <= lens->width - 0.5 && lens->cy >= -0.5 &&
          lens->cy <= lens->height - 0.5))
        return rg_fail(err, RG_BAD_DATA,
                       "lens: the centre (cx %g, cy %g) is outside the %d x %d picture; values of "
                       "another picture size must be scaled",
                       lens->cx, lens->cy, lens->width, lens->height);
    const double k[5] = {lens->k1, lens->k2, lens->p1, lens->p2, lens->k3};
    static const char *const name[5] = {"k1", "k2", "p1", "p2", "k3"};
    for (int i = 0; i < 5; i++)
        if (!isfinite(k[i]))
            return rg_fail(err, RG_BAD_DATA, "lens: %s is not a finite number; use 0 for none",
                           name[i]);
    double u = 0.0, v = 0.0;
    if (!invertible(lens, &u, &v))
        return rg_fail(err, RG_BAD_DATA,
                       "lens: the distortion k1 %g k2 %g k3 %g folds over before pixel (%.0f, "
                       "%.0f); calibrate with marks out to the picture's corners",
                       lens->k1, lens->k2, lens->k3, u, v);
    return RG_OK;
}

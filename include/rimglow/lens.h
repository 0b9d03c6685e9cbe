/*
 * lens.h - pinhole camera with Brown-Conrady distortion.
 *
 *   x = X/Z, y = Y/Z, r2 = x^2 + y^2
 *   d = 1 + k1 r2 + k2 r2^2 + k3 r2^3
 *   x' = x d + 2 p1 x y + p2 (r2 + 2 x^2)
 *   y' = y d + p1 (r2 + 2 y^2) + 2 p2 x y
 *   u = fx x' + cx, v = fy y' + cy        (px, centres at integers)
 *
 * D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering
 * 37 (1971) 855-866.
 */
#ifndef RIMGLOW_LENS_H
#define RIMGLOW_LENS_H

#include <stdbool.h>

#include "rimglow/status.h"
#include "rimglow/vec.h"

typedef struct rg_lens {
    int width, height; /* px, of the upright picture the values belong to */
    double fx, fy, cx, cy;
    double k1, k2, p1, p2, k3;
} rg_lens;

/* RG_BAD_DATA naming the first value that cannot be: fx, fy not in
 * (10, 1e6) or differing by more than a fifth; centre outside the picture;
 * a coefficient that is not finite; a distortion that folds over inside the
 * picture (not invertible there). */
rg_code rg_lens_check(const rg_lens *lens, rg_error *err);

/* Normalised direction (x = X/Z, y = Y/Z) to pixel. Total. */
rg_vec2 rg_lens_forward(const rg_lens *lens, rg_vec2 normalised);
/* The same with the 2x2 Jacobian d(u,v)/d(x,y) in row order (may be NULL). */
rg_vec2 rg_lens_forward_jacobian(const rg_lens *lens, rg_vec2 normalised, double jacobian[4]);
/* Pixel to normalised direction by Newton iteration; false when it does not
 * converge to 1e-10 (outside the field the lens model covers). */
bool rg_lens_inverse(const rg_lens *lens, rg_vec2 pixel, rg_vec2 *normalised);
/* Camera-frame point (mm) to pixel; false when Z <= 0. */
bool rg_lens_project(const rg_lens *lens, rg_vec3 camera, rg_vec2 *pixel);
/* Unit direction in the camera frame of the ray through a pixel. */
bool rg_lens_ray(const rg_lens *lens, rg_vec2 pixel, rg_vec3 *direction);

#endif

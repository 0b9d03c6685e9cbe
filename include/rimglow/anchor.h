/*
 * anchor.h - a frame placed by jig or marks, held fast at its own rim.
 *
 * Without a crown the height of the rim in the picture is known to some tenths of
 * a millimetre only, and the frames of a sweep must agree to a few hundredths.
 * The rim itself shows it: marks of its edge in the frame's strip (rimline.h)
 * lie at
 *   z(b) = h + a cos b + s sin b,
 * where h is what is missing in height and (a, s) in tilt. From the side the
 * tilt towards the camera (elevation) bends that line and the tilt across
 * (roll) slants it.
 *
 * With G the derivative of (h, a, s) by the pose (left rotation vector q,
 * translation t; w = R^T q):  h = (R^T t)_z,  a = -r w_y,  s = -r w_x,
 * and S the pose's covariance, the marks' information L and L m about (h, a, s)
 * improve the place to
 *   pose + S G^T (I + L Q)^-1 L m,   S - S G^T (I + L Q)^-1 L G S,   Q = G S G^T
 * (linear Gaussian update: R. E. Kalman, J. Basic Eng. 82 (1960) 35-45; the
 * same as least squares with the stated values as observations, JCGM 100). So
 * an elevation that is stated well stays, and one that is not follows the rim.
 * Marks are weighed by Tukey's biweight (Beaton and Tukey 1974) and count as one
 * independent mark in all: they share the pad's shadow and its change along the
 * rim. That is enough for the height; the elevation they hardly improve.
 */
#ifndef RIMGLOW_ANCHOR_H
#define RIMGLOW_ANCHOR_H

#include "rimglow/place.h"
#include "rimglow/rimline.h"

typedef struct rg_anchor {
    bool needed;        /* the place alone does not tell the height to inlier_mm */
    bool held;          /* false: too few marks agree; the place is as it was */
    int marks, inliers; /* in the strip; within inlier_mm of the line */
    double height_mm;   /* h, a and s that were taken out */
    double a_mm, s_mm;  /* at the land's outer edge */
    double sigma_mm;    /* scatter of the inliers */
} rg_anchor;

/* strip: made with the place's pose. Moves place->pose and shrinks its
 * covariance; the strip must be made anew afterwards. */
rg_code rg_anchor_frame(const rg_strip *strip, double radius_mm, int every,
                        const rg_rimline_options *options, rg_place *place, rg_anchor *anchor,
                        rg_error *err);

#endif

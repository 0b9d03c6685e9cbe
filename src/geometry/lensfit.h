/*
 * lensfit.h - private to geometry: the two halves of a calibration, Zhang's
 * closed form (zhang.c) and Levenberg-Marquardt (lensfit.c).
 */
#ifndef RIMGLOW_GEOMETRY_LENSFIT_H
#define RIMGLOW_GEOMETRY_LENSFIT_H

#include "rimglow/calibration.h"

/* A lens, its skew and one pose for each view. */
typedef struct rg_lens_guess {
    rg_lens lens;
    double skew;
    rg_pose *pose; /* borrowed, [views] */
} rg_lens_guess;

/* Homography board -> pixel of a view, h[9] row by row, unit norm, positive
 * depth of the points; false when the points do not hold one. */
bool rg_homography(const rg_view *view, double h[9]);

/* The closed form. guess->lens.width and height are given; distortion is 0.
 * False when the homographies hold no lens: nothing is then filled. */
bool rg_zhang_start(const double (*h)[9], int views, bool skew, rg_lens_guess *guess);
/* The same with the optical centre in the picture's middle and one focal
 * length, where the full form fails: it is found from the homographies or, if
 * these hold none, taken as 1.2 times the longer side. */
void rg_plain_start(const double (*h)[9], int views, rg_lens_guess *guess);

/* Residual (projection - pixel, px) of one corner and its derivatives to the
 * RG_LENS_VALUES and to the pose increment (left rotation vector q at q0,
 * translation): pose = exp(q) start. Either may be NULL. */
rg_vec2 rg_corner_residual(const rg_lens *lens, double skew, const rg_pose *start,
                           const double increment[6], const rg_corner *corner,
                           double by_lens[2][RG_LENS_VALUES], double by_pose[2][6]);

/* Minimises over lens and poses. On success *fit is filled (counts, rms,
 * standard deviations) and guess->pose moved. */
rg_code rg_lensfit(const rg_view *const *view, int views, const rg_lens_model *model,
                   rg_lens_guess *guess, rg_lens_fit *fit, rg_error *err);

#endif

/*
 * crown_check.h - what a crown's picture says about camera and print, beyond
 * the pose: where its tag borders lie, how wide the camera draws each of them,
 * in which direction it draws them wider, and whether tag edge and apothem of
 * the print belong together.
 */
#ifndef RIMGLOW_CROWN_CHECK_H
#define RIMGLOW_CROWN_CHECK_H

#include "rimglow/crown.h"

enum { RG_CROWN_BORDERS = 24 };

/* One border of one tag, as found in the picture. */
typedef struct rg_crown_border {
    int face, side;     /* side 0 top, 1 right, 2 bottom, 3 left */
    rg_vec2 from, to;   /* found points nearest to its ends, px; the corners are left out */
    rg_vec2 normal;     /* unit, from black to white */
    double clear_px;    /* to either side of it there is nothing but black and white so far */
    double distance_mm; /* camera to its middle */
    int points;
    double sigma_px; /* median Gaussian width along the normal, pixel included */
} rg_crown_border;

/* The point spread's second moments along the picture's axes, px^2: an edge
 * with unit normal n has the width sqrt(xx nx^2 + yy ny^2). A tag's borders lie
 * near these axes, so a slanting part is not to be told. A uniform movement of
 * m px during the exposure, at the angle a against x, adds m^2 cos(a)^2 / 12
 * and m^2 sin(a)^2 / 12 (variance of a box). */
typedef struct rg_spread {
    double xx, yy;
} rg_spread;

typedef struct rg_crown_sight {
    int borders; /* with at least 8 points */
    rg_crown_border border[RG_CROWN_BORDERS];
    bool spread_held; /* steep and flat borders were found */
    rg_spread spread;
    double black, white; /* median linear light beside the borders */
    bool ratio_held;
    double tag_ratio; /* tag edge found, in units of the stated one, with the stated apothem;
                         NAN unless held, which takes two faces */
    double rms_px;    /* of the border points about that fit */
} rg_crown_sight;

/* pose: of this crown in this picture, from rg_crown_locate. A picture that
 * says nothing is not an error: borders = 0. Errors: memory. */
rg_code rg_crown_examine(const rg_crown *crown, double min_tag_side_px, const rg_lens *lens,
                         const rg_image *image, const rg_linear *linear, const rg_pose *pose,
                         rg_crown_sight *sight, rg_error *err);

/* For a crown that rg_crown_locate refuses: tries tag edges from 0.88 to 1.12
 * of the stated one and keeps that with the best fit. *ratio gets it, *result
 * the pose; result->state is RG_POSE_OK when there is one. */
rg_code rg_crown_rescale(const rg_crown *crown, const rg_crown_limits *limits, const rg_lens *lens,
                         const rg_image *image, const rg_linear *linear, const rg_tag_list *tags,
                         double *ratio, rg_crown_pose *result, rg_error *err);

#endif

/*
 * rimline.h - where the rim is, seen from the pad: the crown gives the pad's
 * plane, the picture gives the rim's edge, and the difference is the tilt
 * that is being measured.
 *
 * In every column of a strip the rim shows itself in one of two ways:
 *   - dark seat: the bright chimney ends in a falling edge; that edge lies
 *     `shadow` mm below the rim plane (the rounding of the land and the
 *     pad's shadow on the metal under it);
 *   - light: the lower edge of a thin bright band is the rim plane itself,
 *     or lies above it, where one looks out through the far side of a hole that
 *     is open on both sides. Never below: such a mark counts against a plane.
 * All columns of all frames share one plane, because the pad does not move
 * between them:  z_rim(b) = c + a cos b + s sin b  (mm, crown frame, at the
 * land's outer radius). It is found by consensus (deterministic random
 * sampling: Fischler & Bolles, CACM 24 (1981) 381-395) and refined by
 * reweighted least squares (Tukey's biweight, Beaton & Tukey 1974). Each
 * frame may be shifted in height by its own pose error.
 */
#ifndef RIMGLOW_RIMLINE_H
#define RIMGLOW_RIMLINE_H

#include "rimglow/strip.h"

typedef struct rg_rimline_options {
    double search_mm;    /* the rim line is looked for within +- this of the pad's plane */
    double shadow_mm;    /* falling edge below the rim plane */
    double min_contrast; /* (below - above) / (below + above) of an accepted edge */
    double bright;       /* linear light from which a band counts as light */
    double glare;        /* chimney brighter than this hides its edge */
    double max_band_mm;  /* a band thicker than this is no gap to steer by */
    double inlier_mm;    /* consensus distance */
    double max_shift_mm; /* largest height shift believed of one frame */
} rg_rimline_options;

typedef struct rg_rim_mark {
    double bearing_deg, height_mm; /* of the rim plane, by this column */
    int frame;
    bool lit;
} rg_rim_mark;

/* Marks of one strip, one for every `every`-th column at most; returns the
 * number written (<= max), -1 without memory. */
int rg_rim_marks(const rg_strip *strip, int frame, int every, const rg_rimline_options *options,
                 rg_rim_mark *marks, int max);

typedef struct rg_rim_plane {
    bool found;
    double c, a, s;          /* mm */
    double sigma_mm;         /* scatter of the inliers */
    double covariance[3][3]; /* of (c, a, s), mm2; marks of one frame share its pose's error */
    int marks, inliers;
    int above; /* marks whose light begins above the plane by more than two inlier_mm */
    double bearing_span_deg; /* bearings covered by inliers, of 360 */
} rg_rim_plane;

/* shift[frames] (may be NULL) gets each frame's height shift. Fewer than 30
 * inliers or less than a third of the marks: found = false; up to half of the
 * marks may be light above the plane and are not counted among them. */
rg_code rg_rim_plane_fit(const rg_rim_mark *marks, int count, int frames,
                         const rg_rimline_options *options, rg_rim_plane *plane, double *shift,
                         rg_error *err);

/* Height of the rim plane at a bearing, mm. */
double rg_rim_plane_height(const rg_rim_plane *plane, double bearing_deg);
/* Slope of the rim plane towards a bearing: dz/dr. */
double rg_rim_plane_slope(const rg_rim_plane *plane, double bearing_deg, double radius_mm);

/* Standard uncertainty of that slope. */
double rg_rim_plane_slope_u(const rg_rim_plane *plane, double bearing_deg, double radius_mm);

#endif

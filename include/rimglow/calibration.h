/*
 * calibration.h - the camera's lens from points of a plane board seen in
 * several views.
 *
 * Start in closed form after Z. Zhang, "A flexible new technique for camera
 * calibration", PAMI 22 (2000) 1330-1334: one homography for each view by the
 * normalised direct linear transform, then the image of the absolute conic.
 * Then least squares of the reprojection error by Levenberg-Marquardt (GSL,
 * analytic derivatives) over the lens and all poses together. Lens model and
 * pixel convention are those of lens.h; a skew s, u = fx x' + s y' + cx, can be
 * fitted to compare with published results, no other module knows it.
 *
 * Standard deviations come from the covariance: residual variance
 * SSE / (2 n - parameters) times the inverse of the normal equations (JCGM
 * 102:2011, 6; for uncorrelated corners of equal scatter).
 *
 * One bad view (board moved, wrong corners) spoils everything and hides in
 * the total. Views whose rms is far above the median of all are taken out,
 * the worst first, and named; the result with them is kept beside the other.
 */
#ifndef RIMGLOW_CALIBRATION_H
#define RIMGLOW_CALIBRATION_H

#include "rimglow/lens.h"

enum {
    RG_CALIBRATION_VIEWS_MIN = 3,
    RG_CALIBRATION_VIEWS_MAX = 128,
    RG_CALIBRATION_POINTS_MAX = 4096, /* in one view */
    RG_VIEW_NAME_SIZE = 128
};

/* A point of the board (mm, z = 0) and where it was seen (px). */
typedef struct rg_corner {
    rg_vec2 board, pixel;
} rg_corner;

typedef struct rg_view {
    char name[RG_VIEW_NAME_SIZE]; /* for messages: the photograph's file */
    int corners;
    rg_corner *corner; /* owned by whoever made the view */
} rg_view;

/* What is fitted; the rest is 0. */
typedef struct rg_lens_model {
    bool fixed_aspect; /* fy = aspect fx instead of a value of its own */
    double aspect;
    bool skew;       /* only to compare with published results */
    int radial;      /* 0..3: none; k1; k1 k2; k1 k2 k3 */
    bool tangential; /* p1 p2 */
} rg_lens_model;

typedef struct rg_calibration_options {
    rg_lens_model model;
    /* A view is bad when its rms is more than this many times the median of
     * the views' rms; 0 keeps every view. */
    double bad_view_ratio;
} rg_calibration_options;

/* Values of a lens, as indices. */
enum {
    RG_LENS_FX,
    RG_LENS_FY,
    RG_LENS_CX,
    RG_LENS_CY,
    RG_LENS_SKEW,
    RG_LENS_K1,
    RG_LENS_K2,
    RG_LENS_P1,
    RG_LENS_P2,
    RG_LENS_K3,
    RG_LENS_VALUES
};

typedef struct rg_lens_fit {
    rg_lens lens;
    double skew;
    double sd[RG_LENS_VALUES]; /* standard deviation; 0 for a value that was not fitted. A fixed
                                  aspect gives fy that of fx times the aspect */
    int views, points, parameters;
    double rms_px;   /* sqrt(SSE / n): of the distances of the n points */
    double sigma_px; /* sqrt(SSE / (2 n - parameters)): of one coordinate */
} rg_lens_fit;

typedef struct rg_view_fit {
    bool used;     /* false: a bad view */
    rg_pose pose;  /* X_cam = R X_board + t, with fit.lens */
    double rms_px; /* sqrt(SSE / n) with fit.lens; NAN when no pose fits a bad view */
} rg_view_fit;

typedef struct rg_calibration {
    rg_lens_fit fit; /* without the bad views */
    rg_lens_fit all; /* with every view; equal to fit when none is bad */
    int views, bad_views;
    rg_view_fit *view; /* owned, [views] */
} rg_calibration;

/* width, height: px, of the pictures that the points belong to.
 *
 * RG_BAD_DATA, naming view, value and remedy: fewer than 3 views, or than 4
 * points in a view, or fewer equations than unknowns; values that are not
 * finite; one board point or one pixel twice in a view; points on one line; a
 * view numbered the other way round than the others (mirrored); views that
 * hold no focal length (all parallel to each other, or the board nearly the
 * same in all); no convergence. On failure the result owns nothing. */
rg_code rg_calibrate(const rg_view *view, int views, int width, int height,
                     const rg_calibration_options *options, rg_calibration *result, rg_error *err);
void rg_calibration_free(rg_calibration *calibration);

/* Where a board point falls, px; false behind the camera. */
bool rg_calibration_project(const rg_lens_fit *fit, const rg_pose *pose, rg_vec2 board,
                            rg_vec2 *pixel);

#endif

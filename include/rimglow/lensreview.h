/*
 * lensreview.h - is a lens calibration good enough, and what to take next if
 * not. Pure rules on a result; every limit stands in calib/board.ini.
 *
 * Rules (common practice in photogrammetry, no one source; Zhang 2000,
 * section 5, shows what number and tilt of the views do):
 *   enough good views; marks in all nine fields of the picture (thirds across
 *   and down), in several views each, and near its four corners, because
 *   distortion is only known where marks were seen; boards tipped about both
 *   axes of the picture, because views parallel to the sensor tell no focal
 *   length; focal length known well enough; marks where the result puts them;
 *   a distortion that can be undone all over the picture.
 */
#ifndef RIMGLOW_LENSREVIEW_H
#define RIMGLOW_LENSREVIEW_H

#include "rimglow/calibration.h"

enum { RG_FIELDS = 9, RG_ADVICES_MAX = 16, RG_ADVICE_SIZE = 200 };

typedef struct rg_lens_limits {
    int min_views;         /* good views */
    int field_views;       /* good views that show a mark in each field */
    double corner_reach;   /* nearest mark to each corner of the picture, as a part of half the
                              diagonal, 0..1 */
    double tilt_deg;       /* a board is tipped from this angle to the sensor on, about one axis */
    int tilted_views;      /* good views tipped about each axis */
    double focal_relative; /* standard deviation of the focal length, relative */
    double max_rms_px;     /* of the marks about their places, good views */
} rg_lens_limits;

typedef struct rg_lens_review {
    bool good;
    int views;                    /* good ones */
    int field_points[RG_FIELDS];  /* marks, row by row from the top left */
    int field_views[RG_FIELDS];   /* views that show at least one there */
    double corner_distance_px[4]; /* nearest mark: top left, top right, bottom left, bottom right */
    double corner_limit_px;
    int tipped_up_down, tipped_left_right; /* views */
    double largest_tilt_deg;
    double focal_relative;
    int advices; /* 0 when good */
    char advice[RG_ADVICES_MAX][RG_ADVICE_SIZE];
} rg_lens_review;

/* RG_BAD_DATA for limits that cannot be. view, c: what rg_calibrate took and
 * gave. */
rg_code rg_lens_review_make(const rg_lens_limits *limits, const rg_view *view,
                            const rg_calibration *c, rg_lens_review *review, rg_error *err);

/* Views before there is a calibration. */
typedef struct rg_early_views {
    const rg_view *view; /* [views] */
    const rg_pose
        *pose; /* [views], by a lens that is known roughly: only tilts are taken from it */
    int views;
    int width, height; /* px, of the pictures */
} rg_early_views;

/* The rules that need no result yet: number, fields, corners and tilts. good stays false, focal_relative is
 * NAN; no advice is left when only the result can say the rest. RG_BAD_DATA for limits or a size that cannot be. */
rg_code rg_lens_review_early(const rg_lens_limits *limits, const rg_early_views *early,
                             rg_lens_review *review, rg_error *err);

/* Whether a view brings something that was missing: now is a review without, with one with it. text says
 * what, as in "top left corner, tipped up or down"; "" when nothing. */
bool rg_lens_review_adds(const rg_lens_limits *limits, const rg_lens_review *now,
                         const rg_lens_review *with, char text[RG_ADVICE_SIZE]);
/* Mean distance of the marks that both views show, px; INFINITY where they share none. */
double rg_view_moved(const rg_view *a, const rg_view *b);

/* "top left corner", "top edge", ... "middle" ...: field 0..8. */
const char *rg_field_name(int field);

#endif

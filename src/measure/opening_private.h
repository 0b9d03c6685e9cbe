/*
 * opening_private.h - shared by opening.c and its parts: opening_search.c, opening_fit.c, opening_drop.c.
 */
#ifndef RIMGLOW_MEASURE_OPENING_PRIVATE_H
#define RIMGLOW_MEASURE_OPENING_PRIVATE_H

#include "rimglow/opening.h"

/* Parameters: of the rim in the cup, and of each frame, the crown's pose and the height of the seen edge. */
enum { RIM = 5, POSE = 6, SHIFT = POSE, CAMERA = 7 };

typedef struct look {
    const rg_opening_view *view;
    rg_opening_frame *frame;
    rg_trace_map *map;            /* owned */
    rg_pose start;                /* of the cup, by the crown */
    double prior[CAMERA][CAMERA]; /* inverse of its covariance */
    double moved[CAMERA];         /* since then */
    int points;
    rg_trace_point point[RG_TRACE_POINTS];
    double residual[RG_TRACE_POINTS], weight[RG_TRACE_POINTS];
    int agree[RG_TRACE_STROKES], found[RG_TRACE_STROKES];
    bool off[RG_TRACE_STROKES]; /* strokes that follow something else */
    bool in;
} look;

typedef struct fit {
    const rg_lens *lens;
    const rg_rim *rim;
    const rg_opening_options *options;
    look *look; /* owned, [looks] */
    int looks;
    double v[RIM];
    double sigma_px;
    double covariance[RIM][RIM];
    rg_code code;
} fit;

/* v: x and y of the rim's axis in the cup frame, and the rim's centre there. X points where
 * the crown's does: nothing round shows the turn about the axis. */
rg_pose rg_opening_rim_pose(const double v[RIM]);
/* The rim in the camera, the frame's pose moved by so much. */
rg_pose rg_opening_camera(const look *l, const double moved[CAMERA], const double v[RIM]);
/* False where the place's covariance is none. */
bool rg_opening_set_prior(look *l, double edge_u_mm);

/* v where the outline is seen best; false where it is seen nowhere. */
bool rg_opening_search(fit *f);

/* Edge points of all frames about the present pose. */
void rg_opening_trace(fit *f, double reach_px);
/* Fits to them; false when nothing holds the rim. */
bool rg_opening_settle(fit *f);
/* The whole fit from where the search ended; leaves out strokes and frames that do not agree. */
bool rg_opening_fit_all(fit *f);
/* Of the points that agree, px; HUGE_VAL without any. */
double rg_opening_rms(const look *l);

#endif

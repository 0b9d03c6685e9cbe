/*
 * opening.h - how high an open key stands over its tone hole.
 *
 * Frames of the key at rest: the crown gives the cup's pose in each, so the pad's plane is
 * known to the camera (the crown's plane, centre_height below the tags' centres). The
 * rim does not move with the cup, so its plane comes from the picture: the chimney's outline left
 * and right, and the land's outer edge in front (rimtrace.h). Key and rim stand still between
 * the frames, so ONE pose of the rim against the cup explains all of them:
 *   X_cup = R X_rim + t, five parameters; the turn about the hole's axis cannot be
 *   seen, and bearing 0 is the crown's.
 *
 * Search: over opening angle, height and shift along the key (a key swings about a hinge
 * at bearing 0 or 180), then uphill in all five. Fit: Gauss-Newton with Tukey's
 * biweight (Beaton and Tukey 1974) over all edge points, the error of each frame's crown pose
 * as six further parameters with the crown's covariance as their prior, eliminated
 * by the Schur complement (bundle adjustment: B. Triggs et al. 2000, section 6). Points of
 * one outline share its errors: together they weigh as four. A frame whose edges do not agree
 * with the others' is left out, with a reason.
 *
 * The edge that is seen in front is not quite the rim plane's. From above it lies anywhere on
 * the land, whose outer or inner edge may end the dark: halfway is taken. From below it is
 * the lower end of the land's rounding. What remains is one height shift of each frame, a
 * seventh parameter with edge_u_mm as its prior.
 *
 * The opening at bearing b is the distance along the hole's axis between the rim plane and the
 * pad's plane, at the land's outer radius: h(b) = c + a cos b + s sin b. Its uncertainty:
 * the fit's covariance by h's gradient (JCGM 102), the place of the edge on the rounded land,
 * the pad's face against the crown (height and tilt), the scale (JCGM 100).
 */
#ifndef RIMGLOW_OPENING_H
#define RIMGLOW_OPENING_H

#include "rimglow/place.h"
#include "rimglow/rimtrace.h"

enum { RG_OPENING_REASON = 320, RG_OPENING_FRAMES = 24 };

/* Section [opening] of the station file. */
typedef struct rg_opening_options {
    double search_mm;      /* largest height of the pad's middle that is looked for */
    double search_deg;     /* largest angle of the pad against the rim */
    double min_frames;     /* whole number: frames that show the rim */
    double min_spread_deg; /* between two of their camera bearings at least */
    double min_share;      /* of a stroke's points that must be found and agree */
    double max_rms_px;     /* of the edge points that agree */
    double edge_drop_mm;   /* from below, the land's edge is seen so far below the rim plane */
    double edge_u_mm; /* of the edge's height, standard uncertainty: once for all frames, once for
                         each */
    double pad_u_mm;  /* the pad's face against the crown: height, */
    double pad_tilt_u_deg; /* and tilt */
    double max_u_mm;       /* a larger standard uncertainty is no result */
} rg_opening_options;

/* RG_BAD_DATA naming the first value that cannot be. */
rg_code rg_opening_check(const rg_opening_options *options, rg_error *err);

/* One frame of the open key: its linear light (channel 0) and the cup's place. */
typedef struct rg_opening_view {
    const rg_plane *light; /* borrowed */
    const rg_place *place; /* borrowed; source crown, state OK */
} rg_opening_view;

/* What became of it. */
typedef struct rg_opening_frame {
    bool used;
    char reason[RG_OPENING_REASON];    /* why not, and what to do */
    double bearing_deg, elevation_deg; /* of the camera against the rim; NAN when unknown */
    rg_pose rim;                       /* X_cam = R X_rim + t; used frames */
    rg_pose cup;                       /* X_cam = R X_cup + t, as the joint fit has it */
    int points;                        /* edge points that agree */
    double rms_px;
} rg_opening_frame;

typedef struct rg_opening {
    bool measured;
    char reason[RG_OPENING_REASON]; /* why not, and what to do; "" when measured */
    double far_mm, u_far_mm;        /* at bearing 180; u: standard uncertainties */
    double hinge_mm, u_hinge_mm;    /* at bearing 0 */
    double mean_mm, u_mean_mm;      /* at the hole's axis: c */
    double tilt_mm, u_tilt_mm;      /* greatest difference across the land: 2 hypot(a, s) */
    double tilt_bearing_deg;        /* towards which it opens; NAN without a tilt */
    double plane[3];                /* c, a, s; mm */
    double covariance[3][3];        /* of them, all parts */
    rg_pose rim_in_cup;             /* X_cup = R X_rim + t */
    int frames_given, frames_used, points;
    double rms_px;
} rg_opening;

/* frame[count] is filled. A key whose opening cannot be measured is no error:
 * measured = false and reason says what to do. At most RG_OPENING_FRAMES views are
 * fitted, evenly taken. u_scale: relative standard uncertainty of lengths. Errors:
 * RG_INTERNAL without memory, RG_BAD_DATA for options that cannot be. */
rg_code rg_opening_measure(const rg_lens *lens, const rg_rim *rim,
                           const rg_opening_options *options, double u_scale,
                           const rg_opening_view *view, int count, rg_opening_frame *frame,
                           rg_opening *opening, rg_error *err);

/* h(b) and its standard uncertainty, mm; NAN when nothing was measured. */
double rg_opening_at(const rg_opening *opening, double bearing_deg, double *u_mm);

#endif

/*
 * outline.h - the outline of an upright cylinder (the chimney under the rim,
 * the pad's edge) between its left and right tangents: a length that the crown
 * knows nothing of.
 *
 * Seen from a horizontal distance d, a cylinder of radius r about the cup's
 * axis is bounded by the tangents at the angles +- acos(r / d) from the
 * camera's. At several heights the strongest edge across the expected tangent
 * is looked for; each side's place is the median over the heights, and a side
 * counts when most heights agree.
 *
 * The width, left and right together, does not depend on whether the crown
 * stands concentric; half the difference of the sides does.
 */
#ifndef RIMGLOW_OUTLINE_H
#define RIMGLOW_OUTLINE_H

#include <stdbool.h>

#include "rimglow/image.h"
#include "rimglow/lens.h"

typedef struct rg_outline_query {
    double radius_mm;       /* stated */
    double low_mm, high_mm; /* heights, cup frame */
    double reach_mm;        /* looked for so far to either side of the stated radius */
} rg_outline_query;

typedef struct rg_outline {
    bool left, right;         /* seen */
    double left_mm, right_mm; /* found radius less stated, on that side; NAN when not seen */
    double ratio;             /* found width over stated; NAN unless both sides are seen */
    double u_ratio;           /* from the scatter over the heights */
} rg_outline;

/* light: linear light, channel 0; pose: X_cam = R X_cup + t. An outline that
 * is not seen is no error. RG_BAD_DATA for a query without an outline (a radius
 * not below the camera's distance, no heights, no reach). */
rg_code rg_outline_measure(const rg_plane *light, const rg_lens *lens, const rg_pose *pose,
                           const rg_outline_query *query, rg_outline *outline, rg_error *err);

#endif

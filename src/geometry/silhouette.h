/*
 * silhouette.h - private to geometry: the outlines of chimney and pad in the
 * picture, by which a camera whose bearing and elevation are known finds the
 * rest of its place.
 */
#ifndef RIMGLOW_GEOMETRY_SILHOUETTE_H
#define RIMGLOW_GEOMETRY_SILHOUETTE_H

#include "edges.h"
#include "placefit.h"

/* A stretch of wall whose outline is looked for. */
typedef struct rg_outline_part {
    double radius_mm, low_mm, high_mm;
} rg_outline_part;

/* Views that lay the outlines of chimney and pad on edges of the picture, the
 * likeliest first, at most max: their aim, roll and distance (within a
 * twentieth of the start's) are found, bearing and elevation are the start's. */
rg_code rg_outline_search(const rg_lens *lens, const rg_rim *rim, const rg_edge_light *light,
                          const rg_place_view *start, rg_place_view *views, int max, int *count,
                          rg_error *err);

/* Points of both outlines and of the pad's lower edge beside the chimney,
 * within reach_px of where the pose puts them; returns their number. sight and
 * sigma_px hold RG_PLACE_POINTS. Their u_px is 1; sigma_px is the Gaussian
 * width of each edge, 0 where its contrast is too low to tell. */
int rg_outline_points(const rg_lens *lens, const rg_rim *rim, const rg_edge_light *light,
                      const rg_pose *pose, double reach_px, rg_sight *sight, double *sigma_px);

#endif

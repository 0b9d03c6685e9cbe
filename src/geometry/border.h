/*
 * border.h - private to geometry: the tags' borders of a crown, projected
 * with a pose and searched for in the picture.
 */
#ifndef RIMGLOW_GEOMETRY_BORDER_H
#define RIMGLOW_GEOMETRY_BORDER_H

#include "edges.h"
#include "posefit.h"
#include "rimglow/crown.h"

enum { RG_FACES = 6, RG_BORDERS = 4 * RG_FACES, RG_BORDER_POINTS = 40 };

typedef struct rg_border_point {
    int border; /* 4 * face + side; side 0 top, 1 right, 2 bottom, 3 left */
    double sigma, black, white;
} rg_border_point;

/* All points found in one pass; sighting[i] belongs to point[i]. For one picture: all zero before its first pass. */
typedef struct rg_border_scan {
    int count;
    int expected; /* points that should be in the picture */
    rg_sighting sighting[RG_BORDERS * RG_BORDER_POINTS];
    rg_border_point point[RG_BORDERS * RG_BORDER_POINTS];
    rg_edge_memo memo[RG_BORDERS][RG_BORDER_POINTS];
} rg_border_scan;

typedef struct rg_border_search {
    const rg_crown *crown;
    const rg_lens *lens;
    rg_edge_light light;
    double min_side_px; /* faces smaller than this are left out */
    bool keep_blurred;  /* keep borders whose edge is clearly wider than the others' */
} rg_border_search;

/* Searches every border of those faces (bit j: face j) that are turned to the camera, `points` a
 * border, at most reach px off its projection. */
void rg_border_find(const rg_border_search *search, const rg_pose *pose, unsigned faces, int points,
                    double reach, bool precise, rg_border_scan *scan);

#endif

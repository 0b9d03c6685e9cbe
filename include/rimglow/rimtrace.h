/*
 * rimtrace.h - the rim of an open key in the picture: the outline of the chimney under
 * it, left and right, and the land's outer edge in front.
 *
 * With the key open no gap shows where the rim is, and its pose against the cup is
 * unknown by millimetres. The score says how well a pose of the rim agrees with the
 * edges of the whole picture, coarsely; the points then say where the edges are, to a
 * part of a pixel.
 *
 * The outline of the cylinder r, seen from the horizontal distance D, touches it at
 * +- acos(r / D) from the camera's bearing (place.h). In front, the land's outer edge is
 * the first edge that is met going up the chimney: with the camera above the rim plane the
 * lit far wall of the hole, or the dark one, begins behind it, with the camera below the
 * background. Its sign is therefore open.
 */
#ifndef RIMGLOW_RIMTRACE_H
#define RIMGLOW_RIMTRACE_H

#include "rimglow/image.h"
#include "rimglow/rim.h"

typedef enum rg_trace_stroke {
    RG_TRACE_LEFT,
    RG_TRACE_RIGHT,
    RG_TRACE_FRONT,
    RG_TRACE_STROKES
} rg_trace_stroke;

enum {
    RG_TRACE_WALL = 24,
    RG_TRACE_EDGE = 32,
    RG_TRACE_POINTS = 2 * RG_TRACE_WALL + RG_TRACE_EDGE
};

/* The place of the model's point, rim frame: on the wall at its height, or on the
 * land's outer edge at its bearing. False when the camera stands within the cylinder. */
typedef struct rg_trace_model {
    rg_trace_stroke stroke;
    double at;     /* walls: height, mm; front: bearing against the camera's, degrees */
    double height; /* front: of the edge that is seen, above the rim plane, mm */
} rg_trace_model;
/* pixel: its image; normal: unit, across the edge, away from the chimney.
 * pose: X_cam = R X_rim + t. */
bool rg_trace_project(const rg_lens *lens, const rg_rim *rim, const rg_pose *pose,
                      const rg_trace_model *model, rg_vec2 *pixel, rg_vec2 *normal);

typedef struct rg_trace_point {
    rg_trace_model model;
    rg_vec2 pixel; /* where the edge was found */
    double step;   /* linear light across it, away from the chimney */
} rg_trace_point;

/* The picture's gradients, small; rg_trace_map_free. light: linear, channel 0 is used. */
typedef struct rg_trace_map rg_trace_map;
rg_code rg_trace_map_new(rg_trace_map **map, const rg_plane *light, rg_error *err);
void rg_trace_map_free(rg_trace_map *map);

/* How well the picture's edges agree: the sum over the three strokes of ln(1 + mean
 * signed gradient of ln light across it / that of nothing); -1 when most of a stroke
 * lies outside the picture. */
double rg_trace_score(const rg_trace_map *map, const rg_lens *lens, const rg_rim *rim,
                      const rg_pose *pose);

/* Edges within reach_px of where the pose puts them, models with height 0; returns their
 * number. */
int rg_trace_points(const rg_plane *light, const rg_lens *lens, const rg_rim *rim,
                    const rg_pose *pose, double reach_px, rg_trace_point point[RG_TRACE_POINTS]);

#endif

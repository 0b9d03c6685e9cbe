/*
 * synth_private.h - what the renderer's sources share.
 */
#ifndef RIMGLOW_SYNTH_PRIVATE_H
#define RIMGLOW_SYNTH_PRIVATE_H

#include "rimglow/synth.h"

enum { SYNTH_CELLS = 10, SYNTH_LOCALS = 1440, SYNTH_AZIMUTHS = 7200 };

/* Modules across a tag's black border, and over all with the white frame. */
#define SYNTH_MODULES 8

/* A scene made ready for rays. */
typedef struct synth_world {
    rg_synth_scene s;
    double grad_x, grad_y; /* of the pad's plane */
    double saddle_c, saddle_s;
    bool has_local;
    float local[SYNTH_LOCALS + 1]; /* creases and local_mm, every quarter degree */
    double widest;                 /* gap at the outer edge, mm */
    rg_pose cup;                   /* X_rim = R X_cup + t */
    rg_mat3 to_cup;
    rg_vec3 eye; /* where all rays come from, in the crown's frame */
    double face_x[RG_SYNTH_FACES], face_y[RG_SYNTH_FACES]; /* outward normals of the crown */
    float mirrored[SYNTH_AZIMUTHS + 1]; /* the room's light by azimuth of the mirrored ray */
    uint8_t paper[RG_SYNTH_FACES][SYNTH_CELLS][SYNTH_CELLS]; /* 1: white */
} synth_world;

/* A ray with unit speed in the rim plane: p = from + s (x, y, slope). */
typedef struct synth_ray {
    rg_vec3 from;
    double x, y, slope;
    double nearest; /* s of the point nearest to the axis */
    double miss2;   /* its distance from the axis, squared */
} synth_ray;

typedef struct synth_hit {
    int what; /* changes where the object does */
    float light[3];
} synth_hit;

/* camera: X_cam = R X_rim + t; all rays come from it. */
rg_code synth_world_make(synth_world *world, const rg_synth_scene *scene, const rg_pose *camera,
                         rg_error *err);
/* Fills world->paper from libapriltag's own family. */
rg_code synth_paper(synth_world *world, rg_error *err);

/* The room's light as a mirror sees it, by azimuth, as a factor. */
double synth_surroundings(double azimuth_rad);

/* Height of the pad's free face at a point, before the land holds it up. */
double synth_face(const synth_world *world, double x, double y);

synth_ray synth_ray_make(rg_vec3 from, rg_vec3 towards);
synth_hit synth_trace(const synth_world *world, const synth_ray *ray);
/* Does the ray come near the slot on the camera's side? */
bool synth_near_slot(const synth_world *world, const synth_ray *ray);

#endif

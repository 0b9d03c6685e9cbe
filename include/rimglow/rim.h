/*
 * rim.h - the tone-hole rim in the picture.
 *
 * Rim frame (right-handed): origin at the centre of the rim plane, +Z along
 * the tone-hole axis outwards, +X towards the key arm. Bearing b: 0 at the
 * key arm, clockwise as seen from outside: direction(b) = (cos b, -sin b, 0).
 */
#ifndef RIMGLOW_RIM_H
#define RIMGLOW_RIM_H

#include <stdbool.h>

#include "rimglow/lens.h"

typedef struct rg_rim {
    double inner_diameter_mm; /* of the land */
    double outer_diameter_mm;
    double pad_diameter_mm;
    double cup_height_mm; /* cup's lower edge to its top; 0 when unknown */
} rg_rim;

rg_code rg_rim_check(const rg_rim *rim, rg_error *err);

/* (cos b, -sin b, 0), b in degrees. */
rg_vec3 rg_rim_direction(double bearing_deg);
/* Bearing of a rim-frame point, [0, 360). */
double rg_rim_bearing(rg_vec3 point);

/* How one point of the rim's outer edge looks from a camera. */
typedef struct rg_rim_view {
    bool in_front;        /* before the camera and on its side of the chimney */
    rg_vec2 pixel;        /* of the rim line (Z = 0, r = outer radius) */
    rg_vec2 up;           /* px per mm of Z at that point */
    double px_per_mm;     /* |up| */
    double elevation_deg; /* of the ray above the rim plane, + camera above */
    double obliquity_deg; /* angle in the rim plane between the ray (towards the camera) and the
                             outward radius, signed, + towards growing bearing */
    double distance_mm;   /* camera to point */
} rg_rim_view;

/* pose: X_cam = R X_rim + t. radius_mm: usually the land's outer radius. */
rg_rim_view rg_rim_look(const rg_lens *lens, const rg_pose *pose, double radius_mm, double z_mm,
                        double bearing_deg);

/* Bearing and elevation (degrees) of the camera's centre from the rim's centre, and its distance
 * (mm). */
void rg_rim_camera(const rg_pose *pose, double *bearing_deg, double *elevation_deg,
                   double *distance_mm);

/* The rim point whose outer-edge image is nearest to a pixel is found by
 * intersecting the pixel's ray with the vertical cylinder of radius_mm on
 * the camera's side; false when the ray misses it. */
bool rg_rim_hit_cylinder(const rg_lens *lens, const rg_pose *pose, double radius_mm, rg_vec2 pixel,
                         double *bearing_deg, double *z_mm);

/* Ellipse of a circle (radius, height z) seen WITHOUT distortion: centre,
 * semi-axes (px) and the major axis' angle (degrees, x towards y, [0,180)).
 * The image of the circle's centre is NOT the ellipse's centre. RG_BAD_DATA
 * when the circle crosses the camera's plane. */
typedef struct rg_ellipse {
    rg_vec2 centre;
    double semi_major, semi_minor, angle_deg;
} rg_ellipse;
rg_code rg_rim_ellipse(const rg_lens *lens, const rg_pose *pose, double radius_mm, double z_mm,
                       rg_ellipse *ellipse, rg_error *err);

#endif

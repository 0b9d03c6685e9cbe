/*
 * crown_picture.h - pictures of an index crown whose pose is known exactly.
 *
 * Rays are cast onto the crown's faces (cast.h); the patterns come from
 * libapriltag.
 */
#ifndef RIMGLOW_TESTS_CROWN_PICTURE_H
#define RIMGLOW_TESTS_CROWN_PICTURE_H

#include "rimglow/crown.h"
#include "support/cast.h"

typedef struct test_crown_scene {
    rg_crown crown;
    rg_lens lens;
    rg_pose pose;                /* X_cam = R X_cup + t */
    unsigned faces;              /* bit j: face j is there */
    double blur_px;              /* Gaussian sigma */
    double black, white, ground; /* linear light */
} test_crown_scene;

/* A camera at `centre` (cup frame) looking at `target`, +Z of the cup upwards
 * but for a roll. The blur works on whole pixels, so edges along pixel rows
 * keep a bias of some hundredths of a pixel; a few degrees of roll average it out. */
rg_pose test_look_at(rg_vec3 centre, rg_vec3 target, double roll_deg);

/* 3 channels of 8 bits; rg_image_free. Aborts without memory. */
rg_image test_crown_picture(const test_crown_scene *scene);

#endif

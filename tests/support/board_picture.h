/*
 * board_picture.h - pictures of a calibration board whose pose is known
 * exactly, by ray casting (cast.h).
 */
#ifndef RIMGLOW_TESTS_BOARD_PICTURE_H
#define RIMGLOW_TESTS_BOARD_PICTURE_H

#include "rimglow/board.h"
#include "support/cast.h"
#include "support/scene.h"

typedef struct test_board_scene {
    rg_board board;
    rg_lens lens;
    rg_pose pose;                /* X_cam = R X_board + t */
    double blur_px;              /* Gaussian sigma */
    double black, white, ground; /* linear light */
} test_board_scene;

/* One grey channel of 8 bits; rg_image_free. Noise of `codes` (standard
 * deviation, 0 for none) is added to the codes. */
rg_image test_board_picture(const test_board_scene *scene, double codes, test_random *random);

/* A pose that puts the board's middle `distance` mm away at the normalised
 * direction (x, y), tilted about the camera's x and y axes and rolled. */
rg_pose test_board_pose(const rg_board *board, double distance, rg_vec2 direction,
                        double tilt_x_deg, double tilt_y_deg, double roll_deg);

#endif

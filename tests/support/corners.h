/*
 * corners.h - views of a plane for the tests of the lens calibration.
 */
#ifndef RIMGLOW_TESTS_CORNERS_H
#define RIMGLOW_TESTS_CORNERS_H

#include "rimglow/calibration.h"
#include "support/scene.h"

/* Zhang's own five views (tests/data/lens/zhang2000); inches stand for mm. */
int test_zhang_views(rg_view view[RG_CALIBRATION_VIEWS_MAX]);
/* The 13 chessboard views of tests/data/lens/left_corners.csv. */
int test_left_views(rg_view view[RG_CALIBRATION_VIEWS_MAX]);
void test_free_views(rg_view *view, int views);

/* A view of a grid of columns x rows points, `pitch` mm apart, by the lens and
 * pose, each coordinate with normal noise of sigma_px. */
rg_view test_grid_view(const rg_lens *lens, const rg_pose *pose, int columns, int rows,
                       double pitch, double sigma_px, test_random *random);
/* Pose of a grid whose middle is `distance` mm away at the normalised direction
 * (x, y), tilted about the camera's x and y axes and rolled. */
rg_pose test_grid_pose(int columns, int rows, double pitch, double distance, rg_vec2 direction,
                       double tilt_x_deg, double tilt_y_deg, double roll_deg);

#endif

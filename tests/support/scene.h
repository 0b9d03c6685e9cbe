/*
 * scene.h - pictures of a cylinder with known brightness, by ray casting.
 */
#ifndef RIMGLOW_TESTS_SCENE_H
#define RIMGLOW_TESTS_SCENE_H

#include "rimglow/image.h"
#include "rimglow/lens.h"

/* A camera at this bearing, elevation and distance that looks at the rim's
 * centre, upright: X_cam = R X_rim + t. */
rg_pose test_camera(double bearing_deg, double elevation_deg, double distance_mm);

/* Brightness of the cylinder at a bearing (degrees) and height (mm). */
typedef double test_pattern(double bearing_deg, double z_mm, int channel, const void *data);

/* Casts the ray of every pixel of the rectangle box (x0, y0, width, height)
 * onto the near wall of the vertical cylinder; 0 where it misses. Free with
 * rg_plane_free. */
rg_plane test_render(const rg_lens *lens, const rg_pose *pose, double radius_mm, const int box[4],
                     int channels, test_pattern *pattern, const void *data);

/* Deterministic random numbers, for tests with noise. */
typedef struct test_random {
    unsigned long long state;
} test_random;
double test_uniform(test_random *random); /* 0..1 */
double test_normal(test_random *random);  /* mean 0, standard deviation 1 */

#endif

/*
 * cast.h - pictures of a scene whose light along any ray is known exactly.
 *
 * Rays are cast through a fine grid of every pixel that an edge crosses. A
 * Gaussian blur is applied in linear light, then the sRGB code is taken. No noise, no
 * compression.
 */
#ifndef RIMGLOW_TESTS_CAST_H
#define RIMGLOW_TESTS_CAST_H

#include "rimglow/image.h"
#include "rimglow/lens.h"

/* Linear light seen from a point along a ray (body frame). */
typedef double test_light(const void *scene, rg_vec3 from, rg_vec3 ray);

/* Channels of 8 bits, all alike; rg_image_free. Aborts without memory. */
rg_image test_cast(const rg_lens *lens, const rg_pose *pose, double blur_px, int channels,
                   test_light *light, const void *scene);

/* Blurs a picture of 8 bits in linear light. */
void test_blur(rg_image *image, double sigma_px);

#endif

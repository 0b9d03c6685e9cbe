/*
 * Tests of rim.h. Outside values: OpenCV 4.6.0 (projectPoints and
 * fitEllipseDirect) for a circle of radius 10 in z = 0 seen with
 * R = Rodrigues(0.9, 0.2, 0), t = (3, -2, 100), f = 1400 px, centre
 * (960, 540), no distortion; and the path-tracing renderer of the sample
 * frames, which prints each camera's bearing, elevation, distance and scale.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/rim.h"

static const rg_lens lens = {
    .width = 1920, .height = 1080, .fx = 1400.0, .fy = 1400.0, .cx = 960.0, .cy = 540.0};

static rg_pose oblique(void)
{
    rg_pose pose = {rg_rodrigues(rg_vec3_make(0.9, 0.2, 0.0)), rg_vec3_make(3.0, -2.0, 100.0)};
    return pose;
}

/* Pixels of the circle at 0, 30, 60, ... degrees, anticlockwise from +X. */
static const double circle[12][2] = {
    {1142.5480826418, 523.4462816337}, {1122.9537508822, 565.1607619326},
    {1074.1540618516, 590.426295742},  {1009.8546601131, 594.9315354776},
    {944.632160702, 578.7125616576},   {892.5152442009, 545.1634216514},
    {866.2280198067, 500.9426857055},  {875.1176245992, 456.2335297341},
    {920.8438676356, 423.7890985655},  {992.8203972583, 415.0793771494},
    {1068.8053347197, 434.3126569507}, {1123.9496964436, 475.0608921406},
};

Test(rim, line_falls_where_opencv_projects_it)
{
    rg_pose pose = oblique();
    for (int i = 0; i < 12; i++) {
        /* Bearings grow clockwise seen from outside, against the mathematical angle. */
        rg_rim_view v = rg_rim_look(&lens, &pose, 10.0, 0.0, -30.0 * i);
        cr_assert_float_eq(v.pixel.x, circle[i][0], 1e-8);
        cr_assert_float_eq(v.pixel.y, circle[i][1], 1e-8);
    }
}

Test(rim, ellipse_agrees_with_opencv)
{
    rg_pose pose = oblique();
    rg_ellipse e;
    cr_assert_eq(rg_rim_ellipse(&lens, &pose, 10.0, 0.0, &e, NULL), RG_OK);
    cr_assert_float_eq(e.centre.x, 1003.7399204798, 1e-7);
    cr_assert_float_eq(e.centre.y, 505.1990210642, 1e-7);
    cr_assert_float_eq(e.semi_major, 140.4925174023, 1e-7);
    cr_assert_float_eq(e.semi_minor, 88.0310292968, 1e-7);
    cr_assert_float_eq(e.angle_deg, 11.3498324682, 1e-7);
    /* The image of the circle's centre is elsewhere: (1002, 512). */
    rg_vec2 centre;
    cr_assert(rg_lens_project(&lens, pose.t, &centre));
    cr_assert_float_eq(centre.x, 1002.0, 1e-9);
    cr_assert_float_eq(centre.y - e.centre.y, 6.8009789358, 1e-7);
}

Test(rim, ellipse_seen_edge_on_is_a_line)
{
    rg_pose pose = {rg_rodrigues(rg_vec3_make(RG_PI / 2, 0.0, 0.0)), rg_vec3_make(0.0, 0.0, 100.0)};
    rg_ellipse e;
    cr_assert_eq(rg_rim_ellipse(&lens, &pose, 10.0, 0.0, &e, NULL), RG_OK);
    cr_assert_float_eq(e.semi_minor, 0.0, 1e-3);
    /* Tangents from the camera: half width f r / sqrt(d^2 - r^2). */
    cr_assert_float_eq(e.semi_major, 1400.0 * 10.0 / sqrt(1e4 - 100.0), 1e-6);
}

Test(rim, ellipse_across_the_camera_plane_is_refused)
{
    rg_pose pose = {rg_rodrigues(rg_vec3_make(RG_PI / 2, 0.0, 0.0)), rg_vec3_make(0.0, 0.0, 9.9)};
    rg_ellipse e;
    rg_error err = {0};
    cr_assert_eq(rg_rim_ellipse(&lens, &pose, 10.0, 0.0, &e, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "10 mm"), "%s", err.text);
    pose.t.z = -100.0;
    cr_assert_eq(rg_rim_ellipse(&lens, &pose, 10.0, 0.0, &e, NULL), RG_BAD_DATA);
}

Test(rim, bearings_grow_clockwise_from_the_key_arm)
{
    rg_vec3 d = rg_rim_direction(90.0);
    cr_assert_float_eq(d.x, 0.0, 1e-15);
    cr_assert_float_eq(d.y, -1.0, 1e-15);
    for (int b = 0; b < 360; b += 15)
        cr_assert_float_eq(rg_rim_bearing(rg_rim_direction(b)), b, 1e-9);
}

/* A camera of the sample frames (pad 08-G, view_11), as the renderer states it. */
static const rg_pose rendered = {{{{0.577548349, -0.816151136, -0.018309217},
                                   {0.023237016, 0.038854255, -0.998974668},
                                   {0.816025702, 0.576530719, 0.041405128}}},
                                 {0.032359, 3.654853, 107.788049}};
static const rg_lens bench = {
    .width = 1280, .height = 720, .fx = 3300.0, .fy = 3300.0, .cx = 639.5, .cy = 359.5};

Test(rim, camera_place_agrees_with_the_renderer)
{
    double bearing, elevation, distance;
    rg_rim_camera(&rendered, &bearing, &elevation, &distance);
    cr_assert_float_eq(bearing, 144.74, 0.006);
    cr_assert_float_eq(elevation, -0.431, 0.0006);
    cr_assert_float_eq(distance, 107.85, 0.006);
}

Test(rim, scale_at_the_near_rim_agrees_with_the_renderer)
{
    rg_rim_view v = rg_rim_look(&bench, &rendered, 10.0, 0.0, 144.74);
    cr_assert(v.in_front);
    cr_assert_float_eq(v.px_per_mm, 33.725, 0.01 * 33.725);
    cr_assert_float_eq(v.obliquity_deg, 0.0, 0.01);
    cr_assert_not(rg_rim_look(&bench, &rendered, 10.0, 0.0, 144.74 + 180.0).in_front);
    cr_assert_not(rg_rim_look(&bench, &rendered, 10.0, 0.0, 144.74 + 90.0).in_front);
}

/* A camera at (100, 0, 5) of the rim frame looking along -X, level. */
static rg_pose level_camera(void)
{
    rg_pose pose = {{{{0.0, 1.0, 0.0}, {0.0, 0.0, -1.0}, {-1.0, 0.0, 0.0}}}, {0.0, 5.0, 100.0}};
    return pose;
}

Test(rim, elevation_and_obliquity_follow_the_ray_from_the_rim_point)
{
    rg_pose pose = level_camera();
    rg_vec3 c = rg_pose_camera_centre(&pose);
    cr_assert(fabs(c.x - 100.0) < 1e-12 && fabs(c.y) < 1e-12 && fabs(c.z - 5.0) < 1e-12);
    rg_rim_view v = rg_rim_look(&bench, &pose, 10.0, 0.0, 0.0);
    cr_assert_float_eq(v.elevation_deg, rg_degrees(atan(5.0 / 90.0)), 1e-9);
    cr_assert_float_eq(v.distance_mm, hypot(90.0, 5.0), 1e-9);
    cr_assert_float_eq(v.obliquity_deg, 0.0, 1e-9);
    /* From bearing 30 the camera lies towards smaller bearings: the law of sines
     * in the triangle axis-point-camera gives the angle. */
    v = rg_rim_look(&bench, &pose, 10.0, 0.0, 30.0);
    double flat = sqrt(100.0 * 100.0 + 10.0 * 10.0 - 2000.0 * cos(RG_PI / 6.0));
    cr_assert_float_eq(v.obliquity_deg, -rg_degrees(asin(100.0 * sin(RG_PI / 6.0) / flat)), 1e-9);
    cr_assert_float_eq(v.elevation_deg, rg_degrees(atan(5.0 / flat)), 1e-9);
    v = rg_rim_look(&bench, &pose, 10.0, 0.0, 330.0);
    cr_assert_float_eq(v.obliquity_deg, rg_degrees(asin(100.0 * sin(RG_PI / 6.0) / flat)), 1e-9);
}

Test(rim, up_is_the_slope_of_the_pixel_along_z)
{
    rg_lens bent = bench;
    bent.k1 = -0.3;
    bent.p1 = 0.002;
    for (int b = 100; b <= 190; b += 10) {
        rg_rim_view v = rg_rim_look(&bent, &rendered, 10.0, 0.0, b);
        rg_rim_view p = rg_rim_look(&bent, &rendered, 10.0, 1e-4, b);
        rg_rim_view m = rg_rim_look(&bent, &rendered, 10.0, -1e-4, b);
        cr_assert_float_eq(v.up.x, (p.pixel.x - m.pixel.x) / 2e-4, 1e-5);
        cr_assert_float_eq(v.up.y, (p.pixel.y - m.pixel.y) / 2e-4, 1e-5);
    }
}

Test(rim, cylinder_hit_undoes_the_projection_on_the_near_side)
{
    rg_lens bent = bench;
    bent.k1 = -0.2;
    for (int b = 80; b <= 210; b += 13) {
        rg_rim_view v = rg_rim_look(&bent, &rendered, 10.0, 0.7, b);
        double bearing, z;
        if (!v.in_front)
            continue;
        cr_assert(rg_rim_hit_cylinder(&bent, &rendered, 10.0, v.pixel, &bearing, &z));
        cr_assert_float_eq(bearing, b, 1e-6);
        cr_assert_float_eq(z, 0.7, 1e-6);
    }
}

Test(rim, rays_beside_the_cylinder_or_from_inside_miss)
{
    double bearing, z;
    cr_assert_not(
        rg_rim_hit_cylinder(&bench, &rendered, 10.0, (rg_vec2){1200.0, 360.0}, &bearing, &z));
    rg_pose inside = {rg_mat3_identity(), rg_vec3_make(0.0, 0.0, 0.0)};
    cr_assert_not(
        rg_rim_hit_cylinder(&bench, &inside, 10.0, (rg_vec2){700.0, 360.0}, &bearing, &z));
}

Test(rim, check_names_the_value_that_cannot_be)
{
    rg_rim good = {18.0, 20.0, 23.0, 5.0};
    cr_assert_eq(rg_rim_check(&good, NULL), RG_OK);
    static const struct {
        rg_rim rim;
        const char *word;
    } bad[] = {{{0.0, 20.0, 23.0, 5.0}, "inner"},  {{NAN, 20.0, 23.0, 5.0}, "inner"},
               {{18.0, 18.0, 23.0, 5.0}, "outer"}, {{18.0, 300.0, 23.0, 5.0}, "outer"},
               {{18.0, 20.0, 17.0, 5.0}, "pad"},   {{18.0, 20.0, 23.0, -1.0}, "cup height"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        rg_error err = {0};
        cr_assert_eq(rg_rim_check(&bad[i].rim, &err), RG_BAD_DATA);
        cr_assert(strstr(err.text, bad[i].word), "%s", err.text);
    }
}

/*
 * The outline of a cylinder drawn by casting rays: a ray hits an endless
 * cylinder about the cup's axis when it passes the axis nearer than the radius
 * (plane geometry), so the true width is the drawn one.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/outline.h"
#include "support/scene.h"

static const rg_lens lens = {640, 480, 1600, 1600, 319.5, 239.5, 0, 0, 0, 0, 0};

enum { PLACES = 11 };

typedef struct scene {
    double radius, off_x; /* true radius, and how far the axis lies off the cup's */
    double body, ground;
    double post_mm; /* a bright post so far outside the right side; 0: none */
} scene;

/* Distance of the ray through a pixel from the vertical axis, signed (right +). */
static double miss(const rg_pose *pose, double off_x, double x, double y)
{
    rg_vec3 c = rg_pose_camera_centre(pose), d;
    rg_lens_ray(&lens, (rg_vec2){x, y}, &d);
    d = rg_mat3_apply(rg_mat3_transpose(pose->R), d);
    return ((c.x - off_x) * d.y - c.y * d.x) / hypot(d.x, d.y);
}

static rg_plane draw(const scene *s, const rg_pose *pose, double noise)
{
    rg_plane p = {.width = lens.width, .height = lens.height, .channels = 1};
    test_random random = {5};
    p.data = malloc((size_t)(p.width * p.height) * sizeof *p.data);
    for (int y = 0; y < p.height; y++)
        for (int x = 0; x < p.width; x++) {
            double sum = 0;
            /* Eleven places across, which also blur by half a pixel. */
            for (int k = 0; k < PLACES && y > 200 && y < 320; k++) {
                double m = miss(pose, s->off_x, x + (k - PLACES / 2) * 0.15, y);
                bool post = s->post_mm > 0 && fabs(fabs(m) - s->radius - s->post_mm) < 0.1;
                sum += fabs(m) < s->radius ? s->body : post ? 0.9 : s->ground;
            }
            p.data[y * p.width + x] = (float)(sum / PLACES + noise * test_normal(&random));
        }
    return p;
}

static rg_outline measure(const scene *s, double bearing, double elevation, double reach)
{
    rg_pose pose = test_camera(bearing, elevation, 110);
    rg_plane p = draw(s, &pose, 0.004);
    rg_outline_query q = {10, -1.5, -0.3, reach};
    rg_outline o;
    rg_error err = {0};
    cr_assert_eq(rg_outline_measure(&p, &lens, &pose, &q, &o, &err), RG_OK, "%s", err.text);
    rg_plane_free(&p);
    return o;
}

Test(outline, width_found_is_the_width_drawn)
{
    static const double radius[] = {9.7, 10, 10.3, 10.5};
    for (int i = 0; i < 4; i++)
        for (int k = 0; k < 2; k++) {
            scene s = {radius[i], 0, k ? 0.4 : 0.1, k ? 0.1 : 0.3, 0};
            rg_outline o = measure(&s, 77 * i, k ? 6 : -0.5, 0.9);
            cr_assert(o.left && o.right);
            cr_expect_float_eq(o.ratio, radius[i] / 10, 5e-4, "%g: %g", radius[i], o.ratio);
            cr_expect(o.u_ratio > 0 && o.u_ratio < 1e-3);
        }
}

/* 1.0 mm aside at 110 mm: the near side's magnification hardly matters. */
Test(outline, an_eccentric_crown_moves_the_sides_but_not_the_width)
{
    scene s = {10, 0.2, 0.1, 0.3, 0};
    /* From bearing 90 the camera looks along +y (bearings turn clockwise): x
     * grows to the right or the left, one side gains what the other loses. */
    rg_outline o = measure(&s, 90, 0.5, 0.9);
    cr_assert(o.left && o.right);
    cr_expect_float_eq(fabs(o.left_mm), 0.2, 0.01);
    cr_expect_float_eq(o.left_mm + o.right_mm, 0, 0.005);
    cr_expect_float_eq(o.ratio, 1, 5e-4);
}

/* Which is which: a pad's hinge hides one side, so names must be right. Looking
 * from bearing 0 (+x) with z up, +y is to the right: angles grow to the right. */
Test(outline, right_is_right)
{
    scene s = {10, 0, 0.1, 0.3, 0};
    rg_pose pose = test_camera(0, 0, 110);
    rg_plane p = draw(&s, &pose, 0);
    for (int y = 0; y < p.height; y++) /* a bright cover over the right side */
        for (int x = 400; x < p.width; x++)
            p.data[y * p.width + x] = 0.5f;
    rg_outline_query q = {10, -1.5, -0.3, 0.9};
    rg_outline o;
    cr_assert_eq(rg_outline_measure(&p, &lens, &pose, &q, &o, NULL), RG_OK);
    cr_expect(o.left && !o.right);
    cr_expect(isnan(o.right_mm) && isnan(o.ratio));
    rg_plane_free(&p);
}

Test(outline, a_side_with_two_equal_edges_is_not_believed)
{
    scene s = {10, 0, 0.1, 0.3, 0.5};
    s.ground = 0.5;
    rg_outline o = measure(&s, 30, 0.5, 0.9);
    cr_expect(!o.left && !o.right);
}

Test(outline, nothing_to_see_is_no_outline)
{
    scene s = {10, 0, 0.3, 0.3, 0};
    rg_pose pose = test_camera(0, 0, 110);
    rg_plane p = draw(&s, &pose, 0);
    rg_outline_query q = {10, -1.5, -0.3, 0.9};
    rg_outline o;
    cr_expect_eq(rg_outline_measure(&p, &lens, &pose, &q, &o, NULL), RG_OK);
    cr_expect(!o.left && !o.right && isnan(o.ratio));
    pose.t.x += 1000; /* out of the picture */
    cr_expect_eq(rg_outline_measure(&p, &lens, &pose, &q, &o, NULL), RG_OK);
    cr_expect(!o.left && !o.right);
    rg_plane_free(&p);
}

Test(outline, impossible_queries_are_refused)
{
    scene s = {10, 0, 0.1, 0.3, 0};
    rg_pose pose = test_camera(0, 0, 110);
    rg_plane p = draw(&s, &pose, 0);
    static const rg_outline_query bad[] = {{0, -1, 0, 1},   {NAN, -1, 0, 1},     {10, 0, -1, 1},
                                           {10, -1, 0, 0},  {200, -1, 0, 1},     {10, -1, 0, NAN},
                                           {10, NAN, 0, 1}, {INFINITY, -1, 0, 1}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        rg_outline o;
        rg_error err = {0};
        cr_expect_eq(rg_outline_measure(&p, &lens, &pose, &bad[i], &o, &err), RG_BAD_DATA, "%zu",
                     i);
    }
    rg_plane_free(&p);
}

/*
 * Tests of lens.h. Outside values: OpenCV 4.6.0 projectPoints for
 * f = 1400 px, centre (960, 540), k1 -0.12, k2 0.08, p1 0.0006, p2 -0.0004,
 * k3 -0.02 (D. C. Brown's model, the same coefficient order).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/lens.h"

static const rg_lens lens = {.width = 1920,
                             .height = 1080,
                             .fx = 1400.0,
                             .fy = 1400.0,
                             .cx = 960.0,
                             .cy = 540.0,
                             .k1 = -0.12,
                             .k2 = 0.08,
                             .p1 = 0.0006,
                             .p2 = -0.0004,
                             .k3 = -0.02};

/* Normalised x, y and OpenCV's pixel. */
static const double opencv[][4] = {
    {0.0, 0.0, 960.0, 540.0},
    {0.1, 0.05, 1099.7819445313, 609.9049722656},
    {-0.3, 0.2, 545.7282148000, 816.2418568000},
    {0.5, -0.35, 1634.9741361563, 67.6849846906},
    {0.68, 0.38, 1866.0441107543, 1047.0183724804},
};
enum { OPENCV_POINTS = sizeof opencv / sizeof opencv[0] };

Test(lens, forward_agrees_with_opencv)
{
    for (int i = 0; i < OPENCV_POINTS; i++) {
        rg_vec2 p = rg_lens_forward(&lens, (rg_vec2){opencv[i][0], opencv[i][1]});
        cr_assert_float_eq(p.x, opencv[i][2], 1e-9);
        cr_assert_float_eq(p.y, opencv[i][3], 1e-9);
    }
}

Test(lens, inverse_returns_the_direction_behind_opencv_pixels)
{
    for (int i = 0; i < OPENCV_POINTS; i++) {
        rg_vec2 n;
        cr_assert(rg_lens_inverse(&lens, (rg_vec2){opencv[i][2], opencv[i][3]}, &n));
        cr_assert_float_eq(n.x, opencv[i][0], 1e-9);
        cr_assert_float_eq(n.y, opencv[i][1], 1e-9);
    }
}

Test(lens, jacobian_is_the_slope_of_forward)
{
    const double h = 1e-6;
    for (int i = 0; i < OPENCV_POINTS; i++) {
        double x = opencv[i][0], y = opencv[i][1], j[4];
        rg_lens_forward_jacobian(&lens, (rg_vec2){x, y}, j);
        rg_vec2 xp = rg_lens_forward(&lens, (rg_vec2){x + h, y});
        rg_vec2 xm = rg_lens_forward(&lens, (rg_vec2){x - h, y});
        rg_vec2 yp = rg_lens_forward(&lens, (rg_vec2){x, y + h});
        rg_vec2 ym = rg_lens_forward(&lens, (rg_vec2){x, y - h});
        cr_assert_float_eq(j[0], (xp.x - xm.x) / (2 * h), 1e-5);
        cr_assert_float_eq(j[1], (yp.x - ym.x) / (2 * h), 1e-5);
        cr_assert_float_eq(j[2], (xp.y - xm.y) / (2 * h), 1e-5);
        cr_assert_float_eq(j[3], (yp.y - ym.y) / (2 * h), 1e-5);
    }
}

Test(lens, points_behind_the_camera_have_no_pixel)
{
    rg_vec2 p;
    cr_assert_not(rg_lens_project(&lens, rg_vec3_make(1.0, 1.0, 0.0), &p));
    cr_assert_not(rg_lens_project(&lens, rg_vec3_make(1.0, 1.0, -5.0), &p));
    cr_assert_not(rg_lens_project(&lens, rg_vec3_make(1.0, 1.0, NAN), &p));
    cr_assert(rg_lens_project(&lens, rg_vec3_make(10.0, 5.0, 100.0), &p));
    cr_assert_float_eq(p.x, opencv[1][2], 1e-9);
}

Test(lens, ray_is_a_unit_vector_through_the_pixel)
{
    rg_vec3 ray;
    cr_assert(rg_lens_ray(&lens, (rg_vec2){opencv[3][2], opencv[3][3]}, &ray));
    cr_assert_float_eq(rg_vec3_norm(ray), 1.0, 1e-14);
    cr_assert_float_eq(ray.x / ray.z, 0.5, 1e-9);
    cr_assert_float_eq(ray.y / ray.z, -0.35, 1e-9);
}

Test(lens, inverse_refuses_pixels_beyond_the_fold)
{
    /* x' = x - 0.5 x^3 is largest at x = sqrt(2/3): 0.5443 is the rim of the picture. */
    rg_lens barrel = lens;
    barrel.k1 = -0.5;
    barrel.k2 = barrel.k3 = barrel.p1 = barrel.p2 = 0.0;
    double edge = 1400.0 * sqrt(2.0 / 3.0) * (2.0 / 3.0);
    rg_vec2 n;
    cr_assert(rg_lens_inverse(&barrel, (rg_vec2){960.0 + 0.99 * edge, 540.0}, &n));
    cr_assert_lt(n.x, sqrt(2.0 / 3.0));
    /* Farther out the polynomial passes the same values again, upside down. */
    for (double k = 1.01; k < 3.0; k *= 1.1)
        cr_assert_not(rg_lens_inverse(&barrel, (rg_vec2){960.0 + k * edge, 540.0}, &n), "%g", k);
    cr_assert_not(rg_lens_inverse(&barrel, (rg_vec2){NAN, 540.0}, &n));
}

static void refused(rg_lens bad, const char *word)
{
    rg_error err = {0};
    cr_assert_eq(rg_lens_check(&bad, &err), RG_BAD_DATA, "%s accepted", word);
    cr_assert(strstr(err.text, word), "'%s' does not name %s", err.text, word);
}

#define REFUSED(field, value, word)                                                                \
    do {                                                                                           \
        rg_lens bad_ = lens;                                                                       \
        bad_.field = (value);                                                                      \
        refused(bad_, word);                                                                       \
    } while (0)

Test(lens, check_accepts_the_good_and_names_the_bad)
{
    cr_assert_eq(rg_lens_check(&lens, NULL), RG_OK);
    REFUSED(fx, 10.0, "fx");
    REFUSED(fx, NAN, "fx");
    REFUSED(fy, 2e6, "fy");
    REFUSED(fy, 1100.0, "fifth");
    REFUSED(cx, 1920.0, "cx");
    REFUSED(cy, -1.0, "cy");
    REFUSED(k1, NAN, "k1");
    REFUSED(p2, INFINITY, "p2");
    REFUSED(k3, NAN, "k3");
    REFUSED(width, 0, "size");
    REFUSED(k1, -0.9, "folds over");
}

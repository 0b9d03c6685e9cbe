/*
 * Tests of calibration.h. Outside values:
 *   Zhang 2000: the result published with his data, seven lens values and the
 *     poses; scipy 1.10 (least_squares, double precision) for figures beyond the
 *     digits published, OpenCV 4.6.0 for other sets of parameters;
 *   left01..14: OpenCV 4.6.0 calibrateCamera on the same corners, sets of
 *     parameters by its flags. Its standard deviations take n - p instead of
 *     2 n - p as degrees of freedom (n points, p parameters); the test puts that
 *     right, and the sampling test below says which of the two is true. The
 *     corners it worked on had more digits than the file's six, which shows in
 *     the seventh digit of its rms; that ours is a minimum is tested by itself.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "../../src/geometry/lensfit.h"
#include "rimglow/calibration.h"
#include "rimglow/stats.h"
#include "support/corners.h"

static const rg_calibration_options keep_all_free = {.model = {.radial = 3, .tangential = true}};

static rg_calibration calibrated(const rg_view *view, int views, rg_calibration_options options)
{
    rg_calibration c;
    rg_error err = {0};
    cr_assert_eq(rg_calibrate(view, views, 640, 480, &options, &c, &err), RG_OK, "%s", err.text);
    return c;
}

static void near(double value, double expected, double tolerance, const char *what)
{
    cr_expect(fabs(value - expected) <= tolerance, "%s: %.9g, expected %.9g within %g", what, value,
              expected, tolerance);
}

/* ---------------------------------------------------------------- Zhang 2000 */

static rg_calibration zhang(rg_calibration_options options, rg_view *view)
{
    int views = test_zhang_views(view);
    rg_calibration c = calibrated(view, views, options);
    test_free_views(view, views);
    return c;
}

Test(calibration, zhangs_published_values_are_reproduced_to_every_digit)
{
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    rg_calibration c = zhang((rg_calibration_options){.model = {.skew = true, .radial = 2}}, view);
    /* Published digits: half a unit of the last one. */
    near(c.fit.lens.fx, 832.5, 0.05, "alpha");
    near(c.fit.skew, 0.204494, 1e-5, "gamma");
    near(c.fit.lens.fy, 832.53, 0.005, "beta");
    near(c.fit.lens.cx, 303.959, 0.0005, "u0");
    near(c.fit.lens.cy, 206.585, 0.0005, "v0");
    near(c.fit.lens.k1, -0.228601, 0.000001, "k1");
    near(c.fit.lens.k2, 0.190353, 0.0000015, "k2");
    /* The minimum in double precision, by scipy. */
    near(c.fit.lens.fx, 832.49980, 5e-5, "alpha");
    near(c.fit.skew, 0.2044992, 1e-6, "gamma"); /* scipy stops a little early */
    near(c.fit.lens.fy, 832.52964, 5e-5, "beta");
    near(c.fit.lens.cx, 303.95890, 5e-5, "u0");
    near(c.fit.lens.cy, 206.58525, 5e-5, "v0");
    near(c.fit.lens.k1, -0.2286015, 5e-7, "k1");
    near(c.fit.lens.k2, 0.1903541, 5e-7, "k2");
    near(c.fit.rms_px, 0.3364339, 5e-7, "rms");
    near(c.fit.rms_px * c.fit.rms_px * 1280, 144.88035, 5e-4, "SSE");
    rg_calibration_free(&c);
}

Test(calibration, zhangs_published_pose_of_view_1_is_reproduced)
{
    static const double published[3][4] = {{0.992759, -0.026319, 0.117201, -3.84019},
                                           {0.0139247, 0.994339, 0.105341, 3.65164},
                                           {-0.11931, -0.102947, 0.987505, 12.791}};
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    rg_calibration c = zhang((rg_calibration_options){.model = {.skew = true, .radial = 2}}, view);
    const rg_pose *pose = &c.view[0].pose;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            near(pose->R.m[i][k], published[i][k], 1e-6, "R");
    near(pose->t.x, published[0][3], 1e-5, "tx");
    near(pose->t.y, published[1][3], 1e-5, "ty");
    near(pose->t.z, published[2][3], 5e-4, "tz");
    rg_calibration_free(&c);
}

Test(calibration, zhangs_data_without_distortion_give_his_other_result)
{
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    rg_calibration c = zhang((rg_calibration_options){.model = {.skew = true}}, view);
    near(c.fit.lens.fx, 867.307, 0.005, "alpha");
    near(c.fit.skew, 0.05411, 0.003, "gamma");
    near(c.fit.lens.fy, 867.194, 0.005, "beta");
    near(c.fit.lens.cx, 299.159, 0.005, "u0");
    near(c.fit.lens.cy, 218.676, 0.005, "v0");
    rg_calibration_free(&c);
}

Test(calibration, zhangs_data_without_skew_agree_with_opencv)
{
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    rg_calibration c = zhang((rg_calibration_options){.model = {.radial = 2}}, view);
    near(c.fit.lens.fx, 832.2069, 2e-3, "fx");
    near(c.fit.lens.fy, 832.2425, 2e-3, "fy");
    near(c.fit.lens.cx, 304.0683, 2e-3, "cx");
    near(c.fit.lens.cy, 206.3724, 2e-3, "cy");
    near(c.fit.lens.k1, -0.2285312, 2e-6, "k1");
    near(c.fit.lens.k2, 0.1910106, 5e-6, "k2");
    near(c.fit.rms_px, 0.3368891, 5e-7, "rms");
    rg_calibration_free(&c);
    c = zhang(keep_all_free, view);
    near(c.fit.lens.fx, 832.8823, 2e-3, "fx");
    near(c.fit.lens.cy, 208.6189, 2e-3, "cy");
    near(c.fit.lens.p1, 0.0010501, 2e-6, "p1");
    near(c.fit.lens.p2, 0.0001090, 2e-6, "p2");
    near(c.fit.lens.k3, 0.3687365, 2e-4, "k3");
    near(c.fit.rms_px, 0.3342749, 5e-7, "rms");
    rg_calibration_free(&c);
}

/* ---------------------------------------------------------------- left01..14 */

typedef struct published_lens {
    rg_lens_model model;
    double rms, fx, fy, cx, cy, k1, k2, p1, p2, k3;
    double sd[RG_LENS_VALUES]; /* as OpenCV prints them; 0 is not compared */
} published_lens;

static const published_lens left[] = {
    {{.radial = 3, .tangential = true},
     0.407942337272329,
     536.0644860456345,
     536.0071596437165,
     342.3686279483057,
     235.5317458463318,
     -0.26511847,
     -0.04659519,
     0.00183175,
     -0.00031505,
     0.25214293,
     {1.35547194, 1.41967668, 1.41908916, 1.56378737, 0, 0.01700074, 0.13266541, 0.0003437,
      0.00043512, 0.28844811}},
    {{.fixed_aspect = true, .aspect = 1, .radial = 3, .tangential = true},
     0.4079558233181828,
     536.0991045873117,
     536.0991045873117,
     342.3722778407787,
     235.58987561108515,
     -0.26537596,
     -0.04516793,
     0.00181833,
     -0.00029235,
     0.25029633,
     {1.34345908, 1.34345908, 1.4181654, 1.53514679, 0, 0.01694707, 0.13249266, 0.00033708,
      0.0004197, 0.28848808}},
    {{.radial = 2},
     0.41744790221107936,
     536.4472479759769,
     536.7351478252117,
     342.383677478376,
     234.32392734515494,
     -0.28096135,
     0.0784515,
     0,
     0,
     0,
     {1.30597251, 1.36966987, 1.44538781, 1.58430795, 0, 0.0070383, 0.02449653, 0, 0, 0}},
    {{.radial = 2, .tangential = true},
     0.4081947358475018,
     536.4527242976641,
     536.4048694767984,
     342.36733599288584,
     235.54328123971993,
     -0.27866736,
     0.06725142,
     0.00182269,
     -0.00034376,
     0,
     {1.28153282, 1.34546466, 1.42194181, 1.56554619, 0, 0.00693034, 0.02471584, 0.00034357,
      0.0004345, 0}},
};

Test(calibration, opencvs_chessboard_gives_opencvs_values_and_deviations)
{
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    int views = test_left_views(view);
    cr_assert_eq(views, 13);
    for (size_t m = 0; m < sizeof left / sizeof *left; m++) {
        const published_lens *p = &left[m];
        rg_calibration c = calibrated(view, views, (rg_calibration_options){.model = p->model});
        near(c.fit.rms_px, p->rms, 2e-7, "rms");
        near(c.fit.lens.fx, p->fx, 2e-4, "fx");
        near(c.fit.lens.fy, p->fy, 2e-4, "fy");
        near(c.fit.lens.cx, p->cx, 2e-4, "cx");
        near(c.fit.lens.cy, p->cy, 2e-4, "cy");
        near(c.fit.lens.k1, p->k1, 2e-6, "k1");
        near(c.fit.lens.k2, p->k2, 2e-5, "k2");
        near(c.fit.lens.p1, p->p1, 2e-8, "p1");
        near(c.fit.lens.p2, p->p2, 2e-8, "p2");
        near(c.fit.lens.k3, p->k3, 5e-5, "k3");
        int n = c.fit.points, q = c.fit.parameters;
        cr_expect_eq(n, 13 * 54);
        for (int i = 0; i < RG_LENS_VALUES; i++) {
            double expected = p->sd[i] * sqrt((double)(n - q) / (2 * n - q));
            near(c.fit.sd[i], expected, 1e-3 * expected, "sd");
        }
        rg_calibration_free(&c);
    }
    test_free_views(view, views);
}

Test(calibration, opencvs_views_have_opencvs_errors_and_pose)
{
    static const double rms[13] = {0.19344288, 1.21713547, 0.1752896,  0.19399432, 0.15949191,
                                   0.18246215, 0.23687642, 0.24334177, 0.29988309, 0.16780646,
                                   0.2016404,  0.46131186, 0.17495457};
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    int views = test_left_views(view);
    rg_calibration c = calibrated(view, views, keep_all_free);
    for (int i = 0; i < 13; i++)
        near(c.view[i].rms_px, rms[i], 2e-6, "rms of a view");
    rg_vec3 r = rg_rodrigues_inverse(c.view[0].pose.R);
    near(r.x, 0.1685256, 2e-7, "rvec x");
    near(r.y, 0.27575719, 2e-7, "rvec y");
    near(r.z, 0.0134676, 2e-7, "rvec z");
    near(c.view[0].pose.t.x, -75.27825, 2e-4, "t x");
    near(c.view[0].pose.t.y, -108.93533, 2e-4, "t y");
    near(c.view[0].pose.t.z, 399.81617, 2e-4, "t z");
    rg_calibration_free(&c);
    test_free_views(view, views);
}

/* Gradient of the sum of squares over the free lens values, in units of what
 * their standard deviation changes: 1 would be a step of one deviation off. */
Test(calibration, the_result_is_a_minimum)
{
    static const double still[6] = {0};
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    int views = test_left_views(view);
    rg_calibration c = calibrated(view, views, keep_all_free);
    double gradient[RG_LENS_VALUES] = {0};
    for (int v = 0; v < views; v++)
        for (int i = 0; i < view[v].corners; i++) {
            double d[2][RG_LENS_VALUES];
            rg_vec2 r = rg_corner_residual(&c.fit.lens, 0.0, &c.view[v].pose, still,
                                           &view[v].corner[i], d, NULL);
            for (int k = 0; k < RG_LENS_VALUES; k++)
                gradient[k] += r.x * d[0][k] + r.y * d[1][k];
        }
    for (int k = 0; k < RG_LENS_VALUES; k++)
        cr_expect(fabs(gradient[k]) * c.fit.sd[k] < 1e-7, "value %d: %g", k, gradient[k]);
    rg_calibration_free(&c);
    test_free_views(view, views);
}

/* ---------------------------------------------------------------- derivatives */

static const rg_lens camera = {.width = 1280,
                               .height = 960,
                               .fx = 1500.0,
                               .fy = 1490.0,
                               .cx = 650.0,
                               .cy = 470.0,
                               .k1 = -0.12,
                               .k2 = 0.08,
                               .p1 = 0.0006,
                               .p2 = -0.0004,
                               .k3 = -0.02};

static double *lens_value(rg_lens *l, double *skew, int i)
{
    double *value[RG_LENS_VALUES] = {&l->fx, &l->fy, &l->cx, &l->cy, skew,
                                     &l->k1, &l->k2, &l->p1, &l->p2, &l->k3};
    return value[i];
}

Test(calibration, derivatives_agree_with_differences)
{
    static const double step[RG_LENS_VALUES] = {1e-2, 1e-2, 1e-2, 1e-2, 1e-2,
                                                1e-5, 1e-5, 1e-6, 1e-6, 1e-4};
    rg_pose pose = test_grid_pose(7, 5, 30.0, 500.0, (rg_vec2){0.2, -0.15}, 25, -30, 40);
    rg_corner corner = {{150.0, 90.0}, {700.0, 300.0}};
    const double at[6] = {0.3, -0.2, 0.5, 1.0, -2.0, 3.0};
    double skew = 0.7, lens[2][RG_LENS_VALUES], by_pose[2][6];
    rg_corner_residual(&camera, skew, &pose, at, &corner, lens, by_pose);
    for (int i = 0; i < RG_LENS_VALUES; i++) {
        rg_vec2 r[2];
        for (int side = 0; side < 2; side++) {
            rg_lens l = camera;
            double s = skew;
            *lens_value(&l, &s, i) += (side ? 1 : -1) * step[i];
            r[side] = rg_corner_residual(&l, s, &pose, at, &corner, NULL, NULL);
        }
        near(lens[0][i], (r[1].x - r[0].x) / (2 * step[i]), 1e-6 * (1 + fabs(lens[0][i])), "du");
        near(lens[1][i], (r[1].y - r[0].y) / (2 * step[i]), 1e-6 * (1 + fabs(lens[1][i])), "dv");
    }
    for (int i = 0; i < 6; i++) {
        rg_vec2 r[2];
        for (int side = 0; side < 2; side++) {
            double moved[6];
            memcpy(moved, at, sizeof moved);
            moved[i] += (side ? 1 : -1) * 1e-5;
            r[side] = rg_corner_residual(&camera, skew, &pose, moved, &corner, NULL, NULL);
        }
        near(by_pose[0][i], (r[1].x - r[0].x) / 2e-5, 1e-5 * (1 + fabs(by_pose[0][i])), "du");
        near(by_pose[1][i], (r[1].y - r[0].y) / 2e-5, 1e-5 * (1 + fabs(by_pose[1][i])), "dv");
    }
}

/* ------------------------------------------------------------------ made views */

enum { COLUMNS = 9, ROWS = 7, GRID_VIEWS = 9 };

/* Nine views, tilted in different ways and spread over the picture. */
static void make_views(rg_view *view, double sigma_px, test_random *random)
{
    static const double where[GRID_VIEWS][5] = {
        {0, 0, 25, 0, 0},          {-0.12, -0.08, 0, 30, 5},   {0.12, -0.08, -25, 10, 90},
        {-0.12, 0.08, 30, -20, 0}, {0.12, 0.08, -20, -30, 10}, {0, 0.05, 0, -35, 45},
        {0.05, 0, 35, 20, -30},    {-0.05, 0, -30, 25, 180},   {0, -0.05, 20, 20, -90}};
    for (int i = 0; i < GRID_VIEWS; i++) {
        const double *w = where[i];
        rg_pose pose =
            test_grid_pose(COLUMNS, ROWS, 20.0, 420.0, (rg_vec2){w[0], w[1]}, w[2], w[3], w[4]);
        view[i] = test_grid_view(&camera, &pose, COLUMNS, ROWS, 20.0, sigma_px, random);
        view[i].name[0] = (char)('a' + i);
    }
}

Test(calibration, exact_corners_give_the_lens_back)
{
    rg_view view[GRID_VIEWS];
    rg_calibration c;
    rg_error err = {0};
    make_views(view, 0.0, NULL);
    cr_assert_eq(rg_calibrate(view, GRID_VIEWS, 1280, 960, &keep_all_free, &c, &err), RG_OK);
    near(c.fit.lens.fx, camera.fx, 1e-6, "fx");
    near(c.fit.lens.fy, camera.fy, 1e-6, "fy");
    near(c.fit.lens.cx, camera.cx, 1e-6, "cx");
    near(c.fit.lens.cy, camera.cy, 1e-6, "cy");
    near(c.fit.lens.k1, camera.k1, 1e-9, "k1");
    near(c.fit.lens.k2, camera.k2, 1e-8, "k2");
    near(c.fit.lens.k3, camera.k3, 1e-7, "k3");
    near(c.fit.lens.p1, camera.p1, 1e-10, "p1");
    near(c.fit.lens.p2, camera.p2, 1e-10, "p2");
    cr_expect_lt(c.fit.rms_px, 1e-8);
    cr_expect_eq(c.fit.lens.width, 1280);
    cr_expect_eq(c.fit.lens.height, 960);
    rg_calibration_free(&c);
    test_free_views(view, GRID_VIEWS);
}

/* The claimed deviations are those that repeated calibrations show. */
Test(calibration, deviations_are_the_scatter_of_200_calibrations)
{
    enum { DRAWS = 200 };
    static double value[RG_LENS_VALUES][DRAWS];
    double claimed[RG_LENS_VALUES] = {0};
    test_random random = {.state = 20261};
    for (int d = 0; d < DRAWS; d++) {
        rg_view view[GRID_VIEWS];
        rg_calibration c;
        rg_error err = {0};
        make_views(view, 0.2, &random);
        cr_assert_eq(rg_calibrate(view, GRID_VIEWS, 1280, 960, &keep_all_free, &c, &err), RG_OK);
        double skew = c.fit.skew;
        for (int k = 0; k < RG_LENS_VALUES; k++) {
            value[k][d] = *lens_value(&c.fit.lens, &skew, k);
            claimed[k] += c.fit.sd[k] / DRAWS;
        }
        rg_calibration_free(&c);
        test_free_views(view, GRID_VIEWS);
    }
    rg_lens truth = camera;
    double no_skew = 0.0;
    for (int k = 0; k < RG_LENS_VALUES; k++) {
        if (k == RG_LENS_SKEW)
            continue;
        double sd = rg_stdev(value[k], DRAWS), mean = rg_mean(value[k], DRAWS);
        cr_expect(sd > 0.8 * claimed[k] && sd < 1.2 * claimed[k], "value %d: %g claimed, %g seen",
                  k, claimed[k], sd);
        /* No bias: the mean of 200 lies within 3.5 of its own deviations. */
        near(mean, *lens_value(&truth, &no_skew, k), 3.5 * sd / sqrt(DRAWS), "mean");
    }
}

/* ------------------------------------------------------------------- bad views */

Test(calibration, the_bad_chessboard_view_is_named_and_left_out)
{
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    int views = test_left_views(view);
    rg_calibration_options o = keep_all_free;
    o.bad_view_ratio = 3.0;
    rg_calibration c = calibrated(view, views, o);
    cr_assert_eq(c.bad_views, 1);
    for (int i = 0; i < views; i++)
        cr_expect_eq(c.view[i].used, strcmp(view[i].name, "left02.jpg") != 0);
    near(c.all.rms_px, 0.40794234, 2e-7, "rms of all");
    cr_expect_eq(c.all.views, 13);
    cr_expect_eq(c.fit.views, 12);
    cr_expect_eq(c.fit.points, 12 * 54);
    cr_expect_lt(c.fit.rms_px, 0.25);
    cr_expect_gt(c.view[1].rms_px, 1.0);
    cr_expect_lt(c.fit.sd[RG_LENS_FX], 0.75 * c.all.sd[RG_LENS_FX]);
    /* The same as never having had that view. */
    rg_view rest[RG_CALIBRATION_VIEWS_MAX];
    for (int i = 0, n = 0; i < views; i++)
        if (i != 1)
            rest[n++] = view[i];
    rg_calibration without = calibrated(rest, views - 1, keep_all_free);
    near(c.fit.lens.fx, without.fit.lens.fx, 1e-6, "fx");
    near(c.fit.rms_px, without.fit.rms_px, 1e-10, "rms");
    rg_calibration_free(&without);
    rg_calibration_free(&c);
    test_free_views(view, views);
}

Test(calibration, a_view_of_another_lens_or_of_swapped_corners_is_found)
{
    rg_view view[GRID_VIEWS];
    test_random random = {.state = 7};
    rg_calibration_options o = keep_all_free;
    rg_calibration c;
    rg_error err = {0};
    o.bad_view_ratio = 3.0;
    make_views(view, 0.1, &random);
    rg_vec2 p = view[4].corner[10].pixel; /* two corners mixed up */
    view[4].corner[10].pixel = view[4].corner[11].pixel;
    view[4].corner[11].pixel = p;
    for (int i = 0; i < view[7].corners; i++) /* a picture at another zoom */
        view[7].corner[i].pixel.x *= 0.9;
    cr_assert_eq(rg_calibrate(view, GRID_VIEWS, 1280, 960, &o, &c, &err), RG_OK, "%s", err.text);
    for (int i = 0; i < GRID_VIEWS; i++)
        cr_expect_eq(c.view[i].used, i != 4 && i != 7, "view %c", view[i].name[0]);
    cr_expect_lt(c.fit.rms_px, 0.2);
    cr_expect_gt(c.all.rms_px, 1.0);
    near(c.fit.lens.fx, camera.fx, 4 * c.fit.sd[RG_LENS_FX], "fx");
    rg_calibration_free(&c);
    test_free_views(view, GRID_VIEWS);
}

Test(calibration, good_views_are_all_kept)
{
    rg_view view[GRID_VIEWS];
    rg_calibration_options o = keep_all_free;
    o.bad_view_ratio = 3.0;
    for (unsigned long long seed = 1; seed <= 20; seed++) {
        test_random random = {.state = seed};
        rg_calibration c;
        rg_error err = {0};
        make_views(view, 0.3, &random);
        cr_assert_eq(rg_calibrate(view, GRID_VIEWS, 1280, 960, &o, &c, &err), RG_OK);
        cr_expect_eq(c.bad_views, 0);
        cr_expect_eq(memcmp(&c.all, &c.fit, sizeof c.fit), 0);
        rg_calibration_free(&c);
        test_free_views(view, GRID_VIEWS);
    }
}

/* With three views, one of them bad, nobody can say which. */
Test(calibration, of_three_views_none_is_left_out)
{
    rg_view view[GRID_VIEWS];
    rg_calibration_options o = {.model = {.fixed_aspect = true, .aspect = 1.0, .radial = 1},
                                .bad_view_ratio = 1.2};
    rg_calibration c;
    rg_error err = {0};
    test_random random = {.state = 5};
    make_views(view, 0.1, &random);
    for (int i = 0; i < view[1].corners; i++)
        view[1].corner[i].pixel.x += 2.0 * test_normal(&random);
    cr_assert_eq(rg_calibrate(view, 3, 1280, 960, &o, &c, &err), RG_OK, "%s", err.text);
    cr_assert_gt(c.view[1].rms_px, 1.3 * c.view[0].rms_px);
    cr_assert_gt(c.view[1].rms_px, 1.3 * c.view[2].rms_px);
    cr_expect_eq(c.bad_views, 0);
    cr_expect_eq(c.fit.views, 3);
    rg_calibration_free(&c);
    test_free_views(view, GRID_VIEWS);
}

/* ------------------------------------------------------------------ closed form */

/* Without distortion and noise the closed form is the whole answer. */
Test(calibration, the_closed_form_alone_finds_a_lens_without_distortion)
{
    static const double place[4][4] = {
        {0, 25, 0, 0}, {0.1, 0, 30, 20}, {-0.1, -25, 15, 90}, {0.05, 20, -25, -40}};
    rg_lens plain = camera;
    plain.k1 = plain.k2 = plain.k3 = plain.p1 = plain.p2 = 0.0;
    double h[4][9];
    rg_pose truth[4], found[4];
    for (int i = 0; i < 4; i++) {
        const double *p = place[i];
        truth[i] = test_grid_pose(COLUMNS, ROWS, 20.0, 420.0, (rg_vec2){p[0], 0}, p[1], p[2], p[3]);
        rg_view v = test_grid_view(&plain, &truth[i], COLUMNS, ROWS, 20.0, 0.0, NULL);
        cr_assert(rg_homography(&v, h[i]));
        for (int k = 0; k < v.corners; k++) {
            const double *g = h[i];
            rg_vec2 b = v.corner[k].board;
            double w = g[6] * b.x + g[7] * b.y + g[8];
            near((g[0] * b.x + g[1] * b.y + g[2]) / w, v.corner[k].pixel.x, 1e-7, "u");
            near((g[3] * b.x + g[4] * b.y + g[5]) / w, v.corner[k].pixel.y, 1e-7, "v");
        }
        test_free_views(&v, 1);
    }
    for (int skew = 0; skew < 2; skew++) {
        rg_lens_guess guess = {.lens = {.width = 1280, .height = 960}, .pose = found};
        cr_assert(rg_zhang_start((const double(*)[9])h, 4, skew, &guess));
        near(guess.lens.fx, plain.fx, 1e-4, "fx");
        near(guess.lens.fy, plain.fy, 1e-4, "fy");
        near(guess.lens.cx, plain.cx, 1e-4, "cx");
        near(guess.lens.cy, plain.cy, 1e-4, "cy");
        near(guess.skew, 0.0, 1e-4, "skew");
        for (int i = 0; i < 4; i++) {
            near(found[i].t.z, truth[i].t.z, 1e-3, "depth");
            near(found[i].R.m[0][2], truth[i].R.m[0][2], 1e-6, "R");
        }
    }
}

/* All boards parallel to the sensor: no closed form, but a start all the same. */
Test(calibration, where_no_closed_form_exists_a_plain_start_is_made)
{
    double h[3][9];
    rg_pose found[3];
    for (int i = 0; i < 3; i++) {
        rg_pose pose =
            test_grid_pose(COLUMNS, ROWS, 20.0, 400.0 + 50.0 * i, (rg_vec2){0, 0}, 0, 0, 0);
        rg_view v = test_grid_view(&camera, &pose, COLUMNS, ROWS, 20.0, 0.0, NULL);
        cr_assert(rg_homography(&v, h[i]));
        test_free_views(&v, 1);
    }
    rg_lens_guess guess = {.lens = {.width = 1280, .height = 960}, .pose = found};
    rg_plain_start((const double(*)[9])h, 3, &guess);
    cr_expect(guess.lens.fx > 128 && guess.lens.fx < 128000 && guess.lens.fx == guess.lens.fy);
    cr_expect(guess.lens.cx == 639.5 && guess.lens.cy == 479.5);
    cr_expect_gt(found[2].t.z, found[0].t.z);
}

/* ------------------------------------------------------------------- refusals */

static void refused(const rg_view *view, int views, rg_calibration_options o, const char *what,
                    const char *remedy)
{
    rg_calibration c;
    rg_error err = {0};
    cr_assert_eq(rg_calibrate(view, views, 1280, 960, &o, &c, &err), RG_BAD_DATA, "%s", what);
    cr_assert(strstr(err.text, what) && strstr(err.text, remedy), "%s", err.text);
    cr_assert_null(c.view);
}

Test(calibration, too_little_is_refused)
{
    rg_view view[GRID_VIEWS];
    make_views(view, 0.0, NULL);
    refused(view, 2, keep_all_free, "2 views", "8 or more");
    refused(view, 0, keep_all_free, "0 views", "8 or more");
    int corners = view[1].corners;
    view[1].corners = 3;
    refused(view, GRID_VIEWS, keep_all_free, "view brid has 3 points", "more of the board");
    view[1].corners = corners;
    for (int i = 0; i < 3; i++)
        view[i].corners = 4;
    /* Not on one line: the first two rows' ends would be; take a block of four. */
    for (int i = 0; i < 3; i++) {
        view[i].corner[2] = view[i].corner[COLUMNS];
        view[i].corner[3] = view[i].corner[COLUMNS + 1];
    }
    refused(view, 3, keep_all_free, "12 points in 3 views for 27 unknowns", "more views");
    test_free_views(view, GRID_VIEWS);
}

Test(calibration, impossible_points_are_refused_by_view_and_number)
{
    rg_view view[GRID_VIEWS];
    make_views(view, 0.0, NULL);
    rg_corner kept = view[2].corner[4];
    view[2].corner[4].pixel.x = NAN;
    refused(view, GRID_VIEWS, keep_all_free, "view crid, point 5: nan", "correct it");
    view[2].corner[4].pixel.x = INFINITY;
    refused(view, GRID_VIEWS, keep_all_free, "view crid, point 5: inf", "correct it");
    view[2].corner[4] = kept;
    view[2].corner[4].board = view[2].corner[50].board;
    refused(view, GRID_VIEWS, keep_all_free, "view crid: board point", "counts once");
    view[2].corner[4] = kept;
    view[2].corner[4].pixel = view[2].corner[50].pixel;
    refused(view, GRID_VIEWS, keep_all_free, "view crid: pixel", "counts once");
    view[2].corner[4] = kept;
    for (int i = 0; i < view[2].corners; i++)
        view[2].corner[i].board.y = 2.0 * view[2].corner[i].board.x;
    refused(view, GRID_VIEWS, keep_all_free,
            "view crid: the 63 points lie on one line of the board", "spread");
    test_free_views(view, GRID_VIEWS);
}

Test(calibration, a_mirrored_view_is_refused_by_name)
{
    rg_view view[GRID_VIEWS];
    make_views(view, 0.0, NULL);
    for (int i = 0; i < view[5].corners; i++)
        view[5].corner[i].pixel.x = 1279 - view[5].corner[i].pixel.x;
    refused(view, GRID_VIEWS, keep_all_free, "view frid is mirrored", "same direction");
    test_free_views(view, GRID_VIEWS);
}

/* Boards that are all parallel to each other tell no focal length, whether
 * they face the camera or are tilted alike, with noise and without. */
Test(calibration, parallel_views_are_refused)
{
    for (int tilt = 0; tilt <= 30; tilt += 30)
        for (int noise = 0; noise < 2; noise++) {
            rg_view view[GRID_VIEWS];
            test_random random = {.state = 3};
            for (int i = 0; i < GRID_VIEWS; i++) {
                rg_pose pose =
                    test_grid_pose(COLUMNS, ROWS, 20.0, 380.0 + 20.0 * i,
                                   (rg_vec2){0.02 * (i % 3 - 1), 0.02 * (i / 3 - 1)}, tilt, 0, 0);
                view[i] = test_grid_view(&camera, &pose, COLUMNS, ROWS, 20.0, 0.1 * noise, &random);
            }
            rg_calibration_options o = {.model = {.radial = 2}};
            refused(view, GRID_VIEWS, o, "do not tell the focal length", "tilted");
            test_free_views(view, GRID_VIEWS);
        }
}

Test(calibration, impossible_options_are_refused)
{
    rg_view view[GRID_VIEWS];
    make_views(view, 0.0, NULL);
    refused(view, GRID_VIEWS, (rg_calibration_options){.model = {.radial = 4}}, "4 radial",
            "0 to 3");
    refused(view, GRID_VIEWS, (rg_calibration_options){.model = {.fixed_aspect = true}}, "aspect 0",
            "0.5 to 2");
    refused(view, GRID_VIEWS, (rg_calibration_options){.bad_view_ratio = 0.5}, "ratio 0.5",
            "above 1");
    refused(view, GRID_VIEWS, (rg_calibration_options){.bad_view_ratio = NAN}, "ratio nan",
            "above 1");
    test_free_views(view, GRID_VIEWS);
}

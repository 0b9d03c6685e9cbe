/*
 * The renderer against outside truth: a path-tracing renderer's printed
 * figures, closed forms of photometry, the sRGB standard, noise moments.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/crown.h"
#include "rimglow/decode.h"
#include "rimglow/synth.h"
#include "support/setup.h"

static const rg_lens demo_lens = {
    .width = 1280, .height = 720, .fx = 3300, .fy = 3300, .cx = 639.5, .cy = 359.5};
/* A strip of the rim only: quick to render. */
static const rg_lens rim_lens = {
    .width = 200, .height = 64, .fx = 3000, .fy = 3000, .cx = 99.5, .cy = 31.5};

static rg_synth_view render(const rg_synth_scene *scene, const rg_lens *lens, const rg_pose *camera,
                            double sigma)
{
    rg_synth_view view;
    rg_error err = {0};
    cr_assert_eq(rg_synth_render(scene, lens, camera, sigma, 0, &view, &err), RG_OK, "%s",
                 err.text);
    return view;
}

static float at(const rg_synth_view *v, int channel, int x, int y)
{
    return v
        ->light[((size_t)channel * (size_t)v->height + (size_t)y) * (size_t)v->width + (size_t)x];
}

/* ------------------------------------------------------------- geometry */

/* Poses and tag corners as the path-tracing renderer of the samples printed
 * them (CC0; it shares no code with this): R, t of the rim frame, corners top
 * left, top right, bottom right, bottom left in px. */
typedef struct traced {
    double level, tilt, R[9], t[3];
    int face[3];
    double corner[3][8];
} traced;

static const traced traced_views[] = {
    {-0.05, /* samples/PE-A-0147/08-G/view_17.jpg */
     0.2,
     {-0.3181986, -0.947977285, -0.009419007, 0.035763275, -0.002074799, -0.999358136, 0.94734927,
      -0.318331214, 0.034562971},
     {-0.76311, 3.971384, 113.588034},
     {2, 3, 4},
     {{871.286, 35.819, 900.738, 69.313, 903.75, 295.528, 874.397, 278.278},
      {586.847, 16.811, 822.787, 27.191, 825.756, 274.01, 588.895, 269.644},
      {333.903, 46.665, 507.594, 20.064, 509.3, 271.676, 334.835, 286.233}}},
    {-0.02, /* samples/PE-A-0147/04-C/view_07.jpg */
     0,
     {0.924914324, 0.38000129, 0.011511434, -0.003056999, 0.037712118, -0.999283969, -0.380163317,
      0.924216866, 0.036042142},
     {-0.477762, 4.092364, 111.613979},
     {0, 1, 2},
     {{858.407, 33.427, 933.384, 63.784, 931.426, 298.724, 856.104, 284.901},
      {542.284, 18.253, 796.672, 25.911, 794.16, 281.198, 539.026, 276.181},
      {329.769, 46.451, 467.117, 21.739, 463.679, 277.225, 326.168, 287.193}}}};

static rg_pose pose_of(const traced *v)
{
    rg_pose p = {.t = {v->t[0], v->t[1], v->t[2]}};
    memcpy(p.R.m, v->R, sizeof v->R);
    return p;
}

static rg_synth_scene scene_of(const traced *v)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.pad.level_mm = v->level;
    s.pad.tilt_mm = v->tilt;
    s.pad.tilt_bearing_deg = 200;
    return s;
}

Test(synth, tag_corners_fall_where_the_path_tracer_has_them)
{
    for (size_t i = 0; i < sizeof traced_views / sizeof *traced_views; i++) {
        const traced *v = &traced_views[i];
        rg_synth_scene s = scene_of(v);
        rg_pose camera = pose_of(v);
        for (int j = 0; j < 3; j++) {
            rg_vec2 corner[4];
            cr_assert(rg_synth_tag(&s, &demo_lens, &camera, v->face[j], corner));
            for (int k = 0; k < 4; k++) {
                cr_expect_float_eq(corner[k].x, v->corner[j][2 * k], 0.002, "%zu %d %d x", i, j, k);
                cr_expect_float_eq(corner[k].y, v->corner[j][2 * k + 1], 0.002, "%zu %d %d y", i, j,
                                   k);
            }
        }
        rg_vec2 corner[4];
        cr_expect_not(rg_synth_tag(&s, &demo_lens, &camera, (v->face[1] + 3) % 6, corner));
    }
}

/* samples/truth/08-G.json and 06-A.json: cup_pose_in_rim_frame, w_mm. */
Test(synth, cup_and_gap_are_those_of_the_path_tracer)
{
    static const double R[9] = {0.999823449,  6.4259e-05,   0.018790095, 6.4259e-05, 0.999976611,
                                -0.006839035, -0.018790095, 0.006839035, 0.99980006};
    rg_synth_scene s = scene_of(&traced_views[0]);
    rg_pose camera = rg_synth_camera(198, 0, 110, 0, 0), back = rg_pose_inverse(&camera);
    rg_synth_view view = render(&s, &rim_lens, &camera, 0.8);
    rg_pose cup = rg_pose_compose(&back, &view.cup);
    rg_synth_view_free(&view);
    for (int i = 0; i < 9; i++)
        cr_expect_float_eq(cup.R.m[i / 3][i % 3], R[i], 2e-6, "element %d", i);
    cr_expect_float_eq(cup.t.z, -0.05, 1e-9);
    double w[360];
    rg_synth_widths(&s, w);
    cr_expect_float_eq(w[140], 0.05, 1e-6);
    cr_expect_float_eq(w[200], 0.15, 1e-6);
    cr_expect_float_eq(w[20], 0, 1e-12);
    rg_synth_scene_default(&s);
    s.pad.creases = 1;
    s.pad.crease[0] = (rg_synth_crease){75, 7, 0.07};
    rg_synth_widths(&s, w);
    cr_expect_float_eq(w[72], 0.032788, 1e-6);
    cr_expect_float_eq(w[75], 0.06, 1e-6);
    cr_expect_float_eq(w[83], 0, 1e-12);
}

/* A saddle repeats after half a turn; slopes of the crown against the pad add up. */
Test(synth, saddle_and_askew_crown_are_as_stated)
{
    double w[360];
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.pad.level_mm = 0.02;
    s.pad.saddle_mm = 0.03;
    s.pad.saddle_bearing_deg = 40;
    rg_synth_widths(&s, w);
    cr_expect_float_eq(w[40], 0.05, 1e-12);
    cr_expect_float_eq(w[220], 0.05, 1e-12);
    cr_expect_float_eq(w[130], 0, 1e-12);
    s.pad.askew_x = 0.03;
    s.pad.askew_y = -0.02;
    rg_pose camera = rg_synth_camera(198, 0, 110, 0, 0), back = rg_pose_inverse(&camera);
    rg_synth_view view = render(&s, &rim_lens, &camera, 0.8);
    rg_pose cup = rg_pose_compose(&back, &view.cup);
    rg_synth_view_free(&view);
    /* Height of the crown's plane: its normal's components give the slopes. */
    cr_expect_float_eq(-cup.R.m[0][2] / cup.R.m[2][2], 0.03, 1e-9);
    cr_expect_float_eq(-cup.R.m[1][2] / cup.R.m[2][2], -0.02, 1e-9);
}

/* The border that runs 0.1 mm wide takes white from a strip as long as the tag. */
Test(synth, a_border_printed_too_wide_takes_white)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    rg_pose camera = rg_synth_camera(60, 0, 110, 6.3, 0);
    rg_vec2 corner[4];
    cr_assert(rg_synth_tag(&s, &demo_lens, &camera, 1, corner));
    double side = hypot(corner[0].x - corner[3].x, corner[0].y - corner[3].y);
    rg_synth_view exact = render(&s, &demo_lens, &camera, 0.8);
    s.border_mm[1][1] = 0.1;
    rg_synth_view wide = render(&s, &demo_lens, &camera, 0.8);
    double lost = 0;
    for (int i = 0; i < 1280 * 720; i++)
        lost += (double)(exact.light[i] - wide.light[i]);
    int x = (int)corner[1].x + 12, y = (int)(0.5 * (corner[1].y + corner[2].y));
    double step = (double)at(&exact, 0, x, y) * (1 - s.ink / s.paper);
    cr_expect_float_eq(lost, 0.1 * side / s.tag_mm * side * step, 0.03 * lost);
    rg_synth_view_free(&exact);
    rg_synth_view_free(&wide);
}

Test(synth, a_table_of_gaps_is_taken_as_it_is)
{
    double table[360] = {0}, w[360];
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    table[30] = 0.07;
    s.pad.local_mm = table;
    rg_synth_widths(&s, w);
    cr_expect_float_eq(w[30], 0.06, 1e-12);
    cr_expect_float_eq(w[31], 0, 1e-12);
}

/* --------------------------------------------------------------- photometry */

/* Flux (light times mm) in the middle column of a view from bearing 90, lamp on less lamp off. */
static double lamp_flux(const rg_synth_scene *scene, double elevation, double sigma, double aim)
{
    rg_synth_scene s = *scene;
    s.key = false;
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 3;
    rg_pose camera = rg_synth_camera(90, elevation, 110, aim, 0);
    rg_synth_view on = render(&s, &rim_lens, &camera, sigma);
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 0;
    rg_synth_view off = render(&s, &rim_lens, &camera, sigma);
    double sum = 0;
    for (int y = 0; y < 64; y++)
        for (int x = 97; x < 103; x++)
            sum += (double)(at(&on, 1, x, y) - at(&off, 1, x, y)) / 6;
    rg_synth_view_free(&on);
    rg_synth_view_free(&off);
    return sum * 100 / 3000; /* the rim's near edge is 100 mm away */
}

/* Of a pad that touches everywhere but for a wide, level opening towards bearing 90. */
static double flux_of(const rg_synth_scene *base, double width, double elevation, double sigma,
                      double aim)
{
    rg_synth_scene s = *base;
    s.pad.level_mm = -0.02;
    s.pad.creases = 1;
    /* A raised cosine so broad that it is level to 1 in 300 where the rays pass. */
    s.pad.crease[0] = (rg_synth_crease){90, 80, width + 0.02};
    return lamp_flux(&s, elevation, sigma, aim);
}

static double flux(double width, double elevation, double sigma, double reflectance, double aim)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.wall = 1;
    s.land_reflectance = reflectance;
    s.land_shoulder = 0;
    return flux_of(&s, width, elevation, sigma, aim);
}

/* Photometry: an unclipped slot has the flux radiance times width, however thin
 * and however blurred, wherever it falls among the pixels. */
Test(synth, flux_is_radiance_times_width_whatever_the_blur)
{
    static const double width[] = {0.003, 0.01, 0.033, 0.1}, sigma[] = {0.5, 1.2};
    for (int i = 0; i < 4; i++)
        for (int k = 0; k < 2; k++)
            for (int phase = 0; phase < 3; phase++) {
                double f = flux(width[i], 0, sigma[k], 0.8, 0.011 * phase);
                cr_expect_float_eq(f, 3 * width[i], 0.015 * 3 * width[i] + 3e-4,
                                   "w %g sigma %g phase %d: %g", width[i], sigma[k], phase, f);
            }
}

/* Elevation at which the ray to the near edge, 10 mm before the axis, has this slope. */
static double elevation_for(double slope)
{
    return rg_degrees(asin(slope * 100 / 110));
}

/* A letter box 2.5 mm deep (land 1 mm, overhang 1.5 mm) closes at the slope
 * w / 2.5: half the width is left at half of it. */
Test(synth, a_view_from_above_closes_the_slot_at_its_depth)
{
    double w = 0.05, half = elevation_for(0.5 * w / 2.5), shut = elevation_for(1.1 * w / 2.5);
    cr_expect_float_eq(flux(w, half, 0.8, 0, 0), 3 * 0.5 * w, 0.02 * 3 * w);
    cr_expect_float_eq(flux(w, shut, 0.8, 0, 0), 0, 0.01 * 3 * w);
    /* A perfect mirror of a land takes nothing: only the overhang hides. */
    cr_expect_float_eq(flux(w, half, 0.8, 1, 0), 3 * (w - 0.01 * 1.5), 0.02 * 3 * w);
}

/* From below a ray ends on the pad's face at y = 1 mm - u from the hole's edge, u into the slot, where half of
 * 1 - y / sqrt(y^2 + w^2) of the half space is bright (an element and an endless strip at right angles to it). Over u
 * from 0 to w / slope the integral is (u + sqrt(1 + w^2) ... ) / 2 in closed form. */
Test(synth, a_view_from_below_ends_on_the_pad_over_the_land)
{
    double w = 0.05, slope = 0.02, e = elevation_for(-slope), f = flux(w, e, 0.8, 0, 0);
    double deep = w / slope, in = deep - 1;
    double lit = 0.5 * (deep + sqrt(in * in + w * w) - sqrt(1 + w * w));
    cr_expect_float_eq(f, 3 * slope * lit, 0.01 * 3 * w, "%g for %g", f, 3 * slope * lit);
    cr_expect_gt(flux(w, e, 0.8, 0.9, 0), f, "a mirror of a land lights the pad over it");
}

/* A land that leans outwards throws what falls on its outer half up to the dark pad: of the slope's 1 mm half is lost
 * but for the last part, where the pad leaves a slope of w / (1 - x) free. */
Test(synth, a_shoulder_takes_what_falls_on_the_lands_outer_half)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.wall = s.land_reflectance = 1;
    s.land_shoulder = 0.5;
    double w = 0.05, slope = 0.01, lost = 0;
    for (double x = 0.0005; x < 1; x += 0.001)
        if (slope + 2 * s.land_shoulder * fmax(1 - 2 * x, 0) > w / (1 - x))
            lost += 0.001 * slope;
    cr_assert(lost > 0.4 * slope && lost < 0.5 * slope);
    cr_expect_float_eq(flux_of(&s, w, elevation_for(slope), 0.8, 0), 3 * (w - 1.5 * slope - lost),
                       0.02 * 3 * w);
}

/* Through an open pad the view sinks onto the far land's inner edge: sharp, it would leave the lit wall under it in
 * view; rounded by more than the view sinks, it shows the pad over it, which is lit by at most half. */
Test(synth, the_far_lands_rounded_edge_is_darker_than_the_wall)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.pad.local_mm = NULL;
    double lit[2], edge[2] = {0, 0.03};
    for (int k = 0; k < 2; k++) {
        s.edge_mm = edge[k];
        s.pad.level_mm = 0.1;
        s.key = false;
        s.room = 0;
        rg_pose camera = rg_synth_camera(90, elevation_for(0.001), 110, 0, 0);
        rg_synth_view view = render(&s, &rim_lens, &camera, 0.8);
        lit[k] = 0;
        for (int y = 28; y < 36; y++)
            lit[k] += (double)at(&view, 1, 100, y);
        rg_synth_view_free(&view);
    }
    cr_expect_gt(lit[0], 1, "%g", lit[0]);
    cr_expect_lt(lit[1], 0.5 * lit[0], "%g %g", lit[1], lit[0]);
}

/* Light of an element of the pad's face, x mm from the hole's edge over the land, in a slot of height g: that of an
 * endless strip at right angles to it (as above), which the land mirrors so that it reaches twice as deep. */
static double pad_light(double x, double g, double reflectance)
{
    double once = 0.5 * (1 - x / hypot(x, g)), twice = 0.5 * (1 - x / hypot(x, 2 * g));
    return x > 0 ? once + reflectance * (twice - once) : once;
}

/* What the rounded edge throws up: where its normal leans by t, a level ray leaves it by 2 t and meets the pad. The
 * rays that the near land takes come to nothing: they leave through the far slot. */
static double edge_flux(double gap, double edge, double reflectance, double camera_mm)
{
    const double step = 1e-6, far_mm = 19, land_mm = 1; /* from the near land's outer edge */
    double sum = 0;
    for (double z = step / 2; z < gap; z += step) {
        double slope = (camera_mm - z) / 100, low = z - slope * far_mm;
        if (z < slope * land_mm || low >= 0)
            continue;
        double t = acos(1 + low / edge), x = edge * (1 - sin(t)) + (gap - low) / tan(2 * t);
        sum += step * reflectance * pad_light(x, gap, reflectance);
    }
    return sum;
}

Test(synth, the_rounded_edge_shows_the_light_of_the_pad_over_it)
{
    static const double edge[] = {0.03, 0.021}, reflectance[] = {1, 0.6};
    const double slope = 0.001;
    for (int i = 0; i < 2; i++)
        for (int k = 0; k < 2; k++) {
            rg_synth_scene s;
            rg_synth_scene_default(&s);
            s.edge_mm = edge[i];
            s.land_reflectance = reflectance[k];
            s.land_shoulder = 0;
            s.pad.level_mm = 0.1; /* open all round */
            double f = lamp_flux(&s, elevation_for(slope), 0.8, 0);
            double wanted = 3 * edge_flux(0.1, edge[i], reflectance[k], 100 * slope);
            cr_expect_float_eq(f, wanted, 0.03 * wanted, "edge %g, reflectance %g: %g for %g",
                               edge[i], reflectance[k], f, wanted);
        }
}

/* From far below the face of a wide open pad is seen over the hole, over the land, and beside it, up to 2.5 mm from the
 * hole's edge. Without the lamp it is dimly lit leather. */
Test(synth, the_pad_glows_by_the_depth_into_the_slot)
{
    static const double out[] = {-0.3, -0.1, 0.3, 0.7, 1.2, 1.6, 2.0, 2.3}, gap = 0.5;
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.key = false;
    s.pad.level_mm = gap;
    rg_pose camera = rg_synth_camera(90, -16, 110, 3.2, 0); /* its axis passes the near rim */
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 3;
    rg_synth_view on = render(&s, &rim_lens, &camera, 0.8);
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 0;
    rg_synth_view off = render(&s, &rim_lens, &camera, 0.8);
    for (size_t i = 0; i < sizeof out / sizeof *out; i++) {
        rg_vec2 px;
        rg_vec3 p = {0, -9 - out[i], gap};
        cr_assert(rg_lens_project(&rim_lens, rg_pose_apply(&camera, p), &px));
        int row = (int)floor(px.y);
        cr_assert(row >= 0 && row < 63, "%d", row);
        double low = (double)(at(&on, 1, 100, row) - at(&off, 1, 100, row));
        double high = (double)(at(&on, 1, 100, row + 1) - at(&off, 1, 100, row + 1));
        double light = low + (px.y - row) * (high - low);
        double wanted = 3 * pad_light(out[i], gap, s.land_reflectance);
        cr_expect_float_eq(light, wanted, 0.03 * wanted, "%g mm: %g for %g", out[i], light, wanted);
        double dim = (double)at(&off, 1, 100, row);
        cr_expect(out[i] < 1 || (dim > 0.01 * s.leather && dim < s.leather), "%g mm: %g", out[i],
                  dim);
    }
    rg_synth_view_free(&on);
    rg_synth_view_free(&off);
}

Test(synth, bulge_and_feeler_stand_in_the_light)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.pad.bulge_mm = 0.02;
    cr_expect_float_eq(flux_of(&s, 0.05, 0, 0.8, 0), 3 * 0.03, 0.02 * 3 * 0.05);
    s.pad.bulge_mm = 0;
    s.pad.feeler_mm = 0.05;
    s.pad.feeler_width_mm = 3;
    s.pad.feeler_bearing_deg = 90;
    cr_expect_lt(flux_of(&s, 0.05, 0, 0.8, 0), 0.01 * 3 * 0.05);
    s.pad.feeler_bearing_deg = 60;
    cr_expect_float_eq(flux_of(&s, 0.05, 0, 0.8, 0), 3 * 0.05, 0.02 * 3 * 0.05);
}

/* From a little above, rays end on the far wall, at bearing 270; those that the
 * land mirrors (its 1 mm times the slope) on the pad's face, whose light is 3. */
Test(synth, the_far_wall_has_its_own_light)
{
    double slope = 0.008, direct = 0.05 - 2.5 * slope, by_land = 3 * slope;
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.land_reflectance = 1;
    s.land_shoulder = 0;
    s.wall = 0.5;
    cr_expect_float_eq(flux_of(&s, 0.05, elevation_for(slope), 0.8, 0), 1.5 * direct + by_land,
                       0.003);
    s.lamp_uneven = 0.4;
    s.lamp_bearing_deg = 270;
    cr_expect_float_eq(flux_of(&s, 0.05, elevation_for(slope), 0.8, 0), 2.1 * direct + by_land,
                       0.003);
}

/* 0.1 px blurred by 1.2 px and the pixel: the profile is Gaussian with the
 * variance 1.2^2 + (1 + 0.1^2) / 12, to second order. */
Test(synth, a_thin_slot_has_the_profile_of_the_point_spread)
{
    double w = 0.1 * 100 / 3000, sum = 0, mean = 0, square = 0, light[64];
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.key = false;
    s.pad.level_mm = -0.02;
    s.pad.creases = 1;
    s.pad.crease[0] = (rg_synth_crease){90, 80, w + 0.02};
    rg_pose camera = rg_synth_camera(90, 0, 110, 0.004, 0);
    rg_synth_view on = render(&s, &rim_lens, &camera, 1.2);
    s.lamp[0] = s.lamp[1] = s.lamp[2] = 0;
    rg_synth_view off = render(&s, &rim_lens, &camera, 1.2);
    for (int y = 0; y < 64; y++) {
        light[y] = (double)(at(&on, 1, 100, y) - at(&off, 1, 100, y));
        sum += light[y];
        mean += y * light[y];
    }
    mean /= sum;
    for (int y = 0; y < 64; y++)
        square += pow(y - mean, 2) * light[y] / sum;
    rg_synth_view_free(&on);
    rg_synth_view_free(&off);
    cr_expect_float_eq(square, 1.44 + 1.01 / 12, 0.01);
    /* The slot's middle, half its width above the rim plane, which the camera
     * aims past by 0.004 mm at the axis. */
    double slope = 0.004 / 110, z = -0.004 + slope * 10 + 0.5 * w;
    cr_expect_float_eq(mean, 31.5 - z * 3000 / 100, 0.01);
}

Test(synth, a_sealed_pad_shows_no_lamp_from_anywhere)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.key = false;
    for (int b = 0; b < 360; b += 60)
        for (int e = -1; e <= 1; e++) {
            rg_pose camera = rg_synth_camera(b, 0.6 * e, 110, 0, 0);
            rg_synth_view view = render(&s, &rim_lens, &camera, 0.8);
            float most = 0;
            for (int i = 0; i < 200 * 64; i++)
                most = fmaxf(most, view.light[i]);
            cr_expect_lt(most, 0.13f, "bearing %d: %g", b, (double)most);
            rg_synth_view_free(&view);
        }
}

/* --------------------------------------------------------------- traps */

static int brightest_column(const rg_synth_view *v, int y)
{
    int best = 0;
    for (int x = 1; x < v->width; x++)
        best = at(v, 1, x, y) > at(v, 1, best, y) ? x : best;
    return best;
}

/* On an upright cylinder the mirrored ray's azimuth is twice the normal's less
 * the view's: a streak stands midway between camera and lamp. */
Test(synth, a_streak_moves_by_half_of_the_cameras_turn)
{
    rg_lens lens = rim_lens;
    lens.fx = lens.fy = 1000;
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.key = false;
    s.streaks = 1;
    s.streak[0] = (rg_synth_streak){100, 2, 1, -9, 9};
    for (int turn = -10; turn <= 10; turn += 10) {
        double bearing = 90 + turn, there = (100 + bearing) / 2;
        rg_pose camera = rg_synth_camera(bearing, 0, 110, 0, 0);
        rg_synth_view view = render(&s, &lens, &camera, 0.8);
        rg_vec3 p = {10 * cos(rg_radians(there)), -10 * sin(rg_radians(there)), -1.5};
        rg_vec2 pixel;
        cr_assert(rg_lens_project(&lens, rg_pose_apply(&camera, p), &pixel));
        cr_expect_float_eq(brightest_column(&view, (int)lround(pixel.y)), pixel.x, 1.1);
        rg_synth_view_free(&view);
    }
}

Test(synth, posts_and_hinge_hide_the_rim_beside_the_key_arm)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    s.pad.level_mm = 0.1;
    rg_pose camera = rg_synth_camera(22, 0, 110, 0, 0);
    rg_vec3 p = {10 * cos(rg_radians(30)), -10 * sin(rg_radians(30)), 0.05};
    rg_vec2 pixel;
    cr_assert(rg_lens_project(&demo_lens, rg_pose_apply(&camera, p), &pixel));
    rg_synth_view with = render(&s, &demo_lens, &camera, 0.8);
    s.key = false;
    rg_synth_view without = render(&s, &demo_lens, &camera, 0.8);
    /* The post at (24, -10) stands at bearing 23. */
    cr_expect_gt(at(&without, 1, (int)pixel.x, (int)pixel.y), 0.5f);
    int hidden = 0;
    for (int x = 400; x < 880; x++)
        hidden += at(&with, 1, x, (int)pixel.y) < 0.1f && at(&without, 1, x, (int)pixel.y) > 0.5f;
    cr_expect_gt(hidden, 60, "%d columns", hidden);
    rg_synth_view_free(&with);
    rg_synth_view_free(&without);
}

/* ------------------------------------------------- lens, crown, all together */

/* The crown's finder knows nothing of the renderer; through a distorted lens it
 * must come back to the pose that was rendered. */
Test(synth, the_crown_is_found_where_it_was_rendered)
{
    rg_setup setup;
    test_setup(&setup);
    setup.lens = (rg_lens){.width = 720,
                           .height = 500,
                           .fx = 2750,
                           .fy = 2760,
                           .cx = 352,
                           .cy = 255,
                           .k1 = -0.4,
                           .k2 = 3,
                           .p1 = 0.002,
                           .p2 = -0.001};
    rg_synth_scene s;
    rg_error err = {0};
    rg_synth_scene_default(&s);
    s.pad.askew_x = 0.01;
    rg_pose camera = rg_synth_camera(130, 0.4, 110, 6.3, 1.5);
    rg_synth_view view = render(&s, &setup.lens, &camera, 0.7);
    rg_synth_sensor *sensor;
    rg_image image;
    uint8_t *bytes;
    size_t size;
    cr_assert_eq(rg_synth_sensor_new(&sensor, 10000, 8, &err), RG_OK);
    cr_assert_eq(rg_synth_expose(sensor, &view, 1, 5, &image, &err), RG_OK);
    cr_assert_eq(rg_synth_jpeg(&image, 92, &bytes, &size, &err), RG_OK);
    rg_tag_finder *finder;
    rg_frame frame;
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, &err), RG_OK);
    cr_assert_eq(rg_frame_take(&setup, finder, bytes, size, RG_FRAME_CLOSED, 1, &frame, &err),
                 RG_OK);
    cr_assert(frame.used, "%s", frame.reason);
    rg_mat3 turn = rg_mat3_mul(frame.pose.pose.R, rg_mat3_transpose(view.cup.R));
    rg_vec3 shift = rg_vec3_sub(frame.pose.pose.t, view.cup.t);
    cr_expect_lt(rg_vec3_norm(rg_rodrigues_inverse(turn)), 5e-4);
    cr_expect_lt(hypot(shift.x, shift.y), 0.004);
    cr_expect_lt(fabs(shift.z), 0.03);
    /* Blur of the renderer and of the pixel together. */
    cr_expect_float_eq(frame.pose.edge_sigma_px, sqrt(0.7 * 0.7 + 1.0 / 12), 0.04);
    rg_frame_free(&frame);
    rg_tag_finder_free(finder);
    rg_synth_sensor_free(sensor);
    rg_image_free(&image);
    rg_synth_view_free(&view);
    free(bytes);
}

/* --------------------------------------------------------------- sensor */

static rg_synth_view even_view(float light)
{
    rg_synth_view v = {.width = 256, .height = 256};
    v.light = malloc(3 * 65536 * sizeof *v.light);
    cr_assert_not_null(v.light);
    for (int i = 0; i < 3 * 65536; i++)
        v.light[i] = light;
    return v;
}

/* IEC 61966-2-1, worked out with bc to six digits: the light of a code. */
Test(synth, codes_are_srgb)
{
    static const struct {
        float light;
        int code;
    } table[] = {{0, 0},           {0.0003035f, 1},   {0.003035f, 10},
                 {0.0512695f, 64}, {0.2158605f, 128}, {0.5028865f, 188},
                 {1, 255},         {7, 255}};
    rg_synth_sensor *sensor;
    cr_assert_eq(rg_synth_sensor_new(&sensor, 0, 0, NULL), RG_OK);
    for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
        rg_synth_view v = even_view(table[i].light);
        rg_image image;
        cr_assert_eq(rg_synth_expose(sensor, &v, 1, 1, &image, NULL), RG_OK);
        cr_expect_eq(((uint8_t *)image.data)[777], table[i].code, "light %g",
                     (double)table[i].light);
        rg_image_free(&image);
        rg_synth_view_free(&v);
    }
    rg_synth_sensor_free(sensor);
}

/* Photon noise: variance light / full well; read noise adds to it. */
Test(synth, noise_has_the_variance_of_photons_and_readout)
{
    double light = 0.2, well = 3000, read = 20, sum = 0, square = 0;
    int n = 3 * 65536;
    rg_synth_view v = even_view(0.1f);
    rg_synth_sensor *sensor;
    rg_image image;
    cr_assert_eq(rg_synth_sensor_new(&sensor, well, read, NULL), RG_OK);
    cr_assert_eq(rg_synth_expose(sensor, &v, 2, 9, &image, NULL), RG_OK);
    for (int i = 0; i < n; i++) {
        double x = rg_srgb_to_linear(((uint8_t *)image.data)[i] / 255.0);
        sum += x;
        square += x * x;
    }
    double mean = sum / n, variance = square / n - mean * mean;
    double expected = light / well + pow(read / well, 2);
    cr_expect_float_eq(mean, light, 1e-4);
    cr_expect_float_eq(variance / expected, 1, 0.03, "%g", variance / expected);
    rg_image_free(&image);
    rg_synth_view_free(&v);
    rg_synth_sensor_free(sensor);
}

Test(synth, the_same_seed_gives_the_same_picture)
{
    rg_synth_view v = even_view(0.1f);
    rg_synth_sensor *sensor;
    rg_image a, b, c;
    cr_assert_eq(rg_synth_sensor_new(&sensor, 10000, 8, NULL), RG_OK);
    rg_synth_expose(sensor, &v, 1, 41, &a, NULL);
    rg_synth_expose(sensor, &v, 1, 41, &b, NULL);
    rg_synth_expose(sensor, &v, 1, 42, &c, NULL);
    cr_expect_eq(memcmp(a.data, b.data, 3 * 65536), 0);
    int same = 0;
    for (int i = 0; i < 3 * 65536; i++)
        same += ((uint8_t *)a.data)[i] == ((uint8_t *)c.data)[i];
    cr_expect_lt(same, 3 * 65536 / 3, "%d samples alike", same);
    rg_image_free(&a);
    rg_image_free(&b);
    rg_image_free(&c);
    rg_synth_view_free(&v);
    rg_synth_sensor_free(sensor);
}

Test(synth, glare_moves_light_without_making_any)
{
    rg_synth_scene s;
    rg_synth_scene_default(&s);
    rg_pose camera = rg_synth_camera(90, 0, 110, 0, 0);
    rg_synth_view plain = render(&s, &rim_lens, &camera, 0.8), hazy;
    cr_assert_eq(rg_synth_render(&s, &rim_lens, &camera, 0.8, 0.1, &hazy, NULL), RG_OK);
    double sum[2] = {0};
    for (int i = 0; i < 3 * 200 * 64; i++) {
        sum[0] += (double)plain.light[i];
        sum[1] += (double)hazy.light[i];
    }
    cr_expect_float_eq(sum[1] / sum[0], 1, 1e-4);
    float least[2] = {1, 1};
    for (int i = 0; i < 200 * 64; i++) {
        least[0] = fminf(least[0], plain.light[i]);
        least[1] = fminf(least[1], hazy.light[i]);
    }
    cr_expect_gt(least[1], 1.7f * least[0], "%g %g", (double)least[0], (double)least[1]);
    rg_synth_view_free(&plain);
    rg_synth_view_free(&hazy);
}

Test(synth, the_jpeg_holds_the_picture)
{
    rg_synth_view v = even_view(0.2158605f);
    rg_synth_sensor *sensor;
    rg_image image, back;
    uint8_t *bytes;
    size_t size;
    cr_assert_eq(rg_synth_sensor_new(&sensor, 0, 0, NULL), RG_OK);
    cr_assert_eq(rg_synth_expose(sensor, &v, 1, 1, &image, NULL), RG_OK);
    cr_assert_eq(rg_synth_jpeg(&image, 92, &bytes, &size, NULL), RG_OK);
    cr_assert_eq(rg_decode(bytes, size, &back, NULL), RG_OK);
    cr_expect_eq(back.width, 256);
    cr_expect_eq(back.full_height, 256);
    cr_expect_eq(back.warnings, 0);
    for (int i = 0; i < 3 * 65536; i += 997)
        cr_expect(abs(((uint8_t *)back.data)[i] - 128) <= 1);
    free(bytes);
    rg_image_free(&image);
    rg_image_free(&back);
    rg_synth_view_free(&v);
    rg_synth_sensor_free(sensor);
}

/* ------------------------------------------------------------------ bands */

static rg_synth_view in_bands(const rg_synth_eye *eye, const rg_synth_scene *scene,
                              const rg_pose *camera, int bands)
{
    rg_synth_drawing *drawing;
    rg_synth_view view;
    rg_error err = {0};
    cr_assert_eq(rg_synth_begin(scene, eye, camera, 0.7, 0.02, bands, &drawing, &err), RG_OK, "%s",
                 err.text);
    for (int i = bands - 1; i >= 0; i--) /* in any order */
        cr_assert_eq(rg_synth_band(drawing, i, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_synth_end(drawing, &view, &err), RG_OK, "%s", err.text);
    return view;
}

Test(synth, any_number_of_bands_gives_the_same_light_to_the_last_bit)
{
    static const int bands[] = {1, 2, 3, 7, 64};
    rg_lens lens = rim_lens;
    lens.width = 161; /* odd: the last column stands alone */
    rg_synth_scene s;
    rg_synth_eye *eye;
    rg_pose camera = rg_synth_camera(90, 0.3, 110, 0, 1);
    rg_synth_scene_default(&s);
    s.pad.creases = 1;
    s.pad.crease[0] = (rg_synth_crease){90, 40, 0.06};
    rg_synth_view whole;
    rg_error err = {0};
    cr_assert_eq(rg_synth_render(&s, &lens, &camera, 0.7, 0.02, &whole, &err), RG_OK);
    cr_assert_eq(rg_synth_eye_new(&eye, &lens, &err), RG_OK);
    for (size_t i = 0; i < sizeof bands / sizeof bands[0]; i++) {
        rg_synth_view v = in_bands(eye, &s, &camera, bands[i]);
        size_t bytes = 3 * (size_t)v.width * (size_t)v.height * sizeof *v.light;
        cr_expect_eq(memcmp(v.light, whole.light, bytes), 0, "%d bands", bands[i]);
        rg_synth_view_free(&v);
    }
    rg_synth_view_free(&whole);
    rg_synth_eye_free(eye);
}

/* --------------------------------------------------------------- refusals */

static void refused(const rg_synth_scene *s, const rg_lens *lens, double sigma, const char *names)
{
    rg_synth_view view;
    rg_error err = {0};
    rg_pose camera = rg_synth_camera(90, 0, 110, 0, 0);
    cr_expect_eq(rg_synth_render(s, lens, &camera, sigma, 0, &view, &err), RG_BAD_DATA, "%s",
                 names);
    cr_expect(strstr(err.text, names), "\"%s\" does not name %s", err.text, names);
    cr_expect_null(view.light);
}

Test(synth, impossible_scenes_are_refused_by_name)
{
    rg_synth_scene good, s;
    rg_synth_scene_default(&good);
    s = good, s.inner_mm = 11;
    refused(&s, &rim_lens, 0.8, "outer_mm");
    s = good, s.pad_mm = NAN;
    refused(&s, &rim_lens, 0.8, "pad_mm");
    s = good, s.crown = 97;
    refused(&s, &rim_lens, 0.8, "crown");
    s = good, s.land_reflectance = 1.5;
    refused(&s, &rim_lens, 0.8, "land_reflectance");
    s = good, s.land_shoulder = -0.1;
    refused(&s, &rim_lens, 0.8, "land_shoulder");
    s = good, s.lamp[1] = -1;
    refused(&s, &rim_lens, 0.8, "light");
    s = good, s.pad.creases = 9;
    refused(&s, &rim_lens, 0.8, "creases");
    s = good, s.pad.creases = 1, s.pad.crease[0].half_width_deg = 0;
    refused(&s, &rim_lens, 0.8, "half_width_deg");
    s = good, s.streaks = 1;
    refused(&s, &rim_lens, 0.8, "width_deg");
    refused(&good, &rim_lens, 0.1, "blur");
    rg_lens lens = rim_lens;
    lens.width = 20000;
    refused(&good, &lens, 0.8, "20000");
    lens = rim_lens;
    lens.k1 = -5000;
    refused(&good, &lens, 0.8, "distortion");
    rg_synth_sensor *sensor;
    rg_error err = {0};
    cr_expect_eq(rg_synth_sensor_new(&sensor, 5, 1, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "full well"));
}

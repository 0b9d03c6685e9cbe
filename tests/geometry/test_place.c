/*
 * The camera's place from marks and from a jig's outlines.
 *
 * Outside values: projections are made here, by the pinhole equations written
 * out again (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed.
 * 2004, ch. 6), not by the module under test; tangent points by Euclid III.18
 * (a tangent is perpendicular to the radius); true poses of the sample frames by
 * the renderer that made them (tests/data/place).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/place.h"
#include "support/load.h"
#include "support/scene.h"

static const rg_lens lens = {1280, 720, 3300, 3300, 639.5, 359.5, 0, 0, 0, 0, 0};
static const rg_rim rim = {18, 20, 23, 5};

#define OUTER 10.0

static rg_place_options marks_options(void)
{
    return (rg_place_options){.source = RG_PLACE_MARKS,
                              .bearing_u_deg = 0.2,
                              .click_u_px = 0.5,
                              .seat_tilt_deg = 0.5,
                              .cup_mm = 24,
                              .cup_edge_mm = 1.4,
                              .cup_edge_u_mm = 0.05};
}

static rg_place_options jig_options(void)
{
    rg_place_options o = marks_options();
    o.source = RG_PLACE_JIG;
    o.elevation_u_deg = 0.05;
    o.distance_mm = 110;
    o.outline_u_px = 0.5;
    return o;
}

/* A pinhole projection written out, with the lens' own distortion on top. */
static rg_vec2 seen(const rg_lens *l, const rg_pose *pose, double x, double y, double z)
{
    double c[3];
    const double t[3] = {pose->t.x, pose->t.y, pose->t.z};
    for (int i = 0; i < 3; i++)
        c[i] = pose->R.m[i][0] * x + pose->R.m[i][1] * y + pose->R.m[i][2] * z + t[i];
    return rg_lens_forward(l, (rg_vec2){c[0] / c[2], c[1] / c[2]});
}

static rg_vec2 rim_point(const rg_lens *l, const rg_pose *pose, double radius, double z,
                         double bearing)
{
    double b = bearing * RG_PI / 180;
    return seen(l, pose, radius * cos(b), -radius * sin(b), z);
}

static void add(rg_place_given *g, rg_mark_kind kind, rg_vec2 pixel)
{
    g->mark[g->marks++] = (rg_mark){kind, pixel};
}

/* Marks of the ends, of three points of the rim and, on demand, two of the cup. */
static rg_place_given mark(const rg_lens *l, const rg_place_view *v, bool cup)
{
    rg_pose pose = rg_place_pose(v);
    rg_place_given g = {.bearing_deg = v->bearing_deg, .elevation_deg = NAN};
    double flat = v->distance_mm * cos(v->elevation_deg * RG_PI / 180);
    double half = acos(OUTER / flat) * 180 / RG_PI; /* Euclid III.18, seen in plan */
    add(&g, RG_MARK_RIM_LEFT, rim_point(l, &pose, OUTER, 0, v->bearing_deg + half));
    add(&g, RG_MARK_RIM_RIGHT, rim_point(l, &pose, OUTER, 0, v->bearing_deg - half));
    for (int i = -1; i <= 1 && !cup; i++)
        add(&g, RG_MARK_RIM, rim_point(l, &pose, OUTER, 0, v->bearing_deg + 35 * i));
    for (int i = -1; i <= 1 && cup; i += 2)
        add(&g, RG_MARK_CUP, rim_point(l, &pose, 12, 1.4, v->bearing_deg + 25 * i));
    return g;
}

static void shake(rg_place_given *g, test_random *random, double sigma)
{
    for (int i = 0; i < g->marks; i++) {
        g->mark[i].pixel.x += sigma * test_normal(random);
        g->mark[i].pixel.y += sigma * test_normal(random);
    }
}

static rg_place locate(const rg_place_options *o, const rg_lens *l, const rg_place_given *g)
{
    rg_place place;
    rg_error err = {0};
    cr_assert_eq(rg_place_from_marks(o, l, &rim, g, &place, &err), RG_OK, "%s", err.text);
    return place;
}

/* ---------------------------------------------------------------- geometry */

Test(place, a_view_puts_the_camera_where_bearing_elevation_and_distance_say)
{
    rg_place_view v = {212, -7, 3, 95, {0.04, -0.02}};
    rg_pose p = rg_place_pose(&v);
    cr_expect(rg_mat3_is_rotation(p.R, 1e-12));
    rg_vec3 c = rg_pose_camera_centre(&p);
    double b = 212 * RG_PI / 180, e = -7 * RG_PI / 180;
    cr_expect_float_eq(c.x, 95 * cos(e) * cos(b), 1e-9);
    cr_expect_float_eq(c.y, -95 * cos(e) * sin(b), 1e-9);
    cr_expect_float_eq(c.z, 95 * sin(e), 1e-9);
    cr_expect_float_eq(p.t.x / p.t.z, 0.04, 1e-12);
    cr_expect_float_eq(p.t.y / p.t.z, -0.02, 1e-12);
    rg_place_view back = rg_place_view_of(&p);
    cr_expect_float_eq(back.bearing_deg, 212, 1e-9);
    cr_expect_float_eq(back.elevation_deg, -7, 1e-9);
    cr_expect_float_eq(back.roll_deg, 3, 1e-9);
    cr_expect_float_eq(back.distance_mm, 95, 1e-9);
}

Test(place, without_roll_the_axis_is_upright_and_a_positive_roll_turns_it_clockwise)
{
    rg_place_view v = {40, 1, 0, 110, {0, 0}};
    rg_pose p = rg_place_pose(&v);
    rg_vec2 low = seen(&lens, &p, 0, 0, 0), high = seen(&lens, &p, 0, 0, 3);
    cr_expect_float_eq(low.x, high.x, 1e-9);
    cr_expect_lt(high.y, low.y, "y grows downwards");
    v.roll_deg = 2;
    p = rg_place_pose(&v);
    high = seen(&lens, &p, 0, 0, 3);
    cr_expect_gt(high.x, low.x, "clockwise: the top goes right");
    cr_expect_float_eq(atan2(high.x - low.x, low.y - high.y), 2 * RG_PI / 180, 1e-9);
}

Test(place, bearings_grow_to_the_left_of_the_picture)
{
    /* Seen from outside above, bearings grow clockwise: before the camera to its left. */
    rg_place_view v = {90, 2, 0, 110, {0, 0}};
    rg_pose p = rg_place_pose(&v);
    cr_expect_lt(rim_point(&lens, &p, OUTER, 0, 110).x, rim_point(&lens, &p, OUTER, 0, 70).x);
}

Test(place, the_outline_is_where_the_ray_touches_the_cylinder_and_not_at_90_degrees)
{
    rg_place_view v = {75, 4, 1, 60, {0.01, 0.02}};
    rg_pose p = rg_place_pose(&v);
    rg_vec3 c = rg_pose_camera_centre(&p);
    for (int side = -1; side <= 1; side += 2) {
        rg_vec3 q;
        cr_assert(rg_place_outline(&p, OUTER, -2, side, &q));
        cr_expect_float_eq(hypot(q.x, q.y), OUTER, 1e-9);
        cr_expect_float_eq(q.x * (c.x - q.x) + q.y * (c.y - q.y), 0, 1e-9, "Euclid III.18");
        double off = fabs(rg_angle_between(rg_rim_bearing(q), 75));
        cr_expect_float_eq(off, acos(OUTER / hypot(c.x, c.y)) * 180 / RG_PI, 1e-9);
        cr_expect_lt(off, 81);
        rg_vec2 pixel = seen(&lens, &p, q.x, q.y, q.z), centre = seen(&lens, &p, 0, 0, -2);
        cr_expect_eq(pixel.x > centre.x, side > 0);
    }
    rg_vec3 q;
    cr_expect_not(rg_place_outline(&p, 61, 0, 1, &q), "the camera stands inside");
}

/* ---------------------------------------------------------------- fit */

static void expect_view(const rg_place *place, const rg_place_view *v, double tolerance)
{
    rg_place_view m = rg_place_view_of(&place->pose);
    cr_expect_eq(place->state, RG_POSE_OK, "%s", place->reason);
    cr_expect_float_eq(m.elevation_deg, v->elevation_deg, tolerance, "e %g: %g", v->elevation_deg,
                       m.elevation_deg);
    cr_expect_float_eq(m.roll_deg, v->roll_deg, tolerance);
    cr_expect_float_eq(m.distance_mm, v->distance_mm, 100 * tolerance);
    cr_expect_float_eq(m.aim.x, v->aim.x, tolerance);
    cr_expect_float_eq(m.aim.y, v->aim.y, tolerance);
    cr_expect_float_eq(m.bearing_deg, v->bearing_deg, 1e-9, "the bearing is what was stated");
    cr_expect(rg_mat3_is_rotation(place->pose.R, 1e-9));
}

Test(place, exact_marks_give_the_exact_place_also_edge_on)
{
    rg_place_options o = marks_options();
    static const double elevation[] = {-1, -0.3, 0, 0.2, 1, 6};
    for (int i = 0; i < 6; i++) {
        rg_place_view v = {30, elevation[i], -1.5, 108, {-0.01, 0.04}};
        rg_place_given g = mark(&lens, &v, false);
        rg_place place = locate(&o, &lens, &g);
        expect_view(&place, &v, 1e-6);
        cr_expect_lt(place.rms_px, 1e-6);
        g = mark(&lens, &v, true);
        place = locate(&o, &lens, &g);
        expect_view(&place, &v, 1e-6);
    }
}

Test(place, a_lens_that_distorts_and_a_near_camera_change_nothing)
{
    rg_lens bent = {1280, 720, 1500, 1490, 650, 350, -0.2, 0.1, 0.001, -0.002, 0};
    rg_place_options o = marks_options();
    rg_place_view v = {300, 0.5, 2, 52, {0.02, 0.06}};
    rg_place_given g = mark(&bent, &v, false);
    rg_place place = locate(&o, &bent, &g);
    expect_view(&place, &v, 1e-6);
}

/* Scatter of the places of 200 noisy sets of marks against what they claim. */
typedef struct scatter {
    double sum[6], square[6], claimed[6];
} scatter;

static void add_draw(scatter *s, const rg_place *place, const rg_pose *truth)
{
    rg_vec3 turn = rg_rodrigues_inverse(rg_mat3_mul(place->pose.R, rg_mat3_transpose(truth->R)));
    rg_vec3 shift = rg_vec3_sub(place->pose.t, truth->t);
    double d[6] = {turn.x, turn.y, turn.z, shift.x, shift.y, shift.z};
    for (int i = 0; i < 6; i++) {
        s->sum[i] += d[i];
        s->square[i] += d[i] * d[i];
        s->claimed[i] += place->covariance[i][i];
    }
}

enum { DRAWS = 200 };

/* Of 200 draws the standard deviation is known to 5 % (1 / sqrt(2 (n - 1))). */
static void expect_honest(const scatter *s, const char *what)
{
    static const char *const name[] = {"q1", "q2", "q3", "t1", "t2", "t3"};
    for (int i = 0; i < 6; i++) {
        double mean = s->sum[i] / DRAWS;
        double sd = sqrt(s->square[i] / DRAWS - mean * mean);
        double u = sqrt(s->claimed[i] / DRAWS);
        cr_expect(fabs(u / sd - 1) < 0.2, "%s, %s: scatter %g, stated %g", what, name[i], sd, u);
        cr_expect_lt(fabs(mean), 4 * sd / sqrt(DRAWS), "%s, %s: biased", what, name[i]);
    }
}

static scatter draw(const rg_place_options *o, const rg_place_view *v, bool cup, unsigned seed)
{
    scatter s = {{0}, {0}, {0}};
    test_random random = {seed};
    rg_pose truth = rg_place_pose(v);
    for (int k = 0; k < DRAWS; k++) {
        rg_place_given g = mark(&lens, v, cup);
        shake(&g, &random, o->click_u_px);
        g.bearing_deg += o->bearing_u_deg * test_normal(&random);
        if (o->source == RG_PLACE_JIG)
            g.elevation_deg = v->elevation_deg + o->elevation_u_deg * test_normal(&random);
        if (cup) {
            /* The edge stands elsewhere than stated: all its marks shift alike. */
            double u = hypot(o->cup_edge_u_mm, tan(o->seat_tilt_deg * RG_PI / 180) * 12);
            double px = u * test_normal(&random) * 3300 / (v->distance_mm - 12);
            g.mark[2].pixel.y -= px;
            g.mark[3].pixel.y -= px;
        }
        rg_place place = locate(o, &lens, &g);
        if (place.state == RG_POSE_REPROJECTION)
            k--; /* one in a thousand */
        else
            add_draw(&s, &place, &truth);
    }
    return s;
}

Test(place, stated_covariance_is_the_scatter_of_places_from_noisy_marks)
{
    rg_place_options o = marks_options();
    rg_place_view v = {140, 0.3, 1, 110, {0.005, 0.04}};
    scatter s = draw(&o, &v, false, 11);
    expect_honest(&s, "rim");
    v.elevation_deg = -0.8;
    s = draw(&o, &v, true, 12);
    expect_honest(&s, "cup");
}

Test(place, stated_covariance_is_the_scatter_with_a_jig_as_well)
{
    rg_place_options o = jig_options();
    rg_place_view v = {250, -0.4, -1, 110, {0.005, 0.04}};
    scatter s = draw(&o, &v, false, 13);
    expect_honest(&s, "jig");
}

Test(place, the_elevation_is_known_as_well_edge_on_as_the_edge_is_deep)
{
    /* Ends at depth about D, middle points nearer by r (cos 35 or 1, less r/D):
     * with unit weights the slope of height against depth, by the textbook formula of a
     * straight-line fit, u = u_y / sqrt(sum (x - mean)^2); u_y is u_px over px per mm. */
    rg_place_options o = marks_options();
    rg_place_view v = {0, 0, 0, 110, {0, 0.04}};
    rg_place_given g = mark(&lens, &v, false);
    rg_place place = locate(&o, &lens, &g);
    double c = cos(35 * RG_PI / 180), e = OUTER / 110;
    double x[5] = {OUTER * e, OUTER * e, OUTER * c, OUTER, OUTER * c}, mean = 0, sum = 0;
    for (int i = 0; i < 5; i++)
        mean += x[i] / 5;
    for (int i = 0; i < 5; i++)
        sum += (x[i] - mean) * (x[i] - mean);
    double u_y = 0.5 * 105 / 3300, u_b, u_e;
    rg_place_uncertainty(&place, &u_b, &u_e);
    cr_expect_float_eq(u_e, u_y / sqrt(sum) * 180 / RG_PI, 0.08 * u_e);
    cr_expect_float_eq(u_b, o.bearing_u_deg, 1e-3, "of the bearing only what was stated: %g", u_b);
}

Test(place, a_jig_keeps_a_well_stated_elevation_and_needs_only_the_ends)
{
    rg_place_options o = jig_options();
    rg_place_view v = {60, 0.4, 0.5, 109, {0, 0.04}};
    rg_place_given g = mark(&lens, &v, false);
    g.elevation_deg = 0.42;
    g.marks = 2;
    rg_place place = locate(&o, &lens, &g);
    rg_place_view m = rg_place_view_of(&place.pose);
    double u_b, u_e;
    cr_assert_eq(place.state, RG_POSE_OK, "%s", place.reason);
    cr_expect_float_eq(m.elevation_deg, 0.42, 1e-4, "nothing else tells it");
    rg_place_uncertainty(&place, &u_b, &u_e);
    cr_expect_float_eq(u_e, 0.05, 1e-3);
    cr_expect_float_eq(m.distance_mm, 109, 0.01);
}

Test(place, a_slope_is_as_uncertain_as_the_turn_towards_its_bearing)
{
    rg_place_view v = {90, 0, 0, 110, {0, 0}};
    rg_place place = {.pose = rg_place_pose(&v)};
    double u_b, u_e;
    place.covariance[0][0] = 1e-6; /* about the camera's x: nodding */
    cr_expect_float_eq(rg_place_slope_u(&place, 90), 1e-3, 1e-9);
    cr_expect_float_eq(rg_place_slope_u(&place, 150), 0.5e-3, 1e-9, "cos 60");
    cr_expect_float_eq(rg_place_slope_u(&place, 180), 0, 1e-9);
    rg_place_uncertainty(&place, &u_b, &u_e);
    cr_expect_float_eq(u_e, 1e-3 * 180 / RG_PI, 1e-6);
    cr_expect_float_eq(u_b, 0, 1e-6);
    place.covariance[0][0] = 0;
    place.covariance[2][2] = 1e-6; /* roll */
    cr_expect_float_eq(rg_place_slope_u(&place, 180), 1e-3, 1e-9);
    cr_expect_float_eq(rg_place_slope_u(&place, 90), 0, 1e-9);
}

/* ---------------------------------------------------------------- refusals */

Test(place, a_mark_that_is_off_by_twenty_pixels_is_refused)
{
    rg_place_options o = marks_options();
    rg_place_view v = {30, 0.3, 0, 110, {0, 0.04}};
    rg_place_given g = mark(&lens, &v, false);
    g.mark[3].pixel.y += 20;
    rg_place place = locate(&o, &lens, &g);
    cr_expect_eq(place.state, RG_POSE_REPROJECTION);
    cr_expect(strstr(place.reason, "contradict") && strstr(place.reason, "click"), "%s",
              place.reason);
}

Test(place, marks_that_do_not_hold_a_place_are_refused_with_a_remedy)
{
    rg_place_options o = marks_options();
    rg_place_view v = {30, 0.3, 0, 110, {0, 0.04}};
    rg_place_given g = mark(&lens, &v, false), few = g, swapped = g, same = g;
    few.marks = 2; /* the elevation is open */
    rg_place place = locate(&o, &lens, &few);
    cr_expect_eq(place.state, RG_POSE_UNDETERMINED);
    cr_expect(strstr(place.reason, "two or more points"), "%s", place.reason);
    swapped.mark[0].pixel = g.mark[1].pixel;
    swapped.mark[1].pixel = g.mark[0].pixel;
    place = locate(&o, &lens, &swapped);
    cr_expect_eq(place.state, RG_POSE_UNDETERMINED);
    cr_expect(strstr(place.reason, "left one first"), "%s", place.reason);
    same.mark[1].pixel = same.mark[0].pixel;
    place = locate(&o, &lens, &same);
    cr_expect_eq(place.state, RG_POSE_UNDETERMINED);
    /* All further points beside an end: no depth, no elevation. */
    for (int i = 2; i < 5; i++)
        g.mark[i].pixel = g.mark[0].pixel;
    place = locate(&o, &lens, &g);
    cr_expect_neq(place.state, RG_POSE_OK);
}

Test(place, options_out_of_range_are_named)
{
    rg_error err = {0};
    rg_place_options good = jig_options(), o;
    cr_expect_eq(rg_place_check(&good, &err), RG_OK);
    o = (rg_place_options){0};
    cr_expect_eq(rg_place_check(&o, &err), RG_OK, "the crown states nothing");
    o = good;
    o.elevation_u_deg = 0;
    cr_expect_eq(rg_place_check(&o, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "elevation_u_deg"), "%s", err.text);
    o = good;
    o.distance_mm = NAN;
    cr_expect_eq(rg_place_check(&o, &err), RG_BAD_DATA);
    o = marks_options();
    o.click_u_px = 0;
    cr_expect_eq(rg_place_check(&o, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "click_u_px"), "%s", err.text);
    o = marks_options();
    o.bearing_u_deg = -1;
    cr_expect_eq(rg_place_check(&o, &err), RG_BAD_DATA);
    o = marks_options();
    o.cup_edge_u_mm = 0;
    cr_expect_eq(rg_place_check(&o, &err), RG_BAD_DATA);
}

Test(place, a_crown_pose_is_taken_over_whole)
{
    rg_crown_pose crown = {.state = RG_POSE_WRONG_CROWN,
                           .rms_px = 0.1,
                           .edge_sigma_px = 0.7,
                           .white_light = 0.4,
                           .tags_seen = 3};
    rg_place place;
    strcpy(crown.reason, "another crown");
    crown.covariance[4][4] = 2;
    crown.pose.t.z = 99;
    rg_place_from_crown(&crown, &place);
    cr_expect_eq(place.source, RG_PLACE_CROWN);
    cr_expect_eq(place.state, RG_POSE_WRONG_CROWN);
    cr_expect_str_eq(place.reason, "another crown");
    cr_expect_eq(place.covariance[4][4], 2);
    cr_expect_eq(place.pose.t.z, 99);
    cr_expect(place.light_known && place.white_light == 0.4 && place.edge_sigma_px == 0.7);
    cr_expect_eq(place.crown.tags_seen, 3);
}

/* ---------------------------------------------------------------- sample frames */

typedef struct view_row {
    char file[96];
    double bearing, elevation;
    rg_pose pose;
} view_row;

static bool next_row(char **text, view_row *row)
{
    double *r = &row->pose.R.m[0][0];
    char *line = strtok_r(NULL, "\n", text);
    return line &&
           sscanf(line, "%95[^,],%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf",
                  row->file, &row->bearing, &row->elevation, r, r + 1, r + 2, r + 3, r + 4, r + 5,
                  r + 6, r + 7, r + 8, &row->pose.t.x, &row->pose.t.y, &row->pose.t.z) == 15;
}

static void find(const view_row *row, const rg_place_options *o, rg_place *place)
{
    char path[160];
    static const double unit[3] = {1, 0, 0};
    rg_linear linear;
    rg_error err = {0};
    snprintf(path, sizeof path, "samples/%s", row->file);
    rg_image rgb = test_decode_file(path), luma;
    cr_assert_eq(rg_image_new(&luma, rgb.width, rgb.full_height, 1, 8, &err), RG_OK);
    rg_image_luma(&rgb, luma.data);
    cr_assert_eq(rg_linear_new(&linear, 1, 8, unit, &err), RG_OK);
    rg_place_given g = {.bearing_deg = round(10 * row->bearing) / 10,
                        .elevation_deg = round(10 * row->elevation) / 10};
    cr_assert_eq(rg_place_locate(o, &lens, &rim, &luma, &linear, &g, false, place, &err), RG_OK,
                 "%s", err.text);
    rg_linear_free(&linear);
    rg_image_free(&luma);
    rg_image_free(&rgb);
}

/* 0.1 degree of rounding is +-0.05: 0.029 as a standard uncertainty. The pad's
 * lower edge, by which the height is found first, is rounded and tilted. */
static void expect_truth(const view_row *row, const rg_place *place)
{
    rg_place_view m = rg_place_view_of(&place->pose), t = rg_place_view_of(&row->pose);
    double scale = 3300 / t.distance_mm;
    cr_expect_lt(fabs(m.distance_mm / t.distance_mm - 1), 0.006, "%s: distance %.2f, true %.2f",
                 row->file, m.distance_mm, t.distance_mm);
    cr_expect_lt(fabs(m.roll_deg - t.roll_deg), 0.35, "%s: roll %.2f, true %.2f", row->file,
                 m.roll_deg, t.roll_deg);
    cr_expect_lt(fabs(m.aim.x - t.aim.x) * 3300, 1.6, "%s: %.2f px aside", row->file,
                 (m.aim.x - t.aim.x) * 3300);
    cr_expect_lt(fabs(m.aim.y - t.aim.y) * 3300 / scale, 0.2, "%s: %.3f mm too high", row->file,
                 (m.aim.y - t.aim.y) * 3300 / scale);
    cr_expect_lt(fabs(m.elevation_deg - t.elevation_deg), 0.06, "%s: elevation %.3f, true %.3f",
                 row->file, m.elevation_deg, t.elevation_deg);
    cr_expect(place->edge_sigma_px > 0.4 && place->edge_sigma_px < 1, "%s: blur %.2f", row->file,
              place->edge_sigma_px);
}

/* The frames have a crown, which is not looked at. Where the outlines are hidden
 * or have the background's brightness a frame is refused; a wrong place is never
 * given. */
Test(place, outlines_of_sample_frames_give_the_true_place_or_none)
{
    test_bytes b = test_load("tests/data/place/views.csv");
    char *text = malloc(b.size + 1), *at = NULL;
    memcpy(text, b.data, b.size);
    text[b.size] = 0;
    rg_place_options o = jig_options();
    o.elevation_u_deg = 0.03;
    view_row row;
    int rows = 0, found = 0;
    strtok_r(text, "\n", &at); /* the heading */
    while (next_row(&at, &row)) {
        rg_place place;
        find(&row, &o, &place);
        rows++;
        if (place.state != RG_POSE_OK) {
            cr_expect(strstr(place.reason, "mark the rim's ends") ||
                          strstr(place.reason, "psf_sigma_px"),
                      "%s: %s", row.file, place.reason);
            continue;
        }
        found++;
        expect_truth(&row, &place);
    }
    cr_expect_eq(rows, 70);
    cr_expect_geq(found, 39, "%d of %d frames", found, rows);
    free(text);
    free(b.data);
}

Test(place, a_picture_without_a_cup_gives_no_place)
{
    rg_image image;
    rg_linear linear;
    rg_error err = {0};
    static const double unit[3] = {1, 0, 0};
    test_random random = {5};
    rg_place_options o = jig_options();
    rg_place_given g = {.bearing_deg = 20, .elevation_deg = 0};
    rg_place place;
    cr_assert_eq(rg_image_new(&image, 1280, 720, 1, 8, &err), RG_OK);
    cr_assert_eq(rg_linear_new(&linear, 1, 8, unit, &err), RG_OK);
    for (size_t i = 0; i < 1280 * 720; i++)
        ((uint8_t *)image.data)[i] = (uint8_t)(100 + 60 * test_uniform(&random));
    cr_assert_eq(rg_place_locate(&o, &lens, &rim, &image, &linear, &g, true, &place, &err), RG_OK);
    cr_expect_eq(place.state, RG_POSE_NO_OUTLINE);
    memset(image.data, 0, 1280 * 720);
    cr_assert_eq(rg_place_locate(&o, &lens, &rim, &image, &linear, &g, true, &place, &err), RG_OK);
    cr_expect_eq(place.state, RG_POSE_NO_OUTLINE);
    rg_place_view v = {20, 0.1, 0, 110, {0, 0.04}};
    g = mark(&lens, &v, false);
    g.elevation_deg = 0.1;
    cr_assert_eq(rg_place_locate(&o, &lens, &rim, &image, &linear, &g, false, &place, &err), RG_OK);
    cr_expect_eq(place.state, RG_POSE_NO_BLUR, "marks in a black picture: no blur to be measured");
    cr_expect(strstr(place.reason, "psf_sigma_px"), "%s", place.reason);
    cr_assert_eq(rg_place_locate(&o, &lens, &rim, &image, &linear, &g, true, &place, &err), RG_OK);
    cr_expect_eq(place.state, RG_POSE_OK, "the station states it");
    rg_linear_free(&linear);
    rg_image_free(&image);
}

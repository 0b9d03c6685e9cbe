/*
 * Tests of anchor.h: strips whose rim is drawn where a camera that is placed
 * slightly wrongly would see it.
 *
 * Outside values: where a rim point appears on the unwrapped cylinder when the
 * camera is turned or shifted, by intersecting its ray with that cylinder here.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/anchor.h"
#include "support/scene.h"
#include "support/setup.h"

enum { COLUMNS = 480, ROWS = 134 };

#define OUTER 10.0

typedef struct drawn {
    rg_strip_column column[COLUMNS];
    float light[COLUMNS * ROWS];
    rg_strip strip;
} drawn;

/* Height at which the true rim point of a bearing lies on the cylinder as the
 * believed pose unwraps it. */
static double height_seen(const rg_pose *believed, const rg_pose *truth, double bearing)
{
    double b = bearing * RG_PI / 180;
    rg_vec3 x = rg_pose_apply(truth, rg_vec3_make(OUTER * cos(b), -OUTER * sin(b), 0));
    rg_vec3 c = rg_pose_camera_centre(believed);
    rg_vec3 d = rg_mat3_apply(rg_mat3_transpose(believed->R), x);
    double a = d.x * d.x + d.y * d.y, h = c.x * d.x + c.y * d.y;
    double q = c.x * c.x + c.y * c.y - OUTER * OUTER;
    return c.z + d.z * (-h - sqrt(h * h - a * q)) / a;
}

/* Bright chimney up to 0.085 mm below the rim, dark pad above. */
static drawn *draw(const rg_pose *believed, const rg_pose *truth, double bearing, double noise)
{
    drawn *d = calloc(1, sizeof *d);
    test_random random = {3};
    cr_assert_not_null(d);
    d->strip = (rg_strip){COLUMNS, ROWS, -0.8, 0.015, 0.25, d->column, d->light};
    for (int c = 0; c < COLUMNS; c++) {
        double b = bearing + 0.25 * (c - COLUMNS / 2);
        double edge = height_seen(believed, truth, b) - 0.085;
        d->column[c] = (rg_strip_column){.bearing_deg = rg_wrap_degrees(b), .inside = true};
        for (int r = 0; r < ROWS; r++) {
            double z = -0.8 + 0.015 * r;
            double up = 0.5 * (1 + erf((z - edge) / (0.034 * sqrt(2))));
            d->light[c * ROWS + r] =
                (float)(0.004 + 0.04 * (1 - up) + noise * test_normal(&random));
        }
    }
    return d;
}

static rg_rimline_options usual(void)
{
    rg_setup s;
    test_setup(&s);
    return s.options.rimline;
}

/* Loose about everything but what is said. */
static rg_place place_with(const rg_place_view *v, double u_turn, double u_shift)
{
    rg_place p = {.source = RG_PLACE_JIG, .pose = rg_place_pose(v)};
    for (int i = 0; i < 3; i++) {
        p.covariance[i][i] = u_turn * u_turn;
        p.covariance[i + 3][i + 3] = u_shift * u_shift;
    }
    return p;
}

static rg_anchor hold(const drawn *d, rg_place *place)
{
    rg_anchor a;
    rg_error err = {0};
    rg_rimline_options o = usual();
    cr_assert_eq(rg_anchor_frame(&d->strip, OUTER, 4, &o, place, &a, &err), RG_OK, "%s", err.text);
    return a;
}

Test(anchor, a_frame_that_is_too_low_is_lifted_to_its_rim)
{
    rg_place_view v = {70, 0.4, 1, 110, {0, 0.03}};
    rg_place place = place_with(&v, 1e-5, 0.2);
    rg_pose truth = rg_place_pose(&v);
    rg_vec3 up = rg_mat3_apply(truth.R, rg_vec3_make(0, 0, 0.15));
    truth.t = rg_vec3_add(truth.t, up);
    drawn *d = draw(&place.pose, &truth, 70, 0.001);
    rg_anchor a = hold(d, &place);
    cr_expect(a.held && a.needed);
    cr_expect_float_eq(a.height_mm, 0.15, 0.009, "half a row of the strip, and some");
    rg_vec3 off = rg_mat3_apply(rg_mat3_transpose(truth.R), rg_vec3_sub(place.pose.t, truth.t));
    cr_expect_float_eq(off.z, 0, 0.009, "off by %g mm", off.z);
    cr_expect_lt(sqrt(place.covariance[4][4]), 0.02, "and the height is known now");
    cr_expect_float_eq(sqrt(place.covariance[3][3]), 0.2, 0.01, "but not the place aside");
    cr_expect(rg_mat3_is_rotation(place.pose.R, 1e-9));
    free(d);
}

Test(anchor, roll_is_taken_from_the_slant_of_the_rim)
{
    rg_place_view v = {200, -0.3, 0, 110, {0, 0.03}}, w = v;
    rg_place place = place_with(&v, 0.01, 0.2);
    w.roll_deg = 0.3;
    rg_pose truth = rg_place_pose(&w);
    drawn *d = draw(&place.pose, &truth, 200, 0.001);
    cr_expect(hold(d, &place).held);
    cr_expect_float_eq(rg_place_view_of(&place.pose).roll_deg, 0.3, 0.03);
    free(d);
}

Test(anchor, an_elevation_that_is_stated_well_stays_and_one_that_is_not_follows_the_rim)
{
    rg_place_view v = {310, 0.1, 0, 110, {0, 0.03}}, w = v;
    w.elevation_deg = 0.7;
    rg_pose truth = rg_place_pose(&w);
    rg_place sure = place_with(&v, 0.0003, 0.2), open = place_with(&v, 0.05, 0.2);
    drawn *d = draw(&sure.pose, &truth, 310, 0.001);
    cr_expect(hold(d, &open).held);
    cr_expect_float_eq(rg_place_view_of(&open.pose).elevation_deg, 0.7, 0.1);
    double before, after, unused;
    rg_place_uncertainty(&sure, &unused, &before);
    hold(d, &sure);
    rg_place_uncertainty(&sure, &unused, &after);
    cr_expect_float_eq(rg_place_view_of(&sure.pose).elevation_deg, 0.1, 0.05);
    cr_expect_leq(after, before + 1e-9);
    free(d);
}

Test(anchor, a_frame_without_a_rim_keeps_its_place_and_says_so)
{
    rg_place_view v = {10, 0, 0, 110, {0, 0.03}};
    rg_place place = place_with(&v, 0.001, 0.2), before = place;
    drawn *d = draw(&place.pose, &place.pose, 10, 0);
    for (int i = 0; i < COLUMNS * ROWS; i++)
        d->light[i] = 0.02f;
    rg_anchor a = hold(d, &place);
    cr_expect_not(a.held);
    cr_expect(a.needed);
    cr_expect_eq(memcmp(&place, &before, sizeof place), 0);
    place = place_with(&v, 0.001, 0.01);
    cr_expect_not(hold(d, &place).needed, "marks know the height by themselves");
    free(d);
}

Test(anchor, more_columns_on_another_edge_do_not_outvote_a_place_that_is_known)
{
    rg_place_view v = {10, 0, 0, 110, {0, 0.03}};
    rg_place place = place_with(&v, 1e-5, 0.01);
    rg_pose higher = place.pose;
    higher.t = rg_vec3_add(higher.t, rg_mat3_apply(higher.R, rg_vec3_make(0, 0, 0.16)));
    drawn *d = draw(&place.pose, &place.pose, 10, 0.001);
    drawn *other = draw(&place.pose, &higher, 10, 0.001);
    /* Three fifths of the columns show the other edge. */
    for (int c = 0; c < COLUMNS; c++)
        if (c / 4 % 5 < 3)
            memcpy(d->light + c * ROWS, other->light + c * ROWS, ROWS * sizeof(float));
    rg_anchor a = hold(d, &place);
    cr_expect(a.held, "%d of %d", a.inliers, a.marks);
    cr_expect_float_eq(a.height_mm, 0, 0.009);
    free(d);
    free(other);
}

Test(anchor, an_edge_far_from_where_the_place_allows_is_not_believed)
{
    rg_place_view v = {10, 0, 0, 110, {0, 0.03}};
    rg_place place = place_with(&v, 1e-5, 0.01);
    rg_pose elsewhere = place.pose;
    rg_vec3 up = rg_mat3_apply(elsewhere.R, rg_vec3_make(0, 0, 0.3));
    elsewhere.t = rg_vec3_add(elsewhere.t, up);
    drawn *d = draw(&place.pose, &elsewhere, 10, 0.001);
    cr_expect_not(hold(d, &place).held, "0.3 mm off, known to 0.01 mm");
    free(d);
}

/*
 * The height of an open key on path-traced frames with truth: samples/truth-open/08-G.json, w_mm at
 * bearings 0, 90, 180 and 270. The renderer shares no code with this project.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/pipeline.h"
#include "support/load.h"
#include "support/setup.h"

#define OPEN "samples/PE-A-0147-open/08-G"
enum { FRAMES = 4 };

static rg_setup setup;
static rg_tag_finder *finder;
static rg_frame frame[FRAMES];
static rg_opening opening;
static int count;

static void begin(void)
{
    rg_error err = {0};
    test_setup(&setup);
    count = 0;
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, &err), RG_OK, "%s", err.text);
}

static void end(void)
{
    for (int i = 0; i < count; i++)
        rg_frame_free(&frame[i]);
    rg_tag_finder_free(finder);
}

static void add(int view)
{
    char path[128];
    snprintf(path, sizeof path, OPEN "/view_%02d.jpg", view);
    frame[count++] = test_take(&setup, finder, path, RG_FRAME_OPEN);
}

static void measure(void)
{
    rg_error err = {0};
    cr_assert_eq(rg_sweep_openings(&setup, frame, count, &opening, &err), RG_OK, "%s", err.text);
}

static void says(const char *text, const char *part)
{
    cr_expect_not_null(strstr(text, part), "\"%s\" lacks \"%s\"", text, part);
}

TestSuite(opening, .init = begin, .fini = end);

Test(opening, the_traced_key_is_measured_within_its_uncertainty)
{
    static const double truth[4] = {2.461188, 4.260472, 6.059756, 4.260472};
    for (int i = 0; i < 3; i++)
        add(i);
    measure();
    cr_assert(opening.measured, "%s", opening.reason);
    for (int i = 0; i < 4; i++) {
        double u, h = rg_opening_at(&opening, 90 * i, &u);
        cr_expect_float_eq(h, truth[i], 0.05, "bearing %d: %g", 90 * i, h);
        cr_expect_leq(fabs(h - truth[i]), 2 * u, "bearing %d: %g, u %g", 90 * i, h, u);
        cr_expect_lt(u, 0.05);
    }
    cr_expect_eq(opening.far_mm, rg_opening_at(&opening, 180, NULL));
    cr_expect_eq(opening.hinge_mm, rg_opening_at(&opening, 0, NULL));
    /* 6.059756 - 2.461188, towards the far edge. */
    cr_expect_float_eq(opening.tilt_mm, 3.598568, 0.05);
    cr_expect_lt(fabs(rg_angle_between(opening.tilt_bearing_deg, 180)), 1);
    cr_expect_lt(opening.rms_px, 0.5);
}

Test(opening, the_rim_is_where_the_renderer_put_it)
{
    /* The inverse of cup_pose_in_rim_frame: t = -R^T t_cup. */
    const double R[3][3] = {{0.984195608, 0, -0.17708474}, {0, 1, 0}, {0.17708474, 0, 0.984195608}};
    const double t[3] = {1.016814, 0, -4.193139};
    add(0);
    add(2);
    measure();
    const rg_pose *rim = &opening.rim_in_cup;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            cr_expect_float_eq(rim->R.m[i][k], R[i][k], 0.006, "R %d %d: %g", i, k, rim->R.m[i][k]);
    cr_expect_float_eq(rim->t.x, t[0], 0.05, "%g", rim->t.x);
    cr_expect_float_eq(rim->t.y, t[1], 0.05, "%g", rim->t.y);
    cr_expect_float_eq(rim->t.z, t[2], 0.05, "%g", rim->t.z);
    /* Bearing and elevation of view_02's camera. */
    cr_expect_float_eq(frame[1].bearing_deg, 262, 0.2);
    cr_expect_float_eq(frame[1].elevation_deg, 1, 0.3);
}

Test(opening, one_view_is_too_few_and_says_where_to_take_more)
{
    add(0);
    measure();
    cr_expect_not(opening.measured);
    cr_expect(isnan(rg_opening_at(&opening, 180, NULL)));
    says(opening.reason, "1 of 1 frames");
    says(opening.reason, "bearings 90, 180 and 270");
}

Test(opening, views_from_one_side_do_not_do)
{
    add(0);
    add(0);
    measure();
    cr_expect_not(opening.measured);
    says(opening.reason, "a quarter turn");
}

Test(opening, a_frame_without_a_readable_crown_is_left_out_with_its_reason)
{
    add(0);
    add(1); /* every tag is cut by the picture's edge */
    measure();
    cr_expect_not(opening.measured);
    cr_expect_not(frame[1].open.used);
    says(frame[1].open.reason, "no tag");
    cr_expect_eq(opening.frames_given, 2);
}

/* Everything below a row of the picture black. */
static void hide_rim(rg_frame *f, int from)
{
    uint8_t *code = f->luma.data;
    cr_assert_not_null(code);
    memset(code + (size_t)from * (size_t)f->luma.width, 20,
           (size_t)(f->luma.height - from) * (size_t)f->luma.width);
}

Test(opening, a_hidden_rim_is_never_measured)
{
    add(0);
    add(2);
    hide_rim(&frame[0], 480);
    hide_rim(&frame[1], 480);
    measure();
    cr_expect_not(opening.measured, "far %g", opening.far_mm);
    says(opening.reason, "take frames");
}

Test(opening, of_two_frames_that_disagree_neither_is_believed)
{
    add(0);
    add(2);
    hide_rim(&frame[1], 480);
    measure();
    cr_expect_not(opening.measured, "far %g", opening.far_mm);
    says(opening.reason, "1 of 2 frames");
}

Test(opening, a_key_that_moved_between_the_frames_is_noticed)
{
    add(0);
    add(2);
    /* As if the crown had stood 1 mm elsewhere in the second frame. */
    frame[1].pose.pose.t.y += 1;
    measure();
    cr_expect_not(opening.measured, "far %g", opening.far_mm);
    cr_expect(!frame[0].open.used || !frame[1].open.used);
}

Test(opening, without_open_frames_there_is_nothing)
{
    frame[count++] =
        test_take(&setup, finder, "samples/PE-A-0147/08-G/view_17.jpg", RG_FRAME_CLOSED);
    measure();
    cr_expect_eq(opening.frames_given, 0);
    cr_expect_not(opening.measured);
}

Test(opening, pictures_are_released_and_never_evidence_for_the_seal)
{
    add(0);
    cr_expect_not_null(frame[0].luma.data);
    cr_expect_not(frame[0].used);
    measure();
    cr_expect_null(frame[0].luma.data);
    cr_expect_not(frame[0].used);
}

Test(opening, the_parts_that_no_picture_shows_are_in_the_uncertainty)
{
    double u[3];
    for (int i = 0; i < 3; i++) {
        if (i > 0) {
            end();
            begin();
        }
        setup.options.opening.pad_u_mm = i == 1 ? 0.5 : 0.02;
        setup.options.opening.pad_tilt_u_deg = i == 2 ? 1 : 0.1;
        setup.options.opening.max_u_mm = 1;
        add(0);
        add(2);
        measure();
        u[i] = opening.u_far_mm;
    }
    cr_expect_float_eq(u[1] * u[1] - u[0] * u[0], 0.5 * 0.5 - 0.02 * 0.02, 1e-9);
    /* At the land's edge, 10 mm from the middle. */
    double lean = 10 * tan(rg_radians(1)), before = 10 * tan(rg_radians(0.1));
    cr_expect_float_eq(u[2] * u[2] - u[0] * u[0], lean * lean - before * before, 1e-9);
}

Test(opening, an_option_that_cannot_be_is_named)
{
    rg_error err = {0};
    add(0);
    setup.options.opening.min_share = 0;
    cr_expect_eq(rg_sweep_openings(&setup, frame, count, &opening, &err), RG_BAD_DATA);
    says(err.text, "min_share");
}

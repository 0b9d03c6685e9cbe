/*
 * Frames placed by a jig or by marks, up to the strip.
 *
 * Outside values: true poses of the sample frames by the renderer that made
 * them (tests/data/place/views.csv, samples/truth).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/pipeline.h"
#include "support/load.h"
#include "support/setup.h"

typedef struct bench {
    rg_setup setup;
    rg_tag_finder *finder;
} bench;

static bench begin(rg_place_source source)
{
    bench b;
    rg_error err = {0};
    test_setup(&b.setup);
    b.setup.place = (rg_place_options){.source = source,
                                       .bearing_u_deg = 0.03,
                                       .elevation_u_deg = 0.03,
                                       .distance_mm = 110,
                                       .outline_u_px = 0.5,
                                       .click_u_px = 0.5,
                                       .seat_tilt_deg = 0.5};
    cr_assert_eq(rg_setup_check(&b.setup, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_tag_finder_new(&b.finder, &b.setup.options.tags, &err), RG_OK);
    return b;
}

static rg_code take(const bench *b, const char *path, rg_frame_role role,
                    const rg_place_given *given, rg_frame *frame, rg_error *err)
{
    test_bytes bytes = test_load(path);
    rg_code code = rg_frame_take_placed(&b->setup, b->finder, bytes.data, bytes.size, role,
                                        role == RG_FRAME_WITNESS ? 0.2 : 1, given, frame, err);
    free(bytes.data);
    return code;
}

/* samples/truth/08-G.json, view_21: bearing 261.49, elevation -0.418. */
static const rg_place_given view_21 = {.bearing_deg = 261.5, .elevation_deg = -0.4};
#define VIEW_21 "samples/PE-A-0147/08-G/view_21.jpg"

/* How far from the true height a frame is held is the question that decides
 * whether frames agree; they must within inlier_mm, 0.03 mm. */
Test(frame_placed, a_jig_s_frame_is_held_at_its_rim)
{
    bench b = begin(RG_PLACE_JIG);
    rg_frame f;
    rg_error err = {0};
    cr_assert_eq(take(&b, VIEW_21, RG_FRAME_CLOSED, &view_21, &f, &err), RG_OK, "%s", err.text);
    cr_assert(f.used, "%s", f.reason);
    cr_expect_eq(f.pose.source, RG_PLACE_JIG);
    cr_expect_float_eq(f.bearing_deg, 261.49, 0.1);
    cr_expect_float_eq(f.elevation_deg, -0.418, 0.06);
    cr_expect_gt(f.strip.columns, 300);
    cr_expect_not(f.pose.light_known, "nothing in the picture has a known brightness");
    /* The rim's marks of the final strip lie in the plane z = 0. */
    rg_rim_mark mark[200];
    int n = rg_rim_marks(&f.strip, 0, 8, &b.setup.options.rimline, mark, 200), near = 0;
    for (int i = 0; i < n; i++)
        near += fabs(mark[i].height_mm) < 0.03;
    cr_expect(n > 40 && near > 0.8 * n, "%d of %d", near, n);
    rg_frame_free(&f);
    rg_tag_finder_free(b.finder);
}

Test(frame_placed, what_is_not_stated_of_a_frame_is_an_error)
{
    bench b = begin(RG_PLACE_JIG);
    rg_frame f;
    rg_error err = {0};
    rg_place_given half = view_21;
    cr_expect_eq(take(&b, VIEW_21, RG_FRAME_CLOSED, NULL, &f, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "bearing or elevation is not stated"), "%s", err.text);
    half.elevation_deg = NAN;
    cr_expect_eq(take(&b, VIEW_21, RG_FRAME_CLOSED, &half, &f, &err), RG_BAD_DATA);
    b.setup.place.elevation_u_deg = 0;
    cr_expect_eq(rg_setup_check(&b.setup, &err), RG_BAD_DATA);
    rg_tag_finder_free(b.finder);
}

/* The lamp is the same whoever says where the camera stands. Clicks: the true
 * rim ends of samples/truth/08-G.json's witness, as the renderer's pose projects
 * them (camera straight on, 113.8 mm away: tangents at asin(10 / 113.8)). */
Test(frame_placed, a_witness_gives_the_same_radiance_as_with_its_crown)
{
    bench jig = begin(RG_PLACE_JIG), crown = begin(RG_PLACE_CROWN);
    rg_frame a, c;
    rg_error err = {0};
    /* t = (0, 3.996153, 113.699796), elevation -0.5: a rim point at depth z lies at
     * y = 359.5 + 3300 (3.996153 - 0.043845 x) / z, x its distance behind the axis. */
    double half = 3300 * tan(asin(10 / 113.77)), z = 113.70 - 10 * 10 / 113.77;
    double y = 359.5 + 3300 * (3.996153 - 0.043845 * 10 * 10 / 113.77) / z;
    rg_place_given given = {
        .bearing_deg = 180,
        .elevation_deg = -0.5,
        .marks = 2,
        .mark = {{RG_MARK_RIM_LEFT, {639.5 - half, y}}, {RG_MARK_RIM_RIGHT, {639.5 + half, y}}}};
    const char *path = "samples/PE-A-0147/08-G/witness.jpg";
    cr_assert_eq(take(&jig, path, RG_FRAME_WITNESS, &given, &a, &err), RG_OK, "%s", err.text);
    cr_assert_eq(take(&crown, path, RG_FRAME_WITNESS, NULL, &c, &err), RG_OK, "%s", err.text);
    cr_assert(a.used && a.witness.lit, "%s", a.reason);
    cr_assert(c.used && c.witness.lit, "%s", c.reason);
    for (int k = 0; k < 3; k++)
        cr_expect_float_eq(a.witness.radiance[k], c.witness.radiance[k],
                           0.05 * c.witness.radiance[k]);
    cr_expect_float_eq(a.witness.share, 1, 0.05);
    rg_frame_free(&a);
    rg_frame_free(&c);
    rg_tag_finder_free(jig.finder);
    rg_tag_finder_free(crown.finder);
}

Test(frame_placed, without_a_crown_a_frame_is_too_dark_only_when_most_of_it_is)
{
    bench b = begin(RG_PLACE_JIG);
    rg_frame f;
    rg_error err = {0};
    b.setup.options.dark_light = 0.5;
    cr_assert_eq(take(&b, VIEW_21, RG_FRAME_CLOSED, &view_21, &f, &err), RG_OK);
    cr_expect(!f.used && strstr(f.reason, "too dark"), "%s", f.reason);
    rg_frame_free(&f);
    b.setup.options.dark_light = 0.01;
    b.setup.options.overexposed_light = 0.02;
    cr_assert_eq(take(&b, VIEW_21, RG_FRAME_CLOSED, &view_21, &f, &err), RG_OK);
    cr_expect(!f.used && strstr(f.reason, "overexposed"), "%s", f.reason);
    rg_frame_free(&f);
    rg_tag_finder_free(b.finder);
}

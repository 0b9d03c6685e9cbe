/*
 * Tests of witness.h on ray-cast pictures of a chimney whose lit part, colour
 * and area are known.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/witness.h"
#include "support/scene.h"
#include "support/setup.h"

typedef struct lamp {
    double low, high;   /* heights of the lit band, mm */
    double first, last; /* bearings, degrees */
    double light[3], dark;
} lamp;

static const lamp cracked = {-1.1, -0.3, 60, 120, {0.6, 0.45, 0.25}, 0.006};

static double shine(double bearing_deg, double z, int channel, const void *data)
{
    const lamp *l = data;
    bool in = z > l->low && z < l->high && bearing_deg > l->first && bearing_deg < l->last;
    return in ? l->light[channel] : l->dark;
}

static rg_witness measure(const lamp *l, int channels, double exposure)
{
    rg_setup s;
    int box[4];
    rg_witness w;
    rg_error err = {0};
    rg_pose pose = test_camera(90, 0.4, 110);
    test_setup(&s);
    rg_witness_options o = s.options.witness;
    o.slot_gain = 0.9;
    o.u_ln_radiance = 0.15;
    cr_assert_eq(rg_witness_extent(&s.lens, &pose, &s.rim, &o, box, &err), RG_OK, "%s", err.text);
    rg_plane plane = test_render(&s.lens, &pose, 10, box, channels, shine, l);
    cr_assert_eq(rg_witness_measure(&plane, &s.lens, &pose, &s.rim, exposure, &o, &w, &err), RG_OK,
                 "%s", err.text);
    rg_plane_free(&plane);
    return w;
}

Test(witness, radiance_is_the_light_over_the_exposure_channel_by_channel)
{
    rg_witness w = measure(&cracked, 3, 0.2);
    cr_assert(w.lit, "%s", w.reason);
    cr_assert_float_eq(w.radiance[0], 0.9 * 0.6 / 0.2, 0.01);
    cr_assert_float_eq(w.radiance[1], 0.9 * 0.45 / 0.2, 0.01);
    cr_assert_float_eq(w.radiance[2], 0.9 * 0.25 / 0.2, 0.01);
    cr_assert_not(w.clipped);
    cr_assert_float_eq(w.u_ln_radiance, 0.15, 1e-12);
    cr_assert_str_empty(w.reason);
}

Test(witness, lit_area_and_contrast_are_those_of_the_opening)
{
    rg_witness w = measure(&cracked, 3, 0.2);
    double area = 60 * RG_PI / 180 * 10 * 0.8;
    cr_assert_float_eq(w.area_mm2 / area, 1, 0.05, "%g mm2, drawn %g", w.area_mm2, area);
    cr_assert_float_eq(w.contrast, (0.6 + 0.45 + 0.25) / 3 / 0.006, 4, "%g", w.contrast);
}

Test(witness, a_grey_picture_gives_the_same_light_in_all_channels)
{
    rg_witness w = measure(&cracked, 1, 0.5);
    cr_assert(w.lit);
    for (int c = 0; c < 3; c++)
        cr_assert_float_eq(w.radiance[c], 0.9 * 0.6 / 0.5, 0.01);
}

Test(witness, a_lamp_that_is_off_proves_nothing_and_says_so)
{
    lamp off = cracked;
    for (int c = 0; c < 3; c++)
        off.light[c] = 0.01;
    rg_witness w = measure(&off, 3, 0.2);
    cr_assert_not(w.lit);
    cr_assert_not_null(strstr(w.reason, "switch the leak light on"), "%s", w.reason);
}

Test(witness, a_lit_room_without_a_gap_proves_nothing)
{
    lamp room = cracked;
    room.dark = 0.2;
    rg_witness w = measure(&room, 3, 0.2);
    cr_assert_not(w.lit);
    cr_assert_not_null(strstr(w.reason, "crack the pad open"), "%s", w.reason);
}

Test(witness, a_glint_is_too_small_to_prove_the_lamp)
{
    lamp glint = cracked;
    glint.first = 89.5, glint.last = 90.5;
    rg_witness w = measure(&glint, 3, 0.2);
    cr_assert_not(w.lit, "area %g contrast %g", w.area_mm2, w.contrast);
}

/* Bearings in view: a ray 45 degrees off the outward radius meets a cylinder of
 * radius 10 mm, seen from 110 mm, 41.3 degrees off its middle: 41.3 + atan(10
 * sin 41.3 / (110 - 10 cos 41.3)) = 45. */
static const double in_view = 2 * 41.3;

/* What the lamp draws on lacquered brass: narrow, and as high as the chimney. */
Test(witness, a_streak_down_the_chimney_proves_nothing)
{
    lamp streak = {-2, 0, 80, 100, {0.6, 0.45, 0.25}, 0.006};
    rg_witness w = measure(&streak, 3, 0.2);
    cr_assert_gt(w.area_mm2, 4);
    cr_assert_float_eq(w.share, 20 / in_view, 0.02, "%g", w.share);
    cr_assert_not(w.lit);
    cr_assert_not_null(strstr(w.reason, "over 24 % of the view"), "%s", w.reason);
}

/* Only the middle sliver of the rim lies inside the picture. */
static rg_witness measure_sliver(double band_mm)
{
    lamp thin = {-1 - band_mm, -1, 0, 180, {0.6, 0.45, 0.25}, 0.006};
    rg_setup s;
    int box[4];
    rg_witness w;
    rg_error err = {0};
    rg_pose pose = test_camera(90, 0.4, 110);
    test_setup(&s);
    const rg_witness_options *o = &s.options.witness;
    cr_assert_eq(rg_witness_extent(&s.lens, &pose, &s.rim, o, box, &err), RG_OK, "%s", err.text);
    box[0] += box[2] / 2 - 5, box[2] = 10;
    rg_plane plane = test_render(&s.lens, &pose, 10, box, 3, shine, &thin);
    cr_assert_eq(rg_witness_measure(&plane, &s.lens, &pose, &s.rim, 0.2, o, &w, &err), RG_OK, "%s",
                 err.text);
    rg_plane_free(&plane);
    return w;
}

Test(witness, a_sliver_of_the_rim_needs_lit_area_enough_as_well)
{
    rg_witness small = measure_sliver(0.2), large = measure_sliver(1);
    cr_assert_lt(small.area_mm2, 0.3, "%g", small.area_mm2);
    cr_assert_gt(small.contrast, 5);
    cr_assert_gt(small.share, 0.9);
    cr_assert_not(small.lit);
    cr_assert_not_null(strstr(small.reason, "lit area"), "%s", small.reason);
    cr_assert_gt(large.area_mm2, 0.3, "%g", large.area_mm2);
    cr_assert(large.lit, "%s", large.reason);
}

Test(witness, share_is_the_lit_part_of_the_bearings_in_view)
{
    rg_witness w = measure(&cracked, 3, 0.2);
    cr_assert_float_eq(w.share, 60 / in_view, 0.02, "%g", w.share);
}

Test(witness, a_clipped_witness_is_a_lower_bound)
{
    lamp hot = cracked;
    hot.light[0] = 1;
    rg_witness w = measure(&hot, 3, 0.2);
    cr_assert(w.lit);
    cr_assert(w.clipped);
}

Test(witness, an_exposure_that_cannot_be_is_refused)
{
    static const double bad[] = {0, -1, NAN};
    rg_setup s;
    float dot[3 * 4] = {0};
    rg_plane plane = {0, 0, 2, 2, 3, dot};
    rg_pose pose = test_camera(90, 0.4, 110);
    test_setup(&s);
    for (int k = 0; k < 3; k++) {
        rg_witness w;
        rg_error err = {0};
        cr_assert_eq(rg_witness_measure(&plane, &s.lens, &pose, &s.rim, bad[k], &s.options.witness,
                                        &w, &err),
                     RG_BAD_DATA);
        cr_assert_not_null(strstr(err.text, "exposure"));
        cr_assert_not(w.lit);
    }
}

Test(witness, a_picture_without_the_rim_is_refused)
{
    rg_setup s;
    float dot[3 * 4] = {0};
    rg_plane plane = {0, 0, 2, 2, 3, dot};
    rg_pose pose = test_camera(90, 0.4, 110);
    rg_witness w;
    rg_error err = {0};
    int box[4];
    test_setup(&s);
    cr_assert_eq(
        rg_witness_measure(&plane, &s.lens, &pose, &s.rim, 0.2, &s.options.witness, &w, &err),
        RG_BAD_DATA);
    cr_assert_not(w.lit);
    pose.t.x += 60;
    cr_assert_eq(rg_witness_extent(&s.lens, &pose, &s.rim, &s.options.witness, box, &err),
                 RG_BAD_DATA);
}

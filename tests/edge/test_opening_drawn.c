/*
 * Openings of drawn keys (synth.h), whose geometry is independent of the measurement: other heights,
 * tilts to the side, views from above and below. rg_synth_pad holds the truth: the pad's plane is
 * level + tilt cos(b - tilt_bearing) at the land's outer radius.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/pipeline.h"
#include "rimglow/synth.h"
#include "support/setup.h"

typedef struct drawn {
    double far, hinge, side;                /* mm; side: what bearing 90 has above the middle */
    double bearing[2], elevation[2], sigma; /* of the cameras; blur, px */
} drawn;

static rg_setup setup;
static rg_tag_finder *finder;
static rg_synth_sensor *sensor;

static rg_frame photograph(const drawn *d, int i)
{
    rg_synth_scene scene;
    rg_synth_view view;
    rg_image image;
    rg_frame frame;
    rg_error err = {0};
    uint8_t *bytes = NULL;
    size_t size = 0;
    double a = (d->hinge - d->far) / 2;
    rg_synth_scene_default(&scene);
    scene.key = true;
    scene.pad.level_mm = (d->far + d->hinge) / 2;
    scene.pad.tilt_mm = hypot(a, d->side);
    scene.pad.tilt_bearing_deg = rg_degrees(atan2(d->side, a));
    rg_pose camera =
        rg_synth_camera(d->bearing[i], d->elevation[i], 130, 6 + d->far / 3, i ? 1.5 : -1);
    cr_assert_eq(rg_synth_render(&scene, &setup.lens, &camera, d->sigma, 0.01, &view, &err), RG_OK,
                 "%s", err.text);
    cr_assert_eq(rg_synth_expose(sensor, &view, 0.25, 7 + (uint64_t)i, &image, &err), RG_OK);
    cr_assert_eq(rg_synth_jpeg(&image, 92, &bytes, &size, &err), RG_OK);
    cr_assert_eq(rg_frame_take(&setup, finder, bytes, size, RG_FRAME_OPEN, 0.25, &frame, &err),
                 RG_OK);
    free(bytes);
    rg_image_free(&image);
    rg_synth_view_free(&view);
    return frame;
}

static void is_measured(const drawn *d)
{
    rg_frame frame[2];
    rg_opening o;
    rg_error err = {0};
    test_setup(&setup);
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, &err), RG_OK);
    cr_assert_eq(rg_synth_sensor_new(&sensor, 12000, 4, &err), RG_OK);
    for (int i = 0; i < 2; i++)
        frame[i] = photograph(d, i);
    cr_assert_eq(rg_sweep_openings(&setup, frame, 2, &o, &err), RG_OK, "%s", err.text);
    cr_assert(o.measured, "%s / %s / %s", o.reason, frame[0].open.reason, frame[1].open.reason);
    double truth[4] = {d->hinge, (d->far + d->hinge) / 2 + d->side, d->far,
                       (d->far + d->hinge) / 2 - d->side};
    for (int i = 0; i < 4; i++) {
        double u, h = rg_opening_at(&o, 90 * i, &u);
        cr_expect_lt(fabs(h - truth[i]), 0.1, "bearing %d: %g, truth %g", 90 * i, h, truth[i]);
        cr_expect_leq(fabs(h - truth[i]), 2 * u, "bearing %d: %g, truth %g, u %g", 90 * i, h,
                      truth[i], u);
    }
    for (int i = 0; i < 2; i++)
        rg_frame_free(&frame[i]);
    rg_tag_finder_free(finder);
    rg_synth_sensor_free(sensor);
}

Test(opening_drawn, a_low_key_seen_from_above_and_below)
{
    is_measured(&(drawn){.far = 2.9,
                         .hinge = 1.2,
                         .side = -0.12,
                         .bearing = {95, 250},
                         .elevation = {1.4, -0.7},
                         .sigma = 0.65});
}

Test(opening_drawn, a_high_key_with_a_softer_lens)
{
    is_measured(&(drawn){.far = 7.4,
                         .hinge = 2.6,
                         .side = 0.1,
                         .bearing = {120, 265},
                         .elevation = {0.4, 1.2},
                         .sigma = 1.0});
}

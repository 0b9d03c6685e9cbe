/*
 * live_camera.c - a camera as a source of live frames (capture.h).
 *
 * A camera that was pulled out, or whose controls are no longer as they were locked (looked at once a second), is
 * closed at once and looked for again at each call, at most every half second. The exposure that was locked when it was first opened is what 1 means from then on, also for a camera
 * that came back.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

#include "live_private.h"
#include "rimglow/capture.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { LOOK_AGAIN_US = 500000, CHECK_US = 1000000, EXPOSURE_UNIT_US = 100 };

typedef struct camera {
    rg_source base;  /* first: a camera is a source */
    char path[128];  /* "": the first that has the size */
    rg_camera *open; /* owned; NULL while it is away */
    rg_camera_wish wish;
    long exposure;         /* of a closed frame, units of 100 us; 0: the camera does not say */
    double gain;           /* as it states it; 0: it does not */
    double relative;       /* wanted now */
    int64_t checked_us;    /* when its controls were last looked at */
    int64_t tried_us;      /* when it was last looked for */
    rg_source_counts past; /* of the times that it was open before */
    bool back;             /* to be told with the next frame */
} camera;

/* ---------------------------------------------------------------- exposure */

static long units(const camera *c, double relative)
{
    long wanted = lround((double)c->exposure * relative);
    return wanted > 1 ? wanted : 1;
}

static rg_code apply_exposure(camera *c, rg_error *err)
{
    const rg_camera_settings *locked = rg_camera_locked(c->open);
    if (!locked->has[RG_CAMERA_EXPOSURE] || c->exposure <= 0) {
        if (c->relative == 1)
            return RG_OK;
        return rg_fail(err, RG_NO_CAMERA,
                       "the camera's exposure cannot be set, and a witness frame needs a shorter "
                       "one; use a camera with manual exposure");
    }
    if (locked->value[RG_CAMERA_EXPOSURE] == units(c, c->relative))
        return RG_OK;
    return rg_camera_set(c->open, RG_CAMERA_EXPOSURE, units(c, c->relative), err);
}

/* What the camera really did, from the exposure that was read back. */
static double relative_of(const camera *c, const rg_shot *shot)
{
    bool known = shot->settings.has[RG_CAMERA_EXPOSURE] && c->exposure > 0 &&
                 shot->settings.value[RG_CAMERA_EXPOSURE] > 0;
    return known ? (double)shot->settings.value[RG_CAMERA_EXPOSURE] / (double)c->exposure
                 : c->relative;
}

/* ---------------------------------------------------------------- away and back */

static rg_code open_camera(camera *c, rg_error *err)
{
    c->tried_us = rg_live_clock_us();
    rg_code code = rg_camera_open(&c->wish, &c->open, err);
    if (code != RG_OK) {
        c->open = NULL;
        return code;
    }
    const rg_camera_settings *locked = rg_camera_locked(c->open);
    if (locked->has[RG_CAMERA_GAIN])
        c->gain = (double)locked->value[RG_CAMERA_GAIN];
    return apply_exposure(c, err);
}

static void add_counts(rg_source_counts *sum, const rg_camera *open)
{
    rg_camera_counts n = rg_camera_count(open);
    sum->given += n.good;
    sum->bad += n.bad;
    sum->missed += n.missed;
}

static void close_camera(camera *c)
{
    add_counts(&c->past, c->open);
    rg_camera_close(c->open);
    c->open = NULL;
}

/* The settings that the first frames had are what a camera that comes back is set to. */
static void remember_settings(camera *c)
{
    c->wish.settings = *rg_camera_locked(c->open);
    if (c->wish.settings.has[RG_CAMERA_EXPOSURE])
        c->exposure = c->wish.settings.value[RG_CAMERA_EXPOSURE];
}

static rg_source_state look_for_it(camera *c, int timeout_ms, rg_source_frame *frame, rg_error *err)
{
    rg_error why = {0};
    int64_t wait = c->tried_us + LOOK_AGAIN_US - rg_live_clock_us();
    if (wait > (int64_t)timeout_ms * 1000) {
        rg_live_sleep_us((int64_t)timeout_ms * 1000);
        return RG_SOURCE_AWAY;
    }
    rg_live_sleep_us(wait);
    if (open_camera(c, &why) == RG_OK) {
        c->back = true;
        return RG_SOURCE_WAIT;
    }
    if (c->open)
        close_camera(c);
    rg_copy_text(frame->note, sizeof frame->note, why.text);
    if (err)
        *err = why;
    return RG_SOURCE_AWAY;
}

/* ---------------------------------------------------------------- frames */

static void hand_out(camera *c, const rg_shot *shot, rg_source_frame *frame)
{
    frame->bytes = shot->bytes;
    frame->size = shot->size;
    frame->suffix = shot->suffix;
    frame->time_us = shot->time_us;
    frame->exposure = relative_of(c, shot);
    if (c->back)
        rg_copy_text(frame->note, sizeof frame->note, "the camera is back");
    c->back = false;
}

static rg_source_state gone(camera *c, const rg_error *why, rg_source_frame *frame, rg_error *err)
{
    close_camera(c);
    c->past.away++;
    c->tried_us = rg_live_clock_us();
    rg_copy_text(frame->note, sizeof frame->note, why->text);
    if (err)
        *err = *why;
    return RG_SOURCE_AWAY;
}

/* Once a second. */
static bool drifted(camera *c, rg_error *why)
{
    int64_t now = rg_live_clock_us();
    if (now - c->checked_us < CHECK_US)
        return false;
    c->checked_us = now;
    return rg_camera_check(c->open, why) != RG_OK;
}

static rg_source_state camera_next(rg_source *source, int timeout_ms, rg_source_frame *frame,
                                   rg_error *err)
{
    camera *c = (camera *)source;
    rg_shot shot;
    rg_error why = {0};
    if (!c->open)
        return look_for_it(c, timeout_ms, frame, err);
    if (drifted(c, &why))
        return gone(c, &why, frame, err);
    switch (rg_camera_next(c->open, timeout_ms, &shot, &why)) {
    case RG_SHOT_GOOD:
        hand_out(c, &shot, frame);
        return RG_SOURCE_FRAME;
    case RG_SHOT_NONE:
        return RG_SOURCE_WAIT;
    case RG_SHOT_BAD:
        rg_copy_text(frame->note, sizeof frame->note, why.text);
        return RG_SOURCE_WAIT;
    case RG_SHOT_GONE:
        break;
    }
    return gone(c, &why, frame, err);
}

static rg_code camera_expose(rg_source *source, double relative, rg_error *err)
{
    camera *c = (camera *)source;
    if (!(relative > 0 && relative <= 1))
        return rg_fail(err, RG_USAGE, "an exposure of %g times a closed frame's is not within 0..1",
                       relative);
    c->relative = relative;
    return c->open ? apply_exposure(c, err) : RG_OK;
}

static void camera_taken(const rg_source *source, rg_taken *taken)
{
    const camera *c = (const camera *)source;
    *taken = (rg_taken){.present = true,
                        .day = (int)(time(NULL) / 86400),
                        .gain = c->gain,
                        .exposure_s = (double)c->exposure * EXPOSURE_UNIT_US * 1e-6};
}

static void camera_count(const rg_source *source, rg_source_counts *counts)
{
    const camera *c = (const camera *)source;
    *counts = c->past;
    if (c->open)
        add_counts(counts, c->open);
}

static void camera_close(rg_source *source)
{
    camera *c = (camera *)source;
    if (c->open)
        close_camera(c);
    free(c);
}

rg_code rg_source_camera(const char *path, const rg_station *station, rg_source **source,
                         rg_error *err)
{
    *source = NULL;
    camera *c = rg_alloc(1, sizeof *c);
    if (!c)
        return rg_fail(err, RG_INTERNAL, "no memory for a camera");
    c->base = (rg_source){camera_next, camera_expose, camera_taken, camera_count, camera_close};
    c->relative = 1;
    if (path && !rg_copy_text(c->path, sizeof c->path, path)) {
        free(c);
        return rg_fail(err, RG_NO_CAMERA, "%.60s...: the path is too long", path);
    }
    c->wish = (rg_camera_wish){.path = path ? c->path : NULL,
                               .width = station->lens.width,
                               .height = station->lens.height};
    rg_code code = open_camera(c, err);
    if (code != RG_OK) {
        camera_close(&c->base);
        return code;
    }
    remember_settings(c);
    *source = &c->base;
    return RG_OK;
}

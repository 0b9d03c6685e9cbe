/*
 * live.c - one pad, live: begin, offer, look, end. The threads are in live_work.c, the rules in
 * live_keep.c, the folder in live_folder.c.
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include "rimglow/live.h"

#include <errno.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "live_private.h"
#include "rimglow/calib_file.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* A camera's time stamps farther back belong to another clock. */
enum { LATE_US = 5000000 };

int64_t rg_live_clock_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

void rg_live_sleep_us(int64_t us)
{
    struct timespec t = {.tv_sec = us / 1000000, .tv_nsec = us % 1000000 * 1000};
    if (us > 0)
        nanosleep(&t, NULL);
}

/* ---------------------------------------------------------------- begin */

static rg_code read_text(const char *path, uint8_t **text, size_t *size, rg_error *err)
{
    return rg_file_read(path, RG_CONFIG_MAX_BYTES, text, size, err);
}

static rg_code read_settings(rg_live *live, const rg_live_job *job, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("capture.ini", job->settings_file, "settings", &file, err);
    if (code == RG_OK)
        code = rg_capture_settings_parse(file.path, file.text, file.size, &live->settings, err);
    free(file.text);
    live->witness_exposure =
        job->witness_exposure > 0 ? job->witness_exposure : live->settings.witness_exposure;
    return code;
}

static rg_code no_such_pad(const rg_live_job *job, const rg_instrument *instrument, rg_error *err)
{
    char known[400] = "";
    size_t used = 0;
    for (int i = 0; i < instrument->pads && used < sizeof known - 1; i++) {
        int n = snprintf(known + used, sizeof known - used, "%s%s", i ? ", " : "",
                         instrument->pad[i].name);
        used += n > 0 ? (size_t)n : 0;
    }
    return rg_fail(err, RG_BAD_DATA, "%s has no [pad %s]; it has %s", job->instrument_file,
                   job->pad, known);
}

static rg_code read_instrument(rg_live *live, const rg_live_job *job, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    const char *path = job->instrument_file;
    rg_code code = read_text(path, &text, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &live->instrument, err);
    free(text);
    const rg_pad *pad = code == RG_OK ? rg_instrument_pad(&live->instrument, job->pad) : NULL;
    if (code == RG_OK && !pad)
        code = no_such_pad(job, &live->instrument, err);
    if (code == RG_OK && pad->crown.number < 0)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: [pad %s] has crown = none; a live sweep needs a crown: take pictures "
                       "with a jig or marks and inspect their folder",
                       path, pad->name);
    const char *key = job->key ? job->key : "";
    if (code == RG_OK && key[0] && !rg_instrument_pad(&live->instrument, key))
        code = rg_fail(err, RG_BAD_DATA, "%s has no [pad %.60s] whose key could be pressed", path,
                       key);
    if (code == RG_OK)
        live->sweep.crown_number = pad->crown.number;
    return code;
}

static rg_code read_station(rg_live *live, const rg_live_job *job, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    const char *path = job->station_file;
    rg_code code = read_text(path, &text, &size, err);
    if (code == RG_OK)
        code = rg_station_parse(path, (const char *)text, size, &live->station, err);
    if (code == RG_OK)
        code = rg_station_match(&live->station, "this sweep", &live->sweep.taken, err);
    free(text);
    return code;
}

/* sweep.ini names its files in full, so that the folder may be measured from anywhere. */
static rg_code whole_path(const char *path, char whole[], size_t size, rg_error *err)
{
    char *real = realpath(path, NULL);
    if (!real)
        return rg_fail(err, RG_NO_INPUT, "%s: %s; check its name", path, strerror(errno));
    bool fits = rg_copy_text(whole, size, real);
    free(real);
    return fits ? RG_OK
                : rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long; use a shorter one",
                          path);
}

static rg_code head_of_sweep(rg_live *live, const rg_live_job *job, rg_error *err)
{
    rg_sweep *s = &live->sweep;
    if (!rg_is_safe_name(job->serial) || !rg_is_safe_name(job->name))
        return rg_fail(err, RG_USAGE,
                       "serial \"%.60s\", name \"%.60s\": both name folders; use letters, digits, "
                       "- _ and . (not first)",
                       job->serial, job->name);
    if (!rg_copy_text(s->serial, sizeof s->serial, job->serial) ||
        !rg_copy_text(s->pad, sizeof s->pad, job->pad))
        return rg_fail(err, RG_USAGE, "serial or pad \"%.60s\" is too long", job->pad);
    s->finger = job->finger;
    s->finger_grams = job->finger_grams;
    rg_copy_text(s->key, sizeof s->key,
                 job->key && strcmp(job->key, job->pad) != 0 ? job->key : "");
    if (job->wedge)
        s->wedge = *job->wedge;
    s->taken = (rg_taken){.present = true, .day = (int)(time(NULL) / 86400)};
    if (job->taken)
        s->taken = *job->taken;
    s->frame = rg_alloc(RG_FRAMES_MAX, sizeof *s->frame);
    if (!s->frame)
        return rg_fail(err, RG_INTERNAL, "no memory for %d frames", RG_FRAMES_MAX);
    rg_code code =
        whole_path(job->instrument_file, s->instrument_path, sizeof s->instrument_path, err);
    return code == RG_OK
               ? whole_path(job->station_file, s->station_path, sizeof s->station_path, err)
               : code;
}

/* What cannot be said in a sweep.ini (a path with a comment sign, a line too long) is found now, not after
 * the first frame. */
static rg_code try_sweep_text(const rg_live *live, rg_error *err)
{
    rg_sweep_frame one = {.file = "view_000.jpg",
                          .exposure = 1,
                          .role = RG_ROLE_CLOSED,
                          .given = {.bearing_deg = NAN, .elevation_deg = NAN}};
    rg_sweep trial = live->sweep, again = {0};
    char *text;
    trial.frame = &one;
    trial.frames = 1;
    rg_code code = rg_sweep_text(&trial, &text, err);
    if (code != RG_OK)
        return code;
    code = rg_sweep_parse("sweep.ini", text, strlen(text), &again, err);
    free(text);
    if (code == RG_OK &&
        (strcmp(trial.instrument_path, again.instrument_path) != 0 ||
         strcmp(trial.station_path, again.station_path) != 0 || strcmp(trial.pad, again.pad) != 0))
        code = rg_fail(err, RG_BAD_DATA,
                       "a sweep.ini cannot name \"%.150s\" or \"%.150s\"; rename what has blanks "
                       "before ; or #",
                       trial.instrument_path, trial.station_path);
    rg_sweep_free(&again);
    return code;
}

/* As rg_inspection_open makes it of the folder. */
static rg_code make_setup(rg_live *live, rg_error *err)
{
    const rg_pad *pad = rg_instrument_pad(&live->instrument, live->sweep.pad);
    const rg_taken *t = &live->sweep.taken;
    bool stated = t->present && t->day >= 0;
    rg_config_setup(&live->station, pad, &live->setup);
    rg_station_light_fault(&live->station, stated ? t->day : (int)(time(NULL) / 86400), stated,
                           live->setup.light_fault);
    return rg_setup_check(&live->setup, err);
}

static rg_code make_locks(rg_live *live, rg_error *err)
{
    pthread_condattr_t attributes;
    bool lock = pthread_mutex_init(&live->lock, NULL) == 0;
    bool attr = lock && pthread_condattr_init(&attributes) == 0;
    bool made = attr && pthread_condattr_setclock(&attributes, CLOCK_MONOTONIC) == 0 &&
                pthread_cond_init(&live->changed, &attributes) == 0;
    if (attr)
        pthread_condattr_destroy(&attributes);
    if (lock && !made)
        pthread_mutex_destroy(&live->lock);
    live->locks_made = made;
    return made ? RG_OK : rg_fail(err, RG_INTERNAL, "no lock for the worker threads");
}

static void first_state(rg_live *live)
{
    rg_live_state *s = &live->state;
    rg_coverage_find(NULL, 0, NULL, &live->settings.coverage, &s->coverage);
    s->verdict = RG_VERDICT_UNDECIDED;
    s->guide = RG_GUIDE_LOST;
    s->bearing_deg = s->elevation_deg = NAN;
    s->widest_mm = s->U_widest_mm = s->widest_deg = NAN;
    live->map.verdict = RG_VERDICT_UNDECIDED;
    for (int b = 0; b < RG_BINS; b++)
        live->map.bin[b] = (rg_bin){.bearing_deg = b,
                                    .width_mm = NAN,
                                    .u_mm = NAN,
                                    .detection_limit_mm = INFINITY,
                                    .state = RG_BIN_UNSEEN};
    live->map.rim_outer_diameter_mm = live->setup.rim.outer_diameter_mm;
}

static rg_code begin(rg_live *live, const rg_live_job *job, rg_error *err)
{
    rg_code code = head_of_sweep(live, job, err);
    if (code == RG_OK)
        code = read_settings(live, job, err);
    if (code == RG_OK)
        code = read_instrument(live, job, err);
    if (code == RG_OK)
        code = read_station(live, job, err);
    if (code == RG_OK)
        code = make_setup(live, err);
    if (code == RG_OK)
        code = try_sweep_text(live, err);
    if (code == RG_OK)
        code = make_locks(live, err);
    if (code != RG_OK)
        return code;
    first_state(live);
    code = rg_live_folder_make(live, job, err);
    if (code == RG_OK)
        code = rg_live_start(live, rg_pool_workers(job->workers, RG_LIVE_WORKERS), err);
    return code;
}

rg_code rg_live_begin(const rg_live_job *job, rg_live **live, rg_error *err)
{
    *live = NULL;
    rg_live *made = rg_alloc(1, sizeof *made);
    if (!made)
        return rg_fail(err, RG_INTERNAL, "no memory for a live sweep");
    made->marker = -1;
    rg_code code = begin(made, job, err);
    if (code != RG_OK) {
        rg_live_free(made);
        return code;
    }
    *live = made;
    return RG_OK;
}

const char *rg_live_folder(const rg_live *live)
{
    return live->folder;
}

const rg_station *rg_live_station(const rg_live *live)
{
    return &live->station;
}

const rg_capture_settings *rg_live_settings(const rg_live *live)
{
    return &live->settings;
}

double rg_live_exposure(const rg_live *live, rg_role role)
{
    return role == RG_ROLE_WITNESS ? live->witness_exposure : 1;
}

/* ---------------------------------------------------------------- offering */

/* When the camera says it took the frame, as far as that can be. */
static int64_t arrival(const rg_source_frame *frame)
{
    int64_t now = rg_live_clock_us();
    return frame->time_us > now - LATE_US && frame->time_us < now ? frame->time_us : now;
}

static live_item *copy_frame(const rg_source_frame *frame, rg_role role, rg_error *err)
{
    live_item *item = rg_alloc(1, sizeof *item);
    if (item)
        item->bytes = rg_alloc(frame->size, 1);
    if (!item || !item->bytes) {
        free(item);
        rg_fail(err, RG_INTERNAL, "no memory for a frame of %zu bytes", frame->size);
        return NULL;
    }
    memcpy(item->bytes, frame->bytes, frame->size);
    item->size = frame->size;
    item->role = role;
    item->exposure = frame->exposure;
    item->source = frame->number;
    item->arrived_us = arrival(frame);
    rg_copy_text(item->suffix, sizeof item->suffix, frame->suffix);
    return item;
}

static rg_code check_frame(const rg_source_frame *frame, rg_error *err)
{
    if (frame->size == 0 || frame->size > RG_FILE_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA, "a frame of %zu bytes cannot be", frame->size);
    if (strcmp(frame->suffix, "jpg") != 0 && strcmp(frame->suffix, "png") != 0)
        return rg_fail(err, RG_BAD_DATA, "a frame of the kind \"%.20s\" is neither jpg nor png",
                       frame->suffix);
    if (!(frame->exposure >= 1e-6 && frame->exposure <= 1e6))
        return rg_fail(err, RG_BAD_DATA, "a frame's exposure %g is not within 1e-6..1e6",
                       frame->exposure);
    return RG_OK;
}

/* Lock held. */
static void skip_oldest(rg_live *live)
{
    rg_live_item_free(live->waiting[0]);
    memmove(live->waiting, live->waiting + 1, (size_t)--live->waits * sizeof live->waiting[0]);
    live->state.skipped++;
}

/* Lock held. */
static rg_code take_in(rg_live *live, live_item *item, rg_error *err)
{
    if (live->failure.code != RG_OK)
        return rg_fail(err, live->failure.code, "%s", live->failure.text);
    if (live->closing)
        return rg_fail(err, RG_INTERNAL, "the sweep is being ended; no frame can be added");
    item->number = (uint64_t)++live->state.offered;
    if (live->waits == live->settings.engine.waiting)
        skip_oldest(live);
    live->waiting[live->waits++] = item;
    pthread_cond_broadcast(&live->changed);
    return RG_OK;
}

rg_code rg_live_offer(rg_live *live, const rg_source_frame *frame, rg_role role, rg_error *err)
{
    rg_code code = check_frame(frame, err);
    live_item *item = code == RG_OK ? copy_frame(frame, role, err) : NULL;
    if (!item)
        return code == RG_OK ? RG_INTERNAL : code;
    pthread_mutex_lock(&live->lock);
    code = take_in(live, item, err);
    pthread_mutex_unlock(&live->lock);
    if (code != RG_OK)
        rg_live_item_free(item);
    return code;
}

/* ---------------------------------------------------------------- looking */

struct timespec rg_live_deadline(int64_t us)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    long ns = t.tv_nsec + (long)(us % 1000000) * 1000;
    t.tv_sec += (time_t)(us / 1000000 + ns / 1000000000L);
    t.tv_nsec = ns % 1000000000L;
    return t;
}

bool rg_live_ready(rg_live *live, int timeout_ms)
{
    struct timespec until = rg_live_deadline((int64_t)timeout_ms * 1000);
    pthread_mutex_lock(&live->lock);
    int most = live->settings.engine.waiting;
    while (live->waits >= most && live->failure.code == RG_OK &&
           pthread_cond_timedwait(&live->changed, &live->lock, &until) == 0)
        continue;
    bool ready = live->waits < most || live->failure.code != RG_OK;
    pthread_mutex_unlock(&live->lock);
    return ready;
}

void rg_live_look(rg_live *live, rg_live_state *state)
{
    pthread_mutex_lock(&live->lock);
    *state = live->state;
    pthread_mutex_unlock(&live->lock);
}

bool rg_live_wait(rg_live *live, uint64_t after, int timeout_ms, rg_live_state *state)
{
    struct timespec until = rg_live_deadline((int64_t)timeout_ms * 1000);
    pthread_mutex_lock(&live->lock);
    while (live->state.version <= after &&
           pthread_cond_timedwait(&live->changed, &live->lock, &until) == 0)
        continue;
    *state = live->state;
    pthread_mutex_unlock(&live->lock);
    return state->version > after;
}

void rg_live_map(rg_live *live, rg_seal_map *map)
{
    pthread_mutex_lock(&live->lock);
    *map = live->map;
    pthread_mutex_unlock(&live->lock);
}

bool rg_live_overlay_of(rg_live *live, rg_live_overlay *overlay)
{
    pthread_mutex_lock(&live->lock);
    bool there = live->overlay_there;
    *overlay = live->overlay;
    pthread_mutex_unlock(&live->lock);
    return there;
}

/* ---------------------------------------------------------------- the end */

/* Frames at work are committed, unless something failed. They are not measured: that is done from the disk. */
static rg_code settle(rg_live *live, rg_error *err)
{
    pthread_mutex_lock(&live->lock);
    live->closing = true;
    while (live->failure.code == RG_OK &&
           (live->waits || live->committed < live->taken || live->written < live->kept))
        pthread_cond_wait(&live->changed, &live->lock);
    rg_code code = live->failure.code == RG_OK
                       ? RG_OK
                       : rg_fail(err, live->failure.code, "%s", live->failure.text);
    pthread_mutex_unlock(&live->lock);
    rg_live_stop(live);
    return code;
}

/* The folder itself is what counts: it is read and measured as rimglow inspect would. */
static rg_code inspect(rg_live *live, rg_error *err)
{
    rg_coverage coverage;
    rg_inspection *in = &live->inspection;
    rg_code code = rg_inspection_open(in, live->folder, err);
    if (code != RG_OK)
        return code;
    live->inspected = true;
    code = rg_inspection_run(in, 0, NULL, err);
    if (code != RG_OK)
        return code;
    rg_coverage_find(in->frames, in->sweep.frames, &in->result.map, &live->settings.coverage,
                     &coverage);
    pthread_mutex_lock(&live->lock);
    rg_live_show_map(live, &in->result.map, &coverage);
    live->state.measured = live->kept;
    rg_live_changed(live);
    pthread_mutex_unlock(&live->lock);
    return RG_OK;
}

rg_code rg_live_end(rg_live *live, char *folder, rg_live_state *state, rg_error *err)
{
    folder[0] = '\0';
    rg_code failed = settle(live, err);
    bool sweep = live->state.closed > 0;
    rg_code code = rg_live_folder_close(live, sweep, failed == RG_OK ? err : NULL);
    failed = failed == RG_OK ? code : failed;
    if (sweep)
        rg_copy_text(folder, RG_PLACE_SIZE, live->folder);
    if (sweep && failed == RG_OK)
        failed = inspect(live, err);
    if (!sweep) {
        live->state.verdict = RG_VERDICT_UNDECIDED;
        live->state.decided = false;
    }
    rg_live_look(live, state);
    return failed;
}

const rg_inspection *rg_live_inspection(const rg_live *live)
{
    return live->inspected ? &live->inspection : NULL;
}

/* The workers of each sweep are new threads, and each has its own part of the heap: without this a day of
 * sweeps keeps what every one of them once needed. */
static void give_back(void)
{
#ifdef __GLIBC__
    malloc_trim(0);
#endif
}

void rg_live_free(rg_live *live)
{
    if (!live)
        return;
    rg_live_stop(live);
    /* Not ended: a folder with frames stays as it is, marked as cut off. */
    if (live->marker >= 0 && live->sweep.frames > 0)
        rg_live_folder_leave(live);
    else
        rg_live_folder_close(live, false, NULL);
    for (int i = 0; i < live->kept; i++) {
        rg_live_item_free(live->to_write[i]);
        rg_frame_free(live->frame[i]);
        free(live->frame[i]);
    }
    for (int i = 0; i < RG_LIVE_RING; i++)
        rg_live_item_free(live->ring[i]);
    for (int i = 0; i < live->waits; i++)
        rg_live_item_free(live->waiting[i]);
    if (live->inspected)
        rg_inspection_close(&live->inspection);
    if (live->locks_made) {
        pthread_cond_destroy(&live->changed);
        pthread_mutex_destroy(&live->lock);
    }
    rg_sweep_free(&live->sweep);
    rg_instrument_free(&live->instrument);
    free(live->result);
    free(live);
    give_back();
}

/*
 * live_source.c - where frames come from: what all sources share, and the recorded sweep that stands in for a
 * camera (the camera itself: live_camera.c).
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "live_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

rg_source_state rg_source_next(rg_source *source, int timeout_ms, rg_source_frame *frame,
                               rg_error *err)
{
    *frame = (rg_source_frame){.suffix = "", .exposure = 1, .role = RG_ROLE_CLOSED};
    rg_source_state state = source->next(source, timeout_ms, frame, err);
    rg_source_counts counts = {0};
    source->count(source, &counts);
    if (state == RG_SOURCE_FRAME)
        frame->number = counts.given;
    return state;
}

rg_code rg_source_expose(rg_source *source, double relative, rg_error *err)
{
    return source->expose(source, relative, err);
}

void rg_source_taken(const rg_source *source, rg_taken *taken)
{
    source->taken(source, taken);
}

void rg_source_count(const rg_source *source, rg_source_counts *counts)
{
    *counts = (rg_source_counts){0};
    source->count(source, counts);
}

void rg_source_close(rg_source *source)
{
    if (source)
        source->close(source);
}

/* ---------------------------------------------------------------- replay */

typedef struct replay {
    rg_source base; /* first: a replay is a source */
    char *folder;   /* owned */
    rg_sweep sweep;
    int at;
    bool loop;
    int64_t period_us, due_us; /* 0: as fast as they are asked for */
    uint8_t *bytes;            /* owned; of the frame handed out last */
    rg_source_counts counts;
} replay;

static rg_code read_sweep(replay *r, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_file_list list = {0};
    char *path = rg_path_join(r->folder, "sweep.ini");
    rg_code code = path ? rg_folder_list(r->folder, &list, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    if (code == RG_OK)
        code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_sweep_parse(path, (const char *)text, size, &r->sweep, err);
    if (code == RG_OK)
        code = rg_sweep_expand(path, &r->sweep, list.name, list.count, err);
    if (code == RG_OK && r->sweep.place.source != RG_PLACE_CROWN)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: [place] source = %s: a live sweep needs a crown on the cup; measure "
                       "this folder with rimglow inspect",
                       path, rg_place_name(r->sweep.place.source));
    rg_file_list_free(&list);
    free(text);
    free(path);
    return code;
}

/* True when the next frame is due; waits for it, at most timeout_ms. */
static bool wait_until_due(replay *r, int timeout_ms)
{
    int64_t now = rg_live_clock_us(), most = (int64_t)timeout_ms * 1000;
    if (r->period_us == 0)
        return true;
    if (r->due_us == 0)
        r->due_us = now;
    if (r->due_us - now > most) {
        rg_live_sleep_us(most);
        return false;
    }
    rg_live_sleep_us(r->due_us - now);
    /* Where the caller came late, the rate starts again from here. */
    now = rg_live_clock_us();
    r->due_us = (now - r->due_us > r->period_us ? now : r->due_us) + r->period_us;
    return true;
}

static rg_code read_frame(replay *r, rg_source_frame *frame, rg_error *err)
{
    const rg_sweep_frame *f = &r->sweep.frame[r->at++];
    char *path = rg_path_join(r->folder, f->file);
    free(r->bytes);
    r->bytes = NULL;
    rg_code code = path ? rg_file_read(path, RG_FILE_MAX_BYTES, &r->bytes, &frame->size, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    if (code != RG_OK)
        return code;
    frame->bytes = r->bytes;
    bool png = frame->size > 4 && memcmp(r->bytes, "\x89PNG", 4) == 0;
    frame->suffix = png ? "png" : "jpg";
    frame->time_us = rg_live_clock_us();
    frame->exposure = f->exposure;
    frame->role = f->role;
    return RG_OK;
}

static rg_source_state replay_next(rg_source *source, int timeout_ms, rg_source_frame *frame,
                                   rg_error *err)
{
    replay *r = (replay *)source;
    rg_error why = {0};
    if (r->at >= r->sweep.frames && r->loop)
        r->at = 0;
    if (r->at >= r->sweep.frames)
        return RG_SOURCE_END;
    if (!wait_until_due(r, timeout_ms))
        return RG_SOURCE_WAIT;
    if (read_frame(r, frame, &why) == RG_OK && frame->size > 0) {
        r->counts.given++;
        return RG_SOURCE_FRAME;
    }
    r->counts.bad++;
    /* As a camera's bad frame: it is named, and the next one comes. */
    rg_copy_text(frame->note, sizeof frame->note, why.text[0] ? why.text : "an empty frame");
    if (err)
        *err = why;
    return RG_SOURCE_WAIT;
}

static rg_code replay_expose(rg_source *source, double relative, rg_error *err)
{
    (void)source;
    (void)relative;
    (void)err;
    return RG_OK;
}

static void replay_taken(const rg_source *source, rg_taken *taken)
{
    *taken = ((const replay *)source)->sweep.taken;
}

static void replay_count(const rg_source *source, rg_source_counts *counts)
{
    *counts = ((const replay *)source)->counts;
}

static void replay_close(rg_source *source)
{
    replay *r = (replay *)source;
    rg_sweep_free(&r->sweep);
    free(r->bytes);
    free(r->folder);
    free(r);
}

rg_code rg_source_replay(const char *folder, double frames_per_second, bool loop,
                         rg_source **source, rg_error *err)
{
    *source = NULL;
    if (!(frames_per_second >= 0 && frames_per_second <= 1000))
        return rg_fail(err, RG_USAGE, "%g frames a second: 0 to 1000 can be replayed",
                       frames_per_second);
    replay *r = rg_alloc(1, sizeof *r);
    char *own = rg_path_join(folder, "");
    if (!r || !own) {
        free(r);
        free(own);
        return rg_fail(err, RG_INTERNAL, "no memory for a replay");
    }
    own[strlen(folder)] = '\0';
    *r = (replay){.base = {replay_next, replay_expose, replay_taken, replay_count, replay_close},
                  .folder = own,
                  .loop = loop};
    r->period_us = frames_per_second > 0 ? (int64_t)(1e6 / frames_per_second) : 0;
    rg_code code = read_sweep(r, err);
    if (code != RG_OK) {
        replay_close(&r->base);
        return code;
    }
    *source = &r->base;
    return RG_OK;
}

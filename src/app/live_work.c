/*
 * live_work.c - the engine's threads.
 *
 * Workers take the oldest frame that waits (rg_frame_take_near) and put it into a ring at its sequence number; whoever completes
 * the next number in line commits it and all that follow. So frames are judged and kept in the order in which they
 * came, however long each took. Workers never run more than a ring ahead. A thread writes what is kept to the disk; a
 * frame counts for verdict and map when it is there. One further thread measures all kept
 * frames again when there are more, with pauses, so that it does not keep the workers from their frames.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "live_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

void rg_live_item_free(live_item *item)
{
    if (!item)
        return;
    rg_frame_free(&item->frame);
    free(item->bytes);
    free(item);
}

void rg_live_changed(rg_live *live)
{
    live->state.version++;
    pthread_cond_broadcast(&live->changed);
}

static void fail_lock_held(rg_live *live, const rg_error *err)
{
    if (live->failure.code == RG_OK)
        live->failure = *err;
}

void rg_live_wants(rg_live *live)
{
    live->state.want = live->state.decided ? RG_LIVE_DONE
                       : live->proven      ? RG_LIVE_CLOSED
                                           : RG_LIVE_WITNESS;
}

static rg_frame_role frame_role(rg_role role)
{
    static const rg_frame_role of[] = {[RG_ROLE_WITNESS] = RG_FRAME_WITNESS,
                                       [RG_ROLE_CLOSED] = RG_FRAME_CLOSED,
                                       [RG_ROLE_DARK] = RG_FRAME_DARK,
                                       [RG_ROLE_OPEN] = RG_FRAME_OPEN};
    return of[role];
}

/* ---------------------------------------------------------------- committing */

/* What the frame says of itself, whether it is kept or not. */
static void show_frame(rg_live *live, const live_item *item, const rg_frame *now, const char *why)
{
    rg_live_state *s = &live->state;
    s->posed = rg_frame_posed(now);
    s->bearing_deg = s->posed ? now->bearing_deg : NAN;
    s->elevation_deg = s->posed ? now->elevation_deg : NAN;
    s->guide = rg_coverage_guide(now, &s->coverage, &live->settings.coverage, s->guide_text);
    s->left_out += why[0] != '\0';
    if (why[0])
        rg_copy_text(s->last_reason, sizeof s->last_reason, why);
    if (item->drawn)
        live->overlay = item->overlay;
    live->overlay_there = item->drawn;
    s->latency_ms = (double)(rg_live_clock_us() - item->arrived_us) / 1000;
}

/* What a kept frame looks at counts before it is measured. Lock held. */
static void mark_visited(rg_live *live, const rg_frame *kept)
{
    rg_coverage one;
    rg_frame now = rg_frame_borrow(kept);
    now.elevation_deg = rg_live_elevation(&live->plane, &live->setup, kept);
    rg_coverage_find(&now, 1, NULL, &live->settings.coverage, &one);
    for (int s = 0; s < RG_COVER_SECTORS; s++)
        for (int l = 0; l < RG_COVER_LEVELS; l++)
            live->state.coverage.visited[s][l] |= one.visited[s][l];
}

/* The frame, now kept, changes hands; the item goes to the writer. */
static void adopt(rg_live *live, live_item *item, rg_frame *kept)
{
    rg_live_state *s = &live->state;
    *kept = item->frame;
    item->frame = (rg_frame){0};
    live->to_write[live->kept] = item;
    live->frame[live->kept++] = kept;
    live->proven = live->proven || (kept->role == RG_FRAME_WITNESS && kept->used);
    live->unproven += kept->role == RG_FRAME_WITNESS && !kept->used;
    s->kept = live->kept;
    s->witnesses += kept->role == RG_FRAME_WITNESS;
    s->closed += kept->role == RG_FRAME_CLOSED;
    s->darks += kept->role == RG_FRAME_DARK;
    s->coverage.witness = live->proven;
    mark_visited(live, kept);
}

/* Whether the frame is to be kept, by what is known now. */
static void judge(rg_live *live, const live_item *item, rg_frame *now, char why[240])
{
    pthread_mutex_lock(&live->lock);
    *now = rg_frame_borrow(&item->frame);
    now->elevation_deg = rg_live_elevation(&live->plane, &live->setup, &item->frame);
    rg_live_judge(live, now, item->exposure, why);
    pthread_mutex_unlock(&live->lock);
}

/* A frame that is to be kept is taken as rimglow inspect will take it, and judged by that. */
static rg_code take_in_full(rg_live *live, rg_tag_finder *finder, live_item *item, rg_error *err)
{
    if (!item->near)
        return RG_OK;
    item->near = false;
    rg_frame_free(&item->frame);
    return rg_frame_take(&live->setup, finder, item->bytes, item->size, frame_role(item->role),
                         item->exposure, &item->frame, err);
}

static rg_code judge_in_full(rg_live *live, rg_tag_finder *finder, live_item *item, rg_frame *now,
                             char why[240], rg_error *err)
{
    judge(live, item, now, why);
    if (why[0] || !item->near)
        return RG_OK;
    rg_code code = take_in_full(live, finder, item, err);
    if (code == RG_OK)
        judge(live, item, now, why);
    return code;
}

/* Without the lock; kept, frame, proven and unproven are changed by committers only. Takes the item. */
static rg_code commit(rg_live *live, rg_tag_finder *finder, live_item *item, rg_error *err)
{
    char why[240] = "";
    rg_frame now;
    rg_frame *kept = rg_alloc(1, sizeof *kept);
    rg_code code = kept ? item->code : RG_INTERNAL;
    if (!kept)
        rg_fail(err, code, "no memory for a frame");
    else if (code != RG_OK)
        rg_fail(err, code, "%s", item->err.text);
    else
        code = judge_in_full(live, finder, item, &now, why, err);
    bool keep = code == RG_OK && !why[0];
    pthread_mutex_lock(&live->lock);
    if (code == RG_OK)
        show_frame(live, item, &now, why);
    if (keep)
        adopt(live, item, kept);
    rg_live_wants(live);
    pthread_mutex_unlock(&live->lock);
    if (!keep) {
        free(kept);
        rg_live_item_free(item);
    }
    return code;
}

/* Lock held at entry and exit. */
static void commit_in_order(rg_live *live, rg_tag_finder *finder)
{
    if (live->committing)
        return;
    live->committing = true;
    live_item *item;
    while ((item = live->ring[live->committed % RG_LIVE_RING]) != NULL) {
        rg_error err = {0};
        live->ring[live->committed % RG_LIVE_RING] = NULL;
        pthread_mutex_unlock(&live->lock);
        rg_code code = commit(live, finder, item, &err);
        pthread_mutex_lock(&live->lock);
        if (code != RG_OK)
            fail_lock_held(live, &err);
        live->committed++;
        rg_live_changed(live);
    }
    live->committing = false;
}

/* ---------------------------------------------------------------- workers */

/* Lock held; NULL: the end. */
static live_item *next_item(rg_live *live, uint64_t *sequence)
{
    while (!live->stop && (!live->waits || live->taken - live->committed >= RG_LIVE_RING))
        pthread_cond_wait(&live->changed, &live->lock);
    if (live->stop)
        return NULL;
    live_item *item = live->waiting[0];
    memmove(live->waiting, live->waiting + 1, (size_t)--live->waits * sizeof live->waiting[0]);
    *sequence = live->taken++;
    pthread_cond_broadcast(&live->changed);
    return item;
}

/* Lock held. The newest pose is where the next frame's crown is looked for. */
static void note_pose(rg_live *live, const live_item *item)
{
    if (item->number < live->posed || item->code != RG_OK || !rg_frame_posed(&item->frame))
        return;
    live->posed = item->number;
    live->near = item->frame.pose.pose;
}

static void *work(void *argument)
{
    live_worker *w = argument;
    rg_live *live = w->live;
    uint64_t sequence;
    live_item *item;
    pthread_mutex_lock(&live->lock);
    while ((item = next_item(live, &sequence)) != NULL) {
        rg_pose near = live->near;
        item->near = live->posed > 0;
        pthread_mutex_unlock(&live->lock);
        item->code = rg_frame_take_near(&live->setup, w->finder, item->bytes, item->size,
                                        frame_role(item->role), item->exposure,
                                        item->near ? &near : NULL, &item->frame, &item->err);
        if (item->code == RG_OK)
            rg_live_draw(live, item);
        pthread_mutex_lock(&live->lock);
        note_pose(live, item);
        live->ring[sequence % RG_LIVE_RING] = item;
        commit_in_order(live, w->finder);
    }
    pthread_mutex_unlock(&live->lock);
    return NULL;
}

/* ---------------------------------------------------------------- writing */

/* Lock held. What could not be written was not kept. */
static void forget_unwritten(rg_live *live)
{
    rg_live_state *s = &live->state;
    for (int i = live->written; i < live->kept; i++) {
        s->witnesses -= live->frame[i]->role == RG_FRAME_WITNESS;
        s->closed -= live->frame[i]->role == RG_FRAME_CLOSED;
        s->darks -= live->frame[i]->role == RG_FRAME_DARK;
    }
    s->kept = live->written;
}

/* Lock held at entry and exit. All that were kept since are written together: a slow disk holds up no frame. */
static void write_kept(rg_live *live)
{
    live_item *item[RG_FRAMES_MAX];
    rg_error err = {0};
    int first = live->written, count = live->kept - first;
    memcpy(item, live->to_write + first, (size_t)count * sizeof *item);
    memset(live->to_write + first, 0, (size_t)count * sizeof *item);
    pthread_mutex_unlock(&live->lock);
    rg_code code = rg_live_folder_add(live, item, count, &err);
    for (int i = 0; i < count; i++)
        rg_live_item_free(item[i]);
    pthread_mutex_lock(&live->lock);
    if (code == RG_OK)
        live->written += count;
    else {
        fail_lock_held(live, &err);
        forget_unwritten(live);
    }
    rg_live_changed(live);
}

static void *write_down(void *argument)
{
    rg_live *live = argument;
    pthread_mutex_lock(&live->lock);
    for (;;) {
        while (!live->stop && (live->written == live->kept || live->failure.code != RG_OK))
            pthread_cond_wait(&live->changed, &live->lock);
        if (live->stop && (live->written == live->kept || live->failure.code != RG_OK))
            break;
        write_kept(live);
    }
    pthread_mutex_unlock(&live->lock);
    return NULL;
}

/* ---------------------------------------------------------------- measuring */

static void widest(rg_live_state *s, const rg_seal_map *map, double k)
{
    s->widest_mm = s->U_widest_mm = s->widest_deg = NAN;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        if (bin->state == RG_BIN_UNSEEN || !(bin->width_mm > 0) || s->widest_mm >= bin->width_mm)
            continue;
        s->widest_mm = bin->width_mm;
        s->U_widest_mm = k * bin->u_mm;
        s->widest_deg = bin->bearing_deg;
    }
}

void rg_live_show_map(rg_live *live, const rg_seal_map *map, const rg_coverage *coverage)
{
    rg_live_state *s = &live->state;
    live->map = *map;
    s->coverage = *coverage;
    s->coverage.witness = s->coverage.witness || live->proven;
    s->verdict = map->verdict;
    s->decided = map->verdict != RG_VERDICT_UNDECIDED;
    s->reasons = map->reasons;
    memcpy(s->reason, map->reason, sizeof s->reason);
    widest(s, map, live->setup.options.sealmap.coverage_factor);
    rg_live_wants(live);
}

/* Without the lock. frames[count]: borrowed from kept ones. */
static rg_code measure(rg_live *live, rg_frame *frames, int count, rg_error *err)
{
    rg_coverage coverage;
    int64_t start = rg_live_clock_us();
    rg_code code = rg_sweep_measure(&live->setup, frames, count, live->result, err);
    if (code != RG_OK)
        return code;
    rg_coverage_find(frames, count, &live->result->map, &live->settings.coverage, &coverage);
    pthread_mutex_lock(&live->lock);
    live->plane = live->result->plane;
    for (int i = 0; i < count; i++)
        live->useful[i] = frames[i].used;
    live->state.measure_ms = (double)(rg_live_clock_us() - start) / 1000;
    rg_live_show_map(live, &live->result->map, &coverage);
    for (int i = count; i < live->kept; i++)
        mark_visited(live, live->frame[i]);
    pthread_mutex_unlock(&live->lock);
    return RG_OK;
}

static rg_code measure_first(rg_live *live, rg_frame *const *kept, int count, rg_error *err)
{
    rg_frame *frames = rg_alloc((size_t)count, sizeof *frames);
    if (!frames)
        return rg_fail(err, RG_INTERNAL, "no memory for %d frames", count);
    for (int i = 0; i < count; i++)
        frames[i] = rg_frame_borrow(kept[i]);
    rg_code code = measure(live, frames, count, err);
    for (int i = 0; i < count; i++)
        rg_frame_return(&frames[i]);
    free(frames);
    return code;
}

/* Lock held. Frames come first: after a measurement the thread keeps still for some times as long as that took. */
static void keep_still(rg_live *live)
{
    struct timespec until = rg_live_deadline(
        (int64_t)(live->settings.engine.measure_pause * live->state.measure_ms * 1000));
    while (!live->stop && !live->closing &&
           pthread_cond_timedwait(&live->changed, &live->lock, &until) == 0)
        continue;
}

static void *measure_again(void *argument)
{
    rg_live *live = argument;
    rg_frame *kept[RG_FRAMES_MAX];
    pthread_mutex_lock(&live->lock);
    for (;;) {
        while (!live->stop && live->state.measured == live->written)
            pthread_cond_wait(&live->changed, &live->lock);
        if (live->stop)
            break;
        int count = live->written;
        memcpy(kept, live->frame, (size_t)count * sizeof kept[0]);
        pthread_mutex_unlock(&live->lock);
        rg_error err = {0};
        rg_code code = measure_first(live, kept, count, &err);
        pthread_mutex_lock(&live->lock);
        if (code != RG_OK)
            fail_lock_held(live, &err);
        live->state.measured = count;
        rg_live_changed(live);
        keep_still(live);
    }
    pthread_mutex_unlock(&live->lock);
    return NULL;
}

/* ---------------------------------------------------------------- start, stop */

static rg_code start_worker(rg_live *live, rg_error *err)
{
    live_worker *w = &live->worker[live->workers];
    w->live = live;
    rg_code code = rg_tag_finder_new(&w->finder, &live->setup.options.tags, err);
    if (code == RG_OK && pthread_create(&w->thread, NULL, work, w) != 0) {
        rg_tag_finder_free(w->finder);
        w->finder = NULL;
        return rg_fail(err, RG_INTERNAL, "no worker thread can be made; close other programs");
    }
    live->workers += code == RG_OK;
    return code;
}

rg_code rg_live_start(rg_live *live, int workers, rg_error *err)
{
    rg_code code = RG_OK;
    live->result = rg_alloc(1, sizeof *live->result);
    if (!live->result)
        return rg_fail(err, RG_INTERNAL, "no memory for the seal map");
    for (int i = 0; code == RG_OK && i < workers; i++)
        code = start_worker(live, err);
    if (code == RG_OK && pthread_create(&live->measurer, NULL, measure_again, live) != 0)
        code = rg_fail(err, RG_INTERNAL, "no measuring thread can be made; close other programs");
    live->measurer_runs = code == RG_OK;
    if (code == RG_OK && pthread_create(&live->writer, NULL, write_down, live) != 0)
        code = rg_fail(err, RG_INTERNAL, "no writing thread can be made; close other programs");
    live->writer_runs = code == RG_OK;
    return code;
}

void rg_live_stop(rg_live *live)
{
    if (!live->locks_made)
        return;
    pthread_mutex_lock(&live->lock);
    live->stop = live->closing = true;
    pthread_cond_broadcast(&live->changed);
    pthread_mutex_unlock(&live->lock);
    for (int i = 0; i < live->workers; i++) {
        pthread_join(live->worker[i].thread, NULL);
        rg_tag_finder_free(live->worker[i].finder);
    }
    live->workers = 0;
    if (live->writer_runs)
        pthread_join(live->writer, NULL);
    live->writer_runs = false;
    if (live->measurer_runs)
        pthread_join(live->measurer, NULL);
    live->measurer_runs = false;
}

/*
 * bench_lens.c - the lens, live: begin, pictures, wishes, end.
 */
#include "bench_lens.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "bench_lens_private.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

void rg_bench_lens_tell(rg_bench_lens *l)
{
    l->version++;
    pthread_cond_broadcast(&l->changed);
}

/* ---------------------------------------------------------------- begin */

/* OUT/lens-DATE, with -2, -3... where that one is there already. */
static rg_code name_folder(rg_bench_lens *l, rg_error *err)
{
    char date[RG_DATE_TEXT];
    struct stat st;
    rg_date_format((int)(time(NULL) / 86400), date);
    for (int i = 1; i < 1000; i++) {
        char number[8] = "";
        if (i > 1)
            snprintf(number, sizeof number, "-%d", i);
        int n = snprintf(l->folder, sizeof l->folder, "%s/lens-%s%s", l->out, date, number);
        if (n < 0 || n >= (int)sizeof l->folder - 64)
            return rg_fail(err, RG_CANT_CREATE, "%.60s...: the path is too long", l->out);
        if (stat(l->folder, &st) != 0)
            return RG_OK;
    }
    return rg_fail(err, RG_CANT_CREATE, "%s: there are too many of this day", l->folder);
}

static rg_code prepare(rg_bench_lens *l, const rg_bench_lens_options *o, rg_error *err)
{
    rg_lensjob job;
    const char *board = o->board_file && o->board_file[0] ? o->board_file : NULL;
    if (!rg_copy_text(l->board, sizeof l->board, board ? board : "") ||
        !rg_copy_text(l->out, sizeof l->out, o->out))
        return rg_fail(err, RG_USAGE, "%.60s...: the path is too long", board ? board : o->out);
    rg_code code = rg_lensjob_open(&job, board, err);
    l->config = job.config;
    rg_lensjob_close(&job);
    l->rough = o->rough;
    l->recorded = o->recorded;
    l->automatic = true;
    l->passed = l->shown = -1;
    l->shot = rg_alloc(LENS_SHOTS, sizeof *l->shot);
    if (code == RG_OK && !l->shot)
        code = rg_fail(err, RG_INTERNAL, "no memory for photographs");
    if (code == RG_OK)
        code = rg_tag_finder_new(&l->finder, &l->config.tags, err);
    return code == RG_OK ? name_folder(l, err) : code;
}

static rg_code start(rg_bench_lens *l, rg_error *err)
{
    l->looks = pthread_create(&l->looker, NULL, rg_bench_lens_look, l) == 0;
    l->fits = l->looks && pthread_create(&l->fitter, NULL, rg_bench_lens_fit, l) == 0;
    return l->fits ? RG_OK : rg_fail(err, RG_INTERNAL, "no thread to look for the board");
}

rg_code rg_bench_lens_open(const rg_bench_lens_options *options, rg_bench_lens **lens,
                           rg_error *err)
{
    rg_bench_lens *l = rg_alloc(1, sizeof *l);
    *lens = NULL;
    if (!l)
        return rg_fail(err, RG_INTERNAL, "no memory to calibrate the lens");
    pthread_mutex_init(&l->lock, NULL);
    pthread_cond_init(&l->changed, NULL);
    rg_code code = prepare(l, options, err);
    if (code == RG_OK)
        code = start(l, err);
    if (code != RG_OK) {
        rg_bench_lens_close(l);
        return code;
    }
    *lens = l;
    return RG_OK;
}

void rg_bench_lens_close(rg_bench_lens *l)
{
    if (!l)
        return;
    pthread_mutex_lock(&l->lock);
    l->stop = true;
    pthread_cond_broadcast(&l->changed);
    pthread_mutex_unlock(&l->lock);
    if (l->looks)
        pthread_join(l->looker, NULL);
    if (l->fits)
        pthread_join(l->fitter, NULL);
    rg_tag_finder_free(l->finder);
    rg_lensjob_close(&l->result);
    for (int i = 0; i < l->shots; i++) {
        rg_board_photo_free(&l->shot[i].photo);
        rg_views_free(&l->shot[i].view, 1);
    }
    free(l->shot);
    free(l->json);
    free(l->waiting.bytes);
    pthread_cond_destroy(&l->changed);
    pthread_mutex_destroy(&l->lock);
    free(l);
}

/* ---------------------------------------------------------------- pictures */

/* Where the looking thread is busy, the newest picture waits and an older one is forgotten. */
void rg_bench_lens_offer(rg_bench_lens *l, const rg_source_frame *frame, int photo)
{
    lens_picture p = {.size = frame->size, .time_us = frame->time_us, .photo = photo};
    p.bytes = rg_alloc(frame->size, 1);
    if (!p.bytes)
        return;
    memcpy(p.bytes, frame->bytes, frame->size);
    rg_copy_text(p.suffix, sizeof p.suffix, frame->suffix);
    pthread_mutex_lock(&l->lock);
    free(l->waiting.bytes);
    l->waiting = p;
    pthread_cond_broadcast(&l->changed);
    pthread_mutex_unlock(&l->lock);
}

bool rg_bench_lens_busy(rg_bench_lens *l)
{
    pthread_mutex_lock(&l->lock);
    bool busy = l->waiting.bytes || l->looking;
    pthread_mutex_unlock(&l->lock);
    return busy;
}

bool rg_bench_lens_passed(rg_bench_lens *l, int photo)
{
    pthread_mutex_lock(&l->lock);
    bool passed = photo >= 0 && l->passed == photo;
    pthread_mutex_unlock(&l->lock);
    return passed;
}

uint64_t rg_bench_lens_version(rg_bench_lens *l)
{
    pthread_mutex_lock(&l->lock);
    uint64_t version = l->version;
    pthread_mutex_unlock(&l->lock);
    return version;
}

/* ---------------------------------------------------------------- wishes */

void rg_bench_lens_take(rg_bench_lens *l)
{
    pthread_mutex_lock(&l->lock);
    l->asked = true;
    pthread_mutex_unlock(&l->lock);
}

void rg_bench_lens_automatic(rg_bench_lens *l, bool on)
{
    pthread_mutex_lock(&l->lock);
    l->automatic = on;
    rg_bench_lens_tell(l);
    pthread_mutex_unlock(&l->lock);
}

static rg_code set_aside(const rg_bench_lens *l, const lens_shot *s, rg_error *err)
{
    char aside[RG_INPUT_PATH + 64];
    snprintf(aside, sizeof aside, "%s/back", l->folder);
    rg_code code = rg_folder_make(aside, err);
    snprintf(aside, sizeof aside, "%s/back/%s", l->folder, s->name);
    if (code == RG_OK && rename(s->path, aside) != 0)
        code = rg_file_refusal(aside, errno, err);
    return code;
}

/* Lock held. */
static rg_code take_back(rg_bench_lens *l, rg_error *err)
{
    int last = l->shots - 1;
    while (last >= 0 && l->shot[last].back)
        last--;
    if (last < 0)
        return rg_fail(err, RG_USAGE, "no photograph has been taken yet");
    rg_code code = set_aside(l, &l->shot[last], err);
    if (code != RG_OK)
        return code;
    l->shot[last].back = true;
    l->taken++;
    snprintf(l->told, sizeof l->told, "%s does not count any more", l->shot[last].name);
    rg_bench_lens_tell(l);
    return RG_OK;
}

rg_code rg_bench_lens_back(rg_bench_lens *l, rg_error *err)
{
    pthread_mutex_lock(&l->lock);
    rg_code code = take_back(l, err);
    pthread_mutex_unlock(&l->lock);
    return code;
}

rg_code rg_bench_lens_write(rg_bench_lens *l, const char *station_file,
                            char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK], int *remarks,
                            rg_error *err)
{
    rg_station old;
    rg_code code = RG_OK;
    pthread_mutex_lock(&l->lock);
    if (!l->result.calibration.view || l->taken != l->fitted)
        code = rg_fail(err, RG_USAGE, "%s was not written: there is no result of %s yet",
                       station_file, l->shots ? "all photographs" : "any photograph");
    else
        code = rg_lensjob_station(&l->result, station_file, &old, err);
    if (code == RG_OK)
        *remarks = rg_lensjob_remarks(&l->result, station_file, &old, remark);
    pthread_mutex_unlock(&l->lock);
    return code;
}

/*
 * bench_light.c - the thread that ends a sweep over a feeler and fits it.
 */
#include "bench_light.h"

#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/memory.h"
#include "rimglow/text.h"

struct rg_bench_light {
    rg_live *sweep; /* owned; NULL once it has been ended */
    int workers;
    pthread_t thread;

    pthread_mutex_t lock; /* of done; the rest is the thread's until then */
    bool done;
    rg_code code;
    rg_error err;
    char folder[RG_PLACE_SIZE];
    rg_live_state ended; /* what came of the sweep */
    rg_lightjob job;
    bool opened;
    char *json;
    rg_bytes picture;
};

static rg_code end_sweep(rg_bench_light *l, rg_error *err)
{
    rg_code code = rg_live_end(l->sweep, l->folder, &l->ended, err);
    rg_live_free(l->sweep);
    l->sweep = NULL;
    if (code == RG_OK && !l->folder[0])
        return rg_fail(err, RG_USAGE, "no closed frame was kept: there is nothing to fit");
    return code;
}

/* What the command would do with the folder. */
static rg_code fit(rg_bench_light *l, rg_error *err)
{
    char out[RG_PLACE_SIZE + 16];
    rg_code code = end_sweep(l, err);
    if (code == RG_OK)
        code = rg_lightjob_open(&l->job, l->folder, err);
    l->opened = code == RG_OK;
    if (code == RG_OK)
        code = rg_lightjob_run(&l->job, l->workers, NULL, err);
    if (code == RG_OK)
        code = rg_lightjob_json(&l->job, &l->json, err);
    snprintf(out, sizeof out, "%s/result", l->folder);
    if (code == RG_OK)
        code = rg_lightjob_write(&l->job, out, l->json, err);
    if (code == RG_OK)
        code = rg_lightjob_draw(&l->job, RG_PICTURE_SVG, &l->picture, err);
    return code;
}

static void *run(void *argument)
{
    rg_bench_light *l = argument;
    rg_error err = {0};
    rg_code code = fit(l, &err);
    pthread_mutex_lock(&l->lock);
    l->code = code;
    l->err = err;
    l->done = true;
    pthread_mutex_unlock(&l->lock);
    return NULL;
}

rg_code rg_bench_light_start(rg_live *sweep, int workers, rg_bench_light **light, rg_error *err)
{
    rg_bench_light *l = rg_alloc(1, sizeof *l);
    *light = NULL;
    if (!l)
        return rg_fail(err, RG_INTERNAL, "no memory to calibrate the light");
    l->sweep = sweep;
    l->workers = workers;
    rg_copy_text(l->folder, sizeof l->folder, rg_live_folder(sweep));
    pthread_mutex_init(&l->lock, NULL);
    if (pthread_create(&l->thread, NULL, run, l) != 0) {
        pthread_mutex_destroy(&l->lock);
        free(l);
        return rg_fail(err, RG_INTERNAL, "no thread to fit; close other programs");
    }
    *light = l;
    return RG_OK;
}

void rg_bench_light_close(rg_bench_light *l, rg_live_state *sweep)
{
    if (!l)
        return;
    pthread_join(l->thread, NULL);
    *sweep = l->ended;
    if (l->opened)
        rg_lightjob_close(&l->job);
    pthread_mutex_destroy(&l->lock);
    free(l->picture.data);
    free(l->json);
    free(l);
}

void rg_bench_light_look(rg_bench_light *l, rg_bench_light_state *state)
{
    *state = (rg_bench_light_state){0};
    pthread_mutex_lock(&l->lock);
    bool done = l->done;
    pthread_mutex_unlock(&l->lock);
    if (!done)
        return;
    *state = (rg_bench_light_state){.done = true,
                                    .code = l->code,
                                    .err = l->err,
                                    .fault = l->job.fault,
                                    .json = l->code == RG_OK ? l->json : NULL,
                                    .folder = l->folder};
}

rg_code rg_bench_light_write(rg_bench_light *l, const char *station_file, rg_error *err)
{
    rg_bench_light_state state;
    rg_bench_light_look(l, &state);
    if (!state.json)
        return rg_fail(err, RG_USAGE, "%s was not written: there is no result", station_file);
    return rg_lightjob_station(&l->job, station_file, err);
}

rg_bytes rg_bench_light_picture(rg_bench_light *l)
{
    rg_bytes picture = l->picture;
    l->picture = (rg_bytes){0};
    return picture;
}

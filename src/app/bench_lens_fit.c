/*
 * bench_lens_fit.c - the thread that calibrates from the photographs that count, whenever they have changed.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_lens_private.h"
#include "rimglow/text.h"

/* What is fitted, without the lock: photographs never change once they are taken. */
typedef struct fit {
    rg_board_photo photo[LENS_SHOTS]; /* borrowed */
    const char *name[LENS_SHOTS];
    int index[LENS_SHOTS]; /* of the shot */
    int count;
} fit;

/* Lock held. */
static void gather(const rg_bench_lens *l, fit *f)
{
    f->count = 0;
    for (int i = 0; i < l->shots; i++)
        if (!l->shot[i].back) {
            f->photo[f->count] = l->shot[i].photo;
            f->name[f->count] = l->shot[i].name;
            f->index[f->count++] = i;
        }
}

static rg_code write_result(const rg_bench_lens *l, const rg_lensjob *job, rg_error *err)
{
    char folder[RG_INPUT_PATH + 16], date[32] = "";
    time_t now = time(NULL);
    struct tm utc;
    snprintf(folder, sizeof folder, "%s/result", l->folder);
    if (gmtime_r(&now, &utc))
        strftime(date, sizeof date, "%Y-%m-%d %H:%M UTC", &utc);
    return rg_lensjob_write(job, folder, true, date, err);
}

static rg_code calibrate(const rg_bench_lens *l, const fit *f, rg_lensjob *job, char **json,
                         rg_error *err)
{
    *job = (rg_lensjob){.config = l->config};
    *json = NULL;
    rg_code code = rg_lensjob_seen(job, f->photo, f->name, f->count, err);
    if (code == RG_OK)
        code = rg_lensjob_json(job, json, err);
    return code == RG_OK ? write_result(l, job, err) : code;
}

/* Lock held. What the result says of each photograph. */
static void mark_shots(rg_bench_lens *l, const fit *f)
{
    const rg_calibration *c = &l->result.calibration;
    for (int i = 0; i < f->count; i++) {
        lens_shot *s = &l->shot[f->index[i]];
        s->bad = false;
        s->rms_px = NAN;
        for (int k = 0; c->view && k < l->result.views; k++) {
            if (strcmp(l->result.view[k].name, s->name) != 0)
                continue;
            s->bad = !c->view[k].used;
            s->rms_px = c->view[k].rms_px;
            if (isfinite(s->rms_px))
                s->pose = c->view[k].pose;
        }
    }
}

static void settle(rg_bench_lens *l, const fit *f, rg_lensjob *job, char *json, const char *fault)
{
    rg_lensjob_close(&l->result);
    free(l->json);
    l->result = *job;
    l->json = json;
    l->result_of = json ? f->count : 0;
    rg_copy_text(l->fault, sizeof l->fault, fault);
    mark_shots(l, f);
}

/* Lock held at entry and exit. */
static void fit_once(rg_bench_lens *l, fit *f)
{
    uint64_t version = l->taken;
    rg_lensjob job = {0};
    char *json = NULL;
    rg_error err = {0};
    gather(l, f);
    l->fitting = true;
    rg_bench_lens_tell(l);
    pthread_mutex_unlock(&l->lock);
    /* Fewer are not worth an error: the rules ask for more anyway. */
    bool enough = f->count >= RG_CALIBRATION_VIEWS_MIN;
    if (enough && calibrate(l, f, &job, &json, &err) != RG_OK) {
        rg_lensjob_close(&job);
        free(json);
        json = NULL;
    }
    pthread_mutex_lock(&l->lock);
    settle(l, f, &job, json, err.text);
    l->fitted = version;
    l->fitting = false;
    rg_bench_lens_tell(l);
}

void *rg_bench_lens_fit(void *lens)
{
    rg_bench_lens *l = lens;
    fit *f = calloc(1, sizeof *f);
    pthread_mutex_lock(&l->lock);
    if (!f)
        rg_copy_text(l->fault, sizeof l->fault, "no memory to calibrate");
    while (f && !l->stop) {
        if (l->fitted != l->taken)
            fit_once(l, f);
        else
            pthread_cond_wait(&l->changed, &l->lock);
    }
    pthread_mutex_unlock(&l->lock);
    free(f);
    return NULL;
}

/*
 * lab_sweep.c - a whole rocking sweep of the lab's pad.
 */
#include <gsl/gsl_rng.h>
#include <stdlib.h>

#include "lab_private.h"
#include "rimglow/memory.h"
#include "rimglow/pool.h"

typedef struct round_trip {
    rg_lab *lab;
    rg_render_sweep face; /* under the finger */
    int shots, done;
    rg_lab_shot *shot; /* owned */
    const rg_lab_watch *watch;
    pthread_mutex_t lock; /* of done, cancelled and the watch */
    bool cancelled;
} round_trip;

static double spread(gsl_rng *random, double half_range)
{
    return half_range * (2 * gsl_rng_uniform(random) - 1);
}

/* Where the hand holds the camera: as rimglow render has it. */
static rg_lab_shot aim(round_trip *r, const rg_lab_case *c, gsl_rng *random, int bearing, int level)
{
    const rg_render_sweep *f = &r->face;
    rg_lab_case view = *c;
    view.bearing_deg = f->first_bearing_deg + 360.0 * bearing / f->bearings +
                       spread(random, f->bearing_spread_deg);
    view.elevation_deg = f->elevation_deg[level] + spread(random, f->elevation_spread_deg);
    view.distance_mm = f->distance_mm + spread(random, f->distance_spread_mm);
    view.roll_deg = spread(random, f->roll_spread_deg);
    return rg_lab_closed(r->lab, &view);
}

static rg_code plan(round_trip *r, const rg_lab_case *c, rg_error *err)
{
    const rg_render_sweep *f = &r->face;
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    r->shot = rg_alloc((size_t)f->bearings * (size_t)f->levels + 1, sizeof *r->shot);
    if (!random || !r->shot) {
        gsl_rng_free(random);
        return rg_fail(err, RG_INTERNAL, "no memory for a sweep");
    }
    gsl_rng_set(random, (unsigned long)(c->seed ^ c->seed >> 32));
    if (c->witness)
        r->shot[r->shots++] = rg_lab_cracked(r->lab, f, c->seed);
    for (int i = 0; i < f->bearings; i++)
        for (int k = 0; k < f->levels; k++)
            r->shot[r->shots++] = aim(r, c, random, i, k);
    gsl_rng_free(random);
    return RG_OK;
}

static bool go_on(round_trip *r, int more)
{
    pthread_mutex_lock(&r->lock);
    r->done += more;
    if (!r->cancelled && r->watch)
        r->cancelled = !r->watch->go_on(r->watch->context, r->done, r->shots);
    bool yes = !r->cancelled;
    pthread_mutex_unlock(&r->lock);
    return yes;
}

static rg_code take_one(void *context, int job, int worker, rg_error *err)
{
    round_trip *r = context;
    (void)worker;
    if (!go_on(r, 0))
        return RG_OK;
    rg_code code = rg_lab_shoot_alone(r->lab, &r->face, &r->shot[job], err);
    free(r->shot[job].jpeg);
    r->shot[job].jpeg = NULL;
    if (code == RG_OK)
        go_on(r, 1);
    return code;
}

static rg_code measure(round_trip *r, rg_lab_sweep *sweep, rg_error *err)
{
    rg_frame *frame = rg_alloc((size_t)r->shots, sizeof *frame);
    if (!frame)
        return rg_fail(err, RG_INTERNAL, "no memory for a sweep");
    for (int i = 0; i < r->shots; i++)
        frame[i] = r->shot[i].frame;
    rg_code code = rg_sweep_measure(&r->lab->setup, frame, r->shots, &sweep->result, err);
    for (int i = 0; i < r->shots; i++) {
        r->shot[i].frame = frame[i];
        sweep->frames += frame[i].role == RG_FRAME_CLOSED;
        sweep->used += frame[i].role == RG_FRAME_CLOSED && frame[i].used;
    }
    free(frame);
    return code;
}

rg_code rg_lab_sweep_round(rg_lab *lab, const rg_lab_case *c, const rg_lab_watch *watch,
                           rg_lab_sweep *sweep, rg_error *err)
{
    double start = rg_lab_now_ms();
    round_trip r = {.lab = lab, .face = rg_lab_pressed(lab, c), .watch = watch};
    pthread_mutex_init(&r.lock, NULL);
    *sweep = (rg_lab_sweep){0};
    rg_code code = plan(&r, c, err);
    int workers = rg_pool_workers(lab->workers, r.shots > 0 ? r.shots : 1);
    if (code == RG_OK)
        code = rg_pool_run(workers, r.shots, take_one, NULL, &r, err);
    sweep->cancelled = r.cancelled;
    if (code == RG_OK && !r.cancelled)
        code = measure(&r, sweep, err);
    if (code == RG_OK)
        rg_lab_widths(lab, c, sweep->true_mm);
    for (int i = 0; r.shot && i < r.shots; i++)
        rg_lab_shot_free(&r.shot[i]);
    free(r.shot);
    pthread_mutex_destroy(&r.lock);
    sweep->ms = rg_lab_now_ms() - start;
    return code;
}

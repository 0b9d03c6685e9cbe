/*
 * bench_aside.c - what takes long (measuring a sweep from the disk, archiving) while the camera goes on: its frames
 * are taken and shown, so that none is lost to a full queue of the driver and the picture never freezes.
 */
#include <pthread.h>

#include "bench_private.h"

typedef struct aside {
    rg_bench *bench;
    rg_code (*work)(void *, rg_error *);
    void *argument;
    rg_code code;
    rg_error err;
    bool done; /* under the bench's lock */
} aside;

static void *run(void *cls)
{
    aside *a = cls;
    a->code = a->work(a->argument, &a->err);
    pthread_mutex_lock(&a->bench->lock);
    a->done = true;
    pthread_cond_broadcast(&a->bench->wished);
    pthread_mutex_unlock(&a->bench->lock);
    return NULL;
}

static bool is_done(aside *a)
{
    pthread_mutex_lock(&a->bench->lock);
    bool done = a->done;
    pthread_mutex_unlock(&a->bench->lock);
    return done;
}

/* A recording waits, and without a source there is nothing to show. */
static void wait_for(aside *a)
{
    pthread_mutex_lock(&a->bench->lock);
    while (!a->done)
        pthread_cond_wait(&a->bench->wished, &a->bench->lock);
    pthread_mutex_unlock(&a->bench->lock);
}

rg_code rg_bench_aside(rg_bench *bench, rg_code (*work)(void *, rg_error *), void *argument,
                       rg_error *err)
{
    aside a = {.bench = bench, .work = work, .argument = argument};
    pthread_t thread;
    if (pthread_create(&thread, NULL, run, &a) != 0)
        return work(argument, err);
    while (bench->source && !bench->options.replays && !is_done(&a))
        rg_bench_show_next(bench);
    wait_for(&a);
    pthread_join(thread, NULL);
    if (a.code != RG_OK && err)
        *err = a.err;
    return a.code;
}

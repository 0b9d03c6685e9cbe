/*
 * pool.c - worker threads that take the next job from a counter.
 */
#include "rimglow/pool.h"

#include <pthread.h>
#include <stdbool.h>
#include <unistd.h>

enum { WORKERS_MAX = 64 };

typedef struct pool {
    pthread_mutex_t lock;
    rg_job *run;
    rg_job_done *done;
    void *context;
    int jobs, next, finished;
    rg_error first; /* code RG_OK while all is well */
} pool;

typedef struct worker {
    pool *pool;
    int index;
} worker;

static int take(pool *p)
{
    pthread_mutex_lock(&p->lock);
    int job = p->first.code == RG_OK && p->next < p->jobs ? p->next++ : -1;
    pthread_mutex_unlock(&p->lock);
    return job;
}

static void finish(pool *p, rg_code code, const rg_error *err)
{
    pthread_mutex_lock(&p->lock);
    p->finished++;
    if (code != RG_OK && p->first.code == RG_OK) {
        p->first = *err;
        p->first.code = code;
    }
    if (p->done)
        p->done(p->context, p->finished, p->jobs);
    pthread_mutex_unlock(&p->lock);
}

static void *work(void *argument)
{
    worker *w = argument;
    for (int job = take(w->pool); job >= 0; job = take(w->pool)) {
        rg_error err = {.code = RG_OK};
        rg_code code = w->pool->run(w->pool->context, job, w->index, &err);
        finish(w->pool, code, &err);
    }
    return NULL;
}

int rg_pool_workers(int wanted, int jobs)
{
    long online = sysconf(_SC_NPROCESSORS_ONLN);
    int n = wanted > 0 ? wanted : online > 0 ? (int)online : 1;
    n = n < jobs ? n : jobs;
    n = n < WORKERS_MAX ? n : WORKERS_MAX;
    /* cppcheck-suppress knownConditionTrueFalse ; the cores are not known here */
    return n > 1 ? n : 1;
}

rg_code rg_pool_run(int workers, int jobs, rg_job *run, rg_job_done *done, void *context,
                    rg_error *err)
{
    pool p = {.run = run, .done = done, .context = context, .jobs = jobs};
    worker w[WORKERS_MAX];
    pthread_t thread[WORKERS_MAX];
    int started = 0;
    if (workers > WORKERS_MAX)
        workers = WORKERS_MAX;
    if (pthread_mutex_init(&p.lock, NULL) != 0)
        return rg_fail(err, RG_INTERNAL, "no lock for the worker threads; close other programs");
    /* This thread is worker 0; a thread that cannot be made is not missed. */
    for (int i = 1; i < workers; i++) {
        w[i] = (worker){&p, i};
        if (pthread_create(&thread[started], NULL, work, &w[i]) != 0)
            break;
        started++;
    }
    w[0] = (worker){&p, 0};
    work(&w[0]);
    for (int i = 0; i < started; i++)
        pthread_join(thread[i], NULL);
    pthread_mutex_destroy(&p.lock);
    if (p.first.code != RG_OK && err)
        *err = p.first;
    return p.first.code;
}

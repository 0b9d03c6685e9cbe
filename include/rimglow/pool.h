/*
 * pool.h - the same function over many jobs on all cores.
 */
#ifndef RIMGLOW_POOL_H
#define RIMGLOW_POOL_H

#include "rimglow/status.h"

/* Called for job 0..jobs-1, each once; worker is 0..workers-1 and never runs
 * two jobs at a time. A result other than RG_OK stops the handing out of
 * further jobs. */
typedef rg_code rg_job(void *context, int job, int worker, rg_error *err);

/* Called after each finished job, one at a time, from any thread. */
typedef void rg_job_done(void *context, int done, int jobs);

/* Number of workers for `wanted` (0: one for each processor online), at most
 * 64 and at most `jobs`. */
int rg_pool_workers(int wanted, int jobs);

/* Runs all jobs and waits. With one worker no thread is made. The first
 * error's code and text are returned. done may be NULL. */
rg_code rg_pool_run(int workers, int jobs, rg_job *run, rg_job_done *done, void *context,
                    rg_error *err);

#endif

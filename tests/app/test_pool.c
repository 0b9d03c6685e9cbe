/*
 * Tests of pool.h. What threads do is counted with atomics, and where a test
 * needs jobs to run side by side it makes them wait for each other: no test
 * rests on luck or on time.
 */
#include <criterion/criterion.h>
#include <pthread.h>
#include <semaphore.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/pool.h"

enum { JOBS = 400, WORKERS = 4, WORKERS_MAX = 64 };

typedef struct record {
    atomic_int runs[JOBS], busy[WORKERS_MAX], total, misuse;
    int workers;
    int fails_at; /* -1: never */
    pthread_t caller;
    atomic_int elsewhere; /* jobs that did not run on the caller's thread */
    bool meets;           /* nobody ends a job before all workers have one */
    pthread_barrier_t barrier;
    sem_t first_is_told;
    int told, last_told; /* done callbacks, and what the last one said */
} record;

static record r;

static void begin(int workers)
{
    memset(&r, 0, sizeof r);
    r.workers = workers;
    r.fails_at = -1;
    r.caller = pthread_self();
}

static rg_code count_job(void *context, int job, int worker, rg_error *err)
{
    record *p = context;
    if (job < 0 || job >= JOBS || worker < 0 || worker >= p->workers) {
        atomic_fetch_add(&p->misuse, 1);
        return RG_OK;
    }
    if (atomic_exchange(&p->busy[worker], 1))
        atomic_fetch_add(&p->misuse, 1);
    atomic_fetch_add(&p->runs[job], 1);
    atomic_fetch_add(&p->total, 1);
    if (!pthread_equal(pthread_self(), p->caller))
        atomic_fetch_add(&p->elsewhere, 1);
    if (p->meets)
        pthread_barrier_wait(&p->barrier);
    atomic_store(&p->busy[worker], 0);
    return job == p->fails_at ? rg_fail(err, RG_IO, "job %d", job) : RG_OK;
}

static void note_done(void *context, int done, int jobs)
{
    record *p = context;
    if (done != p->last_told + 1 || jobs != JOBS)
        atomic_fetch_add(&p->misuse, 1);
    p->last_told = done;
    p->told++;
}

static void every_job_runs_once(int workers)
{
    rg_error err = {.code = RG_OK};
    begin(workers);
    cr_assert_eq(rg_pool_run(workers, JOBS, count_job, note_done, &r, &err), RG_OK);
    for (int i = 0; i < JOBS; i++)
        cr_assert_eq(r.runs[i], 1, "%d workers: job %d ran %d times", workers, i, (int)r.runs[i]);
    cr_assert_eq(r.misuse, 0, "%d workers: an index out of range or out of turn", workers);
    cr_assert_eq(r.told, JOBS);
    cr_assert_eq(err.code, RG_OK);
}

Test(pool, every_job_runs_once_and_no_worker_runs_two_at_a_time)
{
    every_job_runs_once(1);
    every_job_runs_once(2);
    every_job_runs_once(WORKERS);
    every_job_runs_once(WORKERS_MAX);
}

Test(pool, one_worker_makes_no_thread)
{
    begin(1);
    cr_assert_eq(rg_pool_run(1, JOBS, count_job, NULL, &r, NULL), RG_OK);
    cr_assert_eq(r.total, JOBS);
    cr_assert_eq(r.elsewhere, 0);
}

static void begin_meeting(void)
{
    begin(WORKERS);
    r.meets = true;
    pthread_barrier_init(&r.barrier, NULL, WORKERS);
}

Test(pool, as_many_jobs_run_side_by_side_as_there_are_workers, .timeout = 60)
{
    begin_meeting();
    cr_assert_eq(rg_pool_run(WORKERS, WORKERS, count_job, NULL, &r, NULL), RG_OK);
    pthread_barrier_destroy(&r.barrier);
    cr_assert_eq(r.total, WORKERS);
    cr_assert_eq(r.misuse, 0, "two jobs of one worker at a time");
    cr_assert_eq(r.elsewhere, WORKERS - 1, "the caller's thread works, too");
}

Test(pool, more_workers_than_jobs_or_none_of_either_is_no_harm)
{
    begin(8);
    cr_assert_eq(rg_pool_run(8, 3, count_job, NULL, &r, NULL), RG_OK);
    cr_assert(r.runs[0] == 1 && r.runs[1] == 1 && r.runs[2] == 1 && r.total == 3);
    cr_assert_eq(r.misuse, 0);
    begin(8);
    cr_assert_eq(rg_pool_run(8, 0, count_job, NULL, &r, NULL), RG_OK);
    cr_assert_eq(r.total, 0);
    begin(1);
    cr_assert_eq(rg_pool_run(0, 5, count_job, NULL, &r, NULL), RG_OK);
    cr_assert(r.total == 5 && r.misuse == 0);
}

Test(pool, workers_above_the_most_are_cut_not_overrun)
{
    begin(WORKERS_MAX);
    cr_assert_eq(rg_pool_run(1000, JOBS, count_job, NULL, &r, NULL), RG_OK);
    cr_assert_eq(r.total, JOBS);
    cr_assert_eq(r.misuse, 0);
}

Test(pool, an_error_stops_the_handing_out_and_is_returned_with_its_text)
{
    rg_error err = {.code = RG_OK};
    begin(1);
    r.fails_at = 37;
    cr_assert_eq(rg_pool_run(1, JOBS, count_job, note_done, &r, &err), RG_IO);
    cr_assert_eq(err.code, RG_IO);
    cr_assert_str_eq(err.text, "job 37");
    cr_assert_eq(r.total, 38);
    cr_assert_eq(r.told, 38, "a failed job is finished as well");
    cr_assert_eq(r.runs[38], 0);
}

Test(pool, the_caller_may_do_without_the_error_s_text)
{
    begin(1);
    r.fails_at = 0;
    cr_assert_eq(rg_pool_run(1, JOBS, count_job, NULL, &r, NULL), RG_IO);
}

/* All workers have a job; job 2 fails first, and the others, once that is
 * known, fail with another code. */
static rg_code fail_in_turn(void *context, int job, int worker, rg_error *err)
{
    record *p = context;
    rg_code code = count_job(context, job, worker, err);
    if (code != RG_OK)
        return code;
    if (job == 2)
        return rg_fail(err, RG_BAD_DATA, "the first");
    sem_wait(&p->first_is_told);
    sem_post(&p->first_is_told);
    return rg_fail(err, RG_IO, "one of the others");
}

static void tell(void *context, int done, int jobs)
{
    record *p = context;
    (void)done, (void)jobs;
    sem_post(&p->first_is_told);
}

Test(pool, the_first_error_counts_and_no_worker_takes_another_job, .timeout = 60)
{
    rg_error err = {.code = RG_OK};
    begin_meeting();
    sem_init(&r.first_is_told, 0, 0);
    cr_assert_eq(rg_pool_run(WORKERS, JOBS, fail_in_turn, tell, &r, &err), RG_BAD_DATA);
    pthread_barrier_destroy(&r.barrier);
    sem_destroy(&r.first_is_told);
    cr_assert_eq(err.code, RG_BAD_DATA);
    cr_assert_str_eq(err.text, "the first");
    cr_assert_eq(r.total, WORKERS);
    cr_assert_eq(r.misuse, 0);
}

static rg_code fail_without_text(void *context, int job, int worker, rg_error *err)
{
    (void)context, (void)job, (void)worker, (void)err;
    return RG_NO_INPUT;
}

Test(pool, an_error_s_code_is_told_even_if_the_job_wrote_none)
{
    rg_error err = {.code = RG_OK, .text = "old"};
    cr_assert_eq(rg_pool_run(1, 1, fail_without_text, NULL, NULL, &err), RG_NO_INPUT);
    cr_assert_eq(err.code, RG_NO_INPUT);
    cr_assert_str_eq(err.text, "");
}

Test(pool, workers_are_as_many_as_wanted_but_no_more_than_jobs_or_64)
{
    cr_assert_eq(rg_pool_workers(3, 10), 3);
    cr_assert_eq(rg_pool_workers(5, 2), 2);
    cr_assert_eq(rg_pool_workers(1, 100), 1);
    cr_assert_eq(rg_pool_workers(1000, 1000), 64);
    cr_assert_eq(rg_pool_workers(4, 0), 1);
    cr_assert_eq(rg_pool_workers(0, 0), 1);
    cr_assert_eq(rg_pool_workers(0, 1), 1);
}

Test(pool, one_worker_for_each_processor_unless_told_otherwise)
{
    long online = sysconf(_SC_NPROCESSORS_ONLN);
    cr_assert_eq(rg_pool_workers(0, 1000), online < WORKERS_MAX ? online : WORKERS_MAX);
    cr_assert_eq(rg_pool_workers(-5, 1000), rg_pool_workers(0, 1000));
}

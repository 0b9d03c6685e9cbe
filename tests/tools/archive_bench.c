/*
 * archive_bench.c - make bench: how long the questions to the archive's index take with 10,000
 * inspections of 24 pads in it.
 *
 * Each run is a process of its own that opens the file, asks once and closes it, so nothing is
 * kept but the system's cache of the disk. Wall clock, median of the runs, and the ratio to a
 * plain look at every row of the pads' table in the same run (SELECT count(*) with a sum that no
 * index holds).
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <sqlite3.h>

#include "rimglow/catalogue.h"
#include "rimglow/catalogue_export.h"
#include "rimglow/stats.h"
#include "support/visits.h"

enum { INSPECTIONS = 10000, RUNS = 7, MONTH_S = 30 * 24 * 3600, YEAR_S = 365 * 24 * 3600 };

/* Rows that the question gave; -1 when it failed. */
typedef int ask(rg_catalogue *catalogue, const rg_catalogue_query *query);

typedef struct question {
    const char *name;
    ask *ask;
    rg_catalogue_query query;
} question;

static int ask_find(rg_catalogue *c, const rg_catalogue_query *q)
{
    rg_catalogue_list list;
    int rows = rg_catalogue_find(c, q, &list, NULL) == RG_OK ? list.count : -1;
    rg_catalogue_list_free(&list);
    return rows;
}

static int ask_count(rg_catalogue *c, const rg_catalogue_query *q)
{
    int count;
    return rg_catalogue_count(c, q, &count, NULL) == RG_OK ? count : -1;
}

static int ask_sweeps(rg_catalogue *c, const rg_catalogue_query *q)
{
    rg_catalogue_sweeps sweeps;
    int rows = rg_catalogue_sweeps_find(c, q, &sweeps, NULL) == RG_OK ? sweeps.count : -1;
    rg_catalogue_sweeps_free(&sweeps);
    return rows;
}

static int ask_one(rg_catalogue *c, const rg_catalogue_query *q)
{
    rg_catalogue_inspection inspection;
    test_visit *visit = calloc(1, sizeof *visit);
    (void)q;
    if (!visit)
        return -1;
    test_visit_make(visit, 1234, INSPECTIONS, 1);
    int rows = rg_catalogue_get(c, visit->row.bag, &inspection, NULL) == RG_OK ? 1 : -1;
    rg_catalogue_inspection_free(&inspection);
    free(visit);
    return rows;
}

#define FROM (TEST_VISITS_BEGIN + (int64_t)YEAR_S)

static const question questions[] = {
    {"open alone", NULL, {0}},
    {"newest 50", ask_find, {.limit = 50}},
    {"newest 50 of a model", ask_find, {.model = "Port Ellery loan tenor*", .limit = 50}},
    {"newest 50 leaking at G sharp",
     ask_find,
     {.pad = "G sharp", .pad_verdict = "leaking", .limit = 50}},
    {"one serial", ask_find, {.serial = "PE-A-0141"}},
    {"serials by pattern", ask_find, {.serial = "*-014*"}},
    {"all of a model", ask_find, {.model = "Port Ellery loan alto (demo)"}},
    {"all undecided", ask_find, {.verdict = "undecided"}},
    {"all with G sharp leaking", ask_find, {.pad = "G sharp", .pad_verdict = "leaking"}},
    {"all with any pad undecided", ask_find, {.pad_verdict = "undecided"}},
    {"all of a station", ask_find, {.station = "school camera"}},
    {"no such pad", ask_find, {.pad = "no such pad"}},
    {"one month", ask_find, {.since = FROM, .until = FROM + MONTH_S}},
    {"all, every column", ask_find, {0}},
    {"how many leak", ask_count, {.verdict = "leaking"}},
    {"one inspection with everything", ask_one, {0}},
    {"sweeps of one month", ask_sweeps, {.since = FROM, .until = FROM + MONTH_S}},
    {"sweeps of one pad of one serial", ask_sweeps, {.serial = "PE-A-0141", .pad = "G sharp"}},
    {"sweeps of one pad, all", ask_sweeps, {.pad = "G sharp"}},
};

static double now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

typedef struct answer {
    double ms;
    int rows;
} answer;

static answer open_and_ask(const char *file, const question *q)
{
    rg_catalogue *catalogue = NULL;
    double begin = now_ms();
    if (rg_catalogue_open(file, RG_CATALOGUE_READ, &catalogue, NULL) != RG_OK)
        return (answer){.rows = -1};
    int rows = q->ask ? q->ask(catalogue, &q->query) : 0;
    rg_catalogue_close(catalogue);
    return (answer){now_ms() - begin, rows};
}

/* The reference, with SQLite alone. */
static answer look_at_every_pad(const char *file, const question *q)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    double begin = now_ms();
    (void)q;
    int rows = -1;
    if (sqlite3_open_v2(file, &db, SQLITE_OPEN_READONLY, NULL) == SQLITE_OK &&
        sqlite3_prepare_v2(db, "SELECT count(*), sum(frames_given) FROM pad", -1, &stmt, NULL) ==
            SQLITE_OK &&
        sqlite3_step(stmt) == SQLITE_ROW)
        rows = sqlite3_column_int(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return (answer){now_ms() - begin, rows};
}

typedef answer run(const char *file, const question *q);

static answer in_a_process(run *what, const char *file, const question *q)
{
    int ends[2];
    answer a = {.rows = -1};
    if (pipe(ends) != 0)
        return a;
    fflush(stdout);
    pid_t child = fork();
    if (child == 0) {
        a = what(file, q);
        _exit(write(ends[1], &a, sizeof a) == sizeof a ? 0 : 1);
    }
    close(ends[1]);
    if (child < 0 || read(ends[0], &a, sizeof a) != sizeof a)
        a.rows = -1;
    close(ends[0]);
    if (child > 0)
        waitpid(child, NULL, 0);
    return a;
}

static answer median_run(run *what, const char *file, const question *q)
{
    double ms[RUNS];
    answer a = {0};
    for (int i = 0; i < RUNS && a.rows >= 0; i++) {
        a = in_a_process(what, file, q);
        ms[i] = a.ms;
    }
    if (a.rows >= 0)
        a.ms = rg_median_inplace(ms, RUNS);
    return a;
}

static bool fill(const char *file, double *ms)
{
    test_visit *visit = calloc(1, sizeof *visit);
    rg_catalogue *catalogue = NULL;
    double begin = now_ms();
    bool ok = visit && rg_catalogue_open(file, RG_CATALOGUE_WRITE, &catalogue, NULL) == RG_OK &&
              rg_catalogue_begin(catalogue, NULL) == RG_OK;
    for (int i = 0; ok && i < INSPECTIONS; i++) {
        test_visit_make(visit, i, INSPECTIONS, 1);
        ok = rg_catalogue_put(catalogue, &visit->row, NULL) == RG_OK;
    }
    ok = ok && rg_catalogue_end(catalogue, true, NULL) == RG_OK;
    rg_catalogue_close(catalogue);
    free(visit);
    *ms = now_ms() - begin;
    return ok;
}

static bool report(const char *file)
{
    answer all = median_run(look_at_every_pad, file, NULL);
    if (all.rows < 0)
        return false;
    printf("  %-34s %8.2f ms   %6d rows\n", "every row of the pads (reference)", all.ms, all.rows);
    for (size_t i = 0; i < sizeof questions / sizeof *questions; i++) {
        answer a = median_run(open_and_ask, file, &questions[i]);
        if (a.rows < 0)
            return false;
        printf("  %-34s %8.2f ms   %6d rows   %6.2f of the reference\n", questions[i].name, a.ms,
               a.rows, a.ms / all.ms);
    }
    return true;
}

int main(void)
{
    char folder[] = "/tmp/rimglow-bench-XXXXXX", file[64];
    double ms;
    if (!mkdtemp(folder))
        return 1;
    snprintf(file, sizeof file, "%s/index.sqlite", folder);
    bool ok = fill(file, &ms);
    printf("The archive's index, %d inspections of %d pads, each question in a new process, median "
           "of %d\n",
           INSPECTIONS, TEST_PADS, RUNS);
    if (ok)
        printf("  %-34s %8.0f ms\n", "written in one transaction", ms);
    ok = ok && report(file);
    static const char *const end[] = {"", "-wal", "-shm"};
    for (int i = 0; i < 3; i++) {
        char name[80];
        snprintf(name, sizeof name, "%s%s", file, end[i]);
        remove(name);
    }
    rmdir(folder);
    if (!ok)
        fprintf(stderr, "archive_bench: failed\n");
    return ok ? 0 : 1;
}

/*
 * bench_resume.c - a session goes from one bag to the next, however often the program is ended in
 * between: at its start the finished sweeps that are in no bag yet are read back.
 *
 * No file says which: the sweeps themselves do, their seal maps by the digests of what was measured, and
 * the bags. Of a pad only sweeps after its last archived one count, and of them the newest of each finger.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "bench_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/results.h"
#include "rimglow/text.h"

enum { NUMBERS = 1000 };

/* ---------------------------------------------------------------- names */

static void name_of(const rg_bench *b, int at, int number, char name[RG_NAME_SIZE])
{
    char safe[64];
    const char *pad = b->pads[at].pad->name;
    size_t n = 0;
    for (; pad[n] && n < sizeof safe - 1; n++)
        safe[n] = pad[n] == ' ' || pad[n] == '/' ? '-' : pad[n];
    safe[n] = 0;
    if (number == 1)
        snprintf(name, RG_NAME_SIZE, "%02d-%s", at + 1, safe);
    else
        snprintf(name, RG_NAME_SIZE, "%02d-%s-%d", at + 1, safe, number);
}

static bool is_there(const rg_bench *b, const char *name, const char *file)
{
    char path[RG_PLACE_SIZE];
    struct stat st;
    snprintf(path, sizeof path, "%.800s/%.120s/%.120s/%s", b->options.out, b->options.serial, name,
             file);
    return lstat(path, &st) == 0;
}

bool rg_bench_is_cut(const rg_bench *b, const char *name)
{
    return is_there(b, name, ".capturing");
}

/* The highest number of a pad's finished sweeps. */
static int highest(const rg_bench *b, int at)
{
    char name[RG_NAME_SIZE];
    for (int number = NUMBERS - 1; number > 0; number--) {
        name_of(b, at, number, name);
        if (is_there(b, name, "") && !rg_bench_is_cut(b, name))
            return number;
    }
    return 0;
}

void rg_bench_sweep_name(const rg_bench *b, int at, int more, char name[RG_NAME_SIZE])
{
    name_of(b, at, highest(b, at) + 1 + more, name);
}

/* ---------------------------------------------------------------- one sweep */

/* Why a sweep cannot be part of this inspection, as err; else RG_OK. */
static rg_code check(const rg_bench *b, int at, const rg_inspection *in, rg_error *err)
{
    if (strcmp(in->sweep.serial, b->options.serial) != 0)
        return rg_fail(err, RG_BAD_DATA, "it is of serial %.60s", in->sweep.serial);
    if (strcmp(in->sweep.pad, b->pads[at].pad->name) != 0)
        return rg_fail(err, RG_BAD_DATA, "it is of pad %.60s", in->sweep.pad);
    if (!rg_digest_equal(&in->instrument_digest, &b->instrument_digest))
        return rg_fail(err, RG_BAD_DATA, "it names another instrument file: %.100s",
                       in->instrument_file);
    return RG_OK;
}

/* As its results say, when they are of exactly these files; else it is measured again. */
static rg_code take(rg_bench *b, int at, rg_inspection *in, rg_error *err)
{
    bool current = false;
    char place[RG_PLACE_SIZE];
    rg_results *r = rg_alloc(1, sizeof *r);
    if (!r)
        return rg_fail(err, RG_INTERNAL, "no memory for results");
    rg_code code = rg_results_find(in, b->options.out, r, &current, err);
    if (code == RG_OK && current)
        code = rg_bench_keep_map(b, at, in, &r->map, true, err);
    rg_results_free(r);
    free(r);
    if (code != RG_OK || current)
        return code;
    fprintf(stderr, "rimglow: %s: has no results of exactly these frames; it is measured\n",
            in->folder);
    code = rg_inspection_run(in, b->options.workers, NULL, err);
    if (code == RG_OK)
        code = rg_inspection_write(in, b->options.out, RG_PICTURES_MAP, "", b->options.workers,
                                   NULL, place, err);
    return code == RG_OK ? rg_bench_keep_measured(b, at, in, true, err) : code;
}

/* *archived: it is in a bag. A sweep that cannot be used is said and left where it is. */
static void read_back(rg_bench *b, const rg_bench_visits *visits, int at, const char *name,
                      bool *archived)
{
    char folder[RG_PLACE_SIZE];
    rg_inspection in = {0};
    rg_error err = {0};
    rg_bench_pad *p = &b->pads[at];
    snprintf(folder, sizeof folder, "%.800s/%.120s/%.120s", b->options.out, b->options.serial,
             name);
    rg_code code = rg_inspection_open(&in, folder, &err);
    *archived = code == RG_OK && rg_bench_visits_have(visits, &in);
    if (code == RG_OK && !*archived)
        code = check(b, at, &in, &err);
    if (code == RG_OK && !*archived)
        code = take(b, at, &in, &err);
    if (code != RG_OK)
        snprintf(p->unmeasured, sizeof p->unmeasured, "%.60s: %.160s", name, err.text);
    rg_inspection_close(&in);
    p->sweeps++;
}

/* ---------------------------------------------------------------- all */

/* Sweeps before one that is archived were replaced by it. */
static void resume_pad(rg_bench *b, const rg_bench_visits *visits, int at)
{
    char name[RG_NAME_SIZE];
    int last = highest(b, at);
    for (int number = 1; number <= last; number++) {
        bool archived = false;
        name_of(b, at, number, name);
        if (!is_there(b, name, "sweep.ini") || rg_bench_is_cut(b, name))
            continue;
        read_back(b, visits, at, name, &archived);
        if (archived) {
            rg_bench_results_free(&b->pads[at]);
            b->pads[at].unmeasured[0] = 0;
        }
    }
}

static void sum_up(rg_bench *b)
{
    rg_bench_earlier *e = &b->earlier;
    e->first_day = e->last_day = -1;
    e->pads = rg_bench_swept(b);
    for (int i = 0; i < b->instrument.pads; i++)
        for (int k = 0; k < b->pads[i].results; k++) {
            int day = b->pads[i].result[k].day;
            if (day >= 0 && (e->first_day < 0 || day < e->first_day))
                e->first_day = day;
            e->last_day = day > e->last_day ? day : e->last_day;
        }
    b->fresh = e->pads > 0;
}

rg_code rg_bench_resume(rg_bench *b, rg_error *err)
{
    rg_bench_visits visits;
    rg_code code = rg_bench_visits_read(b, &visits, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; !b->options.fresh && i < b->instrument.pads; i++)
        resume_pad(b, &visits, i);
    sum_up(b);
    if (visits.count)
        snprintf(b->earlier.bag, sizeof b->earlier.bag, "%.120s/%s", b->options.serial,
                 visits.record[visits.count - 1].bag);
    code = rg_bench_setup_load(b, &visits, err);
    rg_bench_visits_free(&visits);
    return code;
}

/*
 * bench_result.c - the finished sweeps of a pad, one for each finger and key.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_private.h"
#include "rimglow/memory.h"
#include "rimglow/pad_verdict.h"
#include "rimglow/text.h"

static int find(const rg_bench_pad *p, const rg_bench_press *press)
{
    for (int i = 0; i < p->results; i++)
        if (p->result[i].finger == press->finger &&
            fabs(p->result[i].grams - press->grams) < 1e-9 &&
            strcmp(p->result[i].key, press->key) == 0)
            return i;
    return -1;
}

bool rg_bench_has_room(const rg_bench_pad *p, const rg_bench_press *press)
{
    return p->results < RG_BENCH_RESULTS || find(p, press) >= 0;
}

void rg_bench_drop(rg_bench *b, int at, const rg_bench_press *press)
{
    rg_bench_pad *p = &b->pads[at];
    int i = find(p, press);
    if (i < 0)
        return;
    free(p->result[i].file);
    p->results--;
    memmove(&p->result[i], &p->result[i + 1], (size_t)(p->results - i) * sizeof p->result[0]);
    b->worklist.due = true;
}

void rg_bench_results_free(rg_bench_pad *p)
{
    for (int i = 0; i < p->results; i++)
        free(p->result[i].file);
    p->results = 0;
}

/* The same figures whether the map was measured now or read back. */
static void look_at(rg_bench_result *r, const rg_seal_map *map, double k)
{
    r->coverage_factor = k;
    r->verdict = map->verdict;
    r->widest_mm = r->U_widest_mm = r->widest_deg = NAN;
    for (int i = 0; i < RG_BINS; i++) {
        const rg_bin *bin = &map->bin[i];
        r->seen += bin->state != RG_BIN_UNSEEN;
        if (bin->state == RG_BIN_UNSEEN || !(bin->width_mm > 0) || r->widest_mm >= bin->width_mm)
            continue;
        r->widest_mm = bin->width_mm;
        r->U_widest_mm = k * bin->u_mm;
        r->widest_deg = bin->bearing_deg;
    }
    for (int i = 0; i < map->arcs; i++)
        r->area_mm2 += map->arc[i].open_area_mm2;
}

rg_code rg_bench_keep_map(rg_bench *b, int at, const rg_inspection *in, const rg_map_file *map,
                          bool earlier, rg_error *err)
{
    rg_bench_pad *p = &b->pads[at];
    const rg_sweep *s = &in->sweep;
    double grams = s->finger == RG_FINGER_GRAMS ? s->finger_grams : 0;
    const rg_bench_press press = {s->finger, grams, strcmp(s->key, s->pad) == 0 ? "" : s->key};
    rg_bench_result r = {.finger = s->finger,
                         .grams = grams,
                         .kept = s->frames,
                         .earlier = earlier,
                         .day = s->taken.present ? s->taken.day : -1};
    if (!rg_bench_has_room(p, &press))
        return rg_fail(err, RG_USAGE, "pad %.60s has sweeps by %d fingers and keys already",
                       p->pad->name, RG_BENCH_RESULTS);
    r.file = rg_alloc(1, sizeof *r.file);
    if (!r.file)
        return rg_fail(err, RG_INTERNAL, "no memory for a seal map");
    *r.file = *map;
    rg_copy_text(r.key, sizeof r.key, press.key);
    rg_copy_text(r.folder, sizeof r.folder, in->folder);
    look_at(&r, &map->map, map->coverage_factor);
    rg_bench_drop(b, at, &press);
    p->result[p->results++] = r;
    b->fresh = b->worklist.due = true;
    return RG_OK;
}

/* By way of its JSON, so that a session that was interrupted goes on with the same numbers. */
rg_code rg_bench_keep_measured(rg_bench *b, int at, const rg_inspection *in, bool earlier,
                               rg_error *err)
{
    char *text = NULL;
    rg_map_file *map = rg_alloc(1, sizeof *map);
    rg_code code = map ? rg_inspection_json(in, &text, err)
                       : rg_fail(err, RG_INTERNAL, "no memory for a seal map");
    if (code == RG_OK)
        code = rg_mapfile_parse(in->folder, text, strlen(text), map, err);
    if (code == RG_OK)
        code = rg_bench_keep_map(b, at, in, map, earlier, err);
    free(text);
    free(map);
    return code;
}

rg_code rg_bench_keep(rg_bench *b, int at, const rg_inspection *in, rg_error *err)
{
    char date[32] = "", place[RG_PLACE_SIZE];
    time_t now = time(NULL);
    struct tm utc;
    rg_code code = rg_bench_keep_measured(b, at, in, false, err);
    if (code != RG_OK)
        return code;
    if (gmtime_r(&now, &utc))
        strftime(date, sizeof date, "%Y-%m-%d %H:%M UTC", &utc);
    return rg_inspection_write(in, b->options.out, RG_PICTURES_MAP, date, b->options.workers, NULL,
                               place, err);
}

rg_verdict rg_bench_pad_verdict(const rg_bench_pad *p, bool *only_firm)
{
    rg_pad_sweep sweep[RG_BENCH_RESULTS];
    for (int i = 0; i < p->results; i++)
        sweep[i] = (rg_pad_sweep){p->result[i].verdict, p->result[i].finger == RG_FINGER_FIRM};
    return rg_pad_verdict(sweep, p->results, only_firm);
}

static int badness(rg_verdict verdict)
{
    return verdict == RG_VERDICT_LEAKING ? 2 : verdict == RG_VERDICT_UNDECIDED ? 1 : 0;
}

const rg_bench_result *rg_bench_pad_worst(const rg_bench_pad *p)
{
    const rg_bench_result *worst = p->results ? &p->result[0] : NULL;
    for (int i = 1; i < p->results; i++) {
        const rg_bench_result *r = &p->result[i];
        int more = badness(r->verdict) - badness(worst->verdict);
        if (more > 0 || (more == 0 && r->area_mm2 > worst->area_mm2))
            worst = r;
    }
    return worst;
}

int rg_bench_swept(const rg_bench *b)
{
    int n = 0;
    for (int i = 0; i < b->instrument.pads; i++)
        n += b->pads[i].results > 0;
    return n;
}

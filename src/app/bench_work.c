/*
 * bench_work.c - what the session's finished sweeps come to: the work list, by a work-up (workup.h) of the one
 * sweep of each pad that its verdict rests on most.
 */
#include <stdlib.h>

#include "bench_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* sweep: [pads]; returns how many. */
static int gather(const rg_bench *b, rg_workup_sweep *sweep)
{
    int n = 0;
    for (int i = 0; i < b->instrument.pads; i++) {
        const rg_bench_result *r = rg_bench_pad_worst(&b->pads[i]);
        if (r)
            sweep[n++] = (rg_workup_sweep){b->pads[i].pad->name, r->file};
    }
    return n;
}

static const rg_leak_rank *notes_of(const rg_workup *w, int hole)
{
    for (int i = 0; w && i < w->ranks; i++)
        if (w->rank[i].leak.hole == hole)
            return &w->rank[i];
    return NULL;
}

static void fill(const rg_bench *b, const rg_workup *w, int i, rg_rank_pad *to)
{
    const rg_bench_pad *p = &b->pads[i];
    const rg_bench_result *r = rg_bench_pad_worst(p);
    const rg_workup_pad *found = w ? &w->pad[i] : NULL;
    *to = (rg_rank_pad){.pad = p->pad};
    to->verdict = rg_bench_pad_verdict(p, &to->only_firm);
    if (!r)
        return;
    to->map = &r->file->map;
    to->coverage_factor = r->coverage_factor;
    to->key = r->key;
    to->diagnosis = found && found->diagnosed ? &found->diagnosis : NULL;
    to->sentences = found && found->diagnosed ? &found->sentences : NULL;
    to->flow = found && found->has_flow ? &found->flow : NULL;
    to->notes = notes_of(w, i);
}

/* w NULL: without diagnosis and flow. */
static rg_code rank(rg_bench *b, const rg_workup *w, rg_error *err)
{
    int n = b->instrument.pads;
    rg_rank_pad *pad = rg_alloc((size_t)n, sizeof *pad);
    if (!b->worklist.line)
        b->worklist.line = rg_alloc((size_t)n, sizeof *b->worklist.line);
    if (!pad || !b->worklist.line) {
        free(pad);
        return rg_fail(err, RG_INTERNAL, "no memory for the work list");
    }
    for (int i = 0; i < n; i++)
        fill(b, w, i, &pad[i]);
    rg_bench_rank(pad, n, b->worklist.line);
    free(pad);
    return RG_OK;
}

/* A pad that cannot be diagnosed takes the diagnoses away, never the verdicts. */
void rg_bench_work(rg_bench *b)
{
    rg_error err = {0}, unranked = {0};
    rg_workup *w = NULL;
    if (!b->worklist.due && b->worklist.line)
        return;
    b->worklist.due = false;
    rg_workup_sweep *sweep = rg_alloc((size_t)b->instrument.pads, sizeof *sweep);
    rg_code code =
        sweep ? rg_workup_make(&b->instrument, sweep, gather(b, sweep), &b->workup, &w, &err)
              : rg_fail(&err, RG_INTERNAL, "no memory for the work list");
    if (rank(b, w, &unranked) != RG_OK)
        code = rg_fail(&err, unranked.code, "%s", unranked.text);
    rg_copy_text(b->worklist.fault, sizeof b->worklist.fault, code == RG_OK ? "" : err.text);
    rg_workup_free(w);
    free(sweep);
}

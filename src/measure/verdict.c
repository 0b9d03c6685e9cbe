/*
 * verdict.c - the decision and its reasons.
 */
#include "rimglow/verdict.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/light.h"

static void add_reason(rg_seal_map *map, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

static void add_reason(rg_seal_map *map, const char *format, ...)
{
    if (map->reasons >= RG_REASONS_MAX)
        return;
    va_list args;
    va_start(args, format);
    vsnprintf(map->reason[map->reasons++], RG_REASON_SIZE, format, args);
    va_end(args);
}

static int at(int b)
{
    return ((b % RG_BINS) + RG_BINS) % RG_BINS;
}

static int last_of(rg_run run)
{
    return at(run.start + run.length - 1);
}

typedef struct run_text {
    char text[24];
} run_text;

/* "bearing 64" or "bearings 64..69". */
static run_text name_run(rg_run run)
{
    run_text t;
    if (run.length == 1)
        snprintf(t.text, sizeof t.text, "bearing %d", run.start % RG_BINS);
    else
        snprintf(t.text, sizeof t.text, "bearings %d..%d", run.start % RG_BINS, last_of(run));
    return t;
}

/* Runs of bins that satisfy a test; at most `max`. */
typedef bool bin_test(const rg_bin *bin, const rg_sealmap_options *o);

static int runs_where(const rg_seal_map *map, bin_test *test, const rg_sealmap_options *o,
                      rg_run *runs, int max)
{
    uint8_t mask[RG_BINS];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = test(&map->bin[b], o);
    int n = rg_circular_runs(mask, RG_BINS, runs, max);
    return n < max ? n : max;
}

/* The same for reasons: runs a few bins apart are told as one. */
static int told_runs(const rg_seal_map *map, bin_test *test, const rg_sealmap_options *o,
                     rg_run *runs, int max)
{
    uint8_t mask[RG_BINS];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = test(&map->bin[b], o);
    rg_circular_bridge(mask, RG_BINS, (int)o->bridge_deg);
    int n = rg_circular_runs(mask, RG_BINS, runs, max);
    return n < max ? n : max;
}

static double expanded(const rg_bin *bin, const rg_sealmap_options *o)
{
    return o->coverage_factor * bin->u_mm;
}

static bool is_open(const rg_bin *bin, const rg_sealmap_options *o)
{
    return bin->state == RG_BIN_GAP && bin->width_mm - expanded(bin, o) > o->tolerance_mm;
}

static bool is_unseen(const rg_bin *bin, const rg_sealmap_options *o)
{
    if (bin->blocked || bin->ambient)
        return false;
    /* An unproven bearing was looked at well enough or not all the same. */
    if (bin->state == RG_BIN_UNSEEN && !bin->unproven)
        return true;
    return !is_open(bin, o) && !(bin->detection_limit_mm <= o->seen_fraction * o->tolerance_mm);
}

static bool is_blocked(const rg_bin *bin, const rg_sealmap_options *o)
{
    (void)o;
    return bin->blocked;
}

static bool is_ambient(const rg_bin *bin, const rg_sealmap_options *o)
{
    (void)o;
    return bin->ambient;
}

/* Seen, but neither provably open nor provably within tolerance. */
static bool is_borderline(const rg_bin *bin, const rg_sealmap_options *o)
{
    return bin->state != RG_BIN_UNSEEN && !is_open(bin, o) &&
           !(bin->width_mm + expanded(bin, o) <= o->tolerance_mm);
}

/* Unseen bearings that no other reason names. */
static bool is_unnamed(const rg_bin *bin, const rg_sealmap_options *o)
{
    return is_unseen(bin, o) && !is_borderline(bin, o);
}

static bool report_leaks(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = runs_where(map, is_open, o, run, RG_BINS / 2 + 1);
    bool leaking = false;
    for (int i = 0; i < n; i++) {
        if (run[i].length < o->min_arc_deg)
            continue;
        const rg_bin *worst = &map->bin[run[i].start];
        for (int k = 1; k < run[i].length; k++)
            if (map->bin[at(run[i].start + k)].width_mm > worst->width_mm)
                worst = &map->bin[at(run[i].start + k)];
        add_reason(map, "open at %s: up to %.3f +- %.3f mm at %.0f, tolerance %.3f mm",
                   name_run(run[i]).text, worst->width_mm, expanded(worst, o), worst->bearing_deg,
                   o->tolerance_mm);
        leaking = true;
    }
    return leaking;
}

/* Most of what U says there is that the hole may have been looked through. */
static bool is_looked_through(const rg_bin *bin, const rg_sealmap_options *o)
{
    (void)o;
    return bin->state == RG_BIN_GAP &&
           2 * bin->fit.u_through_mm * bin->fit.u_through_mm > bin->u_mm * bin->u_mm;
}

/* Two and two in one reason: an opening has two ends, and both may be looked through. */
static void report_see_through(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = told_runs(map, is_looked_through, o, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i += 2) {
        bool two = i + 1 < n;
        add_reason(map,
                   "one may look through the hole at %s%s%s: light alone does not tell how wide it "
                   "is open there, U reaches to the widest that it may be; take frames from above "
                   "and from below the rim plane",
                   name_run(run[i]).text, two ? " and " : "", two ? name_run(run[i + 1]).text : "");
    }
}

static void report_unseen(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = told_runs(map, is_unnamed, o, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++) {
        bool any = false;
        for (int k = 0; k < run[i].length; k++)
            any = any || isfinite(map->bin[at(run[i].start + k)].detection_limit_mm);
        if (run[i].length == RG_BINS)
            add_reason(map, any ? "no bearing was seen well enough: sweep again, rocking slowly "
                                  "through the rim plane"
                                : "no bearing was seen: sweep again");
        else
            add_reason(map,
                       any ? "thin gaps could hide at %s: sweep again there, "
                             "rocking slowly through the rim plane"
                           : "%s: hidden or out of view: sweep again there, past "
                             "the key arm and posts",
                       name_run(run[i]).text);
    }
}

static void report_blocked(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = runs_where(map, is_blocked, o, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++)
        add_reason(map,
                   "the light is interrupted between two openings at %s: look for a "
                   "crumb, a hair or a feeler in the gap and sweep again",
                   name_run(run[i]).text);
}

static void report_ambient(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = runs_where(map, is_ambient, o, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++)
        add_reason(map,
                   "light shows at %s with the lamp off: shade the bench and sweep "
                   "again",
                   name_run(run[i]).text);
}

static void report_borderline(rg_seal_map *map, const rg_sealmap_options *o)
{
    rg_run run[RG_BINS / 2 + 1];
    int n = told_runs(map, is_borderline, o, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++) {
        const rg_bin *worst = &map->bin[run[i].start];
        for (int k = 1; k < run[i].length; k++)
            if (is_borderline(&map->bin[at(run[i].start + k)], o) &&
                map->bin[at(run[i].start + k)].width_mm > worst->width_mm)
                worst = &map->bin[at(run[i].start + k)];
        add_reason(map,
                   "too close to the tolerance to call at %s: %.3f +- %.3f mm "
                   "against %.3f mm: sweep again there with more elevations, or correct the pad",
                   name_run(run[i]).text, worst->width_mm, expanded(worst, o), o->tolerance_mm);
    }
}

static bool report_evidence(rg_seal_map *map, const rg_evidence *e)
{
    if (!e->light_proven)
        add_reason(map, "%s",
                   e->light_reason[0] ? e->light_reason
                                      : "the light was not proven on: no witness frame");
    if (e->calibration_fault[0])
        add_reason(map, "%s", e->calibration_fault);
    if (e->frames_used == 0)
        add_reason(map, "none of %d closed frames could be used: see the frames' own reasons",
                   e->frames_given);
    else if (!e->rim_found)
        add_reason(map, "the rim's edge was not found in the frames: light the chimney softly and "
                        "keep the rim in focus");
    return e->light_proven && !e->calibration_fault[0] && e->frames_used > 0 && e->rim_found;
}

void rg_verdict_decide(rg_seal_map *map, const rg_evidence *evidence,
                       const rg_sealmap_options *options)
{
    rg_run run[1];
    map->reasons = 0;
    bool proven = report_evidence(map, evidence);
    if (report_leaks(map, options)) {
        map->verdict = RG_VERDICT_LEAKING;
        report_see_through(map, options);
        /* What else may be wrong is worth knowing before the pad is touched. */
        report_blocked(map, options);
        report_ambient(map, options);
        report_unseen(map, options);
        return;
    }
    bool all_seen = runs_where(map, is_unseen, options, run, 1) == 0 &&
                    runs_where(map, is_blocked, options, run, 1) == 0 &&
                    runs_where(map, is_ambient, options, run, 1) == 0;
    bool all_within = runs_where(map, is_borderline, options, run, 1) == 0;
    /* A provable opening shorter than the shortest leak is still no seal. */
    bool none_open = runs_where(map, is_open, options, run, 1) == 0;
    if (proven && all_seen && all_within && none_open) {
        map->verdict = RG_VERDICT_SEALED;
        return;
    }
    map->verdict = RG_VERDICT_UNDECIDED;
    report_blocked(map, options);
    report_ambient(map, options);
    report_borderline(map, options);
    report_see_through(map, options);
    report_unseen(map, options);
    if (!none_open)
        add_reason(map, "an opening shorter than %.0f degrees exceeds the tolerance: look at it",
                   options->min_arc_deg);
}

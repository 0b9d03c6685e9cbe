/*
 * pairs_truth.c - what an archived map says, without what is private (pairs.h).
 */
#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "archive_private.h"
#include "pairs_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

const char rg_pairs_whose_truth[] =
    "The truth of an archived case is rimglow's own seal map of the whole sweep, with its "
    "uncertainty; nobody measured this gap with a gauge.";

/* ---------------------------------------------------------------- private texts */

/* "2026-11-25" anywhere. */
static bool has_date(const char *text)
{
    static const char form[] = "dddd-dd-dd";
    for (const char *p = text; *p; p++) {
        size_t n = 0;
        while (form[n] && (form[n] == 'd' ? isdigit((unsigned char)p[n]) != 0 : p[n] == form[n]))
            n++;
        if (!form[n])
            return true;
    }
    return false;
}

/* Words of one or two letters stand in any text. */
static bool quotes(const char *text, const char *word)
{
    return strlen(word) > 2 && strstr(text, word);
}

bool rg_pairs_is_private(const rg_pairs_sweep *s, const char *text)
{
    const rg_record *r = &s->record;
    const char *const word[] = {r->serial,       r->technician,   r->model,
                                r->bag,          r->note,         r->occasion,
                                s->sweep->name,  s->file.serial,  s->file.instrument,
                                s->file.station, s->file.software};
    bool found = strchr(text, '/') || strchr(text, '\\') || has_date(text);
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
        found = found || quotes(text, word[i]);
    return found;
}

/* ---------------------------------------------------------------- truth */

static double extent_at(const rg_seal_map *map, double bearing)
{
    for (int i = 0; i < map->arcs; i++) {
        const rg_arc *a = &map->arc[i];
        if (a->full_circle || rg_wrap_degrees(bearing - a->start_deg) <= a->extent_deg)
            return a->extent_deg;
    }
    return NAN;
}

static void tell_width(const rg_map_file *file, rg_pairs_truth *t)
{
    const rg_bin *widest = rg_archive_widest(&file->map);
    t->gap = widest != NULL;
    t->widest_mm = widest ? widest->width_mm : NAN;
    t->U_mm = widest ? file->coverage_factor * widest->u_mm : NAN;
    t->widest_deg = widest ? widest->bearing_deg : NAN;
    t->extent_deg = widest ? extent_at(&file->map, widest->bearing_deg) : NAN;
    for (int b = 0; b < RG_BINS; b++)
        t->seen += file->map.bin[b].state != RG_BIN_UNSEEN;
}

static void take_kind(rg_pairs_truth *t, rg_fault_kind kind)
{
    for (int i = 0; i < t->kinds; i++)
        if (t->kind[i] == kind)
            return;
    t->kind[t->kinds++] = kind;
}

static rg_code tell_cause(const rg_pairs *pairs, const rg_map_file *file, rg_pairs_truth *t,
                          rg_error *err)
{
    rg_diagnosis *d = rg_alloc(1, sizeof *d);
    if (!d)
        return rg_fail(err, RG_INTERNAL, "no memory for a diagnosis");
    rg_code code = rg_diagnose(&file->map, file->tolerance_mm, NULL, &pairs->diagnosis, d, err);
    for (int i = 0; code == RG_OK && i < d->faults; i++)
        take_kind(t, d->fault[i].kind);
    if (code == RG_OK)
        rg_copy_text(t->cause, sizeof t->cause, rg_diagnosis_name(d));
    free(d);
    return code;
}

static const char *finger_of(const char *text)
{
    static const char *const word[] = {"light", "firm", "grams"};
    for (size_t i = 0; i < sizeof word / sizeof *word; i++)
        if (strcmp(text, word[i]) == 0)
            return word[i];
    return "unstated";
}

static rg_code tell(const rg_pairs *pairs, rg_pairs_sweep *s, rg_error *err)
{
    char text[RG_ARCHIVE_BAG + RG_RECORD_NAME];
    rg_pairs_truth *t = &s->truth;
    snprintf(text, sizeof text, "%s/%s", s->bag.bag, s->sweep->name);
    rg_pairs_name(pairs->key, text, t->name);
    rg_copy_text(t->pad, sizeof t->pad,
                 rg_pairs_is_private(s, s->file.pad) ? "(not told)" : s->file.pad);
    rg_copy_text(t->finger, sizeof t->finger, finger_of(s->file.finger));
    t->verdict = s->file.map.verdict;
    t->tolerance_mm = s->file.tolerance_mm;
    t->coverage_factor = s->file.coverage_factor;
    t->frames_used = s->file.frames_used;
    tell_width(&s->file, t);
    t->size = rg_pairs_size_of(&pairs->settings, t);
    return tell_cause(pairs, &s->file, t, err);
}

/* ---------------------------------------------------------------- the sweep */

static rg_code read_record(rg_pairs_sweep *s, const char *name, rg_error *err)
{
    static const char inside[] = "data/inspection.json";
    uint8_t *text = NULL;
    size_t size = 0;
    rg_code code = rg_sealed_read(&s->bag, inside, RG_RECORD_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_record_parse(inside, (const char *)text, size, &s->record, err);
    free(text);
    for (int i = 0; code == RG_OK && i < s->record.sweeps; i++)
        if (strcmp(s->record.sweep[i].name, name) == 0)
            s->sweep = &s->record.sweep[i];
    if (code == RG_OK && !s->sweep)
        code = rg_fail(err, RG_BAD_DATA, "%s: its record knows no sweep %s", s->bag.bag, name);
    return code;
}

static rg_code read_map(rg_pairs_sweep *s, rg_error *err)
{
    char inside[RG_RECORD_NAME + 64];
    uint8_t *text = NULL;
    size_t size = 0;
    snprintf(inside, sizeof inside, "data/results/%s/seal-map.json", s->sweep->name);
    rg_code code = rg_sealed_read(&s->bag, inside, RG_MAPFILE_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_mapfile_parse(inside, (const char *)text, size, &s->file, err);
    free(text);
    return code;
}

rg_code rg_pairs_sweep_open(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                            const char *name, rg_pairs_sweep **sweep, rg_error *err)
{
    *sweep = NULL;
    rg_pairs_sweep *s = rg_alloc(1, sizeof *s);
    if (!s)
        return rg_fail(err, RG_INTERNAL, "no memory for a case");
    rg_code code = rg_sealed_open(pairs, archive, bag, &s->bag, err);
    if (code == RG_OK)
        code = read_record(s, name, err);
    if (code == RG_OK)
        code = read_map(s, err);
    if (code == RG_OK && s->file.frames_used < 1)
        code = rg_fail(err, RG_USAGE, "this sweep has no closed frame that was used: no case");
    if (code == RG_OK)
        code = tell(pairs, s, err);
    if (code == RG_OK)
        *sweep = s;
    else
        rg_pairs_sweep_close(s);
    return code;
}

void rg_pairs_sweep_close(rg_pairs_sweep *sweep)
{
    if (!sweep)
        return;
    rg_sealed_close(&sweep->bag);
    rg_record_free(&sweep->record);
    free(sweep);
}

bool rg_pairs_askable(const rg_pairs_truth *truth)
{
    if (truth->verdict == RG_VERDICT_LEAKING)
        return truth->gap && truth->kinds == 1;
    return truth->verdict == RG_VERDICT_SEALED && truth->kinds == 0;
}

/* ---------------------------------------------------------------- sizes */

int rg_pairs_size_of(const rg_pairs_settings *settings, const rg_pairs_truth *truth)
{
    int size = 1;
    if (!truth->gap)
        return 0;
    while (size <= RG_PAIRS_SIZES && truth->widest_mm > settings->size_mm[size - 1])
        size++;
    return size;
}

void rg_pairs_size_name(const rg_pairs_settings *settings, int size, char text[RG_PAIRS_SIZE_TEXT])
{
    const double *edge = settings->size_mm;
    if (size <= 0)
        snprintf(text, RG_PAIRS_SIZE_TEXT, "no gap measured");
    else if (size == 1)
        snprintf(text, RG_PAIRS_SIZE_TEXT, "up to %g mm", edge[0]);
    else if (size <= RG_PAIRS_SIZES)
        snprintf(text, RG_PAIRS_SIZE_TEXT, "%g to %g mm", edge[size - 2], edge[size - 1]);
    else
        snprintf(text, RG_PAIRS_SIZE_TEXT, "above %g mm", edge[RG_PAIRS_SIZES - 1]);
}

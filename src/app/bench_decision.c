/*
 * bench_decision.c - what the rules of release would say of the session as it stands. The session's thread only
 * copies; whoever asks judges.
 */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "archive_private.h"
#include "bench_private.h"
#include "rimglow/date.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* Later than every bag there can be, so that all of them are earlier visits. */
enum { NEXT_VISIT = 10000 };

static int sequence_of(const char *bag)
{
    int sequence = NEXT_VISIT;
    const char *slash = strchr(bag, '/');
    return slash && rg_bag_name_parse(slash + 1, &sequence) ? sequence : NEXT_VISIT;
}

/* ---------------------------------------------------------------- copying */

static int count_sweeps(const rg_bench *b)
{
    int n = 0;
    for (int i = 0; i < b->instrument.pads; i++)
        n += b->pads[i].results;
    return n;
}

rg_code rg_bench_evidence_take(const rg_bench *b, rg_bench_evidence *e, rg_error *err)
{
    size_t n = (size_t)count_sweeps(b);
    *e = (rg_bench_evidence){.map = rg_alloc(n, sizeof *e->map),
                             .pad = rg_alloc(n, sizeof *e->pad),
                             .day = rg_alloc(n, sizeof *e->day),
                             .setup = rg_alloc(1, sizeof *e->setup),
                             .taking = b->live && b->state.kept > 0};
    if (!e->map || !e->pad || !e->day || !e->setup) {
        rg_bench_evidence_free(e);
        return rg_fail(err, RG_INTERNAL, "no memory to look at %zu sweeps", n);
    }
    for (int i = 0; i < b->instrument.pads; i++)
        for (int k = 0; k < b->pads[i].results; k++) {
            e->map[e->sweeps] = *b->pads[i].result[k].file;
            e->pad[e->sweeps] = i;
            e->day[e->sweeps++] = b->pads[i].result[k].day;
        }
    *e->setup = b->setup;
    rg_copy_text(e->bag, sizeof e->bag, b->fresh ? "" : b->bag);
    return RG_OK;
}

void rg_bench_evidence_free(rg_bench_evidence *e)
{
    free(e->map);
    free(e->pad);
    free(e->day);
    free(e->setup);
    *e = (rg_bench_evidence){0};
}

/* ---------------------------------------------------------------- judging */

/* The record that archiving would make, as far as the rules look at it. */
static rg_code make_record(const rg_bench *b, const rg_bench_evidence *e, time_t now, rg_record *r,
                           rg_error *err)
{
    r->sweep = rg_alloc((size_t)e->sweeps, sizeof *r->sweep);
    if (!r->sweep)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", e->sweeps);
    r->time = (int64_t)now;
    r->sequence = sequence_of(e->bag); /* what is archived is no earlier visit of itself */
    rg_copy_text(r->serial, sizeof r->serial, b->options.serial);
    for (; r->sweeps < e->sweeps; r->sweeps++) {
        const rg_map_file *map = &e->map[r->sweeps];
        rg_record_sweep *s = &r->sweep[r->sweeps];
        s->verdict = map->map.verdict;
        s->grams = map->grams;
        s->taken_day = e->day[r->sweeps];
        s->judged_day = map->judged_day;
        rg_copy_text(s->pad, sizeof s->pad, b->instrument.pad[e->pad[r->sweeps]].name);
        rg_copy_text(s->finger, sizeof s->finger, map->finger);
    }
    return rg_setup_take_values(e->setup->value, e->setup->values, r, err);
}

static rg_code judge(const rg_bench *b, const rg_bench_evidence *e, const rg_record *r,
                     rg_setup_made *made, rg_error *err)
{
    rg_archive archive;
    rg_error none = {0};
    bool open = rg_archive_read(&archive, b->options.archive, &none) == RG_OK;
    const rg_map_file **map = rg_alloc((size_t)e->sweeps, sizeof *map);
    for (int i = 0; map && i < e->sweeps; i++)
        map[i] = &e->map[i];
    const rg_setup_request q = {.archive = open ? &archive : NULL,
                                .bag = "",
                                .record = r,
                                .map = map,
                                .values = r,
                                .values_name = "",
                                .instrument = &b->instrument,
                                .rules = &b->rules,
                                .workup = &b->workup,
                                .day = (int)(r->time / 86400)};
    rg_code code = RG_OK;
    if (!map)
        code = rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", e->sweeps);
    else if (!open && none.code != RG_NO_INPUT) /* no archive yet: no earlier visits */
        code = rg_fail(err, none.code, "%s", none.text);
    if (code == RG_OK)
        code = rg_setup_make(&q, made, err);
    if (open)
        rg_archive_close(&archive);
    free(map);
    return code;
}

/* ---------------------------------------------------------------- telling */

static json_t *reasons_json(const rg_release_result *r)
{
    json_t *list = json_array();
    char text[RG_RELEASE_REASON];
    for (int i = 0; i < r->reasons; i++) {
        const rg_release_item *item = &r->item[r->reason[i]];
        char said[RG_RELEASE_REASON + RG_RELEASE_NAME];
        snprintf(said, sizeof said, "%s%s%s", item->section, item->section[0] ? ", " : "",
                 rg_release_reason(r, i, text));
        json_array_append_new(list, json_pack("{s:o, s:s, s:o}", "name", rg_bench_words(item->name),
                                              "state", rg_item_state_name(item->state), "text",
                                              rg_bench_words(said)));
    }
    return list;
}

static int swept(const rg_bench_evidence *e)
{
    int n = 0;
    for (int i = 0; i < e->sweeps; i++)
        n += i == 0 || e->pad[i] != e->pad[i - 1];
    return n;
}

static json_t *decision_json(const rg_bench *b, const rg_bench_evidence *e, int day,
                             const rg_release_result *r, const char *fault)
{
    char date[RG_DATE_TEXT];
    int passed = 0;
    for (int i = 0; i < r->items; i++)
        passed += r->item[i].state == RG_ITEM_PASSED;
    rg_date_format(day, date);
    return json_pack("{s:b, s:o, s:o, s:o, s:s, s:o, s:i, s:i, s:i, s:i, s:b, s:o}", "preview", 1,
                     "decision", fault ? json_null() : json_string(rg_decision_name(r->decision)),
                     "fault", fault ? rg_bench_words(fault) : json_null(), "rules",
                     rg_bench_words(b->rules.file), "day", date, "reasons", reasons_json(r),
                     "passed", passed, "items", r->items, "pads", b->instrument.pads, "swept",
                     swept(e), "taking", e->taking, "archived",
                     e->bag[0] ? rg_bench_words(e->bag) : json_null());
}

/* What cannot be judged, such as a unit that does not convert, is told in place of a decision. */
static rg_code decide(const rg_bench *b, const rg_bench_evidence *e, char **text, rg_error *err)
{
    rg_setup_made made = {0};
    rg_record record = {0};
    rg_error why = {0};
    time_t now = time(NULL);
    rg_code code = make_record(b, e, now, &record, &why);
    if (code == RG_OK)
        code = judge(b, e, &record, &made, &why);
    json_t *json =
        decision_json(b, e, (int)(now / 86400), &made.result, code == RG_OK ? NULL : why.text);
    rg_setup_made_free(&made);
    rg_record_free(&record);
    *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(json);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "the decision cannot be written as JSON");
}

rg_code rg_bench_decision(rg_bench *b, char **json, rg_error *err)
{
    rg_bench_evidence evidence;
    *json = NULL;
    rg_code code = rg_bench_ask_evidence(b, &evidence, err);
    if (code == RG_OK)
        code = decide(b, &evidence, json, err);
    rg_bench_evidence_free(&evidence);
    return code;
}

/*
 * setup_load.c - gathering what a set-up sheet is judged on.
 */
#include "rimglow/setup_load.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "archive_private.h"
#include "rimglow/calib_file.h"
#include "rimglow/config_release.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/setup_report.h"
#include "rimglow/text.h"
#include "rimglow/version.h"

/* An earlier visit, as the archive has it. */
typedef struct earlier {
    char bag[RG_ARCHIVE_BAG];
    rg_record record;
    rg_release_value *value; /* owned */
} earlier;

/* What a made sheet points into. */
typedef struct owned {
    char time[RG_RECORD_TIME];
    rg_change_options change;
    const char **pad;        /* owned; of the instrument */
    rg_release_sweep *sweep; /* owned */
    int sweeps;
    rg_release_value *value;   /* owned */
    rg_release_check *check;   /* owned */
    earlier *visit;            /* owned; oldest first */
    rg_release_visit *visited; /* owned */
    int visits;
    rg_service_line *line; /* owned */
    int lines;
    rg_setup_work *work; /* owned */
    int works, room;
    bool no_memory;
} owned;

/* ---------------------------------------------------------------- rules */

static rg_code parse_rules(const char *label, rg_setup_rules *rules, rg_error *err)
{
    const char *slash = strrchr(label, '/');
    rg_digest digest = rg_digest_of(rules->text, rules->size);
    rg_digest_format(&digest, rules->sha256);
    snprintf(rules->file, sizeof rules->file, "%.120s", slash ? slash + 1 : label);
    rg_code code = rg_release_rules_parse(label, rules->text, rules->size, &rules->rules, err);
    if (code != RG_OK)
        rg_setup_rules_free(rules);
    return code;
}

rg_code rg_setup_rules_load(const char *given, rg_setup_rules *rules, rg_error *err)
{
    rg_calib_file calib;
    *rules = (rg_setup_rules){0};
    rg_code code = rg_calib_file_read("release.ini", given, "rules", &calib, err);
    if (code != RG_OK)
        return code;
    rules->text = calib.text;
    rules->size = calib.size;
    return parse_rules(calib.path, rules, err);
}

void rg_setup_rules_free(rg_setup_rules *rules)
{
    free(rules->text);
    *rules = (rg_setup_rules){0};
}

/* ---------------------------------------------------------------- values */

static void take_number(const rg_measured_value *from, rg_record_value *to)
{
    *to = (rg_record_value){
        .value = from->value, .u = from->u > 0 ? from->u : NAN, .measured_day = from->day};
    rg_copy_text(to->quantity, sizeof to->quantity, from->quantity);
    rg_copy_text(to->unit, sizeof to->unit, from->unit);
    rg_copy_text(to->with, sizeof to->with, from->with);
    rg_copy_text(to->remark, sizeof to->remark, from->remark);
}

static void take_check(const rg_measured_value *from, rg_record_check *to)
{
    *to = (rg_record_check){
        .stated = from->kind == RG_VALUE_CHECK, .done = from->done, .checked_day = from->day};
    rg_copy_text(to->name, sizeof to->name, from->quantity);
    rg_copy_text(to->remark, sizeof to->remark, from->remark);
}

rg_code rg_setup_take_values(const rg_measured_value *value, int values, rg_record *record,
                             rg_error *err)
{
    record->value = rg_alloc((size_t)values, sizeof *record->value);
    record->check = rg_alloc((size_t)values, sizeof *record->check);
    if (!record->value || !record->check)
        return rg_fail(err, RG_INTERNAL, "no memory for %d set-up values", values);
    for (int i = 0; i < values; i++) {
        if (value[i].kind == RG_VALUE_NUMBER)
            take_number(&value[i], &record->value[record->values++]);
        else
            take_check(&value[i], &record->check[record->checks++]);
    }
    return RG_OK;
}

static void borrow_value(const rg_record_value *from, int visit_day, rg_release_value *to)
{
    *to = (rg_release_value){.quantity = from->quantity,
                             .unit = from->unit,
                             .with = from->with,
                             .remark = from->remark,
                             .value = from->value,
                             .u = from->u,
                             .day = from->measured_day < 0 ? visit_day : from->measured_day};
}

static int day_of(const rg_record *record)
{
    return (int)(record->time / 86400);
}

static rg_code borrow_values(const rg_record *record, int day, rg_release_value **value,
                             rg_error *err)
{
    *value = rg_alloc((size_t)record->values, sizeof **value);
    if (!*value)
        return rg_fail(err, RG_INTERNAL, "no memory for %d set-up values", record->values);
    for (int i = 0; i < record->values; i++)
        borrow_value(&record->value[i], day, &(*value)[i]);
    return RG_OK;
}

static rg_code borrow_checks(const rg_record *record, int day, rg_release_check **check,
                             rg_error *err)
{
    *check = rg_alloc((size_t)record->checks, sizeof **check);
    if (!*check)
        return rg_fail(err, RG_INTERNAL, "no memory for %d checks", record->checks);
    for (int i = 0; i < record->checks; i++) {
        const rg_record_check *c = &record->check[i];
        (*check)[i] = (rg_release_check){.name = c->name,
                                         .remark = c->remark,
                                         .stated = c->stated,
                                         .done = c->done,
                                         .day = c->checked_day < 0 ? day : c->checked_day};
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- sweeps */

static rg_touch touch_of(const char *finger)
{
    static const char *const word[] = {[RG_TOUCH_UNSTATED] = "unstated",
                                       [RG_TOUCH_LIGHT] = "light",
                                       [RG_TOUCH_FIRM] = "firm",
                                       [RG_TOUCH_GRAMS] = "grams"};
    for (int i = RG_TOUCH_LIGHT; i <= RG_TOUCH_GRAMS; i++)
        if (strcmp(word[i], finger) == 0)
            return (rg_touch)i;
    return RG_TOUCH_UNSTATED;
}

static rg_code borrow_sweeps(const rg_setup_request *q, owned *o, rg_error *err)
{
    const rg_record *r = q->record;
    o->sweep = rg_alloc((size_t)r->sweeps, sizeof *o->sweep);
    o->pad = rg_alloc((size_t)q->instrument->pads, sizeof *o->pad);
    if (!o->sweep || !o->pad)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", r->sweeps);
    for (int i = 0; i < q->instrument->pads; i++)
        o->pad[i] = q->instrument->pad[i].name;
    for (int i = 0; i < r->sweeps; i++) {
        const rg_record_sweep *s = &r->sweep[i];
        if (q->map[i]->frames_given == 0) /* the open key alone: nothing of the seal */
            continue;
        const rg_bin *widest = rg_archive_widest(&q->map[i]->map);
        o->sweep[o->sweeps++] =
            (rg_release_sweep){.pad = s->pad,
                               .verdict = q->map[i]->map.verdict,
                               .touch = touch_of(s->finger),
                               .grams = s->grams,
                               .day = s->taken_day < 0 ? s->judged_day : s->taken_day,
                               .widest_mm = widest ? widest->width_mm : NAN,
                               .u_widest_mm = widest ? widest->u_mm : NAN,
                               .widest_deg = widest ? widest->bearing_deg : NAN};
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- earlier visits */

static rg_code read_earlier(const rg_setup_request *q, owned *o, const char *bag, rg_error *err)
{
    earlier *e = &o->visit[o->visits];
    rg_copy_text(e->bag, sizeof e->bag, bag);
    rg_code code = rg_archive_record(q->archive, bag, &e->record, err);
    if (code == RG_OK)
        code = borrow_values(&e->record, day_of(&e->record), &e->value, err);
    if (code != RG_OK)
        return code;
    o->visited[o->visits++] = (rg_release_visit){.sequence = e->record.sequence,
                                                 .day = day_of(&e->record),
                                                 .value = e->value,
                                                 .values = e->record.values};
    return RG_OK;
}

/* Names of bags are in order of their sequence up to 9999, the most that a record can have. */
static rg_code read_visits(const rg_setup_request *q, owned *o, rg_error *err)
{
    rg_names bags = {0};
    int sequence;
    if (!q->archive)
        return RG_OK;
    rg_code code = rg_archive_bags(q->archive, q->record->serial, &bags, err);
    if (code == RG_OK) {
        o->visit = rg_alloc((size_t)bags.count, sizeof *o->visit);
        o->visited = rg_alloc((size_t)bags.count, sizeof *o->visited);
        if (!o->visit || !o->visited)
            code = rg_fail(err, RG_INTERNAL, "no memory for %d visits", bags.count);
    }
    for (int i = 0; code == RG_OK && i < bags.count; i++)
        if (rg_bag_name_parse(bags.name[i], &sequence) && sequence < q->record->sequence)
            code = read_earlier(q, o, bags.name[i], err);
    rg_names_free(&bags);
    return code;
}

/* ---------------------------------------------------------------- changes */

static rg_service_line *next_line(owned *o, int sequence, int day)
{
    rg_service_line *line = &o->line[o->lines++];
    *line = (rg_service_line){.sequence = sequence, .day = day};
    return line;
}

/* Does this sweep speak of the pad's seal under its own key? */
static bool is_of_seal(const rg_map_file *map, const char *pad)
{
    return map->frames_given > 0 && (!map->key[0] || strcmp(map->key, pad) == 0);
}

static bool has_pad(const rg_record *record, const char *pad)
{
    for (int i = 0; i < record->sweeps; i++)
        if (strcmp(record->sweep[i].pad, pad) == 0)
            return true;
    return false;
}

/* A visit: this one, whose maps are at hand, or an earlier one, whose maps are read into *map. */
typedef struct visit_maps {
    const rg_setup_request *q;
    const earlier *earlier; /* NULL: this visit */
    rg_map_file *map;
} visit_maps;

static rg_code map_of(const visit_maps *v, int sweep, const rg_map_file **map, rg_error *err)
{
    *map = v->earlier ? v->map : v->q->map[sweep];
    return v->earlier ? rg_archive_map(v->q->archive, v->earlier->bag,
                                       v->earlier->record.sweep[sweep].name, v->map, NULL, err)
                      : RG_OK;
}

/* The last sweep of a pad's seal, under anything but a firm finger where there is one; *map NULL: none. */
static rg_code find_sweep(const visit_maps *v, const char *pad, const rg_map_file **map,
                          rg_error *err)
{
    const rg_record *r = v->earlier ? &v->earlier->record : v->q->record;
    for (int firm = 0; firm < 2; firm++)
        for (int i = r->sweeps - 1; i >= 0; i--) {
            if (strcmp(r->sweep[i].pad, pad) != 0 ||
                (strcmp(r->sweep[i].finger, "firm") == 0) != (firm == 1))
                continue;
            rg_code code = map_of(v, i, map, err);
            if (code != RG_OK || is_of_seal(*map, pad))
                return code;
        }
    *map = NULL;
    return RG_OK;
}

static double widest_of(const rg_map_file *map)
{
    const rg_bin *bin = rg_archive_widest(&map->map);
    return bin ? bin->width_mm : NAN;
}

static void add_pad_line(owned *o, const char *pad, const earlier *e, const rg_map_file *then,
                         const rg_map_file *now, rg_change *change)
{
    rg_error why = {0};
    rg_service_line *line = next_line(o, e->record.sequence, day_of(&e->record));
    rg_copy_text(line->name, sizeof line->name, pad);
    if (rg_change_find(&then->map, &now->map, &o->change, change, &why) != RG_OK)
        *change = (rg_change){.overall = RG_CHANGE_UNSEEN, /* another rim */
                              .mean_change_mm = NAN,
                              .u_mean_change_mm = NAN};
    rg_service_pad(change, widest_of(then), widest_of(now), line);
}

static rg_code compare_pad(const rg_setup_request *q, owned *o, const char *pad, const earlier *e,
                           rg_error *err)
{
    const rg_map_file *then = NULL, *now = NULL;
    rg_map_file *before = rg_alloc(1, sizeof *before);
    rg_change *change = rg_alloc(1, sizeof *change);
    rg_code code = before && change ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory to compare");
    if (code == RG_OK)
        code = find_sweep(&(visit_maps){q, NULL, NULL}, pad, &now, err);
    if (code == RG_OK && now)
        code = find_sweep(&(visit_maps){q, e, before}, pad, &then, err);
    if (code == RG_OK && now && then)
        add_pad_line(o, pad, e, then, now, change);
    free(before);
    free(change);
    return code;
}

/* The newest earlier visit that has the pad, then the first one. */
static rg_code compare_visits(const rg_setup_request *q, owned *o, const char *pad, rg_error *err)
{
    int first = -1, last = -1;
    for (int i = 0; i < o->visits; i++) {
        if (!has_pad(&o->visit[i].record, pad))
            continue;
        first = first < 0 ? i : first;
        last = i;
    }
    rg_code code = last >= 0 ? compare_pad(q, o, pad, &o->visit[last], err) : RG_OK;
    return code == RG_OK && first != last ? compare_pad(q, o, pad, &o->visit[first], err) : code;
}

static void compare_value(const rg_setup_request *q, owned *o, const rg_release_value *now)
{
    const rg_release_value *found[2] = {NULL, NULL};
    int at[2] = {-1, -1}; /* last, first */
    for (int i = 0; i < o->visits; i++)
        for (int k = 0; k < o->visited[i].values; k++)
            if (strcmp(o->visit[i].value[k].quantity, now->quantity) == 0)
                for (int which = 0; which < 2; which++)
                    if (which == 0 || at[1] < 0) {
                        found[which] = &o->visit[i].value[k];
                        at[which] = i;
                    }
    for (int which = 0; which < 2; which++)
        if (at[which] >= 0 && (which == 0 || at[1] != at[0])) {
            const rg_release_visit *v = &o->visited[at[which]];
            rg_service_value(found[which], now, q->rules->rules.coverage_factor,
                             next_line(o, v->sequence, v->day));
        }
}

static rg_code compare(const rg_setup_request *q, owned *o, rg_error *err)
{
    size_t most = 2 * (size_t)(q->instrument->pads + q->values->values);
    o->line = rg_alloc(most, sizeof *o->line);
    rg_code code = o->line ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory to compare visits");
    if (q->change) {
        o->change = *q->change;
        o->change.coverage_factor = q->rules->rules.coverage_factor; /* one k on one sheet */
    }
    for (int i = 0; code == RG_OK && q->change && i < q->instrument->pads; i++)
        code = compare_visits(q, o, q->instrument->pad[i].name, err);
    for (int i = 0; code == RG_OK && i < q->values->values; i++)
        compare_value(q, o, &o->value[i]);
    return code;
}

/* ---------------------------------------------------------------- making */

static void fill_sheet(const rg_setup_request *q, const owned *o, rg_setup_made *made)
{
    const rg_record *r = q->record;
    made->sheet = (rg_setup_sheet){.serial = r->serial,
                                   .model = r->model,
                                   .bag = q->bag,
                                   .technician = r->technician,
                                   .occasion = r->occasion,
                                   .note = r->note,
                                   .software = "rimglow " RG_VERSION,
                                   .rules = q->rules->file,
                                   .values = q->values_name,
                                   .rules_sha256 = q->rules->sha256,
                                   .time = o->time,
                                   .sequence = r->sequence,
                                   .day = q->day,
                                   .coverage_factor = q->rules->rules.coverage_factor,
                                   .change = q->change ? &o->change : NULL,
                                   .result = &made->result,
                                   .line = o->line,
                                   .lines = o->lines,
                                   .visits = o->visits,
                                   .work = o->work,
                                   .works = o->works};
}

static rg_code take_together(const rg_setup_request *q, rg_workup **workup, rg_error *err)
{
    const rg_record *r = q->record;
    if (!q->workup)
        return RG_OK;
    rg_workup_sweep *sweep = rg_alloc((size_t)r->sweeps, sizeof *sweep);
    if (!sweep)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", r->sweeps);
    for (int i = 0; i < r->sweeps; i++)
        sweep[i] = (rg_workup_sweep){r->sweep[i].pad, q->map[i]};
    rg_code code = rg_workup_make(q->instrument, sweep, r->sweeps, q->workup, workup, err);
    free(sweep);
    return code;
}

static void keep_work(void *context, const char *subject, const char *sentence)
{
    owned *o = context;
    if (o->works == o->room && !o->no_memory) {
        int room = o->room ? 2 * o->room : 64;
        rg_setup_work *more = rg_grow(o->work, (size_t)room, sizeof *more);
        o->no_memory = !more;
        o->work = more ? more : o->work;
        o->room = more ? room : o->room;
    }
    if (o->no_memory)
        return;
    rg_setup_work *w = &o->work[o->works++];
    rg_copy_text(w->subject, sizeof w->subject, subject);
    rg_copy_text(w->sentence, sizeof w->sentence, sentence);
}

static rg_code collect_work(const rg_workup *workup, owned *o, rg_error *err)
{
    if (workup)
        rg_workup_tell(workup, keep_work, o);
    return o->no_memory ? rg_fail(err, RG_INTERNAL, "no memory for the work of a set-up sheet")
                        : RG_OK;
}

static rg_code judge_items(const rg_setup_request *q, const owned *o,
                           const rg_release_section *section, int sections,
                           rg_release_result *result, rg_error *err)
{
    const rg_release_evidence evidence = {.further = section,
                                          .furthers = sections,
                                          .day = q->day,
                                          .pad = o->pad,
                                          .pads = q->instrument->pads,
                                          .sweep = o->sweep,
                                          .sweeps = o->sweeps,
                                          .value = o->value,
                                          .values = q->values->values,
                                          .check = o->check,
                                          .checks = q->values->checks,
                                          .visit = o->visited,
                                          .visits = o->visits};
    return rg_release_judge(&q->rules->rules, &evidence, result, err);
}

static rg_code judge(const rg_setup_request *q, const owned *o, const rg_workup *workup,
                     rg_release_result *result, rg_error *err)
{
    rg_release_section section[RG_WORKUP_SECTIONS];
    rg_release_item *item = rg_alloc(RG_WORKUP_ITEMS, sizeof *item);
    if (!item)
        return rg_fail(err, RG_INTERNAL, "no memory for a set-up sheet");
    if (workup)
        rg_workup_sections(workup, item, section);
    rg_code code = judge_items(q, o, section, workup ? RG_WORKUP_SECTIONS : 0, result, err);
    free(item);
    return code;
}

rg_code rg_setup_make(const rg_setup_request *q, rg_setup_made *made, rg_error *err)
{
    *made = (rg_setup_made){0};
    owned *o = rg_alloc(1, sizeof *o);
    if (!o)
        return rg_fail(err, RG_INTERNAL, "no memory for a set-up sheet");
    made->owned = o;
    rg_record_time_format(q->record->time, o->time);
    rg_code code = borrow_sweeps(q, o, err);
    if (code == RG_OK)
        code = borrow_values(q->values, day_of(q->record), &o->value, err);
    if (code == RG_OK)
        code = borrow_checks(q->values, day_of(q->record), &o->check, err);
    if (code == RG_OK)
        code = read_visits(q, o, err);
    if (code == RG_OK)
        code = take_together(q, &made->workup, err);
    if (code == RG_OK)
        code = judge(q, o, made->workup, &made->result, err);
    if (code == RG_OK)
        code = compare(q, o, err);
    if (code == RG_OK)
        code = collect_work(made->workup, o, err);
    if (code == RG_OK)
        fill_sheet(q, o, made);
    else
        rg_setup_made_free(made);
    return code;
}

void rg_setup_made_free(rg_setup_made *made)
{
    owned *o = made->owned;
    for (int i = 0; o && i < o->visits; i++) {
        rg_record_free(&o->visit[i].record);
        free(o->visit[i].value);
    }
    if (o) {
        free(o->pad);
        free(o->sweep);
        free(o->value);
        free(o->check);
        free(o->visit);
        free(o->visited);
        free(o->line);
        free(o->work);
    }
    free(o);
    rg_workup_free(made->workup);
    rg_release_result_free(&made->result);
    *made = (rg_setup_made){0};
}

/* ---------------------------------------------------------------- a bag */

static rg_code read_instrument(const rg_archive *archive, rg_setup_bag *b, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    if (b->record.sweeps == 0)
        return rg_fail(err, RG_BAD_DATA, "%s: has no sweep, so no instrument file", b->bag);
    rg_code code = rg_archive_path(archive, b->bag, b->record.sweep[0].instrument_file, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &b->instrument, err);
    free(text);
    return code;
}

static rg_code read_maps(const rg_archive *archive, rg_setup_bag *b, rg_error *err)
{
    size_t n = (size_t)b->record.sweeps;
    b->maps = rg_alloc(n, sizeof *b->maps);
    b->map = rg_alloc(n, sizeof *b->map);
    rg_code code =
        b->maps && b->map ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %zu seal maps", n);
    for (size_t i = 0; code == RG_OK && i < n; i++) {
        b->map[i] = &b->maps[i];
        code = rg_archive_map(archive, b->bag, b->record.sweep[i].name, &b->maps[i], NULL, err);
    }
    return code;
}

rg_code rg_setup_bag_read(const rg_archive *archive, const char *name, rg_setup_bag *bag,
                          rg_error *err)
{
    *bag = (rg_setup_bag){0};
    rg_copy_text(bag->bag, sizeof bag->bag, name);
    rg_code code = rg_archive_record(archive, name, &bag->record, err);
    if (code == RG_OK)
        code = read_instrument(archive, bag, err);
    if (code == RG_OK)
        code = read_maps(archive, bag, err);
    if (code != RG_OK)
        rg_setup_bag_free(bag);
    return code;
}

void rg_setup_bag_free(rg_setup_bag *bag)
{
    rg_record_free(&bag->record);
    rg_instrument_free(&bag->instrument);
    free(bag->maps);
    free(bag->map);
    *bag = (rg_setup_bag){0};
}

/* ---------------------------------------------------------------- checking again */

static rg_code read_inside(const rg_archive *archive, const char *bag, const char *inside,
                           size_t most, char path[RG_ARCHIVE_PATH], char **text, size_t *size,
                           rg_error *err)
{
    uint8_t *bytes = NULL;
    rg_code code = rg_archive_path(archive, bag, inside, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, most, &bytes, size, err);
    *text = (char *)bytes;
    return code;
}

static void compare_said(const rg_setup_said *said, const rg_setup_made *made,
                         char why[RG_SETUP_WHY])
{
    const rg_release_result *r = &made->result;
    bool release = r->decision == RG_DECISION_RELEASE;
    if (strcmp(said->serial, made->sheet.serial) != 0 || strcmp(said->bag, made->sheet.bag) != 0)
        snprintf(why, RG_SETUP_WHY, "is the sheet of %.120s, %.120s", said->serial, said->bag);
    else if (said->release != release)
        snprintf(why, RG_SETUP_WHY, "says %s; the bag's own maps, values and rules say %s",
                 said->release ? "release" : "hold", rg_decision_name(r->decision));
    else if (said->items != r->items || said->reasons != r->reasons)
        snprintf(why, RG_SETUP_WHY,
                 "has %d items and %d reasons; the bag's own maps, values and rules give %d and %d",
                 said->items, said->reasons, r->items, r->reasons);
}

/* A bag from before there was a work-up has no settings of it. */
static rg_code read_workup(const rg_archive *archive, const char *name,
                           rg_workup_settings *settings, bool *there, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_code code = rg_archive_path(archive, name, RG_SETUP_WORK, path, err);
    *settings = (rg_workup_settings){0};
    *there = code == RG_OK && access(path, F_OK) == 0;
    if (code == RG_OK && *there)
        code = rg_archive_path(archive, name, RG_SETUP_FOLDER, path, err);
    return code == RG_OK && *there ? rg_workup_settings_load(path, settings, err) : code;
}

static rg_code judge_again(const rg_archive *archive, const char *name, const rg_setup_said *said,
                           char why[RG_SETUP_WHY], rg_error *err)
{
    rg_workup_settings workup = {0};
    bool worked_up = false;
    rg_setup_rules rules = {0};
    rg_setup_bag bag = {0};
    rg_setup_made made = {0};
    char path[RG_ARCHIVE_PATH];
    rg_code code = read_inside(archive, name, RG_SETUP_RULES, RG_CONFIG_MAX_BYTES, path,
                               &rules.text, &rules.size, err);
    if (code == RG_OK)
        code = parse_rules(path, &rules, err);
    if (code == RG_OK)
        code = rg_setup_bag_read(archive, name, &bag, err);
    if (code == RG_OK)
        code = read_workup(archive, name, &workup, &worked_up, err);
    if (code == RG_OK) {
        const rg_setup_request q = {.archive = archive,
                                    .workup = worked_up ? &workup : NULL,
                                    .bag = name,
                                    .record = &bag.record,
                                    .map = bag.map,
                                    .values = &bag.record,
                                    .values_name = "",
                                    .instrument = &bag.instrument,
                                    .rules = &rules,
                                    .day = said->day};
        code = rg_setup_make(&q, &made, err);
    }
    if (code == RG_OK)
        compare_said(said, &made, why);
    rg_setup_made_free(&made);
    rg_setup_bag_free(&bag);
    rg_setup_rules_free(&rules);
    rg_workup_settings_free(&workup);
    return code;
}

rg_code rg_setup_recheck(const rg_archive *archive, const char *bag, char why[RG_SETUP_WHY],
                         bool *other_version, rg_error *err)
{
    char path[RG_ARCHIVE_PATH], *text = NULL;
    size_t size = 0;
    rg_setup_said said;
    rg_error fault = {0};
    why[0] = 0;
    *other_version = false;
    rg_code code = rg_archive_path(archive, bag, RG_SETUP_JSON, path, &fault);
    if (code != RG_OK || access(path, F_OK) != 0)
        return RG_OK;
    code = read_inside(archive, bag, RG_SETUP_JSON, RG_SETUP_JSON_MAX_BYTES, path, &text, &size,
                       &fault);
    if (code == RG_OK)
        code = rg_setup_report_parse(path, text, size, &said, &fault);
    if (code == RG_OK) {
        *other_version = strcmp(said.software, "rimglow " RG_VERSION) != 0;
        code = judge_again(archive, bag, &said, why, &fault);
    }
    free(text);
    if (code == RG_INTERNAL)
        return rg_fail(err, code, "%s", fault.text);
    if (code != RG_OK)
        snprintf(why, RG_SETUP_WHY, "%.390s", fault.text);
    return RG_OK;
}

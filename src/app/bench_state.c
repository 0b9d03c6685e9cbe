/*
 * bench_state.c - the session as JSON, as a server-sent event (WHATWG HTML, 9.2).
 */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bench_private.h"
#include "rimglow/date.h"
#include "rimglow/pad_verdict.h"
#include "rimglow/text.h"

enum { OVERLAY_POINTS = 72 };

/* What does not exist is null. */
static json_t *number(double value, double step)
{
    return isfinite(value) ? json_real(round(value / step) * step) : json_null();
}

/* Text that may come from anywhere: bytes that are no UTF-8 become '?'. */
static json_t *words(const char *text)
{
    char safe[RG_BENCH_MESSAGE];
    size_t left = strlen(text), n = 0;
    while (left && n + 4 < sizeof safe) {
        size_t k = rg_utf8_length(text, left);
        if (k)
            memcpy(safe + n, text, k);
        else
            safe[n] = '?';
        n += k ? k : 1;
        text += k ? k : 1;
        left -= k ? k : 1;
    }
    safe[n] = 0;
    return json_string(safe);
}

json_t *rg_bench_words(const char *text)
{
    return words(text);
}

static json_t *finger_json(const rg_bench *b)
{
    return json_pack("{s:s, s:o}", "kind", rg_finger_name(b->finger), "grams",
                     b->finger == RG_FINGER_GRAMS ? json_real(b->grams) : json_null());
}

static const char *waits_for(const rg_bench *b)
{
    if (!b->held.size)
        return "";
    return b->held.role == RG_ROLE_WITNESS ? "witness" : "closed";
}

static json_t *source_json(const rg_bench *b)
{
    static const char *const name[] = {"frame", "wait", "away", "end"};
    return json_pack("{s:s, s:o, s:b, s:s}", "state", b->source ? name[b->source_state] : "none",
                     "note", words(b->source_note), "replay", b->options.replays > 0, "waits_for",
                     waits_for(b));
}

static json_t *finished_json(const rg_bench *b)
{
    if (!b->bag[0])
        return json_null();
    return json_pack("{s:o, s:s, s:b}", "bag", words(b->bag), "verdict",
                     rg_verdict_name(b->bag_verdict), "certificate", b->certificate);
}

static json_t *finger_result_json(const rg_bench_result *r)
{
    return json_pack("{s:s, s:o, s:o, s:s, s:o, s:o, s:o, s:o, s:i, s:i, s:b}", "finger",
                     rg_finger_name(r->finger), "grams",
                     r->finger == RG_FINGER_GRAMS ? json_real(r->grams) : json_null(), "key",
                     words(r->key), "verdict", rg_verdict_name(r->verdict), "widest_mm",
                     number(r->widest_mm, 1e-4), "U_widest_mm", number(r->U_widest_mm, 1e-4),
                     "widest_deg", number(r->widest_deg, 0.1), "area_mm2",
                     number(r->area_mm2, 1e-5), "seen", r->seen, "kept", r->kept, "earlier",
                     r->earlier);
}

static json_t *keys_json(const rg_bench *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->instrument.pads; i++)
        if (rg_bench_closes(b, i, b->at))
            json_array_append_new(list, words(b->instrument.pad[i].name));
    return list;
}

static json_t *fingers_json(const rg_bench_pad *p)
{
    json_t *list = json_array();
    for (int i = 0; i < p->results; i++)
        json_array_append_new(list, finger_result_json(&p->result[i]));
    return list;
}

static json_t *pad_json(const rg_bench *b, int i)
{
    const rg_bench_pad *p = &b->pads[i];
    const rg_bench_result *r = rg_bench_pad_worst(p);
    bool only_firm;
    rg_verdict verdict = rg_bench_pad_verdict(p, &only_firm);
    json_t *json = json_pack("{s:o, s:o, s:s, s:o, s:o, s:o, s:o}", "name", words(p->pad->name),
                             "notes", words(p->pad->notes), "state",
                             i == b->at ? "now"
                             : r        ? "done"
                                        : "open",
                             "verdict", r ? json_string(rg_verdict_name(verdict)) : json_null(),
                             "reason", only_firm ? json_string(rg_pad_only_firm) : json_null(),
                             "unmeasured", p->unmeasured[0] ? words(p->unmeasured) : json_null(),
                             "fingers", fingers_json(p));
    json_t *rest = json_pack("{s:o, s:o, s:o, s:i, s:i, s:i, s:o}", "widest_mm",
                             number(r ? r->widest_mm : NAN, 1e-4), "U_widest_mm",
                             number(r ? r->U_widest_mm : NAN, 1e-4), "widest_deg",
                             number(r ? r->widest_deg : NAN, 0.1), "seen", r ? r->seen : 0,
                             "sweeps", p->sweeps, "kept", r ? r->kept : 0, "note", words(p->note));
    json_object_update(json, rest);
    json_decref(rest);
    return json;
}

static json_t *pads_json(const rg_bench *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->instrument.pads; i++)
        json_array_append_new(list, pad_json(b, i));
    return list;
}

static json_t *coverage_json(const rg_coverage *c)
{
    json_t *visited = json_array(), *seen = json_array();
    for (int s = 0; s < RG_COVER_SECTORS; s++) {
        int bits = 0;
        for (int l = 0; l < RG_COVER_LEVELS; l++)
            bits |= c->visited[s][l] ? 1 << l : 0;
        json_array_append_new(visited, json_integer(bits));
        json_array_append_new(seen, json_boolean(c->seen[s]));
    }
    return json_pack("{s:o, s:o, s:i, s:b, s:o}", "visited", visited, "seen", seen, "seen_bearings",
                     c->seen_bearings, "witness", c->witness, "missing", words(c->missing));
}

static json_t *map_json(const rg_bench *b)
{
    static const char letter[] = {'s', 'g', 'u'};
    char text[RG_BINS + 1];
    rg_seal_map *map = calloc(1, sizeof *map);
    if (!map)
        return json_null();
    rg_live_map(b->live, map);
    for (int i = 0; i < RG_BINS; i++)
        text[i] = letter[map->bin[i].state];
    text[RG_BINS] = 0;
    free(map);
    return json_string(b->state.kept ? text : "");
}

static json_t *reasons_json(const rg_live_state *s)
{
    json_t *list = json_array();
    for (int i = 0; i < s->reasons && i < RG_REASONS_MAX; i++)
        json_array_append_new(list, words(s->reason[i]));
    return list;
}

static json_t *live_json(const rg_bench *b)
{
    static const char *const want[] = {"witness", "closed", "done"};
    static const char *const guide[] = {"lost", "level", "too high", "too low"};
    const rg_live_state *s = &b->state;
    if (!b->live)
        return json_null();
    json_t *json = json_pack(
        "{s:s, s:i, s:i, s:i, s:i, s:i, s:o, s:b, s:o, s:o, s:s, s:o}", "want", want[s->want],
        "witnesses", s->witnesses, "offered", s->offered, "kept", s->kept, "skipped", s->skipped,
        "left_out", s->left_out, "last_reason", words(s->last_reason), "posed", s->posed,
        "bearing_deg", number(s->bearing_deg, 0.1), "elevation_deg", number(s->elevation_deg, 0.01),
        "guide", guide[s->guide], "guide_text", words(s->guide_text));
    json_t *rest = json_pack("{s:s, s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "verdict",
                             rg_verdict_name(s->verdict), "decided", s->decided, "widest_mm",
                             number(s->widest_mm, 1e-4), "U_widest_mm",
                             number(s->U_widest_mm, 1e-4), "widest_deg", number(s->widest_deg, 0.1),
                             "reasons", reasons_json(s), "latency_ms", number(s->latency_ms, 0.1),
                             "coverage", coverage_json(&s->coverage), "map", map_json(b));
    json_object_update(json, rest);
    json_decref(rest);
    return json;
}

static json_t *overlay_json(const rg_bench *b)
{
    rg_live_overlay o;
    if (!b->live || !rg_live_overlay_of(b->live, &o))
        return json_null();
    json_t *x = json_array(), *y = json_array(), *lit = json_array(), *hidden = json_array();
    for (int i = 0; i < o.points && i < OVERLAY_POINTS; i++) {
        json_array_append_new(x, number(o.x[i], 0.1));
        json_array_append_new(y, number(o.y[i], 0.1));
        json_array_append_new(lit, json_boolean(o.lit[i]));
        json_array_append_new(hidden, json_boolean(o.hidden[i]));
    }
    return json_pack("{s:I, s:i, s:i, s:o, s:o, s:o, s:o}", "frame", (json_int_t)o.frame, "width",
                     o.width, "height", o.height, "x", x, "y", y, "lit", lit, "hidden", hidden);
}

static json_t *account_json(const rg_bench *b)
{
    rg_bench_account a = rg_bench_accounts(b);
    return json_pack("{s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I, s:I}", "given",
                     (json_int_t)a.source.given, "bad", (json_int_t)a.source.bad, "missed",
                     (json_int_t)a.source.missed, "away", (json_int_t)a.source.away, "passed",
                     (json_int_t)a.passed, "offered", (json_int_t)a.offered, "kept",
                     (json_int_t)a.kept, "left_out", (json_int_t)a.left_out, "skipped",
                     (json_int_t)a.skipped);
}

static json_t *day_json(int day)
{
    char text[RG_DATE_TEXT];
    rg_date_format(day, text);
    return day < 0 ? json_null() : json_string(text);
}

static json_t *earlier_json(const rg_bench *b)
{
    const rg_bench_earlier *e = &b->earlier;
    return json_pack("{s:i, s:o, s:o, s:o}", "pads", e->pads, "first", day_json(e->first_day),
                     "last", day_json(e->last_day), "bag", e->bag[0] ? words(e->bag) : json_null());
}

static json_t *steps_json(const rg_rank_line *line)
{
    json_t *list = json_array();
    for (int i = 0; i < line->steps; i++) {
        const rg_rank_step *s = &line->step[i];
        json_array_append_new(list,
                              json_pack("{s:o, s:o, s:o}", "fault", words(s->fault), "correction",
                                        words(s->correction), "afterwards", words(s->afterwards)));
    }
    return list;
}

static json_t *pitch_json(int pitch)
{
    char name[RG_PITCH_NAME];
    rg_pitch_name(pitch, name);
    return pitch < 0 ? json_null() : json_string(name);
}

static json_t *rank_json(const rg_bench *b, const rg_rank_line *line)
{
    const rg_bench_pad *p = &b->pads[line->pad];
    json_t *json = json_pack(
        "{s:i, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "pad", line->pad, "name", words(p->pad->name),
        "verdict",
        p->results ? json_string(rg_verdict_name(rg_bench_pad_verdict(p, NULL))) : json_null(),
        "area_mm2", number(line->area_mm2, 1e-4), "width_mm", number(line->width_mm, 1e-4),
        "U_width_mm", number(line->U_width_mm, 1e-4), "bearing_deg", number(line->bearing_deg, 0.1),
        "sentence", words(line->sentence));
    json_t *work = json_pack("{s:o, s:o, s:o, s:i, s:o, s:o, s:o, s:i}", "orifice_mm",
                             number(line->orifice_mm, 1e-3), "orifice_low_mm",
                             number(line->orifice_low_mm, 1e-3), "orifice_high_mm",
                             number(line->orifice_high_mm, 1e-3), "unseen", line->unseen,
                             "starts_at", pitch_json(line->starts_at), "notes",
                             line->notes < 0 ? json_null() : json_integer(line->notes), "steps",
                             steps_json(line), "more", line->more);
    json_object_update(json, work);
    json_decref(work);
    return json;
}

static json_t *worklist_json(const rg_bench *b)
{
    json_t *list = json_array();
    for (int i = 0; b->worklist.line && i < b->instrument.pads; i++)
        json_array_append_new(list, rank_json(b, &b->worklist.line[i]));
    return list;
}

static json_t *setup_json(const rg_bench_setup *s)
{
    json_t *values = json_array(), *checks = json_array(), *remarks = json_array();
    for (int i = 0; i < s->values; i++) {
        const rg_measured_value *v = &s->value[i];
        if (v->kind == RG_VALUE_CHECK)
            json_array_append_new(
                checks, json_pack("{s:o, s:b}", "name", words(v->quantity), "done", v->done));
        if (v->kind != RG_VALUE_NUMBER)
            continue;
        json_array_append_new(values, json_pack("{s:o, s:f, s:o, s:o, s:o}", "quantity",
                                                words(v->quantity), "value", v->value, "u",
                                                v->u > 0 ? json_real(v->u) : json_null(), "unit",
                                                words(v->unit), "with", words(v->with)));
    }
    for (int i = 0; i < s->remarks; i++)
        json_array_append_new(remarks, json_pack("{s:o, s:o}", "topic", words(s->remark[i].topic),
                                                 "text", words(s->remark[i].text)));
    return json_pack("{s:o, s:o, s:o}", "values", values, "checks", checks, "remarks", remarks);
}

static json_t *state_json(const rg_bench *b)
{
    static const char *const role[] = {"none", "witness", "closed"};
    return json_pack("{s:I, s:o, s:o, s:o, s:o, s:o, s:i, s:s, s:o, s:o, s:o, s:b, s:o, s:o, s:o, "
                     "s:o, s:o, s:o, "
                     "s:o, s:o}",
                     "version", (json_int_t)b->version, "serial", words(b->options.serial),
                     "instrument", words(b->instrument.name), "technician", words(b->technician),
                     "archive", words(b->options.archive), "occasion", words(b->occasion), "pad",
                     b->at, "role", role[b->role], "finger", finger_json(b), "source",
                     source_json(b), "message", words(b->message), "busy", b->busy, "finished",
                     finished_json(b), "pads", pads_json(b), "earlier", earlier_json(b), "worklist",
                     worklist_json(b), "setup", setup_json(&b->setup), "live", live_json(b),
                     "overlay", overlay_json(b), "account", account_json(b));
}

rg_code rg_bench_publish(rg_bench *b, rg_error *err)
{
    json_t *json = state_json(b);
    json_object_set_new(json, "calibration", rg_bench_calibration_json(b));
    json_object_set_new(json, "key", words(b->key));
    json_object_set_new(json, "keys", keys_json(b));
    json_object_set_new(json, "worklist_fault",
                        b->worklist.fault[0] ? words(b->worklist.fault) : json_null());
    char *text = json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(json);
    if (!text)
        return rg_fail(err, RG_INTERNAL, "the state cannot be written as JSON");
    const rg_feed_part part[] = {{"data: ", 6}, {text, strlen(text)}, {"\n\n", 2}};
    rg_code code = rg_feed_put(b->events, part, 3, err);
    free(text);
    return code;
}

/*
 * workup_json.c - the work-up of an instrument as one JSON document. See workup.h.
 */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/diagnosis_report.h"
#include "rimglow/flow_report.h"
#include "rimglow/keys_report.h"
#include "rimglow/version.h"
#include "rimglow/workup.h"

/* A document that another module wrote, as a part of this one; its text is freed. */
static rg_code part(rg_code code, char *text, json_t **json, rg_error *err)
{
    *json = NULL;
    if (code != RG_OK)
        return code;
    *json = json_loads(text, 0, NULL);
    free(text);
    return *json ? RG_OK : rg_fail(err, RG_INTERNAL, "a part of the work-up is no JSON");
}

static json_t *number(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static rg_code pad_json(const rg_workup_pad *p, const char *serial, json_t *list, rg_error *err)
{
    char *text = NULL;
    json_t *diagnosis = NULL, *repeat = NULL;
    rg_code code = RG_OK;
    if (p->diagnosed) {
        const rg_diagnosis_report report = {serial, p->pad->name, &p->diagnosis};
        code = rg_diagnosis_report_text(&report, &text, err);
        code = part(code, text, &diagnosis, err);
    }
    if (code == RG_OK && p->has_repeat) {
        code = rg_keys_report_repeat(p->pad->name, &p->repeat, &text, err);
        code = part(code, text, &repeat, err);
    }
    if (code == RG_OK && (p->diagnosed || p->has_repeat || p->opened >= 0))
        json_array_append_new(list,
                              json_pack("{s:s, s:i, s:O?, s:O?}", "pad", p->pad->name, "sweep",
                                        p->sweep, "diagnosis", diagnosis, "repeat", repeat));
    json_decref(diagnosis);
    json_decref(repeat);
    return code;
}

static rg_code leaks_json(const rg_workup *w, const char *serial,
                          const rg_workup_settings *settings, json_t **json, rg_error *err)
{
    rg_flow_report_pad pad[RG_PADS_MAX];
    char *text = NULL;
    int n = 0;
    for (int k = 0; k < w->instrument->pads; k++)
        if (w->pad[k].has_flow)
            pad[n++] = (rg_flow_report_pad){k, &w->pad[k].flow};
    bool notes = !w->notes_fault[0];
    const rg_flow_report report = {.serial = serial,
                                   .instrument = w->instrument->name,
                                   .options = &settings->flow,
                                   .hole = w->hole,
                                   .pad = pad,
                                   .pads = notes ? n : 0,
                                   .total = &w->flow,
                                   .rank = w->rank,
                                   .ranks = w->ranks,
                                   .loss = w->loss,
                                   .losses = w->losses,
                                   .breath = w->breath,
                                   .breaths = w->breaths};
    rg_code code = rg_flow_report_text(&report, &text, err);
    return part(code, text, json, err);
}

static rg_code keys_json(const rg_workup *w, json_t *list, rg_error *err)
{
    rg_code code = RG_OK;
    for (int k = 0; code == RG_OK && k < w->keys; k++) {
        const rg_workup_key *key = &w->key[k];
        char *text = NULL;
        json_t *json;
        code = rg_keys_report_regulation(w->instrument->pad[key->driver].name, &key->regulation,
                                         w->link, &text, err);
        code = part(code, text, &json, err);
        if (code == RG_OK)
            json_array_append_new(list, json);
    }
    return code;
}

static json_t *heights_json(const rg_workup *w)
{
    static const char *const verdict[] = {[RG_HEIGHTS_KEPT] = "kept",
                                          [RG_HEIGHTS_BROKEN] = "broken",
                                          [RG_HEIGHTS_UNDECIDED] = "undecided"};
    json_t *keys = json_array();
    if (!w->has_heights) {
        json_decref(keys);
        return json_null();
    }
    for (int k = 0; k < w->heights.keys; k++) {
        const rg_height_finding *f = &w->heights.finding[k];
        const rg_height_key *h = &w->height[k];
        json_array_append_new(
            keys, json_pack("{s:s, s:o, s:o, s:o, s:o, s:s, s:s, s:o, s:o}", "pad", h->name,
                            "opening_mm", h->measured ? number(h->opening_mm) : json_null(), "u_mm",
                            h->measured ? number(h->u_mm) : json_null(), "target_mm",
                            number(h->target_mm), "tolerance_mm", number(h->tolerance_mm), "state",
                            rg_height_state_name(f->state), "order", rg_order_state_name(f->order),
                            "change_mm", number(f->change_mm), "after_mm", number(f->after_mm)));
    }
    return json_pack("{s:s, s:b, s:o}", "verdict", verdict[w->heights.verdict], "conflict",
                     w->heights.conflict, "keys", keys);
}

static void say_json(void *list, const char *subject, const char *sentence)
{
    json_array_append_new(list, json_pack("{s:s, s:s}", "subject", subject, "sentence", sentence));
}

rg_code rg_workup_json(const rg_workup *w, const char *serial, const rg_workup_settings *settings,
                       char **text, rg_error *err)
{
    json_t *pads = json_array(), *keys = json_array(), *work = json_array(), *leaks = NULL;
    rg_code code = RG_OK;
    *text = NULL;
    for (int k = 0; code == RG_OK && k < w->instrument->pads; k++)
        code = pad_json(&w->pad[k], serial, pads, err);
    if (code == RG_OK)
        code = leaks_json(w, serial, settings, &leaks, err);
    if (code == RG_OK)
        code = keys_json(w, keys, err);
    if (code == RG_OK) {
        rg_workup_tell(w, say_json, work);
        json_t *o =
            json_pack("{s:s, s:i, s:s, s:s, s:s, s:O, s:O, s:O, s:o, s:O}", "format",
                      "rimglow work-up", "version", 1, "software", "rimglow " RG_VERSION, "serial",
                      serial, "instrument", w->instrument->name, "pads", pads, "leaks", leaks,
                      "keys", keys, "heights", heights_json(w), "work", work);
        *text = o ? json_dumps(o, JSON_INDENT(1) | JSON_REAL_PRECISION(9)) : NULL;
        json_decref(o);
        if (!*text)
            code = rg_fail(err, RG_INTERNAL, "the work-up cannot be written as JSON");
    }
    json_decref(pads);
    json_decref(keys);
    json_decref(work);
    json_decref(leaks);
    return code;
}

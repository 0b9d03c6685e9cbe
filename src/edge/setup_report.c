/*
 * setup_report.c - JSON by jansson.
 */
#include "rimglow/setup_report.h"

#include <jansson.h>
#include <string.h>

#include "json_values.h"
#include "rimglow/date.h"
#include "rimglow/text.h"

enum { DIGITS = 9 };
static const char format_name[] = "rimglow set-up sheet";

static void set_number(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, rg_json_digits(value, DIGITS));
}

static const char *kind_name(rg_item_kind kind)
{
    static const char *const name[] = {[RG_ITEM_SEAL] = "pad",
                                       [RG_ITEM_VALUE] = "value",
                                       [RG_ITEM_BALANCE] = "balance",
                                       [RG_ITEM_CHECK] = "check",
                                       [RG_ITEM_FURTHER] = "further"};
    return name[kind];
}

static void set_pad(json_t *o, const rg_release_item *item)
{
    static const char *const finger[] = {[RG_TOUCH_UNSTATED] = "unstated",
                                         [RG_TOUCH_LIGHT] = "light",
                                         [RG_TOUCH_FIRM] = "firm",
                                         [RG_TOUCH_GRAMS] = "grams"};
    bool swept = item->state != RG_ITEM_NOT_MEASURED;
    rg_json_set_text(o, "verdict", swept ? rg_verdict_name(item->verdict) : NULL);
    rg_json_set_text(o, "finger", swept ? finger[item->touch] : NULL);
    set_number(o, "grams", item->grams);
    set_number(o, "bearing_deg", item->bearing_deg);
}

static json_t *item_object(const rg_release_item *item)
{
    json_t *o = json_object();
    rg_json_set_text(o, "kind", kind_name(item->kind));
    if (item->kind == RG_ITEM_FURTHER)
        rg_json_set_text(o, "section", item->section);
    rg_json_set_text(o, "name", item->name);
    rg_json_set_text(o, "state", rg_item_state_name(item->state));
    rg_json_set_switch(o, "required", item->required);
    rg_json_set_text(o, "unit", item->unit);
    set_number(o, "value", item->value);
    set_number(o, "u", item->u);
    set_number(o, "low", item->low);
    set_number(o, "high", item->high);
    set_number(o, "p_within", item->p_within);
    rg_json_set_text(o, "with", item->with);
    rg_json_set_text(o, "remark", item->remark);
    rg_json_set_day(o, "measured", item->day);
    if (item->kind == RG_ITEM_SEAL)
        set_pad(o, item);
    set_number(o, "reference", item->reference);
    json_object_set_new(o, "reference_visit",
                        item->reference_visit ? json_integer(item->reference_visit) : json_null());
    set_number(o, "change", item->change);
    set_number(o, "u_change", item->u_change);
    set_number(o, "change_low", item->change_low);
    set_number(o, "change_high", item->change_high);
    rg_json_set_text(o, "why", item->why);
    return o;
}

static json_t *line_object(const rg_service_line *line)
{
    json_t *o = json_object();
    rg_json_set_text(o, "kind", line->pad ? "pad" : "value");
    rg_json_set_text(o, "name", line->name);
    rg_json_set_text(o, "unit", line->unit);
    rg_json_set_whole(o, "visit", line->sequence);
    rg_json_set_day(o, "date", line->day);
    set_number(o, "then", line->then);
    set_number(o, "now", line->now);
    set_number(o, "change", line->change);
    set_number(o, "u", line->u_change);
    set_number(o, "bearing_deg", line->bearing_deg);
    rg_json_set_text(o, "state", rg_service_state_name(line->state, line->pad));
    return o;
}

static json_t *comparison(const rg_change_options *change)
{
    if (!change)
        return json_null();
    json_t *o = json_object();
    set_number(o, "turn_u_deg", change->turn_u_deg);
    set_number(o, "min_arc_deg", change->min_arc_deg);
    return o;
}

static void add_head(json_t *o, const rg_setup_sheet *s)
{
    json_t *rules = json_object();
    rg_json_set_text(o, "software", s->software);
    rg_json_set_text(o, "serial", s->serial);
    rg_json_set_text(o, "model", s->model);
    rg_json_set_text(o, "bag", s->bag);
    rg_json_set_whole(o, "sequence", s->sequence);
    rg_json_set_text(o, "time", s->time);
    rg_json_set_text(o, "technician", s->technician);
    rg_json_set_text(o, "occasion", s->occasion);
    rg_json_set_day(o, "judged", s->day);
    rg_json_set_text(o, "decision", rg_decision_name(s->result->decision));
    rg_json_set_switch(o, "shown_out", s->result->decision == RG_DECISION_HOLD_OUT);
    set_number(o, "coverage_factor", s->coverage_factor);
    rg_json_set_text(rules, "file", s->rules);
    rg_json_set_text(rules, "sha256", s->rules_sha256[0] ? s->rules_sha256 : NULL);
    json_object_set_new(o, "rules", rules);
    rg_json_set_text(o, "values", s->values);
    json_object_set_new(o, "comparison", comparison(s->change));
}

static json_t *reason_object(const rg_release_item *item)
{
    json_t *o = json_object();
    rg_json_set_text(o, "kind", kind_name(item->kind));
    rg_json_set_text(o, "name", item->name);
    rg_json_set_text(o, "state", rg_item_state_name(item->state));
    rg_json_set_text(o, "text", item->why);
    return o;
}

static void add_lists(json_t *o, const rg_setup_sheet *s)
{
    const rg_release_result *r = s->result;
    json_t *reasons = json_array(), *items = json_array(), *changes = json_array();
    for (int i = 0; i < r->reasons; i++)
        json_array_append_new(reasons, reason_object(&r->item[r->reason[i]]));
    for (int i = 0; i < r->items; i++)
        json_array_append_new(items, item_object(&r->item[i]));
    for (int i = 0; i < s->lines; i++)
        json_array_append_new(changes, line_object(&s->line[i]));
    json_object_set_new(o, "reasons", reasons);
    json_object_set_new(o, "items", items);
    json_object_set_new(o, "changes", changes);
}

rg_code rg_setup_report(const rg_setup_sheet *sheet, char **text, rg_error *err)
{
    json_t *o = rg_json_document(format_name);
    add_head(o, sheet);
    add_lists(o, sheet);
    return rg_json_write(o, DIGITS, "the set-up sheet", text, err);
}

/* ---------------------------------------------------------------- back in */

static rg_code wrong(const char *label, const char *what, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA, "%s: %s; it should be data/setup/setup.json of a bag", label,
                   what);
}

static bool copy(const json_t *o, const char *key, char *to, size_t size)
{
    const char *text = json_string_value(json_object_get(o, key));
    return text && rg_copy_text(to, size, text);
}

static rg_code read_said(const char *label, const json_t *o, rg_setup_said *said, rg_error *err)
{
    const char *format = json_string_value(json_object_get(o, "format"));
    const char *decision = json_string_value(json_object_get(o, "decision"));
    const char *judged = json_string_value(json_object_get(o, "judged"));
    const json_t *items = json_object_get(o, "items"), *reasons = json_object_get(o, "reasons");
    if (!format || strcmp(format, format_name) != 0 ||
        json_integer_value(json_object_get(o, "version")) != 1)
        return wrong(label, "format is not \"rimglow set-up sheet\", version 1", err);
    if (!copy(o, "serial", said->serial, sizeof said->serial) ||
        !copy(o, "bag", said->bag, sizeof said->bag) ||
        !copy(o, "software", said->software, sizeof said->software))
        return wrong(label, "serial, bag and software must be texts", err);
    if (!decision || (strcmp(decision, "release") != 0 && strcmp(decision, "hold") != 0))
        return wrong(label, "decision must be release or hold", err);
    if (!judged || !rg_date_parse(judged, &said->day))
        return wrong(label, "judged must be a date YYYY-MM-DD", err);
    if (!json_is_array(items) || !json_is_array(reasons))
        return wrong(label, "items and reasons must be lists", err);
    said->release = strcmp(decision, "release") == 0;
    said->items = (int)json_array_size(items);
    said->reasons = (int)json_array_size(reasons);
    return RG_OK;
}

rg_code rg_setup_report_parse(const char *label, const char *text, size_t size, rg_setup_said *said,
                              rg_error *err)
{
    json_error_t e;
    *said = (rg_setup_said){.day = -1};
    if (size > RG_SETUP_JSON_MAX_BYTES)
        return wrong(label, "it is too large", err);
    json_t *root = json_loadb(text ? text : "", text ? size : 0, JSON_REJECT_DUPLICATES, &e);
    rg_code code = json_is_object(root) ? read_said(label, root, said, err)
                                        : wrong(label, "it is no JSON object", err);
    json_decref(root);
    return code;
}

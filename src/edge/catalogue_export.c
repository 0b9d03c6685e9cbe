/*
 * catalogue_export.c - the index as CSV (RFC 4180) and JSON (RFC 8259, by jansson).
 *
 * Each kind of row names its fields once (inspection_fields and so on) and hands them to a sink,
 * which makes of them a header line, a line, or the members of an object.
 *
 * A spreadsheet runs a cell as a formula when it begins with = + - @, tab or CR (OWASP, "CSV
 * Injection"); such texts get a ' in front. Numbers are written by this program and stay.
 */
#include "rimglow/catalogue_export.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "catalogue_private.h"
#include "json_values.h"
#include "rimglow/date.h"
#include "rimglow/memory.h"

enum { TIME_TEXT = RG_DATE_TEXT + 16, JSON_DIGITS = 15 };

static const char *const table_name[RG_EXPORT_TABLES] = {"inspections", "pads", "arcs",
                                                         "setup-values"};

const char *rg_export_table_name(rg_export_table table)
{
    return (int)table >= 0 && (int)table < RG_EXPORT_TABLES ? table_name[table] : "?";
}

/* ---------------------------------------------------------------- sinks */

typedef enum sink_kind { SINK_NAMES, SINK_LINE, SINK_OBJECT } sink_kind;

typedef struct sink {
    sink_kind kind;
    json_t *object; /* SINK_OBJECT; borrowed */
    char *line;     /* the others; owned */
    size_t used, room;
    bool failed; /* out of memory */
} sink;

static void put_bytes(sink *s, const char *bytes, size_t n)
{
    if (s->used + n + 1 > s->room) {
        size_t room = 2 * s->room + n + 512;
        char *grown = rg_grow(s->line, room, 1);
        s->failed = s->failed || !grown;
        if (!grown)
            return;
        s->line = grown;
        s->room = room;
    }
    memcpy(s->line + s->used, bytes, n);
    s->used += n;
}

/* A field as it stands; quoted when it must be (RFC 4180, 2.6 and 2.7). */
static void put_field(sink *s, const char *text)
{
    if (s->used > 0)
        put_bytes(s, ",", 1);
    if (!strpbrk(text, ",\"\r\n")) {
        put_bytes(s, text, strlen(text));
        return;
    }
    put_bytes(s, "\"", 1);
    for (const char *p = text; *p; p++)
        put_bytes(s, *p == '"' ? "\"\"" : p, *p == '"' ? 2 : 1);
    put_bytes(s, "\"", 1);
}

static void put_member(sink *s, const char *name, json_t *value)
{
    s->failed = json_object_set_new(s->object, name, value) != 0 || s->failed;
}

static void put_text(sink *s, const char *name, const char *text)
{
    char guarded[sizeof((rg_catalogue_inspection *)0)->note + 1];
    switch (s->kind) {
    case SINK_NAMES:
        put_field(s, name);
        break;
    case SINK_LINE:
        snprintf(guarded, sizeof guarded, "%s%s", *text && strchr("=+-@\t\r", *text) ? "'" : "",
                 text);
        put_field(s, guarded);
        break;
    case SINK_OBJECT:
        put_member(s, name, *text ? rg_json_text(text) : json_null());
    }
}

static void put_real(sink *s, const char *name, double value)
{
    char number[RG_CATALOGUE_NUMBER];
    rg_catalogue_number(value, number);
    if (s->kind == SINK_OBJECT)
        put_member(s, name, isfinite(value) ? json_real(value) : json_null());
    else
        put_field(s, s->kind == SINK_NAMES ? name : number);
}

static void put_int(sink *s, const char *name, int64_t value)
{
    char number[24];
    snprintf(number, sizeof number, "%lld", (long long)value);
    if (s->kind == SINK_OBJECT)
        put_member(s, name, json_integer(value));
    else
        put_field(s, s->kind == SINK_NAMES ? name : number);
}

static void put_missing(sink *s, const char *name)
{
    if (s->kind == SINK_OBJECT)
        put_member(s, name, json_null());
    else
        put_field(s, s->kind == SINK_NAMES ? name : "");
}

static void put_bool(sink *s, const char *name, bool value)
{
    if (s->kind == SINK_OBJECT)
        put_member(s, name, json_boolean(value));
    else
        put_field(s, s->kind == SINK_NAMES ? name : value ? "true" : "false");
}

/* ---------------------------------------------------------------- fields */

/* ISO 8601, UTC. */
static void put_time(sink *s, int64_t time)
{
    char day[RG_DATE_TEXT], text[TIME_TEXT];
    int second = (int)(time % 86400);
    rg_date_format((int)(time / 86400), day);
    snprintf(text, sizeof text, "%sT%02d:%02d:%02dZ", day, second / 3600, second / 60 % 60,
             second % 60);
    put_text(s, "time", text);
}

static void key_fields(sink *s, const rg_catalogue_inspection *i)
{
    put_text(s, "bag", i->bag);
    put_text(s, "serial", i->serial);
    put_time(s, i->time);
}

static void inspection_fields(sink *s, const rg_catalogue_inspection *i)
{
    key_fields(s, i);
    put_text(s, "model", i->model);
    put_int(s, "sequence", i->sequence);
    put_text(s, "technician", i->technician);
    put_text(s, "occasion", i->occasion);
    put_text(s, "note", i->note);
    put_text(s, "software", i->software);
    put_text(s, "verdict", i->verdict);
    put_int(s, "pads_of_model", i->pads_of_model);
    put_text(s, "manifest_sha256", i->manifest);
    put_text(s, "tagmanifest_sha256", i->tagmanifest);
    put_text(s, "previous_manifest_sha256", i->previous_manifest);
    put_text(s, "key", i->key);
    put_int(s, "files", i->files);
    put_int(s, "bytes", i->bytes);
}

static void put_known(sink *s, const char *name, int value)
{
    if (value >= 0)
        put_int(s, name, value);
    else
        put_missing(s, name);
}

static void pad_fields(sink *s, const rg_catalogue_pad *p)
{
    char date[RG_DATE_TEXT] = "";
    if (p->calibration_day >= 0)
        rg_date_format(p->calibration_day, date);
    put_text(s, "sweep", p->name);
    put_text(s, "pad", p->pad);
    put_known(s, "position", p->position);
    put_text(s, "verdict", p->verdict);
    put_text(s, "finger", p->finger);
    put_real(s, "finger_grams", p->grams);
    put_real(s, "tolerance_mm", p->tolerance_mm);
    put_int(s, "seen_bearings", p->seen);
    put_real(s, "widest_mm", p->widest_mm);
    put_real(s, "u_widest_mm", p->u_widest_mm);
    put_real(s, "widest_deg", p->widest_deg);
    put_real(s, "mean_mm", p->mean_mm);
    put_real(s, "u_mean_mm", p->u_mean_mm);
    put_text(s, "station", p->station);
    put_text(s, "calibration_date", date);
    put_bool(s, "calibrated", p->calibrated);
    put_real(s, "radiance", p->radiance);
    put_real(s, "u_radiance_ln", p->u_radiance_ln);
    put_real(s, "psf_sigma_px", p->psf_sigma_px);
    put_int(s, "frames_used", p->frames_used);
    put_int(s, "frames_given", p->frames_given);
}

static void arc_fields(sink *s, const rg_catalogue_arc *a)
{
    put_real(s, "start_deg", a->start_deg);
    put_real(s, "end_deg", a->end_deg);
    put_real(s, "centre_deg", a->centre_deg);
    put_real(s, "extent_deg", a->extent_deg);
    put_real(s, "extent_mm", a->extent_mm);
    put_real(s, "max_width_mm", a->max_width_mm);
    put_real(s, "u_max_mm", a->u_max_mm);
    put_real(s, "max_bearing_deg", a->max_bearing_deg);
    put_real(s, "open_area_mm2", a->open_area_mm2);
}

static void value_fields(sink *s, const rg_catalogue_value *v)
{
    put_text(s, "quantity", v->quantity);
    put_real(s, "value", v->value);
    put_real(s, "u", v->u);
    put_text(s, "unit", v->unit);
    put_text(s, "with", v->with);
}

/* ---------------------------------------------------------------- CSV */

typedef struct csv {
    const rg_catalogue *catalogue;
    rg_export_table table;
    rg_export_write *write;
    void *context;
    sink sink;
} csv;

static rg_code no_memory(const rg_catalogue *c, rg_error *err)
{
    return rg_catalogue_fault(c, SQLITE_NOMEM, err);
}

/* A field may be empty, so a line that begins anew is told by used == 0 alone: every table's first
 * field is the bag, which never is. */
static rg_code end_line(csv *to, rg_error *err)
{
    put_bytes(&to->sink, "\r\n", 2);
    if (to->sink.failed)
        return no_memory(to->catalogue, err);
    rg_code code = to->write(to->context, to->sink.line, to->sink.used, err);
    to->sink.used = 0;
    return code;
}

static rg_code arc_lines(csv *to, const rg_catalogue_inspection *i, const rg_catalogue_pad *p,
                         rg_error *err)
{
    rg_code code = RG_OK;
    for (int a = 0; a < p->arcs && code == RG_OK; a++) {
        key_fields(&to->sink, i);
        put_text(&to->sink, "sweep", p->name);
        put_text(&to->sink, "pad", p->pad);
        put_int(&to->sink, "arc", a + 1);
        arc_fields(&to->sink, &p->arc[a]);
        code = end_line(to, err);
    }
    return code;
}

static rg_code pad_lines(csv *to, const rg_catalogue_inspection *i, rg_error *err)
{
    rg_code code = RG_OK;
    for (int p = 0; p < i->pads && code == RG_OK; p++) {
        if (to->table == RG_EXPORT_ARCS) {
            code = arc_lines(to, i, &i->pad[p], err);
            continue;
        }
        key_fields(&to->sink, i);
        pad_fields(&to->sink, &i->pad[p]);
        code = end_line(to, err);
    }
    return code;
}

static rg_code value_lines(csv *to, const rg_catalogue_inspection *i, rg_error *err)
{
    rg_code code = RG_OK;
    for (int v = 0; v < i->values && code == RG_OK; v++) {
        key_fields(&to->sink, i);
        value_fields(&to->sink, &i->value[v]);
        code = end_line(to, err);
    }
    return code;
}

static rg_code lines_of(void *context, const rg_catalogue_inspection *inspection, rg_error *err)
{
    csv *to = context;
    switch (to->table) {
    case RG_EXPORT_INSPECTIONS:
        inspection_fields(&to->sink, inspection);
        return end_line(to, err);
    case RG_EXPORT_PADS:
    case RG_EXPORT_ARCS:
        return pad_lines(to, inspection, err);
    default:
        return value_lines(to, inspection, err);
    }
}

/* The names are those of one row of each kind. */
static rg_code header_line(csv *to, rg_error *err)
{
    static const rg_catalogue_arc arc = {0};
    rg_catalogue_pad pad = {.arcs = 1, .arc = &arc};
    rg_catalogue_value value = {0};
    rg_catalogue_inspection row = {.pads = 1, .pad = &pad, .values = 1, .value = &value};
    to->sink.kind = SINK_NAMES;
    rg_code code = lines_of(to, &row, err);
    to->sink.kind = SINK_LINE;
    return code;
}

rg_code rg_export_csv(rg_catalogue *catalogue, const rg_catalogue_query *query,
                      rg_export_table table, rg_export_write *write, void *context, rg_error *err)
{
    csv to = {.catalogue = catalogue, .table = table, .write = write, .context = context};
    rg_code code = header_line(&to, err);
    if (code == RG_OK)
        code = rg_catalogue_each(catalogue, query, lines_of, &to, err);
    free(to.sink.line);
    return code;
}

/* ---------------------------------------------------------------- JSON */

typedef struct json_export {
    const rg_catalogue *catalogue;
    rg_export_write *write;
    void *context;
    int written;
} json_export;

/* A new object, the last of an array. */
static json_t *object_in(json_t *array, sink *s)
{
    json_t *o = json_object();
    *s = (sink){.kind = SINK_OBJECT, .object = o};
    return json_array_append_new(array, o) == 0 ? o : NULL;
}

static bool add_arcs(json_t *pad, const rg_catalogue_pad *p)
{
    json_t *arcs = json_array();
    bool ok = json_object_set_new(pad, "arcs", arcs) == 0;
    for (int a = 0; ok && a < p->arcs; a++) {
        sink s;
        ok = object_in(arcs, &s) != NULL;
        if (ok)
            arc_fields(&s, &p->arc[a]);
        ok = ok && !s.failed;
    }
    return ok;
}

static bool add_pads(json_t *inspection, const rg_catalogue_inspection *i)
{
    json_t *pads = json_array();
    bool ok = json_object_set_new(inspection, "pads", pads) == 0;
    for (int p = 0; ok && p < i->pads; p++) {
        sink s;
        json_t *pad = object_in(pads, &s);
        ok = pad != NULL;
        if (ok)
            pad_fields(&s, &i->pad[p]);
        ok = ok && !s.failed && add_arcs(pad, &i->pad[p]);
    }
    return ok;
}

static bool add_values(json_t *inspection, const rg_catalogue_inspection *i)
{
    json_t *values = json_array();
    bool ok = json_object_set_new(inspection, "setup", values) == 0;
    for (int v = 0; ok && v < i->values; v++) {
        sink s;
        ok = object_in(values, &s) != NULL;
        if (ok)
            value_fields(&s, &i->value[v]);
        ok = ok && !s.failed;
    }
    return ok;
}

/* Owned by the caller (free()); NULL without memory. */
static char *text_of(const rg_catalogue_inspection *inspection)
{
    sink s = {.kind = SINK_OBJECT, .object = json_object()};
    if (s.object)
        inspection_fields(&s, inspection);
    bool ok =
        s.object && !s.failed && add_pads(s.object, inspection) && add_values(s.object, inspection);
    char *text =
        ok ? json_dumps(s.object, JSON_INDENT(1) | JSON_REAL_PRECISION(JSON_DIGITS)) : NULL;
    json_decref(s.object);
    return text;
}

static rg_code object_of(void *context, const rg_catalogue_inspection *inspection, rg_error *err)
{
    json_export *to = context;
    char *text = text_of(inspection);
    if (!text)
        return no_memory(to->catalogue, err);
    rg_code code = to->written++ > 0 ? to->write(to->context, ",\n", 2, err) : RG_OK;
    if (code == RG_OK)
        code = to->write(to->context, text, strlen(text), err);
    free(text);
    return code;
}

rg_code rg_export_json(rg_catalogue *catalogue, const rg_catalogue_query *query,
                       rg_export_write *write, void *context, rg_error *err)
{
    static const char head[] = "{\"format\": \"rimglow archive export\", \"version\": 1,\n"
                               " \"inspections\": [\n";
    static const char tail[] = "\n]}\n";
    json_export to = {.catalogue = catalogue, .write = write, .context = context};
    rg_code code = write(context, head, sizeof head - 1, err);
    if (code == RG_OK)
        code = rg_catalogue_each(catalogue, query, object_of, &to, err);
    return code == RG_OK ? write(context, tail, sizeof tail - 1, err) : code;
}

/*
 * record.c - the record of an inspection as JSON by jansson.
 *
 * A record is evidence, so what goes in must come out: a text is refused rather than cut, and
 * what is written is read back by the same checks before it is handed over. Control characters,
 * which could move a terminal's cursor, are refused in texts that people typed and become '?'
 * in reasons, since those may quote file names.
 */
#include "rimglow/record.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "json_values.h"
#include "rimglow/date.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

static const char format_name[] = "rimglow inspection record";
static const double largest = 1e12; /* of a set-up value, in whatever unit */

enum { NUMBER_DIGITS = 12, SEQUENCE_MAX = 9999, PADS_MAX = 10000 };

static const char *const fingers[] = {"light", "firm", "unstated", "grams"};
enum { FINGERS = sizeof fingers / sizeof *fingers };

typedef struct source {
    const char *label;
    rg_error *err;
} source;

/* --------------------------------------------------------------- reading */

/* Bytes of a control character at p: C0, DEL, and C1 as UTF-8; 0 when there is none. */
static size_t control_at(const unsigned char *p)
{
    if (*p < ' ' || *p == 127)
        return 1;
    return p[0] == 0xC2 && p[1] >= 0x80 && p[1] <= 0x9F ? 2 : 0;
}

static bool is_plain(const char *text, bool lines)
{
    for (const char *p = text; *p; p++)
        if (control_at((const unsigned char *)p) && !(lines && (*p == '\n' || *p == '\t')))
            return false;
    return true;
}

typedef enum text_kind { TEXT_ANY, TEXT_NEEDED, TEXT_LINES } text_kind;

static rg_code text_of(const source *s, const json_t *o, const char *where, const char *key,
                       text_kind kind, char *to, size_t size)
{
    const char *text = json_string_value(json_object_get(o, key));
    to[0] = 0;
    if (text && strlen(text) < size && is_plain(text, kind == TEXT_LINES) &&
        (kind != TEXT_NEEDED || *text)) {
        rg_copy_text(to, size, text);
        return RG_OK;
    }
    return rg_fail(s->err, RG_BAD_DATA,
                   "%s: %s%s must be a text in UTF-8 of %sat most %zu bytes without control "
                   "characters",
                   s->label, where, key, kind == TEXT_NEEDED ? "at least 1 and " : "", size - 1);
}

static rg_code name_of(const source *s, const json_t *o, const char *where, const char *key,
                       char *to, size_t size)
{
    rg_code code = text_of(s, o, where, key, TEXT_NEEDED, to, size);
    if (code == RG_OK && !rg_is_safe_name(to))
        code = rg_fail(s->err, RG_BAD_DATA,
                       "%s: %s%s \"%.100s\" names a folder: letters, digits, - _ and . (not "
                       "first)",
                       s->label, where, key, to);
    return code;
}

static rg_code integer_of(const source *s, const json_t *o, const char *where, const char *key,
                          int low, int high, int *value)
{
    const json_t *v = json_object_get(o, key);
    json_int_t n = json_integer_value(v);
    *value = 0;
    if (!json_is_integer(v) || n < low || n > high)
        return rg_fail(s->err, RG_BAD_DATA, "%s: %s%s must be a whole number from %d to %d",
                       s->label, where, key, low, high);
    *value = (int)n;
    return RG_OK;
}

/* null, where that is allowed, is NAN. */
static rg_code number_of(const source *s, const json_t *o, const char *where, const char *key,
                         double low, bool needed, double *value)
{
    const json_t *v = json_object_get(o, key);
    *value = json_is_number(v) ? json_number_value(v) : NAN;
    if ((!needed && json_is_null(v)) || (*value >= low && *value <= largest))
        return RG_OK;
    return rg_fail(s->err, RG_BAD_DATA, "%s: %s%s must be a number from %g to %g%s", s->label,
                   where, key, low, largest, needed ? "" : ", or null");
}

/* null, where that is allowed, is -1. */
static rg_code day_of(const source *s, const json_t *o, const char *where, const char *key,
                      bool needed, int *day)
{
    const json_t *v = json_object_get(o, key);
    *day = -1;
    if ((!needed && json_is_null(v)) ||
        (json_is_string(v) && rg_date_parse(json_string_value(v), day)))
        return RG_OK;
    return rg_fail(s->err, RG_BAD_DATA, "%s: %s%s must be a date YYYY-MM-DD%s", s->label, where,
                   key, needed ? "" : ", or null");
}

static rg_code time_of(const source *s, const json_t *o, int64_t *time)
{
    const char *text = json_string_value(json_object_get(o, "time"));
    if (text && rg_record_time_parse(text, time))
        return RG_OK;
    return rg_fail(s->err, RG_BAD_DATA,
                   "%s: time must be a time of UTC YYYY-MM-DDTHH:MM:SSZ, 1970 to 9999", s->label);
}

static rg_code verdict_of(const source *s, const json_t *o, const char *where, rg_verdict *verdict)
{
    const char *name = json_string_value(json_object_get(o, "verdict"));
    for (int k = RG_VERDICT_SEALED; name && k <= RG_VERDICT_UNDECIDED; k++)
        if (strcmp(name, rg_verdict_name((rg_verdict)k)) == 0) {
            *verdict = (rg_verdict)k;
            return RG_OK;
        }
    return rg_fail(s->err, RG_BAD_DATA, "%s: %sverdict must be sealed, leaking or undecided",
                   s->label, where);
}

static rg_code digest_of(const source *s, const json_t *o, const char *key, rg_digest *digest)
{
    const char *text = json_string_value(json_object_get(o, key));
    if (text && rg_digest_parse(text, digest))
        return RG_OK;
    return rg_fail(s->err, RG_BAD_DATA, "%s: previous.%s must be 64 hexadecimal digits", s->label,
                   key);
}

/* A path below data/calib/ that cannot lead out of it. */
static bool is_calib_path(const char *path)
{
    static const char root[] = "data/calib/";
    if (strncmp(path, root, sizeof root - 1) != 0 || strchr(path, '\\'))
        return false;
    for (const char *part = path;; part++) {
        size_t n = strcspn(part, "/");
        if (n == 0 || (n == 1 && part[0] == '.') || (n == 2 && part[0] == '.' && part[1] == '.'))
            return false;
        part += n;
        if (!*part)
            return true;
    }
}

static rg_code calib_of(const source *s, const json_t *o, const char *where, const char *key,
                        char *to, size_t size)
{
    rg_code code = text_of(s, o, where, key, TEXT_NEEDED, to, size);
    if (code == RG_OK && !is_calib_path(to))
        code = rg_fail(s->err, RG_BAD_DATA,
                       "%s: %s%s \"%.100s\" must be a path below data/calib/ without . and ..",
                       s->label, where, key, to);
    return code;
}

/* grams says how much where the finger is stated in grams, and is null else. */
static rg_code finger_of(const source *s, const json_t *o, const char *where, rg_record_sweep *w)
{
    rg_code code = text_of(s, o, where, "finger", TEXT_NEEDED, w->finger, sizeof w->finger);
    if (code == RG_OK)
        code = number_of(s, o, where, "grams", 0, false, &w->grams);
    if (code != RG_OK)
        return code;
    bool known = false, grams = strcmp(w->finger, "grams") == 0;
    for (int i = 0; i < FINGERS; i++)
        known = known || strcmp(w->finger, fingers[i]) == 0;
    if (!known)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: %sfinger \"%s\" must be light, firm, unstated or grams", s->label,
                       where, w->finger);
    if (grams != isfinite(w->grams))
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: %sgrams must be a number where finger is grams, null else", s->label,
                       where);
    return RG_OK;
}

static rg_code read_sweep(const source *s, const json_t *o, int i, rg_record_sweep *w)
{
    char where[32];
    snprintf(where, sizeof where, "sweeps[%d].", i);
    rg_code code = name_of(s, o, where, "name", w->name, sizeof w->name);
    if (code == RG_OK)
        code = text_of(s, o, where, "pad", TEXT_NEEDED, w->pad, sizeof w->pad);
    if (code == RG_OK)
        code = verdict_of(s, o, where, &w->verdict);
    if (code == RG_OK)
        code = finger_of(s, o, where, w);
    if (code == RG_OK)
        code = day_of(s, o, where, "taken", false, &w->taken_day);
    if (code == RG_OK)
        code = day_of(s, o, where, "judged", true, &w->judged_day);
    if (code == RG_OK)
        code =
            calib_of(s, o, where, "instrument_file", w->instrument_file, sizeof w->instrument_file);
    if (code == RG_OK)
        code = calib_of(s, o, where, "station_file", w->station_file, sizeof w->station_file);
    return code;
}

/* Keys that older records do not have: nothing is said there. */
static rg_code text_since(const source *s, const json_t *o, const char *where, const char *key,
                          char *to, size_t size)
{
    to[0] = 0;
    return json_object_get(o, key) ? text_of(s, o, where, key, TEXT_ANY, to, size) : RG_OK;
}

static rg_code day_since(const source *s, const json_t *o, const char *where, const char *key,
                         int *day)
{
    *day = -1;
    return json_object_get(o, key) ? day_of(s, o, where, key, false, day) : RG_OK;
}

static rg_code read_value(const source *s, const json_t *o, int i, rg_record_value *v)
{
    char where[32];
    snprintf(where, sizeof where, "setup[%d].", i);
    rg_code code = text_of(s, o, where, "quantity", TEXT_NEEDED, v->quantity, sizeof v->quantity);
    if (code == RG_OK)
        code = number_of(s, o, where, "value", -largest, true, &v->value);
    if (code == RG_OK)
        code = number_of(s, o, where, "u", 0, false, &v->u);
    if (code == RG_OK)
        code = text_of(s, o, where, "unit", TEXT_ANY, v->unit, sizeof v->unit);
    if (code == RG_OK)
        code = text_of(s, o, where, "with", TEXT_ANY, v->with, sizeof v->with);
    if (code == RG_OK)
        code = text_since(s, o, where, "remark", v->remark, sizeof v->remark);
    return code == RG_OK ? day_since(s, o, where, "measured", &v->measured_day) : code;
}

static rg_code read_check(const source *s, const json_t *o, int i, rg_record_check *c)
{
    char where[32];
    const json_t *done = json_object_get(o, "done");
    snprintf(where, sizeof where, "checks[%d].", i);
    rg_code code = text_of(s, o, where, "name", TEXT_NEEDED, c->name, sizeof c->name);
    if (code == RG_OK)
        code = text_of(s, o, where, "remark", TEXT_ANY, c->remark, sizeof c->remark);
    if (code == RG_OK)
        code = day_of(s, o, where, "checked", false, &c->checked_day);
    if (code == RG_OK && !json_is_boolean(done) && !json_is_null(done))
        code =
            rg_fail(s->err, RG_BAD_DATA, "%s: %sdone must be true, false or null", s->label, where);
    c->stated = json_is_boolean(done);
    c->done = json_is_true(done);
    return code;
}

/* The list of that key, of at most `most`. */
static rg_code list_of(const source *s, const json_t *o, const char *key, size_t most,
                       const json_t **list, int *count)
{
    *list = json_object_get(o, key);
    *count = 0;
    if (!json_is_array(*list) || json_array_size(*list) > most)
        return rg_fail(s->err, RG_BAD_DATA, "%s: %s must be a list of at most %zu", s->label, key,
                       most);
    *count = (int)json_array_size(*list);
    return RG_OK;
}

static rg_code no_memory(const source *s)
{
    return rg_fail(s->err, RG_INTERNAL, "%s: no memory for its lists", s->label);
}

/* Two sweeps of one name would share their folder. */
static rg_code check_names(const source *s, const rg_record *r)
{
    for (int i = 1; i < r->sweeps; i++)
        for (int k = 0; k < i; k++)
            if (strcmp(r->sweep[i].name, r->sweep[k].name) == 0)
                return rg_fail(s->err, RG_BAD_DATA, "%s: sweeps[%d] and sweeps[%d] are both %s",
                               s->label, k, i, r->sweep[i].name);
    return RG_OK;
}

static rg_code read_sweeps(const source *s, const json_t *o, rg_record *r)
{
    const json_t *list;
    int count;
    rg_code code = list_of(s, o, "sweeps", RG_RECORD_SWEEPS_MAX, &list, &count);
    if (code != RG_OK)
        return code;
    r->sweep = rg_alloc((size_t)count, sizeof *r->sweep);
    if (!r->sweep)
        return no_memory(s);
    for (; code == RG_OK && r->sweeps < count; r->sweeps++)
        code =
            read_sweep(s, json_array_get(list, (size_t)r->sweeps), r->sweeps, &r->sweep[r->sweeps]);
    return code == RG_OK ? check_names(s, r) : code;
}

static rg_code read_setup(const source *s, const json_t *o, rg_record *r)
{
    const json_t *list;
    int count;
    rg_code code = list_of(s, o, "setup", RG_RECORD_SETUP_MAX, &list, &count);
    if (code != RG_OK)
        return code;
    r->value = rg_alloc((size_t)count, sizeof *r->value);
    if (!r->value)
        return no_memory(s);
    for (; code == RG_OK && r->values < count; r->values++)
        code =
            read_value(s, json_array_get(list, (size_t)r->values), r->values, &r->value[r->values]);
    return code;
}

static rg_code read_checks(const source *s, const json_t *o, rg_record *r)
{
    const json_t *list;
    int count;
    if (!json_object_get(o, "checks"))
        return RG_OK; /* an older record */
    rg_code code = list_of(s, o, "checks", RG_RECORD_CHECKS_MAX, &list, &count);
    if (code != RG_OK)
        return code;
    r->check = rg_alloc((size_t)count, sizeof *r->check);
    if (!r->check)
        return no_memory(s);
    for (; code == RG_OK && r->checks < count; r->checks++)
        code =
            read_check(s, json_array_get(list, (size_t)r->checks), r->checks, &r->check[r->checks]);
    return code;
}

static rg_code read_reasons(const source *s, const json_t *o, rg_record *r)
{
    const json_t *list;
    int count;
    rg_code code = list_of(s, o, "reasons", RG_REASONS_MAX, &list, &count);
    for (int i = 0; code == RG_OK && i < count; i++) {
        const char *text = json_string_value(json_array_get(list, (size_t)i));
        if (!text || strlen(text) >= RG_REASON_SIZE || !is_plain(text, false))
            return rg_fail(s->err, RG_BAD_DATA,
                           "%s: reasons[%d] must be a text of at most %d bytes without control "
                           "characters",
                           s->label, i, RG_REASON_SIZE - 1);
        rg_copy_text(r->reason[i], sizeof r->reason[i], text);
        r->reasons = i + 1;
    }
    return code;
}

static rg_code read_previous(const source *s, const json_t *o, rg_record *r)
{
    const json_t *p = json_object_get(o, "previous");
    if (json_is_null(p))
        return RG_OK;
    if (!json_is_object(p))
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: previous must be null or {bag, manifest_sha256, tagmanifest_sha256}",
                       s->label);
    if (r->sequence == 1)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: previous must be null, since sequence is 1: nothing was before",
                       s->label);
    rg_code code = name_of(s, p, "previous.", "bag", r->previous_bag, sizeof r->previous_bag);
    if (code == RG_OK)
        code = digest_of(s, p, "manifest_sha256", &r->previous_manifest);
    if (code == RG_OK)
        code = digest_of(s, p, "tagmanifest_sha256", &r->previous_tagmanifest);
    return code;
}

static rg_code read_format(const source *s, const json_t *o)
{
    int version;
    const char *format = json_string_value(json_object_get(o, "format"));
    if (!format || strcmp(format, format_name) != 0)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: format is not \"%s\"; it should be data/inspection.json of a bag",
                       s->label, format_name);
    return integer_of(s, o, "", "version", 1, 1, &version);
}

static rg_code read_head(const source *s, const json_t *o, rg_record *r)
{
    const struct {
        const char *key;
        text_kind kind;
        char *to;
        size_t size;
    } text[] = {
        {"software", TEXT_ANY, r->software, sizeof r->software},
        {"model", TEXT_ANY, r->model, sizeof r->model},
        {"technician", TEXT_ANY, r->technician, sizeof r->technician},
        {"occasion", TEXT_ANY, r->occasion, sizeof r->occasion},
        {"note", TEXT_LINES, r->note, sizeof r->note},
    };
    rg_code code = read_format(s, o);
    for (size_t i = 0; code == RG_OK && i < sizeof text / sizeof *text; i++)
        code = text_of(s, o, "", text[i].key, text[i].kind, text[i].to, text[i].size);
    if (code == RG_OK)
        code = name_of(s, o, "", "bag", r->bag, sizeof r->bag);
    if (code == RG_OK)
        code = name_of(s, o, "", "serial", r->serial, sizeof r->serial);
    if (code == RG_OK)
        code = integer_of(s, o, "", "sequence", 1, SEQUENCE_MAX, &r->sequence);
    if (code == RG_OK)
        code = integer_of(s, o, "", "pads_of_model", 0, PADS_MAX, &r->pads_of_model);
    if (code == RG_OK)
        code = time_of(s, o, &r->time);
    return code == RG_OK ? verdict_of(s, o, "", &r->verdict) : code;
}

static rg_code read_record(const source *s, const json_t *o, rg_record *r)
{
    *r = (rg_record){0};
    rg_code code = read_head(s, o, r);
    if (code == RG_OK)
        code = read_previous(s, o, r);
    if (code == RG_OK)
        code = read_reasons(s, o, r);
    if (code == RG_OK)
        code = read_sweeps(s, o, r);
    if (code == RG_OK)
        code = read_setup(s, o, r);
    if (code == RG_OK)
        code = read_checks(s, o, r);
    if (code != RG_OK)
        rg_record_free(r);
    return code;
}

rg_code rg_record_parse(const char *label, const char *text, size_t size, rg_record *record,
                        rg_error *err)
{
    source s = {label, err};
    json_error_t e;
    *record = (rg_record){0};
    if (size > RG_RECORD_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d of a record; it is probably another "
                       "file",
                       label, size, RG_RECORD_MAX_BYTES);
    json_t *root = json_loadb(text ? text : "", text ? size : 0, JSON_REJECT_DUPLICATES, &e);
    if (!root)
        return rg_fail(err, RG_BAD_DATA,
                       "%s, line %d: not JSON (%s); check the bag, it may be damaged", label,
                       e.line, e.text);
    rg_code code = json_is_object(root)
                       ? read_record(&s, root, record)
                       : rg_fail(err, RG_BAD_DATA, "%s: the JSON text is not an object", label);
    json_decref(root);
    return code;
}

void rg_record_free(rg_record *record)
{
    if (!record)
        return;
    free(record->sweep);
    free(record->value);
    free(record->check);
    *record = (rg_record){0};
}

/* --------------------------------------------------------------- writing */

/* What is too small to be scaled by a power of ten is nothing in any unit. */
static json_t *number(double value)
{
    return rg_json_digits(fabs(value) < 1e-290 ? 0 : value, NUMBER_DIGITS);
}

/* A reason may quote a file name: '?' for control characters, and for every byte beyond ASCII where
 * the text is not UTF-8. */
static json_t *reason(const char *from)
{
    char text[RG_REASON_SIZE];
    size_t n = 0;
    json_t *valid = json_string(from);
    for (const unsigned char *p = (const unsigned char *)from; *p && n + 1 < sizeof text; p++) {
        size_t control = control_at(p);
        text[n++] = control || (!valid && *p > 127) ? '?' : (char)*p;
        p += control > 0 ? control - 1 : 0;
    }
    text[n] = 0;
    json_decref(valid);
    return json_string(text);
}

static json_t *sweep_object(const rg_record_sweep *w)
{
    json_t *o = json_object();
    json_object_set_new(o, "name", rg_json_text(w->name));
    json_object_set_new(o, "pad", rg_json_text(w->pad));
    json_object_set_new(o, "verdict", json_string(rg_verdict_name(w->verdict)));
    json_object_set_new(o, "finger", rg_json_text(w->finger));
    json_object_set_new(o, "grams", number(w->grams));
    json_object_set_new(o, "taken", rg_json_day(w->taken_day));
    json_object_set_new(o, "judged", rg_json_day(w->judged_day));
    json_object_set_new(o, "instrument_file", rg_json_text(w->instrument_file));
    json_object_set_new(o, "station_file", rg_json_text(w->station_file));
    return o;
}

static json_t *value_object(const rg_record_value *v)
{
    json_t *o = json_object();
    json_object_set_new(o, "quantity", rg_json_text(v->quantity));
    json_object_set_new(o, "value", number(v->value));
    json_object_set_new(o, "u", number(v->u));
    json_object_set_new(o, "unit", rg_json_text(v->unit));
    json_object_set_new(o, "with", rg_json_text(v->with));
    json_object_set_new(o, "remark", rg_json_text(v->remark));
    json_object_set_new(o, "measured", rg_json_day(v->measured_day));
    return o;
}

static json_t *check_object(const rg_record_check *c)
{
    json_t *o = json_object();
    json_object_set_new(o, "name", rg_json_text(c->name));
    json_object_set_new(o, "done", c->stated ? json_boolean(c->done) : json_null());
    json_object_set_new(o, "remark", rg_json_text(c->remark));
    json_object_set_new(o, "checked", rg_json_day(c->checked_day));
    return o;
}

static json_t *previous_object(const rg_record *r)
{
    if (!r->previous_bag[0])
        return json_null();
    json_t *o = json_object();
    json_object_set_new(o, "bag", rg_json_text(r->previous_bag));
    json_object_set_new(o, "manifest_sha256", rg_json_digest(&r->previous_manifest));
    json_object_set_new(o, "tagmanifest_sha256", rg_json_digest(&r->previous_tagmanifest));
    return o;
}

static void add_head(json_t *o, const rg_record *r)
{
    char time[RG_RECORD_TIME];
    rg_record_time_format(r->time, time);
    json_object_set_new(o, "format", json_string(format_name));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", rg_json_text(r->software));
    json_object_set_new(o, "bag", rg_json_text(r->bag));
    json_object_set_new(o, "sequence", json_integer(r->sequence));
    json_object_set_new(o, "serial", rg_json_text(r->serial));
    json_object_set_new(o, "model", rg_json_text(r->model));
    json_object_set_new(o, "time", json_string(time));
    json_object_set_new(o, "technician", rg_json_text(r->technician));
    json_object_set_new(o, "occasion", rg_json_text(r->occasion));
    json_object_set_new(o, "note", rg_json_text(r->note));
    json_object_set_new(o, "verdict", json_string(rg_verdict_name(r->verdict)));
}

static void add_lists(json_t *o, const rg_record *r)
{
    json_t *reasons = json_array(), *sweeps = json_array(), *setup = json_array();
    json_t *checks = json_array();
    for (int i = 0; i < r->reasons; i++)
        json_array_append_new(reasons, reason(r->reason[i]));
    for (int i = 0; i < r->sweeps; i++)
        json_array_append_new(sweeps, sweep_object(&r->sweep[i]));
    for (int i = 0; i < r->values; i++)
        json_array_append_new(setup, value_object(&r->value[i]));
    for (int i = 0; i < r->checks; i++)
        json_array_append_new(checks, check_object(&r->check[i]));
    json_object_set_new(o, "reasons", reasons);
    json_object_set_new(o, "pads_of_model", json_integer(r->pads_of_model));
    json_object_set_new(o, "previous", previous_object(r));
    json_object_set_new(o, "sweeps", sweeps);
    json_object_set_new(o, "setup", setup);
    json_object_set_new(o, "checks", checks);
}

static bool counts_fit(const rg_record *r)
{
    return r->reasons >= 0 && r->reasons <= RG_REASONS_MAX && r->sweeps >= 0 &&
           r->sweeps <= RG_RECORD_SWEEPS_MAX && r->values >= 0 &&
           r->values <= RG_RECORD_SETUP_MAX && r->checks >= 0 && r->checks <= RG_RECORD_CHECKS_MAX;
}

rg_code rg_record_text(const rg_record *record, char **text, rg_error *err)
{
    source checked = {"inspection record", err};
    rg_record back;
    *text = NULL;
    if (!counts_fit(record))
        return rg_fail(err, RG_BAD_DATA,
                       "inspection record: %d reasons, %d sweeps, %d set-up values, %d checks; at "
                       "most %d, %d, %d and %d fit one bag: make two of it",
                       record->reasons, record->sweeps, record->values, record->checks,
                       RG_REASONS_MAX, RG_RECORD_SWEEPS_MAX, RG_RECORD_SETUP_MAX,
                       RG_RECORD_CHECKS_MAX);
    json_t *o = json_object();
    add_head(o, record);
    add_lists(o, record);
    rg_code code = read_record(&checked, o, &back);
    if (code == RG_OK) {
        rg_record_free(&back);
        *text = json_dumps(o, JSON_INDENT(1) | JSON_REAL_PRECISION(NUMBER_DIGITS));
        if (!*text)
            code = rg_fail(err, RG_INTERNAL, "no memory to write the record as JSON");
    }
    json_decref(o);
    return code;
}

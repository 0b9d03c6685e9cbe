/*
 * bench_setup.c - set-up values, remarks and notes of this visit, kept on the disk as they are entered.
 *
 * OUT/SERIAL/setup.ini   values, as samples/setup.ini
 * OUT/SERIAL/notes.json  {"format": "rimglow bench notes", "version": 1, "pads": [{pad, note}],
 *                         "remarks": [{topic, text}]}
 *
 * At the start they are read back, unless an inspection in the archive holds just that and was made
 * after the file was written: then they belong to that visit.
 */
#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bench_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define FORMAT "rimglow bench notes"
enum { NOTES_MAX_BYTES = 256 * 1024 };

static void path_of(const rg_bench *b, const char *file, char path[RG_PLACE_SIZE])
{
    snprintf(path, RG_PLACE_SIZE, "%.800s/%.120s%s%s", b->options.out, b->options.serial,
             file[0] ? "/" : "", file);
}

const char *rg_bench_setup_file(const rg_bench *b, char path[RG_PLACE_SIZE])
{
    path_of(b, "setup.ini", path);
    return b->setup.values ? path : NULL;
}

/* NULL or empty text: the file is taken away. */
static rg_code store(const rg_bench *b, const char *file, const char *text, rg_error *err)
{
    char folder[RG_PLACE_SIZE], path[RG_PLACE_SIZE];
    path_of(b, "", folder);
    path_of(b, file, path);
    rg_code code = rg_folder_make(folder, err);
    if (code != RG_OK)
        return code;
    if (text)
        return rg_file_write(path, text, strlen(text), err);
    if (unlink(path) != 0 && errno != ENOENT)
        return rg_file_refusal(path, errno, err);
    return rg_folder_sync(folder, err);
}

/* ---------------------------------------------------------------- texts */

/* One line of text as the record takes it: without control characters. */
static rg_code read_line(const json_t *json, const char *key, char *to, size_t size, rg_error *err)
{
    const char *from = json_string_value(json_object_get(json, key));
    while (from && *from == ' ')
        from++;
    if (!from)
        return rg_fail(err, RG_USAGE, "%s is missing", key);
    size_t n = strlen(from);
    while (n && from[n - 1] == ' ')
        n--;
    if (n >= size)
        return rg_fail(err, RG_USAGE, "%s: at most %zu bytes", key, size - 1);
    memcpy(to, from, n);
    to[n] = 0;
    for (const unsigned char *p = (const unsigned char *)to; *p; p++)
        if (*p < 32 || *p == 127 || (p[0] == 0xc2 && p[1] >= 0x80 && p[1] < 0xa0))
            return rg_fail(err, RG_USAGE, "%s: one line without control characters", key);
    return RG_OK;
}

static rg_code parse(const char *text, json_t **json, rg_error *err)
{
    json_error_t fault;
    *json = json_loads(text, JSON_REJECT_DUPLICATES, &fault);
    return *json ? RG_OK : rg_fail(err, RG_USAGE, "no JSON: %.100s", fault.text);
}

/* ---------------------------------------------------------------- values */

static rg_code read_number(const json_t *json, const char *key, double *value, rg_error *err)
{
    char text[48] = "";
    rg_code code = read_line(json, key, text, sizeof text, err);
    if (code != RG_OK || (!text[0] && strcmp(key, "u") == 0))
        return code;
    if (!rg_parse_double(text, value))
        return rg_fail(err, RG_USAGE, "%s: a number such as 2431 or 0.04, with a point", key);
    return RG_OK;
}

static rg_code read_value(const json_t *json, rg_measured_value *v, rg_error *err)
{
    rg_code code = read_line(json, "unit", v->unit, sizeof v->unit, err);
    if (code == RG_OK)
        code = read_line(json, "with", v->with, sizeof v->with, err);
    if (code == RG_OK)
        code = read_number(json, "value", &v->value, err);
    if (code == RG_OK)
        code = read_number(json, "u", &v->u, err);
    if (code == RG_OK && !v->unit[0])
        code = rg_fail(err, RG_USAGE, "unit is missing, such as g or mm; 1 for a plain number");
    return code;
}

/* "check": done, not done, or "": it was not looked at. */
static rg_code read_check(const json_t *json, rg_measured_value *v, rg_error *err)
{
    char word[16] = "";
    rg_code code = read_line(json, "check", word, sizeof word, err);
    v->kind = RG_VALUE_CHECK;
    v->done = strcmp(word, "done") == 0;
    if (code == RG_OK && !v->done && strcmp(word, "not done") != 0)
        code = rg_fail(err, RG_USAGE, "check: done or not done; \"\" takes it back");
    return code;
}

static void remove_value(rg_bench_setup *s, int at)
{
    if (at >= s->values)
        return;
    s->values--;
    memmove(&s->value[at], &s->value[at + 1], (size_t)(s->values - at) * sizeof s->value[0]);
}

/* Keeps a new set of values, or the old one when it cannot be written. */
static rg_code keep_values(rg_bench *b, const rg_bench_setup *next, rg_error *err)
{
    char *text = NULL;
    rg_code code = next->values ? rg_values_text(next->value, next->values, &text, err) : RG_OK;
    if (code == RG_BAD_DATA)
        err->code = code = RG_USAGE;
    if (code == RG_OK)
        code = store(b, "setup.ini", text, err);
    free(text);
    if (code == RG_OK) {
        b->setup = *next;
        b->fresh = true;
    }
    return code;
}

static rg_code change_value(rg_bench_setup *next, const json_t *json, rg_error *err)
{
    rg_measured_value v = {.day = -1};
    int at = 0;
    rg_code code = read_line(json, "quantity", v.quantity, sizeof v.quantity, err);
    if (code == RG_OK && !v.quantity[0])
        code = rg_fail(err, RG_USAGE, "quantity is missing: what was measured");
    while (at < next->values && strcmp(next->value[at].quantity, v.quantity) != 0)
        at++;
    const json_t *check = json_object_get(json, "check");
    const char *text = json_string_value(check ? check : json_object_get(json, "value"));
    if (code == RG_OK && text && !text[0]) {
        remove_value(next, at);
        return RG_OK;
    }
    if (code == RG_OK)
        code = check ? read_check(json, &v, err) : read_value(json, &v, err);
    if (code == RG_OK && at >= RG_VALUES_MAX)
        code = rg_fail(err, RG_USAGE, "%d values are kept already, the most there may be", at);
    if (code == RG_OK) {
        next->value[at] = v;
        next->values += at == next->values;
    }
    return code;
}

rg_code rg_bench_set_value(rg_bench *b, const char *text, rg_error *err)
{
    json_t *json = NULL;
    rg_bench_setup *next = rg_alloc(1, sizeof *next);
    if (!next)
        return rg_fail(err, RG_INTERNAL, "no memory for set-up values");
    *next = b->setup;
    rg_code code = parse(text, &json, err);
    if (code == RG_OK)
        code = change_value(next, json, err);
    if (code == RG_OK)
        code = keep_values(b, next, err);
    json_decref(json);
    free(next);
    return code;
}

/* ---------------------------------------------------------------- notes */

static void put_note(char note[RG_BENCH_NOTES], size_t *n, const char *what, const char *text)
{
    size_t left = *n < RG_BENCH_NOTES ? RG_BENCH_NOTES - *n : 0;
    int k = snprintf(left ? note + *n : NULL, left, "%s%s: %s", *n ? "; " : "", what, text);
    *n += k > 0 ? (size_t)k : 0;
}

size_t rg_bench_join_notes(const rg_bench *b, char note[RG_BENCH_NOTES])
{
    size_t n = 0;
    note[0] = 0;
    for (int i = 0; i < b->instrument.pads; i++)
        if (b->pads[i].note[0])
            put_note(note, &n, b->pads[i].pad->name, b->pads[i].note);
    for (int i = 0; i < b->setup.remarks; i++)
        put_note(note, &n, b->setup.remark[i].topic, b->setup.remark[i].text);
    return n;
}

static json_t *notes_json(const rg_bench *b)
{
    json_t *pads = json_array(), *remarks = json_array();
    for (int i = 0; i < b->instrument.pads; i++)
        if (b->pads[i].note[0])
            json_array_append_new(pads, json_pack("{s:s, s:s}", "pad", b->pads[i].pad->name, "note",
                                                  b->pads[i].note));
    for (int i = 0; i < b->setup.remarks; i++)
        json_array_append_new(remarks, json_pack("{s:s, s:s}", "topic", b->setup.remark[i].topic,
                                                 "text", b->setup.remark[i].text));
    return json_pack("{s:s, s:i, s:o, s:o}", "format", FORMAT, "version", 1, "pads", pads,
                     "remarks", remarks);
}

/* What the record cannot hold is refused now, not when the instrument is archived. */
static rg_code keep_notes(rg_bench *b, rg_error *err)
{
    char note[RG_BENCH_NOTES];
    size_t n = rg_bench_join_notes(b, note);
    if (n >= RG_BENCH_NOTES)
        return rg_fail(err, RG_USAGE,
                       "notes and remarks of one inspection: at most %d bytes, this makes %zu",
                       RG_BENCH_NOTES - 1, n);
    json_t *json = n ? notes_json(b) : NULL;
    char *text = json ? json_dumps(json, JSON_INDENT(2)) : NULL;
    json_decref(json);
    if (n && !text)
        return rg_fail(err, RG_INTERNAL, "the notes cannot be written as JSON");
    rg_code code = store(b, "notes.json", text, err);
    free(text);
    b->fresh = b->fresh || code == RG_OK;
    return code;
}

rg_code rg_bench_set_note(rg_bench *b, rg_bench_pad *pad, const char *text, rg_error *err)
{
    char old[RG_BENCH_NOTE];
    rg_copy_text(old, sizeof old, pad->note);
    json_t *json = json_pack("{s:s}", "note", text);
    rg_code code = read_line(json, "note", pad->note, sizeof pad->note, err);
    json_decref(json);
    if (code == RG_OK)
        code = keep_notes(b, err);
    if (code != RG_OK)
        rg_copy_text(pad->note, sizeof pad->note, old);
    return code;
}

static rg_code change_remark(rg_bench_setup *s, const json_t *json, rg_error *err)
{
    struct rg_bench_remark r = {0};
    int at = 0;
    rg_code code = read_line(json, "topic", r.topic, sizeof r.topic, err);
    if (code == RG_OK)
        code = read_line(json, "text", r.text, sizeof r.text, err);
    if (code == RG_OK && !r.topic[0])
        code = rg_fail(err, RG_USAGE, "topic is missing: what the remark is about");
    if (code != RG_OK)
        return code;
    while (at < s->remarks && strcmp(s->remark[at].topic, r.topic) != 0)
        at++;
    if (at >= RG_BENCH_REMARKS)
        return rg_fail(err, RG_USAGE, "%d remarks are kept already, the most there may be", at);
    s->remark[at] = r;
    s->remarks += at == s->remarks;
    if (!r.text[0]) {
        s->remarks--;
        memmove(&s->remark[at], &s->remark[at + 1], (size_t)(s->remarks - at) * sizeof r);
    }
    return RG_OK;
}

rg_code rg_bench_set_remark(rg_bench *b, const char *text, rg_error *err)
{
    json_t *json = NULL;
    rg_bench_setup *old = rg_alloc(1, sizeof *old);
    if (!old)
        return rg_fail(err, RG_INTERNAL, "no memory for remarks");
    *old = b->setup;
    rg_code code = parse(text, &json, err);
    if (code == RG_OK)
        code = change_remark(&b->setup, json, err);
    if (code == RG_OK)
        code = keep_notes(b, err);
    if (code != RG_OK)
        b->setup = *old;
    json_decref(json);
    free(old);
    return code;
}

/* ---------------------------------------------------------------- reading back */

static rg_code load_values(rg_bench *b, rg_error *err)
{
    char path[RG_PLACE_SIZE];
    uint8_t *text = NULL;
    size_t size;
    path_of(b, "setup.ini", path);
    if (access(path, F_OK) != 0)
        return RG_OK;
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code =
            rg_values_parse(path, (const char *)text, size, b->setup.value, &b->setup.values, err);
    free(text);
    return code;
}

static void take_pad_note(rg_bench *b, const json_t *json)
{
    const char *name = json_string_value(json_object_get(json, "pad"));
    for (int i = 0; name && i < b->instrument.pads; i++)
        if (strcmp(b->pads[i].pad->name, name) == 0)
            read_line(json, "note", b->pads[i].note, sizeof b->pads[i].note, NULL);
}

static rg_code take_notes(rg_bench *b, const char *path, const json_t *json, rg_error *err)
{
    size_t i;
    const json_t *one;
    rg_code code = RG_OK;
    const char *format = json_string_value(json_object_get(json, "format"));
    if (!format || strcmp(format, FORMAT) != 0 ||
        json_integer_value(json_object_get(json, "version")) != 1)
        return rg_fail(err, RG_BAD_DATA, "%s: is not of the format \"" FORMAT "\", version 1",
                       path);
    json_array_foreach(json_object_get(json, "pads"), i, one) take_pad_note(b, one);
    json_array_foreach(json_object_get(json, "remarks"), i, one) code =
        code == RG_OK ? change_remark(&b->setup, one, err) : code;
    return code;
}

static rg_code load_notes(rg_bench *b, rg_error *err)
{
    char path[RG_PLACE_SIZE];
    uint8_t *text = NULL;
    size_t size;
    json_t *json = NULL;
    path_of(b, "notes.json", path);
    if (access(path, F_OK) != 0)
        return RG_OK;
    rg_code code = rg_file_read(path, NOTES_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = parse((const char *)text, &json, err);
    if (code == RG_OK)
        code = take_notes(b, path, json, err);
    else
        rg_fail_prefix(err, path);
    json_decref(json);
    free(text);
    return code;
}

static bool written_after(const rg_bench *b, const char *file, const rg_record *r)
{
    char path[RG_PLACE_SIZE];
    struct stat st;
    path_of(b, file, path);
    return stat(path, &st) == 0 && st.st_mtim.tv_sec > r->time;
}

static bool same_number(const rg_record_value *a, const rg_record_value *b)
{
    rg_measured_value v[2];
    const rg_record_value *from[2] = {a, b};
    for (int i = 0; i < 2; i++) {
        v[i] = (rg_measured_value){.value = from[i]->value,
                                   .u = isfinite(from[i]->u) ? from[i]->u : 0,
                                   .day = from[i]->measured_day};
        rg_copy_text(v[i].quantity, sizeof v[i].quantity, from[i]->quantity);
        rg_copy_text(v[i].unit, sizeof v[i].unit, from[i]->unit);
        rg_copy_text(v[i].with, sizeof v[i].with, from[i]->with);
        rg_copy_text(v[i].remark, sizeof v[i].remark, from[i]->remark);
    }
    return rg_values_equal(&v[0], &v[1]);
}

static bool same_check(const rg_record_check *a, const rg_record_check *b)
{
    return strcmp(a->name, b->name) == 0 && strcmp(a->remark, b->remark) == 0 &&
           a->stated == b->stated && a->done == b->done && a->checked_day == b->checked_day;
}

/* Are the record's values and checks these and no others? */
static bool same_values(const rg_bench_setup *s, const rg_record *r)
{
    rg_record mine = {0};
    bool same = rg_setup_take_values(s->value, s->values, &mine, NULL) == RG_OK &&
                mine.values == r->values && mine.checks == r->checks;
    for (int i = 0; same && i < mine.values; i++)
        same = same_number(&mine.value[i], &r->value[i]);
    for (int i = 0; same && i < mine.checks; i++)
        same = same_check(&mine.check[i], &r->check[i]);
    rg_record_free(&mine);
    return same;
}

static void forget_notes(rg_bench *b)
{
    for (int i = 0; i < b->instrument.pads; i++)
        b->pads[i].note[0] = 0;
    b->setup.remarks = 0;
}

rg_code rg_bench_setup_load(rg_bench *b, const rg_bench_visits *visits, rg_error *err)
{
    char note[RG_BENCH_NOTES];
    rg_code code = load_values(b, err);
    if (code == RG_OK)
        code = load_notes(b, err);
    if (code != RG_OK)
        return code;
    rg_bench_join_notes(b, note);
    for (int i = 0; i < visits->count; i++) {
        const rg_record *r = &visits->record[i];
        if (strcmp(note, r->note) == 0 && !written_after(b, "notes.json", r))
            forget_notes(b);
        if (same_values(&b->setup, r) && !written_after(b, "setup.ini", r))
            b->setup.values = 0;
    }
    return RG_OK;
}

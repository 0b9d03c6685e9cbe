/*
 * config_values.c - measured set-up values, checks and remarks.
 */
#include "rimglow/config_values.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/date.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define VALUE(member) offsetof(rg_measured_value, member)

/* The kinds of a section; what it may have beside its own keys stands in `extra`. */
static const rg_ini_field number[] = {
    {"value", "value", RG_INI_NUMBER, VALUE(value), -1e9, 1e9, "measured value"},
    {"value", "u", RG_INI_NUMBER, VALUE(u), 0, 1e9,
     "standard uncertainty in the same unit, 0 where not stated"},
    {"value", "unit", RG_INI_TEXT, VALUE(unit), 1, RG_VALUE_UNIT, "unit"},
    {"value", "with", RG_INI_TEXT, VALUE(with), 0, RG_VALUE_WITH, "instrument used"},
};
static const rg_ini_field check[] = {
    {"check", "check", RG_INI_OWN, 0, 0, 0, "word done or not done"},
};
static const rg_ini_field remark[] = {
    {"remark", "remark", RG_INI_TEXT, VALUE(remark), 1, RG_VALUE_REMARK, "remark"},
};
static const rg_ini_field extra[] = {
    {"", "remark", RG_INI_TEXT, VALUE(remark), 1, RG_VALUE_REMARK, "remark"},
    {"", "date", RG_INI_OWN, 0, 0, 0, "day on which it was measured or done"},
};

enum { EXTRAS = sizeof extra / sizeof *extra, KEYS_MAX = 8 };

typedef struct kind {
    const char *name;
    const rg_ini_field *field;
    int fields;
} kind;

static const kind kinds[] = {
    [RG_VALUE_NUMBER] = {"value", number, sizeof number / sizeof *number},
    [RG_VALUE_CHECK] = {"check", check, sizeof check / sizeof *check},
    [RG_VALUE_REMARK_ONLY] = {"remark", remark, sizeof remark / sizeof *remark},
};

/* A section without any of the three keys is taken for a number, whose message tells what is missing. */
static rg_value_kind kind_of(const rg_ini *ini, int section)
{
    if (rg_ini_find(ini, section, "value") || rg_ini_find(ini, section, "unit"))
        return RG_VALUE_NUMBER;
    if (rg_ini_find(ini, section, "check"))
        return RG_VALUE_CHECK;
    return rg_ini_find(ini, section, "remark") ? RG_VALUE_REMARK_ONLY : RG_VALUE_NUMBER;
}

/* The keys of the kind that the section has, and those that it must have, as one table. */
static rg_ini_table table_of(const rg_ini *ini, const kind *k, int section,
                             rg_ini_field own[KEYS_MAX])
{
    int n = 0;
    for (int i = 0; i < k->fields; i++)
        own[n++] = k->field[i];
    for (int i = 0; i < EXTRAS; i++) {
        bool listed = false;
        for (int m = 0; m < k->fields; m++)
            listed = listed || strcmp(k->field[m].key, extra[i].key) == 0;
        if (listed || !rg_ini_find(ini, section, extra[i].key))
            continue;
        own[n] = extra[i];
        own[n++].section = k->name;
    }
    return (rg_ini_table){own, n};
}

static rg_code fill_own(const rg_ini *ini, int section, rg_measured_value *value, rg_error *err)
{
    const rg_ini_entry *word = rg_ini_find(ini, section, "check");
    const rg_ini_entry *date = rg_ini_find(ini, section, "date");
    value->day = -1;
    if (value->kind == RG_VALUE_CHECK) {
        value->done = strcmp(word->value, "done") == 0;
        if (!value->done && strcmp(word->value, "not done") != 0)
            return rg_ini_fail(ini, word, err, "write done or not done; words go to remark = ...");
    }
    return date ? rg_ini_date(ini, date, &value->day, err) : RG_OK;
}

static rg_code fill_one(const rg_ini *ini, int section, rg_measured_value *value, rg_error *err)
{
    rg_ini_field own[KEYS_MAX];
    *value = (rg_measured_value){.kind = kind_of(ini, section)};
    const kind *k = &kinds[value->kind];
    if (!rg_copy_text(value->quantity, sizeof value->quantity, ini->section[section].name))
        return rg_fail(err, RG_BAD_DATA,
                       "%s, line %d: [%.40s...]: the name has more than %d bytes; shorten it",
                       ini->label, ini->section[section].line, ini->section[section].name,
                       RG_VALUE_QUANTITY - 1);
    rg_code code =
        rg_ini_fill(ini, table_of(ini, k, section, own), k->name, section, -1, value, err);
    return code == RG_OK ? fill_own(ini, section, value, err) : code;
}

static rg_code fill(const rg_ini *ini, rg_measured_value *value, int *count, rg_error *err)
{
    if (ini->sections > RG_VALUES_MAX)
        return rg_fail(err, RG_BAD_DATA, "%s: has %d values, the most is %d; leave some out",
                       ini->label, ini->sections, RG_VALUES_MAX);
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < ini->sections; i++)
        code = fill_one(ini, i, &value[i], err);
    *count = code == RG_OK ? ini->sections : 0;
    return code;
}

rg_code rg_values_parse(const char *label, const char *text, size_t size, rg_measured_value *value,
                        int *count, rg_error *err)
{
    rg_ini *ini;
    *count = 0;
    rg_code code = rg_ini_read(label, "samples/setup.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, value, count, err);
    rg_ini_free(ini);
    return code;
}

/* ---------------------------------------------------------------- writing */

static bool same_number(double a, double b)
{
    return fabs(a - b) <= 1e-11 * fmax(fabs(a), fabs(b));
}

bool rg_values_equal(const rg_measured_value *a, const rg_measured_value *b)
{
    return a->kind == b->kind && a->done == b->done && a->day == b->day &&
           strcmp(a->remark, b->remark) == 0 && strcmp(a->quantity, b->quantity) == 0 &&
           strcmp(a->unit, b->unit) == 0 && strcmp(a->with, b->with) == 0 &&
           same_number(a->value, b->value) && same_number(a->u, b->u);
}

static rg_code read_again(const rg_text_writer *w, const rg_measured_value *value, int count,
                          rg_error *err)
{
    int n = 0;
    rg_measured_value *again = rg_alloc(RG_VALUES_MAX, sizeof *again);
    if (!again)
        return rg_fail(err, RG_INTERNAL, "set-up values: out of memory");
    rg_code code = rg_values_parse("set-up values", w->text, w->used, again, &n, err);
    for (int i = 0; code == RG_OK && i < count; i++)
        if (n != count || !rg_values_equal(&again[i], &value[i]))
            code =
                rg_fail(err, RG_BAD_DATA,
                        "set-up value \"%.60s\": its texts cannot be kept as they are; leave out "
                        "';', '#' and ']'",
                        value[i].quantity);
    free(again);
    return code;
}

static void put_value(rg_text_writer *w, const rg_measured_value *v)
{
    char day[RG_DATE_TEXT];
    rg_text_put(w, "\n[%s]\n", v->quantity);
    if (v->kind == RG_VALUE_NUMBER)
        rg_text_put(w, "value = %.12g\nunit = %s\nu = %.12g\nwith = %s\n", v->value, v->unit, v->u,
                    v->with);
    else if (v->kind == RG_VALUE_CHECK)
        rg_text_put(w, "check = %s\n", v->done ? "done" : "not done");
    if (v->remark[0])
        rg_text_put(w, "remark = %s\n", v->remark);
    rg_date_format(v->day, day);
    if (v->day >= 0)
        rg_text_put(w, "date = %s\n", day);
}

rg_code rg_values_text(const rg_measured_value *value, int count, char **text, rg_error *err)
{
    rg_text_writer w = {.size = 256 + sizeof *value * 2 * (size_t)count};
    *text = NULL;
    w.text = rg_alloc(w.size, 1);
    if (!w.text)
        return rg_fail(err, RG_INTERNAL, "set-up values: out of memory");
    rg_text_put(&w, "; Measured set-up values; samples/setup.ini explains the format.\n");
    for (int i = 0; i < count; i++)
        put_value(&w, &value[i]);
    rg_code code = w.full ? rg_fail(err, RG_INTERNAL, "set-up values: the text does not fit")
                          : read_again(&w, value, count, err);
    if (code == RG_OK)
        *text = w.text;
    else
        free(w.text);
    return code;
}

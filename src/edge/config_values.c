/*
 * config_values.c - measured set-up values.
 */
#include "rimglow/config_values.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

static const rg_ini_field field[] = {
    {"value", "value", RG_INI_NUMBER, offsetof(rg_measured_value, value), -1e9, 1e9,
     "the measured value"},
    {"value", "u", RG_INI_NUMBER, offsetof(rg_measured_value, u), 0, 1e9,
     "standard uncertainty in the same unit, 0 where not stated"},
    {"value", "unit", RG_INI_TEXT, offsetof(rg_measured_value, unit), 1, RG_VALUE_UNIT, "the unit"},
    {"value", "with", RG_INI_TEXT, offsetof(rg_measured_value, with), 0, RG_VALUE_WITH,
     "the instrument used"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static rg_code fill(const rg_ini *ini, rg_measured_value *value, int *count, rg_error *err)
{
    if (ini->sections > RG_VALUES_MAX)
        return rg_fail(err, RG_BAD_DATA, "%s: has %d values, the most is %d; leave some out",
                       ini->label, ini->sections, RG_VALUES_MAX);
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < ini->sections; i++) {
        value[i] = (rg_measured_value){0};
        if (!rg_copy_text(value[i].quantity, sizeof value[i].quantity, ini->section[i].name))
            return rg_fail(err, RG_BAD_DATA,
                           "%s, line %d: [%.40s...]: the name has more than %d bytes; shorten it",
                           ini->label, ini->section[i].line, ini->section[i].name,
                           RG_VALUE_QUANTITY - 1);
        code = rg_ini_fill(ini, table, "value", i, -1, &value[i], err);
    }
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
    return strcmp(a->quantity, b->quantity) == 0 && strcmp(a->unit, b->unit) == 0 &&
           strcmp(a->with, b->with) == 0 && same_number(a->value, b->value) &&
           same_number(a->u, b->u);
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

rg_code rg_values_text(const rg_measured_value *value, int count, char **text, rg_error *err)
{
    rg_text_writer w = {.size = 256 + sizeof *value * 2 * (size_t)count};
    *text = NULL;
    w.text = rg_alloc(w.size, 1);
    if (!w.text)
        return rg_fail(err, RG_INTERNAL, "set-up values: out of memory");
    rg_text_put(&w, "; Measured set-up values; samples/setup.ini explains the format.\n");
    for (int i = 0; i < count; i++)
        rg_text_put(&w, "\n[%s]\nvalue = %.12g\nunit = %s\nu = %.12g\nwith = %s\n",
                    value[i].quantity, value[i].value, value[i].unit, value[i].u, value[i].with);
    rg_code code = w.full ? rg_fail(err, RG_INTERNAL, "set-up values: the text does not fit")
                          : read_again(&w, value, count, err);
    if (code == RG_OK)
        *text = w.text;
    else
        free(w.text);
    return code;
}

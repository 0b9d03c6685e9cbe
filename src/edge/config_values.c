/*
 * config_values.c - measured set-up values.
 */
#include "rimglow/config_values.h"

#include <string.h>

#include "config_private.h"
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

/*
 * config_flow.c - air and pressure at which leaks are stated.
 */
#include "rimglow/config_flow.h"

#include "config_private.h"

#define OPTION(member) offsetof(rg_flow_options, member)

static const rg_ini_field field[] = {
    {"air", "temperature_c", RG_INI_NUMBER, OPTION(temperature_c), -50, 100,
     "temperature of the air, degrees Celsius"},
    {"air", "ambient_pa", RG_INI_NUMBER, OPTION(ambient_pa), 50000, 120000, "air pressure, Pa"},
    {"leak", "blowing_pa", RG_INI_NUMBER, OPTION(blowing_pa), 10, 50000,
     "pressure across the leak, Pa"},
    {"leak", "discharge", RG_INI_NUMBER, OPTION(discharge), 0.3, 1,
     "discharge coefficient of an orifice"},
    {"leak", "entry_exit_loss", RG_INI_NUMBER, OPTION(entry_exit_loss), 0, 12,
     "loss going into a slot and out of it"},
    {"leak", "coverage_factor", RG_INI_NUMBER, OPTION(coverage_factor), 1, 6,
     "coverage factor k of the stated bounds"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"air", "leak", NULL};

static rg_code fill(const rg_ini *ini, rg_flow_options *options, rg_error *err)
{
    rg_code code = rg_ini_fill_sections(ini, table, section_name, options, err);
    if (code == RG_OK && rg_flow_check(options, err) != RG_OK) {
        rg_fail_prefix(err, ini->label);
        code = RG_BAD_DATA;
    }
    return code;
}

rg_code rg_flow_options_parse(const char *label, const char *text, size_t size,
                              rg_flow_options *options, rg_error *err)
{
    rg_ini *ini;
    rg_flow_options filled = {0};
    *options = filled;
    rg_code code = rg_ini_read(label, "calib/flow.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, &filled, err);
    if (code == RG_OK)
        *options = filled;
    rg_ini_free(ini);
    return code;
}

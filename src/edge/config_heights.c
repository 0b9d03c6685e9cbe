/*
 * config_heights.c - how the openings of the keys are judged.
 */
#include "rimglow/config_heights.h"

#include "config_private.h"

#define OPTION(member) offsetof(rg_heights_options, member)

static const rg_ini_field field[] = {
    {"heights", "coverage_factor", RG_INI_NUMBER, OPTION(coverage_factor), 1, 4, "k of U = k u"},
    {"heights", "least_growth_mm", RG_INI_NUMBER, OPTION(least_growth_mm), -5, 5,
     "least growth from a hole to the next lower one, mm"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"heights", NULL};

rg_code rg_heights_options_parse(const char *label, const char *text, size_t size,
                                 rg_heights_options *options, rg_error *err)
{
    rg_ini *ini;
    rg_heights_options filled = {0};
    *options = filled;
    rg_code code = rg_ini_read(label, "calib/heights.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, &filled, err);
    if (code == RG_OK)
        *options = filled;
    rg_ini_free(ini);
    return code;
}

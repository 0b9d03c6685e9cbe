/*
 * config_archive.c - settings of comparisons and of the batch view.
 */
#include "rimglow/config_archive.h"

#include "config_private.h"

#define SETTING(member) offsetof(rg_archive_settings, member)

static const rg_ini_field field[] = {
    {"change", "coverage_factor", RG_INI_NUMBER, SETTING(change.coverage_factor), 1, 5,
     "k of U = k u of a change"},
    {"change", "turn_u_deg", RG_INI_NUMBER, SETTING(change.turn_u_deg), 0, 30,
     "standard uncertainty of a crown's bearing on its cup, degrees"},
    {"change", "min_arc_deg", RG_INI_NUMBER, SETTING(change.min_arc_deg), 1, 180,
     "shortest arc of change that counts, degrees"},
    {"batch", "confidence", RG_INI_NUMBER, SETTING(confidence), 0.5, 0.9999,
     "confidence of intervals"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"change", "batch", NULL};

rg_code rg_archive_settings_parse(const char *label, const char *text, size_t size,
                                  rg_archive_settings *settings, rg_error *err)
{
    rg_ini *ini;
    *settings = (rg_archive_settings){0};
    rg_code code = rg_ini_read(label, "calib/archive.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, settings, err);
    rg_ini_free(ini);
    return code;
}

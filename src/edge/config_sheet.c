/*
 * config_sheet.c - the sheet file: how index crowns are printed.
 */
#include <string.h>

#include "config_private.h"

#define RULE(member) offsetof(rg_ring_rules, member)

static const rg_ini_field field[] = {
    {"crown", "edge_mm", RG_INI_NUMBER, RULE(edge_mm), 0, 5,
     "distance of the ring's corners from the cup's edge, mm"},
    {"crown", "tag_max_mm", RG_INI_NUMBER, RULE(tag_max_mm), 2, 60,
     "largest black border chosen by itself, mm"},
    {"crown", "foot_mm", RG_INI_NUMBER, RULE(foot_mm), 0, 30,
     "white foot below the tag's own white, mm"},
    {"crown", "band_mm", RG_INI_NUMBER, RULE(band_mm), 2, 10, "band above the tag's own white, mm"},
    {"crown", "tab_mm", RG_INI_NUMBER, RULE(tab_mm), 2, 20, "width of the glue tab, mm"},
    {"camera", "min_module_px", RG_INI_NUMBER, RULE(min_module_px), 2, 100,
     "smallest module that is read, px"},
    {"camera", "px_per_mm", RG_INI_NUMBER, RULE(px_per_mm), 0.5, 1000,
     "scale at the working distance, px per mm"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"crown", "camera"};
enum { SECTIONS = sizeof section_name / sizeof section_name[0] };

static rg_code check_sections(const rg_ini *ini, rg_error *err)
{
    for (int i = 0; i < ini->sections; i++) {
        const char *name = ini->section[i].name;
        if (strcmp(name, section_name[0]) != 0 && strcmp(name, section_name[1]) != 0) {
            return rg_ini_unknown_section(ini, i, "[crown] and [camera]", err);
        }
    }
    return RG_OK;
}

rg_code rg_sheet_parse(const char *label, const char *text, size_t size, rg_ring_rules *rules,
                       rg_error *err)
{
    *rules = (rg_ring_rules){0};
    rg_ini *ini;
    rg_code code = rg_ini_read(label, "calib/sheet.ini", text, size, &ini, err);
    if (code != RG_OK) {
        return code;
    }
    rg_ring_rules filled = {0};
    code = check_sections(ini, err);
    for (int i = 0; i < SECTIONS && code == RG_OK; i++) {
        code = rg_ini_fill_named(ini, table, section_name[i], &filled, err);
    }
    if (code == RG_OK) {
        *rules = filled;
    }
    rg_ini_free(ini);
    return code;
}

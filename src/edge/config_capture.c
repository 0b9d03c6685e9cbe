/*
 * config_capture.c - settings of a live sweep.
 */
#include "rimglow/config_capture.h"

#include <string.h>

#include "config_private.h"
#include "rimglow/text.h"

#define SETTING(member) offsetof(rg_capture_settings, member)

static const rg_ini_field field[] = {
    {"coverage", "levels_deg", RG_INI_OWN, 0, 0, 0, "five elevations, upwards, degrees"},
    {"coverage", "near_deg", RG_INI_NUMBER, SETTING(coverage.near_deg), 0.05, 5,
     "how near to a level a frame must be, degrees"},
    {"coverage", "view_deg", RG_INI_NUMBER, SETTING(coverage.view_deg), 5, 80,
     "bearings to either side that a frame counts for, degrees"},
    {"keep", "per_place", RG_INI_WHOLE, SETTING(keep.per_place), 1, 20,
     "frames of one sector at one level"},
    {"keep", "closed_most", RG_INI_WHOLE, SETTING(keep.closed_most), 10, 500,
     "closed frames in all"},
    {"keep", "witness_most", RG_INI_WHOLE, SETTING(keep.witness_most), 0, 20,
     "witness frames that prove nothing"},
    {"keep", "dark_most", RG_INI_WHOLE, SETTING(keep.dark_most), 0, 100, "dark frames"},
    {"keep", "beyond_deg", RG_INI_NUMBER, SETTING(keep.beyond_deg), 0, 10,
     "elevations beyond the outer levels that are kept, degrees"},
    {"keep", "unsure_deg", RG_INI_NUMBER, SETTING(keep.unsure_deg), 0, 10,
     "elevations beyond the outer levels while the rim's plane is not known, degrees"},
    {"witness", "exposure", RG_INI_NUMBER, SETTING(witness_exposure), 0.001, 1,
     "exposure of a witness frame relative to the closed ones"},
    {"engine", "waiting", RG_INI_WHOLE, SETTING(engine.waiting), 1, 32,
     "frames that may wait while the program is busy"},
    {"engine", "measure_pause", RG_INI_NUMBER, SETTING(engine.measure_pause), 0, 20,
     "pause between measurements of all frames, in times of their length"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static const char *const section_name[] = {"coverage", "keep", "witness", "engine", NULL};

static rg_code levels_wrong(const rg_ini *ini, const rg_ini_entry *entry, rg_error *err)
{
    return rg_ini_fail(
        ini, entry, err,
        "%d elevations from -10 to 10 degrees are needed, each above the one before, "
        "as in: -0.8 -0.4 0 0.4 0.8",
        RG_COVER_LEVELS);
}

static rg_code fill_levels(const rg_ini *ini, double level_deg[RG_COVER_LEVELS], rg_error *err)
{
    const rg_ini_entry *entry =
        rg_ini_find(ini, rg_ini_section_index(ini, "coverage"), "levels_deg");
    const char *at = entry->value;
    for (int l = 0; l < RG_COVER_LEVELS; l++) {
        char word[RG_INI_LINE];
        at += strspn(at, " \t");
        size_t length = strcspn(at, " \t");
        rg_ini_trimmed(word, sizeof word, at, at + length);
        at += length;
        if (!rg_parse_double(word, &level_deg[l]) || !(level_deg[l] >= -10 && level_deg[l] <= 10) ||
            (l > 0 && !(level_deg[l] > level_deg[l - 1])))
            return levels_wrong(ini, entry, err);
    }
    return at[strspn(at, " \t")] == '\0' ? RG_OK : levels_wrong(ini, entry, err);
}

static rg_code fill(const rg_ini *ini, rg_capture_settings *settings, rg_error *err)
{
    rg_code code = rg_ini_fill_sections(ini, table, section_name, settings, err);
    return code == RG_OK ? fill_levels(ini, settings->coverage.level_deg, err) : code;
}

rg_code rg_capture_settings_parse(const char *label, const char *text, size_t size,
                                  rg_capture_settings *settings, rg_error *err)
{
    rg_ini *ini;
    *settings = (rg_capture_settings){0};
    rg_code code = rg_ini_read(label, "calib/capture.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, settings, err);
    rg_ini_free(ini);
    return code;
}

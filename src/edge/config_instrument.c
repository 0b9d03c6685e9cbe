/*
 * config_instrument.c - the instrument file: its pads from the top of the
 * body to the bottom.
 *
 * Sections: [instrument]; [pad NAME], one per pad; [every pad], where a value
 * stands that a [pad NAME] does not give itself. So a trade rule such as the
 * tolerance is written once, in the file, and a single pad may still differ.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define PAD(member) offsetof(rg_pad, member)

static const char every_pad[] = "every pad";
static const char pad_prefix[] = "pad ";

static const rg_ini_field field[] = {
    {"instrument", "name", RG_INI_TEXT, offsetof(rg_instrument, name), 1, RG_NAME_SIZE,
     "instrument's name"},
    {"pad", "rim_inner_mm", RG_INI_NUMBER, PAD(rim.inner_diameter_mm), 1, 200,
     "inner diameter of the rim's land, mm"},
    {"pad", "rim_outer_mm", RG_INI_NUMBER, PAD(rim.outer_diameter_mm), 1, 200,
     "outer diameter of the rim's land, mm"},
    {"pad", "pad_mm", RG_INI_NUMBER, PAD(rim.pad_diameter_mm), 1, 250, "pad's diameter, mm"},
    {"pad", "cup_height_mm", RG_INI_NUMBER, PAD(rim.cup_height_mm), 0, 100,
     "height of the cup, mm (0: unknown)"},
    {"pad", "crown", RG_INI_WHOLE, PAD(crown.number), 0, 96, "number of the index crown"},
    {"pad", "crown_apothem_mm", RG_INI_NUMBER, PAD(crown.apothem_mm), 1, 200,
     "distance from the crown's axis to a face, mm"},
    {"pad", "crown_tag_mm", RG_INI_NUMBER, PAD(crown.tag_size_mm), 1, 200,
     "edge of a tag's black border, mm"},
    {"pad", "crown_centre_height_mm", RG_INI_NUMBER, PAD(crown.centre_height_mm), 0.5, 200,
     "height of the tags' centres above the rim plane, mm"},
    {"pad", "tolerance_mm", RG_INI_NUMBER, PAD(tolerance_mm), 0.001, 1,
     "largest gap that still seals, mm"},
    {"pad", "min_arc_deg", RG_INI_NUMBER, PAD(min_arc_deg), 0.5, 180,
     "shortest arc that counts as a leak, degrees"},
    {"pad", "opening_mm", RG_INI_NUMBER, PAD(opening_mm), 0.1, 50,
     "target opening at the far side, mm"},
    {"pad", "closed_with", RG_INI_TEXT, PAD(closed_with), 0, RG_NOTES_SIZE,
     "pads that the same key closes (may be empty)"},
    {"pad", "notes", RG_INI_TEXT, PAD(notes), 0, RG_NOTES_SIZE,
     "notes that need this pad closed (may be empty)"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static bool is_pad_section(const char *section)
{
    return strncmp(section, pad_prefix, sizeof pad_prefix - 1) == 0;
}

static const rg_ini_entry *pad_entry(const rg_ini *ini, int section, const char *key)
{
    const rg_ini_entry *own = rg_ini_find(ini, section, key);
    return own != NULL ? own : rg_ini_find(ini, rg_ini_section_index(ini, every_pad), key);
}

static rg_code check_sections(const rg_ini *ini, int *pads, rg_error *err)
{
    *pads = 0;
    for (int i = 0; i < ini->sections; i++) {
        const char *name = ini->section[i].name;
        if (is_pad_section(name)) {
            (*pads)++;
        } else if (strcmp(name, "instrument") != 0 && strcmp(name, every_pad) != 0) {
            return rg_ini_unknown_section(ini, i, "[instrument], [every pad] and [pad NAME]", err);
        }
    }
    if (*pads == 0 || *pads > RG_PADS_MAX) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: %d sections [pad NAME]; an instrument has 1 to %d pads, see %s",
                       ini->label, *pads, RG_PADS_MAX, ini->model);
    }
    return RG_OK;
}

/* Adds the file and the section to a text that a check of the geometry wrote. */
static rg_code in_section(const rg_ini *ini, int section, rg_code code, rg_error *err)
{
    if (code != RG_OK) {
        char prefix[RG_ERROR_TEXT];
        snprintf(prefix, sizeof prefix, "%s, line %d: [%s]", ini->label, ini->section[section].line,
                 ini->section[section].name);
        rg_fail_prefix(err, prefix);
    }
    return code;
}

static rg_code check_pad(const rg_ini *ini, int section, const rg_pad *pad, rg_error *err)
{
    const rg_rim *rim = &pad->rim;
    if (rim->inner_diameter_mm >= rim->outer_diameter_mm) {
        return rg_ini_fail(ini, pad_entry(ini, section, "rim_inner_mm"), err,
                           "not below rim_outer_mm = %.9g of [%s]; measure the land again",
                           rim->outer_diameter_mm, ini->section[section].name);
    }
    if (rim->pad_diameter_mm <= rim->outer_diameter_mm) {
        return rg_ini_fail(ini, pad_entry(ini, section, "pad_mm"), err,
                           "not above rim_outer_mm = %.9g of [%s], the pad would fall into the "
                           "hole; measure both again",
                           rim->outer_diameter_mm, ini->section[section].name);
    }
    if (pad->opening_mm <= pad->tolerance_mm) {
        return rg_ini_fail(ini, pad_entry(ini, section, "opening_mm"), err,
                           "not above tolerance_mm = %.9g of [%s]; correct one of them",
                           pad->tolerance_mm, ini->section[section].name);
    }
    rg_code code = rg_rim_check(rim, err);
    if (code == RG_OK) {
        code = rg_crown_check(&pad->crown, err);
    }
    return in_section(ini, section, code, err);
}

static rg_code name_pad(const rg_ini *ini, int section, rg_pad *pad, rg_error *err)
{
    const char *name = ini->section[section].name + sizeof pad_prefix - 1;
    rg_ini_trimmed(pad->name, sizeof pad->name, name, name + strlen(name));
    if (pad->name[0] == 0 || strpbrk(pad->name, "/\\,") != NULL) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s, line %d: [%s]: a pad's name has no / \\ or comma in it; write for "
                       "example [pad low E flat]",
                       ini->label, ini->section[section].line, ini->section[section].name);
    }
    return RG_OK;
}

/* Values that every pad overrides are checked all the same. */
static rg_code check_every_pad(const rg_ini *ini, int section, rg_error *err)
{
    rg_pad unused = {0};
    rg_code code = rg_ini_check_keys(ini, table, "pad", section, err);
    for (int i = 0; i < table.fields && code == RG_OK; i++) {
        const rg_ini_entry *entry = rg_ini_find(ini, section, field[i].key);
        if (entry != NULL) {
            code = rg_ini_convert(ini, entry, &field[i], &unused, err);
        }
    }
    return code;
}

static rg_code fill_pads(const rg_ini *ini, rg_instrument *instrument, rg_error *err)
{
    int fallback = rg_ini_section_index(ini, every_pad);
    rg_code code = check_every_pad(ini, fallback, err);
    for (int i = 0; i < ini->sections && code == RG_OK; i++) {
        if (!is_pad_section(ini->section[i].name)) {
            continue;
        }
        rg_pad *pad = &instrument->pad[instrument->pads];
        code = name_pad(ini, i, pad, err);
        if (code == RG_OK && rg_instrument_pad(instrument, pad->name) != NULL) {
            code = rg_fail(err, RG_BAD_DATA, "%s, line %d: pad %s is given twice; rename one",
                           ini->label, ini->section[i].line, pad->name);
        }
        if (code == RG_OK) {
            code = rg_ini_fill(ini, table, "pad", i, fallback, pad, err);
        }
        if (code == RG_OK) {
            code = check_pad(ini, i, pad, err);
        }
        instrument->pads++;
    }
    return code;
}

/* Every name in closed_with must be another pad of the instrument. */
static rg_code check_closed_with(const rg_ini *ini, int section, const rg_instrument *instrument,
                                 const rg_pad *pad, rg_error *err)
{
    const char *at = pad->closed_with;
    while (*at != 0) {
        char name[RG_NAME_SIZE];
        const char *stop = at + strcspn(at, ",");
        rg_ini_trimmed(name, sizeof name, at, stop);
        if (rg_instrument_pad(instrument, name) == NULL || strcmp(name, pad->name) == 0) {
            return rg_ini_fail(ini, pad_entry(ini, section, "closed_with"), err,
                               "\"%s\" is not another pad of this file; pad names are separated by "
                               "commas and spelt as in [pad NAME]",
                               name);
        }
        at = *stop == ',' ? stop + 1 : stop;
    }
    return RG_OK;
}

static rg_code check_links(const rg_ini *ini, const rg_instrument *instrument, rg_error *err)
{
    rg_code code = RG_OK;
    int pad = 0;
    for (int i = 0; i < ini->sections && code == RG_OK; i++) {
        if (is_pad_section(ini->section[i].name)) {
            code = check_closed_with(ini, i, instrument, &instrument->pad[pad], err);
            pad++;
        }
    }
    return code;
}

static rg_code fill_instrument(const rg_ini *ini, rg_instrument *instrument, rg_error *err)
{
    int pads = 0;
    rg_code code = check_sections(ini, &pads, err);
    if (code == RG_OK) {
        code = rg_ini_fill_named(ini, table, "instrument", instrument, err);
    }
    if (code != RG_OK) {
        return code;
    }
    instrument->pad = rg_alloc((size_t)pads, sizeof *instrument->pad);
    if (instrument->pad == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", ini->label);
    }
    code = fill_pads(ini, instrument, err);
    return code == RG_OK ? check_links(ini, instrument, err) : code;
}

rg_code rg_instrument_parse(const char *label, const char *text, size_t size,
                            rg_instrument *instrument, rg_error *err)
{
    *instrument = (rg_instrument){0};
    rg_ini *ini;
    rg_code code = rg_ini_read(label, "calib/alto-loan.ini", text, size, &ini, err);
    if (code != RG_OK) {
        return code;
    }
    code = fill_instrument(ini, instrument, err);
    if (code != RG_OK) {
        rg_instrument_free(instrument);
    }
    rg_ini_free(ini);
    return code;
}

void rg_instrument_free(rg_instrument *instrument)
{
    if (instrument != NULL) {
        free(instrument->pad);
        *instrument = (rg_instrument){0};
    }
}

const rg_pad *rg_instrument_pad(const rg_instrument *instrument, const char *name)
{
    for (int i = 0; i < instrument->pads; i++) {
        if (strcmp(instrument->pad[i].name, name) == 0) {
            return &instrument->pad[i];
        }
    }
    return NULL;
}

/*
 * config_instrument.c - the instrument file: its pads from the top of the
 * body to the bottom.
 *
 * Sections: [instrument]; [pad NAME], one per pad; [every pad], where a value
 * stands that a [pad NAME] does not give itself. So a trade rule such as the
 * tolerance is written once, in the file, and a single pad may still differ.
 * [link DRIVER > DRIVEN] is read by config_link.c.
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

static const rg_ini_field named[] = {
    {"instrument", "name", RG_INI_TEXT, offsetof(rg_instrument, name), 1, RG_NAME_SIZE,
     "instrument's name"},
};
static const rg_ini_table head = {named, 1};

/* The rows below this one may be missing: see config.h. */
enum { CROWN_FROM = 4, CROWN_TO = 7, OPTIONAL_FROM = 13 };
static const rg_ini_field field[] = {
    {"pad", "rim_inner_mm", RG_INI_NUMBER, PAD(rim.inner_diameter_mm), 1, 200,
     "inner diameter of the rim's land, mm"},
    {"pad", "rim_outer_mm", RG_INI_NUMBER, PAD(rim.outer_diameter_mm), 1, 200,
     "outer diameter of the rim's land, mm"},
    {"pad", "pad_mm", RG_INI_NUMBER, PAD(rim.pad_diameter_mm), 1, 250, "pad's diameter, mm"},
    {"pad", "cup_height_mm", RG_INI_NUMBER, PAD(rim.cup_height_mm), 0, 100,
     "height of the cup, mm (0: unknown)"},
    {"pad", "crown", RG_INI_WHOLE, PAD(crown.number), 0, 96, "number of the index crown, or none"},
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
    {"pad", "closed_with", RG_INI_TEXT, PAD(closed_with), 0, RG_NOTES_SIZE,
     "pads that the same key closes (may be empty)"},
    {"pad", "notes", RG_INI_TEXT, PAD(notes), 0, RG_NOTES_SIZE,
     "notes that need this pad closed (may be empty)"},
    {"pad", "opening_mm", RG_INI_NUMBER, PAD(opening_mm), 0.1, 50,
     "target opening at the far side, mm"},
    {"pad", "opening_tolerance_mm", RG_INI_NUMBER, PAD(opening_tolerance_mm), 0.01, 10,
     "target band of the opening to either side, mm"},
    {"pad", "opens", RG_INI_TEXT, PAD(opens), 0, RG_NOTES_SIZE,
     "notes for which its key opens this pad (may be empty)"},
    {"pad", "vents", RG_INI_TEXT, PAD(vents), 0, RG_NOTES_SIZE,
     "notes in which this pad is open as a register vent only (may be empty)"},
    {"pad", "rest", RG_INI_OWN, PAD(rest), 0, 0, "key at rest: open or closed"},
    {"pad", "role", RG_INI_OWN, PAD(role), 0, 0, "role: tone or vent"},
    {"pad", "dimensions", RG_INI_OWN, PAD(dimensions), 0, 0,
     "dimensions: measured, published, memory or invented"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

/* In the order of their enumerations, behind "not stated". */
static const char *const rests[] = {"open", "closed", NULL};
static const char *const roles[] = {"tone", "vent", NULL};
static const char *const dimensions[] = {"measured", "published", "memory", "invented", NULL};

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
        } else if (strcmp(name, "instrument") != 0 && strcmp(name, every_pad) != 0 &&
                   !rg_config_is_link(name)) {
            return rg_ini_unknown_section(
                ini, i, "[instrument], [every pad], [pad NAME] and [link DRIVER > DRIVEN]", err);
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
    if (code == RG_OK && pad->crown.number >= 0) {
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

static const char *const *words_of(const char *key)
{
    return strcmp(key, "rest") == 0 ? rests : strcmp(key, "role") == 0 ? roles : dimensions;
}

static bool is_none(const rg_ini_entry *entry)
{
    return strcmp(entry->key, "crown") == 0 && strcmp(entry->value, "none") == 0;
}

static rg_code convert(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *f,
                       rg_pad *pad, rg_error *err)
{
    int word = 0;
    if (is_none(entry)) {
        pad->crown = (rg_crown){.number = -1};
        return RG_OK;
    }
    if (f->type != RG_INI_OWN) {
        return rg_ini_convert(ini, entry, f, pad, err);
    }
    rg_code code = rg_ini_word(ini, entry, words_of(f->key), &word, err);
    int value = word + 1; /* behind "not stated" */
    if (code == RG_OK) {
        memcpy((char *)pad + f->offset, &value, sizeof value);
    }
    return code;
}

/* Values that every pad overrides are checked all the same. */
static rg_code check_every_pad(const rg_ini *ini, int section, rg_error *err)
{
    rg_pad unused = {0};
    rg_code code = rg_ini_check_keys(ini, table, "pad", section, err);
    for (int i = 0; i < table.fields && code == RG_OK; i++) {
        const rg_ini_entry *entry = rg_ini_find(ini, section, field[i].key);
        if (entry != NULL) {
            code = convert(ini, entry, &field[i], &unused, err);
        }
    }
    return code;
}

static rg_code fill_pad(const rg_ini *ini, int section, rg_pad *pad, rg_error *err)
{
    rg_code code = rg_ini_check_keys(ini, table, "pad", section, err);
    for (int i = 0; i < table.fields && code == RG_OK; i++) {
        const rg_ini_entry *entry = pad_entry(ini, section, field[i].key);
        bool of_no_crown = i > CROWN_FROM && i <= CROWN_TO && pad->crown.number < 0;
        if (of_no_crown || (entry == NULL && i >= OPTIONAL_FROM)) {
            continue;
        }
        if (entry == NULL) {
            return rg_fail(err, RG_BAD_DATA, "%s: [%s] has no key %s; add the %s, see %s",
                           ini->label, ini->section[section].name, field[i].key, field[i].meaning,
                           ini->model);
        }
        code = convert(ini, entry, &field[i], pad, err);
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
            code = fill_pad(ini, i, pad, err);
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

static rg_code check_all_closed_with(const rg_ini *ini, const rg_instrument *instrument,
                                     rg_error *err)
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
        code = rg_ini_fill_named(ini, head, "instrument", instrument, err);
    }
    if (code != RG_OK) {
        return code;
    }
    instrument->pad = rg_alloc((size_t)pads, sizeof *instrument->pad);
    if (instrument->pad == NULL) {
        return rg_fail(err, RG_INTERNAL, "%s: out of memory", ini->label);
    }
    code = fill_pads(ini, instrument, err);
    if (code == RG_OK) {
        code = check_all_closed_with(ini, instrument, err);
    }
    return code == RG_OK ? rg_config_fill_links(ini, instrument, err) : code;
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
        free(instrument->link);
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

/* One list of notes of a pad. */
static rg_code read_notes(const char *label, const rg_pad *pad, const char *key, const char *text,
                          rg_pitch_set *set, rg_error *err)
{
    rg_code code = rg_pitch_set_parse(text, set, err);
    if (code != RG_OK) {
        char prefix[RG_ERROR_TEXT];
        snprintf(prefix, sizeof prefix, "%.300s: [pad %s] %s", label, pad->name, key);
        rg_fail_prefix(err, prefix);
    }
    return code;
}

rg_code rg_instrument_holes(const char *label, const rg_instrument *instrument, rg_hole *holes,
                            rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < instrument->pads && code == RG_OK; i++) {
        const rg_pad *pad = &instrument->pad[i];
        holes[i] = (rg_hole){.name = pad->name, .rest = pad->rest, .role = pad->role};
        code = read_notes(label, pad, "notes", pad->notes, &holes[i].closed, err);
        if (code == RG_OK) {
            code = read_notes(label, pad, "opens", pad->opens, &holes[i].opens, err);
        }
        if (code == RG_OK) {
            code = read_notes(label, pad, "vents", pad->vents, &holes[i].vents, err);
        }
    }
    if (code == RG_OK) {
        code = rg_holes_check(holes, instrument->pads, err);
        if (code != RG_OK) {
            rg_fail_prefix(err, label);
        }
    }
    return code;
}

static const char not_stated[] = "not stated";

const char *rg_rest_name(rg_rest rest)
{
    return rest == RG_REST_UNSTATED ? not_stated : rests[rest - 1];
}

const char *rg_hole_role_name(rg_hole_role role)
{
    return role == RG_HOLE_UNSTATED ? not_stated : roles[role - 1];
}

const char *rg_dimensions_name(rg_dimensions d)
{
    return d == RG_DIMENSIONS_UNSTATED ? not_stated : dimensions[d - 1];
}

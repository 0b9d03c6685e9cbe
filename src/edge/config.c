/*
 * config.c - from INI entries to the values of a struct, by tables of fields.
 *
 * A field says where its key stands, what type and range its value has, and
 * where in the struct it goes; the range and the meaning go into the message
 * when a value does not fit. config_document.c reads the text,
 * config_instrument.c, config_station.c and config_sweep.c hold one table per
 * kind of file and the checks across several values.
 */
#include <stdio.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/date.h"
#include "rimglow/text.h"

static void *target(void *object, const rg_ini_field *field)
{
    return (char *)object + field->offset;
}

static rg_code convert_text(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *field,
                            void *object, rg_error *err)
{
    size_t length = strlen(entry->value);
    if ((double)length < field->low) {
        return rg_ini_fail(ini, entry, err, "the value is empty; give the %s", field->meaning);
    }
    if (!rg_copy_text(target(object, field), (size_t)field->high, entry->value)) {
        return rg_ini_fail(ini, entry, err, "%zu bytes are too long for the %s, at most %d", length,
                           field->meaning, (int)field->high - 1);
    }
    return RG_OK;
}

/* True for a number written with a decimal comma; fixed is it with a point. */
static bool has_decimal_comma(const char *value, char fixed[RG_INI_LINE])
{
    double unused;
    rg_copy_text(fixed, RG_INI_LINE, value);
    char *comma = strchr(fixed, ',');
    if (comma == NULL) {
        return false;
    }
    *comma = '.';
    return rg_parse_double(fixed, &unused);
}

static rg_code not_a_number(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *field,
                            rg_error *err)
{
    char fixed[RG_INI_LINE];
    if (has_decimal_comma(entry->value, fixed)) {
        return rg_ini_fail(ini, entry, err, "use a point as the decimal sign: %s", fixed);
    }
    return rg_ini_fail(ini, entry, err,
                       "not a %s; give the %s as digits alone, between %.9g and %.9g",
                       field->type == RG_INI_WHOLE ? "whole number" : "finite decimal number",
                       field->meaning, field->low, field->high);
}

static rg_code out_of_range(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *field,
                            rg_error *err)
{
    return rg_ini_fail(ini, entry, err, "outside %.9g to %.9g; check the %s", field->low,
                       field->high, field->meaning);
}

static rg_code convert_number(const rg_ini *ini, const rg_ini_entry *entry,
                              const rg_ini_field *field, void *object, rg_error *err)
{
    double value;
    if (!rg_parse_double(entry->value, &value)) {
        return not_a_number(ini, entry, field, err);
    }
    if (!(value >= field->low && value <= field->high)) {
        return out_of_range(ini, entry, field, err);
    }
    memcpy(target(object, field), &value, sizeof value);
    return RG_OK;
}

static rg_code convert_whole(const rg_ini *ini, const rg_ini_entry *entry,
                             const rg_ini_field *field, void *object, rg_error *err)
{
    long value;
    if (!rg_parse_int(entry->value, -1000000000, 1000000000, &value)) {
        return not_a_number(ini, entry, field, err);
    }
    if ((double)value < field->low || (double)value > field->high) {
        return out_of_range(ini, entry, field, err);
    }
    int whole = (int)value;
    memcpy(target(object, field), &whole, sizeof whole);
    return RG_OK;
}

static rg_code convert_switch(const rg_ini *ini, const rg_ini_entry *entry,
                              const rg_ini_field *field, void *object, rg_error *err)
{
    bool on = strcmp(entry->value, "yes") == 0;
    if (!on && strcmp(entry->value, "no") != 0) {
        return rg_ini_fail(ini, entry, err, "write yes or no (%s)", field->meaning);
    }
    memcpy(target(object, field), &on, sizeof on);
    return RG_OK;
}

rg_code rg_ini_convert(const rg_ini *ini, const rg_ini_entry *entry, const rg_ini_field *field,
                       void *object, rg_error *err)
{
    switch (field->type) {
    case RG_INI_TEXT:
        return convert_text(ini, entry, field, object, err);
    case RG_INI_NUMBER:
        return convert_number(ini, entry, field, object, err);
    case RG_INI_WHOLE:
        return convert_whole(ini, entry, field, object, err);
    case RG_INI_SWITCH:
        return convert_switch(ini, entry, field, object, err);
    case RG_INI_OWN:
        return RG_OK;
    }
    return rg_fail(err, RG_INTERNAL, "%s: no such type of field", ini->label);
}

static const rg_ini_field *find_field(rg_ini_table table, const char *kind, const char *key)
{
    for (int i = 0; i < table.fields; i++) {
        if (strcmp(table.field[i].section, kind) == 0 && strcmp(table.field[i].key, key) == 0) {
            /* cppcheck-suppress returnDanglingLifetime ; field points into the caller's table */
            return &table.field[i];
        }
    }
    return NULL;
}

static rg_code unknown_key(const rg_ini *ini, const rg_ini_entry *entry, rg_ini_table table,
                           const char *kind, rg_error *err)
{
    char known[RG_ERROR_TEXT] = "";
    size_t used = 0;
    for (int i = 0; i < table.fields; i++) {
        if (strcmp(table.field[i].section, kind) == 0 && used < sizeof known) {
            int n = snprintf(known + used, sizeof known - used, "%s%s", used > 0 ? ", " : "",
                             table.field[i].key);
            used += n > 0 ? (size_t)n : 0;
        }
    }
    return rg_ini_fail(ini, entry, err, "unknown key; the keys here are %s", known);
}

rg_code rg_ini_check_keys(const rg_ini *ini, rg_ini_table table, const char *kind, int section,
                          rg_error *err)
{
    for (int i = 0; i < ini->entries; i++) {
        const rg_ini_entry *entry = &ini->entry[i];
        if (entry->section == section && find_field(table, kind, entry->key) == NULL) {
            return unknown_key(ini, entry, table, kind, err);
        }
    }
    return RG_OK;
}

rg_code rg_ini_fill(const rg_ini *ini, rg_ini_table table, const char *kind, int section,
                    int fallback, void *object, rg_error *err)
{
    rg_code code = rg_ini_check_keys(ini, table, kind, section, err);
    for (int i = 0; i < table.fields && code == RG_OK; i++) {
        const rg_ini_field *field = &table.field[i];
        if (strcmp(field->section, kind) != 0) {
            continue;
        }
        const rg_ini_entry *entry = rg_ini_find(ini, section, field->key);
        if (entry == NULL) {
            entry = rg_ini_find(ini, fallback, field->key);
        }
        if (entry == NULL) {
            return rg_fail(err, RG_BAD_DATA, "%s: [%s] has no key %s; add the %s, see %s",
                           ini->label, ini->section[section].name, field->key, field->meaning,
                           ini->model);
        }
        code = rg_ini_convert(ini, entry, field, object, err);
    }
    return code;
}

rg_code rg_ini_fill_named(const rg_ini *ini, rg_ini_table table, const char *name, void *object,
                          rg_error *err)
{
    int section = rg_ini_section_index(ini, name);
    if (section < 0) {
        return rg_fail(err, RG_BAD_DATA, "%s: section [%s] is missing; add it, see %s", ini->label,
                       name, ini->model);
    }
    return rg_ini_fill(ini, table, name, section, -1, object, err);
}

rg_code rg_ini_unknown_section(const rg_ini *ini, int section, const char *known, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA, "%s, line %d: unknown section [%s]; the sections here are %s",
                   ini->label, ini->section[section].line, ini->section[section].name, known);
}

/* "a, b, c" with the last joint as given. */
static void join(char *to, size_t size, const char *const *word, const char *last_joint)
{
    size_t used = 0;
    to[0] = 0;
    for (int i = 0; word[i]; i++) {
        const char *joint = i == 0 ? "" : word[i + 1] ? ", " : last_joint;
        int n = snprintf(to + used, size - used, "%s%s", joint, word[i]);
        used += n > 0 && (size_t)n < size - used ? (size_t)n : 0;
    }
}

static rg_code check_sections(const rg_ini *ini, const char *const *name, rg_error *err)
{
    char known[RG_ERROR_TEXT / 4];
    join(known, sizeof known, name, ", ");
    for (int i = 0; i < ini->sections; i++) {
        int k = 0;
        while (name[k] && strcmp(ini->section[i].name, name[k]) != 0)
            k++;
        if (!name[k])
            return rg_ini_unknown_section(ini, i, known, err);
    }
    return RG_OK;
}

rg_code rg_ini_fill_sections(const rg_ini *ini, rg_ini_table table, const char *const *name,
                             void *object, rg_error *err)
{
    rg_code code = RG_OK;
    for (int k = 0; code == RG_OK && name[k]; k++)
        code = rg_ini_fill_named(ini, table, name[k], object, err);
    return code == RG_OK ? check_sections(ini, name, err) : code;
}

rg_code rg_ini_word(const rg_ini *ini, const rg_ini_entry *entry, const char *const *word,
                    int *value, rg_error *err)
{
    char known[RG_ERROR_TEXT / 4];
    for (int i = 0; word[i]; i++) {
        if (strcmp(word[i], entry->value) == 0) {
            *value = i;
            return RG_OK;
        }
    }
    join(known, sizeof known, word, " or ");
    return rg_ini_fail(ini, entry, err, "write %s", known);
}

rg_code rg_ini_date(const rg_ini *ini, const rg_ini_entry *entry, int *day, rg_error *err)
{
    *day = -1;
    if (strcmp(entry->value, "none") == 0 || rg_date_parse(entry->value, day)) {
        return RG_OK;
    }
    return rg_ini_fail(ini, entry, err, "not a date; write it as in 2026-11-25, or none");
}

/*
 * config_release.c - rules of release.
 */
#include "rimglow/config_release.h"

#include <math.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/text.h"

static const double limit_most = 1e9;

#define AGE(type)                                                                                  \
    {                                                                                              \
        "", "max_age_days", RG_INI_WHOLE, offsetof(type, max_age_days), 0, 36500,                  \
            "largest age in days, 0 for any"                                                       \
    }

static const rg_ini_field release_field[] = {
    {"", "coverage_factor", RG_INI_NUMBER, offsetof(rg_release_rules, coverage_factor), 1, 5,
     "factor k of U = k u"},
};
static const rg_ini_field seal_field[] = {
    {"", "required", RG_INI_SWITCH, offsetof(rg_seal_rule, required), 0, 0,
     "whether the pad must be sealed"},
    {"", "light_grams", RG_INI_NUMBER, offsetof(rg_seal_rule, light_grams), 0, 1000,
     "largest force of a light finger in grams, 0 for none"},
    AGE(rg_seal_rule),
};
static const rg_ini_field value_field[] = {
    {"", "required", RG_INI_OWN, 0, 0, 0, "word no, yes or each pad"},
    {"", "unit", RG_INI_TEXT, offsetof(rg_value_rule, unit), 1, RG_RELEASE_UNIT,
     "unit of the limits"},
    {"", "unit_also", RG_INI_TEXT, offsetof(rg_value_rule, unit_also), 0, RG_RELEASE_LIST,
     "further names of that unit (may be empty)"},
    {"", "low", RG_INI_OWN, offsetof(rg_value_rule, low), 0, 0, "lower limit, or none"},
    {"", "high", RG_INI_OWN, offsetof(rg_value_rule, high), 0, 0, "upper limit, or none"},
    {"", "reference", RG_INI_OWN, 0, 0, 0, "words none, first visit, last visit, or a number"},
    {"", "change_low", RG_INI_OWN, offsetof(rg_value_rule, change_low), 0, 0,
     "lower limit of the change against the reference, or none"},
    {"", "change_high", RG_INI_OWN, offsetof(rg_value_rule, change_high), 0, 0,
     "upper limit of the change against the reference, or none"},
    {"", "guard", RG_INI_SWITCH, offsetof(rg_value_rule, guard), 0, 0,
     "whether limits have a guard band"},
    AGE(rg_value_rule),
};
static const rg_ini_field balance_field[] = {
    {"", "required", RG_INI_SWITCH, offsetof(rg_balance_rule, required), 0, 0,
     "whether the balance must be shown"},
    {"", "quantity", RG_INI_TEXT, offsetof(rg_balance_rule, quantity), 1, RG_RELEASE_NAME,
     "quantity with a *"},
    {"", "members", RG_INI_TEXT, offsetof(rg_balance_rule, members), 1, RG_RELEASE_LIST,
     "names of the group, comma separated, or * for all"},
    {"", "unit", RG_INI_TEXT, offsetof(rg_balance_rule, unit), 1, RG_RELEASE_UNIT,
     "unit of the limit"},
    {"", "unit_also", RG_INI_TEXT, offsetof(rg_balance_rule, unit_also), 0, RG_RELEASE_LIST,
     "further names of that unit (may be empty)"},
    {"", "spread_high", RG_INI_NUMBER, offsetof(rg_balance_rule, spread_high), 0, 1e9,
     "largest spread, largest value less smallest"},
    {"", "guard", RG_INI_SWITCH, offsetof(rg_balance_rule, guard), 0, 0,
     "whether the limit has a guard band"},
    AGE(rg_balance_rule),
};
static const rg_ini_field check_field[] = {
    {"", "required", RG_INI_SWITCH, offsetof(rg_check_rule, required), 0, 0,
     "whether it must be done"},
    AGE(rg_check_rule),
};
static const rg_ini_field section_field[] = {
    {"", "required", RG_INI_SWITCH, offsetof(rg_section_rule, required), 0, 0,
     "whether the section must pass"},
};

/* The fields carry no name of a section: every kind has a table of its own. */
#define TABLE(fields)                                                                              \
    {                                                                                              \
        fields, (int)(sizeof fields / sizeof *fields)                                              \
    }

/* ---------------------------------------------------------------- values */

static rg_code limit(const rg_ini *ini, int section, const char *key, double *value, rg_error *err)
{
    const rg_ini_entry *entry = rg_ini_find(ini, section, key);
    *value = NAN;
    if (strcmp(entry->value, "none") == 0)
        return RG_OK;
    if (!rg_parse_double(entry->value, value) || fabs(*value) > limit_most)
        return rg_ini_fail(ini, entry, err,
                           "write a number from %g to %g with a point as the decimal sign, or none",
                           -limit_most, limit_most);
    return RG_OK;
}

static rg_code limits(const rg_ini *ini, int section, const char *low_key, const char *high_key,
                      double *low, double *high, rg_error *err)
{
    rg_code code = limit(ini, section, low_key, low, err);
    if (code == RG_OK)
        code = limit(ini, section, high_key, high, err);
    if (code == RG_OK && *low > *high)
        code = rg_ini_fail(ini, rg_ini_find(ini, section, low_key), err,
                           "above %s = %.9g, so nothing could pass; correct one of them", high_key,
                           *high);
    return code;
}

static rg_code need(const rg_ini *ini, int section, rg_value_rule *rule, rg_error *err)
{
    static const char *const word[] = {
        [RG_NEED_NO] = "no", [RG_NEED_YES] = "yes", [RG_NEED_EACH_PAD] = "each pad"};
    const rg_ini_entry *entry = rg_ini_find(ini, section, "required");
    for (int i = RG_NEED_NO; i <= RG_NEED_EACH_PAD; i++) {
        if (strcmp(entry->value, word[i]) != 0)
            continue;
        rule->need = (rg_need)i;
        if (i == RG_NEED_EACH_PAD && !strchr(rule->quantity, '*'))
            return rg_ini_fail(ini, entry, err,
                               "the section's name has no * where a pad's name could stand; write "
                               "[value spring force *], or yes");
        return RG_OK;
    }
    return rg_ini_fail(ini, entry, err, "write no, yes or each pad");
}

static rg_code reference(const rg_ini *ini, int section, rg_value_rule *rule, rg_error *err)
{
    static const char *const word[] = {[RG_REFERENCE_NONE] = "none",
                                       [RG_REFERENCE_FIRST] = "first visit",
                                       [RG_REFERENCE_LAST] = "last visit"};
    const rg_ini_entry *entry = rg_ini_find(ini, section, "reference");
    rule->reference_value = NAN;
    for (int i = RG_REFERENCE_NONE; i <= RG_REFERENCE_LAST; i++)
        if (strcmp(entry->value, word[i]) == 0)
            rule->reference = (rg_reference)i;
    if (rule->reference != RG_REFERENCE_NONE || strcmp(entry->value, "none") == 0)
        return RG_OK;
    rule->reference = RG_REFERENCE_VALUE;
    if (!rg_parse_double(entry->value, &rule->reference_value) ||
        fabs(rule->reference_value) > limit_most)
        return rg_ini_fail(ini, entry, err, "write none, first visit, last visit, or a number");
    return RG_OK;
}

static rg_code fill_value(const rg_ini *ini, int section, rg_value_rule *rule, rg_error *err)
{
    rg_code code = need(ini, section, rule, err);
    if (code == RG_OK)
        code = limits(ini, section, "low", "high", &rule->low, &rule->high, err);
    if (code == RG_OK)
        code = reference(ini, section, rule, err);
    if (code == RG_OK)
        code = limits(ini, section, "change_low", "change_high", &rule->change_low,
                      &rule->change_high, err);
    bool limited = !isnan(rule->change_low) || !isnan(rule->change_high);
    if (code == RG_OK && rule->reference == RG_REFERENCE_NONE && limited)
        code = rg_ini_fail(ini, rg_ini_find(ini, section, "reference"), err,
                           "change_low and change_high need something to compare with; write first "
                           "visit, last visit or a number, or make both none");
    if (code == RG_OK && rule->reference != RG_REFERENCE_NONE && !limited)
        code = rg_ini_fail(ini, rg_ini_find(ini, section, "reference"), err,
                           "change_low and change_high are both none, so nothing is held against "
                           "the reference; give one of them, or make reference none");
    return code;
}

/* ---------------------------------------------------------------- sections */

typedef struct kind {
    const char *word; /* of "[word NAME]" */
    bool star;        /* a '*' may stand in the name */
    rg_ini_table table;
} kind;

enum { SEAL, VALUE, BALANCE, CHECK, SECTION, KINDS };
static const kind kinds[KINDS] = {
    [SEAL] = {"seal", true, TABLE(seal_field)},
    [VALUE] = {"value", true, TABLE(value_field)},
    [BALANCE] = {"balance", false, TABLE(balance_field)},
    [CHECK] = {"check", false, TABLE(check_field)},
    [SECTION] = {"section", false, TABLE(section_field)},
};

/* Adds "file, line: [section]: " to a refusal of the name. */
static rg_code bad_name(const rg_ini *ini, int section, const char *why, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA, "%s, line %d: [%s]: %s", ini->label,
                   ini->section[section].line, ini->section[section].name, why);
}

static rg_code check_star(const rg_ini *ini, int section, const char *name, bool allowed,
                          rg_error *err)
{
    const char *star = strchr(name, '*');
    if (star && !allowed)
        return bad_name(ini, section, "this kind of rule has no * in its name; write it out", err);
    if (star && strchr(star + 1, '*'))
        return bad_name(ini, section, "one * at most can stand in the name", err);
    return RG_OK;
}

/* Index into kinds, and the name behind the word; -1: none of ours. */
static int kind_of(const char *section, const char **name)
{
    for (int i = 0; i < KINDS; i++) {
        size_t n = strlen(kinds[i].word);
        if (strncmp(section, kinds[i].word, n) == 0 && section[n] == ' ') {
            *name = section + n + strspn(section + n, " ");
            return i;
        }
    }
    return -1;
}

static rg_code check_balance(const rg_ini *ini, int section, const rg_balance_rule *rule,
                             rg_error *err)
{
    const rg_ini_entry *entry = rg_ini_find(ini, section, "quantity");
    const char *star = strchr(rule->quantity, '*');
    if (!star || strchr(star + 1, '*'))
        return rg_ini_fail(ini, entry, err,
                           "write one * where the members' names stand, as in spring force *");
    if (strcmp(rule->members, "*") != 0 && !strchr(rule->members, ','))
        return rg_ini_fail(ini, rg_ini_find(ini, section, "members"), err,
                           "a balance needs two members or more, comma separated, or * for all");
    return RG_OK;
}

/* Where the next rule of that kind goes, with its name; NULL: there are too many. */
static void *place_for(rg_release_rules *r, int k, char **name)
{
    int *const count[] = {&r->seals, &r->values, &r->balances, &r->checks, &r->sections};
    if (*count[k] == RG_RELEASE_RULES_MAX)
        return NULL;
    int i = (*count[k])++;
    char *const names[] = {r->seal[i].pad, r->value[i].quantity, r->balance[i].name,
                           r->check[i].name, r->section[i].name};
    void *const rules[] = {&r->seal[i], &r->value[i], &r->balance[i], &r->check[i], &r->section[i]};
    *name = names[k];
    return rules[k];
}

static rg_code fill_rule(const rg_ini *ini, int section, rg_release_rules *rules, rg_error *err)
{
    const char *name = "";
    char *to;
    int k = kind_of(ini->section[section].name, &name);
    if (k < 0 || !*name)
        return rg_ini_unknown_section(ini, section,
                                      "[release], [seal PAD], [value QUANTITY], [balance NAME], "
                                      "[check NAME] and [section NAME]",
                                      err);
    rg_code code = check_star(ini, section, name, kinds[k].star, err);
    if (code != RG_OK)
        return code;
    void *rule = place_for(rules, k, &to);
    if (!rule)
        return bad_name(ini, section, "one rule of its kind more than the 64 that fit", err);
    rg_copy_text(to, RG_RELEASE_NAME, name);
    code = rg_ini_fill(ini, kinds[k].table, "", section, -1, rule, err);
    if (code == RG_OK && k == VALUE)
        code = fill_value(ini, section, rule, err);
    return code == RG_OK && k == BALANCE ? check_balance(ini, section, rule, err) : code;
}

static bool requires_anything(const rg_release_rules *r)
{
    bool any = false;
    for (int i = 0; i < RG_RELEASE_RULES_MAX; i++)
        any = any || (i < r->seals && r->seal[i].required) ||
              (i < r->values && r->value[i].need != RG_NEED_NO) ||
              (i < r->balances && r->balance[i].required) ||
              (i < r->checks && r->check[i].required) ||
              (i < r->sections && r->section[i].required);
    return any;
}

static rg_code fill(const rg_ini *ini, rg_release_rules *rules, rg_error *err)
{
    static const rg_ini_table head = TABLE(release_field);
    int first = rg_ini_section_index(ini, "release");
    if (first < 0)
        return rg_fail(err, RG_BAD_DATA, "%s: section [release] is missing; add it, see %s",
                       ini->label, ini->model);
    rg_code code = rg_ini_fill(ini, head, "", first, -1, rules, err);
    for (int i = 0; code == RG_OK && i < ini->sections; i++)
        if (i != first)
            code = fill_rule(ini, i, rules, err);
    if (code == RG_OK && !requires_anything(rules))
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: requires nothing, so it would release an instrument that nobody "
                       "measured; make at least [seal *] required = yes, see %s",
                       ini->label, ini->model);
    return code;
}

rg_code rg_release_rules_parse(const char *label, const char *text, size_t size,
                               rg_release_rules *rules, rg_error *err)
{
    rg_ini *ini;
    *rules = (rg_release_rules){0};
    rg_code code = rg_ini_read(label, "calib/release.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, rules, err);
    rg_ini_free(ini);
    return code;
}

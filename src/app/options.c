/*
 * options.c - reading options by table.
 */
#include "rimglow/options.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/text.h"

static const rg_option *find_long(const rg_option *o, int n, const char *name, size_t length)
{
    for (int i = 0; i < n; i++)
        if (strlen(o[i].name) == length && strncmp(o[i].name, name, length) == 0)
            return &o[i];
    return NULL;
}

static const rg_option *find_letter(const rg_option *o, int n, char letter)
{
    for (int i = 0; i < n; i++)
        if (o[i].letter && o[i].letter == letter)
            return &o[i];
    return NULL;
}

static rg_code set_choice(const rg_option *o, const char *value, rg_error *err)
{
    char known[160] = "";
    size_t used = 0;
    for (int i = 0; o->choices[i]; i++) {
        if (strcmp(o->choices[i], value) == 0) {
            *(int *)o->value = i;
            return RG_OK;
        }
        int n = snprintf(known + used, sizeof known - used, "%s%s", i ? ", " : "", o->choices[i]);
        used += n > 0 && used + (size_t)n < sizeof known ? (size_t)n : 0;
    }
    return rg_fail(err, RG_USAGE, "--%s %s: choose one of %s", o->name, value, known);
}

static rg_code set_value(const rg_option *o, const char *value, rg_error *err)
{
    long whole;
    switch (o->kind) {
    case RG_OPTION_TEXT:
        if (!value[0])
            return rg_fail(err, RG_USAGE, "--%s needs a value that is not empty", o->name);
        *(const char **)o->value = value;
        return RG_OK;
    case RG_OPTION_WHOLE:
        if (!rg_parse_int(value, o->low, o->high, &whole))
            return rg_fail(err, RG_USAGE, "--%s %s: a whole number from %ld to %ld is needed",
                           o->name, value, o->low, o->high);
        *(int *)o->value = (int)whole;
        return RG_OK;
    case RG_OPTION_CHOICE:
        return set_choice(o, value, err);
    default:
        return rg_fail(err, RG_USAGE, "--%s takes no value", o->name);
    }
}

static const rg_option *look_up(const rg_option *options, int n, const char *word,
                                const char **value)
{
    *value = NULL;
    if (word[1] != '-') {
        *value = word[2] ? word + 2 : NULL;
        return find_letter(options, n, word[1]);
    }
    const char *equals = strchr(word, '=');
    *value = equals ? equals + 1 : NULL;
    return find_long(options, n, word + 2, equals ? (size_t)(equals - word) - 2 : strlen(word) - 2);
}

rg_code rg_options_read(int argc, char **argv, const rg_option *options, int option_count,
                        const char **operands, int *count, rg_error *err)
{
    bool only_operands = false;
    *count = 0;
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i], *value;
        if (only_operands || word[0] != '-' || word[1] == '\0') {
            operands[(*count)++] = word;
            continue;
        }
        if (strcmp(word, "--") == 0) {
            only_operands = true;
            continue;
        }
        const rg_option *o = look_up(options, option_count, word, &value);
        if (!o)
            return rg_fail(err, RG_USAGE, "unknown option %s; rimglow %s -h lists them", word,
                           argv[0]);
        if (o->kind == RG_OPTION_SWITCH && !value) {
            *(bool *)o->value = true;
            continue;
        }
        if (!value && ++i >= argc)
            return rg_fail(err, RG_USAGE, "%s needs a value", word);
        rg_code code = set_value(o, value ? value : argv[i], err);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

/*
 * unit.c - a table of factors; only units of one kind convert.
 */
#include "rimglow/unit.h"

#include <stddef.h>
#include <string.h>

typedef enum kind { MASS, LENGTH, FORCE } kind;

static const struct unit {
    const char *name;
    kind kind;
    double factor; /* to the first unit of its kind */
} units[] = {
    {"g", MASS, 1},          {"kg", MASS, 1000},     {"mm", LENGTH, 1},
    {"um", LENGTH, 1e-3},    {"inch", LENGTH, 25.4}, {"in", LENGTH, 25.4},
    {"N", FORCE, 1},         {"mN", FORCE, 1e-3},    {"gf", FORCE, 9.80665e-3},
    {"kgf", FORCE, 9.80665},
};

static const struct unit *find(const char *name)
{
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
        if (strcmp(units[i].name, name) == 0)
            return &units[i];
    return NULL;
}

bool rg_unit_convert(double value, const char *from, const char *to, double *converted)
{
    double factor = 1;
    if (strcmp(from, to) != 0) {
        const struct unit *a = find(from), *b = find(to);
        if (!a || !b || a->kind != b->kind)
            return false;
        factor = a->factor / b->factor;
    }
    if (converted)
        *converted = value * factor;
    return true;
}

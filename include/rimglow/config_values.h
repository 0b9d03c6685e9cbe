/*
 * config_values.h - measured set-up values of one instrument, written by hand (INI):
 *
 *   [mass]                ; a quantity, any name
 *   value = 2431
 *   unit = g
 *   u = 1                 ; standard uncertainty in the same unit; 0: not stated
 *   with = bench scale    ; the instrument used; may be empty
 *
 * Rules and messages are those of config.h.
 */
#ifndef RIMGLOW_CONFIG_VALUES_H
#define RIMGLOW_CONFIG_VALUES_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/status.h"

enum { RG_VALUES_MAX = 64, RG_VALUE_QUANTITY = 64, RG_VALUE_UNIT = 24, RG_VALUE_WITH = 128 };

typedef struct rg_measured_value {
    char quantity[RG_VALUE_QUANTITY], unit[RG_VALUE_UNIT], with[RG_VALUE_WITH];
    double value, u; /* u: 0 where not stated */
} rg_measured_value;

/* value[RG_VALUES_MAX]; *count gets how many. */
rg_code rg_values_parse(const char *label, const char *text, size_t size, rg_measured_value *value,
                        int *count, rg_error *err);
/* The same file, owned by the caller (free()). What would not be read back as it is - a quantity with ']', a text with
 * ';' or '#' after a blank, two values of one quantity - is RG_BAD_DATA. Numbers have 12 digits. */
rg_code rg_values_text(const rg_measured_value *value, int count, char **text, rg_error *err);
/* Alike to the 12 digits that are written. */
bool rg_values_equal(const rg_measured_value *a, const rg_measured_value *b);

#endif

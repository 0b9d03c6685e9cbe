/*
 * config_values.h - set-up values, checks and remarks of one instrument, written by hand (INI). Each
 * section is one of three kinds, told by its keys:
 *
 *   [mass]                ; a quantity, any name: a number
 *   value = 2431
 *   unit = g
 *   u = 1                 ; standard uncertainty in the same unit; 0: not stated
 *   with = bench scale    ; the instrument used; may be empty
 *
 *   [lubrication]         ; a check
 *   check = done          ; done or not done
 *
 *   [play test]           ; a remark
 *   remark = low C speaks late
 *
 * Any kind may also have:
 *   remark = TEXT         ; one line
 *   date = 2026-11-24     ; when it was measured or done; none, or left out: at this visit
 *
 * Rules and messages are those of config.h.
 */
#ifndef RIMGLOW_CONFIG_VALUES_H
#define RIMGLOW_CONFIG_VALUES_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/status.h"

enum {
    RG_VALUES_MAX = 256,
    RG_VALUE_QUANTITY = 64,
    RG_VALUE_UNIT = 24,
    RG_VALUE_WITH = 128,
    RG_VALUE_REMARK = 192
};

typedef enum rg_value_kind { RG_VALUE_NUMBER, RG_VALUE_CHECK, RG_VALUE_REMARK_ONLY } rg_value_kind;

typedef struct rg_measured_value {
    rg_value_kind kind;
    char quantity[RG_VALUE_QUANTITY];
    char unit[RG_VALUE_UNIT], with[RG_VALUE_WITH]; /* of a number, else "" */
    double value, u;                               /* of a number; u: 0 where not stated */
    bool done;                                     /* of a check */
    char remark[RG_VALUE_REMARK];                  /* "" where there is none */
    int day;                                       /* date.h; -1: not stated */
} rg_measured_value;

/* value[RG_VALUES_MAX]; *count gets how many. */
rg_code rg_values_parse(const char *label, const char *text, size_t size, rg_measured_value *value,
                        int *count, rg_error *err);
/* The same file, owned by the caller (free()). What would not be read back as it is - a quantity with ']', a text with
 * ';' or '#' after a blank, two values of one quantity - is RG_BAD_DATA. Numbers have 12 digits. */
rg_code rg_values_text(const rg_measured_value *value, int count, char **text, rg_error *err);
/* Alike in all they say; numbers to the 12 digits that are written. */
bool rg_values_equal(const rg_measured_value *a, const rg_measured_value *b);

#endif

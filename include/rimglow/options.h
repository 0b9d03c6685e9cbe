/*
 * options.h - command-line options as a table: long and short names, values
 * of a stated kind, everything else an operand.
 */
#ifndef RIMGLOW_OPTIONS_H
#define RIMGLOW_OPTIONS_H

#include "rimglow/status.h"

typedef enum rg_option_kind {
    RG_OPTION_SWITCH, /* bool: set to true */
    RG_OPTION_TEXT,   /* const char *: the value, not copied */
    RG_OPTION_WHOLE,  /* int within low..high */
    RG_OPTION_CHOICE  /* int: index into choices */
} rg_option_kind;

typedef struct rg_option {
    const char *name; /* without the dashes */
    char letter;      /* 0: none */
    rg_option_kind kind;
    void *value;
    long low, high;             /* of a whole number */
    const char *const *choices; /* of a choice, ends with NULL */
} rg_option;

/* Reads argv[1..argc-1]; operands (pointers into argv) go to operands[],
 * *count of them. "--" ends the options; "--name=value" and "--name value"
 * are the same. RG_USAGE names the word and what it should be. */
rg_code rg_options_read(int argc, char **argv, const rg_option *options, int option_count,
                        const char **operands, int *count, rg_error *err);

#endif

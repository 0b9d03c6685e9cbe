/*
 * config_pairs.h - calib/pairs.ini: how archived photographs are shown for teaching (pairs.h). Rules and messages
 * are those of config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_PAIRS_H
#define RIMGLOW_CONFIG_PAIRS_H

#include <stddef.h>

#include "rimglow/status.h"

enum { RG_PAIRS_SIZES = 4 };

/* calib/pairs.ini says what each means. */
typedef struct rg_pairs_settings {
    double margin_mm, below_mm;
    int quality;
    double look_deg;
    double size_mm[RG_PAIRS_SIZES]; /* rising */
    int most;
} rg_pairs_settings;

rg_code rg_pairs_settings_parse(const char *label, const char *text, size_t size,
                                rg_pairs_settings *settings, rg_error *err);

#endif

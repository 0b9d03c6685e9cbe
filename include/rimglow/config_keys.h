/*
 * config_keys.h - calib/keys.ini: how cups of one key, fingers and closings are compared. Rules and
 * messages are those of config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_KEYS_H
#define RIMGLOW_CONFIG_KEYS_H

#include <stddef.h>

#include "rimglow/force.h"
#include "rimglow/regulation.h"
#include "rimglow/repeat.h"

/* coverage_factor and same_force_share of [keys] stand in each of the three. */
typedef struct rg_keys_settings {
    rg_regulation_options regulation;
    rg_force_options force;
    rg_repeat_options repeat;
} rg_keys_settings;

rg_code rg_keys_settings_parse(const char *label, const char *text, size_t size,
                               rg_keys_settings *settings, rg_error *err);

#endif

/*
 * config_heights.h - calib/heights.ini: how openings are judged (heights.h). Rules and messages are
 * those of config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_HEIGHTS_H
#define RIMGLOW_CONFIG_HEIGHTS_H

#include <stddef.h>

#include "rimglow/heights.h"

rg_code rg_heights_options_parse(const char *label, const char *text, size_t size,
                                 rg_heights_options *options, rg_error *err);

#endif

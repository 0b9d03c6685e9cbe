/*
 * config_flow.h - the air and pressure of flow.h from an INI file like
 * calib/flow.ini. Rules and messages are those of config.h: every key must be
 * there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_FLOW_H
#define RIMGLOW_CONFIG_FLOW_H

#include <stddef.h>

#include "rimglow/flow.h"

rg_code rg_flow_options_parse(const char *label, const char *text, size_t size,
                              rg_flow_options *options, rg_error *err);

#endif

/*
 * config_diagnosis.h - calib/diagnosis.ini: how a seal map is diagnosed. Rules and messages are those of
 * config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_DIAGNOSIS_H
#define RIMGLOW_CONFIG_DIAGNOSIS_H

#include <stddef.h>

#include "rimglow/diagnosis.h"

rg_code rg_diagnosis_options_parse(const char *label, const char *text, size_t size,
                                   rg_diagnosis_options *options, rg_error *err);

#endif

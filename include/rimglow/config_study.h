/*
 * config_study.h - the settings of a study from an INI file like
 * calib/study.ini. Rules and messages are those of config.h: every key must be
 * there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_STUDY_H
#define RIMGLOW_CONFIG_STUDY_H

#include <stddef.h>

#include "rimglow/study.h"

/* Words of the settings that are choices, in their order, ended by NULL. */
extern const char *const rg_study_links[];       /* logit probit cloglog */
extern const char *const rg_study_axes[];        /* linear log */
extern const char *const rg_study_signal_axes[]; /* linear log-size log-log */

rg_code rg_study_settings_parse(const char *label, const char *text, size_t size,
                                rg_study_settings *settings, rg_error *err);

#endif

/*
 * config_release.h - rules of release (INI), as calib/release.ini: [release], and any number of
 * [seal PAD], [value QUANTITY], [balance NAME], [check NAME] and [section NAME] (release.h). A name
 * may hold one '*' where release.h says so. Every key of a section must be there; rules that
 * require nothing are refused, since they would release anything. Rules and messages are those of
 * config.h.
 */
#ifndef RIMGLOW_CONFIG_RELEASE_H
#define RIMGLOW_CONFIG_RELEASE_H

#include <stddef.h>

#include "rimglow/release.h"

rg_code rg_release_rules_parse(const char *label, const char *text, size_t size,
                               rg_release_rules *rules, rg_error *err);

#endif

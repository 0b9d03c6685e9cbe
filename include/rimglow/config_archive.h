/*
 * config_archive.h - calib/archive.ini: how visits are compared and batches summed up. Rules and
 * messages are those of config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_ARCHIVE_H
#define RIMGLOW_CONFIG_ARCHIVE_H

#include <stddef.h>

#include "rimglow/change.h"

typedef struct rg_archive_settings {
    rg_change_options change;
    double confidence; /* of the batch view's intervals */
} rg_archive_settings;

rg_code rg_archive_settings_parse(const char *label, const char *text, size_t size,
                                  rg_archive_settings *settings, rg_error *err);

#endif

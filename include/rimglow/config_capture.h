/*
 * config_capture.h - calib/capture.ini: what counts as covered, and which frames of a live sweep are kept. Rules
 * and messages are those of config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_CAPTURE_H
#define RIMGLOW_CONFIG_CAPTURE_H

#include <stddef.h>

#include "rimglow/coverage.h"

typedef struct rg_keep_options {
    int per_place;     /* frames of one sector of camera bearings at one level */
    int closed_most;   /* closed frames in all */
    int witness_most;  /* witness frames that prove nothing */
    int dark_most;     /* dark frames */
    double beyond_deg; /* kept so far beyond the outer levels; */
    double unsure_deg; /* the same while the rim's plane is not known */
} rg_keep_options;

typedef struct rg_engine_options {
    int waiting;          /* frames that may wait while all workers are busy */
    double measure_pause; /* between two measurements of all kept frames, in times of the first */
} rg_engine_options;

typedef struct rg_capture_settings {
    rg_coverage_options coverage;
    rg_keep_options keep;
    rg_engine_options engine;
    double witness_exposure; /* relative to the closed frames */
} rg_capture_settings;

rg_code rg_capture_settings_parse(const char *label, const char *text, size_t size,
                                  rg_capture_settings *settings, rg_error *err);

#endif

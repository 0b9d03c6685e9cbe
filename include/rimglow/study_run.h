/*
 * study_run.h - a study from its table on the disk: reads the CSV and the
 * sweeps it names, measures those that are not measured yet, and computes.
 *
 * Paths in the table are relative to the table's own folder. A sweep may be a sweep
 * folder (with sweep.ini: measured now), a result folder or a seal-map.json.
 */
#ifndef RIMGLOW_STUDY_RUN_H
#define RIMGLOW_STUDY_RUN_H

#include "rimglow/config_study.h"
#include "rimglow/inspection.h"
#include "rimglow/mapfile.h"
#include "rimglow/studyfile.h"

/* What of a seal map a gauge study looks at. */
typedef enum rg_study_quantity {
    RG_QUANTITY_WIDEST, /* widest gap, mm; 0 when nothing is open */
    RG_QUANTITY_MEAN,   /* mean width of the arc with the widest gap, mm */
    RG_QUANTITY_CENTRE, /* bearing of that arc's centre, degrees */
    RG_QUANTITY_AT      /* width at one bearing, mm */
} rg_study_quantity;

/* Their words, in order, ended by NULL: widest mean centre at. */
extern const char *const rg_study_quantities[];

typedef struct rg_study_options {
    rg_study_settings settings;
    int quantity;      /* rg_study_quantity */
    int bearing_deg;   /* of RG_QUANTITY_AT, 0..359 */
    double decision;   /* NAN: of sweeps their common tolerance; none of a table */
    double require_mm; /* NAN: none */
    int workers;
    const rg_progress *progress; /* may be NULL */
} rg_study_options;

/* Reads settings; the built-in ones when path is NULL. */
rg_code rg_study_settings_load(const char *path, rg_study_settings *settings, rg_error *err);

typedef struct rg_gauge_run {
    rg_gauge_file file;
    double *value;                     /* owned */
    const char *part[RG_STUDY_LEVELS]; /* names, in file */
    const char *person[RG_STUDY_LEVELS];
    rg_gauge_study_result result;
} rg_gauge_run;

/* *run must stay at its address: names point into it. */
rg_code rg_gauge_run_file(const char *csv, const rg_study_options *options, rg_gauge_run *run,
                          rg_error *err);
void rg_gauge_run_free(rg_gauge_run *run);

typedef struct rg_detect_run {
    rg_detect_file file;
    rg_trial *trial; /* owned; [trials] */
    int trials;
    rg_detection_result result;
} rg_detect_run;

rg_code rg_detect_run_file(const char *csv, const rg_study_options *options, rg_detect_run *run,
                           rg_error *err);
void rg_detect_run_free(rg_detect_run *run);

#endif

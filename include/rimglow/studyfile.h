/*
 * studyfile.h - the table of a study, as a workshop writes it by hand or in a
 * spreadsheet: CSV (RFC 4180) with a header row.
 *
 * UTF-8; cells separated by commas, semicolons or tabs (whichever the header
 * row has most of), with blanks around them ignored, in quotes where they hold a
 * separator. Empty lines and lines that begin with # are comments. A point is
 * the decimal sign. Columns come in any order; an unknown one is refused, as is
 * one given twice; a column "note" is free text and ignored.
 *
 *   gauge    part, person, repeat and one of value_mm, value_deg, sweep;
 *            optional reference_mm: the true width, for the bias
 *   detect   size_mm, hit (1, 0, yes, no)                 size 0: nothing was there
 *        or  size_mm, signal ("<0.01": below, ">0.5": above a limit)
 *        or  sweep, truth (a number in mm, or the path of a JSON file with
 *            w_mm[360], the true width at each bearing)
 *
 * A refusal is RG_BAD_DATA with "LABEL, line N, COLUMN = VALUE: reason; remedy".
 */
#ifndef RIMGLOW_STUDYFILE_H
#define RIMGLOW_STUDYFILE_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/detection.h"
#include "rimglow/status.h"

enum {
    RG_STUDY_MAX_BYTES = 2 * 1024 * 1024,
    RG_STUDY_ROWS_MAX = 10000,
    RG_STUDY_COLUMNS_MAX = 32,
    RG_STUDY_NAME = 64,   /* bytes of a part's or person's name, with the final 0 */
    RG_STUDY_PATH = 512,  /* of a path */
    RG_STUDY_LEVELS = 200 /* parts, and persons */
};

typedef enum rg_gauge_input {
    RG_GAUGE_VALUES_MM,
    RG_GAUGE_VALUES_DEG,
    RG_GAUGE_SWEEPS
} rg_gauge_input;

typedef struct rg_gauge_row {
    int line;
    int part, person, repeat; /* from 0, in the order in which they appear */
    double value;             /* NAN with sweeps */
    double reference_mm;      /* NAN: none */
    char repeat_name[RG_STUDY_NAME];
    char sweep[RG_STUDY_PATH];
} rg_gauge_row;

/* A balanced design: every person has measured every part equally often. */
typedef struct rg_gauge_file {
    rg_gauge_input input;
    int parts, persons, repeats;
    char part[RG_STUDY_LEVELS][RG_STUDY_NAME], person[RG_STUDY_LEVELS][RG_STUDY_NAME];
    int rows;          /* parts * persons * repeats */
    rg_gauge_row *row; /* owned; row[(part * persons + person) * repeats + repeat] */
} rg_gauge_file;

/* label names the file in messages. On failure the struct owns nothing. */
rg_code rg_gauge_file_parse(const char *label, const char *text, size_t size, rg_gauge_file *file,
                            rg_error *err);
void rg_gauge_file_free(rg_gauge_file *file);

typedef enum rg_detect_input {
    RG_DETECT_HITS,
    RG_DETECT_SIGNALS,
    RG_DETECT_SWEEPS
} rg_detect_input;

typedef struct rg_detect_row {
    int line;
    double size_mm; /* of hits and signals */
    bool hit;
    double signal;
    rg_censor censor;
    char sweep[RG_STUDY_PATH];
    char truth[RG_STUDY_PATH]; /* path; empty when truth_mm holds */
    double truth_mm;
} rg_detect_row;

typedef struct rg_detect_file {
    rg_detect_input input;
    int rows;
    rg_detect_row *row; /* owned, in the order of the file */
} rg_detect_file;

rg_code rg_detect_file_parse(const char *label, const char *text, size_t size, rg_detect_file *file,
                             rg_error *err);
void rg_detect_file_free(rg_detect_file *file);

#endif

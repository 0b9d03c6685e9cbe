/*
 * catalogue.h - the archive's index: an SQLite file of serials, inspections, pads, arcs and set-up
 * values, made from the bags and always made again from them. It is never the only copy of
 * anything.
 *
 * WAL (or a rollback journal where the file system cannot share memory), foreign keys on, prepared
 * statements only, schema changes by user_version. One inspection is one transaction. Other
 * processes that hold the file are waited for up to 10 s, then it is RG_IO.
 *
 * Tables, for other programs: serial; inspection (one row for each bag); pad (one for each sweep);
 * arc; setup_value. Columns are named as the members below, `measured_with` for `with`; what does
 * not exist is NULL. arc.pad and pad.inspection are ids of rows, which change when the index is
 * made again.
 */
#ifndef RIMGLOW_CATALOGUE_H
#define RIMGLOW_CATALOGUE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

enum { RG_CATALOGUE_NAME = 128, RG_CATALOGUE_DIGEST = 65 };

typedef struct rg_catalogue rg_catalogue; /* opaque */

typedef enum rg_catalogue_mode {
    RG_CATALOGUE_WRITE, /* made when missing, migrated when older */
    RG_CATALOGUE_READ /* RG_NO_INPUT when missing or still empty; works on a read-only disk; an older file is
                           migrated in memory */
} rg_catalogue_mode;

/* RG_BAD_DATA for a file that is not this index, is damaged, or was written by a newer version:
 * the text says `rimglow archive reindex`. Such a file is not changed. An empty file is filled
 * when writing and refused when reading. On a read-only disk, changes that a crash has left in
 * FILE-wal cannot be merged: RG_NO_INPUT. */
rg_code rg_catalogue_open(const char *path, rg_catalogue_mode mode, rg_catalogue **catalogue,
                          rg_error *err);
void rg_catalogue_close(rg_catalogue *catalogue);

/* ---------------------------------------------------------------- rows */

/* Verdicts are the words "sealed", "leaking", "undecided". Doubles that do not exist are NAN (NULL
 * in the table), and so is what is infinite. Texts are UTF-8; other bytes become '?'. Refused with
 * RG_BAD_DATA: other verdicts, an empty bag or sweep name, two sweeps of one name, sequence below
 * 1, a time outside 1970 to 9999, counts below 0, seen above 360. */
typedef struct rg_catalogue_arc {
    double start_deg, end_deg, centre_deg, extent_deg, extent_mm;
    double max_width_mm, u_max_mm, max_bearing_deg, open_area_mm2;
} rg_catalogue_arc;

typedef struct rg_catalogue_pad { /* one sweep of one pad */
    char name[RG_CATALOGUE_NAME]; /* of the sweep; unique in the inspection */
    char pad[RG_CATALOGUE_NAME];
    int position; /* of the pad in the body, 0 at the top; -1 unknown */
    char verdict[12], finger[12];
    double grams, tolerance_mm;
    int seen;                                  /* bearings of 360 */
    double widest_mm, u_widest_mm, widest_deg; /* NAN: no gap measured */
    double mean_mm, u_mean_mm;                 /* mean width over all seen bearings */
    char station[RG_CATALOGUE_NAME];
    int calibration_day;                          /* date.h; -1: never */
    bool calibrated;                              /* and it held */
    double radiance, u_radiance_ln, psf_sigma_px; /* radiance: luma of a thin slot; NAN unproven */
    int frames_used, frames_given;
    int arcs;
    const rg_catalogue_arc *arc; /* borrowed when writing; owned by the result when reading */
} rg_catalogue_pad;

typedef struct rg_catalogue_value {
    char quantity[64], unit[24], with[RG_CATALOGUE_NAME];
    double value, u;
} rg_catalogue_value;

typedef struct rg_catalogue_inspection {
    char bag[RG_CATALOGUE_NAME *
             2]; /* path below bags/: "PE-A-0147/0001-20261125T101500Z"; the key */
    char serial[RG_CATALOGUE_NAME], model[RG_CATALOGUE_NAME];
    int sequence;
    int64_t time; /* POSIX seconds */
    char technician[RG_CATALOGUE_NAME], occasion[64], note[1024], software[64], verdict[12];
    int pads_of_model; /* pads that the instrument file lists */
    char manifest[RG_CATALOGUE_DIGEST], tagmanifest[RG_CATALOGUE_DIGEST];
    char previous_manifest[RG_CATALOGUE_DIGEST]; /* "" for the first */
    char key[17];                                /* id of the signing key; "" unsigned */
    int64_t files, bytes;
    int pads;
    rg_catalogue_pad *pad; /* as arc above */
    int values;
    rg_catalogue_value *value;
} rg_catalogue_inspection;

/* Adds or replaces (by bag) one inspection with all its rows, in one transaction. */
rg_code rg_catalogue_put(rg_catalogue *catalogue, const rg_catalogue_inspection *inspection,
                         rg_error *err);
/* Between begin and end many rg_catalogue_put are one transaction; end with commit false takes all
 * back. A put that fails in between takes back only itself. After a full disk everything is taken
 * back at once, and each further change and the end are RG_IO.
 * reindex: begin, clear, put..., end. */
rg_code rg_catalogue_begin(rg_catalogue *catalogue, rg_error *err);
rg_code rg_catalogue_clear(rg_catalogue *catalogue, rg_error *err);
rg_code rg_catalogue_end(rg_catalogue *catalogue, bool commit, rg_error *err);
/* RG_NO_INPUT when there is no such bag. */
rg_code rg_catalogue_remove(rg_catalogue *catalogue, const char *bag, rg_error *err);

/* ---------------------------------------------------------------- questions */

/* Every member that is NULL, "" or 0 asks for nothing. Texts match as a whole, byte for byte, or
 * with '*' for any text (only '*' is special). */
typedef struct rg_catalogue_query {
    const char *serial, *model, *technician, *occasion;
    const char *verdict; /* of the inspection */
    /* Inspections with a sweep of which all of these are true. */
    const char *pad, *pad_verdict, *station;
    int64_t since, until; /* since <= time < until; 0: open */
    int limit, offset;    /* limit 0: all */
    bool oldest_first;    /* by time, then by bag; else the same backwards */
} rg_catalogue_query;

typedef struct rg_catalogue_list {
    int count;
    rg_catalogue_inspection *row; /* owned; without pads and values in rg_catalogue_find */
    /* owned; of each row: sweeps by verdict, and how many different pads were swept */
    int *leaking, *undecided, *sealed, *swept;
} rg_catalogue_list;

rg_code rg_catalogue_find(rg_catalogue *catalogue, const rg_catalogue_query *query,
                          rg_catalogue_list *list, rg_error *err);
void rg_catalogue_list_free(rg_catalogue_list *list);
/* How many rows the query has without limit and offset. */
rg_code rg_catalogue_count(rg_catalogue *catalogue, const rg_catalogue_query *query, int *count,
                           rg_error *err);

/* One inspection with everything; RG_NO_INPUT when there is none. */
rg_code rg_catalogue_get(rg_catalogue *catalogue, const char *bag,
                         rg_catalogue_inspection *inspection, rg_error *err);
void rg_catalogue_inspection_free(rg_catalogue_inspection *inspection);

/* One row for each sweep that fits the query, oldest first whatever it says, within an inspection
 * as put: for histories and the batch view. pad, pad_verdict and station are of the sweep itself;
 * limit and offset count sweeps. Texts are in one block, borrowed until
 * rg_catalogue_sweeps_free. */
typedef struct rg_catalogue_sweep {
    const char *bag, *serial, *model, *pad, *name, *verdict, *station, *finger;
    int sequence, position;
    int64_t time;
    double tolerance_mm, widest_mm, u_widest_mm, widest_deg, mean_mm, u_mean_mm;
    double radiance, u_radiance_ln, psf_sigma_px;
    int calibration_day, seen;
} rg_catalogue_sweep;
typedef struct rg_catalogue_sweeps {
    int count;
    rg_catalogue_sweep *row; /* owned */
    void *texts;             /* owned */
} rg_catalogue_sweeps;
rg_code rg_catalogue_sweeps_find(rg_catalogue *catalogue, const rg_catalogue_query *query,
                                 rg_catalogue_sweeps *sweeps, rg_error *err);
void rg_catalogue_sweeps_free(rg_catalogue_sweeps *sweeps);

/* A text of every row in a fixed order, owned by the caller: two indexes with the same content
 * give the same text (for reindex and for tests). */
rg_code rg_catalogue_dump(rg_catalogue *catalogue, char **text, rg_error *err);
/* SQLite's own integrity and foreign key checks. RG_BAD_DATA says what they found. */
rg_code rg_catalogue_check(rg_catalogue *catalogue, rg_error *err);

#endif

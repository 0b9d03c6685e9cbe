/*
 * catalogue_private.h - shared by catalogue*.c: the open index, its statements, binding and
 * reading of values.
 */
#ifndef RIMGLOW_EDGE_CATALOGUE_PRIVATE_H
#define RIMGLOW_EDGE_CATALOGUE_PRIVATE_H

#include <sqlite3.h>

#include "rimglow/catalogue.h"

/* Statements that are prepared once and kept. */
typedef enum rg_statement {
    RG_SQL_ADD_SERIAL,
    RG_SQL_DROP_SERIAL, /* unless an inspection still has it */
    RG_SQL_SERIAL_OF,
    RG_SQL_ADD_INSPECTION,
    RG_SQL_DROP_INSPECTION,
    RG_SQL_ADD_PAD,
    RG_SQL_ADD_ARC,
    RG_SQL_ADD_VALUE,
    RG_SQL_GET_INSPECTION,
    RG_SQL_GET_PADS,
    RG_SQL_GET_ARCS,
    RG_SQL_GET_VALUES,
    RG_SQL_PAD_VERDICTS,
    RG_STATEMENTS
} rg_statement;

struct rg_catalogue {
    sqlite3 *db;
    char *path; /* owned; for error texts */
    bool read_only;
    bool begun; /* between rg_catalogue_begin and rg_catalogue_end */
    sqlite3_stmt *kept[RG_STATEMENTS];
};

/* ---- catalogue.c ---- */

/* The error of an SQLite result code, with file, cause and remedy. */
rg_code rg_catalogue_fault(const rg_catalogue *c, int rc, rg_error *err);
rg_code rg_catalogue_run(rg_catalogue *c, const char *sql, rg_error *err);
/* Several reads of one state of the file. Nothing happens when a transaction is open already. */
rg_code rg_catalogue_hold(rg_catalogue *c, bool *held, rg_error *err);
void rg_catalogue_let_go(rg_catalogue *c, bool held);

/* ---- catalogue_schema.c ---- */

/* RG_BAD_DATA when the file is not this index or is newer; else its version, 0: holds nothing. */
rg_code rg_catalogue_identify(rg_catalogue *c, int *version, rg_error *err);
/* Brings the file to the present version. */
rg_code rg_catalogue_migrate(rg_catalogue *c, rg_error *err);
bool rg_catalogue_is_present(int version);
/* RG_BAD_DATA when a table or an index is not as this version makes it. */
rg_code rg_catalogue_check_schema(rg_catalogue *c, rg_error *err);

/* ---- catalogue_rows.c ---- */

/* Columns of a table in the order of rg_catalogue_inspection and so on, without ids. */
#define RG_INSPECTION_COLUMNS                                                                      \
    "bag, serial, model, sequence, time, technician, occasion, note, software, verdict, "          \
    "pads_of_model, manifest, tagmanifest, previous_manifest, key, files, bytes"
#define RG_PAD_COLUMNS                                                                             \
    "name, pad, position, verdict, finger, grams, tolerance_mm, seen, widest_mm, u_widest_mm, "    \
    "widest_deg, mean_mm, u_mean_mm, station, calibration_day, calibrated, radiance, "             \
    "u_radiance_ln, psf_sigma_px, frames_used, frames_given"
#define RG_ARC_COLUMNS                                                                             \
    "start_deg, end_deg, centre_deg, extent_deg, extent_mm, max_width_mm, u_max_mm, "              \
    "max_bearing_deg, open_area_mm2"
#define RG_VALUE_COLUMNS "quantity, unit, measured_with, value, u"

/* Binds the parameters of a statement one after the other; keeps the first failure. */
typedef struct rg_binder {
    sqlite3_stmt *stmt;
    int at, rc;
} rg_binder;
/* A kept statement, ready to bind. */
rg_code rg_catalogue_kept(rg_catalogue *c, rg_statement which, rg_binder *to, rg_error *err);
/* At most size - 1 bytes of text, made valid UTF-8. */
void rg_bind_text(rg_binder *to, const char *text, size_t size);
void rg_bind_int(rg_binder *to, int64_t value);
void rg_bind_real(rg_binder *to, double value); /* what is not finite is NULL */
void rg_bind_null(rg_binder *to);
/* Runs a statement that gives no rows. */
rg_code rg_catalogue_execute(rg_catalogue *c, rg_binder *bound, rg_error *err);
/* The next row; *there false at the end. */
rg_code rg_catalogue_step(rg_catalogue *c, rg_binder *bound, bool *there, rg_error *err);

/* Reads the columns of a row one after the other. */
typedef struct rg_reader {
    sqlite3_stmt *stmt;
    int at;
} rg_reader;
void rg_take_text(rg_reader *from, char *to, size_t size);
const char *rg_take_borrowed(rg_reader *from); /* until the next step */
int rg_take_int(rg_reader *from, int if_null);
int64_t rg_take_long(rg_reader *from);
double rg_take_real(rg_reader *from);
/* RG_INSPECTION_COLUMNS; pads and values stay as they are. */
void rg_take_inspection(rg_reader *from, rg_catalogue_inspection *to);

/* ---- catalogue_find.c ---- */

/* Calls visit with each inspection that fits, oldest first and whole, until it fails. */
typedef rg_code rg_catalogue_visit(void *context, const rg_catalogue_inspection *inspection,
                                   rg_error *err);
rg_code rg_catalogue_each(rg_catalogue *c, const rg_catalogue_query *query,
                          rg_catalogue_visit *visit, void *context, rg_error *err);

/* The shortest decimal that reads back as the same number, with a point in every locale; "" when
 * not finite. */
enum { RG_CATALOGUE_NUMBER = 40 };
void rg_catalogue_number(double value, char text[RG_CATALOGUE_NUMBER]);

#endif

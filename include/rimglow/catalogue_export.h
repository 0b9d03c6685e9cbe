/*
 * catalogue_export.h - everything in the index as CSV tables (RFC 4180) and as one JSON document
 * (RFC 8259). What does not exist is an empty field, or null.
 *
 * CSV: header line, CRLF, quoting where needed. A text that a spreadsheet would run as a formula
 * (it begins with = + - @, tab or CR) gets a ' in front; numbers are never touched and have as
 * many digits as it takes to read the same number back.
 *
 * Every table begins with bag, serial, time (UTC, ISO 8601); pads and arcs go on with sweep. JSON
 * has the same names, 15 significant digits, and null for an empty text.
 */
#ifndef RIMGLOW_CATALOGUE_EXPORT_H
#define RIMGLOW_CATALOGUE_EXPORT_H

#include "rimglow/catalogue.h"

typedef enum rg_export_table {
    RG_EXPORT_INSPECTIONS,
    RG_EXPORT_PADS,
    RG_EXPORT_ARCS,
    RG_EXPORT_VALUES
} rg_export_table;
enum { RG_EXPORT_TABLES = 4 };
/* "inspections", "pads", "arcs", "setup-values". */
const char *rg_export_table_name(rg_export_table table);

/* Called with pieces of text in order; returns what stops the export. */
typedef rg_code rg_export_write(void *context, const char *text, size_t size, rg_error *err);

/* Rows of the inspections that fit the query, in its order, keyed by bag. */
rg_code rg_export_csv(rg_catalogue *catalogue, const rg_catalogue_query *query,
                      rg_export_table table, rg_export_write *write, void *context, rg_error *err);
/* {"format": "rimglow archive export", "version": 1, "inspections": [{..., "pads": [{..., "arcs"}],
 * "setup": []}]}; written inspection by inspection, so that memory does not grow. */
rg_code rg_export_json(rg_catalogue *catalogue, const rg_catalogue_query *query,
                       rg_export_write *write, void *context, rg_error *err);

#endif

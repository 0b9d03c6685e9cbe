/*
 * setup_report.h - setup.json: a set-up sheet as JSON, and of such a file what verifying needs.
 *
 * {"format": "rimglow set-up sheet", "version": 1, software, serial, model, bag, sequence, time,
 *  technician, occasion, judged "YYYY-MM-DD", decision "release" | "hold", shown_out,
 *  coverage_factor, rules {file, sha256}, values, comparison {turn_u_deg, min_arc_deg} | null, reasons[] of {kind, name, state, text},
 *  items[] of {kind "pad" | "value" | "balance" | "check" | "further", section, name, state,
 *    required, unit, value, u, low, high, p_within, with, remark, measured "YYYY-MM-DD" | null,
 *    verdict, finger, grams, bearing_deg (of a pad), reference, reference_visit, change, u_change,
 *    change_low, change_high, why},
 *  changes[] of {kind, name, unit, visit, date, then, now, change, u, bearing_deg, state}}
 *
 * state of an item: "passed", "out of limits", "undecided", "not measured", "no rule". What does
 * not exist is null; u is a standard uncertainty. Numbers have 9 significant digits.
 */
#ifndef RIMGLOW_SETUP_REPORT_H
#define RIMGLOW_SETUP_REPORT_H

#include <stddef.h>

#include "rimglow/setup_sheet.h"

enum { RG_SETUP_JSON_MAX_BYTES = 8 * 1024 * 1024 };

/* Indented JSON, owned by the caller (free()). The same sheet gives the same bytes. */
rg_code rg_setup_report(const rg_setup_sheet *sheet, char **text, rg_error *err);

/* What such a file says, for comparing. */
typedef struct rg_setup_said {
    char serial[RG_RELEASE_NAME], bag[RG_RELEASE_NAME], software[RG_RELEASE_NAME];
    bool release;
    int day, items, reasons;
} rg_setup_said;
/* RG_BAD_DATA names what is missing or wrong. */
rg_code rg_setup_report_parse(const char *label, const char *text, size_t size, rg_setup_said *said,
                              rg_error *err);

#endif

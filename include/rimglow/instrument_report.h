/*
 * instrument_report.h - an instrument file as JSON: pads, links, and what each note does.
 *
 * Version 1. Keys: format "rimglow instrument", version, software, file, name, lowest, highest,
 * pads[] of {pad, rest, role, dimensions, rim_inner_mm, rim_outer_mm, pad_mm, cup_height_mm,
 *   crown (null: none), opening_mm, opening_tolerance_mm (null: not stated), closed_with,
 *   notes, opens, vents}, from the top of the body to the bottom, lists of notes as in pitch.h,
 * links[] of {driver, driven, adjuster, kind, lever_ratio, thread_mm (null: none)},
 * notes[] of {note, closed[], vents[], known, speaks_through[]}, rising.
 */
#ifndef RIMGLOW_INSTRUMENT_REPORT_H
#define RIMGLOW_INSTRUMENT_REPORT_H

#include "rimglow/notes.h"
#include "rimglow/rim.h"

typedef struct rg_instrument_report_pad {
    const char *rest, *role, *dimensions, *closed_with;
    const rg_rim *rim;
    int crown;                               /* -1: none */
    double opening_mm, opening_tolerance_mm; /* tolerance 0: not stated */
} rg_instrument_report_pad;

typedef struct rg_instrument_report_link {
    int driver, driven; /* holes */
    const char *adjuster, *kind;
    double lever_ratio, thread_mm;
} rg_instrument_report_link;

typedef struct rg_instrument_report {
    const char *file, *name;
    const rg_hole *hole;                 /* [pads] */
    const rg_instrument_report_pad *pad; /* [pads] */
    int pads;
    const rg_instrument_report_link *link;
    int links;
} rg_instrument_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_instrument_report_text(const rg_instrument_report *report, char **text, rg_error *err);

#endif

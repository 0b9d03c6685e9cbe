/*
 * flow_report.h - leaks, the notes that they harm, and the venting of notes as JSON.
 *
 * Version 1. Keys: format "rimglow leaks and notes", version, software, serial, instrument,
 * air {temperature_c, ambient_pa, viscosity_pa_s, density_kg_m3}, blowing_pa, discharge,
 * entry_exit_loss, coverage_factor,
 * instrument_leak {LEAK, at_most_more {ml_s, orifice_mm}, gap_bearings, sealed_bearings,
 *   unseen_bearings},
 * pads[] of {pad, LEAK, at_most_more, gap_bearings, sealed_bearings, unseen_bearings,
 *   arcs[] of {arc (from 0, as in seal-map.json), LEAK}},
 * ranking[] of {pad, ml_s, u_ml_s, starts_at (null: none), notes[] falling},
 * notes[] of {note, ml_s, u_ml_s, leaks, worst_pad (null: none)}, falling,
 * venting[] of {note, known, speaks_through[], breath, cause (null: none), reason}, falling.
 * LEAK: ml_s, u_ml_s, low_ml_s, high_ml_s, ml_s_kpa, orifice_mm, orifice_low_mm, orifice_high_mm.
 * Unseen bearings are in no figure: at_most_more says nothing of them. What is not
 * finite is null.
 */
#ifndef RIMGLOW_FLOW_REPORT_H
#define RIMGLOW_FLOW_REPORT_H

#include "rimglow/flow.h"
#include "rimglow/notes.h"

typedef struct rg_flow_report_pad {
    int hole; /* index of its hole */
    const rg_pad_flow *flow;
} rg_flow_report_pad;

/* Lists may be empty (NULL and 0). */
typedef struct rg_flow_report {
    const char *serial, *instrument;
    const rg_flow_options *options;
    const rg_hole *hole; /* names the pads */
    const rg_flow_report_pad *pad;
    int pads;
    const rg_instrument_flow *total;
    const rg_leak_rank *rank;
    int ranks;
    const rg_note_loss *loss;
    int losses;
    const rg_note_breath *breath;
    int breaths;
} rg_flow_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_flow_report_text(const rg_flow_report *report, char **text, rg_error *err);

#endif

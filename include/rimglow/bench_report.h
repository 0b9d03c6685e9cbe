/*
 * bench_report.h - a bench check as JSON.
 *
 * bench-check.json, version 1. Lengths in mm and px as the key says, angles in
 * degrees, light linear 0 to 1; what was not shown is null. Keys:
 *   format "rimglow bench check", version 1, software, serial, pad, station, folder,
 *   state "good" | "poor" | "not shown",
 *   findings[] of {topic, state, value, u, limit, sense, unit, text},
 *   mtf50_cycles_per_px, mtf50_cycles_per_mm, px_per_mm,
 *   mtf {step_cycles_per_px, values[]},
 *   tones[16] (shares of the pixels, 16 codes each),
 *   uncovered_bearings[] (null when the rim was not found),
 *   frames[] of {file, role, used, reason, bearing_deg, elevation_deg, mtf50,
 *     borders, far_share, spread_xx_px2, spread_yy_px2, white, black, clipped,
 *     rim_ratio, tag_ratio, flaws[]}.
 */
#ifndef RIMGLOW_BENCH_REPORT_H
#define RIMGLOW_BENCH_REPORT_H

#include "rimglow/bench_check.h"

typedef struct rg_bench_report {
    const char *serial, *pad, *station, *folder;
    const rg_bench_check *check;
    const rg_bench_frame *look;
    const rg_frame *frames;
    const char *const *files, *const *roles; /* [count] */
    int count;
} rg_bench_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_bench_report_one(const rg_bench_report *report, char **text, rg_error *err);

/* One document over many sweeps: {"format": "rimglow bench checks", "version",
 * "state", "sweeps": [], "errors": [{folder, code, text}]}. texts[i] is a text
 * of rg_bench_report_one, or NULL with error[i] saying why. */
rg_code rg_bench_report_all(const char *state, const char *const *folders, const char *const *texts,
                            const rg_error *errors, int count, char **text, rg_error *err);

#endif

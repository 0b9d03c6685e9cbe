/*
 * diagnosis_report.h - the diagnosis of one pad as JSON.
 *
 * diagnosis.json, version 1. Lengths in mm, bearings in degrees; a number that is not known is null. Keys:
 *   format "rimglow diagnosis", version, software, serial, pad, tolerance_mm, coverage_factor,
 *   found (rg_diagnosis_name), confidence,
 *   shape {state "fitted" | "dark" | "local" | "unseen", open, dark, unseen, blocked, mean_mm,
 *     u_mean_mm, tilt and saddle of {state "fitted" | "not fixed" | "impossible", size_mm, u_size_mm,
 *     bearing_deg, u_bearing_deg, chi2, p}, terms_mm[5], covariance_mm2[5][5], contact_deg,
 *     u_contact_deg, lowest_mm, rms_mm, limit_mm, limit_deg, signed_mm[360], residual_mm[360],
 *     locals[] of {closed, start_deg, end_deg, extent_deg, most_mm, u_most_mm, most_bearing_deg,
 *     width_mm}},
 *   now and each fault's afterwards of {widest_mm, u_widest_mm, widest_deg, outlook "within" |
 *     "above" | "undecided"},
 *   faults[] of {kind, size_mm, u_size_mm, bearing_deg, u_bearing_deg, extent_deg, confidence,
 *     test "chi-square" | "normal" | "light", statistic, among, effect_mm, action, amount_mm,
 *     afterwards},
 *   predicted_mm[360], sentences[] of {kind "summary" | "fault" | "evidence" | "correction" |
 *     "afterwards" | "remark", fault (index, or null), text}.
 */
#ifndef RIMGLOW_DIAGNOSIS_REPORT_H
#define RIMGLOW_DIAGNOSIS_REPORT_H

#include "rimglow/diagnosis.h"

typedef struct rg_diagnosis_report {
    const char *serial, *pad; /* may be NULL */
    const rg_diagnosis *diagnosis;
} rg_diagnosis_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_diagnosis_report_text(const rg_diagnosis_report *report, char **text, rg_error *err);

#endif

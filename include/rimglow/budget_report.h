/*
 * budget_report.h - uncertainty budgets as JSON.
 *
 * budget.json, version 1. Keys: format "rimglow uncertainty budget", version,
 * software, serial, pad, station, folder, budgets[] of {bearing_deg, width_mm,
 * u_mm, dof (null: infinite), level, coverage, expanded_mm, seal_map_k,
 * contributions[] of {name, source, unit, type "A" | "B", distribution, value,
 * u, sensitivity_mm, dof, u_mm, share}}. The squares of the contributions' u_mm
 * add up to that of u_mm.
 */
#ifndef RIMGLOW_BUDGET_REPORT_H
#define RIMGLOW_BUDGET_REPORT_H

#include "rimglow/gap_budget.h"

typedef struct rg_budget_report {
    const char *serial, *pad, *station, *folder;
    const rg_gap_budget *budget; /* [count] */
    int count;
} rg_budget_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_budget_report_text(const rg_budget_report *report, char **text, rg_error *err);

#endif

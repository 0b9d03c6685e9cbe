/*
 * gap_budget.h - the uncertainty budget of one measured gap width.
 *
 * The parts are those of the rocking fit (rocking.h), each written as an input
 * quantity with its standard uncertainty, the sensitivity of the width to it,
 * and degrees of freedom: type A parts from the number of columns and frames,
 * type B parts from how unsure their uncertainty is (JCGM 100, G.4.2;
 * [budget] of the station). Their squares add up to the square of the bearing's
 * u_mm in the seal map.
 */
#ifndef RIMGLOW_GAP_BUDGET_H
#define RIMGLOW_GAP_BUDGET_H

#include "rimglow/budget.h"
#include "rimglow/pipeline.h"

/* Section [budget] of the station: relative amounts by which the type B
 * standard uncertainties are themselves unsure, and the level of confidence. */
typedef struct rg_gap_budget_options {
    double level;
    double radiance_unsure, blur_unsure, pose_unsure, scale_unsure, model_unsure, bulge_unsure;
} rg_gap_budget_options;

typedef struct rg_gap_budget {
    int bearing_deg;
    double width_mm;
    double coverage_factor; /* k of the seal map's U = k u */
    rg_budget budget;
} rg_gap_budget;

/* RG_BAD_DATA when that bearing (0..359) has no width: it was not seen. */
rg_code rg_gap_budget_make(const rg_setup *setup, const rg_sweep_result *result, int bearing_deg,
                           const rg_gap_budget_options *options, rg_gap_budget *out, rg_error *err);

#endif

/*
 * opportunity.h - a seal map against the truth: the chances that a sweep had
 * to find a gap, one every so many degrees.
 *
 * Neighbouring bearings are one gap seen through one slot, by the same frames: they
 * are not independent. So a sweep gives only one opportunity every step_deg, at
 * the bearings 0, step, 2 step, ...; a step of seen_arc_deg, the shortest gap
 * that a seen bearing is sure to show, is a sound choice. Even those share lamp
 * and poses, so bounds computed from them are somewhat too narrow.
 *
 * The map claims a gap where the bin's state is "gap": light was seen there,
 * and the width lies above arc_floor_mm and above gap_sigmas of its own noise.
 * That is what the user reads off the map, hence what counts as found. An
 * unseen bearing claims nothing: it is no opportunity, and it is counted.
 */
#ifndef RIMGLOW_OPPORTUNITY_H
#define RIMGLOW_OPPORTUNITY_H

#include "rimglow/detection.h"
#include "rimglow/sealmap.h"

typedef struct rg_opportunity {
    double bearing_deg;
    double truth_mm; /* true width there; 0 where the pad touches */
    bool seen;
    bool claimed;    /* the map says gap */
    double width_mm; /* measured; NAN unless claimed */
    double limit_mm; /* detection limit there; INFINITY when there is none */
} rg_opportunity;

/* step_deg in 1..360. Returns how many were written: ceil(360 / step_deg). */
int rg_opportunities(const rg_seal_map *map, const double truth_mm[RG_BINS], int step_deg,
                     rg_opportunity out[RG_BINS]);

/* The measured width as a signal: a gap that was not found lies below the
 * bearing's detection limit. False where that says nothing (unseen, no limit). */
bool rg_opportunity_response(const rg_opportunity *opportunity, rg_response *response);

#endif

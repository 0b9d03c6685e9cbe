/*
 * verdict.h - sealed, leaking or undecided: pure rules on widths and their
 * uncertainty, with the guard band of ISO 14253-1 and JCGM 106.
 *
 *   leaking:   w - U > tolerance on every bearing of some arc at least
 *              min_arc long;
 *   sealed:    the light was proven on, its calibration holds, every bearing was seen with a
 *              detection limit at or below seen_fraction * tolerance, and
 *              w + U <= tolerance on every bearing;
 *   undecided: anything else, with the bearings and the remedy.
 *
 * Bearings whose width is an interval because the hole may be looked through there (sealmap.h) are named.
 */
#ifndef RIMGLOW_VERDICT_H
#define RIMGLOW_VERDICT_H

#include "rimglow/sealmap.h"

typedef struct rg_evidence {
    bool light_proven;                      /* a witness frame of this sweep shows the lamp on */
    char light_reason[RG_REASON_SIZE];      /* why not, when not */
    char calibration_fault[RG_REASON_SIZE]; /* why the light's calibration does not hold; "" when it
                                               does */
    bool rim_found;                         /* rimline.h found the plane */
    int frames_used, frames_given;          /* closed frames */
} rg_evidence;

/* Sets map->verdict and map->reason[]. */
void rg_verdict_decide(rg_seal_map *map, const rg_evidence *evidence,
                       const rg_sealmap_options *options);

#endif

/*
 * bench_private.h - private to bench_check: coverage of a sweep.
 */
#ifndef RIMGLOW_SETUP_BENCH_PRIVATE_H
#define RIMGLOW_SETUP_BENCH_PRIVATE_H

#include "rimglow/bench_check.h"

/* Bearings at which a closed frame would have shown a gap of this width: looked at from nearly
 * the gap's own plane, not slanting too much, neither hidden nor in glare. Noise and the far
 * side are left out: it is the camera's way that is judged. False when the rim plane is not
 * known. */
bool rg_bench_covered(const rg_bench_sweep *sweep, double width_mm, bool covered[RG_BINS]);

/* Elevations (degrees against the rim plane, camera below and above) between which a gap of this
 * width shows, seen along the outward radius. */
void rg_bench_window(const rg_bench_sweep *sweep, double width_mm, double *low_deg,
                     double *high_deg);

#endif

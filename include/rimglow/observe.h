/*
 * observe.h - from the columns of all closed frames to observations: one
 * frame's word on one degree of bearing, as an open height.
 *
 * The flux of every column is turned into an open height by the slot's
 * forward model (width.h) with the lamp's radiance and the blur of the sweep;
 * the columns of one degree are averaged, with their scatter. A bin that is
 * more than half hidden is hidden.
 */
#ifndef RIMGLOW_OBSERVE_H
#define RIMGLOW_OBSERVE_H

#include "rimglow/pipeline.h"

/* obs[b] points to count[b] observations of bin b (bearing b degrees +- 0.5),
 * in the order of the frames. */
typedef struct rg_observations {
    int count[RG_BINS];
    const rg_observation *obs[RG_BINS]; /* into store */
    rg_observation *store;              /* owned */
} rg_observations;

/* Frames must have been through rg_rimlight_measure. RG_BAD_DATA for radiance
 * or blur that cannot be; on failure nothing is owned. */
rg_code rg_observe(const rg_observe_options *options, const rg_rim_plane *plane, double outer_mm,
                   const rg_frame *frames, int count, rg_observations *out, rg_error *err);
void rg_observations_free(rg_observations *observations);

#endif

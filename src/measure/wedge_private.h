/* wedge_private.h - shared by wedge.c and wedge_response.c. */
#ifndef RIMGLOW_WEDGE_PRIVATE_H
#define RIMGLOW_WEDGE_PRIVATE_H

#include "rimglow/wedge.h"

typedef struct rg_wedge_fit {
    const rg_setup *setup;
    const rg_frame *frames;
    int count;
    const rg_sweep_result *sweep; /* as measured before the calibration */
    const rg_wedge_blade *blade;
    const rg_wedge_options *options;
    rg_frame *work; /* [count] shallow copies: their use may be switched off */
    bool counts[RG_BINS];
    rg_code code;
    rg_error *err;
} rg_wedge_fit;

bool rg_wedge_clear(const rg_wedge_fit *f, int bearing);

/* Fills everything of the result but the values themselves. after: the sweep
 * measured with them. */
rg_code rg_wedge_describe(const rg_wedge_fit *f, const rg_sweep_result *after,
                          rg_wedge_result *result, rg_error *err);

#endif

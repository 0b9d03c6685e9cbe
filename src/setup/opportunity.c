/*
 * opportunity.c - see opportunity.h.
 */
#include "rimglow/opportunity.h"

#include <math.h>

int rg_opportunities(const rg_seal_map *map, const double truth_mm[RG_BINS], int step_deg,
                     rg_opportunity out[RG_BINS])
{
    int n = 0;
    for (int b = 0; step_deg > 0 && b < RG_BINS; b += step_deg) {
        const rg_bin *bin = &map->bin[b];
        bool claimed = bin->state == RG_BIN_GAP;
        out[n++] = (rg_opportunity){.bearing_deg = b,
                                    .truth_mm = truth_mm[b],
                                    .seen = bin->state != RG_BIN_UNSEEN,
                                    .claimed = claimed,
                                    .width_mm = claimed ? bin->width_mm : NAN,
                                    .limit_mm = bin->detection_limit_mm};
    }
    return n;
}

bool rg_opportunity_response(const rg_opportunity *opportunity, rg_response *response)
{
    const rg_opportunity *o = opportunity;
    double signal = o->claimed ? o->width_mm : o->limit_mm;
    if (!o->seen || !isfinite(signal))
        return false;
    *response = (rg_response){o->truth_mm, signal, o->claimed ? RG_CENSOR_NONE : RG_CENSOR_BELOW};
    return true;
}

/*
 * witness.h - the witness frame: the same pad cracked open by a millimetre or
 * two at a recorded lower exposure. It proves that the light is on at this
 * hole and measures its radiance L.
 *
 * The gap is looked for between the pad's plane (crown frame Z = 0) and
 * reach_mm below it, over the bearings that face the camera. The lit part is
 * everything above half of the 95th percentile of luminance; L is the median
 * there, channel by channel, divided by the exposure. `slot_gain` is the
 * radiance of a thin slot as a share of that (a slot looks at the far wall of
 * the hole, the witness at the pad's face): it comes from the wedge.
 */
#ifndef RIMGLOW_WITNESS_H
#define RIMGLOW_WITNESS_H

#include "rimglow/image.h"
#include "rimglow/lens.h"
#include "rimglow/rim.h"

typedef struct rg_witness_options {
    double reach_mm; /* below the pad's plane */
    double max_obliquity_deg;
    double saturation;   /* linear light taken as clipped */
    double min_light;    /* lit part at least this bright, linear light of the frame */
    double min_contrast; /* lit part over the dark part, ratio */
    double min_area_mm2; /* of the lit part */
    double min_share; /* of the bearings in view that are lit: a streak on the chimney is narrow */
    double slot_gain;
    double u_ln_radiance; /* standard uncertainty of ln L with a good witness */
} rg_witness_options;

typedef struct rg_witness {
    bool lit;
    char reason[200];   /* why not lit, and what to do; "" when lit */
    double radiance[3]; /* of a thin slot, linear light at exposure 1 */
    double u_ln_radiance;
    bool clipped;    /* the brightest channel is clipped: L is a lower bound */
    double area_mm2; /* lit part */
    double share;    /* of the bearings in view that are lit */
    double contrast;
} rg_witness;

/* rgb: three unweighted channels, covering the strip below the pad (use
 * rg_witness_extent). A witness that proves nothing is not an error. */
rg_code rg_witness_measure(const rg_plane *rgb, const rg_lens *lens, const rg_pose *pose,
                           const rg_rim *rim, double exposure, const rg_witness_options *options,
                           rg_witness *witness, rg_error *err);

/* Picture rectangle needed: x0, y0, width, height. */
rg_code rg_witness_extent(const rg_lens *lens, const rg_pose *pose, const rg_rim *rim,
                          const rg_witness_options *options, int box[4], rg_error *err);

#endif

/*
 * rocking.h - from open heights at several elevations to one gap width: the
 * rocking curve.
 *
 * A gap is a slot between the rim's land (radius ri..ro) and the pad's face
 * out to its edge (radius rp). Along a ray that meets the outward radius
 * under the obliquity o, land and overhang are the chords
 *   l = ro cos o - sqrt(ri^2 - ro^2 sin^2 o),  v = sqrt(rp^2 - ro^2 sin^2 o) - ro cos o
 * (no ray passes when ro |sin o| >= ri). With sr the ray's slope against the
 * rim's plane (+ camera above) and sp that against the pad's face, which is the
 * slope against the pad's plane less its local tilt t cos o, a gap of width w
 * at the land's outer edge stands open by
 *   h = w - max(0, -sp l (1 - p), B + sp v, B + sp k) - (1 - rho) max(sr, 0) l, at least 0,
 * B being how far the pad's face bulges below its seat from the chord k
 * outside the land on (0 for a flat pad), rho the share of light that a
 * polished land reflects at grazing incidence, and p the share of the land's
 * depth over which the pad's face, lit from inside, glows as bright as the
 * slot. Seen through the far side of the hole as well, the slot may be dark
 * although open: an open height that is too SMALL is therefore weak evidence,
 * one that is too large is strong.
 *
 * The width minimises sum rho_i((h_i - f_i(w)) / u_i) with a bounded loss,
 * tighter for missing light than for surplus light.
 *
 * The detection limit is the smallest width that at least one frame would
 * have shown: its own critical height 3.29 u (Currie, Anal. Chem. 40 (1968)
 * 586-593; ISO 11843-1), plus what the elevation hides (with no credit for
 * reflection), plus what may have been seen through. A ray that enters at
 * bearing b under obliquity o reaches the far rim at b + 180 + 2 o, after the
 * chord 2 ro cos o; from above (sr > 0) it ends on the far wall, below the
 * rim, when sr times the chord exceeds the critical height; from below it
 * leaves through the far slot if that stands open by more than |sr| times
 * the chord. `far` is the widest gap that the far bearing may still have.
 * Where the camera's place leaves the slopes open (u_place), the least favourable
 * slope within two of them counts.
 * A frame whose rays cross more than seen_arc_deg of bearing on their way
 * through the slot says nothing about darkness: a shorter gap is crossed by its
 * own closed ends.
 */
#ifndef RIMGLOW_ROCKING_H
#define RIMGLOW_ROCKING_H

#include <stdbool.h>

#include "rimglow/rim.h"

typedef struct rg_slot_geometry {
    double inner_mm, outer_mm, pad_mm; /* radii ri, ro, rp */
    double land_reflectance;           /* rho, 0..1 */
    double pad_glow;                   /* p, 0..1 */
    double tilt;                       /* t, radial, + opening outwards */
    double bulge_mm;                   /* B, >= 0 */
    double shoulder_mm;                /* the bulge begins so far outside the land */
} rg_slot_geometry;

/* Land and overhang chords; false when no ray can pass. */
bool rg_slot_chords(const rg_slot_geometry *g, double obliquity_rad, double *land,
                    double *overhang);

/* Open height for a width; both mm. */
double rg_slot_open(const rg_slot_geometry *g, double width, double slope_pad, double slope_rim,
                    double obliquity_rad);
/* The width that stands open by height (> 0); for height <= 0 the largest
 * width that is still closed off. */
double rg_slot_width_for(const rg_slot_geometry *g, double height, double slope_pad,
                         double slope_rim, double obliquity_rad);

/* One frame's word on one bearing. */
typedef struct rg_observation {
    int frame;
    double height_mm;                     /* open height from the flux; may be slightly negative */
    double flux_mm;                       /* that flux: linear light times mm */
    double u_mm;                          /* its standard uncertainty from noise */
    double per_ln_radiance, per_ln_sigma; /* d height: mm */
    double slope_pad, slope_rim, obliquity_rad;
    double u_slope; /* standard uncertainty of slope_rim */
    double
        u_place; /* of both slopes, by the camera's place, shared by all frames; 0: options.u_slope
                       says it all */
    bool lit;    /* slot light was found there */
    /* Lower and upper edge of that light above the rim plane; NAN when dark or not one band. And
     * their standard uncertainty by the height of the frame's rim line. */
    double low_mm, high_mm, u_edge_mm;
    double
        slope_gain; /* slope of the ray at the rim less that at the pad's plane, where slopes are stated */
} rg_observation;

typedef struct rg_rocking_options {
    double model_floor_mm; /* standard uncertainty of the slot model itself */
    double model_relative; /* the same, relative to the height */
    double u_slope;        /* standard uncertainty of a slope against the pad (pose) */
    double u_ln_radiance;  /* of the witness' radiance */
    double u_ln_sigma;     /* of the point spread */
    double u_scale;        /* relative, of mm per px */
    double oblique_mm;     /* extra model uncertainty at 60 degrees of obliquity */
    double seen_arc_deg;   /* shortest gap that a seen bearing is sure to show */
    double askew_factor;   /* how often oblique_mm counts in a detection limit */
    double missing_loss;   /* bound of the loss for missing light, sigmas^2 */
    double surplus_loss;   /* and for surplus light */
} rg_rocking_options;

typedef struct rg_rocking_fit {
    double width_mm;
    double u_mm; /* combined standard uncertainty */
    double u_noise_mm, u_radiance_mm, u_psf_mm, u_pose_mm, u_scale_mm, u_model_mm;
    /* What u_model_mm is made of; u_through_mm: the hole may be looked through there. */
    double u_slot_mm, u_scatter_mm, u_bulge_mm, u_through_mm;
    double detection_limit_mm; /* INFINITY when nothing was seen */
    int frames;                /* that saw this bearing */
    int used;                  /* that the width rests on */
    int lit;                   /* in which slot light was found */
    double cost;               /* sum of the bounded losses at the minimum */
} rg_rocking_fit;

/* count = 0 gives width NAN. At most 512 observations are used. The detection
 * limit is left INFINITY: see rg_rocking_limit. */
void rg_rocking_solve(const rg_slot_geometry *g, const rg_observation *obs, int count,
                      const rg_rocking_options *options, rg_rocking_fit *fit);

/* Detection limit of one bearing, mm; INFINITY when no frame would have shown
 * any gap. far[360]: the widest gap that each bearing may still have, mm;
 * INFINITY when nothing is known of it. */
double rg_rocking_limit(const rg_slot_geometry *g, int bearing_deg, const rg_observation *obs,
                        int count, const rg_rocking_options *options, const double far[360]);

/* What may be missing from width_mm because the hole was looked through, mm: the least that any frame that carries
 * this width leaves open. A view from above leaves nothing where its light is lower than it descends
 * on its way to the far land, a view from below what the far gap stands higher than it rises. 0 where no
 * frame carries the width; INFINITY where the far gap may be anything. */
double rg_rocking_through(const rg_slot_geometry *g, int bearing_deg, const rg_observation *obs,
                          int count, const rg_rocking_options *options, double width_mm,
                          const double far[360]);

/* The width from the edges of light instead of its height: a view from above shows light
 * down to the rim, one from below up to the pad, even where either is looked through in
 * between; the frames share the crown, so both edges stand in one frame of reference. Fills width and u by parts;
 * false where not both edges were seen. */
bool rg_rocking_edges(const rg_slot_geometry *g, const rg_observation *obs, int count,
                      const rg_rocking_options *options, rg_rocking_fit *fit);

#endif

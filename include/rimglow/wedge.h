/*
 * wedge.h - calibration of the light: a sweep of a pad that rests on one
 * feeler strip shows every gap from zero to the strip's thickness at known
 * bearings:
 *
 *   w(b) = t (1 + cos(b - b0)) / 2,   b0: the feeler's bearing,
 *
 * a plane through the contact opposite the feeler. From it:
 *   - five values of the measurement that no data sheet gives: the radiance of
 *     a thin slot against the witness, the blur at the rim against the
 *     crown's borders, the land's reflectance, the pad's glow and how much of the
 *     pad's overhang counts (with the land: the slot's depth). They minimise
 *         sum_b rho((w_measured(b) - w(b)) / s(b)) / n  +  sum_k ((x_k - x_k0) / p_k)^2
 *     by Levenberg-Marquardt (GSL), rho the loss of Huber (Ann. Math. Stat. 35
 *     (1964) 73-101), s the slot model's own uncertainty, n the bearings that
 *     one slot spans, x_k0 and p_k what is believed beforehand: a wedge that
 *     says nothing about a value leaves it alone;
 *   - their uncertainty by leaving out one frame at a time (jackknife: Efron &
 *     Stein, Ann. Stat. 9 (1981) 586-596), to first order;
 *   - what is left: the residuals, their straight line, and the floor and the
 *     relative part of the slot model's uncertainty by maximum likelihood;
 *   - the response: the greatest flux of the rocking curve against the width;
 *   - the noise against the light around the slot, and with it the smallest gap
 *     that shows, by elevation and by ambient light (Currie 1968; ISO 11843).
 */
#ifndef RIMGLOW_WEDGE_H
#define RIMGLOW_WEDGE_H

#include "rimglow/pipeline.h"

typedef struct rg_wedge_blade {
    double thickness_mm, u_thickness_mm; /* by micrometer, and its standard uncertainty */
    double bearing_deg, width_mm;        /* of the blade: its middle, and across */
} rg_wedge_blade;

/* The known gap, mm. */
double rg_wedge_gap(const rg_wedge_blade *blade, double bearing_deg);

typedef enum rg_wedge_value {
    RG_WEDGE_GAIN, /* slot_gain: radiance of a thin slot against the witness */
    RG_WEDGE_BLUR, /* psf_factor */
    RG_WEDGE_REFLECTANCE,
    RG_WEDGE_GLOW,
    RG_WEDGE_OVERHANG, /* overhang_factor */
    RG_WEDGE_VALUES
} rg_wedge_value;

/* "slot_gain", ... as the station file calls it; its section. */
const char *rg_wedge_value_key(rg_wedge_value value);
const char *rg_wedge_value_section(rg_wedge_value value);

typedef struct rg_wedge_options {
    double prior[RG_WEDGE_VALUES]; /* standard deviations beforehand: of ln gain and ln blur, of the
                                      others as they are; all above 0 */
    double margin_deg;             /* bearings left out on either side of the blade */
    double min_residual_mm;        /* floor of the slot model that residuals may not undercut */
    double min_relative;           /* the same for its relative part */
    double max_rms_mm;             /* a calibration that leaves more than this is not good */
} rg_wedge_options;

enum { RG_WEDGE_ELEVATIONS = 7, RG_WEDGE_AMBIENTS = 5, RG_WEDGE_NODES = 16 };

/* One bearing of the wedge. */
typedef struct rg_wedge_bin {
    bool used;
    double true_mm, before_mm, after_mm; /* before and after the calibration; NAN unseen */
    double peak_flux_mm;                 /* greatest flux of the rocking curve; NAN */
} rg_wedge_bin;

/* The response at one width: the median over the bearings near it. */
typedef struct rg_wedge_node {
    double width_mm, flux_mm; /* flux_mm: what a reading of clipped light would call the width */
    double reading_mm;        /* the calibrated width */
    int bearings;
} rg_wedge_node;

typedef struct rg_wedge_result {
    double value[RG_WEDGE_VALUES], before[RG_WEDGE_VALUES];
    double u[RG_WEDGE_VALUES]; /* standard uncertainty, by leaving out frames */
    double depth_mm;           /* of the slot: land and overhang */
    double radiance[3];        /* of a thin slot at exposure 1 */
    double psf_sigma_px;       /* at the rim */
    double px_per_mm;          /* median at the rim */
    rg_wedge_bin bin[RG_BINS];
    int bearings, frames; /* used */
    double rms_before_mm, rms_mm;
    double worst_mm, worst_bearing_deg;
    double offset_mm, u_offset_mm, slope, u_slope; /* reading = offset + slope * true */
    double floor_mm, relative;                     /* of the slot model, by maximum likelihood */
    int nodes;
    rg_wedge_node node[RG_WEDGE_NODES];
    bool monotone;        /* flux and reading grow from node to node, but for the residual */
    double full_scale;    /* brightest slot light: where the camera saturates, linear light */
    double clipped_share; /* of the lit columns whose light reaches it */
    double noise_floor_mm, noise_per_light; /* u_flux^2 = floor^2 + (per_light)^2 * background */
    double background;                      /* median light around the slot */
    double elevation_deg[RG_WEDGE_ELEVATIONS], ambient[RG_WEDGE_AMBIENTS];
    double detection_mm[RG_WEDGE_AMBIENTS][RG_WEDGE_ELEVATIONS];
} rg_wedge_result;

/* Why this calibration should not be used, with the remedy; NULL when it should. */
const char *rg_wedge_fault(const rg_wedge_result *result, const rg_wedge_options *options);

/* setup, frames, sweep: of the wedge, already measured. RG_BAD_DATA with the
 * remedy when the light is not proven on, the rim was not found, or too few
 * bearings or too small a range of gaps was seen. */
rg_code rg_wedge_calibrate(const rg_setup *setup, const rg_frame *frames, int count,
                           const rg_sweep_result *sweep, const rg_wedge_blade *blade,
                           const rg_wedge_options *options, rg_wedge_result *result, rg_error *err);

#endif

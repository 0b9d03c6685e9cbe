/*
 * rimlight.h - what each column of a strip says about the slot at its
 * bearing: hidden, glared over, dark, or lit by so much flux.
 *
 * Background under the rim line: the chimney's light below the shadow edge
 * (a step blurred to shadow_blur), the pad's light above it, and half of it
 * in the contact shadow between. What is above that background is excess.
 * Threshold (light.h), hysteresis and 8-connected components on the excess
 * say where light is; a component is slot light only when it touches the rim
 * line and does not run down the chimney or stand off on the pad: streaks
 * and reflections do.
 *
 * Hidden: no edge at the rim line and no slot light there: the key arm, a
 * post, a guard or a finger is in the way, or the picture cannot show the rim.
 */
#ifndef RIMGLOW_RIMLIGHT_H
#define RIMGLOW_RIMLIGHT_H

#include "rimglow/light.h"
#include "rimglow/rimline.h"
#include "rimglow/strip.h"

typedef struct rg_rimlight_options {
    rg_threshold_options threshold;
    double shadow_mm,
        shadow_blur_mm;      /* edge of the contact shadow below the rim plane, its sigma */
    double window_mm;        /* default half height of the flux window about the rim plane */
    double margin_mm;        /* added to a component above and below (three PSF sigmas) */
    double below_mm;         /* slot light reaches no deeper than this below the rim plane */
    double above_mm;         /* its lower edge lies no higher than this above it */
    double glare;            /* chimney light that hides the slot */
    double glare_dark;       /* a column in glare is dark when its flux is within so many u */
    double glare_skirt_mm;   /* flux that a streak's blurred end adds, per unit of its light, mm */
    double glare_leak_mm;    /* flux uncertainty per unit of chimney light, mm */
    double edge_sigmas;      /* the rim edge is seen at this many standard errors */
    double edge_contrast;    /* and this relative contrast */
    double shade_deg;        /* longest run without an edge that may be a dark reflection */
    double shade_pad;        /* the pad above it is even to this share */
    double shade_jump;       /* and the chimney changes by at most this share in a degree */
    double outshine;         /* slot light is this many times brighter than chimney and pad */
    double min_component_px; /* samples of the smallest component believed */
} rg_rimlight_options;

typedef enum rg_column_state {
    RG_COLUMN_OUTSIDE, /* of the picture */
    RG_COLUMN_HIDDEN,
    RG_COLUMN_GLARE,
    RG_COLUMN_DARK,
    RG_COLUMN_LIT
} rg_column_state;

typedef struct rg_column_light {
    rg_column_state state;
    double flux_mm;           /* linear light times mm of Z, above background */
    double u_flux_mm;         /* standard uncertainty from noise and background */
    double bottom_mm, top_mm; /* of the light, above the rim plane; NAN when dark */
    double middle_mm;    /* between the half levels of a single band of light, above the rim plane;
                                 NAN when dark, or where the light has a dark stretch within */
    double chimney, pad; /* linear light below and above */
} rg_column_light;

typedef struct rg_rimlight {
    rg_threshold threshold;
    int components, slots, streaks; /* found, taken, rejected */
    int columns;
    rg_column_light *column; /* owned; [strip->columns] */
    uint8_t *mask;           /* owned; [columns][rows]: 0 dark, 1 slot light, 2 rejected light */
} rg_rimlight;

/* shift_mm: this frame's height shift from rg_rim_plane_fit. */
rg_code rg_rimlight_measure(rg_rimlight *out, const rg_strip *strip, const rg_rim_plane *plane,
                            double shift_mm, const rg_rimlight_options *options, rg_error *err);
void rg_rimlight_free(rg_rimlight *light);

#endif

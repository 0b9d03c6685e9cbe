/*
 * slanted_edge.h - the modulation transfer function (MTF) of the camera, read
 * off one straight dark-to-bright edge that lies a little askew in the pixels.
 *
 * Method: the slanted-edge e-SFR of ISO 12233. The edge is found in every pixel
 * line that crosses it (centroid of the windowed derivative) and fitted with a
 * straight line; all pixels are projected along that line into bins of 1/4
 * pixel (edge spread function); central difference (line spread function);
 * window; discrete Fourier transform; magnitude, 1 at frequency 0. Divided out
 * are the responses of what the method itself adds: sinc(2 f d) of the
 * difference and sinc(f d) of the bin, d = 1/4 px. The pixel's own aperture is
 * part of the camera and stays in.
 *
 * Window: tapered cosine (Tukey), as in the 2023 edition, with a flat middle
 * half. The older editions' Hamming window would narrow the line spread of a
 * region as short as a printed border, and read too sharp. Editions from
 * memory; the flat share is this module's own. Fit of the edge: straight, as in the editions
 * before 2023 (a tag's border is some 200 px long).
 *
 * Frequencies are along the edge's normal, in cycles per pixel. A region of
 * half width W resolves 1 / (2 W) cycles per pixel: a camera so blurred that
 * its MTF falls below one half within two of these steps is refused, not
 * guessed.
 */
#ifndef RIMGLOW_SLANTED_EDGE_H
#define RIMGLOW_SLANTED_EDGE_H

#include <stdbool.h>

#include "rimglow/image.h"
#include "rimglow/vec.h"

/* mtf[k] is at k * RG_MTF_STEP cycles per pixel, up to 0.75. */
enum { RG_MTF_POINTS = 193 };
#define RG_MTF_STEP (1.0 / 256)

typedef enum rg_slanted_state {
    RG_SLANTED_OK,
    RG_SLANTED_OUTSIDE,   /* the region leaves the picture */
    RG_SLANTED_SHORT,     /* too few pixel lines, or too narrow */
    RG_SLANTED_STRAIGHT,  /* too near the pixel lines: its places within a pixel are too few */
    RG_SLANTED_DIAGONAL,  /* beyond 40 degrees from them */
    RG_SLANTED_FLAT,      /* no step */
    RG_SLANTED_SATURATED, /* the bright side is clipped */
    RG_SLANTED_CROOKED,   /* no straight edge */
    RG_SLANTED_BLURRED    /* wider than the region can show */
} rg_slanted_state;

/* Where to look: the edge runs about from one point to the other; within
 * half_width_px to either side of it there is nothing else. */
typedef struct rg_slanted_query {
    rg_vec2 from, to;
    double half_width_px; /* 4..100, along the normal */
    double saturation;    /* linear light taken as clipped */
} rg_slanted_query;

typedef struct rg_slanted_edge {
    rg_slanted_state state;
    double slant_deg;    /* angle to the nearer pixel axis, 0..45 */
    int lines;           /* pixel lines that carried the edge */
    double black, white; /* linear light on both sides */
    double line_rms_px;  /* of the edge's places about the straight line */
    double resolution;   /* cycles per pixel */
    double mtf50;        /* cycles per pixel; NAN unless OK */
    double mtf[RG_MTF_POINTS];
} rg_slanted_edge;

/* light: linear light, channel 0. An edge that cannot be measured is no error:
 * edge->state says why. RG_BAD_DATA for a query that no edge can have (a value
 * that is not finite, a half width outside 4..100), RG_INTERNAL without
 * memory. */
rg_code rg_slanted_edge_measure(const rg_plane *light, const rg_slanted_query *query,
                                rg_slanted_edge *edge, rg_error *err);

/* "too blurred for the region" and the like. */
const char *rg_slanted_state_text(rg_slanted_state state);

/* First frequency at which mtf[] falls below the level, interpolated; NAN when it never does. */
double rg_mtf_frequency(const double mtf[RG_MTF_POINTS], double level);

#endif

/*
 * width.h - how wide a slot of light is, from its flux: the forward model
 * and its inversion.
 *
 * A gap seen by the camera is a slot of height h (px) and radiance L (linear
 * light, 1 = saturation; usually above 1), blurred by the point spread,
 * integrated over pixels, clipped at saturation per colour channel, stored
 * as sRGB codes and combined into luma:
 *
 *   x_c(i) = background_c + L_c * S(i; h, sigma)            c = R, G, B
 *   Y'(i)  = sum_c k_c * srgb(min(x_c(i), 1))
 *   flux   = sum_i [ linear(Y'(i)) - linear(Y'_background) ]   (px)
 *
 * S is the exact pixel integral of a box of width h convolved with a
 * Gaussian of standard deviation sigma: with G(x) = x Phi(x) + phi(x),
 *   S(i) = sigma [ G(u+1/2+h/2) - G(u+1/2-h/2) - G(u-1/2+h/2) + G(u-1/2-h/2) ] / 1
 * where every argument is (i - centre + ...)/sigma. For an unsaturated grey
 * slot flux = L h exactly, however thin the slot (photometry); with clipping
 * the sum is inverted by table. Luma is used because it is the only
 * combination that JPEG's chroma subsampling leaves at full resolution
 * (ITU-T T.871 (JFIF) weights 0.299, 0.587, 0.114).
 */
#ifndef RIMGLOW_WIDTH_H
#define RIMGLOW_WIDTH_H

#include <stdbool.h>

#include "rimglow/status.h"

typedef struct rg_slot_model {
    double radiance[3];     /* linear light of the slot, per channel, > 0, may exceed 1 */
    double background[3];   /* linear light around it, per channel, >= 0 */
    double code_weights[3]; /* codes to luma, >= 0, sum 1 */
    double sigma_px;        /* point spread beside the pixel aperture, 0.05..20 */
} rg_slot_model;

/* One pixel's share of a unit slot: centre at 0, width and sigma in px, for
 * the pixel whose centre is at x. Sums to width over all pixels. */
double rg_slot_pixel(double x, double width_px, double sigma_px);

/* Full width at half of the greatest sample, by linear interpolation, in
 * samples; for comparison only: it cannot see below the point spread. */
double rg_profile_half_width(const double *sample, int n);

/* Centroid of a profile in samples (NAN when the sum is not positive). */
double rg_profile_centroid(const double *sample, int n);

typedef struct rg_slot_table rg_slot_table;

/* The largest width the table covers, px; wider slots read as this. */
enum { RG_SLOT_MAX_WIDTH_PX = 80 };

/* Tabulates flux against width, with the model's derivatives. RG_BAD_DATA
 * names an impossible value. Free with rg_slot_table_free (NULL is safe). */
rg_code rg_slot_table_new(rg_slot_table **table, const rg_slot_model *model, rg_error *err);
void rg_slot_table_free(rg_slot_table *table);

/* Flux (px) of a slot of this width (px, clamped to 0..max). */
double rg_slot_flux(const rg_slot_table *table, double width_px);

/* The width (px) that gives this flux (px); 0 for flux <= 0. */
typedef struct rg_slot_width {
    double width_px;
    double per_flux;        /* d width / d flux */
    double per_ln_radiance; /* d width / d ln L, px: negative */
    double per_ln_sigma;    /* d width / d ln sigma, px */
    bool beyond;            /* flux above the table: the width is a lower bound */
} rg_slot_width;
rg_slot_width rg_slot_invert(const rg_slot_table *table, double flux_px);

#endif

/*
 * light.h - finding light on the strip: thresholds, hysteresis, connected
 * components, circular runs.
 */
#ifndef RIMGLOW_LIGHT_H
#define RIMGLOW_LIGHT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

/* N. Otsu, "A threshold selection method from gray-level histograms", IEEE
 * Trans. SMC 9 (1979) 62-66. counts[levels]; returns the largest level T of
 * the class "level <= T" that maximises the between-class variance; the mean
 * of tied levels, rounded down. -1 when fewer than two levels are occupied. */
int rg_otsu(const uint64_t *counts, int levels);

/* Between-class variance of the split "level <= t" (levels as numbers). */
double rg_between_variance(const uint64_t *counts, int levels, int t);

/* Which threshold was taken, and why: a threshold that stands on noise alone
 * is right when there is nothing to find; Otsu's is right when two clear
 * populations exist. Rule: Otsu's when it separates the two class means by
 * more than `separation` noise sigmas and lies above the noise threshold;
 * else background + factor * sigma. */
typedef enum rg_threshold_kind { RG_THRESHOLD_NOISE, RG_THRESHOLD_OTSU } rg_threshold_kind;

typedef struct rg_threshold {
    rg_threshold_kind kind;
    double high, low; /* hysteresis limits, in the data's unit */
    double noise_sigma;
    double otsu; /* NAN when it does not exist */
    char why[120];
} rg_threshold;

typedef struct rg_threshold_options {
    double factor;     /* noise threshold in sigmas, e.g. 6 */
    double low_factor; /* lower hysteresis limit in sigmas, e.g. 3 */
    double separation; /* class means apart, in sigmas, for Otsu's to be taken */
    double floor;      /* smallest noise sigma believed (quantisation) */
} rg_threshold_options;

/* excess[n]: light above the local background; NANs are left out. */
rg_code rg_threshold_choose(const float *excess, size_t n, const rg_threshold_options *options,
                            rg_threshold *threshold, rg_error *err);

/* Connected components of mask (non-zero), 4 or 8 neighbours; labels[w*h]
 * gets 0 or 1..count, in raster order of each component's first pixel
 * (union-find: Rosenfeld & Pfaltz, J. ACM 13 (1966) 471-494). */
rg_code rg_label(const uint8_t *mask, int width, int height, int connectivity, int32_t *labels,
                 int *count, rg_error *err);

/* Hysteresis: the components (labelled as by rg_label) of the pixels above low that hold one above high, high being no
 * less than low. NAN is below everything (J. Canny, IEEE PAMI 8 (1986) 679-698). */
rg_code rg_hysteresis(const float *data, int width, int height, double low, double high,
                      int connectivity, int32_t *labels, int *count, rg_error *err);

/* Runs of non-zero bins on a circle of n bins. A run over the seam is one
 * run. length n: all bins, no ends. Returns the number of runs; at most max
 * are stored. */
typedef struct rg_run {
    int start, length;
} rg_run;
int rg_circular_runs(const uint8_t *mask, int n, rg_run *runs, int max);

/* Sets the bins of every break of at most `longest` bins between set bins of a
 * circle of n; a mask without any set bin stays as it is. */
void rg_circular_bridge(uint8_t *mask, int n, int longest);

#endif

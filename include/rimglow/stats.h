/*
 * stats.h - small statistics that several layers need.
 * Inputs are never changed. Empty input gives NAN.
 */
#ifndef RIMGLOW_STATS_H
#define RIMGLOW_STATS_H

#include <stddef.h>

double rg_mean(const double *x, size_t n);
/* Sample standard deviation (n - 1); NAN for n < 2. */
double rg_stdev(const double *x, size_t n);
/* Quantile q in 0..1 by linear interpolation between order statistics
 * (Hyndman & Fan 1996, type 7). Reorders work: pass a scratch copy. No NANs. */
double rg_quantile_inplace(double *work, size_t n, double q);
double rg_median_inplace(double *work, size_t n);
/* 1.4826 times the median absolute deviation about the median: the standard
 * deviation of normal data (Hampel 1974). Destroys work. */
double rg_mad_sigma_inplace(double *work, size_t n);
/* Root mean square. */
double rg_rms(const double *x, size_t n);
/* Circular mean in degrees, [0, 360); NAN when the resultant is below 1e-9
 * (Mardia 1972). *resultant (may be NULL) gets the mean resultant length. */
double rg_circular_mean(const double *deg, size_t n, double *resultant);

#endif

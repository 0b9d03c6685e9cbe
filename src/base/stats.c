/*
 * stats.c - the small statistics of stats.h.
 *
 * The standard deviation is taken in two passes about the mean, so that
 * data with many constant leading digits keep their variance (the trap of
 * the NIST StRD "SmLs" sets). Quantiles are type 7 of Hyndman & Fan, The
 * American Statistician 50 (1996) 361: h = (n - 1) q. The circular mean is
 * the direction of the resultant of unit vectors (Mardia, Statistics of
 * Directional Data, 1972).
 */
#include "rimglow/stats.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/vec.h"

double rg_mean(const double *x, size_t n)
{
    if (n == 0)
        return NAN;
    double sum = 0, left = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i];
    double mean = sum / (double)n;
    for (size_t i = 0; i < n; i++)
        left += x[i] - mean;
    return mean + left / (double)n;
}

double rg_stdev(const double *x, size_t n)
{
    if (n < 2)
        return NAN;
    double mean = rg_mean(x, n), sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (x[i] - mean) * (x[i] - mean);
    return sqrt(sum / (double)(n - 1));
}

/* Moves the k smallest to the front and the next to place k (Hoare's FIND,
 * CACM 4 (1961) 321; middle of three as the pivot). */
static void select_place(double *x, size_t n, size_t k)
{
    size_t low = 0, high = n - 1;
    while (low < high) {
        double a = x[low], b = x[low + (high - low) / 2], c = x[high];
        double least = a < b ? a : b, most = a < b ? b : a;
        double pivot = c < least ? least : c > most ? most : c;
        size_t i = low, j = high;
        while (i <= j) {
            while (x[i] < pivot)
                i++;
            while (x[j] > pivot)
                j--;
            if (i <= j) {
                double t = x[i];
                x[i++] = x[j];
                x[j] = t;
                if (j == 0)
                    break;
                j--;
            }
        }
        if (k <= j)
            high = j;
        else if (k >= i)
            low = i;
        else
            return;
    }
}

double rg_quantile_inplace(double *work, size_t n, double q)
{
    if (n == 0 || !(q >= 0 && q <= 1))
        return NAN;
    double h = (double)(n - 1) * q;
    size_t i = (size_t)h;
    select_place(work, n, i);
    if (i >= n - 1)
        return work[n - 1];
    double next = work[i + 1];
    for (size_t k = i + 2; k < n; k++)
        next = fmin(next, work[k]);
    return work[i] + (h - (double)i) * (next - work[i]);
}

double rg_median_inplace(double *work, size_t n)
{
    return rg_quantile_inplace(work, n, 0.5);
}

double rg_mad_sigma_inplace(double *work, size_t n)
{
    double median = rg_median_inplace(work, n);
    for (size_t i = 0; i < n; i++)
        work[i] = fabs(work[i] - median);
    return 1.4826 * rg_median_inplace(work, n);
}

double rg_rms(const double *x, size_t n)
{
    if (n == 0)
        return NAN;
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] * x[i];
    return sqrt(sum / (double)n);
}

double rg_circular_mean(const double *deg, size_t n, double *resultant)
{
    double c = 0, s = 0;
    for (size_t i = 0; i < n; i++) {
        c += cos(rg_radians(deg[i]));
        s += sin(rg_radians(deg[i]));
    }
    double length = n ? hypot(c, s) / (double)n : NAN;
    if (resultant)
        *resultant = length;
    if (!(length >= 1e-9))
        return NAN;
    return rg_wrap_degrees(rg_degrees(atan2(s, c)));
}

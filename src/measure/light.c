/*
 * light.c - thresholds, components and circular runs. See light.h for the
 * published methods.
 */
#include "rimglow/light.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"

typedef struct moments {
    double count, sum;
} moments;

static moments total_moments(const uint64_t *counts, int levels)
{
    moments m = {0, 0};
    for (int i = 0; i < levels; i++) {
        m.count += (double)counts[i];
        m.sum += (double)counts[i] * i;
    }
    return m;
}

static double between(moments all, moments low)
{
    double high = all.count - low.count;
    if (low.count <= 0 || high <= 0)
        return -1;
    double d = low.sum / low.count - (all.sum - low.sum) / high;
    return low.count * high / (all.count * all.count) * d * d;
}

double rg_between_variance(const uint64_t *counts, int levels, int t)
{
    moments all = total_moments(counts, levels);
    return between(all, total_moments(counts, t + 1 < levels ? t + 1 : levels));
}

int rg_otsu(const uint64_t *counts, int levels)
{
    moments all = total_moments(counts, levels), low = {0, 0};
    double best = -1, tie_sum = 0;
    int ties = 0;
    for (int t = 0; t < levels; t++) {
        low.count += (double)counts[t];
        low.sum += (double)counts[t] * t;
        double v = between(all, low);
        if (v > best * (1 + 1e-12) && v >= 0) {
            best = v;
            tie_sum = t;
            ties = 1;
        } else if (v >= 0 && fabs(v - best) <= best * 1e-12) {
            tie_sum += t;
            ties++;
        }
    }
    return ties ? (int)(tie_sum / ties) : -1;
}

enum { OTSU_LEVELS = 256 };

/* Otsu on square-root-spaced levels: light spans four decades, and a
 * linear histogram would put all of the background into its first level. */
static double otsu_of(const float *x, size_t n, double top, double *mean_low, double *mean_high)
{
    uint64_t counts[OTSU_LEVELS] = {0};
    for (size_t i = 0; i < n; i++)
        if (x[i] > 0)
            counts[(int)(sqrt(fmin(x[i] / top, 1)) * (OTSU_LEVELS - 1) + 0.5)]++;
        /* cppcheck-suppress multiCondition ; not so for NAN */
        else if (x[i] <= 0)
            counts[0]++;
    int t = rg_otsu(counts, OTSU_LEVELS);
    if (t < 0)
        return NAN;
    double cut = top * pow((t + 0.5) / (OTSU_LEVELS - 1), 2), sum[2] = {0, 0}, num[2] = {0, 0};
    for (size_t i = 0; i < n; i++)
        if (!isnan(x[i])) {
            sum[x[i] > cut] += x[i];
            num[x[i] > cut] += 1;
        }
    *mean_low = num[0] > 0 ? sum[0] / num[0] : 0;
    *mean_high = num[1] > 0 ? sum[1] / num[1] : cut;
    return cut;
}

static rg_code noise_of(const float *x, size_t n, double *sigma, double *top, rg_error *err)
{
    double *work = rg_alloc(n, sizeof *work);
    if (!work)
        return rg_fail(err, RG_INTERNAL, "no memory for %zu samples of a strip", n);
    size_t m = 0;
    *top = 0;
    for (size_t i = 0; i < n; i++)
        if (!isnan(x[i])) {
            work[m++] = x[i];
            *top = fmax(*top, x[i]);
        }
    *sigma = m ? rg_mad_sigma_inplace(work, m) : NAN;
    free(work);
    return RG_OK;
}

rg_code rg_threshold_choose(const float *excess, size_t n, const rg_threshold_options *options,
                            rg_threshold *threshold, rg_error *err)
{
    double sigma = NAN, top = 0, low_mean = 0, high_mean = 0;
    *threshold = (rg_threshold){.otsu = NAN};
    rg_code code = noise_of(excess, n, &sigma, &top, err);
    if (code != RG_OK)
        return code;
    if (isnan(sigma))
        return rg_fail(err, RG_BAD_DATA, "no sample of the rim strip lies inside the picture");
    sigma = fmax(sigma, options->floor);
    double noise_high = options->factor * sigma;
    if (top > 0)
        threshold->otsu = otsu_of(excess, n, top, &low_mean, &high_mean);
    bool apart = high_mean - low_mean > options->separation * sigma;
    bool use_otsu = !isnan(threshold->otsu) && apart && threshold->otsu > noise_high;
    threshold->kind = use_otsu ? RG_THRESHOLD_OTSU : RG_THRESHOLD_NOISE;
    threshold->noise_sigma = sigma;
    threshold->high = use_otsu ? threshold->otsu : noise_high;
    threshold->low = options->low_factor * sigma;
    snprintf(threshold->why, sizeof threshold->why,
             use_otsu ? "Otsu: two populations %.0f noise sigmas apart"
                      : "noise: class means only %.1f sigmas apart or Otsu below the noise",
             (high_mean - low_mean) / sigma);
    return RG_OK;
}

static int32_t find_root(int32_t *parent, int32_t i)
{
    while (parent[i] != i) {
        parent[i] = parent[parent[i]];
        i = parent[i];
    }
    return i;
}

static void join(int32_t *parent, int32_t a, int32_t b)
{
    a = find_root(parent, a);
    b = find_root(parent, b);
    if (a < b)
        parent[b] = a;
    else
        parent[a] = b;
}

/* Joins the pixel to the neighbours before it. Neighbours that touch each other are one component already, so one
 * of them is enough: the one above touches all others of eight, the one to the left the one between the two. */
static void join_neighbours(const uint8_t *mask, int width, int x, int32_t i, int connectivity,
                            int32_t *parent)
{
    bool above = i >= width, eight = connectivity == 8;
    bool north = above && mask[i - width], west = x > 0 && mask[i - 1];
    if (north)
        join(parent, i, i - width);
    if (west && !(north && eight))
        join(parent, i, i - 1);
    if (!eight || north || !above)
        return;
    if (!west && x > 0 && mask[i - width - 1])
        join(parent, i, i - width - 1);
    if (x + 1 < width && mask[i - width + 1])
        join(parent, i, i - width + 1);
}

/* As rg_label, numbering only components that keep[] their root (NULL: all); parent: [width * height]. */
static int number_components(const uint8_t *mask, int32_t n, const uint8_t *keep, int32_t *parent,
                             int32_t *labels)
{
    int32_t next = 0;
    /* Roots are the first pixel of their component, so one pass numbers all. */
    for (int32_t i = 0; i < n; i++) {
        labels[i] = 0;
        if (!mask[i])
            continue;
        int32_t root = find_root(parent, i);
        if (root != i)
            labels[i] = labels[root];
        else if (!keep || keep[i])
            labels[i] = ++next;
    }
    return (int)next;
}

static void join_all(const uint8_t *mask, int width, int height, int connectivity, int32_t *parent)
{
    for (int32_t i = 0, y = 0; y < height; y++)
        for (int x = 0; x < width; x++, i++) {
            if (!mask[i])
                continue;
            parent[i] = i;
            join_neighbours(mask, width, x, i, connectivity, parent);
        }
}

rg_code rg_label(const uint8_t *mask, int width, int height, int connectivity, int32_t *labels,
                 int *count, rg_error *err)
{
    int32_t n = width * height;
    int32_t *parent = rg_alloc((size_t)n, sizeof *parent);
    if (!parent)
        return rg_fail(err, RG_INTERNAL, "no memory to label %d x %d samples", width, height);
    join_all(mask, width, height, connectivity, parent);
    *count = number_components(mask, n, NULL, parent, labels);
    free(parent);
    return RG_OK;
}

rg_code rg_hysteresis(const float *data, int width, int height, double low, double high,
                      int connectivity, int32_t *labels, int *count, rg_error *err)
{
    int32_t n = width * height;
    int32_t *parent = rg_alloc((size_t)n, sizeof *parent);
    uint8_t *mask = rg_alloc((size_t)n, 1), *keep = rg_alloc((size_t)n, 1);
    rg_code code = RG_OK;
    if (!parent || !mask || !keep) {
        code = rg_fail(err, RG_INTERNAL, "no memory to label %d x %d samples", width, height);
    } else {
        for (int32_t i = 0; i < n; i++)
            mask[i] = data[i] > low;
        join_all(mask, width, height, connectivity, parent);
        for (int32_t i = 0; i < n; i++)
            if (mask[i] && data[i] > high)
                keep[find_root(parent, i)] = 1;
        *count = number_components(mask, n, keep, parent, labels);
    }
    free(parent);
    free(mask);
    free(keep);
    return code;
}

int rg_circular_runs(const uint8_t *mask, int n, rg_run *runs, int max)
{
    int zero = 0, found = 0;
    while (zero < n && mask[zero])
        zero++;
    if (n > 0 && zero == n) {
        if (max > 0)
            runs[0] = (rg_run){0, n};
        return 1;
    }
    /* Start behind a gap: then no run crosses the end of the walk. */
    for (int k = 1; k <= n;) {
        int length = 0;
        while (k + length <= n && mask[(zero + k + length) % n])
            length++;
        if (length && found < max)
            runs[found] = (rg_run){(zero + k) % n, length};
        found += length > 0;
        k += length + 1;
    }
    return found;
}

void rg_circular_bridge(uint8_t *mask, int n, int longest)
{
    int first = 0;
    while (first < n && !mask[first])
        first++;
    if (first == n)
        return;
    /* From one set bin round to itself: every break has both its ends. */
    for (int k = 1, since = 0; k <= n; k++) {
        if (!mask[(first + k) % n]) {
            since++;
            continue;
        }
        for (int j = 1; since <= longest && j <= since; j++)
            mask[(first + k - j) % n] = 1;
        since = 0;
    }
}

/*
 * forceline.c - a straight line through points with errors of both coordinates, and its use
 * backwards. York et al. 2004: the slope by their iteration (their equations 13a to 13d, errors of the
 * two coordinates independent), the uncertainties at the adjusted points.
 */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <math.h>

#include "rimglow/force.h"

enum { ROUNDS_MOST = 200 };

typedef struct data {
    const double *f, *w, *u_f, *u_w;
    int n;
} data;

/* Weight of a point about a line of this slope. */
static double weight(const data *d, int i, double b)
{
    return 1 / (d->u_w[i] * d->u_w[i] + b * b * d->u_f[i] * d->u_f[i]);
}

typedef struct centre {
    double f, w, sum; /* weighted means, sum of weights */
} centre;

static centre centre_of(const data *d, double b)
{
    centre c = {0};
    for (int i = 0; i < d->n; i++) {
        double g = weight(d, i, b);
        c.sum += g;
        c.f += g * (d->f[i] - d->f[0]);
        c.w += g * (d->w[i] - d->w[0]);
    }
    c.f = d->f[0] + c.f / c.sum;
    c.w = d->w[0] + c.w / c.sum;
    return c;
}

/* How far the adjusted force lies from the centre. */
static double adjusted(const data *d, int i, double b, const centre *c)
{
    double df = d->f[i] - c->f, dw = d->w[i] - c->w;
    return weight(d, i, b) * (df * d->u_w[i] * d->u_w[i] + b * dw * d->u_f[i] * d->u_f[i]);
}

static double next_slope(const data *d, double b)
{
    centre c = centre_of(d, b);
    double top = 0, bottom = 0;
    for (int i = 0; i < d->n; i++) {
        double g = weight(d, i, b) * adjusted(d, i, b, &c);
        top += g * (d->w[i] - c.w);
        bottom += g * (d->f[i] - c.f);
    }
    return top / bottom;
}

/* Least squares without weights, to begin with. */
static double first_slope(const data *d)
{
    double start, slope, c00, c01, c11, left;
    gsl_fit_linear(d->f, 1, d->w, 1, (size_t)d->n, &start, &slope, &c00, &c01, &c11, &left);
    return slope;
}

static void conclude(const data *d, rg_force_line *line)
{
    centre c = centre_of(d, line->b);
    double mean = 0, spread = 0, chi2 = 0;
    line->a = c.w - line->b * c.f;
    for (int i = 0; i < d->n; i++)
        mean += weight(d, i, line->b) * adjusted(d, i, line->b, &c) / c.sum;
    for (int i = 0; i < d->n; i++) {
        double g = weight(d, i, line->b), r = d->w[i] - line->a - line->b * d->f[i];
        spread += g * pow(adjusted(d, i, line->b, &c) - mean, 2);
        chi2 += g * r * r;
    }
    line->u_b = 1 / sqrt(spread);
    line->u_a = sqrt(1 / c.sum + pow((c.f + mean) * line->u_b, 2));
    line->u_ab = -(c.f + mean) * line->u_b * line->u_b;
    line->chi2 = d->n > 2 ? chi2 : NAN;
    line->p = d->n > 2 ? gsl_cdf_chisq_Q(chi2, d->n - 2) : NAN;
}

static rg_code check(const data *d, rg_error *err)
{
    bool two = false;
    for (int i = 0; i < d->n; i++) {
        if (!isfinite(d->f[i]) || !isfinite(d->w[i]) || !(d->u_f[i] >= 0) || !(d->u_w[i] >= 0) ||
            !(hypot(d->u_f[i], d->u_w[i]) > 0) || !isfinite(hypot(d->u_f[i], d->u_w[i])))
            return rg_fail(err, RG_BAD_DATA,
                           "force: point %d is %g at %g with uncertainties %g and %g; give finite "
                           "numbers and one positive uncertainty",
                           i + 1, d->w[i], d->f[i], d->u_w[i], d->u_f[i]);
        two |= d->f[i] < d->f[0] || d->f[i] > d->f[0];
    }
    if (!two)
        return rg_fail(err, RG_BAD_DATA,
                       "force: %d point(s) of one force make no line; sweep at "
                       "another force",
                       d->n);
    return RG_OK;
}

rg_code rg_force_line_fit(const double *f, const double *w, const double *u_f, const double *u_w,
                          int n, rg_force_line *line, rg_error *err)
{
    data d = {f, w, u_f, u_w, n};
    *line = (rg_force_line){.n = n};
    rg_code code = check(&d, err);
    if (code != RG_OK)
        return code;
    line->b = first_slope(&d);
    for (int round = 0; round < ROUNDS_MOST; round++) {
        double b = next_slope(&d, line->b);
        bool settled = fabs(b - line->b) <= 1e-14 * fabs(b);
        if (!isfinite(b))
            return rg_fail(err, RG_BAD_DATA, "force: the points lie upright above one force");
        line->b = b;
        if (settled)
            break;
    }
    conclude(&d, line);
    return RG_OK;
}

double rg_force_line_inverse(const rg_force_line *line, double w, double k, double *u, double *low,
                             double *high)
{
    double f = (w - line->a) / line->b;
    double va = line->u_a * line->u_a, vb = line->u_b * line->u_b;
    double variance = va + 2 * f * line->u_ab + f * f * vb;
    double half = k * sqrt(fmax(variance, 0)) / fabs(line->b);
    double g = k * k * vb / (line->b * line->b);
    /* Fieller's quadratic about f: (1 - g) x^2 - 2 m x - h^2 = 0. */
    double m = k * k * (line->u_ab + f * vb) / (line->b * line->b);
    double root = sqrt(fmax(m * m + (1 - g) * half * half, 0));
    if (u)
        *u = sqrt(fmax(variance, 0)) / fabs(line->b);
    if (low)
        *low = g < 1 ? f + (m - root) / (1 - g) : -INFINITY;
    if (high)
        *high = g < 1 ? f + (m + root) / (1 - g) : INFINITY;
    return f;
}

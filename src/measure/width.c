/*
 * width.c - the slot's forward model, tabulated, and its inverse.
 *
 * Flux is tabulated over widths from 0 to RG_SLOT_MAX_WIDTH_PX, geometrically
 * spaced from 0.002 px, at four phases of the slot against the pixel grid,
 * whose mean removes the phase dependence that clipping brings. Derivatives to radiance and point
 * spread come from tables made with each raised by 4 %.
 */
#include "rimglow/width.h"

#include <math.h>
#include <stdlib.h>

#include "rimglow/image.h"
#include "rimglow/memory.h"
#include "rimglow/vec.h"

enum { NODES = 160, CODES = 4096, PHASES = 4 };

#define FIRST_WIDTH 0.002
#define NUDGE       0.04

struct rg_slot_table {
    double width[NODES];
    double flux[NODES];
    double width_bright[NODES];  /* width at the same flux with L raised by NUDGE */
    double width_blurred[NODES]; /* the same with sigma raised */
    float code[CODES + 1];       /* linear light to sRGB code, 0..1 */
};

/* Integral of the normal distribution function: x Phi(x) + phi(x). */
static double phi_integral(double x)
{
    if (x > 9)
        return x;
    if (x < -9)
        return 0;
    return 0.5 * x * erfc(-x / sqrt(2)) + exp(-0.5 * x * x) / sqrt(2 * RG_PI);
}

double rg_slot_pixel(double x, double width_px, double sigma_px)
{
    double s = sigma_px, h = width_px / 2;
    return s * (phi_integral((x + 0.5 + h) / s) - phi_integral((x + 0.5 - h) / s) -
                phi_integral((x - 0.5 + h) / s) + phi_integral((x - 0.5 - h) / s));
}

double rg_profile_half_width(const double *sample, int n)
{
    int peak = 0;
    for (int i = 1; i < n; i++)
        if (sample[i] > sample[peak])
            peak = i;
    if (n < 3 || !(sample[peak] > 0))
        return NAN;
    double half = sample[peak] / 2, left = 0, right = n - 1;
    for (int i = peak; i > 0; i--)
        if (sample[i - 1] < half) {
            left = i - (sample[i] - half) / (sample[i] - sample[i - 1]);
            break;
        }
    for (int i = peak; i < n - 1; i++)
        if (sample[i + 1] < half) {
            right = i + (sample[i] - half) / (sample[i] - sample[i + 1]);
            break;
        }
    return right - left;
}

double rg_profile_centroid(const double *sample, int n)
{
    double sum = 0, moment = 0;
    for (int i = 0; i < n; i++) {
        sum += sample[i];
        moment += i * sample[i];
    }
    return sum > 0 ? moment / sum : NAN;
}

static rg_code check_model(const rg_slot_model *m, rg_error *err)
{
    double sum = 0;
    for (int c = 0; c < 3; c++) {
        if (!(m->radiance[c] > 0 && m->radiance[c] < 1e6))
            return rg_fail(err, RG_BAD_DATA,
                           "slot model: radiance %g of channel %d is not within 0..1e6; "
                           "take the witness frame again",
                           m->radiance[c], c);
        if (!(m->background[c] >= 0 && m->background[c] <= 1))
            return rg_fail(err, RG_BAD_DATA,
                           "slot model: background %g of channel %d is not within 0..1",
                           m->background[c], c);
        if (!(m->code_weights[c] >= 0))
            return rg_fail(err, RG_BAD_DATA, "slot model: code weight %g is negative",
                           m->code_weights[c]);
        sum += m->code_weights[c];
    }
    if (!(fabs(sum - 1) < 1e-6))
        return rg_fail(err, RG_BAD_DATA, "slot model: code weights sum to %g instead of 1", sum);
    if (!(m->sigma_px >= 0.05 && m->sigma_px <= 20))
        return rg_fail(err, RG_BAD_DATA,
                       "slot model: point spread sigma %g px is not within 0.05..20; focus again",
                       m->sigma_px);
    return RG_OK;
}

static double code_of(const rg_slot_table *t, double light)
{
    /* The table is even in sqrt(light): fine where the curve is steep. */
    double f = sqrt(fmin(fmax(light, 0), 1)) * CODES;
    int i = (int)f;
    if (i >= CODES)
        return 1;
    return t->code[i] + (f - i) * (t->code[i + 1] - t->code[i]);
}

static double luma_light(const rg_slot_table *t, const rg_slot_model *m, double share)
{
    double luma = 0;
    for (int c = 0; c < 3; c++)
        luma += m->code_weights[c] * code_of(t, m->background[c] + m->radiance[c] * share);
    return rg_srgb_to_linear(luma);
}

static double flux_at_phase(const rg_slot_table *t, const rg_slot_model *m, double width,
                            double phase)
{
    int reach = (int)ceil(width / 2 + 6 * m->sigma_px) + 1;
    double dark = luma_light(t, m, 0), sum = 0;
    for (int i = -reach; i <= reach; i++)
        sum += luma_light(t, m, rg_slot_pixel(i - phase, width, m->sigma_px)) - dark;
    return sum;
}

static double model_flux(const rg_slot_table *t, const rg_slot_model *m, double width)
{
    double sum = 0;
    for (int k = 0; k < PHASES; k++)
        sum += flux_at_phase(t, m, width, (double)k / PHASES);
    return sum / PHASES;
}

static double interpolate(const double *x, const double *y, double at)
{
    if (at <= x[0])
        return y[0];
    int low = 0, high = NODES - 1;
    if (at >= x[high])
        return y[high];
    while (high - low > 1) {
        int mid = (low + high) / 2;
        if (x[mid] <= at)
            low = mid;
        else
            high = mid;
    }
    return y[low] + (y[high] - y[low]) * (at - x[low]) / (x[high] - x[low]);
}

static void fill_nodes(rg_slot_table *t, const rg_slot_model *m, double *flux)
{
    flux[0] = 0;
    for (int i = 1; i < NODES; i++) {
        flux[i] = model_flux(t, m, t->width[i]);
        /* Strictly rising, so that the inverse exists even beside a full background. */
        flux[i] = fmax(flux[i], flux[i - 1] + 1e-12);
    }
}

static void fill_derivative(rg_slot_table *t, const rg_slot_model *nudged, double *width)
{
    double flux[NODES];
    fill_nodes(t, nudged, flux);
    for (int i = 0; i < NODES; i++)
        width[i] = interpolate(flux, t->width, t->flux[i]);
}

rg_code rg_slot_table_new(rg_slot_table **table, const rg_slot_model *model, rg_error *err)
{
    *table = NULL;
    rg_code code = check_model(model, err);
    if (code != RG_OK)
        return code;
    rg_slot_table *t = rg_alloc(1, sizeof *t);
    if (!t)
        return rg_fail(err, RG_INTERNAL, "no memory for the slot table");
    for (int i = 0; i <= CODES; i++) {
        double root = (double)i / CODES;
        t->code[i] = (float)rg_linear_to_srgb(root * root);
    }
    double ratio = log(RG_SLOT_MAX_WIDTH_PX / FIRST_WIDTH) / (NODES - 2);
    for (int i = 1; i < NODES; i++)
        t->width[i] = FIRST_WIDTH * exp(ratio * (i - 1));
    fill_nodes(t, model, t->flux);
    rg_slot_model nudged = *model;
    for (int c = 0; c < 3; c++)
        nudged.radiance[c] *= 1 + NUDGE;
    fill_derivative(t, &nudged, t->width_bright);
    nudged = *model;
    nudged.sigma_px *= 1 + NUDGE;
    fill_derivative(t, &nudged, t->width_blurred);
    *table = t;
    return RG_OK;
}

void rg_slot_table_free(rg_slot_table *table)
{
    free(table);
}

double rg_slot_flux(const rg_slot_table *table, double width_px)
{
    return interpolate(table->width, table->flux, width_px);
}

rg_slot_width rg_slot_invert(const rg_slot_table *table, double flux_px)
{
    double f = fmax(flux_px, 0), width = interpolate(table->flux, table->width, f);
    double step = fmax(0.02 * f, table->flux[1]);
    double above = interpolate(table->flux, table->width, f + step);
    double lnudge = log1p(NUDGE);
    return (rg_slot_width){
        .width_px = width,
        .per_flux = (above - width) / step,
        .per_ln_radiance = (interpolate(table->flux, table->width_bright, f) - width) / lnudge,
        .per_ln_sigma = (interpolate(table->flux, table->width_blurred, f) - width) / lnudge,
        .beyond = f > table->flux[NODES - 1]};
}

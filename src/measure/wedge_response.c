/*
 * wedge_response.c - what a calibrated wedge tells: residuals, response,
 * saturation, noise, and the smallest gap that shows.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_fit.h>

#include "rimglow/memory.h"
#include "rimglow/observe.h"
#include "rimglow/stats.h"
#include "rimglow/width.h"
#include "wedge_private.h"

/* Views this far off the outward radius do not make the greatest flux. */
#define FACING_RAD 0.7

static void fill_bins(const rg_wedge_fit *f, const rg_sweep_result *after,
                      const rg_observations *seen, rg_wedge_result *out)
{
    for (int b = 0; b < RG_BINS; b++) {
        rg_wedge_bin *bin = &out->bin[b];
        *bin = (rg_wedge_bin){.used = f->counts[b],
                              .true_mm = rg_wedge_gap(f->blade, b),
                              .before_mm = f->sweep->map.bin[b].width_mm,
                              .after_mm = after->map.bin[b].width_mm,
                              .peak_flux_mm = NAN};
        for (int i = 0; i < seen->count[b]; i++) {
            const rg_observation *o = &seen->obs[b][i];
            if (fabs(o->obliquity_rad) < FACING_RAD)
                bin->peak_flux_mm = fmax(bin->peak_flux_mm, o->flux_mm);
        }
        bin->used = bin->used && isfinite(bin->after_mm);
        out->bearings += bin->used;
    }
    for (int i = 0; i < f->count; i++)
        out->frames += f->frames[i].used && f->frames[i].role == RG_FRAME_CLOSED;
}

/* ---------------------------------------------------------------- residuals */

static void fill_errors(rg_wedge_result *out)
{
    double before = 0, after = 0;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &out->bin[b];
        if (!bin->used)
            continue;
        double e = bin->after_mm - bin->true_mm;
        before += pow(bin->before_mm - bin->true_mm, 2);
        after += e * e;
        if (fabs(e) > fabs(out->worst_mm)) {
            out->worst_mm = e;
            out->worst_bearing_deg = b;
        }
    }
    out->rms_before_mm = sqrt(before / fmax(out->bearings, 1));
    out->rms_mm = sqrt(after / fmax(out->bearings, 1));
}

/* Bearings that read as open: a closed reading has no error to speak of. */
static int open_bins(const rg_wedge_result *out, double *known, double *error)
{
    int n = 0;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &out->bin[b];
        if (!bin->used || !(bin->after_mm > 0))
            continue;
        known[n] = bin->true_mm;
        error[n++] = bin->after_mm - bin->true_mm;
    }
    return n;
}

/* -2 ln L of normal residuals with variance floor^2 + (relative w)^2. */
static double unlikelihood(const double *known, const double *error, int n, double floor,
                           double relative)
{
    double sum = 0;
    for (int i = 0; i < n; i++) {
        double v = floor * floor + pow(relative * known[i], 2);
        sum += log(v) + error[i] * error[i] / v;
    }
    return sum;
}

static void fill_model(const rg_wedge_fit *f, rg_wedge_result *out)
{
    double known[RG_BINS], error[RG_BINS], least = INFINITY;
    int n = open_bins(out, known, error);
    const rg_wedge_options *o = f->options;
    out->floor_mm = o->min_residual_mm;
    out->relative = o->min_relative;
    /* Two parameters and a cheap likelihood: a grid of 2 % steps is exact enough. */
    for (double floor = o->min_residual_mm; n > 0 && floor < 0.02; floor *= 1.02)
        for (double rel = o->min_relative; rel < 0.3; rel += 0.002) {
            double cost = unlikelihood(known, error, n, floor, rel);
            if (cost < least) {
                least = cost;
                out->floor_mm = floor;
                out->relative = rel;
            }
        }
    for (int i = 0; i < n; i++)
        error[i] += known[i];
    double cov00, cov01, cov11, square;
    if (n > 2)
        gsl_fit_linear(known, 1, error, 1, (size_t)n, &out->offset_mm, &out->slope, &cov00, &cov01,
                       &cov11, &square);
    /* Neighbouring bearings err alike: fewer count than were seen. */
    double alike = 6;
    out->u_offset_mm = n > 2 ? sqrt(cov00 * alike) : NAN;
    out->u_slope = n > 2 ? sqrt(cov11 * alike) : NAN;
}

/* ---------------------------------------------------------------- response */

static rg_wedge_node node_at(const rg_wedge_result *out, double low, double high)
{
    double flux[RG_BINS], reading[RG_BINS];
    rg_wedge_node node = {.width_mm = (low + high) / 2};
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &out->bin[b];
        if (!bin->used || bin->true_mm < low || bin->true_mm >= high || isnan(bin->peak_flux_mm))
            continue;
        flux[node.bearings] = bin->peak_flux_mm;
        reading[node.bearings++] = bin->after_mm;
    }
    size_t n = (size_t)node.bearings;
    node.flux_mm = n ? rg_median_inplace(flux, n) : NAN;
    node.reading_mm = n ? rg_median_inplace(reading, n) : NAN;
    return node;
}

enum { NODE_BEARINGS = 3 };

static void fill_response(const rg_wedge_fit *f, rg_wedge_result *out)
{
    double step = f->blade->thickness_mm / RG_WEDGE_NODES;
    out->monotone = true;
    for (int i = 0; i < RG_WEDGE_NODES; i++) {
        rg_wedge_node node = node_at(out, i * step, (i + 1) * step);
        if (node.bearings < NODE_BEARINGS)
            continue;
        if (out->nodes > 0) {
            const rg_wedge_node *last = &out->node[out->nodes - 1];
            out->monotone =
                out->monotone && node.flux_mm > last->flux_mm && node.reading_mm > last->reading_mm;
        }
        out->node[out->nodes++] = node;
    }
}

/* ---------------------------------------------------------------- camera */

/* Brightest sample of a lit column; NAN when it is not lit. */
static double column_peak(const rg_frame *frame, int c)
{
    double peak = NAN;
    if (frame->light.column[c].state != RG_COLUMN_LIT)
        return peak;
    size_t first = (size_t)c * (size_t)frame->strip.rows;
    for (int r = 0; r < frame->strip.rows; r++)
        if (frame->light.mask[first + (size_t)r] == 1)
            peak = fmax(peak, (double)frame->strip.light[first + (size_t)r]);
    return peak;
}

typedef struct lists {
    size_t n, peaks, room;
    double *light, *square, *peak, *scale;
} lists;

static void free_lists(lists *l)
{
    free(l->light);
    free(l->square);
    free(l->peak);
    free(l->scale);
}

static bool make_lists(lists *l, const rg_frame *frames, int count)
{
    for (int i = 0; i < count; i++)
        l->room += (size_t)frames[i].light.columns;
    l->light = rg_alloc(l->room, sizeof(double));
    l->square = rg_alloc(l->room, sizeof(double));
    l->peak = rg_alloc(l->room, sizeof(double));
    l->scale = rg_alloc(l->room, sizeof(double));
    return l->light && l->square && l->peak && l->scale;
}

static void gather(const rg_frame *frame, lists *l)
{
    for (int c = 0; c < frame->light.columns; c++) {
        const rg_column_light *col = &frame->light.column[c];
        double peak = column_peak(frame, c);
        if (isfinite(peak))
            l->peak[l->peaks++] = peak;
        if (col->state != RG_COLUMN_DARK)
            continue;
        l->light[l->n] = fmax((col->chimney + col->pad) / 2, 0);
        l->scale[l->n] = frame->strip.column[c].px_per_mm;
        l->square[l->n++] = col->u_flux_mm * col->u_flux_mm;
    }
}

/* Light whose columns all reach the same peak is clipped there. */
static void fill_saturation(lists *l, rg_wedge_result *out)
{
    if (!l->peaks)
        return;
    out->full_scale = rg_quantile_inplace(l->peak, l->peaks, 0.995);
    size_t clipped = 0;
    for (size_t i = 0; i < l->peaks; i++)
        clipped += l->peak[i] >= 0.98 * out->full_scale;
    out->clipped_share = (double)clipped / (double)l->peaks;
}

/* Photon noise grows as the square root of the light: u^2 = a + b light. */
static void fill_noise(lists *l, rg_wedge_result *out)
{
    double a = 0, b = 0, c00, c01, c11, square;
    if (l->n < 3)
        return;
    gsl_fit_linear(l->light, 1, l->square, 1, l->n, &a, &b, &c00, &c01, &c11, &square);
    if (b < 0 || a < 0) {
        a = fmax(rg_mean(l->square, l->n), 0);
        b = 0;
    }
    out->noise_floor_mm = sqrt(a);
    out->noise_per_light = sqrt(b);
    out->background = rg_median_inplace(l->light, l->n);
    out->px_per_mm = rg_median_inplace(l->scale, l->n);
}

/* ---------------------------------------------------------------- detection */

static const double elevations[RG_WEDGE_ELEVATIONS] = {-1, -0.5, -0.25, 0, 0.25, 0.5, 1};
static const double ambients[RG_WEDGE_AMBIENTS] = {0, 0.02, 0.05, 0.1, 0.2};

/* Open height that one unit of flux means, where the slot is thin. */
static rg_code height_per_flux(const rg_wedge_fit *f, const rg_wedge_result *out, double background,
                               double *per_flux, rg_error *err)
{
    rg_slot_table *table = NULL;
    double sigma2 = out->psf_sigma_px * out->psf_sigma_px - 1.0 / 12 + RG_BILINEAR_VARIANCE_PX2;
    rg_slot_model m = {.sigma_px = sqrt(fmax(sigma2, 0.01))};
    for (int c = 0; c < 3; c++) {
        m.radiance[c] = out->radiance[c];
        m.background[c] = fmin(background, 0.99);
        m.code_weights[c] = f->setup->options.code_weights[c];
    }
    rg_code code = rg_slot_table_new(&table, &m, err);
    if (code == RG_OK)
        *per_flux = rg_slot_invert(table, rg_slot_flux(table, 0.02)).per_flux;
    rg_slot_table_free(table);
    return code;
}

/* The smallest gap that one frame shows, looking straight at a bearing whose far side is shut. */
static rg_code fill_detection(const rg_wedge_fit *f, const rg_sweep_result *after,
                              rg_wedge_result *out, rg_error *err)
{
    static const double shut[RG_BINS];
    const rg_measure_options *o = &f->setup->options;
    double columns = 1 / o->strip.step_deg;
    memcpy(out->elevation_deg, elevations, sizeof elevations);
    memcpy(out->ambient, ambients, sizeof ambients);
    for (int a = 0; a < RG_WEDGE_AMBIENTS; a++) {
        double light = out->background + ambients[a], per_flux = NAN;
        rg_code code = height_per_flux(f, out, light, &per_flux, err);
        if (code != RG_OK)
            return code;
        double u = hypot(out->noise_floor_mm, out->noise_per_light * sqrt(light));
        for (int e = 0; e < RG_WEDGE_ELEVATIONS; e++) {
            double slope = tan(rg_radians(elevations[e]));
            rg_observation one = {.u_mm = u * per_flux / sqrt(columns),
                                  .slope_pad = slope,
                                  .slope_rim = slope,
                                  .u_slope = o->rocking.u_slope};
            out->detection_mm[a][e] =
                rg_rocking_limit(&after->geometry, 0, &one, 1, &o->rocking, shut);
        }
    }
    return RG_OK;
}

rg_code rg_wedge_describe(const rg_wedge_fit *f, const rg_sweep_result *after,
                          rg_wedge_result *result, rg_error *err)
{
    rg_observations seen = {0};
    rg_observe_options reading = rg_sweep_reading(f->setup, after);
    lists l = {0};
    memcpy(result->radiance, after->radiance, sizeof result->radiance);
    result->psf_sigma_px = after->psf_sigma_px;
    rg_code code = rg_observe(&reading, &after->plane, after->geometry.outer_mm, f->frames,
                              f->count, &seen, err);
    if (code == RG_OK && !make_lists(&l, f->frames, f->count))
        code = rg_fail(err, RG_INTERNAL, "no memory for the light of %d frames", f->count);
    if (code == RG_OK) {
        fill_bins(f, after, &seen, result);
        fill_errors(result);
        fill_model(f, result);
        fill_response(f, result);
        for (int i = 0; i < f->count; i++)
            if (f->frames[i].used && f->frames[i].role == RG_FRAME_CLOSED)
                gather(&f->frames[i], &l);
        fill_saturation(&l, result);
        fill_noise(&l, result);
        code = fill_detection(f, after, result, err);
    }
    free_lists(&l);
    rg_observations_free(&seen);
    return code;
}

const char *rg_wedge_fault(const rg_wedge_result *r, const rg_wedge_options *options)
{
    if (!(r->rms_mm <= options->max_rms_mm))
        return "the readings do not follow the wedge: is the feeler's thickness in mm, its bearing "
               "right, and does the pad touch the rim opposite to it?";
    if (!r->monotone)
        return "a wider gap does not always read wider: keep lamp, exposure and camera still "
               "during the sweep, and take it again";
    if (!(r->full_scale > 0.5))
        return "no light of the wedge reaches half of the camera's range: expose longer or move "
               "the lamp to the hole";
    return NULL;
}

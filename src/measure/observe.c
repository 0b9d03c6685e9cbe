/*
 * observe.c - columns to observations. See observe.h.
 */
#include "rimglow/observe.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"
#include "rimglow/width.h"

static bool is_closed(const rg_frame *f)
{
    return f->used && f->role == RG_FRAME_CLOSED;
}

/* Half the light of the pad beside the slot: what the slot stands in. */
static rg_code background_of(const rg_frame *frames, int count, double *background, rg_error *err)
{
    size_t room = 1, n = 0;
    for (int i = 0; i < count; i++)
        room += (size_t)frames[i].light.columns;
    double *work = rg_alloc(room, sizeof *work);
    if (!work)
        return rg_fail(err, RG_INTERNAL, "no memory for the background of %d frames", count);
    for (int i = 0; i < count; i++)
        for (int c = 0; is_closed(&frames[i]) && c < frames[i].light.columns; c += 8) {
            const rg_column_light *col = &frames[i].light.column[c];
            if (col->state == RG_COLUMN_DARK || col->state == RG_COLUMN_LIT)
                work[n++] = col->pad;
        }
    *background = 0.5 * (n ? rg_median_inplace(work, n) : 0.01);
    free(work);
    return RG_OK;
}

/* One table for each exposure that occurs. */
typedef struct tables {
    const rg_observe_options *options;
    double background;
    double *exposure;      /* owned; [count] */
    rg_slot_table **table; /* owned; [count] */
    int count;
} tables;

static void free_tables(tables *t)
{
    for (int i = 0; t->table && i < t->count; i++)
        rg_slot_table_free(t->table[i]);
    free(t->table);
    free(t->exposure);
}

static rg_code add_table(tables *t, double exposure, rg_error *err)
{
    const rg_observe_options *o = t->options;
    double sigma2 = o->psf_sigma_px * o->psf_sigma_px - 1.0 / 12 + RG_BILINEAR_VARIANCE_PX2;
    rg_slot_model m = {.sigma_px = sqrt(fmax(sigma2, 0.01))};
    for (int c = 0; c < 3; c++) {
        m.radiance[c] = o->radiance[c] * exposure;
        m.background[c] = t->background;
        m.code_weights[c] = o->code_weights[c];
    }
    t->exposure[t->count] = exposure;
    rg_code code = rg_slot_table_new(&t->table[t->count], &m, err);
    t->count += code == RG_OK;
    return code;
}

static const rg_slot_table *table_for(const tables *t, double exposure)
{
    for (int i = 0; i < t->count; i++)
        if (t->exposure[i] == exposure)
            return t->table[i];
    return NULL;
}

static rg_code make_tables(tables *t, const rg_frame *frames, int count, rg_error *err)
{
    t->exposure = rg_alloc((size_t)count + 1, sizeof *t->exposure);
    t->table = rg_alloc((size_t)count + 1, sizeof(rg_slot_table *));
    if (!t->exposure || !t->table)
        return rg_fail(err, RG_INTERNAL, "no memory for the response of %d frames", count);
    rg_code code = background_of(frames, count, &t->background, err);
    for (int i = 0; code == RG_OK && i < count; i++)
        if (is_closed(&frames[i]) && !table_for(t, frames[i].exposure))
            code = add_table(t, frames[i].exposure, err);
    return code;
}

/* Sums over the columns of one bin in one frame. */
typedef struct cell {
    int lit, dark, bad;
    double height, square, noise, per_l, per_s, slope, side, flux;
    double middle; /* of lit columns; NAN where one has no single band */
} cell;

static void add_column(cell *sum, const rg_strip_column *sc, const rg_column_light *col,
                       const rg_slot_table *table)
{
    if (col->state != RG_COLUMN_DARK && col->state != RG_COLUMN_LIT) {
        sum->bad++;
        return;
    }
    double k = sc->px_per_mm;
    rg_slot_width w = rg_slot_invert(table, col->flux_mm * k);
    double height = col->flux_mm > 0 ? w.width_px / k : col->flux_mm * w.per_flux;
    sum->lit += col->state == RG_COLUMN_LIT;
    sum->middle += col->state == RG_COLUMN_LIT ? col->middle_mm : 0;
    sum->dark += col->state == RG_COLUMN_DARK;
    sum->flux += col->flux_mm;
    sum->height += height;
    sum->square += height * height;
    sum->noise += w.per_flux * col->u_flux_mm;
    sum->per_l += w.per_ln_radiance / k;
    sum->per_s += w.per_ln_sigma / k;
    sum->slope += sc->slope;
    sum->side += sc->obliquity_rad;
}

/* Where the light stands: half of its open height to either side of its middle. The frame's shift is
 * left out: it follows what the frame shows as rim, and that may be a look through the hole. */
static void edges_of(const cell *sum, const rg_frame *f, double u_height, rg_observation *obs)
{
    bool whole = sum->lit > 0 && sum->dark == 0 && sum->bad == 0 && obs->height_mm > 0;
    double middle = whole ? sum->middle / sum->lit + f->shift_mm : NAN;
    obs->low_mm = middle - 0.5 * obs->height_mm;
    obs->high_mm = middle + 0.5 * obs->height_mm;
    obs->u_edge_mm = u_height;
}

/* The slope of a column's ray is stated at the pad's plane; the camera stands higher over a rim that lies lower. */
static double gain_at_rim(const rg_frame *f, const rg_rim_plane *plane, int bin, double outer_mm)
{
    double range = f->distance_mm - outer_mm;
    return range > outer_mm ? -rg_rim_plane_height(plane, bin) / range : 0;
}

static bool observation_of(const cell *sum, int bin, int frame, const rg_frame *f,
                           const rg_rim_plane *plane, double outer_mm, const rg_observe_options *o,
                           rg_observation *obs)
{
    const rg_place *place = &f->pose;
    int n = sum->lit + sum->dark;
    /* Half-hidden bins are hidden. */
    if (n == 0 || sum->bad >= n)
        return false;
    double mean = sum->height / n, side = sum->side / n, slope = sum->slope / n;
    double scatter = n > 1 ? fmax(sum->square / n - mean * mean, 0) / (n - 1) : 0;
    double towards = bin + rg_degrees(side);
    /* What the station states of a slope is for a crown's pose. */
    double u_place = place->source == RG_PLACE_CROWN ? 0 : rg_place_slope_u(place, towards);
    double u_plane = rg_rim_plane_slope_u(plane, towards, outer_mm);
    *obs = (rg_observation){.frame = frame,
                            .height_mm = mean,
                            .flux_mm = sum->flux / n,
                            .u_mm = sqrt(scatter + pow(sum->noise / n, 2) / n),
                            .per_ln_radiance = sum->per_l / n,
                            .per_ln_sigma = sum->per_s / n,
                            .slope_pad = slope,
                            .slope_rim = slope - rg_rim_plane_slope(plane, towards, outer_mm),
                            .obliquity_rad = side,
                            .u_slope = hypot(hypot(o->u_slope, u_place), u_plane),
                            .u_place = u_place,
                            .lit = sum->lit > 0};
    edges_of(sum, f, o->u_height_mm, obs);
    obs->slope_gain = gain_at_rim(f, plane, bin, outer_mm);
    return true;
}

static void observe_frame(const rg_frame *f, int index, const rg_slot_table *table,
                          const rg_rim_plane *plane, double outer_mm,
                          const rg_observe_options *options, rg_observation *obs, int *count,
                          int stride)
{
    int c = 0;
    while (c < f->strip.columns) {
        int bin = (int)floor(f->strip.column[c].bearing_deg + 0.5) % RG_BINS;
        cell sum = {0};
        for (; c < f->strip.columns; c++) {
            if ((int)floor(f->strip.column[c].bearing_deg + 0.5) % RG_BINS != bin)
                break;
            add_column(&sum, &f->strip.column[c], &f->light.column[c], table);
        }
        if (observation_of(&sum, bin, index, f, plane, outer_mm, options,
                           &obs[bin * stride + count[bin]]))
            count[bin]++;
    }
}

rg_code rg_observe(const rg_observe_options *options, const rg_rim_plane *plane, double outer_mm,
                   const rg_frame *frames, int count, rg_observations *out, rg_error *err)
{
    int stride = count + 1;
    tables t = {.options = options};
    *out = (rg_observations){0};
    out->store = rg_alloc((size_t)RG_BINS * (size_t)stride, sizeof *out->store);
    rg_code code = out->store ? make_tables(&t, frames, count, err)
                              : rg_fail(err, RG_INTERNAL,
                                        "no memory for the observations of %d frames", count);
    for (int i = 0; code == RG_OK && i < count; i++)
        if (is_closed(&frames[i]))
            observe_frame(&frames[i], i, table_for(&t, frames[i].exposure), plane, outer_mm,
                          options, out->store, out->count, stride);
    for (int b = 0; b < RG_BINS; b++)
        out->obs[b] = out->store ? out->store + b * stride : NULL;
    free_tables(&t);
    if (code != RG_OK)
        rg_observations_free(out);
    return code;
}

void rg_observations_free(rg_observations *observations)
{
    if (!observations)
        return;
    free(observations->store);
    *observations = (rg_observations){0};
}

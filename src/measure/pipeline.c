/*
 * pipeline.c - all frames of a sweep together: rim plane, light, seal map.
 */
#include "rimglow/pipeline.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/observe.h"
#include "rimglow/stats.h"

rg_code rg_setup_check(const rg_setup *setup, rg_error *err)
{
    rg_code code = rg_lens_check(&setup->lens, err);
    if (code == RG_OK && setup->place.source == RG_PLACE_CROWN)
        code = rg_crown_check(&setup->crown, err);
    if (code == RG_OK)
        code = rg_place_check(&setup->place, err);
    if (code == RG_OK)
        code = rg_rim_check(&setup->rim, err);
    if (code == RG_OK)
        code = rg_strip_check(&setup->options.strip, err);
    double tolerance = setup->options.sealmap.tolerance_mm;
    if (code == RG_OK && !(tolerance > 0 && tolerance < 1))
        code = rg_fail(err, RG_BAD_DATA, "tolerance %g mm is not within 0..1 mm", tolerance);
    return code;
}

static bool is_closed(const rg_frame *f)
{
    return f->used && f->role == RG_FRAME_CLOSED;
}

/* The sharpest frame's edge width. Outlines of brass vary more than print does:
 * of them the median counts. */
static double sharp_edges(const rg_frame *frames, int count, double *work)
{
    double sharpest = INFINITY;
    size_t n = 0;
    bool crown = true;
    for (int i = 0; i < count; i++)
        if (is_closed(&frames[i]) && frames[i].pose.edge_sigma_px > 0) {
            sharpest = fmin(sharpest, frames[i].pose.edge_sigma_px);
            work[n++] = frames[i].pose.edge_sigma_px;
            crown = crown && frames[i].pose.source == RG_PLACE_CROWN;
        }
    return crown || n == 0 ? sharpest : rg_median_inplace(work, n);
}

/* Frames far blurrier than the sharpest are left out; *sigma gets the median
 * width of the edges (crown's or outlines') over the rest. */
static rg_code sort_out_blur(rg_frame *frames, int count, const rg_measure_options *o,
                             double *sigma, rg_error *err)
{
    double *work = rg_alloc((size_t)count, sizeof *work);
    double factor = o->psf_factor;
    size_t n = 0;
    if (!work)
        return rg_fail(err, RG_INTERNAL, "no memory for %d frames", count);
    double sharpest = sharp_edges(frames, count, work);
    for (int i = 0; i < count; i++) {
        rg_frame *f = &frames[i];
        if (!is_closed(f))
            continue;
        if (f->pose.edge_sigma_px > o->blur_ratio * sharpest) {
            snprintf(f->reason, sizeof f->reason,
                     "blurred: edges are %.2f px wide, %.1f times the sharpest frame's; hold "
                     "still or focus",
                     f->pose.edge_sigma_px, f->pose.edge_sigma_px / sharpest);
            f->used = false;
            continue;
        }
        if (f->pose.edge_sigma_px > 0)
            work[n++] = f->pose.edge_sigma_px;
        /* Outlines of pad and chimney are as far away as the rim. */
        if (f->pose.source != RG_PLACE_CROWN)
            factor = 1;
    }
    *sigma = o->psf_sigma_px > 0 ? o->psf_sigma_px : n ? factor * rg_median_inplace(work, n) : NAN;
    free(work);
    return RG_OK;
}

static rg_code find_rim(rg_frame *frames, int count, const rg_measure_options *o,
                        rg_rim_plane *plane, rg_error *err)
{
    int room = 0, marks = 0;
    for (int i = 0; i < count; i++)
        if (is_closed(&frames[i]))
            room += frames[i].strip.columns / o->mark_every + 1;
    rg_rim_mark *mark = rg_alloc((size_t)room + 1, sizeof *mark);
    double *shift = rg_alloc((size_t)count + 1, sizeof *shift);
    rg_code code = mark && shift ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for rim marks");
    for (int i = 0; code == RG_OK && i < count; i++) {
        if (!is_closed(&frames[i]))
            continue;
        int more = rg_rim_marks(&frames[i].strip, i, o->mark_every, &o->rimline, mark + marks,
                                room - marks);
        if (more < 0)
            code = rg_fail(err, RG_INTERNAL, "no memory for rim marks");
        marks += more;
    }
    if (code == RG_OK)
        code = rg_rim_plane_fit(mark, marks, count, &o->rimline, plane, shift, err);
    for (int i = 0; code == RG_OK && i < count; i++)
        frames[i].shift_mm = shift[i];
    free(mark);
    free(shift);
    return code;
}

static void radiance_of(const rg_setup *setup, const rg_frame *frames, int count,
                        rg_sweep_result *r)
{
    const rg_frame *best = NULL;
    int witnesses = 0;
    for (int i = 0; i < count; i++) {
        const rg_frame *f = &frames[i];
        if (f->role != RG_FRAME_WITNESS)
            continue;
        witnesses++;
        if (f->used && (!best || f->witness.area_mm2 > best->witness.area_mm2))
            best = f;
        if (!f->used)
            snprintf(r->evidence.light_reason, RG_REASON_SIZE,
                     "the light was not proven on: %.200s", f->reason);
    }
    r->evidence.light_proven = best != NULL;
    if (!witnesses)
        snprintf(r->evidence.light_reason, RG_REASON_SIZE,
                 "the light was not proven on: the sweep has no witness frame; crack the pad open "
                 "by a millimetre or two and take one at a lower exposure");
    /* Without a witness a gap can still be shown, on a wide guess of the lamp. */
    const rg_measure_options *o = &setup->options;
    for (int c = 0; c < 3; c++)
        r->radiance[c] = best ? best->witness.radiance[c] : o->unproven_radiance;
    r->u_ln_radiance = best ? best->witness.u_ln_radiance : o->unproven_u_ln;
    if (best && best->witness.clipped)
        r->u_ln_radiance *= 2;
}

rg_observe_options rg_sweep_reading(const rg_setup *setup, const rg_sweep_result *r)
{
    const rg_measure_options *o = &setup->options;
    /* The pose of a frame is believed to be out by anything up to max_shift_mm: rectangular, JCGM
     * 100, 4.3.7. */
    rg_observe_options reading = {.psf_sigma_px = r->psf_sigma_px,
                                  .u_slope = o->rocking.u_slope,
                                  .u_height_mm = o->rimline.max_shift_mm / sqrt(3)};
    memcpy(reading.radiance, r->radiance, sizeof reading.radiance);
    memcpy(reading.code_weights, o->code_weights, sizeof reading.code_weights);
    return reading;
}

rg_code rg_sweep_merge(const rg_setup *setup, const rg_frame *frames, int count, rg_sweep_result *r,
                       rg_error *err)
{
    const rg_measure_options *o = &setup->options;
    rg_observe_options reading = rg_sweep_reading(setup, r);
    rg_observations seen = {0};
    rg_code code = rg_observe(&reading, &r->plane, r->geometry.outer_mm, frames, count, &seen, err);
    if (code != RG_OK)
        return code;
    rg_rocking_options rocking = o->rocking;
    rocking.u_ln_radiance = r->u_ln_radiance;
    rg_sealmap_options sealmap = o->sealmap;
    sealmap.widest_mm = o->rimline.search_mm;
    if (setup->place.source == RG_PLACE_CROWN)
        r->geometry.bulge_mm = rg_sealmap_bulge(&r->geometry, seen.obs, seen.count, &rocking);
    else /* the pad's own plane is not seen: bulge and tilt cannot be told apart */
        sealmap.tilt_prior = hypot(sealmap.tilt_prior, tan(rg_radians(setup->place.seat_tilt_deg)));
    rg_sealmap_merge(&r->map, &r->geometry, seen.obs, seen.count, &rocking, &sealmap);
    rg_observations_free(&seen);
    return RG_OK;
}

/* A bearing that was stated wrongly turns the whole map. */
static void turn_arcs(rg_seal_map *map, double u_bearing_deg)
{
    for (int i = 0; i < map->arcs; i++) {
        map->arc[i].u_end_deg = hypot(map->arc[i].u_end_deg, u_bearing_deg);
        map->arc[i].u_centre_deg = hypot(map->arc[i].u_centre_deg, u_bearing_deg);
    }
}

/* Bearings at which a frame taken with the lamp off shows slot light. */
static void ambient_bins(const rg_frame *frames, int count, bool ambient[RG_BINS])
{
    int lit[RG_BINS] = {0};
    for (int i = 0; i < count; i++)
        for (int c = 0;
             frames[i].used && frames[i].role == RG_FRAME_DARK && c < frames[i].light.columns;
             c++) {
            int bin = (int)floor(frames[i].strip.column[c].bearing_deg + 0.5) % RG_BINS;
            lit[bin] += frames[i].light.column[c].state == RG_COLUMN_LIT;
        }
    for (int b = 0; b < RG_BINS; b++)
        ambient[b] = lit[b] >= 2;
}

static bool looks_at_rim(const rg_frame *f)
{
    return f->used && (f->role == RG_FRAME_CLOSED || f->role == RG_FRAME_DARK);
}

/* Windows about the rim line hold the blurred slot at any scale: they are never
 * narrower than these many sigmas of the point spread. */
#define WINDOW_SIGMAS 3.4
#define MARGIN_SIGMAS 2.8
#define SHADOW_SIGMAS 1.5

/* So large a share of the rim marks is light that begins above the rim: that is no reflection on the pad but a
 * look through a hole that is open on both sides. */
#define THROUGH_SHARE 0.125

static rg_rimlight_options windows_for(const rg_frame *f, double psf_px, const rg_rim_plane *plane,
                                       const rg_measure_options *options)
{
    rg_rimlight_options o = options->rimlight;
    if (plane->above > THROUGH_SHARE * plane->marks)
        o.above_mm = fmax(o.above_mm, options->rimline.search_mm);
    double px_per_mm = f->strip.columns ? f->strip.column[f->strip.columns / 2].px_per_mm : 0;
    double psf_mm = px_per_mm > 0 && psf_px > 0 ? psf_px / px_per_mm : 0;
    o.window_mm = fmax(o.window_mm, WINDOW_SIGMAS * psf_mm);
    o.margin_mm = fmax(o.margin_mm, MARGIN_SIGMAS * psf_mm);
    o.shadow_blur_mm = fmax(o.shadow_blur_mm, SHADOW_SIGMAS * psf_mm);
    return o;
}

rg_slot_geometry rg_setup_slot(const rg_setup *setup)
{
    double outer = setup->rim.outer_diameter_mm / 2, over = setup->options.overhang_mm;
    double pad = over > 0 ? outer + over : setup->rim.pad_diameter_mm / 2;
    return (rg_slot_geometry){.inner_mm = setup->rim.inner_diameter_mm / 2,
                              .outer_mm = outer,
                              .pad_mm = outer + setup->options.overhang_factor * (pad - outer),
                              .land_reflectance = setup->options.land_reflectance,
                              .pad_glow = setup->options.pad_glow,
                              .shoulder_mm = setup->options.shoulder_mm};
}

static void final_angles(rg_frame *frames, int count, const rg_rim_plane *plane, double outer_mm)
{
    for (int i = 0; i < count; i++)
        if (is_closed(&frames[i])) {
            double lean = rg_rim_plane_slope(plane, frames[i].bearing_deg, outer_mm);
            frames[i].elevation_deg -= rg_degrees(atan(lean));
        }
}

rg_code rg_sweep_measure(const rg_setup *setup, rg_frame *frames, int count,
                         rg_sweep_result *result, rg_error *err)
{
    const rg_measure_options *o = &setup->options;
    *result = (rg_sweep_result){.geometry = rg_setup_slot(setup)};
    rg_code code = sort_out_blur(frames, count, o, &result->psf_sigma_px, err);
    if (code == RG_OK)
        code = find_rim(frames, count, o, &result->plane, err);
    if (code != RG_OK)
        return code;
    radiance_of(setup, frames, count, result);
    for (int i = 0; i < count; i++) {
        result->evidence.frames_given += frames[i].role == RG_FRAME_CLOSED;
        result->evidence.frames_used += is_closed(&frames[i]);
    }
    result->evidence.rim_found = result->plane.found;
    memcpy(result->evidence.calibration_fault, setup->light_fault, sizeof setup->light_fault);
    for (int i = 0; code == RG_OK && result->plane.found && i < count; i++)
        if (looks_at_rim(&frames[i])) {
            rg_rimlight_options windows =
                windows_for(&frames[i], result->psf_sigma_px, &result->plane, o);
            code = rg_rimlight_measure(&frames[i].light, &frames[i].strip, &result->plane,
                                       frames[i].shift_mm, &windows, err);
        }
    if (code == RG_OK) {
        static const rg_observation *const none[RG_BINS];
        static const int zero[RG_BINS];
        final_angles(frames, count, &result->plane, result->geometry.outer_mm);
        if (result->plane.found)
            code = rg_sweep_merge(setup, frames, count, result, err);
        else
            rg_sealmap_merge(&result->map, &result->geometry, none, zero, &o->rocking, &o->sealmap);
    }
    if (code == RG_OK) {
        bool ambient[RG_BINS];
        ambient_bins(frames, count, ambient);
        rg_sealmap_ambient(&result->map, ambient);
        if (!result->evidence.light_proven)
            rg_sealmap_unproven(&result->map);
        rg_sealmap_arcs(&result->map, &o->sealmap);
        turn_arcs(&result->map, setup->place.bearing_u_deg);
    }
    if (code == RG_OK)
        rg_verdict_decide(&result->map, &result->evidence, &o->sealmap);
    return code;
}

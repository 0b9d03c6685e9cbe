/*
 * bench_coverage.c - which bearings a sweep has well looked at. Part of
 * bench_check.h; the slot's geometry is that of rocking.h.
 */
#include <math.h>
#include <string.h>

#include "bench_private.h"

/* Without credit for reflection and glow, as for a detection limit. */
static rg_slot_geometry dull(const rg_slot_geometry *g)
{
    rg_slot_geometry d = *g;
    d.land_reflectance = d.pad_glow = d.tilt = 0;
    return d;
}

/* A gap of the shortest arc that must show is crossed by its own closed ends. */
static bool slants(const rg_slot_geometry *g, double obliquity_rad, double arc_deg)
{
    double land, over;
    if (!rg_slot_chords(g, obliquity_rad, &land, &over))
        return true;
    return (land + over) * sin(fabs(obliquity_rad)) > g->outer_mm * rg_radians(arc_deg);
}

static bool looked_at(const rg_bench_sweep *s, const rg_slot_geometry *g, const rg_frame *f, int c,
                      double width_mm)
{
    const rg_strip_column *col = &f->strip.column[c];
    rg_column_state state = f->light.column[c].state;
    if ((state != RG_COLUMN_DARK && state != RG_COLUMN_LIT) ||
        slants(g, col->obliquity_rad, s->setup->options.rocking.seen_arc_deg))
        return false;
    double towards = col->bearing_deg + rg_degrees(col->obliquity_rad);
    double slope = col->slope - rg_rim_plane_slope(&s->result->plane, towards, g->outer_mm);
    return rg_slot_width_for(g, 0, slope, slope, col->obliquity_rad) <= width_mm;
}

bool rg_bench_covered(const rg_bench_sweep *sweep, double width_mm, bool covered[RG_BINS])
{
    rg_slot_geometry g = dull(&sweep->result->geometry);
    memset(covered, 0, RG_BINS * sizeof *covered);
    if (!sweep->result->plane.found)
        return false;
    for (int i = 0; i < sweep->count; i++) {
        const rg_frame *f = &sweep->frames[i];
        if (!f->used || f->role != RG_FRAME_CLOSED || f->light.columns != f->strip.columns)
            continue;
        for (int c = 0; c < f->strip.columns; c++)
            if (looked_at(sweep, &g, f, c, width_mm))
                covered[(int)floor(f->strip.column[c].bearing_deg + 0.5) % RG_BINS] = true;
    }
    return true;
}

/* Largest slope of that sign that still shows the width; bisection. */
static double steepest(const rg_slot_geometry *g, double width_mm, double sign)
{
    double low = 0, high = 1;
    for (int i = 0; i < 50; i++) {
        double s = (low + high) / 2;
        *(rg_slot_width_for(g, 0, sign * s, sign * s, 0) <= width_mm ? &low : &high) = s;
    }
    return sign * low;
}

void rg_bench_window(const rg_bench_sweep *sweep, double width_mm, double *low_deg,
                     double *high_deg)
{
    rg_slot_geometry g = dull(&sweep->result->geometry);
    *low_deg = rg_degrees(atan(steepest(&g, width_mm, -1)));
    *high_deg = rg_degrees(atan(steepest(&g, width_mm, 1)));
}

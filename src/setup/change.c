/*
 * change.c - bearing by bearing difference of two seal maps, with the crown's turn as a source of
 * uncertainty, and arcs of change that survive many comparisons. Method and sources in change.h.
 */
#include "rimglow/change.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "rimglow/light.h"

enum { SMOOTH = 2, TURN_MOST = 30 };

static const double rims_alike = 0.02;    /* relative difference of diameters */
static const double profiles_alike = 0.7; /* least correlation that a turn is told by */

/* A map as widths with u; NAN where it cannot be compared. */
typedef struct profile {
    double w[RG_BINS], u[RG_BINS];
    double smooth[RG_BINS]; /* w averaged over 2 SMOOTH + 1 bins */
    bool gap;
} profile;

const char *rg_change_state_name(rg_change_state state)
{
    static const char *const name[] = {"no change shown", "wider", "narrower", "not comparable"};
    return name[state];
}

static int at(int b)
{
    return ((b % RG_BINS) + RG_BINS) % RG_BINS;
}

/* ---------------------------------------------------------------- profiles */

static bool is_dark(const rg_bin *bin)
{
    return bin->state == RG_BIN_SEALED && (bin->lit == 0 || !(bin->width_mm > 0));
}

static bool is_usable(const rg_bin *bin)
{
    if (bin->state == RG_BIN_UNSEEN || bin->blocked)
        return false;
    return is_dark(bin) ? bin->detection_limit_mm >= 0 && isfinite(bin->detection_limit_mm)
                        : isfinite(bin->width_mm) && bin->u_mm >= 0 && isfinite(bin->u_mm);
}

/* Average of what was seen about a bearing that was seen. */
static double average(const double w[RG_BINS], int b)
{
    double sum = 0;
    int n = 0;
    if (isnan(w[b]))
        return NAN;
    for (int k = -SMOOTH; k <= SMOOTH; k++)
        if (!isnan(w[at(b + k)])) {
            sum += w[at(b + k)];
            n++;
        }
    return sum / n;
}

static void make_profile(const rg_seal_map *map, double k, profile *p)
{
    p->gap = false;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        bool usable = is_usable(bin), dark = is_dark(bin);
        p->w[b] = !usable ? NAN : dark ? 0 : bin->width_mm;
        p->u[b] = !usable ? NAN : dark ? bin->detection_limit_mm / k : bin->u_mm;
        p->gap |= usable && bin->state == RG_BIN_GAP;
    }
    for (int b = 0; b < RG_BINS; b++)
        p->smooth[b] = average(p->w, b);
}

/* ------------------------------------------------------------------- turn */

/* Smoothed width at any bearing, NAN beside an unseen one. */
static double width_at(const profile *p, double bearing)
{
    double below = floor(bearing), part = bearing - below;
    double low = p->smooth[at((int)below)];
    return part > 0 ? low + part * (p->smooth[at((int)below + 1)] - low) : low;
}

/* t^2 of one bearing, NAN where neither side was seen. */
static double turn_variance(const profile *p, int b, double reach)
{
    double ahead = pow(width_at(p, b + reach) - p->smooth[b], 2);
    double behind = pow(width_at(p, b - reach) - p->smooth[b], 2);
    if (isnan(ahead))
        ahead = behind;
    if (isnan(behind))
        behind = ahead;
    return (ahead + behind) / 6;
}

static void turn_variances(const profile *p, double turn_u_deg, double t2[RG_BINS])
{
    double reach = sqrt(3) * turn_u_deg, most = 0;
    for (int b = 0; b < RG_BINS; b++) {
        t2[b] = turn_variance(p, b, reach);
        most = fmax(most, t2[b]); /* fmax passes NAN by */
    }
    for (int b = 0; b < RG_BINS; b++)
        if (isnan(t2[b]))
            t2[b] = most;
}

/* Correlation coefficient of before(b + turn) with after(b); NAN for too little to tell by. */
static double likeness(const profile *before, const profile *after, int turn)
{
    double n = 0, sx = 0, sy = 0, sxx = 0, syy = 0, sxy = 0;
    for (int b = 0; b < RG_BINS; b++) {
        double x = before->smooth[at(b + turn)], y = after->smooth[b];
        if (isnan(x) || isnan(y))
            continue;
        n++;
        sx += x;
        sy += y;
        sxx += x * x;
        syy += y * y;
        sxy += x * y;
    }
    double vx = sxx - sx * sx / n, vy = syy - sy * sy / n;
    /* What rounding leaves of a uniform width is no variance. */
    if (n < RG_BINS / 2 || !(vx > 1e-12 * sxx) || !(vy > 1e-12 * syy))
        return NAN;
    return (sxy - sx * sy / n) / sqrt(vx * vy);
}

/* Top of the parabola through three neighbours, the middle one the highest; -0.5 to 0.5. */
static double top_of(double left, double middle, double right)
{
    double bend = left - 2 * middle + right;
    return bend < 0 ? (left - right) / (2 * bend) : 0;
}

static double best_turn(const profile *before, const profile *after)
{
    double r[2 * TURN_MOST + 1];
    int best = -1;
    if (!before->gap || !after->gap)
        return NAN;
    for (int i = 0; i <= 2 * TURN_MOST; i++) {
        r[i] = likeness(before, after, i - TURN_MOST);
        if (!isnan(r[i]) && (best < 0 || r[i] > r[best]))
            best = i;
    }
    /* The best at the end of the range is no maximum. */
    if (best <= 0 || best == 2 * TURN_MOST || r[best] < profiles_alike || isnan(r[best - 1]) ||
        isnan(r[best + 1]))
        return NAN;
    return best - TURN_MOST + top_of(r[best - 1], r[best], r[best + 1]);
}

/* ------------------------------------------------------------------- arcs */

static rg_change_state state_of(const rg_change_bin *bin, double k)
{
    if (isnan(bin->change_mm))
        return RG_CHANGE_UNSEEN;
    if (!(fabs(bin->change_mm) > k * bin->u_mm))
        return RG_CHANGE_NONE;
    return bin->change_mm > 0 ? RG_CHANGE_GREW : RG_CHANGE_SHRANK;
}

static void compare_bins(const profile *before, const profile *after,
                         const rg_change_options *options, rg_change *change)
{
    double t_before[RG_BINS], t_after[RG_BINS];
    turn_variances(before, options->turn_u_deg, t_before);
    turn_variances(after, options->turn_u_deg, t_after);
    for (int b = 0; b < RG_BINS; b++) {
        rg_change_bin *bin = &change->bin[b];
        double own = pow(before->u[b], 2) + pow(after->u[b], 2);
        bin->before_mm = before->w[b];
        bin->after_mm = after->w[b];
        bin->change_mm = after->w[b] - before->w[b];
        bin->u_mm = isnan(own) ? NAN : sqrt(own + t_before[b] + t_after[b]);
        bin->state = state_of(bin, options->coverage_factor);
        change->comparable += bin->state != RG_CHANGE_UNSEEN;
    }
}

double rg_change_factor(double k, int bearings)
{
    return gsl_cdf_ugaussian_Qinv(gsl_cdf_ugaussian_Q(k) / (bearings > 1 ? bearings : 1));
}

/* False when nothing in the run stands out enough for its many chances. */
static bool make_arc(const rg_change *change, rg_run run, rg_change_arc *arc)
{
    bool full = run.length == RG_BINS, stands_out = false;
    *arc = (rg_change_arc){.state = change->bin[run.start].state,
                           .start_deg = full ? 0 : fmod(run.start + 359.5, 360),
                           .end_deg = full ? 360 : fmod(run.start + run.length - 0.5, 360),
                           .extent_deg = run.length};
    for (int i = 0; i < run.length; i++) {
        int b = at(run.start + i);
        const rg_change_bin *bin = &change->bin[b];
        stands_out |= fabs(bin->change_mm) > change->arc_factor * bin->u_mm;
        if (i > 0 && fabs(bin->change_mm) <= fabs(arc->most_mm))
            continue;
        arc->most_mm = bin->change_mm;
        arc->u_most_mm = bin->u_mm;
        arc->most_bearing_deg = b;
    }
    return stands_out;
}

/* Adds the arc; a full list keeps the longest ones. */
static void keep_arc(rg_change *change, const rg_change_arc *arc)
{
    rg_change_arc *shortest = change->arc;
    if (change->arcs < RG_CHANGE_ARCS_MAX) {
        change->arc[change->arcs++] = *arc;
        return;
    }
    for (int i = 1; i < change->arcs; i++)
        if (change->arc[i].extent_deg < shortest->extent_deg)
            shortest = &change->arc[i];
    if (arc->extent_deg > shortest->extent_deg)
        *shortest = *arc;
}

static void find_arcs(rg_change *change, rg_change_state state, double min_arc_deg)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS / 2 + 1];
    rg_change_arc arc;
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = change->bin[b].state == state;
    int n = rg_circular_runs(mask, RG_BINS, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++)
        if (run[i].length >= min_arc_deg && make_arc(change, run[i], &arc))
            keep_arc(change, &arc);
}

static int by_start(const void *a, const void *b)
{
    double x = ((const rg_change_arc *)a)->start_deg, y = ((const rg_change_arc *)b)->start_deg;
    return x < y ? -1 : x > y;
}

static rg_change_state overall_of(const rg_change *change)
{
    rg_change_state state = change->comparable ? RG_CHANGE_NONE : RG_CHANGE_UNSEEN;
    for (int i = 0; i < change->arcs; i++)
        if (state != RG_CHANGE_GREW)
            state = change->arc[i].state;
    return state;
}

static void mean_change(rg_change *change)
{
    double sum = 0, u = 0;
    for (int b = 0; b < RG_BINS; b++)
        if (change->bin[b].state != RG_CHANGE_UNSEEN) {
            sum += change->bin[b].change_mm;
            u += change->bin[b].u_mm;
        }
    change->mean_change_mm = change->comparable ? sum / change->comparable : NAN;
    change->u_mean_change_mm = change->comparable ? u / change->comparable : NAN;
}

/* ------------------------------------------------------------------ entry */

static rg_code check_options(const rg_change_options *o, rg_error *err)
{
    if (!(o->coverage_factor > 0 && o->coverage_factor <= 6))
        return rg_fail(err, RG_BAD_DATA,
                       "change: coverage factor %g; give a value above 0 and up to 6",
                       o->coverage_factor);
    if (!(o->turn_u_deg >= 0 && o->turn_u_deg <= 30))
        return rg_fail(err, RG_BAD_DATA,
                       "change: uncertainty of the crown's turn %g degrees; give 0 to 30",
                       o->turn_u_deg);
    if (!(o->min_arc_deg > 0 && o->min_arc_deg <= RG_BINS))
        return rg_fail(err, RG_BAD_DATA,
                       "change: shortest arc %g degrees; give a value above 0 and up to 360",
                       o->min_arc_deg);
    return RG_OK;
}

static rg_code check_rims(const rg_seal_map *before, const rg_seal_map *after, rg_error *err)
{
    double d0 = before->rim_outer_diameter_mm, d1 = after->rim_outer_diameter_mm;
    if (d0 > 0 && d1 > 0 && isfinite(d0) && isfinite(d1) &&
        fabs(d1 - d0) <= rims_alike * fmax(d0, d1))
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "change: the rims have outer diameters of %g and %g mm, so these are "
                   "not two maps of one pad; compare the same pad, or correct its "
                   "instrument file and inspect again",
                   d0, d1);
}

rg_code rg_change_find(const rg_seal_map *before, const rg_seal_map *after,
                       const rg_change_options *options, rg_change *change, rg_error *err)
{
    profile a, b;
    rg_code code = check_options(options, err);
    *change = (rg_change){.overall = RG_CHANGE_UNSEEN, .turn_deg = NAN};
    if (code == RG_OK)
        code = check_rims(before, after, err);
    if (code != RG_OK)
        return code;
    make_profile(before, options->coverage_factor, &a);
    make_profile(after, options->coverage_factor, &b);
    compare_bins(&a, &b, options, change);
    change->arc_factor = rg_change_factor(options->coverage_factor, change->comparable);
    find_arcs(change, RG_CHANGE_GREW, options->min_arc_deg);
    find_arcs(change, RG_CHANGE_SHRANK, options->min_arc_deg);
    qsort(change->arc, (size_t)change->arcs, sizeof *change->arc, by_start);
    change->overall = overall_of(change);
    mean_change(change);
    change->turn_deg = best_turn(&a, &b);
    return RG_OK;
}

/*
 * sealmap.c - merging the frames' observations into bins, and the arcs.
 *
 * An arc is a run of bins with a gap, wider than arc_floor; its ends are
 * where the width, interpolated between bins, passes the floor. Its area is
 * the sum of width times bin length; its uncertainty treats radiance, point
 * spread, scale and model as shared by all bins, and noise as not shared.
 */
#include "rimglow/sealmap.h"

#include <math.h>
#include <string.h>

#include <gsl/gsl_fit.h>

#include "rimglow/light.h"
#include "rimglow/vec.h"

const char *rg_bin_state_name(rg_bin_state state)
{
    static const char *const names[] = {"sealed", "gap", "unseen"};
    return names[state];
}

const char *rg_verdict_name(rg_verdict verdict)
{
    static const char *const names[] = {"sealed", "leaking", "undecided"};
    return names[verdict];
}

const char *rg_verdict_sign(rg_verdict verdict)
{
    static const char *const signs[] = {"( O )", "( / )", "( ? )"};
    return signs[verdict];
}

bool rg_verdict_parse(const char *word, rg_verdict *verdict)
{
    for (int k = RG_VERDICT_SEALED; k <= RG_VERDICT_UNDECIDED; k++)
        if (strcmp(word, rg_verdict_name((rg_verdict)k)) == 0) {
            *verdict = (rg_verdict)k;
            return true;
        }
    return false;
}

static int at(int b)
{
    return ((b % RG_BINS) + RG_BINS) % RG_BINS;
}

static rg_bin_state state_of(const rg_bin *bin, const rg_sealmap_options *o)
{
    double noise = hypot(bin->fit.u_noise_mm, bin->fit.u_model_mm);
    if (bin->fit.lit > 0 && bin->width_mm >= o->arc_floor_mm &&
        bin->width_mm > o->gap_sigmas * bin->fit.u_noise_mm && bin->width_mm > noise)
        return RG_BIN_GAP;
    return bin->detection_limit_mm <= o->seen_fraction * o->tolerance_mm ? RG_BIN_SEALED
                                                                         : RG_BIN_UNSEEN;
}

static void fill_bin(rg_bin *bin, int b, const rg_rocking_fit *fit, const rg_sealmap_options *o)
{
    *bin = (rg_bin){.bearing_deg = b,
                    .width_mm = fit->width_mm,
                    .u_mm = fit->u_mm,
                    .detection_limit_mm = fit->detection_limit_mm,
                    .frames = fit->frames,
                    .lit = fit->lit,
                    .fit = *fit};
    bin->state = fit->frames ? state_of(bin, o) : RG_BIN_UNSEEN;
    /* Where nothing is lit, what could hide below the limit is all there is. */
    if (bin->state == RG_BIN_SEALED && fit->used == 0)
        bin->u_mm = fmax(bin->u_mm, fit->detection_limit_mm / 3.29);
    if (bin->state == RG_BIN_UNSEEN)
        bin->width_mm = bin->u_mm = NAN;
}

/* What stands open for sure where the hole may have been looked through, else the width. */
static double opening_of(const rg_bin *bin, const rg_sealmap_options *o)
{
    if (bin->state != RG_BIN_GAP)
        return 0;
    return bin->fit.u_through_mm > 0 ? bin->width_mm - o->coverage_factor * bin->u_mm
                                     : bin->width_mm;
}

static double widest(const rg_seal_map *map, int from, int step, int reach,
                     const rg_sealmap_options *o)
{
    double most = 0;
    for (int k = 1; k <= reach; k++)
        most = fmax(most, opening_of(&map->bin[at(from + step * k)], o));
    return most;
}

/* Between two openings that both exceed blocked_factor tolerances and lie
 * less than blocked_deg to either side, the light falls away: a feeler, a
 * crumb or a hair may stand in the slot, or the pad may touch there. Either
 * way those bearings were not seen. */
static void find_blocked(rg_seal_map *map, const rg_sealmap_options *o)
{
    bool blocked[RG_BINS];
    int reach = (int)lround(o->blocked_deg);
    for (int b = 0; b < RG_BINS; b++) {
        double flank = fmin(widest(map, b, -1, reach, o), widest(map, b, 1, reach, o));
        double here = map->bin[b].state == RG_BIN_GAP ? map->bin[b].width_mm : 0;
        blocked[b] = flank > o->blocked_factor * o->tolerance_mm && here < o->blocked_share * flank;
    }
    /* Oblique rays feel the obstacle before they reach it. */
    int margin = (int)lround(o->blocked_margin_deg);
    for (int b = 0; b < RG_BINS; b++) {
        bool near = false;
        for (int k = -margin; k <= margin; k++)
            near = near || blocked[at(b + k)];
        if (near) {
            map->bin[b].blocked = true;
            map->bin[b].state = RG_BIN_UNSEEN;
            map->bin[b].width_mm = map->bin[b].u_mm = NAN;
        }
    }
}

static double expanded(const rg_rocking_fit *fit, const rg_sealmap_options *o)
{
    return fit->width_mm + o->coverage_factor * fit->u_mm;
}

/* The widest that a lit bearing may be: its light may be a part of the gap only, the rest a look through the
 * hole; but where both edges of the gap were seen, they bound it too. */
static double ceiling_of(double through, const rg_sealmap_options *o, const rg_rocking_fit *fit,
                         const rg_rocking_fit *edges)
{
    double own = expanded(fit, o);
    return edges->used ? fmin(own + through, fmax(own, expanded(edges, o))) : own + through;
}

/* What a bearing's own frames say, before rays that passed it raise its width. */
typedef struct own_fit {
    double width_mm, tilt;
} own_fit;

static double through_of(const rg_slot_geometry *g, int b, const rg_observation *obs, int count,
                         const rg_rocking_options *rocking, const own_fit *own,
                         const double far[RG_BINS])
{
    rg_slot_geometry local = *g;
    local.tilt = own->tilt;
    return rg_rocking_through(&local, b, obs, count, rocking, own->width_mm, far);
}

/* Edges closer together than the light between them is high are none. */
static bool contradicts(const rg_rocking_fit *fit, const rg_rocking_fit *edges,
                        const rg_sealmap_options *o)
{
    return edges->width_mm + o->coverage_factor * hypot(edges->u_mm, fit->u_mm) < fit->width_mm;
}

/* Where the hole may have been looked through the height of light is less than the gap. The edges of light,
 * seen in several frames, then tell its width; without them it lies anywhere up to the
 * ceiling: the middle is stated, U reaches to both. */
static void widen(const rg_sealmap_options *o, const rg_rocking_fit *edges, double most,
                  rg_rocking_fit *fit)
{
    double own = expanded(fit, o);
    if (!fit->lit || !(most > own + 1e-9) || !(o->widest_mm > 0))
        return;
    if (edges->used) {
        rg_rocking_fit was = *fit;
        *fit = *edges;
        fit->width_mm = fmax(was.width_mm, edges->width_mm);
        fit->u_scale_mm =
            fit->width_mm * (edges->width_mm > 0 ? edges->u_scale_mm / edges->width_mm : 0);
        fit->frames = was.frames, fit->lit = was.lit, fit->cost = was.cost;
        fit->detection_limit_mm = was.detection_limit_mm;
        return;
    }
    double low = fmax(2 * fit->width_mm - own, 0), high = fmax(fmin(most, o->widest_mm), own);
    double u = (high - low) / 2 / o->coverage_factor;
    fit->u_through_mm = sqrt(fmax(u * u - fit->u_mm * fit->u_mm, 0));
    fit->u_model_mm = hypot(fit->u_model_mm, fit->u_through_mm);
    fit->width_mm = (low + high) / 2;
    fit->u_mm = u;
}

/* Bearings of which nothing is known, hidden ones for instance, and that no frame shows lit, are taken to be open no
 * wider than the nearest known ones on both sides: the pad's face goes on between them. This is no proof that they are
 * closed and serves no detection limit; it only says how far a light is to be doubted. */
static double beside(const double far[RG_BINS], int b, int step)
{
    for (int k = 1; k < RG_BINS; k++)
        if (isfinite(far[at(b + step * k)]))
            return far[at(b + step * k)];
    return INFINITY;
}

static void fill_unknown(const double far[RG_BINS], const rg_rocking_fit fit[RG_BINS],
                         double filled[RG_BINS])
{
    for (int b = 0; b < RG_BINS; b++)
        filled[b] =
            isfinite(far[b]) || fit[b].lit ? far[b] : fmax(beside(far, b, -1), beside(far, b, 1));
}

/* Whether a gap could have been seen through depends on the far side's own
 * limit. Beginning with "anything may be open", every round can only lower
 * limits that the round before has proven; it stops when none moves. */
enum { LIMIT_ROUNDS = 12 };

static void find_limits(const rg_slot_geometry *g, const rg_observation *const obs[RG_BINS],
                        const int count[RG_BINS], const rg_rocking_options *rocking,
                        const rg_sealmap_options *o, const own_fit own[RG_BINS],
                        const rg_rocking_fit edges[RG_BINS], rg_rocking_fit fit[RG_BINS],
                        double most[RG_BINS])
{
    double far[RG_BINS], next[RG_BINS], filled[RG_BINS];
    /* What bounds a far gap may be seen askew: to be looked through at several
     * elevations it would have to be large. */
    rg_rocking_options askew = *rocking;
    askew.seen_arc_deg = 360;
    for (int b = 0; b < RG_BINS; b++)
        far[b] = INFINITY;
    for (int round = 0; round < LIMIT_ROUNDS; round++) {
        bool moved = false;
        fill_unknown(far, fit, filled);
        for (int b = 0; b < RG_BINS; b++) {
            fit[b].detection_limit_mm = rg_rocking_limit(g, b, obs[b], count[b], rocking, far);
            double through = through_of(g, b, obs[b], count[b], rocking, &own[b], filled);
            most[b] = fit[b].lit ? ceiling_of(through, o, &fit[b], &edges[b]) : 0;
            next[b] = fmax(most[b], rg_rocking_limit(g, b, obs[b], count[b], &askew, far));
            moved = moved || next[b] < far[b] - 1e-6 || isinf(far[b]) != isinf(next[b]);
        }
        memcpy(far, next, sizeof far);
        if (!moved)
            break;
    }
}

/* A leak of the shortest arc that counts covers a neighbour of every bin in it:
 * a single bin between two seen ones is seen with them. */
static void share_limits(rg_rocking_fit fit[RG_BINS], const rg_sealmap_options *o)
{
    double limit[RG_BINS];
    if (o->min_arc_deg < 2)
        return;
    for (int b = 0; b < RG_BINS; b++)
        limit[b] = fit[b].detection_limit_mm;
    for (int b = 0; b < RG_BINS; b++) {
        double beside = fmax(limit[at(b - 1)], limit[at(b + 1)]);
        if (fit[b].frames > 0 && fit[b].lit == 0)
            fit[b].detection_limit_mm = fmin(limit[b], beside);
    }
}

/* A short opening that one frame alone shows is a reflection until another
 * frame shows it too: reflections move with the view, gaps stay. */
static void drop_lone_lights(rg_seal_map *map, const rg_sealmap_options *o)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS / 2 + 1];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = map->bin[b].state == RG_BIN_GAP;
    /* What belongs to a longer opening is not alone. */
    rg_circular_bridge(mask, RG_BINS, (int)o->bridge_deg);
    int n = rg_circular_runs(mask, RG_BINS, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n; i++) {
        int most = 0;
        for (int k = 0; k < run[i].length; k++)
            most = map->bin[at(run[i].start + k)].lit > most ? map->bin[at(run[i].start + k)].lit
                                                             : most;
        for (int k = 0; k < run[i].length && run[i].length < o->smallest_arc_deg && most < 2; k++) {
            rg_bin *bin = &map->bin[at(run[i].start + k)];
            if (bin->state != RG_BIN_GAP)
                continue;
            bin->state = RG_BIN_UNSEEN;
            bin->width_mm = bin->u_mm = NAN;
        }
    }
}

#define BULGE_STEP_MM 0.01

enum { BULGE_LIT_FRAMES = 3, BULGE_BEARINGS = 6, BULGE_STRIDE = 3 };

/* Cost of all well-lit bearings with a given bulge; *bearings gets their number. */
static double bulge_cost(const rg_slot_geometry *geometry, double bulge,
                         const rg_observation *const obs[RG_BINS], const int count[RG_BINS],
                         const rg_rocking_options *rocking, int *bearings)
{
    rg_slot_geometry g = *geometry;
    double sum = 0;
    g.bulge_mm = bulge;
    *bearings = 0;
    for (int b = 0; b < RG_BINS; b++) {
        int lit = 0;
        for (int i = 0; i < count[b]; i++)
            lit += obs[b][i].lit;
        if (lit < BULGE_LIT_FRAMES || (*bearings)++ % BULGE_STRIDE)
            continue; /* every third one tells enough */
        rg_rocking_fit fit;
        rg_rocking_solve(&g, obs[b], count[b], rocking, &fit);
        sum += fit.cost;
    }
    return sum;
}

double rg_sealmap_bulge(const rg_slot_geometry *geometry, const rg_observation *const obs[RG_BINS],
                        const int count[RG_BINS], const rg_rocking_options *rocking)
{
    enum { STEPS = 15 };
    double cost[STEPS], least = INFINITY;
    int bearings = 0;
    for (int i = 0; i < STEPS; i++) {
        cost[i] = bulge_cost(geometry, BULGE_STEP_MM * i, obs, count, rocking, &bearings);
        least = fmin(least, cost[i]);
        if (bearings < BULGE_BEARINGS)
            return 0;
    }
    /* Beyond some bulge every view is limited by it alone, and a larger one with
     * a wider gap looks the same: the smallest that explains the curves counts. */
    int best = 0;
    while (cost[best] > least + 0.1 * (cost[0] - least))
        best++;
    return least < 0.8 * cost[0] ? BULGE_STEP_MM * best : 0;
}

enum { TILTS = 21, TILT_LIT_FRAMES = 2, TILT_STRIDE = 3 };

#define TILT_STEP 0.003

static double tilt_of(int i)
{
    return TILT_STEP * (i - TILTS / 2);
}

/* Costs of every tilt at one bearing; false when too little is lit there. */
static bool tilt_costs(const rg_slot_geometry *geometry, const rg_observation *obs, int count,
                       const rg_rocking_options *rocking, double cost[TILTS])
{
    int lit = 0;
    for (int i = 0; i < count; i++)
        lit += obs[i].lit;
    if (lit < TILT_LIT_FRAMES)
        return false;
    for (int i = 0; i < TILTS; i++) {
        rg_slot_geometry g = *geometry;
        rg_rocking_fit fit;
        g.tilt = tilt_of(i);
        rg_rocking_solve(&g, obs, count, rocking, &fit);
        cost[i] = fit.cost;
    }
    return true;
}

/* The least of the sampled costs, refined by the parabola through it and its
 * neighbours. */
static double least_tilt(const double cost[TILTS])
{
    int best = 0;
    for (int i = 1; i < TILTS; i++)
        if (cost[i] < cost[best])
            best = i;
    if (best == 0 || best == TILTS - 1)
        return tilt_of(best);
    double a = cost[best - 1], b = cost[best], c = cost[best + 1], bend = a - 2 * b + c;
    return tilt_of(best) + (bend > 0 ? 0.5 * TILT_STEP * (a - c) / bend : 0);
}

void rg_sealmap_tilts(const rg_slot_geometry *geometry, const rg_observation *const obs[RG_BINS],
                      const int count[RG_BINS], const rg_rocking_options *rocking,
                      const rg_sealmap_options *options, double tilt[RG_BINS])
{
    static const double none[TILTS];
    double cost[RG_BINS][TILTS];
    bool lit[RG_BINS];
    int reach = (int)lround(options->tilt_window_deg);
    for (int b = 0; b < RG_BINS; b++) {
        memcpy(cost[b], none, sizeof none);
        /* Neighbours are pooled below: every third one tells enough. */
        lit[b] = b % TILT_STRIDE == 0 && tilt_costs(geometry, obs[b], count[b], rocking, cost[b]);
    }
    for (int b = 0; b < RG_BINS; b++) {
        double sum[TILTS];
        memcpy(sum, none, sizeof none);
        int near = 0;
        for (int k = -reach; k <= reach; k++)
            near += lit[at(b + k)];
        for (int i = 0; i < TILTS; i++) {
            for (int k = -reach; k <= reach; k++)
                sum[i] += cost[at(b + k)][i];
            /* Neighbours share the model's errors: the prior counts for each. */
            sum[i] += near * pow(tilt_of(i) / options->tilt_prior, 2);
        }
        tilt[b] = near ? least_tilt(sum) : 0;
    }
}

/* A ray that shows light at one bearing has passed the land's inner edge at
 * another, nearer to the way it came from: all bearings between stand open by at
 * least its open height. */
typedef struct passage {
    double height_mm, u_mm;
    const rg_observation *obs;
} passage;

static void note_passages(const rg_slot_geometry *g, int b, const rg_observation *o,
                          passage widest[RG_BINS])
{
    double land, over;
    if (!o->lit || !(o->height_mm > 0) || !rg_slot_chords(g, o->obliquity_rad, &land, &over))
        return;
    double reach = rg_degrees(asin(fmin(land * sin(fabs(o->obliquity_rad)) / g->inner_mm, 1)));
    int step = o->obliquity_rad > 0 ? -1 : 1;
    for (int k = 1; k <= (int)reach; k++) {
        passage *p = &widest[at(b + step * k)];
        if (o->height_mm > p->height_mm)
            *p = (passage){o->height_mm, o->u_mm, o};
    }
}

/* Raises widths that lie clearly below what passed there. */
static void raise_to_passages(const rg_slot_geometry *g, const rg_observation *const obs[RG_BINS],
                              const int count[RG_BINS], const rg_rocking_options *rocking,
                              rg_rocking_fit fit[RG_BINS])
{
    passage widest[RG_BINS] = {{0}};
    for (int b = 0; b < RG_BINS; b++)
        for (int i = 0; i < count[b]; i++)
            note_passages(g, b, &obs[b][i], widest);
    for (int b = 0; b < RG_BINS; b++) {
        const passage *p = &widest[b];
        if (!p->obs || !fit[b].frames)
            continue;
        double radiance = fabs(p->obs->per_ln_radiance) * rocking->u_ln_radiance;
        double psf = fabs(p->obs->per_ln_sigma) * rocking->u_ln_sigma;
        double model = hypot(rocking->model_floor_mm, rocking->model_relative * p->height_mm);
        double own = sqrt(p->u_mm * p->u_mm + radiance * radiance + psf * psf + model * model);
        if (p->height_mm < fit[b].width_mm + 2 * hypot(own, fit[b].u_mm))
            continue;
        fit[b].width_mm = p->height_mm;
        fit[b].u_noise_mm = p->u_mm, fit[b].u_radiance_mm = radiance, fit[b].u_psf_mm = psf;
        fit[b].u_pose_mm = 0, fit[b].u_model_mm = fit[b].u_slot_mm = model;
        fit[b].u_scatter_mm = fit[b].u_bulge_mm = fit[b].u_through_mm = 0;
        fit[b].u_scale_mm = rocking->u_scale * p->height_mm;
        fit[b].u_mm = hypot(own, fit[b].u_scale_mm);
        fit[b].lit++;
        fit[b].used = 1;
    }
}

void rg_sealmap_merge(rg_seal_map *map, const rg_slot_geometry *geometry,
                      const rg_observation *const obs[RG_BINS], const int count[RG_BINS],
                      const rg_rocking_options *rocking, const rg_sealmap_options *options)
{
    rg_rocking_fit fit[RG_BINS], edges[RG_BINS];
    own_fit own[RG_BINS];
    double most[RG_BINS]; /* widest that a bearing may be */
    *map = (rg_seal_map){.rim_outer_diameter_mm = 2 * geometry->outer_mm,
                         .verdict = RG_VERDICT_UNDECIDED};
    double tilt[RG_BINS];
    rg_sealmap_tilts(geometry, obs, count, rocking, options, tilt);
    for (int b = 0; b < RG_BINS; b++) {
        rg_slot_geometry local = *geometry;
        local.tilt = tilt[b];
        rg_rocking_solve(&local, obs[b], count[b], rocking, &fit[b]);
        own[b] = (own_fit){fit[b].width_mm, tilt[b]};
    }
    raise_to_passages(geometry, obs, count, rocking, fit);
    for (int b = 0; b < RG_BINS; b++) {
        edges[b] = (rg_rocking_fit){0};
        rg_rocking_edges(geometry, obs[b], count[b], rocking, &edges[b]);
        if (contradicts(&fit[b], &edges[b], options))
            edges[b].used = 0;
    }
    find_limits(geometry, obs, count, rocking, options, own, edges, fit, most);
    share_limits(fit, options);
    for (int b = 0; b < RG_BINS; b++) {
        widen(options, &edges[b], most[b], &fit[b]);
        fill_bin(&map->bin[b], b, &fit[b], options);
        map->bin[b].tilt = tilt[b];
    }
    drop_lone_lights(map, options);
    find_blocked(map, options);
    rg_sealmap_arcs(map, options);
}

void rg_sealmap_unproven(rg_seal_map *map)
{
    for (int b = 0; b < RG_BINS; b++)
        if (map->bin[b].state == RG_BIN_SEALED) {
            map->bin[b].unproven = true;
            map->bin[b].state = RG_BIN_UNSEEN;
            map->bin[b].width_mm = map->bin[b].u_mm = NAN;
        }
}

void rg_sealmap_ambient(rg_seal_map *map, const bool ambient[RG_BINS])
{
    for (int b = 0; b < RG_BINS; b++)
        if (ambient[b]) {
            map->bin[b].ambient = true;
            map->bin[b].state = RG_BIN_UNSEEN;
            map->bin[b].width_mm = map->bin[b].u_mm = NAN;
        }
}

/* Fraction of a bin from the inner bin to where the width passes the floor. */
static double crossing(const rg_bin *inner, const rg_bin *outer, double floor_mm)
{
    if (outer->state == RG_BIN_UNSEEN || !(inner->width_mm > outer->width_mm))
        return 0.5;
    return fmin(fmax((inner->width_mm - floor_mm) / (inner->width_mm - outer->width_mm), 0), 1);
}

/* How fast the gap opens at an end, mm per degree: a straight line through the
 * outer bins. An end moves by u / slope. */
#define LEAST_RISE 1e-3

enum { END_BINS = 8 };

static double rise_at(const rg_seal_map *map, int end, int inwards, int length)
{
    double k[END_BINS], w[END_BINS], offset, slope, c00, c01, c11, square;
    int n = 0, most = length / 2 < END_BINS ? length / 2 : END_BINS;
    /* cppcheck-suppress knownConditionTrueFalse ; length is the caller's */
    for (int i = 0; i < (most > 3 ? most : 3) && i < length; i++) {
        const rg_bin *bin = &map->bin[at(end + inwards * i)];
        if (bin->state != RG_BIN_GAP)
            continue;
        k[n] = i;
        w[n++] = bin->width_mm;
    }
    if (n < 2)
        return LEAST_RISE;
    gsl_fit_linear(k, 1, w, 1, (size_t)n, &offset, &slope, &c00, &c01, &c11, &square);
    return fmax(slope, LEAST_RISE);
}

/* What lamp, blur, scale and slot model do to a width they do to both ends of an
 * arc alike: they move apart or together, not sideways. Some of the model's
 * error is each bearing's own; rendered sweeps agree with about half. The
 * correlated sums are those of JCGM 100, 5.2.2. */
#define ENDS_CORRELATE 0.5

typedef struct end_u {
    double own2, shared; /* variance of its own, and shared standard uncertainty, degrees */
} end_u;

static end_u end_of(const rg_bin *bin, double rise)
{
    double own2 = pow(bin->fit.u_noise_mm, 2) + pow(bin->fit.u_pose_mm, 2);
    double all2 = bin->u_mm * bin->u_mm;
    own2 = fmin(own2, all2);
    return (end_u){own2 / (rise * rise), sqrt(all2 - own2) / rise};
}

/* Between the gap and the end of what is blocked nobody saw where the arc ends: it may be anywhere there, so the
 * middle is stated, with the standard uncertainty of an even spread, half its range / sqrt(3)
 * (JCGM 100:2008, 4.3.7). outwards: 1 or -1. */
static double blocked_end(const rg_seal_map *map, int end, int outwards, end_u *u)
{
    int n = 0;
    while (n < RG_BINS && map->bin[at(end - outwards * n)].state != RG_BIN_GAP)
        n++;
    *u = (end_u){n * n / 12.0, 0};
    return end + outwards * (0.5 - n / 2.0);
}

/* Where an arc ends whose outermost bin is `end`, degrees. */
static double arc_end(const rg_seal_map *map, int end, int outwards, int length,
                      const rg_sealmap_options *o, end_u *u, bool *unseen)
{
    const rg_bin *in = &map->bin[at(end)], *out = &map->bin[at(end + outwards)];
    *unseen = in->state != RG_BIN_GAP || out->state == RG_BIN_UNSEEN;
    if (in->state != RG_BIN_GAP)
        return blocked_end(map, end, outwards, u);
    *u = end_of(in, rise_at(map, end, -outwards, length));
    return end + outwards * crossing(in, out, o->arc_floor_mm);
}

static void arc_ends(const rg_seal_map *map, rg_run run, const rg_sealmap_options *o, rg_arc *arc)
{
    end_u e0, e1;
    double start = arc_end(map, run.start, -1, run.length, o, &e0, &arc->start_unseen);
    double end = arc_end(map, run.start + run.length - 1, 1, run.length, o, &e1, &arc->end_unseen);
    arc->extent_deg = end - start;
    arc->start_deg = rg_wrap_degrees(start);
    arc->end_deg = rg_wrap_degrees(end);
    arc->centre_deg = rg_wrap_degrees((start + end) / 2);
    /* A bin's width spread evenly has the variance 1/12. */
    double sum = e0.own2 + e1.own2 + e0.shared * e0.shared + e1.shared * e1.shared + 2 / 12.0;
    double along = 2 * ENDS_CORRELATE * e0.shared * e1.shared;
    arc->u_end_deg = sqrt(sum / 2);
    arc->u_centre_deg = sqrt(sum - along) / 2;
    arc->u_extent_deg = sqrt(sum + along);
}

/* What is blocked all through shows no gap: it belongs to no arc, the bins say that it was not seen. */
static bool has_gap(const rg_seal_map *map, rg_run run)
{
    for (int i = 0; i < run.length; i++)
        if (map->bin[at(run.start + i)].state == RG_BIN_GAP)
            return true;
    return false;
}

static void arc_sums(const rg_seal_map *map, rg_run run, rg_arc *arc)
{
    double bin_mm = RG_PI * map->rim_outer_diameter_mm / RG_BINS;
    double sum = 0, shared = 0, noise = 0;
    int n = 0;
    for (int i = 0; i < run.length; i++) {
        const rg_bin *bin = &map->bin[at(run.start + i)];
        if (bin->state != RG_BIN_GAP)
            continue;
        double own = fmin(bin->fit.u_noise_mm, bin->u_mm);
        n++;
        sum += bin->width_mm;
        shared += sqrt(bin->u_mm * bin->u_mm - own * own);
        noise += own * own;
        if (bin->width_mm > arc->max_width_mm) {
            arc->max_width_mm = bin->width_mm;
            arc->u_max_mm = bin->u_mm;
            arc->max_bearing_deg = bin->bearing_deg;
        }
    }
    arc->mean_width_mm = n ? sum / n : 0;
    arc->u_mean_mm = n ? hypot(shared, sqrt(noise)) / n : 0;
    arc->open_area_mm2 = sum * bin_mm;
    arc->u_area_mm2 = hypot(shared, sqrt(noise)) * bin_mm;
    arc->extent_mm = arc->extent_deg * bin_mm;
    arc->u_extent_mm = arc->u_extent_deg * bin_mm;
}

void rg_sealmap_arcs(rg_seal_map *map, const rg_sealmap_options *options)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS / 2 + 1];
    map->arcs = 0;
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = map->bin[b].state == RG_BIN_GAP || map->bin[b].blocked;
    /* One noisy bin does not cut an arc in two. */
    rg_circular_bridge(mask, RG_BINS, (int)options->bridge_deg);
    int n = rg_circular_runs(mask, RG_BINS, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n && map->arcs < RG_ARCS_MAX; i++) {
        rg_arc arc = {.full_circle = run[i].length == RG_BINS};
        if (!has_gap(map, run[i]))
            continue;
        if (arc.full_circle) {
            arc.extent_deg = 360;
            arc.end_deg = arc.start_deg = 0;
        } else {
            arc_ends(map, run[i], options, &arc);
        }
        arc_sums(map, run[i], &arc);
        if (arc.full_circle)
            arc.centre_deg = arc.max_bearing_deg;
        if (arc.extent_deg >= options->smallest_arc_deg)
            map->arc[map->arcs++] = arc;
    }
}

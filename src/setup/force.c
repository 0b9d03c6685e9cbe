/*
 * force.c - sweeps of one pad under several fingers. The line with errors of both is in forceline.c.
 */
#include "rimglow/force.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/light.h"
#include "rimglow/pad_verdict.h"
#include "rimglow/vec.h"

const char *rg_force_state_name(rg_force_state state)
{
    static const char *const name[] = {"not measured",    "contradicted",  "interpolated",
                                       "bracket",         "more than",     "at most",
                                       "light is enough", "light to firm", "more than firm"};
    return name[state];
}

/* ----------------------------------------------------------------- verdict */

/* Lighter than anybody plays: it may leak without blame; what seals even so seals for a player. */
static bool is_feather(const rg_seating *s, double light_least_g)
{
    return s->press == RG_PRESS_GRAMS && s->grams < light_least_g;
}

static bool is_firm(const rg_seating *s, double light_most_g)
{
    return s->press == RG_PRESS_FIRM || (s->press == RG_PRESS_GRAMS && s->grams > light_most_g);
}

rg_verdict rg_force_verdict(const rg_seating *seating, int count, double light_least_g,
                            double light_most_g, char reason[RG_REASON_SIZE])
{
    rg_pad_sweep played[RG_FORCE_SWEEPS_MAX] = {{RG_VERDICT_SEALED, false}};
    int n = 0, firm_seals = 0, light_leaks = 0;
    bool only_firm;
    for (int i = 0; i < count && n < RG_FORCE_SWEEPS_MAX; i++) {
        const rg_seating *s = &seating[i];
        bool firm = is_firm(s, light_most_g), seals = s->verdict == RG_VERDICT_SEALED;
        if (!seals && is_feather(s, light_least_g))
            continue;
        played[n++] = (rg_pad_sweep){s->verdict, firm};
        firm_seals += seals && firm;
        light_leaks += s->verdict == RG_VERDICT_LEAKING && !firm;
    }
    rg_verdict verdict = rg_pad_verdict(played, n, &only_firm);
    reason[0] = '\0';
    if (light_leaks > 0 && firm_seals > 0)
        snprintf(reason, RG_REASON_SIZE, "leaks under a playing finger; only more force closes it");
    else if (only_firm)
        snprintf(reason, RG_REASON_SIZE, "%s", rg_pad_only_firm);
    else if (n == 0)
        snprintf(reason, RG_REASON_SIZE, "no sweep under a playing finger");
    return verdict;
}

/* ---------------------------------------------- gaps that only force closes */

/* For the order of fingers: grams as they are, the others at the end of their range. */
static double rank_of(const rg_seating *s, const rg_force_options *o)
{
    if (s->press == RG_PRESS_GRAMS)
        return s->grams;
    return s->press == RG_PRESS_FIRM ? INFINITY : o->light_most_g;
}

static bool is_open(const rg_bin *bin, const rg_sealmap_options *t)
{
    return bin->state == RG_BIN_GAP &&
           bin->width_mm - t->coverage_factor * bin->u_mm > t->tolerance_mm;
}

static bool is_closed(const rg_bin *bin, const rg_sealmap_options *t)
{
    return bin->state != RG_BIN_UNSEEN && !bin->blocked &&
           bin->detection_limit_mm <= t->seen_fraction * t->tolerance_mm &&
           bin->width_mm + t->coverage_factor * bin->u_mm <= t->tolerance_mm;
}

/* Of one bearing: the firmest sweep that leaves it open, the lightest firmer one that closes it; -1. */
typedef struct pair {
    int open, closed;
} pair;

static pair pair_of(const rg_force_sweep *sweep, int sweeps, int b, const rg_sealmap_options *t,
                    const rg_force_options *o)
{
    pair p = {-1, -1};
    for (int i = 0; i < sweeps; i++)
        if (is_open(&sweep[i].map->bin[b], t) &&
            (p.open < 0 || rank_of(&sweep[i].seating, o) > rank_of(&sweep[p.open].seating, o)))
            p.open = i;
    for (int i = 0; p.open >= 0 && i < sweeps; i++) {
        double rank = rank_of(&sweep[i].seating, o);
        if (is_closed(&sweep[i].map->bin[b], t) && rank > rank_of(&sweep[p.open].seating, o) &&
            (p.closed < 0 || rank < rank_of(&sweep[p.closed].seating, o)))
            p.closed = i;
    }
    return p;
}

static rg_force_gap make_gap(const rg_force_sweep *sweep, const pair *p, rg_run run,
                             const rg_force_options *o)
{
    bool full = run.length == RG_BINS;
    rg_force_gap g = {.start_deg = full ? 0 : rg_wrap_degrees(run.start - 0.5),
                      .end_deg = full ? 360 : rg_wrap_degrees(run.start + run.length - 0.5),
                      .extent_deg = run.length,
                      .most_mm = -1};
    for (int i = 0; i < run.length; i++) {
        int b = (run.start + i) % RG_BINS;
        if (p[b].closed < 0)
            continue; /* bridged */
        const rg_bin *bin = &sweep[p[b].open].map->bin[b];
        g.leak |= !is_feather(&sweep[p[b].open].seating, o->light_least_g);
        if (bin->width_mm <= g.most_mm)
            continue;
        g.most_mm = bin->width_mm;
        g.u_most_mm = bin->u_mm;
        g.most_bearing_deg = b;
        g.open = p[b].open;
        g.closed = p[b].closed;
    }
    return g;
}

static int longest_first(const void *a, const void *b)
{
    double x = ((const rg_force_gap *)a)->extent_deg, y = ((const rg_force_gap *)b)->extent_deg;
    return x > y ? -1 : x < y;
}

static void find_gaps(const rg_force_sweep *sweep, int sweeps, const rg_sealmap_options *t,
                      const rg_force_options *o, rg_force *r)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS / 2 + 1];
    pair p[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        p[b] = pair_of(sweep, sweeps, b, t, o);
        mask[b] = p[b].closed >= 0;
    }
    rg_circular_bridge(mask, RG_BINS, (int)o->bridge_deg);
    int n = rg_circular_runs(mask, RG_BINS, run, RG_BINS / 2 + 1);
    for (int i = 0; i < n && r->gaps < RG_FORCE_GAPS_MAX; i++)
        if (run[i].length >= t->min_arc_deg)
            r->gap[r->gaps++] = make_gap(sweep, p, run[i], o);
    qsort(r->gap, (size_t)r->gaps, sizeof *r->gap, longest_first);
}

/* ------------------------------------------------------------ force needed */

typedef struct points {
    int n;
    double f[RG_FORCE_SWEEPS_MAX], w[RG_FORCE_SWEEPS_MAX], u_f[RG_FORCE_SWEEPS_MAX],
        u_w[RG_FORCE_SWEEPS_MAX];
} points;

static void add_point(points *p, double f, double w, double u_f, double u_w)
{
    p->f[p->n] = f;
    p->w[p->n] = w;
    p->u_f[p->n] = u_f;
    p->u_w[p->n++] = u_w;
}

/* Sweeps in grams with a measured gap: a dark pad's is only bounded. */
static points widest_points(const rg_force_sweep *sweep, int sweeps, const rg_force_options *o)
{
    points p = {0};
    for (int i = 0; i < sweeps; i++) {
        const rg_seating *s = &sweep[i].seating;
        if (s->press == RG_PRESS_GRAMS && s->widest_mm > 0 && s->u_widest_mm > 0)
            add_point(&p, s->grams, s->widest_mm, o->gauge_u_g, s->u_widest_mm);
    }
    return p;
}

static void find_bracket(const rg_force_sweep *sweep, int sweeps, rg_force *r)
{
    double least_seal = INFINITY;
    r->leaks_g = r->seals_g = NAN;
    for (int i = 0; i < sweeps; i++) {
        const rg_seating *s = &sweep[i].seating;
        if (s->press != RG_PRESS_GRAMS)
            continue;
        if (s->verdict == RG_VERDICT_LEAKING)
            r->leaks_g = fmax(r->leaks_g, s->grams); /* fmax passes NAN by */
        if (s->verdict == RG_VERDICT_SEALED)
            least_seal = fmin(least_seal, s->grams);
    }
    if (isfinite(least_seal))
        r->seals_g = least_seal;
}

/* The two neighbours of the tolerance, and a line through them. */
static bool neighbour_line(const points *p, double tolerance, rg_force_line *line)
{
    int low = -1, high = -1; /* last force above tolerance, first behind it below */
    for (int i = 0; i < p->n; i++)
        if (p->w[i] > tolerance && (low < 0 || p->f[i] > p->f[low]))
            low = i;
    for (int i = 0; low >= 0 && i < p->n; i++)
        if (p->w[i] <= tolerance && p->f[i] > p->f[low] && (high < 0 || p->f[i] < p->f[high]))
            high = i;
    if (low < 0 || high < 0)
        return false;
    points two = {0};
    add_point(&two, p->f[low], p->w[low], p->u_f[low], p->u_w[low]);
    add_point(&two, p->f[high], p->w[high], p->u_f[high], p->u_w[high]);
    return rg_force_line_fit(two.f, two.w, two.u_f, two.u_w, 2, line, NULL) == RG_OK;
}

/* The line's crossing where it lies in the bracket as far as U can tell. */
static bool take_crossing(const rg_force_line *line, double tolerance, double k, rg_force *r)
{
    double u, low, high, f = rg_force_line_inverse(line, tolerance, k, &u, &low, &high);
    if (!(line->b + k * line->u_b < 0) || !(high >= r->leaks_g && low <= r->seals_g))
        return false;
    r->force_g = fmin(fmax(f, r->leaks_g), r->seals_g);
    r->u_g = u;
    r->low_g = fmax(low, r->leaks_g);
    r->high_g = fmin(high, r->seals_g);
    r->state = RG_FORCE_INTERPOLATED;
    return true;
}

static void take_bracket(rg_force *r)
{
    r->state = RG_FORCE_BRACKET;
    r->force_g = (r->leaks_g + r->seals_g) / 2;
    r->u_g = (r->seals_g - r->leaks_g) / sqrt(12);
    r->low_g = r->leaks_g;
    r->high_g = r->seals_g;
}

static void interpolate(const rg_force_sweep *sweep, int sweeps, double tolerance,
                        const rg_force_options *o, rg_force *r)
{
    points p = widest_points(sweep, sweeps, o);
    rg_force_line two;
    bool fitted =
        p.n >= 2 && rg_force_line_fit(p.f, p.w, p.u_f, p.u_w, p.n, &r->line, NULL) == RG_OK;
    if (!fitted)
        r->line = (rg_force_line){0};
    r->line_holds = fitted && (isnan(r->line.p) || r->line.p >= o->line_p);
    if (r->state != RG_FORCE_BRACKET)
        return;
    take_bracket(r);
    if (r->line_holds)
        take_crossing(&r->line, tolerance, o->coverage_factor, r);
    else if (neighbour_line(&p, tolerance, &two))
        take_crossing(&two, tolerance, o->coverage_factor, r);
}

static int count_of(const rg_force_sweep *sweep, int sweeps, bool firm, rg_verdict verdict)
{
    int n = 0;
    for (int i = 0; i < sweeps; i++) {
        rg_press press = sweep[i].seating.press;
        n += sweep[i].seating.verdict == verdict && press != RG_PRESS_GRAMS &&
             (press == RG_PRESS_FIRM) == firm;
    }
    return n;
}

/* Without grams. An unstated finger counts as a light one. */
static rg_force_state state_by_words(const rg_force_sweep *sweep, int sweeps)
{
    int light_leaks = count_of(sweep, sweeps, false, RG_VERDICT_LEAKING);
    int light_seals = count_of(sweep, sweeps, false, RG_VERDICT_SEALED);
    int firm_leaks = count_of(sweep, sweeps, true, RG_VERDICT_LEAKING);
    int firm_seals = count_of(sweep, sweeps, true, RG_VERDICT_SEALED);
    if ((light_seals && (light_leaks || firm_leaks)) || (firm_leaks && firm_seals))
        return RG_FORCE_CONTRADICTED;
    if (firm_leaks)
        return RG_FORCE_MORE_THAN_FIRM;
    if (light_seals)
        return RG_FORCE_LIGHT_IS_ENOUGH;
    return light_leaks && firm_seals ? RG_FORCE_LIGHT_TO_FIRM : RG_FORCE_NOT_MEASURED;
}

static void find_force(const rg_force_sweep *sweep, int sweeps, double tolerance,
                       const rg_force_options *o, rg_force *r)
{
    find_bracket(sweep, sweeps, r);
    r->force_g = r->u_g = r->low_g = r->high_g = NAN;
    bool leaks = isfinite(r->leaks_g), seals = isfinite(r->seals_g);
    if (leaks && seals)
        r->state = r->leaks_g < r->seals_g ? RG_FORCE_BRACKET : RG_FORCE_CONTRADICTED;
    else if (leaks || seals)
        r->state = leaks ? RG_FORCE_MORE_THAN : RG_FORCE_AT_MOST;
    else
        r->state = state_by_words(sweep, sweeps);
    interpolate(sweep, sweeps, tolerance, o, r);
    if (r->state == RG_FORCE_MORE_THAN)
        r->low_g = r->leaks_g;
    if (r->state == RG_FORCE_AT_MOST)
        r->high_g = r->seals_g;
}

/* --------------------------------------------------------------- yielding */

static void find_softness(const rg_force_sweep *sweep, int sweeps, const rg_force_options *o,
                          rg_force *r)
{
    const rg_seating *open[RG_FORCE_SWEEPS_MAX];
    points p = {0};
    rg_force_line line;
    r->sinks_mm_per_100g = r->U_sinks_mm_per_100g = NAN;
    for (int i = 0; i < sweeps; i++) {
        const rg_seating *s = &sweep[i].seating;
        if (s->press != RG_PRESS_GRAMS || s->state != RG_SEATING_OPEN || !(s->covariance[0][0] > 0))
            continue;
        open[p.n] = s;
        add_point(&p, s->grams, s->mean_mm, o->gauge_u_g, sqrt(s->covariance[0][0]));
    }
    r->tilts = rg_seating_tilts(open, p.n);
    if (p.n < 2 || rg_force_line_fit(p.f, p.w, p.u_f, p.u_w, p.n, &line, NULL) != RG_OK)
        return;
    r->sinks_mm_per_100g = -100 * line.b;
    r->U_sinks_mm_per_100g = 100 * o->coverage_factor * line.u_b;
    r->soft = r->sinks_mm_per_100g - r->U_sinks_mm_per_100g > o->soft_mm_per_100g &&
              r->tilts.p >= o->significance;
}

/* --------------------------------------------------------------- sentences */

static void say_gap(const rg_force_sweep *sweep, const rg_force_gap *g, double k, rg_advice *a)
{
    char open[RG_PRESS_TEXT], closed[RG_PRESS_TEXT];
    const rg_seating *light = &sweep[g->open].seating, *firm = &sweep[g->closed].seating;
    rg_press_text(light->press, light->grams, open);
    rg_press_text(firm->press, firm->grams, closed);
    rg_advise(a,
              "Only force closes the gap at %.0f to %.0f degrees: %.3f +- %.3f mm at %.0f under "
              "%s, closed under %s. %s",
              g->start_deg, g->end_deg, g->most_mm, k * g->u_most_mm, g->most_bearing_deg, open,
              closed,
              g->leak ? "To a player it leaks." : "A playing finger presses more than that.");
}

static void say_force(const rg_force *r, double k, double tolerance, rg_advice *a)
{
    switch (r->state) {
    case RG_FORCE_INTERPOLATED:
        rg_advise(a, "It seals (%.3f mm) from %.0f +- %.0f g; %.0f g leaks, %.0f g seals.",
                  tolerance, r->force_g, k * r->u_g, r->leaks_g, r->seals_g);
        break;
    case RG_FORCE_BRACKET:
        rg_advise(a, "It needs between %.4g and %.4g g to seal.", r->leaks_g, r->seals_g);
        break;
    case RG_FORCE_MORE_THAN:
        rg_advise(a, "It needs more than %.4g g to seal.", r->leaks_g);
        break;
    case RG_FORCE_AT_MOST:
        rg_advise(a, "%.4g g are enough to seal it.", r->seals_g);
        break;
    case RG_FORCE_LIGHT_IS_ENOUGH:
        rg_advise(a, "A light finger is enough to seal it.");
        break;
    case RG_FORCE_LIGHT_TO_FIRM:
        rg_advise(a, "The force that it needs lies between a light and a firm finger; with a gauge "
                     "it can be told in grams.");
        break;
    case RG_FORCE_MORE_THAN_FIRM:
        rg_advise(a, "Even a firm finger does not seal it.");
        break;
    case RG_FORCE_CONTRADICTED:
        rg_advise(a,
                  "It leaks under as much force as seals it at another time: the closing does not "
                  "repeat; close it several times (repeatability).");
        break;
    case RG_FORCE_NOT_MEASURED:
        rg_advise(a, "Force needed: not measured.");
        break;
    }
}

static void say_all(const rg_force_sweep *sweep, const rg_sealmap_options *t,
                    const rg_force_options *o, rg_force *r)
{
    rg_advice *a = &r->advice;
    if (r->reason[0])
        rg_advise(a, "Verdict over all fingers: %s (%s).", rg_verdict_name(r->verdict), r->reason);
    else
        rg_advise(a, "Verdict over all fingers: %s.", rg_verdict_name(r->verdict));
    for (int i = 0; i < r->gaps; i++)
        say_gap(sweep, &r->gap[i], t->coverage_factor, a);
    say_force(r, o->coverage_factor, t->tolerance_mm, a);
    if (isfinite(r->sinks_mm_per_100g))
        rg_advise(a, "Under force the pad's plane sinks %.3f +- %.3f mm for 100 g.",
                  r->sinks_mm_per_100g, r->U_sinks_mm_per_100g);
    if (r->soft)
        rg_advise(a, "The pad is soft: it sinks while its tilt stays.");
}

/* ------------------------------------------------------------------- entry */

static rg_code check(const rg_force_sweep *sweep, int sweeps, const rg_force_options *o,
                     rg_error *err)
{
    if (sweeps < 1 || sweeps > RG_FORCE_SWEEPS_MAX)
        return rg_fail(err, RG_BAD_DATA, "force: %d sweeps; give 1 to %d of one pad", sweeps,
                       RG_FORCE_SWEEPS_MAX);
    if (!(o->coverage_factor > 0 && o->coverage_factor <= 6) || !(o->light_least_g >= 0) ||
        !(o->light_most_g > o->light_least_g) || !(o->gauge_u_g >= 0) || !(o->bridge_deg >= 0))
        return rg_fail(err, RG_BAD_DATA,
                       "force: coverage factor %g, light finger %g to %g g, gauge's u %g g, bridge "
                       "%g degrees; give a factor above 0 and up to 6, a range, and no negative "
                       "numbers",
                       o->coverage_factor, o->light_least_g, o->light_most_g, o->gauge_u_g,
                       o->bridge_deg);
    for (int i = 0; i < sweeps; i++)
        if (sweep[i].seating.press == RG_PRESS_GRAMS &&
            !(sweep[i].seating.grams > 0 && isfinite(sweep[i].seating.grams)))
            return rg_fail(err, RG_BAD_DATA,
                           "force: sweep %d has a finger of %g g; state its force", i + 1,
                           sweep[i].seating.grams);
    return RG_OK;
}

rg_code rg_force_find(const rg_force_sweep *sweep, int sweeps, const rg_sealmap_options *tolerance,
                      const rg_force_options *options, rg_force *force, rg_error *err)
{
    rg_seating seating[RG_FORCE_SWEEPS_MAX];
    *force = (rg_force){.verdict = RG_VERDICT_UNDECIDED};
    rg_code code = check(sweep, sweeps, options, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < sweeps; i++)
        seating[i] = sweep[i].seating;
    force->verdict = rg_force_verdict(seating, sweeps, options->light_least_g,
                                      options->light_most_g, force->reason);
    find_gaps(sweep, sweeps, tolerance, options, force);
    find_force(sweep, sweeps, tolerance->tolerance_mm, options, force);
    find_softness(sweep, sweeps, options, force);
    say_all(sweep, tolerance, options, force);
    return RG_OK;
}

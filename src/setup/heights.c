/*
 * heights.c - openings against their bands and against each other.
 */
#include "rimglow/heights.h"

#include <math.h>
#include <string.h>

/* ------------------------------------------------------------ checks */

static rg_code check_key(const rg_height_key *k, int i, rg_error *err)
{
    const char *name = k->name ? k->name : "";
    if (k->measured && !(fabs(k->opening_mm) <= 100))
        return rg_fail(err, RG_BAD_DATA, "heights: key %d (%s): opening %g mm is not within 100",
                       i + 1, name, k->opening_mm);
    if (k->measured && !(k->u_mm > 0 && k->u_mm <= 10))
        return rg_fail(err, RG_BAD_DATA,
                       "heights: key %d (%s): standard uncertainty %g mm is not within 0 to 10, 0 "
                       "excluded; nothing is measured exactly",
                       i + 1, name, k->u_mm);
    if (!(k->target_mm > 0 && k->target_mm <= 100))
        return rg_fail(err, RG_BAD_DATA,
                       "heights: key %d (%s): target %g mm is not within 0 to 100", i + 1, name,
                       k->target_mm);
    if (!isnan(k->tolerance_mm) && !(k->tolerance_mm > 0 && k->tolerance_mm <= 50))
        return rg_fail(err, RG_BAD_DATA,
                       "heights: key %d (%s): tolerance %g mm is not within 0 to 50", i + 1, name,
                       k->tolerance_mm);
    return RG_OK;
}

static rg_code check(const rg_height_key *key, int count, const rg_heights_options *o,
                     rg_error *err)
{
    if (count < 1 || count > RG_HEIGHTS_MAX)
        return rg_fail(err, RG_BAD_DATA, "heights: %d keys; 1 to %d can be judged", count,
                       (int)RG_HEIGHTS_MAX);
    if (!(o->coverage_factor >= 1 && o->coverage_factor <= 4))
        return rg_fail(err, RG_BAD_DATA, "heights: coverage factor %g is not within 1 to 4",
                       o->coverage_factor);
    if (!(fabs(o->least_growth_mm) <= 5))
        return rg_fail(err, RG_BAD_DATA, "heights: least growth %g mm is not within -5 to 5",
                       o->least_growth_mm);
    for (int i = 0; i < count; i++)
        if (check_key(&key[i], i, err) != RG_OK)
            return RG_BAD_DATA;
    return RG_OK;
}

/* ------------------------------------------------------------ rules */

static rg_height_state band_state(const rg_height_key *k, double expanded)
{
    double off = k->opening_mm - k->target_mm;
    if (!k->measured)
        return RG_HEIGHT_UNMEASURED;
    if (isnan(k->tolerance_mm))
        return RG_HEIGHT_NO_BAND;
    if (off + expanded < -k->tolerance_mm)
        return RG_HEIGHT_LOW;
    if (off - expanded > k->tolerance_mm)
        return RG_HEIGHT_HIGH;
    return fabs(off) + expanded <= k->tolerance_mm ? RG_HEIGHT_WITHIN : RG_HEIGHT_UNSURE;
}

static rg_height_finding find_alone(const rg_height_key *k, double factor)
{
    rg_height_finding f = {.deviation_mm = NAN,
                           .expanded_mm = NAN,
                           .above = -1,
                           .growth_mm = NAN,
                           .growth_expanded_mm = NAN,
                           .after_mm = NAN};
    if (k->measured) {
        f.deviation_mm = k->opening_mm - k->target_mm;
        f.expanded_mm = factor * k->u_mm;
        f.after_mm = k->opening_mm;
    }
    f.state = band_state(k, f.expanded_mm);
    return f;
}

static void find_order(const rg_height_key *key, int i, int above, const rg_heights_options *o,
                       rg_height_finding *f)
{
    const rg_height_key *a = &key[above], *b = &key[i];
    f->above = above;
    f->growth_mm = b->opening_mm - a->opening_mm;
    f->growth_expanded_mm = o->coverage_factor * hypot(a->u_mm, b->u_mm);
    double spare = f->growth_mm - o->least_growth_mm;
    f->order = spare >= f->growth_expanded_mm   ? RG_ORDER_KEPT
               : spare < -f->growth_expanded_mm ? RG_ORDER_BROKEN
                                                : RG_ORDER_UNSURE;
}

/* ------------------------------------------------------------ changes */

/* The measured keys, and where each may go. least: over the key above in the list. */
typedef struct problem {
    int n, key[RG_HEIGHTS_MAX];
    double now[RG_HEIGHTS_MAX], low[RG_HEIGHTS_MAX], high[RG_HEIGHTS_MAX];
    double shift[RG_HEIGHTS_MAX]; /* sum of the growths down to here */
} problem;

/* Where the guard band would accept this key; the present place too when nothing is shown wrong. */
static void find_room(const rg_height_key *k, const rg_height_finding *f, double *low, double *high)
{
    double room = fmax(k->tolerance_mm - f->expanded_mm, 0);
    *low = -INFINITY;
    *high = INFINITY;
    if (f->state == RG_HEIGHT_NO_BAND)
        return;
    *low = k->target_mm - room;
    *high = k->target_mm + room;
    if (f->state == RG_HEIGHT_WITHIN || f->state == RG_HEIGHT_UNSURE) {
        *low = fmin(*low, k->opening_mm);
        *high = fmax(*high, k->opening_mm);
    }
}

/* Keys that rest open, measured, from the top down. A pair that is not shown broken may keep the
 * growth that it has. */
static problem problem_of(const rg_height_key *key, const rg_heights *h,
                          const rg_heights_options *o)
{
    problem p = {.n = 0};
    double shift = 0;
    for (int i = 0; i < h->keys; i++) {
        const rg_height_finding *f = &h->finding[i];
        if (!key[i].measured || !key[i].rests_open)
            continue;
        if (f->order != RG_ORDER_NONE)
            shift += f->order == RG_ORDER_BROKEN ? o->least_growth_mm
                                                 : fmin(o->least_growth_mm, f->growth_mm);
        find_room(&key[i], f, &p.low[p.n], &p.high[p.n]);
        p.now[p.n] = key[i].opening_mm - shift;
        p.low[p.n] -= shift;
        p.high[p.n] -= shift;
        p.shift[p.n] = shift;
        p.key[p.n++] = i;
    }
    return p;
}

enum { PLACES = 3 * RG_HEIGHTS_MAX };

static int places_of(const problem *p, double place[PLACES])
{
    int n = 0;
    for (int i = 0; i < p->n; i++) {
        double v[3] = {p->now[i], p->low[i], p->high[i]};
        for (int k = 0; k < 3; k++) {
            int at = n;
            if (!isfinite(v[k]))
                continue;
            for (; at > 0 && place[at - 1] > v[k]; at--)
                place[at] = place[at - 1];
            place[at] = v[k];
            n++;
        }
    }
    return n;
}

/* Sum of lengths first; squares decide between equal sums. */
static double cost_of(const problem *p, int i, double place)
{
    static const double squares = 1e-6, slack = 1e-9;
    double d = place - p->now[i];
    if (place < p->low[i] - slack || place > p->high[i] + slack)
        return INFINITY;
    return fabs(d) + squares * d * d;
}

/* Dynamic programming over the places in ascending order; false when nothing keeps all. */
static bool solve(const problem *p, double answer[RG_HEIGHTS_MAX])
{
    double place[PLACES], cost[PLACES] = {0};
    short from[RG_HEIGHTS_MAX][PLACES];
    int n = places_of(p, place), end = -1;
    for (int i = 0; i < p->n; i++) {
        double least = INFINITY;
        short best = -1;
        for (int k = 0; k < n; k++) {
            if (cost[k] < least) {
                least = cost[k];
                best = (short)k;
            }
            from[i][k] = best;
            cost[k] = least + cost_of(p, i, place[k]);
        }
    }
    for (int k = 0; k < n; k++)
        if (isfinite(cost[k]) && (end < 0 || cost[k] < cost[end]))
            end = k;
    if (p->n > 0 && end < 0)
        return false;
    for (int i = p->n - 1; i >= 0; i--) {
        answer[i] = place[end];
        end = from[i][end];
    }
    return true;
}

static void set_change(const rg_height_key *key, int i, double after, rg_heights *h)
{
    rg_height_finding *f = &h->finding[i];
    f->change_mm = after - key[i].opening_mm;
    if (fabs(f->change_mm) < 1e-9)
        f->change_mm = 0;
    f->after_mm = key[i].opening_mm + f->change_mm;
    h->change_sum_mm += fabs(f->change_mm);
}

static void suggest(const rg_height_key *key, const rg_heights_options *o, rg_heights *h)
{
    problem p = problem_of(key, h, o);
    double answer[RG_HEIGHTS_MAX];
    h->conflict = !solve(&p, answer);
    for (int k = 0; k < p.n && !h->conflict; k++)
        set_change(key, p.key[k], answer[k] + p.shift[k], h);
    for (int i = 0; i < h->keys; i++) {
        double low, high;
        if (!key[i].measured || (key[i].rests_open && !h->conflict))
            continue;
        find_room(&key[i], &h->finding[i], &low, &high);
        set_change(key, i, fmin(fmax(key[i].opening_mm, low), high), h);
    }
}

/* ------------------------------------------------------------ whole */

static void count(const rg_height_finding *f, rg_heights *h)
{
    h->low += f->state == RG_HEIGHT_LOW;
    h->high += f->state == RG_HEIGHT_HIGH;
    h->unmeasured += f->state == RG_HEIGHT_UNMEASURED;
    h->unsure += f->state == RG_HEIGHT_UNSURE;
    h->unsure += f->order == RG_ORDER_UNSURE;
    h->broken += f->order == RG_ORDER_BROKEN;
}

rg_code rg_heights_judge(const rg_height_key *key, int keys, const rg_heights_options *options,
                         rg_heights *heights, rg_error *err)
{
    int above = -1;
    *heights = (rg_heights){.keys = 0};
    rg_code code = check(key, keys, options, err);
    if (code != RG_OK)
        return code;
    heights->keys = keys;
    for (int i = 0; i < keys; i++) {
        rg_height_finding *f = &heights->finding[i];
        *f = find_alone(&key[i], options->coverage_factor);
        bool ordered = key[i].measured && key[i].rests_open;
        if (ordered && above >= 0)
            find_order(key, i, above, options, f);
        if (ordered)
            above = i;
        count(f, heights);
    }
    suggest(key, options, heights);
    heights->verdict = heights->low + heights->high + heights->broken > 0 ? RG_HEIGHTS_BROKEN
                       : heights->unsure + heights->unmeasured > 0        ? RG_HEIGHTS_UNDECIDED
                                                                          : RG_HEIGHTS_KEPT;
    return RG_OK;
}

const char *rg_height_state_name(rg_height_state state)
{
    static const char *const name[] = {[RG_HEIGHT_UNMEASURED] = "not measured",
                                       [RG_HEIGHT_NO_BAND] = "no band",
                                       [RG_HEIGHT_WITHIN] = "within",
                                       [RG_HEIGHT_LOW] = "low",
                                       [RG_HEIGHT_HIGH] = "high",
                                       [RG_HEIGHT_UNSURE] = "unsure"};
    return name[state];
}

const char *rg_order_state_name(rg_order_state state)
{
    static const char *const name[] = {[RG_ORDER_NONE] = "",
                                       [RG_ORDER_KEPT] = "kept",
                                       [RG_ORDER_BROKEN] = "broken",
                                       [RG_ORDER_UNSURE] = "unsure"};
    return name[state];
}

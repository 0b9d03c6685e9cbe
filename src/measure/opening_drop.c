/*
 * opening_drop.c - strokes and frames that do not agree with the others, left out one after the other (part of opening.h).
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "opening_private.h"

enum { ROUNDS = 3 };

static const double REACH_PX[ROUNDS] = {14, 7, 4};
static const double BENT_PX = 0.7;    /* scatter from which a stroke may be wrong */
static const double BEND_SHARE = 0.7; /* of it that remains without that stroke */
static const double CHI_7 = 24.32;    /* 99.9 % point of chi-squared, 7 degrees of freedom */

/* ------------------------------------------------------------ strokes */

/* What settling changes. */
typedef struct state {
    double v[RIM], moved[RG_OPENING_FRAMES][CAMERA];
} state;

static state state_of(const fit *f)
{
    state s;
    memcpy(s.v, f->v, sizeof s.v);
    for (int i = 0; i < f->looks; i++)
        memcpy(s.moved[i], f->look[i].moved, sizeof s.moved[i]);
    return s;
}

static void restore(fit *f, const state *s)
{
    memcpy(f->v, s->v, sizeof f->v);
    for (int i = 0; i < f->looks; i++)
        memcpy(f->look[i].moved, s->moved[i], sizeof s->moved[i]);
}

/* A whole stroke may follow a streak or a post; half of the others then bend to it and no
 * point stands out. So each is left out in turn. *better: that without it the
 * others agree far better. */
static bool try_without(fit *f, const state *now, double *best, bool **worst)
{
    double sigma = f->sigma_px;
    *best = sigma;
    for (int i = 0; i < f->looks; i++)
        for (int s = 0; s < RG_TRACE_STROKES; s++) {
            look *l = &f->look[i];
            if (!l->in || l->off[s] || l->found[s] == 0)
                continue;
            l->off[s] = true;
            if (rg_opening_settle(f) && f->sigma_px < *best) {
                *best = f->sigma_px;
                *worst = &l->off[s];
            }
            l->off[s] = false;
            restore(f, now);
        }
    return *best < BEND_SHARE * sigma;
}

static bool drop_strokes(fit *f)
{
    while (f->sigma_px > BENT_PX) {
        state now = state_of(f);
        double best;
        bool *worst = NULL;
        bool better = try_without(f, &now, &best, &worst);
        if (better)
            *worst = true;
        if (!rg_opening_settle(f))
            return false;
        if (!better)
            break;
    }
    return true;
}

static bool refine(fit *f, int first_round)
{
    for (int round = first_round; round < ROUNDS; round++) {
        rg_opening_trace(f, REACH_PX[round]);
        if (!rg_opening_settle(f) || !drop_strokes(f))
            return false;
    }
    return true;
}

/* ------------------------------------------------------------ frames */

static double chi_of(const look *l)
{
    double sum = 0;
    for (int i = 0; i < CAMERA; i++)
        for (int j = 0; j < CAMERA; j++)
            sum += l->moved[i] * l->prior[i][j] * l->moved[j];
    return sum;
}

double rg_opening_rms(const look *l)
{
    double sum = 0;
    int n = 0;
    for (int k = 0; k < l->points; k++)
        if (l->weight[k] > 0) {
            sum += l->residual[k] * l->residual[k];
            n++;
        }
    return n ? sqrt(sum / n) : HUGE_VAL;
}

/* How badly a frame fits, 1 at the limit; the text says why. */
static double judge(const fit *f, look *l, char reason[RG_OPENING_REASON])
{
    const rg_opening_options *o = f->options;
    int front = l->agree[RG_TRACE_FRONT];
    double edge = o->min_share * RG_TRACE_EDGE / fmax(front, 0.5);
    double rough = rg_opening_rms(l) / o->max_rms_px, moved = chi_of(l) / CHI_7;
    if (edge >= fmax(rough, moved))
        snprintf(reason, RG_OPENING_REASON,
                 "the rim's edge agrees at %d of %d places; take it from where nothing hides the "
                 "rim, level with it, with the lamp on or the background plain",
                 front, (int)RG_TRACE_EDGE);
    else if (rough >= moved)
        snprintf(reason, RG_OPENING_REASON,
                 "the rim's edge scatters by %.1f px, at most %.1f; hold camera and key still",
                 rg_opening_rms(l), o->max_rms_px);
    else
        snprintf(reason, RG_OPENING_REASON,
                 "rim and crown stand otherwise than in the other frames: the key moved or the "
                 "crown slipped; wedge the key and take it again");
    return fmax(edge, fmax(rough, moved));
}

/* Takes the worst frame out; false when all fit. */
static bool drop_worst(fit *f)
{
    char reason[RG_OPENING_REASON], worst_reason[RG_OPENING_REASON] = "";
    double worst = 1;
    look *out = NULL;
    for (int i = 0; i < f->looks; i++) {
        double bad = f->look[i].in ? judge(f, &f->look[i], reason) : 0;
        if (bad > worst) {
            worst = bad;
            out = &f->look[i];
            memcpy(worst_reason, reason, sizeof worst_reason);
        }
    }
    if (!out)
        return false;
    out->in = false;
    memset(out->moved, 0, sizeof out->moved);
    memcpy(out->frame->reason, worst_reason, sizeof worst_reason);
    return true;
}

static int count_in(const fit *f)
{
    int n = 0;
    for (int i = 0; i < f->looks; i++)
        n += f->look[i].in;
    return n;
}

bool rg_opening_fit_all(fit *f)
{
    if (!refine(f, 0))
        return false;
    while (drop_worst(f))
        if (count_in(f) == 0 || !refine(f, 1))
            return false;
    return true;
}

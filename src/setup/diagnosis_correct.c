/*
 * diagnosis_correct.c - what to do about each fault, in which order, and what the seal would become
 * (part of diagnosis.h).
 */
#include <math.h>
#include <stdlib.h>

#include "diagnosis_private.h"
#include "rimglow/vec.h"

typedef struct plan {
    const rg_seal_map *map;
    const rg_diagnosis_options *o;
    const rg_diagnosis *d;
    bool done[RG_FAULTS_MAX];
    double top; /* largest signed gap of the last profile, */
    int at;     /* and where */
} plan;

/* ---------------------------------------------------------------- amounts */

static double rounded(double mm, double step)
{
    return step * floor(mm / step + 0.5);
}

static void choose_action(const rg_diagnosis_options *o, rg_fault *f)
{
    bool small = f->size_mm <= o->replace_most_mm;
    switch (f->kind) {
    case RG_FAULT_TILT:
    case RG_FAULT_HINGE_THICK:
    case RG_FAULT_HINGE_THIN:
        f->amount_mm = rounded(2 * f->size_mm, o->round_mm);
        f->action = f->amount_mm <= o->shim_most_mm ? RG_ACTION_HALF_SHIM : RG_ACTION_BEND;
        break;
    case RG_FAULT_SADDLE:
        f->amount_mm = rounded(2 * f->size_mm, o->round_mm);
        f->action = RG_ACTION_LEVEL;
        break;
    case RG_FAULT_UNIFORM: /* up to the next step: too little leaves the key hanging */
        f->amount_mm = o->round_mm * ceil(f->size_mm / o->round_mm);
        f->action = RG_ACTION_LET_DOWN;
        break;
    case RG_FAULT_LOCAL:
    case RG_FAULT_CREASE:
        f->action = small ? RG_ACTION_RESEAT : RG_ACTION_REPLACE;
        f->amount_mm = rounded(f->size_mm, o->round_mm);
        break;
    case RG_FAULT_DENT:
        f->action = RG_ACTION_LEVEL_RIM;
        f->amount_mm = rounded(f->size_mm, o->round_mm);
        break;
    case RG_FAULT_DIRT:
        f->action = RG_ACTION_CLEAN;
        break;
    case RG_FAULT_UNEVEN:
        f->action = RG_ACTION_REPLACE;
        break;
    }
}

/* --------------------------------------------------------------- profile */

static void take_off(double b[RG_SHAPE_TERMS], int first, double size, double at_deg, int order)
{
    b[first] -= size * cos(rg_radians(order * at_deg));
    b[first + 1] -= size * sin(rg_radians(order * at_deg));
}

/* The shape's terms after the corrections, and how far the key may hang above contact. */
static void corrected_terms(const plan *p, double b[RG_SHAPE_TERMS], double *hang)
{
    const rg_shape *s = &p->d->shape;
    bool own = false;
    for (int j = 0; j < RG_SHAPE_TERMS; j++)
        b[j] = s->b[j];
    *hang = fmax(s->lowest_mm, 0);
    for (int i = 0; i < p->d->faults; i++) {
        const rg_fault *f = &p->d->fault[i];
        own |= f->kind <= RG_FAULT_HINGE_THIN;
        if (!p->done[i])
            continue;
        if (f->kind <= RG_FAULT_HINGE_THIN)
            take_off(b, 1, f->amount_mm / 2, f->bearing_deg, 1);
        else if (f->kind == RG_FAULT_SADDLE)
            take_off(b, 3, f->amount_mm / 2, f->bearing_deg, 2);
        else if (f->kind == RG_FAULT_UNIFORM)
            *hang = fmax(*hang - f->amount_mm, 0);
    }
    for (int i = 0; i < p->d->faults && !own; i++) /* a tilt that is the dirt's work */
        if (p->done[i] && p->d->fault[i].kind == RG_FAULT_DIRT)
            b[1] = b[2] = 0;
}

/* Is the bearing within a local opening whose fault is not corrected? */
static bool stays_open(const plan *p, int bearing)
{
    for (int i = 0; i < p->d->shape.locals; i++) {
        const rg_local *l = &p->d->shape.local[i];
        if (l->closed || rg_wrap_degrees(bearing - l->start_deg) > l->extent_deg)
            continue;
        for (int k = 0; k < p->d->faults; k++) {
            const rg_fault *f = &p->d->fault[k];
            double reach = (f->extent_deg + l->extent_deg) / 2 + p->o->twin_deg;
            double middle = l->start_deg + l->extent_deg / 2;
            if (f->kind >= RG_FAULT_LOCAL && f->kind <= RG_FAULT_DIRT && p->done[k] &&
                fabs(rg_angle_between(f->bearing_deg, middle)) <= reach)
                return false;
        }
        return true;
    }
    return false;
}

/* Widths after the corrections that are done. */
static void profile(plan *p, double w[RG_BINS])
{
    const rg_shape *s = &p->d->shape;
    bool fitted = s->state == RG_SHAPE_FITTED;
    double b[RG_SHAPE_TERMS], hang = 0, lowest = INFINITY;
    if (fitted)
        corrected_terms(p, b, &hang);
    for (int k = 0; k < RG_BINS && fitted; k++)
        lowest = fmin(lowest, rg_shape_value(b, k));
    double down = fitted ? fmax(lowest - hang, 0) : 0;
    p->top = -INFINITY;
    p->at = 0;
    for (int k = 0; k < RG_BINS; k++) {
        double now = fitted ? rg_shape_value(b, k) - down : 0;
        if (stays_open(p, k) && p->map->bin[k].width_mm > 0)
            now += p->map->bin[k].width_mm - (fitted ? s->signed_mm[k] : 0);
        w[k] = fmax(now, 0);
        if (now > p->top) {
            p->top = now;
            p->at = k;
        }
    }
}

static rg_outlook outlook(double mm, double expanded, double tolerance_mm)
{
    if (mm + expanded <= tolerance_mm)
        return RG_OUTLOOK_WITHIN;
    return mm - expanded > tolerance_mm ? RG_OUTLOOK_ABOVE : RG_OUTLOOK_UNDECIDED;
}

/* Judged by the signed gap: a pad pressed well everywhere is surer than one that just touches. */
static rg_forecast forecast(const plan *p)
{
    rg_forecast f = {.widest_mm = fmax(p->top, 0), .widest_deg = p->at};
    double u = p->map->bin[p->at].u_mm;
    if (p->d->shape.state == RG_SHAPE_FITTED && !stays_open(p, p->at))
        rg_shape_at(&p->d->shape, p->at, &u);
    f.u_widest_mm = isfinite(u) ? u : 0;
    f.outlook = outlook(p->top, p->d->coverage_factor * f.u_widest_mm, p->d->tolerance_mm);
    return f;
}

/* As measured: widths where seen. */
static rg_forecast as_measured(const rg_seal_map *map, const rg_diagnosis *d)
{
    rg_forecast f = {.widest_mm = 0};
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        if (bin->state == RG_BIN_UNSEEN || !(bin->width_mm > f.widest_mm))
            continue;
        f.widest_mm = bin->width_mm;
        f.u_widest_mm = bin->u_mm;
        f.widest_deg = b;
    }
    f.outlook = outlook(f.widest_mm, d->coverage_factor * f.u_widest_mm, d->tolerance_mm);
    return f;
}

/* ----------------------------------------------------------------- order */

static int by_effect(const void *a, const void *b)
{
    const rg_fault *x = a, *y = b;
    return x->effect_mm < y->effect_mm ? 1 : x->effect_mm > y->effect_mm ? -1 : 0;
}

void rg_diagnosis_correct(const rg_seal_map *map, const rg_diagnosis_options *options,
                          rg_diagnosis *d)
{
    plan p = {.map = map, .o = options, .d = d};
    double before[RG_BINS], after[RG_BINS];
    for (int i = 0; i < d->faults; i++)
        choose_action(options, &d->fault[i]);
    profile(&p, before);
    for (int i = 0; i < d->faults; i++) {
        p.done[i] = true;
        profile(&p, after);
        p.done[i] = false;
        for (int b = 0; b < RG_BINS; b++)
            d->fault[i].effect_mm = fmax(d->fault[i].effect_mm, before[b] - after[b]);
    }
    qsort(d->fault, (size_t)d->faults, sizeof *d->fault, by_effect);
    for (int i = 0; i < d->faults; i++) {
        p.done[i] = true;
        profile(&p, after);
        d->fault[i].afterwards = forecast(&p);
    }
    profile(&p, d->predicted_mm);
    d->now = as_measured(map, d);
}

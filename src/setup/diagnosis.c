/*
 * diagnosis.c - which faults a shape shows. Rules in diagnosis.h; corrections in diagnosis_correct.c,
 * sentences in diagnosis_text.c.
 */
#include "rimglow/diagnosis.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "diagnosis_private.h"
#include "rimglow/light.h"
#include "rimglow/vec.h"

const char *rg_fault_kind_name(rg_fault_kind kind)
{
    static const char *const name[] = {"tilted",
                                       "thick at the hinge",
                                       "thin at the hinge",
                                       "saddle",
                                       "uniform",
                                       "crease or dent",
                                       "crease",
                                       "rim dent",
                                       "dirt",
                                       "uneven"};
    return name[kind];
}

const char *rg_action_name(rg_action action)
{
    static const char *const name[] = {"half shim", "bend",    "let down",  "level",
                                       "reseat",    "replace", "level rim", "clean"};
    return name[action];
}

const char *rg_outlook_name(rg_outlook outlook)
{
    static const char *const name[] = {"within", "above", "undecided"};
    return name[outlook];
}

const char *rg_diagnosis_name(const rg_diagnosis *d)
{
    static const char *const name[] = {"", "mixed", "no fault shown", "unclear", "unseen"};
    return d->found == RG_DIAGNOSIS_ONE ? rg_fault_kind_name(d->fault[0].kind) : name[d->found];
}

typedef struct patient {
    const rg_seal_map *map;
    const rg_diagnosis_options *o;
    const rg_shape *other_pad;
    bool taken[RG_SHAPE_LOCALS_MAX]; /* local openings that dirt explains */
    rg_diagnosis *d;
} patient;

/* A fault with nothing known; the last place is overwritten when there are too many. */
static rg_fault *add_fault(rg_diagnosis *d, rg_fault_kind kind)
{
    rg_fault *f = &d->fault[d->faults < RG_FAULTS_MAX ? d->faults++ : RG_FAULTS_MAX - 1];
    *f = (rg_fault){.kind = kind, .size_mm = NAN, .u_size_mm = NAN, .confidence = NAN};
    f->bearing_deg = f->u_bearing_deg = f->extent_deg = f->statistic = f->amount_mm = NAN;
    f->effect_mm = 0;
    return f;
}

/* 1 - p of a departure of so many u somewhere among n bearings. */
static void by_departure(rg_fault *f, double departure, int n)
{
    f->test = RG_TEST_NORMAL;
    f->statistic = departure;
    f->among = n;
    f->confidence = 1 - fmin(1, n * gsl_cdf_ugaussian_Q(departure));
}

/* ---------------------------------------------------------------- dirt */

static int seen_bins(const rg_diagnosis *d)
{
    return d->shape.open + d->shape.dark;
}

static void add_closed_places(patient *p)
{
    for (int i = 0; i < p->d->shape.locals; i++) {
        const rg_local *l = &p->d->shape.local[i];
        if (!l->closed)
            continue;
        rg_fault *f = add_fault(p->d, RG_FAULT_DIRT);
        f->bearing_deg = rg_wrap_degrees(l->start_deg + l->extent_deg / 2);
        f->extent_deg = l->extent_deg;
        f->u_bearing_deg = l->extent_deg / 2 / sqrt(3);
        by_departure(f, -l->most_mm / l->u_most_mm, seen_bins(p->d));
    }
}

static void add_blocked_places(patient *p)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = p->map->bin[b].blocked;
    int runs = rg_circular_runs(mask, RG_BINS, run, RG_BINS);
    for (int i = 0; i < runs; i++) {
        double u, middle = rg_wrap_degrees(run[i].start + (run[i].length - 1) / 2.0);
        double s = rg_shape_at(&p->d->shape, middle, &u);
        rg_fault *f = add_fault(p->d, RG_FAULT_DIRT);
        f->bearing_deg = middle;
        f->extent_deg = run[i].length;
        f->u_bearing_deg = run[i].length / 2.0 / sqrt(3);
        f->test = RG_TEST_LIGHT;
        f->statistic = s / u;
        f->confidence = u > 0 ? gsl_cdf_ugaussian_P(s / u) : NAN;
    }
}

/* Two local openings with a short contact between them. */
static void add_twins(patient *p)
{
    const rg_shape *s = &p->d->shape;
    for (int i = 0; i < s->locals; i++)
        for (int k = 0; k < s->locals; k++) {
            const rg_local *a = &s->local[i], *b = &s->local[k];
            double between = rg_wrap_degrees(b->start_deg - a->end_deg);
            if (i == k || a->closed || b->closed || p->taken[i] || p->taken[k] ||
                between > p->o->twin_deg)
                continue;
            rg_fault *f = add_fault(p->d, RG_FAULT_DIRT);
            f->bearing_deg = rg_wrap_degrees(a->end_deg + between / 2);
            f->u_bearing_deg = between / 2 / sqrt(3);
            f->extent_deg = between;
            f->size_mm = fmax(a->width_mm, b->width_mm);
            by_departure(f, fmin(a->most_mm / a->u_most_mm, b->most_mm / b->u_most_mm),
                         seen_bins(p->d));
            p->taken[i] = p->taken[k] = true;
        }
}

static const rg_fault *dirt_near(const rg_diagnosis *d, double bearing_deg, double within_deg)
{
    for (int i = 0; i < d->faults; i++)
        if (d->fault[i].kind == RG_FAULT_DIRT &&
            fabs(rg_angle_between(d->fault[i].bearing_deg, bearing_deg)) <=
                within_deg + d->fault[i].extent_deg / 2)
            return &d->fault[i];
    return NULL;
}

/* ---------------------------------------------------------- smooth faults */

static double least_size(const patient *p)
{
    return p->o->fault_share * p->d->tolerance_mm;
}

static bool is_fault(const patient *p, const rg_undulation *u)
{
    return u->state == RG_TERM_FITTED && u->p < p->o->shape.significance &&
           u->size_mm >= least_size(p);
}

static rg_fault *add_undulation(patient *p, const rg_undulation *u, rg_fault_kind kind)
{
    rg_fault *f = add_fault(p->d, kind);
    f->size_mm = u->size_mm;
    f->u_size_mm = u->u_size_mm;
    f->bearing_deg = u->bearing_deg;
    f->u_bearing_deg = u->u_bearing_deg;
    f->test = RG_TEST_CHI2;
    f->statistic = u->chi2;
    f->confidence = 1 - u->p;
    return f;
}

/* Normal probability that a bearing lies within so many degrees of another. */
static double chance_within(double bearing_deg, double u_deg, double of_deg, double within_deg)
{
    double off = rg_angle_between(bearing_deg, of_deg), u = fmax(u_deg, 1e-6);
    return gsl_cdf_ugaussian_P((within_deg - off) / u) -
           gsl_cdf_ugaussian_P((-within_deg - off) / u);
}

static void add_tilt(patient *p)
{
    const rg_undulation *t = &p->d->shape.tilt;
    if (!is_fault(p, t) || dirt_near(p->d, t->bearing_deg, p->o->dirt_deg))
        return;
    rg_fault *f = add_undulation(p, t, RG_FAULT_TILT);
    double far = chance_within(t->bearing_deg, t->u_bearing_deg, 180, p->o->hinge_deg);
    double near = chance_within(t->bearing_deg, t->u_bearing_deg, 0, p->o->hinge_deg);
    if (far > 0.5)
        f->kind = RG_FAULT_HINGE_THICK;
    else if (near > 0.5)
        f->kind = RG_FAULT_HINGE_THIN;
    f->confidence *= far > 0.5 ? far : near > 0.5 ? near : 1;
}

static void add_uniform(patient *p)
{
    const rg_shape *s = &p->d->shape;
    double u = s->u_mean_mm;
    if (s->state != RG_SHAPE_FITTED)
        return;
    if (!isnan(s->contact_deg))
        rg_shape_at(s, s->contact_deg, &u);
    if (s->lowest_mm < least_size(p) || s->lowest_mm <= p->o->shape.coverage_factor * u)
        return;
    rg_fault *f = add_fault(p->d, RG_FAULT_UNIFORM);
    f->size_mm = s->lowest_mm;
    f->u_size_mm = u;
    by_departure(f, s->lowest_mm / u, 1);
}

/* ------------------------------------------------------------ local faults */

static bool covers(const rg_local *l, double bearing_deg, double margin_deg)
{
    double middle = l->start_deg + l->extent_deg / 2;
    return fabs(rg_angle_between(middle, bearing_deg)) <= l->extent_deg / 2 + margin_deg;
}

/* Another pad on the same rim: the opening is there again, or it was seen and is not. */
static rg_fault_kind told_by(const rg_shape *other, double bearing_deg, double same_deg)
{
    int b = (int)rg_wrap_degrees(floor(bearing_deg + 0.5)) % RG_BINS;
    if (!other)
        return RG_FAULT_LOCAL;
    for (int i = 0; i < other->locals; i++)
        if (!other->local[i].closed && covers(&other->local[i], bearing_deg, same_deg))
            return RG_FAULT_DENT;
    return isfinite(other->residual_mm[b]) ? RG_FAULT_CREASE : RG_FAULT_LOCAL;
}

static void add_locals(patient *p)
{
    for (int i = 0; i < p->d->shape.locals; i++) {
        const rg_local *l = &p->d->shape.local[i];
        double middle = rg_wrap_degrees(l->start_deg + l->extent_deg / 2);
        if (l->closed || p->taken[i] || dirt_near(p->d, middle, l->extent_deg / 2 + p->o->twin_deg))
            continue;
        rg_fault *f = add_fault(p->d, told_by(p->other_pad, middle, p->o->same_deg));
        f->size_mm = l->width_mm;
        f->u_size_mm = l->u_most_mm;
        f->bearing_deg = middle;
        f->u_bearing_deg = l->extent_deg / 2 / sqrt(3);
        f->extent_deg = l->extent_deg;
        by_departure(f, l->most_mm / l->u_most_mm, seen_bins(p->d));
    }
}

static void add_uneven(patient *p)
{
    const rg_shape *s = &p->d->shape;
    if (!(fabs(s->misfit) > rg_shape_factor(s, &p->o->shape)))
        return;
    rg_fault *f = add_fault(p->d, RG_FAULT_UNEVEN);
    f->bearing_deg = s->misfit_deg;
    f->size_mm = s->rms_mm;
    by_departure(f, fabs(s->misfit), seen_bins(p->d));
}

/* ---------------------------------------------------------------- whole */

static rg_diagnosis_class class_of(const rg_diagnosis *d)
{
    if (d->shape.state == RG_SHAPE_UNSEEN)
        return RG_DIAGNOSIS_UNSEEN;
    for (int i = 1; i < d->faults; i++)
        if (d->fault[i].kind != d->fault[0].kind)
            return RG_DIAGNOSIS_MIXED;
    if (d->faults)
        return RG_DIAGNOSIS_ONE;
    return d->now.outlook == RG_OUTLOOK_ABOVE ? RG_DIAGNOSIS_UNCLEAR : RG_DIAGNOSIS_NONE;
}

static rg_code check(double tolerance_mm, const rg_diagnosis_options *o, rg_error *err)
{
    const struct {
        const char *name;
        double value, low, high;
    } range[] = {
        {"tolerance_mm", tolerance_mm, 1e-6, 10},
        {"fault_share", o->fault_share, 0, 100},
        {"hinge_deg", o->hinge_deg, 0, 90},
        {"dirt_deg", o->dirt_deg, 0, 180},
        {"twin_deg", o->twin_deg, 0, 180},
        {"same_deg", o->same_deg, 0, 90},
        {"round_mm", o->round_mm, 1e-6, 1},
        {"shim_most_mm", o->shim_most_mm, 0, 10},
        {"replace_most_mm", o->replace_most_mm, 0, 10},
    };
    for (size_t i = 0; i < sizeof range / sizeof *range; i++)
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high))
            return rg_fail(err, RG_BAD_DATA, "diagnosis: %s = %g; it must lie within %g to %g",
                           range[i].name, range[i].value, range[i].low, range[i].high);
    return RG_OK;
}

rg_code rg_diagnose(const rg_seal_map *map, double tolerance_mm, const rg_shape *other_pad,
                    const rg_diagnosis_options *options, rg_diagnosis *d, rg_error *err)
{
    patient p = {.map = map, .o = options, .other_pad = other_pad, .d = d};
    *d = (rg_diagnosis){.tolerance_mm = tolerance_mm, .confidence = NAN};
    d->coverage_factor = options->shape.coverage_factor;
    rg_code code = check(tolerance_mm, options, err);
    if (code == RG_OK)
        code = rg_shape_fit(map, &options->shape, &d->shape, err);
    if (code != RG_OK)
        return code;
    add_closed_places(&p);
    add_blocked_places(&p);
    add_twins(&p);
    add_tilt(&p);
    if (is_fault(&p, &d->shape.saddle))
        add_undulation(&p, &d->shape.saddle, RG_FAULT_SADDLE);
    add_uniform(&p);
    add_locals(&p);
    add_uneven(&p);
    rg_diagnosis_correct(map, options, d);
    d->found = class_of(d);
    for (int i = 0; i < d->faults; i++)
        d->confidence = (i ? d->confidence : 1) * d->fault[i].confidence;
    return RG_OK;
}

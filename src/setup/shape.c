/*
 * shape.c - censored fit of mean, tilt and saddle to a seal map. Model, sources and rules in shape.h.
 */
#include "rimglow/shape.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "rimglow/change.h"
#include "rimglow/detection.h"
#include "rimglow/light.h"
#include "rimglow/vec.h"

enum { TILT = 1, SADDLE = 2, SETS = 4, MARGIN = 2, CONTACT_STEPS = 20 };
/* Currie (1968): detection limit in standard deviations of a dark bearing, at 5 % each way. */
static const double currie = 3.29;

typedef enum kind { OPEN, DARK, UNSEEN, BLOCKED } kind;

typedef struct problem {
    const rg_shape_options *o;
    kind kind[RG_BINS];
    double y[RG_BINS], u[RG_BINS]; /* width, or critical level of a dark bearing */
    bool local[RG_BINS];           /* left out of the fit */
    double correlation[RG_BINS];   /* by degrees apart */
} problem;

/* What a regression takes, of the bearings that take part. */
typedef struct rows {
    int n, bin[RG_BINS];
    double x[RG_BINS * (RG_SHAPE_TERMS - 1)], y[RG_BINS], u[RG_BINS];
    rg_censor censor[RG_BINS];
    const double *correlation;
} rows;

typedef struct trial {
    bool fitted, possible;
    double b[RG_SHAPE_TERMS], cov[RG_SHAPE_TERMS][RG_SHAPE_TERMS];
    double log_likelihood, chi2[3], u[3]; /* of TILT and of SADDLE */
} trial;

const char *rg_shape_state_name(rg_shape_state state)
{
    static const char *const name[] = {"fitted", "dark", "local", "unseen"};
    return name[state];
}

const char *rg_term_state_name(rg_term_state state)
{
    static const char *const name[] = {"fitted", "not fixed", "impossible"};
    return name[state];
}

/* ---------------------------------------------------------------- input */

static rg_code check_options(const rg_shape_options *o, rg_error *err)
{
    const struct {
        const char *name;
        double value, low, high;
    } range[] = {
        {"correlation_deg", o->correlation_deg, 0.1, 180},
        {"common_share", o->common_share, 0, 0.99},
        {"u_floor_mm", o->u_floor_mm, 1e-9, 1},
        {"uneven_mm", o->uneven_mm, 0, 1},
        {"least_open_deg", o->least_open_deg, RG_SHAPE_TERMS, 360},
        {"fixed_u_mm", o->fixed_u_mm, 0, 10},
        {"significance", o->significance, 0, 1},
        {"press_mm", o->press_mm, 0, 100},
        {"coverage_factor", o->coverage_factor, 1, 6},
        {"local_least_deg", o->local_least_deg, 1, 360},
        {"local_most_deg", o->local_most_deg, 1, 360},
    };
    for (size_t i = 0; i < sizeof range / sizeof *range; i++)
        if (!(range[i].value >= range[i].low && range[i].value <= range[i].high))
            return rg_fail(err, RG_BAD_DATA, "shape: %s = %g; it must lie within %g to %g",
                           range[i].name, range[i].value, range[i].low, range[i].high);
    return RG_OK;
}

static kind kind_of(const rg_bin *bin)
{
    if (bin->blocked)
        return BLOCKED;
    if (bin->state == RG_BIN_UNSEEN)
        return UNSEEN;
    if (bin->state == RG_BIN_GAP || bin->width_mm > 0)
        return isfinite(bin->width_mm) && isfinite(bin->u_mm) ? OPEN : UNSEEN;
    return isfinite(bin->detection_limit_mm) ? DARK : UNSEEN;
}

static void take_bins(const rg_seal_map *map, problem *p)
{
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        double limit = bin->detection_limit_mm;
        p->kind[b] = kind_of(bin);
        p->y[b] = p->kind[b] == DARK ? limit / 2 : bin->width_mm;
        double u = p->kind[b] == DARK ? limit / currie : bin->u_mm;
        p->u[b] = fmax(hypot(u, p->o->uneven_mm), p->o->u_floor_mm);
    }
    for (int d = 0; d < RG_BINS; d++) {
        double apart = fmin(d, RG_BINS - d), share = p->o->common_share;
        p->correlation[d] = share + (1 - share) * exp(-apart / p->o->correlation_deg);
    }
}

static void count_bins(const problem *p, const rg_seal_map *map, rg_shape *s)
{
    s->limit_mm = s->limit_deg = NAN;
    for (int b = 0; b < RG_BINS; b++) {
        s->open += p->kind[b] == OPEN;
        s->dark += p->kind[b] == DARK;
        s->unseen += p->kind[b] == UNSEEN;
        s->blocked += p->kind[b] == BLOCKED;
        if (p->kind[b] == DARK && !(map->bin[b].detection_limit_mm <= s->limit_mm)) {
            s->limit_mm = map->bin[b].detection_limit_mm;
            s->limit_deg = b;
        }
    }
}

/* ------------------------------------------------------------------ fit */

static void harmonics(double bearing_deg, double x[RG_SHAPE_TERMS])
{
    double r = rg_radians(bearing_deg);
    x[0] = 1;
    x[1] = cos(r);
    x[2] = sin(r);
    x[3] = cos(2 * r);
    x[4] = sin(2 * r);
}

double rg_shape_value(const double b[RG_SHAPE_TERMS], double bearing_deg)
{
    double x[RG_SHAPE_TERMS], sum = 0;
    harmonics(bearing_deg, x);
    for (int j = 0; j < RG_SHAPE_TERMS; j++)
        sum += b[j] * x[j];
    return sum;
}

/* Terms of a set, by their place in b; returns how many. */
static int terms_of(int set, int term[RG_SHAPE_TERMS])
{
    int n = 0;
    for (int j = 0; j < RG_SHAPE_TERMS; j++)
        if (j == 0 || (j < 3 ? set & TILT : set & SADDLE))
            term[n++] = j;
    return n;
}

static void make_rows(const problem *p, int set, rows *r)
{
    int term[RG_SHAPE_TERMS], terms = terms_of(set, term);
    double x[RG_SHAPE_TERMS];
    r->n = 0;
    r->correlation = p->correlation;
    for (int b = 0; b < RG_BINS; b++) {
        if (p->local[b] || p->kind[b] > DARK)
            continue;
        harmonics(b, x);
        for (int j = 1; j < terms; j++)
            r->x[r->n * (terms - 1) + j - 1] = x[term[j]];
        r->y[r->n] = p->y[b];
        r->u[r->n] = p->u[b];
        r->censor[r->n] = p->kind[b] == DARK ? RG_CENSOR_BELOW : RG_CENSOR_NONE;
        r->bin[r->n++] = b;
    }
}

static double correlation_of(const void *context, int i, int j)
{
    const rows *r = context;
    int apart = r->bin[i] - r->bin[j];
    return r->correlation[apart < 0 ? -apart : apart];
}

/* Wald's chi-square of two terms, and the u of their worse direction. */
static double wald(const trial *t, int first, double *u)
{
    double a = t->cov[first][first], c = t->cov[first + 1][first + 1];
    double h = t->cov[first][first + 1], det = a * c - h * h;
    double x = t->b[first], y = t->b[first + 1];
    *u = sqrt((a + c) / 2 + hypot((a - c) / 2, h));
    return det > 0 ? (c * x * x - 2 * h * x * y + a * y * y) / det : 0;
}

static bool is_possible(const trial *t, double press_mm)
{
    for (int b = 0; b < RG_BINS; b++)
        if (rg_shape_value(t->b, b) < -press_mm)
            return false;
    return true;
}

static void keep_fit(const rg_tobit *fit, const int *term, int terms, trial *t)
{
    t->fitted = true;
    t->log_likelihood = fit->log_likelihood;
    for (int i = 0; i < terms; i++)
        t->b[term[i]] = fit->b[i];
}

/* Data that do not fix the terms leave it unfitted. */
static rg_code fit_set(const problem *p, int set, trial *t, rg_error *err)
{
    int term[RG_SHAPE_TERMS], terms = terms_of(set, term);
    double cov[RG_TOBIT_TERMS][RG_TOBIT_TERMS];
    rows r;
    rg_tobit fit;
    make_rows(p, set, &r);
    rg_tobit_data d = {.n = r.n, .covariates = terms - 1, .x = r.x, .y = r.y};
    d.censor = r.censor;
    d.u = r.u;
    d.known = true;
    *t = (trial){0};
    rg_code code = rg_tobit_fit_data(&d, &fit, err);
    if (code == RG_BAD_DATA || (code == RG_OK && fit.state != RG_TOBIT_FITTED))
        return RG_OK;
    if (code != RG_OK)
        return code;
    keep_fit(&fit, term, terms, t);
    t->possible = is_possible(t, p->o->press_mm);
    if (!t->possible)
        return RG_OK;
    code = rg_tobit_correlated(&d, &fit, correlation_of, &r, cov, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < terms * terms; i++)
        t->cov[term[i / terms]][term[i % terms]] = cov[i / terms][i % terms];
    for (int group = TILT; group <= SADDLE; group++)
        if (set & group)
            t->chi2[group] = wald(t, 2 * group - 1, &t->u[group]);
    return RG_OK;
}

/* ------------------------------------------------------------ which terms */

/* A saddle alone must differ from 0: without a tilt beside it, that it is small says little. */
static bool stands(const problem *p, const trial *t, int set)
{
    double known = set == SADDLE ? 0 : p->o->fixed_u_mm;
    for (int group = TILT; group <= SADDLE; group++)
        if ((set & group) && t->u[group] > known &&
            gsl_cdf_chisq_Q(t->chi2[group], 2) >= p->o->significance)
            return false;
    return t->possible;
}

/* The largest set of terms that stands; of tilt or saddle alone the likelier. -1: none. */
static int choose_set(const problem *p, const trial t[SETS])
{
    bool tilt = stands(p, &t[TILT], TILT), saddle = stands(p, &t[SADDLE], SADDLE);
    if (stands(p, &t[TILT | SADDLE], TILT | SADDLE))
        return TILT | SADDLE;
    if (tilt && saddle)
        return t[TILT].log_likelihood >= t[SADDLE].log_likelihood ? TILT : SADDLE;
    if (tilt || saddle)
        return tilt ? TILT : SADDLE;
    return t[0].possible ? 0 : -1;
}

static int open_bins(const problem *p)
{
    int n = 0;
    for (int b = 0; b < RG_BINS; b++)
        n += p->kind[b] == OPEN && !p->local[b];
    return n;
}

static rg_code fit_sets(const problem *p, trial t[SETS], int *chosen, rg_error *err)
{
    rg_code code = RG_OK;
    memset(t, 0, SETS * sizeof *t);
    *chosen = -1;
    if (open_bins(p) < p->o->least_open_deg)
        return RG_OK;
    for (int set = 0; code == RG_OK && set < SETS; set++)
        code = fit_set(p, set, &t[set], err);
    if (code == RG_OK)
        *chosen = choose_set(p, t);
    return code;
}

/* ------------------------------------------------------------ local places */

/* Width beyond the shape; without one beyond contact. NAN where not seen. */
static double beyond(const problem *p, const trial *t, int b)
{
    double s = t ? fmax(rg_shape_value(t->b, b), 0) : 0;
    return p->kind[b] == OPEN ? p->y[b] - s : p->kind[b] == DARK ? -s : NAN;
}

/* What is left of u when the share that all bearings have in common is in the shape. */
static double own_u(const problem *p, int b)
{
    return p->u[b] * sqrt(1 - p->o->common_share);
}

/* By how many u a bearing departs from the shape: open and wider, or dark though it should not be. */
static double departure(const problem *p, const trial *t, int b, bool closed)
{
    if (p->local[b] || p->kind[b] != (closed ? DARK : OPEN))
        return 0;
    double r = closed ? (t ? rg_shape_value(t->b, b) : 0) - p->y[b] : beyond(p, t, b);
    return r / own_u(p, b);
}

typedef struct place {
    rg_run run;
    bool closed;
    double departure;
} place;

static void measure_local(const problem *p, const trial *t, const place *at, rg_local *l)
{
    *l = (rg_local){.closed = at->closed, .extent_deg = at->run.length};
    l->start_deg = rg_wrap_degrees(at->run.start - 0.5);
    l->end_deg = rg_wrap_degrees(at->run.start + at->run.length - 0.5);
    l->most_bearing_deg = NAN;
    for (int k = 0; k < at->run.length; k++) {
        int b = (at->run.start + k) % RG_BINS;
        double r = beyond(p, t, b);
        if (p->kind[b] == (at->closed ? DARK : OPEN) &&
            (isnan(l->most_bearing_deg) || fabs(r) > fabs(l->most_mm))) {
            l->most_mm = r;
            l->u_most_mm = own_u(p, b);
            l->most_bearing_deg = b;
            l->width_mm = at->closed ? 0 : p->y[b];
        }
    }
}

static bool is_open_near(const problem *p, int b)
{
    for (int k = -MARGIN; k <= MARGIN; k++)
        if (p->kind[(b + k + RG_BINS) % RG_BINS] == OPEN)
            return true;
    return false;
}

static bool is_candidate(const problem *p, rg_run run, bool closed, double longest)
{
    if (run.length < p->o->local_least_deg ||
        run.length > (closed ? p->o->local_most_deg : longest))
        return false;
    return !closed || (is_open_near(p, run.start - 1) && is_open_near(p, run.start + run.length));
}

/* The strongest arc of one kind that the shape leaves over, if stronger than *found. */
static void seek_local(const problem *p, const trial *t, bool closed, double longest, place *found)
{
    uint8_t mask[RG_BINS];
    rg_run run[RG_BINS];
    for (int b = 0; b < RG_BINS; b++)
        mask[b] = departure(p, t, b, closed) > p->o->coverage_factor;
    int runs = rg_circular_runs(mask, RG_BINS, run, RG_BINS);
    for (int i = 0; i < runs; i++) {
        double most = 0;
        for (int k = 0; k < run[i].length; k++)
            most = fmax(most, departure(p, t, (run[i].start + k) % RG_BINS, closed));
        if (most > found->departure && is_candidate(p, run[i], closed, longest))
            *found = (place){.run = run[i], .closed = closed, .departure = most};
    }
}

static bool strongest_local(const problem *p, const trial *t, double longest, place *found)
{
    int seen = 0;
    for (int b = 0; b < RG_BINS; b++)
        seen += p->kind[b] <= DARK;
    double least = rg_change_factor(p->o->coverage_factor, seen);
    *found = (place){.departure = least};
    seek_local(p, t, false, longest, found);
    seek_local(p, t, true, longest, found);
    return found->departure > least;
}

static void leave_out(problem *p, rg_run run)
{
    for (int k = -MARGIN; k < run.length + MARGIN; k++)
        p->local[(run.start + k + RG_BINS) % RG_BINS] = true;
}

/* Fits, takes the strongest local place out and fits again, until none is left. A plane that is
 * impossible explains nothing, so openings beside it may be of any length. */
static rg_code fit_all(problem *p, trial t[SETS], int *chosen, place *local, int *locals,
                       rg_error *err)
{
    *locals = 0;
    for (;;) {
        rg_code code = fit_sets(p, t, chosen, err);
        if (code != RG_OK)
            return code;
        bool plane = *chosen > 0 || (*chosen == 0 && t[TILT].possible);
        double longest = plane ? p->o->local_most_deg : RG_BINS;
        const trial *shape = *chosen >= 0 ? &t[*chosen] : NULL;
        if (*locals == RG_SHAPE_LOCALS_MAX || !strongest_local(p, shape, longest, &local[*locals]))
            return RG_OK;
        leave_out(p, local[(*locals)++].run);
    }
}

/* ---------------------------------------------------------------- result */

static void describe(const trial t[SETS], int chosen, int group, rg_undulation *w)
{
    int first = 2 * group - 1, both = TILT | SADDLE;
    bool fitted = chosen >= 0 && (chosen & group), possible = t[group].possible || t[both].possible;
    double uniform = 180 / sqrt(3) / group;
    *w = (rg_undulation){.state = RG_TERM_FITTED, .size_mm = NAN, .u_size_mm = NAN, .chi2 = NAN};
    w->bearing_deg = w->u_bearing_deg = w->p = NAN;
    if (!fitted) {
        w->state = t[group].fitted && !possible ? RG_TERM_IMPOSSIBLE : RG_TERM_NOT_FIXED;
        return;
    }
    const trial *f = &t[chosen];
    double x = f->b[first], y = f->b[first + 1], size = hypot(x, y);
    double c = size > 0 ? x / size : 1, s = size > 0 ? y / size : 0;
    double a = f->cov[first][first], d = f->cov[first + 1][first + 1], h = f->cov[first][first + 1];
    w->size_mm = size;
    w->u_size_mm = sqrt(fmax(c * c * a + 2 * c * s * h + s * s * d, 0));
    w->bearing_deg = rg_wrap_degrees(rg_degrees(atan2(y, x))) / group;
    double across = sqrt(fmax(s * s * a - 2 * c * s * h + c * c * d, 0));
    w->u_bearing_deg = size > 0 ? fmin(rg_degrees(across / size) / group, uniform) : uniform;
    w->chi2 = f->chi2[group];
    w->p = gsl_cdf_chisq_Q(w->chi2, 2);
}

/* First and second derivative of s by the bearing in radians, and the gradient of the first. */
static void slopes(const double b[RG_SHAPE_TERMS], double bearing_deg, double *first,
                   double *second, double gradient[RG_SHAPE_TERMS])
{
    double x[RG_SHAPE_TERMS];
    harmonics(bearing_deg, x);
    gradient[0] = 0;
    gradient[1] = -x[2];
    gradient[2] = x[1];
    gradient[3] = -2 * x[4];
    gradient[4] = 2 * x[3];
    *first = 0;
    for (int j = 1; j < RG_SHAPE_TERMS; j++)
        *first += b[j] * gradient[j];
    *second = -b[1] * x[1] - b[2] * x[2] - 4 * (b[3] * x[3] + b[4] * x[4]);
}

/* Lowest bearing of the grid, mended by Newton's steps; u by the implicit function theorem. */
static void find_contact(rg_shape *s)
{
    double first, second, g[RG_SHAPE_TERMS], variance = 0, at = 0;
    for (int b = 1; b < RG_BINS; b++)
        if (s->signed_mm[b] < s->signed_mm[(int)at])
            at = b;
    for (int k = 0; k < CONTACT_STEPS; k++) {
        slopes(s->b, at, &first, &second, g);
        if (second > 0)
            at -= fmax(fmin(rg_degrees(first / second), 1), -1);
    }
    slopes(s->b, at, &first, &second, g);
    for (int i = 0; i < RG_SHAPE_TERMS; i++)
        for (int j = 0; j < RG_SHAPE_TERMS; j++)
            variance += g[i] * s->cov[i][j] * g[j];
    double uniform = 180 / sqrt(3);
    s->contact_deg = rg_wrap_degrees(at);
    s->lowest_mm = rg_shape_value(s->b, at);
    s->u_contact_deg =
        second > 0 ? fmin(rg_degrees(sqrt(fmax(variance, 0)) / second), uniform) : uniform;
}

static void take_residuals(const problem *p, const trial *t, rg_shape *s)
{
    double sum = 0;
    int n = 0;
    s->misfit = s->misfit_deg = NAN;
    for (int b = 0; b < RG_BINS; b++) {
        s->signed_mm[b] = t ? rg_shape_value(t->b, b) : NAN;
        s->residual_mm[b] = beyond(p, t, b);
        if (p->kind[b] != OPEN || p->local[b])
            continue;
        sum += s->residual_mm[b] * s->residual_mm[b];
        n++;
        double z = s->residual_mm[b] / own_u(p, b);
        if (t && !(fabs(z) <= fabs(s->misfit))) {
            s->misfit = z;
            s->misfit_deg = b;
        }
    }
    s->rms_mm = n ? sqrt(sum / n) : NAN;
}

static rg_shape_state state_of(const rg_shape *s)
{
    if (s->open + s->dark == 0)
        return RG_SHAPE_UNSEEN;
    return s->locals == 0 ? RG_SHAPE_DARK : RG_SHAPE_LOCAL;
}

static void take_result(const problem *p, const trial t[SETS], int chosen, rg_shape *s)
{
    const trial *f = chosen >= 0 ? &t[chosen] : NULL;
    s->mean_mm = s->u_mean_mm = s->contact_deg = s->u_contact_deg = NAN;
    s->lowest_mm = s->log_likelihood = NAN;
    describe(t, chosen, TILT, &s->tilt);
    describe(t, chosen, SADDLE, &s->saddle);
    take_residuals(p, f, s);
    s->state = f ? RG_SHAPE_FITTED : state_of(s);
    if (!f)
        return;
    memcpy(s->b, f->b, sizeof s->b);
    memcpy(s->cov, f->cov, sizeof s->cov);
    s->mean_mm = f->b[0];
    s->u_mean_mm = sqrt(f->cov[0][0]);
    s->log_likelihood = f->log_likelihood;
    if (chosen > 0)
        find_contact(s);
    else
        s->lowest_mm = s->mean_mm;
}

rg_code rg_shape_fit(const rg_seal_map *map, const rg_shape_options *options, rg_shape *shape,
                     rg_error *err)
{
    problem p = {.o = options};
    trial t[SETS];
    place local[RG_SHAPE_LOCALS_MAX];
    int chosen, locals;
    *shape = (rg_shape){0};
    rg_code code = check_options(options, err);
    if (code != RG_OK)
        return code;
    take_bins(map, &p);
    count_bins(&p, map, shape);
    code = fit_all(&p, t, &chosen, local, &locals, err);
    if (code != RG_OK)
        return code;
    shape->locals = locals;
    take_result(&p, t, chosen, shape);
    for (int i = 0; i < locals; i++)
        measure_local(&p, chosen >= 0 ? &t[chosen] : NULL, &local[i], &shape->local[i]);
    return RG_OK;
}

double rg_shape_at(const rg_shape *shape, double bearing_deg, double *u_mm)
{
    double x[RG_SHAPE_TERMS], variance = 0;
    bool fitted = shape->state == RG_SHAPE_FITTED;
    harmonics(bearing_deg, x);
    for (int i = 0; i < RG_SHAPE_TERMS; i++)
        for (int j = 0; j < RG_SHAPE_TERMS; j++)
            variance += x[i] * shape->cov[i][j] * x[j];
    if (u_mm)
        *u_mm = fitted ? sqrt(fmax(variance, 0)) : NAN;
    return fitted ? rg_shape_value(shape->b, bearing_deg) : NAN;
}

double rg_shape_factor(const rg_shape *shape, const rg_shape_options *options)
{
    return rg_change_factor(options->coverage_factor, shape->open + shape->dark);
}

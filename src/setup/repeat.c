/*
 * repeat.c - scatter between closings of one key. Methods in repeat.h.
 */
#include "rimglow/repeat.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdio.h>

#include "rimglow/stats.h"
#include "rimglow/vec.h"

const char *rg_repeat_state_name(rg_repeat_state state)
{
    static const char *const name[] = {"not measured", "not told", "steady", "loose key",
                                       "soft pad"};
    return name[state];
}

/* ------------------------------------------------------------- components */

/* Upper quantile of F; the second degrees of freedom, or both, may be infinite. */
static double f_upper(double tail, double df1, double df2)
{
    if (isinf(df2))
        return isinf(df1) ? 1 : gsl_cdf_chisq_Qinv(tail, df1) / df1;
    return isinf(df1) ? df2 / gsl_cdf_chisq_Pinv(tail, df2) : gsl_cdf_fdist_Qinv(tail, df1, df2);
}

static double f_test(double f, double df1, double df2)
{
    return isinf(df2) ? gsl_cdf_chisq_Q(f * df1, df1) : gsl_cdf_fdist_Q(f, df1, df2);
}

/* Limits of between - within, each with this tail. */
static void limits(const rg_between *s, double tail, double *low, double *high)
{
    double a = s->between, b = s->within, n1 = s->df_between, n2 = s->df_within;
    double fl = f_upper(tail, n1, n2), fu = f_upper(1 - tail, n1, n2);
    double g1 = 1 - 1 / f_upper(tail, n1, INFINITY), h2 = 1 / f_upper(1 - tail, n2, INFINITY) - 1;
    double h1 = 1 / f_upper(1 - tail, n1, INFINITY) - 1, g2 = 1 - 1 / f_upper(tail, n2, INFINITY);
    double g12 = (pow(fl - 1, 2) - g1 * g1 * fl * fl - h2 * h2) / fl;
    double h12 = (pow(1 - fu, 2) - h1 * h1 * fu * fu - g2 * g2) / fu;
    *low = a - b - sqrt(fmax(g1 * g1 * a * a + h2 * h2 * b * b + g12 * a * b, 0));
    *high = a - b + sqrt(fmax(h1 * h1 * a * a + g2 * g2 * b * b + h12 * a * b, 0));
}

static rg_component component_of(double raw)
{
    double variance = raw > 0 ? raw : 0;
    return (rg_component){
        .raw = raw, .variance = variance, .negative = raw < 0, .sd = sqrt(variance)};
}

rg_code rg_repeat_component(double between, double df_between, double within, double df_within,
                            int repeats, double confidence, rg_between *spread, rg_error *err)
{
    double low, high;
    *spread = (rg_between){
        .between = between, .df_between = df_between, .within = within, .df_within = df_within};
    gsl_set_error_handler_off();
    if (!(between >= 0) || !isfinite(between) || !(within > 0) || !isfinite(within) ||
        !(df_between > 0) || !isfinite(df_between) || !(df_within > 0) || repeats < 1 ||
        !(confidence > 0 && confidence < 1))
        return rg_fail(
            err, RG_BAD_DATA,
            "repeatability: mean squares %g and %g with %g and %g degrees of freedom, %d "
            "repeats, confidence %g; give positive, finite numbers and a confidence "
            "below 1",
            between, within, df_between, df_within, repeats, confidence);
    spread->component = component_of((between - within) / repeats);
    spread->f = between / within;
    spread->p = f_test(spread->f, df_between, df_within);
    limits(spread, (1 - confidence) / 2, &low, &high);
    spread->low = sqrt(fmax(low, 0) / repeats);
    spread->high = sqrt(fmax(high, 0) / repeats);
    return RG_OK;
}

/* --------------------------------------------------------------- quantities */

typedef struct series {
    int n;
    double x[RG_CLOSINGS_MAX], u[RG_CLOSINGS_MAX], number[RG_CLOSINGS_MAX];
} series;

static void add(series *s, double x, double u, int number)
{
    s->x[s->n] = x;
    s->u[s->n] = u;
    s->number[s->n++] = number;
}

/* False where two closings are not there. */
static bool spread_of(const series *s, double confidence, rg_between *spread, double *mean)
{
    double v = rg_rms(s->u, (size_t)s->n), sd = rg_stdev(s->x, (size_t)s->n);
    *mean = rg_mean(s->x, (size_t)s->n);
    return s->n >= 2 && rg_repeat_component(sd * sd, s->n - 1, v * v, INFINITY, 1, confidence,
                                            spread, NULL) == RG_OK;
}

static bool has_tilt(const rg_seating *s)
{
    return s->state == RG_SEATING_OPEN && s->tilt_known && s->covariance[1][1] > 0 &&
           s->covariance[2][2] > 0;
}

/* ------------------------------------------------------------------- tilt */

typedef struct scatter {
    double s[2][2], v[2][2]; /* observed covariance, mean of the stated ones */
    double large, small;     /* eigenvalues of S */
} scatter;

static void eigenvalues(double m[2][2], double *large, double *small)
{
    double half = (m[0][0] + m[1][1]) / 2, part = hypot((m[0][0] - m[1][1]) / 2, m[0][1]);
    *large = half + part;
    *small = half - part;
}

static scatter scatter_of(const rg_seating *closing, int closings, rg_repeat *r)
{
    scatter c = {0};
    for (int i = 0; i < closings; i++)
        for (int k = 0; has_tilt(&closing[i]) && k < 2; k++)
            r->tilt_mean[k] += closing[i].tilt_mm[k] / r->tilts;
    for (int i = 0; i < closings; i++) {
        if (!has_tilt(&closing[i]))
            continue;
        const double *t = closing[i].tilt_mm;
        for (int k = 0; k < 2; k++)
            for (int l = 0; l < 2; l++) {
                c.s[k][l] += (t[k] - r->tilt_mean[k]) * (t[l] - r->tilt_mean[l]) / (r->tilts - 1);
                c.v[k][l] += closing[i].covariance[1 + k][1 + l] / r->tilts;
            }
    }
    eigenvalues(c.s, &c.large, &c.small);
    return c;
}

/* The axis of S - v and how well it is known. */
static void find_axis(const scatter *c, const rg_repeat_options *o, rg_repeat *r)
{
    double large, small, (*m)[2] = r->excess;
    for (int k = 0; k < 2; k++)
        for (int l = 0; l < 2; l++)
            m[k][l] = c->s[k][l] - c->v[k][l];
    eigenvalues(m, &large, &small);
    r->along_mm = sqrt(fmax(large, 0));
    r->across_mm = sqrt(fmax(small, 0));
    r->axis_deg = fmod(rg_degrees(atan2(2 * m[0][1], m[0][0] - m[1][1])) / 2 + 180, 180);
    double apart = c->large - c->small;
    r->u_axis_deg =
        rg_degrees(sqrt(fmax(c->large * c->small, 0) / (r->tilts - 1)) / fmax(apart, 1e-300));
    if (r->tilts > 2)
        r->axis_p = pow(2 * sqrt(fmax(c->large * c->small, 0)) / fmax(c->large + c->small, 1e-300),
                        r->tilts - 2);
    r->axis_told = large > 0 && r->axis_p <= o->significance && r->u_axis_deg <= o->axis_u_deg;
}

static void find_tilt(const rg_seating *closing, int closings, const rg_repeat_options *o,
                      rg_repeat *r)
{
    const rg_seating *with[RG_CLOSINGS_MAX];
    r->axis_p = r->axis_deg = r->u_axis_deg = r->along_mm = r->across_mm = NAN;
    for (int i = 0; i < closings; i++)
        if (has_tilt(&closing[i]))
            with[r->tilts++] = &closing[i];
    r->test = rg_seating_tilts(with, r->tilts);
    if (r->tilts < 2)
        return;
    scatter c = scatter_of(closing, closings, r);
    double trace = c.large + c.small, squares = c.large * c.large + c.small * c.small;
    double df = squares > 0 ? (r->tilts - 1) * trace * trace / squares : 2.0 * (r->tilts - 1);
    rg_repeat_component(fmax(trace, 0), df, c.v[0][0] + c.v[1][1], INFINITY, 1, o->confidence,
                        &r->tilt, NULL);
    find_axis(&c, o, r);
}

/* ------------------------------------------------------------------ drift */

/* Weighted line of the mean against the closing's number. */
static void find_drift(const series *s, double k, rg_repeat *r)
{
    double weight[RG_CLOSINGS_MAX], start, slope, c00, c01, c11, left;
    r->drift_mm = r->U_drift_mm = r->drift_p = NAN;
    if (s->n < 3)
        return;
    for (int i = 0; i < s->n; i++)
        weight[i] = 1 / (s->u[i] * s->u[i]);
    gsl_fit_wlinear(s->number, 1, weight, 1, s->x, 1, (size_t)s->n, &start, &slope, &c00, &c01,
                    &c11, &left);
    double u = sqrt(c11);
    double factor = sqrt(left / (s->n - 2)); /* Birge's ratio */
    double span = s->number[s->n - 1] - s->number[0];
    double p_stated = 2 * gsl_cdf_ugaussian_Q(fabs(slope) / u);
    double p_seen = factor > 0 ? 2 * gsl_cdf_tdist_Q(fabs(slope) / (factor * u), s->n - 2) : 0;
    r->drift_mm = slope * span;
    r->U_drift_mm = k * u * fmax(factor, 1) * span;
    r->drift_p = fmax(p_stated, p_seen);
}

/* --------------------------------------------------------------- judgement */

static bool is_soft(const rg_repeat *r, const rg_repeat_options *o)
{
    return r->closings >= o->closings_least && r->drift_p <= o->significance &&
           -r->drift_mm > o->soft_drift_mm;
}

static rg_repeat_state judge(const rg_repeat *r, const rg_repeat_options *o)
{
    if (r->tilts < 2 || isnan(r->test.p))
        return RG_REPEAT_NOT_MEASURED;
    bool scatters = r->test.p <= o->significance;
    if (scatters && r->tilt.component.sd > o->loose_tilt_mm)
        return RG_REPEAT_LOOSE_KEY;
    if (!scatters && is_soft(r, o))
        return RG_REPEAT_SOFT_PAD;
    bool enough = r->tilts >= o->closings_least;
    return enough && r->tilt.high <= o->loose_tilt_mm && !is_soft(r, o) ? RG_REPEAT_STEADY
                                                                        : RG_REPEAT_NOT_TOLD;
}

/* --------------------------------------------------------------- sentences */

/* What moves like that. Trade reading: common practice, no source. */
static const char *reading_of(const rg_repeat *r)
{
    if (!r->axis_told)
        return "no axis shows: look for play in the rod or the pivot screws and in the cup on its "
               "arm";
    double from_rod = fabs(r->axis_deg - 90); /* 0 along the rod, 90 across it */
    if (from_rod <= 30)
        return "along the hinge rod, so the key rocks sideways: play of the tube on its rod, or in "
               "the pivot screws";
    if (from_rod >= 60)
        return "across the hinge rod, so the hinge side lifts or the arm gives: play up and down "
               "on "
               "the rod or pivots, the cup loose on its arm, or a finger that presses at another "
               "place";
    return "askew to the hinge rod: play in the rod or the pivot screws at one end, or the cup "
           "loose "
           "on its arm";
}

/* Smaller ones say no more. */
static const char *p_text(double p, char text[24])
{
    snprintf(text, 24, p < 0.001 ? "p < 0.001" : "p = %.3f", p);
    return text;
}

static void say_tilt(const rg_repeat *r, const rg_repeat_options *o, rg_advice *a)
{
    char p[24];
    if (r->state == RG_REPEAT_LOOSE_KEY)
        rg_advise(
            a,
            "Loose key: from closing to closing the tilt scatters by %.3f mm (%.0f %%: %.3f to "
            "%.3f; limit %.3f), beyond measurement (%s); %s.",
            r->tilt.component.sd, 100 * o->confidence, r->tilt.low, r->tilt.high, o->loose_tilt_mm,
            p_text(r->test.p, p), reading_of(r));
    else if (r->tilt.component.negative)
        rg_advise(a,
                  "The tilt scatters no more than measurement does (the estimate is below 0 and "
                  "counts as 0); at most %.3f mm (%.0f %%).",
                  r->tilt.high, 100 * o->confidence);
    else
        rg_advise(a, "The tilt scatters by %.3f mm beyond measurement (%.0f %%: %.3f to %.3f; %s).",
                  r->tilt.component.sd, 100 * o->confidence, r->tilt.low, r->tilt.high,
                  p_text(r->test.p, p));
}

static void say_drift(const rg_repeat *r, const rg_repeat_options *o, rg_advice *a)
{
    if (r->state == RG_REPEAT_SOFT_PAD)
        rg_advise(a,
                  "Soft pad: it sinks by %.3f +- %.3f mm from the first closing to the last, while "
                  "its tilt stays. Let it rest and close it again, or replace it.",
                  -r->drift_mm, r->U_drift_mm);
    else if (r->drift_p <= o->significance)
        rg_advise(a, "Its plane %s by %.3f +- %.3f mm from the first closing to the last.",
                  r->drift_mm < 0 ? "sinks" : "rises", fabs(r->drift_mm), r->U_drift_mm);
    else if (r->has_mean && r->mean.p <= o->significance)
        rg_advise(
            a,
            "Its height scatters by %.3f mm (%.0f %%: %.3f to %.3f) without a trend: press with "
            "the same force each time, or look for play up and down.",
            r->mean.component.sd, 100 * o->confidence, r->mean.low, r->mean.high);
}

static void say_state(const rg_repeat *r, const rg_repeat_options *o, rg_advice *a)
{
    if (r->state == RG_REPEAT_STEADY)
        rg_advise(a, "Steady: no play beyond %.3f mm shows in %d closings.", o->loose_tilt_mm,
                  r->tilts);
    else if (r->state == RG_REPEAT_NOT_TOLD && r->tilts < o->closings_least)
        rg_advise(a, "Loose or not is not told by %d closings: close the key at least %d times.",
                  r->tilts, o->closings_least);
    else if (r->state == RG_REPEAT_NOT_TOLD)
        rg_advise(a,
                  "Loose or not (limit %.3f mm) is not told by %d closings: close it more often.",
                  o->loose_tilt_mm, r->tilts);
    else if (r->state == RG_REPEAT_NOT_MEASURED)
        rg_advise(a, "Loose or not: not measured, since fewer than two closings show a tilt; press "
                     "more lightly, so that the pad just stands open.");
}

static void say_all(const rg_repeat_options *o, rg_repeat *r)
{
    rg_advice *a = &r->advice;
    if (!r->same_finger)
        rg_advise(a, "The finger was not one stated force at all closings: what differs may be the "
                     "finger's.");
    if (r->sealed > 0)
        rg_advise(a, "Sealed at %d of %d closings.", r->sealed, r->closings);
    if (r->tilts >= 2)
        say_tilt(r, o, a);
    say_drift(r, o, a);
    if (r->has_widest && r->widest.p <= o->significance)
        rg_advise(a,
                  "The widest gap scatters by %.3f mm beyond measurement (%.0f %%: %.3f to %.3f).",
                  r->widest.component.sd, 100 * o->confidence, r->widest.low, r->widest.high);
    say_state(r, o, a);
}

/* ------------------------------------------------------------------- entry */

static rg_code check(int closings, const rg_repeat_options *o, rg_error *err)
{
    if (closings < 2 || closings > RG_CLOSINGS_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "repeatability: %d closing(s); sweep the pad 2 to %d times, and release the "
                       "key each time",
                       closings, RG_CLOSINGS_MAX);
    if (!(o->coverage_factor > 0 && o->coverage_factor <= 6) ||
        !(o->confidence > 0 && o->confidence < 1) ||
        !(o->significance > 0 && o->significance < 1) || !(o->same_force_share >= 0) ||
        !(o->loose_tilt_mm > 0) || !(o->soft_drift_mm > 0) || o->closings_least < 2 ||
        !(o->axis_u_deg > 0))
        return rg_fail(
            err, RG_BAD_DATA,
            "repeatability: coverage factor %g, confidence %g, significance %g, limits %g "
            "and %g mm, %d closings, axis %g degrees; give positive numbers, shares below "
            "1, at least 2 closings",
            o->coverage_factor, o->confidence, o->significance, o->loose_tilt_mm, o->soft_drift_mm,
            o->closings_least, o->axis_u_deg);
    return RG_OK;
}

rg_code rg_repeat_find(const rg_seating *closing, int closings, const rg_repeat_options *options,
                       rg_repeat *repeat, rg_error *err)
{
    series widest = {0}, mean = {0};
    const rg_seating *all[RG_CLOSINGS_MAX];
    rg_repeat *r = repeat;
    *r = (rg_repeat){.closings = closings};
    rg_code code = check(closings, options, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < closings; i++) {
        const rg_seating *s = all[i] = &closing[i];
        r->sealed += s->verdict == RG_VERDICT_SEALED;
        r->unseen += s->state == RG_SEATING_UNSEEN;
        if (s->widest_mm >= 0 && s->u_widest_mm > 0)
            add(&widest, s->widest_mm, s->u_widest_mm, i);
        if (s->state == RG_SEATING_OPEN && s->covariance[0][0] > 0)
            add(&mean, s->mean_mm, sqrt(s->covariance[0][0]), i);
    }
    r->same_finger = rg_seating_same_finger(all, closings, options->same_force_share);
    r->has_widest = spread_of(&widest, options->confidence, &r->widest, &r->widest_mean_mm);
    r->has_mean = spread_of(&mean, options->confidence, &r->mean, &r->mean_mean_mm);
    find_tilt(closing, closings, options, r);
    find_drift(&mean, options->coverage_factor, r);
    r->state = judge(r, options);
    say_all(options, r);
    return RG_OK;
}

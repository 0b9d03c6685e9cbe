/*
 * study.c - values and trials to results.
 */
#include "rimglow/study.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

rg_study_settings rg_study_defaults(void)
{
    return (rg_study_settings){.confidence = 0.95,
                               .pool_above = 0.25,
                               .accept_percent = 10,
                               .refuse_percent = 30,
                               .opportunity_deg = 12,
                               .link = RG_LINK_LOGIT,
                               .axis = RG_AXIS_LOG,
                               .signal_axes = RG_SIGNAL_LINEAR};
}

const char *rg_study_verdict_name(rg_study_verdict verdict)
{
    static const char *const name[] = {"passed", "failed", "undecided"};
    return name[verdict];
}

/* ---------------------------------------------------------------- gauge */

static rg_study_verdict judge_gauge(const rg_gauge *g, const rg_study_settings *s)
{
    double percent = g->source[RG_GAUGE_RR].study;
    return percent <= s->accept_percent  ? RG_STUDY_PASSED
           : percent > s->refuse_percent ? RG_STUDY_FAILED
                                         : RG_STUDY_UNDECIDED;
}

/* value - reference, and the reference, of every value that has one. */
static int collect_errors(const double *value, const double *reference, const rg_gauge *g,
                          double *error, double *at)
{
    int n = 0, of_part = g->persons * g->repeats;
    for (int i = 0; i < g->parts * of_part; i++) {
        double r = reference[i / of_part];
        if (!isfinite(r))
            continue;
        error[n] = value[i] - r;
        at[n++] = r;
    }
    return n;
}

static void bias_by_part(const double *value, const double *reference, rg_gauge_study_result *r)
{
    int of_part = r->gauge.persons * r->gauge.repeats;
    for (int p = 0; p < r->gauge.parts; p++) {
        double sum = 0;
        for (int k = 0; k < of_part; k++)
            sum += (value[p * of_part + k] - reference[p]) / of_part;
        r->part[p] = (rg_gauge_bias_of_part){reference[p], sum};
    }
}

static bool references_differ(const double *at, int n)
{
    for (int i = 1; i < n; i++)
        if (at[i] != at[0])
            return true;
    return false;
}

static rg_code take_bias(const double *value, const double *reference,
                         const rg_study_settings *settings, rg_gauge_study_result *r, rg_error *err)
{
    size_t most = (size_t)r->gauge.parts * (size_t)r->gauge.persons * (size_t)r->gauge.repeats;
    double *error = rg_alloc(most, sizeof *error), *at = rg_alloc(most, sizeof *at);
    rg_code code = error && at ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a study's bias");
    int n = code == RG_OK ? collect_errors(value, reference, &r->gauge, error, at) : 0;
    if (code == RG_OK && n >= 2) {
        bias_by_part(value, reference, r);
        r->has_bias = true;
        code = rg_gauge_bias(error, n, settings->confidence, &r->bias, err);
    }
    if (code == RG_OK && n >= 3 && references_differ(at, n)) {
        r->has_line = true;
        code = rg_line_fit(at, error, n, &r->line, err);
    }
    free(error);
    free(at);
    return code;
}

rg_code rg_study_gauge(double *value, const double *reference, int parts, int persons, int repeats,
                       bool degrees, const rg_study_settings *settings,
                       rg_gauge_study_result *result, rg_error *err)
{
    *result = (rg_gauge_study_result){.degrees = degrees, .value = value};
    rg_code code = RG_OK;
    if (degrees && parts > 0)
        code = rg_gauge_unwrap(value, parts, persons * repeats, err);
    if (code == RG_OK)
        code = rg_gauge_study(value, parts, persons, repeats, settings->pool_above,
                              settings->confidence, &result->gauge, err);
    if (code != RG_OK)
        return code;
    result->verdict = judge_gauge(&result->gauge, settings);
    result->part = rg_alloc((size_t)parts, sizeof *result->part);
    if (!result->part)
        return rg_fail(err, RG_INTERNAL, "no memory for %d parts", parts);
    for (int p = 0; p < parts; p++)
        result->part[p] = (rg_gauge_bias_of_part){NAN, NAN};
    if (reference && !degrees)
        code = take_bias(value, reference, settings, result, err);
    if (code != RG_OK)
        rg_gauge_study_free(result);
    return code;
}

void rg_gauge_study_free(rg_gauge_study_result *result)
{
    free(result->part);
    *result = (rg_gauge_study_result){0};
}

/* --------------------------------------------------------------- detect */

static bool is_hit(const rg_trial *t, double decision)
{
    if (t->has_hit)
        return t->hit;
    return t->censor != RG_CENSOR_BELOW && t->signal >= decision;
}

static void take_target(const rg_trial *t, double decision, rg_detection_result *r)
{
    bool hit = is_hit(t, decision);
    r->has_hits = r->has_hits || t->has_hit;
    r->size[r->targets] = t->size_mm;
    r->hit[r->targets++] = hit;
    r->found += hit;
    if (hit)
        r->smallest_found = fmin(r->smallest_found, t->size_mm);
    else
        r->largest_missed = fmax(r->largest_missed, t->size_mm);
    if (!t->has_signal)
        return;
    r->has_signals = true;
    r->below += t->censor == RG_CENSOR_BELOW;
    r->over += t->censor == RG_CENSOR_ABOVE;
    r->response[r->responses++] = (rg_response){t->size_mm, t->signal, t->censor};
}

static void sort_trials(const rg_trial *trial, int n, double decision, rg_detection_result *r)
{
    r->smallest_found = r->largest_missed = NAN; /* fmin and fmax take the number */
    for (int i = 0; i < n; i++) {
        const rg_trial *t = &trial[i];
        if (t->sweep >= r->sweeps)
            r->sweeps = t->sweep + 1;
        if (!t->seen) {
            *(t->size_mm > 0 ? &r->unseen_open : &r->unseen_closed) += 1;
        } else if (t->size_mm > 0) {
            take_target(t, decision, r);
        } else {
            r->closed++;
            r->false_calls += is_hit(t, decision);
        }
    }
    for (int i = 0; i < r->targets; i++)
        if (isnan(r->largest_missed) || r->size[i] > r->largest_missed) {
            r->above++;
            r->above_found += r->hit[i];
        }
}

/* Sweeps in which no trial has a true gap and at least one was seen. */
static rg_code count_sweeps(const rg_trial *trial, int n, rg_detection_result *r, rg_error *err)
{
    unsigned char *seen = rg_alloc((size_t)r->sweeps, 3);
    if (!seen)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", r->sweeps);
    unsigned char *open = seen + r->sweeps, *claim = open + r->sweeps;
    for (int i = 0; i < n; i++)
        if (trial[i].sweep >= 0) {
            seen[trial[i].sweep] |= trial[i].seen;
            open[trial[i].sweep] |= trial[i].size_mm > 0;
            claim[trial[i].sweep] |= trial[i].seen && trial[i].hit;
        }
    for (int k = 0; k < r->sweeps; k++)
        if (seen[k] && !open[k]) {
            r->closed_sweeps++;
            r->false_sweeps += claim[k];
        }
    free(seen);
    return RG_OK;
}

static void bound_shares(rg_detection_result *r, double confidence)
{
    double both = (1 + confidence) / 2;
    r->found_low = rg_binomial_lower(r->found, r->targets, both);
    r->found_high = rg_binomial_upper(r->found, r->targets, both);
    r->above_low = rg_binomial_lower(r->above_found, r->above, confidence);
    r->false_high = rg_binomial_upper(r->false_calls, r->closed, confidence);
    r->false_sweeps_high = rg_binomial_upper(r->false_sweeps, r->closed_sweeps, confidence);
}

/* The curves with their bounds, computed once for pictures and tables. */
static rg_code trace_curves(rg_detection_result *r, rg_error *err)
{
    rg_code code = RG_OK;
    for (int k = 0; code == RG_OK && k < RG_POD_POINTS; k++) {
        double p = (k + 1) / (RG_POD_POINTS + 1.0);
        rg_pod_point *hit = &r->curve[k], *signal = &r->signal_curve[k];
        *hit = *signal = (rg_pod_point){.pod = p, .size = NAN, .low = NAN, .high = NAN};
        hit->size = rg_pod_size(&r->pod, p);
        code = rg_pod_hit_miss_bounds(r->size, r->hit, r->targets, &r->pod, p, 0.95, &hit->low,
                                      &hit->high, err);
        if (r->has_signals) {
            signal->size = rg_pod_size(&r->signal_pod, p);
            rg_pod_signal_bounds(&r->signal_pod, p, 0.95, &signal->low, &signal->high);
        }
    }
    return code;
}

static rg_code fit_curves(const rg_study_settings *s, rg_detection_result *r, rg_error *err)
{
    rg_pod_axis size_axis = s->signal_axes == RG_SIGNAL_LINEAR ? RG_AXIS_LINEAR : RG_AXIS_LOG;
    rg_pod_axis signal_axis = s->signal_axes == RG_SIGNAL_LOG_LOG ? RG_AXIS_LOG : RG_AXIS_LINEAR;
    r->signal_log = signal_axis == RG_AXIS_LOG;
    rg_code code = rg_pod_hit_miss(r->size, r->hit, r->targets, (rg_pod_link)s->link,
                                   (rg_pod_axis)s->axis, &r->pod, err);
    if (code == RG_OK && r->has_signals)
        code = rg_pod_signal(r->response, r->responses, size_axis, signal_axis, r->decision,
                             &r->signal_pod, err);
    return code == RG_OK ? trace_curves(r, err) : code;
}

const rg_pod *rg_detection_main(const rg_detection_result *result)
{
    return result->has_hits || !result->has_signals ? &result->pod : &result->signal_pod;
}

static rg_study_verdict judge_detection(const rg_detection_result *r, double require_mm)
{
    const rg_pod *pod = rg_detection_main(r);
    if (pod->state != RG_POD_FITTED || !isfinite(pod->a90_95))
        return RG_STUDY_UNDECIDED;
    return isnan(require_mm) || pod->a90_95 <= require_mm ? RG_STUDY_PASSED : RG_STUDY_FAILED;
}

static rg_code make_room(int trials, rg_detection_result *r, rg_error *err)
{
    size_t n = (size_t)trials;
    r->size = rg_alloc(n, sizeof *r->size);
    r->hit = rg_alloc(n, sizeof *r->hit);
    r->response = rg_alloc(n, sizeof *r->response);
    if (r->size && r->hit && r->response)
        return RG_OK;
    return rg_fail(err, RG_INTERNAL, "no memory for %d targets", trials);
}

static rg_code check_trials(const rg_trial *trial, int n, double decision, rg_error *err)
{
    if (n < 0 || n > RG_DETECTION_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "%d opportunities are more than the %d of one study; split it or take fewer "
                       "of each sweep",
                       n, RG_DETECTION_MAX);
    for (int i = 0; i < n; i++)
        if (!trial[i].has_hit && (!trial[i].has_signal || !isfinite(decision)))
            return rg_fail(err, RG_BAD_DATA,
                           "target %d has a signal, but no decision threshold is "
                           "stated that says which signals count as found",
                           i + 1);
    return RG_OK;
}

rg_code rg_study_detect(const rg_trial *trial, int trials, double decision, double require_mm,
                        const rg_study_settings *settings, rg_detection_result *result,
                        rg_error *err)
{
    *result = (rg_detection_result){.trials = trials, .decision = decision};
    rg_code code = check_trials(trial, trials, decision, err);
    if (code == RG_OK)
        code = make_room(trials, result, err);
    if (code == RG_OK) {
        sort_trials(trial, trials, decision, result);
        if (!isfinite(decision))
            result->has_signals = false;
        code = count_sweeps(trial, trials, result, err);
    }
    if (code == RG_OK) {
        bound_shares(result, settings->confidence);
        code = fit_curves(settings, result, err);
    }
    if (code == RG_OK)
        result->verdict = judge_detection(result, require_mm);
    else
        rg_detection_result_free(result);
    return code;
}

void rg_detection_result_free(rg_detection_result *result)
{
    free(result->size);
    free(result->hit);
    free(result->response);
    *result = (rg_detection_result){0};
}

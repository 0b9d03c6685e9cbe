/*
 * detection.c - hit/miss curves by Fisher scoring, their likelihood-ratio
 * bounds, exact binomial bounds. The censored regression is tobit.c.
 *
 * Sizes are centred and scaled first; the fit is in z = (t - centre) / scale.
 * All three links are log-concave in (b0, b1), so a step that is halved until
 * the likelihood rises ends at the one maximum, when there is one: exactly
 * when found and missed sizes overlap (Albert and Anderson 1984, Silvapulle
 * 1981).
 *
 * Bound of the size with POD p: a curve through (t, p) is eta = q + s (z - t),
 * q = link(p). For each t the best s >= 0 is sought; where its likelihood has
 * fallen by chi2 / 2, t is the bound. Far away the best curve becomes flat, so
 * there is a bound only if the flat curve fits worse than that.
 */
#include "rimglow/detection.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <gsl/gsl_sf_erf.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/memory.h"

static const double ln2 = 0.69314718055994530942;
static const double sqrt_half = 0.70710678118654752440;
enum { SCORING_STEPS = 200, SLOPE_STEPS = 200, BRACKET_STEPS = 200, ROOT_STEPS = 200 };

const char *rg_pod_state_text(rg_pod_state state)
{
    static const char *const text[] = {
        [RG_POD_FITTED] = "curve fitted",
        [RG_POD_EMPTY] = "there is no target",
        [RG_POD_ALL_FOUND] =
            "all targets were found, so the data do not show where detection ends; "
            "add smaller targets",
        [RG_POD_NONE_FOUND] =
            "no target was found, so the data do not show where detection begins; "
            "add larger targets",
        [RG_POD_SEPARATED] = "found and missed sizes do not overlap, so no curve fits best; add "
                             "targets of sizes between them",
        [RG_POD_ONE_SIZE] = "all targets have one size; add other sizes",
        [RG_POD_FALLING] = "larger targets are not found more often, so a curve means nothing; "
                           "check sizes and results",
        [RG_POD_TOO_FEW] = "fewer than three signals lie within the limits; add targets",
        [RG_POD_NO_SCATTER] = "the signals lie on one line without any scatter; measure targets "
                              "again independently",
    };
    return text[state];
}

const char *rg_pod_link_name(rg_pod_link link)
{
    static const char *const name[] = {"logit", "probit", "cloglog"};
    return name[link];
}

/* ----------------------------------------------------------------- links */

/* ln p and ln (1 - p) at eta, and how they move: hit = d ln p, miss = -d ln (1 - p);
 * their product is Fisher's weight. */
typedef struct terms {
    double ln_hit, ln_miss, hit, miss;
} terms;

static terms logit_terms(double eta)
{
    double small = exp(-fabs(eta)), tail = log1p(small);
    double p = eta > 0 ? 1 / (1 + small) : small / (1 + small);
    return (terms){eta > 0 ? -tail : eta - tail, eta > 0 ? -eta - tail : -tail,
                   eta > 0 ? small / (1 + small) : 1 / (1 + small), p};
}

static terms probit_terms(double eta)
{
    return (terms){gsl_sf_log_erfc(-eta * sqrt_half) - ln2, gsl_sf_log_erfc(eta * sqrt_half) - ln2,
                   gsl_sf_hazard(-eta), gsl_sf_hazard(eta)};
}

static terms cloglog_terms(double eta)
{
    double e = exp(fmin(eta, 300));
    return (terms){e < 1e-8 ? log(e) - e / 2 : log(-expm1(-e)), -e,
                   e < 1e-8 ? 1 - e / 2 : e / expm1(e), e};
}

static terms terms_at(rg_pod_link link, double eta)
{
    /* Beyond this nothing changes in a double but the risk of an overflow. */
    double safe = fmax(fmin(eta, 1e6), link == RG_LINK_CLOGLOG ? -700 : -1e6);
    return link == RG_LINK_LOGIT    ? logit_terms(safe)
           : link == RG_LINK_PROBIT ? probit_terms(safe)
                                    : cloglog_terms(safe);
}

/* eta at which the probability is p. */
static double link_of(rg_pod_link link, double p)
{
    return link == RG_LINK_LOGIT    ? log(p) - log1p(-p)
           : link == RG_LINK_PROBIT ? gsl_cdf_ugaussian_Pinv(p)
                                    : log(-log1p(-p));
}

/* ------------------------------------------------------------ hit/miss */

typedef struct sample {
    const bool *hit;
    int n;
    rg_pod_link link;
    double *z; /* owned */
    double centre, scale;
} sample;

static double on_axis(rg_pod_axis axis, double size)
{
    return axis == RG_AXIS_LOG ? log(size) : size;
}

static double off_axis(rg_pod_axis axis, double t)
{
    return axis == RG_AXIS_LOG ? exp(t) : t;
}

static rg_code check_sizes(const double *size, int n, rg_pod_axis axis, rg_error *err)
{
    if (n > RG_DETECTION_MAX)
        return rg_fail(err, RG_BAD_DATA, "%d targets are more than the %d of one study; split it",
                       n, RG_DETECTION_MAX);
    for (int i = 0; i < n; i++)
        if (!isfinite(size[i]) || (axis == RG_AXIS_LOG && !(size[i] > 0)))
            return rg_fail(err, RG_BAD_DATA, "target %d has size %g; %s", i + 1, size[i],
                           axis == RG_AXIS_LOG ? "a logarithmic axis needs sizes above 0"
                                               : "sizes must be finite numbers");
    return RG_OK;
}

static rg_code make_sample(const double *size, const bool *hit, int n, rg_pod_link link,
                           rg_pod_axis axis, sample *s, rg_error *err)
{
    double sum = 0, squares = 0;
    *s = (sample){.hit = hit, .n = n, .link = link, .scale = 1};
    rg_code code = check_sizes(size, n, axis, err);
    if (code != RG_OK)
        return code;
    s->z = rg_alloc((size_t)(n > 0 ? n : 0), sizeof *s->z);
    if (!s->z)
        return rg_fail(err, RG_INTERNAL, "no memory for %d targets", n);
    for (int i = 0; i < n; i++)
        sum += on_axis(axis, size[i]) / n;
    for (int i = 0; i < n; i++) {
        s->z[i] = on_axis(axis, size[i]) - sum;
        squares += s->z[i] * s->z[i];
    }
    s->centre = sum;
    if (n > 0 && squares > 0)
        s->scale = sqrt(squares / n);
    for (int i = 0; i < n; i++)
        s->z[i] /= s->scale;
    return RG_OK;
}

/* States that are seen without a fit. */
static rg_pod_state state_of(const double *size, const bool *hit, int n, int found)
{
    double hit_low = INFINITY, hit_high = -INFINITY, miss_low = INFINITY, miss_high = -INFINITY;
    for (int i = 0; i < n; i++) {
        double *low = hit[i] ? &hit_low : &miss_low, *high = hit[i] ? &hit_high : &miss_high;
        *low = fmin(*low, size[i]);
        *high = fmax(*high, size[i]);
    }
    if (n < 1)
        return RG_POD_EMPTY;
    if (found == n)
        return RG_POD_ALL_FOUND;
    if (found == 0)
        return RG_POD_NONE_FOUND;
    if (fmin(hit_low, miss_low) == fmax(hit_high, miss_high))
        return RG_POD_ONE_SIZE;
    return miss_high <= hit_low || hit_high <= miss_low ? RG_POD_SEPARATED : RG_POD_FITTED;
}

static double likelihood(const sample *s, const double b[2])
{
    double l = 0;
    for (int i = 0; i < s->n; i++) {
        terms t = terms_at(s->link, b[0] + b[1] * s->z[i]);
        l += s->hit[i] ? t.ln_hit : t.ln_miss;
    }
    return l;
}

/* Score and Fisher's information at b. */
static void score_at(const sample *s, const double b[2], double score[2], double info[3])
{
    score[0] = score[1] = info[0] = info[1] = info[2] = 0;
    for (int i = 0; i < s->n; i++) {
        terms t = terms_at(s->link, b[0] + b[1] * s->z[i]);
        double d = s->hit[i] ? t.hit : -t.miss, w = t.hit * t.miss, z = s->z[i];
        score[0] += d;
        score[1] += d * z;
        info[0] += w;
        info[1] += w * z;
        info[2] += w * z * z;
    }
}

/* One scoring step, halved until the likelihood does not fall. Its gain, or a
 * negative number when no step is possible. */
static double scoring_step(const sample *s, double b[2], double *l)
{
    double score[2], info[3];
    score_at(s, b, score, info);
    double det = info[0] * info[2] - info[1] * info[1];
    if (!(det > 0))
        return -1;
    double step[2] = {(info[2] * score[0] - info[1] * score[1]) / det,
                      (info[0] * score[1] - info[1] * score[0]) / det};
    for (double part = 1; part > 1e-12; part /= 2) {
        double next[2] = {b[0] + part * step[0], b[1] + part * step[1]};
        double there = likelihood(s, next);
        if (there >= *l) {
            double gain = there - *l;
            b[0] = next[0];
            b[1] = next[1];
            *l = there;
            return gain;
        }
    }
    return 0;
}

/* False where sizes overlap so little that the maximum cannot be reached. */
static bool maximise(const sample *s, int found, double b[2], double *l)
{
    b[0] = link_of(s->link, (double)found / s->n);
    b[1] = 0;
    *l = likelihood(s, b);
    for (int k = 0; k < SCORING_STEPS; k++) {
        double gain = scoring_step(s, b, l);
        if (gain < 0)
            return false;
        /* Quadratic at the end: one more step takes the rest. */
        if (gain <= 1e-10 * (1 + fabs(*l)))
            return scoring_step(s, b, l) >= 0 && isfinite(*l);
    }
    return false;
}

/* From z back to the axis, with the covariance of both. */
static bool unscale(const sample *s, const double b[2], rg_pod *pod)
{
    double score[2], info[3];
    score_at(s, b, score, info);
    double det = info[0] * info[2] - info[1] * info[1];
    if (!(det > 0))
        return false;
    double v00 = info[2] / det, v01 = -info[1] / det, v11 = info[0] / det;
    double k = s->centre / s->scale;
    pod->b[1] = b[1] / s->scale;
    pod->b[0] = b[0] - k * b[1];
    pod->cov_b[0][0] = v00 - 2 * k * v01 + k * k * v11;
    pod->cov_b[0][1] = pod->cov_b[1][0] = (v01 - k * v11) / s->scale;
    pod->cov_b[1][1] = v11 / (s->scale * s->scale);
    return true;
}

/* Location and scale of the curve from the line, by the delta method. */
static void location_and_scale(rg_pod *pod)
{
    double b0 = pod->b[0], b1 = pod->b[1];
    double jacobian[2][2] = {{-1 / b1, b0 / (b1 * b1)}, {0, -1 / (b1 * b1)}};
    pod->mu = -b0 / b1;
    pod->sigma = 1 / b1;
    for (int i = 0; i < 2; i++)
        for (int j = 0; j < 2; j++) {
            pod->cov[i][j] = 0;
            for (int k = 0; k < 4; k++)
                pod->cov[i][j] +=
                    jacobian[i][k / 2] * pod->cov_b[k / 2][k % 2] * jacobian[j][k % 2];
        }
}

static rg_pod nothing(rg_pod_state state, rg_pod_link link, rg_pod_axis axis, int n, int found)
{
    return (rg_pod){.state = state,
                    .link = link,
                    .axis = axis,
                    .n = n,
                    .found = found,
                    .b = {NAN, NAN},
                    .cov_b = {{NAN, NAN}, {NAN, NAN}},
                    .tau = NAN,
                    .mu = NAN,
                    .sigma = NAN,
                    .cov = {{NAN, NAN}, {NAN, NAN}},
                    .log_likelihood = NAN,
                    .a50 = NAN,
                    .a90 = NAN,
                    .a90_95 = NAN};
}

/* GSL would abort the process where a function leaves its range. */
static void quiet(void)
{
    gsl_set_error_handler_off();
}

static int count_hits(const bool *hit, int n)
{
    int found = 0;
    for (int i = 0; i < n; i++)
        found += hit[i];
    return found;
}

rg_code rg_pod_hit_miss(const double *size, const bool *hit, int n, rg_pod_link link,
                        rg_pod_axis axis, rg_pod *pod, rg_error *err)
{
    sample s;
    double b[2], l, low;
    int found = count_hits(hit, n);
    quiet();
    *pod = nothing(RG_POD_EMPTY, link, axis, n, found);
    rg_code code = make_sample(size, hit, n, link, axis, &s, err);
    if (code != RG_OK)
        return code;
    pod->state = state_of(size, hit, n, found);
    if (pod->state == RG_POD_FITTED && !(maximise(&s, found, b, &l) && unscale(&s, b, pod)))
        pod->state = RG_POD_SEPARATED;
    free(s.z);
    if (pod->state != RG_POD_FITTED)
        return RG_OK;
    pod->log_likelihood = l;
    if (!(pod->b[1] > 0)) {
        pod->state = RG_POD_FALLING;
        return RG_OK;
    }
    location_and_scale(pod);
    pod->a50 = rg_pod_size(pod, 0.5);
    pod->a90 = rg_pod_size(pod, 0.9);
    return rg_pod_hit_miss_bounds(size, hit, n, pod, 0.9, 0.95, &low, &pod->a90_95, err);
}

double rg_pod_at(const rg_pod *pod, double size)
{
    quiet();
    if (pod->state != RG_POD_FITTED)
        return NAN;
    if (pod->axis == RG_AXIS_LOG && !(size > 0))
        return 0;
    double eta = (on_axis(pod->axis, size) - pod->mu) / pod->sigma;
    return exp(terms_at(pod->link, eta).ln_hit);
}

double rg_pod_size(const rg_pod *pod, double p)
{
    quiet();
    if (pod->state != RG_POD_FITTED || !(p > 0 && p < 1))
        return NAN;
    return off_axis(pod->axis, pod->mu + pod->sigma * link_of(pod->link, p));
}

/* ------------------------------------------------ likelihood-ratio bounds */

typedef struct profile {
    const sample *s;
    double q;     /* link(p) */
    double floor; /* log-likelihood at the bound */
    double start; /* slope > 0 to begin with */
} profile;

/* Slope of the log-likelihood by s of the curve q + s (z - t), and its curvature. */
static double rise(const profile *p, double t, double slope, double *weight)
{
    double d = 0, w = 0;
    for (int i = 0; i < p->s->n; i++) {
        double x = p->s->z[i] - t;
        terms k = terms_at(p->s->link, p->q + slope * x);
        d += (p->s->hit[i] ? k.hit : -k.miss) * x;
        w += k.hit * k.miss * x * x;
    }
    *weight = w;
    return d;
}

/* The best slope >= 0 for a curve through (t, p): Newton's method on a function that
 * falls, kept within the bracket found so far. */
static double best_slope(const profile *p, double t)
{
    double w, low = 0, high = INFINITY, slope = p->start;
    if (rise(p, t, 0, &w) <= 0)
        return 0;
    for (int k = 0; k < SLOPE_STEPS && (isinf(high) || high - low > 1e-13 * high); k++) {
        double d = rise(p, t, slope, &w);
        *(d > 0 ? &low : &high) = slope;
        double next = w > 0 ? slope + d / w : NAN;
        double most = isinf(high) ? 4 * slope : high;
        if (!(next > low && next < most))
            next = isinf(high) ? most : (low + high) / 2;
        if (fabs(next - slope) <= 1e-12 * slope)
            return next;
        slope = next;
    }
    return slope;
}

/* Log-likelihood above the bound's, of the best curve through (t, p). */
static double surplus(double t, void *params)
{
    profile *p = params;
    double slope = best_slope(p, t);
    if (slope > 0)
        p->start = slope; /* the next one is near */
    double b[2] = {p->q - slope * t, slope};
    return likelihood(p->s, b) - p->floor;
}

/* The root between near (surplus >= 0) and far (< 0). */
static double root_between(profile *p, double near, double far)
{
    gsl_function f = {surplus, p};
    gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
    double low = fmin(near, far), high = fmax(near, far), root = NAN;
    if (!solver)
        return NAN;
    if (gsl_root_fsolver_set(solver, &f, low, high) == GSL_SUCCESS)
        for (int k = 0; k < ROOT_STEPS; k++) {
            if (gsl_root_fsolver_iterate(solver) != GSL_SUCCESS)
                break;
            root = gsl_root_fsolver_root(solver);
            low = gsl_root_fsolver_x_lower(solver);
            high = gsl_root_fsolver_x_upper(solver);
            if (high - low <= 1e-12 * (1 + fabs(root)))
                break;
        }
    gsl_root_fsolver_free(solver);
    return root;
}

/* sign +1: the upper bound. flat: surplus of the flat curve that the bound
 * tends to far out. */
static double bound_from(profile *p, double best, double sign, double flat)
{
    double near = best, step = 0.1;
    if (flat >= 0)
        return sign * INFINITY;
    for (int k = 0; k < BRACKET_STEPS; k++) {
        double far = best + sign * step;
        if (surplus(far, p) < 0)
            return root_between(p, near, far);
        near = far;
        step *= 2;
    }
    return sign * INFINITY;
}

/* Surplus of the flat curve nearest to the share found on one side of p. */
static double flat_surplus(const profile *p, double probability, double sign)
{
    int found = count_hits(p->s->hit, p->s->n);
    double share = (double)found / p->s->n;
    double flat = sign > 0 ? fmin(share, probability) : fmax(share, probability);
    double b[2] = {link_of(p->s->link, flat), 0};
    return likelihood(p->s, b) - p->floor;
}

rg_code rg_pod_hit_miss_bounds(const double *size, const bool *hit, int n, const rg_pod *pod,
                               double p, double confidence, double *low, double *high,
                               rg_error *err)
{
    sample s;
    quiet();
    *low = *high = NAN;
    if (pod->state != RG_POD_FITTED || !(p > 0 && p < 1) || !(confidence > 0 && confidence < 1))
        return RG_OK;
    rg_code code = make_sample(size, hit, n, pod->link, pod->axis, &s, err);
    if (code != RG_OK)
        return code;
    profile f = {.s = &s,
                 .q = link_of(pod->link, p),
                 .floor = pod->log_likelihood - gsl_cdf_chisq_Pinv(confidence, 1) / 2,
                 .start = pod->b[1] * s.scale};
    double best = (pod->mu + pod->sigma * f.q - s.centre) / s.scale;
    double up = bound_from(&f, best, 1, flat_surplus(&f, p, 1));
    double down = bound_from(&f, best, -1, flat_surplus(&f, p, -1));
    *high = off_axis(pod->axis, s.centre + s.scale * up);
    *low = off_axis(pod->axis, s.centre + s.scale * down);
    free(s.z);
    if (isnan(*high) || isnan(*low))
        return rg_fail(err, RG_INTERNAL, "the bound of the size with POD %g was not found", p);
    return RG_OK;
}

/* ------------------------------------------------------ signal/response */

static rg_code check_responses(const rg_response *r, int n, rg_pod_axis axis,
                               rg_pod_axis signal_axis, double decision, rg_error *err)
{
    bool log_signal = signal_axis == RG_AXIS_LOG;
    if (!isfinite(decision) || (log_signal && !(decision > 0)))
        return rg_fail(err, RG_BAD_DATA, "the decision threshold %g must be a number%s", decision,
                       log_signal ? " above 0 on a logarithmic axis" : "");
    for (int i = 0; i < n && n <= RG_DETECTION_MAX; i++) {
        rg_code code = check_sizes(&r[i].size, 1, axis, err);
        if (code != RG_OK)
            return rg_fail(err, RG_BAD_DATA, "target %d has size %g; %s", i + 1, r[i].size,
                           axis == RG_AXIS_LOG ? "a logarithmic axis needs sizes above 0"
                                               : "sizes must be finite numbers");
        if (!isfinite(r[i].signal) || (log_signal && !(r[i].signal > 0)))
            return rg_fail(err, RG_BAD_DATA, "target %d has signal %g; %s", i + 1, r[i].signal,
                           log_signal ? "a logarithmic axis needs signals above 0"
                                      : "signals must be finite numbers");
    }
    return check_sizes(NULL, n > RG_DETECTION_MAX ? n : 0, axis, err);
}

static int count_signals(const rg_response *r, int n, double decision)
{
    int found = 0;
    for (int i = 0; i < n; i++)
        found += r[i].censor == RG_CENSOR_BELOW ? false : r[i].signal >= decision;
    return found;
}

static bool one_size(const rg_response *r, int n)
{
    for (int i = 1; i < n; i++)
        if (r[i].size != r[0].size)
            return false;
    return true;
}

/* b0, b1, tau of the signal become the curve; covariance by the delta method. */
static void curve_from(const rg_tobit *fit, double decision, rg_pod *pod)
{
    double b1 = fit->b[1], tau = fit->sigma, mu = (decision - fit->b[0]) / b1;
    /* d (mu, sigma) / d (b0, b1, ln tau) */
    double j[2][3] = {{-1 / b1, -mu / b1, 0}, {0, -tau / (b1 * b1), tau / b1}};
    pod->mu = mu;
    pod->sigma = tau / b1;
    for (int r = 0; r < 2; r++)
        for (int c = 0; c < 2; c++) {
            pod->cov[r][c] = 0;
            for (int k = 0; k < 9; k++)
                pod->cov[r][c] += j[r][k / 3] * fit->cov[k / 3][k % 3] * j[c][k % 3];
        }
}

static rg_code fit_signals(const rg_response *r, int n, rg_pod_axis axis, rg_pod_axis signal_axis,
                           rg_tobit *fit, rg_error *err)
{
    double *x = rg_alloc((size_t)n, sizeof *x), *y = rg_alloc((size_t)n, sizeof *y);
    rg_censor *c = rg_alloc((size_t)n, sizeof *c);
    rg_code code = x && y && c ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %d signals", n);
    for (int i = 0; code == RG_OK && i < n; i++) {
        x[i] = on_axis(axis, r[i].size);
        y[i] = on_axis(signal_axis, r[i].signal);
        c[i] = r[i].censor;
    }
    if (code == RG_OK)
        code = rg_tobit_fit(x, 1, y, c, n, fit, err);
    free(x);
    free(y);
    free(c);
    return code;
}

rg_code rg_pod_signal(const rg_response *response, int n, rg_pod_axis axis, rg_pod_axis signal_axis,
                      double decision, rg_pod *pod, rg_error *err)
{
    rg_tobit fit;
    quiet();
    *pod = nothing(RG_POD_EMPTY, RG_LINK_PROBIT, axis, n, 0);
    rg_code code = check_responses(response, n, axis, signal_axis, decision, err);
    if (code != RG_OK || n < 1)
        return code;
    pod->found = count_signals(response, n, decision);
    if (one_size(response, n)) {
        pod->state = RG_POD_ONE_SIZE;
        return RG_OK;
    }
    code = fit_signals(response, n, axis, signal_axis, &fit, err);
    if (code != RG_OK)
        return code;
    pod->state = fit.state == RG_TOBIT_TOO_FEW      ? RG_POD_TOO_FEW
                 : fit.state == RG_TOBIT_NO_SCATTER ? RG_POD_NO_SCATTER
                                                    : RG_POD_FITTED;
    if (pod->state != RG_POD_FITTED)
        return RG_OK;
    for (int i = 0; i < 2; i++) {
        pod->b[i] = fit.b[i];
        for (int k = 0; k < 2; k++)
            pod->cov_b[i][k] = fit.cov[i][k];
    }
    pod->tau = fit.sigma;
    pod->log_likelihood = fit.log_likelihood;
    if (!(fit.b[1] > 0)) {
        pod->state = RG_POD_FALLING;
        return RG_OK;
    }
    double low;
    curve_from(&fit, on_axis(signal_axis, decision), pod);
    pod->a50 = rg_pod_size(pod, 0.5);
    pod->a90 = rg_pod_size(pod, 0.9);
    rg_pod_signal_bounds(pod, 0.9, 0.95, &low, &pod->a90_95);
    return RG_OK;
}

void rg_pod_signal_bounds(const rg_pod *pod, double p, double confidence, double *low, double *high)
{
    quiet();
    *low = *high = NAN;
    if (pod->state != RG_POD_FITTED || !(p > 0 && p < 1) || !(confidence > 0 && confidence < 1))
        return;
    double q = gsl_cdf_ugaussian_Pinv(p), t = pod->mu + q * pod->sigma;
    double u = sqrt(pod->cov[0][0] + 2 * q * pod->cov[0][1] + q * q * pod->cov[1][1]);
    double z = gsl_cdf_ugaussian_Pinv(confidence);
    *low = off_axis(pod->axis, t - z * u);
    *high = off_axis(pod->axis, t + z * u);
}

/* -------------------------------------------------------------- binomial */

double rg_binomial_lower(int found, int n, double confidence)
{
    quiet();
    return found <= 0 || n <= 0 ? 0 : gsl_cdf_beta_Pinv(1 - confidence, found, n - found + 1.0);
}

double rg_binomial_upper(int found, int n, double confidence)
{
    quiet();
    return found >= n || n <= 0 ? 1 : gsl_cdf_beta_Pinv(confidence, found + 1.0, n - found);
}

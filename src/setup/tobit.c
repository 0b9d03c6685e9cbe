/*
 * tobit.c - linear regression with censored values (part of detection.h).
 *
 * Tobin (1958), Econometrica 26: 24-36. In the parameters g = b / sigma and
 * h = 1 / sigma the log-likelihood
 *   exact: ln h - (h y - x g)^2 / 2 - ln(2 pi) / 2
 *   below: ln Phi(h y - x g)        above: ln Phi(x g - h y)
 * is concave (Olsen 1978, Econometrica 46: 1211-1215), so Newton's method with
 * halved steps finds its maximum from anywhere. Values and covariates are centred
 * and scaled first; the covariance is the inverse of the observed information,
 * carried back to (b, ln sigma) of the original values.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_sf_erf.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/detection.h"
#include "rimglow/memory.h"

enum { UNKNOWNS = RG_TOBIT_TERMS + 1, NEWTON_STEPS = 200 };
/* Scatter below this share of the values' spread is none. */
static const double least_scatter = 1e-9;
static const double sqrt_half = 0.70710678118654752440;
static const double ln2 = 0.69314718055994530942;
static const double half_ln_2pi = 0.91893853320467274178;

typedef struct scaled {
    int n, terms;
    const rg_censor *censor;
    double *x, *y;                            /* owned; x[n][terms] with the leading 1 */
    double centre[UNKNOWNS], scale[UNKNOWNS]; /* of covariate j at j; of y at 0 */
} scaled;

static rg_code check_values(const double *x, int covariates, const double *y, int n, rg_error *err)
{
    if (covariates < 0 || covariates >= RG_TOBIT_TERMS || n < 0 || n > RG_DETECTION_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "%d covariates and %d values: a censored regression takes at most %d and %d",
                       covariates, n, RG_TOBIT_TERMS - 1, RG_DETECTION_MAX);
    for (int i = 0; i < n; i++) {
        bool finite = isfinite(y[i]);
        for (int j = 0; j < covariates; j++)
            finite = finite && isfinite(x[i * covariates + j]);
        if (!finite)
            return rg_fail(err, RG_BAD_DATA, "value %d of the regression is not a finite number",
                           i + 1);
    }
    return RG_OK;
}

/* Mean and root mean square about it of every stride-th number. */
static void spread_of(const double *v, int n, int stride, double *centre, double *scale)
{
    double sum = 0, squares = 0;
    for (int i = 0; i < n; i++)
        sum += v[i * stride] / n;
    for (int i = 0; i < n; i++)
        squares += (v[i * stride] - sum) * (v[i * stride] - sum) / n;
    *centre = sum;
    *scale = squares > 0 ? sqrt(squares) : 1;
}

static rg_code scale_values(const double *x, int covariates, const double *y,
                            const rg_censor *censor, int n, scaled *s, rg_error *err)
{
    int terms = covariates + 1;
    *s = (scaled){.n = n, .terms = terms, .censor = censor};
    s->x = rg_alloc((size_t)n * (size_t)terms, sizeof *s->x);
    s->y = rg_alloc((size_t)n, sizeof *s->y);
    if (!s->x || !s->y)
        return rg_fail(err, RG_INTERNAL, "no memory for a regression of %d values", n);
    spread_of(y, n, 1, &s->centre[0], &s->scale[0]);
    for (int j = 1; j < terms; j++)
        spread_of(x + j - 1, n, covariates, &s->centre[j], &s->scale[j]);
    for (int i = 0; i < n; i++) {
        s->y[i] = (y[i] - s->centre[0]) / s->scale[0];
        s->x[i * terms] = 1;
        for (int j = 1; j < terms; j++)
            s->x[i * terms + j] = (x[i * covariates + j - 1] - s->centre[j]) / s->scale[j];
    }
    return RG_OK;
}

/* h y - x g, the standardised value. */
static double standardised(const scaled *s, const double *p, int i)
{
    double r = p[s->terms] * s->y[i];
    for (int j = 0; j < s->terms; j++)
        r -= s->x[i * s->terms + j] * p[j];
    return r;
}

static double likelihood(const scaled *s, const double *p)
{
    double l = 0;
    if (!(p[s->terms] > 0))
        return -INFINITY;
    for (int i = 0; i < s->n; i++) {
        double r = standardised(s, p, i);
        if (s->censor[i] == RG_CENSOR_NONE)
            l += log(p[s->terms]) - r * r / 2 - half_ln_2pi;
        else
            l += gsl_sf_log_erfc((s->censor[i] == RG_CENSOR_BELOW ? -r : r) * sqrt_half) - ln2;
    }
    return l;
}

/* First and negative second derivative by r of one value's log-likelihood. */
static double derivative(rg_censor censor, double r, double *curvature)
{
    if (censor == RG_CENSOR_NONE) {
        *curvature = 1;
        return -r;
    }
    double sign = censor == RG_CENSOR_BELOW ? 1 : -1;
    double mills = gsl_sf_hazard(-sign * r);
    *curvature = mills * (mills + sign * r);
    return sign * mills;
}

/* Score and observed information, which is positive definite. */
static void derivatives(const scaled *s, const double *p, double score[UNKNOWNS],
                        double info[UNKNOWNS][UNKNOWNS])
{
    int k = s->terms + 1;
    double exact = 0, row[UNKNOWNS];
    for (int a = 0; a < k; a++) {
        score[a] = 0;
        for (int b = 0; b < k; b++)
            info[a][b] = 0;
    }
    for (int i = 0; i < s->n; i++) {
        double curvature, d = derivative(s->censor[i], standardised(s, p, i), &curvature);
        for (int a = 0; a < k; a++)
            row[a] = a < s->terms ? -s->x[i * s->terms + a] : s->y[i];
        exact += s->censor[i] == RG_CENSOR_NONE;
        for (int a = 0; a < k; a++) {
            score[a] += d * row[a];
            for (int b = 0; b < k; b++)
                info[a][b] += curvature * row[a] * row[b];
        }
    }
    score[k - 1] += exact / p[k - 1];
    info[k - 1][k - 1] += exact / (p[k - 1] * p[k - 1]);
}

/* Cholesky's inverse; false when the matrix is not positive definite. */
static bool invert(double matrix[UNKNOWNS][UNKNOWNS], int k)
{
    double flat[UNKNOWNS * UNKNOWNS];
    for (int a = 0; a < k; a++)
        for (int b = 0; b < k; b++)
            flat[a * k + b] = matrix[a][b];
    for (int a = 0; a < k; a++)
        if (!(matrix[a][a] > 0) || !isfinite(matrix[a][a]))
            return false;
    gsl_matrix_view m = gsl_matrix_view_array(flat, (size_t)k, (size_t)k);
    if (gsl_linalg_cholesky_decomp1(&m.matrix) || gsl_linalg_cholesky_invert(&m.matrix))
        return false;
    for (int a = 0; a < k; a++)
        for (int b = 0; b < k; b++)
            matrix[a][b] = flat[a * k + b];
    return true;
}

/* Gain of one Newton step, halved until the likelihood does not fall; -1 when
 * the information is singular. */
static double newton_step(const scaled *s, double *p, double *l)
{
    int k = s->terms + 1;
    double score[UNKNOWNS], info[UNKNOWNS][UNKNOWNS], step[UNKNOWNS] = {0};
    derivatives(s, p, score, info);
    if (!invert(info, k))
        return -1;
    for (int a = 0; a < k; a++)
        for (int b = 0; b < k; b++)
            step[a] += info[a][b] * score[b];
    for (double part = 1; part > 1e-12; part /= 2) {
        double next[UNKNOWNS];
        for (int a = 0; a < k; a++)
            next[a] = p[a] + part * step[a];
        double there = likelihood(s, next);
        if (there >= *l) {
            double gain = there - *l;
            for (int a = 0; a < k; a++)
                p[a] = next[a];
            *l = there;
            return gain;
        }
    }
    return 0;
}

typedef enum ending { REACHED, RUNS_AWAY, SINGULAR } ending;

static ending maximise(const scaled *s, double *p, double *l)
{
    for (int a = 0; a < s->terms; a++)
        p[a] = 0;
    p[s->terms] = 1;
    *l = likelihood(s, p);
    for (int k = 0; k < NEWTON_STEPS; k++) {
        double gain = newton_step(s, p, l);
        if (gain < 0)
            return p[s->terms] * least_scatter > 1e-3 ? RUNS_AWAY : SINGULAR;
        if (p[s->terms] * least_scatter > 1)
            return RUNS_AWAY;
        if (gain <= 1e-10 * (1 + fabs(*l)))
            return newton_step(s, p, l) < 0 ? SINGULAR : REACHED;
    }
    return RUNS_AWAY;
}

/* From (g, h) of the scaled values to (b, ln sigma) of the given ones. */
static bool unscale(const scaled *s, const double *p, rg_tobit *fit)
{
    int t = s->terms, k = t + 1;
    double score[UNKNOWNS], v[UNKNOWNS][UNKNOWNS], j[UNKNOWNS][UNKNOWNS] = {{0}};
    double h = p[t], sy = s->scale[0];
    derivatives(s, p, score, v);
    if (!invert(v, k))
        return false;
    for (int a = 1; a < t; a++) {
        double r = sy / s->scale[a];
        fit->b[a] = r * p[a] / h;
        j[a][a] = r / h;
        j[a][t] = -r * p[a] / (h * h);
    }
    fit->b[0] = s->centre[0] + sy * p[0] / h;
    j[0][0] = sy / h;
    j[0][t] = -sy * p[0] / (h * h);
    for (int a = 1; a < t; a++) {
        fit->b[0] -= s->centre[a] * fit->b[a];
        j[0][a] = -s->centre[a] * j[a][a];
        j[0][t] -= s->centre[a] * j[a][t];
    }
    j[t][t] = -1 / h;
    fit->sigma = sy / h;
    for (int a = 0; a < k; a++)
        for (int b = 0; b < k; b++)
            for (int c = 0; c < k * k; c++)
                fit->cov[a][b] += j[a][c / k] * v[c / k][c % k] * j[b][c % k];
    return true;
}

static void count_kinds(const rg_censor *censor, int n, rg_tobit *fit)
{
    for (int i = 0; i < n; i++) {
        fit->exact += censor[i] == RG_CENSOR_NONE;
        fit->below += censor[i] == RG_CENSOR_BELOW;
        fit->above += censor[i] == RG_CENSOR_ABOVE;
    }
}

static rg_code fit_scaled(const scaled *s, rg_tobit *fit, rg_error *err)
{
    double p[UNKNOWNS], l;
    ending end = maximise(s, p, &l);
    if (end == RUNS_AWAY) {
        fit->state = RG_TOBIT_NO_SCATTER;
        return RG_OK;
    }
    if (end == SINGULAR || !unscale(s, p, fit))
        return rg_fail(err, RG_BAD_DATA,
                       "the covariates of a censored regression depend on each "
                       "other, or one is constant; leave one out");
    fit->state = RG_TOBIT_FITTED;
    /* The density of y, not of the scaled one. */
    fit->log_likelihood = l - fit->exact * log(s->scale[0]);
    return RG_OK;
}

rg_code rg_tobit_fit(const double *x, int covariates, const double *y, const rg_censor *censor,
                     int n, rg_tobit *fit, rg_error *err)
{
    scaled s = {0};
    gsl_set_error_handler_off(); /* GSL would abort the process on a failed decomposition */
    *fit = (rg_tobit){.state = RG_TOBIT_TOO_FEW, .terms = covariates + 1};
    rg_code code = check_values(x, covariates, y, n, err);
    if (code != RG_OK)
        return code;
    count_kinds(censor, n, fit);
    if (fit->exact < fit->terms + 1)
        return RG_OK;
    code = scale_values(x, covariates, y, censor, n, &s, err);
    if (code == RG_OK)
        code = fit_scaled(&s, fit, err);
    free(s.x);
    free(s.y);
    return code;
}

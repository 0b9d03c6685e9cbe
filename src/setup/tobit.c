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
 * carried back to (b, ln sigma) of the original values. With uncertainties u of its
 * own, value i has (h y - x g) / u; a known scale leaves h where it is, and the
 * likelihood stays concave in g.
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
    int n, terms, unknowns; /* terms, and 1 more where the scale is fitted */
    const rg_censor *censor;
    const double *u;                          /* NULL: 1 each */
    double *x, *y;                            /* owned; x[n][terms] with the leading 1 */
    double centre[UNKNOWNS], scale[UNKNOWNS]; /* of covariate j at j; of y at 0 */
} scaled;

static rg_code check_size(const rg_tobit_data *d, rg_error *err)
{
    if (d->covariates < 0 || d->covariates >= RG_TOBIT_TERMS || d->n < 0 || d->n > RG_DETECTION_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "%d covariates and %d values: a censored regression takes at most %d and %d",
                       d->covariates, d->n, RG_TOBIT_TERMS - 1, RG_DETECTION_MAX);
    return RG_OK;
}

static rg_code check_values(const rg_tobit_data *d, rg_error *err)
{
    for (int i = 0; i < d->n; i++) {
        bool finite = isfinite(d->y[i]);
        for (int j = 0; j < d->covariates; j++)
            finite = finite && isfinite(d->x[i * d->covariates + j]);
        if (!finite)
            return rg_fail(err, RG_BAD_DATA, "value %d of the regression is not a finite number",
                           i + 1);
        if (d->u && !(d->u[i] > 0 && isfinite(d->u[i])))
            return rg_fail(err, RG_BAD_DATA,
                           "value %d of the regression has the uncertainty %g; it must be positive",
                           i + 1, d->u[i]);
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

static rg_code scale_values(const rg_tobit_data *d, scaled *s, rg_error *err)
{
    int n = d->n, covariates = d->covariates, terms = covariates + 1;
    const double *x = d->x, *y = d->y;
    *s = (scaled){.n = n, .terms = terms, .unknowns = terms + !d->known, .censor = d->censor};
    s->u = d->u;
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

static double u_of(const scaled *s, int i)
{
    return s->u ? s->u[i] : 1;
}

/* (h y - x g) / u, the standardised value. */
static double standardised(const scaled *s, const double *p, int i)
{
    double r = p[s->terms] * s->y[i];
    for (int j = 0; j < s->terms; j++)
        r -= s->x[i * s->terms + j] * p[j];
    return r / u_of(s, i);
}

static double likelihood(const scaled *s, const double *p)
{
    double l = 0;
    if (!(p[s->terms] > 0))
        return -INFINITY;
    for (int i = 0; i < s->n; i++) {
        double r = standardised(s, p, i);
        if (s->censor[i] == RG_CENSOR_NONE)
            l += log(p[s->terms] / u_of(s, i)) - r * r / 2 - half_ln_2pi;
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
    int k = s->unknowns;
    double exact = 0, row[UNKNOWNS];
    for (int a = 0; a < k; a++) {
        score[a] = 0;
        for (int b = 0; b < k; b++)
            info[a][b] = 0;
    }
    for (int i = 0; i < s->n; i++) {
        double curvature, d = derivative(s->censor[i], standardised(s, p, i), &curvature);
        for (int a = 0; a < k; a++)
            row[a] = (a < s->terms ? -s->x[i * s->terms + a] : s->y[i]) / u_of(s, i);
        exact += s->censor[i] == RG_CENSOR_NONE;
        for (int a = 0; a < k; a++) {
            score[a] += d * row[a];
            for (int b = 0; b < k; b++)
                info[a][b] += curvature * row[a] * row[b];
        }
    }
    if (k == s->terms)
        return;
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
    int k = s->unknowns;
    double score[UNKNOWNS], info[UNKNOWNS][UNKNOWNS], step[UNKNOWNS] = {0};
    derivatives(s, p, score, info);
    if (!invert(info, k))
        return -1;
    for (int a = 0; a < k; a++)
        for (int b = 0; b < k; b++)
            step[a] += info[a][b] * score[b];
    for (double part = 1; part > 1e-12; part /= 2) {
        double next[UNKNOWNS];
        next[s->terms] = p[s->terms];
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
    bool known = s->unknowns == s->terms;
    for (int a = 0; a < s->terms; a++)
        p[a] = 0;
    p[s->terms] = known ? s->scale[0] : 1;
    *l = likelihood(s, p);
    for (int k = 0; k < NEWTON_STEPS; k++) {
        double gain = newton_step(s, p, l);
        if (gain < 0)
            return !known && p[s->terms] * least_scatter > 1e-3 ? RUNS_AWAY : SINGULAR;
        if (!known && p[s->terms] * least_scatter > 1)
            return RUNS_AWAY;
        if (gain <= 1e-10 * (1 + fabs(*l)))
            return newton_step(s, p, l) < 0 ? SINGULAR : REACHED;
    }
    return RUNS_AWAY;
}

/* From (g, h) of the scaled values to (b, ln sigma) of the given ones. */
static bool unscale(const scaled *s, const double *p, rg_tobit *fit)
{
    int t = s->terms, k = s->unknowns;
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

static void count_kinds(const rg_tobit_data *d, rg_tobit *fit)
{
    for (int i = 0; i < d->n; i++) {
        fit->exact += d->censor[i] == RG_CENSOR_NONE;
        fit->below += d->censor[i] == RG_CENSOR_BELOW;
        fit->above += d->censor[i] == RG_CENSOR_ABOVE;
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

rg_code rg_tobit_fit_data(const rg_tobit_data *data, rg_tobit *fit, rg_error *err)
{
    scaled s = {0};
    gsl_set_error_handler_off(); /* GSL would abort the process on a failed decomposition */
    *fit = (rg_tobit){.state = RG_TOBIT_TOO_FEW, .terms = data->covariates + 1};
    rg_code code = check_size(data, err);
    if (code == RG_OK)
        code = check_values(data, err);
    if (code != RG_OK)
        return code;
    count_kinds(data, fit);
    if (fit->exact < fit->terms + !data->known)
        return RG_OK;
    code = scale_values(data, &s, err);
    if (code == RG_OK)
        code = fit_scaled(&s, fit, err);
    free(s.x);
    free(s.y);
    return code;
}

rg_code rg_tobit_fit(const double *x, int covariates, const double *y, const rg_censor *censor,
                     int n, rg_tobit *fit, rg_error *err)
{
    rg_tobit_data data = {.n = n, .covariates = covariates, .x = x, .y = y, .censor = censor};
    return rg_tobit_fit_data(&data, fit, err);
}

/* ------------------------------------------------------- correlated errors */

/* Row of value i times the root of its information: its share in the score. */
static void score_row(const rg_tobit_data *d, const rg_tobit *fit, int i, double *row)
{
    double u = d->u ? d->u[i] : 1, mean = fit->b[0], information;
    for (int j = 1; j < fit->terms; j++)
        mean += fit->b[j] * d->x[i * d->covariates + j - 1];
    derivative(d->censor[i], (d->y[i] - mean) / (u * fit->sigma), &information);
    double root = sqrt(information) / (u * fit->sigma);
    for (int j = 0; j < fit->terms; j++)
        row[j] = root * (j ? d->x[i * d->covariates + j - 1] : 1);
}

/* Sum over all pairs, each once and both ways: the covariance of the score. */
static void score_covariance(const double *rows, int n, int terms, rg_correlation correlation,
                             const void *context, double j[RG_TOBIT_TERMS][RG_TOBIT_TERMS])
{
    double half[RG_TOBIT_TERMS][RG_TOBIT_TERMS] = {{0}};
    for (int i = 0; i < n; i++) {
        double sum[RG_TOBIT_TERMS] = {0};
        for (int k = 0; k < i; k++) {
            double rho = correlation(context, i, k);
            for (int b = 0; b < terms; b++)
                sum[b] += rho * rows[k * terms + b];
        }
        for (int b = 0; b < terms; b++)
            sum[b] += rows[i * terms + b] / 2;
        for (int a = 0; a < terms; a++)
            for (int b = 0; b < terms; b++)
                half[a][b] += rows[i * terms + a] * sum[b];
    }
    for (int a = 0; a < terms; a++)
        for (int b = 0; b < terms; b++)
            j[a][b] = half[a][b] + half[b][a];
}

static void sandwich(const rg_tobit *fit, double j[RG_TOBIT_TERMS][RG_TOBIT_TERMS],
                     double cov[RG_TOBIT_TERMS][RG_TOBIT_TERMS])
{
    int t = fit->terms;
    for (int a = 0; a < t; a++)
        for (int b = 0; b < t; b++) {
            cov[a][b] = 0;
            for (int c = 0; c < t * t; c++)
                cov[a][b] += fit->cov[a][c / t] * j[c / t][c % t] * fit->cov[c % t][b];
        }
}

rg_code rg_tobit_correlated(const rg_tobit_data *data, const rg_tobit *fit,
                            rg_correlation correlation, const void *context,
                            double cov[RG_TOBIT_TERMS][RG_TOBIT_TERMS], rg_error *err)
{
    double j[RG_TOBIT_TERMS][RG_TOBIT_TERMS] = {{0}};
    if (!data->known || fit->state != RG_TOBIT_FITTED)
        return rg_fail(err, RG_INTERNAL,
                       "correlated errors of a censored regression ask for a fit with known "
                       "uncertainties");
    double *rows = rg_alloc((size_t)data->n * (size_t)fit->terms, sizeof *rows);
    if (!rows)
        return rg_fail(err, RG_INTERNAL, "no memory for a regression of %d values", data->n);
    for (int i = 0; i < data->n; i++)
        score_row(data, fit, i, rows + i * fit->terms);
    score_covariance(rows, data->n, fit->terms, correlation, context, j);
    sandwich(fit, j, cov);
    free(rows);
    return RG_OK;
}

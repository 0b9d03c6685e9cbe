/*
 * kappa.c - agreement of two judges: kappa, weighted kappa and their large sample standard error, with the
 * formulas and sources of kappa.h; Wilson's limits of a share.
 */
#include "rimglow/kappa.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

/* Agreement by chance this near to 1 is 1 but for rounding. */
static const double ALL_BY_CHANCE = 1e-12;

typedef struct shares {
    int k;
    double n;
    double p[RG_KAPPA_CLASSES][RG_KAPPA_CLASSES], w[RG_KAPPA_CLASSES][RG_KAPPA_CLASSES];
    double row[RG_KAPPA_CLASSES], column[RG_KAPPA_CLASSES]; /* margins */
    double observed, chance;
} shares;

const char *rg_kappa_weights_name(rg_kappa_weights weights)
{
    static const char *const name[] = {"equal", "linear", "quadratic"};
    return name[weights];
}

const char *rg_kappa_state_name(rg_kappa_state state)
{
    static const char *const name[] = {"found", "no cases", "one class only"};
    return name[state];
}

static rg_code check(const rg_kappa_table *t, double confidence, long long *cases, rg_error *err)
{
    *cases = 0;
    if (t->classes < 2 || t->classes > RG_KAPPA_CLASSES)
        return rg_fail(err, RG_BAD_DATA, "a table of agreement has 2 to %d classes, not %d",
                       RG_KAPPA_CLASSES, t->classes);
    if (!(confidence >= 0.5 && confidence <= 0.9999))
        return rg_fail(err, RG_BAD_DATA, "a confidence is between 0.5 and 0.9999, not %g",
                       confidence);
    for (int i = 0; i < t->classes; i++)
        for (int j = 0; j < t->classes; j++) {
            if (t->n[i][j] < 0)
                return rg_fail(err, RG_BAD_DATA,
                               "a table of agreement counts cases, but %d stands in row %d, "
                               "column %d",
                               t->n[i][j], i + 1, j + 1);
            *cases += t->n[i][j];
        }
    if (*cases > RG_KAPPA_CASES_MAX)
        return rg_fail(err, RG_BAD_DATA, "a table of agreement has at most %d cases, not %lld",
                       RG_KAPPA_CASES_MAX, *cases);
    return RG_OK;
}

static double weight(rg_kappa_weights weights, int k, int i, int j)
{
    double apart = fabs((double)(i - j)) / (k - 1);
    if (weights == RG_KAPPA_EQUAL)
        return i == j ? 1 : 0;
    return 1 - (weights == RG_KAPPA_LINEAR ? apart : apart * apart);
}

static shares shares_of(const rg_kappa_table *t, rg_kappa_weights weights, double n)
{
    shares s = {.k = t->classes, .n = n};
    for (int i = 0; i < s.k; i++)
        for (int j = 0; j < s.k; j++) {
            s.p[i][j] = t->n[i][j] / n;
            s.w[i][j] = weight(weights, s.k, i, j);
            s.row[i] += s.p[i][j];
            s.column[j] += s.p[i][j];
            s.observed += s.w[i][j] * s.p[i][j];
        }
    for (int i = 0; i < s.k; i++)
        for (int j = 0; j < s.k; j++)
            s.chance += s.w[i][j] * s.row[i] * s.column[j];
    return s;
}

/* Fleiss, Cohen and Everitt (1969). */
static double standard_error(const shares *s)
{
    double wr[RG_KAPPA_CLASSES] = {0}, wc[RG_KAPPA_CLASSES] = {0}, sum = 0;
    for (int i = 0; i < s->k; i++)
        for (int j = 0; j < s->k; j++) {
            wr[i] += s->column[j] * s->w[i][j];
            wc[j] += s->row[i] * s->w[i][j];
        }
    double left = 1 - s->chance, missed = 1 - s->observed;
    for (int i = 0; i < s->k; i++)
        for (int j = 0; j < s->k; j++) {
            double d = s->w[i][j] * left - (wr[i] + wc[j]) * missed;
            sum += s->p[i][j] * d * d;
        }
    double mean = s->observed * s->chance - 2 * s->chance + s->observed;
    return sqrt(fmax(0, sum - mean * mean) / s->n) / (left * left);
}

static double normal_quantile(double confidence)
{
    return gsl_cdf_ugaussian_Pinv((1 + confidence) / 2);
}

rg_code rg_kappa_of(const rg_kappa_table *table, rg_kappa_weights weights, double confidence,
                    rg_kappa *kappa, rg_error *err)
{
    rg_kappa k = {RG_KAPPA_NO_CASES, weights, 0, confidence, NAN, NAN, NAN, NAN, NAN, NAN};
    *kappa = k;
    rg_code code = check(table, confidence, &k.cases, err);
    if (code != RG_OK)
        return code;
    if (k.cases == 0)
        return RG_OK;
    shares s = shares_of(table, weights, (double)k.cases);
    k.observed = s.observed;
    k.chance = s.chance;
    if (1 - s.chance < ALL_BY_CHANCE) {
        k.state = RG_KAPPA_ONE_CLASS;
        *kappa = k;
        return RG_OK;
    }
    k.state = RG_KAPPA_FOUND;
    k.kappa = (s.observed - s.chance) / (1 - s.chance);
    k.se = standard_error(&s);
    double half = normal_quantile(confidence) * k.se;
    k.low = fmax(-1, k.kappa - half);
    k.high = fmin(1, k.kappa + half);
    *kappa = k;
    return RG_OK;
}

void rg_wilson(int right, int n, double confidence, double *low, double *high)
{
    *low = *high = NAN;
    if (n <= 0 || right < 0 || right > n)
        return;
    double z2 = pow(normal_quantile(confidence), 2), count = n, p = right / count;
    double middle = (p + z2 / (2 * count)) / (1 + z2 / count);
    double half = sqrt(z2 * (p * (1 - p) + z2 / (4 * count)) / count) / (1 + z2 / count);
    *low = right == 0 ? 0 : middle - half; /* exact at the ends */
    *high = right == n ? 1 : middle + half;
}

/*
 * budget.c - combining uncertainties. Quantiles by GSL. See budget.h.
 */
#include "rimglow/budget.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

rg_code rg_budget_add(rg_budget *budget, const rg_contribution *part, rg_error *err)
{
    if (budget->count >= RG_BUDGET_MAX)
        return rg_fail(err, RG_INTERNAL, "a budget holds at most %d contributions", RG_BUDGET_MAX);
    budget->part[budget->count] = *part;
    budget->part[budget->count].u_result = budget->part[budget->count].share = 0;
    budget->count++;
    return RG_OK;
}

double rg_type_b_dof(double unsure)
{
    return unsure > 0 ? 0.5 / (unsure * unsure) : INFINITY;
}

/* Beyond this many degrees of freedom Student's t is the normal distribution to
 * nine digits. */
#define MANY_DOF 1e9

double rg_coverage_factor(double level, double dof)
{
    double p = (1 + level) / 2;
    if (dof > MANY_DOF)
        return gsl_cdf_ugaussian_Pinv(p);
    /* 16 that came out as 15.999999999 is 16. */
    return gsl_cdf_tdist_Pinv(p, fmax(floor(dof + 1e-9), 1));
}

static rg_code check(const rg_budget *b, const double *r, double level, rg_error *err)
{
    if (!(level > 0 && level < 1))
        return rg_fail(err, RG_BAD_DATA,
                       "level of confidence %g: a number between 0 and 1 is needed", level);
    for (int i = 0; i < b->count; i++) {
        const rg_contribution *p = &b->part[i];
        if (!(p->u >= 0) || isinf(p->u) || !isfinite(p->sensitivity))
            return rg_fail(
                err, RG_BAD_DATA,
                "contribution \"%s\": standard uncertainty %g with sensitivity %g; finite "
                "numbers are needed, the first not negative",
                p->name, p->u, p->sensitivity);
        if (!(p->dof >= 1))
            return rg_fail(err, RG_BAD_DATA,
                           "contribution \"%s\": %g degrees of freedom; 1 or more are needed",
                           p->name, p->dof);
        for (int j = 0; r && j < b->count; j++) {
            double a = r[i * b->count + j], c = r[j * b->count + i];
            if (!(fabs(a) <= 1) || a != c || (i == j && a != 1))
                return rg_fail(
                    err, RG_BAD_DATA,
                    "correlation of \"%s\" and \"%s\": %g and %g; a symmetric table from "
                    "-1 to 1 with ones on the diagonal is needed",
                    p->name, b->part[j].name, a, c);
        }
    }
    return RG_OK;
}

static double product(const rg_budget *b, int i, int j)
{
    const rg_contribution *p = &b->part[i], *q = &b->part[j];
    return p->sensitivity * p->u * q->sensitivity * q->u;
}

/* Numbers the groups of correlated inputs by their first member. */
static void find_groups(const rg_budget *b, const double *r, int group[RG_BUDGET_MAX])
{
    for (int i = 0; i < b->count; i++)
        group[i] = i;
    for (int i = 0; r && i < b->count; i++)
        for (int j = 0; j < i; j++) {
            int from = group[i], to = group[j];
            if (r[i * b->count + j] == 0 || from == to)
                continue;
            for (int k = 0; k < b->count; k++)
                group[k] = group[k] == from ? to : group[k];
        }
}

/* Sum of u_g^4 / nu_g over the groups. */
static double satterthwaite(const rg_budget *b, const double *variance, const int *group)
{
    double sum = 0;
    for (int g = 0; g < b->count; g++) {
        double v = 0, dof = INFINITY;
        for (int i = 0; i < b->count; i++) {
            if (group[i] != g)
                continue;
            v += variance[i];
            /* What adds nothing has no say. */
            dof = b->part[i].u_result > 0 ? fmin(dof, b->part[i].dof) : dof;
        }
        sum += v * v / dof;
    }
    return sum;
}

rg_code rg_budget_combine(rg_budget *b, const double *correlation, double level, rg_error *err)
{
    double variance[RG_BUDGET_MAX] = {0}, all = 0;
    int group[RG_BUDGET_MAX];
    rg_code code = check(b, correlation, level, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < b->count; i++) {
        for (int j = 0; j < b->count; j++)
            variance[i] +=
                (correlation ? correlation[i * b->count + j] : i == j) * product(b, i, j);
        all += variance[i];
        b->part[i].u_result = sqrt(product(b, i, i));
    }
    all = fmax(all, 0); /* perfectly opposed inputs, rounded */
    for (int i = 0; i < b->count; i++)
        b->part[i].share = all > 0 ? variance[i] / all : 0;
    find_groups(b, correlation, group);
    double sum = satterthwaite(b, variance, group);
    b->u = sqrt(all);
    b->dof = sum > 0 ? all * all / sum : INFINITY;
    b->level = level;
    b->coverage = rg_coverage_factor(level, b->dof);
    b->expanded = b->coverage * b->u;
    return RG_OK;
}

const char *rg_distribution_name(rg_distribution distribution)
{
    static const char *const name[] = {
        [RG_NORMAL] = "normal",           [RG_STUDENT] = "Student's t",
        [RG_RECTANGULAR] = "rectangular", [RG_TRIANGULAR] = "triangular",
        [RG_ARCSINE] = "arcsine",         [RG_UNSTATED] = "not stated"};
    return name[distribution];
}

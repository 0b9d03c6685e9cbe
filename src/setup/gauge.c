/*
 * gauge.c - analysis of variance of a gauge study, bias, linearity.
 *
 * Every value is first reduced by one of the values: for numbers of like size
 * that subtraction is exact, so leading digits that all values share cost no
 * accuracy. Sums of squares are then sums of squared deviations; the
 * interaction's is made of the residuals cell - part - person + mean and not of
 * a difference of sums.
 */
#include "rimglow/gauge.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"
#include "rimglow/vec.h"

const char *rg_gauge_source_name(rg_gauge_source source)
{
    static const char *const name[] = {
        "repeatability", "person", "part x person", "reproducibility",
        "gauge (R&R)",   "part",   "total"};
    return name[source];
}

static rg_anova_row make_row(double ss, int df)
{
    return (rg_anova_row){.ss = ss, .df = df, .ms = df > 0 ? ss / df : NAN, .f = NAN, .p = NAN};
}

/* F test against another row's mean square. Without any scatter there the test
 * says all or nothing. */
static void test_against(rg_anova_row *row, const rg_anova_row *other)
{
    if (row->df < 1 || other->df < 1)
        return;
    if (other->ms > 0) {
        row->f = row->ms / other->ms;
        row->p = gsl_cdf_fdist_Q(row->f, row->df, other->df);
    } else if (row->ms > 0) {
        row->f = INFINITY;
        row->p = 0;
    }
}

static rg_component make_component(double raw)
{
    double variance = raw > 0 ? raw : 0;
    return (rg_component){
        .raw = raw, .variance = variance, .negative = raw < 0, .sd = sqrt(variance)};
}

static void share(rg_component *c, double total)
{
    c->contribution = total > 0 ? 100 * c->variance / total : 0;
    c->study = total > 0 ? 100 * sqrt(c->variance / total) : 0;
}

/* -------------------------------------------------------- crossed design */

/* Means of the cells, the margins and all, as deviations from an origin. */
typedef struct means {
    double origin, all;
    double *cell, *part, *person; /* owned */
} means;

static void free_means(means *m)
{
    free(m->cell);
    free(m->part);
    free(m->person);
}

static rg_code take_means(const double *value, const rg_gauge *g, means *m, rg_error *err)
{
    size_t parts = (size_t)g->parts, persons = (size_t)g->persons, repeats = (size_t)g->repeats;
    *m = (means){.origin = value[0]};
    m->cell = rg_alloc(parts * persons, sizeof *m->cell);
    m->part = rg_alloc(parts, sizeof *m->part);
    m->person = rg_alloc(persons, sizeof *m->person);
    if (!m->cell || !m->part || !m->person)
        return rg_fail(err, RG_INTERNAL, "no memory for a gauge study");
    for (size_t c = 0; c < parts * persons; c++) {
        for (size_t k = 0; k < repeats; k++)
            m->cell[c] += (value[c * repeats + k] - m->origin) / (double)repeats;
        m->part[c / persons] += m->cell[c] / (double)persons;
        m->person[c % persons] += m->cell[c] / (double)parts;
        m->all += m->cell[c] / (double)(parts * persons);
    }
    return RG_OK;
}

static void sums_of_squares(const double *value, const means *m, rg_gauge *g)
{
    double part = 0, person = 0, cross = 0, error = 0;
    for (int i = 0; i < g->parts; i++)
        part += (m->part[i] - m->all) * (m->part[i] - m->all);
    for (int j = 0; j < g->persons; j++)
        person += (m->person[j] - m->all) * (m->person[j] - m->all);
    for (int c = 0; c < g->parts * g->persons; c++) {
        double r = m->cell[c] - m->part[c / g->persons] - m->person[c % g->persons] + m->all;
        cross += r * r;
        for (int k = 0; k < g->repeats; k++) {
            double d = value[c * g->repeats + k] - m->origin - m->cell[c];
            error += d * d;
        }
    }
    int p = g->parts, o = g->persons, r = g->repeats;
    g->part = make_row(o * r * part, p - 1);
    g->person = make_row(p * r * person, o - 1);
    g->interaction = make_row(r * cross, (p - 1) * (o - 1));
    g->error = make_row(error, p * o * (r - 1));
    g->pooled_error = make_row(g->interaction.ss + error, g->interaction.df + g->error.df);
    g->mean = m->origin + m->all;
}

/* Pooling is also the only way where there is no interaction or no repeat. A p-value
 * that does not exist (no scatter at all) pools. */
static bool pools(const rg_gauge *g, double pool_above)
{
    return g->interaction.df < 1 || g->error.df < 1 || !(g->interaction.p <= pool_above);
}

static void take_components(rg_gauge *g)
{
    const rg_anova_row *base = g->pooled ? &g->pooled_error : &g->interaction;
    double repeat = g->pooled ? g->pooled_error.ms : g->error.ms;
    rg_component *s = g->source;
    s[RG_GAUGE_REPEATABILITY] = make_component(repeat);
    s[RG_GAUGE_PERSON] =
        make_component(g->persons > 1 ? (g->person.ms - base->ms) / (g->parts * g->repeats) : 0);
    s[RG_GAUGE_INTERACTION] =
        make_component(g->pooled ? 0 : (g->interaction.ms - g->error.ms) / g->repeats);
    s[RG_GAUGE_REPRODUCIBILITY] =
        make_component(s[RG_GAUGE_PERSON].variance + s[RG_GAUGE_INTERACTION].variance);
    s[RG_GAUGE_RR] =
        make_component(s[RG_GAUGE_REPEATABILITY].variance + s[RG_GAUGE_REPRODUCIBILITY].variance);
    s[RG_GAUGE_PART] = make_component((g->part.ms - base->ms) / (g->persons * g->repeats));
    s[RG_GAUGE_TOTAL] = make_component(s[RG_GAUGE_RR].variance + s[RG_GAUGE_PART].variance);
    for (int i = 0; i < RG_GAUGE_SOURCES; i++)
        share(&s[i], s[RG_GAUGE_TOTAL].variance);
}

static void conclude(rg_gauge *g, double confidence)
{
    const rg_anova_row *e = g->pooled ? &g->pooled_error : &g->error;
    double part = g->source[RG_GAUGE_PART].sd, gauge = g->source[RG_GAUGE_RR].sd;
    double tail = (1 - confidence) / 2;
    g->repeatability_low = sqrt(e->ss / gsl_cdf_chisq_Qinv(tail, e->df));
    g->repeatability_high = sqrt(e->ss / gsl_cdf_chisq_Pinv(tail, e->df));
    g->ratio = gauge > 0 ? sqrt(2) * part / gauge : part > 0 ? INFINITY : 0;
    g->categories = g->ratio < 9999 ? (int)g->ratio : 9999;
}

static rg_code check_values(const double *value, long n, rg_error *err)
{
    if (n > RG_GAUGE_VALUES_MAX)
        return rg_fail(err, RG_BAD_DATA, "%ld values are more than the %d of one study; split it",
                       n, RG_GAUGE_VALUES_MAX);
    for (long i = 0; i < n; i++)
        if (!isfinite(value[i]))
            return rg_fail(err, RG_BAD_DATA, "value %ld of the study is not a finite number",
                           i + 1);
    return RG_OK;
}

static rg_code check_design(int parts, int persons, int repeats, rg_error *err)
{
    if (parts < 2 || persons < 1 || repeats < 1)
        return rg_fail(err, RG_BAD_DATA,
                       "%d part(s), %d person(s), %d repeat(s): a gauge study needs at least two "
                       "parts, so that there is something to tell apart",
                       parts, persons, repeats);
    if (persons == 1 && repeats == 1)
        return rg_fail(err, RG_BAD_DATA,
                       "one person and no repeats: let the person measure every "
                       "part at least twice, each time from the beginning");
    if (parts > RG_GAUGE_VALUES_MAX || persons > RG_GAUGE_VALUES_MAX ||
        repeats > RG_GAUGE_VALUES_MAX)
        return rg_fail(err, RG_BAD_DATA, "the study has more than %d values; split it",
                       RG_GAUGE_VALUES_MAX);
    return RG_OK;
}

rg_code rg_gauge_study(const double *value, int parts, int persons, int repeats, double pool_above,
                       double confidence, rg_gauge *gauge, rg_error *err)
{
    means m = {0};
    *gauge = (rg_gauge){.parts = parts, .persons = persons, .repeats = repeats};
    gsl_set_error_handler_off(); /* GSL would abort the process where a function leaves its range */
    rg_code code = check_design(parts, persons, repeats, err);
    if (code == RG_OK && (double)parts * persons * repeats > RG_GAUGE_VALUES_MAX)
        code = check_values(NULL, RG_GAUGE_VALUES_MAX + 1L, err);
    if (code == RG_OK)
        code = check_values(value, (long)parts * persons * repeats, err);
    if (code == RG_OK)
        code = take_means(value, gauge, &m, err);
    if (code == RG_OK) {
        sums_of_squares(value, &m, gauge);
        test_against(&gauge->interaction, &gauge->error);
        gauge->pooled = pools(gauge, pool_above);
        const rg_anova_row *base = gauge->pooled ? &gauge->pooled_error : &gauge->interaction;
        test_against(&gauge->part, base);
        test_against(&gauge->person, base);
        take_components(gauge);
        conclude(gauge, confidence);
    }
    free_means(&m);
    return code;
}

rg_code rg_gauge_unwrap(double *bearing_deg, int parts, int values_of_part, rg_error *err)
{
    size_t n = (size_t)values_of_part;
    double all = rg_circular_mean(bearing_deg, (size_t)parts * n, NULL);
    for (int i = 0; i < parts; i++) {
        double *b = bearing_deg + (size_t)i * n, resultant;
        double centre = rg_circular_mean(b, n, &resultant);
        if (!(resultant >= 0.5))
            return rg_fail(err, RG_BAD_DATA,
                           "the bearings of part %d point all round the rim (mean resultant %.2f), "
                           "so they have no mean; was it the same gap each time?",
                           i + 1, resultant);
        /* Parts all round the rim have no mean either; then each stays where it is. */
        double place = isnan(all) ? centre : all + rg_angle_between(centre, all);
        for (size_t k = 0; k < n; k++)
            b[k] = place + rg_angle_between(b[k], centre);
    }
    return RG_OK;
}

/* ------------------------------------------------------ one-way analysis */

static rg_code check_groups(const rg_oneway_group *group, int groups, rg_error *err)
{
    long n = 0;
    if (groups < 2)
        return rg_fail(err, RG_BAD_DATA, "%d group(s): an analysis of variance needs two", groups);
    for (int i = 0; i < groups; i++) {
        if (group[i].count < 1 || group[i].count > RG_GAUGE_VALUES_MAX ||
            !isfinite(group[i].mean) || (group[i].count > 1 && !(group[i].sd >= 0)) ||
            (group[i].count > 1 && !isfinite(group[i].sd)))
            return rg_fail(err, RG_BAD_DATA,
                           "group %d has %d values, mean %g and standard deviation %g; each must "
                           "have values, and finite ones",
                           i + 1, group[i].count, group[i].mean, group[i].sd);
        n += group[i].count;
    }
    if (n <= groups)
        return rg_fail(err, RG_BAD_DATA,
                       "no group has two values; the scatter within a group "
                       "cannot be told");
    return RG_OK;
}

/* between and within are sums of squares; squares: of the group sizes. */
static void conclude_oneway(rg_oneway *r, double between, double within, double squares)
{
    r->between = make_row(between, r->groups - 1);
    r->within = make_row(within, r->n - r->groups);
    test_against(&r->between, &r->within);
    r->r_squared = between + within > 0 ? between / (between + within) : NAN;
    r->sd_within = sqrt(r->within.ms);
    double size = (r->n - squares / r->n) / (r->groups - 1);
    r->between_groups = make_component((r->between.ms - r->within.ms) / size);
    share(&r->between_groups, r->between_groups.variance + r->within.ms);
    r->u_mean = sqrt(r->between.ms / r->n);
}

rg_code rg_oneway_groups(const rg_oneway_group *group, int groups, rg_oneway *result, rg_error *err)
{
    double between = 0, within = 0, squares = 0, all = 0;
    *result = (rg_oneway){.groups = groups};
    gsl_set_error_handler_off();
    rg_code code = check_groups(group, groups, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < groups; i++)
        result->n += group[i].count;
    for (int i = 0; i < groups; i++)
        all += (group[i].mean - group[0].mean) * group[i].count / result->n;
    for (int i = 0; i < groups; i++) {
        double d = group[i].mean - group[0].mean - all, count = group[i].count;
        between += count * d * d;
        within += count > 1 ? (count - 1) * group[i].sd * group[i].sd : 0;
        squares += count * count;
    }
    result->mean = group[0].mean + all;
    conclude_oneway(result, between, within, squares);
    return RG_OK;
}

/* Group means as deviations from value[0], and counts. */
static rg_code sort_groups(const double *value, const int *group, int n, int groups, double *mean,
                           int *count, rg_error *err)
{
    for (int i = 0; i < n; i++) {
        if (group[i] < 0 || group[i] >= groups)
            return rg_fail(err, RG_BAD_DATA, "value %d names group %d of %d", i + 1, group[i],
                           groups);
        count[group[i]]++;
        mean[group[i]] += value[i] - value[0];
    }
    for (int g = 0; g < groups; g++)
        mean[g] /= count[g] > 0 ? count[g] : 1;
    return RG_OK;
}

static rg_code oneway_sorted(const double *value, const int *group, int n, int groups, double *mean,
                             int *count, rg_oneway *r, rg_error *err)
{
    double all = 0, between = 0, within = 0, squares = 0;
    rg_code code = sort_groups(value, group, n, groups, mean, count, err);
    for (int g = 0; code == RG_OK && g < groups; g++) {
        if (count[g] == 0)
            code = rg_fail(err, RG_BAD_DATA, "group %d has no value", g + 1);
        all += mean[g] * count[g] / n;
    }
    if (code != RG_OK)
        return code;
    for (int g = 0; g < groups; g++) {
        between += count[g] * (mean[g] - all) * (mean[g] - all);
        squares += (double)count[g] * count[g];
    }
    for (int i = 0; i < n; i++) {
        double d = value[i] - value[0] - mean[group[i]];
        within += d * d;
    }
    r->mean = value[0] + all;
    conclude_oneway(r, between, within, squares);
    return RG_OK;
}

rg_code rg_oneway_values(const double *value, const int *group, int n, int groups,
                         rg_oneway *result, rg_error *err)
{
    *result = (rg_oneway){.groups = groups, .n = n};
    gsl_set_error_handler_off();
    rg_code code = check_values(value, n, err);
    if (code != RG_OK)
        return code;
    if (groups < 2 || n <= groups)
        return rg_fail(
            err, RG_BAD_DATA,
            "%d values in %d group(s): two groups and more values than groups are needed", n,
            groups);
    double *mean = rg_alloc((size_t)groups, sizeof *mean);
    int *count = rg_alloc((size_t)groups, sizeof *count);
    code = mean && count ? oneway_sorted(value, group, n, groups, mean, count, result, err)
                         : rg_fail(err, RG_INTERNAL, "no memory for %d groups", groups);
    free(mean);
    free(count);
    return code;
}

/* ----------------------------------------------------- bias and linearity */

/* Two-sided test of x = 0; without scatter it says all or nothing. */
static double two_sided(double x, double u, int df, double *t)
{
    *t = u > 0 ? x / u : x != 0 ? copysign(INFINITY, x) : 0;
    return isinf(*t) ? 0 : 2 * gsl_cdf_tdist_Q(fabs(*t), df);
}

rg_code rg_gauge_bias(const double *error, int n, double confidence, rg_bias *bias, rg_error *err)
{
    double sum = 0, squares = 0;
    *bias = (rg_bias){.n = n, .df = n - 1};
    gsl_set_error_handler_off();
    rg_code code = check_values(error, n, err);
    if (code != RG_OK)
        return code;
    if (n < 2 || !(confidence > 0 && confidence < 1))
        return rg_fail(err, RG_BAD_DATA,
                       "%d value(s) at confidence %g: a bias needs two values and "
                       "a confidence between 0 and 1",
                       n, confidence);
    for (int i = 0; i < n; i++)
        sum += (error[i] - error[0]) / n;
    for (int i = 0; i < n; i++)
        squares += (error[i] - error[0] - sum) * (error[i] - error[0] - sum);
    bias->bias = error[0] + sum;
    bias->sd = sqrt(squares / bias->df);
    bias->u = bias->sd / sqrt(n);
    bias->p = two_sided(bias->bias, bias->u, bias->df, &bias->t);
    double reach = gsl_cdf_tdist_Pinv((1 + confidence) / 2, bias->df) * bias->u;
    bias->low = bias->bias - reach;
    bias->high = bias->bias + reach;
    return RG_OK;
}

rg_code rg_line_fit(const double *x, const double *y, int n, rg_line *line, rg_error *err)
{
    double v00, v11, ss, t;
    bool differ = false;
    *line = (rg_line){.n = n, .df = n - 2};
    gsl_set_error_handler_off();
    rg_code code = check_values(x, n, err);
    if (code == RG_OK)
        code = check_values(y, n, err);
    if (code != RG_OK)
        return code;
    for (int i = 1; i < n; i++)
        differ = differ || x[i] != x[0];
    if (n < 3 || !differ)
        return rg_fail(err, RG_BAD_DATA,
                       "%d value(s): a line needs at least three, at two "
                       "different references",
                       n);
    gsl_fit_linear(x, 1, y, 1, (size_t)n, &line->intercept, &line->slope, &v00, &line->covariance,
                   &v11, &ss);
    line->u_intercept = sqrt(v00);
    line->u_slope = sqrt(v11);
    line->sd = sqrt(ss / line->df);
    line->p = two_sided(line->slope, line->u_slope, line->df, &t);
    return RG_OK;
}

double rg_line_at(const rg_line *line, double x, double *u)
{
    if (u)
        *u = sqrt(line->u_intercept * line->u_intercept + 2 * x * line->covariance +
                  x * x * line->u_slope * line->u_slope);
    return line->intercept + line->slope * x;
}

/*
 * gauge.h - what a measurement is worth when it is repeated: repeatability
 * and reproducibility, bias, linearity.
 *
 * A gauge study is a balanced crossed design: every person measures every part
 * equally often. Model, all effects random (Montgomery and Runger 1993;
 * ISO 22514-7; AIAG, Measurement Systems Analysis):
 *
 *   value = mean + part + person + (part x person) + repeat
 *
 *   repeatability    variance of the same person's repeats on the same part
 *   reproducibility  between persons: person + part x person
 *   gauge (R&R)      both together
 *   part             between parts: what the study should see
 *   total            gauge + part
 *
 * Components are estimated by expected mean squares. A negative estimate is set
 * to 0 and said to have been negative, with its raw value. The interaction is
 * pooled into the error when its p-value exceeds the caller's limit, as is
 * usual (0.25 in calib/study.ini), or when there is one repeat.
 *
 * Sums are taken of deviations from means, never of squares of the values, so
 * that values with many equal leading digits keep theirs. Values have no unit here.
 */
#ifndef RIMGLOW_GAUGE_H
#define RIMGLOW_GAUGE_H

#include <stdbool.h>

#include "rimglow/status.h"

enum { RG_GAUGE_VALUES_MAX = 20000 };

/* One source of variation. f and p against the mean square named at each use; NAN where
 * there is none (df = 0). */
typedef struct rg_anova_row {
    double ss, ms, f, p;
    int df;
} rg_anova_row;

typedef struct rg_component {
    double variance;     /* >= 0 */
    double raw;          /* as estimated */
    bool negative;       /* raw < 0 and set to 0 */
    double sd;           /* square root of variance */
    double contribution; /* percent of the total variance */
    double study;        /* percent of the total standard deviation */
} rg_component;

/* -------------------------------------------------------- repeatability */

typedef enum rg_gauge_source {
    RG_GAUGE_REPEATABILITY,
    RG_GAUGE_PERSON,
    RG_GAUGE_INTERACTION,
    RG_GAUGE_REPRODUCIBILITY,
    RG_GAUGE_RR,
    RG_GAUGE_PART,
    RG_GAUGE_TOTAL,
    RG_GAUGE_SOURCES
} rg_gauge_source;

typedef struct rg_gauge {
    int parts, persons, repeats;
    double mean;
    rg_anova_row part, person; /* f against interaction or, when pooled, pooled error */
    rg_anova_row interaction;  /* f against error */
    rg_anova_row error;        /* repeats in their cells */
    rg_anova_row pooled_error; /* interaction and error together */
    bool pooled;
    rg_component source[RG_GAUGE_SOURCES];
    /* Two-sided confidence interval of the repeatability's standard deviation
     * (chi-square; exact for normal repeats). */
    double repeatability_low, repeatability_high;
    /* sqrt(2) = 1.41421 times part sd / gauge sd; INFINITY when the gauge shows no scatter */
    double ratio;
    int categories; /* ratio truncated, at most 9999: parts it can tell apart */
} rg_gauge;

const char *rg_gauge_source_name(rg_gauge_source source);

/* value[part][person][repeat], one after the other. persons may be 1: person and
 * interaction are then not studied (0). RG_BAD_DATA for fewer than two
 * parts, a design without repeats for one person, too many values, values
 * that are not finite. pool_above: limit of the interaction's p-value. confidence of
 * the interval: 0.95. */
rg_code rg_gauge_study(const double *value, int parts, int persons, int repeats, double pool_above,
                       double confidence, rg_gauge *gauge, rg_error *err);

/* Bearings made fit for a study: the values of each part are unwrapped about that
 * part's circular mean, the parts' means to within 180 degrees of the mean of all. RG_BAD_DATA
 * when one part's bearings point everywhere (mean resultant below 0.5). */
rg_code rg_gauge_unwrap(double *bearing_deg, int parts, int values_of_part, rg_error *err);

/* ------------------------------------------------------ one-way analysis */

typedef struct rg_oneway_group {
    double mean, sd; /* sd of its values (n - 1) */
    int count;
} rg_oneway_group;

typedef struct rg_oneway {
    int groups, n;
    double mean;                  /* of all values */
    rg_anova_row between, within; /* between: f against within */
    double r_squared;
    double sd_within;
    rg_component between_groups; /* variance component; contribution and study of the total */
    double u_mean;               /* standard uncertainty of the mean, from between */
} rg_oneway;

/* Groups of any size >= 1, at least two groups and one group of two (GUM, JCGM
 * 100:2008, H.5). */
rg_code rg_oneway_groups(const rg_oneway_group *group, int groups, rg_oneway *result,
                         rg_error *err);
/* The same from values; group[i] in 0..groups - 1. */
rg_code rg_oneway_values(const double *value, const int *group, int n, int groups,
                         rg_oneway *result, rg_error *err);

/* ----------------------------------------------------- bias and linearity */

typedef struct rg_bias {
    int n, df;
    double bias;      /* mean of value - reference */
    double sd, u;     /* of one value; standard error of the mean */
    double t, p;      /* two-sided test of bias = 0 */
    double low, high; /* confidence interval of the bias */
} rg_bias;

/* error[i] = value - reference; at least two. The test takes them as independent. */
rg_code rg_gauge_bias(const double *error, int n, double confidence, rg_bias *bias, rg_error *err);

/* y = intercept + slope x by least squares (GUM H.3). */
typedef struct rg_line {
    int n, df;
    double intercept, slope, u_intercept, u_slope;
    double covariance; /* of intercept and slope */
    double sd;         /* of one value about the line */
    double p;          /* two-sided test of slope = 0 */
} rg_line;

/* At least three values and two different x. */
rg_code rg_line_fit(const double *x, const double *y, int n, rg_line *line, rg_error *err);
/* The line at x; *u its standard uncertainty (may be NULL). */
double rg_line_at(const rg_line *line, double x, double *u);

#endif

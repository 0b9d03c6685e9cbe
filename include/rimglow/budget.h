/*
 * budget.h - an uncertainty budget: from the uncertainties of inputs to that of
 * a result.
 *
 * JCGM 100:2008 (GUM): combined standard uncertainty, eq. (10) and, with
 * correlated inputs, (16); effective degrees of freedom by Welch and
 * Satterthwaite, G.4.1 eq. (G.2b), cut to a whole number below as its note says; coverage
 * factor from Student's t for the level of confidence, G.3.4 and table G.2.
 * Degrees of freedom of a type B estimate from how unsure it is, G.4.2 eq.
 * (G.3): (1/2) (du/u)^-2.
 *
 * Welch-Satterthwaite holds for independent inputs. Inputs that are correlated
 * with one another count as one input, with the fewest degrees of freedom of
 * its members: a choice of this module, exact where they come from one fit.
 */
#ifndef RIMGLOW_BUDGET_H
#define RIMGLOW_BUDGET_H

#include "rimglow/status.h"

enum { RG_BUDGET_MAX = 24 };

typedef enum rg_evaluation {
    RG_TYPE_A, /* by statistics of repeated observations */
    RG_TYPE_B  /* by other means */
} rg_evaluation;

typedef enum rg_distribution {
    RG_NORMAL,
    RG_STUDENT,
    RG_RECTANGULAR,
    RG_TRIANGULAR,
    RG_ARCSINE,
    RG_UNSTATED
} rg_distribution;

typedef struct rg_contribution {
    char name[48];
    char source[120]; /* where its uncertainty comes from */
    char unit[16];    /* of the input */
    rg_evaluation type;
    rg_distribution distribution;
    double value;       /* estimate of the input; NAN when it has none */
    double u;           /* its standard uncertainty */
    double sensitivity; /* result per unit of the input */
    double dof;         /* degrees of freedom of u; INFINITY allowed */
    /* results of rg_budget_combine */
    double u_result; /* |sensitivity| u */
    double share;    /* of the combined variance; with correlation it may be negative */
} rg_contribution;

typedef struct rg_budget {
    int count;
    rg_contribution part[RG_BUDGET_MAX];
    /* results */
    double u;        /* combined standard uncertainty */
    double dof;      /* effective; INFINITY possible */
    double level;    /* of confidence, 0..1 */
    double coverage; /* k for that level and the whole number below dof */
    double expanded; /* U = k u */
} rg_budget;

/* Adds one contribution with its results still 0. RG_INTERNAL when full. */
rg_code rg_budget_add(rg_budget *budget, const rg_contribution *part, rg_error *err);

/* Fills the results. correlation: r[count * count], symmetric with ones on its
 * diagonal, or NULL when no inputs are correlated. RG_BAD_DATA naming the
 * first contribution whose u is negative or not finite, whose degrees of
 * freedom are below 1, or whose correlation cannot be; or a level outside 0..1. */
rg_code rg_budget_combine(rg_budget *budget, const double *correlation, double level,
                          rg_error *err);

/* k of a two-sided interval: Student's t for so many degrees of freedom (cut to
 * a whole number, at least 1), the normal distribution for INFINITY. */
double rg_coverage_factor(double level, double dof);

/* Degrees of freedom of a type B standard uncertainty that is itself unsure by
 * the relative amount (0.25: a quarter); INFINITY for 0. */
double rg_type_b_dof(double unsure);

const char *rg_distribution_name(rg_distribution distribution); /* "normal" ... */

#endif

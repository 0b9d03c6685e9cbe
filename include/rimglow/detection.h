/*
 * detection.h - probability of detection (POD): how wide must a gap be to be
 * found, and how sure is that?
 *
 * Two kinds of data, as in MIL-HDBK-1823A (2009, approved for public release):
 *
 *   hit/miss         size and found or not. POD(a) = F(b0 + b1 t), t = a or ln a,
 *                    F logistic, normal or 1 - exp(-exp), fitted by Fisher
 *                    scoring (McCullagh and Nelder 1989, chapter 4).
 *   signal/response  size and signal, y = b0 + b1 t + tau * N(0, 1), where some
 *                    signals are only known to lie below or above a limit:
 *                    Tobit's likelihood (Tobin 1958) in the parameters of
 *                    Olsen (1978), in which it is concave; Newton's method.
 *                    POD(a) = Phi((b0 + b1 t - decision) / tau).
 *
 * a50 and a90 are the sizes found in 50 and in 90 of 100 cases. a90_95 is the
 * upper bound of a90 as the handbook makes it:
 *   hit/miss         by the likelihood ratio: the largest a90 of all curves
 *                    with 2 (l_max - l) <= chi2(0.95, 1) = 3.841 (Cheng and
 *                    Iles 1983). Not Wald's bound, which is smaller.
 *   signal/response  by the delta method, mu + z sigma + 1.645 standard errors.
 *
 * Where the data do not fix a curve (everything found, nothing found, found
 * and missed sizes that do not overlap) there is none: state says so, all
 * numbers of the curve are NAN, and rg_binomial_lower still bounds the share
 * found. Sizes have no unit here; results have that of the sizes.
 */
#ifndef RIMGLOW_DETECTION_H
#define RIMGLOW_DETECTION_H

#include <stdbool.h>

#include "rimglow/status.h"

enum { RG_DETECTION_MAX = 20000 }; /* targets of one study */

typedef enum rg_pod_link { RG_LINK_LOGIT, RG_LINK_PROBIT, RG_LINK_CLOGLOG } rg_pod_link;
typedef enum rg_pod_axis { RG_AXIS_LINEAR, RG_AXIS_LOG } rg_pod_axis;

typedef enum rg_pod_state {
    RG_POD_FITTED,
    RG_POD_EMPTY,      /* no target at all */
    RG_POD_ALL_FOUND,  /* no miss: where detection begins is not known */
    RG_POD_NONE_FOUND, /* no hit */
    RG_POD_SEPARATED,  /* every size found is larger than every size missed (or the other way
                          round): any steeper curve fits better, none fits best */
    RG_POD_ONE_SIZE,   /* all targets have one size */
    RG_POD_FALLING,    /* larger targets are not found more often (slope <= 0) */
    RG_POD_TOO_FEW,    /* fewer than three signals that are not censored */
    RG_POD_NO_SCATTER  /* the signals lie on a line: their scatter cannot be told */
} rg_pod_state;

typedef struct rg_pod {
    rg_pod_state state;
    rg_pod_link link; /* probit for signal/response */
    rg_pod_axis axis; /* of the size */
    int n, found;     /* targets; hits, or signals at or above the decision */
    double b[2];      /* intercept and slope on the link's scale, or of the signal */
    double cov_b[2][2];
    double tau;       /* scatter of the signal; NAN for hit/miss */
    double mu, sigma; /* -b0/b1 and 1/b1, on the axis: location and scale of the curve */
    double cov[2][2]; /* of mu and sigma */
    double log_likelihood;
    double a50, a90;
    double a90_95; /* INFINITY: the data set no upper bound */
} rg_pod;

/* One line for people on each state, without a final point. */
const char *rg_pod_state_text(rg_pod_state state);
const char *rg_pod_link_name(rg_pod_link link); /* "logit" "probit" "cloglog" */

/* ------------------------------------------------------------- hit/miss */

/* RG_BAD_DATA for more than RG_DETECTION_MAX targets, a size that is not
 * finite, or one <= 0 on a logarithmic axis. A study that fixes no curve is no error. */
rg_code rg_pod_hit_miss(const double *size, const bool *hit, int n, rg_pod_link link,
                        rg_pod_axis axis, rg_pod *pod, rg_error *err);

/* The least and the largest size with POD p (0 < p < 1) of all curves within the
 * likelihood ratio's bound at this confidence (0.95: the handbook's).
 * Infinite where the data set no bound (low: 0 on a logarithmic axis). NANs when the state
 * is not RG_POD_FITTED. size, hit and n are those the pod was fitted to. */
rg_code rg_pod_hit_miss_bounds(const double *size, const bool *hit, int n, const rg_pod *pod,
                               double p, double confidence, double *low, double *high,
                               rg_error *err);

/* ------------------------------------------------------ signal/response */

typedef enum rg_censor {
    RG_CENSOR_NONE,
    RG_CENSOR_BELOW, /* the signal is at or below the value given */
    RG_CENSOR_ABOVE  /* at or above it */
} rg_censor;

typedef struct rg_response {
    double size, signal;
    rg_censor censor;
} rg_response;

/* decision: a target counts as found when its signal reaches it. With
 * signal_axis RG_AXIS_LOG signals and decision are taken as logarithms. Errors
 * as above, for signals too. */
rg_code rg_pod_signal(const rg_response *response, int n, rg_pod_axis axis, rg_pod_axis signal_axis,
                      double decision, rg_pod *pod, rg_error *err);

/* Bounds of the size with POD p by the delta method, one-sided each at this
 * confidence (0.95: the handbook's); NANs when not fitted. */
void rg_pod_signal_bounds(const rg_pod *pod, double p, double confidence, double *low,
                          double *high);

/* ---------------------------------------------------------------- both */

/* Probability of detecting this size; NAN when not fitted. */
double rg_pod_at(const rg_pod *pod, double size);
/* The size that is found with probability p; NAN when not fitted. */
double rg_pod_size(const rg_pod *pod, double p);

/* Exact one-sided bounds of a probability from `found` of `n` (Clopper and
 * Pearson 1934); for a two-sided interval pass (1 + confidence) / 2 to both.
 * n = 0 gives 0 and 1. */
double rg_binomial_lower(int found, int n, double confidence);
double rg_binomial_upper(int found, int n, double confidence);

/* -------------------------------------------- censored linear regression */

enum { RG_TOBIT_TERMS = 8 }; /* intercept and covariates */

typedef enum rg_tobit_state {
    RG_TOBIT_FITTED,
    RG_TOBIT_TOO_FEW,
    RG_TOBIT_NO_SCATTER
} rg_tobit_state;

typedef struct rg_tobit {
    rg_tobit_state state;
    int terms;                                          /* 1 + covariates */
    double b[RG_TOBIT_TERMS];                           /* b[0] intercept */
    double sigma;                                       /* maximum likelihood */
    double cov[RG_TOBIT_TERMS + 1][RG_TOBIT_TERMS + 1]; /* of b and, last, ln sigma */
    double log_likelihood;
    int exact, below, above; /* observations of each kind */
} rg_tobit;

/* y = b0 + x b + sigma N(0, 1) by maximum likelihood; x[n][covariates], one
 * row after the other. At least terms + 1 uncensored values are needed.
 * RG_BAD_DATA for values that are not finite or covariates that depend on each other. */
rg_code rg_tobit_fit(const double *x, int covariates, const double *y, const rg_censor *censor,
                     int n, rg_tobit *fit, rg_error *err);

/* The same for values with uncertainties of their own: y = x b + sigma u N(0, 1). A censored
 * value's limit is its own y. */
typedef struct rg_tobit_data {
    int n, covariates;
    const double *x, *y;     /* x[n][covariates] */
    const rg_censor *censor; /* [n] */
    const double *u;         /* [n], positive; NULL: 1 each */
    bool known;              /* u are standard uncertainties: sigma is 1 and not fitted, cov of
                                ln sigma is 0; `terms` uncensored values are enough */
} rg_tobit_data;
rg_code rg_tobit_fit_data(const rg_tobit_data *data, rg_tobit *fit, rg_error *err);

/* Correlation of the errors of values i and j; 1 where i = j. */
typedef double (*rg_correlation)(const void *context, int i, int j);
/* Covariance of b when errors hang together: H J H, with H fit->cov (as if they did not) and J the
 * covariance of the score, sum of correlation * x_i x_j' sqrt(c_i c_j) / (u_i u_j), c the observed
 * information of a standardised value (1 when it is not censored). Huber (1967), Proc. 5th Berkeley
 * Symp. 1: 221-233; Liang and Zeger (1986), Biometrika 73: 13-22: the fit stays consistent, only its
 * covariance changes. For uncensored values exact. RG_INTERNAL unless `known` and fitted. */
rg_code rg_tobit_correlated(const rg_tobit_data *data, const rg_tobit *fit,
                            rg_correlation correlation, const void *context,
                            double cov[RG_TOBIT_TERMS][RG_TOBIT_TERMS], rg_error *err);

#endif

/*
 * kappa.h - agreement between two judges who put the same cases into the same classes.
 *
 * From a square table n[i][j] of cases (first judge's class i, second judge's class j), p = n / N, with
 * margins p_i. and p_.j and weights w_ij (1 on the diagonal):
 *   observed  po = sum w_ij p_ij, by chance  pe = sum w_ij p_i. p_.j,  kappa = (po - pe) / (1 - pe)
 * (J. Cohen, "A coefficient of agreement for nominal scales", Educ. Psychol. Meas. 20 (1960) 37-46;
 * weighted: J. Cohen, Psychol. Bull. 70 (1968) 213-220). Standard error under the alternative, i.e. not
 * assuming that kappa is 0 (J. L. Fleiss, J. Cohen, B. S. Everitt, "Large sample standard errors of kappa
 * and weighted kappa", Psychol. Bull. 72 (1969) 323-327):
 *   N (1 - pe)^4 se^2 = sum p_ij (w_ij (1 - pe) - (wr_i + wc_j) (1 - po))^2 - (po pe - 2 pe + po)^2
 * with wr_i = sum_j p_.j w_ij and wc_j = sum_i p_i. w_ij. The interval is kappa +- z se, normal, cut to
 * [-1, 1]: for large N; with few cases it is too short.
 *
 * Weights for ordered classes 0 .. k - 1: linear 1 - |i - j| / (k - 1) (D. V. Cicchetti, T. Allison,
 * Am. J. EEG Technol. 11 (1971) 101-109), quadratic 1 - (i - j)^2 / (k - 1)^2 (J. L. Fleiss, J. Cohen,
 * Educ. Psychol. Meas. 33 (1973) 613-619).
 */
#ifndef RIMGLOW_KAPPA_H
#define RIMGLOW_KAPPA_H

#include "rimglow/status.h"

enum { RG_KAPPA_CLASSES = 12, RG_KAPPA_CASES_MAX = 1000000000 };

typedef enum rg_kappa_weights {
    RG_KAPPA_EQUAL,  /* every disagreement counts alike: Cohen's kappa */
    RG_KAPPA_LINEAR, /* ordered classes */
    RG_KAPPA_QUADRATIC
} rg_kappa_weights;
const char *rg_kappa_weights_name(rg_kappa_weights weights); /* "equal" "linear" "quadratic" */

typedef enum rg_kappa_state {
    RG_KAPPA_FOUND,
    RG_KAPPA_NO_CASES,
    RG_KAPPA_ONE_CLASS /* both judges used one and the same class alone: agreement by chance is 1 */
} rg_kappa_state;
/* "found", "no cases", "one class only" */
const char *rg_kappa_state_name(rg_kappa_state state);

typedef struct rg_kappa_table {
    int classes;                               /* 2 .. RG_KAPPA_CLASSES */
    int n[RG_KAPPA_CLASSES][RG_KAPPA_CLASSES]; /* [first judge][second judge], >= 0 */
} rg_kappa_table;

typedef struct rg_kappa {
    rg_kappa_state state;
    rg_kappa_weights weights;
    long long cases;
    double confidence; /* of the interval, 0 to 1 */
    /* kappa, se and limits: NAN unless found; (weighted) agreement observed and by chance: NAN without cases. */
    double observed, chance, kappa, se, low, high;
} rg_kappa;

/* RG_BAD_DATA for a table that is none (classes, negative counts, too many cases) or a confidence not
 * within 0.5 to 0.9999. No cases and one class only are told by the state, not refused. */
rg_code rg_kappa_of(const rg_kappa_table *table, rg_kappa_weights weights, double confidence,
                    rg_kappa *kappa, rg_error *err);

/* Limits of a share by its score: right of n (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212,
 * without continuity correction). 0 <= right <= n; n = 0 gives NANs. */
void rg_wilson(int right, int n, double confidence, double *low, double *high);

#endif

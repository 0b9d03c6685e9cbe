/*
 * repeat.h - one key closed several times by the same finger: what differs from closing to closing
 * beyond measurement, and is it a loose key or a soft pad?
 *
 * Components of variance. A quantity x of N closings has variance S = s^2 (N - 1 degrees of freedom); its
 * measurement brings v, stated as the mean of u^2 (degrees of freedom infinite) or found by measuring a
 * closing more than once. Between closings there is S - v, a negative estimate counts as 0 and is
 * told. Test of "0": F = S / v. Confidence interval: modified large sample method (Ting, Burdick,
 * Graybill, Jeyaratnam and Lu 1990, J. Stat. Comput. Simul. 35: 135-143; Burdick and Graybill 1992,
 * Confidence Intervals on Variance Components). Its lower limit is above 0 just where F is
 * significant; with v known it is the exact chi-square interval. (Formulas from memory; checked by these
 * two properties and by drawn coverage.)
 *
 * Tilt is a vector in the plane: S and v are 2 x 2 covariances. Its scatter is the trace of S - v, so
 * that no axis is chosen by looking. The degrees of freedom of trace S are those of Satterthwaite (1946,
 * Biometrics Bulletin 2: 110-114): (N - 1) (trace S)^2 / trace S^2. Test of "no scatter":
 * rg_seating_tilts. Axis of the scatter: first eigenvector of S - v; standard uncertainty of its angle
 * sqrt(l1 l2 / (N - 1)) / (l1 - l2), l the eigenvalues of S (Girshick 1939, Ann. Math. Stat. 10: 203-224).
 * It is told only where S is no circle: (2 sqrt(l1 l2) / (l1 + l2))^(N - 2) is the p of that (Mauchly 1940,
 * Ann. Math. Stat. 11: 204-209; exact for two axes and errors alike in both).
 *
 * Drift: slope of the mean height against the number of the closing, weighted by the stated u. It is
 * significant where it is both against the stated u (normal) and against the scatter about
 * the line (Student's t, N - 2).
 *
 * Judgement (common practice, no source; limits in calib/keys.ini):
 *   loose key   the tilt scatters: significant, and by more than loose_tilt_mm;
 *   soft pad    the tilt does not scatter significantly, the mean sinks: significant, from first to last
 *               by more than soft_drift_mm;
 *   steady      the upper limit of the tilt's scatter is at or below loose_tilt_mm, no soft pad;
 *   not told    anything else, with fewer than closings_least closings always unless significant.
 * Scatter along the hinge rod (bearings 90 and 270) is a key that rocks sideways: a worn tube or rod,
 * loose pivot screws. Across it (0 and 180) the hinge side lifts, or the arm or the cup on it
 * gives, or the finger presses at another place (common practice, no source).
 *
 * Stated u hold errors that all closings share and that do not scatter. So v is rather too large:
 * scatter is found too rarely and too small, never the other way. Fit the shapes of the closings with
 * uneven_mm = 0: a pad's own face is the same at each closing. A pad in contact all round shows no
 * tilt.
 */
#ifndef RIMGLOW_REPEAT_H
#define RIMGLOW_REPEAT_H

#include "rimglow/gauge.h"
#include "rimglow/seating.h"

enum { RG_CLOSINGS_MAX = 100 };

typedef struct rg_repeat_options {
    double coverage_factor; /* k of sentences */
    double confidence;      /* of intervals, two-sided */
    double significance;    /* p at or below which scatter and drift count */
    double loose_tilt_mm;   /* scatter of the tilt (standard deviation, at the rim's edge) */
    double soft_drift_mm;   /* of the mean over all closings */
    int closings_least;
    double axis_u_deg;       /* an axis known worse is not told */
    double same_force_share; /* forces in grams that differ by no more are the same */
} rg_repeat_options;

/* ------------------------------------------------------------- components */

typedef struct rg_between {
    double between, df_between; /* mean square: S, or that of groups of `repeats` values */
    double within, df_within;   /* v; degrees of freedom may be INFINITY */
    rg_component component;     /* (between - within) / repeats; contribution and study 0 */
    double f, p;                /* one-sided test of "no component" */
    double low, high;           /* of the component's standard deviation, >= 0 */
} rg_between;

/* Degrees of freedom need not be whole. repeats: values in a group, 1 for single ones.
 * RG_BAD_DATA for mean squares that are negative or not finite (within 0 too), degrees of freedom
 * that are not positive, repeats < 1, confidence outside 0 to 1. */
rg_code rg_repeat_component(double between, double df_between, double within, double df_within,
                            int repeats, double confidence, rg_between *spread, rg_error *err);

/* ----------------------------------------------------------------- results */

typedef enum rg_repeat_state {
    RG_REPEAT_NOT_MEASURED, /* no tilt of two closings */
    RG_REPEAT_NOT_TOLD,
    RG_REPEAT_STEADY,
    RG_REPEAT_LOOSE_KEY,
    RG_REPEAT_SOFT_PAD
} rg_repeat_state;
/* "not measured" "not told" "steady" "loose key" "soft pad" */
const char *rg_repeat_state_name(rg_repeat_state state);

typedef struct rg_repeat {
    int closings, sealed, tilts, unseen; /* tilts: with a known tilt */
    bool same_finger;                    /* rg_seating_same_finger */
    bool has_widest, has_mean;           /* of two closings or more */
    rg_between widest, mean, tilt;       /* tilt: trace, valid with tilts >= 2 */
    double widest_mean_mm, mean_mean_mm;
    double tilt_mean[2], excess[2][2]; /* of the tilt vectors; S - v, mm^2 */
    rg_tilt_spread test;               /* of the tilts */
    bool axis_told;
    double axis_p;               /* of "no axis"; NAN for fewer than three tilts */
    double axis_deg, u_axis_deg; /* of the scatter, [0, 180); NAN without */
    double along_mm, across_mm;  /* standard deviations along that axis and at right angles to it */
    double drift_mm, U_drift_mm; /* mean, first to last; negative sinks; NAN without */
    double drift_p;              /* larger of both tests */
    rg_repeat_state state;
    rg_advice advice;
} rg_repeat;

/* In the order in which the key was closed. RG_BAD_DATA for fewer than two or too many closings,
 * options out of range. */
rg_code rg_repeat_find(const rg_seating *closing, int closings, const rg_repeat_options *options,
                       rg_repeat *repeat, rg_error *err);

#endif

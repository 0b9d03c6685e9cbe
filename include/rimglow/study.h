/*
 * study.h - the two studies of a workshop as a whole: what a measurement is
 * worth when people repeat it (gauge.h), and how wide a gap must be to be found
 * (detection.h, opportunity.h). Values in, one result struct out.
 */
#ifndef RIMGLOW_STUDY_H
#define RIMGLOW_STUDY_H

#include "rimglow/gauge.h"
#include "rimglow/opportunity.h"

typedef enum rg_signal_axes {
    RG_SIGNAL_LINEAR,   /* signal against size */
    RG_SIGNAL_LOG_SIZE, /* signal against ln size */
    RG_SIGNAL_LOG_LOG   /* ln signal against ln size */
} rg_signal_axes;

/* calib/study.ini says what each means and where it comes from. */
typedef struct rg_study_settings {
    double confidence;     /* of intervals and of binomial bounds; a90/95 has its own 95 % */
    double pool_above;     /* interaction's p above which it is pooled */
    double accept_percent; /* of study variation, at or below: the gauge will do */
    double refuse_percent; /* above: it will not */
    int opportunity_deg;   /* one opportunity every so many degrees */
    int link;              /* rg_pod_link */
    int axis;              /* rg_pod_axis of hit/miss */
    int signal_axes;       /* rg_signal_axes */
} rg_study_settings;

/* The values of calib/study.ini (a test compares the two). */
rg_study_settings rg_study_defaults(void);

typedef enum rg_study_verdict {
    RG_STUDY_PASSED,
    RG_STUDY_FAILED,
    RG_STUDY_UNDECIDED
} rg_study_verdict;

const char *rg_study_verdict_name(rg_study_verdict verdict); /* "passed" "failed" "undecided" */

/* ---------------------------------------------------------------- gauge */

typedef struct rg_gauge_bias_of_part {
    double reference_mm; /* NAN: none */
    double bias_mm;      /* mean of its values - reference; NAN without one */
} rg_gauge_bias_of_part;

typedef struct rg_gauge_study_result {
    bool degrees;        /* values are bearings; else mm */
    const double *value; /* borrowed; [part][person][repeat]; bearings unwrapped */
    rg_gauge gauge;
    rg_study_verdict verdict; /* by the gauge's percent of study variation */
    bool has_bias;            /* at least two values have a reference */
    rg_bias bias;
    bool has_line;               /* and at least two references differ, with three values */
    rg_line line;                /* bias against reference */
    rg_gauge_bias_of_part *part; /* owned; [gauge.parts] */
} rg_gauge_study_result;

/* value: as in rg_gauge_study; bearings are unwrapped in place. reference[part]: true
 * width or NAN; NULL when there is none at all. */
rg_code rg_study_gauge(double *value, const double *reference, int parts, int persons, int repeats,
                       bool degrees, const rg_study_settings *settings,
                       rg_gauge_study_result *result, rg_error *err);
void rg_gauge_study_free(rg_gauge_study_result *result);

/* --------------------------------------------------------------- detect */

/* One target, or one opportunity of a sweep. */
typedef struct rg_trial {
    int sweep;      /* number of the sweep, -1: none */
    double size_mm; /* true size; 0: nothing was there */
    bool seen;      /* false: no opportunity */
    bool hit;       /* found; with signals alone decided by the decision */
    bool has_hit, has_signal;
    double signal;
    rg_censor censor;
} rg_trial;

enum { RG_POD_POINTS = 99 }; /* of a drawn curve: POD 0.01, 0.02 ... 0.99 */

typedef struct rg_pod_point {
    double pod, size, low, high; /* size with this POD, and its bounds */
} rg_pod_point;

typedef struct rg_detection_result {
    int trials, sweeps;
    int unseen_open, unseen_closed; /* left out: not seen, with and without a gap there */
    /* Targets: seen, size above 0. */
    int targets, found;
    double *size;                          /* owned; [targets] */
    bool *hit;                             /* owned; [targets] */
    double found_low, found_high;          /* exact two-sided interval of the share found */
    double largest_missed, smallest_found; /* NAN: none */
    int above, above_found; /* targets larger than largest_missed; all of them were found */
    double above_low;       /* exact one-sided lower bound of their POD */
    bool has_hits;
    rg_pod pod;                        /* hit/miss */
    rg_pod_point curve[RG_POD_POINTS]; /* of pod, when fitted; 95 % bounds as for a90/95 */
    /* Nothing was there, and it was seen. */
    int closed, false_calls;
    double false_high;               /* exact one-sided upper bound */
    int closed_sweeps, false_sweeps; /* sweeps without any true gap; of them with a claim */
    double false_sweeps_high;
    /* Signals of targets. */
    bool has_signals;
    int responses, below, over;
    rg_response *response; /* owned; [responses] */
    double decision;
    bool signal_log; /* signals are taken as logarithms */
    rg_pod signal_pod;
    rg_pod_point signal_curve[RG_POD_POINTS];
    rg_study_verdict verdict;
} rg_detection_result;

/* decision: signal at or above which a target counts as found, NAN: none stated (then signals
 * are not fitted). require_mm: the study passes when a90/95 is at most this; NAN:
 * it passes when the data set a90/95 at all. */
rg_code rg_study_detect(const rg_trial *trial, int trials, double decision, double require_mm,
                        const rg_study_settings *settings, rg_detection_result *result,
                        rg_error *err);
void rg_detection_result_free(rg_detection_result *result);

/* The fit that the verdict rests on: hit/miss where there are hits, else signals. */
const rg_pod *rg_detection_main(const rg_detection_result *result);

#endif

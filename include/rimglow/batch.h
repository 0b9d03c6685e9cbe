/*
 * batch.h - many instruments together: which pads of a model fail most, how many passed at once,
 * and whether the station drifts.
 *
 * An instrument is a serial of a model, an inspection a bag of a serial. Shares come with the exact
 * binomial interval (Clopper and Pearson, Biometrika 26 (1934) 404-413), two-sided, by
 * detection.h. Slopes are least squares with Student's t (GSL). Time runs with
 * the sweeps' count: sorting by time, all else by hashing and counting.
 */
#ifndef RIMGLOW_BATCH_H
#define RIMGLOW_BATCH_H

#include <stdint.h>

#include "rimglow/sealmap.h"
#include "rimglow/status.h"

/* One sweep. Texts are borrowed and compared bytewise; NULL counts as "". */
typedef struct rg_batch_sweep {
    const char *serial, *model, *pad, *station, *bag;
    int position; /* of the pad in the body; -1 unknown */
    int64_t time; /* POSIX seconds */
    rg_verdict verdict;
    double radiance, psf_sigma_px; /* NAN: not known, as is a radiance that is not above 0 */
} rg_batch_sweep;

typedef struct rg_share {
    int of, count;
    double share, low, high; /* NAN for an empty batch */
} rg_share;
/* Two-sided interval of this confidence; low of 0 and high of all are 0 and 1. */
rg_share rg_share_of(int count, int of, double confidence);

typedef struct rg_batch_pad { /* of one model */
    const char *model, *pad;  /* borrowed from the sweeps */
    int position;             /* the smallest known of its sweeps; -1 */
    int sweeps, leaking, undecided;
    rg_share failing; /* leaking of its sweeps */
    /* Share of all failures of the model up to and with this one; NAN when nothing failed. */
    double cumulative;
} rg_batch_pad;

typedef struct rg_batch_model {
    const char *model;
    int serials;
    /* Instruments whose first inspection in the batch found every sweep sealed: one that leaked and
     * was swept again, sealed, in the same inspection did not pass at once. */
    rg_share instruments;
    rg_share pads; /* of all instruments, sealed at the first sweep in the batch */
} rg_batch_model;

/* A straight line through a quantity over time, least squares; Student's t for the interval.
 * The sweeps of a day share focus, lamp and much else, so they are no independent witnesses of a
 * slope: where the mean square of the residuals between days (UTC) is larger than among all
 * sweeps, it is the error, with days - 2 degrees of freedom. With as many sweeps on each day the
 * interval is then that of a line through the days' means. */
typedef struct rg_trend {
    int points;
    double per_month, low, high; /* slope a month of 30 days; NAN where the points fix none: on */
                                 /* fewer than three days, or no degree of freedom left */
    double at_begin, at_end;     /* of the line, at the station's first and last sweep */
} rg_trend;

typedef struct rg_batch_station {
    const char *station;
    int sweeps;
    int64_t begin, end;
    /* Of the lamp in the slot. Where it lies differs from pad to pad, so each model's pad has a
     * level of its own at this station, fitted together with one slope for all (analysis of
     * covariance: times and values less their group's means, Frisch and Waugh, Econometrica 1
     * (1933) 387-401; n - groups - 1 degrees of freedom). 0 is the mean. A pad swept once says
     * nothing and is no point. */
    rg_trend ln_radiance;
    rg_trend psf;                     /* blur, px */
    bool radiance_drifts, psf_drifts; /* 0 is outside the interval */
} rg_batch_station;

typedef struct rg_batch {
    double confidence;
    int sweeps, serials, inspections; /* serials: different texts, of any model */
    int pads;
    rg_batch_pad *pad; /* owned; by model, then most leaking first, then position, then name */
    int models;
    rg_batch_model *model; /* owned; by name */
    int stations;
    rg_batch_station *station; /* owned; by name */
    /* The points of the stations' plots: [sweeps], in the order of the input. The logarithm less
     * the level of its pad; NAN where not known. */
    double *ln_radiance; /* owned */
} rg_batch;

/* sweeps: any order. "First" is by time, then by place in the input. RG_BAD_DATA for a confidence
 * outside 0.5 to 0.9999. An empty batch is no error. On failure *batch owns nothing. */
rg_code rg_batch_sum(const rg_batch_sweep *sweeps, int count, double confidence, rg_batch *batch,
                     rg_error *err);
void rg_batch_free(rg_batch *batch);

#endif

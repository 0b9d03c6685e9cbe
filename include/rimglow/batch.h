/*
 * batch.h - many instruments together: which pads of a model fail most, how many passed at once, and
 * whether the station drifts.
 */
#ifndef RIMGLOW_BATCH_H
#define RIMGLOW_BATCH_H

#include <stdint.h>

#include "rimglow/sealmap.h"
#include "rimglow/status.h"

/* One sweep. Texts are borrowed and compared bytewise. */
typedef struct rg_batch_sweep {
    const char *serial, *model, *pad, *station, *bag;
    int position; /* of the pad in the body; -1 unknown */
    int64_t time;
    rg_verdict verdict;
    double radiance, psf_sigma_px; /* NAN: not known */
} rg_batch_sweep;

/* A share with its exact binomial interval (Clopper and Pearson 1934), by GSL's beta quantile. */
typedef struct rg_share {
    int of, count;
    double share, low, high; /* NAN for an empty batch */
} rg_share;
rg_share rg_share_of(int count, int of, double confidence);

typedef struct rg_batch_pad { /* of one model */
    const char *model, *pad;  /* borrowed from the sweeps */
    int position, sweeps, leaking, undecided;
    rg_share failing;  /* leaking of its sweeps */
    double cumulative; /* share of all failures of the model up to and with this one */
} rg_batch_pad;

typedef struct rg_batch_model {
    const char *model;
    int serials;
    rg_share instruments; /* whose first inspection in the batch had every swept pad sealed */
    rg_share pads;        /* sealed at the first sweep in the batch */
} rg_batch_model;

/* A straight line through a quantity over time, least squares; t quantile for the interval. */
typedef struct rg_trend {
    int points;
    double per_month, low,
        high;                /* slope a month of 30 days; NAN below three points or one instant */
    double at_begin, at_end; /* of the line */
} rg_trend;

typedef struct rg_batch_station {
    const char *station;
    int sweeps;
    int64_t begin, end;
    rg_trend
        ln_radiance; /* of the lamp in the slot, against the mean of the same model's pad: where the
                             lamp lies differs from pad to pad */
    rg_trend psf;    /* blur, px */
    bool radiance_drifts, psf_drifts; /* 0 is outside the interval */
} rg_batch_station;

typedef struct rg_batch {
    double confidence;
    int sweeps, serials, inspections;
    int pads;
    rg_batch_pad *pad; /* owned; by model, then most leaking first, then position */
    int models;
    rg_batch_model *model; /* owned; by name */
    int stations;
    rg_batch_station *station; /* owned; by name */
    /* the points of the stations' plots: [sweeps], in the order of the input */
    double *ln_radiance; /* owned; NAN where not known */
} rg_batch;

/* sweeps: any order. "First" is by time, then by place in the input. RG_BAD_DATA for a confidence outside
 * 0.5 to 0.9999. An empty batch is no error. */
rg_code rg_batch_sum(const rg_batch_sweep *sweeps, int count, double confidence, rg_batch *batch,
                     rg_error *err);
void rg_batch_free(rg_batch *batch);

#endif

/*
 * archive_report.h - answers of the archive as JSON. Lengths in mm, angles in degrees; what does not
 * exist is null. Texts are owned by the caller (free()).
 */
#ifndef RIMGLOW_ARCHIVE_REPORT_H
#define RIMGLOW_ARCHIVE_REPORT_H

#include <stdint.h>

#include "rimglow/batch.h"
#include "rimglow/change.h"
#include "rimglow/digest.h"

/* {"format": "rimglow archive addition", "version": 1, bag, verdict, sweeps, measured, files, bytes,
 * manifest_sha256, tagmanifest_sha256, setup "release" | "hold" | null, indexed, remarks[]} */
typedef struct rg_added_report {
    const char *bag, *verdict;
    const char *setup; /* what the set-up sheet says; NULL: there is none */
    int sweeps, measured;
    uint64_t files, bytes;
    const rg_digest *manifest, *tagmanifest;
    bool indexed;
    const char *const *remark; /* [remarks] */
    int remarks;
} rg_added_report;
rg_code rg_archive_report_added(const rg_added_report *report, char **text, rg_error *err);

/* {"format": "rimglow archive verification", "version": 1, clean, faults, remarks, bags[] of {bag, files,
 * bytes, manifest_sha256, tagmanifest_sha256, signature, faults}, findings[] of {kind, remark, bag,
 * file, text}} */
typedef struct rg_verified_report_bag {
    const char *bag, *signature;
    uint64_t files, bytes;
    const rg_digest *manifest, *tagmanifest;
    int faults;
} rg_verified_report_bag;
typedef struct rg_verified_report_finding {
    const char *kind, *bag, *file, *text;
    bool remark;
} rg_verified_report_finding;
typedef struct rg_verified_report {
    int faults, remarks, bags, findings;
    const rg_verified_report_bag *bag;
    const rg_verified_report_finding *finding;
} rg_verified_report;
rg_code rg_archive_report_verified(const rg_verified_report *report, char **text, rg_error *err);

/* {"format": "rimglow archive comparison", "version": 1, serial, before, after, settings {coverage_factor,
 * turn_u_deg, min_arc_deg}, overall, pads[] of {pad, overall, comparable, mean_change_mm, u_mean_change_mm,
 * turn_deg, arcs[] of {state, start_deg, end_deg, extent_deg, most_mm, u_most_mm, most_bearing_deg},
 * bins[360] of {before_mm, after_mm, change_mm, u_mm, state}}, only_before[], only_after[]} */
typedef struct rg_compared_pad {
    const char *pad;
    const rg_change *change;
} rg_compared_pad;
typedef struct rg_compared_report {
    const char *serial, *before, *after;
    const rg_change_options *options;
    rg_change_state overall;
    const rg_compared_pad *pad;
    int pads;
    const char *const *only_before, *const *only_after; /* pads of one visit alone */
    int only_befores, only_afters;
} rg_compared_report;
rg_code rg_archive_report_compared(const rg_compared_report *report, char **text, rg_error *err);

/* {"format": "rimglow archive batch", "version": 1, since, until, confidence, sweeps, serials, inspections,
 * pads[] of {model, pad, sweeps, leaking, undecided, failing {share, low, high}, cumulative},
 * models[] of {model, serials, instruments {of, count, share, low, high}, pads {...}},
 * stations[] of {station, sweeps, ln_radiance {points, per_month, low, high, drifts}, psf_px {...}}} */
rg_code rg_archive_report_batch(const rg_batch *batch, const char *since, const char *until,
                                char **text, rg_error *err);

#endif

/*
 * study_report.h - results of studies as JSON.
 *
 * Lengths in mm, bearings in degrees, shares as percent where the key says so; what does not
 * exist is null, an infinite bound too. Both documents begin with format ("rimglow
 * gauge study", "rimglow detection study"), version 1, software, table, verdict
 * ("passed", "failed", "undecided") and settings {...}.
 *
 * gauge: unit "mm" | "deg", quantity, parts[] of {name, reference_mm, bias_mm}, persons[],
 *   repeats, mean, anova {part, person, interaction, error, pooled_error} of {df,
 *   ss, ms, f, p}, pooled, components {repeatability, person, interaction,
 *   reproducibility, gauge, part, total} of {variance, sd, contribution_percent,
 *   study_percent, negative, raw_variance}, repeatability_interval[2],
 *   categories, categories_exact, bias? {n, bias, sd, u, t, p, interval[2]},
 *   linearity? {n, intercept, slope, u_intercept, u_slope, p, sd}, values[][][].
 *
 * detect: input "hits" | "signals" | "sweeps", sweeps, opportunities, unseen {open,
 *   closed}, targets {n, found, share_interval[2], largest_missed_mm, smallest_found_mm,
 *   above_largest_missed {n, found, pod_low}}, false_calls {n, calls, rate_high,
 *   sweeps, sweeps_with_calls, sweep_rate_high}, hit_miss? and signal? of {state, text, link,
 *   axis, intercept, slope, covariance[2][2], mu, sigma, log_likelihood, a50_mm, a90_mm, a90_95_mm},
 *   signal with decision, tau, below, above; curve[] of {pod, size_mm, low_mm, high_mm} and data[] of
 *   {size_mm, found, signal?, limit?}.
 */
#ifndef RIMGLOW_STUDY_REPORT_H
#define RIMGLOW_STUDY_REPORT_H

#include "rimglow/study.h"

typedef struct rg_gauge_report {
    const char *table, *quantity;
    const char *const *part, *const *person; /* names */
    const rg_study_settings *settings;
    const rg_gauge_study_result *result;
} rg_gauge_report;

typedef struct rg_detect_report {
    const char *table, *input;
    const rg_study_settings *settings;
    const rg_detection_result *result;
    double require_mm; /* NAN: none */
} rg_detect_report;

/* Indented JSON text, owned by the caller (free()). */
rg_code rg_study_report_gauge(const rg_gauge_report *report, char **text, rg_error *err);
rg_code rg_study_report_detect(const rg_detect_report *report, char **text, rg_error *err);

#endif

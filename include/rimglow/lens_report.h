/*
 * lens_report.h - a lens calibration as JSON.
 *
 * Version 1. Pixels have their centres at integers, angles are degrees, a
 * value that does not exist is null. Keys:
 *   format "rimglow lens calibration", version 1, software, good, advice[],
 *   width_px, height_px,
 *   lens {fx_px, fy_px, cx_px, cy_px, k1, k2, p1, p2, k3},
 *   standard_deviation (the same keys; 0 for a value that was not fitted),
 *   focal_relative, rms_px (sqrt(SSE / points)), sigma_px, points, parameters,
 *   all {views, points, rms_px, fx_px, fy_px} with the bad views in,
 *   views[] of {file, used, points, rms_px, rotation[3][3], translation_mm[3]},
 *   not_used[] of {file, reason},
 *   coverage {fields[9] of {name, views, marks}, corner_distance_px[4],
 *     corner_limit_px, tipped_up_down, tipped_left_right, largest_tilt_deg}.
 */
#ifndef RIMGLOW_LENS_REPORT_H
#define RIMGLOW_LENS_REPORT_H

#include "rimglow/lensreview.h"

typedef struct rg_lens_report {
    const rg_view *view;
    const rg_calibration *calibration;
    const rg_lens_review *review;
    /* Photographs that show no usable board: names and reasons. */
    int unused;
    const char *const *unused_file, *const *unused_reason;
} rg_lens_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_lens_report_text(const rg_lens_report *report, char **text, rg_error *err);

#endif

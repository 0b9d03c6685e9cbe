/*
 * report.h - results as JSON: seal-map.json and the machine's answer.
 *
 * seal-map.json, version 1. Lengths in mm, angles in degrees; a value that
 * does not exist (width of an unseen bearing, an infinite detection limit) is
 * null, and so is a name that is not UTF-8. Keys:
 *   format "rimglow seal map", version 1, software, serial, instrument, pad,
 *   station, folder, crown, finger {kind, grams?}, verdict "sealed" | "leaking" |
 *   "undecided", reasons[], tolerance_mm, min_arc_deg, seen_arc_deg,
 *   coverage_factor,
 *   rim_inner_diameter_mm, rim_outer_diameter_mm, pad_diameter_mm,
 *   light {proven, radiance[3], u_ln, calibrated, calibration_date}, psf_sigma_px, pad_bulge_mm,
 *   rim_plane {found, height_mm, tilt_mm, tilt_bearing_deg, sigma_mm},
 *   bins[360] of {bearing_deg, width_mm, u_mm, detection_limit_mm, frames,
 *     lit_frames, state "sealed" | "gap" | "unseen", why?, u_parts_mm? of
 *     {noise, radiance, blur, pose, scale, model}},
 *   arcs[] of {start_deg, end_deg, u_end_deg, centre_deg, u_centre_deg,
 *     extent_deg, u_extent_deg, extent_mm, u_extent_mm, max_width_mm, u_max_mm,
 *     max_bearing_deg, mean_width_mm, u_mean_mm, open_area_mm2, u_area_mm2,
 *     full_circle, runs_into_unseen},
 *   frames[] of {file, role, exposure, used, reason, bearing_deg,
 *     elevation_deg, reprojection_rms_px, place "crown" | "jig" | "marks",
 *     u_bearing_deg, u_elevation_deg, threshold?, rejected_lights?, sha256?},
 *   opening? (only with open frames) {measured, reason, target_mm, far_mm, u_far_mm, hinge_mm,
 *     u_hinge_mm, mean_mm, u_mean_mm, tilt_mm, u_tilt_mm, tilt_bearing_deg, frames_given,
 *     frames_used, rms_px, frames[] of {file, used, reason, bearing_deg, elevation_deg,
 *     points, rms_px}},
 *   judged? "YYYY-MM-DD", inputs? {sweep_sha256, instrument_sha256, station_sha256}.
 * The sha256 are SHA-256 (FIPS 180-4) of the files as they were measured; a frame that could not
 * be read has none. judged is the day for which the light's calibration was held against its validity.
 * opening (opening.h) is the height of the open key over the rim, at the far edge (bearing 180), at
 * the hinge (0) and at the hole's axis; tilt_mm across the land; u_ are standard uncertainties. It
 * says nothing of the seal: with open frames alone the verdict is "undecided".
 * crown is null where the place comes from a jig or marks. u_bearing_deg and
 * u_elevation_deg are standard uncertainties of the pose alone; with a crown they do
 * not say how it sits on the cup.
 */
#ifndef RIMGLOW_REPORT_H
#define RIMGLOW_REPORT_H

#include "rimglow/date.h"
#include "rimglow/digest.h"
#include "rimglow/pipeline.h"
#include "rimglow/wedge.h"

/* What was measured, bit for bit. */
typedef struct rg_report_inputs {
    rg_digest sweep, instrument, station; /* of the three INI files */
    const rg_digest *frame;               /* [count of the report]; zeroed: could not be read */
    char judged[RG_DATE_TEXT];            /* the day for which the calibration was judged */
} rg_report_inputs;

typedef struct rg_report {
    const char *serial, *instrument, *pad, *station, *folder;
    const char *finger;  /* "light", "firm", "unstated" or "grams" */
    double finger_grams; /* with "grams" */
    const char *key;     /* pad whose key was pressed; NULL or "": its own, and left out */
    const rg_setup *setup;
    const rg_sweep_result *result;
    const rg_frame *frames;
    const char *const *files; /* [count] names of the frames */
    const char *const *roles; /* [count] */
    int count;
    const char *light_date;         /* of the light's calibration, YYYY-MM-DD; NULL: never */
    const rg_report_inputs *inputs; /* NULL: not known, and left out */
    const rg_opening *opening;      /* NULL or without frames: left out */
    double opening_target_mm;
} rg_report;

/* Indented JSON text, NUL-terminated, owned by the caller (free()). */
rg_code rg_report_seal_map(const rg_report *report, char **text, rg_error *err);

/* One document over many sweeps: {"format": "rimglow inspection", "version",
 * "verdict", "sweeps": [seal maps], "errors": [{folder, code, text}]}. maps[i]
 * is a text of rg_report_seal_map, or NULL with error[i] saying why. */
rg_code rg_report_inspection(const char *verdict, const char *const *folders,
                             const char *const *maps, const rg_error *errors, int count,
                             char **text, rg_error *err);

/* Calibration of the light: {"format": "rimglow light calibration", "version": 1,
 * station, date, feeler {thickness_mm, u_mm, bearing_deg, width_mm}, values {KEY:
 * {value, u, before}}, slot_depth_mm, radiance[3], psf_sigma_px, px_per_mm,
 * bearings, frames, residual {rms_before_mm, rms_mm, worst_mm,
 * worst_bearing_deg, offset_mm, u_offset_mm, slope, u_slope},
 * model_floor_mm, model_relative, response {monotone, nodes[] of {gap_mm,
 * flux_mm, reading_mm, bearings}}, saturation {full_scale, clipped_share},
 * noise {floor_mm, per_sqrt_light, background}, detection[] of {ambient,
 * elevation_deg[], limit_mm[]}, bins[] of {bearing_deg, gap_mm, before_mm,
 * reading_mm} of the bearings used}. */
rg_code rg_report_light(const rg_wedge_result *result, const rg_wedge_blade *blade,
                        const char *station, const char *date, char **text, rg_error *err);

#endif

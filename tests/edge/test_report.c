/*
 * Tests of report.h: a sweep's result made by hand, its widths by a real merge
 * of observations, written and read again by a JSON parser that is not ours
 * (jansson, which refuses what RFC 8259 does not allow, NaN included).
 */
#include <criterion/criterion.h>
#include <ctype.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/report.h"
#include "rimglow/version.h"
#include "support/setup.h"

enum { FRAMES = 3, VIEWS = 4 };

static rg_setup setup;
static rg_sweep_result result;
static rg_frame frames[FRAMES];
static const char *files[FRAMES] = {"witness.jpg", "view_00.jpg", "view_01.jpg"};
static const char *const roles[FRAMES] = {"witness", "closed", "closed"};
static rg_report report;

/* From slightly above, the land, 1 mm deep, hides 0.003 mm of a gap. */
#define SLOPE  0.003
#define HIDDEN (SLOPE * 1)

/* A tent of a gap at 120 degrees, seen by four frames; 300..309 not seen. */
static void merge(void)
{
    static rg_observation obs[RG_BINS][VIEWS];
    static const rg_observation *rows[RG_BINS];
    static int count[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        double height = fmax(0.08 * (1 - abs(b - 120) / 25.0) - HIDDEN, 0);
        for (int i = 0; i < VIEWS; i++)
            obs[b][i] = (rg_observation){.frame = i,
                                         .height_mm = height,
                                         .u_mm = 0.0006,
                                         .per_ln_radiance = 0.5 * height,
                                         .per_ln_sigma = 0.004,
                                         .slope_rim = SLOPE,
                                         .u_slope = 0.0005,
                                         .lit = height > 0};
        rows[b] = obs[b];
        count[b] = b >= 300 && b < 310 ? 0 : VIEWS;
    }
    rg_sealmap_merge(&result.map, &result.geometry, rows, count, &setup.options.rocking,
                     &setup.options.sealmap);
}

static void begin(void)
{
    test_setup(&setup);
    setup.options.rocking.u_slope = 0.002;
    setup.options.rocking.u_scale = 0.05;
    memset(&result, 0, sizeof result);
    memset(frames, 0, sizeof frames);
    result.geometry = (rg_slot_geometry){.inner_mm = 9, .outer_mm = 10, .pad_mm = 11.5};
    merge();
    result.map.verdict = RG_VERDICT_LEAKING;
    result.map.reasons = 2;
    strcpy(result.map.reason[0], "open from 95 to 145 degrees");
    strcpy(result.map.reason[1], "300 to 309 degrees were not seen");
    result.plane =
        (rg_rim_plane){.found = true, .c = 0.01, .a = 0.03, .s = -0.04, .sigma_mm = 0.004};
    result.evidence.light_proven = true;
    result.psf_sigma_px = 0.91234567;
    result.u_ln_radiance = 0.15;
    for (int i = 0; i < FRAMES; i++)
        frames[i] =
            (rg_frame){.used = i < 2,
                       .exposure = i ? 1 : 0.2,
                       .pose = {.state = i < 2 ? RG_POSE_OK : RG_POSE_NO_CROWN, .rms_px = 0.11},
                       .distance_mm = i < 2 ? 108 : 0,
                       .bearing_deg = 77.5,
                       .elevation_deg = -0.4};
    frames[1].light =
        (rg_rimlight){.columns = 240, .streaks = 3, .threshold = {.high = 0.006, .why = "noise"}};
    strcpy(frames[2].reason, "no tag of the crown in view");
    report = (rg_report){.serial = "PE-A-0147",
                         .instrument = "alto saxophone",
                         .pad = "G",
                         .station = "demo bench",
                         .folder = "08-G",
                         .finger = "light",
                         .setup = &setup,
                         .result = &result,
                         .frames = frames,
                         .files = files,
                         .roles = roles,
                         .count = FRAMES,
                         .light_date = "2026-11-18"};
}

static char *write_text(void)
{
    char *text = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_report_seal_map(&report, &text, &err), RG_OK, "%s", err.text);
    return text;
}

/* The document as jansson reads it, its own allocations checked by the sanitizer. */
static json_t *write_and_read(void)
{
    json_error_t fault;
    char *text = write_text();
    json_t *o = json_loads(text, JSON_REJECT_DUPLICATES, &fault);
    cr_assert_not_null(o, "line %d: %s", fault.line, fault.text);
    free(text);
    return o;
}

static double number(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    cr_assert(json_is_number(v), "%s is no number", key);
    return json_number_value(v);
}

static const char *string(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    cr_assert(json_is_string(v), "%s is no text", key);
    return json_string_value(v);
}

static const json_t *entry(const json_t *o, const char *key, size_t i)
{
    const json_t *v = json_array_get(json_object_get(o, key), i);
    cr_assert_not_null(v, "%s[%zu]", key, i);
    return v;
}

static bool is_null(const json_t *o, const char *key)
{
    return json_is_null(json_object_get(o, key));
}

/* keys: separated by blanks. The object has these and no other. */
static void has_keys(const json_t *o, const char *what, const char *keys)
{
    size_t n = 0;
    cr_assert(json_is_object(o), "%s", what);
    for (const char *k = keys; *k; n++) {
        char key[60];
        int length = (int)strcspn(k, " ");
        snprintf(key, sizeof key, "%.*s", length, k);
        cr_assert_not_null(json_object_get(o, key), "%s lacks %s", what, key);
        k += length;
        k += *k == ' ';
    }
    cr_assert_eq(json_object_size(o), n, "%s has %zu keys, the header lists %zu", what,
                 json_object_size(o), n);
}

/* ------------------------------------------------------------------ keys */
Test(report, the_seal_map_has_the_keys_that_the_header_lists)
{
    begin();
    json_t *o = write_and_read();
    has_keys(o, "the seal map",
             "format version software serial instrument pad station folder crown finger verdict "
             "reasons tolerance_mm min_arc_deg seen_arc_deg coverage_factor rim_inner_diameter_mm "
             "rim_outer_diameter_mm pad_diameter_mm light psf_sigma_px pad_bulge_mm rim_plane bins "
             "arcs frames");
    has_keys(json_object_get(o, "finger"), "finger", "kind");
    has_keys(json_object_get(o, "light"), "light",
             "proven radiance u_ln calibrated calibration_date");
    cr_assert_str_eq(
        json_string_value(json_object_get(json_object_get(o, "light"), "calibration_date")),
        "2026-11-18");
    has_keys(json_object_get(o, "rim_plane"), "rim_plane",
             "found height_mm tilt_mm tilt_bearing_deg sigma_mm");
    has_keys(
        entry(o, "arcs", 0), "an arc",
        "start_deg end_deg u_end_deg centre_deg u_centre_deg extent_deg u_extent_deg extent_mm "
        "u_extent_mm max_width_mm u_max_mm max_bearing_deg mean_width_mm u_mean_mm "
        "open_area_mm2 u_area_mm2 full_circle runs_into_unseen");
    json_decref(o);
}

Test(report, bins_and_frames_have_the_keys_that_the_header_lists)
{
    const char *bin = "bearing_deg width_mm u_mm detection_limit_mm frames lit_frames state";
    const char *frame = "file role exposure used reason bearing_deg elevation_deg "
                        "reprojection_rms_px place u_bearing_deg u_elevation_deg";
    char more[400];
    begin();
    result.map.bin[5].blocked = true;
    json_t *o = write_and_read();
    cr_assert_eq(json_array_size(json_object_get(o, "bins")), RG_BINS);
    has_keys(entry(o, "bins", 0), "a sealed bin", bin);
    snprintf(more, sizeof more, "%s why", bin);
    has_keys(entry(o, "bins", 5), "a blocked bin", more);
    snprintf(more, sizeof more, "%s u_parts_mm", bin);
    has_keys(entry(o, "bins", 120), "a gap", more);
    has_keys(json_object_get(entry(o, "bins", 120), "u_parts_mm"), "u_parts_mm",
             "noise radiance blur pose scale model");
    cr_assert_eq(json_array_size(json_object_get(o, "frames")), FRAMES);
    has_keys(entry(o, "frames", 0), "a witness frame", frame);
    snprintf(more, sizeof more, "%s threshold rejected_lights", frame);
    has_keys(entry(o, "frames", 1), "a measured frame", more);
    has_keys(entry(o, "frames", 2), "a frame left out", frame);
    json_decref(o);
}

/* ---------------------------------------------------------------- values */
/* SHA-256 of "abc": FIPS 180-4. */
Test(report, what_was_measured_is_named_by_its_digest)
{
    const char *abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    begin();
    rg_digest frame[FRAMES] = {{{0}}, {{0}}, {{0}}};
    rg_report_inputs inputs = {.frame = frame, .judged = "2026-11-20"};
    cr_assert(rg_digest_parse(abc, &inputs.station));
    frame[1] = inputs.station;
    report.inputs = &inputs;
    json_t *o = write_and_read(), *in = json_object_get(o, "inputs");
    has_keys(in, "inputs", "sweep_sha256 instrument_sha256 station_sha256");
    cr_assert_str_eq(json_string_value(json_object_get(in, "station_sha256")), abc);
    cr_assert_str_eq(json_string_value(json_object_get(o, "judged")), "2026-11-20");
    cr_assert_str_eq(json_string_value(json_object_get(entry(o, "frames", 1), "sha256")), abc);
    cr_assert_null(json_object_get(entry(o, "frames", 0), "sha256"), "it could not be read");
    json_decref(o);
}

Test(report, the_head_says_what_was_inspected_and_what_was_found)
{
    begin();
    json_t *o = write_and_read();
    cr_assert_str_eq(string(o, "format"), "rimglow seal map");
    cr_assert_eq(number(o, "version"), 1);
    cr_assert_str_eq(string(o, "software"), "rimglow " RG_VERSION);
    cr_assert_str_eq(string(o, "serial"), "PE-A-0147");
    cr_assert_str_eq(string(o, "instrument"), "alto saxophone");
    cr_assert_str_eq(string(o, "pad"), "G");
    cr_assert_str_eq(string(o, "station"), "demo bench");
    cr_assert_str_eq(string(o, "folder"), "08-G");
    cr_assert_str_eq(string(o, "verdict"), "leaking");
    cr_assert_eq(number(o, "crown"), 2);
    cr_assert_eq(json_array_size(json_object_get(o, "reasons")), 2);
    cr_assert_str_eq(json_string_value(entry(o, "reasons", 1)), "300 to 309 degrees were not seen");
    json_decref(o);
}

Test(report, the_conditions_are_those_of_the_setup_and_the_sweep)
{
    begin();
    result.geometry.bulge_mm = 0.03;
    result.radiance[1] = 2.5;
    json_t *o = write_and_read();
    cr_assert_eq(number(o, "tolerance_mm"), 0.025);
    cr_assert_eq(number(o, "min_arc_deg"), 3);
    cr_assert_eq(number(o, "coverage_factor"), 2);
    cr_assert_eq(number(o, "rim_inner_diameter_mm"), 18);
    cr_assert_eq(number(o, "rim_outer_diameter_mm"), 20);
    cr_assert_eq(number(o, "pad_diameter_mm"), 23);
    cr_assert_eq(number(o, "pad_bulge_mm"), 0.03);
    cr_assert_eq(number(o, "psf_sigma_px"), 0.9123);
    const json_t *light = json_object_get(o, "light"), *plane = json_object_get(o, "rim_plane");
    cr_assert(json_is_true(json_object_get(light, "proven")));
    cr_assert_eq(json_number_value(entry(light, "radiance", 1)), 2.5);
    cr_assert_eq(json_array_size(json_object_get(light, "radiance")), 3);
    cr_assert_eq(number(light, "u_ln"), 0.15);
    /* A tilt of 3 towards 0 and 4 towards 270 degrees: 5, at atan2(-4, 3). */
    cr_assert_float_eq(number(plane, "tilt_mm"), 0.05, 1e-9);
    cr_assert_float_eq(number(plane, "tilt_bearing_deg"), 306.870, 1e-9);
    cr_assert_eq(number(plane, "height_mm"), 0.01);
    json_decref(o);
}

Test(report, a_rim_plane_that_was_not_found_has_no_numbers)
{
    begin();
    result.plane.found = false;
    json_t *o = write_and_read();
    has_keys(json_object_get(o, "rim_plane"), "rim_plane", "found");
    json_decref(o);
}

Test(report, only_a_finger_in_grams_has_grams)
{
    begin();
    report.finger = "grams";
    report.finger_grams = 85;
    json_t *o = write_and_read();
    const json_t *finger = json_object_get(o, "finger");
    cr_assert_str_eq(string(finger, "kind"), "grams");
    cr_assert_eq(number(finger, "grams"), 85);
    json_decref(o);
}

Test(report, bins_carry_the_merge_s_widths_states_and_counts)
{
    begin();
    json_t *o = write_and_read();
    for (size_t b = 0; b < RG_BINS; b++) {
        const json_t *j = entry(o, "bins", b);
        const rg_bin *bin = &result.map.bin[b];
        cr_assert_eq(number(j, "bearing_deg"), (double)b);
        cr_assert_eq(number(j, "frames"), bin->frames);
        cr_assert_eq(number(j, "lit_frames"), bin->lit);
        cr_assert_str_eq(string(j, "state"), rg_bin_state_name(bin->state));
        if (bin->state == RG_BIN_UNSEEN)
            continue;
        cr_assert_float_eq(number(j, "width_mm"), bin->width_mm, 0.501e-6);
        cr_assert_float_eq(number(j, "u_mm"), bin->u_mm, 0.501e-6);
        cr_assert_float_eq(number(j, "detection_limit_mm"), bin->detection_limit_mm, 0.501e-6);
    }
    cr_assert_str_eq(string(entry(o, "bins", 120), "state"), "gap");
    cr_assert_float_eq(number(entry(o, "bins", 120), "width_mm"), 0.08, 1e-6, "%g",
                       number(entry(o, "bins", 120), "width_mm"));
    json_decref(o);
}

Test(report, the_parts_of_a_gap_s_uncertainty_sum_in_squares_to_it)
{
    /* JCGM 100:2008, 5.1.2: independent contributions add in quadrature. Every
     * rounding is to 1e-6 mm. */
    begin();
    json_t *o = write_and_read();
    int gaps = 0;
    for (size_t b = 0; b < RG_BINS; b++) {
        const json_t *j = entry(o, "bins", b), *parts = json_object_get(j, "u_parts_mm");
        const rg_bin *bin = &result.map.bin[b];
        cr_assert_eq(parts != NULL, bin->state == RG_BIN_GAP, "bearing %zu", b);
        if (!parts)
            continue;
        double sum = 0, u = number(j, "u_mm");
        const char *key;
        json_t *part;
        json_object_foreach((json_t *)(size_t)parts, key, part)
        {
            sum += pow(json_number_value(part), 2);
            cr_assert_gt(json_number_value(part), 1e-5, "%s at %zu tells nothing", key, b);
        }
        cr_assert_float_eq(sum, u * u, 8 * u * 0.5e-6, "bearing %zu: %g is not %g", b, sqrt(sum),
                           u);
        cr_assert_float_eq(number(parts, "noise"), bin->fit.u_noise_mm, 1e-6);
        cr_assert_float_eq(number(parts, "radiance"), bin->fit.u_radiance_mm, 1e-6);
        cr_assert_float_eq(number(parts, "blur"), bin->fit.u_psf_mm, 1e-6);
        cr_assert_float_eq(number(parts, "pose"), bin->fit.u_pose_mm, 1e-6);
        cr_assert_float_eq(number(parts, "scale"), bin->fit.u_scale_mm, 1e-6);
        cr_assert_float_eq(number(parts, "model"), bin->fit.u_model_mm, 1e-6);
        gaps++;
    }
    cr_assert_gt(gaps, 30);
    json_decref(o);
}

Test(report, arcs_carry_their_ends_and_say_where_they_run_into_the_unseen)
{
    begin();
    cr_assert_eq(result.map.arcs, 1);
    rg_arc *arc = &result.map.arc[0];
    json_t *o = write_and_read();
    const json_t *j = entry(o, "arcs", 0);
    cr_assert_float_eq(number(j, "start_deg"), arc->start_deg, 0.501e-3);
    cr_assert_float_eq(number(j, "end_deg"), arc->end_deg, 0.501e-3);
    cr_assert_float_eq(number(j, "max_width_mm"), arc->max_width_mm, 0.501e-6);
    cr_assert_float_eq(number(j, "u_max_mm"), arc->u_max_mm, 0.501e-6);
    cr_assert_float_eq(number(j, "open_area_mm2"), arc->open_area_mm2, 0.501e-6);
    cr_assert(json_is_false(json_object_get(j, "full_circle")));
    cr_assert(json_is_false(json_object_get(j, "runs_into_unseen")));
    json_decref(o);
    for (int side = 0; side < 2; side++) {
        arc->start_unseen = side == 0;
        arc->end_unseen = side == 1;
        o = write_and_read();
        cr_assert(json_is_true(json_object_get(entry(o, "arcs", 0), "runs_into_unseen")));
        json_decref(o);
    }
}

Test(report, frames_say_what_was_done_with_them)
{
    begin();
    json_t *o = write_and_read();
    const json_t *used = entry(o, "frames", 1), *out = entry(o, "frames", 2);
    cr_assert_str_eq(string(used, "file"), "view_00.jpg");
    cr_assert_str_eq(string(used, "role"), "closed");
    cr_assert(json_is_true(json_object_get(used, "used")));
    cr_assert_eq(number(used, "bearing_deg"), 77.5);
    cr_assert_eq(number(used, "elevation_deg"), -0.4);
    cr_assert_eq(number(used, "reprojection_rms_px"), 0.11);
    cr_assert_eq(number(used, "rejected_lights"), 3);
    has_keys(json_object_get(used, "threshold"), "threshold", "kind light why");
    cr_assert_eq(number(entry(o, "frames", 0), "exposure"), 0.2);
    cr_assert(json_is_false(json_object_get(out, "used")));
    cr_assert_str_eq(string(out, "reason"), "no tag of the crown in view");
    cr_assert(is_null(out, "bearing_deg") && is_null(out, "elevation_deg") &&
              is_null(out, "reprojection_rms_px"));
    json_decref(o);
}

Test(report, a_frame_s_place_comes_with_its_source_and_uncertainty)
{
    begin();
    setup.place.source = RG_PLACE_JIG;
    for (int i = 0; i < FRAMES; i++)
        frames[i].pose.source = RG_PLACE_JIG;
    /* A camera 100 mm from the hole at bearing 0, level: to nod by 1 mrad is to
     * be uncertain by 0.0573 degrees of elevation, to turn aside by 2 mrad by
     * 0.1146 of bearing. */
    frames[1].pose.pose = (rg_pose){{{{0, 1, 0}, {0, 0, -1}, {-1, 0, 0}}}, {0, 0, 100}};
    frames[1].pose.covariance[0][0] = 1e-6;
    frames[1].pose.covariance[1][1] = 4e-6;
    json_t *o = write_and_read();
    const json_t *used = entry(o, "frames", 1), *out = entry(o, "frames", 2);
    cr_expect(is_null(o, "crown"), "no crown was looked for");
    cr_expect_str_eq(string(used, "place"), "jig");
    cr_expect_float_eq(number(used, "u_elevation_deg"), 0.0573, 1e-4);
    cr_expect_float_eq(number(used, "u_bearing_deg"), 0.1146, 1e-4);
    cr_expect(is_null(out, "u_bearing_deg") && is_null(out, "u_elevation_deg"));
    json_decref(o);
    setup.place.source = RG_PLACE_CROWN;
}

Test(report, the_threshold_s_kind_is_named)
{
    begin();
    frames[1].light.threshold.kind = RG_THRESHOLD_OTSU;
    json_t *o = write_and_read();
    cr_assert_str_eq(string(json_object_get(entry(o, "frames", 1), "threshold"), "kind"), "otsu");
    json_decref(o);
    frames[1].light.threshold.kind = RG_THRESHOLD_NOISE;
    o = write_and_read();
    cr_assert_str_eq(string(json_object_get(entry(o, "frames", 1), "threshold"), "kind"), "noise");
    json_decref(o);
}

Test(report, a_bearing_that_was_not_seen_says_why_if_that_is_known)
{
    begin();
    result.map.bin[10].blocked = true;
    result.map.bin[20].ambient = true;
    json_t *o = write_and_read();
    cr_assert_not_null(strstr(string(entry(o, "bins", 10), "why"), "interrupted"));
    cr_assert_not_null(strstr(string(entry(o, "bins", 20), "why"), "lamp off"));
    json_decref(o);
}

Test(report, the_pressed_key_is_named_where_it_was_named)
{
    begin();
    report.key = "F";
    json_t *o = write_and_read();
    cr_assert_str_eq(string(o, "key"), "F");
    json_decref(o);
    report.key = "";
    o = write_and_read();
    cr_assert_null(json_object_get(o, "key"), "an empty name is none");
    json_decref(o);
    report.key = NULL;
    o = write_and_read();
    cr_assert_null(json_object_get(o, "key"));
    json_decref(o);
}

/* --------------------------------------------------------------- numbers */
Test(report, what_does_not_exist_is_null)
{
    begin();
    result.psf_sigma_px = NAN;
    result.map.bin[0].width_mm = NAN;
    result.map.bin[0].u_mm = -INFINITY;
    result.map.arc[0].start_deg = NAN;
    result.map.arc[0].u_end_deg = INFINITY;
    frames[1].bearing_deg = INFINITY;
    json_t *o = write_and_read();
    for (size_t b = 300; b < 310; b++) {
        const json_t *j = entry(o, "bins", b);
        cr_assert(is_null(j, "width_mm") && is_null(j, "u_mm"), "bearing %zu", b);
        cr_assert(is_null(j, "detection_limit_mm"), "bearing %zu", b);
        cr_assert_eq(number(j, "frames"), 0);
    }
    cr_assert(is_null(o, "psf_sigma_px"));
    cr_assert(is_null(entry(o, "bins", 0), "width_mm") && is_null(entry(o, "bins", 0), "u_mm"));
    cr_assert(is_null(entry(o, "arcs", 0), "start_deg"));
    cr_assert(is_null(entry(o, "arcs", 0), "u_end_deg"));
    cr_assert(is_null(entry(o, "frames", 1), "bearing_deg"));
    json_decref(o);
}

Test(report, widths_end_at_the_nanometre_and_angles_at_the_thousandth)
{
    begin();
    result.map.bin[0].width_mm = 0.0123456789;
    result.map.bin[1].width_mm = 0.0000004;
    result.map.arc[0].start_deg = 12.3456789;
    char *text = write_text();
    cr_assert_not_null(strstr(text, "\"width_mm\": 0.012346,"));
    cr_assert_not_null(strstr(text, "\"width_mm\": 0.0,"));
    cr_assert_not_null(strstr(text, "\"start_deg\": 12.346,"));
    for (const char *p = strchr(text, '.'); p; p = strchr(p + 1, '.')) {
        size_t digits = strspn(p + 1, "0123456789");
        cr_assert(digits <= 6 || !isdigit((unsigned char)p[-1]), "%.20s", p - 1);
    }
    free(text);
}

Test(report, a_bearing_just_short_of_the_whole_turn_is_0_not_360)
{
    begin();
    result.map.arc[0].start_deg = result.map.arc[0].end_deg = 359.9996;
    result.map.arc[0].centre_deg = result.map.arc[0].max_bearing_deg = 359.9996;
    frames[1].bearing_deg = 359.9999;
    result.plane.a = 0.05;
    result.plane.s = -1e-8;
    json_t *o = write_and_read();
    const json_t *arc = entry(o, "arcs", 0);
    cr_assert_eq(number(arc, "start_deg"), 0);
    cr_assert_eq(number(arc, "end_deg"), 0);
    cr_assert_eq(number(arc, "centre_deg"), 0);
    cr_assert_eq(number(arc, "max_bearing_deg"), 0);
    cr_assert_eq(number(entry(o, "frames", 1), "bearing_deg"), 0);
    cr_assert_eq(number(json_object_get(o, "rim_plane"), "tilt_bearing_deg"), 0);
    json_decref(o);
}

/* ------------------------------------------------------------------ text */
Test(report, names_are_escaped_and_kept)
{
    begin();
    report.pad = "G\u266f \"low\" \\ key";
    report.instrument = "line\nbreak\ttab";
    json_t *o = write_and_read();
    cr_assert_str_eq(string(o, "pad"), "G\u266f \"low\" \\ key");
    cr_assert_str_eq(string(o, "instrument"), "line\nbreak\ttab");
    json_decref(o);
}

Test(report, a_name_that_is_not_utf8_or_not_there_is_null)
{
    begin();
    report.serial = "caf\xe9"; /* Latin-1 */
    report.station = NULL;
    files[1] = "view\xff.jpg";
    json_t *o = write_and_read();
    cr_assert(is_null(o, "serial"));
    cr_assert(is_null(o, "station"));
    cr_assert(is_null(entry(o, "frames", 1), "file"));
    cr_assert_str_eq(string(entry(o, "frames", 0), "file"), "witness.jpg");
    json_decref(o);
}

Test(report, a_message_keeps_its_words_though_a_name_in_it_is_not_utf8)
{
    begin();
    strcpy(frames[2].reason, "caf\xe9/view.jpg: no tag in view");
    strcpy(result.map.reason[0], "cut within a charact\xc3");
    json_t *o = write_and_read();
    cr_assert_str_eq(string(entry(o, "frames", 2), "reason"), "caf?/view.jpg: no tag in view");
    cr_assert_str_eq(json_string_value(entry(o, "reasons", 0)), "cut within a charact?");
    json_decref(o);
}

/* ------------------------------------------------------------ inspection */
static json_t *inspection(const char *const *folders, const char *const *maps,
                          const rg_error *errors, int count)
{
    char *text = NULL;
    rg_error err = {0};
    json_error_t fault;
    cr_assert_eq(rg_report_inspection("undecided", folders, maps, errors, count, &text, &err),
                 RG_OK, "%s", err.text);
    json_t *o = json_loads(text, JSON_REJECT_DUPLICATES, &fault);
    cr_assert_not_null(o, "line %d: %s", fault.line, fault.text);
    free(text);
    return o;
}

Test(report, an_inspection_holds_the_maps_unchanged_and_the_errors_of_the_rest)
{
    begin();
    char *first = write_text();
    report.pad = "A";
    char *third = write_text();
    const char *const folders[] = {"08-G", "09-none", "06-A"};
    const char *const maps[] = {first, NULL, third};
    const rg_error errors[] = {
        {.code = RG_OK}, {RG_NO_INPUT, "09-none: the folder is missing"}, {.code = RG_OK}};
    json_t *o = inspection(folders, maps, errors, 3), *map = json_loads(first, 0, NULL);
    has_keys(o, "the inspection", "format version software verdict sweeps errors");
    cr_assert_str_eq(string(o, "format"), "rimglow inspection");
    cr_assert_eq(number(o, "version"), 1);
    cr_assert_str_eq(string(o, "software"), "rimglow " RG_VERSION);
    cr_assert_str_eq(string(o, "verdict"), "undecided");
    cr_assert_eq(json_array_size(json_object_get(o, "sweeps")), 2);
    cr_assert(json_equal(entry(o, "sweeps", 0), map), "the map changed on its way");
    cr_assert_str_eq(string(entry(o, "sweeps", 1), "pad"), "A");
    cr_assert_eq(json_array_size(json_object_get(o, "errors")), 1);
    const json_t *e = entry(o, "errors", 0);
    has_keys(e, "an error", "folder code text");
    cr_assert_str_eq(string(e, "folder"), "09-none");
    cr_assert_eq(number(e, "code"), 66);
    cr_assert_str_eq(string(e, "text"), "09-none: the folder is missing");
    json_decref(map);
    json_decref(o);
    free(first);
    free(third);
}

Test(report, a_sweep_measured_but_not_written_has_both_map_and_error)
{
    begin();
    char *text = write_text();
    const char *const folders[] = {"08-G"}, *const maps[] = {text};
    const rg_error errors[] = {{RG_IO, "disk full"}};
    json_t *o = inspection(folders, maps, errors, 1);
    cr_assert_eq(json_array_size(json_object_get(o, "sweeps")), 1);
    cr_assert_eq(json_array_size(json_object_get(o, "errors")), 1);
    json_decref(o);
    free(text);
}

Test(report, an_inspection_of_nothing_has_empty_lists)
{
    json_t *o = inspection(NULL, NULL, NULL, 0);
    cr_assert(json_is_array(json_object_get(o, "sweeps")));
    cr_assert(json_is_array(json_object_get(o, "errors")));
    json_decref(o);
}

Test(report, an_error_about_a_folder_that_is_not_utf8_still_says_what_is_wrong)
{
    const char *const folders[] = {"caf\xe9"}, *const maps[] = {NULL};
    const rg_error errors[] = {{RG_NO_INPUT, "caf\xe9: the folder is missing"}};
    json_t *o = inspection(folders, maps, errors, 1);
    cr_assert(is_null(entry(o, "errors", 0), "folder"));
    cr_assert_str_eq(string(entry(o, "errors", 0), "text"), "caf?: the folder is missing");
    json_decref(o);
}

/* ------------------------------------------------------------ openings */

static rg_opening opened(void)
{
    return (rg_opening){.measured = true,
                        .far_mm = 6.0631,
                        .u_far_mm = 0.0389,
                        .hinge_mm = 2.4605,
                        .u_hinge_mm = 0.0372,
                        .mean_mm = 4.2618,
                        .u_mean_mm = 0.033,
                        .tilt_mm = 3.6026,
                        .u_tilt_mm = 0.0379,
                        .tilt_bearing_deg = 180.2,
                        .frames_given = 2,
                        .frames_used = 1,
                        .rms_px = 0.2};
}

Test(report, an_open_key_has_its_heights_and_frames)
{
    begin();
    rg_opening o = opened();
    report.opening = &o;
    report.opening_target_mm = 5.6;
    frames[0].role = frames[1].role = RG_FRAME_OPEN;
    frames[0].open = (rg_opening_frame){
        .used = true, .bearing_deg = 90, .elevation_deg = 0.5, .points = 59, .rms_px = 0.27};
    frames[1].open = (rg_opening_frame){.bearing_deg = NAN, .elevation_deg = NAN, .rms_px = NAN};
    strcpy(frames[1].open.reason, "no tag of the crown was read");
    json_t *all = write_and_read(), *p = json_object_get(all, "opening");
    has_keys(p, "opening",
             "measured reason target_mm far_mm u_far_mm hinge_mm u_hinge_mm mean_mm u_mean_mm "
             "tilt_mm u_tilt_mm tilt_bearing_deg frames_given frames_used rms_px frames");
    cr_expect(json_is_true(json_object_get(p, "measured")));
    cr_expect_eq(number(p, "target_mm"), 5.6);
    cr_expect_eq(number(p, "far_mm"), 6.0631);
    cr_expect_eq(number(p, "u_hinge_mm"), 0.0372);
    cr_expect_eq(number(p, "tilt_bearing_deg"), 180.2);
    json_t *list = json_object_get(p, "frames");
    cr_assert_eq(json_array_size(list), 2, "frames of the open key only");
    has_keys(json_array_get(list, 0), "frame",
             "file used reason bearing_deg elevation_deg points rms_px");
    cr_expect_eq(number(json_array_get(list, 0), "points"), 59);
    cr_expect(json_is_null(json_object_get(json_array_get(list, 1), "bearing_deg")));
    json_decref(all);
}

Test(report, an_opening_that_was_not_measured_has_no_numbers)
{
    begin();
    rg_opening o = opened();
    o.measured = false;
    strcpy(o.reason, "1 of 2 frames show the rim");
    report.opening = &o;
    json_t *all = write_and_read(), *p = json_object_get(all, "opening");
    cr_expect(json_is_false(json_object_get(p, "measured")));
    cr_expect(json_is_null(json_object_get(p, "far_mm")));
    cr_expect(json_is_null(json_object_get(p, "u_tilt_mm")));
    cr_expect_str_eq(json_string_value(json_object_get(p, "reason")), "1 of 2 frames show the rim");
    json_decref(all);
}

Test(report, a_sweep_without_open_frames_says_nothing_of_an_opening)
{
    begin();
    rg_opening o = {.frames_given = 0};
    report.opening = &o;
    json_t *all = write_and_read();
    cr_expect_null(json_object_get(all, "opening"));
    json_decref(all);
}

/*
 * Tests of mapfile.h: what report.h writes comes back; what is no seal map or no
 * truth is refused by name.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/mapfile.h"
#include "rimglow/report.h"
#include "support/load.h"
#include "support/setup.h"

static rg_sweep_result result;
static rg_map_file file;
static rg_error err;

/* A map with all three states and an arc, as JSON; of a key, with its opening, where these are given. */
static char *written_of(const char *key, const rg_opening *opening)
{
    static rg_setup setup;
    static const rg_frame frames[3] = {{.used = true}, {.used = true}, {0}};
    static const char *const names[] = {"w.jpg", "a.jpg", "b.jpg"};
    static const char *const roles[] = {"witness", "closed", "closed"};
    static rg_digest digest[3];
    static rg_report_inputs inputs = {.frame = digest, .judged = "2026-11-20"};
    inputs.sweep = rg_digest_of("s", 1);
    inputs.instrument = rg_digest_of("i", 1);
    inputs.station = rg_digest_of("t", 1);
    digest[1] = rg_digest_of("a", 1);
    test_setup(&setup);
    setup.rim.outer_diameter_mm = 22.5;
    rg_seal_map *m = &result.map;
    m->verdict = RG_VERDICT_LEAKING;
    for (int b = 0; b < RG_BINS; b++) {
        bool gap = b >= 100 && b < 140, unseen = b >= 300;
        m->bin[b] = (rg_bin){.bearing_deg = b,
                             .width_mm = unseen ? NAN
                                         : gap  ? 0.05 + b * 1e-4
                                                : 0.001,
                             .u_mm = unseen ? NAN : 0.002,
                             .detection_limit_mm = unseen ? INFINITY : 0.01,
                             .frames = 5,
                             .lit = gap ? 3 : 0,
                             .state = unseen ? RG_BIN_UNSEEN
                                      : gap  ? RG_BIN_GAP
                                             : RG_BIN_SEALED};
    }
    m->bin[320].blocked = true;
    m->arcs = 1;
    m->arc[0] = (rg_arc){.start_deg = 99.5,
                         .end_deg = 139.5,
                         .centre_deg = 119.5,
                         .extent_deg = 40,
                         .extent_mm = 8,
                         .max_width_mm = 0.0639,
                         .u_max_mm = 0.002,
                         .max_bearing_deg = 139,
                         .mean_width_mm = 0.062,
                         .open_area_mm2 = 0.5};
    rg_report report = {.serial = "PE-A-0147",
                        .pad = "G",
                        .setup = &setup,
                        .result = &result,
                        .instrument = "alto",
                        .station = "demo bench",
                        .finger = "grams",
                        .finger_grams = 35,
                        .frames = frames,
                        .files = names,
                        .roles = roles,
                        .count = 3,
                        .light_date = "2026-11-18",
                        .inputs = &inputs,
                        .key = key,
                        .opening = opening,
                        .opening_target_mm = 5.6};
    result.evidence.light_proven = true;
    result.radiance[0] = 4;
    result.radiance[1] = 2;
    result.radiance[2] = 1;
    result.u_ln_radiance = 0.15;
    result.psf_sigma_px = 0.7;
    m->reasons = 1;
    strcpy(m->reason[0], "open at bearings 100..139");
    char *text = NULL;
    cr_assert_eq(rg_report_seal_map(&report, &text, &err), RG_OK, "%s", err.text);
    return text;
}

static char *written(void)
{
    return written_of(NULL, NULL);
}

static rg_code parse(const char *text)
{
    err = (rg_error){0};
    return rg_mapfile_parse("m.json", text, strlen(text), &file, &err);
}

Test(mapfile, what_was_written_comes_back)
{
    char *text = written();
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect_str_eq(file.serial, "PE-A-0147");
    cr_expect_str_eq(file.pad, "G");
    cr_expect_eq(file.tolerance_mm, 0.025);
    cr_expect_eq(file.coverage_factor, 2);
    cr_expect_eq(file.map.rim_outer_diameter_mm, 22.5);
    cr_expect_eq(file.map.verdict, RG_VERDICT_LEAKING);
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *a = &result.map.bin[b], *c = &file.map.bin[b];
        cr_expect(a->state == c->state && a->frames == c->frames && a->lit == c->lit, "bin %d", b);
        cr_expect_eq(a->blocked, c->blocked, "bin %d", b);
        cr_expect(isnan(a->width_mm) ? isnan(c->width_mm) : fabs(a->width_mm - c->width_mm) < 1e-6);
        cr_expect(isinf(a->detection_limit_mm) ? isinf(c->detection_limit_mm)
                                               : a->detection_limit_mm == c->detection_limit_mm);
    }
    cr_expect_eq(file.map.arcs, 1);
    cr_expect_eq(file.map.arc[0].centre_deg, 119.5);
    cr_expect_eq(file.map.arc[0].mean_width_mm, 0.062);
    cr_expect_eq(file.map.arc[0].max_bearing_deg, 139);
    free(text);
}

Test(mapfile, how_it_was_measured_comes_back)
{
    char *text = written();
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect_eq(file.map.reasons, 1);
    cr_expect_str_eq(file.map.reason[0], "open at bearings 100..139");
    cr_expect_str_eq(file.instrument, "alto");
    cr_expect_str_eq(file.station, "demo bench");
    cr_expect_str_eq(file.finger, "grams");
    cr_expect_eq(file.grams, 35);
    cr_expect(file.light_proven && file.calibrated);
    /* Luminance, IEC 61966-2-1 and ITU-R BT.709: 0.2126 R + 0.7152 G + 0.0722 B. */
    cr_expect(fabs(file.radiance - (0.2126 * 4 + 0.7152 * 2 + 0.0722)) < 1e-6);
    cr_expect_eq(file.u_ln_radiance, 0.15);
    cr_expect_eq(file.psf_sigma_px, 0.7);
    /* 2026-11-18 is day 20775 of 1970-01-01 (`date -d 2026-11-18 +%s` / 86400). */
    cr_expect_eq(file.calibration_day, 20775);
    cr_expect_eq(file.judged_day, 20777);
    cr_expect(file.frames_given == 2 && file.frames_used == 1);
    free(text);
}

Test(mapfile, the_pressed_key_comes_back)
{
    char *text = written_of("F", NULL);
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect_str_eq(file.key, "F");
    cr_expect_str_eq(file.pad, "G", "the key is not the pad");
    free(text);
    text = written();
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect_str_eq(file.key, "", "none was named");
    free(text);
}

Test(mapfile, an_opening_comes_back)
{
    const rg_opening opening = {.measured = true,
                                .far_mm = 6.06,
                                .u_far_mm = 0.04,
                                .hinge_mm = 2.46,
                                .u_hinge_mm = 0.03,
                                .frames_given = 3,
                                .frames_used = 2};
    char *text = written_of(NULL, &opening);
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect(file.opening.given && file.opening.measured);
    cr_expect_eq(file.opening.target_mm, 5.6);
    cr_expect_eq(file.opening.far_mm, 6.06);
    cr_expect_eq(file.opening.u_far_mm, 0.04);
    cr_expect_eq(file.opening.hinge_mm, 2.46);
    cr_expect_eq(file.opening.u_hinge_mm, 0.03);
    /* Nobody may take a height from a file that holds none. */
    char *changed = test_edited(text, "\"u_far_mm\": 0.04", "\"u_far_mm\": null");
    cr_assert_eq(parse(changed), RG_OK, "%s", err.text);
    cr_expect(file.opening.given && !file.opening.measured);
    free(changed);
    free(text);
}

Test(mapfile, an_opening_that_was_not_measured_has_no_height)
{
    const rg_opening opening = {.far_mm = 6.06, .u_far_mm = 0.04, .frames_given = 1};
    char *text = written_of(NULL, &opening);
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect(file.opening.given && !file.opening.measured);
    cr_expect(isnan(file.opening.far_mm) && isnan(file.opening.hinge_mm));
    free(text);
    text = written();
    cr_assert_eq(parse(text), RG_OK, "%s", err.text);
    cr_expect(!file.opening.given && !file.opening.measured);
    free(text);
}

Test(mapfile, what_was_measured_comes_back_by_digest)
{
    static rg_map_inputs inputs;
    char *text = written();
    rg_digest want = rg_digest_of("t", 1), unread = {{0}}, a = rg_digest_of("a", 1);
    cr_assert_eq(rg_mapfile_inputs("m", text, strlen(text), &inputs, &err), RG_OK, "%s", err.text);
    cr_expect(rg_digest_equal(&inputs.station, &want));
    cr_expect_eq(inputs.frames, 3);
    cr_expect_str_eq(inputs.frame[1].file, "a.jpg");
    cr_expect(rg_digest_equal(&inputs.frame[1].digest, &a));
    cr_expect(rg_digest_equal(&inputs.frame[2].digest, &unread));
    *strstr(text, "sweep_sha256") = 'S';
    cr_expect_eq(rg_mapfile_inputs("m", text, strlen(text), &inputs, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "inspect the sweep again") != NULL);
    free(text);
}

/* The text with the first `from` replaced by `to`. */
static void expect_refused(const char *from, const char *to, const char *word)
{
    char *text = written(), *changed = test_edited(text, from, to);
    cr_expect_eq(parse(changed), RG_BAD_DATA, "%s -> %s", from, to);
    cr_expect(strncmp(err.text, "m.json", 6) == 0 && strstr(err.text, word), "%s -> %s: %s", from,
              to, err.text);
    free(changed);
    free(text);
}

Test(mapfile, a_map_that_cannot_be_is_refused_by_key)
{
    expect_refused("rimglow seal map", "rimglow inspection", "format");
    expect_refused("\"version\": 1", "\"version\": 2", "version");
    expect_refused("\"tolerance_mm\"", "\"tolerance\"", "tolerance_mm");
    expect_refused("\"state\": \"sealed\"", "\"state\": \"closed\"", "bins[0].state");
    expect_refused("\"bearing_deg\": 0.0", "\"bearing_deg\": 1.0", "bins[0].bearing_deg");
    expect_refused("\"width_mm\": 0.001", "\"width_mm\": null", "bins[0].width_mm");
    expect_refused("\"width_mm\": 0.001", "\"width_mm\": \"wide\"", "bins[0].width_mm");
    expect_refused("\"width_mm\": 0.001", "\"width_mm\": 1e300", "bins[0].width_mm");
    expect_refused("\"u_mm\": 0.002", "\"u_mm\": -1", "bins[0].u_mm");
    expect_refused("\"frames\": 5", "\"frames\": 1e18", "frames");
    expect_refused("\"bins\"", "\"bin\"", "bins");
    expect_refused("\"arcs\"", "\"arc\"", "arcs");
    expect_refused("\"mean_width_mm\"", "\"mean_mm\"", "arcs[0].mean_width_mm");
    expect_refused("\"centre_deg\": 119.5", "\"centre_deg\": 1195", "arcs[0].centre_deg");
    expect_refused("}", "", "not JSON");
}

Test(mapfile, a_rim_has_360_bins)
{
    char *text = written();
    json_t *o = json_loads(text, 0, NULL), *bins = json_object_get(o, "bins");
    json_array_append(bins, json_array_get(bins, 359));
    free(text);
    text = json_dumps(o, 0);
    cr_expect_eq(parse(text), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "list of 360"), "%s", err.text);
    free(text);
    json_decref(o);
}

Test(mapfile, other_json_is_refused)
{
    static const char *const text[] = {"",    "[]", "3", "{}", "{\"format\": 7}", "{\"bins\": [",
                                       "null"};
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        double w[RG_BINS];
        cr_expect_eq(parse(text[i]), RG_BAD_DATA, "%s", text[i]);
        cr_expect_gt(strlen(err.text), 10);
        cr_expect_eq(rg_mapfile_truth("t.json", text[i], strlen(text[i]), w, &err), RG_BAD_DATA);
    }
    cr_expect_eq(rg_mapfile_parse("m.json", NULL, (size_t)RG_MAPFILE_MAX_BYTES + 1, &file, &err),
                 RG_BAD_DATA);
}

/* samples/README.md: 0.10 mm at bearing 180, contact at 0. */
Test(mapfile, the_truth_of_a_sample_is_read)
{
    double w[RG_BINS];
    test_bytes t = test_load("samples/truth/wedge.json");
    cr_assert_eq(rg_mapfile_truth("wedge.json", (const char *)t.data, t.size, w, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(w[180], 0.1);
    cr_expect_eq(w[0], 0);
    cr_expect(w[90] > 0.04 && w[90] < 0.06);
    free(t.data);
}

Test(mapfile, truths_have_360_widths)
{
    double w[RG_BINS];
    char text[4000] = "{\"w_mm\": [";
    for (int i = 0; i < 359; i++)
        strcat(text, "0.5,");
    size_t end = strlen(text);
    strcpy(text + end, "0.5]}");
    cr_expect_eq(rg_mapfile_truth("t.json", text, strlen(text), w, &err), RG_OK, "%s", err.text);
    cr_expect_eq(w[359], 0.5);
    static const char *const last[] = {"-0.5]}", "1e9]}", "null]}", "\"a\"]}", "0.5, 0.5]}"};
    for (size_t i = 0; i < sizeof last / sizeof *last; i++) {
        strcpy(text + end, last[i]);
        cr_expect_eq(rg_mapfile_truth("t.json", text, strlen(text), w, &err), RG_BAD_DATA);
        cr_expect_not_null(strstr(err.text, "w_mm"), "%s", err.text);
    }
}

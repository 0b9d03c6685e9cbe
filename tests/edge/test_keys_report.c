/*
 * Tests of keys_report.h: every key of the header stands in the document, with the value of the result.
 */
#include "rimglow/keys_report.h"

#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static rg_error err;

static json_t *parsed(char *text)
{
    json_error_t why;
    json_t *o = json_loads(text, JSON_REJECT_DUPLICATES, &why);
    cr_assert_not_null(o, "%s", why.text);
    free(text);
    return o;
}

/* Exactly these keys, separated by blanks. */
static void keys_of(const json_t *o, const char *expected)
{
    char list[600];
    size_t n = 0;
    snprintf(list, sizeof list, "%s", expected);
    for (char *key = strtok(list, " "); key; key = strtok(NULL, " "), n++)
        cr_expect_not_null(json_object_get(o, key), "key %s is missing", key);
    cr_expect_eq(json_object_size(o), n, "%zu keys, expected %s", json_object_size(o), expected);
}

static double number(const json_t *o, const char *key)
{
    return json_number_value(json_object_get(o, key));
}

static bool is_text(const json_t *o, const char *key, const char *text)
{
    const char *value = json_string_value(json_object_get(o, key));
    return value && strcmp(value, text) == 0;
}

static rg_seating open_seating(double mean, double x, double y, double u)
{
    rg_seating s = {.press = RG_PRESS_GRAMS,
                    .grams = 40,
                    .verdict = RG_VERDICT_LEAKING,
                    .state = RG_SEATING_OPEN,
                    .mean_mm = mean,
                    .tilt_known = true,
                    .tilt_mm = {x, y},
                    .widest_mm = mean + hypot(x, y),
                    .u_widest_mm = u};
    for (int k = 0; k < 3; k++)
        s.covariance[k][k] = u * u;
    return s;
}

Test(keys_report, regulation)
{
    const rg_regulation_options o = {2, 0.1, 0.1, 0.125, 0.05, 0.05};
    rg_key_cup cup[] = {{"F", open_seating(0, 0, 0, 0.003)},
                        {"F sharp", open_seating(0.1, 0, 0, 0.004)},
                        {"G sharp", {.press = RG_PRESS_GRAMS, .grams = 40}}};
    rg_key_link link[] = {{"F", "F sharp", "screw on the arm", RG_KEY_SCREW, 0.8, 0.5},
                          {"F", "G sharp", "", RG_KEY_CORK, 1, 0}};
    rg_regulation r;
    char *text;
    cr_assert_eq(rg_regulation_find("F", cup, 3, link, 2, &o, &r, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_keys_report_regulation("F", &r, link, &text, &err), RG_OK);
    json_t *j = parsed(text), *links = json_object_get(j, "links");
    keys_of(j, "format version key same_finger closes_first cups links advice");
    cr_expect(is_text(j, "format", "rimglow regulation") && is_text(j, "closes_first", "F"));
    cr_assert_eq(json_array_size(links), 2);
    json_t *first = json_array_get(links, 0), *second = json_array_get(links, 1);
    keys_of(first, "driver driven adjuster kind state difference_mm U_mm at_least adjuster_mm "
                   "U_adjuster_mm turns U_turns step_mm step_turns too_fine after_mm U_after_mm");
    cr_expect(is_text(first, "kind", "screw") && is_text(first, "state", "driver first"));
    cr_expect_float_eq(number(first, "difference_mm"), 0.1, 1e-9);
    cr_expect_float_eq(number(first, "turns"), 0.25, 1e-9);
    cr_expect(is_text(second, "state", "not measured"));
    cr_expect(json_is_null(json_object_get(second, "difference_mm")));
    json_t *cups = json_object_get(j, "cups");
    cr_assert_eq(json_array_size(cups), 3);
    keys_of(json_array_get(cups, 0), "pad measured stand_off_mm U_mm at_least with_first");
    cr_expect_float_eq(number(json_array_get(cups, 1), "stand_off_mm"), 0.1, 1e-9);
    cr_expect_eq((int)json_array_size(json_object_get(j, "advice")), r.advice.lines);
    json_decref(j);
}

Test(keys_report, force)
{
    static rg_seal_map light, firm;
    const rg_sealmap_options seal = {
        .tolerance_mm = 0.025, .min_arc_deg = 3, .seen_fraction = 0.5, .coverage_factor = 2};
    const rg_force_options o = {2, 25, 80, 2, 0.05, 0.2, 0.05, 3};
    static rg_force r;
    char *text;
    for (int b = 0; b < RG_BINS; b++)
        light.bin[b] = firm.bin[b] =
            (rg_bin){.bearing_deg = b, .u_mm = 0.002, .detection_limit_mm = 0.008};
    for (int b = 20; b < 50; b++) {
        light.bin[b].state = RG_BIN_GAP;
        light.bin[b].width_mm = 0.06;
    }
    light.verdict = RG_VERDICT_LEAKING;
    rg_force_sweep sweep[] = {{&light, rg_seating_of_map(&light, RG_PRESS_LIGHT, 0, 2)},
                              {&firm, rg_seating_of_map(&firm, RG_PRESS_FIRM, 0, 2)}};
    cr_assert_eq(rg_force_find(sweep, 2, &seal, &o, &r, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_keys_report_force("A", sweep, 2, &r, &text, &err), RG_OK);
    json_t *j = parsed(text);
    keys_of(j, "format version pad verdict reason sweeps gaps force line yielding advice");
    cr_expect(is_text(j, "verdict", "leaking") && json_is_null(json_object_get(j, "line")));
    json_t *gap = json_array_get(json_object_get(j, "gaps"), 0);
    keys_of(gap, "start_deg end_deg extent_deg most_mm u_most_mm most_bearing_deg open_sweep "
                 "closed_sweep leak");
    cr_expect(number(gap, "extent_deg") == 30 && number(gap, "closed_sweep") == 1);
    json_t *need = json_object_get(j, "force");
    keys_of(need, "state force_g u_g low_g high_g leaks_g seals_g");
    cr_expect(is_text(need, "state", "light to firm"));
    cr_expect(json_is_null(json_object_get(need, "force_g")));
    json_t *sweeps = json_object_get(j, "sweeps");
    keys_of(json_array_get(sweeps, 1), "finger grams verdict widest_mm u_widest_mm");
    cr_expect(is_text(json_array_get(sweeps, 1), "finger", "firm"));
    keys_of(json_object_get(j, "yielding"),
            "sinks_mm_per_100g U_mm_per_100g tilts tilt_q tilt_p soft");
    json_decref(j);
    r.line = (rg_force_line){.n = 3, .a = 0.1, .b = -0.00125, .chi2 = NAN, .p = NAN};
    cr_assert_eq(rg_keys_report_force("A", sweep, 2, &r, &text, &err), RG_OK);
    j = parsed(text);
    json_t *line = json_object_get(j, "line");
    keys_of(line, "points a_mm b_mm_per_g u_a_mm u_b_mm_per_g covariance chi2 p holds");
    cr_expect(number(line, "b_mm_per_g") == -0.00125 && json_is_null(json_object_get(line, "p")));
    json_decref(j);
}

Test(keys_report, repeatability)
{
    const rg_repeat_options o = {2, 0.95, 0.01, 0.012, 0.025, 4, 20, 0.1};
    static rg_repeat r;
    rg_seating s[5];
    char *text;
    for (int i = 0; i < 5; i++)
        s[i] = open_seating(0.05 - 0.001 * i, 0.02, i % 2 ? 0.03 : -0.03, 0.003);
    cr_assert_eq(rg_repeat_find(s, 5, &o, &r, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_keys_report_repeat("B", &r, &text, &err), RG_OK);
    json_t *j = parsed(text);
    const char *all =
        "format version pad closings sealed unseen tilts same_finger state widest mean tilt "
        "tilt_mean_mm tilt_test axis drift advice";
    keys_of(j, all);
    cr_expect(is_text(j, "state", "loose key") && number(j, "closings") == 5);
    keys_of(json_object_get(j, "mean"),
            "mean_mm variance_mm2 noise_mm2 sd_mm negative low_mm high_mm df p");
    keys_of(json_object_get(j, "tilt"),
            "variance_mm2 noise_mm2 sd_mm negative low_mm high_mm df p");
    keys_of(json_object_get(j, "axis"), "told p bearing_deg u_deg along_mm across_mm");
    cr_expect_float_eq(number(json_object_get(j, "axis"), "bearing_deg"), 90, 1e-9);
    keys_of(json_object_get(j, "tilt_test"), "q df p");
    keys_of(json_object_get(j, "drift"), "mm U_mm p");
    cr_expect_float_eq(number(json_object_get(j, "drift"), "mm"), -0.004, 1e-9);
    json_decref(j);
    for (int i = 0; i < 5; i++)
        s[i] = (rg_seating){.press = RG_PRESS_LIGHT};
    cr_assert_eq(rg_repeat_find(s, 5, &o, &r, &err), RG_OK);
    cr_assert_eq(rg_keys_report_repeat("B", &r, &text, &err), RG_OK);
    j = parsed(text);
    keys_of(j, all);
    cr_expect(json_is_null(json_object_get(j, "tilt")) && json_is_null(json_object_get(j, "axis")));
    cr_expect(is_text(j, "state", "not measured"));
    json_decref(j);
}

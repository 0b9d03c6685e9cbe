/*
 * Tests of study_report.h: the JSON holds the numbers of the result under the names
 * that the header lists; what does not exist is null.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/study_report.h"

static rg_error err;

/* Follows a path of keys and indices: "a.b.3". */
static json_t *at(json_t *o, const char *path)
{
    char key[60];
    while (*path && o) {
        size_t n = strcspn(path, ".");
        memcpy(key, path, n);
        key[n] = 0;
        o = json_is_array(o) ? json_array_get(o, (size_t)atoi(key)) : json_object_get(o, key);
        path += n + (path[n] == '.');
    }
    return o;
}

static void same(json_t *o, const char *path, double expected)
{
    json_t *v = at(o, path);
    cr_assert_not_null(v, "%s is missing", path);
    if (isfinite(expected))
        cr_expect(json_is_number(v) &&
                      fabs(json_number_value(v) - expected) <= 1e-9 * fabs(expected),
                  "%s: %.12g, expected %.12g", path, json_number_value(v), expected);
    else
        cr_expect(json_is_null(v), "%s is null", path);
}

static void says(json_t *o, const char *path, const char *expected)
{
    const char *text = json_string_value(at(o, path));
    cr_expect(text && strcmp(text, expected) == 0, "%s: %s", path, text ? text : "(none)");
}

Test(study_report, gauge_document_holds_the_result)
{
    double value[] = {0.101, 0.102, 0.111, 0.104, 0.201, 0.207,
                      0.203, 0.205, 0.301, 0.303, 0.309, 0.300};
    const double reference[] = {0.1, NAN, 0.3};
    static const char *const part[] = {"A", "B", "bad \xFF"}, *const person[] = {"x", "y"};
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r;
    char *text = NULL;
    cr_assert_eq(rg_study_gauge(value, reference, 3, 2, 2, false, &s, &r, &err), RG_OK);
    rg_gauge_report report = {"t.csv", "widest gap", part, person, &s, &r};
    cr_assert_eq(rg_study_report_gauge(&report, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    says(o, "format", "rimglow gauge study");
    same(o, "version", 1);
    says(o, "table", "t.csv");
    says(o, "verdict", rg_study_verdict_name(r.verdict));
    says(o, "unit", "mm");
    says(o, "quantity", "widest gap");
    says(o, "parts.1.name", "B");
    cr_expect(json_is_null(at(o, "parts.2.name")), "a name that is not UTF-8");
    same(o, "parts.0.reference_mm", 0.1);
    same(o, "parts.1.reference_mm", NAN);
    same(o, "parts.2.bias_mm", r.part[2].bias_mm);
    says(o, "persons.1", "y");
    same(o, "repeats", 2);
    same(o, "mean", r.gauge.mean);
    same(o, "settings.pool_above", 0.25);
    same(o, "anova.part.ss", r.gauge.part.ss);
    same(o, "anova.person.f", r.gauge.person.f);
    same(o, "anova.interaction.p", r.gauge.interaction.p);
    same(o, "anova.error.df", 6);
    same(o, "anova.error.f", NAN);
    same(o, "anova.pooled_error.ms", r.gauge.pooled_error.ms);
    same(o, "components.repeatability.variance", r.gauge.source[RG_GAUGE_REPEATABILITY].variance);
    same(o, "components.person.raw_variance", r.gauge.source[RG_GAUGE_PERSON].raw);
    same(o, "components.interaction.variance", r.gauge.source[RG_GAUGE_INTERACTION].variance);
    same(o, "components.reproducibility.sd", r.gauge.source[RG_GAUGE_REPRODUCIBILITY].sd);
    same(o, "components.gauge.study_percent", r.gauge.source[RG_GAUGE_RR].study);
    same(o, "components.part.contribution_percent", r.gauge.source[RG_GAUGE_PART].contribution);
    same(o, "components.total.variance", r.gauge.source[RG_GAUGE_TOTAL].variance);
    same(o, "repeatability_interval.1", r.gauge.repeatability_high);
    same(o, "categories", r.gauge.categories);
    same(o, "bias.bias", r.bias.bias);
    same(o, "bias.interval.0", r.bias.low);
    same(o, "linearity.slope", r.line.slope);
    same(o, "values.1.0.1", 0.207);
    same(o, "values.2.1.1", 0.300);
    json_decref(o);
    free(text);
    rg_gauge_study_free(&r);
}

Test(study_report, detection_document_holds_the_result)
{
    rg_trial trial[64];
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r;
    char *text = NULL;
    for (int i = 0; i < 64; i++) {
        double size = 0.01 * (i / 2 + 1);
        bool hit = (size > 0.15) != (i % 5 == 0 && size > 0.1 && size < 0.2);
        trial[i] = (rg_trial){.sweep = i % 3,
                              .size_mm = i < 4 ? 0 : size,
                              .seen = i != 9,
                              .hit = hit,
                              .has_hit = true,
                              .has_signal = true,
                              .signal = hit ? size + 0.003 * (i % 3) : 0.02,
                              .censor = hit ? RG_CENSOR_NONE : RG_CENSOR_BELOW};
    }
    cr_assert_eq(rg_study_detect(trial, 64, 0.1, 0.5, &s, &r, &err), RG_OK, "%s", err.text);
    cr_assert_eq(r.pod.state, RG_POD_FITTED);
    rg_detect_report report = {"d.csv", "sweeps", &s, &r, 0.5};
    cr_assert_eq(rg_study_report_detect(&report, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    says(o, "format", "rimglow detection study");
    says(o, "input", "sweeps");
    says(o, "verdict", rg_study_verdict_name(r.verdict));
    same(o, "settings.require_mm", 0.5);
    same(o, "opportunities", 64);
    same(o, "unseen.open", 1);
    same(o, "unseen.closed", 0);
    same(o, "targets.n", r.targets);
    same(o, "targets.found", r.found);
    same(o, "targets.share_interval.0", r.found_low);
    same(o, "targets.largest_missed_mm", r.largest_missed);
    same(o, "targets.above_largest_missed.pod_low", r.above_low);
    same(o, "false_calls.n", 4);
    same(o, "false_calls.rate_high", r.false_high);
    says(o, "hit_miss.state", "fitted");
    says(o, "hit_miss.link", "logit");
    says(o, "hit_miss.axis", "log");
    same(o, "hit_miss.a90_mm", r.pod.a90);
    same(o, "hit_miss.a90_95_mm", r.pod.a90_95);
    same(o, "hit_miss.covariance.0.1", r.pod.cov_b[0][1]);
    same(o, "hit_miss.curve.89.high_mm", r.pod.a90_95);
    cr_expect_eq((int)json_array_size(at(o, "hit_miss.data")), r.targets);
    same(o, "signal.decision", 0.1);
    same(o, "signal.tau", r.signal_pod.tau);
    same(o, "signal.below", r.below);
    same(o, "signal.a90_mm", r.signal_pod.a90);
    cr_expect_eq((int)json_array_size(at(o, "signal.data")), r.responses);
    json_decref(o);
    free(text);
    rg_detection_result_free(&r);
}

Test(study_report, without_a_curve_its_numbers_are_null)
{
    rg_trial trial[] = {{.sweep = -1, .size_mm = 0.1, .seen = true, .has_hit = true, .hit = true}};
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r;
    char *text = NULL;
    cr_assert_eq(rg_study_detect(trial, 1, NAN, NAN, &s, &r, &err), RG_OK);
    rg_detect_report report = {NULL, "hits", &s, &r, NAN};
    cr_assert_eq(rg_study_report_detect(&report, &text, &err), RG_OK);
    json_t *o = json_loads(text, 0, NULL);
    says(o, "verdict", "undecided");
    says(o, "hit_miss.state", "all found");
    same(o, "hit_miss.a90_95_mm", NAN);
    same(o, "targets.largest_missed_mm", NAN);
    same(o, "settings.require_mm", NAN);
    cr_expect_null(at(o, "hit_miss.curve"));
    cr_expect_null(at(o, "signal"));
    cr_expect(json_is_null(at(o, "table")));
    json_decref(o);
    free(text);
    rg_detection_result_free(&r);
}

/*
 * Tests of diagnosis_report.h: every key that its header lists is there with the struct's value, and
 * what is not known is null. Read back by jansson.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/diagnosis_report.h"
#include "rimglow/mapfile.h"
#include "support/diagnosis.h"
#include "support/load.h"

static rg_error err;
static rg_diagnosis d;

static json_t *report_of(const char *name)
{
    rg_map_file file;
    char *text;
    json_error_t e;
    rg_diagnosis_options o = test_diagnosis_options();
    test_bytes bytes = test_loadf("tests/data/seal-maps/%s.json", name);
    cr_assert_eq(rg_mapfile_parse(name, (char *)bytes.data, bytes.size, &file, &err), RG_OK);
    cr_assert_eq(rg_diagnose(&file.map, 0.025, NULL, &o, &d, &err), RG_OK, "%s", err.text);
    rg_diagnosis_report r = {.serial = "PE-A-0147", .pad = "G", .diagnosis = &d};
    cr_assert_eq(rg_diagnosis_report_text(&r, &text, &err), RG_OK, "%s", err.text);
    json_t *o2 = json_loads(text, 0, &e);
    cr_assert_not_null(o2, "%s", e.text);
    free(text);
    free(bytes.data);
    return o2;
}

static const json_t *at(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    cr_assert_not_null(v, "%s is missing", key);
    return v;
}

static void near(const json_t *o, const char *key, double expected)
{
    double value = json_number_value(at(o, key));
    cr_expect(fabs(value - expected) <= 1e-5 * fabs(expected), "%s %g, expected %g", key, value,
              expected);
}

static void has_all(const json_t *o, const char *keys)
{
    char text[400], *rest, *save = NULL;
    int n = 0;
    strncpy(text, keys, sizeof text - 1);
    text[sizeof text - 1] = 0;
    for (rest = strtok_r(text, " ", &save); rest; rest = strtok_r(NULL, " ", &save), n++)
        at(o, rest);
    cr_expect_eq(json_object_size(o), (size_t)n, "keys that the header does not list");
}

Test(diagnosis_report, every_key_is_there)
{
    json_t *o = report_of("08-G");
    const json_t *s = at(o, "shape"), *f = json_array_get(at(o, "faults"), 0);
    has_all(o, "format version software serial pad tolerance_mm coverage_factor found confidence "
               "shape now faults predicted_mm sentences");
    has_all(s, "state open dark unseen blocked mean_mm u_mean_mm tilt saddle terms_mm "
               "covariance_mm2 contact_deg u_contact_deg lowest_mm rms_mm limit_mm limit_deg "
               "signed_mm residual_mm locals");
    has_all(f, "kind size_mm u_size_mm bearing_deg u_bearing_deg extent_deg confidence test "
               "statistic among effect_mm action amount_mm afterwards");
    has_all(at(s, "tilt"), "state size_mm u_size_mm bearing_deg u_bearing_deg chi2 p");
    has_all(at(o, "now"), "widest_mm u_widest_mm widest_deg outlook");
    has_all(json_array_get(at(o, "sentences"), 0), "kind fault text");
    cr_expect_str_eq(json_string_value(at(o, "format")), "rimglow diagnosis");
    cr_expect_str_eq(json_string_value(at(o, "found")), "tilted");
    near(at(s, "tilt"), "size_mm", d.shape.tilt.size_mm);
    near(s, "contact_deg", d.shape.contact_deg);
    near(f, "amount_mm", d.fault[0].amount_mm);
    near(at(f, "afterwards"), "u_widest_mm", d.fault[0].afterwards.u_widest_mm);
    near(o, "confidence", d.confidence);
    cr_expect_eq(json_array_size(at(s, "signed_mm")), (size_t)RG_BINS);
    cr_expect_eq(json_array_size(at(o, "predicted_mm")), (size_t)RG_BINS);
    double cov = json_number_value(json_array_get(json_array_get(at(s, "covariance_mm2"), 1), 2));
    cr_expect(fabs(cov - d.shape.cov[1][2]) <= 1e-5 * fabs(cov));
    json_decref(o);
}

Test(diagnosis_report, what_is_not_known_is_null)
{
    json_t *o = report_of("06-A");
    const json_t *s = at(o, "shape"), *l = json_array_get(at(s, "locals"), 0);
    cr_expect_str_eq(json_string_value(at(s, "state")), "local");
    cr_expect(json_is_null(at(s, "mean_mm")) && json_is_null(at(at(s, "tilt"), "size_mm")));
    has_all(l, "closed start_deg end_deg extent_deg most_mm u_most_mm most_bearing_deg width_mm");
    cr_expect(json_is_false(at(l, "closed")));
    json_decref(o);
    o = report_of("04-C");
    cr_expect(json_is_null(at(o, "confidence")));
    cr_expect_eq(json_array_size(at(o, "faults")), (size_t)0);
    json_decref(o);
}

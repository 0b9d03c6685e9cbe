/*
 * Tests of archive_report.h: the documents have the keys that the header lists, and what is not a
 * number is null. The JSON is read back by jansson.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/archive_report.h"

static rg_error err;

static json_t *parsed(rg_code code, char **text)
{
    json_error_t fault;
    cr_assert_eq(code, RG_OK, "%s", err.text);
    json_t *o = json_loads(*text, JSON_REJECT_DUPLICATES, &fault);
    cr_assert_not_null(o, "%s", fault.text);
    cr_assert_eq(json_integer_value(json_object_get(o, "version")), 1);
    free(*text);
    return o;
}

static const char *word(const json_t *o, const char *key)
{
    const char *text = json_string_value(json_object_get(o, key));
    return text ? text : "";
}

static json_t *entry(const json_t *o, const char *list, size_t i)
{
    return json_array_get(json_object_get(o, list), i);
}

static double number(const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    return json_is_number(v) ? json_number_value(v) : NAN;
}

Test(archive_report, an_addition_names_bag_and_digests)
{
    char *text = NULL;
    /* SHA-256 of "abc" and of nothing: FIPS 180-4 and NIST's example values. */
    const rg_digest abc = rg_digest_of("abc", 3), none = rg_digest_of("", 0);
    const char *remark = "check the clock";
    const rg_added_report r = {.bag = "PE-A-0147/0001-x",
                               .verdict = "leaking",
                               .setup = "hold",
                               .sweeps = 3,
                               .measured = 1,
                               .files = 40,
                               .bytes = 5600000,
                               .manifest = &abc,
                               .tagmanifest = &none,
                               .indexed = true,
                               .remark = &remark,
                               .remarks = 1};
    json_t *o = parsed(rg_archive_report_added(&r, &text, &err), &text);
    cr_expect_str_eq(word(o, "format"), "rimglow archive addition");
    cr_expect_str_eq(word(o, "manifest_sha256"),
                     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    cr_expect_str_eq(word(o, "tagmanifest_sha256"),
                     "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    cr_expect(number(o, "sweeps") == 3 && number(o, "measured") == 1);
    cr_expect(number(o, "files") == 40 && number(o, "bytes") == 5600000);
    cr_expect(json_is_true(json_object_get(o, "indexed")));
    cr_expect_str_eq(json_string_value(entry(o, "remarks", 0)), remark);
    json_decref(o);
}

Test(archive_report, a_verification_is_clean_without_faults_only)
{
    char *text = NULL;
    const rg_digest d = rg_digest_of("abc", 3);
    const rg_verified_report_bag bag = {"S/0001", "unsigned", 7, 900, &d, &d, 1};
    const rg_verified_report_finding found[2] = {
        {"altered", "S/0001", "data/a \"quoted\"\xff", "12 bytes longer", false},
        {"index", "S/0001", "", "no row yet", true}};
    rg_verified_report r = {1, 1, 1, 2, &bag, found};
    json_t *o = parsed(rg_archive_report_verified(&r, &text, &err), &text);
    cr_expect(json_is_false(json_object_get(o, "clean")));
    cr_expect_str_eq(word(entry(o, "bags", 0), "signature"), "unsigned");
    cr_expect_str_eq(word(entry(o, "findings", 0), "kind"), "altered");
    cr_expect(json_is_null(json_object_get(entry(o, "findings", 0), "file")), "not UTF-8");
    cr_expect(json_is_true(json_object_get(entry(o, "findings", 1), "remark")));
    json_decref(o);
    r.faults = 0;
    o = parsed(rg_archive_report_verified(&r, &text, &err), &text);
    cr_expect(json_is_true(json_object_get(o, "clean")));
    json_decref(o);
}

Test(archive_report, a_comparison_has_every_bearing)
{
    static rg_change change;
    char *text = NULL;
    const char *other = "B";
    const rg_change_options options = {2, 1.5, 6};
    const rg_compared_pad pad = {"G", &change};
    const rg_compared_report r = {"PE-A-0147", "0001", "0002", &options, RG_CHANGE_GREW, &pad, 1,
                                  &other,      NULL,   1,      0};
    for (int b = 0; b < RG_BINS; b++)
        change.bin[b] = (rg_change_bin){0.01, 0.01 + b * 1e-3, b * 1e-3, 0.002, RG_CHANGE_NONE};
    change.bin[7] = (rg_change_bin){NAN, 0.1, NAN, NAN, RG_CHANGE_UNSEEN};
    change.overall = RG_CHANGE_GREW;
    change.comparable = 359;
    change.turn_deg = NAN;
    change.arcs = 1;
    change.arc[0] = (rg_change_arc){RG_CHANGE_GREW, 100, 200, 100, 0.2, 0.002, 200};
    json_t *o = parsed(rg_archive_report_compared(&r, &text, &err), &text);
    const json_t *p = entry(o, "pads", 0);
    cr_expect_str_eq(word(o, "overall"), "wider");
    cr_expect_eq(number(json_object_get(o, "settings"), "turn_u_deg"), 1.5);
    cr_expect_eq(json_array_size(json_object_get(p, "bins")), RG_BINS);
    cr_expect_eq(number(entry(p, "bins", 30), "change_mm"), 0.03);
    cr_expect(json_is_null(json_object_get(entry(p, "bins", 7), "before_mm")));
    cr_expect_str_eq(word(entry(p, "bins", 7), "state"), "not comparable");
    cr_expect(json_is_null(json_object_get(p, "turn_deg")));
    cr_expect_eq(number(entry(p, "arcs", 0), "most_bearing_deg"), 200);
    cr_expect_str_eq(json_string_value(entry(o, "only_before", 0)), "B");
    cr_expect_eq(json_array_size(json_object_get(o, "only_after")), 0);
    json_decref(o);
}

Test(archive_report, a_batch_is_what_was_summed_up)
{
    char *text = NULL;
    rg_batch batch;
    const rg_batch_sweep sweep[2] = {{.serial = "S1",
                                      .model = "alto",
                                      .pad = "G",
                                      .station = "bench",
                                      .bag = "S1/1",
                                      .time = 1000,
                                      .verdict = RG_VERDICT_LEAKING,
                                      .radiance = NAN,
                                      .psf_sigma_px = NAN},
                                     {.serial = "S1",
                                      .model = "alto",
                                      .pad = "A",
                                      .station = "bench",
                                      .bag = "S1/1",
                                      .time = 1000,
                                      .verdict = RG_VERDICT_SEALED,
                                      .radiance = NAN,
                                      .psf_sigma_px = NAN}};
    cr_assert_eq(rg_batch_sum(sweep, 2, 0.95, &batch, &err), RG_OK, "%s", err.text);
    json_t *o =
        parsed(rg_archive_report_batch(&batch, "2026-11-01", "2026-11-30", &text, &err), &text);
    cr_expect_str_eq(word(o, "since"), "2026-11-01");
    cr_expect_str_eq(word(entry(o, "pads", 0), "pad"), "G");
    cr_expect_eq(number(entry(o, "pads", 0), "leaking"), 1);
    const json_t *model = entry(o, "models", 0);
    cr_expect_eq(number(json_object_get(model, "pads"), "share"), 0.5);
    cr_expect(json_is_null(
        json_object_get(json_object_get(entry(o, "stations", 0), "ln_radiance"), "per_month")));
    json_decref(o);
    rg_batch_free(&batch);
}

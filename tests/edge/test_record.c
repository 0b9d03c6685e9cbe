/*
 * Tests of record.h.
 *
 * Outside values: POSIX seconds from the formula of IEEE Std 1003.1-2017, 4.16 (written out below)
 * and its famous moments (2^31 - 1 is 2038-01-19T03:14:07Z); forms of time from the examples of
 * RFC 3339, 5.8, of which the archive takes the plainest only; leap years by ISO 8601.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/record.h"
#include "support/load.h"

static rg_error err;

/* ------------------------------------------------------------------ time */

/* IEEE Std 1003.1-2017, 4.16; years counted from 1900, days of the year from 0. */
static int64_t posix_seconds(int year, int yday, int hour, int minute, int second)
{
    int64_t y = year - 1900;
    return second + minute * 60 + hour * 3600 + (int64_t)yday * 86400 + (y - 70) * 31536000 +
           ((y - 69) / 4) * 86400 - ((y - 1) / 100) * 86400 + ((y + 299) / 400) * 86400;
}

static void expect_time(const char *text, int64_t seconds)
{
    int64_t got = -1;
    char back[RG_RECORD_TIME];
    cr_expect(rg_record_time_parse(text, &got), "%s", text);
    cr_expect_eq(got, seconds, "%s: %lld, not %lld", text, (long long)got, (long long)seconds);
    rg_record_time_format(seconds, back);
    cr_expect_str_eq(back, text);
}

Test(record, times_are_posix_seconds)
{
    expect_time("1970-01-01T00:00:00Z", 0);
    expect_time("2009-02-13T23:31:30Z", 1234567890);
    expect_time("2038-01-19T03:14:07Z", 2147483647);
    expect_time("2106-02-07T06:28:16Z", 4294967296);
    expect_time("1996-12-20T00:39:57Z", posix_seconds(1996, 354, 0, 39, 57)); /* RFC 3339 */
    expect_time("2000-02-29T12:00:00Z", posix_seconds(2000, 59, 12, 0, 0));
    expect_time("2024-12-31T23:59:59Z", posix_seconds(2024, 365, 23, 59, 59));
    expect_time("2100-03-01T00:00:00Z", posix_seconds(2100, 59, 0, 0, 0));
    expect_time("9999-12-31T23:59:59Z", posix_seconds(9999, 364, 23, 59, 59));
}

Test(record, every_year_has_its_days)
{
    char text[64];
    for (int year = 1970; year <= 9999; year++) {
        bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
        int64_t t;
        snprintf(text, sizeof text, "%04d-12-31T00:00:00Z", year);
        cr_expect(rg_record_time_parse(text, &t));
        cr_expect_eq(t, posix_seconds(year, 364 + leap, 0, 0, 0), "%s", text);
        snprintf(text, sizeof text, "%04d-02-29T00:00:00Z", year);
        cr_expect_eq(rg_record_time_parse(text, &t), leap, "%s", text);
    }
}

Test(record, other_times_are_refused)
{
    static const char *const text[] = {"",
                                       "2026-11-25",
                                       "1985-04-12T23:20:50.52Z", /* RFC 3339, 5.8 */
                                       "1996-12-19T16:39:57-08:00",
                                       "1990-12-31T23:59:60Z",
                                       "1990-12-31T15:59:60-08:00",
                                       "1937-01-01T12:00:27+00:20",
                                       "1969-12-31T23:59:59Z",
                                       "2026-11-25T24:00:00Z",
                                       "2026-11-25T10:60:00Z",
                                       "2026-11-25t10:15:00z",
                                       "2026-11-25 10:15:00Z",
                                       "2026-11-25T10:15:00",
                                       "2026-11-25T10:15:00ZZ",
                                       "2026-11-25T1:15:00Z.",
                                       "2026-13-25T10:15:00Z",
                                       "2026-11-31T10:15:00Z",
                                       "2023-02-29T10:15:00Z",
                                       "2026-11-25T+1:15:00Z",
                                       "2026-11-25T10:-5:00Z",
                                       "2026-11-25T10:15: 0Z",
                                       "12026-11-25T10:15:0Z"};
    for (size_t i = 0; i < sizeof text / sizeof *text; i++) {
        int64_t t = 77;
        cr_expect_not(rg_record_time_parse(text[i], &t), "%s", text[i]);
        cr_expect_eq(t, 77, "%s", text[i]);
    }
}

Test(record, a_time_without_a_text_is_a_question_mark)
{
    static const int64_t time[] = {-1, INT64_MIN, INT64_MAX, 253402300800};
    for (size_t i = 0; i < sizeof time / sizeof *time; i++) {
        char text[RG_RECORD_TIME];
        rg_record_time_format(time[i], text);
        cr_expect_str_eq(text, "?");
    }
}

/* ---------------------------------------------------------------- record */

static rg_record sample(void)
{
    rg_record r = {.software = "rimglow 0.4.0",
                   .bag = "0002-20261125T101500Z",
                   .serial = "PE-A-0147",
                   .model = "alto-loan",
                   .sequence = 2,
                   .time = 1795601700,
                   .technician = "bench 2",
                   .occasion = "after set-up",
                   .note = "new G pad,\n\"firm\" \xE2\x80\x93 see \\ card",
                   .verdict = RG_VERDICT_LEAKING,
                   .reasons = 2,
                   .reason = {"G leaks", "04-C: view_07.jpg left out"},
                   .pads_of_model = 23,
                   .previous_bag = "0001-20251003T091500Z",
                   .previous_manifest = rg_digest_of("a", 1),
                   .previous_tagmanifest = rg_digest_of("b", 1),
                   .sweeps = 2,
                   .values = 2,
                   .checks = 3};
    r.sweep = rg_alloc(2, sizeof *r.sweep);
    r.value = rg_alloc(2, sizeof *r.value);
    r.sweep[0] = (rg_record_sweep){.name = "08-G",
                                   .pad = "G",
                                   .verdict = RG_VERDICT_LEAKING,
                                   .finger = "grams",
                                   .grams = 35.5,
                                   .taken_day = 20782,
                                   .judged_day = 20782,
                                   .instrument_file = "data/calib/alto loan.ini",
                                   .station_file = "data/calib/station/bench.ini"};
    r.sweep[1] = (rg_record_sweep){.name = "04-C",
                                   .pad = "C",
                                   .verdict = RG_VERDICT_SEALED,
                                   .finger = "light",
                                   .grams = NAN,
                                   .taken_day = -1,
                                   .judged_day = 20782,
                                   .instrument_file = "data/calib/alto-loan.ini",
                                   .station_file = "data/calib/..bench.ini"};
    r.value[0] = (rg_record_value){"mass", "g", "bench scale", 2431, 0.5, "without neck", 20781};
    r.value[1] = (rg_record_value){"opening of low C", "mm", "", 10.123456789, NAN, "", -1};
    r.check = rg_alloc(3, sizeof *r.check);
    r.check[0] = (rg_record_check){"lubrication", "rods \xE2\x80\x93 light oil", true, true, 20781};
    r.check[1] = (rg_record_check){"corks and felts", "", true, false, -1};
    r.check[2] = (rg_record_check){"play test", "low C speaks late", false, false, -1};
    return r;
}

static char *text_of(const rg_record *r)
{
    char *text = NULL;
    cr_assert_eq(rg_record_text(r, &text, &err), RG_OK, "%s", err.text);
    return text;
}

static rg_code parse(const char *text, rg_record *r)
{
    err = (rg_error){0};
    return rg_record_parse("inspection.json", text, strlen(text), r, &err);
}

Test(record, what_was_written_comes_back)
{
    rg_record a = sample(), b;
    char *text = text_of(&a);
    cr_assert_eq(parse(text, &b), RG_OK, "%s", err.text);
    cr_expect_str_eq(b.software, a.software);
    cr_expect_str_eq(b.bag, a.bag);
    cr_expect_str_eq(b.serial, a.serial);
    cr_expect_str_eq(b.model, a.model);
    cr_expect_str_eq(b.technician, a.technician);
    cr_expect_str_eq(b.occasion, a.occasion);
    cr_expect_str_eq(b.note, a.note);
    cr_expect(b.sequence == 2 && b.time == a.time && b.verdict == a.verdict);
    cr_expect(b.pads_of_model == 23 && b.reasons == 2);
    cr_expect_str_eq(b.reason[1], a.reason[1]);
    cr_expect_str_eq(b.previous_bag, a.previous_bag);
    cr_expect(rg_digest_equal(&b.previous_manifest, &a.previous_manifest));
    cr_expect(rg_digest_equal(&b.previous_tagmanifest, &a.previous_tagmanifest));
    rg_record_free(&a);
    rg_record_free(&b);
    free(text);
}

Test(record, sweeps_and_values_come_back)
{
    rg_record a = sample(), b;
    char *text = text_of(&a);
    cr_assert_eq(parse(text, &b), RG_OK, "%s", err.text);
    cr_assert(b.sweeps == 2 && b.values == 2);
    for (int i = 0; i < 2; i++) {
        const rg_record_sweep *v = &a.sweep[i], *w = &b.sweep[i];
        cr_expect_str_eq(w->name, v->name);
        cr_expect_str_eq(w->pad, v->pad);
        cr_expect_str_eq(w->finger, v->finger);
        cr_expect_str_eq(w->instrument_file, v->instrument_file);
        cr_expect_str_eq(w->station_file, v->station_file);
        cr_expect(w->verdict == v->verdict && w->taken_day == v->taken_day &&
                  w->judged_day == v->judged_day);
        cr_expect_str_eq(b.value[i].quantity, a.value[i].quantity);
        cr_expect_str_eq(b.value[i].unit, a.value[i].unit);
        cr_expect_str_eq(b.value[i].with, a.value[i].with);
        cr_expect_eq(b.value[i].value, a.value[i].value);
    }
    cr_expect(b.sweep[0].grams == 35.5 && isnan(b.sweep[1].grams));
    cr_expect(b.value[0].u == 0.5 && isnan(b.value[1].u));
    cr_expect_str_eq(b.value[0].remark, "without neck");
    cr_expect(b.value[0].measured_day == 20781 && b.value[1].measured_day == -1);
    rg_record_free(&a);
    rg_record_free(&b);
    free(text);
}

Test(record, checks_come_back)
{
    rg_record a = sample(), b;
    char *text = text_of(&a);
    cr_assert_eq(parse(text, &b), RG_OK, "%s", err.text);
    cr_assert_eq(b.checks, 3);
    for (int i = 0; i < 3; i++) {
        cr_expect_str_eq(b.check[i].name, a.check[i].name);
        cr_expect_str_eq(b.check[i].remark, a.check[i].remark);
        cr_expect(b.check[i].stated == a.check[i].stated && b.check[i].done == a.check[i].done);
        cr_expect_eq(b.check[i].checked_day, a.check[i].checked_day);
    }
    rg_record_free(&a);
    rg_record_free(&b);
    free(text);
}

/* As version 0.2.0 of the program wrote it: tests/data/records has its README. */
Test(record, a_record_from_before_there_were_checks_is_read)
{
    rg_record r;
    test_bytes old = test_load("tests/data/records/0.2.0.json");
    cr_assert_eq(rg_record_parse("old.json", (const char *)old.data, old.size, &r, &err), RG_OK,
                 "%s", err.text);
    cr_assert(r.values == 3 && r.checks == 0 && r.sweeps == 2);
    cr_expect_str_eq(r.value[0].quantity, "mass");
    cr_expect_str_eq(r.value[0].remark, "");
    cr_expect_eq(r.value[0].measured_day, -1);
    rg_record_free(&r);
    free(old.data);
}

/* By jansson alone: the keys and forms that record.h promises to other readers. */
Test(record, the_text_is_the_json_of_the_header)
{
    rg_record r = sample();
    char *text = text_of(&r), *again = text_of(&r);
    const char *format, *time, *taken;
    int version, sequence;
    double grams;
    cr_expect_str_eq(text, again, "the same record, other bytes");
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_eq(json_unpack(o, "{s:s, s:i, s:i, s:s, s:[{s:s, s:f}, {s:n, s:n}], s:{s:s}}",
                             "format", &format, "version", &version, "sequence", &sequence, "time",
                             &time, "sweeps", "taken", &taken, "grams", &grams, "taken", "grams",
                             "previous", "manifest_sha256", &(const char *){NULL}),
                 0);
    cr_expect_str_eq(format, "rimglow inspection record");
    cr_expect(version == 1 && sequence == 2 && grams == 35.5);
    cr_expect_str_eq(time, "2026-11-25T10:15:00Z");
    cr_expect_str_eq(taken, "2026-11-25");
    cr_expect_not_null(strstr(text, "10.123456789,"));
    json_decref(o);
    rg_record_free(&r);
    free(text);
    free(again);
}

Test(record, a_first_inspection_has_no_bag_before)
{
    rg_record a = sample(), b;
    a.sequence = 1;
    a.previous_bag[0] = 0;
    char *text = text_of(&a);
    cr_expect_not_null(strstr(text, "\"previous\": null"));
    cr_assert_eq(parse(text, &b), RG_OK, "%s", err.text);
    cr_expect_str_eq(b.previous_bag, "");
    rg_record_free(&a);
    rg_record_free(&b);
    free(text);
}

/* The text with the first `from` replaced by `to`. */
static char *changed(const char *from, const char *to)
{
    rg_record r = sample();
    char *text = text_of(&r), *other = test_edited(text, from, to);
    rg_record_free(&r);
    free(text);
    return other;
}

static void expect_refused(const char *from, const char *to, const char *word)
{
    rg_record r;
    char *text = changed(from, to);
    cr_expect_eq(parse(text, &r), RG_BAD_DATA, "%s -> %s", from, to);
    cr_expect(strncmp(err.text, "inspection.json", 15) == 0 && strstr(err.text, word),
              "%s -> %s: %s", from, to, err.text);
    cr_expect(!r.sweep && !r.value && !r.check && r.sweeps == 0, "%s -> %s: owns something", from,
              to);
    free(text);
}

static void expect_taken(const char *from, const char *to)
{
    rg_record r;
    char *text = changed(from, to);
    cr_expect_eq(parse(text, &r), RG_OK, "%s -> %s: %s", from, to, err.text);
    rg_record_free(&r);
    free(text);
}

Test(record, the_head_is_checked_key_by_key)
{
    expect_refused("rimglow inspection record", "rimglow seal map", "format");
    expect_refused("\"version\": 1", "\"version\": 2", "version");
    expect_refused("\"version\": 1", "\"version\": 1.0", "version");
    expect_refused("\"sequence\": 2", "\"sequence\": 0", "sequence");
    expect_refused("\"sequence\": 2", "\"sequence\": 4294967298", "sequence");
    expect_refused("\"sequence\": 2", "\"sequence\": 1", "previous");
    expect_refused("\"sequence\": 2", "\"sequence\": true", "sequence");
    expect_refused("\"serial\": \"PE-A-0147\"", "\"serial\": \"../x\"", "serial");
    expect_refused("\"serial\": \"PE-A-0147\"", "\"serial\": \"\"", "serial");
    expect_refused("0002-20261125", "a/0002-20261125", "bag");
    expect_refused("2026-11-25T10:15:00Z", "2026-02-29T10:15:00Z", "time");
    expect_refused("2026-11-25T10:15:00Z", "2026-11-25T10:15:00+00:00", "time");
    expect_refused("\"verdict\": \"leaking\"", "\"verdict\": \"fine\"", "verdict");
    expect_refused("\"verdict\": \"leaking\"", "\"verdict\": 1", "verdict");
    expect_refused("\"technician\": \"bench 2\"", "\"technician\": null", "technician");
    expect_refused("bench 2", "bench\\u001b[2J", "technician");
    expect_refused("bench 2", "bench\\u009b2J", "technician");
    expect_refused("bench 2", "bench\\n2", "technician");
    expect_refused("bench 2", "bench\\u00002", "not JSON");
    expect_refused("after set-up", "\xFF", "not JSON");
    expect_refused("\"pads_of_model\": 23", "\"pads_of_model\": -1", "pads_of_model");
    expect_refused("\"pads_of_model\": 23", "\"pads_of_model\": 23.5", "pads_of_model");
    expect_refused("G leaks", "G\\u0007 leaks", "reasons[0]");
    expect_refused("\"G leaks\"", "7", "reasons[0]");
    expect_refused("0001-20251003", "../0001-20251003", "previous.bag");
    expect_refused("\"manifest_sha256\": \"ca", "\"manifest_sha256\": \"c", "manifest_sha256");
    expect_refused("\"note\"", "\"serial\"", "uplicate");
    expect_refused("\"note\"", "\"notes\"", "note");
}

Test(record, checks_are_checked_by_place)
{
    expect_refused("\"name\": \"lubrication\"", "\"name\": \"\"", "checks[0].name");
    expect_refused("\"name\": \"lubrication\"", "\"nam\": \"\"", "checks[0].name");
    expect_refused("\"done\": true", "\"done\": 1", "checks[0].done");
    expect_refused("\"done\": true", "\"done\": \"done\"", "checks[0].done");
    expect_refused("\"done\": null", "\"don\": null", "checks[2].done");
    expect_refused("light oil", "oil\\u001b[2J", "checks[0].remark");
    expect_refused("light oil", "oil\\u009b2J", "checks[0].remark");
    expect_refused("low C speaks late", "low\\nC", "checks[2].remark");
    expect_refused("without neck", "\\u0007", "setup[0].remark");
    expect_refused("\"measured\": \"2026-11-24\"", "\"measured\": \"2026-11-31\"",
                   "setup[0].measured");
    expect_refused("\"checked\": \"2026-11-24\"", "\"checked\": 7", "checks[0].checked");
    expect_refused("\"checks\": [", "\"checks\": 3, \"more\": [", "checks must be a list");
    expect_taken("\"checks\": [", "\"unknown\": [");
}

Test(record, sweeps_and_values_are_checked_by_place)
{
    expect_refused("\"name\": \"08-G\"", "\"name\": \"..\"", "sweeps[0].name");
    expect_refused("\"name\": \"08-G\"", "\"name\": \"a/b\"", "sweeps[0].name");
    expect_refused("\"name\": \"08-G\"", "\"name\": \"04-C\"", "both 04-C");
    expect_refused("\"pad\": \"C\"", "\"pad\": \"\"", "sweeps[1].pad");
    expect_refused("\"verdict\": \"sealed\"", "\"verdict\": \"Sealed\"", "sweeps[1].verdict");
    expect_refused("\"finger\": \"light\"", "\"finger\": \"heavy\"", "sweeps[1].finger");
    expect_refused("\"finger\": \"light\"", "\"finger\": \"grams\"", "sweeps[1].grams");
    expect_refused("\"grams\": 35.5", "\"grams\": null", "sweeps[0].grams");
    expect_refused("\"grams\": 35.5", "\"grams\": -1", "sweeps[0].grams");
    expect_refused("\"grams\": 35.5", "\"grams\": 1e300", "sweeps[0].grams");
    expect_refused("\"taken\": null", "\"taken\": \"\"", "sweeps[1].taken");
    expect_refused("\"judged\": \"2026-11-25\"", "\"judged\": null", "sweeps[0].judged");
    expect_refused("data/calib/alto loan.ini", "data/sweeps/x.ini", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "/data/calib/x.ini", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "data/calib/../../x", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "data/calib/", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "data/calib/a//b", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "data/calib/./b", "instrument_file");
    expect_refused("data/calib/alto loan.ini", "data/calib/a\\\\b", "instrument_file");
    expect_refused("data/calib/station/bench.ini", "data/calib/b/..", "station_file");
    expect_refused("\"value\": 2431", "\"value\": 1e13, \"x\": 2431", "setup[0].value");
    expect_refused("\"value\": 2431", "\"value\": null, \"x\": 2431", "setup[0].value");
    expect_refused("\"u\": 0.5", "\"u\": -0.5", "setup[0].u");
    expect_refused("\"u\": 0.5", "\"u\": \"0.5\"", "setup[0].u");
    expect_refused("\"u\": 0.5", "\"u\": NaN", "not JSON");
    expect_refused("\"quantity\": \"mass\"", "\"quantity\": \"\"", "setup[0].quantity");
    expect_refused("\"unit\": \"g\"", "\"unit\": \"grammes and then some\\n\"", "setup[0].unit");
    expect_refused("\"sweeps\": [", "\"sweeps\": {}, \"s\": [", "sweeps");
    expect_refused("\"setup\": [", "\"setup\": [3, ", "setup[0]");
}

Test(record, what_the_rules_allow_is_taken)
{
    expect_taken("\"serial\": \"PE-A-0147\"", "\"serial\": \"M\xC3\xBCller.2\"");
    expect_taken("\"value\": 2431", "\"value\": -2431, \"x\": 2431");
    expect_taken("\"u\": 0.5", "\"u\": 0");
    expect_taken("\"note\"", "\"remark\": [{}], \"note\"");
    expect_taken("data/calib/alto loan.ini", "data/calib/a/...b/c");
    expect_taken("after set-up", "");
}

/* unit has 24 bytes with the final 0. */
Test(record, texts_have_an_end)
{
    expect_taken("\"unit\": \"g\"", "\"unit\": \"abcdefghijklmnopqrstuvw\"");
    expect_refused("\"unit\": \"g\"", "\"unit\": \"abcdefghijklmnopqrstuvwx\"", "setup[0].unit");
    char from[] = "\"reasons\": [\n  \"G leaks\"", to[RG_REASON_SIZE + 64];
    for (int length = RG_REASON_SIZE - 1; length <= RG_REASON_SIZE; length++) {
        snprintf(to, sizeof to, "\"reasons\": [\n  \"%0*d\"", length, 0);
        if (length < RG_REASON_SIZE)
            expect_taken(from, to);
        else
            expect_refused(from, to, "reasons[0]");
    }
}

Test(record, lists_have_an_end)
{
    rg_record r;
    char *start = changed("\"setup\": [", "\"setup\": [\1"), *at = strchr(start, '\1');
    size_t one = 80, room = strlen(start) + (RG_RECORD_SETUP_MAX + 2) * one;
    for (int count = RG_RECORD_SETUP_MAX - 2; count <= RG_RECORD_SETUP_MAX - 1; count++) {
        char *text = rg_alloc(room, 1);
        size_t n = (size_t)(at - start);
        memcpy(text, start, n);
        for (int i = 0; i < count; i++)
            n += (size_t)snprintf(text + n, room - n,
                                  "{\"quantity\": \"q\", \"value\": 1, "
                                  "\"u\": null, \"unit\": \"\", \"with\": \"\"},");
        snprintf(text + n, room - n, "%s", at + 1);
        bool fits = count + 2 <= RG_RECORD_SETUP_MAX;
        cr_expect_eq(parse(text, &r), fits ? RG_OK : RG_BAD_DATA, "%d: %s", count, err.text);
        cr_expect(fits || strstr(err.text, "at most 256"), "%s", err.text);
        rg_record_free(&r);
        free(text);
    }
    free(start);
}

Test(record, other_bytes_are_refused)
{
    static const char *const text[] = {
        "", "[]", "3", "{}", "null", "{\"format\": 7}", "{\"bag\": [", "\xEF\xBB\xBF{}"};
    static char deep[200000];
    rg_record r;
    for (size_t i = 0; i < sizeof text / sizeof *text; i++)
        cr_expect_eq(parse(text[i], &r), RG_BAD_DATA, "%s", text[i]);
    memset(deep, '[', sizeof deep - 1);
    cr_expect_eq(parse(deep, &r), RG_BAD_DATA);
    cr_expect_eq(rg_record_parse("x", NULL, 0, &r, &err), RG_BAD_DATA);
    cr_expect_eq(rg_record_parse("x", "{}", (size_t)RG_RECORD_MAX_BYTES + 1, &r, &err),
                 RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "another file"));
}

Test(record, cut_texts_are_refused)
{
    rg_record a = sample(), r;
    char *text = text_of(&a);
    for (size_t n = 0; n + 1 < strlen(text); n += 7)
        cr_expect_eq(rg_record_parse("x", text, n, &r, &err), RG_BAD_DATA, "%zu bytes", n);
    rg_record_free(&a);
    free(text);
}

/* --------------------------------------------------------- what is written */

Test(record, a_record_that_could_not_be_read_is_not_written)
{
    rg_record r = sample();
    char *text = NULL;
    strcpy(r.technician, "caf\xE9");
    cr_expect_eq(rg_record_text(&r, &text, &err), RG_BAD_DATA);
    cr_expect(!text && strstr(err.text, "technician"), "%s", err.text);
    strcpy(r.technician, "");
    strcpy(r.sweep[1].name, "a/b");
    cr_expect_eq(rg_record_text(&r, &text, &err), RG_BAD_DATA);
    cr_expect(!text && strstr(err.text, "sweeps[1].name"), "%s", err.text);
    strcpy(r.sweep[1].name, "b");
    r.value[0].value = INFINITY;
    cr_expect_eq(rg_record_text(&r, &text, &err), RG_BAD_DATA);
    cr_expect(!text && strstr(err.text, "setup[0].value"), "%s", err.text);
    r.value[0].value = 1e-310;
    cr_expect_eq(rg_record_text(&r, &text, &err), RG_OK, "%s", err.text);
    free(text);
    r.reasons = RG_REASONS_MAX + 1;
    cr_expect_eq(rg_record_text(&r, &text, &err), RG_BAD_DATA);
    rg_record_free(&r);
}

Test(record, reasons_that_quote_bytes_are_mended)
{
    rg_record a = sample(), b;
    strcpy(a.reason[0], "view\x1b[2J.jpg");
    strcpy(a.reason[1], "view_\xE9\xE9.jpg");
    char *text = text_of(&a);
    cr_assert_eq(parse(text, &b), RG_OK, "%s", err.text);
    cr_expect_str_eq(b.reason[0], "view?[2J.jpg");
    cr_expect_str_eq(b.reason[1], "view_??.jpg");
    rg_record_free(&a);
    rg_record_free(&b);
    free(text);
}

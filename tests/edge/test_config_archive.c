/*
 * Tests of config_archive.h and config_values.h: the files that stand in calib/ and samples/ are read,
 * and what cannot be is refused by line.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_archive.h"
#include "rimglow/config_values.h"

static rg_error err;

static rg_archive_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    return rg_archive_settings_parse(label, text, size, &s, why);
}

Test(config_archive, the_shipped_settings_are_read)
{
    char *text = test_text("calib/archive.ini");
    cr_assert_eq(parse("a.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect(s.change.coverage_factor == 2 && s.change.turn_u_deg == 1.5);
    cr_expect(s.change.min_arc_deg == 6 && s.confidence == 0.95);
    free(text);
}

Test(config_archive, settings_that_cannot_be_are_refused_by_line)
{
    static const test_refusal bad[] = {
        {"confidence = 0.95", "confidence = 1", {"confidence"}},
        {"turn_u_deg = 1.5", "turn_u_deg = -1", {"turn_u_deg"}},
        {"min_arc_deg = 6", "min_arc = 6", {"min_arc"}},
        {"[batch]", "[month]", {"batch"}},
        {"coverage_factor = 2", "", {"coverage_factor"}},
        {"[batch]", "[more]\n[batch]", {"[more]", "change, batch"}},
    };
    char *text = test_text("calib/archive.ini");
    TEST_REFUSALS(parse, "a.ini", text, bad);
    free(text);
}

Test(config_archive, the_sample_s_set_up_values_are_read)
{
    rg_measured_value v[RG_VALUES_MAX];
    int n;
    char *text = test_text("samples/setup.ini");
    cr_assert_eq(rg_values_parse("s.ini", text, strlen(text), v, &n, &err), RG_OK, "%s", err.text);
    cr_assert_eq(n, 7);
    cr_expect_str_eq(v[0].quantity, "mass");
    cr_expect(v[0].value == 2431 && v[0].u == 1);
    cr_expect_str_eq(v[0].unit, "g");
    cr_expect_str_eq(v[1].with, "spring gauge, 100 g");
    free(text);
}

static int values_of(const char *text, rg_measured_value *v)
{
    int n = -1;
    cr_assert_eq(rg_values_parse("s.ini", text, strlen(text), v, &n, &err), RG_OK, "%s", err.text);
    return n;
}

Test(config_archive, checks_and_remarks_stand_beside_values)
{
    rg_measured_value v[RG_VALUES_MAX];
    int n = values_of("[mass]\nvalue = 1\nunit = g\nu = 0\nwith =\nremark = wet\n"
                      "date = 2026-11-24\n"
                      "[lubrication]\ncheck = done\ndate = none\n"
                      "[corks]\ncheck = not done\nremark = low B lost its felt\n"
                      "[play test]\nremark = even\n",
                      v);
    cr_assert_eq(n, 4);
    cr_expect(v[0].kind == RG_VALUE_NUMBER && v[0].value == 1);
    cr_expect_str_eq(v[0].remark, "wet");
    cr_expect_eq(v[0].day, 20781); /* GNU date: date -ud 2026-11-24 +%s, divided by 86400 */
    cr_expect(v[1].kind == RG_VALUE_CHECK && v[1].done && v[1].day == -1 && !v[1].remark[0]);
    cr_expect(v[2].kind == RG_VALUE_CHECK && !v[2].done);
    cr_expect_str_eq(v[2].remark, "low B lost its felt");
    cr_expect(v[3].kind == RG_VALUE_REMARK_ONLY && !v[3].done);
    cr_expect_str_eq(v[3].remark, "even");
}

static void expect_refused(const char *text, const char *word)
{
    rg_measured_value v[RG_VALUES_MAX];
    int n = -1;
    cr_expect_eq(rg_values_parse("s.ini", text, strlen(text), v, &n, &err), RG_BAD_DATA, "%s",
                 text);
    cr_expect(strstr(err.text, word) != NULL, "%s", err.text);
    cr_expect_eq(n, 0);
}

Test(config_archive, values_that_cannot_be_are_refused)
{
    char many[RG_VALUES_MAX * 60 + 200] = "", name[200];
    expect_refused("[mass]\nvalue = 2431\nu = 1\nwith =\n", "unit");
    expect_refused("[mass]\nvalue = heavy\nunit = g\nu = 1\nwith =\n", "heavy");
    expect_refused("[mass]\nvalue = 1\nunit = g\nu = -1\nwith =\n", "-1");
    expect_refused("[mass]\nvalue = 1\nunit = g\nu = 1\nwith =\ncolour = red\n", "colour");
    expect_refused("[oil]\ncheck = yes\n", "done or not done");
    expect_refused("[oil]\ncheck = done\nunit = g\n", "[oil]");
    expect_refused("[oil]\ncheck = done\nwith = can\n", "unknown key");
    expect_refused("[oil]\ncheck = done\ndate = yesterday\n", "yesterday");
    expect_refused("[oil]\nremark =\n", "empty");
    expect_refused("[oil]\nremark = a\x1b[2Jb\n", "control character");
    expect_refused("[oil]\n", "no key value");
    for (int i = 0; i <= RG_VALUES_MAX; i++)
        sprintf(many + strlen(many), "[v%d]\nvalue = 1\nunit = g\nu = 0\nwith =\n", i);
    expect_refused(many, "257 values");
    memset(name, 'x', 100);
    strcpy(name + 100, "]\nvalue = 1\nunit = g\nu = 0\nwith =\n");
    snprintf(many, sizeof many, "[%s", name);
    expect_refused(many, "63 bytes");
}

static rg_measured_value value_of(const char *quantity, double value, const char *with)
{
    rg_measured_value v = {.value = value, .u = 0.5};
    strcpy(v.quantity, quantity);
    strcpy(v.unit, "g");
    strcpy(v.with, with);
    return v;
}

Test(config_archive, set_up_values_are_written_as_they_are_read)
{
    const rg_measured_value v[] = {value_of("mass", 2431, "bench scale, 5 kg"),
                                   value_of("spring force G sharp", 42.123456789, ""),
                                   value_of("Spiel \xc3\xbc", -1e-7, "Uhr")};
    rg_measured_value again[RG_VALUES_MAX];
    char *text;
    int n;
    cr_assert_eq(rg_values_text(v, 3, &text, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_values_parse("s.ini", text, strlen(text), again, &n, &err), RG_OK, "%s",
                 err.text);
    cr_assert_eq(n, 3);
    for (int i = 0; i < 3; i++)
        cr_expect(rg_values_equal(&v[i], &again[i]), "%s", text);
    cr_expect_not(rg_values_equal(&v[0], &v[1]));
    free(text);
}

Test(config_archive, checks_remarks_and_dates_are_written_too)
{
    const rg_measured_value v[] = {
        {.kind = RG_VALUE_CHECK,
         .quantity = "lubrication",
         .done = true,
         .remark = "oil",
         .day = -1},
        {.kind = RG_VALUE_CHECK, .quantity = "play test", .day = 20417}, /* date -d @1764028800 */
        {.kind = RG_VALUE_REMARK_ONLY, .quantity = "low C", .remark = "speaks late", .day = -1}};
    rg_measured_value again[RG_VALUES_MAX];
    char *text;
    int n;
    cr_assert_eq(rg_values_text(v, 3, &text, &err), RG_OK, "%s", err.text);
    cr_expect(strstr(text, "[lubrication]\ncheck = done\nremark = oil\n"), "%s", text);
    cr_expect(strstr(text, "[play test]\ncheck = not done\ndate = 2025-11-25\n"), "%s", text);
    cr_expect(strstr(text, "[low C]\nremark = speaks late\n"), "%s", text);
    cr_assert_eq(rg_values_parse("s.ini", text, strlen(text), again, &n, &err), RG_OK, "%s",
                 err.text);
    cr_assert_eq(n, 3);
    for (int i = 0; i < 3; i++)
        cr_expect(rg_values_equal(&v[i], &again[i]), "%s", text);
    again[1].done = true;
    cr_expect_not(rg_values_equal(&v[1], &again[1]));
    free(text);
}

Test(config_archive, set_up_values_that_would_change_on_the_way_are_refused)
{
    const rg_measured_value bad[] = {
        value_of("mass", 1, "scale ; 5 kg"), value_of("mass", 1, "scale #2"),
        value_of("mass] [more", 1, ""),      value_of("", 1, ""),
        value_of("mass", 2e9, ""),           value_of("mass", 1, "scale\nu = 0")};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        char *text = NULL;
        cr_expect_eq(rg_values_text(&bad[i], 1, &text, &err), RG_BAD_DATA, "%zu", i);
        cr_expect_null(text);
    }
    const rg_measured_value twice[] = {value_of("mass", 1, ""), value_of("mass", 2, "")};
    char *text = NULL;
    cr_expect_eq(rg_values_text(twice, 2, &text, &err), RG_BAD_DATA);
    cr_expect_null(text);
}

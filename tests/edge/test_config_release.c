/*
 * Tests of config_release.h: the rules in calib/ are read as they stand, and what cannot be is refused
 * with its section, its key and a remedy.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_release.h"
#include "support/load.h"

static rg_error err;
static rg_release_rules r;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    return rg_release_rules_parse(label, text, size, &r, why);
}

static rg_code parse_text(const char *text)
{
    err = (rg_error){0};
    return parse("r.ini", text, strlen(text), &err);
}

Test(config_release, the_shipped_rules_are_read)
{
    char *text = test_text("calib/release.ini");
    cr_assert_eq(parse_text(text), RG_OK, "%s", err.text);
    cr_expect(r.coverage_factor == 2 && r.seals == 1 && r.values == 4 && r.balances == 1 &&
              r.checks == 3 && r.sections == 4);
    cr_expect_str_eq(r.seal[0].pad, "*");
    cr_expect(r.seal[0].required && r.seal[0].light_grams == 60 && r.seal[0].max_age_days == 30);
    const rg_value_rule *mass = rg_release_value_rule(&r, "mass");
    cr_expect(mass->need == RG_NEED_NO && isnan(mass->low) && isnan(mass->high) && mass->guard);
    cr_expect(mass->reference == RG_REFERENCE_FIRST && mass->change_low == -15 &&
              mass->change_high == 15);
    const rg_value_rule *spring = rg_release_value_rule(&r, "spring force low B flat");
    cr_expect_str_eq(spring->unit, "gf");
    cr_expect_str_eq(spring->unit_also, "g");
    cr_expect(spring->low == 20 && spring->high == 80 && isnan(spring->change_low));
    cr_expect_str_eq(r.balance[0].quantity, "spring force *");
    cr_expect(r.balance[0].spread_high == 25 && !r.balance[0].required);
    cr_expect_str_eq(r.check[1].name, "corks and felts");
    free(text);
}

/* Every key of the file has a comment of its own above it, as the bench's other files do. */
Test(config_release, every_key_of_the_shipped_file_is_explained)
{
    test_bytes file = test_load("calib/release.ini");
    const char *line = (const char *)file.data, *end = line + file.size;
    bool comment = false;
    while (line < end) {
        const char *next = memchr(line, '\n', (size_t)(end - line));
        size_t n = next ? (size_t)(next - line) : (size_t)(end - line);
        bool key = n > 0 && line[0] != ';' && line[0] != '[';
        cr_expect(!key || comment, "no comment above %.*s", (int)n, line);
        comment = n > 0 && line[0] == ';';
        line += n + 1;
    }
    free(file.data);
}

static void expect_taken(const char *from, const char *to)
{
    char *text = test_changed("calib/release.ini", from, to);
    cr_expect_eq(parse_text(text), RG_OK, "%s -> %s: %s", from, to, err.text);
    free(text);
}

Test(config_release, words_and_numbers_are_taken)
{
    expect_taken("required = no", "required = yes");
    cr_expect_eq(rg_release_value_rule(&r, "mass")->need, RG_NEED_YES);
    expect_taken("once every spring is measured at your bench.\nrequired = no",
                 "\nrequired = each pad");
    cr_expect_eq(rg_release_value_rule(&r, "spring force G")->need, RG_NEED_EACH_PAD);
    expect_taken("reference = first visit", "reference = last visit");
    cr_expect_eq(r.value[0].reference, RG_REFERENCE_LAST);
    expect_taken("reference = first visit", "reference = 2431.5");
    cr_expect(r.value[0].reference == RG_REFERENCE_VALUE && r.value[0].reference_value == 2431.5);
    expect_taken("members = *", "members = G, A, low B");
    expect_taken("[check play test]", "[section note]\nrequired = yes\n[check play test]");
    cr_expect_eq(r.sections, 5);
    expect_taken("[seal *]",
                 "[seal G]\nrequired = no\nlight_grams = 0\nmax_age_days = 0\n[seal *]");
    cr_expect_eq(r.seals, 2);
}

Test(config_release, what_cannot_be_is_refused)
{
    static const test_refusal bad[] = {
        {"[release]", "[releases]", {"[release] is missing"}},
        {"coverage_factor = 2", "coverage_factor = 0.5", {"coverage_factor"}},
        {"coverage_factor = 2", "coverage = 2", {"coverage"}},
        {"light_grams = 60", "", {"light_grams"}},
        {"light_grams = 60", "light_grams = 60\ncolour = red", {"colour"}},
        {"required = yes", "required = always", {"yes or no"}},
        {"[value mass]\n", "[value mass]\n[value mass 2]\n", {"required"}},
        {"required = no", "required = each pad", {"no *"}},
        {"required = no", "required = maybe", {"no, yes or each pad"}},
        {"low = none", "low = nothing", {"none"}},
        {"low = none", "low = inf", {"none"}},
        {"low = 20", "low = 90", {"above high = 80"}},
        {"change_low = -15", "change_low = 16", {"above change_high = 15"}},
        {"reference = first visit", "reference = none", {"need something to compare"}},
        {"reference = first visit", "reference = second visit", {"last visit"}},
        {"change_low = -15\n; Upper limit of the change, or none. Invented.\nchange_high = 15",
         "change_low = none\nchange_high = none",
         {"both none"}},
        {"[value spring force *]", "[value * force *]", {"one *"}},
        {"[check lubrication]", "[check *]", {"no *"}},
        {"[balance spring forces]", "[balance *]", {"no *"}},
        {"[check lubrication]", "[check ]", {"unknown section"}},
        {"[check lubrication]", "[lubrication]", {"unknown section"}},
        {"quantity = spring force *", "quantity = spring force", {"one *"}},
        {"members = *", "members = G", {"two members"}},
        {"spread_high = 25", "spread_high = -1", {"spread_high"}},
        {"max_age_days = 30", "max_age_days = 1.5", {"whole number"}},
        {"guard = yes", "guard = true", {"yes or no"}},
    };
    char *text = test_text("calib/release.ini");
    TEST_REFUSALS(parse, "r.ini", text, bad);
    free(text);
}

Test(config_release, rules_that_require_nothing_are_refused)
{
    static const char text[] = "[release]\ncoverage_factor = 2\n"
                               "[seal *]\nrequired = no\nlight_grams = 0\nmax_age_days = 0\n";
    cr_expect_eq(parse_text(text), RG_BAD_DATA);
    cr_expect(strstr(err.text, "requires nothing") != NULL, "%s", err.text);
    cr_expect_eq(parse_text("[release]\ncoverage_factor = 2\n"), RG_BAD_DATA);
    cr_expect_eq(parse_text("[release]\ncoverage_factor = 2\n[section leaks]\nrequired = yes\n"),
                 RG_OK);
}

Test(config_release, more_rules_of_a_kind_than_fit_are_refused)
{
    char *text = calloc(70, 80);
    strcpy(text, "[release]\ncoverage_factor = 2\n");
    for (int i = 0; i < RG_RELEASE_RULES_MAX; i++)
        sprintf(text + strlen(text), "[check c%d]\nrequired = yes\nmax_age_days = 0\n", i);
    cr_expect_eq(parse_text(text), RG_OK, "%s", err.text);
    strcat(text, "[check last]\nrequired = yes\nmax_age_days = 0\n");
    cr_expect_eq(parse_text(text), RG_BAD_DATA);
    cr_expect(strstr(err.text, "[check last]") != NULL, "%s", err.text);
    free(text);
}

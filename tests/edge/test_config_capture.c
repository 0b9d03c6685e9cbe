/*
 * Tests of config_capture.h: what calib/capture.ini says is what the tests of live and coverage assume, and
 * refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_capture.h"

static rg_error err;
static rg_capture_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    return rg_capture_settings_parse(label, text, size, &s, why);
}

Test(config_capture, calib_holds_the_values_that_tests_and_help_speak_of)
{
    static const double level[RG_COVER_LEVELS] = {-0.8, -0.4, 0, 0.4, 0.8};
    char *text = test_text("calib/capture.ini");
    cr_assert_eq(parse("capture.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        cr_expect_eq(s.coverage.level_deg[l], level[l]);
    cr_expect_eq(s.coverage.near_deg, 0.2);
    cr_expect_eq(s.coverage.view_deg, 30);
    cr_expect_eq(s.keep.per_place, 3);
    cr_expect_eq(s.keep.closed_most, 300);
    cr_expect_eq(s.keep.witness_most, 3);
    cr_expect_eq(s.keep.dark_most, 6);
    cr_expect_eq(s.keep.beyond_deg, 0.6);
    cr_expect_eq(s.keep.unsure_deg, 1.5);
    cr_expect_eq(s.witness_exposure, 0.2);
    free(text);
}

static rg_code changed(const char *from, const char *to)
{
    char *text = test_changed("calib/capture.ini", from, to);
    rg_code code = parse("c.ini", text, strlen(text), &err);
    free(text);
    return code;
}

static void refused(const char *from, const char *to, const char *word)
{
    const test_refusal row[] = {{from, to, {word}}};
    char *text = test_text("calib/capture.ini");
    TEST_REFUSALS(parse, "c.ini", text, row);
    free(text);
}

Test(config_capture, values_are_taken_from_their_own_lines)
{
    cr_assert_eq(changed("levels_deg = -0.8 -0.4 0 0.4 0.8", "levels_deg = -2  -1 0.5\t1 9"), RG_OK,
                 "%s", err.text);
    cr_expect_eq(s.coverage.level_deg[0], -2);
    cr_expect_eq(s.coverage.level_deg[3], 1);
    cr_expect_eq(s.coverage.level_deg[4], 9);
    cr_assert_eq(changed("per_place = 3", "per_place = 7"), RG_OK);
    cr_expect_eq(s.keep.per_place, 7);
    cr_assert_eq(changed("exposure = 0.2", "exposure = 0.125"), RG_OK);
    cr_expect_eq(s.witness_exposure, 0.125);
}

Test(config_capture, levels_that_cannot_be_are_refused)
{
    static const char *const bad[] = {"-0.8 -0.4 0 0.4",      "-0.8 -0.4 0 0.4 0.8 1",
                                      "-0.8 -0.4 0 0 0.8",    "0.8 0.4 0 -0.4 -0.8",
                                      "-0.8 -0.4 0 0.4 11",   "-0.8 -0.4 x 0.4 1",
                                      "-0.8 -0.4 nan 0.4 0.8"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        refused("-0.8 -0.4 0 0.4 0.8", bad[i], "levels_deg");
}

Test(config_capture, missing_unknown_and_impossible_values_are_refused_by_name)
{
    refused("near_deg = 0.2", "", "near_deg");
    refused("near_deg = 0.2", "near_deg = 0.2\nfar_deg = 3", "far_deg");
    refused("view_deg = 30", "view_deg = 300", "view_deg");
    refused("per_place = 3", "per_place = 0", "per_place");
    refused("closed_most = 300", "closed_most = 600", "closed_most");
    refused("exposure = 0.2", "exposure = 1.5", "exposure");
    refused("[witness]", "[darkness]\nlamp = 0\n[witness]", "darkness");
    cr_expect_eq(parse("c.ini", "", 0, &err), RG_BAD_DATA);
}

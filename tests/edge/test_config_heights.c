/*
 * Tests of config_heights.h: calib/heights.ini is read, and refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_heights.h"

static rg_error err;
static rg_heights_options o;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_heights_options_parse(label, text, size, &o, why);
    cr_expect(code == RG_OK || (o.coverage_factor == 0 && o.least_growth_mm == 0),
              "a refused file sets nothing");
    return code;
}

Test(config_heights, calib_is_read)
{
    char *text = test_text("calib/heights.ini");
    cr_assert_eq(parse("h.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(o.coverage_factor, 2);
    cr_expect_eq(o.least_growth_mm, 0);
    free(text);
}

Test(config_heights, values_are_taken_from_their_own_lines)
{
    char *text = test_changed("calib/heights.ini", "least_growth_mm = 0", "least_growth_mm = -0.3");
    cr_assert_eq(parse("h.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(o.coverage_factor, 2);
    cr_expect_eq(o.least_growth_mm, -0.3);
    free(text);
}

Test(config_heights, settings_that_cannot_be_are_refused_by_name)
{
    static const test_refusal bad[] = {
        {"coverage_factor = 2", "coverage_factor = 0.5", {"coverage_factor = 0.5", "1 to 4"}},
        {"coverage_factor = 2", "", {"coverage_factor", "calib/heights.ini"}},
        {"least_growth_mm = 0", "least_growth_mm = -6", {"least_growth_mm = -6", "-5 to 5"}},
        {"least_growth_mm = 0", "least_growth_mm = nan", {"least_growth_mm = nan", "finite"}},
        {"least_growth_mm = 0", "least_growth_mm = 0\ngrowth = 1", {"growth", "unknown key"}},
        {"[heights]", "[openings]", {"[heights]", "calib/heights.ini"}},
        {"[heights]", "[more]\n[heights]", {"[more]", "the sections here are heights"}},
    };
    char *text = test_text("calib/heights.ini");
    TEST_REFUSALS(parse, "h.ini", text, bad);
    free(text);
}

/*
 * Tests of config_diagnosis.h: calib/diagnosis.ini holds what the tests measure with, and refusals name
 * key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_diagnosis.h"
#include "support/diagnosis.h"

static rg_error err;
static rg_diagnosis_options o;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_diagnosis_options_parse(label, text, size, &o, why);
    cr_expect(code == RG_OK || o.shape.press_mm == 0, "a refused file sets nothing");
    return code;
}

Test(config_diagnosis, calib_holds_what_the_tests_use)
{
    rg_diagnosis_options t = test_diagnosis_options();
    char *text = test_text("calib/diagnosis.ini");
    cr_assert_eq(parse("d.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(o.shape.correlation_deg, t.shape.correlation_deg);
    cr_expect_eq(o.shape.common_share, t.shape.common_share);
    cr_expect_eq(o.shape.u_floor_mm, t.shape.u_floor_mm);
    cr_expect_eq(o.shape.uneven_mm, t.shape.uneven_mm);
    cr_expect_eq(o.shape.least_open_deg, t.shape.least_open_deg);
    cr_expect_eq(o.shape.fixed_u_mm, t.shape.fixed_u_mm);
    cr_expect_eq(o.shape.significance, t.shape.significance);
    cr_expect_eq(o.shape.press_mm, t.shape.press_mm);
    cr_expect_eq(o.shape.coverage_factor, t.shape.coverage_factor);
    cr_expect_eq(o.shape.local_least_deg, t.shape.local_least_deg);
    cr_expect_eq(o.shape.local_most_deg, t.shape.local_most_deg);
    cr_expect_eq(o.fault_share, t.fault_share);
    cr_expect_eq(o.hinge_deg, t.hinge_deg);
    cr_expect_eq(o.dirt_deg, t.dirt_deg);
    cr_expect_eq(o.twin_deg, t.twin_deg);
    cr_expect_eq(o.same_deg, t.same_deg);
    cr_expect_eq(o.round_mm, t.round_mm);
    cr_expect_eq(o.shim_most_mm, t.shim_most_mm);
    cr_expect_eq(o.replace_most_mm, t.replace_most_mm);
    free(text);
}

Test(config_diagnosis, settings_that_cannot_be_are_refused_by_name)
{
    static const test_refusal bad[] = {
        {"press_mm = 0.5", "press_mm = -1", {"press_mm"}},
        {"common_share = 0.3", "common_share = 1", {"common_share"}},
        {"hinge_deg = 15", "hinge = 15", {"hinge"}},
        {"[corrections]", "[amounts]", {"corrections"}},
        {"[corrections]", "[more]\n[corrections]", {"[more]", "shape, faults, corrections"}},
        {"round_mm = 0.01", "", {"round_mm"}},
        {"local_most_deg = 40", "local_most_deg = 2", {"local_least_deg"}},
    };
    char *text = test_text("calib/diagnosis.ini");
    TEST_REFUSALS(parse, "d.ini", text, bad);
    free(text);
}

/*
 * Tests of config_diagnosis.h: calib/diagnosis.ini holds what the tests measure with, and refusals name
 * key and remedy.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config_diagnosis.h"
#include "rimglow/memory.h"
#include "support/diagnosis.h"
#include "support/load.h"

static rg_error err;
static rg_diagnosis_options o;

Test(config_diagnosis, calib_holds_what_the_tests_use)
{
    rg_diagnosis_options t = test_diagnosis_options();
    test_bytes file = test_load("calib/diagnosis.ini");
    cr_assert_eq(rg_diagnosis_options_parse("d.ini", (const char *)file.data, file.size, &o, &err),
                 RG_OK, "%s", err.text);
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
    free(file.data);
}

/* calib/diagnosis.ini with one text replaced. */
static rg_code changed(const char *from, const char *to)
{
    test_bytes file = test_load("calib/diagnosis.ini");
    char *at = strstr((char *)file.data, from);
    cr_assert_not_null(at, "%s", from);
    size_t size = file.size + strlen(to) + 1;
    char *text = rg_alloc(size, 1);
    snprintf(text, size, "%.*s%s%s", (int)(at - (char *)file.data), (char *)file.data, to,
             at + strlen(from));
    err = (rg_error){0};
    rg_code code = rg_diagnosis_options_parse("d.ini", text, strlen(text), &o, &err);
    free(text);
    free(file.data);
    return code;
}

Test(config_diagnosis, settings_that_cannot_be_are_refused_by_name)
{
    static const char *const bad[][3] = {
        {"press_mm = 0.5", "press_mm = -1", "press_mm"},
        {"common_share = 0.3", "common_share = 1", "common_share"},
        {"hinge_deg = 15", "hinge = 15", "hinge"},
        {"[corrections]", "[amounts]", "corrections"},
        {"round_mm = 0.01", "", "round_mm"},
        {"local_most_deg = 40", "local_most_deg = 2", "local_least_deg"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        cr_expect_eq(changed(bad[i][0], bad[i][1]), RG_BAD_DATA, "%s", bad[i][1]);
        cr_expect(strstr(err.text, "d.ini") && strstr(err.text, bad[i][2]), "%s", err.text);
    }
}

/*
 * Tests of config_flow.h: calib/flow.ini is read, refusals name key and remedy.
 * Outside values: standard atmosphere 101325 Pa; Idelchik's losses 0.5 + 1.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_flow.h"

static rg_error err;
static rg_flow_options o;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_flow_options_parse(label, text, size, &o, why);
    cr_expect(code == RG_OK || o.blowing_pa == 0, "a refused file sets nothing");
    return code;
}

Test(config_flow, calib_is_read)
{
    char *text = test_text("calib/flow.ini");
    cr_assert_eq(parse("flow.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    free(text);
    cr_expect_eq(o.temperature_c, 20);
    cr_expect_eq(o.ambient_pa, 101325);
    cr_expect_eq(o.blowing_pa, 3000);
    cr_expect_eq(o.discharge, 0.6);
    cr_expect_eq(o.entry_exit_loss, 1.5);
    cr_expect_eq(o.coverage_factor, 2);
    cr_expect_eq(rg_flow_check(&o, &err), RG_OK);
}

Test(config_flow, refusals_name_the_key)
{
    static const test_refusal bad[] = {
        {"blowing_pa = 3000", "blowing_pa = 0", {"blowing_pa = 0"}},
        {"blowing_pa = 3000", "", {"blowing_pa"}},
        {"blowing_pa = 3000", "blowing_kpa = 3", {"blowing_kpa"}},
        {"[leak]", "[hole]", {"[leak]"}},
        {"[leak]", "[hole]\n[leak]", {"[hole]", "air, leak"}},
        {"temperature_c = 20", "temperature_c = 20,5", {"20.5"}},
        /* More than the orifice itself: 1 / 0.6^2 = 2.78. */
        {"entry_exit_loss = 1.5", "entry_exit_loss = 3", {"entry_exit_loss = 3"}},
    };
    char *text = test_text("calib/flow.ini");
    TEST_REFUSALS(parse, "f.ini", text, bad);
    free(text);
}

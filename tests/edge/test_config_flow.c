/*
 * Tests of config_flow.h: calib/flow.ini is read, refusals name key and remedy.
 * Outside values: standard atmosphere 101325 Pa; Idelchik's losses 0.5 + 1.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config_flow.h"
#include "rimglow/memory.h"
#include "support/load.h"

static rg_error err;
static rg_flow_options o;

Test(config_flow, calib_is_read)
{
    test_bytes file = test_load("calib/flow.ini");
    cr_assert_eq(rg_flow_options_parse("flow.ini", (const char *)file.data, file.size, &o, &err),
                 RG_OK, "%s", err.text);
    free(file.data);
    cr_expect_eq(o.temperature_c, 20);
    cr_expect_eq(o.ambient_pa, 101325);
    cr_expect_eq(o.blowing_pa, 3000);
    cr_expect_eq(o.discharge, 0.6);
    cr_expect_eq(o.entry_exit_loss, 1.5);
    cr_expect_eq(o.coverage_factor, 2);
    cr_expect_eq(rg_flow_check(&o, &err), RG_OK);
}

/* calib/flow.ini with one text replaced. */
static void refused(const char *from, const char *to, const char *want)
{
    test_bytes file = test_load("calib/flow.ini");
    char *at = strstr((char *)file.data, from);
    cr_assert_not_null(at, "%s", from);
    size_t size = file.size + strlen(to) + 1;
    char *text = rg_alloc(size, 1);
    snprintf(text, size, "%.*s%s%s", (int)(at - (char *)file.data), (char *)file.data, to,
             at + strlen(from));
    err = (rg_error){0};
    cr_expect_eq(rg_flow_options_parse("f.ini", text, strlen(text), &o, &err), RG_BAD_DATA,
                 "accepted: %s", to);
    cr_expect(strstr(err.text, "f.ini") && strstr(err.text, want), "%s", err.text);
    cr_expect_eq(o.blowing_pa, 0, "a refused file leaves its values");
    free(text);
    free(file.data);
}

Test(config_flow, refusals_name_the_key)
{
    refused("blowing_pa = 3000", "blowing_pa = 0", "blowing_pa = 0");
    refused("blowing_pa = 3000", "", "blowing_pa");
    refused("blowing_pa = 3000", "blowing_kpa = 3", "blowing_kpa");
    refused("[leak]", "[hole]", "[leak]");
    refused("[leak]", "[hole]\n[leak]", "[hole]");
    refused("temperature_c = 20", "temperature_c = 20,5", "20.5");
    /* More than the orifice itself: 1 / 0.6^2 = 2.78. */
    refused("entry_exit_loss = 1.5", "entry_exit_loss = 3", "entry_exit_loss = 3");
}

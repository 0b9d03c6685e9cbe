/*
 * Tests of config_keys.h: calib/keys.ini is read and holds what support/keys.h says; what cannot be is
 * refused by line.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config.h"
#include "rimglow/config_keys.h"
#include "support/keys.h"

static rg_error err;

static rg_keys_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_keys_settings_parse(label, text, size, &s, why);
    cr_expect(code == RG_OK || s.repeat.closings_least == 0, "a refused file sets nothing");
    return code;
}

Test(config_keys, the_shipped_settings_are_those_of_the_tests)
{
    char *text = test_text("calib/keys.ini");
    cr_assert_eq(parse("k.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    /* Member by member: padding has no value. */
    const rg_regulation_options *g = &s.regulation, *g0 = &test_regulation_options;
    cr_expect(g->coverage_factor == g0->coverage_factor && g->turn_step == g0->turn_step);
    cr_expect(g->same_force_share == g0->same_force_share && g->cork_step_mm == g0->cork_step_mm);
    cr_expect(g->lever_ratio_share == g0->lever_ratio_share && g->bend_step_mm == g0->bend_step_mm);
    const rg_force_options *f = &s.force, *f0 = &test_force_options;
    cr_expect(f->coverage_factor == f0->coverage_factor && f->gauge_u_g == f0->gauge_u_g);
    cr_expect(f->light_least_g == f0->light_least_g && f->light_most_g == f0->light_most_g);
    cr_expect(f->line_p == f0->line_p && f->soft_mm_per_100g == f0->soft_mm_per_100g);
    cr_expect(f->significance == f0->significance && f->bridge_deg == f0->bridge_deg);
    const rg_repeat_options *r = &s.repeat, *r0 = &test_repeat_options;
    cr_expect(r->coverage_factor == r0->coverage_factor && r->confidence == r0->confidence);
    cr_expect(r->significance == r0->significance && r->loose_tilt_mm == r0->loose_tilt_mm);
    cr_expect(r->soft_drift_mm == r0->soft_drift_mm && r->closings_least == r0->closings_least);
    cr_expect(r->axis_u_deg == r0->axis_u_deg && r->same_force_share == r0->same_force_share);
    free(text);
}

Test(config_keys, settings_that_cannot_be_are_refused_by_line)
{
    static const test_refusal bad[] = {
        {"turn_step = 0.125", "turn_step = 2", {"turn_step"}},
        {"light_most_g = 80", "light_most_g = 20", {"light_least_g"}},
        {"loose_tilt_mm = 0.012", "loose_tilt_mm = 0", {"loose_tilt_mm"}},
        {"closings_least = 10", "closings_least = 1.5", {"closings_least"}},
        {"line_p = 0.05", "line = 0.05", {"line"}},
        {"[repeat]", "[again]", {"repeat"}},
        {"coverage_factor = 2", "", {"coverage_factor"}},
        {"[keys]", "[more]\nx = 1\n[keys]", {"[more]", "keys, regulation, force, repeat"}},
    };
    char *text = test_text("calib/keys.ini");
    TEST_REFUSALS(parse, "k.ini", text, bad);
    free(text);
}

/* The application casts one into the other. */
Test(config_keys, fingers_have_the_order_of_a_sweep_s)
{
    cr_expect_eq((int)RG_PRESS_UNSTATED, (int)RG_FINGER_UNSTATED);
    cr_expect_eq((int)RG_PRESS_LIGHT, (int)RG_FINGER_LIGHT);
    cr_expect_eq((int)RG_PRESS_FIRM, (int)RG_FINGER_FIRM);
    cr_expect_eq((int)RG_PRESS_GRAMS, (int)RG_FINGER_GRAMS);
}

/*
 * Tests of config_study.h: calib/study.ini is what the program has built in, and
 * refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_study.h"

static rg_error err;
static rg_study_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    return rg_study_settings_parse(label, text, size, &s, why);
}

Test(config_study, calib_holds_the_built_in_defaults)
{
    rg_study_settings d = rg_study_defaults();
    char *text = test_text("calib/study.ini");
    cr_assert_eq(parse("study.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(s.confidence, d.confidence);
    cr_expect_eq(s.pool_above, d.pool_above);
    cr_expect_eq(s.accept_percent, d.accept_percent);
    cr_expect_eq(s.refuse_percent, d.refuse_percent);
    cr_expect_eq(s.opportunity_deg, d.opportunity_deg);
    cr_expect_eq(s.link, d.link);
    cr_expect_eq(s.axis, d.axis);
    cr_expect_eq(s.signal_axes, d.signal_axes);
    free(text);
}

Test(config_study, words_stand_for_the_enumerations)
{
    cr_expect_str_eq(rg_study_links[RG_LINK_LOGIT], "logit");
    cr_expect_str_eq(rg_study_links[RG_LINK_PROBIT], "probit");
    cr_expect_str_eq(rg_study_links[RG_LINK_CLOGLOG], "cloglog");
    cr_expect_str_eq(rg_study_axes[RG_AXIS_LINEAR], "linear");
    cr_expect_str_eq(rg_study_axes[RG_AXIS_LOG], "log");
    cr_expect_str_eq(rg_study_signal_axes[RG_SIGNAL_LINEAR], "linear");
    cr_expect_str_eq(rg_study_signal_axes[RG_SIGNAL_LOG_SIZE], "log-size");
    cr_expect_str_eq(rg_study_signal_axes[RG_SIGNAL_LOG_LOG], "log-log");
}

static rg_code changed(const char *from, const char *to)
{
    char *text = test_changed("calib/study.ini", from, to);
    rg_code code = parse("s.ini", text, strlen(text), &err);
    free(text);
    return code;
}

Test(config_study, values_are_taken)
{
    cr_assert_eq(changed("accept_percent = 10", "accept_percent = 12.5"), RG_OK, "%s", err.text);
    cr_expect_eq(s.accept_percent, 12.5);
    cr_assert_eq(changed("link = logit", "link = cloglog"), RG_OK);
    cr_expect_eq(s.link, RG_LINK_CLOGLOG);
    cr_assert_eq(changed("signal_axes = linear", "signal_axes = log-log"), RG_OK);
    cr_expect_eq(s.signal_axes, RG_SIGNAL_LOG_LOG);
    cr_assert_eq(changed("opportunity_deg = 12", "opportunity_deg = 30"), RG_OK);
    cr_expect_eq(s.opportunity_deg, 30);
}

Test(config_study, refusals_name_key_and_remedy)
{
    static const test_refusal row[] = {
        {"link = logit", "link = normal", {"probit"}},
        {"axis = log", "axis = both", {"linear"}},
        {"opportunity_deg = 12", "opportunity_deg = 0", {"opportunity_deg"}},
        {"opportunity_deg = 12", "", {"opportunity_deg"}},
        {"confidence = 0.95", "confidence = 95", {"confidence"}},
        {"refuse_percent = 30", "refuse_percent = 5", {"below accept_percent"}},
        {"[gauge]", "[gage]", {"gauge"}},
        {"[detect]", "[more]\n[detect]", {"[more]", "study, gauge, detect"}},
        {"pool_above = 0.25", "pool = 0.25", {"pool"}},
    };
    char *text = test_text("calib/study.ini");
    TEST_REFUSALS(parse, "s.ini", text, row);
    free(text);
}

/*
 * Tests of config_study.h: calib/study.ini is what the program has built in, and
 * refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config_study.h"
#include "rimglow/memory.h"
#include "support/load.h"

static rg_error err;
static rg_study_settings s;

static rg_code parse(const char *text)
{
    err = (rg_error){0};
    return rg_study_settings_parse("s.ini", text, strlen(text), &s, &err);
}

Test(config_study, calib_holds_the_built_in_defaults)
{
    rg_study_settings d = rg_study_defaults();
    test_bytes file = test_load("calib/study.ini");
    cr_assert_eq(rg_study_settings_parse("study.ini", (const char *)file.data, file.size, &s, &err),
                 RG_OK, "%s", err.text);
    cr_expect_eq(s.confidence, d.confidence);
    cr_expect_eq(s.pool_above, d.pool_above);
    cr_expect_eq(s.accept_percent, d.accept_percent);
    cr_expect_eq(s.refuse_percent, d.refuse_percent);
    cr_expect_eq(s.opportunity_deg, d.opportunity_deg);
    cr_expect_eq(s.link, d.link);
    cr_expect_eq(s.axis, d.axis);
    cr_expect_eq(s.signal_axes, d.signal_axes);
    free(file.data);
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

/* calib/study.ini with one text replaced. */
static rg_code changed(const char *from, const char *to)
{
    test_bytes file = test_load("calib/study.ini");
    char *at = strstr((char *)file.data, from);
    cr_assert_not_null(at, "%s", from);
    size_t size = file.size + strlen(to) + 1;
    char *text = rg_alloc(size, 1);
    snprintf(text, size, "%.*s%s%s", (int)(at - (char *)file.data), (char *)file.data, to,
             at + strlen(from));
    rg_code code = parse(text);
    free(text);
    free(file.data);
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
    static const char *const row[][3] = {
        {"link = logit", "link = normal", "probit"},
        {"axis = log", "axis = both", "linear"},
        {"opportunity_deg = 12", "opportunity_deg = 0", "opportunity_deg"},
        {"opportunity_deg = 12", "", "opportunity_deg"},
        {"confidence = 0.95", "confidence = 95", "confidence"},
        {"refuse_percent = 30", "refuse_percent = 5", "below accept_percent"},
        {"[gauge]", "[gage]", "gauge"},
        {"[detect]", "[more]\n[detect]", "[more]"},
        {"pool_above = 0.25", "pool = 0.25", "pool"},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        cr_expect_eq(changed(row[i][0], row[i][1]), RG_BAD_DATA, "%s", row[i][1]);
        cr_expect_not_null(strstr(err.text, row[i][2]), "%s: %s", row[i][1], err.text);
    }
}

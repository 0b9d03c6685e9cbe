/*
 * Tests of config_pairs.h: calib/pairs.ini is read, and refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_pairs.h"

static rg_error err;
static rg_pairs_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_pairs_settings_parse(label, text, size, &s, why);
    cr_expect(code == RG_OK || (s.quality == 0 && s.margin_mm == 0), "a refused file sets nothing");
    return code;
}

Test(config_pairs, every_value_of_calib_is_taken_from_its_own_line)
{
    char *text = test_text("calib/pairs.ini");
    cr_assert_eq(parse("p.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(s.margin_mm, 2);
    cr_expect_eq(s.below_mm, 3);
    cr_expect_eq(s.quality, 92);
    cr_expect_eq(s.look_deg, 50);
    cr_expect_eq(s.size_mm[0], 0.025);
    cr_expect_eq(s.size_mm[1], 0.05);
    cr_expect_eq(s.size_mm[2], 0.1);
    cr_expect_eq(s.size_mm[3], 0.2);
    cr_expect_eq(s.most, 200);
    free(text);
}

Test(config_pairs, settings_that_cannot_be_are_refused_by_name)
{
    static const test_refusal bad[] = {
        {"margin_mm = 2", "margin_mm = -1", {"margin_mm = -1", "0 to 100"}},
        {"below_mm = 3", "", {"below_mm", "calib/pairs.ini"}},
        {"quality = 92", "quality = 101", {"quality = 101", "50 to 100"}},
        {"quality = 92", "quality = 92\nthumbnail = yes", {"thumbnail", "unknown key"}},
        {"look_deg = 50", "look_deg = nan", {"look_deg = nan", "finite"}},
        {"third_mm = 0.1", "third_mm = 0.05", {"third_mm = 0.05", "larger than second_mm = 0.05"}},
        {"most = 200", "most = 0", {"most = 0", "1 to 100000"}},
        {"[photo]", "[picture]", {"[photo]", "calib/pairs.ini"}},
    };
    char *text = test_text("calib/pairs.ini");
    TEST_REFUSALS(parse, "p.ini", text, bad);
    free(text);
}

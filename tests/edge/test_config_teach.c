/*
 * Tests of config_teach.h: calib/teach.ini is read, refusals name key and remedy.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_teach.h"

static rg_error err;
static rg_teach_settings s;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_teach_settings_parse(label, text, size, &s, why);
    cr_expect(code == RG_OK || s.width == 0, "a refused file sets nothing");
    return code;
}

static void range_is(rg_teach_slider which, const char *name, double low, double high, double step,
                     double start)
{
    const rg_teach_range *r = &s.slider[which];
    cr_expect_str_eq(rg_teach_slider_name(which), name);
    cr_expect(r->low == low && r->high == high && r->step == step && r->start == start,
              "%s = %g %g %g %g", name, r->low, r->high, r->step, r->start);
}

/* The values that lessons, tests and help speak of; the list of sizes is that of the lesson's title. */
Test(config_teach, calib_is_read)
{
    static const double size[] = {0.01, 0.02, 0.05, 0.10, 0.20};
    char *text = test_text("calib/teach.ini");
    cr_assert_eq(parse("teach.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    free(text);
    cr_expect_str_eq(s.plan, "teach-pad.ini");
    cr_expect(s.width == 640 && s.height == 400 && s.view == 1.5 && s.tall == 1.1 &&
              s.below == 0.15);
    cr_expect(s.seat_mm == 0.01 && s.light_grams == 50 && s.per_100g_mm == 0.03);
    cr_expect(s.crease_half_width_deg == 9 && s.collect_most == 24);
    cr_assert_eq(s.sizes, 5);
    for (int i = 0; i < 5; i++)
        cr_expect_eq(s.size_mm[i], size[i]);
    cr_assert_eq(s.elevations, 8);
    cr_expect(s.elevation_deg[0] == -2 && s.elevation_deg[7] == 4);
    range_is(RG_TEACH_GAP, "gap_mm", 0, 0.3, 0.005, 0.05);
    range_is(RG_TEACH_ARC, "arc_deg", 10, 180, 5, 60);
    range_is(RG_TEACH_BEARING, "bearing_deg", 0, 355, 5, 90);
    range_is(RG_TEACH_TILT, "tilt_mm", 0, 0.2, 0.005, 0);
    range_is(RG_TEACH_TILT_BEARING, "tilt_bearing_deg", 0, 355, 5, 180);
    range_is(RG_TEACH_SADDLE, "saddle_mm", 0, 0.1, 0.005, 0);
    range_is(RG_TEACH_SADDLE_BEARING, "saddle_bearing_deg", 0, 175, 5, 0);
    range_is(RG_TEACH_CREASE, "crease_mm", 0, 0.2, 0.005, 0);
    range_is(RG_TEACH_CREASE_BEARING, "crease_bearing_deg", 0, 355, 5, 30);
    range_is(RG_TEACH_GRAMS, "grams", 10, 400, 10, 50);
    range_is(RG_TEACH_ELEVATION, "elevation_deg", -2, 6, 0.1, 0);
    range_is(RG_TEACH_CAMERA, "camera_deg", 0, 355, 5, 90);
    range_is(RG_TEACH_LAMP, "lamp", 0, 2, 0.1, 1);
    range_is(RG_TEACH_UNEVEN, "uneven", 0, 0.9, 0.1, 0);
    range_is(RG_TEACH_LAMP_BEARING, "lamp_bearing_deg", 0, 355, 5, 0);
}

Test(config_teach, refusals_name_the_key)
{
    static const test_refusal bad[] = {
        {"width_px = 640", "width_px = 64", {"width_px = 64", "160 to 4096"}},
        {"width_px = 640", "", {"width_px"}},
        {"width_px = 640", "wide_px = 640", {"wide_px"}},
        {"view = 1.5", "view = 1", {"view = 1", "1.05"}},
        {"[finger]", "[fist]", {"[finger]"}},
        {"[finger]", "[fist]\n[finger]", {"[fist]"}},
        {"seat_mm = 0.01", "seat_mm = 0,01", {"0.01"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 0.3 0.005", {"gap_mm", "3 numbers", "start"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 0.3 0.005 0.05 1", {"gap_mm", "more than 4"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 0.3 x 0.05", {"gap_mm", "\"x\""}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 3 0.005 0.05", {"gap_mm", "from 0 to 2"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0.3 0.3 0.005 0.3", {"gap_mm", "rising"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 0.3 0 0.05", {"gap_mm", "step"}},
        {"gap_mm = 0 0.3 0.005 0.05", "gap_mm = 0 0.3 0.005 0.4", {"gap_mm", "start"}},
        {"sizes_mm = 0.01", "sizes_mm = 0.4", {"sizes_mm", "0.4", "0 to 0.3"}},
        {"elevations_deg = -2", "elevations_deg = -3", {"elevations_deg", "-3", "-2 to 6"}},
        {"sizes_mm = 0.01 0.02 0.05 0.10 0.20", "sizes_mm =", {"sizes_mm", "no number"}},
    };
    char *text = test_text("calib/teach.ini");
    TEST_REFUSALS(parse, "t.ini", text, bad);
    free(text);
}

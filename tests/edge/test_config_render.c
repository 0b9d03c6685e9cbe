/*
 * Tests of config_render.h: the plan in samples/ is read, sweeps take what they do not say from
 * [every sweep], and what cannot be rendered is refused by line.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_render.h"

static rg_error err;
static rg_render_plan plan;

static const char plan_path[] = "samples/render/PE-A-0152.ini";

static rg_code changed(const char *from, const char *to)
{
    char *text = test_changed(plan_path, from, to);
    rg_code code = rg_render_plan_parse("p.ini", text, strlen(text), &plan, &err);
    free(text);
    return code;
}

static const rg_render_sweep *sweep(const char *name)
{
    for (int i = 0; i < plan.sweeps; i++)
        if (strcmp(plan.sweep[i].name, name) == 0)
            return &plan.sweep[i];
    cr_assert_fail("no sweep %s", name);
    return NULL;
}

Test(config_render, the_sample_plan_is_read)
{
    cr_assert_eq(changed("seed = 152", "seed = 7"), RG_OK, "%s", err.text);
    cr_expect(plan.seed == 7 && plan.day == -1);
    cr_expect_str_eq(plan.serial, "PE-A-0152");
    const rg_render_sweep *s = sweep("08-G-light");
    cr_expect_str_eq(s->pad, "G");
    cr_expect(s->tilt_bearing_deg == 175 && s->press_mm == 0.02 && !s->open);
    cr_expect(s->finger == RG_FINGER_LIGHT && sweep("08-G-firm")->finger == RG_FINGER_FIRM);
    cr_expect(s->levels == 5 && s->elevation_deg[0] == -0.8 && s->elevation_deg[4] == 0.8);
    cr_expect(sweep("04-C-open")->open && sweep("04-C-open")->levels == 2);
    rg_render_plan_free(&plan);
}

Test(config_render, creases_and_streaks_are_lists)
{
    cr_assert_eq(changed("creases = ;", "creases = 75 5 0.06, 300 10 -0.02 ;"), RG_OK, "%s",
                 err.text);
    const rg_render_sweep *s = sweep("08-G-light");
    cr_assert_eq(s->creases, 2);
    cr_expect(s->crease[0].bearing_deg == 75 && s->crease[0].half_width_deg == 5);
    cr_expect(s->crease[1].depth_mm == -0.02);
    rg_render_plan_free(&plan);
    cr_assert_eq(changed("streaks = ;", "streaks = 40 3 0.5 -9 9 ;"), RG_OK, "%s", err.text);
    cr_expect(plan.sweep[0].streaks == 1 && plan.sweep[0].streak[0].low_mm == -9);
    rg_render_plan_free(&plan);
}

static const char frame_section[] =
    "\n[frame near]\nsweep = 08-G-light\ncracked = no\nbearing_deg = 175\n"
    "elevation_deg = 0.2\ndistance_mm = 80\nroll_deg = -3\nexposure = 0.5\n";

/* The sample plan with a frame of its own, changed once. */
static rg_code with_frame(const char *from, const char *to)
{
    char *text = test_text(plan_path), *all = malloc(strlen(text) + sizeof frame_section);
    cr_assert_not_null(all);
    strcpy(all, text);
    strcat(all, frame_section);
    char *new_text = malloc(strlen(all) + strlen(to) + 1), *at = strstr(all, from);
    cr_assert(at && new_text);
    sprintf(new_text, "%.*s%s%s", (int)(at - all), all, to, at + strlen(from));
    rg_code code = rg_render_plan_parse("p.ini", new_text, strlen(new_text), &plan, &err);
    free(text);
    free(all);
    free(new_text);
    return code;
}

Test(config_render, a_single_frame_shows_a_sweeps_scene_from_its_own_place)
{
    cr_assert_eq(with_frame("exposure = 0.5", "exposure = 0.25"), RG_OK, "%s", err.text);
    cr_assert_eq(plan.frames, 2);
    const rg_render_frame *f = &plan.frame[1];
    cr_expect_str_eq(f->name, "near");
    cr_expect_str_eq(f->sweep, "08-G-light");
    cr_expect(f->bearing_deg == 175 && f->elevation_deg == 0.2 && f->distance_mm == 80);
    cr_expect(f->roll_deg == -3 && f->exposure == 0.25 && !f->cracked);
    rg_render_plan_free(&plan);
    static const struct {
        const char *from, *to, *names;
    } bad[] = {{"sweep = 08-G-light\n", "sweep = 99\n", "no [sweep 99]"},
               {"[frame near]", "[frame 08-G-light]", "given twice"},
               {"[frame near]", "[frame ../x]", "folder"},
               {"roll_deg = -3\n", "", "roll_deg"},
               {"distance_mm = 80", "distance_mm = 2", "20 to 5000"},
               {"pad = G\nlevel_mm", "pad = *\nlevel_mm", "no [sweep 08-G-light] with a pad"}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        cr_expect_eq(with_frame(bad[i].from, bad[i].to), RG_BAD_DATA, "%s", bad[i].to);
        cr_expect(strstr(err.text, bad[i].names), "%s: %s", bad[i].to, err.text);
    }
}

Test(config_render, lens_and_format_are_the_plans)
{
    cr_assert_eq(changed("vignetting = 0", "vignetting = 0.25"), RG_OK, "%s", err.text);
    cr_expect(plan.sweep[0].falloff_power == 4 && plan.sweep[0].vignetting == 0.25);
    cr_expect_eq(plan.sweep[0].format, RG_RENDER_JPEG);
    cr_expect_eq(plan.frames, 1);
    rg_render_plan_free(&plan);
    cr_assert_eq(changed("format = jpeg", "format = png"), RG_OK, "%s", err.text);
    cr_expect_eq(plan.sweep[0].format, RG_RENDER_PNG);
    rg_render_plan_free(&plan);
}

static rg_code parse_and_free(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_render_plan_parse(label, text, size, &plan, why);
    cr_expect((code == RG_OK) == (plan.sweep != NULL), "a refused plan leaves memory behind");
    rg_render_plan_free(&plan);
    return code;
}

Test(config_render, a_plan_that_cannot_be_is_refused_by_line)
{
    static const test_refusal bad[] = {
        {"creases = ;", "creases = 75 5 ;", {"2 numbers where 3 are needed"}},
        {"creases = ;", "creases = 75 5 0.06 1 ;", {"each of them is 3 numbers"}},
        {"creases = ;", "creases = 75 0 0.06 ;", {"half width"}},
        {"streaks = ;", "streaks = 40 3 0.5 9 -9 ;", {"low below high"}},
        {"creases = ;", "creases = 75 5 9 ;", {"depth -5 to 5"}},
        {"streaks = ;", "streaks = 40 3 -1 -9 9 ;", {"light 0 to 1000"}},
        {"elevations_deg = -0.8, -0.4, 0, 0.4, 0.8", "elevations_deg =", {"no elevation"}},
        {"elevations_deg = -0.8,", "elevations_deg = -80,", {"-30 to 60"}},
        {"bearings = 10", "bearings = 0", {"bearings = 0"}},
        {"bearings = 10", "bearings = ten", {"whole number"}},
        {"[sweep 08-G-firm]", "[sweep ../08]", {"folder"}},
        {"[sweep 08-G-firm]", "[sweep  08-G-light]", {"given twice"}},
        {"[sweep 08-G-firm]", "[swep 08-G-firm]", {"[swep 08-G-firm]"}},
        {"finger = firm", "finger = hard", {"light, firm, unstated"}},
        {"date = none", "date = soon", {"date = soon"}},
        {"tilt_mm = 0.03", "tlt_mm = 0.03", {"tlt_mm"}},
        {"level_mm = -0.01", "level_mm = 20", {"-5 to 10"}},
        {"press_mm = 0.02", "", {"press_mm"}},
        {"format = jpeg", "format = tiff", {"format = tiff"}},
        {"vignetting = 0", "vignetting = 1", {"0 to 0.95"}},
        {"falloff_power = 4", "falloff_power = -1", {"0 to 16"}},
    };
    char *text = test_text(plan_path);
    TEST_REFUSALS(parse_and_free, "p.ini", text, bad);
    free(text);
}

/* The most frames that a sweep may have, RG_FRAMES_MAX with the witness, are more than 72 x 7. */
Test(config_render, more_frames_than_a_sweep_may_have_are_refused)
{
    cr_assert_eq(
        changed("elevations_deg = -0.8, -0.4, 0, 0.4, 0.8\n", "elevations_deg = 1,2,3,4,5,6,7,8\n"),
        RG_OK, "%s", err.text);
    rg_render_plan_free(&plan);
    cr_assert_eq(changed("bearings = 10\nelevations_deg = -0.8, -0.4, 0, 0.4, 0.8",
                         "bearings = 72\nelevations_deg = 1,2,3,4,5,6,7,8"),
                 RG_BAD_DATA);
    cr_expect(strstr(err.text, "more than 512 frames"), "%s", err.text);
    cr_assert_eq(changed("bearings = 10\nelevations_deg = -0.8, -0.4, 0, 0.4, 0.8",
                         "bearings = 72\nelevations_deg = 1,2,3,4,5,6,7"),
                 RG_OK, "%s", err.text);
    rg_render_plan_free(&plan);
}

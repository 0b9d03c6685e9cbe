/*
 * Tests of config_quiz.h: calib/quiz.ini is read, holds what the tests of the core use, and refusals name key and
 * remedy. Also that the quiz and the renderer mean the same pad.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config_diagnosis.h"
#include "rimglow/config_quiz.h"
#include "rimglow/synth.h"
#include "support/quiz.h"

static rg_error err;
static rg_quiz_options o;

static rg_code parse(const char *label, const char *text, size_t size, rg_error *why)
{
    rg_code code = rg_quiz_options_parse(label, text, size, 1.5, &o, why);
    cr_expect(code == RG_OK || o.classes == 0, "a refused file sets nothing");
    return code;
}

Test(config_quiz, calib_is_what_the_tests_use)
{
    char *text = test_text("calib/quiz.ini");
    rg_quiz_options wanted = test_quiz_options();
    cr_assert_eq(parse("q.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect_eq(o.classes, wanted.classes);
    for (int i = 0; i < wanted.classes; i++)
        cr_expect_eq(o.upto_mm[i], wanted.upto_mm[i], "%d", i);
#define SAME(member)      cr_expect(o.member == wanted.member, #member)
#define SAME_ENDS(member) cr_expect(memcmp(o.member, wanted.member, sizeof o.member) == 0, #member)
    SAME(least_mm);
    SAME(widest_mm);
    SAME(press_most_mm);
    SAME(overhang_mm);
    SAME(hinge_deg);
    SAME(hinge_apart_deg);
    SAME(crease_least_deg);
    SAME(crease_most_deg);
    SAME(views);
    SAME(height_share);
    SAME_ENDS(facing_deg);
    SAME_ENDS(height_deg);
    SAME_ENDS(other_high_deg);
    SAME_ENDS(inside_share);
    SAME_ENDS(uneven);
    SAME_ENDS(streaks);
    SAME_ENDS(glare);
    SAME_ENDS(dim);
    SAME(streak_width_deg);
    SAME(streak_light);
    SAME(streak_low_mm);
    SAME(streak_high_mm);
    SAME(bearing_least_deg);
    SAME(extent_share);
    SAME(levels);
    SAME(first_level);
    SAME(first_step);
    SAME(step);
    SAME(right_in_row);
    SAME(coarse_reversals);
    SAME(window);
    SAME(exam_cases);
    SAME(exam_level);
    SAME(pass_share);
    SAME(confidence);
    free(text);
}

Test(config_quiz, values_are_taken_from_their_own_lines)
{
    char *text = test_changed("calib/quiz.ini", "upto_mm = 0.025 0.05 0.10 0.20", "upto_mm = 0.04");
    cr_assert_eq(parse("q.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect(o.classes == 3 && o.upto_mm[1] == 0.04);
    free(text);
    text = test_changed("calib/quiz.ini", "facing_deg = 55", "facing_deg = 44");
    cr_assert_eq(parse("q.ini", text, strlen(text), &err), RG_OK, "%s", err.text);
    cr_expect(o.facing_deg[0] == 10 && o.facing_deg[1] == 44);
    free(text);
}

Test(config_quiz, settings_that_cannot_be_are_refused_by_name)
{
    static const test_refusal bad[] = {
        {"upto_mm = 0.025 0.05", "upto_mm = 0.05 0.025", {"0.025 follows 0.05"}},
        {"upto_mm = 0.025", "upto_mm = 0,025", {"upto_mm", "\"0,025\" is no number"}},
        {"upto_mm = 0.025", "upto_mm = 0.011", {"least_mm = 0.012"}},
        {"upto_mm = 0.025 0.05 0.10 0.20",
         "upto_mm = 0.02 0.03 0.04 0.05 0.06 0.07 0.08",
         {"upto_mm", "at most 6 edges"}},
        {"widest_mm = 0.35", "widest_mm = 0.2", {"widest_mm = 0.2", "last edge, 0.2 mm"}},
        {"press_most_mm = 0.4", "press_most_mm = 0.05", {"press_most_mm = 0.05"}},
        {"crease_most_deg = 20",
         "crease_most_deg = 8",
         {"crease_most_deg = 8", "crease_least_deg"}},
        {"count = 3", "count = 5", {"count = 5", "1 to 4"}},
        {"facing_deg = 55", "facing_deg = 61", {"[hard] facing_deg = 61", "0 to 60"}},
        {"dim = 1", "dim = 0", {"[easy] dim = 0", "0.05 to 1"}},
        {"first_level = 2", "first_level = 11", {"first_level = 11", "1 to 10"}},
        {"cases = 28", "cases = 6", {"cases = 6", "7 to 200"}},
        {"level = 4", "level = 40", {"exam_level = 40", "1 to 10"}},
        {"pass_share = 0.7", "pass_share = nan", {"pass_share = nan", "finite"}},
        {"low_mm = -6", "low_mm = -0.3", {"streak_low_mm = -0.3", "streak_high_mm = -0.4"}},
        {"pass_share = 0.7", "", {"pass_share", "calib/quiz.ini"}},
        {"pass_share = 0.7", "pass_share = 0.7\ngrade = 1", {"grade", "unknown key"}},
        {"\n[hard]", "\n[harder]", {"[hard"}},
    };
    char *text = test_text("calib/quiz.ini");
    TEST_REFUSALS(parse, "q.ini", text, bad);
    free(text);
}

Test(config_quiz, the_hinge_is_that_of_the_diagnosis)
{
    char *text = test_text("calib/quiz.ini"), *other = test_text("calib/diagnosis.ini");
    rg_diagnosis_options d;
    cr_assert_eq(parse("q.ini", text, strlen(text), &err), RG_OK);
    cr_assert_eq(rg_diagnosis_options_parse("d.ini", other, strlen(other), &d, &err), RG_OK);
    cr_expect_eq(o.hinge_deg, d.hinge_deg);
    free(other);
    free(text);
}

/* synth.h describes the pad in the same words; the two share no code. */
Test(config_quiz, the_renderer_draws_the_same_gap)
{
    rg_quiz_options options = test_quiz_options();
    for (uint64_t seed = 0; seed < 300; seed++) {
        rg_quiz_case c;
        rg_synth_scene scene;
        double width[360], drawn[360];
        cr_assert_eq(rg_quiz_draw(&options, seed, 5, RG_QUIZ_CAUSES, -1, &c, &err), RG_OK);
        rg_synth_scene_default(&scene);
        scene.pad = (rg_synth_pad){
            .level_mm = c.level_mm,
            .tilt_mm = c.tilt_mm,
            .tilt_bearing_deg = c.tilt_bearing_deg,
            .saddle_mm = c.saddle_mm,
            .saddle_bearing_deg = c.saddle_bearing_deg,
            .creases = c.crease_mm > 0,
            .crease = {{c.crease_bearing_deg, c.crease_half_width_deg, c.crease_mm}}};
        rg_quiz_widths(&c, width);
        rg_synth_widths(&scene, drawn);
        for (int b = 0; b < 360; b++)
            cr_assert_float_eq(width[b], drawn[b], 1e-12, "%d of seed %d", b, (int)seed);
    }
}

/*
 * config_quiz.c - settings of the quiz.
 */
#include "rimglow/config_quiz.h"

#include <stdlib.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/text.h"

#define OPTION(member) offsetof(rg_quiz_options, member)

/* [easy] and [hard] have the same keys: two ends of the same values. */
#define ENDS(key, member, low, high, meaning)                                                      \
    {"easy", key, RG_INI_NUMBER, OPTION(member[0]), low, high, meaning},                           \
    {                                                                                              \
        "hard", key, RG_INI_NUMBER, OPTION(member[1]), low, high, meaning                          \
    }

static const rg_ini_field field[] = {
    {"classes", "upto_mm", RG_INI_OWN, 0, 0, 0, "upper edges of the width classes, mm"},
    {"classes", "least_mm", RG_INI_NUMBER, OPTION(least_mm), 0.001, 1, "narrowest gap, mm"},
    {"classes", "widest_mm", RG_INI_NUMBER, OPTION(widest_mm), 0.001, 2, "widest gap, mm"},
    {"pad", "press_most_mm", RG_INI_NUMBER, OPTION(press_most_mm), 0.05, 2,
     "how deep the pad may be pressed, mm"},
    {"pad", "hinge_deg", RG_INI_NUMBER, OPTION(hinge_deg), 1, 45,
     "bearings that are the hinge's, degrees to either side"},
    {"pad", "hinge_apart_deg", RG_INI_NUMBER, OPTION(hinge_apart_deg), 0, 40,
     "how much farther off another tilt keeps, degrees"},
    {"pad", "crease_least_deg", RG_INI_NUMBER, OPTION(crease_least_deg), 4, 60,
     "smallest half width of a crease, degrees"},
    {"pad", "crease_most_deg", RG_INI_NUMBER, OPTION(crease_most_deg), 4, 60,
     "largest half width of a crease, degrees"},
    {"views", "count", RG_INI_WHOLE, OPTION(views), 1, RG_QUIZ_VIEWS_MAX, "pictures of a case"},
    {"views", "height_share", RG_INI_NUMBER, OPTION(height_share), 0, 1,
     "share of the elevation that hides the gap"},
    ENDS("facing_deg", facing_deg, 0, 60, "bearing of the nearest camera off the gap, degrees"),
    ENDS("height_deg", height_deg, 0, 30, "elevation of the nearest camera, degrees"),
    ENDS("other_high_deg", other_high_deg, 0, 30, "elevation of the other cameras, degrees"),
    ENDS("inside_share", inside_share, 0, 0.45, "share of a class that is kept off its edges"),
    ENDS("uneven", uneven, 0, 0.9, "unevenness of the lamp"),
    ENDS("streaks", streaks, 0, RG_QUIZ_VIEWS_MAX, "reflections in the chimney"),
    ENDS("glare", glare, 0, 0.4, "share of the light that veils the picture"),
    ENDS("dim", dim, 0.05, 1, "radiance of the lamp, times"),
    {"reflections", "width_deg", RG_INI_NUMBER, OPTION(streak_width_deg), 0.1, 90,
     "sigma of a reflection, degrees"},
    {"reflections", "light", RG_INI_NUMBER, OPTION(streak_light), 0, 1,
     "linear light of a reflection"},
    {"reflections", "low_mm", RG_INI_NUMBER, OPTION(streak_low_mm), -50, 0,
     "lower end of a reflection, mm"},
    {"reflections", "high_mm", RG_INI_NUMBER, OPTION(streak_high_mm), -50, 0,
     "upper end of a reflection, mm"},
    {"score", "extent_share", RG_INI_NUMBER, OPTION(extent_share), 0, 1,
     "share of half the gap's arc that a bearing may be off"},
    {"score", "bearing_least_deg", RG_INI_NUMBER, OPTION(bearing_least_deg), 1, 90,
     "degrees that a bearing may always be off"},
    {"practice", "levels", RG_INI_NUMBER, OPTION(levels), 2, 100, "hardest level"},
    {"practice", "first_level", RG_INI_NUMBER, OPTION(first_level), 1, 100,
     "level of the first case"},
    {"practice", "right_in_row", RG_INI_WHOLE, OPTION(right_in_row), 1, 10,
     "right answers in a row that make it harder"},
    {"practice", "first_step", RG_INI_NUMBER, OPTION(first_step), 0.01, 100, "first steps, levels"},
    {"practice", "step", RG_INI_NUMBER, OPTION(step), 0.01, 100, "later steps, levels"},
    {"practice", "coarse_reversals", RG_INI_WHOLE, OPTION(coarse_reversals), 0, 100,
     "turns of the level until steps get small"},
    {"practice", "window", RG_INI_WHOLE, OPTION(window), 2, 1000, "cases of the running share"},
    {"examination", "cases", RG_INI_WHOLE, OPTION(exam_cases), RG_QUIZ_CAUSES, RG_QUIZ_CASES_MAX,
     "cases of an examination"},
    {"examination", "level", RG_INI_NUMBER, OPTION(exam_level), 1, 100, "level of an examination"},
    {"examination", "pass_share", RG_INI_NUMBER, OPTION(pass_share), 0.01, 1,
     "share of right cases that passes"},
    {"examination", "confidence", RG_INI_NUMBER, OPTION(confidence), 0.5, 0.9999,
     "confidence of limits"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"classes", "pad",   "views",    "reflections", "easy",
                                           "hard",    "score", "practice", "examination", NULL};

/* The class "sealed" comes first, the one above the last edge last. */
static rg_code fill_classes(const rg_ini *ini, rg_quiz_options *o, rg_error *err)
{
    const rg_ini_entry *entry = rg_ini_find(ini, rg_ini_section_index(ini, "classes"), "upto_mm");
    char text[RG_INI_LINE], *rest = text;
    int edges = 0;
    rg_copy_text(text, sizeof text, entry->value);
    for (char *word; (word = strtok_r(rest, " \t", &rest)); edges++) {
        if (edges + 3 > RG_QUIZ_CLASSES_MAX)
            return rg_ini_fail(ini, entry, err, "at most %d edges", RG_QUIZ_CLASSES_MAX - 2);
        if (!rg_parse_double(word, &o->upto_mm[edges + 1]))
            return rg_ini_fail(ini, entry, err, "\"%s\" is no number; give mm with blanks between",
                               word);
    }
    o->classes = edges + 2;
    return edges > 0 ? RG_OK : rg_ini_fail(ini, entry, err, "give at least one edge in mm");
}

rg_code rg_quiz_options_parse(const char *label, const char *text, size_t size, double overhang_mm,
                              rg_quiz_options *options, rg_error *err)
{
    rg_ini *ini;
    rg_quiz_options filled = {.overhang_mm = overhang_mm};
    *options = (rg_quiz_options){0};
    rg_code code = rg_ini_read(label, "calib/quiz.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, &filled, err);
    if (code == RG_OK)
        code = fill_classes(ini, &filled, err);
    if (code == RG_OK && rg_quiz_check(&filled, err) != RG_OK) {
        rg_fail_prefix(err, label);
        code = RG_BAD_DATA;
    }
    if (code == RG_OK)
        *options = filled;
    rg_ini_free(ini);
    return code;
}

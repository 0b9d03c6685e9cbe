/*
 * config_keys.c - settings of regulation, finger force and repeatability.
 */
#include "rimglow/config_keys.h"

#include "config_private.h"

#define SETTING(member) offsetof(rg_keys_settings, member)

static const rg_ini_field field[] = {
    {"keys", "coverage_factor", RG_INI_NUMBER, SETTING(regulation.coverage_factor), 1, 5,
     "k of U = k u"},
    {"keys", "same_force_share", RG_INI_NUMBER, SETTING(regulation.same_force_share), 0, 0.5,
     "share by which two forces may differ and still be the same"},
    {"regulation", "lever_ratio_share", RG_INI_NUMBER, SETTING(regulation.lever_ratio_share), 0,
     0.5, "relative standard uncertainty of a lever ratio"},
    {"regulation", "turn_step", RG_INI_NUMBER, SETTING(regulation.turn_step), 0.001, 1,
     "least part of a turn"},
    {"regulation", "cork_step_mm", RG_INI_NUMBER, SETTING(regulation.cork_step_mm), 0.001, 2,
     "steps of a cork's thickness, mm"},
    {"regulation", "bend_step_mm", RG_INI_NUMBER, SETTING(regulation.bend_step_mm), 0.001, 2,
     "steps of a bend, mm"},
    {"force", "light_least_g", RG_INI_NUMBER, SETTING(force.light_least_g), 0, 5000,
     "least force of a playing finger, grams"},
    {"force", "light_most_g", RG_INI_NUMBER, SETTING(force.light_most_g), 0.1, 5000,
     "largest force of a light finger, grams"},
    {"force", "gauge_u_g", RG_INI_NUMBER, SETTING(force.gauge_u_g), 0, 1000,
     "standard uncertainty of a stated force, grams"},
    {"force", "line_p", RG_INI_NUMBER, SETTING(force.line_p), 0, 0.5,
     "p-value below which gaps do not lie on a line"},
    {"force", "soft_mm_per_100g", RG_INI_NUMBER, SETTING(force.soft_mm_per_100g), 0.001, 10,
     "a soft pad sinks by more than this, mm per 100 g"},
    {"force", "tilt_significance", RG_INI_NUMBER, SETTING(force.significance), 0, 0.5,
     "p-value below which tilts differ"},
    {"force", "bridge_deg", RG_INI_NUMBER, SETTING(force.bridge_deg), 0, 90,
     "gaps that are closer are one, degrees"},
    {"repeat", "confidence", RG_INI_NUMBER, SETTING(repeat.confidence), 0.5, 0.9999,
     "confidence of intervals"},
    {"repeat", "significance", RG_INI_NUMBER, SETTING(repeat.significance), 0.0001, 0.2,
     "p-value at or below which scatter and drift count"},
    {"repeat", "loose_tilt_mm", RG_INI_NUMBER, SETTING(repeat.loose_tilt_mm), 0.001, 1,
     "scatter of the tilt above which a key is loose, mm"},
    {"repeat", "soft_drift_mm", RG_INI_NUMBER, SETTING(repeat.soft_drift_mm), 0.001, 1,
     "sinking from first to last closing above which a pad is soft, mm"},
    {"repeat", "closings_least", RG_INI_WHOLE, SETTING(repeat.closings_least), 2, RG_CLOSINGS_MAX,
     "closings without which nothing is called steady or soft"},
    {"repeat", "axis_u_deg", RG_INI_NUMBER, SETTING(repeat.axis_u_deg), 1, 45,
     "an axis of scatter that is known worse is not told, degrees"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"keys", "regulation", "force", "repeat", NULL};

rg_code rg_keys_settings_parse(const char *label, const char *text, size_t size,
                               rg_keys_settings *settings, rg_error *err)
{
    rg_ini *ini;
    rg_keys_settings s = {0};
    *settings = s;
    rg_code code = rg_ini_read(label, "calib/keys.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, &s, err);
    rg_ini_free(ini);
    if (code == RG_OK && !(s.force.light_most_g > s.force.light_least_g))
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: [force] light_most_g = %g does not lie above light_least_g = %g; "
                       "correct one",
                       label, s.force.light_most_g, s.force.light_least_g);
    if (code != RG_OK)
        return code;
    s.force.coverage_factor = s.repeat.coverage_factor = s.regulation.coverage_factor;
    s.repeat.same_force_share = s.regulation.same_force_share;
    *settings = s;
    return RG_OK;
}

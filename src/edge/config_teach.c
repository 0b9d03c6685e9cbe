/*
 * config_teach.c - the pad that rimglow teach draws.
 */
#include "rimglow/config_teach.h"

#include <string.h>

#include "config_private.h"
#include "rimglow/text.h"

#define SETTING(member) offsetof(rg_teach_settings, member)

static const rg_ini_field field[] = {
    {"picture", "plan", RG_INI_TEXT, SETTING(plan), 1, RG_TEACH_FILE,
     "plan for rimglow render, beside this file"},
    {"picture", "width_px", RG_INI_WHOLE, SETTING(width), 160, 4096, "width, px"},
    {"picture", "height_px", RG_INI_WHOLE, SETTING(height), 120, 4096, "height, px"},
    {"picture", "view", RG_INI_NUMBER, SETTING(view), 1.05, 10,
     "width that it shows, in widths of pad or crown"},
    {"picture", "tall", RG_INI_NUMBER, SETTING(tall), 1.05, 10,
     "height that it shows, in heights up to the crown's top"},
    {"picture", "below", RG_INI_NUMBER, SETTING(below), 0.02, 1,
     "what is shown below the rim, in pad diameters"},
    {"finger", "seat_mm", RG_INI_NUMBER, SETTING(seat_mm), 0, 1,
     "how deep the land sinks in at light_grams, mm"},
    {"finger", "light_grams", RG_INI_NUMBER, SETTING(light_grams), 1, 1000, "light finger, grams"},
    {"finger", "per_100g_mm", RG_INI_NUMBER, SETTING(per_100g_mm), 0, 1,
     "what 100 g more close, mm"},
    {"crease", "half_width_deg", RG_INI_NUMBER, SETTING(crease_half_width_deg), 1, 90,
     "half width of a crease, degrees"},
    {"collect", "most", RG_INI_WHOLE, SETTING(collect_most), 1, 200, "views kept of one pad"},
    {"sliders", "gap_mm", RG_INI_OWN, 0, 0, 2, "an opening's widest place"},
    {"sliders", "arc_deg", RG_INI_OWN, 0, 2, 360, "its length"},
    {"sliders", "bearing_deg", RG_INI_OWN, 0, 0, 360, "bearing of its middle"},
    {"sliders", "tilt_mm", RG_INI_OWN, 0, 0, 2, "tilt at the rim"},
    {"sliders", "tilt_bearing_deg", RG_INI_OWN, 0, 0, 360, "bearing that it raises"},
    {"sliders", "saddle_mm", RG_INI_OWN, 0, 0, 2, "saddle at the rim"},
    {"sliders", "saddle_bearing_deg", RG_INI_OWN, 0, 0, 360, "bearing that it raises"},
    {"sliders", "crease_mm", RG_INI_OWN, 0, 0, 2, "depth of a crease"},
    {"sliders", "crease_bearing_deg", RG_INI_OWN, 0, 0, 360, "its bearing"},
    {"sliders", "grams", RG_INI_OWN, 0, 1, 2000, "finger's force"},
    {"sliders", "elevation_deg", RG_INI_OWN, 0, -20, 30, "height of the camera"},
    {"sliders", "camera_deg", RG_INI_OWN, 0, 0, 360, "bearing of the camera"},
    {"sliders", "lamp", RG_INI_OWN, 0, 0, 10, "brightness of the lamp"},
    {"sliders", "uneven", RG_INI_OWN, 0, 0, 1, "how far the lamp lies to one side"},
    {"sliders", "lamp_bearing_deg", RG_INI_OWN, 0, 0, 360, "side on which it lies"},
    {"lessons", "sizes_mm", RG_INI_OWN, 0, 0, 0, "gaps side by side, mm"},
    {"lessons", "elevations_deg", RG_INI_OWN, 0, 0, 0, "heights of the camera, degrees"},
};
enum { FIELDS = sizeof field / sizeof field[0], FIRST_SLIDER = 11 };
static const rg_ini_table table = {field, FIELDS};
static const char *const section_name[] = {"picture", "finger",  "crease", "collect",
                                           "sliders", "lessons", NULL};

_Static_assert(FIRST_SLIDER + RG_TEACH_SLIDERS + 2 == FIELDS, "a row for each slider");

const char *rg_teach_slider_name(rg_teach_slider slider)
{
    return field[FIRST_SLIDER + (int)slider].key;
}

/* Numbers with blanks between them. */
static rg_code read_numbers(const rg_ini *ini, const rg_ini_entry *entry, int most, double *number,
                            int *count, rg_error *err)
{
    char text[RG_INI_LINE], *rest = NULL;
    rg_copy_text(text, sizeof text, entry->value);
    *count = 0;
    for (char *w = strtok_r(text, " \t", &rest); w; w = strtok_r(NULL, " \t", &rest)) {
        if (*count == most)
            return rg_ini_fail(ini, entry, err, "more than %d numbers", most);
        if (!rg_parse_double(w, &number[(*count)++]))
            return rg_ini_fail(ini, entry, err, "\"%s\" is no number; blanks stand between them",
                               w);
    }
    return RG_OK;
}

static rg_code fill_slider(const rg_ini *ini, rg_teach_slider s, rg_teach_range *range,
                           rg_error *err)
{
    double v[4];
    int count;
    const rg_ini_field *f = &field[FIRST_SLIDER + (int)s];
    const rg_ini_entry *e = rg_ini_find(ini, rg_ini_section_index(ini, f->section), f->key);
    rg_code code = read_numbers(ini, e, 4, v, &count, err);
    if (code != RG_OK)
        return code;
    if (count != 4)
        return rg_ini_fail(ini, e, err, "%d numbers; from, to, step and start are needed", count);
    if (!(v[0] >= f->low && v[1] <= f->high && v[0] < v[1]))
        return rg_ini_fail(ini, e, err, "from %g to %g, rising, is possible", f->low, f->high);
    if (!(v[2] > 0 && v[2] <= v[1] - v[0] && v[3] >= v[0] && v[3] <= v[1]))
        return rg_ini_fail(ini, e, err, "the step is above 0 and the start lies between the ends");
    *range = (rg_teach_range){v[0], v[1], v[2], v[3]};
    return RG_OK;
}

/* What a lesson shows must lie where its slider goes. */
static rg_code fill_list(const rg_ini *ini, const char *key, const rg_teach_range *range,
                         double *number, int *count, rg_error *err)
{
    const rg_ini_entry *e = rg_ini_find(ini, rg_ini_section_index(ini, "lessons"), key);
    rg_code code = read_numbers(ini, e, RG_TEACH_STEPS, number, count, err);
    if (code == RG_OK && *count == 0)
        return rg_ini_fail(ini, e, err, "no number; 1 to %d are needed", RG_TEACH_STEPS);
    for (int i = 0; code == RG_OK && i < *count; i++)
        if (!(number[i] >= range->low && number[i] <= range->high))
            code = rg_ini_fail(ini, e, err, "%g; the slider goes from %g to %g", number[i],
                               range->low, range->high);
    return code;
}

static rg_code fill(const rg_ini *ini, rg_teach_settings *s, rg_error *err)
{
    rg_code code = rg_ini_fill_sections(ini, table, section_name, s, err);
    for (int i = 0; code == RG_OK && i < RG_TEACH_SLIDERS; i++)
        code = fill_slider(ini, (rg_teach_slider)i, &s->slider[i], err);
    if (code == RG_OK)
        code = fill_list(ini, "sizes_mm", &s->slider[RG_TEACH_GAP], s->size_mm, &s->sizes, err);
    if (code == RG_OK)
        code = fill_list(ini, "elevations_deg", &s->slider[RG_TEACH_ELEVATION], s->elevation_deg,
                         &s->elevations, err);
    return code;
}

rg_code rg_teach_settings_parse(const char *label, const char *text, size_t size,
                                rg_teach_settings *settings, rg_error *err)
{
    rg_ini *ini;
    rg_teach_settings filled = {0};
    *settings = filled;
    rg_code code = rg_ini_read(label, "calib/teach.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, &filled, err);
    if (code == RG_OK)
        *settings = filled;
    rg_ini_free(ini);
    return code;
}

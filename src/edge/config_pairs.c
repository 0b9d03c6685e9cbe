/*
 * config_pairs.c - how archived photographs are shown for teaching.
 */
#include "rimglow/config_pairs.h"

#include "config_private.h"

#define SETTING(member) offsetof(rg_pairs_settings, member)

static const rg_ini_field field[] = {
    {"photo", "margin_mm", RG_INI_NUMBER, SETTING(margin_mm), 0, 100,
     "left round cup and crown, mm"},
    {"photo", "below_mm", RG_INI_NUMBER, SETTING(below_mm), 0, 100, "left below the rim, mm"},
    {"photo", "quality", RG_INI_WHOLE, SETTING(quality), 50, 100, "JPEG quality"},
    {"choice", "look_deg", RG_INI_NUMBER, SETTING(look_deg), 5, 85,
     "largest obliquity of a look at the gap, degrees"},
    {"size", "first_mm", RG_INI_NUMBER, SETTING(size_mm[0]), 0.001, 10, "edge of a class, mm"},
    {"size", "second_mm", RG_INI_NUMBER, SETTING(size_mm[1]), 0.001, 10, "edge of a class, mm"},
    {"size", "third_mm", RG_INI_NUMBER, SETTING(size_mm[2]), 0.001, 10, "edge of a class, mm"},
    {"size", "fourth_mm", RG_INI_NUMBER, SETTING(size_mm[3]), 0.001, 10, "edge of a class, mm"},
    {"handing out", "most", RG_INI_WHOLE, SETTING(most), 1, 100000, "cases written at most"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"photo", "choice", "size", "handing out", NULL};

static rg_code check_sizes(const rg_ini *ini, const rg_pairs_settings *s, rg_error *err)
{
    static const char *const key[RG_PAIRS_SIZES] = {"first_mm", "second_mm", "third_mm",
                                                    "fourth_mm"};
    int section = rg_ini_section_index(ini, "size");
    for (int i = 1; i < RG_PAIRS_SIZES; i++)
        if (!(s->size_mm[i] > s->size_mm[i - 1]))
            return rg_ini_fail(ini, rg_ini_find(ini, section, key[i]), err,
                               "must be larger than %s = %g", key[i - 1], s->size_mm[i - 1]);
    return RG_OK;
}

rg_code rg_pairs_settings_parse(const char *label, const char *text, size_t size,
                                rg_pairs_settings *settings, rg_error *err)
{
    rg_ini *ini;
    rg_pairs_settings filled = {0};
    *settings = filled;
    rg_code code = rg_ini_read(label, "calib/pairs.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, &filled, err);
    if (code == RG_OK)
        code = check_sizes(ini, &filled, err);
    if (code == RG_OK)
        *settings = filled;
    rg_ini_free(ini);
    return code;
}

/*
 * config_study.c - settings of gauge and detection studies.
 */
#include "rimglow/config_study.h"

#include <string.h>

#include "config_private.h"

const char *const rg_study_links[] = {"logit", "probit", "cloglog", NULL};
const char *const rg_study_axes[] = {"linear", "log", NULL};
const char *const rg_study_signal_axes[] = {"linear", "log-size", "log-log", NULL};

#define SETTING(member) offsetof(rg_study_settings, member)

static const rg_ini_field field[] = {
    {"study", "confidence", RG_INI_NUMBER, SETTING(confidence), 0.5, 0.999,
     "confidence of intervals and bounds"},
    {"gauge", "pool_above", RG_INI_NUMBER, SETTING(pool_above), 0, 1,
     "p-value of the interaction above which it is pooled"},
    {"gauge", "accept_percent", RG_INI_NUMBER, SETTING(accept_percent), 0, 100,
     "percent of study variation up to which a gauge is accepted"},
    {"gauge", "refuse_percent", RG_INI_NUMBER, SETTING(refuse_percent), 0, 100,
     "percent of study variation above which a gauge is refused"},
    {"detect", "opportunity_deg", RG_INI_WHOLE, SETTING(opportunity_deg), 1, 360,
     "degrees of bearing for each opportunity"},
    {"detect", "link", RG_INI_OWN, SETTING(link), 0, 0, "link: logit, probit or cloglog"},
    {"detect", "axis", RG_INI_OWN, SETTING(axis), 0, 0, "size axis: linear or log"},
    {"detect", "signal_axes", RG_INI_OWN, SETTING(signal_axes), 0, 0,
     "axes of signals: linear, log-size or log-log"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

static rg_code take_choice(const rg_ini *ini, const char *key, const char *const *word, int *value,
                           rg_error *err)
{
    const rg_ini_entry *entry = rg_ini_find(ini, rg_ini_section_index(ini, "detect"), key);
    for (int i = 0; word[i]; i++)
        if (strcmp(word[i], entry->value) == 0) {
            *value = i;
            return RG_OK;
        }
    return rg_ini_fail(ini, entry, err, "write one of %s, %s%s%s", word[0], word[1],
                       word[2] ? ", " : "", word[2] ? word[2] : "");
}

static rg_code fill(const rg_ini *ini, rg_study_settings *s, rg_error *err)
{
    static const char *const section[] = {"study", "gauge", "detect", NULL};
    rg_code code = rg_ini_fill_sections(ini, table, section, s, err);
    if (code == RG_OK)
        code = take_choice(ini, "link", rg_study_links, &s->link, err);
    if (code == RG_OK)
        code = take_choice(ini, "axis", rg_study_axes, &s->axis, err);
    if (code == RG_OK)
        code = take_choice(ini, "signal_axes", rg_study_signal_axes, &s->signal_axes, err);
    return code;
}

rg_code rg_study_settings_parse(const char *label, const char *text, size_t size,
                                rg_study_settings *settings, rg_error *err)
{
    rg_ini *ini;
    rg_study_settings filled = {0};
    *settings = filled;
    rg_code code = rg_ini_read(label, "calib/study.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = fill(ini, &filled, err);
    if (code == RG_OK && filled.refuse_percent < filled.accept_percent)
        code =
            rg_fail(err, RG_BAD_DATA,
                    "%s: [gauge] refuse_percent = %g lies below accept_percent = %g; correct one",
                    label, filled.refuse_percent, filled.accept_percent);
    if (code == RG_OK)
        *settings = filled;
    rg_ini_free(ini);
    return code;
}

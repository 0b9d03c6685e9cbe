/*
 * config_diagnosis.c - settings of the diagnosis.
 */
#include "rimglow/config_diagnosis.h"

#include "config_private.h"

#define OPTION(member) offsetof(rg_diagnosis_options, member)

static const rg_ini_field field[] = {
    {"shape", "correlation_deg", RG_INI_NUMBER, OPTION(shape.correlation_deg), 0.1, 180,
     "degrees over which errors hang together"},
    {"shape", "common_share", RG_INI_NUMBER, OPTION(shape.common_share), 0, 0.99,
     "share of the variance that all bearings have in common"},
    {"shape", "u_floor_mm", RG_INI_NUMBER, OPTION(shape.u_floor_mm), 1e-9, 1,
     "smallest standard uncertainty of a width, mm"},
    {"shape", "uneven_mm", RG_INI_NUMBER, OPTION(shape.uneven_mm), 0, 1,
     "unevenness of a pad's face, mm"},
    {"shape", "least_open_deg", RG_INI_NUMBER, OPTION(shape.least_open_deg), 5, 360,
     "fewest open bearings that fix a shape, degrees"},
    {"shape", "fixed_u_mm", RG_INI_NUMBER, OPTION(shape.fixed_u_mm), 0, 10,
     "standard uncertainty up to which a term is fixed, mm"},
    {"shape", "significance", RG_INI_NUMBER, OPTION(shape.significance), 0, 1,
     "p below which a term differs from zero"},
    {"shape", "press_mm", RG_INI_NUMBER, OPTION(shape.press_mm), 0, 100,
     "how deep a pad may be pressed, mm"},
    {"shape", "coverage_factor", RG_INI_NUMBER, OPTION(shape.coverage_factor), 1, 6,
     "k of local places"},
    {"shape", "local_least_deg", RG_INI_NUMBER, OPTION(shape.local_least_deg), 1, 360,
     "shortest local place, degrees"},
    {"shape", "local_most_deg", RG_INI_NUMBER, OPTION(shape.local_most_deg), 1, 360,
     "longest local place, degrees"},
    {"faults", "fault_share", RG_INI_NUMBER, OPTION(fault_share), 0, 100,
     "share of the tolerance below which a term is no fault"},
    {"faults", "hinge_deg", RG_INI_NUMBER, OPTION(hinge_deg), 0, 90,
     "bearings that are the hinge's, degrees to either side"},
    {"faults", "dirt_deg", RG_INI_NUMBER, OPTION(dirt_deg), 0, 180,
     "bearings whose tilt is the work of dirt, degrees to either side"},
    {"faults", "twin_deg", RG_INI_NUMBER, OPTION(twin_deg), 0, 180,
     "longest contact between two openings, degrees"},
    {"faults", "same_deg", RG_INI_NUMBER, OPTION(same_deg), 0, 90,
     "distance of one opening on two pads, degrees"},
    {"corrections", "round_mm", RG_INI_NUMBER, OPTION(round_mm), 1e-6, 1,
     "step of corrections, mm"},
    {"corrections", "shim_most_mm", RG_INI_NUMBER, OPTION(shim_most_mm), 0, 10,
     "thickest shim, mm"},
    {"corrections", "replace_most_mm", RG_INI_NUMBER, OPTION(replace_most_mm), 0, 10,
     "widest local opening that is pressed out, mm"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"shape", "faults", "corrections", NULL};

rg_code rg_diagnosis_options_parse(const char *label, const char *text, size_t size,
                                   rg_diagnosis_options *options, rg_error *err)
{
    rg_ini *ini;
    rg_diagnosis_options filled = {0};
    *options = filled;
    rg_code code = rg_ini_read(label, "calib/diagnosis.ini", text, size, &ini, err);
    if (code != RG_OK)
        return code;
    code = rg_ini_fill_sections(ini, table, section_name, &filled, err);
    if (code == RG_OK && filled.shape.local_most_deg < filled.shape.local_least_deg)
        code =
            rg_fail(err, RG_BAD_DATA,
                    "%s: [shape] local_most_deg = %g lies below local_least_deg = %g; correct one",
                    label, filled.shape.local_most_deg, filled.shape.local_least_deg);
    if (code == RG_OK)
        *options = filled;
    rg_ini_free(ini);
    return code;
}

/*
 * config_station.c - the station file: camera, lens, response, lamp, limits.
 *
 * The red, green and blue weights of linear light must sum to one, as those
 * of the luminance Y do (IEC 61966-2-1), or every flux would be scaled.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "config_private.h"

#define STATION(member) offsetof(rg_station, member)

static const rg_ini_field field[] = {
    {"station", "name", RG_INI_TEXT, STATION(name), 1, RG_NAME_SIZE, "station's name"},
    {"lens", "width_px", RG_INI_WHOLE, STATION(lens.width), 16, 16384, "picture's width, px"},
    {"lens", "height_px", RG_INI_WHOLE, STATION(lens.height), 16, 16384, "picture's height, px"},
    {"lens", "fx_px", RG_INI_NUMBER, STATION(lens.fx), 10, 1e6, "focal length across, px"},
    {"lens", "fy_px", RG_INI_NUMBER, STATION(lens.fy), 10, 1e6, "focal length down, px"},
    {"lens", "cx_px", RG_INI_NUMBER, STATION(lens.cx), 0, 16384, "optical centre across, px"},
    {"lens", "cy_px", RG_INI_NUMBER, STATION(lens.cy), 0, 16384, "optical centre down, px"},
    {"lens", "k1", RG_INI_NUMBER, STATION(lens.k1), -10, 10, "radial distortion k1"},
    {"lens", "k2", RG_INI_NUMBER, STATION(lens.k2), -1000, 1000, "radial distortion k2"},
    {"lens", "p1", RG_INI_NUMBER, STATION(lens.p1), -1, 1, "tangential distortion p1"},
    {"lens", "p2", RG_INI_NUMBER, STATION(lens.p2), -1, 1, "tangential distortion p2"},
    {"lens", "k3", RG_INI_NUMBER, STATION(lens.k3), -1e5, 1e5, "radial distortion k3"},
    {"lens", "scale_u", RG_INI_NUMBER, STATION(scale_u), 0, 0.5,
     "relative standard uncertainty of the scale"},
    {"light", "weight_red", RG_INI_NUMBER, STATION(weights[0]), 0, 1, "weight of red light"},
    {"light", "weight_green", RG_INI_NUMBER, STATION(weights[1]), 0, 1, "weight of green light"},
    {"light", "weight_blue", RG_INI_NUMBER, STATION(weights[2]), 0, 1, "weight of blue light"},
    {"light", "saturation", RG_INI_NUMBER, STATION(saturation), 0.1, 1,
     "linear light taken as clipped"},
    {"light", "read_noise", RG_INI_NUMBER, STATION(read_noise), 0, 0.5,
     "noise at black, linear light"},
    {"light", "full_well", RG_INI_NUMBER, STATION(full_well), 10, 1e7, "electrons at full scale"},
    {"light", "glare_u", RG_INI_NUMBER, STATION(glare_u), 0, 1,
     "relative standard uncertainty of the witness's radiance"},
    {"light", "psf_sigma_px", RG_INI_NUMBER, STATION(psf_sigma_px), 0, 20,
     "blur, px (0: measured in each frame)"},
    {"light", "overexposed_light", RG_INI_NUMBER, STATION(overexposed_light), 0.01, 1,
     "linear light of paper white above which a frame is overexposed"},
    {"light", "dark_light", RG_INI_NUMBER, STATION(dark_light), 0, 1,
     "linear light of paper white below which a frame is too dark"},
    {"slot", "overhang_depth_mm", RG_INI_NUMBER, STATION(overhang_depth_mm), 0, 20,
     "pad overhang outside the land, mm (0: from the diameters)"},
    {"slot", "edge_radius_mm", RG_INI_NUMBER, STATION(edge_radius_mm), 0, 1,
     "rounding of the land's edges, mm"},
    {"crown", "max_reprojection_px", RG_INI_NUMBER, STATION(crown_limits.max_reprojection_px), 0.01,
     20, "largest reprojection error of a pose, px rms"},
    {"crown", "min_edges", RG_INI_WHOLE, STATION(crown_limits.min_edges), 2, 24,
     "smallest number of tag borders for a pose"},
    {"crown", "min_tag_side_px", RG_INI_NUMBER, STATION(crown_limits.min_tag_side_px), 8, 4096,
     "smallest side of a usable tag, px"},
    {"crown", "decimate", RG_INI_NUMBER, STATION(tag_options.decimate), 1, 4,
     "factor by which the tag search shrinks the picture"},
    {"crown", "refine", RG_INI_SWITCH, STATION(tag_options.refine), 0, 1,
     "first corners moved along gradients"},
    {"crown", "max_hamming", RG_INI_WHOLE, STATION(tag_options.max_hamming), 0, 2,
     "number of corrected bits in a tag"},
    {"crown", "min_margin", RG_INI_NUMBER, STATION(tag_options.min_margin), 0, 255,
     "smallest decision margin of a tag, grey codes"},
    {"crown", "blur_ratio", RG_INI_NUMBER, STATION(blur_ratio), 1, 100,
     "blur against the sharpest frame at which a frame is left out"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {"station", "lens", "light", "slot", "crown"};
enum { SECTIONS = sizeof section_name / sizeof section_name[0] };

static const rg_ini_entry *entry_of(const rg_ini *ini, const char *section, const char *key)
{
    return rg_ini_find(ini, rg_ini_section_index(ini, section), key);
}

static rg_code check_sections(const rg_ini *ini, rg_error *err)
{
    for (int i = 0; i < ini->sections; i++) {
        bool known = false;
        for (int k = 0; k < SECTIONS; k++) {
            known = known || strcmp(ini->section[i].name, section_name[k]) == 0;
        }
        if (!known) {
            return rg_ini_unknown_section(ini, i, "[station], [lens], [light], [slot] and [crown]",
                                          err);
        }
    }
    return RG_OK;
}

static rg_code check_light(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    double sum = s->weights[0] + s->weights[1] + s->weights[2];
    if (!(fabs(sum - 1) <= 1e-6)) {
        return rg_ini_fail(ini, entry_of(ini, "light", "weight_red"), err,
                           "weight_red, weight_green = %.9g and weight_blue = %.9g sum to %.9g; "
                           "they must sum to 1",
                           s->weights[1], s->weights[2], sum);
    }
    if (s->dark_light >= s->overexposed_light) {
        return rg_ini_fail(ini, entry_of(ini, "light", "dark_light"), err,
                           "not below overexposed_light = %.9g, so no frame could be right; lower "
                           "dark_light",
                           s->overexposed_light);
    }
    return RG_OK;
}

static rg_code check_crown(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    static const double factor[] = {1, 1.5, 2, 3, 4};
    for (size_t i = 0; i < sizeof factor / sizeof factor[0]; i++) {
        if (s->tag_options.decimate == factor[i]) {
            return RG_OK;
        }
    }
    return rg_ini_fail(ini, entry_of(ini, "crown", "decimate"), err,
                       "the tag search knows 1, 1.5, 2, 3 and 4; choose one of them");
}

static rg_code check_lens(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    char prefix[RG_ERROR_TEXT];
    if (rg_lens_check(&s->lens, err) == RG_OK) {
        return RG_OK;
    }
    snprintf(prefix, sizeof prefix, "%s: [lens]", ini->label);
    rg_fail_prefix(err, prefix);
    return RG_BAD_DATA;
}

static rg_code fill_station(const rg_ini *ini, rg_station *station, rg_error *err)
{
    rg_code code = check_sections(ini, err);
    for (int i = 0; i < SECTIONS && code == RG_OK; i++) {
        code = rg_ini_fill_named(ini, table, section_name[i], station, err);
    }
    if (code == RG_OK) {
        code = check_light(ini, station, err);
    }
    if (code == RG_OK) {
        code = check_crown(ini, station, err);
    }
    return code == RG_OK ? check_lens(ini, station, err) : code;
}

rg_code rg_station_parse(const char *label, const char *text, size_t size, rg_station *station,
                         rg_error *err)
{
    *station = (rg_station){0};
    rg_ini *ini;
    rg_code code = rg_ini_read(label, "calib/bench.ini", text, size, &ini, err);
    if (code != RG_OK) {
        return code;
    }
    rg_station filled = {0};
    code = fill_station(ini, &filled, err);
    if (code == RG_OK) {
        *station = filled;
    }
    rg_ini_free(ini);
    return code;
}

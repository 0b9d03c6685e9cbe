/*
 * config_station.c - the station file: camera, lens, response, lamp, limits.
 *
 * The weights of the red, green and blue codes must sum to one, as those of
 * JPEG's luma do (ITU-T T.871), or every flux would be scaled.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "config_private.h"
#include "rimglow/date.h"

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
    {"lens", "scale_u", RG_INI_NUMBER, STATION(measure.rocking.u_scale), 0, 0.5,
     "relative standard uncertainty of the scale"},
    {"light", "weight_red", RG_INI_NUMBER, STATION(measure.code_weights[0]), 0, 1,
     "weight of the red code in luma"},
    {"light", "weight_green", RG_INI_NUMBER, STATION(measure.code_weights[1]), 0, 1,
     "weight of the green code in luma"},
    {"light", "weight_blue", RG_INI_NUMBER, STATION(measure.code_weights[2]), 0, 1,
     "weight of the blue code in luma"},
    {"light", "psf_sigma_px", RG_INI_NUMBER, STATION(measure.psf_sigma_px), 0, 20,
     "blur, px (0: measured on the crown)"},
    {"light", "psf_factor", RG_INI_NUMBER, STATION(measure.psf_factor), 0.3, 3,
     "blur at the rim against the crown's borders"},
    {"light", "u_ln_psf", RG_INI_NUMBER, STATION(measure.rocking.u_ln_sigma), 0, 1,
     "relative standard uncertainty of the blur"},
    {"light", "overexposed_light", RG_INI_NUMBER, STATION(measure.overexposed_light), 0.01, 1,
     "linear light of paper white above which a frame is overexposed"},
    {"light", "dark_light", RG_INI_NUMBER, STATION(measure.dark_light), 0, 1,
     "linear light of paper white below which a frame is too dark"},
    {"slot", "overhang_mm", RG_INI_NUMBER, STATION(measure.overhang_mm), 0, 20,
     "pad overhang outside the land, mm (0: from the diameters)"},
    {"slot", "overhang_factor", RG_INI_NUMBER, STATION(measure.overhang_factor), 0.1, 3,
     "how much of the overhang the light sees"},
    {"slot", "land_reflectance", RG_INI_NUMBER, STATION(measure.land_reflectance), 0, 1,
     "share of light that the land reflects at grazing incidence"},
    {"slot", "pad_glow", RG_INI_NUMBER, STATION(measure.pad_glow), 0, 1,
     "share of the land's depth over which the pad glows"},
    {"slot", "shoulder_mm", RG_INI_NUMBER, STATION(measure.shoulder_mm), 0, 5,
     "distance outside the land at which a bulge of the pad begins, mm"},
    {"slot", "model_floor_mm", RG_INI_NUMBER, STATION(measure.rocking.model_floor_mm), 0, 0.1,
     "standard uncertainty of the slot model, mm"},
    {"slot", "model_relative", RG_INI_NUMBER, STATION(measure.rocking.model_relative), 0, 1,
     "the same, relative to the open height"},
    {"slot", "oblique_mm", RG_INI_NUMBER, STATION(measure.rocking.oblique_mm), 0, 0.2,
     "extra model uncertainty at 60 degrees of obliquity, mm"},
    {"slot", "askew_factor", RG_INI_NUMBER, STATION(measure.rocking.askew_factor), 0, 20,
     "weight of oblique_mm in a detection limit"},
    {"slot", "missing_loss", RG_INI_NUMBER, STATION(measure.rocking.missing_loss), 1, 100,
     "largest weight of missing light, sigmas squared"},
    {"slot", "surplus_loss", RG_INI_NUMBER, STATION(measure.rocking.surplus_loss), 1, 1000,
     "largest weight of surplus light, sigmas squared"},
    {"slot", "slope_u", RG_INI_NUMBER, STATION(measure.rocking.u_slope), 0, 0.1,
     "standard uncertainty of a ray's slope, from the pose"},
    {"crown", "max_reprojection_px", RG_INI_NUMBER, STATION(measure.crown.max_reprojection_px),
     0.01, 20, "largest reprojection error of a pose, px rms"},
    {"crown", "min_edges", RG_INI_WHOLE, STATION(measure.crown.min_edges), 2, 24,
     "smallest number of tag borders for a pose"},
    {"crown", "min_tag_side_px", RG_INI_NUMBER, STATION(measure.crown.min_tag_side_px), 8, 4096,
     "smallest side of a usable tag, px"},
    {"crown", "decimate", RG_INI_NUMBER, STATION(measure.tags.decimate), 1, 4,
     "factor by which the tag search shrinks the picture"},
    {"crown", "refine", RG_INI_SWITCH, STATION(measure.tags.refine), 0, 1,
     "first corners moved along gradients"},
    {"crown", "max_hamming", RG_INI_WHOLE, STATION(measure.tags.max_hamming), 0, 2,
     "number of corrected bits in a tag"},
    {"crown", "min_margin", RG_INI_NUMBER, STATION(measure.tags.min_margin), 0, 255,
     "smallest decision margin of a tag, grey codes"},
    {"crown", "blur_ratio", RG_INI_NUMBER, STATION(measure.blur_ratio), 1, 100,
     "blur against the sharpest frame at which a frame is left out"},
    {"strip", "step_deg", RG_INI_NUMBER, STATION(measure.strip.step_deg), 0.05, 1,
     "spacing of the strip's columns, degrees"},
    {"strip", "row_mm", RG_INI_NUMBER, STATION(measure.strip.dz_mm), 0.002, 0.1,
     "spacing of the strip's rows, mm"},
    {"strip", "low_mm", RG_INI_NUMBER, STATION(measure.strip.low_mm), -5, -0.5,
     "lowest row against the pad's plane, mm"},
    {"strip", "high_mm", RG_INI_NUMBER, STATION(measure.strip.high_mm), 0.5, 10,
     "highest row against the pad's plane, mm"},
    {"strip", "max_obliquity_deg", RG_INI_NUMBER, STATION(measure.strip.max_obliquity_deg), 10, 80,
     "most oblique view of the rim that is used, degrees"},
    {"rim", "search_mm", RG_INI_NUMBER, STATION(measure.rimline.search_mm), 0.1, 5,
     "distance from the pad's plane within which the rim is looked for, mm"},
    {"rim", "shadow_mm", RG_INI_NUMBER, STATION(measure.rimline.shadow_mm), 0, 0.5,
     "depth of the contact shadow's edge below the rim plane, mm"},
    {"rim", "shadow_blur_mm", RG_INI_NUMBER, STATION(measure.rimlight.shadow_blur_mm), 0.005, 0.3,
     "blur (sigma) of that edge, mm"},
    {"rim", "min_contrast", RG_INI_NUMBER, STATION(measure.rimline.min_contrast), 0.01, 1,
     "relative contrast of an accepted edge"},
    {"rim", "bright", RG_INI_NUMBER, STATION(measure.rimline.bright), 0.01, 1,
     "linear light from which a band steers the rim line"},
    {"rim", "max_band_mm", RG_INI_NUMBER, STATION(measure.rimline.max_band_mm), 0.02, 2,
     "thickest band that steers the rim line, mm"},
    {"rim", "inlier_mm", RG_INI_NUMBER, STATION(measure.rimline.inlier_mm), 0.002, 0.5,
     "distance of an inlier from the rim plane, mm"},
    {"rim", "max_shift_mm", RG_INI_NUMBER, STATION(measure.rimline.max_shift_mm), 0, 0.5,
     "largest height shift of one frame, mm"},
    {"rim", "mark_every", RG_INI_WHOLE, STATION(measure.mark_every), 1, 100,
     "columns from one rim mark to the next"},
    {"threshold", "factor", RG_INI_NUMBER, STATION(measure.rimlight.threshold.factor), 2, 50,
     "noise threshold in noise sigmas"},
    {"threshold", "low_factor", RG_INI_NUMBER, STATION(measure.rimlight.threshold.low_factor), 1,
     50, "lower hysteresis limit in noise sigmas"},
    {"threshold", "separation", RG_INI_NUMBER, STATION(measure.rimlight.threshold.separation), 2,
     1000, "distance of the class means for Otsu's threshold, noise sigmas"},
    {"threshold", "noise_floor", RG_INI_NUMBER, STATION(measure.rimlight.threshold.floor), 0, 0.5,
     "smallest noise believed, linear light"},
    {"threshold", "window_mm", RG_INI_NUMBER, STATION(measure.rimlight.window_mm), 0.01, 1,
     "half height of the window about the rim line, mm"},
    {"threshold", "margin_mm", RG_INI_NUMBER, STATION(measure.rimlight.margin_mm), 0, 1,
     "rows added above and below found light, mm"},
    {"threshold", "below_mm", RG_INI_NUMBER, STATION(measure.rimlight.below_mm), 0.01, 1,
     "depth below the rim line to which slot light may reach, mm"},
    {"threshold", "above_mm", RG_INI_NUMBER, STATION(measure.rimlight.above_mm), 0.01, 1,
     "height above the rim line at which slot light must begin, mm"},
    {"threshold", "glare", RG_INI_NUMBER, STATION(measure.rimlight.glare), 0.01, 1,
     "linear light of chimney or pad that counts as glare"},
    {"threshold", "glare_leak_mm", RG_INI_NUMBER, STATION(measure.rimlight.glare_leak_mm), 0, 0.1,
     "flux uncertainty per unit of chimney light, mm"},
    {"threshold", "glare_skirt_mm", RG_INI_NUMBER, STATION(measure.rimlight.glare_skirt_mm), 0, 0.1,
     "flux that a streak's end adds per unit of its light, mm"},
    {"threshold", "glare_dark", RG_INI_NUMBER, STATION(measure.rimlight.glare_dark), 0.5, 20,
     "flux in sigmas up to which a column in glare is dark"},
    {"threshold", "edge_sigmas", RG_INI_NUMBER, STATION(measure.rimlight.edge_sigmas), 1, 50,
     "significance of a seen rim edge, standard errors"},
    {"threshold", "edge_contrast", RG_INI_NUMBER, STATION(measure.rimlight.edge_contrast), 0, 1,
     "relative contrast of a seen rim edge"},
    {"threshold", "shade_deg", RG_INI_NUMBER, STATION(measure.rimlight.shade_deg), 0, 90,
     "longest dark reflection on the chimney, degrees"},
    {"threshold", "shade_pad", RG_INI_NUMBER, STATION(measure.rimlight.shade_pad), 0, 1,
     "evenness of the pad above it, share"},
    {"threshold", "shade_jump", RG_INI_NUMBER, STATION(measure.rimlight.shade_jump), 0, 1,
     "change of the chimney there within a degree, share"},
    {"threshold", "outshine", RG_INI_NUMBER, STATION(measure.rimlight.outshine), 1, 100,
     "brightness of slot light against its surroundings, ratio"},
    {"threshold", "min_samples", RG_INI_NUMBER, STATION(measure.rimlight.min_component_px), 1, 1000,
     "samples of the smallest light believed"},
    {"witness", "reach_mm", RG_INI_NUMBER, STATION(measure.witness.reach_mm), 0.2, 4.9,
     "depth below the pad in which the gap is looked for, mm"},
    {"witness", "max_obliquity_deg", RG_INI_NUMBER, STATION(measure.witness.max_obliquity_deg), 10,
     80, "most oblique view used, degrees"},
    {"witness", "saturation", RG_INI_NUMBER, STATION(measure.witness.saturation), 0.1, 1,
     "linear light taken as clipped"},
    {"witness", "min_light", RG_INI_NUMBER, STATION(measure.witness.min_light), 0.001, 1,
     "smallest light of a proven lamp, linear light"},
    {"witness", "min_contrast", RG_INI_NUMBER, STATION(measure.witness.min_contrast), 1, 1000,
     "smallest ratio of lit to dark"},
    {"witness", "min_area_mm2", RG_INI_NUMBER, STATION(measure.witness.min_area_mm2), 0.01, 100,
     "smallest lit area, mm2"},
    {"witness", "min_share", RG_INI_NUMBER, STATION(measure.witness.min_share), 0, 1,
     "smallest share of the bearings in view that are lit"},
    {"witness", "slot_gain", RG_INI_NUMBER, STATION(measure.witness.slot_gain), 0.1, 10,
     "radiance of a thin slot against the witness"},
    {"witness", "u_ln_radiance", RG_INI_NUMBER, STATION(measure.witness.u_ln_radiance), 0, 2,
     "relative standard uncertainty of the radiance"},
    {"witness", "unproven_radiance", RG_INI_NUMBER, STATION(measure.unproven_radiance), 0.01, 1000,
     "radiance taken when no witness proves it, linear light"},
    {"witness", "unproven_u_ln", RG_INI_NUMBER, STATION(measure.unproven_u_ln), 0, 5,
     "standard uncertainty of its logarithm"},
    {"verdict", "coverage_factor", RG_INI_NUMBER, STATION(measure.sealmap.coverage_factor), 1, 4,
     "coverage factor k of U = k u"},
    {"verdict", "seen_arc_deg", RG_INI_NUMBER, STATION(measure.rocking.seen_arc_deg), 1, 90,
     "shortest gap that a seen bearing is sure to show, degrees"},
    {"verdict", "seen_fraction", RG_INI_NUMBER, STATION(measure.sealmap.seen_fraction), 0.05, 1,
     "detection limit of a seen bearing, share of the tolerance"},
    {"verdict", "arc_floor_mm", RG_INI_NUMBER, STATION(measure.sealmap.arc_floor_mm), 0.0005, 0.5,
     "width at which an arc ends, mm"},
    {"verdict", "gap_sigmas", RG_INI_NUMBER, STATION(measure.sealmap.gap_sigmas), 1, 20,
     "significance of a gap, noise sigmas"},
    {"verdict", "smallest_arc_deg", RG_INI_NUMBER, STATION(measure.sealmap.smallest_arc_deg), 0, 90,
     "shortest arc listed, degrees"},
    {"verdict", "bridge_deg", RG_INI_NUMBER, STATION(measure.sealmap.bridge_deg), 0, 30,
     "breaks up to this are bridged, degrees"},
    {"slot", "tilt_prior", RG_INI_NUMBER, STATION(measure.sealmap.tilt_prior), 1e-6, 1,
     "standard deviation of the pad's local tilt, slope"},
    {"slot", "tilt_window_deg", RG_INI_NUMBER, STATION(measure.sealmap.tilt_window_deg), 0, 90,
     "bearings over which that tilt is alike, degrees"},
    {"verdict", "blocked_factor", RG_INI_NUMBER, STATION(measure.sealmap.blocked_factor), 0.5, 100,
     "openings beside a blocked slot, tolerances"},
    {"verdict", "blocked_deg", RG_INI_NUMBER, STATION(measure.sealmap.blocked_deg), 1, 90,
     "distance within which they lie, degrees"},
    {"verdict", "blocked_share", RG_INI_NUMBER, STATION(measure.sealmap.blocked_share), 0.05, 1,
     "share of their width below which the slot is blocked"},
    {"verdict", "blocked_margin_deg", RG_INI_NUMBER, STATION(measure.sealmap.blocked_margin_deg), 0,
     30, "bearings disturbed beside a blocked slot, degrees"},
    {"calibration", "light_date", RG_INI_OWN, 0, 0, 0, "date of the light's calibration, or none"},
    {"calibration", "light_valid_days", RG_INI_WHOLE, STATION(light.valid_days), 0, 36500,
     "days for which it holds (0: until the bench is changed)"},
    {"calibration", "light_gain", RG_INI_NUMBER, STATION(light.gain), 0, 1e6,
     "camera's gain at the calibration (0: not stated)"},
    {"calibration", "light_exposure_s", RG_INI_NUMBER, STATION(light.exposure_s), 0, 1e4,
     "exposure of its closed frames, seconds (0: not stated)"},
    {"wedge", "prior_ln_gain", RG_INI_NUMBER, STATION(wedge.prior[RG_WEDGE_GAIN]), 0.001, 5,
     "standard deviation of ln slot_gain before a calibration"},
    {"wedge", "prior_ln_blur", RG_INI_NUMBER, STATION(wedge.prior[RG_WEDGE_BLUR]), 0.001, 5,
     "the same of ln psf_factor"},
    {"wedge", "prior_reflectance", RG_INI_NUMBER, STATION(wedge.prior[RG_WEDGE_REFLECTANCE]), 0.001,
     5, "the same of land_reflectance"},
    {"wedge", "prior_glow", RG_INI_NUMBER, STATION(wedge.prior[RG_WEDGE_GLOW]), 0.001, 5,
     "the same of pad_glow"},
    {"wedge", "prior_overhang", RG_INI_NUMBER, STATION(wedge.prior[RG_WEDGE_OVERHANG]), 0.001, 5,
     "the same of overhang_factor"},
    {"wedge", "margin_deg", RG_INI_NUMBER, STATION(wedge.margin_deg), 0, 90,
     "bearings left out on either side of the feeler, degrees"},
    {"wedge", "min_floor_mm", RG_INI_NUMBER, STATION(wedge.min_residual_mm), 1e-5, 0.1,
     "smallest model_floor_mm that a calibration may find, mm"},
    {"wedge", "min_relative", RG_INI_NUMBER, STATION(wedge.min_relative), 1e-5, 1,
     "smallest model_relative that a calibration may find"},
    {"wedge", "max_rms_mm", RG_INI_NUMBER, STATION(wedge.max_rms_mm), 1e-5, 1,
     "largest rms residual of a good calibration, mm"},
    {"check", "scale", RG_INI_NUMBER, STATION(check.scale), 0.0001, 0.5,
     "largest relative error of the scale"},
    {"check", "diameter_u_mm", RG_INI_NUMBER, STATION(check.diameter_u_mm), 0, 1,
     "standard uncertainty of the rim's stated diameter, mm"},
    {"check", "outline_top_mm", RG_INI_NUMBER, STATION(check.outline_top_mm), 0, 5,
     "depth below the rim plane at which the outline begins, mm"},
    {"check", "outline_depth_mm", RG_INI_NUMBER, STATION(check.outline_depth_mm), 0.2, 20,
     "depth below the rim plane at which the outline ends, mm"},
    {"check", "outline_reach", RG_INI_NUMBER, STATION(check.outline_reach), 0.01, 0.3,
     "distance from the radius within which the outline is looked for, share"},
    {"check", "proportion", RG_INI_NUMBER, STATION(check.proportion), 0.0001, 0.5,
     "largest relative error of tag edge against apothem"},
    {"check", "mtf50", RG_INI_NUMBER, STATION(check.mtf50), 0.001, 0.5,
     "least MTF50 of a sweep, cycles per px"},
    {"check", "sharpness", RG_INI_NUMBER, STATION(check.sharpness), 0.01, 1,
     "MTF50 of one frame, share of the sweep's"},
    {"check", "depth", RG_INI_NUMBER, STATION(check.depth), 0.01, 1,
     "MTF50 of the farther tag borders, share of the nearer ones'"},
    {"check", "px_per_mm", RG_INI_NUMBER, STATION(check.px_per_mm), 0.1, 1000,
     "least sampling at the rim, px per mm"},
    {"check", "module_px", RG_INI_NUMBER, STATION(check.module_px), 1, 1000,
     "least size of a tag's module, px"},
    {"check", "white_low", RG_INI_NUMBER, STATION(check.white_low), 0, 1,
     "least light of paper white"},
    {"check", "white_high", RG_INI_NUMBER, STATION(check.white_high), 0.001, 1,
     "largest light of paper white"},
    {"check", "contrast", RG_INI_NUMBER, STATION(check.contrast), 1, 1000,
     "least ratio of paper to ink"},
    {"check", "clipped", RG_INI_NUMBER, STATION(check.clipped), 0, 1,
     "largest share of clipped pixels beside the gap"},
    {"check", "exposure_error", RG_INI_NUMBER, STATION(check.exposure_error), 0.01, 10,
     "largest relative error of the witness's exposure"},
    {"check", "ambient", RG_INI_NUMBER, STATION(check.ambient), 0.001, 10,
     "apparent gap with the lamp off, share of the tolerance"},
    {"check", "move_px", RG_INI_NUMBER, STATION(check.move_px), 0.05, 100,
     "largest movement during an exposure, px"},
    {"check", "same_mm", RG_INI_NUMBER, STATION(check.same_mm), 0, 10,
     "distance of poses that count as repeats, mm"},
    {"check", "same_deg", RG_INI_NUMBER, STATION(check.same_deg), 0, 10,
     "angle of poses that count as repeats, degrees"},
    {"check", "still", RG_INI_NUMBER, STATION(check.still), 0.5, 1000,
     "scatter of repeats, standard uncertainties of their poses"},
    {"check", "covered", RG_INI_NUMBER, STATION(check.covered), 0.01, 1,
     "least share of the bearings that were well looked at"},
    {"check", "group_deg", RG_INI_NUMBER, STATION(check.group_deg), 0.1, 60,
     "camera bearings that belong together, degrees"},
    {"budget", "level", RG_INI_NUMBER, STATION(budget.level), 0.5, 0.9999, "level of confidence"},
    {"budget", "radiance_unsure", RG_INI_NUMBER, STATION(budget.radiance_unsure), 0, 1,
     "relative uncertainty of u_ln_radiance"},
    {"budget", "blur_unsure", RG_INI_NUMBER, STATION(budget.blur_unsure), 0, 1,
     "relative uncertainty of u_ln_psf"},
    {"budget", "pose_unsure", RG_INI_NUMBER, STATION(budget.pose_unsure), 0, 1,
     "relative uncertainty of slope_u"},
    {"budget", "scale_unsure", RG_INI_NUMBER, STATION(budget.scale_unsure), 0, 1,
     "relative uncertainty of scale_u"},
    {"budget", "model_unsure", RG_INI_NUMBER, STATION(budget.model_unsure), 0, 1,
     "relative uncertainty of the slot model's u"},
    {"budget", "bulge_unsure", RG_INI_NUMBER, STATION(budget.bulge_unsure), 0, 1,
     "relative uncertainty of the bulge's u"},
    {"opening", "search_mm", RG_INI_NUMBER, STATION(measure.opening.search_mm), 0.5, 100,
     "greatest height of an open pad that is looked for, mm"},
    {"opening", "search_deg", RG_INI_NUMBER, STATION(measure.opening.search_deg), 0, 60,
     "greatest angle of an open pad, degrees"},
    {"opening", "min_frames", RG_INI_NUMBER, STATION(measure.opening.min_frames), 1, 24,
     "fewest frames that show the rim"},
    {"opening", "min_spread_deg", RG_INI_NUMBER, STATION(measure.opening.min_spread_deg), 0, 180,
     "least angle between two of their bearings, degrees"},
    {"opening", "min_share", RG_INI_NUMBER, STATION(measure.opening.min_share), 0.05, 1,
     "share of the rim's edge that a frame must show"},
    {"opening", "max_rms_px", RG_INI_NUMBER, STATION(measure.opening.max_rms_px), 0.05, 50,
     "largest scatter of the rim's edge in a frame, px rms"},
    {"opening", "edge_drop_mm", RG_INI_NUMBER, STATION(measure.opening.edge_drop_mm), 0, 1,
     "depth below the rim plane at which its edge is seen from below, mm"},
    {"opening", "edge_u_mm", RG_INI_NUMBER, STATION(measure.opening.edge_u_mm), 0.001, 1,
     "standard uncertainty of the edge's height, mm"},
    {"opening", "pad_u_mm", RG_INI_NUMBER, STATION(measure.opening.pad_u_mm), 0, 1,
     "standard uncertainty of the pad's face against the crown, mm"},
    {"opening", "pad_tilt_u_deg", RG_INI_NUMBER, STATION(measure.opening.pad_tilt_u_deg), 0, 10,
     "standard uncertainty of the pad's tilt in its cup, degrees"},
    {"opening", "max_u_mm", RG_INI_NUMBER, STATION(measure.opening.max_u_mm), 0.001, 10,
     "largest standard uncertainty of an opening, mm"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};
static const char *const section_name[] = {
    "station", "lens",    "light",       "slot",  "crown", "strip",  "rim",    "threshold",
    "witness", "verdict", "calibration", "wedge", "check", "budget", "opening"};
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
            return rg_ini_unknown_section(ini, i,
                                          "[station], [lens], [light], [slot], [crown], [strip], "
                                          "[rim], [threshold], [witness], [verdict], "
                                          "[calibration], [wedge], [check], [budget] and [opening]",
                                          err);
        }
    }
    return RG_OK;
}

static rg_code check_light(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    double sum =
        s->measure.code_weights[0] + s->measure.code_weights[1] + s->measure.code_weights[2];
    if (!(fabs(sum - 1) <= 1e-6)) {
        return rg_ini_fail(ini, entry_of(ini, "light", "weight_red"), err,
                           "weight_red, weight_green = %.9g and weight_blue = %.9g sum to %.9g; "
                           "they must sum to 1",
                           s->measure.code_weights[1], s->measure.code_weights[2], sum);
    }
    if (s->measure.dark_light >= s->measure.overexposed_light) {
        return rg_ini_fail(ini, entry_of(ini, "light", "dark_light"), err,
                           "not below overexposed_light = %.9g, so no frame could be right; lower "
                           "dark_light",
                           s->measure.overexposed_light);
    }
    return RG_OK;
}

static rg_code check_strip(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    const rg_measure_options *m = &s->measure;
    if (m->rimline.search_mm + 0.6 <= m->strip.high_mm && m->rimline.search_mm <= -m->strip.low_mm)
        return RG_OK;
    return rg_ini_fail(
        ini, entry_of(ini, "rim", "search_mm"), err,
        "the strip reaches only from %g to %g mm; it must cover the search and 0.6 mm "
        "above it",
        m->strip.low_mm, m->strip.high_mm);
}

static rg_code check_crown(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    static const double factor[] = {1, 1.5, 2, 3, 4};
    for (size_t i = 0; i < sizeof factor / sizeof factor[0]; i++) {
        if (s->measure.tags.decimate == factor[i]) {
            return RG_OK;
        }
    }
    return rg_ini_fail(ini, entry_of(ini, "crown", "decimate"), err,
                       "the tag search knows 1, 1.5, 2, 3 and 4; choose one of them");
}

/* Pairs of which one must lie below the other. */
static rg_code check_bench(const rg_ini *ini, const rg_station *s, rg_error *err)
{
    const rg_bench_limits *c = &s->check;
    if (!(c->outline_top_mm < c->outline_depth_mm))
        return rg_ini_fail(ini, entry_of(ini, "check", "outline_top_mm"), err,
                           "must lie above outline_depth_mm = %g; correct one of them",
                           c->outline_depth_mm);
    if (!(c->white_low < c->white_high))
        return rg_ini_fail(ini, entry_of(ini, "check", "white_low"), err,
                           "must lie below white_high = %g; correct one of them", c->white_high);
    if (c->white_high > s->measure.overexposed_light)
        return rg_ini_fail(ini, entry_of(ini, "check", "white_high"), err,
                           "a frame is left out above overexposed_light = %g of [light]; choose a "
                           "smaller value",
                           s->measure.overexposed_light);
    return RG_OK;
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
    /* One value, used by two stages. */
    station->measure.rimline.glare = 2 * station->measure.rimlight.glare;
    station->measure.rimlight.shadow_mm = station->measure.rimline.shadow_mm;
    station->measure.rocking.u_ln_radiance = station->measure.witness.u_ln_radiance;
    if (code == RG_OK) {
        code =
            rg_ini_date(ini, entry_of(ini, "calibration", "light_date"), &station->light.day, err);
    }
    if (code == RG_OK) {
        code = check_light(ini, station, err);
    }
    if (code == RG_OK) {
        code = check_crown(ini, station, err);
    }
    if (code == RG_OK) {
        code = check_strip(ini, station, err);
    }
    if (code == RG_OK) {
        code = check_bench(ini, station, err);
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

void rg_config_setup(const rg_station *station, const rg_pad *pad, rg_setup *setup)
{
    *setup = (rg_setup){
        .lens = station->lens, .crown = pad->crown, .rim = pad->rim, .options = station->measure};
    setup->options.sealmap.tolerance_mm = pad->tolerance_mm;
    setup->options.sealmap.min_arc_deg = pad->min_arc_deg;
}

void rg_station_light_fault(const rg_station *station, int day, bool stated, char *text)
{
    const rg_light_calibration *c = &station->light;
    char date[RG_DATE_TEXT], today[RG_DATE_TEXT];
    rg_date_format(c->day, date);
    rg_date_format(day, today);
    text[0] = '\0';
    if (c->day < 0)
        snprintf(text, RG_REASON_SIZE,
                 "the light of this station was never calibrated, so its sensitivity is not shown: "
                 "calibrate it with a feeler strip (rimglow calibrate light -h)");
    else if (c->valid_days > 0 && day > c->day + c->valid_days)
        snprintf(text, RG_REASON_SIZE,
                 "the light's calibration of %s held for %d days and has lapsed on %s: calibrate "
                 "again (rimglow calibrate light -h)",
                 date, c->valid_days, today);
    else if (stated && day < c->day)
        snprintf(text, RG_REASON_SIZE,
                 "the light was calibrated on %s, after these frames of %s: correct a date, or "
                 "sweep again",
                 date, today);
}

rg_code rg_station_match(rg_station *station, const char *label, const rg_taken *taken,
                         rg_error *err)
{
    const rg_light_calibration *c = &station->light;
    if (c->day < 0 || !taken->present)
        return RG_OK;
    if (c->gain > 0 && taken->gain > 0 && fabs(taken->gain - c->gain) > 0.01 * c->gain)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: [taken] gain = %g, but the light of station \"%s\" was calibrated at "
                       "gain %g; set the camera back, or calibrate the light at this gain",
                       label, taken->gain, station->name, c->gain);
    if (c->exposure_s > 0 && taken->exposure_s > 0)
        station->measure.unproven_radiance *= taken->exposure_s / c->exposure_s;
    return RG_OK;
}

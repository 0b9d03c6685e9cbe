/*
 * setup.c - the measuring setup of the sample sweeps, and their frames.
 */
#include "support/setup.h"

#include <stdio.h>
#include <stdlib.h>

#include "support/load.h"

/* Exposure of the sample witness frames (their sweep.ini). */
#define WITNESS_EXPOSURE 0.2

static const rg_measure_options options = {
    .code_weights = {0.299, 0.587, 0.114},
    .crown = {.max_reprojection_px = 0.3, .min_edges = 4, .min_tag_side_px = 30},
    .tags = {.decimate = 2, .refine = true, .max_hamming = 1, .min_margin = 20},
    .psf_factor = 1.075,
    .overhang_factor = 0.9933,
    .overexposed_light = 0.97,
    .dark_light = 0.01,
    .blur_ratio = 1.6,
    .land_reflectance = 0.9203,
    .shoulder_mm = 0.35,
    .pad_glow = 0,
    .unproven_radiance = 2.254,
    .unproven_u_ln = 0.69,
    .strip =
        {.step_deg = 0.25, .low_mm = -0.8, .high_mm = 1.2, .dz_mm = 0.015, .max_obliquity_deg = 64},
    .rimline = {.search_mm = 0.6,
                .shadow_mm = 0.085,
                .min_contrast = 0.15,
                .bright = 0.12,
                .glare = 0.3,
                .max_band_mm = 0.45,
                .inlier_mm = 0.03,
                .max_shift_mm = 0.03},
    .mark_every = 8,
    .rimlight = {.threshold = {.factor = 6, .low_factor = 3, .separation = 20, .floor = 0.0015},
                 .shadow_mm = 0.085,
                 .shadow_blur_mm = 0.034,
                 .window_mm = 0.075,
                 .margin_mm = 0.06,
                 .below_mm = 0.1,
                 .above_mm = 0.08,
                 .glare = 0.15,
                 .glare_dark = 2.5,
                 .glare_skirt_mm = 0.006,
                 .glare_leak_mm = 0.004,
                 .edge_sigmas = 3,
                 .edge_contrast = 0.1,
                 .shade_deg = 20,
                 .shade_pad = 0.25,
                 .shade_jump = 0.4,
                 .outshine = 1.5,
                 .min_component_px = 6},
    .witness = {.reach_mm = 2.5,
                .max_obliquity_deg = 45,
                .saturation = 0.97,
                .min_light = 0.05,
                .min_contrast = 5,
                .min_area_mm2 = 0.3,
                .min_share = 0.5,
                .slot_gain = 0.942,
                .u_ln_radiance = 0.15},
    .rocking = {.model_floor_mm = 0.001811,
                .model_relative = 0.02,
                .u_slope = 0.0005,
                .u_ln_radiance = 0.15,
                .u_ln_sigma = 0.1,
                .u_scale = 0.002,
                .oblique_mm = 0.006,
                .seen_arc_deg = 12,
                .askew_factor = 1.5,
                .missing_loss = 8,
                .surplus_loss = 25},
    .sealmap = {.tolerance_mm = 0.025,
                .min_arc_deg = 3,
                .arc_floor_mm = 0.005,
                .gap_sigmas = 3,
                .seen_fraction = 0.5,
                .coverage_factor = 2,
                .smallest_arc_deg = 3,
                .bridge_deg = 3,
                .tilt_prior = 0.006,
                .tilt_window_deg = 8,
                .blocked_factor = 2,
                .blocked_deg = 25,
                .blocked_share = 0.7,
                .blocked_margin_deg = 5},
    .opening = {.search_mm = 15,
                .search_deg = 25,
                .min_frames = 2,
                .min_spread_deg = 40,
                .min_share = 0.4,
                .max_rms_px = 2,
                .edge_drop_mm = 0.03,
                .edge_u_mm = 0.02,
                .pad_u_mm = 0.02,
                .pad_tilt_u_deg = 0.1,
                .max_u_mm = 0.2}};

void test_bench_limits(rg_bench_limits *limits)
{
    *limits = (rg_bench_limits){.scale = 0.01,
                                .diameter_u_mm = 0.03,
                                .outline_top_mm = 0.3,
                                .outline_depth_mm = 2,
                                .outline_reach = 0.09,
                                .proportion = 0.005,
                                .mtf50 = 0.12,
                                .sharpness = 0.75,
                                .depth = 0.75,
                                .px_per_mm = 20,
                                .module_px = 15,
                                .white_low = 0.03,
                                .white_high = 0.8,
                                .contrast = 4,
                                .clipped = 0.05,
                                .exposure_error = 0.25,
                                .ambient = 0.1,
                                .move_px = 1.5,
                                .same_mm = 0.05,
                                .same_deg = 0.02,
                                .still = 3,
                                .covered = 0.95,
                                .group_deg = 10};
}

void test_gap_budget_options(rg_gap_budget_options *budget)
{
    *budget = (rg_gap_budget_options){.level = 0.95,
                                      .radiance_unsure = 0.25,
                                      .blur_unsure = 0.25,
                                      .pose_unsure = 0.25,
                                      .scale_unsure = 0.25,
                                      .model_unsure = 0.3,
                                      .bulge_unsure = 0.5};
}

void test_setup(rg_setup *setup)
{
    *setup = (rg_setup){
        .lens = {.width = 1280, .height = 720, .fx = 3300, .fy = 3300, .cx = 639.5, .cy = 359.5},
        .crown = {.number = 2, .apothem_mm = 9.5, .tag_size_mm = 8, .centre_height_mm = 10.3},
        .rim = {.inner_diameter_mm = 18,
                .outer_diameter_mm = 20,
                .pad_diameter_mm = 23,
                .cup_height_mm = 5},
        .options = options};
}

rg_frame test_take(const rg_setup *setup, rg_tag_finder *finder, const char *path,
                   rg_frame_role role)
{
    test_bytes b = test_load(path);
    rg_frame frame;
    rg_error err = {0};
    double exposure = role == RG_FRAME_WITNESS ? WITNESS_EXPOSURE : 1;
    if (rg_frame_take(setup, finder, b.data, b.size, role, exposure, &frame, &err)) {
        fprintf(stderr, "%s: %s\n", path, err.text);
        abort();
    }
    free(b.data);
    return frame;
}

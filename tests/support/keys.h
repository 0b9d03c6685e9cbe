/*
 * keys.h - the settings of calib/keys.ini, for tests that read no file. tests/edge/test_config_keys.c fails
 * when the two differ, so the unit tests measure with what users get.
 */
#ifndef TEST_SUPPORT_KEYS_H
#define TEST_SUPPORT_KEYS_H

#include "rimglow/force.h"
#include "rimglow/regulation.h"
#include "rimglow/repeat.h"

static const rg_regulation_options test_regulation_options = {.coverage_factor = 2,
                                                              .same_force_share = 0.1,
                                                              .lever_ratio_share = 0.1,
                                                              .turn_step = 0.125,
                                                              .cork_step_mm = 0.05,
                                                              .bend_step_mm = 0.05};
static const rg_force_options test_force_options = {.coverage_factor = 2,
                                                    .light_least_g = 25,
                                                    .light_most_g = 80,
                                                    .gauge_u_g = 2,
                                                    .line_p = 0.05,
                                                    .soft_mm_per_100g = 0.2,
                                                    .significance = 0.05,
                                                    .bridge_deg = 3};
static const rg_repeat_options test_repeat_options = {.coverage_factor = 2,
                                                      .confidence = 0.95,
                                                      .significance = 0.01,
                                                      .loose_tilt_mm = 0.012,
                                                      .soft_drift_mm = 0.025,
                                                      .closings_least = 10,
                                                      .axis_u_deg = 20,
                                                      .same_force_share = 0.1};

#endif

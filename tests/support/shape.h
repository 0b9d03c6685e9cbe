/*
 * shape.h - the [shape] of calib/diagnosis.ini for tests (tests/edge/test_config_diagnosis.c compares the
 * two), and bearings of maps that are made from formulas.
 */
#ifndef RIMGLOW_TESTS_SHAPE_H
#define RIMGLOW_TESTS_SHAPE_H

#include "rimglow/shape.h"

#define TEST_SHAPE                                                                                 \
    .correlation_deg = 10, .common_share = 0.3, .least_open_deg = 15, .fixed_u_mm = 0.01,          \
    .significance = 0.01, .press_mm = 0.5, .coverage_factor = 2, .local_least_deg = 3,             \
    .local_most_deg = 40

static const rg_shape_options test_shape_options = {TEST_SHAPE, .u_floor_mm = 0.0005,
                                                    .uneven_mm = 0.003};
/* The same where a formula is held: an even face, and widths as exact as a test says. */
static const rg_shape_options test_formula_options = {TEST_SHAPE, .u_floor_mm = 1e-6};

/* A bearing with a gap of that width; of 0 or less: sealed, with that limit. */
rg_bin test_bin(int bearing_deg, double width_mm, double u_mm, double limit_mm);
rg_bin test_unseen_bin(int bearing_deg);

#endif

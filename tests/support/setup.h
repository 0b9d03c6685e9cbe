/*
 * setup.h - the measuring setup of the sample sweeps, and their frames.
 */
#ifndef RIMGLOW_TESTS_SETUP_H
#define RIMGLOW_TESTS_SETUP_H

#include "rimglow/bench_check.h"
#include "rimglow/gap_budget.h"
#include "rimglow/pipeline.h"

/* The values that the sample sweeps were taken with: the demo bench
 * (calib/bench.ini) and a pad of 20 mm outer rim diameter with crown 2. */
void test_setup(rg_setup *setup);

/* The demo bench's [check]. */
void test_bench_limits(rg_bench_limits *limits);

/* Its [budget]. */
void test_gap_budget_options(rg_gap_budget_options *budget);

/* Takes a picture file as a frame; the path is relative to the repository
 * root. The frame may be unused; anything worse ends the test. */
rg_frame test_take(const rg_setup *setup, rg_tag_finder *finder, const char *path,
                   rg_frame_role role);

#endif

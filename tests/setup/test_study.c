/*
 * Tests of study.h: verdicts, counting and what belongs to which fit. The
 * statistics themselves are tested in test_gauge.c and test_detection.c.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/study.h"

static rg_error err;

/* ---------------------------------------------------------------- gauge */

enum { PARTS = 4, PERSONS = 2, REPEATS = 3, VALUES = PARTS * PERSONS * REPEATS };

static double value[VALUES], reference[PARTS];

/* Parts 0.05 mm apart; repeats and persons scatter by so much. */
static void make_values(double scatter)
{
    static const double wave[] = {0.3, -1.1, 0.7, 1.2, -0.6, -0.4, 0.9, -0.2};
    for (int i = 0; i < VALUES; i++)
        value[i] = 0.05 * (i / (PERSONS * REPEATS)) + scatter * wave[(5 * i) % 8];
    for (int p = 0; p < PARTS; p++)
        reference[p] = NAN;
}

static rg_gauge_study_result gauge(const double *known)
{
    rg_gauge_study_result r;
    rg_study_settings s = rg_study_defaults();
    cr_assert_eq(rg_study_gauge(value, known, PARTS, PERSONS, REPEATS, false, &s, &r, &err), RG_OK,
                 "%s", err.text);
    return r;
}

Test(study, gauge_verdict_goes_by_percent_of_study_variation)
{
    static const struct {
        double scatter;
        rg_study_verdict verdict;
    } row[] = {{0.002, RG_STUDY_PASSED}, {0.012, RG_STUDY_UNDECIDED}, {0.05, RG_STUDY_FAILED}};
    for (int i = 0; i < 3; i++) {
        make_values(row[i].scatter);
        rg_gauge_study_result r = gauge(NULL);
        double percent = r.gauge.source[RG_GAUGE_RR].study;
        cr_expect_eq(r.verdict, row[i].verdict, "%g: %g %%", row[i].scatter, percent);
        cr_expect_eq(percent <= 10, r.verdict == RG_STUDY_PASSED);
        cr_expect_eq(percent > 30, r.verdict == RG_STUDY_FAILED);
        cr_expect_not(r.has_bias || r.has_line);
        rg_gauge_study_free(&r);
    }
}

Test(study, a_limit_itself_still_passes)
{
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r;
    make_values(0.012);
    rg_gauge_study_result first = gauge(NULL);
    s.accept_percent = first.gauge.source[RG_GAUGE_RR].study;
    cr_assert_eq(rg_study_gauge(value, NULL, PARTS, PERSONS, REPEATS, false, &s, &r, &err), RG_OK);
    cr_expect_eq(r.verdict, RG_STUDY_PASSED);
    rg_gauge_study_free(&r);
    s.refuse_percent = s.accept_percent;
    s.accept_percent = 1;
    cr_assert_eq(rg_study_gauge(value, NULL, PARTS, PERSONS, REPEATS, false, &s, &r, &err), RG_OK);
    cr_expect_eq(r.verdict, RG_STUDY_UNDECIDED);
    rg_gauge_study_free(&r);
    rg_gauge_study_free(&first);
}

Test(study, only_parts_with_a_reference_give_bias)
{
    make_values(0.002);
    for (int k = 0; k < PERSONS * REPEATS; k++) {
        value[1 * PERSONS * REPEATS + k] += 0.004; /* part 1: 0.050, reads 0.004 too much */
        value[2 * PERSONS * REPEATS + k] += 0.010; /* no reference */
    }
    reference[1] = 0.05;
    rg_gauge_study_result r = gauge(reference);
    cr_assert(r.has_bias);
    cr_expect_not(r.has_line, "one reference gives no line");
    cr_expect_eq(r.bias.n, PERSONS * REPEATS);
    cr_expect(fabs(r.bias.bias - 0.004) < 0.002, "%g", r.bias.bias);
    cr_expect(fabs(r.part[1].bias_mm - r.bias.bias) < 1e-12);
    cr_expect(isnan(r.part[0].bias_mm) && isnan(r.part[2].reference_mm));
    rg_gauge_study_free(&r);
    reference[3] = 0.15;
    r = gauge(reference);
    cr_expect(r.has_line);
    cr_expect_eq(r.line.n, 2 * PERSONS * REPEATS);
    cr_expect_lt(r.line.slope, 0, "part 1 reads 0.004 too much, part 3 about right");
    rg_gauge_study_free(&r);
}

Test(study, bearings_are_unwrapped_before_they_are_studied)
{
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r;
    double bearing[] = {359, 1, 0.5, 358.5, 90, 91, 89.5, 90.5};
    cr_assert_eq(rg_study_gauge(bearing, NULL, 2, 2, 2, true, &s, &r, &err), RG_OK, "%s", err.text);
    cr_expect(r.degrees);
    cr_expect_lt(r.gauge.source[RG_GAUGE_RR].sd, 3);
    rg_gauge_study_free(&r);
}

/* --------------------------------------------------------------- detect */

static rg_trial trial[2000];

/* Of n sizes from 0.01 up in steps of 0.01 all above `limit` are found; near it
 * every third is the other way round. */
static int make_trials(int n, double limit)
{
    for (int i = 0; i < n; i++) {
        double size = 0.01 * (i + 1);
        bool near = fabs(size - limit) < 0.035, swap = near && i % 3 == 0;
        trial[i] = (rg_trial){.sweep = -1,
                              .size_mm = size,
                              .seen = true,
                              .has_hit = true,
                              .hit = (size > limit) != swap};
    }
    return n;
}

static rg_detection_result detect(int n, double decision, double require)
{
    rg_detection_result r;
    rg_study_settings s = rg_study_defaults();
    err.text[0] = 0;
    cr_assert_eq(rg_study_detect(trial, n, decision, require, &s, &r, &err), RG_OK, "%s", err.text);
    return r;
}

Test(study, detection_passes_when_the_bound_is_small_enough)
{
    int n = make_trials(60, 0.3);
    rg_detection_result r = detect(n, NAN, NAN);
    cr_assert_eq(r.pod.state, RG_POD_FITTED);
    cr_assert(isfinite(r.pod.a90_95));
    cr_expect_eq(r.verdict, RG_STUDY_PASSED);
    double bound = r.pod.a90_95;
    rg_detection_result_free(&r);
    r = detect(n, NAN, bound);
    cr_expect_eq(r.verdict, RG_STUDY_PASSED);
    rg_detection_result_free(&r);
    r = detect(n, NAN, bound * 0.99);
    cr_expect_eq(r.verdict, RG_STUDY_FAILED);
    cr_expect_eq(rg_detection_main(&r), &r.pod);
    rg_detection_result_free(&r);
}

Test(study, curve_points_go_through_the_sizes_that_are_reported)
{
    rg_detection_result r = detect(make_trials(60, 0.3), NAN, NAN);
    const rg_pod_point *p = &r.curve[89];
    cr_expect(fabs(p->pod - 0.9) < 1e-12);
    cr_expect(fabs(p->size - r.pod.a90) < 1e-9);
    cr_expect(fabs(p->high - r.pod.a90_95) < 1e-9);
    for (int k = 0; k < RG_POD_POINTS; k++)
        cr_expect(r.curve[k].low <= r.curve[k].size && r.curve[k].size <= r.curve[k].high);
    rg_detection_result_free(&r);
}

Test(study, unseen_is_neither_hit_nor_miss)
{
    int n = make_trials(60, 0.3);
    trial[50].seen = false; /* would be a hit */
    trial[2].seen = false;  /* would be a miss */
    trial[n++] = (rg_trial){.sweep = -1, .size_mm = 0, .has_hit = true, .hit = true};
    rg_detection_result r = detect(n, NAN, NAN);
    cr_expect_eq(r.trials, 61);
    cr_expect_eq(r.targets, 58);
    cr_expect_eq(r.unseen_open, 2);
    cr_expect_eq(r.unseen_closed, 1);
    cr_expect_eq(r.closed, 0);
    cr_expect_eq(r.false_calls, 0);
    rg_detection_result_free(&r);
}

Test(study, nothing_to_find_and_found_is_a_false_call)
{
    int n = make_trials(60, 0.3);
    for (int i = 0; i < 22; i++)
        trial[n++] = (rg_trial){.sweep = -1, .size_mm = 0, .seen = true, .has_hit = true};
    rg_detection_result r = detect(n, NAN, NAN);
    cr_expect_eq(r.targets, 60);
    cr_expect_eq(r.closed, 22);
    cr_expect_eq(r.false_calls, 0);
    /* 0 of 22, one-sided 95 %: 1 - 0.05^(1/22). */
    cr_expect(fabs(r.false_high - 0.127305) < 1e-6);
    rg_detection_result_free(&r);
    trial[70].hit = true;
    r = detect(n, NAN, NAN);
    cr_expect_eq(r.false_calls, 1);
    cr_expect_gt(r.false_high, 0.127305);
    rg_detection_result_free(&r);
}

Test(study, separated_sizes_are_undecided_and_bounded_by_the_binomial)
{
    int n = 0;
    for (; n < 33; n++)
        trial[n] = (rg_trial){
            .sweep = -1, .size_mm = 0.01 * (n + 1), .seen = true, .has_hit = true, .hit = n >= 4};
    rg_detection_result r = detect(n, NAN, 0.5);
    cr_expect_eq(r.pod.state, RG_POD_SEPARATED);
    cr_expect_eq(r.verdict, RG_STUDY_UNDECIDED);
    cr_expect(isnan(r.pod.a90_95));
    cr_expect(fabs(r.largest_missed - 0.04) < 1e-12 && fabs(r.smallest_found - 0.05) < 1e-12);
    cr_expect(r.above == 29 && r.above_found == 29);
    cr_expect(fabs(r.above_low - 0.901855) < 1e-6); /* 29 of 29 */
    rg_detection_result_free(&r);
    for (int i = 0; i < n; i++)
        trial[i].hit = true;
    r = detect(n, NAN, NAN);
    cr_expect_eq(r.pod.state, RG_POD_ALL_FOUND);
    cr_expect_eq(r.verdict, RG_STUDY_UNDECIDED);
    cr_expect(isnan(r.largest_missed) && r.above == n && r.above_found == n);
    rg_detection_result_free(&r);
}

Test(study, sealed_sweeps_with_a_claim_are_counted_once)
{
    int n = 0;
    for (int s = 0; s < 4; s++)
        for (int k = 0; k < 5; k++)
            trial[n++] = (rg_trial){.sweep = s,
                                    .seen = s != 3,
                                    .has_hit = true,
                                    .size_mm = s == 0 && k == 2 ? 0.1 : 0,
                                    .hit = s == 1 && k < 2};
    rg_detection_result r = detect(n, NAN, NAN);
    cr_expect_eq(r.sweeps, 4);
    cr_expect_eq(r.closed_sweeps, 2, "sweep 0 has a gap, sweep 3 saw nothing");
    cr_expect_eq(r.false_sweeps, 1);
    cr_expect_eq(r.false_calls, 2);
    cr_expect(r.closed == 14 && r.unseen_closed == 5);
    rg_detection_result_free(&r);
}

Test(study, signals_alone_are_judged_by_their_own_fit)
{
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r;
    int n = 0;
    for (; n < 40; n++) {
        double size = 0.01 * (n + 1);
        trial[n] = (rg_trial){.sweep = -1,
                              .size_mm = size,
                              .seen = true,
                              .has_signal = true,
                              .signal = size + 0.004 * (n % 3 - 1)};
    }
    for (int i = 0; i < 3; i++) {
        trial[i].signal = 0.04;
        trial[i].censor = RG_CENSOR_BELOW;
    }
    trial[n++] =
        (rg_trial){.sweep = -1, .size_mm = 0, .seen = true, .has_signal = true, .signal = 0.3};
    cr_assert_eq(rg_study_detect(trial, n, 0.1, NAN, &s, &r, &err), RG_OK);
    cr_expect(r.has_signals && !r.has_hits);
    cr_expect(r.responses == 40 && r.below == 3 && r.over == 0);
    cr_expect(r.closed == 1 && r.false_calls == 1, "0.3 is beyond the decision");
    cr_expect_eq(rg_detection_main(&r), &r.signal_pod);
    cr_expect_eq(r.signal_pod.state, RG_POD_FITTED);
    cr_expect(fabs(r.signal_pod.a50 - 0.1) < 0.003, "%g", r.signal_pod.a50);
    cr_expect_eq(r.verdict, RG_STUDY_PASSED);
    rg_detection_result_free(&r);
    cr_expect_eq(rg_study_detect(trial, n, NAN, NAN, &s, &r, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "decision"), "%s", err.text);
}

Test(study, empty_and_too_large_studies)
{
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r = detect(0, NAN, NAN);
    cr_expect_eq(r.pod.state, RG_POD_EMPTY);
    cr_expect_eq(r.verdict, RG_STUDY_UNDECIDED);
    rg_detection_result_free(&r);
    cr_expect_eq(rg_study_detect(trial, RG_DETECTION_MAX + 1, NAN, NAN, &s, &r, &err), RG_BAD_DATA);
}

/*
 * Tests of force.h: the line against the NIST/SEMATECH e-Handbook's calibration and Pearson's data with
 * York's weights; drawn pads of known stiffness; maps made from formulas.
 */
#include "rimglow/force.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/keys.h"
#include "support/load.h"
#include "support/scene.h"

static rg_error err;
static rg_force r;
static const rg_sealmap_options seal = {
    .tolerance_mm = 0.025, .min_arc_deg = 3, .seen_fraction = 0.5, .coverage_factor = 2};

/* ---------------------------------------------------------------- the line */

/* Rows of numbers behind the rule of dashes; the words L, M, U count as 0. */
static int read_table(const char *path, int columns, double *out, int most)
{
    test_bytes file = test_load(path);
    char *p = strstr((char *)file.data, "-----"), *end;
    int n = 0;
    cr_assert_not_null(p);
    p = strchr(p, '\n');
    while (n < most && p - (char *)file.data < (long)file.size) {
        p += strspn(p, " \r\n");
        double value = strtod(p, &end);
        if (end == p && (*p == 'L' || *p == 'M' || *p == 'U'))
            end = p + 1;
        if (end == p)
            break;
        out[n++] = value;
        p = end;
    }
    free(file.data);
    cr_assert_eq(n % columns, 0);
    return n / columns;
}

/* NIST/SEMATECH e-Handbook 2.3.6.7: a = 0.2357623, b = 0.9870377 (handbook, from memory), all digits and
 * standard deviations by R's lm on the same data. With u the residual standard deviation of R, chi-square is the
 * degrees of freedom. */
Test(force, the_handbook_s_calibration_line)
{
    enum { N = 40 };
    double all[5 * N], x[N], y[N], none[N] = {0}, u[N];
    rg_force_line line;
    cr_assert_eq(read_table("tests/data/nist/CALIBRATIONLINE.DAT", 5, all, 5 * N), N);
    for (int i = 0; i < N; i++) {
        x[i] = all[5 * i];
        y[i] = all[5 * i + 1];
        u[i] = 0.0620319594;
    }
    cr_assert_eq(rg_force_line_fit(x, y, none, u, N, &line, &err), RG_OK, "%s", err.text);
    cr_expect_float_eq(line.a, 0.2357622903, 1e-10);
    cr_expect_float_eq(line.b, 0.9870377143, 1e-10);
    cr_expect_float_eq(line.u_a, 0.0243003442, 1e-10);
    cr_expect_float_eq(line.u_b, 0.0034405803, 1e-10);
    cr_expect_float_eq(line.chi2, 38, 1e-6);
}

/* The handbook's control values of six days, by use of the line backwards (2.3.7.1; computed with R). */
Test(force, the_handbook_s_line_used_backwards)
{
    static const double control[] = {.1358,  .0070,  .1008, .0041,  .0475, -.1221,
                                     .0649,  -.0234, .0096, -.2289, .2704, .2933,
                                     -.0263, .0475,  .0400, .0447,  .0374, .0096};
    rg_force_line line = {
        .a = 0.2357622903, .b = 0.9870377143, .u_a = 0.0243003442, .u_b = 0.0034405803};
    double row[4 * 18];
    cr_assert_eq(read_table("tests/data/nist/LINEWID.DAT", 4, row, 4 * 18), 18);
    for (int i = 0; i < 18; i++)
        cr_expect_float_eq(rg_force_line_inverse(&line, row[4 * i + 3], 2, NULL, NULL, NULL) -
                               row[4 * i + 2],
                           control[i], 5.1e-5, "%d", i);
}

/* Pearson's (1901) points with York's (1966) weights, the usual trial of errors in both: slope
 * -0.48053341, intercept 5.47991022 (data and results from memory; they agree). */
static const double pearson[4][10] = {{0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4},
                                      {5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5},
                                      {1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1},
                                      {1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500}};

Test(force, pearson_s_points_with_york_s_weights)
{
    double ux[10], uy[10];
    rg_force_line line;
    for (int i = 0; i < 10; i++) {
        ux[i] = 1 / sqrt(pearson[2][i]);
        uy[i] = 1 / sqrt(pearson[3][i]);
    }
    cr_assert_eq(rg_force_line_fit(pearson[0], pearson[1], ux, uy, 10, &line, &err), RG_OK);
    cr_expect_float_eq(line.b, -0.48053341, 1e-8);
    cr_expect_float_eq(line.a, 5.47991022, 1e-8);
    cr_expect_float_eq(line.chi2, 11.86635, 1e-4);
    /* York et al. 2004, table 2: 0.0580 and 0.2950 (from memory). */
    cr_expect_float_eq(line.u_b, 0.0580, 1e-3);
    cr_expect_float_eq(line.u_a, 0.2950, 3e-3);
    /* A line has no side: with the axes exchanged it is the same one. */
    rg_force_line turned;
    cr_assert_eq(rg_force_line_fit(pearson[1], pearson[0], uy, ux, 10, &turned, &err), RG_OK);
    cr_expect_float_eq(turned.b * line.b, 1, 1e-9);
    cr_expect_float_eq(turned.chi2, line.chi2, 1e-8);
}

/* Fieller's limits by his own definition, put in again. */
Test(force, limits_satisfy_fieller_s_equation)
{
    double f[] = {20, 40, 60, 80}, w[] = {0.08, 0.055, 0.034, 0.01}, uf[] = {2, 2, 2, 2},
           uw[] = {0.003, 0.003, 0.002, 0.004}, limit[2], u;
    rg_force_line line;
    cr_assert_eq(rg_force_line_fit(f, w, uf, uw, 4, &line, &err), RG_OK);
    double x = rg_force_line_inverse(&line, 0.025, 2, &u, &limit[0], &limit[1]);
    cr_expect(limit[0] < x && x < limit[1] && u > 0);
    for (int i = 0; i < 2; i++) {
        double left = pow(line.a + line.b * limit[i] - 0.025, 2);
        double right =
            4 * (line.u_a * line.u_a + 2 * limit[i] * line.u_ab + pow(limit[i] * line.u_b, 2));
        cr_expect_float_eq(left / right, 1, 1e-9);
    }
    line.u_b = fabs(line.b);
    rg_force_line_inverse(&line, 0.025, 2, NULL, &limit[0], &limit[1]);
    cr_expect(isinf(limit[0]) && isinf(limit[1]), "a slope that may be 0 bounds nothing");
}

Test(force, points_that_make_no_line_are_refused)
{
    double f[] = {30, 30}, w[] = {0.05, 0.06}, u[] = {0.1, 0.1}, none[] = {0, 0};
    rg_force_line line;
    cr_expect_eq(rg_force_line_fit(f, w, u, u, 2, &line, &err), RG_BAD_DATA);
    f[1] = 40;
    cr_expect_eq(rg_force_line_fit(f, w, none, none, 2, &line, &err), RG_BAD_DATA);
    w[0] = NAN;
    cr_expect_eq(rg_force_line_fit(f, w, u, u, 2, &line, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "point 1") != NULL);
}

/* ---------------------------------------------------------------- verdict */

static rg_seating by(rg_press press, double grams, rg_verdict verdict)
{
    return (rg_seating){
        .press = press, .grams = grams, .verdict = verdict, .widest_mm = NAN, .u_widest_mm = NAN};
}

Test(force, the_verdict_over_all_fingers)
{
    const rg_verdict S = RG_VERDICT_SEALED, L = RG_VERDICT_LEAKING, U = RG_VERDICT_UNDECIDED;
    const rg_press N = RG_PRESS_UNSTATED, I = RG_PRESS_LIGHT, F = RG_PRESS_FIRM, G = RG_PRESS_GRAMS;
    const struct {
        int n;
        rg_press press[3];
        double grams[3];
        rg_verdict each[3], all;
        const char *reason;
    } row[] = {
        {0, {N}, {0}, {S}, U, "no sweep"},
        {1, {I}, {0}, {S}, S, ""},
        {1, {N}, {0}, {S}, S, ""},
        {1, {F}, {0}, {S}, U, "only a firm finger"},
        {1, {F}, {0}, {L}, L, ""},
        {2, {I, F}, {0}, {L, S}, L, "only more force closes it"},
        {2, {I, F}, {0}, {S, S}, S, ""},
        {2, {I, F}, {0}, {S, L}, L, ""},
        {2, {I, F}, {0}, {U, S}, U, ""},
        {2, {I, F}, {0}, {S, U}, U, ""},
        {1, {G}, {80}, {S}, S, ""},
        {1, {G}, {81}, {S}, U, "only a firm finger"},
        {2, {G, G}, {10, 40}, {L, S}, S, ""},
        {2, {G, G}, {25, 40}, {L, S}, L, ""},
        {2, {G, G}, {10, 200}, {L, S}, U, "only a firm finger"},
        {1, {G}, {10}, {S}, S, ""},
        {1, {G}, {10}, {L}, U, "no sweep under a playing finger"},
        {3, {G, G, G}, {40, 60, 120}, {L, L, S}, L, "only more force"},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_seating s[3];
        char reason[RG_REASON_SIZE];
        for (int k = 0; k < row[i].n; k++)
            s[k] = by(row[i].press[k], row[i].grams[k], row[i].each[k]);
        cr_expect_eq(rg_force_verdict(s, row[i].n, 25, 80, reason), row[i].all, "row %zu", i);
        cr_expect(row[i].reason[0] ? strstr(reason, row[i].reason) != NULL : !reason[0],
                  "row %zu: %s", i, reason);
    }
}

/* ------------------------------------------------- gaps that force closes */

static rg_seal_map dark_map(double limit)
{
    rg_seal_map m = {.rim_outer_diameter_mm = 20, .verdict = RG_VERDICT_SEALED};
    for (int b = 0; b < RG_BINS; b++)
        m.bin[b] = (rg_bin){.bearing_deg = b,
                            .u_mm = limit / 3.29,
                            .detection_limit_mm = limit,
                            .state = RG_BIN_SEALED};
    return m;
}

static void open_arc(rg_seal_map *m, int from, int length, double width, double u)
{
    for (int i = 0; i < length; i++) {
        rg_bin *bin = &m->bin[(from + i) % RG_BINS];
        bin->state = RG_BIN_GAP;
        bin->width_mm = width + 0.001 * (i == length / 2);
        bin->u_mm = u;
        bin->lit = 3;
    }
    m->verdict = RG_VERDICT_LEAKING;
}

static rg_force_sweep sweep_of(const rg_seal_map *map, rg_press press, double grams)
{
    return (rg_force_sweep){map, rg_seating_of_map(map, press, grams, 2)};
}

static void find(const rg_force_sweep *sweep, int sweeps)
{
    cr_assert_eq(rg_force_find(sweep, sweeps, &seal, &test_force_options, &r, &err), RG_OK, "%s",
                 err.text);
}

static bool says(const char *word)
{
    for (int i = 0; i < r.advice.lines; i++)
        if (strstr(r.advice.line[i], word))
            return true;
    return false;
}

Test(force, a_gap_that_only_a_firm_finger_closes_is_a_leak)
{
    rg_seal_map light = dark_map(0.01), firm = dark_map(0.01);
    open_arc(&light, 350, 20, 0.06, 0.003); /* over the seam; closed by force */
    open_arc(&light, 100, 10, 0.06, 0.003); /* stays */
    open_arc(&firm, 100, 10, 0.04, 0.003);
    open_arc(&light, 200, 10, 0.03, 0.003); /* not open beyond U: 0.030 - 0.006 < 0.025 */
    open_arc(&light, 250, 2, 0.06, 0.003);  /* shorter than the shortest leak */
    rg_force_sweep sweep[] = {sweep_of(&firm, RG_PRESS_FIRM, 0),
                              sweep_of(&light, RG_PRESS_LIGHT, 0)};
    find(sweep, 2);
    cr_assert_eq(r.gaps, 1);
    const rg_force_gap *g = &r.gap[0];
    cr_expect_float_eq(g->start_deg, 349.5, 1e-12);
    cr_expect_float_eq(g->end_deg, 9.5, 1e-12);
    cr_expect(g->extent_deg == 20 && g->leak && g->open == 1 && g->closed == 0);
    cr_expect_float_eq(g->most_mm, 0.061, 1e-12);
    cr_expect_eq(g->most_bearing_deg, 0);
    cr_expect(says("Only force closes the gap at 350 to 10 degrees: 0.061") && says("To a player"));
    cr_expect_eq(r.verdict, RG_VERDICT_LEAKING);
    cr_expect_eq(r.state, RG_FORCE_MORE_THAN_FIRM);
}

Test(force, a_bearing_that_the_firm_sweep_did_not_see_is_not_closed)
{
    rg_seal_map light = dark_map(0.01), firm = dark_map(0.01);
    open_arc(&light, 40, 20, 0.06, 0.003);
    for (int b = 40; b < 60; b++)
        firm.bin[b] = (rg_bin){.bearing_deg = b,
                               .width_mm = NAN,
                               .u_mm = NAN,
                               .detection_limit_mm = INFINITY,
                               .state = RG_BIN_UNSEEN};
    firm.verdict = RG_VERDICT_UNDECIDED;
    rg_force_sweep sweep[] = {sweep_of(&light, RG_PRESS_LIGHT, 0),
                              sweep_of(&firm, RG_PRESS_FIRM, 0)};
    find(sweep, 2);
    cr_expect_eq(r.gaps, 0);
    for (int b = 40; b < 60; b++) {
        firm.bin[b] = light.bin[0];
        firm.bin[b].detection_limit_mm = 0.02; /* above half the tolerance */
    }
    find(sweep, 2);
    cr_expect_eq(r.gaps, 0, "dark beyond the limit is not seen");
}

Test(force, what_closes_under_less_than_a_playing_finger_is_no_leak)
{
    rg_seal_map feather = dark_map(0.01), light = dark_map(0.01);
    open_arc(&feather, 40, 20, 0.06, 0.003);
    rg_force_sweep sweep[] = {sweep_of(&feather, RG_PRESS_GRAMS, 12),
                              sweep_of(&light, RG_PRESS_GRAMS, 40)};
    find(sweep, 2);
    cr_assert_eq(r.gaps, 1);
    cr_expect(!r.gap[0].leak && r.verdict == RG_VERDICT_SEALED);
    cr_expect(says("A playing finger presses more"));
}

/* ------------------------------------------------------------ force needed */

static rg_seal_map no_map;

/* A sweep with this widest gap, whose verdict follows from it at k = 2. */
static rg_force_sweep widest(double grams, double mm, double u)
{
    rg_force_sweep s = {&no_map, by(RG_PRESS_GRAMS, grams, RG_VERDICT_UNDECIDED)};
    s.seating.widest_mm = mm;
    s.seating.u_widest_mm = u;
    if (mm - 2 * u > 0.025)
        s.seating.verdict = RG_VERDICT_LEAKING;
    if (mm + 2 * u <= 0.025)
        s.seating.verdict = RG_VERDICT_SEALED;
    return s;
}

/* 0.1 - 0.00125 f: 0.025 mm at 60 g, without scatter. */
Test(force, the_force_is_read_off_the_line)
{
    rg_force_sweep s[] = {widest(70, 0.0125, 0.002), widest(20, 0.075, 0.002),
                          widest(40, 0.05, 0.002)};
    find(s, 3);
    cr_assert_eq(r.state, RG_FORCE_INTERPOLATED);
    cr_expect_float_eq(r.force_g, 60, 1e-6);
    cr_expect(r.leaks_g == 40 && r.seals_g == 70 && r.low_g < 60 && r.high_g > 60);
    cr_expect_float_eq(r.line.b, -0.00125, 1e-9);
    /* Errors of the gauge count: 2 g and 0.002 / 0.00125 g are at least 2 g at the crossing's side. */
    cr_expect(r.u_g > 1.5 && r.u_g < 4, "%g", r.u_g);
    cr_expect(says("It seals (0.025 mm) from 60") && says("40 g leaks, 70 g seals"));
}

Test(force, nothing_is_extrapolated)
{
    rg_force_sweep s[] = {widest(20, 0.075, 0.002), widest(40, 0.05, 0.002), widest(80, 0, 0.004),
                          widest(90, 0, 0.004)};
    find(s, 2);
    cr_expect(r.state == RG_FORCE_MORE_THAN && r.low_g == 40 && isnan(r.high_g) &&
              isnan(r.force_g));
    cr_expect(says("more than 40 g"));
    find(s + 2, 2);
    cr_expect(r.state == RG_FORCE_AT_MOST && r.high_g == 80 && isnan(r.force_g));
    find(s + 1, 2);
    cr_expect(r.state == RG_FORCE_BRACKET && r.low_g == 40 && r.high_g == 80);
    cr_expect_float_eq(r.u_g, 40 / sqrt(12), 1e-12);
    cr_expect(says("between 40 and 80 g"));
    find(s, 3);
    cr_expect(r.state == RG_FORCE_INTERPOLATED && r.high_g <= 80,
              "up to a force that was seen to seal");
}

Test(force, a_line_that_does_not_hold_gives_way_to_neighbours)
{
    rg_force_sweep s[] = {widest(10, 0.4, 0.002), widest(30, 0.15, 0.002), widest(50, 0.04, 0.002),
                          widest(70, 0.012, 0.002)};
    find(s, 4);
    cr_expect(!r.line_holds && r.line.p < 0.05);
    cr_assert_eq(r.state, RG_FORCE_INTERPOLATED);
    cr_expect_float_eq(r.force_g, 50 + 20 * 15. / 28, 1e-6);
}

Test(force, a_gap_that_does_not_fall_leaves_the_bracket)
{
    rg_force_sweep s[] = {widest(20, 0.05, 0.004), widest(40, 0.052, 0.004), widest(80, 0, 0.004)};
    find(s, 3);
    cr_expect_eq(r.state, RG_FORCE_BRACKET);
}

Test(force, a_seal_below_a_leak_contradicts)
{
    rg_force_sweep s[] = {widest(40, 0, 0.004), widest(60, 0.06, 0.002), widest(80, 0, 0.004)};
    find(s, 3);
    cr_expect(r.state == RG_FORCE_CONTRADICTED && isnan(r.force_g) && says("does not repeat"));
    cr_expect_eq(r.verdict, RG_VERDICT_LEAKING);
}

Test(force, by_words_only_what_words_can_say)
{
    const struct {
        rg_verdict light, firm;
        rg_force_state state;
    } row[] = {{RG_VERDICT_LEAKING, RG_VERDICT_SEALED, RG_FORCE_LIGHT_TO_FIRM},
               {RG_VERDICT_LEAKING, RG_VERDICT_LEAKING, RG_FORCE_MORE_THAN_FIRM},
               {RG_VERDICT_SEALED, RG_VERDICT_SEALED, RG_FORCE_LIGHT_IS_ENOUGH},
               {RG_VERDICT_SEALED, RG_VERDICT_LEAKING, RG_FORCE_CONTRADICTED},
               {RG_VERDICT_UNDECIDED, RG_VERDICT_SEALED, RG_FORCE_NOT_MEASURED},
               {RG_VERDICT_LEAKING, RG_VERDICT_UNDECIDED, RG_FORCE_NOT_MEASURED}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        rg_force_sweep s[] = {{&no_map, by(RG_PRESS_LIGHT, NAN, row[i].light)},
                              {&no_map, by(RG_PRESS_FIRM, NAN, row[i].firm)}};
        find(s, 2);
        cr_expect_eq(r.state, row[i].state, "row %zu: %s", i, rg_force_state_name(r.state));
        cr_expect(isnan(r.force_g));
    }
}

/* Pads that yield along a straight line, swept at five forces, with drawn errors of gap and gauge: the stated
 * limits hold the true force as often as k = 2 says. The pads where a drawn error makes the bracket
 * contradict itself or fail are counted apart and are few. */
Test(force, drawn_pads_lie_within_the_stated_limits)
{
    enum { PADS = 3000 };
    static const double force[] = {15, 30, 45, 60, 75};
    test_random random = {20261128};
    int told = 0, inside = 0, false_neighbours = 0;
    for (int n = 0; n < PADS; n++) {
        rg_force_sweep s[5];
        double needed = 35 + 25 * test_uniform(&random),
               slope = 0.0006 + 0.0012 * test_uniform(&random);
        for (int i = 0; i < 5; i++) {
            double u = 0.0015 + 0.001 * test_uniform(&random);
            double pressed = force[i] + 2 * test_normal(&random);
            double w = 0.025 + slope * (needed - pressed) + u * test_normal(&random);
            s[i] = widest(force[i], w > 0.002 ? w : 0, w > 0.002 ? u : 0.004);
        }
        find(s, 5);
        false_neighbours += !r.line_holds && r.line.n > 2;
        if (r.state != RG_FORCE_INTERPOLATED)
            continue;
        told++;
        inside += needed >= r.low_g && needed <= r.high_g;
    }
    double share = (double)inside / told;
    cr_expect(told > 0.9 * PADS, "%d", told);
    cr_expect(share > 0.945 && share < 0.98, "%.4f of %d", share, told);
    cr_expect((double)false_neighbours / PADS < 0.07, "%d lines refused at p = 0.05",
              false_neighbours);
}

/* -------------------------------------------------------------------- soft */

static rg_force_sweep plane(double grams, double mean, double tilt)
{
    rg_force_sweep s = widest(grams, mean + tilt, 0.003);
    s.seating.state = RG_SEATING_OPEN;
    s.seating.mean_mm = mean;
    s.seating.tilt_known = true;
    s.seating.tilt_mm[0] = tilt;
    for (int i = 0; i < 3; i++)
        s.seating.covariance[i][i] = 9e-6;
    return s;
}

Test(force, a_pad_that_sinks_level_is_soft)
{
    rg_force_sweep soft[] = {plane(20, 0.25, 0.03), plane(40, 0.17, 0.03), plane(60, 0.09, 0.03)};
    rg_force_sweep bent[] = {plane(20, 0.25, 0.03), plane(40, 0.17, 0.06), plane(60, 0.09, 0.09)};
    rg_force_sweep hard[] = {plane(20, 0.09, 0.03), plane(40, 0.07, 0.03), plane(60, 0.05, 0.03)};
    find(soft, 3);
    cr_expect_float_eq(r.sinks_mm_per_100g, 0.4, 1e-9);
    cr_expect(r.soft && says("The pad is soft"));
    find(bent, 3);
    cr_expect(!r.soft && r.tilts.p < 1e-6);
    find(hard, 3);
    cr_expect_float_eq(r.sinks_mm_per_100g, 0.1, 1e-9);
    cr_expect(!r.soft && says("sinks 0.100"));
}

Test(force, what_cannot_be_is_refused)
{
    rg_force_sweep s = widest(0, 0.05, 0.002);
    rg_force_options o = test_force_options;
    cr_expect_eq(rg_force_find(&s, 1, &seal, &test_force_options, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "sweep 1") != NULL);
    cr_expect_eq(rg_force_find(&s, 0, &seal, &test_force_options, &r, &err), RG_BAD_DATA);
    s = widest(20, 0.05, 0.002);
    o.light_most_g = 20;
    cr_expect_eq(rg_force_find(&s, 1, &seal, &o, &r, &err), RG_BAD_DATA);
}

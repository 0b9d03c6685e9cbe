/*
 * Tests of rimline.h: strips with an edge drawn at a known height, and marks
 * of a known plane with noise and outliers.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "rimglow/rimline.h"
#include "support/scene.h"
#include "support/setup.h"

static rg_rimline_options usual(void)
{
    rg_setup s;
    test_setup(&s);
    return s.options.rimline;
}

/* ---------------------------------------------------------------- marks */
enum { COLUMNS = 80, ROWS = 134 };

typedef struct drawn {
    rg_strip_column column[COLUMNS];
    float light[COLUMNS * ROWS];
    rg_strip strip;
} drawn;

typedef double column_light(double bearing_deg, double z);

static double rim_at(double bearing_deg)
{
    return 0.03 + 0.1 * cos((bearing_deg - 70) * RG_PI / 180);
}

static double step_at(double z, double edge, double sigma)
{
    return 0.5 * (1 + erf((z - edge) / (sigma * sqrt(2))));
}

/* Bright chimney up to 0.085 mm below the rim, dark pad above. */
static double dark_seat(double bearing_deg, double z)
{
    return 0.004 + 0.04 * (1 - step_at(z, rim_at(bearing_deg) - 0.085, 0.034));
}

/* A band of light of 0.12 mm on the rim. */
static double lit_band(double bearing_deg, double z)
{
    double rim = rim_at(bearing_deg);
    return 0.01 + 0.8 * (step_at(z, rim, 0.025) - step_at(z, rim + 0.12, 0.025));
}

static double thick_band(double bearing_deg, double z)
{
    double rim = rim_at(bearing_deg);
    return 0.01 + 0.8 * (step_at(z, rim, 0.025) - step_at(z, rim + 0.6, 0.025));
}

static double no_edge(double bearing_deg, double z)
{
    (void)bearing_deg, (void)z;
    return 0.03;
}

static double rising_edge(double bearing_deg, double z)
{
    return 0.044 - dark_seat(bearing_deg, z) + 0.004;
}

static double far_edge(double bearing_deg, double z)
{
    (void)bearing_deg;
    return 0.004 + 0.04 * (1 - step_at(z, 0.85, 0.034));
}

static void draw(drawn *d, column_light *light)
{
    d->strip = (rg_strip){COLUMNS, ROWS, -0.8, 0.015, 0.25, d->column, d->light};
    for (int c = 0; c < COLUMNS; c++) {
        d->column[c] = (rg_strip_column){.bearing_deg = 60 + 0.25 * (c + 0.5), .inside = true};
        for (int r = 0; r < ROWS; r++)
            d->light[c * ROWS + r] =
                (float)light(d->column[c].bearing_deg, rg_strip_height(&d->strip, r));
    }
}

static int marks_of(column_light *light, int every, rg_rim_mark *mark)
{
    static drawn d;
    rg_rimline_options o = usual();
    draw(&d, light);
    return rg_rim_marks(&d.strip, 4, every, &o, mark, COLUMNS);
}

static void heights_are_right(const rg_rim_mark *mark, int n, bool lit, double tolerance)
{
    for (int i = 0; i < n; i++) {
        cr_assert_eq(mark[i].lit, lit);
        cr_assert_eq(mark[i].frame, 4);
        cr_assert_float_eq(mark[i].height_mm, rim_at(mark[i].bearing_deg), tolerance,
                           "bearing %g: %g instead of %g", mark[i].bearing_deg, mark[i].height_mm,
                           rim_at(mark[i].bearing_deg));
    }
}

Test(rimline, a_dark_seat_is_marked_above_its_shadow_edge)
{
    rg_rim_mark mark[COLUMNS];
    int n = marks_of(dark_seat, 1, mark);
    cr_assert_eq(n, COLUMNS);
    heights_are_right(mark, n, false, 0.012);
}

Test(rimline, light_is_marked_at_its_lower_edge)
{
    rg_rim_mark mark[COLUMNS];
    int n = marks_of(lit_band, 1, mark);
    cr_assert_eq(n, COLUMNS);
    heights_are_right(mark, n, true, 0.006);
}

Test(rimline, one_mark_for_every_so_many_columns)
{
    rg_rim_mark mark[COLUMNS];
    cr_assert_eq(marks_of(dark_seat, 8, mark), COLUMNS / 8);
    cr_assert_float_eq(mark[1].bearing_deg - mark[0].bearing_deg, 2, 1e-9);
}

Test(rimline, columns_without_a_rim_edge_give_no_mark)
{
    rg_rim_mark mark[COLUMNS];
    cr_assert_eq(marks_of(no_edge, 1, mark), 0);
    cr_assert_eq(marks_of(rising_edge, 1, mark), 0);
    cr_assert_eq(marks_of(far_edge, 1, mark), 0);
}

Test(rimline, a_thick_band_is_not_taken_for_a_gap)
{
    rg_rim_mark mark[COLUMNS];
    int n = marks_of(thick_band, 1, mark);
    for (int i = 0; i < n; i++)
        cr_assert_not(mark[i].lit);
}

Test(rimline, columns_outside_the_picture_and_tiny_strips_give_no_mark)
{
    static drawn d;
    rg_rim_mark mark[COLUMNS];
    rg_rimline_options o = usual();
    draw(&d, dark_seat);
    for (int c = 0; c < COLUMNS; c++)
        d.column[c].inside = c < 10;
    cr_assert_eq(rg_rim_marks(&d.strip, 0, 1, &o, mark, COLUMNS), 10);
    cr_assert_eq(rg_rim_marks(&d.strip, 0, 1, &o, mark, 3), 3);
    d.strip.rows = 10;
    cr_assert_eq(rg_rim_marks(&d.strip, 0, 1, &o, mark, COLUMNS), 0);
}

/* ---------------------------------------------------------------- plane */
enum { MARKS = 360, FRAMES = 6 };
static const rg_rim_plane truth = {.c = 0.035, .a = 0.19, .s = -0.07};

static double true_height(double bearing_deg)
{
    double b = bearing_deg * RG_PI / 180;
    return truth.c + truth.a * cos(b) + truth.s * sin(b);
}

/* Marks all round; a share of them anywhere within the search range. */
static void scatter_marks(rg_rim_mark *mark, double noise, double outliers, const double *shift)
{
    test_random random = {11};
    for (int i = 0; i < MARKS; i++) {
        mark[i] = (rg_rim_mark){.bearing_deg = (7 * i) % 360, .frame = i % FRAMES};
        double z = true_height(mark[i].bearing_deg) + noise * test_normal(&random);
        if (shift)
            z += shift[mark[i].frame];
        if (test_uniform(&random) < outliers)
            z = 1.2 * test_uniform(&random) - 0.6;
        mark[i].height_mm = z;
    }
}

static rg_rim_plane fit(const rg_rim_mark *mark, int count, double *shift)
{
    rg_rimline_options o = usual();
    rg_rim_plane plane;
    rg_error err = {0};
    cr_assert_eq(rg_rim_plane_fit(mark, count, FRAMES, &o, &plane, shift, &err), RG_OK, "%s",
                 err.text);
    return plane;
}

static void near_truth(const rg_rim_plane *p, double tolerance)
{
    cr_expect(p->found);
    cr_expect_float_eq(p->c, truth.c, tolerance, "c %g", p->c);
    cr_expect_float_eq(p->a, truth.a, tolerance, "a %g", p->a);
    cr_expect_float_eq(p->s, truth.s, tolerance, "s %g", p->s);
}

Test(rimline, exact_marks_give_the_exact_plane)
{
    rg_rim_mark mark[MARKS];
    double shift[FRAMES];
    scatter_marks(mark, 0, 0, NULL);
    rg_rim_plane p = fit(mark, MARKS, shift);
    near_truth(&p, 1e-9);
    cr_assert_eq(p.inliers, MARKS);
    cr_assert_float_eq(p.bearing_span_deg, 360, 1e-9);
    cr_assert_float_eq(p.sigma_mm, 0, 1e-9);
}

Test(rimline, plane_is_found_among_thirty_per_cent_of_outliers)
{
    rg_rim_mark mark[MARKS];
    scatter_marks(mark, 0.006, 0.3, NULL);
    rg_rim_plane p = fit(mark, MARKS, NULL);
    /* 250 good marks: sqrt(2/250) * 0.006 = 0.0005 mm a coefficient. */
    near_truth(&p, 0.002);
    cr_assert(p.inliers > 0.65 * MARKS && p.inliers < 0.8 * MARKS, "%d inliers", p.inliers);
    cr_assert(p.sigma_mm > 0.005 && p.sigma_mm < 0.009, "sigma %g", p.sigma_mm);
}

Test(rimline, least_squares_alone_would_miss_the_plane)
{
    /* The guard of the test above: outliers on one side of the mean do pull. */
    rg_rim_mark mark[MARKS];
    double sum = 0;
    scatter_marks(mark, 0.006, 0.3, NULL);
    for (int i = 0; i < MARKS; i++)
        sum += mark[i].height_mm * cos(mark[i].bearing_deg * RG_PI / 180) * 2 / MARKS;
    cr_assert_gt(fabs(sum - truth.a), 0.02);
}

Test(rimline, noise_without_a_plane_is_not_found)
{
    rg_rim_mark mark[MARKS];
    scatter_marks(mark, 0, 1, NULL);
    rg_rim_plane p = fit(mark, MARKS, NULL);
    cr_assert_not(p.found, "%d inliers of %d", p.inliers, p.marks);
}

Test(rimline, too_few_marks_are_not_a_plane)
{
    rg_rim_mark mark[MARKS];
    double shift[FRAMES];
    scatter_marks(mark, 0, 0, NULL);
    for (int n = 0; n < 30; n += 29) {
        rg_rim_plane p = fit(mark, n, shift);
        cr_assert_not(p.found);
        for (int f = 0; f < FRAMES; f++)
            cr_assert_eq(shift[f], 0);
    }
    cr_assert(fit(mark, 30, shift).found);
}

Test(rimline, marks_on_one_side_say_how_little_they_span)
{
    rg_rim_mark mark[MARKS];
    scatter_marks(mark, 0.002, 0, NULL);
    int n = 0;
    for (int i = 0; i < MARKS; i++)
        if (mark[i].bearing_deg >= 90 && mark[i].bearing_deg < 190)
            mark[n++] = mark[i];
    rg_rim_plane p = fit(mark, n, NULL);
    cr_assert_float_eq(p.bearing_span_deg, 100, 1e-9);
}

Test(rimline, each_frame_s_height_shift_is_recovered)
{
    static const double moved[FRAMES] = {0.012, -0.015, 0.004, 0, -0.009, 0.008};
    rg_rim_mark mark[MARKS];
    double shift[FRAMES];
    scatter_marks(mark, 0.003, 0.2, moved);
    rg_rim_plane p = fit(mark, MARKS, shift);
    near_truth(&p, 0.003);
    for (int f = 0; f < FRAMES; f++)
        cr_expect_float_eq(shift[f], moved[f], 0.003, "frame %d: %g, moved by %g", f, shift[f],
                           moved[f]);
    cr_assert_lt(p.sigma_mm, 0.006);
}

Test(rimline, a_shift_is_never_believed_beyond_its_limit)
{
    static const double moved[FRAMES] = {0, 0, 0.028, 0, 0, 0};
    rg_rim_mark mark[MARKS];
    double shift[FRAMES];
    rg_rimline_options o = usual();
    rg_rim_plane p;
    o.max_shift_mm = 0.01;
    scatter_marks(mark, 0.002, 0, moved);
    cr_assert_eq(rg_rim_plane_fit(mark, MARKS, FRAMES, &o, &p, shift, NULL), RG_OK);
    cr_assert_float_eq(shift[2], 0.01, 1e-12);
}

/* A hole that is open on both sides: from above light stands on the rim, in two frames of six; from below
 * and level it begins 0.15 mm higher in all four, being looked through underneath. */
Test(rimline, light_that_begins_above_the_rim_does_not_lift_it)
{
    rg_rim_mark mark[MARKS];
    test_random random = {5};
    scatter_marks(mark, 0.006, 0, NULL);
    for (int i = 0; i < MARKS; i++) {
        mark[i].lit = true;
        if (mark[i].frame >= 2)
            mark[i].height_mm =
                true_height(mark[i].bearing_deg) + 0.15 + 0.002 * test_normal(&random);
    }
    rg_rim_plane p = fit(mark, MARKS, NULL);
    near_truth(&p, 0.003);
    cr_expect_eq(p.above, MARKS * 4 / 6, "%d", p.above);
    /* Edges that are not lit say nothing of the kind: there the many decide. */
    for (int i = 0; i < MARKS; i++)
        mark[i].lit = false;
    p = fit(mark, MARKS, NULL);
    cr_expect_float_eq(p.c, truth.c + 0.15, 0.003);
    cr_expect_eq(p.above, 0);
}

/* 100 marks of 360 bear the plane. Where the others are light above it, half of them are not counted: a third of
 * the rest is 60. Where they are other edges, a third of all is 120. */
Test(rimline, light_above_the_plane_is_not_counted_against_it)
{
    rg_rim_mark mark[MARKS];
    for (int lit = 0; lit <= 1; lit++) {
        scatter_marks(mark, 0, 0, NULL);
        for (int i = 100; i < MARKS; i++) {
            mark[i].lit = lit;
            mark[i].height_mm += 0.1 + 0.4 * (i % 7) / 7;
        }
        rg_rim_plane p = fit(mark, MARKS, NULL);
        cr_expect_eq(p.inliers, 100, "%d", p.inliers);
        cr_expect_eq(p.found, lit == 1);
    }
}

Test(rimline, same_marks_give_the_same_plane)
{
    rg_rim_mark mark[MARKS];
    scatter_marks(mark, 0.006, 0.4, NULL);
    rg_rim_plane a = fit(mark, MARKS, NULL), b = fit(mark, MARKS, NULL);
    cr_assert(a.c == b.c && a.a == b.a && a.s == b.s);
}

/* A sweep as the samples are taken: five frames at each of six bearings, each
 * seeing 58 degrees to either side, with a height error of its own. */
static int sweep_marks(rg_rim_mark *mark, test_random *random)
{
    int n = 0;
    for (int f = 0; f < 30; f++) {
        double moved = 0.004 * test_normal(random);
        for (int d = -58; d <= 58; d += 4) {
            double b = fmod(60 * (f / 5) + d + 360, 360);
            double z = true_height(b) + moved + 0.008 * test_normal(random);
            mark[n++] = (rg_rim_mark){.bearing_deg = b, .height_mm = z, .frame = f};
        }
    }
    return n;
}

Test(rimline, coefficients_scatter_no_more_than_their_covariance_says)
{
    enum { SWEEPS = 200 };
    test_random random = {77};
    rg_rimline_options o = usual();
    double square[3] = {0}, claimed[3] = {0};
    for (int k = 0; k < SWEEPS; k++) {
        rg_rim_mark mark[900];
        rg_rim_plane p;
        double shift[30];
        int n = sweep_marks(mark, &random);
        cr_assert_eq(rg_rim_plane_fit(mark, n, 30, &o, &p, shift, NULL), RG_OK);
        double error[3] = {p.c - truth.c, p.a - truth.a, p.s - truth.s};
        for (int i = 0; i < 3; i++) {
            square[i] += error[i] * error[i] / SWEEPS;
            claimed[i] += p.covariance[i][i] / SWEEPS;
        }
    }
    for (int i = 0; i < 3; i++) {
        double ratio = sqrt(square[i] / claimed[i]);
        cr_expect(ratio > 0.4 && ratio < 1.25, "coefficient %d: scatter %g of the claim", i, ratio);
    }
}

Test(rimline, uncertainty_of_the_slope_follows_from_the_covariance)
{
    /* slope = (a cos b + s sin b) / r, JCGM 100 eq. 13 */
    rg_rim_plane p = {.covariance = {{1, 0, 0}, {0, 4e-6, 1e-6}, {0, 1e-6, 9e-6}}};
    cr_assert_float_eq(rg_rim_plane_slope_u(&p, 0, 10), 2e-4, 1e-12);
    cr_assert_float_eq(rg_rim_plane_slope_u(&p, 90, 10), 3e-4, 1e-12);
    cr_assert_float_eq(rg_rim_plane_slope_u(&p, 45, 10), sqrt(6.5e-6 + 1e-6) / 10, 1e-12);
}

Test(rimline, height_and_slope_are_those_of_one_plane)
{
    /* z = c + gx x + gy y on the circle of radius 10: slope along b is the
     * difference of heights across, over the diameter. */
    for (double b = 0; b < 360; b += 13) {
        double across = rg_rim_plane_height(&truth, b) - rg_rim_plane_height(&truth, b + 180);
        cr_assert_float_eq(rg_rim_plane_slope(&truth, b, 10), across / 20, 1e-12);
        cr_assert_float_eq(rg_rim_plane_height(&truth, b), true_height(b), 1e-12);
    }
}

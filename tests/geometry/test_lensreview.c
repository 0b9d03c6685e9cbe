/*
 * Tests of lensreview.h: rules, each with views made for it.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/lensreview.h"
#include "support/corners.h"

static const rg_lens lens = {
    .width = 1200, .height = 900, .fx = 1500, .fy = 1500, .cx = 599.5, .cy = 449.5};
static const rg_lens_limits limits = {.min_views = 8,
                                      .field_views = 2,
                                      .corner_reach = 0.2,
                                      .tilt_deg = 15,
                                      .tilted_views = 3,
                                      .focal_relative = 0.002,
                                      .max_rms_px = 0.5};

enum { VIEWS = 10 };

/* A result that is good in every respect; tests spoil one thing each. */
typedef struct good_case {
    rg_view view[VIEWS];
    rg_view_fit fit[VIEWS];
    rg_calibration c;
} good_case;

static void make(good_case *g)
{
    static const double place[VIEWS][4] = {
        {0, 0, 20, 0},         {0, 0, -25, 5},          {0, 0, 0, 20},       {0, 0, 5, -30},
        {-0.22, -0.16, 20, 0}, {0.22, -0.16, 0, -20},   {-0.22, 0.16, 0, 0}, {0.22, 0.16, 0, 0},
        {0.21, 0.15, 0, 20},   {-0.21, -0.15, -20, -20}};
    memset(g, 0, sizeof *g);
    for (int i = 0; i < VIEWS; i++) {
        const double *p = place[i];
        rg_pose pose =
            test_grid_pose(12, 9, 20, i < 4 ? 450 : 480, (rg_vec2){p[0], p[1]}, p[2], p[3], 0);
        g->view[i] = test_grid_view(&lens, &pose, 12, 9, 20, 0, NULL);
        g->fit[i] = (rg_view_fit){.used = true, .pose = pose, .rms_px = 0.1};
    }
    g->c = (rg_calibration){.views = VIEWS, .view = g->fit};
    g->c.fit = (rg_lens_fit){.lens = lens, .views = VIEWS, .rms_px = 0.1};
    g->c.fit.sd[RG_LENS_FX] = g->c.fit.sd[RG_LENS_FY] = 1.5;
}

static rg_lens_review reviewed(const good_case *g)
{
    rg_lens_review r;
    rg_error err = {0};
    cr_assert_eq(rg_lens_review_make(&limits, g->view, &g->c, &r, &err), RG_OK, "%s", err.text);
    return r;
}

/* One advice, with that text in it. */
static void advises(good_case *g, const char *text)
{
    rg_lens_review r = reviewed(g);
    cr_expect_not(r.good);
    cr_expect_eq(r.advices, 1, "%s | %s", r.advice[0], r.advice[1]);
    cr_expect(strstr(r.advice[0], text), "%s", r.advice[0]);
    test_free_views(g->view, VIEWS);
}

static void drop_points(good_case *g, int view, double x0, double y0, double x1, double y1)
{
    rg_view *v = &g->view[view];
    int n = 0;
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 p = v->corner[i].pixel;
        if (!(p.x >= x0 && p.x <= x1 && p.y >= y0 && p.y <= y1))
            v->corner[n++] = v->corner[i];
    }
    v->corners = n;
}

Test(lensreview, a_good_calibration_is_called_good)
{
    good_case g;
    make(&g);
    rg_lens_review r = reviewed(&g);
    cr_expect(r.good, "%s | %s", r.advice[0], r.advice[1]);
    cr_expect_eq(r.views, VIEWS);
    cr_expect_float_eq(r.focal_relative, 0.001, 1e-12);
    cr_expect_float_eq(r.corner_limit_px, 0.2 * 750, 1e-9);
    test_free_views(g.view, VIEWS);
}

Test(lensreview, too_few_views_are_counted_without_the_bad_ones)
{
    good_case g;
    make(&g);
    for (int i = 0; i < 3; i++)
        g.c.view[i].used = false;
    g.c.view[3].rms_px = 0.2;
    rg_lens_limits few = limits;
    few.tilted_views = 1;
    rg_lens_review r;
    cr_assert_eq(rg_lens_review_make(&few, g.view, &g.c, &r, NULL), RG_OK);
    cr_expect_eq(r.views, 7);
    cr_expect_eq(r.advices, 1);
    cr_expect(strstr(r.advice[0], "take 1 more: 7 of 8 good views are there"), "%s", r.advice[0]);
    test_free_views(g.view, VIEWS);
}

Test(lensreview, an_empty_field_is_named)
{
    good_case g;
    make(&g);
    for (int i = 0; i < VIEWS; i++)
        drop_points(&g, i, -1e3, -1e3, 399.4, 299.4);
    advises(&g, "take 2 more with the board in the top left corner of the picture");
}

Test(lensreview, two_empty_fields_are_named_together)
{
    good_case g;
    make(&g);
    for (int i = 0; i < VIEWS; i++) {
        drop_points(&g, i, 400, 600, 799, 1e3);
        if (i > 0)
            drop_points(&g, i, 800, 300, 1e4, 599);
    }
    advises(&g, "take 2 more with the board at the right edge and at the bottom edge");
}

Test(lensreview, an_almost_empty_picture_gets_one_plain_sentence)
{
    good_case g;
    make(&g);
    for (int i = 0; i < VIEWS; i++) {
        drop_points(&g, i, -1e4, -1e4, 399.4, 1e4);
        drop_points(&g, i, 800, -1e4, 1e4, 1e4);
    }
    rg_lens_review r = reviewed(&g);
    cr_expect(strstr(r.advice[0], "fills the picture out to its edges and corners"), "%s",
              r.advice[0]);
    test_free_views(g.view, VIEWS);
}

Test(lensreview, a_corner_that_no_mark_comes_near_is_named_with_its_distance)
{
    good_case g;
    make(&g);
    for (int i = 0; i < VIEWS; i++)
        drop_points(&g, i, 1000, 700, 1e4, 1e4);
    advises(&g, "farther into the bottom right corner");
}

Test(lensreview, boards_tipped_about_one_axis_only_are_not_enough)
{
    good_case g;
    make(&g);
    for (int i = 0; i < VIEWS; i++)
        g.c.view[i].pose.R = rg_rodrigues(rg_vec3_make(0, rg_radians(30), 0));
    advises(&g, "take 3 more with the board's upper or lower edge tipped 15 to 40 degrees");
    make(&g);
    for (int i = 0; i < VIEWS; i++)
        g.c.view[i].pose.R = rg_rodrigues(rg_vec3_make(rg_radians(i < 9 ? -14.9 : -15.1), 0, 0));
    rg_lens_review r = reviewed(&g);
    cr_expect_eq(r.tipped_up_down, 1);
    cr_expect_eq(r.tipped_left_right, 0);
    cr_expect_float_eq(r.largest_tilt_deg, 15.1, 1e-9);
    cr_expect_eq(r.advices, 2);
    test_free_views(g.view, VIEWS);
}

Test(lensreview, a_loose_focal_length_is_said_in_percent)
{
    good_case g;
    make(&g);
    g.c.fit.sd[RG_LENS_FY] = 4.5;
    advises(&g, "known to 0.30 %, 0.20 % is needed");
}

Test(lensreview, large_residuals_point_at_board_and_focus)
{
    good_case g;
    make(&g);
    g.c.fit.rms_px = 0.8;
    advises(&g, "miss their places by 0.80 px rms, 0.50 px are good");
}

Test(lensreview, a_distortion_that_folds_over_is_not_good)
{
    good_case g;
    make(&g);
    g.c.fit.lens.k1 = -2.5;
    advises(&g, "take more with the board in the corners");
}

Test(lensreview, impossible_limits_are_refused)
{
    good_case g;
    make(&g);
    rg_lens_limits bad = limits;
    rg_lens_review r;
    rg_error err = {0};
    bad.corner_reach = NAN;
    cr_expect_eq(rg_lens_review_make(&bad, g.view, &g.c, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "corner reach nan"));
    test_free_views(g.view, VIEWS);
}

/* ---------------------------------------------------------------- before there is a result */

static rg_lens_review early(const good_case *g, int views)
{
    rg_pose pose[VIEWS];
    rg_lens_review r;
    rg_error err = {0};
    for (int i = 0; i < VIEWS; i++)
        pose[i] = g->fit[i].pose;
    const rg_early_views e = {g->view, pose, views, lens.width, lens.height};
    cr_assert_eq(rg_lens_review_early(&limits, &e, &r, &err), RG_OK, "%s", err.text);
    return r;
}

/* The same views give the same counts, with a result and without: one set of rules. */
Test(lensreview, early_counts_are_those_of_the_result)
{
    good_case g;
    make(&g);
    rg_lens_review a = reviewed(&g), b = early(&g, VIEWS);
    cr_expect_eq(b.advices, 0);
    cr_expect_not(b.good, "nothing is good before there is a result");
    cr_expect(isnan(b.focal_relative));
    cr_expect(a.views == b.views && a.tipped_up_down == b.tipped_up_down &&
              a.tipped_left_right == b.tipped_left_right);
    cr_expect_eq(memcmp(a.field_views, b.field_views, sizeof a.field_views), 0);
    cr_expect_eq(memcmp(a.corner_distance_px, b.corner_distance_px, sizeof a.corner_distance_px),
                 0);
    test_free_views(g.view, VIEWS);
}

Test(lensreview, with_no_view_at_all_everything_is_asked_for)
{
    good_case g;
    make(&g);
    rg_lens_review r = early(&g, 0);
    cr_expect(strstr(r.advice[0], "take 8 more: 0 of 8 good views are there"));
    cr_expect(strstr(r.advice[1], "fills the picture out to its edges and corners"));
    cr_expect(strstr(r.advice[2], "take 3 more with the board's upper or lower edge"));
    cr_expect_eq(r.advices, 4);
    rg_early_views none = {NULL, NULL, 0, 0, 900};
    rg_error err = {0};
    cr_expect_eq(rg_lens_review_early(&limits, &none, &r, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "0 x 900 px"), "%s", err.text);
    test_free_views(g.view, VIEWS);
}

/* View by view until nothing is missing: what a view adds is what the review then asks less of. */
Test(lensreview, a_view_adds_what_was_missing_and_nothing_twice)
{
    good_case g;
    char text[RG_ADVICE_SIZE];
    make(&g);
    for (int i = 0; i + 1 < VIEWS; i++) {
        rg_lens_review now = early(&g, i), with = early(&g, i + 1);
        bool adds = rg_lens_review_adds(&limits, &now, &with, text);
        cr_expect_eq(adds, text[0] != 0);
        cr_expect(adds || now.views >= limits.min_views, "view %d", i);
        cr_expect_not(rg_lens_review_adds(&limits, &now, &now, text), "%s", text);
    }
    rg_lens_review full = early(&g, VIEWS), one = early(&g, 0), first = early(&g, 1);
    cr_expect_not(rg_lens_review_adds(&limits, &full, &full, text));
    cr_expect(rg_lens_review_adds(&limits, &one, &first, text));
    /* The first is tipped by 20 degrees about the picture's horizontal axis, and fills it. */
    cr_expect(strstr(text, "most of the picture") && strstr(text, "tipped up or down") &&
                  !strstr(text, "left or right"),
              "%s", text);
    test_free_views(g.view, VIEWS);
}

/* A shift of (30, 40) px moves every mark by 50. */
Test(lensreview, movement_is_the_mean_distance_of_shared_marks)
{
    good_case g;
    make(&g);
    rg_view *a = &g.view[0], *b = &g.view[1];
    for (int i = 0; i < a->corners; i++)
        b->corner[i].pixel = (rg_vec2){a->corner[i].pixel.x + 30, a->corner[i].pixel.y + 40};
    cr_expect_float_eq(rg_view_moved(a, b), 50, 1e-9);
    b->corners = a->corners / 2; /* half of the board is enough */
    cr_expect_float_eq(rg_view_moved(a, b), 50, 1e-9);
    cr_expect_eq(rg_view_moved(a, a), 0);
    b->corners = 0;
    cr_expect(isinf(rg_view_moved(a, b)));
    b->corners = a->corners;
    test_free_views(g.view, VIEWS);
}

/*
 * The picture of several closings, read back as pixels.
 */
#include "rimglow/draw_repeat.h"

#include <math.h>

#include "edge/drawing.h"
#include "support/keys.h"
#include "support/scene.h"

TestSuite(draw_repeat, .fini = test_release_fonts);

enum { N = 12 };
static rg_seating closing[N];
static rg_repeat r;

static rg_draw_repeat_args picture_of(double along_rod, double sinks)
{
    test_random random = {11};
    rg_error err;
    for (int i = 0; i < N; i++) {
        rg_seating *s = &closing[i];
        *s = (rg_seating){.press = RG_PRESS_LIGHT,
                          .verdict = RG_VERDICT_LEAKING,
                          .state = RG_SEATING_OPEN,
                          .tilt_known = true,
                          .mean_mm = 0.03 - sinks * i / (N - 1) + 0.003 * test_normal(&random)};
        s->tilt_mm[0] = 0.02 + 0.003 * test_normal(&random);
        s->tilt_mm[1] = -0.01 + along_rod * test_normal(&random) + 0.003 * test_normal(&random);
        for (int k = 0; k < 3; k++)
            s->covariance[k][k] = 9e-6;
        s->covariance[1][2] = s->covariance[2][1] = 4e-6;
        s->widest_mm = s->mean_mm + hypot(s->tilt_mm[0], s->tilt_mm[1]);
        s->u_widest_mm = 0.004;
    }
    cr_assert_eq(rg_repeat_find(closing, N, &test_repeat_options, &r, &err), RG_OK, "%s", err.text);
    return (rg_draw_repeat_args){
        .serial = "PE-A-0147", .pad = "F", .closing = closing, .repeat = &r, .coverage_factor = 2};
}

static rg_code draw(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_repeat(args, format, out, err);
}

/* Ink in the circle, without its rim. */
static int ink_in_circle(const rg_image *m, int left, int right)
{
    return test_ink(m, left, 340, right, 644);
}

Test(draw_repeat, nothing_is_cut_and_points_spread_along_the_rod)
{
    rg_draw_repeat_args loose = picture_of(0.03, 0);
    rg_image m = test_picture(draw, &loose, RG_REPEAT_WIDTH, RG_REPEAT_HEIGHT);
    test_white_border(&m);
    /* Play along the rod puts ink far to the left and right of the middle. */
    cr_expect(ink_in_circle(&m, 130, 250) > 60, "%d", ink_in_circle(&m, 130, 250));
    rg_image_free(&m);
}

Test(draw_repeat, a_tilt_lies_at_its_bearing)
{
    rg_draw_repeat_args a = picture_of(0, 0);
    for (int i = 0; i < N; i++) { /* towards 90 degrees, so to the right */
        closing[i].tilt_mm[0] = 0;
        closing[i].tilt_mm[1] = 0.05;
    }
    cr_assert_eq(rg_repeat_find(closing, N, &test_repeat_options, &r, NULL), RG_OK);
    rg_image m = test_picture(draw, &a, RG_REPEAT_WIDTH, RG_REPEAT_HEIGHT);
    cr_expect(test_ink(&m, 480, 460, 590, 524) > 100);
    cr_expect_eq(test_ink(&m, 110, 400, 340, 480), 0, "nothing to the left");
    rg_image_free(&m);
}

Test(draw_repeat, without_a_tilt_it_says_so_and_draws_no_point)
{
    rg_draw_repeat_args a = picture_of(0, 0);
    for (int i = 0; i < N; i++)
        closing[i] = (rg_seating){.press = RG_PRESS_LIGHT};
    cr_assert_eq(rg_repeat_find(closing, N, &test_repeat_options, &r, NULL), RG_OK);
    rg_image m = test_picture(draw, &a, RG_REPEAT_WIDTH, RG_REPEAT_HEIGHT);
    cr_expect(test_ink(&m, 240, 480, 460, 504) > 300, "the words");
    cr_expect_eq(test_ink(&m, 240, 520, 345, 600), 0);
    test_white_border(&m);
    rg_image_free(&m);
}

Test(draw_repeat, every_format_is_a_file_of_its_kind)
{
    rg_draw_repeat_args a = picture_of(0.03, 0.05);
    test_all_formats(draw, &a, RG_REPEAT_WIDTH, RG_REPEAT_HEIGHT);
    rg_bytes none = {0};
    rg_error err;
    a.coverage_factor = 0;
    cr_expect_eq(rg_draw_repeat(&a, RG_PICTURE_PNG, &none, &err), RG_BAD_DATA);
    cr_expect_null(none.data);
}

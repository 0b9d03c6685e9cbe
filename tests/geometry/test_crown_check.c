/*
 * What a crown's picture says about camera and print, on pictures drawn with a
 * known point spread and a known print (support/crown_picture: rays and
 * libapriltag's patterns, nothing of this project's geometry but the lens).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/crown_check.h"
#include "rimglow/slanted_edge.h"
#include "support/crown_picture.h"

static const rg_crown_limits limits = {0.3, 4, 30, false};
static const rg_tag_options finding = {2, true, 1, 20};

static test_crown_scene two_faces(double blur)
{
    test_crown_scene s = {.crown = {2, 9.5, 8, 10.3},
                          .lens = {900, 480, 2500, 2500, 449.5, 239.5, 0, 0, 0, 0, 0},
                          .faces = 63,
                          .blur_px = blur,
                          .black = 0.02,
                          .white = 0.5,
                          .ground = 0.2};
    rg_vec3 centre = {95 * cos(0.5), -95 * sin(0.5), 22};
    s.pose = test_look_at(centre, rg_vec3_make(0, 0, 9.5), 3);
    return s;
}

typedef struct view {
    rg_image image;
    rg_linear linear;
} view;

static view draw(const test_crown_scene *s)
{
    static const double weights[3] = {1.0 / 3, 1.0 / 3, 1.0 / 3};
    view v = {.image = test_crown_picture(s)};
    cr_assert_eq(rg_linear_new(&v.linear, 3, 8, weights, NULL), RG_OK);
    return v;
}

static void end(view *v)
{
    rg_image_free(&v->image);
    rg_linear_free(&v->linear);
}

static rg_crown_sight examine(const rg_crown *crown, const test_crown_scene *s, const view *v)
{
    rg_crown_sight sight;
    rg_error err = {0};
    cr_assert_eq(
        rg_crown_examine(crown, 30, &s->lens, &v->image, &v->linear, &s->pose, &sight, &err), RG_OK,
        "%s", err.text);
    return sight;
}

Test(crown_check, a_true_print_has_the_ratio_one)
{
    test_crown_scene s = two_faces(0.8);
    view v = draw(&s);
    rg_crown_sight sight = examine(&s.crown, &s, &v);
    cr_assert(sight.ratio_held);
    cr_expect_float_eq(sight.tag_ratio, 1, 5e-4, "%g", sight.tag_ratio);
    cr_expect(sight.borders >= 8);
    cr_expect_float_eq(sight.black, 0.02, 0.005);
    cr_expect_float_eq(sight.white, 0.5, 0.01);
    end(&v);
}

Test(crown_check, a_tag_edge_stated_wrong_shows_in_the_ratio)
{
    test_crown_scene s = two_faces(0.8);
    view v = draw(&s);
    static const double stated[] = {0.985, 0.995, 1.01};
    for (int i = 0; i < 3; i++) {
        rg_crown crown = s.crown;
        crown.tag_size_mm *= stated[i];
        rg_crown_sight sight = examine(&crown, &s, &v);
        cr_assert(sight.ratio_held);
        cr_expect_float_eq(sight.tag_ratio * stated[i], 1, 5e-4, "%g: %g", stated[i],
                           sight.tag_ratio);
    }
    end(&v);
}

Test(crown_check, one_face_alone_holds_no_ratio)
{
    test_crown_scene s = two_faces(0.8);
    s.faces = 2;
    view v = draw(&s);
    rg_crown_sight sight = examine(&s.crown, &s, &v);
    cr_expect(sight.borders >= 3 && !sight.ratio_held && isnan(sight.tag_ratio));
    end(&v);
}

/* Pixel and Gaussian: variances add, 1/12 px^2 for the square pixel. A Gaussian
 * fitted to what is not quite one is good to some percent. */
Test(crown_check, the_spread_is_the_one_drawn)
{
    static const double blur[] = {0.7, 1.2, 2.0};
    for (int i = 0; i < 3; i++) {
        test_crown_scene s = two_faces(blur[i]);
        view v = draw(&s);
        rg_crown_sight sight = examine(&s.crown, &s, &v);
        cr_assert(sight.spread_held);
        double truth = blur[i] * blur[i] + 1.0 / 12;
        cr_expect_float_eq(sight.spread.xx, truth, 0.07 * truth, "%g", sight.spread.xx);
        cr_expect_float_eq(sight.spread.yy, truth, 0.07 * truth, "%g", sight.spread.yy);
        end(&v);
    }
}

/* Rolled by 20 degrees, every border's width holds a part of the other direction's
 * spread: left in, xx would be read 13 % too large. */
Test(crown_check, the_spread_of_a_rolled_crown_is_the_one_drawn)
{
    test_crown_scene s = two_faces(1.2);
    s.pose =
        test_look_at(rg_vec3_make(95 * cos(0.5), -95 * sin(0.5), 12), rg_vec3_make(0, 0, 10.3), 20);
    view v = draw(&s);
    rg_crown_sight sight = examine(&s.crown, &s, &v);
    double truth = 1.2 * 1.2 + 1.0 / 12;
    cr_assert(sight.spread_held);
    cr_expect_float_eq(sight.spread.xx, truth, 0.07 * truth, "%g", sight.spread.xx);
    cr_expect_float_eq(sight.spread.yy, truth, 0.07 * truth, "%g", sight.spread.yy);
    end(&v);
}

/* Every pixel becomes the mean of `px` pixels along the row or the column, in linear
 * light. */
static void smear(rg_image *image, int px, bool upright)
{
    uint8_t *code = image->data;
    size_t size = (size_t)image->width * (size_t)image->height * 3;
    uint8_t *old = malloc(size);
    int length = upright ? image->height : image->width, step = upright ? image->width : 1;
    memcpy(old, code, size);
    for (int i = 0; i < image->width * image->height; i++) {
        int at = upright ? i / image->width : i % image->width;
        double sum = 0;
        for (int k = 0; k < px; k++) {
            int from = at + k - px / 2;
            from = from < 0 ? 0 : from >= length ? length - 1 : from;
            sum += rg_srgb_to_linear(old[3 * (i + (from - at) * step)] / 255.0);
        }
        memset(code + 3 * i, (int)lround(255 * rg_linear_to_srgb(sum / px)), 3);
    }
    free(old);
}

/* A box of 5 samples has the variance (25 - 1) / 12; a Gaussian fitted to so
 * wide a box reads up to a third more. */
Test(crown_check, movement_widens_the_borders_across_it_only)
{
    test_crown_scene s = two_faces(0.8);
    view v = draw(&s);
    rg_crown_sight still = examine(&s.crown, &s, &v);
    smear(&v.image, 5, false);
    rg_crown_sight moved = examine(&s.crown, &s, &v);
    cr_assert(moved.spread_held);
    cr_expect(fabs(moved.spread.xx - still.spread.xx - 2.3) < 0.4, "%g",
              moved.spread.xx - still.spread.xx);
    cr_expect_float_eq(moved.spread.yy, still.spread.yy, 0.03);
    end(&v);
}

/* The pose's own search drops borders that are much wider than the rest; here they
 * are what is looked for. */
Test(crown_check, borders_across_a_movement_are_not_lost)
{
    for (int upright = 0; upright < 2; upright++) {
        test_crown_scene s = two_faces(0.8);
        view v = draw(&s);
        rg_crown_sight still = examine(&s.crown, &s, &v);
        smear(&v.image, 5, upright);
        rg_crown_sight moved = examine(&s.crown, &s, &v);
        cr_expect_eq(moved.borders, still.borders, "%d, not %d", moved.borders, still.borders);
        double more =
            upright ? moved.spread.yy - still.spread.yy : moved.spread.xx - still.spread.xx;
        cr_expect(fabs(more - 2.3) < 0.4, "%g", more);
        end(&v);
    }
}

/* MTF50 of what the picture was blurred with: the pixel's aperture and samples of
 * a Gaussian at whole pixels, whose transform is a sum of cosines. */
static double drawn_mtf50(double sigma)
{
    double low = 0.05, high = 0.6;
    for (int i = 0; i < 50; i++) {
        double f = (low + high) / 2, sum = 1, weight = 1, x = RG_PI * f;
        for (int k = 1; k < 20; k++) {
            double w = 2 * exp(-0.5 * k * k / (sigma * sigma));
            sum += w * cos(2 * RG_PI * k * f);
            weight += w;
        }
        *(sum / weight * sin(x) / x > 0.5 ? &low : &high) = f;
    }
    return low;
}

/* The borders are good for the slanted edge. From sigma 0.8 on the truth is also
 * the Gaussian's own closed form: 0.22012, 0.15180, 0.09273 (test_slanted_edge.c). */
Test(crown_check, borders_carry_the_slanted_edge)
{
    static const double blur[] = {0.5, 0.8, 1.2, 2};
    for (int i = 0; i < 4; i++) {
        test_crown_scene s = two_faces(blur[i]);
        view v = draw(&s);
        rg_crown_sight sight = examine(&s.crown, &s, &v);
        rg_plane light;
        cr_assert_eq(rg_plane_new(&light, &v.image, &v.linear, 0, 0, 900, 480, true, NULL), RG_OK);
        int measured = 0;
        double sum = 0, truth = drawn_mtf50(blur[i]);
        for (int k = 0; k < sight.borders; k++) {
            const rg_crown_border *b = &sight.border[k];
            rg_slanted_query q = {b->from, b->to, fmin(b->clear_px, 100), 0.97};
            rg_slanted_edge e;
            if (b->clear_px < 8)
                continue;
            cr_assert_eq(rg_slanted_edge_measure(&light, &q, &e, NULL), RG_OK);
            if (e.state != RG_SLANTED_OK)
                continue;
            measured++;
            sum += e.mtf50;
            cr_expect_float_eq(e.mtf50, truth, 0.07 * truth, "%g: %g, not %g (face %d %d)", blur[i],
                               e.mtf50, truth, b->face, b->side);
        }
        cr_assert(measured >= 4, "%d borders", measured);
        cr_expect_float_eq(sum / measured, truth, 0.03 * truth, "mean %g", sum / measured);
        rg_plane_free(&light);
        end(&v);
    }
}

Test(crown_check, a_print_at_97_percent_is_found_by_trying)
{
    test_crown_scene s = two_faces(0.8);
    view v = draw(&s);
    rg_crown stated = s.crown;
    stated.tag_size_mm /= 0.97; /* the file says more than was printed */
    rg_tag_finder *finder;
    rg_tag_list tags;
    rg_crown_pose pose;
    double ratio;
    uint8_t *grey = malloc(900 * 480);
    rg_image_luma(&v.image, grey);
    cr_assert_eq(rg_tag_finder_new(&finder, &finding, NULL), RG_OK);
    cr_assert_eq(rg_tags_find(finder, grey, 900, 480, false, &tags, NULL), RG_OK);
    cr_assert_eq(
        rg_crown_locate(&stated, &limits, &s.lens, &v.image, &v.linear, &tags, &pose, NULL), RG_OK);
    cr_expect_neq(pose.state, RG_POSE_OK);
    cr_assert_eq(rg_crown_rescale(&stated, &limits, &s.lens, &v.image, &v.linear, &tags, &ratio,
                                  &pose, NULL),
                 RG_OK);
    cr_assert_eq(pose.state, RG_POSE_OK);
    cr_expect_float_eq(ratio, 0.97, 1e-9);
    rg_tag_finder_free(finder);
    free(grey);
    end(&v);
}

Test(crown_check, a_picture_without_a_crown_has_no_borders)
{
    test_crown_scene s = two_faces(0.8);
    s.faces = 0;
    view v = draw(&s);
    rg_crown_sight sight = examine(&s.crown, &s, &v);
    cr_expect_eq(sight.borders, 0);
    cr_expect(!sight.spread_held && !sight.ratio_held);
    end(&v);
}

/*
 * Tests of boardview.h on ray-cast pictures (support/board_picture.h): the true
 * corners follow from pose and lens by the formulas of lens.h, which have
 * their own outside check.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/boardview.h"
#include "support/board_picture.h"

static const rg_board board = {5, 4, 28.0, 36.0, 400};
static const rg_board_limits limits = {50.0, 0.15, 4};
static const rg_calibration_options options = {.model = {.radial = 2, .tangential = true},
                                               .bad_view_ratio = 3.0};

/* A wide lens that bends the board's borders by half a pixel near the corners. */
static const rg_lens wide = {.width = 960,
                             .height = 720,
                             .fx = 800.0,
                             .fy = 802.0,
                             .cx = 470.0,
                             .cy = 365.0,
                             .k1 = -0.25,
                             .k2 = 0.08,
                             .p1 = 0.0005,
                             .p2 = -0.0003};

enum { PHOTOS = 10 };
static const double poses[PHOTOS][6] = {
    /* distance, direction, tilts, roll */
    {215, 0.02, 0.01, 5, -8, 3},       {240, -0.16, -0.11, 28, 6, -4},
    {240, 0.15, -0.11, 12, -30, 8},    {250, -0.15, 0.12, -26, 15, 94},
    {250, 0.16, 0.11, -24, -20, -3},   {220, 0.0, 0.0, 35, 3, 20},
    {220, 0.0, 0.02, 4, 36, -15},      {270, 0.24, 0.15, -8, 25, 180},
    {270, -0.24, -0.15, 20, -20, 185}, {270, -0.24, 0.16, -15, -22, 5},
};

static test_board_scene scene_of(int photo)
{
    const double *p = poses[photo];
    test_board_scene s = {board, wide, .blur_px = 0.8, .black = 0.03, .white = 0.7, .ground = 0.2};
    s.pose = test_board_pose(&board, p[0], (rg_vec2){p[1], p[2]}, p[3], p[4], p[5]);
    return s;
}

static rg_board_photo look(const rg_image *image)
{
    static const double weights[3] = {0.299, 0.587, 0.114};
    rg_tag_options o = {.decimate = 1, .refine = true, .max_hamming = 1, .min_margin = 20};
    rg_error err = {0};
    rg_tag_finder *finder;
    rg_tag_list tags;
    rg_linear linear;
    rg_board_photo photo;
    cr_assert_eq(rg_tag_finder_new(&finder, &o, &err), RG_OK);
    cr_assert_eq(rg_tags_find(finder, image->data, image->width, image->height, false, &tags, &err),
                 RG_OK);
    cr_assert_eq(rg_linear_new(&linear, 1, 8, weights, &err), RG_OK);
    cr_assert_eq(rg_board_photo_new(&photo, &board, &limits, image, &linear, &tags, &err), RG_OK);
    rg_linear_free(&linear);
    rg_tag_finder_free(finder);
    return photo;
}

static rg_board_photo photograph(int i, double codes, test_random *random)
{
    test_board_scene s = scene_of(i);
    rg_image image = test_board_picture(&s, codes, random);
    rg_board_photo photo = look(&image);
    rg_image_free(&image);
    return photo;
}

typedef struct misses {
    double worst, rms, inward; /* px; inward: mean towards the tag's middle */
    int corners;
} misses;

/* Corners against where pose and lens put them. */
static misses compare(const rg_corner *corner, int count, const test_board_scene *s)
{
    misses m = {.corners = count};
    for (int i = 0; i < count; i++) {
        rg_vec2 at;
        rg_vec3 body = {corner[i].board.x, corner[i].board.y, 0.0};
        cr_assert(rg_lens_project(&s->lens, rg_pose_apply(&s->pose, body), &at));
        double dx = corner[i].pixel.x - at.x, dy = corner[i].pixel.y - at.y;
        double mx = 0.0, my = 0.0;
        for (int k = 0; k < 4; k++) {
            mx += 0.25 * corner[i / 4 * 4 + k].pixel.x;
            my += 0.25 * corner[i / 4 * 4 + k].pixel.y;
        }
        double r = hypot(mx - at.x, my - at.y);
        m.inward += (dx * (mx - at.x) + dy * (my - at.y)) / r / count;
        m.rms += (dx * dx + dy * dy) / count;
        m.worst = fmax(m.worst, hypot(dx, dy));
    }
    m.rms = sqrt(m.rms);
    return m;
}

Test(boardview, corners_lie_within_a_twentieth_of_a_pixel)
{
    for (int i = 0; i < 3; i++) {
        test_board_scene s = scene_of(i);
        rg_board_photo photo = photograph(i, 0.0, NULL);
        rg_corner corner[4 * RG_BOARD_TAGS_MAX];
        cr_assert(photo.used, "%s", photo.reason);
        int count = rg_board_photo_corners(&photo, &board, &limits, &wide, corner);
        misses m = compare(corner, count, &s);
        cr_expect_geq(count, 4 * 14);
        cr_expect_lt(m.worst, 0.05);
        cr_expect_lt(fabs(m.inward), 0.005);
        rg_board_photo_free(&photo);
    }
}

/* Straight lines in the bent picture would not do: the reason for the turns. */
Test(boardview, straight_lines_in_a_bent_picture_miss_the_corners)
{
    test_board_scene s = scene_of(8);
    rg_board_photo photo = photograph(8, 0.0, NULL);
    rg_corner corner[4 * RG_BOARD_TAGS_MAX];
    int count = rg_board_photo_corners(&photo, &board, &limits, NULL, corner);
    misses straight = compare(corner, count, &s);
    count = rg_board_photo_corners(&photo, &board, &limits, &wide, corner);
    misses bent = compare(corner, count, &s);
    cr_expect_gt(straight.worst, 0.1);
    cr_expect_lt(bent.worst, 0.05);
    rg_board_photo_free(&photo);
}

static double deviations(double value, double truth, double sd)
{
    return fabs(value - truth) / sd;
}

Test(boardview, the_lens_comes_back_within_three_of_its_deviations)
{
    rg_board_photo photo[PHOTOS];
    const char *name[PHOTOS];
    static const char names[] = "abcdefghij";
    char text[PHOTOS][2];
    test_random random = {.state = 41};
    for (int i = 0; i < PHOTOS; i++) {
        photo[i] = photograph(i, 1.5, &random);
        cr_assert(photo[i].used, "%s", photo[i].reason);
        snprintf(text[i], sizeof text[i], "%c", names[i]);
        name[i] = text[i];
    }
    rg_view view[PHOTOS];
    int views;
    rg_calibration c;
    rg_error err = {0};
    cr_assert_eq(
        rg_board_calibrate(&board, &limits, photo, name, PHOTOS, &options, view, &views, &c, &err),
        RG_OK, "%s", err.text);
    cr_expect_eq(views, PHOTOS);
    const rg_lens *l = &c.fit.lens;
    const double *sd = c.fit.sd;
    const double z[] = {
        deviations(l->fx, wide.fx, sd[RG_LENS_FX]), deviations(l->fy, wide.fy, sd[RG_LENS_FY]),
        deviations(l->cx, wide.cx, sd[RG_LENS_CX]), deviations(l->cy, wide.cy, sd[RG_LENS_CY]),
        deviations(l->k1, wide.k1, sd[RG_LENS_K1]), deviations(l->k2, wide.k2, sd[RG_LENS_K2]),
        deviations(l->p1, wide.p1, sd[RG_LENS_P1]), deviations(l->p2, wide.p2, sd[RG_LENS_P2])};
    for (size_t i = 0; i < sizeof z / sizeof *z; i++)
        cr_expect_lt(z[i], 3.0, "value %zu is %.1f deviations off", i, z[i]);
    cr_expect_lt(c.fit.rms_px, 0.05);
    cr_expect_lt(sd[RG_LENS_FX], 0.2);
    for (int i = 0; i < views; i++) {
        test_board_scene s = scene_of(i);
        misses m = compare(view[i].corner, view[i].corners, &s);
        cr_expect_lt(m.rms, 0.03, "photo %d: %g", i, m.rms);
    }
    rg_calibration_free(&c);
    rg_views_free(view, views);
    for (int i = 0; i < PHOTOS; i++)
        rg_board_photo_free(&photo[i]);
}

static void spoil(rg_image *image, int x0, int y0, int x1, int y1, uint8_t code)
{
    for (int y = y0; y < y1; y++)
        memset((uint8_t *)image->data + y * image->width + x0, code, (size_t)(x1 - x0));
}

/* A finger over the board takes tags away but moves no corner. */
Test(boardview, what_covers_the_board_moves_no_corner)
{
    test_board_scene s = scene_of(0);
    rg_image image = test_board_picture(&s, 0.0, NULL);
    spoil(&image, 400, 300, 470, 719, 90);
    rg_board_photo photo = look(&image);
    rg_corner corner[4 * RG_BOARD_TAGS_MAX];
    cr_assert(photo.used, "%s", photo.reason);
    int count = rg_board_photo_corners(&photo, &board, &limits, &wide, corner);
    cr_expect(count >= 4 * 10 && count < 4 * 20);
    cr_expect_lt(compare(corner, count, &s).worst, 0.06);
    rg_board_photo_free(&photo);
    rg_image_free(&image);
}

Test(boardview, photographs_without_a_board_are_not_used_and_say_why)
{
    rg_image image;
    cr_assert_eq(rg_image_new(&image, 640, 480, 1, 8, NULL), RG_OK);
    rg_board_photo photo = look(&image);
    cr_expect_not(photo.used);
    cr_expect(strstr(photo.reason, "no tag of the board"), "%s", photo.reason);
    rg_board_photo_free(&photo);
    rg_image_free(&image);

    test_board_scene s = scene_of(0); /* far away */
    s.pose.t.z = 900;
    image = test_board_picture(&s, 0.0, NULL);
    photo = look(&image);
    cr_expect_not(photo.used);
    cr_expect(strstr(photo.reason, "smaller than 50 px"), "%s", photo.reason);
    rg_board_photo_free(&photo);
    rg_image_free(&image);

    s = scene_of(0); /* three tags are not enough */
    image = test_board_picture(&s, 0.0, NULL);
    spoil(&image, 0, 0, 960, 600, 90);
    photo = look(&image);
    cr_expect_not(photo.used);
    cr_expect(strstr(photo.reason, "4 are needed") || strstr(photo.reason, "no tag"), "%s",
              photo.reason);
    rg_board_photo_free(&photo);
    rg_image_free(&image);
}

Test(boardview, two_boards_in_a_picture_are_refused)
{
    test_board_scene s = scene_of(0);
    s.pose = test_board_pose(&board, 560, (rg_vec2){-0.25, 0}, 0, 0, 2);
    rg_image image = test_board_picture(&s, 0.0, NULL);
    uint8_t *code = image.data;
    for (int y = 0; y < image.height; y++)
        memcpy(code + y * image.width + 480, code + y * image.width, 480);
    rg_board_photo photo = look(&image);
    cr_expect_not(photo.used);
    cr_expect(strstr(photo.reason, "there twice"), "%s", photo.reason);
    rg_board_photo_free(&photo);
    rg_image_free(&image);
}

/* ------------------------------------------------------------------ made points */

/* A photograph of one tag, 28 mm as 100 px, with its top left corner at (50, 60). */
static rg_board_photo made_photo(rg_tag_borders *tag)
{
    static const double along[4][4] = {
        {50, 60, 100, 0}, {150, 60, 0, 100}, {150, 160, -100, 0}, {50, 160, 0, -100}};
    *tag = (rg_tag_borders){.id = 400};
    for (int side = 0; side < 4; side++) {
        tag->count[side] = RG_BOARD_BORDER_POINTS;
        for (int i = 0; i < RG_BOARD_BORDER_POINTS; i++) {
            double part = (i + 0.5) / RG_BOARD_BORDER_POINTS;
            tag->point[side][i] = (rg_vec2){along[side][0] + part * along[side][2],
                                            along[side][1] + part * along[side][3]};
        }
    }
    return (rg_board_photo){.used = true, .width = 960, .height = 720, .tags = 1, .tag = tag};
}

Test(boardview, points_off_the_border_are_left_out_of_its_line)
{
    rg_tag_borders tag;
    rg_corner corner[4];
    rg_board_photo photo = made_photo(&tag);
    tag.point[0][3].y += 2.0;
    tag.point[0][4].y += 2.5;
    tag.point[0][5].y -= 3.0;
    tag.point[1][20].x += 4.0;
    cr_assert_eq(rg_board_photo_corners(&photo, &board, &limits, NULL, corner), 4);
    cr_expect_float_eq(corner[0].pixel.x, 50, 1e-9);
    cr_expect_float_eq(corner[0].pixel.y, 60, 1e-9);
    cr_expect_float_eq(corner[2].pixel.x, 150, 1e-9);
    cr_expect_float_eq(corner[2].pixel.y, 160, 1e-9);
    cr_expect(corner[2].board.x == 28 && corner[2].board.y == 28);
}

Test(boardview, a_border_that_is_no_line_takes_its_tag_out)
{
    rg_tag_borders tag;
    rg_corner corner[4];
    rg_board_photo photo = made_photo(&tag);
    rg_lens plain = wide;
    plain.k1 = plain.k2 = plain.p1 = plain.p2 = 0.0;
    for (int i = 0; i < RG_BOARD_BORDER_POINTS; i++)
        tag.point[2][i].y += i % 2 ? 0.3 : -0.3;
    cr_expect_eq(rg_board_photo_corners(&photo, &board, &limits, &plain, corner), 0);
    for (int i = 0; i < RG_BOARD_BORDER_POINTS; i++)
        tag.point[2][i].y += i % 2 ? -0.2 : 0.2;
    cr_expect_eq(rg_board_photo_corners(&photo, &board, &limits, &plain, corner), 4);
}

Test(boardview, photographs_of_two_sizes_are_refused)
{
    static const char *const name[3] = {"a.jpg", "b.jpg", "c.jpg"};
    rg_tag_borders tag;
    rg_board_photo photo[3] = {made_photo(&tag), made_photo(&tag), made_photo(&tag)};
    photo[2].width = 640;
    rg_view view[3];
    int views;
    rg_calibration c;
    rg_error err = {0};
    cr_expect_eq(
        rg_board_calibrate(&board, &limits, photo, name, 3, &options, view, &views, &c, &err),
        RG_BAD_DATA);
    cr_expect(strstr(err.text, "c.jpg is 640 x 720 px, a.jpg is 960 x 720"), "%s", err.text);
    cr_expect_eq(views, 0);
}

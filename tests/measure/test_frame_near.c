/*
 * Tests of rg_frame_take_near (pipeline.h): twins of rg_frame_take on the sample frames, which searches the whole
 * picture.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jpeglib.h>

#include "rimglow/pipeline.h"
#include "support/load.h"
#include "support/setup.h"

enum { VIEWS = 30 };

/* The fit to the borders ends where it ends, whatever it starts from; but a tag that is nearly too small or too dark may
 * be read in one search only. The rim's points are stated to some 0.075 px (0.0025 mm at 30 px/mm). */
static const double SAME_PX = 0.1;

typedef struct bench {
    rg_setup setup;
    rg_tag_finder *finder;
} bench;

static void begin(bench *b)
{
    rg_error err = {0};
    test_setup(&b->setup);
    cr_assert_eq(rg_tag_finder_new(&b->finder, &b->setup.options.tags, &err), RG_OK, "%s",
                 err.text);
}

static rg_frame take(const bench *b, const test_bytes *file, const rg_pose *near)
{
    rg_frame frame;
    rg_error err = {0};
    cr_assert_eq(rg_frame_take_near(&b->setup, b->finder, file->data, file->size, RG_FRAME_CLOSED,
                                    1, near, &frame, &err),
                 RG_OK, "%s", err.text);
    return frame;
}

/* Largest distance in the picture of the rim's points under two poses. */
static double apart_px(const rg_setup *setup, const rg_pose *a, const rg_pose *b)
{
    double most = 0, radius = setup->rim.outer_diameter_mm / 2;
    for (int bearing = 0; bearing < 360; bearing += 30) {
        rg_rim_view u = rg_rim_look(&setup->lens, a, radius, 0, bearing);
        rg_rim_view v = rg_rim_look(&setup->lens, b, radius, 0, bearing);
        most = fmax(most, hypot(u.pixel.x - v.pixel.x, u.pixel.y - v.pixel.y));
    }
    return most;
}

static void same(const bench *b, const rg_frame *full, const rg_frame *near, int view)
{
    cr_assert_eq(full->used, near->used, "view %d: %s%s", view, full->reason, near->reason);
    cr_assert_eq(full->pose.state, near->pose.state, "view %d", view);
    cr_assert_eq(full->strip.columns, near->strip.columns, "view %d", view);
    if (full->pose.state == RG_POSE_OK)
        cr_assert_lt(apart_px(&b->setup, &full->pose.pose, &near->pose.pose), SAME_PX,
                     "view %d: %g px", view,
                     apart_px(&b->setup, &full->pose.pose, &near->pose.pose));
}

static void twins(const char *sweep, const rg_pose *(*hint)(const rg_frame *, const rg_frame *))
{
    bench b;
    rg_frame last = {0};
    begin(&b);
    for (int view = 0; view < VIEWS; view++) {
        test_bytes file = test_loadf("samples/PE-A-0147/%s/view_%02d.jpg", sweep, view);
        rg_frame full = take(&b, &file, NULL), near = take(&b, &file, hint(&full, &last));
        same(&b, &full, &near, view);
        rg_frame_free(&near);
        rg_frame_free(&last);
        last = full;
        free(file.data);
    }
    rg_frame_free(&last);
    rg_tag_finder_free(b.finder);
}

static const rg_pose *own(const rg_frame *this, const rg_frame *last)
{
    (void)last;
    return rg_frame_posed(this) ? &this->pose.pose : NULL;
}

static const rg_pose *before(const rg_frame *this, const rg_frame *last)
{
    (void)this;
    return rg_frame_posed(last) ? &last->pose.pose : NULL;
}

Test(frame_near, finds_the_same_pose_where_the_crown_still_is)
{
    twins("08-G", own);
}

Test(frame_near, finds_the_same_pose_after_the_view_before)
{
    twins("08-G", before);
    twins("06-A", before);
}

/* The crown is elsewhere, half out of what is searched, or behind the camera: the whole picture tells. */
Test(frame_near, a_pose_that_is_wrong_changes_nothing)
{
    static const double away[][3] = {{12, 0, 0},  {-12, 0, 0},  {0, 8, 0},  {0, -6, 0},
                                     {0, 0, 200}, {0, 0, -300}, {40, 40, 0}};
    bench b;
    begin(&b);
    test_bytes file = test_loadf("samples/PE-A-0147/08-G/view_07.jpg");
    rg_frame full = take(&b, &file, NULL);
    cr_assert(full.used, "%s", full.reason);
    for (size_t i = 0; i < sizeof away / sizeof away[0]; i++) {
        rg_pose pose = full.pose.pose;
        pose.t = rg_vec3_add(pose.t, rg_vec3_make(away[i][0], away[i][1], away[i][2]));
        rg_frame near = take(&b, &file, &pose);
        same(&b, &full, &near, (int)i);
        cr_assert_eq(full.pose.crown.edges_used, near.pose.crown.edges_used, "case %zu", i);
        rg_frame_free(&near);
    }
    rg_frame_free(&full);
    free(file.data);
    rg_tag_finder_free(b.finder);
}

/* A tag of crown 0, beside the crown and about as large: another crown. */
static void put_foreign_tag(rg_image *picture)
{
    enum { ID = 3, SIDE = 22, LEFT = 4, TOP = 200 };
    uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES];
    cr_assert_eq(rg_tag_modules(ID, module, NULL), RG_OK);
    uint8_t *pixel = picture->data;
    for (int y = 0; y < (RG_TAG_MODULES + 2) * SIDE; y++)
        for (int x = 0; x < (RG_TAG_MODULES + 2) * SIDE; x++) {
            int row = y / SIDE - 1, column = x / SIDE - 1;
            bool inside =
                row >= 0 && row < RG_TAG_MODULES && column >= 0 && column < RG_TAG_MODULES;
            uint8_t code = inside && !module[row][column] ? 20 : 150;
            memset(pixel + 3 * ((TOP + y) * picture->width + LEFT + x), code, 3);
        }
}

/* Moves the picture down, with paper above it, so that the crown lies wholly in it. */
static void move_down(rg_image *picture, int rows)
{
    size_t row = 3 * (size_t)picture->width, moved = row * (size_t)rows;
    uint8_t *pixel = picture->data;
    memmove(pixel + moved, pixel, row * (size_t)picture->height - moved);
    memset(pixel, 150, moved);
}

/* As JPEG, moved down and with or without a second crown; free(). */
static test_bytes lower(const char *path, int rows, bool foreign)
{
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr errors;
    unsigned char *bytes = NULL;
    unsigned long size = 0;
    rg_image picture = test_decode_file(path);
    move_down(&picture, rows);
    if (foreign)
        put_foreign_tag(&picture);
    c.err = jpeg_std_error(&errors);
    jpeg_create_compress(&c);
    jpeg_mem_dest(&c, &bytes, &size);
    c.image_width = (JDIMENSION)picture.width;
    c.image_height = (JDIMENSION)picture.height;
    c.input_components = 3;
    c.in_color_space = JCS_RGB;
    jpeg_set_defaults(&c);
    jpeg_set_quality(&c, 97, TRUE);
    jpeg_start_compress(&c, TRUE);
    for (int y = 0; y < picture.height; y++) {
        JSAMPROW row = (JSAMPROW)picture.data + (size_t)y * (size_t)picture.width * 3;
        jpeg_write_scanlines(&c, &row, 1);
    }
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    rg_image_free(&picture);
    return (test_bytes){bytes, size};
}

/* The pose before was so many px off in the picture, across and down. */
static rg_pose_state state_after(const bench *b, const test_bytes *file, const rg_pose *pose,
                                 double across_px, double down_px)
{
    rg_pose before = *pose;
    before.t.x += across_px * pose->t.z / b->setup.lens.fx;
    before.t.y += down_px * pose->t.z / b->setup.lens.fy;
    rg_frame near = take(b, file, &before);
    rg_pose_state state = near.pose.state;
    rg_frame_free(&near);
    return state;
}

/* A second crown is seen whole by a search of the whole picture alone, and so tells which search was made: about
 * the pose before while the crown has moved by less than the margin of a sixteenth of the picture's width (80 px, less
 * an eighth of it that must stay free), and of the whole picture beyond that, in each of the four directions. */
Test(frame_near, the_whole_picture_is_searched_once_the_crown_leaves_the_margin)
{
    static const double way[4][2] = {{1, 0}, {-1, 0}, {0, 1}, {0, -1}};
    enum { DOWN = 100 };
    static const char path[] = "samples/PE-A-0147/08-G/view_16.jpg";
    bench b;
    begin(&b);
    b.setup.lens.cy += DOWN;
    test_bytes file = lower(path, DOWN, true), plain = lower(path, DOWN, false);
    rg_frame full = take(&b, &plain, NULL), other = take(&b, &file, NULL);
    cr_assert_eq(full.pose.state, RG_POSE_OK, "%s", full.reason);
    cr_assert_eq(other.pose.state, RG_POSE_TWO_CROWNS, "%s", other.reason);
    for (int i = 0; i < 4; i++) {
        rg_pose_state inside =
            state_after(&b, &file, &full.pose.pose, 64 * way[i][0], 64 * way[i][1]);
        rg_pose_state beyond =
            state_after(&b, &file, &full.pose.pose, 76 * way[i][0], 76 * way[i][1]);
        cr_expect_eq(inside, RG_POSE_OK, "%g, %g", way[i][0], way[i][1]);
        cr_expect_eq(beyond, RG_POSE_TWO_CROWNS, "%g, %g", way[i][0], way[i][1]);
    }
    rg_frame_free(&other);
    rg_frame_free(&full);
    free(plain.data);
    free(file.data);
    rg_tag_finder_free(b.finder);
}

Test(frame_near, a_picture_without_a_crown_says_so_wherever_it_was)
{
    bench b;
    begin(&b);
    test_bytes file = test_loadf("samples/PE-A-0147/08-G/view_07.jpg");
    rg_frame full = take(&b, &file, NULL), near;
    b.setup.crown.number += 1;
    near = take(&b, &file, &full.pose.pose);
    cr_assert_not(near.used);
    cr_assert_eq(near.pose.state, RG_POSE_WRONG_CROWN, "%s", near.reason);
    rg_frame_free(&near);
    rg_frame_free(&full);
    free(file.data);
    rg_tag_finder_free(b.finder);
}

/* samples/truth/08-G.json states no corners; those that libapriltag finds, to a pixel, are the outside value. */
Test(frame_near, the_crowns_box_holds_its_tags_and_little_else)
{
    bench b;
    int box[4];
    rg_image luma = {0};
    rg_tag_list tags;
    begin(&b);
    test_bytes file = test_loadf("samples/PE-A-0147/08-G/view_16.jpg");
    rg_frame frame = take(&b, &file, NULL);
    cr_assert(rg_crown_box(&b.setup.crown, &b.setup.lens, &frame.pose.pose, box));
    cr_assert_eq(rg_decode_luma(file.data, file.size, b.setup.options.code_weights, &luma, NULL),
                 RG_OK);
    cr_assert_eq(rg_tags_find(b.finder, luma.data, luma.width, luma.height, false, &tags, NULL),
                 RG_OK);
    cr_assert_eq(tags.count, 3);
    double low = 0, left = luma.width, right = 0, side = 0;
    for (int i = 0; i < 12; i++) {
        rg_vec2 p = tags.tag[i / 4].corner[i % 4];
        cr_expect(p.x > box[0] && p.x < box[2] && p.y > box[1] && p.y < box[3]);
        low = fmax(low, p.y), left = fmin(left, p.x), right = fmax(right, p.x);
        side = fmax(side, tags.tag[i / 4].corner[2].y - tags.tag[i / 4].corner[1].y);
    }
    /* One white module, an eighth of the black square's side, lies around it. */
    cr_expect_float_eq(box[3], low + side / 8, 4, "%d %g", box[3], low + side / 8);
    cr_expect_lt(left - box[0], side / 4);
    cr_expect_lt(box[2] - right, side / 4);
    rg_image_free(&luma);
    rg_frame_free(&frame);
    free(file.data);
    rg_tag_finder_free(b.finder);
}

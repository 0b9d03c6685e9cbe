/*
 * Tests of tags.h. Outside values: the photographs and corners published with
 * the AprilTag library (tests/data/apriltag/README); tag pictures rendered by
 * libapriltag; corners stated by the renderer of the sample frames.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
#include <jpeglib.h>

#include "rimglow/image.h"
#include "rimglow/tags.h"
#include "support/load.h"

static const rg_tag_options plain = {.decimate = 1.0, .max_hamming = 2};
static const rg_tag_options bench = {.decimate = 2.0, .refine = true, .max_hamming = 1};

typedef struct grey_picture {
    int width, height;
    uint8_t *code; /* free() */
} grey_picture;

static grey_picture blank(int width, int height, int code)
{
    grey_picture g = {width, height, malloc((size_t)(width * height))};
    memset(g.code, code, (size_t)(width * height));
    return g;
}

static grey_picture load_grey(const char *path)
{
    rg_image image = test_decode_file(path);
    grey_picture g = blank(image.width, image.height, 0);
    rg_image_luma(&image, g.code);
    rg_image_free(&image);
    return g;
}

static rg_tag_list find(const rg_tag_options *options, const grey_picture *g, bool complete)
{
    rg_tag_finder *finder;
    rg_tag_list list;
    cr_assert_eq(rg_tag_finder_new(&finder, options, NULL), RG_OK);
    cr_assert_eq(rg_tags_find(finder, g->code, g->width, g->height, complete, &list, NULL), RG_OK);
    rg_tag_finder_free(finder);
    return list;
}

/* Paints a tag whose black border covers the pixels [left, left + 8 module). */
static void paint_tag(grey_picture *g, int id, int left, int top, int module)
{
    apriltag_family_t *family = tag36h11_create();
    image_u8_t *tag = apriltag_to_image(family, id);
    for (int y = 0; y < tag->height * module; y++)
        for (int x = 0; x < tag->width * module; x++)
            g->code[(top - module + y) * g->width + left - module + x] =
                tag->buf[y / module * tag->stride + x / module];
    free(tag->buf);
    free(tag);
    tag36h11_destroy(family);
}

/* ---------------------------------------------------------------- photographs */

/* The JPEG's own luma, as the corners were published for; rg_image_luma goes
 * through RGB and differs by a code here and there. */
static grey_picture load_jpeg_luma(const char *path)
{
    test_bytes b = test_load(path);
    struct jpeg_decompress_struct jpeg;
    struct jpeg_error_mgr errors;
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_decompress(&jpeg);
    jpeg_mem_src(&jpeg, b.data, b.size);
    jpeg_read_header(&jpeg, TRUE);
    jpeg.out_color_space = JCS_GRAYSCALE;
    jpeg_start_decompress(&jpeg);
    grey_picture g = blank((int)jpeg.output_width, (int)jpeg.output_height, 0);
    while (jpeg.output_scanline < jpeg.output_height) {
        JSAMPROW row = g.code + jpeg.output_scanline * jpeg.output_width;
        jpeg_read_scanlines(&jpeg, &row, 1);
    }
    jpeg_destroy_decompress(&jpeg);
    free(b.data);
    return g;
}

static double corner_distance(const rg_tag *tag, const double published[8])
{
    double worst = 0.0;
    for (int i = 0; i < 4; i++) {
        double x = published[2 * (3 - i)] - 0.5, y = published[2 * (3 - i) + 1] - 0.5;
        worst = fmax(worst, fmax(fabs(tag->corner[i].x - x), fabs(tag->corner[i].y - y)));
    }
    return worst;
}

static void check_photograph(const char *name, int expected, int beyond_a_tenth)
{
    char path[200];
    snprintf(path, sizeof path, "tests/data/apriltag/%s.jpg", name);
    grey_picture g = load_jpeg_luma(path);
    rg_tag_list list = find(&plain, &g, false);
    free(g.code);
    cr_assert_eq(list.count, expected);
    snprintf(path, sizeof path, "tests/data/apriltag/%s.txt", name);
    FILE *file = fopen(path, "r");
    cr_assert_not_null(file);
    int rows = 0, beyond = 0, id;
    double p[8];
    while (fscanf(file, "%d, (%lf %lf), (%lf %lf), (%lf %lf), (%lf %lf)", &id, p, p + 1, p + 2,
                  p + 3, p + 4, p + 5, p + 6, p + 7) == 9) {
        double nearest = HUGE_VAL;
        for (int i = 0; i < list.count; i++)
            if (list.tag[i].id == id)
                nearest = fmin(nearest, corner_distance(&list.tag[i], p));
        cr_expect_lt(nearest, 0.15, "row %d of %s: %.3f px", rows, name, nearest);
        beyond += nearest > 0.1;
        rows++;
    }
    fclose(file);
    cr_assert_eq(rows, expected);
    cr_assert_leq(beyond, beyond_a_tenth);
}

Test(tags, photographs_give_every_published_tag_and_no_other)
{
    check_photograph("33369213973_9d9bb4cc96_c", 12, 1);
    check_photograph("34085369442_304b6bafd9_c", 25, 2);
    check_photograph("34139872896_defdb2f8d9_c", 10, 1);
}

/* ---------------------------------------------------------------- conventions */

Test(tags, corners_lie_between_pixels_counted_from_their_centres)
{
    for (int decimate = 1; decimate <= 2; decimate++) {
        rg_tag_options options = {.decimate = decimate, .refine = true, .max_hamming = 0};
        grey_picture g = blank(320, 300, 255);
        paint_tag(&g, 12, 100, 80, 16); /* black from pixel 100 to 227, rows 80 to 207 */
        rg_tag_list list = find(&options, &g, false);
        free(g.code);
        cr_assert_eq(list.count, 1);
        cr_assert_eq(list.tag[0].id, 12);
        static const double x[4] = {99.5, 227.5, 227.5, 99.5}, y[4] = {79.5, 79.5, 207.5, 207.5};
        for (int i = 0; i < 4; i++) {
            /* The library errs by up to 0.21 px here; half a pixel would show. */
            cr_expect_float_eq(list.tag[0].corner[i].x, x[i], 0.3);
            cr_expect_float_eq(list.tag[0].corner[i].y, y[i], 0.3);
        }
    }
}

Test(tags, corners_start_at_the_top_left_and_run_clockwise)
{
    /* Pad 08-G, view_00, tag 13, as the renderer states it. */
    static const double truth[4][2] = {
        {351.62, 45.784}, {547.745, 21.79}, {552.851, 283.302}, {356.033, 295.485}};
    grey_picture g = load_grey("samples/PE-A-0147/08-G/view_00.jpg");
    rg_tag_options full = {.decimate = 1.0, .max_hamming = 1};
    rg_tag_list list = find(&full, &g, false);
    free(g.code);
    int seen = 0;
    for (int t = 0; t < list.count; t++) {
        if (list.tag[t].id != 13)
            continue;
        seen++;
        for (int i = 0; i < 4; i++) {
            cr_expect_float_eq(list.tag[t].corner[i].x, truth[i][0], 1.5);
            cr_expect_float_eq(list.tag[t].corner[i].y, truth[i][1], 1.5);
        }
    }
    cr_assert_eq(seen, 1);
}

/* ---------------------------------------------------------------- cut tags */

Test(tags, tags_that_lost_their_upper_border_are_found_when_edges_are_completed)
{
    static const char *const name[] = {"04-C/view_06", "04-C/view_08", "04-C/view_09"};
    for (int k = 0; k < 3; k++) {
        char path[100];
        snprintf(path, sizeof path, "samples/PE-A-0147/%s.jpg", name[k]);
        grey_picture g = load_grey(path);
        /* A module is about 33 px: 45 rows take the border of the nearer tag away. */
        grey_picture lower = {g.width, g.height - 45, g.code + 45 * g.width};
        rg_tag_list without = find(&bench, &lower, false);
        rg_tag_list with = find(&bench, &lower, true);
        free(g.code);
        cr_expect_eq(without.count, 0, "%s", name[k]);
        cr_expect_geq(with.count, 1, "%s", name[k]);
        for (int i = 0; i < with.count; i++)
            cr_expect(with.tag[i].cut && with.tag[i].id >= 12 && with.tag[i].id <= 17);
    }
}

Test(tags, completing_edges_reports_no_tag_twice)
{
    grey_picture g = blank(500, 300, 230);
    paint_tag(&g, 3, 60, 60, 12);
    paint_tag(&g, 3, 300, 60, 12);
    rg_tag_list list = find(&plain, &g, true);
    free(g.code);
    cr_assert_eq(list.count, 2);
    cr_assert_not(list.tag[0].cut);
    cr_assert_not(list.tag[1].cut);
}

/* ---------------------------------------------------------------- limits */

Test(tags, damaged_bits_are_corrected_only_up_to_the_limit)
{
    grey_picture g = blank(320, 300, 255);
    paint_tag(&g, 40, 100, 80, 16);
    for (int cell = 0; cell < 2; cell++) /* two data cells of the first row turn over */
        for (int y = 0; y < 16; y++)
            for (int x = 0; x < 16; x++) {
                uint8_t *c = &g.code[(96 + y) * g.width + 116 + 48 * cell + x];
                *c = (uint8_t)(255 - *c);
            }
    rg_tag_options strict = {.decimate = 1.0, .max_hamming = 1};
    rg_tag_list two = find(&plain, &g, false), one = find(&strict, &g, false);
    free(g.code);
    cr_assert_eq(two.count, 1);
    cr_assert_eq(two.tag[0].id, 40);
    cr_assert_eq(two.tag[0].hamming, 2);
    cr_assert_eq(one.count, 0);
}

Test(tags, faint_tags_are_left_out_below_the_margin)
{
    grey_picture g = blank(320, 300, 255);
    paint_tag(&g, 40, 100, 80, 16);
    for (int i = 0; i < g.width * g.height; i++)
        g.code[i] = (uint8_t)(100 + g.code[i] / 8); /* 31 codes between black and white */
    rg_tag_options picky = plain;
    picky.min_margin = 60.0;
    cr_expect_eq(find(&plain, &g, false).count, 1);
    cr_expect_eq(find(&picky, &g, false).count, 0);
    free(g.code);
}

static rg_tag_list find_large(const grey_picture *g, const int box[4], int reduce)
{
    rg_tag_finder *finder;
    rg_tag_list list;
    cr_assert_eq(rg_tag_finder_new(&finder, &bench, NULL), RG_OK);
    cr_assert_eq(rg_tags_find_large(finder, g->code, g->width, g->height, box, reduce, &list, NULL),
                 RG_OK);
    rg_tag_finder_free(finder);
    return list;
}

static rg_tag_list find_in(const grey_picture *g, int x0, int y0, int x1, int y1)
{
    const int box[4] = {x0, y0, x1, y1};
    return find_large(g, box, 3);
}

static grey_picture two_tags(void)
{
    grey_picture g = blank(1280, 720, 255);
    paint_tag(&g, 7, 211, 133, 19);
    paint_tag(&g, 12, 803, 401, 21);
    return g;
}

static double worst_corner(const rg_tag *a, const rg_tag *b)
{
    double worst = 0;
    for (int k = 0; k < 4; k++)
        worst =
            fmax(worst, hypot(a->corner[k].x - b->corner[k].x, a->corner[k].y - b->corner[k].y));
    return worst;
}

/* The painted corners are the outside value; a block is 2 to 5 px wide, and the library's corners are good to 0.2 of one. */
Test(tags, large_tags_are_found_in_a_small_picture_where_they_are)
{
    static const rg_tag painted[2] = {
        {.id = 7, .corner = {{210.5, 132.5}, {362.5, 132.5}, {362.5, 284.5}, {210.5, 284.5}}},
        {.id = 12, .corner = {{802.5, 400.5}, {970.5, 400.5}, {970.5, 568.5}, {802.5, 568.5}}}};
    grey_picture g = two_tags();
    for (int reduce = 2; reduce <= 5; reduce++) {
        rg_tag_list found = find_large(&g, NULL, reduce);
        cr_assert_eq(found.count, 2, "reduced by %d: %d", reduce, found.count);
        for (int i = 0; i < 2; i++) {
            const rg_tag *tag = &found.tag[found.tag[0].id == painted[i].id ? 0 : 1];
            cr_expect_eq(tag->id, painted[i].id);
            cr_expect_not(tag->cut);
            cr_expect_lt(worst_corner(tag, &painted[i]), 0.3 * reduce, "reduced by %d: %g px",
                         reduce, worst_corner(tag, &painted[i]));
        }
    }
    free(g.code);
}

/* A part that is put back wrongly is off by tens of px. */
Test(tags, a_part_of_the_picture_gives_its_own_tags_where_the_whole_has_them)
{
    grey_picture g = two_tags();
    rg_tag_list whole = find(&bench, &g, false);
    cr_assert_eq(whole.count, 2);
    for (int i = 0; i < 2; i++) {
        const rg_tag *tag = &whole.tag[i];
        int x = (int)tag->corner[0].x, y = (int)tag->corner[0].y;
        rg_tag_list part = find_in(&g, x - 57, y - 41, x + 220, y + 217);
        cr_assert_eq(part.count, 1, "tag %d: %d", tag->id, part.count);
        cr_expect_eq(part.tag[0].id, tag->id);
        cr_expect_lt(worst_corner(&part.tag[0], tag), 1);
    }
    cr_expect_eq(find_in(&g, -500, -500, 5000, 5000).count, 2, "a box is clipped to the picture");
    cr_expect_eq(find_in(&g, 400, 0, 700, 719).count, 0);
    cr_expect_eq(find_in(&g, 1300, 0, 1400, 719).count, 0, "outside of the picture is nothing");
    cr_expect_eq(find_in(&g, 900, 700, 100, 20).count, 0, "nor in a box of no size");
    free(g.code);
}

/* Noise of 30 codes on 60 codes of contrast: plain decimation keeps it, means of 4 x 4 quarter it. */
Test(tags, means_of_blocks_see_through_noise)
{
    grey_picture g = two_tags();
    uint32_t state = 1;
    for (int i = 0; i < g.width * g.height; i++) {
        int sum = 0;
        for (int k = 0; k < 12; k++) { /* nearly normal, of variance 1 after division */
            state = state * 1664525u + 1013904223u;
            sum += (int)(state >> 22);
        }
        double noise = 30 * (sum / 1024.0 - 6), code = 60 + g.code[i] * 60 / 255.0 + noise;
        g.code[i] = (uint8_t)fmin(fmax(code, 0), 255);
    }
    cr_expect_eq(find_large(&g, NULL, 4).count, 2);
    free(g.code);
}

Test(tags, a_reduction_that_cannot_be_is_refused)
{
    grey_picture g = blank(64, 64, 255);
    rg_tag_finder *finder;
    rg_tag_list list;
    cr_assert_eq(rg_tag_finder_new(&finder, &bench, NULL), RG_OK);
    static const int wrong[] = {-1, 0, 1, RG_TAGS_REDUCE_MAX + 1};
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        cr_expect_eq(rg_tags_find_large(finder, g.code, 64, 64, NULL, wrong[i], &list, NULL),
                     RG_INTERNAL);
    cr_expect_eq(rg_tags_find_large(finder, g.code, 64, 64, NULL, RG_TAGS_REDUCE_MAX, &list, NULL),
                 RG_OK);
    cr_expect_eq(list.count, 0);
    rg_tag_finder_free(finder);
    free(g.code);
}

Test(tags, more_tags_than_the_list_holds_are_refused)
{
    grey_picture g = blank(660, 600, 255);
    for (int i = 0; i < 72; i++)
        paint_tag(&g, i, 20 + i % 9 * 70, 20 + i / 9 * 70, 6);
    rg_tag_finder *finder;
    rg_tag_list list;
    rg_error err = {0};
    cr_assert_eq(rg_tag_finder_new(&finder, &plain, NULL), RG_OK);
    cr_assert_eq(rg_tags_find(finder, g.code, g.width, g.height, false, &list, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "64"), "%s", err.text);
    rg_tag_finder_free(finder);
    free(g.code);
}

Test(tags, no_tag_is_not_an_error)
{
    for (int code = 0; code <= 255; code += 255) {
        grey_picture g = blank(200, 40, code);
        cr_expect_eq(find(&plain, &g, true).count, 0);
        cr_expect_eq(find(&bench, &g, true).count, 0);
        free(g.code);
    }
    grey_picture tiny = blank(1, 1, 9);
    cr_expect_eq(find(&plain, &tiny, true).count, 0);
    free(tiny.code);
}

Test(tags, impossible_options_and_sizes_are_refused)
{
    static const rg_tag_options bad[] = {{.decimate = 0.0},
                                         {.decimate = 2.5},
                                         {.decimate = NAN},
                                         {.decimate = 1.0, .max_hamming = 3},
                                         {.decimate = 1.0, .max_hamming = -1},
                                         {.decimate = 1.0, .min_margin = -1.0},
                                         {.decimate = 1.0, .min_margin = NAN}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        rg_tag_finder *finder;
        cr_assert_eq(rg_tag_finder_new(&finder, &bad[i], NULL), RG_BAD_DATA);
        cr_assert_null(finder);
    }
    rg_tag_finder_free(NULL);
    rg_tag_finder *finder;
    rg_tag_list list;
    uint8_t code = 0;
    cr_assert_eq(rg_tag_finder_new(&finder, &plain, NULL), RG_OK);
    cr_assert_eq(rg_tags_find(finder, &code, 0, 1, false, &list, NULL), RG_BAD_DATA);
    cr_assert_eq(rg_tags_find(finder, &code, 1, 20000, false, &list, NULL), RG_BAD_DATA);
    rg_tag_finder_free(finder);
}

/* ---------------------------------------------------------------- printing */

/* Paints the table's modules by ourselves and lets the library read them. */
Test(tags, printed_modules_are_read_as_the_id_upright)
{
    enum { EDGE = 12, LEFT = 30, TOP = 40 };
    static const int ids[] = {0, 1, 12, 17, 299, 400, 581, 586};
    for (size_t i = 0; i < sizeof ids / sizeof *ids; i++) {
        uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES];
        cr_assert_eq(rg_tag_modules(ids[i], module, NULL), RG_OK);
        grey_picture g = blank(200, 200, 255);
        for (int y = 0; y < RG_TAG_MODULES * EDGE; y++)
            for (int x = 0; x < RG_TAG_MODULES * EDGE; x++)
                g.code[(TOP + y) * g.width + LEFT + x] = module[y / EDGE][x / EDGE] ? 255 : 0;
        rg_tag_list list = find(&plain, &g, false);
        cr_assert_eq(list.count, 1, "tag %d", ids[i]);
        cr_expect_eq(list.tag[0].id, ids[i]);
        cr_expect_eq(list.tag[0].hamming, 0);
        /* The black border begins a module inside; its first corner is the top left one. */
        cr_expect_float_eq(list.tag[0].corner[0].x, LEFT + EDGE - 0.5, 1.0);
        cr_expect_float_eq(list.tag[0].corner[0].y, TOP + EDGE - 0.5, 1.0);
        cr_expect_float_eq(list.tag[0].corner[2].x, LEFT + 9 * EDGE - 0.5, 1.0);
        free(g.code);
    }
}

/* The id after the last one of the family is refused, by the library's own count. */
Test(tags, modules_of_ids_that_do_not_exist_are_refused)
{
    uint8_t module[RG_TAG_MODULES][RG_TAG_MODULES];
    apriltag_family_t *family = tag36h11_create();
    cr_expect_eq((int)family->ncodes, RG_TAG_IDS);
    cr_expect_eq(family->total_width, RG_TAG_MODULES);
    cr_expect_eq(family->width_at_border, RG_TAG_BORDER_MODULES);
    tag36h11_destroy(family);
    const int bad[] = {-1, RG_TAG_IDS, 100000};
    for (int i = 0; i < 3; i++) {
        rg_error err = {0};
        cr_expect_eq(rg_tag_modules(bad[i], module, &err), RG_BAD_DATA);
        cr_expect(strstr(err.text, "ids are 0 to 586") != NULL, "%s", err.text);
    }
}

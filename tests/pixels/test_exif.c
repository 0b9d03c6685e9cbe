/*
 * Tests of the EXIF orientation reader.
 * Real files: the orientation examples of tests/data/exif, one landscape
 * photograph stored in all eight orientations. Hand-made blocks follow
 * TIFF 6.0.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "support/load.h"

/* II, 42, directory at 8, one entry: tag 274, SHORT, count 1, value 6 */
static const uint8_t intel[26] = {'I', 'I', 42, 0, 8, 0, 0, 0, 1, 0, 0x12, 0x01, 3,
                                  0,   1,   0,  0, 0, 6, 0, 0, 0, 0, 0,    0,    0};
static const uint8_t motorola[26] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0,
                                     3,   0,   0, 0,  1, 0, 6, 0, 0, 0, 0,    0,    0};

Test(exif, both_byte_orders_are_read)
{
    cr_assert_eq(rg_exif_orientation(intel, sizeof intel), 6);
    cr_assert_eq(rg_exif_orientation(motorola, sizeof motorola), 6);
}

/* Each prefix lives in a block of its own size, so that a read beyond the
 * end is seen by the address sanitizer. */
Test(exif, block_cut_short_means_upright)
{
    for (size_t size = 0; size < 20; size++) {
        uint8_t *cut = malloc(size ? size : 1);
        memcpy(cut, intel, size);
        cr_assert_eq(rg_exif_orientation(cut, size), 1, "%zu bytes", size);
        free(cut);
    }
}

Test(exif, malformed_blocks_mean_upright)
{
    static const struct {
        int place;
        uint8_t value;
    } change[] = {{0, 'M'}, {0, 'X'}, {2, 43}, {7, 255}, {12, 4},
                  {14, 2},  {18, 9},  {18, 0}, {19, 1}};
    for (size_t i = 0; i < sizeof change / sizeof *change; i++) {
        uint8_t bytes[sizeof intel];
        memcpy(bytes, intel, sizeof bytes);
        bytes[change[i].place] = change[i].value;
        cr_assert_eq(rg_exif_orientation(bytes, sizeof bytes), 1, "change %zu", i);
    }
}

Test(exif, other_tags_are_passed_over)
{
    uint8_t two[38];
    memcpy(two, intel, sizeof intel);
    memcpy(two + 22, intel + 10, 12);
    memset(two + 34, 0, 4);
    two[8] = 2;
    two[10] = 0x0f; /* first entry: another tag */
    two[18] = 3;
    cr_assert_eq(rg_exif_orientation(two, sizeof two), 6);
}

static double mean_difference(const rg_image *a, const rg_image *b)
{
    size_t n = (size_t)a->width * (size_t)a->height * (size_t)a->channels;
    const uint8_t *p = a->data, *q = b->data;
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += abs(p[i] - q[i]);
    return sum / (double)n;
}

Test(exif, photographs_of_all_orientations_come_out_upright_and_alike)
{
    rg_image first = test_decode_file("tests/data/exif/Landscape_1.jpg");
    for (int o = 2; o <= 8; o++) {
        char path[60];
        snprintf(path, sizeof path, "tests/data/exif/Landscape_%d.jpg", o);
        rg_image other = test_decode_file(path);
        cr_assert_eq(other.orientation, o);
        cr_assert(other.width == 1800 && other.height == 1200, "%s", path);
        /* separate encodings of one picture differ by up to 3.7, a wrong turn by over 70 */
        cr_assert(mean_difference(&first, &other) < 5, "%s: %g", path,
                  mean_difference(&first, &other));
        rg_image_free(&other);
    }
    rg_image_free(&first);
}

Test(exif, header_gives_the_upright_size)
{
    for (int o = 1; o <= 8; o++) {
        test_bytes b = test_loadf("tests/data/exif/Landscape_%d.jpg", o);
        rg_image header;
        cr_assert_eq(rg_decode_header(b.data, b.size, &header, NULL), RG_OK);
        cr_assert(header.width == 1800 && header.full_height == 1200);
        cr_assert(header.orientation == o && header.channels == 3 && header.depth == 8);
        cr_assert_null(header.data);
        free(b.data);
    }
}

Test(exif, rows_of_a_turned_photograph_are_those_of_the_upright_picture)
{
    test_bytes b = test_load("tests/data/exif/Landscape_8.jpg");
    rg_image whole, part;
    cr_assert_eq(rg_decode(b.data, b.size, &whole, NULL), RG_OK);
    cr_assert_eq(rg_decode_rows(b.data, b.size, 700, 33, &part, NULL), RG_OK);
    cr_assert(part.first_row == 700 && part.height == 33 && part.full_height == 1200);
    cr_assert_arr_eq(part.data, (uint8_t *)whole.data + 700 * 1800 * 3, 33 * 1800 * 3);
    rg_image_free(&whole);
    rg_image_free(&part);
    free(b.data);
}

/*
 * Tests of the JPEG half of decode.h.
 * Checksums: SHA-256 of the PNM output of djpeg, libjpeg-turbo 2.1.5 (accurate
 * integer IDCT and smooth upsampling are its defaults). Progressive files hold
 * the coefficients of the baseline file of the same name, so both must give
 * the same samples. Hostile files: see tests/fuzz/corpus/README.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "support/load.h"
#include "support/pnm.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

static const struct {
    const char *baseline, *progressive, *sha256;
} pairs[] = {
    {"video-001", "video-001.progressive", "1ce4eacd253f4665"},
    {"video-001.q50.420", "video-001.q50.420.progressive", "34cf86e2f38fc5ec"},
    {"video-001.q50.422", "video-001.q50.422.progressive", "7470fe336f25a828"},
    {"video-001.q50.444", "video-001.q50.444.progressive", "874bd1fe9f2ffed8"},
    {"video-001.q50.440", "video-001.q50.440.progressive", "477e9db447c4c4e2"},
    {"video-001.q50.411", "video-001.q50.411.progressive", "48f81645b23fea51"},
    {"video-001.q50.410", "video-001.q50.410.progressive", "13d77219993c74d2"},
    {"video-005.gray.q50", "video-005.gray.q50.progressive", "6b8fe83cce5d8081"},
    {"video-005.gray.q50.2x2", "video-005.gray.q50.2x2.progressive", "6b8fe83cce5d8081"},
};

static test_bytes load(const char *name)
{
    return test_loadf("tests/data/jpeg/%s.jpeg", name);
}

static void assert_sha256(const char *name, const char *want)
{
    test_bytes b = load(name);
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode(b.data, b.size, &image, &err), RG_OK, "%s: %s", name, err.text);
    cr_assert_eq(image.warnings, 0);
    char digits[17];
    test_pnm_sha256(&image, digits);
    cr_assert_str_eq(digits, want, "%s: %s, not %s", name, digits, want);
    rg_image_free(&image);
    free(b.data);
}

Test(jpeg, samples_are_those_of_the_reference_decoder)
{
    for (size_t i = 0; i < COUNT(pairs); i++)
        assert_sha256(pairs[i].baseline, pairs[i].sha256);
}

Test(jpeg, progressive_file_gives_the_samples_of_its_baseline_twin)
{
    for (size_t i = 0; i < COUNT(pairs); i++)
        assert_sha256(pairs[i].progressive, pairs[i].sha256);
}

/* The PNG beside each file is the same picture before, or after, compression. */
Test(jpeg, picture_is_close_to_its_lossless_copy)
{
    static const char *const names[] = {"video-001", "video-001.rgb", "video-005.gray"};
    for (int i = 0; i < 3; i++) {
        char path[80];
        snprintf(path, sizeof path, "tests/data/jpeg/%s.png", names[i]);
        rg_image lossless = test_decode_file(path);
        snprintf(path, sizeof path, "tests/data/jpeg/%s.jpeg", names[i]);
        rg_image image = test_decode_file(path);
        cr_assert(image.width == lossless.width && image.height == lossless.height);
        cr_assert_eq(image.channels, lossless.channels, "%s", names[i]);
        size_t n = (size_t)(image.width * image.height * image.channels);
        double sum = 0;
        for (size_t k = 0; k < n; k++)
            sum += abs(((uint8_t *)image.data)[k] - ((uint8_t *)lossless.data)[k]);
        cr_assert(sum / (double)n < 8, "%s: %g", names[i], sum / (double)n);
        rg_image_free(&image);
        rg_image_free(&lossless);
    }
}

Test(jpeg, rows_are_those_of_the_whole_picture)
{
    for (size_t i = 0; i < COUNT(pairs); i++) {
        test_bytes b = load(i % 2 ? pairs[i].progressive : pairs[i].baseline);
        rg_image whole, part;
        cr_assert_eq(rg_decode(b.data, b.size, &whole, NULL), RG_OK);
        size_t row = (size_t)(whole.width * whole.channels);
        for (int first = 0; first < whole.height; first++)
            for (int count = 1; count < 60; count += 19) {
                int held = first + count > 103 ? 103 - first : count;
                cr_assert_eq(rg_decode_rows(b.data, b.size, first, count, &part, NULL), RG_OK);
                cr_assert(part.first_row == first && part.height == held);
                cr_assert(part.full_height == 103 && part.warnings == 0);
                cr_assert_arr_eq(part.data, (uint8_t *)whole.data + (size_t)first * row,
                                 (size_t)held * row, "%s, rows %d+%d", pairs[i].baseline, first,
                                 count);
                rg_image_free(&part);
            }
        rg_image_free(&whole);
        free(b.data);
    }
}

Test(jpeg, rows_are_clipped_and_rows_outside_are_refused)
{
    test_bytes b = load("video-001");
    rg_image part;
    cr_assert_eq(rg_decode_rows(b.data, b.size, -10, 15, &part, NULL), RG_OK);
    cr_assert(part.first_row == 0 && part.height == 5);
    rg_image_free(&part);
    static const int outside[][2] = {{103, 1}, {-5, 5}, {10, 0}, {10, -3}, {2147483647, 9}};
    for (int i = 0; i < 5; i++) {
        cr_assert_eq(rg_decode_rows(b.data, b.size, outside[i][0], outside[i][1], &part, NULL),
                     RG_BAD_DATA);
        cr_assert_null(part.data);
    }
    free(b.data);
}

Test(jpeg, truncated_file_is_flagged_as_non_evidence)
{
    test_bytes b = load("video-001");
    rg_image image;
    cr_assert_eq(rg_decode(b.data, b.size / 2, &image, NULL), RG_OK);
    cr_assert(image.warnings > 0);
    cr_assert_str_eq(image.warning, "Premature end of JPEG file");
    rg_image_free(&image);
    free(b.data);
}

Test(jpeg, damage_behind_the_rows_asked_for_is_still_flagged)
{
    test_bytes b = load("video-001");
    rg_image image;
    cr_assert_eq(rg_decode_rows(b.data, b.size * 9 / 10, 0, 8, &image, NULL), RG_OK);
    cr_assert(image.warnings > 0);
    rg_image_free(&image);
    free(b.data);
}

Test(jpeg, file_that_ends_properly_with_scans_missing_is_flagged)
{
    test_bytes b = load("video-001.progressive.truncated");
    rg_image image;
    cr_assert_eq(rg_decode(b.data, b.size, &image, NULL), RG_OK);
    cr_assert(image.warnings > 0);
    rg_image_free(&image);
    free(b.data);
}

Test(jpeg, each_truncation_is_refused_or_flagged)
{
    test_bytes b = load("video-001.q50.420"), p = load("video-001.q50.420.progressive");
    for (int progressive = 0; progressive < 2; progressive++) {
        test_bytes from = progressive ? p : b;
        for (size_t size = 0; size < from.size - 2; size += 7) {
            uint8_t *cut = malloc(size ? size : 1);
            memcpy(cut, from.data, size);
            rg_image image;
            rg_error err = {0};
            rg_code code = rg_decode(cut, size, &image, &err);
            cr_assert(code == RG_BAD_DATA ? err.text[0] != 0 : image.warnings > 0, "%zu bytes",
                      size);
            rg_image_free(&image);
            free(cut);
        }
    }
    free(b.data);
    free(p.data);
}

Test(jpeg, tiny_broken_file_is_refused_with_a_reason)
{
    test_bytes b = test_load("tests/data/jpeg/truncated.jpg");
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode(b.data, b.size, &image, &err), RG_BAD_DATA);
    cr_assert_null(image.data);
    cr_assert(strstr(err.text, "JPEG"), "%s", err.text);
    free(b.data);
}

Test(jpeg, print_colours_are_refused)
{
    test_bytes b = load("video-001.cmyk");
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode(b.data, b.size, &image, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "CMYK"), "%s", err.text);
    free(b.data);
}

/* SOI; SOF0 of 8 bits, the given size, one component; SOS: all that a header
 * needs. */
static void header_bytes(uint8_t bytes[25], unsigned width, unsigned height)
{
    static const uint8_t made[25] = {0xff, 0xd8, 0xff, 0xc0, 0, 11, 8, 0, 0, 0, 0,  1, 1,
                                     0x11, 0,    0xff, 0xda, 0, 8,  1, 1, 0, 0, 63, 0};
    memcpy(bytes, made, 25);
    bytes[7] = (uint8_t)(height >> 8);
    bytes[8] = (uint8_t)height;
    bytes[9] = (uint8_t)(width >> 8);
    bytes[10] = (uint8_t)width;
}

Test(jpeg, header_of_65500_by_65500_is_refused_by_the_limit)
{
    uint8_t bytes[25];
    rg_image image;
    rg_error err = {0};
    header_bytes(bytes, 65500, 65500);
    cr_assert_eq(rg_decode(bytes, sizeof bytes, &image, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "65500") && strstr(err.text, "16384"), "%s", err.text);
    header_bytes(bytes, 9000, 9000);
    cr_assert_eq(rg_decode(bytes, sizeof bytes, &image, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "81000000") && strstr(err.text, "64000000"), "%s", err.text);
}

Test(jpeg, header_without_pixels_is_read_as_a_header)
{
    uint8_t bytes[25];
    rg_image image;
    header_bytes(bytes, 4000, 3000);
    cr_assert_eq(rg_decode_header(bytes, sizeof bytes, &image, NULL), RG_OK);
    cr_assert(image.width == 4000 && image.full_height == 3000 && image.channels == 1);
    header_bytes(bytes, 0, 3000);
    cr_assert_eq(rg_decode_header(bytes, sizeof bytes, &image, NULL), RG_BAD_DATA);
    cr_assert_eq(image.width, 0);
}

Test(jpeg, bomb_of_scans_is_refused)
{
    test_bytes b = load("video-001.progressive");
    size_t last = b.size - 2;
    while (b.data[last] != 0xff || b.data[last + 1] != 0xda)
        last--;
    size_t scan = b.size - 2 - last, copies = 80;
    uint8_t *bomb = malloc(b.size + copies * scan);
    memcpy(bomb, b.data, b.size - 2);
    uint8_t *end = bomb + b.size - 2;
    for (size_t i = 0; i < copies; i++, end += scan)
        memcpy(end, b.data + last, scan);
    memcpy(end, "\xff\xd9", 2);
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode(bomb, (size_t)(end + 2 - bomb), &image, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "64 scans"), "%s", err.text);
    cr_assert_null(image.data);
    free(bomb);
    free(b.data);
}

Test(jpeg, hostile_files_are_refused_or_flagged)
{
    rg_file_list list;
    cr_assert_eq(rg_folder_list("tests/fuzz/corpus/fuzz_jpeg", &list, NULL), RG_OK);
    int seen = 0, clean = 0;
    for (size_t i = 0; i < list.count; i++) {
        if (strncmp(list.name[i], "hostile-", 8) != 0)
            continue;
        test_bytes b = test_loadf("tests/fuzz/corpus/fuzz_jpeg/%s", list.name[i]);
        rg_image image;
        rg_error err = {0};
        rg_code code = rg_decode(b.data, b.size, &image, &err);
        cr_assert(code == RG_OK || (code == RG_BAD_DATA && err.text[0]), "%s", list.name[i]);
        cr_assert((code == RG_OK) == (image.data != NULL));
        seen++;
        clean += code == RG_OK && image.warnings == 0;
        rg_image_free(&image);
        free(b.data);
    }
    rg_file_list_free(&list);
    cr_assert_eq(seen, 60);
    /* djpeg accepts one of the sixty without a word */
    cr_assert(clean <= 1, "%d", clean);
}

Test(jpeg, bytes_that_are_no_picture_are_refused)
{
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode((const uint8_t *)"", 0, &image, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, "empty"));
    cr_assert_eq(rg_decode((const uint8_t *)"GIF89a..", 8, &image, &err), RG_BAD_DATA);
    cr_assert_eq(rg_decode((const uint8_t *)"\xff\xd8\xff", 3, &image, &err), RG_BAD_DATA);
    cr_assert_eq(rg_decode_header((const uint8_t *)"\xff\xd8", 2, &image, &err), RG_BAD_DATA);
    cr_assert_eq(rg_format_of((const uint8_t *)"\xff\xd8\xff\xe0", 4), RG_FORMAT_JPEG);
    cr_assert_eq(rg_format_of((const uint8_t *)"\x89PNG\r\n\x1a\n", 8), RG_FORMAT_PNG);
    cr_assert_eq(rg_format_of((const uint8_t *)"\x89PNG\r\n\x1a\n", 7), RG_FORMAT_UNKNOWN);
}

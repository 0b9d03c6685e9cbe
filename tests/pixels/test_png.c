/*
 * Tests of the PNG half of decode.h.
 * Samples: PngSuite, with expected samples that were made without libpng (see
 * tests/data/png/README). CRC-32 of "123456789" is cbf43926 (ISO 3309).
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "support/load.h"

static void assert_samples(const rg_image *image, const test_bytes *want, const char *name)
{
    size_t n = (size_t)(image->width * image->height * image->channels);
    cr_assert_eq(want->size, n * (size_t)(image->depth / 8), "%s", name);
    for (size_t i = 0; i < n; i++) {
        int w = image->depth == 8 ? want->data[i] : want->data[2 * i] << 8 | want->data[2 * i + 1];
        int got = image->depth == 8 ? ((uint8_t *)image->data)[i] : ((uint16_t *)image->data)[i];
        cr_assert_eq(got, w, "%s, sample %zu: %d, not %d", name, i, got, w);
    }
}

/* The size is in a suite file's name only where it is not 32. */
static int side_of(const char *name)
{
    const char *dash = strchr(name, '-');
    int side = dash ? atoi(dash + 1) : 0;
    return side ? side : 32;
}

Test(png, suite_gives_the_published_samples)
{
    rg_file_list list;
    cr_assert_eq(rg_folder_list("tests/data/png/expected", &list, NULL), RG_OK);
    cr_assert_eq(list.count, 35);
    for (size_t i = 0; i < list.count; i++) {
        char name[40], path[100];
        snprintf(name, sizeof name, "%.*s", (int)strlen(list.name[i]) - 4, list.name[i]);
        snprintf(path, sizeof path, "tests/data/png/suite/%s.png", name);
        rg_image image = test_decode_file(path);
        test_bytes want = test_loadf("tests/data/png/expected/%s", list.name[i]);
        cr_assert(image.width == side_of(name) && image.height == side_of(name), "%s", name);
        cr_assert_eq(image.depth, strstr(name, "16") ? 16 : 8, "%s", name);
        cr_assert_eq(image.channels, strchr("04", name[4]) || name[5] == '0' ? 1 : 3, "%s", name);
        cr_assert_eq(image.warnings, 0, "%s: %s", name, image.warning);
        assert_samples(&image, &want, name);
        rg_image_free(&image);
        free(want.data);
    }
    rg_file_list_free(&list);
}

Test(png, malformed_files_are_refused_with_a_reason)
{
    static const char *const names[] = {"crc32", "noend", "palette", "trunc", "zlib"};
    for (int i = 0; i < 5; i++) {
        test_bytes b = test_loadf("tests/data/png/invalid/invalid-%s.png", names[i]);
        rg_image image;
        rg_error err = {0};
        cr_assert_eq(rg_decode(b.data, b.size, &image, &err), RG_BAD_DATA, "%s", names[i]);
        cr_assert_null(image.data);
        cr_assert(strstr(err.text, "PNG"), "%s", err.text);
        free(b.data);
    }
}

Test(png, each_truncation_is_refused)
{
    static const char *const names[] = {"basn2c16", "basn3p04-31i", "basn4a08"};
    for (int i = 0; i < 3; i++) {
        test_bytes b = test_loadf("tests/data/png/suite/%s.png", names[i]);
        for (size_t size = 0; size < b.size; size += 3) {
            uint8_t *cut = malloc(size ? size : 1);
            memcpy(cut, b.data, size);
            rg_image image;
            cr_assert_eq(rg_decode(cut, size, &image, NULL), RG_BAD_DATA, "%s, %zu", names[i],
                         size);
            free(cut);
        }
        free(b.data);
    }
}

Test(png, each_flipped_byte_of_the_pixels_is_refused)
{
    test_bytes b = test_load("tests/data/png/suite/basn2c16.png");
    uint8_t *idat = b.data;
    while (memcmp(idat, "IDAT", 4) != 0)
        idat++;
    for (uint8_t *p = idat + 4; p < b.data + b.size - 12; p += 5) {
        *p ^= 0x10;
        rg_image image;
        cr_assert_eq(rg_decode(b.data, b.size, &image, NULL), RG_BAD_DATA, "byte %td", p - b.data);
        *p ^= 0x10;
    }
    free(b.data);
}

static uint32_t crc32_of(const uint8_t *bytes, size_t size)
{
    uint32_t crc = 0xffffffff;
    for (size_t i = 0; i < size; i++) {
        crc ^= bytes[i];
        for (int k = 0; k < 8; k++)
            crc = crc >> 1 ^ (crc & 1 ? 0xedb88320 : 0);
    }
    return ~crc;
}

static void put_32(uint8_t *to, uint32_t v)
{
    for (int i = 0; i < 4; i++)
        to[i] = (uint8_t)(v >> (24 - 8 * i));
}

/* A suite file with one more chunk right behind its header. */
static test_bytes with_chunk(const char *path, const char *type, const uint8_t *body, size_t size)
{
    test_bytes b = test_load(path), made = {malloc(b.size + size + 12), b.size + size + 12};
    memcpy(made.data, b.data, 33);
    uint8_t *chunk = made.data + 33;
    put_32(chunk, (uint32_t)size);
    memcpy(chunk + 4, type, 4);
    memcpy(chunk + 8, body, size);
    put_32(chunk + 8 + size, crc32_of(chunk + 4, size + 4));
    memcpy(chunk + 12 + size, b.data + 33, b.size - 33);
    free(b.data);
    return made;
}

static const uint8_t turned_right[26] = {'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0,
                                         3,   0,   0, 0,  1, 0, 6, 0, 0, 0, 0,    0,    0};

Test(png, exif_chunk_turns_the_picture_upright)
{
    cr_assert_eq(crc32_of((const uint8_t *)"123456789", 9), 0xcbf43926);
    const char *path = "tests/data/png/suite/basn2c08.png";
    test_bytes b = with_chunk(path, "eXIf", turned_right, sizeof turned_right);
    rg_image turned, plain = test_decode_file(path);
    cr_assert_eq(rg_decode(b.data, b.size, &turned, NULL), RG_OK);
    cr_assert_eq(turned.orientation, 6);
    /* 6: stored row 0 is the right side, so stored (0, 0) is the upper right */
    cr_assert_arr_eq((uint8_t *)turned.data + 31 * 3, plain.data, 3);
    cr_assert_arr_eq((uint8_t *)turned.data, (uint8_t *)plain.data + 31 * 32 * 3, 3);
    rg_image_free(&turned);
    rg_image_free(&plain);
    free(b.data);
}

Test(png, broken_exif_chunk_leaves_the_picture_as_stored)
{
    test_bytes b = with_chunk("tests/data/png/suite/basn2c08.png", "eXIf", turned_right, 12);
    rg_image image;
    cr_assert_eq(rg_decode(b.data, b.size, &image, NULL), RG_OK);
    cr_assert_eq(image.orientation, 1);
    rg_image_free(&image);
    free(b.data);
}

/* gAMA 1/1.0: a colour-managed decoder would brighten the picture. */
Test(png, gamma_chunk_changes_no_code)
{
    static const uint8_t gamma[4] = {0x00, 0x01, 0x86, 0xa0};
    test_bytes b = with_chunk("tests/data/png/suite/basn3p08.png", "gAMA", gamma, 4);
    test_bytes want = test_load("tests/data/png/expected/basn3p08.raw");
    rg_image image;
    cr_assert_eq(rg_decode(b.data, b.size, &image, NULL), RG_OK);
    assert_samples(&image, &want, "gamma");
    rg_image_free(&image);
    free(want.data);
    free(b.data);
}

Test(png, header_beyond_the_limits_is_refused)
{
    test_bytes b = test_load("tests/data/png/suite/basn2c08.png");
    static const uint32_t bad[][2] = {
        {100000, 100000}, {0xffffffff, 0xffffffff}, {0, 32}, {32, 15}, {8001, 8000}, {16385, 16}};
    for (int i = 0; i < 6; i++) {
        put_32(b.data + 16, bad[i][0]);
        put_32(b.data + 20, bad[i][1]);
        put_32(b.data + 29, crc32_of(b.data + 12, 17));
        rg_image image;
        rg_error err = {0};
        cr_assert_eq(rg_decode(b.data, b.size, &image, &err), RG_BAD_DATA);
        cr_assert_eq(rg_decode_header(b.data, b.size, &image, &err), RG_BAD_DATA);
        char value[20];
        snprintf(value, sizeof value, "%u", (unsigned)bad[i][0]);
        cr_assert(strstr(err.text, value) || bad[i][0] == 8001, "%s", err.text);
    }
    free(b.data);
}

/* A size that is within the limits but not that of the pixels. */
Test(png, picture_larger_than_its_pixels_is_refused)
{
    test_bytes b = test_load("tests/data/png/suite/basn2c08.png");
    put_32(b.data + 16, 8000);
    put_32(b.data + 20, 8000);
    put_32(b.data + 29, crc32_of(b.data + 12, 17));
    rg_image image;
    cr_assert_eq(rg_decode(b.data, b.size, &image, NULL), RG_BAD_DATA);
    cr_assert_null(image.data);
    free(b.data);
}

Test(png, rows_are_those_of_the_whole_picture)
{
    test_bytes b = test_load("tests/data/png/suite/basn6a16.png");
    test_bytes want = test_load("tests/data/png/expected/basn6a16.raw");
    rg_image part;
    cr_assert_eq(rg_decode_rows(b.data, b.size, 20, 5, &part, NULL), RG_OK);
    cr_assert(part.first_row == 20 && part.height == 5 && part.full_height == 32);
    test_bytes rows = {want.data + 20 * 32 * 6, 5 * 32 * 6};
    assert_samples(&part, &rows, "basn6a16");
    rg_image_free(&part);
    free(want.data);
    free(b.data);
}

Test(png, header_says_what_the_picture_will_be)
{
    test_bytes b = with_chunk("tests/data/png/suite/basn4a16.png", "eXIf", turned_right, 26);
    rg_image header;
    cr_assert_eq(rg_decode_header(b.data, b.size, &header, NULL), RG_OK);
    cr_assert(header.width == 32 && header.full_height == 32 && header.orientation == 6);
    cr_assert(header.channels == 1 && header.depth == 16 && header.data == NULL);
    free(b.data);
}

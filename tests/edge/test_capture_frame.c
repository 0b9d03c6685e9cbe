/*
 * Frames as files: what is a whole JPEG, and PNGs that keep all of a YUYV frame.
 *
 * Outside values: the JPEG files of tests/data/jpeg (whole and cut) and the samples;
 * Y' of 16 is black and 235 is white (ITU-R BT.601). What libpng reads back is the judge of the PNGs.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/capture.h"
#include "rimglow/decode.h"
#include "rimglow/file.h"

#define SAMPLE "samples/PE-A-0147/04-C/view_00.jpg"

typedef struct file_bytes {
    uint8_t *bytes;
    size_t size;
    int width, height;
} file_bytes;

static file_bytes loaded(const char *path)
{
    file_bytes f = {0};
    rg_image header;
    rg_error err = {0};
    cr_assert_eq(rg_file_read(path, RG_FILE_MAX_BYTES, &f.bytes, &f.size, &err), RG_OK, "%s",
                 err.text);
    if (rg_decode_header(f.bytes, f.size, &header, &err) == RG_OK) {
        f.width = header.width;
        f.height = header.full_height;
    }
    return f;
}

static rg_code check(const file_bytes *f, rg_error *err)
{
    return rg_shot_check_jpeg(f->bytes, f->size, f->width, f->height, err);
}

static void refused(const file_bytes *f, const char *word)
{
    rg_error err = {0};
    cr_assert_eq(check(f, &err), RG_BAD_DATA, "%s", word);
    cr_assert(strstr(err.text, word), "'%s' is not in: %s", word, err.text);
}

/* The decoder's own truncated one is cut inside its second scan and has an end marker all the same: the
 * walk cannot see that, the decoder's warnings do. The CMYK file is no camera frame; its size stands here. */
Test(capture_frame, every_whole_jpeg_of_the_collection_is_whole)
{
    rg_file_list list;
    int whole = 0;
    cr_assert_eq(rg_folder_list("tests/data/jpeg", &list, NULL), RG_OK);
    for (size_t i = 0; i < list.count; i++) {
        char path[300];
        rg_error err = {0};
        if (!strstr(list.name[i], ".jpeg"))
            continue;
        snprintf(path, sizeof path, "tests/data/jpeg/%s", list.name[i]);
        file_bytes f = loaded(path);
        if (strstr(path, ".cmyk.")) {
            f.width = 150;
            f.height = 103;
        }
        cr_expect_eq(check(&f, &err), RG_OK, "%s: %s", path, err.text);
        whole++;
        free(f.bytes);
    }
    cr_expect_geq(whole, 20);
    rg_file_list_free(&list);
}

Test(capture_frame, a_cut_file_of_the_collection_is_not_whole)
{
    file_bytes f = loaded("tests/data/jpeg/truncated.jpg");
    cr_expect_eq(check(&f, NULL), RG_BAD_DATA);
    free(f.bytes);
    rg_image image = {0};
    f = loaded("tests/data/jpeg/video-001.progressive.truncated.jpeg");
    cr_expect_eq(check(&f, NULL), RG_OK);
    cr_assert_eq(rg_decode(f.bytes, f.size, &image, NULL), RG_OK);
    cr_expect_gt(image.warnings, 0);
    rg_image_free(&image);
    free(f.bytes);
}

/* Each in a block of its own size: a sanitizer sees a read of one byte too many. */
Test(capture_frame, no_beginning_of_a_jpeg_is_whole)
{
    file_bytes f = loaded(SAMPLE), part = f;
    for (part.size = 0; part.size < f.size;
         part.size += part.size < 700 || part.size > f.size - 100 ? 1 : 997) {
        part.bytes = malloc(part.size ? part.size : 1);
        cr_assert_not_null(part.bytes);
        memcpy(part.bytes, f.bytes, part.size);
        cr_assert_eq(check(&part, NULL), RG_BAD_DATA, "%zu bytes", part.size);
        free(part.bytes);
    }
    cr_assert_eq(check(&f, NULL), RG_OK);
    free(f.bytes);
}

static void append(file_bytes *f, const void *bytes, size_t size)
{
    f->bytes = realloc(f->bytes, f->size + size);
    cr_assert_not_null(f->bytes);
    memcpy(f->bytes + f->size, bytes, size);
    f->size += size;
}

Test(capture_frame, padding_may_follow_and_nothing_else)
{
    file_bytes f = loaded(SAMPLE);
    append(&f, "\0\0\0\0\xff\xff", 6);
    cr_expect_eq(check(&f, NULL), RG_OK);
    append(&f, "x", 1);
    refused(&f, "behind its end");
    free(f.bytes);
}

Test(capture_frame, another_size_is_refused_by_name)
{
    file_bytes f = loaded(SAMPLE);
    f.width = 640;
    refused(&f, "1280 x 720");
    free(f.bytes);
}

Test(capture_frame, two_frames_run_together_are_refused)
{
    file_bytes f = loaded(SAMPLE), g = loaded(SAMPLE);
    f.size /= 2;
    append(&f, g.bytes, g.size);
    refused(&f, "does not belong");
    free(f.bytes);
    free(g.bytes);
}

/* Hand-made (T.81 annex B): SOI, SOF0 16 x 16, SOS, data with the restart markers given, EOI. */
static size_t made(uint8_t *out, const char *scan, size_t scan_size)
{
    static const uint8_t head[] = {0xff, 0xd8, 0xff, 0xc0, 0, 11, 8, 0, 16, 0, 16, 1, 1,
                                   0x11, 0,    0xff, 0xda, 0, 8,  1, 1, 0,  0, 63, 0};
    memcpy(out, head, sizeof head);
    memcpy(out + sizeof head, scan, scan_size);
    memcpy(out + sizeof head + scan_size, "\xff\xd9", 2);
    return sizeof head + scan_size + 2;
}

static bool scan_is_whole(const char *scan, size_t size)
{
    uint8_t bytes[200];
    return rg_shot_check_jpeg(bytes, made(bytes, scan, size), 16, 16, NULL) == RG_OK;
}

Test(capture_frame, restart_markers_must_come_in_their_order)
{
    static const char ordered[] = "a\xff\xd0"
                                  "b\xff\xd1"
                                  "c\xff\xd2"
                                  "d\xff\xd3"
                                  "e\xff\xd4"
                                  "f\xff\xd5"
                                  "g\xff\xd6"
                                  "h\xff\xd7"
                                  "i\xff\xd0"
                                  "j";
    cr_expect(scan_is_whole("ab\xff\0cd", 6));
    cr_expect(scan_is_whole(ordered, sizeof ordered - 1));
    cr_expect_not(scan_is_whole("a\xff\xd0"
                                "b\xff\xd2"
                                "c",
                                7));
    cr_expect_not(scan_is_whole("a\xff\xd1"
                                "b",
                                4));
}

#define HAND_SOI "\xff\xd8"
#define HAND_SOF "\xff\xc0\0\x0b\x08\0\x10\0\x10\1\1\x11\0"
#define HAND_SOS "\xff\xda\0\x08\1\1\0\0\x3f\0"
#define HAND_EOI "\xff\xd9"

static void hand_made(const char *bytes, size_t size, const char *word)
{
    rg_error err = {0};
    rg_code code = rg_shot_check_jpeg((const uint8_t *)bytes, size, 16, 16, &err);
    cr_expect_eq(code, word ? RG_BAD_DATA : RG_OK, "%s", err.text);
    cr_expect(!word || strstr(err.text, word), "'%s' is not in: %s", word ? word : "", err.text);
}
#define HAND_MADE(bytes, word) hand_made(bytes, sizeof(bytes) - 1, word)

Test(capture_frame, the_order_of_segments_is_checked)
{
    HAND_MADE(HAND_SOI HAND_SOF HAND_SOS "abc" HAND_EOI, NULL);
    HAND_MADE(HAND_SOI HAND_SOF HAND_EOI, "an end without a picture");
    HAND_MADE(HAND_SOI HAND_SOS "abc" HAND_EOI, "without frame header");
    HAND_MADE(HAND_SOI HAND_SOF HAND_SOF HAND_SOS "abc" HAND_EOI, "second frame header");
    HAND_MADE(HAND_SOI HAND_SOF HAND_SOS "abc" HAND_SOI HAND_EOI, "does not belong");
    HAND_MADE(HAND_SOI "x" HAND_SOF HAND_SOS "abc" HAND_EOI, "no marker");
    HAND_MADE(HAND_SOI "\xff\xe0\xff\xf0" HAND_SOF HAND_SOS "abc" HAND_EOI, "longer than");
    HAND_MADE(HAND_SOI "\xff\xe0\0\1" HAND_SOF HAND_SOS "abc" HAND_EOI, "longer than");
    HAND_MADE(HAND_SOI "\xff\xc0\0\4\x08\0" HAND_SOS "abc" HAND_EOI, "too short");
}

/* Motion JPEG leaves out the usual Huffman tables: whole, and the decoder reads the same picture. */
Test(capture_frame, a_frame_without_huffman_tables_is_whole_and_readable)
{
    file_bytes f = loaded("tests/data/jpeg/video-001.q50.420.jpeg"), g = f;
    rg_image with = {0}, without = {0};
    cr_assert_eq(rg_decode(f.bytes, f.size, &with, NULL), RG_OK);
    g.bytes = malloc(f.size);
    cr_assert_not_null(g.bytes);
    memcpy(g.bytes, f.bytes, g.size);
    int removed = 0;
    for (size_t i = 2; i + 4 < g.size && g.bytes[i] == 0xff && g.bytes[i + 1] != 0xda;) {
        size_t length = 2 + ((size_t)g.bytes[i + 2] << 8 | g.bytes[i + 3]);
        if (g.bytes[i + 1] == 0xc4) {
            memmove(g.bytes + i, g.bytes + i + length, g.size - i - length);
            g.size -= length;
            removed++;
        } else {
            i += length;
        }
    }
    cr_assert_gt(removed, 0);
    cr_expect_eq(check(&g, NULL), RG_OK);
    cr_assert_eq(rg_decode(g.bytes, g.size, &without, NULL), RG_OK);
    size_t bytes = (size_t)with.width * (size_t)with.height * (size_t)with.channels;
    cr_expect_eq(memcmp(with.data, without.data, bytes), 0);
    rg_image_free(&with);
    rg_image_free(&without);
    free(f.bytes);
    free(g.bytes);
}

/* ---------------------------------------------------------------- PNG */

enum { W = 256, H = 16, STRIDE = 2 * W + 10 };

/* Every value of Y' in a row; chroma different everywhere; padding that must not be kept. */
static void fill(uint8_t *bytes)
{
    memset(bytes, 0xee, (size_t)H * STRIDE);
    for (int y = 0; y < H; y++)
        for (int x = 0; x < W; x++) {
            bytes[y * STRIDE + 2 * x] = (uint8_t)x;
            bytes[y * STRIDE + 2 * x + 1] = (uint8_t)(x * 5 + y * 17);
        }
}

static rg_image written(bool full_range, uint8_t **back, rg_image *whole)
{
    static uint8_t bytes[H * STRIDE];
    rg_raw_frame raw = {bytes, sizeof bytes, STRIDE, W, H, full_range};
    rg_image luma = {0};
    rg_error err = {0};
    uint8_t *png;
    size_t size;
    int width, height;
    static const double weights[3] = {0.299, 0.587, 0.114};
    fill(bytes);
    cr_assert_eq(rg_shot_png_of_yuyv(&raw, &png, &size, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_decode_luma(png, size, weights, &luma, &err), RG_OK, "%s", err.text);
    cr_assert_eq(luma.warnings, 0);
    cr_assert_eq(rg_decode(png, size, whole, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_shot_yuyv_of_png(png, size, back, &width, &height, &err), RG_OK, "%s",
                 err.text);
    cr_assert(width == W && height == H);
    free(png);
    return luma;
}

Test(capture_frame, yuyv_comes_back_whole_and_its_luma_is_stretched_to_the_full_range)
{
    uint8_t *back;
    rg_image whole = {0}, luma = written(false, &back, &whole);
    const uint8_t *y = luma.data;
    for (int row = 0; row < H; row++)
        for (int x = 0; x < W; x++) {
            cr_assert_eq(back[(row * W + x) * 2], x);
            cr_assert_eq(back[(row * W + x) * 2 + 1], (uint8_t)(x * 5 + row * 17));
        }
    cr_expect(y[0] == 0 && y[16] == 0 && y[235] == 255 && y[255] == 255);
    for (int x = 16; x <= 235; x++) {
        double ideal = (x - 16) * 255.0 / 219;
        cr_expect(y[x] >= ideal - 0.5 && y[x] <= ideal + 0.5, "%d becomes %d", x, y[x]);
        cr_expect(x == 16 || y[x] > y[x - 1], "%d is no longer told from %d", x, x - 1);
    }
    cr_expect(whole.channels == 1 && whole.depth == 8);
    free(back);
    rg_image_free(&luma);
    rg_image_free(&whole);
}

Test(capture_frame, full_range_luma_is_left_alone)
{
    uint8_t *back;
    rg_image whole = {0}, luma = written(true, &back, &whole);
    for (int x = 0; x < W; x++)
        cr_assert_eq(((const uint8_t *)luma.data)[W + x], x);
    free(back);
    rg_image_free(&luma);
    rg_image_free(&whole);
}

static void check_chunks(const uint8_t *png, size_t size)
{
    int ours = 0;
    for (size_t place = 8; place + 12 <= size;) {
        size_t length = (size_t)png[place] << 24 | (size_t)png[place + 1] << 16 |
                        (size_t)png[place + 2] << 8 | png[place + 3];
        cr_expect_leq(length, (size_t)4 * 1024 * 1024);
        ours += memcmp(png + place + 4, "yuYV", 4) == 0;
        place += 12 + length;
    }
    cr_expect_gt(ours, 1);
}

/* Incompressible, so that the private part takes more than one chunk. */
Test(capture_frame, a_large_noisy_frame_comes_back_whole)
{
    enum { BIG_W = 3840, BIG_H = 2160 };
    size_t bytes = (size_t)2 * BIG_W * BIG_H, size = 0;
    uint8_t *noise = malloc(bytes), *png = NULL, *back = NULL;
    rg_error err = {0};
    rg_image image = {0};
    int width, height;
    uint32_t state = 1;
    cr_assert_not_null(noise);
    for (size_t i = 0; i < bytes; i++) {
        state = state * 1664525 + 1013904223;
        noise[i] = (uint8_t)(state >> 24);
    }
    rg_raw_frame raw = {noise, bytes, 2 * BIG_W, BIG_W, BIG_H, false};
    cr_assert_eq(rg_shot_png_of_yuyv(&raw, &png, &size, &err), RG_OK, "%s", err.text);
    cr_expect_gt(size, 3 * (size_t)4 * 1024 * 1024);
    cr_assert_eq(rg_decode(png, size, &image, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_shot_yuyv_of_png(png, size, &back, &width, &height, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(memcmp(back, noise, bytes), 0);
    check_chunks(png, size);
    free(noise);
    free(png);
    free(back);
    rg_image_free(&image);
}

Test(capture_frame, frames_that_do_not_fit_are_refused)
{
    static const uint8_t bytes[64];
    uint8_t *png;
    size_t size;
    rg_error err = {0};
    const rg_raw_frame odd = {bytes, 64, 30, 15, 2, false}, cut = {bytes, 63, 32, 16, 2, false},
                       narrow = {bytes, 64, 16, 16, 2, false},
                       huge = {bytes, 64, 40000, 20000, 2, false},
                       none = {bytes, 64, 0, 0, 0, false};
    cr_expect_eq(rg_shot_png_of_yuyv(&odd, &png, &size, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "odd width 15"), "%s", err.text);
    cr_expect_eq(rg_shot_png_of_yuyv(&cut, &png, &size, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "need 64"), "%s", err.text);
    cr_expect_eq(rg_shot_png_of_yuyv(&narrow, &png, &size, &err), RG_BAD_DATA);
    cr_expect_eq(rg_shot_png_of_yuyv(&huge, &png, &size, &err), RG_BAD_DATA);
    cr_expect_eq(rg_shot_png_of_grey(&none, &png, &size, &err), RG_BAD_DATA);
}

Test(capture_frame, a_png_without_the_private_chunk_is_no_yuyv_frame)
{
    static const uint8_t bytes[16 * 16];
    const rg_raw_frame raw = {bytes, sizeof bytes, 16, 16, 16, true};
    uint8_t *png, *back;
    size_t size;
    int width, height;
    rg_error err = {0};
    cr_assert_eq(rg_shot_png_of_grey(&raw, &png, &size, &err), RG_OK);
    cr_expect_eq(rg_shot_yuyv_of_png(png, size, &back, &width, &height, &err), RG_BAD_DATA);
    cr_expect_null(back);
    free(png);
}

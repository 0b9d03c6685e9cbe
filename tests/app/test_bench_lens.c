/*
 * test_bench_lens.c - which pictures of a camera become photographs: ray-cast boards (support/board_picture.h), with
 * time stamps of our own.
 */
#include <criterion/criterion.h>
#include <dirent.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "../../src/app/bench_lens.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "support/board_picture.h"

enum { WAIT_MS = 20000, STEP_US = 100000 };

static const rg_board board = {7, 5, 28.0, 36.0, 400};
static const rg_lens camera = {
    .width = 640, .height = 480, .fx = 560, .fy = 560, .cx = 320, .cy = 240, .k1 = -0.1};

static rg_bench_lens *lens;
static char folder[] = "/tmp/rimglow-lens-XXXXXX";
static int64_t now_us = 1000000;

/* calib/board.ini with the board of these pictures. */
static void write_board(const char *path)
{
    uint8_t *text;
    size_t size;
    rg_error err = {0};
    cr_assert_eq(rg_file_read("calib/board.ini", 100000, &text, &size, &err), RG_OK, "%s",
                 err.text);
    static const char *const from[] = {"columns = 9", "rows = 7", "tag_mm = 4.8 ", "tag_mm = 4.8\n",
                                       "pitch_mm = 6.4"};
    static const char *const to[] = {"columns = 7", "rows = 5", "tag_mm = 28  ", "tag_mm = 28 \n",
                                     "pitch_mm = 36 "};
    for (int i = 0; i < 5; i++) {
        char *at = strstr((char *)text, from[i]);
        if (at)
            memcpy(at, to[i], strlen(to[i]));
    }
    cr_assert_eq(rg_file_write(path, text, size, &err), RG_OK, "%s", err.text);
    free(text);
}

static void open_lens(void)
{
    char path[64];
    rg_error err = {0};
    cr_assert(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/board.ini", folder);
    write_board(path);
    const rg_bench_lens_options o = {.board_file = path, .out = folder, .rough = camera};
    cr_assert_eq(rg_bench_lens_open(&o, &lens, &err), RG_OK, "%s", err.text);
}

static void close_lens(void)
{
    char command[96];
    rg_bench_lens_close(lens);
    snprintf(command, sizeof command, "rm -r %s", folder);
    cr_expect_eq(system(command), 0);
}

static uint8_t *picture(double tilt_x, double tilt_y, double blur, size_t *size)
{
    test_random random = {.state = 7};
    test_board_scene s = {board,         camera,       .blur_px = blur,
                          .black = 0.03, .white = 0.7, .ground = 0.2};
    s.pose = test_board_pose(&board, 250, (rg_vec2){0, 0}, tilt_x, tilt_y, 2);
    rg_image image = test_board_picture(&s, 1.0, &random);
    png_image png = {.version = PNG_IMAGE_VERSION,
                     .width = (png_uint_32)image.width,
                     .height = (png_uint_32)image.height,
                     .format = PNG_FORMAT_GRAY};
    png_alloc_size_t n = 0;
    cr_assert(png_image_write_to_memory(&png, NULL, &n, 0, image.data, 0, NULL));
    uint8_t *bytes = rg_alloc(n, 1);
    cr_assert(bytes && png_image_write_to_memory(&png, bytes, &n, 0, image.data, 0, NULL));
    rg_image_free(&image);
    *size = n;
    return bytes;
}

/* One picture is looked at, and what comes of it is waited for. */
static json_t *look(const uint8_t *bytes, size_t size)
{
    const rg_source_frame frame = {
        .bytes = bytes, .size = size, .suffix = "png", .time_us = now_us, .exposure = 1};
    struct timespec ms = {.tv_nsec = 1000000};
    now_us += STEP_US;
    rg_bench_lens_offer(lens, &frame, -1);
    for (int i = 0; i < WAIT_MS && rg_bench_lens_busy(lens); i++)
        nanosleep(&ms, NULL);
    return rg_bench_lens_json(lens);
}

static int photographs(json_t *state)
{
    int n = (int)json_array_size(json_object_get(state, "photographs"));
    json_decref(state);
    return n;
}

/* So many pictures of the same; the photographs after them. */
static int hold(const uint8_t *bytes, size_t size, int pictures)
{
    int n = 0;
    for (int i = 0; i < pictures; i++)
        n = photographs(look(bytes, size));
    return n;
}

/* still_s is 0.8 s: eight steps after the first. */
Test(bench_lens, a_board_is_taken_once_it_has_been_still_and_once_only, .init = open_lens,
     .fini = close_lens)
{
    size_t size, other;
    uint8_t *a = picture(0, 0, 0.7, &size), *b = picture(25, 0, 0.7, &other);
    cr_expect_eq(hold(a, size, 8), 0, "not before it has been still for long enough");
    cr_expect_eq(hold(a, size, 2), 1);
    cr_expect_eq(hold(a, size, 10), 1, "a view that is known is not taken again");
    for (int i = 0; i < 6; i++) { /* waved about */
        cr_expect_eq(hold(b, other, 2), 1);
        cr_expect_eq(hold(a, size, 2), 1);
    }
    cr_expect_eq(hold(b, other, 10), 2, "another view is taken");
    free(a);
    free(b);
}

Test(bench_lens, a_blurred_picture_is_refused_with_the_reason, .init = open_lens,
     .fini = close_lens)
{
    size_t size;
    uint8_t *a = picture(0, 0, 2.5, &size);
    cr_expect_eq(hold(a, size, 10), 0);
    rg_bench_lens_take(lens);
    json_t *state = look(a, size);
    const char *told = json_string_value(json_object_get(state, "told"));
    cr_expect(told && strstr(told, "not taken: blurred"), "%s", told);
    cr_expect(json_is_false(json_object_get(state, "usable")));
    json_decref(state);
    free(a);
}

Test(bench_lens, by_hand_it_is_taken_at_once_and_can_be_taken_back, .init = open_lens,
     .fini = close_lens)
{
    size_t size;
    rg_error err = {0};
    uint8_t *a = picture(0, 0, 0.7, &size);
    rg_bench_lens_automatic(lens, false);
    cr_expect_eq(hold(a, size, 12), 0);
    rg_bench_lens_take(lens);
    cr_expect_eq(hold(a, size, 1), 1);
    cr_expect_eq(rg_bench_lens_back(lens, &err), RG_OK, "%s", err.text);
    cr_expect_eq(hold(a, size, 1), 0);
    cr_expect_eq(rg_bench_lens_back(lens, &err), RG_USAGE);
    free(a);
}

Test(bench_lens, nothing_is_written_without_a_result, .init = open_lens, .fini = close_lens)
{
    char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK];
    int remarks = 0;
    rg_error err = {0};
    cr_expect_eq(rg_bench_lens_write(lens, "calib/bench.ini", remark, &remarks, &err), RG_USAGE);
    cr_expect(strstr(err.text, "no result of any photograph"), "%s", err.text);
}

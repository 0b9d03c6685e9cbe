/*
 * Capture against a camera that does not exist (shim/fake_camera.h): what is chosen, set, refused, counted
 * and survived. What a kernel does is tested in tests/kernel.
 *
 * Outside values: frames must equal, byte for byte, the sample files that the camera sends; a frame's first
 * sample is the exposure that it was taken at.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/capture.h"
#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "shim/fake_camera.h"

#define FRAMES "samples/PE-A-0147/04-C"

enum { LONG_MS = 5000, SHORT_MS = 30, FILES = 31 };

static void command(const char *text)
{
    cr_assert_eq(fake_camera(text), 0, "%s", text);
}

static rg_camera_wish mjpeg(void)
{
    return (rg_camera_wish){.width = 1280, .height = 720, .frames_per_second = 30};
}

static rg_camera_wish yuyv(void)
{
    return (rg_camera_wish){.width = 320, .height = 240};
}

/* Frames whenever they are asked for, so that nothing hangs on the machine's speed. */
static rg_camera *opened(rg_camera_wish wish)
{
    rg_camera *camera = NULL;
    rg_error err = {0};
    command("frames " FRAMES);
    command("instant");
    cr_assert_eq(rg_camera_open(&wish, &camera, &err), RG_OK, "%s", err.text);
    return camera;
}

static void refused(rg_camera_wish wish, const char *word)
{
    rg_camera *camera = (rg_camera *)&wish;
    rg_error err = {0};
    cr_assert_eq(rg_camera_open(&wish, &camera, &err), RG_NO_CAMERA);
    cr_assert_null(camera);
    cr_assert(strstr(err.text, word), "'%s' is not in: %s", word, err.text);
}

static rg_shot good(rg_camera *camera)
{
    rg_shot shot;
    rg_error err = {0};
    rg_shot_state state = rg_camera_next(camera, LONG_MS, &shot, &err);
    cr_assert_eq(state, RG_SHOT_GOOD, "state %d: %s", (int)state, err.text);
    return shot;
}

static void bad(rg_camera *camera, const char *word)
{
    rg_shot shot;
    rg_error err = {0};
    cr_assert_eq(rg_camera_next(camera, LONG_MS, &shot, &err), RG_SHOT_BAD);
    cr_assert(strstr(err.text, word), "'%s' is not in: %s", word, err.text);
    cr_assert_null(shot.bytes);
}

static void gone(rg_camera *camera, const char *word)
{
    rg_shot shot;
    rg_error err = {0};
    cr_assert_eq(rg_camera_next(camera, LONG_MS, &shot, &err), RG_SHOT_GONE);
    cr_assert(strstr(err.text, word), "'%s' is not in: %s", word, err.text);
}

static void counted(const rg_camera *camera, uint64_t good, uint64_t bad, uint64_t missed)
{
    rg_camera_counts c = rg_camera_count(camera);
    cr_expect_eq(c.good, good, "good %lu", (unsigned long)c.good);
    cr_expect_eq(c.bad, bad, "bad %lu", (unsigned long)c.bad);
    cr_expect_eq(c.missed, missed, "missed %lu", (unsigned long)c.missed);
}

/* ---------------------------------------------------------------- finding */

Test(capture, list_names_the_camera_and_leaves_out_its_metadata_node)
{
    static rg_camera_info info[4];
    int count = -1;
    cr_assert_eq(rg_camera_list(info, 4, &count, NULL), RG_OK);
    cr_assert_eq(count, 1);
    cr_expect_str_eq(info[0].path, "/dev/video0");
    cr_expect_str_eq(info[0].card, "Bench Camera");
    cr_expect_str_eq(info[0].driver, "fakevideo");
    cr_expect_str_eq(info[0].bus, "test-1.2");
    cr_assert_eq(info[0].modes, 7);
    cr_expect_eq(info[0].mode[0].format, RG_PIXELS_MJPEG);
    cr_expect_eq(info[0].mode[0].width, 1280);
    cr_expect_float_eq(info[0].mode[0].frames_per_second, 30, 1e-9);
}

Test(capture, list_without_permission_says_how_to_get_it)
{
    rg_camera_info info;
    rg_error err = {0};
    int count;
    command("noperm 1");
    cr_assert_eq(rg_camera_list(&info, 1, &count, &err), RG_NO_CAMERA);
    cr_expect(strstr(err.text, "group") && strstr(err.text, "/dev/video0"), "%s", err.text);
}

Test(capture, list_without_a_camera_is_empty)
{
    rg_camera_info info;
    int count = -1;
    command("unplug");
    cr_assert_eq(rg_camera_list(&info, 1, &count, NULL), RG_OK);
    cr_expect_eq(count, 0);
}

static rg_camera_mode chosen(int width, int height, double rate)
{
    rg_camera_mode mode;
    rg_camera_info info;
    rg_camera *camera =
        opened((rg_camera_wish){.width = width, .height = height, .frames_per_second = rate});
    rg_camera_describe(camera, &info, &mode);
    cr_expect_str_eq(info.path, "/dev/video0");
    rg_camera_close(camera);
    return mode;
}

Test(capture, mjpeg_is_preferred_and_the_lowest_rate_that_is_enough)
{
    rg_camera_mode mode = chosen(1280, 720, 12);
    cr_expect_eq(mode.format, RG_PIXELS_MJPEG);
    cr_expect_float_eq(mode.frames_per_second, 15, 1e-9);
    cr_expect_float_eq(chosen(1280, 720, 0).frames_per_second, 30, 1e-9);
    cr_expect_float_eq(chosen(1280, 720, 90).frames_per_second, 30, 1e-9);
    cr_expect_eq(chosen(640, 480, 20).format, RG_PIXELS_MJPEG);
    cr_expect_eq(chosen(640, 480, 60).format, RG_PIXELS_YUYV); /* MJPEG has 30 only */
    cr_expect_eq(chosen(320, 240, 0).format, RG_PIXELS_YUYV);
    cr_expect_eq(chosen(160, 120, 0).format, RG_PIXELS_GREY);
}

Test(capture, refusals_name_what_is_missing)
{
    refused((rg_camera_wish){.width = 1920, .height = 1080}, "640x480");
    refused((rg_camera_wish){.path = "/dev/video1", .width = 1280, .height = 720}, "metadata");
    refused((rg_camera_wish){.path = "/dev/video7", .width = 1280, .height = 720}, "plug it in");
    command("wrongsize 1");
    refused(mjpeg(), "320 x 240");
    command("wrongsize 0");
    command("busy 1");
    refused(mjpeg(), "another program");
    command("busy 0");
    command("noperm 1");
    refused(mjpeg(), "group");
    command("noperm 0");
    command("unplug");
    refused(mjpeg(), "plug one in");
}

Test(capture, a_second_streamer_is_told_of_the_first)
{
    rg_camera *camera = opened(mjpeg());
    refused(mjpeg(), "another program");
    good(camera);
    rg_camera_close(camera);
    rg_camera_close(opened(mjpeg()));
}

Test(capture, a_wish_for_no_picture_is_wrong_usage)
{
    rg_camera_wish wish = {.width = 0, .height = 720};
    rg_camera *camera;
    cr_expect_eq(rg_camera_open(&wish, &camera, NULL), RG_USAGE);
}

/* ---------------------------------------------------------------- controls */

Test(capture, automatics_go_off_and_values_are_read_back)
{
    rg_camera_wish wish = mjpeg();
    wish.settings.has[RG_CAMERA_EXPOSURE] = true;
    wish.settings.value[RG_CAMERA_EXPOSURE] = 120;
    wish.settings.has[RG_CAMERA_POWER_LINE] = true;
    wish.settings.value[RG_CAMERA_POWER_LINE] = 1;
    rg_camera *camera = opened(wish);
    const rg_camera_settings *s = rg_camera_locked(camera);
    const long expected[RG_CAMERA_CONTROLS] = {1, 120, 64, 0, 4000, 0, 0, 1};
    for (int i = 0; i < RG_CAMERA_CONTROLS; i++) {
        cr_expect(s->has[i]);
        cr_expect_eq(s->value[i], expected[i], "%s is %ld",
                     rg_camera_control_name((rg_camera_control)i), s->value[i]);
    }
    rg_shot shot = good(camera);
    cr_expect_eq(memcmp(&shot.settings, s, sizeof *s), 0);
    cr_expect_eq(rg_camera_check(camera, NULL), RG_OK);
    rg_camera_close(camera);
}

Test(capture, a_clamped_value_is_refused_by_name)
{
    rg_camera_wish wish = mjpeg();
    wish.settings.has[RG_CAMERA_EXPOSURE] = true;
    wish.settings.value[RG_CAMERA_EXPOSURE] = 5000;
    refused(wish, "exposure was to be 5000 and the camera made it 2047 (its range is 3 to 2047");
    wish.settings.value[RG_CAMERA_EXPOSURE] = 1L << 40;
    refused(wish, "refuses 1099511627776");
}

Test(capture, a_control_that_is_not_there_is_refused_only_when_asked_for)
{
    rg_camera_wish wish = mjpeg();
    command("control 0x9a090a"); /* V4L2_CID_FOCUS_ABSOLUTE */
    rg_camera *camera = opened(wish);
    cr_expect_not(rg_camera_locked(camera)->has[RG_CAMERA_FOCUS]);
    rg_camera_close(camera);
    wish.settings.has[RG_CAMERA_FOCUS] = true;
    refused(wish, "no control for focus");
}

Test(capture, drift_is_named)
{
    rg_camera *camera = opened(mjpeg());
    rg_error err = {0};
    cr_assert_eq(rg_camera_check(camera, &err), RG_OK, "%s", err.text);
    command("control 0x980913 70"); /* V4L2_CID_GAIN */
    cr_assert_eq(rg_camera_check(camera, &err), RG_NO_CAMERA);
    cr_expect(strstr(err.text, "gain was locked at 64 and is now 70"), "%s", err.text);
    rg_camera_close(camera);
}

Test(capture, exposure_of_an_automatic_that_came_back_is_refused)
{
    rg_camera *camera = opened(mjpeg());
    rg_error err = {0};
    command("control 0x9a0901 3"); /* V4L2_CID_EXPOSURE_AUTO */
    cr_assert_eq(rg_camera_set(camera, RG_CAMERA_EXPOSURE, 50, &err), RG_NO_CAMERA);
    cr_expect(strstr(err.text, "automatic"), "%s", err.text);
    cr_expect_eq(rg_camera_set(camera, RG_CAMERA_WHITE_AUTO, 1, &err), RG_USAGE);
    rg_camera_close(camera);
}

/* Here frames come in time, as the flush counts with the clock. */
Test(capture, no_frame_exposed_before_a_change_is_given_out)
{
    rg_camera_wish wish = yuyv();
    rg_camera *camera = opened(wish);
    command("instant 0");
    good(camera);
    for (int round = 0; round < 3; round++) {
        long exposure = 60 + 40 * round;
        rg_error err = {0};
        cr_assert_eq(rg_camera_set(camera, RG_CAMERA_EXPOSURE, exposure, &err), RG_OK, "%s",
                     err.text);
        cr_expect_eq(rg_camera_locked(camera)->value[RG_CAMERA_EXPOSURE], exposure);
        for (int i = 0; i < 3; i++) {
            rg_shot shot = good(camera);
            rg_image image = {0};
            uint8_t *raw;
            int width, height;
            cr_assert_eq(rg_shot_yuyv_of_png(shot.bytes, shot.size, &raw, &width, &height, &err),
                         RG_OK, "%s", err.text);
            cr_expect_eq(raw[0], exposure, "%d", raw[0]);
            cr_expect_eq(shot.settings.value[RG_CAMERA_EXPOSURE], exposure);
            free(raw);
            rg_image_free(&image);
        }
    }
    cr_expect_geq(rg_camera_count(camera).flushed, 3 * 5);
    rg_camera_close(camera);
}

/* 200 ms of exposure: two of them pass before a frame counts, 12 frames of this camera. */
Test(capture, a_long_exposure_is_waited_for)
{
    rg_camera *camera = opened(yuyv());
    good(camera);
    cr_assert_eq(rg_camera_set(camera, RG_CAMERA_EXPOSURE, 2000, NULL), RG_OK);
    good(camera);
    cr_expect_geq(rg_camera_count(camera).flushed, 10);
    rg_camera_close(camera);
}

/* ---------------------------------------------------------------- frames */

Test(capture, jpegs_come_byte_for_byte_and_in_order)
{
    rg_file_list list;
    cr_assert_eq(rg_folder_list(FRAMES, &list, NULL), RG_OK);
    rg_camera *camera = opened(mjpeg());
    uint64_t frames = 0;
    int64_t before = 0;
    for (size_t i = 0; i < list.count; i++) {
        uint8_t *bytes;
        size_t size;
        if (!strstr(list.name[i], ".jpg"))
            continue;
        char *path = rg_path_join(FRAMES, list.name[i]);
        cr_assert_eq(rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, NULL), RG_OK);
        rg_shot shot = good(camera);
        cr_assert_eq(shot.size, size, "%s", path);
        cr_assert_eq(memcmp(shot.bytes, bytes, size), 0, "%s", path);
        cr_expect_str_eq(shot.suffix, "jpg");
        cr_expect_eq(shot.sequence, frames);
        cr_expect(shot.time_us > before);
        before = shot.time_us;
        frames++;
        free(path);
        free(bytes);
    }
    cr_expect_eq(frames, FILES);
    counted(camera, FILES, 0, 0);
    rg_camera_close(camera);
    rg_file_list_free(&list);
}

Test(capture, a_yuyv_frame_becomes_a_png_with_every_byte_in_it)
{
    rg_camera *camera = opened(yuyv());
    rg_shot shot = good(camera);
    rg_error err = {0};
    uint8_t *raw;
    int width, height;
    cr_expect_str_eq(shot.suffix, "png");
    cr_assert_eq(rg_shot_yuyv_of_png(shot.bytes, shot.size, &raw, &width, &height, &err), RG_OK,
                 "%s", err.text);
    cr_assert(width == 320 && height == 240);
    for (unsigned y = 0; y < 240; y++)
        for (unsigned x = y == 0; x < 320; x++) {
            cr_assert_eq(raw[(y * 320 + x) * 2], fake_luma(x, y));
            cr_assert_eq(raw[(y * 320 + x) * 2 + 1], fake_chroma(x, y));
        }
    free(raw);
    rg_camera_close(camera);
}

/* Pixel (18, 0) has Y' = 126: (126 - 16) * 255 / 219 = 128.08 of 255 in the limited range. */
static int luma_of_126(void)
{
    rg_camera *camera = opened(yuyv());
    rg_shot shot = good(camera);
    rg_image image = {0};
    cr_assert_eq(fake_luma(18, 0), 126);
    cr_assert_eq(rg_decode(shot.bytes, shot.size, &image, NULL), RG_OK);
    int code = ((const uint8_t *)image.data)[18];
    rg_image_free(&image);
    rg_camera_close(camera);
    return code;
}

Test(capture, the_range_of_yuyv_is_the_drivers)
{
    cr_expect_eq(luma_of_126(), 128);
    command("full 1");
    cr_expect_eq(luma_of_126(), 126);
}

Test(capture, grey_frames_are_read_as_they_were_sent)
{
    rg_camera *camera = opened((rg_camera_wish){.width = 160, .height = 120});
    rg_shot shot = good(camera);
    rg_image image = {0};
    cr_assert_eq(rg_decode(shot.bytes, shot.size, &image, NULL), RG_OK);
    cr_assert(image.width == 160 && image.height == 120 && image.channels == 1);
    const uint8_t *grey = image.data;
    for (unsigned y = 0; y < 120; y++)
        for (unsigned x = y == 0; x < 160; x++)
            cr_assert_eq(grey[y * 160 + x], fake_luma(x, y));
    rg_image_free(&image);
    rg_camera_close(camera);
}

/* ---------------------------------------------------------------- faults */

Test(capture, bad_frames_are_counted_and_never_given_out)
{
    rg_camera *camera = opened(mjpeg());
    good(camera);
    command("error 2");
    bad(camera, "damaged in transfer");
    bad(camera, "damaged in transfer");
    command("truncate 1");
    bad(camera, "ends inside the picture");
    command("garbage 1");
    bad(camera, "behind its end");
    command("empty 1");
    bad(camera, "empty");
    good(camera);
    counted(camera, 2, 5, 0);
    rg_camera_close(camera);
}

Test(capture, a_short_yuyv_frame_is_bad)
{
    rg_camera *camera = opened(yuyv());
    command("truncate 1");
    bad(camera, "320 x 240 px need 153600");
    good(camera);
    counted(camera, 1, 1, 0);
    rg_camera_close(camera);
}

Test(capture, frames_that_the_driver_dropped_and_that_never_came_are_counted)
{
    rg_camera *camera = opened(mjpeg());
    good(camera);
    command("skip 3"); /* holes in numbers and in time: counted once */
    good(camera);
    counted(camera, 2, 0, 3);
    command("camskip 2"); /* a hole in time alone */
    good(camera);
    counted(camera, 3, 0, 5);
    command("skip 1");
    command("truncate 1");
    bad(camera, "JPEG"); /* a bad frame has its place too */
    good(camera);
    counted(camera, 4, 1, 6);
    rg_camera_close(camera);
}

/* As uvcvideo of Linux 6.1 does it (tests/kernel): all queued buffers back, numbered and timed 0. */
Test(capture, empty_buffers_after_an_endpoint_stall_spoil_no_account)
{
    rg_camera *camera = opened(mjpeg());
    for (int i = 0; i < 5; i++)
        good(camera);
    command("halt");
    for (int i = 0; i < 5; i++)
        bad(camera, "empty");
    cr_expect_eq(good(camera).sequence, 5);
    counted(camera, 6, 5, 0);
    cr_expect_eq(rg_camera_count(camera).restarts, 0);
    rg_camera_close(camera);
}

Test(capture, numbers_that_fall_back_are_no_gap)
{
    rg_camera *camera = opened(mjpeg());
    for (int i = 0; i < 5; i++)
        good(camera);
    command("restart");
    cr_expect_eq(good(camera).sequence, 0);
    cr_expect_eq(good(camera).sequence, 1);
    counted(camera, 7, 0, 0);
    cr_expect_eq(rg_camera_count(camera).restarts, 1);
    rg_camera_close(camera);
}

Test(capture, a_stall_is_a_time_out_and_then_frames_come_again)
{
    rg_camera *camera = opened(mjpeg());
    rg_shot shot;
    good(camera);
    command("stall 1");
    cr_expect_eq(rg_camera_next(camera, SHORT_MS, &shot, NULL), RG_SHOT_NONE);
    cr_expect_eq(rg_camera_next(camera, 0, &shot, NULL), RG_SHOT_NONE);
    cr_expect_eq(rg_camera_count(camera).timeouts, 2);
    command("stall 0");
    good(camera);
    rg_camera_close(camera);
}

Test(capture, an_exposure_longer_than_the_frame_period_is_no_gap)
{
    rg_camera_wish wish = mjpeg();
    wish.settings.has[RG_CAMERA_EXPOSURE] = true;
    wish.settings.value[RG_CAMERA_EXPOSURE] = 1000; /* 100 ms where frames are 33 ms apart */
    rg_camera *camera = opened(wish);
    good(camera);
    command("camskip 2"); /* so it comes 100 ms later */
    good(camera);
    counted(camera, 2, 0, 0);
    command("skip 1"); /* 67 ms: no gap of time, but one of numbers */
    good(camera);
    counted(camera, 3, 0, 1);
    rg_camera_close(camera);
}

Test(capture, unplugged_is_gone_and_replugged_opens_again)
{
    rg_camera *camera = opened(mjpeg());
    rg_error err = {0};
    good(camera);
    command("unplug");
    gone(camera, "pulled out");
    gone(camera, "open it again");
    cr_expect_eq(rg_camera_check(camera, &err), RG_NO_CAMERA);
    cr_expect(strstr(err.text, "pulled out"), "%s", err.text);
    cr_expect_eq(rg_camera_set(camera, RG_CAMERA_EXPOSURE, 50, &err), RG_NO_CAMERA);
    cr_expect(strstr(err.text, "pulled out"), "%s", err.text);
    refused(mjpeg(), "plug one in");
    command("plug");
    gone(camera, "open it again"); /* the old one stays gone */
    rg_camera_close(camera);
    camera = opened(mjpeg());
    cr_expect_eq(good(camera).sequence, 0);
    rg_camera_close(camera);
}

/* libv4l2 has room for 16 devices. */
Test(capture, a_day_of_plugging_leaves_nothing_open)
{
    for (int i = 0; i < 40; i++) {
        rg_camera *camera = opened(mjpeg());
        good(camera);
        refused(mjpeg(), "another program");
        command("unplug");
        gone(camera, "pulled out");
        rg_camera_close(camera);
        command("plug");
    }
}

Test(capture, a_driver_that_fails_for_good_is_gone)
{
    rg_camera *camera = opened(mjpeg());
    good(camera);
    command("fatal");
    gone(camera, "failed for good");
    command("fatal 0");
    gone(camera, "open it again");
    rg_camera_close(camera);
}

Test(capture, an_error_of_poll_alone_is_no_reason_to_spin)
{
    rg_camera *camera = opened(mjpeg());
    good(camera);
    command("stall 1");
    command("pollerr 1");
    gone(camera, "/dev/video0");
    rg_camera_close(camera);
}

Test(capture, frames_come_at_the_cameras_pace)
{
    rg_camera *camera = opened(yuyv());
    command("instant 0");
    int64_t first = good(camera).time_us;
    for (int i = 0; i < 4; i++)
        good(camera);
    int64_t last = good(camera).time_us;
    cr_expect_geq(last - first, 5 * 33000);
    rg_camera_close(camera);
}

Test(capture, closing_nothing_is_allowed)
{
    rg_camera_close(NULL);
}

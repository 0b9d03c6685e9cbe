/*
 * probe.c - capture.h against a real kernel; runs in the guest of tests/kernel/run.sh.
 *
 *   probe uvc FIFO     uvcvideo with the camera of usb_camera.c, commanded by FIFO
 *   probe vivid        the kernel's own test driver, commanded by its controls
 *
 * Prints "PASS what" or "FAIL what: why" for each claim, and "FRAME number sequence missed sha256" for each
 * frame of the long run: the host compares these with the files that the camera sent.
 */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

#include <linux/videodev2.h>

#include "rimglow/capture.h"
#include "rimglow/decode.h"
#include "rimglow/digest.h"

enum { LONG_RUN = 200, WAIT_MS = 5000, VIVID = 0x00f0f000 };

static int failures;

static void claim(bool held, const char *what, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void claim(bool held, const char *what, const char *format, ...)
{
    char why[800];
    va_list args;
    va_start(args, format);
    vsnprintf(why, sizeof why, format, args);
    va_end(args);
    printf("%s %s: %s\n", held ? "PASS" : "FAIL", what, why);
    fflush(stdout);
    failures += !held;
}

static void rest(long ms)
{
    nanosleep(&(struct timespec){ms / 1000, ms % 1000 * 1000000}, NULL);
}

/* ---------------------------------------------------------------- words */

static const char *fifo_path;

static void command(const char *line)
{
    int fifo = open(fifo_path, O_WRONLY);
    if (fifo < 0 || dprintf(fifo, "%s\n", line) < 0)
        printf("FAIL command %s\n", line);
    close(fifo);
}

static rg_camera *opened(const rg_camera_wish *wish, const char *what)
{
    rg_camera *camera = NULL;
    rg_error err = {0};
    rg_code code = rg_camera_open(wish, &camera, &err);
    claim(code == RG_OK, what, "%s", code ? err.text : "opened");
    if (!camera) {
        printf("PROBE-EXIT 1\n");
        exit(1);
    }
    return camera;
}

/* Is the wish refused with this word in the text? */
static void refused(const rg_camera_wish *wish, const char *word, const char *what)
{
    rg_camera *camera = NULL;
    rg_error err = {0};
    rg_code code = rg_camera_open(wish, &camera, &err);
    claim(code == RG_NO_CAMERA && strstr(err.text, word), what, "%s",
          code ? err.text : "it opened");
    rg_camera_close(camera);
}

/* Takes frames until one is not good, or `most` were; says what came last. */
static rg_shot_state until(rg_camera *camera, int most, int timeout_ms, rg_error *err)
{
    rg_shot shot;
    rg_shot_state state = RG_SHOT_GOOD;
    for (int i = 0; i < most && state == RG_SHOT_GOOD; i++)
        state = rg_camera_next(camera, timeout_ms, &shot, err);
    return state;
}

/* Takes frames until so many came that are good; false when none comes. */
static bool good_again(rg_camera *camera, int frames)
{
    rg_shot shot;
    int good = 0;
    for (int i = 0; i < frames + 20 && good < frames; i++) {
        rg_shot_state state = rg_camera_next(camera, WAIT_MS, &shot, NULL);
        if (state == RG_SHOT_GONE)
            return false;
        good += state == RG_SHOT_GOOD;
    }
    return good == frames;
}

/* Another program changes a control. */
static bool meddle(const char *path, unsigned id, int value)
{
    int fd = open(path, O_RDWR);
    struct v4l2_control control = {.id = id, .value = value};
    bool done = fd >= 0 && ioctl(fd, VIDIOC_S_CTRL, &control) == 0;
    if (fd >= 0)
        close(fd);
    return done;
}

/* ---------------------------------------------------------------- uvcvideo */

static rg_camera_wish mjpeg(void)
{
    return (rg_camera_wish){.width = 1280, .height = 720, .frames_per_second = 30};
}

static bool has_mode(const rg_camera_info *info, rg_pixel_format format, int width, int height)
{
    for (int i = 0; i < info->modes; i++)
        if (info->mode[i].format == format && info->mode[i].width == width &&
            info->mode[i].height == height && info->mode[i].frames_per_second > 29.9 &&
            info->mode[i].frames_per_second < 30.1)
            return true;
    return false;
}

static void listing(void)
{
    static rg_camera_info info[8];
    int count = 0;
    rg_camera_list(info, 8, &count, NULL);
    claim(count == 1, "one camera is listed, its metadata node is not", "%d listed, %s %s %s",
          count, info[0].path, info[0].card, info[0].driver);
    claim(has_mode(&info[0], RG_PIXELS_MJPEG, 1280, 720) &&
              has_mode(&info[0], RG_PIXELS_YUYV, 320, 240) &&
              has_mode(&info[0], RG_PIXELS_GREY, 160, 120),
          "MJPEG, YUYV and grey at 30 frames a second", "%d modes", info[0].modes);
}

static void want(rg_camera_wish *wish, rg_camera_control control, long value)
{
    wish->settings.has[control] = true;
    wish->settings.value[control] = value;
}

static void controls(void)
{
    static const long expected[RG_CAMERA_CONTROLS] = {1, 120, 100, 0, 5000, 0, 20, 1};
    rg_camera_wish wish = mjpeg();
    for (int i = 0; i < RG_CAMERA_CONTROLS; i++)
        if (expected[i] > 1 || i == RG_CAMERA_POWER_LINE)
            want(&wish, (rg_camera_control)i, expected[i]);
    rg_camera *camera = opened(&wish, "opens with every control locked");
    const rg_camera_settings *s = rg_camera_locked(camera);
    bool all = true;
    for (int i = 0; i < RG_CAMERA_CONTROLS; i++)
        all = all && s->has[i] && s->value[i] == expected[i];
    claim(all, "all eight controls read back as asked", "exposure %ld, gain %ld, focus %ld",
          s->value[RG_CAMERA_EXPOSURE], s->value[RG_CAMERA_GAIN], s->value[RG_CAMERA_FOCUS]);
    rg_error err = {0};
    claim(rg_camera_check(camera, &err) == RG_OK, "nothing drifts by itself", "%s", err.text);
    rg_camera_close(camera);
    want(&wish, RG_CAMERA_EXPOSURE, 5000);
    refused(&wish, "made it 2047", "a clamped exposure is refused by name");
    want(&wish, RG_CAMERA_EXPOSURE, 120);
    want(&wish, RG_CAMERA_POWER_LINE, 9);
    refused(&wish, "power line", "a power line frequency that there is not is refused by name");
}

typedef struct arrival {
    uint32_t sequence;
    uint64_t missed;
    uint8_t *bytes; /* owned */
    size_t size;
} arrival;

/* Not while frames come: digests and the serial console are slow here. */
static void print_arrivals(arrival *frame, int count)
{
    for (int i = 0; i < count; i++) {
        char hex[RG_DIGEST_TEXT];
        rg_digest digest = rg_digest_of(frame[i].bytes, frame[i].size);
        rg_digest_format(&digest, hex);
        free(frame[i].bytes);
        printf("FRAME %d %u %lu %s\n", i, frame[i].sequence, (unsigned long)frame[i].missed, hex);
    }
}

static void long_run(void)
{
    static arrival frame[LONG_RUN];
    int got = 0;
    command("first");
    rg_camera_wish wish = mjpeg();
    rg_camera *camera = opened(&wish, "opens MJPEG");
    rg_shot shot;
    int64_t first = 0, last = 0;
    while (got < LONG_RUN) {
        rg_shot_state state = rg_camera_next(camera, WAIT_MS, &shot, NULL);
        if (state == RG_SHOT_NONE || state == RG_SHOT_GONE)
            break;
        if (state != RG_SHOT_GOOD)
            continue;
        frame[got] =
            (arrival){shot.sequence, rg_camera_count(camera).missed, malloc(shot.size), shot.size};
        if (!frame[got].bytes)
            break;
        memcpy(frame[got].bytes, shot.bytes, shot.size);
        first = got == 0 ? shot.time_us : first;
        last = shot.time_us;
        got++;
    }
    print_arrivals(frame, got);
    rg_camera_counts c = rg_camera_count(camera);
    claim(c.good == LONG_RUN && c.bad == 0, "200 frames, none bad",
          "%lu good, %lu bad, %lu missed, %.1f a second", (unsigned long)c.good,
          (unsigned long)c.bad, (unsigned long)c.missed,
          last > first ? (LONG_RUN - 1) * 1e6 / (double)(last - first) : 0.0);
    rg_camera_close(camera);
}

static void payload_error(rg_camera *camera)
{
    rg_camera_counts before = rg_camera_count(camera);
    command("error");
    bool good = good_again(camera, 10);
    rg_camera_counts after = rg_camera_count(camera);
    claim(good && after.missed > before.missed && after.bad == before.bad,
          "a frame with a payload error is missed, and counted", "%lu missed, %lu bad",
          (unsigned long)(after.missed - before.missed), (unsigned long)(after.bad - before.bad));
}

static void cut_frame(rg_camera *camera)
{
    rg_error err = {0};
    command("cut");
    rg_shot_state state = until(camera, 20, WAIT_MS, &err);
    claim(state == RG_SHOT_BAD && strstr(err.text, "JPEG"), "a cut JPEG is bad", "%s", err.text);
}

static void skipped_frame(rg_camera *camera)
{
    good_again(camera, 10);
    uint64_t before = rg_camera_count(camera).missed;
    command("skip");
    bool good = good_again(camera, 10);
    uint64_t after = rg_camera_count(camera).missed;
    claim(good && after > before, "a frame that the camera never sent is missed by its time",
          "%lu missed", (unsigned long)(after - before));
}

static void stalled(rg_camera *camera)
{
    rg_error err = {0};
    uint64_t before = rg_camera_count(camera).missed;
    command("stall 1");
    rg_shot_state state = until(camera, 20, 300, &err);
    claim(state == RG_SHOT_NONE, "a stall is a time-out", "state %d", (int)state);
    command("stall 0");
    bool good = good_again(camera, 5);
    uint64_t missed = rg_camera_count(camera).missed - before;
    claim(good && missed >= 8 && missed < 100,
          "frames come again after 300 ms of stall, and those between are missed", "%lu missed",
          (unsigned long)missed);
}

static void halted(rg_camera *camera)
{
    rg_error err = {0};
    rg_camera_counts before = rg_camera_count(camera);
    command("halt");
    rg_shot_state state = until(camera, 30, WAIT_MS, &err);
    claim(state == RG_SHOT_BAD && strstr(err.text, "empty"), "an endpoint stall gives a bad frame",
          "state %d, %s", (int)state, err.text);
    bool good = good_again(camera, 5);
    rg_camera_counts after = rg_camera_count(camera);
    claim(good && after.missed - before.missed < 50, "frames come again after an endpoint stall",
          "%lu bad, %lu missed", (unsigned long)(after.bad - before.bad),
          (unsigned long)(after.missed - before.missed));
}

static void meddled(rg_camera *camera, const char *path)
{
    rg_error err = {0};
    bool done = meddle(path, V4L2_CID_GAIN, 77);
    rg_code code = rg_camera_check(camera, &err);
    claim(done && code == RG_NO_CAMERA && strstr(err.text, "gain"), "drift of the gain is named",
          "%s", err.text);
    meddle(path, V4L2_CID_GAIN, 64);
    done = meddle(path, V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_APERTURE_PRIORITY);
    code = rg_camera_set(camera, RG_CAMERA_EXPOSURE, 50, &err);
    claim(done && code == RG_NO_CAMERA && strstr(err.text, "automatic"),
          "no exposure while it is automatic", "%s", err.text);
    meddle(path, V4L2_CID_EXPOSURE_AUTO, V4L2_EXPOSURE_MANUAL);
    err.text[0] = 0;
    code = rg_camera_set(camera, RG_CAMERA_EXPOSURE, 50, &err);
    bool good = good_again(camera, 1);
    claim(code == RG_OK && good && rg_camera_count(camera).flushed >= 4,
          "the exposure of a running stream is set and old frames are flushed", "%lu flushed %s",
          (unsigned long)rg_camera_count(camera).flushed, err.text);
}

static void faults(void)
{
    rg_camera_wish wish = mjpeg();
    want(&wish, RG_CAMERA_GAIN, 64);
    rg_camera *camera = opened(&wish, "opens for faults");
    good_again(camera, 5);
    payload_error(camera);
    cut_frame(camera);
    skipped_frame(camera);
    stalled(camera);
    halted(camera);
    refused(&wish, "another program", "a second streamer is told that the camera is busy");
    claim(good_again(camera, 3), "the first streamer goes on", "as before");
    meddled(camera, "/dev/video0");
    rg_camera_close(camera);
}

static void unplugged(void)
{
    rg_camera_wish wish = mjpeg();
    rg_camera *camera = opened(&wish, "opens before it is pulled out");
    rg_error err = {0};
    good_again(camera, 3);
    command("unplug");
    rg_shot_state state = until(camera, 1000, WAIT_MS, &err);
    claim(state == RG_SHOT_GONE && strstr(err.text, "pulled out"), "pulled out is gone", "%s",
          err.text);
    rg_code code = rg_camera_check(camera, &err);
    claim(code == RG_NO_CAMERA, "no control answers any more", "%s", err.text);
    rg_camera_close(camera);
    refused(&wish, "plug", "nothing opens while it is out");
    command("plug");
    camera = NULL;
    int tries = 0;
    while (tries++ < 100 && rg_camera_open(&wish, &camera, &err) != RG_OK)
        rest(100);
    claim(camera && good_again(camera, 5), "plugged in again it opens and streams", "%s",
          camera ? "yes" : err.text);
    rg_camera_close(camera);
}

static void raw_formats(void)
{
    rg_camera_wish wish = {.width = 320, .height = 240};
    rg_camera *camera = opened(&wish, "opens YUYV");
    rg_shot shot;
    rg_error err = {0};
    uint8_t *raw = NULL;
    int width = 0, height = 0, wrong = 0;
    rg_shot_state state = rg_camera_next(camera, WAIT_MS, &shot, &err);
    rg_code code = state == RG_SHOT_GOOD
                       ? rg_shot_yuyv_of_png(shot.bytes, shot.size, &raw, &width, &height, &err)
                       : RG_NO_CAMERA;
    for (unsigned y = 0; raw && y < 240; y++)
        for (unsigned x = 0; x < 320; x++)
            wrong += raw[(y * 320 + x) * 2] != (uint8_t)(x * 7 + y * 13) ||
                     raw[(y * 320 + x) * 2 + 1] != (uint8_t)(x * 11 + y * 3 + 128);
    claim(code == RG_OK && width == 320 && height == 240 && wrong == 0,
          "every byte of a YUYV frame is in its PNG", "%d wrong %s", wrong, err.text);
    free(raw);
    rg_camera_close(camera);
    wish = (rg_camera_wish){.width = 160, .height = 120};
    camera = opened(&wish, "opens grey");
    rg_image image = {0};
    state = rg_camera_next(camera, WAIT_MS, &shot, &err);
    code = state == RG_SHOT_GOOD ? rg_decode(shot.bytes, shot.size, &image, &err) : RG_NO_CAMERA;
    wrong = 0;
    for (unsigned y = 0; image.data && y < 120; y++)
        for (unsigned x = 0; x < 160; x++)
            wrong += ((const uint8_t *)image.data)[y * 160 + x] != (uint8_t)(x * 7 + y * 13);
    claim(code == RG_OK && wrong == 0, "a grey frame is as it was sent", "%d wrong", wrong);
    rg_image_free(&image);
    rg_camera_close(camera);
}

/* ---------------------------------------------------------------- vivid */

static rg_camera_wish vivid(void)
{
    return (rg_camera_wish){.width = 640, .height = 360, .frames_per_second = 25};
}

static const char *vivid_path(void)
{
    static rg_camera_info info[2];
    int count = 0;
    rg_camera_list(info, 2, &count, NULL);
    return count ? info[0].path : "/dev/video0";
}

static bool inject(int control, int value)
{
    return meddle(vivid_path(), (unsigned)(VIVID + control), value);
}

static void vivid_gone(int control, const char *what)
{
    rg_camera_wish wish = vivid();
    rg_camera *camera = opened(&wish, "vivid opens again");
    rg_error err = {0};
    good_again(camera, 3);
    bool done = inject(control, 1);
    rg_shot_state state = until(camera, 50, WAIT_MS, &err);
    claim(done && state == RG_SHOT_GONE, what, "%s", err.text);
    rg_camera_close(camera);
}

static void vivid_stream(void)
{
    rg_camera_wish wish = vivid();
    rg_camera *camera = opened(&wish, "vivid opens");
    rg_error err = {0};
    rg_camera_mode mode;
    rg_camera_describe(camera, NULL, &mode);
    claim(mode.format == RG_PIXELS_YUYV, "vivid gives YUYV", "%.1f frames a second",
          mode.frames_per_second);
    claim(good_again(camera, 30) && rg_camera_count(camera).bad == 0, "30 frames of vivid",
          "%lu missed", (unsigned long)rg_camera_count(camera).missed);
    bool done = inject(0x42, 1);
    rg_shot_state state = until(camera, 20, WAIT_MS, &err);
    claim(done && state == RG_SHOT_BAD && strstr(err.text, "damaged"),
          "a buffer error of vivid is a bad frame", "%s", err.text);
    uint64_t before = rg_camera_count(camera).missed;
    done = inject(0x40, 50);
    bool good = good_again(camera, 30);
    uint64_t missed = rg_camera_count(camera).missed - before;
    claim(done && good && missed > 5, "dropped buffers of vivid are counted",
          "%lu missed of about 30", (unsigned long)missed);
    inject(0x40, 0);
    rg_camera_close(camera);
}

static void vivid_refusals(void)
{
    rg_camera_wish wish = vivid();
    want(&wish, RG_CAMERA_EXPOSURE, 100);
    refused(&wish, "no control for exposure", "vivid has no exposure, which is said");
    wish = (rg_camera_wish){.width = 641, .height = 361};
    refused(&wish, "641 x 361", "vivid has no such size, which is said");
    wish = vivid();
    inject(0x43, 1);
    refused(&wish, "buffers", "vivid that refuses buffers is refused");
    inject(0x45, 1);
    refused(&wish, "starting the stream", "vivid that does not start is refused");
}

int main(int count, char **argument)
{
    if (count == 3 && strcmp(argument[1], "uvc") == 0) {
        fifo_path = argument[2];
        listing();
        controls();
        long_run();
        faults();
        raw_formats();
        for (int round = 0; round < 3; round++)
            unplugged();
    } else if (count == 2 && strcmp(argument[1], "vivid") == 0) {
        vivid_stream();
        vivid_refusals();
        vivid_gone(0x44, "a buffer that vivid does not take back ends the stream");
        vivid_gone(0x46, "a fatal error of vivid ends the stream");
        vivid_gone(0x41, "vivid disconnected is gone");
    } else {
        return 64;
    }
    printf("PROBE-EXIT %d\n", failures ? 1 : 0);
    return failures ? 1 : 0;
}

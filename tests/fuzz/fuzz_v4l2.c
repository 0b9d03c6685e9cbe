/*
 * Fuzz target for a camera's answers (V4L2): its modes, sizes, rates and controls. libv4l2's ioctl is replaced by one
 * that answers with the input's bytes: the first says whether the call fails (and with what) or succeeds; of a success
 * it says whether the driver's structure is left as asked or is filled from the bytes that follow. At the end of the
 * input every call fails, as the end of every list does.
 */
#include "fuzz.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include <linux/videodev2.h>

#include "../../src/edge/capture_private.h"

enum { TAKE_AS_ASKED = 0x40, FAIL = 0x80 };

/* libFuzzer calls from one thread. */
static const uint8_t *answer;
static size_t left;

int v4l2_ioctl(int fd, unsigned long request, ...);

int v4l2_ioctl(int fd, unsigned long request, ...)
{
    static const int failure[] = {EINVAL, ENODEV, EACCES, EBUSY, EIO, ENOTTY, ERANGE, EINTR};
    size_t bytes = _IOC_SIZE(request);
    va_list list;
    va_start(list, request);
    uint8_t *to = va_arg(list, uint8_t *);
    va_end(list);
    require(fd == 3 && to != NULL);
    errno = EINVAL;
    if (left == 0)
        return -1;
    uint8_t how = *answer++;
    left--;
    if (how & FAIL) {
        errno = failure[how % 8];
        return -1;
    }
    if (!(how & TAKE_AS_ASKED)) {
        bytes = bytes < left ? bytes : left;
        memcpy(to, answer, bytes);
        answer += bytes;
        left -= bytes;
    }
    return 0;
}

static void check_modes(const rg_camera_info *info)
{
    require(info->modes >= 0 && info->modes <= RG_CAMERA_MODES_MAX);
    for (int i = 0; i < info->modes; i++) {
        const rg_camera_mode *m = &info->mode[i];
        require(m->width > 0 && m->width <= 65535 && m->height > 0 && m->height <= 65535);
        require(isfinite(m->frames_per_second) && m->frames_per_second >= 0);
    }
}

static void check_answer(rg_code code, const rg_error *err)
{
    require(code == RG_OK || (code == RG_NO_CAMERA && err->code == code && err->text[0]));
}

/* What was asked for is what is locked, and a camera that changes it is told on. */
static void lock(rg_camera *camera)
{
    rg_error err = {0};
    const rg_camera_settings wish = {.has = {[RG_CAMERA_EXPOSURE] = true, [RG_CAMERA_GAIN] = true},
                                     .value = {[RG_CAMERA_EXPOSURE] = 100, [RG_CAMERA_GAIN] = 3}};
    rg_code code = rg_capture_lock(camera, &wish, &err);
    check_answer(code, &err);
    if (code != RG_OK)
        return;
    require(rg_capture_period_us(camera) >= 0);
    check_answer(rg_camera_check(camera, &err), &err);
    code = rg_camera_set(camera, RG_CAMERA_EXPOSURE, 50, &err);
    check_answer(code, &err);
    require(code != RG_OK || camera->locked.value[RG_CAMERA_EXPOSURE] == 50);
}

static void use(rg_camera *camera, const rg_camera_mode *mode)
{
    rg_error err = {0};
    rg_code code = rg_capture_set_mode(camera, mode, &err);
    check_answer(code, &err);
    if (code != RG_OK)
        return;
    require(camera->mode.width == mode->width && camera->mode.height == mode->height);
    require(camera->stride >= (size_t)mode->width && camera->mode.frames_per_second >= 0);
    lock(camera);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    rg_camera camera = {.fd = 3, .held = -1};
    const rg_camera_wish wish = {.width = 1280, .height = 720, .frames_per_second = 30};
    rg_camera_mode mode;
    rg_error err = {0};
    answer = data;
    left = size;
    snprintf(camera.info.path, sizeof camera.info.path, "/dev/video0");
    rg_capture_modes(3, wish.width, wish.height, &camera.info);
    check_modes(&camera.info);
    if (rg_capture_choose(&camera.info, &wish, &mode)) {
        require(mode.width == wish.width && mode.height == wish.height);
        use(&camera, &mode);
    } else
        check_answer(rg_capture_no_size(&camera.info, &wish, &err), &err);
    return 0;
}

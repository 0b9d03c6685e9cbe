/*
 * capture.c - cameras found, opened, described and closed.
 *
 * A device is asked who it is before libv4l2 sees it, since that library prints when a file is no V4L2
 * device. Its own conversion is switched off: it would decode and encode what is to be evidence.
 */
#include "capture_private.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <time.h>
#include <unistd.h>

#include <libv4l2.h>

#include "rimglow/memory.h"
#include "rimglow/text.h"

const char *rg_pixel_format_name(rg_pixel_format format)
{
    switch (format) {
    case RG_PIXELS_MJPEG:
        return "MJPEG";
    case RG_PIXELS_YUYV:
        return "YUYV";
    case RG_PIXELS_GREY:
        return "grey";
    }
    return "unknown";
}

int rg_capture_ioctl(int fd, unsigned long request, void *argument)
{
    int result;
    do
        result = v4l2_ioctl(fd, request, argument);
    while (result < 0 && errno == EINTR);
    return result;
}

int64_t rg_capture_now_us(void)
{
    struct timespec now = {0};
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000000 + now.tv_nsec / 1000;
}

/* ---------------------------------------------------------------- devices */

/* Metadata and output nodes of the same camera are no capture devices. */
static bool captures(const struct v4l2_capability *cap)
{
    /* cppcheck-suppress clarifyCalculation ; & binds closer than ? */
    unsigned can = cap->capabilities & V4L2_CAP_DEVICE_CAPS ? cap->device_caps : cap->capabilities;
    return (can & V4L2_CAP_VIDEO_CAPTURE) && (can & V4L2_CAP_STREAMING);
}

static void keep_identity(const char *path, const struct v4l2_capability *cap, rg_camera_info *info)
{
    *info = (rg_camera_info){0};
    rg_copy_text(info->path, sizeof info->path, path);
    snprintf(info->card, sizeof info->card, "%.32s", (const char *)cap->card);
    snprintf(info->bus, sizeof info->bus, "%.32s", (const char *)cap->bus_info);
    snprintf(info->driver, sizeof info->driver, "%.16s", (const char *)cap->driver);
}

int rg_capture_open(const char *path, rg_camera_info *info, int *reason)
{
    int fd = open(path, O_RDWR | O_NONBLOCK | O_CLOEXEC);
    *reason = errno;
    if (fd < 0)
        return -1;
    struct v4l2_capability cap = {0};
    *reason = 0;
    bool capture = ioctl(fd, VIDIOC_QUERYCAP, &cap) == 0 && captures(&cap);
    if (!capture || v4l2_fd_open(fd, V4L2_DISABLE_CONVERSION) < 0) {
        close(fd);
        return -1;
    }
    keep_identity(path, &cap, info);
    return fd;
}

void rg_capture_close(int fd)
{
    if (fd >= 0)
        v4l2_close(fd);
}

static void node_path(int node, char path[RG_CAMERA_NAME])
{
    snprintf(path, RG_CAMERA_NAME, "/dev/video%d", node);
}

rg_code rg_camera_list(rg_camera_info *info, int most, int *count, rg_error *err)
{
    char path[RG_CAMERA_NAME], forbidden[RG_CAMERA_NAME] = "";
    *count = 0;
    for (int node = 0; node < RG_CAPTURE_NODES && *count < most; node++) {
        int reason;
        node_path(node, path);
        int fd = rg_capture_open(path, &info[*count], &reason);
        if (fd < 0 && reason == EACCES && !forbidden[0])
            memcpy(forbidden, path, sizeof forbidden);
        if (fd < 0)
            continue;
        rg_capture_modes(fd, 0, 0, &info[*count]);
        rg_capture_close(fd);
        (*count)++;
    }
    if (*count == 0 && forbidden[0])
        return rg_capture_refusal(forbidden, "opening it", EACCES, err);
    return RG_OK;
}

/* ---------------------------------------------------------------- refusals */

rg_code rg_capture_refusal(const char *path, const char *doing, int reason, rg_error *err)
{
    switch (reason) {
    case EBUSY:
        return rg_fail(err, RG_NO_CAMERA,
                       "%s is busy (%s): another program uses the camera; close that program and "
                       "try again",
                       path, doing);
    case EACCES:
    case EPERM:
        return rg_fail(err, RG_NO_CAMERA,
                       "%s: no permission (%s); add yourself to the group that owns the file "
                       "(usually video) and log in again",
                       path, doing);
    case ENOENT:
    case ENODEV:
    case ENXIO:
        return rg_fail(err, RG_NO_CAMERA,
                       "%s is not there (%s): no camera, or it was pulled out; plug it in and try "
                       "again",
                       path, doing);
    case 0:
        return rg_fail(err, RG_NO_CAMERA,
                       "%s is no device that captures pictures by V4L2; choose another (a camera's "
                       "second node carries metadata only)",
                       path);
    default:
        return rg_fail(err, RG_NO_CAMERA,
                       "%s: %s failed (error %d of the driver); unplug the camera and plug it in "
                       "again",
                       path, doing, reason);
    }
}

/* ---------------------------------------------------------------- opening */

static rg_code set_up(rg_camera *camera, const rg_camera_wish *wish, rg_error *err)
{
    rg_camera_mode mode;
    rg_capture_modes(camera->fd, wish->width, wish->height, &camera->info);
    if (!rg_capture_choose(&camera->info, wish, &mode))
        return rg_capture_no_size(&camera->info, wish, err);
    rg_code code = rg_capture_set_mode(camera, &mode, err);
    if (!code)
        code = rg_capture_lock(camera, &wish->settings, err);
    if (!code)
        code = rg_capture_start(camera, err);
    return code;
}

static rg_code open_path(const char *path, const rg_camera_wish *wish, rg_camera **camera,
                         rg_error *err)
{
    int reason;
    rg_camera *made = rg_alloc(1, sizeof *made);
    if (!made)
        return rg_fail(err, RG_INTERNAL, "out of memory for the camera; close other programs");
    made->held = -1;
    made->fd = rg_capture_open(path, &made->info, &reason);
    rg_code code = made->fd < 0 ? rg_capture_refusal(path, "opening it", reason, err)
                                : set_up(made, wish, err);
    if (code) {
        rg_camera_close(made);
        made = NULL;
    }
    *camera = made;
    return code;
}

/* The first that opens; otherwise the first refusal of a device that is there. */
static rg_code open_any(const rg_camera_wish *wish, rg_camera **camera, rg_error *err)
{
    rg_error refusal = {0};
    for (int node = 0; node < RG_CAPTURE_NODES; node++) {
        char path[RG_CAMERA_NAME];
        int reason;
        rg_camera_info info;
        node_path(node, path);
        int fd = rg_capture_open(path, &info, &reason);
        rg_capture_close(fd);
        if (fd < 0 && (reason == ENOENT || reason == 0))
            continue;
        rg_error one = {0};
        if (open_path(path, wish, camera, &one) == RG_OK)
            return RG_OK;
        if (!refusal.code)
            refusal = one;
    }
    if (refusal.code)
        return rg_fail(err, refusal.code, "%s", refusal.text);
    return rg_fail(err, RG_NO_CAMERA,
                   "no camera: none of /dev/video0 to %d captures pictures; plug one in",
                   RG_CAPTURE_NODES - 1);
}

rg_code rg_camera_open(const rg_camera_wish *wish, rg_camera **camera, rg_error *err)
{
    *camera = NULL;
    if (wish->width <= 0 || wish->height <= 0)
        return rg_fail(err, RG_USAGE, "a picture of %d x %d px cannot be asked of a camera",
                       wish->width, wish->height);
    return wish->path ? open_path(wish->path, wish, camera, err) : open_any(wish, camera, err);
}

void rg_camera_close(rg_camera *camera)
{
    if (!camera)
        return;
    rg_capture_stop(camera);
    rg_capture_close(camera->fd);
    free(camera->png);
    free(camera);
}

/* ---------------------------------------------------------------- questions */

void rg_camera_describe(const rg_camera *camera, rg_camera_info *info, rg_camera_mode *mode)
{
    if (info)
        *info = camera->info;
    if (mode)
        *mode = camera->mode;
}

const rg_camera_settings *rg_camera_locked(const rg_camera *camera)
{
    return &camera->locked;
}

rg_camera_counts rg_camera_count(const rg_camera *camera)
{
    return camera->counts;
}

/*
 * capture_controls.c - controls set, read back and watched.
 *
 * A driver takes a value out of range and clamps it with success (V4L2 API, VIDIOC_S_CTRL), and an
 * exposure that an automatic owns is refused (EACCES) or set and changed again. So automatics go off
 * first, every value is read back, and one that is not as asked is a refusal.
 */
#include "capture_private.h"

#include <errno.h>

typedef struct control_row {
    const char *name;
    uint32_t id;
    bool automatic; /* switched off, to the value: */
    long off;
} control_row;

static const control_row rows[RG_CAMERA_CONTROLS] = {
    [RG_CAMERA_EXPOSURE_AUTO] = {"automatic exposure", V4L2_CID_EXPOSURE_AUTO, true,
                                 V4L2_EXPOSURE_MANUAL},
    [RG_CAMERA_EXPOSURE] = {"exposure", V4L2_CID_EXPOSURE_ABSOLUTE, false, 0},
    [RG_CAMERA_GAIN] = {"gain", V4L2_CID_GAIN, false, 0},
    [RG_CAMERA_WHITE_AUTO] = {"automatic white balance", V4L2_CID_AUTO_WHITE_BALANCE, true, 0},
    [RG_CAMERA_WHITE_KELVIN] = {"white balance", V4L2_CID_WHITE_BALANCE_TEMPERATURE, false, 0},
    [RG_CAMERA_FOCUS_AUTO] = {"automatic focus", V4L2_CID_FOCUS_AUTO, true, 0},
    [RG_CAMERA_FOCUS] = {"focus", V4L2_CID_FOCUS_ABSOLUTE, false, 0},
    [RG_CAMERA_POWER_LINE] = {"power line frequency", V4L2_CID_POWER_LINE_FREQUENCY, false, 0},
};

/* Further automatics: they are not worth a setting, but they must be off. */
static const control_row others[] = {
    {"automatic gain", V4L2_CID_AUTOGAIN, true, 0},
    {"automatic brightness", V4L2_CID_AUTOBRIGHTNESS, true, 0},
    {"automatic hue", V4L2_CID_HUE_AUTO, true, 0},
    {"exposure's priority over the frame rate", V4L2_CID_EXPOSURE_AUTO_PRIORITY, true, 0},
};
enum { OTHERS = sizeof others / sizeof others[0] };

const char *rg_camera_control_name(rg_camera_control control)
{
    return (unsigned)control < RG_CAMERA_CONTROLS ? rows[control].name : "unknown";
}

/* ---------------------------------------------------------------- one control */

static bool query(int fd, uint32_t id, struct v4l2_queryctrl *control)
{
    *control = (struct v4l2_queryctrl){.id = id};
    return rg_capture_ioctl(fd, VIDIOC_QUERYCTRL, control) == 0 &&
           !(control->flags & V4L2_CTRL_FLAG_DISABLED);
}

static bool read_value(int fd, uint32_t id, long *value)
{
    struct v4l2_control control = {.id = id};
    if (rg_capture_ioctl(fd, VIDIOC_G_CTRL, &control) < 0)
        return false;
    *value = control.value;
    return true;
}

static rg_code not_set(const rg_camera *camera, const control_row *row, long value, int reason,
                       rg_error *err)
{
    const char *path = camera->info.path;
    if (reason == EACCES)
        return rg_fail(err, RG_NO_CAMERA,
                       "%s: %s cannot be set to %ld while its automatic is on; switch the "
                       "automatic off in the camera's own settings",
                       path, row->name, value);
    if (reason == EINVAL || reason == ERANGE)
        return rg_fail(err, RG_NO_CAMERA,
                       "%s: the camera refuses %ld for %s; ask for a value that it has", path,
                       value, row->name);
    return rg_capture_refusal(path, row->name, reason, err);
}

static rg_code set_control(const rg_camera *camera, const control_row *row, long value,
                           rg_error *err)
{
    struct v4l2_queryctrl range;
    struct v4l2_control control = {.id = row->id, .value = (int32_t)value};
    long got = 0;
    if (!query(camera->fd, row->id, &range))
        return errno == ENODEV ? rg_capture_refusal(camera->info.path, row->name, ENODEV, err)
                               : rg_fail(err, RG_NO_CAMERA,
                                         "%s (%s) has no control for %s; leave that setting out",
                                         camera->info.path, camera->info.card, row->name);
    if (control.value != value)
        return not_set(camera, row, value, ERANGE, err);
    if (rg_capture_ioctl(camera->fd, VIDIOC_S_CTRL, &control) < 0)
        return not_set(camera, row, value, errno, err);
    if (!read_value(camera->fd, row->id, &got))
        return not_set(camera, row, value, errno, err);
    if (got == value)
        return RG_OK;
    return rg_fail(err, RG_NO_CAMERA,
                   "%s: %s was to be %ld and the camera made it %ld (its range is %d to %d in "
                   "steps of %d); ask for a value that it takes",
                   camera->info.path, row->name, value, got, range.minimum, range.maximum,
                   range.step);
}

/* ---------------------------------------------------------------- all of them */

static void read_all(const rg_camera *camera, rg_camera_settings *settings)
{
    *settings = (rg_camera_settings){0};
    for (int i = 0; i < RG_CAMERA_CONTROLS; i++) {
        struct v4l2_queryctrl range;
        settings->has[i] = query(camera->fd, rows[i].id, &range) &&
                           read_value(camera->fd, rows[i].id, &settings->value[i]);
    }
}

static rg_code switch_off(const rg_camera *camera, const control_row *row, rg_error *err)
{
    struct v4l2_queryctrl range;
    long value;
    if (!query(camera->fd, row->id, &range) || (range.flags & V4L2_CTRL_FLAG_READ_ONLY))
        return RG_OK;
    if (read_value(camera->fd, row->id, &value) && value == row->off)
        return RG_OK;
    rg_code code = set_control(camera, row, row->off, err);
    return code ? rg_fail_prefix(err, "an automatic cannot be switched off") : RG_OK;
}

static rg_code automatics_off(const rg_camera *camera, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < RG_CAMERA_CONTROLS && !code; i++)
        if (rows[i].automatic)
            code = switch_off(camera, &rows[i], err);
    for (int i = 0; i < OTHERS && !code; i++)
        code = switch_off(camera, &others[i], err);
    return code;
}

rg_code rg_capture_lock(rg_camera *camera, const rg_camera_settings *wish, rg_error *err)
{
    rg_code code = automatics_off(camera, err);
    for (int i = 0; i < RG_CAMERA_CONTROLS && !code; i++)
        if (wish->has[i] && !rows[i].automatic)
            code = set_control(camera, &rows[i], wish->value[i], err);
    if (!code)
        read_all(camera, &camera->locked);
    return code;
}

/* ---------------------------------------------------------------- while streaming */

static int64_t exposure_us(const rg_camera_settings *settings)
{
    return settings->has[RG_CAMERA_EXPOSURE] ? (int64_t)settings->value[RG_CAMERA_EXPOSURE] * 100
                                             : 0;
}

/* Frames in the driver's buffers, and the one or two that the sensor has begun, are of before. */
static void flush_from_now(rg_camera *camera, int64_t exposure_before_us)
{
    int64_t frame = rg_capture_period_us(camera);
    if (exposure_before_us > frame)
        frame = exposure_before_us;
    camera->flush = camera->buffers;
    camera->flush_until_us = rg_capture_now_us() + 2 * frame;
}

rg_code rg_camera_set(rg_camera *camera, rg_camera_control control, long value, rg_error *err)
{
    if ((unsigned)control >= RG_CAMERA_CONTROLS)
        return rg_fail(err, RG_INTERNAL, "control %d of a camera does not exist", (int)control);
    if (rows[control].automatic && value != rows[control].off)
        return rg_fail(err, RG_USAGE, "%s stays off while measuring", rows[control].name);
    int64_t before = exposure_us(&camera->locked);
    rg_code code = set_control(camera, &rows[control], value, err);
    if (code)
        return code;
    camera->locked.has[control] = true;
    camera->locked.value[control] = value;
    flush_from_now(camera, before);
    return RG_OK;
}

static rg_code drifted(const rg_camera *camera, const char *name, long locked, long now,
                       rg_error *err)
{
    return rg_fail(err, RG_NO_CAMERA,
                   "%s: %s was locked at %ld and is now %ld; another program or the camera changed "
                   "it: close other camera programs and start again",
                   camera->info.path, name, locked, now);
}

static rg_code check_one(const rg_camera *camera, const control_row *row, long locked,
                         rg_error *err)
{
    long now;
    if (!read_value(camera->fd, row->id, &now))
        return rg_capture_refusal(camera->info.path, row->name, errno, err);
    return now == locked ? RG_OK : drifted(camera, row->name, locked, now, err);
}

rg_code rg_camera_check(rg_camera *camera, rg_error *err)
{
    rg_code code = RG_OK;
    for (int i = 0; i < RG_CAMERA_CONTROLS && !code; i++)
        if (camera->locked.has[i])
            code = check_one(camera, &rows[i], camera->locked.value[i], err);
    for (int i = 0; i < OTHERS && !code; i++) {
        struct v4l2_queryctrl range;
        if (query(camera->fd, others[i].id, &range) && !(range.flags & V4L2_CTRL_FLAG_READ_ONLY))
            code = check_one(camera, &others[i], others[i].off, err);
    }
    return code;
}

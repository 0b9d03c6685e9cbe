/*
 * capture_modes.c - what a camera can do, what is chosen of it, and what the driver makes of that.
 *
 * A driver may answer S_FMT with another size or format and success (V4L2 API, VIDIOC_S_FMT), so what
 * it took is compared with what was asked.
 */
#include "capture_private.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

typedef struct source_format {
    rg_pixel_format format;
    uint32_t fourcc;
} source_format;

/* In the order of preference. */
static const source_format formats[] = {
    {RG_PIXELS_MJPEG, V4L2_PIX_FMT_MJPEG},
    {RG_PIXELS_MJPEG, V4L2_PIX_FMT_JPEG},
    {RG_PIXELS_YUYV, V4L2_PIX_FMT_YUYV},
    {RG_PIXELS_GREY, V4L2_PIX_FMT_GREY},
};
enum { FORMATS = sizeof formats / sizeof formats[0] };

static uint32_t four_cc_listed(int fd, rg_pixel_format format)
{
    for (uint32_t i = 0; i < RG_CAMERA_MODES_MAX; i++) {
        struct v4l2_fmtdesc desc = {.index = i, .type = V4L2_BUF_TYPE_VIDEO_CAPTURE};
        if (rg_capture_ioctl(fd, VIDIOC_ENUM_FMT, &desc) < 0)
            break;
        for (int k = 0; k < FORMATS; k++)
            if (formats[k].format == format && formats[k].fourcc == desc.pixelformat)
                return desc.pixelformat;
    }
    return 0;
}

/* ---------------------------------------------------------------- listing */

static void add_mode(rg_camera_info *info, const rg_camera_mode *mode)
{
    for (int i = 0; i < info->modes; i++) {
        const rg_camera_mode *m = &info->mode[i];
        if (m->format == mode->format && m->width == mode->width && m->height == mode->height &&
            fabs(m->frames_per_second - mode->frames_per_second) < 1e-9)
            return;
    }
    if (info->modes < RG_CAMERA_MODES_MAX)
        info->mode[info->modes++] = *mode;
}

static double rate_of(struct v4l2_fract interval)
{
    return interval.numerator ? (double)interval.denominator / interval.numerator : 0;
}

/* Of a range of intervals the shortest is listed; a driver without a list has rate 0, "unknown". */
static void add_rates(int fd, uint32_t fourcc, rg_camera_mode mode, rg_camera_info *info)
{
    uint32_t i;
    for (i = 0; i < RG_CAMERA_MODES_MAX; i++) {
        struct v4l2_frmivalenum interval = {.index = i,
                                            .pixel_format = fourcc,
                                            .width = (uint32_t)mode.width,
                                            .height = (uint32_t)mode.height};
        if (rg_capture_ioctl(fd, VIDIOC_ENUM_FRAMEINTERVALS, &interval) < 0)
            break;
        bool discrete = interval.type == V4L2_FRMIVAL_TYPE_DISCRETE;
        mode.frames_per_second = rate_of(discrete ? interval.discrete : interval.stepwise.min);
        add_mode(info, &mode);
        if (!discrete)
            return;
    }
    if (i == 0)
        add_mode(info, &mode);
}

static void add_size(int fd, const source_format *f, uint32_t width, uint32_t height,
                     rg_camera_info *info)
{
    rg_camera_mode mode = {.format = f->format, .width = (int)width, .height = (int)height};
    if (width > 0 && height > 0 && width <= 65535 && height <= 65535)
        add_rates(fd, f->fourcc, mode, info);
}

static bool on_step(uint32_t value, uint32_t low, uint32_t high, uint32_t step)
{
    return value >= low && value <= high && (step == 0 || (value - low) % step == 0);
}

static void add_sizes(int fd, const source_format *f, uint32_t width, uint32_t height,
                      rg_camera_info *info)
{
    for (uint32_t i = 0; i < RG_CAMERA_MODES_MAX; i++) {
        struct v4l2_frmsizeenum size = {.index = i, .pixel_format = f->fourcc};
        if (rg_capture_ioctl(fd, VIDIOC_ENUM_FRAMESIZES, &size) < 0)
            return;
        if (size.type == V4L2_FRMSIZE_TYPE_DISCRETE) {
            add_size(fd, f, size.discrete.width, size.discrete.height, info);
            continue;
        }
        const struct v4l2_frmsize_stepwise *s = &size.stepwise;
        add_size(fd, f, s->min_width, s->min_height, info);
        add_size(fd, f, s->max_width, s->max_height, info);
        if (on_step(width, s->min_width, s->max_width, s->step_width) &&
            on_step(height, s->min_height, s->max_height, s->step_height))
            add_size(fd, f, width, height, info);
        return;
    }
}

void rg_capture_modes(int fd, int width, int height, rg_camera_info *info)
{
    info->modes = 0;
    for (int k = 0; k < FORMATS; k++)
        if (four_cc_listed(fd, formats[k].format) == formats[k].fourcc)
            add_sizes(fd, &formats[k], (uint32_t)width, (uint32_t)height, info);
}

/* ---------------------------------------------------------------- choosing */

static bool fast_enough(const rg_camera_mode *m, double rate)
{
    return m->frames_per_second > rate * 0.99; /* 30000/1001 is as good as 30 */
}

/* Fast enough before too slow, MJPEG before YUYV before grey, then the rate: the lowest that is enough,
 * which leaves the longest exposure, or the highest where none was asked for or none is enough. */
static bool better(const rg_camera_mode *a, const rg_camera_mode *b, double rate)
{
    bool a_enough = fast_enough(a, rate), b_enough = fast_enough(b, rate);
    if (a_enough != b_enough)
        return a_enough;
    if (a->format != b->format)
        return a->format < b->format;
    bool lowest = rate > 0 && a_enough;
    return lowest ? a->frames_per_second < b->frames_per_second
                  : a->frames_per_second > b->frames_per_second;
}

bool rg_capture_choose(const rg_camera_info *info, const rg_camera_wish *wish, rg_camera_mode *mode)
{
    const rg_camera_mode *best = NULL;
    for (int i = 0; i < info->modes; i++) {
        const rg_camera_mode *m = &info->mode[i];
        if (m->width == wish->width && m->height == wish->height &&
            (!best || better(m, best, wish->frames_per_second)))
            best = m;
    }
    if (best)
        *mode = *best;
    return best != NULL;
}

static bool size_listed_before(const rg_camera_info *info, int i)
{
    for (int k = 0; k < i; k++)
        if (info->mode[k].width == info->mode[i].width &&
            info->mode[k].height == info->mode[i].height)
            return true;
    return false;
}

rg_code rg_capture_no_size(const rg_camera_info *info, const rg_camera_wish *wish, rg_error *err)
{
    char sizes[240] = "";
    size_t used = 0;
    for (int i = 0; i < info->modes && used < sizeof sizes - 24; i++)
        if (!size_listed_before(info, i))
            used += (size_t)snprintf(sizes + used, sizeof sizes - used, "%s%dx%d", used ? ", " : "",
                                     info->mode[i].width, info->mode[i].height);
    if (!used)
        return rg_fail(err, RG_NO_CAMERA,
                       "%s (%s) offers neither MJPEG nor YUYV nor grey frames; use another camera",
                       info->path, info->card);
    return rg_fail(err, RG_NO_CAMERA,
                   "%s (%s) has no frames of %d x %d px, the size the lens was calibrated at; it "
                   "has %s. Use the calibrated camera, or calibrate the lens at one of these",
                   info->path, info->card, wish->width, wish->height, sizes);
}

/* ---------------------------------------------------------------- setting */

static rg_code check_format(const rg_camera *camera, const struct v4l2_pix_format *got,
                            const rg_camera_mode *mode, uint32_t fourcc, rg_error *err)
{
    if (got->pixelformat == fourcc && got->width == (uint32_t)mode->width &&
        got->height == (uint32_t)mode->height)
        return RG_OK;
    return rg_fail(err, RG_NO_CAMERA,
                   "%s was asked for %s of %d x %d px and took %.4s of %u x %u; unplug the camera "
                   "and plug it in again, or use another",
                   camera->info.path, rg_pixel_format_name(mode->format), mode->width, mode->height,
                   (const char *)&got->pixelformat, got->width, got->height);
}

static bool is_full_range(const struct v4l2_pix_format *pix)
{
    uint32_t range = pix->quantization;
    if (pix->pixelformat == V4L2_PIX_FMT_GREY)
        return true;
    if (range == V4L2_QUANTIZATION_DEFAULT)
        range = pix->colorspace == V4L2_COLORSPACE_JPEG ? V4L2_QUANTIZATION_FULL_RANGE
                                                        : V4L2_QUANTIZATION_LIM_RANGE;
    return range == V4L2_QUANTIZATION_FULL_RANGE;
}

static rg_code set_format(rg_camera *camera, const rg_camera_mode *mode, rg_error *err)
{
    uint32_t fourcc = four_cc_listed(camera->fd, mode->format);
    struct v4l2_format format = {.type = V4L2_BUF_TYPE_VIDEO_CAPTURE};
    struct v4l2_pix_format *pix = &format.fmt.pix;
    pix->width = (uint32_t)mode->width;
    pix->height = (uint32_t)mode->height;
    pix->pixelformat = fourcc;
    pix->field = V4L2_FIELD_NONE;
    if (rg_capture_ioctl(camera->fd, VIDIOC_S_FMT, &format) < 0)
        return rg_capture_refusal(camera->info.path, "setting the size", errno, err);
    rg_code code = check_format(camera, pix, mode, fourcc, err);
    size_t shortest = (size_t)mode->width * (mode->format == RG_PIXELS_YUYV ? 2 : 1);
    camera->stride = pix->bytesperline > shortest ? pix->bytesperline : shortest;
    camera->full_range = is_full_range(pix);
    camera->mode = *mode;
    return code;
}

/* A driver without S_PARM keeps its own rate. */
static void set_rate(rg_camera *camera)
{
    struct v4l2_streamparm parm = {.type = V4L2_BUF_TYPE_VIDEO_CAPTURE};
    struct v4l2_captureparm *capture = &parm.parm.capture;
    if (camera->mode.frames_per_second > 0) {
        capture->timeperframe.numerator = 1000000;
        capture->timeperframe.denominator =
            (uint32_t)lrint(camera->mode.frames_per_second * 1000000);
        rg_capture_ioctl(camera->fd, VIDIOC_S_PARM, &parm);
    }
    parm = (struct v4l2_streamparm){.type = V4L2_BUF_TYPE_VIDEO_CAPTURE};
    double agreed = rg_capture_ioctl(camera->fd, VIDIOC_G_PARM, &parm) == 0
                        ? rate_of(capture->timeperframe)
                        : 0;
    if (agreed > 0)
        camera->mode.frames_per_second = agreed;
}

rg_code rg_capture_set_mode(rg_camera *camera, const rg_camera_mode *mode, rg_error *err)
{
    rg_code code = set_format(camera, mode, err);
    if (!code)
        set_rate(camera);
    return code;
}

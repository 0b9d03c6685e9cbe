/*
 * capture_stream.c - buffers mapped and queued, frames taken out and accounted for.
 *
 * Nothing is lost silently: a hole in the sequence numbers is what the driver dropped, a hole in the time
 * stamps alone what the camera never sent. Where a driver begins to count from 0 again, the time stamps
 * alone say what is missing.
 */
#include "capture_private.h"

#include <errno.h>
#include <poll.h>
#include <string.h>
#include <sys/mman.h>

#include <libv4l2.h>

/* ---------------------------------------------------------------- start and stop */

static int queue_buffer(rg_camera *camera, int index)
{
    struct v4l2_buffer buffer = {
        .index = (uint32_t)index, .type = V4L2_BUF_TYPE_VIDEO_CAPTURE, .memory = V4L2_MEMORY_MMAP};
    return rg_capture_ioctl(camera->fd, VIDIOC_QBUF, &buffer);
}

static bool map_buffer(rg_camera *camera, int index)
{
    struct v4l2_buffer buffer = {
        .index = (uint32_t)index, .type = V4L2_BUF_TYPE_VIDEO_CAPTURE, .memory = V4L2_MEMORY_MMAP};
    if (rg_capture_ioctl(camera->fd, VIDIOC_QUERYBUF, &buffer) < 0)
        return false;
    void *start = v4l2_mmap(NULL, buffer.length, PROT_READ | PROT_WRITE, MAP_SHARED, camera->fd,
                            buffer.m.offset);
    if (start == MAP_FAILED)
        return false;
    camera->buffer[index] = (rg_capture_buffer){start, buffer.length};
    return true;
}

static rg_code map_buffers(rg_camera *camera, rg_error *err)
{
    const char *path = camera->info.path;
    struct v4l2_requestbuffers request = {.count = RG_CAPTURE_BUFFERS,
                                          .type = V4L2_BUF_TYPE_VIDEO_CAPTURE,
                                          .memory = V4L2_MEMORY_MMAP};
    if (rg_capture_ioctl(camera->fd, VIDIOC_REQBUFS, &request) < 0)
        return rg_capture_refusal(path, "asking for buffers", errno, err);
    if (request.count < RG_CAPTURE_FEWEST)
        return rg_fail(err, RG_NO_CAMERA, "%s has %u frame buffers, at least %d are needed", path,
                       request.count, RG_CAPTURE_FEWEST);
    int count = request.count < RG_CAPTURE_BUFFERS ? (int)request.count : RG_CAPTURE_BUFFERS;
    for (; camera->buffers < count; camera->buffers++)
        if (!map_buffer(camera, camera->buffers) || queue_buffer(camera, camera->buffers) < 0)
            return rg_capture_refusal(path, "mapping buffers", errno, err);
    return RG_OK;
}

rg_code rg_capture_start(rg_camera *camera, rg_error *err)
{
    rg_code code = map_buffers(camera, err);
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (!code && rg_capture_ioctl(camera->fd, VIDIOC_STREAMON, &type) < 0)
        code = rg_capture_refusal(camera->info.path, "starting the stream", errno, err);
    return code;
}

/* Failures are of no use here: a camera that was pulled out answers nothing. */
void rg_capture_stop(rg_camera *camera)
{
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (camera->fd >= 0)
        rg_capture_ioctl(camera->fd, VIDIOC_STREAMOFF, &type);
    for (int i = 0; i < RG_CAPTURE_BUFFERS; i++)
        if (camera->buffer[i].start)
            v4l2_munmap(camera->buffer[i].start, camera->buffer[i].length);
    memset(camera->buffer, 0, sizeof camera->buffer);
    camera->buffers = 0;
    camera->held = -1;
}

/* ---------------------------------------------------------------- accounts */

/* 0 when the driver states no rate and the exposure is not known. */
int64_t rg_capture_period_us(const rg_camera *camera)
{
    double rate = camera->mode.frames_per_second;
    int64_t period = rate > 0 ? (int64_t)(1e6 / rate) : 0;
    const rg_camera_settings *s = &camera->locked;
    int64_t exposure = s->has[RG_CAMERA_EXPOSURE] ? (int64_t)s->value[RG_CAMERA_EXPOSURE] * 100 : 0;
    return exposure > period ? exposure : period;
}

static uint64_t missed_by_time(const rg_camera *camera, int64_t time_us)
{
    int64_t period = rg_capture_period_us(camera), gap = time_us - camera->last_time_us;
    if (period <= 0 || gap * 2 <= period * 3)
        return 0;
    return (uint64_t)((gap + period / 2) / period - 1);
}

/* After an endpoint stall uvcvideo gives back every queued buffer empty, with the number and the time of
 * nothing (0, or of the buffer's last use): these are no frames to count from. */
static bool numbers_nothing(const rg_camera *camera, const struct v4l2_buffer *buffer,
                            int64_t time_us)
{
    return buffer->bytesused == 0 && time_us <= (camera->seen ? camera->last_time_us : 0);
}

static void account(rg_camera *camera, uint32_t sequence, int64_t time_us)
{
    if (camera->seen) {
        uint32_t step = sequence - camera->last_sequence; /* wraps round as the driver's does */
        bool fell_back = step == 0 || step > UINT32_MAX / 2;
        uint64_t by_number = fell_back ? 0 : step - 1, by_time = missed_by_time(camera, time_us);
        camera->counts.restarts += fell_back;
        camera->counts.missed += by_number > by_time ? by_number : by_time;
    }
    camera->seen = true;
    camera->last_sequence = sequence;
    camera->last_time_us = time_us;
}

static int64_t time_of(const struct v4l2_buffer *buffer)
{
    if ((buffer->flags & V4L2_BUF_FLAG_TIMESTAMP_MASK) != V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC)
        return rg_capture_now_us();
    return (int64_t)buffer->timestamp.tv_sec * 1000000 + buffer->timestamp.tv_usec;
}

/* ---------------------------------------------------------------- one frame */

static rg_shot_state lost(rg_camera *camera, int reason, rg_error *err)
{
    camera->gone = true;
    if (reason == EIO)
        rg_fail(err, RG_NO_CAMERA,
                "%s failed for good (input error); unplug the camera and plug it in again",
                camera->info.path);
    else
        rg_capture_refusal(camera->info.path, "waiting for a frame", reason, err);
    return RG_SHOT_GONE;
}

static bool flushed(rg_camera *camera, int64_t time_us)
{
    bool before = camera->flush > 0 || time_us < camera->flush_until_us;
    if (camera->flush > 0)
        camera->flush--;
    if (!before)
        camera->flush_until_us = 0;
    camera->counts.flushed += before;
    return before;
}

static rg_code check_buffer(const rg_camera *camera, const struct v4l2_buffer *buffer,
                            rg_error *err)
{
    if (buffer->bytesused == 0)
        return rg_fail(err, RG_BAD_DATA, "a frame came empty: the transfer broke off");
    if (buffer->flags & V4L2_BUF_FLAG_ERROR)
        return rg_fail(err, RG_BAD_DATA, "frame %u was damaged in transfer, says the driver",
                       buffer->sequence);
    if (buffer->bytesused > camera->buffer[buffer->index].length)
        return rg_fail(err, RG_BAD_DATA, "frame %u states more bytes than its buffer has",
                       buffer->sequence);
    return RG_OK;
}

static rg_shot_state judge(rg_camera *camera, const struct v4l2_buffer *buffer, int64_t time_us,
                           rg_shot *shot, rg_error *err)
{
    rg_code code = check_buffer(camera, buffer, err);
    if (!code)
        code = rg_capture_file(camera, camera->buffer[buffer->index].start, buffer->bytesused, shot,
                               err);
    if (code) {
        camera->counts.bad++;
        *shot = (rg_shot){0};
        return RG_SHOT_BAD;
    }
    camera->counts.good++;
    shot->sequence = buffer->sequence;
    shot->time_us = time_us;
    shot->settings = camera->locked;
    return RG_SHOT_GOOD;
}

/* ---------------------------------------------------------------- waiting */

typedef enum taken { TAKEN, NOT_YET, TAKEN_AWAY } taken;

static taken take_buffer(rg_camera *camera, struct v4l2_buffer *buffer)
{
    *buffer = (struct v4l2_buffer){.type = V4L2_BUF_TYPE_VIDEO_CAPTURE, .memory = V4L2_MEMORY_MMAP};
    if (rg_capture_ioctl(camera->fd, VIDIOC_DQBUF, buffer) < 0)
        return errno == EAGAIN ? NOT_YET : TAKEN_AWAY;
    if (buffer->index >= (uint32_t)camera->buffers) {
        errno = EIO;
        return TAKEN_AWAY;
    }
    camera->held = (int)buffer->index;
    return TAKEN;
}

/* Gives back to the driver what the caller has read. */
static bool give_back(rg_camera *camera)
{
    int held = camera->held;
    camera->held = -1;
    return held < 0 || queue_buffer(camera, held) == 0;
}

/* Waits until the deadline. NOT_YET: nothing came. */
static taken wait_for_buffer(rg_camera *camera, int64_t deadline_us, struct v4l2_buffer *buffer)
{
    for (;;) {
        int64_t left = deadline_us - rg_capture_now_us();
        struct pollfd ready = {.fd = camera->fd, .events = POLLIN};
        int events = poll(&ready, 1, left > 0 ? (int)((left + 999) / 1000) : 0);
        if (events < 0 && errno != EINTR)
            return TAKEN_AWAY;
        if (events > 0) {
            taken got = take_buffer(camera, buffer);
            if (got != NOT_YET)
                return got;
            errno = ENODEV;
            if (ready.revents & (POLLERR | POLLHUP | POLLNVAL))
                return TAKEN_AWAY;
        }
        if (left <= 0)
            return NOT_YET;
    }
}

rg_shot_state rg_camera_next(rg_camera *camera, int timeout_ms, rg_shot *shot, rg_error *err)
{
    int64_t deadline = rg_capture_now_us() + (int64_t)(timeout_ms > 0 ? timeout_ms : 0) * 1000;
    *shot = (rg_shot){0};
    if (camera->gone) {
        rg_fail(err, RG_NO_CAMERA, "%s is gone; close it and open it again", camera->info.path);
        return RG_SHOT_GONE;
    }
    for (;;) {
        struct v4l2_buffer buffer;
        if (!give_back(camera))
            return lost(camera, errno, err);
        taken got = wait_for_buffer(camera, deadline, &buffer);
        if (got == TAKEN_AWAY)
            return lost(camera, errno, err);
        if (got == NOT_YET) {
            camera->counts.timeouts++;
            return RG_SHOT_NONE;
        }
        int64_t time_us = time_of(&buffer);
        if (!numbers_nothing(camera, &buffer, time_us))
            account(camera, buffer.sequence, time_us);
        if (!flushed(camera, time_us))
            return judge(camera, &buffer, time_us, shot, err);
    }
}

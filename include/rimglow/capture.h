/*
 * capture.h - a camera by V4L2: its modes, its controls locked and watched, its frames
 * with nothing lost silently.
 *
 * The device layer is libv4l2's (v4l2_open, v4l2_ioctl with V4L2_DISABLE_CONVERSION). MJPEG frames are
 * passed on as they come: they are the evidence. YUYV and grey frames become PNGs without loss. A frame is
 * bad when the driver says so, when it is empty, or when it is no whole JPEG (kernel drivers deliver
 * truncated ones without a flag); bad ones are counted, never given out. Sequence numbers and time stamps
 * count what the driver or the camera dropped.
 *
 * One thread at a time may use an rg_camera. No call waits longer than its time-out.
 */
#ifndef RIMGLOW_CAPTURE_H
#define RIMGLOW_CAPTURE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

enum { RG_CAMERA_NAME = 128, RG_CAMERA_MODES_MAX = 256, RG_CAMERA_CONTROLS = 8 };

typedef enum rg_pixel_format { RG_PIXELS_MJPEG, RG_PIXELS_YUYV, RG_PIXELS_GREY } rg_pixel_format;
const char *rg_pixel_format_name(rg_pixel_format format); /* "MJPEG" "YUYV" "grey" */

typedef struct rg_camera_mode {
    rg_pixel_format format;
    int width, height;
    double frames_per_second;
} rg_camera_mode;

typedef struct rg_camera_info {
    char path[RG_CAMERA_NAME]; /* "/dev/video0" */
    char card[64], bus[64], driver[32];
    int modes;
    rg_camera_mode mode[RG_CAMERA_MODES_MAX];
} rg_camera_info;

/* Capture devices of /dev/video0 to 63 (metadata nodes are none). info[most]; *count of them. */
rg_code rg_camera_list(rg_camera_info *info, int most, int *count, rg_error *err);

typedef enum rg_camera_control {
    RG_CAMERA_EXPOSURE_AUTO, /* 1: manual (V4L2_EXPOSURE_MANUAL) */
    RG_CAMERA_EXPOSURE,      /* units of 100 us, as V4L2_CID_EXPOSURE_ABSOLUTE */
    RG_CAMERA_GAIN,
    RG_CAMERA_WHITE_AUTO,
    RG_CAMERA_WHITE_KELVIN,
    RG_CAMERA_FOCUS_AUTO,
    RG_CAMERA_FOCUS,
    RG_CAMERA_POWER_LINE /* 0 off, 1 50 Hz, 2 60 Hz */
} rg_camera_control;
const char *rg_camera_control_name(rg_camera_control control); /* "exposure", "gain", ... */

/* What a camera's controls are, or should be. */
typedef struct rg_camera_settings {
    bool has[RG_CAMERA_CONTROLS]; /* the camera has it; wanted: to be set */
    long value[RG_CAMERA_CONTROLS];
} rg_camera_settings;

typedef struct rg_camera_wish {
    const char *path;            /* NULL: the first camera that has the size */
    int width, height;           /* of the station's lens: no other will do */
    double frames_per_second;    /* at least, where there is a choice; 0: the fastest */
    rg_camera_settings settings; /* to be locked; automatics are switched off in any case */
} rg_camera_wish;

typedef struct rg_camera rg_camera; /* opaque */

/* Opens, chooses the mode (the size asked for; MJPEG before YUYV before grey at the rate asked for), sets and
 * reads back the controls, starts streaming. RG_NO_CAMERA names what is missing: no device, no such
 * size (and those there are), busy (by another program), a control that did not take. */
rg_code rg_camera_open(const rg_camera_wish *wish, rg_camera **camera, rg_error *err);
void rg_camera_close(rg_camera *camera); /* also one that was pulled out */
void rg_camera_describe(const rg_camera *camera, rg_camera_info *info, rg_camera_mode *mode);
/* As read back when it was opened or last changed. */
const rg_camera_settings *rg_camera_locked(const rg_camera *camera);
/* Sets one control (the exposure of a witness frame), reads it back, and flushes frames that were exposed
 * before. */
rg_code rg_camera_set(rg_camera *camera, rg_camera_control control, long value, rg_error *err);
/* Reads all controls again; RG_NO_CAMERA names the first that is not as locked. */
rg_code rg_camera_check(rg_camera *camera, rg_error *err);

typedef struct rg_shot {
    const uint8_t *bytes; /* a whole file, JPEG or PNG; the camera's until the next call */
    size_t size;
    const char *suffix;          /* "jpg" or "png" */
    uint32_t sequence;           /* of the driver */
    int64_t time_us;             /* monotonic, of the driver */
    rg_camera_settings settings; /* locked while it was taken */
} rg_shot;

typedef enum rg_shot_state {
    RG_SHOT_GOOD,
    RG_SHOT_NONE, /* none within the time-out */
    RG_SHOT_BAD,  /* one came and was thrown away; reason in err */
    RG_SHOT_GONE /* the camera was pulled out, or failed for good: close it, and open again later */
} rg_shot_state;

/* Waits at most timeout_ms. */
rg_shot_state rg_camera_next(rg_camera *camera, int timeout_ms, rg_shot *shot, rg_error *err);

typedef struct rg_camera_counts {
    uint64_t good, bad, missed; /* missed: by gaps of sequence numbers and of time stamps */
    uint64_t timeouts;
} rg_camera_counts;
rg_camera_counts rg_camera_count(const rg_camera *camera);

#endif

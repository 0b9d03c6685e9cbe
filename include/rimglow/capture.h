/*
 * capture.h - a camera by V4L2: its modes, its controls locked and watched, its frames
 * with nothing lost silently.
 *
 * The device layer is libv4l2's (v4l2_fd_open with V4L2_DISABLE_CONVERSION, v4l2_ioctl, v4l2_mmap). MJPEG
 * frames are passed on byte for byte: they are the evidence. YUYV and grey frames become PNGs without loss
 * (below). A frame is bad when the driver says so, when it is empty, or when it is no whole JPEG (kernel
 * drivers deliver truncated ones without a flag); bad ones are counted, never given out. Sequence numbers
 * and time stamps count what the driver or the camera dropped.
 *
 * One thread at a time may use an rg_camera. rg_camera_next waits no longer than its time-out; the other
 * calls wait for nothing but the driver's answer.
 *
 * Sources: Linux Media Infrastructure userspace API, part I (V4L2: streaming I/O by memory mapping, struct
 * v4l2_buffer, camera and user controls, colour spaces and quantization); ITU-T T.81 (JPEG markers);
 * ITU-R BT.601 (Y' from 16 to 235); ISO/IEC 15948 (PNG, private chunks).
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
    const char *path;         /* NULL: the first camera that has the size */
    int width, height;        /* of the station's lens: no other will do */
    double frames_per_second; /* at least, where there is a choice; 0: the fastest */
    rg_camera_settings
        settings; /* to be locked; automatics are switched off in any case, whatever is
                                    asked for them here */
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
 * before: rg_camera_next passes over as many frames as there are buffers, and over all whose time stamp is
 * not two frame periods (or exposures, when longer) behind this call. They are counted as flushed. After
 * a failure the control may stand at what the camera made of it: rg_camera_check tells. */
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
    uint64_t flushed;  /* passed over after rg_camera_set */
    uint64_t restarts; /* sequence numbers fell back: the driver began to count again */
} rg_camera_counts;
/* A gap of time stamps is more than 1.5 frame periods of the rate agreed on, or of the locked exposure
 * where that is longer; frames missed by both signs are counted once. A camera that cannot keep the rate
 * is thus missing frames. After a stalled endpoint each buffer that comes back empty is a bad one. */
rg_camera_counts rg_camera_count(const rg_camera *camera);

/* ---------------------------------------------------------------- frames as files */

/* Is this a whole JPEG of this size? Walks all markers and segments from SOI to EOI, the restart markers
 * in their order, and allows nothing but 0x00 or 0xff bytes behind EOI. Nothing is decoded: damage inside
 * the entropy-coded data that leaves all markers whole is found later, by the decoder's warnings
 * (decode.h). A frame without Huffman tables is whole (Motion JPEG; the decoder has the usual ones).
 * RG_BAD_DATA names what is wrong and where. */
rg_code rg_shot_check_jpeg(const uint8_t *bytes, size_t size, int width, int height, rg_error *err);

/* A raw frame as it comes from the driver. */
typedef struct rg_raw_frame {
    const uint8_t *bytes;
    size_t size, stride; /* bytes; of one row with its padding */
    int width, height;
    bool full_range; /* Y' from 0 to 255; else 16 to 235 (BT.601), the V4L2 default of YUYV */
} rg_raw_frame;

/* A grey PNG of 8 bits. From grey: the camera's bytes. From YUYV: the picture is Y', stretched from 16..235
 * to 0..255 where the range is limited (rounded, one code to one code; codes below and above clip), so that
 * decode.h reads luma with the meaning that it has in a JPEG. Measuring works on luma, which is stored at
 * full resolution here: no detour by RGB blurs or clips it.
 *   Preserved: everything. The private chunks "yuYV" (ancillary, not safe to copy), put together in their
 * order, are a PNG of 16-bit grey samples, each one byte of Y' (high) and one of Cb or Cr (low), as the
 * camera sent them; padding of rows alone is left out.
 *   Not used: colour. decode.h reads the picture as grey, so a witness frame gives one radiance for all
 * channels. A Y' made with other weights than BT.601's is taken as it is. MJPEG is the better choice.
 * *png is the caller's (free()). RG_BAD_DATA: too few bytes for the size, or an odd width of YUYV. */
rg_code rg_shot_png_of_yuyv(const rg_raw_frame *raw, uint8_t **png, size_t *size, rg_error *err);
rg_code rg_shot_png_of_grey(const rg_raw_frame *raw, uint8_t **png, size_t *size, rg_error *err);
/* The way back: the camera's YUYV bytes, 2 * width * height of them; *yuyv is the caller's (free()). */
rg_code rg_shot_yuyv_of_png(const uint8_t *png, size_t size, uint8_t **yuyv, int *width,
                            int *height, rg_error *err);

#endif

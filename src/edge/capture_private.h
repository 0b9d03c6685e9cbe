/*
 * capture_private.h - what the source files of capture.h share.
 */
#ifndef RG_CAPTURE_PRIVATE_H
#define RG_CAPTURE_PRIVATE_H

#include "rimglow/capture.h"

#include <sys/time.h>

#include <linux/videodev2.h>

enum {
    RG_CAPTURE_NODES = 64,  /* /dev/video0 to 63 */
    RG_CAPTURE_BUFFERS = 5, /* one with the caller, four with the driver */
    RG_CAPTURE_FEWEST = 4
};

typedef struct rg_capture_buffer {
    void *start;
    size_t length;
} rg_capture_buffer;

struct rg_camera {
    int fd; /* of libv4l2; -1: closed */
    rg_camera_info info;
    rg_camera_mode mode;
    size_t stride;
    bool full_range;
    rg_capture_buffer buffer[RG_CAPTURE_BUFFERS];
    int buffers;
    int held; /* buffer that the caller reads, -1: none */
    bool gone;
    rg_camera_settings locked;
    rg_camera_counts counts;
    bool seen; /* a frame came since streaming began: */
    uint32_t last_sequence;
    int64_t last_time_us;
    int flush;              /* frames still to be passed over */
    int64_t flush_until_us; /* and all of before this time */
    uint8_t *png;           /* owned; of the last shot */
};

/* ioctl by libv4l2, repeated when a signal comes; -1 and errno. */
int rg_capture_ioctl(int fd, unsigned long request, void *argument);
int64_t rg_capture_now_us(void); /* CLOCK_MONOTONIC */

/* Opens a capture device and asks who it is. -1: *reason is an errno, 0 when it is no capture device. */
int rg_capture_open(const char *path, rg_camera_info *info, int *reason);
void rg_capture_close(int fd);

/* ---- modes */

/* What the device lists, into info->mode. Of sizes given as a range, the smallest, the largest and the one
 * wanted (0, 0: none) are listed where they lie on its steps. */
void rg_capture_modes(int fd, int width, int height, rg_camera_info *info);
bool rg_capture_choose(const rg_camera_info *info, const rg_camera_wish *wish,
                       rg_camera_mode *mode);
/* RG_NO_CAMERA: no mode of this size, with those that there are. */
rg_code rg_capture_no_size(const rg_camera_info *info, const rg_camera_wish *wish, rg_error *err);
/* S_FMT and S_PARM, read back into camera->mode. */
rg_code rg_capture_set_mode(rg_camera *camera, const rg_camera_mode *mode, rg_error *err);
/* The text for a device that answers with this errno. */
rg_code rg_capture_refusal(const char *path, const char *doing, int reason, rg_error *err);

/* ---- controls */

rg_code rg_capture_lock(rg_camera *camera, const rg_camera_settings *wish, rg_error *err);

/* ---- frames */

/* The bytes of a buffer as a file, into shot. */
rg_code rg_capture_file(rg_camera *camera, const uint8_t *bytes, size_t size, rg_shot *shot,
                        rg_error *err);

/* ---- stream */

rg_code rg_capture_start(rg_camera *camera, rg_error *err);
void rg_capture_stop(rg_camera *camera);
int64_t rg_capture_period_us(const rg_camera *camera);

#endif

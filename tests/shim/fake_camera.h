/*
 * fake_camera.h - a V4L2 camera that does not exist, for tests: what shim/v4l2.c does with it.
 *
 * It stands in for libc's open, openat, close, ioctl, mmap, poll and syscall (by which Debian's libv4l2
 * makes its calls), so the program under test runs unchanged. It tests against an idea of V4L2; what a
 * kernel really does is tested in tests/kernel.
 *
 * Linked into a test, or preloaded (LD_PRELOAD=build/VARIANT/tests/shim/v4l2.so): then the lines of the file
 * named by RG_FAKE_CAMERA are its commands, also those that are appended while it runs. A program built with
 * the address sanitizer takes the preload with ASAN_OPTIONS=verify_asan_link_order=0.
 *
 * /dev/video0 is the camera, /dev/video1 its metadata node, there is no other.
 *   frames FOLDER    its MJPEG frames: the .jpg files of a folder, by name, over and over
 *   rate N           so many frames a second in every mode; before it is opened
 *   instant          a frame whenever one is asked for; else one each frame period
 *   error N, truncate N, garbage N, empty N   so many of the next frames are flagged, cut short, have bytes
 *                    behind their end, are empty
 *   skip N           the driver drops so many frames; camskip N: the camera never sends them
 *   stall 1 | 0      no frames any more, or again
 *   halt             endpoint stalled: every queued buffer comes back empty, number and time 0
 *   restart          sequence numbers begin again with 0
 *   unplug, plug     pulled out and plugged in
 *   pollerr 1 | 0    poll says POLLERR, DQBUF still EAGAIN where there is no frame
 *   fatal            DQBUF fails with EIO from now on
 *   control ID VALUE a control changes by itself; without ID: the camera does not have it
 *   busy 1 | 0       S_FMT fails with EBUSY; noperm 1 | 0: open fails with EACCES
 *   wrongsize 1 | 0  S_FMT takes 640 x 480 of YUYV whatever is asked
 *   full 1 | 0       YUYV of full range
 */
#ifndef TESTS_SHIM_FAKE_CAMERA_H
#define TESTS_SHIM_FAKE_CAMERA_H

/* One command; 0, or -1 when there is none such. */
int fake_camera(const char *command);

/* Y' and chroma of a pixel in YUYV and grey frames but the first, whose Y' is the exposure (modulo 256)
 * that the frame was taken at. */
static inline unsigned char fake_luma(unsigned x, unsigned y)
{
    return (unsigned char)(x * 7 + y * 13);
}
static inline unsigned char fake_chroma(unsigned x, unsigned y)
{
    return (unsigned char)(x * 11 + y * 3 + 128);
}

#endif

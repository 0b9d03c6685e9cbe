/*
 * capture_jpeg.c - is a frame a whole JPEG?
 *
 * It is walked, not decoded: markers and segment lengths (ITU-T T.81, annex B), the frame's size, the
 * restart markers' order, and what stands behind EOI. A transfer that was cut off ends without EOI; two
 * frames run together have a second SOI.
 */
#include "capture_private.h"

enum {
    SOF0 = 0xc0,
    DHT = 0xc4,
    JPG = 0xc8,
    DAC = 0xcc,
    SOF15 = 0xcf,
    RST0 = 0xd0,
    RST7 = 0xd7,
    SOI = 0xd8,
    EOI = 0xd9,
    SOS = 0xda,
    DQT = 0xdb,
    DRI = 0xdd,
    APP0 = 0xe0,
    APP15 = 0xef,
    COM = 0xfe
};

typedef struct walk {
    const uint8_t *bytes;
    size_t size, place;
    int width, height;
    bool frame, scan; /* SOF and SOS have been met */
    rg_error *err;
} walk;

static rg_code broken(const walk *w, const char *what)
{
    return rg_fail(w->err, RG_BAD_DATA,
                   "the frame is no whole JPEG: %s at byte %zu of %zu; a better cable or a smaller "
                   "rate helps when this comes often",
                   what, w->place, w->size);
}

static unsigned big_endian_16(const uint8_t *p)
{
    return (unsigned)p[0] << 8 | p[1];
}

static bool is_frame_header(int marker)
{
    return marker >= SOF0 && marker <= SOF15 && marker != DHT && marker != JPG && marker != DAC;
}

static bool has_segment(int marker)
{
    return (marker >= SOF0 && marker <= SOF15 && marker != JPG) ||
           (marker >= SOS && marker <= APP15) || marker == COM;
}

/* The marker at place, after any fill bytes 0xff (B.1.1.2); place moves behind it. -1: none. */
static int next_marker(walk *w)
{
    if (w->place >= w->size || w->bytes[w->place] != 0xff)
        return -1;
    while (w->place < w->size && w->bytes[w->place] == 0xff)
        w->place++;
    return w->place < w->size ? w->bytes[w->place++] : -1;
}

/* B.2.2: length, precision, lines, samples in a line. */
static rg_code check_frame_header(walk *w, const uint8_t *segment, size_t length)
{
    if (length < 8)
        return broken(w, "a frame header too short");
    if (w->frame)
        return broken(w, "a second frame header");
    int height = (int)big_endian_16(segment + 3), width = (int)big_endian_16(segment + 5);
    if (width != w->width || height != w->height)
        return rg_fail(w->err, RG_BAD_DATA,
                       "the frame's JPEG is %d x %d px where the camera was set to %d x %d", width,
                       height, w->width, w->height);
    w->frame = true;
    return RG_OK;
}

/* Passes over entropy-coded data; place is then at the 0xff of the marker that ends it. */
static rg_code pass_scan(walk *w)
{
    int expected = RST0;
    for (; w->place + 1 < w->size; w->place++) {
        if (w->bytes[w->place] != 0xff)
            continue;
        int next = w->bytes[w->place + 1];
        if (next == 0xff)
            continue; /* fill */
        if (next >= RST0 && next <= RST7) {
            if (next != expected)
                return broken(w, "a piece is missing (restart markers out of order)");
            expected = expected == RST7 ? RST0 : expected + 1;
        } else if (next != 0) {
            return RG_OK;
        }
        w->place++;
    }
    return broken(w, "it ends inside the picture");
}

static rg_code pass_segment(walk *w, int marker)
{
    if (w->size - w->place < 2)
        return broken(w, "it ends inside a header");
    const uint8_t *segment = w->bytes + w->place;
    size_t length = big_endian_16(segment);
    if (length < 2 || length > w->size - w->place)
        return broken(w, "a header longer than the frame");
    rg_code code = is_frame_header(marker) ? check_frame_header(w, segment, length) : RG_OK;
    w->place += length;
    if (code || marker != SOS)
        return code;
    if (!w->frame)
        return broken(w, "a scan without frame header");
    w->scan = true;
    return pass_scan(w);
}

static rg_code check_padding(walk *w)
{
    for (; w->place < w->size; w->place++)
        if (w->bytes[w->place] != 0 && w->bytes[w->place] != 0xff)
            return broken(w, "bytes of something else behind its end");
    return RG_OK;
}

rg_code rg_shot_check_jpeg(const uint8_t *bytes, size_t size, int width, int height, rg_error *err)
{
    walk w = {.bytes = bytes, .size = size, .width = width, .height = height, .err = err};
    if (size < 4 || bytes[0] != 0xff || bytes[1] != SOI)
        return broken(&w, "no start of image");
    w.place = 2;
    for (;;) {
        int marker = next_marker(&w);
        if (marker == EOI)
            return w.scan ? check_padding(&w) : broken(&w, "an end without a picture");
        if (marker < 0)
            return broken(&w, w.place >= size ? "it ends without its end marker"
                                              : "no marker where one must stand");
        if (!has_segment(marker))
            return broken(&w, "a marker that does not belong there");
        rg_code code = pass_segment(&w, marker);
        if (code)
            return code;
    }
}

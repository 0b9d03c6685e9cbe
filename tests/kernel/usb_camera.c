/*
 * usb_camera.c - a USB camera in user space, for tests: plugged into the kernel's virtual host controller
 * (vhci_hcd), it answers the kernel's own uvcvideo driver. No hardware, no module of ours.
 *
 *   usb_camera FOLDER FIFO
 *
 * sends the .jpg files of FOLDER by name, over and over, as MJPEG of 1280 x 720, and made-up YUYV of 320 x
 * 240 and grey of 160 x 120, 30 a second. Commands come by FIFO, one a line:
 *   error | cut | skip | halt   of the next frame: payload error bit, half of it, not sent, endpoint stalled
 *   stall 1 | 0                 no frames any more, or again
 *   unplug | plug               the cable
 *   first                       begin the frames again with the first
 *
 * Written from: USB 2.0 chapter 9 (requests, descriptors); USB Video Class 1.0 (class requests, descriptors,
 * payload headers, bulk transfer); Linux Documentation/usb/usbip_protocol.rst.
 */
#define _GNU_SOURCE
#include <dirent.h>
#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#define VHCI "/sys/devices/platform/vhci_hcd.0"

enum {
    PORT = 0,
    DEVICE_ID = 3,
    SPEED_HIGH = 3,
    PENDING = 64,
    FILES = 64,
    FRAME_BYTES = 2 * 1024 * 1024,
    PAYLOAD = 4 * 1024 * 1024, /* more than any frame: one payload a frame */
    BULK_ENDPOINT = 1
};

/* ---------------------------------------------------------------- descriptors */

#define LE16(v) (uint8_t)((v)&0xff), (uint8_t)((v) >> 8 & 0xff)
#define LE32(v) LE16((uint32_t)(v)), LE16((uint32_t)(v) >> 16)

static const uint8_t device_descriptor[] = {18,
                                            1,
                                            LE16(0x0200),
                                            0xef,
                                            2,
                                            1,
                                            64, /* miscellaneous, by interface association */
                                            LE16(0x1d6b),
                                            LE16(0x0104),
                                            LE16(0x0100),
                                            1,
                                            2,
                                            3,
                                            1};

enum { CAMERA = 1, PROCESSING = 2, OUTPUT = 3, CONTROL_BYTES = 13 + 18 + 11 + 9 };

#define INTERVAL 333333 /* 100 ns */
#define FRAME(subtype, index, w, h, bytes)                                                         \
    30, 0x24, subtype, index, 0, LE16(w), LE16(h), LE32((bytes)*8 * 30), LE32((bytes)*8 * 30),     \
        LE32(bytes), LE32(INTERVAL), 1, LE32(INTERVAL)
#define RAW_FORMAT(index, a, b, c, d, bits)                                                        \
    27, 0x24, 4, index, 1, a, b, c, d, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71, bits, \
        1, 0, 0, 0, 0
#define COLOURS 6, 0x24, 0x0d, 1, 1, 4
enum { STREAM_BYTES = 13 + 3 + 11 + 30 + 6 + 27 + 30 + 6 + 27 + 30 + 6 };
enum { CONFIG_BYTES = 9 + 8 + 9 + CONTROL_BYTES + 9 + STREAM_BYTES + 7 };

static const uint8_t config_descriptor[] = {
    9, 2, LE16(CONFIG_BYTES), 2, 1, 0, 0x80, 50,
    /* the association, then the control interface */
    8, 11, 0, 2, 14, 3, 0, 2, 9, 4, 0, 0, 0, 14, 1, 0, 2,
    /* header; camera terminal: modes, exposure, focus, automatic focus */
    13, 0x24, 1, LE16(0x0100), LE16(CONTROL_BYTES), LE32(48000000), 1, 1, 18, 0x24, 2, CAMERA,
    LE16(0x0201), 0, 0, LE16(0), LE16(0), LE16(0), 3, 0x2a, 0x00, 0x02,
    /* processing unit: white balance, gain, power line, automatic white balance */
    11, 0x24, 5, PROCESSING, CAMERA, LE16(0), 2, 0x40, 0x16, 0, 9, 0x24, 3, OUTPUT, LE16(0x0101), 0,
    PROCESSING, 0,
    /* the streaming interface */
    9, 4, 1, 0, 1, 14, 2, 0, 0, 16, 0x24, 1, 3, LE16(STREAM_BYTES), 0x80 | BULK_ENDPOINT, 0, OUTPUT,
    0, 0, 0, 1, 0, 0, 0, 11, 0x24, 6, 1, 1, 0, 1, 0, 0, 0, 0, FRAME(7, 1, 1280, 720, FRAME_BYTES),
    COLOURS, RAW_FORMAT(2, 'Y', 'U', 'Y', '2', 16), FRAME(5, 1, 320, 240, 320 * 240 * 2), COLOURS,
    RAW_FORMAT(3, 'Y', '8', '0', '0', 8), FRAME(5, 1, 160, 120, 160 * 120), COLOURS,
    /* bulk, in, 512 bytes */
    7, 5, 0x80 | BULK_ENDPOINT, 2, LE16(512), 0};
_Static_assert(sizeof config_descriptor == CONFIG_BYTES, "lengths in the descriptors");

/* ---------------------------------------------------------------- state */

typedef struct control {
    uint8_t entity, selector, bytes;
    int32_t low, high, value, step;
} control;

static control controls[] = {
    {CAMERA, 0x02, 1, 0, 0, 8, 0x09},            /* exposure mode: manual or aperture priority */
    {CAMERA, 0x04, 4, 3, 2047, 250, 1},          /* exposure, 100 us */
    {CAMERA, 0x06, 2, 0, 250, 10, 5},            /* focus */
    {CAMERA, 0x08, 1, 0, 1, 1, 1},               /* automatic focus */
    {PROCESSING, 0x04, 2, 0, 255, 64, 1},        /* gain */
    {PROCESSING, 0x05, 1, 0, 2, 2, 1},           /* power line */
    {PROCESSING, 0x0a, 2, 2800, 6500, 4600, 10}, /* white balance */
    {PROCESSING, 0x0b, 1, 0, 1, 1, 1},           /* automatic white balance */
};
enum { CONTROLS = sizeof controls / sizeof controls[0], GAIN = 4 };

typedef struct submit {
    uint32_t sequence, room;
} submit;

static struct {
    int link; /* socket to the kernel, -1 unplugged */
    submit pending[PENDING];
    int pendings;
    int format; /* committed: 1 MJPEG, 2 YUYV, 3 grey */
    bool streaming;
    uint8_t payload[FRAME_BYTES + 2];
    size_t size, sent; /* of the payload under way; size 0: none */
    bool toggle;
    int64_t due_us;
    bool error, cut, skip, halt, stall;
    uint8_t *file[FILES];
    size_t file_size[FILES];
    int files, next;
} cam = {.link = -1};

static int64_t now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

/* ---------------------------------------------------------------- frames */

static int is_jpg(const struct dirent *entry)
{
    size_t n = strlen(entry->d_name);
    return n > 4 && strcmp(entry->d_name + n - 4, ".jpg") == 0;
}

static void load_files(const char *folder)
{
    struct dirent **entry = NULL;
    int count = scandir(folder, &entry, is_jpg, alphasort);
    for (int i = 0; i < count && cam.files < FILES; i++) {
        char path[1024];
        snprintf(path, sizeof path, "%s/%s", folder, entry[i]->d_name);
        FILE *f = fopen(path, "rb");
        uint8_t *bytes = f ? malloc(FRAME_BYTES) : NULL;
        if (bytes) {
            cam.file_size[cam.files] = fread(bytes, 1, FRAME_BYTES, f);
            cam.file[cam.files++] = bytes;
        }
        if (f)
            fclose(f);
    }
}

static size_t raw_frame(uint8_t *out, unsigned width, unsigned height, bool chroma)
{
    uint8_t *p = out;
    for (unsigned y = 0; y < height; y++)
        for (unsigned x = 0; x < width; x++) {
            *p++ = (uint8_t)(x * 7 + y * 13);
            if (chroma)
                *p++ = (uint8_t)(x * 11 + y * 3 + 128);
        }
    return (size_t)(p - out);
}

static size_t frame_into(uint8_t *out)
{
    if (cam.format == 2)
        return raw_frame(out, 320, 240, true);
    if (cam.format == 3)
        return raw_frame(out, 160, 120, false);
    int i = cam.next++ % cam.files;
    memcpy(out, cam.file[i], cam.file_size[i]);
    return cam.file_size[i];
}

/* UVC 2.4.3.3: length, then end of header, error, end of frame and the toggling frame id. */
static void begin_frame(void)
{
    size_t size = frame_into(cam.payload + 2);
    if (cam.skip) {
        cam.skip = false;
        return;
    }
    cam.payload[0] = 2;
    cam.payload[1] = (uint8_t)(0x80 | 0x02 | (cam.error ? 0x40 : 0) | (cam.toggle ? 1 : 0));
    cam.toggle = !cam.toggle;
    cam.size = 2 + (cam.cut ? size / 2 : size);
    cam.sent = 0;
    cam.error = cam.cut = false;
}

/* ---------------------------------------------------------------- USB/IP */

static void send_all(const void *bytes, size_t size)
{
    const uint8_t *p = bytes;
    while (cam.link >= 0 && size > 0) {
        ssize_t n = send(cam.link, p, size, MSG_NOSIGNAL);
        if (n <= 0)
            return;
        p += n;
        size -= (size_t)n;
    }
}

static bool read_all(void *bytes, size_t size)
{
    uint8_t *p = bytes;
    while (size > 0) {
        ssize_t n = recv(cam.link, p, size, 0);
        if (n <= 0)
            return false;
        p += n;
        size -= (size_t)n;
    }
    return true;
}

/* RET_SUBMIT (3) or RET_UNLINK (4). */
static void answer(uint32_t command, uint32_t sequence, int32_t status, const void *bytes,
                   uint32_t size, uint32_t actual)
{
    uint32_t head[12] = {htobe32(command),          htobe32(sequence), 0, 0, 0,
                         htobe32((uint32_t)status), htobe32(actual)};
    send_all(head, sizeof head);
    send_all(bytes, size);
}

static void forget_pending(int i)
{
    memmove(cam.pending + i, cam.pending + i + 1,
            sizeof cam.pending[0] * (size_t)(--cam.pendings - i));
}

/* As much of the payload as the kernel has asked for; a transfer shorter than asked ends the payload. */
static void feed(void)
{
    while (cam.pendings > 0 && cam.size > 0) {
        submit s = cam.pending[0];
        size_t left = cam.size - cam.sent;
        uint32_t part = left < s.room ? (uint32_t)left : s.room;
        forget_pending(0);
        answer(3, s.sequence, 0, cam.payload + cam.sent, part, part);
        cam.sent += part;
        if (part < s.room)
            cam.size = 0;
    }
}

static void stall_endpoint(void)
{
    if (cam.pendings == 0 || cam.size > 0)
        return;
    submit s = cam.pending[0];
    forget_pending(0);
    answer(3, s.sequence, -EPIPE, NULL, 0, 0);
    cam.halt = false;
}

static void tick(void)
{
    int64_t now = now_us();
    if (cam.halt)
        stall_endpoint();
    if (now < cam.due_us || cam.size > 0)
        return;
    cam.due_us += 33333;
    if (cam.due_us < now - 100000)
        cam.due_us = now;
    if (cam.pendings == 0 || cam.format == 0 || cam.stall)
        return;
    begin_frame();
    feed();
}

/* ---------------------------------------------------------------- requests */

static uint32_t reply_probe(uint8_t request, uint8_t *out)
{
    static const uint32_t frame_bytes[] = {0, FRAME_BYTES, 320 * 240 * 2, 160 * 120};
    int format = cam.format > 0 ? cam.format : 1;
    const uint8_t probe[26] = {
        LE16(1),      (uint8_t)format, 1,       LE32(INTERVAL), LE16(0),
        LE16(0),      LE16(0),         LE16(0), LE16(0),        LE32(frame_bytes[format]),
        LE32(PAYLOAD)};
    if (request == 0x85 || request == 0x86) { /* length, info */
        out[0] = request == 0x85 ? 26 : 3;
        out[1] = 0;
        return request == 0x85 ? 2 : 1;
    }
    memcpy(out, probe, sizeof probe);
    return sizeof probe;
}

static control *find_control(uint8_t entity, uint8_t selector)
{
    for (int i = 0; i < CONTROLS; i++)
        if (controls[i].entity == entity && controls[i].selector == selector)
            return &controls[i];
    return NULL;
}

static int32_t control_value(const control *c, uint8_t request)
{
    switch (request) {
    case 0x82:
        return c->low;
    case 0x83:
        return c->high;
    case 0x84:
        return c->step;
    default:
        return c->value;
    }
}

/* -1: stall. */
static int reply_class(const uint8_t *setup, uint8_t *out)
{
    uint8_t request = setup[1], selector = setup[3], interface = setup[4], entity = setup[5];
    if (interface == 1)
        return selector == 1 || selector == 2 ? (int)reply_probe(request, out) : -1;
    const control *c = find_control(entity, selector);
    if (!c)
        return -1;
    if (request == 0x86) {
        out[0] = 3;
        return 1;
    }
    uint32_t value = htole32((uint32_t)(request == 0x85 ? c->bytes : control_value(c, request)));
    memcpy(out, &value, sizeof value);
    return request == 0x85 ? 2 : c->bytes;
}

static bool take_class(const uint8_t *setup, const uint8_t *data, uint32_t size)
{
    if (setup[4] == 1) {
        if (size > 2 && data[2] >= 1 && data[2] <= 3)
            cam.format = data[2];
        return true;
    }
    control *c = find_control(setup[5], setup[3]);
    uint32_t value = 0;
    if (!c || size < c->bytes)
        return false;
    memcpy(&value, data, c->bytes);
    c->value = (int32_t)le32toh(value);
    return true;
}

static int reply_string(uint8_t index, uint8_t *out)
{
    static const char *const text[] = {NULL, "Port Ellery", "Bench Camera", "0001"};
    if (index > 3)
        return -1;
    if (index == 0) {
        memcpy(out, "\x04\x03\x09\x04", 4);
        return 4;
    }
    size_t n = strlen(text[index]);
    out[0] = (uint8_t)(2 + 2 * n);
    out[1] = 3;
    for (size_t i = 0; i < n; i++) {
        out[2 + 2 * i] = (uint8_t)text[index][i];
        out[3 + 2 * i] = 0;
    }
    return out[0];
}

static int reply_standard(const uint8_t *setup, uint8_t *out)
{
    if (setup[1] == 0) { /* status */
        memset(out, 0, 2);
        return 2;
    }
    if (setup[1] != 6)
        return -1;
    switch (setup[3]) {
    case 1:
        memcpy(out, device_descriptor, sizeof device_descriptor);
        return sizeof device_descriptor;
    case 2:
        memcpy(out, config_descriptor, sizeof config_descriptor);
        return sizeof config_descriptor;
    case 3:
        return reply_string(setup[2], out);
    default:
        return -1;
    }
}

static void control_request(uint32_t sequence, const uint8_t *setup, const uint8_t *data,
                            uint32_t size)
{
    uint8_t out[1024];
    bool in = setup[0] & 0x80, class = (setup[0] & 0x60) == 0x20;
    if (setup[0] == 2 && setup[1] == 1) /* the endpoint cleared: the stream is over */
        cam.size = 0;
    if (!in) {
        bool taken = !class || take_class(setup, data, size);
        answer(3, sequence, taken ? 0 : -EPIPE, NULL, 0, taken ? size : 0);
        return;
    }
    int made = class ? reply_class(setup, out) : reply_standard(setup, out);
    uint32_t length = (uint32_t)(setup[6] | setup[7] << 8);
    uint32_t part = made < 0 ? 0 : (uint32_t)made < length ? (uint32_t)made : length;
    answer(3, sequence, made < 0 ? -EPIPE : 0, out, part, part);
}

static void unlink_request(uint32_t sequence, uint32_t victim)
{
    for (int i = 0; i < cam.pendings; i++)
        if (cam.pending[i].sequence == victim) {
            forget_pending(i);
            if (cam.pendings == 0)
                cam.size = 0;
            answer(4, sequence, -ECONNRESET, NULL, 0, 0);
            return;
        }
    answer(4, sequence, 0, NULL, 0, 0);
}

static void unplug(void)
{
    if (cam.link >= 0)
        close(cam.link);
    cam.link = -1;
    cam.pendings = 0;
    cam.size = 0;
    cam.format = 0;
}

static void serve(void)
{
    uint32_t head[12];
    uint8_t data[1024];
    if (!read_all(head, sizeof head)) {
        unplug();
        return;
    }
    uint32_t command = be32toh(head[0]), sequence = be32toh(head[1]), out = !be32toh(head[3]);
    uint32_t endpoint = be32toh(head[4]), room = be32toh(head[6]);
    if (command == 2) {
        unlink_request(sequence, be32toh(head[5]));
        return;
    }
    uint32_t size = out ? room : 0;
    if (size > sizeof data || (size && !read_all(data, size))) {
        unplug();
        return;
    }
    if (endpoint == 0) {
        control_request(sequence, (const uint8_t *)&head[10], data, size);
    } else if (cam.pendings < PENDING) {
        cam.pending[cam.pendings++] = (submit){sequence, room};
        feed();
    }
}

/* ---------------------------------------------------------------- commands */

static bool attach(int link)
{
    char text[64];
    int file = open(VHCI "/attach", O_WRONLY);
    int n = snprintf(text, sizeof text, "%d %d %d %d", PORT, link, DEVICE_ID, SPEED_HIGH);
    bool done = file >= 0 && write(file, text, (size_t)n) == n;
    if (file >= 0)
        close(file);
    return done;
}

/* The port is free only some time after the last camera was pulled out. */
static bool plug(void)
{
    int pair[2], tries = 0;
    bool done = false;
    if (cam.link >= 0 || socketpair(AF_UNIX, SOCK_STREAM, 0, pair) < 0)
        return false;
    while (!(done = attach(pair[1])) && tries++ < 50)
        nanosleep(&(struct timespec){0, 100000000}, NULL);
    close(pair[1]);
    if (done) {
        cam.link = pair[0];
    } else {
        fprintf(stderr, "usb camera: cannot attach\n");
        close(pair[0]);
    }
    return done;
}

static void obey(const char *line)
{
    if (strcmp(line, "error") == 0)
        cam.error = true;
    else if (strcmp(line, "cut") == 0)
        cam.cut = true;
    else if (strcmp(line, "skip") == 0)
        cam.skip = true;
    else if (strcmp(line, "halt") == 0)
        cam.halt = true;
    else if (strcmp(line, "stall 1") == 0 || strcmp(line, "stall 0") == 0)
        cam.stall = line[6] == '1';
    else if (strcmp(line, "unplug") == 0)
        unplug();
    else if (strcmp(line, "plug") == 0)
        plug();
    else if (strcmp(line, "first") == 0)
        cam.next = 0;
    else
        fprintf(stderr, "usb camera: no command '%s'\n", line);
}

static void take_commands(int fifo)
{
    char text[512];
    ssize_t n = read(fifo, text, sizeof text - 1);
    text[n > 0 ? n : 0] = 0;
    for (char *rest = text, *line; (line = strsep(&rest, "\n"));)
        if (*line)
            obey(line);
}

int main(int count, char **argument)
{
    if (count != 3)
        return 64;
    load_files(argument[1]);
    int fifo = open(argument[2], O_RDWR | O_NONBLOCK);
    if (cam.files == 0 || fifo < 0 || !plug())
        return 66;
    printf("usb camera: %d frames, attached\n", cam.files);
    fflush(stdout);
    for (;;) {
        struct pollfd wait[2] = {{.fd = fifo, .events = POLLIN},
                                 {.fd = cam.link, .events = POLLIN}};
        if (poll(wait, 2, 2) < 0 && errno != EINTR)
            return 70;
        if (wait[1].revents)
            serve();
        if (wait[0].revents)
            take_commands(fifo);
        tick();
    }
}

/*
 * v4l2.c - the camera of fake_camera.h. Its descriptor is a timerfd, so that a native poll waits for frames;
 * its buffers are one memfd. Behaviour as observed of uvcvideo in Linux 6.1 (see tests/kernel).
 */
#define _GNU_SOURCE
#include "shim/fake_camera.h"

#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/timerfd.h>
#include <time.h>
#include <unistd.h>

#include <linux/videodev2.h>

enum {
    FDS = 16,
    BUFFERS = 8,
    FILES = 64,
    FOLDERS = 8,
    BUFFER_BYTES = 4 * 1024 * 1024,
    CONTROLS = 8
};

typedef struct control {
    uint32_t id;
    int low, high, value;
    bool absent;
} control;

typedef struct mode {
    uint32_t fourcc, width, height, rate;
} mode;

static const mode modes[] = {
    {V4L2_PIX_FMT_MJPEG, 1280, 720, 30}, {V4L2_PIX_FMT_MJPEG, 1280, 720, 15},
    {V4L2_PIX_FMT_MJPEG, 640, 480, 30},  {V4L2_PIX_FMT_YUYV, 1280, 720, 10},
    {V4L2_PIX_FMT_YUYV, 320, 240, 30},   {V4L2_PIX_FMT_GREY, 160, 120, 60},
    {V4L2_PIX_FMT_YUYV, 640, 480, 60},
};
enum { MODES = sizeof modes / sizeof modes[0] };

typedef struct file_bytes {
    uint8_t *bytes;
    size_t size;
} file_bytes;

typedef struct folder_bytes {
    char name[1024];
    file_bytes file[FILES];
    int files;
} folder_bytes;

static struct {
    pthread_mutex_t lock;
    struct {
        int fd, node, plugged; /* fd is only meaningful where used is set */
        bool used;
    } open[FDS];
    int plugged; /* counts the times it was plugged in; odd: it is there */
    control control[CONTROLS];
    mode mode;
    folder_bytes folder[FOLDERS]; /* read once: a camera does not stop to read its scene */
    int folders, shown, next_file;
    int memory; /* memfd */
    uint8_t *mapped;
    int owner; /* descriptor that has the format, -1 none */
    int buffers, queued[BUFFERS], queue, done_count;
    struct v4l2_buffer done[BUFFERS];
    bool streaming, instant, stall, fatal, busy, noperm, wrongsize, full;
    int error, truncate, garbage, empty, skip, camskip, rate;
    bool halt, restart, pollerr;
    uint32_t sequence;
    int64_t due_us;
    int exposure_now, exposure_next;
    long commands_read;
    bool ready;
} cam = {.lock = PTHREAD_MUTEX_INITIALIZER, .memory = -1, .owner = -1, .plugged = 1};

static const control first_controls[CONTROLS] = {
    {V4L2_CID_EXPOSURE_AUTO, 0, 3, V4L2_EXPOSURE_APERTURE_PRIORITY, false},
    {V4L2_CID_EXPOSURE_ABSOLUTE, 3, 2047, 250, false},
    {V4L2_CID_GAIN, 0, 255, 64, false},
    {V4L2_CID_AUTO_WHITE_BALANCE, 0, 1, 1, false},
    {V4L2_CID_WHITE_BALANCE_TEMPERATURE, 2000, 6500, 4000, false},
    {V4L2_CID_FOCUS_AUTO, 0, 1, 1, false},
    {V4L2_CID_FOCUS_ABSOLUTE, 0, 250, 0, false},
    {V4L2_CID_POWER_LINE_FREQUENCY, 0, 2, 2, false},
};

/* ---------------------------------------------------------------- the real calls */

#define REAL(name)                                                                                 \
    static __typeof__(&name) real_##name(void)                                                     \
    {                                                                                              \
        static __typeof__(&name) f;                                                                \
        if (!f) {                                                                                  \
            void *symbol = dlsym(RTLD_NEXT, #name);                                                \
            memcpy(&f, &symbol, sizeof f);                                                         \
        }                                                                                          \
        return f;                                                                                  \
    }
REAL(open)
REAL(openat)
REAL(close)
REAL(ioctl)
REAL(mmap)
REAL(poll)
REAL(syscall)

static int64_t now_us(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000000 + t.tv_nsec / 1000;
}

/* ---------------------------------------------------------------- commands */

static int is_jpg(const struct dirent *entry)
{
    size_t n = strlen(entry->d_name);
    return n > 4 && strcmp(entry->d_name + n - 4, ".jpg") == 0;
}

static void load_file(folder_bytes *to, const char *name)
{
    char path[4096];
    struct stat st;
    snprintf(path, sizeof path, "%s/%s", to->name, name);
    FILE *f = to->files < FILES ? fopen(path, "rb") : NULL;
    size_t most = f && fstat(fileno(f), &st) == 0 ? (size_t)st.st_size : 0;
    uint8_t *bytes = most > 0 && most <= BUFFER_BYTES ? malloc(most) : NULL;
    if (bytes)
        to->file[to->files++] = (file_bytes){bytes, fread(bytes, 1, most, f)};
    if (f)
        fclose(f);
}

static int find_folder(const char *name)
{
    int at = 0;
    while (at < cam.folders && strcmp(cam.folder[at].name, name) != 0)
        at++;
    return at;
}

static int load_files(const char *name)
{
    struct dirent **entry = NULL;
    int at = find_folder(name);
    if (at == FOLDERS || strlen(name) >= sizeof cam.folder[0].name)
        return -1;
    cam.shown = at;
    cam.next_file = 0;
    if (at < cam.folders)
        return 0;
    folder_bytes *to = &cam.folder[at];
    strcpy(to->name, name);
    int count = scandir(name, &entry, is_jpg, alphasort);
    for (int i = 0; i < count; i++) {
        load_file(to, entry[i]->d_name);
        free(entry[i]);
    }
    free(entry);
    cam.folders += to->files > 0;
    return to->files > 0 ? 0 : -1;
}

static control *find_control(uint32_t id)
{
    for (int i = 0; i < CONTROLS; i++)
        if (cam.control[i].id == id && !cam.control[i].absent)
            return &cam.control[i];
    return NULL;
}

static int change_control(const char *argument)
{
    long id = 0, value = 0;
    int given = sscanf(argument, "%li %li", &id, &value);
    control *c = given >= 1 ? find_control((uint32_t)id) : NULL;
    if (!c)
        return -1;
    if (given == 1)
        c->absent = true;
    else
        c->value = (int)value;
    return 0;
}

static int set_number(const char *word, int number)
{
    const struct {
        const char *word;
        int *number;
    } numbers[] = {{"error", &cam.error}, {"truncate", &cam.truncate}, {"garbage", &cam.garbage},
                   {"empty", &cam.empty}, {"skip", &cam.skip},         {"camskip", &cam.camskip},
                   {"rate", &cam.rate}};
    for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
        if (strcmp(numbers[i].word, word) == 0) {
            *numbers[i].number = number;
            return 0;
        }
    return -1;
}

static int set_flag(const char *word, bool on)
{
    const struct {
        const char *word;
        bool *flag;
    } flags[] = {{"instant", &cam.instant},    {"stall", &cam.stall},     {"halt", &cam.halt},
                 {"restart", &cam.restart},    {"pollerr", &cam.pollerr}, {"fatal", &cam.fatal},
                 {"busy", &cam.busy},          {"noperm", &cam.noperm},   {"full", &cam.full},
                 {"wrongsize", &cam.wrongsize}};
    for (size_t i = 0; i < sizeof flags / sizeof flags[0]; i++)
        if (strcmp(flags[i].word, word) == 0) {
            *flags[i].flag = on;
            return 0;
        }
    return -1;
}

static void arm(void);

/* What comes back is a new camera, as it is when switched on. */
static void change_plug(bool in)
{
    if ((cam.plugged % 2 == 1) == in)
        return;
    cam.plugged++;
    if (!in) {
        arm();
        return;
    }
    cam.owner = -1;
    cam.streaming = false;
    memcpy(cam.control, first_controls, sizeof cam.control);
}

static int obey(const char *command)
{
    char word[32] = "";
    int start = 0;
    if (sscanf(command, "%31s %n", word, &start) < 1)
        return 0;
    const char *argument = command + start;
    if (strcmp(word, "frames") == 0)
        return load_files(argument);
    if (strcmp(word, "control") == 0)
        return change_control(argument);
    if (strcmp(word, "unplug") == 0 || strcmp(word, "plug") == 0) {
        change_plug(word[0] == 'p');
        return 0;
    }
    if (set_number(word, atoi(argument)) == 0)
        return 0;
    int known = set_flag(word, *argument ? atoi(argument) != 0 : true);
    arm();
    return known;
}

static void read_commands(void)
{
    const char *path = getenv("RG_FAKE_CAMERA");
    char line[4096];
    struct stat st;
    if (!path || stat(path, &st) != 0 || st.st_size <= cam.commands_read)
        return;
    FILE *f = fopen(path, "r");
    if (!f)
        return;
    if (fseek(f, cam.commands_read, SEEK_SET) == 0)
        while (fgets(line, sizeof line, f) && strchr(line, '\n')) {
            cam.commands_read = ftell(f);
            line[strcspn(line, "\n")] = 0;
            if (obey(line) < 0)
                fprintf(stderr, "fake camera: no command '%s'\n", line);
        }
    fclose(f);
}

static void wake(void)
{
    pthread_mutex_lock(&cam.lock);
    if (!cam.ready)
        memcpy(cam.control, first_controls, sizeof cam.control);
    cam.ready = true;
    read_commands();
}

static void rest(void)
{
    int kept = errno;
    pthread_mutex_unlock(&cam.lock);
    errno = kept;
}

int fake_camera(const char *command)
{
    wake();
    int result = obey(command);
    rest();
    return result;
}

/* ---------------------------------------------------------------- frames */

static int64_t period_us(void)
{
    if (cam.rate > 0)
        return 1000000 / cam.rate;
    return 1000000 / (cam.mode.rate ? cam.mode.rate : 30);
}

/* The descriptor is readable from the next frame's time on, or at once. */
static void arm(void)
{
    int64_t at = cam.due_us;
    if (cam.done_count > 0 || cam.plugged % 2 == 0 || cam.fatal || (cam.instant && !cam.stall))
        at = 1;
    if (cam.stall && at != 1)
        at = 0;
    struct itimerspec when = {.it_value = {at / 1000000, at % 1000000 * 1000}};
    if (cam.owner >= 0 && cam.streaming)
        timerfd_settime(cam.owner, TFD_TIMER_ABSTIME, &when, NULL);
}

static size_t raw_frame(uint8_t *out)
{
    bool grey = cam.mode.fourcc == V4L2_PIX_FMT_GREY;
    uint8_t *p = out;
    for (uint32_t y = 0; y < cam.mode.height; y++)
        for (uint32_t x = 0; x < cam.mode.width; x++) {
            *p++ = fake_luma(x, y);
            if (!grey)
                *p++ = fake_chroma(x, y);
        }
    out[0] = (uint8_t)cam.exposure_now;
    return (size_t)(p - out);
}

static size_t frame_bytes(uint8_t *out)
{
    if (cam.mode.fourcc != V4L2_PIX_FMT_MJPEG)
        return raw_frame(out);
    const folder_bytes *from = &cam.folder[cam.shown];
    if (cam.shown >= cam.folders)
        return 0;
    const file_bytes *f = &from->file[cam.next_file++ % from->files];
    memcpy(out, f->bytes, f->size);
    return f->size;
}

static void spoil(struct v4l2_buffer *b, uint8_t *bytes)
{
    if (cam.error > 0 && cam.error--)
        b->flags |= V4L2_BUF_FLAG_ERROR;
    if (cam.truncate > 0 && cam.truncate--)
        b->bytesused /= 2;
    if (cam.garbage > 0 && cam.garbage--) {
        memcpy(bytes + b->bytesused, "stale", 5);
        b->bytesused += 5;
    }
    if (cam.empty > 0 && cam.empty--) {
        b->flags |= V4L2_BUF_FLAG_ERROR;
        b->bytesused = 0;
    }
}

static void fill(int index, int64_t time_us)
{
    struct v4l2_buffer b = {.index = (uint32_t)index,
                            .type = V4L2_BUF_TYPE_VIDEO_CAPTURE,
                            .memory = V4L2_MEMORY_MMAP,
                            .flags = V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC,
                            .length = BUFFER_BYTES,
                            .sequence = cam.sequence};
    uint8_t *bytes = cam.mapped + (size_t)index * BUFFER_BYTES;
    b.bytesused = (uint32_t)frame_bytes(bytes);
    spoil(&b, bytes);
    b.timestamp.tv_sec = time_us / 1000000;
    b.timestamp.tv_usec = time_us % 1000000;
    cam.done[cam.done_count++] = b;
}

static int take_first(int *list, int *count)
{
    int first = list[0];
    memmove(list, list + 1, sizeof *list * (size_t)-- * count);
    return first;
}

static void expose_one(void)
{
    cam.due_us += period_us() * (cam.camskip + cam.skip);
    cam.sequence += (uint32_t)cam.skip;
    cam.skip = cam.camskip = 0;
    if (cam.queue > 0)
        fill(take_first(cam.queued, &cam.queue), cam.due_us);
    cam.exposure_now = cam.exposure_next; /* takes effect with the frame after */
    cam.exposure_next = cam.control[1].value;
    cam.sequence++;
    cam.due_us += period_us();
}

static void give_back_empty(void)
{
    while (cam.queue > 0 && cam.done_count < BUFFERS)
        cam.done[cam.done_count++] =
            (struct v4l2_buffer){.index = (uint32_t)take_first(cam.queued, &cam.queue),
                                 .type = V4L2_BUF_TYPE_VIDEO_CAPTURE,
                                 .memory = V4L2_MEMORY_MMAP,
                                 .flags = V4L2_BUF_FLAG_TIMESTAMP_MONOTONIC | V4L2_BUF_FLAG_ERROR};
    cam.halt = false;
}

static void produce(void)
{
    if (!cam.streaming || cam.plugged % 2 == 0)
        return;
    if (cam.halt)
        give_back_empty();
    if (cam.restart)
        cam.sequence = 0;
    cam.restart = false;
    if (cam.instant) {
        if (!cam.stall && cam.done_count == 0 && cam.queue > 0)
            expose_one();
    } else {
        for (int64_t now = now_us(); cam.due_us <= now;) {
            if (cam.stall)
                cam.due_us += period_us();
            else
                expose_one();
        }
    }
    arm();
}

/* ---------------------------------------------------------------- ioctls */

static int fail(int reason)
{
    errno = reason;
    return -1;
}

static int query_capability(struct v4l2_capability *cap, int node)
{
    memset(cap, 0, sizeof *cap);
    strcpy((char *)cap->driver, "fakevideo");
    strcpy((char *)cap->card, "Bench Camera");
    strcpy((char *)cap->bus_info, "test-1.2");
    cap->device_caps =
        V4L2_CAP_STREAMING | (node == 0 ? V4L2_CAP_VIDEO_CAPTURE : V4L2_CAP_META_CAPTURE);
    cap->capabilities = cap->device_caps | V4L2_CAP_DEVICE_CAPS | V4L2_CAP_VIDEO_CAPTURE;
    return 0;
}

static int enumerate_format(struct v4l2_fmtdesc *d)
{
    static const uint32_t fourcc[] = {V4L2_PIX_FMT_YUYV, V4L2_PIX_FMT_MJPEG, V4L2_PIX_FMT_GREY};
    if (d->index >= 3)
        return fail(EINVAL);
    d->pixelformat = fourcc[d->index];
    return 0;
}

/* A camera that is told its rate says so, or its user would count frames as missed that it never had. */
static uint32_t rate_of(const mode *m)
{
    return cam.rate > 0 ? (uint32_t)cam.rate : m->rate;
}

static const mode *nth_mode(uint32_t n, uint32_t fourcc, uint32_t width, uint32_t height)
{
    for (int i = 0; i < MODES; i++) {
        bool first_of_size = i == 0 || modes[i].width != modes[i - 1].width ||
                             modes[i].fourcc != modes[i - 1].fourcc;
        bool fits = width ? modes[i].width == width && modes[i].height == height : first_of_size;
        if (modes[i].fourcc == fourcc && fits && n-- == 0)
            return &modes[i];
    }
    return NULL;
}

static int enumerate_size(struct v4l2_frmsizeenum *s)
{
    const mode *m = nth_mode(s->index, s->pixel_format, 0, 0);
    if (!m)
        return fail(EINVAL);
    s->type = V4L2_FRMSIZE_TYPE_DISCRETE;
    s->discrete.width = m->width;
    s->discrete.height = m->height;
    return 0;
}

static int enumerate_interval(struct v4l2_frmivalenum *v)
{
    const mode *m = nth_mode(v->index, v->pixel_format, v->width, v->height);
    if (!m)
        return fail(EINVAL);
    v->type = V4L2_FRMIVAL_TYPE_DISCRETE;
    v->discrete = (struct v4l2_fract){1, rate_of(m)};
    return 0;
}

static int show_format(struct v4l2_format *f)
{
    const mode *m = cam.mode.width ? &cam.mode : &modes[4];
    struct v4l2_pix_format *pix = &f->fmt.pix;
    pix->pixelformat = m->fourcc;
    pix->width = m->width;
    pix->height = m->height;
    pix->bytesperline = m->fourcc == V4L2_PIX_FMT_YUYV   ? 2 * m->width
                        : m->fourcc == V4L2_PIX_FMT_GREY ? m->width
                                                         : 0;
    pix->sizeimage = BUFFER_BYTES;
    pix->colorspace = V4L2_COLORSPACE_SRGB;
    pix->quantization = cam.full ? V4L2_QUANTIZATION_FULL_RANGE : V4L2_QUANTIZATION_DEFAULT;
    return 0;
}

static int set_format(int fd, struct v4l2_format *f)
{
    struct v4l2_pix_format *pix = &f->fmt.pix;
    if (cam.busy || (cam.owner >= 0 && cam.owner != fd))
        return fail(EBUSY);
    const mode *m = nth_mode(0, pix->pixelformat, pix->width, pix->height);
    if (!m || cam.wrongsize)
        m = &modes[4];
    cam.mode = *m;
    cam.owner = fd;
    return show_format(f);
}

static int stream_parameters(struct v4l2_streamparm *p, bool set)
{
    struct v4l2_fract *interval = &p->parm.capture.timeperframe;
    for (int i = 0; set && i < MODES; i++)
        if (modes[i].fourcc == cam.mode.fourcc && modes[i].width == cam.mode.width &&
            (uint64_t)interval->numerator * rate_of(&modes[i]) == interval->denominator)
            cam.mode.rate = modes[i].rate;
    *interval = (struct v4l2_fract){1, rate_of(&cam.mode)};
    return 0;
}

static int query_control(struct v4l2_queryctrl *q)
{
    const control *c = find_control(q->id);
    if (!c)
        return fail(EINVAL);
    *q = (struct v4l2_queryctrl){
        .id = c->id, .minimum = c->low, .maximum = c->high, .step = 1, .default_value = c->low};
    return 0;
}

static int set_control(const struct v4l2_control *wanted)
{
    control *c = find_control(wanted->id);
    if (!c)
        return fail(EINVAL);
    const control *automatic = find_control(V4L2_CID_EXPOSURE_AUTO);
    if (c->id == V4L2_CID_EXPOSURE_ABSOLUTE && automatic &&
        automatic->value != V4L2_EXPOSURE_MANUAL)
        return fail(EACCES);
    int value = wanted->value;
    c->value = value < c->low ? c->low : value > c->high ? c->high : value;
    return 0;
}

static int get_control(struct v4l2_control *wanted)
{
    const control *c = find_control(wanted->id);
    if (!c)
        return fail(EINVAL);
    wanted->value = c->value;
    return 0;
}

static int request_buffers(struct v4l2_requestbuffers *r)
{
    cam.buffers = r->count < BUFFERS ? (int)r->count : BUFFERS;
    r->count = (uint32_t)cam.buffers;
    if (cam.memory >= 0) {
        munmap(cam.mapped, (size_t)BUFFERS * BUFFER_BYTES);
        real_close()(cam.memory);
    }
    cam.memory = memfd_create("frames", MFD_CLOEXEC);
    cam.queue = cam.done_count = 0;
    if (ftruncate(cam.memory, (off_t)BUFFERS * BUFFER_BYTES) != 0)
        return -1;
    cam.mapped = real_mmap()(NULL, (size_t)BUFFERS * BUFFER_BYTES, PROT_READ | PROT_WRITE,
                             MAP_SHARED, cam.memory, 0);
    return cam.mapped == MAP_FAILED ? -1 : 0;
}

static int query_buffer(struct v4l2_buffer *b)
{
    if (b->index >= (uint32_t)cam.buffers)
        return fail(EINVAL);
    b->length = BUFFER_BYTES;
    b->m.offset = b->index * BUFFER_BYTES;
    return 0;
}

static int queue_buffer(const struct v4l2_buffer *b)
{
    if (b->index >= (uint32_t)cam.buffers || cam.queue >= cam.buffers)
        return fail(EINVAL);
    cam.queued[cam.queue++] = (int)b->index;
    return 0;
}

static int dequeue_buffer(struct v4l2_buffer *b)
{
    if (cam.fatal)
        return fail(EIO);
    produce();
    if (cam.done_count == 0)
        return fail(EAGAIN);
    *b = cam.done[0];
    memmove(cam.done, cam.done + 1, sizeof *cam.done * (size_t)--cam.done_count);
    arm();
    return 0;
}

static int start(bool on)
{
    cam.streaming = on;
    cam.sequence = 0;
    cam.due_us = now_us() + period_us();
    cam.exposure_now = cam.exposure_next = cam.control[1].value;
    if (!on)
        cam.queue = cam.done_count = 0;
    arm();
    return 0;
}

/* Only who set the format may stream. */
static bool streams(unsigned long request)
{
    static const uint32_t own[] = {VIDIOC_REQBUFS, VIDIOC_QUERYBUF, VIDIOC_QBUF,
                                   VIDIOC_DQBUF,   VIDIOC_STREAMON, VIDIOC_STREAMOFF};
    for (size_t i = 0; i < sizeof own / sizeof own[0]; i++)
        if (own[i] == (uint32_t)request)
            return true;
    return false;
}

static int answer(int fd, unsigned long request, void *arg)
{
    if (streams(request) && fd != cam.owner)
        return fail(EBUSY);
    switch ((uint32_t)request) {
    case VIDIOC_ENUM_FMT:
        return enumerate_format(arg);
    case VIDIOC_ENUM_FRAMESIZES:
        return enumerate_size(arg);
    case VIDIOC_ENUM_FRAMEINTERVALS:
        return enumerate_interval(arg);
    case VIDIOC_G_FMT:
        return show_format(arg);
    case VIDIOC_S_FMT:
        return set_format(fd, arg);
    case VIDIOC_S_PARM:
        return stream_parameters(arg, true);
    case VIDIOC_G_PARM:
        return stream_parameters(arg, false);
    case VIDIOC_QUERYCTRL:
        return query_control(arg);
    case VIDIOC_S_CTRL:
        return set_control(arg);
    case VIDIOC_G_CTRL:
        return get_control(arg);
    case VIDIOC_REQBUFS:
        return request_buffers(arg);
    case VIDIOC_QUERYBUF:
        return query_buffer(arg);
    case VIDIOC_QBUF:
        return queue_buffer(arg);
    case VIDIOC_DQBUF:
        return dequeue_buffer(arg);
    case VIDIOC_STREAMON:
        return start(true);
    case VIDIOC_STREAMOFF:
        return start(false);
    default:
        return fail(ENOTTY);
    }
}

/* ---------------------------------------------------------------- descriptors */

static int slot_of(int fd)
{
    for (int i = 0; fd >= 0 && i < FDS; i++)
        if (cam.open[i].used && cam.open[i].fd == fd)
            return i;
    return -1;
}

static bool is_gone(int slot)
{
    return cam.open[slot].plugged != cam.plugged;
}

static bool is_video(const char *path)
{
    return path && strncmp(path, "/dev/video", 10) == 0;
}

static int open_video(const char *path)
{
    wake();
    int node = atoi(path + 10), slot = 0, fd = -1;
    while (slot < FDS && cam.open[slot].used)
        slot++;
    if (node > 1 || cam.plugged % 2 == 0 || slot == FDS)
        errno = ENOENT;
    else if (cam.noperm)
        errno = EACCES;
    else
        fd = timerfd_create(CLOCK_MONOTONIC, TFD_NONBLOCK | TFD_CLOEXEC);
    if (fd >= 0) {
        cam.open[slot].fd = fd;
        cam.open[slot].node = node;
        cam.open[slot].plugged = cam.plugged;
        cam.open[slot].used = true;
    }
    rest();
    return fd;
}

/* True when it was one of ours; the caller closes the timerfd. */
static void forget(int fd)
{
    pthread_mutex_lock(&cam.lock);
    int slot = slot_of(fd);
    if (slot >= 0)
        cam.open[slot].used = false;
    if (slot >= 0 && cam.owner == fd) {
        cam.owner = -1;
        cam.streaming = false;
        cam.queue = cam.done_count = 0;
    }
    rest();
}

/* True when the descriptor is ours; *result is then the answer. */
static bool take_ioctl(int fd, unsigned long request, void *arg, int *result)
{
    wake();
    int slot = slot_of(fd);
    if (slot >= 0 && is_gone(slot))
        *result = fail(ENODEV);
    else if (slot >= 0 && (uint32_t)request == VIDIOC_QUERYCAP)
        *result = query_capability(arg, cam.open[slot].node);
    else if (slot >= 0)
        *result = cam.open[slot].node == 0 ? answer(fd, request, arg) : fail(EINVAL);
    rest();
    return slot >= 0;
}

/* ---------------------------------------------------------------- libc's names */

int open(const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t permissions = flags & (O_CREAT | O_TMPFILE) ? va_arg(args, mode_t) : 0;
    va_end(args);
    return is_video(path) ? open_video(path) : real_open()(path, flags, permissions);
}

int openat(int folder, const char *path, int flags, ...)
{
    va_list args;
    va_start(args, flags);
    mode_t permissions = flags & (O_CREAT | O_TMPFILE) ? va_arg(args, mode_t) : 0;
    va_end(args);
    return is_video(path) ? open_video(path) : real_openat()(folder, path, flags, permissions);
}

int close(int fd)
{
    forget(fd);
    return real_close()(fd);
}

int ioctl(int fd, unsigned long request, ...)
{
    va_list args;
    va_start(args, request);
    void *arg = va_arg(args, void *);
    va_end(args);
    int result;
    return take_ioctl(fd, request, arg, &result) ? result : real_ioctl()(fd, request, arg);
}

void *mmap(void *start, size_t length, int protection, int flags, int fd, off_t offset)
{
    int memory = fd;
    if (fd >= 0 && cam.ready) {
        pthread_mutex_lock(&cam.lock);
        if (slot_of(fd) >= 0)
            memory = cam.memory;
        rest();
    }
    return real_mmap()(start, length, protection, flags, memory, offset);
}

int poll(struct pollfd *fds, nfds_t count, int timeout)
{
    wake();
    produce();
    bool gone = false;
    for (nfds_t i = 0; i < count; i++) {
        int slot = slot_of(fds[i].fd);
        bool this_gone = slot >= 0 && (is_gone(slot) || cam.pollerr);
        fds[i].revents = this_gone ? (short)(POLLERR | (cam.pollerr ? 0 : POLLHUP)) : 0;
        gone = gone || this_gone;
    }
    rest();
    return gone ? 1 : real_poll()(fds, count, timeout);
}

long syscall(long number, ...)
{
    long a[6];
    va_list args;
    va_start(args, number);
    for (int i = 0; i < 6; i++)
        a[i] = va_arg(args, long);
    va_end(args);
    int result;
    switch (number) {
    case SYS_ioctl:
        if (take_ioctl((int)a[0], (unsigned long)a[1], (void *)a[2], &result))
            return result;
        break;
    case SYS_openat:
        if (is_video((const char *)a[1]))
            return open_video((const char *)a[1]);
        break;
    case SYS_close:
        forget((int)a[0]);
        break;
    case SYS_mmap:
        return (long)mmap((void *)a[0], (size_t)a[1], (int)a[2], (int)a[3], (int)a[4], (off_t)a[5]);
    default:
        break;
    }
    return real_syscall()(number, a[0], a[1], a[2], a[3], a[4], a[5]);
}

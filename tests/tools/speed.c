/*
 * speed.c - one sweep by rimglow and by a plain OpenCV program (tests/speed/opencv.cpp) in the same run: time of a
 * frame, as a ratio, on one thread and on all cores; and what each makes of the gap, against the truth.
 *
 *   speed OPENCV_PROGRAM [TRUTH.json]
 *
 * Processor time of one thread and wall time of all; the best of three runs each. rimglow's figure is the
 * whole of rg_inspection_run: files read, frames taken, seal map and verdict.
 */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/inspection.h"

enum { REPEATS = 3 };

typedef struct measured {
    double ms; /* of a frame */
    int frames, posed;
    double width[RG_BINS];
    bool open[RG_BINS]; /* judged: not unseen */
} measured;

static double now_ms(clockid_t clock)
{
    struct timespec t;
    clock_gettime(clock, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static void fail(const char *text)
{
    fprintf(stderr, "speed: %s\n", text);
    exit(1);
}

/* ---------------------------------------------------------------- rimglow */

static void measure(const char *folder, int workers, measured *m)
{
    rg_error err = {0};
    m->ms = INFINITY;
    for (int r = 0; r < REPEATS; r++) {
        rg_inspection in;
        clockid_t clock = workers == 1 ? CLOCK_PROCESS_CPUTIME_ID : CLOCK_MONOTONIC;
        double t0 = now_ms(clock);
        if (rg_inspection_open(&in, folder, &err) != RG_OK ||
            rg_inspection_run(&in, workers, NULL, &err) != RG_OK)
            fail(err.text);
        m->ms = fmin(m->ms, (now_ms(clock) - t0) / in.sweep.frames);
        m->frames = in.sweep.frames;
        m->posed = 0;
        for (int i = 0; i < in.sweep.frames; i++)
            m->posed += in.frames[i].used;
        for (int b = 0; b < RG_BINS; b++) {
            m->width[b] = in.result.map.bin[b].width_mm;
            m->open[b] = in.result.map.bin[b].state != RG_BIN_UNSEEN;
        }
        rg_inspection_close(&in);
    }
}

/* ---------------------------------------------------------------- OpenCV */

static void write_case(const char *path, const char *folder)
{
    rg_inspection in;
    rg_error err = {0};
    FILE *f = fopen(path, "w");
    if (!f || rg_inspection_open(&in, folder, &err) != RG_OK)
        fail(f ? err.text : "the case cannot be written");
    const rg_lens *l = &in.setup.lens;
    const rg_crown *c = &in.setup.crown;
    fprintf(f, "lens %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g %.9g\n", l->fx, l->fy, l->cx, l->cy,
            l->k1, l->k2, l->p1, l->p2, l->k3);
    fprintf(f, "rim %.9g %.9g\n", in.setup.rim.outer_diameter_mm, l->fx / 110);
    fprintf(f, "crown %d %.9g %.9g %.9g\n", c->number, c->apothem_mm, c->tag_size_mm,
            c->centre_height_mm);
    for (int i = 0; i < in.sweep.frames; i++)
        if (in.sweep.frame[i].role == RG_ROLE_CLOSED)
            fprintf(f, "frame %s/%s\n", folder, in.sweep.frame[i].file);
    fclose(f);
    rg_inspection_close(&in);
}

static void run_plain(const char *program, const char *path, int threads, measured *m)
{
    char command[2400], key[32];
    m->ms = INFINITY;
    for (int r = 0; r < REPEATS; r++) {
        double value, cpu = 0, wall = 0;
        int bearing;
        snprintf(command, sizeof command, "'%.1000s' '%.1000s' %d", program, path, threads);
        FILE *f = popen(command, "r");
        while (f && fscanf(f, "%31s", key) == 1) {
            if (strcmp(key, "width") == 0) {
                if (fscanf(f, "%d %lf", &bearing, &value) != 2 || bearing < 0 || bearing >= RG_BINS)
                    fail("the OpenCV program's answer is none");
                m->width[bearing] = value;
                m->open[bearing] = true;
            } else if (fscanf(f, "%lf", &value) != 1) {
                fail("the OpenCV program's answer is none");
            } else if (strcmp(key, "wall_ms") == 0) {
                wall = value;
            } else if (strcmp(key, "frames") == 0) {
                m->frames = (int)value;
            } else if (strcmp(key, "posed") == 0) {
                m->posed = (int)value;
            } else {
                cpu += value;
            }
        }
        if (!f || pclose(f) != 0 || m->frames < 1)
            fail("the OpenCV program failed");
        m->ms = fmin(m->ms, (threads == 1 ? cpu : wall) / m->frames);
    }
}

/* ---------------------------------------------------------------- truth */

static void compare(const char *name, const measured *m, json_t *truth)
{
    double squares = 0, widest = 0, true_widest = 0;
    int at = 0, true_at = 0, n = 0;
    for (int b = 0; b < RG_BINS; b++) {
        double w = json_number_value(json_array_get(truth, (size_t)b));
        at = m->width[b] > widest ? b : at;
        widest = fmax(widest, m->width[b]);
        true_at = w > true_widest ? b : true_at;
        true_widest = fmax(true_widest, w);
        if (!m->open[b])
            continue;
        squares += (m->width[b] - w) * (m->width[b] - w);
        n++;
    }
    printf("  %-8s widest %.3f mm at %3d (truth %.3f at %d); rms error %.3f mm over %d bearings; "
           "%d frames used\n",
           name, widest, at, true_widest, true_at, sqrt(squares / n), n, m->posed);
}

int main(int argc, char **argv)
{
    const char *file = argc > 2 ? argv[2] : "samples/truth/08-G.json";
    json_error_t fault;
    char folder[600], path[] = "/tmp/rimglow-speed-XXXXXX";
    static measured ours, plain;
    if (argc < 2)
        fail("the OpenCV program is needed; make bench builds it");
    json_t *truth = json_load_file(file, 0, &fault);
    if (!truth)
        fail(fault.text);
    snprintf(folder, sizeof folder, "samples/%s",
             json_string_value(json_object_get(truth, "folder")));
    int fd = mkstemp(path), cores = rg_pool_workers(0, 64);
    if (fd < 0)
        fail("no temporary file");
    close(fd);
    write_case(path, folder);
    printf("%s, a frame of 1280x720, against a plain OpenCV program (tests/speed/opencv.cpp):\n",
           folder);
    for (int k = 0; k < 2; k++) {
        int threads = k == 0 ? 1 : cores;
        measure(folder, threads, &ours);
        run_plain(argv[1], path, threads, &plain);
        printf(
            "  %d thread%s, %s: rimglow %.2f ms, OpenCV %.2f ms: %.2f times as fast (wanted: 4)\n",
            threads, threads == 1 ? "" : "s", threads == 1 ? "processor time" : "by the wall",
            ours.ms, plain.ms, plain.ms / ours.ms);
    }
    unlink(path);
    compare("rimglow", &ours, json_object_get(truth, "w_mm"));
    compare("OpenCV", &plain, json_object_get(truth, "w_mm"));
    json_decref(truth);
    return 0;
}

/*
 * bench.c - make bench: time per frame of every stage, at 1280x720 and at
 * 1920x1080, as ratios to one full libjpeg-turbo decode (RGB, accurate integer
 * IDCT) of the same file in the same run. Ratios, because machines differ;
 * medians over the frames, each the best of three, because machines are noisy.
 *
 * The 1920x1080 frames are the sample's, enlarged 1.5 times and compressed
 * again at quality 92. The last lines time a whole sweep on all cores by the
 * clock on the wall.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <jpeglib.h>

#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/stats.h"

enum { FRAMES_MAX = 64, REPEATS = 3, STAGES = 7 };

static const char *const stage_name[STAGES] = {"full decode, RGB (the reference)",
                                               "decode of luma",
                                               "tag search (thorough)",
                                               "crown pose",
                                               "unwrapping the rim",
                                               "rim plane",
                                               "light, widths, seal map"};

typedef struct timing {
    double ms[STAGES][FRAMES_MAX];
    int frames;
} timing;

typedef struct file {
    uint8_t *bytes;
    size_t size;
} file;

static double now_ms(clockid_t clock)
{
    struct timespec t;
    clock_gettime(clock, &t);
    return (double)t.tv_sec * 1e3 + (double)t.tv_nsec * 1e-6;
}

static void keep_best(double *best, double ms, int repeat)
{
    *best = repeat == 0 ? ms : fmin(*best, ms);
}

#define CPU CLOCK_PROCESS_CPUTIME_ID

static void time_decodes(const file *f, const rg_setup *setup, timing *t, int i)
{
    for (int r = 0; r < REPEATS; r++) {
        rg_image image = {0};
        double t0 = now_ms(CPU);
        rg_decode(f->bytes, f->size, &image, NULL);
        keep_best(&t->ms[0][i], now_ms(CPU) - t0, r);
        rg_image_free(&image);
        t0 = now_ms(CPU);
        rg_decode_luma(f->bytes, f->size, setup->options.code_weights, &image, NULL);
        keep_best(&t->ms[1][i], now_ms(CPU) - t0, r);
        rg_image_free(&image);
    }
}

static bool time_crown(const rg_image *luma, const rg_linear *linear, const rg_setup *setup,
                       rg_tag_finder *finder, timing *t, int i, rg_crown_pose *pose)
{
    rg_tag_list tags;
    for (int r = 0; r < REPEATS; r++) {
        double t0 = now_ms(CPU);
        rg_tags_find(finder, luma->data, luma->width, luma->height, false, &tags, NULL);
        if (tags.count == 0)
            rg_tags_find(finder, luma->data, luma->width, luma->height, true, &tags, NULL);
        keep_best(&t->ms[2][i], now_ms(CPU) - t0, r);
        t0 = now_ms(CPU);
        rg_crown_locate(&setup->crown, &setup->options.crown, &setup->lens, luma, linear, &tags,
                        pose, NULL);
        keep_best(&t->ms[3][i], now_ms(CPU) - t0, r);
    }
    return pose->state == RG_POSE_OK;
}

static void time_strip(const rg_image *luma, const rg_linear *linear, const rg_setup *setup,
                       const rg_pose *pose, timing *t, int i)
{
    const rg_strip_options *so = &setup->options.strip;
    for (int r = 0; r < REPEATS; r++) {
        int box[4];
        rg_plane plane = {0};
        rg_strip strip = {0};
        double t0 = now_ms(CPU);
        if (rg_strip_extent(&setup->lens, pose, &setup->rim, so, box, NULL) == RG_OK &&
            rg_plane_new(&plane, luma, linear, box[0], box[1], box[2], box[3], true, NULL) == RG_OK)
            rg_strip_new(&strip, &plane, &setup->lens, pose, &setup->rim, so, NULL);
        rg_plane_free(&plane);
        keep_best(&t->ms[4][i], now_ms(CPU) - t0, r);
        rg_strip_free(&strip);
    }
}

static void time_frame(const file *f, const rg_setup *setup, rg_tag_finder *finder, timing *t,
                       int i)
{
    static const double unit[3] = {1, 0, 0};
    rg_image luma = {0};
    rg_linear linear = {0};
    rg_crown_pose pose;
    time_decodes(f, setup, t, i);
    if (rg_decode_luma(f->bytes, f->size, setup->options.code_weights, &luma, NULL) != RG_OK ||
        rg_linear_new(&linear, 1, 8, unit, NULL) != RG_OK)
        exit(1);
    if (time_crown(&luma, &linear, setup, finder, t, i, &pose))
        time_strip(&luma, &linear, setup, &pose.pose, t, i);
    rg_image_free(&luma);
    rg_linear_free(&linear);
}

/* Stages of the whole sweep, shared out over its frames. */
static void time_merge(rg_frame *frames, int count, const rg_setup *setup, timing *t)
{
    const rg_measure_options *o = &setup->options;
    double plane_ms = 0, all_ms = 0;
    for (int r = 0; r < REPEATS; r++) {
        static rg_rim_mark mark[FRAMES_MAX * 2048];
        double shift[FRAMES_MAX];
        rg_rim_plane plane;
        rg_sweep_result result;
        int marks = 0;
        double t0 = now_ms(CPU);
        for (int i = 0; i < count; i++)
            if (frames[i].used && frames[i].role == RG_FRAME_CLOSED)
                marks += rg_rim_marks(&frames[i].strip, i, o->mark_every, &o->rimline, mark + marks,
                                      2048);
        rg_rim_plane_fit(mark, marks, count, &o->rimline, &plane, shift, NULL);
        keep_best(&plane_ms, now_ms(CPU) - t0, r);
        for (int i = 0; i < count; i++)
            rg_rimlight_free(&frames[i].light);
        t0 = now_ms(CPU);
        rg_sweep_measure(setup, frames, count, &result, NULL);
        keep_best(&all_ms, now_ms(CPU) - t0, r);
    }
    for (int i = 0; i < t->frames; i++) {
        t->ms[5][i] = plane_ms / t->frames;
        t->ms[6][i] = fmax(all_ms - plane_ms, 0) / t->frames;
    }
}

static double median_of(const double *x, int n)
{
    double work[FRAMES_MAX];
    memcpy(work, x, (size_t)n * sizeof *x);
    return rg_median_inplace(work, (size_t)n);
}

static void print_timing(const timing *t, const char *title)
{
    double reference = median_of(t->ms[0], t->frames), rest = 0;
    printf("%s, %d frames, processor time, median\n", title, t->frames);
    for (int s = 0; s < STAGES; s++) {
        double ms = median_of(t->ms[s], t->frames);
        rest += s >= 3 ? ms : 0;
        printf("  %-34s %8.3f ms   %6.3f of a full decode\n", stage_name[s], ms, ms / reference);
    }
    printf("  %-34s %8.3f ms   %6.3f of a full decode\n", "all after decode and tag search", rest,
           rest / reference);
}

/* ------------------------------------------------------- 1920 x 1080 */

static uint8_t bilinear(const rg_image *im, double x, double y, int c)
{
    const uint8_t *p = im->data;
    int ix = (int)fmin(fmax(floor(x), 0), im->width - 2);
    int iy = (int)fmin(fmax(floor(y), 0), im->height - 2);
    double ax = x - ix, ay = y - iy;
    size_t at = ((size_t)iy * (size_t)im->width + (size_t)ix) * 3 + (size_t)c;
    size_t row = (size_t)im->width * 3;
    double top = p[at] * (1 - ax) + p[at + 3] * ax;
    double low = p[at + row] * (1 - ax) + p[at + row + 3] * ax;
    return (uint8_t)fmin(fmax(top * (1 - ay) + low * ay + 0.5, 0), 255);
}

static file compress(const uint8_t *rgb, int width, int height)
{
    struct jpeg_compress_struct info;
    struct jpeg_error_mgr manager;
    unsigned char *bytes = NULL;
    unsigned long size = 0;
    info.err = jpeg_std_error(&manager);
    jpeg_create_compress(&info);
    jpeg_mem_dest(&info, &bytes, &size);
    info.image_width = (JDIMENSION)width;
    info.image_height = (JDIMENSION)height;
    info.input_components = 3;
    info.in_color_space = JCS_RGB;
    jpeg_set_defaults(&info);
    jpeg_set_quality(&info, 92, TRUE);
    jpeg_start_compress(&info, TRUE);
    while (info.next_scanline < info.image_height) {
        JSAMPROW row = (JSAMPROW)(uintptr_t)(rgb + (size_t)info.next_scanline * (size_t)width * 3);
        jpeg_write_scanlines(&info, &row, 1);
    }
    jpeg_finish_compress(&info);
    jpeg_destroy_compress(&info);
    return (file){bytes, size};
}

static file enlarge(const file *f, double factor)
{
    rg_image im = {0};
    if (rg_decode(f->bytes, f->size, &im, NULL) != RG_OK || im.channels != 3)
        exit(1);
    int width = (int)(im.width * factor), height = (int)(im.height * factor);
    uint8_t *rgb = malloc((size_t)width * (size_t)height * 3);
    if (!rgb)
        exit(1);
    for (int y = 0; y < height; y++)
        for (int x = 0; x < width; x++)
            for (int c = 0; c < 3; c++)
                rgb[((size_t)y * (size_t)width + (size_t)x) * 3 + (size_t)c] =
                    bilinear(&im, (x + 0.5) / factor - 0.5, (y + 0.5) / factor - 0.5, c);
    file out = compress(rgb, width, height);
    free(rgb);
    rg_image_free(&im);
    return out;
}

static void enlarge_lens(rg_lens *lens, double factor)
{
    lens->width = (int)(lens->width * factor);
    lens->height = (int)(lens->height * factor);
    lens->fx *= factor;
    lens->fy *= factor;
    lens->cx = (lens->cx + 0.5) * factor - 0.5;
    lens->cy = (lens->cy + 0.5) * factor - 0.5;
}

/* ------------------------------------------------------------- the run */

static void bench_size(const rg_inspection *in, const file *files, double factor, const char *title)
{
    static timing t;
    rg_setup setup = in->setup;
    rg_tag_finder *finder = NULL;
    rg_frame *frames = calloc((size_t)in->sweep.frames, sizeof *frames);
    if (factor != 1)
        enlarge_lens(&setup.lens, factor);
    if (!frames || rg_tag_finder_new(&finder, &setup.options.tags, NULL) != RG_OK)
        exit(1);
    t.frames = 0;
    for (int i = 0; i < in->sweep.frames; i++) {
        const rg_sweep_frame *sf = &in->sweep.frame[i];
        file f = factor != 1 ? enlarge(&files[i], factor) : files[i];
        bool closed = sf->role == RG_ROLE_CLOSED;
        if (closed && t.frames < FRAMES_MAX)
            time_frame(&f, &setup, finder, &t, t.frames++);
        rg_frame_take(&setup, finder, f.bytes, f.size, closed ? RG_FRAME_CLOSED : RG_FRAME_WITNESS,
                      sf->exposure, &frames[i], NULL);
        if (factor != 1)
            free(f.bytes);
    }
    time_merge(frames, in->sweep.frames, &setup, &t);
    print_timing(&t, title);
    for (int i = 0; i < in->sweep.frames; i++)
        rg_frame_free(&frames[i]);
    free(frames);
    rg_tag_finder_free(finder);
}

static void bench_whole(const char *folder)
{
    double best[2] = {0, 0};
    int workers[2] = {1, rg_pool_workers(0, FRAMES_MAX)}, frames = 0;
    for (int k = 0; k < 2; k++)
        for (int r = 0; r < REPEATS; r++) {
            rg_inspection in;
            double t0 = now_ms(CLOCK_MONOTONIC);
            if (rg_inspection_open(&in, folder, NULL) != RG_OK ||
                rg_inspection_run(&in, workers[k], NULL, NULL) != RG_OK)
                exit(1);
            keep_best(&best[k], now_ms(CLOCK_MONOTONIC) - t0, r);
            frames = in.sweep.frames;
            rg_inspection_close(&in);
        }
    printf("whole sweep of %d frames at 1280x720, files to verdict, by the wall clock:\n", frames);
    for (int k = 0; k < 2; k++)
        printf("  %d worker%s %8.0f ms\n", workers[k], workers[k] == 1 ? " " : "s", best[k]);
}

int main(int argc, char **argv)
{
    const char *folder = argc > 1 ? argv[1] : "samples/PE-A-0147/08-G";
    rg_inspection in;
    rg_error err = {0};
    file files[FRAMES_MAX] = {{0}};
    if (rg_inspection_open(&in, folder, &err) != RG_OK) {
        fprintf(stderr, "bench: %s\n", err.text);
        return 1;
    }
    for (int i = 0; i < in.sweep.frames && i < FRAMES_MAX; i++) {
        char *path = rg_path_join(folder, in.sweep.frame[i].file);
        if (!path || rg_file_read(path, RG_FILE_MAX_BYTES, &files[i].bytes, &files[i].size, &err)) {
            fprintf(stderr, "bench: %s\n", err.text);
            return 1;
        }
        free(path);
    }
    bench_size(&in, files, 1, "1280 x 720");
    bench_size(&in, files, 1.5, "1920 x 1080");
    bench_whole(folder);
    for (int i = 0; i < in.sweep.frames && i < FRAMES_MAX; i++)
        free(files[i].bytes);
    rg_inspection_close(&in);
    return 0;
}

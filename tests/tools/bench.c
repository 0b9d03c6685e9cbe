/*
 * bench.c - make bench: what a frame costs, stage by stage, at three sizes, and what the program costs as a whole.
 *
 *   bench [--json] [PROGRAM [SWEEP]]
 *
 * Stages: processor time of a frame as a ratio to one full libjpeg-turbo decode (RGB, accurate integer IDCT) of the same
 * file in the same run. Ratios, because machines differ; medians over the frames, each the best of three, because
 * machines are noisy. Frames of 1920 x 1080 and 3840 x 2160 are the sample's, enlarged and compressed again at quality 92.
 *
 * The program itself (PROGRAM inspect, without pictures) is run on 6, 12 and 24 pads of 30 closed frames and a witness, on one
 * core and on all: time by the wall, processor time and the largest memory it held (ru_maxrss of the kernel).
 *
 * Beside each figure that was aimed at stands the aim. Nothing depends on the figures.
 */
#define _DEFAULT_SOURCE /* wait4 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <jansson.h>
#include <jpeglib.h>

#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/stats.h"

enum { FRAMES_MAX = 64, REPEATS = 3, PADS = 24 };

enum stage {
    FULL,
    LUMA,
    LOOK,
    THOROUGH,
    POSE,
    STRIP,
    PLANE,
    WIDTHS,
    TRACKED,
    UNTRACKED,
    WHOLE_TRACKED,
    WHOLE,
    STAGES
};

static const char *const stage_name[STAGES] = {"full decode, RGB (the reference)",
                                               "decode of luma",
                                               "tag search, small picture about it",
                                               "tag search, thorough",
                                               "crown pose",
                                               "unwrapping the rim",
                                               "rim plane",
                                               "light, widths, seal map",
                                               "a frame taken, crown near its last place",
                                               "a frame taken, crown anywhere",
                                               "whole inspection, a tracked frame's share",
                                               "whole inspection, a frame's share"};

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
        keep_best(&t->ms[FULL][i], now_ms(CPU) - t0, r);
        rg_image_free(&image);
        t0 = now_ms(CPU);
        rg_decode_luma(f->bytes, f->size, setup->options.code_weights, &image, NULL);
        keep_best(&t->ms[LUMA][i], now_ms(CPU) - t0, r);
        rg_image_free(&image);
    }
}

static bool time_crown(const rg_image *luma, const rg_linear *linear, const rg_setup *setup,
                       rg_tag_finder *finder, timing *t, int i, rg_crown_pose *pose)
{
    rg_tag_list tags;
    int box[4], margin = luma->width / 16;
    for (int r = 0; r < REPEATS; r++) {
        double t0 = now_ms(CPU);
        rg_tags_find(finder, luma->data, luma->width, luma->height, false, &tags, NULL);
        keep_best(&t->ms[THOROUGH][i], now_ms(CPU) - t0, r);
        if (tags.count == 0)
            rg_tags_find(finder, luma->data, luma->width, luma->height, true, &tags, NULL);
        t0 = now_ms(CPU);
        rg_crown_locate(&setup->crown, &setup->options.crown, &setup->lens, luma, linear, &tags,
                        pose, NULL);
        keep_best(&t->ms[POSE][i], now_ms(CPU) - t0, r);
    }
    if (pose->state != RG_POSE_OK || !rg_crown_box(&setup->crown, &setup->lens, &pose->pose, box))
        return false;
    for (int k = 0; k < 4; k++)
        box[k] += k < 2 ? -margin : margin;
    for (int r = 0; r < REPEATS; r++) {
        double t0 = now_ms(CPU);
        rg_tags_find_large(finder, luma->data, luma->width, luma->height, box,
                           luma->width / 213 < RG_TAGS_REDUCE_MAX ? luma->width / 213
                                                                  : RG_TAGS_REDUCE_MAX,
                           &tags, NULL);
        keep_best(&t->ms[LOOK][i], now_ms(CPU) - t0, r);
    }
    return true;
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
        keep_best(&t->ms[STRIP][i], now_ms(CPU) - t0, r);
        rg_strip_free(&strip);
    }
}

static void time_taking(const file *f, const rg_setup *setup, rg_tag_finder *finder,
                        const rg_pose *near, double *best)
{
    for (int r = 0; r < REPEATS; r++) {
        rg_frame frame;
        double t0 = now_ms(CPU);
        if (rg_frame_take_near(setup, finder, f->bytes, f->size, RG_FRAME_CLOSED, 1, near, &frame,
                               NULL) != RG_OK)
            exit(1);
        keep_best(best, now_ms(CPU) - t0, r);
        if (!frame.used && r == 0)
            fprintf(stderr, "bench: a frame of %d px across is not used: %s\n", frame.width,
                    frame.reason);
        rg_frame_free(&frame);
    }
}

/* last: the pose of the frame before, for the next. */
static void time_frame(const file *f, const rg_setup *setup, rg_tag_finder *finder, timing *t,
                       int i, rg_pose *last)
{
    static const double unit[3] = {1, 0, 0};
    rg_image luma = {0};
    rg_linear linear = {0};
    rg_crown_pose pose;
    time_decodes(f, setup, t, i);
    if (rg_decode_luma(f->bytes, f->size, setup->options.code_weights, &luma, NULL) != RG_OK ||
        rg_linear_new(&linear, 1, 8, unit, NULL) != RG_OK)
        exit(1);
    bool found = time_crown(&luma, &linear, setup, finder, t, i, &pose);
    if (found)
        time_strip(&luma, &linear, setup, &pose.pose, t, i);
    time_taking(f, setup, finder, NULL, &t->ms[UNTRACKED][i]);
    time_taking(f, setup, finder, i > 0 ? last : found ? &pose.pose : NULL, &t->ms[TRACKED][i]);
    if (found)
        *last = pose.pose;
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
        t->ms[PLANE][i] = plane_ms / t->frames;
        t->ms[WIDTHS][i] = fmax(all_ms - plane_ms, 0) / t->frames;
        t->ms[WHOLE_TRACKED][i] = t->ms[TRACKED][i] + all_ms / t->frames;
        t->ms[WHOLE][i] = t->ms[UNTRACKED][i] + all_ms / t->frames;
    }
}

static double median_of(const double *x, int n)
{
    double work[FRAMES_MAX];
    memcpy(work, x, (size_t)n * sizeof *x);
    return rg_median_inplace(work, (size_t)n);
}

static json_t *stages_json(const timing *t, int width, int height)
{
    json_t *stages = json_array();
    double reference = median_of(t->ms[FULL], t->frames);
    for (int s = 0; s < STAGES; s++) {
        double ms = median_of(t->ms[s], t->frames);
        json_array_append_new(stages, json_pack("{s:s, s:f, s:f}", "stage", stage_name[s], "ms", ms,
                                                "of_a_full_decode", ms / reference));
    }
    return json_pack("{s:i, s:i, s:i, s:o}", "width", width, "height", height, "frames", t->frames,
                     "stages", stages);
}

static void print_stages(const json_t *size)
{
    size_t i;
    json_t *stage;
    printf("%lld x %lld, %lld frames, processor time, median\n",
           json_integer_value(json_object_get(size, "width")),
           json_integer_value(json_object_get(size, "height")),
           json_integer_value(json_object_get(size, "frames")));
    json_array_foreach(json_object_get(size, "stages"), i, stage)
        printf("  %-42s %8.3f ms   %6.3f of a full decode\n",
               json_string_value(json_object_get(stage, "stage")),
               json_number_value(json_object_get(stage, "ms")),
               json_number_value(json_object_get(stage, "of_a_full_decode")));
}

/* ------------------------------------------------------- larger frames */

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

static json_t *bench_size(const rg_inspection *in, const file *files, double factor)
{
    static timing t;
    rg_setup setup = in->setup;
    rg_tag_finder *finder = NULL;
    rg_pose last;
    rg_frame *frames = calloc((size_t)in->sweep.frames, sizeof *frames);
    if (factor != 1)
        enlarge_lens(&setup.lens, factor);
    setup.options.crown.max_reprojection_px *= factor; /* what was one pixel is `factor` of them */
    if (!frames || rg_tag_finder_new(&finder, &setup.options.tags, NULL) != RG_OK)
        exit(1);
    t.frames = 0;
    for (int i = 0; i < in->sweep.frames; i++) {
        const rg_sweep_frame *sf = &in->sweep.frame[i];
        file f = factor != 1 ? enlarge(&files[i], factor) : files[i];
        bool closed = sf->role == RG_ROLE_CLOSED;
        if (closed && t.frames < FRAMES_MAX)
            time_frame(&f, &setup, finder, &t, t.frames, &last), t.frames++;
        rg_frame_take(&setup, finder, f.bytes, f.size, closed ? RG_FRAME_CLOSED : RG_FRAME_WITNESS,
                      sf->exposure, &frames[i], NULL);
        if (factor != 1)
            free(f.bytes);
    }
    time_merge(frames, in->sweep.frames, &setup, &t);
    json_t *result = stages_json(&t, setup.lens.width, setup.lens.height);
    for (int i = 0; i < in->sweep.frames; i++)
        rg_frame_free(&frames[i]);
    free(frames);
    rg_tag_finder_free(finder);
    return result;
}

/* ------------------------------------------------------- the program */

typedef struct cost {
    double wall_s, cpu_s, mb;
} cost;

/* A folder of links to sweeps of 31 frames: as many pads as are wanted. */
static void make_pads(const char *farm)
{
    static const char *const sweep[] = {"04-C", "05-B", "06-A", "08-G"};
    char target[600], link[600], here[300];
    if (!getcwd(here, sizeof here))
        exit(1);
    for (int i = 0; i < PADS; i++) {
        snprintf(target, sizeof target, "%s/samples/PE-A-0147/%s", here, sweep[i % 4]);
        snprintf(link, sizeof link, "%s/pad-%02d", farm, i + 1);
        if (symlink(target, link) != 0)
            exit(1);
    }
}

static void become(const char *program, const char *farm, int pads, int jobs)
{
    static char text[PADS + 2][700];
    char *argv[PADS + 10];
    int n = 0;
    snprintf(text[PADS], sizeof text[0], "%d", jobs);
    snprintf(text[PADS + 1], sizeof text[0], "%s/out", farm);
    char *const first[] = {(char *)(uintptr_t)program,
                           "inspect",
                           "-q",
                           "--pictures",
                           "none",
                           "-j",
                           text[PADS],
                           "-o",
                           text[PADS + 1]};
    for (size_t i = 0; i < sizeof first / sizeof first[0]; i++)
        argv[n++] = first[i];
    for (int i = 0; i < pads; i++) {
        snprintf(text[i], sizeof text[i], "%s/pad-%02d", farm, i + 1);
        argv[n++] = text[i];
    }
    argv[n] = NULL;
    execv(program, argv);
    _exit(127);
}

static cost run_program(const char *program, const char *farm, int pads, int jobs)
{
    struct rusage used;
    int status;
    double t0 = now_ms(CLOCK_MONOTONIC);
    pid_t child = fork();
    if (child == 0)
        become(program, farm, pads, jobs);
    /* 1: a pad leaks, as some of these do. */
    if (child < 0 || wait4(child, &status, 0, &used) != child || !WIFEXITED(status) ||
        WEXITSTATUS(status) > 2) {
        fprintf(stderr, "bench: %s did not inspect the samples\n", program);
        exit(1);
    }
    return (cost){.wall_s = (now_ms(CLOCK_MONOTONIC) - t0) / 1e3,
                  .cpu_s = (double)(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
                           1e-6 * (double)(used.ru_utime.tv_usec + used.ru_stime.tv_usec),
                  .mb = (double)used.ru_maxrss / 1024};
}

static json_t *bench_program(const char *program)
{
    static const int pads[] = {6, 12, PADS};
    char farm[] = "/tmp/rimglow-bench-XXXXXX", command[100];
    json_t *runs = json_array();
    if (!mkdtemp(farm))
        exit(1);
    make_pads(farm);
    for (int k = 0; k < 2; k++)
        for (size_t i = 0; i < sizeof pads / sizeof pads[0]; i++) {
            int jobs = k == 0 ? 1 : rg_pool_workers(0, FRAMES_MAX);
            cost c = run_program(program, farm, pads[i], jobs);
            json_array_append_new(runs, json_pack("{s:i, s:i, s:f, s:f, s:f}", "pads", pads[i],
                                                  "workers", jobs, "wall_s", c.wall_s, "cpu_s",
                                                  c.cpu_s, "memory_mb", c.mb));
        }
    snprintf(command, sizeof command, "rm -rf %s", farm);
    if (system(command) != 0)
        exit(1);
    return runs;
}

static double of_run(const json_t *runs, size_t run, const char *what)
{
    return json_number_value(json_object_get(json_array_get(runs, run), what));
}

static void print_program(const json_t *runs)
{
    printf("the program on pads of 31 frames of 1280 x 720, without pictures\n");
    for (size_t i = 0; i < json_array_size(runs); i++)
        printf("  %2.0f pads, %.0f worker%s %7.2f s by the wall, %6.2f s of processor, %5.1f MB\n",
               of_run(runs, i, "pads"), of_run(runs, i, "workers"),
               of_run(runs, i, "workers") > 1 ? "s" : " ", of_run(runs, i, "wall_s"),
               of_run(runs, i, "cpu_s"), of_run(runs, i, "memory_mb"));
}

/* ------------------------------------------------------- aims */

static void add_aim(json_t *aims, const char *name, double value, const char *unit, double most)
{
    json_array_append_new(aims, json_pack("{s:s, s:f, s:s, s:f, s:b}", "name", name, "value", value,
                                          "unit", unit, "at_most", most, "reached", value <= most));
}

static double stage_of(const json_t *size, enum stage stage, const char *what)
{
    const json_t *stages = json_object_get(size, "stages");
    return json_number_value(json_object_get(json_array_get(stages, (size_t)stage), what));
}

/* Of runs: 6, 12 and 24 pads with one worker, then with all. */
static json_t *aims_of(const json_t *hd, const json_t *runs)
{
    json_t *aims = json_array();
    double frames = 31.0 * PADS;
    add_aim(aims, "whole inspection of a tracked frame at 720p",
            stage_of(hd, WHOLE_TRACKED, "of_a_full_decode"), "full decodes", 1);
    add_aim(aims, "a live frame of 720p, one core", stage_of(hd, TRACKED, "ms"), "ms (60 a second)",
            1000.0 / 60);
    add_aim(aims, "24 pads of 30 frames, all cores", of_run(runs, 5, "wall_s"), "s", 15);
    add_aim(aims, "memory for 24 pads", of_run(runs, 5, "memory_mb"), "MB", 150);
    add_aim(aims, "time of 24 pads for four times that of 6, one core",
            of_run(runs, 2, "cpu_s") / (4 * of_run(runs, 0, "cpu_s")), "times (linear: 1)", 1.1);
    add_aim(aims, "processor time of a frame, all in", 1e3 * of_run(runs, 2, "cpu_s") / frames,
            "ms", 15000.0 * 2 / frames);
    return aims;
}

static void print_aims(const json_t *aims)
{
    size_t i;
    json_t *a;
    printf("aims\n");
    json_array_foreach(aims, i, a) printf(
        "  %-52s %8.3f  at most %7.3f %-18s %s\n", json_string_value(json_object_get(a, "name")),
        json_number_value(json_object_get(a, "value")),
        json_number_value(json_object_get(a, "at_most")),
        json_string_value(json_object_get(a, "unit")),
        json_is_true(json_object_get(a, "reached")) ? "reached" : "NOT reached");
}

/* ------------------------------------------------------- the run */

static void read_files(const rg_inspection *in, const char *folder, file *files)
{
    rg_error err = {0};
    for (int i = 0; i < in->sweep.frames && i < FRAMES_MAX; i++) {
        char *path = rg_path_join(folder, in->sweep.frame[i].file);
        if (!path || rg_file_read(path, RG_FILE_MAX_BYTES, &files[i].bytes, &files[i].size, &err)) {
            fprintf(stderr, "bench: %s\n", err.text);
            exit(1);
        }
        free(path);
    }
}

int main(int argc, char **argv)
{
    static const double factor[] = {1, 1.5, 3};
    bool machine = argc > 1 && strcmp(argv[1], "--json") == 0;
    const char *program = argc > 1 + machine ? argv[1 + machine] : "build/release/rimglow";
    const char *folder = argc > 2 + machine ? argv[2 + machine] : "samples/PE-A-0147/08-G";
    rg_inspection in;
    rg_error err = {0};
    file files[FRAMES_MAX] = {{0}};
    if (rg_inspection_open(&in, folder, &err) != RG_OK) {
        fprintf(stderr, "bench: %s\n", err.text);
        return 1;
    }
    read_files(&in, folder, files);
    json_t *sizes = json_array();
    for (size_t i = 0; i < sizeof factor / sizeof factor[0]; i++) {
        json_array_append_new(sizes, bench_size(&in, files, factor[i]));
        if (!machine)
            print_stages(json_array_get(sizes, i));
    }
    json_t *runs = bench_program(program), *aims = aims_of(json_array_get(sizes, 0), runs);
    json_t *all = json_pack("{s:o, s:o, s:o}", "frames", sizes, "program", runs, "aims", aims);
    if (machine)
        json_dumpf(all, stdout, JSON_INDENT(2) | JSON_REAL_PRECISION(6));
    else
        print_program(runs), print_aims(aims);
    json_decref(all);
    for (int i = 0; i < in.sweep.frames && i < FRAMES_MAX; i++)
        free(files[i].bytes);
    rg_inspection_close(&in);
    return 0;
}

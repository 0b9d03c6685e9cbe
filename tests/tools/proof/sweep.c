/*
 * sweep.c - rendered sweeps and their measurement. See proof.h.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "proof.h"
#include "rimglow/config.h"
#include "rimglow/file.h"

/* Camera noise like that of the sample frames: full well 10000 e, read noise 8 e. */
#define FULL_WELL  10000
#define READ_NOISE 8
#define QUALITY    92
#define DISTANCE   110.0

static void must(rg_code code, const rg_error *err)
{
    if (code == RG_OK)
        return;
    fprintf(stderr, "prove: %s\n", err->text);
    exit(1);
}

proof_random proof_seed(uint64_t seed)
{
    uint64_t z = (seed + 1) * 0x9e3779b97f4a7c15ull;
    z = (z ^ (z >> 31)) * 0xbf58476d1ce4e5b9ull;
    return (proof_random){z ? z : 1};
}

double proof_uniform(proof_random *r, double low, double high)
{
    /* Marsaglia, "Xorshift RNGs", J. Stat. Software 8(14) (2003). */
    r->state ^= r->state << 13;
    r->state ^= r->state >> 7;
    r->state ^= r->state << 17;
    return low + (high - low) * ((double)(r->state >> 11) / 9007199254740992.0);
}

double proof_normal(proof_random *r, double mean, double sigma)
{
    double u = 1 - proof_uniform(r, 0, 1), v = proof_uniform(r, 0, 1);
    return mean + sigma * sqrt(-2 * log(u)) * cos(2 * RG_PI * v);
}

int proof_not_above(const char *what, double scatter, double stated, int n)
{
    proof_compare(what, scatter, stated, n, INFINITY);
    if (scatter <= 1.2 * stated)
        return 0;
    printf("    OUT OF BOUNDS: more than is stated\n");
    return 1;
}

static char *read_text(const char *path, size_t *size)
{
    uint8_t *bytes = NULL;
    rg_error err = {0};
    must(rg_file_read(path, RG_CONFIG_MAX_BYTES, &bytes, size, &err), &err);
    return (char *)bytes;
}

void proof_setup(rg_setup *setup, double px_per_mm)
{
    size_t size;
    rg_station station;
    rg_instrument instrument;
    rg_error err = {0};
    char *text = read_text("calib/bench.ini", &size);
    must(rg_station_parse("calib/bench.ini", text, size, &station, &err), &err);
    free(text);
    text = read_text("calib/alto-loan.ini", &size);
    must(rg_instrument_parse("calib/alto-loan.ini", text, size, &instrument, &err), &err);
    free(text);
    const rg_pad *pad = rg_instrument_pad(&instrument, "G");
    rg_config_setup(&station, pad, setup);
    rg_instrument_free(&instrument);
    double f = px_per_mm * DISTANCE;
    int width = (int)(28.0 * px_per_mm), height = (int)(19.6 * px_per_mm);
    setup->lens = (rg_lens){.width = width,
                            .height = height,
                            .fx = f,
                            .fy = f,
                            .cx = 0.5 * (width - 1),
                            .cy = 0.5 * (height - 1)};
}

void proof_sweep_default(proof_sweep *sweep)
{
    *sweep = (proof_sweep){
        .sigma_px = 0.65, .glare = 0.01, .witness_exposure = 0.2, .witness_jitter = 1};
    rg_synth_scene_default(&sweep->scene);
    for (int i = 0; i < PROOF_FRAMES_MAX; i++)
        sweep->exposure[i] = 1;
}

void proof_progress(const char *what, int done, int of)
{
    if (isatty(STDERR_FILENO))
        fprintf(stderr, "\r%s %d of %d %s", what, done, of, done == of ? "\n" : "");
}

int proof_compare(const char *what, double scatter, double stated, int n, double share)
{
    double ratio = scatter / stated;
    bool out = !(fabs(ratio - 1) <= share);
    printf("  %-44s %10.3g %10.3g  %5.2f +- %.2f%s\n", what, scatter, stated, ratio,
           ratio / sqrt(2.0 * n), out ? "  OUT OF BOUNDS" : "");
    return out;
}

void proof_cameras(proof_sweep *sweep, double first_deg, const double *elevation_deg,
                   int elevations, proof_random *r)
{
    sweep->frames = 0;
    for (int i = 0; i < 6; i++)
        for (int k = 0; k < elevations && sweep->frames < PROOF_FRAMES_MAX; k++)
            sweep->camera[sweep->frames++] =
                rg_synth_camera(first_deg + 60 * i + proof_uniform(r, -2, 2),
                                elevation_deg[k] + proof_uniform(r, -0.05, 0.05),
                                DISTANCE + proof_uniform(r, -2, 2),
                                6.3 + proof_uniform(r, -0.2, 0.2), proof_uniform(r, -2, 2));
}

/* The same pad cracked open about its hinge, seen from the far side and below. */
static void render_witness(proof_sweep *s, const rg_lens *lens)
{
    rg_error err = {0};
    rg_synth_scene open = s->scene;
    open.pad.level_mm += 0.85;
    double c = open.pad.tilt_mm * cos(rg_radians(open.pad.tilt_bearing_deg)) - 0.35;
    double n = open.pad.tilt_mm * sin(rg_radians(open.pad.tilt_bearing_deg));
    open.pad.tilt_mm = hypot(c, n);
    open.pad.tilt_bearing_deg = rg_degrees(atan2(n, c));
    rg_pose camera = rg_synth_camera(182, -1.0, DISTANCE, 6.3, 0.7);
    must(rg_synth_render(&open, lens, &camera, s->sigma_px, s->glare, &s->witness, &err), &err);
}

void proof_render(proof_sweep *sweep, const rg_lens *lens)
{
    rg_error err = {0};
    for (int i = 0; i < sweep->frames; i++)
        must(rg_synth_render(&sweep->scene, lens, &sweep->camera[i], sweep->sigma_px, sweep->glare,
                             &sweep->view[i], &err),
             &err);
    render_witness(sweep, lens);
}

void proof_sweep_free(proof_sweep *sweep)
{
    for (int i = 0; i < sweep->frames; i++)
        rg_synth_view_free(&sweep->view[i]);
    rg_synth_view_free(&sweep->witness);
}

void proof_bench_new(proof_bench *bench, const rg_setup *setup)
{
    rg_error err = {0};
    *bench = (proof_bench){0};
    must(rg_tag_finder_new(&bench->finder, &setup->options.tags, &err), &err);
    must(rg_synth_sensor_new(&bench->sensor, FULL_WELL, READ_NOISE, &err), &err);
}

void proof_bench_free(proof_bench *bench)
{
    rg_tag_finder_free(bench->finder);
    rg_synth_sensor_free(bench->sensor);
}

static void photograph(const proof_bench *bench, const rg_synth_view *view, double exposure,
                       uint64_t seed, uint8_t **bytes, size_t *size)
{
    rg_error err = {0};
    rg_image image;
    must(rg_synth_expose(bench->sensor, view, exposure, seed, &image, &err), &err);
    must(rg_synth_jpeg(&image, QUALITY, bytes, size, &err), &err);
    rg_image_free(&image);
}

rg_frame proof_take(const proof_bench *bench, const rg_setup *setup, const rg_synth_view *view,
                    rg_frame_role role, double exposure, double jitter, uint64_t seed)
{
    uint8_t *bytes;
    size_t size;
    rg_frame frame;
    rg_error err = {0};
    photograph(bench, view, exposure * jitter, seed, &bytes, &size);
    must(rg_frame_take(setup, bench->finder, bytes, size, role, exposure, &frame, &err), &err);
    free(bytes);
    return frame;
}

void proof_measure(const proof_bench *bench, const rg_setup *setup, const proof_sweep *sweep,
                   uint64_t seed, rg_frame *frame, rg_sweep_result *result)
{
    rg_frame all[PROOF_FRAMES_MAX + 1];
    rg_error err = {0};
    int n = sweep->frames;
    for (int i = 0; i < n; i++)
        all[i] = proof_take(bench, setup, &sweep->view[i], RG_FRAME_CLOSED, 1, sweep->exposure[i],
                            seed * (PROOF_FRAMES_MAX + 1) + (uint64_t)i);
    all[n] = proof_take(bench, setup, &sweep->witness, RG_FRAME_WITNESS, sweep->witness_exposure,
                        sweep->witness_jitter, seed * (PROOF_FRAMES_MAX + 1) + PROOF_FRAMES_MAX);
    must(rg_sweep_measure(setup, all, n + 1, result, &err), &err);
    if (!all[n].used)
        fprintf(stderr, "prove: witness not used: %s\n", all[n].reason);
    for (int i = 0; i <= n; i++)
        if (frame && i < n)
            frame[i] = all[i];
        else
            rg_frame_free(&all[i]);
}

static void save_one(const proof_bench *bench, const rg_synth_view *view, double exposure,
                     uint64_t seed, const char *path)
{
    uint8_t *bytes;
    size_t size;
    photograph(bench, view, exposure, seed, &bytes, &size);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(bytes, 1, size, file) != size)
        fprintf(stderr, "prove: cannot write %s\n", path);
    if (file)
        fclose(file);
    free(bytes);
}

void proof_save(const proof_bench *bench, const proof_sweep *sweep, uint64_t seed,
                const char *folder)
{
    char path[512];
    mkdir(folder, 0777);
    for (int i = 0; i < sweep->frames; i++) {
        snprintf(path, sizeof path, "%s/view_%02d.jpg", folder, i);
        save_one(bench, &sweep->view[i], sweep->exposure[i],
                 seed * (PROOF_FRAMES_MAX + 1) + (uint64_t)i, path);
    }
    snprintf(path, sizeof path, "%s/witness.jpg", folder);
    save_one(bench, &sweep->witness, sweep->witness_exposure,
             seed * (PROOF_FRAMES_MAX + 1) + PROOF_FRAMES_MAX, path);
}

/*
 * traced.c - the renderer against path-traced frames: the sweeps 08-G
 * (tilt) and 06-A (a crease 10 degrees wide) are rendered with the path tracer's cameras and pad, both are measured, and
 * the light in the gap is compared frame by frame. See proof.h.
 */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "proof.h"
#include "rimglow/file.h"
#include "rimglow/stats.h"

enum { BEARINGS = 5, PAIRS_MAX = 400 };

typedef struct sweep_case {
    const char *name;
    double level, tilt;
    rg_synth_crease crease;
    int bearing[BEARINGS];
} sweep_case;

/* The path tracer's own gap parameters. */
static const sweep_case cases[] = {
    {"08-G", -0.05, 0.2, {0, 1, 0}, {155, 178, 200, 222, 245}},
    {"06-A", -0.01, 0, {75, 7, 0.07}, {71, 73, 75, 77, 79}},
};

static json_t *load_views(const sweep_case *k)
{
    json_error_t e;
    char path[300];
    snprintf(path, sizeof path, "samples/truth/%s.json", k->name);
    json_t *o = json_load_file(path, 0, &e);
    if (!o) {
        fprintf(stderr, "prove: %s: %s\n", path, e.text);
        exit(1);
    }
    return o;
}

static rg_pose pose_of(const json_t *view)
{
    rg_pose p;
    const json_t *R = json_object_get(view, "R"), *t = json_object_get(view, "t");
    for (size_t i = 0; i < 9; i++)
        p.R.m[i / 3][i % 3] = json_number_value(json_array_get(json_array_get(R, i / 3), i % 3));
    p.t = rg_vec3_make(json_number_value(json_array_get(t, 0)),
                       json_number_value(json_array_get(t, 1)),
                       json_number_value(json_array_get(t, 2)));
    return p;
}

static rg_frame take_file(const sweep_case *k, const rg_setup *setup, rg_tag_finder *finder,
                          const char *name, rg_frame_role role, double exposure)
{
    uint8_t *bytes;
    size_t size;
    rg_frame frame;
    rg_error err = {0};
    char path[300];
    snprintf(path, sizeof path, "samples/PE-A-0147/%s/%s", k->name, name);
    if (rg_file_read(path, 1 << 24, &bytes, &size, &err) != RG_OK ||
        rg_frame_take(setup, finder, bytes, size, role, exposure, &frame, &err) != RG_OK) {
        fprintf(stderr, "prove: %s\n", err.text);
        exit(1);
    }
    free(bytes);
    return frame;
}

/* Mean flux of the columns within a degree of a bearing; NAN when it was not seen. */
static double flux_at(const rg_frame *f, double b)
{
    double sum = 0;
    int n = 0;
    for (int c = 0; f->used && c < f->light.columns; c++) {
        const rg_column_light *col = &f->light.column[c];
        bool seen = col->state == RG_COLUMN_LIT || col->state == RG_COLUMN_DARK;
        if (fabs(rg_angle_between(f->strip.column[c].bearing_deg, b)) > 1 || !seen ||
            fabs(f->strip.column[c].obliquity_rad) > 0.8)
            continue;
        sum += col->flux_mm;
        n++;
    }
    return n >= 4 ? sum / n : NAN;
}

static int compare(const sweep_case *which, const rg_frame *traced, const rg_frame *own, int frames)
{
    double ratio[PAIRS_MAX], work[PAIRS_MAX], big = 0, diff2 = 0;
    size_t n = 0;
    int pairs = 0;
    printf("  bearing: camera elevation, flux path-traced / rendered (light mm)\n");
    for (int k = 0; k < BEARINGS; k++) {
        printf("    %3d:", which->bearing[k]);
        for (int i = 0; i < frames; i++) {
            double a = flux_at(&traced[i], which->bearing[k]),
                   b = flux_at(&own[i], which->bearing[k]);
            if (isnan(a) || isnan(b))
                continue;
            printf(" %+.1f %.3f/%.3f", traced[i].elevation_deg, a, b);
            big = fmax(big, a);
            diff2 += (a - b) * (a - b);
            pairs++;
            if (a > 0.03 && n < PAIRS_MAX)
                ratio[n++] = b / a;
        }
        printf("\n");
    }
    for (size_t i = 0; i < n; i++)
        work[i] = ratio[i];
    double middle = n ? rg_median_inplace(work, n) : NAN;
    double rms = pairs ? sqrt(diff2 / pairs) / big : NAN;
    bool out = !(fabs(middle - 1) <= 0.1 && rms <= 0.12);
    printf("  %d pairs; rendered over traced: median %.3f where lit, rms difference %.1f %% of the "
           "brightest%s\n",
           pairs, middle, 100 * rms, out ? "  OUT OF BOUNDS" : "");
    return out;
}

static int prove_case(const sweep_case *k)
{
    static proof_sweep sweep;
    static rg_sweep_result result, own_result;
    rg_frame own[PROOF_FRAMES_MAX], traced[PROOF_FRAMES_MAX + 1];
    rg_setup setup;
    proof_bench bench;
    rg_error err = {0};
    json_t *truth = load_views(k), *views = json_object_get(truth, "views");
    proof_setup(&setup, 30);
    setup.lens =
        (rg_lens){.width = 1280, .height = 720, .fx = 3300, .fy = 3300, .cx = 639.5, .cy = 359.5};
    proof_bench_new(&bench, &setup);
    proof_sweep_default(&sweep);
    sweep.scene.pad.level_mm = k->level;
    sweep.scene.pad.tilt_mm = k->tilt;
    sweep.scene.pad.creases = 1;
    sweep.scene.pad.crease[0] = k->crease;
    sweep.scene.pad.tilt_bearing_deg = 200;
    sweep.frames = (int)json_array_size(views);
    for (int i = 0; i < sweep.frames; i++) {
        json_t *view = json_array_get(views, (size_t)i);
        sweep.camera[i] = pose_of(view);
        traced[i] = take_file(k, &setup, bench.finder,
                              json_string_value(json_object_get(view, "file")), RG_FRAME_CLOSED, 1);
    }
    traced[sweep.frames] = take_file(k, &setup, bench.finder, "witness.jpg", RG_FRAME_WITNESS, 0.2);
    proof_render(&sweep, &setup.lens);
    proof_measure(&bench, &setup, &sweep, 1, own, &own_result);
    if (rg_sweep_measure(&setup, traced, sweep.frames + 1, &result, &err) != RG_OK) {
        fprintf(stderr, "prove: %s\n", err.text);
        exit(1);
    }
    printf("against the path tracer: %d frames of %s rendered anew\n", sweep.frames, k->name);
    printf("  widest %.4f mm path-traced, %.4f mm rendered; true %.4f mm\n",
           result.map.arcs ? result.map.arc[0].max_width_mm : 0,
           own_result.map.arcs ? own_result.map.arc[0].max_width_mm : 0,
           k->level + k->tilt + k->crease.depth_mm);
    int failures = compare(k, traced, own, sweep.frames);
    for (int i = 0; i <= sweep.frames; i++) {
        rg_frame_free(&traced[i]);
        if (i < sweep.frames)
            rg_frame_free(&own[i]);
    }
    proof_sweep_free(&sweep);
    proof_bench_free(&bench);
    json_decref(truth);
    return failures;
}

int proof_traced(void)
{
    int failures = 0;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        failures += prove_case(&cases[i]);
    return failures;
}

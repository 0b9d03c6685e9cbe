/*
 * sealed.c - the false-call trap: pads that seal, with lamps mirrored on
 * chimney and cup, under ever other cameras, lenses, lights and noise. None
 * may be called leaking, no gap claimed. See proof.h.
 */
#include <math.h>
#include <stdio.h>

#include "proof.h"
#include "rimglow/image.h"

typedef struct sums {
    int rims, leaking, sealed, undecided, with_gap, unused, rejected;
} sums;

static void draw_streaks(rg_synth_scene *s, proof_random *r)
{
    s->streaks = 2 + (int)proof_uniform(r, 0, 5);
    for (int i = 0; i < s->streaks; i++) {
        double low = proof_uniform(r, 0, 1) < 0.3 ? proof_uniform(r, -4, -0.2) : -9;
        s->streak[i] = (rg_synth_streak){.azimuth_deg = proof_uniform(r, 0, 360),
                                         .width_deg = proof_uniform(r, 0.8, 6),
                                         .light = 0.05 * exp(proof_uniform(r, 0, log(60))),
                                         .low_mm = low,
                                         .high_mm = 9};
    }
}

static void draw_scene(proof_sweep *s, rg_setup *setup, proof_random *r)
{
    rg_synth_scene *c = &s->scene;
    rg_synth_pad *p = &c->pad;
    c->outer_mm = proof_uniform(r, 9, 10.5);
    c->inner_mm = c->outer_mm - proof_uniform(r, 0.7, 1.1);
    c->pad_mm = c->outer_mm + proof_uniform(r, 1.2, 1.6);
    c->cup_mm = c->pad_mm + 0.3;
    setup->rim.outer_diameter_mm = 2 * c->outer_mm;
    setup->rim.inner_diameter_mm = 2 * c->inner_mm;
    setup->rim.pad_diameter_mm = 2 * c->pad_mm;
    p->tilt_mm = proof_uniform(r, 0, 0.015);
    p->tilt_bearing_deg = proof_uniform(r, 0, 360);
    p->saddle_mm = proof_uniform(r, 0, 0.005);
    p->saddle_bearing_deg = proof_uniform(r, 0, 360);
    p->level_mm = -p->tilt_mm - p->saddle_mm - proof_uniform(r, 0.001, 0.01);
    p->askew_x = proof_normal(r, 0, 0.003);
    p->askew_y = proof_normal(r, 0, 0.003);
    double lamp = proof_uniform(r, 0.5, 1);
    for (int k = 0; k < 3; k++)
        c->lamp[k] *= lamp;
    c->metal = proof_uniform(r, 0.03, 0.09);
    c->leather = proof_uniform(r, 0.015, 0.05);
    c->paper = proof_uniform(r, 0.1, 0.5);
    c->room = proof_uniform(r, 0.01, 0.1);
    c->key = proof_uniform(r, 0, 1) < 0.8;
    draw_streaks(c, r);
}

static void draw_camera(proof_sweep *s, rg_setup *setup, proof_random *r)
{
    static const double elevation[2] = {-0.2, 0.2};
    rg_lens *l = &setup->lens;
    s->sigma_px = proof_uniform(r, 0.5, 0.8);
    s->glare = proof_uniform(r, 0, 0.03);
    l->cx += proof_uniform(r, -10, 10);
    l->cy += proof_uniform(r, -10, 10);
    l->fy = l->fx * proof_uniform(r, 0.998, 1.002);
    l->k1 = proof_uniform(r, -0.3, 0.3);
    l->p1 = proof_uniform(r, -0.002, 0.002);
    l->p2 = proof_uniform(r, -0.002, 0.002);
    proof_cameras(s, proof_uniform(r, 0, 60), elevation, 2, r);
}

static void count(sums *s, const rg_sweep_result *result, const rg_frame *frame, int frames)
{
    const rg_seal_map *map = &result->map;
    bool gap = map->arcs > 0;
    for (int b = 0; b < RG_BINS; b++)
        gap = gap || map->bin[b].state == RG_BIN_GAP;
    s->rims++;
    s->leaking += map->verdict == RG_VERDICT_LEAKING;
    s->sealed += map->verdict == RG_VERDICT_SEALED;
    s->undecided += map->verdict == RG_VERDICT_UNDECIDED;
    s->with_gap += gap;
    for (int i = 0; i < frames; i++) {
        s->unused += !frame[i].used;
        s->rejected += frame[i].light.streaks;
    }
}

static void show(const proof_bench *bench, const proof_sweep *sweep, const rg_seal_map *map,
                 uint64_t seed, int i)
{
    char folder[64];
    snprintf(folder, sizeof folder, "build/false-call-%llu-%d", (unsigned long long)seed, i);
    proof_save(bench, sweep, seed, folder);
    printf("  rim %d: %s, %d arcs; its frames are in %s\n", i, rg_verdict_name(map->verdict),
           map->arcs, folder);
    for (int b = 0; b < RG_BINS; b++)
        if (map->bin[b].state == RG_BIN_GAP)
            printf("    bearing %d: %.4f mm, u %.4f, %d of %d frames lit\n", b,
                   map->bin[b].width_mm, map->bin[b].u_mm, map->bin[b].lit, map->bin[b].frames);
}

static void one_rim(sums *s, uint64_t seed, int i)
{
    static proof_sweep sweep;
    static rg_sweep_result result;
    rg_frame frame[PROOF_FRAMES_MAX];
    rg_setup setup;
    proof_bench bench;
    /* Each rim has its own stream, so that one can be looked at alone. */
    proof_random r = proof_seed(seed * 100000 + (uint64_t)i);
    proof_setup(&setup, proof_uniform(&r, 22, 32));
    proof_bench_new(&bench, &setup);
    rg_synth_sensor_free(bench.sensor);
    rg_error err = {0};
    if (rg_synth_sensor_new(&bench.sensor, proof_uniform(&r, 4000, 20000), proof_uniform(&r, 2, 15),
                            &err) != RG_OK)
        return;
    proof_sweep_default(&sweep);
    draw_scene(&sweep, &setup, &r);
    draw_camera(&sweep, &setup, &r);
    proof_render(&sweep, &setup.lens);
    uint64_t noise = seed * 100000 + (uint64_t)i;
    int gaps = s->with_gap;
    proof_measure(&bench, &setup, &sweep, noise, frame, &result);
    count(s, &result, frame, sweep.frames);
    if (s->with_gap > gaps || result.map.verdict == RG_VERDICT_LEAKING)
        show(&bench, &sweep, &result.map, noise, i);
    for (int k = 0; k < sweep.frames; k++)
        rg_frame_free(&frame[k]);
    proof_sweep_free(&sweep);
    proof_bench_free(&bench);
}

int proof_sealed(int rims, uint64_t seed)
{
    sums s = {0};
    for (int i = 0; i < rims; i++) {
        one_rim(&s, seed, i);
        proof_progress("sealed rims", i + 1, rims);
        if ((i + 1) % 25 == 0) {
            printf("  ... %d rims: leaking %d, with a claimed gap %d, sealed %d\n", s.rims,
                   s.leaking, s.with_gap, s.sealed);
            fflush(stdout);
        }
    }
    int false_calls = s.leaking > s.with_gap ? s.leaking : s.with_gap;
    printf("sealed rims with streaks: %d; leaking %d, with a claimed gap %d, sealed %d, undecided "
           "%d\n  frames left out %d, lights rejected %d\n",
           s.rims, s.leaking, s.with_gap, s.sealed, s.undecided, s.unused, s.rejected);
    /* C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413, no event seen. */
    if (false_calls == 0 && s.rims > 0)
        printf("  false calls 0 of %d: with 95 %% confidence at most %.2f %%\n", s.rims,
               100 * (1 - pow(0.05, 1.0 / s.rims)));
    return false_calls + (s.rims < rims);
}

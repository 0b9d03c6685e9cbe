/*
 * detection.c - gaps of known size in properly rocked sweeps: found or not, and
 * how wide they read. Two tables for a study of the probability of detection,
 * "size_mm,hit" and "size_mm,signal", where the signal of a gap that was not
 * found is below the width at which arcs begin ("<0.00500"). See proof.h.
 */
#include <math.h>
#include <stdio.h>

#include "proof.h"

enum { GAPS = 3 };

#define SMALLEST_MM 0.003
#define LARGEST_MM  0.06

typedef struct gap {
    double bearing, size, reach; /* half of the stretch that stands open, degrees */
} gap;

typedef struct sums {
    int gaps, hits, dark, false_seals, invented;
    int small, small_hits; /* up to half of the tolerance */
    int large, large_hits; /* above 0.013 mm */
} sums;

/* Three gaps well apart and away from the hinge, on a pad that touches
 * everywhere else. */
static void draw_pad(proof_sweep *s, gap g[GAPS], proof_random *r)
{
    rg_synth_pad *p = &s->scene.pad;
    p->tilt_mm = proof_uniform(r, 0, 0.008);
    p->tilt_bearing_deg = proof_uniform(r, 0, 360);
    p->level_mm = -0.002 - p->tilt_mm;
    p->creases = GAPS;
    for (int i = 0; i < GAPS; i++) {
        g[i].bearing = proof_uniform(r, 60, 85) + 95 * i;
        g[i].size = SMALLEST_MM * exp(proof_uniform(r, 0, log(LARGEST_MM / SMALLEST_MM)));
        double under =
            p->level_mm + p->tilt_mm * cos(rg_radians(g[i].bearing - p->tilt_bearing_deg));
        double depth = g[i].size - under, half = proof_uniform(r, 12, 30);
        p->crease[i] = (rg_synth_crease){g[i].bearing, half, depth};
        g[i].reach = half / RG_PI * acos(fmin(fmax(-2 * under / depth - 1, -1), 1));
    }
    double lamp = proof_uniform(r, 0.6, 1.0);
    for (int c = 0; c < 3; c++)
        s->scene.lamp[c] *= lamp;
    s->scene.metal = proof_uniform(r, 0.03, 0.08);
    s->sigma_px = proof_uniform(r, 0.55, 0.75);
}

static bool near_gap(const gap g[GAPS], int b, double margin)
{
    for (int i = 0; i < GAPS; i++)
        if (fabs(rg_angle_between(b, g[i].bearing)) < g[i].reach + margin)
            return true;
    return false;
}

static void judge(sums *s, const rg_seal_map *map, const gap *g, const rg_sealmap_options *o,
                  FILE *const table[2])
{
    double signal = 0, tolerance_mm = o->tolerance_mm;
    bool hit = false, dark = true;
    int reach = (int)fmax(g->reach, 2);
    for (int k = -reach; k <= reach; k++) {
        const rg_bin *bin = &map->bin[((int)lround(g->bearing) + k + 360) % 360];
        if (bin->state == RG_BIN_GAP) {
            hit = true;
            signal = fmax(signal, bin->width_mm);
        }
        dark = dark && bin->state == RG_BIN_SEALED;
    }
    s->gaps++;
    s->hits += hit;
    s->dark += !hit && dark;
    s->small += g->size <= 0.5 * tolerance_mm;
    s->small_hits += hit && g->size <= 0.5 * tolerance_mm;
    s->large += g->size > 0.013;
    s->large_hits += hit && g->size > 0.013;
    if (table[0])
        fprintf(table[0], "%.5f,%d\n", g->size, hit);
    if (table[1])
        fprintf(table[1], "%.5f,%s%.5f\n", g->size, hit ? "" : "<", hit ? signal : o->arc_floor_mm);
}

static void judge_bins(sums *s, const rg_seal_map *map, const gap g[GAPS], const double truth[360],
                       double tolerance_mm)
{
    for (int b = 0; b < RG_BINS; b++) {
        s->false_seals += map->bin[b].state == RG_BIN_SEALED && truth[b] > tolerance_mm;
        /* A slanting view may spill over by a few degrees. */
        s->invented += map->bin[b].state == RG_BIN_GAP && !near_gap(g, b, 6);
    }
}

/* NAME-hit.csv and NAME-signal.csv. */
static void open_tables(const char *name, FILE *table[2])
{
    static const char *const kind[2] = {"hit", "signal"};
    for (int i = 0; name && i < 2; i++) {
        char path[512];
        snprintf(path, sizeof path, "%s-%s.csv", name, kind[i]);
        table[i] = fopen(path, "w");
        if (!table[i])
            fprintf(stderr, "prove: cannot write %s\n", path);
        else
            fprintf(table[i], "size_mm,%s\n", kind[i]);
    }
}

int proof_detection(int sweeps, uint64_t seed, double px_per_mm, const char *name)
{
    static const double elevation[5] = {-0.8, -0.4, 0, 0.4, 0.8};
    static proof_sweep sweep;
    static rg_sweep_result result;
    rg_setup setup;
    proof_bench bench;
    gap g[GAPS];
    double truth[360];
    sums s = {0};
    proof_random r = proof_seed(5000 + seed);
    FILE *table[2] = {NULL, NULL};
    open_tables(name, table);
    proof_setup(&setup, px_per_mm);
    proof_bench_new(&bench, &setup);
    for (int i = 0; i < sweeps; i++) {
        proof_sweep_default(&sweep);
        draw_pad(&sweep, g, &r);
        proof_cameras(&sweep, proof_uniform(&r, 0, 60), elevation, 5, &r);
        proof_render(&sweep, &setup.lens);
        proof_measure(&bench, &setup, &sweep, seed * 1000 + (uint64_t)i, NULL, &result);
        rg_synth_widths(&sweep.scene, truth);
        double tolerance = setup.options.sealmap.tolerance_mm;
        for (int k = 0; k < GAPS; k++)
            judge(&s, &result.map, &g[k], &setup.options.sealmap, table);
        judge_bins(&s, &result.map, g, truth, tolerance);
        proof_sweep_free(&sweep);
        proof_progress("detection", i + 1, sweeps);
    }
    for (int i = 0; i < 2; i++)
        if (table[i])
            fclose(table[i]);
    proof_bench_free(&bench);
    printf("detection at %.0f px/mm: %d gaps of %.3f to %.3f mm in %d sweeps of 30 frames\n"
           "  found %d; up to half of the tolerance %d of %d, above 0.013 mm %d of %d\n"
           "  of those missed, called sealed all over %d; bearings called sealed above the "
           "tolerance %d\n"
           "  bearings with an invented gap %d\n",
           px_per_mm, s.gaps, SMALLEST_MM, LARGEST_MM, sweeps, s.hits, s.small_hits, s.small,
           s.large_hits, s.large, s.dark, s.false_seals, s.invented);
    return s.false_seals + s.invented + (s.large - s.large_hits);
}

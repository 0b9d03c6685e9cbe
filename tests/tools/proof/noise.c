/*
 * noise.c - one rendered sweep photographed again and again: the scatter of the
 * widths against the part of their uncertainty that is noise. What is stated for
 * noise holds more than noise (the background's model, the width's change and
 * the pixels' phase across a bearing), so only too much scatter is a failure.
 * See proof.h.
 */
#include <math.h>
#include <stdio.h>

#include "proof.h"

enum { ARC_VALUES = 3 };

typedef struct bin_sums {
    int n;
    double w, w2, u2; /* width, its square, stated noise squared */
} bin_sums;

/* Flux of the columns of all frames, by state: dark and lit. */
enum { COLUMNS_MAX = 600 };
typedef struct column_sums {
    int n[2];
    double flux[2], flux2[2], u2[2];
} column_sums;

typedef struct sums {
    column_sums column[PROOF_FRAMES_MAX][COLUMNS_MAX];
    bin_sums bin[RG_BINS];
    int arcs;
    double arc[ARC_VALUES], arc2[ARC_VALUES], u_end2, u_centre2;
} sums;

static void add(sums *s, const rg_seal_map *map)
{
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        if (bin->state != RG_BIN_GAP)
            continue;
        s->bin[b].n++;
        s->bin[b].w += bin->width_mm;
        s->bin[b].w2 += bin->width_mm * bin->width_mm;
        s->bin[b].u2 += bin->fit.u_noise_mm * bin->fit.u_noise_mm;
    }
    if (map->arcs != 1)
        return;
    double v[ARC_VALUES] = {map->arc[0].start_deg, map->arc[0].centre_deg, map->arc[0].end_deg};
    for (int i = 0; i < ARC_VALUES; i++) {
        s->arc[i] += v[i];
        s->arc2[i] += v[i] * v[i];
    }
    s->arcs++;
}

static void add_columns(sums *s, const rg_frame *frame, int index)
{
    for (int c = 0; c < frame->light.columns && c < COLUMNS_MAX; c++) {
        const rg_column_light *col = &frame->light.column[c];
        if (col->state != RG_COLUMN_DARK && col->state != RG_COLUMN_LIT)
            continue;
        column_sums *k = &s->column[index][c];
        int lit = col->state == RG_COLUMN_LIT;
        k->n[lit]++;
        k->flux[lit] += col->flux_mm;
        k->flux2[lit] += col->flux_mm * col->flux_mm;
        k->u2[lit] += col->u_flux_mm * col->u_flux_mm;
    }
}

static double variance(double sum, double square, int n)
{
    return fmax(square - sum * sum / n, 0) / (n - 1);
}

static int compare_columns(const sums *s, int frames, int draws, int lit, const char *what)
{
    double spread = 0, stated = 0;
    int n = 0;
    for (int i = 0; i < frames; i++)
        for (int c = 0; c < COLUMNS_MAX; c++) {
            const column_sums *k = &s->column[i][c];
            if (k->n[lit] < draws)
                continue;
            spread += variance(k->flux[lit], k->flux2[lit], draws);
            stated += k->u2[lit] / draws;
            n++;
        }
    if (n == 0)
        return 0;
    printf("  (%d columns)\n", n);
    return proof_not_above(what, sqrt(spread / n), sqrt(stated / n), draws * 100);
}

int proof_noise(int draws)
{
    static const double elevation[2] = {-0.25, 0.2};
    static const char *const name[ARC_VALUES] = {"arc's start", "arc's centre", "arc's end"};
    static proof_sweep sweep;
    static rg_sweep_result result;
    rg_frame frame[PROOF_FRAMES_MAX];
    rg_setup setup;
    proof_bench bench;
    proof_random r = proof_seed(21);
    static sums s;
    int bins = 0;
    double spread = 0, stated = 0;
    proof_setup(&setup, 25);
    proof_bench_new(&bench, &setup);
    proof_sweep_default(&sweep);
    sweep.scene.pad.creases = 1;
    sweep.scene.pad.crease[0] = (rg_synth_crease){130, 28, 0.06};
    proof_cameras(&sweep, 10, elevation, 2, &r);
    proof_render(&sweep, &setup.lens);
    for (int i = 0; i < draws; i++) {
        proof_measure(&bench, &setup, &sweep, (uint64_t)i, frame, &result);
        for (int k = 0; k < sweep.frames; k++) {
            add_columns(&s, &frame[k], k);
            rg_frame_free(&frame[k]);
        }
        add(&s, &result.map);
        proof_progress("noise", i + 1, draws);
    }
    for (int b = 0; b < RG_BINS; b++)
        if (s.bin[b].n == draws) {
            spread += variance(s.bin[b].w, s.bin[b].w2, draws);
            stated += s.bin[b].u2 / draws;
            bins++;
            if (b % 6 == 0)
                printf("    %d: w %.4f sd %.5f stated %.5f\n", b, s.bin[b].w / draws,
                       sqrt(variance(s.bin[b].w, s.bin[b].w2, draws)), sqrt(s.bin[b].u2 / draws));
        }
    printf("noise alone: %d photographs of one sweep of %d frames, gap 0.05 mm; scatter against "
           "stated u\n",
           draws, sweep.frames);
    int failures = proof_not_above("width, noise part, mm", sqrt(spread / bins),
                                   sqrt(stated / bins), draws * 3);
    failures += compare_columns(&s, sweep.frames, draws, 0, "flux of a dark column, mm");
    failures += compare_columns(&s, sweep.frames, draws, 1, "flux of a lit column, mm");
    for (int i = 0; i < ARC_VALUES && s.arcs > 1; i++)
        printf("  %-44s %10.3g\n", name[i], sqrt(variance(s.arc[i], s.arc2[i], s.arcs)));
    printf("  %d of %d photographs show one arc, %d bearings always open\n", s.arcs, draws, bins);
    proof_sweep_free(&sweep);
    proof_bench_free(&bench);
    return failures;
}

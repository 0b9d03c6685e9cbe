/*
 * parts.c - the parts of a width's uncertainty, one at a time: one input is
 * drawn from its stated distribution, all else stays, and the scatter of the
 * widths is compared with the part that is stated for that input. The draws
 * are quantiles of the normal distribution, so that few of them have its
 * variance exactly. See proof.h.
 */
#include <math.h>
#include <stdio.h>

#include <gsl/gsl_cdf.h>

#include "proof.h"

enum { DRAWS_MAX = 400 };

typedef enum input { RADIANCE, BLUR, SCALE, INPUTS } input;

typedef struct sums {
    int n;
    double w, w2, part2;
} sums;

/* The scale's part is a tenth of a micrometre, less than what pixels and rows do
 * when they fall elsewhere: it is drawn so many times as wide. */
#define SCALE_STRETCH 8

/* Changes one input of the measurement by z standard uncertainties. */
static void change(input what, double z, double blur_px, rg_setup *setup, proof_sweep *sweep)
{
    const rg_rocking_options *o = &setup->options.rocking;
    double factor = exp(z * (what == RADIANCE ? setup->options.witness.u_ln_radiance
                             : what == BLUR   ? o->u_ln_sigma
                                              : SCALE_STRETCH * o->u_scale));
    if (what == RADIANCE)
        sweep->witness_jitter = factor;
    if (what == BLUR)
        setup->options.psf_sigma_px = blur_px * factor;
    if (what == SCALE) {
        setup->crown.tag_size_mm *= factor;
        setup->crown.apothem_mm *= factor;
        setup->crown.centre_height_mm *= factor;
    }
}

static double part_of(const rg_rocking_fit *f, input what)
{
    return what == RADIANCE ? f->u_radiance_mm
           : what == BLUR   ? f->u_psf_mm
                            : SCALE_STRETCH * f->u_scale_mm;
}

static void add(sums bin[RG_BINS], const rg_seal_map *map, input what)
{
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *k = &map->bin[b];
        /* The arcs' last bearings come and go with their widths. */
        if (k->state != RG_BIN_GAP || k->width_mm < 0.02)
            continue;
        double part = part_of(&k->fit, what);
        bin[b].n++;
        bin[b].w += k->width_mm;
        bin[b].w2 += k->width_mm * k->width_mm;
        bin[b].part2 += part * part;
    }
}

static double quantile(int i, int draws)
{
    double square = 0;
    for (int k = 0; k < draws; k++)
        square += pow(gsl_cdf_ugaussian_Pinv((k + 0.5) / draws), 2);
    return gsl_cdf_ugaussian_Pinv((i + 0.5) / draws) / sqrt(square / draws);
}

static int prove_one(const proof_bench *bench, const rg_setup *setup, proof_sweep *sweep,
                     double blur_px, input what, int draws)
{
    static const char *const name[INPUTS] = {"radiance of the lamp", "blur at the rim",
                                             "scale of the print, eightfold"};
    static rg_sweep_result result;
    sums bin[RG_BINS] = {{0}};
    double spread = 0, stated = 0;
    int bins = 0;
    for (int i = 0; i < draws; i++) {
        rg_setup changed = *setup;
        sweep->witness_jitter = 1;
        change(what, quantile(i, draws), blur_px, &changed, sweep);
        proof_measure(bench, &changed, sweep, 3, NULL, &result);
        add(bin, &result.map, what);
        proof_progress(name[what], i + 1, draws);
    }
    sweep->witness_jitter = 1;
    for (int b = 0; b < RG_BINS; b++)
        if (bin[b].n == draws) {
            double mean = bin[b].w / draws;
            spread += bin[b].w2 / draws - mean * mean;
            stated += bin[b].part2 / draws;
            bins++;
        }
    if (bins == 0) {
        printf("  %s: no bearing stays open: OUT OF BOUNDS\n", name[what]);
        return 1;
    }
    /* The draws are no sample: nothing is left to chance but the noise. The scale's
     * part leaves out that the rim's near edge comes nearer by more than its axis. */
    return proof_compare(name[what], sqrt(spread / bins), sqrt(stated / bins), 1000,
                         what == SCALE ? 0.5 : 0.2);
}

int proof_parts(int draws)
{
    static const double elevation[2] = {-0.25, 0.2};
    static proof_sweep sweep;
    static rg_sweep_result result;
    rg_setup setup;
    proof_bench bench;
    proof_random r = proof_seed(31);
    int failures = 0;
    proof_setup(&setup, 25);
    proof_bench_new(&bench, &setup);
    proof_sweep_default(&sweep);
    sweep.scene.pad.creases = 1;
    sweep.scene.pad.crease[0] = (rg_synth_crease){130, 28, 0.06};
    proof_cameras(&sweep, 10, elevation, 2, &r);
    sweep.witness_exposure = 0.1; /* far from clipping */
    proof_render(&sweep, &setup.lens);
    proof_measure(&bench, &setup, &sweep, 3, NULL, &result);
    printf("parts of a width's uncertainty, gap 0.02 to 0.05 mm, %d draws each; scatter against "
           "stated u\n",
           draws);
    for (int i = 0; i < INPUTS; i++)
        failures += prove_one(&bench, &setup, &sweep, result.psf_sigma_px, (input)i, draws);
    proof_sweep_free(&sweep);
    proof_bench_free(&bench);
    return failures;
}

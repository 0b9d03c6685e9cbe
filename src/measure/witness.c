/*
 * witness.c - radiance of the lamp from the cracked-open pad.
 */
#include "rimglow/witness.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"
#include "rimglow/strip.h"

/* Sampling of the unwrapped region. */
#define STEP_DEG 0.5
#define STEP_MM  0.03

static rg_strip_options strip_options(const rg_witness_options *o)
{
    return (rg_strip_options){.step_deg = STEP_DEG,
                              .low_mm = -o->reach_mm,
                              .high_mm = -0.05,
                              .dz_mm = STEP_MM,
                              .max_obliquity_deg = o->max_obliquity_deg};
}

rg_code rg_witness_extent(const rg_lens *lens, const rg_pose *pose, const rg_rim *rim,
                          const rg_witness_options *options, int box[4], rg_error *err)
{
    rg_strip_options so = strip_options(options);
    return rg_strip_extent(lens, pose, rim, &so, box, err);
}

/* A column is lit when so many of its samples are: 0.09 mm. */
#define LIT_ROWS 3

typedef struct samples {
    size_t n;
    int *column;       /* of each sample, ascending */
    double *luminance; /* mean of the channels */
    double *channel[3];
    double *work;
} samples;

static void free_samples(samples *s)
{
    free(s->column);
    free(s->luminance);
    free(s->work);
    for (int c = 0; c < 3; c++)
        free(s->channel[c]);
}

static bool make_samples(samples *s, size_t capacity)
{
    *s = (samples){.column = rg_alloc(capacity, sizeof(int)),
                   .luminance = rg_alloc(capacity, sizeof(double)),
                   .work = rg_alloc(capacity, sizeof(double))};
    bool ok = s->column && s->luminance && s->work;
    for (int c = 0; c < 3; c++) {
        s->channel[c] = rg_alloc(capacity, sizeof(double));
        ok = ok && s->channel[c];
    }
    return ok;
}

/* The strip gives the geometry; here all three channels are sampled. */
static rg_code sample_strip(samples *s, const rg_plane *rgb, const rg_lens *lens,
                            const rg_pose *pose, const rg_rim *rim, const rg_strip_options *so,
                            rg_error *err)
{
    rg_strip strip[3] = {{0}};
    rg_code code = RG_OK;
    for (int c = 0; code == RG_OK && c < 3; c++) {
        rg_plane one = *rgb;
        one.data = rgb->data + (rgb->channels == 3 ? c : 0); /* channel c as channel 0 */
        code = rg_strip_new(&strip[c], &one, lens, pose, rim, so, err);
    }
    size_t total = (size_t)strip[0].columns * (size_t)strip[0].rows;
    if (code == RG_OK && !make_samples(s, total))
        code = rg_fail(err, RG_INTERNAL, "no memory for %zu samples of the witness frame", total);
    for (size_t i = 0; code == RG_OK && i < total; i++) {
        if (isnan(strip[0].light[i]))
            continue;
        double sum = 0;
        for (int c = 0; c < 3; c++)
            sum += s->channel[c][s->n] = strip[c].light[i];
        s->column[s->n] = (int)(i / (size_t)strip[0].rows);
        s->luminance[s->n++] = sum / 3;
    }
    for (int c = 0; c < 3; c++)
        rg_strip_free(&strip[c]);
    return code;
}

static double percentile(samples *s, double q)
{
    for (size_t i = 0; i < s->n; i++)
        s->work[i] = s->luminance[i];
    return rg_quantile_inplace(s->work, s->n, q);
}

static double median_where(samples *s, const double *value, double cut, bool above, size_t *count)
{
    size_t n = 0;
    for (size_t i = 0; i < s->n; i++)
        if ((s->luminance[i] >= cut) == above)
            s->work[n++] = value[i];
    *count = n;
    return n ? rg_median_inplace(s->work, n) : 0;
}

/* Share of the columns in the picture that are lit. */
static double lit_share(const samples *s, double cut)
{
    int seen = 0, lit = 0, high = 0;
    for (size_t i = 0; i < s->n; i++) {
        if (i == 0 || s->column[i] != s->column[i - 1]) {
            seen++;
            high = 0;
        }
        high += s->luminance[i] >= cut;
        lit += s->luminance[i] >= cut && high == LIT_ROWS;
    }
    return seen ? (double)lit / seen : 0;
}

static void judge(samples *s, const rg_rim *rim, double exposure, const rg_witness_options *o,
                  rg_witness *w)
{
    size_t lit = 0, dark = 0;
    double cut = 0.5 * percentile(s, 0.95);
    double low = median_where(s, s->luminance, cut, false, &dark);
    double high = median_where(s, s->luminance, cut, true, &lit);
    double cell = rg_radians(STEP_DEG) * rim->outer_diameter_mm / 2 * STEP_MM;
    w->area_mm2 = (double)lit * cell;
    w->share = lit_share(s, cut);
    /* A view that is lit all over shows no gap but a bright room. */
    w->contrast = dark ? high / fmax(low, 1e-4) : 1;
    if (high < o->min_light)
        snprintf(w->reason, sizeof w->reason,
                 "the witness frame shows no light: %.4f of full scale under the pad, at least "
                 "%.4f is needed; switch the leak light on at this hole or expose longer",
                 high, o->min_light);
    else if (w->contrast < o->min_contrast || w->area_mm2 < o->min_area_mm2 ||
             w->share < o->min_share)
        snprintf(w->reason, sizeof w->reason,
                 "the witness frame shows no open gap: lit area %.2f mm2, %.1f times the dark "
                 "part, over %.0f %% of the view; crack the pad open by one or two millimetres",
                 w->area_mm2, w->contrast, 100 * w->share);
    w->lit = w->reason[0] == '\0';
    w->u_ln_radiance = o->u_ln_radiance;
    for (int c = 0; c < 3; c++) {
        double light = median_where(s, s->channel[c], cut, true, &lit);
        w->clipped = w->clipped || light >= o->saturation;
        w->radiance[c] = o->slot_gain * fmax(light, 1e-6) / exposure;
    }
}

rg_code rg_witness_measure(const rg_plane *rgb, const rg_lens *lens, const rg_pose *pose,
                           const rg_rim *rim, double exposure, const rg_witness_options *options,
                           rg_witness *witness, rg_error *err)
{
    *witness = (rg_witness){0};
    samples s = {0};
    rg_strip_options so = strip_options(options);
    if (!(exposure > 0))
        return rg_fail(err, RG_BAD_DATA,
                       "witness frame: exposure %g is not above 0; state it in the sweep file",
                       exposure);
    rg_code code = sample_strip(&s, rgb, lens, pose, rim, &so, err);
    if (code == RG_OK && s.n < 100)
        code = rg_fail(err, RG_BAD_DATA,
                       "witness frame: only %zu samples of the rim lie inside the picture", s.n);
    if (code == RG_OK)
        judge(&s, rim, exposure, options, witness);
    free_samples(&s);
    return code;
}

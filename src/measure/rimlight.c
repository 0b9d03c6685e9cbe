/*
 * rimlight.c - background, light components and flux per column.
 */
#include "rimglow/rimlight.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"

/* Chimney and pad are sampled between these heights about the rim plane, mm. */
#define CHIMNEY_LOW_MM  (-0.30)
#define CHIMNEY_HIGH_MM (-0.15)
#define PAD_LOW_MM      0.08
#define PAD_HIGH_MM     0.22
/* Rows looked at for light, about the rim plane, mm. */
#define LOOK_LOW_MM  (-0.40)
#define LOOK_HIGH_MM 0.60

/* The background's step, tabulated over the rows looked at: erf is too dear
 * for every sample. */
enum { STEP_NODES = 1024 };

/* Noise and Otsu's threshold are taken from every such sample. */
enum { NOISE_STRIDE = 11 };

/* Everything below works on a band of `rows` rows about the rim plane, one
 * band for each column, beginning at strip row first[c]. */
typedef struct work {
    const rg_strip *strip;
    const rg_rimlight_options *o;
    rg_rimlight *out;
    int rows;
    int *first;                  /* [columns] strip row of the band's row 0 */
    double *rim_mm;              /* [columns] rim plane height in strip coordinates */
    float *excess;               /* [columns][rows] */
    int32_t *labels;             /* [columns][rows] of what is above the threshold */
    uint8_t *kind;               /* [components + 1]: 1 slot, 2 rejected */
    double *step, *level;        /* [columns] of the shadow edge */
    float above[STEP_NODES + 1]; /* share of the pad's side in the background */
} work;

static int row_of(const rg_strip *s, double height)
{
    double r = (height - s->low_mm) / s->dz_mm;
    return r < 0 ? 0 : r > s->rows - 1 ? s->rows - 1 : (int)lround(r);
}

static const float *light_of(const rg_strip *s, int c)
{
    return s->light + (size_t)c * (size_t)s->rows;
}

enum { WINDOW_MAX = 64 };

static double window_median(const rg_strip *s, int c, double low, double high)
{
    double v[WINDOW_MAX];
    int first = row_of(s, low), last = row_of(s, high), n = 0;
    int step = (last - first) / WINDOW_MAX + 1;
    for (int r = first; r <= last && n < WINDOW_MAX; r += step)
        v[n++] = light_of(s, c)[r];
    return n ? rg_median_inplace(v, (size_t)n) : NAN;
}

/* The light that no gap makes is chimney * (1 - above) + above * (dark +
 * ramp * (pad - dark)), above being the blurred step at the shadow edge. */
static void tabulate_step(work *w)
{
    double span = LOOK_HIGH_MM - LOOK_LOW_MM;
    for (int i = 0; i <= STEP_NODES; i++) {
        double z = LOOK_LOW_MM + span * i / STEP_NODES + w->o->shadow_mm;
        w->above[i] = (float)(0.5 * (1 + erf(z / (w->o->shadow_blur_mm * sqrt(2)))));
    }
}

static float band_height(const work *w, int c, int k)
{
    return (float)(rg_strip_height(w->strip, w->first[c] + k) - w->rim_mm[c]);
}

static void subtract_background(work *w, int c, const rg_column_light *col)
{
    const float *light = light_of(w->strip, c) + w->first[c];
    float *to = w->excess + (size_t)c * (size_t)w->rows;
    float chimney = (float)col->chimney, pad = (float)col->pad;
    float dark = fminf(0.5f * pad, chimney), z = band_height(w, c, 0);
    float scale = (float)(STEP_NODES / (LOOK_HIGH_MM - LOOK_LOW_MM));
    for (int k = 0; k < w->rows; k++, z += (float)w->strip->dz_mm) {
        int i = (int)((z - (float)LOOK_LOW_MM) * scale);
        float above = w->above[i < 0 ? 0 : i > STEP_NODES ? STEP_NODES : i];
        float ramp = z * (1 / (float)PAD_HIGH_MM);
        ramp = ramp < 0 ? 0 : ramp > 1 ? 1 : ramp;
        to[k] = light[k] - chimney * (1 - above) - above * (dark + ramp * (pad - dark));
    }
}

/* The pad's light is taken above the band of light, if there is one: a wide
 * band's upper flank lies in the lowest window and would be taken for the pad,
 * but the next window is then much darker, by more than noise makes it. */
#define FLANK_SHARE  0.4
#define FLANK_FLOORS 10

static double pad_light(const work *w, int c, double bright)
{
    const rg_strip *s = w->strip;
    double rim = w->rim_mm[c], step = PAD_HIGH_MM - PAD_LOW_MM;
    double floor = FLANK_FLOORS * w->o->threshold.floor;
    double best = window_median(s, c, rim + PAD_LOW_MM, rim + PAD_HIGH_MM);
    for (double low = PAD_LOW_MM + 0.1; low + step < 1.2; low += 0.1) {
        double next = window_median(s, c, rim + low, rim + low + step);
        bool flank = next < FLANK_SHARE * best && best - next > floor;
        if (!(best > bright) && !flank)
            break;
        best = fmin(best, next);
    }
    return best;
}

static void background_column(work *w, int c)
{
    const rg_strip *s = w->strip;
    rg_column_light *col = &w->out->column[c];
    *col = (rg_column_light){.bottom_mm = NAN, .top_mm = NAN, .middle_mm = NAN};
    double rim = w->rim_mm[c];
    int first = row_of(s, rim + LOOK_LOW_MM), last_first = s->rows - w->rows;
    w->first[c] = first > last_first ? last_first : first;
    if (!s->column[c].inside) {
        for (int k = 0; k < w->rows; k++)
            w->excess[(size_t)c * (size_t)w->rows + (size_t)k] = NAN;
        return;
    }
    col->state = RG_COLUMN_DARK;
    col->chimney = window_median(s, c, rim + CHIMNEY_LOW_MM, rim + CHIMNEY_HIGH_MM);
    col->pad = pad_light(w, c, fmax(4 * col->chimney, 0.1));
    subtract_background(w, c, col);
}

typedef struct component {
    int samples;
    int columns_touching; /* columns in which it crosses the rim line */
    int columns;          /* columns it covers at all */
    int columns_low;      /* columns in which it runs down the chimney */
    int last_column, last_touch, last_low;
} component;

/* The blurred skirt of a bright band reaches further than the band: only
 * samples above this share of the column's peak say where it is. */
#define CORE_SHARE 0.25f

static void gather_column(const work *w, int c, component *comp)
{
    const float *e = w->excess + (size_t)c * (size_t)w->rows;
    const int32_t *labels = w->labels + (size_t)c * (size_t)w->rows;
    float peak = 0;
    for (int k = 0; k < w->rows; k++)
        if (labels[k] && e[k] > peak)
            peak = e[k];
    for (int k = 0; k < w->rows; k++) {
        if (!labels[k])
            continue;
        component *p = &comp[labels[k]];
        double z = band_height(w, c, k);
        p->samples++;
        if (e[k] < CORE_SHARE * peak)
            continue;
        if (p->last_column != c + 1)
            p->columns++, p->last_column = c + 1;
        if (z > -w->o->below_mm && z < w->o->above_mm && p->last_touch != c + 1)
            p->columns_touching++, p->last_touch = c + 1;
        if (z < -w->o->below_mm && p->last_low != c + 1)
            p->columns_low++, p->last_low = c + 1;
    }
}

static void gather(const work *w, component *comp)
{
    for (int c = 0; c < w->strip->columns; c++)
        gather_column(w, c, comp);
}

static void classify(work *w, const component *comp)
{
    for (int k = 1; k <= w->out->components; k++) {
        const component *p = &comp[k];
        bool touches = 2 * p->columns_touching >= p->columns;
        bool runs_down = 2 * p->columns_low > p->columns;
        bool slot = p->samples >= w->o->min_component_px && touches && !runs_down;
        w->kind[k] = slot ? 1 : 2;
        w->out->slots += slot;
        w->out->streaks += !slot;
    }
}

static rg_code choose_threshold(work *w, rg_error *err)
{
    size_t n = (size_t)w->strip->columns * (size_t)w->rows, m = 0;
    float *sample = rg_alloc(n / NOISE_STRIDE + 1, sizeof *sample);
    if (!sample)
        return rg_fail(err, RG_INTERNAL, "no memory for the noise of a strip");
    for (size_t i = 0; i < n; i += NOISE_STRIDE)
        sample[m++] = w->excess[i];
    rg_code code = rg_threshold_choose(sample, m, &w->o->threshold, &w->out->threshold, err);
    free(sample);
    return code;
}

/* The mask in strip rows, for pictures. */
static void copy_mask(work *w)
{
    for (int c = 0; c < w->strip->columns; c++) {
        uint8_t *to = w->out->mask + (size_t)c * (size_t)w->strip->rows + w->first[c];
        const int32_t *labels = w->labels + (size_t)c * (size_t)w->rows;
        for (int k = 0; k < w->rows; k++)
            to[k] = labels[k] ? w->kind[labels[k]] : 0;
    }
}

static rg_code find_light(work *w, rg_error *err)
{
    int columns = w->strip->columns;
    rg_code code = choose_threshold(w, err);
    if (code == RG_OK)
        code = rg_hysteresis(w->excess, w->rows, columns, w->out->threshold.low,
                             w->out->threshold.high, 8, w->labels, &w->out->components, err);
    if (code != RG_OK)
        return code;
    component *comp = rg_alloc((size_t)w->out->components + 1, sizeof *comp);
    w->kind = rg_alloc((size_t)w->out->components + 1, 1);
    if (!comp || !w->kind) {
        free(comp);
        return rg_fail(err, RG_INTERNAL, "no memory for %d light components", w->out->components);
    }
    gather(w, comp);
    classify(w, comp);
    copy_mask(w);
    free(comp);
    return RG_OK;
}

static double window_mean(const rg_strip *s, int c, double low, double high)
{
    int first = row_of(s, low), last = row_of(s, high);
    double sum = 0;
    for (int r = first; r <= last; r++)
        sum += light_of(s, c)[r];
    return sum / (last - first + 1);
}

/* The step at the shadow edge: light below it less light above, and their
 * mean. */
static void edge_step(work *w, int c)
{
    double edge = w->rim_mm[c] - w->o->shadow_mm, blur = w->o->shadow_blur_mm;
    double below = window_mean(w->strip, c, edge - 4 * blur, edge - 1.5 * blur);
    double above = window_mean(w->strip, c, edge + 1.5 * blur, edge + 3 * blur);
    w->step[c] = below - above;
    w->level[c] = below + above;
}

/* Columns on either side that are looked at together: the picture's grain is
 * coarser than the step at a dark chimney. */
enum { EDGE_NEIGHBOURS = 4 };

static double mean_step(const work *w, int from, int to, double *level)
{
    double step = 0;
    int n = 0;
    *level = 0;
    for (int c = from < 0 ? 0 : from; c <= to && c < w->strip->columns; c++)
        if (w->strip->column[c].inside) {
            step += w->step[c];
            *level += w->level[c];
            n++;
        }
    *level = n ? *level / n : 0;
    return n ? step / n : 0;
}

/* Does the rim's edge show where the plane says it should? Both sides must
 * agree, or the flank of a post would be taken for the rim beside it. */
static bool edge_seen(const work *w, int c)
{
    double level, left_level, right_level;
    double left = mean_step(w, c - EDGE_NEIGHBOURS, c, &left_level);
    double right = mean_step(w, c, c + EDGE_NEIGHBOURS, &right_level);
    double step = mean_step(w, c - EDGE_NEIGHBOURS, c + EDGE_NEIGHBOURS, &level);
    /* Windows of four rows or so by nine columns, neighbours correlated. */
    double se = w->out->threshold.noise_sigma * 0.25;
    return step > w->o->edge_sigmas * se && step > w->o->edge_contrast * level &&
           left > 0.3 * step && right > 0.3 * step;
}

/* A post or its lit flank crosses the rim line as bright as it is above and
 * below; light from a slot outshines both. */
static bool outshines(const work *w, int c)
{
    const rg_strip *s = w->strip;
    const rg_column_light *col = &w->out->column[c];
    const uint8_t *m = w->out->mask + (size_t)c * (size_t)s->rows;
    float peak = 0;
    for (int r = 0; r < s->rows; r++)
        if (m[r] == 1 && light_of(s, c)[r] > peak)
            peak = light_of(s, c)[r];
    return peak > w->o->outshine * fmax(col->chimney, col->pad);
}

/* Rejected light at the very rim line: it may have been a gap's after all. */
static bool rejected_at_rim(const work *w, int c)
{
    const rg_strip *s = w->strip;
    const uint8_t *m = w->out->mask + (size_t)c * (size_t)s->rows;
    int first = row_of(s, w->rim_mm[c] - 0.5 * w->o->shadow_mm);
    int last = row_of(s, w->rim_mm[c] + w->o->window_mm);
    for (int r = first; r <= last; r++)
        if (m[r] == 2)
            return true;
    return false;
}

static void light_extent(const work *w, int c, rg_column_light *col)
{
    const rg_strip *s = w->strip;
    const uint8_t *m = w->out->mask + (size_t)c * (size_t)s->rows;
    for (int r = 0; r < s->rows; r++)
        if (m[r] == 1) {
            double z = rg_strip_height(s, r) - w->rim_mm[c];
            if (isnan(col->bottom_mm))
                col->bottom_mm = z;
            col->top_mm = z;
        }
}

/* Row at which the excess crosses `half` between rows k and k + 1. */
static double crossing(const float *e, int k, float half)
{
    return k + (double)(half - e[k]) / (double)(e[k + 1] - e[k]);
}

/* Blur and clipping widen a band to both sides alike: its middle stays. */
static double middle_of(const work *w, int c)
{
    const float *e = w->excess + (size_t)c * (size_t)w->rows;
    const uint8_t *m = w->out->mask + (size_t)c * (size_t)w->strip->rows + w->first[c];
    int first = -1, last = -1;
    float peak = 0;
    for (int k = 0; k < w->rows; k++)
        if (m[k] == 1)
            peak = fmaxf(peak, e[k]);
    for (int k = 0; k < w->rows; k++)
        if (m[k] == 1 && e[k] >= 0.5f * peak) {
            first = first < 0 ? k : first;
            last = k;
        }
    if (first < 1 || last + 1 >= w->rows)
        return NAN;
    for (int k = first; k <= last; k++)
        if (e[k] < 0.5f * peak)
            return NAN;
    double middle = 0.5 * (crossing(e, first - 1, 0.5f * peak) + crossing(e, last, 0.5f * peak));
    return rg_strip_height(w->strip, w->first[c]) + middle * w->strip->dz_mm - w->rim_mm[c];
}

static void measure_flux(const work *w, int c, rg_column_light *col)
{
    const rg_strip *s = w->strip;
    const rg_rimlight_options *o = w->o;
    double low = -o->shadow_mm, high = o->window_mm, sum = 0;
    if (col->chimney > o->glare)
        low = 0.5 * low; /* clear of the streak's own blurred edge */
    if (col->state == RG_COLUMN_LIT) {
        low = fmin(low, col->bottom_mm - o->margin_mm);
        high = fmax(high, col->top_mm + o->margin_mm);
    }
    int first = row_of(s, w->rim_mm[c] + low) - w->first[c];
    int last = row_of(s, w->rim_mm[c] + high) - w->first[c];
    const float *e = w->excess + (size_t)c * (size_t)w->rows;
    first = first < 0 ? 0 : first;
    last = last > w->rows - 1 ? w->rows - 1 : last;
    for (int k = first; k <= last; k++)
        sum += e[k];
    double dz = s->dz_mm, n = last - first + 1;
    double skirt = col->chimney > o->glare ? o->glare_skirt_mm * col->chimney : 0;
    col->flux_mm = sum * dz - skirt;
    /* Neighbouring rows share pixels: dz is about half a pixel, so the noise
     * of a sum over n rows is that of n/2 independent ones, doubled. */
    double noise = w->out->threshold.noise_sigma * dz * sqrt(2 * n);
    col->u_flux_mm = hypot(noise, o->glare_leak_mm * col->chimney);
}

static void judge_column(work *w, int c)
{
    rg_column_light *col = &w->out->column[c];
    if (col->state == RG_COLUMN_OUTSIDE)
        return;
    if (outshines(w, c)) {
        light_extent(w, c, col);
        col->state = RG_COLUMN_LIT;
    }
    if (col->state != RG_COLUMN_LIT && !edge_seen(w, c))
        col->state = RG_COLUMN_HIDDEN;
    bool glare = col->chimney > w->o->glare;
    if (glare && col->state == RG_COLUMN_LIT)
        col->state = RG_COLUMN_GLARE;
    if (col->state != RG_COLUMN_LIT && col->pad > w->o->glare)
        col->state = RG_COLUMN_GLARE;
    measure_flux(w, c, col);
    if (col->state == RG_COLUMN_LIT)
        col->middle_mm = middle_of(w, c);
    /* A streak on the chimney ends at the shadow edge: darkness above it is
     * still darkness, but light there could be the streak's. */
    bool doubtful = glare || (col->state == RG_COLUMN_DARK && rejected_at_rim(w, c));
    if (doubtful && fabs(col->flux_mm) > w->o->glare_dark * col->u_flux_mm)
        col->state = RG_COLUMN_GLARE;
}

static bool is_seen(const rg_column_light *col)
{
    return col->state == RG_COLUMN_DARK || col->state == RG_COLUMN_LIT;
}

/* Mean light of pad or chimney over the columns c..c+n-1. */
static double mean_light(const work *w, int c, int n, bool pad)
{
    double sum = 0;
    for (int i = c; i < c + n; i++)
        sum += pad ? w->out->column[i].pad : w->out->column[i].chimney;
    return sum / n;
}

/* A run of columns without an edge, between columns with one: is it a dark
 * reflection on the chimney, or something in front? Whatever stands in front
 * interrupts the pad above the rim as well, or has sharp flanks. */
static bool is_shade(const work *w, int first, int last)
{
    const rg_rimlight_options *o = w->o;
    int n = (int)lround(1 / w->strip->step_deg);
    n = n < 1 ? 1 : n;
    if (first < 2 * n || last + 2 * n >= w->strip->columns)
        return false;
    double left = mean_light(w, first - n, n, true), right = mean_light(w, last + 1, n, true);
    double noise = 3 * w->out->threshold.noise_sigma / sqrt(n);
    for (int c = first; c + n - 1 <= last + n; c++) {
        double share = (double)(c - first) / (last - first + 1);
        double expected = left + share * (right - left), pad = mean_light(w, c, n, true);
        if (fabs(pad - expected) > fmax(o->shade_pad * expected, noise))
            return false;
        double before = mean_light(w, c - n, n, false), here = mean_light(w, c, n, false);
        if (fabs(here - before) > fmax(o->shade_jump * fmax(here, before), noise))
            return false;
    }
    return true;
}

static void admit_shade(work *w)
{
    int columns = w->strip->columns, longest = (int)(w->o->shade_deg / w->strip->step_deg);
    for (int c = 1; c < columns; c++) {
        int last = c;
        if (w->out->column[c].state != RG_COLUMN_HIDDEN || !is_seen(&w->out->column[c - 1]))
            continue;
        while (last + 1 < columns && w->out->column[last + 1].state == RG_COLUMN_HIDDEN)
            last++;
        if (last + 1 < columns && last - c < longest && is_seen(&w->out->column[last + 1]) &&
            is_shade(w, c, last))
            for (int i = c; i <= last; i++)
                w->out->column[i].state = RG_COLUMN_DARK;
        c = last;
    }
}

static rg_code prepare(work *w, rg_error *err)
{
    const rg_strip *s = w->strip;
    size_t columns = (size_t)s->columns, n;
    int rows = (int)((LOOK_HIGH_MM - LOOK_LOW_MM) / s->dz_mm) + 1;
    w->rows = rows < s->rows ? rows : s->rows;
    n = columns * (size_t)w->rows;
    w->first = rg_alloc(columns, sizeof *w->first);
    w->rim_mm = rg_alloc(columns, sizeof *w->rim_mm);
    w->step = rg_alloc(columns, sizeof *w->step);
    w->level = rg_alloc(columns, sizeof *w->level);
    w->excess = rg_alloc(n, sizeof *w->excess);
    w->labels = rg_alloc(n, sizeof *w->labels);
    w->out->mask = rg_alloc(columns * (size_t)s->rows, 1);
    w->out->column = rg_alloc(columns, sizeof *w->out->column);
    w->out->columns = s->columns;
    if (w->first && w->rim_mm && w->step && w->level && w->excess && w->labels && w->out->mask &&
        w->out->column)
        return RG_OK;
    return rg_fail(err, RG_INTERNAL, "no memory to measure a strip of %d x %d samples", s->columns,
                   s->rows);
}

static void release(work *w)
{
    free(w->first);
    free(w->rim_mm);
    free(w->step);
    free(w->level);
    free(w->excess);
    free(w->labels);
    free(w->kind);
}

rg_code rg_rimlight_measure(rg_rimlight *out, const rg_strip *strip, const rg_rim_plane *plane,
                            double shift_mm, const rg_rimlight_options *options, rg_error *err)
{
    *out = (rg_rimlight){0};
    work w = {.strip = strip, .o = options, .out = out};
    rg_code code = prepare(&w, err);
    if (code == RG_OK)
        tabulate_step(&w);
    for (int c = 0; code == RG_OK && c < strip->columns; c++) {
        w.rim_mm[c] = rg_rim_plane_height(plane, strip->column[c].bearing_deg) + shift_mm;
        background_column(&w, c);
        edge_step(&w, c);
    }
    if (code == RG_OK)
        code = find_light(&w, err);
    for (int c = 0; code == RG_OK && c < strip->columns; c++)
        judge_column(&w, c);
    if (code == RG_OK)
        admit_shade(&w);
    release(&w);
    if (code != RG_OK)
        rg_rimlight_free(out);
    return code;
}

void rg_rimlight_free(rg_rimlight *light)
{
    if (!light)
        return;
    free(light->column);
    free(light->mask);
    *light = (rg_rimlight){0};
}

/*
 * rimline.c - the rim's edge in the strips and the plane through it.
 */
#include "rimglow/rimline.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"

/* Half-lengths of the two windows whose means make an edge, mm. */
#define EDGE_GAP_MM   0.03
#define EDGE_REACH_MM 0.105

static double window_mean(const double *prefix, int rows, int first, int last)
{
    if (first < 0 || last >= rows || last < first)
        return NAN;
    return (prefix[last + 1] - prefix[first]) / (last - first + 1);
}

typedef struct profile {
    int rows;
    const float *light;
    double *prefix; /* [rows + 1] running sum */
    double low, dz;
} profile;

static double height_of(const profile *p, double row)
{
    return p->low + row * p->dz;
}

/* The thin bright band: row of its lower half-level crossing, or a negative
 * number when the column has no band or a thick one. */
static double band_bottom(const profile *p, const rg_rimline_options *o)
{
    int first = (int)ceil((-o->search_mm - p->low) / p->dz);
    int last = (int)floor((o->search_mm - p->low) / p->dz), peak = -1;
    for (int r = first < 1 ? 1 : first; r <= last && r < p->rows - 1; r++)
        if (peak < 0 || p->light[r] > p->light[peak])
            peak = r;
    if (peak < 0 || p->light[peak] < o->bright)
        return -1;
    double half = 0.5 * p->light[peak];
    int below = peak, above = peak;
    while (below > 0 && p->light[below] >= half)
        below--;
    while (above < p->rows - 1 && p->light[above] >= half)
        above++;
    if (below == 0 || above == p->rows - 1 || (above - below) * p->dz > o->max_band_mm)
        return -1;
    return below + (half - p->light[below]) / (p->light[below + 1] - p->light[below]);
}

/* The falling edge with the greatest relative contrast; negative if none. */
static double falling_edge(const profile *p, const rg_rimline_options *o)
{
    int gap = (int)lround(EDGE_GAP_MM / p->dz), reach = (int)lround(EDGE_REACH_MM / p->dz),
        best = -1;
    double score = 0;
    int first = (int)ceil((-o->search_mm - p->low) / p->dz);
    int last = (int)floor((o->search_mm - p->low) / p->dz);
    for (int r = first < reach ? reach : first; r <= last; r++) {
        double below = window_mean(p->prefix, p->rows, r - reach, r - gap);
        double above = window_mean(p->prefix, p->rows, r + gap, r + reach);
        double contrast = (below - above) / (below + above + 1e-4);
        if (!(contrast > o->min_contrast))
            continue;
        /* Absolute steps decide: relative ones are at their best in noise. */
        double s = (below - above) * contrast;
        if (s > score) {
            score = s;
            best = r;
        }
    }
    /* The blurred end of a streak lies higher than the rim's own shadow. */
    double chimney = best < 0 ? 0 : window_mean(p->prefix, p->rows, best - 2 * reach, best - reach);
    return chimney > o->glare ? -1 : best;
}

static bool mark_column(const rg_strip *strip, int c, double *prefix, const rg_rimline_options *o,
                        rg_rim_mark *mark)
{
    profile p = {strip->rows, strip->light + (size_t)c * (size_t)strip->rows, prefix, strip->low_mm,
                 strip->dz_mm};
    prefix[0] = 0;
    for (int r = 0; r < p.rows; r++)
        prefix[r + 1] = prefix[r] + p.light[r];
    double row = band_bottom(&p, o);
    mark->bearing_deg = strip->column[c].bearing_deg;
    mark->lit = row >= 0;
    if (mark->lit) {
        mark->height_mm = height_of(&p, row);
        return true;
    }
    row = falling_edge(&p, o);
    mark->height_mm = height_of(&p, row) + o->shadow_mm;
    return row >= 0;
}

int rg_rim_marks(const rg_strip *strip, int frame, int every, const rg_rimline_options *options,
                 rg_rim_mark *marks, int max)
{
    int count = 0;
    double *prefix = rg_alloc((size_t)strip->rows + 1, sizeof *prefix);
    if (!prefix)
        return -1;
    if (strip->rows < 20) {
        free(prefix);
        return 0;
    }
    for (int c = every / 2; c < strip->columns && count < max; c += every) {
        marks[count].frame = frame;
        if (strip->column[c].inside && mark_column(strip, c, prefix, options, &marks[count]))
            count++;
    }
    free(prefix);
    return count;
}

double rg_rim_plane_height(const rg_rim_plane *plane, double bearing_deg)
{
    double b = rg_radians(bearing_deg);
    return plane->c + plane->a * cos(b) + plane->s * sin(b);
}

double rg_rim_plane_slope(const rg_rim_plane *plane, double bearing_deg, double radius_mm)
{
    double b = rg_radians(bearing_deg);
    return (plane->a * cos(b) + plane->s * sin(b)) / radius_mm;
}

double rg_rim_plane_slope_u(const rg_rim_plane *plane, double bearing_deg, double radius_mm)
{
    double b = rg_radians(bearing_deg), g[3] = {0, cos(b), sin(b)}, sum = 0;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            sum += g[i] * plane->covariance[i][j] * g[j];
    return sqrt(fmax(sum, 0)) / radius_mm;
}

/* Solves the symmetric 3x3 system by Cramer's rule; false when singular. */
static bool solve3(double m[3][3], const double v[3], double x[3])
{
    rg_mat3 a;
    for (int i = 0; i < 3; i++)
        for (int j = 0; j < 3; j++)
            a.m[i][j] = m[i][j];
    double det = rg_mat3_det(a);
    if (fabs(det) < 1e-12)
        return false;
    for (int k = 0; k < 3; k++) {
        rg_mat3 b = a;
        for (int i = 0; i < 3; i++)
            b.m[i][k] = v[i];
        x[k] = rg_mat3_det(b) / det;
    }
    return true;
}

typedef struct sums {
    double m[3][3], v[3];
} sums;

static void add_mark(sums *s, double bearing_deg, double height, double weight)
{
    double b = rg_radians(bearing_deg), g[3] = {1, cos(b), sin(b)};
    for (int i = 0; i < 3; i++) {
        s->v[i] += weight * g[i] * height;
        for (int j = 0; j < 3; j++)
            s->m[i][j] += weight * g[i] * g[j];
    }
}

static bool plane_of(sums *s, rg_rim_plane *plane)
{
    double x[3];
    if (!solve3(s->m, s->v, x))
        return false;
    plane->c = x[0], plane->a = x[1], plane->s = x[2];
    return true;
}

static uint32_t next_random(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u; /* Knuth, TAOCP 2, 3.3.4: full period mod 2^32 */
    return *state >> 8;
}

/* A mark on the thinned set that trial planes are scored on. */
typedef struct vote {
    float cosine, sine, height;
    bool lit;
} vote;

enum { VOTES = 600 };

static int thin(const rg_rim_mark *marks, int count, vote votes[VOTES])
{
    int n = count < VOTES ? count : VOTES;
    for (int i = 0; i < n; i++) {
        const rg_rim_mark *m = &marks[(int)((int64_t)i * count / n)];
        double b = rg_radians(m->bearing_deg);
        votes[i] = (vote){(float)cos(b), (float)sin(b), (float)m->height_mm, m->lit};
    }
    return n;
}

/* Through a gap that is open on both sides one looks out: then light begins above the rim, in many views at the
 * same height. It never begins below the rim, so such a mark speaks against the plane as loudly as two for it: of three
 * elevations, one from above shows the rim. */
static int support(const vote *votes, int count, const rg_rim_plane *p, double inlier)
{
    float c = (float)p->c, a = (float)p->a, s = (float)p->s, near = (float)inlier;
    int n = 0;
    for (int i = 0; i < count; i++) {
        float r = votes[i].height - c - a * votes[i].cosine - s * votes[i].sine;
        n += r < near && r > -near;
        n -= votes[i].lit && r < -2 * near ? 2 : 0;
    }
    return n;
}

enum { TRIALS = 240 };

static bool consensus(const rg_rim_mark *marks, int count, double inlier, rg_rim_plane *best)
{
    uint32_t state = 20011u;
    vote votes[VOTES];
    int most = 0, voters = thin(marks, count, votes);
    /* Scored on a thinned set: the winner is refined on all marks anyway. */
    for (int t = 0; t < TRIALS; t++) {
        sums s = {{{0}}, {0}};
        rg_rim_plane p = {0};
        for (int k = 0; k < 3; k++) {
            const rg_rim_mark *m = &marks[next_random(&state) % (uint32_t)count];
            add_mark(&s, m->bearing_deg, m->height_mm, 1);
        }
        if (fabs(s.m[0][0]) < 1 || !plane_of(&s, &p) || fabs(p.c) > 5 || hypot(p.a, p.s) > 5)
            continue;
        int n = support(votes, voters, &p, inlier);
        if (n > most) {
            most = n;
            best->c = p.c, best->a = p.a, best->s = p.s;
        }
    }
    return most >= 3;
}

static void refine(const rg_rim_mark *marks, int count, const double *shift, double cutoff,
                   rg_rim_plane *plane)
{
    sums s = {{{0}}, {0}};
    for (int i = 0; i < count; i++) {
        double z = marks[i].height_mm - (shift ? shift[marks[i].frame] : 0);
        double r = (z - rg_rim_plane_height(plane, marks[i].bearing_deg)) / cutoff;
        if (fabs(r) < 1)
            add_mark(&s, marks[i].bearing_deg, z, (1 - r * r) * (1 - r * r));
    }
    rg_rim_plane p = *plane;
    if (plane_of(&s, &p))
        *plane = p;
}

static rg_code shifts_of(const rg_rim_mark *marks, int count, int frames, const rg_rim_plane *plane,
                         const rg_rimline_options *o, double *shift, rg_error *err)
{
    double *work = rg_alloc((size_t)count, sizeof *work);
    if (!work)
        return rg_fail(err, RG_INTERNAL, "no memory for %d rim marks", count);
    for (int f = 0; f < frames; f++) {
        size_t n = 0;
        for (int i = 0; i < count; i++) {
            double r = marks[i].height_mm - rg_rim_plane_height(plane, marks[i].bearing_deg);
            if (marks[i].frame == f && fabs(r) < o->inlier_mm)
                work[n++] = r;
        }
        double m = n >= 8 ? rg_median_inplace(work, n) : 0;
        shift[f] = fmin(fmax(m, -o->max_shift_mm), o->max_shift_mm);
    }
    free(work);
    return RG_OK;
}

/* Marks that carry news of their own in one frame: the rest share the pose's
 * error and the same reflections. */
#define INDEPENDENT_MARKS 4

static void find_covariance(const rg_rim_mark *marks, int count, int frames,
                            const rg_rimline_options *o, rg_rim_plane *plane)
{
    sums s = {{{0}}, {0}};
    for (int i = 0; i < count; i++)
        if (fabs(marks[i].height_mm - rg_rim_plane_height(plane, marks[i].bearing_deg)) <
            2 * o->inlier_mm)
            add_mark(&s, marks[i].bearing_deg, 0, 1);
    int used = 0;
    for (int f = 0; f < frames; f++) {
        bool any = false;
        for (int i = 0; i < count && !any; i++)
            any = marks[i].frame == f;
        used += any;
    }
    double share = fmin(1, (double)INDEPENDENT_MARKS * used / fmax(plane->inliers, 1));
    for (int k = 0; k < 3; k++) {
        double unit[3] = {k == 0, k == 1, k == 2}, column[3] = {0, 0, 0};
        bool ok = solve3(s.m, unit, column);
        for (int i = 0; i < 3; i++)
            plane->covariance[i][k] =
                ok ? column[i] * plane->sigma_mm * plane->sigma_mm / share : i == k;
    }
}

static void describe(const rg_rim_mark *marks, int count, const double *shift,
                     const rg_rimline_options *o, rg_rim_plane *plane)
{
    double sum = 0;
    bool sector[72] = {false};
    int seen = 0;
    plane->inliers = plane->above = 0;
    for (int i = 0; i < count; i++) {
        double r = marks[i].height_mm - (shift ? shift[marks[i].frame] : 0) -
                   rg_rim_plane_height(plane, marks[i].bearing_deg);
        plane->above += marks[i].lit && r > 2 * o->inlier_mm;
        if (fabs(r) >= o->inlier_mm)
            continue;
        plane->inliers++;
        sum += r * r;
        sector[(int)(marks[i].bearing_deg / 5) % 72] = true;
    }
    for (int i = 0; i < 72; i++)
        seen += sector[i];
    plane->bearing_span_deg = 5.0 * seen;
    plane->sigma_mm = plane->inliers ? sqrt(sum / plane->inliers) : NAN;
    int silent = plane->above < count / 2 ? plane->above : count / 2;
    plane->found = plane->inliers >= 30 && plane->inliers >= (count - silent) / 3;
}

rg_code rg_rim_plane_fit(const rg_rim_mark *marks, int count, int frames,
                         const rg_rimline_options *options, rg_rim_plane *plane, double *shift,
                         rg_error *err)
{
    *plane = (rg_rim_plane){.marks = count, .sigma_mm = NAN};
    for (int f = 0; shift && f < frames; f++)
        shift[f] = 0;
    if (count < 30 || !consensus(marks, count, options->inlier_mm, plane))
        return RG_OK;
    for (int i = 0; i < 4; i++)
        refine(marks, count, NULL, 2 * options->inlier_mm, plane);
    if (shift) {
        for (int i = 0; i < 3; i++) {
            rg_code code = shifts_of(marks, count, frames, plane, options, shift, err);
            if (code != RG_OK)
                return code;
            refine(marks, count, shift, 1.5 * options->inlier_mm, plane);
        }
    }
    describe(marks, count, shift, options, plane);
    find_covariance(marks, count, frames, options, plane);
    return RG_OK;
}

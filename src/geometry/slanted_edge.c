/*
 * slanted_edge.c - e-SFR of one edge. See slanted_edge.h for the method.
 *
 * A steep edge is crossed by pixel rows, a flat one by pixel columns; "line" is
 * either, "across" the coordinate along it.
 */
#include "rimglow/slanted_edge.h"

#include <gsl/gsl_fft_real.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/stats.h"

enum {
    OVERSAMPLING = 4,
    TRANSFORM = 1024, /* 256 px of quarter pixels: steps of 1/256 cycle per pixel */
    FEWEST_LINES = 16,
    FIT_PASSES = 4,
    LINES_MAX = RG_IMAGE_MAX_SIDE
};

static const double LEAST_STEP = 0.01;    /* linear light */
static const double LEAST_RATIO = 0.2;    /* step / (black + white) */
static const double CLIPPED_SHARE = 0.02; /* of the region's pixels */
static const double LEAST_TRAVEL = 1.0;   /* px that the edge walks over its lines */
static const double MOST_SLANT = 40.0;    /* degrees */
static const double EMPTY_SHARE = 0.06;   /* of the bins */
static const double MOST_CROOKED = 0.5;   /* px rms */
static const double FLAT_SHARE = 0.5;     /* of the window */
static const double LEAST_RESOLVED = 2.0; /* steps of the resolution below MTF50 */

typedef struct region {
    const rg_plane *light;
    bool steep;         /* lines are rows */
    int first, lines;   /* picture coordinate of the first line */
    double at, slope;   /* across = at + slope * (line - first) */
    double half_across; /* half width along a line */
    double half_width;  /* along the normal */
    double cosine;
    double sign;   /* +1: brighter with growing across */
    double *place; /* [lines] where the edge crosses; NAN: not found */
    double *work;  /* [lines] */
} region;

static double light_at(const region *r, int line, int across)
{
    int x = r->steep ? across : line, y = r->steep ? line : across;
    const rg_plane *p = r->light;
    size_t at = (size_t)(y - p->y0) * (size_t)p->width + (size_t)(x - p->x0);
    return (double)p->data[at * (size_t)p->channels];
}

static double edge_at(const region *r, int i)
{
    return r->at + r->slope * i;
}

static bool line_inside(const region *r, int i)
{
    const rg_plane *p = r->light;
    int line = r->first + i;
    double low = edge_at(r, i) - r->half_across - 1, high = edge_at(r, i) + r->half_across + 1;
    int line0 = r->steep ? p->y0 : p->x0, lines = r->steep ? p->height : p->width;
    int across0 = r->steep ? p->x0 : p->y0, size = r->steep ? p->width : p->height;
    return line >= line0 && line < line0 + lines && low >= across0 && high <= across0 + size - 1;
}

/* Lays the region; false when it has too few lines or leaves the picture. */
static rg_slanted_state lay(const rg_slanted_query *q, region *r, rg_slanted_edge *edge)
{
    double dx = q->to.x - q->from.x, dy = q->to.y - q->from.y;
    r->steep = fabs(dy) >= fabs(dx);
    double along = r->steep ? dy : dx, over = r->steep ? dx : dy;
    double from = r->steep ? q->from.y : q->from.x, to = r->steep ? q->to.y : q->to.x;
    double begin = ceil(fmin(from, to)), end = floor(fmax(from, to));
    if (!(end - begin + 1 >= FEWEST_LINES) || end - begin + 1 > LINES_MAX)
        return RG_SLANTED_SHORT;
    r->first = (int)begin;
    r->lines = (int)(end - begin) + 1;
    r->slope = over / along;
    r->at = (r->steep ? q->from.x : q->from.y) + r->slope * (begin - from);
    r->half_width = q->half_width_px;
    r->cosine = 1 / hypot(1, r->slope);
    r->half_across = r->half_width / r->cosine;
    edge->slant_deg = rg_degrees(atan(fabs(r->slope)));
    edge->resolution = 1 / (2 * r->half_width);
    if (edge->slant_deg > MOST_SLANT)
        return RG_SLANTED_DIAGONAL;
    return line_inside(r, 0) && line_inside(r, r->lines - 1) ? RG_SLANTED_OK : RG_SLANTED_OUTSIDE;
}

/* Levels of the outer quarters of either side, and the share that is clipped. */
static rg_slanted_state weigh(region *r, double saturation, rg_slanted_edge *edge)
{
    double sum[2] = {0}, count[2] = {0}, clipped = 0, all = 0;
    for (int i = 0; i < r->lines; i++) {
        double e = edge_at(r, i);
        for (int s = (int)ceil(e - r->half_across); s <= (int)floor(e + r->half_across); s++) {
            double v = light_at(r, r->first + i, s);
            if (!isfinite(v))
                return RG_SLANTED_OUTSIDE;
            all++;
            clipped += v >= saturation;
            if (fabs(s - e) < 0.5 * r->half_across)
                continue;
            sum[s > e] += v;
            count[s > e]++;
        }
    }
    double low = sum[0] / count[0], high = sum[1] / count[1];
    r->sign = high > low ? 1 : -1;
    edge->black = fmin(low, high);
    edge->white = fmax(low, high);
    double step = edge->white - edge->black;
    if (!(step > LEAST_STEP && step > LEAST_RATIO * (edge->white + edge->black)))
        return RG_SLANTED_FLAT;
    return clipped > CLIPPED_SHARE * all ? RG_SLANTED_SATURATED : RG_SLANTED_OK;
}

/* Centroid of the derivative under a Hamming window about the fitted line: where
 * the edge crosses line i. NAN where the line does not carry the step. */
static double crossing(const region *r, int i, double step)
{
    double e = edge_at(r, i), h = r->half_across, sum = 0, moment = 0;
    for (int s = (int)ceil(e - h); s + 1 <= (int)floor(e + h); s++) {
        double u = s + 0.5 - e;
        double window = 0.54 + 0.46 * cos(RG_PI * u / h);
        double rise =
            r->sign * window * (light_at(r, r->first + i, s + 1) - light_at(r, r->first + i, s));
        sum += rise;
        moment += rise * u;
    }
    double shift = moment / sum;
    return sum > 0.5 * step && fabs(shift) < 0.5 * h ? e + shift : NAN;
}

/* Drops the places that lie farther than `reach` from the present line plus
 * `middle`: a post's edge in front of the border's. */
static void drop_far(region *r, double middle, double reach)
{
    for (int i = 0; i < r->lines; i++)
        if (!(fabs(r->place[i] - edge_at(r, i) - middle) <= reach))
            r->place[i] = NAN;
}

/* Least squares through the places; returns their number. */
static int fit_line(region *r, double *rms)
{
    double n = 0, si = 0, sp = 0, sii = 0, sip = 0, spp = 0;
    for (int i = 0; i < r->lines; i++) {
        double p = r->place[i] - edge_at(r, i);
        if (!isfinite(p))
            continue;
        n++, si += i, sp += p, sii += (double)i * i, sip += i * p, spp += p * p;
    }
    double det = n * sii - si * si;
    if (n < FEWEST_LINES || !(det > 0))
        return 0;
    double slope = (n * sip - si * sp) / det, at = (sp - slope * si) / n;
    *rms = sqrt(fmax(spp - at * sp - slope * sip, 0) / n);
    r->at += at;
    r->slope += slope;
    r->cosine = 1 / hypot(1, r->slope);
    return (int)n;
}

/* Median of the places about the present line, and its scatter. */
static size_t centre_of(region *r, double *middle, double *sigma)
{
    size_t n = 0;
    for (int pass = 0; pass < 2; pass++) {
        n = 0;
        for (int i = 0; i < r->lines; i++)
            if (isfinite(r->place[i]))
                r->work[n++] = r->place[i] - edge_at(r, i);
        if (n == 0)
            return 0;
        *(pass ? sigma : middle) =
            pass ? rg_mad_sigma_inplace(r->work, n) : rg_median_inplace(r->work, n);
    }
    return n;
}

static rg_slanted_state find_line(region *r, rg_slanted_edge *edge)
{
    for (int pass = 0; pass < FIT_PASSES; pass++) {
        double middle = 0, sigma = 0;
        for (int i = 0; i < r->lines; i++) {
            if (!line_inside(r, i))
                return RG_SLANTED_OUTSIDE;
            r->place[i] = crossing(r, i, edge->white - edge->black);
        }
        if (centre_of(r, &middle, &sigma) < FEWEST_LINES)
            return RG_SLANTED_CROOKED;
        drop_far(r, middle, fmax(4 * sigma, 0.1));
        edge->lines = fit_line(r, &edge->line_rms_px);
        if (2 * edge->lines < r->lines)
            return RG_SLANTED_CROOKED;
    }
    edge->slant_deg = rg_degrees(atan(fabs(r->slope)));
    if (edge->line_rms_px > MOST_CROOKED)
        return RG_SLANTED_CROOKED;
    return fabs(r->slope) * (r->lines - 1) < LEAST_TRAVEL ? RG_SLANTED_STRAIGHT : RG_SLANTED_OK;
}

/* Fills esf[0..bins-1], bin i at distance (i + 0.5) / 4 - W from the edge. */
static rg_slanted_state spread(const region *r, double *esf, double *count, int bins)
{
    int empty = 0;
    memset(count, 0, (size_t)bins * sizeof *count);
    for (int i = 0; i < r->lines; i++) {
        double e = edge_at(r, i);
        if (!isfinite(r->place[i]))
            continue;
        for (int s = (int)ceil(e - r->half_across); s <= (int)floor(e + r->half_across); s++) {
            int bin = (int)floor(((s - e) * r->cosine + r->half_width) * OVERSAMPLING);
            if (bin < 0 || bin >= bins)
                continue;
            esf[bin] += light_at(r, r->first + i, s);
            count[bin]++;
        }
    }
    for (int i = 0; i < bins; i++) {
        empty += count[i] == 0;
        esf[i] = count[i] > 0 ? esf[i] / count[i] : i > 0 ? esf[i - 1] : NAN;
    }
    return isfinite(esf[0]) && empty <= EMPTY_SHARE * bins ? RG_SLANTED_OK : RG_SLANTED_STRAIGHT;
}

static double tukey(double part) /* part: -1..1 over the window */
{
    double past = (fabs(part) - FLAT_SHARE) / (1 - FLAT_SHARE);
    return past <= 0 ? 1 : past >= 1 ? 0 : 0.5 * (1 + cos(RG_PI * past));
}

static double sinc(double x)
{
    return x == 0 ? 1 : sin(RG_PI * x) / (RG_PI * x);
}

/* Central differences under the window, their transform, and what both added. */
static void transform(const double *esf, int bins, double *lsf, double mtf[RG_MTF_POINTS])
{
    memset(lsf, 0, TRANSFORM * sizeof *lsf);
    for (int i = 1; i + 1 < bins; i++)
        lsf[i] = (esf[i + 1] - esf[i - 1]) * tukey((2.0 * i + 1 - bins) / (bins - 2));
    gsl_fft_real_radix2_transform(lsf, 1, TRANSFORM);
    double zero = fabs(lsf[0]);
    for (int k = 0; k < RG_MTF_POINTS; k++) {
        double f = k * RG_MTF_STEP / OVERSAMPLING;
        double size = k == 0 ? zero : hypot(lsf[k], lsf[TRANSFORM - k]);
        mtf[k] = size / zero / (sinc(2 * f) * sinc(f));
    }
}

static rg_slanted_state measure(region *r, const rg_slanted_query *q, rg_slanted_edge *edge)
{
    double esf[2 * OVERSAMPLING * 100 + 1] = {0}, count[2 * OVERSAMPLING * 100 + 1];
    double lsf[TRANSFORM];
    int bins = (int)floor(2 * r->half_width * OVERSAMPLING);
    rg_slanted_state state = weigh(r, q->saturation, edge);
    if (state == RG_SLANTED_OK)
        state = find_line(r, edge);
    if (state == RG_SLANTED_OK)
        state = spread(r, esf, count, bins);
    if (state != RG_SLANTED_OK)
        return state;
    transform(esf, bins, lsf, edge->mtf);
    edge->mtf50 = rg_mtf_frequency(edge->mtf, 0.5);
    return edge->mtf50 < LEAST_RESOLVED * edge->resolution ? RG_SLANTED_BLURRED : RG_SLANTED_OK;
}

double rg_mtf_frequency(const double mtf[RG_MTF_POINTS], double level)
{
    for (int k = 1; k < RG_MTF_POINTS; k++)
        if (mtf[k] < level)
            return RG_MTF_STEP * (k - 1 + (mtf[k - 1] - level) / (mtf[k - 1] - mtf[k]));
    return NAN;
}

rg_code rg_slanted_edge_measure(const rg_plane *light, const rg_slanted_query *query,
                                rg_slanted_edge *edge, rg_error *err)
{
    const rg_slanted_query *q = query;
    region r = {.light = light};
    memset(edge, 0, sizeof *edge);
    edge->mtf50 = NAN;
    /* A sum, because fmax would lose a NAN. */
    double side = fabs(q->from.x) + fabs(q->from.y) + fabs(q->to.x) + fabs(q->to.y);
    if (!(side < 8.0 * RG_IMAGE_MAX_SIDE) || !(q->half_width_px >= 4 && q->half_width_px <= 100))
        return rg_fail(err, RG_BAD_DATA,
                       "slanted edge from (%g, %g) to (%g, %g), %g px to either side: no such "
                       "region; 4 to 100 px are possible",
                       q->from.x, q->from.y, q->to.x, q->to.y, q->half_width_px);
    edge->state = lay(q, &r, edge);
    if (edge->state != RG_SLANTED_OK)
        return RG_OK;
    r.place = rg_alloc((size_t)r.lines, sizeof *r.place);
    r.work = rg_alloc((size_t)r.lines, sizeof *r.work);
    if (r.place && r.work)
        edge->state = measure(&r, q, edge);
    bool memory = r.place && r.work;
    free(r.place);
    free(r.work);
    if (edge->state != RG_SLANTED_OK)
        edge->mtf50 = NAN;
    return memory ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for an edge of %d lines", r.lines);
}

const char *rg_slanted_state_text(rg_slanted_state state)
{
    static const char *const text[] = {[RG_SLANTED_OK] = "measured",
                                       [RG_SLANTED_OUTSIDE] = "outside the picture",
                                       [RG_SLANTED_SHORT] = "too short",
                                       [RG_SLANTED_STRAIGHT] = "too nearly along the pixel lines",
                                       [RG_SLANTED_DIAGONAL] = "too nearly diagonal",
                                       [RG_SLANTED_FLAT] = "no step of light",
                                       [RG_SLANTED_SATURATED] = "overexposed",
                                       [RG_SLANTED_CROOKED] = "not a straight edge",
                                       [RG_SLANTED_BLURRED] = "too blurred for the region"};
    return text[state];
}

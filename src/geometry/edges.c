/*
 * edges.c - subpixel position of a step edge.
 *
 * The profile is read along the pixel row or column that is nearer to the
 * normal, at pixel centres: no interpolation, so the profile carries the
 * camera's own blur and nothing else. The line through the query point is
 * followed to the middle of that row first; distances along the row times
 * |cos| of its angle to the normal are distances along the normal.
 *
 * Model: black + step * Phi((x - x0) / s), the integral of a Gaussian, by
 * Gauss-Newton on the four parameters. The black border of a printed tag
 * is black for one module inside; the paper is white for about as much.
 */
#include "edges.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <string.h>

enum {
    REACH_MAX = 40, /* samples to either side */
    WINDOW = 6,     /* samples to either side of the step in the precise fit */
    SHORTEST = 3,   /* fewest samples on a side that make a step */
    FIT_ITERATIONS = 6
};

static const double MIN_STEP = 0.004;  /* linear light; about one 8-bit code in the dark */
static const double MIN_RATIO = 0.35;  /* step / (black + white) */
static const double MAX_MISFIT = 0.15; /* rms of the fit / step */
static const double GAUSS_PEAK = 0.39894228040143267794; /* 1 / sqrt(2 pi) */

typedef struct profile {
    double value[2 * REACH_MAX + 1];
    int n;
    bool along_x;
    int first, line, sign; /* sample i is at axis coordinate first + sign i */
    double cosine;         /* of the angle between axis and normal */
} profile;

/* The light of n samples that lie `step` pixels apart in memory, from the pixel `at` on. */
static void read_light(const rg_edge_light *l, ptrdiff_t at, ptrdiff_t step, int n, double *value)
{
    const rg_image *im = l->image;
    if (im->channels == 1 && im->depth == 8) {
        const uint8_t *code = (const uint8_t *)im->data + at;
        for (int i = 0; i < n; i++)
            value[i] = (double)l->linear->table[0][code[i * step]];
        return;
    }
    for (int i = 0; i < n; i++) {
        ptrdiff_t sample = (at + i * step) * im->channels;
        value[i] = 0.0;
        for (int c = 0; c < im->channels; c++) {
            unsigned code = im->depth == 8 ? ((const uint8_t *)im->data)[sample + c]
                                           : ((const uint16_t *)im->data)[sample + c];
            value[i] += (double)l->linear->table[c][code];
        }
    }
}

/* Where the profile lies; false when it leaves the rows held. */
static bool place_profile(const rg_edge_light *light, const rg_edge_query *q, profile *p)
{
    const rg_image *im = light->image;
    double nx = q->normal.x, ny = q->normal.y;
    p->along_x = fabs(nx) >= fabs(ny);
    double n_axis = p->along_x ? nx : ny, n_cross = p->along_x ? ny : nx;
    double axis = p->along_x ? q->at.x : q->at.y, cross = p->along_x ? q->at.y : q->at.x;
    p->cosine = fabs(n_axis);
    p->sign = n_axis > 0.0 ? 1 : -1;
    p->line = (int)lround(cross);
    axis += n_cross * (cross - p->line) / n_axis;
    int in = (int)ceil(q->inside / p->cosine), out = (int)ceil(q->outside / p->cosine);
    in = in > REACH_MAX ? REACH_MAX : in;
    out = out > REACH_MAX ? REACH_MAX : out;
    p->first = (int)lround(axis) - p->sign * in;
    p->n = in + out + 1;
    int last = p->first + p->sign * (p->n - 1);
    int low = p->along_x ? 0 : im->first_row, size = p->along_x ? im->width : im->height;
    int line_low = p->along_x ? im->first_row : 0, lines = p->along_x ? im->height : im->width;
    if (fmin(p->first, last) < low || fmax(p->first, last) > low + size - 1 || p->line < line_low ||
        p->line > line_low + lines - 1)
        return false;
    return true;
}

/* Dark side first. */
static void read_profile(const rg_edge_light *light, profile *p)
{
    const rg_image *im = light->image;
    ptrdiff_t width = im->width, x = p->along_x ? p->first : p->line,
              y = (p->along_x ? p->line : p->first) - im->first_row;
    read_light(light, y * width + x, p->sign * (p->along_x ? 1 : width), p->n, p->value);
}

static double mean_of(const double *v, int from, int to)
{
    double sum = 0.0;
    for (int i = from; i < to; i++)
        sum += v[i];
    return sum / (to - from);
}

static_assert(SHORTEST == 3, "steepest adds three on either side");

/* The sample before the largest rise between the means of three; -1 if none. */
static int steepest(const profile *p)
{
    int best = -1;
    double rise = 0.0;
    for (int i = SHORTEST - 1; i + SHORTEST < p->n; i++) {
        const double *v = p->value + i;
        double d = (v[1] + v[2] + v[3]) - (v[0] + v[-1] + v[-2]);
        if (d > rise) {
            rise = d;
            best = i;
        }
    }
    return best;
}

static bool is_step(double black, double white, double ratio)
{
    return white - black > MIN_STEP && white - black > ratio * (white + black);
}

/* Half-level crossing near sample k: position and levels. */
static bool cross_half(const profile *p, int k, double ratio, double *x0, double *black,
                       double *white)
{
    int low = k - 3 < 0 ? 0 : k - 3, high = k + 5 > p->n ? p->n : k + 5;
    *black = mean_of(p->value, low, low + 2);
    *white = mean_of(p->value, high - 2, high);
    if (!is_step(*black, *white, ratio))
        return false;
    double half = 0.5 * (*black + *white);
    for (int i = low; i + 1 < high; i++) {
        if (p->value[i] <= half && p->value[i + 1] > half) {
            *x0 = i + (half - p->value[i]) / (p->value[i + 1] - p->value[i]);
            return true;
        }
    }
    return false;
}

/* Solves the symmetric positive 4x4 system a x = b in place by Cholesky. */
static bool solve4(double a[4][4], double b[4])
{
    for (int i = 0; i < 4; i++) {
        for (int j = 0; j <= i; j++) {
            double sum = a[i][j];
            for (int k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            if (i == j && !(sum > 0.0))
                return false;
            a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
        }
    }
    for (int i = 0; i < 4; i++) {
        for (int k = 0; k < i; k++)
            b[i] -= a[i][k] * b[k];
        b[i] /= a[i][i];
    }
    for (int i = 3; i >= 0; i--) {
        for (int k = i + 1; k < 4; k++)
            b[i] -= a[k][i] * b[k];
        b[i] /= a[i][i];
    }
    return true;
}

typedef struct step_fit {
    double x0, sigma, black, step;
    double misfit; /* rms / step */
} step_fit;

/* Phi(u), given exp(-u^2/2): M. Abramowitz and I. Stegun, Handbook of
 * Mathematical Functions (1964), 26.2.17; error below 7.5e-8. */
static double normal_integral(double u, double gauss)
{
    double t = 1.0 / (1.0 + 0.2316419 * fabs(u));
    double tail = GAUSS_PEAK * gauss * t *
                  (0.319381530 +
                   t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))));
    return u < 0.0 ? tail : 1.0 - tail;
}

/* exp(-u^2/2) at u = (i - x0) / sigma for i = from .. to - 1: with h = 1 / sigma, exp(-(u + h)^2/2) is exp(-u^2/2)
 * times exp(-u h - h^2/2), and that factor falls by exp(-h^2) from one to the next. From the sample nearest to
 * x0 outwards, so that nothing begins with an underflow. */
static void bell(const step_fit *f, int from, int to, double *gauss)
{
    int near = (int)lround(f->x0);
    near = near < from ? from : near > to - 1 ? to - 1 : near;
    double h = 1.0 / f->sigma, u = (near - f->x0) * h, fall = exp(-h * h);
    gauss[near - from] = exp(-0.5 * u * u);
    double up = exp(-h * (u + 0.5 * h)), down = exp(h * (u - 0.5 * h));
    for (int i = near + 1; i < to; i++, up *= fall)
        gauss[i - from] = gauss[i - 1 - from] * up;
    for (int i = near - 1; i >= from; i--, down *= fall)
        gauss[i - from] = gauss[i + 1 - from] * down;
}

/* Normal equations of one Gauss-Newton step; returns the sum of squares. */
static double linearise(const double *v, int from, int to, const step_fit *f, double a[4][4],
                        double b[4])
{
    double sum = 0.0, gauss[2 * WINDOW + 1], h = 1.0 / f->sigma;
    memset(a, 0, 4 * sizeof *a);
    memset(b, 0, 4 * sizeof *b);
    bell(f, from, to, gauss);
    for (int i = from; i < to; i++) {
        double u = (i - f->x0) * h, g = gauss[i - from];
        double phi = normal_integral(u, g), slope = f->step * GAUSS_PEAK * g * h;
        double row[3] = {phi, -slope, -slope * u};
        double r = v[i] - f->black - f->step * phi;
        sum += r * r;
        b[0] += r;
        a[0][0] += 1.0;
        for (int j = 0; j < 3; j++) {
            b[j + 1] += row[j] * r;
            a[j + 1][0] += row[j];
            for (int k = 0; k <= j; k++)
                a[j + 1][k + 1] += row[j] * row[k];
        }
    }
    return sum;
}

/* The sum of squares alone. */
static double squares(const double *v, int from, int to, const step_fit *f)
{
    double sum = 0.0, gauss[2 * WINDOW + 1], h = 1.0 / f->sigma;
    bell(f, from, to, gauss);
    for (int i = from; i < to; i++) {
        double r = v[i] - f->black - f->step * normal_integral((i - f->x0) * h, gauss[i - from]);
        sum += r * r;
    }
    return sum;
}

static double clamp(double x, double low, double high)
{
    return x < low ? low : x > high ? high : x;
}

static bool fit_step(const profile *p, step_fit *f)
{
    int centre = (int)lround(f->x0);
    int from = centre - WINDOW < 0 ? 0 : centre - WINDOW;
    int to = centre + WINDOW + 1 > p->n ? p->n : centre + WINDOW + 1;
    double a[4][4], b[4], x0 = f->x0;
    if (to - from < 7)
        return false;
    for (int i = 0; i < FIT_ITERATIONS; i++) {
        linearise(p->value, from, to, f, a, b);
        if (!solve4(a, b))
            return false;
        f->black += b[0];
        f->step += b[1];
        f->x0 += clamp(b[2], -1.0, 1.0);
        f->sigma = clamp(f->sigma + clamp(b[3], -0.5, 0.5), 0.15, 2.0 * WINDOW);
        if (fabs(b[2]) < 2e-3 && fabs(b[3]) < 1e-2)
            break;
    }
    f->misfit = sqrt(squares(p->value, from, to, f) / (to - from)) / f->step;
    return f->x0 > from + 1 && f->x0 < to - 2 && fabs(f->x0 - x0) < 2.0 && f->sigma < WINDOW;
}

static bool find_step(const profile *p, bool precise, double ratio, step_fit *f)
{
    double white;
    int k = steepest(p);
    *f = (step_fit){.sigma = 0.8};
    if (k < 0 || !cross_half(p, k, ratio, &f->x0, &f->black, &white))
        return false;
    f->step = white - f->black;
    return !precise || (fit_step(p, f) && is_step(f->black, f->black + f->step, ratio) &&
                        f->misfit < MAX_MISFIT);
}

static bool remembered(const rg_edge_memo *m, const profile *p, bool precise)
{
    return m->filled && m->precise == precise && m->along_x == p->along_x && m->first == p->first &&
           m->line == p->line && m->sign == p->sign && m->n == p->n;
}

/* As find_step, out of the memo where it holds the same pixels' answer. */
static bool find_or_recall(const rg_edge_light *light, const rg_edge_query *q, double ratio,
                           profile *p, step_fit *f)
{
    rg_edge_memo *m = q->memo;
    if (m && remembered(m, p, q->precise)) {
        *f = (step_fit){.x0 = m->x0, .sigma = m->sigma, .black = m->black, .step = m->step};
        return m->found;
    }
    read_profile(light, p);
    bool found = find_step(p, q->precise, ratio, f);
    if (m)
        *m = (rg_edge_memo){true,    p->along_x, q->precise, found,    p->first, p->line,
                            p->sign, p->n,       f->x0,      f->sigma, f->black, f->step};
    return found;
}

bool rg_edge_find(const rg_edge_light *light, const rg_edge_query *query, rg_edge *edge)
{
    profile p;
    step_fit f;
    double ratio = query->contrast > 0.0 ? query->contrast : MIN_RATIO;
    if (!place_profile(light, query, &p) || !find_or_recall(light, query, ratio, &p, &f))
        return false;
    double axis = p.first + p.sign * f.x0;
    edge->pixel = p.along_x ? (rg_vec2){axis, p.line} : (rg_vec2){p.line, axis};
    edge->sigma = query->precise ? f.sigma * p.cosine : 0.0;
    edge->black = f.black;
    edge->white = f.black + f.step;
    return true;
}

/*
 * opening_search.c - where the rim is seen under an open pad, coarsely (part of opening.h).
 */
#include <math.h>
#include <string.h>

#include "opening_private.h"

enum { SEEDS = 8, SEARCHED = 4 };

static const double ANGLE_STEP_DEG = 1.5, HEIGHT_STEP_MM = 0.25, SHIFT_MM = 2, SHIFT_STEP_MM = 0.25;
static const double LOWEST_MM = -0.5; /* of the pad over the land, at its lowest */

/* A pad swung up by an angle about a hinge across bearing 0, its middle at (shift, 0,
 * height) in the rim frame. */
static void swung(double angle_deg, double height, double shift, double v[RIM])
{
    double s = sin(rg_radians(angle_deg)), c = cos(rg_radians(angle_deg));
    v[0] = -s;
    v[1] = 0;
    v[2] = -(c * shift - s * height);
    v[3] = 0;
    v[4] = -(s * shift + c * height);
}

static double score_of(const fit *f, const double v[RIM])
{
    int step = f->looks > SEARCHED ? f->looks / SEARCHED : 1;
    double sum = 0, none[CAMERA] = {0};
    int n = 0;
    for (int i = 0; i < f->looks; i += step) {
        rg_pose pose = rg_opening_camera(&f->look[i], none, v);
        double s = rg_trace_score(f->look[i].map, f->lens, f->rim, &pose);
        sum += fmax(s, 0);
        n++;
    }
    return sum / n;
}

typedef struct seed {
    double score, v[RIM];
} seed;

static void keep(seed *best, const seed *s)
{
    int at = SEEDS;
    while (at > 0 && s->score > best[at - 1].score)
        at--;
    for (int i = SEEDS - 1; i > at; i--)
        best[i] = best[i - 1];
    if (at < SEEDS)
        best[at] = *s;
}

static void scan(const fit *f, seed best[SEEDS])
{
    const rg_opening_options *o = f->options;
    double r = f->rim->outer_diameter_mm / 2;
    for (double angle = 0; angle <= o->search_deg; angle += ANGLE_STEP_DEG)
        for (double h = fmax(0.25, r * tan(rg_radians(angle)) + LOWEST_MM); h <= o->search_mm;
             h += HEIGHT_STEP_MM)
            for (double shift = -SHIFT_MM; shift <= SHIFT_MM; shift += SHIFT_STEP_MM) {
                seed s;
                swung(angle, h, shift, s.v);
                s.score = score_of(f, s.v);
                keep(best, &s);
            }
}

/* Uphill, one parameter after the other, with ever smaller steps. */
static void climb(const fit *f, seed *s)
{
    static const double scale[RIM] = {0.015, 0.015, 0.2, 0.2, 0.2};
    for (double step = 1; step > 0.2;) {
        seed best = *s;
        for (int k = 0; k < 2 * RIM; k++) {
            seed t = *s;
            t.v[k / 2] += (k % 2 ? 1 : -1) * step * scale[k / 2];
            t.score = score_of(f, t.v);
            if (t.score > best.score)
                best = t;
        }
        if (best.score > s->score)
            *s = best;
        else
            step /= 2;
    }
}

bool rg_opening_search(fit *f)
{
    seed best[SEEDS] = {{.score = 0}};
    scan(f, best);
    for (int i = 0; i < SEEDS; i++)
        if (best[i].score > 0)
            climb(f, &best[i]);
    for (int i = 1; i < SEEDS; i++)
        if (best[i].score > best[0].score)
            best[0] = best[i];
    memcpy(f->v, best[0].v, sizeof f->v);
    return best[0].score > 0;
}

/*
 * anchor.c - one frame's place improved by its own rim. See anchor.h.
 */
#include "rimglow/anchor.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

enum { ROUNDS = 8, LEAST_MARKS = 20 };

static const double INDEPENDENT = 1; /* all marks of one frame share the shadow and its shape */
static const double WIDE = 3;        /* inlier distances: window of the first guess */
static const double SCATTER_LEAST = 0.33; /* inlier distances: no line is known better */

/* G of anchor.h. */
static void slopes(const rg_pose *pose, double radius, double g[3][6])
{
    for (int k = 0; k < 3; k++) {
        g[0][k] = 0;
        g[0][k + 3] = pose->R.m[k][2];
        g[1][k] = -radius * pose->R.m[k][1];
        g[1][k + 3] = 0;
        g[2][k] = -radius * pose->R.m[k][0];
        g[2][k + 3] = 0;
    }
}

static bool invert(rg_mat3 m, rg_mat3 *out)
{
    double det = rg_mat3_det(m);
    if (!(fabs(det) > 1e-12) || !isfinite(det))
        return false;
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            int a = (k + 1) % 3, b = (k + 2) % 3, c = (i + 1) % 3, d = (i + 2) % 3;
            out->m[i][k] = (m.m[a][c] * m.m[b][d] - m.m[a][d] * m.m[b][c]) / det;
        }
    return true;
}

typedef struct fit {
    double g[3][6];  /* (h, a, s) by the pose */
    double sg[6][3]; /* S G^T */
    rg_mat3 q;       /* prior covariance of (h, a, s) */
    rg_mat3 info;    /* L */
    rg_vec3 news;    /* L m */
    rg_mat3 gain;    /* (I + L Q)^-1 */
    rg_vec3 line;    /* (h, a, s) */
} fit;

static fit begin(const rg_place *place, double radius)
{
    fit f;
    memset(&f, 0, sizeof f);
    slopes(&place->pose, radius, f.g);
    for (int i = 0; i < 6; i++)
        for (int k = 0; k < 3; k++)
            for (int j = 0; j < 6; j++)
                f.sg[i][k] += place->covariance[i][j] * f.g[k][j];
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++)
            for (int j = 0; j < 6; j++)
                f.q.m[i][k] += f.g[i][j] * f.sg[j][k];
    return f;
}

static double line_at(rg_vec3 line, double bearing_deg)
{
    double b = rg_radians(bearing_deg);
    return line.x + line.y * cos(b) + line.z * sin(b);
}

/* The height that most marks share, within the window. Where the place knows
 * better, the rounds pull the line away from a wrong one. */
static double common_height(const rg_rim_mark *mark, int n, double window)
{
    int most = 0;
    double best = 0;
    for (int i = 0; i < n; i++) {
        int count = 0;
        double sum = 0;
        for (int k = 0; k < n; k++)
            if (fabs(mark[k].height_mm - mark[i].height_mm) < window) {
                count++;
                sum += mark[k].height_mm;
            }
        if (count > most) {
            most = count;
            best = sum / count;
        }
    }
    return best;
}

static bool one_round(fit *f, const rg_rim_mark *mark, int n, double cutoff, double sigma)
{
    double weight = 0;
    f->info = (rg_mat3){{{0}}};
    f->news = (rg_vec3){0, 0, 0};
    for (int i = 0; i < n; i++) {
        double b = rg_radians(mark[i].bearing_deg), g[3] = {1, cos(b), sin(b)};
        double z = mark[i].height_mm, r = (z - line_at(f->line, mark[i].bearing_deg)) / cutoff;
        if (fabs(r) >= 1)
            continue;
        double w = (1 - r * r) * (1 - r * r);
        weight += w;
        f->news = rg_vec3_add(f->news, rg_vec3_scale(rg_vec3_make(g[0], g[1], g[2]), w * z));
        for (int k = 0; k < 3; k++)
            for (int j = 0; j < 3; j++)
                f->info.m[k][j] += w * g[k] * g[j];
    }
    if (!(weight > 0))
        return false;
    double share = fmin(1, INDEPENDENT / weight) / (sigma * sigma);
    f->news = rg_vec3_scale(f->news, share);
    for (int k = 0; k < 3; k++)
        for (int j = 0; j < 3; j++)
            f->info.m[k][j] *= share;
    rg_mat3 sum = rg_mat3_mul(f->info, f->q);
    for (int k = 0; k < 3; k++)
        sum.m[k][k] += 1;
    if (!invert(sum, &f->gain))
        return false;
    f->line = rg_mat3_apply(f->q, rg_mat3_apply(f->gain, f->news));
    return true;
}

static void count_inliers(const fit *f, const rg_rim_mark *mark, int n, double inlier,
                          rg_anchor *anchor)
{
    double sum = 0;
    anchor->inliers = 0;
    for (int i = 0; i < n; i++) {
        double r = mark[i].height_mm - line_at(f->line, mark[i].bearing_deg);
        if (fabs(r) < inlier) {
            anchor->inliers++;
            sum += r * r;
        }
    }
    anchor->sigma_mm = anchor->inliers ? sqrt(sum / anchor->inliers) : NAN;
}

static void move(const fit *f, rg_place *place)
{
    double change[6] = {0}, smaller[6][6];
    rg_vec3 pull = rg_mat3_apply(f->gain, f->news);
    rg_mat3 take = rg_mat3_mul(f->gain, f->info);
    for (int i = 0; i < 6; i++) {
        change[i] = f->sg[i][0] * pull.x + f->sg[i][1] * pull.y + f->sg[i][2] * pull.z;
        for (int k = 0; k < 6; k++) {
            smaller[i][k] = place->covariance[i][k];
            for (int a = 0; a < 3; a++)
                for (int b = 0; b < 3; b++)
                    smaller[i][k] -= f->sg[i][a] * take.m[a][b] * f->sg[k][b];
        }
    }
    place->pose = rg_place_move(&place->pose, change);
    memcpy(place->covariance, smaller, sizeof smaller);
}

static void hold(const rg_rim_mark *mark, int n, double radius_mm, const rg_rimline_options *o,
                 rg_place *place, rg_anchor *anchor)
{
    fit f = begin(place, radius_mm);
    bool ok = n >= LEAST_MARKS;
    double u_height = sqrt(fmax(f.q.m[0][0], 0));
    double window = WIDE * o->inlier_mm;
    anchor->needed = u_height > o->inlier_mm;
    f.line = rg_vec3_make(ok ? common_height(mark, n, window) : 0, 0, 0);
    for (int i = 0; ok && i < ROUNDS; i++) {
        count_inliers(&f, mark, n, window, anchor);
        double sigma = fmax(anchor->sigma_mm, SCATTER_LEAST * o->inlier_mm);
        ok = one_round(&f, mark, n, i < ROUNDS / 2 ? window : window / 2, sigma);
    }
    if (!ok)
        return;
    count_inliers(&f, mark, n, o->inlier_mm, anchor);
    anchor->held = anchor->inliers >= LEAST_MARKS && 3 * anchor->inliers >= n;
    anchor->height_mm = f.line.x;
    anchor->a_mm = f.line.y;
    anchor->s_mm = f.line.z;
    if (anchor->held)
        move(&f, place);
}

static rg_code no_memory(rg_error *err)
{
    return rg_fail(err, RG_INTERNAL, "no memory for the rim marks of a frame");
}

rg_code rg_anchor_frame(const rg_strip *strip, double radius_mm, int every,
                        const rg_rimline_options *options, rg_place *place, rg_anchor *anchor,
                        rg_error *err)
{
    int room = strip->columns / (every > 0 ? every : 1) + 1;
    *anchor = (rg_anchor){.sigma_mm = NAN};
    rg_rim_mark *mark = rg_alloc((size_t)room, sizeof *mark);
    if (!mark)
        return no_memory(err);
    anchor->marks = rg_rim_marks(strip, 0, every > 0 ? every : 1, options, mark, room);
    if (anchor->marks >= 0)
        hold(mark, anchor->marks, radius_mm, options, place, anchor);
    free(mark);
    return anchor->marks >= 0 ? RG_OK : no_memory(err);
}

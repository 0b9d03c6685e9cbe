/*
 * calibration.c - checks of the views, start, fit, and bad views taken out.
 */
#include "rimglow/calibration.h"

#include <math.h>
#include <stdlib.h>

#include "lensfit.h"
#include "rimglow/crown.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"

/* Spread across the best line through the points, as a part of that along it. */
static const double LINE = 1e-3;
/* Points nearer than this part of the view's extent are one point. */
static const double SAME = 1e-6;

/* ------------------------------------------------------------------ checks */

static rg_code check_finite(const rg_view *v, rg_error *err)
{
    for (int i = 0; i < v->corners; i++) {
        const rg_corner *c = &v->corner[i];
        const double value[4] = {c->board.x, c->board.y, c->pixel.x, c->pixel.y};
        for (int k = 0; k < 4; k++)
            if (!(fabs(value[k]) < 1e9))
                return rg_fail(err, RG_BAD_DATA,
                               "calibration: view %s, point %d: %g is no coordinate; correct it or "
                               "leave the point out",
                               v->name, i + 1, value[k]);
    }
    return RG_OK;
}

/* Root mean square distance from the mean, and the same across the best line. */
static void extent(const rg_view *v, bool pixel, double *along, double *across)
{
    double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 p = pixel ? v->corner[i].pixel : v->corner[i].board;
        mx += p.x / v->corners;
        my += p.y / v->corners;
    }
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 p = pixel ? v->corner[i].pixel : v->corner[i].board;
        xx += (p.x - mx) * (p.x - mx) / v->corners;
        xy += (p.x - mx) * (p.y - my) / v->corners;
        yy += (p.y - my) * (p.y - my) / v->corners;
    }
    double half = hypot(0.5 * (xx - yy), xy), mid = 0.5 * (xx + yy);
    *along = sqrt(mid + half);
    *across = sqrt(fmax(mid - half, 0.0));
}

static int by_pixel(const void *a, const void *b)
{
    const rg_corner *p = a, *q = b;
    return p->pixel.x < q->pixel.x ? -1 : p->pixel.x > q->pixel.x;
}

static int by_board(const void *a, const void *b)
{
    const rg_corner *p = a, *q = b;
    return p->board.x < q->board.x ? -1 : p->board.x > q->board.x;
}

/* A pair of points nearer than `near`, sorted by x; NULL when there is none. */
static const rg_corner *find_pair(const rg_corner *c, int n, bool pixel, double near)
{
    for (int i = 0; i < n; i++)
        for (int k = i + 1; k < n; k++) {
            rg_vec2 a = pixel ? c[i].pixel : c[i].board, b = pixel ? c[k].pixel : c[k].board;
            if (b.x - a.x > near)
                break;
            if (fabs(b.y - a.y) <= near)
                return &c[i];
        }
    return NULL;
}

static rg_code check_pairs(const rg_view *v, double board_extent, double pixel_extent,
                           rg_error *err)
{
    rg_corner *sorted = rg_alloc((size_t)v->corners, sizeof *sorted);
    if (!sorted)
        return rg_fail(err, RG_INTERNAL, "calibration: out of memory");
    rg_code code = RG_OK;
    for (int pixel = 0; pixel < 2 && code == RG_OK; pixel++) {
        for (int i = 0; i < v->corners; i++)
            sorted[i] = v->corner[i];
        qsort(sorted, (size_t)v->corners, sizeof *sorted, pixel ? by_pixel : by_board);
        const rg_corner *twice =
            find_pair(sorted, v->corners, pixel, SAME * (pixel ? pixel_extent : board_extent));
        if (twice)
            code = rg_fail(err, RG_BAD_DATA,
                           "calibration: view %s: %s (%g, %g) is given twice; every corner of the "
                           "board counts once in a view",
                           v->name, pixel ? "pixel" : "board point",
                           pixel ? twice->pixel.x : twice->board.x,
                           pixel ? twice->pixel.y : twice->board.y);
    }
    free(sorted);
    return code;
}

static rg_code check_view(const rg_view *v, rg_error *err)
{
    if (v->corners < 4 || v->corners > RG_CALIBRATION_POINTS_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "calibration: view %s has %d points; 4 to %d can be used, leave the view "
                       "out or show more of the board",
                       v->name, v->corners, RG_CALIBRATION_POINTS_MAX);
    rg_code code = check_finite(v, err);
    if (code != RG_OK)
        return code;
    double along[2], across[2];
    for (int pixel = 0; pixel < 2; pixel++) {
        extent(v, pixel, &along[pixel], &across[pixel]);
        if (!(across[pixel] > LINE * along[pixel]))
            return rg_fail(err, RG_BAD_DATA,
                           "calibration: view %s: the %d points lie on one line %s; use points "
                           "spread over the board",
                           v->name, v->corners, pixel ? "in the picture" : "of the board");
    }
    return check_pairs(v, along[0], along[1], err);
}

static rg_code check_arguments(const rg_view *view, int views, int width, int height,
                               const rg_calibration_options *o, rg_error *err)
{
    if (views < RG_CALIBRATION_VIEWS_MIN || views > RG_CALIBRATION_VIEWS_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "calibration: %d views; %d to %d can be used, 8 or more with the board "
                       "tilted in different ways are good",
                       views, RG_CALIBRATION_VIEWS_MIN, RG_CALIBRATION_VIEWS_MAX);
    if (width < 1 || height < 1)
        return rg_fail(err, RG_BAD_DATA,
                       "calibration: picture size %d x %d; give the size that the points belong to",
                       width, height);
    if (o->model.radial < 0 || o->model.radial > 3 ||
        (o->model.fixed_aspect && !(o->model.aspect > 0.5 && o->model.aspect < 2.0)) ||
        !(o->bad_view_ratio == 0.0 || o->bad_view_ratio > 1.0))
        return rg_fail(err, RG_BAD_DATA,
                       "calibration: %d radial terms, aspect %g, bad view ratio %g; use 0 to 3 "
                       "terms, an aspect of 0.5 to 2 and a ratio above 1 (0: keep every view)",
                       o->model.radial, o->model.aspect, o->bad_view_ratio);
    rg_code code = RG_OK;
    for (int i = 0; i < views && code == RG_OK; i++)
        code = check_view(&view[i], err);
    return code;
}

/* ------------------------------------------------------------------- start */

/* One fit over some of the views. */
typedef struct trial {
    int views;
    const rg_view **view;    /* [views of the calibration] */
    double (*homography)[9]; /* the same */
    rg_pose *pose;           /* the same */
    int *index;              /* of the view in the calibration */
} trial;

static void trial_free(trial *t)
{
    free(t->view);
    free(t->homography);
    free(t->pose);
    free(t->index);
}

static rg_code trial_new(trial *t, int views, rg_error *err)
{
    size_t n = (size_t)views;
    t->views = 0;
    t->view = rg_alloc(n, sizeof *t->view);
    t->homography = rg_alloc(n, sizeof *t->homography);
    t->pose = rg_alloc(n, sizeof *t->pose);
    t->index = rg_alloc(n, sizeof *t->index);
    if (t->view && t->homography && t->pose && t->index)
        return RG_OK;
    trial_free(t);
    return rg_fail(err, RG_INTERNAL, "calibration: out of memory for %d views", views);
}

/* +1 when the board's z axis points away from the camera, -1 when towards it. */
static int handedness(const double h[9])
{
    double det = h[0] * (h[4] * h[8] - h[5] * h[7]) - h[1] * (h[3] * h[8] - h[5] * h[6]) +
                 h[2] * (h[3] * h[7] - h[4] * h[6]);
    return det > 0.0 ? 1 : -1;
}

static rg_code check_hands(const trial *t, rg_error *err)
{
    int sum = 0;
    for (int i = 0; i < t->views; i++)
        sum += handedness(t->homography[i]);
    for (int i = 0; i < t->views; i++)
        if (handedness(t->homography[i]) != (sum >= 0 ? 1 : -1))
            return rg_fail(err, RG_BAD_DATA,
                           "calibration: view %s is mirrored against most others; number its "
                           "corners in the same direction, or undo a mirrored picture",
                           t->view[i]->name);
    return RG_OK;
}

static rg_code take_views(trial *t, const rg_view *view, int views, const rg_calibration *c,
                          rg_error *err)
{
    t->views = 0;
    for (int i = 0; i < views; i++) {
        if (!c->view[i].used)
            continue;
        if (!rg_homography(&view[i], t->homography[t->views]))
            return rg_fail(err, RG_BAD_DATA,
                           "calibration: view %s: its points are no picture of a plane; check the "
                           "numbering of its corners",
                           view[i].name);
        t->view[t->views] = &view[i];
        t->index[t->views++] = i;
    }
    return check_hands(t, err);
}

static double view_rms(const rg_lens_fit *fit, const rg_pose *pose, const rg_view *v)
{
    double sum = 0.0;
    for (int i = 0; i < v->corners; i++) {
        rg_vec2 p;
        if (!rg_calibration_project(fit, pose, v->corner[i].board, &p))
            return NAN;
        double dx = p.x - v->corner[i].pixel.x, dy = p.y - v->corner[i].pixel.y;
        sum += dx * dx + dy * dy;
    }
    return sqrt(sum / v->corners);
}

/* Fits the views in use from the closed form, or from a plain start where that
 * has none or leads nowhere. */
static rg_code fit_views(trial *t, int width, int height, const rg_lens_model *model,
                         rg_calibration *c, rg_lens_fit *fit, rg_error *err)
{
    rg_code code = RG_BAD_DATA;
    const double(*h)[9] = (const double(*)[9])t->homography;
    for (int plain = 0; plain < 2 && code == RG_BAD_DATA; plain++) {
        rg_lens_guess guess = {.lens = {.width = width, .height = height}, .pose = t->pose};
        if (plain)
            rg_plain_start(h, t->views, &guess);
        else if (!rg_zhang_start(h, t->views, model->skew, &guess))
            continue;
        code = rg_lensfit(t->view, t->views, model, &guess, fit, err);
    }
    for (int i = 0; i < t->views && code == RG_OK; i++) {
        rg_view_fit *v = &c->view[t->index[i]];
        v->pose = t->pose[i];
        v->rms_px = view_rms(fit, &v->pose, t->view[i]);
    }
    return code;
}

/* --------------------------------------------------------------- bad views */

/* The worst view in use, when it is far above the median of them; -1 if not. */
static int worst_view(const rg_calibration *c, double ratio, double *work)
{
    int worst = -1;
    size_t n = 0;
    for (int i = 0; i < c->views; i++) {
        if (!c->view[i].used)
            continue;
        work[n++] = c->view[i].rms_px;
        if (worst < 0 || !(c->view[i].rms_px <= c->view[worst].rms_px))
            worst = i;
    }
    double limit = ratio * rg_median_inplace(work, n);
    return n > RG_CALIBRATION_VIEWS_MIN && !(c->view[worst].rms_px <= limit) ? worst : -1;
}

/* A bad view's place as seen by the lens found without it. */
static void place_bad_view(const rg_lens *lens, const rg_view *v, rg_view_fit *out)
{
    size_t n = (size_t)v->corners;
    rg_vec3 *body = rg_alloc(n, sizeof *body);
    rg_vec2 *pixel = rg_alloc(n, sizeof *pixel);
    out->rms_px = NAN;
    for (size_t i = 0; body && pixel && i < n; i++) {
        body[i] = rg_vec3_make(v->corner[i].board.x, v->corner[i].board.y, 0.0);
        pixel[i] = v->corner[i].pixel;
    }
    double rms;
    if (body && pixel &&
        rg_pose_from_points(lens, body, pixel, v->corners, &out->pose, &rms, NULL) == RG_OK)
        out->rms_px = rms;
    free(body);
    free(pixel);
}

static rg_code drop_bad_views(trial *t, const rg_view *view, int width, int height,
                              const rg_calibration_options *o, rg_calibration *c, rg_error *err)
{
    double *work = rg_alloc((size_t)c->views, sizeof *work);
    if (!work)
        return rg_fail(err, RG_INTERNAL, "calibration: out of memory for %d views", c->views);
    rg_code code = RG_OK;
    for (int bad; code == RG_OK && (bad = worst_view(c, o->bad_view_ratio, work)) >= 0;) {
        c->view[bad].used = false;
        c->bad_views++;
        code = take_views(t, view, c->views, c, err);
        if (code == RG_OK)
            code = fit_views(t, width, height, &o->model, c, &c->fit, err);
    }
    for (int i = 0; i < c->views && code == RG_OK; i++)
        if (!c->view[i].used)
            place_bad_view(&c->fit.lens, &view[i], &c->view[i]);
    free(work);
    return code;
}

rg_code rg_calibrate(const rg_view *view, int views, int width, int height,
                     const rg_calibration_options *options, rg_calibration *result, rg_error *err)
{
    *result = (rg_calibration){0};
    rg_code code = check_arguments(view, views, width, height, options, err);
    trial t;
    if (code == RG_OK)
        code = trial_new(&t, views, err);
    if (code != RG_OK)
        return code;
    rg_calibration c = {.views = views, .view = rg_alloc((size_t)views, sizeof *c.view)};
    if (!c.view)
        code = rg_fail(err, RG_INTERNAL, "calibration: out of memory for %d views", views);
    for (int i = 0; i < views && code == RG_OK; i++)
        c.view[i].used = true;
    if (code == RG_OK)
        code = take_views(&t, view, views, &c, err);
    if (code == RG_OK)
        code = fit_views(&t, width, height, &options->model, &c, &c.fit, err);
    c.all = c.fit;
    if (code == RG_OK && options->bad_view_ratio > 0.0)
        code = drop_bad_views(&t, view, width, height, options, &c, err);
    trial_free(&t);
    if (code != RG_OK)
        rg_calibration_free(&c);
    else
        *result = c;
    return code;
}

void rg_calibration_free(rg_calibration *calibration)
{
    if (!calibration)
        return;
    free(calibration->view);
    *calibration = (rg_calibration){0};
}

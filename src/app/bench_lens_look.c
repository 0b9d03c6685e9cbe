/*
 * bench_lens_look.c - the thread that looks for the board, and what a picture of it is worth.
 *
 * A picture is taken by itself when it can be used, the board is held still, lies elsewhere than in every
 * photograph before, and brings something that the rules of lensreview.h still miss; or, when they miss
 * nothing, as long as the result is not good enough.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_lens_private.h"
#include "rimglow/crown.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

static void point_to(lens_sight *to, const lens_sight *from)
{
    *to = *from;
    to->view.corner = to->corner;
}

/* ---------------------------------------------------------------- the board in a picture */

/* The station's lens, shrunk or stretched to pictures of another size. */
static rg_lens rough_lens(const rg_lens *station, int width, int height)
{
    double k = (double)width / station->width;
    return (rg_lens){.width = width,
                     .height = height,
                     .fx = station->fx * k,
                     .fy = station->fy * k,
                     .cx = 0.5 * (width - 1),
                     .cy = 0.5 * (height - 1)};
}

/* The best lens that is known; true: it is a result, so that borders are straight with it. */
static bool best_lens(rg_bench_lens *l, int width, int height, rg_lens *lens)
{
    pthread_mutex_lock(&l->lock);
    *lens = l->result.calibration.fit.lens;
    bool known = l->result.calibration.view && lens->width == width && lens->height == height;
    pthread_mutex_unlock(&l->lock);
    if (!known)
        *lens = rough_lens(&l->rough, width, height);
    return known;
}

static void find_outline(const rg_bench_lens *l, const rg_lens *lens, lens_sight *s)
{
    static const double side[4][4] = {{0, 0, 1, 0}, {1, 0, 0, 1}, {1, 1, -1, 0}, {0, 1, 0, -1}};
    rg_vec2 size = rg_board_size(&l->config.board);
    s->outlines = 0;
    for (int i = 0; i < LENS_OUTLINE; i++) {
        const double *e = side[i / (LENS_OUTLINE / 4)];
        double part = (double)(i % (LENS_OUTLINE / 4)) / (LENS_OUTLINE / 4.0);
        rg_vec3 board = {size.x * (e[0] + part * e[2]), size.y * (e[1] + part * e[3]), 0};
        rg_vec3 camera = rg_pose_apply(&s->pose, board);
        if (!rg_lens_project(lens, camera, &s->outline[s->outlines])) {
            s->outlines = 0;
            return;
        }
        s->outlines++;
    }
}

static void find_pose(const rg_bench_lens *l, const rg_lens *lens, lens_sight *s)
{
    static const rg_pose flat = {.R = {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}}, .t = {0, 0, 1}};
    rg_vec3 body[LENS_CORNERS];
    rg_vec2 pixel[LENS_CORNERS];
    double rms;
    int n = s->view.corners;
    for (int i = 0; i < n; i++) {
        body[i] = (rg_vec3){s->corner[i].board.x, s->corner[i].board.y, 0};
        pixel[i] = s->corner[i].pixel;
    }
    s->posed = n >= 4 && rg_pose_from_points(lens, body, pixel, n, &s->pose, &rms, NULL) == RG_OK;
    if (s->posed)
        find_outline(l, lens, s);
    else
        s->pose = flat;
}

static void find_sight(rg_bench_lens *l, const rg_board_photo *photo, lens_sight *s)
{
    rg_lens lens;
    *s = (lens_sight){.width = photo->width, .height = photo->height};
    s->view.corner = s->corner;
    if (!photo->tag || photo->width < 1)
        return;
    bool known = best_lens(l, photo->width, photo->height, &lens);
    s->view.corners = rg_board_photo_corners(photo, &l->config.board, &l->config.limits,
                                             known ? &lens : NULL, s->corner);
    find_pose(l, &lens, s);
}

/* ---------------------------------------------------------------- what it is worth */

rg_code rg_bench_lens_cover(const rg_bench_lens *l, const lens_sight *further,
                            rg_lens_review *review, rg_error *err)
{
    rg_view view[LENS_SHOTS + 1];
    rg_pose pose[LENS_SHOTS + 1];
    rg_early_views early = {view, pose, 0, l->seen.width, l->seen.height};
    for (int i = 0; i < l->shots; i++) {
        if (l->shot[i].back || l->shot[i].bad)
            continue;
        early.width = l->shot[i].width;
        early.height = l->shot[i].height;
        /* cppcheck-suppress unreadVariable ; early reads it */
        view[early.views] = l->shot[i].view;
        /* cppcheck-suppress unreadVariable ; early reads it */
        pose[early.views++] = l->shot[i].pose;
    }
    if (further) {
        /* cppcheck-suppress unreadVariable ; early reads it */
        view[early.views] = further->view;
        /* cppcheck-suppress unreadVariable ; early reads it */
        pose[early.views++] = further->pose;
    }
    return rg_lens_review_early(&l->config.enough, &early, review, err);
}

/* Lock held. */
static bool lies_elsewhere(const rg_bench_lens *l, const lens_sight *s)
{
    double least = l->config.live.moved_part * hypot(s->width, s->height);
    for (int i = 0; i < l->shots; i++)
        if (!l->shot[i].back && rg_view_moved(&l->shot[i].view, &s->view) < least)
            return false;
    return true;
}

/* Lock held. */
static void find_fault(const rg_bench_lens *l, const rg_board_photo *photo, char why[LENS_TEXT])
{
    const lens_sight *s = &l->seen;
    int first = 0;
    while (first < l->shots && l->shot[first].back)
        first++;
    why[0] = 0;
    if (!photo->used)
        rg_copy_text(why, LENS_TEXT, photo->reason);
    else if (photo->edge_sigma_px > l->config.live.max_blur_px)
        snprintf(why, LENS_TEXT,
                 "blurred: borders are %.1f px wide (sigma), %.1f px are good; hold still, focus",
                 photo->edge_sigma_px, l->config.live.max_blur_px);
    else if (s->view.corners < 4 * l->config.limits.min_tags)
        snprintf(
            why, LENS_TEXT,
            "%d of %d tags have straight borders, %d are needed; keep the board flat and clear",
            s->view.corners / 4, photo->tags, l->config.limits.min_tags);
    else if (first < l->shots &&
             (l->shot[first].width != s->width || l->shot[first].height != s->height))
        snprintf(why, LENS_TEXT, "%d x %d px, the photographs before were %d x %d px", s->width,
                 s->height, l->shot[first].width, l->shot[first].height);
    else if (l->shots >= LENS_SHOTS)
        snprintf(why, LENS_TEXT, "%d photographs were taken, the most there may be; begin again",
                 LENS_SHOTS);
}

/* Lock held. What the picture would bring; "" nothing. */
static void find_gain(rg_bench_lens *l)
{
    rg_lens_review now, with;
    l->adds[0] = 0;
    bool good = l->result.review.good && l->taken == l->fitted;
    if (!l->usable || good || !lies_elsewhere(l, &l->seen) ||
        rg_bench_lens_cover(l, NULL, &now, NULL) != RG_OK ||
        rg_bench_lens_cover(l, &l->seen, &with, NULL) != RG_OK)
        return;
    bool adds = rg_lens_review_adds(&l->config.enough, &now, &with, l->adds);
    if (!adds && now.advices == 0 && l->taken == l->fitted)
        rg_copy_text(l->adds, sizeof l->adds, "one more view, for a better result");
}

/* Looking thread. Mean movement since the picture before. */
static bool is_still(rg_bench_lens *l, const lens_picture *p)
{
    bool moved = !l->now.view.corners || p->photo != l->shown ||
                 rg_view_moved(&l->before.view, &l->now.view) >= l->config.live.still_px;
    if (moved)
        l->still_since = p->time_us;
    if (p->photo != l->shown || l->shown_since == 0)
        l->shown_since = p->time_us;
    l->shown = p->photo;
    return (double)(p->time_us - l->still_since) >= 1e6 * l->config.live.still_s;
}

/* ---------------------------------------------------------------- taking */

static rg_code save(rg_bench_lens *l, const lens_picture *p, lens_shot *s, rg_error *err)
{
    rg_code code = rg_folder_make(l->folder, err);
    snprintf(s->name, sizeof s->name, "photo_%03d.%s", l->shots, p->suffix);
    int n = snprintf(s->path, sizeof s->path, "%s/%s", l->folder, s->name);
    if (code == RG_OK && (n < 0 || n >= (int)sizeof s->path))
        code = rg_fail(err, RG_CANT_CREATE, "%.60s...: the path is too long", l->folder);
    return code == RG_OK ? rg_file_write(s->path, p->bytes, p->size, err) : code;
}

static rg_code make_shot(rg_bench_lens *l, const lens_picture *p, rg_board_photo *photo,
                         lens_shot *s, rg_error *err)
{
    const rg_view *v = &l->now.view;
    *s = (lens_shot){
        .pose = l->now.pose, .width = photo->width, .height = photo->height, .rms_px = NAN};
    s->view = *v;
    s->view.corner = rg_alloc((size_t)v->corners, sizeof *v->corner);
    if (!s->view.corner)
        return rg_fail(err, RG_INTERNAL, "no memory for a photograph");
    memcpy(s->view.corner, v->corner, (size_t)v->corners * sizeof *v->corner);
    rg_code code = save(l, p, s, err);
    if (code != RG_OK) {
        rg_views_free(&s->view, 1);
        return code;
    }
    s->photo = *photo; /* changes hands */
    *photo = (rg_board_photo){0};
    return RG_OK;
}

/* The picture becomes a photograph. */
static void take(rg_bench_lens *l, const lens_picture *p, rg_board_photo *photo)
{
    lens_shot s;
    rg_error err = {0};
    rg_code code = make_shot(l, p, photo, &s, &err);
    pthread_mutex_lock(&l->lock);
    if (code == RG_OK) {
        l->shot[l->shots++] = s;
        l->taken++;
        snprintf(l->told, sizeof l->told, "taken as %s%s%s", s.name, l->adds[0] ? ": " : "",
                 l->adds);
        l->adds[0] = 0;
    } else {
        rg_copy_text(l->told, sizeof l->told, err.text);
    }
    l->passed = p->photo;
    rg_bench_lens_tell(l);
    pthread_mutex_unlock(&l->lock);
}

/* Lock held. A recorded picture that was looked at long enough. */
static void pass_over(rg_bench_lens *l, const lens_picture *p)
{
    bool long_enough = (double)(p->time_us - l->shown_since) >= 1e6 * l->config.live.still_s;
    if (p->photo < 0 || !l->automatic || !long_enough || l->passed == p->photo)
        return;
    l->passed = p->photo;
    snprintf(l->told, sizeof l->told, "passed over: %.380s",
             l->why[0]               ? l->why
             : l->result.review.good ? "good enough already"
                                     : "it brings nothing new");
}

/* Lock held. True: take it. */
static bool decide(rg_bench_lens *l, const lens_picture *p, const rg_board_photo *photo)
{
    point_to(&l->seen, &l->now);
    find_fault(l, photo, l->why);
    l->usable = !l->why[0];
    l->still = is_still(l, p);
    find_gain(l);
    rg_bench_lens_tell(l);
    if (p->photo >= 0 && l->passed == p->photo)
        return false; /* the next one is on its way */
    bool take_it = l->usable && (l->asked || (l->automatic && l->still && l->adds[0]));
    if (l->asked && !l->usable)
        snprintf(l->told, sizeof l->told, "not taken: %.380s", l->why);
    else if (!take_it)
        pass_over(l, p);
    l->asked = false;
    return take_it;
}

static void look_at(rg_bench_lens *l, const lens_picture *p)
{
    rg_board_photo photo = {0};
    rg_error err = {0};
    rg_code code = rg_lensjob_look(&l->config, l->finder, p->bytes, p->size, &photo, &err);
    if (code != RG_OK) {
        photo.used = false;
        rg_copy_text(photo.reason, sizeof photo.reason, err.text);
    }
    find_sight(l, &photo, &l->now);
    pthread_mutex_lock(&l->lock);
    bool take_it = decide(l, p, &photo);
    pthread_mutex_unlock(&l->lock);
    if (take_it)
        take(l, p, &photo);
    rg_board_photo_free(&photo);
    point_to(&l->before, &l->now);
}

void *rg_bench_lens_look(void *lens)
{
    rg_bench_lens *l = lens;
    l->before.view.corner = l->before.corner;
    pthread_mutex_lock(&l->lock);
    for (;;) {
        while (!l->stop && !l->waiting.bytes)
            pthread_cond_wait(&l->changed, &l->lock);
        if (l->stop)
            break;
        lens_picture p = l->waiting;
        l->waiting.bytes = NULL;
        l->looking = true;
        pthread_mutex_unlock(&l->lock);
        look_at(l, &p);
        free(p.bytes);
        pthread_mutex_lock(&l->lock);
        l->looking = false;
    }
    pthread_mutex_unlock(&l->lock);
    return NULL;
}

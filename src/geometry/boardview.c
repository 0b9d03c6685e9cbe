/*
 * boardview.c - border points of a board's tags, corners from them, and the
 * turns of corners and calibration.
 */
#include "rimglow/boardview.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edges.h"
#include "rimglow/memory.h"
#include "rimglow/stats.h"
#include "rimglow/text.h"

enum {
    SIDE_MIN = 48,  /* px: modules of six, of which three are clear of the pattern's blur */
    POINTS_MIN = 8, /* on a border, for a line */
    TRIMS = 3,      /* rounds of dropping points beside a line */
    TURNS = 10      /* of corners and calibration; three are usual */
};

static const double END_SKIP = 1.0 / 10.0; /* of a border, where the corner's blur bends it */
static const double MODULES = 8.0;         /* black border to black border */
static const double CLEAR = 0.9;           /* of a module of paper that is searched */
static const double PATTERN_BLUR_PX = 3.0; /* to which the pattern behind the border is blurred */
static const double SHORTEST_PX = 3.0;     /* of black that makes an edge */
static const double REACH_PX = 10.0;       /* off the chord between the library's corners */
static const double TRIM = 3.0;            /* robust standard deviations */
static const double TRIM_FLOOR_PX = 0.05;
static const double STILL_PX = 0.002; /* corners that move less have arrived */

/* ------------------------------------------------------------ border points */

static rg_vec2 mix(rg_vec2 a, rg_vec2 b, double k)
{
    return (rg_vec2){a.x + k * (b.x - a.x), a.y + k * (b.y - a.y)};
}

/* Searches one border; the sum of edge widths is added to sigma[]. */
static int search_border(const rg_edge_light *light, const rg_vec2 corner[4], int side,
                         rg_vec2 *point, double *sigma)
{
    rg_vec2 a = corner[side], b = corner[(side + 1) % 4];
    rg_vec2 far_a = corner[(side + 3) % 4], far_b = corner[(side + 2) % 4];
    double length = hypot(b.x - a.x, b.y - a.y);
    int found = 0;
    /* Clockwise as seen (y down): the left of the way is outside. */
    rg_vec2 normal = {(b.y - a.y) / length, -(b.x - a.x) / length};
    for (int i = 0; i < RG_BOARD_BORDER_POINTS; i++) {
        double part = END_SKIP + (1.0 - 2.0 * END_SKIP) * (i + 0.5) / RG_BOARD_BORDER_POINTS;
        rg_vec2 at = mix(a, b, part), across = mix(far_a, far_b, part);
        double module = ((at.x - across.x) * normal.x + (at.y - across.y) * normal.y) / MODULES;
        double inside = fmin(REACH_PX, module - PATTERN_BLUR_PX);
        rg_edge_query q = {at, normal, inside, fmin(REACH_PX, CLEAR * module), true, 0, NULL};
        rg_edge e;
        if (inside < SHORTEST_PX || !rg_edge_find(light, &q, &e))
            continue;
        sigma[found] = e.sigma;
        point[found++] = e.pixel;
    }
    return found;
}

static bool large_enough(const rg_vec2 corner[4], double side_px)
{
    for (int i = 0; i < 4; i++) {
        rg_vec2 a = corner[i], b = corner[(i + 1) % 4];
        if (!(hypot(b.x - a.x, b.y - a.y) >= side_px))
            return false;
    }
    return true;
}

static void leave_out(rg_board_photo *photo, const char *reason)
{
    photo->used = false;
    rg_copy_text(photo->reason, sizeof photo->reason, reason);
}

/* The same id twice: a second board or a reflection, nobody knows which counts. */
static bool given_twice(const rg_board *board, const rg_tag_list *tags, rg_board_photo *photo)
{
    for (int i = 0; i < tags->count; i++)
        for (int k = 0; k < i; k++)
            if (tags->tag[i].id == tags->tag[k].id && rg_board_index(board, tags->tag[i].id) >= 0) {
                leave_out(photo, "a tag of the board is there twice: a second board or a "
                                 "reflection; show one board only");
                return true;
            }
    return false;
}

typedef struct scan {
    double sigma[RG_BOARD_TAGS_MAX * 4 * RG_BOARD_BORDER_POINTS];
    size_t sigmas;
    int small; /* tags below the least size */
} scan;

static void search_tag(const rg_edge_light *light, const rg_board_limits *limits, const rg_tag *tag,
                       rg_board_photo *photo, scan *s)
{
    if (!large_enough(tag->corner, limits->min_tag_side_px)) {
        s->small++;
        return;
    }
    rg_tag_borders *to = &photo->tag[photo->tags];
    size_t before = s->sigmas;
    to->id = tag->id;
    for (int side = 0; side < 4; side++) {
        to->count[side] =
            search_border(light, tag->corner, side, to->point[side], s->sigma + s->sigmas);
        s->sigmas += (size_t)to->count[side];
        if (to->count[side] < POINTS_MIN) {
            s->sigmas = before;
            return;
        }
    }
    photo->tags++;
}

static void explain(const rg_board_limits *limits, const scan *s, rg_board_photo *photo)
{
    if (photo->tags_read == 0)
        leave_out(photo, "no tag of the board was read; light it evenly, focus on it, and check "
                         "that the board file's first_id is that of this board");
    else if (s->small > 0 && photo->tags + s->small >= limits->min_tags)
        snprintf(photo->reason, sizeof photo->reason,
                 "%d of %d tags are smaller than %g px; bring the board nearer or print a larger "
                 "one",
                 s->small, photo->tags_read, limits->min_tag_side_px);
    else
        snprintf(photo->reason, sizeof photo->reason,
                 "%d of %d tags read can be used, %d are needed; show more of the board, in focus",
                 photo->tags, photo->tags_read, limits->min_tags);
}

static rg_code check_arguments(const rg_board *board, const rg_board_limits *limits,
                               const rg_image *image, const rg_linear *linear, rg_error *err)
{
    rg_code code = rg_board_check(board, err);
    if (code != RG_OK)
        return code;
    if (!(limits->min_tag_side_px >= SIDE_MIN && limits->max_line_px > 0.0 &&
          limits->min_tags >= 1))
        return rg_fail(err, RG_BAD_DATA,
                       "board: tags of %g px, lines within %g px, %d tags; use %d px or more, more "
                       "than 0 px, 1 tag or more",
                       limits->min_tag_side_px, limits->max_line_px, limits->min_tags, SIDE_MIN);
    if (!image->data || image->channels != linear->channels || image->depth != linear->depth)
        return rg_fail(err, RG_INTERNAL,
                       "board: a picture of %d channels of %d bits with a light table for %d of %d",
                       image->channels, image->depth, linear->channels, linear->depth);
    return RG_OK;
}

rg_code rg_board_photo_new(rg_board_photo *photo, const rg_board *board,
                           const rg_board_limits *limits, const rg_image *image,
                           const rg_linear *linear, const rg_tag_list *tags, rg_error *err)
{
    *photo = (rg_board_photo){.width = image->width, .height = image->full_height};
    rg_code code = check_arguments(board, limits, image, linear, err);
    if (code != RG_OK || given_twice(board, tags, photo))
        return code;
    scan *s = rg_alloc(1, sizeof *s);
    photo->tag = rg_alloc(RG_BOARD_TAGS_MAX, sizeof *photo->tag);
    if (!s || !photo->tag) {
        free(s);
        rg_board_photo_free(photo);
        return rg_fail(err, RG_INTERNAL, "board: out of memory for the border points");
    }
    rg_edge_light light = {image, linear};
    for (int i = 0; i < tags->count; i++)
        if (rg_board_index(board, tags->tag[i].id) >= 0) {
            photo->tags_read++;
            search_tag(&light, limits, &tags->tag[i], photo, s);
        }
    photo->edge_sigma_px = s->sigmas ? rg_median_inplace(s->sigma, s->sigmas) : 0.0;
    photo->used = photo->tags >= limits->min_tags;
    if (!photo->used)
        explain(limits, s, photo);
    free(s);
    return RG_OK;
}

void rg_board_photo_free(rg_board_photo *photo)
{
    if (!photo)
        return;
    free(photo->tag);
    photo->tag = NULL;
    photo->tags = 0;
    photo->used = false;
}

/* ------------------------------------------------------------------ corners */

/* Points p with normal . p = offset. */
typedef struct border_line {
    rg_vec2 normal;
    double offset;
} border_line;

/* Total least squares through the points whose keep[] is set. */
static int fit_line(const rg_vec2 *p, const bool *keep, int n, border_line *line)
{
    double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
    int used = 0;
    for (int i = 0; i < n; i++)
        if (keep[i]) {
            mx += p[i].x;
            my += p[i].y;
            used++;
        }
    mx /= used > 0 ? used : 1;
    my /= used > 0 ? used : 1;
    for (int i = 0; i < n; i++)
        if (keep[i]) {
            xx += (p[i].x - mx) * (p[i].x - mx);
            xy += (p[i].x - mx) * (p[i].y - my);
            yy += (p[i].y - my) * (p[i].y - my);
        }
    double angle = 0.5 * atan2(2.0 * xy, xx - yy); /* of the line */
    line->normal = (rg_vec2){-sin(angle), cos(angle)};
    line->offset = line->normal.x * mx + line->normal.y * my;
    return used;
}

/* Line through a border's points, those beside it dropped; false when too few
 * stay or they scatter by more than max_rms. */
static bool fit_border(const rg_vec2 *p, int n, double max_rms, border_line *line)
{
    bool keep[RG_BOARD_BORDER_POINTS];
    double distance[RG_BOARD_BORDER_POINTS], work[RG_BOARD_BORDER_POINTS];
    memset(keep, 1, sizeof keep);
    int used = fit_line(p, keep, n, line);
    for (int round = 0; round < TRIMS; round++) {
        for (int i = 0; i < n; i++) {
            distance[i] = line->normal.x * p[i].x + line->normal.y * p[i].y - line->offset;
            work[i] = fabs(distance[i]);
        }
        double limit = fmax(TRIM * 1.4826 * rg_median_inplace(work, (size_t)n), TRIM_FLOOR_PX);
        for (int i = 0; i < n; i++)
            keep[i] = fabs(distance[i]) <= limit;
        used = fit_line(p, keep, n, line);
    }
    double sum = 0.0;
    for (int i = 0; i < n; i++) {
        double d = line->normal.x * p[i].x + line->normal.y * p[i].y - line->offset;
        sum += keep[i] ? d * d : 0.0;
    }
    return used >= POINTS_MIN && sqrt(sum / used) <= max_rms;
}

static bool meet(const border_line *a, const border_line *b, rg_vec2 *at)
{
    double det = a->normal.x * b->normal.y - a->normal.y * b->normal.x;
    *at = (rg_vec2){(a->offset * b->normal.y - b->offset * a->normal.y) / det,
                    (a->normal.x * b->offset - b->normal.x * a->offset) / det};
    return fabs(det) > 0.1;
}

/* A pixel where the lens makes lines straight, in pixels again, and back. */
static bool straighten(const rg_lens *lens, rg_vec2 p, rg_vec2 *to)
{
    rg_vec2 n;
    if (!rg_lens_inverse(lens, p, &n))
        return false;
    *to = (rg_vec2){lens->fx * n.x, lens->fy * n.y};
    return true;
}

static rg_vec2 bend(const rg_lens *lens, rg_vec2 p)
{
    return rg_lens_forward(lens, (rg_vec2){p.x / lens->fx, p.y / lens->fy});
}

static bool tag_corners(const rg_tag_borders *tag, double max_line_px, const rg_lens *lens,
                        rg_vec2 corner[4])
{
    border_line line[4];
    for (int side = 0; side < 4; side++) {
        rg_vec2 p[RG_BOARD_BORDER_POINTS];
        for (int i = 0; i < tag->count[side]; i++) {
            p[i] = tag->point[side][i];
            if (lens && !straighten(lens, p[i], &p[i]))
                return false;
        }
        if (!fit_border(p, tag->count[side], max_line_px, &line[side]))
            return false;
    }
    for (int i = 0; i < 4; i++) {
        if (!meet(&line[(i + 3) % 4], &line[i], &corner[i]))
            return false;
        if (lens)
            corner[i] = bend(lens, corner[i]);
    }
    return true;
}

int rg_board_photo_corners(const rg_board_photo *photo, const rg_board *board,
                           const rg_board_limits *limits, const rg_lens *lens, rg_corner *corner)
{
    int count = 0;
    /* Bent borders are no straight lines yet. */
    double max_line_px = lens ? limits->max_line_px : 10.0 * limits->max_line_px;
    for (int i = 0; i < photo->tags; i++) {
        rg_vec2 body[4], pixel[4];
        if (!tag_corners(&photo->tag[i], max_line_px, lens, pixel))
            continue;
        rg_board_corners(board, rg_board_index(board, photo->tag[i].id), body);
        for (int k = 0; k < 4; k++)
            corner[count++] = (rg_corner){body[k], pixel[k]};
    }
    return count;
}

/* -------------------------------------------------------------------- turns */

void rg_views_free(rg_view *view, int views)
{
    for (int i = 0; i < views; i++) {
        free(view[i].corner);
        view[i] = (rg_view){0};
    }
}

/* Views for the photographs in use, with room for their corners. */
static rg_code open_views(const rg_board_photo *photo, const char *const *name, int photos,
                          const rg_board_photo **of, rg_view *view, int *views, rg_error *err)
{
    *views = 0;
    for (int i = 0; i < photos; i++) {
        const rg_board_photo *p = &photo[i];
        if (!p->used)
            continue;
        if (*views > 0 && (p->width != of[0]->width || p->height != of[0]->height))
            return rg_fail(err, RG_BAD_DATA,
                           "%s is %d x %d px, %s is %d x %d; a lens is calibrated with pictures of "
                           "one size",
                           name[i], p->width, p->height, view[0].name, of[0]->width, of[0]->height);
        rg_view *v = &view[*views];
        *v = (rg_view){.corner = rg_alloc(4 * (size_t)p->tags, sizeof *v->corner)};
        rg_copy_text(v->name, sizeof v->name, name[i]);
        of[(*views)++] = p;
        if (!v->corner)
            return rg_fail(err, RG_INTERNAL, "board: out of memory for %d tags", p->tags);
    }
    return RG_OK;
}

/* Corners anew with this lens; returns how far the farthest moved, px, or
 * HUGE_VAL when their number changed. */
static double find_corners(const rg_board *board, const rg_board_limits *limits,
                           const rg_board_photo *const *of, const rg_lens *lens, rg_view *view,
                           int views)
{
    rg_corner fresh[4 * RG_BOARD_TAGS_MAX];
    double moved = 0.0;
    for (int i = 0; i < views; i++) {
        int count = rg_board_photo_corners(of[i], board, limits, lens, fresh);
        for (int k = 0; k < count && k < view[i].corners; k++)
            moved = fmax(moved, hypot(fresh[k].pixel.x - view[i].corner[k].pixel.x,
                                      fresh[k].pixel.y - view[i].corner[k].pixel.y));
        if (count != view[i].corners)
            moved = HUGE_VAL;
        view[i].corners = count;
        memcpy(view[i].corner, fresh, (size_t)count * sizeof *fresh);
    }
    return moved;
}

static rg_code take_turns(const rg_board *board, const rg_board_limits *limits,
                          const rg_board_photo *const *of, const rg_calibration_options *options,
                          rg_view *view, int views, rg_calibration *result, rg_error *err)
{
    int width = views ? of[0]->width : 1, height = views ? of[0]->height : 1;
    find_corners(board, limits, of, NULL, view, views);
    rg_code code = rg_calibrate(view, views, width, height, options, result, err);
    for (int turn = 0; turn < TURNS && code == RG_OK; turn++) {
        rg_lens lens = result->fit.lens;
        double moved = find_corners(board, limits, of, &lens, view, views);
        if (moved < STILL_PX)
            break;
        rg_calibration_free(result);
        code = rg_calibrate(view, views, width, height, options, result, err);
    }
    return code;
}

rg_code rg_board_calibrate(const rg_board *board, const rg_board_limits *limits,
                           const rg_board_photo *photo, const char *const *name, int photos,
                           const rg_calibration_options *options, rg_view *view, int *views,
                           rg_calibration *result, rg_error *err)
{
    *result = (rg_calibration){0};
    *views = 0;
    const rg_board_photo **of = rg_alloc((size_t)photos, sizeof *of);
    if (!of)
        return rg_fail(err, RG_INTERNAL, "board: out of memory for %d photographs", photos);
    rg_code code = open_views(photo, name, photos, of, view, views, err);
    if (code == RG_OK)
        code = take_turns(board, limits, of, options, view, *views, result, err);
    free(of);
    if (code != RG_OK) {
        rg_views_free(view, *views);
        *views = 0;
    }
    return code;
}

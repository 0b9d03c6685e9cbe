/*
 * bench_frame.c - what one picture says about the bench. Part of bench_check.h.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/bench_check.h"
#include "rimglow/stats.h"
#include "rimglow/text.h"

static const double LEAST_CLEAR_PX = 8; /* narrower borders show no MTF */
static const double MOST_CLEAR_PX = 40; /* wider windows add noise only */

typedef struct looking {
    const rg_setup *setup;
    const rg_bench_limits *limits;
    rg_tag_finder *finder;
    rg_image luma;
    rg_linear linear;
    rg_plane light;
    const rg_crown_pose *pose;
    rg_crown_pose own; /* where the frame's could not be used */
    rg_crown crown;    /* with the tag edge that fits */
    double tried;      /* that edge over the stated one */
} looking;

/* Tones of the whole picture; clipped pixels outside the strip's rectangle. */
static void weigh_tones(const looking *l, rg_bench_frame *out)
{
    const rg_image *im = &l->luma;
    const rg_measure_options *o = &l->setup->options;
    const uint8_t *code = im->data;
    size_t counts[RG_BENCH_TONES] = {0}, clipped = 0, beside = 0;
    int box[4] = {0, 0, 0, 0};
    if (!l->pose || rg_strip_extent(&l->setup->lens, &l->pose->pose, &l->setup->rim, &o->strip, box,
                                    NULL) != RG_OK)
        memset(box, 0, sizeof box);
    for (int y = 0; y < im->height; y++)
        for (int x = 0; x < im->width; x++, code++) {
            counts[*code / (256 / RG_BENCH_TONES)]++;
            if (x >= box[0] && x < box[0] + box[2] && y >= box[1] && y < box[1] + box[3])
                continue;
            beside++;
            clipped += (double)l->linear.light[*code] >= o->witness.saturation;
        }
    double all = (double)im->width * im->height;
    for (int i = 0; i < RG_BENCH_TONES; i++)
        out->tones[i] = (double)counts[i] / all;
    out->clipped = beside ? (double)clipped / (double)beside : NAN;
}

/* The crown's pose: the frame's own, or with another tag edge where that fits. */
static rg_code find_crown(looking *l, const rg_frame *frame, rg_error *err)
{
    rg_tag_list tags;
    l->crown = l->setup->crown;
    l->tried = 1;
    if (frame->pose.state == RG_POSE_OK && frame->pose.crown.points > 0) {
        l->pose = &frame->pose.crown;
        return RG_OK;
    }
    /* Placed by a jig or by marks: there is no crown to look at. */
    if (frame->pose.source != RG_PLACE_CROWN)
        return RG_OK;
    if (frame->pose.state != RG_POSE_REPROJECTION && frame->pose.state != RG_POSE_TOO_FEW_EDGES)
        return RG_OK;
    rg_code code =
        rg_tags_find(l->finder, l->luma.data, l->luma.width, l->luma.height, false, &tags, err);
    if (code == RG_OK)
        code = rg_crown_rescale(&l->crown, &l->setup->options.crown, &l->setup->lens, &l->luma,
                                &l->linear, &tags, &l->tried, &l->own, err);
    if (code == RG_OK && l->own.state == RG_POSE_OK) {
        l->pose = &l->own;
        l->crown.tag_size_mm *= l->tried;
    }
    return code;
}

/* Half width of the border's region that stays in the picture; 0 for none. */
static double room_beside(const rg_plane *light, const rg_crown_border *b)
{
    double room = fmin(b->clear_px, MOST_CLEAR_PX);
    const rg_vec2 end[2] = {b->from, b->to};
    for (int i = 0; i < 2; i++) {
        double x = fmin(end[i].x, light->width - 1 - end[i].x);
        double y = fmin(end[i].y, light->height - 1 - end[i].y);
        room = fmin(room, fabs(b->normal.x) > fabs(b->normal.y) ? x - 2 : y - 2);
    }
    return room;
}

typedef struct sharp {
    double mtf50, distance_mm;
} sharp;

static int nearer(const void *a, const void *b)
{
    const sharp *p = a, *q = b;
    return (p->distance_mm > q->distance_mm) - (p->distance_mm < q->distance_mm);
}

static double median_mtf50(const sharp *s, int from, int to)
{
    double work[RG_CROWN_BORDERS];
    for (int i = from; i < to; i++)
        work[i - from] = s[i].mtf50;
    return rg_median_inplace(work, (size_t)(to - from));
}

static rg_code measure_sharpness(const looking *l, rg_bench_frame *out, rg_error *err)
{
    sharp s[RG_CROWN_BORDERS];
    int n = 0;
    for (int i = 0; i < out->sight.borders; i++) {
        const rg_crown_border *b = &out->sight.border[i];
        rg_slanted_query q = {b->from, b->to, room_beside(&l->light, b),
                              l->setup->options.overexposed_light};
        rg_slanted_edge e;
        if (!(q.half_width_px >= LEAST_CLEAR_PX))
            continue;
        rg_code code = rg_slanted_edge_measure(&l->light, &q, &e, err);
        if (code != RG_OK)
            return code;
        if (e.state != RG_SLANTED_OK)
            continue;
        s[n++] = (sharp){e.mtf50, b->distance_mm};
        for (int k = 0; k < RG_MTF_POINTS; k++)
            out->mtf[k] += e.mtf[k];
    }
    for (int k = 0; n && k < RG_MTF_POINTS; k++)
        out->mtf[k] /= n;
    out->edges = n;
    if (n)
        out->mtf50 = median_mtf50(s, 0, n);
    /* cppcheck-suppress uninitvar ; the first n are set */
    qsort(s, (size_t)n, sizeof *s, nearer);
    if (n >= 4)
        out->far_share = median_mtf50(s, n - n / 2, n) / median_mtf50(s, 0, n / 2);
    return RG_OK;
}

static void measure_sampling(const looking *l, rg_bench_frame *out)
{
    double bearing, elevation, distance;
    rg_rim_camera(&l->pose->pose, &bearing, &elevation, &distance);
    rg_rim_view v = rg_rim_look(&l->setup->lens, &l->pose->pose,
                                l->setup->rim.outer_diameter_mm / 2, 0, bearing);
    out->px_per_mm = v.in_front ? v.px_per_mm : NAN;
    for (int i = 0; i < out->sight.borders; i++) {
        const rg_crown_border *b = &out->sight.border[i];
        double size = hypot(b->to.x - b->from.x, b->to.y - b->from.y);
        /* The points cover 5/6 of a border of 8 modules, but for half a step of
         * forty at either end. */
        size /= 5.0 / 6 * (1 - 1.0 / 40) * 8;
        out->module_px = fmax(size, isnan(out->module_px) ? 0 : out->module_px);
    }
}

static rg_code measure_rim(const looking *l, rg_bench_frame *out, rg_error *err)
{
    double r = l->setup->rim.outer_diameter_mm / 2;
    rg_outline_query q = {.radius_mm = r,
                          .low_mm = -l->limits->outline_depth_mm,
                          .high_mm = -l->limits->outline_top_mm,
                          .reach_mm = l->limits->outline_reach * r};
    rg_error why = {0};
    rg_code code =
        rg_outline_measure(&l->light, &l->setup->lens, &l->pose->pose, &q, &out->rim, &why);
    /* A camera too near for an outline shows none. */
    return code == RG_BAD_DATA || code == RG_OK ? RG_OK : rg_fail(err, code, "%s", why.text);
}

static rg_code examine(looking *l, rg_bench_frame *out, rg_error *err)
{
    const rg_crown_limits *limits = &l->setup->options.crown;
    out->pose = l->pose->pose;
    out->u_place_mm = sqrt((l->pose->covariance[3][3] + l->pose->covariance[4][4]) / 2);
    rg_code code = rg_crown_examine(&l->crown, limits->min_tag_side_px, &l->setup->lens, &l->luma,
                                    &l->linear, &l->pose->pose, &out->sight, err);
    if (code != RG_OK)
        return code;
    out->crown = out->sight.borders > 0;
    out->tag_ratio = out->sight.tag_ratio * l->tried;
    measure_sampling(l, out);
    code = rg_plane_new(&l->light, &l->luma, &l->linear, 0, 0, l->luma.width, l->luma.height, true,
                        err);
    if (code == RG_OK)
        code = measure_sharpness(l, out, err);
    if (code == RG_OK && out->role != RG_FRAME_WITNESS)
        code = measure_rim(l, out, err);
    rg_plane_free(&l->light);
    return code;
}

static void start(const rg_frame *frame, rg_bench_frame *out)
{
    *out = (rg_bench_frame){.role = frame->role,
                            .exposure = frame->exposure,
                            .bearing_deg = frame->bearing_deg,
                            .elevation_deg = frame->elevation_deg,
                            .u_place_mm = NAN,
                            .tag_ratio = NAN,
                            .mtf50 = NAN,
                            .far_share = NAN,
                            .px_per_mm = NAN,
                            .module_px = NAN,
                            .clipped = NAN};
    out->rim = (rg_outline){.left_mm = NAN, .right_mm = NAN, .ratio = NAN, .u_ratio = NAN};
    if (!frame->used)
        rg_copy_text(out->reason, sizeof out->reason, frame->reason);
}

rg_code rg_bench_look(const rg_setup *setup, const rg_bench_limits *limits, rg_tag_finder *finder,
                      const uint8_t *bytes, size_t size, const rg_frame *frame, rg_bench_frame *out,
                      rg_error *err)
{
    static const double unit[3] = {1, 0, 0};
    looking l = {.setup = setup, .limits = limits, .finder = finder};
    rg_error why = {0};
    start(frame, out);
    rg_code code = rg_decode_luma(bytes, size, setup->options.code_weights, &l.luma, &why);
    if (code == RG_BAD_DATA)
        return RG_OK; /* the frame's reason says it */
    if (code != RG_OK)
        return rg_fail(err, code, "%s", why.text);
    out->decoded = true;
    code = rg_linear_new(&l.linear, 1, 8, unit, err);
    bool fits = l.luma.width == setup->lens.width && l.luma.full_height == setup->lens.height &&
                l.luma.warnings == 0;
    if (code == RG_OK && fits)
        code = find_crown(&l, frame, err);
    if (code == RG_OK)
        weigh_tones(&l, out);
    if (code == RG_OK && l.pose)
        code = examine(&l, out, err);
    rg_linear_free(&l.linear);
    rg_image_free(&l.luma);
    return code;
}

/*
 * frame.c - one frame: decode, place, strip. Part of pipeline.h.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/anchor.h"
#include "rimglow/memory.h"
#include "rimglow/pipeline.h"
#include "rimglow/text.h"

static void leave_out(rg_frame *frame, const char *reason)
{
    frame->used = false;
    rg_copy_text(frame->reason, sizeof frame->reason, reason);
}

static bool size_fits(const rg_setup *setup, const rg_image *image, rg_frame *frame)
{
    if (image->width == setup->lens.width && image->full_height == setup->lens.height)
        return true;
    snprintf(frame->reason, sizeof frame->reason,
             "the picture has %d x %d px but the station's lens values are for %d x %d; use the "
             "camera setting of the calibration or calibrate this one",
             image->width, image->full_height, setup->lens.width, setup->lens.height);
    return false;
}

static bool light_fits(const rg_setup *setup, rg_frame *frame)
{
    const rg_measure_options *o = &setup->options;
    double white = frame->pose.white_light;
    /* A witness is taken darker on purpose. */
    if (white > o->overexposed_light) {
        snprintf(frame->reason, sizeof frame->reason,
                 "overexposed: the crown's paper reads %.3f of full scale, at most %.3f; shorten "
                 "the exposure or dim the room",
                 white, o->overexposed_light);
        return false;
    }
    if (white < o->dark_light * fmin(frame->exposure, 1)) {
        snprintf(frame->reason, sizeof frame->reason,
                 "too dark: the crown's paper reads %.4f of full scale, at least %.4f; expose "
                 "longer or light the crown softly",
                 white, o->dark_light * fmin(frame->exposure, 1));
        return false;
    }
    return true;
}

/* Linear light below which so great a share of the picture lies. */
static double light_at(const rg_image *luma, const rg_linear *linear, double share)
{
    size_t count[256] = {0}, n = (size_t)luma->width * (size_t)luma->height, below = 0;
    const uint8_t *code = luma->data;
    int at = 0;
    for (size_t i = 0; i < n; i++)
        count[code[i]]++;
    while (at < 255 && (double)(below += count[at]) < share * (double)n)
        at++;
    return (double)linear->light[at];
}

/* Where no crown was read, the light may be the reason. */
static void explain_by_light(const rg_setup *setup, const rg_image *luma, const rg_linear *linear,
                             rg_frame *frame)
{
    const rg_measure_options *o = &setup->options;
    double least = o->dark_light * fmin(frame->exposure, 1);
    double middle = light_at(luma, linear, 0.5), high = light_at(luma, linear, 0.9);
    if (high < least)
        snprintf(frame->reason, sizeof frame->reason,
                 "no crown, too dark: nine tenths of the picture are below %.4f of full scale, the "
                 "crown's paper must reach %.4f; expose longer or light the crown softly",
                 high, least);
    else if (middle > o->overexposed_light)
        snprintf(frame->reason, sizeof frame->reason,
                 "no crown, overexposed: half of the picture is above %.3f of full scale, the "
                 "crown's paper may reach %.3f; shorten the exposure or dim the room",
                 middle, o->overexposed_light);
}

/* Without a crown nothing in the picture has a known brightness. */
static bool whole_light_fits(const rg_setup *setup, const rg_image *luma, const rg_linear *linear,
                             rg_frame *frame)
{
    const rg_measure_options *o = &setup->options;
    double least = o->dark_light * fmin(frame->exposure, 1);
    double middle = light_at(luma, linear, 0.5), high = light_at(luma, linear, 0.9);
    if (high < least)
        snprintf(frame->reason, sizeof frame->reason,
                 "too dark: nine tenths of the picture are below %.4f of full scale, they must "
                 "reach %.4f; expose longer or light the bench softly",
                 high, least);
    else if (middle > o->overexposed_light)
        snprintf(frame->reason, sizeof frame->reason,
                 "overexposed: half of the picture is above %.3f of full scale, at most %.3f; "
                 "shorten the exposure or dim the room",
                 middle, o->overexposed_light);
    return frame->reason[0] == '\0';
}

static void note_camera(rg_frame *frame)
{
    if (frame->pose.state == RG_POSE_OK)
        rg_rim_camera(&frame->pose.pose, &frame->bearing_deg, &frame->elevation_deg,
                      &frame->distance_mm);
}

/* By jig or marks. */
static rg_code locate_stated(const rg_setup *setup, const rg_image *luma, const rg_linear *linear,
                             const rg_place_given *given, rg_frame *frame, rg_error *err)
{
    if (!given || !isfinite(given->bearing_deg) ||
        (setup->place.source == RG_PLACE_JIG && !isfinite(given->elevation_deg)))
        return rg_fail(err, RG_BAD_DATA,
                       "the frame's bearing%s is not stated; add it behind the role in [frames]",
                       setup->place.source == RG_PLACE_JIG ? " or elevation" : "");
    rg_code code = rg_place_locate(
        &setup->place, &setup->lens, &setup->rim, luma, linear, given,
        frame->role == RG_FRAME_WITNESS || setup->options.psf_sigma_px > 0, &frame->pose, err);
    if (code != RG_OK)
        return code;
    if (frame->pose.state != RG_POSE_OK)
        leave_out(frame, frame->pose.reason);
    note_camera(frame);
    frame->used = frame->pose.state == RG_POSE_OK && whole_light_fits(setup, luma, linear, frame);
    return RG_OK;
}

/* What is known of a frame beforehand; NULL: nothing. */
typedef struct hints {
    const rg_place_given *given;
    const rg_pose *near;
} hints;

/* The crown may have moved by so much of the picture's width since the pose that it is looked for at. */
static const double NEAR_PART = 1.0 / 16;

/* A crown fills a good part of a useful frame, so its tags are large and are looked for in small pictures first, of
 * about so many px across. Only what is found counts: where it gives no pose, the whole picture is searched in full. */
static const int look_px[] = {213, 427};
enum { LOOKS = sizeof look_px / sizeof look_px[0] };

static void widen(int box[4], int by)
{
    box[0] -= by, box[1] -= by;
    box[2] += by, box[3] += by;
}

/* Of what lies in the picture. */
static bool holds(const int outer[4], const int inner[4], int width, int height)
{
    return (inner[0] >= outer[0] || outer[0] <= 0) && (inner[1] >= outer[1] || outer[1] <= 0) &&
           (inner[2] <= outer[2] || outer[2] >= width - 1) &&
           (inner[3] <= outer[3] || outer[3] >= height - 1);
}

/* What locating works on. */
typedef struct sight {
    const rg_setup *setup;
    rg_tag_finder *finder;
    const rg_image *luma;
    const rg_linear *linear;
} sight;

static rg_code fit_crown(const sight *s, const rg_tag_list *tags, bool sure_only,
                         rg_crown_pose *crown, rg_error *err)
{
    rg_crown_limits limits = s->setup->options.crown;
    limits.sure_only = sure_only;
    return rg_crown_locate(&s->setup->crown, &limits, &s->setup->lens, s->luma, s->linear, tags,
                           crown, err);
}

/* In small pictures, within the box; NULL: everywhere. */
static rg_code locate_large(const sight *s, const int box[4], rg_crown_pose *crown, bool *found,
                            rg_error *err)
{
    rg_tag_list tags;
    *found = false;
    for (int i = 0; i < LOOKS && !*found; i++) {
        int reduce = (s->luma->width + look_px[i] / 2) / look_px[i];
        if (reduce < 2)
            break;
        if (reduce > RG_TAGS_REDUCE_MAX)
            reduce = RG_TAGS_REDUCE_MAX;
        rg_code code = rg_tags_find_large(s->finder, s->luma->data, s->luma->width, s->luma->height,
                                          box, reduce, &tags, err);
        if (code == RG_OK && tags.count > 0)
            code = fit_crown(s, &tags, true, crown, err);
        if (code != RG_OK)
            return code;
        *found = tags.count > 0 && crown->state == RG_POSE_OK;
    }
    return RG_OK;
}

/* Looks for the crown about where it was. Not found, or not wholly within what was searched: all of the
 * picture has to be searched. */
static rg_code locate_near(const sight *s, const rg_pose *near, rg_crown_pose *crown, bool *found,
                           rg_error *err)
{
    int box[4], now[4], margin = (int)(NEAR_PART * s->luma->width);
    *found = false;
    if (!rg_crown_box(&s->setup->crown, &s->setup->lens, near, box))
        return RG_OK;
    widen(box, margin);
    rg_code code = locate_large(s, box, crown, found, err);
    if (code != RG_OK || !*found)
        return code;
    *found = rg_crown_box(&s->setup->crown, &s->setup->lens, &crown->pose, now);
    widen(now, margin / 8);
    *found = *found && holds(box, now, s->luma->width, s->luma->height);
    return RG_OK;
}

/* All that can be found: it decides what is wrong with a frame that gives no pose. */
static rg_code locate_thoroughly(const sight *s, rg_crown_pose *crown, rg_error *err)
{
    rg_tag_list tags;
    const rg_image *l = s->luma;
    rg_code code = rg_tags_find(s->finder, l->data, l->width, l->height, false, &tags, err);
    if (code == RG_OK && tags.count == 0)
        code = rg_tags_find(s->finder, l->data, l->width, l->height, true, &tags, err);
    return code == RG_OK ? fit_crown(s, &tags, false, crown, err) : code;
}

static rg_code locate(const rg_setup *setup, rg_tag_finder *finder, const rg_image *luma,
                      const rg_linear *linear, const rg_pose *near, rg_frame *frame, rg_error *err)
{
    const sight s = {setup, finder, luma, linear};
    rg_crown_pose crown;
    bool found = false;
    rg_code code = near ? locate_near(&s, near, &crown, &found, err) : RG_OK;
    if (code == RG_OK && !found)
        code = locate_large(&s, NULL, &crown, &found, err);
    if (code == RG_OK && !found)
        code = locate_thoroughly(&s, &crown, err);
    if (code != RG_OK)
        return code;
    rg_place_from_crown(&crown, &frame->pose);
    if (frame->pose.state != RG_POSE_OK)
        leave_out(frame, frame->pose.reason);
    if (frame->pose.state == RG_POSE_NO_CROWN)
        explain_by_light(setup, luma, linear, frame);
    note_camera(frame);
    frame->used = frame->pose.state == RG_POSE_OK && light_fits(setup, frame);
    return RG_OK;
}

static rg_code unwrap(const rg_setup *setup, const rg_image *luma, const rg_linear *linear,
                      rg_frame *frame, rg_error *err)
{
    int box[4];
    rg_plane plane = {0};
    rg_error why = {0};
    const rg_strip_options *so = &setup->options.strip;
    if (rg_strip_extent(&setup->lens, &frame->pose.pose, &setup->rim, so, box, &why) != RG_OK) {
        leave_out(frame, why.text);
        return RG_OK;
    }
    rg_code code = rg_plane_new(&plane, luma, linear, box[0], box[1], box[2], box[3], true, err);
    if (code == RG_OK)
        code = rg_strip_new(&frame->strip, &plane, &setup->lens, &frame->pose.pose, &setup->rim, so,
                            err);
    rg_plane_free(&plane);
    return code;
}

/* A place that no crown gives is held at the rim that the frame itself shows. */
static rg_code anchor(const rg_setup *setup, rg_frame *frame, rg_error *err)
{
    rg_anchor held;
    if (!frame->used || frame->pose.source == RG_PLACE_CROWN)
        return RG_OK;
    rg_code code =
        rg_anchor_frame(&frame->strip, setup->rim.outer_diameter_mm / 2, setup->options.mark_every,
                        &setup->options.rimline, &frame->pose, &held, err);
    frame->used = code == RG_OK && (held.held || !held.needed);
    if (code == RG_OK && !frame->used)
        snprintf(frame->reason, sizeof frame->reason,
                 "the rim's edge was not found where the outlines put it: %d of %d columns agree; "
                 "light the chimney softly, or mark the rim's ends in this frame",
                 held.inliers, held.marks);
    rg_strip_free(&frame->strip);
    note_camera(frame);
    return code;
}

/* The gap of a cracked pad lies below the cup's plane. Jig and marks give the
 * rim's, or the lower edge of a pad that stands a millimetre or two above it:
 * there it is looked for to either side. */
static rg_pose witness_pose(const rg_setup *setup, const rg_frame *frame)
{
    rg_pose pose = frame->pose.pose;
    double up = setup->options.witness.reach_mm / 2;
    if (frame->pose.source == RG_PLACE_CROWN)
        return pose;
    pose.t = rg_pose_apply(&pose, rg_vec3_make(0, 0, up));
    return pose;
}

/* Only the witness needs colours: the lamp is measured channel by channel, in
 * the rows below the pad. */
static rg_code witness_light(const rg_setup *setup, const uint8_t *bytes, size_t size,
                             rg_frame *frame, rg_error *err)
{
    static const double unit[3] = {1, 0, 0};
    int box[4];
    rg_image image = {0};
    rg_plane rgb = {0};
    rg_linear linear = {0};
    rg_error why = {0};
    const rg_witness_options *wo = &setup->options.witness;
    rg_pose pose = witness_pose(setup, frame);
    if (rg_witness_extent(&setup->lens, &pose, &setup->rim, wo, box, &why) != RG_OK) {
        leave_out(frame, why.text);
        return RG_OK;
    }
    rg_code code = rg_decode_rows(bytes, size, box[1], box[3], &image, err);
    if (code == RG_OK)
        code = rg_linear_new(&linear, image.channels, image.depth, unit, err);
    if (code == RG_OK)
        code = rg_plane_new(&rgb, &image, &linear, box[0], box[1], box[2], box[3], false, err);
    if (code == RG_OK)
        code = rg_witness_measure(&rgb, &setup->lens, &pose, &setup->rim, frame->exposure, wo,
                                  &frame->witness, err);
    if (code == RG_OK && !frame->witness.lit)
        leave_out(frame, frame->witness.reason);
    rg_plane_free(&rgb);
    rg_linear_free(&linear);
    rg_image_free(&image);
    return code;
}

static rg_code take_luma(const rg_setup *setup, rg_tag_finder *finder, const rg_image *luma,
                         const hints *known, rg_frame *frame, rg_error *err)
{
    static const double unit[3] = {1, 0, 0};
    rg_linear linear = {0};
    rg_code code = rg_linear_new(&linear, 1, 8, unit, err);
    bool crown = setup->place.source == RG_PLACE_CROWN;
    if (code == RG_OK)
        code = crown ? locate(setup, finder, luma, &linear, known->near, frame, err)
                     : locate_stated(setup, luma, &linear, known->given, frame, err);
    bool wanted = code == RG_OK && frame->used && frame->role != RG_FRAME_WITNESS &&
                  frame->role != RG_FRAME_OPEN;
    if (wanted)
        code = unwrap(setup, luma, &linear, frame, err);
    if (wanted && !crown && code == RG_OK)
        code = anchor(setup, frame, err);
    if (wanted && !crown && code == RG_OK && frame->used)
        code = unwrap(setup, luma, &linear, frame, err);
    rg_linear_free(&linear);
    return code;
}

/* The rim is found later, in all open frames at once: they keep their picture. */
static void keep_open(rg_frame *frame, rg_image *luma)
{
    frame->luma = *luma;
    *luma = (rg_image){0};
    leave_out(frame, "the key is open: a frame for key heights, not for the seal");
}

static rg_code take(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes, size_t size,
                    rg_frame_role role, double exposure, const hints *known, rg_frame *frame,
                    rg_error *err)
{
    rg_image luma = {0};
    rg_error why = {0};
    *frame = (rg_frame){.role = role, .exposure = exposure};
    frame->pose.source = setup->place.source;
    bool open = role == RG_FRAME_OPEN;
    if (open && setup->place.source != RG_PLACE_CROWN) {
        leave_out(frame, "the key is open: a frame for key heights, which need the crown");
        return RG_OK;
    }
    rg_code code = rg_decode_luma(bytes, size, setup->options.code_weights, &luma, &why);
    if (code == RG_BAD_DATA) {
        leave_out(frame, why.text);
        return RG_OK;
    }
    if (code != RG_OK)
        return rg_fail(err, code, "%s", why.text);
    frame->width = luma.width;
    frame->height = luma.full_height;
    if (luma.warnings)
        snprintf(frame->reason, sizeof frame->reason,
                 "damaged picture data (%.120s): not evidence; take the frame again", luma.warning);
    else if (size_fits(setup, &luma, frame))
        code = take_luma(setup, finder, &luma, known, frame, err);
    if (code == RG_OK && open && frame->used)
        keep_open(frame, &luma);
    rg_image_free(&luma);
    if (code == RG_OK && frame->used && role == RG_FRAME_WITNESS)
        code = witness_light(setup, bytes, size, frame, err);
    if (code != RG_OK)
        rg_frame_free(frame);
    return code;
}

rg_code rg_frame_take(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                      size_t size, rg_frame_role role, double exposure, rg_frame *frame,
                      rg_error *err)
{
    const hints nothing = {NULL, NULL};
    return take(setup, finder, bytes, size, role, exposure, &nothing, frame, err);
}

rg_code rg_frame_take_placed(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                             size_t size, rg_frame_role role, double exposure,
                             const rg_place_given *given, rg_frame *frame, rg_error *err)
{
    const hints stated = {given, NULL};
    return take(setup, finder, bytes, size, role, exposure, &stated, frame, err);
}

rg_code rg_frame_take_near(const rg_setup *setup, rg_tag_finder *finder, const uint8_t *bytes,
                           size_t size, rg_frame_role role, double exposure, const rg_pose *near,
                           rg_frame *frame, rg_error *err)
{
    const hints last = {NULL, near};
    return take(setup, finder, bytes, size, role, exposure, &last, frame, err);
}

void rg_frame_free(rg_frame *frame)
{
    if (!frame)
        return;
    rg_strip_free(&frame->strip);
    rg_rimlight_free(&frame->light);
    rg_image_free(&frame->luma);
}

/* A frame that could not be decoded was never looked at: its pose is all zero. */
bool rg_frame_posed(const rg_frame *frame)
{
    return frame->pose.state == RG_POSE_OK && frame->distance_mm > 0;
}

/* rg_sweep_measure changes used, reason, shift_mm and angles, plain values of the copy, and makes
 * light; it only reads the strip. */
rg_frame rg_frame_borrow(const rg_frame *taken)
{
    rg_frame borrowed = *taken;
    borrowed.light = (rg_rimlight){0};
    return borrowed;
}

void rg_frame_return(rg_frame *borrowed)
{
    rg_rimlight_free(&borrowed->light);
    borrowed->strip = (rg_strip){0};
    borrowed->luma = (rg_image){0};
}

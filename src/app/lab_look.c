/*
 * lab_look.c - one view, and the views that a hand collects.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lab_private.h"
#include "rimglow/memory.h"

/* Columns to either side of the camera's bearing whose flux is told. */
static const double flux_deg = 3;
/* Views nearer to each other than this are one: the newer counts. */
static const double same_place_deg = 0.02;

struct rg_lab_hand {
    rg_render_sweep face; /* under the finger, of all views */
    int count;
    rg_frame *frame; /* owned */
};

rg_code rg_lab_hand_new(rg_lab_hand **hand, rg_error *err)
{
    *hand = rg_alloc(1, sizeof **hand);
    return *hand ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for views");
}

void rg_lab_hand_empty(rg_lab_hand *hand)
{
    for (int i = 0; i < hand->count; i++)
        rg_frame_free(&hand->frame[i]);
    hand->count = 0;
}

void rg_lab_hand_free(rg_lab_hand *hand)
{
    if (!hand)
        return;
    rg_lab_hand_empty(hand);
    free(hand->frame);
    free(hand);
}

/* ---------------------------------------------------------------- collecting */

static void drop(rg_lab_hand *hand, int at)
{
    rg_frame_free(&hand->frame[at]);
    memmove(hand->frame + at, hand->frame + at + 1,
            (size_t)(--hand->count - at) * sizeof *hand->frame);
}

static bool same_place(const rg_frame *a, const rg_frame *b)
{
    return fabs(rg_angle_between(a->bearing_deg, b->bearing_deg)) < same_place_deg &&
           fabs(a->elevation_deg - b->elevation_deg) < same_place_deg;
}

/* A copy with a strip of its own. */
static rg_code copy_frame(const rg_frame *frame, rg_frame *copy, rg_error *err)
{
    const rg_strip *from = &frame->strip;
    size_t columns = (size_t)from->columns, samples = columns * (size_t)from->rows;
    *copy = rg_frame_borrow(frame);
    copy->strip.column = rg_alloc(columns, sizeof *from->column);
    copy->strip.light = rg_alloc(samples, sizeof *from->light);
    if (!copy->strip.column || !copy->strip.light) {
        rg_strip_free(&copy->strip);
        return rg_fail(err, RG_INTERNAL, "no memory for a view");
    }
    memcpy(copy->strip.column, from->column, columns * sizeof *from->column);
    memcpy(copy->strip.light, from->light, samples * sizeof *from->light);
    return RG_OK;
}

/* Faces are compared by their bytes: where these differ without a cause, views are let go in vain, which
 * shows nothing wrong. */
static void hold(rg_lab_hand *hand, const rg_render_sweep *face, bool witness)
{
    rg_render_sweep key = *face;
    key.witness = witness;
    if (memcmp(&key, &hand->face, sizeof key) != 0)
        rg_lab_hand_empty(hand);
    memcpy(&hand->face, &key, sizeof key);
}

/* The newest view, not yet measured, goes into the hand as a copy. */
static rg_code collect(const rg_lab *lab, rg_lab_hand *hand, const rg_frame *frame, rg_error *err)
{
    int most = lab->settings.collect_most;
    if (!frame->used)
        return RG_OK;
    if (!hand->frame)
        hand->frame = rg_alloc((size_t)most, sizeof *hand->frame);
    if (!hand->frame)
        return rg_fail(err, RG_INTERNAL, "no memory for views");
    for (int i = hand->count - 1; i >= 0; i--)
        if (same_place(&hand->frame[i], frame))
            drop(hand, i);
    if (hand->count == most)
        drop(hand, 0);
    rg_code code = copy_frame(frame, &hand->frame[hand->count], err);
    hand->count += code == RG_OK;
    return code;
}

/* ---------------------------------------------------------------- measuring */

static rg_code measure(const rg_lab *lab, const rg_lab_hand *hand, const rg_frame *witness,
                       rg_lab_look *look, rg_error *err)
{
    /* The hand's last view is this one, which is measured as the look's own. */
    int others = hand && look->frame.used ? hand->count - 1 : hand ? hand->count : 0, n = 0;
    rg_frame *frame = rg_alloc((size_t)others + 2, sizeof *frame);
    if (!frame)
        return rg_fail(err, RG_INTERNAL, "no memory for views");
    if (witness)
        frame[n++] = rg_frame_borrow(witness);
    for (int i = 0; i < others; i++)
        frame[n++] = rg_frame_borrow(&hand->frame[i]);
    frame[n++] = look->frame;
    rg_code code = rg_sweep_measure(&lab->setup, frame, n, &look->result, err);
    look->frame = frame[n - 1];
    look->views = others + look->frame.used;
    for (int i = 0; i < n - 1; i++)
        rg_frame_return(&frame[i]);
    free(frame);
    return code;
}

static double flux_here(const rg_lab_case *c, const rg_frame *frame)
{
    double sum = 0;
    int n = 0;
    for (int i = 0; i < frame->light.columns; i++) {
        const rg_column_light *k = &frame->light.column[i];
        double off = rg_angle_between(frame->strip.column[i].bearing_deg, c->bearing_deg);
        if (fabs(off) > flux_deg || (k->state != RG_COLUMN_DARK && k->state != RG_COLUMN_LIT))
            continue;
        sum += k->flux_mm;
        n++;
    }
    return n > 0 ? sum / n : (double)NAN;
}

/* The strip as a picture, sRGB codes, upright; what the camera does not show is black. */
static rg_code strip_picture(const rg_strip *s, rg_lab_look *look, rg_error *err)
{
    rg_image image;
    if (s->columns < RG_IMAGE_MIN_SIDE || s->rows < RG_IMAGE_MIN_SIDE)
        return RG_OK;
    rg_code code = rg_image_new(&image, s->columns, s->rows, 3, 8, err);
    if (code != RG_OK)
        return code;
    uint8_t *to = image.data;
    for (int r = s->rows - 1; r >= 0; r--)
        for (int c = 0; c < s->columns; c++, to += 3) {
            double light = (double)s->light[(size_t)c * (size_t)s->rows + (size_t)r];
            double code_value = light >= 0 ? rg_linear_to_srgb(fmin(light, 1)) : 0;
            memset(to, (int)lround(255 * code_value), 3);
        }
    code = rg_synth_jpeg(&image, 90, &look->strip, &look->strip_size, err);
    rg_image_free(&image);
    return code;
}

/* ---------------------------------------------------------------- look */

static rg_code photograph(rg_lab *lab, const rg_lab_case *c, rg_lab_look *look, rg_error *err)
{
    rg_lab_shot shot = rg_lab_closed(lab, c);
    rg_code code = rg_lab_shoot(lab, &c->face, &shot, &look->ms.render, err);
    if (code == RG_OK) {
        look->ms.expose = shot.expose_ms;
        look->ms.take = shot.take_ms;
        look->jpeg = shot.jpeg;
        look->jpeg_size = shot.size;
        look->frame = shot.frame;
        shot.jpeg = NULL;
        shot.frame = (rg_frame){0};
    }
    rg_lab_shot_free(&shot);
    return code;
}

rg_code rg_lab_look_at(rg_lab *lab, rg_lab_hand *hand, const rg_lab_case *c, rg_lab_look *look,
                       rg_error *err)
{
    double start = rg_lab_now_ms();
    rg_frame witness = {0};
    *look = (rg_lab_look){.flux_mm = (double)NAN};
    rg_code code = photograph(lab, c, look, err);
    if (code == RG_OK && c->witness)
        code = rg_lab_witness_of(lab, c, &witness, &look->ms.witness, err);
    if (code == RG_OK && hand) {
        const rg_render_sweep face = rg_lab_pressed(lab, c);
        hold(hand, &face, c->witness);
        code = collect(lab, hand, &look->frame, err);
    }
    double taken = rg_lab_now_ms();
    if (code == RG_OK)
        code = measure(lab, hand, c->witness ? &witness : NULL, look, err);
    look->ms.measure = rg_lab_now_ms() - taken;
    if (code == RG_OK)
        code = strip_picture(&look->frame.strip, look, err);
    if (code != RG_OK) {
        rg_lab_look_free(look);
        return code;
    }
    look->flux_mm = flux_here(c, &look->frame);
    rg_lab_widths(lab, c, look->true_mm);
    look->ms.all = rg_lab_now_ms() - start;
    return RG_OK;
}

void rg_lab_look_free(rg_lab_look *look)
{
    if (!look)
        return;
    free(look->jpeg);
    free(look->strip);
    rg_frame_free(&look->frame);
    *look = (rg_lab_look){0};
}

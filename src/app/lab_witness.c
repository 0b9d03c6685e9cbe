/*
 * lab_witness.c - the witness of a lamp: drawn by parts, since light adds up.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "lab_private.h"
#include "rimglow/memory.h"

/* Nothing wrong with the pad, the lamp as bright as it is. On which side of the bore it lies shows on the hole's
 * far wall, which a slot sees and a witness does not: it sees the pad's face. */
static rg_render_sweep without_faults(const rg_lab *lab, const rg_render_sweep *face)
{
    rg_render_sweep good = *face;
    good.level_mm = -lab->settings.seat_mm;
    good.tilt_mm = good.tilt_bearing_deg = good.saddle_mm = good.saddle_bearing_deg = 0;
    good.bulge_mm = good.askew_x = good.askew_y = 0;
    good.lamp_uneven = good.lamp_bearing_deg = 0;
    good.creases = 0;
    memset(good.crease, 0, sizeof good.crease);
    return good;
}

/* ---------------------------------------------------------------- parts of the light */

void rg_lab_lamps_free(rg_lab_lamps *lamps)
{
    for (int i = 0; i < RG_LAB_LAMPS; i++)
        rg_synth_view_free(&lamps->view[i]);
    memset(lamps, 0, sizeof *lamps);
}

static rg_render_sweep part_of(const rg_lab *lab, const rg_render_sweep *good, int part)
{
    rg_render_sweep face = *good;
    face.lamp = part == 0 ? 0 : lab->start.lamp;
    return face;
}

/* Draws what is not there yet of the parts that are needed. */
static rg_code draw_parts(rg_lab *lab, const rg_render_sweep *usual, const double *weight,
                          bool *drawn, rg_error *err)
{
    rg_lab_lamps *l = &lab->lamps;
    rg_lab_shot shot[RG_LAB_LAMPS];
    rg_synth_view view[RG_LAB_LAMPS] = {{0}};
    int part[RG_LAB_LAMPS], n = 0;
    for (int i = 0; i < RG_LAB_LAMPS; i++)
        if (fabs(weight[i]) > 0 && !l->there[i]) {
            const rg_render_sweep face = part_of(lab, usual, i);
            shot[n] = rg_lab_cracked(lab, &face, 0);
            part[n++] = i;
        }
    rg_code code = n > 0 ? rg_lab_light(lab, usual, shot, n, view, err) : RG_OK;
    for (int i = 0; i < n; i++) {
        rg_lab_shot_free(&shot[i]);
        if (code == RG_OK) {
            l->view[part[i]] = view[i];
            l->there[part[i]] = true;
        } else {
            rg_synth_view_free(&view[i]);
        }
    }
    *drawn = n > 0;
    return code;
}

static rg_code add_up(const rg_lab_lamps *l, const double *weight, rg_synth_view *sum,
                      rg_error *err)
{
    size_t samples = 0;
    *sum = (rg_synth_view){0};
    for (int i = 0; i < RG_LAB_LAMPS; i++) {
        const rg_synth_view *v = &l->view[i];
        if (!(fabs(weight[i]) > 0))
            continue;
        if (!sum->light) {
            *sum = *v;
            samples = 3 * (size_t)v->width * (size_t)v->height;
            sum->light = rg_alloc(samples, sizeof *sum->light);
            if (!sum->light)
                return rg_fail(err, RG_INTERNAL, "no memory for a witness");
        }
        for (size_t k = 0; k < samples; k++)
            sum->light[k] += (float)weight[i] * v->light[k];
    }
    for (size_t k = 0; k < samples; k++)
        sum->light[k] = fmaxf(sum->light[k], 0);
    return RG_OK;
}

static rg_code light_of(rg_lab *lab, const rg_render_sweep *good, rg_synth_view *view, bool *drawn,
                        rg_error *err)
{
    double lamp = good->lamp / lab->start.lamp;
    /* The part with the lamp holds the room's light as well. */
    const double weight[RG_LAB_LAMPS] = {1 - lamp, lamp};
    const rg_render_sweep usual = part_of(lab, good, 1);
    pthread_mutex_lock(&lab->drawing);
    if (memcmp(&lab->lamps.face, &usual, sizeof usual) != 0) {
        rg_lab_lamps_free(&lab->lamps);
        memcpy(&lab->lamps.face, &usual, sizeof usual);
    }
    rg_code code = draw_parts(lab, &usual, weight, drawn, err);
    if (code == RG_OK)
        code = add_up(&lab->lamps, weight, view, err);
    pthread_mutex_unlock(&lab->drawing);
    return code;
}

/* ---------------------------------------------------------------- frames */

/* Witness frames hold no strip: copying one is copying plain values. */
static bool known_witness(rg_lab *lab, const rg_render_sweep *good, rg_frame *frame)
{
    bool found = false;
    pthread_mutex_lock(&lab->lock);
    for (int i = 0; !found && i < RG_LAB_WITNESSES; i++)
        if (lab->witness[i].there && memcmp(&lab->witness[i].face, good, sizeof *good) == 0) {
            *frame = rg_frame_borrow(&lab->witness[i].frame);
            found = true;
        }
    pthread_mutex_unlock(&lab->lock);
    return found;
}

static void keep_witness(rg_lab *lab, const rg_render_sweep *good, const rg_frame *frame)
{
    pthread_mutex_lock(&lab->lock);
    rg_lab_witness *w = &lab->witness[lab->next_witness];
    lab->next_witness = (lab->next_witness + 1) % RG_LAB_WITNESSES;
    memcpy(&w->face, good, sizeof *good);
    w->frame = rg_frame_borrow(frame);
    w->there = true;
    pthread_mutex_unlock(&lab->lock);
}

rg_code rg_lab_witness_of(rg_lab *lab, const rg_lab_case *c, rg_frame *frame, bool *drawn,
                          rg_error *err)
{
    const rg_render_sweep good = without_faults(lab, &c->face);
    rg_synth_view view = {0};
    *drawn = false;
    if (known_witness(lab, &good, frame))
        return RG_OK;
    rg_lab_shot shot = rg_lab_cracked(lab, &good, 1);
    rg_code code = light_of(lab, &good, &view, drawn, err);
    if (code == RG_OK)
        code = rg_lab_develop(lab, &good, &view, &shot, err);
    if (code == RG_OK) {
        keep_witness(lab, &good, &shot.frame);
        *frame = rg_frame_borrow(&shot.frame);
    }
    rg_synth_view_free(&view);
    rg_lab_shot_free(&shot);
    return code;
}

/*
 * quiz_case.c - a case of the quiz in the lab: its pictures, and what the program itself makes of them.
 *
 * The tool's answer rests on the very pictures that the trainee sees, measured together as views of one hand, and on the
 * fault that the diagnosis names first. Where it cannot tell it has no answer, and none is made up: three views do not
 * show that a pad is sealed.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "quiz_private.h"

double rg_quiz_overhang(const rg_pad *pad)
{
    return (pad->rim.pad_diameter_mm - pad->rim.outer_diameter_mm) / 2;
}

void rg_quiz_set_face(const rg_quiz_case *c, rg_render_sweep *s)
{
    s->level_mm = c->level_mm;
    s->tilt_mm = c->tilt_mm;
    s->tilt_bearing_deg = c->tilt_bearing_deg;
    s->saddle_mm = c->saddle_mm;
    s->saddle_bearing_deg = c->saddle_bearing_deg;
    s->creases = c->crease_mm > 0;
    s->crease[0] =
        (rg_render_crease){c->crease_bearing_deg, c->crease_half_width_deg, c->crease_mm};
    s->lamp_uneven = c->lamp_uneven;
    s->lamp_bearing_deg = c->lamp_bearing_deg;
}

static rg_render_streak streak(const rg_quiz_options *o, double azimuth_deg)
{
    return (rg_render_streak){azimuth_deg, o->streak_width_deg, o->streak_light, o->streak_low_mm,
                              o->streak_high_mm};
}

/* The good pad of the lab with the case's face and light. */
static rg_lab_case lab_case(const rg_lab *lab, const rg_quiz_options *o, const rg_quiz_case *c)
{
    rg_lab_case l;
    rg_lab_start(lab, &l);
    rg_render_sweep *f = &l.face;
    rg_quiz_set_face(c, f);
    f->lamp *= c->dim;
    f->glare += c->glare;
    for (int i = 0; i < c->streaks && f->streaks < RG_RENDER_STREAKS; i++)
        f->streak[f->streaks++] = streak(o, c->streak_azimuth_deg[i]);
    l.grams = rg_lab_settings(lab)->light_grams;
    l.witness = true;
    return l;
}

/* --------------------------------------------------------------------- tool */

/* The bin that is open and widest; -1 without one. */
static int widest_bin(const rg_seal_map *map)
{
    int at = -1;
    for (int b = 0; b < RG_BINS; b++)
        if (map->bin[b].state == RG_BIN_GAP &&
            (at < 0 || map->bin[b].width_mm > map->bin[at].width_mm))
            at = b;
    return at;
}

static void judge(const rg_lab *lab, const rg_quiz_options *o,
                  const rg_diagnosis_options *diagnosis, rg_quiz_shown *s)
{
    rg_diagnosis d;
    s->says = (rg_quiz_answer){0};
    if (s->map.verdict == RG_VERDICT_SEALED) {
        s->judged = true;
        return;
    }
    int at = widest_bin(&s->map);
    if (at < 0 ||
        rg_diagnose(&s->map, rg_lab_pad(lab)->tolerance_mm, NULL, diagnosis, &d, NULL) != RG_OK)
        return;
    s->judged = d.faults > 0 && rg_quiz_cause_of(d.fault[0].kind, &s->says.cause);
    if (!s->judged)
        return;
    s->says.where = s->says.cause == RG_QUIZ_UNIFORM ? RG_QUIZ_ROUND : RG_QUIZ_AT;
    s->says.bearing_deg = s->says.where == RG_QUIZ_AT ? at : 0;
    s->says.width_class = rg_quiz_class_of(o, s->map.bin[at].width_mm);
}

/* ------------------------------------------------------------------ looking */

static rg_code look(rg_lab *lab, rg_lab_hand *hand, rg_lab_case *l, const rg_quiz_case *c, int view,
                    rg_quiz_shown *s, rg_error *err)
{
    rg_lab_look k;
    l->bearing_deg = c->view[view].bearing_deg;
    l->elevation_deg = c->view[view].elevation_deg;
    l->seed = c->noise + (uint64_t)view;
    rg_code code = rg_lab_look_at(lab, hand, l, &k, err);
    if (code != RG_OK)
        return code;
    s->picture[s->pictures++] = (rg_quiz_picture){k.jpeg, k.jpeg_size, "image/jpeg"};
    k.jpeg = NULL; /* now the picture's */
    s->map = k.result.map;
    rg_lab_look_free(&k);
    return RG_OK;
}

rg_code rg_quiz_show(rg_lab *lab, const rg_quiz_options *options,
                     const rg_diagnosis_options *diagnosis, const rg_quiz_case *c,
                     rg_quiz_shown *shown, rg_error *err)
{
    rg_lab_hand *hand;
    memset(shown, 0, sizeof *shown);
    rg_code code = rg_lab_hand_new(&hand, err);
    if (code != RG_OK)
        return code;
    rg_lab_case l = lab_case(lab, options, c);
    for (int i = 0; i < c->views && code == RG_OK; i++)
        code = look(lab, hand, &l, c, i, shown, err);
    rg_lab_hand_free(hand);
    if (code == RG_OK)
        judge(lab, options, diagnosis, shown);
    else
        rg_quiz_shown_free(shown);
    return code;
}

void rg_quiz_shown_free(rg_quiz_shown *shown)
{
    for (int i = 0; i < shown->pictures; i++)
        free(shown->picture[i].bytes);
    memset(shown, 0, sizeof *shown);
}

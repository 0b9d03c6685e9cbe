/*
 * notes.c - fingerings, leaks by note, and the holes a note speaks through.
 */
#include "rimglow/notes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ------------------------------------------------------------- fingerings */

static rg_code both(const rg_hole *h, const rg_pitch_set *a, const rg_pitch_set *b, const char *why,
                    rg_error *err)
{
    char text[RG_PITCH_SET_TEXT];
    rg_pitch_set shared = {{a->bits[0] & b->bits[0], a->bits[1] & b->bits[1]}};
    rg_pitch_set_text(&shared, text, sizeof text);
    return rg_fail(err, RG_BAD_DATA, "[pad %s]: %s stands in notes and in %s; take it out of one",
                   h->name, text, why);
}

rg_code rg_holes_check(const rg_hole *holes, int count, rg_error *err)
{
    if (count > RG_HOLES_MAX)
        return rg_fail(err, RG_BAD_DATA, "%d holes, the most is %d", count, RG_HOLES_MAX);
    for (int i = 0; i < count; i++) {
        const rg_hole *h = &holes[i];
        if (rg_pitch_share(&h->closed, &h->opens))
            return both(h, &h->closed, &h->opens, "opens", err);
        if (rg_pitch_share(&h->closed, &h->vents))
            return both(h, &h->closed, &h->vents, "vents", err);
        if (h->rest == RG_REST_OPEN && rg_pitch_count(&h->opens) > 0)
            return rg_fail(err, RG_BAD_DATA,
                           "[pad %s]: rest = open, so no key opens it; leave opens empty or write "
                           "rest = closed",
                           h->name);
    }
    return RG_OK;
}

rg_pitch_set rg_holes_notes(const rg_hole *holes, int count)
{
    rg_pitch_set all = {{0, 0}};
    for (int i = 0; i < count; i++) {
        rg_pitch_join(&all, &holes[i].closed);
        rg_pitch_join(&all, &holes[i].opens);
        rg_pitch_join(&all, &holes[i].vents);
    }
    return all;
}

rg_hole_state rg_hole_in_note(const rg_hole *h, int pitch)
{
    if (rg_pitch_in(&h->closed, pitch))
        return RG_STATE_CLOSED;
    bool pressed_open = rg_pitch_in(&h->opens, pitch), vents = rg_pitch_in(&h->vents, pitch);
    if (vents || (pressed_open && h->role == RG_HOLE_VENT))
        return RG_STATE_VENTING;
    if (pressed_open)
        return RG_STATE_OPEN;
    if (h->rest == RG_REST_UNSTATED)
        return RG_STATE_UNKNOWN;
    if (h->rest == RG_REST_CLOSED)
        return RG_STATE_CLOSED;
    return h->role == RG_HOLE_VENT ? RG_STATE_VENTING : RG_STATE_OPEN;
}

const char *rg_hole_state_name(rg_hole_state state)
{
    static const char *const name[] = {"not stated", "closed", "open", "vent"};
    return name[state];
}

/* ------------------------------------------------------------------ leaks */

static int by_severity(const void *a, const void *b)
{
    const rg_leak_rank *x = a, *y = b;
    if (x->leak.ml_s != y->leak.ml_s)
        return x->leak.ml_s > y->leak.ml_s ? -1 : 1;
    if (x->notes != y->notes)
        return x->notes > y->notes ? -1 : 1;
    return x->leak.hole - y->leak.hole;
}

static bool leaks(const rg_hole_leak *leak, int holes)
{
    return leak->hole >= 0 && leak->hole < holes && leak->ml_s > 0;
}

int rg_leaks_rank(const rg_hole *holes, int hole_count, const rg_hole_leak *leak, int count,
                  rg_leak_rank *rank)
{
    int ranked = 0;
    for (int i = 0; i < count; i++) {
        if (!leaks(&leak[i], hole_count))
            continue;
        const rg_pitch_set *notes = &holes[leak[i].hole].closed;
        rank[ranked++] =
            (rg_leak_rank){leak[i], rg_pitch_highest(notes), rg_pitch_count(notes), *notes};
    }
    qsort(rank, (size_t)ranked, sizeof *rank, by_severity);
    return ranked;
}

static rg_note_loss loss_of(const rg_hole *holes, int hole_count, const rg_hole_leak *leak,
                            int count, int pitch)
{
    rg_note_loss loss = {.pitch = pitch, .worst = -1};
    double most = 0;
    for (int i = 0; i < count; i++) {
        if (!leaks(&leak[i], hole_count) || !rg_pitch_in(&holes[leak[i].hole].closed, pitch))
            continue;
        loss.ml_s += leak[i].ml_s;
        loss.u_ml_s += leak[i].u_ml_s;
        loss.leaks++;
        if (leak[i].ml_s > most) {
            most = leak[i].ml_s;
            loss.worst = leak[i].hole;
        }
    }
    return loss;
}

int rg_notes_lose(const rg_hole *holes, int hole_count, const rg_hole_leak *leak, int count,
                  rg_note_loss *loss)
{
    rg_pitch_set all = rg_holes_notes(holes, hole_count);
    int notes = 0;
    for (int p = RG_PITCHES - 1; p >= 0; p--)
        if (rg_pitch_in(&all, p))
            loss[notes++] = loss_of(holes, hole_count, leak, count, p);
    return notes;
}

/* ---------------------------------------------------------------- venting */

void rg_venting_of(const rg_hole *holes, int count, int pitch, rg_venting *v)
{
    *v = (rg_venting){.pitch = pitch, .known = true};
    for (int i = 0; i < count && i < RG_HOLES_MAX; i++) {
        if (holes[i].role == RG_HOLE_VENT)
            continue;
        rg_hole_state state = rg_hole_in_note(&holes[i], pitch);
        if (state == RG_STATE_UNKNOWN) {
            v->known = false;
            return;
        }
        if (state == RG_STATE_OPEN)
            v->hole[v->holes++] = i;
        else if (state == RG_STATE_CLOSED && v->holes > 0)
            return;
    }
}

const char *rg_breath_name(rg_breath breath)
{
    static const char *const name[] = {"not judged", "free", "perhaps stuffy", "stuffy"};
    return name[breath];
}

static rg_breath breath_of(const rg_hole_opening *o, double k)
{
    if (!o->measured || !(o->tolerance_mm > 0))
        return RG_BREATH_UNJUDGED;
    double least = o->target_mm - o->tolerance_mm;
    if (o->opening_mm >= least)
        return RG_BREATH_FREE;
    return o->opening_mm + k * o->u_mm < least ? RG_BREATH_STUFFY : RG_BREATH_PERHAPS;
}

/* Holes that decide: the first, and the second where there are two. */
static int deciding(const rg_venting *v)
{
    return v->holes == 2 ? 2 : v->holes > 0;
}

static void say_unjudged(const rg_hole *holes, const rg_hole_opening *opening, rg_note_breath *b)
{
    const rg_venting *v = &b->venting;
    b->breath = RG_BREATH_UNJUDGED;
    if (!v->known)
        snprintf(b->reason, sizeof b->reason, "a pad does not state its rest");
    else if (v->holes == 0)
        snprintf(b->reason, sizeof b->reason, "no tone hole is open: it speaks through the end");
    else
        for (int i = 0; i < deciding(v); i++) {
            const rg_hole_opening *o = &opening[v->hole[i]];
            if (o->measured && o->tolerance_mm > 0)
                continue;
            b->cause = v->hole[i];
            snprintf(b->reason, sizeof b->reason, "%.100s, which it speaks through, %s",
                     holes[b->cause].name,
                     o->measured ? "has no opening_tolerance_mm" : "was not measured open");
            return;
        }
}

static void say_low(const rg_hole *holes, const rg_hole_opening *o, double k, rg_note_breath *b)
{
    const rg_venting *v = &b->venting;
    char others[RG_VENTING_REASON / 2] = "alone";
    if (v->holes > 1 && b->cause == v->hole[0])
        snprintf(others, sizeof others, "and %d below it", v->holes - 1);
    else if (v->holes > 1)
        snprintf(others, sizeof others, "and %.80s above it", holes[v->hole[0]].name);
    snprintf(b->reason, sizeof b->reason,
             "speaks through %.50s %.60s; it opens %.2f mm (U = %.2f mm), target %.2f mm, at least "
             "%.2f mm",
             holes[b->cause].name, others, o->opening_mm, k * o->u_mm, o->target_mm,
             o->target_mm - o->tolerance_mm);
}

static void judge(const rg_hole *holes, const rg_hole_opening *opening, double k, rg_note_breath *b)
{
    const rg_venting *v = &b->venting;
    bool all_judged = v->known && v->holes > 0;
    b->breath = RG_BREATH_FREE;
    for (int i = 0; v->known && i < deciding(v); i++) {
        rg_breath here = breath_of(&opening[v->hole[i]], k);
        all_judged = all_judged && here != RG_BREATH_UNJUDGED;
        if (here > b->breath) {
            b->breath = here;
            b->cause = v->hole[i];
        }
    }
    if (b->breath > RG_BREATH_FREE)
        say_low(holes, &opening[b->cause], k, b);
    else if (!all_judged)
        say_unjudged(holes, opening, b);
}

int rg_notes_breathe(const rg_hole *holes, const rg_hole_opening *opening, int count, double k,
                     rg_note_breath *breath)
{
    rg_pitch_set all = rg_holes_notes(holes, count);
    int notes = 0;
    for (int p = RG_PITCHES - 1; p >= 0; p--) {
        if (!rg_pitch_in(&all, p))
            continue;
        rg_note_breath *b = &breath[notes++];
        *b = (rg_note_breath){.cause = -1};
        rg_venting_of(holes, count, p, &b->venting);
        judge(holes, opening, k, b);
    }
    return notes;
}

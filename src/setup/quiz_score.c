/*
 * quiz_score.c - an answer against the truth, what to learn from it, and the level of the next case.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "quiz_private.h"

rg_code rg_quiz_answer_check(const rg_quiz_options *o, const rg_quiz_answer *a, rg_error *err)
{
    if ((int)a->where < 0 || a->where > RG_QUIZ_ROUND)
        return rg_fail(err, RG_BAD_DATA, "an answer's gap is nowhere, at a bearing or all round");
    if (a->where == RG_QUIZ_AT && !(a->bearing_deg >= 0 && a->bearing_deg <= 360))
        return rg_fail(err, RG_BAD_DATA, "a bearing is 0 to 360 degrees, not %g", a->bearing_deg);
    if (a->width_class < 0 || a->width_class >= o->classes)
        return rg_fail(err, RG_BAD_DATA, "a width class is 0 to %d, not %d", o->classes - 1,
                       a->width_class);
    if ((int)a->cause < 0 || a->cause >= RG_QUIZ_CAUSES)
        return rg_fail(err, RG_BAD_DATA, "a cause is 0 to %d, not %d", RG_QUIZ_CAUSES - 1,
                       (int)a->cause);
    return RG_OK;
}

static int class_distance(const rg_quiz_truth *t, int answer)
{
    int low = t->width_class - t->also_below, high = t->width_class + t->also_above;
    return answer < low ? answer - low : answer > high ? answer - high : 0;
}

void rg_quiz_score_of(const rg_quiz_truth *t, const rg_quiz_answer *a, rg_quiz_score *s)
{
    *s = (rg_quiz_score){.error_deg = NAN, .class_distance = class_distance(t, a->width_class)};
    if (a->where == RG_QUIZ_AT)
        for (int i = 0; i < t->bearings; i++) {
            double off = rg_quiz_apart(a->bearing_deg, t->bearing_deg[i]);
            if (i == 0 || fabs(off) < fabs(s->error_deg))
                s->error_deg = off;
        }
    s->bearing =
        a->where == t->where && (t->where != RG_QUIZ_AT || fabs(s->error_deg) <= t->tolerance_deg);
    s->width = s->class_distance == 0;
    s->cause = a->cause == t->cause;
    s->all = s->bearing && s->width && s->cause;
}

/* ----------------------------------------------------------------- feedback */

static void say(rg_quiz_words *w, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void say(rg_quiz_words *w, const char *format, ...)
{
    va_list list;
    if (w->count >= RG_QUIZ_SENTENCES_MAX)
        return;
    va_start(list, format);
    vsnprintf(w->text[w->count++], RG_QUIZ_SENTENCE, format, list);
    va_end(list);
}

/* Where the gap is, in words. */
static void place_words(const rg_quiz_truth *t, char text[RG_QUIZ_SENTENCE])
{
    if (t->where == RG_QUIZ_NOWHERE)
        snprintf(text, RG_QUIZ_SENTENCE, "there is no gap anywhere");
    else if (t->where == RG_QUIZ_ROUND)
        snprintf(text, RG_QUIZ_SENTENCE, "the gap is as wide all round");
    else if (t->bearings == 2)
        snprintf(text, RG_QUIZ_SENTENCE, "the gap is widest at %.0f and at %.0f degrees",
                 t->bearing_deg[0], t->bearing_deg[1]);
    else
        snprintf(text, RG_QUIZ_SENTENCE, "the gap is widest at %.0f degrees", t->bearing_deg[0]);
}

static void say_bearing(const rg_quiz_truth *t, const rg_quiz_score *s, rg_quiz_words *w)
{
    char place[RG_QUIZ_SENTENCE];
    place_words(t, place);
    if (isnan(s->error_deg))
        say(w, "Bearing %s: %s.", s->bearing ? "right" : "wrong", place);
    else
        say(w,
            "Bearing %s: %s; the answer is %.0f degrees off, and %.0f are allowed (half the width "
            "or "
            "more stretches over %.0f degrees).",
            s->bearing ? "right" : "wrong", place, fabs(s->error_deg), t->tolerance_deg,
            t->extent_deg);
}

static void say_width(const rg_quiz_options *o, const rg_quiz_truth *t, const rg_quiz_score *s,
                      rg_quiz_words *w)
{
    char name[RG_QUIZ_CLASS_TEXT];
    int off = s->class_distance < 0 ? -s->class_distance : s->class_distance;
    rg_quiz_class_name(o, t->width_class, name);
    if (s->width)
        say(w, "Width right: %.3f mm, %s.", t->widest_mm, name);
    else
        say(w, "Width wrong: %.3f mm, %s; the answer is %d class%s too %s.", t->widest_mm, name,
            off, off == 1 ? "" : "es", s->class_distance > 0 ? "wide" : "narrow");
}

/* What a pad of this cause looks like. Thick and thin at the hinge: common practice, no source. */
static const char *look_of(rg_quiz_cause cause)
{
    static const char *const look[RG_QUIZ_CAUSES] = {
        "no light at the rim from any side, with the camera level with the slot",
        "one long opening, widest on one side away from the hinge's line, contact opposite",
        "contact at the key arm, one long opening widest opposite it",
        "one long opening, widest at the key arm, contact opposite it",
        "two openings opposite each other, contact between them on both sides",
        "light of the same width from every side, contact nowhere",
        "one short opening that ends soon, contact right beside it"};
    return look[cause];
}

static void say_cause(const rg_quiz_truth *t, const rg_quiz_answer *a, const rg_quiz_score *s,
                      rg_quiz_words *w)
{
    say(w, "Cause %s. This is \"%s\": %s.", s->cause ? "right" : "wrong",
        rg_quiz_cause_name(t->cause), look_of(t->cause));
    if (!s->cause)
        say(w, "The answer, \"%s\", would show this: %s.", rg_quiz_cause_name(a->cause),
            look_of(a->cause));
}

/* How near the camera was to seeing nothing of it. */
static void say_height(const rg_quiz_options *o, const rg_quiz_case *c, const rg_quiz_truth *t,
                       rg_quiz_words *w)
{
    const rg_quiz_view *v = &c->view[c->facing];
    if (t->cause == RG_QUIZ_SEALED || c->views == 0)
        return;
    if (v->elevation_deg > t->hides_deg / 2)
        say(w,
            "The picture from %.0f degrees was taken %.1f degrees above the rim; from %.1f "
            "degrees on the pad's overhang of %.1f mm hides this gap: hold the camera lower.",
            v->bearing_deg, v->elevation_deg, t->hides_deg, o->overhang_mm);
}

void rg_quiz_feedback(const rg_quiz_options *o, const rg_quiz_case *c, const rg_quiz_truth *t,
                      const rg_quiz_answer *a, const rg_quiz_score *s, rg_quiz_words *w)
{
    *w = (rg_quiz_words){0};
    say_bearing(t, s, w);
    say_width(o, t, s, w);
    say_cause(t, a, s, w);
    say_height(o, c, t, w);
}

/* Which classes are right, and why more than one. */
static void say_edge(const rg_quiz_options *o, const rg_quiz_truth *t, rg_quiz_words *w)
{
    char low[RG_QUIZ_CLASS_TEXT], high[RG_QUIZ_CLASS_TEXT];
    if (t->also_below == 0 && t->also_above == 0)
        return;
    rg_quiz_class_name(o, t->width_class - t->also_below, low);
    rg_quiz_class_name(o, t->width_class + t->also_above, high);
    if (t->cause == RG_QUIZ_SEALED)
        say(w,
            "The map is sealed by its verdict and yet shows a gap within the tolerance: from "
            "\"sealed\" to \"%s\" any class counts as right.",
            high);
    else
        say(w,
            "An edge of a class lies within this uncertainty, so the map cannot tell the classes "
            "apart: from \"%s\" to \"%s\" either counts as right.",
            low, high);
}

static void say_map_width(const rg_quiz_options *o, const rg_quiz_truth *t, const rg_quiz_score *s,
                          rg_quiz_words *w)
{
    char name[RG_QUIZ_CLASS_TEXT], off[64] = "";
    int n = s->class_distance < 0 ? -s->class_distance : s->class_distance;
    const char *sign = s->width ? "right" : "wrong";
    rg_quiz_class_name(o, t->width_class, name);
    if (!s->width)
        snprintf(off, sizeof off, "; the answer is %d class%s too %s", n, n == 1 ? "" : "es",
                 s->class_distance > 0 ? "wide" : "narrow");
    if (t->widest_mm > 0)
        say(w, "Width %s: the map has %.3f +- %.3f mm, %s%s.", sign, t->widest_mm, t->U_mm, name,
            off);
    else
        say(w, "Width %s: the map has no open bearing, %s%s.", sign, name, off);
}

void rg_quiz_feedback_of_map(const rg_quiz_options *o, const rg_quiz_truth *t,
                             const rg_quiz_answer *a, const rg_quiz_score *s, const char *whose,
                             rg_quiz_words *w)
{
    *w = (rg_quiz_words){0};
    say(w, "%s", whose);
    if (t->cause == RG_QUIZ_SEALED)
        say(w, "Bearing %s: the map has no gap beyond the tolerance.",
            s->bearing ? "right" : "wrong");
    else
        say_bearing(t, s, w);
    say_map_width(o, t, s, w);
    say_edge(o, t, w);
    say_cause(t, a, s, w);
}

/* ------------------------------------------------------------------- levels */

void rg_quiz_stairs_begin(const rg_quiz_options *o, rg_quiz_stairs *s)
{
    *s = (rg_quiz_stairs){.level = o->first_level};
}

static void step_to(const rg_quiz_options *o, int direction, rg_quiz_stairs *s)
{
    if (s->direction == -direction)
        s->reversals++;
    double step = s->reversals < o->coarse_reversals ? o->first_step : o->step;
    s->direction = direction;
    s->in_row = 0;
    s->level = fmin(o->levels, fmax(1, s->level + direction * step));
}

void rg_quiz_stairs_take(const rg_quiz_options *o, bool right, rg_quiz_stairs *s)
{
    s->answered++;
    if (!right)
        step_to(o, -1, s);
    else if (++s->in_row >= o->right_in_row)
        step_to(o, 1, s);
}

/*
 * quiz.c - words, classes and options of the quiz, and what is so of a case.
 */
#include "rimglow/quiz.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "quiz_private.h"
#include "rimglow/vec.h"

const char *rg_quiz_cause_name(rg_quiz_cause cause)
{
    static const rg_fault_kind kind[RG_QUIZ_CAUSES] = {
        RG_FAULT_TILT,   RG_FAULT_TILT,    RG_FAULT_HINGE_THICK, RG_FAULT_HINGE_THIN,
        RG_FAULT_SADDLE, RG_FAULT_UNIFORM, RG_FAULT_LOCAL};
    return cause == RG_QUIZ_SEALED ? "in contact" : rg_fault_kind_name(kind[cause]);
}

bool rg_quiz_cause_find(const char *name, rg_quiz_cause *cause)
{
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        if (strcmp(name, rg_quiz_cause_name((rg_quiz_cause)i)) == 0) {
            *cause = (rg_quiz_cause)i;
            return true;
        }
    return false;
}

const char *rg_quiz_where_name(rg_quiz_where where)
{
    static const char *const name[] = {"nowhere", "at", "all round"};
    return name[where];
}

/* ------------------------------------------------------------------ options */

typedef struct range {
    const char *name;
    double value, low, high;
} range;

static rg_code check_ranges(const range *r, int count, rg_error *err)
{
    for (int i = 0; i < count; i++)
        if (!(r[i].value >= r[i].low && r[i].value <= r[i].high))
            return rg_fail(err, RG_BAD_DATA, "%s = %g is not within %g to %g", r[i].name,
                           r[i].value, r[i].low, r[i].high);
    return RG_OK;
}

#define RANGE(member, low, high)                                                                   \
    {                                                                                              \
#member, (double)o->member, low, high                                                      \
    }
#define ENDS(member, low, high)                                                                    \
    {#member " (easy)", o->member[0], low, high},                                                  \
    {                                                                                              \
#member " (hard)", o->member[1], low, high                                                 \
    }

static rg_code check_values(const rg_quiz_options *o, rg_error *err)
{
    const range r[] = {
        RANGE(classes, 3, RG_QUIZ_CLASSES_MAX),
        RANGE(least_mm, 0.001, 1),
        RANGE(widest_mm, 0.001, 2),
        RANGE(press_most_mm, 0.05, 2),
        RANGE(overhang_mm, 0.1, 10),
        RANGE(hinge_deg, 1, 45),
        RANGE(hinge_apart_deg, 0, 40),
        RANGE(crease_least_deg, 4, 60),
        RANGE(crease_most_deg, 4, 60),
        RANGE(views, 1, RG_QUIZ_VIEWS_MAX),
        RANGE(height_share, 0, 1),
        ENDS(facing_deg, 0, 60),
        ENDS(height_deg, 0, 30),
        ENDS(other_high_deg, 0, 30),
        ENDS(inside_share, 0, 0.45),
        ENDS(uneven, 0, 0.9),
        ENDS(streaks, 0, RG_QUIZ_VIEWS_MAX),
        ENDS(glare, 0, 0.4),
        ENDS(dim, 0.05, 1),
        RANGE(streak_width_deg, 0.1, 90),
        RANGE(streak_light, 0, 1),
        RANGE(streak_low_mm, -50, 0),
        RANGE(streak_high_mm, -50, 0),
        RANGE(bearing_least_deg, 1, 90),
        RANGE(extent_share, 0, 1),
        RANGE(levels, 2, 100),
        RANGE(first_level, 1, o->levels),
        RANGE(first_step, 0.01, o->levels),
        RANGE(step, 0.01, o->levels),
        RANGE(right_in_row, 1, 10),
        RANGE(coarse_reversals, 0, 100),
        RANGE(window, 2, 1000),
        RANGE(exam_cases, RG_QUIZ_CAUSES, RG_QUIZ_CASES_MAX),
        RANGE(exam_level, 1, o->levels),
        RANGE(pass_share, 0.01, 1),
        RANGE(confidence, 0.5, 0.9999),
    };
    return check_ranges(r, (int)(sizeof r / sizeof r[0]), err);
}

static rg_code check_classes(const rg_quiz_options *o, rg_error *err)
{
    int last = o->classes - 1;
    if (o->upto_mm[0] != 0)
        return rg_fail(err, RG_BAD_DATA, "the first class is sealed and ends at 0, not %g",
                       o->upto_mm[0]);
    for (int i = 1; i < last; i++)
        if (!(o->upto_mm[i] > fmax(o->upto_mm[i - 1], o->least_mm)))
            return rg_fail(err, RG_BAD_DATA,
                           "edges of classes rise and lie above least_mm = %g mm, but %g "
                           "follows %g",
                           o->least_mm, o->upto_mm[i], o->upto_mm[i - 1]);
    if (!(o->widest_mm > o->upto_mm[last - 1]))
        return rg_fail(err, RG_BAD_DATA, "widest_mm = %g mm must lie above the last edge, %g mm",
                       o->widest_mm, o->upto_mm[last - 1]);
    return RG_OK;
}

rg_code rg_quiz_check(const rg_quiz_options *o, rg_error *err)
{
    rg_code code = check_values(o, err);
    if (code == RG_OK)
        code = check_classes(o, err);
    if (code == RG_OK && !(o->streak_low_mm < o->streak_high_mm))
        code = rg_fail(err, RG_BAD_DATA, "streak_low_mm = %g must lie below streak_high_mm = %g",
                       o->streak_low_mm, o->streak_high_mm);
    if (code == RG_OK && o->crease_most_deg < o->crease_least_deg)
        code = rg_fail(err, RG_BAD_DATA, "crease_most_deg = %g lies below crease_least_deg = %g",
                       o->crease_most_deg, o->crease_least_deg);
    /* A wider pad could not be drawn: contact would be pressed deeper than allowed. */
    double half = rg_quiz_half_least(o, o->widest_mm);
    if (code == RG_OK && half > RG_QUIZ_TILT_MOST)
        code = rg_fail(err, RG_BAD_DATA,
                       "widest_mm = %g mm cannot be drawn with press_most_mm = %g mm; lower "
                       "the one or raise the other",
                       o->widest_mm, o->press_most_mm);
    return code;
}

void rg_quiz_class_name(const rg_quiz_options *o, int index, char text[RG_QUIZ_CLASS_TEXT])
{
    if (index <= 0)
        snprintf(text, RG_QUIZ_CLASS_TEXT, "sealed");
    else if (index < o->classes - 1)
        snprintf(text, RG_QUIZ_CLASS_TEXT, "up to %g mm", o->upto_mm[index]);
    else
        snprintf(text, RG_QUIZ_CLASS_TEXT, "above %g mm", o->upto_mm[o->classes - 2]);
}

int rg_quiz_class_of(const rg_quiz_options *o, double width_mm)
{
    int i = 0;
    while (i < o->classes - 1 && width_mm > o->upto_mm[i])
        i++;
    return i;
}

/* -------------------------------------------------------------------- truth */

double rg_quiz_apart(double deg, double from_deg)
{
    double d = fmod(deg - from_deg, 360);
    return d > 180 ? d - 360 : d <= -180 ? d + 360 : d;
}

static double crease_at(const rg_quiz_case *c, double bearing_deg)
{
    double d = fabs(rg_quiz_apart(bearing_deg, c->crease_bearing_deg));
    if (!(c->crease_mm != 0) || d >= c->crease_half_width_deg)
        return 0;
    return c->crease_mm * (1 + cos(RG_PI * d / c->crease_half_width_deg)) / 2;
}

static double width_at(const rg_quiz_case *c, double bearing_deg)
{
    double tilt = (bearing_deg - c->tilt_bearing_deg) * RG_PI / 180;
    double saddle = (bearing_deg - c->saddle_bearing_deg) * RG_PI / 180;
    return fmax(0, c->level_mm + c->tilt_mm * cos(tilt) + c->saddle_mm * cos(2 * saddle) +
                       crease_at(c, bearing_deg));
}

void rg_quiz_widths(const rg_quiz_case *c, double width_mm[RG_BINS])
{
    for (int b = 0; b < RG_BINS; b++)
        width_mm[b] = width_at(c, b);
}

/* Degrees on both sides of a bearing over which the gap is at least half of its width there. */
static double extent_about(const rg_quiz_case *c, double bearing_deg, double widest_mm)
{
    enum { FINE = 10 }; /* steps a degree */
    int steps[2] = {0, 0};
    for (int side = 0; side < 2; side++)
        while (steps[side] < 180 * FINE &&
               width_at(c, bearing_deg + (side ? 1 : -1) * (steps[side] + 1) / (double)FINE) >=
                   widest_mm / 2)
            steps[side]++;
    return (steps[0] + steps[1]) / (double)FINE;
}

static double widest_bearing(const rg_quiz_case *c)
{
    if (c->cause == RG_QUIZ_SADDLE)
        return c->saddle_bearing_deg;
    return c->cause == RG_QUIZ_LOCAL ? c->crease_bearing_deg : c->tilt_bearing_deg;
}

static double wrapped(double deg)
{
    double d = fmod(deg, 360);
    return d < 0 ? d + 360 : d;
}

void rg_quiz_truth_of(const rg_quiz_options *o, const rg_quiz_case *c, rg_quiz_truth *t)
{
    double width[RG_BINS];
    *t = (rg_quiz_truth){.cause = c->cause, .where = RG_QUIZ_AT};
    rg_quiz_widths(c, width);
    for (int b = 0; b < RG_BINS; b++)
        t->open_deg += width[b] > 0;
    if (c->cause == RG_QUIZ_SEALED) {
        t->where = RG_QUIZ_NOWHERE;
        return;
    }
    double bearing = widest_bearing(c);
    t->widest_mm = width_at(c, bearing);
    t->width_class = rg_quiz_class_of(o, t->widest_mm);
    t->hides_deg = atan(t->widest_mm / o->overhang_mm) * 180 / RG_PI;
    t->extent_deg = extent_about(c, bearing, t->widest_mm);
    if (c->cause == RG_QUIZ_UNIFORM) {
        t->where = RG_QUIZ_ROUND;
        return;
    }
    t->bearings = c->cause == RG_QUIZ_SADDLE ? 2 : 1;
    for (int i = 0; i < t->bearings; i++)
        t->bearing_deg[i] = wrapped(bearing + 180 * i);
    t->tolerance_deg = fmax(o->bearing_least_deg, o->extent_share * t->extent_deg / 2);
}

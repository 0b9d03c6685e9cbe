/*
 * quiz_draw.c - cases from a seed: a pad that can be, and views that show what there is to see; the fixed set of an
 * examination.
 *
 * A tilt t about a mean m opens where m + t cos(b) > 0, over a half arc h with cos h = -m / t; so the widest place
 * w = t (1 - cos h), and the contact opposite is pressed t (1 + cos h). Of a saddle the same with 2 h. From w and h
 * follow m and t.
 */
#include <math.h>
#include <stdio.h>

#include "quiz_private.h"
#include "rimglow/digest.h"
#include "rimglow/random.h"
#include "rimglow/vec.h"

/* Half arcs of openings, degrees. */
static const double tilt_half_least = 60, saddle_half_least = 25, saddle_half_most = 66;

typedef struct drawing {
    const rg_quiz_options *o;
    rg_random random;
    double hard; /* 0 easiest .. 1 hardest */
    rg_quiz_case *c;
} drawing;

static double between(drawing *d, double low, double high)
{
    return rg_random_between(&d->random, low, high);
}

static double at_level(const drawing *d, const double ends[2])
{
    return ends[0] + (ends[1] - ends[0]) * d->hard;
}

/* To 0.001 mm of 0.001, to whole degrees: what a file shows is what was drawn. */
static double micrometres(double mm)
{
    return round(mm * 1e6) / 1e6;
}

static double whole_bearing(double deg)
{
    double d = fmod(round(deg), 360);
    return d < 0 ? d + 360 : d;
}

/* ---------------------------------------------------------------------- pad */

double rg_quiz_half_least(const rg_quiz_options *o, double widest_mm)
{
    double ratio = o->press_most_mm / widest_mm;
    return acos((ratio - 1) / (ratio + 1)) * 180 / RG_PI;
}

static double width_in_class(drawing *d, int width_class)
{
    const rg_quiz_options *o = d->o;
    double low = fmax(o->least_mm, o->upto_mm[width_class - 1]);
    double high = width_class == o->classes - 1 ? o->widest_mm : o->upto_mm[width_class];
    double inside = at_level(d, o->inside_share) * (high - low);
    return micrometres(between(d, low + inside, high - inside));
}

/* Mean and amplitude of an opening so wide over a half arc of the undulation, radians. */
static void open_over(double widest_mm, double half_rad, double *mean_mm, double *amplitude_mm)
{
    *amplitude_mm = micrometres(widest_mm / (1 - cos(half_rad)));
    *mean_mm = micrometres(widest_mm - *amplitude_mm);
}

static void tilt(drawing *d, double widest_mm, double bearing_deg)
{
    double least = fmax(tilt_half_least, rg_quiz_half_least(d->o, widest_mm));
    double half = between(d, least, RG_QUIZ_TILT_MOST) * RG_PI / 180;
    open_over(widest_mm, half, &d->c->level_mm, &d->c->tilt_mm);
    d->c->tilt_bearing_deg = whole_bearing(bearing_deg);
}

static void saddle(drawing *d, double widest_mm)
{
    double least = fmax(saddle_half_least, rg_quiz_half_least(d->o, widest_mm) / 2);
    double half = between(d, least, saddle_half_most) * RG_PI / 180;
    open_over(widest_mm, 2 * half, &d->c->level_mm, &d->c->saddle_mm);
    d->c->saddle_bearing_deg = fmod(whole_bearing(between(d, 0, 180)), 180);
}

/* A tilt that is not the hinge's. */
static double beside_the_hinge(drawing *d)
{
    double off = d->o->hinge_deg + d->o->hinge_apart_deg;
    double bearing = between(d, off, 180 - off);
    return rg_random_below(&d->random, 2) ? bearing + 180 : bearing;
}

/* A short opening in a pad that touches: the less it is pressed beside it, the longer a thin one shows. */
static void crease(drawing *d, double widest_mm)
{
    rg_quiz_case *c = d->c;
    double press = micrometres(fmin(widest_mm, d->o->press_most_mm) * between(d, 0.2, 0.6));
    c->level_mm = -press;
    c->crease_mm = widest_mm + press;
    c->crease_bearing_deg = whole_bearing(between(d, 0, 360));
    c->crease_half_width_deg =
        round(10 * between(d, d->o->crease_least_deg, d->o->crease_most_deg)) / 10;
}

/* In contact all round, not quite evenly. */
static void press_down(drawing *d)
{
    double press = micrometres(d->o->press_most_mm * between(d, 0.3, 0.8));
    d->c->level_mm = -press;
    d->c->tilt_mm = micrometres(press * between(d, 0, 0.25));
    d->c->tilt_bearing_deg = whole_bearing(between(d, 0, 360));
}

static void draw_pad(drawing *d, double widest_mm)
{
    double hinge = between(d, -d->o->hinge_deg, d->o->hinge_deg);
    switch (d->c->cause) {
    case RG_QUIZ_TILTED:
        tilt(d, widest_mm, beside_the_hinge(d));
        break;
    case RG_QUIZ_HINGE_THICK:
        tilt(d, widest_mm, 180 + hinge);
        break;
    case RG_QUIZ_HINGE_THIN:
        tilt(d, widest_mm, hinge);
        break;
    case RG_QUIZ_SADDLE:
        saddle(d, widest_mm);
        break;
    case RG_QUIZ_UNIFORM:
        d->c->level_mm = widest_mm;
        break;
    case RG_QUIZ_LOCAL:
        crease(d, widest_mm);
        break;
    default:
        press_down(d);
    }
}

/* -------------------------------------------------------------------- views */

/* Of a saddle and a uniform gap every view must see its part, or it would be another cause. */
static bool all_must_see(rg_quiz_cause cause)
{
    return cause == RG_QUIZ_SADDLE || cause == RG_QUIZ_UNIFORM;
}

static void draw_views(drawing *d, double widest_mm)
{
    const rg_quiz_options *o = d->o;
    rg_quiz_case *c = d->c;
    rg_quiz_truth truth;
    rg_quiz_truth_of(o, c, &truth);
    double target = truth.bearings ? truth.bearing_deg[rg_random_below(&d->random, truth.bearings)]
                                   : between(d, 0, 360);
    double facing = at_level(d, o->facing_deg), off = between(d, -facing, facing);
    double seen = o->height_share * atan(widest_mm / o->overhang_mm) * 180 / RG_PI;
    c->views = o->views;
    c->facing = rg_random_below(&d->random, o->views);
    for (int i = 0; i < c->views; i++) {
        double high = at_level(d, i == c->facing ? o->height_deg : o->other_high_deg);
        if (i == c->facing || all_must_see(c->cause))
            high = fmin(high, seen);
        c->view[i].bearing_deg = whole_bearing(target + off + 360.0 * (i - c->facing) / c->views);
        c->view[i].elevation_deg = floor(100 * between(d, 0, high)) / 100;
    }
}

static void draw_light(drawing *d)
{
    rg_quiz_case *c = d->c;
    c->lamp_uneven = micrometres(between(d, 0, at_level(d, d->o->uneven)));
    c->lamp_bearing_deg = whole_bearing(between(d, 0, 360));
    c->dim = micrometres(between(d, at_level(d, d->o->dim), 1));
    c->glare = micrometres(between(d, 0, at_level(d, d->o->glare)));
    c->streaks = (int)floor(between(d, 0, at_level(d, d->o->streaks) + 1));
    if (c->streaks > RG_QUIZ_VIEWS_MAX)
        c->streaks = RG_QUIZ_VIEWS_MAX;
    for (int i = 0; i < RG_QUIZ_VIEWS_MAX; i++) {
        double azimuth = whole_bearing(between(d, 0, 360));
        c->streak_azimuth_deg[i] = i < c->streaks ? azimuth : 0;
    }
    c->noise = rg_random_next(&d->random);
}

/* --------------------------------------------------------------------- case */

static rg_code check_wish(const rg_quiz_options *o, double level, rg_quiz_cause cause,
                          int width_class, rg_error *err)
{
    rg_code code = rg_quiz_check(o, err);
    if (code != RG_OK)
        return code;
    if (!(level >= 1 && level <= o->levels))
        return rg_fail(err, RG_BAD_DATA, "level %g is not within 1 to %g", level, o->levels);
    if ((int)cause < 0 || cause > RG_QUIZ_CAUSES || width_class < -1 || width_class >= o->classes ||
        (width_class == 0 && cause != RG_QUIZ_SEALED && cause != RG_QUIZ_CAUSES) ||
        (width_class > 0 && cause == RG_QUIZ_SEALED))
        return rg_fail(err, RG_BAD_DATA, "there is no case of cause %d and width class %d",
                       (int)cause, width_class);
    return RG_OK;
}

/* Any cause that goes with the class. */
static rg_quiz_cause choose_cause(drawing *d, int width_class)
{
    if (width_class == 0)
        return RG_QUIZ_SEALED;
    if (width_class > 0)
        return (rg_quiz_cause)(1 + rg_random_below(&d->random, RG_QUIZ_CAUSES - 1));
    return (rg_quiz_cause)rg_random_below(&d->random, RG_QUIZ_CAUSES);
}

rg_code rg_quiz_draw(const rg_quiz_options *o, uint64_t seed, double level, rg_quiz_cause cause,
                     int width_class, rg_quiz_case *c, rg_error *err)
{
    *c = (rg_quiz_case){.version = RG_QUIZ_VERSION, .seed = seed, .level = level};
    rg_code code = check_wish(o, level, cause, width_class, err);
    if (code != RG_OK)
        return code;
    drawing d = {o, {seed}, (level - 1) / (o->levels - 1), c};
    c->cause = cause == RG_QUIZ_CAUSES ? choose_cause(&d, width_class) : cause;
    /* A sealed pad has a width as well, for views alone: their heights must not give it away. */
    int of = width_class > 0 ? width_class : 1 + rg_random_below(&d.random, o->classes - 1);
    double widest = width_in_class(&d, of);
    draw_pad(&d, widest);
    draw_views(&d, widest);
    draw_light(&d);
    return RG_OK;
}

/* -------------------------------------------------------------- examination */

/* Cause and class of each place, before shuffling: causes in turn, classes in turn within each. */
static void stratum(const rg_quiz_options *o, int place, rg_quiz_cause *cause, int *width_class)
{
    int turn = place / RG_QUIZ_CAUSES;
    *cause = (rg_quiz_cause)(place % RG_QUIZ_CAUSES);
    *width_class = *cause == RG_QUIZ_SEALED ? 0 : 1 + (turn + (int)*cause) % (o->classes - 1);
}

rg_code rg_quiz_exam_case(const rg_quiz_options *o, uint64_t seed, int index, rg_quiz_case *c,
                          rg_error *err)
{
    *c = (rg_quiz_case){0};
    rg_code code = rg_quiz_check(o, err);
    if (code != RG_OK)
        return code;
    if (index < 0 || index >= o->exam_cases)
        return rg_fail(err, RG_BAD_DATA, "an examination of %d cases has no case %d", o->exam_cases,
                       index + 1);
    int place[RG_QUIZ_CASES_MAX], width_class;
    rg_quiz_cause cause;
    rg_random random = {seed};
    uint64_t own = 0;
    rg_random_order(&random, place, o->exam_cases);
    for (int i = 0; i <= index; i++)
        own = rg_random_next(&random);
    stratum(o, place[index], &cause, &width_class);
    return rg_quiz_draw(o, own, o->exam_level, cause, width_class, c, err);
}

static void put(char *text, size_t size, size_t *used, double value)
{
    int n = snprintf(text + *used, size - *used, "%.17g ", value);
    *used += n > 0 && (size_t)n < size - *used ? (size_t)n : 0;
}

/* Everything in the options that changes a case or its score. */
static rg_digest options_digest(const rg_quiz_options *o)
{
    char text[2048];
    size_t used = 0;
    const double one[] = {
        o->least_mm,      o->widest_mm,       o->press_most_mm,     o->overhang_mm,
        o->hinge_deg,     o->hinge_apart_deg, o->crease_least_deg,  o->crease_most_deg,
        (double)o->views, o->height_share,    o->bearing_least_deg, o->extent_share,
        o->levels,        o->exam_level,      o->pass_share,        o->streak_width_deg,
        o->streak_light,  o->streak_low_mm,   o->streak_high_mm};
    const double *two[] = {o->facing_deg, o->height_deg, o->other_high_deg, o->inside_share,
                           o->uneven,     o->streaks,    o->glare,          o->dim};
    for (int i = 0; i < o->classes; i++)
        put(text, sizeof text, &used, o->upto_mm[i]);
    for (size_t i = 0; i < sizeof one / sizeof one[0]; i++)
        put(text, sizeof text, &used, one[i]);
    for (size_t i = 0; i < sizeof two / sizeof two[0]; i++)
        for (int end = 0; end < 2; end++)
            put(text, sizeof text, &used, two[i][end]);
    return rg_digest_of(text, used);
}

void rg_quiz_exam_id(const rg_quiz_options *o, uint64_t seed, char id[RG_QUIZ_ID])
{
    char hex[RG_DIGEST_TEXT];
    rg_digest digest = options_digest(o);
    rg_digest_format(&digest, hex);
    snprintf(id, RG_QUIZ_ID, "E-%d-%d-%llu-%.8s", RG_QUIZ_VERSION, o->exam_cases,
             (unsigned long long)seed, hex);
}

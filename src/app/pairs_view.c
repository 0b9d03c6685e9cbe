/*
 * pairs_view.c - which two frames of a sweep say most, and the part of them that is shown (pairs.h).
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pairs_private.h"

/* Cameras closer than this stand at one place: of them the one farthest from the rim plane shows best how a gap goes
 * out of sight. */
static const double same_place_deg = 5;

const char *rg_pairs_view_name(rg_pairs_view_kind kind)
{
    static const char *const name[] = {
        [RG_PAIRS_LIT] = "lit",         [RG_PAIRS_TOO_HIGH] = "too high",
        [RG_PAIRS_TOO_LOW] = "too low", [RG_PAIRS_COVERED] = "covered",
        [RG_PAIRS_BEHIND] = "behind",   [RG_PAIRS_NO_GAP] = "no gap"};
    return name[kind];
}

/* ---------------------------------------------------------------- frames */

static bool is_shown(const rg_frame *f)
{
    return f->used && f->role == RG_FRAME_CLOSED && f->pose.state == RG_POSE_OK &&
           f->strip.column && f->light.column && f->light.columns == f->strip.columns;
}

/* How a frame sees one bearing. */
typedef struct sight {
    rg_column_state state;
    double obliquity_deg, flux_mm;
} sight;

static sight look_at(const rg_frame *f, double bearing)
{
    sight s = {RG_COLUMN_OUTSIDE, 180, 0};
    double nearest = f->strip.step_deg;
    for (int c = 0; c < f->strip.columns; c++) {
        double off = fabs(rg_angle_between(f->strip.column[c].bearing_deg, bearing));
        if (off >= nearest)
            continue;
        nearest = off;
        s = (sight){f->light.column[c].state, fabs(rg_degrees(f->strip.column[c].obliquity_rad)),
                    f->light.column[c].flux_mm};
    }
    return s;
}

typedef double rg_rating(const rg_inspection *in, int frame, const sight *s, const void *context);

/* The frame with the highest rating; -1: none has one (NAN). */
static int best_frame(const rg_inspection *in, double bearing, rg_rating *rate, const void *context)
{
    int best = -1;
    double most = 0;
    for (int i = 0; i < in->sweep.frames; i++) {
        const rg_frame *f = &in->frames[i];
        sight s = is_shown(f) ? look_at(f, bearing) : (sight){RG_COLUMN_OUTSIDE, 180, 0};
        double rating = is_shown(f) ? rate(in, i, &s, context) : NAN;
        if (!isnan(rating) && (best < 0 || rating > most)) {
            best = i;
            most = rating;
        }
    }
    return best;
}

/* ---------------------------------------------------------------- ratings */

typedef struct wanted {
    double bearing_deg, look_deg;
    double beside_deg; /* bearing of the other picture's camera */
} wanted;

/* Most light from the place; where all look at it along the rim, these too. */
static double rate_lit(const rg_inspection *in, int i, const sight *s, const void *context)
{
    const wanted *w = context;
    (void)in;
    (void)i;
    if (s->state != RG_COLUMN_LIT)
        return NAN;
    return s->obliquity_deg <= w->look_deg ? s->flux_mm : -s->obliquity_deg;
}

/* Near the rim plane. */
static double rate_level(const rg_inspection *in, int i, const sight *s, const void *context)
{
    (void)s;
    (void)context;
    return -fabs(in->frames[i].elevation_deg);
}

/* Dark from the same side, and there from highest or lowest. */
static double rate_dark(const rg_inspection *in, int i, const sight *s, const void *context)
{
    const wanted *w = context;
    const rg_frame *f = &in->frames[i];
    if (s->state != RG_COLUMN_DARK || s->obliquity_deg > w->look_deg)
        return NAN;
    double away = fabs(rg_angle_between(f->bearing_deg, w->beside_deg));
    return fabs(f->elevation_deg) - 1000 * floor(away / same_place_deg);
}

static double rate_covered(const rg_inspection *in, int i, const sight *s, const void *context)
{
    const wanted *w = context;
    (void)in;
    (void)i;
    bool covered = s->state == RG_COLUMN_HIDDEN || s->state == RG_COLUMN_GLARE;
    return covered && s->obliquity_deg <= w->look_deg ? -s->obliquity_deg : NAN;
}

static double rate_behind(const rg_inspection *in, int i, const sight *s, const void *context)
{
    const wanted *w = context;
    if (s->state == RG_COLUMN_LIT)
        return NAN;
    return fabs(rg_angle_between(in->frames[i].bearing_deg, w->bearing_deg));
}

/* ---------------------------------------------------------------- choice */

static void say(rg_pairs_view *v)
{
    char side[96] = "";
    if (isfinite(v->off_deg))
        snprintf(side, sizeof side, "The camera stands %.0f\u00b0 %s of the widest place, ",
                 fabs(v->off_deg), v->off_deg >= 0 ? "clockwise" : "anticlockwise");
    static const char *const what[] = {
        [RG_PAIRS_LIT] = "near enough to the slot's own plane: light comes through.",
        [RG_PAIRS_TOO_HIGH] =
            "so high that the pad's edge hides the slot: dark here proves nothing.",
        [RG_PAIRS_TOO_LOW] =
            "so low that the view ends on the pad's face or the rim hides it: dark "
            "here proves nothing.",
        [RG_PAIRS_COVERED] = "but something stands before the place, or glare lies over it: dark "
                             "here proves nothing.",
        [RG_PAIRS_BEHIND] = "which cannot be seen from there.",
        [RG_PAIRS_NO_GAP] = ""};
    bool height = v->kind < RG_PAIRS_BEHIND;
    char at[64] = "";
    if (height)
        snprintf(at, sizeof at, "%.2f\u00b0 %s the rim plane, ", fabs(v->elevation_deg),
                 v->elevation_deg >= 0 ? "above" : "below");
    snprintf(v->says, sizeof v->says, "%s%s%s", side, at, what[v->kind]);
}

static void say_no_gap(rg_verdict verdict, char says[RG_PAIRS_TEXT])
{
    snprintf(
        says, RG_PAIRS_TEXT, "%s",
        verdict == RG_VERDICT_SEALED
            ? "No gap was measured. All frames together show the seal; this one alone, dark as "
              "it is, would prove nothing."
            : "No gap was measured, and no seal either: this frame is dark, and that alone "
              "proves nothing.");
}

static rg_pairs_view view_of(const rg_inspection *in, int frame, rg_pairs_view_kind kind,
                             double bearing)
{
    rg_pairs_view v = {.there = frame >= 0, .kind = kind, .frame = frame, .off_deg = NAN};
    if (frame < 0)
        return v;
    v.bearing_deg = in->frames[frame].bearing_deg;
    v.elevation_deg = in->frames[frame].elevation_deg;
    if (isfinite(bearing))
        v.off_deg = rg_angle_between(v.bearing_deg, bearing);
    say(&v);
    return v;
}

static rg_pairs_view contrast(const rg_inspection *in, const wanted *w)
{
    int frame = best_frame(in, w->bearing_deg, rate_dark, w);
    if (frame >= 0)
        return view_of(in, frame,
                       in->frames[frame].elevation_deg >= 0 ? RG_PAIRS_TOO_HIGH : RG_PAIRS_TOO_LOW,
                       w->bearing_deg);
    frame = best_frame(in, w->bearing_deg, rate_covered, w);
    if (frame >= 0)
        return view_of(in, frame, RG_PAIRS_COVERED, w->bearing_deg);
    return view_of(in, best_frame(in, w->bearing_deg, rate_behind, w), RG_PAIRS_BEHIND,
                   w->bearing_deg);
}

/* The map's widest bearing may stand for light that the frames show beside it. */
static int find_lit(const rg_inspection *in, wanted *w)
{
    enum { BESIDE = 15 };
    double bearing = w->bearing_deg;
    int frame = -1;
    for (int i = 0; frame < 0 && i <= 2 * BESIDE; i++) {
        w->bearing_deg = bearing + (i % 2 ? -(i + 1) / 2 : i / 2);
        frame = best_frame(in, w->bearing_deg, rate_lit, w);
    }
    return frame;
}

void rg_pairs_choose(const rg_inspection *in, const rg_pairs_truth *truth, double look_deg,
                     rg_pairs_view view[RG_PAIRS_VIEWS])
{
    wanted w = {.bearing_deg = truth->widest_deg, .look_deg = look_deg};
    view[RG_PAIRS_IN] = view[RG_PAIRS_OUT] = (rg_pairs_view){.frame = -1, .off_deg = NAN};
    int lit = truth->gap ? find_lit(in, &w) : -1;
    if (lit >= 0) {
        w.beside_deg = in->frames[lit].bearing_deg;
        view[RG_PAIRS_IN] = view_of(in, lit, RG_PAIRS_LIT, w.bearing_deg);
        view[RG_PAIRS_OUT] = contrast(in, &w);
    } else if (!truth->gap) {
        view[RG_PAIRS_IN] = view_of(in, best_frame(in, 0, rate_level, &w), RG_PAIRS_NO_GAP, NAN);
        say_no_gap(truth->verdict, view[RG_PAIRS_IN].says);
    }
}

/* ---------------------------------------------------------------- round the pad */

/* A frame that may be the first: it shows the place, or there is none to show. */
static bool serves(const rg_inspection *in, int i, const wanted *w, bool gap)
{
    const rg_frame *f = &in->frames[i];
    if (!is_shown(f) || !gap)
        return is_shown(f);
    sight s = look_at(f, w->bearing_deg);
    return s.state == RG_COLUMN_LIT && s.obliquity_deg <= w->look_deg;
}

static int pick_first(const rg_inspection *in, const wanted *w, bool gap, uint64_t pick, int best)
{
    int count = 0;
    for (int i = 0; i < in->sweep.frames; i++)
        count += serves(in, i, w, gap);
    int left = count > 0 ? (int)(pick % (uint64_t)count) : -1;
    for (int i = 0; i < in->sweep.frames; i++)
        if (serves(in, i, w, gap) && left-- == 0)
            return i;
    return best; /* all look along the rim */
}

/* The frame whose camera stands nearest to that bearing and at no place that is shown already; -1: none. */
static int frame_near(const rg_inspection *in, double bearing, const rg_pairs_view *view, int views,
                      double apart_deg)
{
    int nearest = -1;
    double least = INFINITY;
    for (int i = 0; i < in->sweep.frames; i++) {
        double off = fabs(rg_angle_between(in->frames[i].bearing_deg, bearing));
        bool free = is_shown(&in->frames[i]);
        for (int k = 0; k < views; k++)
            free = free && fabs(rg_angle_between(in->frames[i].bearing_deg, view[k].bearing_deg)) >=
                               apart_deg;
        if (free && off < least) {
            nearest = i;
            least = off;
        }
    }
    return nearest;
}

/* The first picture is any of them. */
static void rotate(rg_pairs_view *view, int views, uint64_t by, int *facing)
{
    rg_pairs_view from[RG_PAIRS_ROUND];
    memcpy(from, view, (size_t)views * sizeof *from);
    *facing = (int)(by % (uint64_t)views);
    for (int i = 0; i < views; i++)
        view[(i + *facing) % views] = from[i];
}

int rg_pairs_choose_round(const rg_inspection *in, const rg_pairs_truth *truth, double look_deg,
                          const rg_pairs_round *round, rg_pairs_view view[RG_PAIRS_ROUND],
                          int *facing)
{
    wanted w = {.bearing_deg = truth->widest_deg, .look_deg = look_deg};
    int best = truth->gap ? find_lit(in, &w) : best_frame(in, 0, rate_level, &w);
    int first = pick_first(in, &w, truth->gap, round->pick, best), n = 0;
    const int wanted_views = round->views < RG_PAIRS_ROUND ? round->views : RG_PAIRS_ROUND;
    *facing = 0;
    if (first < 0)
        return 0;
    view[n++] = view_of(in, first, truth->gap ? RG_PAIRS_LIT : RG_PAIRS_NO_GAP,
                        truth->gap ? w.bearing_deg : NAN);
    if (!truth->gap)
        say_no_gap(truth->verdict, view[0].says);
    for (int k = 1; k < wanted_views; k++) {
        double step = 360.0 / wanted_views;
        int frame = frame_near(in, view[0].bearing_deg + k * step, view, n, step / 2);
        if (frame >= 0)
            view[n++] = view_of(in, frame, RG_PAIRS_BEHIND, NAN);
    }
    rotate(view, n, round->pick / 64, facing);
    return n;
}

/* ---------------------------------------------------------------- what is shown of a photograph */

/* The cylinder about cup, crown and rim: everything else on the photograph is the bench. */
static void hull(const rg_setup *s, const rg_frame *f, const rg_pairs_settings *o, double *radius,
                 double z[2])
{
    const rg_rim *rim = &s->rim;
    *radius = fmax(rim->pad_diameter_mm, rim->outer_diameter_mm) / 2;
    /* Where the cup's height is not known: no cup is higher than half as wide. */
    double top = rim->cup_height_mm > 0 ? rim->cup_height_mm : *radius;
    if (f->pose.source == RG_PLACE_CROWN) {
        /* Corners of the hexagon; a tag's white margin is an eighth of its border's edge. */
        *radius = fmax(*radius, s->crown.apothem_mm / cos(rg_radians(30)));
        top = fmax(top, s->crown.centre_height_mm + 0.625 * s->crown.tag_size_mm);
    }
    *radius += o->margin_mm;
    z[0] = -o->below_mm;
    z[1] = top + o->margin_mm;
}

static int within(double x, int most)
{
    return (int)fmin(fmax(x, 0), most);
}

bool rg_pairs_cut_of(const rg_setup *setup, const rg_frame *frame,
                     const rg_pairs_settings *settings, int width, int height, rg_pairs_cut *cut)
{
    enum { LEAST = 16 };
    double radius, z[2], box[4] = {INFINITY, INFINITY, -INFINITY, -INFINITY};
    hull(setup, frame, settings, &radius, z);
    for (int b = 0; b < 360; b += 2)
        for (int k = 0; k < 2; k++) {
            rg_vec3 p = rg_vec3_scale(rg_rim_direction(b), radius);
            rg_vec2 q;
            p.z = z[k];
            if (!rg_lens_project(&setup->lens, rg_pose_apply(&frame->pose.pose, p), &q))
                continue;
            box[0] = fmin(box[0], q.x);
            box[1] = fmin(box[1], q.y);
            box[2] = fmax(box[2], q.x);
            box[3] = fmax(box[3], q.y);
        }
    int x0 = within(floor(box[0]), width - 1), y0 = within(floor(box[1]), height - 1);
    int x1 = within(ceil(box[2]), width - 1), y1 = within(ceil(box[3]), height - 1);
    *cut = (rg_pairs_cut){x0, y0, x1 - x0 + 1, y1 - y0 + 1};
    return cut->width >= LEAST && cut->height >= LEAST;
}

static uint8_t code_of(const rg_image *m, size_t sample)
{
    if (m->depth == 8)
        return ((const uint8_t *)m->data)[sample];
    return (uint8_t)(((const uint16_t *)m->data)[sample] >> 8);
}

rg_code rg_pairs_cut_image(const rg_image *image, const rg_pairs_cut *cut, rg_image *part,
                           rg_error *err)
{
    rg_code code = rg_image_new(part, cut->width, cut->height, 3, 8, err);
    if (code != RG_OK)
        return code;
    uint8_t *to = part->data;
    size_t channels = (size_t)image->channels, row = channels * (size_t)image->width;
    for (int y = 0; y < cut->height; y++)
        for (int x = 0; x < cut->width; x++) {
            size_t from = (size_t)(cut->y0 + y) * row + (size_t)(cut->x0 + x) * channels;
            for (size_t c = 0; c < 3; c++)
                *to++ = code_of(image, from + (channels == 3 ? c : 0));
        }
    return RG_OK;
}

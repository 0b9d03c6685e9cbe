/*
 * opening.c - the rim's pose against an open cup, from all frames at once: what goes in and what comes out. Search,
 * fit, and what is left out of it stand in opening_search.c, opening_fit.c, opening_drop.c.
 */
#include "rimglow/opening.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "opening_private.h"
#include "rimglow/memory.h"

rg_code rg_opening_check(const rg_opening_options *o, rg_error *err)
{
    const struct {
        const char *name;
        double value, low, high;
    } all[] = {{"search_mm", o->search_mm, 0.5, 100},
               {"search_deg", o->search_deg, 0, 60},
               {"min_frames", o->min_frames, 1, RG_OPENING_FRAMES},
               {"min_spread_deg", o->min_spread_deg, 0, 180},
               {"min_share", o->min_share, 0.05, 1},
               {"max_rms_px", o->max_rms_px, 0.05, 50},
               {"edge_drop_mm", o->edge_drop_mm, 0, 1},
               {"edge_u_mm", o->edge_u_mm, 0.001, 1},
               {"pad_u_mm", o->pad_u_mm, 0, 1},
               {"pad_tilt_u_deg", o->pad_tilt_u_deg, 0, 10},
               {"max_u_mm", o->max_u_mm, 0.001, 10}};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        if (!(all[i].value >= all[i].low && all[i].value <= all[i].high))
            return rg_fail(err, RG_BAD_DATA, "opening: %s = %g is not within %g to %g", all[i].name,
                           all[i].value, all[i].low, all[i].high);
    return RG_OK;
}

/* ------------------------------------------------------------ result */

/* The pad's plane over the rim, c, a, s: the cup's plane Z = 0 in the rim frame. */
static void plane_of(const double v[RIM], double radius, double plane[3])
{
    rg_pose rim = rg_opening_rim_pose(v), cup = rg_pose_inverse(&rim);
    rg_vec3 n = {cup.R.m[0][2], cup.R.m[1][2], cup.R.m[2][2]};
    plane[0] = cup.t.z + (n.x * cup.t.x + n.y * cup.t.y) / n.z;
    plane[1] = -radius * n.x / n.z;
    plane[2] = radius * n.y / n.z;
}

static double greatest_spread(const fit *f)
{
    double most = 0;
    for (int i = 0; i < f->looks; i++)
        for (int k = 0; k < i; k++)
            if (f->look[i].in && f->look[k].in)
                most = fmax(most, fabs(rg_angle_between(f->look[i].frame->bearing_deg,
                                                        f->look[k].frame->bearing_deg)));
    return most;
}

static void note_frames(fit *f, rg_opening *o)
{
    double sum = 0;
    for (int i = 0; i < f->looks; i++) {
        look *l = &f->look[i];
        rg_opening_frame *out = l->frame;
        double distance;
        out->rim = rg_opening_camera(l, l->moved, f->v);
        out->cup = rg_place_move(&l->start, l->moved);
        rg_rim_camera(&out->rim, &out->bearing_deg, &out->elevation_deg, &distance);
        out->used = l->in;
        for (int k = 0; k < l->points; k++)
            out->points += l->weight[k] > 0;
        out->rms_px = rg_opening_rms(l);
        if (!l->in)
            continue;
        o->frames_used++;
        o->points += out->points;
        sum += out->points * out->rms_px * out->rms_px;
    }
    o->rms_px = o->points ? sqrt(sum / o->points) : NAN;
}

/* Covariance of the plane: the fit's by central differences (JCGM 102, 6.2), and what no
 * picture shows. */
static void combine(const fit *f, double u_scale, rg_opening *o)
{
    const rg_opening_options *q = f->options;
    double r = f->rim->outer_diameter_mm / 2, j[3][RIM];
    for (int p = 0; p < RIM; p++) {
        double low[RIM], high[RIM], a[3], b[3];
        memcpy(low, f->v, sizeof low);
        memcpy(high, f->v, sizeof high);
        low[p] -= 1e-5;
        high[p] += 1e-5;
        plane_of(low, r, a);
        plane_of(high, r, b);
        for (int i = 0; i < 3; i++)
            j[i][p] = (b[i] - a[i]) / 2e-5;
    }
    for (int i = 0; i < 3; i++)
        for (int k = 0; k < 3; k++) {
            o->covariance[i][k] = u_scale * u_scale * o->plane[i] * o->plane[k];
            for (int p = 0; p < RIM; p++)
                for (int s = 0; s < RIM; s++)
                    o->covariance[i][k] += j[i][p] * f->covariance[p][s] * j[k][s];
        }
    double lean = r * tan(rg_radians(q->pad_tilt_u_deg));
    o->covariance[0][0] += q->edge_u_mm * q->edge_u_mm + q->pad_u_mm * q->pad_u_mm;
    o->covariance[1][1] += lean * lean;
    o->covariance[2][2] += lean * lean;
}

double rg_opening_at(const rg_opening *o, double bearing_deg, double *u_mm)
{
    double b = rg_radians(bearing_deg), g[3] = {1, cos(b), sin(b)}, h = 0, variance = 0;
    for (int i = 0; i < 3; i++) {
        h += g[i] * o->plane[i];
        for (int k = 0; k < 3; k++)
            variance += g[i] * o->covariance[i][k] * g[k];
    }
    if (u_mm)
        *u_mm = o->measured ? sqrt(variance) : NAN;
    return o->measured ? h : NAN;
}

static void derive(rg_opening *o)
{
    double a = o->plane[1], s = o->plane[2], size = hypot(a, s);
    double ga = size > 0 ? a / size : 1, gs = size > 0 ? s / size : 0;
    o->far_mm = rg_opening_at(o, 180, &o->u_far_mm);
    o->hinge_mm = rg_opening_at(o, 0, &o->u_hinge_mm);
    o->mean_mm = o->plane[0];
    o->u_mean_mm = sqrt(o->covariance[0][0]);
    o->tilt_mm = 2 * size;
    o->u_tilt_mm = 2 * sqrt(ga * ga * o->covariance[1][1] + gs * gs * o->covariance[2][2] +
                            2 * ga * gs * o->covariance[1][2]);
    o->tilt_bearing_deg = size > 0 ? rg_wrap_degrees(rg_degrees(atan2(s, a))) : NAN;
}

static void refuse(rg_opening *o, const char *text)
{
    o->measured = false;
    snprintf(o->reason, sizeof o->reason, "%s", text);
}

/* Enough frames, from places apart, and a result that says something. */
static void conclude(const fit *f, double u_scale, rg_opening *o)
{
    const rg_opening_options *q = f->options;
    double worst, u;
    plane_of(f->v, f->rim->outer_diameter_mm / 2, o->plane);
    combine(f, u_scale, o);
    o->rim_in_cup = rg_opening_rim_pose(f->v);
    o->measured = true;
    derive(o);
    worst = fmax(o->u_far_mm, o->u_hinge_mm);
    for (int b = 0; b < 360; b += 10) {
        rg_opening_at(o, b, &u);
        worst = fmax(worst, u);
    }
    if (o->frames_used < q->min_frames)
        snprintf(o->reason, sizeof o->reason,
                 "%d of %d frames show the rim, at least %.0f are needed; take frames level with "
                 "the rim from bearings 90, 180 and 270",
                 o->frames_used, o->frames_given, q->min_frames);
    else if (greatest_spread(f) < q->min_spread_deg)
        snprintf(o->reason, sizeof o->reason,
                 "all frames look from bearings within %.0f degrees; take another a quarter turn "
                 "away, at least %.0f degrees",
                 greatest_spread(f), q->min_spread_deg);
    else if (!(worst <= q->max_u_mm))
        snprintf(o->reason, sizeof o->reason,
                 "the frames hold the rim's place to %.2f mm only (standard uncertainty), at most "
                 "%.2f; take frames level with the rim from bearings 90, 180 and 270",
                 worst, q->max_u_mm);
    o->measured = o->reason[0] == '\0';
}

/* ------------------------------------------------------------ whole */

static rg_code begin(fit *f, const rg_opening_view *view, int count, rg_opening_frame *frame,
                     rg_error *err)
{
    int used = count < RG_OPENING_FRAMES ? count : RG_OPENING_FRAMES;
    f->look = rg_alloc((size_t)used + 1, sizeof *f->look);
    if (!f->look)
        return rg_fail(err, RG_INTERNAL, "opening: no memory for %d frames", used);
    for (int i = 0; i < used; i++) {
        look *l = &f->look[f->looks];
        int at = (int)((long)i * count / used);
        *l = (look){.view = &view[at], .frame = &frame[at], .in = true};
        l->start = view[at].place->pose;
        frame[at].reason[0] = '\0';
        if (!rg_opening_set_prior(l, f->options->edge_u_mm)) {
            snprintf(frame[at].reason, RG_OPENING_REASON, "the crown does not hold the cup's pose");
            continue;
        }
        rg_code code = rg_trace_map_new(&l->map, view[at].light, err);
        if (code != RG_OK)
            return code;
        f->looks++;
    }
    return RG_OK;
}

static void finish(fit *f)
{
    for (int i = 0; f->look && i < f->looks; i++)
        rg_trace_map_free(f->look[i].map);
    free(f->look);
}

static void clear(rg_opening_frame *frame, int count, rg_opening *o)
{
    *o = (rg_opening){.far_mm = NAN,
                      .u_far_mm = NAN,
                      .hinge_mm = NAN,
                      .u_hinge_mm = NAN,
                      .mean_mm = NAN,
                      .u_mean_mm = NAN,
                      .tilt_mm = NAN,
                      .u_tilt_mm = NAN,
                      .tilt_bearing_deg = NAN,
                      .rms_px = NAN,
                      .frames_given = count};
    for (int i = 0; i < count; i++) {
        frame[i] = (rg_opening_frame){.bearing_deg = NAN, .elevation_deg = NAN, .rms_px = NAN};
        snprintf(frame[i].reason, RG_OPENING_REASON, "more than %d frames: this one was not needed",
                 (int)RG_OPENING_FRAMES);
    }
}

rg_code rg_opening_measure(const rg_lens *lens, const rg_rim *rim,
                           const rg_opening_options *options, double u_scale,
                           const rg_opening_view *view, int count, rg_opening_frame *frame,
                           rg_opening *opening, rg_error *err)
{
    fit f = {.lens = lens, .rim = rim, .options = options};
    clear(frame, count, opening);
    rg_code code = rg_opening_check(options, err);
    if (code == RG_OK)
        code = begin(&f, view, count, frame, err);
    if (code == RG_OK && f.looks == 0) {
        refuse(opening, "no frame of the open key shows the crown; take frames level with the rim "
                        "from bearings 90, 180 and 270, with the crown on the cup");
    } else if (code == RG_OK) {
        bool held = rg_opening_search(&f) && rg_opening_fit_all(&f);
        note_frames(&f, opening);
        if (held)
            conclude(&f, u_scale, opening);
        else
            refuse(opening,
                   "the rim was not found under the open pad; take frames level with the "
                   "rim from bearings 90, 180 and 270, lamp on, before a plain background");
    }
    finish(&f);
    return code;
}

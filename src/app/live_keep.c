/*
 * live_keep.c - what a frame is worth: kept or not and why, and what is drawn over it.
 *
 * A closed frame is kept when it can be used and adds a view: fewer than [keep] per_place frames come
 * from its place, which is a sector of camera bearings at one of the levels.
 */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "live_private.h"

enum { WHY = 240, OUTER_LOW = -1, OUTER_HIGH = RG_COVER_LEVELS, NO_LEVEL = -2 };

double rg_live_elevation(const rg_rim_plane *plane, const rg_setup *setup, const rg_frame *frame)
{
    if (!plane->found || frame->role != RG_FRAME_CLOSED)
        return frame->elevation_deg;
    double slope = rg_rim_plane_slope(plane, frame->bearing_deg, setup->rim.outer_diameter_mm / 2);
    return frame->elevation_deg - rg_degrees(atan(slope));
}

/* The level that an elevation belongs to: the nearest within reach. Not far
 * outside of all, a level of its own below or above them. */
static int level_of(const rg_capture_settings *o, double elevation_deg, bool sure)
{
    const double *level = o->coverage.level_deg;
    int best = NO_LEVEL;
    for (int l = 0; l < RG_COVER_LEVELS; l++)
        if (fabs(elevation_deg - level[l]) <= o->coverage.near_deg &&
            (best < 0 || fabs(elevation_deg - level[l]) < fabs(elevation_deg - level[best])))
            best = l;
    if (best >= 0)
        return best;
    /* Levels farther apart than twice near_deg: between them counts for the lower one. */
    for (int l = 0; l + 1 < RG_COVER_LEVELS; l++)
        if (elevation_deg > level[l] && elevation_deg < level[l + 1])
            return l;
    double slack = fmax(o->coverage.near_deg, sure ? o->keep.beyond_deg : o->keep.unsure_deg);
    if (elevation_deg < level[0] && elevation_deg >= level[0] - slack)
        return OUTER_LOW;
    if (elevation_deg > level[RG_COVER_LEVELS - 1] &&
        elevation_deg <= level[RG_COVER_LEVELS - 1] + slack)
        return OUTER_HIGH;
    return NO_LEVEL;
}

static int sector_of(double bearing_deg)
{
    return (int)(rg_wrap_degrees(bearing_deg) * RG_COVER_SECTORS / 360) % RG_COVER_SECTORS;
}

/* Kept frames from the same place. */
static int neighbours(const rg_live *live, const rg_frame *now, int level)
{
    int count = 0;
    for (int i = 0; i < live->kept; i++) {
        const rg_frame *f = live->frame[i];
        bool useful = i >= live->state.measured || live->useful[i];
        if (f->role != RG_FRAME_CLOSED || !useful ||
            sector_of(f->bearing_deg) != sector_of(now->bearing_deg))
            continue;
        double elevation = rg_live_elevation(&live->plane, &live->setup, f);
        count += level_of(&live->settings, elevation, live->plane.found) == level;
    }
    return count;
}

static double sharpest(const rg_live *live)
{
    double best = INFINITY;
    for (int i = 0; i < live->kept; i++)
        if (live->frame[i]->role == RG_FRAME_CLOSED && live->frame[i]->pose.edge_sigma_px > 0)
            best = fmin(best, live->frame[i]->pose.edge_sigma_px);
    return best;
}

static int kept_of(const rg_live *live, rg_frame_role role)
{
    int count = 0;
    for (int i = 0; i < live->kept; i++)
        count += live->frame[i]->role == role;
    return count;
}

/* sweep.ini may not hold a witness exposed longer than a closed frame. */
static bool exposures_fit(const rg_live *live, rg_frame_role role, double exposure, char *why)
{
    for (int i = 0; i < live->kept; i++) {
        const rg_frame *f = live->frame[i];
        bool clash =
            (role == RG_FRAME_WITNESS && f->role == RG_FRAME_CLOSED && exposure > f->exposure) ||
            (role == RG_FRAME_CLOSED && f->role == RG_FRAME_WITNESS && exposure < f->exposure);
        if (clash) {
            snprintf(why, WHY,
                     "exposure %g does not go with the %s frame's %g: a witness must be exposed no "
                     "longer than the closed frames",
                     exposure, f->role == RG_FRAME_WITNESS ? "witness" : "closed", f->exposure);
            return false;
        }
    }
    return true;
}

static void judge_closed(const rg_live *live, const rg_frame *now, char *why)
{
    const rg_keep_options *keep = &live->settings.keep;
    int level = level_of(&live->settings, now->elevation_deg, live->plane.found);
    double blur = now->pose.edge_sigma_px / sharpest(live);
    if (!now->used)
        snprintf(why, WHY, "%s", now->reason);
    else if (kept_of(live, RG_FRAME_CLOSED) >= keep->closed_most)
        snprintf(why, WHY, "%d closed frames are kept already, the most there may be",
                 keep->closed_most);
    else if (level == NO_LEVEL)
        snprintf(why, WHY, "seen from %.1f degrees, where thin gaps stay dark", now->elevation_deg);
    else if (blur > live->setup.options.blur_ratio)
        snprintf(why, WHY, "blurred: edges %.1f times as wide as the sharpest frame's; hold still",
                 blur);
    else if (neighbours(live, now, level) >= keep->per_place)
        snprintf(why, WHY, "this view has been taken already; move on");
}

static void judge_witness(const rg_live *live, const rg_frame *now, char *why)
{
    double best = -1;
    for (int i = 0; i < live->kept; i++)
        if (live->frame[i]->role == RG_FRAME_WITNESS && live->frame[i]->used)
            best = fmax(best, live->frame[i]->witness.area_mm2);
    if (!now->used && (live->proven || live->unproven >= live->settings.keep.witness_most))
        snprintf(why, WHY, "%s", now->reason);
    else if (now->used && now->witness.area_mm2 <= best)
        snprintf(why, WHY, "the lamp is proven already, by a frame that shows more of its light");
}

void rg_live_judge(const rg_live *live, const rg_frame *now, double exposure, char *why)
{
    why[0] = '\0';
    if (live->kept >= RG_FRAMES_MAX)
        snprintf(why, WHY, "%d frames are kept already, the most a sweep may have", RG_FRAMES_MAX);
    else if (!exposures_fit(live, now->role, exposure, why))
        return;
    else if (now->role == RG_FRAME_CLOSED)
        judge_closed(live, now, why);
    else if (now->role == RG_FRAME_WITNESS)
        judge_witness(live, now, why);
    else if (now->role == RG_FRAME_OPEN || !now->used)
        snprintf(why, WHY, "%s", now->reason);
    else if (kept_of(live, RG_FRAME_DARK) >= live->settings.keep.dark_most)
        snprintf(why, WHY, "%d dark frames are kept already", live->settings.keep.dark_most);
}

/* ---------------------------------------------------------------- overlay */

enum { POINTS = 72, POINT_DEG = 360 / POINTS };

static void draw_rim(const rg_live *live, const rg_rim_plane *plane, const rg_frame *frame,
                     rg_live_overlay *o)
{
    double radius = live->setup.rim.outer_diameter_mm / 2;
    for (int i = 0; i < POINTS; i++) {
        double z = plane->found ? rg_rim_plane_height(plane, POINT_DEG * i) : 0;
        rg_rim_view v = rg_rim_look(&live->setup.lens, &frame->pose.pose, radius, z, POINT_DEG * i);
        bool inside = v.in_front && v.pixel.x >= -0.5 && v.pixel.y >= -0.5 &&
                      v.pixel.x <= frame->width - 0.5 && v.pixel.y <= frame->height - 0.5;
        o->x[i] = inside ? (float)v.pixel.x : NAN;
        o->y[i] = inside ? (float)v.pixel.y : NAN;
    }
}

/* Of the columns nearest to each point, more than half hidden or any lit. */
static void draw_light(const rg_rimlight *light, const rg_strip *strip, rg_live_overlay *o)
{
    int seen[POINTS] = {0}, hidden[POINTS] = {0};
    for (int c = 0; c < light->columns; c++) {
        int i = (int)(strip->column[c].bearing_deg / POINT_DEG + 0.5) % POINTS;
        rg_column_state state = light->column[c].state;
        seen[i]++;
        hidden[i] += state == RG_COLUMN_HIDDEN || state == RG_COLUMN_GLARE;
        o->lit[i] = o->lit[i] || state == RG_COLUMN_LIT;
    }
    for (int i = 0; i < POINTS; i++)
        o->hidden[i] = seen[i] && 2 * hidden[i] > seen[i];
}

void rg_live_draw(rg_live *live, live_item *item)
{
    const rg_frame *f = &item->frame;
    rg_live_overlay *o = &item->overlay;
    rg_rim_plane plane;
    rg_rimlight light;
    if (!rg_frame_posed(f))
        return;
    pthread_mutex_lock(&live->lock);
    plane = live->plane;
    pthread_mutex_unlock(&live->lock);
    *o = (rg_live_overlay){
        .frame = item->source, .width = f->width, .height = f->height, .points = POINTS};
    draw_rim(live, &plane, f, o);
    /* Before the rim is found there is nothing to hold light against. */
    if (plane.found && f->used && f->strip.columns &&
        rg_rimlight_measure(&light, &f->strip, &plane, 0, &live->setup.options.rimlight, NULL) ==
            RG_OK) {
        draw_light(&light, &f->strip, o);
        rg_rimlight_free(&light);
    }
    item->drawn = true;
}

/*
 * config_render.h - a plan of sweeps to be rendered with known truth (INI); samples/render/ shows one.
 *
 *   [render]          serial, instrument, station (paths relative to the plan's folder, or absolute),
 *                     seed, date of the frames (or none)
 *   [every sweep]     what a [sweep NAME] does not say itself
 *   [sweep NAME]      one sweep folder of that name: pad, finger, the pad's face against its rim, light,
 *                     camera. pad = *: every pad of the instrument file that has a crown and that no other sweep
 *                     of the plan names (closed and open sweeps apart), each in a folder NAME-PAD (a blank becomes '-')
 *   [frame NAME]      one picture: the scene and camera of a sweep (not of one with pad = *), from a place of its own
 *
 * The pad's face over the rim's outer edge, by bearing b, and its gap w:
 *   raw(b) = level + tilt cos(b - tilt_bearing) + saddle cos 2(b - saddle_bearing) + creases(b)
 *   w(b) = max(0, raw(b))
 * Rules and messages are those of config.h.
 */
#ifndef RIMGLOW_CONFIG_RENDER_H
#define RIMGLOW_CONFIG_RENDER_H

#include <stdbool.h>
#include <stddef.h>

#include "rimglow/config.h"

enum {
    RG_RENDER_SWEEPS_MAX = 64,
    RG_RENDER_FRAMES_MAX = 64,
    RG_RENDER_CREASES = 8,
    RG_RENDER_STREAKS = 8,
    RG_RENDER_LEVELS = 16
};

/* A raised cosine: depth (1 + cos(pi (b - bearing) / half_width)) / 2. */
typedef struct rg_render_crease {
    double bearing_deg, half_width_deg, depth_mm;
} rg_render_crease;

/* A lamp's mirror image on upright walls (synth.h). */
typedef struct rg_render_streak {
    double azimuth_deg, width_deg, light, low_mm, high_mm;
} rg_render_streak;

typedef enum rg_render_format { RG_RENDER_JPEG, RG_RENDER_PNG } rg_render_format;

typedef struct rg_render_sweep {
    char name[RG_NAME_SIZE], pad[RG_NAME_SIZE];
    bool open; /* key at rest: open frames, no witness, no closed ones */
    rg_finger finger;
    double finger_grams;
    char key[RG_NAME_SIZE]; /* pad whose key is pressed; "": its own */
    double level_mm, tilt_mm, tilt_bearing_deg, saddle_mm, saddle_bearing_deg;
    int creases;
    rg_render_crease crease[RG_RENDER_CREASES];
    double press_mm, bulge_mm, askew_x, askew_y;
    double feeler_mm, feeler_u_mm, feeler_bearing_deg, feeler_width_mm; /* 0 mm: none */
    double lamp, lamp_uneven, lamp_bearing_deg; /* lamp: share of the plan's brightness */
    double paper, metal, leather, room;         /* linear light */
    int streaks;
    rg_render_streak streak[RG_RENDER_STREAKS];
    bool posts; /* key arm, hinge rod and posts are there */
    bool witness;
    double witness_exposure, witness_mm; /* how far it is cracked open, in the middle */
    double open_exposure;
    double falloff_power, vignetting; /* rg_synth_vignette */
    double blur_px, glare, full_well, read_noise;
    rg_render_format format;
    int jpeg_quality;
    double distance_mm, aim_mm, first_bearing_deg;
    int bearings;
    int levels; /* elevations at each bearing */
    double elevation_deg[RG_RENDER_LEVELS];
    /* How unsteady the hand is: half ranges. */
    double bearing_spread_deg, elevation_spread_deg, distance_spread_mm, roll_spread_deg;
} rg_render_sweep;

/* A single picture. */
typedef struct rg_render_frame {
    char name[RG_NAME_SIZE], sweep[RG_NAME_SIZE]; /* whose scene, blur, sensor and format it has */
    bool cracked;                                 /* the pad as in the sweep's witness */
    double bearing_deg, elevation_deg, distance_mm, roll_deg, exposure;
} rg_render_frame;

typedef struct rg_render_plan {
    char serial[RG_NAME_SIZE], instrument_path[512], station_path[512];
    int seed;
    int day; /* of the frames, date.h; -1: not stated */
    int sweeps;
    rg_render_sweep *sweep; /* owned */
    int frames;
    rg_render_frame *frame; /* owned; NULL without any */
} rg_render_plan;

/* On failure *plan owns nothing. */
rg_code rg_render_plan_parse(const char *label, const char *text, size_t size, rg_render_plan *plan,
                             rg_error *err);
void rg_render_plan_free(rg_render_plan *plan);

#endif

/*
 * config_teach.h - the pad that rimglow teach draws, from an INI file like calib/teach.ini. Rules
 * and messages are those of config.h: every key must be there, an unknown one is refused.
 *
 * How pad, light and camera look stands in a plan for rimglow render beside it, whose first sweep is the
 * pad before anything is wrong with it.
 */
#ifndef RIMGLOW_CONFIG_TEACH_H
#define RIMGLOW_CONFIG_TEACH_H

#include <stddef.h>

#include "rimglow/status.h"

enum { RG_TEACH_FILE = 120, RG_TEACH_STEPS = 16 };

/* What a page lets a trainee change. */
typedef enum rg_teach_slider {
    RG_TEACH_GAP,          /* widest place of an opening, at a light finger, mm */
    RG_TEACH_ARC,          /* its length, degrees */
    RG_TEACH_BEARING,      /* where its middle is, degrees */
    RG_TEACH_TILT,         /* tilt at the rim, mm */
    RG_TEACH_TILT_BEARING, /* bearing that it raises */
    RG_TEACH_SADDLE,       /* saddle at the rim, mm */
    RG_TEACH_SADDLE_BEARING,
    RG_TEACH_CREASE, /* depth of a crease, mm */
    RG_TEACH_CREASE_BEARING,
    RG_TEACH_GRAMS,     /* finger's force */
    RG_TEACH_ELEVATION, /* camera above the rim plane, degrees */
    RG_TEACH_CAMERA,    /* bearing that it looks from */
    RG_TEACH_LAMP,      /* brightness, 1: as usual, 0: off */
    RG_TEACH_UNEVEN,    /* how far the lamp lies to one side, 0 to 1 */
    RG_TEACH_LAMP_BEARING,
    RG_TEACH_SLIDERS
} rg_teach_slider;

/* "gap_mm" ...: keys of [sliders]. */
const char *rg_teach_slider_name(rg_teach_slider slider);

typedef struct rg_teach_range {
    double low, high, step, start;
} rg_teach_range;

typedef struct rg_teach_settings {
    char plan[RG_TEACH_FILE]; /* relative to the folder of this file */
    int width, height;        /* px */
    double view;              /* width that the picture shows, in widths of pad or crown */
    double tall;              /* height that it shows at least, in heights of what must be seen: */
    double below;             /* from so many pad diameters below the rim to the crown's top */
    double seat_mm;           /* how deep the land sinks into a good pad at light_grams */
    double light_grams;
    double per_100g_mm; /* 100 g more close a gap by so much */
    double crease_half_width_deg;
    int collect_most; /* views that are kept of one pad */
    rg_teach_range slider[RG_TEACH_SLIDERS];
    int sizes;
    double size_mm[RG_TEACH_STEPS]; /* gaps of the lesson on sizes */
    int elevations;
    double elevation_deg[RG_TEACH_STEPS]; /* of the lesson on the camera's height */
} rg_teach_settings;

/* On failure *settings is all zero. */
rg_code rg_teach_settings_parse(const char *label, const char *text, size_t size,
                                rg_teach_settings *settings, rg_error *err);

#endif

/*
 * draw_lesson.h - lesson sheets to print: what a partial leak looks like, how to hold the camera, what a
 * finger proves, how causes differ, care and cautions, and exercises with their answers. One routine for each
 * sheet; all of them draw what they are given and measure nothing themselves.
 *
 * Rules of draw.h hold. Pages are A4 or Letter (draw_sheet.h); a sheet has one page or more. Every page says that its
 * pictures are drawn and no photographs.
 *
 * Sources: a gap of width w at the land's outer edge, seen from elevation e, stands open by w cos e - D |sin e|. From
 * above D is land and overhang together, from below the land alone: the ray must pass them on its way to
 * the hole. That is geometry, for a land that mirrors nothing and a flat pad (rocking.h has the rest). What a finger, a sound or a suction
 * test proves, drying and yearly checks, and all cautions are common practice, no source: the sheets say so.
 */
#ifndef RIMGLOW_DRAW_LESSON_H
#define RIMGLOW_DRAW_LESSON_H

#include <stdbool.h>

#include "rimglow/diagnosis.h"
#include "rimglow/draw_sheet.h"

/* An A4 page as PNG or SVG, px; Letter is RG_LESSON_LETTER_... */
enum {
    RG_LESSON_WIDTH = 992,
    RG_LESSON_HEIGHT = 1403,
    RG_LESSON_LETTER_WIDTH = 1020,
    RG_LESSON_LETTER_HEIGHT = 1320
};

/* What stands on all sheets. Texts may be NULL. */
typedef struct rg_lesson_head {
    rg_paper paper;
    const char *instrument, *pad, *software;
    long long seed;
    double tolerance_mm, coverage_factor;
    double land_mm, overhang_mm; /* along a ray straight through the slot, >= 0 */
    double distance_mm;          /* camera to pad, > 0 */
    double px_per_mm;            /* of the camera at the pad */
} rg_lesson_head;

enum { RG_LESSON_TICKS = 19 };
/* A picture of the rim line as the camera took it, drawn or not. */
typedef struct rg_lesson_picture {
    int width, height; /* px */
    uint8_t *grey;     /* [height][width], sRGB codes; borrowed; NULL: no picture */
    double px_per_mm;
    double bearing_deg, elevation_deg; /* of the camera */
    double tick_px
        [RG_LESSON_TICKS]; /* x of ten-degree bearings, that nearest to bearing_deg in the middle; NAN: not in it */
} rg_lesson_picture;

/* What was measured of one sweep. map is needed wherever a lesson has one; diagnosis may be NULL. */
typedef struct rg_lesson_result {
    const rg_seal_map *map;
    const rg_diagnosis *diagnosis;
    double true_mm, true_deg; /* widest gap as drawn, and where */
} rg_lesson_result;

/* ---- 1: what a partial leak looks like ---- */

enum { RG_LESSON_GAPS = 5 };
typedef struct rg_lesson_gap {
    double width_mm;                 /* as drawn */
    int bearing_deg;                 /* of its middle, 0 to 359 */
    rg_lesson_picture level, raised; /* seen level, and from above */
    double flux_mm, u_flux_mm;       /* in the sweep's frame that looks at it most level */
    double peak,
        band_mm; /* of the level picture: largest linear light, and thickness at half of it */
    rg_lesson_result result;
} rg_lesson_gap;
typedef struct rg_lesson_leak {
    rg_lesson_head head;
    rg_lesson_gap gap[RG_LESSON_GAPS]; /* thinnest first */
} rg_lesson_leak;
rg_code rg_draw_lesson_leak(const rg_lesson_leak *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err);

/* ---- 2: how to hold the camera ---- */

enum { RG_LESSON_DOTS = 32, RG_LESSON_CURVES = 2, RG_LESSON_RAISED = 7 };
/* One frame's word: how high the slot stood open for it. */
typedef struct rg_lesson_dot {
    double elevation_deg, height_mm, u_mm;
} rg_lesson_dot;
typedef struct rg_lesson_curve {
    double width_mm;
    int dots;
    rg_lesson_dot dot[RG_LESSON_DOTS];
} rg_lesson_curve;
typedef struct rg_lesson_hold {
    rg_lesson_head head;
    int views, levels; /* bearings of a sweep, and elevations at each */
    double lowest_deg, highest_deg;
    rg_lesson_curve curve[RG_LESSON_CURVES];
    double raised_mm; /* the gap of the pictures from below to above */
    rg_lesson_picture raised[RG_LESSON_RAISED];
    rg_lesson_picture streak[2]; /* one gap and one mirror image from two bearings */
    int gap_deg;                 /* bearing of that gap */
    rg_lesson_result hidden;     /* a sweep that did not see all of the rim */
    int hidden_views;            /* bearings from which it was taken */
} rg_lesson_hold;
rg_code rg_draw_lesson_hold(const rg_lesson_hold *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err);

/* ---- 3: what a finger proves ---- */

typedef struct rg_lesson_finger {
    rg_lesson_head head;
    rg_lesson_picture light_view, firm_view;
    rg_lesson_result light, firm;
} rg_lesson_finger;
rg_code rg_draw_lesson_finger(const rg_lesson_finger *lesson, rg_picture_format format, int page,
                              int *pages, rg_bytes *out, rg_error *err);

/* ---- 4: telling causes apart ---- */

typedef enum rg_lesson_cause_kind {
    RG_LESSON_TILT,
    RG_LESSON_HINGE,
    RG_LESSON_SADDLE,
    RG_LESSON_UNIFORM,
    RG_LESSON_CREASE,
    RG_LESSON_DIRT,
    RG_LESSON_CAUSES
} rg_lesson_cause_kind;
typedef struct rg_lesson_causes {
    rg_lesson_head head;
    rg_lesson_result cause[RG_LESSON_CAUSES]; /* by kind; diagnosis is needed */
} rg_lesson_causes;
rg_code rg_draw_lesson_causes(const rg_lesson_causes *lesson, rg_picture_format format, int page,
                              int *pages, rg_bytes *out, rg_error *err);

/* ---- 5: care and cautions ---- */

typedef struct rg_lesson_care {
    rg_lesson_head head;
} rg_lesson_care;
rg_code rg_draw_lesson_care(const rg_lesson_care *lesson, rg_picture_format format, int page,
                            int *pages, rg_bytes *out, rg_error *err);

/* ---- 6: exercises ---- */

enum { RG_LESSON_EXERCISES = 6, RG_LESSON_VIEWS = 3, RG_LESSON_CLASSES = 8 };
typedef struct rg_lesson_exercise {
    rg_lesson_picture view[RG_LESSON_VIEWS];
    const char *cause;       /* the truth, in the words of diagnosis.h */
    const char *where;       /* "at", "nowhere", "all round": the truth */
    int bearings;            /* 0 to 2 with "at" */
    double bearing_deg[2];   /* where it is widest */
    double tolerance_deg;    /* of an answer */
    int width_class;         /* from 0 */
    rg_lesson_result result; /* what the program measured in a whole sweep; diagnosis is needed */
} rg_lesson_exercise;
typedef struct rg_lesson_exercises {
    rg_lesson_head head;
    int classes;
    const char *class_name[RG_LESSON_CLASSES];
    int causes;
    const char *const *cause_name;
    int exercises;
    const rg_lesson_exercise *exercise;
} rg_lesson_exercises;
rg_code rg_draw_lesson_exercises(const rg_lesson_exercises *lesson, rg_picture_format format,
                                 int page, int *pages, rg_bytes *out, rg_error *err);

/* All of them: page from 0 is the page of a PNG or an SVG; a PDF holds all and page does not count.
 * *pages (may be NULL) gets how many there are. RG_BAD_DATA for a page that there is not, a tolerance,
 * coverage factor or distance that is not a positive number, a missing map or diagnosis. */

#endif

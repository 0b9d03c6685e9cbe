/*
 * draw_study.h - the pictures of studies. Rules of draw.h hold: black, white,
 * greys and patterns, the same routine for each format, deterministic.
 */
#ifndef RIMGLOW_DRAW_STUDY_H
#define RIMGLOW_DRAW_STUDY_H

#include "rimglow/draw.h"
#include "rimglow/study.h"

enum { RG_STUDY_WIDTH = 1400, RG_STUDY_HEIGHT = 860, RG_STUDY_PARTS_DRAWN = 24 };

typedef struct rg_draw_gauge_args {
    const rg_gauge_study_result *result;
    const rg_study_settings *settings;
    const char *const *part, *const *person; /* names */
    const char *table;                       /* may be NULL */
    const char *quantity;                    /* words, e.g. "widest gap" */
} rg_draw_gauge_args;

/* Left: percent of study variation and of variance by component, with the limits of
 * acceptance. Right: every value by part and person, with references. Parts
 * beyond RG_STUDY_PARTS_DRAWN are not drawn, and the picture says so. */
rg_code rg_draw_gauge(const rg_draw_gauge_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

typedef struct rg_draw_detect_args {
    const rg_detection_result *result;
    const char *table; /* may be NULL */
} rg_draw_detect_args;

/* POD against size with its bound, a90, a90/95 and the targets; or, where there is no
 * curve, the targets and why. Hit/miss where there is some, else from signals. */
rg_code rg_draw_pod(const rg_draw_detect_args *args, rg_picture_format format, rg_bytes *out,
                    rg_error *err);

/* Signal against size with line, decision and limits. */
rg_code rg_draw_signal(const rg_draw_detect_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err);

#endif

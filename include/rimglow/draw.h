/*
 * draw.h - the pictures of a result: ring map, unwrapped strips, and the
 * camera frame with what was found drawn on it.
 *
 * One routine draws each picture; PNG, SVG and PDF differ only by the cairo
 * surface. All pictures are made of black, white, greys and patterns, so that
 * a black-and-white print says the same as the screen:
 *   slot light  solid, or outlined where it lies on a photograph
 *   rejected    diagonal hatching
 *   hidden      cross hatching, or a dashed line
 *   glare       upright bars, or a dash-dotted line
 *   unseen      diagonal hatching and the word
 *
 * Drawing is deterministic: the same arguments give the same bytes (no clock,
 * no counters of the library left in the file). Texts may be any bytes: what
 * is not UTF-8 becomes '?', what is too long is wrapped or ends in "...".
 * Without any font on the machine the pictures come without their texts.
 */
#ifndef RIMGLOW_DRAW_H
#define RIMGLOW_DRAW_H

#include <stddef.h>
#include <stdint.h>

#include "rimglow/image.h"
#include "rimglow/pipeline.h"
#include "rimglow/wedge.h"

typedef enum rg_picture_format {
    RG_PICTURE_PNG,
    RG_PICTURE_SVG,
    RG_PICTURE_PDF /* one page */
} rg_picture_format;

/* "png", "svg", "pdf": as a file's ending. */
const char *rg_picture_suffix(rg_picture_format format);

/* A4 (ISO 216) or Letter (ANSI/ASME Y14.1). */
typedef enum rg_paper { RG_PAPER_A4, RG_PAPER_LETTER } rg_paper;

/* "A4", "Letter". */
const char *rg_paper_name(rg_paper paper);
/* Upright, mm. */
void rg_paper_size(rg_paper paper, double *width_mm, double *height_mm);

/* A finished file; data is owned by the caller (free()), NULL on failure. */
typedef struct rg_bytes {
    uint8_t *data;
    size_t size;
} rg_bytes;

/* Size of the ring map, px; as a PDF it fills an A4 page. */
enum { RG_RING_WIDTH = 992, RG_RING_HEIGHT = 1403 };

typedef struct rg_draw_ring_args {
    const rg_seal_map *map;
    const char *serial, *pad, *date; /* any may be NULL */
    double tolerance_mm;
    double coverage_factor; /* U = k u */
} rg_draw_ring_args;

/* The ring map of one pad: bearing 0, the key arm, at the top, clockwise as
 * seen from outside; gap width outwards. RG_BAD_DATA when the tolerance or
 * the coverage factor is not a positive number. */
rg_code rg_draw_ring(const rg_draw_ring_args *args, rg_picture_format format, rg_bytes *out,
                     rg_error *err);

/* Width of the strip picture, px; its height grows with the frames. More
 * frames than RG_STRIP_FRAMES_MAX are not drawn, and the picture says so. */
enum { RG_STRIP_WIDTH = 1400, RG_STRIP_FRAMES_MAX = 240 };

typedef struct rg_draw_strip_args {
    const rg_frame *frames;
    const char *const *files; /* [count]; may be NULL, as may each name */
    int count;
    const rg_rim_plane *plane;
    const char *serial, *pad, *date; /* any may be NULL */
} rg_draw_strip_args;

/* The unwrapped strips of a sweep on one bearing scale, one row a frame,
 * ordered by the camera's bearing, then elevation. */
rg_code rg_draw_strip(const rg_draw_strip_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

/* The overlay is at most this wide, px; larger frames are scaled down. */
enum { RG_OVERLAY_WIDTH = 960 };

typedef struct rg_draw_overlay_args {
    const rg_image *image; /* the whole frame, upright */
    const rg_setup *setup; /* lens, crown and rim are used */
    const rg_frame *frame;
    const rg_rim_plane *plane;
    const char *file; /* may be NULL */
} rg_draw_overlay_args;

/* The frame with rim, bearings, light and crown drawn on it, or with the
 * reason why it was not used. RG_BAD_DATA for an image without pixels. */
rg_code rg_draw_overlay(const rg_draw_overlay_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err);

typedef struct rg_draw_light_args {
    const rg_wedge_result *result;
    rg_wedge_blade blade;
    const char *station, *date; /* may be NULL */
} rg_draw_light_args;

/* The calibration of the light on one page, as large as a ring map. RG_BAD_DATA
 * for a feeler without thickness. */
rg_code rg_draw_light(const rg_draw_light_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

#endif

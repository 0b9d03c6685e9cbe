/*
 * draw_lens.h - the picture of a lens calibration: where in the picture the
 * lens has been seen, and how far the marks lie from their places. Rules of
 * draw.h (black, white, patterns and words; deterministic).
 */
#ifndef RIMGLOW_DRAW_LENS_H
#define RIMGLOW_DRAW_LENS_H

#include "rimglow/draw.h"
#include "rimglow/lensreview.h"

/* Width of the picture, px; its height follows from the photographs' shape. */
enum { RG_LENS_PICTURE_WIDTH = 992 };

typedef struct rg_draw_lens_args {
    const rg_view *view; /* what rg_calibrate took */
    const rg_calibration *calibration;
    const rg_lens_review *review;
    const rg_lens_limits *limits;
    const char *date; /* may be NULL */
} rg_draw_lens_args;

/* RG_BAD_DATA for a calibration without picture size. */
rg_code rg_draw_lens(const rg_draw_lens_args *args, rg_picture_format format, rg_bytes *out,
                     rg_error *err);

#endif

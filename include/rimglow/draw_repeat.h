/*
 * draw_repeat.h - several closings of one key as a picture: the pad's tilt at each closing as a point in
 * the plane of bearings with its ellipse of uncertainty, the axis of the scatter against the hinge rod,
 * and the height of the pad's plane from closing to closing.
 */
#ifndef RIMGLOW_DRAW_REPEAT_H
#define RIMGLOW_DRAW_REPEAT_H

#include "rimglow/draw.h"
#include "rimglow/repeat.h"

enum { RG_REPEAT_WIDTH = 1240, RG_REPEAT_HEIGHT = 860 };

typedef struct rg_draw_repeat_args {
    const char *serial, *pad;  /* may be NULL */
    const rg_seating *closing; /* what rg_repeat_find took */
    const rg_repeat *repeat;
    double coverage_factor; /* k of ellipses and whiskers */
} rg_draw_repeat_args;

/* RG_BAD_DATA when the coverage factor is not a positive number. */
rg_code rg_draw_repeat(const rg_draw_repeat_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err);

#endif

/*
 * draw_archive.h - pictures over several visits: one pad at two dates, one pad over all its
 * visits, and many instruments. Rules of draw.h hold: black, white, greys and patterns, the same routine
 * for each format, deterministic.
 */
#ifndef RIMGLOW_DRAW_ARCHIVE_H
#define RIMGLOW_DRAW_ARCHIVE_H

#include <stdint.h>

#include "rimglow/batch.h"
#include "rimglow/change.h"
#include "rimglow/draw.h"

enum { RG_ARCHIVE_WIDTH = 1400, RG_ARCHIVE_HEIGHT = 1000, RG_HISTORY_MAX = 200 };

typedef struct rg_draw_change_args {
    const rg_seal_map *before, *after;
    const rg_change *change;
    const char *serial, *pad;               /* may be NULL */
    const char *before_label, *after_label; /* e.g. "2026-10-02 as received" */
    double tolerance_mm, coverage_factor;
} rg_draw_change_args;

/* Both ring maps over each other, key arm at the top, and below on one bearing scale both widths with
 * U, and the change with U_d; arcs of significant change marked; unseen bearings hatched. */
rg_code rg_draw_change(const rg_draw_change_args *args, rg_picture_format format, rg_bytes *out,
                       rg_error *err);

typedef struct rg_history_point {
    int64_t time;                  /* POSIX seconds */
    double widest_mm, u_widest_mm; /* NAN: no gap measured (drawn at 0 as "none") */
    double mean_mm, u_mean_mm;
    int seen; /* bearings of 360 */
    rg_verdict verdict;
    const char *label; /* of the visit, may be NULL */
} rg_history_point;

typedef struct rg_draw_history_args {
    const rg_history_point *point; /* oldest first */
    int count;
    const char *serial, *pad;
    double tolerance_mm, coverage_factor;
} rg_draw_history_args;

/* Widest gap and mean gap with U against the date, tolerance line, verdict in shape and letter at each
 * point, share seen. More than RG_HISTORY_MAX points: the newest, and the picture says so. */
rg_code rg_draw_history(const rg_draw_history_args *args, rg_picture_format format, rg_bytes *out,
                        rg_error *err);

typedef struct rg_draw_batch_args {
    const rg_batch *batch;
    const rg_batch_sweep *sweeps; /* [batch->sweeps], as given to rg_batch_sum */
    const char *title;            /* e.g. "2026-11-01 to 2026-12-01"; may be NULL */
} rg_draw_batch_args;

/* Pareto of failing pads by model, first-pass shares with their intervals, radiance and blur of each
 * station over time with trend. What does not fit is left out and the picture says how much. */
rg_code rg_draw_batch(const rg_draw_batch_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

#endif

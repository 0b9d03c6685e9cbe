/*
 * draw_bench.h - a bench check on one page: every finding with its limit and
 * remedy, the MTF curve, the tones, and which frame is poor in what.
 *
 * As for all pictures (draw.h): black, white, greys and patterns, one routine
 * for PNG, SVG and PDF, the same arguments give the same bytes. good: a tick in
 * a ring; poor: white on black; not shown: a question mark in a dashed ring;
 * not asked: a dash there.
 */
#ifndef RIMGLOW_DRAW_BENCH_H
#define RIMGLOW_DRAW_BENCH_H

#include "rimglow/bench_check.h"
#include "rimglow/draw.h"

/* px; as a PDF it fills an A4 page. More frames than RG_BENCH_FRAMES_MAX are
 * not drawn, and the page says so. */
enum { RG_BENCH_WIDTH = 992, RG_BENCH_HEIGHT = 1403, RG_BENCH_FRAMES_MAX = 120 };

typedef struct rg_draw_bench_args {
    const rg_bench_check *check;
    const rg_bench_frame *look; /* [count] */
    const char *const *files;   /* [count]; may be NULL */
    int count;
    const char *serial, *pad, *station, *date; /* any may be NULL */
    double mtf50_limit;                        /* cycles per pixel */
} rg_draw_bench_args;

rg_code rg_draw_bench(const rg_draw_bench_args *args, rg_picture_format format, rg_bytes *out,
                      rg_error *err);

#endif

/*
 * bench_rank.h - the work list of an instrument: its pads worst first, with what to do.
 *
 * Leaking pads come first, then undecided ones, those not swept, and sealed ones; among pads of one verdict the
 * larger open area (sum of the arcs' open_area_mm2), then the wider gap, then body order.
 */
#ifndef RIMGLOW_BENCH_RANK_H
#define RIMGLOW_BENCH_RANK_H

#include <stdbool.h>

#include "rimglow/config.h"
#include "rimglow/sealmap.h"

enum { RG_RANK_SENTENCE = 480, RG_RANK_WHERE = 64 };

typedef struct rg_rank_pad {
    const rg_pad *pad;
    const rg_seal_map *map; /* of the sweep that the verdict rests on; NULL: not swept */
    rg_verdict verdict;     /* of the pad (pad_verdict.h) */
    bool only_firm;         /* sealed, but by a firm finger alone */
    double coverage_factor; /* U = k u */
} rg_rank_pad;

typedef struct rg_rank_line {
    int pad;                                  /* index into what was given */
    double area_mm2;                          /* open; NAN: not swept */
    double width_mm, U_width_mm, bearing_deg; /* widest gap of any arc; NAN: none */
    char sentence[RG_RANK_SENTENCE];
} rg_rank_line;

/* line[count], worst first. */
void rg_bench_rank(const rg_rank_pad *pad, int count, rg_rank_line *line);

/* Where a bearing is, in words; bearing 0 is the key arm, clockwise seen from above. "Left" is that of a
 * person who stands at the key arm and looks at the pad: bearing 90. */
const char *rg_rank_where(double bearing_deg);

#endif

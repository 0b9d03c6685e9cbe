/*
 * bench_rank.h - the work list of an instrument: its pads worst first, with what to do.
 *
 * Leaking pads come first, then undecided ones, those not swept, and sealed ones. Leaking pads stand in the order
 * of what they let out (equivalent orifice, flow.h); then, and among the others, the larger open area (sum of the
 * arcs' open_area_mm2), then the wider gap, then body order.
 *
 * A leaking pad gets its diagnosis, up to RG_RANK_STEPS corrections, the largest fault first, what the seal
 * would become after each with those before it, and the notes that suffer. Where there is no
 * diagnosis, or one that names no fault, the line says where the pad stands open. A pad that leaks when the key of
 * another one closes it: the line says so first, since the adjuster between both may be at fault.
 */
#ifndef RIMGLOW_BENCH_RANK_H
#define RIMGLOW_BENCH_RANK_H

#include <stdbool.h>

#include "rimglow/config.h"
#include "rimglow/diagnosis.h"
#include "rimglow/flow.h"
#include "rimglow/notes.h"
#include "rimglow/sealmap.h"

enum { RG_RANK_SENTENCE = 480, RG_RANK_STEPS = 3 };

typedef struct rg_rank_pad {
    const rg_pad *pad;
    const rg_seal_map *map; /* of the sweep that the verdict rests on; NULL: not swept */
    rg_verdict verdict;     /* of the pad (pad_verdict.h) */
    bool only_firm;         /* sealed, but by a firm finger alone */
    double coverage_factor; /* U = k u */
    const char *key;        /* pad whose key closed it in that sweep; NULL or "": its own */
    /* Of the same map; NULL where there is none: */
    const rg_diagnosis *diagnosis;
    const rg_sentences *sentences;
    const rg_pad_flow *flow;
    const rg_leak_rank *notes; /* NULL: no leak, or the notes are not known */
} rg_rank_pad;

/* One correction, as diagnosis.h words it. */
typedef struct rg_rank_step {
    char fault[RG_SENTENCE_SIZE], correction[RG_SENTENCE_SIZE], afterwards[RG_SENTENCE_SIZE];
} rg_rank_step;

typedef struct rg_rank_line {
    int pad;                                  /* index into what was given */
    double area_mm2;                          /* open; NAN: not swept */
    double width_mm, U_width_mm, bearing_deg; /* widest gap of any arc; NAN: none */
    /* Equivalent orifice with its bounds, of the bearings that were seen; NAN: not known, or no leak. */
    double orifice_mm, orifice_low_mm, orifice_high_mm;
    int unseen;    /* bearings that are in none of these figures; 0 where the pad is not swept */
    int starts_at; /* highest note at which the leak begins to matter (pitch.h); -1: none, not known */
    int notes;     /* how many suffer; -1: not known */
    char sentence[RG_RANK_SENTENCE];
    int steps;
    rg_rank_step step[RG_RANK_STEPS];
    int more; /* faults beyond these */
} rg_rank_line;

/* line[count], worst first. */
void rg_bench_rank(const rg_rank_pad *pad, int count, rg_rank_line *line);

/* Where a bearing is, in words; bearing 0 is the key arm, clockwise seen from above. "Left" is that of a
 * person who stands at the key arm and looks at the pad: bearing 90. */
const char *rg_rank_where(double bearing_deg);

#endif

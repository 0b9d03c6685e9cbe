/*
 * change.h - the same pad at two visits: what changed, and is it more than measurement?
 *
 * Change at bearing b: d = w_after - w_before, positive when the gap has grown. Its standard uncertainty:
 *   u_d^2 = u_before^2 + u_after^2 + (slope_b u_turn)^2 + (slope_a u_turn)^2
 * (JCGM 100, 5.1.2, independent inputs), slope: of the width by bearing, mm/deg, since a crown that
 * was set differently turns a map. What both visits share (one calibration) is counted twice: u_d is
 * then too large, never too small. Where a map is dark its width is 0 within its detection limit w_D: the width is
 * taken as 0 with u = w_D / k and d is significant only beyond that limit.
 */
#ifndef RIMGLOW_CHANGE_H
#define RIMGLOW_CHANGE_H

#include "rimglow/sealmap.h"

typedef struct rg_change_options {
    double coverage_factor; /* U_d = k u_d */
    double turn_u_deg;      /* standard uncertainty of a crown's bearing on the cup */
    double min_arc_deg;     /* shortest arc of change that counts */
} rg_change_options;

typedef enum rg_change_state {
    RG_CHANGE_NONE,   /* within U_d */
    RG_CHANGE_GREW,   /* significantly wider */
    RG_CHANGE_SHRANK, /* significantly narrower */
    RG_CHANGE_UNSEEN  /* unseen at either visit */
} rg_change_state;
/* "no change shown", "wider", "narrower", "not comparable". */
const char *rg_change_state_name(rg_change_state state);

typedef struct rg_change_bin {
    double before_mm, after_mm; /* 0 where dark; NAN unseen */
    double change_mm, u_mm;     /* NAN where not comparable */
    rg_change_state state;
} rg_change_bin;

enum { RG_CHANGE_ARCS_MAX = 60 };
typedef struct rg_change_arc { /* of one state, GREW or SHRANK, clockwise */
    rg_change_state state;
    double start_deg, end_deg, extent_deg;
    double most_mm, u_most_mm, most_bearing_deg; /* largest change in it */
} rg_change_arc;

typedef struct rg_change {
    rg_change_bin bin[RG_BINS];
    int comparable; /* bearings */
    int arcs;       /* significant, of min_arc_deg or longer */
    rg_change_arc arc[RG_CHANGE_ARCS_MAX];
    rg_change_state
        overall; /* GREW when any arc grew, else SHRANK when any shrank, else NONE; UNSEEN
                                when nothing is comparable */
    double mean_change_mm,
        u_mean_change_mm; /* over the comparable bearings; u without crediting the
                                                number of bearings (they share their errors) */
    double
        turn_deg; /* rotation of `after` that fits `before` best, -30..30; NAN when either map has no gap
                          to tell by. Stated as a hint: was the crown set differently? */
} rg_change;

/* RG_BAD_DATA for options that are not positive numbers (turn_u_deg may be 0) or maps whose rims differ in
 * diameter by more than 2 %. */
rg_code rg_change_find(const rg_seal_map *before, const rg_seal_map *after,
                       const rg_change_options *options, rg_change *change, rg_error *err);

#endif

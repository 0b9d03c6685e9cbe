/*
 * change.h - the same pad at two visits: what changed, and is it more than measurement?
 *
 * Change at bearing b: d = w_after - w_before, positive when the gap has grown. Its standard
 * uncertainty (JCGM 100, 5.1.2, independent inputs):
 *   u_d^2 = u_before^2 + u_after^2 + t_before^2 + t_after^2
 * t is what a crown that was set differently does to a map: the root mean square change of the
 * map's own width when its bearings are off by a normal error of turn_u_deg. Three-point
 * Gauss-Hermite quadrature (Abramowitz and Stegun 1964, 25.4.46) of that mean square:
 *   t^2 = ((w(b + r) - w(b))^2 + (w(b - r) - w(b))^2) / 6,   r = sqrt(3) turn_u_deg,
 * exact for a width that is a straight line in b, where t = |slope| turn_u_deg, and for a parabola,
 * where JCGM 100 needs the next order (note to 5.1.2): at the top of a gap the slope is 0. Widths
 * are averaged over five degrees for t alone, or noise would pass for slope. Where one
 * side was not seen the other counts for both, where neither was the map's largest t.
 *
 * What both visits share (one calibration) is counted twice: u_d is then too large, never too
 * small.
 * Where a map is dark its width is 0 within its detection limit w_D: the width is taken as 0
 * with u = w_D / k, and a gap is a change only beyond that limit.
 *
 * Significance. A bearing is wider or narrower when |d| > k u_d. Among 360 bearings some are so by
 * chance, so an arc of such bearings counts only when
 *   - it is min_arc_deg or longer, and
 *   - |d| > K u_d somewhere in it, K the two-sided quantile of the normal distribution for k's
 *     tail probability shared out among the n bearings that can be compared (Bonferroni's
 *     inequality, which asks for no independence; Dunn, J. Am. Stat. Assoc. 56 (1961) 52-64).
 *     k = 2 and n = 360: p = 0.0455 / 360, K = 3.83.
 * So at most 4.6 % of the pairs of maps of an unchanged pad show a change at k = 2 where the
 * stated u holds, however the errors of neighbouring bearings hang together. Drawn pairs
 * in tests/setup/test_change.c: 2.6 % with a gap all round, up to 1.2 % with shorter ones.
 */
#ifndef RIMGLOW_CHANGE_H
#define RIMGLOW_CHANGE_H

#include "rimglow/sealmap.h"

typedef struct rg_change_options {
    double coverage_factor; /* k, U_d = k u_d; up to 6 */
    double turn_u_deg;      /* standard uncertainty of a crown's bearing on the cup, 0 to 30 */
    double min_arc_deg;     /* shortest arc of change that counts, up to 360 */
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
    rg_change_state state;      /* of this bearing alone, by k */
} rg_change_bin;

enum { RG_CHANGE_ARCS_MAX = 60 };
/* Of one state, GREW or SHRANK, clockwise, from the beginning of its first bin to the end of its
 * last; end < start over the seam. 360 degrees: all round, from 0 to 360. */
typedef struct rg_change_arc {
    rg_change_state state;
    double start_deg, end_deg, extent_deg;
    double most_mm, u_most_mm, most_bearing_deg; /* largest change in it, negative when narrower */
} rg_change_arc;

typedef struct rg_change {
    rg_change_bin bin[RG_BINS];
    int comparable; /* bearings */
    int arcs; /* significant, by the rule above; of more than RG_CHANGE_ARCS_MAX the longest */
    rg_change_arc arc[RG_CHANGE_ARCS_MAX]; /* by start, clockwise */
    double arc_factor;                     /* K */
    /* GREW when any arc grew, else SHRANK when any shrank, else NONE; UNSEEN when nothing is
     * comparable. */
    rg_change_state overall;
    /* Over the comparable bearings, NAN without any. u is the mean of theirs: they share their
     * errors, so their number earns nothing (JCGM 100, 5.2.2 note 1). */
    double mean_change_mm, u_mean_change_mm;
    /* Clockwise rotation of `after` that fits `before` best: before(b + turn) is like after(b).
     * By the correlation coefficient of both profiles over the bearings seen in both, to a
     * fraction of a degree by a parabola. A hint: was the crown set differently? NAN when either
     * map has no gap to tell by, fewer than half of the bearings are comparable, or no turn within
     * 30 degrees makes the profiles alike (correlation 0.7). */
    double turn_deg;
} rg_change;

/* K, for so many bearings that are compared (at least 1). */
double rg_change_factor(double k, int bearings);

/* RG_BAD_DATA for options that are not positive numbers in their range (turn_u_deg may be 0) or
 * maps whose rims differ in diameter by more than 2 %. */
rg_code rg_change_find(const rg_seal_map *before, const rg_seal_map *after,
                       const rg_change_options *options, rg_change *change, rg_error *err);

#endif

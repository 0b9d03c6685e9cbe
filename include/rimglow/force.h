/*
 * force.h - one pad swept under several fingers: gaps that only force closes, the pad's verdict from all
 * its sweeps, the force that it needs to seal, and how it yields to force.
 *
 * Which sweep counts for what: the rule of pad_verdict.h with limits in grams on top of it (common
 * practice, no source; limits in calib/keys.ini). A light finger, an unstated one and light_least_g to
 * light_most_g grams are how the instrument is played. Less than light_least_g may leak without blame, more
 * than light_most_g is a firm finger, which releases nothing.
 *
 * Force needed. Widest gap against force in grams: w = a + b f, by least squares with errors of both
 * (York, Evensen, Lopez and Delgado 2004, Am. J. Phys. 72: 367-375; the case of ISO/TS 28037:2010, 7),
 * through every sweep with a measured gap. The force is where the line crosses the tolerance, its u
 * by JCGM 100 (5.2.2), its limits by Fieller (1954, J. R. Stat. Soc. B 16: 175-185):
 *   (a + b f - w)^2 = k^2 (u_a^2 + 2 f u_ab + f^2 u_b^2).
 * The line counts only between a force that leaks and a larger one that seals, and only where the gap
 * falls with force by more than k u_b. Where three or more sweeps do not lie on a line (chi-square,
 * p below line_p) only the two on either side of the tolerance are joined. Otherwise the answer is the
 * bracket itself, its u that of a rectangle (JCGM 100, 4.3.7). Nothing is extrapolated.
 *
 * Errors that all sweeps share (lamp, scale) are taken as independent. The widest of many bearings
 * is a little too wide by chance.
 */
#ifndef RIMGLOW_FORCE_H
#define RIMGLOW_FORCE_H

#include "rimglow/seating.h"

enum { RG_FORCE_SWEEPS_MAX = 64, RG_FORCE_GAPS_MAX = 24 };

typedef struct rg_force_sweep {
    const rg_seal_map *map; /* borrowed */
    rg_seating seating;     /* of that map */
} rg_force_sweep;

typedef struct rg_force_options {
    double coverage_factor;  /* k */
    double light_least_g;    /* lighter than this nobody plays */
    double light_most_g;     /* more than this is a firm finger */
    double gauge_u_g;        /* standard uncertainty of a stated force */
    double line_p;           /* p of the chi-square below which gaps are not on a line */
    double soft_mm_per_100g; /* a pad's plane that sinks faster is soft */
    double significance;     /* p below which tilts differ */
    double bridge_deg;       /* gaps closer than this are one */
} rg_force_options;

/* -------------------------------------------------------------- the line */

typedef struct rg_force_line {
    int n;
    double a, b;           /* w = a + b f */
    double u_a, u_b, u_ab; /* u_ab: covariance, mm^2 per g */
    double chi2, p;        /* NAN for n = 2 */
} rg_force_line;

/* u_f >= 0, u_w >= 0, not both 0. RG_BAD_DATA for fewer than two different forces or values that are
 * not finite. */
rg_code rg_force_line_fit(const double *f, const double *w, const double *u_f, const double *u_w,
                          int n, rg_force_line *line, rg_error *err);

/* The force at which the line crosses w, *u its standard uncertainty, *low and *high its limits at k
 * (any may be NULL): infinite where b is not told from 0 by k. */
double rg_force_line_inverse(const rg_force_line *line, double w, double k, double *u, double *low,
                             double *high);

/* --------------------------------------------------------------- verdict */

/* rg_pad_verdict of the sweeps (at most RG_FORCE_SWEEPS_MAX), and why where it is not plain (else ""). Firm
 * is a finger of that name or of more than light_most_g; a sweep of less than light_least_g counts only
 * where it seals. */
rg_verdict rg_force_verdict(const rg_seating *seating, int count, double light_least_g,
                            double light_most_g, char reason[RG_REASON_SIZE]);

/* --------------------------------------------------------------- results */

typedef enum rg_force_state {
    RG_FORCE_NOT_MEASURED, /* no sweep that says anything */
    RG_FORCE_CONTRADICTED, /* leaks at a force at or above one that seals */
    RG_FORCE_INTERPOLATED,
    RG_FORCE_BRACKET,         /* between two forces */
    RG_FORCE_MORE_THAN,       /* the largest force tried still leaks */
    RG_FORCE_AT_MOST,         /* the smallest tried seals */
    RG_FORCE_LIGHT_IS_ENOUGH, /* no grams: a light finger seals */
    RG_FORCE_LIGHT_TO_FIRM,   /* no grams: leaks light, seals firm */
    RG_FORCE_MORE_THAN_FIRM   /* no grams: leaks firm */
} rg_force_state;
/* "not measured" "contradicted" "interpolated" "bracket" "more than" "at most" "light is enough"
 * "light to firm" "more than firm" */
const char *rg_force_state_name(rg_force_state state);

/* A gap that a lighter finger leaves and a firmer one closes: bearings open beyond tolerance by
 * U under the one, seen and within tolerance with U under the other. */
typedef struct rg_force_gap {
    double start_deg, end_deg, extent_deg;       /* clockwise, as rg_change_arc */
    double most_mm, u_most_mm, most_bearing_deg; /* under the lighter finger */
    int open, closed; /* sweeps: the firmest that leaves it there, the lightest that closes it */
    bool leak;        /* open under a finger that plays: a leak to a player */
} rg_force_gap;

typedef struct rg_force {
    rg_verdict verdict;
    char reason[RG_REASON_SIZE];
    int gaps; /* longest first */
    rg_force_gap gap[RG_FORCE_GAPS_MAX];
    rg_force_state state;
    double force_g, u_g, low_g, high_g; /* low and high at k; NANs where there is none */
    double leaks_g, seals_g; /* largest force that leaks, smallest that seals above it; NAN */
    rg_force_line line;      /* of widest gaps; n = 0 without */
    bool line_holds;
    /* Of the pad's plane: how its mean falls with force, mm per 100 g (positive: sinks). NANs where
     * fewer than two forces have a plane that stands off. Information, unless it is soft. */
    double sinks_mm_per_100g, U_sinks_mm_per_100g;
    rg_tilt_spread tilts; /* of the same sweeps */
    bool soft;            /* sinks faster than soft_mm_per_100g beyond U, while the tilt stays */
    rg_advice advice;
} rg_force;

/* tolerance: tolerance_mm, min_arc_deg, seen_fraction and coverage_factor are used. RG_BAD_DATA for
 * too many sweeps, grams that are not positive, options out of range. */
rg_code rg_force_find(const rg_force_sweep *sweep, int sweeps, const rg_sealmap_options *tolerance,
                      const rg_force_options *options, rg_force *force, rg_error *err);

#endif

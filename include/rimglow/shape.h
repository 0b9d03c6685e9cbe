/*
 * shape.h - the pad's plane against the rim's, from a seal map.
 *
 * The signed gap round the rim is taken as
 *   s(b) = m + t1 cos b + t2 sin b + q1 cos 2b + q2 sin 2b
 * m the mean, (t1, t2) the tilt, (q1, q2) the saddle: undulations of 0, 1 and 2 per revolution
 * (ISO 12181-1). Contact hides the negative part: the width is max(0, s). So the fit is a censored
 * one (Tobin 1958, detection.h) with each bearing's own u, by maximum likelihood:
 *   open  the width w, normal about s with u, the map's own and uneven_mm added in squares;
 *   dark  s + u0 N(0, 1) is below the critical level: u0 = w_D / 3.29 and w_D / 2 by Currie (1968),
 *         w_D the bearing's detection limit. With w_D = 0 it is censored at 0.
 * Unseen and blocked bearings are left out.
 *
 * Errors of neighbouring bearings hang together. Correlation of two bearings d degrees apart:
 *   common_share + (1 - common_share) exp(-d / correlation_deg), 1 at d = 0,
 * positive definite on the circle (Gneiting 2013, Bernoulli 19: 1327-1349). Covariances are the
 * sandwich of rg_tobit_correlated.
 *
 * A term stands only when the data fix it: its u is at most fixed_u_mm, or it differs from 0 by
 * Wald's test (chi-square, 2 degrees of freedom) at `significance`. A shape that would press the pad
 * deeper than press_mm anywhere is none: a plane explains every narrow opening if only it is
 * steep enough. What the shape leaves over is local: arcs where w - max(0, s) > k u and somewhere > K u,
 * K by Bonferroni over the bearings as in change.h; and dark arcs between two openings where s lies
 * so far above the critical level. u is here without the share that all bearings have in common. They are left out of the fit, strongest first, and it is made
 * again.
 */
#ifndef RIMGLOW_SHAPE_H
#define RIMGLOW_SHAPE_H

#include "rimglow/sealmap.h"

enum { RG_SHAPE_TERMS = 5, RG_SHAPE_LOCALS_MAX = 12 }; /* m t1 t2 q1 q2 */

typedef struct rg_shape_options {
    double correlation_deg; /* arc over which errors fall to 1/e of it, up to 180 */
    double common_share; /* 0 to 1: share of a width's variance that all bearings have in common */
    double u_floor_mm;   /* no width is known better, > 0 */
    double uneven_mm; /* standard deviation of a pad's face about any plane or saddle; part of u */
    double least_open_deg;  /* fewer open bearings fix no shape */
    double fixed_u_mm;      /* a term known as well as this stands, large or small */
    double significance;    /* p of a term that stands although known worse */
    double press_mm;        /* deepest that a pad can be pressed below its rim's plane */
    double coverage_factor; /* k of local places */
    double local_least_deg; /* shortest local place */
    double local_most_deg;  /* longest, where a plane explains the rest */
} rg_shape_options;

typedef enum rg_shape_state {
    RG_SHAPE_FITTED,
    RG_SHAPE_DARK,  /* nothing stands open beyond its u: no shape, only upper bounds */
    RG_SHAPE_LOCAL, /* what stands open is local: no shape beside it */
    RG_SHAPE_UNSEEN /* nothing was seen */
} rg_shape_state;
const char *rg_shape_state_name(rg_shape_state state); /* "fitted" "dark" "local" "unseen" */

/* Why a term stands or not. */
typedef enum rg_term_state {
    RG_TERM_FITTED,
    RG_TERM_NOT_FIXED, /* the bearings that are open do not fix it: 0 is as good */
    RG_TERM_IMPOSSIBLE /* only a pad pressed too deep would fit */
} rg_term_state;
const char *rg_term_state_name(rg_term_state state); /* "fitted" "not fixed" "impossible" */

/* Amplitude and bearing of one harmonic. */
typedef struct rg_undulation {
    rg_term_state state;
    double size_mm, u_size_mm; /* half of highest less lowest; NANs where not fitted */
    double bearing_deg;        /* of the widest side; of a saddle in [0, 180) */
    double u_bearing_deg;      /* at most that of a bearing known not at all */
    double chi2, p;            /* Wald's test of "0", 2 degrees of freedom */
} rg_undulation;

/* A place that the shape does not explain, from the beginning of its first bin to the end of its
 * last, clockwise. */
typedef struct rg_local {
    bool closed; /* dark between two openings, where the shape stands open */
    double start_deg, end_deg, extent_deg;
    double most_mm, u_most_mm, most_bearing_deg; /* width beyond the shape; negative when closed */
    double width_mm;                             /* measured there */
} rg_local;

typedef struct rg_shape {
    rg_shape_state state;
    int open, dark, unseen, blocked;            /* bearings; they add up to RG_BINS */
    double b[RG_SHAPE_TERMS];                   /* mm: m t1 t2 q1 q2; 0 where left out */
    double cov[RG_SHAPE_TERMS][RG_SHAPE_TERMS]; /* 0 where left out */
    double mean_mm, u_mean_mm;                  /* NAN without a shape */
    rg_undulation tilt, saddle;
    /* Where the signed gap is smallest: there the pad touches first. NANs without a shape, or where
     * neither tilt nor saddle is fitted. */
    double contact_deg, u_contact_deg;
    double lowest_mm;            /* the signed gap there */
    double signed_mm[RG_BINS];   /* s; NAN without a shape */
    double residual_mm[RG_BINS]; /* w - max(0, s), s = 0 without a shape; NAN where not seen */
    /* Largest residual of an open bearing outside local places, in its u, and where. */
    double misfit, misfit_deg;  /* NAN without a shape */
    double rms_mm;              /* of the residuals of open bearings outside local places */
    double log_likelihood;      /* as if errors did not hang together */
    double limit_mm, limit_deg; /* worst detection limit of the dark bearings: the upper bound of
                                       a gap there, and where; NAN without one */
    int locals;                 /* strongest first */
    rg_local local[RG_SHAPE_LOCALS_MAX];
} rg_shape;

/* RG_BAD_DATA for options out of their range. A map that fixes no shape is no error. */
rg_code rg_shape_fit(const rg_seal_map *map, const rg_shape_options *options, rg_shape *shape,
                     rg_error *err);

/* K of local places, for so many bearings seen. */
double rg_shape_factor(const rg_shape *shape, const rg_shape_options *options);

/* s(b) of terms alone, mm. */
double rg_shape_value(const double b[RG_SHAPE_TERMS], double bearing_deg);

/* Signed gap at a bearing with its u (may be NULL); NAN without a shape. */
double rg_shape_at(const rg_shape *shape, double bearing_deg, double *u_mm);

#endif

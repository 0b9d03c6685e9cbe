/*
 * seating.h - how a pad sat in one sweep, as far as comparing sweeps needs it: the finger, the
 * pad's plane over its seat with uncertainty, the widest gap. And sentences for the technician.
 *
 * The signed gap round the rim is s(b) = mean + tilt[0] cos b + tilt[1] sin b, b from the key arm. mean is
 * the height of the pad's plane over its seat in the middle of the hole; contact hides what is
 * negative. So a pad in contact all round has no mean: it is 0 or lower, known to within limit_mm.
 * tilt points to the side that stands open, as an amplitude at the rim's edge. tilt[0] is along the arm, so
 * across the hinge rod, tilt[1] along the rod.
 */
#ifndef RIMGLOW_SEATING_H
#define RIMGLOW_SEATING_H

#include <stdbool.h>

#include "rimglow/shape.h"

/* In the order of rg_finger of config.h, which this layer cannot see; a test compares. */
typedef enum rg_press { RG_PRESS_UNSTATED, RG_PRESS_LIGHT, RG_PRESS_FIRM, RG_PRESS_GRAMS } rg_press;

typedef enum rg_seating_state {
    RG_SEATING_UNSEEN,  /* neither of the other two can be told */
    RG_SEATING_CONTACT, /* seen all round; the plane stands off nowhere, local openings apart */
    RG_SEATING_OPEN     /* the plane stands off and is known */
} rg_seating_state;
const char *rg_seating_state_name(rg_seating_state state); /* "unseen" "contact" "open" */

typedef struct rg_seating {
    rg_press press;
    double grams; /* with RG_PRESS_GRAMS */
    rg_verdict verdict;
    rg_seating_state state;
    double mean_mm, tilt_mm[2]; /* OPEN only; else 0 */
    bool tilt_known;            /* false: the open bearings do not fix the tilt */
    double covariance[3][3];    /* of mean, tilt[0], tilt[1], mm^2 */
    double limit_mm; /* CONTACT: no gap can be wider, largest detection limit or w + k u */
    double widest_mm, u_widest_mm; /* widest gap; 0 with u = limit / k where none was measured;
                                      NANs where nothing was seen */
    double widest_bearing_deg;     /* NAN without a gap */
} rg_seating;

/* Everything but the plane: a sealed map is CONTACT, any other UNSEEN until its plane is known.
 * k: coverage factor. */
rg_seating rg_seating_of_map(const rg_seal_map *map, rg_press press, double grams, double k);

/* Takes the plane from the map's shape. A dark shape, or one of local openings alone, is CONTACT where
 * every bearing was seen; without a plane and unseen in part the state stays. */
void rg_seating_take_shape(rg_seating *seating, const rg_shape *shape);

/* Both, with the shape fitted here. RG_BAD_DATA as rg_shape_fit. */
rg_code rg_seating_measure(const rg_seal_map *map, rg_press press, double grams,
                           const rg_shape_options *options, rg_seating *seating, rg_error *err);

/* Standard uncertainty of the mean; in contact limit_mm / k. NAN unseen. */
double rg_seating_u_mean(const rg_seating *seating, double k);

/* One stated finger for all: the same word, or grams that differ by no more than this share of the
 * largest. False for an unstated finger. */
bool rg_seating_same_finger(const rg_seating *const *seating, int count, double share);

/* Are the tilts of several sweeps one and the same? Q = sum (t_i - t)' V_i^-1 (t_i - t), t the weighted
 * mean, is chi-square with 2 (n - 1) degrees of freedom when they are and the stated
 * covariances hold (Cochran 1954, Biometrics 10: 101-129). */
typedef struct rg_tilt_spread {
    int n;          /* sweeps whose tilt is known */
    double mean[2]; /* weighted */
    double q, p;    /* NAN for n < 2 */
    int df;
} rg_tilt_spread;
rg_tilt_spread rg_seating_tilts(const rg_seating *const *seating, int count);

/* "a light finger", "a firm finger", "a finger of unstated force", "35 g". */
enum { RG_PRESS_TEXT = 40 };
void rg_press_text(rg_press press, double grams, char text[RG_PRESS_TEXT]);

/* Sentences, one a line, in the order in which they are to be read. */
enum { RG_ADVICE_MAX = 48, RG_ADVICE_LINE = 400 };
typedef struct rg_advice {
    int lines;
    char line[RG_ADVICE_MAX][RG_ADVICE_LINE]; /* what does not fit is cut */
} rg_advice;
void rg_advise(rg_advice *advice, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif

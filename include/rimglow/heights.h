/*
 * heights.h - the openings of all keys, from the top of the body down: against their
 * targets, and against each other.
 *
 * Two rules:
 *   - an opening lies within its band, target -+ tolerance;
 *   - among keys that rest open, an opening is not smaller than that of the next
 *     hole above by more than least_growth_mm allows: openings grow a little from
 *     each hole to the next lower one (common practice, no source).
 *
 * Decided with a guard band (JCGM 106, 8.3: guarded acceptance and guarded rejection with
 * w = U = k u): a rule is kept when it holds by at least U, broken when it fails by more
 * than U, and not decided in between. For two openings U is of their difference, the two
 * taken as independent.
 *
 * Changes: the smallest that mend what is shown broken and break nothing else, least
 * in sum of lengths (so that few keys are touched), then in sum of squares. A key outside its band
 * comes to the nearest place that the guard band accepts, or to the target where the band is
 * narrower than 2 U. It is a least-absolute-deviations monotone regression with bounds, solved
 * exactly by dynamic programming: an optimum lies on the values given, shifted by the growths
 * (R. E. Barlow et al., Statistical Inference under Order Restrictions, 1972, cited
 * from memory).
 */
#ifndef RIMGLOW_HEIGHTS_H
#define RIMGLOW_HEIGHTS_H

#include <stdbool.h>

#include "rimglow/status.h"

enum { RG_HEIGHTS_MAX = 64 };

/* One key, from the top of the body down. */
typedef struct rg_height_key {
    const char *name;  /* borrowed; for messages */
    bool rests_open;   /* takes part in the order */
    bool measured;     /* else opening_mm and u_mm are not looked at */
    double opening_mm; /* at the far edge */
    double u_mm;       /* its standard uncertainty */
    double target_mm;
    double tolerance_mm; /* NAN: no band is stated, only the order is checked */
} rg_height_key;

typedef struct rg_heights_options {
    double coverage_factor; /* k of U = k u, 1 to 4 */
    double least_growth_mm; /* from a hole to the next lower one, -5 to 5; 0: not smaller */
} rg_heights_options;

typedef enum rg_height_state {
    RG_HEIGHT_UNMEASURED,
    RG_HEIGHT_NO_BAND, /* measured, no band is stated */
    RG_HEIGHT_WITHIN,
    RG_HEIGHT_LOW,
    RG_HEIGHT_HIGH,
    RG_HEIGHT_UNSURE /* within U of a limit */
} rg_height_state;

typedef enum rg_order_state {
    RG_ORDER_NONE, /* no key above to compare with, or not both measured */
    RG_ORDER_KEPT,
    RG_ORDER_BROKEN,
    RG_ORDER_UNSURE
} rg_order_state;

typedef struct rg_height_finding {
    rg_height_state state;
    double deviation_mm;                  /* opening less target; NAN when not measured */
    double expanded_mm;                   /* U of the opening; NAN when not measured */
    rg_order_state order;                 /* against the measured key above that rests open too */
    int above;                            /* its index; -1: none */
    double growth_mm, growth_expanded_mm; /* against it; NAN without */
    double change_mm;                     /* suggested, + opens; 0: leave it */
    double after_mm;                      /* opening then; NAN when not measured */
} rg_height_finding;

typedef enum rg_heights_verdict {
    RG_HEIGHTS_KEPT,     /* every key measured, every rule shown kept */
    RG_HEIGHTS_BROKEN,   /* a rule shown broken */
    RG_HEIGHTS_UNDECIDED /* none broken, some not shown or not measured */
} rg_heights_verdict;

typedef struct rg_heights {
    int keys;
    rg_height_finding finding[RG_HEIGHTS_MAX];
    int low, high, broken, unsure, unmeasured; /* broken: of the order */
    double change_sum_mm;                      /* of the suggested changes' sizes */
    bool conflict; /* bands and order cannot be kept together: the changes mend the bands alone */
    rg_heights_verdict verdict;
} rg_heights;

/* RG_BAD_DATA naming the first value that cannot be. */
rg_code rg_heights_judge(const rg_height_key *key, int count, const rg_heights_options *options,
                         rg_heights *heights, rg_error *err);

const char *rg_height_state_name(rg_height_state state); /* "not measured" "no band" "within" ... */
const char *rg_order_state_name(rg_order_state state);   /* "" "kept" "broken" "unsure" */

#endif

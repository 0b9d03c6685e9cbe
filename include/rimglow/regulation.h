/*
 * regulation.h - cups that one key closes: which closes first, how far the others stand off, what to
 * change at which adjuster.
 *
 * Each cup is swept under the same finger. Where the key stops is decided by the cup that touches
 * first. Every other cup then stands off by the height of its pad's plane over its own seat
 * (rg_seating.mean_mm, from its own rim alone). For a link DRIVER > DRIVEN
 *   d = mean(driven) - mean(driver),   u_d^2 = u(driven)^2 + u(driver)^2   (JCGM 100, 5.1.2)
 *   d > U: the driver's cup closes first, the driven one stands off and must come down by d;
 *   d < -U: the driven cup closes first and holds the driver's off.
 * A cup in contact all round has a plane of 0 or lower, pressed in by nobody knows how much: its mean
 * counts as 0 with u = limit / k, and d is then "at least" that. d = 0 brings the second plane
 * to its seat; how the force is shared is felt by a slip of paper, not seen by light.
 *
 * "together" is said only when |d| <= U and both pads are sealed. |d| <= U without that is "not told", an
 * unseen plane or different fingers "not measured".
 *
 * At the adjuster: d / lever_ratio (mm), / thread_mm (turns), rounded to what hands can do; the
 * lever ratio's own relative u goes in. After it: d less what the rounded step moves. Links are told
 * from the key outwards. It is assumed that near their seats cups of one key travel alike, so that a
 * change of one link moves all cups behind it by as much (a simplification, no source), and that a
 * screw turned in, or a thicker cork, lowers the driven cup (common practice, no source).
 *
 * A cup that a spring of its own holds shut must be swept with that spring overcome, or it is in
 * contact whatever the link does.
 */
#ifndef RIMGLOW_REGULATION_H
#define RIMGLOW_REGULATION_H

#include "rimglow/seating.h"

enum { RG_KEY_CUPS_MAX = 16, RG_KEY_LINKS_MAX = 32 };

typedef enum rg_key_adjuster { RG_KEY_SCREW, RG_KEY_CORK, RG_KEY_BEND } rg_key_adjuster;
const char *rg_key_adjuster_name(rg_key_adjuster adjuster); /* "screw" "cork" "bend" */

/* The key of pad DRIVER closes pad DRIVEN too. Texts are borrowed. */
typedef struct rg_key_link {
    const char *driver, *driven; /* names of pads */
    const char *adjuster;        /* what and where: "adjusting screw on the F arm"; may be empty */
    rg_key_adjuster kind;
    double lever_ratio; /* movement of the driven pad's centre per movement at the adjuster, > 0 */
    double thread_mm;   /* pitch; 0 without or unknown */
} rg_key_link;

typedef struct rg_key_cup {
    const char *pad; /* borrowed */
    rg_seating seating;
} rg_key_cup;

typedef struct rg_regulation_options {
    double coverage_factor;   /* k */
    double same_force_share;  /* forces in grams that differ by no more than this are the same */
    double lever_ratio_share; /* relative standard uncertainty of a lever ratio */
    double turn_step;         /* least part of a turn that a hand can set */
    double cork_step_mm;      /* steps in thickness */
    double bend_step_mm;
} rg_regulation_options;

typedef enum rg_regulation_state {
    RG_REGULATION_NOT_MEASURED,
    RG_REGULATION_NOT_TOLD,     /* no difference beyond U, but not both are sealed */
    RG_REGULATION_TOGETHER,     /* no difference beyond U, both sealed */
    RG_REGULATION_DRIVER_FIRST, /* the driven cup stands off */
    RG_REGULATION_DRIVEN_FIRST  /* the driver's cup is held off */
} rg_regulation_state;
/* "not measured" "not told" "together" "driver first" "driven first" */
const char *rg_regulation_state_name(rg_regulation_state state);

typedef struct rg_cup_result {
    const char *pad;           /* borrowed from the input */
    bool measured;             /* its plane is known, or in contact */
    double stand_off_mm, U_mm; /* over the cup that closes first; NAN where not measured */
    bool at_least;             /* that cup may be pressed in */
    bool with_first;           /* is the first, or not beyond U behind it */
} rg_cup_result;

typedef struct rg_link_result {
    int link;           /* index into the links given */
    int driver, driven; /* index into the cups given; -1: not swept */
    rg_regulation_state state;
    double difference_mm, U_mm; /* d; NAN where not measured */
    bool at_least;              /* |d| is a lower bound */
    /* At the adjuster, positive where the driven cup comes down. 0 without a fault, NAN where not
     * measured; turns NAN without a pitch. */
    double adjuster_mm, U_adjuster_mm, turns, U_turns;
    double step_mm, step_turns;  /* what to do: rounded */
    bool too_fine;               /* a fault smaller than half a step */
    double after_mm, U_after_mm; /* d after the rounded step */
} rg_link_result;

typedef struct rg_regulation {
    int cups, first; /* index of the lowest plane; -1 where none was measured */
    rg_cup_result cup[RG_KEY_CUPS_MAX];
    int links; /* of this key, from the driver outwards */
    rg_link_result link[RG_KEY_LINKS_MAX];
    bool same_finger;
    rg_advice advice;
} rg_regulation;

/* key: the pad whose key is pressed. links: all of the instrument; those that the key reaches are used.
 * RG_BAD_DATA for too many cups, two cups of one name, the key's links in a circle, a lever ratio or
 * options out of range. */
rg_code rg_regulation_find(const char *key, const rg_key_cup *cup, int cups,
                           const rg_key_link *link, int links, const rg_regulation_options *options,
                           rg_regulation *regulation, rg_error *err);

#endif

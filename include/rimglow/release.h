/*
 * release.h - may this instrument leave the bench? Rules on what was measured: pads, set-up values,
 * their balance, checks, and whatever further sections there are.
 *
 * Each thing that a rule speaks of, and each thing that was measured, becomes one item:
 *
 *   passed        measured, and shown to be within its limits
 *   out           measured, and shown to be outside of them; a check that says "not done"
 *   undecided     measured, and nothing is shown: too close to a limit, no uncertainty stated, too
 *                 old, swept under a firm finger alone
 *   not measured  nothing is there
 *   no rule       measured, and no rule speaks of it
 *
 * Release: every required item is passed, and no item at all is out. Hold: anything else. What is
 * not required holds only when it is out. Nothing that was not measured is ever passed.
 *
 * Limits with a guard band (guarded acceptance, JCGM 106:2012, 8.3.2): with U = k u,
 *   passed   low <= x - U  and  x + U <= high
 *   out      x - U > high  or   x + U < low
 * At a limit, with k = 2 and a normal error, an item outside is then passed in at most 2.3 % of
 * the cases. Without a guard band (simple acceptance, 8.2) x alone is compared. The probability
 * that the true value lies within (JCGM 106, 7.3, 7.4; normal error) is stated beside it:
 *   p_c = Phi((high - x) / u) - Phi((low - x) / u)
 *
 * A limit against a reference is one on the change d = x - r, u_d^2 = u_x^2 + u_r^2 (JCGM 100,
 * 5.1.2, independent; what both share, such as one scale, is counted twice). The balance of a
 * group is the largest of its values less the smallest; u of this spread is that of these two.
 * Values that are missing from a group can only widen its spread, so it may be out, never passed.
 *
 * A pad is passed when its last sweep under a light finger is sealed and no sweep after that one
 * leaks. A firm finger closes gaps that a player's does not, so sweeps under a firm finger alone,
 * or under one that nobody stated, never pass (common practice, no source). That is the rule of
 * pad_verdict.h for the deciding sweep alone; where and why it differs from the archive's is said
 * there. Pure: no clock, no files.
 */
#ifndef RIMGLOW_RELEASE_H
#define RIMGLOW_RELEASE_H

#include <stdbool.h>

#include "rimglow/sealmap.h"

enum {
    RG_RELEASE_NAME = 128,
    RG_RELEASE_UNIT = 24,
    RG_RELEASE_LIST = 192,
    RG_RELEASE_WHY = 360,
    RG_RELEASE_RULES_MAX = 64, /* of each kind */
    RG_RELEASE_FURTHER_MAX = 16
};

/* ---------------------------------------------------------------- rules */

typedef enum rg_need {
    RG_NEED_NO,
    RG_NEED_YES,     /* with a '*': at least one that fits */
    RG_NEED_EACH_PAD /* with a '*' only: one for each pad of the instrument, by its name */
} rg_need;

typedef enum rg_reference {
    RG_REFERENCE_NONE,
    RG_REFERENCE_FIRST, /* the first visit that measured it */
    RG_REFERENCE_LAST,  /* the newest visit before this one that measured it */
    RG_REFERENCE_VALUE
} rg_reference;

/* Names may hold one '*', which stands for any text that is not empty (a pad or a key). A rule without
 * one beats those with one; of those the one with most other letters is taken, then the first. */
typedef struct rg_value_rule {
    char quantity[RG_RELEASE_NAME];
    rg_need need;
    char unit[RG_RELEASE_UNIT];
    char unit_also[RG_RELEASE_LIST]; /* further names of that unit, comma separated */
    double low, high;                /* NAN: no limit */
    rg_reference reference;
    double reference_value;         /* of RG_REFERENCE_VALUE, taken as exact */
    double change_low, change_high; /* NAN: no limit */
    bool guard;
    int max_age_days; /* 0: any age */
} rg_value_rule;

typedef struct rg_seal_rule {
    char pad[RG_RELEASE_NAME];
    bool required;
    double light_grams; /* a finger of at most so many grams is a light one; 0: none */
    int max_age_days;
} rg_seal_rule;

typedef struct rg_balance_rule {
    char name[RG_RELEASE_NAME];
    char quantity[RG_RELEASE_NAME]; /* with a '*' */
    char members[RG_RELEASE_LIST];  /* comma separated, for the '*'; "*": all that were measured */
    bool required;
    char unit[RG_RELEASE_UNIT], unit_also[RG_RELEASE_LIST];
    double spread_high;
    bool guard;
    int max_age_days;
} rg_balance_rule;

typedef struct rg_check_rule {
    char name[RG_RELEASE_NAME]; /* no '*' */
    bool required;
    int max_age_days;
} rg_check_rule;

/* A section that another module judges (rg_release_section), by its name. */
typedef struct rg_section_rule {
    char name[RG_RELEASE_NAME];
    bool required;
} rg_section_rule;

typedef struct rg_release_rules {
    double coverage_factor; /* k of U = k u */
    int seals, values, balances, checks, sections;
    rg_seal_rule seal[RG_RELEASE_RULES_MAX];
    rg_value_rule value[RG_RELEASE_RULES_MAX];
    rg_balance_rule balance[RG_RELEASE_RULES_MAX];
    rg_check_rule check[RG_RELEASE_RULES_MAX];
    rg_section_rule section[RG_RELEASE_RULES_MAX];
} rg_release_rules;

/* ---------------------------------------------------------------- what was measured */

typedef enum rg_touch { RG_TOUCH_UNSTATED, RG_TOUCH_LIGHT, RG_TOUCH_FIRM, RG_TOUCH_GRAMS } rg_touch;

/* All texts borrowed, UTF-8, none NULL. Days as in date.h; -1: not known. */
typedef struct rg_release_sweep { /* in the order in which they were taken */
    const char *pad;
    rg_verdict verdict;
    rg_touch touch;
    double grams; /* of RG_TOUCH_GRAMS */
    int day;
    double widest_mm, u_widest_mm, widest_deg; /* NAN: no gap measured */
} rg_release_sweep;

typedef struct rg_release_value {
    const char *quantity, *unit, *with, *remark; /* the last two may be "" */
    double value, u;                             /* u: NAN where not stated */
    int day;
} rg_release_value;

typedef struct rg_release_check {
    const char *name, *remark;
    bool stated, done; /* stated false: a remark alone, which is no check */
    int day;
} rg_release_check;

typedef struct rg_release_visit { /* an earlier one */
    int sequence, day;
    const rg_release_value *value;
    int values;
} rg_release_visit;

typedef enum rg_item_state {
    RG_ITEM_NOT_MEASURED, /* the zero of the enum on purpose */
    RG_ITEM_PASSED,
    RG_ITEM_OUT,
    RG_ITEM_UNDECIDED,
    RG_ITEM_NO_RULE
} rg_item_state;
/* "not measured", "passed", "out of limits", "undecided", "no rule"; "(   )" "( O )" "( / )" "( ? )"
 * "( - )". */
const char *rg_item_state_name(rg_item_state state);
const char *rg_item_state_sign(rg_item_state state);

typedef enum rg_item_kind {
    RG_ITEM_SEAL,
    RG_ITEM_VALUE,
    RG_ITEM_BALANCE,
    RG_ITEM_CHECK,
    RG_ITEM_FURTHER
} rg_item_kind;

/* Numbers are in the unit of the item; what does not exist is NAN. */
typedef struct rg_release_item {
    rg_item_kind kind;
    char section[RG_RELEASE_NAME]; /* of RG_ITEM_FURTHER: of which section */
    char name[RG_RELEASE_NAME];
    rg_item_state state;
    bool required;
    char unit[RG_RELEASE_UNIT], with[RG_RELEASE_NAME], remark[RG_RELEASE_LIST];
    double value, u, low, high;
    double p_within;                    /* p_c for the limits; NAN without u or limits */
    double reference, change, u_change; /* change: value less reference */
    double change_low, change_high;
    int reference_visit; /* sequence; 0: no visit */
    int day;
    rg_verdict verdict; /* of a seal, of its deciding sweep; as are the next three */
    rg_touch touch;
    double grams, bearing_deg;
    char why[RG_RELEASE_WHY]; /* a sentence; "" when passed and nothing is to be said */
} rg_release_item;

/* Of that name, with nothing known yet: not measured, every number NAN, no day, undecided. */
rg_release_item rg_release_item_blank(const char *name);

/* What another module has judged: key heights, regulation, finger force, leaks ... It fills name,
 * state, why and, where there is one, value, u and limits of its items; kind, section and required
 * are filled here. items 0: not measured. */
typedef struct rg_release_section {
    const char *name;
    const rg_release_item *item; /* borrowed */
    int items;
} rg_release_section;

typedef struct rg_release_evidence {
    int day;                /* for which it is judged */
    const char *const *pad; /* of the instrument, in body order */
    int pads;
    const rg_release_sweep *sweep;
    int sweeps;
    const rg_release_value *value;
    int values;
    const rg_release_check *check;
    int checks;
    const rg_release_visit *visit; /* earlier ones, oldest first */
    int visits;
    const rg_release_section *further;
    int furthers;
} rg_release_evidence;

/* ---------------------------------------------------------------- decision */

typedef enum rg_decision {
    RG_DECISION_RELEASE,
    RG_DECISION_HOLD_OUT, /* something is shown to be out of its limits */
    RG_DECISION_HOLD_OPEN /* nothing is; something required is not measured or undecided */
} rg_decision;
/* "release", "hold", "hold". */
const char *rg_decision_name(rg_decision decision);

typedef struct rg_release_result {
    rg_decision decision;
    int items;
    rg_release_item *item; /* owned: pads in body order, values, balances, checks, further */
    int reasons;
    int *reason; /* owned: items that hold, gravest first: out (pads by gap, then the others), then
                    undecided, then not measured */
} rg_release_result;

/* RG_BAD_DATA names a value whose unit does not convert to its rule's, a value given twice, a
 * number that is not finite. On failure the result owns nothing. */
rg_code rg_release_judge(const rg_release_rules *rules, const rg_release_evidence *evidence,
                         rg_release_result *result, rg_error *err);
void rg_release_result_free(rg_release_result *result);

/* Number i of the result's reasons: the item's name and why. Returns text. */
enum { RG_RELEASE_REASON = RG_RELEASE_NAME + RG_RELEASE_WHY + 4 };
const char *rg_release_reason(const rg_release_result *result, int i, char text[RG_RELEASE_REASON]);

/* The rule that speaks of that name; NULL when none does. */
const rg_value_rule *rg_release_value_rule(const rg_release_rules *rules, const char *quantity);
const rg_seal_rule *rg_release_seal_rule(const rg_release_rules *rules, const char *pad);
/* One '*' stands for any text that is not empty. */
bool rg_release_matches(const char *pattern, const char *name);

/* State of x against its limits, as above. u NAN: not stated, which with a guard band shows
 * nothing. low, high NAN: none. */
rg_item_state rg_release_within(double x, double u, double low, double high, bool guard, double k);
/* p_c; u > 0. */
double rg_release_probability(double x, double u, double low, double high);

#endif

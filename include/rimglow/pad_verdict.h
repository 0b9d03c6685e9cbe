/*
 * pad_verdict.h - the verdict of one pad from all its sweeps of a visit.
 *
 * A pad may be swept by a light and by a firm finger. Firm force closes gaps that playing leaves open, so a
 * firm finger alone releases no pad (common practice, no source).
 *
 *   leaking:   any sweep leaks;
 *   undecided: no sweep, or any sweep undecided, or only a firm finger was tried;
 *   sealed:    anything else.
 *
 * This is the one rule. Which finger is firm is the caller's to say, and there they differ on purpose:
 *   archive, certificate, bench   the word "firm" alone. They hold no limit in grams, so any number of
 *                                 grams counts as a light finger; so does one that is not stated.
 *   rg_force_verdict (force.h)    the word, and grams above a limit; a sweep too light to play with counts
 *                                 only where it seals. Not stated: light.
 *   seal rule of release.h        all but a light finger, or grams up to the rule's limit: a release must not
 *                                 rest on a finger that nobody stated. It judges the deciding sweep alone,
 *                                 since a leak that was cured and swept again is no reason to hold.
 */
#ifndef RIMGLOW_PAD_VERDICT_H
#define RIMGLOW_PAD_VERDICT_H

#include <stdbool.h>

#include "rimglow/sealmap.h"

typedef struct rg_pad_sweep {
    rg_verdict verdict;
    bool firm; /* as the caller says, above */
} rg_pad_sweep;

/* *only_firm (may be NULL): all sweeps are sealed, but none by anything but a firm finger. */
rg_verdict rg_pad_verdict(const rg_pad_sweep *sweep, int count, bool *only_firm);

/* The reason in that case. */
extern const char rg_pad_only_firm[];

#endif

/*
 * pad_verdict.h - the verdict of one pad from all its sweeps of a visit.
 *
 * A pad may be swept by a light and by a firm finger. Firm force closes gaps that playing leaves open, so a
 * firm finger alone releases no pad; grams that are stated count as what they say, and a finger that is
 * not stated as a light one (common practice, no source).
 *
 *   leaking:   any sweep leaks;
 *   undecided: no sweep, or any sweep undecided, or only a firm finger was tried;
 *   sealed:    anything else.
 */
#ifndef RIMGLOW_PAD_VERDICT_H
#define RIMGLOW_PAD_VERDICT_H

#include <stdbool.h>

#include "rimglow/sealmap.h"

typedef struct rg_pad_sweep {
    rg_verdict verdict;
    bool firm; /* by a firm finger of no stated force */
} rg_pad_sweep;

/* *only_firm (may be NULL): all sweeps are sealed, but none by anything but a firm finger. */
rg_verdict rg_pad_verdict(const rg_pad_sweep *sweep, int count, bool *only_firm);

/* The reason in that case. */
extern const char rg_pad_only_firm[];

#endif

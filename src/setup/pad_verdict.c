/*
 * pad_verdict.c - the verdict of one pad from all its sweeps.
 */
#include "rimglow/pad_verdict.h"

#include <stddef.h>

const char rg_pad_only_firm[] = "only a firm finger was tried";

static int count_of(const rg_pad_sweep *sweep, int count, rg_verdict verdict)
{
    int n = 0;
    for (int i = 0; i < count; i++)
        n += sweep[i].verdict == verdict;
    return n;
}

rg_verdict rg_pad_verdict(const rg_pad_sweep *sweep, int count, bool *only_firm)
{
    int firm = 0;
    for (int i = 0; i < count; i++)
        firm += sweep[i].firm;
    bool sealed = count > 0 && count_of(sweep, count, RG_VERDICT_SEALED) == count;
    if (only_firm != NULL)
        *only_firm = sealed && firm == count;
    if (count_of(sweep, count, RG_VERDICT_LEAKING))
        return RG_VERDICT_LEAKING;
    return sealed && firm < count ? RG_VERDICT_SEALED : RG_VERDICT_UNDECIDED;
}

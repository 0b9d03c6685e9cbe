/*
 * release_private.h - shared by release.c and release_items.c.
 */
#ifndef RIMGLOW_SETUP_RELEASE_PRIVATE_H
#define RIMGLOW_SETUP_RELEASE_PRIVATE_H

#include "rimglow/release.h"

typedef struct rg_judging {
    const rg_release_rules *rules;
    const rg_release_evidence *evidence;
    rg_release_result *result;
    int room; /* of result->item */
    rg_error *err;
} rg_judging;

/* A new item, blank; NULL with RG_INTERNAL in err when there is no memory. */
rg_release_item *rg_release_add(rg_judging *j, rg_item_kind kind, const char *name);

rg_code rg_release_seals(rg_judging *j);
rg_code rg_release_values(rg_judging *j);
rg_code rg_release_balances(rg_judging *j);
rg_code rg_release_checks(rg_judging *j);
rg_code rg_release_furthers(rg_judging *j);

#endif

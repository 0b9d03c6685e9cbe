/*
 * feed.h - the newest of something, for any number of readers, none of which can hold up the writer.
 *
 * A feed keeps one block of bytes: the newest. A reader holds the block that it is passing on and
 * then takes whatever is newest by then; what came in between it never sees. So a slow reader costs
 * one block, and nothing waits for it. All functions may be called from any thread.
 */
#ifndef RIMGLOW_FEED_H
#define RIMGLOW_FEED_H

#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

enum { RG_FEED_BYTES_MAX = 64 * 1024 * 1024, RG_FEED_PARTS = 3 };

typedef struct rg_feed rg_feed; /* opaque */

typedef struct rg_feed_block {
    uint64_t number; /* 1 for the first */
    size_t size;
    const uint8_t *bytes;
} rg_feed_block;

typedef struct rg_feed_part {
    const void *bytes;
    size_t size;
} rg_feed_part;

/* NULL without memory. */
rg_feed *rg_feed_new(void);
/* After every block was given back. */
void rg_feed_free(rg_feed *feed);
/* A new block of these parts, one after the other. RG_BAD_DATA above RG_FEED_BYTES_MAX. */
rg_code rg_feed_put(rg_feed *feed, const rg_feed_part *part, int parts, rg_error *err);
/* The newest block, when its number is above `after`; waits for one at most timeout_ms, NULL when there
 * is none. To be given back. */
const rg_feed_block *rg_feed_take(rg_feed *feed, uint64_t after, int timeout_ms);
void rg_feed_give_back(rg_feed *feed, const rg_feed_block *block);
/* Ends every waiting, now and later. */
void rg_feed_stop(rg_feed *feed);

#endif

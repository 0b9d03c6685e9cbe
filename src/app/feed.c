/*
 * feed.c - the newest block, counted references, one condition for those who wait.
 */
#include "rimglow/feed.h"

#include <pthread.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rimglow/memory.h"

/* The block is the first member, so that a block's address is its holder's. */
typedef struct holder {
    rg_feed_block block;
    int holders;
} holder;

struct rg_feed {
    pthread_mutex_t lock;
    pthread_cond_t newer;
    holder *now; /* NULL before the first */
    uint64_t number;
    bool stopped;
};

rg_feed *rg_feed_new(void)
{
    rg_feed *feed = rg_alloc(1, sizeof *feed);
    pthread_condattr_t clock;
    if (!feed)
        return NULL;
    pthread_mutex_init(&feed->lock, NULL);
    pthread_condattr_init(&clock);
    pthread_condattr_setclock(&clock, CLOCK_MONOTONIC);
    pthread_cond_init(&feed->newer, &clock);
    pthread_condattr_destroy(&clock);
    return feed;
}

static void let_go(holder *h)
{
    if (h && --h->holders == 0)
        free(h);
}

void rg_feed_free(rg_feed *feed)
{
    if (!feed)
        return;
    let_go(feed->now);
    pthread_cond_destroy(&feed->newer);
    pthread_mutex_destroy(&feed->lock);
    free(feed);
}

static rg_code join(const rg_feed_part *part, int parts, holder **made, rg_error *err)
{
    size_t size = 0;
    for (int i = 0; i < parts; i++) {
        if (part[i].size > RG_FEED_BYTES_MAX - size)
            return rg_fail(err, RG_BAD_DATA, "a block of more than %d bytes is not passed on",
                           RG_FEED_BYTES_MAX);
        size += part[i].size;
    }
    holder *h = rg_alloc(1, sizeof *h + size);
    if (!h)
        return rg_fail(err, RG_INTERNAL, "no memory for a block of %zu bytes", size);
    uint8_t *to = (uint8_t *)(h + 1);
    h->block = (rg_feed_block){.size = size, .bytes = to};
    h->holders = 1;
    for (int i = 0; i < parts; i++) {
        if (part[i].size)
            memcpy(to, part[i].bytes, part[i].size);
        to += part[i].size;
    }
    *made = h;
    return RG_OK;
}

rg_code rg_feed_put(rg_feed *feed, const rg_feed_part *part, int parts, rg_error *err)
{
    holder *h = NULL;
    rg_code code = join(part, parts, &h, err);
    if (code != RG_OK)
        return code;
    pthread_mutex_lock(&feed->lock);
    let_go(feed->now);
    h->block.number = ++feed->number;
    feed->now = h;
    pthread_cond_broadcast(&feed->newer);
    pthread_mutex_unlock(&feed->lock);
    return RG_OK;
}

static struct timespec in_ms(int ms)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    t.tv_sec += ms / 1000;
    t.tv_nsec += (long)(ms % 1000) * 1000000;
    if (t.tv_nsec >= 1000000000) {
        t.tv_sec++;
        t.tv_nsec -= 1000000000;
    }
    return t;
}

const rg_feed_block *rg_feed_take(rg_feed *feed, uint64_t after, int timeout_ms)
{
    struct timespec until = in_ms(timeout_ms);
    holder *h = NULL;
    pthread_mutex_lock(&feed->lock);
    while (!feed->stopped && feed->number <= after)
        if (pthread_cond_timedwait(&feed->newer, &feed->lock, &until) != 0)
            break;
    if (!feed->stopped && feed->now && feed->number > after) {
        h = feed->now;
        h->holders++;
    }
    pthread_mutex_unlock(&feed->lock);
    return h ? &h->block : NULL;
}

void rg_feed_give_back(rg_feed *feed, const rg_feed_block *block)
{
    if (!block)
        return;
    pthread_mutex_lock(&feed->lock);
    let_go((holder *)block);
    pthread_mutex_unlock(&feed->lock);
}

void rg_feed_stop(rg_feed *feed)
{
    pthread_mutex_lock(&feed->lock);
    feed->stopped = true;
    pthread_cond_broadcast(&feed->newer);
    pthread_mutex_unlock(&feed->lock);
}

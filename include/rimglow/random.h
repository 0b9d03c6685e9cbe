/*
 * random.h - a small stream of random numbers that is the same everywhere, for what must come again from its seed.
 *
 * splitmix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014): all
 * 64 bits of the seed count, where the generators of GSL take 32. Not for secrets.
 */
#ifndef RIMGLOW_RANDOM_H
#define RIMGLOW_RANDOM_H

#include <stdint.h>

typedef struct rg_random {
    uint64_t state; /* the seed */
} rg_random;

uint64_t rg_random_next(rg_random *random);
/* In [0, 1), 53 bits. */
double rg_random_share(rg_random *random);
/* In [low, high). */
double rg_random_between(rg_random *random, double low, double high);
/* 0 .. n - 1, n > 0, each as often (within n / 2^64). */
int rg_random_below(rg_random *random, int n);
/* 0 .. n - 1 in an order that any other is as likely as (R. A. Fisher, F. Yates, "Statistical tables", 1938; in place by
 * R. Durstenfeld, Comm. ACM 7 (1964) 420). order: [n]; n = 0: nothing. */
void rg_random_order(rg_random *random, int *order, int n);

#endif

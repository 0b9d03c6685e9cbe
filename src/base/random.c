/*
 * random.c - splitmix64.
 */
#include "rimglow/random.h"

uint64_t rg_random_next(rg_random *random)
{
    uint64_t z = random->state += UINT64_C(0x9e3779b97f4a7c15);
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

double rg_random_share(rg_random *random)
{
    return (double)(rg_random_next(random) >> 11) * 0x1p-53;
}

double rg_random_between(rg_random *random, double low, double high)
{
    return low + (high - low) * rg_random_share(random);
}

int rg_random_below(rg_random *random, int n)
{
    return (int)(rg_random_next(random) % (uint64_t)n);
}

void rg_random_order(rg_random *random, int *order, int n)
{
    for (int i = 0; i < n; i++)
        order[i] = i;
    for (int i = n - 1; i > 0; i--) {
        int j = rg_random_below(random, i + 1), kept = order[i];
        order[i] = order[j];
        order[j] = kept;
    }
}

/*
 * Tests of random.h. The stream of seed 1234567 is the one that Rosetta Code's task "Pseudo-random
 * numbers/Splitmix64" prints.
 */
#include "rimglow/random.h"

#include <criterion/criterion.h>
#include <math.h>

Test(random, published_stream)
{
    static const uint64_t printed[] = {UINT64_C(6457827717110365317), UINT64_C(3203168211198807973),
                                       UINT64_C(9817491932198370423), UINT64_C(4593380528125082431),
                                       UINT64_C(16408922859458223821)};
    rg_random r = {1234567};
    for (int i = 0; i < 5; i++)
        cr_expect_eq(rg_random_next(&r), printed[i], "%d", i);
}

/* Mean 1/2 and variance 1/12 of the uniform distribution, within five standard errors. */
Test(random, shares_are_even)
{
    enum { N = 100000 };
    rg_random r = {7};
    double sum = 0, square = 0;
    for (int i = 0; i < N; i++) {
        double x = rg_random_share(&r);
        cr_assert(x >= 0 && x < 1);
        sum += x;
        square += (x - 0.5) * (x - 0.5);
    }
    cr_expect_float_eq(sum / N, 0.5, 5 * sqrt(1.0 / 12 / N));
    cr_expect_float_eq(square / N, 1.0 / 12, 5 * sqrt(1.0 / 180 / N));
}

Test(random, wholes_and_ranges_keep_their_bounds)
{
    rg_random r = {9};
    int count[7] = {0};
    for (int i = 0; i < 70000; i++) {
        count[rg_random_below(&r, 7)]++;
        double x = rg_random_between(&r, -3, 5);
        cr_assert(x >= -3 && x < 5);
    }
    for (int i = 0; i < 7; i++)
        cr_expect_float_eq(count[i], 10000, 5 * sqrt(10000.0 * 6 / 7), "%d: %d", i, count[i]);
}

Test(random, every_bit_of_the_seed_counts)
{
    rg_random plain = {1};
    uint64_t first = rg_random_next(&plain);
    for (int bit = 0; bit < 64; bit++) {
        rg_random other = {1 ^ UINT64_C(1) << bit};
        cr_expect_neq(rg_random_next(&other), first, "%d", bit);
    }
}

/* Each of the six orders of three comes as often, within five standard errors of a binomial count. */
Test(random, every_order_is_as_likely)
{
    enum { N = 60000 };
    rg_random r = {11};
    int count[27] = {0}, order[3];
    for (int i = 0; i < N; i++) {
        rg_random_order(&r, order, 3);
        cr_assert_eq(order[0] + order[1] + order[2], 3);
        cr_assert_neq(order[0], order[1]);
        count[9 * order[0] + 3 * order[1] + order[2]]++;
    }
    int orders = 0;
    for (int i = 0; i < 27; i++) {
        orders += count[i] > 0;
        cr_expect(count[i] == 0 || fabs(count[i] - N / 6.0) < 5 * sqrt(N * 5.0 / 36), "%d: %d", i,
                  count[i]);
    }
    cr_expect_eq(orders, 6);
}

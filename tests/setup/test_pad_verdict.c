/*
 * Tests of pad_verdict.h. That a firm finger alone releases no pad is common practice, no source.
 */
#include <criterion/criterion.h>

#include "rimglow/pad_verdict.h"

#define S RG_VERDICT_SEALED
#define L RG_VERDICT_LEAKING
#define U RG_VERDICT_UNDECIDED

static rg_verdict of_two(rg_verdict light, rg_verdict firm)
{
    bool only_firm = true;
    const rg_pad_sweep sweep[] = {{light, false}, {firm, true}};
    rg_verdict verdict = rg_pad_verdict(sweep, 2, &only_firm);
    cr_assert_not(only_firm);
    return verdict;
}

Test(pad_verdict, a_pad_without_a_sweep_is_undecided)
{
    bool only_firm = true;
    cr_assert_eq(rg_pad_verdict(NULL, 0, &only_firm), U);
    cr_assert_not(only_firm);
}

Test(pad_verdict, one_light_sweep_decides)
{
    for (int v = S; v <= U; v++)
        cr_assert_eq(rg_pad_verdict(&(rg_pad_sweep){(rg_verdict)v, false}, 1, NULL), (rg_verdict)v);
}

Test(pad_verdict, a_firm_finger_alone_shows_a_leak_but_no_seal)
{
    bool only_firm = false;
    cr_assert_eq(rg_pad_verdict(&(rg_pad_sweep){S, true}, 1, &only_firm), U);
    cr_assert(only_firm);
    cr_assert_eq(rg_pad_verdict(&(rg_pad_sweep){L, true}, 1, &only_firm), L);
    cr_assert_not(only_firm);
    cr_assert_eq(rg_pad_verdict(&(rg_pad_sweep){U, true}, 1, &only_firm), U);
    cr_assert_not(only_firm, "the sweep's own reasons say more");
    const rg_pad_sweep two[] = {{S, true}, {S, true}};
    cr_assert_eq(rg_pad_verdict(two, 2, &only_firm), U);
    cr_assert(only_firm);
}

Test(pad_verdict, with_both_fingers_the_worse_counts)
{
    cr_assert_eq(of_two(S, S), S);
    cr_assert_eq(of_two(L, S), L);
    cr_assert_eq(of_two(S, L), L);
    cr_assert_eq(of_two(U, S), U);
    cr_assert_eq(of_two(S, U), U);
    cr_assert_eq(of_two(U, L), L);
}

/*
 * Tests of memory.h: overflow of count * size, zeroing, growth.
 */
#include <criterion/criterion.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"

Test(memory, product_that_wraps_is_refused)
{
    cr_assert(rg_alloc(SIZE_MAX / 4 + 1, 8) == NULL);
    cr_assert(rg_alloc(SIZE_MAX, 1) == NULL);
    int *block = rg_alloc(4, sizeof *block);
    block[3] = 7;
    cr_assert(rg_grow(block, SIZE_MAX / sizeof *block + 2, sizeof *block) == NULL);
    cr_assert(block[3] == 7, "the old block stays valid");
    free(block);
}

Test(memory, blocks_are_zeroed_and_keep_their_content_when_grown)
{
    uint8_t *p = rg_alloc(1000, 1);
    for (int i = 0; i < 1000; i++)
        cr_assert(p[i] == 0);
    memset(p, 9, 1000);
    p = rg_grow(p, 100000, 1);
    cr_assert(p[999] == 9);
    free(p);
}

Test(memory, nothing_asked_for_is_still_a_block)
{
    void *p = rg_alloc(0, 8);
    cr_assert(p != NULL);
    p = rg_grow(p, 0, 8);
    cr_assert(p != NULL);
    free(p);
}

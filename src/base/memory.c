/*
 * memory.c - checked allocation of memory.h.
 */
#include "rimglow/memory.h"

#include <stdint.h>
#include <stdlib.h>

void *rg_alloc(size_t count, size_t size)
{
    if (count == 0 || size == 0)
        return calloc(1, 1);
    if (count > PTRDIFF_MAX / size)
        return NULL;
    return calloc(count, size);
}

void *rg_grow(void *block, size_t count, size_t size)
{
    if (count == 0 || size == 0)
        return realloc(block, 1);
    if (count > PTRDIFF_MAX / size)
        return NULL;
    return realloc(block, count * size);
}

/*
 * memory.h - checked allocation. Sizes are multiplied with overflow check;
 * memory is zeroed; NULL means "no memory" and is turned into RG_INTERNAL by
 * the caller. free() releases it.
 */
#ifndef RIMGLOW_MEMORY_H
#define RIMGLOW_MEMORY_H

#include <stddef.h>

/* count * size zeroed bytes, NULL on overflow or without memory. A zero count
 * or size gives a block of one byte. */
void *rg_alloc(size_t count, size_t size);
/* realloc with overflow check; the old block stays valid on failure. */
void *rg_grow(void *block, size_t count, size_t size);

#endif

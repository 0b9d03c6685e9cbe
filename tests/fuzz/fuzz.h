/*
 * fuzz.h - what the targets share: the promise that ends a run when it is broken, and texts as parsers get them.
 */
#ifndef RIMGLOW_FUZZ_FUZZ_H
#define RIMGLOW_FUZZ_FUZZ_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/status.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static inline void require(bool promise)
{
    if (!promise)
        abort();
}

/* A parser's answer: all is well, or bad data and a text about it. */
static inline void check_refusal(rg_code code, const rg_error *err)
{
    require(code == RG_OK || (code == RG_BAD_DATA && err->code == code && err->text[0]));
}

typedef void fuzz_text(const char *text, size_t size);

/* Hands the bytes over in a block of exactly their size: a read beyond it is seen. */
static inline int fuzz_exact(fuzz_text *parser, const uint8_t *data, size_t size)
{
    char *text = malloc(size > 0 ? size : 1);
    if (!text)
        return 0;
    if (size > 0)
        memcpy(text, data, size);
    parser(text, size);
    free(text);
    return 0;
}

/* The first byte chooses one of so many parsers, the rest is the text. */
static inline int fuzz_chosen(fuzz_text *const *parser, size_t parsers, const uint8_t *data,
                              size_t size)
{
    return size < 1 ? 0 : fuzz_exact(parser[data[0] % parsers], data + 1, size - 1);
}

#endif

/*
 * load.h - test files into memory; a test that cannot read its data fails.
 */
#ifndef RIMGLOW_TESTS_LOAD_H
#define RIMGLOW_TESTS_LOAD_H

#include <stddef.h>
#include <stdint.h>

#include "rimglow/image.h"

typedef struct test_bytes {
    uint8_t *data; /* free() */
    size_t size;
} test_bytes;

/* Reads a file; the path is relative to the repository root. */
test_bytes test_load(const char *path);
/* The same with the path made as by printf. */
test_bytes test_loadf(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* Decodes a whole picture that must decode. */
rg_image test_decode_file(const char *path);

#endif

/*
 * load.h - test files into memory, as they are or with a text replaced; a test that cannot read its data
 * fails.
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
/* A file as a string; free(). */
char *test_text(const char *path);
/* A copy of the text with the first `from`, which must be there, replaced by `to`; free(). */
char *test_edited(const char *text, const char *from, const char *to);
/* The same of a file. */
char *test_changed(const char *path, const char *from, const char *to);
/* Decodes a whole picture that must decode. */
rg_image test_decode_file(const char *path);

#endif

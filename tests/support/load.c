/*
 * load.c - test files into memory.
 */
#include "support/load.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"

/* Aborting fails a Criterion test just as an assertion does, and works in
 * tools that are no Criterion tests. */
static void give_up(const rg_error *err)
{
    fprintf(stderr, "test data: %s\n", err->text);
    abort();
}

test_bytes test_load(const char *path)
{
    rg_error err = {0};
    test_bytes b;
    if (rg_file_read(path, RG_FILE_MAX_BYTES, &b.data, &b.size, &err))
        give_up(&err);
    return b;
}

test_bytes test_loadf(const char *format, ...)
{
    char path[300];
    va_list args;
    va_start(args, format);
    vsnprintf(path, sizeof path, format, args);
    va_end(args);
    return test_load(path);
}

rg_image test_decode_file(const char *path)
{
    test_bytes b = test_load(path);
    rg_image image;
    rg_error err = {0};
    if (rg_decode(b.data, b.size, &image, &err)) {
        rg_fail_prefix(&err, path);
        give_up(&err);
    }
    free(b.data);
    return image;
}

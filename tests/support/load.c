/*
 * load.c - test files into memory.
 */
#include "support/load.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

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

char *test_text(const char *path)
{
    return (char *)test_load(path).data; /* which a 0 follows */
}

char *test_edited(const char *text, const char *from, const char *to)
{
    rg_error err = {0};
    const char *at = strstr(text, from);
    size_t size = strlen(text) + strlen(to) + 1;
    char *out = rg_alloc(size, 1);
    if (!at || !out) {
        rg_fail(&err, RG_INTERNAL, "\"%s\" is not in the text", from);
        give_up(&err);
    }
    snprintf(out, size, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    return out;
}

char *test_changed(const char *path, const char *from, const char *to)
{
    char *text = test_text(path), *out = test_edited(text, from, to);
    free(text);
    return out;
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

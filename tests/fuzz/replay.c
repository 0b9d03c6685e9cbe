/*
 * replay.c - runs every file of a folder through a fuzz target.
 *
 * Each file is copied into a heap block of exactly its size, so that the
 * address sanitizer sees a read of one byte too many. A missing or empty
 * folder is a failure: a corpus that has gone away would look like success.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/file.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int replay_file(const char *folder, const char *name)
{
    enum { LIMIT = 64 * 1024 * 1024 };
    rg_error err = {0};
    uint8_t *bytes = NULL;
    size_t size = 0;
    char *path = rg_path_join(folder, name);
    if (!path || rg_file_read(path, LIMIT, &bytes, &size, &err)) {
        fprintf(stderr, "replay: %s\n", path ? err.text : "out of memory");
        free(path);
        return 1;
    }
    free(path);
    uint8_t *exact = malloc(size ? size : 1);
    if (!exact) {
        free(bytes);
        return 1;
    }
    memcpy(exact, bytes, size);
    free(bytes);
    /* Named before the run: a crash in it must say on which file. */
    if (getenv("REPLAY_VERBOSE"))
        fprintf(stderr, "%s\n", name);
    LLVMFuzzerTestOneInput(exact, size);
    free(exact);
    return 0;
}

int main(int argc, char **argv)
{
    if (argc != 2) {
        fprintf(stderr, "usage: %s FOLDER\n", argv[0]);
        return 64;
    }
    rg_error err = {0};
    rg_file_list list;
    if (rg_folder_list(argv[1], &list, &err)) {
        fprintf(stderr, "replay: %s\n", err.text);
        return 1;
    }
    int failures = list.count == 0;
    for (size_t i = 0; i < list.count; i++)
        failures += replay_file(argv[1], list.name[i]);
    printf("%s: %zu inputs%s\n", argv[1], list.count, failures ? ", FAILED" : "");
    rg_file_list_free(&list);
    return failures != 0;
}

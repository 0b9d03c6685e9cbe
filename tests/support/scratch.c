/*
 * scratch.c - a folder of a test's own.
 */
#include "support/scratch.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool test_scratch_make(char folder[TEST_SCRATCH_PATH])
{
    snprintf(folder, TEST_SCRATCH_PATH, "/tmp/rimglow-test-XXXXXX");
    return mkdtemp(folder) != NULL;
}

void test_scratch_remove(const char *folder)
{
    char path[1024];
    DIR *open = opendir(folder);
    if (!open)
        return;
    chmod(folder, 0700);
    for (struct dirent *entry = readdir(open); entry; entry = readdir(open)) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        if (unlinkat(dirfd(open), entry->d_name, 0) == 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        test_scratch_remove(path);
    }
    closedir(open);
    rmdir(folder);
}

/*
 * steps.c - small writers, careful and careless, to show what tests/shim/faults.c can tell apart.
 *
 *   steps save FILE TEXT [no-sync] [no-folder-sync] [in-place]
 *                 replaces a file: part file, fsync, rename, fsync of the folder, as POSIX asks;
 *                 each word leaves a step out
 *   steps carry FOLDER TO [no-folder-sync]
 *                 renames a folder into another one and fsyncs both sides
 *   steps rows DATABASE COUNT [no-sync]
 *                 commits rows 1 to COUNT to an SQLite file in WAL mode, one by one, and prints
 *                 each number once SQLite says that it is committed; no-sync: PRAGMA
 *                 synchronous=OFF
 *
 * Exit code 0, 64 (usage), or 74 with a message when a step failed.
 */
#include <errno.h>
#include <fcntl.h>
#include <libgen.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <sqlite3.h>

typedef struct omissions {
    bool sync, folder_sync, part;
} omissions;

static int failed(const char *what)
{
    fprintf(stderr, "steps: %s: %s\n", what, strerror(errno));
    return 74;
}

static omissions read_omissions(int count, char **word)
{
    omissions left = {0};
    for (int i = 0; i < count; i++) {
        left.sync |= strcmp(word[i], "no-sync") == 0;
        left.folder_sync |= strcmp(word[i], "no-folder-sync") == 0;
        left.part |= strcmp(word[i], "in-place") == 0;
    }
    return left;
}

static bool sync_folder_of(const char *path)
{
    char work[4096];
    snprintf(work, sizeof work, "%s", path);
    int fd = open(dirname(work), O_RDONLY | O_DIRECTORY);
    bool ok = fd >= 0 && fsync(fd) == 0;
    if (fd >= 0)
        close(fd);
    return ok;
}

static bool fill(const char *path, const char *text, bool sync)
{
    size_t size = strlen(text), put = 0;
    int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    bool ok = fd >= 0;
    while (ok && put < size) {
        ssize_t n = write(fd, text + put, size - put);
        ok = n > 0;
        put += ok ? (size_t)n : 0;
    }
    ok = ok && (!sync || fsync(fd) == 0);
    return fd >= 0 && close(fd) == 0 && ok;
}

static int save(const char *path, const char *text, omissions left)
{
    char part[4096];
    snprintf(part, sizeof part, "%s%s", path, left.part ? "" : ".part");
    if (!fill(part, text, !left.sync))
        return failed(part);
    if (!left.part && rename(part, path) != 0)
        return failed(path);
    return left.folder_sync || sync_folder_of(path) ? 0 : failed(path);
}

static int carry(const char *folder, const char *to, omissions left)
{
    if (rename(folder, to) != 0)
        return failed(to);
    bool ok = left.folder_sync || (sync_folder_of(to) && sync_folder_of(folder));
    return ok ? 0 : failed(to);
}

static bool run(sqlite3 *db, const char *sql)
{
    char *text = NULL;
    if (sqlite3_exec(db, sql, NULL, NULL, &text) == SQLITE_OK)
        return true;
    fprintf(stderr, "steps: %s\n", text);
    sqlite3_free(text);
    return false;
}

static bool insert(sqlite3 *db, long row)
{
    char sql[100];
    snprintf(sql, sizeof sql, "insert into t values (%ld, randomblob(3000))", row);
    if (!run(db, sql))
        return false;
    printf("%ld\n", row);
    return fflush(stdout) == 0;
}

static int rows(const char *path, long count, omissions left)
{
    sqlite3 *db = NULL;
    bool ok = sqlite3_open(path, &db) == SQLITE_OK;
    ok = ok && run(db, "pragma journal_mode=WAL") &&
         run(db, left.sync ? "pragma synchronous=OFF" : "pragma synchronous=FULL") &&
         run(db, "pragma wal_autocheckpoint=4") &&
         run(db, "create table if not exists t (n integer primary key, filler blob)");
    for (long n = 1; ok && n <= count; n++)
        ok = insert(db, n);
    sqlite3_close(db);
    return ok ? 0 : 74;
}

int main(int argc, char **argv)
{
    omissions left = read_omissions(argc - 2, argv + 2);
    if (argc >= 4 && strcmp(argv[1], "save") == 0)
        return save(argv[2], argv[3], left);
    if (argc >= 4 && strcmp(argv[1], "carry") == 0)
        return carry(argv[2], argv[3], left);
    if (argc >= 4 && strcmp(argv[1], "rows") == 0)
        return rows(argv[2], strtol(argv[3], NULL, 10), left);
    fprintf(stderr, "usage: steps save|carry|rows ... (see the head of steps.c)\n");
    return 64;
}

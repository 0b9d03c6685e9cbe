/*
 * archive.c - opening and locking an archive, finding bags, reading them.
 *
 * One writer at a time: flock() on ARCHIVE/lock, which the kernel gives up when the process
 * dies, however it dies. Readers take no lock: a bag appears by one rename and is never
 * changed afterwards.
 */
#include "rimglow/archive.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "archive_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

#define MARK_NAME "rimglow-archive.txt"
#define MARK_TEXT "rimglow archive 1\n"
enum { WAIT_SECONDS = 600, TRIES_A_SECOND = 10 };

/* ---------------------------------------------------------------- names */

void rg_names_free(rg_names *names)
{
    for (int i = 0; i < names->count; i++)
        free(names->name[i]);
    free(names->name);
    *names = (rg_names){0};
}

static int by_bytes(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

rg_code rg_names_add(rg_names *names, const char *prefix, const char *name, rg_error *err)
{
    char **grown = names->name;
    if ((names->count & (names->count - 1)) == 0) /* room doubles at powers of two */
        grown = rg_grow(names->name, names->count ? (size_t)names->count * 2 : 1, sizeof *grown);
    char *copy = rg_alloc(strlen(prefix) + strlen(name) + 2, 1);
    if (grown)
        names->name = grown;
    if (!grown || !copy) {
        free(copy);
        return rg_fail(err, RG_INTERNAL, "no memory for %d names", names->count + 1);
    }
    sprintf(copy, "%s%s%s", prefix, prefix[0] ? "/" : "", name);
    names->name[names->count++] = copy;
    return RG_OK;
}

static rg_code collect(DIR *folder, const char *path, const char *prefix, rg_names *names,
                       rg_error *err)
{
    for (;;) {
        errno = 0;
        struct dirent *entry = readdir(folder);
        if (!entry && errno)
            return rg_fail(err, RG_NO_INPUT, "%s: cannot be listed (%s)", path, strerror(errno));
        if (!entry)
            return RG_OK;
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        rg_code code = rg_names_add(names, prefix, entry->d_name, err);
        if (code != RG_OK)
            return code;
    }
}

rg_code rg_names_of_folder(const char *path, const char *prefix, rg_names *names, rg_error *err)
{
    *names = (rg_names){0};
    DIR *folder = opendir(path);
    if (!folder && errno == ENOENT)
        return RG_OK;
    if (!folder)
        return rg_fail(err, RG_NO_INPUT, "%s: the folder cannot be opened (%s)", path,
                       strerror(errno));
    rg_code code = collect(folder, path, prefix, names, err);
    closedir(folder);
    if (code != RG_OK)
        rg_names_free(names);
    else if (names->count > 1)
        qsort(names->name, (size_t)names->count, sizeof *names->name, by_bytes);
    return code;
}

rg_code rg_archive_path(const rg_archive *archive, const char *bag, const char *inside,
                        char path[RG_ARCHIVE_PATH], rg_error *err)
{
    int n = snprintf(path, RG_ARCHIVE_PATH, "%s/bags%s%s%s%s", archive->folder, bag[0] ? "/" : "",
                     bag, inside[0] ? "/" : "", inside);
    if (n < 0 || n >= RG_ARCHIVE_PATH)
        return rg_fail(err, RG_BAD_DATA, "%.80s...: the path is too long", path);
    return RG_OK;
}

/* ARCHIVE/name. */
rg_code rg_archive_file(const rg_archive *archive, const char *name, char path[RG_ARCHIVE_PATH],
                        rg_error *err)
{
    int n = snprintf(path, RG_ARCHIVE_PATH, "%s/%s", archive->folder, name);
    if (n < 0 || n >= RG_ARCHIVE_PATH)
        return rg_fail(err, RG_BAD_DATA, "%.80s...: the path is too long", path);
    return RG_OK;
}

rg_code rg_archive_serials(const rg_archive *archive, rg_names *serials, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    *serials = (rg_names){0};
    rg_code code = rg_archive_path(archive, "", "", path, err);
    return code == RG_OK ? rg_names_of_folder(path, "", serials, err) : code;
}

rg_code rg_archive_bags(const rg_archive *archive, const char *serial, rg_names *bags,
                        rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    *bags = (rg_names){0};
    if (!rg_is_safe_name(serial))
        return rg_fail(err, RG_USAGE,
                       "\"%s\" is no serial: letters, digits, - _ . of at most 120 bytes", serial);
    rg_code code = rg_archive_path(archive, serial, "", path, err);
    return code == RG_OK ? rg_names_of_folder(path, serial, bags, err) : code;
}

bool rg_bag_name_parse(const char *bag, int *sequence)
{
    const char *name = strrchr(bag, '/');
    int day, month, year, hour, minute, second, end = 0;
    name = name ? name + 1 : bag;
    if (strspn(name, "0123456789") < 4 ||
        sscanf(name, "%9d-%4d%2d%2dT%2d%2d%2dZ%n", sequence, &year, &month, &day, &hour, &minute,
               &second, &end) != 7)
        return false;
    return end > 0 && !name[end] && *sequence > 0;
}

/* ---------------------------------------------------------------- opening */

static rg_code set_folder(rg_archive *archive, const char *folder, rg_error *err)
{
    *archive = (rg_archive){.lock = -1};
    if (!folder[0] || !rg_copy_text(archive->folder, sizeof archive->folder, folder))
        return rg_fail(err, RG_USAGE, "the archive's path \"%.60s\" is empty or too long", folder);
    size_t end = strlen(archive->folder);
    while (end > 1 && archive->folder[end - 1] == '/')
        archive->folder[--end] = 0;
    return RG_OK;
}

/* RG_NO_INPUT where there is no mark. */
static rg_code check_mark(const rg_archive *archive, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_archive_file(archive, MARK_NAME, path, err);
    if (code == RG_OK && access(path, F_OK) != 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: there is no archive (%s is missing); name the right folder with "
                       "--archive, or begin one with rimglow archive add",
                       archive->folder, MARK_NAME);
    if (code == RG_OK)
        code = rg_file_read(path, 4096, &text, &size, err);
    if (code == RG_OK && strcmp((char *)text, MARK_TEXT) != 0)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: is not what this version of rimglow writes there; use the version that "
                       "made the archive",
                       path);
    free(text);
    return code;
}

/* Only what the making of an archive leaves when it is cut off. */
static bool is_fresh(const rg_names *names)
{
    for (int i = 0; i < names->count; i++)
        if (strncmp(names->name[i], MARK_NAME, strlen(MARK_NAME)) != 0 &&
            strcmp(names->name[i], "lock") != 0)
            return false;
    return true;
}

static rg_code make_archive(const rg_archive *archive, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_names names;
    rg_code code = rg_folder_make(archive->folder, err);
    if (code == RG_OK)
        code = rg_names_of_folder(archive->folder, "", &names, err);
    if (code != RG_OK)
        return code;
    bool fresh = is_fresh(&names);
    rg_names_free(&names);
    if (!fresh)
        return rg_fail(err, RG_USAGE,
                       "%s: holds other files and is no archive; name an empty or a new folder",
                       archive->folder);
    code = rg_archive_file(archive, MARK_NAME, path, err);
    return code == RG_OK ? rg_file_write(path, MARK_TEXT, strlen(MARK_TEXT), err) : code;
}

static rg_code take_lock(rg_archive *archive, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_code code = rg_archive_file(archive, "lock", path, err);
    if (code != RG_OK)
        return code;
    archive->lock = rg_open(AT_FDCWD, path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (archive->lock < 0)
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: cannot be opened for writing (%s); check that the archive's folder and "
                       "disk may be written",
                       path, strerror(errno));
    for (int i = 0; flock(archive->lock, LOCK_EX | LOCK_NB) != 0; i++) {
        const struct timespec pause = {0, 1000000000L / TRIES_A_SECOND};
        if (errno != EWOULDBLOCK && errno != EINTR)
            return rg_fail(err, RG_CANT_CREATE,
                           "%s: cannot be locked (%s); put the archive on a disk that can lock "
                           "files",
                           path, strerror(errno));
        if (i >= WAIT_SECONDS * TRIES_A_SECOND)
            return rg_fail(err, RG_CANT_CREATE,
                           "%s: another rimglow has been writing for %d minutes; wait for it, or "
                           "end it",
                           archive->folder, WAIT_SECONDS / 60);
        nanosleep(&pause, NULL);
    }
    return RG_OK;
}

/* Staging folders belong to nobody once the lock is ours. */
static rg_code clear_incoming(const rg_archive *archive, rg_error *err)
{
    char path[RG_ARCHIVE_PATH], one[RG_ARCHIVE_PATH + 256];
    rg_names names = {0};
    rg_code code = rg_archive_file(archive, "incoming", path, err);
    if (code == RG_OK)
        code = rg_names_of_folder(path, "", &names, err);
    for (int i = 0; code == RG_OK && i < names.count; i++) {
        snprintf(one, sizeof one, "%s/%s", path, names.name[i]);
        code = rg_bag_remove(one, err);
    }
    rg_names_free(&names);
    return code == RG_OK ? rg_folder_make(path, err) : code;
}

rg_code rg_archive_open(rg_archive *archive, const char *folder, rg_error *err)
{
    rg_error why = {0};
    char path[RG_ARCHIVE_PATH];
    rg_code code = set_folder(archive, folder, err);
    if (code != RG_OK)
        return code;
    code = check_mark(archive, &why);
    if (code == RG_NO_INPUT)
        code = make_archive(archive, err);
    else if (code != RG_OK)
        rg_fail(err, code, "%s", why.text);
    if (code == RG_OK)
        code = take_lock(archive, err);
    if (code == RG_OK)
        code = clear_incoming(archive, err);
    if (code == RG_OK)
        code = rg_archive_path(archive, "", "", path, err);
    if (code == RG_OK)
        code = rg_folder_make(path, err);
    if (code == RG_OK)
        code = rg_archive_heal(archive, err);
    if (code != RG_OK)
        rg_archive_close(archive);
    return code;
}

rg_code rg_archive_read(rg_archive *archive, const char *folder, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_code code = set_folder(archive, folder, err);
    if (code == RG_OK)
        code = check_mark(archive, err);
    if (code == RG_OK)
        code = rg_archive_file(archive, RG_ARCHIVE_INDEX, path, err);
    if (code == RG_OK)
        archive->index_fault.code =
            rg_catalogue_open(path, RG_CATALOGUE_READ, &archive->catalogue, &archive->index_fault);
    return code;
}

rg_code rg_archive_read_index(rg_archive *archive, const char *folder, rg_error *err)
{
    rg_code code = rg_archive_read(archive, folder, err);
    if (code != RG_OK || archive->catalogue)
        return code;
    code = rg_fail(err, archive->index_fault.code, "%s", archive->index_fault.text);
    rg_archive_close(archive);
    return code;
}

void rg_archive_close(rg_archive *archive)
{
    rg_catalogue_close(archive->catalogue);
    if (archive->lock >= 0)
        close(archive->lock);
    *archive = (rg_archive){.lock = -1};
}

/* ---------------------------------------------------------------- reading bags */

/* "0003" or "3" against "SERIAL/0003-2026...". */
static bool means(const char *bag, const char *word)
{
    const char *name = strrchr(bag, '/') + 1;
    long wanted;
    int sequence;
    if (strcmp(name, word) == 0)
        return true;
    return rg_parse_int(word, 1, 999999999, &wanted) && rg_bag_name_parse(bag, &sequence) &&
           sequence == wanted;
}

static rg_code pick(const rg_names *bags, const char *word, const char *which,
                    char bag[RG_ARCHIVE_BAG], rg_error *err)
{
    const char *found = NULL;
    for (int i = 0; i < bags->count; i++) {
        int sequence;
        if (which ? !means(bags->name[i], which) : !rg_bag_name_parse(bags->name[i], &sequence))
            continue;
        if (which && found)
            return rg_fail(err, RG_USAGE, "%s: is %s and %s; name one in full", word, found,
                           bags->name[i]);
        found = bags->name[i];
    }
    if (!found || !rg_copy_text(bag, RG_ARCHIVE_BAG, found))
        return rg_fail(err, RG_NO_INPUT,
                       "%s: no such inspection in the archive; rimglow archive list shows what "
                       "there is",
                       word);
    return RG_OK;
}

rg_code rg_archive_resolve(const rg_archive *archive, const char *word, char bag[RG_ARCHIVE_BAG],
                           rg_error *err)
{
    char serial[RG_NAME_SIZE];
    const char *slash = strchr(word, '/');
    size_t length = slash ? (size_t)(slash - word) : strlen(word);
    if (length >= sizeof serial)
        return rg_fail(err, RG_USAGE, "%.60s...: is no serial and no bag of the archive", word);
    memcpy(serial, word, length);
    serial[length] = 0;
    rg_names bags;
    rg_code code = rg_archive_bags(archive, serial, &bags, err);
    if (code != RG_OK)
        return code;
    code = pick(&bags, word, slash ? slash + 1 : NULL, bag, err);
    rg_names_free(&bags);
    return code;
}

rg_code rg_archive_record(const rg_archive *archive, const char *bag, rg_record *record,
                          rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size = 0;
    *record = (rg_record){0};
    rg_code code = rg_archive_path(archive, bag, "data/inspection.json", path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_RECORD_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_record_parse(path, (const char *)text, size, record, err);
    free(text);
    return code;
}

rg_code rg_archive_map(const rg_archive *archive, const char *bag, const char *sweep,
                       rg_map_file *map, char **text, rg_error *err)
{
    char path[RG_ARCHIVE_PATH], inside[RG_RECORD_NAME + 64];
    uint8_t *bytes = NULL;
    size_t size = 0;
    snprintf(inside, sizeof inside, "data/results/%s/seal-map.json", sweep);
    rg_code code = rg_archive_path(archive, bag, inside, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_MAPFILE_MAX_BYTES, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_mapfile_parse(path, (const char *)bytes, size, map, err);
    if (code == RG_OK && text)
        *text = (char *)bytes;
    else
        free(bytes);
    return code;
}

rg_code rg_archive_keys(const rg_archive *archive, rg_public_key *key, int *count, rg_error *err)
{
    char path[RG_ARCHIVE_PATH], one[RG_ARCHIVE_PATH + 256];
    rg_names names = {0};
    *count = 0;
    rg_code code = rg_archive_file(archive, "keys", path, err);
    if (code == RG_OK)
        code = rg_names_of_folder(path, "", &names, err);
    for (int i = 0; code == RG_OK && i < names.count; i++) {
        size_t n = strlen(names.name[i]);
        if (n < 5 || strcmp(names.name[i] + n - 4, ".pub") != 0)
            continue;
        if (*count == RG_ARCHIVE_KEYS_MAX)
            code = rg_fail(err, RG_BAD_DATA, "%s: holds more than %d keys; take old ones away",
                           path, RG_ARCHIVE_KEYS_MAX);
        snprintf(one, sizeof one, "%s/%s", path, names.name[i]);
        if (code == RG_OK)
            code = rg_key_read_public(one, &key[(*count)++], err);
    }
    rg_names_free(&names);
    return code;
}

/*
 * file.c - whole files in, whole files out (file.h).
 *
 * Writing follows the POSIX recipe for a replacement that survives a power
 * cut: new file in the same folder, fsync, rename over the target, fsync of
 * the folder. The part file is opened exclusively under a name made
 * of the process number and the first free count: unique per process and call
 * without a counter of our own.
 */
#include "rimglow/file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/memory.h"

enum { PART_ATTEMPTS = 10000 };

static rg_code no_memory(const char *path, rg_error *err)
{
    return rg_fail(err, RG_INTERNAL, "%s: out of memory; close other programs and try again", path);
}

/* ---- reading ---- */

static rg_code open_regular(const char *path, size_t limit, int *fd, size_t *size, rg_error *err)
{
    /* Without O_NONBLOCK, opening a pipe would wait for its writer. */
    *fd = rg_open(AT_FDCWD, path, O_RDONLY | O_CLOEXEC | O_NONBLOCK, 0);
    if (*fd < 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: cannot be opened (%s); check the name and that you may read it", path,
                       strerror(errno));
    struct stat st;
    if (fstat(*fd, &st) != 0 || !S_ISREG(st.st_mode)) {
        close(*fd);
        return rg_fail(err, RG_NO_INPUT, "%s: is not a regular file; name a file", path);
    }
    if (st.st_size < 0 || (uintmax_t)st.st_size > limit) {
        close(*fd);
        return rg_fail(err, RG_BAD_DATA,
                       "%s: has %jd bytes, more than the limit of %zu; use a smaller file", path,
                       (intmax_t)st.st_size, limit);
    }
    *size = (size_t)st.st_size;
    return RG_OK;
}

long rg_read_up_to(int fd, void *to, size_t size)
{
    size_t got = 0;
    while (got < size) {
        ssize_t n = read(fd, (uint8_t *)to + got, size - got);
        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            return -1;
        if (n == 0)
            break;
        got += (size_t)n;
    }
    return (long)got;
}

rg_code rg_file_read(const char *path, size_t limit, uint8_t **bytes, size_t *size, rg_error *err)
{
    *bytes = NULL;
    *size = 0;
    int fd = -1;
    size_t expected = 0;
    rg_code code = open_regular(path, limit, &fd, &expected, err);
    if (code)
        return code;
    uint8_t *block = expected < SIZE_MAX ? rg_alloc(expected + 1, 1) : NULL;
    long got = block ? rg_read_up_to(fd, block, expected) : 0;
    int reason = errno;
    close(fd);
    if (!block)
        return no_memory(path, err);
    if (got < 0) {
        free(block);
        return rg_fail(err, RG_NO_INPUT, "%s: cannot be read (%s); copy the file again", path,
                       strerror(reason));
    }
    block[got] = 0;
    *bytes = block;
    *size = (size_t)got;
    return RG_OK;
}

/* ---- interrupted calls ---- */

int rg_open(int folder, const char *path, int flags, unsigned mode)
{
    int fd;
    do
        fd = openat(folder, path, flags, (mode_t)mode);
    while (fd < 0 && errno == EINTR);
    return fd;
}

int rg_fsync(int fd)
{
    int code;
    do
        code = fsync(fd);
    while (code != 0 && errno == EINTR);
    return code;
}

int rg_close(int fd)
{
    return close(fd) == 0 || errno == EINTR ? 0 : -1;
}

/* ---- writing ---- */

bool rg_write_all(int fd, const void *bytes, size_t size)
{
    const uint8_t *from = bytes;
    while (size > 0) {
        ssize_t n = write(fd, from, size);
        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0)
            return false;
        from += n;
        size -= (size_t)n;
    }
    return true;
}

/* The process and the first free number make the name; O_EXCL settles any
 * race, and the mode is the one an ordinary file gets under the umask (which
 * mkstemp() would not give). */
static int open_part(const char *path, char **part)
{
    size_t size = strlen(path) + sizeof ".part--" + (size_t)2 * 21;
    *part = rg_alloc(size, 1);
    if (!*part) {
        errno = ENOMEM;
        return -1;
    }
    int fd = -1;
    for (int n = 0; n < PART_ATTEMPTS; n++) {
        snprintf(*part, size, "%s.part-%ld-%d", path, (long)getpid(), n);
        fd = rg_open(AT_FDCWD, *part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (fd >= 0 || errno != EEXIST)
            break;
    }
    return fd;
}

/* False: longer than any path that can be opened. */
static bool folder_of(const char *path, char folder[PATH_MAX])
{
    const char *slash = strrchr(path, '/');
    size_t n = slash && slash > path ? (size_t)(slash - path) : 1;
    if (n >= PATH_MAX)
        return false;
    memcpy(folder, slash ? path : ".", n);
    folder[n] = 0;
    return true;
}

/* Some file systems cannot fsync a folder (EINVAL); that is no failure. Needs no memory, since the file
 * has its name by now and must not be left without its fsync. */
static bool sync_folder_of(const char *path)
{
    char folder[PATH_MAX];
    int fd = folder_of(path, folder)
                 ? rg_open(AT_FDCWD, folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0)
                 : -1;
    if (fd < 0)
        return true;
    bool ok = rg_fsync(fd) == 0 || errno == EINVAL || errno == ENOTSUP;
    close(fd);
    return ok;
}

static rg_code write_failed(const char *path, int reason, rg_error *err)
{
    return rg_fail(err, RG_IO, "%s: writing failed (%s); free some space and try again", path,
                   strerror(reason));
}

static rg_code fill_and_rename(int fd, const char *part, const char *path, const void *bytes,
                               size_t size, rg_error *err)
{
    bool ok = rg_write_all(fd, bytes, size) && rg_fsync(fd) == 0;
    int reason = errno;
    if (rg_close(fd) != 0 && ok) {
        ok = false;
        reason = errno;
    }
    if (!ok) {
        unlink(part);
        return write_failed(path, reason, err);
    }
    if (rename(part, path) != 0) {
        reason = errno;
        unlink(part);
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: cannot be replaced (%s); move away what stands there", path,
                       strerror(reason));
    }
    return sync_folder_of(path) ? RG_OK : write_failed(path, errno, err);
}

rg_code rg_file_write(const char *path, const void *bytes, size_t size, rg_error *err)
{
    char *part;
    int fd = open_part(path, &part);
    if (fd < 0) {
        int reason = errno;
        free(part);
        if (reason == ENOMEM)
            return no_memory(path, err);
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: cannot be created (%s); check that its folder may be written", path,
                       strerror(reason));
    }
    rg_code code = fill_and_rename(fd, part, path, bytes, size, err);
    free(part);
    return code;
}

rg_code rg_file_refusal(const char *path, int reason, rg_error *err)
{
    const char *why = strerror(reason);
    switch (reason) {
    case ENOSPC:
    case EDQUOT:
    case EFBIG:
        return write_failed(path, reason, err);
    case EEXIST:
    case ELOOP:
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: stands there already and is never written over; move it away or choose "
                       "another name",
                       path);
    case ENAMETOOLONG:
        return rg_fail(err, RG_CANT_CREATE, "%s: cannot be made (%s); choose a shorter name", path,
                       why);
    case ENOENT:
    case ENOTDIR:
    case EROFS:
    case EACCES:
    case EPERM:
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: cannot be made (%s); choose a place that may be written", path, why);
    default:
        return rg_fail(err, RG_IO, "%s: cannot be written (%s); check the disk and try again", path,
                       why);
    }
}

rg_code rg_file_make(const char *path, unsigned mode, const void *bytes, size_t size, rg_error *err)
{
    int fd =
        rg_open(AT_FDCWD, path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, (mode_t)mode);
    if (fd < 0)
        return rg_file_refusal(path, errno, err);
    bool ok = rg_write_all(fd, bytes, size) && rg_fsync(fd) == 0;
    int reason = errno;
    if (rg_close(fd) != 0 && ok) {
        ok = false;
        reason = errno;
    }
    if (ok)
        return RG_OK;
    unlink(path);
    return rg_file_refusal(path, reason, err);
}

/* ---- folders ---- */

rg_code rg_folder_sync(const char *path, rg_error *err)
{
    int fd = rg_open(AT_FDCWD, path, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
    if (fd < 0)
        return rg_file_refusal(path, errno, err);
    bool ok = rg_fsync(fd) == 0 || errno == EINVAL || errno == ENOTSUP;
    int reason = errno;
    close(fd);
    return ok ? RG_OK : rg_file_refusal(path, reason, err);
}

static bool is_folder(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISDIR(st.st_mode);
}

/* A file is only as safe against a power cut as the names of the folders above it. */
static rg_code make_one(const char *path, rg_error *err)
{
    if (mkdir(path, 0777) == 0)
        return sync_folder_of(path) ? RG_OK : write_failed(path, errno, err);
    int reason = errno == EEXIST ? ENOTDIR : errno;
    if (is_folder(path))
        return RG_OK;
    return rg_fail(err, RG_CANT_CREATE,
                   "%s: the folder cannot be made (%s); choose a place that may be written", path,
                   strerror(reason));
}

rg_code rg_folder_make(const char *path, rg_error *err)
{
    size_t n = strlen(path);
    char *work = rg_alloc(n + 1, 1);
    if (!work)
        return no_memory(path, err);
    memcpy(work, path, n);
    rg_code code = RG_OK;
    for (size_t i = 1; i < n && !code; i++) {
        if (work[i] != '/' || work[i - 1] == '/')
            continue;
        work[i] = 0;
        code = make_one(work, err);
        work[i] = '/';
    }
    free(work);
    return code ? code : make_one(path, err);
}

char *rg_path_join(const char *folder, const char *name)
{
    size_t n = strlen(folder), m = strlen(name);
    bool slash = n > 0 && folder[n - 1] != '/';
    char *path = rg_alloc(n + slash + m + 1, 1);
    if (path)
        snprintf(path, n + slash + m + 1, "%s%s%s", folder, slash ? "/" : "", name);
    return path;
}

static bool is_regular_in(int folder, const char *name)
{
    struct stat st;
    return fstatat(folder, name, &st, 0) == 0 && S_ISREG(st.st_mode);
}

static int by_bytes(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static rg_code append_name(rg_file_list *list, const char *name, const char *path, rg_error *err)
{
    if (list->count >= RG_FOLDER_MAX_FILES)
        return rg_fail(err, RG_BAD_DATA, "%s: holds more than %d files; move the others away", path,
                       (int)RG_FOLDER_MAX_FILES);
    char *copy = strdup(name);
    if (!copy)
        return no_memory(path, err);
    list->name[list->count++] = copy;
    return RG_OK;
}

static rg_code collect_names(DIR *folder, const char *path, rg_file_list *list, rg_error *err)
{
    for (;;) {
        errno = 0;
        struct dirent *entry = readdir(folder);
        if (!entry && errno)
            return rg_fail(err, RG_NO_INPUT, "%s: cannot be listed (%s)", path, strerror(errno));
        if (!entry)
            return RG_OK;
        if (entry->d_name[0] == '.' || !is_regular_in(dirfd(folder), entry->d_name))
            continue;
        rg_code code = append_name(list, entry->d_name, path, err);
        if (code)
            return code;
    }
}

rg_code rg_folder_list(const char *path, rg_file_list *list, rg_error *err)
{
    *list = (rg_file_list){0};
    DIR *folder = opendir(path);
    if (!folder && errno == ENOMEM)
        return no_memory(path, err);
    if (!folder)
        return rg_fail(
            err, RG_NO_INPUT,
            "%s: the folder cannot be opened (%s); check its name and that you may read it", path,
            strerror(errno));
    list->name = rg_alloc(RG_FOLDER_MAX_FILES, sizeof *list->name);
    rg_code code = list->name ? collect_names(folder, path, list, err) : no_memory(path, err);
    closedir(folder);
    if (code) {
        rg_file_list_free(list);
        return code;
    }
    qsort(list->name, list->count, sizeof *list->name, by_bytes);
    return RG_OK;
}

void rg_file_list_free(rg_file_list *list)
{
    if (!list)
        return;
    for (size_t i = 0; i < list->count; i++)
        free(list->name[i]);
    free(list->name);
    *list = (rg_file_list){0};
}

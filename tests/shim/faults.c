/*
 * faults.c - a disk that fails at the wrong moment, for LD_PRELOAD under a program that writes.
 *
 * Calls that change a disk are counted from 1: open with O_CREAT or O_TRUNC, write, pwrite,
 * writev, ftruncate, posix_fallocate, copy_file_range, sendfile, fsync, fdatasync,
 * sync_file_range, sync, syncfs, rename, link, symlink, unlink, rmdir, remove, mkdir (of what is
 * not there yet), fchmod, chmod. Writes to descriptors 0 to 2 are not. With FAULT_READS=1 those that only look
 * are counted, too: open without either, read, pread, close.
 *
 *   FAULT_AT=N         what happens, happens at call N; "exit": after the last one, when the
 *                      program has ended by itself (power only)
 *   FAULT_KIND=        kill-before  SIGKILL in place of the call
 *                      kill-after   SIGKILL after it
 *                      kill-torn    SIGKILL after half of a write (other calls: after it)
 *                      power        the call, then the power is cut: what was never fsynced is
 *                                   lost (disk.h), then SIGKILL
 *                      power-content, power-names   only contents, or only names, are lost
 *                      power-some   some of either, chosen by FAULT_SEED=NUMBER
 *                      short        a write takes half of what it was given, a read gives half of what it could
 *                      eintr        a call that POSIX lets be interrupted (open, read, write, fsync, close and
 *                                   their like) fails so, once; a close has closed all the same
 *                      enospc edquot eio erofs exdev estale eacces   the call fails so, when it is
 *                                   one that can: exdev for rename and link, enospc and edquot
 *                                   for what takes space (removing does not)
 *   FAULT_FROM=1       errors: at call N and at every one after it
 *   FAULT_MATCH=TEXT   only calls whose path has TEXT in it count
 *   FAULT_LOG=FILE     a line for each counted call: number, call, path (and second path); and
 *                      what a power cut lost
 *   FAULT_FAST=1       syncs are not handed to the real disk (which a test need not wait for)
 *   FAULT_TIME=SECONDS the clock (time, gettimeofday, clock_gettime, timespec_get) began there,
 *                      POSIX time
 *
 * Limits: files written through stdio or mmap() are not seen, nor programs that make system calls
 * of their own. SQLite takes its calls from the C library by name (checked by
 * tests/cli/test_faults.sh), but maps its -shm file, which is made anew after a crash.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <sys/uio.h>
#include <time.h>
#include <unistd.h>

#include "disk.h"

/* ---------------------------------------------------------------- settings */

enum {
    TAKES_SPACE = 1,
    LINKS = 2,
    WRITES = 4,
    SYNCS = 8,
    READS = 16,
    OPENS = 32,
    CLOSES = 64
}; /* what a call is */

typedef enum deed { NOTHING, KILL_BEFORE, KILL_AFTER, KILL_TORN, POWER, SHORT, ERROR } deed;

typedef struct kind {
    const char *name;
    deed deed;
    int value; /* disk_loss, or errno */
    int only;  /* calls that have one of these; 0: all */
} kind;

static const kind kinds[] = {
    {"kill-before", KILL_BEFORE, 0, 0},
    {"kill-after", KILL_AFTER, 0, 0},
    {"kill-torn", KILL_TORN, 0, 0},
    {"power", POWER, DISK_LOSE_ALL, 0},
    {"power-content", POWER, DISK_LOSE_CONTENT, 0},
    {"power-names", POWER, DISK_LOSE_NAMES, 0},
    {"power-some", POWER, DISK_LOSE_SOME, 0},
    {"short", SHORT, 0, WRITES | READS},
    {"eintr", ERROR, EINTR, WRITES | SYNCS | READS | OPENS | CLOSES},
    {"enospc", ERROR, ENOSPC, TAKES_SPACE},
    {"edquot", ERROR, EDQUOT, TAKES_SPACE},
    {"eio", ERROR, EIO, 0},
    {"erofs", ERROR, EROFS, 0},
    {"exdev", ERROR, EXDEV, LINKS},
    {"estale", ERROR, ESTALE, 0},
    {"eacces", ERROR, EACCES, 0},
};

static pthread_mutex_t lock = PTHREAD_RECURSIVE_MUTEX_INITIALIZER_NP;
static struct {
    bool read, from, fast, at_exit, reads;
    long at, count;
    const kind *kind;
    const char *match;
    unsigned long seed;
    int log;
    int64_t clock_shift;
} now;

static long number(const char *name)
{
    const char *text = getenv(name);
    return text ? strtol(text, NULL, 10) : 0;
}

static void misused(const char *what)
{
    fprintf(stderr, "faults.so: %s\n", what);
    _exit(70);
}

static void read_kind(void)
{
    const char *text = getenv("FAULT_KIND");
    for (size_t i = 0; text && i < sizeof kinds / sizeof *kinds; i++)
        if (strcmp(text, kinds[i].name) == 0)
            now.kind = &kinds[i];
    const char *at = getenv("FAULT_AT");
    now.at_exit = at && strcmp(at, "exit") == 0;
    now.at = number("FAULT_AT");
    if ((text && !now.kind) || (at && !now.at_exit && now.at < 1))
        misused("FAULT_KIND or FAULT_AT is not one that faults.c lists");
}

static void read_settings(void)
{
    if (now.read)
        return;
    now.read = true;
    now.log = -1;
    read_kind();
    now.from = number("FAULT_FROM") != 0;
    now.fast = number("FAULT_FAST") != 0;
    now.reads = number("FAULT_READS") != 0;
    now.match = getenv("FAULT_MATCH");
    now.seed = (unsigned long)number("FAULT_SEED");
    const char *log = getenv("FAULT_LOG");
    if (log) {
        int fd = (int)syscall(SYS_openat, AT_FDCWD, log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC,
                              0666);
        now.log = fcntl(fd, F_DUPFD_CLOEXEC, 300);
        syscall(SYS_close, fd);
    }
    struct timespec real;
    syscall(SYS_clock_gettime, CLOCK_REALTIME, &real);
    if (getenv("FAULT_TIME"))
        now.clock_shift = number("FAULT_TIME") - real.tv_sec;
}

__attribute__((constructor)) static void begin(void)
{
    pthread_mutex_lock(&lock);
    read_settings();
    pthread_mutex_unlock(&lock);
}

static void tell(const char *text)
{
    char line[2 * PATH_MAX + 100];
    int n = snprintf(line, sizeof line, "%s\n", text);
    if (now.log >= 0 && n > 0 && syscall(SYS_write, now.log, line, (size_t)n) < 0)
        misused("FAULT_LOG cannot be written");
}

/* ---------------------------------------------------------------- one call */

static void die(void)
{
    syscall(SYS_kill, getpid(), SIGKILL);
    for (;;)
        pause();
}

static void cut_power(void)
{
    disk_cut_power((disk_loss)now.kind->value, now.seed, tell);
}

__attribute__((destructor)) static void end(void)
{
    if (now.at_exit && now.kind && now.kind->deed == POWER)
        cut_power();
}

static void absolute(char to[PATH_MAX], int folder, const char *path)
{
    char self[40], base[PATH_MAX] = "";
    if (path && path[0] == '/') {
        snprintf(to, PATH_MAX, "%s", path);
        return;
    }
    snprintf(self, sizeof self, "/proc/self/fd/%d", folder);
    ssize_t n = readlink(folder == AT_FDCWD ? "/proc/self/cwd" : self, base, sizeof base - 1);
    base[n > 0 ? n : 0] = 0;
    size_t length = (size_t)(n > 0 ? n : 0);
    memcpy(to, base, length + 1);
    if (path)
        snprintf(to + length, PATH_MAX - length, "/%s", path);
}

static bool power_is_modelled(void)
{
    return now.kind && now.kind->deed == POWER;
}

/* Counts the call and says what is to happen at it. Taken under the lock, which stays held until
 * leave(). */
static deed enter(const char *call, int what, int folder, const char *path, const char *to)
{
    pthread_mutex_lock(&lock);
    read_settings();
    int reason = errno;
    char place[PATH_MAX], line[2 * PATH_MAX + 80];
    absolute(place, folder, path);
    deed answer = NOTHING;
    if (!now.match || strstr(place, now.match) || (to && strstr(to, now.match))) {
        now.count++;
        snprintf(line, sizeof line, "%ld %s %s%s%s", now.count, call, place, to ? " " : "",
                 to ? to : "");
        tell(line);
        bool here = now.at > 0 && (now.count == now.at || (now.from && now.count > now.at));
        if (here && now.kind && (now.kind->only == 0 || now.kind->only & what))
            answer = now.kind->deed;
    }
    if (answer == KILL_BEFORE)
        die();
    errno = reason;
    if (answer == ERROR)
        errno = now.kind->value;
    if ((answer == KILL_TORN && !(what & WRITES)))
        answer = KILL_AFTER;
    return answer;
}

static void leave(deed todo)
{
    int reason = errno;
    if (todo == POWER)
        cut_power();
    if (todo == POWER || todo == KILL_AFTER || todo == KILL_TORN)
        die();
    errno = reason;
    pthread_mutex_unlock(&lock);
}

/* Half of it for a torn or a short write. */
static size_t portion(deed todo, size_t size)
{
    return (todo == KILL_TORN || todo == SHORT) && size > 1 ? size / 2 : size;
}

/* ---------------------------------------------------------------- contents */

static bool counted(int fd)
{
    return fd > 2;
}

ssize_t write(int fd, const void *bytes, size_t size)
{
    if (!counted(fd))
        return syscall(SYS_write, fd, bytes, size);
    deed todo = enter("write", WRITES | TAKES_SPACE, fd, NULL, NULL);
    long n = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(fd);
        n = syscall(SYS_write, fd, bytes, portion(todo, size));
    }
    leave(todo);
    return n;
}

static ssize_t write_at(int fd, const void *bytes, size_t size, off_t at)
{
    deed todo = enter("pwrite", WRITES | TAKES_SPACE, fd, NULL, NULL);
    long n = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(fd);
        n = syscall(SYS_pwrite64, fd, bytes, portion(todo, size), at);
    }
    leave(todo);
    return n;
}

ssize_t pwrite(int fd, const void *bytes, size_t size, off_t at)
{
    return write_at(fd, bytes, size, at);
}

ssize_t pwrite64(int fd, const void *bytes, size_t size, off64_t at)
{
    return write_at(fd, bytes, size, at);
}

ssize_t writev(int fd, const struct iovec *part, int count)
{
    if (!counted(fd))
        return syscall(SYS_writev, fd, part, count);
    deed todo = enter("writev", WRITES | TAKES_SPACE, fd, NULL, NULL);
    long n = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(fd);
        n = todo == KILL_TORN || todo == SHORT
                ? syscall(SYS_write, fd, part[0].iov_base, portion(todo, part[0].iov_len))
                : syscall(SYS_writev, fd, part, count);
    }
    leave(todo);
    return n;
}

static int resize(int fd, off_t size)
{
    struct stat st;
    bool grows = fstat(fd, &st) == 0 && size > st.st_size;
    deed todo = enter("ftruncate", grows ? TAKES_SPACE : 0, fd, NULL, NULL);
    long code = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(fd);
        code = syscall(SYS_ftruncate, fd, size);
    }
    leave(todo);
    return (int)code;
}

int ftruncate(int fd, off_t size)
{
    return resize(fd, size);
}

int ftruncate64(int fd, off64_t size)
{
    return resize(fd, size);
}

/* Returns the error, unlike the others. */
static int reserve(int fd, off_t from, off_t size)
{
    deed todo = enter("posix_fallocate", TAKES_SPACE, fd, NULL, NULL);
    int code = todo == ERROR ? errno : 0;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(fd);
        code = syscall(SYS_fallocate, fd, 0, from, size) == 0 ? 0 : errno;
    }
    leave(todo);
    return code;
}

int posix_fallocate(int fd, off_t from, off_t size)
{
    return reserve(fd, from, size);
}

int posix_fallocate64(int fd, off64_t from, off64_t size)
{
    return reserve(fd, from, size);
}

ssize_t copy_file_range(int from, off64_t *from_at, int to, off64_t *to_at, size_t size,
                        unsigned flags)
{
    deed todo = enter("copy_file_range", WRITES | TAKES_SPACE, to, NULL, NULL);
    long n = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(to);
        n = syscall(SYS_copy_file_range, from, from_at, to, to_at, portion(todo, size), flags);
    }
    leave(todo);
    return n;
}

static ssize_t send_file(int to, int from, off_t *at, size_t size)
{
    if (!counted(to))
        return syscall(SYS_sendfile, to, from, at, size);
    deed todo = enter("sendfile", WRITES | TAKES_SPACE, to, NULL, NULL);
    long n = -1;
    if (todo != ERROR) {
        if (power_is_modelled())
            disk_will_write(to);
        n = syscall(SYS_sendfile, to, from, at, portion(todo, size));
    }
    leave(todo);
    return n;
}

ssize_t sendfile(int to, int from, off_t *at, size_t size)
{
    return send_file(to, from, at, size);
}

ssize_t sendfile64(int to, int from, off64_t *at, size_t size)
{
    return send_file(to, from, at, size);
}

/* ---------------------------------------------------------------- looking */

ssize_t read(int fd, void *to, size_t size)
{
    if (!counted(fd) || !now.reads)
        return syscall(SYS_read, fd, to, size);
    deed todo = enter("read", READS, fd, NULL, NULL);
    long n = todo == ERROR ? -1 : syscall(SYS_read, fd, to, portion(todo, size));
    leave(todo);
    return n;
}

static ssize_t read_at(int fd, void *to, size_t size, off_t at)
{
    if (!now.reads)
        return syscall(SYS_pread64, fd, to, size, at);
    deed todo = enter("pread", READS, fd, NULL, NULL);
    long n = todo == ERROR ? -1 : syscall(SYS_pread64, fd, to, portion(todo, size), at);
    leave(todo);
    return n;
}

ssize_t pread(int fd, void *to, size_t size, off_t at)
{
    return read_at(fd, to, size, at);
}

ssize_t pread64(int fd, void *to, size_t size, off64_t at)
{
    return read_at(fd, to, size, at);
}

int close(int fd)
{
    if (!counted(fd) || !now.reads)
        return (int)syscall(SYS_close, fd);
    deed todo = enter("close", CLOSES, fd, NULL, NULL);
    int reason = errno;
    long code = syscall(SYS_close, fd);
    if (todo == ERROR) {
        errno = reason;
        code = -1;
    }
    leave(todo);
    return (int)code;
}

/* ---------------------------------------------------------------- syncs */

static int sync_by(const char *call, long system_call, int fd)
{
    deed todo = enter(call, SYNCS | TAKES_SPACE, fd, NULL, NULL);
    long code = todo == ERROR ? -1 : now.fast ? 0 : syscall(system_call, fd);
    if (code == 0)
        disk_synced(fd);
    leave(todo);
    return (int)code;
}

int fsync(int fd)
{
    return sync_by("fsync", SYS_fsync, fd);
}

int fdatasync(int fd)
{
    return sync_by("fdatasync", SYS_fdatasync, fd);
}

/* Writes pages, promises nothing (sync_file_range(2)): the model keeps nothing for it. */
int sync_file_range(int fd, off64_t from, off64_t size, unsigned flags)
{
    deed todo = enter("sync_file_range", SYNCS | TAKES_SPACE, fd, NULL, NULL);
    long code = todo == ERROR ? -1
                : now.fast    ? 0
                              : syscall(SYS_sync_file_range, fd, from, size, flags);
    leave(todo);
    return (int)code;
}

int syncfs(int fd)
{
    deed todo = enter("syncfs", SYNCS | TAKES_SPACE, fd, NULL, NULL);
    long code = todo == ERROR ? -1 : now.fast ? 0 : syscall(SYS_syncfs, fd);
    if (code == 0)
        disk_all_synced();
    leave(todo);
    return (int)code;
}

void sync(void)
{
    deed todo = enter("sync", SYNCS, AT_FDCWD, NULL, NULL);
    if (todo != ERROR && !now.fast)
        syscall(SYS_sync);
    if (todo != ERROR)
        disk_all_synced();
    leave(todo);
}

/* ---------------------------------------------------------------- opening */

static void will_truncate(int folder, const char *path)
{
    int fd = (int)syscall(SYS_openat, folder, path, O_RDWR | O_CLOEXEC | O_NONBLOCK);
    if (fd < 0)
        return;
    disk_will_write(fd); /* holds it open by another descriptor */
    close(fd);
}

static int open_to_read(const char *call, int folder, const char *path, int flags)
{
    if (!now.reads)
        return (int)syscall(SYS_openat, folder, path, flags, 0);
    deed todo = enter(call, OPENS, folder, path, NULL);
    long fd = todo == ERROR ? -1 : syscall(SYS_openat, folder, path, flags, 0);
    leave(todo);
    return (int)fd;
}

static int open_at(const char *call, int folder, const char *path, int flags, mode_t mode)
{
    if (!(flags & (O_CREAT | O_TRUNC)))
        return open_to_read(call, folder, path, flags);
    struct stat st;
    bool there = fstatat(folder, path, &st, 0) == 0;
    deed todo = enter(call, OPENS | (there ? 0 : TAKES_SPACE), folder, path, NULL);
    long fd = -1;
    if (todo != ERROR) {
        if (power_is_modelled() && there && flags & O_TRUNC)
            will_truncate(folder, path);
        disk_change *change = power_is_modelled() && !there
                                  ? disk_prepare(DISK_CREATE, folder, path, 0, NULL, 0)
                                  : NULL;
        fd = syscall(SYS_openat, folder, path, flags, mode);
        disk_done(change, fd >= 0);
    }
    leave(todo);
    return (int)fd;
}

static mode_t mode_of(int flags, va_list more)
{
    return flags & (O_CREAT | O_TMPFILE) ? va_arg(more, mode_t) : 0;
}

int open(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    return open_at("open", AT_FDCWD, path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    return open_at("open", AT_FDCWD, path, flags, mode);
}

int openat(int folder, const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    return open_at("openat", folder, path, flags, mode);
}

int openat64(int folder, const char *path, int flags, ...)
{
    va_list more;
    va_start(more, flags);
    mode_t mode = mode_of(flags, more);
    va_end(more);
    return open_at("openat", folder, path, flags, mode);
}

int creat(const char *path, mode_t mode)
{
    return open_at("creat", AT_FDCWD, path, O_WRONLY | O_CREAT | O_TRUNC, mode);
}

int creat64(const char *path, mode_t mode)
{
    return open_at("creat", AT_FDCWD, path, O_WRONLY | O_CREAT | O_TRUNC, mode);
}

/* ---------------------------------------------------------------- names */

typedef struct naming { /* a call that changes names */
    const char *call;
    disk_change_kind kind;
    int what, folder, to_folder;
    const char *path, *to;
    unsigned flags;
} naming;

static disk_change *prepare(const naming *n)
{
    if (!power_is_modelled())
        return NULL;
    return disk_prepare(n->kind, n->folder, n->path, n->to_folder, n->to, n->flags);
}

int renameat2(int folder, const char *path, int to_folder, const char *to, unsigned flags)
{
    naming n = {"rename", DISK_RENAME, LINKS | TAKES_SPACE, folder, to_folder, path, to, flags};
    deed todo = enter(n.call, n.what, folder, path, to);
    long code = -1;
    if (todo != ERROR) {
        disk_change *change = prepare(&n);
        code = syscall(SYS_renameat2, folder, path, to_folder, to, flags);
        disk_done(change, code == 0);
    }
    leave(todo);
    return (int)code;
}

int renameat(int folder, const char *path, int to_folder, const char *to)
{
    return renameat2(folder, path, to_folder, to, 0);
}

int rename(const char *path, const char *to)
{
    return renameat2(AT_FDCWD, path, AT_FDCWD, to, 0);
}

int linkat(int folder, const char *path, int to_folder, const char *to, int flags)
{
    naming n = {"link", DISK_CREATE, LINKS | TAKES_SPACE, to_folder, 0, to, NULL, 0};
    deed todo = enter(n.call, n.what, folder, path, to);
    long code = -1;
    if (todo != ERROR) {
        disk_change *change = prepare(&n);
        code = syscall(SYS_linkat, folder, path, to_folder, to, flags);
        disk_done(change, code == 0);
    }
    leave(todo);
    return (int)code;
}

int link(const char *path, const char *to)
{
    return linkat(AT_FDCWD, path, AT_FDCWD, to, 0);
}

int symlinkat(const char *content, int folder, const char *path)
{
    naming n = {"symlink", DISK_CREATE, TAKES_SPACE, folder, 0, path, NULL, 0};
    deed todo = enter(n.call, n.what, folder, path, NULL);
    long code = -1;
    if (todo != ERROR) {
        disk_change *change = prepare(&n);
        code = syscall(SYS_symlinkat, content, folder, path);
        disk_done(change, code == 0);
    }
    leave(todo);
    return (int)code;
}

int symlink(const char *content, const char *path)
{
    return symlinkat(content, AT_FDCWD, path);
}

static int remove_at(const char *call, int folder, const char *path, int flags)
{
    naming n = {call, DISK_REMOVE, 0, folder, 0, path, NULL, 0};
    deed todo = enter(n.call, n.what, folder, path, NULL);
    long code = -1;
    if (todo != ERROR) {
        disk_change *change = prepare(&n);
        code = syscall(SYS_unlinkat, folder, path, flags);
        disk_done(change, code == 0);
    }
    leave(todo);
    return (int)code;
}

int unlinkat(int folder, const char *path, int flags)
{
    return remove_at(flags & AT_REMOVEDIR ? "rmdir" : "unlink", folder, path, flags);
}

int unlink(const char *path)
{
    return remove_at("unlink", AT_FDCWD, path, 0);
}

int rmdir(const char *path)
{
    return remove_at("rmdir", AT_FDCWD, path, AT_REMOVEDIR);
}

int remove(const char *path)
{
    struct stat st;
    bool folder = lstat(path, &st) == 0 && S_ISDIR(st.st_mode);
    return folder ? rmdir(path) : unlink(path);
}

int mkdirat(int folder, const char *path, mode_t mode)
{
    struct stat st;
    if (fstatat(folder, path, &st, AT_SYMLINK_NOFOLLOW) == 0)
        return (int)syscall(SYS_mkdirat, folder, path, mode); /* fails, and changes nothing */
    naming n = {"mkdir", DISK_MKDIR, TAKES_SPACE, folder, 0, path, NULL, 0};
    deed todo = enter(n.call, n.what, folder, path, NULL);
    long code = -1;
    if (todo != ERROR) {
        disk_change *change = prepare(&n);
        code = syscall(SYS_mkdirat, folder, path, mode);
        disk_done(change, code == 0);
    }
    leave(todo);
    return (int)code;
}

int mkdir(const char *path, mode_t mode)
{
    return mkdirat(AT_FDCWD, path, mode);
}

int fchmod(int fd, mode_t mode)
{
    deed todo = enter("fchmod", 0, fd, NULL, NULL);
    long code = todo == ERROR ? -1 : syscall(SYS_fchmod, fd, mode);
    leave(todo);
    return (int)code;
}

int chmod(const char *path, mode_t mode)
{
    deed todo = enter("chmod", 0, AT_FDCWD, path, NULL);
    long code = todo == ERROR ? -1 : syscall(SYS_fchmodat, AT_FDCWD, path, mode);
    leave(todo);
    return (int)code;
}

/* ---------------------------------------------------------------- the clock */

int clock_gettime(clockid_t clock, struct timespec *to)
{
    long code = syscall(SYS_clock_gettime, clock, to);
    if (code == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        to->tv_sec += now.clock_shift;
    return (int)code;
}

time_t time(time_t *to)
{
    struct timespec at;
    clock_gettime(CLOCK_REALTIME, &at);
    if (to)
        *to = at.tv_sec;
    return at.tv_sec;
}

int gettimeofday(struct timeval *restrict to, void *restrict zone)
{
    struct timespec at;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &at);
    *to = (struct timeval){.tv_sec = at.tv_sec, .tv_usec = at.tv_nsec / 1000};
    return 0;
}

int timespec_get(struct timespec *to, int base)
{
    return base == TIME_UTC && clock_gettime(CLOCK_REALTIME, to) == 0 ? base : 0;
}

/*
 * disk.c - a model of a disk that loses power (disk.h).
 *
 * Raw system calls throughout: the libc's own names are those that faults.c stands in for. State is
 * global, since a preloaded library has no caller to hand it over; faults.c calls under one lock.
 */
#define _GNU_SOURCE
#include "disk.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

enum { KEEP_FROM = 400 }; /* descriptors of ours, out of the way of the program's */

typedef struct node { /* a file or folder, held open so that its inode number stays its own */
    dev_t dev;
    ino_t ino;
    int fd;
    bool dirty;    /* content differs from the durable one: */
    char *durable; /* owned */
    size_t size;
} node;

typedef struct saved { /* what stood at a name */
    bool existed, folder;
    mode_t mode;
    char *content; /* owned; the durable one */
    size_t size;
} saved;

struct disk_change {
    disk_change_kind kind;
    int folder, to_folder; /* nodes; to_folder -1 unless a rename */
    char name[NAME_MAX + 1], to[NAME_MAX + 1];
    unsigned flags;
    saved was; /* removed or replaced */
    bool synced, to_synced;
};

static node *nodes;
static size_t node_count;
static disk_change **changes;
static size_t change_count;

static void *grow(void *block, size_t count, size_t size)
{
    void *more = realloc(block, (count + 1) * size);
    if (!more)
        abort();
    return more;
}

/* ---------------------------------------------------------------- files as they are */

static char *read_all(int fd, size_t *size)
{
    struct stat st;
    if (fstat(fd, &st) != 0)
        return NULL;
    *size = (size_t)st.st_size;
    char *bytes = malloc(*size + 1);
    size_t got = 0;
    while (bytes && got < *size) {
        ssize_t n = pread(fd, bytes + got, *size - got, (off_t)got);
        if (n <= 0)
            break;
        got += (size_t)n;
    }
    *size = got;
    return bytes;
}

static void write_all(int fd, const char *bytes, size_t size)
{
    for (size_t put = 0; put < size;) {
        long n = syscall(SYS_pwrite64, fd, bytes + put, size - put, (off_t)put);
        if (n <= 0)
            return;
        put += (size_t)n;
    }
}

static bool same(const node *n, const struct stat *st)
{
    return n->dev == st->st_dev && n->ino == st->st_ino;
}

static int node_of(const struct stat *st)
{
    for (size_t i = 0; i < node_count; i++)
        if (same(&nodes[i], st))
            return (int)i;
    return -1;
}

/* Through a descriptor of ours: never closed, since closing any descriptor of a file drops SQLite's
 * locks on it (POSIX fcntl). */
static int hold(const char *path, int flags, const struct stat *st)
{
    int known = node_of(st);
    if (known >= 0)
        return known;
    int fd = (int)syscall(SYS_openat, AT_FDCWD, path, flags | O_CLOEXEC, 0);
    if (fd < 0)
        return -1;
    int kept = fcntl(fd, F_DUPFD_CLOEXEC, KEEP_FROM);
    if (kept >= 0)
        close(fd);
    nodes = grow(nodes, node_count, sizeof *nodes);
    nodes[node_count] = (node){.dev = st->st_dev, .ino = st->st_ino, .fd = kept >= 0 ? kept : fd};
    return (int)node_count++;
}

static bool rebuilt_anyway(const char *path)
{
    size_t n = strlen(path);
    return n > 4 && strcmp(path + n - 4, "-shm") == 0;
}

void disk_will_write(int fd)
{
    int reason = errno;
    struct stat st;
    char self[40], path[PATH_MAX] = "";
    snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(self, path, sizeof path - 1);
    path[n > 0 ? n : 0] = 0;
    if (fstat(fd, &st) == 0 && S_ISREG(st.st_mode) && !rebuilt_anyway(path)) {
        int held = hold(self, O_RDWR, &st);
        if (held >= 0 && !nodes[held].dirty) {
            nodes[held].durable = read_all(nodes[held].fd, &nodes[held].size);
            nodes[held].dirty = true;
        }
    }
    errno = reason;
}

/* ---------------------------------------------------------------- names */

/* The folder of the path as a node, and the last component. */
static int parent_of(int folder, const char *path, char name[NAME_MAX + 1])
{
    char work[PATH_MAX];
    size_t n = strlen(path);
    while (n > 1 && path[n - 1] == '/')
        n--;
    if (n == 0 || n >= sizeof work)
        return -1;
    memcpy(work, path, n);
    work[n] = 0;
    char *slash = strrchr(work, '/');
    const char *last = slash ? slash + 1 : work;
    if (strlen(last) > NAME_MAX)
        return -1;
    strcpy(name, last);
    if (slash)
        slash[slash == work] = 0;
    char self[40];
    int fd =
        (int)syscall(SYS_openat, folder, slash ? work : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
    struct stat st;
    if (fd < 0)
        return -1;
    snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
    int held = fstat(fd, &st) == 0 ? hold(self, O_RDONLY | O_DIRECTORY, &st) : -1;
    close(fd);
    return held;
}

static char *copied(const char *bytes, size_t size)
{
    char *copy = malloc(size + 1);
    if (copy && size > 0)
        memcpy(copy, bytes, size);
    return copy;
}

static void save_content(int folder, const char *name, const struct stat *st, saved *was)
{
    int known = node_of(st);
    if (known >= 0 && nodes[known].dirty) {
        was->size = nodes[known].size;
        was->content = copied(nodes[known].durable, was->size);
        return;
    }
    /* Held, not closed: see hold(). */
    char path[PATH_MAX];
    snprintf(path, sizeof path, "/proc/self/fd/%d/%s", nodes[folder].fd, name);
    int held = hold(path, O_RDWR, st);
    if (held >= 0)
        was->content = read_all(nodes[held].fd, &was->size);
}

static saved save(int folder, const char *name)
{
    struct stat st;
    saved was = {0};
    if (fstatat(nodes[folder].fd, name, &st, AT_SYMLINK_NOFOLLOW) != 0)
        return was;
    was.existed = true;
    was.folder = S_ISDIR(st.st_mode);
    was.mode = st.st_mode & 07777;
    if (S_ISREG(st.st_mode))
        save_content(folder, name, &st, &was);
    return was;
}

disk_change *disk_prepare(disk_change_kind kind, int folder, const char *path, int to_folder,
                          const char *to, unsigned rename_flags)
{
    int reason = errno;
    disk_change *change = calloc(1, sizeof *change);
    if (!change)
        abort();
    change->kind = kind;
    change->flags = rename_flags;
    change->folder = parent_of(folder, path, change->name);
    change->to_folder = kind == DISK_RENAME ? parent_of(to_folder, to, change->to) : -1;
    if (change->folder < 0 || (kind == DISK_RENAME && change->to_folder < 0)) {
        free(change);
        change = NULL;
    } else if (kind == DISK_REMOVE && !rebuilt_anyway(change->name)) {
        change->was = save(change->folder, change->name);
    } else if (kind == DISK_RENAME && !(rename_flags & RENAME_EXCHANGE)) {
        change->was = save(change->to_folder, change->to);
    }
    errno = reason;
    return change;
}

void disk_done(disk_change *change, bool succeeded)
{
    if (!change)
        return;
    if (!succeeded) {
        free(change->was.content);
        free(change);
        return;
    }
    change->to_synced = change->to_folder < 0;
    changes = grow(changes, change_count, sizeof *changes);
    changes[change_count++] = change;
}

/* ---------------------------------------------------------------- what is durable */

static bool durable(const disk_change *change)
{
    return change->synced && change->to_synced;
}

static void clean(node *n)
{
    free(n->durable);
    n->durable = NULL;
    n->size = 0;
    n->dirty = false;
}

static void names_synced(int folder)
{
    for (size_t i = 0; i < change_count; i++) {
        changes[i]->synced |= changes[i]->folder == folder;
        changes[i]->to_synced |= changes[i]->to_folder == folder;
    }
}

void disk_synced(int fd)
{
    int reason = errno;
    struct stat st;
    int known = fstat(fd, &st) == 0 ? node_of(&st) : -1;
    if (known >= 0) {
        clean(&nodes[known]);
        names_synced(known);
    }
    errno = reason;
}

void disk_all_synced(void)
{
    for (size_t i = 0; i < node_count; i++) {
        clean(&nodes[i]);
        names_synced((int)i);
    }
}

/* ---------------------------------------------------------------- power */

/* Everything below name, without following links. */
static void remove_tree(int folder, const char *name)
{
    if (syscall(SYS_unlinkat, folder, name, 0) == 0 || (errno != EISDIR && errno != EPERM))
        return;
    int fd = (int)syscall(SYS_openat, folder, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW, 0);
    DIR *list = fd >= 0 ? fdopendir(fd) : NULL;
    if (!list)
        return;
    for (struct dirent *entry; (entry = readdir(list));)
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            remove_tree(fd, entry->d_name);
    closedir(list);
    syscall(SYS_unlinkat, folder, name, AT_REMOVEDIR);
}

static void bring_back(int folder, const char *name, const saved *was)
{
    if (!was->existed)
        return;
    if (was->folder) {
        syscall(SYS_mkdirat, folder, name, was->mode);
        return;
    }
    int fd = (int)syscall(SYS_openat, folder, name, O_WRONLY | O_CREAT | O_EXCL, was->mode);
    if (fd >= 0 && was->content)
        write_all(fd, was->content, was->size);
    if (fd >= 0)
        close(fd);
}

static void take_back(const disk_change *c)
{
    int folder = nodes[c->folder].fd;
    switch (c->kind) {
    case DISK_CREATE:
    case DISK_MKDIR:
        remove_tree(folder, c->name);
        return;
    case DISK_REMOVE:
        if (!rebuilt_anyway(c->name))
            bring_back(folder, c->name, &c->was);
        return;
    case DISK_RENAME:
        syscall(SYS_renameat2, nodes[c->to_folder].fd, c->to, folder, c->name,
                c->flags & RENAME_EXCHANGE);
        bring_back(nodes[c->to_folder].fd, c->to, &c->was);
        return;
    }
}

static unsigned long next(unsigned long *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX generator */
    return *seed >> 33;
}

/* How many of the changes that are not durable survive all the same, in order. */
static size_t survivors(disk_loss loss, unsigned long *seed)
{
    size_t open = 0;
    for (size_t i = 0; i < change_count; i++)
        open += !durable(changes[i]);
    if (loss == DISK_LOSE_CONTENT)
        return open;
    return loss == DISK_LOSE_SOME ? next(seed) % (open + 1) : 0;
}

static void lose_names(size_t survive, void (*told)(const char *text))
{
    static const char *const kinds[] = {"new name", "new folder", "removal", "rename"};
    size_t first = 0;
    for (; first < change_count && survive > 0; first++)
        survive -= !durable(changes[first]);
    for (size_t i = change_count; i-- > first;) {
        if (durable(changes[i]))
            continue;
        char text[3 * NAME_MAX];
        snprintf(text, sizeof text, "power: lost the %s %s %s", kinds[changes[i]->kind],
                 changes[i]->name, changes[i]->to);
        told(text);
        take_back(changes[i]);
    }
}

static void lose_content(const node *n, disk_loss loss, unsigned long *seed,
                         void (*told)(const char *text))
{
    struct stat st;
    if (!n->dirty || fstat(n->fd, &st) != 0)
        return;
    unsigned long chance = loss == DISK_LOSE_SOME ? next(seed) % 3 : 0;
    if (chance == 1)
        return;
    size_t now = (size_t)st.st_size, back = chance == 2 && now > n->size;
    char text[200];
    size_t length = back ? n->size + next(seed) % (now - n->size) : n->size;
    snprintf(text, sizeof text, "power: content of inode %ju from %zu back to %zu bytes",
             (uintmax_t)n->ino, now, length);
    told(text);
    syscall(SYS_ftruncate, n->fd, (off_t)length);
    if (!back)
        write_all(n->fd, n->durable, n->size);
}

void disk_cut_power(disk_loss loss, unsigned long seed, void (*told)(const char *text))
{
    size_t survive = survivors(loss, &seed);
    for (size_t i = 0; i < node_count && loss != DISK_LOSE_NAMES; i++)
        lose_content(&nodes[i], loss, &seed, told);
    if (loss != DISK_LOSE_CONTENT)
        lose_names(survive, told);
}

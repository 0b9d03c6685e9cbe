/*
 * bag_tree.c - the files below a folder: listing, reading, fsync and removal.
 *
 * Folders are opened from their parent's descriptor with O_NOFOLLOW, so nothing that a link
 * points to is ever read or removed, whatever is exchanged meanwhile. Pipes and devices are never
 * opened.
 */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bag_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

enum {
    /* More than any whole bag holds; what is beyond is not evidence of anything new. */
    ITEMS_MAX = RG_BAG_FILES_MAX + 1000,
    REMOVE_DEPTH_MAX = 200 /* each level keeps one descriptor open */
};

static const int folder_flags = O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC;

static bool is_dots(const char *name)
{
    return strcmp(name, ".") == 0 || strcmp(name, "..") == 0;
}

/* ---- one file ---- */

int rg_bag_open(int root, const char *path, int flags)
{
    char name[RG_BAG_PATH];
    int folder = root, fd = -1;
    for (const char *part = path;;) {
        size_t n = strcspn(part, "/");
        bool last = part[n] == 0;
        if (n >= sizeof name) {
            errno = ENAMETOOLONG;
            fd = -1;
            break;
        }
        memcpy(name, part, n);
        name[n] = 0;
        fd = rg_open(folder, name, last ? flags | O_NOFOLLOW | O_CLOEXEC : folder_flags, 0);
        if (last || fd < 0)
            break;
        if (folder != root)
            close(folder);
        folder = fd;
        part += n + 1;
    }
    int reason = errno;
    if (folder != root)
        close(folder);
    errno = reason;
    return fd;
}

int rg_bag_look(int root, const char *path)
{
    char parent[RG_BAG_PATH];
    const char *slash = strrchr(path, '/');
    size_t n = slash ? (size_t)(slash - path) : 0;
    if (n >= sizeof parent)
        return ENAMETOOLONG;
    memcpy(parent, path, n);
    parent[n] = 0;
    int folder = slash ? rg_bag_open(root, parent, O_RDONLY | O_DIRECTORY) : root;
    struct stat st;
    int reason = 0;
    if (folder < 0 || fstatat(folder, slash ? slash + 1 : path, &st, AT_SYMLINK_NOFOLLOW) != 0)
        reason = errno;
    if (slash && folder >= 0)
        close(folder);
    return reason;
}

static void unreadable(rg_bag_item *item, int reason)
{
    item->kind = BAG_UNREADABLE;
    item->reason = reason;
}

void rg_bag_hash(int root, rg_bag_item *item)
{
    struct stat st;
    int fd = rg_bag_open(root, item->path, O_RDONLY | O_NONBLOCK);
    if (fd < 0) {
        unreadable(item, errno);
        return;
    }
    errno = 0;
    if (fstat(fd, &st) != 0 || !S_ISREG(st.st_mode))
        item->kind = BAG_SPECIAL;
    else if (rg_digest_stream(fd, item->path, &item->digest, &item->size, NULL))
        unreadable(item, errno ? errno : EIO);
    close(fd);
}

/* ---- all files ---- */

typedef struct walk {
    rg_bag_tree *tree;
    const char *label;
    rg_error *err;
    char path[RG_BAG_PATH + RG_BAG_NAME + 2];
} walk;

static rg_code add_item(walk *w, rg_bag_kind kind, int reason, uint64_t size)
{
    rg_bag_tree *t = w->tree;
    if (t->count >= ITEMS_MAX) {
        t->cut = true;
        return RG_OK;
    }
    if (t->count == t->room) {
        size_t room = t->room ? 2 * t->room : 64;
        rg_bag_item *grown = rg_grow(t->item, room, sizeof *grown);
        if (!grown)
            return rg_bag_no_memory(w->label, w->err);
        t->item = grown;
        t->room = room;
    }
    char *path = strdup(w->path);
    if (!path)
        return rg_bag_no_memory(w->label, w->err);
    t->item[t->count++] = (rg_bag_item){.path = path, .kind = kind, .reason = reason, .size = size};
    return RG_OK;
}

static rg_code list_folder(walk *w, int fd, size_t length, int depth);

static rg_code list_below(walk *w, int folder, const char *name, size_t length, int depth)
{
    if (depth >= RG_BAG_DEPTH_MAX)
        return add_item(w, BAG_TOO_DEEP, 0, 0);
    int fd = rg_open(folder, name, folder_flags, 0);
    if (fd < 0)
        return add_item(w, BAG_UNREADABLE, errno, 0);
    if (strcmp(w->path, BAG_PAYLOAD) == 0)
        w->tree->payload_folder = true;
    return list_folder(w, fd, length, depth + 1);
}

static rg_code list_one(walk *w, int folder, const char *name, size_t base, int depth)
{
    size_t length = base + (base > 0);
    int n = snprintf(w->path + base, sizeof w->path - base, "%s%s", base > 0 ? "/" : "", name);
    length += strlen(name);
    struct stat st;
    if (n < 0 || length >= RG_BAG_PATH) {
        w->path[RG_BAG_PATH - 1] = 0;
        return add_item(w, BAG_TOO_DEEP, 0, 0);
    }
    if (fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) != 0)
        return add_item(w, BAG_UNREADABLE, errno, 0);
    if (S_ISDIR(st.st_mode))
        return list_below(w, folder, name, length, depth);
    rg_bag_kind kind = S_ISREG(st.st_mode)   ? BAG_FILE
                       : S_ISLNK(st.st_mode) ? BAG_LINK
                                             : BAG_SPECIAL;
    return add_item(w, kind, 0, S_ISREG(st.st_mode) ? (uint64_t)st.st_size : 0);
}

/* Takes fd over. w->path holds length bytes of the folder's own path. */
static rg_code list_folder(walk *w, int fd, size_t length, int depth)
{
    DIR *folder = fdopendir(fd);
    if (!folder) {
        int reason = errno;
        close(fd);
        return add_item(w, BAG_UNREADABLE, reason, 0);
    }
    rg_code code = RG_OK;
    bool empty = true;
    while (!code && !w->tree->cut) {
        errno = 0;
        struct dirent *entry = readdir(folder);
        if (!entry && (errno || (empty && length > 0 && strcmp(w->path, BAG_PAYLOAD) != 0))) {
            w->path[length] = 0;
            code = add_item(w, errno ? BAG_UNREADABLE : BAG_EMPTY, errno, 0);
        }
        if (!entry)
            break;
        if (is_dots(entry->d_name))
            continue;
        empty = false;
        code = list_one(w, dirfd(folder), entry->d_name, length, depth);
    }
    closedir(folder);
    return code;
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const rg_bag_item *)a)->path, ((const rg_bag_item *)b)->path);
}

rg_code rg_bag_list(int root, const char *label, rg_bag_tree *tree, rg_error *err)
{
    *tree = (rg_bag_tree){0};
    walk w = {.tree = tree, .label = label, .err = err};
    int fd = rg_open(root, ".", folder_flags, 0);
    if (fd < 0)
        return rg_fail(err, RG_NO_INPUT, "%s: cannot be opened (%s)", label, strerror(errno));
    rg_code code = list_folder(&w, fd, 0, 0);
    if (code)
        rg_bag_tree_free(tree);
    else if (tree->count > 1)
        qsort(tree->item, tree->count, sizeof *tree->item, by_path);
    return code;
}

void rg_bag_tree_free(rg_bag_tree *tree)
{
    for (size_t i = 0; i < tree->count; i++)
        free(tree->item[i].path);
    free(tree->item);
    *tree = (rg_bag_tree){0};
}

rg_bag_item *rg_bag_find(const rg_bag_tree *tree, const char *path)
{
    rg_bag_item key = {.path = (char *)(uintptr_t)path};
    return tree->count ? bsearch(&key, tree->item, tree->count, sizeof key, by_path) : NULL;
}

/* ---- fsync of all folders ---- */

static rg_code sync_one(int fd, const char *label, rg_error *err)
{
    if (rg_fsync(fd) == 0 || errno == EINVAL || errno == ENOTSUP)
        return RG_OK;
    return rg_file_refusal(label, errno, err);
}

/* Takes fd over. The deepest folders first, so that a folder is on the disk before the name that
 * leads to it. */
static rg_code sync_folder(int fd, const char *label, int depth, rg_error *err)
{
    errno = ELOOP;
    DIR *folder = depth <= RG_BAG_DEPTH_MAX ? fdopendir(fd) : NULL;
    if (!folder) {
        close(fd);
        return rg_file_refusal(label, errno, err);
    }
    rg_code code = RG_OK;
    for (struct dirent *entry; !code && (entry = readdir(folder));) {
        struct stat st;
        if (is_dots(entry->d_name) ||
            fstatat(dirfd(folder), entry->d_name, &st, AT_SYMLINK_NOFOLLOW) != 0 ||
            !S_ISDIR(st.st_mode))
            continue;
        int below = rg_open(dirfd(folder), entry->d_name, folder_flags, 0);
        code = below < 0 ? rg_file_refusal(label, errno, err)
                         : sync_folder(below, label, depth + 1, err);
    }
    if (!code)
        code = sync_one(dirfd(folder), label, err);
    closedir(folder);
    return code;
}

rg_code rg_bag_sync(const char *folder, rg_error *err)
{
    int fd = rg_open(AT_FDCWD, folder, folder_flags, 0);
    return fd < 0 ? rg_file_refusal(folder, errno, err) : sync_folder(fd, folder, 0, err);
}

/* ---- removal ---- */

static rg_code cannot_remove(const char *folder, const char *name, int reason, rg_error *err)
{
    return rg_fail(err, RG_CANT_CREATE,
                   "%s: cannot be removed, because of %s in it (%s); remove it by hand", folder,
                   name, strerror(reason));
}

static rg_code remove_below(int fd, const char *label, int depth, rg_error *err);

static rg_code remove_entry(int folder, const char *name, const char *label, int depth,
                            rg_error *err)
{
    struct stat st;
    if (fstatat(folder, name, &st, AT_SYMLINK_NOFOLLOW) != 0)
        return errno == ENOENT ? RG_OK : cannot_remove(label, name, errno, err);
    bool is_folder = S_ISDIR(st.st_mode);
    if (is_folder) {
        int fd = depth < REMOVE_DEPTH_MAX ? rg_open(folder, name, folder_flags, 0) : -1;
        if (fd < 0)
            return cannot_remove(label, name, depth < REMOVE_DEPTH_MAX ? errno : ELOOP, err);
        rg_code code = remove_below(fd, label, depth + 1, err);
        if (code)
            return code;
    }
    if (unlinkat(folder, name, is_folder ? AT_REMOVEDIR : 0) != 0 && errno != ENOENT)
        return cannot_remove(label, name, errno, err);
    return RG_OK;
}

/* Takes fd over. Some file systems skip names while others are being removed, so the folder is read
 * until nothing is left. */
static rg_code remove_below(int fd, const char *label, int depth, rg_error *err)
{
    DIR *folder = fdopendir(fd);
    if (!folder) {
        int reason = errno;
        close(fd);
        return cannot_remove(label, "a folder", reason, err);
    }
    rg_code code = RG_OK;
    for (bool again = true; again && !code;) {
        again = false;
        for (struct dirent *entry; !code && (entry = readdir(folder));) {
            if (is_dots(entry->d_name))
                continue;
            code = remove_entry(dirfd(folder), entry->d_name, label, depth, err);
            again = true;
        }
        rewinddir(folder);
    }
    closedir(folder);
    return code;
}

rg_code rg_bag_remove(const char *folder, rg_error *err)
{
    int fd = rg_open(AT_FDCWD, folder, folder_flags, 0);
    if (fd < 0 && errno == ENOENT)
        return RG_OK;
    if (fd < 0)
        return rg_fail(err, RG_CANT_CREATE,
                       "%s: is no folder that can be removed (%s); see what stands there", folder,
                       strerror(errno));
    rg_code code = remove_below(fd, folder, 0, err);
    if (!code && rmdir(folder) != 0 && errno != ENOENT)
        code = cannot_remove(folder, "what stands", errno, err);
    return code;
}

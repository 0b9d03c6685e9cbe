/*
 * bag_write.c - filling, sealing and placing a bag (bag.h).
 *
 * Files are fsynced as they are written, folders when the bag is sealed, deepest first. Then one
 * rename() brings the whole folder to its place: a power cut leaves either nothing there or the
 * whole bag.
 *
 * rename() of a folder onto another succeeds only where that one is empty (POSIX), so the test for
 * a free place before it can lose a race against nothing that holds data. Writers of an archive
 * hold its lock, so there is no race among them.
 *
 * Names with CR, LF or '%' are valid in a bag, but stand percent-encoded in its manifest, and
 * sha256sum looks for them as they stand there. They are refused when writing, so that every bag of
 * rimglow can be checked with standard tools. A backslash is fine: sha256sum -c takes it as it is
 * unless the line begins with one.
 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bag_private.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

typedef enum bag_stage { FILLING, SEALED, PLACED } bag_stage;

struct rg_bag {
    char *folder; /* where it stands now */
    bag_stage stage;
    rg_bag_entry *entry;
    size_t count, room;
    uint64_t bytes;
    int lines;
    rg_bag_info_line line[RG_BAG_INFO_MAX];
};

enum {
    OWN_LINES = 2, /* Bagging-Date, Payload-Oxum */
    SHOWN = 200    /* bytes of a path in an error text that names two */
};

/* ---- beginning and end ---- */

static rg_code make_folder(const char *path, rg_error *err)
{
    return mkdir(path, 0777) == 0 ? RG_OK : rg_file_refusal(path, errno, err);
}

rg_code rg_bag_begin(const char *staging, rg_bag **bag, rg_error *err)
{
    *bag = NULL;
    rg_bag *b = rg_alloc(1, sizeof *b);
    char *data = rg_path_join(staging, BAG_PAYLOAD);
    if (b)
        b->folder = strdup(staging);
    rg_code code =
        b && b->folder && data ? make_folder(staging, err) : rg_bag_no_memory(staging, err);
    if (!code) {
        code = make_folder(data, err);
        if (code)
            rmdir(staging);
    }
    free(data);
    if (code)
        rg_bag_free(b);
    else
        *bag = b;
    return code;
}

void rg_bag_free(rg_bag *bag)
{
    if (!bag)
        return;
    rg_bag_entries_free(bag->entry, bag->count);
    free(bag->folder);
    free(bag);
}

uint64_t rg_bag_bytes(const rg_bag *bag)
{
    return bag->bytes;
}

size_t rg_bag_files(const rg_bag *bag)
{
    return bag->count;
}

static rg_code wrong_stage(const rg_bag *bag, rg_error *err)
{
    return rg_fail(err, RG_INTERNAL, "%s: the bag is %s; this is a fault of the program",
                   bag->folder, bag->stage == FILLING ? "not sealed yet" : "sealed already");
}

/* ---- payload ---- */

static rg_code check_path(const rg_bag *bag, const char *path, rg_error *err)
{
    const char *fault = rg_bag_path_fault(path);
    if (!fault && !rg_bag_is_payload(path))
        fault = "does not begin with data/";
    if (!fault && strpbrk(path, "\r\n%"))
        fault =
            "has a line break or '%', under which outside tools such as sha256sum would not find "
            "it";
    if (fault)
        return rg_fail(err, RG_BAD_DATA, "\"%.300s\" %s; rename the file", path, fault);
    if (bag->count >= RG_BAG_FILES_MAX)
        return rg_fail(err, RG_BAD_DATA, "%s: more than %d files; archive fewer sweeps at a time",
                       bag->folder, (int)RG_BAG_FILES_MAX);
    return RG_OK;
}

/* The folders that path names inside the bag's folder; full ends with path. */
static rg_code make_parents(const rg_bag *bag, char *full, rg_error *err)
{
    for (char *p = full + strlen(bag->folder) + 1; *p; p++) {
        if (*p != '/')
            continue;
        *p = 0;
        int made = mkdir(full, 0777) == 0 ? 0 : errno;
        struct stat st;
        if (made == EEXIST && (lstat(full, &st) != 0 || !S_ISDIR(st.st_mode)))
            return rg_fail(err, RG_BAD_DATA, "%s: is a file of the bag and cannot be a folder too",
                           full);
        if (made != 0 && made != EEXIST)
            return rg_file_refusal(full, made, err);
        *p = '/';
    }
    return RG_OK;
}

/* Everything up to the file itself: *full is owned, *copy too (the entry's path). */
static rg_code prepare(rg_bag *bag, const char *path, char **full, char **copy, rg_error *err)
{
    *full = *copy = NULL;
    rg_code code = bag->stage == FILLING ? check_path(bag, path, err) : wrong_stage(bag, err);
    if (code)
        return code;
    if (bag->count == bag->room) {
        size_t room = bag->room ? 2 * bag->room : 64;
        rg_bag_entry *grown = rg_grow(bag->entry, room, sizeof *grown);
        if (!grown)
            return rg_bag_no_memory(bag->folder, err);
        bag->entry = grown;
        bag->room = room;
    }
    *full = rg_path_join(bag->folder, path);
    *copy = strdup(path);
    code = *full && *copy ? make_parents(bag, *full, err) : rg_bag_no_memory(bag->folder, err);
    struct stat st;
    if (!code && lstat(*full, &st) == 0)
        code = rg_fail(err, RG_BAD_DATA, "%s: is in the bag already; each name can be used once",
                       *full);
    return code;
}

/* After a failure: no empty folder stays that was made for the file. */
static void drop(const rg_bag *bag, char *full, char *copy)
{
    size_t data = strlen(bag->folder) + sizeof "/" BAG_PAYLOAD - 1;
    for (char *slash; full && (slash = strrchr(full, '/')) && (size_t)(slash - full) > data;) {
        *slash = 0;
        if (rmdir(full) != 0)
            break;
    }
    free(full);
    free(copy);
}

static void keep(rg_bag *bag, char *path, const rg_digest *digest, uint64_t size)
{
    bag->entry[bag->count++] = (rg_bag_entry){path, *digest, size};
    bag->bytes += size;
}

rg_code rg_bag_add_file(rg_bag *bag, const char *path, const char *from, rg_digest *digest,
                        rg_error *err)
{
    char *full, *copy;
    rg_digest stored;
    uint64_t size = 0;
    rg_code code = prepare(bag, path, &full, &copy, err);
    if (!code)
        code = rg_digest_copy(from, full, &stored, &size, err);
    if (code) {
        drop(bag, full, copy);
        return code;
    }
    free(full);
    keep(bag, copy, &stored, size);
    if (digest)
        *digest = stored;
    return RG_OK;
}

rg_code rg_bag_add_bytes(rg_bag *bag, const char *path, const void *bytes, size_t size,
                         rg_error *err)
{
    char *full, *copy;
    rg_code code = prepare(bag, path, &full, &copy, err);
    if (!code)
        code = rg_file_make(full, 0666, bytes, size, err);
    if (code) {
        drop(bag, full, copy);
        return code;
    }
    free(full);
    rg_digest stored = rg_digest_of(bytes, size);
    keep(bag, copy, &stored, size);
    return RG_OK;
}

/* ---- tag files ---- */

static bool is_label(const char *label)
{
    size_t n = strlen(label);
    if (n == 0 || n >= RG_BAG_LABEL || label[0] == ' ' || label[n - 1] == ' ')
        return false;
    for (size_t i = 0; i < n; i++)
        if (label[i] < 0x20 || label[i] > 0x7e || label[i] == ':')
            return false;
    return true;
}

rg_code rg_bag_info(rg_bag *bag, const char *label, const char *value, rg_error *err)
{
    if (bag->stage != FILLING)
        return wrong_stage(bag, err);
    if (!is_label(label) || strcasecmp(label, "Payload-Oxum") == 0 ||
        strcasecmp(label, "Bagging-Date") == 0)
        return rg_fail(err, RG_BAD_DATA, "\"%.80s\" cannot be a label of " BAG_INFO, label);
    if (bag->lines >= RG_BAG_INFO_MAX - OWN_LINES)
        return rg_fail(err, RG_BAD_DATA, BAG_INFO ": more than %d labels",
                       RG_BAG_INFO_MAX - OWN_LINES);
    value += strspn(value, " ");
    if (strlen(value) >= RG_BAG_VALUE)
        return rg_fail(err, RG_BAD_DATA, BAG_INFO ": the value of %s has more than %d bytes", label,
                       RG_BAG_VALUE - 1);
    rg_bag_info_line *line = &bag->line[bag->lines];
    rg_copy_text(line->label, sizeof line->label, label);
    rg_bag_printable(line->value, sizeof line->value, value);
    for (size_t n = strlen(line->value); n > 0 && line->value[n - 1] == ' '; n--)
        line->value[n - 1] = 0;
    bag->lines += line->value[0] != 0; /* no value, no line: both read as "" */
    return RG_OK;
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const rg_bag_entry *)a)->path, ((const rg_bag_entry *)b)->path);
}

/* The order of the entries is nobody's business outside, so a const bag may be sorted. */
static void sort_entries(const rg_bag *bag)
{
    if (bag->count > 1)
        qsort(bag->entry, bag->count, sizeof *bag->entry, by_path);
}

rg_digest rg_bag_manifest_digest(const rg_bag *bag)
{
    char line[BAG_LINE];
    rg_hasher hasher;
    sort_entries(bag);
    rg_hasher_begin(&hasher);
    for (size_t i = 0; i < bag->count; i++) {
        size_t n = rg_bag_line(line, bag->entry[i].path, &bag->entry[i].digest);
        rg_hasher_add(&hasher, line, n);
    }
    return rg_hasher_end(&hasher);
}

static rg_code store(const rg_bag *bag, const char *name, const char *text, size_t size,
                     rg_error *err)
{
    char *path = rg_path_join(bag->folder, name);
    rg_code code =
        path ? rg_file_make(path, 0666, text, size, err) : rg_bag_no_memory(bag->folder, err);
    free(path);
    return code;
}

static rg_code write_manifest(const rg_bag *bag, rg_digest *digest, rg_error *err)
{
    char line[BAG_LINE];
    size_t size = 0, n = 0;
    sort_entries(bag);
    for (size_t i = 0; i < bag->count; i++)
        size += rg_bag_line(line, bag->entry[i].path, &bag->entry[i].digest);
    char *text = rg_alloc(size + 1, 1);
    if (!text)
        return rg_bag_no_memory(bag->folder, err);
    for (size_t i = 0; i < bag->count; i++) {
        size_t length = rg_bag_line(line, bag->entry[i].path, &bag->entry[i].digest);
        memcpy(text + n, line, length);
        n += length;
    }
    *digest = rg_digest_of(text, size);
    rg_code code = store(bag, BAG_MANIFEST, text, size, err);
    free(text);
    return code;
}

static rg_code write_info(const rg_bag *bag, const char *bagging_date, rg_digest *digest,
                          rg_error *err)
{
    enum { LINE = RG_BAG_LABEL + RG_BAG_VALUE + 4, ROOM = (RG_BAG_INFO_MAX + OWN_LINES) * LINE };
    char *text = rg_alloc(ROOM, 1);
    if (!text)
        return rg_bag_no_memory(bag->folder, err);
    size_t n = 0;
    for (int i = 0; i < bag->lines; i++)
        n += (size_t)snprintf(text + n, ROOM - n, "%s: %s\n", bag->line[i].label,
                              bag->line[i].value);
    n += (size_t)snprintf(text + n, ROOM - n, "Bagging-Date: %s\nPayload-Oxum: %ju.%zu\n",
                          bagging_date, (uintmax_t)bag->bytes, bag->count);
    *digest = rg_digest_of(text, n);
    rg_code code = store(bag, BAG_INFO, text, n, err);
    free(text);
    return code;
}

static rg_code write_tagmanifest(const rg_bag *bag, const rg_digest *info,
                                 const rg_digest *manifest, rg_digest *digest, rg_error *err)
{
    char text[3 * BAG_LINE];
    rg_digest declaration = rg_digest_of(BAG_DECLARATION_TEXT, strlen(BAG_DECLARATION_TEXT));
    size_t n = rg_bag_line(text, BAG_INFO, info);
    n += rg_bag_line(text + n, BAG_DECLARATION, &declaration);
    n += rg_bag_line(text + n, BAG_MANIFEST, manifest);
    *digest = rg_digest_of(text, n);
    return store(bag, BAG_TAGMANIFEST, text, n, err);
}

rg_code rg_bag_seal(rg_bag *bag, const char *bagging_date, rg_digest *tagmanifest, rg_error *err)
{
    rg_digest info, manifest, digest;
    int day;
    if (bag->stage != FILLING)
        return wrong_stage(bag, err);
    if (!rg_date_parse(bagging_date, &day))
        return rg_fail(err, RG_BAD_DATA, "bagging date \"%.40s\" is not YYYY-MM-DD", bagging_date);
    if (bag->count == 0)
        return rg_fail(err, RG_BAD_DATA,
                       "%s: nothing was added; a bag without files is no evidence", bag->folder);
    rg_code code = write_manifest(bag, &manifest, err);
    if (!code)
        code = write_info(bag, bagging_date, &info, err);
    if (!code)
        code = store(bag, BAG_DECLARATION, BAG_DECLARATION_TEXT, strlen(BAG_DECLARATION_TEXT), err);
    if (!code)
        code = write_tagmanifest(bag, &info, &manifest, &digest, err);
    if (!code)
        code = rg_bag_sync(bag->folder, err);
    if (code)
        return code;
    bag->stage = SEALED;
    if (tagmanifest)
        *tagmanifest = digest;
    return RG_OK;
}

rg_code rg_bag_sign_file(rg_bag *bag, const char *name, const char *text, rg_error *err)
{
    if (bag->stage != SEALED)
        return wrong_stage(bag, err);
    if (!rg_is_safe_name(name))
        return rg_fail(err, RG_BAD_DATA, "\"%.200s\" cannot be the name of a tag file", name);
    rg_code code = store(bag, name, text, strlen(text), err);
    return code ? code : rg_folder_sync(bag->folder, err);
}

/* ---- taking its place ---- */

/* The folder that holds path; owned, NULL without memory. */
static char *parent_of(const char *path)
{
    size_t n = strlen(path);
    while (n > 1 && path[n - 1] == '/')
        n--;
    while (n > 0 && path[n - 1] != '/')
        n--;
    while (n > 1 && path[n - 1] == '/')
        n--;
    return n > 0 ? strndup(path, n) : strdup(".");
}

static rg_code sync_parent(const char *path, rg_error *err)
{
    char *parent = parent_of(path);
    rg_code code = parent ? rg_folder_sync(parent, err) : rg_bag_no_memory(path, err);
    free(parent);
    return code;
}

/* Makes the folders that are missing from the top downwards, each fsynced into its parent. */
static rg_code make_chain(const char *folder, rg_error *err)
{
    struct stat st;
    if (stat(folder, &st) == 0 && S_ISDIR(st.st_mode))
        return RG_OK;
    char *parent = parent_of(folder);
    if (!parent)
        return rg_bag_no_memory(folder, err);
    rg_code code = strcmp(parent, folder) == 0 ? RG_OK : make_chain(parent, err);
    free(parent);
    if (!code)
        code = make_folder(folder, err);
    return code ? code : sync_parent(folder, err);
}

static rg_code not_placed(const rg_bag *bag, const char *place, int reason, rg_error *err)
{
    const char *remedy = reason == EXDEV ? "both must be on one disk"
                         : reason == EEXIST || reason == ENOTEMPTY || reason == ENOTDIR
                             ? "something stands there already; see what it is"
                             : "check that disk or network folder and try again";
    char there[SHOWN], here[SHOWN];
    rg_bag_printable(there, sizeof there, place);
    rg_bag_printable(here, sizeof here, bag->folder);
    return rg_fail(err, RG_CANT_CREATE,
                   "%s: the bag cannot be moved there (%s): %s; it is whole in %s", there,
                   strerror(reason), remedy, here);
}

static bool is_same(const struct stat *a, const char *path)
{
    struct stat b;
    return lstat(path, &b) == 0 && a->st_dev == b.st_dev && a->st_ino == b.st_ino;
}

static rg_code move_there(const rg_bag *bag, const char *place, rg_error *err)
{
    struct stat bag_state, other;
    if (lstat(bag->folder, &bag_state) != 0)
        return not_placed(bag, place, errno, err);
    if (lstat(place, &other) == 0)
        return not_placed(bag, place, EEXIST, err);
    if (rename(bag->folder, place) == 0)
        return RG_OK;
    int reason = errno;
    /* A network file system may answer a repeated request with an error although the first was
     * done. */
    return is_same(&bag_state, place) ? RG_OK : not_placed(bag, place, reason, err);
}

static rg_code place_bag(rg_bag *bag, const char *place, char *copy, rg_error *err)
{
    rg_code code = move_there(bag, place, err);
    if (code) {
        free(copy);
        return code;
    }
    char *staging = bag->folder, there[SHOWN];
    bag->folder = copy;
    bag->stage = PLACED;
    rg_error why = {0};
    code = sync_parent(place, &why);
    if (!code)
        code = sync_parent(staging, &why);
    free(staging);
    rg_bag_printable(there, sizeof there, place);
    return code ? rg_fail(err, RG_IO,
                          "%s: the bag stands there, but may not outlive a power cut (%.200s); "
                          "verify it",
                          there, why.text)
                : RG_OK;
}

rg_code rg_bag_place(rg_bag *bag, const char *place, rg_error *err)
{
    if (bag->stage != SEALED)
        return wrong_stage(bag, err);
    rg_error why = {0};
    char *parent = parent_of(place), *copy = strdup(place), here[SHOWN];
    rg_code code = parent && copy ? make_chain(parent, &why) : rg_bag_no_memory(place, &why);
    free(parent);
    if (!code)
        return place_bag(bag, place, copy, err);
    free(copy);
    rg_bag_printable(here, sizeof here, bag->folder);
    return rg_fail(err, code == RG_INTERNAL ? code : RG_CANT_CREATE,
                   "%.400s; the bag is whole in %s", why.text, here);
}

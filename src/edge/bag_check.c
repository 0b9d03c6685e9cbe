/*
 * bag_check.c - everything of a bag read again and compared with what it was sealed as (bag.h).
 *
 * Who vouches for whom: the tag manifest lists the payload manifest, bagit.txt and bag-info.txt;
 * the payload manifest lists the payload. (What vouches for the tag manifest is outside: the next
 * record of the serial, the index, a signature.) So a payload file that differs from a manifest
 * that itself fits the tag manifest was altered; a manifest that does not fit was written again.
 *
 * A manifest says no more of a file than its digest. Still much can be told from digests alone:
 * - a file whose digest is listed for another file holds that one's content: moved, exchanged, or
 * copied;
 * - rimglow writes manifests in one form (sorted, lower case, two blanks), so the sealed manifest
 * can be made
 *   anew from what is there. When the payload as it is gives the digest that the tag manifest
 *   lists, the payload is the sealed one and the manifest was damaged; when the manifest's own
 *   entries do, only their order or form was changed;
 * - Payload-Oxum is the sum of all sizes: with a single altered file it tells how much longer or
 *   shorter that became.
 */
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bag_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

enum { NAMED = 160 /* bytes of a path inside a fault's text */ };

typedef struct check {
    const char *folder;
    int root;
    rg_bag_state *state;
    rg_error *err;
    rg_bag_tree tree;
    rg_bag_entry *listed, *tags; /* of manifest and tag manifest */
    size_t listed_count, tags_count;
    bool manifest_read, tags_read;
    rg_bag_comparison payload;
    const rg_digest *sealed_manifest; /* as the tag manifest lists it; NULL: unknown */
    bool manifest_intact, info_intact;
    bool payload_sealed; /* payload as it is gives the sealed manifest */
    bool out_of_memory;
    uint64_t oxum_bytes, oxum_files;
    bool oxum_known;
    size_t missing, differing, extra, unread;
} check;

/* ---- faults ---- */

static rg_bag_fault *new_fault(rg_bag_state *state)
{
    if (state->faults >= RG_BAG_FAULTS_MAX) {
        state->faults++;
        return NULL;
    }
    bool full =
        state->faults == 0 || (state->faults >= 16 && (state->faults & (state->faults - 1)) == 0);
    if (full) {
        size_t room = state->faults < 16 ? 16 : 2 * (size_t)state->faults;
        rg_bag_fault *grown = rg_grow(state->fault, room, sizeof *grown);
        if (!grown)
            return NULL;
        state->fault = grown;
    }
    return &state->fault[state->faults++];
}

static void report(check *c, rg_bag_fault_kind kind, const char *path, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void report(check *c, rg_bag_fault_kind kind, const char *path, const char *format, ...)
{
    int before = c->state->faults;
    rg_bag_fault *fault = new_fault(c->state);
    if (!fault) {
        c->out_of_memory |= c->state->faults == before;
        return;
    }
    char text[sizeof fault->text];
    memset(fault, 0, sizeof *fault);
    fault->kind = kind;
    rg_bag_printable(fault->file, sizeof fault->file, path);
    va_list args;
    va_start(args, format);
    int n = vsnprintf(text, sizeof text, format, args);
    va_end(args);
    rg_bag_printable(fault->text, sizeof fault->text, n < 0 ? "" : text);
}

/* ---- tag files ---- */

static bool is_core_tag(const char *path)
{
    return strcmp(path, BAG_DECLARATION) == 0 || strcmp(path, BAG_INFO) == 0 ||
           strcmp(path, BAG_MANIFEST) == 0 || strcmp(path, BAG_TAGMANIFEST) == 0;
}

static int entry_by_path(const void *a, const void *b)
{
    return strcmp(((const rg_bag_entry *)a)->path, ((const rg_bag_entry *)b)->path);
}

static const rg_bag_entry *listed_tag(const check *c, const char *path)
{
    rg_bag_entry key = {.path = (char *)(uintptr_t)path};
    return c->tags_count ? bsearch(&key, c->tags, c->tags_count, sizeof key, entry_by_path) : NULL;
}

/* An error's text without the file's name, which the fault has already. */
static const char *without_name(const char *text, const char *name)
{
    size_t n = strlen(name);
    if (strncmp(text, name, n) != 0)
        return text;
    text += n;
    return text + strspn(text, ":, ");
}

/* Loads a required tag file; what keeps it from being read is a fault of the bag. */
static bool load(check *c, const char *name, rg_bag_text *tag)
{
    rg_error err = {0};
    rg_code code = rg_bag_load(c->root, name, tag, &err);
    if (code == RG_INTERNAL)
        c->out_of_memory = true;
    else if (code)
        report(c, code == RG_NO_INPUT ? RG_BAG_UNREADABLE : RG_BAG_MALFORMED, name, "%s",
               without_name(err.text, name));
    return code == RG_OK;
}

static bool parsed(check *c, const char *name, rg_code code, const rg_error *err)
{
    if (code == RG_INTERNAL)
        c->out_of_memory = true;
    else if (code)
        report(c, RG_BAG_MALFORMED, name, "%s", without_name(err->text, name));
    return code == RG_OK;
}

static void read_declaration(check *c)
{
    rg_bag_text tag;
    rg_error err = {0};
    if (!load(c, BAG_DECLARATION, &tag))
        return;
    parsed(c, BAG_DECLARATION, rg_bag_parse_declaration(BAG_DECLARATION, tag.text, tag.size, &err),
           &err);
    free(tag.text);
}

static void read_info(check *c)
{
    rg_bag_text tag;
    rg_error err = {0};
    rg_bag_tags *tags = &c->state->tags;
    if (!load(c, BAG_INFO, &tag))
        return;
    if (parsed(c, BAG_INFO, rg_bag_parse_info(BAG_INFO, tag.text, tag.size, tags, &err), &err))
        c->oxum_known =
            rg_bag_parse_oxum(rg_bag_tag(tags, "Payload-Oxum"), &c->oxum_bytes, &c->oxum_files);
    free(tag.text);
}

static const rg_bag_entry *wrong_entry(const rg_bag_entry *entry, size_t count, bool payload)
{
    for (size_t i = 0; i < count; i++)
        if (rg_bag_is_payload(entry[i].path) != payload)
            return &entry[i];
    return NULL;
}

static bool read_manifest(check *c, const char *name, bool payload, rg_bag_entry **entry,
                          size_t *count, rg_digest *digest)
{
    rg_bag_text tag;
    rg_error err = {0};
    if (!load(c, name, &tag))
        return false;
    *digest = tag.digest;
    bool good =
        parsed(c, name, rg_bag_parse_manifest(name, tag.text, tag.size, entry, count, &err), &err);
    free(tag.text);
    const rg_bag_entry *wrong = wrong_entry(*entry, *count, payload);
    if (!wrong)
        return good;
    report(c, RG_BAG_MALFORMED, name, "line %td: %s a file of data/", wrong - *entry + 1,
           payload ? "is not" : "is");
    rg_bag_entries_free(*entry, *count);
    *entry = NULL;
    *count = 0;
    return false;
}

static void judge_tag(check *c, const rg_bag_entry *entry)
{
    const rg_bag_item *item = rg_bag_find(&c->tree, entry->path);
    bool core = is_core_tag(entry->path);
    if (strcmp(entry->path, BAG_TAGMANIFEST) == 0) {
        report(c, RG_BAG_MALFORMED, BAG_TAGMANIFEST, "lists itself");
    } else if (!item || item->kind != BAG_FILE) {
        if (!core) /* of those it was said when they were read */
            report(c, item ? RG_BAG_TAG_ALTERED : RG_BAG_MISSING, entry->path,
                   item ? "is no readable file any more"
                        : "the tag manifest lists it, it is not there");
    } else if (!rg_digest_equal(&item->digest, &entry->digest) &&
               strcmp(entry->path, BAG_MANIFEST) != 0) {
        report(c, RG_BAG_TAG_ALTERED, entry->path,
               "is not what " BAG_TAGMANIFEST " lists: one of the two was changed after sealing");
    }
}

static bool tag_fits(const check *c, const char *path)
{
    const rg_bag_entry *entry = listed_tag(c, path);
    const rg_bag_item *item = rg_bag_find(&c->tree, path);
    return entry && item && item->kind == BAG_FILE &&
           rg_digest_equal(&item->digest, &entry->digest);
}

static void judge_tags(check *c)
{
    static const char *const required[] = {BAG_INFO, BAG_DECLARATION, BAG_MANIFEST};
    if (c->tags_count > 1)
        qsort(c->tags, c->tags_count, sizeof *c->tags, entry_by_path);
    c->info_intact = tag_fits(c, BAG_INFO);
    c->manifest_intact = tag_fits(c, BAG_MANIFEST);
    const rg_bag_entry *manifest = listed_tag(c, BAG_MANIFEST);
    c->sealed_manifest = manifest ? &manifest->digest : NULL;
    for (size_t i = 0; i < c->tags_count; i++)
        judge_tag(c, &c->tags[i]);
    for (size_t i = 0; c->tags_read && i < 3; i++)
        if (!listed_tag(c, required[i]))
            report(c, RG_BAG_MALFORMED, BAG_TAGMANIFEST, "does not list %s", required[i]);
}

/* ---- the manifest made anew ---- */

static void hash_line(rg_hasher *hasher, const char *path, const rg_digest *digest)
{
    char line[BAG_LINE];
    size_t n = rg_bag_line(line, path, digest);
    rg_hasher_add(hasher, line, n);
}

static bool entries_give(const check *c, const rg_digest *digest)
{
    rg_digest made;
    rg_hasher hasher;
    rg_hasher_begin(&hasher);
    for (size_t i = 0; i < c->listed_count; i++)
        hash_line(&hasher, c->payload.line[i].entry->path, &c->payload.line[i].entry->digest);
    made = rg_hasher_end(&hasher);
    return rg_digest_equal(&made, digest);
}

static bool files_give(const check *c, const rg_digest *digest)
{
    rg_digest made;
    rg_hasher hasher;
    rg_hasher_begin(&hasher);
    for (size_t i = 0; i < c->tree.count; i++) {
        const rg_bag_item *item = &c->tree.item[i];
        if (!rg_bag_is_payload(item->path) || item->kind == BAG_EMPTY)
            continue;
        if (item->kind != BAG_FILE)
            return false;
        hash_line(&hasher, item->path, &item->digest);
    }
    made = rg_hasher_end(&hasher);
    return rg_digest_equal(&made, digest);
}

/* The first file that the manifest does not list as it is, for a text. */
static void first_misfit(const check *c, char name[NAMED])
{
    name[0] = 0;
    for (size_t i = 0; i < c->listed_count && !name[0]; i++)
        if (!c->payload.line[i].item || c->payload.line[i].differs)
            rg_bag_printable(name, NAMED, c->payload.line[i].entry->path);
    for (size_t i = 0; i < c->tree.count && !name[0]; i++)
        if (rg_bag_is_extra(&c->payload, &c->tree.item[i]))
            rg_bag_printable(name, NAMED, c->tree.item[i].path);
}

static void count_misfits(check *c)
{
    for (size_t i = 0; i < c->listed_count; i++) {
        c->missing += !c->payload.line[i].item;
        c->differing += c->payload.line[i].differs;
        c->unread += c->payload.line[i].item && c->payload.line[i].item->kind != BAG_FILE;
    }
    for (size_t i = 0; i < c->tree.count; i++)
        c->extra += c->manifest_read && rg_bag_is_extra(&c->payload, &c->tree.item[i]);
}

static void judge_rewritten(check *c)
{
    char name[NAMED];
    size_t misfits = c->missing + c->differing + c->unread + c->extra;
    if (entries_give(c, c->sealed_manifest)) {
        report(c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
               "the same entries as when it was sealed, in another order or form");
    } else if (c->payload_sealed) {
        first_misfit(c, name);
        report(c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
               "the payload is as it was sealed, this list of it was changed, first for %s", name);
    } else if (misfits == 0) {
        report(c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
               "is not the one that was sealed, and every file fits it: it was written again after "
               "files were changed, added or removed");
    } else {
        report(
            c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
            "is not the one that was sealed, and %zu of its files or of those there do not fit it "
            "either",
            misfits);
    }
}

/* ---- faults of the payload ---- */

static const char *size_text(const check *c, uint64_t now, char text[80])
{
    bool lone = c->differing == 1 && c->missing + c->extra + c->unread == 0;
    if (!lone || !c->oxum_known || !c->info_intact)
        snprintf(text, 80, "other content, %ju bytes now", (uintmax_t)now);
    else if (c->state->bytes == c->oxum_bytes)
        snprintf(text, 80, "same size (%ju bytes), other content", (uintmax_t)now);
    else if (c->state->bytes < c->oxum_bytes)
        snprintf(text, 80, "%ju bytes shorter, %ju now",
                 (uintmax_t)(c->oxum_bytes - c->state->bytes), (uintmax_t)now);
    else
        snprintf(text, 80, "%ju bytes longer, %ju now",
                 (uintmax_t)(c->state->bytes - c->oxum_bytes), (uintmax_t)now);
    return text;
}

static void judge_differing(check *c, const rg_bag_match *l)
{
    char name[NAMED], size[80];
    const char *path = l->entry->path;
    if (l->ring > 0) {
        rg_bag_printable(name, sizeof name, l->holds->entry->path);
        if (l->ring == 2)
            report(c, RG_BAG_SWAPPED, path, "now holds what %s held, and the other way round",
                   name);
        else
            report(c, RG_BAG_SWAPPED, path,
                   "now holds what %s held; %d files exchanged their contents in a ring", name,
                   l->ring);
        return;
    }
    const rg_bag_match *source =
        l->holds ? l->holds : rg_bag_match_of(&c->payload, &l->item->digest);
    if (source && l->item->size > 0) {
        rg_bag_printable(name, sizeof name, source->entry->path);
        report(c, RG_BAG_ALTERED, path, "now holds %s %s%s",
               source->item && !source->differs ? "a copy of" : "what", name,
               source->item && !source->differs ? "" : " held");
        return;
    }
    report(c, RG_BAG_ALTERED, path, "%s", size_text(c, l->item->size, size));
}

static void judge_missing(check *c, const rg_bag_match *l)
{
    char name[NAMED];
    if (l->moved_to) {
        rg_bag_printable(name, sizeof name, l->moved_to->path);
        report(c, RG_BAG_MOVED, l->entry->path, "its content stands in %s, which is not listed",
               name);
        return;
    }
    /* It may only be out of our sight: in a folder that is closed to us, or beyond the limit of
     * files. */
    int reason = rg_bag_look(c->root, l->entry->path);
    if (reason == 0)
        report(c, RG_BAG_UNREADABLE, l->entry->path, "is there, but was not looked at");
    else if (reason == EACCES || reason == EIO)
        report(c, RG_BAG_UNREADABLE, l->entry->path, "cannot be reached (%s)", strerror(reason));
    else if (l->held_by && l->held_by->item->size > 0) {
        rg_bag_printable(name, sizeof name, l->held_by->entry->path);
        report(c, RG_BAG_MISSING, l->entry->path, "it is not there; %s holds its content now",
               name);
    } else {
        report(c, RG_BAG_MISSING, l->entry->path, "the manifest lists it, it is not there");
    }
}

static const char *kind_text(const rg_bag_item *item)
{
    switch (item->kind) {
    case BAG_LINK:
        return "is a symbolic link, which was not followed";
    case BAG_SPECIAL:
        return "is a pipe, socket or device, which was not opened";
    case BAG_TOO_DEEP:
        return "lies deeper, or has a longer path, than anything in a bag; it was not looked at";
    case BAG_UNREADABLE:
        return strerror(item->reason);
    case BAG_EMPTY:
        return "is an empty folder";
    case BAG_FILE:
        break;
    }
    return "";
}

static void judge_line(check *c, const rg_bag_match *l)
{
    if (!l->item)
        judge_missing(c, l);
    else if (l->differs)
        judge_differing(c, l);
    else if (l->item->kind == BAG_UNREADABLE)
        report(c, RG_BAG_UNREADABLE, l->entry->path, "cannot be read (%s)", kind_text(l->item));
    else if (l->item->kind != BAG_FILE)
        report(c, RG_BAG_ALTERED, l->entry->path, "%s; a file was sealed", kind_text(l->item));
}

static void judge_extra(check *c, const rg_bag_item *item)
{
    char name[NAMED];
    const rg_bag_match *same = item->kind == BAG_FILE && item->size > 0
                                   ? rg_bag_match_of(&c->payload, &item->digest)
                                   : NULL;
    if (item->kind == BAG_UNREADABLE)
        report(c, RG_BAG_UNREADABLE, item->path, "cannot be looked into (%s)", kind_text(item));
    else if (item->kind != BAG_FILE)
        report(c, RG_BAG_EXTRA, item->path, "not listed; %s", kind_text(item));
    else if (same) {
        rg_bag_printable(name, sizeof name, same->entry->path);
        report(c, RG_BAG_EXTRA, item->path, "not listed; holds the same as %s is listed with",
               name);
    } else {
        report(c, RG_BAG_EXTRA, item->path, "not listed; %ju bytes", (uintmax_t)item->size);
    }
}

static bool is_signature(const rg_bag_item *item)
{
    return item->kind == BAG_FILE && strcmp(item->path, RG_BAG_SIGNATURE) == 0;
}

/* A folder that is empty because its listed files are missing was sealed, if not empty. */
static void judge_empty(check *c, const rg_bag_item *item)
{
    if (!rg_bag_is_parent(&c->payload, item->path))
        report(c, RG_BAG_EXTRA, item->path, "not listed; %s", kind_text(item));
}

static void judge_extras(check *c)
{
    for (size_t i = 0; i < c->tree.count; i++) {
        const rg_bag_item *item = &c->tree.item[i];
        if (item->kind == BAG_EMPTY) {
            judge_empty(c, item);
        } else if (rg_bag_is_payload(item->path)) {
            if (c->manifest_read && !c->payload_sealed &&
                !rg_bag_is_listed(&c->payload, item->path) && !item->moved)
                judge_extra(c, item);
        } else if (!is_core_tag(item->path) && !is_signature(item) && !listed_tag(c, item->path)) {
            judge_extra(c, item);
        }
    }
}

static void judge_oxum(check *c)
{
    bool wrong = c->oxum_bytes != c->state->bytes || c->oxum_files != c->state->files;
    bool explained = c->missing + c->extra + c->differing + c->unread > 0 && !c->payload_sealed;
    if (c->oxum_known && wrong && !explained)
        report(c, RG_BAG_OXUM, BAG_INFO,
               "Payload-Oxum says %ju bytes in %ju files, there are %ju in %zu",
               (uintmax_t)c->oxum_bytes, (uintmax_t)c->oxum_files, (uintmax_t)c->state->bytes,
               c->state->files);
}

static void judge_payload(check *c)
{
    if (!c->tree.payload_folder)
        report(c, RG_BAG_MALFORMED, BAG_PAYLOAD, "the payload's folder is missing");
    if (c->tree.cut)
        report(c, RG_BAG_MALFORMED, BAG_PAYLOAD,
               "more than %d files; the others were not looked at", (int)RG_BAG_FILES_MAX);
    count_misfits(c);
    if (c->sealed_manifest)
        c->payload_sealed = !c->manifest_intact && files_give(c, c->sealed_manifest);
    if (c->manifest_read && c->sealed_manifest && !c->manifest_intact)
        judge_rewritten(c);
    else if (c->payload_sealed)
        report(c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
               "was damaged; the payload itself is as it was sealed");
    else if (c->sealed_manifest && !c->manifest_intact)
        report(c, RG_BAG_MANIFEST_REWRITTEN, BAG_MANIFEST,
               "was damaged, and the payload is not as it was sealed; which file differs cannot be "
               "known");
    for (size_t i = 0; !c->payload_sealed && i < c->listed_count; i++)
        judge_line(c, &c->payload.line[i]);
    judge_extras(c);
    judge_oxum(c);
}

/* ---- the whole bag ---- */

static void hash_all(check *c, rg_bag_progress *progress, void *context)
{
    for (size_t i = 0; i < c->tree.count; i++) {
        rg_bag_item *item = &c->tree.item[i];
        if (item->kind == BAG_FILE)
            rg_bag_hash(c->root, item);
        if (item->kind == BAG_FILE && rg_bag_is_payload(item->path)) {
            c->state->files++;
            c->state->bytes += item->size;
        }
        c->state->signed_file |=
            item->kind == BAG_FILE && strcmp(item->path, RG_BAG_SIGNATURE) == 0;
        if (progress)
            progress(context, i + 1, c->tree.count);
    }
}

static void read_all_tags(check *c)
{
    rg_digest manifest = {0}, tagmanifest = {0};
    read_declaration(c);
    read_info(c);
    c->tags_read = read_manifest(c, BAG_TAGMANIFEST, false, &c->tags, &c->tags_count, &tagmanifest);
    c->manifest_read =
        read_manifest(c, BAG_MANIFEST, true, &c->listed, &c->listed_count, &manifest);
    c->state->tags.manifest = manifest;
    c->state->tags.tagmanifest = tagmanifest;
}

static rg_code check_open(check *c, rg_bag_progress *progress, void *context)
{
    rg_code code = rg_bag_list(c->root, c->folder, &c->tree, c->err);
    if (code)
        return code;
    hash_all(c, progress, context);
    read_all_tags(c);
    judge_tags(c);
    if (!rg_bag_compare(&c->tree, c->listed, c->listed_count, &c->payload))
        return rg_bag_no_memory(c->folder, c->err);
    judge_payload(c);
    return c->out_of_memory ? rg_bag_no_memory(c->folder, c->err) : RG_OK;
}

rg_code rg_bag_check(const char *folder, rg_bag_progress *progress, void *context,
                     rg_bag_state *state, rg_error *err)
{
    memset(state, 0, sizeof *state);
    check c = {.folder = folder, .state = state, .err = err};
    c.root = rg_open(AT_FDCWD, folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC, 0);
    if (c.root < 0)
        return rg_fail(err, RG_NO_INPUT,
                       "%s: the bag cannot be opened (%s); check its name and that you may read it",
                       folder, strerror(errno));
    rg_code code = check_open(&c, progress, context);
    close(c.root);
    rg_bag_tree_free(&c.tree);
    rg_bag_entries_free(c.listed, c.listed_count);
    rg_bag_entries_free(c.tags, c.tags_count);
    rg_bag_comparison_free(&c.payload);
    if (code)
        rg_bag_state_free(state);
    return code;
}

void rg_bag_state_free(rg_bag_state *state)
{
    if (!state)
        return;
    free(state->fault);
    memset(state, 0, sizeof *state);
}

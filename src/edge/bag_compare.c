/*
 * bag_compare.c - the payload manifest of a bag against the files that are there (bag_check.c).
 *
 * All by sorting and merging, so the effort grows as n log n whatever a hostile bag holds.
 */
#include <stdlib.h>
#include <string.h>

#include "bag_private.h"
#include "rimglow/memory.h"

/* ---- lines of the payload manifest against the files ---- */

static int by_path(const void *a, const void *b)
{
    return strcmp(((const rg_bag_match *)a)->entry->path, ((const rg_bag_match *)b)->entry->path);
}

static int by_listed(const void *a, const void *b)
{
    const rg_bag_match *const *x = a, *const *y = b;
    int order = memcmp((*x)->entry->digest.byte, (*y)->entry->digest.byte, RG_DIGEST_SIZE);
    return order ? order : strcmp((*x)->entry->path, (*y)->entry->path);
}

static int by_found(const void *a, const void *b)
{
    const rg_bag_match *const *x = a, *const *y = b;
    int order = memcmp((*x)->item->digest.byte, (*y)->item->digest.byte, RG_DIGEST_SIZE);
    return order ? order : strcmp((*x)->entry->path, (*y)->entry->path);
}

static int item_by_digest(const void *a, const void *b)
{
    const rg_bag_item *const *x = a, *const *y = b;
    int order = memcmp((*x)->digest.byte, (*y)->digest.byte, RG_DIGEST_SIZE);
    return order ? order : strcmp((*x)->path, (*y)->path);
}

static bool join_lines(rg_bag_comparison *c, const rg_bag_entry *listed)
{
    size_t n = c->count;
    c->line = rg_alloc(n, sizeof *c->line);
    c->by_digest = rg_alloc(n, sizeof *c->by_digest);
    if (!c->line || !c->by_digest)
        return false;
    for (size_t i = 0; i < n; i++)
        c->line[i].entry = &listed[i];
    qsort(c->line, n, sizeof *c->line, by_path);
    for (size_t i = 0; i < n; i++) {
        rg_bag_match *l = &c->line[i];
        l->item = rg_bag_find(c->tree, l->entry->path);
        l->differs = l->item && l->item->kind == BAG_FILE &&
                     !rg_digest_equal(&l->item->digest, &l->entry->digest);
        c->by_digest[i] = l;
    }
    qsort(c->by_digest, n, sizeof *c->by_digest, by_listed);
    return true;
}

bool rg_bag_is_listed(const rg_bag_comparison *c, const char *path)
{
    rg_bag_entry entry = {.path = (char *)(uintptr_t)path};
    rg_bag_match key = {.entry = &entry};
    return c->count > 0 && bsearch(&key, c->line, c->count, sizeof key, by_path) != NULL;
}

const rg_bag_match *rg_bag_match_of(const rg_bag_comparison *c, const rg_digest *digest)
{
    size_t low = 0, high = c->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        if (memcmp(c->by_digest[middle]->entry->digest.byte, digest->byte, RG_DIGEST_SIZE) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    if (low < c->count && rg_digest_equal(&c->by_digest[low]->entry->digest, digest))
        return c->by_digest[low];
    return NULL;
}

/* ---- exchanged files ---- */

/* Pairs each differing line with one differing or missing line whose content it holds now. Both
 * lists are sorted by digest; nobody is taken twice, so following the pairs gives chains and
 * rings. */
static void pair_contents(rg_bag_match **listed, size_t n, rg_bag_match **found, size_t m)
{
    for (size_t i = 0, j = 0; i < n && j < m;) {
        int order =
            memcmp(listed[i]->entry->digest.byte, found[j]->item->digest.byte, RG_DIGEST_SIZE);
        if (order == 0) {
            found[j]->holds = listed[i];
            listed[i]->held_by = found[j];
        }
        i += order <= 0;
        j += order >= 0;
    }
}

static void mark_ring(rg_bag_match *start)
{
    int length = 0;
    rg_bag_match *p = start;
    do {
        p->visited = true;
        p = p->holds;
        length++;
    } while (p && !p->visited);
    if (p != start)
        return;
    do {
        p->ring = length;
        p = p->holds;
    } while (p != start);
}

static bool find_rings(rg_bag_comparison *c)
{
    size_t n = 0, m = 0;
    rg_bag_match **listed = rg_alloc(c->count, sizeof *listed);
    rg_bag_match **found = rg_alloc(c->count, sizeof *found);
    for (size_t i = 0; listed && found && i < c->count; i++) {
        rg_bag_match *l = &c->line[i];
        if (l->differs || !l->item)
            listed[n++] = l;
        if (l->differs)
            found[m++] = l;
    }
    if (m > 0) {
        qsort(listed, n, sizeof *listed, by_listed);
        qsort(found, m, sizeof *found, by_found);
        pair_contents(listed, n, found, m);
        for (size_t i = 0; i < m; i++)
            if (!found[i]->visited)
                mark_ring(found[i]);
    }
    bool good = listed && found;
    free(listed);
    free(found);
    return good;
}

/* ---- moved files ---- */

bool rg_bag_is_parent(const rg_bag_comparison *c, const char *folder)
{
    size_t n = strlen(folder), low = 0, high = c->count;
    while (low < high) {
        size_t middle = low + (high - low) / 2;
        const char *path = c->line[middle].entry->path;
        int order = strncmp(path, folder, n);
        if (order == 0)
            order = (unsigned char)path[n] - '/';
        if (order == 0)
            return true;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return false;
}

bool rg_bag_is_extra(const rg_bag_comparison *c, const rg_bag_item *item)
{
    return item->kind != BAG_EMPTY && rg_bag_is_payload(item->path) &&
           !rg_bag_is_listed(c, item->path);
}

static bool find_moved(rg_bag_comparison *c)
{
    rg_bag_item **extra = rg_alloc(c->tree->count, sizeof *extra);
    size_t n = 0;
    if (!extra)
        return false;
    for (size_t i = 0; i < c->tree->count; i++)
        if (c->tree->item[i].kind == BAG_FILE && rg_bag_is_extra(c, &c->tree->item[i]))
            extra[n++] = &c->tree->item[i];
    qsort(extra, n, sizeof *extra, item_by_digest);
    for (size_t i = 0, j = 0; i < c->count && j < n;) {
        rg_bag_match *l = c->by_digest[i];
        int order = memcmp(l->entry->digest.byte, extra[j]->digest.byte, RG_DIGEST_SIZE);
        bool match = order == 0 && !l->item;
        if (match) {
            l->moved_to = extra[j];
            extra[j]->moved = true;
        }
        i += order <= 0;
        j += order > 0 || match;
    }
    free(extra);
    return true;
}

bool rg_bag_compare(rg_bag_tree *tree, const rg_bag_entry *listed, size_t count,
                    rg_bag_comparison *c)
{
    *c = (rg_bag_comparison){.tree = tree, .count = count};
    return join_lines(c, listed) && find_rings(c) && find_moved(c);
}

void rg_bag_comparison_free(rg_bag_comparison *c)
{
    free(c->line);
    free(c->by_digest);
    *c = (rg_bag_comparison){0};
}

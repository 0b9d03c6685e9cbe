/*
 * pairs_bag.c - reading a bag only as it was sealed (pairs.h).
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pairs_private.h"
#include "rimglow/file.h"
#include "rimglow/text.h"

#define MANIFEST "manifest-sha256.txt"

static const struct rg_pairs_checked *known(const rg_pairs *pairs, const char *bag)
{
    for (int i = 0; i < RG_PAIRS_CHECKED; i++)
        if (strcmp(pairs->checked[i].bag, bag) == 0)
            return &pairs->checked[i];
    return NULL;
}

static void remember(rg_pairs *pairs, const char *bag, const rg_digest *manifest)
{
    struct rg_pairs_checked *c = &pairs->checked[pairs->checked_next];
    pairs->checked_next = (pairs->checked_next + 1) % RG_PAIRS_CHECKED;
    rg_copy_text(c->bag, sizeof c->bag, bag);
    c->manifest = *manifest;
}

/* A bag that was sealed anew has no fault in itself; the index knows the old manifest. */
static rg_code fits_index(const rg_archive *archive, const char *bag, const rg_digest *manifest,
                          rg_error *err)
{
    rg_catalogue_inspection row;
    rg_digest recorded;
    rg_code code = rg_catalogue_get(archive->catalogue, bag, &row, err);
    if (code != RG_OK)
        return code;
    if (!rg_digest_parse(row.manifest, &recorded) || !rg_digest_equal(&recorded, manifest))
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: its manifest is not the one that the index recorded; rimglow archive "
                       "verify tells more",
                       bag);
    rg_catalogue_inspection_free(&row);
    return code;
}

static rg_code check(rg_pairs *pairs, const rg_archive *archive, const char *bag, rg_error *err)
{
    char folder[RG_ARCHIVE_PATH];
    rg_bag_state state;
    rg_code code = rg_archive_path(archive, bag, "", folder, err);
    if (code == RG_OK)
        code = rg_bag_check(folder, NULL, NULL, &state, err);
    if (code != RG_OK)
        return code == RG_INTERNAL ? code : rg_fail(err, RG_BAD_DATA, "%s: cannot be read", bag);
    if (state.faults)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: does not check (%s: %.100s); rimglow archive verify tells more", bag,
                       rg_bag_fault_name(state.fault[0].kind), state.fault[0].file);
    else
        code = fits_index(archive, bag, &state.tags.manifest, err);
    if (code == RG_OK)
        remember(pairs, bag, &state.tags.manifest);
    rg_bag_state_free(&state);
    return code;
}

static rg_code load_manifest(rg_sealed_bag *s, const rg_digest *expected, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size = 0;
    rg_code code = rg_archive_path(s->archive, s->bag, MANIFEST, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_BAG_TAG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK) {
        rg_digest digest = rg_digest_of(text, size);
        if (!rg_digest_equal(&digest, expected))
            code = rg_fail(err, RG_BAD_DATA, "%s: was changed while it was read", path);
    }
    if (code == RG_OK)
        code = rg_bag_parse_manifest(path, (const char *)text, size, &s->entry, &s->entries, err);
    free(text);
    return code;
}

rg_code rg_sealed_open(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                       rg_sealed_bag *sealed, rg_error *err)
{
    *sealed = (rg_sealed_bag){.archive = archive};
    if (!rg_copy_text(sealed->bag, sizeof sealed->bag, bag))
        return rg_fail(err, RG_BAD_DATA, "%.80s...: the bag's name is too long", bag);
    rg_code code = known(pairs, bag) ? RG_OK : check(pairs, archive, bag, err);
    if (code == RG_OK)
        code = load_manifest(sealed, &known(pairs, bag)->manifest, err);
    if (code != RG_OK) {
        rg_sealed_close(sealed);
        /* A file that is gone is damage too. */
        code = code == RG_INTERNAL ? code : RG_BAD_DATA;
        if (err)
            err->code = code;
    }
    return code;
}

void rg_sealed_close(rg_sealed_bag *sealed)
{
    rg_bag_entries_free(sealed->entry, sealed->entries);
    *sealed = (rg_sealed_bag){0};
}

rg_code rg_sealed_fits(const rg_sealed_bag *sealed, const char *inside, const rg_digest *digest,
                       rg_error *err)
{
    for (size_t i = 0; i < sealed->entries; i++)
        if (strcmp(sealed->entry[i].path, inside) == 0 &&
            rg_digest_equal(&sealed->entry[i].digest, digest))
            return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "%s/%s: is not what the manifest lists; rimglow archive verify tells more",
                   sealed->bag, inside);
}

rg_code rg_sealed_read(const rg_sealed_bag *sealed, const char *inside, size_t limit,
                       uint8_t **bytes, size_t *size, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    *bytes = NULL;
    rg_code code = rg_archive_path(sealed->archive, sealed->bag, inside, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, limit, bytes, size, err);
    if (code == RG_OK) {
        rg_digest digest = rg_digest_of(*bytes, *size);
        code = rg_sealed_fits(sealed, inside, &digest, err);
    } else if (code != RG_INTERNAL) {
        code = rg_fail(err, RG_BAD_DATA, "%s/%s: cannot be read", sealed->bag, inside);
    }
    if (code != RG_OK) {
        free(*bytes);
        *bytes = NULL;
    }
    return code;
}

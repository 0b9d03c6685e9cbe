/*
 * archive_verify.c - does the archive still hold what was put into it?
 *
 * A bag answers for its files by its manifest. For the manifest answer others: its own tag manifest, the
 * bag that came after it (which recorded both digests), the row of the index, and the signature. A file that
 * differs from an intact manifest was damaged or edited; a manifest that differs from what others
 * recorded was written anew. What nobody else recorded, nobody can tell: the newest bag of a serial is
 * held only by the index and by its signature.
 */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "archive_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/setup_load.h"
#include "rimglow/text.h"

/* One bag of the chain that is being checked. */
typedef struct chained {
    char bag[RG_ARCHIVE_BAG];
    int sequence; /* by its folder's name; 0: no name of ours */
    bool readable, indexed, row_differs;
    bool rewritten; /* somebody else recorded another manifest */
    rg_bag_state state;
    rg_record record;
} chained;

typedef struct checking {
    const rg_archive *archive;
    const rg_verify_options *options;
    const rg_progress *progress;
    rg_verify_result *result;
    rg_public_key own[RG_ARCHIVE_KEYS_MAX];
    const rg_public_key *trusted;
    int trusted_count;
    int done, total;  /* bags */
    rg_names waiting; /* newest bags of their serials that have no row in the index */
} checking;

const char *rg_archive_fault_name(const rg_archive_fault *fault)
{
    static const char *const name[] = {[RG_FAULT_FILE] = "",
                                       [RG_FAULT_REWRITTEN] = "manifest rewritten",
                                       [RG_FAULT_CHAIN] = "chain broken",
                                       [RG_FAULT_GONE] = "bag missing",
                                       [RG_FAULT_MISPLACED] = "bag misplaced",
                                       [RG_FAULT_SIGNATURE] = "signature",
                                       [RG_FAULT_RECORD] = "record",
                                       [RG_FAULT_INDEX] = "index",
                                       [RG_FAULT_MEASURED] = "measured again",
                                       [RG_FAULT_STRANGE] = "not of the archive"};
    return fault->kind == RG_FAULT_FILE ? rg_bag_fault_name(fault->file_kind) : name[fault->kind];
}

/* ---------------------------------------------------------------- findings */

/* The place for one more finding; NULL when there are enough, or no memory: it still counts. */
static rg_archive_fault *place_for(checking *c, bool remark)
{
    rg_verify_result *r = c->result;
    r->faults += !remark;
    r->remarks += remark;
    if (r->findings >= RG_ARCHIVE_FINDINGS_MAX)
        return NULL;
    if ((r->findings & (r->findings - 1)) == 0) {
        size_t room = r->findings ? (size_t)r->findings * 2 : 8;
        rg_archive_fault *grown =
            r->findings && r->findings < 8 ? r->finding : rg_grow(r->finding, room, sizeof *grown);
        if (!grown)
            return NULL;
        r->finding = grown;
    }
    return &r->finding[r->findings++];
}

static void note(checking *c, rg_archive_fault_kind kind, bool remark, const char *bag,
                 const char *file, const char *format, ...) __attribute__((format(printf, 6, 7)));
static void note(checking *c, rg_archive_fault_kind kind, bool remark, const char *bag,
                 const char *file, const char *format, ...)
{
    rg_archive_fault *f = place_for(c, remark);
    va_list args;
    if (!f)
        return;
    *f = (rg_archive_fault){.kind = kind, .remark = remark};
    rg_copy_text(f->bag, sizeof f->bag, bag);
    rg_copy_text(f->file, sizeof f->file, file);
    va_start(args, format);
    vsnprintf(f->text, sizeof f->text, format, args);
    va_end(args);
    for (char *p = f->text; *p; p++)
        if ((unsigned char)*p < 32 || *p == 127)
            *p = '?';
}

static void note_file(checking *c, const char *bag, const rg_bag_fault *fault)
{
    rg_archive_fault *f = place_for(c, false);
    if (!f)
        return;
    *f = (rg_archive_fault){.kind = RG_FAULT_FILE, .file_kind = fault->kind};
    rg_copy_text(f->bag, sizeof f->bag, bag);
    rg_copy_text(f->file, sizeof f->file, fault->file);
    rg_copy_text(f->text, sizeof f->text, fault->text);
}

/* ---------------------------------------------------------------- one bag */

static void check_signature(checking *c, const chained *l, char signature[64])
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size = 0;
    rg_public_key key;
    rg_error err = {0};
    snprintf(signature, 64, "unsigned");
    if (!l->state.signed_file)
        return;
    if (rg_archive_path(c->archive, l->bag, RG_BAG_SIGNATURE, path, &err) != RG_OK ||
        rg_file_read(path, 65536, &text, &size, &err) != RG_OK) {
        snprintf(signature, 64, "unreadable");
        note(c, RG_FAULT_SIGNATURE, false, l->bag, RG_BAG_SIGNATURE, "%s", err.text);
        return;
    }
    rg_signature_state state = rg_verify_bag((const char *)text, size, &l->state.tags.tagmanifest,
                                             c->trusted, c->trusted_count, &key);
    snprintf(signature, 64, "%s%s%s", rg_signature_state_name(state), key.id[0] ? ", key " : "",
             key.id);
    free(text);
    if (state == RG_SIGNATURE_OTHER)
        note(c, RG_FAULT_SIGNATURE, false, l->bag, RG_BAG_SIGNATURE,
             "the signature by key %s is of another tag manifest: the manifests were rewritten "
             "after "
             "the bag was signed, or the signature is another bag's",
             key.id);
    else if (state == RG_SIGNATURE_WRONG)
        note(c, RG_FAULT_SIGNATURE, false, l->bag, RG_BAG_SIGNATURE,
             "the signature is not valid: it or its file was altered");
    else if (state == RG_SIGNATURE_UNKNOWN)
        note(c, RG_FAULT_SIGNATURE, false, l->bag, RG_BAG_SIGNATURE,
             "the signature is valid, but its key %s is none of the trusted ones; give the shop's "
             "public key with --public",
             key.id);
}

static bool tag_says(const chained *l, const char *label, const char *value)
{
    return strcmp(rg_bag_tag(&l->state.tags, label), value) == 0;
}

/* The record against the bag's own place, its bag-info.txt and its seal maps. */
static void check_record(checking *c, chained *l)
{
    const rg_record *r = &l->record;
    const char *name = strrchr(l->bag, '/') + 1;
    char serial[RG_ARCHIVE_BAG];
    rg_copy_text(serial, sizeof serial, l->bag);
    *strrchr(serial, '/') = 0;
    if (strcmp(r->serial, serial) != 0 || strcmp(r->bag, name) != 0)
        note(c, RG_FAULT_MISPLACED, false, l->bag, "",
             "this bag was archived as %s/%s: it was copied or renamed", r->serial, r->bag);
    if (!tag_says(l, "External-Identifier", r->serial) ||
        !tag_says(l, "Inspection-Verdict", rg_verdict_name(r->verdict)))
        note(c, RG_FAULT_RECORD, false, l->bag, "bag-info.txt",
             "serial or verdict are not those of data/inspection.json");
    for (int i = 0; i < r->sweeps; i++) {
        rg_map_file *map = rg_alloc(1, sizeof *map);
        rg_error err = {0};
        char file[RG_RECORD_NAME + 64];
        snprintf(file, sizeof file, "data/results/%s/seal-map.json", r->sweep[i].name);
        rg_code code = map ? rg_archive_map(c->archive, l->bag, r->sweep[i].name, map, NULL, &err)
                           : rg_fail(&err, RG_INTERNAL, "no memory");
        if (code != RG_OK)
            note(c, RG_FAULT_RECORD, false, l->bag, file, "%s", err.text);
        else if (map->map.verdict != r->sweep[i].verdict || strcmp(map->pad, r->sweep[i].pad) != 0)
            note(c, RG_FAULT_RECORD, false, l->bag, file,
                 "says pad %s %s; data/inspection.json says pad %s %s", map->pad,
                 rg_verdict_name(map->map.verdict), r->sweep[i].pad,
                 rg_verdict_name(r->sweep[i].verdict));
        free(map);
    }
}

/* A set-up sheet must follow from what the bag itself holds; it is asked where the files are whole. */
static rg_code check_sheet(checking *c, const chained *l, rg_error *err)
{
    char why[RG_SETUP_WHY];
    bool other_version;
    if (l->state.faults > 0)
        return RG_OK;
    rg_code code = rg_setup_recheck(c->archive, l->bag, why, &other_version, err);
    if (code == RG_OK && why[0])
        note(c, RG_FAULT_RECORD, other_version, l->bag, RG_SETUP_JSON, "%s%s", why,
             other_version ? " (another version of rimglow wrote it)" : "");
    return code;
}

/* The row may have come since the index was read, so it is asked for now. */
static void check_row(checking *c, chained *l)
{
    rg_catalogue_inspection row, own;
    rg_error err = {0};
    char what[160];
    if (!c->archive->catalogue)
        return;
    rg_code code = rg_catalogue_get(c->archive->catalogue, l->bag, &row, &err);
    l->indexed = code == RG_OK;
    if (code != RG_OK && code != RG_NO_INPUT)
        note(c, RG_FAULT_INDEX, false, l->bag, "", "%s", err.text);
    if (code != RG_OK)
        return;
    if (l->readable && rg_archive_row(c->archive, l->bag, &own, &err) == RG_OK) {
        char digest[RG_DIGEST_TEXT];
        rg_digest_format(&l->state.tags.manifest, digest);
        l->row_differs = !rg_rows_agree(&row, &own, what);
        if (strcmp(row.manifest, digest) != 0) {
            l->rewritten = true;
            note(c, RG_FAULT_REWRITTEN, false, l->bag, "manifest-sha256.txt",
                 "the index recorded another manifest (SHA-256 %s): the manifest was written again "
                 "after the bag was archived, or the row was edited",
                 row.manifest);
        } else if (l->row_differs) {
            note(
                c, RG_FAULT_INDEX, false, l->bag, "",
                "the index says something else than the bag (%s); rimglow archive reindex makes it "
                "again",
                what);
        }
        rg_catalogue_inspection_free(&own);
    }
    rg_catalogue_inspection_free(&row);
}

static rg_code check_bag(checking *c, chained *l, rg_error *err)
{
    char path[RG_ARCHIVE_PATH], signature[64];
    rg_error why = {0};
    rg_code code = rg_archive_path(c->archive, l->bag, "", path, err);
    if (code == RG_OK)
        code = rg_bag_check(path, NULL, NULL, &l->state, err);
    if (code != RG_OK)
        return code;
    int before = c->result->faults, kept = l->state.faults;
    if (kept > RG_BAG_FAULTS_MAX)
        kept = RG_BAG_FAULTS_MAX;
    for (int i = 0; i < kept; i++)
        note_file(c, l->bag, &l->state.fault[i]);
    c->result->faults += l->state.faults - kept;
    l->readable = rg_archive_record(c->archive, l->bag, &l->record, &why) == RG_OK;
    if (l->readable)
        check_record(c, l);
    else if (l->state.faults == 0)
        note(c, RG_FAULT_RECORD, false, l->bag, "data/inspection.json", "%s", why.text);
    code = l->readable ? check_sheet(c, l, err) : RG_OK;
    if (code != RG_OK)
        return code;
    check_signature(c, l, signature);
    check_row(c, l);
    rg_verified_bag *v = &c->result->bag[c->result->bags++];
    *v = (rg_verified_bag){.files = l->state.files,
                           .bytes = l->state.bytes,
                           .manifest = l->state.tags.manifest,
                           .tagmanifest = l->state.tags.tagmanifest,
                           .faults = c->result->faults - before};
    rg_copy_text(v->bag, sizeof v->bag, l->bag);
    rg_copy_text(v->signature, sizeof v->signature, signature);
    return RG_OK;
}

/* ---------------------------------------------------------------- chain */

static void check_first(checking *c, const chained *l)
{
    if (l->readable && l->record.sequence > 1)
        note(c, RG_FAULT_GONE, false, l->bag, "",
             "the inspection before it, %s/%s, is not in the archive", l->record.serial,
             l->record.previous_bag);
}

/* The link of b to a, its neighbour before it. */
static void check_link(checking *c, chained *a, chained *b)
{
    const rg_record *r = &b->record;
    if (!b->readable)
        return;
    const char *name = strrchr(a->bag, '/') + 1;
    bool manifest = rg_digest_equal(&r->previous_manifest, &a->state.tags.manifest);
    bool tags = rg_digest_equal(&r->previous_tagmanifest, &a->state.tags.tagmanifest);
    if (r->sequence == b->sequence && b->sequence > a->sequence + 1)
        note(c, RG_FAULT_GONE, false, b->bag, "",
             "the inspection before it, %s/%s, is not in the archive: after %s comes a gap",
             r->serial, r->previous_bag, a->bag);
    else if (strcmp(r->previous_bag, name) != 0)
        note(c, RG_FAULT_CHAIN, false, b->bag, "data/inspection.json",
             "names %s as the bag before it, where %s stands",
             r->previous_bag[0] ? r->previous_bag : "none", name);
    else if (!manifest || !tags) {
        note(c, RG_FAULT_CHAIN, false, b->bag, "data/inspection.json",
             "the %s of %s is not the one that this bag recorded",
             manifest ? "tag manifest" : "manifest", a->bag);
        /* Who of the two was changed? A bag with a witness of its own is believed. */
        bool b_holds = b->indexed && !b->rewritten && b->state.faults == 0;
        bool a_holds = a->indexed && !a->rewritten && a->state.faults == 0;
        if (a_holds && !b_holds)
            note(c, RG_FAULT_REWRITTEN, false, b->bag, "manifest-sha256.txt",
                 "%s is as the index recorded it, so the link of this bag was changed", a->bag);
        else if (!a->rewritten)
            note(c, RG_FAULT_REWRITTEN, false, a->bag,
                 manifest ? "tagmanifest-sha256.txt" : "manifest-sha256.txt",
                 "%s recorded another one when it was archived: this bag was written again after "
                 "that",
                 b->bag);
    }
    if (b->record.time < a->record.time && a->readable)
        note(c, RG_FAULT_CHAIN, true, b->bag, "",
             "its time is before that of %s: the clock was wrong at one of the two", a->bag);
}

static void check_signed(checking *c, const chained *chain, int count)
{
    int first = 0;
    while (first < count && !chain[first].state.signed_file)
        first++;
    for (int i = first + 1; i < count; i++)
        if (!chain[i].state.signed_file)
            note(c, RG_FAULT_SIGNATURE, false, chain[i].bag, "",
                 "is not signed, though %s before it is: the signature was taken away, or the bag "
                 "was added without the shop's key",
                 chain[first].bag);
    /* Who brings a key expects signatures; bags from before the shop had one are no fault. */
    for (int i = 0; c->options->trusted && i < first; i++)
        note(c, RG_FAULT_SIGNATURE, true, chain[i].bag, "",
             "is not signed: the key says nothing about it");
}

/* Only the newest bag of a serial may be without a row; about those see check_waiting. */
static rg_code check_indexed(checking *c, const chained *chain, int count, rg_error *err)
{
    for (int i = 0; i < count; i++) {
        if (chain[i].indexed || !c->archive->catalogue || !chain[i].sequence)
            continue;
        rg_code code = i == count - 1 ? rg_names_add(&c->waiting, "", chain[i].bag, err) : RG_OK;
        if (code != RG_OK)
            return code;
        if (i < count - 1)
            note(c, RG_FAULT_INDEX, false, chain[i].bag, "",
                 "has no row in the index, though a later bag exists: the index is an old or "
                 "another one, or the bag was put there by hand; if it belongs there, run "
                 "rimglow archive reindex");
    }
    return RG_OK;
}

static bool has_row(const checking *c, const char *bag)
{
    rg_catalogue_inspection row = {0};
    rg_error err;
    bool there = rg_catalogue_get(c->archive->catalogue, bag, &row, &err) == RG_OK;
    rg_catalogue_inspection_free(&row);
    return there;
}

/* A process that dies between bag and row leaves one bag without a row, in the whole archive, since
 * the next writer makes that row before anything else. Two show that the index is another one.
 * Others may have written meanwhile, so the index is asked once more, after all bags were listed. */
static void check_waiting(checking *c)
{
    int waiting = 0;
    for (int i = 0; i < c->waiting.count; i++) {
        if (has_row(c, c->waiting.name[i]))
            c->waiting.name[i][0] = 0;
        waiting += c->waiting.name[i][0] != 0;
    }
    for (int i = 0; i < c->waiting.count; i++) {
        if (!c->waiting.name[i][0])
            continue;
        if (waiting == 1)
            note(c, RG_FAULT_INDEX, true, c->waiting.name[i], "",
                 "has no row in the index yet (a run was cut off); the next add or reindex makes "
                 "it");
        else
            note(c, RG_FAULT_INDEX, false, c->waiting.name[i], "",
                 "has no row in the index, as %d other bags, which a run that was cut off cannot "
                 "leave: the index is an old or another one; rimglow archive reindex makes it "
                 "again",
                 waiting - 1);
    }
}

static rg_code check_chain(checking *c, chained *chain, int count, rg_error *err)
{
    if (count > 0)
        check_first(c, &chain[0]);
    for (int i = 1; i < count; i++)
        check_link(c, &chain[i - 1], &chain[i]);
    check_signed(c, chain, count);
    return check_indexed(c, chain, count, err);
}

/* ---------------------------------------------------------------- measured again */

static double largest_difference(const rg_seal_map *a, const rg_seal_map *b, int *states)
{
    double most = 0;
    *states = 0;
    for (int i = 0; i < RG_BINS; i++) {
        bool seen = a->bin[i].state != RG_BIN_UNSEEN && b->bin[i].state != RG_BIN_UNSEEN;
        *states += a->bin[i].state != b->bin[i].state;
        if (seen && fabs(a->bin[i].width_mm - b->bin[i].width_mm) > most)
            most = fabs(a->bin[i].width_mm - b->bin[i].width_mm);
    }
    return most;
}

static rg_code measure_sweep(checking *c, const chained *l, const rg_record_sweep *sweep,
                             char **text, rg_map_file *now, rg_error *err)
{
    char folder[RG_ARCHIVE_PATH], instrument[RG_ARCHIVE_PATH], station[RG_ARCHIVE_PATH];
    char inside[RG_RECORD_NAME + 32];
    rg_inspection in;
    const rg_inspection_given given = {instrument, station, sweep->judged_day};
    snprintf(inside, sizeof inside, "data/sweeps/%s", sweep->name);
    rg_code code = rg_archive_path(c->archive, l->bag, inside, folder, err);
    if (code == RG_OK)
        code = rg_archive_path(c->archive, l->bag, sweep->instrument_file, instrument, err);
    if (code == RG_OK)
        code = rg_archive_path(c->archive, l->bag, sweep->station_file, station, err);
    if (code == RG_OK)
        code = rg_inspection_open_given(&in, folder, &given, err);
    if (code != RG_OK)
        return code;
    code = rg_inspection_run(&in, c->options->workers, NULL, err);
    if (code == RG_OK)
        code = rg_inspection_json(&in, text, err);
    if (code == RG_OK)
        code = rg_mapfile_parse(folder, *text, strlen(*text), now, err);
    rg_inspection_close(&in);
    return code;
}

static void compare_sweep(checking *c, const chained *l, const rg_record_sweep *sweep,
                          rg_map_file map[2])
{
    char file[RG_RECORD_NAME + 64], *text[2] = {NULL, NULL};
    rg_error err = {0};
    int states;
    snprintf(file, sizeof file, "data/results/%s/seal-map.json", sweep->name);
    rg_code code = measure_sweep(c, l, sweep, &text[0], &map[0], &err);
    if (code == RG_OK)
        code = rg_archive_map(c->archive, l->bag, sweep->name, &map[1], &text[1], &err);
    if (code != RG_OK) {
        note(c, RG_FAULT_MEASURED, false, l->bag, file, "%s", err.text);
    } else if (strcmp(text[0], text[1]) != 0) {
        double most = largest_difference(&map[0].map, &map[1].map, &states);
        bool other = strcmp(map[0].software, map[1].software) != 0;
        note(c, RG_FAULT_MEASURED, other && map[0].map.verdict == map[1].map.verdict, l->bag, file,
             "the frames now give %s, %s stored (by %s); widths differ by up to %.4f mm, %d "
             "bearings in state",
             rg_verdict_name(map[0].map.verdict), rg_verdict_name(map[1].map.verdict),
             map[1].software, most, states);
    }
    free(text[0]);
    free(text[1]);
}

static rg_code measure_bag(checking *c, const chained *l, rg_error *err)
{
    rg_map_file *map = rg_alloc(2, sizeof *map);
    if (!map)
        return rg_fail(err, RG_INTERNAL, "no memory for two seal maps");
    for (int i = 0; l->readable && i < l->record.sweeps; i++) {
        compare_sweep(c, l, &l->record.sweep[i], map);
        if (c->progress && c->progress->report)
            c->progress->report(c->progress->context, "measured", i + 1, l->record.sweeps);
    }
    free(map);
    return RG_OK;
}

/* ---------------------------------------------------------------- a serial */

static int by_sequence(const void *a, const void *b)
{
    const chained *p = a, *q = b;
    return p->sequence != q->sequence ? p->sequence < q->sequence ? -1 : 1 : strcmp(p->bag, q->bag);
}

static void free_chain(chained *chain, int count)
{
    for (int i = 0; chain && i < count; i++) {
        rg_bag_state_free(&chain[i].state);
        rg_record_free(&chain[i].record);
    }
    free(chain);
}

#define LINKED                                                                                     \
    "is a symbolic link: what it leads to is not kept in this archive; put the folder itself "     \
    "there"

/* The folder of a serial, or of a bag. */
static bool is_link(const checking *c, const char *name)
{
    char path[RG_ARCHIVE_PATH];
    struct stat st;
    rg_error err;
    return rg_archive_path(c->archive, name, "", path, &err) == RG_OK && lstat(path, &st) == 0 &&
           S_ISLNK(st.st_mode);
}

static rg_code take_names(checking *c, const rg_names *bags, chained **chain, int *count,
                          rg_error *err)
{
    *count = 0;
    *chain = rg_alloc((size_t)bags->count, sizeof **chain);
    if (!*chain)
        return rg_fail(err, RG_INTERNAL, "no memory for %d bags", bags->count);
    for (int i = 0; i < bags->count; i++) {
        int sequence;
        if (!rg_bag_name_parse(bags->name[i], &sequence)) {
            note(c, RG_FAULT_STRANGE, false, bags->name[i], "",
                 "is no bag of this archive: take it away");
            continue;
        }
        if (is_link(c, bags->name[i]))
            note(c, RG_FAULT_STRANGE, false, bags->name[i], "", LINKED);
        chained *l = &(*chain)[(*count)++];
        l->sequence = sequence;
        rg_copy_text(l->bag, sizeof l->bag, bags->name[i]);
    }
    qsort(*chain, (size_t)*count, sizeof **chain, by_sequence);
    return RG_OK;
}

static rg_code check_serial(checking *c, const char *serial, rg_error *err)
{
    rg_names bags = {0};
    chained *chain = NULL;
    int count = 0;
    rg_error why = {0};
    rg_code code = rg_archive_bags(c->archive, serial, &bags, &why);
    if (code == RG_NO_INPUT || code == RG_USAGE) {
        note(c, RG_FAULT_STRANGE, false, serial, "", "is no folder of a serial: take it away");
        return RG_OK;
    }
    if (code != RG_OK)
        return rg_fail(err, code, "%s", why.text);
    if (is_link(c, serial))
        note(c, RG_FAULT_STRANGE, false, serial, "", LINKED);
    code = take_names(c, &bags, &chain, &count, err);
    rg_verified_bag *grown =
        rg_grow(c->result->bag, (size_t)c->result->bags + (size_t)count + 1, sizeof *grown);
    if (code == RG_OK && !grown)
        code = rg_fail(err, RG_INTERNAL, "no memory for %d bags", count);
    if (grown)
        c->result->bag = grown;
    for (int i = 0; code == RG_OK && i < count; i++) {
        code = check_bag(c, &chain[i], err);
        if (code == RG_OK && c->options->measure)
            code = measure_bag(c, &chain[i], err);
        if (c->progress && c->progress->report)
            c->progress->report(c->progress->context, "bags", ++c->done, c->total);
    }
    if (code == RG_OK)
        code = check_chain(c, chain, count, err);
    free_chain(chain, count);
    rg_names_free(&bags);
    return code;
}

/* Rows whose bag is gone. Read before the bags are: a row that is there has had its bag since. */
static rg_code check_gone(checking *c, const rg_catalogue_list *rows, const rg_names *serials,
                          rg_error *err)
{
    for (int i = 0; i < rows->count; i++) {
        const rg_catalogue_inspection *row = &rows->row[i];
        char path[RG_ARCHIVE_PATH];
        bool asked = false;
        for (int k = 0; k < serials->count; k++)
            asked = asked || strcmp(serials->name[k], row->serial) == 0;
        rg_code code = rg_archive_path(c->archive, row->bag, "", path, err);
        if (code != RG_OK)
            return code;
        if (asked && access(path, F_OK) != 0)
            note(c, RG_FAULT_GONE, false, row->bag, "",
                 "the index lists this bag, it is not there: it was removed or renamed");
    }
    return RG_OK;
}

/* ---------------------------------------------------------------- whole */

/* The serials that are asked for; all, and those that only the index knows, when none is. */
static rg_code choose(const checking *c, const char *const *words, int count,
                      const rg_catalogue_list *rows, rg_names *serials, rg_error *err)
{
    char serial[RG_ARCHIVE_BAG];
    *serials = (rg_names){0};
    rg_code code = count ? RG_OK : rg_archive_serials(c->archive, serials, err);
    for (int i = 0; code == RG_OK && i < count + (count ? 0 : rows->count); i++) {
        bool known = false;
        rg_copy_text(serial, sizeof serial, count ? words[i] : rows->row[i].serial);
        if (count && strchr(serial, '/'))
            *strchr(serial, '/') = 0;
        for (int k = 0; k < serials->count; k++)
            known = known || strcmp(serials->name[k], serial) == 0;
        if (!known)
            code = rg_names_add(serials, "", serial, err);
    }
    return code;
}

static rg_code check_asked(checking *c, const char *const *words, int count, rg_error *err)
{
    char bag[RG_ARCHIVE_BAG];
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < count; i++)
        code = rg_archive_resolve(c->archive, words[i], bag, err);
    return code;
}

/* A digest from a certificate: is it still the digest of some bag? */
static void find_digest(checking *c)
{
    rg_digest wanted;
    if (!c->options->digest || !rg_digest_parse(c->options->digest, &wanted))
        return;
    for (int i = 0; i < c->result->bags; i++) {
        const rg_verified_bag *v = &c->result->bag[i];
        if (rg_digest_equal(&v->manifest, &wanted) || rg_digest_equal(&v->tagmanifest, &wanted))
            rg_copy_text(c->result->digest_found, sizeof c->result->digest_found, v->bag);
    }
    if (!c->result->digest_found[0])
        note(c, RG_FAULT_GONE, false, "", "",
             "no bag has the digest %s: the bag that it was taken from was rewritten or removed",
             c->options->digest);
}

static rg_code check_all(checking *c, const char *const *words, int count, rg_error *err)
{
    const rg_catalogue_query all = {.oldest_first = true};
    rg_catalogue_list rows = {0};
    rg_names serials = {0};
    rg_code code = RG_OK;
    if (c->archive->catalogue)
        code = rg_catalogue_find(c->archive->catalogue, &all, &rows, err);
    if (code == RG_OK)
        code = choose(c, words, count, &rows, &serials, err);
    c->total = serials.count;
    for (int i = 0; code == RG_OK && i < serials.count; i++)
        code = check_serial(c, serials.name[i], err);
    if (code == RG_OK)
        code = check_gone(c, &rows, &serials, err);
    if (code == RG_OK) {
        /* No crash leaves bags without an index, and the newest bags have no other witness. */
        if (!c->archive->catalogue)
            note(c, RG_FAULT_INDEX, c->result->bags == 0, "", RG_ARCHIVE_INDEX, "%s",
                 c->archive->index_fault.text);
        check_waiting(c);
        find_digest(c);
    }
    rg_catalogue_list_free(&rows);
    rg_names_free(&serials);
    return code;
}

static rg_code choose_keys(checking *c, rg_error *err)
{
    c->trusted = c->options->trusted;
    c->trusted_count = c->options->trusted_count;
    if (c->trusted)
        return RG_OK;
    c->trusted = c->own;
    return rg_archive_keys(c->archive, c->own, &c->trusted_count, err);
}

rg_code rg_archive_verify(const rg_archive *archive, const char *const *words, int count,
                          const rg_verify_options *options, const rg_progress *progress,
                          rg_verify_result *result, rg_error *err)
{
    *result = (rg_verify_result){0};
    checking *c = rg_alloc(1, sizeof *c);
    if (!c)
        return rg_fail(err, RG_INTERNAL, "no memory to verify");
    *c = (checking){.archive = archive, .options = options, .progress = progress, .result = result};
    rg_code code = choose_keys(c, err);
    if (code == RG_OK)
        code = check_asked(c, words, count, err);
    if (code == RG_OK && c->archive->catalogue) {
        rg_error why = {0};
        if (rg_catalogue_check(c->archive->catalogue, &why) != RG_OK)
            note(c, RG_FAULT_INDEX, false, "", "", "%s", why.text);
    }
    if (code == RG_OK)
        code = check_all(c, words, count, err);
    rg_names_free(&c->waiting);
    free(c);
    if (code != RG_OK)
        rg_verify_free(result);
    return code;
}

void rg_verify_free(rg_verify_result *result)
{
    free(result->bag);
    free(result->finding);
    *result = (rg_verify_result){0};
}

/*
 * pairs.c - an archive as a source of teaching cases: names, list, numbers.
 */
#define _XOPEN_SOURCE 700 /* realpath */

#include "rimglow/pairs.h"

#include <errno.h>
#include <limits.h>
#include <math.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "pairs_private.h"
#include "rimglow/calib_file.h"
#include "rimglow/config_diagnosis.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"
#include "server_private.h"

enum { ROWS = 1024 /* read from the index at a time */, NAME_BITS = 40, PATH_DIGITS = 8 };

/* ---------------------------------------------------------------- names */

/* Base32 of RFC 4648, section 6: 40 bits are eight letters. */
void rg_pairs_name(const uint8_t key[RG_PAIRS_KEY], const char *text, char name[RG_PAIRS_NAME])
{
    static const char letter[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    uint8_t mac[crypto_auth_hmacsha256_BYTES];
    uint64_t bits = 0;
    crypto_auth_hmacsha256(mac, (const uint8_t *)text, strlen(text), key);
    for (int i = 0; i < NAME_BITS / 8; i++)
        bits = bits << 8 | mac[i];
    char *to = name;
    for (int i = 0; i < NAME_BITS / 5; i++) {
        if (i == NAME_BITS / 10)
            *to++ = '-';
        *to++ = letter[bits >> (NAME_BITS - 5 * (i + 1)) & 31];
    }
    *to = 0;
}

static rg_code real_path(const char *path, char real[PATH_MAX], rg_error *err)
{
    if (realpath(path, real))
        return RG_OK;
    return rg_fail(err, RG_NO_INPUT, "%s: cannot be found (%s)", path, strerror(errno));
}

rg_code rg_pairs_key_path(const char *keep, const char *archive, char *path, size_t size,
                          rg_error *err)
{
    char real[PATH_MAX], digits[RG_DIGEST_TEXT];
    rg_code code = real_path(archive, real, err);
    if (code != RG_OK)
        return code;
    rg_digest digest = rg_digest_of(real, strlen(real));
    rg_digest_format(&digest, digits);
    int n = snprintf(path, size, "%s/pairs-%.*s.key", keep, PATH_DIGITS, digits);
    if (n < 0 || (size_t)n >= size)
        return rg_fail(err, RG_USAGE, "%.80s...: the path is too long", keep);
    return RG_OK;
}

/* ---------------------------------------------------------------- key */

/* "." or "/" where the path has no other. */
static rg_code folder_of(const char *path, char folder[PATH_MAX], rg_error *err)
{
    const char *slash = strrchr(path, '/');
    size_t n = slash ? (size_t)(slash - path) : 0;
    folder[0] = 0;
    if (n >= PATH_MAX)
        return rg_fail(err, RG_USAGE, "%.80s...: the path is too long", path);
    snprintf(folder, PATH_MAX, "%.*s", (int)n, path);
    if (n == 0)
        rg_copy_text(folder, PATH_MAX, slash ? "/" : ".");
    return RG_OK;
}

static rg_code make_key(const char *file, rg_error *err)
{
    rg_secret secret;
    char text[RG_DIGEST_TEXT + 1], folder[PATH_MAX];
    rg_code code = rg_secret_make(&secret, err);
    if (code != RG_OK)
        return code;
    snprintf(text, sizeof text, "%s\n", secret.text);
    code = folder_of(file, folder, err);
    if (code == RG_OK)
        code = rg_folder_make(folder, err);
    if (code != RG_OK)
        return code;
    return rg_file_make(file, 0600, text, strlen(text), err);
}

static rg_code read_key(rg_pairs *p, const char *file, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_digest key;
    if (access(file, F_OK) != 0) {
        rg_code code = make_key(file, err);
        if (code != RG_OK)
            return code;
    }
    rg_code code = rg_file_read(file, 4096, &text, &size, err);
    if (code != RG_OK)
        return code;
    if (size > 0 && text[size - 1] == '\n')
        text[--size] = 0;
    if (rg_digest_parse((const char *)text, &key))
        memcpy(p->key, key.byte, RG_PAIRS_KEY);
    else
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: 64 hexadecimal digits are needed; take the file away, and a new key "
                       "with new names of the cases is made",
                       file);
    free(text);
    return code;
}

/* The folder of a file that may not be there yet, or the folder above it: it is made where it is missing. */
static rg_code outside(const rg_pairs *p, const char *file, rg_error *err)
{
    char folder[PATH_MAX], above[PATH_MAX], real[PATH_MAX], archive[PATH_MAX];
    rg_code code = folder_of(file, folder, err);
    if (code == RG_OK && access(folder, F_OK) != 0) {
        code = folder_of(folder, above, err);
        if (code == RG_OK)
            rg_copy_text(folder, sizeof folder, above);
    }
    if (code == RG_OK)
        code = real_path(folder, real, err);
    if (code == RG_OK)
        code = real_path(p->archive, archive, err);
    size_t length = code == RG_OK ? strlen(archive) : 0;
    /* cppcheck-suppress uninitvar ; set where code is RG_OK */
    if (code == RG_OK && strncmp(real, archive, length) == 0 &&
        (real[length] == 0 || real[length] == '/'))
        code = rg_fail(err, RG_USAGE, "%s: lies in the archive, which is only read", file);
    return code;
}

static rg_code choose_key(rg_pairs *p, const char *file, rg_error *err)
{
    rg_secret secret;
    if (file) {
        rg_code code = outside(p, file, err);
        return code == RG_OK ? read_key(p, file, err) : code;
    }
    rg_code code = rg_secret_make(&secret, err);
    if (code == RG_OK)
        memcpy(p->key, secret.byte, RG_PAIRS_KEY);
    return code;
}

/* ---------------------------------------------------------------- opening */

static rg_code read_settings(rg_pairs *p, rg_error *err)
{
    rg_calib_file calib;
    rg_code code = rg_calib_file_read("pairs.ini", NULL, NULL, &calib, err);
    if (code != RG_OK)
        return code;
    code = rg_pairs_settings_parse(calib.path, calib.text, calib.size, &p->settings, err);
    free(calib.text);
    return code == RG_OK ? rg_calib_diagnosis(&p->diagnosis, err) : code;
}

/* An index is needed; it is opened for each question, since reindex may replace it. */
static rg_code try_archive(const rg_pairs *p, rg_error *err)
{
    rg_archive archive;
    rg_code code = rg_archive_read_index(&archive, p->archive, err);
    if (code == RG_OK)
        rg_archive_close(&archive);
    return code;
}

rg_code rg_pairs_open(const rg_pairs_options *options, rg_pairs **pairs, rg_error *err)
{
    *pairs = NULL;
    rg_pairs *p = rg_alloc(1, sizeof *p);
    if (!p)
        return rg_fail(err, RG_INTERNAL, "no memory for the teaching cases");
    p->workers = options->workers;
    rg_code code = RG_OK;
    if (!rg_copy_text(p->archive, sizeof p->archive, options->archive))
        code = rg_fail(err, RG_USAGE, "%.80s...: the archive's path is too long", options->archive);
    if (code == RG_OK)
        code = try_archive(p, err);
    if (code == RG_OK)
        code = read_settings(p, err);
    if (code == RG_OK)
        code = choose_key(p, options->key_file, err);
    if (code == RG_OK)
        *pairs = p;
    else
        rg_pairs_close(p);
    return code;
}

void rg_pairs_close(rg_pairs *pairs)
{
    if (!pairs)
        return;
    sodium_memzero(pairs->key, sizeof pairs->key);
    free(pairs);
}

const rg_pairs_settings *rg_pairs_settings_of(const rg_pairs *pairs)
{
    return &pairs->settings;
}

/* ---------------------------------------------------------------- list */

static bool is_cause(const char *word)
{
    static const char *const whole[] = {"mixed", "no fault shown", "unclear", "unseen"};
    for (int k = RG_FAULT_TILT; k <= RG_FAULT_UNEVEN; k++)
        if (strcmp(word, rg_fault_kind_name((rg_fault_kind)k)) == 0)
            return true;
    for (size_t i = 0; i < sizeof whole / sizeof *whole; i++)
        if (strcmp(word, whole[i]) == 0)
            return true;
    return false;
}

static rg_code check_choice(const rg_pairs_choice *c, rg_error *err)
{
    rg_verdict verdict;
    if (c->verdict && c->verdict[0] && !rg_verdict_parse(c->verdict, &verdict))
        return rg_fail(err, RG_USAGE, "verdict %.40s: choose one of sealed, leaking, undecided",
                       c->verdict);
    if (c->cause && c->cause[0] && !is_cause(c->cause))
        return rg_fail(err, RG_USAGE, "cause %.40s: is none that a diagnosis names", c->cause);
    if (c->size < -1 || c->size > RG_PAIRS_SIZES + 1)
        return rg_fail(err, RG_USAGE, "size %d: choose -1 (any) to %d", c->size,
                       RG_PAIRS_SIZES + 1);
    return RG_OK;
}

/* What the index alone can tell, so that no file is opened for it. */
static bool row_fits(const rg_pairs *p, const rg_pairs_choice *c, const rg_catalogue_sweep *row)
{
    const rg_pairs_truth t = {.gap = isfinite(row->widest_mm), .widest_mm = row->widest_mm};
    return (!c->verdict || !c->verdict[0] || strcmp(c->verdict, row->verdict) == 0) &&
           (c->size < 0 || c->size == rg_pairs_size_of(&p->settings, &t));
}

static bool truth_fits(const rg_pairs_choice *c, const rg_pairs_truth *t)
{
    if (!c->cause || !c->cause[0] || strcmp(c->cause, t->cause) == 0)
        return true;
    for (int i = 0; i < t->kinds; i++)
        if (strcmp(c->cause, rg_fault_kind_name(t->kind[i])) == 0)
            return true;
    return false;
}

typedef struct listing {
    rg_pairs *pairs;
    const rg_archive *archive;
    const rg_pairs_choice *choice;
    rg_pairs_page *page;
    int looked;
    char bad[RG_ARCHIVE_BAG]; /* the last bag that was left out */
} listing;

static void leave_out(listing *l, const char *bag, const rg_error *why)
{
    rg_pairs_left_out *out = &l->page->left_out;
    if (out->damaged++ == 0)
        out->first = *why;
    out->bags += strcmp(l->bad, bag) != 0;
    rg_copy_text(l->bad, sizeof l->bad, bag);
}

static rg_code look(listing *l, const rg_catalogue_sweep *row, rg_error *err)
{
    rg_error why = {0};
    rg_pairs_sweep *s;
    if (!row_fits(l->pairs, l->choice, row))
        return RG_OK;
    l->looked++;
    if (strcmp(l->bad, row->bag) == 0) {
        l->page->left_out.damaged++;
        return RG_OK;
    }
    rg_code code = rg_pairs_sweep_open(l->pairs, l->archive, row->bag, row->name, &s, &why);
    if (code == RG_BAD_DATA)
        leave_out(l, row->bag, &why);
    else if (code != RG_OK && code != RG_USAGE)
        return rg_fail(err, code, "%s", why.text);
    if (code == RG_OK && truth_fits(l->choice, &s->truth))
        l->page->truth[l->page->count++] = s->truth;
    rg_pairs_sweep_close(s);
    return RG_OK;
}

static rg_code list_from(listing *l, int from, rg_error *err)
{
    for (;;) {
        const rg_catalogue_query query = {.limit = ROWS, .offset = from};
        rg_catalogue_sweeps rows = {0};
        rg_code code = rg_catalogue_sweeps_find(l->archive->catalogue, &query, &rows, err);
        int i = 0;
        for (; code == RG_OK && i < rows.count && l->page->count < RG_PAIRS_PAGE &&
               l->looked < RG_PAIRS_LOOKED;
             i++)
            code = look(l, &rows.row[i], err);
        bool all = i == rows.count, last = rows.count < ROWS;
        rg_catalogue_sweeps_free(&rows);
        from += i;
        l->page->next = all && last ? -1 : from;
        if (code != RG_OK || !all || last)
            return code;
    }
}

rg_code rg_pairs_list(rg_pairs *pairs, const rg_pairs_choice *choice, int from, rg_pairs_page *page,
                      rg_error *err)
{
    rg_archive archive;
    *page = (rg_pairs_page){.next = -1};
    rg_code code = check_choice(choice, err);
    if (code == RG_OK && from < 0)
        code = rg_fail(err, RG_USAGE, "a list begins at 0 or later, not at %d", from);
    if (code == RG_OK)
        code = rg_archive_read_index(&archive, pairs->archive, err);
    if (code != RG_OK)
        return code;
    listing l = {.pairs = pairs, .archive = &archive, .choice = choice, .page = page};
    code = list_from(&l, from, err);
    rg_archive_close(&archive);
    return code;
}

/* ---------------------------------------------------------------- by number, by name */

/* Told each sweep of the index; true ends the walk. */
typedef bool rg_walk(void *context, const rg_catalogue_sweep *row);

static rg_code walk(const rg_archive *archive, int from, rg_walk *step, void *context, bool *ended,
                    rg_error *err)
{
    *ended = false;
    for (;;) {
        const rg_catalogue_query query = {.limit = ROWS, .offset = from};
        rg_catalogue_sweeps rows = {0};
        rg_code code = rg_catalogue_sweeps_find(archive->catalogue, &query, &rows, err);
        for (int i = 0; code == RG_OK && !*ended && i < rows.count; i++)
            *ended = step(context, &rows.row[i]);
        bool last = rows.count < ROWS;
        rg_catalogue_sweeps_free(&rows);
        from += ROWS;
        if (code != RG_OK || *ended || last)
            return code;
    }
}

static bool count_one(void *context, const rg_catalogue_sweep *row)
{
    (void)row;
    (*(int *)context)++;
    return false;
}

rg_code rg_pairs_count(rg_pairs *pairs, int *count, rg_error *err)
{
    rg_archive archive;
    bool ended;
    *count = 0;
    rg_code code = rg_archive_read_index(&archive, pairs->archive, err);
    if (code != RG_OK)
        return code;
    code = walk(&archive, 0, count_one, count, &ended, err);
    rg_archive_close(&archive);
    return code;
}

typedef struct searching {
    const rg_pairs *pairs;
    const char *name;
    char bag[RG_ARCHIVE_BAG], sweep[RG_CATALOGUE_NAME];
} searching;

static bool is_named(void *context, const rg_catalogue_sweep *row)
{
    searching *s = context;
    char text[RG_ARCHIVE_BAG + RG_RECORD_NAME], name[RG_PAIRS_NAME];
    snprintf(text, sizeof text, "%s/%s", row->bag, row->name);
    rg_pairs_name(s->pairs->key, text, name);
    if (strcmp(name, s->name) != 0)
        return false;
    return rg_copy_text(s->bag, sizeof s->bag, row->bag) &&
           rg_copy_text(s->sweep, sizeof s->sweep, row->name);
}

rg_code rg_pair_open(rg_pairs *pairs, const char *name, rg_pair **pair, rg_error *err)
{
    rg_archive archive;
    searching s = {.pairs = pairs, .name = name};
    bool found;
    *pair = NULL;
    rg_code code = rg_archive_read_index(&archive, pairs->archive, err);
    if (code != RG_OK)
        return code;
    code = walk(&archive, 0, is_named, &s, &found, err);
    if (code == RG_OK && !found)
        code = rg_fail(err, RG_NO_INPUT, "no case of this archive is named %.20s", name);
    if (code == RG_OK)
        code = rg_pairs_measure(pairs, &archive, s.bag, s.sweep, NULL, pair, err);
    rg_archive_close(&archive);
    return code;
}

/* What is done with the sweep of a number. */
typedef rg_code rg_use(rg_pairs *pairs, const rg_archive *archive, const rg_catalogue_sweep *row,
                       void *to, rg_error *err);

static rg_code use_at(rg_pairs *pairs, int number, rg_use *use, void *to, rg_error *err)
{
    rg_archive archive;
    const rg_catalogue_query query = {.limit = 1, .offset = number};
    rg_catalogue_sweeps rows = {0};
    if (number < 0)
        return rg_fail(err, RG_USAGE, "cases are numbered from 0, not from %d", number);
    rg_code code = rg_archive_read_index(&archive, pairs->archive, err);
    if (code != RG_OK)
        return code;
    code = rg_catalogue_sweeps_find(archive.catalogue, &query, &rows, err);
    if (code == RG_OK && rows.count == 0)
        code = rg_fail(err, RG_NO_INPUT, "the archive has no sweep number %d", number);
    if (code == RG_OK)
        code = use(pairs, &archive, &rows.row[0], to, err);
    rg_catalogue_sweeps_free(&rows);
    rg_archive_close(&archive);
    return code;
}

typedef struct measuring {
    const rg_pairs_round *round;
    rg_pair **pair;
} measuring;

static rg_code measure_row(rg_pairs *pairs, const rg_archive *archive,
                           const rg_catalogue_sweep *row, void *to, rg_error *err)
{
    const measuring *m = to;
    return rg_pairs_measure(pairs, archive, row->bag, row->name, m->round, m->pair, err);
}

rg_code rg_pairs_measure_at(rg_pairs *pairs, int number, const rg_pairs_round *round,
                            rg_pair **pair, rg_error *err)
{
    measuring m = {round, pair};
    *pair = NULL;
    return use_at(pairs, number, measure_row, &m, err);
}

rg_code rg_pair_open_at(rg_pairs *pairs, int number, rg_pair **pair, rg_error *err)
{
    return rg_pairs_measure_at(pairs, number, NULL, pair, err);
}

static rg_code tell_row(rg_pairs *pairs, const rg_archive *archive, const rg_catalogue_sweep *row,
                        void *to, rg_error *err)
{
    rg_pairs_sweep *s;
    rg_code code = rg_pairs_sweep_open(pairs, archive, row->bag, row->name, &s, err);
    if (code == RG_OK)
        *(rg_pairs_truth *)to = s->truth;
    rg_pairs_sweep_close(s);
    return code;
}

rg_code rg_pairs_truth_at(rg_pairs *pairs, int number, rg_pairs_truth *truth, rg_error *err)
{
    *truth = (rg_pairs_truth){0};
    return use_at(pairs, number, tell_row, truth, err);
}

/*
 * bench_finish.c - the finished sweeps become one bag of the archive, and a certificate.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { NOTE = 1000 };

/* "G: felt is worn; A: key noise" */
static void join_notes(const rg_bench *b, char note[NOTE])
{
    size_t n = 0;
    note[0] = 0;
    for (int i = 0; i < b->instrument.pads; i++) {
        const rg_bench_pad *p = &b->pads[i];
        if (!p->note[0] || n >= NOTE - 1)
            continue;
        int k = snprintf(note + n, NOTE - n, "%s%.100s: %s", n ? "; " : "", p->pad->name, p->note);
        n += k > 0 ? (size_t)k : 0;
    }
    /* Cut between characters only. */
    size_t at = 0, size = strlen(note);
    for (size_t k; at < size && (k = rg_utf8_length(note + at, size - at)) > 0;)
        at += k;
    note[at] = 0;
}

static int collect(const rg_bench *b, const char **folder)
{
    int n = 0;
    for (int i = 0; i < b->instrument.pads; i++)
        if (b->pads[i].folder[0])
            folder[n++] = b->pads[i].folder;
    return n;
}

static bool write_certificate(const rg_bench *b)
{
    rg_archive archive;
    rg_archive_paper paper = {0};
    char path[2][RG_ARCHIVE_PATH];
    rg_code code = rg_archive_read(&archive, b->options.archive, NULL);
    if (code != RG_OK)
        return false;
    code = rg_archive_certify(&archive, b->bag, NULL, RG_CERTIFY_PDF | RG_CERTIFY_HTML, NULL,
                              &paper, NULL);
    if (code == RG_OK)
        code = rg_archive_paper_write(&paper, b->options.reports, path, NULL);
    bool written = code == RG_OK && paper.passed;
    rg_archive_paper_free(&paper);
    rg_archive_close(&archive);
    return written;
}

rg_code rg_bench_archive_all(rg_bench *b, rg_error *err)
{
    char note[NOTE];
    rg_archive_added added;
    const char **folder = rg_alloc((size_t)b->instrument.pads, sizeof *folder);
    if (!folder)
        return rg_fail(err, RG_INTERNAL, "no memory to archive");
    join_notes(b, note);
    const rg_archive_visit visit = {.technician = b->technician,
                                    .occasion = b->occasion,
                                    .note = note,
                                    .results = b->options.out,
                                    .time = (int64_t)time(NULL),
                                    .workers = b->options.workers,
                                    .folder = folder,
                                    .folders = collect(b, folder)};
    rg_code code = visit.folders ? rg_archive_add(b->options.archive, &visit, NULL, &added, err)
                                 : rg_fail(err, RG_USAGE, "no pad has been swept yet");
    free(folder);
    if (code != RG_OK)
        return code;
    rg_copy_text(b->bag, sizeof b->bag, added.bag);
    b->bag_verdict = added.verdict;
    b->fresh = false;
    b->certificate = write_certificate(b);
    if (added.not_indexed.code != RG_OK)
        return rg_fail(err, added.not_indexed.code,
                       "the bag is stored and whole, but its row is not: %.300s",
                       added.not_indexed.text);
    return RG_OK;
}

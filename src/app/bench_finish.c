/*
 * bench_finish.c - the finished sweeps become one bag of the archive, and a certificate.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_private.h"
#include "rimglow/command.h"
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

/* By the command itself, so that it is what the command makes. */
static bool write_certificate(const rg_bench *b)
{
    char *word[] = {
        "report",       "-a", (char *)b->options.archive, "-o", (char *)b->options.reports,
        (char *)b->bag, NULL};
    return rg_cmd_archive_report(6, word) == 0;
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

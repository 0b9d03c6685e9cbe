/*
 * bench_finish.c - the finished sweeps become one bag of the archive, and a certificate.
 */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "bench_private.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* Every finished sweep that counts: of a pad one for each finger. */
static int collect(const rg_bench *b, const char **folder)
{
    int n = 0;
    for (int i = 0; i < b->instrument.pads; i++)
        for (int k = 0; k < b->pads[i].results; k++)
            folder[n++] = b->pads[i].result[k].folder;
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
    char note[RG_BENCH_NOTES], setup[RG_PLACE_SIZE];
    rg_archive_added added;
    const char **folder = rg_alloc((size_t)b->instrument.pads * RG_BENCH_RESULTS, sizeof *folder);
    if (!folder)
        return rg_fail(err, RG_INTERNAL, "no memory to archive");
    rg_bench_join_notes(b, note);
    const rg_archive_visit visit = {.technician = b->technician,
                                    .occasion = b->occasion,
                                    .note = note,
                                    .setup_file = rg_bench_setup_file(b, setup),
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

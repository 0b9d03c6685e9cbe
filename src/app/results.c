/*
 * results.c - results of rimglow inspect on the disk.
 */
#include "rimglow/results.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "rimglow/file.h"
#include "rimglow/version.h"

static void path_of(const rg_results *r, char path[RG_PLACE_SIZE + 32])
{
    snprintf(path, RG_PLACE_SIZE + 32, "%s/seal-map.json", r->place);
}

rg_code rg_results_read(rg_results *r, rg_error *err)
{
    char path[RG_PLACE_SIZE + 32];
    uint8_t *text = NULL;
    path_of(r, path);
    rg_results_free(r);
    rg_code code = rg_file_read(path, RG_MAPFILE_MAX_BYTES, &text, &r->size, err);
    if (code == RG_OK)
        code = rg_mapfile_parse(path, (const char *)text, r->size, &r->map, err);
    if (code == RG_OK)
        code = rg_mapfile_inputs(path, (const char *)text, r->size, &r->inputs, err);
    if (code == RG_OK)
        r->text = (char *)text;
    else
        free(text);
    return code;
}

/* The results are of exactly these files, and of this version of the program. */
static bool is_current(const rg_results *r, const rg_inspection *in)
{
    if (r->inputs.frames != in->sweep.frames)
        return false;
    for (int i = 0; i < in->sweep.frames; i++)
        if (strcmp(r->inputs.frame[i].file, in->sweep.frame[i].file) != 0)
            return false;
    return rg_digest_equal(&in->sweep_digest, &r->inputs.sweep) &&
           rg_digest_equal(&in->instrument_digest, &r->inputs.instrument) &&
           rg_digest_equal(&in->station_digest, &r->inputs.station) &&
           strcmp(r->map.software, "rimglow " RG_VERSION) == 0;
}

static bool is_newer(const struct timespec *a, const struct timespec *b)
{
    return a->tv_sec != b->tv_sec ? a->tv_sec > b->tv_sec : a->tv_nsec > b->tv_nsec;
}

/* Was the file changed since its results were written? A clock may lie; the digests are compared
 * when the file is copied. */
static bool changed_since(const char *path, const struct stat *results)
{
    struct stat st;
    return stat(path, &st) != 0 || !is_newer(&results->st_mtim, &st.st_mtim);
}

static bool frame_current(const rg_results *r, const char *folder, int i,
                          const struct stat *results, rg_error *err)
{
    const rg_digest unread = {{0}}, *measured = &r->inputs.frame[i].digest;
    rg_digest digest = unread;
    uint8_t *bytes = NULL;
    size_t size;
    char *path = rg_path_join(folder, r->inputs.frame[i].file);
    if (!path) {
        rg_fail(err, RG_INTERNAL, "no memory for a file name");
        return false;
    }
    bool current = !rg_digest_equal(measured, &unread) && !changed_since(path, results);
    if (!current) {
        if (rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, NULL) == RG_OK)
            digest = rg_digest_of(bytes, size);
        current = rg_digest_equal(&digest, measured);
    }
    free(bytes);
    free(path);
    return current;
}

/* A frame that was changed after the inspection makes its results somebody else's. */
static rg_code frames_current(const rg_results *r, const char *folder, bool *current, rg_error *err)
{
    char path[RG_PLACE_SIZE + 32];
    struct stat results;
    rg_error why = {0};
    path_of(r, path);
    *current = stat(path, &results) == 0;
    for (int i = 0; *current && i < r->inputs.frames; i++)
        *current = frame_current(r, folder, i, &results, &why);
    return why.code ? rg_fail(err, why.code, "%s", why.text) : RG_OK;
}

rg_code rg_results_find(const rg_inspection *in, const char *out, rg_results *r, bool *current,
                        rg_error *err)
{
    rg_error why = {0};
    rg_inspection_place(in, out, r->place);
    *current = rg_results_read(r, &why) == RG_OK && is_current(r, in);
    rg_code code = *current ? frames_current(r, in->folder, current, err) : RG_OK;
    if (code != RG_OK || !*current)
        rg_results_free(r);
    return code;
}

void rg_results_free(rg_results *results)
{
    free(results->text);
    results->text = NULL;
}

/*
 * bench_visits.c - what the archive has of the serial at the bench. Reads only.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

rg_code rg_bench_visits_read(const rg_bench *b, rg_bench_visits *v, rg_error *err)
{
    rg_error why = {0};
    *v = (rg_bench_visits){0};
    if (rg_archive_read(&v->archive, b->options.archive, &why) != RG_OK)
        return RG_OK;
    v->open = true;
    rg_code code = rg_archive_bags(&v->archive, b->options.serial, &v->bags, err);
    if (code == RG_OK)
        v->record = rg_alloc((size_t)v->bags.count + 1, sizeof *v->record);
    if (code == RG_OK && !v->record)
        code = rg_fail(err, RG_INTERNAL, "no memory for %d visits", v->bags.count);
    for (int i = 0; code == RG_OK && i < v->bags.count; i++) {
        if (rg_archive_record(&v->archive, v->bags.name[i], &v->record[v->count], &why) == RG_OK)
            v->count++;
        else
            fprintf(stderr, "rimglow: %s: is left out: %s\n", v->bags.name[i], why.text);
    }
    if (code != RG_OK)
        rg_bench_visits_free(v);
    return code;
}

void rg_bench_visits_free(rg_bench_visits *v)
{
    for (int i = 0; i < v->count; i++)
        rg_record_free(&v->record[i]);
    free(v->record);
    rg_names_free(&v->bags);
    if (v->open)
        rg_archive_close(&v->archive);
    *v = (rg_bench_visits){0};
}

static bool same_frame(const rg_inspection *in, const struct rg_map_input *frame, const char *file)
{
    uint8_t *bytes = NULL;
    size_t size;
    rg_digest digest = {{0}};
    char *path = rg_path_join(in->folder, file);
    bool read = path && rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, NULL) == RG_OK;
    if (read)
        digest = rg_digest_of(bytes, size);
    free(bytes);
    free(path);
    return strcmp(frame->file, file) == 0 && rg_digest_equal(&digest, &frame->digest);
}

static bool same_sweep(const rg_inspection *in, const rg_map_inputs *inputs)
{
    bool same =
        rg_digest_equal(&inputs->sweep, &in->sweep_digest) && inputs->frames == in->sweep.frames;
    for (int i = 0; same && i < inputs->frames; i++)
        same = same_frame(in, &inputs->frame[i], in->sweep.frame[i].file);
    return same;
}

static bool bag_has(const rg_bench_visits *v, const rg_record *r, const char *name,
                    const rg_inspection *in)
{
    char bag[RG_ARCHIVE_BAG], *text = NULL;
    rg_map_file *map = rg_alloc(1, sizeof *map);
    rg_map_inputs *inputs = rg_alloc(1, sizeof *inputs);
    int n = snprintf(bag, sizeof bag, "%s/%s", r->serial, r->bag);
    bool has = map && inputs && n > 0 && n < (int)sizeof bag &&
               rg_archive_map(&v->archive, bag, name, map, &text, NULL) == RG_OK &&
               rg_mapfile_inputs(bag, text, strlen(text), inputs, NULL) == RG_OK &&
               same_sweep(in, inputs);
    free(text);
    free(map);
    free(inputs);
    return has;
}

bool rg_bench_visits_have(const rg_bench_visits *v, const rg_inspection *in)
{
    for (int i = v->count - 1; i >= 0; i--)
        for (int s = 0; s < v->record[i].sweeps; s++)
            if (strcmp(v->record[i].sweep[s].name, in->name) == 0 &&
                bag_has(v, &v->record[i], in->name, in))
                return true;
    return false;
}

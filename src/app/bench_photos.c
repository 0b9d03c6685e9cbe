/*
 * bench_photos.c - photographs of a folder as a source of live frames.
 */
#include "bench_photos.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "live_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { LEAST_PERIOD_US = 5000 }; /* a photograph that is shown again is not read without a pause */

typedef struct photos {
    rg_source base; /* first: this is a source */
    char *folder;   /* owned */
    rg_file_list list;
    int at;
    int64_t period_us, due_us;
    uint8_t *bytes; /* owned; of the photograph read last */
    size_t size;
    int read; /* which one that is; -1: none */
    rg_source_counts counts;
} photos;

static bool is_photo(const char *name)
{
    static const char *const ending[] = {".jpg", ".jpeg", ".png"};
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; dot && i < sizeof ending / sizeof *ending; i++)
        if (strcasecmp(dot, ending[i]) == 0)
            return true;
    return false;
}

/* Photographs first in the list, in their order; the rest is freed. */
static void keep_photos(rg_file_list *list)
{
    size_t kept = 0;
    for (size_t i = 0; i < list->count; i++) {
        char *name = list->name[i];
        list->name[i] = NULL;
        if (is_photo(name))
            list->name[kept++] = name;
        else
            free(name);
    }
    list->count = kept;
}

rg_code rg_photos_count(const char *folder, int *count, rg_error *err)
{
    rg_file_list list = {0};
    rg_code code = rg_folder_list(folder, &list, err);
    if (code != RG_OK)
        return code;
    keep_photos(&list);
    *count = (int)list.count;
    rg_file_list_free(&list);
    return RG_OK;
}

static bool wait_until_due(photos *p, int timeout_ms)
{
    int64_t now = rg_live_clock_us(), most = (int64_t)timeout_ms * 1000;
    if (p->due_us - now > most) {
        rg_live_sleep_us(most);
        return false;
    }
    rg_live_sleep_us(p->due_us - now);
    p->due_us = rg_live_clock_us() + p->period_us;
    return true;
}

static rg_code read_photo(photos *p, rg_error *err)
{
    if (p->read == p->at)
        return RG_OK;
    char *path = rg_path_join(p->folder, p->list.name[p->at]);
    free(p->bytes);
    p->bytes = NULL;
    p->read = -1;
    rg_code code = path ? rg_file_read(path, RG_FILE_MAX_BYTES, &p->bytes, &p->size, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    if (code == RG_OK)
        p->read = p->at;
    return code;
}

static rg_source_state photos_next(rg_source *source, int timeout_ms, rg_source_frame *frame,
                                   rg_error *err)
{
    photos *p = (photos *)source;
    rg_error why = {0};
    if (p->at >= (int)p->list.count)
        return RG_SOURCE_END;
    if (!wait_until_due(p, timeout_ms))
        return RG_SOURCE_WAIT;
    if (read_photo(p, &why) != RG_OK || p->size == 0) {
        p->counts.bad++;
        p->at++;
        rg_copy_text(frame->note, sizeof frame->note, why.text[0] ? why.text : "an empty file");
        if (err)
            *err = why;
        return RG_SOURCE_WAIT;
    }
    p->counts.given++;
    frame->bytes = p->bytes;
    frame->size = p->size;
    frame->suffix = p->size > 4 && memcmp(p->bytes, "\x89PNG", 4) == 0 ? "png" : "jpg";
    frame->time_us = rg_live_clock_us();
    return RG_SOURCE_FRAME;
}

static rg_code photos_expose(rg_source *source, double relative, rg_error *err)
{
    (void)source;
    (void)relative;
    (void)err;
    return RG_OK;
}

static void photos_taken(const rg_source *source, rg_taken *taken)
{
    (void)source;
    *taken = (rg_taken){.day = -1};
}

static void photos_count(const rg_source *source, rg_source_counts *counts)
{
    *counts = ((const photos *)source)->counts;
}

static void photos_close(rg_source *source)
{
    photos *p = (photos *)source;
    rg_file_list_free(&p->list);
    free(p->bytes);
    free(p->folder);
    free(p);
}

rg_code rg_source_photos(const char *folder, double frames_per_second, rg_source **source,
                         rg_error *err)
{
    *source = NULL;
    photos *p = rg_alloc(1, sizeof *p);
    char *own = rg_path_join(folder, "");
    if (!p || !own) {
        free(p);
        free(own);
        return rg_fail(err, RG_INTERNAL, "no memory for a folder of photographs");
    }
    own[strlen(folder)] = '\0';
    *p = (photos){.base = {photos_next, photos_expose, photos_taken, photos_count, photos_close},
                  .folder = own,
                  .read = -1};
    double period = frames_per_second > 0 ? 1e6 / frames_per_second : 0;
    p->period_us = period > LEAST_PERIOD_US ? (int64_t)period : LEAST_PERIOD_US;
    rg_code code = rg_folder_list(folder, &p->list, err);
    if (code != RG_OK) {
        photos_close(&p->base);
        return code;
    }
    keep_photos(&p->list);
    *source = &p->base;
    return RG_OK;
}

int rg_source_photos_at(const rg_source *source)
{
    return ((const photos *)source)->at;
}

void rg_source_photos_next(rg_source *source)
{
    photos *p = (photos *)source;
    if (p->at < (int)p->list.count)
        p->at++;
}

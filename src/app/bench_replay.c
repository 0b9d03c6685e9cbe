/*
 * bench_replay.c - which recorded sweep belongs to which pad.
 */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "bench_photos.h"
#include "bench_private.h"
#include "rimglow/file.h"
#include "rimglow/text.h"

static bool is_file(const char *path)
{
    struct stat st;
    return stat(path, &st) == 0 && S_ISREG(st.st_mode);
}

static rg_code join(char to[RG_INPUT_PATH], const char *folder, const char *name, rg_error *err)
{
    int n = snprintf(to, RG_INPUT_PATH, "%s/%s", folder, name);
    if (n >= 0 && n < RG_INPUT_PATH)
        return RG_OK;
    return rg_fail(err, RG_NO_INPUT, "%.80s...: the path is too long", folder);
}

static rg_code assign(rg_bench *b, const char *folder, const char *pad, rg_error *err)
{
    for (int i = 0; i < b->instrument.pads; i++) {
        rg_bench_pad *p = &b->pads[i];
        if (strcmp(p->pad->name, pad) != 0)
            continue;
        if (p->replay[0])
            return rg_fail(err, RG_USAGE, "%.200s and %.200s are both of pad %.60s; replay one",
                           p->replay, folder, pad);
        if (!rg_copy_text(p->replay, sizeof p->replay, folder))
            return rg_fail(err, RG_NO_INPUT, "%.80s...: the path is too long", folder);
        return RG_OK;
    }
    return rg_fail(err, RG_BAD_DATA, "%.200s: pad %.60s is not in %.200s", folder, pad,
                   b->options.instrument_file);
}

/* A sweep over a feeler is for the light's calibration, not for a pad. */
static rg_code assign_wedge(rg_bench *b, const char *folder, const rg_sweep *sweep, rg_error *err)
{
    if (b->wedge_folder[0])
        return rg_fail(err, RG_USAGE, "%.200s and %.200s are both over a feeler; replay one",
                       b->wedge_folder, folder);
    if (!rg_instrument_pad(&b->instrument, sweep->pad))
        return rg_fail(err, RG_BAD_DATA, "%.200s: pad %.60s is not in %.200s", folder, sweep->pad,
                       b->options.instrument_file);
    if (!rg_copy_text(b->wedge_folder, sizeof b->wedge_folder, folder))
        return rg_fail(err, RG_NO_INPUT, "%.80s...: the path is too long", folder);
    rg_copy_text(b->wedge_pad, sizeof b->wedge_pad, sweep->pad);
    b->wedge = sweep->wedge;
    return RG_OK;
}

static rg_code take_sweep(rg_bench *b, const char *folder, const char *ini, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size;
    rg_sweep sweep = {0};
    rg_code code = rg_file_read(ini, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_sweep_parse(ini, (const char *)text, size, &sweep, err);
    free(text);
    if (code == RG_OK && sweep.wedge.present)
        code = assign_wedge(b, folder, &sweep, err);
    else if (code == RG_OK)
        code = assign(b, folder, sweep.pad, err);
    rg_sweep_free(&sweep);
    return code;
}

static rg_code take_folder(rg_bench *b, const char *folder, int *found, rg_error *err)
{
    char ini[RG_INPUT_PATH];
    rg_code code = join(ini, folder, "sweep.ini", err);
    if (code != RG_OK || !is_file(ini))
        return code;
    ++*found;
    return take_sweep(b, folder, ini, err);
}

static rg_code take_below(rg_bench *b, const char *folder, int *found, rg_error *err)
{
    DIR *dir = opendir(folder);
    rg_code code = RG_OK;
    if (!dir)
        return rg_fail(err, RG_NO_INPUT, "%.200s: no such folder, or it cannot be read", folder);
    for (struct dirent *e; code == RG_OK && (e = readdir(dir));) {
        char below[RG_INPUT_PATH];
        if (e->d_name[0] == '.')
            continue;
        code = join(below, folder, e->d_name, err);
        if (code == RG_OK)
            code = take_folder(b, below, found, err);
    }
    closedir(dir);
    return code;
}

/* A folder of pictures without a sweep.ini: photographs of the board. */
static rg_code take_photos(rg_bench *b, const char *folder, int *found, rg_error *err)
{
    int photos = 0;
    rg_code code = rg_photos_count(folder, &photos, err);
    if (code != RG_OK || photos == 0)
        return code;
    ++*found;
    if (b->photos[0])
        return rg_fail(err, RG_USAGE,
                       "%.200s and %.200s both hold photographs of the board; replay one",
                       b->photos, folder);
    if (!rg_copy_text(b->photos, sizeof b->photos, folder))
        return rg_fail(err, RG_NO_INPUT, "%.80s...: the path is too long", folder);
    return RG_OK;
}

rg_code rg_bench_find_replays(rg_bench *b, rg_error *err)
{
    for (int i = 0; i < b->options.replays; i++) {
        int found = 0;
        rg_code code = take_folder(b, b->options.replay[i], &found, err);
        if (code == RG_OK && !found)
            code = take_below(b, b->options.replay[i], &found, err);
        if (code == RG_OK && !found)
            code = take_photos(b, b->options.replay[i], &found, err);
        if (code == RG_OK && !found)
            code = rg_fail(err, RG_NO_INPUT,
                           "%.200s: no sweep.ini in it, nor one folder below, and no photographs",
                           b->options.replay[i]);
        if (code != RG_OK)
            return code;
    }
    return RG_OK;
}

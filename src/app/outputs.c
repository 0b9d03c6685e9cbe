/*
 * outputs.c - writing an inspection: seal-map.json and the pictures, the
 * pictures on all cores. Part of inspection.h.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/draw.h"
#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/memory.h"

typedef struct drawing {
    const rg_inspection *in;
    const char *place, *date;
    const char **files; /* [frames] */
    bool frames;        /* overlays too */
    int maps;           /* 2: ring map and strip; 0: the frames say nothing of the seal */
    const rg_progress *progress;
} drawing;

static const rg_picture_format formats[] = {RG_PICTURE_PNG, RG_PICTURE_SVG};
enum { FORMATS = 2 };

static rg_code store(const char *place, const char *name, rg_picture_format format, rg_code code,
                     rg_bytes *bytes, rg_error *err)
{
    char path[RG_PLACE_SIZE + RG_NAME_SIZE + 32];
    if (code == RG_OK) {
        snprintf(path, sizeof path, "%s/%s.%s", place, name, rg_picture_suffix(format));
        code = rg_file_write(path, bytes->data, bytes->size, err);
    }
    free(bytes->data);
    return code;
}

static rg_code draw_ring(const drawing *d, rg_error *err)
{
    const rg_inspection *in = d->in;
    rg_draw_ring_args args = {.map = &in->result.map,
                              .serial = in->sweep.serial,
                              .pad = in->sweep.pad,
                              .date = d->date,
                              .tolerance_mm = in->setup.options.sealmap.tolerance_mm,
                              .coverage_factor = in->setup.options.sealmap.coverage_factor};
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < FORMATS; i++) {
        rg_bytes bytes = {0};
        code = rg_draw_ring(&args, formats[i], &bytes, err);
        code = store(d->place, "ring", formats[i], code, &bytes, err);
    }
    return code;
}

static rg_code draw_strip(const drawing *d, rg_error *err)
{
    const rg_inspection *in = d->in;
    rg_draw_strip_args args = {.frames = in->frames,
                               .files = d->files,
                               .count = in->sweep.frames,
                               .plane = &in->result.plane,
                               .serial = in->sweep.serial,
                               .pad = in->sweep.pad,
                               .date = d->date};
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < FORMATS; i++) {
        rg_bytes bytes = {0};
        code = rg_draw_strip(&args, formats[i], &bytes, err);
        code = store(d->place, "strip", formats[i], code, &bytes, err);
    }
    return code;
}

static bool was_read(const rg_inspection *in, int frame)
{
    static const rg_digest none;
    return memcmp(&in->frame_digest[frame], &none, sizeof none) != 0;
}

/* The picture again, for drawing on: a frame that could not be read or decoded has none, its reason
 * stands in seal-map.json. One that was read for the measurement and cannot be now is an error. */
static rg_code load_picture(const drawing *d, int frame, rg_image *image, bool *there,
                            rg_error *err)
{
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_error why = {0};
    char *path = rg_path_join(d->in->folder, d->files[frame]);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code read = rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, &why);
    rg_code code = read == RG_OK ? rg_decode(bytes, size, image, &why) : read;
    *there = code == RG_OK;
    bool lost = code == RG_INTERNAL || (read != RG_OK && was_read(d->in, frame));
    if (lost && read == RG_OK)
        rg_fail_prefix(&why, path);
    free(bytes);
    free(path);
    return lost ? rg_fail(err, code, "%s", why.text) : RG_OK;
}

/* An earlier run's picture of a frame that has none now. */
static void remove_pictures(const char *place, const char *file)
{
    char path[RG_PLACE_SIZE + RG_NAME_SIZE + 32];
    for (int k = 0; k < FORMATS; k++) {
        snprintf(path, sizeof path, "%s/frames/%s.%s", place, file, rg_picture_suffix(formats[k]));
        remove(path);
    }
}

static rg_code draw_frame(const drawing *d, int frame, rg_error *err)
{
    rg_image image = {0};
    bool there = false;
    char name[RG_NAME_SIZE + 16];
    rg_code code = load_picture(d, frame, &image, &there, err);
    if (code == RG_OK && !there)
        remove_pictures(d->place, d->files[frame]);
    if (code != RG_OK || !there)
        return code;
    rg_draw_overlay_args args = {.image = &image,
                                 .setup = &d->in->setup,
                                 .frame = &d->in->frames[frame],
                                 .plane = &d->in->result.plane,
                                 .file = d->files[frame]};
    snprintf(name, sizeof name, "frames/%s", d->files[frame]);
    for (int i = 0; code == RG_OK && i < FORMATS; i++) {
        rg_bytes bytes = {0};
        code = rg_draw_overlay(&args, formats[i], &bytes, err);
        code = store(d->place, name, formats[i], code, &bytes, err);
    }
    rg_image_free(&image);
    return code;
}

static rg_code draw_job(void *context, int job, int worker, rg_error *err)
{
    const drawing *d = context;
    (void)worker;
    job += 2 - d->maps;
    return job == 0   ? draw_ring(d, err)
           : job == 1 ? draw_strip(d, err)
                      : draw_frame(d, job - 2, err);
}

static void drawn(void *context, int done, int jobs)
{
    const drawing *d = context;
    if (d->progress && d->progress->report)
        d->progress->report(d->progress->context, "pictures", done, jobs);
}

static rg_code draw_all(drawing *d, int workers, rg_error *err)
{
    const rg_sweep *s = &d->in->sweep;
    int jobs = d->maps + (d->frames ? s->frames : 0);
    d->files = rg_alloc((size_t)s->frames + 1, sizeof *d->files);
    if (!d->files)
        return rg_fail(err, RG_INTERNAL, "no memory for the names of %d frames", s->frames);
    for (int i = 0; i < s->frames; i++)
        d->files[i] = s->frame[i].file;
    rg_code code = jobs == 0
                       ? RG_OK
                       : rg_pool_run(rg_pool_workers(workers, jobs), jobs, draw_job, drawn, d, err);
    free(d->files);
    return code;
}

static rg_code write_map(const rg_inspection *in, const char *place, rg_error *err)
{
    char path[RG_PLACE_SIZE + 32], *text = NULL;
    rg_code code = rg_inspection_json(in, &text, err);
    snprintf(path, sizeof path, "%s/seal-map.json", place);
    if (code == RG_OK)
        code = rg_file_write(path, text, strlen(text), err);
    free(text);
    return code;
}

void rg_inspection_place(const rg_inspection *inspection, const char *out, char *place)
{
    snprintf(place, RG_PLACE_SIZE, "%s/%s/%s", out, inspection->sweep.serial, inspection->name);
}

/* Pictures of an earlier run that this one did not replace: beside the new
 * seal map they would be somebody else's. */
static void clear_place(const rg_inspection *in, const char *place, rg_pictures pictures)
{
    char path[RG_PLACE_SIZE + RG_NAME_SIZE + 32];
    for (int k = 0; k < FORMATS; k++) {
        const char *suffix = rg_picture_suffix(formats[k]);
        if (pictures == RG_PICTURES_NONE || rg_inspection_heights_only(in)) {
            snprintf(path, sizeof path, "%s/ring.%s", place, suffix);
            remove(path);
            snprintf(path, sizeof path, "%s/strip.%s", place, suffix);
            remove(path);
        }
    }
    for (int i = 0; pictures != RG_PICTURES_ALL && i < in->sweep.frames; i++)
        remove_pictures(place, in->sweep.frame[i].file);
}

rg_code rg_inspection_write(const rg_inspection *inspection, const char *out, rg_pictures pictures,
                            const char *date, int workers, const rg_progress *progress, char *place,
                            rg_error *err)
{
    char frames[RG_PLACE_SIZE + 16];
    int length =
        snprintf(place, RG_PLACE_SIZE, "%s/%s/%s", out, inspection->sweep.serial, inspection->name);
    if (length < 0 || length >= RG_PLACE_SIZE)
        return rg_fail(err, RG_CANT_CREATE, "the output path %.200s... is too long", out);
    snprintf(frames, sizeof frames, "%s/frames", place);
    rg_code code = rg_folder_make(pictures == RG_PICTURES_ALL ? frames : place, err);
    if (code == RG_OK && pictures != RG_PICTURES_NONE) {
        drawing d = {.in = inspection,
                     .place = place,
                     .date = date,
                     .frames = pictures == RG_PICTURES_ALL,
                     .maps = rg_inspection_heights_only(inspection) ? 0 : 2,
                     .progress = progress};
        code = draw_all(&d, workers, err);
    }
    /* Last: where the seal map is, everything is. */
    if (code == RG_OK)
        code = write_map(inspection, place, err);
    if (code == RG_OK)
        clear_place(inspection, place, pictures);
    return code;
}

/*
 * sweep_openings.c - the open frames of a sweep, for opening.h. Part of pipeline.h.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/pipeline.h"
#include "rimglow/text.h"

typedef struct views {
    int count;
    int *frame;              /* owned; index into the sweep's frames */
    rg_plane *light;         /* owned */
    rg_opening_view *view;   /* owned */
    rg_opening_frame *found; /* owned */
} views;

static bool is_ready(const rg_frame *f)
{
    return f->role == RG_FRAME_OPEN && f->luma.data && rg_frame_posed(f);
}

static rg_code views_new(views *v, const rg_frame *frames, int count, rg_error *err)
{
    static const double unit[3] = {1, 0, 0};
    size_t n = (size_t)count + 1;
    rg_linear linear = {0};
    *v = (views){.frame = rg_alloc(n, sizeof *v->frame),
                 .light = rg_alloc(n, sizeof *v->light),
                 .view = rg_alloc(n, sizeof *v->view),
                 .found = rg_alloc(n, sizeof *v->found)};
    if (!v->frame || !v->light || !v->view || !v->found)
        return rg_fail(err, RG_INTERNAL, "no memory for %d open frames", count);
    rg_code code = rg_linear_new(&linear, 1, 8, unit, err);
    for (int i = 0; code == RG_OK && i < count; i++) {
        const rg_image *m = &frames[i].luma;
        if (!is_ready(&frames[i]))
            continue;
        code = rg_plane_new(&v->light[v->count], m, &linear, 0, 0, m->width, m->full_height, true,
                            err);
        v->view[v->count] =
            (rg_opening_view){.light = &v->light[v->count], .place = &frames[i].pose};
        v->frame[v->count] = i;
        v->count += code == RG_OK;
    }
    rg_linear_free(&linear);
    return code;
}

static void views_free(views *v)
{
    for (int i = 0; i < v->count; i++)
        rg_plane_free(&v->light[i]);
    free(v->frame);
    free(v->light);
    free(v->view);
    free(v->found);
}

/* What was found, back to the sweep's frames. */
static int note(const views *v, rg_frame *frames, int count)
{
    int given = 0;
    for (int i = 0; i < count; i++) {
        rg_frame *f = &frames[i];
        given += f->role == RG_FRAME_OPEN;
        f->open = (rg_opening_frame){.bearing_deg = NAN, .elevation_deg = NAN, .rms_px = NAN};
        rg_copy_text(f->open.reason, sizeof f->open.reason, f->reason);
        rg_image_free(&f->luma);
    }
    for (int k = 0; k < v->count; k++) {
        rg_frame *f = &frames[v->frame[k]];
        f->open = v->found[k];
        if (!f->open.used)
            continue;
        f->bearing_deg = f->open.bearing_deg;
        f->elevation_deg = f->open.elevation_deg;
    }
    return given;
}

rg_code rg_sweep_openings(const rg_setup *setup, rg_frame *frames, int count, rg_opening *opening,
                          rg_error *err)
{
    views v;
    rg_code code = views_new(&v, frames, count, err);
    if (code == RG_OK)
        code = rg_opening_measure(&setup->lens, &setup->rim, &setup->options.opening,
                                  setup->options.rocking.u_scale, v.view, v.count, v.found, opening,
                                  err);
    if (code == RG_OK)
        opening->frames_given = note(&v, frames, count);
    views_free(&v);
    return code;
}

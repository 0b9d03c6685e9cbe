/*
 * lab_draw.c - photographs of the lab: drawn in bands, exposed, and taken as frames.
 */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lab_private.h"
#include "rimglow/pool.h"
#include "rimglow/random.h"
#include "rimglow/render.h"

/* Bands of a picture for each worker: what is dear lies in its middle. */
enum { BANDS_EACH = 4 };

double rg_lab_now_ms(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return 1e3 * (double)t.tv_sec + 1e-6 * (double)t.tv_nsec;
}

/* Another seed for each value, told apart by its bits. */
static uint64_t mix(uint64_t seed, double value)
{
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    rg_random random = {seed ^ bits};
    return rg_random_next(&random);
}

void rg_lab_shot_free(rg_lab_shot *shot)
{
    rg_synth_abandon(shot->drawing);
    free(shot->jpeg);
    rg_frame_free(&shot->frame);
    *shot = (rg_lab_shot){0};
}

/* ---------------------------------------------------------------- what is photographed */

rg_lab_shot rg_lab_closed(const rg_lab *lab, const rg_lab_case *c)
{
    rg_synth_scene cracked;
    rg_lab_shot shot = {.exposure = 1, .role = RG_FRAME_CLOSED};
    const rg_render_sweep face = rg_lab_pressed(lab, c);
    rg_render_scene(&face, lab->pad, &shot.scene, &cracked);
    shot.camera =
        rg_synth_camera(c->bearing_deg, c->elevation_deg, c->distance_mm, face.aim_mm, c->roll_deg);
    /* Another view has another noise. */
    shot.seed = mix(mix(c->seed, c->bearing_deg), c->elevation_deg);
    return shot;
}

rg_lab_shot rg_lab_cracked(const rg_lab *lab, const rg_render_sweep *face, uint64_t seed)
{
    rg_synth_scene closed;
    rg_lab_shot shot = {.exposure = face->witness_exposure, .role = RG_FRAME_WITNESS, .seed = seed};
    rg_render_scene(face, lab->pad, &closed, &shot.scene);
    /* From where nothing of the key stands in front. */
    shot.camera = rg_synth_camera(182, -1, face->distance_mm, face->aim_mm, 0);
    return shot;
}

/* ---------------------------------------------------------------- tag finders */

static rg_code borrow_finder(rg_lab *lab, rg_tag_finder **finder, rg_error *err)
{
    pthread_mutex_lock(&lab->lock);
    *finder = lab->finders > 0 ? lab->finder[--lab->finders] : NULL;
    pthread_mutex_unlock(&lab->lock);
    return *finder ? RG_OK : rg_tag_finder_new(finder, &lab->setup.options.tags, err);
}

static void return_finder(rg_lab *lab, rg_tag_finder *finder)
{
    pthread_mutex_lock(&lab->lock);
    bool room = lab->finders < RG_LAB_FINDERS;
    if (room)
        lab->finder[lab->finders++] = finder;
    pthread_mutex_unlock(&lab->lock);
    if (!room)
        rg_tag_finder_free(finder);
}

/* ---------------------------------------------------------------- from light to frame */

static rg_code begin(const rg_lab *lab, const rg_render_sweep *face, int bands, rg_lab_shot *shot,
                     rg_error *err)
{
    rg_code code = rg_synth_check(&shot->scene, err);
    if (code == RG_OK)
        code = rg_synth_begin(&shot->scene, lab->eye, &shot->camera, face->blur_px, 0, bands,
                              &shot->drawing, err);
    if (code == RG_BAD_DATA && err)
        err->code = RG_USAGE;
    return code == RG_BAD_DATA ? RG_USAGE : code;
}

static rg_code expose(const rg_lab *lab, const rg_render_sweep *face, const rg_synth_view *view,
                      rg_lab_shot *shot, rg_error *err)
{
    rg_image image;
    rg_code code = rg_synth_expose(lab->sensor, view, shot->exposure, shot->seed, &image, err);
    if (code != RG_OK)
        return code;
    code = rg_synth_jpeg(&image, face->jpeg_quality, &shot->jpeg, &shot->size, err);
    rg_image_free(&image);
    return code;
}

rg_code rg_lab_develop(rg_lab *lab, const rg_render_sweep *face, const rg_synth_view *view,
                       rg_lab_shot *shot, rg_error *err)
{
    rg_tag_finder *finder;
    double start = rg_lab_now_ms();
    rg_code code = expose(lab, face, view, shot, err);
    shot->expose_ms = rg_lab_now_ms() - start;
    if (code == RG_OK)
        code = borrow_finder(lab, &finder, err);
    if (code != RG_OK)
        return code;
    start = rg_lab_now_ms();
    code = rg_frame_take(&lab->setup, finder, shot->jpeg, shot->size, shot->role, shot->exposure,
                         &shot->frame, err);
    shot->take_ms = rg_lab_now_ms() - start;
    return_finder(lab, finder);
    return code;
}

/* What was drawn, through the lens. */
static rg_code end_drawing(const rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot,
                           rg_synth_view *view, rg_error *err)
{
    rg_synth_drawing *drawing = shot->drawing;
    shot->drawing = NULL;
    rg_code code = rg_synth_end(drawing, view, err);
    return code == RG_OK ? rg_render_lens(face, &lab->setup.lens, view, err) : code;
}

static rg_code finish(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot, rg_error *err)
{
    rg_synth_view view = {0};
    rg_code code = end_drawing(lab, face, shot, &view, err);
    if (code == RG_OK)
        code = rg_lab_develop(lab, face, &view, shot, err);
    rg_synth_view_free(&view);
    return code;
}

typedef struct shooting {
    rg_lab *lab;
    const rg_render_sweep *face;
    rg_lab_shot *shot;
    int bands;
} shooting;

static rg_code draw_band(void *context, int job, int worker, rg_error *err)
{
    const shooting *s = context;
    (void)worker;
    return rg_synth_band(s->shot[job / s->bands].drawing, job % s->bands, err);
}

static rg_code draw(const shooting *s, int count, rg_error *err)
{
    rg_code code = RG_OK;
    int jobs = count * s->bands;
    for (int i = 0; code == RG_OK && i < count; i++)
        code = begin(s->lab, s->face, s->bands, &s->shot[i], err);
    shooting borrowed = *s;
    if (code == RG_OK)
        code = rg_pool_run(rg_pool_workers(s->lab->workers, jobs), jobs, draw_band, NULL, &borrowed,
                           err);
    return code;
}

rg_code rg_lab_light(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot, int count,
                     rg_synth_view *view, rg_error *err)
{
    const shooting s = {lab, face, shot, BANDS_EACH * lab->workers};
    rg_code code = draw(&s, count, err);
    for (int i = 0; code == RG_OK && i < count; i++)
        code = end_drawing(lab, face, &shot[i], &view[i], err);
    return code;
}

rg_code rg_lab_shoot(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot, double *render_ms,
                     rg_error *err)
{
    double start = rg_lab_now_ms();
    const shooting s = {lab, face, shot, BANDS_EACH * lab->workers};
    rg_code code = draw(&s, 1, err);
    *render_ms = rg_lab_now_ms() - start;
    return code == RG_OK ? finish(lab, face, shot, err) : code;
}

rg_code rg_lab_shoot_alone(rg_lab *lab, const rg_render_sweep *face, rg_lab_shot *shot,
                           rg_error *err)
{
    rg_code code = begin(lab, face, 1, shot, err);
    if (code == RG_OK)
        code = rg_synth_band(shot->drawing, 0, err);
    return code == RG_OK ? finish(lab, face, shot, err) : code;
}

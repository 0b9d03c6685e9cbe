/*
 * lessons_sweep.c - pads drawn, swept and measured in memory (part of lessons.h). The frames are JPEGs that pass
 * through rg_frame_take like any photograph. The lens is the station's, its picture cut at the sides to what
 * shows the cup: the rest costs time and shows the room.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/file.h"
#include "rimglow/lessons.h"
#include "rimglow/memory.h"
#include "rimglow/random.h"
#include "rimglow/render.h"

#include "lessons_private.h"
#include "quiz_private.h"

/* Beside the cup, mm: a pad that lies askew and a hand that does not aim well stay in the picture. */
static const double beside_cup_mm = 3;
/* The witness's camera, as render.c has it. */
static const double witness_bearing = 182, witness_elevation = -1;

/* ---------------------------------------------------------------- files */

/* A file that the plan names, beside the plan. */
static rg_code read_beside(const char *plan, const char *named, char path[RG_INPUT_PATH],
                           uint8_t **text, size_t *size, rg_error *err)
{
    const char *slash = strrchr(plan, '/');
    int above = named[0] == '/' || !slash ? 0 : (int)(slash - plan) + 1;
    int n = snprintf(path, RG_INPUT_PATH, "%.*s%s", above, plan, named);
    if (n < 0 || n >= RG_INPUT_PATH)
        return rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long; use a shorter one", plan);
    return rg_file_read(path, RG_CONFIG_MAX_BYTES, text, size, err);
}

static rg_code read_instrument(rg_lesson_bench *b, rg_error *err)
{
    char path[RG_INPUT_PATH];
    uint8_t *text = NULL;
    size_t size = 0;
    rg_code code = read_beside(b->plan_path, b->plan.instrument_path, path, &text, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &b->instrument, err);
    free(text);
    return code;
}

static rg_code read_station(rg_lesson_bench *b, rg_error *err)
{
    char path[RG_INPUT_PATH];
    uint8_t *text = NULL;
    size_t size = 0;
    rg_code code = read_beside(b->plan_path, b->plan.station_path, path, &text, &size, err);
    if (code == RG_OK)
        code = rg_station_parse(path, (const char *)text, size, &b->station, err);
    free(text);
    return code;
}

static rg_code read_plan(const char *given, rg_lesson_bench *b, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("lessons.ini", given, "plan", &file, err);
    if (code != RG_OK)
        return code;
    if (strlen(file.path) >= sizeof b->plan_path)
        code = rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long; use a shorter one",
                       file.path);
    snprintf(b->plan_path, sizeof b->plan_path, "%.*s", (int)sizeof b->plan_path - 1, file.path);
    if (code == RG_OK)
        code = rg_render_plan_parse(file.path, file.text, file.size, &b->plan, err);
    free(file.text);
    return code;
}

static rg_code read_quiz(const char *given, rg_lesson_bench *b, rg_error *err)
{
    rg_render_sweep sweep;
    rg_code code = rg_lesson_bench_find(b, "exercise", &sweep, err);
    if (code != RG_OK)
        return code;
    return rg_quiz_options_load(given, rg_quiz_overhang(rg_lesson_bench_pad(b, &sweep)), &b->quiz,
                                err);
}

rg_code rg_lesson_bench_open(const rg_lessons *l, rg_lesson_bench *b, rg_error *err)
{
    *b = (rg_lesson_bench){.plan_path = ""};
    rg_code code = read_plan(l->plan_file, b, err);
    if (code == RG_OK)
        code = read_instrument(b, err);
    if (code == RG_OK)
        code = read_station(b, err);
    if (code == RG_OK)
        code = rg_calib_diagnosis(&b->diagnosis, err);
    if (code == RG_OK)
        code = read_quiz(l->quiz_file, b, err);
    if (code != RG_OK)
        rg_lesson_bench_close(b);
    return code;
}

void rg_lesson_bench_close(rg_lesson_bench *b)
{
    rg_render_plan_free(&b->plan);
    rg_instrument_free(&b->instrument);
    *b = (rg_lesson_bench){.plan_path = ""};
}

const rg_pad *rg_lesson_bench_pad(const rg_lesson_bench *b, const rg_render_sweep *sweep)
{
    return rg_instrument_pad(&b->instrument, sweep->pad);
}

rg_code rg_lesson_bench_find(const rg_lesson_bench *b, const char *name, rg_render_sweep *sweep,
                             rg_error *err)
{
    for (int i = 0; i < b->plan.sweeps; i++) {
        if (strcmp(b->plan.sweep[i].name, name) != 0)
            continue;
        *sweep = b->plan.sweep[i];
        const rg_pad *pad = rg_lesson_bench_pad(b, sweep);
        if (!pad || pad->crown.number < 0)
            return rg_fail(err, RG_BAD_DATA,
                           "%s: [sweep %s] pad = %s: %s has no such pad, or it bears no crown",
                           b->plan_path, name, sweep->pad, b->plan.instrument_path);
        if (sweep->open || sweep->bearings < 1 || sweep->levels < 1 || !sweep->witness)
            return rg_fail(err, RG_BAD_DATA,
                           "%s: [sweep %s]: a lesson needs a closed pad with a witness; open = no, "
                           "witness = yes",
                           b->plan_path, name);
        return RG_OK;
    }
    return rg_fail(err, RG_BAD_DATA,
                   "%s has no [sweep %s], which a lesson shows; add it, as in "
                   "calib/lessons.ini",
                   b->plan_path, name);
}

/* ---------------------------------------------------------------- setup */

static void cut_sides(rg_lens *lens, double half_mm, double distance_mm)
{
    double half = half_mm * lens->fx / distance_mm;
    int left = (int)fmax(floor(lens->cx - half), 0);
    int right = (int)fmin(ceil(lens->cx + half), lens->width - 1);
    lens->cx -= left;
    lens->width = right - left + 1;
}

void rg_lesson_bench_setup(const rg_lesson_bench *b, const rg_render_sweep *sweep, rg_setup *setup)
{
    const rg_pad *pad = rg_lesson_bench_pad(b, sweep);
    rg_config_setup(&b->station, pad, setup);
    cut_sides(&setup->lens, 0.5 * pad->rim.pad_diameter_mm + beside_cup_mm,
              sweep->distance_mm - 0.5 * pad->rim.pad_diameter_mm);
}

/* ---------------------------------------------------------------- frames */

typedef struct taking {
    const rg_lesson_bench *bench;
    rg_lesson_work *work;
    rg_setup setup;
    rg_synth_scene closed, cracked;
    rg_synth_sensor *sensor; /* owned */
    rg_tag_finder *finder;   /* owned */
    rg_random random;
    int frames;
    rg_frame *frame; /* owned */
} taking;

static double spread(rg_random *random, double half_range)
{
    return rg_random_between(random, -half_range, half_range);
}

static rg_code take(taking *t, const rg_synth_scene *scene, double bearing, double elevation,
                    rg_frame_role role, double exposure, rg_error *err)
{
    const rg_render_sweep *s = &t->work->sweep;
    const rg_lessons *asked = t->work->asked;
    rg_synth_view view;
    rg_image image;
    uint8_t *bytes = NULL;
    size_t size;
    if (asked->go_on && !asked->go_on(asked->go_on_context))
        return rg_fail(err, RG_INTERNAL, "ended before the sheet was made");
    bearing += spread(&t->random, s->bearing_spread_deg);
    elevation += spread(&t->random, s->elevation_spread_deg);
    double distance = s->distance_mm + spread(&t->random, s->distance_spread_mm);
    rg_pose camera = rg_synth_camera(bearing, elevation, distance, s->aim_mm,
                                     spread(&t->random, s->roll_spread_deg));
    rg_code code = rg_render_view(s, scene, &t->setup.lens, &camera, &view, err);
    if (code != RG_OK)
        return code;
    code = rg_synth_expose(t->sensor, &view, exposure, rg_random_next(&t->random), &image, err);
    rg_synth_view_free(&view);
    if (code != RG_OK)
        return code;
    code = rg_synth_jpeg(&image, s->jpeg_quality, &bytes, &size, err);
    rg_image_free(&image);
    if (code == RG_OK)
        code = rg_frame_take(&t->setup, t->finder, bytes, size, role, exposure,
                             &t->frame[t->frames], err);
    t->frames += code == RG_OK;
    free(bytes);
    return code;
}

static rg_code take_all(taking *t, rg_error *err)
{
    const rg_render_sweep *s = &t->work->sweep;
    rg_code code = take(t, &t->cracked, witness_bearing, witness_elevation, RG_FRAME_WITNESS,
                        s->witness_exposure, err);
    for (int i = 0; i < s->bearings; i++)
        for (int k = 0; k < s->levels && code == RG_OK; k++)
            code = take(t, &t->closed, s->first_bearing_deg + 360.0 * i / s->bearings,
                        s->elevation_deg[k], RG_FRAME_CLOSED, 1, err);
    return code;
}

static rg_code begin(taking *t, rg_error *err)
{
    const rg_render_sweep *s = &t->work->sweep;
    const rg_pad *pad = rg_lesson_bench_pad(t->bench, s);
    rg_lesson_bench_setup(t->bench, s, &t->setup);
    rg_render_scene(s, pad, &t->closed, &t->cracked);
    rg_synth_widths(&t->closed, t->work->true_mm);
    rg_code code = rg_synth_check(&t->closed, err);
    if (code == RG_OK)
        code = rg_synth_sensor_new(&t->sensor, s->full_well, s->read_noise, err);
    if (code == RG_OK)
        code = rg_tag_finder_new(&t->finder, &t->setup.options.tags, err);
    if (code != RG_OK)
        return code;
    t->frame = rg_alloc((size_t)s->bearings * (size_t)s->levels + 1, sizeof *t->frame);
    return t->frame ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a sweep");
}

static void end(taking *t)
{
    for (int i = 0; i < t->frames; i++)
        rg_frame_free(&t->frame[i]);
    free(t->frame);
    rg_tag_finder_free(t->finder);
    rg_synth_sensor_free(t->sensor);
}

/* ---------------------------------------------------------------- observations */

/* Flux of the columns within half a degree, of the frame that looks at the bearing most levelly. */
static void read_flux(const taking *t, rg_lesson_work *w)
{
    double best = INFINITY;
    w->flux_mm = w->u_flux_mm = (double)NAN;
    for (int i = 0; i < t->frames; i++) {
        const rg_frame *f = &t->frame[i];
        double off = fabs(rg_angle_between(f->bearing_deg, w->look_deg));
        if (f->role != RG_FRAME_CLOSED || !f->used || off > 60)
            continue;
        double sum = 0, u2 = 0, away = fabs(f->elevation_deg) + 0.01 * off;
        int n = 0;
        for (int c = 0; c < f->light.columns; c++) {
            const rg_column_light *column = &f->light.column[c];
            if (fabs(rg_angle_between(f->strip.column[c].bearing_deg, w->look_deg)) > 0.5 ||
                (column->state != RG_COLUMN_DARK && column->state != RG_COLUMN_LIT))
                continue;
            sum += column->flux_mm;
            u2 += column->u_flux_mm * column->u_flux_mm;
            n++;
        }
        if (n == 0 || away >= best)
            continue;
        best = away;
        w->flux_mm = sum / n;
        w->u_flux_mm = sqrt(u2) / n;
    }
}

/* How high the slot stood open for each frame there. */
static rg_code read_curve(const taking *t, rg_lesson_work *w, rg_error *err)
{
    rg_observations all;
    const rg_observe_options options = rg_sweep_reading(&t->setup, &w->result);
    rg_code code = rg_observe(&options, &w->result.plane, t->setup.rim.outer_diameter_mm / 2,
                              t->frame, t->frames, &all, err);
    if (code != RG_OK)
        return code;
    w->curve.width_mm = w->true_mm[w->look_deg];
    for (int i = 0; i < all.count[w->look_deg] && w->curve.dots < RG_LESSON_DOTS; i++) {
        const rg_observation *o = &all.obs[w->look_deg][i];
        w->curve.dot[w->curve.dots++] =
            (rg_lesson_dot){rg_degrees(atan(o->slope_rim)), fmax(o->height_mm, 0), o->u_mm};
    }
    rg_observations_free(&all);
    return RG_OK;
}

static rg_code measure(taking *t, rg_error *err)
{
    rg_lesson_work *w = t->work;
    rg_code code = rg_sweep_measure(&t->setup, t->frame, t->frames, &w->result, err);
    if (code == RG_OK)
        code = rg_diagnose(&w->result.map, t->setup.options.sealmap.tolerance_mm, NULL,
                           &t->bench->diagnosis, &w->diagnosis, err);
    if (code != RG_OK || w->look_deg < 0)
        return code;
    read_flux(t, w);
    return read_curve(t, w, err);
}

rg_code rg_lesson_measure(const rg_lesson_bench *bench, rg_lesson_work *work, rg_error *err)
{
    taking t = {.bench = bench, .work = work, .random = {work->seed}};
    char prefix[RG_NAME_SIZE + 16];
    work->curve = (rg_lesson_curve){0};
    rg_code code = begin(&t, err);
    if (code == RG_OK)
        code = take_all(&t, err);
    if (code == RG_OK)
        code = measure(&t, err);
    end(&t);
    if (code != RG_OK) {
        snprintf(prefix, sizeof prefix, "[sweep %s]", work->sweep.name);
        rg_fail_prefix(err, prefix);
    }
    return code;
}

/* ---------------------------------------------------------------- pictures */

static void find_ticks(const rg_lens *lens, const rg_pose *camera, double outer_mm,
                       rg_lesson_picture *m)
{
    for (int i = 0; i < RG_LESSON_TICKS; i++) {
        double bearing = rint(m->bearing_deg / 10) * 10 + 10.0 * (i - RG_LESSON_TICKS / 2);
        rg_rim_view v = rg_rim_look(lens, camera, outer_mm, 0, bearing);
        bool seen = v.in_front && fabs(v.obliquity_deg) < 80;
        m->tick_px[i] = seen ? v.pixel.x : (double)NAN;
    }
}

/* The lens with the window of the shot alone; false when the rim is not in view there. */
static bool window(const rg_setup *setup, const rg_pose *camera, const rg_lesson_shot *shot,
                   rg_lens *lens)
{
    const double r = 0.5 * setup->rim.outer_diameter_mm;
    rg_rim_view low = rg_rim_look(&setup->lens, camera, r, shot->low_mm, shot->centre_deg);
    rg_rim_view high = rg_rim_look(&setup->lens, camera, r, shot->high_mm, shot->centre_deg);
    *lens = setup->lens;
    if (!low.in_front || !high.in_front)
        return false;
    double px_per_mm = (low.pixel.y - high.pixel.y) / (shot->high_mm - shot->low_mm);
    lens->width = (int)lround(shot->wide_mm * px_per_mm);
    lens->height = (int)lround(low.pixel.y - high.pixel.y);
    lens->cx -= floor(low.pixel.x - 0.5 * lens->width);
    lens->cy -= floor(high.pixel.y);
    return lens->width >= RG_IMAGE_MIN_SIDE && lens->height >= RG_IMAGE_MIN_SIDE &&
           lens->width < RG_IMAGE_MAX_SIDE && lens->height < RG_IMAGE_MAX_SIDE;
}

static rg_code expose(const rg_render_sweep *s, const rg_synth_view *view, uint64_t seed,
                      rg_image *image, rg_error *err)
{
    rg_synth_sensor *sensor;
    rg_code code = rg_synth_sensor_new(&sensor, s->full_well, s->read_noise, err);
    if (code != RG_OK)
        return code;
    code = rg_synth_expose(sensor, view, 1, seed, image, err);
    rg_synth_sensor_free(sensor);
    return code;
}

rg_code rg_lesson_photograph(const rg_lesson_bench *b, const rg_render_sweep *s,
                             const rg_lesson_shot *shot, rg_lesson_picture *picture, rg_error *err)
{
    rg_setup setup;
    rg_synth_scene closed, cracked;
    rg_synth_view view;
    rg_image image;
    rg_lens lens;
    *picture =
        (rg_lesson_picture){.bearing_deg = shot->bearing_deg, .elevation_deg = shot->elevation_deg};
    rg_lesson_bench_setup(b, s, &setup);
    rg_render_scene(s, rg_lesson_bench_pad(b, s), &closed, &cracked);
    rg_pose camera =
        rg_synth_camera(shot->bearing_deg, shot->elevation_deg, s->distance_mm, s->aim_mm, 0);
    if (!window(&setup, &camera, shot, &lens))
        return rg_fail(err, RG_BAD_DATA, "%s: [sweep %s] cannot be pictured from %g degrees",
                       b->plan_path, s->name, shot->bearing_deg);
    rg_code code = rg_render_view(s, &closed, &lens, &camera, &view, err);
    if (code != RG_OK)
        return code;
    code = expose(s, &view, shot->seed, &image, err);
    rg_synth_view_free(&view);
    if (code != RG_OK)
        return code;
    uint8_t *grey = rg_alloc((size_t)image.width * (size_t)image.full_height, 1);
    if (grey) {
        rg_image_luma(&image, grey);
        picture->grey = grey;
        picture->width = image.width;
        picture->height = image.full_height;
        picture->px_per_mm = lens.height / (shot->high_mm - shot->low_mm);
        find_ticks(&lens, &camera, 0.5 * setup.rim.outer_diameter_mm, picture);
    }
    rg_image_free(&image);
    return grey ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a picture");
}

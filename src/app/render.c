/*
 * render.c - from a plan to sweep folders. See render.h.
 */
#include "rimglow/render.h"

#include <gsl/gsl_rng.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

enum { SHOTS_MAX = RG_FRAMES_MAX };
static const char every_pad[] = "*";
/* The cup stands this far beyond its pad, and a pad cracked open about its hinge rises so much more at
 * the far side, as a share of what its middle rises. */
static const double cup_beyond_mm = 0.3, crack_tilt = 0.41;
/* The crown stands on the cup: a tag with its white frame, a module all round, is 10/8 of its border high. */
static const double tag_foot = 0.625, least_cup_mm = 0.5;

/* One frame to be taken. */
typedef struct shot {
    const rg_synth_scene *scene;
    rg_role role;
    double exposure;
    rg_pose camera;
    double bearing_deg, elevation_deg;
    uint64_t seed;
    char file[RG_NAME_SIZE];
} shot;

typedef struct rendering {
    const rg_render_plan *plan;
    const rg_render_sweep *sweep;
    const rg_lens *lens;
    const rg_pad *pad;
    const char *out;
    rg_synth_scene closed, cracked;
    rg_synth_sensor *sensor; /* owned */
    int shots;
    shot *shot; /* owned */
    char folder[RG_PLACE_SIZE];
    const rg_progress *progress;
    char what[RG_NAME_SIZE + 16];
} rendering;

/* What rg_render_run was told, and what the plan's files say. */
typedef struct run {
    const char *plan_file, *out;
    const char *const *only;
    int onlys, workers;
    const rg_progress *progress;
    rg_render_plan plan;      /* owned */
    rg_instrument instrument; /* owned */
    rg_station station;
} run;

typedef struct source {
    char path[RG_INPUT_PATH];
    uint8_t *text; /* owned */
    size_t size;
} source;

/* ---------------------------------------------------------------- scene */

static void set_lamp(const rg_render_sweep *s, rg_synth_scene *c)
{
    for (int k = 0; k < 3; k++)
        c->lamp[k] *= s->lamp;
    c->lamp_uneven = s->lamp_uneven;
    c->lamp_bearing_deg = s->lamp_bearing_deg;
    c->paper = s->paper;
    c->metal = s->metal;
    c->leather = s->leather;
    c->room = s->room;
    c->streaks = s->streaks;
    for (int i = 0; i < s->streaks; i++)
        c->streak[i] =
            (rg_synth_streak){s->streak[i].azimuth_deg, s->streak[i].width_deg, s->streak[i].light,
                              s->streak[i].low_mm, s->streak[i].high_mm};
}

static void set_face(const rg_render_sweep *s, rg_synth_pad *p)
{
    p->level_mm = s->level_mm;
    p->tilt_mm = s->tilt_mm;
    p->tilt_bearing_deg = s->tilt_bearing_deg;
    p->saddle_mm = s->saddle_mm;
    p->saddle_bearing_deg = s->saddle_bearing_deg;
    p->creases = s->creases;
    for (int i = 0; i < s->creases; i++)
        p->crease[i] = (rg_synth_crease){s->crease[i].bearing_deg, s->crease[i].half_width_deg,
                                         s->crease[i].depth_mm};
    p->press_mm = s->press_mm;
    p->bulge_mm = s->bulge_mm;
    p->askew_x = s->askew_x;
    p->askew_y = s->askew_y;
    p->feeler_mm = s->feeler_mm;
    p->feeler_width_mm = s->feeler_width_mm;
    p->feeler_bearing_deg = s->feeler_bearing_deg;
}

static void set_scene(const rg_render_sweep *s, const rg_pad *pad, rg_synth_scene *c)
{
    const rg_rim *rim = &pad->rim;
    rg_synth_scene_default(c);
    c->inner_mm = 0.5 * rim->inner_diameter_mm;
    c->outer_mm = 0.5 * rim->outer_diameter_mm;
    c->pad_mm = 0.5 * rim->pad_diameter_mm;
    c->cup_mm = c->pad_mm + cup_beyond_mm;
    c->crown = pad->crown.number;
    c->apothem_mm = pad->crown.apothem_mm;
    c->tag_mm = pad->crown.tag_size_mm;
    c->tag_height_mm = pad->crown.centre_height_mm;
    c->cup_top_mm =
        fmax(c->tag_height_mm - tag_foot * c->tag_mm, c->pad_thickness_mm + least_cup_mm);
    c->key = s->posts;
    set_lamp(s, c);
    set_face(s, &c->pad);
}

/* The same pad cracked open about its hinge, for the witness. */
static void crack(const rg_render_sweep *s, rg_synth_pad *p)
{
    double along = p->tilt_mm * cos(rg_radians(p->tilt_bearing_deg));
    double across = p->tilt_mm * sin(rg_radians(p->tilt_bearing_deg));
    along -= crack_tilt * s->witness_mm;
    p->level_mm += s->witness_mm;
    p->tilt_mm = hypot(along, across);
    p->tilt_bearing_deg = rg_degrees(atan2(across, along));
}

void rg_render_scene(const rg_render_sweep *sweep, const rg_pad *pad, rg_synth_scene *closed,
                     rg_synth_scene *cracked)
{
    set_scene(sweep, pad, closed);
    *cracked = *closed;
    crack(sweep, &cracked->pad);
}

rg_code rg_render_lens(const rg_render_sweep *sweep, const rg_lens *lens, rg_synth_view *view,
                       rg_error *err)
{
    rg_code code = rg_synth_vignette(view, lens, sweep->falloff_power, sweep->vignetting, err);
    if (code == RG_OK)
        rg_synth_veil(view, sweep->glare);
    else
        rg_synth_view_free(view);
    return code;
}

rg_code rg_render_view(const rg_render_sweep *sweep, const rg_synth_scene *scene,
                       const rg_lens *lens, const rg_pose *camera, rg_synth_view *view,
                       rg_error *err)
{
    rg_code code = rg_synth_render(scene, lens, camera, sweep->blur_px, 0, view, err);
    return code == RG_OK ? rg_render_lens(sweep, lens, view, err) : code;
}

/* ---------------------------------------------------------------- shots */

static double spread(gsl_rng *random, double half_range)
{
    return half_range * (2 * gsl_rng_uniform(random) - 1);
}

static void aim(const rg_render_sweep *s, gsl_rng *random, double bearing, double elevation,
                shot *k)
{
    k->bearing_deg = bearing + spread(random, s->bearing_spread_deg);
    k->elevation_deg = elevation + spread(random, s->elevation_spread_deg);
    k->camera = rg_synth_camera(k->bearing_deg, k->elevation_deg,
                                s->distance_mm + spread(random, s->distance_spread_mm), s->aim_mm,
                                spread(random, s->roll_spread_deg));
    k->seed = ((uint64_t)gsl_rng_get(random) << 32) | gsl_rng_get(random);
}

static const char *ending(const rg_render_sweep *s)
{
    return s->format == RG_RENDER_PNG ? "png" : "jpg";
}

static void plan_shots(rendering *r, gsl_rng *random)
{
    const rg_render_sweep *s = r->sweep;
    shot *k = r->shot;
    if (s->witness && !s->open) {
        *k = (shot){.scene = &r->cracked, .role = RG_ROLE_WITNESS, .exposure = s->witness_exposure};
        snprintf(k->file, sizeof k->file, "witness.%s", ending(s));
        aim(s, random, 182, -1, k++);
    }
    for (int i = 0; i < s->bearings; i++)
        for (int l = 0; l < s->levels; l++, k++) {
            *k = (shot){.scene = &r->closed,
                        .role = s->open ? RG_ROLE_OPEN : RG_ROLE_CLOSED,
                        .exposure = s->open ? s->open_exposure : 1};
            snprintf(k->file, sizeof k->file, "%s_%02d.%s", s->open ? "open" : "view",
                     i * s->levels + l, ending(s));
            aim(s, random, s->first_bearing_deg + 360.0 * i / s->bearings, s->elevation_deg[l], k);
        }
    r->shots = (int)(k - r->shot);
}

/* FNV-1a of 32 bits (Fowler, Noll and Vo, RFC 9923), since the frames of samples/ rest on it: so that a sweep looks the
 * same whether or not others are rendered with it. */
static unsigned long seed_of(const rg_render_plan *plan, const char *name)
{
    uint32_t hash = 2166136261u;
    for (const char *at = name; *at; at++)
        hash = (hash ^ (uint8_t)*at) * 16777619u;
    return hash ^ (uint32_t)plan->seed * 2654435761u;
}

static rg_code prepare(rendering *r, rg_error *err)
{
    rg_render_scene(r->sweep, r->pad, &r->closed, &r->cracked);
    rg_code code = rg_synth_check(&r->closed, err);
    if (code != RG_OK) {
        char prefix[RG_NAME_SIZE + 16];
        snprintf(prefix, sizeof prefix, "[sweep %s]", r->sweep->name);
        rg_fail_prefix(err, prefix);
        return code;
    }
    gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
    r->shot = rg_alloc(SHOTS_MAX + 1, sizeof *r->shot);
    if (!random || !r->shot) {
        gsl_rng_free(random);
        return rg_fail(err, RG_INTERNAL, "no memory for a sweep");
    }
    gsl_rng_set(random, seed_of(r->plan, r->sweep->name));
    plan_shots(r, random);
    gsl_rng_free(random);
    return rg_synth_sensor_new(&r->sensor, r->sweep->full_well, r->sweep->read_noise, err);
}

static rg_code photograph(const rendering *r, const shot *k, uint8_t **bytes, size_t *size,
                          rg_error *err)
{
    rg_synth_view view;
    rg_image image;
    rg_code code = rg_render_view(r->sweep, k->scene, r->lens, &k->camera, &view, err);
    if (code != RG_OK)
        return code;
    code = rg_synth_expose(r->sensor, &view, k->exposure, k->seed, &image, err);
    rg_synth_view_free(&view);
    if (code != RG_OK)
        return code;
    code = r->sweep->format == RG_RENDER_PNG
               ? rg_synth_png(&image, bytes, size, err)
               : rg_synth_jpeg(&image, r->sweep->jpeg_quality, bytes, size, err);
    rg_image_free(&image);
    return code;
}

static rg_code take_shot(void *context, int job, int worker, rg_error *err)
{
    const rendering *r = context;
    const shot *k = &r->shot[job];
    uint8_t *bytes = NULL;
    size_t size;
    (void)worker;
    char *path = rg_path_join(r->folder, k->file);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = photograph(r, k, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_file_write(path, bytes, size, err);
    free(bytes);
    free(path);
    return code;
}

static void shot_done(void *context, int done, int jobs)
{
    const rendering *r = context;
    if (r->progress)
        r->progress->report(r->progress->context, r->what, done, jobs);
}

/* ---------------------------------------------------------------- sweep.ini and truth */

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static rg_code write_text(const char *folder, const char *name, const char *text, rg_error *err)
{
    char *path = rg_path_join(folder, name);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_file_write(path, text, strlen(text), err);
    free(path);
    return code;
}

static void list_frames(const rendering *r, rg_sweep_frame *frame)
{
    for (int i = 0; i < r->shots; i++) {
        frame[i] = (rg_sweep_frame){.role = r->shot[i].role, .exposure = r->shot[i].exposure};
        frame[i].given.bearing_deg = frame[i].given.elevation_deg = (double)NAN;
        rg_copy_text(frame[i].file, sizeof frame[i].file, r->shot[i].file);
    }
}

static rg_code write_ini(const rendering *r, rg_error *err)
{
    const rg_render_sweep *s = r->sweep;
    char *text;
    rg_sweep sweep = {.crown_number = r->pad->crown.number,
                      .finger = s->finger,
                      .finger_grams = s->finger_grams,
                      .wedge = {s->feeler_mm > 0, s->feeler_mm, s->feeler_u_mm,
                                s->feeler_bearing_deg, s->feeler_width_mm},
                      .taken = {.present = r->plan->day >= 0, .day = r->plan->day},
                      .frames = r->shots};
    rg_copy_text(sweep.serial, sizeof sweep.serial, r->plan->serial);
    rg_copy_text(sweep.pad, sizeof sweep.pad, s->pad);
    rg_copy_text(sweep.key, sizeof sweep.key, s->key);
    snprintf(sweep.instrument_path, sizeof sweep.instrument_path, "../../calib/%.400s",
             base_name(r->plan->instrument_path));
    snprintf(sweep.station_path, sizeof sweep.station_path, "../../calib/%.400s",
             base_name(r->plan->station_path));
    sweep.frame = rg_alloc((size_t)r->shots, sizeof *sweep.frame);
    if (!sweep.frame)
        return rg_fail(err, RG_INTERNAL, "no memory for a sweep");
    list_frames(r, sweep.frame);
    rg_code code = rg_sweep_text(&sweep, &text, err);
    free(sweep.frame);
    if (code != RG_OK)
        return code;
    code = write_text(r->folder, "sweep.ini", text, err);
    free(text);
    return code;
}

static json_t *view_json(const shot *k)
{
    json_t *rows = json_array(),
           *t = json_pack("[f, f, f]", k->camera.t.x, k->camera.t.y, k->camera.t.z);
    for (int i = 0; i < 3; i++)
        json_array_append_new(rows, json_pack("[f, f, f]", k->camera.R.m[i][0], k->camera.R.m[i][1],
                                              k->camera.R.m[i][2]));
    return json_pack("{s:s, s:s, s:f, s:f, s:f, s:o, s:o}", "file", k->file, "role",
                     rg_role_name(k->role), "exposure", k->exposure, "bearing_deg", k->bearing_deg,
                     "elevation_deg", k->elevation_deg, "R", rows, "t", t);
}

/* scene: what the gaps are of; name: the sweep's or the frame's. */
static json_t *truth_json(const rendering *r, const rg_synth_scene *scene, const char *name)
{
    double w[360];
    int widest = 0;
    json_t *gaps = json_array(), *views = json_array();
    rg_synth_widths(scene, w);
    for (int b = 0; b < 360; b++) {
        widest = w[b] > w[widest] ? b : widest;
        json_array_append_new(gaps, json_real(round(w[b] * 1e7) / 1e7));
    }
    for (int i = 0; i < r->shots; i++)
        json_array_append_new(views, view_json(&r->shot[i]));
    return json_pack("{s:s, s:s, s:s, s:s, s:s, s:b, s:f, s:i, s:o, s:o}", "format",
                     "rimglow rendered truth", "serial", r->plan->serial, "folder", name, "pad",
                     r->sweep->pad, "finger", rg_finger_name(r->sweep->finger), "sealed",
                     w[widest] <= 0, "max_gap_mm", w[widest], "max_gap_bearing_deg", widest, "w_mm",
                     gaps, "views", views);
}

static rg_code write_truth(const rendering *r, const rg_synth_scene *scene, const char *name,
                           const char *folder, const char *file, rg_error *err)
{
    json_t *json = truth_json(r, scene, name);
    char *text = json ? json_dumps(json, JSON_INDENT(1) | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(json);
    if (!text)
        return rg_fail(err, RG_INTERNAL, "no memory for the truth");
    rg_code code = rg_folder_make(folder, err);
    if (code == RG_OK)
        code = write_text(folder, file, text, err);
    free(text);
    return code;
}

static rg_code write_sweep_truth(const rendering *r, rg_error *err)
{
    char folder[RG_PLACE_SIZE], file[2 * RG_NAME_SIZE + 16];
    snprintf(folder, sizeof folder, "%.1000s/truth", r->out);
    snprintf(file, sizeof file, "%s-%s.json", r->plan->serial, r->sweep->name);
    return write_truth(r, &r->closed, r->sweep->name, folder, file, err);
}

/* sweep.ini last: a folder that has one is whole. */
static rg_code render_sweep(rendering *r, int workers, rg_error *err)
{
    rg_code code = prepare(r, err);
    if (code == RG_OK)
        code = rg_folder_make(r->folder, err);
    if (code == RG_OK)
        code =
            rg_pool_run(rg_pool_workers(workers, r->shots), r->shots, take_shot, shot_done, r, err);
    if (code == RG_OK)
        code = write_sweep_truth(r, err);
    if (code == RG_OK)
        code = write_ini(r, err);
    rg_synth_sensor_free(r->sensor);
    free(r->shot);
    return code;
}

/* ---------------------------------------------------------------- single frames */

static shot single_shot(const rendering *r, const rg_render_frame *f)
{
    shot k = {.scene = f->cracked ? &r->cracked : &r->closed,
              .role = f->cracked       ? RG_ROLE_WITNESS
                      : r->sweep->open ? RG_ROLE_OPEN
                                       : RG_ROLE_CLOSED,
              .exposure = f->exposure,
              .bearing_deg = f->bearing_deg,
              .elevation_deg = f->elevation_deg,
              .seed = seed_of(r->plan, f->name)};
    k.camera = rg_synth_camera(f->bearing_deg, f->elevation_deg, f->distance_mm, r->sweep->aim_mm,
                               f->roll_deg);
    snprintf(k.file, sizeof k.file, "%.*s.%s", RG_NAME_SIZE - 5, f->name, ending(r->sweep));
    return k;
}

/* The truth last, beside the picture: a picture that has one is whole. */
static rg_code render_frame(rendering *r, const rg_render_frame *f, rg_error *err)
{
    rg_code code = prepare(r, err);
    if (code == RG_OK) {
        char truth[RG_NAME_SIZE + 8];
        shot only = single_shot(r, f);
        r->shot[0] = only;
        r->shots = 1;
        snprintf(truth, sizeof truth, "%s.json", f->name);
        code = rg_folder_make(r->folder, err);
        if (code == RG_OK)
            code = take_shot(r, 0, 0, err);
        if (code == RG_OK)
            code = write_truth(r, only.scene, f->name, r->folder, truth, err);
    }
    rg_synth_sensor_free(r->sensor);
    free(r->shot);
    return code;
}

/* ---------------------------------------------------------------- plan */

static rg_code read_beside(const char *plan_file, const char *named, source *s, rg_error *err)
{
    const char *slash = strrchr(plan_file, '/');
    int above = named[0] == '/' || !slash ? 0 : (int)(slash - plan_file) + 1;
    int n = snprintf(s->path, sizeof s->path, "%.*s%s", above, plan_file, named);
    if (n < 0 || n >= (int)sizeof s->path)
        return rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long; use a shorter one",
                       plan_file);
    return rg_file_read(s->path, RG_CONFIG_MAX_BYTES, &s->text, &s->size, err);
}

static rg_code keep_copy(const char *out, const source *s, rg_error *err)
{
    char folder[RG_PLACE_SIZE];
    snprintf(folder, sizeof folder, "%.1000s/calib", out);
    rg_code code = rg_folder_make(folder, err);
    return code == RG_OK ? write_text(folder, base_name(s->path), (const char *)s->text, err)
                         : code;
}

static bool is_asked(const char *name, const char *const *only, int onlys)
{
    for (int i = 0; i < onlys; i++)
        if (strcmp(only[i], name) == 0)
            return true;
    return onlys == 0;
}

static bool is_there(const rg_render_plan *plan, const char *name)
{
    bool there = false;
    for (int k = 0; k < plan->sweeps; k++)
        there = there || strcmp(plan->sweep[k].name, name) == 0;
    for (int k = 0; k < plan->frames; k++)
        there = there || strcmp(plan->frame[k].name, name) == 0;
    return there;
}

static rg_code check_only(const run *u, rg_error *err)
{
    for (int i = 0; i < u->onlys; i++)
        if (!is_there(&u->plan, u->only[i]))
            return rg_fail(err, RG_USAGE, "%s has no [sweep %.60s] and no [frame %.60s]",
                           u->plan_file, u->only[i], u->only[i]);
    return RG_OK;
}

/* No sweep names the pad that is open or closed as this one. */
static bool is_left(const rg_render_plan *plan, const rg_render_sweep *like, const char *pad)
{
    for (int i = 0; i < plan->sweeps; i++)
        if (plan->sweep[i].open == like->open && strcmp(plan->sweep[i].pad, pad) == 0)
            return false;
    return true;
}

static rg_code add_sweep(const run *u, const rg_render_sweep *like, const rg_pad *pad,
                         rg_render_plan *plan, rg_error *err)
{
    rg_render_sweep *s = &plan->sweep[plan->sweeps++];
    *s = *like;
    int n = snprintf(s->name, sizeof s->name, "%.*s-%.*s", RG_NAME_SIZE - 1, like->name,
                     RG_NAME_SIZE - 1, pad->name);
    for (char *at = s->name; *at; at++)
        *at = *at == ' ' ? '-' : *at;
    rg_copy_text(s->pad, sizeof s->pad, pad->name);
    if (n >= RG_NAME_SIZE || !rg_is_safe_name(s->name) || is_there(&u->plan, s->name))
        return rg_fail(
            err, RG_BAD_DATA,
            "%s: [sweep %s] pad = *: %s-%s cannot be a new folder's name; rename the sweep",
            u->plan_file, like->name, like->name, pad->name);
    return RG_OK;
}

/* Puts a sweep for each pad in the place of a sweep of all of them. */
static rg_code spread_pads(run *u, rg_error *err)
{
    const rg_render_plan *from = &u->plan;
    rg_render_plan to = *from;
    size_t most = (size_t)from->sweeps * (size_t)(u->instrument.pads + 1);
    rg_code code = RG_OK;
    to.sweeps = 0;
    to.sweep = rg_alloc(most, sizeof *to.sweep);
    if (!to.sweep)
        return rg_fail(err, RG_INTERNAL, "no memory for the sweeps");
    for (int i = 0; i < from->sweeps; i++) {
        const rg_render_sweep *s = &from->sweep[i];
        bool all = strcmp(s->pad, every_pad) == 0;
        if (!all)
            to.sweep[to.sweeps++] = *s;
        for (int k = 0; all && code == RG_OK && k < u->instrument.pads; k++) {
            const rg_pad *pad = &u->instrument.pad[k];
            if (pad->crown.number >= 0 && is_left(from, s, pad->name))
                code = add_sweep(u, s, pad, &to, err);
        }
    }
    free(from->sweep);
    u->plan = to;
    return code;
}

static rg_code refuse_there(const char *path, rg_error *err)
{
    struct stat st;
    if (lstat(path, &st) == 0)
        return rg_fail(err, RG_CANT_CREATE,
                       "%s is there already; remove it or render into another folder", path);
    return RG_OK;
}

/* A sweep's own folder, or the serial's for a frame (name ""). */
static rg_code set_folder(rendering *r, const char *name, rg_error *err)
{
    int n = snprintf(r->folder, sizeof r->folder, "%s/%s%s%s", r->out, r->plan->serial,
                     name[0] ? "/" : "", name);
    if (n >= 0 && n < RG_PLACE_SIZE - RG_NAME_SIZE - 8 && strlen(r->out) <= 1000)
        return RG_OK;
    return rg_fail(err, RG_CANT_CREATE, "%.60s...: the path is too long; use a shorter one",
                   r->out);
}

static rg_code start(rendering *r, const run *u, const char *name, rg_error *err)
{
    r->lens = &u->station.lens;
    r->pad = rg_instrument_pad(&u->instrument, r->sweep->pad);
    snprintf(r->what, sizeof r->what, "%s frame", name);
    if (r->pad)
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA, "%s: [sweep %s] pad = %s: %s has no such pad", u->plan_file,
                   r->sweep->name, r->sweep->pad, r->plan->instrument_path);
}

static rg_code do_sweep(const run *u, rendering r, const rg_render_sweep *s, bool check,
                        rg_error *err)
{
    r.sweep = s;
    rg_code code = start(&r, u, s->name, err);
    if (code == RG_OK)
        code = set_folder(&r, s->name, err);
    if (code == RG_OK)
        code = check ? refuse_there(r.folder, err) : render_sweep(&r, u->workers, err);
    return code;
}

static rg_code refuse_frame(const rendering *r, const rg_render_frame *f, rg_error *err)
{
    char path[RG_PLACE_SIZE + RG_NAME_SIZE + 8];
    snprintf(path, sizeof path, "%s/%s", r->folder, single_shot(r, f).file);
    rg_code code = refuse_there(path, err);
    snprintf(path, sizeof path, "%.*s/%s.json", RG_PLACE_SIZE, r->folder, f->name);
    return code == RG_OK ? refuse_there(path, err) : code;
}

static rg_code do_frame(const run *u, rendering r, const rg_render_frame *f, bool check,
                        rg_error *err)
{
    for (int i = 0; i < u->plan.sweeps; i++)
        if (strcmp(u->plan.sweep[i].name, f->sweep) == 0)
            r.sweep = &u->plan.sweep[i];
    rg_code code = start(&r, u, f->name, err);
    if (code == RG_OK)
        code = set_folder(&r, "", err);
    if (code == RG_OK)
        code = check ? refuse_frame(&r, f, err) : render_frame(&r, f, err);
    return code;
}

/* Everything is checked before the first is rendered. */
static rg_code render_all(const run *u, rg_error *err)
{
    const rendering all = {.plan = &u->plan, .out = u->out, .progress = u->progress};
    rg_code code = RG_OK;
    for (int pass = 0; pass < 2; pass++) {
        for (int i = 0; code == RG_OK && i < u->plan.sweeps; i++)
            if (is_asked(u->plan.sweep[i].name, u->only, u->onlys))
                code = do_sweep(u, all, &u->plan.sweep[i], pass == 0, err);
        for (int i = 0; code == RG_OK && i < u->plan.frames; i++)
            if (is_asked(u->plan.frame[i].name, u->only, u->onlys))
                code = do_frame(u, all, &u->plan.frame[i], pass == 0, err);
    }
    return code;
}

static rg_code read_plan(const char *plan_file, rg_render_plan *plan, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_file_read(plan_file, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_render_plan_parse(plan_file, (const char *)text, size, plan, err);
    free(text);
    return code;
}

/* The plan's instrument and station, which are kept beside the frames; every pad has its sweep then. */
static rg_code read_named(run *u, source *instrument, source *station, rg_error *err)
{
    rg_code code = read_beside(u->plan_file, u->plan.instrument_path, instrument, err);
    if (code == RG_OK)
        code = read_beside(u->plan_file, u->plan.station_path, station, err);
    if (code == RG_OK)
        code = rg_instrument_parse(instrument->path, (const char *)instrument->text,
                                   instrument->size, &u->instrument, err);
    if (code == RG_OK)
        code = rg_station_parse(station->path, (const char *)station->text, station->size,
                                &u->station, err);
    return code == RG_OK ? spread_pads(u, err) : code;
}

rg_code rg_render_run(const char *plan_file, const char *const *only, int onlys, const char *out,
                      int workers, const rg_progress *progress, rg_error *err)
{
    run u = {.plan_file = plan_file,
             .out = out,
             .only = only,
             .onlys = onlys,
             .workers = workers,
             .progress = progress};
    source instrument = {0}, station = {0};
    rg_code code = read_plan(plan_file, &u.plan, err);
    if (code == RG_OK)
        code = read_named(&u, &instrument, &station, err);
    if (code == RG_OK)
        code = check_only(&u, err);
    if (code == RG_OK)
        code = keep_copy(out, &instrument, err);
    if (code == RG_OK)
        code = keep_copy(out, &station, err);
    if (code == RG_OK)
        code = render_all(&u, err);
    free(instrument.text);
    free(station.text);
    rg_instrument_free(&u.instrument);
    rg_render_plan_free(&u.plan);
    return code;
}

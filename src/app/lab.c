/*
 * lab.c - opening a lab, and its cases. See lab.h.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lab_private.h"
#include "rimglow/calib_file.h"
#include "rimglow/memory.h"
#include "rimglow/pool.h"
#include "rimglow/render.h"
#include "rimglow/text.h"

/* ---------------------------------------------------------------- files */

static rg_code read_instrument(rg_lab *lab, const char *given, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("alto-loan.ini", given, "instrument", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_instrument_parse(file.path, file.text, file.size, &lab->instrument, err);
    free(file.text);
    return code;
}

static rg_code read_station(rg_lab *lab, const char *given, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("bench.ini", given, "station", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_station_parse(file.path, file.text, file.size, &lab->station, err);
    free(file.text);
    return code;
}

/* The plan lies beside the settings. */
static rg_code read_plan(rg_lab *lab, const char *settings_path, rg_error *err)
{
    char path[RG_CALIB_PATH + RG_TEACH_FILE];
    rg_calib_file file;
    rg_render_plan plan;
    const char *slash = strrchr(settings_path, '/');
    snprintf(path, sizeof path, "%.*s%s", slash ? (int)(slash - settings_path) + 1 : 0,
             settings_path, lab->settings.plan);
    rg_code code = rg_calib_file_read("", path, "settings", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_render_plan_parse(file.path, file.text, file.size, &plan, err);
    free(file.text);
    if (code != RG_OK)
        return code;
    lab->start = plan.sweep[0];
    if (!(lab->start.lamp > 0))
        code = rg_fail(err, RG_BAD_DATA, "%s: [sweep %s] lamp = %g; lessons need one above 0", path,
                       lab->start.name, lab->start.lamp);
    rg_render_plan_free(&plan);
    return code;
}

static rg_code read_settings(rg_lab *lab, const char *given, rg_error *err)
{
    rg_calib_file file;
    rg_code code = rg_calib_file_read("teach.ini", given, "settings", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_teach_settings_parse(file.path, file.text, file.size, &lab->settings, err);
    free(file.text);
    return code == RG_OK ? read_plan(lab, file.path, err) : code;
}

static rg_code find_pad(rg_lab *lab, const char *given, rg_error *err)
{
    const char *name = given ? given : lab->start.pad;
    lab->pad = rg_instrument_pad(&lab->instrument, name);
    if (!lab->pad)
        return rg_fail(err, RG_USAGE, "%s has no pad %s; --pad names one of its own",
                       lab->instrument.name, name);
    if (lab->pad->crown.number < 0)
        return rg_fail(err, RG_USAGE, "pad %s bears no crown; name another with --pad", name);
    rg_copy_text(lab->start.pad, sizeof lab->start.pad, name);
    return RG_OK;
}

/* ---------------------------------------------------------------- picture */

/* The station's lens for the picture of the lab; its share of the station's pixels. A crown's margin above
 * the tag is taken as a quarter of its edge. */
static double cut_out(const rg_lab *lab, rg_lens *lens)
{
    const rg_teach_settings *s = &lab->settings;
    const rg_lens *whole = &lab->station.lens;
    const rg_crown *k = &lab->pad->crown;
    double wide = fmax(lab->pad->rim.pad_diameter_mm, 2 * k->apothem_mm / cos(rg_radians(30)));
    double top = k->centre_height_mm + 0.75 * k->tag_size_mm;
    double low = -s->below * lab->pad->rim.pad_diameter_mm;
    double px_per_mm = fmin(s->width / (s->view * wide), s->height / (s->tall * (top - low)));
    double scale = px_per_mm * lab->start.distance_mm / whole->fx;
    *lens = *whole;
    lens->width = s->width;
    lens->height = s->height;
    lens->fx *= scale;
    lens->fy *= scale;
    lens->cx = 0.5 * (s->width - 1);
    /* The camera looks at aim_mm; the middle of what must be seen goes to the picture's. */
    lens->cy = 0.5 * (s->height - 1) + (0.5 * (top + low) - lab->start.aim_mm) * px_per_mm;
    return scale;
}

static rg_code prepare(rg_lab *lab, rg_error *err)
{
    rg_measure_options *o = &lab->setup.options;
    rg_config_setup(&lab->station, lab->pad, &lab->setup);
    double scale = cut_out(lab, &lab->setup.lens);
    o->strip.dz_mm /= scale;
    o->rimline.inlier_mm /= scale;
    rg_station_light_fault(&lab->station, (int)(time(NULL) / 86400), false, lab->setup.light_fault);
    rg_code code = rg_setup_check(&lab->setup, err);
    if (code == RG_OK)
        code = rg_synth_eye_new(&lab->eye, &lab->setup.lens, err);
    if (code == RG_OK)
        code = rg_synth_sensor_new(&lab->sensor, lab->start.full_well, lab->start.read_noise, err);
    return code;
}

rg_code rg_lab_open(const rg_lab_options *options, rg_lab **lab, rg_error *err)
{
    rg_lab *l = rg_alloc(1, sizeof *l);
    *lab = NULL;
    if (!l)
        return rg_fail(err, RG_INTERNAL, "no memory for a lab");
    pthread_mutex_init(&l->lock, NULL);
    pthread_mutex_init(&l->drawing, NULL);
    l->workers = rg_pool_workers(options->workers, RG_LAB_FINDERS);
    rg_code code = read_settings(l, options->settings_file, err);
    if (code == RG_OK)
        code = read_instrument(l, options->instrument_file, err);
    if (code == RG_OK)
        code = read_station(l, options->station_file, err);
    if (code == RG_OK)
        code = find_pad(l, options->pad, err);
    if (code == RG_OK)
        code = prepare(l, err);
    if (code == RG_OK)
        *lab = l;
    else
        rg_lab_close(l);
    return code;
}

void rg_lab_close(rg_lab *lab)
{
    if (!lab)
        return;
    rg_lab_lamps_free(&lab->lamps);
    for (int i = 0; i < lab->finders; i++)
        rg_tag_finder_free(lab->finder[i]);
    rg_synth_eye_free(lab->eye);
    rg_synth_sensor_free(lab->sensor);
    rg_instrument_free(&lab->instrument);
    pthread_mutex_destroy(&lab->lock);
    pthread_mutex_destroy(&lab->drawing);
    free(lab);
}

const rg_teach_settings *rg_lab_settings(const rg_lab *lab)
{
    return &lab->settings;
}

const rg_pad *rg_lab_pad(const rg_lab *lab)
{
    return lab->pad;
}

const char *rg_lab_instrument(const rg_lab *lab)
{
    return lab->instrument.name;
}

const rg_setup *rg_lab_setup(const rg_lab *lab)
{
    return &lab->setup;
}

/* ---------------------------------------------------------------- cases */

void rg_lab_start(const rg_lab *lab, rg_lab_case *c)
{
    *c = (rg_lab_case){.face = lab->start,
                       .grams = lab->settings.light_grams,
                       .bearing_deg = 90,
                       .distance_mm = lab->start.distance_mm,
                       .witness = true,
                       .seed = 1};
    c->face.level_mm = -lab->settings.seat_mm;
}

/* A raised cosine that stands open by gap_mm at its middle and over arc_deg: it begins below the rim, where
 * the pad is seated. */
static void open_arc(const rg_lab *lab, rg_lab_case *c, double gap_mm, double arc_deg,
                     double bearing_deg)
{
    double seat = lab->settings.seat_mm;
    if (!(gap_mm > 0) || c->face.creases == RG_RENDER_CREASES)
        return;
    /* depth (1 + cos(pi x / half)) / 2 = seat at x = arc / 2. */
    double depth = gap_mm + seat, share = acos(2 * seat / depth - 1) / RG_PI;
    c->face.crease[c->face.creases++] =
        (rg_render_crease){bearing_deg, fmin(0.5 * arc_deg / share, 180), depth};
}

rg_code rg_lab_from_sliders(const rg_lab *lab, const double *value, rg_lab_case *c, rg_error *err)
{
    rg_lab_start(lab, c);
    for (int i = 0; i < RG_TEACH_SLIDERS; i++) {
        const rg_teach_range *r = &lab->settings.slider[i];
        if (!(value[i] >= r->low && value[i] <= r->high))
            return rg_fail(err, RG_USAGE, "%s = %g; %g to %g is possible",
                           rg_teach_slider_name((rg_teach_slider)i), value[i], r->low, r->high);
    }
    rg_render_sweep *f = &c->face;
    open_arc(lab, c, value[RG_TEACH_GAP], value[RG_TEACH_ARC], value[RG_TEACH_BEARING]);
    if (value[RG_TEACH_CREASE] > 0 && f->creases < RG_RENDER_CREASES)
        f->crease[f->creases++] =
            (rg_render_crease){value[RG_TEACH_CREASE_BEARING], lab->settings.crease_half_width_deg,
                               value[RG_TEACH_CREASE]};
    f->tilt_mm = value[RG_TEACH_TILT];
    f->tilt_bearing_deg = value[RG_TEACH_TILT_BEARING];
    f->saddle_mm = value[RG_TEACH_SADDLE];
    f->saddle_bearing_deg = value[RG_TEACH_SADDLE_BEARING];
    f->lamp *= value[RG_TEACH_LAMP];
    f->lamp_uneven = value[RG_TEACH_UNEVEN];
    f->lamp_bearing_deg = value[RG_TEACH_LAMP_BEARING];
    c->grams = value[RG_TEACH_GRAMS];
    c->elevation_deg = value[RG_TEACH_ELEVATION];
    c->bearing_deg = value[RG_TEACH_CAMERA];
    return RG_OK;
}

rg_render_sweep rg_lab_pressed(const rg_lab *lab, const rg_lab_case *c)
{
    rg_render_sweep face = c->face;
    face.level_mm -= lab->settings.per_100g_mm * (c->grams - lab->settings.light_grams) / 100;
    return face;
}

void rg_lab_widths(const rg_lab *lab, const rg_lab_case *c, double width_mm[RG_BINS])
{
    rg_synth_scene closed, cracked;
    const rg_render_sweep face = rg_lab_pressed(lab, c);
    rg_render_scene(&face, lab->pad, &closed, &cracked);
    rg_synth_widths(&closed, width_mm);
}

/*
 * lightjob.c - the sweep over a feeler strip to the values of the light, and where they are written.
 */
#include "rimglow/lightjob.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rimglow/config_edit.h"
#include "rimglow/file.h"
#include "rimglow/report.h"

rg_code rg_lightjob_open(rg_lightjob *job, const char *folder, rg_error *err)
{
    *job = (rg_lightjob){0};
    rg_code code = rg_inspection_open(&job->in, folder, err);
    if (code != RG_OK)
        return code;
    const rg_taken *t = &job->in.sweep.taken;
    rg_date_format(t->present && t->day >= 0 ? t->day : (int)(time(NULL) / 86400), job->date);
    return RG_OK;
}

void rg_lightjob_close(rg_lightjob *job)
{
    rg_inspection_close(&job->in);
}

rg_code rg_lightjob_run(rg_lightjob *job, int workers, const rg_progress *progress, rg_error *err)
{
    rg_inspection *in = &job->in;
    const rg_wedge *w = &in->sweep.wedge;
    if (!w->present)
        return rg_fail(err, RG_BAD_DATA,
                       "%s/sweep.ini has no [wedge]: this is no sweep over a feeler strip "
                       "(rimglow calibrate light -h shows how to make one)",
                       in->folder);
    job->blade = (rg_wedge_blade){w->feeler_mm, w->feeler_u_mm, w->bearing_deg, w->width_mm};
    rg_code code = rg_inspection_run(in, workers, progress, err);
    if (code != RG_OK)
        return code;
    code = rg_wedge_calibrate(&in->setup, in->frames, in->sweep.frames, &in->result, &job->blade,
                              &in->station.wedge, &job->result, err);
    if (code != RG_OK)
        return rg_fail_prefix(err, in->folder);
    job->fault = rg_wedge_fault(&job->result, &in->station.wedge);
    return RG_OK;
}

/* ---------------------------------------------------------------- station file */

enum { CHANGES = 12, VALUE_SIZE = 40 };

typedef struct changes {
    rg_config_change change[CHANGES];
    char value[CHANGES][VALUE_SIZE];
    int count;
} changes;

static void add(changes *c, const char *section, const char *key, double value)
{
    snprintf(c->value[c->count], VALUE_SIZE, "%.4g", value);
    c->change[c->count] = (rg_config_change){section, key, c->value[c->count]};
    c->count++;
}

static void collect(const rg_lightjob *j, changes *c)
{
    const rg_wedge_result *r = &j->result;
    double fixed = j->in.station.measure.psf_sigma_px;
    for (int k = 0; k < RG_WEDGE_VALUES; k++) {
        rg_wedge_value v = (rg_wedge_value)k;
        if (v == RG_WEDGE_BLUR && fixed > 0)
            add(c, "light", "psf_sigma_px", r->psf_sigma_px);
        else
            add(c, rg_wedge_value_section(v), rg_wedge_value_key(v), r->value[v]);
    }
    add(c, "slot", "model_floor_mm", r->floor_mm);
    add(c, "slot", "model_relative", r->relative);
    add(c, "witness", "unproven_radiance", cbrt(r->radiance[0] * r->radiance[1] * r->radiance[2]));
    add(c, "calibration", "light_gain", j->in.sweep.taken.gain);
    add(c, "calibration", "light_exposure_s", j->in.sweep.taken.exposure_s);
    c->change[c->count] = (rg_config_change){"calibration", "light_date", j->date};
    c->count++;
}

/* The new text must be a station file before it replaces the old one. */
rg_code rg_lightjob_station(const rg_lightjob *j, const char *station_file, rg_error *err)
{
    uint8_t *old = NULL;
    size_t size = 0;
    char *text = NULL;
    changes c = {.count = 0};
    rg_station station;
    if (j->fault)
        return rg_fail(err, RG_USAGE, "%s was not written: %s", station_file, j->fault);
    rg_code code = rg_file_read(station_file, RG_CONFIG_MAX_BYTES, &old, &size, err);
    if (code == RG_OK)
        code = rg_station_parse(station_file, (const char *)old, size, &station, err);
    collect(j, &c);
    if (code == RG_OK)
        code = rg_config_edit(station_file, (const char *)old, size, c.change, c.count, &text, err);
    if (code == RG_OK)
        code = rg_station_parse(station_file, text, strlen(text), &station, err);
    if (code == RG_OK)
        code = rg_file_write(station_file, text, strlen(text), err);
    free(old);
    free(text);
    return code;
}

/* ---------------------------------------------------------------- results */

rg_code rg_lightjob_json(const rg_lightjob *job, char **text, rg_error *err)
{
    return rg_report_light(&job->result, &job->blade, job->in.station.name, job->date, text, err);
}

rg_code rg_lightjob_draw(const rg_lightjob *job, rg_picture_format format, rg_bytes *picture,
                         rg_error *err)
{
    rg_draw_light_args args = {&job->result, job->blade, job->in.station.name, job->date};
    return rg_draw_light(&args, format, picture, err);
}

static rg_code write_file(const char *folder, const char *name, const void *data, size_t size,
                          rg_error *err)
{
    char *path = rg_path_join(folder, name);
    rg_code code = path ? rg_file_write(path, data, size, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    return code;
}

rg_code rg_lightjob_write(const rg_lightjob *job, const char *folder, const char *json,
                          rg_error *err)
{
    static const rg_picture_format format[] = {RG_PICTURE_PNG, RG_PICTURE_SVG, RG_PICTURE_PDF};
    rg_code code = rg_folder_make(folder, err);
    for (int i = 0; code == RG_OK && i < 3; i++) {
        rg_bytes bytes = {0};
        char name[32];
        snprintf(name, sizeof name, "response.%s", rg_picture_suffix(format[i]));
        code = rg_lightjob_draw(job, format[i], &bytes, err);
        if (code == RG_OK)
            code = write_file(folder, name, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code == RG_OK ? write_file(folder, "light.json", json, strlen(json), err) : code;
}

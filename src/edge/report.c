/*
 * report.c - JSON by jansson. Numbers are rounded to what they mean (1e-6 mm,
 * 1e-3 degrees), so that texts stay short and do not change with the last bit.
 */
#include "rimglow/report.h"

#include <jansson.h>
#include <math.h>
#include <string.h>

#include "json_values.h"
#include "rimglow/text.h"
#include "rimglow/version.h"

enum { DIGITS = 9 };

static json_t *length(double mm)
{
    return rg_json_decimals(mm, 6);
}

static json_t *angle(double degrees)
{
    return rg_json_decimals(degrees, 3);
}

/* A direction: 359.9999 rounds to 0, not to 360. */
static json_t *bearing(double degrees)
{
    double rounded = round(degrees * 1000) / 1000;
    return angle(isfinite(rounded) ? rg_wrap_degrees(rounded) : NAN);
}

/* Messages quote file names: where those are not UTF-8, or a text was cut within
 * a character, '?' stands for every byte beyond ASCII and the rest is kept. */
static json_t *message(const char *text)
{
    char plain[RG_ERROR_TEXT];
    json_t *s = text ? json_string(text) : NULL;
    if (s || !text)
        return s ? s : json_null();
    rg_copy_text(plain, sizeof plain, text);
    for (char *c = plain; *c; c++)
        if ((unsigned char)*c > 127)
            *c = '?';
    return json_string(plain);
}

/* What the standard uncertainty of a gap is made of; their squares sum to its. */
static json_t *parts_object(const rg_rocking_fit *fit)
{
    json_t *o = json_object();
    json_object_set_new(o, "noise", length(fit->u_noise_mm));
    json_object_set_new(o, "radiance", length(fit->u_radiance_mm));
    json_object_set_new(o, "blur", length(fit->u_psf_mm));
    json_object_set_new(o, "pose", length(fit->u_pose_mm));
    json_object_set_new(o, "scale", length(fit->u_scale_mm));
    json_object_set_new(o, "model", length(fit->u_model_mm));
    return o;
}

static json_t *bin_object(const rg_bin *bin)
{
    json_t *o = json_object();
    json_object_set_new(o, "bearing_deg", bearing(bin->bearing_deg));
    json_object_set_new(o, "width_mm", length(bin->width_mm));
    json_object_set_new(o, "u_mm", length(bin->u_mm));
    json_object_set_new(o, "detection_limit_mm", length(bin->detection_limit_mm));
    json_object_set_new(o, "frames", json_integer(bin->frames));
    json_object_set_new(o, "lit_frames", json_integer(bin->lit));
    json_object_set_new(o, "state", json_string(rg_bin_state_name(bin->state)));
    if (bin->state == RG_BIN_GAP)
        json_object_set_new(o, "u_parts_mm", parts_object(&bin->fit));
    if (bin->blocked)
        json_object_set_new(o, "why", json_string("light interrupted between two openings"));
    if (bin->unproven)
        json_object_set_new(o, "why", json_string("dark, but the lamp is not proven on"));
    if (bin->ambient)
        json_object_set_new(o, "why", json_string("light there with the lamp off"));
    return o;
}

static json_t *arc_object(const rg_arc *arc)
{
    json_t *o = json_object();
    json_object_set_new(o, "start_deg", bearing(arc->start_deg));
    json_object_set_new(o, "end_deg", bearing(arc->end_deg));
    json_object_set_new(o, "u_end_deg", angle(arc->u_end_deg));
    json_object_set_new(o, "centre_deg", bearing(arc->centre_deg));
    json_object_set_new(o, "u_centre_deg", angle(arc->u_centre_deg));
    json_object_set_new(o, "extent_deg", angle(arc->extent_deg));
    json_object_set_new(o, "u_extent_deg", angle(arc->u_extent_deg));
    json_object_set_new(o, "extent_mm", length(arc->extent_mm));
    json_object_set_new(o, "u_extent_mm", length(arc->u_extent_mm));
    json_object_set_new(o, "max_width_mm", length(arc->max_width_mm));
    json_object_set_new(o, "u_max_mm", length(arc->u_max_mm));
    json_object_set_new(o, "max_bearing_deg", bearing(arc->max_bearing_deg));
    json_object_set_new(o, "mean_width_mm", length(arc->mean_width_mm));
    json_object_set_new(o, "u_mean_mm", length(arc->u_mean_mm));
    json_object_set_new(o, "open_area_mm2", length(arc->open_area_mm2));
    json_object_set_new(o, "u_area_mm2", length(arc->u_area_mm2));
    json_object_set_new(o, "full_circle", json_boolean(arc->full_circle));
    json_object_set_new(o, "runs_into_unseen", json_boolean(arc->start_unseen || arc->end_unseen));
    return o;
}

static json_t *inputs_object(const rg_report_inputs *inputs)
{
    json_t *o = json_object();
    json_object_set_new(o, "sweep_sha256", rg_json_digest(&inputs->sweep));
    json_object_set_new(o, "instrument_sha256", rg_json_digest(&inputs->instrument));
    json_object_set_new(o, "station_sha256", rg_json_digest(&inputs->station));
    return o;
}

static json_t *frame_object(const rg_report *r, int i)
{
    const rg_frame *f = &r->frames[i];
    bool placed = f->pose.state == RG_POSE_OK && f->distance_mm > 0;
    json_t *o = json_object();
    json_object_set_new(o, "file", rg_json_text(r->files[i]));
    json_object_set_new(o, "role", rg_json_text(r->roles[i]));
    json_object_set_new(o, "exposure", rg_json_decimals(f->exposure, 6));
    json_object_set_new(o, "used", json_boolean(f->used));
    json_object_set_new(o, "reason", message(f->reason));
    json_object_set_new(o, "bearing_deg", placed ? bearing(f->bearing_deg) : json_null());
    json_object_set_new(o, "elevation_deg", placed ? angle(f->elevation_deg) : json_null());
    json_object_set_new(o, "reprojection_rms_px", placed ? length(f->pose.rms_px) : json_null());
    json_object_set_new(o, "place", json_string(rg_place_name(f->pose.source)));
    double u_bearing = NAN, u_elevation = NAN;
    if (placed)
        rg_place_uncertainty(&f->pose, &u_bearing, &u_elevation);
    json_object_set_new(o, "u_bearing_deg", rg_json_decimals(u_bearing, 4));
    json_object_set_new(o, "u_elevation_deg", rg_json_decimals(u_elevation, 4));
    if (f->light.columns > 0) {
        const rg_threshold *t = &f->light.threshold;
        json_t *q = json_object();
        json_object_set_new(q, "kind",
                            json_string(t->kind == RG_THRESHOLD_OTSU ? "otsu" : "noise"));
        json_object_set_new(q, "light", length(t->high));
        json_object_set_new(q, "why", message(t->why));
        json_object_set_new(o, "threshold", q);
        json_object_set_new(o, "rejected_lights", json_integer(f->light.streaks));
    }
    const rg_digest unread = {{0}};
    if (r->inputs && !rg_digest_equal(&r->inputs->frame[i], &unread))
        json_object_set_new(o, "sha256", rg_json_digest(&r->inputs->frame[i]));
    return o;
}

static json_t *finger_object(const rg_report *r)
{
    json_t *o = json_object();
    json_object_set_new(o, "kind", rg_json_text(r->finger));
    if (r->finger && strcmp(r->finger, "grams") == 0)
        json_object_set_new(o, "grams", rg_json_decimals(r->finger_grams, 3));
    return o;
}

static json_t *light_object(const rg_report *r)
{
    const rg_sweep_result *s = r->result;
    json_t *o = json_object(), *l = json_array();
    for (int c = 0; c < 3; c++)
        json_array_append_new(l, rg_json_decimals(s->radiance[c], 4));
    json_object_set_new(o, "proven", json_boolean(s->evidence.light_proven));
    json_object_set_new(o, "radiance", l);
    json_object_set_new(o, "u_ln", rg_json_decimals(s->u_ln_radiance, 4));
    json_object_set_new(o, "calibrated", json_boolean(!s->evidence.calibration_fault[0]));
    json_object_set_new(o, "calibration_date", rg_json_text(r->light_date));
    return o;
}

static json_t *plane_object(const rg_rim_plane *p)
{
    json_t *o = json_object();
    json_object_set_new(o, "found", json_boolean(p->found));
    if (p->found) {
        json_object_set_new(o, "height_mm", length(p->c));
        json_object_set_new(o, "tilt_mm", length(hypot(p->a, p->s)));
        json_object_set_new(o, "tilt_bearing_deg", bearing(rg_degrees(atan2(p->s, p->a))));
        json_object_set_new(o, "sigma_mm", length(p->sigma_mm));
    }
    return o;
}

static void add_head(json_t *o, const rg_report *r)
{
    const rg_seal_map *map = &r->result->map;
    json_object_set_new(o, "format", json_string("rimglow seal map"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "serial", rg_json_text(r->serial));
    json_object_set_new(o, "instrument", rg_json_text(r->instrument));
    json_object_set_new(o, "pad", rg_json_text(r->pad));
    json_object_set_new(o, "station", rg_json_text(r->station));
    json_object_set_new(o, "folder", rg_json_text(r->folder));
    bool crowned = r->setup->place.source == RG_PLACE_CROWN;
    json_object_set_new(o, "crown", crowned ? json_integer(r->setup->crown.number) : json_null());
    json_object_set_new(o, "finger", finger_object(r));
    if (r->key && r->key[0])
        json_object_set_new(o, "key", rg_json_text(r->key));
    json_object_set_new(o, "verdict", json_string(rg_verdict_name(map->verdict)));
    json_t *reasons = json_array();
    for (int i = 0; i < map->reasons; i++)
        json_array_append_new(reasons, message(map->reason[i]));
    json_object_set_new(o, "reasons", reasons);
}

static void add_conditions(json_t *o, const rg_report *r)
{
    const rg_sealmap_options *s = &r->setup->options.sealmap;
    const rg_rim *rim = &r->setup->rim;
    json_object_set_new(o, "tolerance_mm", length(s->tolerance_mm));
    json_object_set_new(o, "min_arc_deg", angle(s->min_arc_deg));
    json_object_set_new(o, "seen_arc_deg", angle(r->setup->options.rocking.seen_arc_deg));
    json_object_set_new(o, "coverage_factor", rg_json_decimals(s->coverage_factor, 3));
    json_object_set_new(o, "rim_inner_diameter_mm", length(rim->inner_diameter_mm));
    json_object_set_new(o, "rim_outer_diameter_mm", length(rim->outer_diameter_mm));
    json_object_set_new(o, "pad_diameter_mm", length(rim->pad_diameter_mm));
    json_object_set_new(o, "light", light_object(r));
    json_object_set_new(o, "psf_sigma_px", rg_json_decimals(r->result->psf_sigma_px, 4));
    json_object_set_new(o, "pad_bulge_mm", length(r->result->geometry.bulge_mm));
    json_object_set_new(o, "rim_plane", plane_object(&r->result->plane));
    if (r->inputs) {
        json_object_set_new(o, "judged", json_string(r->inputs->judged));
        json_object_set_new(o, "inputs", inputs_object(r->inputs));
    }
}

static json_t *opening_frames(const rg_report *r)
{
    json_t *frames = json_array();
    for (int i = 0; i < r->count; i++) {
        const rg_frame *f = &r->frames[i];
        json_t *o = json_object();
        if (f->role != RG_FRAME_OPEN) {
            json_decref(o);
            continue;
        }
        json_object_set_new(o, "file", rg_json_text(r->files[i]));
        json_object_set_new(o, "used", json_boolean(f->open.used));
        json_object_set_new(o, "reason", message(f->open.reason));
        json_object_set_new(o, "bearing_deg", bearing(f->open.bearing_deg));
        json_object_set_new(o, "elevation_deg", angle(f->open.elevation_deg));
        json_object_set_new(o, "points", json_integer(f->open.points));
        json_object_set_new(o, "rms_px", length(f->open.rms_px));
        json_array_append_new(frames, o);
    }
    return frames;
}

static json_t *opening_object(const rg_report *r)
{
    const rg_opening *p = r->opening;
    const struct {
        const char *key;
        double mm;
    } lengths[] = {{"far_mm", p->far_mm},     {"u_far_mm", p->u_far_mm},
                   {"hinge_mm", p->hinge_mm}, {"u_hinge_mm", p->u_hinge_mm},
                   {"mean_mm", p->mean_mm},   {"u_mean_mm", p->u_mean_mm},
                   {"tilt_mm", p->tilt_mm},   {"u_tilt_mm", p->u_tilt_mm}};
    json_t *o = json_object();
    json_object_set_new(o, "measured", json_boolean(p->measured));
    json_object_set_new(o, "reason", message(p->reason));
    json_object_set_new(o, "target_mm", length(r->opening_target_mm));
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++)
        json_object_set_new(o, lengths[i].key, p->measured ? length(lengths[i].mm) : json_null());
    json_object_set_new(o, "tilt_bearing_deg",
                        p->measured ? bearing(p->tilt_bearing_deg) : json_null());
    json_object_set_new(o, "frames_given", json_integer(p->frames_given));
    json_object_set_new(o, "frames_used", json_integer(p->frames_used));
    json_object_set_new(o, "rms_px", length(p->rms_px));
    json_object_set_new(o, "frames", opening_frames(r));
    return o;
}

static void add_results(json_t *o, const rg_report *r)
{
    const rg_seal_map *map = &r->result->map;
    json_t *bins = json_array(), *arcs = json_array(), *frames = json_array();
    for (int b = 0; b < RG_BINS; b++)
        json_array_append_new(bins, bin_object(&map->bin[b]));
    for (int i = 0; i < map->arcs; i++)
        json_array_append_new(arcs, arc_object(&map->arc[i]));
    for (int i = 0; i < r->count; i++)
        json_array_append_new(frames, frame_object(r, i));
    if (r->opening && r->opening->frames_given > 0)
        json_object_set_new(o, "opening", opening_object(r));
    json_object_set_new(o, "arcs", arcs);
    json_object_set_new(o, "frames", frames);
    json_object_set_new(o, "bins", bins);
}

rg_code rg_report_seal_map(const rg_report *report, char **text, rg_error *err)
{
    json_t *o = json_object();
    add_head(o, report);
    add_conditions(o, report);
    add_results(o, report);
    return rg_json_write(o, DIGITS, "the result", text, err);
}

static json_t *error_object(const char *folder, const rg_error *e)
{
    json_t *o = json_object();
    json_object_set_new(o, "folder", rg_json_text(folder));
    json_object_set_new(o, "code", json_integer(e->code));
    json_object_set_new(o, "text", message(e->text));
    return o;
}

rg_code rg_report_inspection(const char *verdict, const char *const *folders,
                             const char *const *maps, const rg_error *errors, int count,
                             char **text, rg_error *err)
{
    json_t *o = json_object(), *sweeps = json_array(), *faults = json_array();
    for (int i = 0; i < count; i++) {
        json_t *map = maps[i] ? json_loads(maps[i], 0, NULL) : NULL;
        if (map)
            json_array_append_new(sweeps, map);
        if (errors[i].code != RG_OK)
            json_array_append_new(faults, error_object(folders[i], &errors[i]));
    }
    json_object_set_new(o, "format", json_string("rimglow inspection"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "verdict", rg_json_text(verdict));
    json_object_set_new(o, "sweeps", sweeps);
    json_object_set_new(o, "errors", faults);
    return rg_json_write(o, DIGITS, "the result", text, err);
}

/*
 * mapfile.c - reading JSON by jansson.
 */
#include "rimglow/mapfile.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/date.h"
#include "rimglow/text.h"

typedef struct source {
    const char *label;
    rg_error *err;
} source;

static rg_code load(const source *s, const char *text, size_t size, json_t **root)
{
    json_error_t e;
    *root = NULL;
    if (size > RG_MAPFILE_MAX_BYTES)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: %zu bytes are more than the %d of such a file; it is "
                       "probably another file",
                       s->label, size, RG_MAPFILE_MAX_BYTES);
    *root = json_loadb(text ? text : "", size, JSON_REJECT_DUPLICATES, &e);
    if (!*root)
        return rg_fail(s->err, RG_BAD_DATA, "%s, line %d: not JSON (%s); write the file again",
                       s->label, e.line, e.text);
    if (!json_is_object(*root)) {
        json_decref(*root);
        *root = NULL;
        return rg_fail(s->err, RG_BAD_DATA, "%s: the JSON text is not an object", s->label);
    }
    return RG_OK;
}

/* A number within low..high; null, where a number is not needed, is `missing`. */
static rg_code number(const source *s, const json_t *o, const char *where, const char *key,
                      double low, double high, bool needed, double missing, double *value)
{
    const json_t *v = json_object_get(o, key);
    if (!needed && json_is_null(v)) {
        *value = missing;
        return RG_OK;
    }
    *value = json_number_value(v);
    if (json_is_number(v) && *value >= low && *value <= high)
        return RG_OK;
    return rg_fail(s->err, RG_BAD_DATA,
                   "%s: %s%s must be a number from %g to %g%s; inspect the sweep "
                   "again",
                   s->label, where, key, low, high, needed ? "" : ", or null");
}

static rg_code bin_state(const source *s, const json_t *o, const char *where, rg_bin_state *state)
{
    const char *name = json_string_value(json_object_get(o, "state"));
    for (int k = RG_BIN_SEALED; name && k <= RG_BIN_UNSEEN; k++)
        if (strcmp(name, rg_bin_state_name((rg_bin_state)k)) == 0) {
            *state = (rg_bin_state)k;
            return RG_OK;
        }
    return rg_fail(s->err, RG_BAD_DATA, "%s: %sstate must be sealed, gap or unseen", s->label,
                   where);
}

/* report.h's word for a blocked bin. */
static bool says_blocked(const json_t *o)
{
    const char *why = json_string_value(json_object_get(o, "why"));
    return why && strcmp(why, "light interrupted between two openings") == 0;
}

static rg_code read_bin(const source *s, const json_t *o, int b, rg_bin *bin)
{
    char where[32];
    double bearing, frames, lit;
    snprintf(where, sizeof where, "bins[%d].", b);
    *bin = (rg_bin){0};
    rg_code code = bin_state(s, o, where, &bin->state);
    bool seen = bin->state != RG_BIN_UNSEEN;
    if (code == RG_OK)
        code = number(s, o, where, "bearing_deg", b, b, true, 0, &bearing);
    if (code == RG_OK)
        code = number(s, o, where, "width_mm", -100, 100, seen, NAN, &bin->width_mm);
    if (code == RG_OK)
        code = number(s, o, where, "u_mm", 0, 100, seen, NAN, &bin->u_mm);
    if (code == RG_OK)
        code = number(s, o, where, "detection_limit_mm", 0, 1000, false, INFINITY,
                      &bin->detection_limit_mm);
    if (code == RG_OK)
        code = number(s, o, where, "frames", 0, 1e6, true, 0, &frames);
    if (code == RG_OK)
        code = number(s, o, where, "lit_frames", 0, 1e6, true, 0, &lit);
    if (code == RG_OK) {
        bin->bearing_deg = b;
        bin->frames = (int)frames;
        bin->lit = (int)lit;
        bin->blocked = says_blocked(o);
    }
    return code;
}

static rg_code read_arc(const source *s, const json_t *o, int i, rg_arc *arc)
{
    const struct {
        const char *key;
        double high;
        double *value;
    } field[] = {
        {"start_deg", 360, &arc->start_deg},
        {"end_deg", 360, &arc->end_deg},
        {"u_end_deg", 1e6, &arc->u_end_deg},
        {"centre_deg", 360, &arc->centre_deg},
        {"u_centre_deg", 1e6, &arc->u_centre_deg},
        {"extent_deg", 360, &arc->extent_deg},
        {"u_extent_deg", 1e6, &arc->u_extent_deg},
        {"extent_mm", 1e4, &arc->extent_mm},
        {"u_extent_mm", 1e6, &arc->u_extent_mm},
        {"max_width_mm", 100, &arc->max_width_mm},
        {"u_max_mm", 100, &arc->u_max_mm},
        {"max_bearing_deg", 360, &arc->max_bearing_deg},
        {"mean_width_mm", 100, &arc->mean_width_mm},
        {"u_mean_mm", 100, &arc->u_mean_mm},
        {"open_area_mm2", 1e5, &arc->open_area_mm2},
        {"u_area_mm2", 1e5, &arc->u_area_mm2},
    };
    char where[32];
    rg_code code = RG_OK;
    snprintf(where, sizeof where, "arcs[%d].", i);
    *arc = (rg_arc){0};
    for (size_t k = 0; code == RG_OK && k < sizeof field / sizeof *field; k++)
        code = number(s, o, where, field[k].key, 0, field[k].high, true, 0, field[k].value);
    arc->full_circle = json_is_true(json_object_get(o, "full_circle"));
    return code;
}

static rg_code read_head(const source *s, const json_t *o, rg_map_file *f)
{
    const char *format = json_string_value(json_object_get(o, "format"));
    const char *verdict = json_string_value(json_object_get(o, "verdict"));
    const char *serial = json_string_value(json_object_get(o, "serial"));
    const char *pad = json_string_value(json_object_get(o, "pad"));
    double version;
    if (!format || strcmp(format, "rimglow seal map") != 0)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: format is not \"rimglow seal map\"; name a sweep folder, "
                       "its result folder or its seal-map.json",
                       s->label);
    rg_code code = number(s, o, "", "version", 1, 1, true, 0, &version);
    if (code == RG_OK)
        code = number(s, o, "", "tolerance_mm", 0, 100, true, 0, &f->tolerance_mm);
    if (code == RG_OK)
        code = number(s, o, "", "coverage_factor", 0.1, 10, true, 0, &f->coverage_factor);
    if (code == RG_OK)
        code = number(s, o, "", "rim_outer_diameter_mm", 0.1, 1000, true, 0,
                      &f->map.rim_outer_diameter_mm);
    f->map.verdict = RG_VERDICT_UNDECIDED;
    if (verdict)
        rg_verdict_parse(verdict, &f->map.verdict);
    rg_copy_text(f->serial, sizeof f->serial, serial ? serial : "");
    rg_copy_text(f->pad, sizeof f->pad, pad ? pad : "");
    return code;
}

static void text_of(const json_t *o, const char *key, char *to, size_t size)
{
    const char *text = json_string_value(json_object_get(o, key));
    rg_copy_text(to, size, text ? text : "");
}

static int day_of(const json_t *o, const char *key)
{
    const char *text = json_string_value(json_object_get(o, key));
    int day = -1;
    return text && rg_date_parse(text, &day) ? day : -1;
}

static double number_or_nan(const json_t *v)
{
    return json_is_number(v) ? json_number_value(v) : NAN;
}

/* Luminance of linear light (IEC 61966-2-1; ITU-R BT.709). */
static double luminance(const json_t *radiance)
{
    static const double weight[3] = {0.2126, 0.7152, 0.0722};
    double sum = 0;
    for (size_t c = 0; c < 3; c++)
        sum += weight[c] * number_or_nan(json_array_get(radiance, c));
    return sum;
}

static void read_light(const json_t *o, rg_map_file *f)
{
    const json_t *light = json_object_get(o, "light"), *finger = json_object_get(o, "finger");
    f->light_proven = json_is_true(json_object_get(light, "proven"));
    f->calibrated = json_is_true(json_object_get(light, "calibrated"));
    f->calibration_day = day_of(light, "calibration_date");
    f->radiance = f->light_proven ? luminance(json_object_get(light, "radiance")) : NAN;
    f->u_ln_radiance = number_or_nan(json_object_get(light, "u_ln"));
    f->psf_sigma_px = number_or_nan(json_object_get(o, "psf_sigma_px"));
    text_of(finger, "kind", f->finger, sizeof f->finger);
    f->grams = number_or_nan(json_object_get(finger, "grams"));
}

static void read_opening(const json_t *o, rg_map_file *f)
{
    f->opening.given = json_is_object(o);
    f->opening.measured = json_is_true(json_object_get(o, "measured"));
    f->opening.target_mm = number_or_nan(json_object_get(o, "target_mm"));
    f->opening.far_mm = number_or_nan(json_object_get(o, "far_mm"));
    f->opening.u_far_mm = number_or_nan(json_object_get(o, "u_far_mm"));
    f->opening.hinge_mm = number_or_nan(json_object_get(o, "hinge_mm"));
    f->opening.u_hinge_mm = number_or_nan(json_object_get(o, "u_hinge_mm"));
    if (!(f->opening.far_mm >= 0 && f->opening.u_far_mm >= 0))
        f->opening.measured = false;
}

static void read_conditions(const json_t *o, rg_map_file *f)
{
    const json_t *reasons = json_object_get(o, "reasons"), *frames = json_object_get(o, "frames");
    text_of(o, "software", f->software, sizeof f->software);
    text_of(o, "instrument", f->instrument, sizeof f->instrument);
    text_of(o, "station", f->station, sizeof f->station);
    f->judged_day = day_of(o, "judged");
    text_of(o, "key", f->key, sizeof f->key);
    read_opening(json_object_get(o, "opening"), f);
    read_light(o, f);
    for (size_t i = 0; i < json_array_size(reasons) && i < RG_REASONS_MAX; i++) {
        const char *text = json_string_value(json_array_get(reasons, i));
        rg_copy_text(f->map.reason[f->map.reasons++], RG_REASON_SIZE, text ? text : "");
    }
    for (size_t i = 0; i < json_array_size(frames) && i < RG_MAPFILE_FRAMES; i++) {
        const json_t *frame = json_array_get(frames, i);
        const char *role = json_string_value(json_object_get(frame, "role"));
        if (!role || strcmp(role, "closed") != 0)
            continue;
        f->frames_given++;
        f->frames_used += json_is_true(json_object_get(frame, "used"));
    }
}

static rg_code read_map(const source *s, const json_t *o, rg_map_file *f)
{
    const json_t *bins = json_object_get(o, "bins"), *arcs = json_object_get(o, "arcs");
    rg_code code = read_head(s, o, f);
    if (code == RG_OK && (!json_is_array(bins) || json_array_size(bins) != RG_BINS))
        code = rg_fail(s->err, RG_BAD_DATA, "%s: bins must be a list of 360", s->label);
    if (code == RG_OK && (!json_is_array(arcs) || json_array_size(arcs) > RG_ARCS_MAX))
        code = rg_fail(s->err, RG_BAD_DATA, "%s: arcs must be a list of at most %d", s->label,
                       RG_ARCS_MAX);
    for (int b = 0; code == RG_OK && b < RG_BINS; b++)
        code = read_bin(s, json_array_get(bins, (size_t)b), b, &f->map.bin[b]);
    int n = code == RG_OK ? (int)json_array_size(arcs) : 0;
    for (int i = 0; code == RG_OK && i < n; i++)
        code = read_arc(s, json_array_get(arcs, (size_t)i), i, &f->map.arc[i]);
    f->map.arcs = n;
    if (code == RG_OK)
        read_conditions(o, f);
    return code;
}

rg_code rg_mapfile_parse(const char *label, const char *text, size_t size, rg_map_file *file,
                         rg_error *err)
{
    source s = {label, err};
    json_t *root;
    *file = (rg_map_file){0};
    rg_code code = load(&s, text, size, &root);
    if (code == RG_OK)
        code = read_map(&s, root, file);
    json_decref(root);
    return code;
}

static bool digest_of(const json_t *o, const char *key, rg_digest *digest)
{
    const char *text = json_string_value(json_object_get(o, key));
    return text && rg_digest_parse(text, digest);
}

static rg_code read_inputs(const source *s, const json_t *o, rg_map_inputs *in)
{
    const json_t *inputs = json_object_get(o, "inputs"), *frames = json_object_get(o, "frames");
    if (!digest_of(inputs, "sweep_sha256", &in->sweep) ||
        !digest_of(inputs, "instrument_sha256", &in->instrument) ||
        !digest_of(inputs, "station_sha256", &in->station) || !json_is_array(frames) ||
        json_array_size(frames) > RG_MAPFILE_FRAMES)
        return rg_fail(s->err, RG_BAD_DATA,
                       "%s: does not say by digest what was measured; inspect the sweep again",
                       s->label);
    in->frames = (int)json_array_size(frames);
    for (int i = 0; i < in->frames; i++) {
        const json_t *frame = json_array_get(frames, (size_t)i);
        text_of(frame, "file", in->frame[i].file, sizeof in->frame[i].file);
        if (!digest_of(frame, "sha256", &in->frame[i].digest))
            in->frame[i].digest = (rg_digest){{0}};
    }
    return RG_OK;
}

rg_code rg_mapfile_inputs(const char *label, const char *text, size_t size, rg_map_inputs *inputs,
                          rg_error *err)
{
    source s = {label, err};
    json_t *root;
    *inputs = (rg_map_inputs){0};
    rg_code code = load(&s, text, size, &root);
    if (code == RG_OK)
        code = read_inputs(&s, root, inputs);
    json_decref(root);
    return code;
}

rg_code rg_mapfile_truth(const char *label, const char *text, size_t size, double w_mm[RG_BINS],
                         rg_error *err)
{
    source s = {label, err};
    json_t *root;
    rg_code code = load(&s, text, size, &root);
    const json_t *w = json_object_get(root, "w_mm");
    if (code == RG_OK && (!json_is_array(w) || json_array_size(w) != RG_BINS))
        code = rg_fail(err, RG_BAD_DATA,
                       "%s: w_mm must be a list of 360 widths in mm, one for each degree "
                       "of bearing",
                       label);
    for (int b = 0; code == RG_OK && b < RG_BINS; b++) {
        const json_t *v = json_array_get(w, (size_t)b);
        w_mm[b] = json_number_value(v);
        if (!json_is_number(v) || !(w_mm[b] >= 0 && w_mm[b] <= 100))
            code = rg_fail(err, RG_BAD_DATA, "%s: w_mm[%d] must be a width from 0 to 100 mm", label,
                           b);
    }
    json_decref(root);
    return code;
}

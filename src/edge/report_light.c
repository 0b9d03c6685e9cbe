/*
 * report_light.c - the calibration of the light as JSON. Part of report.h.
 */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>

#include "json_values.h"
#include "rimglow/report.h"
#include "rimglow/version.h"

static json_t *number(double value)
{
    return rg_json_decimals(value, 6);
}

static json_t *numbers(const double *value, int count)
{
    json_t *a = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(a, number(value[i]));
    return a;
}

static json_t *feeler(const rg_wedge_blade *b)
{
    return json_pack("{s:o,s:o,s:o,s:o}", "thickness_mm", number(b->thickness_mm), "u_mm",
                     number(b->u_thickness_mm), "bearing_deg", number(b->bearing_deg), "width_mm",
                     number(b->width_mm));
}

static json_t *values(const rg_wedge_result *r)
{
    json_t *o = json_object();
    for (int k = 0; k < RG_WEDGE_VALUES; k++)
        json_object_set_new(o, rg_wedge_value_key((rg_wedge_value)k),
                            json_pack("{s:o,s:o,s:o}", "value", number(r->value[k]), "u",
                                      number(r->u[k]), "before", number(r->before[k])));
    return o;
}

static json_t *residual(const rg_wedge_result *r)
{
    return json_pack("{s:o,s:o,s:o,s:o,s:o,s:o,s:o,s:o}", "rms_before_mm", number(r->rms_before_mm),
                     "rms_mm", number(r->rms_mm), "worst_mm", number(r->worst_mm),
                     "worst_bearing_deg", number(r->worst_bearing_deg), "offset_mm",
                     number(r->offset_mm), "u_offset_mm", number(r->u_offset_mm), "slope",
                     number(r->slope), "u_slope", number(r->u_slope));
}

static json_t *response(const rg_wedge_result *r)
{
    json_t *nodes = json_array();
    for (int i = 0; i < r->nodes; i++) {
        const rg_wedge_node *n = &r->node[i];
        json_array_append_new(nodes, json_pack("{s:o,s:o,s:o,s:i}", "gap_mm", number(n->width_mm),
                                               "flux_mm", number(n->flux_mm), "reading_mm",
                                               number(n->reading_mm), "bearings", n->bearings));
    }
    return json_pack("{s:b,s:o}", "monotone", r->monotone, "nodes", nodes);
}

static json_t *detection(const rg_wedge_result *r)
{
    json_t *a = json_array();
    for (int k = 0; k < RG_WEDGE_AMBIENTS; k++)
        json_array_append_new(
            a, json_pack("{s:o,s:o,s:o}", "ambient", number(r->ambient[k]), "elevation_deg",
                         numbers(r->elevation_deg, RG_WEDGE_ELEVATIONS), "limit_mm",
                         numbers(r->detection_mm[k], RG_WEDGE_ELEVATIONS)));
    return a;
}

static json_t *bins(const rg_wedge_result *r)
{
    json_t *a = json_array();
    for (int b = 0; b < RG_BINS; b++) {
        const rg_wedge_bin *bin = &r->bin[b];
        if (bin->used)
            json_array_append_new(a, json_pack("{s:i,s:o,s:o,s:o}", "bearing_deg", b, "gap_mm",
                                               number(bin->true_mm), "before_mm",
                                               number(bin->before_mm), "reading_mm",
                                               number(bin->after_mm)));
    }
    return a;
}

static void add_camera(json_t *o, const rg_wedge_result *r)
{
    json_object_set_new(o, "saturation",
                        json_pack("{s:o,s:o}", "full_scale", number(r->full_scale), "clipped_share",
                                  number(r->clipped_share)));
    json_object_set_new(o, "noise",
                        json_pack("{s:o,s:o,s:o}", "floor_mm", number(r->noise_floor_mm),
                                  "per_sqrt_light", number(r->noise_per_light), "background",
                                  number(r->background)));
    json_object_set_new(o, "detection", detection(r));
}

rg_code rg_report_light(const rg_wedge_result *r, const rg_wedge_blade *blade, const char *station,
                        const char *date, char **text, rg_error *err)
{
    json_t *o = json_object();
    json_object_set_new(o, "format", json_string("rimglow light calibration"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string(rg_version()));
    json_object_set_new(o, "station", rg_json_text(station));
    json_object_set_new(o, "date", rg_json_text(date));
    json_object_set_new(o, "feeler", feeler(blade));
    json_object_set_new(o, "values", values(r));
    json_object_set_new(o, "slot_depth_mm", number(r->depth_mm));
    json_object_set_new(o, "radiance", numbers(r->radiance, 3));
    json_object_set_new(o, "psf_sigma_px", number(r->psf_sigma_px));
    json_object_set_new(o, "px_per_mm", number(r->px_per_mm));
    json_object_set_new(o, "bearings", json_integer(r->bearings));
    json_object_set_new(o, "frames", json_integer(r->frames));
    json_object_set_new(o, "residual", residual(r));
    json_object_set_new(o, "model_floor_mm", number(r->floor_mm));
    json_object_set_new(o, "model_relative", number(r->relative));
    json_object_set_new(o, "response", response(r));
    add_camera(o, r);
    json_object_set_new(o, "bins", bins(r));
    *text = json_dumps(o, JSON_INDENT(2) | JSON_REAL_PRECISION(9));
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the calibration's JSON");
}

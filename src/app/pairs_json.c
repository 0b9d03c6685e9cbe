/*
 * pairs_json.c - a case as JSON (pairs.h).
 */
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pairs_private.h"

enum { DIGITS = 9 };

/* To 1e-6 mm and 1e-3 degrees; what is not finite is null. */
static json_t *rounded(double value, double step)
{
    return isfinite(value) ? json_real(round(value / step) * step) : json_null();
}

static json_t *length(double mm)
{
    return rounded(mm, 1e-6);
}

static json_t *angle(double degrees)
{
    return rounded(degrees, 1e-3);
}

static json_t *widest_json(const rg_pairs_truth *t)
{
    if (!t->gap)
        return json_null();
    return json_pack("{s:o, s:o, s:o, s:o}", "bearing_deg", angle(t->widest_deg), "width_mm",
                     length(t->widest_mm), "U_mm", length(t->U_mm), "extent_deg",
                     angle(t->extent_deg));
}

static json_t *kinds_json(const rg_pairs_truth *t)
{
    json_t *list = json_array();
    for (int i = 0; i < t->kinds; i++)
        json_array_append_new(list, json_string(rg_fault_kind_name(t->kind[i])));
    return list;
}

static json_t *reasons_json(const rg_seal_map *map)
{
    json_t *list = json_array();
    for (int i = 0; i < map->reasons; i++)
        json_array_append_new(list, json_string(map->reason[i]));
    return list;
}

static json_t *views_json(const rg_pair *pair)
{
    static const char *const word[RG_PAIRS_VIEWS] = {"in", "out"};
    json_t *list = json_array();
    for (int i = 0; i < RG_PAIRS_VIEWS; i++) {
        const rg_pairs_view *v = &pair->view[i];
        if (v->there)
            json_array_append_new(list,
                                  json_pack("{s:s, s:s, s:o, s:o, s:s}", "view", word[i], "kind",
                                            rg_pairs_view_name(v->kind), "camera_bearing_deg",
                                            angle(v->bearing_deg), "camera_elevation_deg",
                                            angle(v->elevation_deg), "says", v->says));
    }
    return list;
}

static json_t *bins_json(const rg_seal_map *map)
{
    json_t *list = json_array();
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &map->bin[b];
        json_array_append_new(list, json_pack("{s:o, s:o, s:o, s:o, s:s}", "bearing_deg",
                                              angle(bin->bearing_deg), "width_mm",
                                              length(bin->width_mm), "u_mm", length(bin->u_mm),
                                              "detection_limit_mm", length(bin->detection_limit_mm),
                                              "state", rg_bin_state_name(bin->state)));
    }
    return list;
}

static json_t *arcs_json(const rg_seal_map *map)
{
    json_t *list = json_array();
    for (int i = 0; i < map->arcs; i++) {
        const rg_arc *a = &map->arc[i];
        json_array_append_new(
            list,
            json_pack("{s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "start_deg", angle(a->start_deg),
                      "end_deg", angle(a->end_deg), "centre_deg", angle(a->centre_deg),
                      "extent_deg", angle(a->extent_deg), "extent_mm", length(a->extent_mm),
                      "max_width_mm", length(a->max_width_mm), "u_max_mm", length(a->u_max_mm),
                      "max_bearing_deg", angle(a->max_bearing_deg)));
    }
    return list;
}

rg_code rg_pair_json(const rg_pair *pair, char **text, rg_error *err)
{
    const rg_pairs_truth *t = &pair->truth;
    json_t *o = json_pack(
        "{s:s, s:i, s:s, s:s, s:s, s:s, s:o, s:f, s:f, s:f, s:o, s:s, s:o, s:s, s:o, s:o, s:o}",
        "format", "rimglow teaching pair", "version", 1, "case", t->name, "pad", t->pad, "finger",
        t->finger, "verdict", rg_verdict_name(t->verdict), "reasons", reasons_json(&pair->map),
        "tolerance_mm", t->tolerance_mm, "coverage_factor", t->coverage_factor,
        "rim_outer_diameter_mm", pair->map.rim_outer_diameter_mm, "widest", widest_json(t), "cause",
        t->cause, "faults", kinds_json(t), "truth", rg_pairs_whose_truth, "views", views_json(pair),
        "bins", bins_json(&pair->map), "arcs", arcs_json(&pair->map));
    *text = o ? json_dumps(o, JSON_INDENT(1) | JSON_REAL_PRECISION(DIGITS)) : NULL;
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for a case as JSON");
}

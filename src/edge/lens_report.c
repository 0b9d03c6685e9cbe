/*
 * lens_report.c - JSON by jansson. Numbers are rounded far below what they
 * mean, so that texts do not change with the last bit.
 */
#include "rimglow/lens_report.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>

#include "json_values.h"
#include "rimglow/version.h"

enum { PX = 5, SMALL = 9, ANGLE = 3 };

static json_t *values(const double v[RG_LENS_VALUES])
{
    static const struct {
        const char *key;
        int index, places;
    } row[] = {{"fx_px", RG_LENS_FX, PX}, {"fy_px", RG_LENS_FY, PX}, {"cx_px", RG_LENS_CX, PX},
               {"cy_px", RG_LENS_CY, PX}, {"k1", RG_LENS_K1, SMALL}, {"k2", RG_LENS_K2, SMALL},
               {"p1", RG_LENS_P1, SMALL}, {"p2", RG_LENS_P2, SMALL}, {"k3", RG_LENS_K3, SMALL}};
    json_t *o = json_object();
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        json_object_set_new(o, row[i].key, rg_json_decimals(v[row[i].index], row[i].places));
    return o;
}

static json_t *lens_object(const rg_lens *l)
{
    const double v[RG_LENS_VALUES] = {l->fx, l->fy, l->cx, l->cy, 0.0,
                                      l->k1, l->k2, l->p1, l->p2, l->k3};
    return values(v);
}

static json_t *all_object(const rg_lens_fit *f)
{
    json_t *o = json_object();
    json_object_set_new(o, "views", json_integer(f->views));
    json_object_set_new(o, "points", json_integer(f->points));
    json_object_set_new(o, "rms_px", rg_json_decimals(f->rms_px, SMALL));
    json_object_set_new(o, "fx_px", rg_json_decimals(f->lens.fx, PX));
    json_object_set_new(o, "fy_px", rg_json_decimals(f->lens.fy, PX));
    return o;
}

static json_t *view_object(const rg_view *v, const rg_view_fit *f)
{
    json_t *o = json_object(), *rotation = json_array();
    bool placed = isfinite(f->rms_px);
    for (int i = 0; i < 3 && placed; i++) {
        json_t *row = json_array();
        for (int k = 0; k < 3; k++)
            json_array_append_new(row, rg_json_decimals(f->pose.R.m[i][k], SMALL));
        json_array_append_new(rotation, row);
    }
    json_object_set_new(o, "file", rg_json_text(v->name));
    json_object_set_new(o, "used", json_boolean(f->used));
    json_object_set_new(o, "points", json_integer(v->corners));
    json_object_set_new(o, "rms_px", rg_json_decimals(f->rms_px, SMALL));
    json_object_set_new(o, "rotation", rotation);
    json_object_set_new(o, "translation_mm",
                        placed ? json_pack("[o, o, o]", rg_json_decimals(f->pose.t.x, 6),
                                           rg_json_decimals(f->pose.t.y, 6),
                                           rg_json_decimals(f->pose.t.z, 6))
                               : json_array());
    return o;
}

static json_t *coverage_object(const rg_lens_review *r)
{
    json_t *o = json_object(), *fields = json_array(), *corners = json_array();
    for (int f = 0; f < RG_FIELDS; f++) {
        json_t *field = json_object();
        json_object_set_new(field, "name", json_string(rg_field_name(f)));
        json_object_set_new(field, "views", json_integer(r->field_views[f]));
        json_object_set_new(field, "marks", json_integer(r->field_points[f]));
        json_array_append_new(fields, field);
    }
    for (int k = 0; k < 4; k++)
        json_array_append_new(corners, rg_json_decimals(r->corner_distance_px[k], ANGLE));
    json_object_set_new(o, "fields", fields);
    json_object_set_new(o, "corner_distance_px", corners);
    json_object_set_new(o, "corner_limit_px", rg_json_decimals(r->corner_limit_px, ANGLE));
    json_object_set_new(o, "tipped_up_down", json_integer(r->tipped_up_down));
    json_object_set_new(o, "tipped_left_right", json_integer(r->tipped_left_right));
    json_object_set_new(o, "largest_tilt_deg", rg_json_decimals(r->largest_tilt_deg, ANGLE));
    return o;
}

static json_t *unused_array(const rg_lens_report *report)
{
    json_t *a = json_array();
    for (int i = 0; i < report->unused; i++) {
        json_t *o = json_object();
        json_object_set_new(o, "file", rg_json_text(report->unused_file[i]));
        json_object_set_new(o, "reason", rg_json_text(report->unused_reason[i]));
        json_array_append_new(a, o);
    }
    return a;
}

static void add_fit(json_t *o, const rg_lens_report *report)
{
    const rg_lens_fit *f = &report->calibration->fit;
    json_object_set_new(o, "width_px", json_integer(f->lens.width));
    json_object_set_new(o, "height_px", json_integer(f->lens.height));
    json_object_set_new(o, "lens", lens_object(&f->lens));
    json_object_set_new(o, "standard_deviation", values(f->sd));
    json_object_set_new(o, "focal_relative",
                        rg_json_decimals(report->review->focal_relative, SMALL));
    json_object_set_new(o, "rms_px", rg_json_decimals(f->rms_px, SMALL));
    json_object_set_new(o, "sigma_px", rg_json_decimals(f->sigma_px, SMALL));
    json_object_set_new(o, "points", json_integer(f->points));
    json_object_set_new(o, "parameters", json_integer(f->parameters));
    json_object_set_new(o, "all", all_object(&report->calibration->all));
}

rg_code rg_lens_report_text(const rg_lens_report *report, char **text, rg_error *err)
{
    const rg_calibration *c = report->calibration;
    json_t *o = json_object(), *advice = json_array(), *views = json_array();
    for (int i = 0; i < report->review->advices; i++)
        json_array_append_new(advice, rg_json_text(report->review->advice[i]));
    for (int i = 0; i < c->views; i++)
        json_array_append_new(views, view_object(&report->view[i], &c->view[i]));
    json_object_set_new(o, "format", json_string("rimglow lens calibration"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "good", json_boolean(report->review->good));
    json_object_set_new(o, "advice", advice);
    add_fit(o, report);
    json_object_set_new(o, "views", views);
    json_object_set_new(o, "not_used", unused_array(report));
    json_object_set_new(o, "coverage", coverage_object(report->review));
    *text = o ? json_dumps(o, JSON_INDENT(2) | JSON_REAL_PRECISION(12)) : NULL;
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the lens report");
}

/*
 * budget_report.c - uncertainty budgets as JSON, by jansson.
 */
#include "rimglow/budget_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"
#include "rimglow/version.h"

/* Nine digits: the sum of the squares must come out again. */
static json_t *number(double value)
{
    return rg_json_digits(value, 9);
}

static json_t *contribution_object(const rg_contribution *p)
{
    json_t *o = json_object();
    json_object_set_new(o, "name", rg_json_text(p->name));
    json_object_set_new(o, "source", rg_json_text(p->source));
    json_object_set_new(o, "unit", rg_json_text(p->unit));
    json_object_set_new(o, "type", json_string(p->type == RG_TYPE_A ? "A" : "B"));
    json_object_set_new(o, "distribution", json_string(rg_distribution_name(p->distribution)));
    json_object_set_new(o, "value", number(p->value));
    json_object_set_new(o, "u", number(p->u));
    json_object_set_new(o, "sensitivity_mm", number(p->sensitivity));
    json_object_set_new(o, "dof", number(p->dof));
    json_object_set_new(o, "u_mm", number(p->u_result));
    json_object_set_new(o, "share", number(p->share));
    return o;
}

static json_t *budget_object(const rg_gap_budget *g)
{
    const rg_budget *b = &g->budget;
    json_t *o = json_object(), *parts = json_array();
    for (int i = 0; i < b->count; i++)
        json_array_append_new(parts, contribution_object(&b->part[i]));
    json_object_set_new(o, "bearing_deg", json_integer(g->bearing_deg));
    json_object_set_new(o, "width_mm", number(g->width_mm));
    json_object_set_new(o, "u_mm", number(b->u));
    json_object_set_new(o, "dof", number(b->dof));
    json_object_set_new(o, "level", number(b->level));
    json_object_set_new(o, "coverage", number(b->coverage));
    json_object_set_new(o, "expanded_mm", number(b->expanded));
    json_object_set_new(o, "seal_map_k", number(g->coverage_factor));
    json_object_set_new(o, "contributions", parts);
    return o;
}

rg_code rg_budget_report_text(const rg_budget_report *r, char **text, rg_error *err)
{
    json_t *o = json_object(), *budgets = json_array();
    for (int i = 0; i < r->count; i++)
        json_array_append_new(budgets, budget_object(&r->budget[i]));
    json_object_set_new(o, "format", json_string("rimglow uncertainty budget"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "serial", rg_json_text(r->serial));
    json_object_set_new(o, "pad", rg_json_text(r->pad));
    json_object_set_new(o, "station", rg_json_text(r->station));
    json_object_set_new(o, "folder", rg_json_text(r->folder));
    json_object_set_new(o, "budgets", budgets);
    *text = json_dumps(o, JSON_INDENT(1) | JSON_PRESERVE_ORDER);
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON of a budget");
}

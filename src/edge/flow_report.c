/*
 * flow_report.c - leaks and notes as JSON, by jansson.
 */
#include "rimglow/flow_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *number(double value)
{
    return rg_json_digits(value, 6);
}

static json_t *note_name(int pitch)
{
    char name[RG_PITCH_NAME];
    if (pitch < 0)
        return json_null();
    rg_pitch_name(pitch, name);
    return json_string(name);
}

static json_t *hole_name(const rg_flow_report *r, int hole)
{
    return hole < 0 ? json_null() : rg_json_text(r->hole[hole].name);
}

static void add_leak(json_t *o, const rg_leak *leak)
{
    json_object_set_new(o, "ml_s", number(leak->ml_s));
    json_object_set_new(o, "u_ml_s", number(leak->u_ml_s));
    json_object_set_new(o, "low_ml_s", number(leak->low_ml_s));
    json_object_set_new(o, "high_ml_s", number(leak->high_ml_s));
    json_object_set_new(o, "ml_s_kpa", number(leak->ml_s_kpa));
    json_object_set_new(o, "orifice_mm", number(leak->orifice_mm));
    json_object_set_new(o, "orifice_low_mm", number(leak->orifice_low_mm));
    json_object_set_new(o, "orifice_high_mm", number(leak->orifice_high_mm));
}

static void add_sight(json_t *o, const rg_leak *dark, int gap, int sealed, int unseen)
{
    json_t *more = json_object();
    json_object_set_new(more, "ml_s", number(dark->ml_s));
    json_object_set_new(more, "orifice_mm", number(dark->orifice_mm));
    json_object_set_new(o, "at_most_more", more);
    json_object_set_new(o, "gap_bearings", json_integer(gap));
    json_object_set_new(o, "sealed_bearings", json_integer(sealed));
    json_object_set_new(o, "unseen_bearings", json_integer(unseen));
}

static json_t *pad_object(const rg_flow_report *r, const rg_flow_report_pad *p)
{
    json_t *o = json_object(), *arcs = json_array();
    json_object_set_new(o, "pad", hole_name(r, p->hole));
    add_leak(o, &p->flow->measured);
    add_sight(o, &p->flow->dark, p->flow->gap, p->flow->sealed, p->flow->unseen);
    for (int a = 0; a < p->flow->arcs; a++) {
        json_t *arc = json_object();
        json_object_set_new(arc, "arc", json_integer(a));
        add_leak(arc, &p->flow->arc[a]);
        json_array_append_new(arcs, arc);
    }
    json_object_set_new(o, "arcs", arcs);
    return o;
}

static json_t *falling_notes(const rg_pitch_set *set)
{
    json_t *list = json_array();
    for (int p = RG_PITCHES - 1; p >= 0; p--)
        if (rg_pitch_in(set, p))
            json_array_append_new(list, note_name(p));
    return list;
}

static json_t *rank_object(const rg_flow_report *r, const rg_leak_rank *rank)
{
    json_t *o = json_object();
    json_object_set_new(o, "pad", hole_name(r, rank->leak.hole));
    json_object_set_new(o, "ml_s", number(rank->leak.ml_s));
    json_object_set_new(o, "u_ml_s", number(rank->leak.u_ml_s));
    json_object_set_new(o, "starts_at", note_name(rank->starts_at));
    json_object_set_new(o, "notes", falling_notes(&rank->note));
    return o;
}

static json_t *loss_object(const rg_flow_report *r, const rg_note_loss *loss)
{
    json_t *o = json_object();
    json_object_set_new(o, "note", note_name(loss->pitch));
    json_object_set_new(o, "ml_s", number(loss->ml_s));
    json_object_set_new(o, "u_ml_s", number(loss->u_ml_s));
    json_object_set_new(o, "leaks", json_integer(loss->leaks));
    json_object_set_new(o, "worst_pad", hole_name(r, loss->worst));
    return o;
}

static json_t *breath_object(const rg_flow_report *r, const rg_note_breath *b)
{
    json_t *o = json_object(), *through = json_array();
    for (int i = 0; b->venting.known && i < b->venting.holes; i++)
        json_array_append_new(through, hole_name(r, b->venting.hole[i]));
    json_object_set_new(o, "note", note_name(b->venting.pitch));
    json_object_set_new(o, "known", json_boolean(b->venting.known));
    json_object_set_new(o, "speaks_through", through);
    json_object_set_new(o, "breath", json_string(rg_breath_name(b->breath)));
    json_object_set_new(o, "cause", hole_name(r, b->cause));
    json_object_set_new(o, "reason", rg_json_text(b->reason));
    return o;
}

static void add_head(json_t *o, const rg_flow_report *r)
{
    const rg_flow_options *f = r->options;
    rg_air air = rg_air_at(f->temperature_c, f->ambient_pa);
    json_t *a = json_object();
    json_object_set_new(a, "temperature_c", number(f->temperature_c));
    json_object_set_new(a, "ambient_pa", number(f->ambient_pa));
    json_object_set_new(a, "viscosity_pa_s", number(air.viscosity_pa_s));
    json_object_set_new(a, "density_kg_m3", number(air.density_kg_m3));
    json_object_set_new(o, "format", json_string("rimglow leaks and notes"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "serial", rg_json_text(r->serial));
    json_object_set_new(o, "instrument", rg_json_text(r->instrument));
    json_object_set_new(o, "air", a);
    json_object_set_new(o, "blowing_pa", number(f->blowing_pa));
    json_object_set_new(o, "discharge", number(f->discharge));
    json_object_set_new(o, "entry_exit_loss", number(f->entry_exit_loss));
    json_object_set_new(o, "coverage_factor", number(f->coverage_factor));
}

static void add_lists(json_t *o, const rg_flow_report *r)
{
    json_t *pads = json_array(), *ranking = json_array(), *notes = json_array(),
           *venting = json_array();
    for (int i = 0; i < r->pads; i++)
        json_array_append_new(pads, pad_object(r, &r->pad[i]));
    for (int i = 0; i < r->ranks; i++)
        json_array_append_new(ranking, rank_object(r, &r->rank[i]));
    for (int i = 0; i < r->losses; i++)
        json_array_append_new(notes, loss_object(r, &r->loss[i]));
    for (int i = 0; i < r->breaths; i++)
        json_array_append_new(venting, breath_object(r, &r->breath[i]));
    json_object_set_new(o, "pads", pads);
    json_object_set_new(o, "ranking", ranking);
    json_object_set_new(o, "notes", notes);
    json_object_set_new(o, "venting", venting);
}

rg_code rg_flow_report_text(const rg_flow_report *r, char **text, rg_error *err)
{
    json_t *o = json_object(), *total = json_object();
    add_head(o, r);
    add_leak(total, &r->total->measured);
    add_sight(total, &r->total->dark, r->total->gap, r->total->sealed, r->total->unseen);
    json_object_set_new(o, "instrument_leak", total);
    add_lists(o, r);
    *text = json_dumps(o, JSON_INDENT(1) | JSON_PRESERVE_ORDER);
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON of leaks");
}

/*
 * flow_report.c - leaks and notes as JSON, by jansson.
 */
#include "rimglow/flow_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *hole_name(const rg_flow_report *r, int hole)
{
    return hole < 0 ? json_null() : rg_json_text(r->hole[hole].name);
}

static void add_leak(json_t *o, const rg_leak *leak)
{
    rg_json_set_number(o, "ml_s", leak->ml_s);
    rg_json_set_number(o, "u_ml_s", leak->u_ml_s);
    rg_json_set_number(o, "low_ml_s", leak->low_ml_s);
    rg_json_set_number(o, "high_ml_s", leak->high_ml_s);
    rg_json_set_number(o, "ml_s_kpa", leak->ml_s_kpa);
    rg_json_set_number(o, "orifice_mm", leak->orifice_mm);
    rg_json_set_number(o, "orifice_low_mm", leak->orifice_low_mm);
    rg_json_set_number(o, "orifice_high_mm", leak->orifice_high_mm);
}

static void add_sight(json_t *o, const rg_leak *dark, int gap, int sealed, int unseen)
{
    json_t *more = json_object();
    rg_json_set_number(more, "ml_s", dark->ml_s);
    rg_json_set_number(more, "orifice_mm", dark->orifice_mm);
    json_object_set_new(o, "at_most_more", more);
    rg_json_set_whole(o, "gap_bearings", gap);
    rg_json_set_whole(o, "sealed_bearings", sealed);
    rg_json_set_whole(o, "unseen_bearings", unseen);
}

static json_t *pad_object(const rg_flow_report *r, const rg_flow_report_pad *p)
{
    json_t *o = json_object(), *arcs = json_array();
    json_object_set_new(o, "pad", hole_name(r, p->hole));
    add_leak(o, &p->flow->measured);
    add_sight(o, &p->flow->dark, p->flow->gap, p->flow->sealed, p->flow->unseen);
    for (int a = 0; a < p->flow->arcs; a++) {
        json_t *arc = json_object();
        rg_json_set_whole(arc, "arc", a);
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
            json_array_append_new(list, rg_json_note(p));
    return list;
}

static json_t *rank_object(const rg_flow_report *r, const rg_leak_rank *rank)
{
    json_t *o = json_object();
    json_object_set_new(o, "pad", hole_name(r, rank->leak.hole));
    rg_json_set_number(o, "ml_s", rank->leak.ml_s);
    rg_json_set_number(o, "u_ml_s", rank->leak.u_ml_s);
    json_object_set_new(o, "starts_at", rg_json_note(rank->starts_at));
    json_object_set_new(o, "notes", falling_notes(&rank->note));
    return o;
}

static json_t *loss_object(const rg_flow_report *r, const rg_note_loss *loss)
{
    json_t *o = json_object();
    json_object_set_new(o, "note", rg_json_note(loss->pitch));
    rg_json_set_number(o, "ml_s", loss->ml_s);
    rg_json_set_number(o, "u_ml_s", loss->u_ml_s);
    rg_json_set_whole(o, "leaks", loss->leaks);
    json_object_set_new(o, "worst_pad", hole_name(r, loss->worst));
    return o;
}

static json_t *breath_object(const rg_flow_report *r, const rg_note_breath *b)
{
    json_t *o = json_object(), *through = json_array();
    for (int i = 0; b->venting.known && i < b->venting.holes; i++)
        json_array_append_new(through, hole_name(r, b->venting.hole[i]));
    json_object_set_new(o, "note", rg_json_note(b->venting.pitch));
    rg_json_set_switch(o, "known", b->venting.known);
    json_object_set_new(o, "speaks_through", through);
    rg_json_set_text(o, "breath", rg_breath_name(b->breath));
    json_object_set_new(o, "cause", hole_name(r, b->cause));
    rg_json_set_text(o, "reason", b->reason);
    return o;
}

static void add_head(json_t *o, const rg_flow_report *r)
{
    const rg_flow_options *f = r->options;
    rg_air air = rg_air_at(f->temperature_c, f->ambient_pa);
    json_t *a = json_object();
    rg_json_set_number(a, "temperature_c", f->temperature_c);
    rg_json_set_number(a, "ambient_pa", f->ambient_pa);
    rg_json_set_number(a, "viscosity_pa_s", air.viscosity_pa_s);
    rg_json_set_number(a, "density_kg_m3", air.density_kg_m3);
    rg_json_set_text(o, "software", "rimglow " RG_VERSION);
    rg_json_set_text(o, "serial", r->serial);
    rg_json_set_text(o, "instrument", r->instrument);
    json_object_set_new(o, "air", a);
    rg_json_set_number(o, "blowing_pa", f->blowing_pa);
    rg_json_set_number(o, "discharge", f->discharge);
    rg_json_set_number(o, "entry_exit_loss", f->entry_exit_loss);
    rg_json_set_number(o, "coverage_factor", f->coverage_factor);
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
    json_t *o = rg_json_document("rimglow leaks and notes"), *total = json_object();
    add_head(o, r);
    add_leak(total, &r->total->measured);
    add_sight(total, &r->total->dark, r->total->gap, r->total->sealed, r->total->unseen);
    json_object_set_new(o, "instrument_leak", total);
    add_lists(o, r);
    return rg_json_write(o, RG_JSON_ALL_DIGITS, "the leaks", text, err);
}

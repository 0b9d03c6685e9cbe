/*
 * instrument_report.c - an instrument file as JSON, by jansson.
 */
#include "rimglow/instrument_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *above_0(double value)
{
    return value > 0 ? rg_json_number(value) : json_null();
}

static json_t *list_of(const rg_pitch_set *set)
{
    char text[RG_PITCH_SET_TEXT];
    rg_pitch_set_text(set, text, sizeof text);
    return json_string(text);
}

static json_t *pad_object(const rg_hole *h, const rg_instrument_report_pad *p)
{
    json_t *o = json_object();
    rg_json_set_text(o, "pad", h->name);
    rg_json_set_text(o, "rest", p->rest);
    rg_json_set_text(o, "role", p->role);
    rg_json_set_text(o, "dimensions", p->dimensions);
    rg_json_set_number(o, "rim_inner_mm", p->rim->inner_diameter_mm);
    rg_json_set_number(o, "rim_outer_mm", p->rim->outer_diameter_mm);
    rg_json_set_number(o, "pad_mm", p->rim->pad_diameter_mm);
    rg_json_set_number(o, "cup_height_mm", p->rim->cup_height_mm);
    json_object_set_new(o, "crown", p->crown < 0 ? json_null() : json_integer(p->crown));
    rg_json_set_number(o, "opening_mm", p->opening_mm);
    json_object_set_new(o, "opening_tolerance_mm", above_0(p->opening_tolerance_mm));
    rg_json_set_text(o, "closed_with", p->closed_with);
    json_object_set_new(o, "notes", list_of(&h->closed));
    json_object_set_new(o, "opens", list_of(&h->opens));
    json_object_set_new(o, "vents", list_of(&h->vents));
    return o;
}

static json_t *link_object(const rg_instrument_report *r, const rg_instrument_report_link *l)
{
    json_t *o = json_object();
    rg_json_set_text(o, "driver", r->hole[l->driver].name);
    rg_json_set_text(o, "driven", r->hole[l->driven].name);
    rg_json_set_text(o, "adjuster", l->adjuster);
    rg_json_set_text(o, "kind", l->kind);
    rg_json_set_number(o, "lever_ratio", l->lever_ratio);
    json_object_set_new(o, "thread_mm", above_0(l->thread_mm));
    return o;
}

static json_t *holes_in(const rg_instrument_report *r, int pitch, rg_hole_state state)
{
    json_t *list = json_array();
    for (int i = 0; i < r->pads; i++)
        if (rg_hole_in_note(&r->hole[i], pitch) == state)
            json_array_append_new(list, rg_json_text(r->hole[i].name));
    return list;
}

static json_t *note_object(const rg_instrument_report *r, int pitch)
{
    json_t *o = json_object(), *through = json_array();
    rg_venting v;
    rg_venting_of(r->hole, r->pads, pitch, &v);
    for (int i = 0; v.known && i < v.holes; i++)
        json_array_append_new(through, rg_json_text(r->hole[v.hole[i]].name));
    json_object_set_new(o, "note", rg_json_note(pitch));
    json_object_set_new(o, "closed", holes_in(r, pitch, RG_STATE_CLOSED));
    json_object_set_new(o, "vents", holes_in(r, pitch, RG_STATE_VENTING));
    rg_json_set_switch(o, "known", v.known);
    json_object_set_new(o, "speaks_through", through);
    return o;
}

static void add_head(json_t *o, const rg_instrument_report *r, const rg_pitch_set *all)
{
    rg_json_set_text(o, "software", "rimglow " RG_VERSION);
    rg_json_set_text(o, "file", r->file);
    rg_json_set_text(o, "name", r->name);
    json_object_set_new(o, "lowest", rg_json_note(rg_pitch_lowest(all)));
    json_object_set_new(o, "highest", rg_json_note(rg_pitch_highest(all)));
}

rg_code rg_instrument_report_text(const rg_instrument_report *r, char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow instrument"), *pads = json_array(), *links = json_array(),
           *notes = json_array();
    rg_pitch_set all = rg_holes_notes(r->hole, r->pads);
    add_head(o, r, &all);
    for (int i = 0; i < r->pads; i++)
        json_array_append_new(pads, pad_object(&r->hole[i], &r->pad[i]));
    for (int i = 0; i < r->links; i++)
        json_array_append_new(links, link_object(r, &r->link[i]));
    for (int p = 0; p < RG_PITCHES; p++)
        if (rg_pitch_in(&all, p))
            json_array_append_new(notes, note_object(r, p));
    json_object_set_new(o, "pads", pads);
    json_object_set_new(o, "links", links);
    json_object_set_new(o, "notes", notes);
    return rg_json_write(o, RG_JSON_ALL_DIGITS, "the instrument", text, err);
}

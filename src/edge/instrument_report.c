/*
 * instrument_report.c - an instrument file as JSON, by jansson.
 */
#include "rimglow/instrument_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *number(double value)
{
    return rg_json_digits(value, 6);
}

static json_t *above_0(double value)
{
    return value > 0 ? number(value) : json_null();
}

static json_t *note_name(int pitch)
{
    char name[RG_PITCH_NAME];
    if (pitch < 0)
        return json_null();
    rg_pitch_name(pitch, name);
    return json_string(name);
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
    json_object_set_new(o, "pad", rg_json_text(h->name));
    json_object_set_new(o, "rest", json_string(p->rest));
    json_object_set_new(o, "role", json_string(p->role));
    json_object_set_new(o, "dimensions", json_string(p->dimensions));
    json_object_set_new(o, "rim_inner_mm", number(p->rim->inner_diameter_mm));
    json_object_set_new(o, "rim_outer_mm", number(p->rim->outer_diameter_mm));
    json_object_set_new(o, "pad_mm", number(p->rim->pad_diameter_mm));
    json_object_set_new(o, "cup_height_mm", number(p->rim->cup_height_mm));
    json_object_set_new(o, "crown", p->crown < 0 ? json_null() : json_integer(p->crown));
    json_object_set_new(o, "opening_mm", number(p->opening_mm));
    json_object_set_new(o, "opening_tolerance_mm", above_0(p->opening_tolerance_mm));
    json_object_set_new(o, "closed_with", rg_json_text(p->closed_with));
    json_object_set_new(o, "notes", list_of(&h->closed));
    json_object_set_new(o, "opens", list_of(&h->opens));
    json_object_set_new(o, "vents", list_of(&h->vents));
    return o;
}

static json_t *link_object(const rg_instrument_report *r, const rg_instrument_report_link *l)
{
    json_t *o = json_object();
    json_object_set_new(o, "driver", rg_json_text(r->hole[l->driver].name));
    json_object_set_new(o, "driven", rg_json_text(r->hole[l->driven].name));
    json_object_set_new(o, "adjuster", rg_json_text(l->adjuster));
    json_object_set_new(o, "kind", json_string(l->kind));
    json_object_set_new(o, "lever_ratio", number(l->lever_ratio));
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
    json_object_set_new(o, "note", note_name(pitch));
    json_object_set_new(o, "closed", holes_in(r, pitch, RG_STATE_CLOSED));
    json_object_set_new(o, "vents", holes_in(r, pitch, RG_STATE_VENTING));
    json_object_set_new(o, "known", json_boolean(v.known));
    json_object_set_new(o, "speaks_through", through);
    return o;
}

static void add_head(json_t *o, const rg_instrument_report *r, const rg_pitch_set *all)
{
    json_object_set_new(o, "format", json_string("rimglow instrument"));
    json_object_set_new(o, "version", json_integer(1));
    json_object_set_new(o, "software", json_string("rimglow " RG_VERSION));
    json_object_set_new(o, "file", rg_json_text(r->file));
    json_object_set_new(o, "name", rg_json_text(r->name));
    json_object_set_new(o, "lowest", note_name(rg_pitch_lowest(all)));
    json_object_set_new(o, "highest", note_name(rg_pitch_highest(all)));
}

rg_code rg_instrument_report_text(const rg_instrument_report *r, char **text, rg_error *err)
{
    json_t *o = json_object(), *pads = json_array(), *links = json_array(), *notes = json_array();
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
    *text = json_dumps(o, JSON_INDENT(1) | JSON_PRESERVE_ORDER);
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON of an instrument");
}

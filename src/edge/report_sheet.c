/*
 * report_sheet.c - printed crowns and boards as JSON, by jansson.
 */
#include "rimglow/report_sheet.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"
#include "rimglow/version.h"

enum { JSON_VERSION = 1 };

static json_t *length(double mm)
{
    return isfinite(mm) ? json_real(round(mm * 1e6) / 1e6) : json_null();
}

/* Texts that are not UTF-8 become null rather than a broken document. */
static json_t *texts(const char *const *text, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, rg_json_text(text[i]));
    return list;
}

static json_t *document(const char *format, const rg_report_paper *p)
{
    json_t *o = json_object();
    json_object_set_new(o, "format", json_string(format));
    json_object_set_new(o, "version", json_integer(JSON_VERSION));
    json_object_set_new(o, "software", json_sprintf("rimglow %s", rg_version()));
    json_object_set_new(o, "paper", json_string(p->paper));
    json_object_set_new(o, "files", texts(p->files, p->file_count));
    json_object_set_new(o, "px_per_mm", length(p->px_per_mm));
    return o;
}

static json_t *crown_object(const rg_report_crown *c, double px_per_mm)
{
    const rg_ring *r = c->ring;
    double height = r->crown.centre_height_mm > 0 ? r->crown.centre_height_mm : NAN;
    json_t *o = json_object(), *ids = json_array();
    for (int j = 0; j < RG_RING_FACES; j++)
        json_array_append_new(ids, json_integer(RG_RING_FACES * r->crown.number + j));
    json_object_set_new(o, "crown", json_integer(r->crown.number));
    json_object_set_new(o, "ids", ids);
    json_object_set_new(o, "title", rg_json_text(c->title));
    json_object_set_new(o, "apothem_mm", length(r->crown.apothem_mm));
    json_object_set_new(o, "face_mm", length(r->face_mm));
    json_object_set_new(o, "crown_tag_mm", length(r->crown.tag_size_mm));
    json_object_set_new(o, "module_mm", length(r->module_mm));
    json_object_set_new(o, "module_px", length(r->module_mm * px_per_mm));
    json_object_set_new(o, "largest_module_mm", length(r->largest_module_mm));
    json_object_set_new(o, "largest_module_px", length(r->largest_module_mm * px_per_mm));
    json_object_set_new(o, "least_cup_diameter_mm", length(r->least_cup_mm));
    json_object_set_new(o, "ring_height_mm", length(r->height_mm));
    json_object_set_new(o, "centre_above_lower_edge_mm", length(r->centre_mm));
    json_object_set_new(o, "crown_centre_height_mm", length(height));
    json_object_set_new(o, "instrument_lines", texts(c->lines, c->line_count));
    return o;
}

static rg_code finish(json_t *document, char **text, rg_error *err)
{
    *text = document ? json_dumps(document, JSON_INDENT(1) | JSON_REAL_PRECISION(10)) : NULL;
    json_decref(document);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON text");
}

rg_code rg_report_crowns(const rg_report_paper *paper, const rg_report_crown *crown, int count,
                         char **text, rg_error *err)
{
    json_t *o = document("rimglow crowns", paper), *list = json_array();
    json_object_set_new(o, "pages", json_integer(paper->pages));
    json_object_set_new(o, "copies", json_integer(paper->copies));
    for (int i = 0; i < count; i++)
        json_array_append_new(list, crown_object(&crown[i], paper->px_per_mm));
    json_object_set_new(o, "crowns", list);
    return finish(o, text, err);
}

rg_code rg_report_board_sheet(const rg_report_paper *paper, const rg_report_board *b, char **text,
                              rg_error *err)
{
    json_t *o = document("rimglow board", paper);
    double module = b->tag_mm / RG_TAG_BORDER_MODULES;
    json_object_set_new(o, "columns", json_integer(b->columns));
    json_object_set_new(o, "rows", json_integer(b->rows));
    json_object_set_new(o, "tag_mm", length(b->tag_mm));
    json_object_set_new(o, "pitch_mm", length(b->pitch_mm));
    json_object_set_new(o, "first_id", json_integer(b->first_id));
    json_object_set_new(o, "last_id", json_integer(b->first_id + b->columns * b->rows - 1));
    json_object_set_new(o, "module_mm", length(module));
    json_object_set_new(o, "module_px", length(module * paper->px_per_mm));
    json_object_set_new(o, "width_mm", length((b->columns - 1) * b->pitch_mm + b->tag_mm));
    json_object_set_new(o, "height_mm", length((b->rows - 1) * b->pitch_mm + b->tag_mm));
    return finish(o, text, err);
}

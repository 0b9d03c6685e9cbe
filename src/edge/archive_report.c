/*
 * archive_report.c - JSON by jansson.
 */
#include "rimglow/archive_report.h"

#include <jansson.h>

#include "json_values.h"

enum { DIGITS = 9 };

rg_code rg_archive_report_added(const rg_added_report *r, char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow archive addition");
    rg_json_set_text(o, "bag", r->bag);
    rg_json_set_text(o, "verdict", r->verdict);
    rg_json_set_whole(o, "sweeps", r->sweeps);
    rg_json_set_whole(o, "measured", r->measured);
    rg_json_set_whole(o, "files", (int64_t)r->files);
    rg_json_set_whole(o, "bytes", (int64_t)r->bytes);
    json_object_set_new(o, "manifest_sha256", rg_json_digest(r->manifest));
    json_object_set_new(o, "tagmanifest_sha256", rg_json_digest(r->tagmanifest));
    rg_json_set_text(o, "setup", r->setup);
    rg_json_set_switch(o, "indexed", r->indexed);
    json_object_set_new(o, "remarks", rg_json_texts(r->remark, r->remarks));
    return rg_json_write(o, DIGITS, "the answer", text, err);
}

static json_t *bag_object(const rg_verified_report_bag *b)
{
    json_t *o = json_object();
    rg_json_set_text(o, "bag", b->bag);
    rg_json_set_whole(o, "files", (int64_t)b->files);
    rg_json_set_whole(o, "bytes", (int64_t)b->bytes);
    json_object_set_new(o, "manifest_sha256", rg_json_digest(b->manifest));
    json_object_set_new(o, "tagmanifest_sha256", rg_json_digest(b->tagmanifest));
    rg_json_set_text(o, "signature", b->signature);
    rg_json_set_whole(o, "faults", b->faults);
    return o;
}

static json_t *finding_object(const rg_verified_report_finding *f)
{
    json_t *o = json_object();
    rg_json_set_text(o, "kind", f->kind);
    rg_json_set_switch(o, "remark", f->remark);
    rg_json_set_text(o, "bag", f->bag);
    rg_json_set_text(o, "file", f->file);
    rg_json_set_text(o, "text", f->text);
    return o;
}

rg_code rg_archive_report_verified(const rg_verified_report *r, char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow archive verification"), *bags = json_array(),
           *list = json_array();
    for (int i = 0; i < r->bags; i++)
        json_array_append_new(bags, bag_object(&r->bag[i]));
    for (int i = 0; i < r->findings; i++)
        json_array_append_new(list, finding_object(&r->finding[i]));
    rg_json_set_switch(o, "clean", r->faults == 0);
    rg_json_set_whole(o, "faults", r->faults);
    rg_json_set_whole(o, "remarks", r->remarks);
    json_object_set_new(o, "bags", bags);
    json_object_set_new(o, "findings", list);
    return rg_json_write(o, DIGITS, "the answer", text, err);
}

static json_t *change_object(const rg_compared_pad *p)
{
    const rg_change *c = p->change;
    json_t *o = json_object(), *arcs = json_array(), *bins = json_array();
    rg_json_set_text(o, "pad", p->pad);
    rg_json_set_text(o, "overall", rg_change_state_name(c->overall));
    rg_json_set_whole(o, "comparable", c->comparable);
    rg_json_set_length(o, "mean_change_mm", c->mean_change_mm);
    rg_json_set_length(o, "u_mean_change_mm", c->u_mean_change_mm);
    rg_json_set_part(o, "turn_deg", c->turn_deg);
    for (int i = 0; i < c->arcs; i++) {
        json_t *arc = json_object();
        rg_json_set_text(arc, "state", rg_change_state_name(c->arc[i].state));
        rg_json_set_part(arc, "start_deg", c->arc[i].start_deg);
        rg_json_set_part(arc, "end_deg", c->arc[i].end_deg);
        rg_json_set_part(arc, "extent_deg", c->arc[i].extent_deg);
        rg_json_set_length(arc, "most_mm", c->arc[i].most_mm);
        rg_json_set_length(arc, "u_most_mm", c->arc[i].u_most_mm);
        rg_json_set_part(arc, "most_bearing_deg", c->arc[i].most_bearing_deg);
        json_array_append_new(arcs, arc);
    }
    for (int b = 0; b < RG_BINS; b++) {
        json_t *bin = json_object();
        rg_json_set_length(bin, "before_mm", c->bin[b].before_mm);
        rg_json_set_length(bin, "after_mm", c->bin[b].after_mm);
        rg_json_set_length(bin, "change_mm", c->bin[b].change_mm);
        rg_json_set_length(bin, "u_mm", c->bin[b].u_mm);
        rg_json_set_text(bin, "state", rg_change_state_name(c->bin[b].state));
        json_array_append_new(bins, bin);
    }
    json_object_set_new(o, "arcs", arcs);
    json_object_set_new(o, "bins", bins);
    return o;
}

rg_code rg_archive_report_compared(const rg_compared_report *r, char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow archive comparison"), *settings = json_object(),
           *pads = json_array();
    rg_json_set_text(o, "serial", r->serial);
    rg_json_set_text(o, "before", r->before);
    rg_json_set_text(o, "after", r->after);
    rg_json_set_number(settings, "coverage_factor", r->options->coverage_factor);
    rg_json_set_part(settings, "turn_u_deg", r->options->turn_u_deg);
    rg_json_set_part(settings, "min_arc_deg", r->options->min_arc_deg);
    json_object_set_new(o, "settings", settings);
    rg_json_set_text(o, "overall", rg_change_state_name(r->overall));
    for (int i = 0; i < r->pads; i++)
        json_array_append_new(pads, change_object(&r->pad[i]));
    json_object_set_new(o, "pads", pads);
    json_object_set_new(o, "only_before", rg_json_texts(r->only_before, r->only_befores));
    json_object_set_new(o, "only_after", rg_json_texts(r->only_after, r->only_afters));
    return rg_json_write(o, DIGITS, "the answer", text, err);
}

static json_t *share_object(const rg_share *s)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "of", s->of);
    rg_json_set_whole(o, "count", s->count);
    rg_json_set_number(o, "share", s->share);
    rg_json_set_number(o, "low", s->low);
    rg_json_set_number(o, "high", s->high);
    return o;
}

static json_t *trend_object(const rg_trend *t, bool drifts)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "points", t->points);
    rg_json_set_number(o, "per_month", t->per_month);
    rg_json_set_number(o, "low", t->low);
    rg_json_set_number(o, "high", t->high);
    rg_json_set_switch(o, "drifts", drifts);
    return o;
}

static json_t *pads_list(const rg_batch *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->pads; i++) {
        json_t *o = json_object();
        rg_json_set_text(o, "model", b->pad[i].model);
        rg_json_set_text(o, "pad", b->pad[i].pad);
        rg_json_set_whole(o, "sweeps", b->pad[i].sweeps);
        rg_json_set_whole(o, "leaking", b->pad[i].leaking);
        rg_json_set_whole(o, "undecided", b->pad[i].undecided);
        json_object_set_new(o, "failing", share_object(&b->pad[i].failing));
        rg_json_set_number(o, "cumulative", b->pad[i].cumulative);
        json_array_append_new(list, o);
    }
    return list;
}

static json_t *models_list(const rg_batch *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->models; i++) {
        json_t *o = json_object();
        rg_json_set_text(o, "model", b->model[i].model);
        rg_json_set_whole(o, "serials", b->model[i].serials);
        json_object_set_new(o, "instruments", share_object(&b->model[i].instruments));
        json_object_set_new(o, "pads", share_object(&b->model[i].pads));
        json_array_append_new(list, o);
    }
    return list;
}

static json_t *stations_list(const rg_batch *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->stations; i++) {
        const rg_batch_station *s = &b->station[i];
        json_t *o = json_object();
        rg_json_set_text(o, "station", s->station);
        rg_json_set_whole(o, "sweeps", s->sweeps);
        json_object_set_new(o, "ln_radiance", trend_object(&s->ln_radiance, s->radiance_drifts));
        json_object_set_new(o, "psf_px", trend_object(&s->psf, s->psf_drifts));
        json_array_append_new(list, o);
    }
    return list;
}

rg_code rg_archive_report_batch(const rg_batch *b, const char *since, const char *until,
                                char **text, rg_error *err)
{
    json_t *o = rg_json_document("rimglow archive batch");
    rg_json_set_text(o, "since", since);
    rg_json_set_text(o, "until", until);
    rg_json_set_number(o, "confidence", b->confidence);
    rg_json_set_whole(o, "sweeps", b->sweeps);
    rg_json_set_whole(o, "serials", b->serials);
    rg_json_set_whole(o, "inspections", b->inspections);
    json_object_set_new(o, "pads", pads_list(b));
    json_object_set_new(o, "models", models_list(b));
    json_object_set_new(o, "stations", stations_list(b));
    return rg_json_write(o, DIGITS, "the answer", text, err);
}

/*
 * archive_report.c - JSON by jansson.
 */
#include "rimglow/archive_report.h"

#include <jansson.h>
#include <stdlib.h>

#include "json_values.h"

static void set_text(json_t *o, const char *key, const char *text)
{
    json_object_set_new(o, key, rg_json_text(text));
}

static void set_whole(json_t *o, const char *key, int64_t value)
{
    json_object_set_new(o, key, json_integer((json_int_t)value));
}

static void set_length(json_t *o, const char *key, double mm)
{
    json_object_set_new(o, key, rg_json_decimals(mm, 6));
}

static void set_angle(json_t *o, const char *key, double degrees)
{
    json_object_set_new(o, key, rg_json_decimals(degrees, 3));
}

static void set_digits(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, rg_json_digits(value, 6));
}

static void set_digest(json_t *o, const char *key, const rg_digest *digest)
{
    char text[RG_DIGEST_TEXT];
    rg_digest_format(digest, text);
    set_text(o, key, text);
}

static json_t *texts(const char *const *text, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, rg_json_text(text[i]));
    return list;
}

static json_t *head(const char *format)
{
    json_t *o = json_object();
    set_text(o, "format", format);
    set_whole(o, "version", 1);
    return o;
}

static rg_code to_text(json_t *o, char **text, rg_error *err)
{
    *text = o ? json_dumps(o, JSON_INDENT(1) | JSON_REAL_PRECISION(9)) : NULL;
    json_decref(o);
    if (!*text)
        return rg_fail(err, RG_INTERNAL, "no memory to write the answer as JSON");
    return RG_OK;
}

rg_code rg_archive_report_added(const rg_added_report *r, char **text, rg_error *err)
{
    json_t *o = head("rimglow archive addition");
    set_text(o, "bag", r->bag);
    set_text(o, "verdict", r->verdict);
    set_whole(o, "sweeps", r->sweeps);
    set_whole(o, "measured", r->measured);
    set_whole(o, "files", (int64_t)r->files);
    set_whole(o, "bytes", (int64_t)r->bytes);
    set_digest(o, "manifest_sha256", r->manifest);
    set_digest(o, "tagmanifest_sha256", r->tagmanifest);
    set_text(o, "setup", r->setup);
    json_object_set_new(o, "indexed", json_boolean(r->indexed));
    json_object_set_new(o, "remarks", texts(r->remark, r->remarks));
    return to_text(o, text, err);
}

static json_t *bag_object(const rg_verified_report_bag *b)
{
    json_t *o = json_object();
    set_text(o, "bag", b->bag);
    set_whole(o, "files", (int64_t)b->files);
    set_whole(o, "bytes", (int64_t)b->bytes);
    set_digest(o, "manifest_sha256", b->manifest);
    set_digest(o, "tagmanifest_sha256", b->tagmanifest);
    set_text(o, "signature", b->signature);
    set_whole(o, "faults", b->faults);
    return o;
}

static json_t *finding_object(const rg_verified_report_finding *f)
{
    json_t *o = json_object();
    set_text(o, "kind", f->kind);
    json_object_set_new(o, "remark", json_boolean(f->remark));
    set_text(o, "bag", f->bag);
    set_text(o, "file", f->file);
    set_text(o, "text", f->text);
    return o;
}

rg_code rg_archive_report_verified(const rg_verified_report *r, char **text, rg_error *err)
{
    json_t *o = head("rimglow archive verification"), *bags = json_array(), *list = json_array();
    for (int i = 0; i < r->bags; i++)
        json_array_append_new(bags, bag_object(&r->bag[i]));
    for (int i = 0; i < r->findings; i++)
        json_array_append_new(list, finding_object(&r->finding[i]));
    json_object_set_new(o, "clean", json_boolean(r->faults == 0));
    set_whole(o, "faults", r->faults);
    set_whole(o, "remarks", r->remarks);
    json_object_set_new(o, "bags", bags);
    json_object_set_new(o, "findings", list);
    return to_text(o, text, err);
}

static json_t *change_object(const rg_compared_pad *p)
{
    const rg_change *c = p->change;
    json_t *o = json_object(), *arcs = json_array(), *bins = json_array();
    set_text(o, "pad", p->pad);
    set_text(o, "overall", rg_change_state_name(c->overall));
    set_whole(o, "comparable", c->comparable);
    set_length(o, "mean_change_mm", c->mean_change_mm);
    set_length(o, "u_mean_change_mm", c->u_mean_change_mm);
    set_angle(o, "turn_deg", c->turn_deg);
    for (int i = 0; i < c->arcs; i++) {
        json_t *arc = json_object();
        set_text(arc, "state", rg_change_state_name(c->arc[i].state));
        set_angle(arc, "start_deg", c->arc[i].start_deg);
        set_angle(arc, "end_deg", c->arc[i].end_deg);
        set_angle(arc, "extent_deg", c->arc[i].extent_deg);
        set_length(arc, "most_mm", c->arc[i].most_mm);
        set_length(arc, "u_most_mm", c->arc[i].u_most_mm);
        set_angle(arc, "most_bearing_deg", c->arc[i].most_bearing_deg);
        json_array_append_new(arcs, arc);
    }
    for (int b = 0; b < RG_BINS; b++) {
        json_t *bin = json_object();
        set_length(bin, "before_mm", c->bin[b].before_mm);
        set_length(bin, "after_mm", c->bin[b].after_mm);
        set_length(bin, "change_mm", c->bin[b].change_mm);
        set_length(bin, "u_mm", c->bin[b].u_mm);
        set_text(bin, "state", rg_change_state_name(c->bin[b].state));
        json_array_append_new(bins, bin);
    }
    json_object_set_new(o, "arcs", arcs);
    json_object_set_new(o, "bins", bins);
    return o;
}

rg_code rg_archive_report_compared(const rg_compared_report *r, char **text, rg_error *err)
{
    json_t *o = head("rimglow archive comparison"), *settings = json_object(), *pads = json_array();
    set_text(o, "serial", r->serial);
    set_text(o, "before", r->before);
    set_text(o, "after", r->after);
    set_digits(settings, "coverage_factor", r->options->coverage_factor);
    set_angle(settings, "turn_u_deg", r->options->turn_u_deg);
    set_angle(settings, "min_arc_deg", r->options->min_arc_deg);
    json_object_set_new(o, "settings", settings);
    set_text(o, "overall", rg_change_state_name(r->overall));
    for (int i = 0; i < r->pads; i++)
        json_array_append_new(pads, change_object(&r->pad[i]));
    json_object_set_new(o, "pads", pads);
    json_object_set_new(o, "only_before", texts(r->only_before, r->only_befores));
    json_object_set_new(o, "only_after", texts(r->only_after, r->only_afters));
    return to_text(o, text, err);
}

static json_t *share_object(const rg_share *s)
{
    json_t *o = json_object();
    set_whole(o, "of", s->of);
    set_whole(o, "count", s->count);
    set_digits(o, "share", s->share);
    set_digits(o, "low", s->low);
    set_digits(o, "high", s->high);
    return o;
}

static json_t *trend_object(const rg_trend *t, bool drifts)
{
    json_t *o = json_object();
    set_whole(o, "points", t->points);
    set_digits(o, "per_month", t->per_month);
    set_digits(o, "low", t->low);
    set_digits(o, "high", t->high);
    json_object_set_new(o, "drifts", json_boolean(drifts));
    return o;
}

static json_t *pads_list(const rg_batch *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->pads; i++) {
        json_t *o = json_object();
        set_text(o, "model", b->pad[i].model);
        set_text(o, "pad", b->pad[i].pad);
        set_whole(o, "sweeps", b->pad[i].sweeps);
        set_whole(o, "leaking", b->pad[i].leaking);
        set_whole(o, "undecided", b->pad[i].undecided);
        json_object_set_new(o, "failing", share_object(&b->pad[i].failing));
        set_digits(o, "cumulative", b->pad[i].cumulative);
        json_array_append_new(list, o);
    }
    return list;
}

static json_t *models_list(const rg_batch *b)
{
    json_t *list = json_array();
    for (int i = 0; i < b->models; i++) {
        json_t *o = json_object();
        set_text(o, "model", b->model[i].model);
        set_whole(o, "serials", b->model[i].serials);
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
        set_text(o, "station", s->station);
        set_whole(o, "sweeps", s->sweeps);
        json_object_set_new(o, "ln_radiance", trend_object(&s->ln_radiance, s->radiance_drifts));
        json_object_set_new(o, "psf_px", trend_object(&s->psf, s->psf_drifts));
        json_array_append_new(list, o);
    }
    return list;
}

rg_code rg_archive_report_batch(const rg_batch *b, const char *since, const char *until,
                                char **text, rg_error *err)
{
    json_t *o = head("rimglow archive batch");
    set_text(o, "since", since);
    set_text(o, "until", until);
    set_digits(o, "confidence", b->confidence);
    set_whole(o, "sweeps", b->sweeps);
    set_whole(o, "serials", b->serials);
    set_whole(o, "inspections", b->inspections);
    json_object_set_new(o, "pads", pads_list(b));
    json_object_set_new(o, "models", models_list(b));
    json_object_set_new(o, "stations", stations_list(b));
    return to_text(o, text, err);
}

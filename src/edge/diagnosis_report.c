/*
 * diagnosis_report.c - the diagnosis as JSON, by jansson.
 */
#include "rimglow/diagnosis_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"
#include "rimglow/version.h"

static void put(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, rg_json_digits(value, 6));
}

static void put_text(json_t *o, const char *key, const char *text)
{
    json_object_set_new(o, key, rg_json_text(text));
}

static json_t *list(const double *value, int n)
{
    json_t *a = json_array();
    for (int i = 0; i < n; i++)
        json_array_append_new(a, rg_json_digits(value[i], 6));
    return a;
}

static json_t *undulation_object(const rg_undulation *u)
{
    json_t *o = json_object();
    put_text(o, "state", rg_term_state_name(u->state));
    put(o, "size_mm", u->size_mm);
    put(o, "u_size_mm", u->u_size_mm);
    put(o, "bearing_deg", u->bearing_deg);
    put(o, "u_bearing_deg", u->u_bearing_deg);
    put(o, "chi2", u->chi2);
    put(o, "p", u->p);
    return o;
}

static json_t *local_object(const rg_local *l)
{
    json_t *o = json_object();
    json_object_set_new(o, "closed", json_boolean(l->closed));
    put(o, "start_deg", l->start_deg);
    put(o, "end_deg", l->end_deg);
    put(o, "extent_deg", l->extent_deg);
    put(o, "most_mm", l->most_mm);
    put(o, "u_most_mm", l->u_most_mm);
    put(o, "most_bearing_deg", l->most_bearing_deg);
    put(o, "width_mm", l->width_mm);
    return o;
}

static void put_terms(json_t *o, const rg_shape *s)
{
    json_t *rows = json_array();
    for (int i = 0; i < RG_SHAPE_TERMS; i++)
        json_array_append_new(rows, list(s->cov[i], RG_SHAPE_TERMS));
    json_object_set_new(o, "terms_mm", list(s->b, RG_SHAPE_TERMS));
    json_object_set_new(o, "covariance_mm2", rows);
}

static json_t *shape_object(const rg_shape *s)
{
    json_t *o = json_object(), *locals = json_array();
    put_text(o, "state", rg_shape_state_name(s->state));
    json_object_set_new(o, "open", json_integer(s->open));
    json_object_set_new(o, "dark", json_integer(s->dark));
    json_object_set_new(o, "unseen", json_integer(s->unseen));
    json_object_set_new(o, "blocked", json_integer(s->blocked));
    put(o, "mean_mm", s->mean_mm);
    put(o, "u_mean_mm", s->u_mean_mm);
    json_object_set_new(o, "tilt", undulation_object(&s->tilt));
    json_object_set_new(o, "saddle", undulation_object(&s->saddle));
    put_terms(o, s);
    put(o, "contact_deg", s->contact_deg);
    put(o, "u_contact_deg", s->u_contact_deg);
    put(o, "lowest_mm", s->lowest_mm);
    put(o, "rms_mm", s->rms_mm);
    put(o, "limit_mm", s->limit_mm);
    put(o, "limit_deg", s->limit_deg);
    json_object_set_new(o, "signed_mm", list(s->signed_mm, RG_BINS));
    json_object_set_new(o, "residual_mm", list(s->residual_mm, RG_BINS));
    for (int i = 0; i < s->locals; i++)
        json_array_append_new(locals, local_object(&s->local[i]));
    json_object_set_new(o, "locals", locals);
    return o;
}

static json_t *forecast_object(const rg_forecast *f)
{
    json_t *o = json_object();
    put(o, "widest_mm", f->widest_mm);
    put(o, "u_widest_mm", f->u_widest_mm);
    put(o, "widest_deg", f->widest_deg);
    put_text(o, "outlook", rg_outlook_name(f->outlook));
    return o;
}

static json_t *fault_object(const rg_fault *f)
{
    static const char *const test[] = {"chi-square", "normal", "light"};
    json_t *o = json_object();
    put_text(o, "kind", rg_fault_kind_name(f->kind));
    put(o, "size_mm", f->size_mm);
    put(o, "u_size_mm", f->u_size_mm);
    put(o, "bearing_deg", f->bearing_deg);
    put(o, "u_bearing_deg", f->u_bearing_deg);
    put(o, "extent_deg", f->extent_deg);
    put(o, "confidence", f->confidence);
    put_text(o, "test", test[f->test]);
    put(o, "statistic", f->statistic);
    json_object_set_new(o, "among", json_integer(f->among));
    put(o, "effect_mm", f->effect_mm);
    put_text(o, "action", rg_action_name(f->action));
    put(o, "amount_mm", f->amount_mm);
    json_object_set_new(o, "afterwards", forecast_object(&f->afterwards));
    return o;
}

static json_t *sentences_array(const rg_diagnosis *d)
{
    static const char *const kind[] = {"summary",    "fault",      "evidence",
                                       "correction", "afterwards", "remark"};
    rg_sentences s;
    json_t *a = json_array();
    rg_diagnosis_sentences(d, &s);
    for (int i = 0; i < s.count; i++) {
        json_t *o = json_object();
        put_text(o, "kind", kind[s.line[i].kind]);
        json_object_set_new(o, "fault",
                            s.line[i].fault < 0 ? json_null() : json_integer(s.line[i].fault));
        put_text(o, "text", s.line[i].text);
        json_array_append_new(a, o);
    }
    return a;
}

rg_code rg_diagnosis_report_text(const rg_diagnosis_report *r, char **text, rg_error *err)
{
    const rg_diagnosis *d = r->diagnosis;
    json_t *o = json_object(), *faults = json_array();
    for (int i = 0; i < d->faults; i++)
        json_array_append_new(faults, fault_object(&d->fault[i]));
    put_text(o, "format", "rimglow diagnosis");
    json_object_set_new(o, "version", json_integer(1));
    put_text(o, "software", "rimglow " RG_VERSION);
    put_text(o, "serial", r->serial);
    put_text(o, "pad", r->pad);
    put(o, "tolerance_mm", d->tolerance_mm);
    put(o, "coverage_factor", d->coverage_factor);
    put_text(o, "found", rg_diagnosis_name(d));
    put(o, "confidence", d->confidence);
    json_object_set_new(o, "shape", shape_object(&d->shape));
    json_object_set_new(o, "now", forecast_object(&d->now));
    json_object_set_new(o, "faults", faults);
    json_object_set_new(o, "predicted_mm", list(d->predicted_mm, RG_BINS));
    json_object_set_new(o, "sentences", sentences_array(d));
    *text = json_dumps(o, JSON_INDENT(1) | JSON_PRESERVE_ORDER);
    json_decref(o);
    return *text ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the JSON of a diagnosis");
}

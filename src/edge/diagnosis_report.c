/*
 * diagnosis_report.c - the diagnosis as JSON, by jansson.
 */
#include "rimglow/diagnosis_report.h"

#include <jansson.h>

#include "json_values.h"
#include "rimglow/version.h"

static json_t *undulation_object(const rg_undulation *u)
{
    json_t *o = json_object();
    rg_json_set_text(o, "state", rg_term_state_name(u->state));
    rg_json_set_number(o, "size_mm", u->size_mm);
    rg_json_set_number(o, "u_size_mm", u->u_size_mm);
    rg_json_set_number(o, "bearing_deg", u->bearing_deg);
    rg_json_set_number(o, "u_bearing_deg", u->u_bearing_deg);
    rg_json_set_number(o, "chi2", u->chi2);
    rg_json_set_number(o, "p", u->p);
    return o;
}

static json_t *local_object(const rg_local *l)
{
    json_t *o = json_object();
    rg_json_set_switch(o, "closed", l->closed);
    rg_json_set_number(o, "start_deg", l->start_deg);
    rg_json_set_number(o, "end_deg", l->end_deg);
    rg_json_set_number(o, "extent_deg", l->extent_deg);
    rg_json_set_number(o, "most_mm", l->most_mm);
    rg_json_set_number(o, "u_most_mm", l->u_most_mm);
    rg_json_set_number(o, "most_bearing_deg", l->most_bearing_deg);
    rg_json_set_number(o, "width_mm", l->width_mm);
    return o;
}

static void put_terms(json_t *o, const rg_shape *s)
{
    json_t *rows = json_array();
    for (int i = 0; i < RG_SHAPE_TERMS; i++)
        json_array_append_new(rows, rg_json_numbers(s->cov[i], RG_SHAPE_TERMS));
    json_object_set_new(o, "terms_mm", rg_json_numbers(s->b, RG_SHAPE_TERMS));
    json_object_set_new(o, "covariance_mm2", rows);
}

static json_t *shape_object(const rg_shape *s)
{
    json_t *o = json_object(), *locals = json_array();
    rg_json_set_text(o, "state", rg_shape_state_name(s->state));
    rg_json_set_whole(o, "open", s->open);
    rg_json_set_whole(o, "dark", s->dark);
    rg_json_set_whole(o, "unseen", s->unseen);
    rg_json_set_whole(o, "blocked", s->blocked);
    rg_json_set_number(o, "mean_mm", s->mean_mm);
    rg_json_set_number(o, "u_mean_mm", s->u_mean_mm);
    json_object_set_new(o, "tilt", undulation_object(&s->tilt));
    json_object_set_new(o, "saddle", undulation_object(&s->saddle));
    put_terms(o, s);
    rg_json_set_number(o, "contact_deg", s->contact_deg);
    rg_json_set_number(o, "u_contact_deg", s->u_contact_deg);
    rg_json_set_number(o, "lowest_mm", s->lowest_mm);
    rg_json_set_number(o, "rms_mm", s->rms_mm);
    rg_json_set_number(o, "limit_mm", s->limit_mm);
    rg_json_set_number(o, "limit_deg", s->limit_deg);
    json_object_set_new(o, "signed_mm", rg_json_numbers(s->signed_mm, RG_BINS));
    json_object_set_new(o, "residual_mm", rg_json_numbers(s->residual_mm, RG_BINS));
    for (int i = 0; i < s->locals; i++)
        json_array_append_new(locals, local_object(&s->local[i]));
    json_object_set_new(o, "locals", locals);
    return o;
}

static json_t *forecast_object(const rg_forecast *f)
{
    json_t *o = json_object();
    rg_json_set_number(o, "widest_mm", f->widest_mm);
    rg_json_set_number(o, "u_widest_mm", f->u_widest_mm);
    rg_json_set_number(o, "widest_deg", f->widest_deg);
    rg_json_set_text(o, "outlook", rg_outlook_name(f->outlook));
    return o;
}

static json_t *fault_object(const rg_fault *f)
{
    static const char *const test[] = {"chi-square", "normal", "light"};
    json_t *o = json_object();
    rg_json_set_text(o, "kind", rg_fault_kind_name(f->kind));
    rg_json_set_number(o, "size_mm", f->size_mm);
    rg_json_set_number(o, "u_size_mm", f->u_size_mm);
    rg_json_set_number(o, "bearing_deg", f->bearing_deg);
    rg_json_set_number(o, "u_bearing_deg", f->u_bearing_deg);
    rg_json_set_number(o, "extent_deg", f->extent_deg);
    rg_json_set_number(o, "confidence", f->confidence);
    rg_json_set_text(o, "test", test[f->test]);
    rg_json_set_number(o, "statistic", f->statistic);
    rg_json_set_whole(o, "among", f->among);
    rg_json_set_number(o, "effect_mm", f->effect_mm);
    rg_json_set_text(o, "action", rg_action_name(f->action));
    rg_json_set_number(o, "amount_mm", f->amount_mm);
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
        rg_json_set_text(o, "kind", kind[s.line[i].kind]);
        json_object_set_new(o, "fault",
                            s.line[i].fault < 0 ? json_null() : json_integer(s.line[i].fault));
        rg_json_set_text(o, "text", s.line[i].text);
        json_array_append_new(a, o);
    }
    return a;
}

rg_code rg_diagnosis_report_text(const rg_diagnosis_report *r, char **text, rg_error *err)
{
    const rg_diagnosis *d = r->diagnosis;
    json_t *o = rg_json_document("rimglow diagnosis"), *faults = json_array();
    for (int i = 0; i < d->faults; i++)
        json_array_append_new(faults, fault_object(&d->fault[i]));
    rg_json_set_text(o, "software", "rimglow " RG_VERSION);
    rg_json_set_text(o, "serial", r->serial);
    rg_json_set_text(o, "pad", r->pad);
    rg_json_set_number(o, "tolerance_mm", d->tolerance_mm);
    rg_json_set_number(o, "coverage_factor", d->coverage_factor);
    rg_json_set_text(o, "found", rg_diagnosis_name(d));
    rg_json_set_number(o, "confidence", d->confidence);
    json_object_set_new(o, "shape", shape_object(&d->shape));
    json_object_set_new(o, "now", forecast_object(&d->now));
    json_object_set_new(o, "faults", faults);
    json_object_set_new(o, "predicted_mm", rg_json_numbers(d->predicted_mm, RG_BINS));
    json_object_set_new(o, "sentences", sentences_array(d));
    return rg_json_write(o, RG_JSON_ALL_DIGITS, "the diagnosis", text, err);
}

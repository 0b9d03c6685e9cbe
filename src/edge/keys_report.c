/*
 * keys_report.c - JSON by jansson.
 */
#include "rimglow/keys_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"

enum { DIGITS = 9 };

static json_t *head(const char *format, const char *key, const char *name)
{
    json_t *o = rg_json_document(format);
    rg_json_set_text(o, key, name);
    return o;
}

static rg_code to_text(json_t *o, const rg_advice *advice, char **text, rg_error *err)
{
    json_t *list = json_array();
    for (int i = 0; i < advice->lines; i++)
        json_array_append_new(list, rg_json_text(advice->line[i]));
    json_object_set_new(o, "advice", list);
    return rg_json_write(o, DIGITS, "the result", text, err);
}

/* -------------------------------------------------------------- regulation */

static json_t *cup_object(const rg_cup_result *c)
{
    json_t *o = json_object();
    rg_json_set_text(o, "pad", c->pad);
    rg_json_set_switch(o, "measured", c->measured);
    rg_json_set_length(o, "stand_off_mm", c->stand_off_mm);
    rg_json_set_length(o, "U_mm", c->U_mm);
    rg_json_set_switch(o, "at_least", c->at_least);
    rg_json_set_switch(o, "with_first", c->with_first);
    return o;
}

static json_t *link_object(const rg_link_result *l, const rg_key_link *link)
{
    json_t *o = json_object();
    rg_json_set_text(o, "driver", link->driver);
    rg_json_set_text(o, "driven", link->driven);
    rg_json_set_text(o, "adjuster", link->adjuster);
    rg_json_set_text(o, "kind", rg_key_adjuster_name(link->kind));
    rg_json_set_text(o, "state", rg_regulation_state_name(l->state));
    rg_json_set_length(o, "difference_mm", l->difference_mm);
    rg_json_set_length(o, "U_mm", l->U_mm);
    rg_json_set_switch(o, "at_least", l->at_least);
    rg_json_set_length(o, "adjuster_mm", l->adjuster_mm);
    rg_json_set_length(o, "U_adjuster_mm", l->U_adjuster_mm);
    rg_json_set_part(o, "turns", l->turns);
    rg_json_set_part(o, "U_turns", l->U_turns);
    rg_json_set_length(o, "step_mm", l->step_mm);
    rg_json_set_part(o, "step_turns", l->step_turns);
    rg_json_set_switch(o, "too_fine", l->too_fine);
    rg_json_set_length(o, "after_mm", l->after_mm);
    rg_json_set_length(o, "U_after_mm", l->U_after_mm);
    return o;
}

rg_code rg_keys_report_regulation(const char *key, const rg_regulation *r, const rg_key_link *link,
                                  char **text, rg_error *err)
{
    json_t *o = head("rimglow regulation", "key", key), *cups = json_array(), *links = json_array();
    rg_json_set_switch(o, "same_finger", r->same_finger);
    rg_json_set_text(o, "closes_first",
                     r->first >= 0 && r->same_finger ? r->cup[r->first].pad : NULL);
    for (int i = 0; i < r->cups; i++)
        json_array_append_new(cups, cup_object(&r->cup[i]));
    for (int i = 0; i < r->links; i++)
        json_array_append_new(links, link_object(&r->link[i], &link[r->link[i].link]));
    json_object_set_new(o, "cups", cups);
    json_object_set_new(o, "links", links);
    return to_text(o, &r->advice, text, err);
}

/* ------------------------------------------------------------------- force */

static json_t *sweep_object(const rg_seating *s)
{
    static const char *const finger[] = {"unstated", "light", "firm", "grams"};
    json_t *o = json_object();
    rg_json_set_text(o, "finger", finger[s->press]);
    rg_json_set_part(o, "grams", s->grams);
    rg_json_set_text(o, "verdict", rg_verdict_name(s->verdict));
    rg_json_set_length(o, "widest_mm", s->widest_mm);
    rg_json_set_length(o, "u_widest_mm", s->u_widest_mm);
    return o;
}

static json_t *gap_object(const rg_force_gap *g)
{
    json_t *o = json_object();
    rg_json_set_part(o, "start_deg", g->start_deg);
    rg_json_set_part(o, "end_deg", g->end_deg);
    rg_json_set_part(o, "extent_deg", g->extent_deg);
    rg_json_set_length(o, "most_mm", g->most_mm);
    rg_json_set_length(o, "u_most_mm", g->u_most_mm);
    rg_json_set_part(o, "most_bearing_deg", g->most_bearing_deg);
    rg_json_set_whole(o, "open_sweep", g->open);
    rg_json_set_whole(o, "closed_sweep", g->closed);
    rg_json_set_switch(o, "leak", g->leak);
    return o;
}

static json_t *need_object(const rg_force *f)
{
    json_t *o = json_object();
    rg_json_set_text(o, "state", rg_force_state_name(f->state));
    rg_json_set_part(o, "force_g", f->force_g);
    rg_json_set_part(o, "u_g", f->u_g);
    rg_json_set_part(o, "low_g", f->low_g);
    rg_json_set_part(o, "high_g", f->high_g);
    rg_json_set_part(o, "leaks_g", f->leaks_g);
    rg_json_set_part(o, "seals_g", f->seals_g);
    return o;
}

static json_t *line_object(const rg_force_line *l, bool holds)
{
    if (l->n == 0)
        return json_null();
    json_t *o = json_object();
    rg_json_set_whole(o, "points", l->n);
    rg_json_set_number(o, "a_mm", l->a);
    rg_json_set_number(o, "b_mm_per_g", l->b);
    rg_json_set_number(o, "u_a_mm", l->u_a);
    rg_json_set_number(o, "u_b_mm_per_g", l->u_b);
    rg_json_set_number(o, "covariance", l->u_ab);
    rg_json_set_number(o, "chi2", l->chi2);
    rg_json_set_number(o, "p", l->p);
    rg_json_set_switch(o, "holds", holds);
    return o;
}

static json_t *yielding_object(const rg_force *f)
{
    json_t *o = json_object();
    rg_json_set_length(o, "sinks_mm_per_100g", f->sinks_mm_per_100g);
    rg_json_set_length(o, "U_mm_per_100g", f->U_sinks_mm_per_100g);
    rg_json_set_whole(o, "tilts", f->tilts.n);
    rg_json_set_number(o, "tilt_q", f->tilts.q);
    rg_json_set_number(o, "tilt_p", f->tilts.p);
    rg_json_set_switch(o, "soft", f->soft);
    return o;
}

rg_code rg_keys_report_force(const char *pad, const rg_force_sweep *sweep, int sweeps,
                             const rg_force *force, char **text, rg_error *err)
{
    json_t *o = head("rimglow finger force", "pad", pad), *list = json_array(),
           *gaps = json_array();
    rg_json_set_text(o, "verdict", rg_verdict_name(force->verdict));
    rg_json_set_text(o, "reason", force->reason);
    for (int i = 0; i < sweeps; i++)
        json_array_append_new(list, sweep_object(&sweep[i].seating));
    for (int i = 0; i < force->gaps; i++)
        json_array_append_new(gaps, gap_object(&force->gap[i]));
    json_object_set_new(o, "sweeps", list);
    json_object_set_new(o, "gaps", gaps);
    json_object_set_new(o, "force", need_object(force));
    json_object_set_new(o, "line", line_object(&force->line, force->line_holds));
    json_object_set_new(o, "yielding", yielding_object(force));
    return to_text(o, &force->advice, text, err);
}

/* ------------------------------------------------------------------ repeat */

static json_t *spread_object(bool has, const rg_between *s, const double *mean)
{
    if (!has)
        return json_null();
    json_t *o = json_object();
    if (mean)
        rg_json_set_length(o, "mean_mm", *mean);
    rg_json_set_number(o, "variance_mm2", s->between);
    rg_json_set_number(o, "noise_mm2", s->within);
    rg_json_set_length(o, "sd_mm", s->component.sd);
    rg_json_set_switch(o, "negative", s->component.negative);
    rg_json_set_length(o, "low_mm", s->low);
    rg_json_set_length(o, "high_mm", s->high);
    rg_json_set_part(o, "df", s->df_between);
    rg_json_set_number(o, "p", s->p);
    return o;
}

static json_t *axis_object(const rg_repeat *r)
{
    if (r->tilts < 2)
        return json_null();
    json_t *o = json_object();
    rg_json_set_switch(o, "told", r->axis_told);
    rg_json_set_part(o, "bearing_deg", r->axis_deg);
    rg_json_set_number(o, "p", r->axis_p);
    rg_json_set_part(o, "u_deg", r->axis_told ? r->u_axis_deg : NAN);
    rg_json_set_length(o, "along_mm", r->along_mm);
    rg_json_set_length(o, "across_mm", r->across_mm);
    return o;
}

static json_t *test_object(const rg_tilt_spread *t)
{
    if (t->n < 2)
        return json_null();
    json_t *o = json_object();
    rg_json_set_number(o, "q", t->q);
    rg_json_set_whole(o, "df", t->df);
    rg_json_set_number(o, "p", t->p);
    return o;
}

static json_t *drift_object(const rg_repeat *r)
{
    if (!(r->drift_p >= 0))
        return json_null();
    json_t *o = json_object();
    rg_json_set_length(o, "mm", r->drift_mm);
    rg_json_set_length(o, "U_mm", r->U_drift_mm);
    rg_json_set_number(o, "p", r->drift_p);
    return o;
}

rg_code rg_keys_report_repeat(const char *pad, const rg_repeat *r, char **text, rg_error *err)
{
    json_t *o = head("rimglow repeatability", "pad", pad), *mean = json_array();
    rg_json_set_whole(o, "closings", r->closings);
    rg_json_set_whole(o, "sealed", r->sealed);
    rg_json_set_whole(o, "unseen", r->unseen);
    rg_json_set_whole(o, "tilts", r->tilts);
    rg_json_set_switch(o, "same_finger", r->same_finger);
    rg_json_set_text(o, "state", rg_repeat_state_name(r->state));
    json_object_set_new(o, "widest", spread_object(r->has_widest, &r->widest, &r->widest_mean_mm));
    json_object_set_new(o, "mean", spread_object(r->has_mean, &r->mean, &r->mean_mean_mm));
    json_object_set_new(o, "tilt", spread_object(r->tilts >= 2, &r->tilt, NULL));
    for (int k = 0; k < 2; k++)
        json_array_append_new(mean, rg_json_decimals(r->tilts >= 2 ? r->tilt_mean[k] : NAN, 6));
    json_object_set_new(o, "tilt_mean_mm", mean);
    json_object_set_new(o, "tilt_test", test_object(&r->test));
    json_object_set_new(o, "axis", axis_object(r));
    json_object_set_new(o, "drift", drift_object(r));
    return to_text(o, &r->advice, text, err);
}

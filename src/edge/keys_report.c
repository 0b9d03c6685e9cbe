/*
 * keys_report.c - JSON by jansson.
 */
#include "rimglow/keys_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"

static void set(json_t *o, const char *key, json_t *value)
{
    json_object_set_new(o, key, value);
}

static void set_text(json_t *o, const char *key, const char *text)
{
    set(o, key, rg_json_text(text));
}

static void set_length(json_t *o, const char *key, double mm)
{
    set(o, key, rg_json_decimals(mm, 6));
}

static void set_part(json_t *o, const char *key, double value)
{
    set(o, key, rg_json_decimals(value, 3)); /* degrees, turns, grams */
}

static void set_digits(json_t *o, const char *key, double value)
{
    set(o, key, rg_json_digits(value, 6));
}

static void set_whole(json_t *o, const char *key, int value)
{
    set(o, key, json_integer(value));
}

static void set_switch(json_t *o, const char *key, bool value)
{
    set(o, key, json_boolean(value));
}

static json_t *head(const char *format, const char *key, const char *name)
{
    json_t *o = json_object();
    set_text(o, "format", format);
    set_whole(o, "version", 1);
    set_text(o, key, name);
    return o;
}

static rg_code to_text(json_t *o, const rg_advice *advice, char **text, rg_error *err)
{
    json_t *list = json_array();
    for (int i = 0; i < advice->lines; i++)
        json_array_append_new(list, rg_json_text(advice->line[i]));
    set(o, "advice", list);
    *text = json_dumps(o, JSON_INDENT(1) | JSON_REAL_PRECISION(9));
    json_decref(o);
    if (!*text)
        return rg_fail(err, RG_INTERNAL, "no memory to write the result as JSON");
    return RG_OK;
}

/* -------------------------------------------------------------- regulation */

static json_t *cup_object(const rg_cup_result *c)
{
    json_t *o = json_object();
    set_text(o, "pad", c->pad);
    set_switch(o, "measured", c->measured);
    set_length(o, "stand_off_mm", c->stand_off_mm);
    set_length(o, "U_mm", c->U_mm);
    set_switch(o, "at_least", c->at_least);
    set_switch(o, "with_first", c->with_first);
    return o;
}

static json_t *link_object(const rg_link_result *l, const rg_key_link *link)
{
    json_t *o = json_object();
    set_text(o, "driver", link->driver);
    set_text(o, "driven", link->driven);
    set_text(o, "adjuster", link->adjuster);
    set_text(o, "kind", rg_key_adjuster_name(link->kind));
    set_text(o, "state", rg_regulation_state_name(l->state));
    set_length(o, "difference_mm", l->difference_mm);
    set_length(o, "U_mm", l->U_mm);
    set_switch(o, "at_least", l->at_least);
    set_length(o, "adjuster_mm", l->adjuster_mm);
    set_length(o, "U_adjuster_mm", l->U_adjuster_mm);
    set_part(o, "turns", l->turns);
    set_part(o, "U_turns", l->U_turns);
    set_length(o, "step_mm", l->step_mm);
    set_part(o, "step_turns", l->step_turns);
    set_switch(o, "too_fine", l->too_fine);
    set_length(o, "after_mm", l->after_mm);
    set_length(o, "U_after_mm", l->U_after_mm);
    return o;
}

rg_code rg_keys_report_regulation(const char *key, const rg_regulation *r, const rg_key_link *link,
                                  char **text, rg_error *err)
{
    json_t *o = head("rimglow regulation", "key", key), *cups = json_array(), *links = json_array();
    set_switch(o, "same_finger", r->same_finger);
    set_text(o, "closes_first", r->first >= 0 && r->same_finger ? r->cup[r->first].pad : NULL);
    for (int i = 0; i < r->cups; i++)
        json_array_append_new(cups, cup_object(&r->cup[i]));
    for (int i = 0; i < r->links; i++)
        json_array_append_new(links, link_object(&r->link[i], &link[r->link[i].link]));
    set(o, "cups", cups);
    set(o, "links", links);
    return to_text(o, &r->advice, text, err);
}

/* ------------------------------------------------------------------- force */

static json_t *sweep_object(const rg_seating *s)
{
    static const char *const finger[] = {"unstated", "light", "firm", "grams"};
    json_t *o = json_object();
    set_text(o, "finger", finger[s->press]);
    set_part(o, "grams", s->grams);
    set_text(o, "verdict", rg_verdict_name(s->verdict));
    set_length(o, "widest_mm", s->widest_mm);
    set_length(o, "u_widest_mm", s->u_widest_mm);
    return o;
}

static json_t *gap_object(const rg_force_gap *g)
{
    json_t *o = json_object();
    set_part(o, "start_deg", g->start_deg);
    set_part(o, "end_deg", g->end_deg);
    set_part(o, "extent_deg", g->extent_deg);
    set_length(o, "most_mm", g->most_mm);
    set_length(o, "u_most_mm", g->u_most_mm);
    set_part(o, "most_bearing_deg", g->most_bearing_deg);
    set_whole(o, "open_sweep", g->open);
    set_whole(o, "closed_sweep", g->closed);
    set_switch(o, "leak", g->leak);
    return o;
}

static json_t *need_object(const rg_force *f)
{
    json_t *o = json_object();
    set_text(o, "state", rg_force_state_name(f->state));
    set_part(o, "force_g", f->force_g);
    set_part(o, "u_g", f->u_g);
    set_part(o, "low_g", f->low_g);
    set_part(o, "high_g", f->high_g);
    set_part(o, "leaks_g", f->leaks_g);
    set_part(o, "seals_g", f->seals_g);
    return o;
}

static json_t *line_object(const rg_force_line *l, bool holds)
{
    if (l->n == 0)
        return json_null();
    json_t *o = json_object();
    set_whole(o, "points", l->n);
    set_digits(o, "a_mm", l->a);
    set_digits(o, "b_mm_per_g", l->b);
    set_digits(o, "u_a_mm", l->u_a);
    set_digits(o, "u_b_mm_per_g", l->u_b);
    set_digits(o, "covariance", l->u_ab);
    set_digits(o, "chi2", l->chi2);
    set_digits(o, "p", l->p);
    set_switch(o, "holds", holds);
    return o;
}

static json_t *yielding_object(const rg_force *f)
{
    json_t *o = json_object();
    set_length(o, "sinks_mm_per_100g", f->sinks_mm_per_100g);
    set_length(o, "U_mm_per_100g", f->U_sinks_mm_per_100g);
    set_whole(o, "tilts", f->tilts.n);
    set_digits(o, "tilt_q", f->tilts.q);
    set_digits(o, "tilt_p", f->tilts.p);
    set_switch(o, "soft", f->soft);
    return o;
}

rg_code rg_keys_report_force(const char *pad, const rg_force_sweep *sweep, int sweeps,
                             const rg_force *force, char **text, rg_error *err)
{
    json_t *o = head("rimglow finger force", "pad", pad), *list = json_array(),
           *gaps = json_array();
    set_text(o, "verdict", rg_verdict_name(force->verdict));
    set_text(o, "reason", force->reason);
    for (int i = 0; i < sweeps; i++)
        json_array_append_new(list, sweep_object(&sweep[i].seating));
    for (int i = 0; i < force->gaps; i++)
        json_array_append_new(gaps, gap_object(&force->gap[i]));
    set(o, "sweeps", list);
    set(o, "gaps", gaps);
    set(o, "force", need_object(force));
    set(o, "line", line_object(&force->line, force->line_holds));
    set(o, "yielding", yielding_object(force));
    return to_text(o, &force->advice, text, err);
}

/* ------------------------------------------------------------------ repeat */

static json_t *spread_object(bool has, const rg_between *s, const double *mean)
{
    if (!has)
        return json_null();
    json_t *o = json_object();
    if (mean)
        set_length(o, "mean_mm", *mean);
    set_digits(o, "variance_mm2", s->between);
    set_digits(o, "noise_mm2", s->within);
    set_length(o, "sd_mm", s->component.sd);
    set_switch(o, "negative", s->component.negative);
    set_length(o, "low_mm", s->low);
    set_length(o, "high_mm", s->high);
    set_part(o, "df", s->df_between);
    set_digits(o, "p", s->p);
    return o;
}

static json_t *axis_object(const rg_repeat *r)
{
    if (r->tilts < 2)
        return json_null();
    json_t *o = json_object();
    set_switch(o, "told", r->axis_told);
    set_part(o, "bearing_deg", r->axis_deg);
    set_digits(o, "p", r->axis_p);
    set_part(o, "u_deg", r->axis_told ? r->u_axis_deg : NAN);
    set_length(o, "along_mm", r->along_mm);
    set_length(o, "across_mm", r->across_mm);
    return o;
}

static json_t *test_object(const rg_tilt_spread *t)
{
    if (t->n < 2)
        return json_null();
    json_t *o = json_object();
    set_digits(o, "q", t->q);
    set_whole(o, "df", t->df);
    set_digits(o, "p", t->p);
    return o;
}

static json_t *drift_object(const rg_repeat *r)
{
    if (!(r->drift_p >= 0))
        return json_null();
    json_t *o = json_object();
    set_length(o, "mm", r->drift_mm);
    set_length(o, "U_mm", r->U_drift_mm);
    set_digits(o, "p", r->drift_p);
    return o;
}

rg_code rg_keys_report_repeat(const char *pad, const rg_repeat *r, char **text, rg_error *err)
{
    json_t *o = head("rimglow repeatability", "pad", pad), *mean = json_array();
    set_whole(o, "closings", r->closings);
    set_whole(o, "sealed", r->sealed);
    set_whole(o, "unseen", r->unseen);
    set_whole(o, "tilts", r->tilts);
    set_switch(o, "same_finger", r->same_finger);
    set_text(o, "state", rg_repeat_state_name(r->state));
    set(o, "widest", spread_object(r->has_widest, &r->widest, &r->widest_mean_mm));
    set(o, "mean", spread_object(r->has_mean, &r->mean, &r->mean_mean_mm));
    set(o, "tilt", spread_object(r->tilts >= 2, &r->tilt, NULL));
    for (int k = 0; k < 2; k++)
        json_array_append_new(mean, rg_json_decimals(r->tilts >= 2 ? r->tilt_mean[k] : NAN, 6));
    set(o, "tilt_mean_mm", mean);
    set(o, "tilt_test", test_object(&r->test));
    set(o, "axis", axis_object(r));
    set(o, "drift", drift_object(r));
    return to_text(o, &r->advice, text, err);
}

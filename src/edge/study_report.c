/*
 * study_report.c - JSON by jansson. Statistics keep their digits: they are
 * differences and ratios that people recompute.
 */
#include "rimglow/study_report.h"

#include <jansson.h>
#include <math.h>

#include "json_values.h"
#include "rimglow/version.h"

enum { DIGITS = 12 };

static json_t *real_or_null(double value)
{
    return isfinite(value) ? json_real(value) : json_null();
}

static void set_real(json_t *o, const char *key, double value)
{
    json_object_set_new(o, key, real_or_null(value));
}

static json_t *pair(double low, double high)
{
    json_t *a = json_array();
    json_array_append_new(a, real_or_null(low));
    json_array_append_new(a, real_or_null(high));
    return a;
}

static json_t *head(const char *format, const char *table, rg_study_verdict verdict)
{
    json_t *o = rg_json_document(format);
    rg_json_set_text(o, "software", "rimglow " RG_VERSION);
    rg_json_set_text(o, "table", table);
    rg_json_set_text(o, "verdict", rg_study_verdict_name(verdict));
    return o;
}

/* ---------------------------------------------------------------- gauge */

static json_t *anova_row(const rg_anova_row *r)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "df", r->df);
    set_real(o, "ss", r->ss);
    set_real(o, "ms", r->ms);
    set_real(o, "f", r->f);
    set_real(o, "p", r->p);
    return o;
}

static json_t *anova_object(const rg_gauge *g)
{
    json_t *o = json_object();
    json_object_set_new(o, "part", anova_row(&g->part));
    json_object_set_new(o, "person", anova_row(&g->person));
    json_object_set_new(o, "interaction", anova_row(&g->interaction));
    json_object_set_new(o, "error", anova_row(&g->error));
    json_object_set_new(o, "pooled_error", anova_row(&g->pooled_error));
    return o;
}

static json_t *component_object(const rg_component *c)
{
    json_t *o = json_object();
    set_real(o, "variance", c->variance);
    set_real(o, "sd", c->sd);
    set_real(o, "contribution_percent", c->contribution);
    set_real(o, "study_percent", c->study);
    rg_json_set_switch(o, "negative", c->negative);
    set_real(o, "raw_variance", c->raw);
    return o;
}

static json_t *components_object(const rg_gauge *g)
{
    static const char *const key[] = {"repeatability", "person", "interaction", "reproducibility",
                                      "gauge",         "part",   "total"};
    json_t *o = json_object();
    for (int i = 0; i < RG_GAUGE_SOURCES; i++)
        json_object_set_new(o, key[i], component_object(&g->source[i]));
    return o;
}

static json_t *bias_object(const rg_bias *b)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "n", b->n);
    set_real(o, "bias", b->bias);
    set_real(o, "sd", b->sd);
    set_real(o, "u", b->u);
    set_real(o, "t", b->t);
    set_real(o, "p", b->p);
    json_object_set_new(o, "interval", pair(b->low, b->high));
    return o;
}

static json_t *line_object(const rg_line *l)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "n", l->n);
    set_real(o, "intercept", l->intercept);
    set_real(o, "slope", l->slope);
    set_real(o, "u_intercept", l->u_intercept);
    set_real(o, "u_slope", l->u_slope);
    set_real(o, "p", l->p);
    set_real(o, "sd", l->sd);
    return o;
}

static json_t *parts_list(const rg_gauge_report *r)
{
    json_t *list = json_array();
    for (int i = 0; i < r->result->gauge.parts; i++) {
        json_t *o = json_object();
        rg_json_set_text(o, "name", r->part[i]);
        set_real(o, "reference_mm", r->result->part[i].reference_mm);
        set_real(o, "bias_mm", r->result->part[i].bias_mm);
        json_array_append_new(list, o);
    }
    return list;
}

static json_t *values_list(const rg_gauge_study_result *r)
{
    const rg_gauge *g = &r->gauge;
    const double *v = r->value;
    json_t *parts = json_array();
    for (int p = 0; p < g->parts; p++) {
        json_t *persons = json_array();
        for (int k = 0; k < g->persons; k++) {
            json_t *repeats = json_array();
            for (int i = 0; i < g->repeats; i++)
                json_array_append_new(repeats, real_or_null(*v++));
            json_array_append_new(persons, repeats);
        }
        json_array_append_new(parts, persons);
    }
    return parts;
}

static json_t *gauge_settings(const rg_study_settings *s)
{
    json_t *o = json_object();
    set_real(o, "confidence", s->confidence);
    set_real(o, "pool_above", s->pool_above);
    set_real(o, "accept_percent", s->accept_percent);
    set_real(o, "refuse_percent", s->refuse_percent);
    return o;
}

rg_code rg_study_report_gauge(const rg_gauge_report *report, char **text, rg_error *err)
{
    const rg_gauge_study_result *r = report->result;
    const rg_gauge *g = &r->gauge;
    json_t *o = head("rimglow gauge study", report->table, r->verdict), *persons = json_array();
    json_object_set_new(o, "settings", gauge_settings(report->settings));
    rg_json_set_text(o, "unit", r->degrees ? "deg" : "mm");
    rg_json_set_text(o, "quantity", report->quantity);
    json_object_set_new(o, "parts", parts_list(report));
    for (int i = 0; i < g->persons; i++)
        json_array_append_new(persons, rg_json_text(report->person[i]));
    json_object_set_new(o, "persons", persons);
    rg_json_set_whole(o, "repeats", g->repeats);
    set_real(o, "mean", g->mean);
    json_object_set_new(o, "anova", anova_object(g));
    rg_json_set_switch(o, "pooled", g->pooled);
    json_object_set_new(o, "components", components_object(g));
    json_object_set_new(o, "repeatability_interval",
                        pair(g->repeatability_low, g->repeatability_high));
    rg_json_set_whole(o, "categories", g->categories);
    set_real(o, "categories_exact", g->ratio);
    if (r->has_bias)
        json_object_set_new(o, "bias", bias_object(&r->bias));
    if (r->has_line)
        json_object_set_new(o, "linearity", line_object(&r->line));
    json_object_set_new(o, "values", values_list(r));
    return rg_json_write(o, DIGITS, "the study", text, err);
}

/* --------------------------------------------------------------- detect */

static const char *state_name(rg_pod_state state)
{
    static const char *const name[] = {"fitted",     "empty",     "all found",
                                       "none found", "separated", "one size",
                                       "falling",    "too few",   "no scatter"};
    return name[state];
}

static json_t *curve_list(const rg_pod_point *point)
{
    json_t *list = json_array();
    for (int k = 0; k < RG_POD_POINTS; k++) {
        json_t *o = json_object();
        set_real(o, "pod", point[k].pod);
        set_real(o, "size_mm", point[k].size);
        set_real(o, "low_mm", point[k].low);
        set_real(o, "high_mm", point[k].high);
        json_array_append_new(list, o);
    }
    return list;
}

static json_t *pod_object(const rg_pod *p, const rg_pod_point *curve)
{
    json_t *o = json_object(), *cov = json_array();
    rg_json_set_text(o, "state", state_name(p->state));
    rg_json_set_text(o, "text", rg_pod_state_text(p->state));
    rg_json_set_text(o, "link", rg_pod_link_name(p->link));
    rg_json_set_text(o, "axis", p->axis == RG_AXIS_LOG ? "log" : "linear");
    set_real(o, "intercept", p->b[0]);
    set_real(o, "slope", p->b[1]);
    for (int i = 0; i < 2; i++)
        json_array_append_new(cov, pair(p->cov_b[i][0], p->cov_b[i][1]));
    json_object_set_new(o, "covariance", cov);
    set_real(o, "mu", p->mu);
    set_real(o, "sigma", p->sigma);
    set_real(o, "log_likelihood", p->log_likelihood);
    set_real(o, "a50_mm", p->a50);
    set_real(o, "a90_mm", p->a90);
    set_real(o, "a90_95_mm", p->a90_95);
    if (p->state == RG_POD_FITTED)
        json_object_set_new(o, "curve", curve_list(curve));
    return o;
}

static json_t *hit_object(const rg_detection_result *r)
{
    json_t *o = pod_object(&r->pod, r->curve), *data = json_array();
    for (int i = 0; i < r->targets; i++) {
        json_t *t = json_object();
        set_real(t, "size_mm", r->size[i]);
        rg_json_set_switch(t, "found", r->hit[i]);
        json_array_append_new(data, t);
    }
    json_object_set_new(o, "data", data);
    return o;
}

static json_t *signal_object(const rg_detection_result *r)
{
    json_t *o = pod_object(&r->signal_pod, r->signal_curve), *data = json_array();
    set_real(o, "decision", r->decision);
    set_real(o, "tau", r->signal_pod.tau);
    rg_json_set_whole(o, "below", r->below);
    rg_json_set_whole(o, "above", r->over);
    for (int i = 0; i < r->responses; i++) {
        const rg_response *d = &r->response[i];
        json_t *t = json_object();
        set_real(t, "size_mm", d->size);
        set_real(t, "signal", d->signal);
        if (d->censor != RG_CENSOR_NONE)
            rg_json_set_text(t, "limit", d->censor == RG_CENSOR_BELOW ? "below" : "above");
        json_array_append_new(data, t);
    }
    json_object_set_new(o, "data", data);
    return o;
}

static json_t *targets_object(const rg_detection_result *r)
{
    json_t *o = json_object(), *above = json_object();
    rg_json_set_whole(o, "n", r->targets);
    rg_json_set_whole(o, "found", r->found);
    json_object_set_new(o, "share_interval", pair(r->found_low, r->found_high));
    set_real(o, "largest_missed_mm", r->largest_missed);
    set_real(o, "smallest_found_mm", r->smallest_found);
    rg_json_set_whole(above, "n", r->above);
    rg_json_set_whole(above, "found", r->above_found);
    set_real(above, "pod_low", r->above_low);
    json_object_set_new(o, "above_largest_missed", above);
    return o;
}

static json_t *false_calls_object(const rg_detection_result *r)
{
    json_t *o = json_object();
    rg_json_set_whole(o, "n", r->closed);
    rg_json_set_whole(o, "calls", r->false_calls);
    set_real(o, "rate_high", r->false_high);
    rg_json_set_whole(o, "sweeps", r->closed_sweeps);
    rg_json_set_whole(o, "sweeps_with_calls", r->false_sweeps);
    set_real(o, "sweep_rate_high", r->false_sweeps_high);
    return o;
}

static json_t *detect_settings(const rg_detect_report *report)
{
    static const char *const axes[] = {"linear", "log-size", "log-log"};
    const rg_study_settings *s = report->settings;
    json_t *o = json_object();
    set_real(o, "confidence", s->confidence);
    rg_json_set_whole(o, "opportunity_deg", s->opportunity_deg);
    rg_json_set_text(o, "link", rg_pod_link_name((rg_pod_link)s->link));
    rg_json_set_text(o, "axis", s->axis == RG_AXIS_LOG ? "log" : "linear");
    rg_json_set_text(o, "signal_axes", axes[s->signal_axes]);
    set_real(o, "require_mm", report->require_mm);
    return o;
}

rg_code rg_study_report_detect(const rg_detect_report *report, char **text, rg_error *err)
{
    const rg_detection_result *r = report->result;
    json_t *o = head("rimglow detection study", report->table, r->verdict), *unseen = json_object();
    json_object_set_new(o, "settings", detect_settings(report));
    rg_json_set_text(o, "input", report->input);
    rg_json_set_whole(o, "sweeps", r->sweeps);
    rg_json_set_whole(o, "opportunities", r->trials);
    rg_json_set_whole(unseen, "open", r->unseen_open);
    rg_json_set_whole(unseen, "closed", r->unseen_closed);
    json_object_set_new(o, "unseen", unseen);
    json_object_set_new(o, "targets", targets_object(r));
    json_object_set_new(o, "false_calls", false_calls_object(r));
    if (r->has_hits)
        json_object_set_new(o, "hit_miss", hit_object(r));
    if (r->has_signals)
        json_object_set_new(o, "signal", signal_object(r));
    return rg_json_write(o, DIGITS, "the study", text, err);
}

/*
 * quiz_json.c - what the quiz tells, as JSON: the same for its page and for rimglow teach --results --json.
 */
#include <math.h>

#include "quiz_private.h"

static json_t *number(double value, double scale)
{
    return isfinite(value) ? json_real(round(value * scale) / scale) : json_null();
}

static json_t *share_number(double value)
{
    return number(value, 1e4);
}

static json_t *class_json(const rg_quiz_options *o, int index)
{
    char name[RG_QUIZ_CLASS_TEXT];
    rg_quiz_class_name(o, index, name);
    return json_string(name);
}

json_t *rg_quiz_json_share(const rg_quiz_share *s)
{
    return json_pack("{s:i, s:i, s:o, s:o, s:o}", "right", s->right, "of", s->of, "share",
                     share_number(s->share), "low", share_number(s->low), "high",
                     share_number(s->high));
}

json_t *rg_quiz_json_truth(const rg_quiz_options *o, const rg_quiz_truth *t)
{
    json_t *bearings = json_array();
    for (int i = 0; i < t->bearings; i++)
        json_array_append_new(bearings, number(t->bearing_deg[i], 10));
    return json_pack("{s:s, s:i, s:o, s:o, s:s, s:o, s:o, s:o, s:o}", "cause",
                     rg_quiz_cause_name(t->cause), "width_class", t->width_class, "width",
                     class_json(o, t->width_class), "widest_mm", number(t->widest_mm, 1e4), "where",
                     rg_quiz_where_name(t->where), "bearings_deg", bearings, "extent_deg",
                     number(t->extent_deg, 10), "tolerance_deg", number(t->tolerance_deg, 10),
                     "hides_deg", number(t->hides_deg, 100));
}

json_t *rg_quiz_json_map_truth(const rg_quiz_options *o, const rg_quiz_truth *t)
{
    json_t *json = rg_quiz_json_truth(o, t), *right = json_array();
    for (int i = t->width_class - t->also_below; i <= t->width_class + t->also_above; i++)
        json_array_append_new(right, class_json(o, i));
    json_object_set_new(json, "U_mm", number(t->U_mm, 1e4));
    json_object_set_new(json, "widths_right", right);
    json_object_del(json, "hides_deg");
    return json;
}

json_t *rg_quiz_json_answer(const rg_quiz_options *o, const rg_quiz_answer *a)
{
    return json_pack("{s:s, s:o, s:i, s:o, s:s}", "where", rg_quiz_where_name(a->where),
                     "bearing_deg",
                     a->where == RG_QUIZ_AT ? number(a->bearing_deg, 10) : json_null(),
                     "width_class", a->width_class, "width", class_json(o, a->width_class), "cause",
                     rg_quiz_cause_name(a->cause));
}

json_t *rg_quiz_json_score(const rg_quiz_score *s)
{
    return json_pack("{s:b, s:b, s:b, s:b, s:o, s:i}", "all", s->all, "bearing", s->bearing,
                     "width", s->width, "cause", s->cause, "error_deg", number(s->error_deg, 10),
                     "class_distance", s->class_distance);
}

json_t *rg_quiz_json_words(const rg_quiz_words *w)
{
    json_t *list = json_array();
    for (int i = 0; i < w->count; i++)
        json_array_append_new(list, json_string(w->text[i]));
    return list;
}

/* ---------------------------------------------------------------- agreement */

static json_t *kappa_json(const rg_kappa *k)
{
    return json_pack("{s:s, s:s, s:I, s:o, s:o, s:o, s:o, s:o, s:o}", "state",
                     rg_kappa_state_name(k->state), "weights", rg_kappa_weights_name(k->weights),
                     "cases", (json_int_t)k->cases, "kappa", share_number(k->kappa), "se",
                     share_number(k->se), "low", share_number(k->low), "high",
                     share_number(k->high), "observed", share_number(k->observed), "chance",
                     share_number(k->chance));
}

/* Rows: the first judge's classes. */
static json_t *table_json(const rg_kappa_table *t)
{
    json_t *rows = json_array();
    for (int i = 0; i < t->classes; i++) {
        json_t *row = json_array();
        for (int j = 0; j < t->classes; j++)
            json_array_append_new(row, json_integer(t->n[i][j]));
        json_array_append_new(rows, row);
    }
    return rows;
}

json_t *rg_quiz_json_agreement(const rg_quiz_options *o, const rg_quiz_agreement *a)
{
    json_t *causes = json_array(), *classes = json_array();
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        json_array_append_new(causes, json_string(rg_quiz_cause_name((rg_quiz_cause)i)));
    for (int i = 0; i < o->classes; i++)
        json_array_append_new(classes, class_json(o, i));
    return json_pack("{s:s, s:s, s:i, s:o, s:o, s:o, s:o, s:o, s:o}", "first", a->first, "second",
                     a->second, "cases", a->cases, "cause", kappa_json(&a->cause), "width",
                     kappa_json(&a->width), "causes", causes, "cause_table",
                     table_json(&a->cause_table), "classes", classes, "width_table",
                     table_json(&a->width_table));
}

/* ------------------------------------------------------------------ results */

static json_t *seed_json(uint64_t seed)
{
    return json_sprintf("%llu", (unsigned long long)seed);
}

static json_t *by_cause(const rg_quiz_result *r)
{
    json_t *all = json_object();
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        json_object_set_new(all, rg_quiz_cause_name((rg_quiz_cause)i),
                            rg_quiz_json_share(&r->by_cause[i]));
    return all;
}

static json_t *by_class(const rg_quiz_result *r)
{
    json_t *all = json_object();
    for (int i = 0; i < r->classes; i++)
        json_object_set_new(all, r->class_name[i], rg_quiz_json_share(&r->by_class[i]));
    return all;
}

json_t *rg_quiz_json_result(const rg_quiz_options *o, const rg_quiz_result *r)
{
    json_t *json = json_pack(
        "{s:s, s:s, s:o, s:o, s:I, s:I, s:i, s:i, s:i, s:b, s:b, s:o, s:f}", "trainee", r->trainee,
        "exam", r->exam, "seed", seed_json(r->seed), "level", number(r->level, 100), "began_s",
        (json_int_t)r->began, "ended_s", (json_int_t)r->ended, "cases", r->cases, "answered",
        r->answered, "sitting", r->sitting, "complete", r->complete, "passed", r->passed,
        "pass_share", share_number(r->pass_share), "confidence", r->confidence);
    json_object_set_new(json, "sitting_s", json_integer((json_int_t)r->sitting_s));
    json_object_set_new(json, "all", rg_quiz_json_share(&r->all));
    json_object_set_new(json, "bearing", rg_quiz_json_share(&r->bearing));
    json_object_set_new(json, "width", rg_quiz_json_share(&r->width));
    json_object_set_new(json, "cause", rg_quiz_json_share(&r->cause));
    json_object_set_new(json, "by_cause", by_cause(r));
    json_object_set_new(json, "by_class", by_class(r));
    json_object_set_new(json, "median_error_deg", number(r->median_error_deg, 10));
    json_object_set_new(json, "truth", rg_quiz_json_agreement(o, &r->truth));
    json_object_set_new(json, "tool",
                        r->has_tool ? rg_quiz_json_agreement(o, &r->tool) : json_null());
    return json;
}

static json_t *point_json(const rg_quiz_point *p)
{
    return json_pack("{s:I, s:i, s:o, s:b, s:b, s:b, s:b, s:b, s:b, s:o, s:o, s:o}", "time_s",
                     (json_int_t)p->time, "number", p->number, "level", number(p->level, 100),
                     "all", p->all, "bearing", p->bearing, "width", p->width, "cause", p->cause,
                     "exam", p->exam, "archived", p->archived, "share", share_number(p->share),
                     "low", share_number(p->low), "high", share_number(p->high));
}

json_t *rg_quiz_json_progress(const rg_quiz_options *o, const rg_quiz_progress *p)
{
    json_t *points = json_array(), *exams = json_array();
    for (int i = 0; i < p->points; i++)
        json_array_append_new(points, point_json(&p->point[i]));
    for (int i = 0; i < p->exams; i++)
        json_array_append_new(exams, rg_quiz_json_result(o, &p->exam[i]));
    return json_pack("{s:s, s:i, s:f, s:i, s:o, s:o, s:o, s:o, s:o}", "trainee", p->trainee,
                     "cases", p->points, "confidence", p->confidence, "window", p->window, "level",
                     number(p->stairs.level, 100), "practice", rg_quiz_json_share(&p->practice),
                     "archived", rg_quiz_json_share(&p->archived), "points", points, "exams",
                     exams);
}

/*
 * trainee_line.c - an answered case as one line of JSON, by jansson, and back.
 *
 * What is written is read back by the same checks before it is handed over: a file never holds a line that could not be
 * read again.
 */
#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "json_values.h"
#include "rimglow/text.h"
#include "trainee_private.h"

static const double degrees_most = 360, millimetres_most = 100;

/* ------------------------------------------------------------------ reading */

typedef struct source {
    const char *label;
    rg_error *err;
    rg_code code; /* the first failure: later ones say nothing */
} source;

static void refuse(source *s, const char *key, const char *wanted)
{
    if (s->code == RG_OK)
        s->code = rg_fail(s->err, RG_BAD_DATA, "%s: %s must be %s", s->label, key, wanted);
}

static double number_of(source *s, const json_t *o, const char *key, double low, double high)
{
    const json_t *v = json_object_get(o, key);
    double x = json_is_number(v) ? json_number_value(v) : NAN;
    char wanted[80];
    if (x >= low && x <= high)
        return x;
    snprintf(wanted, sizeof wanted, "a number from %g to %g", low, high);
    refuse(s, key, wanted);
    return 0;
}

static int64_t whole_of(source *s, const json_t *o, const char *key, int64_t low, int64_t high)
{
    const json_t *v = json_object_get(o, key);
    json_int_t n = json_integer_value(v);
    char wanted[80];
    if (json_is_integer(v) && n >= low && n <= high)
        return n;
    snprintf(wanted, sizeof wanted, "a whole number from %" PRId64 " to %" PRId64, low, high);
    refuse(s, key, wanted);
    return low;
}

static bool switch_of(source *s, const json_t *o, const char *key)
{
    const json_t *v = json_object_get(o, key);
    if (!json_is_boolean(v))
        refuse(s, key, "true or false");
    return json_is_true(v);
}

static bool seed_in(const char *text, uint64_t *seed)
{
    char again[24];
    if (!text || strlen(text) > 20 || text[0] < '0' || text[0] > '9')
        return false;
    *seed = strtoull(text, NULL, 10);
    snprintf(again, sizeof again, "%" PRIu64, *seed);
    return strcmp(text, again) == 0;
}

static uint64_t seed_of(source *s, const json_t *o, const char *key)
{
    uint64_t seed = 0;
    if (!seed_in(json_string_value(json_object_get(o, key)), &seed))
        refuse(s, key, "a text of decimal digits, at most 18446744073709551615");
    return seed;
}

/* Printable ASCII or UTF-8 beyond it. */
static void text_of(source *s, const json_t *o, const char *key, char *to, size_t size)
{
    const json_t *v = json_object_get(o, key);
    const char *text = json_string_value(v);
    bool plain = text && *text && json_string_length(v) == strlen(text) && strlen(text) < size;
    for (const char *p = text; plain && *p; p++)
        plain = (unsigned char)*p >= ' ' && *p != 127;
    if (plain)
        rg_copy_text(to, size, text);
    else
        refuse(s, key, "a text without control characters, neither empty nor too long");
}

static rg_quiz_cause cause_of(source *s, const json_t *o)
{
    const char *name = json_string_value(json_object_get(o, "cause"));
    rg_quiz_cause cause = RG_QUIZ_SEALED;
    if (!name || !rg_quiz_cause_find(name, &cause))
        refuse(s, "cause", "a cause of the quiz");
    return cause;
}

static rg_quiz_where where_of(source *s, const json_t *o)
{
    const char *name = json_string_value(json_object_get(o, "where"));
    for (int i = RG_QUIZ_NOWHERE; name && i <= RG_QUIZ_ROUND; i++)
        if (strcmp(name, rg_quiz_where_name((rg_quiz_where)i)) == 0)
            return (rg_quiz_where)i;
    refuse(s, "where", "nowhere, at or all round");
    return RG_QUIZ_NOWHERE;
}

static const json_t *part_of(source *s, const json_t *o, const char *key, bool needed)
{
    const json_t *v = json_object_get(o, key);
    if (json_is_object(v) || (!needed && json_is_null(v)))
        return json_is_object(v) ? v : NULL;
    refuse(s, key, needed ? "an object" : "an object or null");
    return NULL;
}

/* Up to most numbers of a list. */
static int numbers_of(source *s, const json_t *o, const char *key, int most, double high,
                      double *value)
{
    const json_t *list = json_object_get(o, key);
    size_t count = json_array_size(list);
    if (!json_is_array(list) || count > (size_t)most) {
        refuse(s, key, "a list of few numbers");
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *v = json_array_get(list, i);
        value[i] = json_is_number(v) ? json_number_value(v) : NAN;
        if (!(value[i] >= -high && value[i] <= high))
            refuse(s, key, "a list of numbers in their range");
    }
    return (int)count;
}

static void read_views(source *s, const json_t *o, rg_quiz_case *c)
{
    const json_t *list = json_object_get(o, "views");
    size_t count = json_array_size(list);
    if (!json_is_array(list) || count < 1 || count > RG_QUIZ_VIEWS_MAX) {
        refuse(s, "views", "a list of a case's views");
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const json_t *pair = json_array_get(list, i);
        const json_t *bearing = json_array_get(pair, 0), *elevation = json_array_get(pair, 1);
        c->view[i] = (rg_quiz_view){json_number_value(bearing), json_number_value(elevation)};
        if (json_array_size(pair) != 2 || !json_is_number(bearing) || !json_is_number(elevation) ||
            !(fabs(c->view[i].bearing_deg) <= degrees_most) ||
            !(fabs(c->view[i].elevation_deg) <= 90))
            refuse(s, "views", "pairs of bearing and elevation in degrees");
    }
    c->views = (int)count;
    c->facing = (int)whole_of(s, o, "facing", 0, (int64_t)count - 1);
}

static void read_case(source *s, const json_t *o, rg_quiz_case *c)
{
    c->version = (int)whole_of(s, o, "version", 1, 1000000);
    c->seed = seed_of(s, o, "seed");
    c->level = number_of(s, o, "level", 1, 100);
    c->cause = cause_of(s, o);
    c->level_mm = number_of(s, o, "level_mm", -millimetres_most, millimetres_most);
    c->tilt_mm = number_of(s, o, "tilt_mm", -millimetres_most, millimetres_most);
    c->tilt_bearing_deg = number_of(s, o, "tilt_bearing_deg", -degrees_most, degrees_most);
    c->saddle_mm = number_of(s, o, "saddle_mm", -millimetres_most, millimetres_most);
    c->saddle_bearing_deg = number_of(s, o, "saddle_bearing_deg", -degrees_most, degrees_most);
    c->crease_mm = number_of(s, o, "crease_mm", -millimetres_most, millimetres_most);
    c->crease_bearing_deg = number_of(s, o, "crease_bearing_deg", -degrees_most, degrees_most);
    c->crease_half_width_deg = number_of(s, o, "crease_half_width_deg", 0, degrees_most);
    read_views(s, o, c);
    c->lamp_uneven = number_of(s, o, "lamp_uneven", 0, 1);
    c->lamp_bearing_deg = number_of(s, o, "lamp_bearing_deg", -degrees_most, degrees_most);
    c->dim = number_of(s, o, "dim", 0, 100);
    c->glare = number_of(s, o, "glare", 0, 1);
    c->streaks =
        numbers_of(s, o, "streaks_deg", RG_QUIZ_VIEWS_MAX, degrees_most, c->streak_azimuth_deg);
    c->noise = seed_of(s, o, "noise");
}

static void read_truth(source *s, const json_t *o, rg_quiz_truth *t)
{
    t->cause = cause_of(s, o);
    t->width_class = (int)whole_of(s, o, "width_class", 0, RG_QUIZ_CLASSES_MAX - 1);
    t->widest_mm = number_of(s, o, "widest_mm", 0, millimetres_most);
    t->where = where_of(s, o);
    t->bearings = numbers_of(s, o, "bearings_deg", 2, degrees_most, t->bearing_deg);
    if ((t->bearings > 0) != (t->where == RG_QUIZ_AT))
        refuse(s, "bearings_deg", "there with where = at, and only then");
    t->extent_deg = number_of(s, o, "extent_deg", 0, degrees_most);
    t->open_deg = number_of(s, o, "open_deg", 0, degrees_most);
    t->tolerance_deg = number_of(s, o, "tolerance_deg", 0, degrees_most);
    t->hides_deg = number_of(s, o, "hides_deg", 0, 90);
}

/* What an archived map has beside that. */
static void read_map_truth(source *s, const json_t *o, rg_quiz_truth *t)
{
    t->U_mm = number_of(s, o, "U_mm", 0, millimetres_most);
    t->also_below = (int)whole_of(s, o, "also_below", 0, t->width_class);
    t->also_above = (int)whole_of(s, o, "also_above", 0, RG_QUIZ_CLASSES_MAX - 1 - t->width_class);
}

static void read_answer(source *s, const json_t *o, rg_quiz_answer *a)
{
    a->where = where_of(s, o);
    if (a->where == RG_QUIZ_AT)
        a->bearing_deg = number_of(s, o, "bearing_deg", 0, degrees_most);
    else if (!json_is_null(json_object_get(o, "bearing_deg")))
        refuse(s, "bearing_deg", "null unless where is at");
    a->width_class = (int)whole_of(s, o, "width_class", 0, RG_QUIZ_CLASSES_MAX - 1);
    a->cause = cause_of(s, o);
}

/* The score is made again; what is written must be the same. */
static void read_score(source *s, const json_t *o, rg_quiz_entry *e)
{
    rg_quiz_score_of(&e->truth, &e->answer, &e->score);
    bool bearing = switch_of(s, o, "bearing"), width = switch_of(s, o, "width"),
         cause = switch_of(s, o, "cause");
    int64_t distance = whole_of(s, o, "class_distance", -RG_QUIZ_CLASSES_MAX, RG_QUIZ_CLASSES_MAX);
    const json_t *v = json_object_get(o, "error_deg");
    double error = json_is_number(v) ? json_number_value(v) : NAN;
    bool same_error =
        isnan(e->score.error_deg) ? json_is_null(v) : fabs(error - e->score.error_deg) < 1e-9;
    if (bearing != e->score.bearing || width != e->score.width || cause != e->score.cause ||
        distance != e->score.class_distance || !same_error)
        refuse(s, "score", "what truth and answer give");
}

static void read_exam(source *s, const json_t *o, rg_quiz_entry *e)
{
    text_of(s, o, "id", e->exam, sizeof e->exam);
    e->exam_seed = seed_of(s, o, "seed");
    e->exam_cases = (int)whole_of(s, o, "cases", 1, RG_QUIZ_CASES_MAX);
    e->number = (int)whole_of(s, o, "number", 1, e->exam_cases);
    e->pass_share = number_of(s, o, "pass_share", 0, 1);
}

static void read_entry(source *s, const json_t *root, rg_quiz_entry *e)
{
    e->time = whole_of(s, root, "time_s", 0, INT64_C(253402300799)); /* to the end of 9999 */
    e->sitting = whole_of(s, root, "sitting_s", 0, INT64_C(253402300799));
    const json_t *exam = part_of(s, root, "exam", false), *drawn = part_of(s, root, "case", false);
    if (exam)
        read_exam(s, exam, e);
    bool picture = json_is_string(json_object_get(root, "picture"));
    if (picture)
        text_of(s, root, "picture", e->picture, sizeof e->picture);
    else if (!json_is_null(json_object_get(root, "picture")))
        refuse(s, "picture", "a name or null");
    if (picture == (drawn != NULL))
        refuse(s, "case", "there without a picture, and only then");
    if (drawn)
        read_case(s, drawn, &e->drawn);
    if (picture && exam)
        refuse(s, "exam", "null with a picture");
    const json_t *truth = part_of(s, root, "truth", true);
    read_truth(s, truth, &e->truth);
    if (picture)
        read_map_truth(s, truth, &e->truth);
    read_answer(s, part_of(s, root, "answer", true), &e->answer);
    read_score(s, part_of(s, root, "score", true), e);
    const json_t *tool = part_of(s, root, "tool", false);
    if (picture && tool)
        refuse(s, "tool", "null with a picture");
    if (tool) {
        e->tool = true;
        e->tool_judged = switch_of(s, tool, "judged");
        read_answer(s, tool, &e->tool_says);
    }
}

rg_code rg_trainee_parse_line(const char *label, const char *text, size_t size,
                              rg_quiz_entry *entry, rg_error *err)
{
    json_error_t e;
    source s = {label, err, RG_OK};
    *entry = (rg_quiz_entry){0};
    if (size > RG_TRAINEE_LINE)
        return rg_fail(err, RG_BAD_DATA, "%s: has %zu bytes, more than the limit of %d", label,
                       size, RG_TRAINEE_LINE);
    json_t *root = json_loadb(text, size, JSON_REJECT_DUPLICATES, &e);
    if (!json_is_object(root)) {
        json_decref(root);
        return rg_fail(err, RG_BAD_DATA,
                       "%s: is no object of JSON (%.80s); take the line out of the file", label,
                       root ? "another value" : e.text);
    }
    read_entry(&s, root, entry);
    json_decref(root);
    if (s.code != RG_OK)
        *entry = (rg_quiz_entry){0};
    return s.code;
}

/* ------------------------------------------------------------------ writing */

static json_t *seed_json(uint64_t seed)
{
    char text[24];
    snprintf(text, sizeof text, "%" PRIu64, seed);
    return json_string(text);
}

static json_t *list_json(const double *value, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_real(value[i]));
    return list;
}

static json_t *views_json(const rg_quiz_case *c)
{
    json_t *list = json_array();
    for (int i = 0; i < c->views; i++)
        json_array_append_new(
            list, json_pack("[f, f]", c->view[i].bearing_deg, c->view[i].elevation_deg));
    return list;
}

static json_t *case_json(const rg_quiz_case *c)
{
    return json_pack(
        "{s:i, s:o, s:f, s:s, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:f, s:i, s:o, s:f, s:f, s:f, "
        "s:f, s:o, s:o}",
        "version", c->version, "seed", seed_json(c->seed), "level", c->level, "cause",
        rg_quiz_cause_name(c->cause), "level_mm", c->level_mm, "tilt_mm", c->tilt_mm,
        "tilt_bearing_deg", c->tilt_bearing_deg, "saddle_mm", c->saddle_mm, "saddle_bearing_deg",
        c->saddle_bearing_deg, "crease_mm", c->crease_mm, "crease_bearing_deg",
        c->crease_bearing_deg, "crease_half_width_deg", c->crease_half_width_deg, "facing",
        c->facing, "views", views_json(c), "lamp_uneven", c->lamp_uneven, "lamp_bearing_deg",
        c->lamp_bearing_deg, "dim", c->dim, "glare", c->glare, "streaks_deg",
        list_json(c->streak_azimuth_deg, c->streaks), "noise", seed_json(c->noise));
}

static json_t *truth_json(const rg_quiz_truth *t)
{
    return json_pack("{s:s, s:i, s:f, s:s, s:o, s:f, s:f, s:f, s:f}", "cause",
                     rg_quiz_cause_name(t->cause), "width_class", t->width_class, "widest_mm",
                     t->widest_mm, "where", rg_quiz_where_name(t->where), "bearings_deg",
                     list_json(t->bearing_deg, t->bearings), "extent_deg", t->extent_deg,
                     "open_deg", t->open_deg, "tolerance_deg", t->tolerance_deg, "hides_deg",
                     t->hides_deg);
}

static json_t *map_truth_json(const rg_quiz_truth *t)
{
    json_t *o = truth_json(t);
    json_object_set_new(o, "U_mm", json_real(t->U_mm));
    json_object_set_new(o, "also_below", json_integer(t->also_below));
    json_object_set_new(o, "also_above", json_integer(t->also_above));
    return o;
}

static json_t *answer_json(const rg_quiz_answer *a)
{
    return json_pack("{s:s, s:o, s:i, s:s}", "where", rg_quiz_where_name(a->where), "bearing_deg",
                     a->where == RG_QUIZ_AT ? json_real(a->bearing_deg) : json_null(),
                     "width_class", a->width_class, "cause", rg_quiz_cause_name(a->cause));
}

static json_t *score_json(const rg_quiz_score *s)
{
    return json_pack("{s:b, s:b, s:b, s:o, s:i}", "bearing", s->bearing, "width", s->width, "cause",
                     s->cause, "error_deg",
                     isfinite(s->error_deg) ? json_real(s->error_deg) : json_null(),
                     "class_distance", s->class_distance);
}

static json_t *exam_json(const rg_quiz_entry *e)
{
    if (!e->exam[0])
        return json_null();
    return json_pack("{s:s, s:o, s:i, s:i, s:f}", "id", e->exam, "seed", seed_json(e->exam_seed),
                     "cases", e->exam_cases, "number", e->number, "pass_share", e->pass_share);
}

static json_t *tool_json(const rg_quiz_entry *e)
{
    if (!e->tool)
        return json_null();
    json_t *o = answer_json(&e->tool_says);
    json_object_set_new(o, "judged", json_boolean(e->tool_judged));
    return o;
}

static json_t *entry_json(const rg_quiz_entry *e)
{
    return json_pack("{s:I, s:I, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "time_s", (json_int_t)e->time,
                     "sitting_s", (json_int_t)e->sitting, "exam", exam_json(e), "picture",
                     e->picture[0] ? rg_json_text(e->picture) : json_null(), "case",
                     e->picture[0] ? json_null() : case_json(&e->drawn), "truth",
                     e->picture[0] ? map_truth_json(&e->truth) : truth_json(&e->truth), "answer",
                     answer_json(&e->answer), "score", score_json(&e->score), "tool", tool_json(e));
}

/* Compact JSON with a newline; takes the reference. */
static rg_code line_of(json_t *json, char **line, rg_error *err)
{
    char *text =
        json ? json_dumps(json, JSON_COMPACT | JSON_REAL_PRECISION(RG_JSON_ALL_DIGITS)) : NULL;
    size_t length = text ? strlen(text) : 0;
    json_decref(json);
    *line = text ? realloc(text, length + 2) : NULL;
    if (!*line) {
        free(text);
        return rg_fail(err, RG_BAD_DATA,
                       "an answered case does not fit into JSON; are its texts UTF-8 and its "
                       "numbers finite?");
    }
    memcpy(*line + length, "\n", 2);
    return RG_OK;
}

rg_code rg_trainee_line(const rg_quiz_entry *entry, char **line, rg_error *err)
{
    rg_quiz_entry again;
    rg_code code = line_of(entry_json(entry), line, err);
    if (code == RG_OK)
        code = rg_trainee_parse_line("an answered case", *line, strlen(*line) - 1, &again, err);
    if (code != RG_OK) {
        free(*line);
        *line = NULL;
    }
    return code;
}

rg_code rg_trainee_head(const char *name, char **line, rg_error *err)
{
    *line = NULL;
    rg_code code = rg_trainee_check_name(name, err);
    if (code != RG_OK)
        return code;
    return line_of(
        json_pack("{s:s, s:i, s:s}", "format", "rimglow trainee", "version", 1, "trainee", name),
        line, err);
}

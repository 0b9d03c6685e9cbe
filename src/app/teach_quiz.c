/*
 * teach_quiz.c - the quiz's page and what it asks.
 *
 *   GET  /quiz, /quiz.js, /quiz.css
 *   GET  /api/quiz           what there is to say: causes, width classes, views; examination and practice
 *   POST /api/quiz/begin     {name, exam true | false, archive true | false, seed null | "42"}: the first case
 *   POST /api/quiz/next      {sitting}: the next case, once the last one is answered
 *   GET  /api/quiz/picture   ?sitting=ID&view=N: JPEG (of a photograph also PNG) of the case that waits or was
 *                            answered last
 *   POST /api/quiz/answer    {sitting, number, where, bearing_deg null | degrees, width_class, cause}: in practice score,
 *                            truth and what to learn; in an examination only that it is kept
 *   GET  /api/quiz/result    ?sitting=ID: of an examination at its end, with truth and answer of every case
 *   GET  /api/quiz/progress  ?name=: all that a trainee answered, in numbers
 *   GET  /quiz/progress.svg, /quiz/progress.pdf  ?name=
 *   GET  /quiz/certificate.pdf  ?name=&sitting_s=: of an examination at its end
 *
 * A case is {sitting, exam null | ID, seed, number, cases null | N, level, archived, practice_level, views[] of {bearing_deg,
 * elevation_deg}}; level is null of photographs of the archive, which stand twice among the pictures: as they are, and
 * with the bearings drawn in. Nothing of a case's truth leaves the program before the answer, nor does the seed of a case of practice
 * or the name of a photograph.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/memory.h"
#include "teach_assets.h"
#include "teach_quiz_private.h"

/* ------------------------------------------------------------------- bodies */

/* 400 where the body is no object. */
static json_t *read_body(const rg_request *request, rg_reply *reply)
{
    json_error_t fault;
    json_t *json = json_loadb(request->body, request->size, JSON_REJECT_DUPLICATES, &fault);
    if (json_is_object(json))
        return json;
    json_decref(json);
    rg_reply_error(reply, 400, "the body must be a JSON object");
    return NULL;
}

static const char *text_in(const json_t *json, const char *key)
{
    const char *text = json_string_value(json_object_get(json, key));
    return text ? text : "";
}

/* 404 where there is none. */
static rg_quiz_sitting *sitting_in(rg_teach_quiz *q, const char *id, rg_reply *reply)
{
    rg_quiz_sitting *s = rg_quiz_sit_find(q, id);
    if (!s)
        rg_reply_error(reply, 404, "this sitting has ended; begin again");
    return s;
}

/* -------------------------------------------------------------------- cases */

static json_t *views_json(const rg_quiz_sitting *s)
{
    json_t *views = json_array();
    const rg_quiz_view *view = s->archive ? s->photo.view : s->drawn.view;
    for (int i = 0; i < (s->archive ? s->photo.views : s->drawn.views); i++)
        json_array_append_new(views, json_pack("{s:f, s:f}", "bearing_deg", view[i].bearing_deg,
                                               "elevation_deg", view[i].elevation_deg));
    return views;
}

static json_t *case_json(const rg_teach_quiz *q, const rg_quiz_sitting *s)
{
    char exam[RG_QUIZ_ID];
    rg_quiz_exam_id(&q->options, s->seed, exam);
    return json_pack("{s:s, s:o, s:o, s:i, s:o, s:o, s:b, s:o, s:o}", "sitting", s->id, "exam",
                     s->exam ? json_string(exam) : json_null(), "seed",
                     json_sprintf("%llu", (unsigned long long)s->seed), "number", s->number,
                     "cases", s->exam ? json_integer(q->options.exam_cases) : json_null(), "level",
                     s->archive ? json_null() : rg_teach_number(s->drawn.level, 2), "archived",
                     s->archive, "practice_level", rg_teach_number(s->stairs.level, 2), "views",
                     views_json(s));
}

static void get_quiz(void *context, const rg_request *request, rg_reply *reply)
{
    const rg_teach_page *p = context;
    const rg_teach_quiz *q = p->quiz;
    const rg_quiz_options *o = &q->options;
    json_t *causes = json_array(), *classes = json_array();
    (void)request;
    for (int i = 0; i < RG_QUIZ_CAUSES; i++)
        json_array_append_new(causes, json_string(rg_quiz_cause_name((rg_quiz_cause)i)));
    for (int i = 0; i < o->classes; i++) {
        char name[RG_QUIZ_CLASS_TEXT];
        rg_quiz_class_name(o, i, name);
        json_array_append_new(classes, json_string(name));
    }
    rg_page_reply_json(reply, 200,
                       json_pack("{s:o, s:o, s:i, s:f, s:i, s:f, s:f, s:f, s:b}", "causes", causes,
                                 "classes", classes, "views", o->views, "levels", o->levels,
                                 "exam_cases", o->exam_cases, "pass_share", o->pass_share,
                                 "tolerance_mm", rg_lab_pad(p->lab)->tolerance_mm, "overhang_mm",
                                 o->overhang_mm, "archive", p->options.archive != NULL));
}

static void post_begin(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_quiz *q = p->quiz;
    rg_error err = {0};
    rg_quiz_sitting *s;
    json_t *body = read_body(request, reply);
    if (!body)
        return;
    const json_t *seed = json_object_get(body, "seed");
    pthread_mutex_lock(&q->lock);
    const rg_quiz_wish wish = {text_in(body, "name"), json_is_true(json_object_get(body, "exam")),
                               json_is_true(json_object_get(body, "archive")),
                               json_is_null(seed) || !seed ? NULL : text_in(body, "seed")};
    rg_code code = rg_quiz_sit_begin(p, &wish, &s, &err);
    if (code == RG_OK)
        rg_page_reply_json(reply, 200, case_json(q, s));
    else
        rg_teach_reply_fault(reply, &err);
    pthread_mutex_unlock(&q->lock);
    json_decref(body);
}

static void post_next(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_quiz *q = p->quiz;
    rg_error err = {0};
    json_t *body = read_body(request, reply);
    if (!body)
        return;
    pthread_mutex_lock(&q->lock);
    rg_quiz_sitting *s = sitting_in(q, text_in(body, "sitting"), reply);
    rg_code code = s ? rg_quiz_sit_next(p, s, &err) : RG_OK;
    if (s && code == RG_OK)
        rg_page_reply_json(reply, 200, case_json(q, s));
    else if (s)
        rg_teach_reply_fault(reply, &err);
    pthread_mutex_unlock(&q->lock);
    json_decref(body);
}

static void get_picture(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_quiz *q = p->quiz;
    const char *view = rg_request_query(request, "view");
    pthread_mutex_lock(&q->lock);
    rg_quiz_sitting *s = sitting_in(q, rg_request_query(request, "sitting"), reply);
    int n = s && view && strlen(view) == 1 ? view[0] - '0' : -1;
    if (s && (n < 0 || n >= s->shown->pictures)) {
        rg_reply_error(reply, 404, "this case has no such picture");
    } else if (s) {
        const rg_quiz_picture *k = &s->shown->picture[n];
        if (!rg_teach_reply_copy(reply, k->bytes, k->size, k->type))
            rg_reply_error(reply, 500, "no memory");
    }
    pthread_mutex_unlock(&q->lock);
}

/* ------------------------------------------------------------------ answers */

static bool where_of(const char *text, rg_quiz_where *where)
{
    for (int i = RG_QUIZ_NOWHERE; i <= RG_QUIZ_ROUND; i++)
        if (strcmp(text, rg_quiz_where_name((rg_quiz_where)i)) == 0) {
            *where = (rg_quiz_where)i;
            return true;
        }
    return false;
}

/* false and 400 for what is no answer. */
static bool read_answer(const rg_quiz_options *o, const json_t *body, rg_quiz_answer *a,
                        rg_reply *reply)
{
    rg_error err = {0};
    const json_t *class = json_object_get(body, "width_class"),
                 *bearing = json_object_get(body, "bearing_deg");
    json_int_t n = json_is_integer(class) ? json_integer_value(class) : -1;
    *a = (rg_quiz_answer){.width_class = n >= 0 && n < RG_QUIZ_CLASSES_MAX ? (int)n : -1};
    bool read = where_of(text_in(body, "where"), &a->where) &&
                rg_quiz_cause_find(text_in(body, "cause"), &a->cause);
    if (a->where == RG_QUIZ_AT)
        a->bearing_deg = json_is_number(bearing) ? json_number_value(bearing) : NAN;
    if (!read)
        rg_reply_error(reply, 400, "an answer needs where, width_class and cause");
    else if (rg_quiz_answer_check(o, a, &err) != RG_OK)
        rg_reply_error(reply, 400, err.text);
    else
        return true;
    return false;
}

static json_t *tool_json(const rg_quiz_options *o, const rg_quiz_shown *shown)
{
    return shown->judged ? rg_quiz_json_answer(o, &shown->says) : json_null();
}

/* What a page needs to draw the true ring map beside the measured one. */
static json_t *map_json(const rg_seal_map *map)
{
    char state[RG_BINS + 1] = "";
    double width[RG_BINS];
    for (int b = 0; b < RG_BINS; b++) {
        state[b] = rg_bin_state_name(map->bin[b].state)[0];
        width[b] = map->bin[b].width_mm;
    }
    return json_pack("{s:s, s:s, s:s, s:o}", "verdict", rg_verdict_name(map->verdict), "sign",
                     rg_verdict_sign(map->verdict), "state", state, "width_mm",
                     rg_teach_numbers(width, RG_BINS, 4));
}

static json_t *feedback_json(const rg_teach_quiz *q, const rg_quiz_sitting *s,
                             const rg_quiz_answer *a, const rg_quiz_score *score)
{
    rg_quiz_words words;
    double width[RG_BINS];
    rg_quiz_feedback(&q->options, &s->drawn, &s->truth, a, score, &words);
    rg_quiz_widths(&s->drawn, width);
    return json_pack("{s:b, s:o, s:o, s:o, s:o, s:o, s:o, s:o, s:o}", "done", 0, "score",
                     rg_quiz_json_score(score), "truth", rg_quiz_json_truth(&q->options, &s->truth),
                     "answer", rg_quiz_json_answer(&q->options, a), "words",
                     rg_quiz_json_words(&words), "true_mm", rg_teach_numbers(width, RG_BINS, 4),
                     "map", map_json(&s->shown->map), "tool", tool_json(&q->options, s->shown),
                     "next_level", rg_teach_number(s->stairs.level, 2));
}

/* The map of a photograph is the archived one; the program has no other answer to compare. */
static json_t *map_feedback_json(const rg_teach_quiz *q, const rg_quiz_sitting *s,
                                 const rg_quiz_answer *a, const rg_quiz_score *score)
{
    rg_quiz_words words;
    rg_quiz_feedback_of_map(&q->options, &s->truth, a, score, rg_pairs_whose_truth, &words);
    json_t *list = rg_quiz_json_words(&words);
    json_array_append_new(list, json_string(s->photo.says));
    return json_pack(
        "{s:b, s:o, s:o, s:o, s:o, s:n, s:o, s:n, s:o, s:s, s:f}", "done", 0, "score",
        rg_quiz_json_score(score), "truth", rg_quiz_json_map_truth(&q->options, &s->truth),
        "answer", rg_quiz_json_answer(&q->options, a), "words", list, "true_mm", "map",
        map_json(&s->shown->map), "tool", "next_level", rg_teach_number(s->stairs.level, 2),
        "photograph", s->photo.name, "tolerance_mm", s->photo.tolerance_mm);
}

static json_t *learn_json(const rg_teach_quiz *q, const rg_quiz_sitting *s, const rg_quiz_answer *a,
                          const rg_quiz_score *score)
{
    return s->archive ? map_feedback_json(q, s, a, score) : feedback_json(q, s, a, score);
}

static void answer(rg_teach_quiz *q, rg_quiz_sitting *s, const json_t *body, rg_reply *reply)
{
    rg_quiz_answer a;
    rg_quiz_score score;
    rg_error err = {0};
    const json_t *number = json_object_get(body, "number");
    if (!json_is_integer(number) || json_integer_value(number) != s->number) {
        rg_reply_error(reply, 409, "this answer is not for the case that waits");
        return;
    }
    if (!read_answer(&q->options, body, &a, reply))
        return;
    if (rg_quiz_sit_answer(q, s, &a, &score, &err) != RG_OK)
        rg_teach_reply_fault(reply, &err);
    else
        rg_page_reply_json(reply, 200,
                           s->exam ? json_pack("{s:b, s:i}", "done", s->step == RG_QUIZ_DONE,
                                               "answered", s->answers)
                                   : learn_json(q, s, &a, &score));
}

static void post_answer(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_quiz *q = p->quiz;
    json_t *body = read_body(request, reply);
    if (!body)
        return;
    pthread_mutex_lock(&q->lock);
    rg_quiz_sitting *s = sitting_in(q, text_in(body, "sitting"), reply);
    if (s)
        answer(q, s, body, reply);
    pthread_mutex_unlock(&q->lock);
    json_decref(body);
}

/* ------------------------------------------------------------------- result */

static json_t *cases_json(const rg_quiz_options *o, const rg_quiz_entry *entry, int count)
{
    json_t *list = json_array();
    for (int i = 0; i < count; i++)
        json_array_append_new(list, json_pack("{s:i, s:o, s:o, s:o}", "number", entry[i].number,
                                              "truth", rg_quiz_json_truth(o, &entry[i].truth),
                                              "answer", rg_quiz_json_answer(o, &entry[i].answer),
                                              "score", rg_quiz_json_score(&entry[i].score)));
    return list;
}

static void get_result(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_quiz *q = p->quiz;
    rg_error err = {0};
    rg_quiz_result r;
    pthread_mutex_lock(&q->lock);
    rg_quiz_sitting *s = sitting_in(q, rg_request_query(request, "sitting"), reply);
    if (s && s->step != RG_QUIZ_DONE)
        rg_reply_error(reply, 409, "the result comes when every case has its answer");
    else if (s && rg_quiz_result_of(&q->options, s->name, s->entry, s->answers, &r, &err) != RG_OK)
        rg_teach_reply_fault(reply, &err);
    else if (s)
        rg_page_reply_json(reply, 200,
                           json_pack("{s:o, s:o}", "result", rg_quiz_json_result(&q->options, &r),
                                     "cases", cases_json(&q->options, s->entry, s->answers)));
    pthread_mutex_unlock(&q->lock);
}

/* -------------------------------------------------------------------- table */

static rg_code load(rg_teach_page *page, rg_teach_quiz *q, rg_error *err)
{
    rg_code code = rg_quiz_options_load(page->options.quiz, rg_quiz_overhang(rg_lab_pad(page->lab)),
                                        &q->options, err);
    return code == RG_OK ? rg_calib_diagnosis(&q->diagnosis, err) : code;
}

static void add_routes(rg_teach_page *p)
{
    rg_teach_add_asset(p, "/quiz", rg_teach_html, rg_asset_quiz_html, rg_asset_quiz_html_size);
    rg_teach_add_asset(p, "/quiz.js", rg_teach_script, rg_asset_quiz_js, rg_asset_quiz_js_size);
    rg_teach_add_asset(p, "/quiz.css", rg_teach_css, rg_asset_quiz_css, rg_asset_quiz_css_size);
    rg_teach_add_call(p, "/api/quiz", RG_ROUTE_DATA, get_quiz);
    rg_teach_add_call(p, "/api/quiz/begin", RG_ROUTE_CHANGE, post_begin);
    rg_teach_add_call(p, "/api/quiz/next", RG_ROUTE_CHANGE, post_next);
    rg_teach_add_call(p, "/api/quiz/picture", RG_ROUTE_DATA, get_picture);
    rg_teach_add_call(p, "/api/quiz/answer", RG_ROUTE_CHANGE, post_answer);
    rg_teach_add_call(p, "/api/quiz/result", RG_ROUTE_DATA, get_result);
    rg_teach_add_call(p, "/api/quiz/progress", RG_ROUTE_DATA, rg_quiz_get_progress);
    rg_teach_add_call(p, "/quiz/progress.svg", RG_ROUTE_DATA, rg_quiz_get_chart);
    rg_teach_add_call(p, "/quiz/progress.pdf", RG_ROUTE_DATA, rg_quiz_get_progress_pdf);
    rg_teach_add_call(p, "/quiz/certificate.pdf", RG_ROUTE_DATA, rg_quiz_get_certificate);
}

rg_code rg_teach_add_quiz(rg_teach_page *page, rg_error *err)
{
    rg_teach_quiz *q = rg_alloc(1, sizeof *q);
    if (!q)
        return rg_fail(err, RG_INTERNAL, "no memory for the quiz");
    q->folder = page->options.trainees ? page->options.trainees : RG_QUIZ_TRAINEES;
    pthread_mutex_init(&q->lock, NULL);
    page->quiz = q;
    rg_code code = load(page, q, err);
    if (code == RG_OK)
        add_routes(page);
    return code;
}

void rg_teach_close_quiz(rg_teach_page *page)
{
    rg_teach_quiz *q = page->quiz;
    if (!q)
        return;
    for (int i = 0; i < RG_QUIZ_SITTINGS; i++)
        rg_quiz_sit_end(&q->sitting[i]);
    rg_pairs_close(q->pairs);
    pthread_mutex_destroy(&q->lock);
    free(q);
    page->quiz = NULL;
}

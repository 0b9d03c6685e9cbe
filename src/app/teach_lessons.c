/*
 * teach_lessons.c - the lesson sheets for reading and printing in the browser: a page that lists them, and a worker that makes
 * one at a time when asked, since its pads must be drawn, swept and measured first. What was made is kept until the
 * server ends.
 *
 *   GET  /lessons            the page
 *   GET  /api/lessons        {"lessons": [{number, name, title, paper, seed: of what is ready, ready}], "making": number or 0,
 *                            "done", "total": pads of its, "trouble": why the last one failed, or ""}
 *   POST /api/lessons/make   {"lesson": 1 to 6, "paper": "a4" or "letter", "seed": 0 or more}: begins; refused (409) while
 *                            another is being made
 *   GET  /lesson.pdf?lesson=N   the sheet, when it is ready; 404 otherwise
 */
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/lessons.h"
#include "rimglow/memory.h"
#include "teach_assets.h"
#include "teach_private.h"

enum { SEED_MOST = 999999999 };

typedef struct sheet {
    rg_bytes pdf; /* owned; no bytes: not made */
    rg_paper paper;
    int seed;
} sheet;

struct rg_teach_lessons {
    pthread_mutex_t lock; /* of everything below */
    pthread_t thread;
    bool started; /* the thread is to be joined */
    bool stop;
    int making; /* lesson, 0: none */
    int done, total;
    rg_lessons asked;
    char trouble[RG_ERROR_TEXT];
    sheet sheet[RG_LESSONS];
};

/* ---------------------------------------------------------------- making */

static void note(void *context, const char *what, int done, int total)
{
    rg_teach_lessons *t = context;
    (void)what;
    pthread_mutex_lock(&t->lock);
    t->done = done;
    t->total = total;
    pthread_mutex_unlock(&t->lock);
}

static bool go_on(void *context)
{
    rg_teach_lessons *t = context;
    pthread_mutex_lock(&t->lock);
    bool stop = t->stop;
    pthread_mutex_unlock(&t->lock);
    return !stop;
}

static void *make(void *context)
{
    rg_teach_lessons *t = context;
    rg_bytes pdf = {0};
    rg_error err = {0};
    const rg_progress progress = {note, t};
    rg_lessons asked = t->asked;
    asked.progress = &progress;
    asked.go_on = go_on;
    asked.go_on_context = t;
    rg_code code = rg_lesson_make(&asked, asked.only, &pdf, &err);
    pthread_mutex_lock(&t->lock);
    sheet *s = &t->sheet[asked.only - 1];
    if (code == RG_OK) {
        free(s->pdf.data);
        *s = (sheet){pdf, asked.paper, asked.seed};
    } else {
        snprintf(t->trouble, sizeof t->trouble, "%s", err.text);
    }
    t->making = 0;
    pthread_mutex_unlock(&t->lock);
    return NULL;
}

/* With the lock held. False when no thread can be had. */
static bool begin(rg_teach_lessons *t, const rg_lessons *asked)
{
    if (t->started)
        pthread_join(t->thread, NULL); /* it has ended: nothing is being made */
    t->asked = *asked;
    t->making = asked->only;
    t->done = t->total = 0;
    t->trouble[0] = 0;
    t->started = pthread_create(&t->thread, NULL, make, t) == 0;
    if (!t->started)
        t->making = 0;
    return t->started;
}

/* ---------------------------------------------------------------- answers */

static json_t *sheet_json(const rg_teach_lessons *t, int lesson)
{
    const sheet *s = &t->sheet[lesson - 1];
    return json_pack("{s:i, s:s, s:s, s:s, s:i, s:b}", "number", lesson, "name",
                     rg_lesson_name(lesson), "title", rg_lesson_title(lesson), "paper",
                     s->paper == RG_PAPER_LETTER ? "letter" : "a4", "seed", s->seed, "ready",
                     s->pdf.data != NULL);
}

static void get_lessons(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_lessons *t = ((rg_teach_page *)context)->lessons;
    json_t *list = json_array();
    (void)request;
    pthread_mutex_lock(&t->lock);
    for (int i = 1; i <= RG_LESSONS; i++)
        json_array_append_new(list, sheet_json(t, i));
    json_t *json = json_pack("{s:o, s:i, s:i, s:i, s:s}", "lessons", list, "making", t->making,
                             "done", t->done, "total", t->total, "trouble", t->trouble);
    pthread_mutex_unlock(&t->lock);
    rg_page_reply_json(reply, 200, json);
}

static bool read_wish(const rg_request *request, rg_lessons *asked, rg_error *err)
{
    const char *paper = "";
    json_int_t lesson = 0, seed = -1;
    json_t *json = json_loadb(request->body, request->size, 0, NULL);
    bool read = json && json_unpack(json, "{s:I, s:s, s:I!}", "lesson", &lesson, "paper", &paper,
                                    "seed", &seed) == 0;
    bool letter = strcmp(paper, "letter") == 0;
    read = read && lesson >= 1 && lesson <= RG_LESSONS && seed >= 0 && seed <= SEED_MOST &&
           (letter || strcmp(paper, "a4") == 0);
    json_decref(json);
    asked->only = (int)lesson;
    asked->seed = (int)seed;
    asked->paper = letter ? RG_PAPER_LETTER : RG_PAPER_A4;
    if (!read)
        rg_fail(err, RG_USAGE,
                "say lesson (1 to %d), paper (\"a4\" or \"letter\") and seed (0 to %d)", RG_LESSONS,
                SEED_MOST);
    return read;
}

static void post_lesson(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_page *p = context;
    rg_teach_lessons *t = p->lessons;
    rg_lessons asked = {.workers = p->options.lab.workers};
    rg_error err = {0};
    if (!read_wish(request, &asked, &err)) {
        rg_teach_reply_fault(reply, &err);
        return;
    }
    pthread_mutex_lock(&t->lock);
    bool busy = t->making != 0, begun = !busy && begin(t, &asked);
    pthread_mutex_unlock(&t->lock);
    if (begun)
        rg_page_reply_json(reply, 202, json_pack("{s:i}", "making", asked.only));
    else if (busy)
        rg_reply_error(reply, 409, "Another sheet is being made; wait until it is ready.");
    else
        rg_reply_error(reply, 500, "No thread can be had for it; try again.");
}

static void get_pdf(void *context, const rg_request *request, rg_reply *reply)
{
    rg_teach_lessons *t = ((rg_teach_page *)context)->lessons;
    const char *asked = rg_request_query(request, "lesson");
    int lesson =
        asked && asked[0] >= '1' && asked[0] <= '0' + RG_LESSONS && !asked[1] ? asked[0] - '0' : 0;
    pthread_mutex_lock(&t->lock);
    const rg_bytes *pdf = lesson ? &t->sheet[lesson - 1].pdf : NULL;
    bool there = pdf && pdf->data,
         copied = there && rg_teach_reply_copy(reply, pdf->data, pdf->size, "application/pdf");
    pthread_mutex_unlock(&t->lock);
    if (there && !copied)
        rg_reply_error(reply, 500, "no memory");
    else if (!there)
        rg_reply_error(reply, 404,
                       "That sheet has not been made yet; the page Lesson sheets makes it.");
}

rg_code rg_teach_add_lessons(rg_teach_page *page, rg_error *err)
{
    rg_teach_lessons *t = rg_alloc(1, sizeof *t);
    if (!t || pthread_mutex_init(&t->lock, NULL) != 0) {
        free(t);
        return rg_fail(err, RG_INTERNAL, "no memory for the lesson sheets");
    }
    page->lessons = t;
    rg_teach_add_asset(page, "/lessons", rg_teach_html, rg_asset_lessons_html,
                       rg_asset_lessons_html_size);
    rg_teach_add_asset(page, "/lessons.js", rg_teach_script, rg_asset_lessons_js,
                       rg_asset_lessons_js_size);
    rg_teach_add_call(page, "/api/lessons", RG_ROUTE_DATA, get_lessons);
    rg_teach_add_call(page, "/api/lessons/make", RG_ROUTE_CHANGE, post_lesson);
    rg_teach_add_call(page, "/lesson.pdf", RG_ROUTE_DATA, get_pdf);
    return RG_OK;
}

/* Waits for the frames that are under way, not for the sheet. */
void rg_teach_close_lessons(rg_teach_page *page)
{
    rg_teach_lessons *t = page->lessons;
    if (!t)
        return;
    pthread_mutex_lock(&t->lock);
    t->stop = true;
    pthread_mutex_unlock(&t->lock);
    if (t->started)
        pthread_join(t->thread, NULL);
    for (int i = 0; i < RG_LESSONS; i++)
        free(t->sheet[i].pdf.data);
    pthread_mutex_destroy(&t->lock);
    free(t);
    page->lessons = NULL;
}

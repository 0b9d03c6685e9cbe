/*
 * teach_quiz_sit.c - a trainee's sitting: which case comes next, its answer, and where it is kept.
 *
 * An answer is on the disk before it is told. An examination that was left goes on where it stopped, with the same
 * cases; so nobody sees its cases twice by starting again.
 */
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rimglow/memory.h"
#include "rimglow/random.h"
#include "rimglow/text.h"
#include "teach_quiz_private.h"

/* Keeps the cases of practice apart from those of an examination with the same seed. */
static const uint64_t practice_salt = UINT64_C(0x7072616374696365);

void rg_quiz_sit_end(rg_quiz_sitting *s)
{
    if (s->shown)
        rg_quiz_shown_free(s->shown);
    free(s->shown);
    free(s->entry);
    free(s->photo.order);
    *s = (rg_quiz_sitting){0};
}

rg_quiz_sitting *rg_quiz_sit_find(rg_teach_quiz *quiz, const char *id)
{
    for (int i = 0; i < RG_QUIZ_SITTINGS; i++)
        if (id && id[0] && strcmp(quiz->sitting[i].id, id) == 0) {
            quiz->sitting[i].used = ++quiz->clock;
            return &quiz->sitting[i];
        }
    return NULL;
}

/* A free place, or that of the sitting that was used least lately. */
static rg_quiz_sitting *place(rg_teach_quiz *quiz)
{
    rg_quiz_sitting *oldest = &quiz->sitting[0];
    for (int i = 0; i < RG_QUIZ_SITTINGS && oldest->id[0]; i++)
        if (!quiz->sitting[i].id[0] || quiz->sitting[i].used < oldest->used)
            oldest = &quiz->sitting[i];
    rg_quiz_sit_end(oldest);
    return oldest;
}

/* -------------------------------------------------------------------- cases */

static uint64_t practice_seed(uint64_t seed, int number)
{
    rg_random random = {seed ^ practice_salt};
    uint64_t own = 0;
    for (int i = 0; i < number; i++)
        own = rg_random_next(&random);
    return own;
}

static rg_code draw(rg_teach_page *page, rg_quiz_sitting *s, int number, rg_quiz_shown *shown,
                    rg_error *err)
{
    rg_teach_quiz *q = page->quiz;
    rg_quiz_case c;
    rg_code code = s->exam ? rg_quiz_exam_case(&q->options, s->seed, number - 1, &c, err)
                           : rg_quiz_draw(&q->options, practice_seed(s->seed, number),
                                          s->stairs.level, RG_QUIZ_CAUSES, -1, &c, err);
    if (code == RG_OK)
        code = rg_quiz_show(page->lab, &q->options, &q->diagnosis, &c, shown, err);
    if (code != RG_OK)
        return code;
    s->drawn = c;
    rg_quiz_truth_of(&q->options, &c, &s->truth);
    return RG_OK;
}

/* Case `number` with its pictures; on failure the sitting still has the one before. */
static rg_code ask(rg_teach_page *page, rg_quiz_sitting *s, int number, rg_error *err)
{
    rg_quiz_shown *shown = rg_alloc(1, sizeof *shown);
    if (!shown)
        return rg_fail(err, RG_INTERNAL, "no memory for a case's pictures");
    rg_code code = s->archive ? rg_quiz_archive_ask(page->quiz, s, shown, err)
                              : draw(page, s, number, shown, err);
    if (code != RG_OK) {
        free(shown);
        return code;
    }
    if (s->shown)
        rg_quiz_shown_free(s->shown);
    free(s->shown);
    s->shown = shown;
    s->number = number;
    s->step = RG_QUIZ_ASKED;
    return RG_OK;
}

rg_code rg_quiz_sit_next(rg_teach_page *page, rg_quiz_sitting *s, rg_error *err)
{
    if (s->step == RG_QUIZ_DONE)
        return rg_fail(err, RG_USAGE, "this examination is at its end");
    if (s->step == RG_QUIZ_ASKED)
        return rg_fail(err, RG_USAGE, "case %d has no answer yet", s->number);
    return ask(page, s, s->number + 1, err);
}

/* -------------------------------------------------------------------- begin */

static rg_code read_seed(const char *text, uint64_t *seed, rg_error *err)
{
    char again[24];
    *seed = 0;
    if (text && strlen(text) <= 20)
        *seed = strtoull(text, NULL, 10);
    snprintf(again, sizeof again, "%" PRIu64, *seed);
    if (!text || strcmp(text, again) != 0)
        return rg_fail(err, RG_USAGE,
                       "the seed \"%.40s\" is no whole number from 0 to 18446744073709551615",
                       text ? text : "");
    return RG_OK;
}

/* Answers of the newest sitting of this examination; 0 where there is none or it was finished. */
static int unfinished(const rg_quiz_options *o, const rg_trainee *t, const char *exam,
                      rg_quiz_entry *into)
{
    int64_t sitting = -1;
    int n = 0;
    for (int i = 0; i < t->count; i++)
        if (strcmp(t->entry[i].exam, exam) == 0)
            sitting = t->entry[i].sitting;
    for (int i = 0; i < t->count && n < o->exam_cases; i++)
        if (t->entry[i].sitting == sitting && strcmp(t->entry[i].exam, exam) == 0)
            into[n++] = t->entry[i];
    return n < o->exam_cases ? n : 0;
}

static rg_code take_up(rg_teach_quiz *q, rg_quiz_sitting *s, const rg_trainee *t, rg_error *err)
{
    char exam[RG_QUIZ_ID];
    rg_quiz_stairs_begin(&q->options, &s->stairs);
    for (int i = 0; i < t->count; i++)
        if (!t->entry[i].exam[0] && !t->entry[i].picture[0])
            rg_quiz_stairs_take(&q->options, t->entry[i].score.all, &s->stairs);
    if (!s->exam)
        return RG_OK;
    s->entry = rg_alloc((size_t)q->options.exam_cases, sizeof *s->entry);
    if (!s->entry)
        return rg_fail(err, RG_INTERNAL, "no memory for an examination");
    rg_quiz_exam_id(&q->options, s->seed, exam);
    s->answers = unfinished(&q->options, t, exam, s->entry);
    if (s->answers > 0)
        s->began = s->entry[0].sitting;
    return RG_OK;
}

/* Sittings are told apart by their second. */
static int64_t new_second(const rg_trainee *t)
{
    int64_t now = (int64_t)time(NULL);
    for (int i = 0; i < t->count; i++)
        if (t->entry[i].sitting >= now)
            now = t->entry[i].sitting + 1;
    return now;
}

static void name_sitting(rg_quiz_sitting *s)
{
    uint8_t bytes[(RG_QUIZ_SITTING_ID - 1) / 2];
    randombytes_buf(bytes, sizeof bytes);
    sodium_bin2hex(s->id, sizeof s->id, bytes, sizeof bytes);
}

static rg_code check_wish(const rg_quiz_wish *w, rg_error *err)
{
    if (w->exam && w->archive)
        return rg_fail(err, RG_USAGE,
                       "an examination has drawn cases alone: they are the same everywhere, "
                       "photographs of an archive are not");
    return RG_OK;
}

static rg_code first_case(rg_teach_page *page, rg_quiz_sitting *s, const rg_trainee *t,
                          rg_error *err)
{
    rg_code code = take_up(page->quiz, s, t, err);
    if (code == RG_OK && s->archive)
        code = rg_quiz_archive_begin(page, s, err);
    return code == RG_OK ? ask(page, s, s->answers + 1, err) : code;
}

rg_code rg_quiz_sit_begin(rg_teach_page *page, const rg_quiz_wish *wish, rg_quiz_sitting **sitting,
                          rg_error *err)
{
    rg_teach_quiz *q = page->quiz;
    rg_trainee t;
    uint64_t number = randombytes_uniform(1000000);
    *sitting = NULL;
    rg_code code = check_wish(wish, err);
    if (code == RG_OK && wish->seed)
        code = read_seed(wish->seed, &number, err);
    if (code == RG_OK)
        code = rg_trainee_read(q->folder, wish->name, &t, err);
    if (code != RG_OK)
        return code;
    rg_quiz_sitting *s = place(q);
    s->exam = wish->exam;
    s->archive = wish->archive;
    s->seed = number;
    s->began = new_second(&t);
    rg_copy_text(s->name, sizeof s->name, wish->name);
    code = first_case(page, s, &t, err);
    rg_trainee_free(&t);
    if (code != RG_OK) {
        rg_quiz_sit_end(s);
        return code;
    }
    name_sitting(s);
    s->used = ++q->clock;
    *sitting = s;
    return RG_OK;
}

/* ------------------------------------------------------------------- answer */

static rg_quiz_entry entry_of(const rg_teach_quiz *q, const rg_quiz_sitting *s)
{
    rg_quiz_entry e = {.time = (int64_t)time(NULL), .sitting = s->began, .truth = s->truth};
    if (s->archive) { /* its truth is the tool's own map: no second judge */
        rg_copy_text(e.picture, sizeof e.picture, s->photo.name);
        return e;
    }
    e.drawn = s->drawn;
    e.tool = true;
    e.tool_judged = s->shown->judged;
    e.tool_says = s->shown->says;
    if (s->exam) {
        rg_quiz_exam_id(&q->options, s->seed, e.exam);
        e.exam_seed = s->seed;
        e.exam_cases = q->options.exam_cases;
        e.number = s->number;
        e.pass_share = q->options.pass_share;
    }
    return e;
}

rg_code rg_quiz_sit_answer(rg_teach_quiz *quiz, rg_quiz_sitting *s, const rg_quiz_answer *answer,
                           rg_quiz_score *score, rg_error *err)
{
    if (s->step != RG_QUIZ_ASKED)
        return rg_fail(err, RG_USAGE, "case %d has its answer already", s->number);
    rg_quiz_entry e = entry_of(quiz, s);
    e.answer = *answer;
    rg_quiz_score_of(&s->truth, answer, score);
    e.score = *score;
    rg_code code = rg_trainee_append(quiz->folder, s->name, &e, NULL, err);
    if (code != RG_OK)
        return code;
    if (s->exam)
        s->entry[s->answers] = e;
    else if (!s->archive) /* how hard a photograph is nobody knows */
        rg_quiz_stairs_take(&quiz->options, score->all, &s->stairs);
    s->answers++;
    s->step = s->exam && s->answers == quiz->options.exam_cases ? RG_QUIZ_DONE : RG_QUIZ_ANSWERED;
    return RG_OK;
}

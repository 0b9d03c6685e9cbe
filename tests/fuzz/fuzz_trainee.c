/*
 * Fuzz target for trainee.h. The first byte chooses: a name or a file. What is accepted must keep the header's promises
 * and must come back from its own lines byte by byte; results and agreement must hold up to it.
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/trainee.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int promise)
{
    if (!promise)
        abort();
}

/* Settings under which every width class can be counted. */
static rg_quiz_options wide_options(void)
{
    rg_quiz_options o = {.classes = RG_QUIZ_CLASSES_MAX, .confidence = 0.95, .window = 3};
    o.levels = 10;
    o.first_level = o.first_step = o.step = 1;
    o.right_in_row = 2;
    return o;
}

static void check_entry(const rg_quiz_entry *e)
{
    rg_quiz_score again;
    rg_quiz_score_of(&e->truth, &e->answer, &again);
    require(again.all == e->score.all && again.class_distance == e->score.class_distance);
    require(e->drawn.views >= 0 && e->drawn.views <= RG_QUIZ_VIEWS_MAX);
    require(e->drawn.streaks >= 0 && e->drawn.streaks <= RG_QUIZ_VIEWS_MAX);
    require(e->truth.bearings >= 0 && e->truth.bearings <= 2 && isfinite(e->truth.widest_mm));
    require(e->answer.width_class >= 0 && e->answer.width_class < RG_QUIZ_CLASSES_MAX);
    require(e->answer.cause < RG_QUIZ_CAUSES && e->truth.cause < RG_QUIZ_CAUSES);
    require(!e->picture[0] || (!e->exam[0] && !e->tool));
    require(e->truth.width_class - e->truth.also_below >= 0 &&
            e->truth.width_class + e->truth.also_above < RG_QUIZ_CLASSES_MAX);
    require(!e->exam[0] || (e->number >= 1 && e->number <= e->exam_cases));
}

/* The same file from what was read. */
static void write_again(const rg_trainee *t)
{
    rg_error err = {0};
    for (int i = 0; i < t->count; i++) {
        char *line = NULL, *second = NULL, *head = NULL, text[3 * RG_TRAINEE_LINE];
        rg_trainee again;
        require(rg_trainee_line(&t->entry[i], &line, &err) == RG_OK);
        require(rg_trainee_head(t->name, &head, &err) == RG_OK);
        strcpy(text, head);
        strcat(text, line);
        require(rg_trainee_parse("again", text, strlen(text), &again, &err) == RG_OK);
        require(again.count == 1 && strcmp(again.name, t->name) == 0);
        require(rg_trainee_line(&again.entry[0], &second, &err) == RG_OK &&
                strcmp(line, second) == 0);
        rg_trainee_free(&again);
        free(second);
        free(head);
        free(line);
    }
}

static void sum_up(const rg_trainee *t)
{
    rg_error err = {0};
    rg_quiz_options o = wide_options();
    rg_quiz_progress p;
    rg_quiz_agreement a;
    if (rg_quiz_progress_of(&o, t->name, t->entry, t->count, &p, &err) == RG_OK) {
        require(p.points == t->count && p.exams <= t->count);
        rg_quiz_progress_free(&p);
    } else {
        require(err.text[0] != 0);
    }
    require(rg_quiz_agree(&o, "A", t->entry, t->count, "B", t->entry, t->count, &a, &err) == RG_OK);
    require(rg_quiz_agree_truth(&o, "A", t->entry, t->count, &a, &err) == RG_OK);
    int drawn = a.cases;
    require(rg_quiz_agree_archive(&o, "A", t->entry, t->count, &a, &err) == RG_OK);
    require(drawn + a.cases == t->count);
}

static void try_file(const char *text, size_t size)
{
    rg_error err = {0};
    rg_trainee t;
    rg_code code = rg_trainee_parse("fuzz.jsonl", text, size, &t, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && !t.entry && t.count == 0));
    if (code != RG_OK)
        return;
    require(t.torn <= size && (t.count == 0 || t.name[0]));
    for (int i = 0; i < t.count; i++)
        check_entry(&t.entry[i]);
    write_again(&t);
    sum_up(&t);
    rg_trainee_free(&t);
}

static void try_name(const char *data, size_t size)
{
    char *text = calloc(size + 1, 1), file[RG_TRAINEE_FILE];
    require(text != NULL);
    memcpy(text, data, size);
    if (rg_trainee_check_name(text, NULL) == RG_OK) {
        rg_trainee_file(text, file);
        require(file[0] != '.' && !strchr(file, '/') && strlen(file) < RG_TRAINEE_FILE - 1);
        for (const char *p = file; *p; p++)
            require(*p > ' ' && *p < 127);
    }
    free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size == 0)
        return 0;
    if (data[0] % 2 == 0)
        try_file((const char *)data + 1, size - 1);
    else
        try_name((const char *)data + 1, size - 1);
    return 0;
}

/*
 * teach_quiz_private.h - the quiz's part of the teaching server, shared by teach_quiz*.c.
 */
#ifndef RIMGLOW_APP_TEACH_QUIZ_PRIVATE_H
#define RIMGLOW_APP_TEACH_QUIZ_PRIVATE_H

#include <pthread.h>

#include "quiz_private.h"
#include "rimglow/trainee.h"
#include "teach_private.h"

enum { RG_QUIZ_SITTINGS = 32, RG_QUIZ_SITTING_ID = 33 };

typedef enum rg_quiz_step {
    RG_QUIZ_ASKED,    /* a case waits for its answer */
    RG_QUIZ_ANSWERED, /* it has it; practice goes on by "next" */
    RG_QUIZ_DONE      /* the examination is at its end */
} rg_quiz_step;

/* The archive's sweeps in the order of a sitting, and the photograph that is asked about. */
typedef struct rg_quiz_photo {
    int *order; /* owned, [sweeps] */
    int sweeps, next;
    char name[RG_PAIRS_NAME]; /* told with the answer */
    int views;
    rg_quiz_view view[RG_QUIZ_VIEWS_MAX];
    double tolerance_mm;
    char says[RG_PAIRS_TEXT + 16]; /* what the photograph shows, likewise */
} rg_quiz_photo;

/* Somebody at the quiz. The truth of the case stays here until the answer has come. */
typedef struct rg_quiz_sitting {
    char id[RG_QUIZ_SITTING_ID]; /* "": free; random */
    char name[RG_QUIZ_NAME];
    bool exam, archive; /* archive: practice with photographs */
    uint64_t seed;
    int64_t began;
    int number; /* of the case, from 1 */
    rg_quiz_step step;
    rg_quiz_case drawn; /* of a photograph nothing */
    rg_quiz_photo photo;
    rg_quiz_truth truth;
    rg_quiz_shown *shown; /* owned */
    rg_quiz_stairs stairs;
    int answers;
    rg_quiz_entry *entry; /* owned, [exam_cases]: of an examination */
    unsigned used;        /* when last */
} rg_quiz_sitting;

struct rg_teach_quiz {
    rg_quiz_options options;
    rg_diagnosis_options diagnosis;
    const char *folder;
    rg_pairs *pairs; /* owned; NULL until somebody asks for photographs */
    pthread_mutex_t
        lock; /* of all that follows; held while a case is drawn, so trainees wait for each other */
    unsigned clock;
    rg_quiz_sitting sitting[RG_QUIZ_SITTINGS];
};

/* teach_quiz_sit.c; under the lock. */

typedef struct rg_quiz_wish {
    const char *name;
    bool exam, archive; /* not both */
    const char *seed;   /* NULL: any */
} rg_quiz_wish;

/* A new sitting, or the examination's unfinished one. */
rg_code rg_quiz_sit_begin(rg_teach_page *page, const rg_quiz_wish *wish, rg_quiz_sitting **sitting,
                          rg_error *err);
/* NULL: no such sitting. */
rg_quiz_sitting *rg_quiz_sit_find(rg_teach_quiz *quiz, const char *id);
/* The next case. RG_USAGE where the last one has no answer yet, or the examination is at its end. */
rg_code rg_quiz_sit_next(rg_teach_page *page, rg_quiz_sitting *s, rg_error *err);
/* Scores the answer and keeps it on the disk; on failure nothing has changed. */
rg_code rg_quiz_sit_answer(rg_teach_quiz *quiz, rg_quiz_sitting *s, const rg_quiz_answer *answer,
                           rg_quiz_score *score, rg_error *err);
void rg_quiz_sit_end(rg_quiz_sitting *s);

/* teach_quiz_archive.c; under the lock. Their errors name no bag and no file. */

/* The order in which the sitting's seed asks for the archive's sweeps. RG_NO_INPUT without an archive. */
rg_code rg_quiz_archive_begin(rg_teach_page *page, rg_quiz_sitting *s, rg_error *err);
/* The next sweep that can be asked for: its pictures and truth. RG_NO_INPUT where there is none (any more), and why. On
 * failure the sitting still has the case before, and no sweep that was looked at is looked at again. */
rg_code rg_quiz_archive_ask(rg_teach_quiz *quiz, rg_quiz_sitting *s, rg_quiz_shown *shown,
                            rg_error *err);

/* teach_quiz_paper.c: progress, results, chart and certificate of a trainee. */
void rg_quiz_get_progress(void *context, const rg_request *request, rg_reply *reply);
void rg_quiz_get_chart(void *context, const rg_request *request, rg_reply *reply);
void rg_quiz_get_progress_pdf(void *context, const rg_request *request, rg_reply *reply);
void rg_quiz_get_certificate(void *context, const rg_request *request, rg_reply *reply);

#endif

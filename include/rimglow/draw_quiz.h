/*
 * draw_quiz.h - a trainee's progress as a chart, and the result of one examination as a page to print. Rules of draw.h
 * hold. What is drawn was counted by quiz.h; intervals are Wilson's and those of kappa.h, at the confidence
 * that they state.
 */
#ifndef RIMGLOW_DRAW_QUIZ_H
#define RIMGLOW_DRAW_QUIZ_H

#include "rimglow/draw.h"
#include "rimglow/quiz.h"

/* px; as a PDF it fills an A4 page, upright. More examinations than RG_QUIZ_EXAMS_DRAWN: the newest, and the page
 * says so. */
enum { RG_QUIZ_PAGE_WIDTH = 992, RG_QUIZ_PAGE_HEIGHT = 1403, RG_QUIZ_EXAMS_DRAWN = 24 };

typedef struct rg_draw_progress_args {
    const rg_quiz_progress *progress;
    const char *software; /* may be NULL */
} rg_draw_progress_args;

/* Running share of practice cases with all three answers right, with its interval; the level of every case; share and
 * kappa of the examinations. A disc is a case that was right, a ring one that was not, a square an examination. A
 * trainee without answers gets a page that says so. */
rg_code rg_draw_quiz_progress(const rg_draw_progress_args *args, rg_picture_format format,
                              rg_bytes *out, rg_error *err);

typedef struct rg_draw_result_args {
    const rg_quiz_result *result;
    const char *software; /* may be NULL */
} rg_draw_result_args;

/* Name, date, examination, share with its limits, kappa with the truth, passed or not; says that it is a training result and
 * certifies no instrument. RG_BAD_DATA for practice, which is no examination. An examination that was not taken to
 * its end says "not complete" in place of a result. */
rg_code rg_draw_quiz_result(const rg_draw_result_args *args, rg_picture_format format,
                            rg_bytes *out, rg_error *err);

#endif

/*
 * teach_page.h - what the server of rimglow teach answers: lessons to try, drawn by synth.h and
 * measured as photographs are.
 *
 *   GET  /                  the lessons; /teach.css, /common.js, /teach.js, /icon.svg
 *   GET  /try, /sizes, /vanish, each with its script (.js): lessons with a pad to try (lab.h)
 *   GET  /api/session       {csrf, version}, as bench_page.h
 *   and what teach_try.c, teach_quiz.c and teach_pairs.c add, each in its head comment.
 *
 * Nothing is written unless a trainee takes the quiz.
 */
#ifndef RIMGLOW_TEACH_PAGE_H
#define RIMGLOW_TEACH_PAGE_H

#include "rimglow/lab.h"
#include "rimglow/server.h"

typedef struct rg_teach_page rg_teach_page; /* opaque */

typedef struct rg_teach_page_options {
    rg_lab_options lab;
    const char *archive;  /* folder of the shop's archive; NULL: none is shown */
    const char *trainees; /* folder of the quiz's results; NULL: trainees */
    const char *quiz;     /* settings of the quiz; NULL: calib/quiz.ini */
    const char *listen;   /* NULL: 127.0.0.1 */
    int port;             /* 0: any free one */
    bool token;
} rg_teach_page_options;

/* The options' texts must live until the page is closed. */
rg_code rg_teach_page_open(const rg_teach_page_options *options, rg_teach_page **page,
                           rg_error *err);
/* Where to point a browser, with the token. */
void rg_teach_page_url(const rg_teach_page *page, char *url, size_t size);
void rg_teach_page_close(rg_teach_page *page);

#endif

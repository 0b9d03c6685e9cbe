/*
 * quiz_private.h - the quiz of rimglow teach: what its page, its results on the command line and its pictures share.
 */
#ifndef RIMGLOW_APP_QUIZ_PRIVATE_H
#define RIMGLOW_APP_QUIZ_PRIVATE_H

#include <jansson.h>

#include "rimglow/diagnosis.h"
#include "rimglow/lab.h"
#include "rimglow/quiz.h"

#define RG_QUIZ_TRAINEES "trainees" /* default folder */

/* quiz_load.c: calib/quiz.ini, or the file given. overhang_mm: of the pad in use. */
rg_code rg_quiz_options_load(const char *given, double overhang_mm, rg_quiz_options *options,
                             rg_error *err);

/* quiz_case.c */

typedef struct rg_quiz_picture {
    uint8_t *bytes; /* owned */
    size_t size;
    const char *type; /* "image/jpeg" */
} rg_quiz_picture;

typedef struct rg_quiz_shown {
    int pictures;
    rg_quiz_picture picture[2 * RG_QUIZ_VIEWS_MAX]; /* a photograph stands twice */
    bool judged; /* the program could tell all three from these pictures */
    rg_quiz_answer says;
    rg_seal_map map; /* what it measured */
} rg_quiz_shown;

/* How far a pad stands out beyond its rim, mm. */
double rg_quiz_overhang(const rg_pad *pad);
/* Sets the pad's face and the side on which the lamp lies to the case's; the rest of the sweep stays. */
void rg_quiz_set_face(const rg_quiz_case *c, rg_render_sweep *sweep);
/* Draws the views and measures them together. */
rg_code rg_quiz_show(rg_lab *lab, const rg_quiz_options *options,
                     const rg_diagnosis_options *diagnosis, const rg_quiz_case *c,
                     rg_quiz_shown *shown, rg_error *err);
void rg_quiz_shown_free(rg_quiz_shown *shown);

/* quiz_json.c: new references; NULL without memory. */
json_t *rg_quiz_json_share(const rg_quiz_share *share);
json_t *rg_quiz_json_truth(const rg_quiz_options *options, const rg_quiz_truth *truth);
/* Of an archived map: with U, and every class that is right. */
json_t *rg_quiz_json_map_truth(const rg_quiz_options *options, const rg_quiz_truth *truth);
json_t *rg_quiz_json_answer(const rg_quiz_options *options, const rg_quiz_answer *answer);
json_t *rg_quiz_json_score(const rg_quiz_score *score);
json_t *rg_quiz_json_words(const rg_quiz_words *words);
json_t *rg_quiz_json_agreement(const rg_quiz_options *options, const rg_quiz_agreement *agreement);
json_t *rg_quiz_json_result(const rg_quiz_options *options, const rg_quiz_result *result);
json_t *rg_quiz_json_progress(const rg_quiz_options *options, const rg_quiz_progress *progress);

/* quiz_results.c: rimglow teach --results. Prints what the trainees of a folder (NULL: RG_QUIZ_TRAINEES) have answered:
 * shares, levels, agreement with truth, tool and each other. RG_NO_INPUT where there is nobody. */
rg_code rg_quiz_print_results(const char *folder, const char *settings, bool json, rg_error *err);

#endif

/*
 * config_quiz.h - calib/quiz.ini: cases, scores and examinations of the quiz. Rules and messages are those of
 * config.h: every key must be there, an unknown one is refused.
 */
#ifndef RIMGLOW_CONFIG_QUIZ_H
#define RIMGLOW_CONFIG_QUIZ_H

#include <stddef.h>

#include "rimglow/quiz.h"

/* overhang_mm is the pad's and no setting: the caller gives it, above 0, and rg_quiz_check has seen all of it. */
rg_code rg_quiz_options_parse(const char *label, const char *text, size_t size, double overhang_mm,
                              rg_quiz_options *options, rg_error *err);

#endif

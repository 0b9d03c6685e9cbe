/*
 * quiz.h - the settings of calib/quiz.ini for tests of the core, which open no file. test_config_quiz.c compares.
 */
#ifndef TESTS_SUPPORT_QUIZ_H
#define TESTS_SUPPORT_QUIZ_H

#include "rimglow/quiz.h"

/* With a pad whose overhang is 1.5 mm. */
rg_quiz_options test_quiz_options(void);
/* An answer that is right in all, and one that is wrong in all. */
rg_quiz_answer test_quiz_right(const rg_quiz_truth *truth);
rg_quiz_answer test_quiz_wrong(const rg_quiz_options *options, const rg_quiz_truth *truth);

#endif

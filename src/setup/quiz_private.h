/*
 * quiz_private.h - shared by quiz*.c.
 */
#ifndef RIMGLOW_SETUP_QUIZ_PRIVATE_H
#define RIMGLOW_SETUP_QUIZ_PRIVATE_H

#include "rimglow/quiz.h"

/* Widest half arc of a tilt's opening that is drawn, degrees: beyond it little of the pad is in contact. */
#define RG_QUIZ_TILT_MOST 130.0

/* Degrees from one bearing to another, clockwise, in (-180, 180]. */
double rg_quiz_apart(double deg, double from_deg);
/* Smallest half arc of a tilt's opening, degrees, that presses the other side no deeper than allowed. */
double rg_quiz_half_least(const rg_quiz_options *options, double widest_mm);

#endif

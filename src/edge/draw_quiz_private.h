/*
 * draw_quiz_private.h - shared by draw_quiz*.c.
 */
#ifndef RIMGLOW_EDGE_DRAW_QUIZ_PRIVATE_H
#define RIMGLOW_EDGE_DRAW_QUIZ_PRIVATE_H

#include <stdint.h>

#include "rimglow/date.h"

/* The UTC day of a POSIX time; "none" before 1970. */
void rg_quiz_day(int64_t time, char text[RG_DATE_TEXT]);

#endif

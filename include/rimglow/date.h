/*
 * date.h - calendar dates as days, for the validity of a calibration.
 *
 * Proleptic Gregorian calendar, ISO 8601 (2004) 4.1.2: YYYY-MM-DD. Day 0 is
 * 1970-01-01, so a day is POSIX time divided by 86400.
 */
#ifndef RIMGLOW_DATE_H
#define RIMGLOW_DATE_H

#include <stdbool.h>

enum { RG_DATE_TEXT = 16 };

/* "2026-03-09" to a day; false for anything else, or outside 1970..9999. */
bool rg_date_parse(const char *text, int *day);
/* text: RG_DATE_TEXT bytes. A day outside 1970..9999 gives "?". */
void rg_date_format(int day, char text[RG_DATE_TEXT]);

#endif

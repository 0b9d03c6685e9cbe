/*
 * date.c - days and dates. Years are counted from March, so that the leap day
 * is a year's last; 400 years have 146097 days.
 */
#include "rimglow/date.h"

#include <stdio.h>
#include <string.h>

enum { DAYS_400_YEARS = 146097, EPOCH_DAY = 719468 /* 1970-01-01 after 0000-03-01 */ };

static int day_of(int year, int month, int dom)
{
    int y = month <= 2 ? year - 1 : year, cycle = y / 400, in_cycle = y % 400;
    int day_of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + dom - 1;
    return cycle * DAYS_400_YEARS + in_cycle * 365 + in_cycle / 4 - in_cycle / 100 + day_of_year -
           EPOCH_DAY;
}

static int digits(const char *text, int n)
{
    int value = 0;
    for (int i = 0; i < n; i++) {
        if (text[i] < '0' || text[i] > '9')
            return -1;
        value = 10 * value + text[i] - '0';
    }
    return value;
}

static int month_length(int year, int month)
{
    int next = month == 12 ? day_of(year + 1, 1, 1) : day_of(year, month + 1, 1);
    return next - day_of(year, month, 1);
}

bool rg_date_parse(const char *text, int *day)
{
    if (strlen(text) != 10 || text[4] != '-' || text[7] != '-')
        return false;
    int year = digits(text, 4), month = digits(text + 5, 2), dom = digits(text + 8, 2);
    if (year < 1970 || month < 1 || month > 12 || dom < 1 || dom > month_length(year, month))
        return false;
    *day = day_of(year, month, dom);
    return true;
}

void rg_date_format(int day, char text[RG_DATE_TEXT])
{
    snprintf(text, RG_DATE_TEXT, "?");
    if (day < 0 || day > day_of(9999, 12, 31))
        return;
    int year = 1970 + day / 366, month = 12;
    while (day_of(year + 1, 1, 1) <= day)
        year++;
    while (day_of(year, month, 1) > day)
        month--;
    snprintf(text, RG_DATE_TEXT, "%04d-%02d-%02d", year % 10000, month % 100,
             (day - day_of(year, month, 1) + 1) % 100);
}

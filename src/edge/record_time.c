/*
 * record_time.c - moments as text: the one form of RFC 3339 (section 5.6) that the archive uses,
 * whole seconds of UTC with 'T' and 'Z' in capitals.
 *
 * POSIX seconds have no leap seconds (IEEE Std 1003.1-2017, 4.16), so second 60 is refused.
 */
#include <stdio.h>
#include <string.h>

#include "rimglow/date.h"
#include "rimglow/record.h"

enum { DAY_SECONDS = 86400, DATE_LENGTH = 10, TIME_LENGTH = 20 };

void rg_record_time_format(int64_t time, char text[RG_RECORD_TIME])
{
    static const int64_t last_day = 2932896; /* 9999-12-31 */
    char date[RG_DATE_TEXT];
    snprintf(text, RG_RECORD_TIME, "?");
    if (time < 0 || time / DAY_SECONDS > last_day)
        return;
    int second = (int)(time % DAY_SECONDS);
    rg_date_format((int)(time / DAY_SECONDS), date);
    snprintf(text, RG_RECORD_TIME, "%.10sT%02d:%02d:%02dZ", date, second / 3600, second / 60 % 60,
             second % 60);
}

/* Two digits up to high, -1 else. */
static int two_digits(const char *text, int high)
{
    if (text[0] < '0' || text[0] > '9' || text[1] < '0' || text[1] > '9')
        return -1;
    int value = 10 * (text[0] - '0') + text[1] - '0';
    return value <= high ? value : -1;
}

bool rg_record_time_parse(const char *text, int64_t *time)
{
    char date[DATE_LENGTH + 1];
    int day;
    if (strlen(text) != TIME_LENGTH || text[10] != 'T' || text[13] != ':' || text[16] != ':' ||
        text[19] != 'Z')
        return false;
    memcpy(date, text, DATE_LENGTH);
    date[DATE_LENGTH] = 0;
    int hour = two_digits(text + 11, 23), minute = two_digits(text + 14, 59),
        second = two_digits(text + 17, 59);
    if (hour < 0 || minute < 0 || second < 0 || !rg_date_parse(date, &day))
        return false;
    *time = (int64_t)day * DAY_SECONDS + hour * 3600 + minute * 60 + second;
    return true;
}

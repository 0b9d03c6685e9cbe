/*
 * Tests of date.h. Days from GNU date 9.1: date -u -d DATE +%s, divided by 86400.
 */
#include <criterion/criterion.h>

#include "rimglow/date.h"

static const struct {
    const char *text;
    int day;
} known[] = {{"1970-01-01", 0},     {"1970-12-31", 364},    {"1972-02-29", 789},
             {"2000-02-29", 11016}, {"2000-03-01", 11017},  {"2026-11-25", 20782},
             {"2100-03-01", 47541}, {"9999-12-31", 2932896}};

Test(date, days_agree_with_gnu_date_both_ways)
{
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++) {
        int day = -1;
        char text[RG_DATE_TEXT];
        cr_expect(rg_date_parse(known[i].text, &day) && day == known[i].day, "%s: %d",
                  known[i].text, day);
        rg_date_format(known[i].day, text);
        cr_expect_str_eq(text, known[i].text);
    }
}

Test(date, every_day_of_400_years_comes_back)
{
    for (int day = 0; day < 146097; day++) {
        char text[RG_DATE_TEXT];
        int again = -1;
        rg_date_format(day, text);
        cr_assert(rg_date_parse(text, &again) && again == day, "%s: %d, not %d", text, again, day);
    }
}

Test(date, what_is_no_date_is_refused)
{
    static const char *const bad[] = {"",           "none",       "2026-13-01",  "2026-00-10",
                                      "2026-02-29", "2100-02-29", "2026-04-31",  "2026-4-31",
                                      "26-04-30",   "2026/04/30", "2026-04-30x", "1969-12-31",
                                      "20x6-04-30", "2026-04-00", " 2026-04-30"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int day = -7;
        cr_expect_not(rg_date_parse(bad[i], &day), "%s", bad[i]);
        cr_expect_eq(day, -7);
    }
    char text[RG_DATE_TEXT];
    rg_date_format(-1, text);
    cr_expect_str_eq(text, "?");
}

/*
 * Tests of studyfile.h: tables as people and spreadsheets write them, and refusals
 * that name line, column and remedy. Format: RFC 4180.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rimglow/studyfile.h"
#include "support/load.h"

static rg_error err;
static rg_gauge_file g;
static rg_detect_file d;

static rg_code gauge(const char *text)
{
    err = (rg_error){0};
    return rg_gauge_file_parse("t.csv", text, strlen(text), &g, &err);
}

static rg_code detect(const char *text)
{
    err = (rg_error){0};
    return rg_detect_file_parse("t.csv", text, strlen(text), &d, &err);
}

#define HEAD "part,person,repeat,value_mm\n"
#define FOUR "a,x,1,0.10\na,x,2,0.11\nb,x,1,0.20\nb,x,2,0.21\n"

Test(studyfile, rows_come_out_in_the_order_of_the_design)
{
    cr_assert_eq(gauge("value_mm,repeat,person,part\n"
                       "0.21,2,x,b\n0.10,1,x,a\n0.30,1,y,a\n0.20,1,x,b\n0.31,2,y,a\n0.11,2,x,a\n"
                       "0.40,1,y,b\n0.41,2,y,b\n"),
                 RG_OK, "%s", err.text);
    cr_expect(g.parts == 2 && g.persons == 2 && g.repeats == 2 && g.rows == 8);
    cr_expect_str_eq(g.part[0], "b");
    cr_expect_str_eq(g.person[1], "y");
    static const double expected[] = {0.21, 0.20, 0.40, 0.41, 0.10, 0.11, 0.30, 0.31};
    for (int i = 0; i < 8; i++) {
        cr_expect_eq(g.row[i].value, expected[i], "row %d: %g", i, g.row[i].value);
        cr_expect(g.row[i].part == i / 4 && g.row[i].person == i / 2 % 2 &&
                  g.row[i].repeat == i % 2);
        cr_expect(isnan(g.row[i].reference_mm));
    }
    rg_gauge_file_free(&g);
}

Test(studyfile, spreadsheets_of_all_kinds_are_read)
{
    static const char *const same[] = {
        HEAD FOUR,
        "\xEF\xBB\xBFpart;person;repeat;value_mm\r\na;x;1;0.10\r\na;x;2;0.11\r\nb;x;1;0.20\r\nb;x;"
        "2;0.21",
        "part\tperson\trepeat\tvalue_mm\na\tx\t1\t0.10\na\tx\t2\t0.11\nb\tx\t1\t0.20\nb\tx\t2\t0."
        "21\n",
        "# a comment, with a comma\n\n part , person,repeat, value_mm \n  \n a ,x,1, 0.10 \n"
        "# another\n,,,\na,x,2,0.11\n\"b\",\"x\",\"1\",\"0.20\"\nb, \"x\" ,2,0.21\n\n",
        "part,person,repeat,value_mm,note\na,x,1,0.10,\"a; b, "
        "\"\"c\"\"\"\na,x,2,0.11,\nb,x,1,0.20,z\n"
        "b,x,2,0.21,\n",
    };
    for (size_t i = 0; i < sizeof same / sizeof *same; i++) {
        cr_assert_eq(gauge(same[i]), RG_OK, "%zu: %s", i, err.text);
        cr_expect(g.parts == 2 && g.persons == 1 && g.repeats == 2 && g.rows == 4, "%zu", i);
        cr_expect(g.row[0].value == 0.10 && g.row[3].value == 0.21, "%zu", i);
        cr_expect_str_eq(g.part[1], "b");
        rg_gauge_file_free(&g);
    }
}

Test(studyfile, quotes_keep_separators_and_double_quotes)
{
    cr_assert_eq(
        gauge("part,person,repeat,sweep\n\"pad \"\"G\"\", low\",x,1,\"a,b\"\nq,x,1,../c d\n"),
        RG_OK, "%s", err.text);
    cr_expect_str_eq(g.part[0], "pad \"G\", low");
    cr_expect_str_eq(g.row[0].sweep, "a,b");
    cr_expect_str_eq(g.row[1].sweep, "../c d");
    cr_expect_eq(g.input, RG_GAUGE_SWEEPS);
    cr_expect(isnan(g.row[0].value));
    rg_gauge_file_free(&g);
}

Test(studyfile, references_belong_to_parts)
{
    cr_assert_eq(gauge("part,person,repeat,value_mm,reference_mm\na,x,1,0.1,0.12\na,x,2,0.1,0.120\n"
                       "b,x,1,0.2,\nb,x,2,0.2,\n"),
                 RG_OK, "%s", err.text);
    cr_expect_eq(g.row[1].reference_mm, 0.12);
    cr_expect(isnan(g.row[2].reference_mm));
    rg_gauge_file_free(&g);
}

Test(studyfile, bearings_may_be_given)
{
    cr_assert_eq(gauge("part,person,repeat,value_deg\na,x,1,359\na,x,2,1\nb,x,1,90\nb,x,2,91\n"),
                 RG_OK);
    cr_expect_eq(g.input, RG_GAUGE_VALUES_DEG);
    rg_gauge_file_free(&g);
}

typedef struct refusal {
    const char *text, *word1, *word2, *word3;
} refusal;

static void expect_refused(rg_code code, const refusal *r, const void *owned)
{
    cr_expect_eq(code, RG_BAD_DATA, "accepted: %s", r->text);
    cr_expect_null(owned);
    cr_expect(strncmp(err.text, "t.csv", 5) == 0, "%s", err.text);
    cr_expect(strstr(err.text, r->word1) && strstr(err.text, r->word2) &&
                  strstr(err.text, r->word3),
              "of \"%s\": %s", r->text, err.text);
}

Test(studyfile, refusals_of_gauge_tables_name_line_column_and_remedy)
{
    static const refusal row[] = {
        {"", "empty", "first row", ""},
        {"# nothing\n\n", "empty", "first row", ""},
        {HEAD, "no row", "add the values", ""},
        {"part,person,value_mm\na,x,1\n", "column repeat is missing", "numbers the repeats", ""},
        {"person,repeat,value_mm\nx,1,1\n", "column part", "missing", ""},
        {"part,repeat,value_mm\na,1,1\n", "column person", "one person", ""},
        {"part,person,repeat\na,x,1\n", "none of the columns value_mm", "exactly one", ""},
        {"part,person,repeat,value_mm,sweep\na,x,1,1,s\n", "more than one", "value_mm", "sweep"},
        {"part,person,repeat,value\na,x,1,1\n", "line 1", "unknown column \"value\"", "value_mm"},
        {"part,person,repeat,value_mm,part\n", "line 1", "part is given twice", "remove one"},
        {"part,person,repeat,value_mm,hit\n", "unknown column", "hit", ""},
        {HEAD "a,x,1,0,10\n", "line 2", "5 cells", "quotes"},
        {HEAD "a,x,1\n", "line 2", "3 cells", "4 columns"},
        {"part;person;repeat;value_mm\na;x;1;0,10\n", "line 2", "value_mm = 0,10", "point"},
        {HEAD "a,x,1,wide\n", "line 2", "value_mm = wide", "number from"},
        {HEAD "a,x,1,nan\n", "line 2", "value_mm = nan", "number"},
        {HEAD "a,x,1,1e9\n", "line 2", "value_mm = 1e9", "1000"},
        {HEAD "a,x,1,\n", "line 2", "value_mm", "number"},
        {HEAD ",x,1,0.1\n", "line 2", "part is empty", "fill"},
        {HEAD "a,,1,0.1\n", "line 2", "person is empty", ""},
        {HEAD "a,x,,0.1\n", "line 2", "repeat is empty", ""},
        {HEAD "a,x,1,0.1\n\"b,x,1,0.2\n", "line 3", "quote", "close"},
        {HEAD "\"a\"b,x,1,0.1\n", "line 2", "behind a closing quote", "double"},
        {HEAD FOUR "b,y,1,0.3\n", "part a by person y has 0 of 2", "", ""},
        {HEAD "a,x,1,0.1\na,x,2,0.1\nb,x,1,0.1\n", "part b by person x has 1 of 2", "equally often",
         ""},
        {HEAD "a,x,1,0.1\na,x,1,0.1\nb,x,1,0.1\nb,x,2,0.2\n", "line 3", "already in line 2",
         "repeat 1"},
        {"part,person,repeat,value_mm,reference_mm\na,x,1,1,0.1\na,x,2,1,0.2\n", "lines 2 and 3",
         "part a", "different reference_mm"},
        {"part,person,repeat,value_mm,reference_mm\na,x,1,1,0.1\na,x,2,1,\n", "lines 2 and 3",
         "part a", "same in"},
        {"part,person,repeat,value_mm,reference_mm\na,x,1,1,-0.1\n", "line 2",
         "reference_mm = -0.1", "from 0"},
        {"part,person,repeat,value_deg,reference_mm\na,x,1,1,1\n", "reference_mm", "value_deg",
         "remove"},
        {HEAD "a\x01,x,1,0.1\n", "line 2", "control character 1", "plain text"},
        {HEAD "\xC0\x80,x,1,0.1\n", "line 2", "0xC0", "UTF-8"},
        {HEAD "\xED\xA0\x80,x,1,0.1\n", "line 2", "0xED", "UTF-8"},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        expect_refused(gauge(row[i].text), &row[i], g.row);
}

Test(studyfile, hits_signals_and_sweeps_are_told_by_their_columns)
{
    cr_assert_eq(detect("size_mm,hit\n0.1,1\n0.05,0\n0.2,yes\n0,no\n"), RG_OK, "%s", err.text);
    cr_expect(d.input == RG_DETECT_HITS && d.rows == 4);
    cr_expect(d.row[0].hit && !d.row[1].hit && d.row[2].hit && !d.row[3].hit);
    cr_expect(d.row[1].size_mm == 0.05 && d.row[3].size_mm == 0 && d.row[3].line == 5);
    rg_detect_file_free(&d);
    cr_assert_eq(detect("signal,size_mm\n0.1,0.11\n<0.02,0.01\n> 0.5,0.6\n-3,0.2\n"), RG_OK, "%s",
                 err.text);
    cr_expect(d.input == RG_DETECT_SIGNALS && d.rows == 4);
    cr_expect(d.row[0].censor == RG_CENSOR_NONE && d.row[0].signal == 0.1);
    cr_expect(d.row[1].censor == RG_CENSOR_BELOW && d.row[1].signal == 0.02);
    cr_expect(d.row[2].censor == RG_CENSOR_ABOVE && d.row[2].signal == 0.5);
    cr_expect_eq(d.row[3].signal, -3);
    rg_detect_file_free(&d);
    cr_assert_eq(detect("sweep,truth\n../a,b.json\nc,0.10\n"), RG_OK, "%s", err.text);
    cr_expect(d.input == RG_DETECT_SWEEPS && d.rows == 2);
    cr_expect_str_eq(d.row[0].truth, "b.json");
    cr_expect(isnan(d.row[0].truth_mm));
    cr_expect_str_eq(d.row[1].truth, "");
    cr_expect_eq(d.row[1].truth_mm, 0.10);
    rg_detect_file_free(&d);
}

Test(studyfile, refusals_of_detect_tables_name_line_column_and_remedy)
{
    static const refusal row[] = {
        {"size_mm\n1\n", "size_mm and hit", "sweep and truth", ""},
        {"size_mm,hit,signal\n1,1,1\n", "size_mm and hit", "or", ""},
        {"sweep,hit\na,1\n", "sweep and truth", "", ""},
        {"size_mm,hit\n", "no row", "targets", ""},
        {"size_mm,hit\n0.1,maybe\n", "line 2", "hit = maybe", "1 (found)"},
        {"size_mm,hit\n-0.1,1\n", "line 2", "size_mm = -0.1", "from 0"},
        {"size_mm,signal\n0.1,<\n", "line 2", "signal = <", "<0.01"},
        {"size_mm,signal\n0.1,inf\n", "line 2", "signal = inf", ""},
        {"sweep,truth\na,\n", "line 2", "truth is empty", "fill"},
        {"sweep,truth\na,-1\n", "line 2", "truth = -1", "from 0"},
        {"sweep,truth\n,1\n", "line 2", "sweep is empty", ""},
        {"part,hit\n", "unknown column", "part", "size_mm"},
    };
    for (size_t i = 0; i < sizeof row / sizeof *row; i++)
        expect_refused(detect(row[i].text), &row[i], d.row);
}

/* `head`, then n lines made from a format with the line's number. */
static char *many(const char *head, const char *format, int n)
{
    size_t room = strlen(head) + (size_t)n * 40 + 1, used = strlen(head);
    char *text = rg_alloc(room, 1);
    cr_assert_not_null(text);
    memcpy(text, head, used);
    for (int i = 0; i < n; i++)
        used += (size_t)snprintf(text + used, room - used, format, i, i);
    return text;
}

Test(studyfile, limits_hold_at_the_door)
{
    char *rows = many("size_mm,hit\n", "0.%d,1\n", RG_STUDY_ROWS_MAX);
    cr_expect_eq(detect(rows), RG_OK, "%s", err.text);
    cr_expect_eq(d.rows, RG_STUDY_ROWS_MAX);
    rg_detect_file_free(&d);
    free(rows);
    rows = many("size_mm,hit\n", "0.%d,1\n", RG_STUDY_ROWS_MAX + 1);
    cr_expect_eq(detect(rows), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "line 10002: more than 10000 rows"), "%s", err.text);
    free(rows);
    rows = many(HEAD, "p%d,x,1,0.%d\n", RG_STUDY_LEVELS + 1);
    cr_expect_eq(gauge(rows), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "part = p200: more than 200"), "%s", err.text);
    free(rows);
    char wide[RG_STUDY_COLUMNS_MAX + 2];
    memset(wide, ',', sizeof wide);
    wide[0] = 'a';
    wide[sizeof wide - 1] = 0;
    cr_expect_eq(gauge(wide), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "more than 32 cells"), "%s", err.text);
    char *big = rg_alloc(RG_STUDY_MAX_BYTES + 1, 1);
    err = (rg_error){0};
    cr_expect_eq(rg_detect_file_parse("t.csv", big, RG_STUDY_MAX_BYTES + 1, &d, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "bytes"), "%s", err.text);
    cr_expect_eq(rg_detect_file_parse("t.csv", big, 40, &d, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "byte 0"), "%s", err.text);
    free(big);
    char name[200] = HEAD;
    memset(name + strlen(name), 'n', 64);
    strcat(name, ",x,1,0.1\n");
    cr_expect_eq(gauge(name), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "63 bytes"), "%s", err.text);
}

Test(studyfile, the_sample_tables_are_read)
{
    test_bytes file = test_load("samples/study/gauge.csv");
    cr_assert_eq(rg_gauge_file_parse("gauge.csv", (const char *)file.data, file.size, &g, &err),
                 RG_OK, "%s", err.text);
    cr_expect(g.parts == 5 && g.persons == 3 && g.repeats == 3);
    rg_gauge_file_free(&g);
    free(file.data);
    file = test_load("samples/study/detect.csv");
    cr_assert_eq(rg_detect_file_parse("detect.csv", (const char *)file.data, file.size, &d, &err),
                 RG_OK, "%s", err.text);
    cr_expect(d.rows == 7 && d.input == RG_DETECT_SWEEPS);
    rg_detect_file_free(&d);
    free(file.data);
}

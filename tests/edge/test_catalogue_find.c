/*
 * Tests of catalogue.h: questions. What the index answers is compared with a filter over the same
 * rows that is written here anew, in plain C.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/catalogue.h"
#include "support/scene.h"
#include "support/scratch.h"
#include "support/visits.h"

enum { VISITS = 150 };

static char folder[TEST_SCRATCH_PATH], path[TEST_SCRATCH_PATH + 32];
static rg_catalogue *catalogue;
static rg_error err;
static test_visit *all; /* in the order of time, then bag */

static void must(rg_code code)
{
    cr_assert_eq(code, RG_OK, "%d: %s", code, err.text);
}

static int by_time(const void *a, const void *b)
{
    const rg_catalogue_inspection *p = &((const test_visit *)a)->row,
                                  *q = &((const test_visit *)b)->row;
    if (p->time != q->time)
        return p->time < q->time ? -1 : 1;
    return strcmp(p->bag, q->bag);
}

/* The pointers of a visit that was moved. */
static void settle(test_visit *v)
{
    v->row.pad = v->pad;
    v->row.value = v->value;
    for (int i = 0; i < TEST_PADS; i++)
        v->pad[i].arc = v->arc[i];
}

static void make_visits(void)
{
    all = calloc(VISITS, sizeof *all);
    cr_assert(all);
    for (int i = 0; i < VISITS; i++) {
        test_visit_make(&all[i], i, VISITS, 3);
        rg_catalogue_inspection *r = &all[i].row;
        if (i % 10 == 3) /* at the same second as the one before */
            r->time = all[i - 1].row.time;
        if (i % 7 == 0)
            r->pads = i % 5;
        if (i % 11 == 5) /* a pad swept twice */
            snprintf(all[i].pad[8].pad, sizeof all[i].pad[8].pad, "C");
        if (i % 13 == 1)
            snprintf(r->technician, sizeof r->technician, "Bench [%c]?", 'A' + i % 3);
        if (i % 6 == 2)
            snprintf(all[i].pad[2].station, sizeof all[i].pad[2].station, "bench*");
    }
    qsort(all, VISITS, sizeof *all, by_time);
    for (int i = 0; i < VISITS; i++)
        settle(&all[i]);
}

static void begin(void)
{
    test_random random = {12};
    cr_assert(test_scratch_make(folder));
    snprintf(path, sizeof path, "%s/index.sqlite", folder);
    must(rg_catalogue_open(path, RG_CATALOGUE_WRITE, &catalogue, &err));
    make_visits();
    int order[VISITS];
    for (int i = 0; i < VISITS; i++) {
        int j = (int)(test_uniform(&random) * (i + 1)) % (i + 1);
        order[i] = order[j];
        order[j] = i;
    }
    must(rg_catalogue_begin(catalogue, &err));
    for (int i = 0; i < VISITS; i++)
        must(rg_catalogue_put(catalogue, &all[order[i]].row, &err));
    must(rg_catalogue_end(catalogue, true, &err));
}

static void finish(void)
{
    rg_catalogue_close(catalogue);
    free(all);
    test_scratch_remove(folder);
}

TestSuite(catalogue_find, .init = begin, .fini = finish);

/* ---------------------------------------------------------------- the filter anew */

static bool matches(const char *pattern, const char *text)
{
    if (*pattern == '*')
        return matches(pattern + 1, text) || (*text && matches(pattern, text + 1));
    return *pattern == *text && (!*pattern || matches(pattern + 1, text + 1));
}

static bool fits(const char *asked, const char *text)
{
    return !asked || !*asked || matches(asked, text);
}

static bool pad_fits(const rg_catalogue_query *q, const rg_catalogue_pad *p)
{
    return fits(q->pad, p->pad) && fits(q->pad_verdict, p->verdict) && fits(q->station, p->station);
}

static bool some_pad_fits(const rg_catalogue_query *q, const rg_catalogue_inspection *r)
{
    if (!(q->pad && *q->pad) && !(q->pad_verdict && *q->pad_verdict) &&
        !(q->station && *q->station))
        return true;
    for (int i = 0; i < r->pads; i++)
        if (pad_fits(q, &r->pad[i]))
            return true;
    return false;
}

static bool row_fits(const rg_catalogue_query *q, const rg_catalogue_inspection *r)
{
    return fits(q->serial, r->serial) && fits(q->model, r->model) &&
           fits(q->technician, r->technician) && fits(q->occasion, r->occasion) &&
           fits(q->verdict, r->verdict) && (!q->since || r->time >= q->since) &&
           (!q->until || r->time < q->until);
}

/* Indices of what fits, in the order asked for, without limit and offset. */
static int expected_rows(const rg_catalogue_query *q, int index[VISITS])
{
    int n = 0;
    for (int i = 0; i < VISITS; i++) {
        const rg_catalogue_inspection *r = &all[q->oldest_first ? i : VISITS - 1 - i].row;
        if (row_fits(q, r) && some_pad_fits(q, r))
            index[n++] = q->oldest_first ? i : VISITS - 1 - i;
    }
    return n;
}

static void expect_counts(const rg_catalogue_list *list, int at, const rg_catalogue_inspection *r)
{
    int leaking = 0, undecided = 0, sealed = 0, swept = 0;
    for (int i = 0; i < r->pads; i++) {
        bool again = false;
        leaking += r->pad[i].verdict[0] == 'l';
        undecided += r->pad[i].verdict[0] == 'u';
        sealed += r->pad[i].verdict[0] == 's';
        for (int k = 0; k < i; k++)
            again = again || strcmp(r->pad[k].pad, r->pad[i].pad) == 0;
        swept += !again;
    }
    cr_expect(list->leaking[at] == leaking && list->undecided[at] == undecided &&
                  list->sealed[at] == sealed && list->swept[at] == swept,
              "%s: %d %d %d %d, not %d %d %d %d", r->bag, list->leaking[at], list->undecided[at],
              list->sealed[at], list->swept[at], leaking, undecided, sealed, swept);
}

static void describe(const rg_catalogue_query *q, char text[400])
{
    snprintf(text, 400,
             "serial %s model %s technician %s occasion %s station %s verdict %s pad %s "
             "pad verdict %s since %lld until %lld limit %d offset %d oldest first %d",
             q->serial, q->model, q->technician, q->occasion, q->station, q->verdict, q->pad,
             q->pad_verdict, (long long)q->since, (long long)q->until, q->limit, q->offset,
             q->oldest_first);
}

static void expect_list(const rg_catalogue_query *q)
{
    int index[VISITS], count = -1, fitting = expected_rows(q, index);
    int first = q->offset < fitting ? q->offset : fitting;
    int rows = q->limit && q->limit < fitting - first ? q->limit : fitting - first;
    char text[400];
    rg_catalogue_list list;
    describe(q, text);
    must(rg_catalogue_count(catalogue, q, &count, &err));
    cr_expect_eq(count, fitting, "%s: counts %d, not %d", text, count, fitting);
    must(rg_catalogue_find(catalogue, q, &list, &err));
    cr_expect_eq(list.count, rows, "%s: %d rows, not %d", text, list.count, rows);
    for (int i = 0; i < list.count && i < rows; i++) {
        const rg_catalogue_inspection *r = &all[index[first + i]].row;
        cr_expect_str_eq(list.row[i].bag, r->bag, "%s: row %d", text, i);
        cr_expect(list.row[i].pads == 0 && list.row[i].pad == NULL && list.row[i].values == 0);
        cr_expect(strcmp(list.row[i].note, r->note) == 0 && list.row[i].bytes == r->bytes);
        expect_counts(&list, i, r);
    }
    rg_catalogue_list_free(&list);
}

static bool same_number(double a, double b)
{
    return isnan(a) ? isnan(b) : a == b;
}

static void expect_sweep(const rg_catalogue_sweep *s, const rg_catalogue_inspection *r,
                         const rg_catalogue_pad *p)
{
    cr_expect_str_eq(s->bag, r->bag);
    cr_expect_str_eq(s->serial, r->serial);
    cr_expect_str_eq(s->model, r->model);
    cr_expect_str_eq(s->pad, p->pad);
    cr_expect_str_eq(s->name, p->name);
    cr_expect_str_eq(s->verdict, p->verdict);
    cr_expect_str_eq(s->station, p->station);
    cr_expect_str_eq(s->finger, p->finger);
    cr_expect(s->sequence == r->sequence && s->position == p->position && s->time == r->time);
    cr_expect(
        same_number(s->tolerance_mm, p->tolerance_mm) && same_number(s->widest_mm, p->widest_mm) &&
        same_number(s->u_widest_mm, p->u_widest_mm) && same_number(s->widest_deg, p->widest_deg) &&
        same_number(s->mean_mm, p->mean_mm) && same_number(s->u_mean_mm, p->u_mean_mm));
    cr_expect(same_number(s->radiance, p->radiance) &&
              same_number(s->u_radiance_ln, p->u_radiance_ln) &&
              same_number(s->psf_sigma_px, p->psf_sigma_px));
    cr_expect(s->calibration_day == p->calibration_day && s->seen == p->seen);
}

static void expect_sweeps(const rg_catalogue_query *q)
{
    rg_catalogue_sweeps sweeps;
    char text[400];
    int n = 0, skipped = 0;
    describe(q, text);
    must(rg_catalogue_sweeps_find(catalogue, q, &sweeps, &err));
    for (int i = 0; i < VISITS; i++)
        for (int p = 0; p < all[i].row.pads; p++) {
            if (!row_fits(q, &all[i].row) || !pad_fits(q, &all[i].pad[p]) ||
                (q->limit && n == q->limit) || skipped++ < q->offset)
                continue;
            cr_assert_lt(n, sweeps.count, "%s: too few", text);
            expect_sweep(&sweeps.row[n++], &all[i].row, &all[i].pad[p]);
        }
    cr_expect_eq(n, sweeps.count, "%s: %d sweeps, not %d", text, sweeps.count, n);
    rg_catalogue_sweeps_free(&sweeps);
}

static void expect_both(const rg_catalogue_query *q)
{
    expect_list(q);
    expect_sweeps(q);
}

/* ---------------------------------------------------------------- questions */

Test(catalogue_find, no_question_gives_everything_newest_first)
{
    expect_both(&(rg_catalogue_query){0});
    expect_both(&(rg_catalogue_query){.oldest_first = true});
    expect_both(&(rg_catalogue_query){.serial = "", .model = "", .pad = "", .verdict = ""});
}

Test(catalogue_find, each_filter_alone)
{
    int64_t since = all[40].row.time, until = all[90].row.time;
    const rg_catalogue_query query[] = {
        {.serial = "PE-A-0005"},
        {.model = "Port Ellery loan tenor (demo)"},
        {.technician = "Apprentice"},
        {.occasion = "season check"},
        {.station = "visiting case"},
        {.verdict = "sealed"},
        {.verdict = "leaking"},
        {.pad = "G sharp"},
        {.pad_verdict = "undecided"},
        {.pad = "low B flat", .pad_verdict = "leaking"},
        {.since = since},
        {.until = until},
        {.since = since, .until = until},
        {.since = until, .until = since},
        {.serial = "pe-a-0005"},
        {.serial = "PE-A-0005 "},
        {.pad = "no such pad"},
    };
    for (size_t i = 0; i < sizeof query / sizeof *query; i++)
        expect_both(&query[i]);
}

Test(catalogue_find, only_the_star_is_special)
{
    static const char *const pattern[] = {
        "*",     "**", "PE-A*", "*-0003", "PE*0*3",     "P?-A-0005",  "[P]E-A-0005", "PE-[A-T]*",
        "*[*",   "*?", "*]*",   "*[A]?",  "Bench [A]?", "Bench [*]?", "Bench*",      "bench*",
        "_E-A%", "%",  "\\*",   "*\\",    "*'*",        "PE-A-0005*", "*PE-A-0005",  "***a***e***"};
    for (size_t i = 0; i < sizeof pattern / sizeof *pattern; i++) {
        expect_both(&(rg_catalogue_query){.serial = pattern[i]});
        expect_both(&(rg_catalogue_query){.technician = pattern[i]});
        expect_both(&(rg_catalogue_query){.station = pattern[i]});
    }
    expect_both(&(rg_catalogue_query){.pad = "*G*", .pad_verdict = "*ea*"});
}

/* Were every star to try every place, this would outlast the night. */
Test(catalogue_find, patterns_of_many_stars_come_to_an_end, .timeout = 60)
{
    char pattern[RG_CATALOGUE_NAME], text[RG_CATALOGUE_NAME];
    for (int i = 0; i < RG_CATALOGUE_NAME; i++) {
        pattern[i] = i % 2 ? 'a' : '*';
        text[i] = 'a';
    }
    pattern[RG_CATALOGUE_NAME - 2] = 'b';
    pattern[RG_CATALOGUE_NAME - 1] = text[RG_CATALOGUE_NAME - 1] = 0;
    memcpy(all[0].row.model, text, sizeof text);
    must(rg_catalogue_put(catalogue, &all[0].row, &err));
    int count = -1;
    must(rg_catalogue_count(catalogue, &(rg_catalogue_query){.model = pattern}, &count, &err));
    cr_expect_eq(count, 0);
}

Test(catalogue_find, limit_and_offset_cut_the_same_list)
{
    static const int limit[] = {0, 1, 7, 50, 1000}, offset[] = {0, 1, 13, 149, 150, 500};
    for (int l = 0; l < 5; l++)
        for (int o = 0; o < 6; o++) {
            expect_both(&(rg_catalogue_query){.limit = limit[l], .offset = offset[o]});
            expect_both(&(rg_catalogue_query){.verdict = "leaking",
                                              .limit = limit[l],
                                              .offset = offset[o],
                                              .oldest_first = true});
        }
}

/* Any mixture of filters, with values that occur. */
Test(catalogue_find, filters_combined)
{
    test_random random = {2024};
    int some = 0;
    for (int i = 0; i < 400; i++) {
        const test_visit *v = &all[(int)(test_uniform(&random) * VISITS) % VISITS];
        const rg_catalogue_pad *p = &v->pad[(int)(test_uniform(&random) * TEST_PADS) % TEST_PADS];
        int asked = (int)(test_uniform(&random) * 1024), index[VISITS];
        rg_catalogue_query q = {
            .serial = asked & 1 ? "PE-*-000*" : NULL,
            .model = asked & 2 ? v->row.model : NULL,
            .technician = asked & 4 ? v->row.technician : NULL,
            .occasion = asked & 8 ? v->row.occasion : NULL,
            .station = asked & 16 ? p->station : NULL,
            .verdict = asked & 32 ? v->row.verdict : NULL,
            .pad = asked & 64 ? p->pad : NULL,
            .pad_verdict = asked & 128 ? p->verdict : NULL,
            .since = asked & 256 ? v->row.time : 0,
            .until = asked & 512 ? v->row.time + 90 * 86400 : 0,
            .limit = i % 3 ? 0 : 5,
            .oldest_first = i % 2,
        };
        expect_both(&q);
        some += expected_rows(&q, index) > 0;
    }
    cr_expect_gt(some, 100, "only %d of the questions have an answer", some);
}

Test(catalogue_find, pad_verdict_and_station_are_of_the_same_sweep)
{
    test_visit *v = &all[10];
    for (int i = 0; i < TEST_PADS; i++) {
        snprintf(v->pad[i].verdict, sizeof v->pad[i].verdict, i == 4 ? "leaking" : "sealed");
        snprintf(v->pad[i].station, sizeof v->pad[i].station, i == 4 ? "far" : "near");
    }
    v->row.pads = TEST_PADS;
    must(rg_catalogue_put(catalogue, &v->row, &err));
    int count;
    must(rg_catalogue_count(
        catalogue, &(rg_catalogue_query){.station = "far", .pad_verdict = "sealed"}, &count, &err));
    cr_expect_eq(count, 0);
    must(rg_catalogue_count(
        catalogue,
        &(rg_catalogue_query){.station = "far", .pad_verdict = "leaking", .pad = v->pad[4].pad},
        &count, &err));
    cr_expect_eq(count, 1);
}

Test(catalogue_find, questions_within_a_transaction_see_it)
{
    int count;
    must(rg_catalogue_begin(catalogue, &err));
    must(rg_catalogue_remove(catalogue, all[0].row.bag, &err));
    must(rg_catalogue_count(catalogue, &(rg_catalogue_query){0}, &count, &err));
    cr_expect_eq(count, VISITS - 1);
    rg_catalogue_list list;
    must(rg_catalogue_find(catalogue, &(rg_catalogue_query){0}, &list, &err));
    cr_expect_eq(list.count, VISITS - 1);
    rg_catalogue_list_free(&list);
    must(rg_catalogue_end(catalogue, false, &err));
    expect_both(&(rg_catalogue_query){0});
}

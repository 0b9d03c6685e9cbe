/*
 * Tests of draw_archive.h: every picture in every format with all kinds of input; what it says, read
 * back from the PDF by poppler's pdftotext; marks where the numbers put them, measured in the PNG.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/draw_archive.h"
#include "rimglow/vec.h"
#include "support/print.h"

static rg_error err;

TestSuite(draw_archive, .fini = test_release_fonts, .timeout = 60);

static rg_code change_of(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_change(args, format, out, e);
}

static rg_code history_of(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_history(args, format, out, e);
}

static rg_code batch_of(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_batch(args, format, out, e);
}

static rg_image picture(test_draw *routine, const void *args)
{
    return test_picture(routine, args, RG_ARCHIVE_WIDTH, RG_ARCHIVE_HEIGHT);
}

static void says(test_draw *routine, const void *args, const char *const *word, int n)
{
    rg_bytes pdf = test_drawn(routine, args, RG_PICTURE_PDF);
    char *words = test_pdf_words(pdf.data, pdf.size);
    for (int i = 0; i < n; i++)
        cr_expect(strstr(words, word[i]) != NULL, "\"%s\" is not in: %s", word[i], words);
    free(words);
    free(pdf.data);
}

#define SAYS(routine, args, ...)                                                                   \
    says(routine, args, (const char *const[]){__VA_ARGS__},                                        \
         (int)(sizeof(const char *const[]){__VA_ARGS__} / sizeof(const char *)))

static void all_formats(test_draw *routine, const void *args)
{
    test_all_formats(routine, args, RG_ARCHIVE_WIDTH, RG_ARCHIVE_HEIGHT);
}

/* By librsvg, which aborts the test when it refuses the file. */
static void expect_svg(test_draw *routine, const void *args)
{
    rg_bytes svg = test_drawn(routine, args, RG_PICTURE_SVG);
    test_print print = test_print_svg(svg.data, svg.size);
    cr_expect(print.width >= RG_ARCHIVE_WIDTH);
    test_print_free(&print);
    free(svg.data);
}

static const char *const hostile[] = {
    NULL,
    "",
    "<b>&\"'</b>]]>",
    "\xFF\xFE\x80 \x01\n\t",
    "%s%n%d",
    "a very long name that somebody did write although nobody would ever put it on any label of "
    "any case, since it would not fit on one, nor on two of them, and so has to be cut somewhere"};
enum { HOSTILE = sizeof hostile / sizeof *hostile };

/* ------------------------------------------------------------------ change */

static rg_seal_map before, after;
static rg_change change;

static void gap_at(rg_seal_map *map, int first, int count, double width)
{
    for (int k = 0; k < count; k++) {
        rg_bin *bin = &map->bin[(first + k) % RG_BINS];
        *bin = (rg_bin){.bearing_deg = (first + k) % RG_BINS,
                        .width_mm = width,
                        .u_mm = 0.004,
                        .detection_limit_mm = 0.01,
                        .frames = 5,
                        .lit = 4,
                        .state = RG_BIN_GAP};
    }
}

static void unseen_at(rg_seal_map *map, int first, int count)
{
    for (int k = 0; k < count; k++)
        map->bin[(first + k) % RG_BINS] = (rg_bin){.bearing_deg = (first + k) % RG_BINS,
                                                   .width_mm = NAN,
                                                   .u_mm = NAN,
                                                   .detection_limit_mm = INFINITY,
                                                   .state = RG_BIN_UNSEEN};
}

static rg_seal_map dark_map(void)
{
    rg_seal_map map = {.rim_outer_diameter_mm = 20};
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] = (rg_bin){.bearing_deg = b,
                              .u_mm = 0.0025,
                              .detection_limit_mm = 0.008,
                              .frames = 5,
                              .state = RG_BIN_SEALED};
    return map;
}

static rg_draw_change_args compared(void)
{
    rg_change_options o = {2, 1.5, 6};
    cr_assert_eq(rg_change_find(&before, &after, &o, &change, &err), RG_OK, "%s", err.text);
    return (rg_draw_change_args){.before = &before,
                                 .after = &after,
                                 .change = &change,
                                 .serial = "PE-A-0147",
                                 .pad = "G",
                                 .before_label = "2026-10-02 as received",
                                 .after_label = "2026-11-25 after repair",
                                 .tolerance_mm = 0.025,
                                 .coverage_factor = 2};
}

/* Wider by 0.1 at 160..239 (0.150 at 180..219), narrower at 300..329, unseen at 40..69. */
static rg_draw_change_args mixed(void)
{
    before = after = dark_map();
    gap_at(&before, 160, 80, 0.05);
    gap_at(&before, 300, 30, 0.06);
    gap_at(&after, 160, 80, 0.15);
    unseen_at(&after, 40, 30);
    before.verdict = RG_VERDICT_LEAKING;
    after.verdict = RG_VERDICT_UNDECIDED;
    return compared();
}

Test(draw_archive, change_says_its_result_in_words)
{
    rg_draw_change_args args = mixed();
    SAYS(change_of, &args, "pad G of PE-A-0147", "Wider by 0.100", "narrower by 0.060",
         "160\u00b0 to 240\u00b0", "2026-10-02 as received", "(leaking)", "(undecided)",
         "2026-11-25 after repair", "330 comparable bearings", "30 of 360", "not comparable",
         "tolerance 0.025 mm", "bearing from the key arm");
}

Test(draw_archive, no_change_and_nothing_to_compare_are_said)
{
    before = after = dark_map();
    rg_draw_change_args args = compared();
    SAYS(change_of, &args, "No change shown", "360 comparable bearings");
    unseen_at(&after, 0, 360);
    args = compared();
    SAYS(change_of, &args, "Nothing can be compared", "360 of 360");
}

Test(draw_archive, turned_crown_is_hinted_at)
{
    before = after = dark_map();
    for (int k = 0; k < 60; k++) {
        gap_at(&before, 150 + k, 1, 0.1 * sin(k / 60.0 * RG_PI));
        gap_at(&after, 142 + k, 1, 0.1 * sin(k / 60.0 * RG_PI));
    }
    rg_draw_change_args args = compared();
    SAYS(change_of, &args, "turned clockwise by 8.0\u00b0");
}

/* Strips: bearings 0..360 on x 116..1356; change from y 806, 128 px high, 0 in the middle. */
static int strip_x(double bearing)
{
    return (int)lround(116 + 1240 * bearing / 360);
}

Test(draw_archive, change_stands_at_its_bearing)
{
    rg_draw_change_args args = mixed();
    rg_image m = picture(change_of, &args);
    int zero = 806 + 64;
    cr_expect_gt(test_ink(&m, strip_x(170), zero - 40, strip_x(230), zero - 6), 60 * 30,
                 "wider: black above the line");
    cr_expect_eq(test_ink(&m, strip_x(170), zero + 6, strip_x(230), zero + 40), 0);
    int crossed = test_ink(&m, strip_x(305), zero + 6, strip_x(325), zero + 20);
    int area = (strip_x(325) - strip_x(305)) * 14;
    cr_expect(crossed > area / 5 && crossed < area * 9 / 10, "narrower: crossed below the line");
    cr_expect_gt(test_ink(&m, strip_x(45), zero - 55, strip_x(65), zero - 6), 100,
                 "unseen: hatched");
    cr_expect_eq(test_ink(&m, strip_x(95), zero - 55, strip_x(115), zero - 8), 0,
                 "unchanged: empty");
    rg_image_free(&m);
}

Test(draw_archive, both_outlines_stand_on_the_ring)
{
    rg_draw_change_args args = mixed();
    rg_image m = picture(change_of, &args);
    /* The outer ring is 0.2 mm at radius 190, the rim at 92; key arm up, clockwise. */
    double ring_before = 92 + 98 * 0.05 / 0.2, ring_after = 92 + 98 * 0.15 / 0.2;
    int solid = 0, dashed = 0, n = 0;
    for (int b = 170; b < 230; b += 1, n++) {
        double s = sin(rg_radians(b)), c = cos(rg_radians(b));
        solid += test_tone(&m, (int)lround(300 + ring_after * s),
                           (int)lround(352 - ring_after * c)) < 128;
        dashed += test_tone(&m, (int)lround(300 + ring_before * s),
                            (int)lround(352 - ring_before * c)) < 128;
    }
    cr_expect_geq(solid, n - 2, "%d of %d", solid, n);
    cr_expect(dashed > n / 4 && dashed < 4 * n / 5, "%d of %d", dashed, n);
    rg_image_free(&m);
}

static void many_arcs(int every)
{
    before = after = dark_map();
    for (int b = 0; b + 7 < RG_BINS; b += every)
        gap_at(b / every % 2 ? &before : &after, b, 7, 0.05 + 0.0002 * b);
}

Test(draw_archive, change_of_any_kind_fits_its_page)
{
    for (int i = 0; i < 6; i++) {
        before = after = dark_map();
        if (i == 0)
            many_arcs(8);
        if (i == 1)
            many_arcs(40);
        if (i == 2)
            gap_at(&after, 0, 360, 90);
        if (i == 3)
            unseen_at(&before, 0, 360);
        if (i == 4)
            gap_at(&before, 355, 10, 0.0001);
        if (i == 5)
            gap_at(&after, 350, 20, 0.1);
        rg_draw_change_args args = compared();
        all_formats(change_of, &args);
    }
}

Test(draw_archive, arcs_that_do_not_fit_are_counted)
{
    many_arcs(8);
    rg_draw_change_args args = compared();
    cr_assert_gt(change.arcs, 10);
    char more[64];
    snprintf(more, sizeof more, "+ %d more arcs", change.arcs - 8);
    SAYS(change_of, &args, more);
}

Test(draw_archive, change_with_hostile_texts)
{
    rg_draw_change_args args = mixed();
    for (int i = 0; i < HOSTILE; i++) {
        args.serial = args.pad = args.before_label = args.after_label = hostile[i];
        all_formats(change_of, &args);
        expect_svg(change_of, &args);
    }
}

/* ----------------------------------------------------------------- history */

static rg_history_point point[RG_HISTORY_MAX + 50];

static rg_draw_history_args visits(int n, int days)
{
    for (int i = 0; i < n; i++)
        point[i] = (rg_history_point){.time = 1790000000 + (int64_t)i * days * 86400,
                                      .widest_mm = i % 5 == 3 ? NAN : 0.02 + 0.001 * i,
                                      .u_widest_mm = 0.004,
                                      .mean_mm = 0.01,
                                      .u_mean_mm = 0.002,
                                      .seen = 360 - i,
                                      .verdict = (rg_verdict)(i % 3),
                                      .label = i % 2 ? "as received" : NULL};
    return (rg_draw_history_args){.point = point,
                                  .count = n,
                                  .serial = "PE-A-0147",
                                  .pad = "G",
                                  .tolerance_mm = 0.025,
                                  .coverage_factor = 2};
}

Test(draw_archive, history_of_any_length_fits_its_page)
{
    static const int size[][2] = {{0, 1},  {1, 1},   {2, 0},   {7, 31},
                                  {40, 3}, {200, 9}, {250, 1}, {12, 4000}};
    for (int i = 0; i < 8; i++) {
        rg_draw_history_args args = visits(size[i][0], size[i][1]);
        all_formats(history_of, &args);
    }
}

Test(draw_archive, history_says_now_and_then)
{
    rg_draw_history_args args = visits(8, 30);
    /* 2026-09-21 14:13:20 UTC is 1790000000 (date -u); the eighth visit is the seventh month later */
    SAYS(history_of, &args, "8 visits: pad G of PE-A-0147",
         "Now leaking, widest gap 0.027 \u00b1 0.008 mm; at first sealed, widest gap 0.020",
         "as received", "none", "tolerance 0.025 mm", "rim seen, %", "2027-0");
    args = visits(1, 1);
    SAYS(history_of, &args, "One visit: sealed, widest gap 0.020", "2026-09-21");
    args = visits(0, 1);
    SAYS(history_of, &args, "No visit yet");
    args = visits(4, 1);
    SAYS(history_of, &args, "Now sealed, no gap measured");
    point[3].seen = 0;
    SAYS(history_of, &args, "nothing seen");
}

Test(draw_archive, visits_that_are_left_out_are_told)
{
    rg_draw_history_args args = visits(RG_HISTORY_MAX + 50, 1);
    SAYS(history_of, &args, "250 visits", "50 older visits are not drawn", "at first undecided");
    args = visits(RG_HISTORY_MAX, 1);
    rg_bytes a = test_drawn(history_of, &args, RG_PICTURE_PNG);
    args = visits(RG_HISTORY_MAX + 50, 1);
    args.count = RG_HISTORY_MAX;
    rg_bytes b = test_drawn(history_of, &args, RG_PICTURE_PNG);
    cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0);
    free(a.data);
    free(b.data);
}

/* Two visits stand 5 % of the time between them from the ends: x = 116 + 1010 * 0.05 / 1.1. Widest gap:
 * y from 150, 360 px for 1.12 times 0.09 mm and U. */
Test(draw_archive, visits_stand_at_date_and_width)
{
    rg_draw_history_args args = visits(2, 100);
    point[0].widest_mm = 0.09;
    point[0].u_widest_mm = 0.005;
    point[0].verdict = RG_VERDICT_LEAKING;
    rg_image m = picture(history_of, &args);
    int x = (int)lround(116 + 1010 * 0.05 / 1.1);
    int y = (int)lround(150 + 360 * (1 - 0.09 / (1.12 * 0.1)));
    int far = (int)lround(116 + 1010 * 1.05 / 1.1);
    cr_expect_gt(test_ink(&m, x - 8, y - 8, x + 9, y + 9), 17 * 17 / 2, "a black square");
    cr_expect_gt(test_ink(&m, x - 1, y - 30, x + 2, y - 12), 16, "its whisker");
    cr_expect_eq(test_ink(&m, x - 40, y - 8, x - 16, y + 9), 0, "nothing beside");
    y = (int)lround(150 + 360 * (1 - 0.021 / (1.12 * 0.1)));
    cr_expect_gt(test_ink(&m, far - 12, y - 12, far + 13, y + 13), 60, "the second mark");
    rg_image_free(&m);
}

Test(draw_archive, history_with_hostile_values_and_texts)
{
    static const double bad[] = {NAN, INFINITY, -INFINITY, -1, 1e300, 0};
    for (int i = 0; i < HOSTILE; i++) {
        rg_draw_history_args args = visits(6, 10);
        args.serial = args.pad = hostile[i];
        for (int k = 0; k < 6; k++) {
            point[k].label = hostile[i];
            point[k].widest_mm = bad[(i + k) % 6];
            point[k].u_widest_mm = bad[(i + 2 * k) % 6];
            point[k].mean_mm = bad[(i + k + 1) % 6];
            point[k].u_mean_mm = bad[(i + k + 2) % 6];
            point[k].seen = k % 2 ? -5 : 1000000;
        }
        point[0].time = INT64_MIN;
        point[5].time = INT64_MAX;
        all_formats(history_of, &args);
        expect_svg(history_of, &args);
    }
}

/* ------------------------------------------------------------------- batch */

enum { SWEEPS_MOST = 6000 };
static rg_batch_sweep sweep[SWEEPS_MOST];
static char serial[SWEEPS_MOST][24], pad_name[30][24], model_name[10][24], station_name[10][24];

/* Pad k of every model leaks in every (k + 2)nd sweep, all else seals. */
static int sweeps_of(int n, int models, int pads, int stations)
{
    for (int i = 0; i < n; i++) {
        int visit = i / pads, pad = i % pads, model = visit % models, place = visit % stations;
        snprintf(serial[i], sizeof serial[i], "PE-%05d", visit % 1000);
        snprintf(pad_name[pad], sizeof pad_name[pad], "p%02d", pad);
        snprintf(model_name[model], sizeof model_name[model], "alto %d", model);
        snprintf(station_name[place], sizeof station_name[place], "bench%d", place);
        bool leaks = visit / models % (pad + 2) == 0;
        sweep[i] = (rg_batch_sweep){.serial = serial[i],
                                    .model = model_name[model],
                                    .pad = pad_name[pad],
                                    .station = station_name[place],
                                    .bag = "0001",
                                    .position = pad,
                                    .time = 1790000000 + (int64_t)visit * 43200,
                                    .verdict = leaks ? RG_VERDICT_LEAKING : RG_VERDICT_SEALED,
                                    .radiance = (1 + pad) * exp(-0.01 * visit),
                                    .psf_sigma_px = 0.8 + 0.01 * (i % 7)};
    }
    return n;
}

static rg_draw_batch_args summed(rg_batch *batch, int n)
{
    cr_assert_eq(rg_batch_sum(sweep, n, 0.95, batch, &err), RG_OK, "%s", err.text);
    return (rg_draw_batch_args){batch, sweep, "2026-11-01 to 2026-12-01"};
}

Test(draw_archive, batch_of_any_size_fits_its_page)
{
    static const int size[][4] = {{0, 1, 1, 1},     {1, 1, 1, 1},     {24, 1, 24, 1},
                                  {2500, 1, 25, 1}, {6000, 7, 30, 5}, {6000, 10, 25, 3}};
    for (int i = 0; i < 6; i++) {
        rg_batch b;
        rg_draw_batch_args args =
            summed(&b, sweeps_of(size[i][0], size[i][1], size[i][2], size[i][3]));
        all_formats(batch_of, &args);
        rg_batch_free(&b);
    }
}

/* 40 visits of 4 pads: p00 leaks in 20 (0, 2, ...), p01 in 14 (0, 3, ... 39), p02 10, p03 8, 52 in
 * all. 14 of 40: Clopper and Pearson (0.2063, 0.5168), by bisection of the binomial tails. */
Test(draw_archive, batch_says_what_leaks_most_and_drifts)
{
    rg_batch b;
    rg_draw_batch_args args = summed(&b, sweeps_of(160, 1, 4, 1));
    cr_assert_eq(b.pad[1].leaking, 14);
    SAYS(batch_of, &args, "2026-11-01 to 2026-12-01: 160 sweeps, 40 inspections, 40 serials",
         "Leaks most: pad p00 of alto 0, 20 of 40 sweeps; the station drifts", "14 of 40",
         "35 % (21\u201352)", "65 %", "100 %", "bench0: 160 sweeps", "drifts", "no drift shown",
         "instruments", "intervals: exact binomial, 95 %", "2026-09-21 to 2026-10-11");
    rg_batch_free(&b);
}

Test(draw_archive, batch_without_leaks_or_sweeps_says_so)
{
    rg_batch b;
    int n = sweeps_of(8, 1, 4, 1);
    for (int i = 0; i < n; i++) {
        sweep[i].verdict = RG_VERDICT_SEALED;
        sweep[i].radiance = NAN;
    }
    rg_draw_batch_args args = summed(&b, n);
    SAYS(batch_of, &args, "No pad leaked; no station is shown to drift", "4 pads did not leak",
         "0 points: too few days for a trend");
    rg_batch_free(&b);
    args = summed(&b, 0);
    args.title = NULL;
    SAYS(batch_of, &args, "No sweep in this batch");
    rg_batch_free(&b);
}

Test(draw_archive, what_does_not_fit_a_batch_is_told)
{
    rg_batch b;
    rg_draw_batch_args args = summed(&b, sweeps_of(6000, 10, 25, 5));
    SAYS(batch_of, &args, "+ 7 more models", "+ 2 more stations", "more that leaked",
         "400 of 1200 points drawn");
    rg_batch_free(&b);
}

/* The longest bar, 220 px from x = 190, is the worst pad's; the second has 14 / 20 of it. */
Test(draw_archive, bars_are_as_long_as_their_count)
{
    rg_batch b;
    rg_draw_batch_args args = summed(&b, sweeps_of(160, 1, 4, 1));
    rg_image m = picture(batch_of, &args);
    for (int i = 0; i < 4; i++) {
        int y = 168 + 24 * (i + 1), x = 192;
        while (x < 600 && test_tone(&m, x, y) < 100)
            x++;
        cr_expect(fabs(x - 190 - 220.0 * b.pad[i].leaking / b.pad[0].leaking) < 2, "row %d: %d", i,
                  x - 190);
    }
    rg_image_free(&m);
    rg_batch_free(&b);
}

Test(draw_archive, times_beyond_the_calendar_end_at_it)
{
    rg_batch b;
    int n = sweeps_of(8, 1, 4, 1);
    for (int i = 0; i < n; i++)
        sweep[i].time = i % 2 ? INT64_MIN : INT64_MAX;
    rg_draw_batch_args args = summed(&b, n);
    SAYS(batch_of, &args, "1970-01-01 to 9999-12-31");
    rg_batch_free(&b);
}

Test(draw_archive, batch_with_hostile_texts)
{
    for (int i = 0; i < HOSTILE; i++) {
        rg_batch b;
        int n = sweeps_of(40, 2, 4, 2);
        for (int k = 0; k < n; k += 2)
            sweep[k].model = sweep[k].pad = sweep[k].station = sweep[k].serial = hostile[i];
        sweep[0].time = INT64_MIN;
        sweep[1].time = INT64_MAX;
        sweep[2].radiance = 1e300;
        sweep[3].psf_sigma_px = -1e300;
        rg_draw_batch_args args = summed(&b, n);
        args.title = hostile[i];
        all_formats(batch_of, &args);
        expect_svg(batch_of, &args);
        rg_batch_free(&b);
    }
}

/* -------------------------------------------------------------------- door */

Test(draw_archive, tolerance_and_coverage_factor_must_be_positive)
{
    static const double bad[] = {0, -1, NAN, INFINITY};
    rg_bytes out;
    for (int i = 0; i < 4; i++) {
        rg_draw_change_args c = mixed();
        rg_draw_history_args h = visits(2, 1);
        c.tolerance_mm = h.coverage_factor = bad[i];
        cr_expect_eq(rg_draw_change(&c, RG_PICTURE_PNG, &out, &err), RG_BAD_DATA);
        cr_expect(out.data == NULL && strstr(err.text, "tolerance"));
        cr_expect_eq(rg_draw_history(&h, RG_PICTURE_PNG, &out, &err), RG_BAD_DATA);
        cr_expect(out.data == NULL && strstr(err.text, "coverage factor"));
    }
}

/*
 * Tests of table.h: rows made by hand and what is printed of them.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "rimglow/table.h"
#include "support/capture.h"

static char text[20000];
static rg_table_row row;

static void begin(rg_verdict verdict)
{
    row = (rg_table_row){.name = "G",
                         .verdict = verdict,
                         .seen = 360,
                         .width_mm = 0.0984,
                         .u_mm = 0.0152,
                         .bearing_deg = 59,
                         .arcs = 1,
                         .frames_used = 29,
                         .frames_given = 30,
                         .place = "inspection/PE-A-0147/08-G"};
}

static void print(bool inch, bool first)
{
    test_capture_begin();
    rg_table_print(&row, inch, first);
    test_capture_end(text, sizeof text);
}

static void says(const char *words)
{
    cr_assert_not_null(strstr(text, words), "'%s' is not in\n%s", words, text);
}

/* Line n of text, from 0. */
static const char *line(int n)
{
    static char one[400];
    const char *p = text;
    for (; n > 0; n--)
        p = strchr(p, '\n') + 1;
    snprintf(one, sizeof one, "%.*s", (int)strcspn(p, "\n"), p);
    return one;
}

/* ------------------------------------------------------------------ rows */
Test(table, a_row_holds_pad_verdict_share_seen_width_place_arcs_and_frames)
{
    begin(RG_VERDICT_LEAKING);
    print(false, false);
    cr_assert_str_eq(line(0), "G                  ( / ) leaking    100 %   0.098 +-  0.015    59"
                              "     1 29/30");
    cr_assert_str_eq(line(1), "        = inspection/PE-A-0147/08-G");
}

Test(table, the_heading_stands_before_the_first_row_only)
{
    begin(RG_VERDICT_LEAKING);
    print(false, false);
    cr_assert_null(strstr(text, "verdict"));
    print(false, true);
    cr_assert_str_eq(line(0), "pad                verdict           seen    widest gap, mm    at"
                              "  arcs frames");
}

Test(table, verdicts_differ_in_word_and_shape)
{
    static const char *const mark[] = {[RG_VERDICT_SEALED] = "( O ) sealed ",
                                       [RG_VERDICT_LEAKING] = "( / ) leaking ",
                                       [RG_VERDICT_UNDECIDED] = "( ? ) undecided "};
    for (int v = 0; v < 3; v++) {
        begin((rg_verdict)v);
        print(false, false);
        says(mark[v]);
        cr_assert_null(strchr(text, '\033'), "colour says nothing that the words do not");
    }
}

Test(table, inches_are_thousandths)
{
    /* 25.4 mm to the inch: 0.0984 mm is 3.874 thousandths, 0.0152 mm 0.598. */
    begin(RG_VERDICT_LEAKING);
    print(true, true);
    says("widest, 0.001 in");
    says("   3.87 +-   0.60    59");
}

Test(table, a_closed_rim_has_no_bearing_and_an_unseen_one_no_width)
{
    begin(RG_VERDICT_SEALED);
    row.width_mm = 0;
    print(false, false);
    says("       0 +-  0.015     -     1");
    row.width_mm = row.u_mm = NAN;
    print(false, false);
    says("                 -     -     1");
    cr_assert_null(strstr(text, "nan"));
}

Test(table, all_is_seen_only_when_every_bearing_was)
{
    begin(RG_VERDICT_UNDECIDED);
    row.seen = 359;
    print(false, false);
    says(" 99 %");
    row.seen = 0;
    print(false, false);
    says("  0 %");
    row.seen = 180;
    print(false, false);
    says(" 50 %");
}

/* Column at which the verdict begins. */
static int verdict_column(void)
{
    int column = 0;
    for (const char *p = text; strncmp(p, "( ", 2) != 0; p++)
        column += ((unsigned char)*p & 0xC0) != 0x80;
    return column;
}

Test(table, names_of_any_length_and_alphabet_keep_the_columns)
{
    static const char *const name[] = {"G",
                                       "G\u266f",
                                       "low B\u266d (bell key)",
                                       "a name that is much longer than its column",
                                       "éééééééééééééééééééé",
                                       ""};
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        begin(RG_VERDICT_LEAKING);
        snprintf(row.name, sizeof row.name, "%s", name[i]);
        print(false, false);
        cr_assert_eq(verdict_column(), 19, "%s: column %d", name[i], verdict_column());
    }
}

Test(table, a_name_is_not_cut_within_a_character)
{
    begin(RG_VERDICT_LEAKING);
    snprintf(row.name, sizeof row.name,
             "x\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9"
             "\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9\u00e9");
    print(false, false);
    says("\u00e9 ( / ) leaking");
}

/* ----------------------------------------------------- reasons and frames */
Test(table, everything_but_the_place_fits_into_80_columns)
{
    begin(RG_VERDICT_UNDECIDED);
    memset(row.name, 'n', sizeof row.name - 1);
    row.width_mm = 4.9996;
    row.u_mm = 2.4996;
    row.bearing_deg = 359;
    row.arcs = 60;
    row.frames_used = row.frames_given = 100;
    row.reasons = RG_REASONS_MAX;
    row.left_out = RG_TABLE_FRAMES + 5;
    row.place[0] = '\0';
    for (int i = 0; i < row.reasons; i++)
        for (int k = 0; k < RG_REASON_SIZE - 1; k++)
            row.reason[i][k] = (k + i) % (i + 2) ? 'r' : ' ';
    for (int i = 0; i < RG_TABLE_FRAMES; i++)
        for (int k = 0; k < RG_TABLE_LINE - 1; k++)
            row.frame[i][k] = (k + i) % (i + 7) ? 'f' : ' ';
    for (int inch = 0; inch < 2; inch++) {
        print(inch, true);
        cr_assert_leq(test_longest_line(text), 80, "%d columns\n%s", test_longest_line(text), text);
    }
}

Test(table, a_long_reason_is_wrapped_under_itself_and_loses_no_word)
{
    const char *reason =
        "the bearings from 10 to 35 degrees were not seen: take frames from there, "
        "5 mm lower and 5 mm higher, and hold the camera still for each of them";
    char joined[400] = "";
    begin(RG_VERDICT_UNDECIDED);
    row.reasons = 1;
    snprintf(row.reason[0], RG_REASON_SIZE, "%s", reason);
    print(false, false);
    for (int i = 1; line(i)[8] != '='; i++) {
        cr_assert_eq(strncmp(line(i), i == 1 ? "        - " : "          ", 10), 0, "%s", line(i));
        snprintf(joined + strlen(joined), sizeof joined - strlen(joined), "%s%s", i > 1 ? " " : "",
                 line(i) + 10);
    }
    cr_assert_str_eq(joined, reason);
    cr_assert_gt(strlen(line(1)), 65, "lines are filled");
}

Test(table, frames_left_out_are_named_and_the_rest_counted)
{
    begin(RG_VERDICT_UNDECIDED);
    row.left_out = RG_TABLE_FRAMES + 3;
    for (int i = 0; i < RG_TABLE_FRAMES; i++)
        snprintf(row.frame[i], RG_TABLE_LINE, "view_%02d.jpg left out: blurred", i);
    print(false, false);
    says("        . view_00.jpg left out: blurred\n");
    says("        . view_07.jpg left out: blurred\n");
    says("and 3 more frames left out; see seal-map.json\n");
    row.left_out = RG_TABLE_FRAMES;
    print(false, false);
    cr_assert_null(strstr(text, "more frames"));
}

/* --------------------------------------------------------------- filling */
static rg_sweep_result result;

static void all_sealed(void)
{
    memset(&result, 0, sizeof result);
    for (int b = 0; b < RG_BINS; b++)
        result.map.bin[b] = (rg_bin){.bearing_deg = b, .state = RG_BIN_SEALED, .u_mm = 0.002};
}

static void fill(const rg_frame *frames, int count)
{
    rg_sealmap_options o = {.coverage_factor = 2};
    rg_table_fill(&row, "G", &result, frames, count, &o);
}

Test(table, the_widest_seen_gap_is_told_with_its_expanded_uncertainty)
{
    all_sealed();
    result.map.bin[70] =
        (rg_bin){.bearing_deg = 70, .state = RG_BIN_GAP, .width_mm = 0.05, .u_mm = 0.004};
    result.map.bin[80] =
        (rg_bin){.bearing_deg = 80, .state = RG_BIN_GAP, .width_mm = 0.04, .u_mm = 0.009};
    result.map.bin[90] =
        (rg_bin){.bearing_deg = 90, .state = RG_BIN_UNSEEN, .width_mm = 1, .u_mm = 1};
    fill(NULL, 0);
    cr_assert_eq(row.width_mm, 0.05);
    cr_assert_eq(row.u_mm, 0.008);
    cr_assert_eq(row.bearing_deg, 70);
    cr_assert_eq(row.seen, 359);
    cr_assert_str_eq(row.name, "G");
}

Test(table, unseen_bearings_before_a_seen_one_do_not_hide_its_width)
{
    all_sealed();
    for (int b = 0; b < RG_BINS; b++)
        if (b != 200)
            result.map.bin[b] =
                (rg_bin){.bearing_deg = b, .state = RG_BIN_UNSEEN, .width_mm = NAN, .u_mm = NAN};
    fill(NULL, 0);
    cr_assert_eq(row.width_mm, 0);
    cr_assert_eq(row.u_mm, 0.004);
    cr_assert_eq(row.seen, 1);
    result.map.bin[200] = result.map.bin[0];
    fill(NULL, 0);
    cr_assert(isnan(row.width_mm) && isnan(row.u_mm));
    cr_assert_eq(row.seen, 0);
}

Test(table, areas_add_and_closed_frames_are_counted_by_use)
{
    static const rg_frame frames[] = {{.role = RG_FRAME_WITNESS, .used = true},
                                      {.role = RG_FRAME_CLOSED, .used = true},
                                      {.role = RG_FRAME_CLOSED, .used = false},
                                      {.role = RG_FRAME_CLOSED, .used = true},
                                      {.role = RG_FRAME_DARK, .used = true}};
    all_sealed();
    result.map.verdict = RG_VERDICT_LEAKING;
    result.map.arcs = 2;
    result.map.reasons = 1;
    snprintf(result.map.reason[0], RG_REASON_SIZE, "open");
    fill(frames, 5);
    cr_assert_eq(row.arcs, 2);
    cr_assert_eq(row.frames_given, 3);
    cr_assert_eq(row.frames_used, 2);
    cr_assert_eq(row.verdict, RG_VERDICT_LEAKING);
    cr_assert_eq(row.reasons, 1);
    cr_assert_str_eq(row.reason[0], "open");
}

Test(table, frames_not_used_are_taken_over_with_their_reasons)
{
    static rg_sweep_frame given[12];
    static rg_frame frames[12];
    rg_sweep sweep = {.frames = 12, .frame = given};
    for (int i = 0; i < 12; i++) {
        snprintf(given[i].file, sizeof given[i].file, "view_%02d.jpg", i);
        frames[i].used = i == 1;
        snprintf(frames[i].reason, sizeof frames[i].reason, "reason %d", i);
    }
    begin(RG_VERDICT_UNDECIDED);
    rg_table_frames(&row, &sweep, frames);
    cr_assert_eq(row.left_out, 11);
    cr_assert_str_eq(row.frame[0], "view_00.jpg left out: reason 0");
    cr_assert_str_eq(row.frame[1], "view_02.jpg left out: reason 2");
    cr_assert_str_eq(row.frame[7], "view_08.jpg left out: reason 8");
    cr_assert_str_eq(row.place, "inspection/PE-A-0147/08-G", "there is no ninth line");
}

/* --------------------------------------------------------------- closing */
static void close_over(int count, rg_code third)
{
    static rg_table_row rows[4];
    rg_error errors[4] = {{.code = RG_OK}};
    rows[0].verdict = RG_VERDICT_SEALED;
    rows[1].verdict = RG_VERDICT_LEAKING;
    rows[2].verdict = RG_VERDICT_LEAKING;
    rows[3].verdict = RG_VERDICT_UNDECIDED;
    errors[2].code = third;
    test_capture_begin();
    rg_table_close(rows, errors, count, "leaking");
    test_capture_end(text, sizeof text);
}

Test(table, the_closing_line_counts_verdicts_and_what_was_not_inspected)
{
    close_over(4, RG_OK);
    cr_assert_str_eq(text,
                     "4 sweeps: 1 sealed, 2 leaking, 1 undecided, 0 not inspected: leaking\n");
    close_over(4, RG_BAD_DATA);
    cr_assert_str_eq(text,
                     "4 sweeps: 1 sealed, 1 leaking, 1 undecided, 1 not inspected: leaking\n");
    cr_assert_leq(test_longest_line(text), 80);
}

Test(table, a_single_inspected_sweep_needs_no_closing_line)
{
    close_over(1, RG_OK);
    cr_assert_str_eq(text, "");
    rg_error failed = {.code = RG_NO_INPUT};
    begin(RG_VERDICT_SEALED);
    test_capture_begin();
    rg_table_close(&row, &failed, 1, "undecided");
    test_capture_end(text, sizeof text);
    cr_assert_str_eq(text,
                     "1 sweep: 0 sealed, 0 leaking, 0 undecided, 1 not inspected: undecided\n");
}

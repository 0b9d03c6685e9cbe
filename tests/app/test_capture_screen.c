/*
 * Tests of capture_screen.h: the area keeps its size whatever it has to say.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/capture_screen.h"
#include "support/capture.h"

static const double level[RG_COVER_LEVELS] = {-0.8, -0.4, 0, 0.4, 0.8};
static rg_live_state state;
static rg_seal_map map;
static char text[RG_SCREEN_TEXT];

static void set_up(void)
{
    memset(&state, 0, sizeof state);
    memset(&map, 0, sizeof map);
    state.verdict = RG_VERDICT_UNDECIDED;
    state.widest_mm = state.U_widest_mm = state.widest_deg = NAN;
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b].state = RG_BIN_UNSEEN;
}

TestSuite(capture_screen, .init = set_up);

static void show(const char *note)
{
    rg_screen s = {.state = &state,
                   .map = &map,
                   .level_deg = level,
                   .serial = "PE-A-0147",
                   .pad = "G",
                   .now = "crack the pad open",
                   .note = note,
                   .keys = "q stop"};
    rg_screen_text(&s, text);
    int lines = 0;
    for (const char *c = text; *c; c++)
        lines += *c == '\n';
    cr_expect_eq(lines, RG_SCREEN_LINES);
    cr_expect_leq(test_longest_line(text), RG_SCREEN_WIDTH);
}

static const char *row(const char *head)
{
    const char *at = strstr(text, head);
    cr_assert_not_null(at, "%s in %s", head, text);
    return strchr(at, '|') + 1;
}

Test(capture_screen, what_was_visited_seen_and_open_stands_at_its_bearing)
{
    state.coverage.visited[3][1] = true; /* 30 to 40, -0.4 */
    state.coverage.seen[7] = true;
    map.bin[205].state = RG_BIN_GAP;
    show("");
    cr_expect_eq(strncmp(row(" -0.4"), "...#................................|", 37), 0, "%s", text);
    cr_expect_eq(strncmp(row(" +0.4"), "....................................|", 37), 0, "%s", text);
    cr_expect_eq(strncmp(row("  rim"), ".......=............X...............|", 37), 0, "%s", text);
}

Test(capture_screen, the_camera_stands_at_its_bearing_and_nearest_level)
{
    state.posed = true;
    state.bearing_deg = 359;
    state.elevation_deg = 0.7;
    show("");
    cr_expect_eq(row(" +0.8")[35], '@', "%s", text);
    state.posed = false;
    show("");
    cr_expect_null(strchr(row(" +0.8"), '@') < strchr(row(" +0.8"), '|') ? strchr(row(" +0.8"), '@')
                                                                         : NULL);
}

Test(capture_screen, long_and_strange_texts_do_not_break_the_area)
{
    memset(state.coverage.missing, 'm', RG_COVER_TEXT - 1);
    memset(state.guide_text, 'g', RG_COVER_TEXT - 1);
    for (int i = 5; i < RG_COVER_TEXT - 1; i += 11)
        state.guide_text[i] = ' ';
    strcpy(state.last_reason, "G\xc3\xb6\xc3\x9f"
                              "e \xff\x1b[2J\n two lines");
    show("a note \t with \x07 controls, and longer than any line of the screen can be: 0123456789 "
         "0123456789 0123456789 0123456789");
    cr_expect_null(strchr(text, '\x1b'));
    cr_expect_not_null(strstr(text, "..."), "what was cut says so");
    cr_expect_not_null(strstr(text, "G\xc3\xb6\xc3\x9f"
                                    "e"));
}

Test(capture_screen, the_line_for_logs_says_count_verdict_and_what_is_missing)
{
    char line[400];
    state.kept = 12;
    state.coverage.seen_bearings = 77;
    strcpy(state.coverage.missing, "bearings 20..40, from below the rim");
    rg_screen_line(&state, line, sizeof line);
    cr_expect_str_eq(line, "12 kept, 77 of 360 bearings seen, undecided; missing: bearings 20..40, "
                           "from below the rim");
}

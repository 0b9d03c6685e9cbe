/*
 * Tests of pitch.h. Outside values: the MIDI standard's note numbers (C4 middle C = 60, A4 = 69,
 * 440 Hz), scientific pitch notation (octaves begin at C).
 */
#include <criterion/criterion.h>
#include <string.h>

#include "rimglow/pitch.h"

static rg_error err;

static int number(const char *name)
{
    int pitch = -1;
    cr_expect(rg_pitch_parse(name, &pitch), "%s", name);
    return pitch;
}

Test(pitch, numbers_are_those_of_midi)
{
    cr_expect_eq(number("C4"), 60);
    cr_expect_eq(number("A4"), 69);
    cr_expect_eq(number("A0"), 21);
    cr_expect_eq(number("C8"), 108);
    cr_expect_eq(number("G9"), 127);
    cr_expect_eq(number("Bb3"), 58);
    cr_expect_eq(number("A#3"), 58);
    cr_expect_eq(number("B3") + 1, number("C4"));
    cr_expect_eq(number("Cb4"), number("B3"));
    cr_expect_eq(number("B#3"), number("C4"));
}

Test(pitch, other_words_are_none)
{
    static const char *const bad[] = {"",    "H4", "c4",  "C",   "C10", "C-1", "C##4",        "C4 ",
                                      " C4", "4C", "Cx4", "C4x", "G#9", "Cb0", "\xE2\x99\xAD"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        int pitch = 7;
        cr_expect_not(rg_pitch_parse(bad[i], &pitch), "\"%s\"", bad[i]);
        cr_expect_eq(pitch, 7);
    }
}

Test(pitch, every_name_comes_back)
{
    for (int p = 12; p < RG_PITCHES; p++) {
        char name[RG_PITCH_NAME];
        rg_pitch_name(p, name);
        cr_expect_eq(number(name), p, "%s", name);
    }
    char name[RG_PITCH_NAME];
    rg_pitch_name(128, name);
    cr_expect_str_eq(name, "?");
}

/* -------------------------------------------------------------------- sets */

static rg_pitch_set set_of(const char *text)
{
    rg_pitch_set set;
    cr_expect_eq(rg_pitch_set_parse(text, &set, &err), RG_OK, "%s: %s", text, err.text);
    return set;
}

static void comes_back_as(const char *text, const char *expected)
{
    char back[RG_PITCH_SET_TEXT];
    rg_pitch_set set = set_of(text);
    rg_pitch_set_text(&set, back, sizeof back);
    cr_expect_str_eq(back, expected);
}

Test(pitch, lists_ranges_and_exceptions_are_read)
{
    comes_back_as("", "");
    comes_back_as("  ", "");
    comes_back_as("G4, F#4", "F#4, G4");
    comes_back_as("Bb3..C#4", "Bb3..C#4");
    comes_back_as("Bb3 , B3,C4,A#3", "Bb3..C4");
    comes_back_as("C4..C5, -F4", "C4..E4, F#4..C5");
    comes_back_as("C4..C5, -E4..B4, F4", "C4..Eb4, F4, C5");
    comes_back_as("C4, D4, Eb4, G4..G4", "C4, D4, Eb4, G4");
}

Test(pitch, a_set_knows_its_ends_and_size)
{
    rg_pitch_set set = set_of("Bb3..F6, -C#5"), empty = set_of(""), low = set_of("Bb3");
    cr_expect_eq(rg_pitch_count(&set), 89 - 58 + 1 - 1); /* F6 is 89 */
    cr_expect_eq(rg_pitch_lowest(&set), 58);
    cr_expect_eq(rg_pitch_highest(&set), 89);
    cr_expect_eq(rg_pitch_highest(&empty), -1);
    cr_expect_eq(rg_pitch_lowest(&empty), -1);
    cr_expect(rg_pitch_in(&set, 72) && !rg_pitch_in(&set, 73));
    cr_expect_not(rg_pitch_in(&set, -1) || rg_pitch_in(&set, 128));
    cr_expect(rg_pitch_share(&set, &low) && !rg_pitch_share(&set, &empty));
}

Test(pitch, faulty_lists_are_refused_by_part)
{
    static const struct {
        const char *text, *want[2];
    } bad[] = {
        {"C4,", {"\"\"", "no pitch"}},      {"C4;D4", {"\"C4;D4\"", "commas"}},
        {"C4, h5", {"\"h5\"", "no pitch"}}, {"F6..Bb3", {"\"F6..Bb3\"", "begins above"}},
        {"C4..", {"\"C4..\"", "range"}},    {"C4.. D4", {"\"C4.. D4\"", "range"}},
        {"-C4", {"\"-C4\"", "takes out"}},  {"C4..E4, -D4..F4", {"\"-D4..F4\"", "takes out"}},
        {"all", {"\"all\"", "no pitch"}}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        rg_pitch_set set;
        cr_expect_eq(rg_pitch_set_parse(bad[i].text, &set, &err), RG_BAD_DATA, "%s", bad[i].text);
        cr_expect(strstr(err.text, bad[i].want[0]) && strstr(err.text, bad[i].want[1]), "%s: %s",
                  bad[i].text, err.text);
        cr_expect_eq(rg_pitch_count(&set), 0);
    }
}

Test(pitch, the_longest_text_fits_and_a_short_buffer_is_not_overrun)
{
    rg_pitch_set set = {{0, 0}};
    for (int p = 0; p < RG_PITCHES; p += 3) {
        rg_pitch_add(&set, p);
        rg_pitch_add(&set, p + 1);
    }
    char text[RG_PITCH_SET_TEXT], small[9];
    memset(small, 'x', sizeof small);
    rg_pitch_set_text(&set, text, sizeof text);
    cr_expect_lt(strlen(text), sizeof text - 1);
    cr_expect_str_eq(text + strlen(text) - 9, ", F#9, G9");
    rg_pitch_set_text(&set, small, 8);
    cr_expect_eq(small[7], 0);
    cr_expect_eq(small[8], 'x');
}

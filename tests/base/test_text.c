/*
 * Tests of text.h: the grammar is the header's; the correctly rounded value
 * of 0.1 is that of IEEE 754 (0x3fb999999999999a).
 */
#include <criterion/criterion.h>
#include <locale.h>
#include <math.h>
#include <string.h>

#include "rimglow/text.h"

Test(text, decimal_numbers_are_read)
{
    static const struct {
        const char *text;
        double value;
    } good[] = {{"0.1", 0.1}, {" 2.5\t", 2.5}, {"-3", -3},    {"+4.", 4},
                {".5", 0.5},  {"1e-3", 1e-3},  {"6E+2", 600}, {"-0.025 \r\n", -0.025},
                {"007", 7},   {"1e-400", 0}};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++) {
        double v = -99;
        cr_assert(rg_parse_double(good[i].text, &v), "'%s'", good[i].text);
        cr_assert(v == good[i].value, "'%s'", good[i].text);
    }
}

Test(text, what_is_no_decimal_number_leaves_the_value_alone)
{
    static const char *const bad[] = {
        "",   " ",   "1,5", "nan", "inf", "-infinity", "0x10", "1 2",   "1.5mm",    "--1",
        "1e", "1e+", ".",   "+",   "e5",  "1e999",     "1..2", "1.2.3", "\xc2\xbd", "1_000"};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        double v = -99;
        cr_assert(!(rg_parse_double(bad[i], &v)), "'%s'", bad[i]);
        cr_assert(v == -99);
    }
}

Test(text, endless_number_is_refused)
{
    char digits[1000];
    memset(digits, '1', sizeof digits);
    digits[999] = 0;
    double v = 5;
    cr_assert(!(rg_parse_double(digits, &v)));
    cr_assert(v == 5);
}

Test(text, locale_with_a_decimal_comma_changes_nothing)
{
    static const char *const comma[] = {"de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "nl_NL.UTF-8"};
    bool set = false;
    for (int i = 0; i < 4 && !set; i++)
        set = setlocale(LC_ALL, comma[i]) != NULL;
    if (!set)
        cr_skip("no locale with a decimal comma is installed here");
    double v = 0;
    cr_assert(rg_parse_double("0.1", &v));
    cr_assert(v == 0.1);
    cr_assert(!(rg_parse_double("0,1", &v)));
}

Test(text, integers_keep_to_their_range)
{
    long v = -99;
    cr_assert(rg_parse_int(" 42 ", 0, 100, &v) && v == 42);
    cr_assert(rg_parse_int("-7", -10, 10, &v) && v == -7);
    cr_assert(rg_parse_int("010", 0, 100, &v) && v == 10);
    static const char *const bad[] = {"",    "x",   "4.0", "101", "-1", "99999999999999999999",
                                      "1 2", "0x1", "+",   "1e2"};
    v = -99;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        cr_assert(!(rg_parse_int(bad[i], 0, 100, &v)), "'%s'", bad[i]);
    cr_assert(v == -99);
}

Test(text, names_that_could_leave_a_folder_are_unsafe)
{
    static const char *const good[] = {"PE-A-0147",     "low-Bb",       "frame_01.jpg",
                                       "M\xc3\xbcller", "\xe7\xac\x9b", "0"};
    static const char *const bad[] = {"",    "..", ".",   "../x", "a/b",  "/etc", ".hidden",
                                      "-rf", "_x", "a b", "a\nb", "a\\b", "a:b",  "a\x7f"};
    for (size_t i = 0; i < sizeof good / sizeof *good; i++)
        cr_assert(rg_is_safe_name(good[i]), "'%s'", good[i]);
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        cr_assert(!(rg_is_safe_name(bad[i])), "'%s'", bad[i]);
    char longest[122];
    memset(longest, 'n', sizeof longest);
    longest[120] = 0;
    cr_assert(rg_is_safe_name(longest));
    longest[120] = 'n';
    longest[121] = 0;
    cr_assert(!(rg_is_safe_name(longest)));
}

Test(text, copy_that_does_not_fit_is_cut_and_says_so)
{
    char to[5];
    cr_assert(rg_copy_text(to, sizeof to, "four"));
    cr_assert(strcmp(to, "four") == 0);
    cr_assert(!(rg_copy_text(to, sizeof to, "fives")));
    cr_assert(strcmp(to, "five") == 0);
    cr_assert(!(rg_copy_text(to, 0, "")));
}

/* Vectors of the authors' own test suite, which RFC 9923 prints; cited from memory. */
Test(text, hash_is_that_of_the_rfc)
{
    cr_expect_eq(rg_text_hash(""), UINT64_C(0xcbf29ce484222325));
    cr_expect_eq(rg_text_hash("a"), UINT64_C(0xaf63dc4c8601ec8c));
    cr_expect_eq(rg_text_hash("foobar"), UINT64_C(0x85944171f73967e8));
}

/* RFC 3629: the examples of section 7, and what section 3 and 4 exclude (surrogates, overlong
 * forms, beyond U+10FFFF, cut sequences). */
Test(text, length_of_utf8_sequences)
{
    static const struct {
        const char *bytes;
        size_t left, length;
    } known[] = {
        {"A", 1, 1},
        {"\xe2\x89\xa2\xce\x91", 5, 3},
        {"\xce\x91", 2, 2},
        {"\xed\x95\x9c", 3, 3},
        {"\xf0\xa3\x8e\xb4", 4, 4},
        {"\xf4\x8f\xbf\xbf", 4, 4},
        {"\0", 1, 1},
        {"A", 0, 0},
        {"\xe2\x89\xa2", 2, 0},
        {"\xc0\x80", 2, 0},
        {"\xe0\x80\x80", 3, 0},
        {"\xed\xa0\x80", 3, 0},
        {"\xf4\x90\x80\x80", 4, 0},
        {"\x80", 1, 0},
        {"\xff", 1, 0},
    };
    for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
        cr_expect(rg_utf8_length(known[i].bytes, known[i].left) == known[i].length, "row %zu", i);
}

/* Rounding: JCGM 100:2008, 7.2.6 gives m_s = 100,021 47 g with U = 0,79 mg and 10,057 62 ohm with 27
 * mohm as examples. */
Test(text, value_and_expanded_uncertainty_end_at_the_same_place)
{
    static const struct {
        double value, U;
        bool sign;
        const char *text;
    } row[] = {{0.0586848, 0.0118, false, "0.059 +- 0.012"},
               {4.07598, 0.0708, false, "4.076 +- 0.071"},
               {10.05762, 0.027, false, "10.058 +- 0.027"},
               {1204, 2, false, "1204 +- 2"},
               {0.06, 0.02, false, "0.06 +- 0.02"},
               {-1, 2.83, true, "-1.0 +- 2.8"},
               {2, 5.66, true, "+2.0 +- 5.7"},
               {12345, 678, false, "12345 +- 678"},
               {0, 0.0088, false, "0.0000 +- 0.0088"},
               {5, 0, false, "5 +- 0"},
               {NAN, 1, false, "?"},
               {1, INFINITY, false, "?"}};
    for (size_t i = 0; i < sizeof row / sizeof *row; i++) {
        char text[RG_TEXT_WITH_U];
        rg_text_with_u(row[i].value, row[i].U, row[i].sign, text);
        cr_expect_str_eq(text, row[i].text);
    }
}

/*
 * Tests of options.h: the conventions are those of POSIX.1-2017, Base
 * Definitions 12.2 (guidelines 3 to 10: one-letter options, values beside or
 * after them, "--", "-" as an operand) and of GNU's long options.
 */
#include <criterion/criterion.h>
#include <stdbool.h>
#include <string.h>

#include "rimglow/options.h"

typedef struct values {
    const char *out;
    int jobs, what;
    bool quiet;
    const char *operand[8];
    int operands;
    rg_error err;
} values;

static const char *const choices[] = {"none", "map", "all", NULL};

/* words: the command line without the command's name, ends with NULL. */
static rg_code read_words(values *v, const char *const *words)
{
    char name[] = "inspect", *argv[10] = {name};
    int argc = 1;
    *v = (values){.out = "default", .jobs = -1, .what = 2};
    const rg_option options[] = {{"out", 'o', RG_OPTION_TEXT, &v->out, 0, 0, NULL},
                                 {"jobs", 'j', RG_OPTION_WHOLE, &v->jobs, 1, 64, NULL},
                                 {"pictures", 0, RG_OPTION_CHOICE, &v->what, 0, 0, choices},
                                 {"quiet", 'q', RG_OPTION_SWITCH, &v->quiet, 0, 0, NULL}};
    for (; words[argc - 1]; argc++) /* as main has them, without const */
        memcpy(&argv[argc], &words[argc - 1], sizeof argv[argc]);
    return rg_options_read(argc, argv, options, 4, v->operand, &v->operands, &v->err);
}

#define READ(...)   read_words(&v, (const char *const[]){__VA_ARGS__, NULL})
#define ACCEPT(...) cr_assert_eq(READ(__VA_ARGS__), RG_OK, "%s", v.err.text)

static values v;

static void refused(rg_code code, const char *word, const char *remedy)
{
    cr_assert_eq(code, RG_USAGE, "%s is not refused", word);
    cr_assert_eq(v.err.code, RG_USAGE);
    cr_assert_not_null(strstr(v.err.text, word), "'%s' does not name %s", v.err.text, word);
    cr_assert_not_null(strstr(v.err.text, remedy), "'%s' does not say %s", v.err.text, remedy);
}

Test(options, a_long_value_stands_after_an_equals_sign_or_in_the_next_word)
{
    ACCEPT("--out=here", "--jobs=3", "--pictures=map");
    cr_assert_str_eq(v.out, "here");
    cr_assert_eq(v.jobs, 3);
    cr_assert_eq(v.what, 1);
    ACCEPT("--out", "there", "--jobs", "64", "--pictures", "none");
    cr_assert_str_eq(v.out, "there");
    cr_assert_eq(v.jobs, 64);
    cr_assert_eq(v.what, 0);
    cr_assert_eq(v.operands, 0);
}

Test(options, a_short_value_stands_beside_its_letter_or_in_the_next_word)
{
    ACCEPT("-ohere", "-j", "7");
    cr_assert_str_eq(v.out, "here");
    cr_assert_eq(v.jobs, 7);
    cr_assert_eq(v.operands, 0);
}

Test(options, a_value_may_hold_an_equals_sign_or_begin_with_a_dash)
{
    ACCEPT("--out=a=b");
    cr_assert_str_eq(v.out, "a=b");
    ACCEPT("-o", "-odd");
    cr_assert_str_eq(v.out, "-odd");
}

Test(options, what_is_not_given_keeps_its_default)
{
    ACCEPT("folder");
    cr_assert_str_eq(v.out, "default");
    cr_assert_eq(v.jobs, -1);
    cr_assert_eq(v.what, 2);
    cr_assert_not(v.quiet);
}

Test(options, the_last_of_two_counts)
{
    ACCEPT("--jobs", "3", "-j5");
    cr_assert_eq(v.jobs, 5);
}

Test(options, options_and_operands_may_be_mixed_and_operands_keep_their_order)
{
    ACCEPT("one", "--quiet", "two", "-j", "2", "three");
    cr_assert_eq(v.operands, 3);
    cr_assert_str_eq(v.operand[0], "one");
    cr_assert_str_eq(v.operand[1], "two");
    cr_assert_str_eq(v.operand[2], "three");
    cr_assert(v.quiet);
    cr_assert_eq(v.jobs, 2);
}

Test(options, two_dashes_end_the_options_and_one_dash_is_an_operand)
{
    ACCEPT("-", "--", "--quiet", "-j", "--");
    cr_assert_eq(v.operands, 4);
    cr_assert_str_eq(v.operand[0], "-");
    cr_assert_str_eq(v.operand[1], "--quiet");
    cr_assert_str_eq(v.operand[2], "-j");
    cr_assert_str_eq(v.operand[3], "--");
    cr_assert_not(v.quiet);
}

Test(options, an_unknown_option_is_named_with_where_the_known_ones_stand)
{
    refused(READ("--outt", "x"), "--outt", "rimglow inspect -h");
    refused(READ("--ou=x"), "--ou=x", "rimglow inspect -h"); /* no abbreviations */
    refused(READ("-x"), "-x", "rimglow inspect -h");
    refused(READ("--=x"), "--=x", "rimglow inspect -h");
}

Test(options, an_option_without_a_letter_is_not_found_by_one)
{
    refused(READ("-p"), "-p", "unknown");
}

Test(options, a_missing_value_is_asked_for)
{
    refused(READ("folder", "--jobs"), "--jobs", "needs a value");
    refused(READ("folder", "-o"), "-o", "needs a value");
    refused(READ("--out="), "--out", "not empty");
    refused(READ("--out", ""), "--out", "not empty");
}

Test(options, a_switch_takes_no_value)
{
    refused(READ("--quiet=yes"), "--quiet", "takes no value");
    refused(READ("-qq"), "--quiet", "takes no value");
}

Test(options, a_whole_number_keeps_to_its_limits_and_says_them)
{
    static const char *const bad[] = {"0", "65", "-1", "2.5", "two", "", "99999999999999999999"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        refused(READ("--jobs", bad[i]), "--jobs", "from 1 to 64");
        cr_assert_eq(v.jobs, -1, "%s changed the value", bad[i]);
    }
    ACCEPT("--jobs", "1");
    ACCEPT("--jobs", "64");
}

Test(options, a_choice_that_does_not_exist_is_answered_with_those_that_do)
{
    refused(READ("--pictures", "some"), "some", "none, map, all");
    refused(READ("--pictures", "ma"), "ma", "none, map, all");
    cr_assert_eq(v.what, 2);
}

Test(options, a_list_of_choices_that_is_too_long_is_cut_not_overrun)
{
    static const char *const many[] = {"a-choice-whose-name-is-rather-long-indeed-1",
                                       "a-choice-whose-name-is-rather-long-indeed-2",
                                       "a-choice-whose-name-is-rather-long-indeed-3",
                                       "a-choice-whose-name-is-rather-long-indeed-4",
                                       "a-choice-whose-name-is-rather-long-indeed-5",
                                       NULL};
    int what = 7, count;
    const char *operand[3];
    char word[] = "--what=none", name[] = "inspect", *argv[] = {name, word, NULL};
    const rg_option options[] = {{"what", 0, RG_OPTION_CHOICE, &what, 0, 0, many}};
    refused(rg_options_read(2, argv, options, 1, operand, &count, &v.err), "--what", "indeed-3");
    cr_assert_eq(what, 7);
}

/*
 * Tests of command.h: the table of commands is complete, the program answers
 * for itself, and exit codes are those of sysexits.h (4.3BSD) where it has one.
 */
#include <criterion/criterion.h>
#include <criterion/redirect.h>
#include <ctype.h>
#include <gsl/gsl_version.h>
#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <sysexits.h>

#include "rimglow/build_facts.h"
#include "rimglow/command.h"
#include "rimglow/status.h"
#include "rimglow/version.h"
#include "support/capture.h"

enum { TEXT = 20000 };

static char text[TEXT];

/* Runs "rimglow word1 word2", with what it printed in text. */
static int run(const char *word1, const char *word2)
{
    char name[] = "rimglow", store[2][60], *argv[] = {name, NULL, NULL, NULL};
    const char *const word[] = {word1, word2};
    int argc = 1;
    for (; argc < 3 && word[argc - 1]; argc++) {
        snprintf(store[argc - 1], sizeof store[0], "%s", word[argc - 1]);
        argv[argc] = store[argc - 1];
    }
    test_capture_begin();
    int code = rg_command_main(argc, argv);
    test_capture_end(text, sizeof text);
    return code;
}

/* The same with stderr in text. */
static int run_badly(const char *word1, const char *word2)
{
    cr_redirect_stderr();
    int code = run(word1, word2);
    cr_assert_str_eq(text, "", "a complaint has no place on standard output: %s", text);
    return code;
}

static void help_is_fit_to_print(const char *help, const char *name)
{
    size_t n = strlen(help);
    cr_assert_gt(n, 200, "%s: the help is too short to teach", name);
    cr_assert_eq(help[n - 1], '\n', "%s", name);
    cr_assert_neq(help[n - 2], '\n', "%s: ends in a blank line", name);
    cr_assert_leq(test_longest_line(help), 80, "%s: %d columns", name, test_longest_line(help));
    cr_assert_null(strchr(help, '\t'), "%s", name);
    cr_assert_null(strstr(help, " \n"), "%s: blanks at a line's end", name);
}

Test(command, every_command_has_a_name_a_summary_and_something_to_run)
{
    int n = 0;
    for (const rg_command *c = rg_commands; c->name; c++, n++) {
        cr_assert_neq(c->run != NULL, c->verbs != NULL, "%s: runs, or has verbs", c->name);
        cr_assert_not_null(c->help, "%s", c->name);
        cr_assert_not_null(c->summary, "%s", c->name);
        cr_assert(strlen(c->name) > 0 && strlen(c->name) <= 10, "%s", c->name);
        for (const char *p = c->name; *p; p++)
            cr_assert(islower((unsigned char)*p) || *p == '-', "%s", c->name);
        cr_assert_null(strchr(c->summary, '\n'), "%s: a summary is one line", c->name);
        cr_assert_eq(rg_command_find(c->name), c, "%s is there twice", c->name);
    }
    cr_assert_gt(n, 0);
}

/* call: the words that run it. */
static void help_teaches(const rg_command *c, const char *call)
{
    help_is_fit_to_print(c->help, call);
    cr_assert_eq(strncmp(c->help, call, strlen(call)), 0, "%s: begins with its use", call);
    cr_assert_not_null(strstr(c->help, "Examples:\n"), "%s", call);
    cr_assert_not_null(strstr(c->help, "Exit codes:"), "%s", call);
}

Test(command, every_help_text_fits_a_terminal_and_teaches_by_example)
{
    char call[120];
    for (const rg_command *c = rg_commands; c->name; c++) {
        snprintf(call, sizeof call, "rimglow %s ", c->name);
        if (!c->verbs)
            help_teaches(c, call);
        for (const rg_command *v = c->verbs; v && v->name; v++) {
            snprintf(call, sizeof call, "rimglow %s %s ", c->name, v->name);
            help_teaches(v, call);
        }
    }
}

/* A command with verbs lists them below its text. */
Test(command, help_prints_a_command_s_own_text)
{
    for (const rg_command *c = rg_commands; c->name; c++)
        for (int i = 0; i < 2; i++) {
            cr_assert_eq(run(c->name, i ? "--help" : "-h"), 0);
            cr_assert_eq(strncmp(text, c->help, strlen(c->help)), 0, "%s", c->name);
            cr_assert(c->verbs || strlen(text) == strlen(c->help), "%s", c->name);
            cr_assert_leq(test_longest_line(text), 80, "%s", c->name);
            for (const rg_command *v = c->verbs; v && v->name; v++)
                cr_assert_not_null(strstr(text + strlen(c->help), v->summary), "%s", v->name);
        }
}

Test(command, a_command_with_verbs_lists_them_and_each_teaches)
{
    int verbs = 0;
    for (const rg_command *c = rg_commands; c->name; c++) {
        if (!c->verbs)
            continue;
        cr_assert_eq(run(c->name, "-h"), 0);
        help_is_fit_to_print(text, c->name);
        for (const rg_command *v = c->verbs; v->name; v++, verbs++) {
            char line[200], call[60];
            snprintf(line, sizeof line, "\n  %-10s %s\n", v->name, v->summary);
            cr_assert_eq(run(c->name, "-h"), 0);
            cr_assert_not_null(strstr(text, line), "%s %s is not listed", c->name, v->name);
            cr_assert_not_null(v->run);
            help_is_fit_to_print(v->help, v->name);
            snprintf(call, sizeof call, "rimglow %s %s ", c->name, v->name);
            cr_assert_eq(strncmp(v->help, call, strlen(call)), 0, "%s", call);
            cr_assert_not_null(strstr(v->help, "Examples:\n"), "%s", call);
            cr_assert_not_null(strstr(v->help, "Exit codes:"), "%s", call);
        }
    }
    cr_assert_gt(verbs, 0);
}

Test(command, a_verb_that_is_missing_or_unknown_is_a_wrong_command_line)
{
    cr_assert_eq(run_badly("calibrate", NULL), RG_USAGE);
    cr_assert_eq(run_badly("calibrate", "everything"), RG_USAGE);
}

Test(command, the_program_s_help_lists_every_command)
{
    cr_assert_eq(run("-h", NULL), 0);
    help_is_fit_to_print(text, "rimglow");
    for (const rg_command *c = rg_commands; c->name; c++) {
        char line[200];
        snprintf(line, sizeof line, "\n  %-10s %s\n", c->name, c->summary);
        cr_assert_not_null(strstr(text, line), "%s is not listed", c->name);
    }
    cr_assert_not_null(strstr(text, "\nExit codes: 0 sealed, 1 leaking, 2 undecided"));
    cr_assert_not_null(strstr(text, "\nCaution: "));
    cr_assert_eq(run("--help", NULL), 0);
    help_is_fit_to_print(text, "rimglow");
}

/* The first line alone is for scripts; what it was built of follows. */
Test(command, the_version_is_the_first_line)
{
    char line[80], facts[1024];
    int n = snprintf(line, sizeof line, "rimglow %s\n", RG_VERSION);
    rg_build_facts(facts, sizeof facts);
    cr_assert_eq(run("--version", NULL), 0);
    cr_assert_eq(strncmp(text, line, (size_t)n), 0, "%s", text);
    cr_assert_str_eq(text + n, facts);
    cr_expect(strstr(facts, sqlite3_libversion()) && strstr(facts, gsl_version), "%s", facts);
}

Test(command, an_unknown_command_is_named_and_is_a_usage_error)
{
    cr_assert_null(rg_command_find("inspekt"));
    cr_assert_null(rg_command_find("inspec"), "no abbreviations");
    cr_assert_null(rg_command_find("inspect "));
    cr_assert_null(rg_command_find(""));
    cr_assert_eq(run_badly("inspekt", NULL), EX_USAGE);
    cr_assert_stderr_eq_str("rimglow: unknown command \"inspekt\"; rimglow -h lists them\n");
}

Test(command, no_command_at_all_is_a_usage_error_with_a_hint)
{
    cr_assert_eq(run_badly(NULL, NULL), EX_USAGE);
    cr_assert_stderr_eq_str("rimglow: no command given; try: rimglow -h\n");
}

Test(command, a_complaint_is_one_line_and_gives_back_the_code)
{
    cr_redirect_stderr();
    cr_assert_eq(rg_command_fail(7, "%s of %d", "one", 2), 7);
    cr_assert_stderr_eq_str("rimglow: one of 2\n");
}

Test(command, exit_codes_are_those_of_sysexits)
{
    cr_assert_eq((int)RG_USAGE, EX_USAGE);
    cr_assert_eq((int)RG_BAD_DATA, EX_DATAERR);
    cr_assert_eq((int)RG_NO_INPUT, EX_NOINPUT);
    cr_assert_eq((int)RG_NO_CAMERA, EX_UNAVAILABLE);
    cr_assert_eq((int)RG_INTERNAL, EX_SOFTWARE);
    cr_assert_eq((int)RG_CANT_CREATE, EX_CANTCREAT);
    cr_assert_eq((int)RG_IO, EX_IOERR);
}

/*
 * Tests of trainee.h: what is written comes back to the last bit, an interruption loses nothing, hostile names
 * and files are refused. JSON lines as such: RFC 8259 by jansson, which the module uses too; jq reads them in
 * tests/cli/test_teach_quiz.sh. The digest in a file's name is by sha256sum.
 */
#include "rimglow/trainee.h"

#include <criterion/criterion.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "rimglow/file.h"
#include "support/quiz.h"
#include "support/scratch.h"

static rg_error err;
static char folder[TEST_SCRATCH_PATH];
static rg_quiz_options o;

static void setup(void)
{
    o = test_quiz_options();
    cr_assert(test_scratch_make(folder));
}

static void teardown(void)
{
    test_scratch_remove(folder);
}

TestSuite(trainee, .init = setup, .fini = teardown);

static rg_quiz_entry drawn(uint64_t seed)
{
    rg_quiz_entry e = {.time = 1795000000 + (int64_t)seed, .sitting = 1795000000};
    cr_assert_eq(
        rg_quiz_draw(&o, seed, 1 + (double)(seed % 19) / 2, RG_QUIZ_CAUSES, -1, &e.drawn, &err),
        RG_OK);
    rg_quiz_truth_of(&o, &e.drawn, &e.truth);
    e.answer = seed % 3 ? test_quiz_right(&e.truth) : test_quiz_wrong(&o, &e.truth);
    rg_quiz_score_of(&e.truth, &e.answer, &e.score);
    return e;
}

static rg_quiz_entry examined(uint64_t seed)
{
    rg_quiz_entry e = drawn(seed);
    rg_quiz_exam_id(&o, UINT64_MAX - 5, e.exam);
    e.exam_seed = UINT64_MAX - 5;
    e.exam_cases = 28;
    e.number = 1 + (int)(seed % 28);
    e.pass_share = 0.7;
    e.tool = true;
    e.tool_judged = seed % 2;
    e.tool_says = (rg_quiz_answer){RG_QUIZ_AT, 1.0 / 3, 2, RG_QUIZ_LOCAL};
    return e;
}

static rg_quiz_entry archived(void)
{
    rg_quiz_entry e = drawn(5);
    e.drawn = (rg_quiz_case){0};
    strcpy(e.picture, "WA2E-YYOY");
    e.truth.U_mm = 0.0132;
    e.truth.also_above = 1;
    rg_quiz_score_of(&e.truth, &e.answer, &e.score);
    return e;
}

/* Member by member; NANs alike. */
static void same(const rg_quiz_entry *a, const rg_quiz_entry *b)
{
    char *first, *second;
    cr_assert_eq(rg_trainee_line(a, &first, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_trainee_line(b, &second, &err), RG_OK, "%s", err.text);
    cr_expect_str_eq(first, second);
    free(second);
    free(first);
    cr_expect(a->time == b->time && a->sitting == b->sitting && a->exam_seed == b->exam_seed);
    cr_expect(a->drawn.level_mm == b->drawn.level_mm && a->drawn.noise == b->drawn.noise &&
              a->drawn.facing == b->drawn.facing && a->drawn.glare == b->drawn.glare);
    cr_expect(a->truth.widest_mm == b->truth.widest_mm &&
              a->truth.tolerance_deg == b->truth.tolerance_deg && a->truth.U_mm == b->truth.U_mm &&
              a->truth.also_above == b->truth.also_above &&
              a->truth.also_below == b->truth.also_below);
    cr_expect(a->score.all == b->score.all && a->number == b->number &&
              a->tool_judged == b->tool_judged && a->pass_share == b->pass_share);
    cr_expect_str_eq(a->exam, b->exam);
    cr_expect_str_eq(a->picture, b->picture);
}

/* ------------------------------------------------------------------ to and fro */

Test(trainee, what_is_written_comes_back)
{
    rg_trainee t;
    for (uint64_t seed = 0; seed < 16; seed++) {
        rg_quiz_entry e = seed % 2 ? examined(seed) : drawn(seed);
        cr_assert_eq(rg_trainee_append(folder, "A. Bell", &e, NULL, &err), RG_OK, "%s", err.text);
    }
    rg_quiz_entry last = archived();
    cr_assert_eq(rg_trainee_append(folder, "A. Bell", &last, NULL, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_trainee_read(folder, "A. Bell", &t, &err), RG_OK, "%s", err.text);
    cr_assert_eq(t.count, 17);
    cr_expect_eq(t.torn, 0);
    for (uint64_t seed = 0; seed < 16; seed++) {
        rg_quiz_entry e = seed % 2 ? examined(seed) : drawn(seed);
        same(&t.entry[seed], &e);
    }
    same(&t.entry[16], &last);
    rg_trainee_free(&t);
}

Test(trainee, nobody_has_no_results)
{
    rg_trainee t, *all;
    int count;
    cr_expect_eq(rg_trainee_read(folder, "nobody", &t, &err), RG_OK);
    cr_expect(t.count == 0 && strcmp(t.name, "nobody") == 0);
    cr_expect_eq(rg_trainee_read("/no/such/folder", "nobody", &t, &err), RG_OK);
    cr_expect_eq(rg_trainee_all("/no/such/folder", &all, &count, &err), RG_OK);
    cr_expect_eq(count, 0);
}

Test(trainee, all_of_a_folder)
{
    static const char *const name[] = {"A. Bell", "a. bell", "B. Carter"};
    rg_trainee *all;
    int count;
    for (int i = 0; i < 3; i++) {
        rg_quiz_entry e = drawn((uint64_t)i);
        cr_assert_eq(rg_trainee_append(folder, name[i], &e, NULL, &err), RG_OK);
    }
    char *other = rg_path_join(folder, "notes.txt");
    cr_assert_eq(rg_file_write(other, "x", 1, &err), RG_OK);
    free(other);
    cr_assert_eq(rg_trainee_all(folder, &all, &count, &err), RG_OK, "%s", err.text);
    cr_assert_eq(count, 3);
    for (int i = 0; i < 3; i++) {
        cr_expect_eq(all[i].count, 1);
        rg_trainee_free(&all[i]);
    }
    free(all);
}

/* --------------------------------------------------------------------- names */

/* printf 'A. Bell' | sha256sum */
Test(trainee, files_are_named_safely_and_never_shared)
{
    char file[RG_TRAINEE_FILE], other[RG_TRAINEE_FILE];
    rg_trainee_file("A. Bell", file);
    cr_expect_str_eq(file, "A--Bell-cc26182f.jsonl");
    rg_trainee_file("../../etc/passwd", file);
    cr_expect(strncmp(file, "------etc-passwd-", 17) == 0 && !strchr(file, '/'), "%s", file);
    rg_trainee_file("A/ Bell", other);
    cr_expect_eq(strncmp(other, "A--Bell-", 8), 0);
    rg_trainee_file("A. Bell", file);
    cr_expect_str_neq(file, other);
    char longest[RG_QUIZ_NAME];
    memset(longest, 'x', sizeof longest - 1);
    longest[sizeof longest - 1] = 0;
    rg_trainee_file(longest, file);
    cr_expect_eq(strlen(file), 40 + 1 + 8 + 6);
}

Test(trainee, names_that_are_none_are_refused)
{
    static const char *const bad[] = {
        "",
        " ",
        " Bell",
        "Bell ",
        "a\nb",
        "a\tb",
        "\x1b[2J",
        "a\x7f",
        "\xff\xfe",
        "\xc0\xaf",
        "\xc2\x85",
        "a\xe2\x80\xae"
        "b", /* U+202E turns the writing round */
        "a\xe2\x80\x8b"
        "b", /* U+200B has no width */
        "a\xd8\x9c"
        "b", /* U+061C, and further marks of Unicode Annex 9: U+200F, U+2066, U+2069 */
        "a\xe2\x80\x8f",
        "a\xe2\x81\xa6"
        "b",
        "a\xe2\x81\xa9"
        "b",
        "a\xe2\x81\xa0"
        "b", /* U+2060 joins words and has no width */
        "a\xe2\x80\xa8"
        "b", /* U+2028 and U+2029 end a line */
        "a\xe2\x80\xa9"
        "b",
        "\xef\xbb\xbfxy"};
    rg_quiz_entry e = drawn(1);
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        cr_expect_eq(rg_trainee_check_name(bad[i], &err), RG_USAGE, "%zu", i);
        cr_expect_eq(rg_trainee_append(folder, bad[i], &e, NULL, &err), RG_USAGE, "%zu", i);
    }
    char longer[RG_QUIZ_NAME + 1];
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = 0;
    cr_expect_eq(rg_trainee_check_name(longer, &err), RG_USAGE);
    cr_expect_eq(rg_trainee_check_name("J\xc3\xb8rgen \xe5\xb1\xb1\xe7\x94\xb0", &err), RG_OK);
    cr_expect_eq(rg_trainee_check_name("O'Neill / 2nd bench", &err), RG_OK);
}

/* --------------------------------------------------------------- interruptions */

static char *path_of(const char *name, const char *more)
{
    static char path[4096];
    char file[RG_TRAINEE_FILE];
    rg_trainee_file(name, file);
    snprintf(path, sizeof path, "%s/%s%s", folder, file, more);
    return path;
}

static char *text_of(const char *path, size_t *size)
{
    uint8_t *bytes;
    cr_assert_eq(rg_file_read(path, RG_TRAINEE_MAX_BYTES, &bytes, size, &err), RG_OK, "%s",
                 err.text);
    return (char *)bytes;
}

static void expect_unchanged(const char *name, const char *text, size_t size)
{
    size_t after;
    char *now = text_of(path_of(name, ""), &after);
    cr_expect(after == size && memcmp(now, text, size) == 0, "the file of %s is as it was", name);
    free(now);
}

/* The file cut at the bounds of its lines and within them: the whole lines are read, and after the next answer file and .torn together hold
 * every byte that was there. */
Test(trainee, a_cut_anywhere_loses_nothing)
{
    rg_quiz_entry first = drawn(1), second = examined(2), third = drawn(3);
    size_t size, head;
    rg_trainee_append(folder, "A", &first, NULL, &err);
    rg_trainee_append(folder, "A", &second, NULL, &err);
    char *whole = text_of(path_of("A", ""), &size);
    head = (size_t)(strchr(whole, '\n') + 1 - whole);
    size_t one = (size_t)(strchr(whole + head, '\n') + 1 - whole);
    const size_t cuts[] = {1,        head / 2, head - 1, head,    head + 1, (head + one) / 2,
                           one - 2,  one - 1,  one,      one + 1, one + 99, (one + size) / 2,
                           size - 2, size - 1, size};
    for (size_t k = 0; k < sizeof cuts / sizeof cuts[0]; k++) {
        const size_t cut = cuts[k];
        rg_trainee t;
        size_t aside, kept = 0, left = 0;
        unlink(path_of("A", ".torn"));
        cr_assert_eq(rg_file_write(path_of("A", ""), whole, cut, &err), RG_OK);
        cr_assert_eq(rg_trainee_read(folder, "A", &t, &err), RG_OK, "%s", err.text);
        int before = (cut >= one - 1) + (cut >= size - 1);
        cr_expect_eq(t.count, before, "%zu: %d", cut, t.count);
        rg_trainee_free(&t);
        cr_assert_eq(rg_trainee_append(folder, "A", &third, &aside, &err), RG_OK, "%s", err.text);
        cr_assert_eq(rg_trainee_read(folder, "A", &t, &err), RG_OK, "%s", err.text);
        cr_expect(t.count == before + 1 && t.torn == 0, "%zu", cut);
        same(&t.entry[before], &third);
        rg_trainee_free(&t);
        if (aside) {
            char *torn = text_of(path_of("A", ".torn"), &kept);
            cr_expect(kept == aside + 1 && memcmp(torn, whole + cut - aside, aside) == 0);
            free(torn);
        }
        char *now = text_of(path_of("A", ""), &left);
        cr_expect(memcmp(now, whole, cut - aside) == 0, "%zu", cut);
        free(now);
    }
    free(whole);
}

/* What lies in .torn already stays there; a link in its place is not followed, and the file is as it was. */
Test(trainee, pieces_of_two_interruptions_are_both_kept)
{
    static const char *const piece[] = {"{\"first", "{\"second"};
    rg_quiz_entry e = drawn(1);
    size_t size;
    cr_assert_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_OK);
    for (int i = 0; i < 2; i++) {
        FILE *file = fopen(path_of("A", ""), "a");
        cr_assert(file && fputs(piece[i], file) >= 0 && fclose(file) == 0);
        cr_assert_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_OK, "%s", err.text);
    }
    char *torn = text_of(path_of("A", ".torn"), &size);
    cr_expect(size == 17 && memcmp(torn, "{\"first\n{\"second\n", size) == 0, "%.*s", (int)size,
              torn);
    free(torn);
}

Test(trainee, a_link_in_the_place_of_the_torn_piece_is_refused)
{
    rg_quiz_entry e = drawn(1);
    char target[4096];
    size_t size, after;
    snprintf(target, sizeof target, "%s/elsewhere", folder);
    cr_assert_eq(rg_file_write(target, "", 0, &err), RG_OK);
    cr_assert_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_OK);
    FILE *file = fopen(path_of("A", ""), "a");
    cr_assert(file && fputs("{\"torn", file) >= 0 && fclose(file) == 0);
    char *before = text_of(path_of("A", ""), &size);
    cr_assert_eq(symlink(target, path_of("A", ".torn")), 0);
    cr_expect_neq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_OK);
    cr_expect(strstr(err.text, ".torn"), "%s", err.text);
    struct stat st;
    cr_expect(stat(target, &st) == 0 && st.st_size == 0);
    char *now = text_of(path_of("A", ""), &after);
    cr_expect(after == size && memcmp(now, before, size) == 0);
    free(now);
    free(before);
}

/* A disk that takes a part of a line: the file is as it was. */
Test(trainee, a_full_disk_leaves_the_file_as_it_was)
{
    rg_quiz_entry first = drawn(1), second = drawn(2);
    size_t size, after;
    struct rlimit limit;
    rg_trainee_append(folder, "A", &first, NULL, &err);
    char *whole = text_of(path_of("A", ""), &size);
    signal(SIGXFSZ, SIG_IGN);
    getrlimit(RLIMIT_FSIZE, &limit);
    rlim_t before = limit.rlim_cur;
    limit.rlim_cur = size + 100;
    setrlimit(RLIMIT_FSIZE, &limit);
    rg_code code = rg_trainee_append(folder, "A", &second, NULL, &err);
    limit.rlim_cur = before;
    setrlimit(RLIMIT_FSIZE, &limit);
    cr_expect(code == RG_IO || code == RG_CANT_CREATE, "%d %s", code, err.text);
    char *now = text_of(path_of("A", ""), &after);
    cr_expect(after == size && memcmp(now, whole, size) == 0);
    cr_expect_eq(rg_trainee_append(folder, "A", &second, NULL, &err), RG_OK, "%s", err.text);
    free(now);
    free(whole);
}

/* ------------------------------------------------------------------- hostility */

Test(trainee, links_and_folders_in_the_way_are_refused)
{
    rg_quiz_entry e = drawn(1);
    char target[4096];
    snprintf(target, sizeof target, "%s/elsewhere", folder);
    cr_assert_eq(rg_file_write(target, "", 0, &err), RG_OK);
    cr_assert_eq(symlink(target, path_of("A", "")), 0);
    cr_expect_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_CANT_CREATE, "%s", err.text);
    struct stat st;
    cr_expect(stat(target, &st) == 0 && st.st_size == 0);
    cr_assert_eq(mkdir(path_of("B", ""), 0777), 0);
    cr_expect_neq(rg_trainee_append(folder, "B", &e, NULL, &err), RG_OK);
    rmdir(path_of("B", ""));
    cr_assert_eq(mkfifo(path_of("C", ""), 0666), 0);
    cr_expect_eq(rg_trainee_append(folder, "C", &e, NULL, &err), RG_CANT_CREATE);
    cr_expect(strstr(err.text, "not a regular file"), "%s", err.text);
}

/* A file moved under another name is neither read nor added to. */
Test(trainee, a_file_holds_the_results_of_its_own_trainee)
{
    rg_quiz_entry e = drawn(1);
    rg_trainee t;
    size_t size;
    cr_assert_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_OK);
    char *text = text_of(path_of("A", ""), &size);
    cr_assert_eq(rg_file_write(path_of("B", ""), text, size, &err), RG_OK);
    cr_expect_eq(rg_trainee_read(folder, "B", &t, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "holds the results of A"), "%s", err.text);
    cr_expect(t.count == 0 && !t.entry);
    err = (rg_error){0};
    cr_expect_eq(rg_trainee_append(folder, "B", &e, NULL, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "holds the results of A"), "%s", err.text);
    expect_unchanged("B", text, size);
    free(text);
}

static rg_code parse(const char *text)
{
    rg_trainee t;
    rg_code code = rg_trainee_parse("t.jsonl", text, strlen(text), &t, &err);
    cr_expect(code == RG_OK || (t.count == 0 && !t.entry));
    rg_trainee_free(&t);
    return code;
}

/* A good file with one text in it changed. */
static void refused(const char *from, const char *to, const char *wanted)
{
    rg_quiz_entry e = examined(3);
    char *head, *line, text[8192];
    cr_assert_eq(rg_trainee_head("A. Bell", &head, &err), RG_OK);
    cr_assert_eq(rg_trainee_line(&e, &line, &err), RG_OK);
    snprintf(text, sizeof text, "%s%s", head, line);
    cr_expect_eq(parse(text), RG_OK, "%s", err.text);
    char *at = strstr(text, from), *rest = at ? strdup(at + strlen(from)) : NULL;
    cr_assert(at, "\"%s\" is not in %s", from, text);
    snprintf(at, sizeof text - (size_t)(at - text), "%s%s", to, rest);
    cr_expect_eq(parse(text), RG_BAD_DATA, "\"%s\" was accepted", to);
    cr_expect(strstr(err.text, wanted) && strstr(err.text, "t.jsonl, line "),
              "\"%s\" is not in \"%s\"", wanted, err.text);
    free(rest);
    free(head);
    free(line);
}

Test(trainee, what_is_no_answered_case_is_refused_by_line_and_key)
{
    refused("\"format\":\"rimglow trainee\"", "\"format\":\"other\"", "line 1");
    refused("\"version\":1", "\"version\":2", "line 1");
    refused("\"trainee\":\"A. Bell\"", "\"trainee\":7", "line 1");
    refused("\"time_s\":1795000003", "\"time_s\":-1", "time_s");
    refused("\"time_s\":1795000003", "\"time_s\":1795000003.5", "time_s");
    refused("\"exam\":{", "\"exam\":[],\"was\":{", "exam");
    refused("\"seed\":\"18446744073709551610\"", "\"seed\":\"18446744073709551616\"", "seed");
    refused("\"seed\":\"18446744073709551610\"", "\"seed\":\"+5\"", "seed");
    refused("\"number\":4", "\"number\":29", "number");
    refused("\"facing\":", "\"facing\":9,\"was\":", "facing");
    refused("\"level_mm\":", "\"level_mm\":1e300,\"was\":", "level_mm");
    refused("\"cause\":", "\"cause\":\"worn\",\"was\":", "cause");
    refused("\"judged\":true", "\"judged\":1", "judged");
    refused("\"bearing_deg\":0.33333333333333331", "\"bearing_deg\":null", "bearing_deg");
    refused("\"class_distance\":1", "\"class_distance\":0", "score");
    refused("\"score\":{", "\"score\":null,\"was\":{", "score");
    refused("\"picture\":null", "\"picture\":\"x\"", "case");
    refused("{\"time_s\"", "[\"time_s\"", "no object of JSON");
}

/* What no trainee may be called does not come in by a file either. */
Test(trainee, a_head_with_a_hostile_name_is_refused)
{
    static const char *const name[] = {" A", "a\\nb", "\\u202eb", ""};
    char text[256];
    for (size_t i = 0; i < sizeof name / sizeof name[0]; i++) {
        snprintf(text, sizeof text,
                 "{\"format\":\"rimglow trainee\",\"version\":1,\"trainee\":\"%s\"}\n", name[i]);
        cr_expect_eq(parse(text), RG_BAD_DATA, "%s", text);
        cr_expect(strstr(err.text, "t.jsonl") && strstr(err.text, "name"), "%s", err.text);
    }
    snprintf(text, sizeof text,
             "{\"format\":\"rimglow trainee\",\"version\":1,\"trainee\":\"A\"}\n");
    cr_expect_eq(parse(text), RG_OK, "%s", err.text);
}

Test(trainee, absurd_sizes_are_refused)
{
    rg_trainee t;
    char *head, *line;
    rg_quiz_entry e = drawn(4);
    cr_assert_eq(rg_trainee_head("A", &head, &err), RG_OK);
    cr_assert_eq(rg_trainee_line(&e, &line, &err), RG_OK);
    size_t lines = RG_TRAINEE_ENTRIES_MAX + 1, each = strlen(line), first = strlen(head);
    char *text = malloc(first + lines * each + 1);
    cr_assert(text != NULL);
    memcpy(text, head, first);
    for (size_t i = 0; i < lines; i++)
        memcpy(text + first + i * each, line, each);
    cr_expect_eq(rg_trainee_parse("t", text, first + (lines - 1) * each, &t, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(t.count, RG_TRAINEE_ENTRIES_MAX);
    rg_trainee_free(&t);
    cr_expect_eq(rg_trainee_parse("t", text, first + lines * each, &t, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "20000"), "%s", err.text);
    /* One endless line. */
    memset(text + first, 'x', RG_TRAINEE_LINE + 1);
    text[first + RG_TRAINEE_LINE + 1] = '\n';
    cr_expect_eq(rg_trainee_parse("t", text, first + RG_TRAINEE_LINE + 2, &t, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "line 2") && strstr(err.text, "16384"), "%s", err.text);
    cr_expect_eq(rg_trainee_parse("t", text, RG_TRAINEE_MAX_BYTES + 1, &t, &err), RG_BAD_DATA);
    free(text);
    free(line);
    free(head);
}

/* Lines padded with blanks, which JSON allows, up to some bytes below the limit. */
Test(trainee, a_file_never_outgrows_what_can_be_read)
{
    char *head, *line;
    rg_quiz_entry e = drawn(4);
    rg_trainee t;
    size_t size;
    cr_assert_eq(rg_trainee_head("A", &head, &err), RG_OK);
    cr_assert_eq(rg_trainee_line(&e, &line, &err), RG_OK);
    char *text = malloc(RG_TRAINEE_MAX_BYTES);
    cr_assert_not_null(text);
    memset(text, ' ', RG_TRAINEE_MAX_BYTES);
    memcpy(text, head, size = strlen(head));
    while (size < RG_TRAINEE_MAX_BYTES - 10) {
        size_t left = RG_TRAINEE_MAX_BYTES - 10 - size, wide = left > 32000 ? 16000 : left;
        wide = left > 16000 && left <= 32000 ? left / 2 : wide;
        memcpy(text + size, line, strlen(line) - 1);
        text[(size += wide) - 1] = '\n';
    }
    cr_assert_eq(rg_file_write(path_of("A", ""), text, size, &err), RG_OK);
    cr_assert_eq(rg_trainee_read(folder, "A", &t, &err), RG_OK, "%s", err.text);
    rg_trainee_free(&t);
    cr_expect_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "would pass its limit"), "%s", err.text);
    expect_unchanged("A", text, size);
    free(text);
    free(line);
    free(head);
}

/* What could not be read back is not written. */
Test(trainee, an_entry_that_cannot_be_is_not_written)
{
    char *line;
    rg_quiz_entry e = drawn(1);
    e.drawn.level_mm = NAN;
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_BAD_DATA);
    cr_expect_null(line);
    e = drawn(1);
    e.truth.width_class = 8;
    cr_expect_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_BAD_DATA);
    e = drawn(1);
    e.score.all = e.score.bearing = !e.score.bearing;
    cr_expect_eq(rg_trainee_append(folder, "A", &e, NULL, &err), RG_BAD_DATA);
    e = archived();
    strcpy(e.picture, "\xff");
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_BAD_DATA);
    /* An archived case is no part of an examination, its map no second judge, its classes are there. */
    e = archived();
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_OK, "%s", err.text);
    free(line);
    strcpy(e.exam, "E-1-28-42");
    e.exam_cases = e.number = 28;
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "exam must be null with a picture"), "%s", err.text);
    e = archived();
    e.tool = true;
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "tool must be null with a picture"), "%s", err.text);
    e = archived();
    e.truth.also_below = e.truth.width_class + 1;
    cr_expect_eq(rg_trainee_line(&e, &line, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "also_below"), "%s", err.text);
    struct stat st;
    cr_expect_neq(stat(path_of("A", ""), &st), 0);
}

/* Two programs begin the same files at the same moment: without the lock both would write the head. */
static void write_all(const rg_quiz_entry *entry, int count)
{
    for (int i = 0; i < count; i++) {
        char name[16];
        snprintf(name, sizeof name, "T%d", i);
        if (rg_trainee_append(folder, name, &entry[i], NULL, NULL) != RG_OK)
            _exit(1);
    }
    _exit(0);
}

Test(trainee, two_writers_keep_whole_lines)
{
    enum { FILES = 20, WRITERS = 4 };
    static rg_quiz_entry entry[FILES];
    for (int i = 0; i < FILES; i++)
        entry[i] = drawn((uint64_t)i);
    for (int writer = 0; writer < WRITERS; writer++)
        if (fork() == 0)
            write_all(entry, FILES);
    for (int writer = 0; writer < WRITERS; writer++) {
        int status;
        wait(&status);
        cr_expect_eq(status, 0);
    }
    for (int i = 0; i < FILES; i++) {
        char name[16];
        rg_trainee t;
        snprintf(name, sizeof name, "T%d", i);
        cr_assert_eq(rg_trainee_read(folder, name, &t, &err), RG_OK, "%s", err.text);
        cr_expect(t.count == WRITERS && t.torn == 0, "%d", t.count);
        rg_trainee_free(&t);
    }
}

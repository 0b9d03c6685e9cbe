/*
 * main.c - runs Criterion tests without Criterion's runner, for the build with ThreadSanitizer.
 *
 * Criterion isolates tests by memory at fixed addresses, where ThreadSanitizer allows none; its runner does not
 * start (Snaipe/Criterion, issue 274). The tests and the assertions stay Criterion's. Here every test runs in a
 * child process of its own, one after the other:
 *
 *   test_pool [--timeout SECONDS] [--filter SUITE/NAME, with * and ?]
 */
#include <criterion/criterion.h>
#include <criterion/event.h>
#include <fnmatch.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

/* Where Criterion's macros put the tests and suites of a program; the linker names the ends. */
extern struct criterion_test *__start_cr_tst[], *__stop_cr_tst[];
extern struct criterion_suite *__start_cr_sts[] __attribute__((weak));
extern struct criterion_suite *__stop_cr_sts[] __attribute__((weak));

static const struct criterion_test *now; /* in the child */
static bool failed;

/* ---------------------------------------------------------------- in place of Criterion's */

void criterion_send_assert(struct criterion_assert_stats *assertion)
{
    printf("%s:%u: %s\n", assertion->file, assertion->line, assertion->message);
    failed = failed || !assertion->passed;
}

void criterion_abort_test(void)
{
    exit(1);
}

void criterion_continue_test(void)
{
}

void cri_asserts_passed_incr(void)
{
}

static const struct criterion_suite *suite_of(const struct criterion_test *test)
{
    for (struct criterion_suite **s = __start_cr_sts; s < __stop_cr_sts; s++)
        if (strcmp((*s)->name, test->category) == 0)
            return *s;
    return NULL;
}

void criterion_internal_test_setup(void)
{
    const struct criterion_suite *suite = suite_of(now);
    if (suite && suite->data->init)
        suite->data->init();
    if (now->data->init)
        now->data->init();
}

void criterion_internal_test_main(void (*fn)(void))
{
    fn();
}

void criterion_internal_test_teardown(void)
{
    const struct criterion_suite *suite = suite_of(now);
    if (now->data->fini)
        now->data->fini();
    if (suite && suite->data->fini)
        suite->data->fini();
}

/* ---------------------------------------------------------------- the runner */

static bool passes(const struct criterion_test *test, unsigned seconds)
{
    int status = 0;
    fflush(stdout);
    pid_t child = fork();
    if (child == 0) {
        now = test;
        alarm(seconds);
        test->test();
        exit(failed);
    }
    return child > 0 && waitpid(child, &status, 0) == child && WIFEXITED(status) &&
           WEXITSTATUS(status) == 0;
}

int main(int argc, char **argv)
{
    const char *filter = "*";
    unsigned seconds = 300;
    int tested = 0, bad = 0;
    for (int i = 1; i + 1 < argc; i += 2) {
        if (strcmp(argv[i], "--filter") == 0)
            filter = argv[i + 1];
        if (strcmp(argv[i], "--timeout") == 0)
            seconds = (unsigned)strtoul(argv[i + 1], NULL, 10);
    }
    for (struct criterion_test **t = __start_cr_tst; t < __stop_cr_tst; t++) {
        if (fnmatch(filter, (*t)->data->identifier_, 0) != 0)
            continue;
        tested++;
        if (!passes(*t, seconds)) {
            bad++;
            printf("FAILED %s\n", (*t)->data->identifier_);
        }
    }
    printf("%s: tested %d, passing %d, failing %d\n", argv[0], tested, tested - bad, bad);
    return bad != 0;
}

/*
 * refusals.h - what tests of text files share: one change after another makes a good text bad, and the
 * refusal must say so. Inline, because the objects of tests/support are also linked into programs without
 * Criterion.
 */
#ifndef TEST_EDGE_REFUSALS_H
#define TEST_EDGE_REFUSALS_H

#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/status.h"
#include "support/load.h"

/* The first `from` becomes `to`; the error must hold all the texts that are wanted. */
typedef struct test_refusal {
    const char *from, *to;
    const char *want[5];
} test_refusal;

typedef rg_code test_parse(const char *label, const char *text, size_t size, rg_error *err);

/* The text itself is taken. Every error begins with the label. */
static inline void test_refusals(test_parse *parse, const char *label, const char *text,
                                 const test_refusal *row, size_t rows)
{
    rg_error err = {0};
    cr_assert_eq(parse(label, text, strlen(text), &err), RG_OK, "%s", err.text);
    for (size_t i = 0; i < rows; i++) {
        char *bad = test_edited(text, row[i].from, row[i].to);
        err = (rg_error){0};
        cr_expect_eq(parse(label, bad, strlen(bad), &err), RG_BAD_DATA, "\"%s\" was accepted",
                     row[i].to);
        cr_expect_eq(strncmp(err.text, label, strlen(label)), 0, "%s", err.text);
        for (int k = 0; k < 5 && row[i].want[k]; k++)
            cr_expect(strstr(err.text, row[i].want[k]), "\"%s\" is not in \"%s\"", row[i].want[k],
                      err.text);
        free(bad);
    }
}
#define TEST_REFUSALS(parse, label, text, row)                                                     \
    test_refusals(parse, label, text, row, sizeof(row) / sizeof((row)[0]))

#endif

/*
 * scratch.h - a folder of a test's own, and its removal.
 */
#ifndef RIMGLOW_TESTS_SCRATCH_H
#define RIMGLOW_TESTS_SCRATCH_H

#include <stdbool.h>

enum { TEST_SCRATCH_PATH = 128 };

/* Makes an empty folder below /tmp; false when that fails. */
bool test_scratch_make(char folder[TEST_SCRATCH_PATH]);
/* Removes it with all that is in it. */
void test_scratch_remove(const char *folder);

#endif

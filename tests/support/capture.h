/*
 * capture.h - what a function prints to stdout, as text.
 */
#ifndef RIMGLOW_TESTS_CAPTURE_H
#define RIMGLOW_TESTS_CAPTURE_H

#include <stddef.h>

/* From here on stdout goes to a file that has no name. */
void test_capture_begin(void);
/* Ends that; text gets what was printed, cut to size - 1 bytes. */
void test_capture_end(char *text, size_t size);

/* Columns of the longest line: bytes that begin a UTF-8 character. */
int test_longest_line(const char *text);

#endif

/*
 * capture.c - stdout by way of a temporary file: unlike a pipe it holds any
 * amount of text with nobody reading.
 */
#include "support/capture.h"

#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static FILE *file;
static int saved;

void test_capture_begin(void)
{
    fflush(stdout);
    file = tmpfile();
    saved = dup(STDOUT_FILENO);
    if (!file || saved < 0 || dup2(fileno(file), STDOUT_FILENO) < 0)
        abort();
}

void test_capture_end(char *text, size_t size)
{
    fflush(stdout);
    dup2(saved, STDOUT_FILENO);
    close(saved);
    rewind(file);
    text[fread(text, 1, size - 1, file)] = '\0';
    fclose(file);
}

int test_longest_line(const char *text)
{
    int longest = 0, column = 0;
    for (; *text; text++) {
        column = *text == '\n' ? 0 : column + (((unsigned char)*text & 0xC0) != 0x80);
        longest = column > longest ? column : longest;
    }
    return longest;
}

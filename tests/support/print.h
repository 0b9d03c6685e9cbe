/*
 * print.h - a drawn sheet as pixels, by programs that are not ours (poppler's
 * pdftoppm, librsvg's rsvg-convert), and lengths measured in those pixels.
 * Nothing here knows how the sheet was drawn.
 */
#ifndef RIMGLOW_TESTS_PRINT_H
#define RIMGLOW_TESTS_PRINT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/tags.h"

enum { TEST_PRINT_DPI = 600 };

typedef struct test_print {
    int width, height;
    uint8_t *grey; /* owned; row-major, 0 black */
} test_print;

/* Renders one page (from 1) of a PDF, or an SVG, at TEST_PRINT_DPI. Aborts when
 * the program refuses the file. */
test_print test_print_pdf(const void *bytes, size_t size, int page);
test_print test_print_svg(const void *bytes, size_t size);
void test_print_free(test_print *print);

/* True when `qpdf --check` finds nothing wrong with the file. */
bool test_pdf_is_sound(const void *bytes, size_t size);
/* Its number of pages, by qpdf. */
int test_pdf_pages(const void *bytes, size_t size);

/* What a program prints about the file, free(); `command` has one %s for its path. Aborts when the program
 * fails. */
char *test_pdf_answer(const char *command, const void *bytes, size_t size);
/* The words of all pages by poppler's pdftotext, one blank between any two; free(). */
char *test_pdf_words(const void *bytes, size_t size);
/* Every run of blanks, ends of lines and of pages becomes one blank, in place. */
void test_squeeze(char *text);

/* The page mirrored at its diagonal: columns become rows. */
test_print test_print_transposed(const test_print *print);

/* mm of the page for a position in pixels whose centres are at integers. */
double test_print_mm(double px);
/* And back. */
double test_print_px(double mm);

/* Dark lines along a stretch of row y (px), whose darkness is averaged over
 * rows y..y + rows - 1: centres (weighted by darkness) of the runs darker than
 * share of full black. Returns how many; at most max are stored. */
int test_print_lines(const test_print *print, int x0, int x1, int y, int rows, double share,
                     double *centre, int max);

/* Where the code crosses the middle between black and white along the row, at
 * or after x in steps of +1 or -1; NaN when it never does. The row may be cut
 * anywhere between pixels: y is rounded. */
double test_print_edge(const test_print *print, double x, double y, int step);

/* All tags of the page, in no order: found piece by piece, so that more than
 * RG_TAGS_MAX may be there. Corners are those of the finder, px. */
enum { TEST_PRINT_TAGS = 256 };
typedef struct test_print_tags {
    int count;
    rg_tag tag[TEST_PRINT_TAGS];
} test_print_tags;
void test_print_find(const test_print *print, test_print_tags *tags);

#endif

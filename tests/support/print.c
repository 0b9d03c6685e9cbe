/*
 * print.c - sheets as pixels.
 */
#include "support/print.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "rimglow/image.h"
#include "rimglow/memory.h"
#include "support/load.h"

static void give_up(const char *what)
{
    fprintf(stderr, "print: %s\n", what);
    abort();
}

/* A folder of its own with the file in it; path of the file. */
static void store(char folder[64], char path[96], const char *name, const void *bytes, size_t size)
{
    rg_error err = {0};
    strcpy(folder, "/tmp/rimglow-print-XXXXXX");
    if (!mkdtemp(folder))
        give_up("no folder for temporary files");
    snprintf(path, 96, "%s/%s", folder, name);
    if (rg_file_write(path, bytes, size, &err))
        give_up(err.text);
}

static int run(const char *command)
{
    int status = system(command);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void clean(const char *folder)
{
    char command[120];
    snprintf(command, sizeof command, "rm -rf %s", folder);
    run(command);
}

static test_print grey_of(const char *path)
{
    rg_image image = test_decode_file(path);
    test_print p = {image.width, image.height, malloc((size_t)image.width * (size_t)image.height)};
    if (!p.grey)
        give_up("no memory");
    rg_image_luma(&image, p.grey);
    rg_image_free(&image);
    return p;
}

/* A portable greymap of pdftoppm: "P5", width, height and 255, each behind white space, one more byte of it, then the
 * pixels. At 600 dpi it takes a small part of the time that a PNG takes to be packed and unpacked. */
static test_print greymap(const char *path)
{
    test_bytes file = test_load(path);
    test_print p = {0};
    int head = 0;
    char start[64] = "";
    memcpy(start, file.data, file.size < sizeof start ? file.size : sizeof start - 1);
    if (sscanf(start, "P5 %d %d 255%n", &p.width, &p.height, &head) != 2 || head == 0)
        give_up("no greymap");
    size_t pixels = (size_t)p.width * (size_t)p.height;
    if (file.size != (size_t)head + 1 + pixels)
        give_up("a greymap of another size than it says");
    memmove(file.data, file.data + head + 1, pixels);
    p.grey = file.data;
    return p;
}

static test_print render(const char *name, const void *bytes, size_t size, int page)
{
    char folder[64], path[96], command[400], picture[96];
    bool pdf = strstr(name, ".pdf") != NULL;
    store(folder, path, name, bytes, size);
    snprintf(picture, sizeof picture, "%s/page.%s", folder, pdf ? "pgm" : "png");
    if (pdf)
        snprintf(command, sizeof command, "pdftoppm -r %d -gray -singlefile -f %d -l %d %s %s/page",
                 TEST_PRINT_DPI, page, page, path, folder);
    else
        snprintf(command, sizeof command, "rsvg-convert -d %d -p %d -b white -o %s %s",
                 TEST_PRINT_DPI, TEST_PRINT_DPI, picture, path);
    if (run(command) != 0)
        give_up(command);
    test_print p = pdf ? greymap(picture) : grey_of(picture);
    clean(folder);
    return p;
}

test_print test_print_pdf(const void *bytes, size_t size, int page)
{
    return render("sheet.pdf", bytes, size, page);
}

test_print test_print_svg(const void *bytes, size_t size)
{
    return render("sheet.svg", bytes, size, 1);
}

void test_print_free(test_print *print)
{
    free(print->grey);
    *print = (test_print){0};
}

bool test_pdf_is_sound(const void *bytes, size_t size)
{
    char folder[64], path[96], command[200];
    store(folder, path, "sheet.pdf", bytes, size);
    snprintf(command, sizeof command, "qpdf --check %s >/dev/null", path);
    int status = run(command);
    clean(folder);
    return status == 0;
}

char *test_pdf_answer(const char *command, const void *bytes, size_t size)
{
    enum { ROOM = 4 * 1024 * 1024 };
    char folder[64], path[96], line[300];
    store(folder, path, "sheet.pdf", bytes, size);
    snprintf(line, sizeof line, command, path);
    FILE *answer = popen(line, "r");
    char *text = rg_alloc(ROOM, 1);
    if (!answer || !text)
        give_up(line);
    size_t n = fread(text, 1, ROOM - 1, answer);
    if (pclose(answer) != 0 || n == ROOM - 1)
        give_up(line);
    clean(folder);
    return text;
}

int test_pdf_pages(const void *bytes, size_t size)
{
    char *answer = test_pdf_answer("qpdf --show-npages %s", bytes, size);
    int pages = atoi(answer);
    free(answer);
    return pages;
}

void test_squeeze(char *text)
{
    char *to = text;
    for (const char *p = text; *p; p++)
        if (!isspace((unsigned char)*p))
            *to++ = *p;
        else if (to > text && to[-1] != ' ')
            *to++ = ' ';
    *to = 0;
}

char *test_pdf_words(const void *bytes, size_t size)
{
    char *text = test_pdf_answer("pdftotext -layout %s -", bytes, size);
    test_squeeze(text);
    return text;
}

/* By square blocks: a column of a page at 600 dpi, pixel by pixel, misses the cache each time. */
test_print test_print_transposed(const test_print *p)
{
    enum { BLOCK = 32 };
    test_print t = {p->height, p->width, malloc((size_t)p->width * (size_t)p->height)};
    if (!t.grey)
        give_up("no memory");
    for (int top = 0; top < p->height; top += BLOCK)
        for (int left = 0; left < p->width; left += BLOCK)
            for (int y = top; y < p->height && y < top + BLOCK; y++)
                for (int x = left; x < p->width && x < left + BLOCK; x++)
                    t.grey[(size_t)x * (size_t)t.width + (size_t)y] =
                        p->grey[(size_t)y * (size_t)p->width + (size_t)x];
    return t;
}

/* The page begins half a pixel before the centre of its first one. */
double test_print_mm(double px)
{
    return (px + 0.5) * 25.4 / TEST_PRINT_DPI;
}

double test_print_px(double mm)
{
    return mm * TEST_PRINT_DPI / 25.4 - 0.5;
}

static double darkness(const test_print *p, int x, int y, int rows)
{
    double sum = 0;
    for (int r = y; r < y + rows; r++)
        sum += 1 - p->grey[(size_t)r * (size_t)p->width + (size_t)x] / 255.0;
    return sum / rows;
}

int test_print_lines(const test_print *p, int x0, int x1, int y, int rows, double share,
                     double *centre, int max)
{
    int count = 0;
    if (x0 < 0 || x1 > p->width || y < 0 || y + rows > p->height)
        give_up("a row outside the page");
    for (int x = x0; x < x1; x++) {
        double weight = 0, moment = 0, peak = 0;
        /* A line with its grey skirts. */
        for (; x < x1 && darkness(p, x, y, rows) > 0.02; x++) {
            double d = darkness(p, x, y, rows);
            weight += d;
            moment += d * x;
            peak = d > peak ? d : peak;
        }
        if (peak > share && count < max)
            centre[count++] = moment / weight;
    }
    return count;
}

double test_print_edge(const test_print *p, double x, double y, int step)
{
    int row = (int)lround(y), at = (int)lround(x);
    if (row < 0 || row >= p->height)
        return NAN;
    const uint8_t *code = p->grey + (size_t)row * (size_t)p->width;
    for (; at >= 0 && at < p->width && at + step >= 0 && at + step < p->width; at += step) {
        double a = code[at] - 127.5, b = code[at + step] - 127.5;
        if (a * b < 0)
            return at + step * a / (a - b);
    }
    return NAN;
}

/* -------------------------------------------------------------------- tags */

static bool known(const test_print_tags *tags, const rg_tag *tag)
{
    for (int i = 0; i < tags->count; i++)
        if (tags->tag[i].id == tag->id && fabs(tags->tag[i].corner[0].x - tag->corner[0].x) < 10 &&
            fabs(tags->tag[i].corner[0].y - tag->corner[0].y) < 10)
            return true;
    return false;
}

/* Rows top to bottom of the page, which overlap so that no tag is cut in all. */
static void find_in(const test_print *p, rg_tag_finder *finder, int top, int rows,
                    test_print_tags *tags)
{
    rg_tag_list list;
    rg_error err = {0};
    if (rg_tags_find(finder, p->grey + (size_t)top * (size_t)p->width, p->width, rows, false, &list,
                     &err))
        give_up(err.text);
    for (int i = 0; i < list.count && tags->count < TEST_PRINT_TAGS; i++) {
        rg_tag tag = list.tag[i];
        for (int k = 0; k < 4; k++)
            tag.corner[k].y += top;
        if (!known(tags, &tag))
            tags->tag[tags->count++] = tag;
    }
}

void test_print_find(const test_print *print, test_print_tags *tags)
{
    enum { BAND = 1600, STEP = 900 };
    const rg_tag_options options = {.decimate = 3.0, .refine = true, .max_hamming = 0};
    rg_tag_finder *finder;
    rg_error err = {0};
    if (rg_tag_finder_new(&finder, &options, &err))
        give_up(err.text);
    tags->count = 0;
    for (int top = 0; top < print->height; top += STEP) {
        int rows = print->height - top < BAND ? print->height - top : BAND;
        find_in(print, finder, top, rows, tags);
    }
    rg_tag_finder_free(finder);
}

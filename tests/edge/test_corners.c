/*
 * test_corners.c - lists of corners as CSV.
 */
#include <criterion/criterion.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/corners.h"
#include "support/load.h"

#define HEAD "view,x_mm,y_mm,u_px,v_px\n"

static rg_corner_list parsed(const char *text)
{
    rg_corner_list list;
    rg_error err = {0};
    cr_assert_eq(rg_corners_parse("c.csv", text, strlen(text), &list, &err), RG_OK, "%s", err.text);
    return list;
}

static void refused(const char *text, size_t size, const char *where, const char *why)
{
    rg_corner_list list;
    rg_error err = {0};
    cr_assert_eq(rg_corners_parse("c.csv", text, size, &list, &err), RG_BAD_DATA, "%.80s", text);
    cr_assert(strncmp(err.text, where, strlen(where)) == 0 && strstr(err.text, why), "%s",
              err.text);
    cr_assert(list.view == NULL && list.views == 0);
}

Test(corners, a_list_is_read_by_view)
{
    rg_corner_list l = parsed("\xEF\xBB\xBF# made by hand\r\n# size 640x480\r\n" HEAD
                              "a.jpg, 0 ,0,1.5,-2.25\r\nb.jpg,25,0,3,4\r\n\r\n# between\r\n"
                              "a.jpg,0,25,5e1,6");
    cr_assert_eq(l.views, 2);
    cr_assert(l.width == 640 && l.height == 480);
    cr_assert(strcmp(l.view[0].name, "a.jpg") == 0 && strcmp(l.view[1].name, "b.jpg") == 0);
    cr_assert(l.view[0].corners == 2 && l.view[1].corners == 1);
    const rg_corner *c = l.view[0].corner;
    cr_assert(c[0].board.x == 0 && c[0].pixel.x == 1.5 && c[0].pixel.y == -2.25);
    cr_assert(c[1].board.y == 25 && c[1].pixel.x == 50 && c[1].pixel.y == 6);
    cr_assert(l.view[1].corner[0].board.x == 25);
    rg_corner_list_free(&l);
    rg_corner_list_free(&l);
}

Test(corners, the_chessboard_file_is_read_whole)
{
    test_bytes b = test_load("tests/data/lens/left_corners.csv");
    rg_corner_list l;
    rg_error err = {0};
    cr_assert_eq(rg_corners_parse("left", (const char *)b.data, b.size, &l, &err), RG_OK);
    cr_assert(l.views == 13 && l.width == 640 && l.height == 480);
    for (int i = 0; i < 13; i++)
        cr_assert_eq(l.view[i].corners, 54);
    cr_assert_str_eq(l.view[12].name, "left14.jpg");
    cr_assert_eq(l.view[0].corner[1].pixel.x, 274.394623);
    rg_corner_list_free(&l);
    free(b.data);
}

Test(corners, a_missing_size_is_no_error)
{
    rg_corner_list l = parsed(HEAD "a,0,0,1,2\n");
    cr_assert(l.width == 0 && l.height == 0);
    rg_corner_list_free(&l);
}

Test(corners, what_is_no_corner_is_refused_by_line)
{
    static const struct {
        const char *text, *where, *why;
    } bad[] = {
        {"", "c.csv: ", "no corner"},
        {HEAD, "c.csv: ", "no corner"},
        {"# size 640x480\n", "c.csv: ", "no corner"},
        {"a,0,0,1,2\n", "c.csv, line 1: ", "heading"},
        {"view,x,y,u,v\na,0,0,1,2\n", "c.csv, line 1: ", "heading"},
        {HEAD "a,0,0,1\n", "c.csv, line 2: ", "five fields"},
        {HEAD "a,0,0,1,2,3\n", "c.csv, line 2: ", "five fields"},
        {HEAD "\n\na,0,0,1,\n", "c.csv, line 4: ", "\"\" is no finite"},
        {HEAD "a,0,0,1,nan\n", "c.csv, line 2: ", "\"nan\""},
        {HEAD "a,0,0,1,inf\n", "c.csv, line 2: ", "\"inf\""},
        {HEAD "a,0,0,1,1e999\n", "c.csv, line 2: ", "1e999"},
        {HEAD "a,0,0,0x10,2\n", "c.csv, line 2: ", "0x10"},
        {HEAD ",0,0,1,2\n", "c.csv, line 2: ", "name has 1 to 127"},
        {HEAD "a\x01,0,0,1,2\n", "c.csv, line 2: ", "control"},
        {HEAD "a,0,0\r,1,2\n", "c.csv, line 2: ", "control"},
        {"# size 640\n" HEAD, "c.csv, line 1: ", "# size 640x480"},
        {"# size 640x\n" HEAD, "c.csv, line 1: ", "# size 640x480"},
        {"# size 0x480\n" HEAD, "c.csv, line 1: ", "# size 640x480"},
        {"# size 99999999999x480\n" HEAD, "c.csv, line 1: ", "# size 640x480"},
        {"# size 640x480 px\n" HEAD, "c.csv, line 1: ", "# size 640x480"},
        {"# size 640x480\n# size 640x481\n" HEAD, "c.csv, line 2: ", "another picture size"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        refused(bad[i].text, strlen(bad[i].text), bad[i].where, bad[i].why);
    refused(HEAD "a\0,0,0,1,2\n", sizeof HEAD "a\0,0,0,1,2\n" - 1, "c.csv, line 2: ", "control");
}

Test(corners, huge_files_are_refused_at_the_door)
{
    size_t size = 600000;
    char *text = malloc(size);
    cr_assert_not_null(text);
    int n = snprintf(text, size, HEAD);
    size_t at = (size_t)n;
    for (int i = 0; i < 130; i++)
        at += (size_t)snprintf(text + at, size - at, "v%d,0,0,1,2\n", i);
    refused(text, at, "c.csv, line 130: ", "view v128 is one more than the 128");
    at = (size_t)n;
    for (int i = 0; i < 4097; i++)
        at += (size_t)snprintf(text + at, size - at, "v,%d,0,1,2\n", i);
    refused(text, at, "c.csv, line 4098: ", "more than 4096 corners");
    memset(text, 'x', size);
    refused(text, size, "c.csv, line 1: ", "longer than 511");
    free(text);
    refused("", (size_t)RG_CORNERS_MAX_BYTES + 1, "c.csv: ", "another file");
}

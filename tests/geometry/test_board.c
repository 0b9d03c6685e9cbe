/*
 * test_board.c - where the tags of a calibration board lie.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/board.h"

static const rg_board board = {7, 5, 20.0, 26.0, 400};

Test(board, corners_lie_on_the_grid_as_printed)
{
    rg_vec2 c[4];
    rg_board_corners(&board, 0, c);
    cr_assert(c[0].x == 0.0 && c[0].y == 0.0 && c[1].x == 20.0 && c[1].y == 0.0);
    cr_assert(c[2].x == 20.0 && c[2].y == 20.0 && c[3].x == 0.0 && c[3].y == 20.0);
    rg_board_corners(&board, 7 * 2 + 3, c); /* row 2, column 3 */
    cr_assert(c[0].x == 78.0 && c[0].y == 52.0 && c[2].x == 98.0 && c[2].y == 72.0);
    rg_vec2 size = rg_board_size(&board);
    cr_assert(size.x == 6 * 26.0 + 20.0 && size.y == 4 * 26.0 + 20.0);
}

Test(board, ids_run_row_by_row)
{
    cr_assert_eq(rg_board_tags(&board), 35);
    cr_assert_eq(rg_board_index(&board, 400), 0);
    cr_assert_eq(rg_board_index(&board, 407), 7);
    cr_assert_eq(rg_board_index(&board, 434), 34);
    cr_assert_eq(rg_board_index(&board, 435), -1);
    cr_assert_eq(rg_board_index(&board, 399), -1);
}

static void refused(rg_board b, const char *value, const char *remedy)
{
    rg_error err = {0};
    cr_assert_eq(rg_board_check(&b, &err), RG_BAD_DATA);
    cr_assert(strstr(err.text, value) && strstr(err.text, remedy), "%s", err.text);
}

Test(board, impossible_boards_are_refused_by_value)
{
    rg_error err = {0};
    cr_assert_eq(rg_board_check(&board, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_board_check(&(rg_board){8, 8, 20, 25, 523}, &err), RG_OK, "%s", err.text);
    refused((rg_board){0, 5, 20, 26, 400}, "0 columns", "1 to 64");
    refused((rg_board){7, -1, 20, 26, 400}, "-1 rows", "1 to 64");
    refused((rg_board){13, 5, 20, 26, 400}, "13 columns by 5", "1 to 64");
    refused((rg_board){65536, 65536, 20, 26, 400}, "65536 columns", "1 to 64");
    refused((rg_board){7, 5, 0.5, 26, 400}, "0.5 mm", "black border");
    refused((rg_board){7, 5, NAN, 26, 400}, "nan mm", "black border");
    refused((rg_board){7, 5, 20, 24.9, 400}, "24.9 mm", "white paper");
    refused((rg_board){7, 5, 20, INFINITY, 400}, "inf mm", "white paper");
    refused((rg_board){7, 5, 20, NAN, 400}, "nan mm", "white paper");
    refused((rg_board){7, 5, 20, 26, -1}, "ids from -1", "0 to 552");
    refused((rg_board){7, 5, 20, 26, 553}, "ids from 553", "0 to 552");
}

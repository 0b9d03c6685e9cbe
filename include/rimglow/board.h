/*
 * board.h - the printed board of tags that the lens is calibrated with.
 *
 * A plane grid of tag36h11 fiducials, all upright. The tag in row r and
 * column c has the id first_id + r * columns + c; the top-left corner of its
 * black border lies at (c * pitch, r * pitch), x to the right and y down as
 * printed, z = 0 (mm). The board's frame is therefore right-handed with z into
 * the paper, and a board in front of the camera has positive depth along +z.
 */
#ifndef RIMGLOW_BOARD_H
#define RIMGLOW_BOARD_H

#include "rimglow/status.h"
#include "rimglow/vec.h"

enum {
    RG_BOARD_TAGS_MAX = 64, /* as many as the tag finder takes (tags.h) */
    RG_BOARD_IDS = 587      /* tag36h11 has the ids 0 to 586 */
};

typedef struct rg_board {
    int columns, rows;
    double tag_mm;   /* edge of a tag's black border */
    double pitch_mm; /* from tag to tag */
    int first_id;    /* of the top-left tag */
} rg_board;

/* RG_BAD_DATA names the first value that no board can have: columns, rows not
 * 1 or more or more than RG_BOARD_TAGS_MAX tags together; a tag edge outside
 * 1 to 1000 mm; a pitch that leaves less than a quarter of a tag, two modules,
 * of white between tags; ids outside the family. */
rg_code rg_board_check(const rg_board *board, rg_error *err);

/* Tags of the board. */
int rg_board_tags(const rg_board *board);
/* Index of an id on the board, row by row; -1 when it is not on it. */
int rg_board_index(const rg_board *board, int id);
/* The corners of tag i in tag order (top-left, top-right, bottom-right,
 * bottom-left), mm. */
void rg_board_corners(const rg_board *board, int index, rg_vec2 corner[4]);
/* From the first tag's top-left to the last tag's bottom-right corner, mm. */
rg_vec2 rg_board_size(const rg_board *board);

#endif

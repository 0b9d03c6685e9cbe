/*
 * board.c - where the tags of a calibration board lie.
 */
#include "rimglow/board.h"

static const double MIN_GAP = 0.25; /* of a tag's edge: white that the tag search needs */
static const double TAG_MIN_MM = 1.0, TAG_MAX_MM = 1000.0, PITCH_MAX = 10.0;

rg_code rg_board_check(const rg_board *board, rg_error *err)
{
    if (board->columns < 1 || board->rows < 1 || board->columns > RG_BOARD_TAGS_MAX ||
        board->rows > RG_BOARD_TAGS_MAX || board->columns * board->rows > RG_BOARD_TAGS_MAX)
        return rg_fail(err, RG_BAD_DATA,
                       "board: %d columns by %d rows; it holds 1 to %d tags, such as 7 by 5",
                       board->columns, board->rows, RG_BOARD_TAGS_MAX);
    if (!(board->tag_mm >= TAG_MIN_MM && board->tag_mm <= TAG_MAX_MM))
        return rg_fail(err, RG_BAD_DATA,
                       "board: a tag of %g mm; measure the edge of the black border, %g to %g mm",
                       board->tag_mm, TAG_MIN_MM, TAG_MAX_MM);
    if (!(board->pitch_mm >= (1.0 + MIN_GAP) * board->tag_mm &&
          board->pitch_mm <= PITCH_MAX * board->tag_mm))
        return rg_fail(
            err, RG_BAD_DATA,
            "board: a pitch of %g mm with tags of %g mm; give %g to %g mm, so that white "
            "paper stays between the tags",
            board->pitch_mm, board->tag_mm, (1.0 + MIN_GAP) * board->tag_mm,
            PITCH_MAX * board->tag_mm);
    if (board->first_id < 0 || board->first_id > RG_BOARD_IDS - rg_board_tags(board))
        return rg_fail(err, RG_BAD_DATA,
                       "board: ids from %d with %d tags; tag36h11 ends at %d, so begin at 0 to %d",
                       board->first_id, rg_board_tags(board), RG_BOARD_IDS - 1,
                       RG_BOARD_IDS - rg_board_tags(board));
    return RG_OK;
}

int rg_board_tags(const rg_board *board)
{
    return board->columns * board->rows;
}

int rg_board_index(const rg_board *board, int id)
{
    int index = id - board->first_id;
    return index >= 0 && index < rg_board_tags(board) ? index : -1;
}

void rg_board_corners(const rg_board *board, int index, rg_vec2 corner[4])
{
    double x = index % board->columns * board->pitch_mm;
    double y = index / board->columns * board->pitch_mm;
    for (int i = 0; i < 4; i++) {
        corner[i].x = x + (i == 1 || i == 2 ? board->tag_mm : 0.0);
        corner[i].y = y + (i >= 2 ? board->tag_mm : 0.0);
    }
}

rg_vec2 rg_board_size(const rg_board *board)
{
    return (rg_vec2){(board->columns - 1) * board->pitch_mm + board->tag_mm,
                     (board->rows - 1) * board->pitch_mm + board->tag_mm};
}

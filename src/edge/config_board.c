/*
 * config_board.c - the file of the calibration board.
 */
#include <string.h>

#include "config_private.h"

#define BOARD(member) offsetof(rg_board_layout, member)

enum { LINE_MAX_TAGS = RG_TAGS_MAX / 2 }; /* a board has two rows and two columns at least */

static const rg_ini_field field[] = {
    {"board", "columns", RG_INI_WHOLE, BOARD(columns), 2, LINE_MAX_TAGS, "tags in a row"},
    {"board", "rows", RG_INI_WHOLE, BOARD(rows), 2, LINE_MAX_TAGS, "tags in a column"},
    {"board", "tag_mm", RG_INI_NUMBER, BOARD(tag_mm), 1, 200, "edge of a tag's black border, mm"},
    {"board", "pitch_mm", RG_INI_NUMBER, BOARD(pitch_mm), 1.25, 250,
     "distance from tag to tag, left edge to left edge, mm"},
    {"board", "first_id", RG_INI_WHOLE, BOARD(first_id), 0, RG_TAG_IDS - 1,
     "id of the top left tag"},
};
static const rg_ini_table table = {field, (int)(sizeof field / sizeof field[0])};

/* Values that each fit their own range, but not together. */
static rg_code check_together(const char *label, const rg_board_layout *b, rg_error *err)
{
    const double whites = (double)RG_TAG_MODULES / RG_TAG_BORDER_MODULES;
    int tags = b->columns * b->rows;
    if (tags > RG_TAGS_MAX) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: columns = %d times rows = %d are %d tags, more than the %d that are "
                       "read in one picture; take fewer and larger ones",
                       label, b->columns, b->rows, tags, RG_TAGS_MAX);
    }
    if (b->first_id + tags > RG_TAG_IDS) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: first_id = %d and %d tags go beyond the last id, %d; begin at %d or "
                       "below",
                       label, b->first_id, tags, RG_TAG_IDS - 1, RG_TAG_IDS - tags);
    }
    if (b->pitch_mm < whites * b->tag_mm - 1e-9) {
        return rg_fail(err, RG_BAD_DATA,
                       "%s: pitch_mm = %.9g leaves less than a module of white around tags of "
                       "tag_mm = %.9g; make it %.9g or more",
                       label, b->pitch_mm, b->tag_mm, whites * b->tag_mm);
    }
    return RG_OK;
}

static bool within(const rg_board_layout *b, const rg_ini_field *f)
{
    const char *at = (const char *)b + f->offset;
    double value;
    if (f->type == RG_INI_WHOLE) {
        int whole;
        memcpy(&whole, at, sizeof whole);
        value = whole;
    } else {
        memcpy(&value, at, sizeof value);
    }
    return value >= f->low && value <= f->high;
}

rg_code rg_board_layout_check(const char *label, const rg_board_layout *board, rg_error *err)
{
    for (int i = 0; i < table.fields; i++) {
        if (!within(board, &field[i])) {
            return rg_fail(err, RG_BAD_DATA, "%s: %s is outside %.9g to %.9g; check the %s", label,
                           field[i].key, field[i].low, field[i].high, field[i].meaning);
        }
    }
    return check_together(label, board, err);
}

rg_code rg_board_parse(const char *label, const char *text, size_t size, rg_board_layout *board,
                       rg_error *err)
{
    *board = (rg_board_layout){0};
    rg_ini *ini;
    rg_code code = rg_ini_read(label, "calib/board.ini", text, size, &ini, err);
    if (code != RG_OK) {
        return code;
    }
    rg_board_layout filled = {0};
    for (int i = 0; i < ini->sections && code == RG_OK; i++) {
        if (strcmp(ini->section[i].name, "board") != 0) {
            code = rg_ini_unknown_section(ini, i, "[board]", err);
        }
    }
    if (code == RG_OK) {
        code = rg_ini_fill_named(ini, table, "board", &filled, err);
    }
    if (code == RG_OK) {
        code = check_together(label, &filled, err);
    }
    if (code == RG_OK) {
        *board = filled;
    }
    rg_ini_free(ini);
    return code;
}

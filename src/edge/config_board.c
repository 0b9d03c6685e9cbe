/*
 * config_board.c - the calibration board's file.
 */
#include "rimglow/config_board.h"

#include <stdio.h>
#include <string.h>

#include "config_private.h"

#define BOARD(member) offsetof(rg_board_config, member)

static const rg_ini_field field[] = {
    {"board", "columns", RG_INI_WHOLE, BOARD(board.columns), 1, RG_BOARD_TAGS_MAX, "tags across"},
    {"board", "rows", RG_INI_WHOLE, BOARD(board.rows), 1, RG_BOARD_TAGS_MAX, "tags down"},
    {"board", "tag_mm", RG_INI_NUMBER, BOARD(board.tag_mm), 1, 1000,
     "edge of a tag's black border, mm"},
    {"board", "pitch_mm", RG_INI_NUMBER, BOARD(board.pitch_mm), 1, 10000,
     "distance from tag to tag, mm"},
    {"board", "first_id", RG_INI_WHOLE, BOARD(board.first_id), 0, RG_BOARD_IDS - 1,
     "id of the top left tag"},
    {"search", "decimate", RG_INI_NUMBER, BOARD(tags.decimate), 1, 4,
     "factor by which the tag search's picture is smaller"},
    {"search", "refine", RG_INI_SWITCH, BOARD(tags.refine), 0, 0,
     "first corners moved along gradients"},
    {"search", "max_hamming", RG_INI_WHOLE, BOARD(tags.max_hamming), 0, 2,
     "wrong bits that may be corrected"},
    {"search", "min_margin", RG_INI_NUMBER, BOARD(tags.min_margin), 0, 255,
     "smallest decision margin, grey codes"},
    {"search", "min_tag_side_px", RG_INI_NUMBER, BOARD(limits.min_tag_side_px), 48, 4096,
     "shortest side of a tag, px"},
    {"search", "max_line_px", RG_INI_NUMBER, BOARD(limits.max_line_px), 0.01, 5,
     "largest scatter of a border about its line, px rms"},
    {"search", "min_tags", RG_INI_WHOLE, BOARD(limits.min_tags), 1, RG_BOARD_TAGS_MAX,
     "fewest usable tags of a photograph"},
    {"model", "square_pixels", RG_INI_SWITCH, BOARD(options.model.fixed_aspect), 0, 0,
     "one focal length for across and down"},
    {"model", "tangential", RG_INI_SWITCH, BOARD(options.model.tangential), 0, 0,
     "tangential distortion fitted"},
    {"model", "k3", RG_INI_SWITCH, BOARD(k3), 0, 0, "third radial value fitted"},
    {"model", "bad_view_ratio", RG_INI_NUMBER, BOARD(options.bad_view_ratio), 1.5, 100,
     "times the median rms from which a photograph is bad"},
    {"enough", "min_views", RG_INI_WHOLE, BOARD(enough.min_views), RG_CALIBRATION_VIEWS_MIN,
     RG_CALIBRATION_VIEWS_MAX, "good photographs"},
    {"enough", "field_views", RG_INI_WHOLE, BOARD(enough.field_views), 0, 100,
     "photographs with a mark in each ninth of the picture"},
    {"enough", "corner_reach", RG_INI_NUMBER, BOARD(enough.corner_reach), 0.01, 2,
     "nearest mark to each corner, part of half the diagonal"},
    {"enough", "tilt_deg", RG_INI_NUMBER, BOARD(enough.tilt_deg), 1, 60,
     "angle from which a board is tipped, degrees"},
    {"enough", "tilted_views", RG_INI_WHOLE, BOARD(enough.tilted_views), 0, 100,
     "photographs tipped about each axis"},
    {"enough", "focal_relative", RG_INI_NUMBER, BOARD(enough.focal_relative), 1e-5, 0.1,
     "largest relative deviation of the focal length"},
    {"enough", "max_rms_px", RG_INI_NUMBER, BOARD(enough.max_rms_px), 0.01, 5,
     "largest rms distance of the marks, px"},
    {"live", "still_px", RG_INI_NUMBER, BOARD(live.still_px), 0.05, 50,
     "movement of the marks of a board that is held still, px"},
    {"live", "still_s", RG_INI_NUMBER, BOARD(live.still_s), 0, 10, "time it is held still, s"},
    {"live", "max_blur_px", RG_INI_NUMBER, BOARD(live.max_blur_px), 0.3, 10,
     "largest blur of a photograph, sigma, px"},
    {"live", "moved_part", RG_INI_NUMBER, BOARD(live.moved_part), 0.001, 0.5,
     "movement that makes another view, part of the diagonal"},
};
static const rg_ini_table table = {field, sizeof field / sizeof *field};
static const char *const section_name[] = {"board", "search", "model", "enough", "live"};
enum { SECTIONS = sizeof section_name / sizeof *section_name };

static rg_code check_sections(const rg_ini *ini, rg_error *err)
{
    for (int i = 0; i < ini->sections; i++) {
        bool known = false;
        for (int k = 0; k < SECTIONS; k++)
            known = known || strcmp(ini->section[i].name, section_name[k]) == 0;
        if (!known)
            return rg_ini_unknown_section(ini, i, "board, search, model, enough, live", err);
    }
    return RG_OK;
}

static rg_code check_values(const rg_ini *ini, const rg_board_config *c, rg_error *err)
{
    static const double factor[] = {1, 1.5, 2, 3, 4};
    bool known = false;
    for (size_t i = 0; i < sizeof factor / sizeof *factor; i++)
        known = known || c->tags.decimate == factor[i];
    if (!known)
        return rg_ini_fail(ini, rg_ini_find(ini, rg_ini_section_index(ini, "search"), "decimate"),
                           err, "the tag search knows 1, 1.5, 2, 3 and 4; choose one of them");
    if (rg_board_check(&c->board, err) != RG_OK) {
        char prefix[RG_ERROR_TEXT];
        snprintf(prefix, sizeof prefix, "%s: [board]", ini->label);
        return rg_fail_prefix(err, prefix);
    }
    if (c->limits.min_tags > rg_board_tags(&c->board))
        return rg_ini_fail(ini, rg_ini_find(ini, rg_ini_section_index(ini, "search"), "min_tags"),
                           err, "the board has only %d tags; lower it", rg_board_tags(&c->board));
    return RG_OK;
}

rg_code rg_board_config_parse(const char *label, const char *text, size_t size,
                              rg_board_config *config, rg_error *err)
{
    rg_ini *ini;
    rg_board_config c = {.options.model.aspect = 1.0};
    rg_code code = rg_ini_read(label, "calib/board.ini", text, size, &ini, err);
    *config = (rg_board_config){0};
    if (code != RG_OK)
        return code;
    code = check_sections(ini, err);
    for (int i = 0; i < SECTIONS && code == RG_OK; i++)
        code = rg_ini_fill_named(ini, table, section_name[i], &c, err);
    c.options.model.radial = c.k3 ? 3 : 2;
    if (code == RG_OK)
        code = check_values(ini, &c, err);
    if (code == RG_OK)
        *config = c;
    rg_ini_free(ini);
    return code;
}

/*
 * test_config_board.c - the calibration board's file. The default values are
 * written out a second time here: a change of calib/board.ini must be meant.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config_board.h"
#include "rimglow/config_edit.h"
#include "support/load.h"

static rg_code parse_with(const char *section, const char *key, const char *value,
                          rg_board_config *c, rg_error *err)
{
    test_bytes b = test_load("calib/board.ini");
    rg_config_change change = {section, key, value};
    char *text = NULL;
    cr_assert_eq(
        rg_config_edit("b", (const char *)b.data, b.size, &change, key ? 1 : 0, &text, err), RG_OK);
    rg_code code = rg_board_config_parse("b.ini", text, strlen(text), c, err);
    free(text);
    free(b.data);
    return code;
}

Test(config_board, the_default_file_is_read_whole)
{
    rg_board_config c;
    rg_error err = {0};
    cr_assert_eq(parse_with(NULL, NULL, NULL, &c, &err), RG_OK, "%s", err.text);
    cr_expect(c.board.columns == 9 && c.board.rows == 7 && c.board.tag_mm == 4.8 &&
              c.board.pitch_mm == 6.4 && c.board.first_id == 400);
    cr_expect(c.tags.decimate == 2 && c.tags.refine && c.tags.max_hamming == 1 &&
              c.tags.min_margin == 20);
    cr_expect(c.limits.min_tag_side_px == 50 && c.limits.max_line_px == 0.25 &&
              c.limits.min_tags == 6);
    cr_expect(!c.options.model.fixed_aspect && c.options.model.aspect == 1 &&
              c.options.model.tangential && c.options.model.radial == 2 && !c.options.model.skew &&
              c.options.bad_view_ratio == 3);
    cr_expect(c.enough.min_views == 8 && c.enough.field_views == 2 &&
              c.enough.corner_reach == 0.25 && c.enough.tilt_deg == 15 &&
              c.enough.tilted_views == 2 && c.enough.focal_relative == 0.002 &&
              c.enough.max_rms_px == 0.3);
    cr_expect(c.live.still_px == 1 && c.live.still_s == 0.8 && c.live.max_blur_px == 1.5 &&
              c.live.moved_part == 0.01);
}

/* 297 x 210 and 279.4 x 215.9 mm, with a printer's margin of 12 mm all round. */
Test(config_board, the_default_board_fits_a4_and_letter_and_no_crown)
{
    rg_board_config c;
    rg_error err = {0};
    cr_assert_eq(parse_with(NULL, NULL, NULL, &c, &err), RG_OK);
    rg_vec2 size = rg_board_size(&c.board);
    cr_expect(size.x <= 279.4 - 24 && size.y <= 210 - 24);
    cr_expect_gt(c.board.first_id, 6 * RG_BOARD_TAGS_MAX);
}

Test(config_board, k3_is_the_third_radial_value)
{
    rg_board_config c;
    rg_error err = {0};
    cr_assert_eq(parse_with("model", "k3", "yes", &c, &err), RG_OK);
    cr_expect_eq(c.options.model.radial, 3);
    cr_assert_eq(parse_with("model", "square_pixels", "yes", &c, &err), RG_OK);
    cr_expect(c.options.model.fixed_aspect && c.options.model.aspect == 1);
}

Test(config_board, what_cannot_be_is_refused_by_name)
{
    static const char *const bad[][4] = {
        {"board", "columns", "0", "[board] columns = 0"},
        {"board", "columns", "13", "13 columns by 7 rows"},
        {"board", "pitch_mm", "5.9", "a pitch of 5.9 mm"},
        {"board", "first_id", "560", "ids from 560"},
        {"board", "tag_mm", "28,5", "[board] tag_mm = 28,5"},
        {"search", "decimate", "2.5", "1, 1.5, 2, 3 and 4"},
        {"search", "min_tags", "64", "only 63 tags"},
        {"search", "min_tag_side_px", "20", "outside 48 to 4096"},
        {"model", "k3", "1", "yes or no"},
        {"model", "skew", "yes", "unknown key"},
        {"enough", "corner_reach", "nan", "corner_reach = nan"},
        {"more", "x", "1", "unknown section [more]"},
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        rg_board_config c;
        rg_error err = {0};
        cr_expect_eq(parse_with(bad[i][0], bad[i][1], bad[i][2], &c, &err), RG_BAD_DATA, "%s = %s",
                     bad[i][1], bad[i][2]);
        cr_expect(strncmp(err.text, "b.ini", 5) == 0 && strstr(err.text, bad[i][3]), "%s",
                  err.text);
    }
    rg_board_config c;
    rg_error err = {0};
    cr_expect_eq(rg_board_config_parse("b.ini", "[board]\n", 8, &c, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "columns") && strstr(err.text, "calib/board.ini"), "%s", err.text);
}

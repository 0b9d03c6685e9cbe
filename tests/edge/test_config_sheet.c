/*
 * The sheet file: what is read, and every refusal with the file, the key, the
 * value and the remedy in its text.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config.h"
#include "rimglow/config_board.h"

static const char sheet_text[] = "[crown]\nedge_mm = 0.4\ntag_max_mm = 12\nfoot_mm = 1\n"
                                 "band_mm = 3\ntab_mm = 8\n[camera]\nmin_module_px = 6\n"
                                 "px_per_mm = 25\n";

static rg_code parse(const char *label, const char *text, size_t size, rg_error *err)
{
    rg_ring_rules r;
    rg_code code = rg_sheet_parse(label, text, size, &r, err);
    cr_assert(code == RG_OK || r.px_per_mm == 0, "a refused file leaves nothing");
    return code;
}

Test(config_sheet, a_sheet_file_gives_its_values)
{
    rg_ring_rules r;
    rg_error err = {0};
    cr_assert_eq(rg_sheet_parse("my.ini", sheet_text, strlen(sheet_text), &r, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(r.edge_mm, 0.4);
    cr_expect_eq(r.tag_max_mm, 12);
    cr_expect_eq(r.foot_mm, 1);
    cr_expect_eq(r.band_mm, 3);
    cr_expect_eq(r.tab_mm, 8);
    cr_expect_eq(r.min_module_px, 6);
    cr_expect_eq(r.px_per_mm, 25);
}

Test(config_sheet, bad_sheet_values_are_refused_by_name)
{
    static const test_refusal row[] = {
        {"edge_mm = 0.4\n", "", {"[crown] has no key edge_mm", "calib/sheet.ini"}},
        {"edge_mm = 0.4", "edge_mm = -1", {"edge_mm = -1", "outside 0 to 5"}},
        {"tag_max_mm = 12", "tag_max_mm = nan", {"tag_max_mm = nan", "finite"}},
        {"tag_max_mm = 12", "tag_max_mm = 1e9", {"tag_max_mm", "outside 2 to 60"}},
        {"foot_mm = 1", "foot_mm = 31", {"foot_mm = 31", "outside"}},
        {"foot_mm = 1", "foot_mm = 1,5", {"point as the decimal sign: 1.5"}},
        {"band_mm = 3", "band_mm = 1", {"band_mm = 1", "outside"}},
        {"tab_mm = 8", "tab_mm = 0", {"tab_mm = 0", "outside"}},
        {"min_module_px = 6", "min_module_px = 1", {"min_module_px = 1", "outside 2 to 100"}},
        {"px_per_mm = 25", "px_per_mm = 0", {"px_per_mm = 0", "outside"}},
        {"px_per_mm = 25", "px_per_mm = 25\ncolour = red", {"colour", "unknown key"}},
        {"[camera]", "[cam]", {"[cam]", "[crown] and [camera]"}},
        {"px_per_mm = 25", "px_per_mm = 25\n[lens]", {"unknown section [lens]"}},
    };
    TEST_REFUSALS(parse, "my.ini", sheet_text, row);
}

Test(config_sheet, the_files_in_calib_are_read)
{
    test_bytes sheet = test_load("calib/sheet.ini"), board = test_load("calib/board.ini");
    rg_ring_rules r;
    rg_board_config b;
    rg_error err = {0};
    cr_expect_eq(rg_sheet_parse("s", (char *)sheet.data, sheet.size, &r, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(rg_board_config_parse("b", (char *)board.data, board.size, &b, &err), RG_OK, "%s",
                 err.text);
    /* The demo bench of bench.ini: fx 3300 px at 110 mm. */
    cr_expect_eq(r.px_per_mm, 3300.0 / 110.0);
    cr_expect_gt(b.board.tag_mm / 8 * r.px_per_mm, r.min_module_px);
    free(sheet.data);
    free(board.data);
}

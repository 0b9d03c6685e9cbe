/*
 * Fuzz target for the parsers of the printed sheets. The first byte chooses the parser, the rest
 * is the text. Stops at a refusal without a text and at values outside what the header allows.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/config.h"
#include "rimglow/config_board.h"

static void try_sheet(const char *text, size_t size)
{
    rg_error err = {0};
    rg_ring_rules rules;
    rg_ring ring;
    rg_code code = rg_sheet_parse("fuzz.ini", text, size, &rules, &err);
    check_refusal(code, &err);
    if (code != RG_OK)
        return;
    require(rules.px_per_mm > 0 && rules.min_module_px > 0 && rules.tag_max_mm > 0);
    code = rg_ring_for_cup(&rules, 0, 23, 0, &ring, &err);
    check_refusal(code, &err);
    require(code != RG_OK || (isfinite(ring.height_mm) && ring.module_mm > 0 &&
                              ring.module_mm <= ring.largest_module_mm + 1e-9));
}

static void try_board(const char *text, size_t size)
{
    rg_error err = {0};
    rg_board_config config;
    rg_code code = rg_board_config_parse("fuzz.ini", text, size, &config, &err);
    check_refusal(code, &err);
    if (code != RG_OK)
        return;
    require(rg_board_check(&config.board, &err) == RG_OK);
    require(rg_board_tags(&config.board) <= RG_TAGS_MAX);
    require(config.limits.max_line_px > 0 && config.enough.min_views > 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_sheet, try_board};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}

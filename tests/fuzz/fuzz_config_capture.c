/*
 * Fuzz target for the settings of a live sweep (config_capture.h). Besides memory errors it stops at a
 * refusal without a text and at values outside what the header allows.
 */
#include "fuzz.h"
#include "rimglow/config_capture.h"

static void try_settings(const char *text, size_t size)
{
    rg_error err = {0};
    rg_capture_settings s;
    rg_code code = rg_capture_settings_parse("fuzz.ini", text, size, &s, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.code == code && err.text[0] != 0));
    for (int l = 0; code == RG_OK && l < RG_COVER_LEVELS; l++)
        require(s.coverage.level_deg[l] >= -10 && s.coverage.level_deg[l] <= 10 &&
                (l == 0 || s.coverage.level_deg[l] > s.coverage.level_deg[l - 1]));
    require(code != RG_OK || (s.keep.per_place > 0 && s.witness_exposure > 0));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_exact(try_settings, data, size);
}

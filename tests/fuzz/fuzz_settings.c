/*
 * Fuzz target for the settings of calib/ that have no target of their own: archive, diagnosis, flow, heights and
 * keys. The first byte chooses. What is accepted must be accepted by the module that uses it, too.
 */
#include "fuzz.h"

#include <math.h>

#include "rimglow/config_archive.h"
#include "rimglow/config_diagnosis.h"
#include "rimglow/config_flow.h"
#include "rimglow/config_heights.h"
#include "rimglow/config_keys.h"

static void try_archive(const char *text, size_t size)
{
    rg_error err = {0};
    rg_archive_settings s;
    static rg_seal_map map;
    static rg_change change;
    rg_code code = rg_archive_settings_parse("fuzz.ini", text, size, &s, &err);
    check_refusal(code, &err);
    if (code != RG_OK)
        return;
    map.rim_outer_diameter_mm = 20;
    require(s.confidence > 0 && s.confidence < 1);
    require(rg_change_find(&map, &map, &s.change, &change, &err) == RG_OK);
}

static void try_diagnosis(const char *text, size_t size)
{
    rg_error err = {0};
    rg_diagnosis_options o;
    static rg_seal_map map;
    static rg_diagnosis d;
    rg_code code = rg_diagnosis_options_parse("fuzz.ini", text, size, &o, &err);
    check_refusal(code, &err);
    if (code != RG_OK)
        return;
    for (int b = 0; b < RG_BINS; b++)
        map.bin[b] =
            (rg_bin){.bearing_deg = b, .state = RG_BIN_UNSEEN, .width_mm = NAN, .u_mm = NAN};
    map.rim_outer_diameter_mm = 20;
    require(rg_diagnose(&map, 0.025, NULL, &o, &d, &err) == RG_OK);
    require(d.found == RG_DIAGNOSIS_UNSEEN);
}

static void try_flow(const char *text, size_t size)
{
    rg_error err = {0};
    rg_flow_options o;
    rg_code code = rg_flow_options_parse("fuzz.ini", text, size, &o, &err);
    check_refusal(code, &err);
    require(code != RG_OK || rg_flow_check(&o, &err) == RG_OK);
}

static void try_heights(const char *text, size_t size)
{
    static const rg_height_key key[2] = {{.name = "C",
                                          .rests_open = true,
                                          .measured = true,
                                          .opening_mm = 5,
                                          .u_mm = 0.1,
                                          .target_mm = 5,
                                          .tolerance_mm = 0.3},
                                         {.name = "D",
                                          .rests_open = true,
                                          .measured = true,
                                          .opening_mm = 4,
                                          .u_mm = 0.1,
                                          .target_mm = 5,
                                          .tolerance_mm = 0.3}};
    rg_error err = {0};
    rg_heights_options o;
    static rg_heights h;
    rg_code code = rg_heights_options_parse("fuzz.ini", text, size, &o, &err);
    check_refusal(code, &err);
    if (code != RG_OK)
        return;
    require(rg_heights_judge(key, 2, &o, &h, &err) == RG_OK);
    require(h.keys == 2 && isfinite(h.finding[1].expanded_mm));
}

static void try_keys(const char *text, size_t size)
{
    rg_error err = {0};
    rg_keys_settings s;
    rg_code code = rg_keys_settings_parse("fuzz.ini", text, size, &s, &err);
    check_refusal(code, &err);
    require(code != RG_OK || (s.regulation.coverage_factor > 0 &&
                              s.regulation.coverage_factor == s.force.coverage_factor &&
                              s.regulation.coverage_factor == s.repeat.coverage_factor));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_archive, try_diagnosis, try_flow, try_heights,
                                        try_keys};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}

/*
 * Fuzz target for what is read about set-ups: the first byte chooses set-up values, rules of
 * release, or setup.json. Rules that are taken are also applied to a small bench, where nothing
 * that was not measured may pass.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/config_release.h"
#include "rimglow/config_values.h"
#include "rimglow/setup_report.h"

static void try_values(const char *text, size_t size)
{
    rg_error err = {0};
    int count = -1;
    rg_measured_value *v = malloc(RG_VALUES_MAX * sizeof *v);
    require(v != NULL);
    rg_code code = rg_values_parse("fuzz.ini", text, size, v, &count, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && count == 0));
    for (int i = 0; i < count; i++) {
        require(v[i].quantity[0] && v[i].day >= -1 && v[i].u >= 0 && isfinite(v[i].value));
        require(v[i].kind == RG_VALUE_CHECK || !v[i].done);
        require(v[i].kind != RG_VALUE_NUMBER || v[i].unit[0]);
        require(v[i].kind != RG_VALUE_REMARK_ONLY || v[i].remark[0]);
    }
    free(v);
}

/* Two pads, one of them swept; three values, of which the rules may speak or not. */
static void try_bench(const rg_release_rules *rules)
{
    static const char *const pad[] = {"C", "G"};
    static const rg_release_sweep sweep[] = {
        {"G", RG_VERDICT_SEALED, RG_TOUCH_GRAMS, 40, 100, NAN, NAN, NAN}};
    static const rg_release_value value[] = {{"mass", "g", "scale", "", 2431, 1, 100},
                                             {"spring force G", "gf", "", "", 42, NAN, 100},
                                             {"play of *", "mm", "", "", 0, 0, -1}};
    static const rg_release_check check[] = {{"lubrication", "", true, true, 100}};
    static const rg_release_visit visit[] = {{1, 50, value, 2}};
    const rg_release_evidence e = {.day = 101,
                                   .pad = pad,
                                   .pads = 2,
                                   .sweep = sweep,
                                   .sweeps = 1,
                                   .value = value,
                                   .values = 3,
                                   .check = check,
                                   .checks = 1,
                                   .visit = visit,
                                   .visits = 1};
    rg_error err = {0};
    rg_release_result r;
    rg_code code = rg_release_judge(rules, &e, &r, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0] && !r.item && !r.reason));
    if (code != RG_OK)
        return;
    require(r.items >= 2 && r.item[0].state == RG_ITEM_NOT_MEASURED);
    require((r.decision == RG_DECISION_RELEASE) == (r.reasons == 0));
    rg_release_result_free(&r);
}

static void try_rules(const char *text, size_t size)
{
    rg_error err = {0};
    rg_release_rules *rules = malloc(sizeof *rules);
    require(rules != NULL);
    rg_code code = rg_release_rules_parse("fuzz.ini", text, size, rules, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0]));
    if (code == RG_OK) {
        require(rules->coverage_factor >= 1 && rules->coverage_factor <= 5);
        require(rules->seals + rules->values + rules->balances + rules->checks + rules->sections >
                0);
        try_bench(rules);
    }
    free(rules);
}

static void try_report(const char *text, size_t size)
{
    rg_error err = {0};
    rg_setup_said said;
    rg_code code = rg_setup_report_parse("fuzz.json", text, size, &said, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0]));
    require(code != RG_OK || (said.day >= 0 && said.items >= 0 && said.reasons >= 0));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_values, try_rules, try_report};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}

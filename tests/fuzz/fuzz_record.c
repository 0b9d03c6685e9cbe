/*
 * Fuzz target for record.h. The first byte chooses: a record or a time. What is accepted must keep
 * the header's promises and must come back from its own text byte by byte.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/record.h"
#include "rimglow/text.h"

static void check_record(const rg_record *r)
{
    require(rg_is_safe_name(r->bag) && rg_is_safe_name(r->serial) && r->sequence > 0);
    require(r->time >= 0 && r->sweeps <= RG_RECORD_SWEEPS_MAX && r->values <= RG_RECORD_SETUP_MAX);
    for (int i = 0; i < r->sweeps; i++) {
        const rg_record_sweep *w = &r->sweep[i];
        require(rg_is_safe_name(w->name) && w->judged_day >= 0 && w->taken_day >= -1);
        require(!strstr(w->station_file, "/../") &&
                strncmp(w->station_file, "data/calib/", 11) == 0);
    }
    for (int i = 0; i < r->values; i++)
        require(isfinite(r->value[i].value) && !(r->value[i].u < 0) &&
                r->value[i].measured_day >= -1);
    require(r->checks <= RG_RECORD_CHECKS_MAX);
    for (int i = 0; i < r->checks; i++)
        require(r->check[i].name[0] && r->check[i].checked_day >= -1 &&
                (r->check[i].stated || !r->check[i].done));
}

static void try_record(const char *text, size_t size)
{
    rg_error err = {0};
    rg_record r, again;
    char *first = NULL, *second = NULL;
    rg_code code = rg_record_parse("fuzz.json", text, size, &r, &err);
    require(code == RG_OK ||
            (code == RG_BAD_DATA && err.text[0] && !r.sweep && !r.value && !r.check));
    if (code != RG_OK)
        return;
    check_record(&r);
    require(rg_record_text(&r, &first, &err) == RG_OK);
    require(rg_record_parse("again.json", first, strlen(first), &again, &err) == RG_OK);
    require(rg_record_text(&again, &second, &err) == RG_OK && strcmp(first, second) == 0);
    rg_record_free(&again);
    rg_record_free(&r);
    free(second);
    free(first);
}

static void try_time(const char *data, size_t size)
{
    char *text = calloc(size + 1, 1), back[RG_RECORD_TIME];
    int64_t time;
    require(text != NULL);
    memcpy(text, data, size);
    if (rg_record_time_parse(text, &time)) {
        rg_record_time_format(time, back);
        require(strcmp(text, back) == 0);
    }
    free(text);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_record, try_time};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}

/*
 * Fuzz target for the readers of a study: the two CSV tables, seal-map.json, a truth
 * and the settings. The first byte chooses the reader, the rest is the text. What is
 * accepted must keep the header's promises, and must not trouble the statistics.
 */
#include <math.h>

#include "fuzz.h"
#include "rimglow/config_study.h"
#include "rimglow/mapfile.h"
#include "rimglow/studyfile.h"

static void study_gauge(const rg_gauge_file *f)
{
    rg_error err = {0};
    rg_study_settings s = rg_study_defaults();
    rg_gauge_study_result r;
    double *value = calloc((size_t)f->rows, sizeof *value), reference[RG_STUDY_LEVELS];
    require(value != NULL);
    for (int i = 0; i < f->rows; i++) {
        value[i] = f->row[i].value;
        reference[f->row[i].part] = f->row[i].reference_mm;
    }
    rg_code code = rg_study_gauge(value, reference, f->parts, f->persons, f->repeats,
                                  f->input == RG_GAUGE_VALUES_DEG, &s, &r, &err);
    check_refusal(code, &err);
    if (code == RG_OK) {
        for (int k = 0; k < RG_GAUGE_SOURCES; k++)
            require(r.gauge.source[k].variance >= 0 && r.gauge.source[k].study <= 100.001);
        rg_gauge_study_free(&r);
    }
    free(value);
}

static void try_gauge(const char *text, size_t size)
{
    rg_error err = {0};
    rg_gauge_file f;
    rg_code code = rg_gauge_file_parse("fuzz.csv", text, size, &f, &err);
    check_refusal(code, &err);
    require(code == RG_OK || f.row == NULL);
    if (code == RG_OK) {
        require(f.rows == f.parts * f.persons * f.repeats && f.rows > 0);
        for (int i = 0; i < f.rows; i++)
            require((f.row[i].part * f.persons + f.row[i].person) * f.repeats + f.row[i].repeat ==
                    i);
        if (f.input != RG_GAUGE_SWEEPS)
            study_gauge(&f);
    }
    rg_gauge_file_free(&f);
}

static void study_detect(const rg_detect_file *f)
{
    rg_error err = {0};
    rg_study_settings s = rg_study_defaults();
    rg_detection_result r;
    rg_trial *trial = calloc((size_t)f->rows, sizeof *trial);
    require(trial != NULL);
    for (int i = 0; i < f->rows; i++)
        trial[i] = (rg_trial){.sweep = -1,
                              .size_mm = f->row[i].size_mm,
                              .seen = true,
                              .hit = f->row[i].hit,
                              .has_hit = f->input == RG_DETECT_HITS,
                              .has_signal = f->input == RG_DETECT_SIGNALS,
                              .signal = f->input == RG_DETECT_SIGNALS ? f->row[i].signal : 0,
                              .censor = f->row[i].censor};
    rg_code code = rg_study_detect(trial, f->rows, 0.1, NAN, &s, &r, &err);
    check_refusal(code, &err);
    if (code == RG_OK) {
        require(r.pod.state != RG_POD_FITTED || r.pod.a90 >= r.pod.a50);
        require(r.pod.state != RG_POD_FITTED || r.pod.a90_95 >= r.pod.a90 * 0.999999);
        require(r.pod.state == RG_POD_FITTED || isnan(r.pod.a90_95));
        rg_detection_result_free(&r);
    }
    free(trial);
}

static void try_detect(const char *text, size_t size)
{
    enum { STUDIED = 300 }; /* larger ones only cost time */
    rg_error err = {0};
    rg_detect_file f;
    rg_code code = rg_detect_file_parse("fuzz.csv", text, size, &f, &err);
    check_refusal(code, &err);
    require(code == RG_OK || f.row == NULL);
    if (code == RG_OK && f.input != RG_DETECT_SWEEPS && f.rows <= STUDIED)
        study_detect(&f);
    rg_detect_file_free(&f);
}

static void try_map(const char *text, size_t size)
{
    rg_error err = {0};
    static rg_map_file f;
    rg_code code = rg_mapfile_parse("fuzz.json", text, size, &f, &err);
    check_refusal(code, &err);
    for (int b = 0; code == RG_OK && b < RG_BINS; b++)
        require(f.map.bin[b].state == RG_BIN_UNSEEN || isfinite(f.map.bin[b].width_mm));
}

static void try_truth(const char *text, size_t size)
{
    rg_error err = {0};
    double w[RG_BINS];
    rg_code code = rg_mapfile_truth("fuzz.json", text, size, w, &err);
    check_refusal(code, &err);
    for (int b = 0; code == RG_OK && b < RG_BINS; b++)
        require(w[b] >= 0 && w[b] <= 100);
}

static void try_settings(const char *text, size_t size)
{
    rg_error err = {0};
    rg_study_settings s;
    rg_code code = rg_study_settings_parse("fuzz.ini", text, size, &s, &err);
    check_refusal(code, &err);
    require(code != RG_OK || (s.opportunity_deg >= 1 && s.accept_percent <= s.refuse_percent));
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static fuzz_text *const parser[] = {try_gauge, try_detect, try_map, try_truth, try_settings};
    return fuzz_chosen(parser, sizeof parser / sizeof *parser, data, size);
}

/*
 * Fuzz target for seal-map.json as an archive may hold it, and for what is worked out from it: an accepted map
 * goes through comparison, diagnosis and flow, which must answer or refuse, whatever its numbers are.
 */
#include "fuzz.h"

#include <math.h>

#include "rimglow/config_archive.h"
#include "rimglow/config_diagnosis.h"
#include "rimglow/config_flow.h"
#include "rimglow/file.h"
#include "rimglow/mapfile.h"

typedef struct settings {
    bool read;
    rg_archive_settings archive;
    rg_diagnosis_options diagnosis;
    rg_flow_options flow;
} settings;

/* The defaults, from the repository root. */
static const settings *defaults(void)
{
    static settings s;
    static const char *const name[] = {"calib/archive.ini", "calib/diagnosis.ini",
                                       "calib/flow.ini"};
    for (int i = 0; i < 3 && !s.read; i++) {
        uint8_t *bytes = NULL;
        size_t size = 0;
        rg_error err = {0};
        require(rg_file_read(name[i], 1 << 20, &bytes, &size, &err) == RG_OK);
        const char *text = (const char *)bytes;
        rg_code code = i == 0 ? rg_archive_settings_parse(name[i], text, size, &s.archive, &err)
                       : i == 1
                           ? rg_diagnosis_options_parse(name[i], text, size, &s.diagnosis, &err)
                           : rg_flow_options_parse(name[i], text, size, &s.flow, &err);
        require(code == RG_OK);
        free(bytes);
    }
    s.read = true;
    return &s;
}

static void check_map(const rg_map_file *f)
{
    require(f->coverage_factor > 0 && f->tolerance_mm >= 0 && f->map.rim_outer_diameter_mm > 0);
    require(f->frames_used >= 0 && f->frames_used <= f->frames_given);
    require(!f->opening.measured || (f->opening.far_mm >= 0 && f->opening.u_far_mm >= 0));
    require(f->map.arcs >= 0 && f->map.arcs <= RG_ARCS_MAX);
    require(f->map.reasons >= 0 && f->map.reasons <= RG_REASONS_MAX);
    for (int b = 0; b < RG_BINS; b++)
        require(f->map.bin[b].state == RG_BIN_UNSEEN ||
                (isfinite(f->map.bin[b].width_mm) && f->map.bin[b].u_mm >= 0));
}

static void work_up(const rg_map_file *f)
{
    static rg_change change;
    static rg_diagnosis diagnosis;
    static rg_sentences sentences;
    const settings *s = defaults();
    rg_error err = {0};
    rg_pad_flow flow;
    double outer = f->map.rim_outer_diameter_mm;
    const rg_rim rim = {.inner_diameter_mm = 0.9 * outer,
                        .outer_diameter_mm = outer,
                        .pad_diameter_mm = 1.1 * outer};
    rg_code code = rg_change_find(&f->map, &f->map, &s->archive.change, &change, &err);
    check_refusal(code, &err);
    require(code != RG_OK || change.overall == RG_CHANGE_NONE ||
            change.overall == RG_CHANGE_UNSEEN);
    code = rg_diagnose(&f->map, f->tolerance_mm, NULL, &s->diagnosis, &diagnosis, &err);
    check_refusal(code, &err);
    if (code == RG_OK) {
        rg_diagnosis_sentences(&diagnosis, &sentences);
        require(diagnosis.faults >= 0 && diagnosis.faults <= RG_FAULTS_MAX);
    }
    check_refusal(rg_pad_flow_find(&f->map, &rim, &s->flow, &flow, &err), &err);
}

static void check_inputs(const char *text, size_t size)
{
    static rg_map_inputs inputs;
    rg_error err = {0};
    rg_code code = rg_mapfile_inputs("fuzz.json", text, size, &inputs, &err);
    check_refusal(code, &err);
    require(code != RG_OK || (inputs.frames >= 0 && inputs.frames <= RG_MAPFILE_FRAMES));
}

static void try_map(const char *text, size_t size)
{
    static rg_map_file file;
    rg_error err = {0};
    rg_code code = rg_mapfile_parse("fuzz.json", text, size, &file, &err);
    check_refusal(code, &err);
    check_inputs(text, size);
    if (code != RG_OK)
        return;
    check_map(&file);
    work_up(&file);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    return fuzz_exact(try_map, data, size);
}

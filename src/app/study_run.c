/*
 * study_run.c - tables, sweeps and truths from the disk.
 */
#include "rimglow/study_run.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "rimglow/file.h"
#include "rimglow/memory.h"

const char *const rg_study_quantities[] = {"widest", "mean", "centre", "at", NULL};

rg_code rg_study_settings_load(const char *path, rg_study_settings *settings, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    *settings = rg_study_defaults();
    if (!path)
        return RG_OK;
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_study_settings_parse(path, (const char *)text, size, settings, err);
    free(text);
    return code;
}

/* ---------------------------------------------------------------- files */

/* A path of the table, relative to the table's folder. Owned by the caller. */
static char *resolve(const char *csv, const char *path)
{
    const char *slash = strrchr(csv, '/');
    if (path[0] == '/')
        return rg_path_join("/", path + 1);
    if (!slash)
        return rg_path_join(".", path);
    char *folder = rg_alloc((size_t)(slash - csv) + 2, 1);
    if (!folder)
        return NULL;
    memcpy(folder, csv, (size_t)(slash - csv) + 1);
    char *whole = rg_path_join(folder, path);
    free(folder);
    return whole;
}

static rg_code fail_line(const char *csv, int line, rg_code code, rg_error *err)
{
    char prefix[RG_ERROR_TEXT];
    if (code == RG_OK)
        return code;
    snprintf(prefix, sizeof prefix, "%s, line %d", csv, line);
    return rg_fail_prefix(err, prefix);
}

static rg_code read_map(const char *path, rg_map_file *map, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_code code = rg_file_read(path, RG_MAPFILE_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_mapfile_parse(path, (const char *)text, size, map, err);
    free(text);
    return code;
}

static rg_code measure(const char *folder, const rg_study_options *o, rg_map_file *map,
                       rg_error *err)
{
    rg_inspection in;
    rg_code code = rg_inspection_open(&in, folder, err);
    if (code != RG_OK)
        return code;
    code = rg_inspection_run(&in, o->workers, NULL, err);
    if (code == RG_OK) {
        map->map = in.result.map;
        map->tolerance_mm = in.setup.options.sealmap.tolerance_mm;
        map->coverage_factor = in.setup.options.sealmap.coverage_factor;
        snprintf(map->serial, sizeof map->serial, "%s", in.sweep.serial);
        snprintf(map->pad, sizeof map->pad, "%s", in.sweep.pad);
    }
    rg_inspection_close(&in);
    return code;
}

static bool is_file(const char *folder, const char *name)
{
    struct stat s;
    char *path = name ? rg_path_join(folder, name) : NULL;
    bool there = stat(name ? path ? path : "" : folder, &s) == 0 && S_ISREG(s.st_mode);
    free(path);
    return there;
}

/* The frames are the evidence: a folder that holds both is measured anew. */
static rg_code load_at(const char *path, const rg_study_options *o, rg_map_file *map, rg_error *err)
{
    *map = (rg_map_file){0};
    if (is_file(path, NULL))
        return read_map(path, map, err);
    if (is_file(path, "sweep.ini"))
        return measure(path, o, map, err);
    if (!is_file(path, "seal-map.json"))
        return rg_fail(
            err, RG_NO_INPUT,
            "%s: there is neither a sweep.ini nor a seal-map.json; name a sweep folder or "
            "its result folder, relative to the table's folder",
            path);
    char *file = rg_path_join(path, "seal-map.json");
    rg_code code = file ? read_map(file, map, err) : rg_fail(err, RG_INTERNAL, "no memory");
    free(file);
    return code;
}

static rg_code load_sweep(const char *csv, int line, const char *sweep, const rg_study_options *o,
                          rg_map_file *map, rg_error *err)
{
    char *path = resolve(csv, sweep);
    rg_code code =
        path ? load_at(path, o, map, err) : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    return fail_line(csv, line, code, err);
}

static void report(const rg_study_options *o, int done, int total)
{
    if (o->progress && o->progress->report)
        o->progress->report(o->progress->context, "sweeps", done, total);
}

static rg_code read_table(const char *csv, uint8_t **text, size_t *size, rg_error *err)
{
    return rg_file_read(csv, RG_STUDY_MAX_BYTES, text, size, err);
}

/* ---------------------------------------------------------------- gauge */

static const rg_arc *widest_arc(const rg_seal_map *map)
{
    const rg_arc *best = NULL;
    for (int i = 0; i < map->arcs; i++)
        if (!best || map->arc[i].max_width_mm > best->max_width_mm)
            best = &map->arc[i];
    return best;
}

static rg_code widest_gap(const rg_seal_map *map, double *value, rg_error *err)
{
    int seen = 0;
    *value = 0;
    for (int b = 0; b < RG_BINS; b++) {
        seen += map->bin[b].state != RG_BIN_UNSEEN;
        if (map->bin[b].state == RG_BIN_GAP)
            *value = fmax(*value, map->bin[b].width_mm);
    }
    if (seen == 0)
        return rg_fail(err, RG_BAD_DATA,
                       "no bearing of this sweep was seen, so there is no widest gap; "
                       "sweep again");
    return RG_OK;
}

static rg_code arc_value(const rg_seal_map *map, bool centre, double *value, rg_error *err)
{
    const rg_arc *arc = widest_arc(map);
    if (!arc)
        return rg_fail(err, RG_BAD_DATA,
                       "this sweep shows no open arc; study --quantity widest, or "
                       "parts that leak");
    if (centre && arc->full_circle)
        return rg_fail(err, RG_BAD_DATA,
                       "the whole rim stands open, so the arc has no centre; study "
                       "--quantity widest");
    *value = centre ? arc->centre_deg : arc->mean_width_mm;
    return RG_OK;
}

static rg_code value_of(const rg_seal_map *map, const rg_study_options *o, double *value,
                        rg_error *err)
{
    const rg_bin *bin = &map->bin[o->bearing_deg];
    switch ((rg_study_quantity)o->quantity) {
    case RG_QUANTITY_WIDEST:
        return widest_gap(map, value, err);
    case RG_QUANTITY_MEAN:
        return arc_value(map, false, value, err);
    case RG_QUANTITY_CENTRE:
        return arc_value(map, true, value, err);
    case RG_QUANTITY_AT:
        break;
    }
    if (bin->state == RG_BIN_UNSEEN)
        return rg_fail(err, RG_BAD_DATA,
                       "bearing %d was not seen in this sweep; sweep again or study "
                       "another bearing",
                       o->bearing_deg);
    *value = bin->width_mm;
    return RG_OK;
}

static rg_code fill_values(const char *csv, const rg_study_options *o, rg_gauge_run *run,
                           double *reference, rg_error *err)
{
    const rg_gauge_file *f = &run->file;
    for (int i = 0; i < f->rows; i++) {
        const rg_gauge_row *row = &f->row[i];
        rg_map_file map;
        run->value[i] = row->value;
        reference[row->part] = row->reference_mm;
        if (f->input != RG_GAUGE_SWEEPS)
            continue;
        rg_code code = load_sweep(csv, row->line, row->sweep, o, &map, err);
        if (code == RG_OK)
            code = fail_line(csv, row->line, value_of(&map.map, o, &run->value[i], err), err);
        if (code != RG_OK)
            return code;
        report(o, i + 1, f->rows);
    }
    return RG_OK;
}

static rg_code compute_gauge(const char *csv, const rg_study_options *o, rg_gauge_run *run,
                             rg_error *err)
{
    const rg_gauge_file *f = &run->file;
    bool degrees = f->input == RG_GAUGE_VALUES_DEG ||
                   (f->input == RG_GAUGE_SWEEPS && o->quantity == RG_QUANTITY_CENTRE);
    run->value = rg_alloc((size_t)f->rows, sizeof *run->value);
    double *reference = rg_alloc((size_t)f->parts, sizeof *reference);
    for (int i = 0; i < RG_STUDY_LEVELS; i++) {
        run->part[i] = f->part[i];
        run->person[i] = f->person[i];
    }
    rg_code code = run->value && reference
                       ? fill_values(csv, o, run, reference, err)
                       : rg_fail(err, RG_INTERNAL, "no memory for %d values", f->rows);
    if (code == RG_OK && rg_study_gauge(run->value, reference, f->parts, f->persons, f->repeats,
                                        degrees, &o->settings, &run->result, err) != RG_OK)
        code = rg_fail_prefix(err, csv);
    free(reference);
    return code;
}

rg_code rg_gauge_run_file(const char *csv, const rg_study_options *options, rg_gauge_run *run,
                          rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    *run = (rg_gauge_run){0};
    rg_code code = read_table(csv, &text, &size, err);
    if (code == RG_OK)
        code = rg_gauge_file_parse(csv, (const char *)text, size, &run->file, err);
    free(text);
    if (code == RG_OK)
        code = compute_gauge(csv, options, run, err);
    if (code != RG_OK)
        rg_gauge_run_free(run);
    return code;
}

void rg_gauge_run_free(rg_gauge_run *run)
{
    rg_gauge_file_free(&run->file);
    rg_gauge_study_free(&run->result);
    free(run->value);
    *run = (rg_gauge_run){0};
}

/* --------------------------------------------------------------- detect */

static rg_code load_truth(const char *csv, const rg_detect_row *row, double truth[RG_BINS],
                          rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    for (int b = 0; b < RG_BINS; b++)
        truth[b] = row->truth_mm;
    if (!row->truth[0])
        return RG_OK;
    char *path = resolve(csv, row->truth);
    rg_code code = path ? rg_file_read(path, RG_MAPFILE_MAX_BYTES, &text, &size, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    if (code == RG_OK)
        code = rg_mapfile_truth(path, (const char *)text, size, truth, err);
    free(text);
    free(path);
    return fail_line(csv, row->line, code, err);
}

static rg_trial trial_of(const rg_opportunity *o, int sweep)
{
    rg_response response;
    rg_trial t = {.sweep = sweep,
                  .size_mm = o->truth_mm,
                  .seen = o->seen,
                  .hit = o->claimed,
                  .has_hit = true};
    t.has_signal = rg_opportunity_response(o, &response);
    if (t.has_signal) {
        t.signal = response.signal;
        t.censor = response.censor;
    }
    return t;
}

/* *tolerance becomes NAN where sweeps differ in it. */
static rg_code take_sweep(const char *csv, int i, const rg_study_options *o, rg_detect_run *run,
                          double *tolerance, rg_error *err)
{
    const rg_detect_row *row = &run->file.row[i];
    rg_opportunity chance[RG_BINS];
    double truth[RG_BINS];
    rg_map_file map;
    rg_code code = load_truth(csv, row, truth, err);
    if (code == RG_OK)
        code = load_sweep(csv, row->line, row->sweep, o, &map, err);
    if (code != RG_OK)
        return code;
    int n = rg_opportunities(&map.map, truth, o->settings.opportunity_deg, chance);
    for (int k = 0; k < n; k++)
        run->trial[run->trials++] = trial_of(&chance[k], i);
    *tolerance = i == 0 || map.tolerance_mm == *tolerance ? map.tolerance_mm : NAN;
    report(o, i + 1, run->file.rows);
    return RG_OK;
}

static rg_code take_sweeps(const char *csv, const rg_study_options *o, rg_detect_run *run,
                           double *tolerance, rg_error *err)
{
    int each = (RG_BINS + o->settings.opportunity_deg - 1) / o->settings.opportunity_deg;
    if ((long)each * run->file.rows > RG_DETECTION_MAX)
        return rg_fail(
            err, RG_BAD_DATA,
            "%s: %d sweeps with %d opportunities each are more than %d; take fewer, by a "
            "larger --every",
            csv, run->file.rows, each, RG_DETECTION_MAX);
    run->trial = rg_alloc((size_t)each * (size_t)run->file.rows, sizeof *run->trial);
    if (!run->trial)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", run->file.rows);
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < run->file.rows; i++)
        code = take_sweep(csv, i, o, run, tolerance, err);
    return code;
}

static rg_code take_rows(rg_detect_run *run, rg_error *err)
{
    const rg_detect_file *f = &run->file;
    run->trial = rg_alloc((size_t)f->rows, sizeof *run->trial);
    if (!run->trial)
        return rg_fail(err, RG_INTERNAL, "no memory for %d targets", f->rows);
    for (int i = 0; i < f->rows; i++) {
        const rg_detect_row *row = &f->row[i];
        bool signals = f->input == RG_DETECT_SIGNALS;
        run->trial[run->trials++] = (rg_trial){.sweep = -1,
                                               .size_mm = row->size_mm,
                                               .seen = true,
                                               .hit = row->hit,
                                               .has_hit = !signals,
                                               .has_signal = signals,
                                               .signal = signals ? row->signal : 0,
                                               .censor = row->censor};
    }
    return RG_OK;
}

static rg_code compute_detect(const char *csv, const rg_study_options *o, rg_detect_run *run,
                              rg_error *err)
{
    double decision = o->decision, tolerance = NAN;
    rg_code code = run->file.input == RG_DETECT_SWEEPS ? take_sweeps(csv, o, run, &tolerance, err)
                                                       : take_rows(run, err);
    if (code != RG_OK)
        return code;
    if (isnan(decision))
        decision = tolerance;
    if (run->file.input == RG_DETECT_SIGNALS && isnan(decision))
        return rg_fail(err, RG_USAGE,
                       "%s holds signals: say with --decision VALUE from which signal on a "
                       "target counts as found",
                       csv);
    if (rg_study_detect(run->trial, run->trials, decision, o->require_mm, &o->settings,
                        &run->result, err) != RG_OK)
        return rg_fail_prefix(err, csv);
    return RG_OK;
}

rg_code rg_detect_run_file(const char *csv, const rg_study_options *options, rg_detect_run *run,
                           rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    *run = (rg_detect_run){0};
    rg_code code = read_table(csv, &text, &size, err);
    if (code == RG_OK)
        code = rg_detect_file_parse(csv, (const char *)text, size, &run->file, err);
    free(text);
    if (code == RG_OK)
        code = compute_detect(csv, options, run, err);
    if (code != RG_OK)
        rg_detect_run_free(run);
    return code;
}

void rg_detect_run_free(rg_detect_run *run)
{
    rg_detect_file_free(&run->file);
    rg_detection_result_free(&run->result);
    free(run->trial);
    *run = (rg_detect_run){0};
}

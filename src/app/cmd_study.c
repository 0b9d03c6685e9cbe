/*
 * cmd_study.c - rimglow study gauge TABLE, rimglow study detect TABLE.
 */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/draw_study.h"
#include "rimglow/file.h"
#include "rimglow/options.h"
#include "rimglow/study_report.h"
#include "rimglow/study_table.h"
#include "rimglow/text.h"

const char rg_help_study_gauge[] =
    "rimglow study gauge [options] TABLE.csv\n"
    "\n"
    "Repeatability and reproducibility: how far do results differ when the same\n"
    "person measures the same pad again, and when another person does?\n"
    "\n"
    "Let every person sweep every pad equally often, each time from the beginning\n"
    "(crown off and on, key opened and closed), and write a table with a row each:\n"
    "\n"
    "  part,person,repeat,sweep\n"
    "  pad G,Ada,1,sweeps/g-ada-1\n"
    "  pad G,Ada,2,sweeps/g-ada-2\n"
    "\n"
    "A sweep is a sweep folder, its result folder or a seal-map.json, relative to the\n"
    "table. In place of sweep: value_mm, or value_deg for bearings. A further column\n"
    "reference_mm gives the known width of a part (a feeler); bias and linearity are\n"
    "then tested too. Five pads, three persons, three repeats are a good beginning;\n"
    "take pads from sealed to clearly leaking, or there is nothing to tell apart.\n"
    "\n"
    "Examples:\n"
    "  rimglow study gauge samples/study/gauge.csv\n"
    "      table, study/gauge/gauge.json, gauge.png and gauge.svg\n"
    "  rimglow study gauge --quantity centre sweeps.csv\n"
    "      where the leak is, instead of how wide\n"
    "  rimglow study gauge --json --pictures none table.csv | jq .components.gauge\n"
    "\n"
    "Options:\n"
    "  -o, --out DIR        where results go: DIR/NAME OF THE TABLE (default: study)\n"
    "      --pictures WHAT  all (default) or none\n"
    "      --quantity WHAT  of sweeps. widest: widest gap (default); mean: mean width\n"
    "                       of the widest arc; centre: bearing of its centre;\n"
    "                       at: width at --bearing\n"
    "      --bearing DEG    for --quantity at, 0 to 359\n"
    "      --settings FILE  like calib/study.ini: pooling, limits, confidence\n"
    "      --json           print gauge.json instead of the table\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Reading the table: \"of study\" is the gauge's standard deviation as a percentage\n"
    "of all variation. Up to 10 % the gauge will do, above 30 % it will not: common\n"
    "practice, no source; calib/study.ini holds both. Distinct categories: how many\n"
    "sizes the gauge can tell apart; five or more is good (common practice).\n"
    "Bearings are unwrapped about each part's circular mean.\n"
    "\n"
    "Exit codes: 0 the gauge will do, 1 it will not, 2 between the limits;\n"
    "64 wrong command line, 65 bad data, 66 a file is missing, 70 internal,\n"
    "73 an output cannot be made, 74 writing failed (disk full).\n";

const char rg_help_study_detect[] =
    "rimglow study detect [options] TABLE.csv\n"
    "\n"
    "Probability of detection (POD): how wide must a gap be to be found? a90 is the\n"
    "width found in 90 of 100 cases, a90/95 its upper bound with 95 % confidence,\n"
    "both as in MIL-HDBK-1823A. The table has one of these heads:\n"
    "\n"
    "  size_mm,hit       true width; 1 found, 0 missed; size 0: nothing was there\n"
    "  size_mm,signal    true width; measured; <0.01 below, >0.5 above a limit\n"
    "  sweep,truth       a sweep (as in study gauge), and its true width in mm or a\n"
    "                    JSON file with w_mm[360], one for each degree of bearing\n"
    "\n"
    "A sweep gives one opportunity every 12 degrees (--every): neighbouring bearings\n"
    "are one gap seen through one slot and not independent. Those of one sweep still\n"
    "share lamp and poses; many sweeps with few opportunities are better evidence. A\n"
    "bearing counts as found where the map says gap. Unseen bearings are counted and\n"
    "left out. Widths not found are signals below their detection limit. A claimed\n"
    "gap where the truth is 0 is a false call.\n"
    "\n"
    "Examples:\n"
    "  rimglow study detect samples/study/detect.csv\n"
    "      the sample frames; table, study/detect/detect.json, pod.png, signal.png\n"
    "  rimglow study detect --require 0.02 trial.csv\n"
    "      exit code 0 only when a90/95 is at most 0.02 mm\n"
    "  rimglow study detect --json --pictures none trial.csv | jq .hit_miss.a90_95_mm\n"
    "\n"
    "Options:\n"
    "  -o, --out DIR        where results go: DIR/NAME OF THE TABLE (default: study)\n"
    "      --pictures WHAT  all (default) or none\n"
    "      --every DEG      one opportunity every so many degrees, 1 to 360\n"
    "      --link WHAT      logit, probit, cloglog\n"
    "      --axis WHAT      size of hits: linear, log\n"
    "      --signal-axes WHAT\n"
    "                       linear, log-size, log-log\n"
    "      --decision VALUE signal from which on a target counts as found; of sweeps\n"
    "                       their tolerance, when they all have the same\n"
    "      --require MM     largest a90/95 that passes\n"
    "      --settings FILE  like calib/study.ini, which holds the defaults\n"
    "      --json           print detect.json instead of the table\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Where found and missed sizes do not overlap, or all were found, no curve is the\n"
    "best one: then none is shown, and exact binomial bounds say what is sure.\n"
    "\n"
    "Exit codes: 0 a90/95 is known (and small enough), 1 larger than required, 2 the\n"
    "data set none; 64 wrong command line, 65 bad data, 66 a file is missing,\n"
    "70 internal, 73 an output cannot be made, 74 writing failed (disk full).\n";

typedef struct job {
    const char *out, *settings, *decision, *require;
    const char *table;
    int pictures, workers, bearing, quantity;
    int every, link, axis, signal_axes; /* -1: of the settings */
    bool json, quiet, terminal;
    rg_study_options options;
    char name[RG_NAME_SIZE]; /* of the table, without its ending */
    char place[1200];
} job;

static const char *const pictures_words[] = {"none", "all", NULL};

/* ------------------------------------------------------------- options */

/* Number options of all commands are whole; these are not. */
static rg_code take_number(const char *name, const char *text, double *value, rg_error *err)
{
    *value = NAN;
    if (!text || rg_parse_double(text, value))
        return RG_OK;
    return rg_fail(err, RG_USAGE, "--%s %s: a number with a point as the decimal sign is needed",
                   name, text);
}

static rg_code one_table(job *j, const char **operands, int count, const char *verb, rg_error *err)
{
    if (count != 1)
        return rg_fail(err, RG_USAGE,
                       "study %s needs one table; rimglow study %s -h shows examples", verb, verb);
    j->table = operands[0];
    return RG_OK;
}

static rg_code read_gauge_options(int argc, char **argv, job *j, const char **operands,
                                  rg_error *err)
{
    int count;
    const rg_option options[] = {
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, pictures_words},
        {"quantity", 0, RG_OPTION_CHOICE, &j->quantity, 0, 0, rg_study_quantities},
        {"bearing", 0, RG_OPTION_WHOLE, &j->bearing, 0, 359, NULL},
        {"settings", 0, RG_OPTION_TEXT, &j->settings, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    rg_code code = rg_options_read(argc, argv, options, (int)(sizeof options / sizeof options[0]),
                                   operands, &count, err);
    if (code == RG_OK && (j->quantity == RG_QUANTITY_AT) != (j->bearing >= 0))
        code = rg_fail(err, RG_USAGE, "--quantity at and --bearing DEG belong together");
    return code == RG_OK ? one_table(j, operands, count, "gauge", err) : code;
}

static rg_code read_detect_options(int argc, char **argv, job *j, const char **operands,
                                   rg_error *err)
{
    int count;
    const rg_option options[] = {
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, pictures_words},
        {"every", 0, RG_OPTION_WHOLE, &j->every, 1, 360, NULL},
        {"link", 0, RG_OPTION_CHOICE, &j->link, 0, 0, rg_study_links},
        {"axis", 0, RG_OPTION_CHOICE, &j->axis, 0, 0, rg_study_axes},
        {"signal-axes", 0, RG_OPTION_CHOICE, &j->signal_axes, 0, 0, rg_study_signal_axes},
        {"decision", 0, RG_OPTION_TEXT, &j->decision, 0, 0, NULL},
        {"require", 0, RG_OPTION_TEXT, &j->require, 0, 0, NULL},
        {"settings", 0, RG_OPTION_TEXT, &j->settings, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    rg_code code = rg_options_read(argc, argv, options, (int)(sizeof options / sizeof options[0]),
                                   operands, &count, err);
    return code == RG_OK ? one_table(j, operands, count, "detect", err) : code;
}

static rg_code complete_options(job *j, const rg_progress *progress, rg_error *err)
{
    rg_study_options *o = &j->options;
    rg_code code = take_number("decision", j->decision, &o->decision, err);
    if (code == RG_OK)
        code = take_number("require", j->require, &o->require_mm, err);
    if (code == RG_OK && !isnan(o->require_mm) && !(o->require_mm > 0))
        code = rg_fail(err, RG_USAGE, "--require %s: a width above 0 mm is needed", j->require);
    if (code == RG_OK)
        code = rg_study_settings_load(j->settings, &o->settings, err);
    if (code != RG_OK)
        return code;
    o->settings.opportunity_deg = j->every > 0 ? j->every : o->settings.opportunity_deg;
    o->settings.link = j->link >= 0 ? j->link : o->settings.link;
    o->settings.axis = j->axis >= 0 ? j->axis : o->settings.axis;
    o->settings.signal_axes = j->signal_axes >= 0 ? j->signal_axes : o->settings.signal_axes;
    o->quantity = j->quantity;
    o->bearing_deg = j->bearing > 0 ? j->bearing : 0;
    o->workers = j->workers;
    o->progress = progress;
    return RG_OK;
}

/* --------------------------------------------------------------- files */

/* The table's name without folder and ending, as a folder's name. */
static rg_code find_place(job *j, rg_error *err)
{
    const char *slash = strrchr(j->table, '/'), *name = slash ? slash + 1 : j->table;
    const char *dot = strrchr(name, '.');
    size_t length = dot && dot > name ? (size_t)(dot - name) : strlen(name);
    if (length > 120)
        length = 120;
    memcpy(j->name, name, length);
    j->name[length] = 0;
    for (char *c = j->name; *c; c++) {
        char one[] = {'x', *c, '\0'};
        if (!rg_is_safe_name(one))
            *c = '_';
    }
    int n = snprintf(j->place, sizeof j->place, "%s/%s%s", j->out,
                     rg_is_safe_name(j->name) ? "" : "study", j->name);
    if (n < 0 || (size_t)n >= sizeof j->place)
        return rg_fail(err, RG_CANT_CREATE, "the output path %.200s... is too long", j->out);
    return RG_OK;
}

static rg_code store(const job *j, const char *name, const void *data, size_t size, rg_error *err)
{
    char path[1400];
    snprintf(path, sizeof path, "%s/%s", j->place, name);
    return rg_file_write(path, data, size, err);
}

typedef rg_code draw(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err);

/* PNG and SVG of one picture; without pictures those of an earlier run are taken away. */
static rg_code put_picture(const job *j, const char *name, draw *routine, const void *args,
                           rg_error *err)
{
    static const rg_picture_format format[] = {RG_PICTURE_PNG, RG_PICTURE_SVG};
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < 2; i++) {
        char file[64], path[1400];
        rg_bytes bytes = {0};
        snprintf(file, sizeof file, "%s.%s", name, rg_picture_suffix(format[i]));
        if (!j->pictures || !args) {
            snprintf(path, sizeof path, "%s/%s", j->place, file);
            remove(path);
            continue;
        }
        code = routine(args, format[i], &bytes, err);
        if (code == RG_OK)
            code = store(j, file, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}

static rg_code gauge_picture(const void *args, rg_picture_format format, rg_bytes *out,
                             rg_error *err)
{
    return rg_draw_gauge(args, format, out, err);
}

static rg_code pod_picture(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err)
{
    return rg_draw_pod(args, format, out, err);
}

static rg_code signal_picture(const void *args, rg_picture_format format, rg_bytes *out,
                              rg_error *err)
{
    return rg_draw_signal(args, format, out, err);
}

/* --------------------------------------------------------------- gauge */

static const char *quantity_words(const job *j, rg_gauge_input input, char *to, size_t size)
{
    static const char *const words[] = {"widest gap", "mean width of the widest arc",
                                        "bearing of the widest arc's centre"};
    if (input == RG_GAUGE_VALUES_MM)
        return "values";
    if (input == RG_GAUGE_VALUES_DEG)
        return "bearings";
    if (j->quantity != RG_QUANTITY_AT)
        return words[j->quantity];
    snprintf(to, size, "width at bearing %d", j->bearing);
    return to;
}

static rg_code write_gauge(job *j, const rg_gauge_run *run, const char *quantity, char **text,
                           rg_error *err)
{
    rg_gauge_report report = {j->table,    quantity, run->part, run->person, &j->options.settings,
                              &run->result};
    rg_draw_gauge_args args = {&run->result, &j->options.settings, run->part, run->person, j->name,
                               quantity};
    rg_code code = rg_study_report_gauge(&report, text, err);
    if (code == RG_OK)
        code = find_place(j, err);
    if (code == RG_OK)
        code = rg_folder_make(j->place, err);
    if (code == RG_OK)
        code = put_picture(j, "gauge", gauge_picture, &args, err);
    /* Last: where the numbers are, everything is. */
    if (code == RG_OK)
        code = store(j, "gauge.json", *text, strlen(*text), err);
    return code;
}

static rg_code gauge_all(job *j, int *exit_code, rg_error *err)
{
    char words[40], *text = NULL;
    rg_gauge_run run;
    rg_code code = rg_gauge_run_file(j->table, &j->options, &run, err);
    if (code != RG_OK)
        return code;
    const char *quantity = quantity_words(j, run.file.input, words, sizeof words);
    *exit_code = (int)run.result.verdict;
    code = write_gauge(j, &run, quantity, &text, err);
    if (code == RG_OK && j->json)
        puts(text);
    else if (code == RG_OK && !j->quiet)
        rg_study_print_gauge(&run, &j->options, quantity, j->place);
    free(text);
    rg_gauge_run_free(&run);
    return code;
}

/* --------------------------------------------------------------- detect */

static rg_code write_detect(job *j, const rg_detect_run *run, char **text, rg_error *err)
{
    static const char *const input[] = {"hits", "signals", "sweeps"};
    rg_detect_report report = {j->table, input[run->file.input], &j->options.settings, &run->result,
                               j->options.require_mm};
    rg_draw_detect_args args = {&run->result, j->name};
    rg_code code = rg_study_report_detect(&report, text, err);
    if (code == RG_OK)
        code = find_place(j, err);
    if (code == RG_OK)
        code = rg_folder_make(j->place, err);
    if (code == RG_OK)
        code = put_picture(j, "pod", pod_picture, &args, err);
    if (code == RG_OK)
        code =
            put_picture(j, "signal", signal_picture, run->result.has_signals ? &args : NULL, err);
    if (code == RG_OK)
        code = store(j, "detect.json", *text, strlen(*text), err);
    return code;
}

static rg_code detect_all(job *j, int *exit_code, rg_error *err)
{
    char *text = NULL;
    rg_detect_run run;
    rg_code code = rg_detect_run_file(j->table, &j->options, &run, err);
    if (code != RG_OK)
        return code;
    *exit_code = (int)run.result.verdict;
    code = write_detect(j, &run, &text, err);
    if (code == RG_OK && j->json)
        puts(text);
    else if (code == RG_OK && !j->quiet)
        rg_study_print_detect(&run, &j->options, j->place);
    free(text);
    rg_detect_run_free(&run);
    return code;
}

/* --------------------------------------------------------------- verbs */

typedef rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err);
typedef rg_code run_study(job *j, int *exit_code, rg_error *err);

static int study(int argc, char **argv, read_options *read, run_study *run)
{
    job j = {.out = "study",
             .pictures = 1,
             .bearing = -1,
             .every = -1,
             .link = -1,
             .axis = -1,
             .signal_axes = -1};
    rg_progress progress = {rg_command_progress, &j.terminal};
    rg_error err = {0};
    int exit_code = RG_OK;
    const char **operands = calloc((size_t)argc, sizeof *operands);
    rg_code code =
        operands ? read(argc, argv, &j, operands, &err) : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = complete_options(&j, &progress, &err);
    j.terminal = !j.quiet && isatty(STDERR_FILENO);
    if (code == RG_OK)
        code = run(&j, &exit_code, &err);
    free(operands);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return exit_code;
}

int rg_cmd_study_gauge(int argc, char **argv)
{
    return study(argc, argv, read_gauge_options, gauge_all);
}

int rg_cmd_study_detect(int argc, char **argv)
{
    return study(argc, argv, read_detect_options, detect_all);
}

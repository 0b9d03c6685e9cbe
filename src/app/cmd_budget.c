/*
 * cmd_budget.c - rimglow budget SWEEP
 */
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/budget_report.h"
#include "rimglow/command.h"
#include "rimglow/draw_budget.h"
#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"

const char rg_help_budget[] =
    "rimglow budget [options] SWEEP\n"
    "\n"
    "Says what the uncertainty of a measured gap is made of: every input with its own\n"
    "standard uncertainty, how much the width follows it, degrees of freedom and\n"
    "share; their sum, and the expanded uncertainty for a level of confidence.\n"
    "\n"
    "Examples:\n"
    "  rimglow budget samples/PE-A-0147/08-G\n"
    "      the widest place of each open arc; pages to print go to\n"
    "      inspection/PE-A-0147/08-G/budget-201.pdf (and .svg, .png), budget.json\n"
    "  rimglow budget --bearing 180 samples/PE-A-0147/08-G\n"
    "      one bearing of your choice\n"
    "  rimglow budget --json --pictures none samples/PE-A-0147/08-G | jq .budgets[0]\n"
    "      for machines\n"
    "\n"
    "Options:\n"
    "  -b, --bearing B      whole degrees, 0 to 359; 0 is the key arm\n"
    "  -o, --out DIR        where results go (default: inspection)\n"
    "      --pictures WHAT  page (default) or none\n"
    "      --json           print the JSON document in place of the table\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Reading the table: kind A was found by statistics, B otherwise. Make the largest\n"
    "share smaller first: for the lamp's radiance a second witness, for the blur a\n"
    "wedge, for noise and frames more elevations. The degrees of freedom of kind B\n"
    "follow from [budget] of the station file.\n"
    "\n"
    "Exit codes: 0 done; 2 no gap was measured, or not at that bearing; 64 wrong\n"
    "command line, 65 bad data, 66 a file or folder is missing, 70 internal, 73 an\n"
    "output cannot be made, 74 writing failed (disk full).\n";

enum { NO_BUDGET = 2 };

typedef struct job {
    const char *out, *folder;
    int pictures, workers, bearing; /* bearing -1: each arc's widest place */
    bool json, quiet, terminal;
    char date[32];
    rg_inspection in;
    int count;
    rg_gap_budget *budget; /* owned; [count] */
} job;

/* The bearings asked for, as budgets; RG_OK with count 0 when there is no gap. */
static rg_code make_budgets(job *j, rg_error *err)
{
    const rg_seal_map *map = &j->in.result.map;
    int arcs = j->bearing >= 0 ? 1 : map->arcs;
    rg_code code = RG_OK;
    j->budget = rg_alloc((size_t)arcs + 1, sizeof *j->budget);
    if (!j->budget)
        return rg_fail(err, RG_INTERNAL, "no memory for %d budgets", arcs);
    for (int i = 0; code == RG_OK && i < arcs; i++) {
        int bearing = j->bearing >= 0 ? j->bearing : (int)lround(map->arc[i].max_bearing_deg) % 360;
        code = rg_gap_budget_make(&j->in.setup, &j->in.result, bearing, &j->in.station.budget,
                                  &j->budget[i], err);
        j->count += code == RG_OK;
    }
    return code;
}

/* ---------------------------------------------------------------- outputs */

static rg_code draw_pages(const job *j, const char *place, rg_error *err)
{
    static const rg_picture_format formats[] = {RG_PICTURE_PDF, RG_PICTURE_SVG, RG_PICTURE_PNG};
    char path[RG_PLACE_SIZE + 32];
    rg_code code = RG_OK;
    for (int k = 0; code == RG_OK && k < 3 * j->count; k++) {
        const rg_gap_budget *g = &j->budget[k / 3];
        rg_draw_budget_args args = {g, j->in.sweep.serial, j->in.sweep.pad, j->in.station.name,
                                    j->date};
        rg_bytes bytes = {0};
        snprintf(path, sizeof path, "%s/budget-%03d.%s", place, g->bearing_deg,
                 rg_picture_suffix(formats[k % 3]));
        code = rg_draw_budget(&args, formats[k % 3], &bytes, err);
        if (code == RG_OK)
            code = rg_file_write(path, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}

/* The text last: where it is, everything is. */
static rg_code write_all(const job *j, const char *text, char *place, rg_error *err)
{
    char path[RG_PLACE_SIZE + 32];
    rg_inspection_place(&j->in, j->out, place);
    rg_code code = rg_folder_make(place, err);
    if (code == RG_OK && j->pictures)
        code = draw_pages(j, place, err);
    snprintf(path, sizeof path, "%s/budget.json", place);
    if (code == RG_OK)
        code = rg_file_write(path, text, strlen(text), err);
    return code;
}

static const char *short_number(char text[16], double value)
{
    if (isfinite(value))
        snprintf(text, 16, "%.3g", value);
    else
        snprintf(text, 16, "%s", isnan(value) ? "-" : "inf");
    return text;
}

static void print_budget(const rg_sweep *sweep, const rg_gap_budget *g)
{
    const rg_budget *b = &g->budget;
    char t[3][16];
    printf("pad %s, bearing %d: gap %.4f +- %.4f mm (%.4g %%, k = %.3g)\n", sweep->pad,
           g->bearing_deg, g->width_mm, b->expanded, 100 * b->level, b->coverage);
    printf("  %-30s %4s %9s %9s %5s %9s %5s\n", "input", "kind", "u", "mm per", "dof", "u, mm",
           "share");
    for (int i = 0; i < b->count; i++) {
        const rg_contribution *p = &b->part[i];
        printf("  %-30s %4s %9s %9s %5s %9.5f %3.0f %%\n", p->name,
               p->type == RG_TYPE_A ? "A" : "B", short_number(t[0], p->u),
               short_number(t[1], p->sensitivity), short_number(t[2], p->dof), p->u_result,
               100 * p->share);
    }
    printf("  %-30s %4s %9s %9s %5s %9.5f %3.0f %%\n", "combined", "", "", "",
           short_number(t[2], b->dof), b->u, 100.0);
    printf("  in the seal map: U = %.3g u = %.4f mm\n", g->coverage_factor,
           g->coverage_factor * b->u);
}

static void print_table(const job *j, const char *place)
{
    for (int i = 0; i < j->count; i++)
        print_budget(&j->in.sweep, &j->budget[i]);
    printf("        = %s/budget.json\n", place);
}

/* ---------------------------------------------------------------- command */

static rg_code measure(job *j, rg_error *err)
{
    rg_progress progress = {rg_command_progress, &j->terminal};
    rg_code code = rg_inspection_open(&j->in, j->folder, err);
    return code == RG_OK ? rg_inspection_run(&j->in, j->workers, &progress, err) : code;
}

static rg_code report(const job *j, rg_error *err)
{
    char *text = NULL, place[RG_PLACE_SIZE] = "";
    rg_budget_report r = {.serial = j->in.sweep.serial,
                          .pad = j->in.sweep.pad,
                          .station = j->in.station.name,
                          .folder = j->in.name,
                          .budget = j->budget,
                          .count = j->count};
    rg_code code = rg_budget_report_text(&r, &text, err);
    if (code == RG_OK)
        code = write_all(j, text, place, err);
    if (code == RG_OK && j->json)
        puts(text);
    else if (code == RG_OK && !j->quiet)
        print_table(j, place);
    free(text);
    return code;
}

static int run(job *j)
{
    rg_error err = {0};
    time_t now = time(NULL);
    struct tm utc;
    if (gmtime_r(&now, &utc))
        strftime(j->date, sizeof j->date, "%Y-%m-%d %H:%M UTC", &utc);
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    if (measure(j, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    rg_code code = make_budgets(j, &err);
    if (code == RG_BAD_DATA)
        return rg_command_fail(NO_BUDGET, "%s: %s", j->folder, err.text);
    if (code == RG_OK && j->count == 0)
        return rg_command_fail(
            NO_BUDGET, "%s: no open arc was measured; --bearing chooses a bearing all the same",
            j->folder);
    if (code == RG_OK)
        code = report(j, &err);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return RG_OK;
}

static int read_options(int argc, char **argv, job *j, const char **operands)
{
    static const char *const what[] = {"none", "page", NULL};
    int count = 0;
    rg_error err = {0};
    const rg_option options[] = {
        {"bearing", 'b', RG_OPTION_WHOLE, &j->bearing, 0, 359, NULL},
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, what},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int rows = (int)(sizeof options / sizeof options[0]);
    if (rg_options_read(argc, argv, options, rows, operands, &count, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (count != 1)
        return rg_command_fail(RG_USAGE,
                               "budget needs one sweep folder, %d were given; rimglow "
                               "budget -h shows examples",
                               count);
    j->folder = operands[0];
    return RG_OK;
}

int rg_cmd_budget(int argc, char **argv)
{
    job *j = rg_alloc(1, sizeof *j);
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    int code = j && operands ? RG_OK
                             : rg_command_fail(RG_INTERNAL,
                                               "out of memory; close other programs and try again");
    if (code == RG_OK) {
        j->out = "inspection";
        j->pictures = 1;
        j->bearing = -1;
        code = read_options(argc, argv, j, operands);
    }
    if (code == RG_OK) {
        code = run(j);
        rg_inspection_close(&j->in);
        free(j->budget);
    }
    free(operands);
    free(j);
    return code;
}

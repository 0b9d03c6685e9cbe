/*
 * cmd_inspect.c - rimglow inspect SWEEP...
 *
 * The sweeps are measured one after the other, each on all cores. A sweep
 * that cannot be opened is reported and the rest goes on; its exit code then
 * outranks every verdict, because the instrument was not inspected.
 */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/inspection.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/report.h"
#include "rimglow/table.h"

const char rg_help_inspect[] =
    "rimglow inspect [options] SWEEP...\n"
    "\n"
    "Measures one or many sweep folders (a whole instrument) and says of each pad\n"
    "whether it is sealed, leaking or undecided, and why. A sweep folder holds the\n"
    "frames and a sweep.ini that names instrument, station, pad, crown and the role\n"
    "of every frame (witness, closed, dark, open).\n"
    "\n"
    "Examples:\n"
    "  rimglow inspect samples/PE-A-0147/08-G\n"
    "      one pad; pictures and seal-map.json go to inspection/PE-A-0147/08-G/\n"
    "  rimglow inspect samples/PE-A-0147/*\n"
    "      the whole instrument, one line per pad\n"
    "  rimglow inspect --json --pictures none samples/PE-A-0147/08-G | jq .verdict\n"
    "      for machines: the answer on standard output, no pictures\n"
    "\n"
    "Options:\n"
    "  -o, --out DIR        where results go (default: inspection)\n"
    "      --pictures WHAT  all: ring map, strip and every frame (default);\n"
    "                       map: ring map and strip; none\n"
    "      --json           print all seal maps as one JSON document\n"
    "      --inch           widths in thousandths of an inch in the table\n"
    "  -j, --jobs N         workers (default: one for each core)\n"
    "  -q, --quiet          no table and no progress\n"
    "  -h, --help           this text\n"
    "\n"
    "Reading the table: U is the expanded uncertainty (k = 2). \"seen\" is the share of\n"
    "the rim that shows light, or is dark with a detection limit at or below half the\n"
    "tolerance. A pad is sealed only when a witness frame proves the lamp on, every\n"
    "bearing was seen, and width plus U stays within the tolerance everywhere;\n"
    "leaking when width minus U exceeds it over an arc; otherwise undecided, with\n"
    "bearings and what to do. Frames of the open key give its height over the hole at\n"
    "the far edge and at the hinge; they say nothing of the seal.\n"
    "\n"
    "Exit codes: 0 all sealed, 1 a pad leaks, 2 a pad is undecided and none leaks; a\n"
    "sweep of the open key alone counts as 0 when its height was measured, else as 2;\n"
    "64 wrong command line, 65 bad data, 66 a file or folder is missing, 70 internal,\n"
    "73 an output cannot be made, 74 writing failed (disk full).\n";

typedef struct job {
    const char *out;
    int pictures, workers;
    bool json, inch, quiet;
    int sweeps;
    const char **folder; /* [sweeps] */
    /* results */
    char **map;        /* [sweeps] JSON or NULL */
    rg_error *error;   /* [sweeps] */
    rg_table_row *row; /* [sweeps] */
    char date[32];
    bool terminal; /* progress is shown */
} job;

static int read_options(int argc, char **argv, job *j, const char **operands)
{
    static const char *const what[] = {"none", "map", "all", NULL};
    rg_error err = {0};
    const rg_option options[] = {
        {"out", 'o', RG_OPTION_TEXT, &j->out, 0, 0, NULL},
        {"pictures", 0, RG_OPTION_CHOICE, &j->pictures, 0, 0, what},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"inch", 0, RG_OPTION_SWITCH, &j->inch, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int count = (int)(sizeof options / sizeof options[0]);
    if (rg_options_read(argc, argv, options, count, operands, &j->sweeps, &err) != RG_OK)
        return rg_command_fail((int)err.code, "%s", err.text);
    if (j->sweeps == 0)
        return rg_command_fail(RG_USAGE, "inspect needs at least one sweep folder; "
                                         "rimglow inspect -h shows examples");
    return RG_OK;
}

/* Two sweeps that would be written to the same place: the second would
 * silently replace the first. */
static rg_code check_place(const job *j, int i, const char *place, rg_error *err)
{
    for (int k = 0; k < i; k++)
        if (j->row[k].place[0] && strcmp(j->row[k].place, place) == 0)
            return rg_fail(err, RG_USAGE,
                           "%s: its results would replace those of %s in %s; rename one folder or "
                           "inspect them with different --out",
                           j->folder[i], j->folder[k], place);
    return RG_OK;
}

static rg_code inspect_one(job *j, int i, rg_error *err)
{
    rg_inspection in;
    rg_progress progress = {rg_command_progress, &j->terminal};
    char place[RG_PLACE_SIZE] = "";
    rg_code code = rg_inspection_open(&in, j->folder[i], err);
    if (code != RG_OK)
        return code;
    rg_inspection_place(&in, j->out, place);
    code = check_place(j, i, place, err);
    if (code == RG_OK)
        code = rg_inspection_run(&in, j->workers, &progress, err);
    if (code == RG_OK) {
        rg_table_fill(&j->row[i], in.sweep.pad, &in.result, in.frames, in.sweep.frames,
                      &in.setup.options.sealmap);
        rg_table_heights(&j->row[i], &in.opening,
                         rg_instrument_pad(&in.instrument, in.sweep.pad)->opening_mm,
                         in.setup.options.sealmap.coverage_factor, rg_inspection_heights_only(&in));
        code = rg_inspection_json(&in, &j->map[i], err);
    }
    if (code == RG_OK)
        code = rg_inspection_write(&in, j->out, (rg_pictures)j->pictures, j->date, j->workers,
                                   &progress, place, err);
    snprintf(j->row[i].place, sizeof j->row[i].place, "%s", place);
    rg_table_frames(&j->row[i], &in.sweep, in.frames);
    rg_inspection_close(&in);
    return code;
}

static void inspect_all(job *j)
{
    bool first = true;
    for (int i = 0; i < j->sweeps; i++) {
        j->error[i].code = inspect_one(j, i, &j->error[i]);
        if (j->error[i].code != RG_OK)
            rg_command_fail(0, "%s", j->error[i].text);
        else if (!j->quiet && !j->json) {
            rg_table_print(&j->row[i], j->inch, first);
            first = false;
        }
        fflush(stdout);
    }
}

/* A sweep of the open key alone says nothing of the seal: its pad stays undecided in words, but
 * only an opening that could not be measured is a fault. */
static const char *overall(const job *j, int *exit_code)
{
    int leaking = 0, undecided = 0, unmeasured = 0, failed = RG_OK;
    for (int i = 0; i < j->sweeps; i++) {
        const rg_table_row *row = &j->row[i];
        if (j->error[i].code != RG_OK) {
            failed = failed == RG_OK ? (int)j->error[i].code : failed;
            continue;
        }
        bool measured = row->heights_only && row->opening.measured;
        leaking += row->verdict == RG_VERDICT_LEAKING;
        undecided += row->verdict == RG_VERDICT_UNDECIDED;
        unmeasured += row->verdict == RG_VERDICT_UNDECIDED && !measured;
    }
    *exit_code = failed != RG_OK ? failed : leaking ? 1 : unmeasured ? 2 : 0;
    return leaking ? "leaking" : undecided || failed != RG_OK ? "undecided" : "sealed";
}

static int print_json(const job *j, const char *verdict, int exit_code)
{
    char *text = NULL;
    rg_error err = {0};
    rg_code code = rg_report_inspection(verdict, j->folder, (const char *const *)j->map, j->error,
                                        j->sweeps, &text, &err);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    puts(text);
    free(text);
    return exit_code;
}

static int run(job *j)
{
    int exit_code;
    time_t now = time(NULL);
    struct tm utc;
    if (gmtime_r(&now, &utc))
        strftime(j->date, sizeof j->date, "%Y-%m-%d %H:%M UTC", &utc);
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    inspect_all(j);
    const char *verdict = overall(j, &exit_code);
    if (j->json)
        exit_code = print_json(j, verdict, exit_code);
    else if (!j->quiet)
        rg_table_close(j->row, j->error, j->sweeps, verdict);
    if (fflush(stdout) != 0 || ferror(stdout))
        return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
    return exit_code;
}

int rg_cmd_inspect(int argc, char **argv)
{
    job j = {.out = "inspection", .pictures = RG_PICTURES_ALL};
    j.folder = rg_alloc((size_t)argc, sizeof *j.folder);
    int code = j.folder ? read_options(argc, argv, &j, j.folder)
                        : rg_command_fail(RG_INTERNAL,
                                          "out of memory; close other programs and try again");
    if (code == RG_OK) {
        size_t n = (size_t)j.sweeps;
        j.map = rg_alloc(n, sizeof *j.map);
        j.error = rg_alloc(n, sizeof *j.error);
        j.row = rg_alloc(n, sizeof *j.row);
        code = j.map && j.error && j.row
                   ? run(&j)
                   : rg_command_fail(RG_INTERNAL, "no memory for %d sweeps; close other programs",
                                     j.sweeps);
    }
    for (int i = 0; j.map && i < j.sweeps; i++)
        free(j.map[i]);
    free(j.map);
    free(j.error);
    free(j.row);
    free(j.folder);
    return code;
}

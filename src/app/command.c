/*
 * command.c - the table of commands and the program's own help.
 */
#include "rimglow/command.h"

#include <jansson.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/build_facts.h"
#include "rimglow/status.h"
#include "rimglow/version.h"

/* The verbs of "rimglow calibrate", in the order in which a workshop needs them. */
static const rg_command calibrations[] = {
    {.name = "lens",
     .summary = "focal length, centre and distortion, from photographs of the board",
     .help = rg_help_calibrate_lens,
     .run = rg_cmd_calibrate_lens},
    {.name = "light",
     .summary = "the response to gaps of known width, from a feeler wedge",
     .help = rg_help_calibrate_light,
     .run = rg_cmd_calibrate_light},
    {.name = "check",
     .summary = "the bench on any sweep: scale, focus, light, movement",
     .help = rg_help_calibrate_check,
     .run = rg_cmd_calibrate_check},
    {0}};

static const char help_calibrate[] =
    "rimglow calibrate VERB ... - find out what camera and light are worth\n"
    "\n"
    "A number without calibration is a guess. Needed are a printer, a sheet of board,\n"
    "one feeler strip and ten minutes. The order is: lens, light, check.\n"
    "\n"
    "Examples:\n"
    "  rimglow calibrate light samples/wedge --write calib/bench.ini\n"
    "  rimglow calibrate light -h\n"
    "\n"
    "Exit codes: 0 good, 1 not good, 2 more is needed; others as in rimglow -h.\n"
    "\n"
    "Verbs (rimglow calibrate VERB -h teaches each):\n";

static const rg_command instruments[] = {
    {.name = "show",
     .summary = "what an instrument file says: pads, links, notes, venting",
     .help = rg_help_instrument_show,
     .run = rg_cmd_instrument_show},
    {.name = "measure",
     .summary = "write the sizes of your own instrument, pad by pad",
     .help = rg_help_instrument_measure,
     .run = rg_cmd_instrument_measure},
    {0}};

static const char help_instrument[] =
    "rimglow instrument VERB ... - the file that says what an instrument is\n"
    "\n"
    "An instrument file lists the pads from the top of the body to the bottom: sizes,\n"
    "links between keys, notes. calib/ holds six to begin with: alto, tenor, baritone\n"
    "and soprano saxophone, clarinet with covered holes, flute. Their sizes are not\n"
    "measured; yours should be.\n"
    "\n"
    "Examples:\n"
    "  rimglow instrument show calib/tenor-loan.ini\n"
    "  rimglow instrument measure --from calib/tenor-loan.ini my-tenor.ini\n"
    "\n"
    "Verbs (rimglow instrument VERB -h teaches each):\n";

static const rg_command studies[] = {{.name = "gauge",
                                      .summary = "repeats and persons: what a measurement is worth",
                                      .help = rg_help_study_gauge,
                                      .run = rg_cmd_study_gauge},
                                     {.name = "detect",
                                      .summary = "how wide a gap must be to be found",
                                      .help = rg_help_study_detect,
                                      .run = rg_cmd_study_detect},
                                     {0}};

static const char help_study[] =
    "rimglow study VERB ... - prove what the measurement is worth\n"
    "\n"
    "Both verbs read a table (CSV) that is written by hand or in a spreadsheet and\n"
    "names values or sweeps; results are tables, pictures and JSON.\n"
    "\n"
    "Examples:\n"
    "  rimglow study gauge samples/study/gauge.csv\n"
    "      five pads, three persons, three repeats: is the bench a good gauge?\n"
    "  rimglow study detect samples/study/detect.csv\n"
    "      the sample frames against their truth: which gaps are found?\n"
    "\n"
    "Verbs (rimglow study VERB -h teaches each):\n";

static const rg_command archive_verbs[] = {
    {.name = "add",
     .summary = "one more inspection of a serial, as a bag",
     .help = rg_help_archive_add,
     .run = rg_cmd_archive_add},
    {.name = "list",
     .summary = "inspections by serial, model, date, verdict, pad",
     .help = rg_help_archive_list,
     .run = rg_cmd_archive_list},
    {.name = "show",
     .summary = "one inspection",
     .help = rg_help_archive_show,
     .run = rg_cmd_archive_show},
    {.name = "verify",
     .summary = "is everything still as it was stored?",
     .help = rg_help_archive_verify,
     .run = rg_cmd_archive_verify},
    {.name = "compare",
     .summary = "the same pads at two visits, or over all visits",
     .help = rg_help_archive_compare,
     .run = rg_cmd_archive_compare},
    {.name = "report",
     .summary = "certificate of a serial, PDF and HTML",
     .help = rg_help_archive_report,
     .run = rg_cmd_archive_report},
    {.name = "batch",
     .summary = "many instruments: failing pads, first pass, drift",
     .help = rg_help_archive_batch,
     .run = rg_cmd_archive_batch},
    {.name = "export",
     .summary = "tables for other programs; one bag to hand over",
     .help = rg_help_archive_export,
     .run = rg_cmd_archive_export},
    {.name = "reindex",
     .summary = "make the index again from the bags",
     .help = rg_help_archive_reindex,
     .run = rg_cmd_archive_reindex},
    {.name = "key",
     .summary = "make a pair of signing keys",
     .help = rg_help_archive_key,
     .run = rg_cmd_archive_key},
    {0}};

static const char help_archive[] =
    "rimglow archive VERB ... - evidence for each serial that stands up a year later\n"
    "\n"
    "Each inspection becomes a bag (BagIt, RFC 8493): frames, calibration, results,\n"
    "untouched, with SHA-256 manifests, linked to the bag before it. An index makes\n"
    "them easy to find and can always be made again.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive add --technician \"A. Bell\" --occasion release path/to/sweeps/*\n"
    "  rimglow archive list --serial PE-A-0147\n"
    "  rimglow archive verify\n"
    "  rimglow archive report PE-A-0147\n"
    "\n"
    "Verbs (rimglow archive VERB -h teaches each):\n";

const rg_command rg_commands[] = {
    {.name = "inspect",
     .summary = "measure sweep folders: seal map, verdict, pictures",
     .help = rg_help_inspect,
     .run = rg_cmd_inspect},
    {.name = "capture",
     .summary = "one pad live, from a camera in your hand",
     .help = rg_help_capture,
     .run = rg_cmd_capture},
    {.name = "bench",
     .summary = "the page beside the camera: live picture, verdict, archive",
     .help = rg_help_bench,
     .run = rg_cmd_bench},
    {.name = "crown",
     .summary = "print index crowns at true size, to cut and fold",
     .help = rg_help_crown,
     .run = rg_cmd_crown},
    {.name = "board",
     .summary = "print the calibration board at true size",
     .help = rg_help_board,
     .run = rg_cmd_board},
    {.name = "instrument",
     .summary = "show an instrument file, measure your own instrument",
     .help = help_instrument,
     .verbs = instruments},
    {.name = "budget",
     .summary = "what the uncertainty of a measured gap is made of",
     .help = rg_help_budget,
     .run = rg_cmd_budget},
    {.name = "calibrate",
     .summary = "lens, light, and a check of the bench",
     .help = help_calibrate,
     .verbs = calibrations},
    {.name = "archive",
     .summary = "evidence for each serial: store, find, verify, report",
     .help = help_archive,
     .verbs = archive_verbs},
    {.name = "setup",
     .summary = "set-up sheet of a serial: release, or hold and why",
     .help = rg_help_setup,
     .run = rg_cmd_setup},
    {.name = "study",
     .summary = "repeatability, and probability of detection",
     .help = help_study,
     .verbs = studies},
    {.name = "render",
     .summary = "sweep folders with known gaps, to try and to teach",
     .help = rg_help_render,
     .run = rg_cmd_render},
    {.name = "teach",
     .summary = "lessons in the browser: what a partial leak looks like",
     .help = rg_help_teach,
     .run = rg_cmd_teach},
    {0}};

static const char opening[] =
    "rimglow " RG_VERSION " - does every pad close on its rim, all the way round?\n"
    "\n"
    "Camera frames taken round a pad cup, with a leak light in the bore, become a\n"
    "360-degree map of gap width in mm, with its uncertainty, and a verdict: sealed,\n"
    "leaking, or undecided and why.\n"
    "\n"
    "Commands (rimglow COMMAND -h teaches each):\n";

static const char closing[] =
    "\n"
    "First steps:\n"
    "  rimglow inspect samples/PE-A-0147/08-G      one pad of the sample instrument\n"
    "  rimglow inspect samples/PE-A-0147/*         the whole instrument\n"
    "\n"
    "Exit codes: 0 sealed, 1 leaking, 2 undecided; 64 wrong command line,\n"
    "65 bad data, 66 no input, 69 camera unavailable, 70 internal,\n"
    "73/74 cannot write.\n"
    "\n"
    "Caution: never look into a bright leak light; keep hot lamps away from pads and\n"
    "lacquer. The instrument maker's instructions come first.\n";

static void print_table(const rg_command *table)
{
    for (const rg_command *c = table; c->name; c++)
        printf("  %-10s %s\n", c->name, c->summary);
}

static void print_help(void)
{
    fputs(opening, stdout);
    print_table(rg_commands);
    fputs(closing, stdout);
}

int rg_command_fail(int code, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fputs("rimglow: ", stderr);
    vfprintf(stderr, format, args);
    fputc('\n', stderr);
    va_end(args);
    return code;
}

void rg_command_block_signals(sigset_t *set)
{
    sigemptyset(set);
    sigaddset(set, SIGINT);
    sigaddset(set, SIGTERM);
    sigaddset(set, SIGHUP);
    pthread_sigmask(SIG_BLOCK, set, NULL);
}

void rg_command_progress(void *context, const char *what, int done, int total)
{
    const bool *shown = context;
    if (!*shown)
        return;
    fprintf(stderr, "\r  %s %d of %d   ", what, done, total);
    if (done == total)
        fputs("\r                                  \r", stderr);
    fflush(stderr);
}

static const rg_command *find_in(const rg_command *table, const char *name)
{
    for (const rg_command *c = table; c->name; c++)
        if (strcmp(c->name, name) == 0)
            return c;
    return NULL;
}

const rg_command *rg_command_find(const char *name)
{
    return find_in(rg_commands, name);
}

static int is_help(const char *word)
{
    return strcmp(word, "-h") == 0 || strcmp(word, "--help") == 0;
}

/* What was printed is only said once it is written. */
static int printed(void)
{
    if (fflush(stdout) == 0 && !ferror(stdout))
        return RG_OK;
    return rg_command_fail(RG_IO, "standard output cannot be written; is the disk full?");
}

/* -h anywhere among a command's words, up to "--". */
static int asks_for_help(int argc, char **argv)
{
    for (int i = 1; i < argc && strcmp(argv[i], "--") != 0; i++)
        if (is_help(argv[i]))
            return 1;
    return 0;
}

static int show_help(const rg_command *command)
{
    fputs(command->help, stdout);
    if (command->verbs)
        print_table(command->verbs);
    return printed();
}

/* argv[0] is the command's name. */
static int run(const rg_command *command, int argc, char **argv)
{
    if (command->verbs) {
        if (argc < 2)
            return rg_command_fail(RG_USAGE, "%s needs a verb; try: rimglow %s -h", command->name,
                                   command->name);
        if (is_help(argv[1]))
            return show_help(command);
        const rg_command *verb = find_in(command->verbs, argv[1]);
        if (!verb)
            return rg_command_fail(RG_USAGE, "unknown verb \"%s\"; rimglow %s -h lists them",
                                   argv[1], command->name);
        return run(verb, argc - 1, argv + 1);
    }
    return asks_for_help(argc, argv) ? show_help(command) : command->run(argc, argv);
}

/* jansson's documents are built of many small blocks by calls whose failing nobody could look at one by
 * one; a document that lacks a key would be a wrong result. So the program ends where one cannot be
 * had. Files are replaced whole by a rename, so none is half written then. */
static void *block_or_end(size_t size)
{
    void *block = malloc(size);
    if (block)
        return block;
    rg_command_fail(RG_INTERNAL,
                    "out of memory for a JSON document; close other programs, see what is "
                    "there already and try again");
    _exit(RG_INTERNAL);
}

int rg_command_main(int argc, char **argv)
{
    json_set_alloc_funcs(block_or_end, free);
    if (argc < 2)
        return rg_command_fail(RG_USAGE, "no command given; try: rimglow -h");
    if (is_help(argv[1])) {
        print_help();
        return printed();
    }
    if (strcmp(argv[1], "--version") == 0) {
        char facts[1024];
        rg_build_facts(facts, sizeof facts);
        printf("rimglow %s\n%s", rg_version(), facts);
        return printed();
    }
    const rg_command *command = rg_command_find(argv[1]);
    if (!command)
        return rg_command_fail(RG_USAGE, "unknown command \"%s\"; rimglow -h lists them", argv[1]);
    return run(command, argc - 1, argv + 1);
}

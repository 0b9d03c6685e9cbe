/*
 * cmd_bench.c - rimglow bench: the page beside the camera.
 */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "rimglow/bench.h"
#include "rimglow/bench_page.h"
#include "rimglow/command.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"

const char rg_help_bench[] =
    "rimglow bench [options] --instrument FILE --station FILE --serial S\n"
    "\n"
    "The page beside the camera: one hand holds the key, the other the camera, and\n"
    "the browser shows the picture, where the camera is missing, and the verdict of\n"
    "each pad in body order. Keys (or a foot switch) do the rest; ? on the page\n"
    "lists them. At the end the instrument is archived as one inspection, with the\n"
    "measured set-up values and checks that were entered on the page /setup, which\n"
    "shows before that what the rules of calib/release.ini would decide.\n"
    "\n"
    "Ended before that, it goes on where it was when it is started again: finished\n"
    "pads, set-up values and notes are read back from DIR/SERIAL until a bag of the\n"
    "archive holds them.\n"
    "\n"
    "Examples:\n"
    "  rimglow bench --instrument calib/alto-loan.ini --station calib/bench.ini \\\n"
    "      --serial PE-A-0147 --technician \"A. Bell\"\n"
    "      with the first camera that has the station's picture size\n"
    "  rimglow bench --instrument calib/alto-loan.ini --station calib/bench.ini \\\n"
    "      --serial PE-A-0147 --replay samples/PE-A-0147\n"
    "      recorded sweeps, one folder for each pad, in place of a camera\n"
    "  rimglow bench --instrument calib/alto-loan.ini --station mine.ini \\\n"
    "      --serial PE-A-0147 --replay photos samples/wedge\n"
    "      calibrations tried out: photographs of the board and a sweep over a feeler\n"
    "\n"
    "Then open the printed address in a browser on this computer. Ctrl-C ends. The\n"
    "page Calibrate (C) walks through calibrate lens and calibrate light with the\n"
    "camera; what it takes is kept, so that both commands give the same values.\n"
    "\n"
    "Options:\n"
    "      --instrument FILE  the instrument: its pads from the top of the body down\n"
    "      --station FILE     camera, lens and light\n"
    "      --serial S         of the instrument\n"
    "      --technician NAME  who measures (default: the page asks)\n"
    "      --occasion WORDS   why: as received, release, return, yearly ...\n"
    "      --camera DEVICE    such as /dev/video0\n"
    "      --replay FOLDER    recorded sweeps; more folders may follow, also one of\n"
    "                         board photographs and a sweep over a feeler\n"
    "      --rate N           frames a second of a replay (default: 8; 0: as fast as\n"
    "                         they are measured)\n"
    "      --settings FILE    how sweeps are taken (default: calib/capture.ini)\n"
    "      --fresh            begin anew: sweeps of an earlier run that were not\n"
    "                         archived do not count (they stay on the disk)\n"
    "      --board FILE       printed board for the lens (default: calib/board.ini)\n"
    "  -o, --out DIR          sweeps go to DIR/SERIAL, calibrations to\n"
    "                         DIR/calibration (default: sweeps)\n"
    "  -a, --archive DIR      the archive (default: archive)\n"
    "      --reports DIR      certificates (default: reports)\n"
    "      --port N           of the page (default: 8737; 0: any free one)\n"
    "      --listen ADDRESS   other computers may look and press keys: an address of\n"
    "                         this one, in numbers. What is printed holds a token\n"
    "      --token            ask for the token on this computer too\n"
    "  -j, --jobs N           workers (default: one for each core)\n"
    "  -h, --help             this text\n"
    "\n"
    "The connection is not encrypted: use --listen in a network you trust.\n"
    "\n"
    "Exit codes: 0 ended by Ctrl-C; 64 wrong command line, 65 bad data, 66 no input,\n"
    "70 internal, 74 the port is taken.\n"
    "\n"
    "Caution: never look into a bright leak light; keep hot lamps away from pads and\n"
    "lacquer. The instrument maker's instructions come first.\n";

typedef struct job {
    rg_bench_options bench;
    rg_bench_page_options page;
    const char *replay;
    int rate;
} job;

static rg_code read_options(int argc, char **argv, job *j, const char **operands, int *count,
                            rg_error *err)
{
    rg_bench_options *b = &j->bench;
    const rg_option options[] = {
        {"instrument", 0, RG_OPTION_TEXT, &b->instrument_file, 0, 0, NULL},
        {"station", 0, RG_OPTION_TEXT, &b->station_file, 0, 0, NULL},
        {"serial", 0, RG_OPTION_TEXT, &b->serial, 0, 0, NULL},
        {"technician", 0, RG_OPTION_TEXT, &b->technician, 0, 0, NULL},
        {"occasion", 0, RG_OPTION_TEXT, &b->occasion, 0, 0, NULL},
        {"camera", 0, RG_OPTION_TEXT, &b->camera, 0, 0, NULL},
        {"replay", 0, RG_OPTION_TEXT, &j->replay, 0, 0, NULL},
        {"rate", 0, RG_OPTION_WHOLE, &j->rate, 0, 240, NULL},
        {"settings", 0, RG_OPTION_TEXT, &b->settings_file, 0, 0, NULL},
        {"board", 0, RG_OPTION_TEXT, &b->board_file, 0, 0, NULL},
        {"out", 'o', RG_OPTION_TEXT, &b->out, 0, 0, NULL},
        {"archive", 'a', RG_OPTION_TEXT, &b->archive, 0, 0, NULL},
        {"reports", 0, RG_OPTION_TEXT, &b->reports, 0, 0, NULL},
        {"port", 0, RG_OPTION_WHOLE, &j->page.port, 0, 65535, NULL},
        {"listen", 0, RG_OPTION_TEXT, &j->page.listen, 0, 0, NULL},
        {"fresh", 0, RG_OPTION_SWITCH, &b->fresh, 0, 0, NULL},
        {"token", 0, RG_OPTION_SWITCH, &j->page.token, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &b->workers, 1, 64, NULL},
    };
    int rows = (int)(sizeof options / sizeof options[0]);
    return rg_options_read(argc, argv, options, rows, operands, count, err);
}

static rg_code check(job *j, int folders, rg_error *err)
{
    const rg_bench_options *b = &j->bench;
    const char *missing = !b->instrument_file ? "--instrument FILE"
                          : !b->station_file  ? "--station FILE"
                          : !b->serial        ? "--serial S"
                                              : NULL;
    if (missing)
        return rg_fail(err, RG_USAGE, "%s is needed; rimglow bench -h shows examples", missing);
    if (folders && !j->replay)
        return rg_fail(err, RG_USAGE, "folders are for --replay; rimglow bench -h shows examples");
    if (j->replay && b->camera)
        return rg_fail(err, RG_USAGE, "either --camera or --replay, not both");
    j->page.token = j->page.token || j->page.listen;
    j->bench.rate = j->rate;
    return RG_OK;
}

static void announce(const rg_bench_page *page)
{
    char url[256];
    rg_bench_page_url(page, url, sizeof url);
    if (geteuid() == 0)
        fputs("rimglow: this runs as root; the bench needs no such rights: use an account of the "
              "group video\n",
              stderr);
    printf("= %s\n", url);
    puts("  open this address in a browser; Ctrl-C ends");
    fflush(stdout);
}

static rg_code run(job *j, rg_error *err)
{
    sigset_t set;
    int signal_number;
    rg_bench_page *page = NULL;
    rg_command_block_signals(&set);
    rg_code code = rg_bench_open(&j->bench, &j->page.bench, err);
    if (code != RG_OK)
        return code;
    code = rg_bench_page_open(&j->page, &page, err);
    if (code == RG_OK) {
        announce(page);
        sigwait(&set, &signal_number);
    }
    rg_bench_stop(j->page.bench);
    rg_bench_page_close(page);
    rg_bench_close(j->page.bench);
    return code;
}

int rg_cmd_bench(int argc, char **argv)
{
    job j = {.bench = {.out = "sweeps", .archive = "archive", .reports = "reports"},
             .page = {.port = 8737},
             .rate = 8};
    rg_error err = {0};
    int folders = 0;
    const char **word = rg_alloc((size_t)argc + 1, sizeof *word);
    rg_code code = word ? read_options(argc, argv, &j, word + 1, &folders, &err)
                        : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = check(&j, folders, &err);
    if (code == RG_OK) {
        word[0] = j.replay;
        j.bench.replay = word;
        j.bench.replays = j.replay ? folders + 1 : 0;
        code = run(&j, &err);
    }
    free(word);
    return code == RG_OK ? RG_OK : rg_command_fail((int)code, "%s", err.text);
}

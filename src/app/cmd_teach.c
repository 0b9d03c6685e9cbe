/*
 * cmd_teach.c - rimglow teach: lessons on this computer's own page.
 */
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>

#include "rimglow/command.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/teach_page.h"

const char rg_help_teach[] =
    "rimglow teach [options]\n"
    "\n"
    "What a partial leak looks like: a pad in the browser whose gap, tilt, crease,\n"
    "finger, lamp and camera follow sliders, while picture, ring map and verdict\n"
    "change at once. Every picture is drawn by this program (rimglow render) and\n"
    "measured as a photograph is (rimglow inspect): no verdict is played.\n"
    "\n"
    "Examples:\n"
    "  rimglow teach\n"
    "      the demo's pad, light and camera; works at once\n"
    "  rimglow teach --instrument my-tenor.ini --station mine.ini --pad G\n"
    "      a pad of yours, seen as your own camera would see it\n"
    "  rimglow teach --settings my-teach.ini\n"
    "      other sliders; calib/teach.ini says what stands there\n"
    "\n"
    "Then open the printed address in a browser on this computer. Ctrl-C ends.\n"
    "\n"
    "What to look for:\n"
    "  one view proves no seal: it sees a part of the rim, at one height;\n"
    "  a leak that is seen is a leak, whatever other views do not show;\n"
    "  rock the camera slowly through the height of the rim: views add up;\n"
    "  from above a thin gap is dark, because the pad hides it;\n"
    "  a firmer finger closes a gap and hides the fault: press lightly.\n"
    "\n"
    "Options:\n"
    "      --instrument FILE  the instrument (default: calib/alto-loan.ini)\n"
    "      --station FILE     camera, lens and light (default: calib/bench.ini)\n"
    "      --pad NAME         of the instrument (default: that of the settings)\n"
    "      --settings FILE    what is drawn, and the sliders (default:\n"
    "                         calib/teach.ini)\n"
    "      --archive DIR      photographs of your own archive beside the drawn ones\n"
    "      --trainees DIR     where results of the quiz are kept\n"
    "      --port N           of the page (default: 8738; 0: any free one)\n"
    "      --listen ADDRESS   other computers may look too: an address of this one,\n"
    "                         in numbers. What is printed holds a token\n"
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
    "lacquer; leave work with heat to those who have learnt it. The instrument\n"
    "maker's instructions come first.\n";

static rg_code read_options(int argc, char **argv, rg_teach_page_options *o, rg_error *err)
{
    int words = 0;
    const char **word = rg_alloc((size_t)argc, sizeof *word);
    const rg_option options[] = {
        {"instrument", 0, RG_OPTION_TEXT, &o->lab.instrument_file, 0, 0, NULL},
        {"station", 0, RG_OPTION_TEXT, &o->lab.station_file, 0, 0, NULL},
        {"settings", 0, RG_OPTION_TEXT, &o->lab.settings_file, 0, 0, NULL},
        {"pad", 0, RG_OPTION_TEXT, &o->lab.pad, 0, 0, NULL},
        {"archive", 0, RG_OPTION_TEXT, &o->archive, 0, 0, NULL},
        {"trainees", 0, RG_OPTION_TEXT, &o->trainees, 0, 0, NULL},
        {"port", 0, RG_OPTION_WHOLE, &o->port, 0, 65535, NULL},
        {"listen", 0, RG_OPTION_TEXT, &o->listen, 0, 0, NULL},
        {"token", 0, RG_OPTION_SWITCH, &o->token, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &o->lab.workers, 1, 64, NULL},
    };
    int rows = (int)(sizeof options / sizeof options[0]);
    rg_code code = word ? rg_options_read(argc, argv, options, rows, word, &words, err)
                        : rg_fail(err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words > 0)
        code =
            rg_fail(err, RG_USAGE, "\"%s\": teach takes options only; rimglow teach -h", word[0]);
    free(word);
    o->token = o->token || o->listen;
    return code;
}

/* Signals are waited for by this thread alone: blocked before any other thread is made. */
static void block_signals(sigset_t *set)
{
    sigemptyset(set);
    sigaddset(set, SIGINT);
    sigaddset(set, SIGTERM);
    sigaddset(set, SIGHUP);
    pthread_sigmask(SIG_BLOCK, set, NULL);
}

static rg_code serve(const rg_teach_page_options *options, rg_error *err)
{
    sigset_t set;
    int signal_number;
    char url[256];
    rg_teach_page *page;
    block_signals(&set);
    rg_code code = rg_teach_page_open(options, &page, err);
    if (code != RG_OK)
        return code;
    rg_teach_page_url(page, url, sizeof url);
    printf("= %s\n", url);
    puts("  open this address in a browser; Ctrl-C ends");
    fflush(stdout);
    sigwait(&set, &signal_number);
    rg_teach_page_close(page);
    return RG_OK;
}

int rg_cmd_teach(int argc, char **argv)
{
    rg_teach_page_options options = {.port = 8738};
    rg_error err = {0};
    rg_code code = read_options(argc, argv, &options, &err);
    if (code == RG_OK)
        code = serve(&options, &err);
    return code == RG_OK ? RG_OK : rg_command_fail((int)code, "%s", err.text);
}

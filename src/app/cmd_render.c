/*
 * cmd_render.c - rimglow render PLAN [SWEEP or FRAME...]
 */
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "rimglow/command.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "rimglow/render.h"

const char rg_help_render[] =
    "rimglow render [options] PLAN [SWEEP or FRAME...]\n"
    "\n"
    "Draws sweep folders whose gaps are known: for trying the program out, for\n"
    "teaching and for tests. A plan (INI) says of each sweep how the pad lies on its\n"
    "rim, how bright the lamp is, and from where the camera looks; the frames come\n"
    "out as rimglow inspect takes them, with the truth beside them. Rendered frames\n"
    "are no photographs: they prove nothing about a real horn, and no bag of them\n"
    "should be kept under a real serial.\n"
    "\n"
    "Examples:\n"
    "  rimglow render samples/render/PE-A-0152.ini\n"
    "      all sweeps of the plan, into rendered/\n"
    "  rimglow render -o trial samples/render/PE-A-0152.ini 08-G-light\n"
    "  rimglow inspect trial/PE-A-0152/08-G-light\n"
    "      one of them, and what the program makes of it\n"
    "\n"
    "What comes out:\n"
    "  DIR/SERIAL/SWEEP/             frames and sweep.ini\n"
    "  DIR/calib/                    copies of the instrument and station files\n"
    "  DIR/truth/SERIAL-SWEEP.json   gaps at every bearing, places of the camera\n"
    "  DIR/SERIAL/FRAME.jpg, .json   a single frame and its truth\n"
    "The same plan gives the same bytes. A sweep folder that is there already is\n"
    "refused.\n"
    "\n"
    "Options:\n"
    "  -o, --out DIR    where the folders go (default: rendered)\n"
    "  -j, --jobs N     workers (default: one for each core)\n"
    "  -q, --quiet      no progress\n"
    "  -h, --help       this text\n"
    "\n"
    "Exit codes: 0 rendered; 64 wrong command line, 65 bad data, 66 a file is\n"
    "missing, 70 internal, 73 a folder is there already or cannot be made, 74\n"
    "writing failed.\n";

typedef struct job {
    const char *out;
    int workers;
    bool quiet, terminal;
} job;

static int run(job *j, const char **word, int words)
{
    rg_error err = {0};
    rg_progress progress = {rg_command_progress, &j->terminal};
    if (words == 0)
        return rg_command_fail(RG_USAGE, "render needs a plan; rimglow render -h shows examples");
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    rg_code code = rg_render_run(word[0], word + 1, words - 1, j->out, j->workers, &progress, &err);
    if (code != RG_OK)
        return rg_command_fail((int)code, "%s", err.text);
    if (!j->quiet)
        printf("= %s\n", j->out);
    return RG_OK;
}

int rg_cmd_render(int argc, char **argv)
{
    job j = {.out = "rendered"};
    rg_error err = {0};
    int words = 0;
    const rg_option options[] = {{"out", 'o', RG_OPTION_TEXT, &j.out, 0, 0, NULL},
                                 {"jobs", 'j', RG_OPTION_WHOLE, &j.workers, 1, 64, NULL},
                                 {"quiet", 'q', RG_OPTION_SWITCH, &j.quiet, 0, 0, NULL}};
    const char **word = rg_alloc((size_t)argc, sizeof *word);
    if (!word)
        return rg_command_fail(RG_INTERNAL, "out of memory; close other programs and try again");
    int count = (int)(sizeof options / sizeof options[0]);
    int code = rg_options_read(argc, argv, options, count, word, &words, &err) == RG_OK
                   ? run(&j, word, words)
                   : rg_command_fail((int)err.code, "%s", err.text);
    free(word);
    return code;
}

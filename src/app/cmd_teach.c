/*
 * cmd_teach.c - rimglow teach: lessons on this computer's own page.
 */
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "quiz_private.h"
#include "rimglow/command.h"
#include "rimglow/lessons.h"
#include "rimglow/memory.h"
#include "rimglow/options.h"
#include "teach_private.h"

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
    "  rimglow teach --archive archive --pairs for-trainees\n"
    "      true photographs beside their maps as files, what is private taken out\n"
    "  rimglow teach --settings my-teach.ini\n"
    "      other sliders; calib/teach.ini says what stands there\n"
    "  rimglow teach --sheets lessons\n"
    "      six lesson sheets to print, as PDF, into the folder lessons; no page then\n"
    "  rimglow teach --sheets lessons --lesson 6 --seed 12\n"
    "      further exercises, with their answers on the last page\n"
    "  rimglow teach --results --trainees course-2026\n"
    "      what the quiz has shown of the trainees of a course\n"
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
    "      --archive DIR      photographs of your own archive, in the quiz too\n"
    "      --pairs DIR        write these photographs with their maps into a new\n"
    "                         folder, without serials, names, days and what a camera\n"
    "                         wrote into them; no page then. Needs --archive. Look\n"
    "                         at every picture before you hand it out: what is\n"
    "                         engraved stays visible\n"
    "      --trainees DIR     where results of the quiz are kept, one file for each\n"
    "                         trainee, on this computer alone (default: trainees)\n"
    "      --results          print what the trainees have answered and end: shares,\n"
    "                         levels, examinations, and how far trainees, truth and\n"
    "                         the program's own measurement agree (Cohen's kappa)\n"
    "      --json             the results as JSON in place of the table\n"
    "      --port N           of the page (default: 8738; 0: any free one)\n"
    "      --listen ADDRESS   other computers may look too: an address of this one,\n"
    "                         in numbers. What is printed holds a token\n"
    "      --token            ask for the token on this computer too\n"
    "      --sheets DIR       print: write the lesson sheets there and end\n"
    "      --paper SIZE       of the sheets: a4 (default) or letter\n"
    "      --lesson N         this sheet alone, 1 to 6\n"
    "      --seed N           of the exercises (default: 1)\n"
    "      --plan FILE        pads of the sheets (default: calib/lessons.ini)\n"
    "      --quiz FILE        settings of the quiz (default: calib/quiz.ini)\n"
    "  -j, --jobs N           workers (default: one for each core)\n"
    "  -q, --quiet            no progress\n"
    "  -h, --help             this text\n"
    "\n"
    "The connection is not encrypted: use --listen in a network you trust.\n"
    "\n"
    "The sheets take some minutes: every pad on them is drawn, swept and measured.\n"
    "\n"
    "Exit codes: 0 ended by Ctrl-C, or sheets written; 64 wrong command\n"
    "line, 65 bad data, 66 no input, 70 internal, 73 a sheet cannot be made, 74 the\n"
    "port is taken or writing failed.\n"
    "\n"
    "Caution: never look into a bright leak light; keep hot lamps away from pads and\n"
    "lacquer; leave work with heat to those who have learnt it. The instrument\n"
    "maker's instructions come first.\n";

typedef struct job {
    rg_teach_page_options page;
    rg_lessons lessons;
    const char *sheets, *pairs; /* folders to write into; NULL: the page */
    int paper;
    bool quiet, terminal, results, json;
} job;

static rg_code read_options(int argc, char **argv, job *j, rg_error *err)
{
    static const char *const papers[] = {"a4", "letter", NULL};
    rg_teach_page_options *o = &j->page;
    int words = 0;
    const char **word = rg_alloc((size_t)argc, sizeof *word);
    const rg_option options[] = {
        {"instrument", 0, RG_OPTION_TEXT, &o->lab.instrument_file, 0, 0, NULL},
        {"station", 0, RG_OPTION_TEXT, &o->lab.station_file, 0, 0, NULL},
        {"settings", 0, RG_OPTION_TEXT, &o->lab.settings_file, 0, 0, NULL},
        {"pad", 0, RG_OPTION_TEXT, &o->lab.pad, 0, 0, NULL},
        {"archive", 0, RG_OPTION_TEXT, &o->archive, 0, 0, NULL},
        {"pairs", 0, RG_OPTION_TEXT, &j->pairs, 0, 0, NULL},
        {"trainees", 0, RG_OPTION_TEXT, &o->trainees, 0, 0, NULL},
        {"port", 0, RG_OPTION_WHOLE, &o->port, 0, 65535, NULL},
        {"listen", 0, RG_OPTION_TEXT, &o->listen, 0, 0, NULL},
        {"token", 0, RG_OPTION_SWITCH, &o->token, 0, 0, NULL},
        {"sheets", 0, RG_OPTION_TEXT, &j->sheets, 0, 0, NULL},
        {"paper", 0, RG_OPTION_CHOICE, &j->paper, 0, 0, papers},
        {"lesson", 0, RG_OPTION_WHOLE, &j->lessons.only, 1, RG_LESSONS, NULL},
        {"seed", 0, RG_OPTION_WHOLE, &j->lessons.seed, 0, 999999999, NULL},
        {"plan", 0, RG_OPTION_TEXT, &j->lessons.plan_file, 0, 0, NULL},
        {"quiz", 0, RG_OPTION_TEXT, &j->lessons.quiz_file, 0, 0, NULL},
        {"results", 0, RG_OPTION_SWITCH, &j->results, 0, 0, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &o->lab.workers, 1, 64, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int rows = (int)(sizeof options / sizeof options[0]);
    rg_code code = word ? rg_options_read(argc, argv, options, rows, word, &words, err)
                        : rg_fail(err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words > 0)
        code =
            rg_fail(err, RG_USAGE, "\"%s\": teach takes options only; rimglow teach -h", word[0]);
    if (code == RG_OK && j->pairs && !o->archive)
        code = rg_fail(err, RG_USAGE, "--pairs: name the archive too, with --archive DIR");
    free(word);
    if (code == RG_OK && j->json && !j->results)
        code = rg_fail(err, RG_USAGE, "--json goes with --results alone; rimglow teach -h");
    o->token = o->token || o->listen;
    o->quiz = j->lessons.quiz_file;
    return code;
}

static rg_code serve(const rg_teach_page_options *options, rg_error *err)
{
    sigset_t set;
    int signal_number;
    char url[256];
    rg_teach_page *page;
    rg_command_block_signals(&set);
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

static rg_code print_sheets(job *j, rg_error *err)
{
    char *file[RG_LESSONS];
    rg_progress progress = {rg_command_progress, &j->terminal};
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    j->lessons.paper = j->paper ? RG_PAPER_LETTER : RG_PAPER_A4;
    j->lessons.workers = j->page.lab.workers;
    j->lessons.progress = &progress;
    rg_code code = rg_lessons_write(&j->lessons, j->sheets, file, err);
    for (int i = 0; i < RG_LESSONS; i++) {
        if (file[i] && !j->quiet)
            printf("= %s: %s\n", file[i], rg_lesson_title(i + 1));
        free(file[i]);
    }
    return code;
}

/* ---------------------------------------------------------------- photographs as files */

static void tell_pairs(const rg_pairs_written *written, const char *folder)
{
    const rg_pairs_left_out *out = &written->left_out;
    if (out->damaged)
        fprintf(stderr, "rimglow: %d sweeps of %d bags are left out: %s\n", out->damaged, out->bags,
                out->first.text);
    if (written->more)
        fprintf(stderr, "rimglow: there are more cases than [handing out] most of calib/pairs.ini; "
                        "the rest is not written\n");
    printf("= %s\n", folder);
    printf("  %d cases. Look at every picture before you hand it out: what is engraved, printed\n"
           "  or mirrored in it is not taken out (%s/look-at-these-first.txt)\n",
           written->cases, folder);
}

static rg_code write_pairs(const rg_teach_page_options *options, const char *folder, rg_error *err)
{
    const rg_pairs_choice all = {.size = -1};
    bool terminal = isatty(STDERR_FILENO);
    const rg_progress progress = {rg_command_progress, &terminal};
    rg_pairs_written written;
    rg_pairs *pairs;
    rg_code code = rg_teach_pairs_open(options, &pairs, err);
    if (code != RG_OK)
        return code;
    code = rg_pairs_write(pairs, &all, folder, &progress, &written, err);
    rg_pairs_close(pairs);
    if (code == RG_OK)
        tell_pairs(&written, folder);
    if (code == RG_OK && (fflush(stdout) != 0 || ferror(stdout)))
        code = rg_fail(err, RG_IO, "standard output cannot be written; is the disk full?");
    return code;
}

static rg_code run(job *j, rg_error *err)
{
    if (j->results)
        return rg_quiz_print_results(j->page.trainees, j->page.quiz, j->json, err);
    if (j->sheets)
        return print_sheets(j, err);
    return j->pairs ? write_pairs(&j->page, j->pairs, err) : serve(&j->page, err);
}

int rg_cmd_teach(int argc, char **argv)
{
    job j = {.page.port = 8738, .lessons.seed = 1};
    rg_error err = {0};
    rg_code code = read_options(argc, argv, &j, &err);
    if (code == RG_OK)
        code = run(&j, &err);
    return code == RG_OK ? RG_OK : rg_command_fail((int)code, "%s", err.text);
}

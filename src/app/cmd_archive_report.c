/*
 * cmd_archive_report.c - rimglow archive report BAG: the certificate.
 */
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "archive_command.h"
#include "rimglow/command.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

const char rg_help_archive_report[] =
    "rimglow archive report [options] BAG\n"
    "\n"
    "A certificate of one inspection, as PDF and as one HTML file: a page of summary\n"
    "for the customer, then each pad with its ring map, the measured limits, what was\n"
    "not seen, calibration dates, and the digest of the bag. The bags of the serial\n"
    "are verified first; where the evidence does not check, the certificate says so\n"
    "in place of the verdict.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive report PE-A-0147           its newest inspection\n"
    "  rimglow archive report PE-A-0147/1 -o /tmp --public shop.key.pub\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR  the archive (default: archive)\n"
    "  -o, --out DIR      where it goes (default: reports)\n"
    "      --public FILE  trust this public key; else those in ARCHIVE/keys\n"
    "\n"
    "BAG is a serial (its newest inspection), SERIAL/NUMBER, or the bag's whole name.\n"
    "The printed digest proves later which bag was meant: rimglow archive verify\n"
    "--digest HEX.\n"
    "\n"
    "Exit codes: 0 written; 1 written, but the evidence does not check; 66 no such\n"
    "inspection; 73/74 cannot write; others as in rimglow -h.\n";

typedef struct job {
    const char *archive, *out, *public_key;
    bool terminal;
} job;

static rg_code make(const job *j, const char *word, rg_archive_paper *paper, rg_error *err)
{
    rg_archive archive;
    rg_public_key key;
    char bag[RG_ARCHIVE_BAG];
    bool terminal = j->terminal;
    rg_progress progress = {rg_command_progress, &terminal};
    rg_code code = j->public_key ? rg_key_read_public(j->public_key, &key, err) : RG_OK;
    if (code == RG_OK)
        code = rg_archive_read(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = rg_archive_resolve(&archive, word, bag, err);
    if (code == RG_OK)
        code = rg_archive_certify(&archive, bag, j->public_key ? &key : NULL,
                                  RG_CERTIFY_PDF | RG_CERTIFY_HTML, &progress, paper, err);
    rg_archive_close(&archive);
    return code;
}

static rg_code run(const job *j, const char *word, int *exit_code, rg_error *err)
{
    rg_archive_paper paper = {0};
    char path[2][RG_ARCHIVE_PATH];
    rg_code code = make(j, word, &paper, err);
    if (code == RG_OK) {
        printf("%s\n", paper.checked);
        *exit_code = paper.passed ? 0 : 1;
        code = rg_archive_paper_write(&paper, j->out, path, err);
    }
    if (code == RG_OK)
        printf("= %s\n= %s\n", path[0], path[1]);
    rg_archive_paper_free(&paper);
    return code;
}

int rg_cmd_archive_report(int argc, char **argv)
{
    job j = {.archive = "archive", .out = "reports"};
    rg_error err = {0};
    int words = 0, exit_code = RG_OK;
    const rg_option options[] = {{"archive", 'a', RG_OPTION_TEXT, &j.archive, 0, 0, NULL},
                                 {"out", 'o', RG_OPTION_TEXT, &j.out, 0, 0, NULL},
                                 {"public", 0, RG_OPTION_TEXT, &j.public_key, 0, 0, NULL}};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? rg_options_read(argc, argv, options, 3, operands, &words, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK && words != 1)
        code = rg_fail(&err, RG_USAGE,
                       "name one serial or bag; rimglow archive list shows what there is");
    j.terminal = isatty(STDERR_FILENO);
    if (code == RG_OK)
        code = run(&j, operands[0], &exit_code, &err);
    free(operands);
    return rg_archive_answer(code, exit_code, &err);
}

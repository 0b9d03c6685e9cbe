/*
 * cmd_archive_add.c - rimglow archive add SWEEP...
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "archive_command.h"
#include "rimglow/archive_report.h"
#include "rimglow/command.h"
#include "rimglow/memory.h"

const char rg_help_archive_add[] =
    "rimglow archive add --technician NAME [options] SWEEP...\n"
    "\n"
    "Puts one inspection of one instrument into the archive: its sweep folders (one\n"
    "for each pad) with frames untouched, the calibration files as used, seal maps,\n"
    "pictures and verdict become one bag (BagIt, RFC 8493) with SHA-256 manifests,\n"
    "linked to the bag before it of the same serial. Results of rimglow inspect are\n"
    "taken when they are of exactly these files and this version; else the sweep is\n"
    "measured now. Either the whole bag is stored or nothing is.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive add --technician \"A. Bell\" samples/PE-A-0147/*\n"
    "      begins ./archive where there is none\n"
    "  rimglow archive add -a /srv/archive --technician \"A. Bell\" \\\n"
    "      --occasion release --key shop.key path/to/instrument/*\n"
    "      signed with the shop's key (rimglow archive key makes one)\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR     the archive (default: archive)\n"
    "      --technician NAME who measured; must be given\n"
    "      --occasion WORDS  why: as received, release, return, yearly ...\n"
    "      --note TEXT       anything worth keeping, at most 1000 bytes\n"
    "      --setup FILE      set-up values and checks (see samples/setup.ini): a\n"
    "                        set-up sheet goes into the bag (rimglow setup -h)\n"
    "      --rules FILE      rules of release in place of calib/release.ini\n"
    "      --results DIR     results of rimglow inspect (default: inspection)\n"
    "      --measure         measure again even where results are at hand\n"
    "      --overlays        the frames' overlay pictures too (large)\n"
    "      --key FILE        sign the bag with this secret key\n"
    "  -j, --jobs N          workers (default: one for each core)\n"
    "      --json            the answer as JSON\n"
    "  -q, --quiet           no answer and no progress\n"
    "\n"
    "An instrument is sealed only when every pad of its file was swept and sealed.\n"
    "\n"
    "Exit codes: 0 stored, whatever the verdict; 64 wrong command line, 65 bad data,\n"
    "66 no input, 70 internal, 73/74 cannot write: nothing was stored, or, where the\n"
    "message says so, the bag was and only its row in the index is missing.\n";

typedef struct job {
    const char *archive, *key;
    bool json, quiet, terminal;
    rg_archive_visit visit;
} job;

static rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err)
{
    const rg_option options[] = {
        {"archive", 'a', RG_OPTION_TEXT, &j->archive, 0, 0, NULL},
        {"technician", 0, RG_OPTION_TEXT, &j->visit.technician, 0, 0, NULL},
        {"occasion", 0, RG_OPTION_TEXT, &j->visit.occasion, 0, 0, NULL},
        {"note", 0, RG_OPTION_TEXT, &j->visit.note, 0, 0, NULL},
        {"setup", 0, RG_OPTION_TEXT, &j->visit.setup_file, 0, 0, NULL},
        {"rules", 0, RG_OPTION_TEXT, &j->visit.rules_file, 0, 0, NULL},
        {"results", 0, RG_OPTION_TEXT, &j->visit.results, 0, 0, NULL},
        {"measure", 0, RG_OPTION_SWITCH, &j->visit.measure, 0, 0, NULL},
        {"overlays", 0, RG_OPTION_SWITCH, &j->visit.overlays, 0, 0, NULL},
        {"key", 0, RG_OPTION_TEXT, &j->key, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->visit.workers, 1, 64, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int count = (int)(sizeof options / sizeof options[0]);
    return rg_options_read(argc, argv, options, count, operands, &j->visit.folders, err);
}

static rg_code check_text(const char *option, const char *text, size_t most, rg_error *err)
{
    if (strlen(text) <= most)
        return RG_OK;
    return rg_fail(err, RG_USAGE, "--%s has %zu bytes, the most is %zu; shorten it", option,
                   strlen(text), most);
}

static rg_code check_options(const job *j, rg_error *err)
{
    const rg_archive_visit *v = &j->visit;
    if (!v->technician)
        return rg_fail(
            err, RG_USAGE,
            "who measured? give --technician NAME; rimglow archive add -h shows examples");
    if (v->folders == 0)
        return rg_fail(err, RG_USAGE,
                       "archive add needs at least one sweep folder; rimglow archive "
                       "add -h shows examples");
    rg_code code = check_text("technician", v->technician, RG_RECORD_NAME - 1, err);
    if (code == RG_OK)
        code = check_text("occasion", v->occasion, 63, err);
    return code == RG_OK ? check_text("note", v->note, 1000, err) : code;
}

static void print_added(const rg_archive_added *a)
{
    char digest[RG_DIGEST_TEXT];
    rg_digest_format(&a->manifest, digest);
    printf("%s %s: archived as %s\n", rg_verdict_sign(a->verdict), rg_verdict_name(a->verdict),
           a->bag);
    printf("      %d sweep%s (%d measured now), %" PRIu64 " files, %.1f MB\n", a->pads,
           a->pads == 1 ? "" : "s", a->measured, a->files, (double)a->bytes / 1e6);
    printf("      manifest %s\n", digest);
    if (a->setup_sheet)
        printf("      set-up sheet: %s (rimglow setup says why)\n",
               rg_decision_name(a->setup_decision));
    if (a->clock_back)
        puts("    . the bag before it has a later time: check the clock");
    if (a->not_indexed.code != RG_OK)
        printf("    . the bag is stored, its row is not: %s\n", a->not_indexed.text);
}

static rg_code answer_json(const rg_archive_added *a, rg_error *err)
{
    const char *remark[2];
    int remarks = 0;
    char *text = NULL;
    if (a->clock_back)
        remark[remarks++] = "the bag before it has a later time: check the clock";
    if (a->not_indexed.code != RG_OK)
        remark[remarks++] = a->not_indexed.text;
    const rg_added_report report = {.bag = a->bag,
                                    .verdict = rg_verdict_name(a->verdict),
                                    .sweeps = a->pads,
                                    .measured = a->measured,
                                    .files = a->files,
                                    .bytes = a->bytes,
                                    .manifest = &a->manifest,
                                    .tagmanifest = &a->tagmanifest,
                                    .setup =
                                        a->setup_sheet ? rg_decision_name(a->setup_decision) : NULL,
                                    .indexed = a->not_indexed.code == RG_OK,
                                    .remark = remark,
                                    .remarks = remarks};
    rg_code code = rg_archive_report_added(&report, &text, err);
    if (code == RG_OK)
        puts(text);
    free(text);
    return code;
}

static rg_code run(job *j, rg_error *err)
{
    rg_secret_key *key = NULL;
    rg_archive_added added;
    rg_progress progress = {rg_command_progress, &j->terminal};
    rg_code code = check_options(j, err);
    if (code == RG_OK && j->key)
        code = rg_key_read_secret(j->key, &key, err);
    j->visit.key = key;
    j->visit.time = (int64_t)time(NULL);
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    if (code == RG_OK)
        code = rg_archive_add(j->archive, &j->visit, &progress, &added, err);
    rg_key_free(key);
    if (code == RG_OK && j->json)
        code = answer_json(&added, err);
    else if (code == RG_OK && !j->quiet)
        print_added(&added);
    if (code == RG_OK && added.not_indexed.code != RG_OK)
        code = rg_fail(
            err, added.not_indexed.code,
            "%.200s: the bag is stored and whole; do not add it again. Its row in the index "
            "could not be written (%.300s)",
            added.bag, added.not_indexed.text);
    return code;
}

int rg_cmd_archive_add(int argc, char **argv)
{
    job j = {.archive = "archive", .visit = {.occasion = "", .note = "", .results = "inspection"}};
    rg_error err = {0};
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? read_options(argc, argv, &j, operands, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    j.visit.folder = operands;
    if (code == RG_OK)
        code = run(&j, &err);
    free(operands);
    return rg_archive_answer(code, RG_OK, &err);
}

/*
 * cmd_archive_verify.c - rimglow archive verify [SERIAL or BAG]...
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "archive_command.h"
#include "rimglow/archive_report.h"
#include "rimglow/command.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"

const char rg_help_archive_verify[] =
    "rimglow archive verify [options] [SERIAL or BAG]...\n"
    "\n"
    "Reads every file of the archive, or of the serials named, again and says what is\n"
    "not as it was stored: files altered, missing, extra, moved or swapped; manifests\n"
    "written anew; broken links between the bags of a serial; bags gone or copied;\n"
    "signatures; rows of the index. Each finding names the bag and the file.\n"
    "\n"
    "Examples:\n"
    "  rimglow archive verify\n"
    "  rimglow archive verify PE-A-0147 --public shop.key.pub\n"
    "      trusts this key alone, not those beside the bags\n"
    "  rimglow archive verify PE-A-0147 --digest 5e884898da28...\n"
    "      and: is the bag of this certificate still there, unchanged?\n"
    "  rimglow archive verify --measure PE-A-0147/1\n"
    "      and: do its frames still give the stored seal maps?\n"
    "\n"
    "Options:\n"
    "  -a, --archive DIR  the archive (default: archive)\n"
    "      --public FILE  trust this public key; else those in ARCHIVE/keys\n"
    "      --digest HEX   a manifest's SHA-256 (64 digits) that must be found\n"
    "      --measure      measure every sweep again from the bags alone\n"
    "      --bag DIR      check one bag that was handed over, without an archive\n"
    "  -j, --jobs N       workers for --measure\n"
    "      --json         findings as JSON\n"
    "  -q, --quiet        faults only\n"
    "\n"
    "What nobody recorded nobody can tell: of the newest bag of a serial only the\n"
    "index and a signature know the manifest. Keep the public key, and printed\n"
    "certificates, elsewhere.\n"
    "\n"
    "Any tool can check a bag: (cd BAG && sha256sum -c manifest-sha256.txt)\n"
    "\n"
    "Exit codes: 0 nothing wrong (remarks begin with '.'), 1 something is wrong;\n"
    "64 wrong command line, 66 no such archive, serial or bag; others as in\n"
    "rimglow -h.\n";

typedef struct job {
    const char *archive, *public_key, *bag;
    bool json, quiet, terminal;
    rg_verify_options options;
    int words;
} job;

static rg_code read_options(int argc, char **argv, job *j, const char **operands, rg_error *err)
{
    const rg_option options[] = {
        {"archive", 'a', RG_OPTION_TEXT, &j->archive, 0, 0, NULL},
        {"public", 0, RG_OPTION_TEXT, &j->public_key, 0, 0, NULL},
        {"digest", 0, RG_OPTION_TEXT, &j->options.digest, 0, 0, NULL},
        {"measure", 0, RG_OPTION_SWITCH, &j->options.measure, 0, 0, NULL},
        {"bag", 0, RG_OPTION_TEXT, &j->bag, 0, 0, NULL},
        {"jobs", 'j', RG_OPTION_WHOLE, &j->options.workers, 1, 64, NULL},
        {"json", 0, RG_OPTION_SWITCH, &j->json, 0, 0, NULL},
        {"quiet", 'q', RG_OPTION_SWITCH, &j->quiet, 0, 0, NULL},
    };
    int count = (int)(sizeof options / sizeof options[0]);
    rg_digest digest;
    rg_code code = rg_options_read(argc, argv, options, count, operands, &j->words, err);
    if (code == RG_OK && j->options.digest && !rg_digest_parse(j->options.digest, &digest))
        code = rg_fail(err, RG_USAGE, "--digest %.80s: 64 hexadecimal digits are needed",
                       j->options.digest);
    if (code == RG_OK && j->bag && (j->words || j->options.digest || j->options.measure))
        code = rg_fail(err, RG_USAGE,
                       "--bag checks one folder alone: leave out serials, --digest and --measure");
    return code;
}

static void print_finding(const rg_archive_fault *f)
{
    printf("    %c %s%s", f->remark ? '.' : '!', rg_archive_fault_name(f), f->bag[0] ? ": " : "");
    rg_archive_print(f->bag, 0, false);
    if (f->file[0])
        fputs(f->bag[0] ? "/" : ": ", stdout);
    rg_archive_print(f->file, 0, false);
    fputs("\n      ", stdout);
    rg_archive_print(f->text, 0, false);
    putchar('\n');
}

static void print_result(const job *j, const rg_verify_result *r)
{
    for (int i = 0; !j->quiet && i < r->bags; i++) {
        const rg_verified_bag *b = &r->bag[i];
        printf("%s ", b->faults ? "FAULT" : "ok   ");
        rg_archive_print(b->bag, 0, false);
        printf("  %zu files, %.1f MB, %s\n", b->files, (double)b->bytes / 1e6, b->signature);
    }
    for (int i = 0; i < r->findings; i++)
        if (!j->quiet || !r->finding[i].remark)
            print_finding(&r->finding[i]);
    if (r->findings < r->faults + r->remarks)
        printf("    ! and %d more\n", r->faults + r->remarks - r->findings);
    if (r->digest_found[0] && !j->quiet)
        printf("the digest is that of %s\n", r->digest_found);
    if (!j->quiet)
        printf("%d bag%s, %d fault%s, %d remark%s\n", r->bags, r->bags == 1 ? "" : "s", r->faults,
               r->faults == 1 ? "" : "s", r->remarks, r->remarks == 1 ? "" : "s");
}

static rg_code print_json(const rg_verify_result *r, rg_error *err)
{
    char *text = NULL;
    rg_verified_report_bag *bag = rg_alloc((size_t)r->bags, sizeof *bag);
    rg_verified_report_finding *finding = rg_alloc((size_t)r->findings, sizeof *finding);
    rg_code code =
        bag && finding ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %d bags", r->bags);
    for (int i = 0; code == RG_OK && i < r->bags; i++) {
        const rg_verified_bag *b = &r->bag[i];
        bag[i] = (rg_verified_report_bag){b->bag,       b->signature,    b->files, b->bytes,
                                          &b->manifest, &b->tagmanifest, b->faults};
    }
    for (int i = 0; code == RG_OK && i < r->findings; i++) {
        const rg_archive_fault *f = &r->finding[i];
        finding[i] = (rg_verified_report_finding){rg_archive_fault_name(f), f->bag, f->file,
                                                  f->text, f->remark};
    }
    const rg_verified_report report = {r->faults, r->remarks, r->bags, r->findings, bag, finding};
    if (code == RG_OK)
        code = rg_archive_report_verified(&report, &text, err);
    if (code == RG_OK)
        puts(text);
    free(text);
    free(bag);
    free(finding);
    return code;
}

/* One bag in a folder of its own, checked as rg_bag_check does. */
static rg_code check_one(const job *j, rg_verify_result *r, rg_error *err)
{
    rg_bag_state state;
    rg_code code = rg_bag_check(j->bag, NULL, NULL, &state, err);
    if (code != RG_OK)
        return code;
    int kept = state.faults < RG_BAG_FAULTS_MAX ? state.faults : RG_BAG_FAULTS_MAX;
    r->faults = state.faults;
    r->bag = rg_alloc(1, sizeof *r->bag);
    r->finding = rg_alloc((size_t)kept, sizeof *r->finding);
    if (!r->bag || !r->finding)
        code = rg_fail(err, RG_INTERNAL, "no memory for %d faults", kept);
    for (int i = 0; code == RG_OK && i < kept; i++) {
        rg_archive_fault *f = &r->finding[r->findings++];
        *f = (rg_archive_fault){.kind = RG_FAULT_FILE, .file_kind = state.fault[i].kind};
        snprintf(f->file, sizeof f->file, "%s", state.fault[i].file);
        snprintf(f->text, sizeof f->text, "%s", state.fault[i].text);
    }
    if (code == RG_OK) {
        r->bags = 1;
        *r->bag = (rg_verified_bag){.files = state.files,
                                    .bytes = state.bytes,
                                    .manifest = state.tags.manifest,
                                    .tagmanifest = state.tags.tagmanifest,
                                    .faults = state.faults};
        snprintf(r->bag->bag, sizeof r->bag->bag, "%.250s", j->bag);
        snprintf(r->bag->signature, sizeof r->bag->signature, "%s",
                 state.signed_file ? "signed" : "unsigned");
    }
    rg_bag_state_free(&state);
    return code;
}

/* The signature of a bag that was handed over, by the key that was given. */
static rg_code check_one_signature(const job *j, rg_verify_result *r, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_public_key key;
    if (!j->public_key)
        return RG_OK;
    int n = snprintf(path, sizeof path, "%s/%s", j->bag, RG_BAG_SIGNATURE);
    if (n < 0 || (size_t)n >= sizeof path)
        return rg_fail(err, RG_NO_INPUT, "%.80s...: the path is too long", path);
    rg_code code = rg_file_read(path, 65536, &text, &size, err);
    if (code != RG_OK)
        return code;
    rg_signature_state state = rg_verify_bag((const char *)text, size, &r->bag->tagmanifest,
                                             j->options.trusted, j->options.trusted_count, &key);
    snprintf(r->bag->signature, sizeof r->bag->signature, "%s, key %s",
             rg_signature_state_name(state), key.id);
    r->faults += state != RG_SIGNATURE_GOOD;
    r->bag->faults += state != RG_SIGNATURE_GOOD;
    free(text);
    return RG_OK;
}

static rg_code verify(job *j, const char *const *words, rg_verify_result *r, rg_error *err)
{
    rg_archive archive;
    rg_progress progress = {rg_command_progress, &j->terminal};
    rg_code code = rg_archive_read(&archive, j->archive, err);
    if (code != RG_OK)
        return code;
    code = rg_archive_verify(&archive, words, j->words, &j->options, &progress, r, err);
    rg_archive_close(&archive);
    return code;
}

static rg_code run(job *j, const char *const *words, int *exit_code, rg_error *err)
{
    rg_verify_result r = {0};
    rg_public_key key;
    rg_code code = RG_OK;
    if (j->public_key) {
        code = rg_key_read_public(j->public_key, &key, err);
        j->options.trusted = &key;
        j->options.trusted_count = 1;
    }
    j->terminal = !j->quiet && isatty(STDERR_FILENO);
    if (code == RG_OK)
        code = j->bag ? check_one(j, &r, err) : verify(j, words, &r, err);
    if (code == RG_OK && j->bag)
        code = check_one_signature(j, &r, err);
    *exit_code = r.faults ? 1 : 0;
    if (code == RG_OK && j->json)
        code = print_json(&r, err);
    else if (code == RG_OK)
        print_result(j, &r);
    rg_verify_free(&r);
    return code;
}

int rg_cmd_archive_verify(int argc, char **argv)
{
    job j = {.archive = "archive"};
    rg_error err = {0};
    int exit_code = RG_OK;
    const char **operands = rg_alloc((size_t)argc, sizeof *operands);
    rg_code code = operands ? read_options(argc, argv, &j, operands, &err)
                            : rg_fail(&err, RG_INTERNAL, "no memory");
    if (code == RG_OK)
        code = run(&j, operands, &exit_code, &err);
    free(operands);
    return rg_archive_answer(code, exit_code, &err);
}

/*
 * cmd_archive_report.c - rimglow archive report BAG: the certificate.
 *
 * The chain of the serial is verified first; a certificate never says more than the archive holds.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "archive_command.h"
#include "rimglow/command.h"
#include "rimglow/date.h"
#include "rimglow/draw_certificate.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

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

/* Everything that a certificate points to. */
typedef struct content {
    char bag[RG_ARCHIVE_BAG];
    rg_record record;
    rg_certificate certificate;
    rg_map_file *map;            /* owned; [sweeps] */
    rg_certificate_pad *pad;     /* owned; [sweeps] */
    rg_certificate_value *value; /* owned */
    char (*finger)[24];          /* owned; [sweeps] */
    char (*calibration)[40];     /* owned; [sweeps] */
    const char *reason[RG_REASONS_MAX];
    rg_instrument instrument;
    const char **not_swept; /* owned */
    char when[32], manifest[RG_DIGEST_TEXT], tagmanifest[RG_DIGEST_TEXT], previous[RG_DIGEST_TEXT];
    char signature[64], checked[512];
    bool passed;
} content;

/* ---------------------------------------------------------------- checking */

static void say_checked(content *c, const rg_verify_result *r, const rg_verified_bag *own)
{
    char now[RG_RECORD_TIME];
    rg_record_time_format((int64_t)time(NULL), now);
    c->passed = r->faults == 0 && own;
    if (c->passed) {
        snprintf(c->checked, sizeof c->checked,
                 "Checked %s: %zu files agree with their manifest, and %d bag%s of this serial "
                 "form%s an unbroken chain",
                 now, own->files, r->bags, r->bags == 1 ? "" : "s", r->bags == 1 ? "s" : "");
        return;
    }
    const rg_archive_fault *first = NULL;
    for (int i = 0; !first && i < r->findings; i++)
        if (!r->finding[i].remark)
            first = &r->finding[i];
    snprintf(c->checked, sizeof c->checked,
             "Checked %s: %d fault%s in the bags of this serial; the first: %s, %.180s %.120s", now,
             r->faults, r->faults == 1 ? "" : "s", first ? rg_archive_fault_name(first) : "?",
             first ? first->bag : "", first ? first->file : "");
}

static rg_code check(const job *j, const rg_archive *archive, content *c, rg_error *err)
{
    rg_verify_options options = {0};
    rg_verify_result result = {0};
    bool terminal = j->terminal;
    rg_progress progress = {rg_command_progress, &terminal};
    rg_public_key key;
    const char *const word = c->bag;
    const rg_verified_bag *own = NULL;
    rg_code code = RG_OK;
    if (j->public_key) {
        code = rg_key_read_public(j->public_key, &key, err);
        options.trusted = &key;
        options.trusted_count = 1;
    }
    if (code == RG_OK)
        code = rg_archive_verify(archive, &word, 1, &options, &progress, &result, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < result.bags; i++)
        if (strcmp(result.bag[i].bag, c->bag) == 0)
            own = &result.bag[i];
    say_checked(c, &result, own);
    if (own) {
        rg_digest_format(&own->manifest, c->manifest);
        rg_digest_format(&own->tagmanifest, c->tagmanifest);
        rg_copy_text(c->signature, sizeof c->signature, own->signature);
    }
    rg_verify_free(&result);
    return RG_OK;
}

/* ---------------------------------------------------------------- content */

static void describe_finger(const rg_record_sweep *s, char text[24])
{
    if (strcmp(s->finger, "grams") == 0)
        snprintf(text, 24, "%.4g g", s->grams);
    else
        snprintf(text, 24, "%.15s", s->finger);
}

static void describe_calibration(const rg_map_file *map, char text[40])
{
    char day[RG_DATE_TEXT];
    rg_date_format(map->calibration_day, day);
    if (map->calibration_day < 0)
        snprintf(text, 40, "never");
    else
        snprintf(text, 40, "%s, %s", day, map->calibrated ? "held" : "lapsed");
}

/* Evidence that does not check confirms nothing, least of all a seal. */
static void withdraw(rg_seal_map *map)
{
    int kept = map->reasons < RG_REASONS_MAX ? map->reasons : RG_REASONS_MAX - 1;
    memmove(map->reason[1], map->reason[0], (size_t)kept * sizeof map->reason[0]);
    snprintf(map->reason[0], sizeof map->reason[0],
             "recorded as %s; not confirmed, since the bags of this serial do not check",
             rg_verdict_name(map->verdict));
    map->reasons = kept + 1;
    map->verdict = RG_VERDICT_UNDECIDED;
}

static rg_code fill_pads(const rg_archive *archive, content *c, rg_error *err)
{
    const rg_record *r = &c->record;
    size_t n = (size_t)r->sweeps;
    c->map = rg_alloc(n, sizeof *c->map);
    c->pad = rg_alloc(n, sizeof *c->pad);
    c->finger = rg_alloc(n, sizeof *c->finger);
    c->calibration = rg_alloc(n, sizeof *c->calibration);
    if (!c->map || !c->pad || !c->finger || !c->calibration)
        return rg_fail(err, RG_INTERNAL, "no memory for %d pads", r->sweeps);
    for (int i = 0; i < r->sweeps; i++) {
        rg_map_file *map = &c->map[i];
        rg_code code = rg_archive_map(archive, c->bag, r->sweep[i].name, map, NULL, err);
        if (code != RG_OK)
            return code;
        if (!c->passed)
            withdraw(&map->map);
        describe_finger(&r->sweep[i], c->finger[i]);
        describe_calibration(map, c->calibration[i]);
        c->pad[i] = (rg_certificate_pad){.pad = r->sweep[i].pad,
                                         .sweep = r->sweep[i].name,
                                         .map = &map->map,
                                         .tolerance_mm = map->tolerance_mm,
                                         .coverage_factor = map->coverage_factor,
                                         .finger = c->finger[i],
                                         .station = map->station,
                                         .calibration = c->calibration[i],
                                         .light_proven = map->light_proven,
                                         .frames_used = map->frames_used,
                                         .frames_given = map->frames_given};
    }
    return RG_OK;
}

static bool is_swept(const rg_record *r, const char *pad)
{
    for (int i = 0; i < r->sweeps; i++)
        if (strcmp(r->sweep[i].pad, pad) == 0)
            return true;
    return false;
}

static int position_of(const rg_instrument *instrument, const char *pad)
{
    for (int i = 0; i < instrument->pads; i++)
        if (strcmp(instrument->pad[i].name, pad) == 0)
            return i;
    return instrument->pads;
}

/* Pads in body order, sweeps of one pad in the record's order. */
static void sort_pads(content *c)
{
    for (int i = 1; i < c->record.sweeps; i++) {
        rg_certificate_pad moved = c->pad[i];
        int at = position_of(&c->instrument, moved.pad), k = i;
        for (; k > 0 && position_of(&c->instrument, c->pad[k - 1].pad) > at; k--)
            c->pad[k] = c->pad[k - 1];
        c->pad[k] = moved;
    }
}

static rg_code fill_not_swept(const rg_archive *archive, content *c, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_code code = rg_archive_path(archive, c->bag, c->record.sweep[0].instrument_file, path, err);
    if (code == RG_OK)
        code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &c->instrument, err);
    free(text);
    if (code != RG_OK)
        return code;
    c->not_swept = rg_alloc((size_t)c->instrument.pads, sizeof *c->not_swept);
    if (!c->not_swept)
        return rg_fail(err, RG_INTERNAL, "no memory for %d pads", c->instrument.pads);
    for (int i = 0; i < c->instrument.pads; i++)
        if (!is_swept(&c->record, c->instrument.pad[i].name))
            c->not_swept[c->certificate.not_swept++] = c->instrument.pad[i].name;
    sort_pads(c);
    return RG_OK;
}

static rg_code fill_values(content *c, rg_error *err)
{
    const rg_record *r = &c->record;
    c->value = rg_alloc((size_t)r->values, sizeof *c->value);
    if (!c->value)
        return rg_fail(err, RG_INTERNAL, "no memory for %d values", r->values);
    for (int i = 0; i < r->values; i++)
        c->value[i] = (rg_certificate_value){r->value[i].quantity, r->value[i].unit,
                                             r->value[i].with, r->value[i].value, r->value[i].u};
    return RG_OK;
}

static void fill_head(content *c)
{
    const rg_record *r = &c->record;
    rg_certificate *k = &c->certificate;
    rg_archive_when(r->time, c->when);
    strcat(c->when, " UTC");
    if (r->previous_bag[0])
        rg_digest_format(&r->previous_manifest, c->previous);
    for (int i = 0; i < r->reasons; i++)
        c->reason[i] = r->reason[i];
    k->serial = r->serial;
    k->model = r->model;
    k->bag = c->bag;
    k->time = c->when;
    k->technician = r->technician;
    k->occasion = r->occasion;
    k->note = r->note;
    k->software = r->software;
    k->sequence = r->sequence;
    k->verdict = r->verdict;
    k->reasons = r->reasons;
    k->reason = c->reason;
    k->manifest = c->manifest;
    k->tagmanifest = c->tagmanifest;
    k->previous = c->previous;
    k->signature = c->signature;
    k->checked = c->checked;
    k->check_passed = c->passed;
    k->pads = r->sweeps;
    k->pad = c->pad;
    k->pad_not_swept = c->not_swept;
    k->values = r->values;
    k->value = c->value;
}

static void release(content *c)
{
    rg_record_free(&c->record);
    rg_instrument_free(&c->instrument);
    free(c->map);
    free(c->pad);
    free(c->value);
    free(c->finger);
    free(c->calibration);
    free(c->not_swept);
    free(c);
}

/* ---------------------------------------------------------------- files */

static rg_code store(const job *j, const content *c, const char *suffix, rg_code code,
                     rg_bytes *bytes, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    if (code == RG_OK) {
        int n = snprintf(path, sizeof path, "%s/%s-%04d.%s", j->out, c->record.serial,
                         c->record.sequence, suffix);
        if (n < 0 || (size_t)n >= sizeof path)
            code = rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", j->out);
        else
            code = rg_file_write(path, bytes->data, bytes->size, err);
    }
    if (code == RG_OK)
        printf("= %s\n", path);
    free(bytes->data);
    return code;
}

static rg_code write_both(const job *j, const content *c, rg_error *err)
{
    rg_bytes bytes = {0};
    rg_code code = rg_folder_make(j->out, err);
    if (code == RG_OK)
        code = store(j, c, "pdf", rg_certificate_pdf(&c->certificate, &bytes, err), &bytes, err);
    bytes = (rg_bytes){0};
    if (code == RG_OK)
        code = store(j, c, "html", rg_certificate_html(&c->certificate, &bytes, err), &bytes, err);
    return code;
}

static rg_code certify(const job *j, const rg_archive *archive, content *c, rg_error *err)
{
    rg_code code = check(j, archive, c, err);
    if (code == RG_OK)
        code = rg_archive_record(archive, c->bag, &c->record, err);
    if (code == RG_OK)
        code = fill_pads(archive, c, err);
    if (code == RG_OK)
        code = fill_not_swept(archive, c, err);
    if (code == RG_OK)
        code = fill_values(c, err);
    if (code != RG_OK)
        return code;
    fill_head(c);
    printf("%s\n", c->checked);
    return write_both(j, c, err);
}

static rg_code run(const job *j, const char *word, int *exit_code, rg_error *err)
{
    rg_archive archive;
    content *c = rg_alloc(1, sizeof *c);
    if (!c)
        return rg_fail(err, RG_INTERNAL, "no memory for a certificate");
    rg_code code = rg_archive_read(&archive, j->archive, err);
    if (code == RG_OK) {
        code = rg_archive_resolve(&archive, word, c->bag, err);
        if (code == RG_OK)
            code = certify(j, &archive, c, err);
        rg_archive_close(&archive);
    }
    *exit_code = c->passed ? 0 : 1;
    release(c);
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

/*
 * archive_certificate.c - the certificate of an archived inspection (archive.h).
 *
 * The chain of the serial is verified first; a certificate never says more than the archive holds.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "archive_command.h"
#include "rimglow/date.h"
#include "rimglow/draw_certificate.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

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
    char signature[64], checked[RG_CERTIFY_CHECKED];
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

static rg_code check(const rg_archive *archive, const rg_public_key *trusted,
                     const rg_progress *progress, content *c, rg_error *err)
{
    const rg_verify_options options = {.trusted = trusted, .trusted_count = trusted ? 1 : 0};
    rg_verify_result result = {0};
    const char *const word = c->bag;
    const rg_verified_bag *own = NULL;
    rg_code code = rg_archive_verify(archive, &word, 1, &options, progress, &result, err);
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
    /* NOLINTNEXTLINE(clang-analyzer-security.insecureAPI.strcpy): 16 of 32 bytes are taken */
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

/* ---------------------------------------------------------------- whole */

static rg_code gather(const rg_archive *archive, content *c, rg_error *err)
{
    rg_code code = rg_archive_record(archive, c->bag, &c->record, err);
    if (code == RG_OK)
        code = fill_pads(archive, c, err);
    if (code == RG_OK)
        code = fill_not_swept(archive, c, err);
    if (code == RG_OK)
        code = fill_values(c, err);
    if (code == RG_OK)
        fill_head(c);
    return code;
}

static rg_code draw(const content *c, int formats, rg_archive_paper *paper, rg_error *err)
{
    rg_code code = RG_OK;
    snprintf(paper->name, sizeof paper->name, "%s-%04d", c->record.serial, c->record.sequence);
    rg_copy_text(paper->checked, sizeof paper->checked, c->checked);
    paper->passed = c->passed;
    if (formats & RG_CERTIFY_PDF)
        code = rg_certificate_pdf(&c->certificate, &paper->pdf, err);
    if (code == RG_OK && (formats & RG_CERTIFY_HTML))
        code = rg_certificate_html(&c->certificate, &paper->html, err);
    return code;
}

rg_code rg_archive_certify(const rg_archive *archive, const char *bag, const rg_public_key *trusted,
                           int formats, const rg_progress *progress, rg_archive_paper *paper,
                           rg_error *err)
{
    *paper = (rg_archive_paper){0};
    content *c = rg_alloc(1, sizeof *c);
    if (!c)
        return rg_fail(err, RG_INTERNAL, "no memory for a certificate");
    rg_copy_text(c->bag, sizeof c->bag, bag);
    rg_code code = check(archive, trusted, progress, c, err);
    if (code == RG_OK)
        code = gather(archive, c, err);
    if (code == RG_OK)
        code = draw(c, formats, paper, err);
    if (code != RG_OK)
        rg_archive_paper_free(paper);
    release(c);
    return code;
}

rg_code rg_archive_paper_write(const rg_archive_paper *paper, const char *folder,
                               char path[2][RG_ARCHIVE_PATH], rg_error *err)
{
    static const char *const suffix[] = {"pdf", "html"};
    const rg_bytes *bytes[] = {&paper->pdf, &paper->html};
    rg_code code = rg_folder_make(folder, err);
    for (int i = 0; code == RG_OK && i < 2; i++) {
        int n = snprintf(path[i], RG_ARCHIVE_PATH, "%s/%s.%s", folder, paper->name, suffix[i]);
        code = n < 0 || n >= RG_ARCHIVE_PATH
                   ? rg_fail(err, RG_CANT_CREATE, "%.80s...: the path is too long", folder)
                   : rg_file_write(path[i], bytes[i]->data, bytes[i]->size, err);
    }
    return code;
}

void rg_archive_paper_free(rg_archive_paper *paper)
{
    free(paper->pdf.data);
    free(paper->html.data);
    *paper = (rg_archive_paper){0};
}

/*
 * archive_add.c - one more inspection of a serial.
 *
 * Measuring and reading come first, without the lock. Then, locked: a bag is filled in
 * incoming/, sealed, and renamed to its place; its row follows. What is copied must have the digests
 * that the results were measured from, or nothing is stored.
 */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "archive_command.h"
#include "archive_private.h"
#include "rimglow/config_values.h"
#include "rimglow/date.h"
#include "rimglow/draw_setup.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/pad_verdict.h"
#include "rimglow/results.h"
#include "rimglow/setup_load.h"
#include "rimglow/setup_report.h"
#include "rimglow/text.h"
#include "rimglow/version.h"

enum { RG_CALIB_INSIDE = 256 };

/* One sweep that is to be stored. */
typedef struct item {
    const char *folder; /* as given */
    char name[RG_NAME_SIZE], serial[RG_NAME_SIZE], pad[RG_NAME_SIZE], model[RG_NAME_SIZE];
    char instrument_file[RG_INPUT_PATH], station_file[RG_INPUT_PATH];
    rg_digest sweep, instrument, station;
    char finger[16];
    double grams;
    int taken_day;
    rg_results results;
    char instrument_inside[RG_CALIB_INSIDE], station_inside[RG_CALIB_INSIDE]; /* in the bag */
} item;

typedef struct adding {
    const rg_archive_visit *visit;
    const rg_progress *progress;
    item *item; /* owned; [visit->folders] */
    rg_instrument instrument;
    rg_measured_value value[RG_VALUES_MAX];
    int values;
    char *values_text; /* owned: the file of set-up values as read; NULL: none */
    size_t values_size;
    bool sheet; /* a set-up sheet goes into the bag */
    rg_setup_rules rules;
    rg_workup_settings workup;
    rg_archive_settings settings; /* of the comparison with earlier visits */
    int calibs;                   /* files that are in data/calib/ so far */
    struct {
        rg_digest digest;
        char inside[RG_CALIB_INSIDE];
    } calib[2 * RG_RECORD_SWEEPS_MAX];
    rg_record record;
    rg_archive_added *added;
} adding;

/* ---------------------------------------------------------------- results */

static rg_code measure(const adding *a, rg_inspection *in, item *it, rg_error *err)
{
    char date[32] = "";
    time_t now = (time_t)a->visit->time;
    struct tm utc;
    if (gmtime_r(&now, &utc))
        strftime(date, sizeof date, "%Y-%m-%d %H:%M UTC", &utc);
    rg_code code = rg_inspection_run(in, a->visit->workers, a->progress, err);
    if (code == RG_OK)
        code = rg_inspection_write(in, a->visit->results,
                                   a->visit->overlays ? RG_PICTURES_ALL : RG_PICTURES_MAP, date,
                                   a->visit->workers, a->progress, it->results.place, err);
    if (code == RG_OK)
        code = rg_results_read(&it->results, err);
    if (code == RG_OK)
        a->added->measured++;
    return code;
}

static void describe(const rg_inspection *in, item *it)
{
    static const char *const finger[] = {[RG_FINGER_UNSTATED] = "unstated",
                                         [RG_FINGER_LIGHT] = "light",
                                         [RG_FINGER_FIRM] = "firm",
                                         [RG_FINGER_GRAMS] = "grams"};
    rg_copy_text(it->name, sizeof it->name, in->name);
    rg_copy_text(it->serial, sizeof it->serial, in->sweep.serial);
    rg_copy_text(it->pad, sizeof it->pad, in->sweep.pad);
    rg_copy_text(it->model, sizeof it->model, in->instrument.name);
    rg_copy_text(it->instrument_file, sizeof it->instrument_file, in->instrument_file);
    rg_copy_text(it->station_file, sizeof it->station_file, in->station_file);
    rg_copy_text(it->finger, sizeof it->finger, finger[in->sweep.finger]);
    it->grams = in->sweep.finger == RG_FINGER_GRAMS ? in->sweep.finger_grams : NAN;
    it->taken_day = in->sweep.taken.present ? in->sweep.taken.day : -1;
    it->sweep = in->sweep_digest;
    it->instrument = in->instrument_digest;
    it->station = in->station_digest;
}

static rg_code take_item(adding *a, int i, rg_error *err)
{
    rg_inspection in;
    item *it = &a->item[i];
    it->folder = a->visit->folder[i];
    rg_code code = rg_inspection_open(&in, it->folder, err);
    if (code != RG_OK)
        return code;
    describe(&in, it);
    bool current = false;
    code = rg_results_find(&in, a->visit->results, &it->results, &current, err);
    if (code == RG_OK && (!current || a->visit->measure))
        code = measure(a, &in, it, err);
    if (code == RG_OK && i == 0) {
        a->instrument = in.instrument;
        in.instrument = (rg_instrument){0};
    }
    rg_inspection_close(&in);
    return code;
}

static rg_code check_items(const adding *a, rg_error *err)
{
    const item *first = &a->item[0];
    for (int i = 1; i < a->visit->folders; i++) {
        const item *it = &a->item[i];
        if (strcmp(it->serial, first->serial) != 0)
            return rg_fail(err, RG_USAGE,
                           "%s is of serial %s, %s of %s; archive one instrument at a time",
                           first->folder, first->serial, it->folder, it->serial);
        if (!rg_digest_equal(&it->instrument, &first->instrument))
            return rg_fail(err, RG_BAD_DATA,
                           "%s and %s name different instrument files (%s, %s); let both name one",
                           first->folder, it->folder, first->instrument_file, it->instrument_file);
        for (int k = 0; k < i; k++)
            if (strcmp(it->name, a->item[k].name) == 0)
                return rg_fail(err, RG_USAGE,
                               "%s and %s have the same name %s; rename one of the folders",
                               a->item[k].folder, it->folder, it->name);
    }
    return RG_OK;
}

static rg_code read_values(adding *a, rg_error *err)
{
    uint8_t *text = NULL;
    if (!a->visit->setup_file)
        return RG_OK;
    rg_code code =
        rg_file_read(a->visit->setup_file, RG_CONFIG_MAX_BYTES, &text, &a->values_size, err);
    a->values_text = (char *)text;
    if (code == RG_OK)
        code = rg_values_parse(a->visit->setup_file, a->values_text, a->values_size, a->value,
                               &a->values, err);
    return code;
}

/* Rules are read where there is something to judge, or where they are named. */
static rg_code read_rules(adding *a, rg_error *err)
{
    a->sheet = a->visit->setup_file || a->visit->rules_file;
    if (!a->sheet)
        return RG_OK;
    rg_code code = rg_setup_rules_load(a->visit->rules_file, &a->rules, err);
    if (code == RG_OK)
        code = rg_workup_settings_load(NULL, &a->workup, err);
    return code == RG_OK ? rg_archive_settings_load(NULL, &a->settings, err) : code;
}

static rg_code prepare(adding *a, rg_error *err)
{
    const rg_archive_visit *v = a->visit;
    if (v->folders < 1 || v->folders > RG_RECORD_SWEEPS_MAX)
        return rg_fail(err, RG_USAGE, "%d sweep folders; 1 to %d can go into one bag", v->folders,
                       RG_RECORD_SWEEPS_MAX);
    a->item = rg_alloc((size_t)v->folders, sizeof *a->item);
    if (!a->item)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", v->folders);
    rg_code code = read_values(a, err);
    if (code == RG_OK)
        code = read_rules(a, err);
    for (int i = 0; code == RG_OK && i < v->folders; i++) {
        code = take_item(a, i, err);
        if (a->progress && a->progress->report)
            a->progress->report(a->progress->context, "sweeps", i + 1, v->folders);
    }
    return code == RG_OK ? check_items(a, err) : code;
}

/* ---------------------------------------------------------------- verdict of the whole */

/* Frames of the open key alone say nothing of the seal. */
static bool is_of_seal(const adding *a, int i)
{
    return a->item[i].results.map.frames_given > 0;
}

/* For its seal. */
static bool is_swept(const adding *a, const char *pad)
{
    for (int i = 0; i < a->visit->folders; i++)
        if (is_of_seal(a, i) && strcmp(a->item[i].pad, pad) == 0)
            return true;
    return false;
}

static void add_reason(rg_record *r, const char *text)
{
    if (r->reasons < RG_REASONS_MAX)
        rg_copy_text(r->reason[r->reasons++], RG_REASON_SIZE, text);
}

/* "leaking: G, A and 2 more": as many names as fit. */
typedef struct pad_list {
    char text[RG_REASON_SIZE];
    size_t used;
    int listed, more;
} pad_list;

static void begin_list(pad_list *l, const char *what)
{
    *l = (pad_list){0};
    l->used = (size_t)snprintf(l->text, sizeof l->text, "%s:", what);
}

static void list_pad(pad_list *l, const char *pad)
{
    if (l->more || l->used + strlen(pad) + 24 > sizeof l->text)
        l->more++;
    else
        l->used += (size_t)snprintf(l->text + l->used, sizeof l->text - l->used, "%s %s",
                                    l->listed++ ? "," : "", pad);
}

/* How many there were; none make no reason. */
static int end_list(pad_list *l, rg_record *r)
{
    if (l->more)
        snprintf(l->text + l->used, sizeof l->text - l->used, " and %d more", l->more);
    if (l->listed + l->more)
        add_reason(r, l->text);
    return l->listed + l->more;
}

/* Every pad once, at its first sweep. */
static bool is_first_of_pad(const adding *a, int i)
{
    for (int k = 0; k < i; k++)
        if (is_of_seal(a, k) && strcmp(a->item[k].pad, a->item[i].pad) == 0)
            return false;
    return is_of_seal(a, i);
}

static rg_verdict pad_verdict(const adding *a, const char *pad, bool *only_firm)
{
    rg_pad_sweep sweep[RG_RECORD_SWEEPS_MAX];
    int count = 0;
    for (int i = 0; i < a->visit->folders; i++)
        if (is_of_seal(a, i) && strcmp(a->item[i].pad, pad) == 0)
            sweep[count++] = (rg_pad_sweep){a->item[i].results.map.map.verdict,
                                            strcmp(a->item[i].finger, "firm") == 0};
    return rg_pad_verdict(sweep, count, only_firm);
}

/* Pads of this verdict; those that a firm finger alone holds back are told by themselves. */
static int list_pads(const adding *a, const char *what, rg_verdict verdict, bool firm, rg_record *r)
{
    pad_list list;
    begin_list(&list, what);
    for (int i = 0; i < a->visit->folders; i++) {
        bool only_firm;
        if (is_first_of_pad(a, i) && pad_verdict(a, a->item[i].pad, &only_firm) == verdict &&
            only_firm == firm)
            list_pad(&list, a->item[i].pad);
    }
    return end_list(&list, r);
}

static int list_unswept(const adding *a, rg_record *r)
{
    pad_list list;
    begin_list(&list, "not swept");
    for (int i = 0; i < a->instrument.pads; i++)
        if (!is_swept(a, a->instrument.pad[i].name))
            list_pad(&list, a->instrument.pad[i].name);
    return end_list(&list, r);
}

/* Sealed is an instrument only when every pad of its file was swept and is sealed (pad_verdict.h). */
static void judge(const adding *a, rg_record *r)
{
    static const rg_verdict L = RG_VERDICT_LEAKING, U = RG_VERDICT_UNDECIDED;
    int leaking = list_pads(a, rg_verdict_name(L), L, false, r);
    int undecided = list_pads(a, rg_verdict_name(U), U, false, r);
    undecided += list_pads(a, rg_pad_only_firm, U, true, r);
    int unswept = list_unswept(a, r);
    r->verdict = leaking                ? RG_VERDICT_LEAKING
                 : undecided || unswept ? RG_VERDICT_UNDECIDED
                                        : RG_VERDICT_SEALED;
}

/* ---------------------------------------------------------------- record */

static rg_code copy_sweeps(const adding *a, rg_record *r, rg_error *err)
{
    int n = a->visit->folders;
    r->sweep = rg_alloc((size_t)n, sizeof *r->sweep);
    if (!r->sweep)
        return rg_fail(err, RG_INTERNAL, "no memory for the record of %d sweeps", n);
    for (r->sweeps = 0; r->sweeps < n; r->sweeps++) {
        const item *it = &a->item[r->sweeps];
        rg_record_sweep *s = &r->sweep[r->sweeps];
        s->verdict = it->results.map.map.verdict;
        s->grams = it->grams;
        s->taken_day = it->taken_day;
        s->judged_day = it->results.map.judged_day;
        rg_copy_text(s->name, sizeof s->name, it->name);
        rg_copy_text(s->pad, sizeof s->pad, it->pad);
        rg_copy_text(s->finger, sizeof s->finger, it->finger);
        rg_copy_text(s->instrument_file, sizeof s->instrument_file, it->instrument_inside);
        rg_copy_text(s->station_file, sizeof s->station_file, it->station_inside);
    }
    return rg_setup_take_values(a->value, a->values, r, err);
}

/* The link to the bag before, read from that bag itself. */
static rg_code link_previous(const rg_archive *archive, adding *a, rg_error *err)
{
    char before[RG_ARCHIVE_BAG], path[RG_ARCHIVE_PATH];
    rg_record *r = &a->record, previous;
    rg_code code = rg_archive_newest(archive, a->item[0].serial, before, err);
    r->sequence = 1;
    if (code != RG_OK || !before[0])
        return code;
    rg_bag_tags *tags = rg_alloc(1, sizeof *tags);
    if (!tags)
        return rg_fail(err, RG_INTERNAL, "no memory to read a bag");
    code = rg_archive_path(archive, before, "", path, err);
    if (code == RG_OK)
        code = rg_bag_read_tags(path, tags, err);
    if (code == RG_OK)
        code = rg_archive_record(archive, before, &previous, err);
    if (code == RG_OK) {
        r->sequence = previous.sequence + 1;
        r->previous_manifest = tags->manifest;
        r->previous_tagmanifest = tags->tagmanifest;
        rg_copy_text(r->previous_bag, sizeof r->previous_bag, previous.bag);
        a->added->clock_back = previous.time > a->visit->time;
        rg_record_free(&previous);
    }
    free(tags);
    return code;
}

static rg_code make_record(const rg_archive *archive, adding *a, rg_error *err)
{
    rg_record *r = &a->record;
    time_t now = (time_t)a->visit->time;
    struct tm utc;
    rg_code code = link_previous(archive, a, err);
    if (code != RG_OK)
        return code;
    if (!gmtime_r(&now, &utc))
        return rg_fail(err, RG_INTERNAL, "the clock shows no date; set it");
    snprintf(r->bag, sizeof r->bag, "%04d-%04d%02d%02dT%02d%02d%02dZ", r->sequence,
             (utc.tm_year + 1900) % 10000, utc.tm_mon + 1, utc.tm_mday, utc.tm_hour, utc.tm_min,
             utc.tm_sec);
    r->time = a->visit->time;
    r->pads_of_model = a->instrument.pads;
    rg_copy_text(r->software, sizeof r->software, "rimglow " RG_VERSION);
    rg_copy_text(r->serial, sizeof r->serial, a->item[0].serial);
    rg_copy_text(r->model, sizeof r->model, a->item[0].model);
    rg_copy_text(r->technician, sizeof r->technician, a->visit->technician);
    rg_copy_text(r->occasion, sizeof r->occasion, a->visit->occasion);
    rg_copy_text(r->note, sizeof r->note, a->visit->note);
    judge(a, r);
    return copy_sweeps(a, r, err);
}

/* ---------------------------------------------------------------- set-up sheet */

static rg_code make_sheet(const adding *a, const rg_archive *archive, const char *bag,
                          const rg_record *record, const rg_map_file **map, rg_setup_made *made,
                          rg_error *err)
{
    for (int i = 0; i < record->sweeps; i++)
        map[i] = &a->item[i].results.map;
    const rg_setup_request q = {.archive = archive,
                                .bag = bag,
                                .record = record,
                                .map = map,
                                .values = record,
                                .values_name = a->visit->setup_file ? "setup.ini" : "none",
                                .instrument = &a->instrument,
                                .rules = &a->rules,
                                .workup = &a->workup,
                                .change = &a->settings.change,
                                .day = (int)(a->visit->time / 86400)};
    return rg_setup_make(&q, made, err);
}

/* Before the archive is locked: a unit that no rule knows must not come up half way. */
static rg_code try_sheet(const adding *a, rg_error *err)
{
    const rg_map_file *map[RG_RECORD_SWEEPS_MAX];
    rg_setup_made made = {0};
    if (!a->sheet)
        return RG_OK;
    rg_record *r = rg_alloc(1, sizeof *r);
    if (!r)
        return rg_fail(err, RG_INTERNAL, "no memory to add an inspection");
    r->time = a->visit->time;
    rg_copy_text(r->serial, sizeof r->serial, a->item[0].serial);
    rg_code code = copy_sweeps(a, r, err);
    if (code == RG_OK)
        code = make_sheet(a, NULL, "", r, map, &made, err);
    rg_setup_made_free(&made);
    rg_record_free(r);
    free(r);
    return code;
}

/* Both forms of the sheet. */
static rg_code write_sheet(rg_bag *bag, const rg_setup_made *made, rg_error *err)
{
    char *text = NULL;
    rg_bytes pdf = {0};
    rg_code code = rg_setup_report(&made->sheet, &text, err);
    if (code == RG_OK)
        code = rg_draw_setup(&made->sheet, RG_PICTURE_PDF, 0, NULL, &pdf, err);
    if (code == RG_OK)
        code = rg_bag_add_bytes(bag, RG_SETUP_JSON, text, strlen(text), err);
    if (code == RG_OK)
        code = rg_bag_add_bytes(bag, RG_SETUP_PDF, pdf.data, pdf.size, err);
    free(text);
    free(pdf.data);
    return code;
}

/* The work-up and the settings that it rests on. */
static rg_code write_work(rg_bag *bag, const adding *a, const rg_setup_made *made, rg_error *err)
{
    char inside[RG_CALIB_INSIDE], *text = NULL;
    rg_code code = rg_workup_json(made->workup, made->sheet.serial, &a->workup, &text, err);
    if (code == RG_OK)
        code = rg_bag_add_bytes(bag, RG_SETUP_WORK, text, strlen(text), err);
    for (int i = 0; code == RG_OK && i < RG_WORKUP_FILES; i++) {
        const struct rg_workup_file *file = &a->workup.file[i];
        snprintf(inside, sizeof inside, RG_SETUP_FOLDER "/%s", file->name);
        code = rg_bag_add_bytes(bag, inside, file->text, file->size, err);
    }
    free(text);
    return code;
}

/* Values and rules as read before the lock, and what follows from them. */
static rg_code add_setup(rg_bag *bag, const rg_archive *archive, adding *a, rg_error *err)
{
    const rg_map_file *map[RG_RECORD_SWEEPS_MAX];
    char name[RG_ARCHIVE_BAG];
    rg_setup_made made = {0};
    rg_code code = RG_OK;
    if (a->values_text)
        code = rg_bag_add_bytes(bag, RG_SETUP_VALUES, a->values_text, a->values_size, err);
    if (code != RG_OK || !a->sheet)
        return code;
    snprintf(name, sizeof name, "%.127s/%s", a->record.serial, a->record.bag);
    code = rg_bag_add_bytes(bag, RG_SETUP_RULES, a->rules.text, a->rules.size, err);
    if (code == RG_OK)
        code = make_sheet(a, archive, name, &a->record, map, &made, err);
    if (code == RG_OK)
        code = write_sheet(bag, &made, err);
    if (code == RG_OK)
        code = write_work(bag, a, &made, err);
    a->added->setup_decision = made.result.decision;
    a->added->setup_sheet = code == RG_OK;
    rg_setup_made_free(&made);
    return code;
}

/* ---------------------------------------------------------------- filling the bag */

static rg_code changed(const char *file, rg_error *err)
{
    return rg_fail(err, RG_BAD_DATA,
                   "%s: is not what was measured; nothing was stored; add again with --measure",
                   file);
}

static rg_code add_checked(rg_bag *bag, const char *inside, const char *from,
                           const rg_digest *expected, rg_error *err)
{
    rg_digest digest;
    rg_code code = rg_bag_add_file(bag, inside, from, &digest, err);
    return code == RG_OK && !rg_digest_equal(&digest, expected) ? changed(from, err) : code;
}

static bool calib_name_taken(const adding *a, const char *inside)
{
    for (int i = 0; i < a->calibs; i++)
        if (strcmp(a->calib[i].inside, inside) == 0)
            return true;
    return false;
}

/* data/calib/NAME: one copy of each content; a second content of the same name gets a number. */
static rg_code add_calib(rg_bag *bag, adding *a, const char *from, const rg_digest *digest,
                         char inside[RG_CALIB_INSIDE], rg_error *err)
{
    for (int i = 0; i < a->calibs; i++)
        if (rg_digest_equal(&a->calib[i].digest, digest)) {
            rg_copy_text(inside, RG_CALIB_INSIDE, a->calib[i].inside);
            return RG_OK;
        }
    const char *slash = strrchr(from, '/'), *name = slash ? slash + 1 : from;
    if (!rg_is_safe_name(name))
        name = "file.ini";
    snprintf(inside, RG_CALIB_INSIDE, "data/calib/%s", name);
    for (int n = 2; calib_name_taken(a, inside); n++)
        snprintf(inside, RG_CALIB_INSIDE, "data/calib/%d-%s", n, name);
    a->calib[a->calibs].digest = *digest;
    rg_copy_text(a->calib[a->calibs++].inside, RG_CALIB_INSIDE, inside);
    return add_checked(bag, inside, from, digest, err);
}

static rg_code add_frames(rg_bag *bag, const item *it, rg_error *err)
{
    const rg_digest unread = {{0}};
    char inside[RG_BAG_PATH], from[RG_ARCHIVE_PATH];
    snprintf(inside, sizeof inside, "data/sweeps/%s/sweep.ini", it->name);
    snprintf(from, sizeof from, "%s/sweep.ini", it->folder);
    rg_code code = add_checked(bag, inside, from, &it->sweep, err);
    for (int i = 0; code == RG_OK && i < it->results.inputs.frames; i++) {
        const struct rg_map_input *frame = &it->results.inputs.frame[i];
        if (rg_digest_equal(&frame->digest, &unread))
            continue; /* could not be read when it was measured either; seal-map.json says so */
        snprintf(inside, sizeof inside, "data/sweeps/%s/%s", it->name, frame->file);
        snprintf(from, sizeof from, "%s/%s", it->folder, frame->file);
        code = add_checked(bag, inside, from, &frame->digest, err);
    }
    return code;
}

static rg_code add_picture(rg_bag *bag, const item *it, const char *name, rg_error *err)
{
    char inside[RG_BAG_PATH], from[RG_PLACE_SIZE + RG_NAME_SIZE + 32];
    snprintf(from, sizeof from, "%s/%s", it->results.place, name);
    snprintf(inside, sizeof inside, "data/results/%s/%s", it->name, name);
    if (access(from, F_OK) != 0)
        return RG_OK; /* rimglow inspect --pictures none */
    return rg_bag_add_file(bag, inside, from, NULL, err);
}

static rg_code add_results(rg_bag *bag, const adding *a, const item *it, rg_error *err)
{
    static const char *const picture[] = {"ring.png", "ring.svg", "strip.png", "strip.svg"};
    char inside[RG_BAG_PATH], name[RG_NAME_SIZE + 16];
    snprintf(inside, sizeof inside, "data/results/%s/seal-map.json", it->name);
    rg_code code = rg_bag_add_bytes(bag, inside, it->results.text, it->results.size, err);
    for (size_t i = 0; code == RG_OK && i < sizeof picture / sizeof *picture; i++)
        code = add_picture(bag, it, picture[i], err);
    for (int i = 0; code == RG_OK && a->visit->overlays && i < it->results.inputs.frames; i++) {
        snprintf(name, sizeof name, "frames/%s.png", it->results.inputs.frame[i].file);
        code = add_picture(bag, it, name, err);
    }
    return code;
}

static rg_code add_info(rg_bag *bag, const rg_record *r, rg_error *err)
{
    char time_text[RG_RECORD_TIME], manifest[RG_DIGEST_TEXT], number[32], pads[32];
    rg_record_time_format(r->time, time_text);
    rg_digest_format(&r->previous_manifest, manifest);
    snprintf(number, sizeof number, "%d", r->sequence);
    snprintf(pads, sizeof pads, "%d", r->sweeps);
    const char *const line[][2] = {
        {"External-Identifier", r->serial},
        {"External-Description", r->model},
        {"Bag-Software-Agent", r->software},
        {"Inspection-Sequence", number},
        {"Inspection-Time", time_text},
        {"Inspection-Technician", r->technician},
        {"Inspection-Occasion", r->occasion},
        {"Inspection-Pad-Count", pads},
        {"Inspection-Verdict", rg_verdict_name(r->verdict)},
        {"Previous-Bag", r->previous_bag},
        {"Previous-Manifest-SHA256", r->previous_bag[0] ? manifest : ""}};
    rg_code code = RG_OK;
    for (size_t i = 0; code == RG_OK && i < sizeof line / sizeof *line; i++)
        if (line[i][1][0])
            code = rg_bag_info(bag, line[i][0], line[i][1], err);
    return code;
}

static rg_code fill_bag(rg_bag *bag, const rg_archive *archive, adding *a, rg_error *err)
{
    char *text = NULL;
    rg_code code = RG_OK;
    int n = a->visit->folders;
    for (int i = 0; code == RG_OK && i < n; i++) {
        item *it = &a->item[i];
        code = add_calib(bag, a, it->instrument_file, &it->instrument, it->instrument_inside, err);
        if (code == RG_OK)
            code = add_calib(bag, a, it->station_file, &it->station, it->station_inside, err);
        if (code == RG_OK)
            code = add_frames(bag, it, err);
        if (code == RG_OK)
            code = add_results(bag, a, it, err);
        if (a->progress && a->progress->report)
            a->progress->report(a->progress->context, "stored", i + 1, n);
    }
    if (code == RG_OK)
        code = make_record(archive, a, err);
    if (code == RG_OK)
        code = add_setup(bag, archive, a, err);
    if (code == RG_OK)
        code = rg_record_text(&a->record, &text, err);
    if (code == RG_OK)
        code = rg_bag_add_bytes(bag, "data/inspection.json", text, strlen(text), err);
    free(text);
    return code == RG_OK ? add_info(bag, &a->record, err) : code;
}

static rg_code seal(rg_bag *bag, const adding *a, rg_error *err)
{
    char date[RG_DATE_TEXT], signature[RG_SIGNATURE_TEXT];
    rg_date_format((int)(a->visit->time / 86400), date);
    rg_code code = rg_bag_seal(bag, date, &a->added->tagmanifest, err);
    if (code == RG_OK && a->visit->key) {
        rg_sign_bag(a->visit->key, &a->added->tagmanifest, signature);
        code = rg_bag_sign_file(bag, RG_BAG_SIGNATURE, signature, err);
    }
    a->added->manifest = rg_bag_manifest_digest(bag);
    a->added->files = rg_bag_files(bag);
    a->added->bytes = rg_bag_bytes(bag);
    return code;
}

/* The first signature makes its key known to the archive, as a help; who must be sure keeps a copy
 * of the public key elsewhere. */
static rg_code keep_key(const rg_archive *archive, const rg_secret_key *key, rg_error *err)
{
    char name[64], path[RG_ARCHIVE_PATH], text[RG_SIGNATURE_TEXT];
    if (!key)
        return RG_OK;
    rg_code code = rg_archive_file(archive, "keys", path, err);
    if (code == RG_OK)
        code = rg_folder_make(path, err);
    snprintf(name, sizeof name, "keys/%s.pub", rg_key_public(key)->id);
    if (code == RG_OK)
        code = rg_archive_file(archive, name, path, err);
    if (code != RG_OK || access(path, F_OK) == 0)
        return code;
    rg_key_public_text(rg_key_public(key), text);
    return rg_file_write(path, text, strlen(text), err);
}

/* The bag is in its place: from here on the inspection is archived, whatever happens. */
static void put_row(const rg_archive *archive, rg_archive_added *added)
{
    rg_catalogue_inspection row;
    rg_error *err = &added->not_indexed;
    rg_code code = rg_archive_row(archive, added->bag, &row, err);
    if (code != RG_OK)
        return;
    rg_catalogue_put(archive->catalogue, &row, err);
    rg_catalogue_inspection_free(&row);
}

static rg_code store(const rg_archive *archive, adding *a, rg_error *err)
{
    char staging[RG_ARCHIVE_PATH], place[RG_ARCHIVE_PATH];
    rg_bag *bag = NULL;
    rg_error ignored = {0};
    rg_code code = rg_archive_file(archive, "incoming/bag", staging, err);
    if (code == RG_OK)
        code = rg_bag_begin(staging, &bag, err);
    if (code != RG_OK)
        return code;
    code = fill_bag(bag, archive, a, err);
    if (code == RG_OK)
        code = seal(bag, a, err);
    if (code == RG_OK)
        code = keep_key(archive, a->visit->key, err);
    snprintf(a->added->bag, sizeof a->added->bag, "%s/%s", a->record.serial, a->record.bag);
    if (code == RG_OK)
        code = rg_archive_path(archive, a->added->bag, "", place, err);
    bool sealed = code == RG_OK;
    if (sealed)
        code = rg_bag_place(bag, place, err);
    rg_bag_free(bag);
    if (code == RG_OK)
        put_row(archive, a->added);
    else if (!sealed) /* a sealed bag that cannot be moved stays until the next add, as err says */
        rg_bag_remove(staging, &ignored);
    return code;
}

static void release(adding *a)
{
    for (int i = 0; a->item && i < a->visit->folders; i++)
        rg_results_free(&a->item[i].results);
    free(a->item);
    rg_instrument_free(&a->instrument);
    rg_record_free(&a->record);
    rg_setup_rules_free(&a->rules);
    rg_workup_settings_free(&a->workup);
    free(a->values_text);
    free(a);
}

rg_code rg_archive_add(const char *folder, const rg_archive_visit *visit,
                       const rg_progress *progress, rg_archive_added *added, rg_error *err)
{
    rg_archive archive;
    *added = (rg_archive_added){0};
    adding *a = rg_alloc(1, sizeof *a);
    if (!a)
        return rg_fail(err, RG_INTERNAL, "no memory to add an inspection");
    *a = (adding){.visit = visit, .progress = progress, .added = added};
    rg_code code = prepare(a, err);
    if (code == RG_OK)
        code = try_sheet(a, err);
    if (code == RG_OK)
        code = rg_archive_open(&archive, folder, err);
    if (code == RG_OK) {
        code = store(&archive, a, err);
        rg_archive_close(&archive);
    }
    added->verdict = a->record.verdict;
    added->pads = visit->folders;
    release(a);
    return code;
}

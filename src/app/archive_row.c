/*
 * archive_row.c - rows of the index from the bags alone.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "archive_private.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* ---------------------------------------------------------------- one bag */

const rg_bin *rg_archive_widest(const rg_seal_map *map)
{
    const rg_bin *best = NULL;
    for (int b = 0; b < RG_BINS; b++)
        if (map->bin[b].state == RG_BIN_GAP && (!best || map->bin[b].width_mm > best->width_mm))
            best = &map->bin[b];
    return best;
}

/* Bearings share their errors, so u of the mean is the mean of the u, not divided by their number. */
static void fill_widths(const rg_seal_map *map, rg_catalogue_pad *pad)
{
    const rg_bin *widest = rg_archive_widest(map);
    double sum = 0, sum_u = 0;
    for (int b = 0; b < RG_BINS; b++) {
        if (map->bin[b].state == RG_BIN_UNSEEN)
            continue;
        pad->seen++;
        sum += map->bin[b].width_mm;
        sum_u += map->bin[b].u_mm;
    }
    pad->widest_mm = widest ? widest->width_mm : NAN;
    pad->u_widest_mm = widest ? widest->u_mm : NAN;
    pad->widest_deg = widest ? widest->bearing_deg : NAN;
    pad->mean_mm = pad->seen ? sum / pad->seen : NAN;
    pad->u_mean_mm = pad->seen ? sum_u / pad->seen : NAN;
}

static rg_code fill_arcs(const rg_seal_map *map, rg_catalogue_pad *pad, rg_error *err)
{
    rg_catalogue_arc *arc = rg_alloc((size_t)map->arcs, sizeof *arc);
    if (!arc)
        return rg_fail(err, RG_INTERNAL, "no memory for %d arcs", map->arcs);
    for (int i = 0; i < map->arcs; i++) {
        const rg_arc *a = &map->arc[i];
        arc[i] = (rg_catalogue_arc){.start_deg = a->start_deg,
                                    .end_deg = a->end_deg,
                                    .centre_deg = a->centre_deg,
                                    .extent_deg = a->extent_deg,
                                    .extent_mm = a->extent_mm,
                                    .max_width_mm = a->max_width_mm,
                                    .u_max_mm = a->u_max_mm,
                                    .max_bearing_deg = a->max_bearing_deg,
                                    .open_area_mm2 = a->open_area_mm2};
    }
    pad->arcs = map->arcs;
    pad->arc = arc;
    return RG_OK;
}

/* Position of the sweep's pad in its instrument file, top of the body 0; -1 when it cannot be told. */
static int pad_position(const rg_archive *archive, const char *bag, const rg_record_sweep *sweep)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_instrument instrument = {0};
    int position = -1;
    rg_error err;
    if (rg_archive_path(archive, bag, sweep->instrument_file, path, &err) == RG_OK &&
        rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, &err) == RG_OK &&
        rg_instrument_parse(path, (const char *)text, size, &instrument, &err) == RG_OK)
        for (int i = 0; i < instrument.pads; i++)
            if (strcmp(instrument.pad[i].name, sweep->pad) == 0)
                position = i;
    rg_instrument_free(&instrument);
    free(text);
    return position;
}

static rg_code fill_pad(const rg_archive *archive, const char *bag, const rg_record_sweep *sweep,
                        rg_catalogue_pad *pad, rg_error *err)
{
    rg_map_file *map = rg_alloc(1, sizeof *map);
    if (!map)
        return rg_fail(err, RG_INTERNAL, "no memory for a seal map");
    rg_code code = rg_archive_map(archive, bag, sweep->name, map, NULL, err);
    if (code == RG_OK) {
        *pad = (rg_catalogue_pad){.position = pad_position(archive, bag, sweep),
                                  .grams = sweep->grams,
                                  .tolerance_mm = map->tolerance_mm,
                                  .calibration_day = map->calibration_day,
                                  .calibrated = map->calibrated,
                                  .radiance = map->radiance,
                                  .u_radiance_ln = map->u_ln_radiance,
                                  .psf_sigma_px = map->psf_sigma_px,
                                  .frames_used = map->frames_used,
                                  .frames_given = map->frames_given};
        rg_copy_text(pad->name, sizeof pad->name, sweep->name);
        rg_copy_text(pad->pad, sizeof pad->pad, sweep->pad);
        rg_copy_text(pad->verdict, sizeof pad->verdict, rg_verdict_name(map->map.verdict));
        rg_copy_text(pad->finger, sizeof pad->finger, sweep->finger);
        rg_copy_text(pad->station, sizeof pad->station, map->station);
        fill_widths(&map->map, pad);
        code = fill_arcs(&map->map, pad, err);
    }
    free(map);
    return code;
}

static void fill_values(const rg_record *record, rg_catalogue_value *value)
{
    for (int i = 0; i < record->values; i++) {
        const rg_record_value *v = &record->value[i];
        value[i] = (rg_catalogue_value){.value = v->value, .u = v->u};
        rg_copy_text(value[i].quantity, sizeof value[i].quantity, v->quantity);
        rg_copy_text(value[i].unit, sizeof value[i].unit, v->unit);
        rg_copy_text(value[i].with, sizeof value[i].with, v->with);
    }
}

/* Payload-Oxum: "bytes.files" (RFC 8493 2.2.2). */
static void fill_tags(const rg_bag_tags *tags, rg_catalogue_inspection *row)
{
    long long bytes = 0, files = 0;
    if (sscanf(rg_bag_tag(tags, "Payload-Oxum"), "%18lld.%18lld", &bytes, &files) != 2)
        bytes = files = 0;
    row->bytes = bytes;
    row->files = files;
    rg_digest_format(&tags->manifest, row->manifest);
    rg_digest_format(&tags->tagmanifest, row->tagmanifest);
}

static void fill_record(const char *bag, const rg_record *record, rg_catalogue_inspection *row)
{
    rg_copy_text(row->bag, sizeof row->bag, bag);
    rg_copy_text(row->serial, sizeof row->serial, record->serial);
    rg_copy_text(row->model, sizeof row->model, record->model);
    rg_copy_text(row->technician, sizeof row->technician, record->technician);
    rg_copy_text(row->occasion, sizeof row->occasion, record->occasion);
    rg_copy_text(row->note, sizeof row->note, record->note);
    rg_copy_text(row->software, sizeof row->software, record->software);
    rg_copy_text(row->verdict, sizeof row->verdict, rg_verdict_name(record->verdict));
    row->sequence = record->sequence;
    row->time = record->time;
    row->pads_of_model = record->pads_of_model;
    if (record->previous_bag[0])
        rg_digest_format(&record->previous_manifest, row->previous_manifest);
}

/* Id of the signing key as the bag states it; whether the signature holds, verify says. */
static void fill_key(const rg_archive *archive, const char *bag, const rg_bag_tags *tags,
                     rg_catalogue_inspection *row)
{
    char path[RG_ARCHIVE_PATH];
    uint8_t *text = NULL;
    size_t size;
    rg_error err;
    rg_public_key key = {.id = ""};
    if (rg_archive_path(archive, bag, RG_BAG_SIGNATURE, path, &err) == RG_OK &&
        access(path, F_OK) == 0 && rg_file_read(path, 65536, &text, &size, &err) == RG_OK)
        rg_verify_bag((const char *)text, size, &tags->tagmanifest, NULL, 0, &key);
    rg_copy_text(row->key, sizeof row->key, key.id);
    free(text);
}

static rg_code fill_row(const rg_archive *archive, const char *bag, const rg_record *record,
                        rg_catalogue_inspection *row, rg_error *err)
{
    rg_catalogue_pad *pad = rg_alloc((size_t)record->sweeps, sizeof *pad);
    rg_catalogue_value *value = rg_alloc((size_t)record->values, sizeof *value);
    row->pad = pad;
    row->value = value;
    if (!pad || !value)
        return rg_fail(err, RG_INTERNAL, "no memory for %d sweeps", record->sweeps);
    fill_record(bag, record, row);
    fill_values(record, value);
    row->values = record->values;
    rg_code code = RG_OK;
    for (int i = 0; code == RG_OK && i < record->sweeps; i++) {
        code = fill_pad(archive, bag, &record->sweep[i], &pad[i], err);
        row->pads = i + (code == RG_OK);
    }
    return code;
}

rg_code rg_archive_row(const rg_archive *archive, const char *bag, rg_catalogue_inspection *row,
                       rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_record record = {0};
    *row = (rg_catalogue_inspection){0};
    rg_bag_tags *tags = rg_alloc(1, sizeof *tags);
    if (!tags)
        return rg_fail(err, RG_INTERNAL, "no memory to read a bag");
    rg_code code = rg_archive_path(archive, bag, "", path, err);
    if (code == RG_OK)
        code = rg_bag_read_tags(path, tags, err);
    if (code == RG_OK)
        code = rg_archive_record(archive, bag, &record, err);
    if (code == RG_OK)
        code = fill_row(archive, bag, &record, row, err);
    if (code == RG_OK) {
        fill_tags(tags, row);
        fill_key(archive, bag, tags, row);
    } else {
        rg_catalogue_inspection_free(row);
    }
    rg_record_free(&record);
    free(tags);
    return code;
}

/* ---------------------------------------------------------------- all bags */

typedef struct putting {
    rg_catalogue *catalogue;
    const rg_progress *progress;
    rg_reindex_result *result;
    const rg_catalogue_list *known; /* sorted by bag; NULL: put all */
} putting;

static rg_code put_bag(const rg_archive *archive, const char *bag, const putting *s, rg_error *err)
{
    rg_catalogue_inspection row;
    rg_error why = {0};
    rg_code code = rg_archive_row(archive, bag, &row, &why);
    if (code == RG_INTERNAL)
        return rg_fail(err, code, "%s", why.text);
    if (code != RG_OK) {
        if (s->result->unread++ == 0)
            s->result->why = why;
        return RG_OK;
    }
    code = rg_catalogue_put(s->catalogue, &row, err);
    rg_catalogue_inspection_free(&row);
    s->result->bags += code == RG_OK;
    return code;
}

static int by_bag(const void *a, const void *b)
{
    return strcmp(((const rg_catalogue_inspection *)a)->bag,
                  ((const rg_catalogue_inspection *)b)->bag);
}

static bool is_known(const rg_catalogue_list *known, const char *bag)
{
    int low = 0, high = known ? known->count : 0;
    while (low < high) {
        int middle = low + (high - low) / 2, order = strcmp(known->row[middle].bag, bag);
        if (order == 0)
            return true;
        if (order < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return false;
}

static rg_code put_serial(const rg_archive *archive, const char *serial, const putting *s,
                          rg_error *err)
{
    rg_names bags = {0};
    rg_error skip = {0};
    if (!rg_is_safe_name(serial))
        return RG_OK; /* verify names it */
    rg_code code = rg_archive_bags(archive, serial, &bags, &skip);
    if (code != RG_OK) /* a file in place of a folder: verify names it */
        return code == RG_INTERNAL ? rg_fail(err, code, "%s", skip.text) : RG_OK;
    for (int i = 0; code == RG_OK && i < bags.count; i++) {
        int sequence;
        if (rg_bag_name_parse(bags.name[i], &sequence) && !is_known(s->known, bags.name[i]))
            code = put_bag(archive, bags.name[i], s, err);
    }
    rg_names_free(&bags);
    return code;
}

static rg_code put_all(const rg_archive *archive, const putting *s, rg_error *err)
{
    rg_names serials;
    rg_code code = rg_archive_serials(archive, &serials, err);
    for (int i = 0; code == RG_OK && i < serials.count; i++) {
        code = put_serial(archive, serials.name[i], s, err);
        if (s->progress && s->progress->report)
            s->progress->report(s->progress->context, "serials", i + 1, serials.count);
    }
    rg_names_free(&serials);
    return code;
}

/* ---------------------------------------------------------------- keeping the index */

static void remove_index(const char *path)
{
    static const char *const suffix[] = {"", "-wal", "-shm", "-journal"};
    char file[RG_ARCHIVE_PATH + 16];
    for (size_t i = 0; i < sizeof suffix / sizeof *suffix; i++) {
        snprintf(file, sizeof file, "%s%s", path, suffix[i]);
        unlink(file);
    }
}

rg_code rg_archive_heal(rg_archive *archive, rg_error *err)
{
    char path[RG_ARCHIVE_PATH];
    rg_error why = {0};
    rg_reindex_result ignored = {0};
    rg_code code = rg_archive_file(archive, RG_ARCHIVE_INDEX, path, err);
    if (code != RG_OK)
        return code;
    code = rg_catalogue_open(path, RG_CATALOGUE_WRITE, &archive->catalogue, &why);
    /* A damaged index is no reason to lose a day: everything in it is in the bags. */
    if (code == RG_BAD_DATA) {
        remove_index(path);
        code = rg_catalogue_open(path, RG_CATALOGUE_WRITE, &archive->catalogue, &why);
    }
    if (code != RG_OK)
        return rg_fail(err, code, "%s", why.text);
    const rg_catalogue_query all = {.oldest_first = true};
    rg_catalogue_list known = {0};
    const putting s = {archive->catalogue, NULL, &ignored, &known};
    code = rg_catalogue_find(archive->catalogue, &all, &known, err);
    if (known.count > 1)
        qsort(known.row, (size_t)known.count, sizeof *known.row, by_bag);
    if (code == RG_OK)
        code = put_all(archive, &s, err);
    rg_catalogue_list_free(&known);
    return code;
}

/* Rows of the old index whose bag is no longer there. */
static rg_code count_lost(rg_archive *archive, rg_reindex_result *result, rg_error *err)
{
    const rg_catalogue_query all = {.oldest_first = true};
    rg_catalogue_list list;
    rg_code code = rg_catalogue_find(archive->catalogue, &all, &list, err);
    for (int i = 0; code == RG_OK && i < list.count; i++) {
        char path[RG_ARCHIVE_PATH];
        code = rg_archive_path(archive, list.row[i].bag, "", path, err);
        if (code != RG_OK || access(path, F_OK) == 0)
            continue;
        if (result->lost++ == 0)
            rg_copy_text(result->first_lost, sizeof result->first_lost, list.row[i].bag);
    }
    rg_catalogue_list_free(&list);
    return code;
}

/* One transaction: a reindex that is cut off leaves the old index. */
rg_code rg_archive_reindex(rg_archive *archive, const rg_progress *progress,
                           rg_reindex_result *result, rg_error *err)
{
    *result = (rg_reindex_result){0};
    const putting s = {archive->catalogue, progress, result, NULL};
    rg_code code = count_lost(archive, result, err);
    if (code == RG_OK)
        code = rg_catalogue_begin(archive->catalogue, err);
    if (code != RG_OK)
        return code;
    code = rg_catalogue_clear(archive->catalogue, err);
    if (code == RG_OK)
        code = put_all(archive, &s, err);
    rg_error end = {0};
    rg_code ended = rg_catalogue_end(archive->catalogue, code == RG_OK, &end);
    return code == RG_OK && ended != RG_OK ? rg_fail(err, ended, "%s", end.text) : code;
}

rg_code rg_archive_newest(const rg_archive *archive, const char *serial, char bag[RG_ARCHIVE_BAG],
                          rg_error *err)
{
    rg_names bags;
    int highest = 0, sequence, known = 0;
    bag[0] = 0;
    rg_code code = rg_archive_bags(archive, serial, &bags, err);
    if (code != RG_OK)
        return code;
    for (int i = 0; i < bags.count; i++)
        if (rg_bag_name_parse(bags.name[i], &sequence) && sequence > highest) {
            highest = sequence;
            rg_copy_text(bag, RG_ARCHIVE_BAG, bags.name[i]);
        }
    rg_names_free(&bags);
    rg_catalogue_list list = {0};
    const rg_catalogue_query query = {.serial = serial};
    code = rg_catalogue_find(archive->catalogue, &query, &list, err);
    for (int i = 0; code == RG_OK && i < list.count; i++)
        known = list.row[i].sequence > known ? list.row[i].sequence : known;
    rg_catalogue_list_free(&list);
    if (code == RG_OK && known > highest)
        code =
            rg_fail(err, RG_BAD_DATA,
                    "%s: the index knows inspection %d of serial %s, but the newest bag is %d; "
                    "bring the missing bag back, or give it up with rimglow archive reindex, and "
                    "then add again",
                    archive->folder, known, serial, highest);
    return code;
}

/* ---------------------------------------------------------------- comparing */

static bool same(double a, double b)
{
    return (isnan(a) && isnan(b)) || a == b;
}

static bool pads_agree(const rg_catalogue_pad *a, const rg_catalogue_pad *b)
{
    bool agree = strcmp(a->name, b->name) == 0 && strcmp(a->pad, b->pad) == 0 &&
                 a->position == b->position && strcmp(a->verdict, b->verdict) == 0 &&
                 strcmp(a->finger, b->finger) == 0 && same(a->grams, b->grams) &&
                 same(a->tolerance_mm, b->tolerance_mm) && a->seen == b->seen &&
                 same(a->widest_mm, b->widest_mm) && same(a->u_widest_mm, b->u_widest_mm) &&
                 same(a->widest_deg, b->widest_deg) && same(a->mean_mm, b->mean_mm) &&
                 same(a->u_mean_mm, b->u_mean_mm) && strcmp(a->station, b->station) == 0 &&
                 a->calibration_day == b->calibration_day && a->calibrated == b->calibrated &&
                 same(a->radiance, b->radiance) && same(a->u_radiance_ln, b->u_radiance_ln) &&
                 same(a->psf_sigma_px, b->psf_sigma_px) && a->frames_used == b->frames_used &&
                 a->frames_given == b->frames_given && a->arcs == b->arcs;
    for (int i = 0; agree && i < a->arcs; i++) {
        const rg_catalogue_arc *p = &a->arc[i], *q = &b->arc[i];
        agree = same(p->start_deg, q->start_deg) && same(p->end_deg, q->end_deg) &&
                same(p->centre_deg, q->centre_deg) && same(p->extent_deg, q->extent_deg) &&
                same(p->extent_mm, q->extent_mm) && same(p->max_width_mm, q->max_width_mm) &&
                same(p->u_max_mm, q->u_max_mm) && same(p->max_bearing_deg, q->max_bearing_deg) &&
                same(p->open_area_mm2, q->open_area_mm2);
    }
    return agree;
}

static bool values_agree(const rg_catalogue_value *a, const rg_catalogue_value *b)
{
    return strcmp(a->quantity, b->quantity) == 0 && strcmp(a->unit, b->unit) == 0 &&
           strcmp(a->with, b->with) == 0 && same(a->value, b->value) && same(a->u, b->u);
}

/* The index may give pads in another order than the record. */
static const rg_catalogue_pad *pad_of(const rg_catalogue_inspection *row, const char *name)
{
    for (int i = 0; i < row->pads; i++)
        if (strcmp(row->pad[i].name, name) == 0)
            return &row->pad[i];
    return NULL;
}

static const rg_catalogue_value *value_of(const rg_catalogue_inspection *row, const char *quantity)
{
    for (int i = 0; i < row->values; i++)
        if (strcmp(row->value[i].quantity, quantity) == 0)
            return &row->value[i];
    return NULL;
}

static bool differs(const char *name, bool agree, char what[160])
{
    if (!agree)
        snprintf(what, 160, "%.150s", name);
    return !agree;
}

bool rg_rows_agree(const rg_catalogue_inspection *a, const rg_catalogue_inspection *b,
                   char what[160])
{
    if (differs("serial", strcmp(a->serial, b->serial) == 0, what) ||
        differs("model", strcmp(a->model, b->model) == 0, what) ||
        differs("sequence", a->sequence == b->sequence, what) ||
        differs("time", a->time == b->time, what) ||
        differs("technician", strcmp(a->technician, b->technician) == 0, what) ||
        differs("occasion", strcmp(a->occasion, b->occasion) == 0, what) ||
        differs("note", strcmp(a->note, b->note) == 0, what) ||
        differs("software", strcmp(a->software, b->software) == 0, what) ||
        differs("verdict", strcmp(a->verdict, b->verdict) == 0, what) ||
        differs("number of the model's pads", a->pads_of_model == b->pads_of_model, what) ||
        differs("manifest", strcmp(a->manifest, b->manifest) == 0, what) ||
        differs("tag manifest", strcmp(a->tagmanifest, b->tagmanifest) == 0, what) ||
        differs("link to the bag before", strcmp(a->previous_manifest, b->previous_manifest) == 0,
                what) ||
        differs("key", strcmp(a->key, b->key) == 0, what) ||
        differs("size", a->files == b->files && a->bytes == b->bytes, what) ||
        differs("number of sweeps", a->pads == b->pads, what) ||
        differs("number of set-up values", a->values == b->values, what))
        return false;
    for (int i = 0; i < a->pads; i++) {
        const rg_catalogue_pad *other = pad_of(b, a->pad[i].name);
        if (differs(a->pad[i].name, other && pads_agree(&a->pad[i], other), what))
            return false;
    }
    for (int i = 0; i < a->values; i++) {
        const rg_catalogue_value *other = value_of(b, a->value[i].quantity);
        if (differs(a->value[i].quantity, other && values_agree(&a->value[i], other), what))
            return false;
    }
    return true;
}

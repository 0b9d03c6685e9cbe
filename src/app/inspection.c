/*
 * inspection.c - opening and measuring a sweep folder.
 */
#include "rimglow/inspection.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/report.h"
#include "rimglow/text.h"

/* A folder's name as a name for results: what a safe name may not hold becomes '_', so that
 * two folders "pad G" and "pad A" keep apart. */
static void make_safe(char name[RG_NAME_SIZE], const char *last)
{
    enum { LONGEST = 120 };
    rg_copy_text(name, LONGEST + 1, last);
    for (char *c = name; *c; c++) {
        char one[] = {'x', *c, '\0'};
        if (!rg_is_safe_name(one))
            *c = '_';
    }
    /* A leading '.', '_' or '-', or nothing at all. */
    if (!rg_is_safe_name(name)) {
        char rest[RG_NAME_SIZE];
        rg_copy_text(rest, sizeof rest, name + strspn(name, "._-"));
        snprintf(name, RG_NAME_SIZE, "sweep%s%.*s", rest[0] ? "-" : "", LONGEST - 6, rest);
    }
}

/* The last component of a path, without trailing slashes. */
static rg_code name_folder(rg_inspection *in, const char *folder, rg_error *err)
{
    if (!folder[0])
        return rg_fail(err, RG_NO_INPUT, "the sweep folder's name is empty; give its path");
    if (!rg_copy_text(in->folder, sizeof in->folder, folder))
        return rg_fail(err, RG_NO_INPUT,
                       "%.60s...: the folder's path has %zu bytes, the most is %zu; use a shorter "
                       "one or change into a folder nearer to it",
                       folder, strlen(folder), sizeof in->folder - 1);
    size_t end = strlen(in->folder);
    while (end > 1 && in->folder[end - 1] == '/')
        in->folder[--end] = '\0';
    const char *slash = strrchr(in->folder, '/');
    make_safe(in->name, slash ? slash + 1 : in->folder);
    return RG_OK;
}

/* The given file, or else sweep.ini's: relative to the sweep folder unless absolute. */
static rg_code resolve(char resolved[RG_INPUT_PATH], const char *folder, const char *path,
                       const char *given, rg_error *err)
{
    bool whole = given || path[0] == '/';
    int n = snprintf(resolved, RG_INPUT_PATH, "%s%s%s", whole ? "" : folder, whole ? "" : "/",
                     given ? given : path);
    if (n < 0 || n >= RG_INPUT_PATH)
        return rg_fail(err, RG_NO_INPUT, "%.60s...: the path is too long; use a shorter one",
                       resolved);
    return RG_OK;
}

static rg_code read_text(const char *path, uint8_t **text, size_t *size, rg_digest *digest,
                         rg_error *err)
{
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, text, size, err);
    if (code == RG_OK)
        *digest = rg_digest_of(*text, *size);
    return code;
}

static rg_code read_sweep(rg_inspection *in, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_file_list list = {0};
    char *path = rg_path_join(in->folder, "sweep.ini");
    rg_code code = rg_folder_list(in->folder, &list, err);
    if (code == RG_OK && list.count == 0)
        code = rg_fail(err, RG_NO_INPUT,
                       "%s: the folder is empty; put the frames and a sweep.ini there "
                       "(samples/ shows one)",
                       in->folder);
    if (code == RG_OK)
        code = read_text(path, &text, &size, &in->sweep_digest, err);
    if (code == RG_OK)
        code = rg_sweep_parse(path, (const char *)text, size, &in->sweep, err);
    if (code == RG_OK)
        code = rg_sweep_expand(path, &in->sweep, list.name, list.count, err);
    rg_file_list_free(&list);
    free(text);
    free(path);
    return code;
}

static rg_code read_instrument(rg_inspection *in, const char *given, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    const char *path = in->instrument_file;
    rg_code code = resolve(in->instrument_file, in->folder, in->sweep.instrument_path, given, err);
    if (code == RG_OK)
        code = read_text(path, &text, &size, &in->instrument_digest, err);
    if (code == RG_OK)
        code = rg_instrument_parse(path, (const char *)text, size, &in->instrument, err);
    const rg_pad *pad = code == RG_OK ? rg_instrument_pad(&in->instrument, in->sweep.pad) : NULL;
    if (code == RG_OK && !pad)
        code =
            rg_fail(err, RG_BAD_DATA,
                    "%s/sweep.ini: pad = %s: %s has no [pad %s]; correct the name in one of them",
                    in->folder, in->sweep.pad, path, in->sweep.pad);
    bool crowned = in->sweep.place.source == RG_PLACE_CROWN;
    if (code == RG_OK && crowned && pad->crown.number < 0)
        code = rg_fail(err, RG_BAD_DATA,
                       "%s/sweep.ini: crown = %d, but %s says crown = none for [pad %s]; take the "
                       "sweep with a jig or marks ([place]), or correct one of the files",
                       in->folder, in->sweep.crown_number, path, pad->name);
    if (code == RG_OK && crowned && pad->crown.number != in->sweep.crown_number)
        code =
            rg_fail(err, RG_BAD_DATA,
                    "%s/sweep.ini: crown = %d, but %s says crown = %d for [pad %s]; put the right "
                    "crown on the cup or correct one of the files",
                    in->folder, in->sweep.crown_number, path, pad->crown.number, pad->name);
    free(text);
    return code;
}

static rg_code read_station(rg_inspection *in, const char *given, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    const char *path = in->station_file;
    rg_code code = resolve(in->station_file, in->folder, in->sweep.station_path, given, err);
    if (code == RG_OK)
        code = read_text(path, &text, &size, &in->station_digest, err);
    if (code == RG_OK)
        code = rg_station_parse(path, (const char *)text, size, &in->station, err);
    free(text);
    return code;
}

/* The day of the frames; today's where the sweep does not say. */
static void judge_light(rg_inspection *in, int given_day)
{
    bool stated = in->sweep.taken.present && in->sweep.taken.day >= 0;
    in->judged_day = stated           ? in->sweep.taken.day
                     : given_day >= 0 ? given_day
                                      : (int)(time(NULL) / 86400);
    rg_station_light_fault(&in->station, in->judged_day, stated, in->setup.light_fault);
}

static rg_code match_station(rg_inspection *in, rg_error *err)
{
    char *path = rg_path_join(in->folder, "sweep.ini");
    rg_code code = path ? rg_station_match(&in->station, path, &in->sweep.taken, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    return code;
}

rg_code rg_inspection_open(rg_inspection *inspection, const char *folder, rg_error *err)
{
    const rg_inspection_given nothing = {.judged_day = -1};
    return rg_inspection_open_given(inspection, folder, &nothing, err);
}

rg_code rg_inspection_open_given(rg_inspection *inspection, const char *folder,
                                 const rg_inspection_given *given, rg_error *err)
{
    *inspection = (rg_inspection){0};
    rg_code code = name_folder(inspection, folder, err);
    if (code == RG_OK)
        code = read_sweep(inspection, err);
    if (code == RG_OK)
        code = read_instrument(inspection, given->instrument, err);
    if (code == RG_OK)
        code = read_station(inspection, given->station, err);
    if (code == RG_OK)
        code = match_station(inspection, err);
    if (code == RG_OK) {
        const rg_pad *pad = rg_instrument_pad(&inspection->instrument, inspection->sweep.pad);
        rg_config_setup(&inspection->station, pad, &inspection->setup);
        judge_light(inspection, given->judged_day);
        inspection->setup.place = inspection->sweep.place;
        code = rg_setup_check(&inspection->setup, err);
    }
    if (code == RG_OK) {
        size_t n = (size_t)inspection->sweep.frames;
        inspection->frames = rg_alloc(n, sizeof *inspection->frames);
        inspection->frame_digest = rg_alloc(n, sizeof *inspection->frame_digest);
        if (!inspection->frames || !inspection->frame_digest)
            code = rg_fail(err, RG_INTERNAL, "no memory for %d frames", inspection->sweep.frames);
    }
    if (code != RG_OK)
        rg_inspection_close(inspection);
    return code;
}

void rg_inspection_close(rg_inspection *inspection)
{
    for (int i = 0; inspection->frames && i < inspection->sweep.frames; i++)
        rg_frame_free(&inspection->frames[i]);
    free(inspection->frames);
    free(inspection->frame_digest);
    rg_sweep_free(&inspection->sweep);
    rg_instrument_free(&inspection->instrument);
    *inspection = (rg_inspection){0};
}

/* ---------------------------------------------------------------- frames */

typedef struct taking {
    rg_inspection *in;
    rg_tag_finder **finder; /* one for each worker */
    const rg_progress *progress;
} taking;

static rg_frame_role frame_role(rg_role role)
{
    static const rg_frame_role of[] = {[RG_ROLE_WITNESS] = RG_FRAME_WITNESS,
                                       [RG_ROLE_CLOSED] = RG_FRAME_CLOSED,
                                       [RG_ROLE_DARK] = RG_FRAME_DARK,
                                       [RG_ROLE_OPEN] = RG_FRAME_OPEN};
    return of[role];
}

/* A frame that cannot be read is left out, like one that shows nothing. */
static rg_code take_job(void *context, int job, int worker, rg_error *err)
{
    const taking *t = context;
    const rg_sweep_frame *sf = &t->in->sweep.frame[job];
    rg_frame *frame = &t->in->frames[job];
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_error why = {0};
    char *path = rg_path_join(t->in->folder, sf->file);
    if (!path)
        return rg_fail(err, RG_INTERNAL, "no memory for a file name");
    rg_code code = rg_file_read(path, RG_FILE_MAX_BYTES, &bytes, &size, &why);
    if (code == RG_OK) {
        t->in->frame_digest[job] = rg_digest_of(bytes, size);
        code = rg_frame_take_placed(&t->in->setup, t->finder[worker], bytes, size,
                                    frame_role(sf->role), sf->exposure, &sf->given, frame, err);
    } else if (code != RG_INTERNAL) {
        *frame = (rg_frame){.role = frame_role(sf->role), .exposure = sf->exposure};
        frame->pose.source = t->in->setup.place.source;
        rg_copy_text(frame->reason, sizeof frame->reason, why.text);
        code = RG_OK;
    } else {
        *err = why; /* names the file already */
    }
    if (code != RG_OK && why.code == RG_OK)
        rg_fail_prefix(err, path);
    free(bytes);
    free(path);
    return code;
}

static void taken(void *context, int done, int jobs)
{
    const taking *t = context;
    if (t->progress && t->progress->report)
        t->progress->report(t->progress->context, "frames", done, jobs);
}

static rg_code take_all(rg_inspection *in, int workers, const rg_progress *progress, rg_error *err)
{
    int n = rg_pool_workers(workers, in->sweep.frames);
    taking t = {.in = in, .progress = progress};
    t.finder = rg_alloc((size_t)n, sizeof(rg_tag_finder *));
    rg_code code = t.finder ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %d workers", n);
    for (int i = 0; code == RG_OK && i < n; i++)
        code = rg_tag_finder_new(&t.finder[i], &in->setup.options.tags, err);
    if (code == RG_OK)
        code = rg_pool_run(n, in->sweep.frames, take_job, taken, &t, err);
    for (int i = 0; t.finder && i < n; i++)
        rg_tag_finder_free(t.finder[i]);
    free(t.finder);
    return code;
}

/* No frame could have shown the seal: one reason says it all. */
static void say_heights_only(rg_seal_map *map)
{
    map->reasons = 1;
    rg_copy_text(map->reason[0], sizeof map->reason[0],
                 "the frames show the open key only: the seal was not looked at; for it, take "
                 "closed frames and a witness");
}

rg_code rg_inspection_run(rg_inspection *inspection, int workers, const rg_progress *progress,
                          rg_error *err)
{
    rg_code code = take_all(inspection, workers, progress, err);
    if (code == RG_OK)
        code = rg_sweep_measure(&inspection->setup, inspection->frames, inspection->sweep.frames,
                                &inspection->result, err);
    if (code == RG_OK)
        code = rg_sweep_openings(&inspection->setup, inspection->frames, inspection->sweep.frames,
                                 &inspection->opening, err);
    if (code == RG_OK && rg_inspection_heights_only(inspection))
        say_heights_only(&inspection->result.map);
    return code;
}

bool rg_inspection_heights_only(const rg_inspection *inspection)
{
    bool open = inspection->sweep.frames > 0;
    for (int i = 0; i < inspection->sweep.frames; i++)
        open = open && inspection->sweep.frame[i].role == RG_ROLE_OPEN;
    return open;
}

rg_code rg_inspection_json(const rg_inspection *inspection, char **text, rg_error *err)
{
    static const char *const finger[] = {[RG_FINGER_UNSTATED] = "unstated",
                                         [RG_FINGER_LIGHT] = "light",
                                         [RG_FINGER_FIRM] = "firm",
                                         [RG_FINGER_GRAMS] = "grams"};
    const rg_sweep *s = &inspection->sweep;
    const char **names = rg_alloc((size_t)s->frames * 2 + 1, sizeof *names);
    if (!names)
        return rg_fail(err, RG_INTERNAL, "no memory for the names of %d frames", s->frames);
    rg_report_inputs inputs = {inspection->sweep_digest, inspection->instrument_digest,
                               inspection->station_digest, inspection->frame_digest, ""};
    rg_date_format(inspection->judged_day, inputs.judged);
    const char **roles = names + s->frames;
    for (int i = 0; i < s->frames; i++) {
        names[i] = s->frame[i].file;
        roles[i] = rg_role_name(s->frame[i].role);
    }
    char light_date[RG_DATE_TEXT];
    rg_date_format(inspection->station.light.day, light_date);
    rg_report report = {.serial = s->serial,
                        .key = s->key,
                        .instrument = inspection->instrument.name,
                        .pad = s->pad,
                        .station = inspection->station.name,
                        .folder = inspection->name,
                        .finger = finger[s->finger],
                        .finger_grams = s->finger_grams,
                        .light_date = inspection->station.light.day < 0 ? NULL : light_date,
                        .setup = &inspection->setup,
                        .result = &inspection->result,
                        .frames = inspection->frames,
                        .files = names,
                        .roles = roles,
                        .count = s->frames,
                        .opening = &inspection->opening,
                        .opening_target_mm =
                            rg_instrument_pad(&inspection->instrument, s->pad)->opening_mm,
                        .inputs = &inputs};
    rg_code code = rg_report_seal_map(&report, text, err);
    free(names);
    return code;
}

/*
 * bench_calibrate.c - the calibrations at the bench: lens and light, in place of the pads for a while.
 */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#include "bench_lens.h"
#include "bench_light.h"
#include "bench_photos.h"
#include "bench_private.h"
#include "rimglow/date.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

typedef struct rg_bench_calibration {
    rg_bench_lens *lens; /* NULL: the light is calibrated */
    bool recorded;       /* pictures of a folder stand in for the camera */
    uint64_t version;    /* of the lens, told last */

    char pad[RG_NAME_SIZE]; /* of the light: */
    rg_wedge wedge;
    char folder[RG_PLACE_SIZE]; /* of the sweep */
    rg_bench_light *light;      /* NULL while the sweep is taken */
    rg_bench_light_state fitted;

    bool written;
    int remarks;
    char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK];
} calibration;

/* ---------------------------------------------------------------- the body */

static const char *text_of(const json_t *body, const char *key)
{
    const char *text = json_string_value(json_object_get(body, key));
    return text ? text : "";
}

static rg_code number_of(const json_t *body, const char *key, double *value, rg_error *err)
{
    const json_t *n = json_object_get(body, key);
    if (!json_is_number(n))
        return rg_fail(err, RG_USAGE, "%s: a number is needed", key);
    *value = json_number_value(n);
    return RG_OK;
}

/* ---------------------------------------------------------------- begin, leave */

/* The sweep over the feeler ends as it is; its frames stay. */
static void end_light(rg_bench *b, calibration *c)
{
    char folder[RG_PLACE_SIZE];
    rg_live_state state = {0};
    rg_error err;
    if (!c->lens && b->live) {
        if (rg_live_end(b->live, folder, &state, &err) != RG_OK)
            fprintf(stderr, "rimglow: %s\n", err.text);
        rg_live_free(b->live);
        b->live = NULL;
    }
    b->role = RG_BENCH_NONE;
    rg_bench_light_close(c->light, &state);
    rg_bench_account_sweep(b, &state);
    c->light = NULL;
    c->fitted = (rg_bench_light_state){0};
}

static void drop(rg_bench *b)
{
    calibration *c = b->calibration;
    if (!c)
        return;
    end_light(b, c);
    rg_bench_lens_close(c->lens);
    free(c);
    b->calibration = NULL;
    b->state = (rg_live_state){0};
}

void rg_bench_calibration_end(rg_bench *b)
{
    drop(b);
}

/* Back to the pads; a camera that is not there is looked for as always. */
static void leave(rg_bench *b)
{
    rg_error err;
    drop(b);
    if (rg_bench_open_source(b, &err) != RG_OK)
        rg_copy_text(b->source_note, sizeof b->source_note, err.text);
}

/* Whatever was calibrated before makes room. */
static rg_code make_room(rg_bench *b, rg_error *err)
{
    if (!b->calibration && b->live)
        return rg_fail(err, RG_USAGE,
                       "a sweep of pad %.60s is being taken; go on to the next pad first",
                       b->pads[b->at].pad->name);
    drop(b);
    b->state = (rg_live_state){0}; /* of a sweep that was ended */
    b->calibration = rg_alloc(1, sizeof *b->calibration);
    if (!b->calibration)
        return rg_fail(err, RG_INTERNAL, "no memory to calibrate");
    return RG_OK;
}

static rg_code begin_lens(rg_bench *b, const json_t *body, rg_error *err)
{
    char out[RG_PLACE_SIZE];
    const char *board = text_of(body, "board");
    rg_bench_lens_options o = {.board_file = board[0] ? board : b->options.board_file,
                               .out = out,
                               .rough = b->station.lens,
                               .recorded = b->options.replays > 0};
    snprintf(out, sizeof out, "%.1200s/calibration", b->options.out);
    rg_code code = make_room(b, err);
    if (code == RG_OK)
        code = rg_bench_lens_open(&o, &b->calibration->lens, err);
    if (code == RG_OK) {
        b->calibration->recorded = o.recorded;
        if (json_is_false(json_object_get(body, "automatic")))
            rg_bench_lens_automatic(b->calibration->lens, false);
        code = rg_bench_open_source(b, err);
    }
    if (code != RG_OK && b->calibration)
        leave(b);
    return code;
}

/* OUT/calibration/SERIAL/light-DATE, with -2, -3... where that one is there. */
static rg_code name_light(const rg_bench *b, char name[RG_NAME_SIZE], rg_error *err)
{
    char date[RG_DATE_TEXT], path[RG_INPUT_PATH];
    struct stat st;
    rg_date_format((int)(time(NULL) / 86400), date);
    for (int i = 1; i < 1000; i++) {
        if (i == 1)
            snprintf(name, RG_NAME_SIZE, "light-%s", date);
        else
            snprintf(name, RG_NAME_SIZE, "light-%s-%d", date, i);
        snprintf(path, sizeof path, "%.1000s/calibration/%.120s/%s", b->options.out,
                 b->options.serial, name);
        if (stat(path, &st) != 0)
            return RG_OK;
    }
    return rg_fail(err, RG_CANT_CREATE, "%s: there are too many of this day", path);
}

static rg_code begin_sweep(rg_bench *b, rg_error *err)
{
    calibration *c = b->calibration;
    char name[RG_NAME_SIZE], out[RG_PLACE_SIZE];
    rg_taken taken;
    rg_code code = name_light(b, name, err);
    snprintf(out, sizeof out, "%.1000s/calibration", b->options.out);
    if (code == RG_OK)
        code = rg_bench_open_source(b, err);
    if (code == RG_OK && !b->source)
        code = rg_fail(err, RG_USAGE, "there are no frames: %.200s",
                       b->source_note[0] ? b->source_note : "no camera");
    if (code != RG_OK)
        return code;
    rg_source_taken(b->source, &taken);
    const rg_live_job job = {.out = out,
                             .serial = b->options.serial,
                             .pad = c->pad,
                             .name = name,
                             .instrument_file = b->options.instrument_file,
                             .station_file = b->options.station_file,
                             .finger = RG_FINGER_UNSTATED,
                             .workers = b->options.workers,
                             .settings_file = b->options.settings_file,
                             .taken = &taken,
                             .wedge = &c->wedge};
    code = rg_live_begin(&job, &b->live, err);
    if (code == RG_OK) {
        rg_copy_text(c->folder, sizeof c->folder, rg_live_folder(b->live));
        rg_live_look(b->live, &b->state);
    }
    return code;
}

static rg_code read_feeler(const json_t *body, rg_wedge *w, rg_error *err)
{
    w->present = true;
    rg_code code = number_of(body, "feeler_mm", &w->feeler_mm, err);
    if (code == RG_OK)
        code = number_of(body, "feeler_u_mm", &w->feeler_u_mm, err);
    if (code == RG_OK)
        code = number_of(body, "bearing_deg", &w->bearing_deg, err);
    return code == RG_OK ? number_of(body, "width_mm", &w->width_mm, err) : code;
}

static rg_code begin_light(rg_bench *b, const json_t *body, rg_error *err)
{
    const char *pad = text_of(body, "pad");
    rg_wedge wedge = {0};
    rg_code code = read_feeler(body, &wedge, err);
    if (code == RG_OK)
        code = make_room(b, err);
    if (code != RG_OK)
        return code;
    calibration *c = b->calibration;
    c->wedge = wedge;
    c->recorded = b->options.replays > 0;
    rg_copy_text(c->pad, sizeof c->pad,
                 pad[0]            ? pad
                 : b->wedge_pad[0] ? b->wedge_pad
                                   : b->pads[b->at].pad->name);
    code = begin_sweep(b, err);
    if (code != RG_OK)
        leave(b);
    return code;
}

/* ---------------------------------------------------------------- lens */

static rg_code of_lens(const rg_bench *b, rg_error *err)
{
    return b->calibration && b->calibration->lens
               ? RG_OK
               : rg_fail(err, RG_USAGE, "the lens is not being calibrated");
}

static rg_code skip(rg_bench *b, rg_error *err)
{
    if (!b->source || !b->options.replays)
        return rg_fail(err, RG_USAGE, "only a recorded photograph can be passed over");
    rg_source_photos_next(b->source);
    return RG_OK;
}

/* *known: word is one of the lens. */
static rg_code of_the_lens(rg_bench *b, const char *word, const json_t *body, bool *known,
                           rg_error *err)
{
    static const char *const words[] = {"take", "automatic", "back", "skip"};
    int which = -1;
    for (int i = 0; i < 4; i++)
        if (strcmp(word, words[i]) == 0)
            which = i;
    *known = which >= 0;
    if (which < 0)
        return RG_OK;
    rg_code code = of_lens(b, err);
    if (code != RG_OK)
        return code;
    rg_bench_lens *lens = b->calibration->lens;
    b->calibration->written = b->calibration->written && which != 2;
    if (which == 0)
        rg_bench_lens_take(lens);
    else if (which == 1)
        rg_bench_lens_automatic(lens, json_is_true(json_object_get(body, "on")));
    else
        code = which == 2 ? rg_bench_lens_back(lens, err) : skip(b, err);
    return code;
}

/* ---------------------------------------------------------------- light */

static rg_code of_light(const rg_bench *b, rg_error *err)
{
    return b->calibration && !b->calibration->lens
               ? RG_OK
               : rg_fail(err, RG_USAGE, "the light is not being calibrated");
}

static rg_code fit(rg_bench *b, rg_error *err)
{
    rg_code code = of_light(b, err);
    if (code == RG_OK && !b->live)
        code = rg_fail(err, RG_USAGE, "this sweep has been fitted; sweep again");
    if (code == RG_OK && b->state.closed == 0)
        code = rg_fail(err, RG_USAGE, "no closed frame was kept yet: sweep over the feeler first");
    if (code == RG_OK && !b->state.coverage.witness)
        code = rg_fail(err, RG_USAGE, "the lamp is not proven yet: a witness frame is needed");
    if (code == RG_OK)
        code = rg_bench_light_start(b->live, b->options.workers, &b->calibration->light, err);
    if (code != RG_OK)
        return code;
    b->live = NULL; /* it is the fit's now */
    b->role = RG_BENCH_NONE;
    return RG_OK;
}

static rg_code sweep_again(rg_bench *b, rg_error *err)
{
    rg_code code = of_light(b, err);
    if (code != RG_OK)
        return code;
    b->calibration->written = false;
    end_light(b, b->calibration);
    code = begin_sweep(b, err);
    if (code != RG_OK)
        leave(b);
    return code;
}

/* ---------------------------------------------------------------- write */

/* Pictures of the new size, lens and light count from here on. */
static rg_code read_station_again(rg_bench *b, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size;
    const char *path = b->options.station_file;
    rg_station station;
    rg_code code = rg_file_read(path, RG_CONFIG_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_station_parse(path, (const char *)text, size, &station, err);
    if (code == RG_OK)
        b->station = station;
    free(text);
    return code;
}

static rg_code write_light(rg_bench *b, rg_error *err)
{
    calibration *c = b->calibration;
    const char *file = b->options.station_file;
    if (!c->light || !c->fitted.done)
        return rg_fail(err, RG_USAGE, "%s was not written: the sweep has not been fitted yet",
                       file);
    rg_code code = rg_bench_light_write(c->light, file, err);
    if (code == RG_OK)
        snprintf(c->remark[0], sizeof c->remark[0], "%.300s has the new values", file);
    c->remarks = code == RG_OK;
    return code;
}

static rg_code write_station(rg_bench *b, const json_t *body, rg_error *err)
{
    calibration *c = b->calibration;
    const char *file = b->options.station_file;
    if (!c)
        return rg_fail(err, RG_USAGE, "nothing is being calibrated");
    if (strcmp(text_of(body, "station"), file) != 0)
        return rg_fail(err, RG_USAGE, "\"station\": say once more which file is to be changed, %s",
                       file);
    rg_code code = c->lens ? rg_bench_lens_write(c->lens, file, c->remark, &c->remarks, err)
                           : write_light(b, err);
    if (code == RG_OK)
        code = read_station_again(b, err);
    c->written = code == RG_OK;
    return code;
}

/* ---------------------------------------------------------------- wishes */

static rg_code grant(rg_bench *b, const json_t *body, rg_error *err)
{
    const char *word = text_of(body, "do");
    bool lens;
    rg_code code = of_the_lens(b, word, body, &lens, err);
    if (lens)
        return code;
    if (strcmp(word, "lens") == 0)
        return begin_lens(b, body, err);
    if (strcmp(word, "light") == 0)
        return begin_light(b, body, err);
    if (strcmp(word, "leave") == 0) {
        if (b->calibration)
            leave(b);
        return RG_OK;
    }
    if (strcmp(word, "fit") == 0)
        return fit(b, err);
    if (strcmp(word, "again") == 0)
        return sweep_again(b, err);
    if (strcmp(word, "write") == 0)
        return write_station(b, body, err);
    return rg_fail(err, RG_USAGE,
                   "do: lens, light, leave, take, automatic, back, skip, fit, again or write");
}

rg_code rg_bench_calibrate(rg_bench *b, const char *text, rg_error *err)
{
    json_t *body = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    rg_code code =
        body ? grant(b, body, err) : rg_fail(err, RG_USAGE, "the wish must be a JSON object");
    json_decref(body);
    return code;
}

bool rg_bench_calibration_allows(const rg_bench *b, rg_bench_wish_kind kind, rg_error *err)
{
    bool sweeping = !b->calibration->lens && b->live;
    if (kind == RG_WISH_CALIBRATE || kind == RG_WISH_TECHNICIAN || kind == RG_WISH_OCCASION ||
        (kind == RG_WISH_ROLE && sweeping))
        return true;
    rg_fail(err, RG_USAGE, "the %s is being calibrated; end that first",
            b->calibration->lens ? "lens" : "light");
    return false;
}

/* ---------------------------------------------------------------- frames */

rg_code rg_bench_calibration_replay(rg_bench *b, rg_error *err)
{
    bool lens = b->calibration->lens != NULL;
    const char *folder = lens ? b->photos : b->wedge_folder;
    if (!folder[0]) {
        rg_copy_text(b->source_note, sizeof b->source_note,
                     lens ? "no recorded photographs of the board"
                          : "no recorded sweep over a feeler");
        return RG_OK;
    }
    return lens ? rg_source_photos(folder, b->options.rate, &b->source, err)
                : rg_source_replay(folder, b->options.rate, false, &b->source, err);
}

bool rg_bench_calibration_takes(rg_bench *b, const rg_source_frame *frame)
{
    calibration *c = b->calibration;
    if (!c || !c->lens)
        return false;
    rg_bench_lens_offer(c->lens, frame, c->recorded ? rg_source_photos_at(b->source) : -1);
    return true;
}

static void step_lens(rg_bench *b, calibration *c)
{
    uint64_t version = rg_bench_lens_version(c->lens);
    if (version != c->version)
        b->changed = true;
    c->version = version;
    if (c->recorded && b->source && rg_bench_lens_passed(c->lens, rg_source_photos_at(b->source)))
        rg_source_photos_next(b->source);
}

static void keep_picture(rg_bench *b, rg_bench_light *light)
{
    rg_bytes picture = rg_bench_light_picture(light);
    pthread_mutex_lock(&b->lock);
    free(b->response.data);
    b->response = picture;
    pthread_mutex_unlock(&b->lock);
}

void rg_bench_calibration_step(rg_bench *b)
{
    calibration *c = b->calibration;
    if (!c)
        return;
    if (c->lens)
        step_lens(b, c);
    else if (c->light && !c->fitted.done) {
        rg_bench_light_look(c->light, &c->fitted);
        if (!c->fitted.done)
            return;
        keep_picture(b, c->light);
        b->changed = true;
    }
}

rg_code rg_bench_response(rg_bench *b, uint8_t **svg, size_t *size, rg_error *err)
{
    rg_code code = RG_OK;
    pthread_mutex_lock(&b->lock);
    *size = b->response.size;
    *svg = b->response.data ? malloc(*size + 1) : NULL;
    if (*svg)
        memcpy(*svg, b->response.data, *size);
    else if (b->response.data)
        code = rg_fail(err, RG_INTERNAL, "no memory for the picture");
    pthread_mutex_unlock(&b->lock);
    return code;
}

/* ---------------------------------------------------------------- state */

static json_t *light_json(const rg_bench *b, const calibration *c)
{
    const rg_bench_light_state *f = &c->fitted;
    json_t *result = f->json ? json_loads(f->json, 0, NULL) : NULL;
    const char *stage = b->live ? "sweep" : f->done ? "done" : "fit";
    json_object_del(result, "bins"); /* the picture shows them */
    return json_pack("{s:o, s:o, s:f, s:f, s:f, s:f, s:s, s:o, s:o, s:o}", "pad",
                     rg_bench_words(c->pad), "folder", rg_bench_words(c->folder), "feeler_mm",
                     c->wedge.feeler_mm, "feeler_u_mm", c->wedge.feeler_u_mm, "bearing_deg",
                     c->wedge.bearing_deg, "width_mm", c->wedge.width_mm, "stage", stage, "fault",
                     f->fault ? rg_bench_words(f->fault) : json_null(), "error",
                     f->done && f->code != RG_OK ? rg_bench_words(f->err.text) : json_null(),
                     "result", result ? result : json_null());
}

static json_t *recorded_json(const rg_bench *b)
{
    const rg_wedge *w = &b->wedge;
    json_t *wedge =
        b->wedge_folder[0]
            ? json_pack("{s:o, s:f, s:f, s:f, s:f}", "pad", rg_bench_words(b->wedge_pad),
                        "feeler_mm", w->feeler_mm, "feeler_u_mm", w->feeler_u_mm, "bearing_deg",
                        w->bearing_deg, "width_mm", w->width_mm)
            : json_null();
    return json_pack("{s:b, s:o}", "photographs", b->photos[0] != 0, "wedge", wedge);
}

static json_t *remarks_json(const calibration *c)
{
    json_t *list = json_array();
    for (int i = 0; i < c->remarks && c->written; i++)
        json_array_append_new(list, rg_bench_words(c->remark[i]));
    return list;
}

json_t *rg_bench_calibration_json(const rg_bench *b)
{
    const calibration *c = b->calibration;
    if (!c)
        return json_pack("{s:n, s:o, s:o}", "kind", "station",
                         rg_bench_words(b->options.station_file), "recorded", recorded_json(b));
    return json_pack("{s:s, s:o, s:o, s:b, s:o, s:o, s:o}", "kind", c->lens ? "lens" : "light",
                     "station", rg_bench_words(b->options.station_file), "recorded",
                     recorded_json(b), "written", c->written, "remarks", remarks_json(c), "lens",
                     c->lens ? rg_bench_lens_json(c->lens) : json_null(), "light",
                     c->lens ? json_null() : light_json(b, c));
}

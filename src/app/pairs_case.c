/*
 * pairs_case.c - one case: measured again from its bag, and drawn without what is private (pairs.h).
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pairs_private.h"
#include "rimglow/decode.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/synth.h"
#include "rimglow/text.h"

/* ---------------------------------------------------------------- measuring again */

static rg_code open_sweep(const rg_archive *archive, const rg_pairs_sweep *s, rg_inspection *in,
                          rg_error *err)
{
    char folder[RG_ARCHIVE_PATH], instrument[RG_ARCHIVE_PATH], station[RG_ARCHIVE_PATH];
    char inside[RG_RECORD_NAME + 32];
    const rg_inspection_given given = {instrument, station, s->sweep->judged_day};
    snprintf(inside, sizeof inside, "data/sweeps/%s", s->sweep->name);
    rg_code code = rg_archive_path(archive, s->bag.bag, inside, folder, err);
    if (code == RG_OK)
        code = rg_archive_path(archive, s->bag.bag, s->sweep->instrument_file, instrument, err);
    if (code == RG_OK)
        code = rg_archive_path(archive, s->bag.bag, s->sweep->station_file, station, err);
    return code == RG_OK ? rg_inspection_open_given(in, folder, &given, err) : code;
}

static rg_code fits(const rg_pairs_sweep *s, const char *file, const rg_digest *digest,
                    rg_error *err)
{
    char inside[2 * RG_RECORD_NAME + 32];
    snprintf(inside, sizeof inside, "data/sweeps/%s/%s", s->sweep->name, file);
    return rg_sealed_fits(&s->bag, inside, digest, err);
}

/* What was measured is what was sealed: the digests are of the very bytes. */
static rg_code check_measured(const rg_pairs_sweep *s, const rg_inspection *in, rg_error *err)
{
    const rg_digest unread = {{0}}; /* could not be read when it was archived either */
    rg_code code = fits(s, "sweep.ini", &in->sweep_digest, err);
    if (code == RG_OK)
        code = rg_sealed_fits(&s->bag, s->sweep->instrument_file, &in->instrument_digest, err);
    if (code == RG_OK)
        code = rg_sealed_fits(&s->bag, s->sweep->station_file, &in->station_digest, err);
    for (int i = 0; code == RG_OK && i < in->sweep.frames; i++)
        if (!rg_digest_equal(&in->frame_digest[i], &unread))
            code = fits(s, in->sweep.frame[i].file, &in->frame_digest[i], err);
    return code;
}

/* The map's own words for its verdict, as today's program finds them, without dates and names. */
static void take_reasons(const rg_pairs_sweep *s, const rg_seal_map *now, rg_seal_map *map)
{
    map->reasons = 0;
    bool same = now->verdict == map->verdict;
    for (int i = 0; same && i < now->reasons; i++)
        rg_copy_text(map->reason[map->reasons++], RG_REASON_SIZE,
                     rg_pairs_is_private(s, now->reason[i])
                         ? "a reason that quotes a date or a name is left out here"
                         : now->reason[i]);
    if (!same)
        rg_copy_text(map->reason[map->reasons++], RG_REASON_SIZE,
                     "measured by another version of the program: its reasons are not given here");
}

static rg_code measure(const rg_pairs *pairs, const rg_archive *archive, const rg_pairs_sweep *s,
                       rg_pair *pair, rg_error *err)
{
    rg_inspection *in = &pair->inspection;
    rg_code code = open_sweep(archive, s, in, err);
    if (code != RG_OK)
        return code;
    if (in->setup.light_fault[0]) /* the sentence states dates */
        rg_copy_text(in->setup.light_fault, sizeof in->setup.light_fault,
                     "the light's calibration did not hold on the day of the frames");
    code = rg_inspection_run(in, pairs->workers, NULL, err);
    if (code == RG_OK)
        code = check_measured(s, in, err);
    if (code == RG_OK)
        take_reasons(s, &in->result.map, &pair->map);
    return code;
}

/* ---------------------------------------------------------------- photographs */

static rg_code cut_photo(const rg_pairs *pairs, const rg_pairs_sweep *s, rg_pair *pair, int which,
                         rg_error *err)
{
    const rg_inspection *in = &pair->inspection;
    const int frame = pair->view[which].frame;
    char inside[2 * RG_RECORD_NAME + 32];
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_image whole = {0};
    snprintf(inside, sizeof inside, "data/sweeps/%s/%s", s->sweep->name,
             in->sweep.frame[frame].file);
    rg_code code = rg_sealed_read(&s->bag, inside, RG_FILE_MAX_BYTES, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_decode(bytes, size, &whole, err);
    free(bytes);
    if (code == RG_OK && !rg_pairs_cut_of(&in->setup, &in->frames[frame], &pairs->settings,
                                          whole.width, whole.height, &pair->cut[which]))
        code = rg_fail(err, RG_USAGE, "cup and rim are not in the photograph: no case");
    if (code == RG_OK)
        code = rg_pairs_cut_image(&whole, &pair->cut[which], &pair->photo[which], err);
    rg_image_free(&whole);
    return code;
}

static rg_code make(rg_pairs *pairs, const rg_archive *archive, const rg_pairs_sweep *s,
                    const rg_pairs_round *round, rg_pair *pair, rg_error *err)
{
    int v = round ? RG_PAIRS_VIEWS : 0;
    pair->truth = s->truth;
    pair->map = s->file.map;
    pair->quality = pairs->settings.quality;
    rg_code code = measure(pairs, archive, s, pair, err);
    if (code != RG_OK)
        return code;
    rg_pairs_choose(&pair->inspection, &pair->truth, pairs->settings.look_deg, pair->view);
    if (!pair->view[RG_PAIRS_IN].there)
        return rg_fail(err, RG_USAGE,
                       "no frame of this sweep shows light where the archived map has its widest "
                       "gap: no case");
    if (round)
        pair->looks =
            rg_pairs_choose_round(&pair->inspection, &pair->truth, pairs->settings.look_deg, round,
                                  pair->view + RG_PAIRS_VIEWS, &pair->facing);
    for (; code == RG_OK && v < RG_PAIRS_VIEWS + pair->looks; v++)
        if (pair->view[v].there)
            code = cut_photo(pairs, s, pair, v, err);
    return code;
}

rg_code rg_pairs_measure(rg_pairs *pairs, const rg_archive *archive, const char *bag,
                         const char *name, const rg_pairs_round *round, rg_pair **pair,
                         rg_error *err)
{
    rg_pairs_sweep *s;
    *pair = NULL;
    rg_code code = rg_pairs_sweep_open(pairs, archive, bag, name, &s, err);
    if (code != RG_OK)
        return code;
    rg_pair *p = rg_alloc(1, sizeof *p);
    code = p ? make(pairs, archive, s, round, p, err)
             : rg_fail(err, RG_INTERNAL, "no memory for a case");
    rg_pairs_sweep_close(s);
    if (code == RG_OK)
        *pair = p;
    else
        rg_pair_free(p);
    return code;
}

void rg_pair_free(rg_pair *pair)
{
    if (!pair)
        return;
    for (int v = 0; v < RG_PAIRS_SLOTS; v++)
        rg_image_free(&pair->photo[v]);
    rg_inspection_close(&pair->inspection);
    free(pair);
}

/* ---------------------------------------------------------------- what is told */

const rg_pairs_truth *rg_pair_truth(const rg_pair *pair)
{
    return &pair->truth;
}

const rg_seal_map *rg_pair_map(const rg_pair *pair)
{
    return &pair->map;
}

const rg_pairs_view *rg_pair_view(const rg_pair *pair, int which)
{
    return &pair->view[which];
}

static bool on_cut(const rg_pair *pair, int which, rg_vec2 *pixel)
{
    const rg_pairs_cut *c = &pair->cut[which];
    pixel->x -= c->x0;
    pixel->y -= c->y0;
    return pixel->x >= -0.5 && pixel->y >= -0.5 && pixel->x < c->width - 0.5 &&
           pixel->y < c->height - 0.5;
}

bool rg_pair_point(const rg_pair *pair, int which, rg_vec2 *pixel)
{
    const rg_pairs_view *v = &pair->view[which];
    const rg_inspection *in = &pair->inspection;
    if (!v->there || !pair->truth.gap)
        return false;
    const rg_frame *f = &in->frames[v->frame];
    double b = pair->truth.widest_deg;
    double z = rg_rim_plane_height(&in->result.plane, b) + f->shift_mm;
    rg_rim_view look =
        rg_rim_look(&in->setup.lens, &f->pose.pose, in->setup.rim.outer_diameter_mm / 2, z, b);
    *pixel = look.pixel;
    return look.in_front && on_cut(pair, which, pixel);
}

bool rg_pair_middle(const rg_pair *pair, int which, rg_vec2 *pixel)
{
    const rg_pairs_view *v = &pair->view[which];
    if (!v->there)
        return false;
    const rg_inspection *in = &pair->inspection;
    const rg_vec3 middle = {0, 0, 0};
    return rg_lens_project(&in->setup.lens, rg_pose_apply(&in->frames[v->frame].pose.pose, middle),
                           pixel) &&
           on_cut(pair, which, pixel);
}

/* ---------------------------------------------------------------- pictures */

static rg_code draw_photo(const rg_pair *pair, int view, rg_bytes *out, rg_error *err)
{
    return rg_synth_jpeg(&pair->photo[view], pair->quality, &out->data, &out->size, err);
}

/* The overlay on the cut photograph: the same lens, its centre moved with the cut. */
static rg_code draw_overlay(const rg_pair *pair, int view, bool light, rg_picture_format format,
                            rg_bytes *out, rg_error *err)
{
    static const char *const word[RG_PAIRS_VIEWS] = {"in view", "out of view"};
    const rg_pairs_cut *c = &pair->cut[view];
    const rg_inspection *in = &pair->inspection;
    rg_setup setup = in->setup;
    rg_frame frame = in->frames[pair->view[view].frame]; /* borrows its strip and light */
    char title[64];
    setup.lens.cx -= c->x0;
    setup.lens.cy -= c->y0;
    for (int i = 0; i < frame.pose.points && i < RG_PLACE_POINTS; i++) {
        frame.pose.point[i].pixel.x -= c->x0;
        frame.pose.point[i].pixel.y -= c->y0;
    }
    frame.reason[0] = 0;
    if (!light)
        frame.light = (rg_rimlight){0};
    if (light)
        snprintf(title, sizeof title, "case %s%s%s", pair->truth.name,
                 pair->truth.gap ? ", gap " : "", pair->truth.gap ? word[view] : "");
    else /* by its name somebody could ask for the map */
        snprintf(title, sizeof title, "bearings");
    const rg_draw_overlay_args args = {.image = &pair->photo[view],
                                       .setup = &setup,
                                       .frame = &frame,
                                       .plane = &in->result.plane,
                                       .file = title};
    return rg_draw_overlay(&args, format, out, err);
}

static rg_code draw_ring(const rg_pair *pair, rg_picture_format format, rg_bytes *out,
                         rg_error *err)
{
    char title[32];
    snprintf(title, sizeof title, "case %s", pair->truth.name);
    const rg_draw_ring_args args = {.map = &pair->map,
                                    .serial = title,
                                    .pad = pair->truth.pad,
                                    .tolerance_mm = pair->truth.tolerance_mm,
                                    .coverage_factor = pair->truth.coverage_factor};
    return rg_draw_ring(&args, format, out, err);
}

typedef char frame_label[32];

/* Used closed frames alone: what the others say of themselves quotes files. */
static int gather(const rg_pair *pair, rg_frame *frame, frame_label *label, const char **name)
{
    const rg_inspection *in = &pair->inspection;
    int n = 0;
    for (int i = 0; i < in->sweep.frames; i++) {
        const rg_frame *f = &in->frames[i];
        if (!f->used || f->role != RG_FRAME_CLOSED)
            continue;
        const char *which = i == pair->view[RG_PAIRS_IN].frame    ? ": in view"
                            : i == pair->view[RG_PAIRS_OUT].frame ? ": out of view"
                                                                  : "";
        frame[n] = *f;
        frame[n].reason[0] = 0;
        snprintf(label[n], sizeof label[n], "frame %d%s", n + 1, pair->truth.gap ? which : "");
        name[n] = label[n];
        n++;
    }
    return n;
}

static rg_code draw_strip(const rg_pair *pair, rg_picture_format format, rg_bytes *out,
                          rg_error *err)
{
    size_t frames = (size_t)pair->inspection.sweep.frames;
    char title[32];
    rg_frame *frame = rg_alloc(frames, sizeof *frame);
    frame_label *label = rg_alloc(frames, sizeof *label);
    const char **name = rg_alloc(frames, sizeof *name);
    rg_code code =
        frame && label && name ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for the strips");
    if (code == RG_OK) {
        snprintf(title, sizeof title, "case %s", pair->truth.name);
        const rg_draw_strip_args args = {.frames = frame,
                                         .files = name,
                                         .count = gather(pair, frame, label, name),
                                         .plane = &pair->inspection.result.plane,
                                         .serial = title,
                                         .pad = pair->truth.pad};
        code = rg_draw_strip(&args, format, out, err);
    }
    free(frame);
    free(label);
    free(name);
    return code;
}

rg_code rg_pair_draw(const rg_pair *pair, rg_pair_picture picture, int view,
                     rg_picture_format format, rg_bytes *out, rg_error *err)
{
    *out = (rg_bytes){0};
    if (picture == RG_PAIR_RING)
        return draw_ring(pair, format, out, err);
    if (picture == RG_PAIR_STRIP)
        return draw_strip(pair, format, out, err);
    const int views = picture == RG_PAIR_MARKED ? RG_PAIRS_VIEWS : RG_PAIRS_SLOTS;
    if (view < 0 || view >= views || !pair->photo[view].data)
        return rg_fail(err, RG_NO_INPUT, "case %s has no such frame", pair->truth.name);
    if (picture == RG_PAIR_PHOTO)
        return draw_photo(pair, view, out, err);
    return draw_overlay(pair, view, picture == RG_PAIR_MARKED, format, out, err);
}

/* ---------------------------------------------------------------- for the quiz */

static rg_code fill(const rg_pair *pair, rg_pairs_case *c, rg_error *err)
{
    *c = (rg_pairs_case){.truth = pair->truth,
                         .map = pair->map,
                         .view = pair->view[RG_PAIRS_IN],
                         .whose = rg_pairs_whose_truth};
    rg_code code = rg_pair_draw(pair, RG_PAIR_PHOTO, RG_PAIRS_IN, RG_PICTURE_PNG, &c->photo, err);
    if (code == RG_OK)
        code = rg_pair_draw(pair, RG_PAIR_SCALE, RG_PAIRS_IN, RG_PICTURE_PNG, &c->scale, err);
    if (code != RG_OK)
        rg_pairs_case_free(c);
    return code;
}

rg_code rg_pairs_take(rg_pairs *pairs, int number, rg_pairs_case *c, rg_error *err)
{
    rg_pair *pair;
    *c = (rg_pairs_case){0};
    rg_code code = rg_pair_open_at(pairs, number, &pair, err);
    if (code == RG_OK)
        code = fill(pair, c, err);
    rg_pair_free(pair);
    return code;
}

rg_code rg_pairs_take_named(rg_pairs *pairs, const char *name, rg_pairs_case *c, rg_error *err)
{
    rg_pair *pair;
    *c = (rg_pairs_case){0};
    rg_code code = rg_pair_open(pairs, name, &pair, err);
    if (code == RG_OK)
        code = fill(pair, c, err);
    rg_pair_free(pair);
    return code;
}

static rg_code fill_look(const rg_pair *pair, int slot, rg_pairs_look *look, rg_error *err)
{
    const rg_pairs_view *v = &pair->view[slot];
    look->bearing_deg = v->bearing_deg;
    look->elevation_deg = v->elevation_deg;
    rg_code code = rg_pair_draw(pair, RG_PAIR_PHOTO, slot, RG_PICTURE_PNG, &look->photo, err);
    return code == RG_OK
               ? rg_pair_draw(pair, RG_PAIR_SCALE, slot, RG_PICTURE_PNG, &look->scale, err)
               : code;
}

rg_code rg_pairs_take_round(rg_pairs *pairs, int number, const rg_pairs_round *round,
                            rg_pairs_case *c, rg_error *err)
{
    rg_pair *pair;
    *c = (rg_pairs_case){0};
    rg_code code = rg_pairs_measure_at(pairs, number, round, &pair, err);
    if (code != RG_OK)
        return code;
    *c = (rg_pairs_case){.truth = pair->truth,
                         .map = pair->map,
                         .view = pair->view[RG_PAIRS_VIEWS + pair->facing],
                         .looks = pair->looks,
                         .facing = pair->facing,
                         .whose = rg_pairs_whose_truth};
    for (int i = 0; code == RG_OK && i < pair->looks; i++)
        code = fill_look(pair, RG_PAIRS_VIEWS + i, &c->look[i], err);
    if (code != RG_OK)
        rg_pairs_case_free(c);
    rg_pair_free(pair);
    return code;
}

void rg_pairs_case_free(rg_pairs_case *c)
{
    for (int i = 0; i < RG_PAIRS_ROUND; i++) {
        free(c->look[i].photo.data);
        free(c->look[i].scale.data);
    }
    free(c->photo.data);
    free(c->scale.data);
    *c = (rg_pairs_case){0};
}

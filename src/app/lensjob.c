/*
 * lensjob.c - photographs or corners to a lens, and where that is written.
 */
#include "rimglow/lensjob.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/calib_file.h"
#include "rimglow/config_edit.h"
#include "rimglow/decode.h"
#include "rimglow/draw_lens.h"
#include "rimglow/file.h"
#include "rimglow/memory.h"
#include "rimglow/text.h"

/* JPEG's own luma (ITU-T T.871): the sharpest picture a JPEG holds. */
static const double luma_weights[3] = {0.299, 0.587, 0.114};

rg_code rg_lensjob_open(rg_lensjob *job, const char *board_file, rg_error *err)
{
    rg_calib_file file;
    *job = (rg_lensjob){0};
    rg_code code = rg_calib_file_read("board.ini", board_file, "board", &file, err);
    if (code != RG_OK)
        return code;
    code = rg_board_config_parse(file.path, file.text, file.size, &job->config, err);
    free(file.text);
    return code;
}

void rg_lensjob_close(rg_lensjob *job)
{
    for (int i = 0; job->photo && i < job->photos; i++)
        rg_board_photo_free(&job->photo[i]);
    if (job->view)
        rg_views_free(job->view, job->views);
    rg_calibration_free(&job->calibration);
    free(job->photo);
    free(job->view);
    free(job->unused_file);
    free(job->unused_reason);
    *job = (rg_lensjob){0};
}

static rg_code review(rg_lensjob *job, rg_error *err)
{
    return rg_lens_review_make(&job->config.enough, job->view, &job->calibration, &job->review,
                               err);
}

/* ------------------------------------------------------------- photographs */

typedef struct looking {
    rg_lensjob *job;
    rg_tag_finder **finder; /* one for each worker */
    rg_job_done *done;
    void *context; /* of done */
} looking;

static void pass_on(void *context, int done, int jobs)
{
    const looking *l = context;
    if (l->done)
        l->done(l->context, done, jobs);
}

static void leave_out(rg_board_photo *photo, const char *why)
{
    photo->used = false;
    rg_copy_text(photo->reason, sizeof photo->reason, why);
}

static rg_code find_board(const rg_board_config *c, rg_tag_finder *finder, const rg_image *luma,
                          rg_board_photo *photo, rg_error *err)
{
    rg_tag_list tags;
    rg_linear linear;
    rg_error why = {0};
    rg_code code = rg_tags_find(finder, luma->data, luma->width, luma->height, false, &tags, &why);
    if (code == RG_BAD_DATA) {
        leave_out(photo, why.text);
        return RG_OK;
    }
    if (code != RG_OK) {
        *err = why;
        return code;
    }
    code = rg_linear_new(&linear, luma->channels, luma->depth, luma_weights, err);
    if (code == RG_OK)
        code = rg_board_photo_new(photo, &c->board, &c->limits, luma, &linear, &tags, err);
    rg_linear_free(&linear);
    return code;
}

rg_code rg_lensjob_look(const rg_board_config *config, rg_tag_finder *finder, const uint8_t *bytes,
                        size_t size, rg_board_photo *photo, rg_error *err)
{
    rg_image luma = {0};
    rg_error why = {0};
    *photo = (rg_board_photo){0};
    rg_code code = rg_decode_luma(bytes, size, luma_weights, &luma, &why);
    if (code == RG_INTERNAL) {
        *err = why;
        return code;
    }
    if (code != RG_OK)
        leave_out(photo, why.text);
    else if (luma.warnings > 0)
        leave_out(photo, "the file is damaged; copy it again from the camera");
    else
        code = find_board(config, finder, &luma, photo, err);
    rg_image_free(&luma);
    return code == RG_INTERNAL ? code : RG_OK;
}

static rg_code look_job(void *context, int index, int worker, rg_error *err)
{
    looking *l = context;
    uint8_t *bytes = NULL;
    size_t size = 0;
    rg_code code = rg_file_read(l->job->file[index], RG_FILE_MAX_BYTES, &bytes, &size, err);
    if (code == RG_OK)
        code = rg_lensjob_look(&l->job->config, l->finder[worker], bytes, size,
                               &l->job->photo[index], err);
    free(bytes);
    return code;
}

static rg_code look_at_all(rg_lensjob *job, int workers, rg_job_done *done, void *context,
                           rg_error *err)
{
    workers = rg_pool_workers(workers, job->photos);
    looking l = {job, rg_alloc((size_t)workers, sizeof *l.finder), done, context};
    rg_code code =
        l.finder ? RG_OK : rg_fail(err, RG_INTERNAL, "no memory for %d workers", workers);
    for (int i = 0; code == RG_OK && i < workers; i++)
        code = rg_tag_finder_new(&l.finder[i], &job->config.tags, err);
    if (code == RG_OK)
        code = rg_pool_run(workers, job->photos, look_job, pass_on, &l, err);
    for (int i = 0; l.finder && i < workers; i++)
        rg_tag_finder_free(l.finder[i]);
    free(l.finder);
    return code;
}

/* A path's last part: what a view is called. */
static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash && slash[1] ? slash + 1 : path;
}

static rg_code note_unused(rg_lensjob *job, rg_error *err)
{
    for (int i = 0; i < job->photos; i++)
        if (!job->photo[i].used) {
            job->unused_file[job->unused] = job->file[i];
            job->unused_reason[job->unused++] = job->photo[i].reason;
        }
    if (job->unused == job->photos)
        return rg_fail(err, RG_BAD_DATA, "%s: %s (and none of the other photographs can be used)",
                       job->file[0], job->photo[0].reason);
    return RG_OK;
}

static rg_code calibrate_photos(rg_lensjob *job, const rg_board_photo *photo,
                                const char *const *name, int photos, rg_error *err)
{
    const rg_board_config *c = &job->config;
    rg_code code = rg_board_calibrate(&c->board, &c->limits, photo, name, photos, &c->options,
                                      job->view, &job->views, &job->calibration, err);
    return code == RG_OK ? review(job, err) : code;
}

static rg_code calibrate_files(rg_lensjob *job, rg_error *err)
{
    const char **name = rg_alloc((size_t)job->photos, sizeof *name);
    if (!name)
        return rg_fail(err, RG_INTERNAL, "no memory for %d photographs", job->photos);
    for (int i = 0; i < job->photos; i++)
        name[i] = base_name(job->file[i]);
    rg_code code = calibrate_photos(job, job->photo, name, job->photos, err);
    free(name);
    return code;
}

rg_code rg_lensjob_seen(rg_lensjob *job, const rg_board_photo *photo, const char *const *name,
                        int photos, rg_error *err)
{
    job->view = rg_alloc((size_t)photos, sizeof *job->view);
    if (!job->view)
        return rg_fail(err, RG_INTERNAL, "no memory for %d photographs", photos);
    return calibrate_photos(job, photo, name, photos, err);
}

rg_code rg_lensjob_photos(rg_lensjob *job, const char *const *file, int photos, int workers,
                          rg_job_done *done, void *context, rg_error *err)
{
    size_t n = (size_t)photos;
    if (photos > RG_CALIBRATION_VIEWS_MAX)
        return rg_fail(err, RG_USAGE,
                       "%d photographs are more than the %d that can be used; choose "
                       "the best",
                       photos, RG_CALIBRATION_VIEWS_MAX);
    job->file = file;
    job->photos = photos;
    job->photo = rg_alloc(n, sizeof *job->photo);
    job->view = rg_alloc(n, sizeof *job->view);
    job->unused_file = rg_alloc(n, sizeof *job->unused_file);
    job->unused_reason = rg_alloc(n, sizeof *job->unused_reason);
    if (!job->photo || !job->view || !job->unused_file || !job->unused_reason)
        return rg_fail(err, RG_INTERNAL, "no memory for %d photographs", photos);
    rg_code code = look_at_all(job, workers, done, context, err);
    if (code == RG_OK)
        code = note_unused(job, err);
    return code == RG_OK ? calibrate_files(job, err) : code;
}

/* ----------------------------------------------------------------- corners */

rg_code rg_lensjob_corners(rg_lensjob *job, const char *file, int width, int height, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_corner_list list = {0};
    rg_code code = rg_file_read(file, RG_CORNERS_MAX_BYTES, &text, &size, err);
    if (code == RG_OK)
        code = rg_corners_parse(file, (const char *)text, size, &list, err);
    free(text);
    if (code != RG_OK)
        return code;
    job->view = list.view;
    job->views = list.views;
    if (width && list.width && (width != list.width || height != list.height))
        return rg_fail(err, RG_USAGE, "--size %dx%d: %s says %dx%d; leave one out", width, height,
                       file, list.width, list.height);
    width = width ? width : list.width;
    height = height ? height : list.height;
    if (!width)
        return rg_fail(err, RG_USAGE,
                       "%s does not say how large the pictures are; add a line such as \"# size "
                       "640x480\" or give --size 640x480",
                       file);
    code = rg_calibrate(job->view, job->views, width, height, &job->config.options,
                        &job->calibration, err);
    if (code == RG_BAD_DATA)
        rg_fail_prefix(err, file);
    return code == RG_OK ? review(job, err) : code;
}

/* ------------------------------------------------------------------ output */

rg_code rg_lensjob_json(const rg_lensjob *job, char **text, rg_error *err)
{
    rg_lens_report report = {.view = job->view,
                             .calibration = &job->calibration,
                             .review = &job->review,
                             .unused = job->unused,
                             .unused_file = job->unused_file,
                             .unused_reason = job->unused_reason};
    return rg_lens_report_text(&report, text, err);
}

static rg_code store(const char *folder, const char *name, const void *bytes, size_t size,
                     rg_error *err)
{
    char *path = rg_path_join(folder, name);
    rg_code code = path ? rg_file_write(path, bytes, size, err)
                        : rg_fail(err, RG_INTERNAL, "no memory for a file name");
    free(path);
    return code;
}

static rg_code draw(const rg_lensjob *job, const char *folder, const char *date, rg_error *err)
{
    static const rg_picture_format format[] = {RG_PICTURE_PNG, RG_PICTURE_SVG};
    rg_draw_lens_args args = {job->view, &job->calibration, &job->review, &job->config.enough,
                              date};
    rg_code code = RG_OK;
    for (int i = 0; i < 2 && code == RG_OK; i++) {
        rg_bytes bytes = {0};
        char name[16];
        snprintf(name, sizeof name, "lens.%s", rg_picture_suffix(format[i]));
        code = rg_draw_lens(&args, format[i], &bytes, err);
        if (code == RG_OK)
            code = store(folder, name, bytes.data, bytes.size, err);
        free(bytes.data);
    }
    return code;
}

rg_code rg_lensjob_write(const rg_lensjob *job, const char *folder, bool pictures, const char *date,
                         rg_error *err)
{
    char *text = NULL;
    rg_code code = rg_folder_make(folder, err);
    if (code == RG_OK && pictures)
        code = draw(job, folder, date, err);
    if (code == RG_OK)
        code = rg_lensjob_json(job, &text, err);
    if (code == RG_OK)
        code = store(folder, "lens.json", text, strlen(text), err);
    free(text);
    return code;
}

/* Lens values of a station's file: px to a ten-thousandth, the rest to seven digits. */
enum { LENS_KEYS = 11, VALUE = 32 };

static void format_values(const rg_lens *l, char value[LENS_KEYS][VALUE])
{
    const double px[4] = {l->fx, l->fy, l->cx, l->cy};
    const double bend[5] = {l->k1, l->k2, l->p1, l->p2, l->k3};
    snprintf(value[0], VALUE, "%d", l->width);
    snprintf(value[1], VALUE, "%d", l->height);
    for (int i = 0; i < 4; i++)
        snprintf(value[2 + i], VALUE, "%.4f", px[i]);
    for (int i = 0; i < 5; i++)
        snprintf(value[6 + i], VALUE, "%.7g", bend[i]);
}

/* The station's text with the new lens; checked by reading it back. */
static rg_code edit_station(const rg_lens *lens, const char *label, const char *text, size_t size,
                            char **edited, rg_error *err)
{
    static const char *const key[LENS_KEYS] = {
        "width_px", "height_px", "fx_px", "fy_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3"};
    char value[LENS_KEYS][VALUE];
    rg_config_change change[LENS_KEYS];
    rg_station station;
    format_values(lens, value);
    for (int i = 0; i < LENS_KEYS; i++)
        change[i] = (rg_config_change){"lens", key[i], value[i]};
    rg_code code = rg_config_edit(label, text, size, change, LENS_KEYS, edited, err);
    if (code == RG_OK)
        code = rg_station_parse(label, *edited, strlen(*edited), &station, err);
    return code;
}

static rg_code read_station(const char *file, uint8_t **text, size_t *size, rg_station *station,
                            rg_error *err)
{
    rg_code code = rg_file_read(file, RG_CONFIG_MAX_BYTES, text, size, err);
    return code == RG_OK ? rg_station_parse(file, (const char *)*text, *size, station, err) : code;
}

rg_code rg_lensjob_station_check(const char *station_file, rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    rg_station station;
    rg_code code = read_station(station_file, &text, &size, &station, err);
    free(text);
    return code;
}

rg_code rg_lensjob_station(const rg_lensjob *job, const char *station_file, rg_station *old,
                           rg_error *err)
{
    uint8_t *text = NULL;
    size_t size = 0;
    char *edited = NULL;
    if (!job->review.good)
        return rg_fail(err, RG_USAGE, "%s was not written: the lens is not known well enough yet",
                       station_file);
    rg_code code = read_station(station_file, &text, &size, old, err);
    if (code == RG_OK)
        code = edit_station(&job->calibration.fit.lens, station_file, (const char *)text, size,
                            &edited, err);
    if (code == RG_OK)
        code = rg_file_write(station_file, edited, strlen(edited), err);
    free(edited);
    free(text);
    return code;
}

int rg_lensjob_remarks(const rg_lensjob *job, const char *station_file, const rg_station *old,
                       char remark[RG_LENSJOB_REMARKS][RG_LENSJOB_REMARK])
{
    const rg_lens *lens = &job->calibration.fit.lens;
    double scale_u = old->measure.rocking.u_scale;
    int n = 0;
    if (old->lens.width != lens->width || old->lens.height != lens->height)
        snprintf(remark[n++], RG_LENSJOB_REMARK,
                 "%.200s was for pictures of %d x %d px, now %d x %d: check its values in px",
                 station_file, old->lens.width, old->lens.height, lens->width, lens->height);
    snprintf(remark[n++], RG_LENSJOB_REMARK,
             "%.200s: [lens] written; scale_u = %g stays as it was, it holds the print of the "
             "crown's tags too",
             station_file, scale_u);
    if (scale_u < job->review.focal_relative)
        snprintf(remark[n++], RG_LENSJOB_REMARK,
                 "scale_u is smaller than the focal length's own %.2g: raise it",
                 job->review.focal_relative);
    return n;
}

/*
 * jpeg.c - JPEG by libjpeg-turbo, from memory.
 *
 * The only file that knows libjpeg. Its error manager never ends the process
 * and never prints: a fatal error is stored and left by longjmp() to
 * guarded(), the only setjmp() here. Everything that changes between the two
 * lives in the job structure, in memory, so no local variable of the function
 * that called setjmp() is modified in between (C17 7.13.2.1).
 *
 * Defence against hostile files: size and colour model are checked on the
 * header, before pixels or coefficients are allocated; the library's working
 * memory is bounded in proportion to the picture; the progress monitor stops
 * a file of too many scans. Samples are decoded with the accurate integer
 * inverse DCT and smooth chroma upsampling.
 *
 * A region is decoded by skipping rows inside the library. The rows behind
 * the region are skipped too, not left unread, so that damage anywhere in
 * the file is counted whichever rows were asked for.
 */
#include <setjmp.h>
#include <stdio.h>
#include <string.h>

#include <jpeglib.h>

#include <jerror.h>

#include "rimglow/decode.h"
#include "rows.h"

enum {
    MEMORY_FIXED = 32 * 1024 * 1024, /* bytes, tables and strips */
    MEMORY_PER_PIXEL = 8             /* bytes: three 16-bit coefficients, padded */
};

struct job {
    struct jpeg_decompress_struct info;
    struct jpeg_error_mgr manager;
    struct jpeg_progress_mgr progress;
    jmp_buf escape;
    const uint8_t *bytes;
    size_t size;
    rg_rows rows;
    bool luma; /* keep Y' only */
    rg_image *image;
    bool starved; /* of memory */
    unsigned warnings;
    char warning[JMSG_LENGTH_MAX];
    char fault[JMSG_LENGTH_MAX];
};

/* ---- what libjpeg calls ---- */

static void fault_from_library(j_common_ptr common)
{
    struct job *job = common->client_data;
    common->err->format_message(common, job->fault);
    job->starved = common->err->msg_code == JERR_OUT_OF_MEMORY;
    longjmp(job->escape, 1);
}

static void message_from_library(j_common_ptr common, int level)
{
    struct job *job = common->client_data;
    if (level >= 0)
        return;
    if (job->warnings++ == 0)
        common->err->format_message(common, job->warning);
}

static void no_output(j_common_ptr common)
{
    (void)common;
}

static void check_scans(j_common_ptr common)
{
    struct job *job = common->client_data;
    if (job->info.input_scan_number <= RG_JPEG_MAX_SCANS)
        return;
    snprintf(job->fault, sizeof job->fault, "more than %d scans", (int)RG_JPEG_MAX_SCANS);
    longjmp(job->escape, 1);
}

/* ---- steps, each run by guarded() ---- */

static bool guarded(struct job *job, void (*step)(struct job *))
{
    if (setjmp(job->escape))
        return false;
    step(job);
    return true;
}

static void read_header(struct job *job)
{
    struct jpeg_decompress_struct *info = &job->info;
    jpeg_create_decompress(info);
    job->progress.progress_monitor = check_scans;
    info->progress = &job->progress;
    jpeg_save_markers(info, JPEG_APP0 + 1, 0xffff);
    jpeg_mem_src(info, job->bytes, (unsigned long)job->size);
    jpeg_read_header(info, TRUE);
}

/* Passes over rows inside the decoder. */
static void skip_rows(struct job *job, int count)
{
    if (count > 0)
        jpeg_skip_scanlines(&job->info, (JDIMENSION)count);
}

static void read_row(struct job *job, JSAMPROW row)
{
    /* A memory source never suspends: a row that does not come is a fault. */
    if (jpeg_read_scanlines(&job->info, &row, 1) == 1)
        return;
    snprintf(job->fault, sizeof job->fault, "row %u cannot be read", job->info.output_scanline);
    longjmp(job->escape, 1);
}

static void read_pixels(struct job *job)
{
    struct jpeg_decompress_struct *info = &job->info;
    info->out_color_space = job->image->channels == 1 ? JCS_GRAYSCALE : JCS_RGB;
    info->dct_method = JDCT_ISLOW;
    jpeg_start_decompress(info);
    size_t row_bytes = (size_t)job->image->width * (size_t)job->image->channels;
    JSAMPLE *data = job->image->data;
    skip_rows(job, job->rows.first);
    for (int y = 0; y < job->rows.count; y++)
        read_row(job, data + (size_t)y * row_bytes);
}

/* libjpeg shows a file that ends properly after some of its scans without a
 * word; the coefficients that never came to full precision tell. */
static bool scans_are_missing(const struct jpeg_decompress_struct *info)
{
    for (int c = 0; c < info->num_components; c++) {
        if (!info->comp_info[c].quant_table) /* set when a scan brings the component */
            return true;
        for (int k = 0; info->progressive_mode && k < DCTSIZE2; k++)
            if (info->coef_bits[c][k] != 0)
                return true;
    }
    return false;
}

/* Reads what is behind the region, the last row into a row of the library's
 * pool: skipping to the very end would make the library stop looking. */
static void read_to_end(struct job *job)
{
    struct jpeg_decompress_struct *info = &job->info;
    int left = job->image->full_height - job->rows.first - job->rows.count;
    if (left > 0) {
        size_t row_bytes = (size_t)job->image->width * (size_t)job->image->channels;
        JSAMPROW row = info->mem->alloc_large((j_common_ptr)info, JPOOL_IMAGE, row_bytes);
        skip_rows(job, left - 1);
        read_row(job, row);
    }
    if (scans_are_missing(info) && job->warnings++ == 0)
        snprintf(job->warning, sizeof job->warning, "Some scans of the JPEG are missing");
    jpeg_finish_decompress(info);
}

/* ---- between the steps ---- */

static void open_job(struct job *job, const uint8_t *bytes, size_t size)
{
    memset(job, 0, sizeof *job);
    job->bytes = bytes;
    job->size = size;
    job->info.err = jpeg_std_error(&job->manager);
    job->manager.error_exit = fault_from_library;
    job->manager.emit_message = message_from_library;
    job->manager.output_message = no_output;
    job->info.client_data = job;
}

static rg_code refused(const struct job *job, rg_error *err)
{
    if (job->starved)
        return rg_fail(err, RG_INTERNAL,
                       "out of memory for the JPEG decoder; close other programs");
    return rg_fail(err, RG_BAD_DATA,
                   "the JPEG cannot be decoded (%s); copy the file again or retake the frame",
                   job->fault);
}

static int orientation_of(const struct jpeg_decompress_struct *info)
{
    static const char prefix[6] = "Exif\0";
    for (jpeg_saved_marker_ptr m = info->marker_list; m; m = m->next)
        if (m->data_length > sizeof prefix && memcmp(m->data, prefix, sizeof prefix) == 0)
            return rg_exif_orientation(m->data + sizeof prefix, m->data_length - sizeof prefix);
    return 1;
}

static rg_code check_colours(const struct jpeg_decompress_struct *info, rg_error *err)
{
    if (info->num_components == 4)
        return rg_fail(err, RG_BAD_DATA,
                       "the JPEG has four colour channels (CMYK, for printing); "
                       "save it as an RGB picture");
    if (info->num_components != 1 && info->num_components != 3)
        return rg_fail(err, RG_BAD_DATA, "the JPEG has %d colour channels; save it as RGB or grey",
                       info->num_components);
    return RG_OK;
}

/* Reads the header and checks it; fills the header fields of *image. */
static rg_code examine(struct job *job, rg_image *image, rg_error *err)
{
    if (!guarded(job, read_header))
        return refused(job, err);
    const struct jpeg_decompress_struct *info = &job->info;
    rg_code code = rg_image_check_size(info->image_width, info->image_height, err);
    if (!code)
        code = check_colours(info, err);
    if (code)
        return code;
    job->info.mem->max_memory_to_use =
        MEMORY_FIXED + (long)info->image_width * (long)info->image_height * MEMORY_PER_PIXEL;
    image->width = (int)info->image_width;
    image->full_height = (int)info->image_height;
    image->channels = info->num_components;
    image->depth = 8;
    image->orientation = orientation_of(info);
    return RG_OK;
}

static void keep_warnings(const struct job *job, rg_image *image)
{
    image->warnings = job->warnings;
    snprintf(image->warning, sizeof image->warning, "%s", job->warning);
}

rg_code rg_jpeg_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err)
{
    struct job job;
    open_job(&job, bytes, size);
    *image = (rg_image){0};
    rg_code code = examine(&job, image, err);
    keep_warnings(&job, image);
    jpeg_destroy_decompress(&job.info);
    return code;
}

static rg_code decode_rows(struct job *job, rg_image *image, rg_error *err)
{
    rg_image header = {0};
    rg_code code = examine(job, &header, err);
    if (code)
        return code;
    if (header.orientation != 1)
        job->rows = (rg_rows){0, header.full_height};
    code = rg_rows_clip(&job->rows, header.full_height, err);
    if (!code)
        code = rg_image_new_rows(image, header.width, header.full_height, job->rows,
                                 job->luma ? 1 : header.channels, 8, err);
    if (code)
        return code;
    image->orientation = header.orientation;
    job->image = image;
    if (!guarded(job, read_pixels) || !guarded(job, read_to_end)) {
        rg_image_free(image);
        return refused(job, err);
    }
    keep_warnings(job, image);
    return RG_OK;
}

rg_code rg_jpeg_decode(const uint8_t *bytes, size_t size, rg_rows rows, bool luma, rg_image *image,
                       rg_error *err)
{
    struct job job;
    open_job(&job, bytes, size);
    job.rows = rows;
    job.luma = luma;
    *image = (rg_image){0};
    rg_code code = decode_rows(&job, image, err);
    jpeg_destroy_decompress(&job.info);
    return code;
}

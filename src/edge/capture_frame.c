/*
 * capture_frame.c - what comes from a camera's buffer as a file: the JPEG itself, or a PNG written.
 *
 * The only file beside png.c and draw_png.c that knows libpng; its errors come back by longjmp() to
 * guarded(), with all changing state in the job (C17 7.13.2.1).
 */
#include "capture_private.h"

#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <png.h>
#include <zlib.h>

#include "rimglow/decode.h"
#include "rimglow/memory.h"

enum {
    CHUNK_MOST = 4 * 1024 * 1024, /* below the limit that readers set on chunks they do not know */
    FIRST_BLOCK = 256 * 1024
};
static const char raw_chunk[5] = "yuYV";

typedef struct png_job {
    png_structp png;
    png_infop info;
    jmp_buf escape;
    int width, height, depth;
    const uint8_t *rows;
    size_t stride;
    const uint8_t *raw; /* goes into private chunks; NULL: none */
    size_t raw_size;
    uint8_t *out; /* owned */
    size_t size, room;
} png_job;

static PNG_NORETURN void fault_from_library(png_structp png, png_const_charp text)
{
    png_job *job = png_get_error_ptr(png);
    (void)text;
    longjmp(job->escape, 1);
}

static void silent(png_structp png, png_const_charp text)
{
    (void)png;
    (void)text;
}

static void collect(png_structp png, png_bytep bytes, size_t count)
{
    png_job *job = png_get_io_ptr(png);
    if (count > job->room - job->size) {
        size_t room = 2 * (job->room + count) + FIRST_BLOCK;
        uint8_t *grown = rg_grow(job->out, room, 1);
        if (!grown)
            png_error(png, "out of memory");
        job->out = grown;
        job->room = room;
    }
    memcpy(job->out + job->size, bytes, count);
    job->size += count;
}

static void nothing_to_flush(png_structp png)
{
    (void)png;
}

static void write_all(png_job *job)
{
    png_structp png = job->png;
    png_set_write_fn(png, job, collect, nothing_to_flush);
    png_set_IHDR(png, job->info, (png_uint_32)job->width, (png_uint_32)job->height, job->depth,
                 PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    png_set_compression_level(png, Z_BEST_SPEED);
    png_set_compression_strategy(png, Z_RLE); /* filtered noise has no longer repeats */
    png_set_filter(png, PNG_FILTER_TYPE_BASE, PNG_FILTER_SUB);
    png_write_info(png, job->info);
    for (size_t done = 0; done < job->raw_size; done += CHUNK_MOST) {
        size_t left = job->raw_size - done;
        png_write_chunk(png, (png_const_bytep)raw_chunk, job->raw + done,
                        left < CHUNK_MOST ? left : CHUNK_MOST);
    }
    for (int y = 0; y < job->height; y++)
        png_write_row(png, job->rows + (size_t)y * job->stride);
    png_write_end(png, job->info);
}

static bool guarded(png_job *job)
{
    if (setjmp(job->escape))
        return false;
    write_all(job);
    return true;
}

static rg_code write_png(png_job *job, uint8_t **png, size_t *size, rg_error *err)
{
    job->png = png_create_write_struct(PNG_LIBPNG_VER_STRING, job, fault_from_library, silent);
    job->info = job->png ? png_create_info_struct(job->png) : NULL;
    bool done = job->info && guarded(job);
    png_destroy_write_struct(&job->png, &job->info);
    if (!done) {
        free(job->out);
        return rg_fail(err, RG_INTERNAL, "out of memory for a frame of %d x %d px as PNG",
                       job->width, job->height);
    }
    *png = job->out;
    *size = job->size;
    return RG_OK;
}

static rg_code check_raw(const rg_raw_frame *raw, size_t pixel_bytes, rg_error *err)
{
    size_t height = (size_t)raw->height, row_bytes = (size_t)raw->width * pixel_bytes;
    if (raw->width < 1 || raw->height < 1 || raw->width > RG_IMAGE_MAX_SIDE ||
        raw->height > RG_IMAGE_MAX_SIDE)
        return rg_fail(err, RG_BAD_DATA, "a frame of %d x %d px, sides from 1 to %d are taken",
                       raw->width, raw->height, (int)RG_IMAGE_MAX_SIDE);
    if (raw->stride < row_bytes || raw->size < row_bytes ||
        (raw->size - row_bytes) / raw->stride < height - 1)
        return rg_fail(err, RG_BAD_DATA,
                       "the frame has %zu bytes, %d x %d px need %zu: the transfer broke off",
                       raw->size, raw->width, raw->height, raw->stride * (height - 1) + row_bytes);
    return RG_OK;
}

rg_code rg_shot_png_of_grey(const rg_raw_frame *raw, uint8_t **png, size_t *size, rg_error *err)
{
    rg_code code = check_raw(raw, 1, err);
    png_job job = {.width = raw->width,
                   .height = raw->height,
                   .depth = 8,
                   .rows = raw->bytes,
                   .stride = raw->stride};
    return code ? code : write_png(&job, png, size, err);
}

/* ---------------------------------------------------------------- YUYV */

static void make_stretch(bool full_range, uint8_t table[256])
{
    for (int code = 0; code < 256; code++) {
        int stretched = full_range ? code : ((code - 16) * 255 * 2 + 219) / (219 * 2);
        if (!full_range && code < 16)
            stretched = 0;
        table[code] = (uint8_t)(stretched > 255 ? 255 : stretched);
    }
}

static uint8_t *luma_of(const rg_raw_frame *raw)
{
    size_t width = (size_t)raw->width, height = (size_t)raw->height;
    uint8_t table[256], *luma = rg_alloc(height, width);
    make_stretch(raw->full_range, table);
    for (size_t y = 0; luma && y < height; y++)
        for (size_t x = 0; x < width; x++)
            luma[y * width + x] = table[raw->bytes[y * raw->stride + 2 * x]];
    return luma;
}

rg_code rg_shot_png_of_yuyv(const rg_raw_frame *raw, uint8_t **png, size_t *size, rg_error *err)
{
    uint8_t *inner = NULL;
    size_t inner_size = 0;
    if (raw->width % 2)
        return rg_fail(err, RG_BAD_DATA, "a YUYV frame of odd width %d; widths are even",
                       raw->width);
    rg_code code = check_raw(raw, 2, err);
    if (code)
        return code;
    png_job whole = {.width = raw->width,
                     .height = raw->height,
                     .depth = 16,
                     .rows = raw->bytes,
                     .stride = raw->stride};
    code = write_png(&whole, &inner, &inner_size, err);
    if (code)
        return code;
    uint8_t *luma = luma_of(raw);
    png_job job = {.width = raw->width,
                   .height = raw->height,
                   .depth = 8,
                   .rows = luma,
                   .stride = (size_t)raw->width,
                   .raw = inner,
                   .raw_size = inner_size};
    code = luma ? write_png(&job, png, size, err)
                : rg_fail(err, RG_INTERNAL, "out of memory for a frame's luma");
    free(luma);
    free(inner);
    return code;
}

static uint32_t big_endian_32(const uint8_t *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

/* The private chunks put together, in memory of the caller's; *size 0 when there are none. */
static uint8_t *inner_png(const uint8_t *png, size_t size, size_t *inner_size)
{
    uint8_t *inner = rg_alloc(size, 1);
    *inner_size = 0;
    for (size_t place = 8; inner && place <= size && size - place >= 12;) {
        size_t length = big_endian_32(png + place);
        if (length > size - place - 12)
            break;
        if (memcmp(png + place + 4, raw_chunk, 4) == 0) {
            memcpy(inner + *inner_size, png + place + 8, length);
            *inner_size += length;
        }
        place += length + 12;
    }
    return inner;
}

static rg_code bytes_of(const rg_image *image, uint8_t **yuyv, rg_error *err)
{
    if (image->channels != 1 || image->depth != 16)
        return rg_fail(err, RG_BAD_DATA, "the yuYV chunk is no picture of 16-bit grey samples");
    size_t samples = (size_t)image->width * (size_t)image->height;
    const uint16_t *sample = image->data;
    *yuyv = rg_alloc(samples, 2);
    if (!*yuyv)
        return rg_fail(err, RG_INTERNAL, "out of memory for a YUYV frame");
    for (size_t i = 0; i < samples; i++) {
        (*yuyv)[2 * i] = (uint8_t)(sample[i] >> 8);
        (*yuyv)[2 * i + 1] = (uint8_t)(sample[i] & 0xff);
    }
    return RG_OK;
}

rg_code rg_shot_yuyv_of_png(const uint8_t *png, size_t size, uint8_t **yuyv, int *width,
                            int *height, rg_error *err)
{
    rg_image image = {0};
    size_t inner_size = 0;
    *yuyv = NULL;
    uint8_t *inner = inner_png(png, size, &inner_size);
    rg_code code = RG_OK;
    if (!inner)
        code = rg_fail(err, RG_INTERNAL, "out of memory for a PNG of %zu bytes", size);
    else if (rg_format_of(png, size) != RG_FORMAT_PNG || inner_size == 0)
        code = rg_fail(err, RG_BAD_DATA, "the file is no PNG with a yuYV chunk");
    else
        code = rg_decode(inner, inner_size, &image, err);
    if (!code)
        code = bytes_of(&image, yuyv, err);
    *width = image.width;
    *height = image.height;
    rg_image_free(&image);
    free(inner);
    return code;
}

/* ---------------------------------------------------------------- a shot */

rg_code rg_capture_file(rg_camera *camera, const uint8_t *bytes, size_t size, rg_shot *shot,
                        rg_error *err)
{
    const rg_camera_mode *mode = &camera->mode;
    if (mode->format == RG_PIXELS_MJPEG) {
        *shot = (rg_shot){.bytes = bytes, .size = size, .suffix = "jpg"};
        return rg_shot_check_jpeg(bytes, size, mode->width, mode->height, err);
    }
    rg_raw_frame raw = {.bytes = bytes,
                        .size = size,
                        .stride = camera->stride,
                        .width = mode->width,
                        .height = mode->height,
                        .full_range = camera->full_range};
    size_t png_size = 0;
    free(camera->png);
    camera->png = NULL;
    rg_code code = mode->format == RG_PIXELS_YUYV
                       ? rg_shot_png_of_yuyv(&raw, &camera->png, &png_size, err)
                       : rg_shot_png_of_grey(&raw, &camera->png, &png_size, err);
    *shot = (rg_shot){.bytes = camera->png, .size = png_size, .suffix = "png"};
    return code;
}

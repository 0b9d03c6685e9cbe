/*
 * png.c - PNG by libpng, from memory.
 *
 * The only file that knows libpng; its errors come back by longjmp() to
 * guarded(), the only setjmp() here, with all changing state in the job
 * structure (C17 7.13.2.1). The size is read from IHDR, whose place in the
 * file is fixed (ISO/IEC 15948, 5.6 and 11.2.2), and checked before the
 * library sees the file.
 *
 * Grey samples below 8 bits are expanded to 8; 16-bit samples come in host
 * order. Palettes are expanded here, not by the library, which would turn an
 * index beyond the palette into black without a word. Alpha is composed over black as coverage of
 * the stored codes: code * alpha / full, rounded, not mixed in linear light. sRGB is assumed: gAMA,
 * cHRM, iCCP and all other ancillary chunks are passed over, but for tRNS and an eXIf in front of
 * the pixels (orientation).
 */
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <png.h>

#include "rimglow/decode.h"
#include "rimglow/memory.h"
#include "rows.h"

enum {
    IHDR_END = 33, /* signature, then length, type, 13 bytes, CRC */
    CHUNK_CACHE_MAX = 64,
    CHUNK_BYTES_MAX = 8 * 1024 * 1024,
    TEXT_BYTES = 200
};

struct job {
    png_structp png;
    png_infop info;
    jmp_buf escape;
    const uint8_t *bytes;
    size_t size, place;
    uint8_t *rows; /* where the pixels go, with alpha or as indices if so stored */
    size_t row_bytes;
    bool indexed, starved;
    unsigned warnings;
    char warning[TEXT_BYTES];
    char fault[TEXT_BYTES];
};

/* ---- what libpng calls ---- */

static PNG_NORETURN void fault_from_library(png_structp png, png_const_charp text)
{
    struct job *job = png_get_error_ptr(png);
    snprintf(job->fault, sizeof job->fault, "%s", text);
    longjmp(job->escape, 1);
}

static void warning_from_library(png_structp png, png_const_charp text)
{
    struct job *job = png_get_error_ptr(png);
    if (job->warnings++ == 0)
        snprintf(job->warning, sizeof job->warning, "%s", text);
}

/* Tells a lack of memory from a fault of the file. */
static png_voidp allocate(png_structp png, png_alloc_size_t size)
{
    struct job *job = png_get_mem_ptr(png);
    void *block = malloc(size);
    job->starved = job->starved || !block;
    return block;
}

static void release(png_structp png, png_voidp block)
{
    (void)png;
    free(block);
}

static void read_bytes(png_structp png, png_bytep to, size_t count)
{
    struct job *job = png_get_io_ptr(png);
    if (count > job->size - job->place)
        png_error(png, "the file ends too early");
    memcpy(to, job->bytes + job->place, count);
    job->place += count;
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
    png_structp png = job->png;
    png_set_user_limits(png, RG_IMAGE_MAX_SIDE, RG_IMAGE_MAX_SIDE);
    png_set_chunk_cache_max(png, CHUNK_CACHE_MAX);
    png_set_chunk_malloc_max(png, CHUNK_BYTES_MAX);
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_NEVER, NULL, -1);
    png_set_keep_unknown_chunks(png, PNG_HANDLE_CHUNK_AS_DEFAULT, (png_const_bytep) "eXIf", 1);
    png_set_read_fn(png, job, read_bytes);
    png_read_info(png, job->info);
    job->indexed = png_get_color_type(png, job->info) == PNG_COLOR_TYPE_PALETTE;
    if (job->indexed)
        png_set_packing(png); /* one index per byte */
    else
        png_set_expand(png);
    const uint16_t one = 1;
    if (*(const uint8_t *)&one == 1 && png_get_bit_depth(png, job->info) == 16)
        png_set_swap(png);
    png_set_interlace_handling(png);
    png_read_update_info(png, job->info);
}

static void read_pixels(struct job *job)
{
    png_uint_32 height = png_get_image_height(job->png, job->info);
    int passes = png_get_interlace_type(job->png, job->info) == PNG_INTERLACE_ADAM7 ? 7 : 1;
    for (int pass = 0; pass < passes; pass++)
        for (png_uint_32 y = 0; y < height; y++)
            png_read_row(job->png, job->rows + y * job->row_bytes, NULL);
    png_read_end(job->png, NULL);
}

/* ---- between the steps ---- */

static uint32_t big_endian(const uint8_t *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 | p[3];
}

static rg_code refused(const struct job *job, rg_error *err)
{
    if (job->starved)
        return rg_fail(err, RG_INTERNAL, "out of memory for the PNG decoder; close other programs");
    return rg_fail(err, RG_BAD_DATA,
                   "the PNG cannot be decoded (%s); copy the file again or retake the frame",
                   job->fault);
}

static rg_code check_start(struct job *job, rg_error *err)
{
    static const uint8_t ihdr[8] = {0, 0, 0, 13, 'I', 'H', 'D', 'R'};
    if (job->size < IHDR_END || memcmp(job->bytes + 8, ihdr, sizeof ihdr) != 0) {
        snprintf(job->fault, sizeof job->fault, "no image header");
        return refused(job, err);
    }
    return rg_image_check_size(big_endian(job->bytes + 16), big_endian(job->bytes + 20), err);
}

static rg_code open_job(struct job *job, const uint8_t *bytes, size_t size, rg_error *err)
{
    memset(job, 0, sizeof *job);
    job->bytes = bytes;
    job->size = size;
    rg_code code = check_start(job, err);
    if (code)
        return code;
    job->png = png_create_read_struct_2(PNG_LIBPNG_VER_STRING, job, fault_from_library,
                                        warning_from_library, job, allocate, release);
    job->info = job->png ? png_create_info_struct(job->png) : NULL;
    if (!job->info) {
        png_destroy_read_struct(&job->png, NULL, NULL);
        job->starved = true;
        return refused(job, err);
    }
    return RG_OK;
}

static int orientation_of(struct job *job)
{
    png_uint_32 size = 0;
    png_bytep tiff = NULL;
    if (!png_get_eXIf_1(job->png, job->info, &size, &tiff) || !tiff)
        return 1;
    return rg_exif_orientation(tiff, size);
}

/* Reads the header; fills the header fields of *image. */
static rg_code examine(struct job *job, rg_image *image, rg_error *err)
{
    if (!guarded(job, read_header))
        return refused(job, err);
    image->width = (int)png_get_image_width(job->png, job->info);
    image->full_height = (int)png_get_image_height(job->png, job->info);
    bool colour = job->indexed || png_get_channels(job->png, job->info) >= 3;
    image->channels = colour ? 3 : 1;
    image->depth = png_get_bit_depth(job->png, job->info);
    image->orientation = orientation_of(job);
    return RG_OK;
}

static void compose_8(const uint8_t *in, size_t pixels, int channels, uint8_t *out)
{
    for (size_t i = 0; i < pixels; i++, in += channels + 1)
        for (int c = 0; c < channels; c++)
            *out++ = (uint8_t)((in[c] * in[channels] + 127) / 255);
}

static void compose_16(const uint16_t *in, size_t pixels, int channels, uint16_t *out)
{
    for (size_t i = 0; i < pixels; i++, in += channels + 1)
        for (int c = 0; c < channels; c++)
            *out++ = (uint16_t)(((uint32_t)in[c] * in[channels] + 32767) / 65535);
}

/* The palette's colours over black; 256 entries, *count of them defined. */
static void composed_palette(struct job *job, uint8_t palette[256][3], int *count)
{
    png_colorp colour = NULL;
    png_bytep alpha = NULL;
    int alphas = 0;
    *count = 0;
    png_get_PLTE(job->png, job->info, &colour, count);
    png_get_tRNS(job->png, job->info, &alpha, &alphas, NULL);
    for (int i = 0; i < *count; i++) {
        uint8_t rgba[4] = {colour[i].red, colour[i].green, colour[i].blue,
                           alpha && i < alphas ? alpha[i] : 255};
        compose_8(rgba, 1, 3, palette[i]);
    }
}

static rg_code look_up_palette(struct job *job, const uint8_t *index, rg_image *image,
                               rg_error *err)
{
    uint8_t palette[256][3] = {{0}};
    int count;
    composed_palette(job, palette, &count);
    uint8_t *out = image->data;
    size_t pixels = (size_t)image->width * (size_t)image->height;
    for (size_t i = 0; i < pixels; i++, out += 3) {
        if (index[i] >= count) {
            snprintf(job->fault, sizeof job->fault, "colour %d of a palette of %d", index[i],
                     count);
            return refused(job, err);
        }
        memcpy(out, palette[index[i]], 3);
    }
    return RG_OK;
}

static rg_code expand(struct job *job, const void *block, rg_image *image, rg_error *err)
{
    size_t pixels = (size_t)image->width * (size_t)image->height;
    if (job->indexed)
        return look_up_palette(job, block, image, err);
    if (image->depth == 8)
        compose_8(block, pixels, image->channels, image->data);
    else
        compose_16(block, pixels, image->channels, image->data);
    return RG_OK;
}

/* Decodes into the image itself, or by way of a block of indices or with alpha. */
static rg_code fill(struct job *job, rg_image *image, rg_error *err)
{
    bool direct = png_get_channels(job->png, job->info) == image->channels;
    job->row_bytes = png_get_rowbytes(job->png, job->info);
    uint8_t *block = direct ? NULL : rg_alloc((size_t)image->height, job->row_bytes);
    if (!direct && !block)
        return rg_fail(err, RG_INTERNAL, "out of memory for a picture with a palette or alpha");
    job->rows = direct ? image->data : block;
    rg_code code = guarded(job, read_pixels) ? RG_OK : refused(job, err);
    if (!code && !direct)
        code = expand(job, block, image, err);
    free(block);
    return code;
}

static void keep_warnings(const struct job *job, rg_image *image)
{
    image->warnings = job->warnings;
    memcpy(image->warning, job->warning, sizeof image->warning);
}

rg_code rg_png_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err)
{
    struct job job;
    *image = (rg_image){0};
    rg_code code = open_job(&job, bytes, size, err);
    if (code)
        return code;
    code = examine(&job, image, err);
    keep_warnings(&job, image);
    png_destroy_read_struct(&job.png, &job.info, NULL);
    return code;
}

static rg_code decode_whole(struct job *job, rg_image *image, rg_error *err)
{
    rg_image header = {0};
    rg_code code = examine(job, &header, err);
    if (!code)
        code = rg_image_new(image, header.width, header.full_height, header.channels, header.depth,
                            err);
    if (code)
        return code;
    image->orientation = header.orientation;
    code = fill(job, image, err);
    keep_warnings(job, image);
    if (code)
        rg_image_free(image);
    return code;
}

rg_code rg_png_decode(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err)
{
    struct job job;
    *image = (rg_image){0};
    rg_code code = open_job(&job, bytes, size, err);
    if (code)
        return code;
    code = decode_whole(&job, image, err);
    png_destroy_read_struct(&job.png, &job.info, NULL);
    return code;
}

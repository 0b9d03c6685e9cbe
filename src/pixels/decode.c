/*
 * decode.c - from a file's bytes to an upright picture: chooses the decoder
 * by the first bytes, turns the picture by its EXIF orientation and cuts it
 * to the rows asked for where the decoder could not.
 */
#include "rimglow/decode.h"

#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rows.h"

rg_format rg_format_of(const uint8_t *bytes, size_t size)
{
    static const uint8_t png[8] = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
    static const uint8_t jpeg[3] = {0xff, 0xd8, 0xff};
    if (size >= sizeof png && memcmp(bytes, png, sizeof png) == 0)
        return RG_FORMAT_PNG;
    if (size >= sizeof jpeg && memcmp(bytes, jpeg, sizeof jpeg) == 0)
        return RG_FORMAT_JPEG;
    return RG_FORMAT_UNKNOWN;
}

static rg_code unknown_format(size_t size, rg_error *err)
{
    if (size == 0)
        return rg_fail(err, RG_BAD_DATA, "the picture file is empty; copy it again");
    return rg_fail(err, RG_BAD_DATA,
                   "the file of %zu bytes is neither JPEG nor PNG; save the frame as one of them",
                   size);
}

static rg_code check_bytes(size_t size, rg_error *err)
{
    if (size > RG_FILE_MAX_BYTES)
        return rg_fail(err, RG_BAD_DATA, "the file has %zu bytes, the most taken is %d", size,
                       (int)RG_FILE_MAX_BYTES);
    return RG_OK;
}

rg_code rg_decode_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err)
{
    *image = (rg_image){0};
    rg_code code = check_bytes(size, err);
    if (code)
        return code;
    rg_format format = rg_format_of(bytes, size);
    if (format == RG_FORMAT_UNKNOWN)
        return unknown_format(size, err);
    code = format == RG_FORMAT_JPEG ? rg_jpeg_header(bytes, size, image, err)
                                    : rg_png_header(bytes, size, image, err);
    if (code) {
        *image = (rg_image){0};
        return code;
    }
    if (image->orientation >= 5) {
        int width = image->width;
        image->width = image->full_height;
        image->full_height = width;
    }
    return RG_OK;
}

/* Keeps only these rows of a whole picture. */
static rg_code cut(rg_image *image, rg_rows rows, rg_error *err)
{
    rg_code code = rg_rows_clip(&rows, image->full_height, err);
    if (code)
        return code;
    size_t row_bytes = (size_t)image->width * (size_t)image->channels * (size_t)(image->depth / 8);
    uint8_t *data = image->data;
    memmove(data, data + (size_t)rows.first * row_bytes, (size_t)rows.count * row_bytes);
    image->first_row = rows.first;
    image->height = rows.count;
    void *smaller = realloc(data, (size_t)rows.count * row_bytes);
    if (smaller)
        image->data = smaller;
    return RG_OK;
}

static rg_code decode_any(const uint8_t *bytes, size_t size, rg_rows rows, bool luma,
                          rg_image *image, rg_error *err)
{
    switch (rg_format_of(bytes, size)) {
    case RG_FORMAT_JPEG:
        return rg_jpeg_decode(bytes, size, rows, luma, image, err);
    case RG_FORMAT_PNG:
        return rg_png_decode(bytes, size, image, err);
    default:
        return unknown_format(size, err);
    }
}

static rg_code decode_upright(const uint8_t *bytes, size_t size, rg_rows rows, bool luma,
                              rg_image *image, rg_error *err)
{
    *image = (rg_image){0};
    rg_code code = check_bytes(size, err);
    if (!code)
        code = decode_any(bytes, size, rows, luma, image, err);
    if (code)
        return code;
    bool whole = image->height == image->full_height;
    if (whole && image->orientation != 1)
        code = rg_image_orient(image, image->orientation, err);
    if (whole && !code)
        code = cut(image, rows, err);
    if (code)
        rg_image_free(image);
    return code;
}

rg_code rg_decode_rows(const uint8_t *bytes, size_t size, int first, int count, rg_image *image,
                       rg_error *err)
{
    return decode_upright(bytes, size, (rg_rows){first, count}, false, image, err);
}

rg_code rg_decode(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err)
{
    return rg_decode_rows(bytes, size, 0, INT_MAX, image, err);
}

/* A colour picture's codes combined with the given weights, in place of it. */
static rg_code combine(rg_image *image, const double weights[3], rg_error *err)
{
    rg_image luma = {0};
    rg_code code = rg_image_new(&luma, image->width, image->height, 1, 8, err);
    if (code == RG_OK) {
        rg_image_combine(image, weights, luma.data);
        luma.orientation = image->orientation;
        luma.warnings = image->warnings;
        memcpy(luma.warning, image->warning, sizeof luma.warning);
        rg_image_free(image);
        *image = luma;
    }
    return code;
}

rg_code rg_decode_luma(const uint8_t *bytes, size_t size, const double weights[3], rg_image *image,
                       rg_error *err)
{
    bool stored = fabs(weights[0] - 0.299) < 1e-6 && fabs(weights[1] - 0.587) < 1e-6 &&
                  fabs(weights[2] - 0.114) < 1e-6;
    rg_code code = decode_upright(bytes, size, (rg_rows){0, INT_MAX}, stored, image, err);
    if (code == RG_OK && (image->channels == 3 || image->depth != 8))
        code = combine(image, weights, err);
    if (code != RG_OK)
        rg_image_free(image);
    return code;
}

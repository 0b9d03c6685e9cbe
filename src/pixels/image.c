/*
 * image.c - the life of an rg_image, turning it upright, its luma.
 *
 * Orientation (CIPA DC-008 "Exif", tag 274) says where row 0 and column 0 of
 * the stored picture belong: 1 top left, 2 top right, 3 bottom right,
 * 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom.
 * Each case is a start pixel and two strides through the stored picture.
 *
 * Luma is 0.299 R + 0.587 G + 0.114 B of the codes (ITU-R BT.601), in 16-bit
 * fixed point whose three factors add up to exactly 65536.
 */
#include "rimglow/image.h"

#include <stdlib.h>
#include <string.h>

#include "rimglow/memory.h"
#include "rows.h"

rg_code rg_image_check_size(int64_t width, int64_t height, rg_error *err)
{
    int64_t low = width < height ? width : height;
    int64_t high = width < height ? height : width;
    if (low < RG_IMAGE_MIN_SIDE)
        return rg_fail(err, RG_BAD_DATA,
                       "the picture is %lld x %lld pixels, the smallest side taken is %d; "
                       "use the camera's full picture",
                       (long long)width, (long long)height, (int)RG_IMAGE_MIN_SIDE);
    if (high > RG_IMAGE_MAX_SIDE)
        return rg_fail(err, RG_BAD_DATA,
                       "the picture is %lld x %lld pixels, the largest side taken is %d; "
                       "crop it or use a smaller picture size",
                       (long long)width, (long long)height, (int)RG_IMAGE_MAX_SIDE);
    if (width * height > RG_IMAGE_MAX_PIXELS)
        return rg_fail(err, RG_BAD_DATA,
                       "the picture has %lld pixels, the most taken is %d; "
                       "crop it or use a smaller picture size",
                       (long long)(width * height), (int)RG_IMAGE_MAX_PIXELS);
    return RG_OK;
}

rg_code rg_rows_clip(rg_rows *rows, int full_height, rg_error *err)
{
    int64_t first = rows->first, end = first + rows->count;
    int64_t from = first > 0 ? first : 0;
    int64_t to = end < full_height ? end : full_height;
    if (from >= to)
        return rg_fail(err, RG_BAD_DATA,
                       "rows %lld to %lld lie outside the picture of %d rows; ask for rows in it",
                       (long long)first, (long long)(end - 1), full_height);
    *rows = (rg_rows){(int)from, (int)(to - from)};
    return RG_OK;
}

rg_code rg_image_new_rows(rg_image *image, int width, int full_height, rg_rows rows, int channels,
                          int depth, rg_error *err)
{
    *image = (rg_image){0};
    rg_code code = rg_image_check_size(width, full_height, err);
    if (code)
        return code;
    if ((channels != 1 && channels != 3) || (depth != 8 && depth != 16))
        return rg_fail(err, RG_BAD_DATA,
                       "a picture of %d channels of %d bits is not taken; "
                       "use 1 or 3 channels of 8 or 16 bits",
                       channels, depth);
    size_t row_bytes = (size_t)width * (size_t)channels * (size_t)(depth / 8);
    void *data = rg_alloc((size_t)rows.count, row_bytes);
    if (!data)
        return rg_fail(err, RG_INTERNAL,
                       "out of memory for a picture of %d x %d pixels; close other programs", width,
                       rows.count);
    *image = (rg_image){.width = width,
                        .full_height = full_height,
                        .first_row = rows.first,
                        .height = rows.count,
                        .channels = channels,
                        .depth = depth,
                        .orientation = 1,
                        .data = data};
    return RG_OK;
}

rg_code rg_image_new(rg_image *image, int width, int height, int channels, int depth, rg_error *err)
{
    return rg_image_new_rows(image, width, height, (rg_rows){0, height}, channels, depth, err);
}

void rg_image_free(rg_image *image)
{
    if (!image)
        return;
    free(image->data);
    *image = (rg_image){0};
}

/* Where upright pixel (0, 0) is in the stored picture, and the steps, in
 * pixels, to the next upright column and row. */
struct walk {
    ptrdiff_t start, column, row;
};

static struct walk walk_of(int orientation, int width, int height)
{
    ptrdiff_t w = width, h = height, right = w - 1, bottom = (h - 1) * w;
    switch (orientation) {
    case 2:
        return (struct walk){right, -1, w};
    case 3:
        return (struct walk){bottom + right, -1, -w};
    case 4:
        return (struct walk){bottom, 1, -w};
    case 5:
        return (struct walk){0, w, 1};
    case 6:
        return (struct walk){bottom, -w, 1};
    case 7:
        return (struct walk){bottom + right, -w, -1};
    case 8:
        return (struct walk){right, w, -1};
    default:
        return (struct walk){0, 1, w};
    }
}

static void gather_row(uint8_t *out, const uint8_t *in, int n, ptrdiff_t step, size_t pixel)
{
    for (int i = 0; i < n; i++, in += step, out += pixel)
        for (size_t b = 0; b < pixel; b++)
            out[b] = in[b];
}

rg_code rg_image_orient(rg_image *image, int orientation, rg_error *err)
{
    if (orientation < 1 || orientation > 8)
        return rg_fail(err, RG_BAD_DATA, "orientation is %d, the values of EXIF are 1 to 8",
                       orientation);
    if (image->first_row != 0 || image->height != image->full_height)
        return rg_fail(err, RG_INTERNAL,
                       "only a whole picture can be turned, this one holds %d of %d rows",
                       image->height, image->full_height);
    if (orientation == 1) {
        image->orientation = 1;
        return RG_OK;
    }
    bool swap = orientation >= 5;
    rg_image turned;
    rg_code code =
        rg_image_new(&turned, swap ? image->height : image->width,
                     swap ? image->width : image->height, image->channels, image->depth, err);
    if (code)
        return code;
    struct walk walk = walk_of(orientation, image->width, image->height);
    size_t pixel = (size_t)image->channels * (size_t)(image->depth / 8);
    const uint8_t *from = image->data;
    uint8_t *to = turned.data;
    for (int y = 0; y < turned.height; y++)
        gather_row(to + (size_t)y * (size_t)turned.width * pixel,
                   from + (walk.start + y * walk.row) * (ptrdiff_t)pixel, turned.width,
                   walk.column * (ptrdiff_t)pixel, pixel);
    turned.orientation = orientation;
    turned.warnings = image->warnings;
    memcpy(turned.warning, image->warning, sizeof turned.warning);
    free(image->data);
    *image = turned;
    return RG_OK;
}

static uint32_t luma_code(uint32_t r, uint32_t g, uint32_t b)
{
    return (19595 * r + 38470 * g + 7471 * b + 32768) >> 16;
}

static uint8_t to_8_bits(uint32_t code16)
{
    return (uint8_t)((code16 * 255 + 32767) / 65535);
}

void rg_image_luma(const rg_image *image, uint8_t *out)
{
    size_t n = (size_t)image->width * (size_t)image->height;
    const uint8_t *p8 = image->data;
    const uint16_t *p16 = image->data;
    if (image->depth == 8 && image->channels == 1)
        memcpy(out, p8, n);
    else if (image->depth == 8)
        for (size_t i = 0; i < n; i++, p8 += 3)
            out[i] = (uint8_t)luma_code(p8[0], p8[1], p8[2]);
    else if (image->channels == 1)
        for (size_t i = 0; i < n; i++)
            out[i] = to_8_bits(p16[i]);
    else
        for (size_t i = 0; i < n; i++, p16 += 3)
            out[i] = to_8_bits(luma_code(p16[0], p16[1], p16[2]));
}

void rg_image_combine(const rg_image *image, const double weights[3], uint8_t *out)
{
    if (image->channels == 1) {
        rg_image_luma(image, out);
        return;
    }
    size_t n = (size_t)image->width * (size_t)image->height;
    const uint8_t *p8 = image->data;
    const uint16_t *p16 = image->data;
    double scale = image->depth == 8 ? 1 : 255.0 / 65535;
    for (size_t i = 0; i < 3 * n; i += 3) {
        double code = 0;
        for (size_t c = 0; c < 3; c++)
            code += weights[c] * (image->depth == 8 ? p8[i + c] : p16[i + c]);
        out[i / 3] = (uint8_t)(code * scale + 0.5);
    }
}

/*
 * decode_target.h - any bytes of one picture format through decode.h: header,
 * whole picture, some rows. Broken promises end the process: a success
 * without pixels, a failure with pixels or without a text, a header that
 * disagrees with the picture. Pictures that claim more than a million pixels
 * are only read as headers, to keep a run short.
 */
#ifndef RIMGLOW_FUZZ_DECODE_TARGET_H
#define RIMGLOW_FUZZ_DECODE_TARGET_H

#include "fuzz.h"
#include "rimglow/decode.h"

static inline void check(rg_code code, const rg_image *image, const rg_error *err)
{
    require((code == RG_OK) == (image->data != NULL));
    require(code == RG_OK || (err->code == code && err->text[0]));
}

static inline void decode_rows(const uint8_t *data, size_t size, int height)
{
    rg_image image;
    rg_error err = {0};
    rg_code code = rg_decode_rows(data, size, height / 3, 5, &image, &err);
    check(code, &image, &err);
    rg_image_free(&image);
}

static inline int fuzz_decode(rg_format format, const uint8_t *data, size_t size)
{
    rg_image header, image;
    rg_error err = {0};
    if (rg_format_of(data, size) != format || rg_decode_header(data, size, &header, &err) ||
        (int64_t)header.width * header.full_height > 1000000)
        return 0;
    rg_code code = rg_decode(data, size, &image, &err);
    check(code, &image, &err);
    if (code == RG_OK) {
        require(image.width == header.width && image.height == header.full_height);
        require(image.channels == header.channels && image.depth == header.depth);
        uint8_t *luma = malloc((size_t)image.width * (size_t)image.height);
        if (luma)
            rg_image_luma(&image, luma);
        free(luma);
        decode_rows(data, size, image.height);
    }
    rg_image_free(&image);
    return 0;
}

#endif

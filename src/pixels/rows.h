/*
 * rows.h - what the decoders share inside src/pixels: limits on a header,
 * pictures that hold only some rows, and the decoders' own entry points.
 */
#ifndef RIMGLOW_PIXELS_ROWS_H
#define RIMGLOW_PIXELS_ROWS_H

#include "rimglow/image.h"

/* A run of picture rows. */
typedef struct rg_rows {
    int first, count;
} rg_rows;

/* RG_BAD_DATA, naming limit and value, when a picture of that size is not
 * taken on. Sides are 64 bits wide so that no header value wraps. */
rg_code rg_image_check_size(int64_t width, int64_t height, rg_error *err);

/* Cuts the run to [0, full_height); RG_BAD_DATA when nothing is left. */
rg_code rg_rows_clip(rg_rows *rows, int full_height, rg_error *err);

/* rg_image_new for a picture that holds only these (already clipped) rows. */
rg_code rg_image_new_rows(rg_image *image, int width, int full_height, rg_rows rows, int channels,
                          int depth, rg_error *err);

/* The header only: width, full_height, channels, depth as STORED, before
 * orientation, and the orientation. */
rg_code rg_jpeg_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err);
rg_code rg_png_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err);

/* Pixels as stored, not yet upright. The JPEG decoder keeps only the rows
 * asked for when the orientation is 1, and everything otherwise; with luma
 * true it keeps only Y', which costs no upsampling of chroma. */
rg_code rg_jpeg_decode(const uint8_t *bytes, size_t size, rg_rows rows, bool luma, rg_image *image,
                       rg_error *err);
rg_code rg_png_decode(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err);

#endif

/*
 * decode.h - camera frames from bytes: JPEG (libjpeg-turbo) and PNG (libpng).
 *
 * Bytes in, rg_image out; nothing here opens a file. Every limit of image.h
 * is checked on the header, before pixels are allocated. A JPEG is decoded
 * with the accurate integer IDCT; more than RG_JPEG_MAX_SCANS scans are
 * refused; corrupt-data warnings are counted in image->warnings: such a
 * picture may be shown but is never evidence. The libraries never end the
 * process or write to stderr. Where a PNG has no sRGB chunk, or another
 * gamma, sRGB is assumed all the same.
 */
#ifndef RIMGLOW_DECODE_H
#define RIMGLOW_DECODE_H

#include "rimglow/image.h"

enum { RG_JPEG_MAX_SCANS = 64, RG_FILE_MAX_BYTES = 256 * 1024 * 1024 };

typedef enum rg_format { RG_FORMAT_UNKNOWN, RG_FORMAT_JPEG, RG_FORMAT_PNG } rg_format;

/* By the first bytes, not by a file's name. */
rg_format rg_format_of(const uint8_t *bytes, size_t size);

/* What the header says, without decoding pixels: width, full_height (after
 * orientation), channels, depth and orientation are set; data stays NULL. */
rg_code rg_decode_header(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err);

/* The whole picture, upright. 1 or 3 channels: alpha is composed over
 * black, palettes are expanded, CMYK is refused. */
rg_code rg_decode(const uint8_t *bytes, size_t size, rg_image *image, rg_error *err);

/* Only rows [first, first + count) of the upright picture, clipped to it. A
 * JPEG of orientation 1 skips the rest inside the decoder; others are
 * decoded whole and cut. */
rg_code rg_decode_rows(const uint8_t *bytes, size_t size, int first, int count, rg_image *image,
                       rg_error *err);

/* The whole picture as 8-bit luma: Y' = sum of weights times R, G, B codes
 * (weights >= 0, sum 1). With JPEG's own weights 0.299, 0.587, 0.114
 * (ITU-T T.871) a JPEG's Y plane comes straight from the file: the only
 * combination that chroma subsampling leaves sharp, and the cheapest. */
rg_code rg_decode_luma(const uint8_t *bytes, size_t size, const double weights[3], rg_image *image,
                       rg_error *err);

/* EXIF orientation (tag 274) of a JPEG's APP1 or a PNG's eXIf payload: the
 * bytes from the "II"/"MM" byte-order mark on. 1 when absent or malformed. */
int rg_exif_orientation(const uint8_t *tiff, size_t size);

#endif

/*
 * image.h - decoded pictures and their linear light.
 *
 * Pixel CENTRES are at integer coordinates, x to the right and y down: the
 * picture covers [-0.5, width - 0.5] x [-0.5, height - 0.5]. Samples are the
 * stored codes (sRGB unless the file says otherwise), 1 (grey) or 3 (RGB)
 * interleaved channels of 8 or 16 bits in host order.
 *
 * An rg_image may hold only some rows of the picture (region decode):
 * first_row is the picture row of its row 0 and full_height the height of
 * the whole picture. All coordinates handed to functions are those of the
 * whole picture.
 */
#ifndef RIMGLOW_IMAGE_H
#define RIMGLOW_IMAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "rimglow/status.h"

/* Limits checked, in 64-bit arithmetic, before anything is allocated. */
enum {
    RG_IMAGE_MAX_SIDE = 16384,          /* px */
    RG_IMAGE_MAX_PIXELS = 64 * 1000000, /* px */
    RG_IMAGE_MIN_SIDE = 16              /* px; smaller cannot be a camera frame */
};

typedef struct rg_image {
    int width;         /* px, whole picture, after orientation */
    int full_height;   /* px, whole picture, after orientation */
    int first_row;     /* picture row of data row 0 */
    int height;        /* rows held */
    int channels;      /* 1 or 3 */
    int depth;         /* 8 or 16 bits a sample */
    int orientation;   /* EXIF tag 274 as found, 1..8; pixels are already upright */
    unsigned warnings; /* corrupt-data warnings of the decoder */
    char warning[200]; /* the first of them, "" if none */
    void *data;        /* owned; row-major, no padding; uint8_t or uint16_t */
} rg_image;

/* Makes a zeroed picture; data is owned by the image. RG_BAD_DATA when a
 * limit is passed (the text names limit and value), RG_INTERNAL without
 * memory. On failure *image is all zero. */
rg_code rg_image_new(rg_image *image, int width, int height, int channels, int depth,
                     rg_error *err);
/* Frees data and zeroes the struct; safe on an all-zero struct and on NULL. */
void rg_image_free(rg_image *image);

/* Turns the picture upright for EXIF orientation 1..8 (CIPA DC-008, tag 274). */
rg_code rg_image_orient(rg_image *image, int orientation, rg_error *err);

/* 8-bit grey (BT.601 luma of the codes, as JPEG uses) of the whole image,
 * for tag detection only, never for photometry. out holds width*height. */
void rg_image_luma(const rg_image *image, uint8_t *out);

/* The same with weights of one's own (>= 0, sum 1). A grey picture's codes
 * are copied. out holds width * height. */
void rg_image_combine(const rg_image *image, const double weights[3], uint8_t *out);

/* Table from codes to weighted linear light (IEC 61966-2-1:1999).
 * weights: non-negative, summing to 1 within 1e-6; for a grey picture only
 * their sum counts. Opaque only in intent: at() needs the tables inline. */
typedef struct rg_linear {
    int channels, depth;
    float *table[3]; /* owned; 2^depth entries each, already weighted */
    float *light;    /* owned; 2^depth entries, not weighted */
} rg_linear;

rg_code rg_linear_new(rg_linear *linear, int channels, int depth, const double weights[3],
                      rg_error *err);
void rg_linear_free(rg_linear *linear);

/* sRGB code value in 0..1 to linear light 0..1 and back. */
double rg_srgb_to_linear(double code);
double rg_linear_to_srgb(double light);

/* A rectangle of linear light, one float per channel and pixel, interleaved. */
typedef struct rg_plane {
    int x0, y0; /* picture coordinates of sample (0, 0) */
    int width, height, channels;
    float *data; /* owned */
} rg_plane;

/* Linear light of the rectangle [x0, x0+width) x [y0, y0+height), clipped to
 * the rows and columns held. With weighted = true one channel holds the
 * weighted sum; else every channel is kept apart, each 0..1 (unweighted).
 * RG_BAD_DATA when nothing of the rectangle is in the picture. */
rg_code rg_plane_new(rg_plane *plane, const rg_image *image, const rg_linear *linear, int x0,
                     int y0, int width, int height, bool weighted, rg_error *err);
void rg_plane_free(rg_plane *plane);

/* Bilinear light of one channel at (x, y); NAN outside the plane. */
static inline float rg_plane_at(const rg_plane *p, int channel, double x, double y)
{
    double fx = x - p->x0, fy = y - p->y0;
    if (!(fx >= 0 && fy >= 0 && fx <= p->width - 1 && fy <= p->height - 1))
        return __builtin_nanf("");
    int ix = (int)fx, iy = (int)fy;
    if (ix > p->width - 2)
        ix = p->width - 2;
    if (iy > p->height - 2)
        iy = p->height - 2;
    float ax = (float)(fx - ix), ay = (float)(fy - iy);
    size_t step = (size_t)p->channels, row = step * (size_t)p->width;
    const float *q = p->data + (size_t)iy * row + (size_t)ix * step + channel;
    float top = q[0] + ax * (q[step] - q[0]);
    float low = q[row] + ax * (q[row + step] - q[row]);
    return top + ay * (low - top);
}

#endif

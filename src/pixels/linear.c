/*
 * linear.c - from sRGB codes to linear light.
 *
 * IEC 61966-2-1:1999, with C the code in 0..1 and L the light in 0..1:
 *   L = C / 12.92                        for C <= 0.04045
 *   L = ((C + 0.055) / 1.055)^2.4        above
 *   C = 12.92 L                          for L <= 0.0031308
 *   C = 1.055 L^(1/2.4) - 0.055          above
 * A code of b bits is C (2^b - 1). Tables turn a code into light times the
 * channel's weight, so that the weighted light of a pixel is three look-ups
 * and two additions; the loops over a row hold no branch.
 */
#include <math.h>
#include <stdlib.h>

#include "rimglow/image.h"
#include "rimglow/memory.h"

double rg_srgb_to_linear(double code)
{
    return code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);
}

double rg_linear_to_srgb(double light)
{
    return light <= 0.0031308 ? 12.92 * light : 1.055 * pow(light, 1 / 2.4) - 0.055;
}

static bool weights_are_valid(const double w[3])
{
    return w[0] >= 0 && w[1] >= 0 && w[2] >= 0 && fabs(w[0] + w[1] + w[2] - 1) <= 1e-6;
}

static rg_code check_tables(int channels, int depth, const double w[3], rg_error *err)
{
    if ((channels != 1 && channels != 3) || (depth != 8 && depth != 16))
        return rg_fail(err, RG_BAD_DATA,
                       "linear light of %d channels of %d bits is not known; "
                       "use 1 or 3 channels of 8 or 16 bits",
                       channels, depth);
    if (!weights_are_valid(w))
        return rg_fail(err, RG_BAD_DATA,
                       "channel weights %g %g %g are not valid; use three that are not negative "
                       "and add up to 1",
                       w[0], w[1], w[2]);
    return RG_OK;
}

rg_code rg_linear_new(rg_linear *linear, int channels, int depth, const double weights[3],
                      rg_error *err)
{
    *linear = (rg_linear){0};
    rg_code code = check_tables(channels, depth, weights, err);
    if (code)
        return code;
    size_t n = (size_t)1 << depth;
    linear->light = rg_alloc(n, sizeof(float));
    bool ok = linear->light != NULL;
    for (int c = 0; c < channels; c++) {
        linear->table[c] = rg_alloc(n, sizeof(float));
        ok = ok && linear->table[c];
    }
    if (!ok) {
        rg_linear_free(linear);
        return rg_fail(err, RG_INTERNAL, "out of memory for the tables of linear light");
    }
    linear->channels = channels;
    linear->depth = depth;
    double grey = weights[0] + weights[1] + weights[2];
    for (size_t i = 0; i < n; i++) {
        double light = rg_srgb_to_linear((double)i / (double)(n - 1));
        linear->light[i] = (float)light;
        for (int c = 0; c < channels; c++)
            linear->table[c][i] = (float)(light * (channels == 1 ? grey : weights[c]));
    }
    return RG_OK;
}

void rg_linear_free(rg_linear *linear)
{
    if (!linear)
        return;
    for (int c = 0; c < 3; c++)
        free(linear->table[c]);
    free(linear->light);
    *linear = (rg_linear){0};
}

/* ---- rows ---- */

static void look_up_8(const uint8_t *restrict code, size_t n, const float *restrict table,
                      float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = table[code[i]];
}

static void look_up_16(const uint16_t *restrict code, size_t n, const float *restrict table,
                       float *restrict out)
{
    for (size_t i = 0; i < n; i++)
        out[i] = table[code[i]];
}

static void weigh_rgb_8(const uint8_t *restrict code, size_t n, float *const table[3],
                        float *restrict out)
{
    const float *r = table[0], *g = table[1], *b = table[2];
    for (size_t i = 0; i < n; i++)
        out[i] = r[code[3 * i]] + g[code[3 * i + 1]] + b[code[3 * i + 2]];
}

static void weigh_rgb_16(const uint16_t *restrict code, size_t n, float *const table[3],
                         float *restrict out)
{
    const float *r = table[0], *g = table[1], *b = table[2];
    for (size_t i = 0; i < n; i++)
        out[i] = r[code[3 * i]] + g[code[3 * i + 1]] + b[code[3 * i + 2]];
}

/* One row of the plane; offset counts samples into the image. */
static void fill_row(const rg_image *image, const rg_linear *linear, size_t offset, size_t pixels,
                     bool weighted, float *out)
{
    const uint8_t *p8 = image->data;
    const uint16_t *p16 = image->data;
    bool sum = weighted && image->channels == 3;
    const float *table = weighted ? linear->table[0] : linear->light;
    size_t samples = pixels * (size_t)image->channels;
    if (sum && image->depth == 8)
        weigh_rgb_8(p8 + offset, pixels, linear->table, out);
    else if (sum)
        weigh_rgb_16(p16 + offset, pixels, linear->table, out);
    else if (image->depth == 8)
        look_up_8(p8 + offset, samples, table, out);
    else
        look_up_16(p16 + offset, samples, table, out);
}

/* ---- planes ---- */

static int64_t larger(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

static int64_t smaller(int64_t a, int64_t b)
{
    return a < b ? a : b;
}

/* Cuts the rectangle in *plane to the rows and columns the image holds. */
static bool clip(rg_plane *plane, const rg_image *image)
{
    int64_t left = larger(plane->x0, 0), top = larger(plane->y0, image->first_row);
    int64_t right = smaller((int64_t)plane->x0 + plane->width, image->width);
    int64_t low =
        smaller((int64_t)plane->y0 + plane->height, (int64_t)image->first_row + image->height);
    if (left >= right || top >= low)
        return false;
    plane->x0 = (int)left;
    plane->y0 = (int)top;
    plane->width = (int)(right - left);
    plane->height = (int)(low - top);
    return true;
}

static rg_code check_plane(const rg_image *image, const rg_linear *linear, rg_error *err)
{
    if (!image->data)
        return rg_fail(err, RG_INTERNAL, "the picture has no pixels yet; decode it first");
    if (image->channels != linear->channels || image->depth != linear->depth)
        return rg_fail(err, RG_BAD_DATA,
                       "the picture has %d channels of %d bits where %d of %d were expected; "
                       "use one picture format for all frames",
                       image->channels, image->depth, linear->channels, linear->depth);
    return RG_OK;
}

rg_code rg_plane_new(rg_plane *plane, const rg_image *image, const rg_linear *linear, int x0,
                     int y0, int width, int height, bool weighted, rg_error *err)
{
    *plane = (rg_plane){0};
    rg_code code = check_plane(image, linear, err);
    if (code)
        return code;
    rg_plane p = {x0, y0, width, height, weighted ? 1 : image->channels, NULL};
    if (!clip(&p, image))
        return rg_fail(err, RG_BAD_DATA,
                       "nothing of the rectangle %d,%d %dx%d lies in the picture of %d x %d", x0,
                       y0, width, height, image->width, image->full_height);
    size_t row = (size_t)p.width * (size_t)p.channels;
    p.data = malloc(row * (size_t)p.height * sizeof(float));
    if (!p.data)
        return rg_fail(err, RG_INTERNAL, "out of memory for %d x %d pixels of linear light",
                       p.width, p.height);
    for (int y = 0; y < p.height; y++) {
        size_t image_row = (size_t)(p.y0 + y - image->first_row);
        size_t offset = (image_row * (size_t)image->width + (size_t)p.x0) * (size_t)image->channels;
        fill_row(image, linear, offset, (size_t)p.width, weighted, p.data + (size_t)y * row);
    }
    *plane = p;
    return RG_OK;
}

void rg_plane_free(rg_plane *plane)
{
    if (!plane)
        return;
    free(plane->data);
    *plane = (rg_plane){0};
}

/*
 * synth_camera.c - from light to codes, JPEG and PNG. See synth.h.
 */
#include <math.h>
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <jpeglib.h>
#include <png.h>

#include "rimglow/memory.h"
#include "rimglow/random.h"
#include "synth_private.h"

enum { NORMALS = 65536, CODES = 65536 };

struct rg_synth_sensor {
    float photon, read;    /* variance of light per unit light; variance of light */
    float normal[NORMALS]; /* quantiles of the normal distribution, variance 1 */
    uint8_t code[CODES];   /* linear light to code */
};

/* ----------------------------------------------------------------- lens */

static double corner_distance(const rg_lens *lens)
{
    double x = fmax(lens->cx + 0.5, lens->width - 0.5 - lens->cx);
    double y = fmax(lens->cy + 0.5, lens->height - 0.5 - lens->cy);
    return hypot(x, y);
}

rg_code rg_synth_vignette(rg_synth_view *view, const rg_lens *lens, double power, double loss,
                          rg_error *err)
{
    if (view->width != lens->width || view->height != lens->height)
        return rg_fail(err, RG_BAD_DATA,
                       "vignetting: a picture of %d x %d px, a lens of %d x %d px", view->width,
                       view->height, lens->width, lens->height);
    if (!(power >= 0 && power <= 16 && loss >= 0 && loss < 1))
        return rg_fail(
            err, RG_BAD_DATA,
            "vignetting: cosine to the power %g, %g lost in the corners; 0 to 16 and 0 to "
            "below 1 are possible",
            power, loss);
    size_t plane = (size_t)view->width * (size_t)view->height;
    double far = corner_distance(lens);
    for (int y = 0; y < view->height; y++)
        for (int x = 0; x < view->width; x++) {
            double dx = x - lens->cx, dy = y - lens->cy, r = hypot(dx, dy) / far;
            double tangent = hypot(dx / lens->fx, dy / lens->fy);
            float pass = (float)(pow(1 + tangent * tangent, -0.5 * power) * (1 - loss * r * r));
            float *light = view->light + (size_t)y * (size_t)view->width + (size_t)x;
            for (int k = 0; k < 3; k++)
                light[(size_t)k * plane] *= pass;
        }
    return RG_OK;
}

void rg_synth_veil(rg_synth_view *view, double glare)
{
    size_t plane = (size_t)view->width * (size_t)view->height;
    for (int k = 0; glare > 0 && k < 3; k++) {
        float *light = view->light + (size_t)k * plane;
        double sum = 0;
        for (size_t i = 0; i < plane; i++)
            sum += (double)light[i];
        float even = (float)(glare * sum / (double)plane);
        for (size_t i = 0; i < plane; i++)
            light[i] = light[i] * (float)(1 - glare) + even;
    }
}

/* --------------------------------------------------------------- sensor */

static void tabulate_normal(rg_synth_sensor *s)
{
    double square = 0;
    for (int i = 0; i < NORMALS; i++) {
        double x = gsl_cdf_ugaussian_Pinv((i + 0.5) / NORMALS);
        s->normal[i] = (float)x;
        square += x * x;
    }
    float scale = (float)(1 / sqrt(square / NORMALS));
    for (int i = 0; i < NORMALS; i++)
        s->normal[i] *= scale;
}

rg_code rg_synth_sensor_new(rg_synth_sensor **sensor, double full_well, double read_noise,
                            rg_error *err)
{
    *sensor = NULL;
    bool none = full_well == 0 && read_noise == 0;
    if (!none && !(full_well >= 100 && full_well < 1e9))
        return rg_fail(err, RG_BAD_DATA, "sensor: a full well of %g electrons; 100 or more",
                       full_well);
    if (!(read_noise >= 0 && read_noise < 1e6))
        return rg_fail(err, RG_BAD_DATA, "sensor: read noise of %g electrons; 0 or more",
                       read_noise);
    rg_synth_sensor *s = rg_alloc(1, sizeof *s);
    if (!s)
        return rg_fail(err, RG_INTERNAL, "no memory for the sensor's tables");
    tabulate_normal(s);
    for (int i = 0; i < CODES; i++)
        s->code[i] = (uint8_t)lround(255 * rg_linear_to_srgb(i / (CODES - 1.0)));
    if (!none) {
        s->photon = (float)(1 / full_well);
        s->read = (float)(read_noise / full_well * read_noise / full_well);
    }
    *sensor = s;
    return RG_OK;
}

void rg_synth_sensor_free(rg_synth_sensor *sensor)
{
    free(sensor);
}

/* S. Vigna, "Further scramblings of Marsaglia's xorshift generators", J.
 * Comput. Appl. Math. 315 (2017) 175-181: xorshift64*. */
static uint64_t draw_bits(uint64_t *state)
{
    uint64_t x = *state;
    x ^= x >> 12;
    x ^= x << 25;
    x ^= x >> 27;
    *state = x;
    return x * 2685821657736338717ull;
}

/* Neighbouring seeds are thrown far apart; xorshift never leaves 0. */
static uint64_t scatter_seed(uint64_t seed)
{
    rg_random random = {seed};
    uint64_t far = rg_random_next(&random);
    return far ? far : 1;
}

rg_code rg_synth_expose(const rg_synth_sensor *sensor, const rg_synth_view *view, double exposure,
                        uint64_t seed, rg_image *image, rg_error *err)
{
    if (!(exposure > 0 && exposure < 1e6)) {
        *image = (rg_image){0};
        return rg_fail(err, RG_BAD_DATA, "rendered frame: exposure %g is not above 0", exposure);
    }
    rg_code code = rg_image_new(image, view->width, view->height, 3, 8, err);
    if (code != RG_OK)
        return code;
    uint8_t *to = image->data;
    uint64_t state = scatter_seed(seed);
    size_t plane = (size_t)view->width * (size_t)view->height;
    float gain = (float)exposure;
    for (size_t i = 0; i < plane; i++) {
        uint64_t bits = draw_bits(&state);
        for (int c = 0; c < 3; c++, bits >>= 16) {
            float light = gain * view->light[(size_t)c * plane + i];
            light += sensor->normal[bits & 0xffff] * sqrtf(sensor->photon * light + sensor->read);
            light = light < 0 ? 0 : light > 1 ? 1 : light;
            *to++ = sensor->code[(int)(light * (CODES - 1) + 0.5f)];
        }
    }
    return RG_OK;
}

/* ----------------------------------------------------------------- JPEG */

typedef struct failure {
    struct jpeg_error_mgr base;
    jmp_buf jump;
} failure;

static void leave(j_common_ptr info)
{
    failure *f = (failure *)info->err;
    longjmp(f->jump, 1);
}

static void write_rows(struct jpeg_compress_struct *jpeg, const rg_image *image, int quality)
{
    jpeg->image_width = (JDIMENSION)image->width;
    jpeg->image_height = (JDIMENSION)image->height;
    jpeg->input_components = 3;
    jpeg->in_color_space = JCS_RGB;
    jpeg_set_defaults(jpeg);
    jpeg_set_quality(jpeg, quality, TRUE);
    jpeg_start_compress(jpeg, TRUE);
    while (jpeg->next_scanline < jpeg->image_height) {
        JSAMPROW row =
            (uint8_t *)image->data + (size_t)jpeg->next_scanline * 3 * (size_t)image->width;
        jpeg_write_scanlines(jpeg, &row, 1);
    }
    jpeg_finish_compress(jpeg);
}

static rg_code check_image(const char *kind, const rg_image *image, rg_error *err)
{
    if (image->channels == 3 && image->depth == 8 && image->height == image->full_height)
        return RG_OK;
    return rg_fail(err, RG_BAD_DATA,
                   "%s of a rendered frame: needs all rows, 3 channels of 8 bits, has %d of %d",
                   kind, image->channels, image->depth);
}

rg_code rg_synth_jpeg(const rg_image *image, int quality, uint8_t **bytes, size_t *size,
                      rg_error *err)
{
    *bytes = NULL;
    *size = 0;
    rg_code code = check_image("JPEG", image, err);
    if (code != RG_OK)
        return code;
    struct jpeg_compress_struct jpeg;
    failure fail;
    unsigned char *out = NULL;
    unsigned long length = 0;
    jpeg.err = jpeg_std_error(&fail.base);
    fail.base.error_exit = leave;
    if (setjmp(fail.jump)) {
        jpeg_destroy_compress(&jpeg);
        return rg_fail(err, RG_INTERNAL, "JPEG of a rendered frame: the library gave up");
    }
    jpeg_create_compress(&jpeg);
    jpeg_mem_dest(&jpeg, &out, &length);
    write_rows(&jpeg, image, quality < 1 ? 1 : quality > 100 ? 100 : quality);
    jpeg_destroy_compress(&jpeg);
    *bytes = out;
    *size = length;
    return RG_OK;
}

/* ------------------------------------------------------------------ PNG */

rg_code rg_synth_png(const rg_image *image, uint8_t **bytes, size_t *size, rg_error *err)
{
    *bytes = NULL;
    *size = 0;
    rg_code code = check_image("PNG", image, err);
    if (code != RG_OK)
        return code;
    png_image png = {.version = PNG_IMAGE_VERSION,
                     .width = (png_uint_32)image->width,
                     .height = (png_uint_32)image->height,
                     .format = PNG_FORMAT_RGB};
    png_alloc_size_t room = PNG_IMAGE_PNG_SIZE_MAX(png);
    uint8_t *to = rg_alloc(room, 1);
    if (!to)
        return rg_fail(err, RG_INTERNAL, "no memory for a PNG of %d x %d px", image->width,
                       image->height);
    if (!png_image_write_to_memory(&png, to, &room, 0, image->data, 0, NULL)) {
        free(to);
        return rg_fail(err, RG_INTERNAL, "PNG of a rendered frame: %s", png.message);
    }
    *bytes = to;
    *size = room;
    return RG_OK;
}

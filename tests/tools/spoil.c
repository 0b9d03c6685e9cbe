/*
 * spoil.c - makes bad camera frames out of good ones, for tests/cli.
 *
 *   spoil light GAIN IN OUT        linear light times GAIN, clipped at 1
 *   spoil blur SIGMA IN OUT        blurred by a Gaussian, px, in linear light
 *   spoil smear PX IN OUT          moved by PX px along x while exposed; along y
 *                                  when negative
 *   spoil paste ID X Y SIDE IN OUT a square of white paper at (X, Y), SIDE px
 *                                  wide, with tag ID of tag36h11 upright on it;
 *                                  ID -1: no tag
 *   spoil halve IN OUT             every second pixel of every second row
 *   spoil png IN OUT               the same picture as PNG
 *   spoil claim W H IN OUT         a JPEG whose header says W x H px
 *   spoil flip FROM COUNT IN OUT   inverts COUNT bytes from byte FROM on
 *   spoil whole IN                 says nothing when IN is a whole picture
 *
 * Pictures are written as JPEG of quality 95 without chroma subsampling unless
 * said; exit code 1 and a message on any failure. The light curve is that of
 * IEC 61966-2-1, the place of width and height in a JPEG's frame header that
 * of ITU-T T.81, B.2.2.
 */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
#include <jpeglib.h>
#include <png.h>

#include "rimglow/decode.h"
#include "rimglow/file.h"

typedef struct blob {
    uint8_t *bytes; /* owned */
    size_t size;
} blob;

static bool complain(const char *text)
{
    fprintf(stderr, "spoil: %s\n", text);
    return false;
}

static bool load(const char *path, blob *file)
{
    rg_error err = {0};
    if (rg_file_read(path, RG_FILE_MAX_BYTES, &file->bytes, &file->size, &err) != RG_OK)
        return complain(err.text);
    return true;
}

static bool save(const char *path, const uint8_t *bytes, size_t size)
{
    rg_error err = {0};
    return rg_file_write(path, bytes, size, &err) == RG_OK || complain(err.text);
}

static bool load_picture(const char *path, rg_image *image)
{
    rg_error err = {0};
    blob file = {0};
    bool ok = load(path, &file);
    if (ok && rg_decode(file.bytes, file.size, image, &err) != RG_OK)
        ok = complain(err.text);
    if (ok && (image->channels != 3 || image->depth != 8))
        ok = complain("only pictures of 3 channels of 8 bits");
    free(file.bytes);
    return ok;
}

static bool save_jpeg(const char *path, const rg_image *image)
{
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr errors;
    unsigned char *bytes = NULL;
    unsigned long size = 0;
    c.err = jpeg_std_error(&errors);
    jpeg_create_compress(&c);
    jpeg_mem_dest(&c, &bytes, &size);
    c.image_width = (JDIMENSION)image->width;
    c.image_height = (JDIMENSION)image->height;
    c.input_components = 3;
    c.in_color_space = JCS_RGB;
    jpeg_set_defaults(&c);
    jpeg_set_quality(&c, 95, TRUE);
    c.comp_info[0].h_samp_factor = c.comp_info[0].v_samp_factor = 1;
    jpeg_start_compress(&c, TRUE);
    for (int y = 0; y < image->height; y++) {
        JSAMPROW row = (JSAMPROW)image->data + (size_t)y * (size_t)image->width * 3;
        jpeg_write_scanlines(&c, &row, 1);
    }
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    bool ok = save(path, bytes, size);
    free(bytes);
    return ok;
}

/* ---------------------------------------------------------------- commands */

static bool light(char **a)
{
    rg_image image = {0};
    uint8_t table[256];
    double gain = strtod(a[0], NULL);
    for (int i = 0; i < 256; i++)
        table[i] =
            (uint8_t)lround(255 * rg_linear_to_srgb(fmin(gain * rg_srgb_to_linear(i / 255.0), 1)));
    bool ok = load_picture(a[1], &image);
    if (ok) {
        uint8_t *p = image.data;
        for (size_t i = 0; i < (size_t)image.width * (size_t)image.height * 3; i++)
            p[i] = table[p[i]];
        ok = save_jpeg(a[2], &image);
    }
    rg_image_free(&image);
    return ok;
}

/* Weighted mean of the line's samples about each one; ends are repeated. */
static void mix_line(const double *from, double *to, int n, ptrdiff_t step, const double *weight,
                     int reach)
{
    for (int i = 0; i < n; i++) {
        double sum = 0, all = 0;
        for (int k = -reach; k <= reach; k++) {
            int at = i + k < 0 ? 0 : i + k >= n ? n - 1 : i + k;
            sum += weight[k + reach] * from[at * step];
            all += weight[k + reach];
        }
        to[i * step] = sum / all;
    }
}

enum { MIX_REACH = 60 };

/* In linear light, along x, y or both. */
static void mix(rg_image *image, const double *weight, int reach, bool along_x, bool along_y)
{
    int w = image->width, h = image->height;
    size_t n = (size_t)w * (size_t)h;
    double *light = malloc(2 * n * sizeof *light), *work = light + n;
    uint8_t *p = image->data;
    for (int c = 0; light && c < 3; c++) {
        for (size_t i = 0; i < n; i++)
            light[i] = rg_srgb_to_linear(p[3 * i + (size_t)c] / 255.0);
        for (int y = 0; along_x && y < h; y++)
            mix_line(light + (ptrdiff_t)y * w, work + (ptrdiff_t)y * w, w, 1, weight, reach);
        if (along_x)
            memcpy(light, work, n * sizeof *light);
        for (int x = 0; along_y && x < w; x++)
            mix_line(light + x, work + x, h, w, weight, reach);
        if (along_y)
            memcpy(light, work, n * sizeof *light);
        for (size_t i = 0; i < n; i++)
            p[3 * i + (size_t)c] = (uint8_t)lround(255 * rg_linear_to_srgb(fmin(light[i], 1)));
    }
    free(light);
}

static bool blur(char **a)
{
    rg_image image = {0};
    double sigma = strtod(a[0], NULL), weight[2 * MIX_REACH + 1];
    int reach = (int)ceil(4 * sigma);
    bool ok = (sigma > 0 && reach <= MIX_REACH) || complain("SIGMA is above 0 and at most 15 px");
    ok = ok && load_picture(a[1], &image);
    for (int k = -reach; ok && k <= reach; k++)
        weight[k + reach] = exp(-0.5 * k * k / (sigma * sigma));
    if (ok) {
        mix(&image, weight, reach, true, true);
        ok = save_jpeg(a[2], &image);
    }
    rg_image_free(&image);
    return ok;
}

/* A box of that length: its two end samples count by their covered part. */
static bool smear(char **a)
{
    rg_image image = {0};
    double px = fabs(strtod(a[0], NULL)), weight[2 * MIX_REACH + 1];
    int reach = (int)ceil(px / 2 + 0.5);
    bool ok = (px > 0 && reach <= MIX_REACH) || complain("PX is not 0 and at most 118");
    ok = ok && load_picture(a[1], &image);
    for (int k = -reach; ok && k <= reach; k++)
        weight[k + reach] = fmin(fmax(px / 2 + 0.5 - abs(k), 0), 1);
    if (ok) {
        mix(&image, weight, reach, strtod(a[0], NULL) > 0, strtod(a[0], NULL) < 0);
        ok = save_jpeg(a[2], &image);
    }
    rg_image_free(&image);
    return ok;
}

/* The tag's own white border is one cell; one more cell of paper goes round it. */
static void paint_tag(rg_image *image, int id, int x0, int y0, int side)
{
    apriltag_family_t *family = tag36h11_create();
    image_u8_t *tag = apriltag_to_image(family, id < 0 ? 0 : id);
    int cells = tag->width + 2;
    for (int y = 0; y < side; y++)
        for (int x = 0; x < side; x++) {
            int cx = x * cells / side - 1, cy = y * cells / side - 1;
            bool inside = id >= 0 && cx >= 0 && cy >= 0 && cx < tag->width && cy < tag->height;
            int code = inside && tag->buf[cy * tag->stride + cx] < 128 ? 20 : 200;
            uint8_t *p = image->data;
            p += ((size_t)(y0 + y) * (size_t)image->width + (size_t)(x0 + x)) * 3;
            memset(p, code, 3);
        }
    /* Debian 12 does not export image_u8_destroy(). */
    free(tag->buf);
    free(tag);
    tag36h11_destroy(family);
}

static bool paste(char **a)
{
    rg_image image = {0};
    int id = atoi(a[0]), x = atoi(a[1]), y = atoi(a[2]), side = atoi(a[3]);
    bool ok = load_picture(a[4], &image);
    if (ok && (id < -1 || id > 586 || x < 0 || y < 0 || side < 10 || x + side > image.width ||
               y + side > image.height))
        ok = complain("the tag does not exist or does not fit into the picture");
    if (ok) {
        paint_tag(&image, id, x, y, side);
        ok = save_jpeg(a[5], &image);
    }
    rg_image_free(&image);
    return ok;
}

static bool halve(char **a)
{
    rg_image image = {0}, half = {0};
    rg_error err = {0};
    bool ok = load_picture(a[0], &image);
    if (ok && rg_image_new(&half, image.width / 2, image.height / 2, 3, 8, &err) != RG_OK)
        ok = complain(err.text);
    if (ok) {
        const uint8_t *from = image.data;
        uint8_t *to = half.data;
        for (int y = 0; y < half.height; y++)
            for (int x = 0; x < half.width; x++, to += 3)
                memcpy(to, from + ((size_t)(2 * y) * (size_t)image.width + (size_t)(2 * x)) * 3, 3);
        ok = save_jpeg(a[1], &half);
    }
    rg_image_free(&image);
    rg_image_free(&half);
    return ok;
}

static bool to_png(char **a)
{
    rg_image image = {0};
    bool ok = load_picture(a[0], &image);
    if (ok) {
        png_image png = {.version = PNG_IMAGE_VERSION,
                         .width = (png_uint_32)image.width,
                         .height = (png_uint_32)image.height,
                         .format = PNG_FORMAT_RGB};
        ok = png_image_write_to_file(&png, a[1], 0, image.data, 0, NULL) || complain(png.message);
    }
    rg_image_free(&image);
    return ok;
}

/* Walks the marker segments to the frame header (SOF0 to SOF2). */
static uint8_t *frame_header(blob *file)
{
    size_t at = 2;
    while (at + 9 < file->size && file->bytes[at] == 0xff) {
        uint8_t *p = file->bytes + at;
        if (p[1] >= 0xc0 && p[1] <= 0xc2)
            return p;
        at += 2 + ((size_t)p[2] << 8 | p[3]);
    }
    return NULL;
}

static bool claim(char **a)
{
    blob file = {0};
    int width = atoi(a[0]), height = atoi(a[1]);
    bool ok = load(a[2], &file);
    uint8_t *sof = ok ? frame_header(&file) : NULL;
    if (ok && !sof)
        ok = complain("no frame header");
    if (ok) {
        sof[5] = (uint8_t)(height >> 8);
        sof[6] = (uint8_t)(height & 255);
        sof[7] = (uint8_t)(width >> 8);
        sof[8] = (uint8_t)(width & 255);
        ok = save(a[3], file.bytes, file.size);
    }
    free(file.bytes);
    return ok;
}

static bool flip(char **a)
{
    blob file = {0};
    size_t from = (size_t)atol(a[0]), count = (size_t)atol(a[1]);
    bool ok = load(a[2], &file);
    if (ok && (from > file.size || count > file.size - from))
        ok = complain("the file is shorter");
    for (size_t i = 0; ok && i < count; i++)
        file.bytes[from + i] ^= 0xff;
    ok = ok && save(a[3], file.bytes, file.size);
    free(file.bytes);
    return ok;
}

static bool whole(char **a)
{
    rg_error err = {0};
    rg_image image = {0};
    blob file = {0};
    bool ok = load(a[0], &file);
    if (ok && rg_decode(file.bytes, file.size, &image, &err) != RG_OK)
        ok = complain(err.text);
    if (ok && image.warnings)
        ok = complain(image.warning);
    rg_image_free(&image);
    free(file.bytes);
    return ok;
}

static const struct command {
    const char *name;
    int arguments;
    bool (*run)(char **arguments);
} commands[] = {{"light", 3, light}, {"blur", 3, blur},   {"smear", 3, smear},
                {"paste", 6, paste}, {"halve", 2, halve}, {"png", 2, to_png},
                {"claim", 4, claim}, {"flip", 4, flip},   {"whole", 1, whole}};

int main(int argc, char **argv)
{
    for (size_t i = 0; argc > 1 && i < sizeof commands / sizeof commands[0]; i++)
        if (strcmp(commands[i].name, argv[1]) == 0 && argc == commands[i].arguments + 2)
            return commands[i].run(argv + 2) ? 0 : 1;
    complain("light GAIN, blur SIGMA, smear PX, paste ID X Y SIDE, halve, png, claim W H or flip "
             "FROM COUNT; "
             "then IN OUT");
    return 1;
}

/*
 * Fuzz target for EXIF: any bytes as the TIFF block of a small JPEG. The picture must come out turned as the
 * block's orientation says, by every reader of decode.h alike.
 */
#include "fuzz.h"

#include <stdio.h>

#include <jpeglib.h>

#include "rimglow/decode.h"

enum { WIDTH = 24, HEIGHT = 16, BLOCK_MAX = 65000 };

/* Grey, its stored first corner bright; free(). */
static uint8_t *jpeg_with(const uint8_t *tiff, size_t size, unsigned long *bytes)
{
    struct jpeg_compress_struct c;
    struct jpeg_error_mgr errors;
    unsigned char *out = NULL, row[WIDTH], *block = calloc(1, size + 6);
    require(block != NULL);
    memcpy(block, "Exif\0", 6);
    if (size > 0)
        memcpy(block + 6, tiff, size);
    *bytes = 0;
    c.err = jpeg_std_error(&errors);
    jpeg_create_compress(&c);
    jpeg_mem_dest(&c, &out, bytes);
    c.image_width = WIDTH;
    c.image_height = HEIGHT;
    c.input_components = 1;
    c.in_color_space = JCS_GRAYSCALE;
    jpeg_set_defaults(&c);
    jpeg_start_compress(&c, TRUE);
    jpeg_write_marker(&c, JPEG_APP0 + 1, block, (unsigned)size + 6);
    for (int y = 0; y < HEIGHT; y++) {
        for (int x = 0; x < WIDTH; x++)
            row[x] = x < 8 && y < 8 ? 230 : 30;
        JSAMPROW at = row;
        jpeg_write_scanlines(&c, &at, 1);
    }
    jpeg_finish_compress(&c);
    jpeg_destroy_compress(&c);
    free(block);
    return out;
}

/* TIFF 6.0, tag 274: where the 0th row and the 0th column are seen. */
static void check_corner(const rg_image *image, int orientation)
{
    static const bool right[9] = {[2] = true, [3] = true, [6] = true, [7] = true};
    static const bool bottom[9] = {[3] = true, [4] = true, [7] = true, [8] = true};
    const uint8_t *pixel = image->data;
    int x = right[orientation] ? image->width - 1 : 0;
    int y = bottom[orientation] ? image->height - 1 : 0;
    for (int i = 0; i < 4; i++) {
        int u = i % 2 ? image->width - 1 : 0, v = i / 2 ? image->height - 1 : 0;
        require((pixel[v * image->width + u] > 128) == (u == x && v == y));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    rg_image header, image, rows;
    rg_error err = {0};
    unsigned long bytes;
    if (size > BLOCK_MAX)
        return 0;
    int orientation = rg_exif_orientation(data, size);
    require(orientation >= 1 && orientation <= 8);
    uint8_t *file = jpeg_with(data, size, &bytes);
    require(rg_decode_header(file, bytes, &header, &err) == RG_OK);
    require(rg_decode(file, bytes, &image, &err) == RG_OK);
    bool on_its_side = orientation > 4;
    require(image.width == (on_its_side ? HEIGHT : WIDTH));
    require(image.height == (on_its_side ? WIDTH : HEIGHT));
    require(header.width == image.width && header.full_height == image.height);
    check_corner(&image, orientation);
    require(rg_decode_rows(file, bytes, 3, 5, &rows, &err) == RG_OK);
    require(memcmp(rows.data, (const uint8_t *)image.data + 3 * image.width,
                   (size_t)(5 * image.width)) == 0);
    rg_image_free(&rows);
    rg_image_free(&image);
    free(file);
    return 0;
}

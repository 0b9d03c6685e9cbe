/*
 * Fuzz target for the parts of capture.h that read what a camera or a file sends. The first byte chooses: a
 * JPEG's structure, or a PNG with a YUYV frame in it. What the walk takes for whole begins with SOI and ends with EOI and
 * padding; a frame that comes out of a PNG can be written again and comes out the same.
 */
#include "fuzz.h"
#include "rimglow/capture.h"
#include "rimglow/decode.h"

static void try_jpeg(const uint8_t *data, size_t size)
{
    rg_error err = {0};
    rg_code code = rg_shot_check_jpeg(data, size, 16, 16, &err);
    require(code == RG_OK || (code == RG_BAD_DATA && err.text[0]));
    if (code != RG_OK)
        return;
    while (size > 0 && (data[size - 1] == 0 || data[size - 1] == 0xff))
        size--;
    require(size > 4 && data[0] == 0xff && data[1] == 0xd8);
    require(data[size - 2] == 0xff && data[size - 1] == 0xd9);
}

static void try_png(const uint8_t *data, size_t size)
{
    uint8_t *yuyv = NULL, *png = NULL, *again = NULL;
    size_t png_size;
    int width, height, w, h;
    rg_error err = {0};
    rg_code code = rg_shot_yuyv_of_png(data, size, &yuyv, &width, &height, &err);
    require(code == RG_OK ? yuyv != NULL : !yuyv && err.text[0]);
    if (code != RG_OK || width % 2 || width > 2048 || height > 2048) {
        free(yuyv);
        return;
    }
    size_t stride = 2 * (size_t)width, bytes = stride * (size_t)height;
    rg_raw_frame raw = {yuyv, bytes, stride, width, height, false};
    require(rg_shot_png_of_yuyv(&raw, &png, &png_size, &err) == RG_OK);
    require(rg_shot_yuyv_of_png(png, png_size, &again, &w, &h, &err) == RG_OK);
    require(w == width && h == height && memcmp(again, yuyv, bytes) == 0);
    free(again);
    free(png);
    free(yuyv);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size == 0)
        return 0;
    if (data[0] % 2 == 0)
        try_jpeg(data + 1, size - 1);
    else
        try_png(data + 1, size - 1);
    return 0;
}

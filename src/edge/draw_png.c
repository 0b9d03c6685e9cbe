/*
 * draw_png.c - grey PNG files of cairo's image surfaces. All pictures are made
 * of greys, so one byte a pixel says everything; cairo's own writer takes
 * three, and three times as long.
 */
#include <png.h>
#include <stdlib.h>
#include <string.h>

#include "draw_private.h"
#include "rimglow/memory.h"

/* The green of each pixel; cairo's RGB24 is one native 32-bit word. */
static uint8_t *grey_pixels(cairo_surface_t *surface, int width, int height)
{
    const unsigned char *data = cairo_image_surface_get_data(surface);
    size_t stride = (size_t)cairo_image_surface_get_stride(surface);
    uint8_t *grey = data ? rg_alloc((size_t)width * (size_t)height, 1) : NULL;
    for (int y = 0; grey && y < height; y++)
        for (int x = 0; x < width; x++) {
            uint32_t pixel;
            memcpy(&pixel, data + (size_t)y * stride + (size_t)x * 4, sizeof pixel);
            grey[(size_t)y * (size_t)width + (size_t)x] = (uint8_t)(pixel >> 8);
        }
    return grey;
}

bool rg_grey_png(cairo_surface_t *surface, rg_bytes *out)
{
    cairo_surface_flush(surface);
    int width = cairo_image_surface_get_width(surface);
    int height = cairo_image_surface_get_height(surface);
    uint8_t *grey = grey_pixels(surface, width, height);
    png_image image = {.version = PNG_IMAGE_VERSION,
                       .width = (png_uint_32)width,
                       .height = (png_uint_32)height,
                       .format = PNG_FORMAT_GRAY,
                       .flags = PNG_IMAGE_FLAG_FAST};
    png_alloc_size_t size = grey ? PNG_IMAGE_PNG_SIZE_MAX(image) : 0;
    uint8_t *bytes = size ? rg_alloc(size, 1) : NULL;
    bool done = bytes && png_image_write_to_memory(&image, bytes, &size, 0, grey, 0, NULL);
    free(grey);
    if (!done) {
        free(bytes);
        return false;
    }
    uint8_t *fitted = realloc(bytes, size);
    *out = (rg_bytes){fitted ? fitted : bytes, size};
    /* cppcheck-suppress memleak ; out owns it */
    return true;
}

void rg_attach_png(cairo_surface_t *surface)
{
    rg_bytes png;
    if (!rg_grey_png(surface, &png))
        return; /* cairo then writes its own, larger one */
    if (cairo_surface_set_mime_data(surface, CAIRO_MIME_TYPE_PNG, png.data, png.size, free,
                                    png.data) != CAIRO_STATUS_SUCCESS)
        free(png.data);
}

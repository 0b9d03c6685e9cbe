/*
 * drawing.h - what tests of pictures share: drawing one, and looking at its pixels. Inline, because the
 * objects of tests/support are also linked into programs without Criterion.
 */
#ifndef TEST_EDGE_DRAWING_H
#define TEST_EDGE_DRAWING_H

#include <cairo.h>
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/draw.h"
#include "support/print.h"

/* For .fini of a suite: cairo keeps fonts for the next picture; a leak check should not see them. */
static inline void test_release_fonts(void)
{
    cairo_debug_reset_static_data();
}

typedef rg_code test_draw(const void *args, rg_picture_format format, rg_bytes *out, rg_error *err);

/* The file; fails the test when it cannot be drawn. data is owned by the caller. */
static inline rg_bytes test_drawn(test_draw *routine, const void *args, rg_picture_format format)
{
    rg_bytes bytes = {0};
    rg_error why = {0};
    cr_assert_eq(routine(args, format, &bytes, &why), RG_OK, "%s", why.text);
    cr_assert(bytes.data && bytes.size > 500);
    return bytes;
}

/* Its grey PNG decoded; fails the test when it has another size. */
static inline rg_image test_picture(test_draw *routine, const void *args, int width, int height)
{
    rg_image m = {0};
    rg_error why = {0};
    rg_bytes bytes = test_drawn(routine, args, RG_PICTURE_PNG);
    cr_assert_eq(rg_decode(bytes.data, bytes.size, &m, &why), RG_OK, "%s", why.text);
    cr_assert(m.width == width && m.height == height && m.channels == 1);
    free(bytes.data);
    return m;
}

static inline int test_tone(const rg_image *m, int x, int y)
{
    return ((const uint8_t *)m->data)[(size_t)y * (size_t)m->width + (size_t)x];
}

/* Dark pixels of the rectangle, without its right and lower edge. */
static inline int test_ink(const rg_image *m, int x0, int y0, int x1, int y1)
{
    int n = 0;
    for (int y = y0; y < y1; y++)
        for (int x = x0; x < x1; x++)
            n += test_tone(m, x, y) < 100;
    return n;
}

/* Nothing is drawn within 8 px of the edges, so nothing is cut. */
static inline void test_white_border(const rg_image *m)
{
    for (int y = 0; y < m->height; y++)
        for (int x = 0; x < m->width; x++)
            if (x < 8 || y < 8 || x >= m->width - 8 || y >= m->height - 8)
                cr_assert_eq(test_tone(m, x, y), 255, "ink at %d, %d: something is cut", x, y);
}

/* PNG with nothing cut, SVG that is the same each time, PDF of one sound page. */
static inline void test_all_formats(test_draw *routine, const void *args, int width, int height)
{
    rg_image m = test_picture(routine, args, width, height);
    test_white_border(&m);
    rg_image_free(&m);
    rg_bytes a = test_drawn(routine, args, RG_PICTURE_SVG),
             b = test_drawn(routine, args, RG_PICTURE_SVG);
    cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0, "drawing is deterministic");
    cr_expect(strstr((const char *)a.data, "<svg") != NULL);
    free(a.data);
    free(b.data);
    a = test_drawn(routine, args, RG_PICTURE_PDF);
    cr_expect(test_pdf_is_sound(a.data, a.size) && test_pdf_pages(a.data, a.size) == 1);
    free(a.data);
}

#endif

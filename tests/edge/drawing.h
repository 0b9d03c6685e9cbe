/*
 * drawing.h - what tests of pictures share: drawing one, and looking at its pixels. Inline, because the
 * objects of tests/support are also linked into programs without Criterion.
 */
#ifndef TEST_EDGE_DRAWING_H
#define TEST_EDGE_DRAWING_H

#include <criterion/criterion.h>
#include <stdlib.h>

#include "rimglow/decode.h"
#include "rimglow/draw.h"

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

#endif

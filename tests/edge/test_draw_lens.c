/*
 * The picture and the JSON of a lens calibration. PNG files are read back by
 * libpng (through decode.h), JSON by jansson.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "edge/drawing.h"
#include "rimglow/decode.h"
#include "rimglow/draw_lens.h"
#include "rimglow/lens_report.h"
#include "support/corners.h"

TestSuite(draw_lens, .fini = test_release_fonts);

static const rg_lens_limits limits = {.min_views = 8,
                                      .field_views = 2,
                                      .corner_reach = 0.25,
                                      .tilt_deg = 15,
                                      .tilted_views = 2,
                                      .focal_relative = 0.002,
                                      .max_rms_px = 0.3};

/* The chessboard photographs, one of which is left out. */
typedef struct result {
    rg_view view[RG_CALIBRATION_VIEWS_MAX];
    int views;
    rg_calibration c;
    rg_lens_review review;
} result;

static result *chessboard(void)
{
    static const rg_calibration_options o = {.model = {.radial = 2, .tangential = true},
                                             .bad_view_ratio = 3};
    result *r = calloc(1, sizeof *r);
    rg_error err = {0};
    cr_assert_not_null(r);
    r->views = test_left_views(r->view);
    cr_assert_eq(rg_calibrate(r->view, r->views, 640, 480, &o, &r->c, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_lens_review_make(&limits, r->view, &r->c, &r->review, &err), RG_OK);
    return r;
}

static void done(result *r)
{
    rg_calibration_free(&r->c);
    test_free_views(r->view, r->views);
    free(r);
}

static rg_bytes drawn(const result *r, rg_picture_format format)
{
    rg_draw_lens_args args = {r->view, &r->c, &r->review, &limits, "2026-01-01"};
    rg_bytes bytes;
    rg_error err = {0};
    cr_assert_eq(rg_draw_lens(&args, format, &bytes, &err), RG_OK, "%s", err.text);
    return bytes;
}

static rg_image picture(const result *r)
{
    rg_bytes bytes = drawn(r, RG_PICTURE_PNG);
    rg_image image;
    rg_error err = {0};
    cr_assert_eq(rg_decode(bytes.data, bytes.size, &image, &err), RG_OK, "%s", err.text);
    free(bytes.data);
    return image;
}

/* Share of the box that is not white; in parts of the drawn frame, which lies
 * 36 px from the left, 118 px from the top and is 920 x 690 px large. */
static double ink(const rg_image *m, double x0, double y0, double x1, double y1)
{
    int from_x = (int)(36 + 920 * x0), to_x = (int)(36 + 920 * x1), dark = 0, all = 0;
    for (int y = (int)(118 + 690 * y0); y < (int)(118 + 690 * y1); y++)
        for (int x = from_x; x < to_x; x++, all++)
            dark += ((const uint8_t *)m->data)[(size_t)y * (size_t)m->width + (size_t)x] < 250;
    return (double)dark / all;
}

Test(draw_lens, every_format_is_produced_grey_and_uncut)
{
    result *r = chessboard();
    rg_image m = picture(r);
    cr_expect(m.channels == 1 && m.width == RG_LENS_PICTURE_WIDTH && m.height > 118 + 690 + 60);
    for (int y = 0; y < m.height; y++)
        for (int x = 0; x < m.width; x++)
            cr_assert((x > 10 && y > 10 && x < m.width - 10 && y < m.height - 3) ||
                          ((const uint8_t *)m.data)[y * m.width + x] == 255,
                      "ink at %d, %d", x, y);
    rg_image_free(&m);
    rg_bytes svg = drawn(r, RG_PICTURE_SVG), pdf = drawn(r, RG_PICTURE_PDF);
    cr_expect(strstr((const char *)svg.data, "<svg") != NULL);
    cr_expect(memcmp(pdf.data, "%PDF-", 5) == 0);
    rg_bytes again = drawn(r, RG_PICTURE_SVG);
    cr_expect(again.size == svg.size && memcmp(again.data, svg.data, svg.size) == 0);
    free(again.data);
    free(svg.data);
    free(pdf.data);
    done(r);
}

Test(draw_lens, an_empty_field_is_hatched)
{
    result *r = chessboard();
    rg_image before = picture(r);
    r->review.field_views[0] = 1;
    rg_image after = picture(r);
    /* Within the top left ninth, where no mark, arc or text is. */
    cr_expect_lt(ink(&before, 0.02, 0.22, 0.15, 0.32), 0.001);
    cr_expect_gt(ink(&after, 0.02, 0.22, 0.15, 0.32), 0.05);
    cr_expect_lt(ink(&after, 0.9, 0.4, 0.98, 0.45), 0.03);
    rg_image_free(&before);
    rg_image_free(&after);
    done(r);
}

/* A mark in the empty top left of the picture appears there, as dot and line. */
Test(draw_lens, a_mark_is_drawn_where_it_was_seen)
{
    result *r = chessboard();
    rg_image before = picture(r);
    r->view[3].corner[0].pixel = (rg_vec2){0.10 * 640, 0.27 * 480};
    rg_image after = picture(r);
    cr_expect_lt(ink(&before, 0.09, 0.26, 0.11, 0.28), 0.001);
    cr_expect_gt(ink(&after, 0.09, 0.26, 0.11, 0.28), 0.02);
    /* A line of 60 px, the longest, as far as it lies in a box of 73 x 69 px. */
    cr_expect_gt(ink(&after, 0.06, 0.22, 0.14, 0.32), 0.006);
    rg_image_free(&before);
    rg_image_free(&after);
    done(r);
}

Test(draw_lens, good_and_not_good_differ_without_reading_the_list)
{
    result *r = chessboard();
    rg_image not_good = picture(r);
    r->review.good = true;
    r->review.advices = 0;
    rg_image good = picture(r);
    cr_expect_lt(good.height, not_good.height);
    rg_image_free(&good);
    rg_image_free(&not_good);
    done(r);
}

Test(draw_lens, upright_and_impossible_results_are_drawn)
{
    result *r = chessboard();
    r->c.fit.lens.width = 480;
    r->c.fit.lens.height = 640;
    rg_image m = picture(r);
    rg_image_free(&m);
    r->c.fit.sd[RG_LENS_FX] = NAN;
    r->c.fit.rms_px = INFINITY;
    r->c.view[0].pose.t.z = NAN;
    r->view[1].corner[0].pixel.x = 1e300;
    for (int i = 0; i < RG_ADVICES_MAX; i++) {
        memset(r->review.advice[i], 'w', RG_ADVICE_SIZE - 1);
        r->review.advice[i][RG_ADVICE_SIZE - 1] = 0;
    }
    r->review.advices = RG_ADVICES_MAX;
    memset(r->view[1].name, '\xff', sizeof r->view[1].name - 1);
    m = picture(r);
    rg_image_free(&m);
    r->c.fit.lens.width = 0;
    rg_draw_lens_args args = {r->view, &r->c, &r->review, &limits, NULL};
    rg_bytes bytes;
    rg_error err = {0};
    cr_expect_eq(rg_draw_lens(&args, RG_PICTURE_PNG, &bytes, &err), RG_BAD_DATA);
    cr_expect_null(bytes.data);
    done(r);
}

/* -------------------------------------------------------------------- JSON */

static json_t *reported(const result *r)
{
    static const char *const file[] = {"a.jpg", "b\xff.jpg"}, *const reason[] = {"dark", "dark"};
    rg_lens_report report = {r->view, &r->c, &r->review, 2, file, reason};
    char *text = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_lens_report_text(&report, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    free(text);
    return o;
}

static double number(json_t *o, const char *object, const char *key)
{
    json_t *inner = object ? json_object_get(o, object) : o, *value = json_object_get(inner, key);
    cr_assert(json_is_number(value), "%s.%s", object ? object : "", key);
    return json_number_value(value);
}

Test(lens_report, values_views_and_coverage_are_told)
{
    result *r = chessboard();
    json_t *o = reported(r);
    cr_expect_str_eq(json_string_value(json_object_get(o, "format")), "rimglow lens calibration");
    cr_expect(json_is_false(json_object_get(o, "good")));
    cr_expect_eq(json_array_size(json_object_get(o, "advice")), (size_t)r->review.advices);
    static const char *const key[] = {"fx_px", "fy_px", "cx_px", "cy_px", NULL,
                                      "k1",    "k2",    "p1",    "p2",    "k3"};
    const rg_lens *l = &r->c.fit.lens;
    const double value[] = {l->fx, l->fy, l->cx, l->cy, 0, l->k1, l->k2, l->p1, l->p2, l->k3};
    for (int i = 0; i < RG_LENS_VALUES; i++) {
        if (!key[i])
            continue;
        double rounding = i < RG_LENS_SKEW ? 1e-5 : 1e-9;
        cr_expect_float_eq(number(o, "lens", key[i]), value[i], rounding, "%s", key[i]);
        cr_expect_float_eq(number(o, "standard_deviation", key[i]), r->c.fit.sd[i], rounding);
    }
    cr_expect_eq(number(o, "standard_deviation", "k3"), 0);
    cr_expect_float_eq(number(o, "all", "rms_px"), r->c.all.rms_px, 1e-9);
    cr_expect_eq(number(o, NULL, "width_px"), 640);
    json_t *views = json_object_get(o, "views"), *left02 = json_array_get(views, 1);
    cr_expect_eq(json_array_size(views), 13);
    cr_expect_str_eq(json_string_value(json_object_get(left02, "file")), "left02.jpg");
    cr_expect(json_is_false(json_object_get(left02, "used")));
    json_t *t = json_object_get(json_array_get(views, 0), "translation_mm");
    cr_expect_float_eq(json_number_value(json_array_get(t, 2)), r->c.view[0].pose.t.z, 1e-6);
    json_t *unused = json_object_get(o, "not_used");
    cr_expect_str_eq(json_string_value(json_object_get(json_array_get(unused, 0), "file")),
                     "a.jpg");
    cr_expect(json_is_null(json_object_get(json_array_get(unused, 1), "file")));
    json_t *fields = json_object_get(json_object_get(o, "coverage"), "fields");
    cr_expect_str_eq(json_string_value(json_object_get(json_array_get(fields, 4), "name")),
                     "middle");
    cr_expect_eq(json_integer_value(json_object_get(json_array_get(fields, 4), "views")),
                 r->review.field_views[4]);
    json_decref(o);
    done(r);
}

Test(lens_report, what_does_not_exist_is_null)
{
    result *r = chessboard();
    r->c.view[1].rms_px = NAN;
    r->c.fit.sd[RG_LENS_K1] = INFINITY;
    json_t *o = reported(r);
    json_t *left02 = json_array_get(json_object_get(o, "views"), 1);
    cr_expect(json_is_null(json_object_get(left02, "rms_px")));
    cr_expect_eq(json_array_size(json_object_get(left02, "translation_mm")), 0);
    cr_expect(json_is_null(json_object_get(json_object_get(o, "standard_deviation"), "k1")));
    json_decref(o);
    done(r);
}

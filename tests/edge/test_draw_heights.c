/*
 * Tests of draw_heights.h: every format, nothing cut, marks where the values are. The plot's place
 * (left 116, top 194, 820 x 520 px) is measured here from its frame's own lines.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>

#include "edge/drawing.h"
#include "rimglow/draw_heights.h"

TestSuite(draw_heights, .fini = test_release_fonts);

static rg_code routine(const void *args, rg_picture_format format, rg_bytes *out, rg_error *e)
{
    return rg_draw_heights(args, format, out, e);
}

static rg_height_key key[RG_HEIGHTS_MAX];
static rg_heights heights;

/* Targets 5, 5.5, 6 ...; opened by so much more. */
static rg_draw_heights_args judged(int n, const double *more)
{
    static const rg_heights_options options = {.coverage_factor = 2, .least_growth_mm = 0};
    rg_error err = {0};
    for (int i = 0; i < n; i++)
        key[i] = (rg_height_key){.name = "key",
                                 .rests_open = true,
                                 .measured = more && !isnan(more[i]),
                                 .opening_mm = 5 + 0.5 * i + (more ? more[i] : 0),
                                 .u_mm = 0.04,
                                 .target_mm = 5 + 0.5 * i,
                                 .tolerance_mm = 0.3};
    cr_assert_eq(rg_heights_judge(key, n, &options, &heights, &err), RG_OK, "%s", err.text);
    return (rg_draw_heights_args){
        .key = key, .heights = &heights, .coverage_factor = 2, .serial = "PE-A-0147"};
}

static rg_image picture(const rg_draw_heights_args *args)
{
    return test_picture(routine, args, RG_HEIGHTS_WIDTH, RG_HEIGHTS_HEIGHT);
}

Test(draw_heights, all_formats_are_whole_and_alike_each_time)
{
    const double more[] = {0, 0.1, -0.5, NAN, 0.28};
    rg_draw_heights_args args = judged(5, more);
    test_all_formats(routine, &args, RG_HEIGHTS_WIDTH, RG_HEIGHTS_HEIGHT);
}

/* Middle of the dark pixels in a column of the plot, NAN without. */
static double middle_of_ink(const rg_image *m, int x0, int x1)
{
    double sum = 0;
    int n = 0;
    for (int y = 198; y < 710; y++)
        for (int x = x0; x < x1; x++)
            if (test_tone(m, x, y) < 60) {
                sum += y;
                n++;
            }
    return n ? sum / n : NAN;
}

Test(draw_heights, marks_stand_at_their_values)
{
    /* Two keys: plot from 4.7 to 5.8 (the bands) widened by 0.08 of 1.1 to both sides. */
    const double more[] = {0.1, 0};
    rg_draw_heights_args args = judged(2, more);
    rg_image m = picture(&args);
    double low = 4.7 - 0.088, high = 5.8 + 0.088;
    for (int i = 0; i < 2; i++) {
        int x = 116 + 820 * (2 * i + 1) / 4;
        double value = key[i].opening_mm, y = 194 + 520 * (high - value) / (high - low);
        cr_expect_float_eq(middle_of_ink(&m, x - 5, x + 5), y, 2.5, "key %d: %g, %g", i,
                           middle_of_ink(&m, x - 5, x + 5), y);
    }
    rg_image_free(&m);
}

/* Dark pixels of a row within 12 px of the first of two columns of keys. */
static int ink_of_row(const rg_image *m, double y)
{
    int x = 116 + 820 / 4, row = (int)lround(y), n = 0;
    for (int i = x - 12; i <= x + 12; i++)
        n += test_tone(m, i, row) < 128;
    return n;
}

/* Two keys, the first of them off its target of 5 mm by so much; y: where values stand. The axis holds the bands
 * (4.7 to 5.8 mm) and what the key shows, and 0.08 of that more at both ends. */
static rg_image key_off_by(double off_mm, double *top_mm, double *px_per_mm)
{
    const double more[] = {off_mm, 0};
    rg_draw_heights_args args = judged(2, more);
    double shown = key[0].opening_mm, after = heights.finding[0].after_mm;
    double low = fmin(4.7, fmin(shown, after) - 0.08), high = fmax(5.8, fmax(shown, after) + 0.08);
    *px_per_mm = 520 / (1.16 * (high - low));
    *top_mm = high + 0.08 * (high - low);
    return picture(&args);
}

Test(draw_heights, a_triangle_stands_at_its_value_and_points_to_where_the_key_must_go)
{
    /* Of 15 px height and 18 px base; its point is 9 px from the value. */
    static const double off[] = {-0.6, 0.6};
    for (int i = 0; i < 2; i++) {
        double top, scale, towards = off[i] < 0 ? -1 : 1; /* the picture's y runs down */
        rg_image m = key_off_by(off[i], &top, &scale);
        double y = 194 + (top - (5 + off[i])) * scale;
        cr_expect_eq(off[i]<0, heights.finding[0].change_mm> 0, "%g", off[i]);
        int base = ink_of_row(&m, y - towards * 5), point = ink_of_row(&m, y + towards * 7);
        cr_expect(base >= 14 && base <= 18, "%g: base %d px", off[i], base);
        cr_expect(point >= 2 && point <= 5, "%g: near its point %d px", off[i], point);
        cr_expect_leq(ink_of_row(&m, y - towards * 9), 3, "%g: nothing but the bar behind", off[i]);
        rg_image_free(&m);
    }
}

/* The expanded uncertainty of u = 0.04 mm at k = 2 is 0.08 mm to both sides. */
Test(draw_heights, bars_end_at_the_expanded_uncertainty)
{
    static const double off[] = {-0.6, 0.05};
    for (int i = 0; i < 2; i++) {
        double top, scale;
        rg_image m = key_off_by(off[i], &top, &scale);
        for (int end = -1; end <= 1; end += 2) {
            double y = 194 + (top - (5 + off[i] + 0.08 * end)) * scale;
            int most = 0;
            for (int row = -1; row <= 1; row++)
                most = (int)fmax(most, ink_of_row(&m, y + row));
            cr_expect(most >= 11 && most <= 14, "%g, end %d: a foot of %d px", off[i], end, most);
            cr_expect_eq(ink_of_row(&m, y - 4 * end), 0, "%g: nothing beyond its end", off[i]);
            int along = ink_of_row(&m, y + 4 * end);
            cr_expect(along >= 1 && along <= 3, "%g: the bar, %d px", off[i], along);
        }
        rg_image_free(&m);
    }
}

Test(draw_heights, a_key_that_was_not_measured_has_a_hatched_band_and_no_mark)
{
    const double more[] = {0, NAN, 0};
    rg_draw_heights_args args = judged(3, more);
    rg_image m = picture(&args);
    int x = 116 + 820 / 2, left = 116 + 820 / 6;
    cr_expect(isnan(middle_of_ink(&m, x - 9, x + 9)) || test_ink(&m, x - 9, 198, x + 9, 710) < 40,
              "no bar and no disc");
    cr_expect_gt(test_ink(&m, left - 9, 198, left + 9, 710), 80);
    rg_image_free(&m);
}

Test(draw_heights, what_to_change_stands_in_words)
{
    const double none[] = {0, 0, 0}, low[] = {0, -0.6, 0};
    rg_draw_heights_args args = judged(3, none);
    rg_image a = picture(&args);
    args = judged(3, low);
    rg_image b = picture(&args);
    int before = test_ink(&a, 56, 940, 936, 1300), after = test_ink(&b, 56, 940, 936, 1300);
    cr_expect_gt(after, before + 300, "%d, %d", before, after);
    rg_image_free(&a);
    rg_image_free(&b);
}

Test(draw_heights, sixty_four_keys_and_long_names_stay_on_the_page)
{
    double more[RG_HEIGHTS_MAX];
    for (int i = 0; i < RG_HEIGHTS_MAX; i++)
        more[i] = i % 2 ? -0.9 : NAN;
    rg_draw_heights_args args = judged(RG_HEIGHTS_MAX, more);
    for (int i = 0; i < RG_HEIGHTS_MAX; i++)
        key[i].name = "a name that is far too long for its column \xff\xff";
    rg_image m = picture(&args);
    test_white_border(&m);
    rg_image_free(&m);
}

Test(draw_heights, nothing_to_draw_is_an_error)
{
    rg_draw_heights_args args = {.heights = &(rg_heights){.keys = 0}, .coverage_factor = 2};
    rg_bytes bytes;
    rg_error err = {0};
    cr_expect_eq(rg_draw_heights(&args, RG_PICTURE_PNG, &bytes, &err), RG_BAD_DATA);
    cr_expect_null(bytes.data);
}

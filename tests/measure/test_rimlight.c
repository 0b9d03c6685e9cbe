/*
 * Tests of rimlight.h on drawn strips: a chimney, a shadow edge and a pad as
 * the header describes them, noise of the sample frames' size, and on them a
 * slot, a streak, a post, a reflection or glare of known place and flux.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/rimlight.h"
#include "support/scene.h"
#include "support/setup.h"

enum { COLUMNS = 240, ROWS = 134 };
#define STEP_DEG 0.25
#define DZ       0.015
#define LOW      (-0.8)
#define NOISE    0.001

typedef struct drawn {
    rg_strip_column column[COLUMNS];
    float light[COLUMNS * ROWS];
    rg_strip strip;
    rg_rim_plane plane;
} drawn;

static double rim_of(const drawn *d, int c)
{
    double b = d->column[c].bearing_deg * RG_PI / 180;
    return d->plane.c + d->plane.a * cos(b) + d->plane.s * sin(b);
}

static double step_at(double z, double edge, double sigma)
{
    return 0.5 * (1 + erf((z - edge) / (sigma * sqrt(2))));
}

/* An empty seat: chimney below the shadow edge, half the pad's light in the
 * contact shadow, the pad above; neighbouring rows share their noise, as two
 * rows share a pixel. */
static void draw_noisy_seat(drawn *d, double chimney, double pad, double sigma)
{
    test_random random = {5};
    d->strip = (rg_strip){COLUMNS, ROWS, LOW, DZ, STEP_DEG, d->column, d->light};
    d->plane = (rg_rim_plane){.found = true, .c = 0.02, .a = 0.06, .s = -0.03};
    for (int c = 0; c < COLUMNS; c++) {
        d->column[c] = (rg_strip_column){
            .bearing_deg = 100 + STEP_DEG * (c + 0.5), .px_per_mm = 31, .inside = true};
        double noise = 0;
        for (int r = 0; r < ROWS; r++) {
            double z = rg_strip_height(&d->strip, r) - rim_of(d, c);
            double above = step_at(z, -0.085, 0.034), ramp = fmin(fmax(z / 0.22, 0), 1);
            if (r % 2 == 0)
                noise = sigma * test_normal(&random);
            d->light[c * ROWS + r] =
                (float)(chimney * (1 - above) + above * pad * (0.5 + 0.5 * ramp) + noise);
        }
    }
}

static void draw_seat(drawn *d, double chimney, double pad)
{
    draw_noisy_seat(d, chimney, pad, NOISE);
}

/* Adds a blurred band of this flux (light times mm) centred at z over the rim. */
static void add_band(drawn *d, int first, int last, double z, double sigma, double flux)
{
    for (int c = first; c <= last; c++)
        for (int r = 0; r < ROWS; r++) {
            double x = (rg_strip_height(&d->strip, r) - rim_of(d, c) - z) / sigma;
            d->light[c * ROWS + r] += (float)(flux / (sigma * sqrt(2 * RG_PI)) * exp(-0.5 * x * x));
        }
}

/* Sets everything from z0 to z1 over the rim to one brightness. */
static void paint(drawn *d, int first, int last, double z0, double z1, double light)
{
    for (int c = first; c <= last; c++)
        for (int r = 0; r < ROWS; r++) {
            double z = rg_strip_height(&d->strip, r) - rim_of(d, c);
            if (z >= z0 && z <= z1)
                d->light[c * ROWS + r] = (float)light;
        }
}

static rg_rimlight measure(const drawn *d)
{
    rg_setup s;
    rg_rimlight light;
    rg_error err = {0};
    test_setup(&s);
    cr_assert_eq(rg_rimlight_measure(&light, &d->strip, &d->plane, 0, &s.options.rimlight, &err),
                 RG_OK, "%s", err.text);
    cr_assert_eq(light.columns, COLUMNS);
    return light;
}

static int count_state(const rg_rimlight *l, int first, int last, rg_column_state state)
{
    int n = 0;
    for (int c = first; c <= last; c++)
        n += l->column[c].state == state;
    return n;
}

/* Columns that are not dark, away from first..last: beside light the rim's
 * edge may be covered by it, over as many columns as are judged together. */
static int not_dark_but(const rg_rimlight *l, int first, int last)
{
    first -= 4;
    last += 4;
    return COLUMNS - (last - first + 1) - count_state(l, 0, first - 1, RG_COLUMN_DARK) -
           count_state(l, last + 1, COLUMNS - 1, RG_COLUMN_DARK);
}

static drawn d;

Test(rimlight, a_seat_without_light_is_dark_everywhere)
{
    draw_seat(&d, 0.04, 0.01);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS);
    cr_assert_eq(l.slots, 0);
    cr_assert_eq(l.threshold.kind, RG_THRESHOLD_NOISE);
    for (int c = 0; c < COLUMNS; c++) {
        cr_assert_float_eq(l.column[c].chimney, 0.04, 0.003);
        cr_assert(isnan(l.column[c].bottom_mm) && isnan(l.column[c].top_mm));
    }
    rg_rimlight_free(&l);
}

Test(rimlight, dark_flux_scatters_about_nothing_as_its_uncertainty_says)
{
    rg_setup s;
    rg_rimlight l;
    test_setup(&s);
    s.options.rimlight.glare_leak_mm = 0; /* the noise alone */
    draw_noisy_seat(&d, 0.04, 0.01, 0.004);
    cr_assert_eq(rg_rimlight_measure(&l, &d.strip, &d.plane, 0, &s.options.rimlight, NULL), RG_OK);
    double sum = 0, square = 0, u = 0;
    for (int c = 0; c < COLUMNS; c++) {
        sum += l.column[c].flux_mm / COLUMNS;
        square += l.column[c].flux_mm * l.column[c].flux_mm / COLUMNS;
        u += l.column[c].u_flux_mm / COLUMNS;
    }
    cr_assert_lt(fabs(sum), 0.6 * u, "mean flux %g, u %g", sum, u);
    cr_assert_float_eq(sqrt(square) / u, 1, 0.35, "scatter %g, u %g", sqrt(square), u);
    rg_rimlight_free(&l);
}

static void slot_is_measured(double flux)
{
    draw_seat(&d, 0.04, 0.01);
    add_band(&d, 80, 139, 0.02, 0.028, flux);
    rg_rimlight l = measure(&d);
    double sum = 0;
    cr_expect_eq(count_state(&l, 80, 139, RG_COLUMN_LIT), 60, "flux %g", flux);
    cr_expect_eq(not_dark_but(&l, 80, 139), 0, "flux %g", flux);
    for (int c = 80; c < 140; c++)
        sum += l.column[c].flux_mm / 60;
    cr_expect_float_eq(sum, flux, 0.03 * flux + 3e-5, "flux %g reads %g", flux, sum);
    cr_expect_eq(l.slots, 1);
    rg_rimlight_free(&l);
}

Test(rimlight, slot_light_at_the_rim_gives_its_flux)
{
    slot_is_measured(0.007);
    slot_is_measured(0.01);
    slot_is_measured(0.05);
}

Test(rimlight, light_lies_where_it_was_drawn)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 80, 139, 0, 0.15, 0.8);
    rg_rimlight l = measure(&d);
    for (int c = 81; c < 139; c++) {
        cr_assert_eq(l.column[c].state, RG_COLUMN_LIT);
        cr_assert_float_eq(l.column[c].bottom_mm, 0, 0.02);
        cr_assert_float_eq(l.column[c].top_mm, 0.15, 0.02);
        cr_assert_float_eq(l.column[c].flux_mm, 0.8 * 0.15, 0.013, "%g", l.column[c].flux_mm);
    }
    rg_rimlight_free(&l);
}

Test(rimlight, a_wide_slot_s_own_light_is_not_taken_for_the_pad_s)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 80, 139, 0, 0.4, 1);
    rg_rimlight l = measure(&d);
    for (int c = 81; c < 139; c++) {
        cr_assert_eq(l.column[c].state, RG_COLUMN_LIT);
        cr_assert_float_eq(l.column[c].flux_mm, 0.4, 0.02, "%g", l.column[c].flux_mm);
    }
    rg_rimlight_free(&l);
}

/* The upper flank of these slots lies in the lowest window of the pad, but is
 * no brighter there than a pad in a lit room. The band's clipped part is as high
 * as the slot, its flanks as wide as the blur: sum of both is its flux. */
Test(rimlight, the_flank_of_a_slot_is_not_taken_for_a_dim_pad)
{
    for (double width = 0.06; width < 0.115; width += 0.01) {
        draw_seat(&d, 0.04, 0.01);
        paint(&d, 100, 139, 0, width, 1);
        for (int c = 100; c < 140; c++)
            for (int r = 0; r < ROWS; r++) {
                double z = rg_strip_height(&d.strip, r) - rim_of(&d, c);
                if (z > width)
                    d.light[c * ROWS + r] += (float)exp(-pow((z - width) / 0.045, 2) / 2);
            }
        rg_rimlight l = measure(&d);
        for (int c = 104; c < 136; c++)
            cr_expect_lt(l.column[c].pad, 0.03, "%g mm: column %d, pad %g", width, c,
                         l.column[c].pad);
        rg_rimlight_free(&l);
    }
}

Test(rimlight, a_single_band_has_its_middle_where_it_was_drawn)
{
    rg_rimlight out;
    draw_seat(&d, 0.04, 0.01);
    add_band(&d, 40, 79, 0.02, 0.03, 0.05);
    add_band(&d, 80, 119, 0.02, 0.03, 0.05); /* and a second one: dark in between */
    add_band(&d, 80, 119, 0.22, 0.03, 0.05);
    out = measure(&d);
    for (int c = 44; c < 76; c++)
        cr_expect_float_eq(out.column[c].middle_mm, 0.02, 0.003, "%d: %g", c,
                           out.column[c].middle_mm);
    for (int c = 84; c < 116; c++)
        cr_expect(isnan(out.column[c].middle_mm) || fabs(out.column[c].middle_mm - 0.02) < 0.003,
                  "%d: %g", c, out.column[c].middle_mm);
    cr_expect(isnan(out.column[20].middle_mm), "dark");
    rg_rimlight_free(&out);
}

Test(rimlight, a_frame_s_height_shift_moves_the_rim_line)
{
    rg_setup s;
    rg_rimlight l;
    test_setup(&s);
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 80, 139, 0, 0.15, 0.8);
    d.plane.c -= 0.05; /* the pose of this frame is off by so much */
    cr_assert_eq(rg_rimlight_measure(&l, &d.strip, &d.plane, 0.05, &s.options.rimlight, NULL),
                 RG_OK);
    for (int c = 80; c < 140; c++)
        cr_assert_float_eq(l.column[c].bottom_mm, 0, 0.02, "%g", l.column[c].bottom_mm);
    cr_assert_eq(not_dark_but(&l, 80, 139), 0);
    rg_rimlight_free(&l);
}

Test(rimlight, a_streak_down_the_chimney_is_rejected)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 100, 112, -0.2, -0.04, 0.6);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_LIT), 0);
    cr_assert_geq(l.streaks, 1);
    cr_assert_eq(l.slots, 0);
    cr_assert_eq(l.mask[106 * ROWS + (int)((-0.15 + rim_of(&d, 106) - LOW) / DZ)], 2);
    rg_rimlight_free(&l);
}

Test(rimlight, a_reflection_on_the_pad_is_rejected)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 100, 130, 0.3, 0.4, 0.5);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_LIT), 0);
    cr_assert_geq(l.streaks, 1);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS);
    rg_rimlight_free(&l);
}

Test(rimlight, slot_light_beside_a_streak_is_still_found)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 30, 40, -0.4, -0.15, 0.6);
    add_band(&d, 120, 160, 0.02, 0.028, 0.02);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 120, 160, RG_COLUMN_LIT), 41);
    cr_assert_eq(count_state(&l, 25, 45, RG_COLUMN_LIT), 0);
    rg_rimlight_free(&l);
}

Test(rimlight, light_at_the_rim_under_a_glaring_chimney_is_glare_not_a_gap)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 100, 130, -0.8, 0.05, 0.5);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 101, 129, RG_COLUMN_GLARE), 29);
    rg_rimlight_free(&l);
}

Test(rimlight, a_bright_pad_is_glare)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 100, 130, 0.02, 1.3, 0.4);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 101, 129, RG_COLUMN_GLARE) +
                     count_state(&l, 101, 129, RG_COLUMN_HIDDEN),
                 29);
    rg_rimlight_free(&l);
}

Test(rimlight, glare_makes_the_flux_less_certain)
{
    draw_seat(&d, 0.02, 0.01);
    rg_rimlight dim = measure(&d);
    draw_seat(&d, 0.12, 0.01);
    rg_rimlight bright = measure(&d);
    rg_setup s;
    test_setup(&s);
    cr_assert_gt(bright.column[50].u_flux_mm, 0.9 * 0.12 * s.options.rimlight.glare_leak_mm);
    cr_assert_gt(bright.column[50].u_flux_mm, dim.column[50].u_flux_mm);
    rg_rimlight_free(&dim);
    rg_rimlight_free(&bright);
}

Test(rimlight, a_post_before_the_rim_hides_it)
{
    static const double post_light[] = {0, 0.004, 0.03, 0.1};
    for (int k = 0; k < 4; k++) {
        draw_seat(&d, 0.04, 0.01);
        paint(&d, 90, 150, -1, 2, post_light[k]);
        rg_rimlight l = measure(&d);
        int hidden = count_state(&l, 90, 150, RG_COLUMN_HIDDEN);
        cr_expect_geq(hidden, 57, "post of %g: %d hidden", post_light[k], hidden);
        cr_expect_eq(count_state(&l, 90, 150, RG_COLUMN_LIT), 0);
        cr_expect_eq(count_state(&l, 92, 148, RG_COLUMN_DARK), 0, "post of %g taken for a seal",
                     post_light[k]);
        rg_rimlight_free(&l);
    }
}

/* The chimney mirrors something dark: its light sinks smoothly to nothing and
 * comes back, and the pad above is as it was. */
static void draw_shade(double half_width)
{
    draw_seat(&d, 0.04, 0.01);
    for (int c = 0; c < COLUMNS; c++) {
        double x = (c - 120) / half_width, share = fabs(x) < 1 ? 0.5 - 0.5 * cos(RG_PI * x) : 1;
        for (int r = 0; r < ROWS; r++) {
            double z = rg_strip_height(&d.strip, r) - rim_of(&d, c);
            if (z < -0.02)
                d.light[c * ROWS + r] = (float)(0.006 + share * (d.light[c * ROWS + r] - 0.006));
        }
    }
}

Test(rimlight, a_dark_reflection_on_the_chimney_does_not_hide_the_rim)
{
    draw_shade(40);
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS);
    rg_rimlight_free(&l);
}

Test(rimlight, something_with_sharp_flanks_before_the_chimney_hides_the_rim)
{
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 100, 130, -1, -0.02, 0.006); /* as high as the rim only: the pad stays even */
    rg_rimlight l = measure(&d);
    cr_assert_geq(count_state(&l, 100, 130, RG_COLUMN_HIDDEN), 27);
    rg_rimlight_free(&l);
}

Test(rimlight, a_run_without_an_edge_that_is_too_long_stays_hidden)
{
    draw_shade(115);
    for (int c = 40; c < 200; c++) /* 40 degrees without any step */
        for (int r = 0; r < ROWS; r++)
            d.light[c * ROWS + r] = 0.006f;
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 50, 190, RG_COLUMN_HIDDEN), 141);
    rg_rimlight_free(&l);
}

Test(rimlight, a_picture_without_contrast_hides_the_rim)
{
    draw_seat(&d, 0.001, 0.001);
    rg_rimlight l = measure(&d);
    cr_assert_lt(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS / 20);
    rg_rimlight_free(&l);
}

Test(rimlight, a_rim_above_its_place_is_hidden_not_dark)
{
    /* The plane is wrong by 0.4 mm: no edge is where it says. */
    draw_seat(&d, 0.04, 0.01);
    d.plane.c -= 0.4;
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_HIDDEN), COLUMNS);
    rg_rimlight_free(&l);
}

Test(rimlight, columns_outside_the_picture_are_outside)
{
    draw_seat(&d, 0.04, 0.01);
    for (int c = 0; c < 60; c++) {
        d.column[c].inside = false;
        for (int r = 0; r < ROWS; r++)
            d.light[c * ROWS + r] = NAN;
    }
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, 59, RG_COLUMN_OUTSIDE), 60);
    cr_assert_eq(count_state(&l, 60, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS - 60);
    rg_rimlight_free(&l);
}

Test(rimlight, a_strip_wholly_outside_the_picture_is_refused)
{
    rg_setup s;
    rg_rimlight l;
    rg_error err = {0};
    test_setup(&s);
    draw_seat(&d, 0.04, 0.01);
    for (int c = 0; c < COLUMNS; c++)
        d.column[c].inside = false;
    cr_assert_eq(rg_rimlight_measure(&l, &d.strip, &d.plane, 0, &s.options.rimlight, &err),
                 RG_BAD_DATA);
    cr_assert_null(l.column);
    cr_assert_null(l.mask);
}

Test(rimlight, single_hot_samples_are_no_slot)
{
    draw_seat(&d, 0.04, 0.01);
    for (int c = 20; c < COLUMNS; c += 40) {
        int r = (int)lround((rim_of(&d, c) - LOW) / DZ);
        d.light[c * ROWS + r] += 0.3f;
        d.light[c * ROWS + r + 1] += 0.3f;
    }
    rg_rimlight l = measure(&d);
    cr_assert_eq(count_state(&l, 0, COLUMNS - 1, RG_COLUMN_LIT), 0);
    rg_rimlight_free(&l);
}

Test(rimlight, light_at_the_rim_too_small_to_be_believed_is_not_taken_for_darkness)
{
    /* Five samples, at the rim line of one column: rejected, but a gap's for all
     * anyone knows. */
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 120, 120, 0.02, 0.075, 0.3);
    rg_rimlight l = measure(&d);
    cr_assert_eq(l.slots, 0);
    cr_assert_geq(l.streaks, 1);
    cr_assert_eq(l.column[120].state, RG_COLUMN_GLARE, "%d", (int)l.column[120].state);
    cr_assert_eq(count_state(&l, 0, 110, RG_COLUMN_DARK), 111);
    cr_assert_eq(count_state(&l, 130, COLUMNS - 1, RG_COLUMN_DARK), COLUMNS - 130);
    rg_rimlight_free(&l);
}

Test(rimlight, a_reflection_whose_skirt_reaches_the_rim_line_is_glare_there)
{
    /* Brightest above 0.08 mm, so rejected; its dim foot stands in the slot's place. */
    draw_seat(&d, 0.04, 0.01);
    paint(&d, 110, 130, 0.03, 0.086, 0.1);
    paint(&d, 110, 130, 0.086, 0.13, 0.7);
    rg_rimlight l = measure(&d);
    cr_assert_eq(l.slots, 0);
    cr_assert_geq(l.streaks, 1);
    cr_assert_eq(count_state(&l, 110, 130, RG_COLUMN_GLARE), 21);
    cr_assert_eq(not_dark_but(&l, 110, 130), 0);
    rg_rimlight_free(&l);
}

Test(rimlight, freeing_twice_or_nothing_is_safe)
{
    rg_rimlight l = {0};
    rg_rimlight_free(NULL);
    rg_rimlight_free(&l);
    rg_rimlight_free(&l);
}

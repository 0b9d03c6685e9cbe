/*
 * Tests of width.h.
 * Slit table: exact integrals of a slit under a Gaussian of sigma 1.2 px over
 * square pixels, computed outside this project; there pixel i covers
 * [i, i + 1], here its centre is at i, so positions differ by half a pixel.
 * The forward model with clipping, code curve and luma is checked against
 * plain numerical integration written here.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/width.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

enum { ROW = 64 };

static const double slit_centre = 32.3, slit_sigma = 1.2;

static void slit_row(double width, double *sample)
{
    for (int i = 0; i < ROW; i++)
        sample[i] = rg_slot_pixel(i + 0.5 - slit_centre, width, slit_sigma);
}

/* width px, greatest sample, width at half of it by linear interpolation. */
static const struct {
    double width, peak, half_width;
} slit[] = {{0.1, 0.031879, 2.9938}, {0.5, 0.158383, 3.0115}, {1, 0.310593, 3.0672},
            {2, 0.575943, 3.2970},   {5, 0.954488, 5.1462},   {10, 0.999939, 10.0002}};

Test(width, sum_over_the_pixels_is_the_width_however_thin)
{
    for (size_t k = 0; k < COUNT(slit); k++) {
        double sample[ROW], sum = 0;
        slit_row(slit[k].width, sample);
        for (int i = 0; i < ROW; i++)
            sum += sample[i];
        cr_assert_float_eq(sum, slit[k].width, 1e-9, "width %g: sum %.12f", slit[k].width, sum);
    }
}

Test(width, centroid_is_the_slit_s_place)
{
    for (size_t k = 0; k < COUNT(slit); k++) {
        double sample[ROW];
        slit_row(slit[k].width, sample);
        double c = rg_profile_centroid(sample, ROW) + 0.5;
        cr_assert_float_eq(c, slit_centre, 1e-7, "width %g: centroid %.9f", slit[k].width, c);
    }
}

Test(width, peak_and_half_width_are_those_of_the_slit_table)
{
    for (size_t k = 0; k < COUNT(slit); k++) {
        double sample[ROW], peak = 0;
        slit_row(slit[k].width, sample);
        for (int i = 0; i < ROW; i++)
            peak = fmax(peak, sample[i]);
        double half = rg_profile_half_width(sample, ROW);
        cr_assert_float_eq(peak, slit[k].peak, 6e-7, "width %g: peak %.7f", slit[k].width, peak);
        cr_assert_float_eq(half, slit[k].half_width, 6e-5, "width %g: half width %.5f",
                           slit[k].width, half);
    }
}

Test(width, half_maximum_cannot_tell_slits_below_the_point_spread_apart)
{
    double thin[ROW], thick[ROW], sum_thin = 0, sum_thick = 0;
    slit_row(0.1, thin);
    slit_row(1, thick);
    for (int i = 0; i < ROW; i++)
        sum_thin += thin[i], sum_thick += thick[i];
    double ratio = rg_profile_half_width(thick, ROW) / rg_profile_half_width(thin, ROW);
    cr_assert_lt(ratio, 1.03, "ten times the width, half widths %g times", ratio);
    cr_assert_float_eq(sum_thick / sum_thin, 10, 1e-8);
}

Test(width, half_width_and_centroid_of_nothing_are_not_numbers)
{
    double zero[5] = {0}, two[2] = {1, 2};
    cr_assert(isnan(rg_profile_half_width(zero, 5)));
    cr_assert(isnan(rg_profile_half_width(two, 2)));
    cr_assert(isnan(rg_profile_centroid(zero, 5)));
    cr_assert(isnan(rg_profile_centroid(zero, 0)));
}

static rg_slot_model grey(double radiance, double background, double sigma)
{
    rg_slot_model m = {.code_weights = {0.299, 0.587, 0.114}, .sigma_px = sigma};
    for (int c = 0; c < 3; c++)
        m.radiance[c] = radiance, m.background[c] = background;
    return m;
}

/* A lamp of uneven colour, bright enough that one channel clips well before
 * the others, beside a coloured background. */
static rg_slot_model coloured(void)
{
    return (rg_slot_model){.radiance = {6, 4, 2.2},
                           .background = {0.02, 0.015, 0.01},
                           .code_weights = {0.299, 0.587, 0.114},
                           .sigma_px = 0.8};
}

static rg_slot_table *table_of(rg_slot_model m)
{
    rg_slot_table *t;
    rg_error err = {0};
    cr_assert_eq(rg_slot_table_new(&t, &m, &err), RG_OK, "%s", err.text);
    return t;
}

Test(width, flux_of_an_unsaturated_grey_slot_is_radiance_times_width)
{
    rg_slot_table *t = table_of(grey(0.6, 0.02, 0.9));
    static const double width[] = {0.003, 0.01, 0.1, 0.5, 1, 3, 10, 40};
    for (size_t k = 0; k < COUNT(width); k++) {
        double flux = rg_slot_flux(t, width[k]);
        cr_assert_float_eq(flux / (0.6 * width[k]), 1, 2e-4, "width %g: flux %.8f", width[k], flux);
        cr_assert_float_eq(rg_slot_invert(t, 0.6 * width[k]).width_px / width[k], 1, 2e-4,
                           "width %g comes back as %g", width[k],
                           rg_slot_invert(t, 0.6 * width[k]).width_px);
    }
    rg_slot_table_free(t);
}

/* IEC 61966-2-1:1999, written again here. */
static double encode(double light)
{
    return light <= 0.0031308 ? 12.92 * light : 1.055 * pow(light, 1 / 2.4) - 0.055;
}

static double decode(double code)
{
    return code <= 0.04045 ? code / 12.92 : pow((code + 0.055) / 1.055, 2.4);
}

enum { SUB = 24 }; /* sub-pixels of the aperture, and strips of the slot per px */

/* Light of one pixel: midpoint rule over the aperture and over the slot. */
static double brute_share(double centre, double width, double sigma)
{
    int strips = (int)ceil(width * SUB) + 8;
    double sum = 0;
    for (int i = 0; i < SUB; i++) {
        double x = centre + (i + 0.5) / SUB - 0.5;
        for (int j = 0; j < strips; j++) {
            double d = (x - width * ((j + 0.5) / strips - 0.5)) / sigma;
            sum += exp(-0.5 * d * d);
        }
    }
    return sum * width / (SUB * strips * sigma * sqrt(8 * atan(1)));
}

static double brute_luma(const rg_slot_model *m, double share)
{
    double luma = 0;
    for (int c = 0; c < 3; c++)
        luma += m->code_weights[c] * encode(fmin(m->background[c] + m->radiance[c] * share, 1));
    return decode(luma);
}

/* Mean over eight places of the slot on the pixel grid. */
static double brute_flux(const rg_slot_model *m, double width)
{
    int reach = (int)(width / 2 + 7 * m->sigma_px) + 2;
    double sum = 0, dark = brute_luma(m, 0);
    for (int phase = 0; phase < 8; phase++)
        for (int i = -reach; i <= reach; i++)
            sum += brute_luma(m, brute_share(i - phase / 8.0, width, m->sigma_px)) - dark;
    return sum / 8;
}

static void compare_with_integration(rg_slot_model m, double tolerance)
{
    static const double width[] = {0.05, 0.3, 0.9, 1.5, 3.1, 6.4, 15};
    rg_slot_table *t = table_of(m);
    for (size_t k = 0; k < COUNT(width); k++) {
        double expected = brute_flux(&m, width[k]), flux = rg_slot_flux(t, width[k]);
        cr_expect_float_eq(flux / expected, 1, tolerance, "L %g sigma %g width %g: %g, integral %g",
                           m.radiance[0], m.sigma_px, width[k], flux, expected);
    }
    rg_slot_table_free(t);
}

Test(width, clipped_flux_agrees_with_numerical_integration)
{
    compare_with_integration(grey(4.2, 0.01, 0.75), 0.008);
    compare_with_integration(grey(12, 0.03, 1.3), 0.008);
    compare_with_integration(coloured(), 0.008);
}

Test(width, unclipped_flux_agrees_with_numerical_integration)
{
    compare_with_integration(grey(0.4, 0.05, 0.75), 0.001);
}

Test(width, clipping_makes_the_plain_sum_read_a_bright_slot_too_wide)
{
    /* As seen in the sample frames: a lamp of four times full scale, a gap of
     * 1.5 px. Taking flux as width at full scale is wrong by tens of per cent;
     * the inversion is not. */
    rg_slot_model m = grey(4.2, 0.01, 0.75);
    double flux = brute_flux(&m, 1.5);
    rg_slot_table *t = table_of(m);
    cr_assert_gt(flux, 1.25 * 1.5, "flux %g", flux);
    cr_assert_float_eq(rg_slot_invert(t, flux).width_px, 1.5, 0.03);
    rg_slot_table_free(t);
}

static void round_trip(rg_slot_model m)
{
    rg_slot_table *t = table_of(m);
    double last = 0;
    for (double w = 0.004; w < 79; w *= 1.13) {
        double flux = rg_slot_flux(t, w);
        rg_slot_width back = rg_slot_invert(t, flux);
        cr_assert_gt(flux, last);
        cr_assert_float_eq(back.width_px, w, 1e-7 * w, "%g comes back as %.9g", w, back.width_px);
        cr_assert_not(back.beyond);
        last = flux;
    }
    rg_slot_table_free(t);
}

Test(width, width_to_flux_and_back_is_the_same_width)
{
    round_trip(grey(0.5, 0, 1));
    round_trip(grey(4.2, 0.01, 0.75));
    round_trip(grey(900, 0.3, 2.5));
    round_trip(coloured());
}

Test(width, flux_at_or_below_nothing_is_no_width)
{
    rg_slot_table *t = table_of(coloured());
    cr_assert_eq(rg_slot_invert(t, 0).width_px, 0);
    cr_assert_eq(rg_slot_invert(t, -3).width_px, 0);
    cr_assert_eq(rg_slot_flux(t, 0), 0);
    cr_assert_eq(rg_slot_flux(t, -1), 0);
    rg_slot_table_free(t);
}

Test(width, flux_beyond_the_table_is_flagged_as_a_lower_bound)
{
    rg_slot_table *t = table_of(grey(3, 0, 1));
    double most = rg_slot_flux(t, RG_SLOT_MAX_WIDTH_PX);
    rg_slot_width w = rg_slot_invert(t, 1.5 * most);
    cr_assert(w.beyond);
    cr_assert_float_eq(w.width_px, RG_SLOT_MAX_WIDTH_PX, 1e-9);
    cr_assert_eq(rg_slot_flux(t, 2 * RG_SLOT_MAX_WIDTH_PX), most);
    rg_slot_table_free(t);
}

/* Flux by integration with radiance and point spread scaled. */
static double brute_scaled(rg_slot_model m, double radiance, double sigma, double width)
{
    for (int c = 0; c < 3; c++)
        m.radiance[c] *= radiance;
    m.sigma_px *= sigma;
    return brute_flux(&m, width);
}

/* dw/dp at a fixed flux is -(dF/dp) / (dF/dw); the fluxes are those of the
 * integration above, so that nothing of the table is used twice. */
static void check_derivatives(rg_slot_model m, double width, double tolerance)
{
    double d = 0.04, step = 0.1 * width;
    double dw = (brute_flux(&m, width + step) - brute_flux(&m, width - step)) / (2 * step);
    double dl = brute_scaled(m, exp(d), 1, width) - brute_scaled(m, exp(-d), 1, width);
    double ds = brute_scaled(m, 1, exp(d), width) - brute_scaled(m, 1, exp(-d), width);
    double per_l = -dl / (2 * d) / dw, per_s = -ds / (2 * d) / dw;
    rg_slot_table *t = table_of(m);
    rg_slot_width w = rg_slot_invert(t, rg_slot_flux(t, width));
    cr_expect_float_eq(w.per_flux, 1 / dw, tolerance / dw, "%g px: dw/dF %g, differences %g", width,
                       w.per_flux, 1 / dw);
    cr_expect_float_eq(w.per_ln_radiance, per_l, tolerance * fabs(per_l),
                       "%g px: dw/dlnL %g, differences %g", width, w.per_ln_radiance, per_l);
    cr_expect_float_eq(w.per_ln_sigma, per_s, tolerance * fabs(per_s) + 0.02,
                       "%g px: dw/dln(sigma) %g, differences %g", width, w.per_ln_sigma, per_s);
    cr_expect_lt(w.per_ln_radiance, 0);
    rg_slot_table_free(t);
}

Test(width, derivatives_agree_with_finite_differences)
{
    /* Clipped, the table's few places of the slot on the pixel grid leave a
     * ripple in its slopes that the integration does not have. */
    static const double width[] = {0.08, 0.4, 1, 2.5, 6};
    for (size_t k = 0; k < COUNT(width); k++) {
        check_derivatives(grey(0.5, 0.01, 0.9), width[k], 0.03);
        check_derivatives(grey(4.2, 0.01, 0.75), width[k], 0.3);
        check_derivatives(coloured(), width[k], 0.3);
    }
}

Test(width, unsaturated_width_falls_as_radiance_rises_and_ignores_the_point_spread)
{
    rg_slot_table *t = table_of(grey(0.5, 0.01, 0.9));
    rg_slot_width w = rg_slot_invert(t, 0.5 * 0.8);
    /* w = F / L: dw/dF = 1/L, dw/dlnL = -w. */
    cr_assert_float_eq(w.per_flux, 2, 0.002);
    cr_assert_float_eq(w.per_ln_radiance, -0.8, 0.02);
    cr_assert_float_eq(w.per_ln_sigma, 0, 0.002);
    rg_slot_table_free(t);
}

static void refused(rg_slot_model m, const char *word)
{
    rg_slot_table *t;
    rg_error err = {0};
    cr_assert_eq(rg_slot_table_new(&t, &m, &err), RG_BAD_DATA, "%s", word);
    cr_assert_null(t);
    cr_assert_not_null(strstr(err.text, word), "'%s' does not name %s", err.text, word);
}

Test(width, impossible_models_are_refused_by_name)
{
    static const double bad_sigma[] = {0, 0.04, -1, 21, NAN, INFINITY};
    static const double bad_radiance[] = {0, -2, 2e6, NAN, INFINITY};
    static const double bad_background[] = {-0.1, 1.1, NAN};
    for (size_t k = 0; k < COUNT(bad_sigma); k++)
        refused(grey(1, 0, bad_sigma[k]), "sigma");
    for (size_t k = 0; k < COUNT(bad_radiance); k++) {
        rg_slot_model m = grey(1, 0, 1);
        m.radiance[1] = bad_radiance[k];
        refused(m, "radiance");
    }
    for (size_t k = 0; k < COUNT(bad_background); k++) {
        rg_slot_model m = grey(1, 0, 1);
        m.background[2] = bad_background[k];
        refused(m, "background");
    }
}

Test(width, code_weights_that_do_not_sum_to_one_are_refused)
{
    rg_slot_model m = grey(1, 0, 1);
    m.code_weights[0] = 0.4;
    refused(m, "weights");
    m.code_weights[0] = -0.2;
    refused(m, "weight");
    m.code_weights[0] = NAN;
    refused(m, "weight");
}

Test(width, freeing_no_table_is_safe)
{
    rg_slot_table_free(NULL);
}

/*
 * Tests of pipeline.h on drawn strips instead of frames: a whole rim seen in
 * eight views, at any scale and point spread, with a slot of known flux.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/pipeline.h"
#include "support/scene.h"
#include "support/setup.h"

enum { VIEWS = 8, COLUMNS = 180, ROWS = 134, FIRST_LIT = 64, LAST_LIT = 111 };
#define STEP_DEG 0.25
#define DZ       0.015
#define LOW      (-0.8)
#define HEIGHT   0.02 /* of the rim plane */
#define SHADOW   0.085

typedef struct drawn {
    rg_setup setup;
    rg_frame frame[VIEWS];
    rg_strip_column column[VIEWS][COLUMNS];
    float light[VIEWS][COLUMNS * ROWS];
} drawn;

static drawn d;
static rg_sweep_result result;

static double step_at(double z, double edge, double sigma)
{
    return 0.5 * (1 + erf((z - edge) / (sigma * sqrt(2))));
}

/* Chimney below the shadow edge, half the pad's light in the shadow above it,
 * the pad; all as soft as a point spread of that many mm makes them. */
static void draw_column(float *light, double spread, test_random *random)
{
    double noise = 0;
    for (int r = 0; r < ROWS; r++) {
        double z = LOW + r * DZ - HEIGHT, ramp = fmin(fmax(z / 0.22, 0), 1);
        double above = step_at(z, -SHADOW, fmax(0.034, 1.5 * spread));
        if (r % 2 == 0)
            noise = 0.0005 * test_normal(random);
        light[r] = (float)(0.04 * (1 - above) + above * 0.01 * (0.5 + 0.5 * ramp) + noise);
    }
}

/* View v covers 45 degrees from 45 v on; px_per_mm and the point spread in px
 * say how soft the picture is. */
static void draw(double px_per_mm, double psf_px)
{
    test_random random = {11};
    memset(&d, 0, sizeof d);
    test_setup(&d.setup);
    d.setup.options.psf_sigma_px = psf_px;
    for (int v = 0; v < VIEWS; v++) {
        d.frame[v] = (rg_frame){.role = RG_FRAME_CLOSED, .exposure = 1, .used = true};
        d.frame[v].pose.state = RG_POSE_OK;
        d.frame[v].pose.edge_sigma_px = psf_px;
        d.frame[v].strip = (rg_strip){COLUMNS, ROWS, LOW, DZ, STEP_DEG, d.column[v], d.light[v]};
        for (int c = 0; c < COLUMNS; c++) {
            d.column[v][c] = (rg_strip_column){.bearing_deg = 45 * v + STEP_DEG * (c + 0.5),
                                               .slope = 0.004,
                                               .px_per_mm = px_per_mm,
                                               .inside = true};
            draw_column(d.light[v] + (size_t)c * ROWS, psf_px / px_per_mm, &random);
        }
    }
}

/* A slot of this flux (light times mm) in view 2, blurred by the point spread. */
static void add_slot(double flux, double sigma_mm)
{
    for (int c = FIRST_LIT; c <= LAST_LIT; c++)
        for (int r = 0; r < ROWS; r++) {
            double x = (LOW + r * DZ - HEIGHT) / sigma_mm;
            d.light[2][c * ROWS + r] +=
                (float)(flux / (sigma_mm * sqrt(2 * RG_PI)) * exp(-0.5 * x * x));
        }
}

/* What rg_sweep_measure made is freed, what was drawn is not its. */
static void measure(void)
{
    rg_error err = {0};
    cr_assert_eq(rg_sweep_measure(&d.setup, d.frame, VIEWS, &result, &err), RG_OK, "%s", err.text);
    cr_assert(result.plane.found);
}

static void release(void)
{
    for (int v = 0; v < VIEWS; v++)
        rg_rimlight_free(&d.frame[v].light);
}

/* --------------------------------------------------------------- windows */
static double mean_flux(void)
{
    double sum = 0;
    int n = 0;
    for (int c = FIRST_LIT + 4; c <= LAST_LIT - 4; c++) {
        cr_assert_eq(d.frame[2].light.column[c].state, RG_COLUMN_LIT, "column %d is %d", c,
                     (int)d.frame[2].light.column[c].state);
        sum += d.frame[2].light.column[c].flux_mm;
        n++;
    }
    return sum / n;
}

static void flux_is_whole(double px_per_mm, double psf_px)
{
    draw(px_per_mm, psf_px);
    add_slot(0.03, psf_px / px_per_mm);
    measure();
    cr_expect_float_eq(mean_flux(), 0.03, 0.0015, "%g px/mm, %g px: %g", px_per_mm, psf_px,
                       mean_flux());
    release();
}

Test(pipeline_drawn, windows_hold_the_blurred_slot_at_any_scale)
{
    flux_is_whole(31, 0.9); /* as the sample frames are */
    flux_is_whole(24, 0.9);
    flux_is_whole(20, 0.9);
    flux_is_whole(31, 1.3);
}

/* Flux of every column of view 2, measured with these windows (mm). */
static void flux_with(double window, double margin, double blur, double flux[COLUMNS])
{
    draw(24, 0.9);
    add_slot(0.03, 0.9 / 24);
    d.setup.options.rimlight.window_mm = window;
    d.setup.options.rimlight.margin_mm = margin;
    d.setup.options.rimlight.shadow_blur_mm = blur;
    measure();
    for (int c = 0; c < COLUMNS; c++)
        flux[c] = d.frame[2].light.column[c].flux_mm;
    release();
}

static bool same(const double a[COLUMNS], const double b[COLUMNS])
{
    for (int c = 0; c < COLUMNS; c++)
        if (fabs(a[c] - b[c]) > 1e-12)
            return false;
    return true;
}

Test(pipeline_drawn, windows_are_widened_to_the_point_spread_but_never_narrowed)
{
    /* Of a Gaussian, +-3.4 sigmas hold 99.93 %, 2.8 sigmas to one side 99.7 %; the
     * contact shadow's edge is no sharper than 1.5 sigmas. */
    double sigma = 0.9 / 24, window = 3.4 * sigma, margin = 2.8 * sigma, blur = 1.5 * sigma;
    static double right[COLUMNS], other[COLUMNS];
    flux_with(window, margin, blur, right);
    flux_with(0.01, margin, blur, other);
    cr_expect(same(right, other), "a narrow window is not widened");
    flux_with(window, 0.001, blur, other);
    cr_expect(same(right, other), "a narrow margin is not widened");
    flux_with(window, margin, 0.01, other);
    cr_expect(same(right, other), "a sharp shadow is not softened");
    flux_with(2 * window, margin, blur, other);
    cr_expect_not(same(right, other), "a wide window is narrowed");
    flux_with(window, 2 * margin, blur, other);
    cr_expect_not(same(right, other), "a wide margin is narrowed");
    flux_with(window, margin, 2 * blur, other);
    cr_expect_not(same(right, other), "a soft shadow is sharpened");
}

/* ------------------------------------------------------ half-hidden bearings */
static int frames_of_bin(int bin)
{
    return result.map.bin[bin].frames;
}

/* Bearing 110 is in view 2 only, in the columns 78 to 81. */
static void cover(int columns)
{
    draw(31, 0.9);
    for (int c = 78; c < 78 + columns; c++)
        d.column[2][c].inside = false;
    measure();
    release();
}

Test(pipeline_drawn, a_bearing_half_hidden_in_a_frame_is_not_seen_by_it)
{
    cover(0);
    cr_assert_eq(frames_of_bin(110), 1);
    cover(1);
    cr_assert_eq(frames_of_bin(110), 1, "three of four columns say enough");
    cover(2);
    cr_assert_eq(frames_of_bin(110), 0);
    cr_assert_eq(frames_of_bin(109), 1);
    cr_assert_eq(frames_of_bin(112), 1);
    cover(3);
    cr_assert_eq(frames_of_bin(110), 0);
}

/*
 * Tests of light.h.
 * Otsu: the classic worked example of 36 pixels on six levels (data from
 * memory, variances computed outside this project), and photographs with the
 * results of scikit-image 0.19.3 and OpenCV 4.6.0 (tests/data/photos/README).
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/light.h"
#include "support/load.h"

#define COUNT(a) (sizeof(a) / sizeof *(a))

/* ------------------------------------------------------------- Otsu */
static const uint64_t six_levels[6] = {8, 7, 2, 6, 9, 4};

Test(light, between_variances_are_those_of_the_worked_example)
{
    /* "background = levels < T" there, so T = 1..5 is t = 0..4 here. */
    static const double between[5] = {1.5928, 2.5635, 2.6287, 2.1417, 0.8705};
    for (int t = 0; t < 5; t++)
        cr_assert_float_eq(rg_between_variance(six_levels, 6, t), between[t], 6e-5, "t %d: %.5f", t,
                           rg_between_variance(six_levels, 6, t));
}

Test(light, otsu_picks_the_split_of_the_worked_example)
{
    cr_assert_eq(rg_otsu(six_levels, 6), 2);
}

Test(light, otsu_takes_the_middle_of_tied_levels)
{
    uint64_t two[101] = {0};
    two[10] = 5, two[90] = 5;
    /* Every t in 10..89 splits the same way; their mean 49.5 is rounded down. */
    cr_assert_eq(rg_otsu(two, 101), 49);
}

Test(light, otsu_of_one_level_or_none_does_not_exist)
{
    uint64_t counts[16] = {0};
    cr_assert_eq(rg_otsu(counts, 16), -1);
    counts[7] = 1000;
    cr_assert_eq(rg_otsu(counts, 16), -1);
    counts[8] = 1;
    cr_assert_eq(rg_otsu(counts, 16), 7);
}

/* ------------------------------------------------------- photographs */
static const struct {
    const char *file;
    int otsu, above, four, eight, low, hysteresis;
} photo[] = {{"camera", 102, 177984, 74, 48, 81, 181397},
             {"coins", 107, 45117, 154, 96, 85, 58321},
             {"text", 109, 66801, 35, 16, 87, 72307},
             {"cell", 122, 11746, 1, 1, 97, 12380},
             {"brick", 131, 48263, 9, 8, 104, 77560}};

static rg_image open_photo(const char *name)
{
    char path[80];
    snprintf(path, sizeof path, "tests/data/photos/%s.png", name);
    rg_image image = test_decode_file(path);
    cr_assert_eq(image.channels, 1);
    cr_assert_eq(image.depth, 8);
    return image;
}

static size_t pixels(const rg_image *image)
{
    return (size_t)image->width * (size_t)image->height;
}

Test(light, otsu_thresholds_of_photographs_are_the_published_ones)
{
    for (size_t k = 0; k < COUNT(photo); k++) {
        rg_image image = open_photo(photo[k].file);
        const uint8_t *code = image.data;
        uint64_t counts[256] = {0};
        int above = 0;
        for (size_t i = 0; i < pixels(&image); i++)
            counts[code[i]]++;
        int t = rg_otsu(counts, 256);
        for (size_t i = 0; i < pixels(&image); i++)
            above += code[i] > t;
        cr_expect_eq(t, photo[k].otsu, "%s: %d", photo[k].file, t);
        cr_expect_eq(above, photo[k].above, "%s: %d px above", photo[k].file, above);
        rg_image_free(&image);
    }
}

static int count_components(const rg_image *image, int threshold, int connectivity)
{
    size_t n = pixels(image);
    uint8_t *mask = malloc(n);
    int32_t *labels = malloc(n * sizeof *labels);
    int count = -1;
    for (size_t i = 0; i < n; i++)
        mask[i] = ((const uint8_t *)image->data)[i] > threshold;
    cr_assert_eq(rg_label(mask, image->width, image->height, connectivity, labels, &count, NULL),
                 RG_OK);
    free(labels);
    free(mask);
    return count;
}

Test(light, components_of_photographs_are_counted_as_elsewhere)
{
    for (size_t k = 0; k < COUNT(photo); k++) {
        rg_image image = open_photo(photo[k].file);
        int four = count_components(&image, photo[k].otsu, 4);
        int eight = count_components(&image, photo[k].otsu, 8);
        cr_expect_eq(four, photo[k].four, "%s: %d", photo[k].file, four);
        cr_expect_eq(eight, photo[k].eight, "%s: %d", photo[k].file, eight);
        rg_image_free(&image);
    }
}

Test(light, hysteresis_keeps_as_many_pixels_as_elsewhere)
{
    for (size_t k = 0; k < COUNT(photo); k++) {
        rg_image image = open_photo(photo[k].file);
        size_t n = pixels(&image);
        float *data = malloc(n * sizeof *data);
        int32_t *labels = malloc(n * sizeof *labels);
        int kept = 0, count = 0, most = 0;
        for (size_t i = 0; i < n; i++)
            data[i] = ((const uint8_t *)image.data)[i];
        cr_assert_eq(rg_hysteresis(data, image.width, image.height, photo[k].low, photo[k].otsu, 4,
                                   labels, &count, NULL),
                     RG_OK);
        for (size_t i = 0; i < n; i++) {
            kept += labels[i] != 0;
            most = labels[i] > most ? labels[i] : most;
        }
        cr_expect_eq(kept, photo[k].hysteresis, "%s: %d", photo[k].file, kept);
        cr_expect_eq(most, count);
        free(labels);
        free(data);
        rg_image_free(&image);
    }
}

/* -------------------------------------------------------- components */
Test(light, labels_are_in_raster_order_and_diagonals_join_only_with_eight)
{
    static const uint8_t mask[5 * 4] = {0, 1, 0, 0, 1, //
                                        1, 0, 0, 0, 1, //
                                        0, 0, 1, 0, 0, //
                                        1, 1, 1, 0, 1};
    static const int32_t four[5 * 4] = {0, 1, 0, 0, 2, //
                                        3, 0, 0, 0, 2, //
                                        0, 0, 4, 0, 0, //
                                        4, 4, 4, 0, 5};
    static const int32_t eight[5 * 4] = {0, 1, 0, 0, 2, //
                                         1, 0, 0, 0, 2, //
                                         0, 0, 3, 0, 0, //
                                         3, 3, 3, 0, 4};
    int32_t labels[5 * 4];
    int count;
    cr_assert_eq(rg_label(mask, 5, 4, 4, labels, &count, NULL), RG_OK);
    cr_assert_eq(count, 5);
    cr_assert_arr_eq(labels, four, sizeof four);
    cr_assert_eq(rg_label(mask, 5, 4, 8, labels, &count, NULL), RG_OK);
    cr_assert_eq(count, 4);
    cr_assert_arr_eq(labels, eight, sizeof eight);
}

Test(light, two_arms_that_meet_below_are_one_component)
{
    static const uint8_t mask[5 * 3] = {1, 0, 1, 0, 1, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1};
    int32_t labels[5 * 3];
    int count;
    cr_assert_eq(rg_label(mask, 5, 3, 4, labels, &count, NULL), RG_OK);
    cr_assert_eq(count, 1);
    for (int i = 0; i < 15; i++)
        cr_assert_eq(labels[i], mask[i]);
}

Test(light, a_row_s_end_is_no_neighbour_of_the_next_row_s_start)
{
    static const uint8_t mask[3 * 2] = {0, 0, 1, 1, 0, 0};
    int32_t labels[3 * 2];
    int count;
    cr_assert_eq(rg_label(mask, 3, 2, 8, labels, &count, NULL), RG_OK);
    cr_assert_eq(count, 2);
}

Test(light, hysteresis_drops_weak_light_without_a_strong_core_and_nan)
{
    const float data[8] = {4, 9, 4, 1, 4, 4, NAN, 9};
    static const int32_t expected[8] = {1, 1, 1, 0, 0, 0, 0, 2};
    int32_t labels[8];
    int count;
    cr_assert_eq(rg_hysteresis(data, 8, 1, 3, 8, 8, labels, &count, NULL), RG_OK);
    cr_assert_eq(count, 2);
    cr_assert_arr_eq(labels, expected, sizeof labels);
}

/* ------------------------------------------------------ circular runs */
static int runs_of(const uint8_t *mask, int n, rg_run *run)
{
    return rg_circular_runs(mask, n, run, 180);
}

Test(light, a_run_over_the_seam_is_one_run)
{
    uint8_t mask[360] = {0};
    rg_run run[180];
    for (int i = 0; i < 10; i++)
        mask[i] = mask[350 + i] = 1;
    cr_assert_eq(runs_of(mask, 360, run), 1);
    cr_assert_eq(run[0].start, 350);
    cr_assert_eq(run[0].length, 20);
    double centre = fmod(run[0].start + (run[0].length - 1) / 2.0, 360);
    cr_assert_float_eq(centre, 359.5, 1e-12);
}

Test(light, a_full_circle_is_one_run_and_an_empty_one_none)
{
    uint8_t mask[360];
    rg_run run[180];
    memset(mask, 1, sizeof mask);
    cr_assert_eq(runs_of(mask, 360, run), 1);
    cr_assert_eq(run[0].length, 360);
    memset(mask, 0, sizeof mask);
    cr_assert_eq(runs_of(mask, 360, run), 0);
    cr_assert_eq(runs_of(mask, 0, run), 0);
}

Test(light, alternating_bins_are_180_runs)
{
    for (int first = 0; first < 2; first++) {
        uint8_t mask[360];
        rg_run run[180];
        for (int i = 0; i < 360; i++)
            mask[i] = i % 2 == first;
        cr_assert_eq(runs_of(mask, 360, run), 180);
        for (int i = 0; i < 180; i++) {
            cr_assert_eq(run[i].length, 1);
            cr_assert(mask[run[i].start]);
        }
    }
}

Test(light, every_rotation_of_a_mask_has_the_same_runs)
{
    static const uint8_t base[12] = {1, 1, 0, 1, 0, 0, 1, 1, 1, 0, 0, 1};
    for (int turn = 0; turn < 12; turn++) {
        uint8_t mask[12];
        rg_run run[12];
        int total = 0, longest = 0;
        for (int i = 0; i < 12; i++)
            mask[(i + turn) % 12] = base[i];
        cr_assert_eq(rg_circular_runs(mask, 12, run, 12), 3);
        for (int i = 0; i < 3; i++) {
            total += run[i].length;
            longest = run[i].length > longest ? run[i].length : longest;
            cr_assert(mask[run[i].start]);
            cr_assert_not(mask[(run[i].start + 11) % 12]);
        }
        cr_assert_eq(total, 7);
        cr_assert_eq(longest, 3);
    }
}

Test(light, more_runs_than_room_are_counted_but_not_stored)
{
    static const uint8_t mask[6] = {1, 0, 1, 0, 1, 0};
    rg_run run[2] = {{-1, -1}, {-1, -1}};
    cr_assert_eq(rg_circular_runs(mask, 6, run, 1), 3);
    cr_assert_eq(run[1].start, -1);
}

/* ------------------------------------------------- choice of threshold */
static const rg_threshold_options choice = {
    .factor = 6, .low_factor = 3, .separation = 20, .floor = 0.0015};

/* Knuth, TAOCP 2: deterministic noise. */
static double uniform(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (*state >> 8) / 16777216.0;
}

static double normal(uint32_t *state)
{
    double u = uniform(state) + 1e-9, v = uniform(state);
    return sqrt(-2 * log(u)) * cos(6.283185307179586 * v);
}

enum { SAMPLES = 4000 };

static rg_threshold choose(double sigma, int bright, double level)
{
    float x[SAMPLES];
    uint32_t state = 7;
    rg_threshold t;
    rg_error err = {0};
    for (int i = 0; i < SAMPLES; i++)
        x[i] = (float)(sigma * normal(&state) + (i < bright ? level : 0));
    cr_assert_eq(rg_threshold_choose(x, SAMPLES, &choice, &t, &err), RG_OK, "%s", err.text);
    return t;
}

Test(light, noise_alone_is_thresholded_on_its_own_sigma)
{
    rg_threshold t = choose(0.004, 0, 0);
    cr_assert_eq(t.kind, RG_THRESHOLD_NOISE);
    cr_assert_float_eq(t.noise_sigma, 0.004, 0.0002);
    cr_assert_float_eq(t.high, 6 * t.noise_sigma, 1e-12);
    cr_assert_float_eq(t.low, 3 * t.noise_sigma, 1e-12);
    cr_assert_not_null(strstr(t.why, "noise"));
}

Test(light, two_clear_populations_are_split_by_otsu)
{
    rg_threshold t = choose(0.004, 300, 0.5);
    cr_assert_eq(t.kind, RG_THRESHOLD_OTSU);
    cr_assert_eq(t.high, t.otsu);
    cr_assert(t.high > 0.03 && t.high < 0.48, "%g", t.high);
    cr_assert_float_eq(t.low, 3 * t.noise_sigma, 1e-12);
    cr_assert_not_null(strstr(t.why, "Otsu"));
}

Test(light, faint_light_near_the_noise_is_not_left_to_otsu)
{
    /* Sixteen sigmas of light: Otsu's threshold is above the noise's, but the
     * class means are closer than `separation`. */
    rg_threshold t = choose(0.004, 300, 16 * 0.004);
    cr_assert_gt(t.otsu, 6 * t.noise_sigma);
    cr_assert_eq(t.kind, RG_THRESHOLD_NOISE);
    cr_assert_float_eq(t.high, 6 * t.noise_sigma, 1e-12);
}

Test(light, equal_samples_get_the_quantisation_floor)
{
    float x[50];
    rg_threshold t;
    for (int i = 0; i < 50; i++)
        x[i] = 0.25f;
    cr_assert_eq(rg_threshold_choose(x, 50, &choice, &t, NULL), RG_OK);
    cr_assert_eq(t.kind, RG_THRESHOLD_NOISE);
    cr_assert_float_eq(t.noise_sigma, choice.floor, 1e-15);
    memset(x, 0, sizeof x);
    cr_assert_eq(rg_threshold_choose(x, 50, &choice, &t, NULL), RG_OK);
    cr_assert_eq(t.kind, RG_THRESHOLD_NOISE);
    cr_assert(isnan(t.otsu));
}

Test(light, nan_samples_are_left_out)
{
    float x[SAMPLES], y[2 * SAMPLES];
    uint32_t state = 7;
    rg_threshold a, b;
    for (int i = 0; i < SAMPLES; i++) {
        x[i] = (float)(0.01 * normal(&state) + (i < 200 ? 0.7 : 0));
        y[2 * i] = x[i];
        y[2 * i + 1] = NAN;
    }
    cr_assert_eq(rg_threshold_choose(x, SAMPLES, &choice, &a, NULL), RG_OK);
    cr_assert_eq(rg_threshold_choose(y, 2 * SAMPLES, &choice, &b, NULL), RG_OK);
    cr_assert_eq(a.kind, b.kind);
    cr_assert_eq(a.high, b.high);
    cr_assert_eq(a.noise_sigma, b.noise_sigma);
}

Test(light, nothing_to_threshold_is_refused)
{
    const float none[3] = {NAN, NAN, NAN};
    rg_threshold t;
    rg_error err = {0};
    cr_assert_eq(rg_threshold_choose(none, 3, &choice, &t, &err), RG_BAD_DATA);
    cr_assert_not_null(strstr(err.text, "inside the picture"));
    cr_assert_eq(rg_threshold_choose(none, 0, &choice, &t, &err), RG_BAD_DATA);
}

/* Own, trivial: b3 of the circle. */
Test(runs, short_breaks_are_bridged_over_the_seam_and_long_ones_are_not)
{
    uint8_t mask[12] = {1, 0, 0, 0, 1, 1, 0, 1, 0, 0, 1, 0};
    static const uint8_t expected[12] = {1, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1};
    rg_circular_bridge(mask, 12, 2);
    for (int i = 0; i < 12; i++)
        cr_expect_eq(mask[i], expected[i], "bin %d", i);
    uint8_t none[4] = {0, 0, 0, 0};
    rg_circular_bridge(none, 4, 9);
    for (int i = 0; i < 4; i++)
        cr_expect_eq(none[i], 0);
}

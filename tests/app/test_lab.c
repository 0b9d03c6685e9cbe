/*
 * Tests of lab.h: what a lesson may promise. Truth comes from closed forms that are written down again
 * here, verdicts from the real measurement.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/decode.h"
#include "rimglow/lab.h"
#include "support/load.h"
#include "support/scratch.h"

static rg_lab *lab;
static rg_error err;

static void open_lab(void)
{
    const rg_lab_options options = {.workers = 2};
    cr_assert_eq(rg_lab_open(&options, &lab, &err), RG_OK, "%s", err.text);
}

static void close_lab(void)
{
    rg_lab_close(lab);
}

TestSuite(lab, .init = open_lab, .fini = close_lab);

/* An opening of 60 degrees at bearing 90, in front of the camera. */
static rg_lab_case leaking(double gap_mm)
{
    double value[RG_TEACH_SLIDERS];
    rg_lab_case c;
    for (int i = 0; i < RG_TEACH_SLIDERS; i++)
        value[i] = rg_lab_settings(lab)->slider[i].start;
    value[RG_TEACH_GAP] = gap_mm;
    cr_assert_eq(rg_lab_from_sliders(lab, value, &c, &err), RG_OK, "%s", err.text);
    return c;
}

static rg_lab_look look(rg_lab_hand *hand, const rg_lab_case *c)
{
    rg_lab_look k;
    cr_assert_eq(rg_lab_look_at(lab, hand, c, &k, &err), RG_OK, "%s", err.text);
    return k;
}

/* ---------------------------------------------------------------- truth */

/* A raised cosine from -0.01 mm (the seat of calib/teach.ini) up to the gap crosses 0 at half the arc: worked
 * by hand for 0.05 mm, (0.06) (1 + cos x) / 2 = 0.01 at x = acos(-2/3). */
Test(lab, truth_is_that_of_the_sliders)
{
    double w[RG_BINS];
    rg_lab_case c = leaking(0.05);
    rg_lab_widths(lab, &c, w);
    cr_expect_float_eq(w[90], 0.05, 1e-9);
    cr_expect_float_eq(w[60], 0, 1e-9);
    cr_expect_float_eq(w[120], 0, 1e-9);
    double x = acos(-2.0 / 3) / 2; /* half way */
    cr_expect_float_eq(w[75], 0.03 * (1 + cos(x)) - 0.01, 1e-9);
    cr_expect_eq(w[270], 0);
}

Test(lab, a_firmer_finger_closes_the_gap_by_its_compliance)
{
    double w[RG_BINS];
    rg_lab_case c = leaking(0.05);
    c.grams = 150; /* 100 g more: 0.03 mm */
    rg_lab_widths(lab, &c, w);
    cr_expect_float_eq(w[90], 0.02, 1e-9);
    c.grams = 250;
    rg_lab_widths(lab, &c, w);
    cr_expect_eq(w[90], 0);
    c.grams = 10; /* a lighter one opens: 0.05 + 0.012 */
    rg_lab_widths(lab, &c, w);
    cr_expect_float_eq(w[90], 0.062, 1e-9);
}

Test(lab, sliders_out_of_range_are_refused_by_name)
{
    double value[RG_TEACH_SLIDERS];
    rg_lab_case c;
    for (int i = 0; i < RG_TEACH_SLIDERS; i++)
        value[i] = rg_lab_settings(lab)->slider[i].start;
    value[RG_TEACH_TILT] = 0.21;
    cr_expect_eq(rg_lab_from_sliders(lab, value, &c, &err), RG_USAGE);
    cr_expect(strstr(err.text, "tilt_mm = 0.21"), "%s", err.text);
    value[RG_TEACH_TILT] = (double)NAN;
    cr_expect_eq(rg_lab_from_sliders(lab, value, &c, &err), RG_USAGE);
}

/* ---------------------------------------------------------------- one view */

Test(lab, the_same_case_gives_the_same_bytes_on_any_number_of_workers)
{
    rg_lab *other;
    const rg_lab_options options = {.workers = 3};
    rg_lab_case c = leaking(0.05);
    rg_lab_look a = look(NULL, &c), b, d;
    cr_assert_eq(rg_lab_open(&options, &other, &err), RG_OK);
    cr_assert_eq(rg_lab_look_at(other, NULL, &c, &b, &err), RG_OK);
    c.seed++;
    cr_assert_eq(rg_lab_look_at(other, NULL, &c, &d, &err), RG_OK);
    cr_expect(a.jpeg_size == b.jpeg_size && memcmp(a.jpeg, b.jpeg, a.jpeg_size) == 0);
    cr_expect(a.strip_size == b.strip_size && memcmp(a.strip, b.strip, a.strip_size) == 0);
    cr_expect_eq(memcmp(&a.result.map.bin[90].width_mm, &b.result.map.bin[90].width_mm, 8), 0);
    cr_expect(d.jpeg_size != a.jpeg_size || memcmp(a.jpeg, d.jpeg, a.jpeg_size) != 0,
              "another seed has another noise");
    rg_lab_look_free(&a);
    rg_lab_look_free(&b);
    rg_lab_look_free(&d);
    rg_lab_close(other);
}

Test(lab, a_leak_that_is_seen_is_a_leak)
{
    rg_lab_case c = leaking(0.08);
    rg_lab_look k = look(NULL, &c);
    const rg_bin *b = &k.result.map.bin[90];
    cr_expect(k.frame.used, "%s", k.frame.reason);
    cr_expect_eq(k.result.map.verdict, RG_VERDICT_LEAKING);
    cr_expect_float_eq(b->width_mm, 0.08, 2 * b->u_mm, "%g +- %g", b->width_mm, b->u_mm);
    cr_expect_float_eq(k.true_mm[90], 0.08, 1e-9);
    cr_expect_gt(k.flux_mm, 0.1);
    rg_lab_look_free(&k);
}

Test(lab, one_view_of_a_good_pad_is_never_called_sealed)
{
    static const double place[][2] = {{90, 0}, {90, -0.4}, {180, 0.2}, {250, 0}, {30, 0.4}};
    rg_lab_case c;
    rg_lab_start(lab, &c);
    for (size_t i = 0; i < sizeof place / sizeof place[0]; i++) {
        c.bearing_deg = place[i][0];
        c.elevation_deg = place[i][1];
        rg_lab_look k = look(NULL, &c);
        cr_expect(k.frame.used, "%s", k.frame.reason);
        cr_expect_eq(k.result.map.verdict, RG_VERDICT_UNDECIDED, "from %g, %g", place[i][0],
                     place[i][1]);
        cr_expect_gt(k.result.map.reasons, 0);
        rg_lab_look_free(&k);
    }
}

/* Straight rays leave a slot 2.5 mm deep (11.5 - 9 mm, calib/alto-loan.ini) at atan(0.05 / 2.5) = 1.15 degrees; what
 * the land mirrors ends where w = s v + (1 - rho) s l (rocking.h), at 1.9 degrees. */
Test(lab, raising_the_camera_makes_a_thin_gap_vanish)
{
    rg_lab_case c = leaking(0.05);
    rg_lab_look level = look(NULL, &c);
    c.elevation_deg = 3;
    rg_lab_look above = look(NULL, &c);
    cr_expect_eq(level.result.map.verdict, RG_VERDICT_LEAKING);
    cr_expect_eq(above.result.map.verdict, RG_VERDICT_UNDECIDED, "dark, and no evidence");
    cr_expect_gt(level.frame.light.slots, 0);
    cr_expect_eq(above.frame.light.slots, 0);
    cr_expect_lt(fabs(above.flux_mm), 0.05 * level.flux_mm);
    rg_lab_look_free(&level);
    rg_lab_look_free(&above);
}

/* At a slope of 0.01 the straight rays of a slot 0.05 mm wide and 2.5 mm deep are half of the level ones; what the
 * land's 1 mm mirrors adds 0.01 mm at most. The lamp is dim, so that no pixel clips. */
Test(lab, a_gap_vanishes_by_its_depth)
{
    rg_lab_case c = leaking(0.05);
    c.face.lamp *= 0.3;
    rg_lab_look level = look(NULL, &c);
    /* The rim's near edge is 10 mm nearer than the axis. */
    c.elevation_deg = asin(0.01 * (c.distance_mm - 10) / c.distance_mm) * 180 / acos(-1);
    rg_lab_look raised = look(NULL, &c);
    double left = raised.flux_mm / level.flux_mm;
    cr_expect(left > 0.48 && left < 0.72, "%g", left);
    rg_lab_look_free(&level);
    rg_lab_look_free(&raised);
}

/* Linear light (IEC 61966-2-1, section 5.2) of a picture of the lab; free(). */
static double *light_of(const rg_lab_case *c, int *width, int *height)
{
    static const double weight[3] = {0.299, 0.587, 0.114};
    rg_lab_look k = look(NULL, c);
    rg_image m;
    cr_assert_eq(rg_decode_luma(k.jpeg, k.jpeg_size, weight, &m, &err), RG_OK, "%s", err.text);
    double *light = calloc((size_t)(m.width * m.height), sizeof *light);
    cr_assert_not_null(light);
    for (int i = 0; i < m.width * m.height; i++) {
        double v = ((const uint8_t *)m.data)[i] / 255.0;
        light[i] = v <= 0.04045 ? v / 12.92 : pow((v + 0.055) / 1.055, 2.4);
    }
    *width = m.width;
    *height = m.height;
    rg_image_free(&m);
    rg_lab_look_free(&k);
    return light;
}

/* Mean of 24 x 24 px in the lower right corner. */
static double corner_light(const rg_lab_case *c, double *from_centre_px)
{
    enum { SIDE = 24 };
    const rg_lens *lens = &rg_lab_setup(lab)->lens;
    int width, height;
    double sum = 0, *light = light_of(c, &width, &height);
    for (int y = height - SIDE; y < height; y++)
        for (int x = width - SIDE; x < width; x++)
            sum += light[y * width + x] / (SIDE * SIDE);
    free(light);
    *from_centre_px = hypot(width - 12.5 - lens->cx, height - 12.5 - lens->cy);
    return sum;
}

/* By cos^n of the field angle, the natural falloff of a lens for n = 4 (radiometry, any textbook on optics), and by the
 * share that the stop takes from the corner. */
Test(lab, its_lens_darkens_outwards)
{
    rg_lab_case c;
    double px;
    rg_lab_start(lab, &c);
    c.face.falloff_power = 0;
    double plain = corner_light(&c, &px);
    c.face.falloff_power = 16;
    double cosine = cos(atan(px / rg_lab_setup(lab)->lens.fx)),
           fallen = corner_light(&c, &px) / plain;
    cr_assert_lt(pow(cosine, 16), 0.9);
    cr_expect_float_eq(fallen, pow(cosine, 16), 0.03, "%g for %g", fallen, pow(cosine, 16));
    c.face.falloff_power = 0;
    c.face.vignetting = 0.6;
    double left = corner_light(&c, &px) / plain;
    cr_expect(left > 0.37 && left < 0.52, "%g", left);
}

/* A fifth of the light spread evenly: the mean stays, the darkest tenth has four fifths of its own and a fifth of the
 * mean. */
Test(lab, its_lens_has_the_glare_of_the_plan)
{
    rg_lab_case c;
    int width, height;
    rg_lab_start(lab, &c);
    c.face.glare = 0;
    double *clear = light_of(&c, &width, &height);
    c.face.glare = 0.2;
    double *veiled = light_of(&c, &width, &height), mean[2] = {0}, dark[2] = {0};
    int pixels = width * height, darks = 0;
    for (int i = 0; i < pixels; i++) {
        mean[0] += clear[i] / pixels;
        mean[1] += veiled[i] / pixels;
    }
    for (int i = 0; i < pixels; i++)
        if (clear[i] < 0.3 * mean[0]) {
            dark[0] += clear[i];
            dark[1] += veiled[i];
            darks++;
        }
    cr_assert_gt(darks, pixels / 50);
    cr_expect_float_eq(mean[1] / mean[0], 1, 0.03, "%g", mean[1] / mean[0]);
    double wanted = 0.8 * dark[0] / darks + 0.2 * mean[0];
    cr_expect_float_eq(dark[1] / darks, wanted, 0.05 * wanted, "%g for %g", dark[1] / darks,
                       wanted);
    free(clear);
    free(veiled);
}

Test(lab, darkness_with_the_lamp_off_proves_nothing)
{
    rg_lab_case good, bad = leaking(0.2);
    rg_lab_start(lab, &good);
    good.face.lamp = bad.face.lamp = 0;
    rg_lab_look g = look(NULL, &good), b = look(NULL, &bad);
    cr_expect_not(g.result.evidence.light_proven);
    cr_expect_eq(g.result.map.verdict, RG_VERDICT_UNDECIDED);
    cr_expect_eq(b.result.map.verdict, RG_VERDICT_UNDECIDED);
    cr_expect_eq(b.frame.light.slots, 0);
    rg_lab_look_free(&g);
    rg_lab_look_free(&b);
}

/* ---------------------------------------------------------------- views add up */

static int views_of(rg_lab_hand *hand, const rg_lab_case *c, double elevation_deg)
{
    rg_lab_case at = *c;
    at.elevation_deg = elevation_deg;
    rg_lab_look k = look(hand, &at);
    int views = k.views;
    rg_lab_look_free(&k);
    return views;
}

Test(lab, views_of_one_pad_add_up_and_another_pad_begins_anew)
{
    rg_lab_hand *hand;
    rg_lab_case c = leaking(0.03), firm = c;
    firm.grams += 50;
    cr_assert_eq(rg_lab_hand_new(&hand, &err), RG_OK);
    cr_expect_eq(views_of(hand, &c, 0), 1);
    cr_expect_eq(views_of(hand, &c, 0.4), 2);
    cr_expect_eq(views_of(hand, &c, -0.4), 3);
    cr_expect_eq(views_of(hand, &c, 0), 3, "the same place again is no more evidence");
    cr_expect_eq(views_of(hand, &firm, 0), 1, "another finger, another pad");
    cr_expect_eq(views_of(hand, &c, 0), 1);
    rg_lab_hand_empty(hand);
    cr_expect_eq(views_of(hand, &c, 0.2), 1);
    rg_lab_hand_free(hand);
}

Test(lab, what_a_hand_has_collected_is_measured_together)
{
    rg_lab_hand *hand;
    rg_lab_case c = leaking(0.05);
    cr_assert_eq(rg_lab_hand_new(&hand, &err), RG_OK);
    double u = INFINITY;
    for (int i = 0; i < 4; i++) {
        c.elevation_deg = -0.4 + 0.3 * i;
        rg_lab_look k = look(hand, &c);
        cr_expect_eq(k.result.map.bin[90].frames, i + 1);
        u = i == 0 ? k.result.map.bin[90].u_mm : u;
        if (i == 3)
            cr_expect_lt(k.result.map.bin[90].u_mm, u, "four views know more than one");
        rg_lab_look_free(&k);
    }
    rg_lab_hand_free(hand);
}

/* ---------------------------------------------------------------- whole sweeps */

typedef struct watching {
    int calls, most, total;
} watching;

static bool go_on(void *context, int done, int total)
{
    watching *w = context;
    w->calls++;
    w->total = total;
    return done < w->most;
}

/* Few bearings: what these need to see all round, and no more. */
static rg_lab_sweep sweep(rg_lab_case c, int bearings, const rg_lab_watch *watch)
{
    rg_lab_sweep s;
    c.face.bearings = bearings;
    cr_assert_eq(rg_lab_sweep_round(lab, &c, watch, &s, &err), RG_OK, "%s", err.text);
    return s;
}

Test(lab, a_whole_sweep_of_a_good_pad_says_sealed)
{
    rg_lab_case c;
    watching w = {.most = 1000};
    const rg_lab_watch watch = {go_on, &w};
    rg_lab_start(lab, &c);
    rg_lab_sweep s = sweep(c, 10, &watch);
    cr_expect_eq(s.result.map.verdict, RG_VERDICT_SEALED, "%s", s.result.map.reason[0]);
    cr_expect_eq(s.frames, 50);
    cr_expect_geq(s.used, 45);
    cr_expect_eq(w.total, 51, "a witness too");
    cr_expect_not(s.cancelled);
}

Test(lab, without_a_witness_the_same_sweep_is_undecided)
{
    rg_lab_case c;
    rg_lab_start(lab, &c);
    c.witness = false;
    rg_lab_sweep s = sweep(c, 6, NULL);
    cr_expect_eq(s.result.map.verdict, RG_VERDICT_UNDECIDED);
    cr_expect_not(s.result.evidence.light_proven);
}

Test(lab, a_sweep_ends_when_it_is_told_to)
{
    watching w = {.most = 3};
    const rg_lab_watch watch = {go_on, &w};
    rg_lab_sweep s = sweep(leaking(0.05), 8, &watch);
    cr_expect(s.cancelled);
    cr_expect_eq(s.result.map.reasons, 0, "nothing is said of half a sweep");
    cr_expect_leq(w.calls, 12);
}

/* The witness of a look is a sum of what was drawn with another lamp, that of a sweep is drawn with its own. */
Test(lab, a_lamp_that_lies_askew_is_measured_alike_by_both_witnesses)
{
    rg_lab_case c;
    rg_lab_start(lab, &c);
    c.face.lamp *= 0.7;
    c.face.lamp_uneven = 0.6;
    c.face.lamp_bearing_deg = 130;
    c.face.levels = 1;
    rg_lab_look k = look(NULL, &c);
    rg_lab_sweep s = sweep(c, 1, NULL);
    cr_expect(k.result.evidence.light_proven && s.result.evidence.light_proven);
    for (int i = 0; i < 3; i++)
        cr_expect_float_eq(k.result.radiance[i] / s.result.radiance[i], 1, 0.01, "channel %d: %g",
                           i, k.result.radiance[i] / s.result.radiance[i]);
    rg_lab_look_free(&k);
}

/* ---------------------------------------------------------------- files */

static void cannot_open(const rg_lab_options *options, rg_code code, const char *names)
{
    rg_lab *none;
    err = (rg_error){0};
    cr_expect_eq(rg_lab_open(options, &none, &err), code, "%s", err.text);
    cr_expect(strstr(err.text, names), "\"%s\" does not name %s", err.text, names);
    cr_expect_null(none);
}

Test(lab, files_that_cannot_be_used_are_named)
{
    cannot_open(&(rg_lab_options){.pad = "H"}, RG_USAGE, "no pad H");
    cannot_open(&(rg_lab_options){.settings_file = "none.ini"}, RG_NO_INPUT, "none.ini");
    cannot_open(&(rg_lab_options){.settings_file = "calib/flow.ini"}, RG_BAD_DATA, "flow.ini");
    cannot_open(&(rg_lab_options){.instrument_file = "calib/bench.ini"}, RG_BAD_DATA, "bench.ini");
    cannot_open(&(rg_lab_options){.station_file = "none.ini"}, RG_NO_INPUT, "none.ini");
}

/* Another camera, lens and pad: the pad fills the picture all the same. */
Test(lab, any_pad_of_the_instrument_can_be_tried)
{
    rg_lab *other;
    const rg_lab_options options = {.pad = "low C", .workers = 2};
    cr_assert_eq(rg_lab_open(&options, &other, &err), RG_OK, "%s", err.text);
    rg_lab_case c;
    rg_lab_look k;
    rg_lab_start(other, &c);
    c.face.creases = 1;
    c.face.crease[0] = (rg_render_crease){90, 40, 0.11};
    cr_assert_eq(rg_lab_look_at(other, NULL, &c, &k, &err), RG_OK, "%s", err.text);
    cr_expect(k.frame.used, "%s", k.frame.reason);
    cr_expect_eq(k.result.map.verdict, RG_VERDICT_LEAKING);
    rg_lab_look_free(&k);
    rg_lab_close(other);
}

/*
 * From facts to findings. The facts are made up here, so that each finding's
 * right answer is known; what pictures say is tested in tests/geometry, and the
 * whole on spoiled sweeps in tests/cli.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/bench_check.h"
#include "support/load.h"
#include "support/setup.h"

enum { FRAMES = 32, CLOSED = 30, WITNESS = 30, DARK = 31, COLUMNS = 121 };

/* Six camera bearings, five elevations, a witness and a dark frame: all good. */
typedef struct world {
    rg_setup setup;
    rg_bench_limits limits;
    rg_frame frame[FRAMES];
    rg_bench_frame look[FRAMES];
    rg_sweep_result result;
    char name[FRAMES][24];
    const char *names[FRAMES];
    rg_bench_check check;
} world;

static void fill_strip(rg_frame *f)
{
    f->strip.columns = f->light.columns = COLUMNS;
    f->strip.column = calloc(COLUMNS, sizeof *f->strip.column);
    f->light.column = calloc(COLUMNS, sizeof *f->light.column);
    for (int c = 0; c < COLUMNS; c++) {
        double side = c - COLUMNS / 2; /* degrees of bearing, about those of obliquity */
        f->strip.column[c] =
            (rg_strip_column){.bearing_deg = rg_wrap_degrees(f->bearing_deg - side),
                              .slope = tan(rg_radians(f->elevation_deg)),
                              .obliquity_rad = rg_radians(side),
                              .inside = true};
        f->light.column[c] = (rg_column_light){
            .state = RG_COLUMN_DARK, .flux_mm = 0.0002, .chimney = 0.02, .pad = 0.01};
    }
}

static void fill_look(rg_bench_frame *b, const rg_frame *f, int i)
{
    *b = (rg_bench_frame){.role = f->role,
                          .exposure = f->exposure,
                          .decoded = true,
                          .crown = true,
                          .bearing_deg = f->bearing_deg,
                          .elevation_deg = f->elevation_deg,
                          .pose = {.R = {{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}}, .t = {i, 0, 110}},
                          .u_place_mm = 0.002,
                          .tag_ratio = 1 + 1e-4 * (i % 3 - 1),
                          .edges = 6,
                          .mtf50 = 0.25 + 0.002 * (i % 3),
                          .far_share = 0.97,
                          .px_per_mm = 33,
                          .module_px = 33,
                          .clipped = 0.001};
    b->sight = (rg_crown_sight){
        .borders = 8, .spread_held = true, .spread = {0.49, 0.50}, .black = 0.01, .white = 0.3};
    b->rim = (rg_outline){true, true, 0, 0, 1 + 5e-4 * (i % 3 - 1), 1e-4};
    if (f->role == RG_FRAME_WITNESS)
        b->sight.white = 0.3 * f->exposure;
}

static world *make(void)
{
    world *w = calloc(1, sizeof *w);
    test_setup(&w->setup);
    test_bench_limits(&w->limits);
    w->result.plane.found = true;
    w->result.geometry = (rg_slot_geometry){.inner_mm = 9,
                                            .outer_mm = 10,
                                            .pad_mm = 11.5,
                                            .land_reflectance = 0.8,
                                            .pad_glow = 0.15,
                                            .tilt = 0.003,
                                            .shoulder_mm = 0.35};
    for (int c = 0; c < 3; c++)
        w->result.radiance[c] = 2;
    for (int i = 0; i < FRAMES; i++) {
        rg_frame *f = &w->frame[i];
        *f = (rg_frame){.role = i == WITNESS ? RG_FRAME_WITNESS
                                : i == DARK  ? RG_FRAME_DARK
                                             : RG_FRAME_CLOSED,
                        .exposure = i == WITNESS ? 0.2 : 1,
                        .used = true,
                        .bearing_deg = 60.0 * (i / 5 % 6),
                        .elevation_deg = 0.4 * (i % 5 - 2)};
        fill_strip(f);
        fill_look(&w->look[i], f, i);
        snprintf(w->name[i], sizeof w->name[i], "view_%02d.jpg", i);
        w->names[i] = w->name[i];
    }
    return w;
}

static void end(world *w)
{
    for (int i = 0; i < FRAMES; i++) {
        free(w->frame[i].strip.column);
        free(w->frame[i].light.column);
    }
    free(w);
}

static const rg_finding *judge(world *w, rg_check_topic topic)
{
    rg_bench_sweep sweep = {&w->setup, w->frame, &w->result, w->names, FRAMES};
    rg_error err = {0};
    cr_assert_eq(rg_bench_judge(&sweep, &w->limits, w->look, &w->check, &err), RG_OK, "%s",
                 err.text);
    return &w->check.finding[topic];
}

static void expect(world *w, rg_check_topic topic, rg_check_state state, const char *word)
{
    const rg_finding *f = judge(w, topic);
    cr_expect_eq(f->state, state, "%s is %s: %s", rg_check_topic_name(topic),
                 rg_check_state_name(f->state), f->text);
    cr_expect(strstr(f->text, word), "\"%s\" in \"%s\"", word, f->text);
}

/* Poor in this, and only in this. */
static void expect_poor(world *w, rg_check_topic topic, const char *word)
{
    expect(w, topic, RG_CHECK_POOR, word);
    for (int i = 0; i < RG_CHECK_TOPICS; i++)
        cr_expect(i == (int)topic || w->check.finding[i].state != RG_CHECK_POOR, "%s too: %s",
                  rg_check_topic_name((rg_check_topic)i), w->check.finding[i].text);
    cr_expect_eq(w->check.state, RG_CHECK_POOR);
}

Test(bench_check, a_good_bench_is_good_in_all)
{
    world *w = make();
    judge(w, RG_CHECK_SCALE);
    for (int i = 0; i < RG_CHECK_TOPICS; i++) {
        const rg_finding *f = &w->check.finding[i];
        bool asked = i != RG_CHECK_REPEATS;
        cr_expect_eq(f->state, asked ? RG_CHECK_GOOD : RG_CHECK_NOT_ASKED, "%s: %s",
                     rg_check_topic_name(f->topic), f->text);
        cr_expect(f->text[0]);
        cr_expect_eq((int)f->topic, i);
    }
    cr_expect_eq(w->check.state, RG_CHECK_GOOD);
    cr_expect_float_eq(w->check.mtf50, 0.252, 1e-9);
    for (int i = 0; i < FRAMES; i++)
        cr_expect_eq(w->look[i].flaws, 0u);
    end(w);
}

Test(bench_check, a_frame_left_out_is_named_with_its_reason)
{
    world *w = make();
    w->frame[7].used = false;
    snprintf(w->look[7].reason, sizeof w->look[7].reason, "a thumb before it");
    expect(w, RG_CHECK_FRAMES, RG_CHECK_POOR, "view_07.jpg: a thumb before it");
    cr_expect_eq(w->look[7].flaws, 1u << RG_CHECK_FRAMES);
    end(w);
}

/* A crown printed at 97 % and stated at 100 %: the rim seems 1/0.97 too wide. */
Test(bench_check, a_small_print_shows_in_the_rim_s_width)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].rim.ratio = 1 / 0.97 + 5e-4 * (i % 3 - 1);
    expect_poor(w, RG_CHECK_SCALE, "7.76 mm would fit"); /* 8 mm x 0.97 */
    const rg_finding *f = &w->check.finding[RG_CHECK_SCALE];
    cr_expect_float_eq(f->value, 1 / 0.97 - 1, 1e-9);
    /* 1.4826 x 5e-4 x 1.2533 / sqrt(30), and 0.03 mm in 20 mm. */
    cr_expect_float_eq(f->u, hypot(1.4826 * 5e-4 * 1.2533 / sqrt(30), 0.0015), 1e-6, "%g", f->u);
    end(w);
}

Test(bench_check, outliers_of_the_outline_do_not_move_the_scale)
{
    world *w = make();
    for (int i = 0; i < 12; i++)
        w->look[i].rim.ratio = 1.05;
    expect(w, RG_CHECK_SCALE, RG_CHECK_GOOD, "20.0");
    for (int i = 2; i < CLOSED; i++)
        w->look[i].rim.ratio = NAN;
    expect(w, RG_CHECK_SCALE, RG_CHECK_NOT_SHOWN, "leave the chimney's");
    cr_expect_eq(w->check.state, RG_CHECK_NOT_SHOWN);
    end(w);
}

Test(bench_check, a_tag_out_of_proportion_is_poor_print)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].tag_ratio = 0.97;
    expect_poor(w, RG_CHECK_PRINT, "the tags measure 7.76 mm, not 8.00");
    cr_expect(strstr(w->check.finding[RG_CHECK_PRINT].text, "the apothem is 9.79 mm"));
    end(w);
}

Test(bench_check, a_blurred_sweep_is_poor_focus_and_one_frame_poor_sharpness)
{
    world *w = make();
    for (int i = 0; i < FRAMES; i++)
        w->look[i].mtf50 = 0.1;
    expect_poor(w, RG_CHECK_FOCUS, "turn the focus until the tag borders");
    end(w);
    w = make();
    w->look[11].mtf50 = 0.15;
    expect_poor(w, RG_CHECK_SHARPNESS, "view_11.jpg");
    cr_expect_float_eq(w->check.finding[RG_CHECK_SHARPNESS].value, 0.15 / 0.252, 1e-9);
    for (int i = 0; i < CLOSED; i++)
        w->look[i].mtf50 = NAN;
    expect(w, RG_CHECK_FOCUS, RG_CHECK_NOT_SHOWN, "askew");
    expect(w, RG_CHECK_SHARPNESS, RG_CHECK_NOT_SHOWN, "no frame");
    end(w);
}

Test(bench_check, depth_of_field_is_poor_in_both_directions)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].far_share = 0.6;
    expect_poor(w, RG_CHECK_DEPTH, "lies before or on");
    for (int i = 0; i < CLOSED; i++)
        w->look[i].far_share = 1.6;
    expect_poor(w, RG_CHECK_DEPTH, "lies behind");
    end(w);
}

Test(bench_check, few_pixels_are_poor_sampling)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].px_per_mm = 12;
    expect_poor(w, RG_CHECK_SAMPLING, "go nearer");
    end(w);
    w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].module_px = 9;
    expect_poor(w, RG_CHECK_SAMPLING, "go nearer");
    end(w);
}

Test(bench_check, exposure_is_judged_on_both_sides_and_by_frame)
{
    world *w = make();
    for (int i = 0; i < FRAMES; i++)
        w->look[i].sight.white *= 3; /* 0.9: twice half of 0.8 too much */
    expect_poor(w, RG_CHECK_EXPOSURE, "expose 1/2.2 as long");
    end(w);
    w = make();
    for (int i = 0; i < FRAMES; i++)
        w->look[i].sight.white *= 0.05, w->look[i].sight.black = 0.0005;
    expect_poor(w, RG_CHECK_EXPOSURE, "expose 4.0 times as long"); /* 0.06 / 0.015 */
    end(w);
    w = make();
    w->look[4].sight.white = 0.9;
    expect_poor(w, RG_CHECK_EXPOSURE, "off: view_04.jpg: lock the exposure");
    end(w);
    w = make();
    for (int i = 0; i < FRAMES; i++)
        w->look[i].sight.black = 0.1;
    expect_poor(w, RG_CHECK_EXPOSURE, "the ink is grey");
    end(w);
}

Test(bench_check, clipped_pictures_are_poor)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].clipped = 0.12;
    expect_poor(w, RG_CHECK_CLIPPING, "12.0 %");
    end(w);
}

Test(bench_check, a_witness_stated_wrong_shows_in_its_paper)
{
    world *w = make();
    w->look[WITNESS].sight.white = 0.3 * 0.1;
    expect_poor(w, RG_CHECK_WITNESS,
                "exposed 0.100 times as long as the closed frames, stated 0.200");
    cr_expect_float_eq(w->check.finding[RG_CHECK_WITNESS].value, -0.5, 1e-9);
    w->look[WITNESS].crown = false;
    expect(w, RG_CHECK_WITNESS, RG_CHECK_NOT_SHOWN, "take one at a shorter exposure");
    end(w);
}

Test(bench_check, light_with_the_lamp_off_is_said_as_a_gap)
{
    world *w = make();
    expect(w, RG_CHECK_AMBIENT, RG_CHECK_GOOD, "0.0200 beside the rim");
    /* 0.0002 mm of flux against a radiance of 2. */
    cr_expect_float_eq(w->check.finding[RG_CHECK_AMBIENT].value, 0.0001, 1e-9);
    for (int c = 0; c < COLUMNS; c += 8) /* a short streak counts as well */
        w->frame[DARK].light.column[c].flux_mm = 0.01;
    expect_poor(w, RG_CHECK_AMBIENT, "shade the gap");
    cr_expect_float_eq(w->check.finding[RG_CHECK_AMBIENT].value, 0.005, 1e-9);
    w->frame[DARK].used = false;
    expect(w, RG_CHECK_AMBIENT, RG_CHECK_NOT_SHOWN, "switch the lamp off");
    end(w);
}

/* A uniform movement of m px adds m^2 / 12. */
Test(bench_check, a_moved_frame_is_named_with_its_direction)
{
    world *w = make();
    w->look[9].sight.spread.xx += 2.0 * 2.0 / 12;
    expect_poor(w, RG_CHECK_VIBRATION, "2.0 px along x in view_09.jpg");
    cr_expect_float_eq(w->check.finding[RG_CHECK_VIBRATION].value, 2, 1e-9);
    w->look[9].sight.spread = (rg_spread){0.49, 0.50 + 3.0 * 3.0 / 12};
    expect_poor(w, RG_CHECK_VIBRATION, "3.0 px along y in view_09.jpg");
    /* Softer both ways is no movement. */
    w->look[9].sight.spread = (rg_spread){0.49 + 0.75, 0.50 + 0.75};
    expect(w, RG_CHECK_VIBRATION, RG_CHECK_GOOD, "0.0 px");
    for (int i = 0; i < FRAMES; i++)
        w->look[i].sight.spread = (rg_spread){0.5 + 4.0 / 12, 0.5};
    expect_poor(w, RG_CHECK_VIBRATION, "2.0 px along x in all frames");
    for (int i = 0; i < FRAMES; i++)
        w->look[i].sight.spread_held = false;
    expect(w, RG_CHECK_VIBRATION, RG_CHECK_NOT_SHOWN, "not both found");
    end(w);
}

Test(bench_check, repeats_scatter_against_their_own_uncertainty)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        w->look[i].pose.t = (rg_vec3){0.002 * (i % 2), 0, 110};
    /* Differences of 0.002 mm across: variance of one 0.002^2 / 4 each way. */
    expect(w, RG_CHECK_REPEATS, RG_CHECK_GOOD, "29 repeats");
    cr_expect_float_eq(w->check.finding[RG_CHECK_REPEATS].value, 0.001 / 0.002, 1e-9);
    for (int i = 0; i < CLOSED; i++)
        w->look[i].pose.t = (rg_vec3){0.02 * (i % 2), 0, 110};
    expect_poor(w, RG_CHECK_REPEATS, "fix both");
    end(w);
}

/* From +-1.6 degrees only, a gap of half the tolerance (0.0125 mm) shows nowhere:
 * over 2.5 mm of slot 1.6 degrees take 0.07 mm. */
Test(bench_check, a_sweep_that_never_comes_level_covers_nothing)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++) {
        w->frame[i].elevation_deg = i % 2 ? 1.6 : -1.6;
        for (int c = 0; c < COLUMNS; c++)
            w->frame[i].strip.column[c].slope = tan(rg_radians(w->frame[i].elevation_deg));
    }
    expect(w, RG_CHECK_COVERAGE, RG_CHECK_POOR, "a gap of 0.0125 mm would show at 0 % of");
    expect(w, RG_CHECK_ROCKING, RG_CHECK_POOR, "within 1.60 degrees");
    cr_expect_eq(w->look[0].flaws >> RG_CHECK_ROCKING & 1u, 1u);
    end(w);
}

/* No credit for reflection, glow and the pad's tilt. Half the tolerance over the land of 1 mm, from below; over land and overhang
 * of 2.5 mm from above (no bulge): atan(0.0125 / 1), atan(0.0125 / 2.5). */
Test(bench_check, the_window_of_elevations_is_the_slot_s)
{
    world *w = make();
    const rg_finding *f = judge(w, RG_CHECK_ROCKING);
    cr_expect_float_eq(f->limit, atan(0.0125 / 2.5) * 180 / RG_PI, 1e-6, "%g", f->limit);
    cr_expect(strstr(f->text, "from -0.72 to +0.29"), "%s", f->text);
    end(w);
}

Test(bench_check, a_bearing_that_was_never_rocked_is_named)
{
    world *w = make();
    for (int i = 15; i < 20; i++) /* camera bearing 180 */
        w->frame[i].used = false;
    expect(w, RG_CHECK_COVERAGE, RG_CHECK_POOR, "not at 1");
    cr_expect(!w->check.covered[180] && w->check.covered[0] && w->check.covered[120]);
    w->result.plane.found = false;
    expect(w, RG_CHECK_COVERAGE, RG_CHECK_NOT_SHOWN, "rim was not found");
    expect(w, RG_CHECK_ROCKING, RG_CHECK_NOT_SHOWN, "rim was not found");
    end(w);
}

Test(bench_check, hidden_columns_are_not_covered)
{
    world *w = make();
    for (int i = 0; i < CLOSED; i++)
        for (int c = 0; c < COLUMNS; c++)
            if (fabs(rg_angle_between(w->frame[i].strip.column[c].bearing_deg, 90)) < 20)
                w->frame[i].light.column[c].state = RG_COLUMN_HIDDEN;
    expect_poor(w, RG_CHECK_COVERAGE, "not at 71..109");
    end(w);
}

Test(bench_check, without_any_frame_nothing_is_good)
{
    world *w = make();
    for (int i = 0; i < FRAMES; i++) {
        w->frame[i].used = false;
        w->look[i] = (rg_bench_frame){.role = w->frame[i].role,
                                      .mtf50 = NAN,
                                      .tag_ratio = NAN,
                                      .far_share = NAN,
                                      .px_per_mm = NAN,
                                      .module_px = NAN,
                                      .clipped = NAN,
                                      .rim = {.ratio = NAN}};
    }
    w->result.plane.found = false;
    judge(w, RG_CHECK_FRAMES);
    for (int i = 0; i < RG_CHECK_TOPICS; i++)
        cr_expect_neq(w->check.finding[i].state, RG_CHECK_GOOD, "%s: %s",
                      rg_check_topic_name((rg_check_topic)i), w->check.finding[i].text);
    cr_expect_eq(w->check.state, RG_CHECK_POOR);
    end(w);
}

/* One sample frame, with the sizes it was rendered with: fx 3300 px at about
 * 100 mm is 33 px per mm, and a module of 1 mm as much. */
Test(bench_check, a_sample_frame_is_looked_at_whole)
{
    rg_setup setup;
    rg_bench_limits limits;
    rg_tag_finder *finder;
    rg_bench_frame look;
    rg_error err = {0};
    test_setup(&setup);
    test_bench_limits(&limits);
    static const char path[] = "samples/PE-A-0147/08-G/view_00.jpg";
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, &err), RG_OK);
    rg_frame frame = test_take(&setup, finder, path, RG_FRAME_CLOSED);
    test_bytes b = test_load(path);
    cr_assert_eq(rg_bench_look(&setup, &limits, finder, b.data, b.size, &frame, &look, &err), RG_OK,
                 "%s", err.text);
    cr_expect(look.crown && look.edges >= 4);
    cr_expect_float_eq(look.px_per_mm, 3300 / (frame.distance_mm - 10), 0.5);
    cr_expect_float_eq(look.module_px, look.px_per_mm, 1.0);
    cr_expect_float_eq(look.tag_ratio, 1, 5e-4);
    cr_expect_float_eq(look.rim.ratio, 1, 2e-3);
    /* MTF50 and the borders' Gaussian width tell of one blur: sqrt(ln 2 / 2) / pi / s. */
    double s = sqrt((look.sight.spread.xx + look.sight.spread.yy) / 2);
    cr_expect_float_eq(look.mtf50, 0.18739 / s, 0.08 * look.mtf50);
    double sum = 0;
    for (int i = 0; i < RG_BENCH_TONES; i++)
        sum += look.tones[i];
    cr_expect_float_eq(sum, 1, 1e-9);
    cr_expect(look.clipped >= 0 && look.clipped < 0.05);
    /* Not a picture at all. */
    cr_assert_eq(
        rg_bench_look(&setup, &limits, finder, (const uint8_t *)"no", 2, &frame, &look, &err),
        RG_OK);
    cr_expect(!look.decoded && !look.crown);
    rg_frame_free(&frame);
    rg_tag_finder_free(finder);
    free(b.data);
}

/* The slot itself may be clipped; it is not what the check is about. */
Test(bench_check, clipping_is_counted_beside_the_gap)
{
    rg_setup setup;
    rg_bench_limits limits;
    rg_tag_finder *finder;
    rg_bench_frame look;
    static const char path[] = "samples/PE-A-0147/08-G/view_16.jpg";
    test_setup(&setup);
    test_bench_limits(&limits);
    cr_assert_eq(rg_tag_finder_new(&finder, &setup.options.tags, NULL), RG_OK);
    rg_frame frame = test_take(&setup, finder, path, RG_FRAME_CLOSED);
    test_bytes b = test_load(path);
    cr_assert_eq(rg_bench_look(&setup, &limits, finder, b.data, b.size, &frame, &look, NULL),
                 RG_OK);
    cr_expect(look.tones[RG_BENCH_TONES - 1] > 0.002, "%g", look.tones[RG_BENCH_TONES - 1]);
    cr_expect(look.clipped < 0.0005, "%g", look.clipped);
    rg_frame_free(&frame);
    rg_tag_finder_free(finder);
    free(b.data);
}

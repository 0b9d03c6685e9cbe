/*
 * Tests of pipeline.h on the sample sweeps, whose true gaps are known: a
 * renderer made them that shares nothing with rimglow (samples/README.md). The
 * few true numbers needed are copied here from samples/truth/NAME.json.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/pipeline.h"
#include "support/load.h"
#include "support/scene.h"
#include "support/setup.h"

#define TILT   "samples/PE-A-0147/08-G"
#define SEALED "samples/PE-A-0147/04-C"
#define CREASE "samples/PE-A-0147/06-A"

enum { FRAMES_MAX = 31 };

typedef struct taken {
    rg_setup setup;
    rg_tag_finder *finder;
    rg_frame frame[FRAMES_MAX];
    int count;
} taken;

static void begin(taken *t)
{
    rg_error err = {0};
    memset(t, 0, sizeof *t);
    test_setup(&t->setup);
    cr_assert_eq(rg_tag_finder_new(&t->finder, &t->setup.options.tags, &err), RG_OK, "%s",
                 err.text);
}

static void add(taken *t, const char *folder, int view)
{
    char path[120];
    snprintf(path, sizeof path, view < 0 ? "%s/witness.jpg" : "%s/view_%02d.jpg", folder, view);
    rg_frame_role role = view < 0 ? RG_FRAME_WITNESS : RG_FRAME_CLOSED;
    t->frame[t->count++] = test_take(&t->setup, t->finder, path, role);
}

/* The views first..last whose elevation step (view % 5) is in steps[0..4]. */
static void add_views(taken *t, const char *folder, int first, int last, const char *steps)
{
    for (int v = first; v <= last; v++)
        if (strchr(steps, '0' + v % 5))
            add(t, folder, v);
}

static void end(taken *t)
{
    for (int i = 0; i < t->count; i++)
        rg_frame_free(&t->frame[i]);
    rg_tag_finder_free(t->finder);
}

static rg_sweep_result result;

static void measure(taken *t)
{
    rg_error err = {0};
    cr_assert_eq(rg_sweep_measure(&t->setup, t->frame, t->count, &result, &err), RG_OK, "%s",
                 err.text);
}

static taken sweep;

/* ------------------------------------------------------------------ tilt */
/* A stiff pad tilted by 0.02 rad: the truth file's 0.15, 0.1379, 0.1032 and
 * 0.05 mm at 0, 20, 40 and 60 degrees from bearing 200. */
static double tilt_width(double bearing)
{
    return fmax(0.2 * cos((bearing - 200) * RG_PI / 180) - 0.05, 0);
}

static void tilt_plane_is_right(void)
{
    cr_expect(result.plane.found);
    /* Seen from the pad the rim rises where the gap is narrow: height is
     * minus the gap at the land's edge, as a plane. */
    for (double b = 0; b < 360; b += 30) {
        double gap = 0.2 * cos((b - 200) * RG_PI / 180) - 0.05;
        double height = rg_rim_plane_height(&result.plane, b);
        cr_expect_float_eq(height, -gap, 0.03, "bearing %g: rim at %g, gap %g", b, height, gap);
    }
}

static void tilt_widths_are_inside_their_uncertainty(void)
{
    int inside = 0, seen = 0;
    for (int b = 0; b < RG_BINS; b++) {
        const rg_bin *bin = &result.map.bin[b];
        if (bin->state == RG_BIN_UNSEEN)
            continue;
        seen++;
        inside += fabs(bin->width_mm - tilt_width(b)) <= 2 * bin->u_mm;
    }
    cr_expect_gt(seen, 140);
    cr_expect_geq(inside, 0.9 * seen, "%d of %d inside", inside, seen);
}

Test(pipeline, a_tilted_pad_gives_its_arc_width_and_verdict)
{
    begin(&sweep);
    add_views(&sweep, TILT, 10, 24, "1234");
    add(&sweep, TILT, -1);
    measure(&sweep);
    /* Truth: 125.96 to 274.04, 0.15 mm at 200. */
    cr_assert_eq(result.map.arcs, 1);
    const rg_arc *a = &result.map.arc[0];
    cr_expect_float_eq(a->centre_deg, 200, 2, "centre %g", a->centre_deg);
    cr_expect_float_eq(a->start_deg, 125.96, 4, "start %g", a->start_deg);
    cr_expect_float_eq(a->end_deg, 274.04, 4, "end %g", a->end_deg);
    cr_expect_float_eq(a->max_width_mm, 0.15, 0.015, "width %g", a->max_width_mm);
    cr_expect_lt(fabs(a->max_width_mm - 0.15), 2 * a->u_max_mm);
    cr_expect_eq(result.map.verdict, RG_VERDICT_LEAKING);
    cr_expect(result.evidence.light_proven);
    cr_expect_eq(result.evidence.frames_used, 12);
    cr_expect_float_eq(result.u_ln_radiance, sweep.setup.options.witness.u_ln_radiance, 1e-12);
    /* What the elevation hides is reckoned from the rim's plane, not the pad's:
     * they differ by 0.02 rad here, and would hide 0.05 mm either way. */
    cr_expect_lt(result.map.bin[200].detection_limit_mm, 0.04, "limit %g",
                 result.map.bin[200].detection_limit_mm);
    tilt_plane_is_right();
    tilt_widths_are_inside_their_uncertainty();
    end(&sweep);
}

Test(pipeline, order_of_taking_does_not_matter)
{
    static taken other;
    static rg_sweep_result first;
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    measure(&sweep);
    first = result;
    begin(&other);
    other.count = sweep.count;
    for (int i = other.count - 1; i >= 0; i--) { /* taken last to first, same places */
        taken one = {.setup = other.setup, .finder = other.finder};
        if (i == other.count - 1)
            add(&one, TILT, -1);
        else
            add(&one, TILT, 16 + i);
        other.frame[i] = one.frame[0];
    }
    measure(&other);
    cr_assert_eq(memcmp(&first.map, &result.map, sizeof first.map), 0);
    end(&sweep);
    end(&other);
}

Test(pipeline, frames_in_another_order_give_the_same_answer)
{
    static taken turned;
    static rg_sweep_result first;
    begin(&sweep);
    add_views(&sweep, TILT, 10, 24, "23");
    add(&sweep, TILT, -1);
    measure(&sweep);
    first = result;
    begin(&turned);
    add(&turned, TILT, -1);
    for (int v = 24; v >= 10; v--)
        add_views(&turned, TILT, v, v, "23");
    measure(&turned);
    cr_assert_eq(result.map.verdict, first.map.verdict);
    cr_assert_eq(result.map.arcs, first.map.arcs);
    cr_assert_float_eq(result.map.arc[0].start_deg, first.map.arc[0].start_deg, 0.3);
    cr_assert_float_eq(result.map.arc[0].end_deg, first.map.arc[0].end_deg, 0.3);
    cr_assert_float_eq(result.map.arc[0].max_width_mm, first.map.arc[0].max_width_mm, 0.001);
    end(&sweep);
    end(&turned);
}

/* --------------------------------------------------------------- subsets */
/* Measures some of the taken frames without spoiling them for the next time. */
static void measure_some(const taken *t, const bool *use)
{
    rg_frame some[FRAMES_MAX];
    rg_error err = {0};
    int n = 0;
    for (int i = 0; i < t->count; i++)
        if (use[i])
            some[n++] = t->frame[i];
    cr_assert_eq(rg_sweep_measure(&t->setup, some, n, &result, &err), RG_OK, "%s", err.text);
    for (int i = 0; i < n; i++)
        rg_rimlight_free(&some[i].light); /* strips stay with t */
}

/* Sealed may be said only of a rim that was seen all round, finely enough. */
static void sealed_only_if_seen(const rg_seal_map *map, bool witness)
{
    if (map->verdict != RG_VERDICT_SEALED)
        return;
    cr_expect(witness, "sealed without a witness");
    for (int b = 0; b < RG_BINS; b++) {
        cr_expect_neq(map->bin[b].state, RG_BIN_UNSEEN, "bearing %d", b);
        cr_expect_leq(map->bin[b].detection_limit_mm, 0.0125, "bearing %d", b);
        cr_expect_gt(map->bin[b].frames, 0);
    }
}

/* Frames 0..count-2 are closed, the last is the witness. */
static void try_subsets(const taken *t, int tries, bool truly_sealed)
{
    test_random random = {31};
    for (int k = 0; k < tries; k++) {
        bool use[FRAMES_MAX] = {false}, witness = k % 2;
        int n = 1 + (int)(8 * test_uniform(&random));
        for (int i = 0; i < n; i++)
            use[(int)((t->count - 1) * test_uniform(&random))] = true;
        use[t->count - 1] = witness;
        measure_some(t, use);
        sealed_only_if_seen(&result.map, witness);
        if (!truly_sealed)
            cr_expect_neq(result.map.verdict, RG_VERDICT_SEALED, "subset %d", k);
        else
            cr_expect_neq(result.map.verdict, RG_VERDICT_LEAKING, "subset %d: %s", k,
                          result.map.reason[0]);
        cr_expect_eq(result.evidence.light_proven, witness);
    }
}

Test(pipeline, a_sealed_pad_shows_no_gap_and_no_part_of_its_sweep_invents_one)
{
    begin(&sweep);
    add_views(&sweep, SEALED, 0, 29, "123");
    add(&sweep, SEALED, -1);
    bool use[FRAMES_MAX];
    for (int i = 0; i < FRAMES_MAX; i++)
        use[i] = i < sweep.count;
    measure_some(&sweep, use);
    cr_expect_eq(result.map.arcs, 0);
    cr_expect_neq(result.map.verdict, RG_VERDICT_LEAKING);
    int closed = 0;
    for (int b = 0; b < RG_BINS; b++) {
        cr_expect_neq(result.map.bin[b].state, RG_BIN_GAP, "bearing %d", b);
        closed += result.map.bin[b].state == RG_BIN_SEALED;
    }
    cr_expect_gt(closed, 300, "%d bearings seen", closed);
    sealed_only_if_seen(&result.map, true);
    use[sweep.count - 1] = false;
    measure_some(&sweep, use);
    cr_expect_eq(result.map.verdict, RG_VERDICT_UNDECIDED, "no witness");
    cr_expect_float_eq(result.u_ln_radiance, sweep.setup.options.unproven_u_ln, 1e-12);
    try_subsets(&sweep, 20, true);
    end(&sweep);
}

Test(pipeline, no_part_of_a_leaking_sweep_is_called_sealed)
{
    begin(&sweep);
    add_views(&sweep, CREASE, 0, 29, "123");
    add(&sweep, CREASE, -1);
    try_subsets(&sweep, 20, false);
    end(&sweep);
}

Test(pipeline, a_crease_of_ten_degrees_is_found_from_its_own_side)
{
    begin(&sweep);
    add_views(&sweep, CREASE, 5, 9, "01234");
    add_views(&sweep, CREASE, 0, 29, "3");
    add(&sweep, CREASE, -1);
    measure(&sweep);
    /* Truth: 70.14 to 79.86, 0.06 mm at 75. */
    cr_assert_eq(result.map.arcs, 1);
    const rg_arc *a = &result.map.arc[0];
    cr_expect_float_eq(a->centre_deg, 75, 2, "centre %g", a->centre_deg);
    cr_expect_float_eq(a->start_deg, 70.14, 4, "start %g", a->start_deg);
    cr_expect_float_eq(a->end_deg, 79.86, 4, "end %g", a->end_deg);
    cr_expect_float_eq(a->max_width_mm, 0.06, 0.012, "width %g", a->max_width_mm);
    cr_expect_eq(result.map.verdict, RG_VERDICT_LEAKING);
    end(&sweep);
}

Test(pipeline, no_frames_at_all_is_undecided)
{
    begin(&sweep);
    measure(&sweep);
    cr_assert_eq(result.map.verdict, RG_VERDICT_UNDECIDED);
    cr_assert_eq(result.evidence.frames_given, 0);
    for (int b = 0; b < RG_BINS; b++)
        cr_assert_eq(result.map.bin[b].state, RG_BIN_UNSEEN);
    end(&sweep);
}

/* Measured in borrowed copies, more and more of them, a frame is as if it had never been measured. */
Test(pipeline, measuring_borrowed_frames_again_and_again_gives_what_measuring_once_gives)
{
    static rg_sweep_result last;
    static rg_frame as_taken[FRAMES_MAX];
    rg_frame borrowed[FRAMES_MAX];
    rg_error err = {0};
    begin(&sweep);
    add_views(&sweep, TILT, 10, 24, "123");
    add(&sweep, TILT, -1);
    sweep.frame[1].pose.edge_sigma_px =
        3 * sweep.frame[0].pose.edge_sigma_px; /* left out as blurred */
    memcpy(as_taken, sweep.frame, sizeof as_taken);
    for (int n = 2; n <= sweep.count; n++) {
        for (int i = 0; i < n; i++)
            borrowed[i] = rg_frame_borrow(&sweep.frame[i]);
        cr_assert_eq(rg_sweep_measure(&sweep.setup, borrowed, n, &last, &err), RG_OK, "%s",
                     err.text);
        cr_expect_not(borrowed[1].used);
        for (int i = 0; i < n; i++)
            rg_frame_return(&borrowed[i]);
    }
    cr_assert_eq(memcmp(as_taken, sweep.frame, sizeof as_taken), 0, "the frames are as taken");
    measure(&sweep);
    cr_expect_eq(memcmp(&last.map, &result.map, sizeof last.map), 0, "map");
    for (int i = 0; i < sweep.count; i++) {
        const rg_frame *b = &borrowed[i], *f = &sweep.frame[i];
        cr_expect(b->used == f->used && b->bearing_deg == f->bearing_deg &&
                      b->elevation_deg == f->elevation_deg && b->shift_mm == f->shift_mm &&
                      strcmp(b->reason, f->reason) == 0,
                  "frame %d", i);
    }
    cr_expect_eq(memcmp(&last.plane, &result.plane, sizeof last.plane), 0, "plane");
    cr_expect_eq(last.psf_sigma_px, result.psf_sigma_px);
    cr_expect_eq(result.map.verdict, RG_VERDICT_LEAKING);
    end(&sweep);
}

/* ------------------------------------------------------------ bad frames */
static rg_frame take_bytes(const taken *t, const uint8_t *data, size_t size, rg_frame_role role)
{
    rg_frame frame;
    rg_error err = {0};
    cr_assert_eq(rg_frame_take(&t->setup, t->finder, data, size, role, 1, &frame, &err), RG_OK,
                 "a bad frame is no error: %s", err.text);
    return frame;
}

static void left_out(rg_frame frame, const char *word)
{
    cr_expect_not(frame.used);
    cr_expect_not_null(strstr(frame.reason, word), "'%s' does not say %s", frame.reason, word);
    rg_frame_free(&frame);
}

Test(pipeline, bad_frames_are_left_out_with_a_reason)
{
    static const rg_frame_role role[] = {RG_FRAME_CLOSED, RG_FRAME_WITNESS};
    begin(&sweep);
    test_bytes whole = test_load(TILT "/view_16.jpg");
    test_bytes small = test_load("tests/data/jpeg/video-001.jpeg");
    for (int k = 0; k < 2; k++) {
        left_out(take_bytes(&sweep, whole.data, whole.size * 2 / 3, role[k]), "damaged");
        left_out(take_bytes(&sweep, small.data, small.size, role[k]), "1280 x 720");
        left_out(take_bytes(&sweep, (const uint8_t *)"not a picture", 13, role[k]), "");
        left_out(take_bytes(&sweep, whole.data, 0, role[k]), "");
    }
    free(small.data);
    free(whole.data);
    end(&sweep);
}

Test(pipeline, the_rest_goes_on_without_a_bad_frame)
{
    static rg_sweep_result without;
    bool use[FRAMES_MAX] = {false};
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    test_bytes whole = test_load(TILT "/view_16.jpg");
    sweep.frame[sweep.count++] = take_bytes(&sweep, whole.data, whole.size / 2, RG_FRAME_CLOSED);
    free(whole.data);
    for (int i = 0; i < sweep.count - 1; i++)
        use[i] = true;
    measure_some(&sweep, use);
    without = result;
    use[sweep.count - 1] = true;
    measure_some(&sweep, use);
    cr_expect_eq(memcmp(&without.map, &result.map, sizeof result.map), 0);
    cr_expect_eq(result.evidence.frames_given, 4);
    cr_expect_eq(result.evidence.frames_used, 3);
    end(&sweep);
}

Test(pipeline, a_frame_of_another_crown_is_left_out)
{
    begin(&sweep);
    sweep.setup.crown.number = 3;
    add(&sweep, TILT, 16);
    cr_assert_not(sweep.frame[0].used);
    cr_assert_not_null(strstr(sweep.frame[0].reason, "crown"), "%s", sweep.frame[0].reason);
    cr_assert_null(strstr(sweep.frame[0].reason, "dark"), "%s", sweep.frame[0].reason);
    end(&sweep);
}

Test(pipeline, a_frame_too_dark_or_too_bright_for_its_limits_is_left_out)
{
    begin(&sweep);
    sweep.setup.options.dark_light = 0.96;
    add(&sweep, TILT, 16);
    sweep.setup.options.dark_light = 0.01;
    sweep.setup.options.overexposed_light = 0.02;
    add(&sweep, TILT, 16);
    cr_expect_not(sweep.frame[0].used);
    cr_expect_not_null(strstr(sweep.frame[0].reason, "too dark"));
    cr_expect_not(sweep.frame[1].used);
    cr_expect_not_null(strstr(sweep.frame[1].reason, "overexposed"));
    end(&sweep);
}

Test(pipeline, a_blurred_frame_among_sharp_ones_is_left_out)
{
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    sweep.frame[1].pose.edge_sigma_px = 2 * sweep.frame[0].pose.edge_sigma_px;
    measure(&sweep);
    cr_expect_not(sweep.frame[1].used);
    cr_expect_not_null(strstr(sweep.frame[1].reason, "blurred"));
    cr_expect_eq(result.evidence.frames_used, 2);
    end(&sweep);
}

Test(pipeline, a_closed_frame_offered_as_the_witness_proves_nothing)
{
    begin(&sweep);
    add(&sweep, SEALED, 12);
    sweep.frame[sweep.count++] =
        test_take(&sweep.setup, sweep.finder, SEALED "/view_07.jpg", RG_FRAME_WITNESS);
    measure(&sweep);
    cr_expect_not(result.evidence.light_proven);
    cr_expect_neq(result.evidence.light_reason[0], '\0');
    end(&sweep);
}

Test(pipeline, a_frame_of_an_open_key_says_nothing_of_the_seal)
{
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    sweep.frame[sweep.count++] =
        test_take(&sweep.setup, sweep.finder, TILT "/view_17.jpg", RG_FRAME_OPEN);
    measure(&sweep);
    const rg_frame *open = &sweep.frame[sweep.count - 1];
    cr_expect_not(open->used);
    cr_expect_not_null(strstr(open->reason, "for key heights"), "%s", open->reason);
    cr_expect_eq(result.evidence.frames_given, 3, "%d", result.evidence.frames_given);
    end(&sweep);
}

Test(pipeline, light_that_is_there_with_the_lamp_off_is_no_gap)
{
    /* The same lit pictures once more as frames with the lamp off: then the
     * light at the rim is not the lamp's, and those bearings are not seen. */
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    measure(&sweep);
    cr_assert_eq(result.map.verdict, RG_VERDICT_LEAKING);
    cr_assert_eq(result.map.bin[200].state, RG_BIN_GAP);
    end(&sweep);
    begin(&sweep);
    add_views(&sweep, TILT, 15, 19, "123");
    add(&sweep, TILT, -1);
    sweep.frame[sweep.count++] =
        test_take(&sweep.setup, sweep.finder, TILT "/view_17.jpg", RG_FRAME_DARK);
    measure(&sweep);
    cr_expect(result.map.bin[200].ambient);
    cr_expect_eq(result.map.bin[200].state, RG_BIN_UNSEEN);
    cr_expect_neq(result.map.verdict, RG_VERDICT_SEALED);
    end(&sweep);
}

Test(pipeline, camera_s_angles_are_those_of_the_truth)
{
    /* views 12, 17, 22 of samples/truth/08-G.json, against the rim plane */
    static const struct {
        int view;
        double bearing, elevation;
    } truth[] = {{12, 142.41, -0.017}, {17, 198.17, 0.018}, {22, 263.49, -0.047}};
    begin(&sweep);
    for (int k = 0; k < 3; k++)
        add(&sweep, TILT, truth[k].view);
    add_views(&sweep, TILT, 10, 24, "13");
    measure(&sweep);
    for (int k = 0; k < 3; k++) {
        cr_expect_float_eq(sweep.frame[k].bearing_deg, truth[k].bearing, 0.3, "bearing %g",
                           sweep.frame[k].bearing_deg);
        cr_expect_float_eq(sweep.frame[k].elevation_deg, truth[k].elevation, 0.15, "elevation %g",
                           sweep.frame[k].elevation_deg);
    }
    end(&sweep);
}

/* ----------------------------------------------------------------- setup */
static void setup_refused(const rg_setup *s, const char *word)
{
    rg_error err = {0};
    cr_expect_eq(rg_setup_check(s, &err), RG_BAD_DATA, "%s", word);
    cr_expect_not_null(strstr(err.text, word), "'%s' does not name %s", err.text, word);
}

Test(pipeline, impossible_setups_are_refused_by_name)
{
    static const double bad[] = {0, -0.01, 1, NAN};
    rg_setup s;
    test_setup(&s);
    cr_assert_eq(rg_setup_check(&s, NULL), RG_OK);
    for (int k = 0; k < 4; k++) {
        test_setup(&s);
        s.options.sealmap.tolerance_mm = bad[k];
        setup_refused(&s, "tolerance");
    }
    test_setup(&s);
    s.rim.inner_diameter_mm = 21;
    setup_refused(&s, "rim");
    test_setup(&s);
    s.crown.apothem_mm = -1;
    setup_refused(&s, "crown");
    test_setup(&s);
    s.lens.fx = 0;
    setup_refused(&s, "lens");
}

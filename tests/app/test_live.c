/*
 * Tests of live.h: recorded sweeps stand in for the camera. What a live sweep says is held against what
 * rimglow inspect says of the folder that it wrote.
 */
#include <criterion/criterion.h>
#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "rimglow/file.h"
#include "rimglow/inspection.h"
#include "rimglow/live.h"
#include "support/load.h"
#include "support/scratch.h"

#define TILT   "samples/PE-A-0147/08-G"
#define SEALED "samples/PE-A-0147/04-C"

static char out[TEST_SCRATCH_PATH];

/* All below a folder, which test_scratch_remove does not do. */
static void remove_tree(const char *path)
{
    char inner[1024];
    DIR *d = opendir(path);
    for (struct dirent *e; d && (e = readdir(d)) != NULL;) {
        if (strcmp(e->d_name, ".") == 0 || strcmp(e->d_name, "..") == 0)
            continue;
        snprintf(inner, sizeof inner, "%s/%s", path, e->d_name);
        if (unlink(inner) != 0)
            remove_tree(inner);
    }
    if (d)
        closedir(d);
    rmdir(path);
}

static void set_up(void)
{
    cr_assert(test_scratch_make(out));
}

static void tear_down(void)
{
    remove_tree(out);
}

TestSuite(live, .init = set_up, .fini = tear_down);

static rg_live_job job_of(const char *pad, const char *name)
{
    return (rg_live_job){.out = out,
                         .serial = "PE-A-0147",
                         .pad = pad,
                         .name = name,
                         .instrument_file = "calib/alto-loan.ini",
                         .station_file = "calib/bench.ini",
                         .finger = RG_FINGER_LIGHT,
                         .workers = 2};
}

static rg_live *begin(const char *pad, const char *name)
{
    rg_live_job job = job_of(pad, name);
    rg_live *live;
    rg_error err = {0};
    cr_assert_eq(rg_live_begin(&job, &live, &err), RG_OK, "%s", err.text);
    return live;
}

static void offer(rg_live *live, const uint8_t *bytes, size_t size, rg_role role, double exposure)
{
    rg_error err = {0};
    rg_source_frame frame = {.bytes = bytes, .size = size, .suffix = "jpg", .exposure = exposure};
    cr_assert(rg_live_ready(live, 20000));
    cr_assert_eq(rg_live_offer(live, &frame, role, &err), RG_OK, "%s", err.text);
}

static void offer_file(rg_live *live, const char *path, rg_role role)
{
    test_bytes b = test_load(path);
    offer(live, b.data, b.size, role, role == RG_ROLE_WITNESS ? 0.2 : 1);
    free(b.data);
}

/* Every frame of a recorded sweep, none skipped. */
static void replay(rg_live *live, const char *folder)
{
    rg_source *source;
    rg_source_frame frame;
    rg_error err = {0};
    cr_assert_eq(rg_source_replay(folder, 0, false, &source, &err), RG_OK, "%s", err.text);
    while (rg_source_next(source, 1000, &frame, &err) == RG_SOURCE_FRAME) {
        cr_assert(rg_live_ready(live, 20000));
        cr_assert_eq(rg_live_offer(live, &frame, frame.role, &err), RG_OK, "%s", err.text);
    }
    rg_source_close(source);
}

/* Until all that was offered is told of, and measured. */
static rg_live_state settled(rg_live *live)
{
    rg_live_state s;
    rg_live_look(live, &s);
    for (int i = 0; i < 600 && (s.kept + s.left_out + s.skipped < s.offered || s.measured < s.kept);
         i++)
        rg_live_wait(live, s.version, 100, &s);
    cr_assert_eq(s.kept + s.left_out + s.skipped, s.offered, "every frame is accounted for");
    cr_assert_eq(s.measured, s.kept);
    return s;
}

static rg_live_state end(rg_live *live, char folder[RG_PLACE_SIZE])
{
    rg_live_state s;
    rg_error err = {0};
    cr_assert_eq(rg_live_end(live, folder, &s, &err), RG_OK, "%s", err.text);
    return s;
}

static char *inspect_json(const char *folder)
{
    rg_inspection in;
    rg_error err = {0};
    char *text;
    cr_assert_eq(rg_inspection_open(&in, folder, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_inspection_run(&in, 2, NULL, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_inspection_json(&in, &text, &err), RG_OK, "%s", err.text);
    rg_inspection_close(&in);
    return text;
}

static bool exists(const char *folder, const char *name)
{
    char path[RG_PLACE_SIZE + 100];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return access(path, F_OK) == 0;
}

/* ---------------------------------------------------------------- the whole way */

static rg_seal_map before, after;

Test(live, what_was_shown_live_is_what_inspect_says_of_the_folder)
{
    char folder[RG_PLACE_SIZE];
    rg_live *live = begin("G", "tilt");
    replay(live, TILT);
    rg_live_state shown = settled(live);
    rg_live_map(live, &before);
    rg_live_state s = end(live, folder);
    rg_live_map(live, &after);
    cr_assert_eq(memcmp(&before, &after, sizeof before), 0, "the live map is the folder's");
    cr_expect_eq(s.verdict, RG_VERDICT_LEAKING);
    cr_expect_eq(shown.verdict, s.verdict);
    /* samples/truth/08-G.json: widest 0.15 mm at 200 degrees. */
    cr_expect_float_eq(s.widest_mm, 0.15, 0.015, "%g", s.widest_mm);
    cr_expect_float_eq(s.widest_deg, 200, 10, "%g", s.widest_deg);
    cr_expect(s.decided);
    cr_expect_eq(s.want, RG_LIVE_DONE);
    char *mine, *theirs = inspect_json(folder);
    rg_error err = {0};
    cr_assert_eq(rg_inspection_json(rg_live_inspection(live), &mine, &err), RG_OK, "%s", err.text);
    cr_expect_str_eq(mine, theirs);
    cr_expect_not(exists(folder, ".capturing"));
    free(mine);
    free(theirs);
    rg_live_free(live);
}

Test(live, frames_are_kept_untouched_in_the_order_in_which_they_came)
{
    char folder[RG_PLACE_SIZE];
    rg_live *live = begin("G", "order");
    replay(live, TILT);
    rg_live_state s = end(live, folder);
    const rg_sweep *sweep = &rg_live_inspection(live)->sweep;
    cr_assert_eq(s.kept, 31, "%d, last left out: %s", s.kept, s.last_reason);
    cr_assert_eq(sweep->frames, 31);
    cr_expect_eq(sweep->frame[0].role, RG_ROLE_WITNESS);
    cr_expect_float_eq(sweep->frame[0].exposure, 0.2, 1e-9);
    for (int i = 0; i < 31; i++) {
        char from[64];
        snprintf(from, sizeof from, i ? TILT "/view_%02d.jpg" : TILT "/witness.jpg", i - 1);
        test_bytes a = test_load(from), b = test_loadf("%s/%s", folder, sweep->frame[i].file);
        cr_expect(a.size == b.size && memcmp(a.data, b.data, a.size) == 0, "frame %d", i);
        free(a.data);
        free(b.data);
    }
    rg_live_free(live);
}

Test(live, a_sealed_pad_without_a_witness_is_undecided_and_a_witness_is_wanted)
{
    char folder[RG_PLACE_SIZE], path[64];
    rg_live *live = begin("C", "dark");
    for (int i = 0; i < 10; i++) {
        snprintf(path, sizeof path, SEALED "/view_%02d.jpg", i);
        offer_file(live, path, RG_ROLE_CLOSED);
    }
    rg_live_state s = settled(live);
    cr_expect_eq(s.want, RG_LIVE_WITNESS);
    cr_expect_not(s.coverage.witness);
    cr_expect_not_null(strstr(s.coverage.missing, "a witness"), "%s", s.coverage.missing);
    s = end(live, folder);
    cr_expect_eq(s.verdict, RG_VERDICT_UNDECIDED);
    cr_expect_not(s.decided);
    rg_live_free(live);
}

/* ---------------------------------------------------------------- what is kept */

Test(live, the_same_view_again_and_again_is_kept_three_times)
{
    char folder[RG_PLACE_SIZE];
    rg_live *live = begin("G", "still");
    for (int i = 0; i < 10; i++)
        offer_file(live, TILT "/view_16.jpg", RG_ROLE_CLOSED);
    rg_live_state s = settled(live);
    cr_expect_eq(s.kept, 3, "%d", s.kept); /* calib/capture.ini: per_place */
    cr_expect_eq(s.left_out, 7);
    cr_expect_not_null(strstr(s.last_reason, "already"), "%s", s.last_reason);
    end(live, folder);
    rg_live_free(live);
}

/* samples/truth/07-G-sharp.json: view_04 is 1.239 degrees below, within 0.8 + beyond_deg of the usual settings. */
Test(live, a_view_from_too_far_below_is_left_out_once_the_rim_is_known)
{
    rg_error err = {0};
    char settings[TEST_SCRATCH_PATH + 20], text[4096];
    test_bytes file = test_load("calib/capture.ini");
    const char *at = strstr((const char *)file.data, "beyond_deg = 0.6");
    cr_assert_not_null(at);
    int n = snprintf(text, sizeof text, "%.*sbeyond_deg = 0.1%s", (int)(at - (char *)file.data),
                     (const char *)file.data, at + 16);
    snprintf(settings, sizeof settings, "%s/capture.ini", out);
    cr_assert_eq(rg_file_write(settings, text, (size_t)n, &err), RG_OK, "%s", err.text);
    free(file.data);
    for (int k = 0; k < 2; k++) {
        rg_live_job job = job_of("G sharp", k ? "narrow" : "usual");
        rg_live *live;
        job.settings_file = k ? settings : NULL;
        cr_assert_eq(rg_live_begin(&job, &live, &err), RG_OK, "%s", err.text);
        for (int i = 0; i < 6; i++) {
            char path[80];
            snprintf(path, sizeof path, "samples/PE-A-0147/07-G-sharp/view_%02d.jpg", i);
            offer_file(live, path, RG_ROLE_CLOSED);
            settled(live);
        }
        rg_live_state s = settled(live);
        cr_expect_eq(s.closed, k ? 5 : 6, "%d: %s", s.closed, s.last_reason);
        if (k)
            cr_expect_not_null(strstr(s.last_reason, "-1.2 degrees"), "%s", s.last_reason);
        rg_live_free(live);
    }
}

Test(live, a_closed_frame_offered_as_witness_proves_nothing_and_is_kept_as_evidence_only_thrice)
{
    rg_live *live = begin("C", "unproven");
    for (int i = 0; i < 5; i++)
        offer_file(live, SEALED "/view_07.jpg", RG_ROLE_WITNESS);
    rg_live_state s = settled(live);
    cr_expect_eq(s.want, RG_LIVE_WITNESS);
    cr_expect_eq(s.witnesses, 3); /* calib/capture.ini: witness_most */
    offer_file(live, SEALED "/witness.jpg", RG_ROLE_WITNESS);
    s = settled(live);
    cr_expect_eq(s.want, RG_LIVE_CLOSED, "%s", s.last_reason);
    cr_expect_eq(s.witnesses, 4);
    offer_file(live, SEALED "/witness.jpg", RG_ROLE_WITNESS);
    s = settled(live);
    cr_expect_eq(s.witnesses, 4);
    cr_expect_not_null(strstr(s.last_reason, "proven already"), "%s", s.last_reason);
    rg_live_free(live);
}

Test(live, damaged_and_foreign_frames_are_left_out_with_their_reason)
{
    rg_live *live = begin("G", "bad");
    test_bytes whole = test_load(TILT "/view_16.jpg");
    offer(live, whole.data, whole.size / 2, RG_ROLE_CLOSED, 1);
    rg_live_state s = settled(live);
    cr_expect_not_null(strstr(s.last_reason, "damaged"), "%s", s.last_reason);
    cr_expect_eq(s.guide, RG_GUIDE_LOST);
    offer(live, (const uint8_t *)"no picture", 10, RG_ROLE_CLOSED, 1);
    s = settled(live);
    cr_expect_eq(s.left_out, 2);
    cr_expect_eq(s.kept, 0);
    offer(live, whole.data, whole.size, RG_ROLE_OPEN, 1);
    s = settled(live);
    cr_expect_eq(s.kept, 0);
    cr_expect_not_null(strstr(s.last_reason, "key heights"), "%s", s.last_reason);
    free(whole.data);
    rg_live_free(live);
}

Test(live, a_witness_exposed_longer_than_closed_frames_is_left_out)
{
    char folder[RG_PLACE_SIZE];
    rg_live *live = begin("G", "exposures");
    test_bytes witness = test_load(TILT "/witness.jpg");
    offer_file(live, TILT "/view_16.jpg", RG_ROLE_CLOSED);
    offer(live, witness.data, witness.size, RG_ROLE_WITNESS, 1.5);
    rg_live_state s = settled(live);
    cr_expect_eq(s.witnesses, 0);
    cr_expect_not_null(strstr(s.last_reason, "1.5"), "%s", s.last_reason);
    end(live, folder);
    free(witness.data);
    rg_live_free(live);
}

/* Eight may wait (calib/capture.ini), whatever the workers do meanwhile. */
Test(live, a_burst_of_frames_waits_in_line)
{
    rg_live *live = begin("G", "burst");
    test_bytes b = test_load(TILT "/view_16.jpg");
    rg_source_frame frame = {.bytes = b.data, .size = b.size, .suffix = "jpg", .exposure = 1};
    rg_error err = {0};
    for (int i = 0; i < 8; i++)
        cr_assert_eq(rg_live_offer(live, &frame, RG_ROLE_CLOSED, &err), RG_OK, "%s", err.text);
    rg_live_state s = settled(live);
    cr_expect_eq(s.offered, 8);
    cr_expect_eq(s.skipped, 0);
    free(b.data);
    rg_live_free(live);
}

Test(live, an_overlay_names_the_sources_frame)
{
    rg_live_overlay o;
    rg_live *live = begin("G", "named");
    replay(live, TILT);
    settled(live);
    cr_assert(rg_live_overlay_of(live, &o));
    cr_expect_eq(o.frame, 31, "%d", (int)o.frame);
    rg_live_free(live);
}

Test(live, frames_offered_too_fast_are_skipped_and_counted)
{
    rg_live_job job = job_of("G", "fast");
    rg_live *live;
    rg_error err = {0};
    job.workers = 1;
    cr_assert_eq(rg_live_begin(&job, &live, &err), RG_OK, "%s", err.text);
    test_bytes b = test_load(TILT "/view_16.jpg");
    rg_source_frame frame = {.bytes = b.data, .size = b.size, .suffix = "jpg", .exposure = 1};
    for (int i = 0; i < 40; i++)
        cr_assert_eq(rg_live_offer(live, &frame, RG_ROLE_CLOSED, &err), RG_OK, "%s", err.text);
    rg_live_state s = settled(live);
    cr_expect_eq(s.offered, 40);
    cr_expect_gt(s.skipped, 0);
    cr_expect_gt(s.kept, 0);
    free(b.data);
    rg_live_free(live);
}

/* ---------------------------------------------------------------- the folder */

Test(live, a_run_that_is_cut_off_leaves_a_sweep_that_inspect_can_read)
{
    char folder[RG_PLACE_SIZE], aside[RG_PLACE_SIZE + 8];
    rg_live *live = begin("G", "cut");
    replay(live, TILT);
    rg_live_state s = settled(live);
    snprintf(folder, sizeof folder, "%s", rg_live_folder(live));
    rg_live_free(live); /* not ended */
    cr_expect(exists(folder, ".capturing"));
    char *json = inspect_json(folder);
    cr_expect_not_null(strstr(json, "\"leaking\""));
    free(json);
    live = begin("G", "cut"); /* the same job again: the old frames are set aside */
    snprintf(aside, sizeof aside, "%s.cut-1", folder);
    cr_expect(exists(aside, "sweep.ini"));
    cr_expect_not(exists(folder, "sweep.ini"));
    cr_expect_gt(s.kept, 0);
    rg_live_free(live);
    cr_expect_not(exists(folder, "."), "without a frame nothing stays");
}

Test(live, a_sweep_without_a_closed_frame_is_removed)
{
    char folder[RG_PLACE_SIZE], was[RG_PLACE_SIZE];
    rg_live *live = begin("G", "none");
    snprintf(was, sizeof was, "%s", rg_live_folder(live));
    offer_file(live, TILT "/witness.jpg", RG_ROLE_WITNESS);
    settled(live);
    cr_expect(exists(was, "witness_000.jpg"));
    rg_live_state s = end(live, folder);
    cr_expect_str_empty(folder);
    cr_expect_eq(s.verdict, RG_VERDICT_UNDECIDED);
    cr_expect_null(rg_live_inspection(live));
    cr_expect_not(exists(was, "."));
    rg_live_free(live);
}

static void refused(const rg_live_job *job, rg_code code, const char *word)
{
    rg_live *live;
    rg_error err = {0};
    cr_expect_eq(rg_live_begin(job, &live, &err), code, "%d: %s", (int)err.code, err.text);
    cr_expect_not_null(strstr(err.text, word), "'%s' does not say %s", err.text, word);
    cr_expect_null(live);
}

Test(live, jobs_that_cannot_be_are_refused_by_name)
{
    rg_live_job job = job_of("H", "x");
    refused(&job, RG_BAD_DATA, "[pad H]");
    job = job_of("G", "x");
    job.key = "H";
    refused(&job, RG_BAD_DATA, "[pad H]");
    job = job_of("G", "../x");
    refused(&job, RG_USAGE, "../x");
    job = job_of("G", "x");
    job.station_file = "calib/none.ini";
    refused(&job, RG_NO_INPUT, "calib/none.ini");
    job = job_of("G", "x");
    job.settings_file = "calib/bench.ini";
    refused(&job, RG_BAD_DATA, "calib/bench.ini");
    cr_expect_not(exists(out, "PE-A-0147/x"), "a refused job makes no folder");
}

Test(live, a_folder_in_use_or_of_another_job_is_refused)
{
    rg_live_job job = job_of("G", "busy"), other = job_of("C", "busy");
    rg_live *live = begin("G", "busy");
    refused(&job, RG_CANT_CREATE, "right now");
    offer_file(live, TILT "/view_16.jpg", RG_ROLE_CLOSED);
    settled(live);
    rg_live_free(live);
    refused(&other, RG_CANT_CREATE, "another pad");
    live = begin("G", "busy");
    char folder[RG_PLACE_SIZE];
    offer_file(live, TILT "/view_16.jpg", RG_ROLE_CLOSED);
    end(live, folder);
    rg_live_free(live);
    refused(&job, RG_CANT_CREATE, "there already");
}

Test(live, a_folder_that_goes_away_ends_the_run_with_an_error_and_without_a_hang)
{
    char folder[RG_PLACE_SIZE];
    rg_live_state s;
    rg_error err = {0};
    rg_live *live = begin("G", "gone");
    remove_tree(rg_live_folder(live));
    offer_file(live, TILT "/view_16.jpg", RG_ROLE_CLOSED);
    cr_expect_neq(rg_live_end(live, folder, &s, &err), RG_OK);
    cr_expect_not_null(strstr(err.text, "view_000.jpg"), "%s", err.text);
    cr_expect_eq(s.kept, 0);
    rg_live_free(live);
}

/* ---------------------------------------------------------------- overlay and source */

Test(live, the_rim_line_is_drawn_where_the_truth_has_it_and_lit_where_the_gap_is)
{
    rg_live_overlay o;
    rg_live *live = begin("G", "overlay");
    cr_expect_not(rg_live_overlay_of(live, &o));
    for (int i = 15; i < 20; i++) {
        char path[64];
        snprintf(path, sizeof path, TILT "/view_%02d.jpg", i);
        offer_file(live, path, RG_ROLE_CLOSED);
        settled(live);
    }
    offer_file(live, TILT "/view_17.jpg", RG_ROLE_CLOSED);
    settled(live);
    cr_assert(rg_live_overlay_of(live, &o));
    cr_expect_eq(o.points, 72);
    cr_expect_eq(o.width, 1280);
    /* samples/truth/08-G.json, view_17: R, t of the rim frame; the point at bearing 200 of the outer edge, by the
     * pinhole of calib/bench.ini. */
    static const double R[3][3] = {{-0.3181986, -0.947977285, -0.009419007},
                                   {0.035763275, -0.002074799, -0.999358136},
                                   {0.94734927, -0.318331214, 0.034562971}},
                        t[3] = {-0.76311, 3.971384, 113.588034};
    const rg_station *station = rg_live_station(live);
    double r = 20.0 / 2, b = 200 * RG_PI / 180, X[3] = {r * cos(b), -r * sin(b), 0}, c[3];
    for (int i = 0; i < 3; i++)
        c[i] = R[i][0] * X[0] + R[i][1] * X[1] + R[i][2] * X[2] + t[i];
    double x = station->lens.fx * c[0] / c[2] + station->lens.cx;
    double y = station->lens.fy * c[1] / c[2] + station->lens.cy;
    cr_expect_float_eq(o.x[40], x, 3, "%g, truth %g", o.x[40], x);
    cr_expect_float_eq(o.y[40], y, 3, "%g, truth %g", o.y[40], y);
    cr_expect(o.lit[40], "0.15 mm stand open at 200 degrees");
    cr_expect(isnan(o.x[4]), "bearing 20 is behind the chimney");
    rg_live_free(live);
}

Test(live, a_replay_gives_every_frame_once_or_over_and_over)
{
    rg_source *source;
    rg_source_frame frame;
    rg_error err = {0};
    rg_taken taken;
    int frames = 0;
    cr_assert_eq(rg_source_replay("samples/PE-A-0147/07-G-sharp", 0, false, &source, &err), RG_OK);
    while (rg_source_next(source, 100, &frame, &err) == RG_SOURCE_FRAME)
        frames += frame.role == RG_ROLE_CLOSED ? 1 : 100;
    cr_expect_eq(frames, 106, "one witness and six closed");
    cr_expect_eq(rg_source_next(source, 100, &frame, &err), RG_SOURCE_END);
    rg_source_taken(source, &taken);
    cr_expect_eq(taken.day, 20777, "2026-11-20 is day %d", taken.day);
    rg_source_close(source);
    cr_assert_eq(rg_source_replay("samples/PE-A-0147/07-G-sharp", 0, true, &source, &err), RG_OK);
    for (int i = 0; i < 15; i++)
        cr_expect_eq(rg_source_next(source, 100, &frame, &err), RG_SOURCE_FRAME);
    cr_expect_eq(frame.role, RG_ROLE_WITNESS, "the fifteenth of seven is the first again");
    rg_source_close(source);
    cr_expect_eq(rg_source_replay("samples/none", 0, false, &source, &err), RG_NO_INPUT);
    cr_expect_eq(rg_source_replay("samples/PE-A-0147/08-G", -1, false, &source, &err), RG_USAGE);
}

/*
 * A camera as a source of live frames, against the camera that does not exist (shim/fake_camera.h): its YUYV
 * frames say in their first sample at which exposure they were taken.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/capture.h"
#include "rimglow/live.h"
#include "shim/fake_camera.h"
#include "support/load.h"

static void command(const char *text)
{
    cr_assert_eq(fake_camera(text), 0, "%s", text);
}

static rg_station station_of(int width, int height)
{
    rg_station s = {0};
    s.lens.width = width;
    s.lens.height = height;
    return s;
}

static rg_source *opened(int width, int height)
{
    rg_station station = station_of(width, height);
    rg_source *source;
    rg_error err = {0};
    command("frames samples/PE-A-0147/04-C");
    command("instant");
    cr_assert_eq(rg_source_camera(NULL, &station, &source, &err), RG_OK, "%s", err.text);
    return source;
}

static rg_source_frame frame;
static rg_error err;

static rg_source_state next(rg_source *source)
{
    return rg_source_next(source, 1000, &frame, &err);
}

/* Until it gives a frame, at most so many calls. */
static bool comes_back(rg_source *source)
{
    for (int i = 0; i < 20; i++)
        if (next(source) == RG_SOURCE_FRAME)
            return true;
    return false;
}

/* Also over an interruption: numbers are what the accounts count. */
Test(live_camera, frames_are_numbered_as_they_are_given)
{
    rg_source *source = opened(1280, 720);
    rg_source_counts counts;
    for (uint64_t n = 1; n <= 3; n++) {
        cr_assert_eq(next(source), RG_SOURCE_FRAME, "%s", err.text);
        cr_expect_eq(frame.number, n);
    }
    command("unplug");
    cr_assert_eq(next(source), RG_SOURCE_AWAY);
    command("plug");
    cr_assert(comes_back(source));
    cr_expect_eq(frame.number, 4);
    rg_source_count(source, &counts);
    cr_expect_eq(counts.given, 4);
    rg_source_close(source);
}

Test(live_camera, frames_come_untouched_and_with_exposure_1)
{
    rg_source *source = opened(1280, 720);
    cr_assert_eq(next(source), RG_SOURCE_FRAME, "%s", err.text);
    cr_expect_str_eq(frame.suffix, "jpg");
    cr_expect_eq(frame.exposure, 1);
    cr_expect_eq(frame.role, RG_ROLE_CLOSED);
    test_bytes first = test_load("samples/PE-A-0147/04-C/view_00.jpg");
    cr_expect(frame.size == first.size && memcmp(frame.bytes, first.data, first.size) == 0);
    free(first.data);
    rg_source_close(source);
}

Test(live_camera, a_witness_s_exposure_is_set_and_said_as_it_was_read_back)
{
    rg_taken taken;
    rg_source *source = opened(1280, 720);
    rg_source_taken(source, &taken);
    double closed_s = taken.exposure_s; /* V4L2_CID_EXPOSURE_ABSOLUTE: units of 100 us */
    cr_assert_gt(closed_s, 0);
    cr_assert_eq(rg_source_expose(source, 0.2, &err), RG_OK, "%s", err.text);
    cr_assert_eq(next(source), RG_SOURCE_FRAME, "%s", err.text);
    double units = closed_s * 1e4, steps = (double)(long)(0.2 * units + 0.5);
    cr_expect_float_eq(frame.exposure, steps / units, 1e-9, "%g of %g units", frame.exposure,
                       units);
    rg_source_taken(source, &taken);
    cr_expect_eq(taken.exposure_s, closed_s, "of a frame whose exposure is 1");
    cr_assert_eq(rg_source_expose(source, 1, &err), RG_OK, "%s", err.text);
    cr_assert_eq(next(source), RG_SOURCE_FRAME, "%s", err.text);
    cr_expect_eq(frame.exposure, 1);
    cr_expect_eq(rg_source_expose(source, 0, &err), RG_USAGE);
    rg_source_close(source);
}

Test(live_camera, without_an_exposure_control_no_witness_can_be_taken)
{
    command("control 0x009a0902");
    rg_source *source = opened(1280, 720);
    cr_expect_eq(rg_source_expose(source, 1, &err), RG_OK);
    cr_expect_eq(rg_source_expose(source, 0.2, &err), RG_NO_CAMERA);
    cr_expect_not_null(strstr(err.text, "manual exposure"), "%s", err.text);
    rg_source_close(source);
}

Test(live_camera, pulled_out_it_is_away_and_plugged_in_it_comes_back_with_its_exposure)
{
    rg_source *source = opened(1280, 720);
    rg_taken first, taken;
    rg_source_taken(source, &first);
    cr_assert_eq(rg_source_expose(source, 0.2, &err), RG_OK, "%s", err.text);
    cr_assert_eq(next(source), RG_SOURCE_FRAME, "%s", err.text);
    double before = frame.exposure;
    command("unplug");
    cr_expect_eq(next(source), RG_SOURCE_AWAY);
    cr_expect_str_not_empty(frame.note);
    cr_expect_eq(next(source), RG_SOURCE_AWAY);
    command("plug");
    command("control 0x009a0902 777"); /* as a camera that forgot its settings: exposure */
    command("control 0x00980913 77");  /* and gain */
    cr_assert(comes_back(source), "%s", err.text);
    cr_expect_str_eq(frame.note, "the camera is back");
    cr_expect_float_eq(frame.exposure, before, 1e-9);
    cr_assert_eq(rg_source_expose(source, 1, &err), RG_OK, "%s", err.text);
    cr_assert_eq(next(source), RG_SOURCE_FRAME);
    cr_expect_eq(frame.exposure, 1, "1 means what it meant before: %g", frame.exposure);
    rg_source_taken(source, &taken);
    cr_expect_float_eq(taken.exposure_s, 0.025, 1e-9, "250 units of 100 us: %g", taken.exposure_s);
    cr_expect_neq(first.gain, 77);
    cr_expect_eq(taken.gain, first.gain, "%g, before %g", taken.gain, first.gain);
    rg_source_close(source);
}

Test(live_camera, an_exposure_that_changes_by_itself_is_met_and_set_back)
{
    rg_source *source = opened(1280, 720);
    command("control 0x009a0902 999");
    cr_expect_eq(next(source), RG_SOURCE_AWAY, "no frame of another exposure counts");
    cr_expect_not_null(strstr(frame.note, "999"), "%s", frame.note);
    cr_assert(comes_back(source), "%s", err.text);
    cr_expect_eq(frame.exposure, 1);
    rg_source_close(source);
}

Test(live_camera, a_bad_frame_is_named_and_the_next_one_comes)
{
    rg_source *source = opened(1280, 720);
    rg_source_counts counts;
    command("truncate 1");
    cr_expect_eq(next(source), RG_SOURCE_WAIT);
    cr_expect_str_not_empty(frame.note);
    cr_expect_eq(next(source), RG_SOURCE_FRAME);
    command("unplug");
    cr_expect_eq(next(source), RG_SOURCE_AWAY);
    command("plug");
    cr_assert(comes_back(source));
    rg_source_count(source, &counts);
    cr_expect_eq(counts.given, 2, "%lu, also of before it was away", (unsigned long)counts.given);
    cr_expect_eq(counts.bad, 1);
    cr_expect_eq(counts.away, 1);
    rg_source_close(source);
}

Test(live_camera, a_camera_that_fails_for_good_is_closed_and_opened_anew)
{
    rg_source *source = opened(1280, 720);
    cr_assert_eq(next(source), RG_SOURCE_FRAME);
    command("fatal");
    cr_expect_eq(next(source), RG_SOURCE_AWAY);
    rg_source_close(source);
}

Test(live_camera, a_size_that_no_camera_has_and_no_camera_at_all_are_refused)
{
    rg_station odd = station_of(1234, 567);
    rg_source *source = (rg_source *)&odd;
    cr_expect_eq(rg_source_camera(NULL, &odd, &source, &err), RG_NO_CAMERA);
    cr_expect_null(source);
    command("unplug");
    rg_station usual = station_of(1280, 720);
    cr_expect_eq(rg_source_camera("/dev/video0", &usual, &source, &err), RG_NO_CAMERA);
    cr_expect_not_null(strstr(err.text, "/dev/video0"), "%s", err.text);
}

/*
 * [place] and [marks] of sweep.ini: what is read, every refusal, and the way
 * back to text.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config.h"

static const char jig_text[] = "[sweep]\n"
                               "serial = PE-A-0147\n"
                               "instrument = ../horn.ini\n"
                               "station = ../bench.ini\n"
                               "pad = G\n"
                               "finger = light\n"
                               "[place]\n"
                               "source = jig\n"
                               "bearing_u_deg = 0.1\n"
                               "elevation_u_deg = 0.03\n"
                               "distance_mm = 110\n"
                               "outline_u_px = 0.5\n"
                               "click_u_px = 0.7\n"
                               "seat_tilt_deg = 0.6\n"
                               "[frames]\n"
                               "witness.jpg = witness, exposure 0.2, bearing 180, elevation -0.5\n"
                               "view_00.jpg = closed, bearing 30, elevation -0.4\n"
                               "view_01.jpg = closed, elevation 0.25, exposure 1, bearing 0\n"
                               "open_*.jpg = open, exposure 0.3\n"
                               "[marks]\n"
                               "witness.jpg = rim 412.5 388 871 390.25\n";

static const char marks_text[] = "[sweep]\n"
                                 "serial = PE-A-0147\n"
                                 "instrument = ../horn.ini\n"
                                 "station = ../bench.ini\n"
                                 "pad = G\n"
                                 "crown = 2\n"
                                 "finger = light\n"
                                 "[place]\n"
                                 "source = marks\n"
                                 "bearing_u_deg = 1\n"
                                 "click_u_px = 0.5\n"
                                 "seat_tilt_deg = 0.5\n"
                                 "cup_mm = 24\n"
                                 "cup_edge_mm = 1.4\n"
                                 "cup_edge_u_mm = 0.05\n"
                                 "[frames]\n"
                                 "view_00.jpg = closed, bearing 30\n"
                                 "view_01.jpg = closed, bearing 359.5\n"
                                 "[marks]\n"
                                 "view_01.jpg = rim 412.5 388 871 390.25, cup 640 355 520 356.5\n"
                                 "view_00.jpg = rim 400 380 860 381 630 390 500 388\n";

static rg_sweep parse(const char *text)
{
    rg_sweep sweep;
    rg_error err = {0};
    cr_assert_eq(rg_sweep_parse("sweep.ini", text, strlen(text), &sweep, &err), RG_OK, "%s",
                 err.text);
    return sweep;
}

static rg_code parse_and_free(const char *label, const char *text, size_t size, rg_error *err)
{
    rg_sweep sweep;
    rg_code code = rg_sweep_parse(label, text, size, &sweep, err);
    cr_expect((code == RG_OK) == (sweep.frame != NULL), "a refused file leaves memory behind");
    rg_sweep_free(&sweep);
    return code;
}

static void refused(const char *base, const char *from, const char *to, const char *says,
                    const char *and_says)
{
    const test_refusal row[] = {{from, to, {says, and_says}}};
    TEST_REFUSALS(parse_and_free, "sweep.ini", base, row);
}

Test(config_place, without_the_section_the_place_comes_from_the_crown)
{
    const char *text = "[sweep]\nserial = P\ninstrument = a\nstation = b\npad = G\ncrown = 2\n"
                       "finger = light\n[frames]\nview_*.jpg = closed\n";
    rg_sweep s = parse(text);
    cr_expect_eq(s.place.source, RG_PLACE_CROWN);
    cr_expect_eq(s.place.bearing_u_deg, 0);
    cr_expect(isnan(s.frame[0].given.bearing_deg) && isnan(s.frame[0].given.elevation_deg));
    rg_sweep_free(&s);
    char *other = test_edited(text, "[frames]", "[place]\nsource = crown\n[frames]");
    s = parse(other);
    free(other);
    cr_expect_eq(s.place.source, RG_PLACE_CROWN);
    rg_sweep_free(&s);
}

Test(config_place, a_jig_states_bearings_elevations_and_their_uncertainties)
{
    rg_sweep s = parse(jig_text);
    cr_expect_eq(s.crown_number, -1, "no crown is needed");
    cr_expect_eq(s.place.source, RG_PLACE_JIG);
    cr_expect_eq(s.place.bearing_u_deg, 0.1);
    cr_expect_eq(s.place.elevation_u_deg, 0.03);
    cr_expect_eq(s.place.distance_mm, 110);
    cr_expect_eq(s.place.outline_u_px, 0.5);
    cr_expect_eq(s.place.click_u_px, 0.7);
    cr_expect_eq(s.place.seat_tilt_deg, 0.6);
    cr_expect_eq(s.place.cup_mm, 0);
    cr_assert_eq(s.frames, 4);
    cr_expect_eq(s.frame[0].exposure, 0.2);
    cr_expect_eq(s.frame[0].given.bearing_deg, 180);
    cr_expect_eq(s.frame[0].given.elevation_deg, -0.5);
    cr_expect_eq(s.frame[0].given.marks, 2);
    cr_expect_eq(s.frame[0].given.mark[1].kind, RG_MARK_RIM_RIGHT);
    cr_expect_eq(s.frame[0].given.mark[1].pixel.y, 390.25);
    cr_expect_eq(s.frame[1].given.elevation_deg, -0.4);
    cr_expect_eq(s.frame[1].exposure, 1);
    cr_expect_eq(s.frame[2].given.bearing_deg, 0, "in any order");
    cr_expect_eq(s.frame[2].given.elevation_deg, 0.25);
    cr_expect_eq(s.frame[2].given.marks, 0);
    rg_sweep_free(&s);
}

Test(config_place, marks_come_as_ends_further_points_and_points_of_the_cup)
{
    rg_sweep s = parse(marks_text);
    const rg_place_given *g = &s.frame[1].given;
    cr_expect_eq(s.crown_number, 2, "a crown may still be named");
    cr_expect_eq(s.place.cup_edge_u_mm, 0.05);
    cr_assert_eq(g->marks, 4);
    cr_expect_eq(g->mark[0].kind, RG_MARK_RIM_LEFT);
    cr_expect_eq(g->mark[0].pixel.x, 412.5);
    cr_expect_eq(g->mark[3].kind, RG_MARK_CUP);
    cr_expect_eq(g->mark[3].pixel.y, 356.5);
    g = &s.frame[0].given;
    cr_assert_eq(g->marks, 4);
    cr_expect_eq(g->mark[3].kind, RG_MARK_RIM);
    cr_expect_eq(g->mark[3].pixel.x, 500);
    rg_sweep_free(&s);
}

Test(config_place, what_is_written_is_read_back_the_same)
{
    static const char *const text[] = {jig_text, marks_text};
    for (int i = 0; i < 2; i++) {
        rg_sweep s = parse(text[i]), again;
        char *out = NULL;
        rg_error err = {0};
        cr_assert_eq(rg_sweep_text(&s, &out, &err), RG_OK, "%s", err.text);
        again = parse(out);
        cr_expect_eq(memcmp(&s.place, &again.place, sizeof s.place), 0);
        cr_expect_eq(s.crown_number, again.crown_number);
        cr_assert_eq(s.frames, again.frames);
        for (int k = 0; k < s.frames; k++) {
            const rg_place_given *a = &s.frame[k].given, *b = &again.frame[k].given;
            cr_expect_eq(a->marks, b->marks);
            cr_expect_eq(memcmp(a->mark, b->mark, sizeof a->mark), 0);
            cr_expect(a->bearing_deg == b->bearing_deg ||
                      (isnan(a->bearing_deg) && isnan(b->bearing_deg)));
            cr_expect(a->elevation_deg == b->elevation_deg ||
                      (isnan(a->elevation_deg) && isnan(b->elevation_deg)));
        }
        free(out);
        rg_sweep_free(&s);
        rg_sweep_free(&again);
    }
}

Test(config_place, values_of_the_place_are_refused_by_name)
{
    refused(jig_text, "source = jig", "source = tripod", "line 8: [place] source = tripod",
            "crown, jig or marks");
    refused(jig_text, "source = jig\n", "", "[place] has no key source", "add");
    refused(jig_text, "bearing_u_deg = 0.1", "bearing_u_deg = -1", "line 9", "0 to 30");
    refused(jig_text, "elevation_u_deg = 0.03", "elevation_u_deg = 0", "elevation_u_deg = 0",
            "0.001 to 10");
    refused(jig_text, "distance_mm = 110\n", "", "source = jig needs distance_mm", "add");
    refused(jig_text, "outline_u_px = 0.5", "outline_u_px = nan", "outline_u_px", "finite");
    refused(jig_text, "seat_tilt_deg = 0.6", "seat_tilt_deg = 0,6", "seat_tilt_deg", "point");
    refused(jig_text, "seat_tilt_deg", "set_tilt_deg", "set_tilt_deg", "unknown key");
    refused(marks_text, "click_u_px = 0.5\n", "", "source = marks needs click_u_px", "add");
    refused(marks_text, "click_u_px = 0.5", "click_u_px = 0.5\ndistance_mm = 100",
            "distance_mm = 100", "no use for it");
    refused(marks_text, "cup_edge_mm = 1.4\n", "", "gives 2 of cup_mm", "all three");
    refused(marks_text, "source = marks", "source = crown", "bearing_u_deg", "no use for it");
    refused(marks_text, "[marks]", "[dots]", "unknown section [dots]", "[marks]");
}

Test(config_place, frames_that_lack_or_have_too_much_are_refused_by_name)
{
    refused(jig_text, ", bearing 30", "", "view_00.jpg has no bearing", "bearing 30");
    refused(jig_text, ", elevation -0.4", "", "view_00.jpg has no elevation", "elevation -0.4");
    refused(jig_text, "bearing 30", "bearing 360", "view_00.jpg bearing = 360", "359.999999");
    refused(jig_text, "bearing 30", "bearing", "view_00.jpg bearing = ", "finite");
    refused(jig_text, "bearing 30", "bearing east", "view_00.jpg bearing = east", "finite");
    refused(jig_text, "elevation -0.4", "elevation -31", "view_00.jpg elevation", "-30 to 30");
    refused(jig_text, "elevation -0.4", "bearing 31", "bearing is given twice", "line 17");
    refused(jig_text, "exposure 1, bearing 0", "exposure 1, exposure 1, bearing 0", "line 18",
            "each once");
    refused(jig_text, "view_01.jpg = closed", "view_*.jpg = closed", "view_*.jpg", "own line");
    refused(jig_text, "witness, exposure 0.2, ", "witness, ", "no exposure", "exposure 0.2");
    refused(marks_text, "bearing 30", "bearing 30, elevation 0", "elevation 0 is stated",
            "source = jig");
    refused(marks_text, "view_00.jpg = rim 400 380 860 381 630 390 500 388\n", "",
            "view_00.jpg has no line in [marks]", "rim's ends");
    const char *crown = "[sweep]\nserial = P\ninstrument = a\nstation = b\npad = G\ncrown = 2\n"
                        "finger = light\n[frames]\nv.jpg = closed, exposure 1\n";
    refused(crown, "exposure 1", "exposure 1, bearing 3", "from the crown", "source = jig");
    refused(crown, "crown = 2\n", "", "has no key crown", "number of the index crown");
    refused(crown, "closed, exposure 1\n", "closed\n[marks]\nv.jpg = rim 1 1 2 2\n",
            "line 11: [marks]", "click_u_px");
}

Test(config_place, marks_that_cannot_be_are_refused_by_name)
{
    static const char good[] = "rim 400 380 860 381 630 390 500 388";
    refused(marks_text, good, "400 380 860 381", "\"400\" is neither rim nor cup", "line 21");
    refused(marks_text, good, "", "view_00.jpg", "two ends");
    refused(marks_text, good, "rim", "no points", "view_00.jpg");
    refused(marks_text, good, "rim 400 380 860", "\"\" is no pixel", "x and y");
    refused(marks_text, good, "rim 400 380 860 inf 1 1 2 2", "\"inf\" is no pixel", "numbers");
    refused(marks_text, good, "rim 400 380 860 -1", "\"-1\" is no pixel", "-0.5");
    refused(marks_text, good, "rim 860 381 400 380 1 1 2 2", "left one first", "line 21");
    refused(marks_text, good, "rim 400 380, cup 3 3 4 4 5 5", "two ends", "left one first");
    refused(marks_text, good, "cup 3 3, rim 400 380 860 381 1 1", "rim comes first", "join");
    refused(marks_text, good, "rim 400 380 860 381 1 1", "3 marks do not hold", "elevation");
    refused(marks_text, good, "rim 1 1 2 2 3 3 4 4 5 5 6 6 7 7 8 8 9 9 10 10 11 11 12 12 13 13",
            "more than 12", "fewer");
    refused(marks_text, "view_00.jpg = rim", "view_07.jpg = rim", "view_07.jpg", "[frames]");
    refused(jig_text, "witness.jpg = rim 412.5 388 871 390.25",
            "witness.jpg = rim 412.5 388 871 390.25, cup 1 1 2 2", "marks on the cup", "cup_mm");
    refused(jig_text, "witness.jpg = rim", "open_*.jpg = rim", "full name", "open_*.jpg");
}

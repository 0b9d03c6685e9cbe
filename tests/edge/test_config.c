/*
 * Instrument, station and sweep files: what is read, and every refusal with
 * the file, the key, the value and the remedy in its text.
 *
 * Outside values: the camera, rim and crown of the sample frames as their
 * renderer states them (1280 x 720, f 3300 px, rim 18/20 mm, pad 23 mm, crown
 * 2 with apothem 9.5, tag 8, height 10.3 mm); luma weights from
 * ITU-T T.871.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "edge/refusals.h"
#include "rimglow/config.h"
#include "rimglow/file.h"

enum { TEXT = 32768 };

static const char instrument_text[] = "[instrument]\n"
                                      "name = test horn\n"
                                      "[every pad]\n"
                                      "tolerance_mm = 0.025\n"
                                      "min_arc_deg = 3\n"
                                      "crown = 2\n"
                                      "crown_apothem_mm = 9.5\n"
                                      "crown_tag_mm = 8.0\n"
                                      "crown_centre_height_mm = 10.3\n"
                                      "cup_height_mm = 5.0\n"
                                      "closed_with =\n"
                                      "[pad G]\n"
                                      "rim_inner_mm = 18.0\n"
                                      "rim_outer_mm = 20.0\n"
                                      "pad_mm = 23.0\n"
                                      "opening_mm = 5.6\n"
                                      "notes = G4, F#4\n"
                                      "[pad low E flat]\n"
                                      "tolerance_mm = 0.04\n"
                                      "rim_inner_mm = 29\n"
                                      "rim_outer_mm = 31\n"
                                      "pad_mm = 35\n"
                                      "opening_mm = 7\n"
                                      "closed_with = G\n"
                                      "notes =\n";

static const char sweep_text[] = "[sweep]\n"
                                 "serial = PE-A-0147\n"
                                 "instrument = ../horn.ini\n"
                                 "station = ../bench.ini\n"
                                 "pad = G\n"
                                 "crown = 2\n"
                                 "finger = 35 g\n"
                                 "[wedge]\n"
                                 "feeler_mm = 0.1\n"
                                 "feeler_u_mm = 0.001\n"
                                 "bearing_deg = 180\n"
                                 "width_mm = 3\n"
                                 "[frames]\n"
                                 "witness.jpg = witness, exposure 0.2\n"
                                 "view_00.jpg = closed, exposure 1.0\n"
                                 "view_01.jpg = closed\n";

/* text with the first occurrence of from replaced by to. */
static char *edited(const char *text, const char *from, const char *to)
{
    static char results[2][TEXT];
    char *result = text == results[0] ? results[1] : results[0];
    const char *at = strstr(text, from);
    cr_assert_not_null(at, "the test's own text has no \"%s\"", from);
    int n = snprintf(result, TEXT, "%.*s%s%s", (int)(at - text), text, to, at + strlen(from));
    cr_assert(n > 0 && n < TEXT);
    return result;
}

static rg_code parse_instrument(const char *label, const char *text, size_t size, rg_error *err)
{
    rg_instrument instrument;
    rg_code code = rg_instrument_parse(label, text, size, &instrument, err);
    cr_expect(code == RG_OK || instrument.pad == NULL, "a refused file leaves memory behind");
    rg_instrument_free(&instrument);
    return code;
}

static rg_code parse_station(const char *label, const char *text, size_t size, rg_error *err)
{
    rg_station station;
    return rg_station_parse(label, text, size, &station, err);
}

static rg_code parse_sweep(const char *label, const char *text, size_t size, rg_error *err)
{
    rg_sweep sweep;
    rg_code code = rg_sweep_parse(label, text, size, &sweep, err);
    cr_expect(code == RG_OK || sweep.frame == NULL, "a refused file leaves memory behind");
    rg_sweep_free(&sweep);
    return code;
}

/* A file as a text that the caller frees. */
static char *load(const char *path, size_t *size)
{
    uint8_t *bytes = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_file_read(path, RG_CONFIG_MAX_BYTES, &bytes, size, &err), RG_OK, "%s",
                 err.text);
    return (char *)bytes;
}

static rg_station load_station(const char *path)
{
    size_t size = 0;
    char *text = load(path, &size);
    rg_station station;
    rg_error err = {0};
    cr_assert_eq(rg_station_parse(path, text, size, &station, &err), RG_OK, "%s", err.text);
    free(text);
    return station;
}

static rg_instrument load_instrument(const char *path)
{
    size_t size = 0;
    char *text = load(path, &size);
    rg_instrument instrument;
    rg_error err = {0};
    cr_assert_eq(rg_instrument_parse(path, text, size, &instrument, &err), RG_OK, "%s", err.text);
    free(text);
    return instrument;
}

static rg_sweep parse_good_sweep(const char *text)
{
    rg_sweep sweep;
    rg_error err = {0};
    cr_assert_eq(rg_sweep_parse("sweep.ini", text, strlen(text), &sweep, &err), RG_OK, "%s",
                 err.text);
    return sweep;
}

/* ------------------------------------------------------------ what is read */

Test(config, a_pad_takes_from_every_pad_what_it_does_not_give)
{
    rg_instrument horn;
    cr_assert_eq(
        rg_instrument_parse("horn.ini", instrument_text, sizeof instrument_text - 1, &horn, NULL),
        RG_OK);
    cr_assert_eq(horn.pads, 2);
    cr_expect_str_eq(horn.name, "test horn");
    const rg_pad *g = &horn.pad[0], *low = &horn.pad[1];
    cr_expect_str_eq(g->name, "G");
    cr_expect_str_eq(low->name, "low E flat");
    cr_expect_float_eq(g->tolerance_mm, 0.025, 0);
    cr_expect_float_eq(low->tolerance_mm, 0.04, 0);
    cr_expect_float_eq(low->crown.apothem_mm, 9.5, 0);
    cr_expect_float_eq(low->rim.pad_diameter_mm, 35, 0);
    cr_expect_str_eq(g->closed_with, "");
    cr_expect_str_eq(low->closed_with, "G");
    cr_expect_str_eq(g->notes, "G4, F#4", "a # inside a word is not a comment");
    cr_expect_eq(rg_instrument_pad(&horn, "low E flat"), low);
    cr_expect_null(rg_instrument_pad(&horn, "low e flat"));
    rg_instrument_free(&horn);
    cr_expect_null(horn.pad);
}

Test(config, a_sweep_gives_roles_exposures_finger_and_wedge)
{
    rg_sweep s = parse_good_sweep(sweep_text);
    cr_expect_str_eq(s.serial, "PE-A-0147");
    cr_expect_str_eq(s.instrument_path, "../horn.ini");
    cr_expect_str_eq(s.pad, "G");
    cr_expect_eq(s.crown_number, 2);
    cr_expect_eq(s.finger, RG_FINGER_GRAMS);
    cr_expect_float_eq(s.finger_grams, 35, 0);
    cr_expect(s.wedge.present);
    cr_expect_float_eq(s.wedge.feeler_mm, 0.1, 0);
    cr_assert_eq(s.frames, 3);
    cr_expect_str_eq(s.frame[0].file, "witness.jpg");
    cr_expect_eq(s.frame[0].role, RG_ROLE_WITNESS);
    cr_expect_float_eq(s.frame[0].exposure, 0.2, 0);
    cr_expect_eq(s.frame[2].role, RG_ROLE_CLOSED);
    cr_expect_float_eq(s.frame[2].exposure, 1, 0);
    rg_sweep_free(&s);
    s = parse_good_sweep(edited(sweep_text, "35 g", "firm"));
    cr_expect_eq(s.finger, RG_FINGER_FIRM);
    cr_expect_str_eq(rg_finger_name(s.finger), "firm");
    rg_sweep_free(&s);
}

/* The key that was pressed may be left out, and comes back from a text that was written. */
Test(config, a_sweep_may_say_whose_key_was_pressed)
{
    rg_error err = {0};
    char *text = NULL;
    rg_sweep s = parse_good_sweep(sweep_text);
    cr_expect_str_eq(s.key, "");
    rg_sweep_free(&s);
    s = parse_good_sweep(edited(sweep_text, "pad = G\n", "pad = G\nkey = low B flat\n"));
    cr_expect_str_eq(s.pad, "G");
    cr_expect_str_eq(s.key, "low B flat");
    cr_assert_eq(rg_sweep_text(&s, &text, &err), RG_OK, "%s", err.text);
    rg_sweep_free(&s);
    s = parse_good_sweep(text);
    cr_expect_str_eq(s.key, "low B flat");
    rg_sweep_free(&s);
    free(text);
}

Test(config, windows_line_ends_a_byte_order_mark_indents_and_long_comments_are_read)
{
    char text[TEXT] = "\xEF\xBB\xBF; ";
    memset(text + 5, 'c', 900);
    strcpy(text + 905, "\r\n");
    size_t used = strlen(text);
    for (const char *p = sweep_text; *p != 0; p++) {
        if (*p == '\n') {
            memcpy(text + used, " # note\r\n  \t", 12);
            used += 12;
        } else {
            text[used++] = *p;
        }
    }
    text[used] = 0;
    rg_sweep s = parse_good_sweep(text);
    cr_expect_eq(s.frames, 3);
    cr_expect_str_eq(s.serial, "PE-A-0147");
    cr_expect_str_eq(s.station_path, "../bench.ini");
    rg_sweep_free(&s);
}

Test(config, a_sweep_of_the_open_key_alone_needs_no_closed_frame)
{
    const char *heights = edited(sweep_text,
                                 "witness.jpg = witness, exposure 0.2\n"
                                 "view_00.jpg = closed, exposure 1.0\n"
                                 "view_01.jpg = closed\n",
                                 "a.jpg = open, exposure 0.25\n");
    rg_sweep s = parse_good_sweep(heights);
    cr_expect_eq(s.frame[0].role, RG_ROLE_OPEN);
    rg_sweep_free(&s);
}

/* ------------------------------------------------------------ what is refused */

Test(config, bad_instrument_values_are_refused_by_name)
{
    static const test_refusal row[] = {
        {"inner_mm = 18.0", "inner_mm = 18,0", {"horn.ini, line 13", "[pad G]", "18,0", "18.0"}},
        {"inner_mm = 18.0", "inner_mm = nan", {"horn.ini", "rim_inner_mm = nan", "finite"}},
        {"inner_mm = 18.0", "inner_mm = inf", {"rim_inner_mm = inf", "finite"}},
        {"inner_mm = 18.0", "inner_mm = 18 mm", {"rim_inner_mm = 18 mm", "digits alone"}},
        {"inner_mm = 18.0", "inner_mm =", {"rim_inner_mm", "digits alone"}},
        {"inner_mm = 18.0", "inner_mm = -18", {"rim_inner_mm = -18", "outside 1 to 200"}},
        {"inner_mm = 18.0", "inner_mm = 20", {"[pad G] rim_inner_mm = 20", "rim_outer_mm = 20"}},
        {"pad_mm = 23.0", "pad_mm = 20.0", {"[pad G] pad_mm = 20.0", "rim_outer_mm = 20"}},
        {"rim_outer_mm = 20.0\n", "", {"horn.ini", "[pad G]", "rim_outer_mm", "alto-loan.ini"}},
        {"min_arc_deg = 3\n", "", {"[pad G]", "min_arc_deg", "degrees"}},
        {"tolerance_mm = 0.025",
         "tolerence_mm = 0.025",
         {"[every pad]", "tolerence_mm = 0.025", "unknown key", "tolerance_mm"}},
        {"tolerance_mm = 0.025", "tolerance_mm = 0", {"tolerance_mm = 0", "0.001 to 1"}},
        {"opening_mm = 5.6",
         "opening_mm = 5.6\ntolerance_mm = 0.5\nopening_mm = 5.6",
         {"opening_mm = 5.6", "twice", "line 16"}},
        {"opening_mm = 5.6",
         "tolerance_mm = 0.9\nopening_mm = 0.5",
         {"opening_mm = 0.5", "tolerance_mm = 0.9"}},
        {"crown = 2",
         "crown = 2\nrim_inner_mm = nan",
         {"[every pad] rim_inner_mm = nan", "finite"}},
        {"crown = 2", "crown = 97", {"crown = 97", "0 to 96"}},
        {"crown = 2", "crown = 2.5", {"crown = 2.5", "whole number"}},
        {"closed_with = G", "closed_with = G, F", {"[pad low E flat]", "\"F\"", "another pad"}},
        {"closed_with = G", "closed_with = low E flat", {"closed_with", "another pad"}},
        {"closed_with = G", "closed_with = G,,", {"closed_with = G,,", "another pad"}},
        {"[pad low E flat]", "[pad G]", {"[pad G]", "twice", "line 12"}},
        {"[pad low E flat]", "[pad  G]", {"pad G", "twice"}},
        {"[pad low E flat]", "[pad a/b]", {"[pad a/b]", "comma"}},
        {"[pad low E flat]", "[key G]", {"line 18", "unknown section [key G]", "[pad NAME]"}},
        {"[pad low E flat]", "[pad low E flat", {"line 18", "not a section heading"}},
        {"[pad low E flat]", "[pad low E] flat", {"line 18", "not a section heading"}},
        {"[instrument]\nname = test horn", "", {"horn.ini", "[instrument]", "missing"}},
        {"name = test horn", "name =", {"[instrument] name", "empty"}},
        {"[instrument]", "name = x\n[instrument]", {"line 1", "name = x", "before the first"}},
    };
    TEST_REFUSALS(parse_instrument, "horn.ini", instrument_text, row);
}

/* ------------------------------------------------------------ links and holes */

/* The test horn with all that may be left out, and a link. */
static char *whole_instrument(void)
{
    static char text[TEXT];
    const char *first = edited(instrument_text, "[pad G]\n",
                               "rest = open\n"
                               "role = tone\n"
                               "dimensions = memory\n"
                               "opening_tolerance_mm = 0.3\n"
                               "[pad G]\n");
    snprintf(text, sizeof text, "%s%s", first,
             "rest = closed\n"
             "dimensions = measured\n"
             "opens = Eb4, Eb5\n"
             "vents = D6\n"
             "[link low E flat > G]\n"
             "adjuster = screw on the arm of G\n"
             "kind = screw\n"
             "lever_ratio = 1.2\n"
             "thread_mm = 0.4\n");
    return text;
}

Test(config, rest_role_dimensions_and_links_are_read)
{
    rg_instrument horn;
    rg_error err = {0};
    const char *text = whole_instrument();
    cr_assert_eq(rg_instrument_parse("horn.ini", text, strlen(text), &horn, &err), RG_OK, "%s",
                 err.text);
    const rg_pad *g = &horn.pad[0], *low = &horn.pad[1];
    cr_expect_eq(g->rest, RG_REST_OPEN);
    cr_expect_eq(g->role, RG_HOLE_TONE);
    cr_expect_eq(g->dimensions, RG_DIMENSIONS_MEMORY);
    cr_expect_float_eq(g->opening_tolerance_mm, 0.3, 0);
    cr_expect_eq(low->rest, RG_REST_CLOSED);
    cr_expect_eq(low->dimensions, RG_DIMENSIONS_MEASURED);
    cr_expect_str_eq(rg_dimensions_name(low->dimensions), "measured");
    cr_expect_str_eq(rg_rest_name(low->rest), "closed");
    cr_expect_str_eq(rg_hole_role_name(low->role), "tone");
    cr_assert_eq(horn.links, 1);
    cr_expect_eq(horn.link[0].driver, 1);
    cr_expect_eq(horn.link[0].driven, 0);
    cr_expect_str_eq(horn.link[0].adjuster, "screw on the arm of G");
    cr_expect_str_eq(rg_adjuster_name(horn.link[0].kind), "screw");
    cr_expect_float_eq(horn.link[0].lever_ratio, 1.2, 0);
    cr_expect_float_eq(horn.link[0].thread_mm, 0.4, 0);
    rg_hole hole[RG_PADS_MAX];
    cr_assert_eq(rg_instrument_holes("horn.ini", &horn, hole, &err), RG_OK, "%s", err.text);
    cr_expect_eq(hole[1].rest, RG_REST_CLOSED);
    cr_expect_eq(rg_pitch_count(&hole[0].closed), 2);
    cr_expect_eq(rg_pitch_highest(&hole[1].opens), 75); /* Eb5 */
    cr_expect_eq(rg_pitch_highest(&hole[1].vents), 86); /* D6 */
    rg_instrument_free(&horn);
}

/* Files from before these keys existed lie in archives. */
Test(config, an_older_instrument_file_states_nothing_and_is_still_read)
{
    rg_instrument horn;
    rg_hole hole[RG_PADS_MAX];
    rg_error err = {0};
    const char *text = edited(instrument_text, "notes =\n", "notes = the low ones\n");
    cr_assert_eq(rg_instrument_parse("horn.ini", text, strlen(text), &horn, &err), RG_OK, "%s",
                 err.text);
    const rg_pad *g = &horn.pad[0];
    cr_expect_eq(g->rest, RG_REST_UNSTATED);
    cr_expect_eq(g->role, RG_HOLE_UNSTATED);
    cr_expect_eq(g->dimensions, RG_DIMENSIONS_UNSTATED);
    cr_expect_float_eq(g->opening_tolerance_mm, 0, 0);
    cr_expect_str_eq(g->opens, "");
    cr_expect_str_eq(rg_rest_name(g->rest), "not stated");
    cr_expect_eq(horn.links, 0);
    cr_expect_eq(rg_instrument_holes("horn.ini", &horn, hole, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "horn.ini: [pad low E flat] notes") &&
                  strstr(err.text, "the low ones"),
              "%s", err.text);
    rg_instrument_free(&horn);
}

Test(config, notes_that_contradict_each_other_name_file_and_pad)
{
    rg_instrument horn;
    rg_hole hole[RG_PADS_MAX];
    rg_error err = {0};
    const char *text = edited(whole_instrument(), "vents = D6", "notes = Eb4");
    text = edited(text, "closed_with = G\nnotes =\n", "closed_with = G\n");
    cr_assert_eq(rg_instrument_parse("horn.ini", text, strlen(text), &horn, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(rg_instrument_holes("horn.ini", &horn, hole, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "horn.ini: [pad low E flat]: Eb4"), "%s", err.text);
    rg_instrument_free(&horn);
}

Test(config, a_pad_may_have_no_crown)
{
    rg_instrument horn;
    rg_error err = {0};
    const char *text = edited(instrument_text, "notes = G4, F#4\n", "notes =\ncrown = none\n");
    cr_assert_eq(rg_instrument_parse("horn.ini", text, strlen(text), &horn, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(horn.pad[0].crown.number, -1);
    cr_expect_float_eq(horn.pad[0].crown.apothem_mm, 0, 0);
    cr_expect_eq(horn.pad[1].crown.number, 2);
    rg_instrument_free(&horn);
    text = edited(instrument_text,
                  "crown = 2\n"
                  "crown_apothem_mm = 9.5\n"
                  "crown_tag_mm = 8.0\n"
                  "crown_centre_height_mm = 10.3\n",
                  "crown = none\n");
    cr_assert_eq(rg_instrument_parse("horn.ini", text, strlen(text), &horn, &err), RG_OK, "%s",
                 err.text);
    cr_expect_eq(horn.pad[1].crown.number, -1, "the other crown keys may be left out");
    rg_instrument_free(&horn);
    static const test_refusal row[] = {
        {"crown = 2", "crown = nothing", {"crown = nothing", "whole number", "or none"}},
        {"crown_tag_mm = 8.0\n", "", {"[pad G]", "crown_tag_mm"}},
    };
    TEST_REFUSALS(parse_instrument, "horn.ini", instrument_text, row);
}

Test(config, bad_links_and_words_are_refused_by_name)
{
    static const test_refusal row[] = {
        {"rest = closed", "rest = shut", {"[pad low E flat] rest = shut", "write open or closed"}},
        {"role = tone", "role = hole", {"[every pad] role = hole", "write tone or vent"}},
        {"dimensions = measured",
         "dimensions = guessed",
         {"dimensions = guessed", "measured, published, memory or invented"}},
        {"opening_tolerance_mm = 0.3", "opening_tolerance_mm = 0", {"0.01 to 10"}},
        {"[link low E flat > G]", "[link low E flat]", {"[link low E flat]", "no two pads"}},
        {"[link low E flat > G]", "[link low E > G]", {"[link low E > G]", "before the >"}},
        {"[link low E flat > G]", "[link low E flat > F]", {"behind the >"}},
        {"[link low E flat > G]", "[link G > low E flat]", {"closed_with", "does not name"}},
        {"closed_with = G\n", "", {"[link low E flat > G]", "closed_with"}},
        {"kind = screw", "kind = glue", {"kind = glue", "screw, cork or bend"}},
        {"kind = screw", "kind = cork", {"thread_mm = 0.4", "no thread"}},
        {"kind = screw\n", "", {"[link low E flat > G]", "kind"}},
        {"lever_ratio = 1.2", "lever_ratio = 0", {"lever_ratio = 0", "0.05 to 20"}},
        {"thread_mm = 0.4\n", "", {"thread_mm", "pitch"}},
        {"thread_mm = 0.4", "thread = 0.4", {"thread = 0.4", "unknown key"}},
        {"adjuster = screw on the arm of G", "adjuster =", {"adjuster", "empty"}},
        {"thread_mm = 0.4\n",
         "thread_mm = 0.4\n[link low E flat>G]\nadjuster = x\nkind = bend\nlever_ratio = 1\n"
         "thread_mm = 0\n",
         {"[link low E flat>G]", "twice"}},
    };
    TEST_REFUSALS(parse_instrument, "horn.ini", whole_instrument(), row);
}

Test(config, an_instrument_without_pads_is_refused)
{
    static const char text[] = "[instrument]\nname = x\n[every pad]\ntolerance_mm = 0.025\n";
    rg_error err = {0};
    cr_expect_eq(parse_instrument("horn.ini", text, sizeof text - 1, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "horn.ini: 0 sections [pad NAME]"), "%s", err.text);
}

/* The geometry's own checks write the text; file and section are put before it. */
Test(config, an_impossible_crown_or_lens_names_the_file_and_section)
{
    static const test_refusal crown[] = {
        {"crown_tag_mm = 8.0", "crown_tag_mm = 30", {"horn.ini, line 12", "[pad G]", "30"}},
    };
    TEST_REFUSALS(parse_instrument, "horn.ini", instrument_text, crown);
    size_t size = 0;
    char *text = load("calib/bench.ini", &size);
    static const test_refusal lens[] = {
        {"cx_px = 639.5", "cx_px = 1400", {"bench.ini", "[lens]", "1400", "1280"}},
        {"fy_px = 3300", "fy_px = 2000", {"bench.ini", "[lens]", "2000", "3300"}},
        {"k1 = 0", "k1 = -9", {"bench.ini", "[lens]", "k1 -9"}},
    };
    TEST_REFUSALS(parse_station, "bench.ini", text, lens);
    free(text);
}

Test(config, bad_station_values_are_refused_by_name)
{
    size_t size = 0;
    char *text = load("calib/bench.ini", &size);
    static const test_refusal row[] = {
        {"weight_red = 0.299", "weight_red = 0.2991", {"[light] weight_red", "sum to 1.0001"}},
        {"weight_red = 0.299", "weight_red = 0.299002", {"weight_red = 0.299002", "sum to 1"}},
        {"weight_blue = 0.114", "weight_blue = -0.114", {"weight_blue = -0.114", "0 to 1"}},
        {"saturation = 0.97", "saturation = 97", {"bench.ini", "[witness] saturation = 97"}},
        {"unproven_u_ln = 0.69", "unproven_u_ln = 8e999", {"unproven_u_ln = 8e999", "finite"}},
        {"dark_light = 0.01", "dark_light = 0.97", {"dark_light = 0.97", "overexposed_light"}},
        {"decimate = 2", "decimate = 2.5", {"[crown] decimate = 2.5", "1.5"}},
        {"refine = yes", "refine = maybe", {"[crown] refine = maybe", "yes or no"}},
        {"min_edges = 4", "min_edges = 40", {"min_edges = 40", "2 to 24"}},
        {"[slot]", "[slots]", {"unknown section [slots]", "[slot]"}},
        {"[slot]", "[slot]\n[empty]", {"unknown section [empty]"}},
        {"[slot]", "[slot]\nsaturation = 0.97", {"[slot] saturation", "unknown key"}},
        {"search_mm = 0.6", "search_mm = 0.9", {"[rim] search_mm = 0.9", "-0.8 to 1.2"}},
        {"scale_u = 0.002", "", {"bench.ini", "[lens]", "scale_u", "calib/bench.ini"}},
    };
    TEST_REFUSALS(parse_station, "bench.ini", text, row);
    free(text);
}

Test(config, bad_sweep_values_are_refused_by_name)
{
    static const test_refusal row[] = {
        {"PE-A-0147", "../0147", {"sweep.ini, line 2", "[sweep] serial = ../0147", "letters"}},
        {"finger = 35 g", "finger = hard", {"[sweep] finger = hard", "35 g"}},
        {"finger = 35 g", "finger = 35", {"finger = 35", "35 g"}},
        {"finger = 35 g", "finger = 3,5 g", {"finger = 3,5", "3.5"}},
        {"finger = 35 g", "finger = nan g", {"finger = nan", "finite"}},
        {"finger = 35 g\n", "", {"sweep.ini: [sweep]", "finger", "35 g"}},
        {"pad = G", "pad =", {"[sweep] pad", "empty"}},
        {"pad = G", "pad =#G", {"[sweep] pad", "empty"}},
        {"feeler_mm = 0.1\n", "", {"[wedge]", "feeler_mm"}},
        {"bearing_deg = 180", "bearing_deg = 360", {"[wedge] bearing_deg = 360", "359.999999"}},
        {"view_00.jpg = closed, exposure 1.0",
         "view_00.jpg = shut, exposure 1.0",
         {"line 15", "[frames] view_00.jpg = shut", "closed"}},
        {"closed, exposure 1.0", "closed, exposure 0", {"view_00.jpg exposure = 0", "1e-06 to"}},
        {"closed, exposure 1.0",
         "closed, exposure 0.1",
         {"witness.jpg", "0.2", "(0.1) is clipped"}},
        {"closed, exposure 1.0", "closed, expose 1.0", {"view_00.jpg", "no exposure"}},
        {"witness, exposure 0.2", "witness", {"witness.jpg", "no exposure"}},
        {"witness, exposure 0.2", "witness, exposure 0", {"witness.jpg", "1e-06 to"}},
        {"witness, exposure 0.2", "witness, exposure -1", {"witness.jpg", "1e-06 to"}},
        {"witness, exposure 0.2", "witness, exposure 1.5", {"1.5", "shorter exposure"}},
        {"witness, exposure 0.2",
         "witness, exposure 0,2",
         {"witness.jpg exposure = 0,2", "point", "0.2"}},
        {"witness, exposure 0.2", "witness, exposure inf", {"witness.jpg", "finite"}},
        {"witness.jpg", "view_00.jpg", {"line 15", "view_00.jpg = closed", "twice", "line 14"}},
        {"witness.jpg", "../other/w.jpg", {"../other/w.jpg", "own folder"}},
        {"witness.jpg", "*_*.jpg", {"*_*.jpg", "at most one *"}},
        {"witness.jpg", ".hidden.jpg", {".hidden.jpg", "own folder"}},
        {"view_00.jpg = closed, exposure 1.0\nview_01.jpg = closed\n",
         "",
         {"sweep.ini", "[frames]", "no closed frame", "view_*.jpg"}},
        {"[wedge]",
         "[taken]\ndate = 25.11.2026\ngain = 0\nexposure_s = 0\n[wedge]",
         {"[taken] date = 25.11.2026", "2026-11-25"}},
        {"[wedge]", "[taken]\ndate = none\nexposure_s = 0\n[wedge]", {"[taken]", "gain"}},
        {"[wedge]",
         "[taken]\ndate = none\ngain = -1\nexposure_s = 0\n[wedge]",
         {"[taken] gain = -1", "0 to"}},
        {"[frames]", "[pictures]", {"unknown section [pictures]", "[frames]"}},
        {"view_01.jpg = closed", "view_01.jpg", {"line 16", "neither"}},
    };
    TEST_REFUSALS(parse_sweep, "sweep.ini", sweep_text, row);
}

Test(config, a_sweep_without_frames_is_refused)
{
    char text[TEXT];
    snprintf(text, sizeof text, "%.*s", (int)(strstr(sweep_text, "[frames]") - sweep_text),
             sweep_text);
    rg_error err = {0};
    cr_expect_eq(parse_sweep("sweep.ini", text, strlen(text), &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "sweep.ini: [frames] lists 0 files"), "%s", err.text);
}

Test(config, a_line_too_long_is_refused_by_number_and_never_cut)
{
    char text[TEXT], want[64];
    rg_error err = {0};
    for (int length = 190; length <= 204; length++) {
        int n = snprintf(text, sizeof text, "[instrument]\nname = %0*d\n", length - 7, 0);
        cr_assert_gt(n, 0);
        rg_code code = parse_instrument("horn.ini", text, strlen(text), &err);
        cr_expect_eq(code, RG_BAD_DATA);
        snprintf(want, sizeof want, "line 2: %d bytes are too long for a line", length);
        bool too_long = strstr(err.text, want) != NULL;
        cr_expect_eq(too_long, length > 197, "%d: %s", length, err.text);
    }
}

Test(config, a_text_as_long_as_its_field_is_refused_not_cut)
{
    char text[TEXT], name[160] = {0};
    rg_error err = {0};
    memset(name, 'x', 128);
    snprintf(text, sizeof text, "[station]\nname = %s\n%s", name,
             "[lens]\n[light]\n[slot]\n[crown]");
    cr_expect_eq(parse_station("bench.ini", text, strlen(text), &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "128 bytes are too long"), "%s", err.text);
    name[127] = 0;
    snprintf(text, sizeof text, "[station]\nname = %s\n%s", name,
             "[lens]\n[light]\n[slot]\n[crown]");
    cr_expect_eq(parse_station("bench.ini", text, strlen(text), &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "[lens] has no key width_px"), "%s", err.text);
}

/* A literal and its size without the final 0. */
#define BYTES(literal) literal, sizeof(literal) - 1

Test(config, bytes_that_are_not_plain_text_are_refused)
{
    static const struct {
        const char *bytes;
        size_t size;
        const char *want;
    } row[] = {
        {BYTES("[sweep]\nserial = a\0b\n"), "byte 0 at position 18"},
        {BYTES("\xFF\xFE[\0s\0"), "UTF-16"},
        {BYTES("[sweep]\nserial = a\001b\n"), "line 2: control character 1"},
        {BYTES("[sweep]\nserial = a\rpad = b\n"), "line 2: control character 13"},
        {BYTES("[sweep]\npad = caf\xE9\n"), "line 2: byte 0xE9 is not UTF-8"},
        {BYTES("[sweep]\npad = \xC0\xAF\n"), "line 2: byte 0xC0 is not UTF-8"},
        {BYTES("[sweep]\npad = \xED\xA0\x80\n"), "line 2: byte 0xED is not UTF-8"},
        {BYTES("[sweep]\npad = \xF5\x80\x80\x80\n"), "line 2: byte 0xF5 is not UTF-8"},
        {BYTES("[sweep]\npad = \xE2\x82"), "line 2: byte 0xE2 is not UTF-8"},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        rg_error err = {0};
        cr_expect_eq(parse_sweep("sweep.ini", row[i].bytes, row[i].size, &err), RG_BAD_DATA);
        cr_expect_not_null(strstr(err.text, row[i].want), "\"%s\" is not in \"%s\"", row[i].want,
                           err.text);
        cr_expect_not_null(strstr(err.text, "sweep.ini"), "%s", err.text);
    }
    rg_sweep s = parse_good_sweep(edited(sweep_text, "pad = G", "pad = caf\xC3\xA9 \xE2\x99\xAD"));
    cr_expect_str_eq(s.pad, "caf\xC3\xA9 \xE2\x99\xAD");
    rg_sweep_free(&s);
}

Test(config, a_file_above_the_size_limit_is_refused)
{
    size_t size = RG_CONFIG_MAX_BYTES + 1;
    char *text = malloc(size);
    cr_assert_not_null(text);
    memset(text, '\n', size);
    memcpy(text, sweep_text, sizeof sweep_text - 1);
    rg_error err = {0};
    cr_expect_eq(parse_sweep("sweep.ini", text, size - 1, &err), RG_OK, "%s", err.text);
    cr_expect_eq(parse_sweep("sweep.ini", text, size, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "sweep.ini: 1048577 bytes"), "%s", err.text);
    free(text);
}

Test(config, more_pads_or_frames_than_the_limits_are_refused)
{
    static char text[TEXT * 4];
    rg_error err = {0};
    int n = snprintf(text, sizeof text, "[instrument]\nname = x\n");
    for (int i = 0; i <= RG_PADS_MAX; i++) {
        n += snprintf(text + n, sizeof text - (size_t)n, "[pad p%d]\n", i);
    }
    cr_expect_eq(parse_instrument("horn.ini", text, (size_t)n, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "65 sections [pad NAME]"), "%s", err.text);
    n = snprintf(text, sizeof text, "%s", sweep_text);
    for (int i = 3; i <= RG_FRAMES_MAX; i++) {
        n += snprintf(text + n, sizeof text - (size_t)n, "f%d.jpg = closed\n", i);
    }
    cr_expect_eq(parse_sweep("sweep.ini", text, (size_t)n, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "513 files"), "%s", err.text);
    for (int i = 513; i <= 3000; i++) {
        n += snprintf(text + n, sizeof text - (size_t)n, "f%d.jpg = closed\n", i);
    }
    cr_expect_eq(parse_sweep("sweep.ini", text, (size_t)n, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "one entry more than the 2048"), "%s", err.text);
}

/* ------------------------------------------------------------ patterns and writing */

static const char pattern_text[] = "[sweep]\nserial = PE-A-0147\ninstrument = i\nstation = s\n"
                                   "pad = G\ncrown = 2\nfinger = unstated\n[frames]\n"
                                   "view_*.jpg = closed\nview_00.jpg = witness, exposure 0.2\n";

Test(config, a_pattern_takes_the_files_that_are_not_named_themselves)
{
    char *names[] = {"aview_1.jpg", "notes.txt",   "sweep.ini",   "view_.jpg",
                     "view_00.jpg", "view_01.jpg", "view_02.jpg", "view_1.jpgx"};
    rg_sweep s = parse_good_sweep(pattern_text);
    cr_assert_eq(rg_sweep_expand("sweep.ini", &s, names, 8, NULL), RG_OK);
    cr_assert_eq(s.frames, 4);
    cr_expect_str_eq(s.frame[0].file, "view_.jpg");
    cr_expect_str_eq(s.frame[1].file, "view_01.jpg");
    cr_expect_str_eq(s.frame[2].file, "view_02.jpg");
    cr_expect_eq(s.frame[2].role, RG_ROLE_CLOSED);
    cr_expect_str_eq(s.frame[3].file, "view_00.jpg");
    cr_expect_eq(s.frame[3].role, RG_ROLE_WITNESS);
    rg_sweep_free(&s);
}

Test(config, a_pattern_does_not_use_one_letter_twice)
{
    char *names[] = {"a", "v.1.jpg", "v.jpg"};
    rg_sweep s = parse_good_sweep(edited(pattern_text, "view_*", "v.*"));
    cr_assert_eq(rg_sweep_expand("sweep.ini", &s, names, 3, NULL), RG_OK);
    cr_assert_eq(s.frames, 2);
    cr_expect_str_eq(s.frame[0].file, "v.1.jpg");
    rg_sweep_free(&s);
}

Test(config, a_pattern_without_files_or_two_for_one_file_is_refused)
{
    char *names[] = {"view_00.jpg", "view_1.jpg"};
    rg_error err = {0};
    rg_sweep s = parse_good_sweep(pattern_text);
    cr_expect_eq(rg_sweep_expand("sweep.ini", &s, names, 1, &err), RG_NO_INPUT);
    cr_expect_not_null(strstr(err.text, "sweep.ini: [frames] view_*.jpg covers no file"), "%s",
                       err.text);
    cr_expect_eq(s.frames, 2, "a refused expansion changes nothing");
    cr_expect_str_eq(s.frame[0].file, "view_*.jpg");
    rg_sweep_free(&s);
    s = parse_good_sweep(edited(pattern_text, "view_00.jpg = w", "*.jpg = w"));
    cr_expect_eq(rg_sweep_expand("sweep.ini", &s, names, 2, &err), RG_BAD_DATA);
    cr_expect_not_null(strstr(err.text, "*.jpg covers view_00.jpg, which"), "%s", err.text);
    rg_sweep_free(&s);
}

Test(config, a_written_sweep_is_read_back_the_same)
{
    rg_sweep s = parse_good_sweep(sweep_text);
    s.finger_grams = 41.5;
    s.frame[0].exposure = 0.0625;
    char *text = NULL;
    rg_error err = {0};
    cr_assert_eq(rg_sweep_text(&s, &text, &err), RG_OK, "%s", err.text);
    rg_sweep again = parse_good_sweep(text);
    cr_expect_str_eq(again.serial, s.serial);
    cr_expect_str_eq(again.station_path, s.station_path);
    cr_expect_float_eq(again.finger_grams, 41.5, 0);
    cr_expect_float_eq(again.wedge.width_mm, 3, 0);
    cr_expect_float_eq(again.wedge.feeler_u_mm, 0.001, 0);
    cr_assert_eq(again.frames, s.frames);
    cr_expect_eq(memcmp(again.frame, s.frame, (size_t)s.frames * sizeof *s.frame), 0);
    free(text);
    rg_sweep_free(&again);
    strcpy(s.serial, "a b");
    cr_expect_eq(rg_sweep_text(&s, &text, &err), RG_BAD_DATA);
    cr_expect_null(text);
    cr_expect_not_null(strstr(err.text, "serial = a b"), "%s", err.text);
    rg_sweep_free(&s);
}

/* ------------------------------------------------------------ the repository's own files */

Test(config, the_demo_bench_is_the_renderers_camera)
{
    rg_station s = load_station("calib/bench.ini");
    cr_expect_eq(s.lens.width, 1280);
    cr_expect_eq(s.lens.height, 720);
    cr_expect_float_eq(s.lens.fx, 3300, 0);
    cr_expect_float_eq(s.lens.fy, 3300, 0);
    cr_expect_float_eq(s.lens.cx, 639.5, 0);
    cr_expect_float_eq(s.lens.cy, 359.5, 0);
    cr_expect_float_eq(s.measure.code_weights[0], 0.299, 0);
    cr_expect_float_eq(s.measure.code_weights[1], 0.587, 0);
    cr_expect_float_eq(s.measure.code_weights[2], 0.114, 0);
    cr_expect(s.measure.tags.refine);
}

Test(config, every_value_of_the_calibration_files_has_a_comment)
{
    static const char *const path[] = {"calib/bench.ini", "calib/alto-loan.ini", "calib/sheet.ini",
                                       "calib/board.ini"};
    for (size_t i = 0; i < sizeof path / sizeof path[0]; i++) {
        size_t size = 0;
        char *text = load(path[i], &size), *save = NULL;
        bool comment_above = false;
        for (char *line = strtok_r(text, "\n", &save); line != NULL;
             line = strtok_r(NULL, "\n", &save)) {
            bool value = strchr(line, '=') != NULL && line[0] != ';';
            cr_expect(!value || comment_above || strstr(line, " ; ") != NULL, "%s: %s", path[i],
                      line);
            /* one comment may stand over the values below it up to a blank line or heading */
            comment_above = line[0] == ';' || (comment_above && value);
        }
        free(text);
    }
}

typedef struct sample {
    const char *folder;
    int frames;
    bool witness;
} sample;

static void check_sample(const sample *row)
{
    char path[768], folder[128];
    size_t size = 0;
    rg_error err = {0};
    rg_sweep sweep;
    rg_file_list list;
    snprintf(folder, sizeof folder, "samples/%s", row->folder);
    snprintf(path, sizeof path, "%s/sweep.ini", folder);
    char *text = load(path, &size);
    cr_assert_eq(rg_sweep_parse(path, text, size, &sweep, &err), RG_OK, "%s", err.text);
    free(text);
    cr_assert_eq(rg_folder_list(folder, &list, &err), RG_OK, "%s", err.text);
    cr_assert_eq(rg_sweep_expand(path, &sweep, list.name, list.count, &err), RG_OK, "%s", err.text);
    cr_expect_eq(sweep.frames, row->frames + row->witness, "%s", path);
    cr_expect_eq((size_t)sweep.frames + 1, list.count, "%s: a frame is not listed", path);
    cr_expect_eq(sweep.frame[0].role == RG_ROLE_WITNESS, row->witness, "%s", path);
    for (int i = 0; i < sweep.frames; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, sweep.frame[i].file);
        FILE *file = fopen(path, "rb");
        cr_expect_not_null(file, "%s is missing", path);
        if (file != NULL) {
            fclose(file);
        }
    }
    snprintf(path, sizeof path, "%s/%s", folder, sweep.instrument_path);
    rg_instrument horn = load_instrument(path);
    const rg_pad *pad = rg_instrument_pad(&horn, sweep.pad);
    cr_assert_not_null(pad, "%s: no pad %s", path, sweep.pad);
    cr_expect_float_eq(pad->rim.inner_diameter_mm, 18, 0);
    cr_expect_float_eq(pad->rim.outer_diameter_mm, 20, 0);
    cr_expect_float_eq(pad->rim.pad_diameter_mm, 23, 0);
    cr_expect_float_eq(pad->rim.cup_height_mm, 5, 0);
    cr_expect_eq(pad->crown.number, 2);
    cr_expect_eq(sweep.crown_number, 2);
    cr_expect_float_eq(pad->crown.apothem_mm, 9.5, 0);
    cr_expect_float_eq(pad->crown.tag_size_mm, 8, 0);
    cr_expect_float_eq(pad->crown.centre_height_mm, 10.3, 0);
    snprintf(path, sizeof path, "%s/%s", folder, sweep.station_path);
    load_station(path);
    rg_instrument_free(&horn);
    rg_file_list_free(&list);
    rg_sweep_free(&sweep);
}

Test(config, every_sample_sweep_is_read_and_describes_the_rendered_scene)
{
    static const sample row[] = {
        {"PE-A-0147/04-C", 30, true}, {"PE-A-0147/05-B", 30, true},
        {"PE-A-0147/06-A", 30, true}, {"PE-A-0147/07-G-sharp", 6, true},
        {"PE-A-0147/08-G", 30, true}, {"PE-A-0147/09-F-sharp", 10, false},
        {"wedge", 30, true},
    };
    for (size_t i = 0; i < sizeof row / sizeof row[0]; i++) {
        check_sample(&row[i]);
    }
}

/*
 * Tests of ring.h. Outside values: the side of a regular hexagon is 2 a tan 30
 * degrees and equals its circumradius (Euclid, Elements IV.15); the family
 * tag36h11 is 10 modules wide with its white, 8 with its black border
 * (libapriltag, tag36h11.c); the sample frames' crown 2 (apothem 9.5 mm, tags of
 * 8 mm) was rendered by another program and read there.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <string.h>

#include "rimglow/ring.h"

static const rg_ring_rules rules = {.edge_mm = 0.5,
                                    .tag_max_mm = 11,
                                    .foot_mm = 1.5,
                                    .band_mm = 2.4,
                                    .tab_mm = 7,
                                    .min_module_px = 5,
                                    .px_per_mm = 30};

static rg_ring ring_for_cup(double diameter_mm)
{
    rg_ring r;
    rg_error err = {0};
    cr_assert_eq(rg_ring_for_cup(&rules, 2, diameter_mm, 0, &r, &err), RG_OK, "%s", err.text);
    return r;
}

static void expect_refused(rg_code code, const rg_error *err, const char *text)
{
    cr_expect_eq(code, RG_BAD_DATA);
    cr_expect(strstr(err->text, text) != NULL, "\"%s\" does not say \"%s\"", err->text, text);
}

Test(ring, stands_within_the_cup_s_edge_and_nearly_fills_it)
{
    for (double d = 8; d <= 60; d += 0.37) {
        rg_ring r = ring_for_cup(d);
        /* The circumradius of a hexagon is its side. */
        cr_expect_leq(r.face_mm, d / 2 - 0.5 + 1e-9, "cup %g: corners at %g", d, r.face_mm);
        cr_expect_gt(r.face_mm, d / 2 - 0.5 - 0.12, "cup %g: corners at %g", d, r.face_mm);
        cr_expect_float_eq(r.face_mm, 2 * r.crown.apothem_mm / sqrt(3), 1e-9);
        cr_expect_leq(r.least_cup_mm, d + 0.1 + 1e-9);
        cr_expect_geq(r.least_cup_mm / 2 - 0.5, r.face_mm - 1e-9);
    }
}

Test(ring, a_cup_of_23_mm_gets_the_apothem_of_the_sample_crown)
{
    rg_ring r = ring_for_cup(23);
    cr_expect_float_eq(r.crown.apothem_mm, 9.5, 1e-9);
    cr_expect_eq(r.crown.number, 2);
}

Test(ring, its_largest_tag_leaves_a_module_of_white_and_the_printed_line)
{
    for (double d = 8; d <= 27; d += 0.41) {
        rg_ring r = ring_for_cup(d);
        double room = r.face_mm - 0.2;
        cr_expect_leq(r.crown.tag_size_mm * 10 / 8, room + 1e-9, "cup %g", d);
        cr_expect_gt((r.crown.tag_size_mm + 0.1) * 10 / 8, room - 1e-9, "cup %g: not the largest",
                     d);
        cr_expect_float_eq(r.largest_module_mm, room / 10, 1e-9);
        cr_expect_float_eq(r.module_mm, r.crown.tag_size_mm / 8, 1e-12);
    }
}

Test(ring, large_cups_get_no_larger_tag_than_the_rules_say_unless_told)
{
    rg_ring r = ring_for_cup(50);
    cr_expect_float_eq(r.crown.tag_size_mm, 11, 1e-12);
    cr_assert_eq(rg_ring_for_cup(&rules, 2, 50, 18, &r, NULL), RG_OK);
    cr_expect_float_eq(r.crown.tag_size_mm, 18, 1e-12);
}

Test(ring, heights_add_up)
{
    rg_ring r;
    cr_assert_eq(rg_ring_for_apothem(&rules, 3, 14, 11, &r, NULL), RG_OK);
    /* Half a line, foot, five modules; five more and the band. */
    cr_expect_float_eq(r.centre_mm, 0.1 + 1.5 + 5 * 11.0 / 8, 1e-9);
    cr_expect_float_eq(r.height_mm, 0.1 + 1.5 + 10 * 11.0 / 8 + 2.4, 1e-9);
    cr_expect_eq(r.crown.centre_height_mm, 0, "nobody has stated the cup's height");
    cr_assert_eq(rg_ring_stand(&r, 5.3, NULL), RG_OK);
    cr_expect_float_eq(r.crown.centre_height_mm, 5.3 + r.centre_mm, 1e-12);
}

Test(ring, the_tab_is_narrower_on_narrow_faces)
{
    rg_ring narrow, wide;
    cr_assert_eq(rg_ring_for_apothem(&rules, 3, 4, 0, &narrow, NULL), RG_OK);
    cr_assert_eq(rg_ring_for_apothem(&rules, 3, 14, 0, &wide, NULL), RG_OK);
    cr_expect_eq(wide.tab_mm, 7);
    cr_expect_lt(narrow.tab_mm, narrow.face_mm);
}

Test(ring, an_instrument_s_crown_is_taken_as_it_is)
{
    const rg_crown crown = {
        .number = 2, .apothem_mm = 9.5, .tag_size_mm = 8, .centre_height_mm = 10.3};
    rg_ring r;
    rg_error err = {0};
    cr_assert_eq(rg_ring_for_crown(&rules, &crown, &r, &err), RG_OK, "%s", err.text);
    cr_expect_eq(r.crown.number, 2);
    cr_expect_eq(r.crown.apothem_mm, 9.5);
    cr_expect_eq(r.crown.tag_size_mm, 8);
    cr_expect_eq(r.crown.centre_height_mm, 10.3);
    cr_expect_float_eq(r.module_mm, 1, 1e-12);
}

Test(ring, what_cannot_be_made_is_refused_with_what_can)
{
    rg_ring r;
    rg_error err = {0};
    expect_refused(rg_ring_for_cup(&rules, 4, 1, 0, &r, &err), &err, "crown 4: a cup of 1 mm");
    expect_refused(rg_ring_for_cup(&rules, 4, NAN, 0, &r, &err), &err, "crown 4");
    expect_refused(rg_ring_for_cup(&rules, 4, 1e9, 0, &r, &err), &err, "apothem");
    expect_refused(rg_ring_for_cup(&rules, 97, 23, 0, &r, &err), &err, "number 97");
    expect_refused(rg_ring_for_cup(&rules, 4, 23, 9, &r, &err), &err, "largest tag there is 8.62");
    expect_refused(rg_ring_for_cup(&rules, 4, 23, NAN, &r, &err), &err, "tag size");
    expect_refused(rg_ring_for_cup(&rules, 4, 23, -8, &r, &err), &err, "tag size");
    expect_refused(rg_ring_for_apothem(&rules, 4, 0.1, 0, &r, &err), &err, "no room for tags");
    rg_crown low = {.number = 2, .apothem_mm = 9.5, .tag_size_mm = 8, .centre_height_mm = 6.5};
    expect_refused(rg_ring_for_crown(&rules, &low, &r, &err), &err, "under the rim plane");
    cr_assert_eq(rg_ring_for_cup(&rules, 4, 23, 0, &r, &err), RG_OK);
    expect_refused(rg_ring_stand(&r, -1, &err), &err, "-1 mm above the rim");
    expect_refused(rg_ring_stand(&r, NAN, &err), &err, "above the rim");
}

Test(ring, modules_below_the_limit_are_refused_with_the_scale_and_the_tag_that_would_do)
{
    rg_error err = {0};
    cr_expect_eq(rg_module_check("crown 1", 0.5, 5, 10, &err), RG_OK, "exactly enough");
    expect_refused(rg_module_check("crown 1", 0.49, 5, 10, &err), &err, "4.9 px at 10 px per mm");
    /* 5 px / 0.49 mm = 10.204 px per mm; 8 modules of 5 px / 10 px per mm = 4 mm. */
    expect_refused(rg_module_check("crown 1", 0.49, 5, 10, &err), &err, "10.3 px per mm or more");
    expect_refused(rg_module_check("crown 1", 0.49, 5, 10, &err), &err, "tags of 4.0 mm or more");
    expect_refused(rg_module_check("crown 1", NAN, 5, 10, &err), &err, "crown 1");
    expect_refused(rg_module_check("crown 1", 1, 5, NAN, &err), &err, "crown 1");
}

/* Bearings grow to the left on the printed side (ring.h derives it; the folded
 * check of test_draw_sheet.c proves it). */
Test(ring, every_face_stands_once_on_the_strip_in_falling_bearings)
{
    unsigned seen = 0;
    for (int i = 0; i < 6; i++) {
        seen |= 1u << rg_ring_face_at(i);
        cr_expect_eq((rg_ring_face_at(i) - rg_ring_face_at((i + 1) % 6) + 6) % 6, 1);
    }
    cr_expect_eq(seen, 63u);
    cr_expect_eq(rg_ring_face_at(3), 0, "the arm's face lies inside the strip");
}

Test(ring, comes_in_as_few_equal_pieces_as_fit)
{
    rg_ring r = {.face_mm = 30, .tab_mm = 7};
    cr_expect_eq(rg_ring_pieces(&r, 187), 1);
    cr_expect_eq(rg_ring_pieces(&r, 186.9), 2);
    cr_expect_eq(rg_ring_pieces(&r, 96.9), 3);
    cr_expect_eq(rg_ring_pieces(&r, 66.9), 6);
    cr_expect_eq(rg_ring_pieces(&r, 36.9), 0);
}

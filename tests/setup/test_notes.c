/*
 * Tests of notes.h, on a saxophone's right hand and a few holes made for the purpose. Outside
 * values: that F speaks through two open holes and E through one is common practice, no source;
 * fingerings from memory.
 */
#include <criterion/criterion.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/notes.h"

enum { VENT, G, F_SHARP, F, E, D, E_FLAT, LOW_C, HOLES };

static rg_error err;

static rg_pitch_set set_of(const char *text)
{
    rg_pitch_set set;
    cr_assert_eq(rg_pitch_set_parse(text, &set, &err), RG_OK, "%s", err.text);
    return set;
}

static int number(const char *name)
{
    int pitch = -1;
    cr_assert(rg_pitch_parse(name, &pitch), "%s", name);
    return pitch;
}

static void make(rg_hole *h, const char *name, rg_rest rest, const char *closed, const char *opens)
{
    *h = (rg_hole){.name = name, .rest = rest, .role = RG_HOLE_TONE};
    h->closed = set_of(closed);
    h->opens = set_of(opens);
}

/* Fills all but the vents' list. */
static void right_hand(rg_hole h[HOLES])
{
    make(&h[VENT], "octave vent", RG_REST_CLOSED, "C4..G4", "D5..G5");
    h[VENT].role = RG_HOLE_VENT;
    make(&h[G], "G", RG_REST_OPEN, "C4..G4, D5..G5", "");
    make(&h[F_SHARP], "F sharp", RG_REST_OPEN, "C4..F4, D5..F5", "");
    make(&h[F], "F", RG_REST_OPEN, "C4..F4, D5..F5", "");
    make(&h[E], "E", RG_REST_OPEN, "C4..E4, D5..E5", "");
    make(&h[D], "D", RG_REST_OPEN, "C4..Eb4, D5, Eb5", "");
    make(&h[E_FLAT], "E flat", RG_REST_CLOSED, "C4..D4, D5", "Eb4, Eb5");
    make(&h[LOW_C], "low C", RG_REST_OPEN, "C4", "");
}

/* ------------------------------------------------------------- fingerings */

Test(notes, a_note_names_its_pads_and_a_pad_its_notes)
{
    rg_hole h[HOLES];
    right_hand(h);
    cr_assert_eq(rg_holes_check(h, HOLES, &err), RG_OK, "%s", err.text);
    static const rg_hole_state f5[HOLES] = {RG_STATE_VENTING, RG_STATE_CLOSED, RG_STATE_CLOSED,
                                            RG_STATE_CLOSED,  RG_STATE_OPEN,   RG_STATE_OPEN,
                                            RG_STATE_CLOSED,  RG_STATE_OPEN};
    static const rg_hole_state eb4[HOLES] = {RG_STATE_CLOSED, RG_STATE_CLOSED, RG_STATE_CLOSED,
                                             RG_STATE_CLOSED, RG_STATE_CLOSED, RG_STATE_CLOSED,
                                             RG_STATE_OPEN,   RG_STATE_OPEN};
    for (int i = 0; i < HOLES; i++) {
        cr_expect_eq(rg_hole_in_note(&h[i], number("F5")), f5[i], "F5, %s: %s", h[i].name,
                     rg_hole_state_name(rg_hole_in_note(&h[i], number("F5"))));
        cr_expect_eq(rg_hole_in_note(&h[i], number("Eb4")), eb4[i], "Eb4, %s", h[i].name);
    }
    char text[RG_PITCH_SET_TEXT];
    rg_pitch_set all = rg_holes_notes(h, HOLES);
    rg_pitch_set_text(&all, text, sizeof text);
    cr_expect_str_eq(text, "C4..G4, D5..G5");
}

Test(notes, an_unstated_rest_is_unknown_unless_the_note_says)
{
    rg_hole h;
    make(&h, "X", RG_REST_UNSTATED, "C4", "D4");
    cr_expect_eq(rg_hole_in_note(&h, number("C4")), RG_STATE_CLOSED);
    cr_expect_eq(rg_hole_in_note(&h, number("D4")), RG_STATE_OPEN);
    cr_expect_eq(rg_hole_in_note(&h, number("E4")), RG_STATE_UNKNOWN);
}

Test(notes, contradictions_are_refused)
{
    rg_hole h;
    make(&h, "X", RG_REST_CLOSED, "C4, D4", "D4");
    cr_expect_eq(rg_holes_check(&h, 1, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "[pad X]") && strstr(err.text, "D4") && strstr(err.text, "opens"),
              "%s", err.text);
    make(&h, "X", RG_REST_OPEN, "C4", "D4");
    cr_expect_eq(rg_holes_check(&h, 1, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "rest = open"), "%s", err.text);
    make(&h, "X", RG_REST_OPEN, "C4", "");
    h.vents = set_of("C4");
    cr_expect_eq(rg_holes_check(&h, 1, &err), RG_BAD_DATA);
    cr_expect(strstr(err.text, "vents"), "%s", err.text);
    h.vents = set_of("");
    cr_expect_eq(rg_holes_check(&h, 1, &err), RG_OK);
    cr_expect_eq(rg_holes_check(&h, RG_HOLES_MAX + 1, &err), RG_BAD_DATA);
}

/* ------------------------------------------------------------------ leaks */

Test(notes, a_leak_starts_at_its_highest_note)
{
    rg_hole h[HOLES];
    right_hand(h);
    rg_hole_leak leak[] = {{LOW_C, 0.5, 0.1}, {D, 2, 0.3}, {F, 0.7, 0.1}, {E, 0, 0}};
    rg_leak_rank rank[4];
    cr_assert_eq(rg_leaks_rank(h, HOLES, leak, 4, rank), 3, "no leak without flow");
    cr_expect_eq(rank[0].leak.hole, D);
    cr_expect_eq(rank[1].leak.hole, F);
    cr_expect_eq(rank[2].leak.hole, LOW_C);
    cr_expect_eq(rank[0].starts_at, number("Eb5"));
    cr_expect_eq(rank[0].notes, 6); /* C4 C#4 D4 Eb4, D5 Eb5 */
    cr_expect_eq(rank[1].starts_at, number("F5"));
    cr_expect_eq(rank[2].starts_at, number("C4"));
    cr_expect_eq(rank[2].notes, 1);
    cr_expect(rg_pitch_in(&rank[0].note, number("C#4")));
}

/* The higher pad harms more notes. */
Test(notes, equal_leaks_are_ranked_by_notes)
{
    rg_hole h[HOLES];
    right_hand(h);
    rg_hole_leak leak[] = {{LOW_C, 1, 0}, {E, 1, 0}, {G, 1, 0}, {F, 1, 0}, {F_SHARP, 1, 0}};
    rg_leak_rank rank[5];
    rg_leaks_rank(h, HOLES, leak, 5, rank);
    static const int expected[] = {G, F_SHARP, F, E, LOW_C};
    for (int i = 0; i < 5; i++)
        cr_expect_eq(rank[i].leak.hole, expected[i], "place %d: %s", i, h[rank[i].leak.hole].name);
}

Test(notes, a_leak_that_no_note_names_has_no_beginning)
{
    rg_hole h;
    make(&h, "X", RG_REST_CLOSED, "", "");
    rg_leak_rank rank;
    cr_assert_eq(rg_leaks_rank(&h, 1, &(rg_hole_leak){0, 1, 0.1}, 1, &rank), 1);
    cr_expect_eq(rank.starts_at, -1);
    cr_expect_eq(rank.notes, 0);
}

Test(notes, a_note_loses_by_every_leak_above_its_hole)
{
    rg_hole h[HOLES];
    right_hand(h);
    rg_hole_leak leak[] = {{G, 1, 0.1}, {F, 3, 0.2}, {LOW_C, 5, 0.4}};
    rg_note_loss loss[RG_PITCHES];
    cr_assert_eq(rg_notes_lose(h, HOLES, leak, 3, loss), 14);
    cr_expect_eq(loss[0].pitch, number("G5"));
    cr_expect_eq(loss[0].ml_s, 1);
    cr_expect_eq(loss[0].leaks, 1);
    cr_expect_eq(loss[0].worst, G);
    cr_expect_eq(loss[2].pitch, number("F5"));
    cr_expect_eq(loss[2].ml_s, 4);
    cr_expect_eq(loss[2].worst, F);
    cr_expect_eq(loss[13].pitch, number("C4"));
    cr_expect_eq(loss[13].ml_s, 9);
    cr_expect_float_eq(loss[13].u_ml_s, 0.7, 1e-12);
    cr_expect_eq(loss[13].leaks, 3);
    cr_expect_eq(loss[13].worst, LOW_C);
}

/* ---------------------------------------------------------------- venting */

static rg_venting venting_of(const rg_hole *h, int count, const char *note)
{
    rg_venting v;
    rg_venting_of(h, count, number(note), &v);
    return v;
}

/* Common practice, no source. */
Test(notes, f_speaks_through_two_holes_and_e_through_one)
{
    rg_hole h[HOLES];
    right_hand(h);
    for (int octave = 0; octave < 2; octave++) {
        rg_venting v = venting_of(h, HOLES, octave ? "F5" : "F4");
        cr_expect(v.known);
        cr_assert_eq(v.holes, 2);
        cr_expect_eq(v.hole[0], E);
        cr_expect_eq(v.hole[1], D);
        v = venting_of(h, HOLES, octave ? "E5" : "E4");
        cr_assert_eq(v.holes, 1);
        cr_expect_eq(v.hole[0], D);
    }
}

Test(notes, an_opened_key_counts_and_a_vent_never)
{
    rg_hole h[HOLES];
    right_hand(h);
    rg_venting v = venting_of(h, HOLES, "Eb5");
    cr_assert_eq(v.holes, 2);
    cr_expect_eq(v.hole[0], E_FLAT);
    cr_expect_eq(v.hole[1], LOW_C);
    v = venting_of(h, HOLES, "C4");
    cr_expect(v.known && v.holes == 0, "the lowest note speaks through the end");
    h[G].closed = set_of("C4..G4, E5..G5");
    h[G].vents = set_of("D5"); /* as the first finger of a flute's D */
    v = venting_of(h, HOLES, "D5");
    cr_assert_eq(v.holes, 1);
    cr_expect_eq(v.hole[0], LOW_C);
}

/* A register vent may lie anywhere on the body; shut, it ends nothing. */
Test(notes, a_shut_vent_among_the_holes_does_not_end_them)
{
    rg_hole h[HOLES];
    right_hand(h);
    h[G].closed = set_of("C4..G4, D5..G5");
    rg_hole moved[HOLES] = {h[G], h[F_SHARP], h[F], h[E], h[VENT], h[D], h[E_FLAT], h[LOW_C]};
    rg_venting v = venting_of(moved, HOLES, "F4");
    cr_assert_eq(v.holes, 2);
    cr_expect_str_eq(moved[v.hole[0]].name, "E");
    cr_expect_str_eq(moved[v.hole[1]].name, "D");
}

Test(notes, a_fork_speaks_through_the_hole_above_the_closed_one)
{
    rg_hole h[HOLES];
    right_hand(h);
    h[E].closed = set_of("C4..E4, F#4, D5..E5"); /* F sharp by the second finger */
    h[F_SHARP].closed = set_of("C4..F#4, D5..F5");
    rg_venting v = venting_of(h, HOLES, "F#4");
    cr_assert_eq(v.holes, 1);
    cr_expect_eq(v.hole[0], F);
}

Test(notes, without_rest_no_venting_is_known)
{
    rg_hole h[HOLES];
    right_hand(h);
    h[E_FLAT].rest = RG_REST_UNSTATED;
    cr_expect_not(venting_of(h, HOLES, "F4").known);
    cr_expect(venting_of(h, HOLES, "Eb4").known);
}

/* ---------------------------------------------------------- stuffy notes */

static const rg_note_breath *of(const rg_note_breath *b, int count, const char *note)
{
    for (int i = 0; i < count; i++)
        if (b[i].venting.pitch == number(note))
            return &b[i];
    cr_assert_fail("no %s", note);
    return b;
}

static void opened(rg_hole_opening o[HOLES])
{
    for (int i = 0; i < HOLES; i++)
        o[i] = (rg_hole_opening){true, 6.0, 0.05, 6.0, 0.3};
}

Test(notes, a_low_d_cup_makes_e_stuffy_and_f_too_but_not_g)
{
    rg_hole h[HOLES];
    rg_hole_opening o[HOLES];
    rg_note_breath b[RG_PITCHES];
    right_hand(h);
    opened(o);
    o[D].opening_mm = 5.2;
    int count = rg_notes_breathe(h, o, HOLES, 2, b);
    const rg_note_breath *e = of(b, count, "E4"), *f = of(b, count, "F4"), *g = of(b, count, "G4");
    cr_expect_eq(e->breath, RG_BREATH_STUFFY);
    cr_expect_eq(e->cause, D);
    cr_expect_str_eq(e->reason, "speaks through D alone; it opens 5.20 mm (U = 0.10 mm), target "
                                "6.00 mm, at least 5.70 mm");
    cr_expect_eq(f->breath, RG_BREATH_STUFFY);
    cr_expect(strstr(f->reason, "speaks through D and E above it"), "%s", f->reason);
    cr_expect_eq(g->breath, RG_BREATH_FREE, "G speaks through four, the third of them low: %s",
                 g->reason);
    cr_expect_eq(of(b, count, "Eb4")->breath, RG_BREATH_FREE);
    cr_expect_eq(b[0].venting.pitch, number("G5"), "falling");
}

Test(notes, within_the_uncertainty_it_is_only_perhaps)
{
    rg_hole h[HOLES];
    rg_hole_opening o[HOLES];
    rg_note_breath b[RG_PITCHES];
    right_hand(h);
    opened(o);
    o[D].opening_mm = 5.65; /* below 5.7, U 0.1 */
    int count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect_eq(of(b, count, "E4")->breath, RG_BREATH_PERHAPS);
    o[D].opening_mm = 5.71;
    count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect_eq(of(b, count, "E4")->breath, RG_BREATH_FREE);
}

Test(notes, what_was_not_measured_is_not_judged)
{
    rg_hole h[HOLES];
    rg_hole_opening o[HOLES];
    rg_note_breath b[RG_PITCHES];
    right_hand(h);
    opened(o);
    o[D].measured = false;
    o[E].opening_mm = 5;
    int count = rg_notes_breathe(h, o, HOLES, 2, b);
    const rg_note_breath *e = of(b, count, "E4"), *f = of(b, count, "F4"), *c = of(b, count, "C4");
    cr_expect_eq(e->breath, RG_BREATH_UNJUDGED);
    cr_expect(strstr(e->reason, "D") && strstr(e->reason, "not measured"), "%s", e->reason);
    cr_expect_eq(f->breath, RG_BREATH_STUFFY, "its first hole is low, whatever the second does");
    cr_expect_eq(f->cause, E);
    cr_expect_eq(c->breath, RG_BREATH_UNJUDGED);
    cr_expect(strstr(c->reason, "end"), "%s", c->reason);
    o[E].opening_mm = 6;
    count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect_eq(of(b, count, "F4")->breath, RG_BREATH_UNJUDGED, "one of its two is not known");
    o[D] = (rg_hole_opening){true, 6, 0.05, 6, 0};
    count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect(strstr(of(b, count, "E4")->reason, "opening_tolerance_mm"));
    h[E_FLAT].rest = RG_REST_UNSTATED;
    count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect_eq(of(b, count, "F4")->breath, RG_BREATH_UNJUDGED);
    cr_expect(strstr(of(b, count, "F4")->reason, "rest"));
}

Test(notes, the_further_of_many_holes_need_no_measurement)
{
    rg_hole h[HOLES];
    rg_hole_opening o[HOLES];
    rg_note_breath b[RG_PITCHES];
    right_hand(h);
    opened(o);
    o[D].measured = false;
    int count = rg_notes_breathe(h, o, HOLES, 2, b);
    cr_expect_eq(of(b, count, "G4")->breath, RG_BREATH_FREE); /* F sharp, F, E, D */
}

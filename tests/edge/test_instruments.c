/*
 * The instrument files in calib/: what all of them promise, and what is known of
 * saxophones, flute and clarinet. Outside values: fingerings and the holes that F and E speak
 * through are common practice, no source, from memory; pads are sold from 7 to 70 mm in half
 * millimetres (a supplier's page); intervals of the registers: the clarinet overblows a twelfth
 * (19 semitones), the others an octave.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/config.h"
#include "support/load.h"

typedef struct horn {
    rg_instrument instrument;
    rg_hole hole[RG_PADS_MAX];
} horn;

static rg_error err;

static horn load(const char *name)
{
    char path[80];
    horn h;
    snprintf(path, sizeof path, "calib/%s-loan.ini", name);
    test_bytes file = test_load(path);
    cr_assert_eq(rg_instrument_parse(path, (const char *)file.data, file.size, &h.instrument, &err),
                 RG_OK, "%s", err.text);
    free(file.data);
    cr_assert_eq(rg_instrument_holes(path, &h.instrument, h.hole, &err), RG_OK, "%s", err.text);
    return h;
}

static int number(const char *name)
{
    int pitch = -1;
    cr_assert(rg_pitch_parse(name, &pitch), "%s", name);
    return pitch;
}

/* The pads that a note speaks through, with commas. */
static const char *through(const horn *h, const char *note)
{
    static char text[400];
    rg_venting v;
    rg_venting_of(h->hole, h->instrument.pads, number(note), &v);
    cr_expect(v.known, "%s", note);
    text[0] = 0;
    for (int i = 0; i < v.holes; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "%s%s", i ? ", " : "",
                 h->hole[v.hole[i]].name);
    return text;
}

static void lowest_to_highest(const horn *h, const char *lowest, const char *highest)
{
    rg_pitch_set all = rg_holes_notes(h->hole, h->instrument.pads);
    cr_expect_eq(rg_pitch_lowest(&all), number(lowest));
    cr_expect_eq(rg_pitch_highest(&all), number(highest));
    cr_expect_eq(rg_pitch_count(&all), number(highest) - number(lowest) + 1, "no note is missing");
}

static const char *const every[] = {"alto", "tenor", "baritone", "soprano", "clarinet", "flute"};
enum { EVERY = 6 };

Test(instruments, every_file_states_all_that_is_needed)
{
    for (int i = 0; i < EVERY; i++) {
        horn h = load(every[i]);
        for (int k = 0; k < h.instrument.pads; k++) {
            const rg_pad *p = &h.instrument.pad[k];
            cr_expect_neq(p->rest, RG_REST_UNSTATED, "%s %s", every[i], p->name);
            cr_expect_neq(p->role, RG_HOLE_UNSTATED, "%s %s", every[i], p->name);
            cr_expect_gt(p->opening_tolerance_mm, 0, "%s %s", every[i], p->name);
            cr_expect(p->dimensions == RG_DIMENSIONS_MEMORY || i == 0, "%s %s: %s", every[i],
                      p->name, rg_dimensions_name(p->dimensions));
            double halves = 2 * p->rim.pad_diameter_mm;
            cr_expect(halves == floor(halves) && halves >= 14 && halves <= 140, "%s %s: %g mm",
                      every[i], p->name, p->rim.pad_diameter_mm);
            cr_expect_gt(rg_pitch_count(&h.hole[k].closed), 0, "%s %s", every[i], p->name);
        }
        cr_expect_gt(h.instrument.links, 1, "%s", every[i]);
        rg_instrument_free(&h.instrument);
    }
}

/* Small cups carry no crown; the others one that is smaller than the pad, one size for each number. */
Test(instruments, crowns_stand_on_their_cups)
{
    for (int i = 0; i < EVERY; i++) {
        horn h = load(every[i]);
        for (int k = 0; k < h.instrument.pads; k++) {
            const rg_pad *p = &h.instrument.pad[k];
            bool small = p->rim.pad_diameter_mm < 9;
            cr_expect_eq(p->crown.number < 0, small, "%s %s", every[i], p->name);
            if (small)
                continue;
            /* A regular hexagon's corner lies 2 / sqrt 3 apothems from its centre. */
            cr_expect_leq(2 * p->crown.apothem_mm * 2 / sqrt(3), p->rim.pad_diameter_mm, "%s %s",
                          every[i], p->name);
            for (int m = 0; m < k; m++) {
                const rg_crown *other = &h.instrument.pad[m].crown;
                cr_expect(other->number != p->crown.number ||
                              other->apothem_mm == p->crown.apothem_mm,
                          "%s: crown %d has two sizes", every[i], p->crown.number);
            }
        }
        rg_instrument_free(&h.instrument);
    }
}

Test(instruments, on_a_saxophone_f_speaks_through_two_and_e_through_one)
{
    for (int i = 0; i < 4; i++) {
        horn h = load(every[i]);
        cr_expect_str_eq(through(&h, "F4"), "E, D", "%s", every[i]);
        cr_expect_str_eq(through(&h, "F5"), "E, D", "%s", every[i]);
        cr_expect_str_eq(through(&h, "E4"), "D", "%s", every[i]);
        cr_expect_str_eq(through(&h, "E5"), "D", "%s", every[i]);
        cr_expect_str_eq(through(&h, "B3"), i == 2 ? "low B flat, low A" : "low B flat", "%s",
                         every[i]);
        rg_instrument_free(&h.instrument);
    }
}

Test(instruments, a_low_d_cup_of_the_alto_makes_its_e_stuffy)
{
    horn h = load("alto");
    rg_hole_opening o[RG_PADS_MAX];
    rg_note_breath b[RG_PITCHES];
    for (int k = 0; k < h.instrument.pads; k++) {
        const rg_pad *p = &h.instrument.pad[k];
        o[k] = (rg_hole_opening){true, p->opening_mm, 0.05, p->opening_mm, p->opening_tolerance_mm};
        if (strcmp(p->name, "D") == 0)
            o[k].opening_mm -= 0.6;
    }
    int count = rg_notes_breathe(h.hole, o, h.instrument.pads, 2, b), stuffy = 0;
    for (int n = 0; n < count; n++) {
        int p = b[n].venting.pitch;
        bool expected =
            p == number("E4") || p == number("E5") || p == number("F4") || p == number("F5");
        cr_expect_eq(b[n].breath == RG_BREATH_STUFFY, expected, "%d: %s", p, b[n].reason);
        stuffy += b[n].breath == RG_BREATH_STUFFY;
    }
    cr_expect_eq(stuffy, 4);
    rg_instrument_free(&h.instrument);
}

Test(instruments, saxophones_have_their_range_and_their_registers)
{
    horn alto = load("alto"), tenor = load("tenor"), baritone = load("baritone"),
         soprano = load("soprano");
    lowest_to_highest(&alto, "Bb3", "F6");
    lowest_to_highest(&tenor, "Bb3", "F#6");
    lowest_to_highest(&soprano, "Bb3", "F#6");
    lowest_to_highest(&baritone, "A3", "F#6");
    cr_expect_eq(tenor.instrument.pads, soprano.instrument.pads);
    cr_expect_eq(baritone.instrument.pads, tenor.instrument.pads + 1);
    const rg_hole *neck = &tenor.hole[0], *body = &tenor.hole[1];
    cr_expect_eq(neck->role, RG_HOLE_VENT);
    /* One octave vent at a time: the body's from D to G sharp, the neck's from A. */
    cr_expect_eq(rg_pitch_lowest(&neck->opens), number("A5"));
    cr_expect_eq(rg_pitch_lowest(&body->opens), number("D5"));
    cr_expect_eq(rg_pitch_highest(&body->opens), number("G#5"));
    cr_expect_str_eq(through(&tenor, "C5"), "B", "C with the middle finger is a fork");
    cr_expect_str_eq(through(&tenor, "Eb4"), "low E flat, low C");
    cr_expect_str_eq(through(&baritone, "A3"), "", "the lowest note speaks through the bell");
    rg_instrument_free(&alto.instrument);
    rg_instrument_free(&tenor.instrument);
    rg_instrument_free(&baritone.instrument);
    rg_instrument_free(&soprano.instrument);
}

/* A note and its overblown one close the same tone holes. */
static void registers_agree(const horn *h, const char *from, const char *to, int semitones)
{
    for (int p = number(from); p <= number(to); p++)
        for (int k = 0; k < h->instrument.pads; k++) {
            rg_hole_state low = rg_hole_in_note(&h->hole[k], p),
                          high = rg_hole_in_note(&h->hole[k], p + semitones);
            bool vent = low == RG_STATE_VENTING || high == RG_STATE_VENTING;
            cr_expect(vent || low == high, "%s, %s, pitch %d", h->instrument.name, h->hole[k].name,
                      p);
        }
}

Test(instruments, overblown_notes_have_the_low_fingering)
{
    horn tenor = load("tenor"), clarinet = load("clarinet"), flute = load("flute");
    registers_agree(&tenor, "D4", "C#5", 12);
    registers_agree(&clarinet, "E3", "F4", 19);
    registers_agree(&flute, "D4", "C#5", 12);
    rg_instrument_free(&tenor.instrument);
    rg_instrument_free(&clarinet.instrument);
    rg_instrument_free(&flute.instrument);
}

Test(instruments, flute_and_clarinet_have_their_ranges)
{
    horn clarinet = load("clarinet"), flute = load("flute");
    lowest_to_highest(&clarinet, "E3", "C6");
    lowest_to_highest(&flute, "C4", "C#6");
    cr_expect_str_eq(through(&flute, "C4"), "");
    cr_expect_str_eq(through(&flute, "F#4"), "F, E", "with the third finger: a fork");
    cr_expect_str_eq(through(&flute, "G#4"),
                     "G sharp, F sharp, F, E, D, E flat, foot C sharp, foot C");
    /* The first finger is up in D and E flat: a vent, no hole to speak through. */
    cr_expect_str_eq(through(&flute, "D5"), "foot C sharp, foot C");
    cr_expect_str_eq(through(&clarinet, "G#3"), "A flat, low F sharp, low F, low E");
    cr_expect_str_eq(through(&clarinet, "F4"), "left first");
    rg_instrument_free(&clarinet.instrument);
    rg_instrument_free(&flute.instrument);
}

Test(instruments, every_value_has_a_comment)
{
    for (int i = 0; i < EVERY; i++) {
        char path[80], *save = NULL;
        bool comment_above = false;
        snprintf(path, sizeof path, "calib/%s-loan.ini", every[i]);
        test_bytes file = test_load(path);
        char *text = malloc(file.size + 1);
        cr_assert_not_null(text);
        memcpy(text, file.data, file.size);
        text[file.size] = 0;
        for (char *line = strtok_r(text, "\n", &save); line; line = strtok_r(NULL, "\n", &save)) {
            bool value = strchr(line, '=') && line[0] != ';';
            cr_expect(!value || comment_above || strstr(line, " ; "), "%s: %s", path, line);
            comment_above = line[0] == ';' || (comment_above && value);
        }
        free(text);
        free(file.data);
    }
}

/*
 * Tests of bench_rank.h. Where left is follows from the rim frame (DEVELOPERS.md): bearing 90 points along
 * -Y, and with +X towards the key arm and +Z up that is the left hand of a person at +X who looks at the
 * centre: left = up x forward = Z x (-X) = -Y.
 */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/bench_rank.h"

static rg_pad pad = {.name = "C", .tolerance_mm = 0.025};

static rg_seal_map map_of(int arcs, double area_mm2, double width_mm, double bearing_deg)
{
    rg_seal_map map = {.arcs = arcs};
    for (int i = 0; i < arcs; i++)
        map.arc[i] = (rg_arc){.start_deg = bearing_deg - 20,
                              .end_deg = bearing_deg + 20,
                              .max_bearing_deg = bearing_deg,
                              .max_width_mm = width_mm,
                              .u_max_mm = 0.004,
                              .open_area_mm2 = area_mm2 / (i + 1)};
    return map;
}

static rg_rank_pad of(const rg_seal_map *map, rg_verdict verdict)
{
    return (rg_rank_pad){.pad = &pad, .map = map, .verdict = verdict, .coverage_factor = 2};
}

Test(bench_rank, worst_first)
{
    rg_seal_map wide = map_of(1, 0.2, 0.09, 90), large = map_of(1, 0.4, 0.05, 90),
                twin = map_of(2, 0.2, 0.04, 90), shut = map_of(0, 0, 0, 0),
                small = map_of(1, 0.01, 0.02, 0), wider = map_of(1, 0.2, 0.1, 90);
    const rg_rank_pad given[] = {of(&shut, RG_VERDICT_SEALED),   of(NULL, RG_VERDICT_UNDECIDED),
                                 of(&wide, RG_VERDICT_LEAKING),  of(&small, RG_VERDICT_UNDECIDED),
                                 of(&large, RG_VERDICT_LEAKING), of(NULL, RG_VERDICT_UNDECIDED),
                                 of(&twin, RG_VERDICT_LEAKING),  of(&wider, RG_VERDICT_LEAKING)};
    static const int order[] = {4, 6, 7, 2, 3, 1, 5, 0};
    rg_rank_line line[8];
    rg_bench_rank(given, 8, line);
    for (int i = 0; i < 8; i++)
        cr_expect_eq(line[i].pad, order[i], "place %d: pad %d", i, line[i].pad);
    cr_expect_float_eq(line[1].area_mm2, 0.3, 1e-12); /* 0.2 + 0.1 */
    cr_expect(isnan(line[5].area_mm2) && isnan(line[5].width_mm));
    cr_expect(line[7].area_mm2 == 0 && isnan(line[7].width_mm));
    cr_expect_float_eq(line[0].U_width_mm, 0.008, 1e-12);
}

Test(bench_rank, bearings_in_words)
{
    cr_expect(strstr(rg_rank_where(0), "hinge"));
    cr_expect(strstr(rg_rank_where(359), "hinge"));
    cr_expect_str_eq(rg_rank_where(22), rg_rank_where(338));
    cr_expect_str_eq(rg_rank_where(90), "to the left seen from the key arm");
    cr_expect_str_eq(rg_rank_where(270), "to the right seen from the key arm");
    cr_expect_str_eq(rg_rank_where(180), "opposite the key arm");
    cr_expect(strstr(rg_rank_where(135), "opposite") && strstr(rg_rank_where(135), "left"));
    cr_expect(strstr(rg_rank_where(300), "side") && strstr(rg_rank_where(300), "right"));
    cr_expect(strstr(rg_rank_where(-45), "side") && strstr(rg_rank_where(-45), "right"));
}

Test(bench_rank, a_sentence_says_where_and_what_to_do)
{
    rg_seal_map leak = map_of(2, 0.3, 0.061, 180), open = map_of(1, 0.3, 0.061, 0), unsure = {0};
    rg_rank_pad given[5];
    rg_rank_line line[5];
    open.arc[0].full_circle = true;
    unsure.reasons = 1;
    strcpy(unsure.reason[0], "no frame shows bearings 10..30: go round there");
    given[0] = of(&leak, RG_VERDICT_LEAKING);
    given[1] = of(&open, RG_VERDICT_LEAKING);
    given[2] = of(&unsure, RG_VERDICT_UNDECIDED);
    given[3] = of(NULL, RG_VERDICT_UNDECIDED);
    given[4] = of(&unsure, RG_VERDICT_SEALED);
    rg_bench_rank(given, 5, line);
    cr_expect_str_eq(
        line[0].sentence,
        "open from 160 to 200 degrees and at 1 other place, up to 0.061 +- 0.008 mm at "
        "180 degrees: opposite the key arm. Correct the seat there, then sweep again");
    cr_expect(strstr(line[1].sentence, "open all the way round, up to 0.061"));
    cr_expect_str_eq(line[2].sentence, unsure.reason[0]);
    cr_expect_str_eq(line[3].sentence, "not swept yet");
    cr_expect_str_eq(line[4].sentence, "nothing to do");
    given[0] = of(&unsure, RG_VERDICT_UNDECIDED);
    given[0].only_firm = true;
    rg_bench_rank(given, 1, line);
    cr_expect(strstr(line[0].sentence, "only a firm finger"));
}

/* ---------------------------------------------------------------- with a work-up */

static rg_pad_flow lets_out(double ml_s, double orifice_mm)
{
    return (rg_pad_flow){.measured = {.ml_s = ml_s,
                                      .orifice_mm = orifice_mm,
                                      .orifice_low_mm = orifice_mm - 0.1,
                                      .orifice_high_mm = orifice_mm + 0.2}};
}

/* Air goes by the third power of a thin gap's width, so the order by flow need not be that by area
 * (Batchelor, An Introduction to Fluid Dynamics, 1967, 4.2); the figures here are made up. */
Test(bench_rank, leaks_stand_in_the_order_of_what_they_let_out)
{
    rg_seal_map large = map_of(1, 0.4, 0.05, 90), wide = map_of(1, 0.2, 0.09, 90),
                unsure = map_of(1, 0.1, 0.03, 90), shut = map_of(0, 0, 0, 0);
    rg_pad_flow little = lets_out(4, 0.5), much = lets_out(9, 0.8), most = lets_out(20, 1.1),
                none = lets_out(0, 0);
    rg_rank_pad given[] = {of(&large, RG_VERDICT_LEAKING), of(&wide, RG_VERDICT_LEAKING),
                           of(&unsure, RG_VERDICT_UNDECIDED), of(&unsure, RG_VERDICT_UNDECIDED),
                           of(&shut, RG_VERDICT_SEALED)};
    static const int order[] = {1, 0, 2, 3, 4};
    rg_rank_line line[5];
    given[0].flow = &little;
    given[1].flow = &much;
    given[3].flow = &most; /* an undecided pad never goes before a leaking one, nor by its flow */
    given[4].flow = &none;
    rg_bench_rank(given, 5, line);
    for (int i = 0; i < 5; i++)
        cr_expect_eq(line[i].pad, order[i], "place %d: pad %d", i, line[i].pad);
    cr_expect_float_eq(line[0].orifice_mm, 0.8, 1e-12);
    cr_expect_float_eq(line[0].orifice_low_mm, 0.7, 1e-12);
    cr_expect_float_eq(line[0].orifice_high_mm, 1.0, 1e-12);
    cr_expect(isnan(line[2].orifice_mm), "no flow was given");
    cr_expect(isnan(line[4].orifice_mm), "no leak is no orifice, not one of 0 mm");
    cr_expect_eq(line[0].notes, -1, "no table of fingerings: nothing is said of notes");
    cr_expect_eq(line[0].starts_at, -1);
}

Test(bench_rank, notes_that_suffer_and_bearings_that_were_not_seen)
{
    rg_seal_map leak = map_of(1, 0.4, 0.05, 90);
    rg_leak_rank notes = {.starts_at = 72, .notes = 13}; /* MIDI 72 is C5 */
    rg_rank_pad given[] = {of(&leak, RG_VERDICT_LEAKING), of(NULL, RG_VERDICT_UNDECIDED)};
    rg_rank_line line[2];
    for (int i = 0; i < RG_BINS; i++)
        leak.bin[i].state = i < 7 ? RG_BIN_UNSEEN : RG_BIN_SEALED;
    given[0].notes = &notes;
    rg_bench_rank(given, 2, line);
    cr_expect_eq(line[0].starts_at, 72);
    cr_expect_eq(line[0].notes, 13);
    cr_expect_eq(line[0].unseen, 7);
    cr_expect_eq(line[1].unseen, 0);
}

static void put_sentence(rg_sentences *s, rg_sentence_kind kind, int fault, const char *text)
{
    s->line[s->count].kind = kind;
    s->line[s->count].fault = fault;
    strcpy(s->line[s->count++].text, text);
}

static void put_fault(rg_sentences *s, int fault, char letter)
{
    char text[32];
    put_sentence(s, RG_SENTENCE_EVIDENCE, fault, "It rests on light.");
    snprintf(text, sizeof text, "Fault %c.", letter);
    put_sentence(s, RG_SENTENCE_FAULT, fault, text);
    snprintf(text, sizeof text, "Correct %c.", letter);
    put_sentence(s, RG_SENTENCE_CORRECTION, fault, text);
    snprintf(text, sizeof text, "After %c.", letter);
    put_sentence(s, RG_SENTENCE_AFTERWARDS, fault, text);
}

Test(bench_rank, corrections_stand_in_the_order_of_the_diagnosis)
{
    rg_seal_map leak = map_of(1, 0.3, 0.061, 180);
    rg_diagnosis *d = calloc(1, sizeof *d);
    rg_sentences *s = calloc(1, sizeof *s);
    rg_rank_pad given[] = {of(&leak, RG_VERDICT_LEAKING)};
    rg_rank_line line[1];
    put_sentence(s, RG_SENTENCE_SUMMARY, -1, "Several faults, first tilted.");
    for (int i = 0; i < 5; i++)
        put_fault(s, i, (char)('A' + i));
    d->faults = 5;
    d->now.widest_deg = 180;
    given[0].diagnosis = d;
    given[0].sentences = s;
    rg_bench_rank(given, 1, line);
    cr_expect_str_eq(line[0].sentence,
                     "Several faults, first tilted. The widest place is opposite the key arm.");
    cr_assert_eq(line[0].steps, RG_RANK_STEPS);
    cr_expect_eq(line[0].more, 5 - RG_RANK_STEPS);
    cr_expect_str_eq(line[0].step[0].fault, "Fault A.");
    cr_expect_str_eq(line[0].step[0].correction, "Correct A.");
    cr_expect_str_eq(line[0].step[0].afterwards, "After A.");
    cr_expect_str_eq(line[0].step[2].correction, "Correct C.");
    given[0].key = "A";
    rg_bench_rank(given, 1, line);
    cr_expect_str_eq(line[0].sentence,
                     "Closed by the key of A (do both close together?): Several faults, "
                     "first tilted. The widest place is opposite the key arm.");
    given[0].key = "";
    /* No fault is named: where it stands open is said, and nothing is made up. */
    d->faults = 0;
    rg_bench_rank(given, 1, line);
    cr_expect_eq(line[0].steps, 0);
    cr_expect(strstr(line[0].sentence, "Correct the seat there, then sweep again"));
    /* What would become of a pad that is not shown to leak is not told. */
    d->faults = 5;
    given[0].verdict = RG_VERDICT_SEALED;
    rg_bench_rank(given, 1, line);
    cr_expect_eq(line[0].steps, 0);
    cr_expect_str_eq(line[0].sentence, "nothing to do");
    free(d);
    free(s);
}

/*
 * Tests of workup.h: which sweep counts for what, and what is judged from it. The maps were measured from the
 * sample frames (tests/data/seal-maps); their fingers, keys and pads are restated here.
 */
#include <criterion/criterion.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rimglow/workup.h"
#include "support/load.h"

enum { LEAKING, SEALED, MAPS };
static rg_map_file map[MAPS];
static rg_instrument instrument;
static rg_workup_settings settings;
static rg_error err;

enum { SWEEPS = 12 };
static rg_map_file given[SWEEPS];
static rg_workup_sweep sweep[SWEEPS];
static int sweeps;

static void load(void)
{
    static const char *const name[MAPS] = {"08-G", "04-C"};
    for (int i = 0; i < MAPS; i++) {
        test_bytes text = test_loadf("tests/data/seal-maps/%s.json", name[i]);
        cr_assert_eq(rg_mapfile_parse(name[i], (char *)text.data, text.size, &map[i], &err), RG_OK,
                     "%s", err.text);
        free(text.data);
    }
    test_bytes text = test_load("samples/workshop/upper-stack.ini");
    cr_assert_eq(rg_instrument_parse("i.ini", (char *)text.data, text.size, &instrument, &err),
                 RG_OK, "%s", err.text);
    free(text.data);
    cr_assert_eq(rg_workup_settings_load(NULL, &settings, &err), RG_OK, "%s", err.text);
    sweeps = 0;
}

static void unload(void)
{
    rg_instrument_free(&instrument);
    rg_workup_settings_free(&settings);
}

TestSuite(workup, .init = load, .fini = unload);

static rg_map_file *take(const char *pad, int which, const char *finger, const char *key)
{
    rg_map_file *m = &given[sweeps];
    *m = map[which]; /* without its list of frames */
    m->frames_given = m->frames_used = 30;
    snprintf(m->finger, sizeof m->finger, "%s", finger);
    snprintf(m->key, sizeof m->key, "%s", key);
    sweep[sweeps++] = (rg_workup_sweep){pad, m};
    return m;
}

/* A gap all the way round. */
static void stand_off(rg_map_file *m, double gap_mm)
{
    m->map.verdict = RG_VERDICT_LEAKING;
    for (int b = 0; b < RG_BINS; b++) {
        rg_bin *bin = &m->map.bin[b];
        *bin = (rg_bin){.bearing_deg = bin->bearing_deg,
                        .width_mm = gap_mm,
                        .u_mm = 0.004,
                        .detection_limit_mm = 0.01,
                        .frames = 20,
                        .lit = 20,
                        .state = RG_BIN_GAP};
    }
}

/* Frames of the open key alone. */
static void take_open(const char *pad, double far_mm)
{
    rg_map_file *m = take(pad, SEALED, "light", "");
    m->frames_given = m->frames_used = 0;
    m->opening.given = m->opening.measured = true;
    m->opening.far_mm = far_mm;
    m->opening.u_far_mm = 0.04;
}

static rg_workup *make(void)
{
    rg_workup *w;
    cr_assert_eq(rg_workup_make(&instrument, sweep, sweeps, &settings, &w, &err), RG_OK, "%s",
                 err.text);
    return w;
}

static const rg_workup_pad *pad_of(const rg_workup *w, const char *name)
{
    for (int k = 0; k < w->instrument->pads; k++)
        if (strcmp(w->pad[k].pad->name, name) == 0)
            return &w->pad[k];
    cr_assert_fail("no pad %s", name);
    return NULL;
}

/* State of an item of a section; -1: there is none. */
static int item_state(const rg_workup *w, const char *section, const char *name)
{
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    rg_workup_sections(w, item, s);
    for (int i = 0; i < RG_WORKUP_SECTIONS; i++)
        for (int k = 0; strcmp(s[i].name, section) == 0 && k < s[i].items; k++)
            if (strcmp(s[i].item[k].name, name) == 0)
                return (int)s[i].item[k].state;
    return -1;
}

static int leaks_told;
static void count_leaks(void *context, const char *subject, const char *sentence)
{
    leaks_told += strcmp(subject, context) == 0 && strstr(sentence, "lets out as much as a hole");
}

Test(workup, a_light_sweep_counts_before_a_later_firm_one)
{
    take("G", LEAKING, "light", "");
    take("G", SEALED, "firm", "");
    rg_workup *w = make();
    const rg_workup_pad *p = pad_of(w, "G");
    cr_expect_eq(p->sweep, 0);
    cr_expect(p->diagnosed && p->diagnosis.faults > 0);
    cr_expect_gt(p->flow.measured.ml_s, 50);
    cr_expect(p->has_force && p->force.gaps > 0);
    cr_expect_eq(item_state(w, "finger force", "finger on G"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, a_pad_that_only_a_firm_finger_was_tried_on_is_shown_by_it)
{
    take("G", SEALED, "firm", "");
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "G")->sweep, 0);
    cr_expect(!pad_of(w, "G")->has_force && w->ranks == 0);
    rg_workup_free(w);
}

Test(workup, a_sweep_by_another_key_regulates_and_diagnoses_nothing)
{
    take("A", SEALED, "light", "");
    take("C", SEALED, "light", "");
    stand_off(take("C", SEALED, "light", "A"), 0.06);
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "C")->sweep, 1);
    cr_expect_eq(w->ranks, 0);
    cr_assert_eq(w->keys, 1);
    cr_expect_eq(w->key[0].regulation.link[0].state, RG_REGULATION_DRIVER_FIRST);
    cr_expect_float_eq(w->key[0].regulation.link[0].difference_mm, 0.06, 1e-6);
    cr_expect_eq(item_state(w, "regulation", "A and C"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, cups_that_were_not_swept_by_one_key_are_not_regulated)
{
    take("A", SEALED, "light", "");
    take("C", SEALED, "light", "");
    rg_workup *w = make();
    cr_expect_eq(w->keys, 0);
    cr_expect_eq(item_state(w, "regulation", "A and C"), -1);
    rg_workup_free(w);
}

Test(workup, three_closings_by_one_finger_are_repeatability_and_two_are_none)
{
    take("G", LEAKING, "light", "");
    take("G", LEAKING, "light", "");
    take("G", LEAKING, "firm", "");
    rg_workup *w = make();
    cr_expect(!pad_of(w, "G")->has_repeat);
    rg_workup_free(w);
    take("G", LEAKING, "light", "");
    w = make();
    cr_assert(pad_of(w, "G")->has_repeat);
    cr_expect_eq(pad_of(w, "G")->repeat.closings, 3);
    cr_expect_neq(item_state(w, "repeatability", "closings of G"), RG_ITEM_OUT);
    rg_workup_free(w);
}

Test(workup, an_open_sweep_gives_the_height_and_nothing_of_the_seal)
{
    take("B", LEAKING, "light", "");
    take_open("B", 4.1);
    take_open("A", 5.2);
    rg_workup *w = make();
    cr_expect_eq(pad_of(w, "B")->sweep, 0);
    cr_expect_eq(pad_of(w, "A")->sweep, -1);
    cr_expect_eq(item_state(w, "key heights", "opening of B"), RG_ITEM_OUT);
    cr_expect_eq(item_state(w, "key heights", "opening of A"), RG_ITEM_PASSED);
    cr_expect_eq(item_state(w, "key heights", "opening of G"), -1);
    bool stuffy = false; /* the notes that speak through B */
    for (int i = 0; i < w->breaths; i++)
        stuffy = stuffy || w->breath[i].breath == RG_BREATH_STUFFY;
    cr_expect(stuffy);
    rg_workup_free(w);
}

Test(workup, leaks_are_told_worst_first_with_the_notes_that_suffer)
{
    char subject[] = "pad G";
    take("G", LEAKING, "light", "");
    rg_workup *w = make();
    leaks_told = 0;
    rg_workup_tell(w, count_leaks, subject);
    cr_expect_eq(leaks_told, 1);
    cr_assert_eq(w->ranks, 1);
    char name[RG_PITCH_NAME];
    rg_pitch_name(w->rank[0].starts_at, name);
    cr_expect_str_eq(name, "G5"); /* the highest of its notes in the instrument file */
    rg_workup_free(w);
}

Test(workup, json_has_every_part)
{
    char *text;
    take("G", LEAKING, "light", "");
    take("C", LEAKING, "light", "A");
    take("A", SEALED, "light", "");
    take_open("B", 4.1);
    rg_workup *w = make();
    cr_assert_eq(rg_workup_json(w, "PE-A-0163", &settings, &text, &err), RG_OK, "%s", err.text);
    json_t *o = json_loads(text, 0, NULL);
    cr_assert_not_null(o);
    cr_expect_str_eq(json_string_value(json_object_get(o, "format")), "rimglow work-up");
    cr_expect_eq(json_array_size(json_object_get(o, "pads")), 4);
    cr_expect_eq(json_array_size(json_object_get(o, "keys")), 1);
    cr_expect_gt(json_array_size(json_object_get(o, "work")), 4);
    cr_expect_str_eq(json_string_value(json_object_get(json_object_get(o, "heights"), "verdict")),
                     "broken");
    cr_expect_gt(json_array_size(json_object_get(json_object_get(o, "leaks"), "ranking")), 0);
    json_decref(o);
    free(text);
    rg_workup_free(w);
}

Test(workup, nothing_swept_is_nothing_found)
{
    rg_workup *w = make();
    rg_release_item item[RG_WORKUP_ITEMS];
    rg_release_section s[RG_WORKUP_SECTIONS];
    rg_workup_sections(w, item, s);
    for (int i = 0; i < RG_WORKUP_SECTIONS; i++)
        cr_expect_eq(s[i].items, 0);
    cr_expect(w->ranks == 0 && !w->has_heights);
    rg_workup_free(w);
}
